"""What is open at the place to work: a choice, or one visit."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from wqverify.acts import perform
from wqverify.acts.around import surroundings
from wqverify.desk.sheets import changed_outside, taken_up, told
from wqverify.entry.fold import fold
from wqverify.entry.journal import Journal, JournalLine, journal_path, read_journal, stamped
from wqverify.entry.proposals import PAPER
from wqverify.entry.provisional import refusal_of
from wqverify.entry.screen import Act, Choice, Key, Screen
from wqverify.entry.visit import Visit
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.lists.today import Sheet, today
from wqverify.plant.files import shortened
from wqverify.plant.folder import Plant, open_plant
from wqverify.plant.messages import nearest
from wqverify.plant.round_folder import read_round
from wqverify.procedures import PROCEDURES
from wqverify.procedures.sheets import read_sheet
from wqverify.terms import Raw

NEW, OTHERS = "new visit", "other visits"
_KEYS = (Key("^", "back", "back"), Key("&", "stop", "stop for now"), Key("?", "help", "all keys"))


@dataclass(frozen=True)
class Menu:
    """A choice that belongs to no sheet; ``take`` is given the text of the choice, or what was typed."""

    path: str
    label: str
    choices: tuple[Choice, ...]
    take: Callable[[str], None]
    free: bool = False  # something else is typed


class Desk:
    """One open place to work. It is a face's only partner: ``screen`` and ``act``."""

    def __init__(self, plant: Plant, clock: Callable[[], datetime], paper: bool = False) -> None:
        self.plant, self.clock, self.paper = plant, clock, paper
        self.visit: Visit | None = None
        self.when_complete: Callable[[str], None] | None = None  # of a round: back to its stops
        self.home: Callable[[], None] = self.choose
        self._screen = Screen("choose")
        self._menu: Menu | None = None
        self._done: dict[str, int] = {}
        self.choose()

    @property
    def screen(self) -> Screen:
        """What is shown now."""
        return self._screen

    def close(self) -> None:
        """Give back what is open; everything is saved."""
        if self.visit is not None:
            self.visit.close()
            self.visit = None

    def now(self) -> datetime:
        """This computer's clock as the plant reads it."""
        return self.clock().astimezone(self.plant.zone)

    # ------------------------------------------------------------ acts

    def act(self, act: Act) -> Screen:
        """Do what a person did: it is on the disk when this returns, or refused and nothing is stored."""
        visit = self.visit
        if visit is not None and (visit.is_repeat(act) or not self._is_run(act)):
            self._in_visit(visit, act)
            return self._screen
        if act.view and act.seq <= self._done.get(act.view, 0):
            return self._screen
        try:
            if act.path != self._screen.path:
                what = shortened(act.text or act.do)
                raise CorrectTheEntry(f"{what} was meant for another question; nothing was done.")
            self._at_menu(act)
        except (CorrectTheEntry, ChooseAnother) as problem:
            self._screen = replace(self._screen, notice=problem.message, refused=True)
        if act.view:
            self._done[act.view] = act.seq
        return self._screen

    def _is_run(self, act: Act) -> bool:
        """Whether an act runs the sheet: asked for on the screen that offers it, and not within a round."""
        offered = self.visit is not None and self.visit.folded.state == "complete"
        alone = offered and self.when_complete is None
        return alone and (act.do, act.path, act.text.strip()) == ("answer", "?end", "run")

    def _in_visit(self, visit: Visit, act: Act) -> None:
        self._screen = visit.act(act)
        if visit.ended:
            self.close()
            if self.when_complete is not None and act.do != "stop":
                self.when_complete(visit.ended)
        elif (
            self.when_complete is not None
            and visit.folded.state == "complete"
            and self._screen.path == "?end"
        ):
            self.close()
            self.when_complete(f"{visit.sheet.name} is written.")

    def _at_menu(self, act: Act) -> None:
        if act.do == "stop":
            self.close()
            self._screen = Screen("end", title=self.plant.site.name, text="Everything is saved.")
        elif act.do == "back":
            self.home()
        elif act.do != "answer":
            self._screen = replace(self._screen, notice="Choose by its number.", refused=False)
        elif self.visit is not None:
            self._run_sheet(self.visit)
        elif self._menu is not None:
            self._take(self._menu, act.text.strip())

    def _take(self, menu: Menu, text: str) -> None:
        if not menu.free and text not in [choice.text for choice in menu.choices]:
            hint = (
                nearest(text, [choice.text for choice in menu.choices]) if text else "choose by its number."
            )
            raise CorrectTheEntry(f"{shortened(text)} is none of the choices; {hint}", found=text)
        menu.take(text)

    def show(self, menu: Menu, notice: str = "") -> None:
        """Show a choice."""
        self._menu = menu
        self._screen = Screen(
            "choose",
            title=self.plant.site.name,
            label=menu.label,
            form="text" if menu.free else "word",
            path=menu.path,
            required=True,
            choices=menu.choices,
            keys=_KEYS,
            notice=notice,
        )

    def read_plant(self) -> None:
        """Read the plant folder as it is now: a bottle may have been entered, a tolerance changed."""
        self.plant = open_plant(self.plant.folder)

    # ------------------------------------------------------------ choosing

    def choose(self) -> None:
        """Show the open sheets and rounds, and the way to a new visit."""
        self.home, self.when_complete = self.choose, None
        self.read_plant()
        known_today = today(self.plant, self.now())
        rounds = tuple(
            Choice(one.folder, f"round {one.name} of {one.date}: {len(one.stops)} of {one.count} stops open")
            for one in known_today.rounds
        )
        sheets = [one for one in known_today.sheets if not one.folder]
        self.show(self._sheets("?visit", "Which visit?", sheets, self._choose_procedure, rounds))

    def _sheets(
        self,
        path: str,
        label: str,
        sheets: Iterable[Sheet],
        new: Callable[[], None],
        rounds: tuple[Choice, ...] = (),
    ) -> Menu:
        found = tuple(Choice(one.where.sheet, told(one)) for one in sheets)

        def take(text: str) -> None:
            if text == NEW:
                new()
            elif text in [choice.text for choice in rounds]:
                self.open_round(self.plant.folder / text)
            else:
                self.open_sheet(self.plant.folder / text)

        return Menu(path, label, (*found, *rounds, Choice(NEW)), take)

    def open_round(self, folder: Path) -> None:
        """Show the stops of a round; raises ChooseAnother for a folder that is none."""
        from wqverify.desk.rounds import show_stops

        read_round(folder)

        def stops(notice: str = "") -> None:
            show_stops(self, folder, notice)

        self.home = self.when_complete = stops
        stops()

    def _choose_procedure(self) -> None:
        found = tuple(Choice(name, f"{name}: {one.title}") for name, one in PROCEDURES.items())
        self.show(Menu("?procedure", "What is done?", found, self._choose_tag))

    def _choose_tag(self, procedure: str) -> None:
        found = tuple(
            Choice(tag, f"{tag}: {one.measures}, {one.location}") for tag, one in self.plant.analyzers.items()
        )
        self.show(Menu("?tag", "Which analyzer?", found, lambda tag: self.open_visits_of(procedure, tag)))

    def open_visits_of(self, procedure: str, tag: str) -> None:
        """Begin a visit, or ask which one where there are open ones of the same work."""
        known(procedure, "procedure", PROCEDURES)
        known(tag, "analyzer", self.plant.analyzers)
        self._refuse_misfit(procedure, tag)
        begun = [
            one
            for one in today(self.plant, self.now()).sheets
            if (one.where.procedure, one.where.tag) == (procedure, tag)
            and one.state != "complete"
            and not one.folder
        ]
        if begun:
            label = "There is an open sheet of this work. Go on with it?"
            self.show(self._sheets("?again", label, begun, lambda: self.begin(procedure, tag)))
        else:
            self.begin(procedure, tag)

    def _refuse_misfit(self, procedure: str, tag: str) -> None:
        """Raise what the procedure refuses of this analyzer, before anything is begun."""
        about = surroundings(self.plant, PROCEDURES[procedure], tag, self.clock)
        raw = {"procedure": procedure, "tag": tag}
        if (problem := refusal_of(about.procedure, raw, "tag", about.around)) is not None:
            raise problem

    # ------------------------------------------------------------ a visit

    def begin(self, procedure: str, tag: str) -> None:
        """Begin a new sheet in field_sheets/."""
        name = f"{self.now():%Y-%m-%d %H%M} {tag} {procedure}"
        sheet = self._free(self.plant.folder / "field_sheets", name)
        self.begin_with(sheet, procedure, tag, {"procedure": procedure, "tag": tag}, {})

    def _free(self, folder: Path, name: str) -> Path:
        """Return a sheet of this name that is not there yet: two visits may begin within a minute."""
        names = (name, *(f"{name} {number}" for number in range(2, 100)))
        sheets = (folder / f"{one}.toml" for one in names)
        return next(one for one in sheets if not one.exists() and not journal_path(one).exists())

    def begin_with(self, sheet: Path, procedure: str, tag: str, raw: Raw, head: Mapping[str, Any]) -> None:
        """Begin the journal of a sheet with what stands on it and what a round has in common: all at once."""
        at, one = stamped(self.now()), PROCEDURES[procedure]
        more = list(taken_up(one, sheet, raw, head, at))
        more += [JournalLine(at=at, do="ask", path=PAPER)] if self.paper else []
        journal = Journal.begin(
            journal_path(sheet), at, procedure=procedure, revision=one.revision, tag=tag, more=tuple(more)
        )
        with ExitStack() as undo:
            undo.callback(journal.close)
            self._open(sheet, journal, procedure, tag)
            undo.pop_all()

    def open_sheet(self, sheet: Path) -> None:
        """Go on with a sheet, or begin with one that was partly filled in an editor."""
        file = journal_path(sheet)
        lines = read_journal(file.read_bytes())[0] if file.is_file() else ()
        if not lines and (sheet.is_file() or not file.is_file()):  # not begun, or killed in its beginning
            raw, document = read_sheet(sheet)
            procedure = known(str(document.data.get("procedure", "")), "procedure", PROCEDURES)
            tag = known(str(document.data.get("tag", "")), "analyzer", self.plant.analyzers)
            self.begin_with(sheet, procedure, tag, raw, {})
            return
        if not lines:
            Journal.resume(file, stamped(self.now()))  # which says why it cannot be gone on with
        folded = fold(lines)
        procedure = known(folded.procedure, "procedure", PROCEDURES)
        if folded.tag not in self.plant.analyzers:
            raise ChooseAnother(
                f"{sheet.name} is a sheet of {folded.tag}, which analyzers.toml does not hold any more; put "
                f"it back there to go on.",
                found=folded.tag,
                where="analyzers.toml",
            )
        tag = folded.tag
        journal = Journal.resume(file, stamped(self.now()))
        with ExitStack() as undo:
            undo.callback(journal.close)
            visit = self._open(sheet, journal, procedure, tag)
            if visit.folded.state not in ("open", "complete"):
                visit.who_goes_on()
                self._screen = visit.screen
            if changed_outside(sheet, visit.folded):
                visit.take_up_changes(read_sheet(sheet)[0])
                self._screen = visit.screen
            undo.pop_all()

    def _open(self, sheet: Path, journal: Journal, procedure: str, tag: str) -> Visit:
        self.read_plant()
        about = surroundings(self.plant, PROCEDURES[procedure], tag, self.clock)
        begun = fold(journal.lines)
        paper = PAPER in begun.opened or PAPER in begun.raw
        about = replace(about, in_round=self.when_complete is not None, paper=paper)
        visit = Visit(sheet, journal, about)
        self.visit, self._screen = visit, visit.screen
        return visit

    # ------------------------------------------------------------ run

    def _run_sheet(self, visit: Visit) -> None:
        from wqverify.show.terminal import summary

        self.read_plant()
        done = perform(self.plant, [visit.sheet], self.clock())[0]
        self.close()
        sign = f"wqverify sign {done.number} --by {done.record.performed_by}"
        page = done.page.relative_to(self.plant.folder).as_posix()
        self.show_result(f"{summary(done.record)}\n\nNext: sign it in the terminal, {sign}", page)

    def show_result(self, text: str, page: str) -> None:
        """Show what was computed, where its page is and what comes next."""
        self.show(Menu("?result", "Done.", (Choice(OTHERS),), lambda _text: self.home()))
        self._screen = replace(self._screen, kind="result", text=text, page=page)


def known(name: str, what: str, names: Mapping[str, Any]) -> str:
    """Return a name there is; raises ChooseAnother with the nearest one."""
    if name not in names:
        raise ChooseAnother(
            f"There is no {what} {shortened(name)}; {nearest(name, names)}",
            found=name,
            expected=", ".join(names),
        )
    return name
