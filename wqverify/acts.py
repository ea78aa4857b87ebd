"""Perform, sign, review: one function each, the order of the steps and nothing else.

Every act begins by settling what an interrupted one left behind, so that the next command finishes it:
a page the book does not know is moved aside, a signed file the book knows is put in its place.
``tell`` is called before each step with what is about to happen.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from wqverify.book import Book, RecordState, open_book
from wqverify.durable import rename_durably, write_durably, write_part
from wqverify.errors import ChooseAnother, CorrectTheEntry, ResultsDiffer
from wqverify.gather import gather
from wqverify.plant.files import Document
from wqverify.plant.folder import Plant
from wqverify.plant.snapshot import changes_between, snapshot
from wqverify.procedures import PROCEDURES
from wqverify.procedures.sheets import read_sheet
from wqverify.records.canonical import canonical, digest, record_from, record_to_bytes, to_plain
from wqverify.records.notebook import Executed, execute, insist_on_same
from wqverify.records.record import Case, compute, draft, number_it, software
from wqverify.terms import Person, Record, Result

Tell = Callable[[str], None]


def quiet(_step: str) -> None:
    """Tell nobody."""


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


# ---------------------------------------------------------------- perform


def perform(plant: Plant, sheets: Sequence[Path], now: datetime, tell: Tell = quiet) -> list[Performed]:
    """Compute field sheets, execute their notebooks, make records and pages, enter *performed*."""
    book = open_book(plant.book, plant.device, create=True)
    settle(plant, book)
    computed = []
    for path in sheets:
        tell(f"reading {path.name}")
        computed.append(_computed(plant, book, path))
    done: dict[int, Performed] = {}
    fresh: list[int] = []
    for index, one in enumerate(computed):
        known = _already(plant, book, one)
        if known is None:
            fresh.append(index)
        else:
            done[index] = known
    for name in dict.fromkeys(computed[i].case.procedure.name for i in fresh):
        indices = [i for i in fresh if computed[i].case.procedure.name == name]
        cases = [computed[i].case.plain() for i in indices]
        tell(f"executing the notebook of {name} ({len(cases)} analyzer{'s' if len(cases) > 1 else ''})")
        executed = execute(name, cases)
        for position, i in enumerate(indices):
            insist_on_same(name, executed.results[position], to_plain(computed[i].result))
        for position, i in enumerate(indices):
            done[i] = _enter(plant, book, computed[i], executed, position, now, tell)
    return [done[i] for i in range(len(computed))]


def _computed(plant: Plant, book: Book, path: Path) -> _Computed:
    sheet, document = read_sheet(path)
    procedure = PROCEDURES.get(sheet.get("procedure", ""))
    if procedure is None:
        raise ChooseAnother(
            f"{document.where(('procedure',))}: procedure is {sheet.get('procedure')!r}; it must be one of "
            f"{', '.join(PROCEDURES)}.",
            found=str(sheet.get("procedure")),
            expected=", ".join(PROCEDURES),
        )
    case = Case(procedure, sheet, gather(plant, book, procedure, sheet, document))
    return _Computed(case, compute(case, document), document)


def _already(plant: Plant, book: Book, one: _Computed) -> Performed | None:
    """Return the record this very sheet has already become; refuse another sheet of the same visit."""
    record = draft(one.case, one.result)
    entered = book.record_of_visit(record.visit_id)
    if entered is None or record.replaces == entered.number:
        return None
    known = record_from(book.stored(entered.number))
    if known.sheet == record.sheet:
        return Performed(entered.number, known, page_path(plant, entered.number), already=True)
    raise CorrectTheEntry(
        f"{one.document.path.name}: this visit is already in the book as {entered.number} with other entries; "
        f'to amend it add replaces = "{entered.number}" and replaces_why = "..." to the sheet, both stay '
        f"readable.",
        found=entered.number,
        where=one.document.path.name,
    )


def _enter(
    plant: Plant, book: Book, one: _Computed, executed: Executed, position: int, now: datetime, tell: Tell
) -> Performed:
    """Take a number, make record and page, write the page, enter; all of it or none."""
    from wqverify.show.page import make_page

    attachments = {"executed.ipynb": executed.ipynb, **executed.charts[position], **one.case.slices}
    digests = {name: digest(data) for name, data in attachments.items()}
    waiting = draft(one.case, one.result)
    _enter_baseline(plant, book, waiting.performed_by, now)
    with book.writing() as writer:
        tell("taking the next number")
        number = writer.next_number(now.astimezone(plant.zone).year)
        made_by = software(executed.name, executed.digest)
        record = number_it(waiting, number, writer.head, now.astimezone(plant.zone), made_by, digests)
        data = record_to_bytes(record)
        tell(f"making the page of {number}")
        page = make_page(record, data, attachments)
        path = page_path(plant, number)
        tell(f"writing {path.name}")
        _move_aside(path)
        write_durably(path, page)
        tell(f"entering {number} into the book")
        writer.append(
            "performed",
            key=f"performed {record.visit_id} {record.replaces}".strip(),
            record=number,
            at=record.entered,
            stored=data,
            body={"by": record.performed_by, "pdf": digest(page), **_index(record)},
        )
        if record.replaces:
            writer.append(
                "superseded",
                key=f"superseded {record.replaces}",
                record=record.replaces,
                at=record.entered,
                body={"by": record.performed_by, "by_record": number, "why": record.replaces_why},
            )
    tell(f"entered {number}")
    return Performed(number, record, path, already=False)


def _index(record: Record) -> dict[str, object]:
    """What the book can find a record by, and what a later visit is told of it."""
    result = record.result
    stages = dict.fromkeys((check.stage, check.place) for check in result.checks if check.counts)
    outcomes = {f"{stage} at the {place}": str(result.outcome(stage, place)) for stage, place in stages}
    shown = {c.label: c.quantity.text for c in result.checks if c.quantity and c.stage == "as_left"}
    return {
        "tag": record.given.analyzer.tag,
        "serial": record.given.analyzer.serial,
        "procedure": record.procedure,
        "performed": record.performed,
        "visit": record.visit_id,
        "outcomes": outcomes,
        "values": shown,
    }


# ---------------------------------------------------------------- sign and review


def sign(
    plant: Plant, numbers: Sequence[str], staff: str, store: Path, passphrase: bytes, now: datetime,
    tell: Tell = quiet,
) -> list[str]:
    """Sign records as the person who performed them; one passphrase for the whole list."""
    from wqverify.signing.sign import sign_as_performer

    book = open_book(plant.book, plant.device)
    settle(plant, book)
    person = _person(plant, staff)
    signed = []
    for number in numbers:
        state = _expect(book, number, "performed, not signed", "sign")
        record = record_from(book.stored(number))
        allowed_to_sign(person, record, now.astimezone(plant.zone).date())
        tell(f"signing {number}")
        pdf = _file_of(plant, state)
        places, stamps = _places_and_stamps(plant, record, book, pdf, person, now, "Performer")
        new = sign_as_performer(pdf, _store(plant, store), staff, passphrase, places, stamps, now)
        _put_signed(plant, book, number, "signed", new, {"by": staff, "mode": "key"}, now, tell)
        signed.append(number)
    return signed


def review(
    plant: Plant, numbers: Sequence[str], staff: str, store: Path, passphrase: bytes, now: datetime,
    tell: Tell = quiet,
) -> list[str]:
    """Countersign signed records as a reviewer, who must be another person."""
    from wqverify.signing.sign import sign_as_reviewer

    book = open_book(plant.book, plant.device)
    settle(plant, book)
    person = _person(plant, staff)
    reviewed = []
    for number in numbers:
        state = _expect(book, number, "signed, not countersigned", "review")
        record = record_from(book.stored(number))
        allowed_to_review(person, record)
        tell(f"countersigning {number}")
        pdf = _file_of(plant, state)
        places, stamps = _places_and_stamps(plant, record, book, pdf, person, now, "Reviewer")
        new = sign_as_reviewer(pdf, _store(plant, store), staff, passphrase, places, stamps, now)
        _put_signed(plant, book, number, "reviewed", new, {"by": staff, "mode": "key"}, now, tell)
        reviewed.append(number)
    return reviewed


def sign_on_paper(
    plant: Plant, number: str, staff: str, kept_at: str, now: datetime, *, as_reviewer: bool = False
) -> None:
    """Enter that a printed page was signed by pen and where it is kept; the file stays as it is."""
    book = open_book(plant.book, plant.device)
    settle(plant, book)
    person = _person(plant, staff)
    record = record_from(book.stored(number))
    wanted = "signed, not countersigned" if as_reviewer else "performed, not signed"
    state = _expect(book, number, wanted, "review" if as_reviewer else "sign")
    if as_reviewer:
        allowed_to_review(person, record)
    else:
        allowed_to_sign(person, record, now.astimezone(plant.zone).date())
    event = "reviewed" if as_reviewer else "signed"
    body = {"by": staff, "mode": "pen", "kept_at": kept_at, "pdf": state.file_digest}
    with book.writing() as writer:
        writer.append(event, key=f"{event} {number}", record=number, at=_stamp_time(plant, now), body=body)


def allowed_to_sign(person: Person, record: Record, today: date) -> None:
    """Raise ChooseAnother unless this person performed the work and may sign for it."""
    if person.id != record.performed_by:
        raise ChooseAnother(
            f"{record.number} was performed by {record.performed_by}, not by {person.id}; only the performer "
            f"signs it as performed.",
            found=person.id,
            expected=record.performed_by,
        )
    if not person.may_perform:
        raise ChooseAnother(f"{person.name} ({person.id}) may not perform verifications (people.toml).")
    worked = record.performed[:10]
    for day, what in ((worked, "the day of the work"), (today.isoformat(), "today")):
        if person.licence_until and person.licence_until < day:
            raise ChooseAnother(
                f"The licence of {person.name} ({person.id}) ended on {person.licence_until}, before {what} "
                f"({day}); {record.number} stays unsigned. Enter the renewed licence in people.toml and run "
                f"plant accept, or have a licensed person repeat the work.",
                found=person.licence_until,
                expected=f"{day} or later",
            )


def allowed_to_review(person: Person, record: Record) -> None:
    """Raise ChooseAnother unless this person may review and did not perform the work."""
    if person.id == record.performed_by:
        raise ChooseAnother(
            f"{person.name} ({person.id}) performed {record.number} and cannot review it; the reviewer is "
            f"another person."
        )
    if not person.may_review:
        raise ChooseAnother(f"{person.name} ({person.id}) may not review (may_review in people.toml).")


def _places_and_stamps(
    plant: Plant, record: Record, book: Book, pdf: bytes, person: Person, now: datetime, role: str
):  # type: ignore[no-untyped-def]
    raise NotImplementedError


def _put_signed(
    plant: Plant, book: Book, number: str, event: str, pdf: bytes, body: dict[str, str], now: datetime,
    tell: Tell,
) -> None:
    """Write the signed file beside, enter the event, put the file in its place; in this order."""
    path = page_path(plant, number)
    part = path.with_name(path.name + ".part")
    tell(f"writing the {event} {path.name}")
    write_part(part, pdf)
    tell(f"entering {number} {event}")
    with book.writing() as writer:
        writer.append(
            event,
            key=f"{event} {number}",
            record=number,
            at=_stamp_time(plant, now),
            body={**body, "pdf": digest(pdf)},
        )
    tell(f"putting the {event} {path.name} in its place")
    rename_durably(part, path)
    tell(f"{number} {event}")


# ---------------------------------------------------------------- the plant's own changes


def accept(plant: Plant, by: str, why: str, now: datetime) -> list[tuple[str, str, str, str]]:
    """Enter what changed in register, standards, people and settings, with who and why."""
    book = open_book(plant.book, plant.device, create=True)
    person = _person(plant, by)
    accepted = book.accepted_snapshot()
    now_is = snapshot(plant)
    changed = changes_between(accepted, now_is) if accepted is not None else []
    if accepted is not None and not changed:
        return []
    _enter_snapshot(plant, book, person.id, why, now, now_is, changed)
    return list(changed)


def _enter_baseline(plant: Plant, book: Book, by: str, now: datetime) -> None:
    """The first record of a book is preceded by the register it was made with."""
    if book.accepted_snapshot() is None:
        _enter_snapshot(plant, book, by, "first entry of this book", now, snapshot(plant), [])


def _enter_snapshot(plant, book, by, why, now, now_is, changed) -> None:  # type: ignore[no-untyped-def]
    data = canonical(now_is)
    rows = [dict(zip(("about", "what", "was", "now"), row, strict=True)) for row in changed]
    with book.writing() as writer:
        writer.append(
            "register changed",
            key=f"register {writer.head.chain} {writer.head.seq} {digest(data)}",
            at=_stamp_time(plant, now),
            stored=data,
            body={"by": by, "why": why, "changes": rows},
        )


# ---------------------------------------------------------------- files and their settlement


def page_path(plant: Plant, number: str) -> Path:
    """Return where the page of a record is kept."""
    return plant.folder / "book" / "pages" / f"{number}.pdf"


def unsettled(plant: Plant, book: Book) -> list[tuple[Path, str]]:
    """Return the files an interrupted command left behind, each with what it is."""
    found = []
    for path in sorted((plant.folder / "book" / "pages").glob("*")):
        number = path.name.removesuffix(".part").removesuffix(".pdf")
        state = book.find(number)
        if path.suffix == ".part":
            current = state is not None and digest(path.read_bytes()) == state.file_digest
            found.append((path, "signed, not yet in its place" if current else "left by a stopped command"))
        elif state is None:
            found.append((path, "a page the book does not know: its entry was never made"))
    return found


def settle(plant: Plant, book: Book) -> list[str]:
    """Finish or move aside what an interrupted command left behind; returns what was done."""
    done = []
    for path, what in unsettled(plant, book):
        if what == "signed, not yet in its place":
            rename_durably(path, path.with_suffix(""))
            done.append(f"{path.with_suffix('').name} put in its place")
        else:
            done.append(f"{path.name} moved to {_move_aside(path)}")
    return done


def _move_aside(path: Path) -> str:
    """Move a file to book/moved_aside under a name that is free; nothing is ever overwritten."""
    if not path.exists():
        return ""
    folder = path.parent.parent / "moved_aside"
    folder.mkdir(exist_ok=True)
    count = 1
    while (target := folder / f"{count:03d} {path.name}").exists():
        count += 1
    path.rename(target)
    return f"book/moved_aside/{target.name}"
