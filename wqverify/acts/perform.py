"""Perform: field sheets become records in the book; nothing of a sheet that is refused.

``tell`` is called before each step with what is about to happen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from types import MappingProxyType
from typing import Any

from wqverify.acts.proof import newest_proof
from wqverify.acts.register import enter_baseline
from wqverify.acts.shared import OfRound, Tell, end_record, quiet, settled
from wqverify.acts.stepped import Stepped, insist_on_journal, journal_of
from wqverify.book import Book, has_book, is_of_day, open_book, visits_on_round
from wqverify.book.visits import NIGHT_ENDS
from wqverify.durable import write_durably
from wqverify.entry.journal import ATTACHED
from wqverify.errors import ChooseAnother, CorrectTheEntry, ResultsDiffer
from wqverify.gather import NO_JOURNAL, gather
from wqverify.pages import move_aside, page_path
from wqverify.plant.files import Document, shortened
from wqverify.plant.folder import Plant
from wqverify.procedures import PROCEDURES
from wqverify.procedures.blank import filled
from wqverify.procedures.consequences import opened_by
from wqverify.procedures.sheets import parse, read_sheet
from wqverify.records.canonical import digest, record_from, record_to_bytes, to_plain
from wqverify.records.findable import findable
from wqverify.records.notebook import Executed, execute, insist_on_same
from wqverify.records.record import Case, compute, draft, number_it, software
from wqverify.terms import Record, Result

NO_ROUNDS: Mapping[Path, OfRound] = MappingProxyType({})
Run = Callable[[str, Sequence[Mapping[str, Any]]], Executed]  # what executes the notebook of a procedure
CLOCKS_DIFFER = timedelta(minutes=10)  # between the clock read at the analyzer and this computer's


@dataclass(frozen=True)
class Performed:
    """What became of one field sheet."""

    number: str
    record: Record
    page: Path
    already: bool  # it was in the book before this command


@dataclass(frozen=True)
class _Computed:
    case: Case
    result: Result
    document: Document
    round: OfRound
    stepped: Stepped | None

    @property
    def record(self) -> Record:
        return draft(self.case, self.result)


def perform(
    plant: Plant,
    sheets: Sequence[Path],
    now: datetime,
    tell: Tell = quiet,
    rounds: Mapping[Path, OfRound] = NO_ROUNDS,
    run: Run | None = None,
) -> list[Performed]:
    """Compute field sheets, execute their notebooks, make records and pages, enter *performed*.

    One notebook run serves all sheets of a procedure. Nothing is entered when any sheet is refused.
    ``rounds`` names the round of a sheet, whose shared head gives what stands open on it. ``run`` stands in
    for the notebook where there is none: a calculated history of the demo.
    """
    book = settled(plant, create=True)
    for path in sheets:
        tell(f"reading {path.name}")
    computed = [_computed(plant, book, path, rounds) for path in sheets]
    for one in computed:
        _refuse_other_day(one)
        _refuse_future(one, now)
        _known(plant, book, one)
        _refuse_second_of_round(book, one)
    _refuse_one_visit_told_twice(computed)
    done: list[Performed] = []
    for first, last in _visits_of_different_analyzers(computed):
        if first:  # an earlier visit to the same analyzer has just been entered: this one rests on it
            computed[first:last] = [_computed(plant, book, path, rounds) for path in sheets[first:last]]
        done += _perform(plant, book, computed[first:last], now, tell, run or execute)
    return done


def _refuse_future(one: _Computed, now: datetime) -> None:
    """Raise CorrectTheEntry for work this computer's clock has not reached: most often a mistyped date."""
    latest = max(one.case.given.times.values(), key=datetime.fromisoformat)
    if datetime.fromisoformat(latest) > now + CLOCKS_DIFFER:
        here = now.astimezone(datetime.fromisoformat(latest).tzinfo).isoformat(timespec="minutes")
        raise CorrectTheEntry(
            f"{one.document.path.name}: the work at {latest} lies after this computer's clock ({here}); "
            f"correct the date on the sheet, or the clock.",
            found=latest,
            expected=f"not after {here}",
            where=one.document.path.name,
        )


def _refuse_other_day(one: _Computed) -> None:
    """Raise CorrectTheEntry for a sheet of a round whose work is of another day than the round."""
    day, began = one.round.day, datetime.fromisoformat(one.record.performed)
    if day and not is_of_day(day, began):
        where = one.document.where(("date",))
        raise CorrectTheEntry(
            f"{where}: the work began {began:%Y-%m-%d %H:%M}, and the round is of {day} and of the night "
            f"after it, until {NIGHT_ENDS:%H:%M}; correct the date on the sheet, or run the sheet by itself.",
            found=f"{began:%Y-%m-%d %H:%M}",
            expected=day,
            where=where,
        )


