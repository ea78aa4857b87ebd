"""The measurement model of a comparison with a grab.

d = online + rate lag - (G (1 + gain) + zero), online with its digit and its scatter or change, G with
repeatability, step of the slip and, for pH, the temperature between bottle and line. The laboratory
instrument is one cause for every grab it read: what it has wrong does not average.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import sqrt
from typing import Any

from wqverify.calculations import pairing
from wqverify.calculations.uncertainty import effective_count, propagate, type_a
from wqverify.procedures.grab_pairs import Paired, Row, interval_s
from wqverify.procedures.grab_sheet import Grab
from wqverify.procedures.grab_sizes import PH, Measurand, reported_step, sizes_of
from wqverify.procedures.inputs import ROOT3, ROOT12, Inputs, stated
from wqverify.terms import Given, Input, Quantity, Standard

PER_DEGREE = Decimal("-0.008")  # change of pH per °C in drinking water; memory
PER_DEGREE_HALF = Decimal("0.004")
WATER = "pH of water per °C"
READ_TO = "slip of the laboratory, read to"
LAG_U_S = "60"  # clocks and archive interval; common practice


def at_line(grab: Grab, measurand: Measurand) -> Decimal:
    """Return the result of a grab at the temperature of the line, where it is pH and both are known."""
    if measurand is PH and grab.temperature_c is not None and grab.line_c is not None:
        apart = (grab.lab.value, PER_DEGREE, grab.temperature_c.value, grab.line_c.value)
        return Decimal(pairing.at_line_temperature(*apart))
    return grab.lab.value


@dataclass(frozen=True)
class Compared:
    """A grab with the online value of one place that belongs to it."""

    name: str  # of the grab within its visit: grab_1
    path: str
    grab: Grab
    instrument: Standard
    pair: Paired

    def exact(self, measurand: Measurand) -> Decimal:
        """The difference before its text is fixed."""
        assert self.pair.value is not None
        return self.pair.value - at_line(self.grab, measurand)

    def text(self, measurand: Measurand) -> str:
        """The difference as it is shown and judged."""
        return f"{self.pair.fixed - at_line(self.grab, measurand):f}"


def differences(several: Sequence[Compared], measurand: Measurand, given: Given) -> dict[str, Quantity]:
    """Return the difference of each pair by the name of its grab, and of two or more their "mean".

    All in one propagation: what the grabs share, such as the laboratory instrument, they share.
    """
    unit = given.analyzer.unit
    x = Inputs(given.analyzer.settings, sizes_of(measurand))
    lag = _lag(x)
    parts = [_Causes.of(x, one, measurand, given) for one in several]

    def model(v: Mapping[str, Any]) -> dict[str, Any]:
        found = {part.name: part.difference(v, v[lag]) for part in parts}
        if len(found) > 1:
            found["mean"] = _sum(found, list(found)) / len(found)
        return found

    texts = {one.name: one.text(measurand) for one in several}
    return propagate(model, x, dict.fromkeys([*texts, "mean"], unit), texts)


@dataclass(frozen=True)
class _Causes:
    """One pair with the causes that act on it."""

    name: str
    online: float
    online_causes: list[str]
    rate: float
    grab: float
    grab_causes: list[str]
    gain: str
    zeros: list[str]
    apart: str  # temperature difference, empty for none

    @classmethod
    def of(cls, x: Inputs, one: Compared, measurand: Measurand, given: Given) -> _Causes:
        assert one.pair.value is not None
        gain, zeros = instrument_causes(x, one.instrument, measurand, given.analyzer.unit)
        return cls(
            one.name,
            float(one.pair.value),
            _online_causes(x, one.name, one.pair),
            _rate(one.pair),
            float(one.grab.lab.value),
            grab_causes(x, one.name, one.grab, measurand, one.instrument, given),
            gain,
            zeros,
            _apart(x, one.name, one.grab, measurand),
        )

    def difference(self, v: Mapping[str, Any], lag: Any) -> Any:
        there = self.grab + _sum(v, self.grab_causes)
        if self.apart:
            there = pairing.at_line_temperature(there, v[WATER], 0.0, v[self.apart])
        share, zero = v[self.gain] if self.gain else 0.0, _sum(v, self.zeros)
        return pairing.difference(
            self.online + _sum(v, self.online_causes), self.rate, lag, there, share, zero
        )


def _lag(x: Inputs) -> str:
    cause = "delay between grab and online value"
    u = x.settings.get("grab_lag_u_s", LAG_U_S)
    x[cause] = Input(
        0.0, float(u), size_from="common practice", source=f"clocks and archive interval, u {u} s"
    )
    return cause


def _sum(v: Mapping[str, Any], causes: Sequence[str]) -> Any:
    total: Any = 0.0
    for cause in causes:
        total = total + v[cause]
    return total


# ---------------------------------------------------------------- online


def _online_causes(x: Inputs, name: str, pair: Paired) -> list[str]:
    """Enter digit and scatter of the online value: the noise of a window, or the change, never both."""
    digit, source = pair.online.digit, pair.online.source
    shown = f"digit:{pair.online.place}"
    x[shown] = Input(
        0.0,
        float(digit) / ROOT12,
        "rectangular",
        size_from="resolution",
        source=f"{source}, read to {digit}",
    )
    causes = [shown]
    cause = f"online value:{name}"
    if pair.online.by == "window mean" and len(pair.used) > 1:
        x[cause] = _noise(pair)
        causes.append(cause)
    elif pair.change:
        x[cause] = Input(
            0.0,
            float(pair.change) / ROOT12,
            "rectangular",
            size_from="readings",
            source=f"change of {pair.change} around the moment",
        )
        causes.append(cause)
    return causes


def _noise(pair: Paired) -> Input:
    values = [float(row.value) for row in pair.used if row.value is not None]
    n = len(values)
    _mean, u, dof = type_a(values)
    interval, damping = interval_s(pair.used), pair.online.damping_s
    worth = max(1.0, effective_count(n, interval, damping)) if interval else float(n)
    source = f"scatter of {n} values in the window"
    return Input(0.0, u * sqrt(n / worth), "t", dof=dof, size_from="readings", source=source)


def _rate(pair: Paired) -> float:
    """The slope of the online values around the moment, unit per s, however they were paired."""
    return pairing.rate_per_s(_points(pair.around))


def _points(rows: Sequence[Row]) -> list[tuple[float, float]]:
    return [
        ((row.at - rows[0].at).total_seconds(), float(row.value)) for row in rows if row.value is not None
    ]


# ---------------------------------------------------------------- grab


def instrument_causes(
    x: Inputs, instrument: Standard, measurand: Measurand, unit: str
) -> tuple[str, list[str]]:
    """Enter the laboratory instrument: (cause of its gain, empty for none; causes in the unit)."""
    name = f"instrument:{instrument.id}"
    gain, zeros = "", [x.half_width(f"zero of {instrument.id}", measurand.zero)]
    certificate = stated(instrument) if instrument.unit == unit else None
    if certificate is not None:
        x[name] = certificate
        zeros.append(name)
    elif Decimal(measurand.meter):
        words = "the instrument's own standards"
        x[name] = Input(0.0, float(measurand.meter), size_from="common practice", source=words)
        zeros.append(name)
    else:
        gain = f"gain of {instrument.id}"
        percent = x.settings.get("grab_gain_percent", measurand.gain_percent)
        words = f"u {percent} % of the value, none entered for {instrument.id}"
        x[gain] = Input(0.0, float(percent) / 100, size_from="common practice", source=words)
    if measurand.loss:
        zeros.append(x.half_width("gain or loss before reading", measurand.loss))
    return gain, zeros


def grab_causes(
    x: Inputs, name: str, grab: Grab, measurand: Measurand, instrument: Standard, given: Given
) -> list[str]:
    """Enter what makes one grab uncertain: its repeatability, the step of its slip, its temperature."""
    own, unit = f"repeatability of a grab:{name}", given.analyzer.unit
    x[own] = repeatability(grab.lab.value, measurand, x.settings, unit)
    return [own, step_cause(x, *slip_step(grab, given), instrument, unit)]


def _apart(x: Inputs, name: str, grab: Grab, measurand: Measurand) -> str:
    """Enter the temperature between bottle and line; returns its cause, empty where pH was taken as it is."""
    if measurand is not PH or grab.temperature_c is None or grab.line_c is None:
        return ""
    x[WATER] = Input(
        float(PER_DEGREE),
        float(PER_DEGREE_HALF) / ROOT3,
        "rectangular",
        size_from="memory",
        source=f"drinking water, ±{PER_DEGREE_HALF} per °C",
    )
    cause = f"temperature difference:{name}"
    x[cause] = Input(
        float(grab.line_c.value - grab.temperature_c.value),
        0.21,
        size_from="common practice",
        source="two thermometers, u 0.15 °C each",
    )
    return cause


def slip_step(grab: Grab, given: Given) -> tuple[Decimal, str]:
    """Return the step of the result of a grab, and where it comes from."""
    if grab.rounding == "by method 180.1":
        step = max(reported_step(grab.lab.value, given), grab.lab.reading.digit)
        return step, "reported by EPA method 180.1 in steps of"
    return grab.lab.reading.digit, READ_TO


def step_cause(x: Inputs, step: Decimal, source: str, instrument: Standard, unit: str) -> str:
    """Enter the step of a slip, one cause for every result of one instrument in that step."""
    cause = f"step of the slip {step}:{instrument.id}"
    words = f"{source} {step} {unit}"
    x[cause] = Input(0.0, float(step) / ROOT12, "rectangular", size_from="resolution", source=words)
    return cause


def repeatability(value: Decimal, measurand: Measurand, settings: Mapping[str, str], unit: str) -> Input:
    """Return the repeatability of a whole grab as an input about 0."""
    s = measurand.repeatability(value, settings)
    if "grab_repeatability" in settings:
        words = f"standard deviation of one grab {s} {unit}, set in the register"
        return Input(0.0, float(s), "normal", size_from="common practice", source=words)
    words = f"standard deviation of one grab {s} {unit}, until pooled"
    return Input(0.0, float(s), "t", dof=measurand.dof, size_from="memory", source=words)
