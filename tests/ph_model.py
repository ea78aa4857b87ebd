"""The measurement model of a pH check in two ready-made buffers, for floats, dual numbers, arrays and GTC.

7.00 and 10.01 at 18.4 C, displays 7.06 and 10.02. Sizes: certificates U 0.01 and 0.02 (k = 2), opened
bottles 0.005 and 0.02, printed digit of each column 0.005, thermometer u 0.15 C shared, buffer and glass
not yet equal 1 C, creep half the stability criterion, display 0.01 (all rectangular unless k is given).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import sqrt
from typing import Any

from wqverify.calculations import ph
from wqverify.calculations.interpolation import interpolate
from wqverify.terms import Input

# Ready-made buffers, general trade data: C, pH
READY_4 = ((0.0, 4.0), (20.0, 4.0), (25.0, 4.01), (30.0, 4.01))
READY_7 = ((10.0, 7.06), (15.0, 7.04), (20.0, 7.02), (25.0, 7.0))
READY_10 = ((10.0, 10.18), (15.0, 10.12), (20.0, 10.06), (25.0, 10.01))
T = 18.4
R3 = sqrt(3)

INPUTS: Mapping[str, Input] = {
    "read 7": Input(7.06, 0.01 / sqrt(12), "rectangular"),
    "read 10": Input(10.02, 0.01 / sqrt(12), "rectangular"),
    "creep 7": Input(0.0, 0.01 / R3, "rectangular"),
    "creep 10": Input(0.0, 0.01 / R3, "rectangular"),
    "bottle 7": Input(0.0, 0.005),
    "bottle 10": Input(0.0, 0.010),
    "opened 7": Input(0.0, 0.005 / R3, "rectangular"),
    "opened 10": Input(0.0, 0.02 / R3, "rectangular"),
    "table 7": Input(0.0, 0.005 / R3, "rectangular"),
    "table 10": Input(0.0, 0.005 / R3, "rectangular"),
    "thermometer": Input(0.0, 0.15),
    "gradient 7": Input(0.0, 1.0 / R3, "rectangular"),
    "gradient 10": Input(0.0, 1.0 / R3, "rectangular"),
}
UNITS = {
    "e7": "pH",
    "e10": "pH",
    "by B": "pH",
    "by displays": "pH",
    "by B with junction": "pH",
    "gain": "",
    "efficiency": "%",
}


def buffers(
    x: Mapping[str, Any], table: Callable[[Any, Any], Any] = interpolate
) -> tuple[Any, Any, Any, Any]:
    """R and B of both points."""
    b7 = table(READY_7, T + x["thermometer"] + x["gradient 7"])
    b10 = table(READY_10, T + x["thermometer"] + x["gradient 10"])
    return (
        x["read 7"] + x["creep 7"],
        b7 + x["table 7"] + x["bottle 7"] + x["opened 7"],
        x["read 10"] + x["creep 10"],
        b10 + x["table 10"] + x["bottle 10"] + x["opened 10"],
    )


def at_process(x: Mapping[str, Any], table: Callable[[Any, Any], Any] = interpolate) -> dict[str, Any]:
    """The error at a displayed 7.62: the one quantity that the benchmark compares."""
    r7, b7, r10, b10 = buffers(x, table)
    return {"by displays": ph.error_at_displayed(7.62, r7, r7 - b7, r10, r10 - b10)}


def model(x: Mapping[str, Any], table: Callable[[Any, Any], Any] = interpolate) -> dict[str, Any]:
    r7, b7, r10, b10 = buffers(x, table)
    e7, e10 = r7 - b7, r10 - b10
    gain = ph.relative_slope(r7, b7, r10, b10)
    by_b = ph.error_at_true(7.62, b7, e7, b10, e10)
    return {
        "e7": e7,
        "e10": e10,
        "by B": by_b,
        "by displays": ph.error_at_displayed(7.62, r7, e7, r10, e10),
        "gain": gain,
        "efficiency": ph.efficiency_from_stored(97.2, gain),
        "by B with junction": by_b + x["junction"] if "junction" in x else by_b,
    }
