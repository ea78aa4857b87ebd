"""What stands beside the questions of an outage: the next grab, the last day, who is told by when."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from wqverify.procedures import beside as b
from wqverify.procedures.outage_case import (
    Case,
    case_of,
    day_words,
    duties,
    last_day,
    made,
    stamp,
)
from wqverify.procedures.outage_checks import left_of
from wqverify.procedures.outage_rules import (
    DAYS,
    WORKING_DAYS,
    Limit,
    consult_limit,
    grabs_tolerance,
    notice_limit,
    repair_time,
    residual_limit,
    whose_effluent,
)
from wqverify.procedures.outage_sheet import OutageSheet
from wqverify.procedures.outage_told import by_when, next_due, overdue, still_open
from wqverify.terms import Beside, Given, Outcome, Raw


def _case(raw: Raw, given: Given) -> Case:
    return case_of(b.so_far(OutageSheet, raw), given)


@b.quiet
def grab_due(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside a grab and "another grab?": when it is due, the last permitted day, what was missed."""
    case = _case(raw, given)
    due, source = next_due(case), grabs_tolerance(given).source
    first = f"next grab due by {stamp(due)} ({source})" if due is not None else ""
    return Beside(b.told(first, _last_day(case), list(_missed(case)), list(_notices(case))))


def _last_day(case: Case) -> str:
    last, repair = last_day(case), repair_time(case.given)
    if repair is None:
        return (
            f"by when it must be back is not known: enter {WORKING_DAYS} or {DAYS} for "
            f"{case.given.analyzer.tag} "
            f"in analyzers.toml"
        )
    if last is None:
        return ""
    return f"last permitted day: {day_words(last)} ({repair.words} after the failure, {repair.source})"


def _missed(case: Case) -> Iterator[str]:
    if case.taken or case.back is not None:
        found = list(overdue(case))
        yield from found[-2:]
        if len(found) > 2:
            yield f"{len(found) - 2} earlier ones were too late as well"


def _notices(case: Case) -> Iterator[str]:
    for duty in duties(case):
        if made(duty, case) is None:
            yield f"{by_when(duty, case)} ({duty.source})"


@b.quiet
def result(raw: Raw, path: str, given: Given) -> Beside:
    """Beside a result: beyond which value somebody is told."""
    low, high, notice = residual_limit(given), consult_limit(given), notice_limit(given)
    unit = given.analyzer.unit
    lines = []
    if low is not None:
        lines.append(
            f"below {low.value} {unit}: tell the State by the end of the next business day, and again "
            "whether it "
            f"was restored within 4 h"
        )
    if high is not None:
        lines.append(f"above {high.value} {unit}: consult the State within 24 h")
    if notice is not None:
        where = ", where it is of the combined effluent" if whose_effluent(given) else ""
        lines.insert(
            0,
            f"above {notice.value} {unit}: tell the State by the end of the next business day{where} "
            f"({notice.source})",
        )
    least = min((one for one in (high, notice) if one is not None), key=lambda one: one.value, default=None)
    return Beside(b.told(lines, _beyond(raw, path, given, low, least)))


def _beyond(raw: Raw, path: str, given: Given, low: Limit | None, high: Limit | None) -> str:
    """Say of a result that is typed already that it is beyond."""
    typed = str(b.at(raw, path) or "").split(" ")[0].lstrip("<")
    value = Decimal(typed) if typed else None
    beyond = value is not None and (
        (low is not None and value < low.value) or (high is not None and value > high.value)
    )
    return f"this one is: {typed} {given.analyzer.unit}" if beyond else ""


@b.quiet
def notice(raw: Raw, path: str, given: Given) -> Beside:
    """Beside a notice: which are due and by when."""
    case = _case(raw, given)
    due = [duty for duty in duties(case) if made(duty, case) is None]
    lines = [f"{by_when(duty, case)} ({duty.source})" for duty in due]
    lines = lines or ["no notice is due by the figures entered here; the State or a permit may ask for more"]
    return Beside(b.told(lines), offers=("yes" if due else "no",) if path == "notice" else ())


@b.quiet
def returned(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the check that returns it: what it has to be, and what the one that is named came to."""
    case = _case(raw, given)
    named = given.records.get(str(b.at(raw, path) or ""))
    lines = ["a check of this analyzer after the failure that passed as left"]
    if named is not None:
        stage, found = left_of(named.checks)
        wrong = [check.label for check in found if check.outcome is not Outcome.PASS]
        says = (
            f"{stage} it passed"
            if found and not wrong
            else f"{stage or 'as left'} it did not: {', '.join(wrong)}"
        )
        lines.append(f"{named.number}, {named.procedure.replace('_', ' ')}: {says}")
    return Beside(b.told(lines, _last_day(case), list(still_open(case))[:2]))


BESIDE = {
    "next_grab": grab_due,
    "result": result,
    "notice": notice,
    "returned": returned,
}
