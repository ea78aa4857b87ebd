"""The zero of a flow meter at standstill: what it shows, what a low-flow cut hides, what its current says.

A shown 0 only says that the flow lies below the cut, so a pass has to hold for all that the cut may hide. The
far end gets the current, which is judged as the flow it stands for: I is 4 + 16 p mA, and the flow is low + p
(full scale - low) where the current is flow, full scale times the root of p where it is a pressure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Context, Decimal

from wqverify.calculations import loop
from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.flow_budget import SIZES, full_scale, standstill
from wqverify.procedures.flow_candidates import LOOP_MA
from wqverify.procedures.flow_rules import STAGES, ZEROS, meter_of
from wqverify.procedures.flow_sheet import PRESSURE, FlowSheet, Meter, Zero, run_of
from wqverify.procedures.inputs import ROOT3, Inputs
from wqverify.procedures.parts import NotDone
from wqverify.procedures.rules import frozen
from wqverify.procedures.workings import answer, signed
from wqverify.terms import Check, Given, Input, Outcome, Quantity, Reading, Working

LABEL, LABEL_MA = "Zero at standstill", "Loop current at standstill, as flow"
AS_FLOW = ("in the transmitter", "in both")  # where the root is taken of a current that is flow already
NOT_KNOWN = "whether the loop current is flow or pressure is not known: enter the kind of meter and its root"
SIX = Context(prec=6)


def zero_keys(sheet: FlowSheet) -> Iterator[str]:
    """Give the keys of the checks at standstill that a sheet asks for."""
    for name, stage in ZEROS.items():
        part = getattr(sheet, name)
        if part is not None:
            yield f"{stage}.zero"
        if isinstance(part, Zero) and part.ma is not None:
            yield f"{stage}.zero_ma"


def zero_checks(sheet: FlowSheet, given: Given) -> Iterator[Check]:
    """Give the checks at standstill, as found and as left: of what is shown, and of the current if read.

    A current that cannot be judged does not count, so that nobody is better off without reading it; as left
    it does where it failed as found.
    """
    held, failed = given.analyzer.tolerances.get("zero"), False
    for name, stage in ZEROS.items():
        part = getattr(sheet, name)
        if isinstance(part, NotDone):
            yield not_evaluated(f"{stage}.zero", stage, LABEL, f"not done: {part.not_done}", tolerance=held)
        elif isinstance(part, Zero):
            yield _shown(stage, part, meter_of(sheet), given)
            if part.ma is not None:
                stood_still = _held(name, part.ma, sheet, given)
                check = _current(stage, part.ma, stood_still, meter_of(sheet), given)
                yield replace(check, counts=failed or check.outcome is not Outcome.NOT_EVALUATED)
                failed = check.outcome is Outcome.FAIL


def _shown(stage: str, part: Zero, meter: Meter | None, given: Given) -> Check:
    quantity, held = standstill(stage, part.readings, given), given.analyzer.tolerances.get("zero")
    check = judge(f"{stage}.zero", stage, LABEL, quantity, held, observed=quantity.text, reference="0")
    if any(reading.value for reading in part.readings):  # shown, so not cut
        return check
    return _unless(check, _hidden(check, meter, given))


def _current(stage: str, ma: Reading, stood_still: str, meter: Meter | None, given: Given) -> Check:
    key, held = f"{stage}.zero_ma", given.analyzer.tolerances.get("zero")
    reason = stood_still or why_no_flow(ma, meter)
    if reason:
        return not_evaluated(key, stage, LABEL_MA, reason, place="control system", tolerance=held)
    quantity, exact = flow_of(stage, ma, meter, given)
    check = judge(
        key,
        stage,
        LABEL_MA,
        quantity,
        held,
        place="control system",
        observed=quantity.text,
        reference="0",
        exact=exact,
    )
    if meter is None or meter.root == "not known":  # as pressure it would be a larger flow, or none
        surely = check.outcome is Outcome.FAIL and exact > 0
        return check if surely else _unless(check, NOT_KNOWN)
    # a current that surely stands for a flow was not cut
    span = full_scale(meter, given) - given.analyzer.low
    moved = abs(exact) > _off(ma) * span / loop.SPAN_MA
    return check if moved else _unless(check, _hidden(check, meter, given))


def _unless(check: Check, reason: str) -> Check:
    """Give a check that was judged, not evaluated where there is a reason against it."""
    if not reason or check.outcome is Outcome.NOT_EVALUATED:
        return check
    return not_evaluated(
        check.key,
        check.stage,
        check.label,
        reason,
        place=check.place,
        observed=check.observed,
        reference=check.reference,
        quantity=check.quantity,
        tolerance=check.tolerance,
    )


def _hidden(check: Check, meter: Meter | None, given: Given) -> str:
    """Why a 0 is no pass: it only says that the flow lies below the cut, and that may be too much."""
    if check.outcome is not Outcome.PASS:
        return ""
    if meter is None or meter.cut_off is None:
        return "the low-flow cut is not known and may hide a zero outside the tolerance"
    quantity = check.quantity
    assert quantity is not None
    for shift in (-meter.cut_off.value, meter.cut_off.value):
        shifted = replace(quantity, text=f"{quantity.decimal + shift:f}")
        judged = judge("", check.stage, check.label, shifted, check.tolerance, reference="0")
        if judged.outcome is not Outcome.PASS:
            cut = f"{meter.cut_off.text} {given.analyzer.unit}"
            return f"the low-flow cut of {cut} hides a zero that may lie outside the tolerance"
    return ""


# ---------------------------------------------------------------- what a current stands for


def _off(ma: Reading) -> Decimal:
    """How far a current may be off by a multimeter and its last digit, mA."""
    return Decimal(str(LOOP_MA)) + ma.digit / 2


def _held(part: str, ma: Reading, sheet: FlowSheet, given: Given) -> str:
    """Why a current says nothing: its output was held, and it is no other than while water flowed."""
    if not frozen(part, given):
        return ""
    run = run_of(sheet.as_found)
    if run is not None and run.ma is not None and abs(run.ma.value - ma.value) > _off(run.ma) + _off(ma):
        return ""
    return (
        "the output was held when the loop current was read at standstill, and nothing shows that it was "
        "live: read it while water flows too"
    )


def _is_pressure(meter: Meter | None) -> bool:
    return meter is not None and meter.kind == PRESSURE and meter.root not in (*AS_FLOW, "not known")


def why_no_flow(ma: Reading, meter: Meter | None) -> str:
    """Return why a current at standstill stands for no flow; empty where it does."""
    state = loop.state_of(ma.value)
    if state != "measuring":
        return f"{ma.text} mA is no measured value, by NAMUR NE 43: {state}"
    if not _is_pressure(meter):
        return ""
    if abs(ma.value - loop.ZERO_MA) <= _off(ma):
        return (
            f"{ma.text} mA is a pressure signal within {_off(ma).normalize():f} mA of 4 mA, which a "
            f"multimeter cannot tell from it, and its root says nothing there: read the pressure itself"
        )
    if ma.value < loop.ZERO_MA:
        return f"{ma.text} mA lies below 4 mA, and a negative signal has no square root"
    return ""


def flow_of(stage: str, ma: Reading, meter: Meter | None, given: Given) -> tuple[Quantity, Decimal]:
    """Return the flow a current stands for in the unit of the meter, and unrounded in decimals.

    Where flow or pressure is not known it is taken as flow, which is the less of both.
    """
    x, meant = Inputs(given.analyzer.settings, SIZES), "multimeter on the loop"
    read = x.digit(f"current at standstill:{stage}", ma, "loop current")
    x[meant] = Input(
        0.0, LOOP_MA / ROOT3, "rectangular", size_from="memory", source=f"{meant}, within ±{LOOP_MA} mA"
    )
    rooted = _is_pressure(meter)
    low, high = Decimal(0) if rooted else given.analyzer.low, full_scale(meter, given)
    exact = Decimal(loop.value(ma.value, low, high, rooted))
    found = propagate(
        lambda v: {"zero": loop.value(v[read] + v[meant], float(low), float(high), rooted)},
        x,
        {"zero": given.analyzer.unit},
        {"zero": f"{SIX.plus(exact).normalize() + 0:f}"},
    )
    return found["zero"], exact


def zero_workings(sheet: FlowSheet, checks: Sequence[Check], given: Given) -> Iterator[Working]:
    """Give the flow a current at standstill stands for, with a pocket calculator."""
    meter = meter_of(sheet)
    high, low = full_scale(meter, given), given.analyzer.low
    for name, stage in ZEROS.items():
        check = next((c for c in checks if c.key == f"{stage}.zero_ma" and c.quantity), None)
        if check is None or check.quantity is None:
            continue
        ma = getattr(sheet, name).ma.text
        if _is_pressure(meter):
            formula, put_in = "Q = Qmax √((I − 4)/16)", f"{high} × √(({ma} − 4) / 16)"
        else:
            formula = "Q = Qmin + (Qmax − Qmin) (I − 4)/16"
            put_in = f"{signed(low)} + ({high} − {signed(low)}) × ({ma} − 4) / 16"
        shown = answer(check.observed, check.quantity.unit, check.quantity.text)
        title = f"{STAGES[stage]}: flow by the loop current at standstill"
        yield Working(title, formula, put_in, shown, "IEC 60381-1 and ISO 5167-1 (from memory)")
