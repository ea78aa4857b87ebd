"""Changes of register, tolerances, standards and people: told to the book with who and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from wqverify.acts.shared import local_time, person_of, settled
from wqverify.book import Book, Writer, has_book, open_book
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.folder import Plant
from wqverify.plant.snapshot import Row, changes_between, snapshot
from wqverify.records.canonical import canonical, digest
from wqverify.terms import Person


def unexplained(plant: Plant) -> tuple[Row, ...]:
    """Return what changed in the plant folder since it was last accepted; nothing before the first time."""
    if not has_book(plant.book):
        return ()
    accepted = open_book(plant.book, plant.device).accepted_snapshot()
    return changes_between(accepted, snapshot(plant)) if accepted is not None else ()


def accept(plant: Plant, by: str, why: str, now: datetime) -> tuple[Row, ...]:
    """Enter what changed in register, tolerances, standards and people, with who and why."""
    if not why.strip():
        raise CorrectTheEntry("Say why it changed: --why TEXT.")
    book = settled(plant, create=True)
    person = person_of(plant, by)
    with book.writing() as writer:
        accepted, found = book.accepted_snapshot(), snapshot(plant)
        changed = changes_between(accepted, found) if accepted is not None else ()
        _insist_on_reviewer(person, changed)
        if changed or accepted is None:
            _enter_snapshot(plant, writer, person.id, why, now, found, changed)
    return changed


def _insist_on_reviewer(person: Person, changed: Sequence[Row]) -> None:
    """Raise ChooseAnother where a performer would accept a tolerance or people: a reviewer does that."""
    kept = [row for row in changed if _kind([row]) in ("tolerance changed", "people changed")]
    if kept and not person.may_review:
        _about, what, was, now = kept[0]
        more = f" and {len(kept) - 1} more" if len(kept) > 1 else ""
        raise ChooseAnother(
            f"{person.name} ({person.id}) may not accept {what} ({was or 'nothing'} to {now or 'nothing'})"
            f"{more}: who performs does not set what it is judged by; a reviewer accepts it (may_review in "
            f"people.toml).",
            found=person.id,
            expected="a reviewer",
        )


def enter_baseline(plant: Plant, book: Book, writer: Writer, by: str, now: datetime) -> None:
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
    writer.append(_kind(changed), key=key, at=local_time(plant, now), stored=data, body=body)


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
