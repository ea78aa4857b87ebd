"""A round that was walked: its sheets become records, what was skipped is entered, one chart shows it all.

The order is: every row is read and computed, records are entered one by one, then what was skipped, then the
chart page is made. After a kill the same command goes on where it stopped.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from wqverify.acts.perform import Performed, Run, compute_only, perform
from wqverify.acts.shared import OfRound, Tell, local_time, person_of, quiet, settled
from wqverify.book import Book, RecordState, has_book, is_of_day, open_book, visits_on_round
from wqverify.durable import write_durably
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.pages import move_aside
from wqverify.plant.clock import resolve
from wqverify.plant.files import shortened
from wqverify.plant.folder import Plant
from wqverify.plant.round_folder import FILE, RoundFolder, Row, read_round
from wqverify.procedures import PROCEDURES
from wqverify.procedures.blank import filled, open_answers
from wqverify.procedures.sheets import read_sheet
from wqverify.procedures.usual import of_sheets
from wqverify.records.canonical import digest
from wqverify.terms import Record

# ---------------------------------------------------------------- read what came back


@dataclass(frozen=True)
class Walk:
    """What was named on the command line: sheets one by one and folders of rounds, as one list."""

    sheets: tuple[Path, ...]
    of_round: Mapping[Path, OfRound]
    rounds: tuple[RoundFolder, ...]


def read_walk(plant: Plant, paths: Sequence[Path], now: datetime) -> Walk:
    """Return the sheets of files and round folders; raises what cannot be performed, naming the row."""
    sheets: list[Path] = []
    of_round: dict[Path, OfRound] = {}
    rounds: list[RoundFolder] = []
    for path in paths:
        if not path.is_dir():
            sheets.append(path)
            continue
        one = read_round(path)
        if any(other.title == one.title for other in rounds):
            raise CorrectTheEntry(f"The round {one.title} is named twice; name it once.", found=one.title)
        _refuse_rows(plant, one, now)
        rounds.append(one)
        for row in one.done:
            sheets.append(row.path)
            of_round[row.path] = OfRound(one.title, one.date, one.head)
    walk = Walk(tuple(sheets), of_round, tuple(rounds))
    _refuse_done_and_skipped(plant, walk)
    return walk


def _refuse_rows(plant: Plant, one: RoundFolder, now: datetime) -> None:
    for row in one.rows:
        if row.tag not in plant.analyzers:
            raise ChooseAnother(f"{row.where}: analyzers.toml does not hold {row.tag}.", found=row.tag)
        if row.procedure not in PROCEDURES:
            known = ", ".join(PROCEDURES)
            raise ChooseAnother(
                f"{row.where}: there is no procedure {row.procedure}; there is {known}.", found=row.procedure
            )
    procedures = dict.fromkeys(row.procedure for row in one.rows)
    if problems := list(of_sheets(procedures, one.head, ("head",))):
        raise one.document.refusal(problems)
    if one.skipped:
        _refuse_skipping(plant, one, now)
    for row in one.done:
        _refuse_row(one, row)
    for row in one.skipped:
        _refuse_typed(one, row)


def _refuse_typed(one: RoundFolder, row: Row) -> None:
    """Raise CorrectTheEntry where a row is skipped and its sheet holds readings: nothing typed is lost."""
    if not row.path.is_file():
        return
    typed_sheet, document = read_sheet(row.path)
    read = next(_readings(typed_sheet), None)
    if read is not None or not list(open_answers(filled(typed_sheet, one.head))):
        at = f" ({document.where(read)})" if read is not None else ""
        raise CorrectTheEntry(
            f"{row.where}: {row.tag} says skipped, and its sheet {row.path.name} is filled in{at}; take "
            f"skipped out of the row, or put the sheet out of the folder.",
            found=row.skipped,
            where=row.where,
        )


def _readings(raw: Any, loc: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Give where a sheet holds a list of answers typed one after the other."""
    if isinstance(raw, dict):
        for name, value in raw.items():
            yield from _readings(value, (*loc, name))
    elif isinstance(raw, list) and any(isinstance(one, str) and one for one in raw):
        yield loc
    elif isinstance(raw, list):
        for index, value in enumerate(raw):
            yield from _readings(value, (*loc, index))


def _refuse_skipping(plant: Plant, one: RoundFolder, now: datetime) -> None:
    person = person_of(plant, _performer(one))
    if not person.may_perform:
        raise ChooseAnother(
            f"{one.document.where(('head', 'performed_by'))}: {person.name} ({person.id}) may not perform "
            f"(may_perform in people.toml); who walks a round enters what was skipped on it.",
            found=person.id,
            where=FILE,
        )
    today = local_time(plant, now)[:10]
    if one.date > today:
        raise CorrectTheEntry(
            f"{FILE}: the round of {one.date} lies after this computer's clock ({today}); what is yet to "
            f"come cannot have been skipped.",
            found=one.date,
            expected=f"not after {today}",
            where=FILE,
        )


