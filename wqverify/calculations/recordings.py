"""Recordings of one channel in time: what is left out, how far apart they lie, where some are missing.

Moments are instants (UTC), values decimals as recorded, None where a recording holds no number.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from statistics import median_low

from wqverify.errors import CorrectTheEntry

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_APART = 1.5  # of the usual time between two recordings: what lies farther apart has a gap between


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time, from ``start`` to before ``end``, in which recordings do not count, and why.

    ``off_line``: nothing was filtered, so no value is expected; else a value was due and none stands.
    """

    start: datetime
    end: datetime
    why: str
    off_line: bool = False

    def holds(self, at: datetime) -> bool:
        """Whether a moment lies in it."""
        return self.start <= at < self.end


@dataclass(frozen=True, slots=True)
class Recording:
    """One recording; ``left_out`` says why it does not count, empty where it does."""

    at: datetime
    value: Decimal | None
    left_out: str = ""
    off_line: bool = False

    @property
    def counts(self) -> bool:
        """Whether it holds a value of the water that was filtered."""
        return self.value is not None and not self.left_out

    def above(self, limit: Decimal) -> bool:
        """Whether it counts and exceeds a limit: strictly greater."""
        return self.counts and self.value is not None and self.value > limit


def marked(rows: Iterable[tuple[datetime, Decimal | None]], spans: Sequence[Span]) -> tuple[Recording, ...]:
    """Return recordings, those within a span marked as left out; being off line comes before other reasons.

    ``rows`` (moment, value or None) in rising time. Source: geometry of time.

    >>> at = datetime(2026, 3, 1, 5, tzinfo=UTC)
    >>> held = Span(at, at + timedelta(minutes=5), "output held")
    >>> [one.left_out for one in marked([(at, Decimal("0.05"))], [held])]
    ['output held']
    """
    found = [Recording(at, value) for at, value in rows]
    times = [one.at for one in found]
    for span in sorted(spans, key=lambda one: one.off_line):  # the last one that is written stays
        for place in range(bisect_left(times, span.start), bisect_left(times, span.end)):
            found[place] = replace(found[place], left_out=span.why, off_line=span.off_line)
    return tuple(found)


def without_flagged(
    recordings: Sequence[Recording], flags: Sequence[str], good: Collection[str]
) -> tuple[Recording, ...]:
    """Return recordings, those with a value whose flag is none of the good ones marked as left out.

    ``flags`` one for each recording, ``good`` in small letters. Source: common practice, no source.

    >>> at = datetime(2026, 3, 1, tzinfo=UTC)
    >>> found = without_flagged([Recording(at, Decimal("0.05"))], ["BAD"], {"good", ""})
    >>> found[0].left_out, found[0].counts
    ('flagged BAD', False)
    """
    return tuple(
        replace(one, left_out=f"flagged {flag}")
        if not one.left_out and one.value is not None and flag.casefold() not in good
        else one
        for one, flag in zip(recordings, flags, strict=True)
    )


def interval_of(recordings: Sequence[Recording]) -> timedelta:
    """Return the usual time between two recordings: the lower median of their steps.

    Raises CorrectTheEntry for fewer than two. Source: common practice, no source.

    >>> at = datetime(2026, 3, 1, tzinfo=UTC)
    >>> str(interval_of([Recording(at + timedelta(minutes=15 * n), None) for n in range(4)]))
    '0:15:00'
    """
    steps = [b.at - a.at for a, b in pairwise(recordings) if b.at > a.at]
    if not steps:
        raise CorrectTheEntry(
            "There are fewer than two recordings, so nothing says how far apart they are; name an export of "
            "the whole month.",
            found=f"{len(recordings)} recordings",
            expected="recordings of the whole month",
        )
    return median_low(steps)


