"""What stands open today: outputs that are still held first, then sheets that wait for somebody or something.

It reads the journals beside the field sheets and the newest record of each analyzer; it judges and changes
nothing. What cannot be read is one line of the list and never hides the rest.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from wqverify.book import Book, has_book, open_book, visits_on_round
from wqverify.entry.fold import fold
from wqverify.entry.journal import SUFFIX, read_journal
from wqverify.errors import CorrectTheEntry, RepairTheFolder, WqverifyError
from wqverify.plant.clock import resolve
from wqverify.plant.folder import Plant
from wqverify.plant.round_folder import FILE, RoundFolder, Row, read_round
from wqverify.procedures import PROCEDURES
from wqverify.procedures.blank import filled, open_answers
from wqverify.procedures.sheets import read_sheet
from wqverify.procedures.tail import OUT_OF_USE as PARTS

SHEETS = "field_sheets"
OUT_OF_USE = tuple((done, undone, called.replace(" ", " still ", 1)) for done, undone, called in PARTS)
NOT_KNOWN = "Whether it left an output held is not known: look at the analyzer."
STATES = ("open", "waiting for the laboratory", "passed on", "complete")  # of a sheet
_ANSWERS = ("answer", "correct", "remove", "not done", "same as")

T = TypeVar("T")


@dataclass(frozen=True)
class Where:
    """The visit or record that something is known from; ``sheet`` is relative to the plant folder."""

    tag: str
    procedure: str
    by: str = ""
    sheet: str = ""
    number: str = ""  # of the record; empty for a sheet

    @property
    def title(self) -> str:
        """What the procedure is called; its name where this version does not know it."""
        return PROCEDURES[self.procedure].title if self.procedure in PROCEDURES else self.procedure


@dataclass(frozen=True)
class OutOfUse:
    """Something that was taken out of use and not taken back: since when, and why it was left so."""

    what: str  # "output still held", "out of service"
    where: Where
    since: datetime | None
    left_because: str = ""
    problem: str = ""  # why nobody can tell since when


@dataclass(frozen=True)
class Sheet:
    """A visit that is not in the book yet."""

    where: Where
    state: str  # one of STATES
    began: datetime
    last_at: datetime
    last: str = ""  # path of the answer that was given last
    to: str = ""
    text: str = ""  # what it waits for, or what was said when it was passed on
    folder: str = ""  # of its round, relative to the plant folder; empty for none


@dataclass(frozen=True)
class Walk:
    """A round that is not wholly in the book: the stops that are not."""

    folder: str
    name: str
    date: str
    stops: tuple[str, ...]
    count: int
    ready: bool  # whether nothing on its sheets is known to be open


@dataclass(frozen=True)
class Unreadable:
    """A file that cannot be read, and the sentence that says why."""

    file: str
    sentence: str


@dataclass(frozen=True)
class Today:
    """The list."""

    now: datetime  # on the plant's clock
    out_of_use: tuple[OutOfUse, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    rounds: tuple[Walk, ...] = ()
    unreadable: tuple[Unreadable, ...] = ()

    def in_state(self, state: str) -> list[Sheet]:
        """Return the sheets in a state, the one that was touched last first."""
        return [one for one in self.sheets if one.state == state]

    @property
    def empty(self) -> bool:
        return not (self.out_of_use or self.sheets or self.rounds or self.unreadable)


def today(plant: Plant, now: datetime) -> Today:
    """Return what stands open in a plant folder and its book."""
    unreadable: list[Unreadable] = []
    book = _Known(plant, unreadable)
    sheets, out = [], list[OutOfUse]()
    for path in _journals(plant, unreadable):
        try:
            sheet, raw = _told(plant, path)
        except (WqverifyError, OSError) as problem:
            name = path.relative_to(plant.folder).as_posix()
            unreadable.append(Unreadable(name, f"{_sentence(problem)} {NOT_KNOWN}"))
            continue
        if sheet.state != "complete" or not book.has(sheet, raw):
            sheets.append(sheet)
            out += _left(plant, sheet, raw)
    rounds = list(_rounds(plant, book, sheets, unreadable))
    out += book.left()
    return Today(
        now.astimezone(plant.zone),
        tuple(sorted(out, key=_oldest_first)),
        tuple(sorted(sheets, key=lambda one: one.last_at, reverse=True)),
        tuple(sorted(rounds, key=lambda one: (one.date, one.folder))),
        tuple(unreadable),
    )


def _oldest_first(one: OutOfUse) -> tuple[bool, float, str]:
    """What nobody can tell the time of comes first: it may be the oldest."""
    return one.since is not None, one.since.timestamp() if one.since else 0.0, one.where.tag


def _sentence(problem: WqverifyError | OSError) -> str:
    if isinstance(problem, WqverifyError):
        return problem.message
    return f"It cannot be read ({problem.strerror or problem}); let this user read it, or repair the disk."


# ---------------------------------------------------------------- journals


def _journals(plant: Plant, unreadable: list[Unreadable]) -> Iterator[Path]:
    """Give the journals of field_sheets/ and of the folders of rounds in it."""
    for folder in [plant.folder / SHEETS, *_folders(plant)]:
        try:
            found = sorted(folder.glob(f"*{SUFFIX}"))
        except OSError as problem:
            unreadable.append(Unreadable(folder.relative_to(plant.folder).as_posix(), _sentence(problem)))
            continue
        yield from found


def _folders(plant: Plant) -> list[Path]:
    top = plant.folder / SHEETS
    return sorted(path for path in top.iterdir() if path.is_dir()) if top.is_dir() else []


def _told(plant: Plant, path: Path) -> tuple[Sheet, Mapping[str, Any]]:
    """Return a visit as its journal tells it, with its answers; raises RepairTheFolder for a damaged one."""
    lines, _torn = read_journal(path.read_bytes())
    if not lines:
        raise RepairTheFolder(
            "It holds no whole line, so nothing was entered in it; remove the file and begin the visit again."
        )
    folded = fold(lines)
    sheet = path.with_name(path.name.removesuffix(SUFFIX) + ".toml").relative_to(plant.folder)
    last = next((line for line in reversed(lines) if line.do in _ANSWERS), lines[0])
    by = str(folded.raw.get("performed_by", ""))
    return Sheet(
        Where(folded.tag, folded.procedure, by, sheet.as_posix()),
        folded.state,
        datetime.fromisoformat(folded.began).astimezone(plant.zone),
        datetime.fromisoformat(last.at).astimezone(plant.zone),
        last.path,
        folded.state_to,
        folded.state_text,
        sheet.parent.as_posix() if (path.parent / FILE).is_file() else "",
    ), folded.raw


def _left(plant: Plant, sheet: Sheet, raw: Mapping[str, Any]) -> Iterator[OutOfUse]:
    """Give what a visit took out of use and has not taken back."""
    for what, typed, because in _still_out(raw):
        one = OutOfUse(what, sheet.where, None, because)
        try:
            yield replace(one, since=resolve(str(raw.get("date", "")), typed, plant.zone))
        except CorrectTheEntry as problem:
            yield replace(one, problem=problem.message)


def _still_out(raw: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Give what was taken out of use and not back, its typed time, and why it was left so."""
    for done, undone, what in OUT_OF_USE:
        taken, back = raw.get(done), raw.get(undone)
        typed = taken.get("at") if isinstance(taken, dict) else None
        back = back if isinstance(back, dict) else {}
        if isinstance(typed, str) and typed and not back.get("at"):
            yield what, typed, str(back.get("not_done", ""))


