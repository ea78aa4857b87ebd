"""What an audit reads: the book of a plant, a file, the records of a month."""

from __future__ import annotations

import re
from pathlib import Path

from wqverify.book import Book, RecordState, open_book
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.folder import Plant


def book_of(plant: Plant) -> Book:
    """Return the book of a plant folder; raises RepairTheFolder where there is none yet."""
    return open_book(plant.book, plant.device)


def read_pdf(path: Path) -> bytes:
    """Return the bytes of a file; raises ChooseAnother when it is not there."""
    try:
        return path.read_bytes()
    except OSError as problem:
        raise ChooseAnother(
            f"{path} cannot be read ({problem.strerror}); name the PDF of a record.", where=str(path)
        ) from problem


def insist_on_month(month: str) -> None:
    """Raise CorrectTheEntry for anything but a month such as 2026-03, or nothing."""
    if month and not re.fullmatch(r"[0-9]{4}-(0[1-9]|1[0-2])", month):
        raise CorrectTheEntry(f"{month[:40]!r} is not a month; type it as 2026-03.", found=month[:40])


def list_records(plant: Plant, month: str) -> list[RecordState]:
    """Return the records of the book, or those whose work was done in a month of plant time."""
    insist_on_month(month)
    return list(book_of(plant).records(month))