def gaps(recordings: Sequence[Recording], apart: timedelta) -> Iterator[tuple[datetime, datetime]]:
    """Give (last before, first after) of each gap: two recordings more than 1.5 of the usual time apart.

    ``apart`` the usual time between two recordings. Source: common practice, no source.

    >>> at = datetime(2026, 3, 1, tzinfo=UTC)
    >>> rows = [Recording(at + timedelta(minutes=n), None) for n in (0, 15, 45)]
    >>> [(a.minute, b.minute) for a, b in gaps(rows, timedelta(minutes=15))]
    [(15, 45)]
    """
    for before, after in pairwise(recordings):
        if not follows(before.at, after.at, apart):
            yield before.at, after.at


def follows(before: datetime, after: datetime, apart: timedelta) -> bool:
    """Return whether a recording is the next after another: later, by at most 1.5 of the usual time.

    Source: common practice, no source.

    >>> at = datetime(2026, 3, 1, tzinfo=UTC)
    >>> [follows(at, at + timedelta(minutes=n), timedelta(minutes=15)) for n in (15, 22, 23)]
    [True, True, False]
    """
    return timedelta(0) < after - before <= _APART * apart


def nearest(
    recordings: Sequence[Recording], times: Sequence[datetime], at: datetime, within: timedelta
) -> Recording | None:
    """Return the recording nearest to a moment, None where none lies within a time; of two the earlier.

    ``times`` are the moments of the recordings, rising. Source: common practice, no source.

    >>> first = datetime(2026, 3, 1, tzinfo=UTC)
    >>> rows = [Recording(first + timedelta(minutes=n), Decimal(n)) for n in (0, 15)]
    >>> found = nearest(rows, [one.at for one in rows], first + timedelta(minutes=9), timedelta(minutes=7))
    >>> found and str(found.value)
    '15'
    """
    place = bisect_left(times, at)
    around = recordings[max(place - 1, 0) : place + 1]
    best = min(around, key=lambda one: abs(one.at - at), default=None)
    return best if best is not None and abs(best.at - at) <= within else None


def on_the_quarter(recordings: Sequence[Recording], every: timedelta) -> tuple[Recording, ...]:
    """Return of recordings closer together than ``every`` those at its whole multiples of the clock.

    At each multiple the nearest recording within half the time between recordings stands, else one without
    a value. Recordings ``every`` apart or farther stand as they are. Source: 40 CFR 141.174(a) and
    141.560(c), results of individual filters recorded every 15 minutes; which of more is common practice.

    >>> first = datetime(2026, 3, 1, tzinfo=UTC)
    >>> rows = [Recording(first + timedelta(minutes=n), Decimal(n)) for n in range(0, 31, 5)]
    >>> [str(one.value) for one in on_the_quarter(rows, timedelta(minutes=15))]
    ['0', '15', '30']
    """
    apart = interval_of(recordings)
    if apart >= every:
        return tuple(recordings)
    times = [one.at for one in recordings]
    first = times[0] + (_EPOCH - times[0]) % every
    count = (times[-1] - first) // every + 1
    found = []
    for at in (first + n * every for n in range(count)):
        one = nearest(recordings, times, at, apart / 2)
        found.append(replace(one, at=at) if one is not None else Recording(at, None))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Summary:
    """Least, highest and mean of what counts, in the unit of the channel."""

    count: int
    least: Decimal
    most: Decimal
    most_at: datetime
    mean: Decimal


def summary(recordings: Sequence[Recording]) -> Summary | None:
    """Return least, highest (the first of several) and mean of what counts, None where nothing does.

    Equation: mean = sum(x)/n, fixed one digit beyond the finest recorded. Source: common mathematics.

    >>> at = datetime(2026, 3, 1, tzinfo=UTC)
    >>> found = summary([Recording(at, Decimal("0.05")), Recording(at, Decimal("0.08"))])
    >>> found and (str(found.least), str(found.most), str(found.mean))
    ('0.05', '0.08', '0.065')
    """
    counted = [(one.value, one.at) for one in recordings if one.counts and one.value is not None]
    if not counted:
        return None
    values = [value for value, _ in counted]
    most, at = max(counted, key=lambda one: one[0])
    finest = min(int(value.as_tuple().exponent) for value in values)
    mean = (sum(values, Decimal(0)) / len(values)).quantize(Decimal(1).scaleb(finest - 1))
    return Summary(len(values), min(values), most, at, mean)
