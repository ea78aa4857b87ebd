"""What a conductivity check refuses before it computes, and what brakes an adjustment."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from wqverify.calculations.conductivity import IN_US_CM
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.conductivity_sheet import (
    Adjusted,
    Compensation,
    ConductivityPoint,
    ConductivitySheet,
    OnStandards,
    Process,
    Zero,
)
from wqverify.procedures.conductivity_stages import TITLES, Stage
from wqverify.procedures.conductivity_values import worth
from wqverify.procedures.ph_sheet import ThermometerCheck
from wqverify.procedures.rules import (
    refuse_beyond,
    refuse_expired,
    refuse_outside,
    refuse_overdue,
    refuse_two_numbers,
    refuse_visit,
    standard,
    thermometer,
    typed,
)
from wqverify.terms import Given, Reading

POSSIBLE_WATER = (-5, 60)  # °C
POSSIBLE_COEFFICIENT = (0, 5)  # %/°C
REFERENCES = (Decimal(20), Decimal(25))  # °C, to which ISO 7888 gives factors
SENSIBLE_CONSTANT = (Decimal("0.7"), Decimal("1.4"))  # times the one held; beyond, something is mistaken
WAYS_WITHOUT = (
    "read again in another lot; or leave this one out; or write "
    'use = "information only", which shows the result without a pass.'
)


def refuse(sheet: ConductivitySheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother where the sheet cannot be computed as it stands."""
    refuse_visit(sheet, given)
    _refuse_other_analyzer(given)
    for stage in TITLES:
        part = getattr(sheet, stage)
        if isinstance(part, OnStandards):
            _refuse_stage(stage, part, sheet, given)
    if isinstance(sheet.thermometer_check, ThermometerCheck) and not sheet.thermometer_check.use:
        path, name = "thermometer_check.reference", sheet.thermometer_check.reference
        way = 'use another reference; or write use = "information only".'
        refuse_overdue(path, thermometer(name, path, given), sheet.date, way)
    for name in ("process_before", "process_after"):
        part = getattr(sheet, name)
        if isinstance(part, Process):
            _refuse_outside(f"{name}.shown", "The display of the process", part.shown, given)
            if part.temperature_c is not None:
                refuse_beyond(
                    f"{name}.temperature_c", "temperature", part.temperature_c, POSSIBLE_WATER, "°C"
                )
    _refuse_mistyped(sheet)


def _refuse_other_analyzer(given: Given) -> None:
    analyzer = given.analyzer
    if analyzer.unit not in IN_US_CM:
        raise ChooseAnother(
            f"{analyzer.tag} measures {analyzer.measures} in {analyzer.unit}; this procedure is for "
            f"conductivity in {', '.join(IN_US_CM)}. Name a conductivity analyzer, or take the procedure of "
            f"this one.",
            found=analyzer.unit,
            expected=", ".join(IN_US_CM),
            where="tag",
        )


def _refuse_stage(stage: str, part: OnStandards, sheet: ConductivitySheet, given: Given) -> None:
    title, seen = TITLES[stage].capitalize(), dict[str, int]()
    if isinstance(part.zero, Zero):
        for index, reading in enumerate(part.zero.readings):
            # Dry in air it may show a little less than nothing; the register's range starts at its bottom.
            low = min(given.analyzer.low, -given.analyzer.high / 100)
            where = f"{stage}.zero.readings.{index}"
            refuse_outside(where, f"{title}, zero", reading.value, given, low, given.analyzer.high)
    for index, point in enumerate(part.points):
        path = f"{stage}.points.{index}"
        first = seen.setdefault(point.standard, index)
        if first != index:
            raise CorrectTheEntry(
                f"{title} has the standard {point.standard} twice ({first + 1} and {index + 1}); keep one "
                f"with all its readings, or name the bottle that was really used.",
                found=point.standard,
                where=f"{path}.standard",
            )
        _refuse_point(path, f"{title}, standard {index + 1}", point, sheet, given)
    if part.thermometer:
        path = f"{stage}.thermometer"
        way = "use another reference; or leave the thermometer out, its uncertainty is then assumed."
        refuse_overdue(path, thermometer(part.thermometer, path, given), sheet.date, way)


def _refuse_point(
    path: str, title: str, point: ConductivityPoint, sheet: ConductivitySheet, given: Given
) -> None:
    known = standard(point.standard, f"{path}.standard", given)
    refuse_beyond(f"{path}.temperature_c", "temperature", point.temperature_c, POSSIBLE_WATER, "°C")
    for index, reading in enumerate(point.readings):
        _refuse_outside(f"{path}.readings.{index}", f"{title}, reading {index + 1}", reading, given)
    if not point.use:
        refuse_expired(f"{path}.standard", title, known, sheet.date, WAYS_WITHOUT)
    try:
        worth(known, point.temperature_c.value, given)
    except (CorrectTheEntry, ChooseAnother) as problem:
        wrong = "temperature_c" if isinstance(problem, CorrectTheEntry) else "standard"
        raise type(problem)(
            f"{title}: {problem.message}",
            found=problem.found,
            expected=problem.expected,
            where=f"{path}.{wrong}",
        ) from problem


