"""Turbidity of a month by the rules of filtration: what is due, values every four hours, their share.

"Exceeds" is strictly greater. Source: 40 CFR 141 subparts H, P and T. Limits, hours and rounding are
settings: a State may ask for others.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import ROUND_HALF_UP, Decimal
from itertools import pairwise
from typing import Literal
from zoneinfo import ZoneInfo

from wqverify.calculations.recordings import Recording, Span, nearest

FOUR_HOURS = timedelta(hours=4)
EVERY_4_H = (0, 4, 8, 12, 16, 20)
ENOUGH = Decimal("0.5")  # of the recordings of 4 h that must be there for their mean or highest

State = Literal["recorded", "grab", "missing", "left out", "off line"]
By = Literal["value", "mean", "highest"]


# ---------------------------------------------------------------- the month


@dataclass(frozen=True, slots=True)
class Due:
    """A value that is due: what the plant's clock shows then, and the time up to the next."""

    clock: datetime  # of the plant, without an offset
    start: datetime
    end: datetime


def month_after(month: str, months: int = 1) -> str:
    """Return the month some months later, or earlier where the number is negative.

    Source: calendar.

    >>> month_after("2026-12"), month_after("2026-01", -1)
    ('2027-01', '2025-12')
    """
    year, number = divmod(int(month[:4]) * 12 + int(month[5:]) - 1 + months, 12)
    return f"{year:04d}-{number + 1:02d}"


def first_day(month: str) -> date:
    """Return the first day of a month.

    Source: calendar.

    >>> first_day("2026-03")
    datetime.date(2026, 3, 1)
    """
    return date.fromisoformat(f"{month}-01")


def due_times(month: str, zone: ZoneInfo, hours: Sequence[int] = EVERY_4_H) -> tuple[Due, ...]:
    """Return when the values of a month are due by the plant's clock: six a day, whatever the clock does.

    A clock time that the clocks jumped over is taken as if they had not, of one that happened twice the
    first counts. Source: 40 CFR 141.74(c)(1), representative samples every four hours; the hours are a
    setting.

    >>> [len(due_times(month, ZoneInfo("America/New_York"))) for month in ("2026-02", "2026-03", "2026-04")]
    [168, 186, 180]
    """
    clocks: list[datetime] = []
    day, after = first_day(month), first_day(month_after(month))
    while day < after:
        clocks += [datetime.combine(day, time(hour)) for hour in hours]
        day += timedelta(days=1)
    clocks.append(datetime.combine(after, time(hours[0])))
    instants = [clock.replace(tzinfo=zone).astimezone(UTC) for clock in clocks]
    return tuple(
        Due(clock, start, end) for clock, (start, end) in zip(clocks, pairwise(instants), strict=False)
    )


# ---------------------------------------------------------------- values every four hours


@dataclass(frozen=True, slots=True)
class Value4h:
    """What stands for one value that is due: its value, or why there is none."""

    due: Due
    state: State
    value: Decimal | None = None
    at: datetime | None = None
    why: str = ""


def spot_values(
    recordings: Sequence[Recording], dues: Sequence[Due], spans: Sequence[Span], within: timedelta
) -> tuple[Value4h, ...]:
    """Return the recording nearest to each due time, at most ``within`` away; else it is missing.

    What is due while the plant is off line is not expected; what falls into another span is left out.
    Recordings in rising time, marked with the same spans. Source: 40 CFR 141.74(c)(1); that the nearest
    recording stands for the moment is common practice, no source.

    >>> dues = due_times("2026-03", ZoneInfo("UTC"))[:1]
    >>> rows = [Recording(dues[0].start + timedelta(minutes=3), Decimal("0.06"))]
    >>> [str(one.value) for one in spot_values(rows, dues, [], timedelta(minutes=7))]
    ['0.06']
    """
    times = [one.at for one in recordings]
    return tuple(_spot(due, recordings, times, spans, within) for due in dues)


