"""What a flow check refuses, and why a comparison founds no error."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from wqverify.calculations import flow
from wqverify.calculations.units import quantity_of, units_of
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.flow_budget import STEPS_OF_DROP, Exact, Found, compared, full_scale, level_u, metres
from wqverify.procedures.flow_sheet import (
    PRESSURE,
    TANKS,
    TOTALISER,
    Adjusted,
    FlowSheet,
    Meter,
    Reference,
    Run,
    Zero,
    run_of,
)
from wqverify.procedures.rules import overdue, refuse_beyond, refuse_outside, refuse_visit, standard
from wqverify.terms import Given, Reading, Standard

STAGES = {"as_found": "As found", "as_left": "As left"}
ZEROS = {"zero": "as_found", "zero_left": "as_left"}  # part of the sheet -> its stage
POSSIBLE_MA = (0, 25)
WAYS = (
    "Ways on: compare again and enter it; or leave it alone and take adjusted out; or write "
    'decision.despite = "..." with your reason to go on.'
)


@dataclass(frozen=True)
class Stage:
    """One comparison and what follows from it."""

    name: str
    run: Run
    exact: Exact
    found: Found
    reason: str  # why nothing is judged against the reference


def meter_of(sheet: FlowSheet) -> Meter | None:
    """Return what is known of the meter, None where it was not asked."""
    return sheet.meter if isinstance(sheet.meter, Meter) else None


def runs(sheet: FlowSheet) -> Iterator[tuple[str, Run]]:
    """Give the comparisons that were made."""
    for name in STAGES:
        run = run_of(getattr(sheet, name))
        if run is not None:
            yield name, run


def zeros(sheet: FlowSheet) -> Iterator[tuple[str, Zero]]:
    """Give the readings at standstill that were made, by the part they stand in."""
    for name in ZEROS:
        part = getattr(sheet, name)
        if isinstance(part, Zero):
            yield name, part


# ---------------------------------------------------------------- refused


def refuse(sheet: FlowSheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother where the sheet cannot be computed as it stands."""
    refuse_visit(sheet, given)
    _refuse_other_analyzer(given)
    meter = meter_of(sheet)
    _refuse_meter(meter, given)
    if isinstance(sheet.reference, Reference):  # a sheet that is being typed may lack it
        _refuse_reference(sheet, given)
        for name, run in runs(sheet):
            _refuse_run(name, run, sheet, given)
    span = given.analyzer.high - min(given.analyzer.low, Decimal(0))
    for name, part in zeros(sheet):
        for reading in part.readings:
            refuse_outside(f"{name}.readings", "The reading at standstill", reading.value, given, -span, span)
        if part.ma is not None:
            refuse_beyond(f"{name}.ma", "loop current", part.ma, POSSIBLE_MA, "mA")


def _refuse_other_analyzer(given: Given) -> None:
    analyzer = given.analyzer
    if analyzer.measures.split()[-1:] != ["flow"] or analyzer.unit not in flow.FLOWS:
        raise ChooseAnother(
            f"{analyzer.tag} measures {analyzer.measures} in {analyzer.unit}; this procedure is for flow in "
            f"{', '.join(flow.FLOWS)}. Name a flow meter, or correct measures and unit in analyzers.toml.",
            found=f"{analyzer.measures} in {analyzer.unit}",
            expected="flow",
            where="tag",
        )


def _refuse_meter(meter: Meter | None, given: Given) -> None:
    scale, bottom = full_scale(meter, given), max(given.analyzer.low, Decimal(0))
    if scale <= bottom:
        typed = meter is not None and meter.full_scale is not None
        raise CorrectTheEntry(
            f"The flow at 20 mA is {scale} {given.analyzer.unit}; it is more than {bottom}. "
            + ("Type it as its menu shows it." if typed else "Correct high in analyzers.toml."),
            found=str(scale),
            expected=f"more than {bottom}",
            where="meter.full_scale" if typed else "tag",
        )
    if meter is not None and meter.cut_off is not None and not 0 <= meter.cut_off.value < scale:
        raise CorrectTheEntry(
            f"The low-flow cut is {meter.cut_off.text} {given.analyzer.unit}; it lies from 0 to below "
            f"{scale}. Type it as the menu shows it.",
            found=meter.cut_off.text,
            expected=f"0 to {scale}",
            where="meter.cut_off",
        )


