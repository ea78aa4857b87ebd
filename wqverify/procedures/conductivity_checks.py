"""The checks of a conductivity visit: zero, errors in the standards, two of them, process, control system."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.conductivity_budget import ConductivityInputs, Measured, exact_at_process
from wqverify.procedures.conductivity_sheet import ConductivitySheet, OnStandards, Process, Zero
from wqverify.procedures.conductivity_stages import (
    PROCESS_AT,
    TITLES,
    Stage,
    no_two,
    process_at,
    ratio_wanted,
    stages,
)
from wqverify.procedures.parts import NotDone, SameAs
from wqverify.procedures.ph_grab import thermometer_check
from wqverify.procedures.ph_sheet import ThermometerCheck
from wqverify.procedures.rules import NOT_READ_AGAIN, frozen
from wqverify.terms import Check, Given, Outcome, Quantity, Tolerance

TOLERANCES = ("error", "zero", "control_system", "thermometer")
ONE_VALUE = Decimal("0.1")  # of each other: bottles of one value, whatever their lot


def tolerance_for(kind: str, given: Given) -> Tolerance | None:
    """Return the register's tolerance of a kind of check; none is shipped.

    A tolerance in percent without a floor says nothing about zero; control system and zero go by that of the
    error where they have none of their own.
    """
    held = given.analyzer.tolerances
    if kind in held:
        return held[kind]
    error = held.get("error")
    if kind == "zero" and error is not None and error.low is None and error.high is None:
        return None
    return error if kind in ("zero", "control_system") else None


# ---------------------------------------------------------------- keys


def keys_of(sheet: ConductivitySheet, given: Given) -> Iterator[str]:
    """Give the keys of the checks that a sheet asks for."""
    for name in TITLES:
        part = getattr(sheet, name)
        read = getattr(sheet, part.same_as) if isinstance(part, SameAs) else part
        if isinstance(read, NotDone):
            yield f"{name}.error"
        elif isinstance(read, OnStandards):
            yield from _keys_of_stage(name, read)
            if not isinstance(part, SameAs) and _at_process(name, read, sheet):
                yield f"{name}.process.error"
    for name in PROCESS_AT:
        if _control_system_asked(name, sheet, given):
            yield f"{name}.process.control_system"
    if sheet.thermometer_check is not None:
        yield "thermometer"
    found = stages(sheet, given)
    for check in _not_read_again(sheet, found, tuple(_read(sheet, given, found))):
        yield check.key


def _keys_of_stage(name: str, read: OnStandards) -> Iterator[str]:
    if isinstance(read.zero, Zero):
        yield f"{name}.zero.error"
    for point in read.points:
        yield f"{name}.{point.standard}.error"
        if point.control_system:
            yield f"{name}.{point.standard}.control_system"
    yield f"{name}.two_standards"


def _at_process(name: str, read: OnStandards, sheet: ConductivitySheet) -> bool:
    return len(read.points) > 1 and isinstance(process_at(name, sheet), Process)


def _control_system_asked(name: str, sheet: ConductivitySheet, given: Given) -> bool:
    read = process_at(name, sheet)
    there = isinstance(read, Process) and read.control_system is not None
    return there or (name == "as_found" and _is_due(sheet, given))


def _is_due(sheet: ConductivitySheet, given: Given) -> bool:
    """As found the control system has its own verdict, unless it was read in the standards."""
    part = sheet.as_found
    read = isinstance(part, OnStandards) and any(point.control_system for point in part.points)
    return bool(given.analyzer.control_system_tag) and not read


# ---------------------------------------------------------------- checks


def checks_of(sheet: ConductivitySheet, given: Given, found: Mapping[str, Stage]) -> Iterator[Check]:
    """Give all checks of a visit, in the order of the keys."""
    read = tuple(_read(sheet, given, found))
    yield from read
    yield from _not_read_again(sheet, found, read)


def _read(sheet: ConductivitySheet, given: Given, found: Mapping[str, Stage]) -> Iterator[Check]:
    """Give the checks of what was read, and of what should have been."""
    for stage in found.values():
        if stage.not_done:
            yield not_evaluated(f"{stage.name}.error", stage.name, "Error", f"not done: {stage.not_done}")
            continue
        if stage.zero is not None:
            yield _zero(stage, given)
        for point in stage.points:
            yield from _in_standard(stage, point, given)
        yield _two(stage, given)
        part = getattr(sheet, stage.name)
        if isinstance(part, OnStandards) and _at_process(stage.name, part, sheet):
            yield _process(stage, given)
    for name in PROCESS_AT:
        if _control_system_asked(name, sheet, given):
            yield _control_system(name, sheet, given)
    if isinstance(sheet.thermometer_check, ThermometerCheck):
        yield thermometer_check(sheet.thermometer_check, given)
    elif sheet.thermometer_check is not None:
        reason = f"not done: {sheet.thermometer_check.not_done}"
        yield not_evaluated("thermometer", "thermometer", "Temperature", reason)


def _not_read_again(
    sheet: ConductivitySheet, found: Mapping[str, Stage], checks: Sequence[Check]
) -> Iterator[Check]:
    """What failed as found and was not read as left: the rest does not say that it is right now.

    A standard is read again in any bottle of its value; the error at the process value has no reading of
    its own.
    """
    before, left = found.get("as_found"), found.get("as_left")
    if before is None or left is None or left.not_done or left.same_as == "as_found":
        return
    again = {"as_found.zero.error"} if left.zero is not None else set()
    after = process_at("as_left", sheet)
    if left.same_as or (isinstance(after, Process) and after.control_system is not None):
        again.add("as_found.process.control_system")
    for point in before.points:
        same = [p for p in left.points if _one_value(p, point)]
        again |= {f"as_found.{point.id}.error"} if same else set()
        there = any(p.control_system is not None for p in same)
        again |= {f"as_found.{point.id}.control_system"} if there else set()
    for check in checks:
        failed = check.stage == "as_found" and check.counts and check.outcome is Outcome.FAIL
        if failed and check.key not in again and check.key != "as_found.process.error":
            yield not_evaluated(
                check.key.replace("as_found", "as_left", 1),
                "as_left",
                check.label,
                NOT_READ_AGAIN,
                place=check.place,
                tolerance=check.tolerance,
            )


def _one_value(one: Measured, other: Measured) -> bool:
    if one.id == other.id:
        return True
    apart = abs(one.worth.nominal - other.worth.nominal)
    return apart <= ONE_VALUE * abs(other.worth.nominal)


def _zero(stage: Stage, given: Given) -> Check:
    assert stage.zero is not None
    key, label = f"{stage.name}.zero.error", "Zero, cell dry in air"
    error, tolerance = stage.quantities["zero.error"], tolerance_for("zero", given)
    shown = stage.zero.reading.text
    if tolerance is None:
        reason = "the register holds no tolerance for the zero (one in percent has none at 0)"
        return not_evaluated(key, stage.name, label, reason, quantity=error, observed=shown, reference="0")
    exact = stage.zero.reading.value
    return judge(key, stage.name, label, error, tolerance, observed=shown, reference="0", exact=exact)


def _in_standard(stage: Stage, point: Measured, given: Given) -> Iterator[Check]:
    key, label = f"{stage.name}.{point.id}", f"Error in {point.standard.name} ({point.id})"
    typed: dict[str, Any] = {"observed": f"{point.mean:f}"}
    if point.expected is not None:
        typed["reference"] = f"{point.expected:f}"
    error, tolerance = stage.quantities.get(f"{point.id}.error"), tolerance_for("error", given)
    if point.reason or error is None:
        yield not_evaluated(
            f"{key}.error",
            stage.name,
            label,
            point.reason,
            quantity=error,
            tolerance=tolerance,
            information=bool(point.information),
            **typed,
        )
    else:
        exact = point.unrounded
        yield judge(f"{key}.error", stage.name, label, error, tolerance, exact=exact, **typed)
    if point.control_system is None:
        return
    typed["observed"] = point.control_system.text
    yield _there(
        f"{key}.control_system",
        stage.name,
        f"Error of the control system, cell in {point.standard.name} ({point.id})",
        stage.quantities.get(f"{point.id}.control_system"),
        point.reason or point.stood_still,
        given,
        information=bool(point.information),
        **typed,
    )


def _there(
    key: str,
    stage: str,
    label: str,
    quantity: Quantity | None,
    reason: str,
    given: Given,
    information: bool = False,
    **typed: Any,
) -> Check:
    tolerance = tolerance_for("control_system", given)
    if reason or quantity is None:
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


def _two(stage: Stage, given: Given) -> Check:
    """Two standards, or no pass: a criterion of the visit, so it never fails the analyzer."""
    key, label = f"{stage.name}.two_standards", "Two standards, the highest over the lowest"
    wanted = ratio_wanted(given)
    tolerance = Tolerance(
        unit="",
        rule="simple",
        basis="common practice",
        source=f"two standards at least {wanted.normalize():f} times apart, no source",
        low=wanted,
    )
    reason = no_two(stage, given)
    if reason or stage.ratio is None:
        return not_evaluated(key, stage.name, label, reason, tolerance=tolerance)
    quantity = Quantity(f"{stage.ratio}", "", float(stage.ratio))
    return judge(key, stage.name, label, quantity, tolerance)


def _process(stage: Stage, given: Given) -> Check:
    """The error at the process value; one that cannot be had leaves the verdict to the standards."""
    assert stage.process is not None
    shown = stage.process.shown
    key, label = f"{stage.name}.process.error", f"Error at the displayed process value {shown.text}"
    tolerance = tolerance_for("error", given)
    if stage.between is None:
        reason = stage.no_process
        return not_evaluated(key, stage.name, label, reason, tolerance=tolerance, counts=False)
    error = stage.quantities["process.error"]
    exact = exact_at_process(stage.between, shown)
    reference = f"{shown.value - error.decimal:f}"
    return judge(
        key, stage.name, label, error, tolerance, observed=shown.text, reference=reference, exact=exact
    )


def _control_system(stage: str, sheet: ConductivitySheet, given: Given) -> Check:
    """The control system against the display, read at one moment in the process."""
    key, label = f"{stage}.process.control_system", "Control system minus display, in the process"
    read = process_at(stage, sheet)
    if not isinstance(read, Process) or read.control_system is None:
        reason = f"not done: {read.not_done}" if isinstance(read, NotDone) else "it was not read"
        tolerance = tolerance_for("control_system", given)
        return not_evaluated(key, stage, label, reason, place="control system", tolerance=tolerance)
    quantity = difference(read, stage, given)
    typed: dict[str, Any] = {"observed": read.control_system.text, "reference": read.shown.text}
    return _there(key, stage, label, quantity, frozen(PROCESS_AT[stage], given), given, **typed)


def difference(read: Process, stage: str, given: Given) -> Quantity:
    """Return control system minus display; both are uncertain by their last digit."""
    assert read.control_system is not None
    unit = given.analyzer.unit
    x = ConductivityInputs(given.analyzer.settings, unit)
    there = x.digit(f"control system:{stage}.process", read.control_system, "control system")
    here = x.digit(f"reading:{stage}.process", read.shown, "display")
    text = f"{read.control_system.value - read.shown.value:f}"
    return propagate(lambda v: {"d": v[there] - v[here]}, x, {"d": unit}, {"d": text})["d"]


def as_found(checks: Sequence[Check], stage: str = "as_found") -> list[Check]:
    """Return what counts before anything is decided: a stage, the thermometer, the control system."""
    return [
        check
        for check in checks
        if check.counts
        and (
            check.stage in (stage, "thermometer")
            or (check.stage == "as_found" and check.place == "control system")
        )
    ]
