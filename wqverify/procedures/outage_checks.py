"""What of an outage is judged: grabs kept, back in time, by a check that passed, notices made in time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.calculations.outage import grabs_a_day, minutes_between, whole_days
from wqverify.procedures.outage_case import (
    Case,
    Duty,
    cannot_tell,
    clipped,
    day_words,
    due_at,
    duration,
    duties,
    gaps_of,
    last_day,
    longest,
    low_spells,
    made,
    stamp,
)
from wqverify.procedures.outage_rules import (
    PEOPLE_SOURCE,
    at_least,
    at_most,
    by_people,
    calibration_days,
    counts_calibration,
    grabs_tolerance,
    instant,
    keeps_residual,
    low_tolerance,
    most_days,
    no_repair_time,
    not_back,
    people_served,
    repair_time,
    residual_limit,
)
from wqverify.terms import Check, Earlier, Outcome, Quantity, Tolerance

STAGE = "duties"
CALIBRATION = "chlorine_check"
NOT_SAID = "when it failed is not entered"


def expected(case: Case) -> Iterator[str]:
    """Give the keys of the checks of an outage."""
    yield from (["grabs_a_day", "grabs_while_low"] if by_people(case.sheet) else ["grabs"])
    yield from ("back", "returned")
    if keeps_residual(case.given):
        yield "residual"
    yield from (duty.key for duty in duties(case))
    if counts_calibration(case.given):
        yield "grab_calibration"


def checks_of(case: Case) -> Iterator[Check]:
    """Give the checks of an outage."""
    if by_people(case.sheet):
        yield _a_day(case)
        yield _while_low(case)
    else:
        yield _grabs(case)
    yield _back(case)
    yield _returned(case)
    if keeps_residual(case.given):
        yield _residual(case)
    yield from (_notice(duty, case) for duty in duties(case))
    if counts_calibration(case.given):
        yield _calibration(case)


def _number(count: int, unit: str) -> Quantity:
    return Quantity(str(count), unit, float(count))


# ---------------------------------------------------------------- grabs


def _grabs(case: Case) -> Check:
    key, label = "grabs", f"Longest time without a grab, {len(case.taken)} taken"
    worst, tolerance = longest(gaps_of(case)), grabs_tolerance(case.given)
    if worst is None:
        return not_evaluated(key, STAGE, label, NOT_SAID, tolerance=tolerance)
    return judge(key, STAGE, label, _number(worst.minutes, "min"), tolerance)


def _a_day(case: Case) -> Check:
    people = people_served(case.given)
    assert people is not None  # refused without
    label = f"Fewest grabs on a whole day, {people} people served"
    tolerance = at_least(grabs_a_day(people), "grabs", PEOPLE_SOURCE)
    days = whole_days(case.failed, case.local(case.end)) if case.failed is not None else []
    if not days:
        reason = "no whole day lies between the failure and the return" if case.failed else NOT_SAID
        return not_evaluated("grabs_a_day", STAGE, label, reason, tolerance=tolerance)
    counts = [len({one.at for one in case.taken if one.at.date() == day}) for day in days]
    return judge("grabs_a_day", STAGE, label, _number(min(counts), "grabs"), tolerance)


def _while_low(case: Case) -> Check:
    """A system that takes a number a day takes one every four hours while its residual is too low."""
    label = "Longest time without a grab while the residual was too low"
    limit, tolerance = residual_limit(case.given), grabs_tolerance(case.given)
    low = low_spells(case, limit) if limit is not None else ()
    times = [gap.minutes for spell in low for gap in clipped(case, spell)]
    return judge("grabs_while_low", STAGE, label, _number(max(times, default=0), "min"), tolerance)


# ---------------------------------------------------------------- the way back


def _back(case: Case) -> Check:
    key, repair, last = "back", repair_time(case.given), last_day(case)
    if repair is None:
        return not_evaluated(key, STAGE, "Back within the repair time", no_repair_time(case.given))
    if case.failed is None or last is None:
        return not_evaluated(key, STAGE, "Back within the repair time", NOT_SAID)
    label = f"Days from the failure to the return; last permitted day {day_words(last)}"
    tolerance = most_days((last - case.failed.date()).days, repair)
    until = case.local(case.end).date()
    days = _number((until - case.failed.date()).days, "d")
    if case.back is None and until <= last:
        why = not_back(case.sheet) or "nothing is entered"
        reason = f"it was not back at {stamp(case.local(case.end))}: {why}"
        return not_evaluated(key, STAGE, label, reason, quantity=days, tolerance=tolerance)
    return judge(key, STAGE, label, days, tolerance)


def _returned(case: Case) -> Check:
    known = case.cited
    if case.back is None or known is None:
        why = not_back(case.sheet) or "no check is named"
        return not_evaluated("returned", STAGE, "Checks as left that did not pass", f"not returned: {why}")
    label = f"Checks as left that did not pass, record {known.number}"
    tolerance = at_most(
        0, "", "it returns by a check that passed; common practice, no source", "common practice"
    )
    stage, found = left_of(known.checks)
    wrong = [check for check in found if check.outcome is Outcome.FAIL]
    unclear = [check for check in found if check.outcome not in (Outcome.FAIL, Outcome.PASS)]
    if known.facts.get("verifies") == "no":
        reason = f"record {known.number} verifies nothing; name the check of its procedure"
    elif not found:
        reason = f"record {known.number} holds no check as left, nor one as found"
    elif unclear and not wrong:
        reason = f"{stage} of record {known.number}: {unclear[0].label}: {unclear[0].outcome}"
    else:
        return judge("returned", STAGE, label, _number(len(wrong), ""), tolerance)
    return not_evaluated("returned", STAGE, label, reason, tolerance=tolerance)


def left_of(checks: tuple[Check, ...]) -> tuple[str, list[Check]]:
    """Return the counting checks as left; where nothing was changed there are none, and as found counts."""
    for stage, words in (("as_left", "as left"), ("as_found", "as found")):
        found = [check for check in checks if check.stage == stage and check.counts]
        if found:
            return words, found
    return "", []


# ---------------------------------------------------------------- residual


def _residual(case: Case) -> Check:
    unit, tolerance, limit = case.given.analyzer.unit, low_tolerance(case.given), residual_limit(case.given)
    if limit is None:
        label = "Longest time with a residual below that set by the State"
        reason = (
            "the register does not say which residual the State set for this ground water: enter the setting "
            '"residual limit", with an underscore'
        )
        return not_evaluated("residual", STAGE, label, reason, tolerance=tolerance)
    label = f"Longest time with a residual below {limit.value} {unit}, by grabs"
    unknown = cannot_tell(case, limit)
    if case.failed is None or not case.taken:
        reason = "no grab is entered" if case.failed else NOT_SAID
    elif unknown is not None:
        reason = (
            f"grab {unknown.number} is {unknown.text}, which may lie on either side of {limit.value} {unit}"
        )
    else:
        times = [spell.minutes for spell in low_spells(case, limit)]
        return judge("residual", STAGE, label, _number(max(times, default=0), "min"), tolerance)
    return not_evaluated("residual", STAGE, label, reason, tolerance=tolerance)


# ---------------------------------------------------------------- notices


def _notice(duty: Duty, case: Case) -> Check:
    told, due = made(duty, case), due_at(duty, case)
    last = f"{duration(duty.minutes)} at most" if duty.minutes is not None else f"by {day_words(duty.due)}"
    verb = "consulted" if duty.minutes is not None else "told"
    label = f"State {verb} {duty.words}, {last}"
    until = told[1] if told is not None else case.as_of
    took, tolerance = _took(duty, case, until)
    if told is None and duty.unsure:
        return not_evaluated(duty.key, STAGE, label, duty.unsure, quantity=took, tolerance=tolerance)
    if told is None and case.as_of <= due:
        reason = f"no notice is entered; it is due by {stamp(due)}"
        return not_evaluated(duty.key, STAGE, label, reason, tolerance=tolerance)
    return judge(duty.key, STAGE, label, took, tolerance)


def _took(duty: Duty, case: Case, until: datetime) -> tuple[Quantity, Tolerance]:
    if duty.minutes is not None:
        return _number(minutes_between(duty.since, until), "min"), at_most(duty.minutes, "min", duty.source)
    days = (case.local(until).date() - duty.since.date()).days
    return _number(days, "d"), at_most(duty.days or 0, "d", duty.source)


# ---------------------------------------------------------------- calibration with a grab


def last_calibration(case: Case) -> Earlier | None:
    """Return the last check against grabs before the failure that came to a verdict."""
    opened = case.sheet.failed.record if case.failed is not None else None
    before = [
        one
        for one in case.given.earlier
        if one.procedure == CALIBRATION
        and one.number != opened
        and (case.failed is None or instant(one.performed) < case.failed)
        and set(one.outcomes.values()) - {str(Outcome.NOT_EVALUATED)}
    ]
    return max(before, key=lambda one: instant(one.performed), default=None)


def _calibration(case: Case) -> Check:
    key, label = "grab_calibration", "Days from the last calibration with a grab to the failure"
    most, source = calibration_days(case.given)
    tolerance = at_most(most, "d", source)
    last = last_calibration(case)
    if "approved_protocol" not in case.given.analyzer.settings:
        reason = (
            "the register does not say whether the State approved a protocol for it: enter the setting "
            '"approved '
            'protocol", with an underscore, 1 or 0'
        )
    elif case.failed is None:
        reason = NOT_SAID
    elif last is None:
        reason = "no check against grabs before the failure is in the book"
    else:
        days = (case.failed.date() - case.local(instant(last.performed)).date()).days
        return judge(key, STAGE, f"{label}, record {last.number}", _number(days, "d"), tolerance)
    return not_evaluated(key, STAGE, label, reason, tolerance=tolerance)