# ---------------------------------------------------------------- the book


class _Known:
    """What the book knows, as far as it can be read: where it cannot, that is one line of the list."""

    def __init__(self, plant: Plant, unreadable: list[Unreadable]) -> None:
        self._plant, self._unreadable = plant, unreadable
        self._book: Book | None = None
        if has_book(plant.book):
            self._book = self._read(lambda: open_book(plant.book, plant.device), None)

    def _read(self, what: Callable[[], T], otherwise: T) -> T:
        """Return what is read from the book; after the first failure it is not asked again."""
        try:
            return what()
        except WqverifyError as problem:
            self._book = None
            self._unreadable.append(Unreadable(Path(self._plant.book).name, problem.message))
            return otherwise

    def has(self, sheet: Sheet, raw: Mapping[str, Any]) -> bool:
        """Whether a visit is in the book; an amendment is when it is more than what it replaces."""
        book, where = self._book, sheet.where
        try:
            started = resolve(str(raw.get("date", "")), str(raw.get("started", "")), self._plant.zone)
        except CorrectTheEntry:
            return False
        if book is None:
            return False
        visit = f"{where.tag} {where.procedure} {started.isoformat(timespec='minutes')}"
        known = self._read(lambda: book.record_of_visit(visit), None)
        return known is not None and known.number != raw.get("replaces", "")

    def waiting(self, one: RoundFolder) -> list[Row]:
        """Return the stops of a round that are not in the book."""
        book, every = self._book, list(one.rows)
        if book is None:
            return every
        return self._read(lambda: [row for row in every if not _is_in(book, one, row)], every)

    def left(self) -> list[OutOfUse]:
        """Return what the newest record of each analyzer left out of use."""
        book = self._book
        if book is None:
            return []
        return self._read(
            lambda: [
                one
                for tag in self._plant.analyzers
                for state in book.last_records(tag, limit=1)
                for one in _of_record(tag, state.number, json.loads(book.stored(state.number)))
            ],
            [],
        )