def _refuse_outside(path: str, title: str, reading: Reading, given: Given) -> None:
    refuse_outside(path, title, reading.value, given, given.analyzer.low, given.analyzer.high)


def _refuse_mistyped(sheet: ConductivitySheet) -> None:
    """Refuse what no transmitter holds, and one number of its menu typed at two places as two."""
    for path, found in _coefficients(sheet):
        refuse_beyond(path, "coefficient", found, POSSIBLE_COEFFICIENT, "%/°C")
    held = sheet.compensation if isinstance(sheet.compensation, Compensation) else None
    reference = held.reference_c if held is not None else None
    if held is not None and reference is not None:
        refuse_beyond("compensation.reference_c", "reference temperature", reference, POSSIBLE_WATER, "°C")
        if held.method == "ISO 7888" and reference.value not in REFERENCES:
            raise CorrectTheEntry(
                f"compensation.reference_c is {reference.text} °C; ISO 7888 has factors to 20 and to 25 °C. "
                "Look at the menu again, or name the method that is set.",
                found=reference.text,
                expected="20 or 25",
                where="compensation.reference_c",
            )
    for path, constant in _constants(sheet):
        if constant.value <= 0:
            raise CorrectTheEntry(
                f"{path} is {constant.text} 1/cm; a cell constant is above 0. Type it as the menu shows it.",
                found=constant.text,
                expected="above 0",
                where=path,
            )
    for name, unit in (("cell_constant", "1/cm"), ("zero", "the analyzer's unit")):
        changed, stored = typed(sheet.adjusted, f"{name}_from"), typed(sheet.stored, name)
        refuse_two_numbers(f"adjusted.{name}_from", changed, f"stored.{name}", stored, unit)


def _coefficients(sheet: ConductivitySheet) -> Iterator[tuple[str, Reading]]:
    for part, name in (("compensation", "coefficient"), ("adjusted", "coefficient_to")):
        found = typed(getattr(sheet, part), name)
        if found is not None:
            yield f"{part}.{name}", found


def _constants(sheet: ConductivitySheet) -> Iterator[tuple[str, Reading]]:
    for part, name in (
        ("stored", "cell_constant"),
        ("adjusted", "cell_constant_from"),
        ("adjusted", "cell_constant_to"),
    ):
        found = typed(getattr(sheet, part), name)
        if found is not None:
            yield f"{part}.{name}", found


# ---------------------------------------------------------------- brakes on adjusting


def brake(sheet: ConductivitySheet, before: Stage) -> None:
    """Raise CorrectTheEntry where an adjustment is not founded on what was read before it.

    What a person may overrule with ``despite`` is said; a cell constant without a standard, and a zero
    without the cell dry in air, nobody may.
    """
    decision, adjusted = sheet.decision, sheet.adjusted
    if decision is None or not isinstance(adjusted, Adjusted) or decision.action == "replace":
        return
    if adjusted.zero_to is not None and before.zero is None:
        raise CorrectTheEntry(
            "The zero was adjusted and the cell was not read dry in air before it. Read it dry in air, or "
            "leave the zero as it was.",
            found="no zero",
            expected="the zero in air",
            where="adjusted.zero_to",
        )
    if adjusted.cell_constant_to is None:
        return
    usable = [point for point in before.points if not point.information and not point.why_none]
    if not usable:
        raise CorrectTheEntry(
            "The cell constant was adjusted and no standard that counts was read before it. Read in a "
            "standard, or leave the cell constant as it was.",
            found="no standard",
            expected="a standard in date",
            where="adjusted.cell_constant_to",
        )
    reason = why_not_adjust(before)
    if reason and not decision.despite:
        raise CorrectTheEntry(
            f"{reason[0].upper()}{reason[1:]}. Nothing is adjusted to that: clean and read again, look at "
            "bottle "
            f'and temperature, or write decision.despite = "..." with your reason to go on.',
            where="decision.action",
        )


def why_not_adjust(before: Stage) -> str:
    """Return why readings found no cell constant; empty where they do."""
    for point in before.points:
        if point.unsteady:
            return f"in {point.id} {point.unsteady}"
    asked = [
        (p, before.quantities[f"{p.id}.factor"])
        for p in before.counted
        if f"{p.id}.factor" in before.quantities
    ]
    low, high = SENSIBLE_CONSTANT
    for point, _ in asked:
        assert point.expected is not None
        factor = point.expected / point.mean
        if not low <= factor <= high:
            return (
                f"{point.id} asks for a cell constant {factor:.2f} times the present one; {low} to {high} "
                f"is sensible: a wrong bottle, a dead or dirty cell or another cell is likelier"
            )
    if len(asked) < 2:
        return ""
    (one, first), (other, second) = asked[0], asked[-1]
    if abs(first.value - second.value) > float(first.expanded) + float(second.expanded):
        return (
            f"{one.id} asks for {first.value:.4g} and {other.id} for {second.value:.4g} times the present "
            "cell constant, further apart than their U: no cell constant brings both right"
        )
    return ""
