"""What a pH calibration refuses before it computes, and what brakes an adjustment."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from wqverify.errors import CorrectTheEntry
from wqverify.procedures.parts import NotDone, Points
from wqverify.procedures.ph_inputs import Measured
from wqverify.procedures.ph_sheet import Adjusted, BufferPoint, Grab, PhSheet, ThermometerCheck
from wqverify.procedures.rules import (
    refuse_beyond,
    refuse_expired,
    refuse_outside,
    refuse_overdue,
    refuse_two_numbers,
    refuse_visit,
    standard,
)
from wqverify.terms import Given, Quantity, Reading, Tolerance

STAGES = ("as_found", "after_cleaning", "as_left")
TITLES = {"as_found": "as found", "after_cleaning": "after cleaning", "as_left": "as left"}
APART_AT_LEAST = Decimal(2)  # pH between buffers for a slope: below, its uncertainty is useless
SENSIBLE_SLOPE = (80, 110)  # percent; beyond, a typing error or a broken electrode is likelier than a slope
POSSIBLE_SLOPE = (20, 150)  # percent; beyond, a stored slope is taken as mistyped
POSSIBLE_WATER = (-5, 60)  # °C; likewise the temperature of process and grab
GRABS_AGREE = "0.10"  # pH between the errors by two grabs; common practice

COMMON_PRACTICE = {
    "slope": Tolerance(
        unit="%",
        low=Decimal(95),
        high=Decimal(105),
        rule="simple",
        basis="common practice",
        source="95 to 105 % of the theoretical slope",
    ),
    "offset_mv": Tolerance(
        unit="mV",
        low=Decimal(-30),
        high=Decimal(30),
        rule="simple",
        basis="common practice",
        source="within 30 mV at pH 7",
    ),
    "check_buffer": Tolerance(
        unit="pH",
        low=Decimal("-0.05"),
        high=Decimal("0.05"),
        rule="simple",
        basis="common practice",
        source="a check buffer within 0.05 pH of its value at its temperature",
    ),
}


def refuse(sheet: PhSheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother where the sheet cannot be computed as it stands."""
    refuse_visit(sheet, given)
    for stage in STAGES:
        part = getattr(sheet, stage)
        if isinstance(part, Points):
            _refuse_stage(stage, part, sheet, given)
    if isinstance(sheet.check_buffer, BufferPoint):
        _refuse_point("check_buffer", "The check buffer", sheet.check_buffer, sheet, given)
    if isinstance(sheet.thermometer_check, ThermometerCheck) and not sheet.thermometer_check.use:
        _refuse_overdue("thermometer_check.reference", sheet.thermometer_check.reference, sheet, given, True)
    for path, shown in _process_readings(sheet):
        _refuse_outside(path, "The display of the process", shown, given)
    _refuse_mistyped(sheet)
    _refuse_contradictions(sheet)


def _refuse_stage(stage: str, part: Points[BufferPoint], sheet: PhSheet, given: Given) -> None:
    seen: dict[str, int] = {}
    for index, point in enumerate(part.points):
        path = f"{stage}.points.{index}"
        first = seen.setdefault(point.standard, index)
        if first != index:
            raise CorrectTheEntry(
                f"{TITLES[stage].capitalize()} has the buffer {point.standard} twice (points {first + 1} and "
                f"{index + 1}); keep one with all its readings, or name the bottle that was really used.",
                found=point.standard,
                where=f"{path}.standard",
            )
        _refuse_point(path, f"{TITLES[stage].capitalize()}, point {index + 1}", point, sheet, given)
    if part.thermometer:
        _refuse_overdue(f"{stage}.thermometer", part.thermometer, sheet, given, False)