def _is_in(book: Book, one: RoundFolder, row: Row) -> bool:
    if not row.skipped:
        return bool(visits_on_round(book, one.title, one.date, row.tag, row.procedure))
    skipped = (one.title, row.tag, row.procedure)
    bodies = [entry.body for entry in book.events("skipped")]
    return any((body.get("round"), body.get("tag"), body.get("procedure")) == skipped for body in bodies)


def _of_record(tag: str, number: str, record: Mapping[str, Any]) -> Iterator[OutOfUse]:
    sheet, times = record["sheet"], record["given"]["times"]
    where = Where(tag, record["procedure"], record["performed_by"], number=number)
    at = {what: times.get(f"{done}.at", "") for done, _undone, what in OUT_OF_USE}
    for what, _typed, because in _still_out(sheet):
        yield OutOfUse(what, where, datetime.fromisoformat(at[what]), because)
    status = sheet["status"]
    if status["state"] == "out of service":
        since = max(times.values(), key=datetime.fromisoformat)
        yield OutOfUse("out of service", where, datetime.fromisoformat(since), status.get("note", ""))


# ---------------------------------------------------------------- rounds


def _rounds(plant: Plant, book: _Known, sheets: list[Sheet], unreadable: list[Unreadable]) -> Iterator[Walk]:
    """Give the rounds whose folder is there and whose stops are not all in the book."""
    for folder in _folders(plant):
        if not (folder / FILE).is_file():
            continue
        name = folder.relative_to(plant.folder).as_posix()
        try:
            one = read_round(folder)
        except (WqverifyError, OSError) as problem:
            unreadable.append(Unreadable(f"{name}/{FILE}", _sentence(problem)))
            continue
        if waits := book.waiting(one):
            state = {sheet.where.sheet: sheet.state for sheet in sheets}
            ready = all(_is_ready(one, row, state.get(f"{name}/{row.path.name}", "")) for row in waits)
            yield Walk(name, one.name, one.date, tuple(row.tag for row in waits), len(one.rows), ready)


def _is_ready(one: RoundFolder, row: Row, state: str) -> bool:
    """Whether nothing is open at a stop; ``state`` is that of its visit, empty without a journal."""
    if state or row.skipped:
        return state in ("", "complete")
    try:
        raw, _document = read_sheet(row.path)
    except WqverifyError:
        return False
    return next(open_answers(filled(raw, one.head)), None) is None
