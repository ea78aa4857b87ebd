"""Sign and review: by key or in ink, each person as what they are.

The signed file is written beside, the event entered, the file put in its place; in this order, so that
after a kill the next command finishes it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from wqverify.acts.keys import insist_on_key
from wqverify.acts.shared import Tell, end_record, local_time, person_of, quiet, settled
from wqverify.book import Book, RecordState, open_book
from wqverify.book.state import RETURNED
from wqverify.durable import write_part
from wqverify.errors import ChooseAnother, CorrectTheEntry, ResultsDiffer
from wqverify.pages import page_of, page_path, settle
from wqverify.plant.folder import Plant
from wqverify.records.canonical import digest, record_from
from wqverify.terms import Person, Record


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
    book = settled(plant)
    person = person_of(plant, staff)
    insist_on_key(book, staff)
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
    if role is REVIEWER and state is not None and state.state == RETURNED:
        last, performer = state.questions[-1], state.body["by"]
        raise ChooseAnother(
            f"{number} was returned by {last.by} with a question that {performer} has not answered: "
            f"{last.question} It is reviewed after `wqverify answer {number} --by {performer} --text TEXT`.",
            found=RETURNED,
            expected=role.waiting,
        )
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
        _unchanged(book, state)
        tell(f"writing the file with the signature of {state.number}")
        write_part(part, pdf)
        tell(f"entering {state.number} as {role.event}")
        body = {"by": staff, "mode": "key", "pdf": digest(pdf)}
        writer.append(
            role.event,
            key=f"{role.event} {state.number}",
            record=state.number,
            at=local_time(plant, now),
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
    book = settled(plant)
    state, _record = _waiting(role, book, number, person_of(plant, staff), now.astimezone(plant.zone))
    page_of(plant.folder, number, state.file_digest)
    with book.writing() as writer:
        _unchanged(book, state)
        body = {"by": staff, "mode": "pen", "kept_at": kept_at, "pdf": state.file_digest}
        key, at = f"{role.event} {number}", local_time(plant, now)
        writer.append(role.event, key=key, record=number, at=at, body=body)


def _unchanged(book: Book, state: RecordState) -> None:
    """Raise ResultsDiffer where another command did something to a record since it was looked at."""
    if (found := book.find(state.number)) != state:
        what = found.state if found is not None else "gone"
        raise ResultsDiffer(f"{state.number} is {what} by now; nothing was done, look at it again.")


def void(plant: Plant, number: str, by: str, why: str, now: datetime) -> None:
    """Enter that a record does not stand; it stays readable."""
    if not why.strip():
        raise CorrectTheEntry("Say why the record does not stand: --why TEXT.")
    book = settled(plant)
    person = person_of(plant, by)
    if not person.may_review:
        raise ChooseAnother(f"{person.name} ({by}) may not void a record: a reviewer does (people.toml).")
    with book.writing() as writer:
        state = book.find(number)
        if state is None or not state.stands:
            what = "is not in the book" if state is None else f"is {state.state} already"
            raise ChooseAnother(f"{number} {what}; `wqverify book list` shows what stands.", found=what)
        end_record(writer, "voided", number, person.id, why, local_time(plant, now))


def record_of(plant: Plant, number: str) -> Record:
    """Return a record out of the book."""
    return record_from(open_book(plant.book, plant.device).stored(number))
