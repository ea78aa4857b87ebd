"""The measurement models of a chlorine check: error against the grabs, sensitivity, acid by pH, zero.

e = R + read + moment - (G (1 + gain) + blank), G the mean of the grabs; S = (I - I0)/G. The photometer is
one cause for both grabs and for the sensitivity: what it has wrong does not average.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from wqverify.calculations import chlorine, pairing
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.chlorine_sheet import Pair
from wqverify.procedures.grab_budget import READ_TO, instrument_causes, repeatability, step_cause
from wqverify.procedures.grab_sheet import LabResult
from wqverify.procedures.grab_sizes import CHLORINE, sizes_of
from wqverify.procedures.inputs import Inputs, Sizes
from wqverify.terms import Given, Place, Quantity, Reading, Standard

SIZES: Sizes = {
    **sizes_of(CHLORINE),
    "chlorine_moment": (
        "0.01",
        "common practice",
        "display and grabs not of one moment, within ±{size} mg/L",
    ),
    "zero_settled_ua": ("0.05", "memory", "zero current not fully settled, within ±{size} uA"),
    "cell_ph": ("0.1", "common practice", "pH at the cell, within ±{size}"),
    "cell_c": ("0.5", "common practice", "temperature at the cell, within ±{size} °C"),
}
SENSITIVITY = "uA per mg/L"


def mean_of(grabs: Sequence[LabResult]) -> Decimal:
    """Return the mean of one grab or two, exactly."""
    return sum((grab.value for grab in grabs), Decimal(0)) / len(grabs)


def error(stage: str, pair: Pair, instrument: Standard, given: Given) -> dict[Place, Quantity]:
    """Return the error at the analyzer and, where it was read, at the control system; texts are exact."""
    unit, mean = given.analyzer.unit, mean_of(pair.grabs)
    x = Inputs(given.analyzer.settings, SIZES)
    shown: dict[Place, str] = {"analyzer": x.digit("reading:display", pair.shown, "display")}
    texts = {"analyzer": f"{pair.shown.value - mean:f}"}
    if pair.control_system is not None:
        shown["control system"] = x.digit("reading:control system", pair.control_system, "control system")
        texts["control system"] = f"{pair.control_system.value - mean:f}"
    moment = x.half_width(f"moment of the reading:{stage}", "chlorine_moment")
    grabs = _Grabs(x, pair.grabs, instrument, given)

    def model(v: Mapping[str, Any]) -> dict[str, Any]:
        grab = (grabs.read(v), grabs.gain(v), grabs.zero(v))
        return {
            place: pairing.difference(v[cause] + v[moment], 0.0, 0.0, *grab) for place, cause in shown.items()
        }

    found = propagate(model, x, dict.fromkeys(texts, unit), texts)
    return {place: found[place] for place in shown}


def sensitivity(
    currents: Sequence[Reading], zero: Reading, grabs: Sequence[LabResult], instrument: Standard, given: Given
) -> Quantity:
    """Return the sensitivity of the cell from its current with the grabs and without chlorine."""
    x = Inputs(given.analyzer.settings, SIZES)
    current = x.mean("cell current", currents, "cell current")
    settled = x.half_width("zero current", "zero_settled_ua", float(zero.value))
    known = _Grabs(x, grabs, instrument, given)

    def model(v: Mapping[str, Any]) -> dict[str, Any]:
        grab = -pairing.difference(0.0, 0.0, 0.0, known.read(v), known.gain(v), -known.zero(v))
        return {"sensitivity": chlorine.sensitivity(v[current], v[settled], grab)}

    return propagate(model, x, {"sensitivity": SENSITIVITY})["sensitivity"]


def acid(ph: Reading, temperature: Reading, given: Given) -> dict[str, Quantity]:
    """Return what a cell without pH compensation sees, % of free chlorine, and what a rise of 0.1 pH does."""
    x = Inputs(given.analyzer.settings, SIZES)
    names = (
        x.half_width("pH at the cell", "cell_ph", float(ph.value)),
        x.half_width("temperature at the cell", "cell_c", float(temperature.value)),
    )

    def model(v: Mapping[str, Any]) -> dict[str, Any]:
        pH, t = v[names[0]], v[names[1]]
        now, then = chlorine.hypochlorous_share(pH, t), chlorine.hypochlorous_share(pH + 0.1, t)
        return {"share": 100 * now, "per tenth": 100 * (then / now - 1)}

    return propagate(model, x, {"share": "%", "per tenth": "%"})


class _Grabs:
    """The grabs of one moment by one photometer: their mean, with what is shared and what is not."""

    def __init__(self, x: Inputs, grabs: Sequence[LabResult], instrument: Standard, given: Given) -> None:
        unit = given.analyzer.unit
        self.mean = float(mean_of(grabs))
        self.share, self.zeros = instrument_causes(x, instrument, CHLORINE, unit)
        self.own = []
        for letter, grab in zip("AB", grabs, strict=False):
            cause = f"repeatability of grab {letter}"
            x[cause] = repeatability(grab.value, CHLORINE, x.settings, unit)
            self.own.append(cause)
        coarsest = max(grab.reading.digit for grab in grabs)
        self.step = step_cause(x, coarsest, READ_TO, instrument, unit)

    def read(self, v: Mapping[str, Any]) -> Any:
        """The mean of what the photometer showed."""
        total: Any = 0.0
        for cause in self.own:
            total = total + v[cause]
        return self.mean + total / len(self.own) + v[self.step]

    def gain(self, v: Mapping[str, Any]) -> Any:
        return v[self.share] if self.share else 0.0

    def zero(self, v: Mapping[str, Any]) -> Any:
        total: Any = 0.0
        for cause in self.zeros:
            total = total + v[cause]
        return total
