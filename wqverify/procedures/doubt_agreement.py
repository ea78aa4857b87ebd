"""What a doubt says of its decisions: in which direction it was wrong, how values were found, what agrees."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from wqverify.calculations.drift import corrected_value
from wqverify.calculations.judgement import judge
from wqverify.procedures.doubt_case import Case
from wqverify.procedures.doubt_decisions import Decision, changed
from wqverify.procedures.doubt_limits import judged_by
from wqverify.procedures.doubt_shown import MOST
from wqverify.terms import Check, Note, Outcome, Quantity


def directions(case: Case, found: Sequence[Decision]) -> Iterator[str]:
    """Say whether the error hid what the limit asks for: an error on the safe side harms otherwise."""
    model = case.models.get((case.stated, 0))
    if model is None:
        return
    sizes = {(one.limit.size, one.limit.direction) for one in found if one.limit is not None}
    for size, direction in sorted(sizes):
        error = Decimal(case.text(float(size - Decimal(float(corrected_value(model, model.full, size))))))
        if not error:
            continue
        unsafe = (error < 0) == (direction == "above")
        reads = "low" if error < 0 else "high"
        side = "in the unsafe direction" if unsafe else "on the safe side"
        unit = case.given.analyzer.unit
        yield f"Where it showed {size:f} {unit} it read {reads} by {abs(error):f} {unit} in the end: {side}."


def agreement(case: Case, found: Sequence[Decision], checks: Sequence[Check]) -> Iterator[Note]:
    """Say of each use how many values decide otherwise, and whether every model and the whole U agree."""
    by = {check.key: check for check in checks}
    for one in found:
        if not one.corrected or one.recorded is None or one.limit is None:
            continue
        rows = changed(case, one)
        sure = sum(1 for row in rows if row.sure)
        more = f", one line for each day as they are more than {MOST}" if len(rows) > MOST else ""
        told = (
            f"{one.title}: {len(one.recorded.bad)} beyond of {one.recorded.counted} as recorded; of the "
            f"values {sure} decide otherwise and {len(rows) - sure} only within the uncertainty{more}."
        )
        outcomes = {_outcome(one, way) for way in one.corrected}
        if len(outcomes) == 1 and by[f"corrected.{one.key}"].outcome is not Outcome.TOO_CLOSE:
            yield Note("statement", f"{told} Every model in time and the whole U give the same.")
            continue
        yield Note("statement", told)
        yield Note(
            "advice",
            f"{one.title}: the models in time or U do not all give the same; where it is notified, treat it "
            f"as exceeded.",
            "common practice",
        )


def every_4_h(found: Sequence[Decision]) -> Iterator[str]:
    """Say how values every 4 h were found: as those of a month are."""
    for one in found:
        if one.counts is None or one.counts.four_hours is None:
            continue
        four = one.counts.four_hours
        minutes = four.within.total_seconds() / 60
        grabs = f", grabs of an outage stand for {len(four.grabs)}" if four.grabs else ""
        yield (
            f"{one.title}: {four.due} values due, {len(four.rows)} recorded{grabs}. What stands for one is "
            f"the recording nearest to 00, 04 ... 20 h, at most {minutes:g} min away, as in a month."
        )


def _outcome(one: Decision, way: object) -> Outcome:
    said = one.corrected[way]  # type: ignore[index]
    assert one.limit is not None
    bounds = judged_by(one.used, one.limit, said.unit, guarded=False)
    return judge("", "", "", Quantity(f"{said.quantity:f}", said.unit, 0.0), bounds).outcome
