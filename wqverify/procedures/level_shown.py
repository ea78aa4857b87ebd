"""What is shown beside the checks of a level check: values, hand calculations and charts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from wqverify.calculations import level
from wqverify.calculations.units import InUnit, in_unit
from wqverify.procedures.level_budget import Budget, key_of, water_quantity
from wqverify.procedures.level_lines import Ends, Line, Range, ends_of
from wqverify.procedures.level_parts import Stored
from wqverify.procedures.level_points import PLACES, STAGES, Point, Where, range_at
from wqverify.procedures.level_rules import Found, kind_of, short
from wqverify.procedures.level_sheet import LevelSheet
from wqverify.procedures.workings import answer, answer_shown, as_sure, expanded_working, signed
from wqverify.terms import Chart, Check, Given, Quantity, Series, Value, Working
from wqverify.terms import Line as Limit

TANAKA = "Tanaka and others, Metrologia 38 (2001) 301"
SOUND = "c = 331.45 + 0.607 t"


# ---------------------------------------------------------------- ends of the signal


def ends_found(lines: Sequence[Line], sheet: LevelSheet, given: Given) -> list[Ends]:
    """Return how each far end goes with the transmitter, from its line on the current."""
    transmitter = range_at("transmitter", "as_found", sheet, given)
    if transmitter is None:
        return []
    by_current = [line for line in lines if line.against == "current"]
    return [ends_of(line, transmitter, _known(line, sheet, given), given) for line in by_current]


def _known(line: Line, sheet: LevelSheet, given: Given) -> Mapping[str, Range]:
    """The ranges that may be set at a far end, by what says so."""
    unit = given.analyzer.unit
    known = {
        f"the register ({hop.name})": (hop.low, hop.high)
        for hop in given.analyzer.hops
        if hop.low is not None and hop.high is not None and hop.unit in ("", unit)
    }
    read = range_at(line.place, "as_found", sheet, given)
    return {**known, **({"what was read there": read} if read else {})}


# ---------------------------------------------------------------- temperature, density, sound


def stored_of(sheet: LevelSheet) -> Stored:
    """Return what the transmitter holds, empty where it was not read."""
    return sheet.stored if isinstance(sheet.stored, Stored) else Stored()


def water_of(found: Found) -> InUnit | None:
    """Return the temperature of the water, as found."""
    return next((point.water for point in found.of("as_found") if point.water is not None), None)


def excess(sheet: LevelSheet, found: Found, given: Given) -> float | None:
    """Return by how much of the level the density setting is wrong; None where it is not known."""
    stored, water = stored_of(sheet).density_kg_m3, water_of(found)
    if kind_of(sheet, given) != "hydrostatic" or stored is None or water is None:
        return None
    density = water_quantity(water, given).value
    return float(level.excess_by_density(density, float(stored.value)))


def distance_of(sheet: LevelSheet, point: Point, given: Given) -> Decimal | None:
    """Return how far the water lay below the sensor face, None where it is not known."""
    typed = stored_of(sheet).sensor
    if typed is None or point.reference is None:
        return None
    return in_unit(typed, given.analyzer.unit, "stored.sensor").value - point.reference


def by_air(sheet: LevelSheet, point: Point, given: Given) -> float | None:
    """Return what the temperature of the air does to an ultrasonic level; None where it is not known."""
    stored, distance = stored_of(sheet).air_c, distance_of(sheet, point, given)
    if kind_of(sheet, given) != "ultrasonic" or stored is None or point.air is None or distance is None:
        return None
    assumed = in_unit(stored, "degC", "stored.air_c").value
    return -float(level.error_of_distance(float(distance), float(point.air.value), float(assumed)))


# ---------------------------------------------------------------- values


def values(sheet: LevelSheet, found: Found, lines: Sequence[Line], given: Given) -> Iterator[Value]:
    """Give the quantities that are shown and not judged."""
    unit = given.analyzer.unit
    for point in found.points:
        key = f"{point.stage}.{point.name}.reference"
        if key in found.quantities:
            yield Value(key, point.stage, f"Level by the pressure, {point.words}", found.quantities[key])
    water = water_of(found)
    if water is not None:
        label = f"Density of the water at {water.words.replace('degC', '°C')}"
        yield Value("water.density", "as_found", label, as_sure(water_quantity(water, given)), TANAKA)
    off = excess(sheet, found, given)
    if off is not None:
        text = f"{100 * off:.2f}"
        label = "The density in the menu makes the level read high by, of the level above the sensor"
        yield Value("water.excess", "as_found", label, Quantity(text, "%", 100 * off), "e = ρ/ρ set − 1")
    for point in found.of("as_found"):
        sound = by_air(sheet, point, given)
        if sound is not None:
            label = f"The temperature of the air makes the level read high by, {point.words}"
            shown = Quantity(f"{sound:.3f}", unit, sound)
            yield Value(f"as_found.{point.name}.air", "as_found", label, shown, SOUND)
    for line in lines:
        yield from _line_values(line)


def _line_values(line: Line) -> Iterator[Value]:
    where, key = PLACES[line.place], f"line.{line.place}.{line.against}"
    by_reference = line.against == "reference"
    on = "the reference" if by_reference else "what the current stands for"
    at_zero = "the reference is 0" if by_reference else "the current stands for 0"
    yield Value(f"{key}.slope", "line", f"Slope of {where} on {on}", as_sure(line.slope), "b = Δy/Δx")
    yield Value(
        f"{key}.zero",
        "line",
        f"{_capital(where)} where {at_zero}",
        as_sure(line.zero),
        "a = mean y − b × mean x",
    )
    for end, quantity in (("4 mA", line.low), ("20 mA", line.high)):
        if quantity is not None:
            label = f"{_capital(where)} is scaled so that {end} are"
            yield Value(
                f"{key}.{end.split()[0]}",
                "line",
                label,
                as_sure(quantity),
                "a + b × range of the transmitter",
            )


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


# ---------------------------------------------------------------- hand calculations


def workings(found: Found, checks: Sequence[Check], lines: Sequence[Line], given: Given) -> Iterator[Working]:
    """Give the calculations a person with a pocket calculator can follow, ending in the numbers shown."""
    unit = given.analyzer.unit
    shown = {check.key: check.quantity for check in checks if check.quantity is not None}
    first = True
    for point in found.points:
        yield from _reference_working(point, found, given)
        for place in found.budget.places(point):
            quantity, exact = shown.get(key_of(point, place)), found.budget.exact(point, place)
            if quantity is None or exact is None:
                continue
            yield _error_working(point, found.budget, place, exact, quantity, unit)
            if first:
                yield expanded_working(f"{STAGES[point.stage]}, {point.words}: U of the error", quantity)
                first = False
    for line in lines:
        yield from _line_working(line, found.budget)


def _reference_working(point: Point, found: Found, given: Given) -> Iterator[Working]:
    unit, title = given.analyzer.unit, f"{STAGES[point.stage]}, {point.words}: level by the reference"
    if point.injected and point.reference is not None and point.ma is not None:
        low, high = found.budget.ends[point.stage]
        yield Working(
            title,
            "L = low + (high − low)(I − 4)/16, the range of the transmitter",
            f"{signed(low)} + ({signed(high)} − {signed(low)})({point.ma.text} − 4)/16",
            f"{short(point.reference)} {unit}",
            "IEC 60381-1 (from memory)",
        )
        return
    if point.from_mark is None or not point.readings:
        return
    texts = [one.text for one in point.readings]
    read = texts[0] if len(texts) == 1 else f"({' + '.join(texts)})/{len(texts)}"
    above = signed(point.from_mark)
    if point.reference is not None:
        way = "−" if point.by_tape else "+"
        typed = [one.words for one in point.readings if one.words != f"{one.text} {unit}"]
        endless = ["fixed two digits beyond what was read"] if typed or len(texts) > 1 else []
        yield Working(
            title,
            f"L = (mark − zero) {way} reading",
            f"{above} {way} {read}",
            f"{short(point.reference)} {unit}",
            "; ".join((*typed, *endless)),
        )
        return
    by_pressure = found.quantities.get(f"{point.stage}.{point.name}.reference")
    if by_pressure is not None and point.water is not None:
        density = water_quantity(point.water, given)
        gravity = given.analyzer.settings.get("gravity", str(level.STANDARD_GRAVITY))
        factor = "" if unit == "m" else f" × {found.budget.metre:.6g}"
        yield Working(
            title,
            f"L = (gauge − zero) + 1000 p/(ρ g){' in ' + unit if factor else ''}",
            f"{above} + 1000 × {read}/({density.text} × {gravity}){factor}",
            f"{by_pressure.text} {unit}",
            TANAKA,
        )


def _error_working(
    point: Point, budget: Budget, place: Where, exact: Decimal, quantity: Quantity, unit: str
) -> Working:
    assert point.reference is not None
    shown = budget.level_at(point) if place == "current" else point.shown[place].value
    moved = point.rise.value * point.minutes if point.rise is not None else Decimal(0)
    less = f" − {signed(moved)}" if moved else ""
    formula = "e = shown − L − rise × minutes" if moved else "e = shown − L"
    where = PLACES[place]
    return Working(
        f"{STAGES[point.stage]}, {point.words}: error of {where}",
        formula,
        f"{short(shown)} − {signed(Decimal(short(point.reference)))}{less}",
        answer(short(exact), unit, quantity.text) if exact != quantity.decimal else f"{quantity.text} {unit}",
        "reading minus reference",
    )


def _line_working(line: Line, budget: Budget) -> Iterator[Working]:
    if len(line.points) != 2:
        return
    xs = [_x(point, line, budget) for point in line.points]
    if any(x is None for x in xs):
        return
    (x1, x2), (y1, y2) = (
        [signed(Decimal(short(x))) for x in xs if x is not None],
        [signed(point.shown[line.place].value) for point in line.points],
    )
    on = "reference" if line.against == "reference" else "current"
    yield Working(
        f"Slope of {PLACES[line.place]} on the {on}",
        "b = (y2 − y1)/(x2 − x1)",
        f"({y2} − {y1})/({x2} − {x1})",
        answer_shown(line.slope),
        "line through two points",
    )


def _x(point: Point, line: Line, budget: Budget) -> Decimal | None:
    return budget.level_at(point) if line.against == "current" else point.reference


# ---------------------------------------------------------------- charts


def charts(found: Found, checks: Sequence[Check], given: Given) -> Iterator[Chart]:
    """Give the errors of each place over the level, with the limits of the transmitter."""
    series: dict[str, list[tuple[str, str, str]]] = {}
    limits: list[Limit] = []
    by_key = {check.key: check for check in checks}
    for point in found.points:
        for place in found.budget.places(point):
            check = by_key.get(key_of(point, place))
            if check is None or check.quantity is None or not check.reference:
                continue
            name = f"{STAGES[point.stage].lower()}, {PLACES[place]}"
            row = (check.reference, check.quantity.text, check.quantity.expanded)
            series.setdefault(name, []).append(row)
            if place == "display" and check.low and check.high and not limits:
                limits = [Limit("tolerance", check.low), Limit("tolerance", check.high)]
    if series:
        unit = given.analyzer.unit
        drawn = tuple(Series(name, tuple(rows)) for name, rows in series.items())
        title = "Error at each place, with U; the limits are those of the transmitter"
        yield Chart(
            "errors", title, f"level by the reference, {unit}", f"error, {unit}", drawn, tuple(limits)
        )
