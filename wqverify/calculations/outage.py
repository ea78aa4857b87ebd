"""The calendar of an outage: business days, working days, times between grabs, how long a value stayed low.

Moments carry their offset, so that a difference is a true length of time, also where the clocks are changed.
Days are days of the plant's own clock.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

SATURDAY = 5
SMALL_SYSTEM = 3300  # people served, at most, where grabs may stand for continuous monitoring for good
_GRABS_A_DAY = ((500, 1), (1000, 2), (2500, 3), (SMALL_SYSTEM, 4))
Stretch = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class Gap:
    """The time from one grab to the next; ``minutes`` counts what of it asked for grabs."""

    since: datetime
    until: datetime
    minutes: int


@dataclass(frozen=True, slots=True)
class Spell:
    """A run of samples beyond a limit: the first and the last of them, and the first that was not beyond.

    ``until`` is None where no such sample followed; ``minutes`` then runs to the last moment that is known.
    """

    since: datetime
    last: datetime
    until: datetime | None
    minutes: int


# ---------------------------------------------------------------- days


def is_working_day(day: date, holidays: Collection[date] = ()) -> bool:
    """Return whether a day is a working day: Monday to Friday and no holiday.

    ``holidays`` are the plant's own. Source: common practice; 40 CFR 141.74(c)(2) says "working days" and
    141.75(b)(3) "business day" without a definition.

    >>> is_working_day(date(2026, 3, 13)), is_working_day(date(2026, 3, 14))
    (True, False)
    >>> is_working_day(date(2026, 3, 13), {date(2026, 3, 13)})
    False
    """
    return day.weekday() < SATURDAY and day not in holidays


def working_days_after(day: date, holidays: Collection[date] = ()) -> Iterator[date]:
    """Give the working days after a day, one after the other; the day itself is not counted.

    Source: "following the failure", 40 CFR 141.74(c)(2) and 141.174(b); that the day of the failure is not
    counted is the reading of this project.

    >>> days = working_days_after(date(2026, 3, 13))
    >>> next(days).isoformat(), next(days).isoformat()
    ('2026-03-16', '2026-03-17')
    """
    while True:
        day += timedelta(days=1)
        if is_working_day(day, holidays):
            yield day


def nth_working_day(day: date, count: int, holidays: Collection[date] = ()) -> date:
    """Return the last of ``count`` working days after a day, ``count`` from 1.

    Equation: the count-th day after ``day`` that is a working day. Raises ValueError for a count below 1.
    Source: 40 CFR 141.74(c)(2) and 141.174(b), five working days following the failure.

    >>> nth_working_day(date(2026, 3, 11), 5).isoformat()
    '2026-03-18'
    """
    if count < 1:
        raise ValueError(f"{count} working days are none; at least 1 is needed")
    following = working_days_after(day, holidays)
    return [next(following) for _ in range(count)][-1]


def next_business_day(day: date, holidays: Collection[date] = ()) -> date:
    """Return the business day by whose end the State is told of what happened on a day.

    Source: 40 CFR 141.75(b)(3), end of the next business day.

    >>> next_business_day(date(2026, 3, 13)).isoformat()
    '2026-03-16'
    """
    return nth_working_day(day, 1, holidays)


def nth_day(day: date, count: int) -> date:
    """Return the last of ``count`` days after a day, ``count`` from 1, whatever days these are.

    Raises ValueError for a count below 1. Source: 40 CFR 141.561, 14 days to resume.

    >>> nth_day(date(2026, 12, 24), 14).isoformat()
    '2027-01-07'
    """
    if count < 1:
        raise ValueError(f"{count} days are none; at least 1 is needed")
    return day + timedelta(days=count)


def whole_days(start: datetime, end: datetime) -> list[date]:
    """Return the days that lie between two moments wholly: neither that of the first nor that of the second.

    Both on the clock of the plant. Source: common practice, no source; a count a day is of a whole day.

    >>> from datetime import UTC
    >>> first, last = (datetime(2026, 3, day, 8, tzinfo=UTC) for day in (12, 15))
    >>> [day.day for day in whole_days(first, last)]
    [13, 14]
    """
    count = (end.date() - start.date()).days
    return [start.date() + timedelta(days=n) for n in range(1, count)]


# ---------------------------------------------------------------- lengths of time


def minutes_between(start: datetime, end: datetime) -> int:
    """Return the whole minutes that passed between two moments with their offsets.

    Equation: t2 - t1 in true time, so that a night with changed clocks is an hour shorter or longer. Source:
    ISO 8601 offsets; the rules speak of hours, not of clock readings.

    >>> minutes_between(
    ...     datetime.fromisoformat("2026-03-08T01:30-05:00"), datetime.fromisoformat("2026-03-08T06:30-04:00")
    ... )
    240
    """
    return int((end - start).total_seconds() // 60)


def gaps(
    start: datetime, grabs: Sequence[datetime], end: datetime, stopped: Sequence[Stretch] = ()
) -> tuple[Gap, ...]:
    """Return the times between grabs: from the failure to the first, between them, from the last to the end.

    Equation: t(i+1) - t(i) less what of it lies in a stretch in which no water was made, in min. ``grabs`` in
    any order; those outside start and end are no substitute and are left out. Source: 40 CFR 141.74(c)(2),
    141.174(b), 141.561, 141.403(b)(3)(i)(A): every four hours; that a standstill asks for no grab is common
    practice, no source.

    >>> from datetime import UTC
    >>> at = [datetime(2026, 3, 12, hour, tzinfo=UTC) for hour in (8, 12, 17)]
    >>> [gap.minutes for gap in gaps(at[0], [at[1]], at[2])]
    [240, 300]
    """
    inside = sorted({grab for grab in grabs if start <= grab <= end})
    marks = [start, *inside, end]
    return tuple(Gap(a, b, minutes_between(a, b) - _stopped(a, b, stopped)) for a, b in pairwise(marks))


def _stopped(start: datetime, end: datetime, stopped: Sequence[Stretch]) -> int:
    """The minutes of a stretch in which nothing ran; what two of them share counts once."""
    total, reached = 0, start
    for since, until in sorted(stopped):
        begins, ends = max(since, reached), min(until, end)
        if begins < ends:
            total += minutes_between(begins, ends)
            reached = ends
    return total


def spells(samples: Sequence[tuple[datetime, bool]], end: datetime) -> tuple[Spell, ...]:
    """Return the runs of samples beyond a limit, each until the first sample that is not.

    Equation: t(first not beyond) - t(first beyond), in min. ``samples`` are (moment, beyond the limit) in
    rising time. Between two samples nothing is known: the true time may be shorter or longer by one interval.
    Source: 40 CFR 141.72 and 141.74(c)(2), more than 4 hours; counted on samples by this project.

    >>> from datetime import UTC
    >>> at = [datetime(2026, 3, 12, hour, tzinfo=UTC) for hour in (2, 6, 10)]
    >>> [spell.minutes for spell in spells(list(zip(at, (True, True, False))), at[2])]
    [480]
    """
    found: list[Spell] = []
    run: list[datetime] = []
    for moment, beyond in samples:
        if beyond:
            run.append(moment)
        elif run:
            found.append(Spell(run[0], run[-1], moment, minutes_between(run[0], moment)))
            run = []
    if run:
        found.append(Spell(run[0], run[-1], None, minutes_between(run[0], max(end, run[-1]))))
    return tuple(found)


# ---------------------------------------------------------------- small systems


def grabs_a_day(people: int) -> int:
    """Return how many grabs a day a small system may take for good in place of continuous monitoring.

    1 up to 500 people served, 2 up to 1000, 3 up to 2500, 4 up to 3300. Raises ValueError for no people and
    for more than 3300. Source: 40 CFR 141.74(c)(2), table.

    >>> [grabs_a_day(people) for people in (500, 501, 1000, 1001, 2800)]
    [1, 2, 2, 3, 4]
    """
    if not 1 <= people <= SMALL_SYSTEM:
        raise ValueError(f"{people} people served is not within 1 to {SMALL_SYSTEM}")
    return next(grabs for most, grabs in _GRABS_A_DAY if people <= most)