def _refuse_second_of_round(book: Book, one: _Computed) -> None:
    """Raise CorrectTheEntry where a round has another visit of this work: two rounds bear one title."""
    record, title = one.record, one.round.title
    tag = record.given.analyzer.tag
    if not title:
        return
    for state in visits_on_round(book, title, one.round.day, tag, record.procedure):
        if state.round != title or state.number == record.replaces:
            continue
        if state.body["visit"] != record.visit_id:
            file = one.document.path.name
            raise CorrectTheEntry(
                f"{file}: the round {title} has its {record.procedure} of {tag} in the book as "
                f"{state.number}, begun {state.performed[11:16]}; give a second round of the day another "
                f"name (round in its round.toml), or correct date and started on the sheet.",
                found=state.number,
                expected=record.visit_id,
                where=file,
            )


def _round_of(book: Book, number: str) -> str:
    """The round of a record, empty for none: an amendment stays in the round of what it replaces."""
    state = book.find(number) if number else None
    return state.round if state else ""


def _refuse_one_visit_told_twice(computed: Sequence[_Computed]) -> None:
    """Raise CorrectTheEntry where two sheets of the list tell one visit differently."""
    told: dict[str, _Computed] = {}
    for one in computed:
        first = told.setdefault(_key(one.record), one)
        if first.case.sheet != one.case.sheet:
            names = f"{first.document.path.name} and {one.document.path.name}"
            raise CorrectTheEntry(
                f"{names} are sheets of one visit ({one.record.visit_id}) with different entries; nothing "
                f"was entered. Name the right one, or correct what stands on it: tag, date or start of the "
                f"work.",
                found=names,
                where=one.document.path.name,
            )


def _key(record: Record) -> str:
    """What may be entered once: a visit, and each amendment of its record."""
    return f"performed {record.visit_id} {record.replaces}".strip()


def compute_only(
    plant: Plant, sheets: Sequence[Path], now: datetime, rounds: Mapping[Path, OfRound] = NO_ROUNDS
) -> list[Record]:
    """Read and compute field sheets as ``perform`` does, and enter nothing."""
    book = open_book(plant.book, plant.device) if has_book(plant.book) else None
    computed = [_computed(plant, book, path, rounds) for path in sheets]
    for one in computed:
        _refuse_other_day(one)
        _refuse_future(one, now)
        if book is not None:
            _refuse_second_of_round(book, one)
    _refuse_one_visit_told_twice(computed)
    return [one.record for one in computed]


def _visits_of_different_analyzers(computed: Sequence[_Computed]) -> list[tuple[int, int]]:
    """Where to part a list so that no part holds two visits to one analyzer."""
    starts, seen = [0], set[str]()
    for index, one in enumerate(computed):
        tag = one.case.given.analyzer.tag
        if tag in seen:
            starts.append(index)
            seen.clear()
        seen.add(tag)
    return list(zip(starts, [*starts[1:], len(computed)], strict=True))


def _perform(
    plant: Plant, book: Book, computed: Sequence[_Computed], now: datetime, tell: Tell, run: Run
) -> list[Performed]:
    done = {index: known for index, one in enumerate(computed) if (known := _known(plant, book, one))}
    fresh = [index for index in range(len(computed)) if index not in done]
    for name in dict.fromkeys(computed[i].case.procedure.name for i in fresh):
        chosen = [i for i in fresh if computed[i].case.procedure.name == name]
        tell(f"executing the notebook of {name} for {len(chosen)} field sheet{'s' * (len(chosen) > 1)}")
        executed = run(name, [computed[i].case.plain() for i in chosen])
        for position, i in enumerate(chosen):
            insist_on_same(name, executed.results[position], to_plain(computed[i].result))
        for position, i in enumerate(chosen):
            done[i] = _enter(plant, book, computed[i], executed, position, now, tell)
    return [done[i] for i in range(len(computed))]


