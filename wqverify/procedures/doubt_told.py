"""What others are told of a doubt: the facts another procedure recomputes with, and what is said aloud."""

from __future__ import annotations

from collections.abc import Sequence

from wqverify.procedures.doubt_case import Case
from wqverify.procedures.doubt_decisions import Decision, changed
from wqverify.procedures.doubt_facts import points_as_text
from wqverify.procedures.doubt_notes import clock, span
from wqverify.procedures.doubt_rules import FACTS
from wqverify.procedures.doubt_series import stamp

LOOKS_BACK = "This verifies no analyzer: it looks back at what was recorded, and changes none of it."


def facts(case: Case, found: Sequence[Decision]) -> dict[str, str]:
    """Return the facts of a doubt; ``doubt_facts`` says how they are read."""
    told = {"verifies": "no", "touched": "no"}
    told |= {"told.verifies": LOOKS_BACK, **_period(case), **_model(case)}
    parts = sorted(
        (*span(case, n), row.decision) for n, row in enumerate(case.sheet.decided) if row.decision in FACTS
    )
    given = case.given
    told["doubt.decision"] = "; ".join(
        f"{stamp(start, given)} {stamp(end, given)} {what}" for start, end, what in parts
    )
    answers = {"answers": case.failed.number if _whole(case) else ""}  # else it stays asked for
    return {name: text for name, text in told.items() if text} | answers | _said(case, found)


def _whole(case: Case) -> bool:
    """Whether the decisions cover the whole period."""
    end = case.since
    for start, until in sorted(span(case, n) for n in range(len(case.sheet.decided))):
        if start > end:
            return False
        end = max(end, until)
    return bool(case.sheet.decided) and end >= case.until


def _period(case: Case) -> dict[str, str]:
    given = case.given
    return {
        "doubt.from": stamp(case.since, given),
        "doubt.until": stamp(case.until, given),
        "doubt.failed": case.failed.number,
        "doubt.last_good": case.good.number if case.good else "",
    }


def _model(case: Case) -> dict[str, str]:
    one = case.models.get((case.stated, 0))
    if one is None:
        return {}
    *fouling, drift = one.stages
    told = {
        "doubt.counted_from": stamp(one.since, case.given),
        "doubt.full_at": stamp(one.full, case.given),
        "doubt.step_at": stamp(one.step_at, case.given) if one.step_at is not None else "",
        "doubt.time_model": case.stated,
        "doubt.level_model": drift.level_model,
        "doubt.points": points_as_text(drift.end),
        "doubt.points_at_start": points_as_text(drift.start),
        "doubt.places": str(case.decimals),
        "doubt.unit": case.given.analyzer.unit,
        "doubt.expanded": "; ".join(error.expanded or "0" for error in case.taken),
    }
    if fouling:
        told["doubt.fouling_model"] = fouling[0].level_model
        told["doubt.fouling_points"] = points_as_text(fouling[0].end)
    return told


def _said(case: Case, found: Sequence[Decision]) -> dict[str, str]:
    """Give the sentences that are said aloud: what failed, what is in doubt, what decides otherwise."""
    since, until = clock(case, case.since), clock(case, case.until)
    found_by = f"Record {case.failed.number} found it out of tolerance."
    doubt = f"Values from {since} to {until} are in doubt."
    otherwise = []
    if any(one.corrected for one in found):
        count = len({row.row for one in found for row in changed(case, one)})
        few = {0: "no value decides", 1: "1 value decides"}.get(count, f"{count} values decide")
        otherwise.append(f"Without the error {few} otherwise.")
    decided = list(dict.fromkeys(row.decision for row in case.sheet.decided))
    otherwise.append(f"Decided: {', '.join(decided)}." if decided else "Nothing is decided yet.")
    outcome = " ".join(otherwise)
    return {
        "told.as_found": found_by,
        "told.work": f"{doubt} {outcome}",
        "told.as_recorded": f"{found_by} {doubt}",
        "told.corrected": outcome,
    }