def _refuse_point(path: str, title: str, point: BufferPoint, sheet: PhSheet, given: Given) -> None:
    bottle = standard(point.standard, f"{path}.standard", given)
    for index, reading in enumerate(point.values):
        _refuse_outside(f"{path}.readings.{index}", f"{title}, reading {index + 1}", reading, given)
    if not point.use:
        ways = (
            "read again in another lot that brackets the process value; or leave this buffer out, a check in "
            "one buffer stands with the slope not evaluated; or write "
            'use = "information only", which shows the result without a pass.'
        )
        refuse_expired(f"{path}.standard", title, bottle, sheet.date, ways)


def _refuse_overdue(path: str, name: str, sheet: PhSheet, given: Given, may_inform: bool) -> None:
    way = (
        'write use = "information only"'
        if may_inform
        else "leave the thermometer out, its uncertainty is then assumed"
    )
    refuse_overdue(path, standard(name, path, given), sheet.date, f"use another reference; or {way}.")


def _refuse_outside(path: str, title: str, value: Decimal, given: Given) -> None:
    low, high = max(given.analyzer.low, Decimal(0)), min(given.analyzer.high, Decimal(14))
    refuse_outside(path, title, value, given, low, high)


def _refuse_mistyped(sheet: PhSheet) -> None:
    """Refuse what no electrode and no water of a plant has."""
    for path, typed in (*_constants(sheet, "slope_percent"), *_changed(sheet, "slope")):
        refuse_beyond(path, "slope", typed, POSSIBLE_SLOPE, "%")
    for path, typed in _water_temperatures(sheet):
        refuse_beyond(path, "temperature", typed, POSSIBLE_WATER, "°C")


def _refuse_contradictions(sheet: PhSheet) -> None:
    """One number of the menu typed at two places must be one number."""
    pairs = (("slope", "slope_percent", "%"), ("offset", "offset_mv", "mV"))
    for what, name, unit in pairs:
        changed, held = dict(_changed(sheet, what)), dict(_constants(sheet, name))
        for path, other in (
            (f"adjusted.{what}_from", f"stored.{name}"),
            (f"adjusted.{what}_to", f"constants_as_left.{name}"),
        ):
            refuse_two_numbers(path, changed.get(path), other, held.get(other), unit)


def _constants(sheet: PhSheet, name: str) -> Iterator[tuple[str, Reading]]:
    for part in ("stored", "constants_as_left"):
        typed = getattr(getattr(sheet, part), name, None)
        if typed is not None:
            yield f"{part}.{name}", typed


def _changed(sheet: PhSheet, what: str) -> Iterator[tuple[str, Reading]]:
    for end in ("from", "to"):
        typed = getattr(sheet.adjusted, f"{what}_{end}", None)
        if typed is not None:
            yield f"adjusted.{what}_{end}", typed


def _water_temperatures(sheet: PhSheet) -> Iterator[tuple[str, Reading]]:
    grabs = {f"grab.{index}": grab for index, grab in enumerate(sheet.grab)}
    parts = {name: getattr(sheet, name) for name in ("process_before", "process_after", "grab_after")}
    for path, part in (parts | grabs).items():
        for name in ("temperature_c", "shown_c"):
            typed = getattr(part, name, None)
            if typed is not None:
                yield f"{path}.{name}", typed


def _process_readings(sheet: PhSheet) -> Iterator[tuple[str, Decimal]]:
    for name in ("process_before", "process_after"):
        part = getattr(sheet, name)
        if part is not None and not isinstance(part, NotDone):
            yield f"{name}.ph", part.ph.value
    for index, grab in enumerate(sheet.grab):
        yield f"grab.{index}.shown", grab.shown.value
    if isinstance(sheet.grab_after, Grab):
        yield "grab_after.shown", sheet.grab_after.shown.value


# ---------------------------------------------------------------- brakes on adjusting


def spread(points: Sequence[Measured]) -> Decimal:
    """Return how far apart the buffers of some points are, pH."""
    values = [point.buffer.exact for point in points]
    return max(values) - min(values)


