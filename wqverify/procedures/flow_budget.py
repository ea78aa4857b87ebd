"""The measurement models of a flow check: the reference, the meter, its error, and what roots would show.

Tank: Q = A (1 + shape)(h1 − h2)(1 + level gain)/(t2 − t1) + leak; strap-on: mean of its rates (1 +
certificate)(1 + installation); totaliser: volume (1 + certificate) over time. e = 100 (meter/Q − 1). Exact
texts are computed beside it in decimals. Sizes and example: draw-down of a tank in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any

from wqverify.calculations import flow
from wqverify.calculations.uncertainty import propagate
from wqverify.calculations.units import convert, scaled
from wqverify.procedures.flow_sheet import PRESSURE, RATES, TANKS, TOTALISER, TOTALS, Meter, Reference, Run
from wqverify.procedures.inputs import ROOT12, Inputs, Sizes, stated
from wqverify.procedures.rules import setting
from wqverify.terms import Given, Input, Place, Quantity, Reading, SizeFrom, Standard

SIZES: Sizes = {
    "tank_shape_percent": ("0.2", "memory", "area of the tank along its height, within ±{size} %"),
    "tank_leak_l_s": ("0.3", "memory", "leaking valves and other users of the tank, within ±{size} L/s"),
    "flow_moment_s": ("2", "common practice", "start and stop, each within ±{size} s"),
    "strap_on_percent": (
        "3",
        "memory",
        "pipe wall, lining and profile under a strap-on meter, within ±{size} %",
    ),
    "flow_reference_percent": ("1", "memory", "no uncertainty is entered for it, assumed within ±{size} %"),
}
LEVEL_U_M = ("level_each_m", "0.003")  # standard uncertainty of one level
LEVEL_GAIN_U = ("level_gain_percent", "0.1")  # standard uncertainty
DIAMETER_U_M = ("tank_diameter_m", "0.010")  # standard uncertainty
STEPS_OF_DROP = 100  # a fall of fewer standard uncertainties of a level is no draw-down
PLACES = Decimal("0.001")  # of an error in %: a quotient has no end

Numbers = Mapping[str, Any]
ROOTS = (flow.NO_ROOT, flow.ONE_ROOT, flow.TWO_ROOTS)
ERRORS: dict[Place, str] = {"analyzer": "error", "control system": "control_system"}


def level_u(given: Given) -> Decimal:
    """Return the standard uncertainty of one level, m."""
    return setting(given, *LEVEL_U_M)


def metres(reading: Reading, reference: Reference) -> Decimal:
    """Return a level or a diameter in m, exactly."""
    return convert(reading.value, TANKS[reference.against], "m")


def mean_of(readings: Sequence[Reading]) -> Decimal:
    """Return the mean of readings in decimals."""
    return sum((reading.value for reading in readings), Decimal(0)) / len(readings)


def full_scale(meter: Meter | None, given: Given) -> Decimal:
    """Return the flow at 20 mA, in the unit of the meter."""
    if meter is not None and meter.full_scale is not None:
        return meter.full_scale.value
    return given.analyzer.high


@dataclass(frozen=True)
class Exact:
    """What a comparison gives in decimals, before anything is rounded: flows in L/s."""

    run: Run
    reference: Reference
    standard: Standard | None
    given: Given

    @cached_property
    def area(self) -> Decimal:
        """Of the tank, m2; raises CorrectTheEntry for none."""
        if self.reference.area_m2 is not None:
            return self.reference.area_m2.value
        return Decimal(flow.tank_area(self.diameter))

    @property
    def diameter(self) -> Decimal:
        """Of the tank, m."""
        if self.reference.diameter is not None:
            return metres(self.reference.diameter, self.reference)
        assert self.standard is not None
        assert self.standard.value is not None
        return convert(self.standard.value, self.standard.unit, "m")

    @property
    def whole(self) -> bool:
        """Whether all is there that the reference needs: a sheet that is being typed lacks some of it."""
        run, against = self.run, self.reference.against
        if against in TANKS:
            tank = self.standard.value if self.standard is not None else None
            sizes = (self.reference.area_m2, self.reference.diameter, tank)
            known = any(size is not None for size in sizes)
            return known and None not in (run.level_start, run.level_stop)
        if against == TOTALISER:
            return None not in (run.reference_start, run.reference_stop, self.standard)
        return None not in (run.reference_rates, self.standard)

    @cached_property
    def flow(self) -> Decimal:
        """The reference; raises CorrectTheEntry for no area, no fall and no time."""
        run, seconds = self.run, self.run.duration_s.value
        if run.level_start is not None and run.level_stop is not None:
            high, low = (metres(level, self.reference) for level in (run.level_start, run.level_stop))
            return Decimal(flow.drawn_down(self.area, high, low, seconds))
        assert self.standard is not None
        if run.reference_start is not None and run.reference_stop is not None:
            volume = run.reference_stop.value - run.reference_start.value
            return Decimal(flow.over_time(convert(volume, self.standard.unit, "L"), seconds))
        assert run.reference_rates is not None
        return Decimal(flow.to_litres_per_second(mean_of(run.reference_rates), self.standard.unit))

    def shown(self, place: Place) -> Decimal | None:
        """What the meter or the control system showed, None where it was not read."""
        run, unit = self.run, self.given.analyzer.unit
        rates = run.rates if place == "analyzer" else run.control_system
        if rates is not None:
            return Decimal(flow.to_litres_per_second(mean_of(rates), unit))
        if place == "analyzer" and run.meter_start is not None and run.meter_stop is not None:
            volume = run.meter_stop.value - run.meter_start.value
            litres = convert(volume, TOTALS[self.reference.read_as], "L")
            return Decimal(flow.over_time(litres, run.duration_s.value))
        return None

    def error(self, place: Place) -> Decimal | None:
        """In %, unrounded."""
        shown = self.shown(place)
        return None if shown is None else Decimal(flow.error_percent(shown, self.flow))

    def in_unit(self, litres_per_second: Decimal) -> Decimal:
        """A flow in the unit of the meter."""
        return Decimal(flow.from_litres_per_second(litres_per_second, self.given.analyzer.unit))


@dataclass(frozen=True)
class Found:
    """The quantities of one comparison: reference in the unit of the meter, errors in % of it.

    ``left`` is what is left of the difference at a place if the root were taken never, once or twice before
    it, in %: at the meter of the difference to the reference, at the control system of that to the meter.
    """

    reference: Quantity
    errors: dict[Place, Quantity]
    left: dict[Place, dict[int, Quantity]]


def compared(stage: str, exact: Exact, meter: Meter | None) -> Found:
    """Return what a comparison gives, and what would be left of it with another number of roots."""
    model = _Model(stage, exact)
    unit = exact.given.analyzer.unit
    places = [place for place in ERRORS if exact.shown(place) is not None]
    shown = {place: model.shown(place) for place in places}
    meter_moved = (exact.shown("analyzer") or 0) > 0  # of nothing there is no percent
    told = [place for place in places if place == "analyzer" or meter_moved]
    scale = float(flow.to_litres_per_second(float(full_scale(meter, exact.given)), unit))
    roots = [n for n in ROOTS if n == flow.ONE_ROOT or (meter is not None and meter.kind == PRESSURE)]
    units, texts = {"reference": unit}, dict[str, str]()
    for place in places:
        error = exact.error(place)
        assert error is not None
        texts[place] = f"{error.quantize(PLACES) + 0:f}"
        units |= {place: "%", **{f"{place}, {n}": "%" for n in roots if place in told}}

    def outputs(v: Numbers) -> dict[str, Any]:
        before = q = model.reference(v)
        found = {"reference": flow.from_litres_per_second(q, unit)}
        for place in places:
            seen = shown[place](v)
            found[place] = flow.error_percent(seen, q)
            for n in roots if place in told else ():
                expected = flow.shown_after_roots(before / scale, n)
                found[f"{place}, {n}"] = flow.error_percent(seen / scale, expected)
            before = seen
        return found

    got = propagate(outputs, model.x, units, texts)
    return Found(
        got["reference"],
        {place: got[place] for place in places},
        {place: {n: got[f"{place}, {n}"] for n in roots} for place in told},
    )


class _Model:
    """The inputs of one comparison by their causes, and the flows that come of them in L/s."""

    def __init__(self, stage: str, exact: Exact) -> None:
        self.stage, self.exact = stage, exact
        self.x = Inputs(exact.given.analyzer.settings, SIZES)
        self.reference = self._reference()

    def _reference(self) -> Callable[[Numbers], Any]:
        against = self.exact.reference.against
        if against in TANKS:
            return self._tank()
        return self._totaliser() if against == TOTALISER else self._strap_on()

    def _tank(self) -> Callable[[Numbers], Any]:
        run, x = self.exact.run, self.x
        area = self._area()
        shape = x.half_width("shape of the tank", "tank_shape_percent")
        leak = x.half_width(f"leak of the tank:{self.stage}", "tank_leak_l_s")
        gain = self._level_gain()
        assert run.level_start is not None
        assert run.level_stop is not None
        high = self._level("start", run.level_start)
        low = self._level("stop", run.level_stop)
        time = self._time(f"start:{self.stage}", f"stop:{self.stage}")

        def reference(v: Numbers) -> Any:
            down = (v[high] - v[low]) * (1 + v[gain] / 100)
            return flow.drawn_down(area(v) * (1 + v[shape] / 100), down, 0.0, time(v)) + v[leak]

        return reference

    def _area(self) -> Callable[[Numbers], Any]:
        reference, x = self.exact.reference, self.x
        if reference.area_m2 is not None:
            size = float(reference.area_m2.value)
            # the same share as a diameter of such a tank has
            u = 2 * float(setting(self.exact.given, *DIAMETER_U_M)) / math.sqrt(4 * size / math.pi)
            cause = self._own("area of the tank", size, u * size, DIAMETER_U_M, "m of its diameter")
            return lambda v: v[cause]
        cause = "diameter of the tank"
        standard = self.exact.standard
        d = float(self.exact.diameter)
        if standard is not None and (known := stated(standard)) is not None:
            cause = f"diameter of {standard.id}"
            u = scaled(known.u, standard.unit, "m")
            x[cause] = Input(d, u, source=known.source)
        else:
            self._own(
                cause, d, float(setting(self.exact.given, *DIAMETER_U_M)), DIAMETER_U_M, "m of the diameter"
            )
        return lambda v: flow.tank_area(v[cause])

    def _level_gain(self) -> str:
        by = self.exact.reference.level_by
        standard = self.exact.given.standards.get(by) if by else None
        if standard is not None and standard.unit == "%" and (known := stated(standard)) is not None:
            self.x[f"gain of {standard.id}"] = known
            return f"gain of {standard.id}"
        u = float(setting(self.exact.given, *LEVEL_GAIN_U))
        return self._own("gain of the level", 0.0, u, LEVEL_GAIN_U, "% of a level")

    def _level(self, which: str, reading: Reading) -> str:
        each = float(level_u(self.exact.given))
        digit = float(convert(reading.digit, TANKS[self.exact.reference.against], "m")) / ROOT12
        value, cause = float(metres(reading, self.exact.reference)), f"level at the {which}:{self.stage}"
        if digit > each:
            self.x[cause] = Input(
                value, digit, "rectangular", size_from="resolution", source=f"level, read to {reading.digit}"
            )
            return cause
        return self._own(cause, value, each, LEVEL_U_M, "m of one level")

    def _own(
        self,
        cause: str,
        value: float,
        u: float,
        name: tuple[str, str],
        words: str,
        size_from: SizeFrom = "common practice",
    ) -> str:
        """Enter a standard uncertainty that is a setting, not a half width."""
        set_to = self.exact.given.analyzer.settings.get(name[0], "")
        origin = ", set in the register" if set_to else ""
        self.x[cause] = Input(
            value, u, size_from=size_from, source=f"standard uncertainty {set_to or name[1]} {words}{origin}"
        )
        return cause

    def _totaliser(self) -> Callable[[Numbers], Any]:
        run, standard = self.exact.run, self.exact.standard
        assert standard is not None
        assert run.reference_start is not None
        assert run.reference_stop is not None
        volume = self._volume(f"total of {standard.id}", run.reference_start, run.reference_stop)
        certified, unit = self._certified(standard), standard.unit
        time = self._time(f"start:{self.stage}", f"stop:{self.stage}")
        return lambda v: flow.over_time(scaled(certified(v, volume(v)), unit, "L"), time(v))

    def _strap_on(self) -> Callable[[Numbers], Any]:
        run, standard = self.exact.run, self.exact.standard
        assert standard is not None
        assert run.reference_rates is not None
        mean = self.x.mean(f"rates of {standard.id}:{self.stage}", run.reference_rates, "strap-on meter")
        certified = self._certified(standard)
        mounted = self.x.half_width(f"installation of {standard.id}", "strap_on_percent")

        def reference(v: Numbers) -> Any:
            rate = flow.to_litres_per_second(certified(v, v[mean]), standard.unit)
            return rate * (1 + v[mounted] / 100)

        return reference

    def _certified(self, standard: Standard) -> Callable[[Numbers, Any], Any]:
        """What a reference meter read, with its certificate: stated in its unit, else assumed in percent."""
        cause = f"certificate of {standard.id}"
        known = stated(standard)
        if known is None:
            self.x.half_width(cause, "flow_reference_percent")
            return lambda v, read: read * (1 + v[cause] / 100)
        self.x[cause] = known
        return lambda v, read: read + v[cause]

    def _volume(self, what: str, start: Reading, stop: Reading) -> Callable[[Numbers], Any]:
        causes = [
            self.x.digit(f"{what} at the {name}:{self.stage}", reading, what)
            for name, reading in (("start", start), ("stop", stop))
        ]
        return lambda v: v[causes[1]] - v[causes[0]]

    def _time(self, *moments: str) -> Callable[[Numbers], Any]:
        seconds = float(self.exact.run.duration_s.value)
        causes = [self.x.half_width(moment, "flow_moment_s") for moment in moments]
        return lambda v: seconds + sum((v[cause] for cause in causes[1:]), v[causes[0]])

    def shown(self, place: Place) -> Callable[[Numbers], Any]:
        """What the meter or the control system showed, L/s."""
        run, unit = self.exact.run, self.exact.given.analyzer.unit
        rates = run.rates if place == "analyzer" else run.control_system
        if rates is not None:
            where = "display" if place == "analyzer" else place
            mean = self.x.mean(f"rates of the {where}:{self.stage}", rates, where)
            return lambda v: flow.to_litres_per_second(v[mean], unit)
        assert self.exact.reference.read_as != RATES
        assert run.meter_start is not None
        assert run.meter_stop is not None
        volume = self._volume("total of the meter", run.meter_start, run.meter_stop)
        total = TOTALS[self.exact.reference.read_as]
        time = self._time(f"interval of the totals:{self.stage}")
        return lambda v: flow.over_time(scaled(volume(v), total, "L"), time(v))


def standstill(stage: str, readings: Sequence[Reading], given: Given) -> Quantity:
    """Return what the meter shows with no water moving, in its unit: the mean, exact where it has an end."""
    x = Inputs(given.analyzer.settings, SIZES)
    cause = x.mean(f"reading at standstill:{stage}", readings, "display")
    mean = mean_of(readings)
    places = max(reading.digit for reading in readings) / 100
    text = f"{mean.quantize(places) + 0:f}" if len(readings) > 1 else readings[0].text
    return propagate(lambda v: {"zero": v[cause] + 0.0}, x, {"zero": given.analyzer.unit}, {"zero": text})[
        "zero"
    ]