def _performer(one: RoundFolder) -> str:
    by = one.head.get("performed_by", "")
    if not isinstance(by, str) or not by:
        raise CorrectTheEntry(
            f"{one.document.where(('head',))}: performed_by is missing; who walked the round enters what was "
            f"skipped.",
            where=FILE,
        )
    return by


def _refuse_row(one: RoundFolder, row: Row) -> None:
    """Raise CorrectTheEntry unless the sheet of a row is there, filled in, and of this row."""
    file = row.path.name
    if not row.path.is_file():
        raise CorrectTheEntry(
            f"{row.where}: the sheet {file} of {row.tag} is not in the folder; put it back, or say skipped = "
            f'"because ..." in this row.',
            found="no file",
            expected=file,
            where=row.where,
        )
    typed_sheet, document = read_sheet(row.path)
    sheet = filled(typed_sheet, one.head)
    for name, wanted in (("tag", row.tag), ("procedure", row.procedure)):
        if sheet.get(name) != wanted:
            found = shortened(sheet.get(name, "missing"))
            raise CorrectTheEntry(
                f"{document.where((name,))}: {name} is {found}, and the row of this sheet ({row.where}) says "
                f"{wanted}; correct one of them.",
                found=found,
                expected=wanted,
                where=document.where((name,)),
            )
    waiting = list(open_answers(sheet))
    if waiting:
        named = ", ".join(f"{_said(loc)} (line {document.line(loc)})" for loc in waiting[:5])
        more = f" and {len(waiting) - 5} more" if len(waiting) > 5 else ""
        stand = "1 answer stands" if len(waiting) == 1 else f"{len(waiting)} answers stand"
        raise CorrectTheEntry(
            f"{row.where}: the sheet {file} of {row.tag} is not filled in; {stand} open: {named}{more}. Type "
            f'them (what is the same on all sheets once in [head] here), or say skipped = "because ..." in '
            f"this row.",
            found=f"{len(waiting)} open",
            where=row.where,
        )


def _said(loc: tuple[str | int, ...]) -> str:
    return ".".join(str(step + 1) if isinstance(step, int) else step for step in loc)


def differing(one: RoundFolder) -> Iterator[str]:
    """Say where a sheet says otherwise than the shared head of its round; the sheet counts."""
    for row in one.done:
        sheet = filled(read_sheet(row.path)[0], one.head)
        for loc, value in _single(one.head):
            found = _at(sheet, loc)
            if value and found != value:
                what = "is missing" if found is None else f"is {shortened(found)}"
                yield (
                    f"{row.path.name}: {_said(loc)} {what}, in the head of the round it is "
                    f"{shortened(value)}; the sheet counts"
                )


def _single(answers: Mapping[str, Any], loc: tuple[str | int, ...] = ()) -> Iterator[tuple[Any, Any]]:
    for name, value in answers.items():
        if isinstance(value, dict):
            yield from _single(value, (*loc, name))
        elif isinstance(value, str):
            yield (*loc, name), value


def _at(sheet: Any, loc: tuple[str | int, ...]) -> Any:
    for step in loc:
        sheet = sheet.get(step) if isinstance(sheet, dict) else None
    return sheet


# ---------------------------------------------------------------- perform


@dataclass(frozen=True)
class RoundDone:
    """What became of a round: its chart page and the rows that were skipped."""

    title: str
    page: Path
    skipped: tuple[Row, ...]


@dataclass(frozen=True)
class Walked:
    """What became of all that was named: records, and rounds with what was skipped on them."""

    performed: tuple[Performed, ...]
    rounds: tuple[RoundDone, ...]


def perform_walk(
    plant: Plant, paths: Sequence[Path], now: datetime, tell: Tell = quiet, run: Run | None = None
) -> Walked:
    """Perform sheets and whole rounds: records first, then what was skipped, then the chart of each round.

    Nothing is entered when any sheet or row is refused. ``run`` is that of ``perform``.
    """
    walk = read_walk(plant, paths, now)
    for one in walk.rounds:
        for line in differing(one):
            tell(line)
    performed = perform(plant, walk.sheets, now, tell, walk.of_round, run)
    became = dict(zip(walk.sheets, performed, strict=True))
    rounds = tuple(_finish(plant, one, became, now, tell) for one in walk.rounds)
    return Walked(tuple(performed), rounds)


def check_walk(plant: Plant, paths: Sequence[Path], now: datetime) -> tuple[list[Record], Walk]:
    """Read and compute as ``perform_walk`` does, and enter nothing."""
    walk = read_walk(plant, paths, now)
    return compute_only(plant, walk.sheets, now, walk.of_round), walk


def _refuse_done_and_skipped(plant: Plant, walk: Walk) -> None:
    """Raise CorrectTheEntry where a row says skipped and the book or a sheet named beside it says done."""
    if not any(one.skipped for one in walk.rounds):
        return
    book = open_book(plant.book, plant.device) if has_book(plant.book) else None
    visits = [_visit(plant, path, walk.of_round.get(path, OfRound())) for path in walk.sheets]
    for one in walk.rounds:
        for row in one.skipped:
            if book is not None:
                _refuse_in_book(book, one, row)
            for visit in visits:
                if visit is not None and visit.is_of(one, row):
                    raise CorrectTheEntry(
                        f"{row.where}: {row.procedure} of {row.tag} says skipped, and {visit.path.name}, "
                        f"named beside this round, says it was done; take skipped out, or leave that sheet "
                        f"out.",
                        found=visit.path.name,
                        where=row.where,
                    )


