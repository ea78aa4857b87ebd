"""What is known of an outage: its times, its grabs in order, who had to be told of what by when."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from wqverify.calculations.outage import (
    Gap,
    Spell,
    Stretch,
    gaps,
    nth_day,
    nth_working_day,
    spells,
)
from wqverify.procedures.outage_refused import is_back
from wqverify.procedures.outage_rules import (
    CONSULT_MIN,
    CONSULT_SOURCE,
    GROUND_NOTICE_SOURCE,
    LOW_NOTICE_SOURCE,
    Limit,
    consult_limit,
    instant,
    is_ground_water,
    low_tolerance,
    notice_days,
    notice_limit,
    repair_time,
    residual_limit,
    whose_effluent,
)
from wqverify.procedures.outage_sheet import About, Notice, OutageSheet, Returned
from wqverify.procedures.rules import holidays
from wqverify.terms import Cited, Given


@dataclass(frozen=True, slots=True)
class Sample:
    """A value of the water by hand: the number of its grab, 0 for the display as it went back."""

    number: int
    at: datetime
    text: str
    value: Decimal
    below: bool  # less than the value
    known: datetime  # when it was analysed


@dataclass(frozen=True, slots=True)
class Case:
    """One outage as far as it is typed; ``failed`` is None while nobody has said when."""

    sheet: OutageSheet
    given: Given
    failed: datetime | None
    back: datetime | None
    as_of: datetime  # the latest time on the sheet
    samples: tuple[Sample, ...]
    stopped: tuple[Stretch, ...]

    @property
    def end(self) -> datetime:
        """Until when grabs were due: the return, else the latest time on the sheet."""
        return self.back or self.as_of

    @property
    def taken(self) -> tuple[Sample, ...]:
        """The grabs from the failure to the end."""
        since = self.failed or self.end
        return tuple(one for one in self.samples if since <= one.at <= self.end)

    @property
    def cited(self) -> Cited | None:
        """The record that returned it to service."""
        returned = self.sheet.returned
        return self.given.records.get(returned.record) if isinstance(returned, Returned) else None

    def local(self, moment: datetime) -> datetime:
        """Return a moment on the clock of the plant."""
        return moment.astimezone(ZoneInfo(self.given.site.time_zone))


def case_of(sheet: OutageSheet, given: Given) -> Case:
    """Return what is known of an outage."""
    times = {path: instant(iso) for path, iso in given.times.items()}
    work = [at for path, at in times.items() if not path.startswith("copied_from_paper")]
    as_of = max(work, default=datetime.fromisoformat("1970-01-01T00:00+00:00"))
    back = times.get("returned.at") if is_back(sheet, given) else None
    return Case(
        sheet,
        given,
        times.get("failed.at"),
        back,
        as_of,
        tuple(sorted(_samples(sheet, times), key=lambda one: (one.at, one.number))),
        tuple(_stopped(sheet, times, back or as_of)),
    )


def _samples(sheet: OutageSheet, times: dict[str, datetime]) -> Iterator[Sample]:
    for n, grab in enumerate(sheet.grab):
        at = times.get(f"grab.{n}.collected")
        if at is not None:
            known = times.get(f"grab.{n}.analysed", at)
            yield Sample(n + 1, at, grab.result, grab.lab.value, grab.lab.below, known)


def _stopped(sheet: OutageSheet, times: dict[str, datetime], end: datetime) -> Iterator[Stretch]:
    for n in range(len(sheet.standstill)):
        since, until = times.get(f"standstill.{n}.since"), times.get(f"standstill.{n}.until", end)
        if since is not None:
            yield since, until


# ---------------------------------------------------------------- grabs


def gaps_of(case: Case) -> tuple[Gap, ...]:
    """Return the times between grabs, from the failure to the end."""
    if case.failed is None:
        return ()
    return gaps(case.failed, [one.at for one in case.taken], max(case.end, case.failed), case.stopped)


def clipped(case: Case, spell: Spell) -> tuple[Gap, ...]:
    """Return the times between grabs within a run of low ones, until the first that was not."""
    until = spell.until or case.end
    return gaps(spell.since, [one.at for one in case.taken], max(until, spell.since), case.stopped)


def longest(found: Sequence[Gap]) -> Gap | None:
    """Return the longest of several times; of equal ones the first."""
    return max(found, key=lambda gap: gap.minutes, default=None)


def next_grab(case: Case, minutes: int) -> datetime | None:
    """Return when the next grab is due, on the clock of the plant; None where it is back.

    While it stands still the time does not run: it goes on where the standstill ends; what two standstills
    share counts once.
    """
    if case.failed is None or case.back is not None:
        return None
    last = max([case.failed, *(one.at for one in case.taken)])
    due = last + timedelta(minutes=minutes)
    reached = last
    for since, until in sorted(case.stopped):
        begins = max(since, reached)
        if begins < due and until > begins:
            due, reached = due + (until - begins), until
    return case.local(due)


# ---------------------------------------------------------------- values beyond a limit


def low_spells(case: Case, limit: Limit) -> tuple[Spell, ...]:
    """Return the runs of grabs below the residual limit; the display as it went back ends one too."""
    points = [(one.at, _is_low(one, limit)) for one in (*case.taken, *_as_it_went_back(case))]
    return spells(_worst(points), case.end)


def high_spells(case: Case, limit: Limit) -> tuple[Spell, ...]:
    """Return the runs of grabs above a turbidity."""
    points = [(one.at, one.value > limit.value and not one.below) for one in case.taken]
    return spells(_worst(points), case.end)


def _worst(points: list[tuple[datetime, bool]]) -> list[tuple[datetime, bool]]:
    """Return one point a moment: of two grabs of one minute the one beyond the limit counts."""
    beyond: dict[datetime, bool] = {}
    for at, is_beyond in points:
        beyond[at] = beyond.get(at, False) or is_beyond
    return list(beyond.items())


def _is_low(one: Sample, limit: Limit) -> bool:
    return one.value <= limit.value if one.below else one.value < limit.value


def _as_it_went_back(case: Case) -> Iterator[Sample]:
    returned = case.sheet.returned
    if isinstance(returned, Returned) and returned.shown is not None and case.back is not None:
        yield Sample(0, case.back, returned.shown.text, returned.shown.value, False, case.back)


def cannot_tell(case: Case, limit: Limit) -> Sample | None:
    """Return the first grab that is less than a number above the limit: it may lie on either side."""
    return next((one for one in case.taken if one.below and one.value > limit.value), None)


# ---------------------------------------------------------------- days


def last_day(case: Case) -> date | None:
    """Return the last day on which it may come back, None where it is not known."""
    repair = repair_time(case.given)
    if repair is None or case.failed is None:
        return None
    failed = case.failed.date()
    if repair.working:
        return nth_working_day(failed, repair.count, holidays(case.given))
    return nth_day(failed, repair.count)


# ---------------------------------------------------------------- who is told of what by when


@dataclass(frozen=True, slots=True)
class Duty:
    """A notice that is due: of what, since when, by when; ``days`` or ``minutes`` is the time there is.

    ``unsure`` says what is not known of the plant, so that it may not be due.
    """

    key: str
    about: About
    words: str
    since: datetime
    source: str
    days: int | None = None
    minutes: int | None = None
    unsure: str = ""

    @property
    def due(self) -> date:
        """The day by whose end it is due."""
        return self.since.date() + timedelta(days=self.days or 0)


def duties(case: Case) -> tuple[Duty, ...]:
    """Return the notices that are due, in the order in which they came up by kind."""
    return tuple(_duties(case)) if case.failed is not None else ()


def _duties(case: Case) -> Iterator[Duty]:
    unit = case.given.analyzer.unit
    if (limit := residual_limit(case.given)) is not None:
        source = LOW_NOTICE_SOURCE
        ground = is_ground_water(case.given)
        for n, spell in enumerate(low_spells(case, limit), 1):
            if ground:
                yield from _of_ground_water(n, spell, limit, case)
                continue
            words = f"of a residual below {limit.value} {unit} at {stamp(spell.since)}"
            yield _by_business_day(f"low_{n}", "residual too low", words, spell.since, source, case)
            words = f"whether it was restored within 4 h after {stamp(spell.since)}"
            yield _by_business_day(
                f"restored_{n}", "residual restored or not", words, spell.since, source, case
            )
    if (limit := consult_limit(case.given)) is not None:
        for n, spell in enumerate(high_spells(case, limit), 1):
            words = f"about a turbidity above {limit.value} {unit} at {stamp(spell.since)}"
            yield Duty(
                f"consult_{n}",
                "turbidity too high",
                words,
                known_at(case, spell.since),
                CONSULT_SOURCE,
                minutes=CONSULT_MIN,
            )
    yield from _of_combined_effluent(case)
    if (asked := notice_days(case.given)) is not None:
        assert case.failed is not None
        count, source = asked
        words = f"of the monitor out of service since {stamp(case.failed)}"
        yield _by_business_day("outage", "monitor out of service", words, case.failed, source, case, count)


def _of_combined_effluent(case: Case) -> Iterator[Duty]:
    """Of a combined filter effluent the State is told; of a single filter another rule speaks."""
    limit, unsure = notice_limit(case.given), whose_effluent(case.given)
    if limit is None:
        return
    where = " where it is of the combined effluent" if unsure else ""
    for n, spell in enumerate(high_spells(case, limit), 1):
        words = (
            f"of a turbidity above {limit.value} {case.given.analyzer.unit} at {stamp(spell.since)}{where}"
        )
        duty = _by_business_day(
            f"turbidity_{n}", "turbidity too high", words, spell.since, limit.source, case
        )
        yield replace(duty, unsure=unsure)


def _of_ground_water(n: int, spell: Spell, limit: Limit, case: Case) -> Iterator[Duty]:
    """Of ground water the State is told where a residual was not restored within four hours."""
    most = low_tolerance(case.given).high
    if most is not None and spell.minutes > most:
        unit = case.given.analyzer.unit
        words = f"of a residual below {limit.value} {unit} from {stamp(spell.since)} for more than 4 h"
        yield _by_business_day(f"low_{n}", "residual too low", words, spell.since, GROUND_NOTICE_SOURCE, case)


def _by_business_day(
    key: str, about: About, words: str, since: datetime, source: str, case: Case, count: int = 1
) -> Duty:
    due = nth_working_day(since.date(), count, holidays(case.given))
    return Duty(key, about, words, since, source, days=(due - since.date()).days)


def known_at(case: Case, moment: datetime) -> datetime:
    """Return when the result of the grab of a moment was known."""
    return next((one.known for one in case.taken if one.at == moment), moment)


def made(duty: Duty, case: Case) -> tuple[Notice, datetime] | None:
    """Return the first notice of this kind from the moment on, None where there is none."""
    found = [
        (notice, instant(at))
        for n, notice in enumerate(case.sheet.notice)
        if notice.about == duty.about and (at := case.given.times.get(f"notice.{n}.at"))
    ]
    later = [one for one in found if one[1] >= duty.since]
    return min(later, key=lambda one: one[1], default=None)


def due_at(duty: Duty, case: Case) -> datetime:
    """Return the moment by which a notice is due: of a business day its last minute, by the plant's clock."""
    if duty.minutes is not None:
        return case.local(duty.since + timedelta(minutes=duty.minutes))
    return end_of(duty.due, case)


def end_of(day: date, case: Case) -> datetime:
    """Return the last minute of a day on the clock of the plant."""
    return datetime.combine(day, time(23, 59), ZoneInfo(case.given.site.time_zone))


# ---------------------------------------------------------------- in words


def stamp(moment: datetime) -> str:
    """Return a moment as it is read on the clock of the plant.

    >>> stamp(datetime.fromisoformat("2026-03-08T03:20-04:00"))
    '2026-03-08 03:20'
    """
    return f"{moment:%Y-%m-%d %H:%M}"


def day_words(day: date) -> str:
    """Return a day with its name.

    >>> day_words(date(2026, 3, 16))
    'Monday 2026-03-16'
    """
    return f"{day:%A} {day.isoformat()}"


def duration(minutes: int) -> str:
    """Return a length of time in words.

    >>> duration(255), duration(45), duration(240), duration(2 * 1440 + 65)
    ('4 h 15 min', '45 min', '4 h', '2 d 1 h 5 min')
    """
    days, rest = divmod(minutes, 24 * 60)
    hours, left = divmod(rest, 60)
    parts = ((days, "d"), (hours, "h"), (left, "min"))
    return " ".join(f"{count} {unit}" for count, unit in parts if count) or "0 min"
