"""What an outage says in sentences: on the page, over the radio, to later records; which clocks run on it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from wqverify.calculations.outage import grabs_a_day, minutes_between, whole_days
from wqverify.procedures import beside as b
from wqverify.procedures.outage_case import (
    Case,
    Duty,
    case_of,
    clipped,
    day_words,
    due_at,
    duration,
    duties,
    end_of,
    gaps_of,
    last_day,
    longest,
    low_spells,
    made,
    next_grab,
    stamp,
)
from wqverify.procedures.outage_checks import (
    CALIBRATION,
    last_calibration,
)
from wqverify.procedures.outage_rules import (
    PEOPLE_SOURCE,
    by_people,
    calibration_days,
    counts_calibration,
    grabs_tolerance,
    instant,
    not_back,
    people_served,
    repair_time,
    residual_limit,
)
from wqverify.procedures.outage_sheet import OutageSheet
from wqverify.terms import Given, Raw, RunningClock, Slices, due_facts


def facts(case: Case) -> dict[str, str]:
    """Return what later records are told of an outage: from when to when, its grabs, what it answers.

    ``outage.grabs`` holds "2026-03-12T08:00-04:00 0.11; ...", "<" before a result below detection.
    """
    told = {"verifies": "no", "told.verifies": _verifies(case)}
    if case.failed is not None:
        told["outage.from"] = case.failed.isoformat(timespec="minutes")
        if case.back is not None:
            told["outage.until"] = case.back.isoformat(timespec="minutes")
        if case.taken:
            told["outage.grabs"] = "; ".join(
                f"{one.at.isoformat(timespec='minutes')} {'<' if one.below else ''}{one.value:f}"
                for one in case.taken
            )
        told["told.work"] = told["told.duties"] = " ".join((*in_short(case), *still_open(case)))
        told |= due_facts(case.sheet.failed.record or told["outage.from"], _clocks(case))
        # What opened it stays open while it is out, whatever is signed meanwhile.
        if case.back is None:
            told["answers"] = ""
        elif case.sheet.failed.record:
            told["answers"] = case.sheet.failed.record
    return told


def _verifies(case: Case) -> str:
    if case.cited is not None:
        return f"This verifies no analyzer: record {case.cited.number} does, which returned it to service."
    return "This verifies no analyzer: a check that returns it to service is still due."


def in_short(case: Case) -> Iterator[str]:
    """Say an outage in three sentences: how long, which grabs, by when it had to be back."""
    assert case.failed is not None
    length = duration(minutes_between(case.failed, max(case.end, case.failed)))
    if case.back is not None:
        yield f"It was out from {stamp(case.failed)} to {stamp(case.back)}, {length}."
    else:
        why = f": {not_back(case.sheet).rstrip('.')}" if not_back(case.sheet) else ""
        yield f"It is out since {stamp(case.failed)} and not back{why}."
    worst, count = longest(gaps_of(case)), len(case.taken)
    if worst is not None:
        grabs = "1 grab was" if count == 1 else f"{count or 'No'} grabs were"
        yield f"{grabs} taken; the longest time without one was {duration(worst.minutes)}."
    last, repair = last_day(case), repair_time(case.given)
    if last is not None and repair is not None:
        yield f"The last permitted day {'was' if case.back else 'is'} {day_words(last)} ({repair.words})."


# ---------------------------------------------------------------- what is still open


def still_open(case: Case) -> Iterator[str]:
    """Say what is left to do: the next grab, the return, notices that are not made."""
    if case.back is None and case.failed is not None:
        due = next_due(case)
        if due is not None:
            yield f"Next grab due by {stamp(due)}."
        last = last_day(case)
        yield (
            f"Back in service by {day_words(last)}."
            if last is not None
            else "Back in service: no day is known."
        )
    for duty in duties(case):
        if made(duty, case) is None:
            yield f"{by_when(duty, case)}."


def by_when(duty: Duty, case: Case) -> str:
    """Say what the State is told and by when."""
    verb = "Consult the State" if duty.minutes is not None else "Tell the State"
    return f"{verb} {duty.words}, by {stamp(due_at(duty, case))}"


def next_due(case: Case) -> datetime | None:
    """Return when the next grab is due by the schedule of the sheet; None where it is back."""
    if case.back is not None or case.failed is None:
        return None
    limit = residual_limit(case.given)
    low = low_spells(case, limit) if limit is not None else ()
    if not by_people(case.sheet) or (low and low[-1].until is None):
        most = grabs_tolerance(case.given).high
        return next_grab(case, int(most)) if most is not None else None
    wanted = grabs_a_day(people_served(case.given) or 1)
    day = case.local(case.failed).date()
    counts = [one.at.date() for one in case.taken]
    while True:
        day += timedelta(days=1)
        if counts.count(day) < wanted:
            return end_of(day, case)


def overdue(case: Case) -> Iterator[str]:
    """Name each time without a grab that was too long."""
    most = grabs_tolerance(case.given).high
    limit = residual_limit(case.given)
    if by_people(case.sheet):
        yield from _short_days(case)
        found = [gap for spell in (low_spells(case, limit) if limit else ()) for gap in clipped(case, spell)]
    else:
        found = list(gaps_of(case))
    for gap in found:
        if most is not None and gap.minutes > most:
            stopped = (
                " without its standstills" if gap.minutes < minutes_between(gap.since, gap.until) else ""
            )
            yield (
                f"No grab from {stamp(gap.since)} to {stamp(gap.until)}: {duration(gap.minutes)}{stopped}, "
                f"{duration(gap.minutes - int(most))} too long."
            )


def _short_days(case: Case) -> Iterator[str]:
    wanted = grabs_a_day(people_served(case.given) or 1)
    for day in whole_days(case.failed, case.local(case.end)) if case.failed is not None else ():
        count = len({one.at for one in case.taken if one.at.date() == day})
        if count < wanted:
            yield f"On {day_words(day)} {count} of {wanted} grabs were taken."


# ---------------------------------------------------------------- clocks


NEXT_RECORD = "the next record of this outage"


def clocks(raw: Raw, given: Given, _slices: Slices) -> tuple[RunningClock, ...]:
    """Return the clocks that run on a sheet as far as it is typed."""
    case = case_of(b.so_far(OutageSheet, raw), given)
    return tuple(_clocks(case)) if case.failed is not None else ()


def _clocks(case: Case) -> Iterator[RunningClock]:
    due = next_due(case)
    if due is not None:
        source = PEOPLE_SOURCE if by_people(case.sheet) else grabs_tolerance(case.given).source
        yield RunningClock("next grab", _iso(due), source, key="next_grab", only_by=NEXT_RECORD)
    last, repair = last_day(case), repair_time(case.given)
    if last is not None and repair is not None:
        done = case.back is not None
        what = f"back in service ({repair.words})"
        yield RunningClock(
            what, _iso(end_of(last, case)), repair.source, done, "back_in_service", only_by=NEXT_RECORD
        )
    for duty in duties(case):
        told = made(duty, case) is not None
        yield RunningClock(
            by_when(duty, case).partition(", by ")[0],
            _iso(due_at(duty, case)),
            duty.source,
            told,
            f"{duty.key.partition('_')[0]}.{_iso(duty.since)}",
            _iso(duty.since),
        )
    yield from _calibrations(case)


def _calibrations(case: Case) -> Iterator[RunningClock]:
    """A chlorine monitor without an approved protocol: every five days.

    From its return on the check that returned it counts, and those that follow it, due by themselves.
    """
    days, source = calibration_days(case.given)
    if not counts_calibration(case.given):
        return
    back = case.cited if case.back is not None else None
    since = back.performed if back is not None and back.procedure == CALIBRATION else ""
    last = last_calibration(case)
    since = since or (last.performed if last is not None else "")
    if since:
        day = case.local(instant(since)).date() + timedelta(days=days)
        what = f"calibration with a grab, {days} days after {since[:10]}"
        over = case.back is not None
        at = _iso(end_of(day, case))
        yield RunningClock(what, at, source, over, "calibration", only_by="the calibration itself")


def _iso(moment: datetime) -> str:
    return moment.isoformat(timespec="minutes")
