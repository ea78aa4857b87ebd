"""What a temperature check refuses before it computes, and what brakes an adjustment."""

from __future__ import annotations

from decimal import Decimal

from wqverify.errors import CorrectTheEntry
from wqverify.procedures.parts import NotDone
from wqverify.procedures.rules import (
    refuse_beyond,
    refuse_outside,
    refuse_overdue,
    refuse_visit,
    thermometer,
)
from wqverify.procedures.temperature_budget import widest
from wqverify.procedures.temperature_sheet import Adjusted, Bath, Element, InBaths, Process, TemperatureSheet
from wqverify.procedures.temperature_stages import (
    TITLES,
    Stage,
    built_in,
    correction_of,
    no_two,
    stages,
)
from wqverify.terms import Given, Reading

POSSIBLE = (-50, 150)  # °C, of a bath and of what a built-in temperature shows in it
POSSIBLE_OHM = (1, 2000)  # of a platinum element at 0 °C
SENSIBLE_GAIN = Decimal(5)  # percent; beyond, a wrong element type or a mistyped reading is likelier
DEGREES_C = "°C"


def refuse(sheet: TemperatureSheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother where the sheet cannot be computed as it stands."""
    refuse_visit(sheet, given)
    if isinstance(sheet.element, Element):
        refuse_beyond("element.nominal_ohm", "resistance", sheet.element.nominal_ohm, POSSIBLE_OHM, "ohm")
    for stage in TITLES:
        part = getattr(sheet, stage)
        if isinstance(part, InBaths):
            for index, point in enumerate(part.points):
                title = f"{TITLES[stage].capitalize()}, bath {index + 1}"
                _refuse_point(f"{stage}.points.{index}", title, point, sheet, given)
    for name in ("process_before", "process_after"):
        part = getattr(sheet, name)
        if isinstance(part, Process):
            _refuse_shown(f"{name}.shown", "The display of the process", part.shown, given)
    stages(sheet, given)  # a resistance that no element has


def _refuse_point(path: str, title: str, point: Bath, sheet: TemperatureSheet, given: Given) -> None:
    for index, reading in enumerate(point.readings):
        _refuse_shown(f"{path}.readings.{index}", f"{title}, reading {index + 1}", reading, given)
    if point.standard is None or point.reference is None:
        return
    known = thermometer(point.standard, f"{path}.standard", given)
    if not point.use:
        way = (
            'use another reference; or write use = "information only", which shows the result without a pass.'
        )
        refuse_overdue(f"{path}.standard", known, sheet.date, way)
    refuse_beyond(f"{path}.reference", "temperature", point.reference, POSSIBLE, DEGREES_C)
    correction_of(known, point.reference.value, path)


def _refuse_shown(path: str, title: str, shown: Reading, given: Given) -> None:
    if built_in(given):
        refuse_beyond(path, "temperature", shown, POSSIBLE, DEGREES_C)
    else:
        refuse_outside(path, title, shown.value, given, given.analyzer.low, given.analyzer.high)


# ---------------------------------------------------------------- brakes on adjusting


def brake(sheet: TemperatureSheet, given: Given, found: Stage) -> None:
    """Raise CorrectTheEntry where an adjustment is not founded on what was read before it.

    What a person may overrule with ``despite`` is said; a gain from one bath, or from two that are as good as
    one, nobody may.
    """
    decision, adjusted = sheet.decision, sheet.adjusted
    if decision is None or not isinstance(adjusted, Adjusted) or decision.action == "replace":
        return
    lacking = why_no_gain(sheet, given, found)
    if adjusted.gain_to is not None and lacking:
        raise CorrectTheEntry(
            f"The gain was adjusted, and {lacking}. Read in a second bath, or adjust the offset only.",
            found=lacking,
            expected="two baths",
            where="adjusted.gain_to",
        )
    reason = why_not_adjust(found)
    if reason and not decision.despite:
        raise CorrectTheEntry(
            f"{reason[0].upper()}{reason[1:]}. Nothing is adjusted to that: wait and read again, or write "
            f'decision.despite = "..." with your reason to go on.',
            where="decision.action",
        )


def why_no_gain(sheet: TemperatureSheet, given: Given, found: Stage) -> str:
    """Return why the baths do not give a gain; empty where they do."""
    return "as found was not done" if isinstance(sheet.as_found, NotDone) else no_two(found, given)


def why_not_adjust(found: Stage) -> str:
    """Return why readings found no adjustment; empty where they do."""
    if not found.points:
        return "no bath was read before the adjustment"
    for point in found.points:
        if point.unsteady:
            return f"in {point.id} {point.unsteady}"
    if all(point.information for point in found.points):
        return "every bath was read for information only"
    if not any(point.counts for point in found.points):
        point = next(point for point in found.points if point.no_ice)
        return f"{point.id} was {point.no_ice}"
    pair = widest(found.points)
    if pair is None:
        return ""
    low, high = pair
    gain = 100 * ((high.mean - low.mean) / (high.true - low.true) - 1)
    if abs(gain) > SENSIBLE_GAIN:
        return (
            f"the display moved {gain:+.1f} % more than the baths, and {SENSIBLE_GAIN} % is sensible: a "
            f"wrong element type or a mistyped reading is likelier"
        )
    return ""
