"""Perform, sign, review, accept: one function each, the order of the steps and nothing else.

Each begins by settling what an interrupted command left behind, under the lock of the book.
``tell`` is called before each step with what is about to happen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wqverify.book import Book, RecordState, Writer, open_book
from wqverify.durable import write_durably, write_part
from wqverify.errors import ChooseAnother, CorrectTheEntry, ResultsDiffer
from wqverify.gather import gather
from wqverify.pages import move_aside, page_of, page_path, settle
from wqverify.plant.folder import Plant
from wqverify.plant.snapshot import Row, changes_between, snapshot
from wqverify.procedures import PROCEDURES
from wqverify.procedures.sheets import parse, read_sheet
from wqverify.records.canonical import canonical, digest, record_from, record_to_bytes, to_plain
from wqverify.records.notebook import Executed, execute, insist_on_same
from wqverify.records.record import Case, compute, draft, number_it, software
from wqverify.terms import Person, Record, Result

if TYPE_CHECKING:
    from wqverify.plant.files import Document

Tell = Callable[[str], None]


def quiet(_step: str) -> None:
    """Tell nobody."""


# ---------------------------------------------------------------- perform


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

    @property
    def record(self) -> Record:
        return draft(self.case, self.result)


def perform(plant: Plant, sheets: Sequence[Path], now: datetime, tell: Tell = quiet) -> list[Performed]:
    """Compute field sheets, execute their notebooks, make records and pages, enter *performed*.

    One notebook run serves all sheets of a procedure. Nothing is entered when any sheet is refused.
    """
    book = _settled(plant, create=True)
    for path in sheets:
        tell(f"reading {path.name}")
    computed = [_computed(plant, book, path) for path in sheets]
    done: list[Performed] = []
    for first, last in _visits_of_different_analyzers(computed):
        if first:  # an earlier visit to the same analyzer has just been entered: this one rests on it
            computed[first:last] = [_computed(plant, book, path) for path in sheets[first:last]]
        done += _perform(plant, book, computed[first:last], now, tell)
    return done


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
    plant: Plant, book: Book, computed: Sequence[_Computed], now: datetime, tell: Tell
) -> list[Performed]:
    done = {index: known for index, one in enumerate(computed) if (known := _known(plant, book, one))}
    fresh = [index for index in range(len(computed)) if index not in done]
    for name in dict.fromkeys(computed[i].case.procedure.name for i in fresh):
        chosen = [i for i in fresh if computed[i].case.procedure.name == name]
        tell(f"executing the notebook of {name} for {len(chosen)} field sheet{'s' * (len(chosen) > 1)}")
        executed = execute(name, [computed[i].case.plain() for i in chosen])
        for position, i in enumerate(chosen):
            insist_on_same(name, executed.results[position], to_plain(computed[i].result))
        for position, i in enumerate(chosen):
            done[i] = _enter(plant, book, computed[i], executed, position, now, tell)
    return [done[i] for i in range(len(computed))]


def _computed(plant: Plant, book: Book, path: Path) -> _Computed:
    sheet, document = read_sheet(path)
    name = sheet.get("procedure")
    if not isinstance(name, str) or name not in PROCEDURES:
        raise ChooseAnother(
            f"{document.where(('procedure',))}: procedure is {name!r}; it must be one of "
            f"{', '.join(PROCEDURES)}.",
            found=str(name),
            expected=", ".join(PROCEDURES),
        )
    procedure = PROCEDURES[name]
    parse(procedure, sheet, document)  # what is mistyped is said before anything is looked up
    case = Case(procedure, sheet, gather(plant, book, procedure, sheet, document))
    return _Computed(case, compute(case, document), document)


def _known(plant: Plant, book: Book, one: _Computed) -> Performed | None:
    """The record this very sheet has already become; another sheet of the same visit is refused."""
    record, file = one.record, one.document.path.name
    entered = book.record_of_visit(record.visit_id)
    if record.replaces:
        _replaceable(book, record, file)
    if entered is None or (record.replaces == entered.number):
        return None
    known = record_from(book.stored(entered.number))
    if known.sheet == record.sheet:
        return Performed(entered.number, known, page_path(plant.folder, entered.number), already=True)
    raise CorrectTheEntry(
        f"{file}: this visit is in the book as {entered.number} with other entries; to amend it add "
        f'replaces = "{entered.number}" and replaces_why = "..." to the sheet: both stay readable.',
        found=entered.number,
        where=file,
    )


def _replaceable(book: Book, record: Record, file: str) -> None:
    old = book.find(record.replaces)
    if old is None or old.tag != record.given.analyzer.tag:
        what = "is not in the book" if old is None else f"is a record of {old.tag}"
        raise CorrectTheEntry(
            f"{file}: replaces names {record.replaces}, which {what}; see `wqverify book list`.",
            found=record.replaces,
            where=file,
        )


def _enter(
    plant: Plant, book: Book, one: _Computed, executed: Executed, position: int, now: datetime, tell: Tell
) -> Performed:
    """Take a number, make record and page, write the page, enter it: all of it or none."""
    from wqverify.show.page import make_page

    attachments = {"executed.ipynb": executed.ipynb, **executed.charts[position], **one.case.slices}
    waiting, made_by = one.record, software(executed.name, executed.digest)
    with book.writing() as writer:
        key = f"performed {waiting.visit_id} {waiting.replaces}".strip()
        if (known := writer.known(key)) is not None:
            raise ResultsDiffer(
                f"Another command has just entered this visit as {known.record}; run this one again."
            )
        _enter_baseline(plant, book, writer, waiting.performed_by, now)
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
        body = {"by": record.performed_by, "pdf": digest(page), **_findable(record)}
        writer.append("performed", key=key, record=number, at=record.entered, stored=data, body=body)
        if record.replaces:
            _end(writer, "superseded", record.replaces, record.performed_by, record.replaces_why, now, number)
    tell(f"entered {number}")
    return Performed(number, record, path, already=False)


def _findable(record: Record) -> dict[str, Any]:
    """What the book can find a record by, and what a later visit is told of it."""
    result = record.result
    stages = dict.fromkeys((check.stage, check.place) for check in result.checks if check.counts)
    # Pairs, because canonical JSON sorts keys and the order of the work would be lost.
    outcomes = [[f"{stage} at the {place}", str(result.outcome(stage, place))] for stage, place in stages]
    values = {c.key: c.quantity.text for c in result.checks if c.quantity is not None}
    return {
        "tag": record.given.analyzer.tag,
        "serial": record.given.analyzer.serial,
        "procedure": record.procedure,
        "performed": record.performed,
        "visit": record.visit_id,
        "outcomes": outcomes,
        "values": values,
    }


# ---------------------------------------------------------------- sign and review


@dataclass(frozen=True)
class _Role:
    """The performer signs what was performed, the reviewer countersigns what was signed."""

    name: str
    event: str
    waiting: str  # the state a record must be in


PERFORMER = _Role("Performer", "signed", "performed, not signed")
REVIEWER = _Role("Reviewer", "reviewed", "signed, not countersigned")


def sign(
    plant: Plant,
    numbers: Sequence[str],
    staff: str,
    store: Path,
    passphrase: bytes,
    now: datetime,
    tell: Tell = quiet,
) -> list[str]:
    """Sign records as the person who performed them; one passphrase for the whole list."""
    return _sign_all(PERFORMER, plant, numbers, staff, store, passphrase, now, tell)


def review(
    plant: Plant,
    numbers: Sequence[str],
    staff: str,
    store: Path,
    passphrase: bytes,
    now: datetime,
    tell: Tell = quiet,
) -> list[str]:
    """Countersign signed records as a reviewer, who must be another person."""
    return _sign_all(REVIEWER, plant, numbers, staff, store, passphrase, now, tell)


def _sign_all(
    role: _Role,
    plant: Plant,
    numbers: Sequence[str],
    staff: str,
    store: Path,
    passphrase: bytes,
    now: datetime,
    tell: Tell,
) -> list[str]:
    book = _settled(plant)
    person = _person(plant, staff)
    waiting = [number for number in numbers if not _done_by(role, book, number, person)]
    records = [_waiting(role, book, number, person, now.astimezone(plant.zone)) for number in waiting]
    for state, record in records:
        tell(f"signing {record.number} as {role.name.lower()}")
        old = page_of(plant.folder, record.number, state.file_digest)
        new = _signed(role, plant, record, old, person, store, passphrase, now)
        _put_signed(role, plant, book, state, new, staff, now, tell)
    return list(numbers)


def _done_by(role: _Role, book: Book, number: str, person: Person) -> bool:
    """Whether this person gave this signature before: a list that was interrupted may be run again."""
    state = book.find(number)
    return (
        state is not None
        and state.stands
        and any(e.event == role.event and e.body["by"] == person.id for e in state.events)
    )


def _waiting(
    role: _Role, book: Book, number: str, person: Person, now: datetime
) -> tuple[RecordState, Record]:
    """Return a record that waits for this signature of this person; raises ChooseAnother otherwise."""
    state = book.find(number)
    if state is None or state.state != role.waiting:
        what = "is not in the book" if state is None else f"is {state.state}"
        raise ChooseAnother(
            f"{number} {what}; the {role.name.lower()} signs what is {role.waiting}. "
            f"`wqverify book list` shows where each record stands.",
            found=what,
            expected=role.waiting,
        )
    record = record_from(book.stored(number))
    if role is PERFORMER:
        allowed_to_sign(person, record, now)
    else:
        allowed_to_review(person, record)
    return state, record


def allowed_to_sign(person: Person, record: Record, now: datetime) -> None:
    """Raise ChooseAnother unless this person performed the work and holds a licence for it."""
    who = f"{person.name} ({person.id})"
    if person.id != record.performed_by:
        raise ChooseAnother(
            f"{record.number} was performed by {record.performed_by}, not by {who}; only the performer signs "
            f"it as performed.",
            found=person.id,
            expected=record.performed_by,
        )
    if not person.may_perform:
        raise ChooseAnother(f"{who} may not perform verifications (may_perform in people.toml).")
    for day, what in ((record.performed[:10], "the day of the work"), (now.date().isoformat(), "today")):
        if person.licence_until and person.licence_until < day:
            raise ChooseAnother(
                f"The licence of {who} ended on {person.licence_until}, before {what} ({day}); "
                f"{record.number} stays unsigned. Enter the renewed licence in people.toml and run "
                f"`wqverify plant accept`, or have a licensed person repeat the work.",
                found=person.licence_until,
                expected=f"{day} or later",
            )


def allowed_to_review(person: Person, record: Record) -> None:
    """Raise ChooseAnother unless this person may review and did not perform the work."""
    who = f"{person.name} ({person.id})"
    if person.id == record.performed_by:
        raise ChooseAnother(
            f"{who} performed {record.number} and cannot review it; the reviewer is another person."
        )
    if not person.may_review:
        raise ChooseAnother(f"{who} may not review (may_review in people.toml).")


def _signed(
    role: _Role,
    plant: Plant,
    record: Record,
    pdf: bytes,
    person: Person,
    store: Path,
    passphrase: bytes,
    now: datetime,
) -> bytes:
    from wqverify.show.page import signature_places, stamp_page
    from wqverify.signing.examine import attachments_of
    from wqverify.signing.keys import KeyStore
    from wqverify.signing.sign import sign_as_performer, sign_as_reviewer

    attached = attachments_of(pdf)
    data = attached.pop("record.json")
    places = signature_places(record, data, attached)
    _page, (left, low, right, high) = places[role.name]
    when = now.astimezone(plant.zone).isoformat(sep=" ", timespec="minutes")
    lines = (f"{person.name} ({person.id})", "signed with a personal key", f"{when}, this computer's clock")
    stamp = stamp_page(lines, right - left, high - low)
    keys = KeyStore(store)
    certificates = plant.folder / "certificates"
    sign_it = sign_as_performer if role is PERFORMER else sign_as_reviewer
    local = now.astimezone(plant.zone)
    return sign_it(pdf, keys, certificates, person.id, passphrase, places, stamp, local)


def _put_signed(
    role: _Role,
    plant: Plant,
    book: Book,
    state: RecordState,
    pdf: bytes,
    staff: str,
    now: datetime,
    tell: Tell,
) -> None:
    """Write the signed file beside, enter the event, put the file in its place; in this order."""
    path = page_path(plant.folder, state.number)
    part = path.with_name(path.name + ".part")
    with book.writing() as writer:
        if (changed := book.find(state.number)) != state:
            what = changed.state if changed is not None else "gone"
            raise ResultsDiffer(f"{state.number} is {what} by now; nothing was done, look at it again.")
        tell(f"writing the file with the signature of {state.number}")
        write_part(part, pdf)
        tell(f"entering {state.number} as {role.event}")
        body = {"by": staff, "mode": "key", "pdf": digest(pdf)}
        writer.append(
            role.event,
            key=f"{role.event} {state.number}",
            record=state.number,
            at=_at(plant, now),
            body=body,
        )
    tell(f"putting {path.name} in its place")
    with book.writing():  # another command may be settling it just now
        settle(plant.folder, book)
    tell(f"{state.number} {role.event}")


def sign_on_paper(
    plant: Plant, number: str, staff: str, kept_at: str, now: datetime, *, as_reviewer: bool = False
) -> None:
    """Enter that the printed page was signed in ink and where it is kept; the file stays as it is.

    The page carries the digest of its record, so paper and file belong together.
    """
    if not kept_at.strip():
        raise CorrectTheEntry("Say where the signed paper is kept: --kept-at PLACE.")
    role = REVIEWER if as_reviewer else PERFORMER
    book = _settled(plant)
    state, _record = _waiting(role, book, number, _person(plant, staff), now.astimezone(plant.zone))
    page_of(plant.folder, number, state.file_digest)
    body = {"by": staff, "mode": "pen", "kept_at": kept_at, "pdf": state.file_digest}
    with book.writing() as writer:
        writer.append(role.event, key=f"{role.event} {number}", record=number, at=_at(plant, now), body=body)


def void(plant: Plant, number: str, by: str, why: str, now: datetime) -> None:
    """Enter that a record does not stand; it stays readable."""
    book = _settled(plant)
    person = _person(plant, by)
    if book.find(number) is None:
        raise ChooseAnother(f"{number} is not in the book; `wqverify book list` shows what is.")
    with book.writing() as writer:
        _end(writer, "voided", number, person.id, why, now.astimezone(plant.zone))


def _end(
    writer: Writer, event: str, number: str, by: str, why: str, now: datetime, by_record: str = ""
) -> None:
    body = {"by": by, "why": why, **({"by_record": by_record} if by_record else {})}
    at = now.isoformat(timespec="seconds")
    writer.append(event, key=f"{event} {number} {by_record}".strip(), record=number, at=at, body=body)


def record_of(plant: Plant, number: str) -> Record:
    """Return a record out of the book."""
    return record_from(open_book(plant.book, plant.device).stored(number))


# ---------------------------------------------------------------- the plant's own changes


def unexplained(plant: Plant) -> tuple[Row, ...]:
    """Return what changed in the plant folder since it was last accepted; nothing before the first time."""
    if not Path(plant.book).is_file():
        return ()
    accepted = open_book(plant.book, plant.device).accepted_snapshot()
    return changes_between(accepted, snapshot(plant)) if accepted is not None else ()


def accept(plant: Plant, by: str, why: str, now: datetime) -> tuple[Row, ...]:
    """Enter what changed in register, tolerances, standards and people, with who and why."""
    if not why.strip():
        raise CorrectTheEntry("Say why it changed: --why TEXT.")
    book = _settled(plant, create=True)
    person = _person(plant, by)
    with book.writing() as writer:
        accepted, found = book.accepted_snapshot(), snapshot(plant)
        changed = changes_between(accepted, found) if accepted is not None else ()
        if changed or accepted is None:
            _enter_snapshot(plant, writer, person.id, why, now, found, changed)
    return changed


def _enter_baseline(plant: Plant, book: Book, writer: Writer, by: str, now: datetime) -> None:
    """The first record of a book is preceded by the register it was made with."""
    if book.accepted_snapshot() is None:
        _enter_snapshot(plant, writer, by, "the register as this book began", now, snapshot(plant), ())


def _enter_snapshot(
    plant: Plant,
    writer: Writer,
    by: str,
    why: str,
    now: datetime,
    found: Mapping[str, Any],
    changed: Sequence[Row],
) -> None:
    data, head = canonical(found), writer.head
    rows = [dict(zip(("about", "what", "was", "now"), row, strict=True)) for row in changed]
    body = {"by": by, "why": why, "changes": rows}
    key = f"register changed {head.chain} {head.seq} {digest(data)}"
    writer.append(_kind(changed), key=key, at=_at(plant, now), stored=data, body=body)


def _kind(changed: Sequence[Row]) -> str:
    """The event that names what changed; the register where it was more than one kind."""
    kinds = {
        "people changed" if what.startswith("person ") else
        "standards changed" if what.startswith("standard ") else
        "plant settings changed" if about == "plant" else
        "tolerance changed" if "tolerance " in what else "register changed"
        for about, what, _was, _now in changed
    }  # fmt: skip
    return kinds.pop() if len(kinds) == 1 else "register changed"


# ---------------------------------------------------------------- keys


def make_authority(plant: Plant, store: Path, passphrase: bytes, now: datetime) -> None:
    """Make the plant authority and enter it."""
    from wqverify.signing.authority import create_authority
    from wqverify.signing.keys import KeyStore

    certificates = plant.folder / "certificates"
    create_authority(certificates, KeyStore(store), plant.site.name, passphrase, now)
    _enter_key(plant, "authority made", "authority", {"certificate": _certificate(plant, "authority")}, now)


def issue_key(
    plant: Plant,
    store: Path,
    staff: str,
    authority_passphrase: bytes,
    passphrase: bytes,
    now: datetime,
    *,
    years: int = 10,
    replaces_because: str = "",
) -> None:
    """Issue a signing key for a person of people.toml; with a reason, withdraw the old one first."""
    from wqverify.signing.authority import issue
    from wqverify.signing.keys import KeyStore

    person = _person(plant, staff)
    if replaces_because:
        withdraw_key(plant, store, staff, authority_passphrase, now, replaces_because)
    certificates = plant.folder / "certificates"
    issue(certificates, KeyStore(store), person, authority_passphrase, passphrase, now, years)
    _enter_key(plant, "key issued", staff, {"certificate": _certificate(plant, staff)}, now)


def withdraw_key(
    plant: Plant, store: Path, staff: str, authority_passphrase: bytes, now: datetime, why: str
) -> None:
    """Withdraw a person's key: what was signed before stays good, nothing is good after."""
    from wqverify.signing.authority import withdraw
    from wqverify.signing.keys import KeyStore

    gone = _certificate(plant, staff)
    withdraw(plant.folder / "certificates", KeyStore(store), staff, authority_passphrase, now, why)
    _enter_key(plant, "key withdrawn", staff, {"certificate": gone, "why": why}, now)


def _certificate(plant: Plant, name: str) -> str:
    """Return the digest of a certificate, empty where there is none."""
    path = plant.folder / "certificates" / f"{name}.pem"
    return digest(path.read_bytes()) if path.is_file() else ""


def _enter_key(plant: Plant, event: str, staff: str, body: dict[str, str], now: datetime) -> None:
    book = _settled(plant, create=True)
    with book.writing() as writer:
        key = f"{event} {staff} {body['certificate']}"
        writer.append(event, key=key, at=_at(plant, now), body={"by": staff, **body})


# ---------------------------------------------------------------- shared


def _settled(plant: Plant, *, create: bool = False) -> Book:
    book = open_book(plant.book, plant.device, create=create)
    with book.writing():
        settle(plant.folder, book)
    return book


def _person(plant: Plant, staff: str) -> Person:
    if staff not in plant.people:
        raise ChooseAnother(
            f"There is no person {staff} in people.toml (it holds {', '.join(plant.people) or 'nobody'}).",
            found=staff,
            expected=", ".join(plant.people),
        )
    return plant.people[staff]


def _at(plant: Plant, now: datetime) -> str:
    return now.astimezone(plant.zone).isoformat(timespec="seconds")
