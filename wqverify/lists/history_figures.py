"""The figures of a history as text: a value, a drift per day, a tolerance, what a key is called."""

from __future__ import annotations

import math
from decimal import Decimal

from wqverify.calculations.interval import Drift
from wqverify.calculations.uncertainty import coverage_factor
from wqverify.lists.history import Figures
from wqverify.lists.history_advice import LEVEL
from wqverify.lists.history_series import Point
from wqverify.show.printable import minus


def label_of(one: Figures) -> str:
    """Return what the records call a key; its name where they do not say."""
    return one.series.label or one.series.key


def limits_of(point: Point) -> str:
    """Return the tolerance of a value in words; one may be open at an end."""
    if bool(point.low) != bool(point.high):
        return f"up to {minus(point.high)}" if point.high else f"from {minus(point.low)}"
    return f"{minus(point.low)} to {minus(point.high)}" if point.low else ""


def half_width(drift: Drift) -> float:
    """Return half the interval of confidence of a drift per day."""
    return coverage_factor(float(drift.dof), LEVEL) * drift.s * math.sqrt(drift.inverse[0][0])


def drifts(drift: Drift) -> bool:
    """Whether a drift per day is more than its interval of confidence."""
    return abs(drift.coefficients[0]) > half_width(drift) > 0


def value_text(figures: Figures, value: float) -> str:
    """Return a value with one digit beyond those the values were kept with; no zero has a sign."""
    exponents = [Decimal(p.text).as_tuple().exponent for p in figures.series.points if p.value is not None]
    digits = min(6, 1 + max((-int(e) for e in exponents), default=2))
    return minus(f"{round(value, digits) + 0.0:.{digits}f}")


def rate_text(value: float) -> str:
    """Return a change per day, to three figures and without an exponent.

    >>> rate_text(0.000023861), rate_text(-1.5), rate_text(0.0)
    ('0.0000239', '\u22121.50', '0')
    """
    if value == 0:
        return "0"
    digits = max(0, 2 - Decimal(f"{abs(value):e}").adjusted())
    return minus(f"{value:.{min(digits, 9)}f}")