def _refuse_reference(sheet: FlowSheet, given: Given) -> None:
    reference = sheet.reference
    known = standard_of(sheet, given)
    if reference.level_by is not None:
        if reference.level_by == given.analyzer.tag:
            raise ChooseAnother(
                f"The levels cannot be read by {given.analyzer.tag}, which is the meter under test.",
                where="reference.level_by",
            )
        standard(reference.level_by, "reference.level_by", given)
    if known is None:
        return
    if reference.against in TANKS:
        quantity, what = "length", "a tank with its inner diameter as value"
    elif reference.against == TOTALISER:
        quantity, what = "volume", "a totaliser"
    else:
        quantity, what = "flow", "a strap-on meter"
    if quantity_of(known.unit) != quantity or (reference.against in TANKS and known.value is None):
        worth = f", worth {known.value}" if known.value is not None else ""
        raise ChooseAnother(
            f"{known.id} ({known.name}) is in {known.unit}{worth}; here stands {what}, in one of "
            f"{', '.join(units_of(quantity))}. Name another, or correct standards_on_hand.toml.",
            found=known.unit,
            expected=", ".join(units_of(quantity)),
            where="reference.standard",
        )


def standard_of(sheet: FlowSheet, given: Given) -> Standard | None:
    """Return the tank, strap-on meter or totaliser that was named."""
    name = sheet.reference.standard
    return None if name is None else standard(name, "reference.standard", given)


def _refuse_run(name: str, run: Run, sheet: FlowSheet, given: Given) -> None:
    for part, start, stop in (
        ("meter", run.meter_start, run.meter_stop),
        ("reference", run.reference_start, run.reference_stop),
    ):
        _refuse_backwards(f"{name}.{part}_stop", start, stop)
    high = full_scale(meter_of(sheet), given)
    for path, rates in (("rates", run.rates), ("control_system", run.control_system)):
        for reading in rates or ():
            # a chain that computes wrong shows what no range allows, and that is what is looked for
            refuse_outside(f"{name}.{path}", STAGES[name], reading.value, given, -high, 100 * high)
    if run.ma is not None:
        _refuse_current(f"{name}.ma", run.ma, meter_of(sheet))
    exact = exact_of(run, sheet, given)
    if not exact.whole:  # still being typed
        return
    try:
        flow.error_percent(Decimal(1), exact.flow)
    except CorrectTheEntry as problem:
        raise CorrectTheEntry(
            f"{STAGES[name]}: {problem.message}",
            found=problem.found,
            expected=problem.expected,
            where=f"{name}.{_cause_of(run, exact)}",
        ) from problem


def _refuse_backwards(path: str, start: Reading | None, stop: Reading | None) -> None:
    if start is None or stop is None or stop.value >= start.value:
        return
    raise CorrectTheEntry(
        f"{path} is {stop.text} and lies before the start, {start.text}; a total counts up. Look which one "
        f"is mistyped; where it rolled over in between, compare again.",
        found=stop.text,
        expected=f"{start.text} or more",
        where=path,
    )


def _cause_of(run: Run, exact: Exact) -> str:
    """Which answer of a comparison leaves no reference."""
    rates = exact.run.reference_rates
    if rates is None and run.duration_s.value <= 0:
        return "duration_s"
    if run.level_stop is not None:
        return "level_stop"
    return "reference_stop" if rates is None else "reference_rates"


