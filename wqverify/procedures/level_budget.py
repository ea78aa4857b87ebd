"""The measurement models of a level check: errors at each place, and their lines, in one propagation.

e = shown + read - reference - rise x minutes, reference = mark - zero - (tape + tape error + plumb + waves).
Mark, tape and plumb are one cause for every level of a visit, so they cancel in a slope; the density of the
water enters only where a pressure gauge is the reference: against a tape it is part of the error found.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from wqverify.calculations import level
from wqverify.calculations.uncertainty import propagate, type_a
from wqverify.calculations.units import InUnit, convert
from wqverify.calculations.water_density import water_density
from wqverify.procedures.inputs import ROOT12, Inputs, Sizes, stated
from wqverify.procedures.level_points import Point, Where
from wqverify.terms import Given, Input, Quantity, SizeFrom, Standard

# In ft and in m, as an analyzer of one or the other has it; cm, mm and in are converted.
_LENGTHS: Mapping[str, tuple[str, str, SizeFrom, str]] = {
    "level_datum": ("0.05", "0.015", "memory", "survey or drawing of the mark, within ±{size}"),
    "level_tape": ("0.01", "0.003", "memory", "tape, within ±{size}; no certificate entered"),
    "level_plumb": ("0.02", "0.006", "memory", "tape not plumb, within ±{size}"),
    "level_waves": ("0.04", "0.012", "memory", "waves, one reading of the tape, within ±{size}"),
    "level_scale": ("0.05", "0.015", "memory", "gauge or sight tube, within ±{size}; no certificate entered"),
}
RISE = {"ft": "0.02", "m": "0.006"}  # per minute, where it was not entered
_OTHERS: Sizes = {
    "level_moment_min": (
        "2",
        "common practice",
        "reference and places not of one moment, within ±{size} min",
    ),
    "level_meter_ma": ("0.02", "memory", "instrument for the current, within ±{size} mA; no certificate"),
    "level_source_ma": ("0.005", "memory", "injected current, within ±{size} mA; no certificate entered"),
    "level_gauge_kpa": ("0.5", "memory", "pressure gauge, within ±{size} kPa; no certificate entered"),
    "level_water_c": ("0.5", "common practice", "temperature of the water, within ±{size} °C"),
    "level_density": ("0.5", "memory", "density of this water, within ±{size} kg/m3 of pure water"),
    "level_gravity": ("0.005", "memory", "gravity here, within ±{size} m/s2 of the standard one"),
}


def sizes_of(unit: str) -> Sizes:
    """Return the sizes of a level check in the analyzer's unit."""
    sizes: dict[str, tuple[str, SizeFrom, str]] = dict(_OTHERS)
    for name, (in_ft, in_m, size_from, words) in _LENGTHS.items():
        sizes[name] = (_size(in_ft, in_m, unit), size_from, words.replace("{size}", f"{{size}} {unit}"))
    return sizes


def _size(in_ft: str, in_m: str, unit: str) -> str:
    here, size = ("ft", in_ft) if unit in ("ft", "in") else ("m", in_m)
    if here == unit:
        return size
    return f"{round(convert(Decimal(size), here, unit), 9).normalize():f}"


def rise_of(point: Point, given: Given) -> float:
    """Return how fast the level moved, per minute: as entered, else as assumed."""
    if point.rise is not None:
        return float(point.rise.value)
    held = given.analyzer.settings.get("level_rise")
    return float(held or _size(RISE["ft"], RISE["m"], given.analyzer.unit))


# ---------------------------------------------------------------- one propagation


