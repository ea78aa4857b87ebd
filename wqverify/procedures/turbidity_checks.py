"""The checks of a stage on turbidity standards, shared by the standard check and the calibration."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.parts import NotDone, SameAs
from wqverify.procedures.rules import frozen
from wqverify.procedures.turbidity_inputs import Measured, TurbidityInputs
from wqverify.procedures.turbidity_parts import (
    OnStandards,
    Process,
    StandardsSheet,
    Zero,
    part_at,
    process_at,
)
from wqverify.procedures.turbidity_stages import LOW_POINT, TITLES, Stage, exact_at_process, names_of
from wqverify.terms import Check, Given, Quantity, Tolerance

# What a tolerance is called in the register, the first that is there; "error" stands for all of them.
NAMES: Mapping[str, tuple[str, ...]] = {
    "primary": ("primary", "error"),
    "low point": ("low_point", "error"),
    "zero": ("zero", "low_point", "error"),
    "secondary": ("secondary", "error"),
    "control system": ("control_system", "error"),
}
TOLERANCES = ("primary", "low_point", "zero", "secondary", "error", "control_system")
PROCESS_AT = {"as_found": "process_before", "as_left": "process_after"}


def keys_of(sheet: StandardsSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks on standards that a sheet asks for."""
    keys: list[str] = []
    for stage in TITLES:
        part = part_at(stage, sheet)
        read = part_at(part.same_as, sheet) if isinstance(part, SameAs) else part
        if isinstance(read, NotDone):
            keys.append(f"{stage}.error")
        elif isinstance(read, OnStandards):
            keys += _keys_of_points(stage, read, given)
            if not isinstance(part, SameAs) and _at_process(stage, read, sheet):
                keys.append(f"{stage}.process.error")
    return (*keys, *_keys_of_control_system(sheet, given))


def _keys_of_points(stage: str, read: OnStandards, given: Given) -> Iterator[str]:
    if isinstance(read.zero, Zero):
        yield f"{stage}.zero.error"
        if read.zero.control_system:
            yield f"{stage}.zero.control_system"
    for name, point in zip(names_of(read.points), read.points, strict=True):
        standard = given.standards.get(point.standard)
        word = "change" if standard is not None and standard.value is None else "error"
        yield f"{stage}.{name}.{word}"
        if point.control_system:
            yield f"{stage}.{name}.control_system"


def _at_process(stage: str, read: OnStandards, sheet: StandardsSheet) -> bool:
    """Whether there is an error at the process value to speak of: two standards, and the value."""
    several = len(read.points) + isinstance(read.zero, Zero) > 1
    return several and isinstance(process_at(stage, sheet), Process)


def _keys_of_control_system(sheet: StandardsSheet, given: Given) -> Iterator[str]:
    for stage in PROCESS_AT:
        read = process_at(stage, sheet)
        there = isinstance(read, Process) and read.control_system is not None
        if there or (stage == "as_found" and _is_due(sheet, given)):
            yield f"{stage}.process.control_system"


def _is_due(sheet: StandardsSheet, given: Given) -> bool:
    """As found the control system has its own verdict, unless it was read on the standards."""
    part = sheet.as_found
    on_standards = isinstance(part, OnStandards) and any(
        read.control_system for read in (*part.points, *([part.zero] if isinstance(part.zero, Zero) else []))
    )
    return bool(given.analyzer.control_system_tag) and not on_standards


# ---------------------------------------------------------------- checks


def checks_of(sheet: StandardsSheet, given: Given, measured: Mapping[str, Stage]) -> Iterator[Check]:
    """Give the checks on standards of all stages, and those at the control system."""
    for stage in measured.values():
        if stage.not_done:
            yield not_evaluated(f"{stage.name}.error", stage.name, "Error", f"not done: {stage.not_done}")
            continue
        for point in stage.points:
            yield from _on_standard(stage, point, given)
        read = part_at(stage.name, sheet)
        if isinstance(read, OnStandards) and _at_process(stage.name, read, sheet):
            yield _process_check(stage, given)
    asked = tuple(_keys_of_control_system(sheet, given))
    for name in PROCESS_AT:
        if f"{name}.process.control_system" in asked:
            yield control_system_check(name, sheet, given)


def tolerance_for(kind: str, given: Given) -> Tolerance | None:
    """Return the register's tolerance of a kind of check; none is shipped."""
    held = given.analyzer.tolerances
    return next((held[name] for name in NAMES[kind] if name in held), None)