def _spot(
    due: Due,
    recordings: Sequence[Recording],
    times: Sequence[datetime],
    spans: Sequence[Span],
    within: timedelta,
) -> Value4h:
    over = sorted((span for span in spans if span.holds(due.start)), key=lambda one: not one.off_line)
    if over:
        return Value4h(due, "off line" if over[0].off_line else "left out", why=over[0].why)
    found = nearest(recordings, times, due.start, within)
    if found is None:
        return Value4h(due, "missing", why="no recording near it")
    if found.left_out:
        return Value4h(due, "off line" if found.off_line else "left out", why=found.left_out)
    if found.value is None:
        return Value4h(due, "missing", at=found.at, why="the recording holds no number")
    return Value4h(due, "recorded", found.value, found.at)


def window_values(
    recordings: Sequence[Recording],
    dues: Sequence[Due],
    spans: Sequence[Span],
    by: By,
    apart: timedelta,
    enough: Decimal = ENOUGH,
) -> tuple[Value4h, ...]:
    """Return the mean or the highest of what was recorded from each due time to before the next.

    Equation: mean = sum(x)/n, fixed two digits beyond the finest recorded. ``enough`` (0 to 1) is the share
    that must be there: fewer of the recordings of the time that counts, and it is missing; less of the time
    itself, as more than 1 - ``enough`` of it lies in ``spans``, and it is off line or left out. ``apart`` the
    usual time between recordings.
    Source: 40 CFR 141.74(c)(1); whether mean or highest stands for four hours is said by the State; the
    share is common practice, no source.

    >>> dues = due_times("2026-03", ZoneInfo("UTC"))[:1]
    >>> rows = [Recording(dues[0].start + timedelta(hours=n), Decimal(n)) for n in range(4)]
    >>> [str(window_values(rows, dues, [], by, timedelta(hours=1))[0].value) for by in ("mean", "highest")]
    ['1.50', '3']
    """
    times = [one.at for one in recordings]
    found = []
    for due in dues:
        inside = recordings[bisect_left(times, due.start) : bisect_left(times, due.end)]
        found.append(_out_of(due, spans, enough) or _window(due, inside, spans, by, apart, enough))
    return tuple(found)


def _covered(due: Due, spans: Iterable[Span]) -> timedelta:
    """How much of the time of a value lies in spans; what two of them share counts once."""
    total, reached = timedelta(), due.start
    for span in sorted(spans, key=lambda one: one.start):
        start, end = max(span.start, reached), min(span.end, due.end)
        if end > start:
            total, reached = total + (end - start), end
    return total


def _out_of(due: Due, spans: Sequence[Span], enough: Decimal) -> Value4h | None:
    """What stands where less than ``enough`` of the time of a value counts, None where as much does."""
    most = (due.end - due.start) * float(1 - enough)
    over = [span for span in spans if span.start < due.end and span.end > due.start]
    off = [span for span in over if span.off_line]
    if _covered(due, off) > most:
        return Value4h(due, "off line", why=off[0].why)
    if _covered(due, over) > most:
        return Value4h(due, "left out", why=next(span.why for span in over if not span.off_line))
    return None