class Budget:
    """All that was read at one visit, each cause once; gives references, errors and lines together."""

    def __init__(self, points: Sequence[Point], given: Given, ends: Mapping[str, Any]) -> None:
        self.given, self.unit = given, given.analyzer.unit
        self.x = Inputs(given.analyzer.settings, sizes_of(self.unit))
        self.points = points
        self.ends = ends  # stage -> range of the transmitter
        by_pressure = any(point.by_pressure for point in points)
        self.metre = float(convert(Decimal(1), "m", self.unit)) if by_pressure else 1.0
        for point in points:
            self._enter(point)

    def quantities(self) -> dict[str, Quantity]:
        """Return the error at every place that showed something and has a reference, by "point.place"."""
        texts, units = {}, {}
        for point in self.points:
            for place in self.places(point):
                key = key_of(point, place)
                units[key] = self.unit
                exact = self.exact(point, place)
                if exact is not None:
                    texts[key] = f"{shortened(exact, point, place)}"
            if point.by_pressure and self.known(point):
                units[f"{point.stage}.{point.name}.reference"] = self.unit

        def model(v: Mapping[str, Any]) -> dict[str, Any]:
            out = {}
            for point in self.points:
                for place in self.places(point):
                    out[key_of(point, place)] = self.error(point, place, v)
                if point.by_pressure and self.known(point):
                    out[f"{point.stage}.{point.name}.reference"] = self.reference(point, v)
            return out

        return propagate(model, self.x, units, texts) if units else {}

    def known(self, point: Point) -> bool:
        """Whether a reference can be computed."""
        if point.by_pressure:
            return point.from_mark is not None and point.water is not None
        return point.reference is not None

    def places(self, point: Point) -> list[Where]:
        """The places that can be compared with the reference."""
        if not self.known(point):
            return []
        return [p for p in point.shown if p != "current" or self.ends.get(point.stage) is not None]

    # ------------------------------------------------------------ values, for floats and dual numbers

    def reference(self, point: Point, v: Mapping[str, Any]) -> Any:
        """The level by the reference."""
        if point.injected:
            low, high = self.ends[point.stage]
            return level.level_of_current(self.current(point, v), float(low), float(high))
        read = sum((v[cause] for cause in self._reference_causes(point)), 0.0)
        above = float(point.from_mark or 0) + v[self._mark(point)]
        if not point.by_pressure:
            return above - read if point.by_tape else above + read
        density = water_density(v[f"temperature of the water:{_of(point)}"]) + v["density of this water"]
        return above + self.metre * level.level_of_pressure(read, density, v["gravity"])

    def current(self, point: Point, v: Mapping[str, Any]) -> Any:
        """The loop current, measured or injected, mA."""
        return v[f"current read:{_of(point)}"] + v[self._meter(point)]

    def shown(self, point: Point, place: Where, v: Mapping[str, Any]) -> Any:
        """The level a place shows."""
        if place != "current":
            return v[f"read:{_of(point)}.{place}"]
        low, high = self.ends[point.stage]
        return level.level_of_current(self.current(point, v), float(low), float(high))

    def error(self, point: Point, place: Where, v: Mapping[str, Any]) -> Any:
        """What a place shows less the reference, less what the level moved in between."""
        return self.at_reference(point, place, v) - self.reference(point, v)

    def at_reference(self, point: Point, place: Where, v: Mapping[str, Any]) -> Any:
        """What a place would have shown at the moment of the reference."""
        rise, shown = rise_of(point, self.given), self.shown(point, place, v)
        return shown if point.injected or not rise else shown - rise * v[f"moment:{_of(point)}"]

    def exact(self, point: Point, place: Where) -> Decimal | None:
        """The error in decimals, None where it has no end."""
        if point.reference is None or place not in point.shown:
            return None
        shown = self.level_at(point) if place == "current" else point.shown[place].value
        moved = point.rise.value * point.minutes if point.rise is not None else Decimal(0)
        return shown - point.reference - moved

    def level_at(self, point: Point) -> Decimal:
        """The level the current stands for at the transmitter, in decimals."""
        assert point.ma is not None
        low, high = self.ends[point.stage]
        return Decimal(low + (high - low) * (point.ma.value - 4) / 16)

    # ------------------------------------------------------------ causes

    def _enter(self, point: Point) -> None:
        x, of = self.x, _of(point)
        if point.ma is not None:
            x[f"current read:{of}"] = _digit(point.ma.value, point.ma.digit, "loop current")
            self._certificate(self._meter(point), point.meter, "mA", "level_meter_ma", point.injected)
        for place, one in point.shown.items():
            if place != "current":
                x[f"read:{of}.{place}"] = _digit(one.value, one.digit, place.replace("own", "control system"))
        if point.injected:
            return
        self._enter_reference(point)
        minutes = float(point.minutes) if point.rise is not None else 0.0
        if rise_of(point, self.given):
            x.half_width(f"moment:{of}", "level_moment_min", minutes)

    def _enter_reference(self, point: Point) -> None:
        x, of = self.x, _of(point)
        x.half_width(self._mark(point), "level_datum")
        digit = max(one.digit for one in point.readings)
        values = [float(one.value) for one in point.readings]
        what = "tape" if point.by_tape else "gauge or scale"
        x[f"reference read:{of}"] = _digit(Decimal(sum(values) / len(values)), digit, what)
        if len(values) > 1 and len(set(values)) > 1:
            _mean, u, dof = type_a(values)
            source = f"waves, scatter of {len(values)} readings"
            x[f"waves:{of}"] = Input(0.0, u, "t", dof, "readings", source)
        elif len(values) == 1 and point.by_tape:
            x.half_width(f"waves:{of}", "level_waves")
        if point.by_tape:
            x.half_width("tape not plumb", "level_plumb")
        size = "level_tape" if point.by_tape else "level_gauge_kpa" if point.by_pressure else "level_scale"
        unit = "kPa" if point.by_pressure else self.unit
        self._certificate(f"instrument:{point.instrument.id}", point.instrument, unit, size)
        if point.by_pressure and point.water is not None:
            value = float(point.water.value)
            x.half_width(f"temperature of the water:{of}", "level_water_c", value)
            x.half_width("density of this water", "level_density")
            here = float(self.given.analyzer.settings.get("gravity", level.STANDARD_GRAVITY))
            x.half_width("gravity", "level_gravity", here)

    def _certificate(
        self, cause: str, one: Standard | None, unit: str, size: str, source: bool = False
    ) -> None:
        """Enter the certificate of an instrument in a unit, or what is assumed where it states none."""
        if cause in self.x:
            return
        found = stated(one) if one is not None else None
        if found is None or one is None:
            self.x.half_width(cause, "level_source_ma" if source else size)
            return
        factor = float(convert(Decimal(1), one.unit, unit, difference=True)) if one.unit != unit else 1.0
        self.x[cause] = Input(0.0, found.u * factor, source=found.source)

    def _meter(self, point: Point) -> str:
        return f"instrument:{point.meter.id}" if point.meter else "instrument for the current:not named"

    def _mark(self, point: Point) -> str:
        return "elevation of the mark" if point.by_tape else "elevation of the gauge"

    def _reference_causes(self, point: Point) -> list[str]:
        names = [f"reference read:{_of(point)}", f"instrument:{point.instrument.id}", f"waves:{_of(point)}"]
        names += ["tape not plumb"] if point.by_tape else []
        return [name for name in names if name in self.x]


