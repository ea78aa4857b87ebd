"""What stands open today: outputs that are still held first, then clocks that run, sheets that wait, what
records opened and nobody answered, and what runs out.

It reads the journals beside the field sheets and the newest record of each analyzer; it judges and changes
nothing. What cannot be read is one line of the list and never hides the rest.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from math import inf
from pathlib import Path
from typing import Any, TypeVar

from wqverify.book import (
    Book,
    KnownVisits,
    has_book,
    known_visits,
    open_book,
    stored_one_by_one,
    undecided,
)
from wqverify.entry.fold import BY_MISTAKE, fold
from wqverify.entry.journal import SUFFIX, read_journal
from wqverify.errors import CorrectTheEntry, RepairTheFolder, WqverifyError
from wqverify.lists.clocks import Running, on_records, on_sheet
from wqverify.lists.due import Due, due
from wqverify.lists.expiring import Expiring, expiring
from wqverify.lists.opened import Opened, opened
from wqverify.lists.out_of_use import OutOfUse, Where, left_by_records, left_by_visit
from wqverify.plant.clock import resolve
from wqverify.plant.folder import Plant
from wqverify.plant.round_folder import FILE, RoundFolder, Row, read_round
from wqverify.procedures.blank import filled, open_answers
from wqverify.procedures.sheets import read_sheet

SHEETS = "field_sheets"
NOT_KNOWN = "Whether an output was left held is not known: look at the analyzer."
STATES = ("open", "waiting for the laboratory", "passed on", BY_MISTAKE, "complete")  # of a sheet
_NAMES = re.compile(rb'"path":"(?:date|started|replaces)"')  # no text can say this: its quotes bear a \\
_ANSWERS = ("answer", "correct", "remove", "not done", "same as")

T = TypeVar("T")


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
    complete: int = 0  # how many of these stops have a sheet on which nothing is


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
    clocks: tuple[Running, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    rounds: tuple[Walk, ...] = ()
    opened: tuple[Opened, ...] = ()
    due: tuple[Due, ...] = ()
    expiring: tuple[Expiring, ...] = ()
    unreadable: tuple[Unreadable, ...] = ()
    undecided: tuple[str, ...] = ()  # what two devices decided about one record

    def in_state(self, state: str) -> list[Sheet]:
        """Return the sheets in a state, the one that was touched last first."""
        return [one for one in self.sheets if one.state == state]

    @property
    def empty(self) -> bool:
        """Whether nothing that was begun waits; what is due or runs out is no work that stands open."""
        open_ = (self.out_of_use, self.clocks, self.sheets, self.rounds, self.opened, self.undecided)
        return not any((*open_, self.unreadable))


def today(plant: Plant, now: datetime) -> Today:
    """Return what stands open in a plant folder and its book."""
    unreadable: list[Unreadable] = []
    book = _Known(plant, unreadable)
    sheets, out, clocks = [], list[OutOfUse](), list[Running]()
    for path in _journals(plant, unreadable):
        try:
            data = path.read_bytes()
            if (completed := _completed(data)) is not None and book.has(*completed):
                continue
            sheet, raw = _told(plant, path, data)
            clocks += on_sheet(plant, sheet.where, dict(raw), now) if sheet.state != BY_MISTAKE else ()
        except (WqverifyError, OSError) as problem:
            name = path.relative_to(plant.folder).as_posix()
            unreadable.append(Unreadable(name, f"{_sentence(problem)} {NOT_KNOWN}"))
            continue
        if sheet.state != "complete" or not book.has(sheet.where.tag, sheet.where.procedure, raw):
            left = list(left_by_visit(sheet.where, raw, plant.zone))
            if left or sheet.state != BY_MISTAKE:  # what it took out of use is so by mistake or not
                sheets.append(sheet)
            out += left
    rounds = list(_rounds(plant, book, sheets, unreadable))
    out += book.left()
    clocks += book.clocks()
    undecided_ = tuple(book.undecided())
    here = now.astimezone(plant.zone)
    return Today(
        here,
        tuple(sorted(out, key=_oldest_first)),
        tuple(sorted(clocks, key=lambda one: one.due)),
        tuple(sorted(sheets, key=lambda one: one.last_at, reverse=True)),
        tuple(sorted(rounds, key=lambda one: (one.date, one.folder))),
        tuple(book.opened()),
        tuple(book.due(now)),
        tuple(expiring(plant, here.date())),
        tuple(unreadable),
        undecided_,
    )


def _oldest_first(one: OutOfUse) -> tuple[float, str]:
    """What nobody can tell the time of comes first: it may be the oldest."""
    return one.since.timestamp() if one.since else -inf, one.where.tag


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


def _told(plant: Plant, path: Path, data: bytes) -> tuple[Sheet, Mapping[str, Any]]:
    """Return a visit as its journal tells it, with its answers; raises RepairTheFolder for a damaged one."""
    lines, _torn = read_journal(data)
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


def _completed(data: bytes) -> tuple[str, str, Mapping[str, str]] | None:
    """Return tag, procedure and what else names the visit, of a journal that ends with a complete visit.

    Only the lines that say so are read: thousands of visits are in the book, and what lies between is of no
    interest there. None does not say that a visit is open; then the whole journal tells.
    """
    end = len(data) - 1
    while (start := data.rfind(b"\n", 0, max(end, 0)) + 1) and b'"do":"resume"' in data[start:end]:
        end = start - 1  # it was only looked at
    if not data.endswith(b"\n") or b'"do":"complete"' not in data[start:end]:
        return None
    named: dict[str, str] = {}
    try:
        first = json.loads(data[: data.index(b"\n")])
        for found in _NAMES.finditer(data):
            line = json.loads(data[data.rfind(b"\n", 0, found.start()) + 1 : data.index(b"\n", found.end())])
            if line["do"] not in ("answer", "correct"):
                return None
            named[line["path"]] = line["text"]
        return first["tag"], first["procedure"], named
    except (ValueError, KeyError, TypeError):
        return None


# ---------------------------------------------------------------- the book


class _Known:
    """What the book knows, as far as it can be read: where it cannot, that is one line of the list."""

    def __init__(self, plant: Plant, unreadable: list[Unreadable]) -> None:
        self._plant, self._unreadable = plant, unreadable
        self._book: Book | None = None
        self._visits = KnownVisits({}, frozenset(), {})
        self._skipped: set[tuple[str, str, str]] = set()
        if has_book(plant.book):
            self._read(self._open)

    def _open(self) -> None:
        self._book = open_book(self._plant.book, self._plant.device)
        self._visits = known_visits(self._book)
        bodies = [entry.body for entry in self._book.events("skipped")]
        self._skipped = {
            (str(body.get("round")), str(body.get("tag")), str(body.get("procedure"))) for body in bodies
        }

    def _read(self, what: Callable[[], None]) -> None:
        """Read from the book; after the first failure it is not asked again."""
        try:
            what()
        except WqverifyError as problem:
            self._book = None
            self._cannot(problem)

    def _cannot(self, problem: WqverifyError) -> None:
        line = Unreadable(Path(self._plant.book).name, f"{problem.message} {NOT_KNOWN}")
        if line not in self._unreadable:
            self._unreadable.append(line)

    def has(self, tag: str, procedure: str, raw: Mapping[str, Any]) -> bool:
        """Whether a visit is in the book; an amendment is when it is more than what it replaces."""
        if not self._visits.numbers:
            return False
        try:
            started = resolve(str(raw.get("date", "")), str(raw.get("started", "")), self._plant.zone)
        except CorrectTheEntry:
            return False
        number = self._visits.numbers.get(f"{tag} {procedure} {started.isoformat(timespec='minutes')}")
        return number is not None and number != raw.get("replaces", "")

    def has_stop(self, one: RoundFolder, row: Row) -> bool:
        """Whether a stop of a round is in the book, as skipped or as its own visit.

        Another visit of the same work that day, to an alarm perhaps, is not that of the round.
        """
        stop = (one.title, row.tag, row.procedure)
        if row.skipped:
            return stop in self._skipped
        if stop in self._visits.of_rounds:
            return True
        try:
            raw, _document = read_sheet(row.path)
        except WqverifyError:
            return False
        return self.has(row.tag, row.procedure, filled(raw, one.head))

    def left(self) -> list[OutOfUse]:
        """Return what the records of each analyzer left out of use."""
        found: list[OutOfUse] = []
        self._read(lambda: self._add_left(found))
        return found

    def clocks(self) -> list[Running]:
        """Return the clocks that run on records."""
        found: list[Running] = []
        self._read(lambda: found.extend(on_records(self._book) if self._book else ()))
        return found

    def opened(self) -> list[Opened]:
        """Return what records opened and no later one answered."""
        found: list[Opened] = []
        self._read(lambda: found.extend(opened(self._book) if self._book else ()))
        return found

    def undecided(self) -> list[str]:
        """Return what stands twice, as two devices did not know of each other."""
        found: list[str] = []
        self._read(lambda: found.extend(undecided(self._book) if self._book else ()))
        return found

    def due(self, now: datetime) -> list[Due]:
        """Return the checks that are due today or were before; where the book cannot be read, none."""
        found: list[Due] = []
        if self._book is not None or not has_book(self._plant.book):
            today = now.astimezone(self._plant.zone).date()
            self._read(lambda: found.extend(due(self._plant, now, today).items))
        return found

    def _add_left(self, found: list[OutOfUse]) -> None:
        book = self._book
        if book is None:
            return
        for tag in {**self._plant.analyzers, **self._visits.standing}:  # also what left the register
            try:
                found += left_by_records(tag, stored_one_by_one(book, self._visits.standing.get(tag, ())))
            except RepairTheFolder as problem:  # of this record: what the others left is told
                self._cannot(problem)


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
        state = {sheet.where.sheet: sheet.state for sheet in sheets}
        stops = [(row, state.get(f"{name}/{row.path.name}", "")) for row in one.rows]
        waits = [(row, _is_ready(one, row, of)) for row, of in stops if _waits(book, one, row, of)]
        if waits:
            tags = tuple(row.tag for row, _ready in waits)
            complete = sum(ready and not row.skipped for row, ready in waits)
            all_ready = all(ready for _row, ready in waits)
            yield Walk(name, one.name, one.date, tags, len(one.rows), all_ready, complete)


def _waits(book: _Known, one: RoundFolder, row: Row, state: str) -> bool:
    """Whether a stop is not in the book; ``state`` is that of its visit where that is not."""
    return bool(state and not row.skipped) or not book.has_stop(one, row)


def _is_ready(one: RoundFolder, row: Row, state: str) -> bool:
    """Whether nothing is open at a stop; ``state`` is that of its visit, empty without a journal."""
    if state or row.skipped:
        return state in ("", "complete")
    try:
        raw, _document = read_sheet(row.path)
    except WqverifyError:
        return False
    return next(open_answers(filled(raw, one.head)), None) is None
