"""Pairs of recordings of a filter above a limit, the end of its first four hours, months in a row.

"Exceeds" is strictly greater; what is missing or left out breaks a pair. Source: 40 CFR 141.175(b), 141.563.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import pairwise

from wqverify.calculations.recordings import Recording, Span, follows
from wqverify.calculations.turbidity_rule import FOUR_HOURS, month_after

QUARTER = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class Run:
    """Recordings above a limit, one after the other: at least two; n of them are n - 1 pairs."""

    recordings: tuple[Recording, ...]

    @property
    def pairs(self) -> int:
        return len(self.recordings) - 1

    @property
    def highest(self) -> Recording:
        return max(self.recordings, key=lambda one: one.value or Decimal(0))


def runs_above(recordings: Sequence[Recording], limit: Decimal, apart: timedelta) -> tuple[Run, ...]:
    """Return where two or more consecutive recordings exceed a limit.

    ``apart`` the time between two recordings, s. One that is missing, left out or does not exceed ends a
    run, and so does a gap. Source: 40 CFR 141.175(b), 141.563: two consecutive measurements taken 15
    minutes apart.

    >>> at = datetime(2026, 3, 1)
    >>> rows = [Recording(at + n * QUARTER, Decimal(text)) for n, text in enumerate(["0.8", "1.1", "1.2"])]
    >>> [run.pairs for run in runs_above(rows, Decimal("1.0"), QUARTER)]
    [1]
    """
    found: list[list[Recording]] = []
    before: Recording | None = None
    for one in recordings:
        if not one.above(limit):
            before = None
            continue
        if before is None or not follows(before.at, one.at, apart):
            found.append([])
        found[-1].append(one)
        before = one
    return tuple(Run(tuple(run)) for run in found if len(run) > 1)


def broken(
    recordings: Sequence[Recording], limit: Decimal, apart: timedelta
) -> Iterator[tuple[Recording, str]]:
    """Give the recordings above a limit that stand beside what is missing or left out, and what that is.

    There might have been a pair that nobody recorded. Source: design of this project.

    >>> at = datetime(2026, 3, 1)
    >>> rows = [Recording(at, Decimal("1.2")), Recording(at + QUARTER, None)]
    >>> [why for _, why in broken(rows, Decimal("1.0"), QUARTER)]
    ['the recording after it holds no number']
    """
    for side, word, rows in (
        (1, "after", recordings),
        (-1, "before", recordings[::-1]),
    ):
        for one, other in pairwise(rows):
            if not one.above(limit):
                continue
            first, second = (one, other)[::side]
            if not follows(first.at, second.at, apart):
                yield one, f"no recording {word} it"
            elif other.left_out:
                yield one, f"the recording {word} it is left out: {other.left_out}"
            elif other.value is None:
                yield one, f"the recording {word} it holds no number"


@dataclass(frozen=True, slots=True)
class Start:
    """A filter back on line: the two recordings at the end of its first four hours, or why there are none."""

    at: datetime
    pair: tuple[Recording, Recording] | None = None
    why: str = ""

    def exceeds(self, limit: Decimal) -> bool:
        """Whether both recordings exceed a limit."""
        return self.pair is not None and all(one.above(limit) for one in self.pair)


def first_four_hours(
    recordings: Sequence[Recording], off: Sequence[Span], apart: timedelta
) -> tuple[Start, ...]:
    """Return for each time a filter came back the last two recordings within its first four hours.

    ``off`` the spans it was off line or in backwash; what overlaps or touches is one. A start whose four
    hours end where nothing is recorded, or that was interrupted, has no pair and says why. Source: 40 CFR
    141.175(b)(2), two consecutive measurements taken 15 minutes apart at the end of the first four hours of
    continuous operation after backwash or offline; that these are the last two within them is a reading of
    this project.

    >>> at = datetime(2026, 3, 1)
    >>> rows = [Recording(at + n * QUARTER, Decimal("0.6")) for n in range(20)]
    >>> off = [Span(at, at + QUARTER, "backwash", True)]
    >>> [one.exceeds(Decimal("0.5")) for one in first_four_hours(rows, off, QUARTER)]
    [True]
    """
    spans = _joined(span for span in off if span.off_line)
    times = [one.at for one in recordings]
    found = []
    for span in spans:
        over = span.end + FOUR_HOURS
        if any(other.start < over and other.end > span.end for other in spans if other is not span):
            found.append(Start(span.end, why="off line again before four hours were over"))
        elif times and span.end >= times[0] - apart and over <= times[-1] + apart:
            found.append(_at_the_end(span.end, over, recordings, times, apart))
    return tuple(found)


def _joined(off: Iterable[Span]) -> list[Span]:
    """Join what overlaps or touches: a backwash that is flagged and typed is one."""
    found: list[Span] = []
    for span in sorted(off, key=lambda one: one.start):
        if found and span.start <= found[-1].end:
            found[-1] = replace(found[-1], end=max(found[-1].end, span.end))
        else:
            found.append(span)
    return found


def _at_the_end(
    start: datetime,
    over: datetime,
    recordings: Sequence[Recording],
    times: Sequence[datetime],
    apart: timedelta,
) -> Start:
    place = bisect_left(times, over + timedelta(microseconds=1))
    pair = recordings[max(place - 2, 0) : place]
    if len(pair) < 2 or over - pair[1].at >= apart or not follows(pair[0].at, pair[1].at, apart):
        return Start(start, why="no two recordings at the end of its four hours")
    for one in pair:
        if one.left_out:
            return Start(start, why=f"left out at the end of its four hours: {one.left_out}")
        if one.value is None:
            return Start(start, why="no number at the end of its four hours")
    return Start(start, (pair[0], pair[1]))


# ---------------------------------------------------------------- month to month


def months_in_a_row(pairs: Mapping[str, int], month: str) -> tuple[int, str]:
    """Return in how many months in a row, this one included, there were pairs, and the month not known.

    ``pairs`` the number by month; the run ends at a month without one, or at one that is not known, which is
    named. Source: 40 CFR 141.175(b)(3)-(4), 141.563(b)-(c).

    >>> months_in_a_row({"2026-03": 1, "2026-02": 2, "2026-01": 0}, "2026-03")
    (2, '')
    >>> months_in_a_row({"2026-03": 1}, "2026-03")
    (1, '2026-02')
    """
    run = 0
    while month in pairs:
        if not pairs[month]:
            return run, ""
        run, month = run + 1, month_after(month, -1)
    return run, month
