"""pH calibration of an online analyzer in buffers: as found, after cleaning, as left.

Model, inputs and what a check cannot see: ``ph_budget``; what is refused: ``ph_rules``; the field sheet:
``ph_sheet``. Criteria that the register does not hold are common practice and say so.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.procedures.parts import NotDone, Points, SameAs
from wqverify.procedures.ph_beside import BESIDE
from wqverify.procedures.ph_budget import StageInputs, exact_at_process, stage_quantities
from wqverify.procedures.ph_grab import grab_check, thermometer_check
from wqverify.procedures.ph_inputs import Measured
from wqverify.procedures.ph_notes import CAUTIONS, notes
from wqverify.procedures.ph_rules import COMMON_PRACTICE, brake, refuse
from wqverify.procedures.ph_sheet import Adjusted, BufferPoint, Grab, PhSheet, Process, ThermometerCheck
from wqverify.procedures.ph_shown import charts, values, workings
from wqverify.procedures.ph_signal import loop_value, loop_working
from wqverify.procedures.ph_stages import Stage, measured_point, stability, stages
from wqverify.procedures.rules import frozen, tolerance
from wqverify.terms import Check, Given, Place, Procedure, Quantity, Result, Setting, Slices, Tolerance


def compute(sheet: PhSheet, given: Given, slices: Slices) -> Result:  # noqa: ARG001 - no slice is needed
    """Return the result of one visit.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, for what cannot be taken: another
    serial on the plate, times out of order, a buffer expired or entered twice, readings outside the range,
    a temperature outside the table, an adjustment that is not founded on its readings.
    """
    refuse(sheet, given)
    measured = stages(sheet, given)
    before = measured.get("after_cleaning")
    if before is None or before.not_done:
        before = measured["as_found"]
    brake(sheet, given, before.points, before.quantities)
    third = None
    if isinstance(sheet.check_buffer, BufferPoint):
        third = measured_point("check_buffer", "check_buffer", sheet.check_buffer, given)
    checks = tuple(_checks(sheet, given, measured, third))
    return Result(
        checks=checks,
        values=(*values(measured), *loop_value(sheet, given)),
        workings=(*workings(sheet, measured, third, checks), *loop_working(sheet, given)),
        notes=tuple(notes(sheet, given, measured, checks)),
        charts=tuple(charts(measured, checks, given)),
    )


def expects(sheet: PhSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    keys = []
    for stage in ("as_found", "after_cleaning", "as_left"):
        part = getattr(sheet, stage)
        read = getattr(sheet, part.same_as) if isinstance(part, SameAs) else part
        if isinstance(read, NotDone):
            keys.append(f"{stage}.error")
        elif isinstance(read, Points):
            keys += [f"{stage}.{point.standard}.error" for point in read.points]
            keys += [f"{stage}.slope", f"{stage}.offset"]
            keys += [f"{stage}.{p.standard}.control_system" for p in read.points if p.control_system]
    in_buffers = any(key.startswith("as_found.") and key.endswith(".control_system") for key in keys)
    if _control_system(sheet.process_before) or (given.analyzer.control_system_tag and not in_buffers):
        keys.append("as_found.process.control_system")
    if _control_system(sheet.process_after):
        keys.append("as_left.process.control_system")
    if sheet.process_before is not None:
        keys.append("as_found.process.error")
    if sheet.process_after is not None:
        keys.append("as_left.process.error")
    if sheet.thermometer_check is not None:
        keys.append("thermometer")
    if sheet.check_buffer is not None:
        keys.append("as_left.check_buffer")
    keys += [f"process_before.grab_{number}" for number, _ in enumerate(sheet.grab, 1)]
    return (*keys, "process_after.grab") if sheet.grab_after is not None else tuple(keys)


def _control_system(part: Process | NotDone | None) -> bool:
    return isinstance(part, Process) and part.control_system is not None


# ---------------------------------------------------------------- checks


def _checks(
    sheet: PhSheet, given: Given, measured: dict[str, Stage], third: Measured | None
) -> Iterator[Check]:
    if isinstance(sheet.thermometer_check, ThermometerCheck):
        yield thermometer_check(sheet.thermometer_check, given)
    elif sheet.thermometer_check is not None:
        yield _undone("thermometer", "thermometer", "Temperature", sheet.thermometer_check)
    for index, grab in enumerate(sheet.grab):
        yield grab_check(f"process_before.grab_{index + 1}", "process_before", f"grab.{index}", grab, given)
    for stage in measured.values():
        if stage.not_done:
            yield not_evaluated(f"{stage.name}.error", stage.name, "Error", f"not done: {stage.not_done}")
        else:
            yield from _in_buffers(stage, given)
            yield from _electrode(stage, given)
        yield from _at_process(stage, sheet, given)
    if third is not None:
        yield _check_buffer(third, measured["as_left"], given)
    elif isinstance(sheet.check_buffer, NotDone):
        # where nothing was adjusted, the verdict as left does not wait for a check buffer
        reason = f"not done: {sheet.check_buffer.not_done}"
        counts = isinstance(sheet.adjusted, Adjusted)
        yield not_evaluated("as_left.check_buffer", "as_left", "Check buffer", reason, counts=counts)
    if isinstance(sheet.grab_after, Grab):
        yield grab_check("process_after.grab", "process_after", "grab_after", sheet.grab_after, given)
    elif sheet.grab_after is not None:
        yield _undone("process_after.grab", "process_after", "Display against a grab", sheet.grab_after)


def _tolerance(name: str, given: Given) -> Tolerance | None:
    return tolerance(name, given, COMMON_PRACTICE)


def _undone(key: str, stage: str, label: str, part: NotDone) -> Check:
    return not_evaluated(key, stage, label, f"not done: {part.not_done}")


def _in_buffers(stage: Stage, given: Given) -> Iterator[Check]:
    for point in stage.points:
        error = stage.quantities[f"{point.id}.error"]
        yield _point_check(f"{stage.name}.{point.id}.error", stage.name, "Error in", point, error, given)
        if point.control_system is not None:
            error = stage.quantities[f"{point.id}.control_system"]
            key = f"{stage.name}.{point.id}.control_system"
            yield _point_check(
                key,
                stage.name,
                "Error of the control system, analyzer in",
                point,
                error,
                given,
                "control system",
            )


def _point_check(
    key: str,
    stage: str,
    words: str,
    point: Measured,
    error: Quantity,
    given: Given,
    place: Place = "analyzer",
    tolerance: Tolerance | None = None,
) -> Check:
    label = f"{words} {point.buffer.standard.name} ({point.id})"
    shown = point.control_system if place == "control system" else point.reading
    observed = shown.text if shown else ""
    reference = f"{point.buffer.exact:f}"
    tolerance = tolerance or _tolerance("control_system" if place == "control system" else "error", given)
    reason = point.information or point.unsteady
    if reason:
        return not_evaluated(
            key,
            stage,
            label,
            reason,
            place=place,
            observed=observed,
            reference=reference,
            quantity=error,
            tolerance=tolerance,
            information=bool(point.information),
        )
    return judge(key, stage, label, error, tolerance, place=place, observed=observed, reference=reference)


def _electrode(stage: Stage, given: Given) -> Iterator[Check]:
    """Slope and offset advise on upkeep: they are no part of the verdict of the stage."""
    for word, label, reason in (
        ("slope", "Slope of the electrode", stage.no_electrode_slope),
        ("offset", "Offset of the electrode at pH 7", stage.no_offset),
    ):
        key = f"{stage.name}.{word}"
        tolerance = _tolerance("offset_mv" if word == "offset" else word, given)
        if reason:
            yield not_evaluated(key, stage.name, label, reason, tolerance=tolerance, counts=False)
        else:
            found = stage.quantities[word]
            # computed in floats: nine places are beyond any U and short of their noise
            exact = Decimal(f"{found.value:.9f}")
            yield judge(key, stage.name, label, found, tolerance, counts=False, exact=exact)


def _at_process(stage: Stage, sheet: PhSheet, given: Given) -> Iterator[Check]:
    """Error at the process value, and that of the control system: two verdicts as found."""
    typed = {"as_found": sheet.process_before, "as_left": sheet.process_after}.get(stage.name)
    key, tolerance = f"{stage.name}.process", _tolerance("error", given)
    reason = f"not done: {stage.not_done}" if stage.not_done else stage.no_process
    if isinstance(typed, NotDone):
        reason = f"not done: {typed.not_done}"
    process = stage.process
    if typed is not None:
        label = f"Error at the displayed process value{f' {process.ph.text}' if process else ''}"
        if reason:
            # one buffer is a check in that buffer; its verdict does not wait for the process value
            yield not_evaluated(f"{key}.error", stage.name, label, reason, tolerance=tolerance, counts=False)
        else:
            error = stage.quantities["process.error"]
            observed = process.ph.text if process else ""
            exact = _exact_at_process(stage)
            yield judge(f"{key}.error", stage.name, label, error, tolerance, observed=observed, exact=exact)
    there = typed.control_system if isinstance(typed, Process) else None
    tolerance = _tolerance("control_system", given)
    label = "Error of the control system at the process value"
    if there is not None:
        reason = reason or frozen("process_before" if stage.name == "as_found" else "process_after", given)
    if there is not None and process is not None and not reason:
        error = stage.quantities["process.control_system"]
        yield judge(
            f"{key}.control_system",
            stage.name,
            label,
            error,
            tolerance,
            place="control system",
            observed=there.text,
            exact=_exact_at_process(stage) + there.value - process.ph.value,
        )
    elif there is not None or _control_system_is_due(stage, given):
        why = reason or "the control system was not read together with the display"
        yield not_evaluated(
            f"{key}.control_system", stage.name, label, why, place="control system", tolerance=tolerance
        )


def _exact_at_process(stage: Stage) -> Decimal:
    assert stage.process is not None
    assert stage.between is not None
    return exact_at_process(stage.process.ph, *stage.between)


def _control_system_is_due(stage: Stage, given: Given) -> bool:
    """As found the control system has its own verdict, unless it was read in the buffers."""
    in_buffers = any(point.control_system is not None for point in stage.points)
    return stage.name == "as_found" and bool(given.analyzer.control_system_tag) and not in_buffers


def _check_buffer(measured: Measured, stage: Stage, given: Given) -> Check:
    """One buffer of another lot, read at the end: it sees what the buffers adjusted to cannot show."""
    known = StageInputs(
        stage="check_buffer",
        points=(measured,),
        line=(),
        process=None,
        process_control_system=None,
        between=None,
        stored_slope=None,
        stored_offset=None,
        thermometer=stage.thermometer,
        stability=stability(given).limit,
    )
    error = stage_quantities(known, given.analyzer.settings)[f"{measured.id}.error"]
    tolerance = _tolerance("check_buffer", given)
    return _point_check(
        "as_left.check_buffer", "as_left", "Check buffer", measured, error, given, tolerance=tolerance
    )


PROCEDURE = Procedure(
    name="ph_calibration",
    title="pH calibration in buffers",
    revision=1,
    Sheet=PhSheet,
    compute=compute,
    expects=expects,
    refuse=refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    tolerances=("error", "control_system", "check_buffer", "slope", "offset_mv", "grab", "thermometer"),
    settings={
        "stability_ph": Setting("0.001", "1"),
        "stability_interval_s": Setting("1", "3600"),
        "stability_readings": Setting("1", "60", whole=True),  # 1: one reading is enough
        "grabs_agree_ph": Setting("0.001", "1"),
        "signal_ma": Setting("0", "1"),
        # half widths of the budget
        "junction_ph": Setting("0", "1"),
        "gradient_c": Setting("0", "20"),
        "creep_mv": Setting("0", "50"),
        "electrode_c": Setting("0", "20"),
        "opened_ph": Setting("0", "1"),
        "opened_alkaline_ph": Setting("0", "1"),
        "grab_junction_ph": Setting("0", "1"),
        "grab_loss_ph": Setting("0", "1"),
    },
)