def _window(
    due: Due, inside: Sequence[Recording], spans: Sequence[Span], by: By, apart: timedelta, enough: Decimal
) -> Value4h:
    counted = [(one.value, one.at) for one in inside if one.value is not None and one.counts]
    expected = max((due.end - due.start - _covered(due, spans)) // apart, 1)
    if not counted or len(counted) < enough * expected:
        return Value4h(due, "missing", why=f"{len(counted)} of {expected} recordings")
    if by == "highest":
        most, at = max(counted, key=lambda one: one[0])
        return Value4h(due, "recorded", most, at)
    values = [value for value, _ in counted]
    finest = min(int(value.as_tuple().exponent) for value in values)
    mean = (sum(values, Decimal(0)) / len(values)).quantize(Decimal(1).scaleb(finest - 2))
    return Value4h(due, "recorded", mean)


@dataclass(frozen=True, slots=True)
class Taken:
    """A sample taken by hand in place of the analyzer."""

    at: datetime
    value: Decimal
    source: str = ""


def with_grabs(
    values: Sequence[Value4h], grabs: Iterable[Taken], within: timedelta = FOUR_HOURS / 2
) -> tuple[Value4h, ...]:
    """Return the values with those that are missing or left out replaced by grabs, the closest pairs first.

    A grab stands for one due time only, at most ``within`` away; what was recorded stays. Source: 40 CFR
    141.174(b) and 141.561, grabs every four hours while a monitor is out of service.

    >>> due = due_times("2026-03", ZoneInfo("UTC"))[0]
    >>> grab = Taken(due.start + timedelta(minutes=20), Decimal("0.11"))
    >>> with_grabs([Value4h(due, "missing")], [grab])[0].state
    'grab'
    """
    found, taken = list(values), sorted(grabs, key=lambda one: one.at)
    empty = [n for n, one in enumerate(found) if one.state in ("missing", "left out")]
    near = [(abs(found[n].due.start - grab.at), g, n) for g, grab in enumerate(taken) for n in empty]
    used: set[int] = set()
    for _, g, n in sorted(one for one in near if one[0] <= within):
        if g not in used and found[n].state != "grab":
            used.add(g)
            why = taken[g].source or found[n].why
            found[n] = replace(found[n], state="grab", value=taken[g].value, at=taken[g].at, why=why)
    return tuple(found)


def to_digits_of(limit: Decimal, value: Decimal) -> Decimal:
    """Return a value rounded to the digits of its limit, a half up.

    Source: reporting to the digits of the limit as EPA practice (from memory); whether it is done is a
    setting.

    >>> [str(to_digits_of(Decimal("0.3"), Decimal(text))) for text in ("0.34", "0.349", "0.35")]
    ['0.3', '0.3', '0.4']
    """
    return value.quantize(Decimal(1).scaleb(int(limit.as_tuple().exponent)), rounding=ROUND_HALF_UP)


def exceeds(value: Decimal, limit: Decimal, *, rounded: bool = False) -> bool:
    """Return whether a value exceeds a limit: strictly greater, where wanted after rounding to its digits.

    Both in one unit. Source: 40 CFR 141.173(a), "less than or equal to 0.3 NTU in at least 95 percent".

    >>> exceeds(Decimal("0.34"), Decimal("0.3")), exceeds(Decimal("0.34"), Decimal("0.3"), rounded=True)
    (True, False)
    """
    return (to_digits_of(limit, value) if rounded else value) > limit


def percent_text(within: int, count: int, limit: Decimal) -> str:
    """Return the percentage of values within a limit with two places, more where two would hide the verdict.

    Equation: 100 within/count, rounded half to even. ``limit`` the least percentage. Raises ValueError
    without a value. Source: 40 CFR 141.173(a)(1), 141.551(a)(1).

    >>> percent_text(171, 180, Decimal(95)), percent_text(170, 180, Decimal(95))
    ('95.00', '94.44')
    """
    if count < 1:
        raise ValueError("a percentage needs at least one value")
    exact = Decimal(100 * within) / count
    for places in range(2, 20):
        shown = exact.quantize(Decimal(1).scaleb(-places))
        if (shown >= limit) == (100 * within >= limit * count):
            break
    return f"{shown:f}"


# ---------------------------------------------------------------- what follows


def report_due(month: str) -> date:
    """Return the day by which a month is reported: the tenth of the next.

    Source: 40 CFR 141.175 (within 10 days after the end of the month), 141.570 (the 10th of the following
    month).

    >>> report_due("2026-12")
    datetime.date(2027, 1, 10)
    """
    return first_day(month_after(month)).replace(day=10)
