"""What is no fault in an export: the visits, holds and outages of the book, windows entered, rows flagged."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

import numpy as np

from wqverify.book import Book, has_book, open_book
from wqverify.calculations.signal_quality import stretches
from wqverify.errors import ChooseAnother
from wqverify.plant.folder import Plant
from wqverify.procedures.consequences import OUTAGE
from wqverify.procedures.left_out import HELD, VISIT, stretches_of
from wqverify.records.canonical import record_from
from wqverify.records.cited import cited
from wqverify.terms import Cited
from wqverify.trends.texts import Integers, Truths
from wqverify.trends.whole import Numbers

ALL = "*"  # a window of all channels
BESIDE_S = 1800  # rows so near to a window are not looked at one by one; common practice, no source
_LONGEST_VISIT = timedelta(days=1)
_REACHES = timedelta(days=31)  # before an export: work that began then may reach into it


@dataclass(frozen=True, slots=True)
class Away:
    """A verification window: what lies in it is no fault. ``tag`` is that of the register, or ``ALL``."""

    tag: str
    what: str
    start: datetime
    end: datetime
    number: str = ""  # of the record it was found in; empty where it was entered


@dataclass(frozen=True, slots=True)
class Flagged:
    """What an export flags itself as no water: so many rows, in runs from one UTC second to another."""

    channel: str
    flag: str
    rows: int
    spans: tuple[tuple[int, int], ...]

    @property
    def runs(self) -> int:
        return len(self.spans)

    @property
    def first(self) -> int:
        return self.spans[0][0]

    @property
    def last(self) -> int:
        return self.spans[-1][1]


def flagged(numbers: Numbers) -> tuple[Truths, tuple[Flagged, ...]]:
    """Return the rows that the export flags as no water, and what is told of each of these flags."""
    if numbers.off is None:
        return np.zeros(len(numbers.times), bool), ()
    told, off = [], np.zeros(len(numbers.times), bool)
    for text in filter(None, numbers.off.shown().distinct):
        mine = numbers.off.where(text)
        spans = ((int(numbers.times[first]), int(numbers.times[last])) for first, last in stretches(mine))
        told.append(Flagged(numbers.name, text, int(mine.sum()), tuple(spans)))
        off |= mine
    return off, tuple(told)


def within(times: Integers, windows: Iterable[Away]) -> Truths:
    """Return the rows that lie in windows, their ends included."""
    found = np.zeros(len(times), bool)
    for one in windows:
        found |= (times >= one.start.timestamp()) & (times <= one.end.timestamp())
    return found


def beside(times: Integers, windows: Sequence[Away], away: Truths) -> Truths:
    """Return the rows near to what is taken out: within half an hour of it, and the next row at any rate."""
    ends = [(int(one.start.timestamp()), int(one.end.timestamp())) for one in windows]
    ends += [(int(times[first]), int(times[last])) for first, last in stretches(away)]
    near = np.zeros(len(times), bool)
    for start, end in ends:
        first = int(np.searchsorted(times, start - BESIDE_S))
        last = int(np.searchsorted(times, end + BESIDE_S, side="right"))
        row_before, row_after = np.searchsorted(times, start) - 1, np.searchsorted(times, end, side="right")
        near[max(min(first, int(row_before)), 0) : max(last, int(row_after) + 1)] = True
    return near


class Records:
    """The verification windows that the records in the book of a plant tell."""

    def __init__(self, plant: Plant | None) -> None:
        there = plant is not None and has_book(plant.book)
        self._book = open_book(plant.book, plant.device) if plant is not None and there else None

    def windows(self, tag: str, first: int, last: int) -> Iterator[Away]:
        """Give the windows of a tag between two UTC seconds: what its records leave out, and each visit.

        A visit of more than a day is none: that is a sheet of what went on over days, such as a doubt. What
        is not over ends with the export.
        """
        if self._book is None or not tag:
            return
        begin, end = (datetime.fromtimestamp(at, UTC) for at in (first, last))
        records = list(self._told(self._book, tag, begin, end))
        left_out = [Away(tag, span.why, span.start, span.end, by) for span, by in stretches_of(records, end)]
        yield from left_out
        known = {(one.number, one.start) for one in left_out}
        for record in records:
            for window in record.windows:
                if window.what == HELD or not window.end or record.procedure == OUTAGE:
                    continue
                start, until = map(datetime.fromisoformat, (window.start, window.end))
                if window.what == VISIT and (
                    until - start > _LONGEST_VISIT or (record.number, start) in known
                ):
                    continue
                yield Away(tag, window.what, start, until, record.number)

    @staticmethod
    def _told(book: Book, tag: str, begin: datetime, end: datetime) -> Iterator[Cited]:
        """Give what the records that may reach into an export say; an outage may have begun long before."""
        reaches = (begin - _REACHES).isoformat()
        states = book.last_records(tag, procedure=OUTAGE, before=reaches, limit=1)
        for state in (*states, *book.begun_between(reaches, end.isoformat(), [tag])):
            yield cited(record_from(book.stored(state.number)), state.digest, state.body)


def entered(tag: str, start: str, end: str, zone: tzinfo) -> Away:
    """Return a window typed by hand, in plant time; raises CorrectTheEntry as ``clock.resolve`` does."""
    from wqverify.plant.clock import resolve

    moments = [resolve(text[:10], text, zone) for text in (start, end)]
    if moments[1] <= moments[0]:
        raise ChooseAnother(
            f"The window from {start} to {end} ends before it begins.", found=end, expected=start
        )
    return Away(tag, "entered", moments[0], moments[1])