def key_of(point: Point, place: Where) -> str:
    """Return the key of a check: stage, level or current, place."""
    return f"{point.stage}.{point.name}.{place}"


def shortened(exact: Decimal, point: Point, place: Where) -> Decimal:
    """Return an error exactly where it ends, else two places beyond what was read; never "-0.00"."""
    read: list[InUnit] = [*point.readings, point.shown[place]]
    finest = min(one.digit.adjusted() for one in read)
    last = min(finest, max(finest - 2, int(exact.normalize().as_tuple().exponent)))
    return exact.quantize(Decimal(1).scaleb(last), ROUND_HALF_EVEN) + 0


def _digit(value: Decimal, digit: Decimal, what: str) -> Input:
    words = f"{what}, read to {round(float(digit), 9):.6g}"
    return Input(float(value), float(digit) / ROOT12, "rectangular", size_from="resolution", source=words)


def _of(point: Point) -> str:
    return f"{point.stage}.{point.name}"


def water_quantity(water: InUnit, given: Given) -> Quantity:
    """Return the density of the water at its temperature, kg/m3."""
    x = Inputs(given.analyzer.settings, sizes_of(given.analyzer.unit))
    names = (
        x.half_width("temperature of the water", "level_water_c", float(water.value)),
        x.half_width("density of this water", "level_density"),
    )

    def model(v: Mapping[str, Any]) -> dict[str, Any]:
        return {"density": water_density(v[names[0]]) + v[names[1]]}

    return propagate(model, x, {"density": "kg/m3"})["density"]