def _refuse_current(path: str, ma: Reading, meter: Meter | None) -> None:
    refuse_beyond(path, "loop current", ma, POSSIBLE_MA, "mA")
    if meter is None or meter.kind != PRESSURE:
        return
    try:
        flow.root_of_share(float(flow.share_of_span(ma.value)))
    except CorrectTheEntry as problem:
        raise CorrectTheEntry(
            f"{path} is {ma.text} mA while water flowed. {problem.message}",
            found=ma.text,
            expected="4 mA or more",
            where=path,
        ) from problem


# ---------------------------------------------------------------- comparisons


def exact_of(run: Run, sheet: FlowSheet, given: Given) -> Exact:
    """Return a comparison in decimals."""
    return Exact(run, sheet.reference, standard_of(sheet, given), given)


def stage_of(name: str, sheet: FlowSheet, given: Given) -> Stage | None:
    """Return what was compared at a stage, None where nothing was."""
    run = run_of(getattr(sheet, name))
    if run is None:
        return None
    exact = exact_of(run, sheet, given)
    meter = meter_of(sheet)
    found = compared(name, exact, meter)
    reasons = (_small_fall(run, exact), _below_the_cut(exact, meter, given), *_overdue(name, sheet, given))
    return Stage(name, run, exact, found, "; ".join(filter(None, reasons)))


def _small_fall(run: Run, exact: Exact) -> str:
    if run.level_start is None or run.level_stop is None:
        return ""
    fell = metres(run.level_start, exact.reference) - metres(run.level_stop, exact.reference)
    least = STEPS_OF_DROP * level_u(exact.given)
    if fell >= least:
        return ""
    return (
        f"the level fell by {fell.normalize():f} m only; with u {level_u(exact.given)} m of each level at "
        f"least {least.normalize():f} m are needed: draw down longer"
    )


def _below_the_cut(exact: Exact, meter: Meter | None, given: Given) -> str:
    if meter is None or meter.cut_off is None:
        return ""
    real = exact.in_unit(exact.flow)
    if real >= meter.cut_off.value:
        return ""
    return (
        f"the reference gave {real:.4g} {given.analyzer.unit}, below the low-flow cut of "
        f"{meter.cut_off.text}, where the meter shows 0 by design: compare at a larger flow"
    )


def _overdue(name: str, sheet: FlowSheet, given: Given) -> Iterator[str]:
    for used, path in (
        (sheet.reference.standard, "reference.standard"),
        (sheet.reference.level_by, "reference.level_by"),
    ):
        if used is None:
            continue
        known = standard(used, path, given)
        if overdue(known, given, f"{name}.at"):
            yield f"the calibration of {known.id} was due on {known.calibration_due}"
        if known.usable_until and known.usable_until < sheet.date:
            yield f"{known.id} was usable until {known.usable_until}"


# ---------------------------------------------------------------- brake


def brake(sheet: FlowSheet, found: Stage | None) -> None:
    """Raise CorrectTheEntry where what was adjusted is founded on nothing that counts."""
    decision = sheet.decision
    if decision is None or decision.despite or not isinstance(sheet.adjusted, Adjusted):
        return
    reason = why_not_adjust(sheet, found)
    if reason:
        raise CorrectTheEntry(
            f"{reason} Nothing is adjusted to that. {WAYS}",
            expected="a comparison that counts",
            where="adjusted",
        )


def why_not_adjust(sheet: FlowSheet, found: Stage | None) -> str:
    """Return why a decision is founded on nothing, empty where it is or nothing is adjusted."""
    action = sheet.decision.action if sheet.decision else "leave alone"
    if action == "zero" and not isinstance(sheet.zero, Zero):
        return "A new zero needs the meter at standstill; it was not read."
    if action not in ("span", "root extraction"):
        return ""
    if found is None:
        return f"A new {action} needs a comparison; none was made."
    return f"A new {action} needs a comparison that counts; {found.reason}." if found.reason else ""
