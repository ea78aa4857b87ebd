"""Turbidity: error and recovery on a standard, change of a secondary one, gain and zero, rounded reports.

Works on floats, decimals, arrays and dual numbers; turbidity in NTU (or FNU, the same number on formazin).
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from wqverify.calculations.dilution import everywhere
from wqverify.errors import CorrectTheEntry

Bands = Sequence[tuple[Decimal, Decimal]]  # lower edge, increment from there on


def error(R: Any, C: Any, cell: Any = 0) -> Any:
    """Return the error of a reading on a standard, in NTU.

    Equation: e = R - C (1 + cell); reading minus reference, C the value of the standard, cell the relative
    effect of cell, bubbles and orientation. R and C from 0 in NTU. Source: VIM 2.16; the cell is common
    practice, no source.

    >>> round(error(20.6, 20.02), 9)
    0.58
    """
    return R - C * (1 + cell)


def recovery_percent(R: Any, C: Any) -> Any:
    """Return what is found of a standard, in percent.

    Equation: 100 R/C, both in NTU, C above 0. Raises CorrectTheEntry for a standard of 0. Source: common
    practice, no source.

    >>> recovery_percent(19.0, 20.0)
    95.0
    """
    _refuse_zero(C, "A recovery needs a standard above 0 NTU")
    return 100 * R / C


def change_since_assigned(R: Any, V: Any, place: Any = 0, place_then: Any = 0, since: Any = 0) -> Any:
    """Return how far a secondary standard reads from the value assigned to it, in NTU.

    Equation: c = R (1 + place) - V (1 + place_then)(1 + since); place and place_then the relative effect of
    putting it in now and when the value was assigned, since the relative change of the standard itself by age
    and temperature. R and V in NTU. The primary standard the value came from is in both and cancels. Source:
    measurement model of this project, checked with GTC.

    >>> round(change_since_assigned(0.545, 0.520), 9)
    0.025
    """
    return R * (1 + place) - V * (1 + place_then) * (1 + since)


def gain(C: Any, Cw: Any, R: Any, Z: Any) -> Any:
    """Return the factor that what is displayed above the zero reading has to be multiplied by.

    Equation: K = (C - Cw)/(R - Z), C the standard and R its reading, Cw the zero water's own turbidity and Z
    the reading in it, all in NTU. Raises CorrectTheEntry where both readings are equal. Source: straight line
    through two points, common mathematics.

    >>> round(gain(20.02, 0.02, 20.6, 0.035), 5)
    0.97253
    """
    if not everywhere((R > Z) | (R < Z)):
        raise CorrectTheEntry(
            "The display showed the same in the standard and in the zero water; two equal readings give no "
            "gain."
        )
    return (C - Cw) / (R - Z)


def corrected(x: Any, K: Any, Z: Any, Cw: Any) -> Any:
    """Return the turbidity that belongs to a display x, in NTU, with the zero known.

    Equation: N(x) = K (x - Z) + Cw. All in NTU but K. Source: straight line through two points, common
    mathematics.

    >>> round(corrected(0.115, 0.97253, 0.035, 0.02), 4)
    0.0978
    """
    return K * (x - Z) + Cw


def gain_without_zero(C: Any, R: Any) -> Any:
    """Return the gain where no zero water was read: all of the display counts as turbidity.

    Equation: K = C/R, both in NTU, R above 0. Raises CorrectTheEntry for a reading of 0. Source: straight
    line through the origin, common mathematics.

    >>> round(gain_without_zero(20.02, 20.6), 5)
    0.97184
    """
    _refuse_zero(R, "A gain needs a reading above 0 NTU")
    return C / R


def corrected_without_zero(x: Any, K: Any, stray: Any = 0) -> Any:
    """Return the turbidity that belongs to a display x, in NTU, with the stray light unknown.

    Equation: N(x) = K x + stray, the stray light about 0. All in NTU but K. Source: measurement model of this
    project, checked with GTC.

    >>> round(corrected_without_zero(0.115, 0.97184), 4)
    0.1118
    """
    return K * x + stray


def error_between(x: Any, R1: Any, e1: Any, R2: Any, e2: Any) -> Any:
    """Return the error at a displayed x, on the straight line between two standards.

    Equation: e(x) = e1 + (e2 - e1)(x - R1)/(R2 - R1), R what was displayed in the standards; all in NTU.
    Raises CorrectTheEntry where both displays are equal. Source: linear interpolation, common mathematics.

    >>> round(error_between(10.0, 0.0, 0.0, 20.0, 0.6), 9)
    0.3
    """
    if not everywhere((R1 > R2) | (R1 < R2)):
        raise CorrectTheEntry("The display showed the same in two standards; they give no line between them.")
    return e1 + (e2 - e1) * (x - R1) / (R2 - R1)


def band(value: Decimal, bands: Bands) -> tuple[Decimal, Decimal]:
    """Return (lower edge, increment) of the band a turbidity belongs to.

    Equation: the last band whose lower edge is below the value; a value exactly on an edge belongs to the
    band below it, the finer one, and 0 to the first. ``value`` from 0 in NTU. Raises CorrectTheEntry for a
    negative one. Source: the bands are those of EPA Method 180.1 rev 2.0, section 12, which does not say to
    which band an edge belongs: that rule is this project's, it never drops a digit the reading supports.

    >>> bands = [(Decimal(0), Decimal("0.05")), (Decimal(1), Decimal("0.1"))]
    >>> [str(band(Decimal(x), bands)[1]) for x in ("0.99", "1.00", "1.01")]
    ['0.05', '0.05', '0.1']
    """
    if value < bands[0][0]:
        raise CorrectTheEntry(
            f"{value} NTU is below {bands[0][0]} NTU; no reporting increment is stated for it.",
            found=str(value),
            expected=f"{bands[0][0]} or more",
        )
    return [row for row in bands if row[0] < value or row is bands[0]][-1]


def reported(value: Decimal, bands: Bands) -> str:
    """Return a turbidity as it is reported: to the nearest increment of its band, halves to the even one.

    Equation: increment x round(value/increment). ``value`` from 0 in NTU, unrounded; the band is that of the
    value before rounding, an edge belongs to the band below. Raises CorrectTheEntry as ``band``. Source: EPA
    Method 180.1 rev 2.0 (1993), section 12; halves to even is common practice, no source.

    >>> bands = [(Decimal(0), Decimal("0.05")), (Decimal(1), Decimal("0.1")), (Decimal(10), Decimal(1))]
    >>> [reported(Decimal(x), bands) for x in ("0.27", "4.44", "23.6", "0.98")]
    ['0.25', '4.4', '24', '1.00']
    """
    increment = band(value, bands)[1]
    steps = (value / increment).quantize(Decimal(1), ROUND_HALF_EVEN)
    return f"{steps * increment:f}"


def _refuse_zero(value: Any, sentence: str) -> None:
    if not everywhere(value > 0):
        raise CorrectTheEntry(f"{sentence}.", expected="more than 0")
