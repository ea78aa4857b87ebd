"""The measurement models of a loop check: the error of a hop, of the chain, hysteresis, slope and intercept.

e = what the place after shows - what the place before stands for. The true current is I (1 + gain) + offset
of the source or meter: one cause for all points, so five points by one instrument are one test of its gain.
The accuracy of what is under test, card or transmitter, is no input.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from wqverify.calculations.loop_mismatch import line_through
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.inputs import ROOT3, ROOT12, Inputs, Sizes, stated
from wqverify.procedures.loop_points import (
    APPLIED,
    ARCHIVE,
    CARD,
    CURRENTS,
    DISPLAY,
    MEASURED,
    Line,
    Point,
    as_current,
    as_value,
)
from wqverify.procedures.rules import setting
from wqverify.terms import Given, Input, Quantity, Reading, Standard

SIZES: Sizes = {
    "loop_gain_percent": ("0.02", "common practice", "specification, within ±{size} % of reading"),
    "loop_offset_ma": ("0.002", "common practice", "specification, within ±{size} mA besides"),
    "loop_resistor_percent": ("0.1", "memory", "input resistor, within ±{size} %"),
    "loop_volts_percent": ("0.1", "memory", "volts by a multimeter, within ±{size} %"),
}
TEMPERATE = (Decimal(18), Decimal(28))  # °C, within which a specification holds
PERCENT, MA = "%", "mA"


@dataclass(frozen=True)
class Off:
    """How far a place is off at one point, by unit, with what it showed and what it should have shown."""

    hop: str
    point: Point
    before: str
    after: str
    found: Mapping[str, Quantity]
    exact: Mapping[str, Decimal]
    observed: Mapping[str, str]
    reference: Mapping[str, str]


@dataclass(frozen=True)
class Budget:
    """What makes the numbers of one stage uncertain."""

    line: Line
    given: Given
    ambient: Reading | None
    stage: str

    def off(self, hop: str, before: str, after: str, point: Point) -> Off:
        """Return the error of a hop at one point: in mA, in % of span and in the unit."""
        sides = self._all_sides(before, after, point)
        exact = {key: high - low for key, (low, high) in sides.items()}
        x, model = self._model(before, after, point)

        def outputs(v: Mapping[str, Any]) -> dict[str, Any]:
            return {key: high - low for key, (low, high) in model(v).items()}

        steps = {key: self._step(key, after, point) for key in sides}
        found = propagate(outputs, x, *_texts(exact, steps))
        return Off(hop, point, before, after, found, exact, *_shown(sides, steps))

    # ------------------------------------------------------------ exactly, as typed

    def _units(self, before: str, after: str, point: Point) -> list[str]:
        """The units in which an error has a size at this point."""
        every = dict.fromkeys((PERCENT, MA, self.line.unit))
        return [key for key in every if not self._ends_there(key, before, after, point)]

    def _all_sides(self, before: str, after: str, point: Point) -> dict[str, tuple[Decimal, Decimal]]:
        return {key: self._sides(key, before, after, point) for key in self._units(before, after, point)}

    def _ends_there(self, key: str, before: str, after: str, point: Point) -> bool:
        """At 4 mA and below a square root has no slope, so an error behind it has no size there."""
        if not self.line.root or key == MA or (key == PERCENT and after in CURRENTS):
            return False
        parts = [self._plain(place, point) for place in (before, after) if place in CURRENTS]
        return any(part <= 0 for part in parts)

    def _plain(self, place: str, point: Point) -> Decimal:
        return Decimal(as_current(place, point.read[place].value, self.line, point.volts, self.line.ohm))

    def _sides(self, key: str, before: str, after: str, point: Point) -> tuple[Decimal, Decimal]:
        """What the place before stands for, and what the place after shows, in a unit."""
        sides = self._both(
            key,
            before,
            after,
            {place: point.read[place].value for place in (before, after)},
            point,
            self.line.ohm,
        )
        return Decimal(sides[0]), Decimal(sides[1])

    def _both(
        self, key: str, before: str, after: str, read: Mapping[str, Any], point: Point, ohm: Any
    ) -> tuple[Any, Any]:
        in_current = key == MA or (key == PERCENT and after in CURRENTS)
        part = as_current if in_current else as_value
        low, high = (part(place, read[place], self.line, point.volts, ohm) for place in (before, after))
        if key == PERCENT:
            return 100 * low, 100 * high
        if key == MA:
            return 4 + 16 * low, 4 + 16 * high
        sides = []
        for place, size in ((before, low), (after, high)):
            exact = isinstance(size, Decimal)
            zero, span = self.line.low, self.line.span
            there = zero + span * size if exact else float(zero) + float(span) * size
            sides.append(there if place in CURRENTS else read[place])  # a value is what was read
        return sides[0], sides[1]

    def _step(self, key: str, place: str, point: Point) -> Decimal:
        """One digit of a place in a unit: a quotient is shown two places beyond it."""
        digit = point.read[place].digit
        if place in CURRENTS:
            if point.volts and place == CARD and self.line.ohm:
                digit = 1000 * digit / self.line.ohm
            part = digit / 16
        else:
            part = abs(digit / self.line.span)
        return part * {PERCENT: Decimal(100), MA: Decimal(16)}.get(key, abs(self.line.span))

    # ------------------------------------------------------------ with what makes it uncertain

    def _model(self, before: str, after: str, point: Point) -> tuple[Inputs, Any]:
        x = Inputs(self.given.analyzer.settings, SIZES)
        names = {place: self._enter(x, place, point) for place in (before, after)}
        if before in (APPLIED, MEASURED) and after in (DISPLAY, ARCHIVE):
            names[before] = self._counted(x, names[before], point)
        ohm = self._ohm(x) if point.volts and CARD in names else None
        units = self._units(before, after, point)

        def model(v: Mapping[str, Any]) -> dict[str, tuple[Any, Any]]:
            read = {place: names[place](v) for place in (before, after)}
            resistor = ohm(v) if ohm is not None else None
            return {key: self._both(key, before, after, read, point, resistor) for key in units}

        return x, model

    def _ohm(self, x: Inputs) -> Any:
        assert self.line.ohm is not None
        ohm, cause = float(self.line.ohm), x.half_width("input resistor", "loop_resistor_percent")
        return lambda v: ohm * (1 + v[cause] / 100)

    def _enter(self, x: Inputs, place: str, point: Point) -> Any:
        """Enter what makes a reading uncertain; returns what it is from the inputs."""
        reading = point.read[place]
        if place == APPLIED and self.line.by_itself:
            told = float(reading.value)  # under test: exactly what it was told to make
            return lambda _v: told
        if place in (APPLIED, MEASURED):
            return self._true(x, reading, self.line.source if place == APPLIED else self.line.meter)
        cause = f"reading:{self.stage} {place} {point.way} {point.number}"
        x[cause] = self._resolution(place, reading)
        if place == CARD and point.volts:
            gain = x.half_width("volts across the input", "loop_volts_percent")
            return lambda v: v[cause] * (1 + v[gain] / 100)
        return lambda v: v[cause]

    def _true(self, x: Inputs, reading: Reading, instrument: Standard) -> Any:
        """The true current by an instrument: what it says, with its gain and its offset."""
        amount, causes = float(reading.value), calibrator(x, instrument)
        drift = self._drift(x, instrument)

        def true(v: Mapping[str, Any]) -> Any:
            share: Any = 0.0
            besides: Any = 0.0
            for cause in (causes.gain, drift):
                share = share + v[cause] / 100 if cause else share
            for cause in causes.offsets:
                besides = besides + v[cause]
            return amount * (1 + share) + besides

        return true

    def _drift(self, x: Inputs, instrument: Standard) -> str:
        """Outside 18 to 28 °C the temperature coefficient counts, where the register holds one."""
        beyond = outside_temperate(self.ambient)
        size = self.given.analyzer.settings.get("loop_drift_percent_per_c")
        if not beyond or size is None:
            return ""
        cause = f"temperature of {instrument.id}"
        half = float(Decimal(size) * beyond)
        x[cause] = Input(
            0.0,
            half / ROOT3,
            "rectangular",
            size_from="temperature",
            source=f"{beyond} °C outside 18 to 28 °C, ±{size} % of reading per °C, set in the register",
        )
        return cause

    def _counted(self, x: Inputs, current: Any, point: Point) -> Any:
        """The current as the card hands it on: in whole counts, where the register says how many."""
        count = self._count()
        if count is None:
            return current
        cause = f"count of the card:{self.stage} {point.way} {point.number}"
        bits = self.given.analyzer.settings["card_bits"]
        words = f"one count of the card, {bits} bits over 16 mA"
        x[cause] = Input(0.0, float(count) / ROOT12, "rectangular", size_from="resolution", source=words)
        return lambda v: current(v) + v[cause]

    def _count(self) -> Decimal | None:
        bits = self.given.analyzer.settings.get("card_bits")
        return Decimal(16) / (2 ** int(bits) - 1) if bits else None

    def _resolution(self, place: str, reading: Reading) -> Input:
        """What a place can show: its last digit, or what is coarser: a count, the deadband of the archive."""
        step, why = reading.digit, f"{place}, read to {reading.digit}"
        count = self._count()
        if place == CARD and count is not None and count > step:
            step, why = count, "one count of the card"
        if place == ARCHIVE:
            deadband = setting(self.given, "archive_deadband", "0")
            if deadband > step:
                step, why = deadband, f"deadband of the archive, {deadband}, half of it either way"
        return Input(
            float(reading.value), float(step) / ROOT12, "rectangular", size_from="resolution", source=why
        )

    # ------------------------------------------------------------ up against down, and all points together

    def hysteresis(self, place: str, up: Point, down: Point) -> Off | None:
        """Return what is shown going down less what is shown going up; the calibrator cancels."""
        if any(self._ends_there(PERCENT, APPLIED, place, point) for point in (up, down)):
            return None
        one, other = (self._all_sides(APPLIED, place, point) for point in (up, down))
        both = {key: (one[key], other[key]) for key in one if key in other}
        exact = {key: (b[1] - b[0]) - (a[1] - a[0]) for key, (a, b) in both.items()}
        x, rising = self._model(APPLIED, place, up)
        more, falling = self._model(APPLIED, place, down)

        def outputs(v: Mapping[str, Any]) -> dict[str, Any]:
            a, b = rising(v), falling(v)
            return {key: (b[key][1] - b[key][0]) - (a[key][1] - a[key][0]) for key in exact}

        up_steps, down_steps = ({key: self._step(key, place, point) for key in exact} for point in (up, down))
        found = propagate(outputs, {**x, **more}, *_texts(exact, up_steps))
        sides = {key: (a[1], b[1]) for key, (a, b) in both.items()}
        return Off("hysteresis", down, APPLIED, place, found, exact, *_shown(sides, down_steps))

    def against(self, before: str, after: str, points: Sequence[Point]) -> dict[str, Quantity]:
        """Return the ratio of the currents of two places, and what one has besides the other in mA."""
        inputs: dict[str, Input] = {}
        models = []
        for point in points:
            x, model = self._model(before, after, point)
            inputs.update(x)
            models.append(model)

        def outputs(v: Mapping[str, Any]) -> dict[str, Any]:
            pairs = [model(v)[MA] for model in models]
            ratio = sum(a * b for a, b in pairs) / sum(a * a for a, _ in pairs)
            return {"ratio": ratio, "besides": sum(b - a for a, b in pairs) / len(pairs)}

        return propagate(outputs, inputs, {"ratio": "1", "besides": MA})

    def straight(self, place: str, points: Sequence[Point]) -> dict[str, Quantity] | None:
        """Return slope and intercept of what a place shows against what is applied, and both ends of it.

        Slope without a unit, intercept in % of span, the ends in the unit. None with fewer than three points
        or where all currents are one.
        """
        used = [p for p in points if not self._ends_there(PERCENT, APPLIED, place, p)]
        if len(used) < 3 or len({p.applied.value for p in used}) < 2:
            return None
        inputs: dict[str, Input] = {}
        models = []
        for point in used:
            x, model = self._model(APPLIED, place, point)
            inputs.update(x)
            models.append(model)
        zero, span = float(self.line.low), float(self.line.span)

        def outputs(v: Mapping[str, Any]) -> dict[str, Any]:
            pairs = [model(v)[PERCENT] for model in models]
            a, b = line_through([p[0] / 100 for p in pairs], [p[1] / 100 for p in pairs])
            return {
                "slope": b,
                "intercept": 100 * a,
                "at 4 mA": zero + span * a,
                "at 20 mA": zero + span * (a + b),
            }

        units = {"slope": "1", "intercept": PERCENT, "at 4 mA": self.line.unit, "at 20 mA": self.line.unit}
        return propagate(outputs, inputs, units)


def _texts(
    exact: Mapping[str, Decimal], steps: Mapping[str, Decimal]
) -> tuple[dict[str, str], dict[str, str]]:
    """The units of what is exact, and its texts."""
    return {key: key for key in exact}, {key: fixed(size, steps[key]) for key, size in exact.items()}


def _shown(
    sides: Mapping[str, tuple[Decimal, Decimal]], steps: Mapping[str, Decimal]
) -> tuple[dict[str, str], dict[str, str]]:
    """What was observed after a hop and what it should have been, by unit."""
    observed = {key: fixed(high, steps[key]) for key, (_low, high) in sides.items()}
    return observed, {key: fixed(low, steps[key]) for key, (low, _high) in sides.items()}


@dataclass(frozen=True, slots=True)
class Causes:
    """The causes of one instrument: what grows with the current, and what does not."""

    gain: str
    offsets: tuple[str, ...]


def calibrator(x: Inputs, instrument: Standard) -> Causes:
    """Enter a source or meter, one cause for all points: its certificate, else its specification."""
    known = stated(instrument)
    if known is not None:
        cause = f"calibrator:{instrument.id}"
        x[cause] = known
        return Causes("", (cause,))
    gain = x.half_width(f"calibrator:{instrument.id} gain", "loop_gain_percent")
    return Causes(gain, (x.half_width(f"calibrator:{instrument.id} offset", "loop_offset_ma"),))


def outside_temperate(ambient: Reading | None) -> Decimal:
    """Return by how much a temperature lies outside 18 to 28 °C, 0 inside and where it is not known."""
    if ambient is None:
        return Decimal(0)
    low, high = TEMPERATE
    return max(low - ambient.value, ambient.value - high, Decimal(0))


def fixed(exact: Decimal, step: Decimal) -> str:
    """Return a difference exactly where it ends, else two places beyond the digit it was read to.

    >>> fixed(Decimal("0.142857142857"), Decimal("0.0714")), fixed(Decimal("-0.002000"), Decimal("0.001"))
    ('0.1429', '-0.002')
    """
    place = Decimal(1).scaleb(step.adjusted() - 2)
    cut = exact.quantize(place, ROUND_HALF_EVEN) + 0
    whole = cut.quantize(Decimal(1).scaleb(min(0, step.adjusted())), ROUND_HALF_EVEN)
    ends = cut.normalize() if cut == exact and cut != whole else whole if cut == exact else cut
    return f"{ends + 0:f}"
