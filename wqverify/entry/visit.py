"""A visit under way: what is asked now, what an act does, what of it goes into the journal.

It decides and stores everything; a face only draws ``screen`` and hands over what was pressed. An act is on
the disk when ``act`` returns, or it is refused and nothing of it is stored.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from wqverify.entry import complete, drawn, taken
from wqverify.entry.around import Surroundings, found
from wqverify.entry.changes import changes
from wqverify.entry.fold import Folded, Voice, fold
from wqverify.entry.journal import Journal, JournalLine, stamped
from wqverify.entry.proposals import CLOCK, Proposal, Usual, heading, proposal, usual_of, wall_clock
from wqverify.entry.provisional import Provisional, provisional
from wqverify.entry.screen import Act, Choice, Form, Screen
from wqverify.entry.steps import Step, steps
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.opening import SoFar
from wqverify.procedures.parts import Head, Tail
from wqverify.terms import Raw

HEAD, TAIL = "usual.head", "usual.tail"  # questions of their own: whether all is as usual
AGAIN, SAME, INSTEAD = "read again", "same as ", "not done"
_WHY_NOT = "; ! says why the part was not done"
TOGETHER_S = 5  # readings nearer than this were noted down first and typed afterwards


@dataclass(frozen=True)
class Aside:
    """A question of the program itself: why, are you sure, who says so."""

    path: str
    label: str
    take: Callable[[str], None]
    choices: tuple[Choice, ...] = ()
    form: Form = "text"
    help: str = ""
    may_be_empty: bool = False


class Visit:
    """One visit, open for answers; its journal is locked until ``close``."""

    def __init__(self, sheet: Path, journal: Journal, about: Surroundings) -> None:
        self.sheet, self.journal, self.about = sheet, journal, about
        self.folded: Folded = fold(journal.lines)
        self.ended = ""  # the sentence with which the stepping stopped
        self.notice, self.refused = "", False
        self._at = ""  # the path of a step somebody went to; empty for the next open one
        self._aside: Aside | None = None
        self._overview = False
        self._voice: Voice | None = None
        self._done: dict[str, int] = {}  # the last act of each view
        self._read()

    def close(self) -> None:
        """Give the journal back."""
        self.journal.close()

    # ------------------------------------------------------------ where it stands

    def _read(self) -> None:
        """Find out anew what the sheet gives and which steps it has."""
        raw, about = dict(self.folded.raw), self.about
        self.so_far: Provisional = provisional(about.procedure, raw, about.around)
        state = SoFar(raw, self.so_far.result, about.in_round)
        found_steps = list(steps(about.procedure.Sheet, self.folded, state))
        self.steps = [step for step in found_steps if step.stands != "not asked"]
        self.not_asked = [step for step in found_steps if step.stands == "not asked"]
        self.usual: tuple[Usual, ...] = ()
        self.usual_path = ""
        step = self._shown()
        if step is not None and not self._at:
            self._offer_usual(step)
        self.screen: Screen = drawn.screen(self, step)

    def _shown(self) -> Step | None:
        """The step to be shown; None where every question is answered."""
        if self._at:
            there = next((step for step in self.steps if step.path == self._at), None)
            if there is not None:
                return there
            self._at = ""
        return next((step for step in self.steps if step.stands == "open"), None)

    @property
    def step(self) -> Step | None:
        """The step that is shown; None where every question is answered."""
        return self._shown()

    @property
    def aside(self) -> Aside | None:
        return self._aside

    @property
    def overview(self) -> bool:
        return self._overview

    @property
    def voice(self) -> Voice | None:
        return self._voice

    @property
    def proposal(self) -> Proposal:
        """What an empty answer to the step shown stands for."""
        step = self._shown()
        if step is None or step.stands == "answered" or self._voice is not None:
            return Proposal()
        if step.kind == "rows":
            last = found(self.about.last, step.path)
            return Proposal("yes" if isinstance(last, list) and step.rows < len(last) else "no")
        return proposal(step, self.folded.raw, self.about, self.so_far.result)

    def _offer_usual(self, step: Step) -> None:
        """Find out whether the head or tail may be answered at once."""
        open_steps = [one for one in self.steps if one.stands == "open"]
        for path, part in ((HEAD, Head), (TAIL, Tail)):
            if step.top not in part.model_fields or path in self.folded.left_out:
                continue
            told = usual_of(open_steps, self.folded.raw, self.about, self.so_far.result, part is Head)
            here = {step.path, step.group} & {one.path for one in told}
            if here and sum(bool(one.text) for one in told) > 1:
                self.usual, self.usual_path = told, path

    # ------------------------------------------------------------ an act

    def act(self, act: Act) -> Screen:
        """Do what a person did; the same act sent again is done once."""
        if act.view and (act.seq <= self._done.get(act.view, 0) or (act.view, act.seq) in self.folded.seen):
            return self.screen
        self.notice, self.refused = "", False
        try:
            if act.path != self.screen.path:
                raise CorrectTheEntry(
                    f"{act.text or act.do!r} was meant for another question; nothing was stored. Answer the "
                    f"one that is shown.",
                    found=act.path,
                    expected=self.screen.path,
                )
            self._act = act
            self._do(act)
        except (CorrectTheEntry, ChooseAnother) as problem:
            self.notice, self.refused = problem.message, True
        if act.view:
            self._done[act.view] = act.seq
        self._read()
        return self.screen

    def _do(self, act: Act) -> None:
        if act.do == "help":
            self.notice = drawn.all_keys(self.screen)
        elif act.do == "stop":
            self.ended = f"Everything is saved in {self.journal.path.name}; go on with it by wqverify step."
        elif self._aside is not None:
            self._in_aside(self._aside, act)
        elif self._overview:
            self._go_to(act)
        elif act.do in _KEYS:
            _KEYS[act.do](self)
        elif act.do != "answer":
            raise CorrectTheEntry(f"{act.do!r} is nothing that can be done here.", found=act.do)
        elif self.usual_path:
            self._all_as_usual(act.text)
        elif self._shown() is None:
            self._complete(taken.as_typed(act.text))
        else:
            self._answer(taken.as_typed(act.text))

    def _in_aside(self, aside: Aside, act: Act) -> None:
        if act.do in ("back", "not done", "leave out"):
            self._aside = None
            return
        text = taken.as_typed(act.text)
        if not text and not aside.may_be_empty:
            raise CorrectTheEntry("An answer is needed here; ^ goes back without one.")
        self._aside = None
        try:
            aside.take(text)
        except (CorrectTheEntry, ChooseAnother):
            self._aside = self._aside or aside
            raise

    def ask(self, aside: Aside) -> None:
        """Show a question of the program itself."""
        self._aside = aside

    # ------------------------------------------------------------ writing

    def _write(self, *lines: JournalLine) -> None:
        """Store lines: tried first, then on the disk, then true."""
        at, act = stamped(self.about.local()), self._act
        signed = [replace(line, at=at, view=act.view, seq=act.seq) for line in lines]
        after = self.folded.after(*signed)
        self.journal.append(*signed)
        self.folded = after

    def _said(self, line: JournalLine) -> JournalLine:
        """Name who says it, where that is not the performer."""
        voice = self._voice
        if voice is None:
            return replace(line, how=line.how or ("paper" if self.about.paper else ""))
        return replace(line, by=voice.by, heard=voice.heard, read_back=voice.read_back)

    # ------------------------------------------------------------ answers

    def _answer(self, text: str) -> None:
        step = self._shown()
        assert step is not None
        {"form": self._form, "rows": self._more, "list": self._reading, "leaf": self._leaf}[step.kind](
            step, text
        )

    def _leaf(self, step: Step, text: str) -> None:
        standing = found(self.folded.raw, step.path)
        how = ""
        if not text:
            if standing is not None:
                self._forward(step)
                return
            offered = self.proposal
            if not offered.text:
                self.leave_out(step)
                return
            text, how = offered.text, "clock" if offered.whence == CLOCK else ""
        self._take(step, text, how)

    def _take(self, step: Step, text: str, how: str = "", sure: str = "") -> None:
        """Take one answer through all that may be wrong or odd about it, then store it."""
        raw, about = self.folded.raw, self.about
        if step.question.time:
            text = taken.time_of_day(text)
        taken.refuse_unknown(step, text, about)
        taken.refuse_form(step, text)
        if not sure:
            odd = self._odd(step, text)
            if odd is not None:
                self._ask_sure(step, odd, how)
                return
        standing = found(raw, step.path)
        if step.kind == "leaf" and standing is not None and standing != text:
            self._ask_why(step.path, text, str(standing), sure)
            return
        path = f"{step.path}.{len(standing or [])}" if step.kind == "list" else step.path
        if step.kind == "list" or standing is None:
            self._write(self._said(JournalLine(do="answer", path=path, text=text, how=how, sure=sure)))
        self._after(step)

    def _odd(self, step: Step, text: str) -> taken.Odd | None:
        raw, about = self.folded.raw, self.about
        if step.question.time:
            date = str(raw.get("date", "")) or about.local().date().isoformat()
            return taken.which_time(text, date, about) or taken.odd_time(
                step, text, {**raw, "date": date}, about
            )
        if step.question.ask.refers == "standard":
            return taken.refused_standard(step, text, raw, about)
        return taken.odd_answer(step, text, raw, about)

    def _ask_sure(self, step: Step, odd: taken.Odd, how: str) -> None:
        def take(text: str) -> None:
            if text not in [way.text for way in odd.ways if way.text]:
                return  # another answer is typed at the question itself
            if step.use and text in self.about.standards and taken.INFORMATION in odd.ways[-1].label:
                self._take(step, text, how, odd.sentence)
                self._write(self._said(JournalLine(do="answer", path=step.use, text=taken.INFORMATION)))
            else:
                self._take(step, text, how, odd.sentence)

        self.ask(Aside(f"{step.path}?sure", odd.sentence, take, odd.ways, "confirm", may_be_empty=True))

    def _ask_why(self, path: str, text: str, was: str, sure: str = "") -> None:
        def take(why: str) -> None:
            line = JournalLine(do="correct", path=path, text=text, was=was, why=why, sure=sure)
            self._write(self._said(line))
            self.notice = f"Corrected: {was} -> {text}; both stay in the journal."
            self._voice, self._at = None, ""

        label = f"{was} stands here. Why does it become {text}?"
        self.ask(Aside(f"{path}?why", label, take, tuple(map(Choice, drawn.WHY_CORRECTED))))

    def _after(self, step: Step) -> None:
        """Go on after an answer: what the clock tells, then the next question."""
        if step.kind == "leaf":
            if self._voice is None:
                self._by_the_clock(step)
            self._forward(step)
            self._close_rows()
        self._voice = None

    def _close_rows(self) -> None:
        """Within a round as many rows are read as last time; + adds another."""
        if not self.about.in_round:
            return
        self._steps_again()
        step = self._shown()
        last = found(self.about.last, step.path) if step is not None and step.kind == "rows" else None
        if step is not None and isinstance(last, list) and step.stands == "open" and step.rows == len(last):
            self._write(JournalLine(do="no more", path=step.path))

    def _forward(self, step: Step) -> None:
        """Show the next open step; among those gone back to the one after this."""
        if step.stands != "answered":
            self._at = ""
        if not self._at:
            return
        paths = [one.path for one in self.steps]
        later = self.steps[paths.index(step.path) + 1 :] if step.path in paths else []
        self._at = next((one.path for one in later if one.stands != "left out"), "")

    def _by_the_clock(self, step: Step) -> None:
        """Answer what this computer's clock knows of what has just been typed."""
        if self.about.paper:
            return
        part = step.path.rpartition(".")[0]
        self._steps_again()
        for one in self.steps:
            same = one.path.rpartition(".")[0] == part and one.stands == "open" and one.kind == "leaf"
            if not same or not one.question.ask.clock or self._is_before(one, step):
                continue
            text = self._moment() if one.question.time else self._apart(one, step)
            if text:
                self._write(JournalLine(do="answer", path=one.path, text=text, how="clock"))

    def _steps_again(self) -> None:
        state = SoFar(dict(self.folded.raw), self.so_far.result, self.about.in_round)
        every = steps(self.about.procedure.Sheet, self.folded, state)
        self.steps = [step for step in every if step.stands != "not asked"]

    def _is_before(self, one: Step, other: Step) -> bool:
        paths = [step.path for step in self.steps]
        return paths.index(one.path) < paths.index(other.path)

    def _moment(self) -> str:
        """This computer's clock as a time of the sheet, empty where it lies in the repeated hour."""
        text = wall_clock(self.about.local(), str(self.folded.raw.get("date", "")))
        date = str(self.folded.raw.get("date", ""))
        return text if date and taken.which_time(text, date, self.about) is None else ""

    def _apart(self, step: Step, read: Step) -> str:
        """The shortest time between the readings of a list, in whole seconds; empty where it is not known."""
        if step.question.ask.unit != "s" or read.kind != "list":
            return ""
        at = drawn.answered_at(self.journal.lines, read.path)
        if len(at) < 2:
            return ""
        shortest = min((b - a).total_seconds() for a, b in itertools.pairwise(at))
        return str(int(shortest)) if shortest >= TOGETHER_S else ""

    # ------------------------------------------------------------ lists, rows, forms

    def _reading(self, step: Step, text: str) -> None:
        if text:
            self._take(step, text)
            return
        if not found(self.folded.raw, step.path):
            self.leave_out(step)
            return
        if step.stands != "answered":
            self._write(JournalLine(do="no more", path=step.path))
        self._by_the_clock(step)
        self._forward(step)
        self._close_rows()

    def _more(self, step: Step, text: str) -> None:
        text = text or self.proposal.text
        if text == "no":
            if step.rows:
                self._write(JournalLine(do="no more", path=step.path))
                self._forward(step)
            else:
                self.leave_out(step)
        elif text == "yes":
            self._another(step)
        else:
            raise CorrectTheEntry(f"{text!r} is neither yes nor no.", found=text, expected="yes or no")

    def _another(self, step: Step) -> None:
        lines = [JournalLine(do="ask", path=f"{step.path}.{step.rows}")]
        if step.path in self.folded.closed:
            lines.insert(0, JournalLine(do="more", path=step.path))
        self._write(*lines)
        self._at = ""

    def _form(self, step: Step, text: str) -> None:
        offered = [choice.text for choice in drawn.forms(self, step)]
        text = text or (offered[0] if step.stands == "open" and offered else "")
        if not text:
            self._forward(step)
        elif text == INSTEAD:
            self.not_done()
        elif text == AGAIN:
            self._open(step)
        elif text in offered:
            self._write(JournalLine(do="same as", path=step.path, text=text.removeprefix(SAME)))
            self._forward(step)
        else:
            raise CorrectTheEntry(f"{text!r} is none of {', '.join(offered)}.", found=text)

    def _open(self, step: Step) -> None:
        """Ask the answers of a part that says not done or same as, or is not begun."""
        lines = [JournalLine(do="ask", path=step.path)]
        standing = found(self.folded.raw, step.path)
        if standing:
            lines.insert(
                0, JournalLine(do="remove", path=step.path, was=standing, why="it is done after all")
            )
        self._write(*lines)
        self._at = ""

    def leave_out(self, step: Step) -> None:
        """Leave an optional question, part or row out; raises where an answer is needed."""
        if step.kind in ("rows", "form") or not step.required:
            path = step.path
        elif step.spare and step.first:
            path = step.spare
        else:
            raise CorrectTheEntry(
                f"{heading(step)} needs an answer{_WHY_NOT if step.group else ''}.",
                where=step.path,
            )
        rows = found(self.folded.raw, path)
        if step.required and step.kind != "rows" and isinstance(rows, list) and rows:
            self._write(JournalLine(do="no more", path=path))  # the next row was begun in vain
        else:
            self._write(JournalLine(do="leave out", path=path))
        self._forward(step)

    # ------------------------------------------------------------ all as usual

    def _all_as_usual(self, text: str) -> None:
        if text not in ("", drawn.ALL_AS_USUAL, drawn.ONE_BY_ONE):
            raise CorrectTheEntry(f"{text!r} is none of the choices.", found=text)
        lines = [JournalLine(do="leave out", path=self.usual_path)]
        if text != drawn.ONE_BY_ONE:
            lines = [
                JournalLine(do=one.do, path=one.path, text=one.text, how="usual" if one.text else "")
                for one in self.usual
            ] + lines
        self._write(*lines)

    # ------------------------------------------------------------ keys

    def back(self) -> None:
        """Go to the question before."""
        step = self._shown()
        paths = [one.path for one in self.steps if one.stands != "open" or one is step]
        index = paths.index(step.path) if step is not None else len(paths)
        if index == 0:
            raise CorrectTheEntry("This is the first question.")
        self._at = paths[index - 1]

    def forward(self) -> None:
        """Go to the next question, whether this one is answered or not."""
        step = self._shown()
        if step is not None:
            paths = [one.path for one in self.steps]
            self._at = next(iter(paths[paths.index(step.path) + 1 :]), "")

    def not_done(self) -> None:
        """Say of the part why it was not done."""
        step = self._shown()
        if step is None or not step.group:
            raise CorrectTheEntry(
                "This answer cannot be not done: the sheet needs it. Stop with &, or pass it on with ~."
            )
        group, standing = step.group, found(self.folded.raw, step.group)

        def take(why: str) -> None:
            line = JournalLine(do="not done", path=group, text=why, was=standing)
            self._write(self._said(line))
            self._voice, self._at = None, ""

        label = f"{drawn.group_label(self, step)}: not done, because"
        self.ask(Aside(f"{group}?not done", label, take, drawn.reasons(self, group)))

    def same_as(self) -> None:
        """Say of the part that it is the same as an earlier stage."""
        step = self._shown()
        form = next(
            (one for one in self.steps if step and one.path == step.group and one.kind == "form"), None
        )
        if step is None or not step.same_as:
            raise CorrectTheEntry("This part cannot be the same as another one.")
        text = drawn.same_as(self, step.group)
        if not text:
            raise CorrectTheEntry("There is no earlier stage this one could be the same as; read it.")
        standing = found(self.folded.raw, step.group)
        self._write(JournalLine(do="same as", path=step.group, text=text, was=standing))
        self._at = form.path if form and self._at else ""

    def more(self) -> None:
        """Add a row or reading."""
        step = self._shown()
        rows = [one for one in self.steps if one.kind == "rows"]
        here = next((one for one in rows if step and step.path.startswith(one.path)), None)
        if step is not None and step.kind == "list" and step.stands == "answered":
            self._write(JournalLine(do="more", path=step.path))
        elif here is None:
            raise CorrectTheEntry("There are no rows here that could be added to.")
        else:
            self._another(here)

    def also(self) -> None:
        """Ask a question of this part that is not asked by itself."""
        hidden = drawn.also_here(self)
        if not hidden:
            raise CorrectTheEntry("Everything that belongs here is asked.")

        def take(path: str) -> None:
            if path not in [step.path for step in hidden]:
                raise CorrectTheEntry(f"{path!r} is none of the choices.", found=path)
            self._write(JournalLine(do="ask", path=path))
            self._steps_again()
            self._at = next(step.path for step in self.steps if f"{step.path}.".startswith(f"{path}."))

        ways = tuple(Choice(step.path, heading(step)) for step in hidden)
        self.ask(Aside("?also", "Which question?", take, ways, "word"))

    def leave_out_shown(self) -> None:
        """Leave out what is shown, whatever is proposed."""
        step = self._shown()
        if step is None or step.stands == "answered":
            raise CorrectTheEntry("What stands here is taken back with %, not left out.")
        self.leave_out(step)

    def told_by(self) -> None:
        """Let somebody else say the answer."""

        def heard(who: str) -> Callable[[str], None]:
            def take(how: str) -> None:
                label = f"{drawn.person(self, who)}, {how}: was the value read back?"
                ways = (Choice("yes"), Choice("no"))
                self.ask(Aside("?read back", label, read_back(who, how), ways, "confirm"))

            return take

        def read_back(who: str, how: str) -> Callable[[str], None]:
            def take(text: str) -> None:
                if text not in ("yes", "no"):
                    raise CorrectTheEntry(
                        f"{text!r} is neither yes nor no.", found=text, expected="yes or no"
                    )
                self._voice = Voice(who, how, text)

            return take

        def who(text: str) -> None:
            ways = tuple(map(Choice, drawn.HEARD))
            self.ask(Aside("?heard", f"How is it heard from {drawn.person(self, text)}?", heard(text), ways))

        people = tuple(Choice(one.id, f"{one.id}  {one.name}") for one in self.about.people.values())
        self.ask(Aside("?who", "Who says this value? A staff id, or a name and office.", who, people))

    def correct(self) -> None:
        """Correct or take back what stands here: the answer, one reading of a list, a whole row."""
        step = self._shown()
        standing = found(self.folded.raw, step.path) if step is not None else None
        if step is None or standing is None:
            raise CorrectTheEntry("Nothing stands here that could be corrected; go back to it with ^.")
        items = (
            [f"{step.path}.{n}" for n in range(len(standing))] if isinstance(standing, list) else [step.path]
        )
        row = drawn.row_of(step)
        ways = [Choice(path, drawn.said(self, path)) for path in items if step.kind != "rows"]
        ways += [Choice(row, f"take the whole {drawn.row_label(self, row)} back")] if row else []

        def take(path: str) -> None:
            if path not in [way.text for way in ways]:
                raise CorrectTheEntry(f"{path!r} is none of the choices.", found=path)
            if path == row:
                self._take_back(path)
                return
            label = f"{drawn.said(self, path)}: what is right? An empty answer takes it back."
            self.ask(Aside(f"{path}?right", label, right(path), may_be_empty=True))

        def right(path: str) -> Callable[[str], None]:
            def store(text: str) -> None:
                if not text:
                    self._take_back(path)
                    return
                taken.refuse_unknown(step, text, self.about)
                taken.refuse_form(step, text)
                self._ask_why(path, text, str(found(self.folded.raw, path)))

            return store

        if len(ways) == 1:
            take(ways[0].text)
        else:
            self.ask(Aside(f"{step.path}?which", "Which one?", take, tuple(ways), "word"))

    def _take_back(self, path: str) -> None:
        def take(why: str) -> None:
            was = found(self.folded.raw, path)
            self._write(self._said(JournalLine(do="remove", path=path, was=was, why=why)))
            self.notice = "Taken back; it stays in the journal."
            self._at = ""

        ways = tuple(map(Choice, drawn.WHY_CORRECTED))
        self.ask(Aside(f"{path}?back", f"{drawn.said(self, path)}: why is it taken back?", take, ways))

    def take_up_changes(self, raw: Raw) -> None:
        """Take up, with a reason, what was changed in the written sheet outside of this program."""
        lines = list(changes(self.about.procedure.Sheet, self.folded.raw, raw))

        def take(why: str) -> None:
            self._write(*(replace(line, why=why) for line in lines))
            self.notice = f"{len(lines)} changes of the file are in the journal now."

        label = f"{self.sheet.name} was changed in the file since it was written ({len(lines)} answers). Why?"
        self.ask(Aside("?file", label, take, tuple(map(Choice, drawn.WHY_CORRECTED))))
        self._read()

    # ------------------------------------------------------------ the end

    def _complete(self, text: str) -> None:
        """Write the sheet, once it is whole and the procedure does not refuse it."""
        if text not in ("", "complete", "run"):
            raise CorrectTheEntry(f"{text!r} is none of the choices.", found=text)
        written = complete.written(self.about, dict(self.folded.raw))
        complete.write(self.sheet, written, {line.digest for line in self.journal.lines})
        if self.folded.state != "complete":
            self._write(JournalLine(do="complete", digest=complete.digest(written)))
        self.notice = f"{self.sheet.name} is written."

    def put_away(self) -> None:
        """Let the sheet wait for the laboratory, or pass it on."""

        def take(text: str) -> None:
            if text == drawn.LABORATORY:
                self.ask(Aside("?wait", "What is waited for?", wait))
            elif text == drawn.PASS_ON:
                people = tuple(Choice(one.id, f"{one.id}  {one.name}") for one in self.about.people.values())
                self.ask(Aside("?to", "To whom is the sheet passed on?", to, people))
            else:
                raise CorrectTheEntry(f"{text!r} is none of the choices.", found=text)

        def wait(text: str) -> None:
            self._write(JournalLine(do="wait", text=text))
            self.ended = f"{self.sheet.name} waits for the laboratory: {text}. Everything is saved."

        def to(who: str) -> None:
            self.ask(Aside("?what", f"What is left to do for {drawn.person(self, who)}?", rest(who)))

        def rest(who: str) -> Callable[[str], None]:
            def done(text: str) -> None:
                self._write(JournalLine(do="pass on", to=who, text=text))
                name = drawn.person(self, who)
                self.ended = f"{self.sheet.name} is passed on to {name}: {text}. Everything is saved."

            return done

        ways = (Choice(drawn.LABORATORY), Choice(drawn.PASS_ON))
        self.ask(Aside("?put away", "What happens to this sheet now?", take, ways, "word"))

    def show_overview(self) -> None:
        """Show the parts of the sheet to go to."""
        self._overview = True

    def _go_to(self, act: Act) -> None:
        self._overview = False
        if act.do != "answer" or not act.text:
            return
        names = [section.path for section in drawn.sections(self)]
        if act.text not in names:
            self._overview = True
            raise CorrectTheEntry(f"{act.text!r} is no part of this sheet.", found=act.text)
        if not any(step.top == act.text for step in self.steps):
            self._write(JournalLine(do="ask", path=act.text))
            self._steps_again()
        here = [step for step in self.steps if step.top == act.text]
        self._at = next((one.path for one in here if one.stands == "open"), here[0].path)


_KEYS: dict[str, Callable[[Visit], None]] = {
    "back": Visit.back,
    "forward": Visit.forward,
    "not done": Visit.not_done,
    "same as": Visit.same_as,
    "more": Visit.more,
    "also": Visit.also,
    "leave out": Visit.leave_out_shown,
    "told by": Visit.told_by,
    "correct": Visit.correct,
    "put away": Visit.put_away,
    "overview": Visit.show_overview,
}
