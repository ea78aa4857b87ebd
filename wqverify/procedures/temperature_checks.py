"""The checks of a temperature visit: errors in two baths, the element against its class, control system."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.calculations.temperature import CLASS_RANGES, class_tolerance
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.parts import NotDone, SameAs
from wqverify.procedures.rules import NOT_READ_AGAIN, frozen
from wqverify.procedures.temperature_budget import Measured, TemperatureInputs
from wqverify.procedures.temperature_sheet import Element, InBaths, Process, TemperatureSheet
from wqverify.procedures.temperature_stages import (
    PROCESS_AT,
    TITLES,
    Stage,
    apart_wanted,
    built_in,
    name_of,
    no_two,
    process_at,
    stages,
    unit_of,
)
from wqverify.procedures.workings import plain
from wqverify.terms import Check, Given, Outcome, Quantity, Tolerance

TOLERANCES = ("error", "thermometer", "control_system")


def tolerance_for(kind: str, given: Given) -> Tolerance | None:
    """Return the register's tolerance; that of a built-in temperature is called thermometer."""
    held = given.analyzer.tolerances
    own = held.get("thermometer") if built_in(given) else held.get("error") or held.get("thermometer")
    if kind == "control_system" and not built_in(given):
        return held.get("control_system") or own
    return own


def class_of(sheet: TemperatureSheet) -> str:
    """Return the tolerance class of the element, empty where it is not known."""
    return (sheet.element.tolerance_class or "") if isinstance(sheet.element, Element) else ""


# ---------------------------------------------------------------- keys


def keys_of(sheet: TemperatureSheet, given: Given) -> Iterator[str]:
    """Give the keys of the checks that a sheet asks for."""
    for name in TITLES:
        part = getattr(sheet, name)
        read = getattr(sheet, part.same_as) if isinstance(part, SameAs) else part
        if isinstance(read, NotDone):
            yield f"{name}.error"
        elif isinstance(read, InBaths):
            for index, point in enumerate(read.points):
                yield f"{name}.{name_of(index)}.error"
                if point.element_ohm is not None:
                    yield f"{name}.{name_of(index)}.element"
                if point.control_system is not None:
                    yield f"{name}.{name_of(index)}.control_system"
            yield f"{name}.two_baths"
    for name in PROCESS_AT:
        if _control_system_asked(name, sheet, given):
            yield f"{name}.process.control_system"
    found = stages(sheet, given)
    for check in _not_read_again(sheet, given, found, tuple(_read(sheet, given, found))):
        yield check.key


def _control_system_asked(name: str, sheet: TemperatureSheet, given: Given) -> bool:
    """As found the control system has its own verdict, unless it was read in the baths."""
    read = process_at(name, sheet)
    if isinstance(read, Process) and read.control_system is not None:
        return True
    part = sheet.as_found
    there = isinstance(part, InBaths) and any(point.control_system for point in part.points)
    due = bool(given.analyzer.control_system_tag) and not built_in(given)
    return name == "as_found" and due and not there


# ---------------------------------------------------------------- checks


def checks_of(sheet: TemperatureSheet, given: Given, found: Mapping[str, Stage]) -> Iterator[Check]:
    """Give all checks of a visit, in the order of the keys."""
    read = tuple(_read(sheet, given, found))
    yield from read
    yield from _not_read_again(sheet, given, found, read)


def _read(sheet: TemperatureSheet, given: Given, found: Mapping[str, Stage]) -> Iterator[Check]:
    """Give the checks of what was read, and of what should have been."""
    for stage in found.values():
        if stage.not_done:
            yield not_evaluated(f"{stage.name}.error", stage.name, "Error", f"not done: {stage.not_done}")
            continue
        for point in stage.points:
            yield _error(stage, point, given)
            if point.element_c is not None:
                yield _element(stage, point, sheet)
            if point.control_system is not None:
                yield _there(stage, point, given)
        yield _two(stage, given)
    for name in PROCESS_AT:
        if _control_system_asked(name, sheet, given):
            yield _control_system(name, sheet, given)


def _not_read_again(
    sheet: TemperatureSheet, given: Given, found: Mapping[str, Stage], checks: Sequence[Check]
) -> Iterator[Check]:
    """What failed as found and was not read as left: the rest does not say that it is right now.

    A bath is read again where one as left is as warm, within half of what two baths have to lie apart.
    """
    before, left = found.get("as_found"), found.get("as_left")
    if before is None or left is None or left.not_done or left.same_as:
        return
    after, near, again = process_at("as_left", sheet), apart_wanted(given) / 2, set()
    if isinstance(after, Process) and after.control_system is not None:
        again.add("as_found.process.control_system")
    for point in before.points:
        same = [p for p in left.points if abs(p.true_c - point.true_c) <= near]
        again |= {f"as_found.{point.id}.error"} if same else set()
        there = any(p.control_system is not None for p in same)
        again |= {f"as_found.{point.id}.control_system"} if there else set()
    for check in checks:
        failed = check.stage == "as_found" and check.counts and check.outcome is Outcome.FAIL
        if failed and check.key not in again:
            _, what, kind = check.key.split(".")
            key = f"as_left.{what}.{kind}" if what == "process" else f"as_left.{what}-as-found.{kind}"
            yield not_evaluated(
                key, "as_left", check.label, NOT_READ_AGAIN, place=check.place, tolerance=check.tolerance
            )


