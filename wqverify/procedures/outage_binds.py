"""The figures an outage goes by, as its blank prints them: of the rule, or as the register has them."""

from __future__ import annotations

from collections.abc import Iterator

from wqverify.calculations.outage import SMALL_SYSTEM, grabs_a_day
from wqverify.procedures.grab_sizes import holding_minutes, measurand_of
from wqverify.procedures.outage_case import duration
from wqverify.procedures.outage_rules import (
    CONSULT_MIN,
    CONSULT_SOURCE,
    GROUND_NOTICE_SOURCE,
    LOW_NOTICE_SOURCE,
    PEOPLE_SOURCE,
    calibration_days,
    consult_limit,
    counts_calibration,
    grabs_tolerance,
    is_chlorine,
    is_ground_water,
    keeps_residual,
    low_tolerance,
    no_repair_time,
    notice_days,
    notice_limit,
    people_served,
    repair_time,
    residual_limit,
    whose_effluent,
)
from wqverify.terms import Binding, Given

NEXT_DAY = "tell the State by the end of the next business day"


def binds(given: Given) -> tuple[Binding, ...]:
    """Return the figures of an outage of this analyzer."""
    return tuple(_binds(given))


def _binds(given: Given) -> Iterator[Binding]:
    yield from _grabs(given)
    repair = repair_time(given)
    if repair is None:
        yield Binding("back in service", "not known", no_repair_time(given))
    else:
        yield Binding("back in service", f"within {repair.words} after the failure", repair.source)
    yield from _residual(given)
    yield from _turbidity(given)
    if (count := notice_days(given)) is not None:
        words = f"tell the State within {count[0]} business {'day' if count[0] == 1 else 'days'}"
        yield Binding("monitor out of service", words, count[1])
    if counts_calibration(given):
        days, source = calibration_days(given)
        yield Binding("calibration with a grab", f"every {days} days", source)


def _grabs(given: Given) -> Iterator[Binding]:
    most = grabs_tolerance(given)
    if most.high is not None:
        yield Binding("a grab", f"every {_hours(int(most.high))}", most.source)
    people = people_served(given)
    if is_chlorine(given) and people is not None and people <= SMALL_SYSTEM and not is_ground_water(given):
        count = grabs_a_day(people)
        yield Binding("where the State agrees", f"{count} a day, {people} people served", PEOPLE_SOURCE)
    kept, source = holding_minutes(measurand_of(given.analyzer), given.analyzer.settings)
    if kept is not None:
        yield Binding("a grab is analysed", f"within {_hours(kept)}", source)


def _residual(given: Given) -> Iterator[Binding]:
    if not keeps_residual(given):
        return
    limit, most, unit = residual_limit(given), low_tolerance(given), given.analyzer.unit
    hours = _hours(int(most.high)) if most.high is not None else "?"
    if limit is None:
        words = f"not known, not below it for more than {hours}"
        yield Binding("residual set by the State", words, 'enter the setting "residual_limit"')
    else:
        yield Binding(f"residual below {limit.value} {unit}", f"no more than {hours}", most.source)
    if is_ground_water(given):
        yield Binding(f"below it for more than {hours}", NEXT_DAY, GROUND_NOTICE_SOURCE)
    elif limit is not None:
        words = f"{NEXT_DAY}, and again whether it was restored within 4 h"
        yield Binding(f"residual below {limit.value} {unit}", words, LOW_NOTICE_SOURCE)


def _turbidity(given: Given) -> Iterator[Binding]:
    unit, notice, consult = given.analyzer.unit, notice_limit(given), consult_limit(given)
    if notice is not None:
        where = ", where it is of the combined effluent" if whose_effluent(given) else ""
        yield Binding(f"above {notice.value} {unit}", f"{NEXT_DAY}{where}", notice.source)
    if consult is not None:
        within = f"consult the State within {_hours(CONSULT_MIN)}"
        yield Binding(f"above {consult.value} {unit}", within, CONSULT_SOURCE)


def _hours(minutes: int) -> str:
    """As the rules say it: 24 h and 48 h, not days."""
    return duration(minutes) if minutes % 60 else f"{minutes // 60} h"
