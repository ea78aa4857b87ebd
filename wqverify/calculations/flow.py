"""Flow: what a tank gives by its levels, what a meter is off by, and the square root of a pressure signal.

Works on floats, decimals and dual numbers; a root on floats and dual numbers. A linear differential-pressure
signal is the square of the flow, so its root is taken once on the way: never is a wrong flow, twice another.
"""

from __future__ import annotations

from decimal import Decimal
from math import pi
from typing import Any

from wqverify.calculations import units
from wqverify.calculations.dual import sqrt
from wqverify.errors import CorrectTheEntry

FLOWS = units.units_of("flow")
_PI = Decimal("3.1415926535897932384626433833")
LOWEST_MA, SPAN_MA = 4, 16
NO_ROOT, ONE_ROOT, TWO_ROOTS = 0, 1, 2


def tank_area(diameter_m: Any) -> Any:
    """Return the area of a round tank in m2.

    Equation: A = pi d^2/4. Diameter in m, above 0. Raises CorrectTheEntry for one of 0 or less. Source: area
    of a circle, common mathematics.

    >>> round(tank_area(12.0), 4)
    113.0973
    """
    if not diameter_m > 0:
        raise CorrectTheEntry(
            f"A tank of {_shown(diameter_m)} m diameter has no area, so its level gives no flow; enter the "
            f"inner diameter as surveyed.",
            found=_shown(diameter_m),
            expected="more than 0",
        )
    return (_PI if isinstance(diameter_m, Decimal) else pi) * diameter_m * diameter_m / 4


def drawn_down(area_m2: Any, from_m: Any, to_m: Any, duration_s: Any) -> Any:
    """Return the mean flow out of a tank in L/s.

    Equation: Q = 1000 A (h1 - h2)/t. Area in m2 above 0, levels in m with h1 above h2, time in s above 0.
    Raises CorrectTheEntry for an area of 0, a level that did not fall and a time of 0 or less. Source:
    conservation of volume, common mathematics.

    >>> drawn_down(100.0, 4.5, 4.0, 1000.0)
    50.0
    """
    if not area_m2 > 0:
        raise CorrectTheEntry(
            f"A tank with an area of {_shown(area_m2)} m2 holds no water, so its level gives no flow; enter "
            f"the area as surveyed.",
            found=_shown(area_m2),
            expected="more than 0",
        )
    if not from_m > to_m:
        raise CorrectTheEntry(
            f"The level went from {_shown(from_m)} to {_shown(to_m)} m and did not fall, so nothing was "
            f"drawn down; look which of both is mistyped.",
            found=_shown(to_m),
            expected=f"below {_shown(from_m)}",
        )
    return over_time(1000 * area_m2 * (from_m - to_m), duration_s)


def over_time(volume_l: Any, duration_s: Any) -> Any:
    """Return the mean flow in L/s of a volume in L.

    Equation: Q = V/t. Time in s, above 0. Raises CorrectTheEntry for a time of 0 or less. Source: definition
    of a mean flow.

    >>> over_time(90000.0, 1800.0)
    50.0
    """
    if not duration_s > 0:
        raise CorrectTheEntry(
            f"In {_shown(duration_s)} s nothing flows, so a volume gives no flow; enter the time between "
            f"start and stop by the stopwatch.",
            found=_shown(duration_s),
            expected="more than 0",
        )
    return volume_l / duration_s


def to_litres_per_second(flow: Any, unit: str) -> Any:
    """Return a flow in L/s.

    Equation: q times the factor of its unit. Units: those of ``FLOWS``; gpm and MGD are US gallons. Raises
    CorrectTheEntry for another unit. Source: NIST SP 811 (2008), appendix B.8, as in ``units``.

    >>> to_litres_per_second(Decimal(36), "m3/h"), round(to_litres_per_second(100.0, "gpm"), 4)
    (Decimal('10'), 6.309)
    """
    return units.scaled(flow, _insist(unit), "L/s")