def _computed(plant: Plant, book: Book | None, path: Path, rounds: Mapping[Path, OfRound]) -> _Computed:
    stepped = journal_of(path)  # before the sheet, which is not there while the visit is open
    sheet, document = read_sheet(path)
    round_ = rounds.get(path, OfRound())
    sheet = filled(sheet, round_.head)
    name = sheet.get("procedure")
    if not isinstance(name, str) or name not in PROCEDURES:
        found = "missing" if name is None else shortened(name)
        raise ChooseAnother(
            f"{document.where(('procedure',))}: procedure is {found}; it must be one of "
            f"{', '.join(PROCEDURES)}.",
            found=str(name),
            expected=", ".join(PROCEDURES),
        )
    procedure = PROCEDURES[name]
    parse(procedure, sheet, document)  # what is mistyped is said before anything is looked up
    if stepped is not None:
        insist_on_journal(stepped, procedure, sheet, path)
    journal = stepped.folded if stepped is not None else NO_JOURNAL
    case = Case(procedure, sheet, *gather(plant, book, procedure, sheet, document, journal))
    return _Computed(case, compute(case, document), document, round_, stepped)


def _known(plant: Plant, book: Book, one: _Computed) -> Performed | None:
    """The record this very sheet has already become; another sheet of the same visit is refused."""
    record, file = one.record, one.document.path.name
    entered = book.record_of_visit(record.visit_id)
    if entered is not None and entered.number != record.replaces:
        known = record_from(book.stored(entered.number))
        if known.sheet == record.sheet:
            page = page_path(plant.folder, entered.number)
            return Performed(entered.number, known, page, already=True)
        raise CorrectTheEntry(
            f"{file}: this visit is in the book as {entered.number} with other entries; to amend it add "
            f'replaces = "{entered.number}" and replaces_why = "..." to the sheet: both stay readable.',
            found=entered.number,
            where=file,
        )
    if record.replaces:
        _replaceable(book, record, file)
    return None


def _replaceable(book: Book, record: Record, file: str) -> None:
    """Raise CorrectTheEntry unless the record that is replaced stands and is one of the same work."""
    old = book.find(record.replaces)
    what = ""
    if old is None:
        what = "is not in the book"
    elif (old.tag, old.procedure) != (record.given.analyzer.tag, record.procedure):
        what = f"is a {old.procedure} of {old.tag}"
    elif not old.stands:
        what = f"is {old.state}; replace the record that stands"
    if what:
        raise CorrectTheEntry(
            f"{file}: replaces names {record.replaces}, which {what}. See `wqverify book list`.",
            found=record.replaces,
            where=file,
        )


def _enter(
    plant: Plant, book: Book, one: _Computed, executed: Executed, position: int, now: datetime, tell: Tell
) -> Performed:
    """Take a number, make record and page, write the page, enter it: all of it or none."""
    from wqverify.show.page import make_page

    attachments = {**executed.charts[position], **one.case.slices}
    attachments |= {"executed.ipynb": executed.ipynb} if executed.ipynb else {}
    attachments |= {ATTACHED: one.stepped.data} if one.stepped is not None else {}
    waiting, made_by = one.record, software(executed.name, executed.digest, newest_proof(book))
    with book.writing() as writer:
        key = _key(waiting)
        if (known := writer.known(key)) is not None:
            raise ResultsDiffer(
                f"Another command has just entered this visit as {known.record}; run this one again."
            )
        if waiting.replaces:
            _replaceable(book, waiting, one.document.path.name)
        _refuse_second_of_round(book, one)
        enter_baseline(plant, book, writer, waiting.performed_by, now)
        tell("taking the next number")
        local = now.astimezone(plant.zone)
        number = writer.next_number(local.year)
        digests = {name: digest(data) for name, data in attachments.items()}
        data = record_to_bytes(number_it(waiting, number, writer.head, local, made_by, digests))
        record = record_from(data)  # the page is made from what is kept, as it will be when it is made again
        tell(f"making the page of {number}")
        page = make_page(record, data, attachments)
        path = page_path(plant.folder, number)
        tell(f"writing {path.name}")
        if path.exists():
            move_aside(path)
        write_durably(path, page)
        tell(f"entering {number} into the book")
        body = {"by": record.performed_by, "pdf": digest(page), **findable(record)}
        title = one.round.title or _round_of(book, record.replaces)
        body |= {"round": title} if title else {}
        opened = opened_by(PROCEDURES[record.procedure], record)
        body |= {"opens": [list(one) for one in opened]} if opened else {}
        writer.append("performed", key=key, record=number, at=record.entered, stored=data, body=body)
        if record.replaces:
            by, why = record.performed_by, record.replaces_why
            end_record(writer, "superseded", record.replaces, by, why, record.entered, number)
    tell(f"entered {number}")
    return Performed(number, record, path, already=False)