def kind_of(point: Measured) -> str:
    """Return which tolerance a point goes by."""
    if point.kind != "primary":
        return point.kind
    return "low point" if point.exact < LOW_POINT else "primary"


def called(point: Measured) -> str:
    """Return a standard in words: its name, id and, where it was diluted, to what."""
    if point.kind == "zero":
        return f"zero water ({point.standard.id})"
    name = f"{point.standard.name} ({point.standard.id})"
    return f"{name} diluted to {point.exact:f}" if point.steps else name


def _on_standard(stage: Stage, point: Measured, given: Given) -> Iterator[Check]:
    if point.kind == "secondary":
        assert point.assigned is not None
        word, label = "change", f"Change on {called(point)} since {point.assigned.on}"
    else:
        word, label = "error", f"Error on {called(point)}"
    key = f"{stage.name}.{point.id}"
    error = stage.quantities[f"{point.id}.{word}"]
    exact = point.unrounded - point.exact
    tolerance = tolerance_for(kind_of(point), given)
    typed: dict[str, Any] = {"observed": f"{point.mean:f}", "reference": f"{point.exact:f}"}
    reason = point.information or point.unsteady
    if reason:
        yield not_evaluated(
            f"{key}.{word}",
            stage.name,
            label,
            reason,
            quantity=error,
            tolerance=tolerance,
            information=bool(point.information),
            **typed,
        )
    else:
        yield judge(f"{key}.{word}", stage.name, label, error, tolerance, exact=exact, **typed)
    if point.control_system is not None:
        label = f"Error of the control system, analyzer on {called(point)}"
        yield _at_control_system(
            f"{key}.control_system",
            stage.name,
            label,
            stage.quantities[f"{point.id}.control_system"],
            reason or point.frozen,
            given,
            observed=point.control_system.text,
            reference=typed["reference"],
            information=bool(point.information),
        )


def _at_control_system(
    key: str,
    stage: str,
    label: str,
    quantity: Quantity,
    reason: str,
    given: Given,
    information: bool = False,
    **typed: Any,
) -> Check:
    tolerance = tolerance_for("control system", given)
    if reason:
        return not_evaluated(
            key,
            stage,
            label,
            reason,
            place="control system",
            quantity=quantity,
            tolerance=tolerance,
            information=information,
            **typed,
        )
    return judge(key, stage, label, quantity, tolerance, place="control system", **typed)


def _process_check(stage: Stage, given: Given) -> Check:
    """The error at the process value; one that cannot be had leaves the verdict to the standards."""
    assert stage.process is not None
    shown = stage.process.ntu
    key, label = f"{stage.name}.process.error", f"Error at the displayed process value {shown.text}"
    kind = "low point" if shown.value < LOW_POINT else "primary"
    tolerance = tolerance_for(kind, given)
    if stage.no_process:
        return not_evaluated(key, stage.name, label, stage.no_process, tolerance=tolerance, counts=False)
    exact = exact_at_process(stage)
    error = stage.quantities["process.error"]
    reference = f"{shown.value - error.decimal:f}"
    return judge(
        key, stage.name, label, error, tolerance, observed=shown.text, reference=reference, exact=exact
    )


def control_system_check(stage: str, sheet: StandardsSheet, given: Given) -> Check:
    """The control system against the display, read at one moment in the process."""
    key, label = f"{stage}.process.control_system", "Control system minus display, in the process"
    read = process_at(stage, sheet)
    tolerance = tolerance_for("control system", given)
    if not isinstance(read, Process) or read.control_system is None:
        reason = f"not done: {read.not_done}" if isinstance(read, NotDone) else "it was not read"
        return not_evaluated(key, stage, label, reason, place="control system", tolerance=tolerance)
    quantity = difference(read, stage, given)
    typed: dict[str, Any] = {"observed": read.control_system.text, "reference": read.ntu.text}
    return _at_control_system(key, stage, label, quantity, frozen(PROCESS_AT[stage], given), given, **typed)


def difference(read: Process, stage: str, given: Given) -> Quantity:
    """Return control system minus display; both are uncertain by their last digit."""
    assert read.control_system is not None
    inputs = TurbidityInputs(given.analyzer.settings)
    there = inputs.digit(f"control system:{stage}.process", read.control_system, "control system")
    here = inputs.digit(f"reading:{stage}.process", read.ntu, "display")
    text = f"{read.control_system.value - read.ntu.value:f}"
    unit = given.analyzer.unit
    return propagate(lambda x: {"d": x[there] - x[here]}, inputs, {"d": unit}, {"d": text})["d"]