def from_litres_per_second(flow_l_s: Any, unit: str) -> Any:
    """Return a flow in L/s in another unit, one of ``FLOWS``.

    Equation: the inverse of ``to_litres_per_second``; raises as it does. Source: NIST SP 811, appendix B.8.

    >>> from_litres_per_second(Decimal(10), "m3/h")
    Decimal('36')
    """
    return units.scaled(flow_l_s, "L/s", _insist(unit))


def _insist(unit: str) -> str:
    if unit not in FLOWS:
        raise CorrectTheEntry(
            f"{unit or 'no unit'} is no unit of flow that is known here; write one of {', '.join(FLOWS)}.",
            found=unit,
            expected=", ".join(FLOWS),
        )
    return unit


def error_percent(meter: Any, reference: Any) -> Any:
    """Return the error of a meter in % of the reference.

    Equation: e = 100 (Q/Q_ref - 1), both in one unit, the reference above 0. Raises CorrectTheEntry for a
    reference of 0 or less. Source: definition of the relative error, reading minus reference.

    >>> round(error_percent(51.0, 50.0), 9)
    2.0
    """
    if not reference > 0:
        raise CorrectTheEntry(
            f"The reference gave {_shown(reference)}: in percent of nothing there is no error; compare while "
            f"water flows.",
            found=_shown(reference),
            expected="more than 0",
        )
    return 100 * (meter / reference - 1)


def share_of_span(current_ma: Any) -> Any:
    """Return how far a current lies within 4-20 mA, 0 to 1.

    Equation: p = (I - 4)/16. Current in mA. Source: IEC 60381-1 (from memory), live zero of 4 mA.

    >>> share_of_span(8.0)
    0.25
    """
    return (current_ma - LOWEST_MA) / SPAN_MA


def root_of_share(pressure: Any) -> Any:
    """Return the flow as a share of its full scale that a share of the pressure signal stands for.

    Equation: q = sqrt(p), p from 0. Raises CorrectTheEntry for a negative one. Source: flow through a
    restriction goes with the root of its differential pressure, common physics; ISO 5167-1 (from memory).

    >>> root_of_share(0.25)
    0.5
    """
    if not pressure >= 0:
        raise CorrectTheEntry(
            f"The signal is {_shown(100 * pressure)} % of its span, and a negative signal has no square "
            f"root: below 4 mA there is no flow to compute. Zero the differential pressure first, or enter "
            f"the current as the meter showed it.",
            found=_shown(pressure),
            expected="0 or more",
        )
    return sqrt(pressure)


def flow_of_current(current_ma: Any) -> Any:
    """Return the flow in % of full scale of a linear pressure signal in mA.

    Equation: 100 sqrt((I - 4)/16), I from 4 mA. Raises CorrectTheEntry below. Source: as ``root_of_share``
    and ``share_of_span``.

    >>> flow_of_current(8.0)
    50.0
    """
    return 100 * root_of_share(share_of_span(current_ma))


def shown_after_roots(flow: Any, roots: int) -> Any:
    """Return what is shown, as a share of full scale, where the root is taken so many times on the way.

    Equation: q^2 without a root, q with one, sqrt(q) with two. Flow q as a share of full scale from 0. Raises
    ValueError for another number of roots, CorrectTheEntry for a negative flow with two. Source: a linear
    pressure signal is q^2; as ``root_of_share``.

    >>> shown_after_roots(0.25, 0), shown_after_roots(0.25, 1), shown_after_roots(0.25, 2)
    (0.0625, 0.25, 0.5)
    """
    if roots == NO_ROOT:
        return flow * flow
    if roots == ONE_ROOT:
        return flow
    if roots == TWO_ROOTS:
        return root_of_share(flow)
    raise ValueError(f"a root is taken never, once or twice, not {roots} times")


def _shown(x: Any) -> str:
    value = getattr(x, "v", x)  # a dual number
    return f"{value:f}" if isinstance(value, Decimal) else f"{value:g}"
