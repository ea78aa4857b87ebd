"""Which records of the book are the visit of a round, also where a sheet was run without its round."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from wqverify.book.book import Book
from wqverify.book.state import RecordState

NIGHT_ENDS = time(6)  # work begun before this may belong to the round of the day before; common practice


def is_of_day(day: str, began: datetime) -> bool:
    """Return whether work belongs to a round of a day: of that day, or of the night after it.

    ``day`` is YYYY-MM-DD, ``began`` the start of the work in plant time.

    >>> is_of_day("2026-05-31", datetime.fromisoformat("2026-06-01T05:59-05:00"))
    True
    >>> is_of_day("2026-05-31", datetime.fromisoformat("2026-06-01T06:00-05:00"))
    False
    """
    after = began.date() - date.fromisoformat(day)
    return after == timedelta(0) or (after == timedelta(1) and began.time() < NIGHT_ENDS)


def visits_on_round(book: Book, title: str, day: str, tag: str, procedure: str) -> list[RecordState]:
    """Return the records that are the visit of a round: they stand, are of its day, and of no other round.

    A sheet that was run by its file name belongs to no round; its visit is the same. What another round of
    the same day did is the visit of that one: a morning round does not do the work of an evening round.
    """
    next_day = (date.fromisoformat(day) + timedelta(1)).isoformat()
    found = book.standing_on((day, next_day), tag, procedure)
    return [
        state
        for state in found
        if state.round in ("", title) and is_of_day(day, datetime.fromisoformat(state.performed))
    ]