def called(point: Measured) -> str:
    """Return a bath in words."""
    against = f" ({point.thermometer.id})" if point.thermometer is not None else ""
    return f"{point.kind}, {point.true_c:f} °C{against}"


def _error(stage: Stage, point: Measured, given: Given) -> Check:
    key, label = f"{stage.name}.{point.id}.error", f"Error in {called(point)}"
    error, tolerance = stage.quantities[f"{point.id}.error"], tolerance_for("error", given)
    typed: dict[str, Any] = {"observed": f"{point.mean:f}", "reference": f"{point.true:f}"}
    if point.reason:
        return not_evaluated(
            key,
            stage.name,
            label,
            point.reason,
            quantity=error,
            tolerance=tolerance,
            information=bool(point.information),
            **typed,
        )
    return judge(key, stage.name, label, error, tolerance, exact=point.unrounded, **typed)


def _element(stage: Stage, point: Measured, sheet: TemperatureSheet) -> Check:
    """The element against its class: it advises on the element, the verdict is that of the display."""
    assert point.element_c is not None
    key, name = f"{stage.name}.{point.id}.element", class_of(sheet)
    deviation = stage.quantities[f"{point.id}.element"]
    label = f"Element by itself, {called(point)}"
    typed: dict[str, Any] = {
        "observed": f"{point.element_c:f}",
        "reference": f"{point.true_c:f}",
        "counts": False,
    }
    reason = point.reason or _no_class(name, point)
    if reason:
        return not_evaluated(key, stage.name, label, reason, quantity=deviation, **typed)
    half = Decimal(plain(class_tolerance(point.true_c, name)))
    tolerance = Tolerance(
        unit="°C",
        rule="simple",
        basis="manufacturer",
        source=f"class {name} of IEC 60751:2022 at {point.true_c:f} °C",
        low=-half,
        high=half,
    )
    exact = point.element_c - point.true_c
    return judge(key, stage.name, f"{label}, class {name}", deviation, tolerance, exact=exact, **typed)


def _no_class(name: str, point: Measured) -> str:
    if not name:
        return "the tolerance class of the element was not entered"
    low, high = CLASS_RANGES[name]
    if not low <= point.true_c <= high:
        return (
            f"class {name} of IEC 60751 is stated for {low} to {high} °C, the bath was at {point.true_c} °C"
        )
    return ""


def _there(stage: Stage, point: Measured, given: Given) -> Check:
    assert point.control_system is not None
    key = f"{stage.name}.{point.id}.control_system"
    label = f"Error of the control system, sensor in {called(point)}"
    quantity, tolerance = (
        stage.quantities[f"{point.id}.control_system"],
        tolerance_for("control_system", given),
    )
    typed: dict[str, Any] = {
        "place": "control system",
        "observed": point.control_system.text,
        "reference": f"{point.true:f}",
    }
    reason = point.reason or point.stood_still
    if reason:
        return not_evaluated(key, stage.name, label, reason, quantity=quantity, tolerance=tolerance, **typed)
    return judge(key, stage.name, label, quantity, tolerance, **typed)


def _two(stage: Stage, given: Given) -> Check:
    """Two baths, or no pass: a criterion of the visit, so it never fails the analyzer."""
    key, label, wanted = f"{stage.name}.two_baths", "Two baths, warmest less coldest", apart_wanted(given)
    tolerance = Tolerance(
        unit="°C",
        rule="simple",
        basis="common practice",
        source=f"two baths at least {wanted} °C apart, no source",
        low=wanted,
    )
    reason = no_two(stage, given)
    if reason or stage.apart is None:
        return not_evaluated(key, stage.name, label, reason, tolerance=tolerance)
    return judge(key, stage.name, label, Quantity(f"{stage.apart:f}", "°C", float(stage.apart)), tolerance)


def _control_system(stage: str, sheet: TemperatureSheet, given: Given) -> Check:
    """The control system against the display, read at one moment in the process."""
    key, label = f"{stage}.process.control_system", "Control system minus display, in the process"
    read, tolerance = process_at(stage, sheet), tolerance_for("control_system", given)
    if not isinstance(read, Process) or read.control_system is None:
        reason = f"not done: {read.not_done}" if isinstance(read, NotDone) else "it was not read"
        return not_evaluated(key, stage, label, reason, place="control system", tolerance=tolerance)
    quantity = difference(read, stage, given)
    typed: dict[str, Any] = {
        "place": "control system",
        "observed": read.control_system.text,
        "reference": read.shown.text,
    }
    reason = frozen(PROCESS_AT[stage], given)
    if reason:
        return not_evaluated(key, stage, label, reason, quantity=quantity, tolerance=tolerance, **typed)
    return judge(key, stage, label, quantity, tolerance, **typed)


def difference(read: Process, stage: str, given: Given) -> Quantity:
    """Return control system minus display; both are uncertain by their last digit."""
    assert read.control_system is not None
    x = TemperatureInputs(given.analyzer.settings, 1.0)
    there = x.digit(f"control system:{stage}.process", read.control_system, "control system")
    here = x.digit(f"reading:{stage}.process", read.shown, "display")
    text, unit = f"{read.control_system.value - read.shown.value:f}", unit_of(given)
    return propagate(lambda v: {"d": v[there] - v[here]}, x, {"d": unit}, {"d": text})["d"]
