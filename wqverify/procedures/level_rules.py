"""What a level check refuses, and what brakes an adjustment."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from wqverify.calculations.units import UNITS, in_unit, units_that_fit
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.level_budget import Budget
from wqverify.procedures.level_parts import Adjusted, Kind, Stored
from wqverify.procedures.level_points import (
    PARTS,
    STAGES,
    Point,
    current_of,
    elevations,
    is_injected,
    points_of,
    range_at,
)
from wqverify.procedures.level_sheet import LevelSheet
from wqverify.procedures.parts import NotDone
from wqverify.procedures.rules import refuse_beyond, refuse_visit
from wqverify.terms import Given, Quantity, Reading

POSSIBLE_MA = (0, 25)
POSSIBLE_WATER = (0, 40)  # °C: the density of water is known so far
POSSIBLE_AIR = (-40, 60)
POSSIBLE_DENSITY = (500, 2000)  # kg/m3
WAYS = (
    "Ways on: fill or draw the tank to a second level, or inject a current; or leave the range alone and "
    "take "
    'adjusted out; or write decision.despite = "..." with your reason to go on.'
)


@dataclass(frozen=True)
class Found:
    """What a visit gives before it is judged: points, budget, errors by key of a check."""

    points: list[Point]
    budget: Budget
    quantities: dict[str, Quantity]

    def of(self, stage: str) -> list[Point]:
        return [point for point in self.points if point.stage == stage]


def found_of(sheet: LevelSheet, given: Given) -> Found:
    """Return all points of a visit with their errors."""
    points = [point for stage in STAGES for point in points_of(stage, sheet, given)]
    ends = {stage: range_at("transmitter", stage, sheet, given) for stage in STAGES}
    budget = Budget(points, given, ends)
    return Found(points, budget, budget.quantities())


def kind_of(sheet: LevelSheet, given: Given) -> Kind | None:
    """Return the kind of transmitter: as typed, else as the register's words have it."""
    if sheet.kind is not None:
        return sheet.kind
    words = given.analyzer.kind.lower()
    if "ultrasonic" in words:
        return "ultrasonic"
    return "hydrostatic" if "hydrostatic" in words or "pressure" in words else None


def ours(given: Given) -> bool:
    """Whether the plant itself owns the transmitter, by the register."""
    owner, site = given.analyzer.owner.casefold(), given.site.name.casefold()
    return not owner or owner.startswith(site) or site.startswith(owner)


# ---------------------------------------------------------------- refused