def _refuse_in_book(book: Book, one: RoundFolder, row: Row) -> None:
    for state in visits_on_round(book, one.title, one.date, row.tag, row.procedure):
        begun = state.performed[:16].replace("T", " ")
        raise CorrectTheEntry(
            f"{row.where}: {row.procedure} of {row.tag} says skipped, and the book holds it as "
            f"{state.number}, begun {begun}; take skipped out, void the record first, or take the row out "
            f"where that was another visit.",
            found=state.number,
            where=row.where,
        )


@dataclass(frozen=True)
class _Visit:
    """What a sheet says that it is, before anything else on it is looked at."""

    path: Path
    tag: str
    procedure: str
    began: datetime
    round: str

    def is_of(self, one: RoundFolder, row: Row) -> bool:
        """Whether it is the work of a row, as ``visits_on_round`` judges what is in the book."""
        same = (self.tag, self.procedure) == (row.tag, row.procedure)
        return same and self.round in ("", one.title) and is_of_day(one.date, self.began)


def _visit(plant: Plant, path: Path, of_round: OfRound) -> _Visit | None:
    """Read what visit a sheet is of; None where it does not say, which is refused when it is performed."""
    sheet = filled(read_sheet(path)[0], of_round.head)
    try:
        began = resolve(str(sheet.get("date", "")), str(sheet.get("started", "")), plant.zone)
    except CorrectTheEntry:
        return None
    return _Visit(path, str(sheet.get("tag")), str(sheet.get("procedure")), began, of_round.title)


def _finish(
    plant: Plant, one: RoundFolder, became: Mapping[Path, Performed], now: datetime, tell: Tell
) -> RoundDone:
    book = settled(plant, create=True)
    entered = _enter_skipped(plant, book, one, now, tell) if one.skipped else {}
    from wqverify.show.round_page import RoundPage, RoundRow, make_round_page

    rows = tuple(
        RoundRow(row.tag, PROCEDURES[row.procedure].title, None, row.skipped)
        if row.skipped
        else RoundRow(row.tag, became[row.path].record.title, became[row.path].record)
        for row in one.rows
    )
    times = [*entered.values(), *(row.record.entered for row in rows if row.record is not None)]
    made = max(times, key=datetime.fromisoformat)
    tell(f"making the chart page of {one.title}")
    page = make_round_page(RoundPage(one.name, one.date, plant.site, rows), made)
    path = plant.folder / "book" / "rounds" / f"{one.title}.pdf"
    tell(f"writing {path.name}")
    if not path.is_file() or path.read_bytes() != page:
        if path.is_file():  # amended since, or another folder's: kept, as a page is never overwritten
            tell(f"moving the former {path.name} to book/moved_aside")
            with book.writing():
                move_aside(path)
        write_durably(path, page)
    return RoundDone(one.title, path, one.skipped)


def _enter_skipped(plant: Plant, book: Book, one: RoundFolder, now: datetime, tell: Tell) -> dict[str, str]:
    """Enter each skipped row once; another reason for the same row is another entry. Returns when, by key."""
    by, at = _performer(one), local_time(plant, now)
    entered = {}
    for row in one.skipped:
        key = f"skipped {one.title} {row.tag} {row.procedure} {digest(row.skipped.encode())[:16]}"
        body = {"round": one.title, "tag": row.tag, "procedure": row.procedure, "day": one.date}
        tell(f"entering {row.tag} as skipped")
        with book.writing() as writer:
            _refuse_in_book(book, one, row)  # another command may have entered it meanwhile
            entry = writer.append("skipped", key=key, at=at, body={**body, "why": row.skipped, "by": by})
        entered[key] = entry.at
    return entered


# ---------------------------------------------------------------- the records of a folder


def records_of_round(plant: Plant, book: Book, one: RoundFolder) -> list[RecordState]:
    """Return the records that the sheets of a round folder have become.

    Raises CorrectTheEntry naming the row whose sheet is not in the book.
    """
    found = []
    for row in one.done:
        _refuse_row(one, row)
        sheet = filled(read_sheet(row.path)[0], one.head)
        started = resolve(str(sheet.get("date", "")), str(sheet.get("started", "")), plant.zone)
        visit = f"{row.tag} {row.procedure} {started.isoformat(timespec='minutes')}"
        state = book.record_of_visit(visit)
        if state is None:
            raise CorrectTheEntry(
                f"{row.where}: the sheet {row.path.name} of {row.tag} is not in the book; run this folder "
                f"first, with wqverify run.",
                found=visit,
                where=row.where,
            )
        found.append(state)
    return found
