"""How late an analyzer sees the water: the sample line as plug flow, its cell as a mixer."""

from __future__ import annotations

from math import log, pi
from typing import Any

from wqverify.errors import CorrectTheEntry

RESPONSE_95 = log(20)  # time constants until a first-order mixer shows 95 % of a step


def line_volume_ml(bore_mm: Any, length_m: Any) -> Any:
    """Return the volume of a tube in mL.

    Equation: V = pi d^2 L / 4; mm^2 times m is mL. Bore in mm, length in m, both above 0. Source: volume of a
    cylinder, common mathematics.

    >>> round(line_volume_ml(6.35, 10.0), 1)
    316.7
    """
    return pi / 4 * bore_mm * bore_mm * length_m


def passage_s(volume_ml: Any, flow_ml_min: Any) -> Any:
    """Return the time in s that a flow takes through a volume.

    Equation: t = 60 V/Q. Volume in mL from 0, flow in mL/min above 0. It is the delay of plug flow and, for a
    mixed cell, its time constant. Raises CorrectTheEntry for a flow of 0 or less. Source: common practice, no
    source.

    >>> passage_s(250.0, 500.0)
    30.0
    """
    if not flow_ml_min > 0:
        raise CorrectTheEntry(
            f"A sample flow of {flow_ml_min} mL/min carries no water to the analyzer; measure it by cup and "
            f"watch.",
            found=str(flow_ml_min),
            expected="a flow above 0 mL/min",
        )
    return 60 * volume_ml / flow_ml_min


def mean_age_s(line_ml: Any, cell_ml: Any, flow_ml_min: Any) -> Any:
    """Return the mean age in s of the water that an analyzer is reading, counted from the tap.

    Equation: t = 60 (V_line + V_cell)/Q. Volumes in mL from 0, flow in mL/min above 0. Raises CorrectTheEntry
    for a flow of 0 or less. Source: mean residence time of plug flow and a first-order mixer in series.

    >>> mean_age_s(400.0, 100.0, 500.0)
    60.0
    """
    return passage_s(line_ml + cell_ml, flow_ml_min)


def response_95_s(line_ml: Any, cell_ml: Any, flow_ml_min: Any) -> Any:
    """Return the time in s after which an analyzer shows 95 % of a step at the tap.

    Equation: t = 60 (V_line + ln(20) V_cell)/Q. Volumes in mL from 0, flow in mL/min above 0. Raises
    CorrectTheEntry for a flow of 0 or less. Source: plug flow and a first-order mixer in series.

    >>> round(response_95_s(0.0, 500.0, 500.0), 1)
    179.7
    """
    return passage_s(line_ml + RESPONSE_95 * cell_ml, flow_ml_min)


def late_by_average_s(window_s: Any) -> Any:
    """Return how late in s a moving average is on a ramp: half of its window.

    Equation: t = w/2. Window in s from 0. Source: mean of a straight line over its last w seconds.

    >>> late_by_average_s(300.0)
    150.0
    """
    return window_s / 2


def late_by_damping_s(constants_s: Any) -> Any:
    """Return how late in s first-order dampings in series are on a ramp: the sum of their time constants.

    Equation: t = tau_1 + tau_2 + ... Time constants in s from 0; none is 0 s. Source: response of a first-
    order lag to a ramp after the transient, common mathematics.

    >>> late_by_damping_s([30.0, 5.0])
    35.0
    """
    return sum(constants_s)


def twin_delay_s(place: str, line_s: Any, cell_s: Any, drain_s: Any, late_s: Any) -> Any:
    """Return how many s after a grab was taken the analyzer showed that water; negative is before.

    Equation: at the process tap line + cell + late; at the analyzer inlet cell + late; at the analyzer drain
    late - drain. ``line_s`` passage from tap to cell, ``cell_s`` time constant of the cell, ``drain_s``
    passage from the cell to the drain, ``late_s`` how late the value itself is (damping, averaging), all in
    s from 0. Raises ValueError for another place. Source: common practice, no source.

    >>> twin_delay_s("process tap", 38.0, 18.0, 6.0, 10.0)
    66.0
    >>> twin_delay_s("analyzer drain", 38.0, 18.0, 6.0, 2.0)
    -4.0
    """
    if place == "process tap":
        return line_s + cell_s + late_s
    if place == "analyzer inlet":
        return cell_s + late_s
    if place == "analyzer drain":
        return late_s - drain_s
    raise ValueError(f"no delay is known from the place {place!r}")
