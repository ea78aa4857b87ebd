"""What all acts begin with: a settled book, a known person, the plant's clock."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import ValidationError, create_model

from wqverify.book import Book, Writer, open_book
from wqverify.errors import ChooseAnother
from wqverify.pages import settle
from wqverify.plant.files import Document
from wqverify.plant.folder import Plant
from wqverify.plant.messages import explain
from wqverify.terms import Person

Tell = Callable[[str], None]


@dataclass(frozen=True)
class OfRound:
    """What a sheet of a round is performed with: title and day of the round, and its shared head."""

    title: str = ""
    day: str = ""
    head: Mapping[str, Any] = field(default_factory=dict)


def quiet(_step: str) -> None:
    """Tell nobody."""


def settled(plant: Plant, *, create: bool = False) -> Book:
    """Open the book and finish, under its lock, what an interrupted command left behind."""
    book = open_book(plant.book, plant.device, create=create)
    with book.writing():
        settle(plant.folder, book)
    return book


def person_of(plant: Plant, staff: str) -> Person:
    """Return a person of people.toml; raises ChooseAnother."""
    if staff not in plant.people:
        raise ChooseAnother(
            f"There is no person {staff} in people.toml (it holds {', '.join(plant.people) or 'nobody'}).",
            found=staff,
            expected=", ".join(plant.people),
        )
    return plant.people[staff]


def typed(kind: Any, what: str, text: str) -> str:
    """Return a text of the command line as a sheet takes it; raises CorrectTheEntry in the same sentences.

    ``kind`` is a kind of text of wqverify.plant.fields, ``what`` names it: "the question".
    """
    model = create_model("Typed", text=(kind, ...))
    try:
        taken: str = model.model_validate({"text": text}).text  # type: ignore[attr-defined]
    except ValidationError as error:
        raise explain(error, Document(Path(what), "", {"text": text})) from None
    return taken


def local_time(plant: Plant, now: datetime) -> str:
    """Return a time as the book writes it: plant time with its offset, to the second."""
    return now.astimezone(plant.zone).isoformat(timespec="seconds")


def end_record(
    writer: Writer, event: str, number: str, by: str, why: str, at: str, by_record: str = ""
) -> None:
    """Enter that a record does not stand any more: superseded by another, or voided."""
    body = {"by": by, "why": why, **({"by_record": by_record} if by_record else {})}
    writer.append(event, key=f"{event} {number} {by_record}".strip(), record=number, at=at, body=body)
