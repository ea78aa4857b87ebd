"""A visit under way: what is asked now, what an act does, what of it goes into the journal.

It decides and stores everything; a face only draws ``screen`` and hands over what was pressed. An act is on
the disk when ``act`` returns, or it is refused and nothing of it is stored.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from wqverify.entry import complete, drawn, offered, taken
from wqverify.entry.answering import all_as_usual, answer
from wqverify.entry.around import Surroundings, found
from wqverify.entry.asides import Aside
from wqverify.entry.changes import changes
from wqverify.entry.fold import BY_MISTAKE, Folded, Voice, fold
from wqverify.entry.journal import Journal, JournalLine, stamped
from wqverify.entry.keys import KEYS
from wqverify.entry.proposals import USUAL_PATH, Proposal, Usual, proposal, usual_of
from wqverify.entry.provisional import Provisional, provisional
from wqverify.entry.screen import Act, Choice, Screen
from wqverify.entry.steps import Step, steps
from wqverify.errors import ChooseAnother, CorrectTheEntry, WqverifyError
from wqverify.procedures.opening import SoFar
from wqverify.terms import Raw


class Visit:
    """One visit, open for answers; its journal is locked until ``close``."""

    def __init__(self, sheet: Path, journal: Journal, about: Surroundings) -> None:
        self.sheet, self.journal, self.about = sheet, journal, about
        self.folded: Folded = fold(journal.lines)
        self.ended = ""  # the sentence with which the stepping stopped
        self.notice, self.refused = "", False
        self.at = ""  # the path of a step somebody went to; empty for the next open one
        self.aside: Aside | None = None
        self.overview = False
        self.voice: Voice | None = None
        self._done: dict[str, int] = {}  # the last act of each view
        self._act = Act("show")
        self.waiting: list[JournalLine] | None = None  # of the act under way
        self._read()

    def close(self) -> None:
        """Give the journal back."""
        self.journal.close()

    # ------------------------------------------------------------ where it stands

    def _read(self) -> None:
        """Find out anew what the sheet gives and which steps it has."""
        raw, about = dict(self.folded.raw), self.about
        self.so_far: Provisional = provisional(about.procedure, raw, about.around)
        self.read_steps()
        self.usual: tuple[Usual, ...] = ()
        self.usual_path = ""
        step = self.step
        if step is not None and not self.at:
            self._offer_usual(step)
        self.screen: Screen = drawn.screen(self, step)

    def read_steps(self) -> None:
        """Find out anew which steps there are, by what was computed last."""
        about = self.about
        state = SoFar(dict(self.folded.raw), self.so_far.result, about.in_round, sampled=about.sampled)
        every = list(steps(about.procedure.Sheet, self.folded, state))
        self.steps = [step for step in every if step.stands != "not asked"]
        self.not_asked = [step for step in every if step.stands == "not asked"]

    @property
    def step(self) -> Step | None:
        """The step that is shown; None where every question is answered."""
        if self.at:
            there = next((step for step in self.steps if step.path == self.at), None)
            if there is not None:
                return there
            self.at = ""
        return next((step for step in self.steps if step.stands == "open" and not step.waits), None)

    @property
    def proposal(self) -> Proposal:
        """What an empty answer to the step shown stands for."""
        step = self.step
        if step is None or step.stands == "answered" or self.voice is not None:
            return Proposal()
        if step.kind == "rows":
            last = found(self.about.last, step.path)
            usual = int(step.question.ask.usual or 1)
            count = len(last) if isinstance(last, list) else usual
            return Proposal("yes" if step.rows < count else "no")
        return proposal(step, self.folded.raw, self.about, self.so_far.result)

    def _offer_usual(self, step: Step) -> None:
        """Find out whether this question and those after it may be answered at once."""
        path = f"{USUAL_PATH}{step.top}"
        if path in self.folded.left_out:
            return
        still = [one for one in self.steps if one.stands == "open"]
        told = usual_of(
            still[still.index(step) :], self.steps, self.folded.raw, self.about, self.so_far.result
        )
        if sum(bool(one.text) for one in told) > 1:
            self.usual, self.usual_path = told, path

    # ------------------------------------------------------------ an act

    def is_repeat(self, act: Act) -> bool:
        """Whether an act was done already: it was sent again because no acknowledgement came."""
        done = act.seq <= self._done.get(act.view, 0) or (act.view, act.seq) in self.folded.seen
        return bool(act.view) and done

    def act(self, act: Act) -> Screen:
        """Do what a person did, all of it or nothing; the same act sent again is done once.

        Raises CouldNotRun where the disk refuses: then nothing is stored and the same question stands.
        """
        if self.is_repeat(act):
            return self.screen
        self.notice, self.refused = "", False
        before = self.folded, self.at, self.aside, self.overview, self.voice
        self._act, self.waiting = act, []
        try:
            if act.path != self.screen.path:
                raise CorrectTheEntry(
                    f"{act.text or act.do!r} was meant for another question; nothing was stored. Answer the "
                    f"one that is shown.",
                    found=act.path,
                    expected=self.screen.path,
                )
            self._do(act)
            if self.waiting:  # in one write: a kill leaves all of an act or nothing
                self.journal.append(*self.waiting)
        except WqverifyError as problem:
            self.folded, self.at, self.aside, self.overview, self.voice = before
            self.ended = ""
            if not isinstance(problem, CorrectTheEntry | ChooseAnother):
                raise
            self.notice, self.refused = problem.message, True
        finally:
            self.waiting = None
            self._read()
        if act.view:
            self._done[act.view] = act.seq
        return self.screen

    def _do(self, act: Act) -> None:
        if act.do == "help":
            self.notice = drawn.all_keys(self.screen)
        elif act.do == "stop":
            self.ended = f"Everything is saved in {self.journal.path.name}; go on with it by wqverify step."
        elif self.aside is not None:
            self._in_aside(self.aside, act)
        elif self.overview:
            self._go_to(act)
        elif act.do in KEYS:
            KEYS[act.do](self)
        elif act.do != "answer":
            raise CorrectTheEntry(f"{act.do!r} is nothing that can be done here.", found=act.do)
        elif self.usual_path:
            all_as_usual(self, act.text)
        elif self.step is None:
            self._complete(taken.as_typed(act.text))
        else:
            answer(self, taken.as_typed(act.text))

    def _in_aside(self, aside: Aside, act: Act) -> None:
        if act.do in ("back", "not done", "leave out"):
            self.aside = None
            return
        text = taken.as_typed(act.text)
        if aside.form == "confirm" and text.lower() in ("y", "yes", "n", "no"):
            text = aside.choices[0 if text.lower().startswith("y") else -1].text
        if not text and not aside.may_be_empty:
            raise CorrectTheEntry("An answer is needed here; ^ goes back without one.")
        self.aside = None
        aside.take(text)

    def ask(self, aside: Aside) -> None:
        """Show a question of the program itself."""
        self.aside = aside

    # ------------------------------------------------------------ writing

    def write(self, *lines: JournalLine) -> None:
        """Store lines: tried at once, on the disk with the whole act."""
        at, act = stamped(self.about.local()), self._act
        signed = [replace(line, at=at, view=act.view, seq=act.seq) for line in lines]
        after = self.folded.after(*signed)
        if self.waiting is None:
            self.journal.append(*signed)
        else:
            self.waiting += signed
        self.folded = after

    def spoken(self, line: JournalLine) -> JournalLine:
        """Name who says it, where that is not the performer."""
        voice, goes_on = self.voice, self.folded.person
        if voice is not None:
            return replace(line, by=voice.by, heard=voice.heard, read_back=voice.read_back)
        by = goes_on if goes_on != self.folded.raw.get("performed_by") else ""
        return replace(line, by=line.by or by, how=line.how or ("paper" if self.about.paper else ""))

    # ------------------------------------------------------------ the end

    def _complete(self, text: str) -> None:
        """Write the sheet, once it is whole and the procedure does not refuse it."""
        if text not in ("", "complete", "run"):
            raise CorrectTheEntry(f"{text!r} is none of the choices.", found=text)
        written = complete.written(self.about, dict(self.folded.raw))
        kept = complete.write(self.sheet, written, {line.digest for line in self.journal.lines})
        if self.folded.state != "complete":
            self.write(JournalLine(do="complete", digest=complete.digest(written)))
        self.notice = f"{self.sheet.name} is written."
        if kept:
            self.notice += f" What stood in the file besides is kept as {kept}: the answers given here count."

    def take_up_changes(self, raw: Raw) -> None:
        """Take up, with a reason, what was changed in the written sheet outside of this program."""
        lines = list(changes(self.about.procedure.Sheet, self.folded.raw, raw))

        def take(why: str) -> None:
            self.write(*(replace(line, why=why) for line in lines))
            self.notice = f"{len(lines)} changes of the file are in the journal now."

        told = "; ".join(
            f"{line.path}: {line.was or 'nothing'} -> {line.text or 'nothing'}" for line in lines[:3]
        )
        more = f"; and {len(lines) - 3} more" if len(lines) > 3 else ""
        label = f"{self.sheet.name} was changed in the file since it was written ({told}{more}). Why?"
        self.ask(Aside("?file", label, take, tuple(map(Choice, offered.WHY_CORRECTED))))
        self._read()

    def who_goes_on(self) -> None:
        """Ask who goes on with a sheet that waited, was passed on or was put aside."""

        def take(who: str) -> None:
            if who not in self.about.people:
                raise CorrectTheEntry(f"{who!r} is not in people.toml; choose by the number.", found=who)
            self.write(JournalLine(do="take up", by=who))

        people = tuple(Choice(one.id, f"{one.id}  {one.name}") for one in self.about.people.values())
        why = "because" if self.folded.state == BY_MISTAKE else "for"
        what = f" {why} {self.folded.state_text}" if self.folded.state_text else ""
        label = f"This sheet was {drawn.put_away(self)}{what}. Who goes on with it?"
        self.ask(Aside("?goes on", label, take, people, "pick"))
        self._read()

    def _go_to(self, act: Act) -> None:
        self.overview, self.voice = False, None
        if act.do != "answer" or not act.text:
            return
        names = [section.path for section in drawn.sections(self)]
        if act.text not in names:
            self.overview = True
            raise CorrectTheEntry(f"{act.text!r} is no part of this sheet.", found=act.text)
        if not any(step.top == act.text for step in self.steps):
            self.write(JournalLine(do="ask", path=act.text))
            self.read_steps()
        here = [step for step in self.steps if step.top == act.text]
        still = (one.path for one in here if one.stands == "open" and not one.waits)
        self.at = next(still, here[0].path)
