"""Work about a calendar month: due by a day after it, done for the month it is about, whenever that was."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from wqverify.book import Book
from wqverify.procedures import PROCEDURES

MONTH = "month"  # the fact of a record that says which month it is about


@dataclass(frozen=True, slots=True)
class OfMonth:
    """A record that stands, and the month it is about."""

    number: str
    tag: str
    procedure: str
    month: str
    day: str  # its work began, plant time


def is_monthly(procedure: str) -> bool:
    """Whether work of a procedure is about a calendar month; its interval says only that it is planned."""
    return procedure in PROCEDURES and PROCEDURES[procedure].month_due is not None


def due_by(procedure: str, month: str) -> date:
    """Return by which day the work about a month is due.

    >>> due_by("turbidity_month", "2026-12")
    datetime.date(2027, 1, 10)
    """
    of_month = PROCEDURES[procedure].month_due
    assert of_month is not None
    return of_month(month)


def every_words(procedure: str, days: int) -> str:
    """Return how often work is due in words.

    >>> every_words("turbidity_month", 31), every_words("ph_calibration", 7)
    ('each month', 'every 7 d')
    """
    return "each month" if is_monthly(procedure) else f"every {days} d"


def months_of(book: Book | None) -> list[OfMonth]:
    """Return the records that stand and are about a month, the oldest work first."""
    states = book.telling(MONTH) if book is not None else []
    found = [
        OfMonth(one.number, one.tag, one.procedure, one.facts[MONTH], one.performed[:10])
        for one in sorted(states, key=lambda one: one.instant)
        if one.stands and MONTH in one.facts
    ]
    return [one for one in found if is_monthly(one.procedure)]


def newest_month(months: Sequence[OfMonth], tag: str, procedure: str) -> OfMonth | None:
    """Return the record about the latest month of a tag; of several about it the newest."""
    mine = [one for one in months if (one.tag, one.procedure) == (tag, procedure)]
    return max(mine, key=lambda one: (one.month, one.day), default=None)
