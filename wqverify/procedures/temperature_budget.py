"""The measurement model of a temperature check, and the sizes of its causes.

e = D + read - (r + correction + certificate + drift + read_r) - bath - immersion; in an ice point without a
reference thermometer the reference is 0. An element by itself is put against the same reference: t(R -
leads). The tolerance class of the element is what is checked, never an input.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from wqverify.calculations.temperature import pt_temperature
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.inputs import Inputs, Sizes
from wqverify.terms import Quantity, Reading, Standard

SIZES: Sizes = {
    "thermometer_drift_c": (
        "0.05",
        "memory",
        "drift of the reference since its calibration, within ±{size} °C",
    ),
    "bath_c": ("0.1", "memory", "unstirred water is not the same everywhere, within ±{size} °C"),
    "stirred_c": ("0.03", "memory", "a stirred bath is not the same everywhere, within ±{size} °C"),
    "ice_c": ("0.03", "memory", "ice point as made in the field, within ±{size} °C"),
    "immersion_c": ("0.05", "memory", "immersion and lag, within ±{size} °C"),
    "ohmmeter_ohm": ("0.05", "common practice", "ohmmeter, within ±{size} ohm"),
    "lead_ohm": ("0.05", "common practice", "leads and contacts, within ±{size} ohm"),
}
BATHS = {
    "ice point": "ice_c",
    "stirred bath": "stirred_c",
    "unstirred water": "bath_c",
    "process": "bath_c",
    "bath": "bath_c",  # which kind was not entered: taken as unstirred
}
PERCENT = Decimal("0.01")  # to which the gain is shown
Term = Callable[[Mapping[str, Any]], Any]


@dataclass(frozen=True)
class Measured:
    """The sensor in one bath at one stage."""

    stage: str
    path: str
    id: str
    kind: str
    thermometer: Standard | None
    reading_r: Reading | None  # of the reference thermometer, °C
    correction: Decimal  # of its certificate, °C
    true_c: Decimal  # what the bath is, °C
    true: Decimal  # the same in the unit of the display
    readings: tuple[Reading, ...]
    mean: Decimal
    unsteady: str
    information: str
    no_ice: str  # why what was entered as an ice point is none
    still: Decimal
    unrounded: Decimal  # the error before the mean was fixed
    crept: tuple[Reading, ...] = ()
    control_system: Reading | None = None
    stood_still: str = ""
    element: Decimal | None = None  # resistance less the leads, ohm
    ohm: Reading | None = None
    element_c: Decimal | None = None  # what that is by IEC 60751, fixed
    nominal: Decimal = Decimal(100)

    @property
    def reason(self) -> str:
        """Why it is not judged; empty where it is."""
        return self.information or self.no_ice or self.unsteady

    @property
    def counts(self) -> bool:
        return not self.reason

    @property
    def error(self) -> Decimal:
        return self.mean - self.true


class TemperatureInputs(Inputs):
    """The inputs of a temperature check; those in °C are scaled to the unit of the display."""

    def __init__(self, settings: Mapping[str, str], scale: float) -> None:
        super().__init__(settings, SIZES)
        self.scale = scale

    def true(self, point: Measured) -> Term:
        """Return the temperature of a bath in °C with what makes it uncertain."""
        bath = self.half_width(f"bath:{point.stage}.{point.id}", BATHS[point.kind])
        if point.thermometer is None or point.reading_r is None:
            return lambda v: v[bath]
        read = self.digit(f"reference:{point.stage}.{point.id}", point.reading_r, "reference thermometer")
        known = self.thermometer(point.thermometer)
        drift = self.half_width(f"drift:{point.thermometer.id}", "thermometer_drift_c")
        correction = float(point.correction)
        return lambda v: v[read] + correction + v[known] + v[drift] + v[bath]

    def reading(self, point: Measured, unit: str) -> Term:
        """Enter the readings of the display: their mean, of creeping ones the last with the rest."""
        name = f"reading:{point.stage}.{point.id}"
        if not point.crept:
            cause = self.mean(name, point.readings, "display")
            return lambda v: v[cause]
        cause = self.digit(name, point.readings[-1], "display")
        rest = self.creep(f"creep:{point.stage}.{point.id}", point.still, unit)
        return lambda v: v[cause] + v[rest]

    def element(self, point: Measured) -> Term:
        """Return the temperature an element has by its resistance, °C."""
        assert point.element is not None
        assert point.ohm is not None
        read = self.digit(f"resistance:{point.stage}.{point.id}", point.ohm, "ohmmeter")
        meter, leads = self.half_width("ohmmeter", "ohmmeter_ohm"), self.half_width("leads", "lead_ohm")
        off = float(point.element - point.ohm.value)
        nominal = float(point.nominal)
        return lambda v: pt_temperature(v[read] + off + v[meter] - v[leads], nominal)


def quantities(points: Sequence[Measured], settings: Mapping[str, str], unit: str) -> dict[str, Quantity]:
    """Return the errors of a stage with their budgets, in one propagation: one cause, one name."""
    scale, zero = (1.8, 32.0) if unit == "°F" else (1.0, 0.0)
    x = TemperatureInputs(settings, scale)
    true = {p.id: x.true(p) for p in points}
    read = {p.id: x.reading(p, unit) for p in points}
    lag = {p.id: x.half_width(f"immersion:{p.stage}.{p.id}", "immersion_c") for p in points}
    element = {p.id: x.element(p) for p in points if p.element is not None}
    there = {
        p.id: x.digit(f"control system:{p.stage}.{p.id}", p.control_system, "control system")
        for p in points
        if p.control_system is not None
    }
    pair = widest(points)

    def model(v: Mapping[str, Any]) -> dict[str, Any]:
        out: dict[str, Any] = {}
        for p in points:
            here = true[p.id](v) + v[lag[p.id]]
            shown = read[p.id](v)
            out[f"{p.id}.error"] = shown - (here * scale + zero)
            if p.id in there:
                out[f"{p.id}.control_system"] = v[there[p.id]] - (here * scale + zero)
            if p.id in element:
                by_ohm = element[p.id](v)
                out[f"{p.id}.element"] = by_ohm - here
                out[f"{p.id}.electronics"] = shown - (by_ohm * scale + zero)
        if pair is not None:
            low, high = pair
            apart = (true[high.id](v) - true[low.id](v)) * scale
            moved = read[high.id](v) - read[low.id](v)
            out["gain"] = 100 * ((moved - v[lag[high.id]] * scale + v[lag[low.id]] * scale) / apart - 1)
        return out

    return propagate(model, x, _Units(unit), _texts(points))


def widest(points: Sequence[Measured]) -> tuple[Measured, Measured] | None:
    """Return the coldest and the warmest bath that count, None where there are not two."""
    counted = sorted((p for p in points if p.counts), key=lambda p: p.true_c)
    if len(counted) < 2 or counted[0].true_c == counted[-1].true_c:
        return None
    return counted[0], counted[-1]


class _Units(dict[str, str]):
    def __init__(self, own: str) -> None:
        super().__init__()
        self.own = own

    def __missing__(self, key: str) -> str:
        word = key.rpartition(".")[2]
        return {"gain": "%", "element": "°C"}.get(word, self.own)


def _texts(points: Sequence[Measured]) -> dict[str, str]:
    """Errors exactly as they follow from what was typed: that is what is shown and judged."""
    texts = {}
    for p in points:
        texts[f"{p.id}.error"] = f"{p.error:f}"
        if p.control_system is not None:
            texts[f"{p.id}.control_system"] = f"{p.control_system.value - p.true:f}"
        if p.element_c is not None:
            texts[f"{p.id}.element"] = f"{p.element_c - p.true_c:f}"
    pair = widest(points)
    if pair is not None:
        low, high = pair
        gain = 100 * ((high.mean - low.mean) / (high.true - low.true) - 1)
        texts["gain"] = f"{gain.quantize(PERCENT) + 0:f}"
    return texts
