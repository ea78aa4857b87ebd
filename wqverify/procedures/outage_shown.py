"""What an outage shows and does not judge: its length, its grabs in time, and the days counted by hand."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta

from wqverify.calculations.outage import is_working_day, minutes_between
from wqverify.procedures.outage_case import (
    Case,
    day_words,
    duration,
    duties,
    gaps_of,
    last_day,
    longest,
    low_spells,
    stamp,
)
from wqverify.procedures.outage_checks import STAGE
from wqverify.procedures.outage_rules import (
    consult_limit,
    grabs_tolerance,
    low_tolerance,
    notice_limit,
    repair_time,
    residual_limit,
)
from wqverify.procedures.rules import holidays
from wqverify.terms import Chart, Line, Quantity, Series, Value, Working


def values(case: Case) -> Iterator[Value]:
    """Give the length of the outage, the number of grabs, and the lowest and highest of them."""
    if case.failed is None:
        return
    minutes = minutes_between(case.failed, max(case.end, case.failed))
    yield Value("outage_min", STAGE, f"Out of service, {duration(minutes)}", _count(minutes, "min"))
    yield Value("grabs_taken", STAGE, "Grabs in its place", _count(len(case.taken), ""))
    known = [one for one in case.taken if not one.below]
    if known:
        unit = case.given.analyzer.unit
        for key, label, one in (
            ("lowest", "Lowest grab", min(known, key=lambda one: one.value)),
            ("highest", "Highest grab", max(known, key=lambda one: one.value)),
        ):
            quantity = Quantity(f"{one.value:f}", unit, float(one.value))
            yield Value(key, STAGE, f"{label}, {stamp(one.at)}", quantity)


def _count(number: int, unit: str) -> Quantity:
    return Quantity(str(number), unit, float(number))


# ---------------------------------------------------------------- by hand


def workings(case: Case) -> Iterator[Working]:
    """Give what a person with a calendar and a watch can follow."""
    if case.failed is None:
        return
    worst = longest(gaps_of(case))
    if worst is not None:
        stood = minutes_between(worst.since, worst.until) - worst.minutes
        less = f", less {duration(stood)} at a standstill" if stood else ""
        yield Working(
            "Longest time without a grab",
            "next grab − grab before, in elapsed time" + (" less standstill" if stood else ""),
            f"{_zoned(worst.since)} to {_zoned(worst.until)}{less}",
            f"{duration(worst.minutes)} = {worst.minutes} min",
            grabs_tolerance(case.given).source,
        )
    yield from _last_day(case)
    yield from _low(case)
    for duty in duties(case):
        if duty.days is not None:
            days = _days(duty.since.date(), duty.due, working=True, case=case)
            yield Working(
                f"State told {duty.words}, by when",
                "the business day after it" if duty.key != "outage" else "business days after it",
                days,
                f"end of {day_words(duty.due)}",
                duty.source,
            )


def _last_day(case: Case) -> Iterator[Working]:
    repair, last = repair_time(case.given), last_day(case)
    if repair is None or last is None or case.failed is None:
        return
    yield Working(
        "Last permitted day",
        f"{repair.words} after the day of the failure, which is not counted",
        _days(case.failed.date(), last, working=repair.working, case=case),
        day_words(last),
        repair.source,
    )


def _low(case: Case) -> Iterator[Working]:
    limit = residual_limit(case.given)
    for spell in low_spells(case, limit) if limit is not None else ():
        assert limit is not None
        until = _zoned(spell.until) if spell.until is not None else f"{_zoned(case.end)}, not restored"
        yield Working(
            f"Residual below {limit.value} {case.given.analyzer.unit}",
            "first value at or above the limit − first below it",
            f"{_zoned(spell.since)} to {until}",
            f"{duration(spell.minutes)} = {spell.minutes} min",
            low_tolerance(case.given).source,
        )


def _days(first: date, last: date, *, working: bool, case: Case) -> str:
    """Count days as on a calendar: "failed Thu 12; Fri 13 (1), Mon 16 (2)", holidays named."""
    days = [first + timedelta(days=n) for n in range(1, (last - first).days + 1)]
    off = holidays(case.given)
    counted = [day for day in days if not working or is_working_day(day, off)]
    shown = [f"{day:%a} {day.day} ({n})" for n, day in enumerate(counted, 1)]
    if len(shown) > 6:
        shown = [*shown[:3], "...", *shown[-2:]]
    free = [day.isoformat() for day in days if working and day in off and day.weekday() < 5]
    left = f"; holiday {', '.join(free)}" if free else ""
    return f"from {first:%a} {first.isoformat()}: {', '.join(shown)}{left}"


def _zoned(moment: datetime) -> str:
    iso = moment.isoformat(timespec="minutes")
    return f"{iso[:16].replace('T', ' ')} {iso[16:]}"


# ---------------------------------------------------------------- seen


def charts(case: Case) -> Iterator[Chart]:
    """Give the grabs in time, with the values beyond which somebody is told."""
    known = [one for one in case.taken if not one.below]
    if len(known) < 2:
        return
    unit = case.given.analyzer.unit
    points = tuple((one.at.isoformat(timespec="seconds"), f"{one.value:f}", "") for one in known)
    low = residual_limit(case.given)
    lines = []
    if low is not None:
        lines.append(Line(f"not below {low.value} {unit} for more than 4 h", f"{low.value:f}"))
    for verb, high in (("tell", notice_limit(case.given)), ("consult", consult_limit(case.given))):
        if high is not None and max(one.value for one in known) * 2 >= high.value:
            lines.append(Line(f"{verb} above {high.value} {unit}", f"{high.value:f}"))
    less = len(case.taken) - len(known)
    left = f"; {less} below detection not drawn" if less else ""
    title = f"Grabs in place of {case.given.analyzer.tag}{left}"
    y_label = f"{case.given.analyzer.measures}, {unit}"
    yield Chart("samples", title, "time", y_label, (Series("grab", points),), tuple(lines))