def brake(
    sheet: PhSheet, given: Given, points: Sequence[Measured], quantities: Mapping[str, Quantity]
) -> None:
    """Raise CorrectTheEntry where an adjustment is not founded on what was read before it.

    ``points`` and ``quantities`` are those of the last stage before the adjustment. What a person may
    overrule with ``despite`` is said; a slope from buffers less than 2 pH apart nobody may.
    """
    decision = sheet.decision
    if decision is None or not isinstance(sheet.adjusted, Adjusted) or decision.action == "replace":
        return
    _refuse_slope_from_too_little(sheet, decision.to, points)
    reason = _reason_to_stop(sheet, given, points, quantities)
    if reason and not decision.despite:
        raise CorrectTheEntry(
            f"{reason} Nothing is adjusted to that: correct the readings, clean and read again, or write "
            f'decision.despite = "..." with your reason to go on.',
            where="decision.action",
        )


def _refuse_slope_from_too_little(sheet: PhSheet, to: str, points: Sequence[Measured]) -> None:
    assert sheet.decision is not None
    if sheet.decision.action != "two-point":
        return
    if to == "grab":
        raise CorrectTheEntry(
            "A two-point adjustment to grabs is refused: grabs of one water are too close together for a "
            "slope. Adjust the offset to them, or the slope in buffers.",
            found="two-point to grab",
            where="decision.action",
        )
    usable = [point for point in points if not point.information]
    if len(usable) < 2 or spread(usable) < APART_AT_LEAST:
        found = f"{len(usable)} buffer" if len(usable) < 2 else f"{spread(usable)} pH between the buffers"
        raise CorrectTheEntry(
            f"A two-point adjustment needs two buffers in date at least {APART_AT_LEAST} pH apart; before it "
            f"there was {found}. Read in a second buffer, or adjust the offset only.",
            found=found,
            expected=f"at least {APART_AT_LEAST} pH apart",
            where="decision.action",
        )


def _reason_to_stop(
    sheet: PhSheet, given: Given, points: Sequence[Measured], quantities: Mapping[str, Quantity]
) -> str:
    assert sheet.decision is not None
    if sheet.decision.to == "grab":
        return _grabs_disagree(sheet, given)
    if not points:
        return "No buffer was read before the adjustment."
    for point in points:
        if point.unsteady:
            return f"In {point.id} {point.unsteady}."
        if point.information:
            return f"{point.id} was read for information only."
    if sheet.decision.action == "two-point":
        return senseless_slope(quantities)
    return ""


def senseless_slope(quantities: Mapping[str, Quantity]) -> str:
    """Return what is wrong with a slope that no working electrode has, empty where it is sensible."""
    low, high = SENSIBLE_SLOPE
    slope = quantities.get("slope")
    if slope is not None and not low <= slope.value <= high:
        sign = " (of the wrong sign)" if slope.value < 0 else ""
        return (
            f"The readings before the adjustment give a slope of {slope.value:.1f} %{sign}; an electrode "
            f"that works gives {low} to {high} %, so a reading is mistyped, a buffer mistaken or the "
            "electrode broken."
        )
    gain = quantities.get("gain")
    if slope is None and gain is not None and not low <= gain.value * 100 <= high:
        return (
            f"Between the buffers the display moved {gain.value:.2f} pH per pH; {low / 100} to "
            f"{high / 100} is sensible, so a reading is mistyped, a buffer mistaken or the electrode broken."
        )
    return ""


def _grabs_disagree(sheet: PhSheet, given: Given) -> str:
    if len(sheet.grab) < 2:
        return f"An adjustment to grabs needs two that agree; the sheet has {len(sheet.grab)}."
    limit = Decimal(given.analyzer.settings.get("grabs_agree_ph", GRABS_AGREE))
    errors = [grab.shown.value - grab.ph.value for grab in sheet.grab]
    apart = max(errors) - min(errors)
    if apart > limit:
        return f"The errors by the grabs differ by {apart} pH; two that agree within {limit} pH are needed."
    return ""