def refuse(sheet: LevelSheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother where the sheet cannot be computed as it stands."""
    refuse_visit(sheet, given)
    _refuse_other_analyzer(given)
    _refuse_without_permission(sheet, given)
    _refuse_ranges(sheet, given)
    elevations(sheet, given)  # a unit that does not fit
    for stage in STAGES:
        _refuse_readings(stage, sheet)
        for point in points_of(stage, sheet, given):
            _refuse_point(point, given)
    stored = sheet.stored if isinstance(sheet.stored, Stored) else Stored()
    if stored.density_kg_m3 is not None:
        refuse_beyond(
            "stored.density_kg_m3", "density of water", stored.density_kg_m3, POSSIBLE_DENSITY, "kg/m3"
        )
    for name in ("sensor", "blanking"):
        if (typed := getattr(stored, name)) is not None:
            in_unit(typed, given.analyzer.unit, f"stored.{name}")
    for stage in STAGES:  # last: while it is picked, the others are looked at with a stand-in
        for point in points_of(stage, sheet, given):
            _refuse_instrument(point, given)


def _refuse_other_analyzer(given: Given) -> None:
    analyzer, lengths = given.analyzer, tuple(UNITS["length"])
    if analyzer.measures != "level" or analyzer.unit not in lengths:
        raise ChooseAnother(
            f"{analyzer.tag} measures {analyzer.measures} in {analyzer.unit}; this procedure is for a level "
            f"in "
            f"{', '.join(lengths[:-1])} or {lengths[-1]}. Name a level transmitter, or take the procedure of "
            f"this one.",
            found=f"{analyzer.measures} in {analyzer.unit}",
            expected="level",
            where="tag",
        )


def _refuse_without_permission(sheet: LevelSheet, given: Given) -> None:
    if sheet.permission is None and not ours(given):
        raise CorrectTheEntry(
            f"{given.analyzer.tag} belongs to {given.analyzer.owner} by the register, and permission is "
            f'missing; enter who gave it, or permission.not_done = "because ...".',
            found="no permission",
            expected="who gave it",
            where="permission",
        )


def _refuse_ranges(sheet: LevelSheet, given: Given) -> None:
    """What stands in another unit is converted here, so that one that does not fit is refused first."""
    for stage in STAGES:
        for place in ("transmitter", "remote", "own"):
            range_at(place, stage, sheet, given)


def _refuse_readings(stage: str, sheet: LevelSheet) -> None:
    """What is wrong with single readings, before a level is computed of them."""
    for path, reading in _currents(stage, sheet):
        refuse_beyond(path, "loop current", Reading(str(reading.value), reading.value), POSSIBLE_MA, "mA")
    levels = sheet.as_found if stage == "as_found" else None
    for name, limits in (("water_c", POSSIBLE_WATER), ("air_c", POSSIBLE_AIR)):
        typed: Reading | None = getattr(levels, name, None)
        if typed is not None:
            here = in_unit(typed, "degC", f"{stage}.{name}")
            refuse_beyond(f"{stage}.{name}", "temperature", Reading(here.text, here.value), limits, "°C")


def _currents(stage: str, sheet: LevelSheet) -> Iterator[tuple[str, Reading]]:
    for part in PARTS[stage]:
        levels = getattr(sheet, part)
        for index, point in enumerate(() if isinstance(levels, NotDone | None) else levels.points):
            path = f"{part}.points.{index}"
            if point.ma is not None:
                yield f"{path}.ma", point.ma
            if is_injected(point):
                yield f"{path}.reference.0", current_of(point)


def _refuse_point(point: Point, given: Given) -> None:
    analyzer = given.analyzer
    display = point.shown.get("display")
    if display is not None and not analyzer.low <= display.value <= analyzer.high:
        raise CorrectTheEntry(
            f"{point.path}.display is {display.words}; {analyzer.tag} shows {analyzer.low} to "
            f"{analyzer.high} "
            f"{analyzer.unit}. Type what the display showed; where it showed this, take the transmitter out "
            f"of "
            f"service and say not_done.",
            found=display.text,
            expected=f"{analyzer.low} to {analyzer.high}",
            where=f"{point.path}.display",
        )
    if point.injected or point.nominal is None:
        return
    if not analyzer.low <= point.nominal <= analyzer.high:
        tape = (
            "a tape is typed from the mark down to the water, not as a level"
            if point.by_tape
            else "look again"
        )
        raise CorrectTheEntry(
            f"{point.path}.reference gives a level of {short(point.nominal)} {analyzer.unit}, and "
            f"{analyzer.tag} has {analyzer.low} to {analyzer.high}; {tape}, and elevations and level count "
            f"from "
            f"one datum.",
            found=short(point.nominal),
            expected=f"{analyzer.low} to {analyzer.high}",
            where=f"{point.path}.reference",
        )


def short(value: Decimal) -> str:
    """Return a level without the tail of a mean, to six places.

    >>> short(Decimal("23.630000")), short(Decimal(10))
    ('23.63', '10')
    """
    return f"{round(value, 6).normalize() + 0:f}"


def _refuse_instrument(point: Point, given: Given) -> None:
    """Raise ChooseAnother for what measures no level, no pressure or no current."""
    fits = ("mA",) if point.injected else units_that_fit("kPa" if point.by_pressure else given.analyzer.unit)
    wanted = [(point.instrument, f"{point.path}.instrument", fits)]
    if point.meter is not None and not point.injected:
        wanted.append((point.meter, "as_found.meter", ("mA",)))
    for one, path, units in wanted:
        if one.unit not in units:
            raise ChooseAnother(
                f"{path} names {one.id} ({one.name}), which is in {one.unit}; here it is one in "
                f"{', '.join(units)}. Name the instrument that was used.",
                found=one.unit,
                expected=", ".join(units),
                where=path,
            )


# ---------------------------------------------------------------- brake


def brake(sheet: LevelSheet, found: Found) -> None:
    """Raise CorrectTheEntry where a range is changed that two levels or currents did not find wrong."""
    decision = sheet.decision
    if decision is None or decision.despite or not isinstance(sheet.adjusted, Adjusted):
        return
    reason = why_not_adjust(decision.action, found)
    if reason:
        raise CorrectTheEntry(
            f"{reason} {WAYS}", expected="two levels, or a current injected", where="adjusted"
        )


def why_not_adjust(action: str, found: Found) -> str:
    """Return why a range cannot be set to what was found, empty where it can or only a zero is set."""
    if not action.startswith("range"):
        return ""
    known = [p for p in found.of("as_found") if not p.reason]
    if action == "range at the transmitter":
        known = [p for p in known if not p.injected]
    if len({p.nominal for p in known if p.nominal is not None}) < 2:
        return "A range is changed on two different levels; the sheet has one that can be used, or none."
    return ""
