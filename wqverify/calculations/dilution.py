"""Diluting a stock standard with water that is not quite empty itself.

Works on floats, decimals, arrays and dual numbers. Values in NTU, volumes in mL.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from wqverify.errors import CorrectTheEntry

# Pipettes and flasks of one mark as they stand in a laboratory, mL; common practice
PIPETTES_ML = tuple(map(Decimal, ("1", "2", "5", "10", "20", "25", "50")))


def diluted(C0: Any, V0: Any, V: Any, Cw: Any) -> Any:
    """Return the value of a stock C0, V0 of it made up to V with water of Cw.

    Equation: C = (C0 V0 + Cw (V - V0))/V. C0 and Cw from 0 in NTU, 0 < V0 <= V in mL; the answer in NTU.
    Raises CorrectTheEntry for other volumes. Source: conservation of the scattering matter, common
    mathematics; the water counts, so that 0.1 NTU is not made by volumes alone.

    >>> round(diluted(4000.0, 5.0, 1000.0, 0.02), 4)
    20.0199
    """
    if not everywhere((V0 > 0) & (V >= V0)):
        raise CorrectTheEntry(
            f"{_number(V0)} mL cannot be made up to {_number(V)} mL; the flask holds more than the pipette.",
            found=str(_number(V0)),
            expected=f"more than 0 and up to {_number(V)}",
        )
    return (C0 * V0 + Cw * (V - V0)) / V


def stock_volume(C: Any, V: Any, C0: Any, Cw: Any = 0) -> Any:
    """Return the volume of stock that makes V of a standard of value C.

    Equation: V0 = V (C - Cw)/(C0 - Cw); with water of nothing the usual V C/C0. C above Cw and up to C0, all
    in NTU; V above 0 in mL, the answer in mL. Raises CorrectTheEntry for a target at or below the water and
    for one above the stock. Source: the dilution rule of EPA Method 180.1 rev 2.0 and ISO 7027 (V_stock =
    C_target V_final/C_stock), solved with the water kept.

    >>> stock_volume(20.0, 100.0, 4000.0)
    0.5
    >>> round(stock_volume(0.12, 1000.0, 20.0, 0.02), 4)
    5.005
    """
    if not everywhere(Cw < C):
        raise CorrectTheEntry(
            f"A standard of {_number(C)} NTU cannot be made with water of {_number(Cw)} NTU: the target lies "
            f"at or below the water. Choose a higher target, or cleaner water.",
            found=str(_number(C)),
            expected=f"more than {_number(Cw)}",
        )
    if not everywhere(C0 >= C):
        raise CorrectTheEntry(
            f"A standard of {_number(C)} NTU cannot be diluted from a stock of {_number(C0)} NTU: the stock "
            f"is weaker. Choose a lower target, or another stock.",
            found=str(_number(C)),
            expected=f"up to {_number(C0)}",
        )
    return V * (C - Cw) / (C0 - Cw)


def two_steps(
    C: Decimal, V: Decimal, C0: Decimal, Cw: Decimal, smallest: Decimal
) -> tuple[Decimal, Decimal, Decimal] | None:
    """Return (volume of the first step, value between, volume of the second step), None where none fits.

    Equation: both flasks hold V; the first step takes a pipette of one mark of ``PIPETTES_ML``, the second
    the rest by ``stock_volume``. Of all that leave no volume below ``smallest`` nor above half the flask, the
    one whose smaller volume is largest. Values in NTU, volumes in mL. Raises CorrectTheEntry as
    ``stock_volume``. Source: common practice, no source.

    >>> first, between, second = two_steps(*map(Decimal, ("20", "100", "4000", "0", "1")))
    >>> str(first), str(between), str(second)
    ('10', '400', '5')
    """
    stock_volume(C, V, C0, Cw)  # what cannot be made in one step cannot in two
    found = list(_pairs(C, V, C0, Cw, smallest))
    return max(found, key=lambda pair: (min(pair[0], pair[2]), pair[0]), default=None)


def _pairs(
    C: Decimal, V: Decimal, C0: Decimal, Cw: Decimal, smallest: Decimal
) -> Iterator[tuple[Decimal, Decimal, Decimal]]:
    for first in PIPETTES_ML:
        if not smallest <= first <= V / 2:
            continue
        between = diluted(C0, first, V, Cw)
        if between >= C:
            second = stock_volume(C, V, between, Cw)
            if smallest <= second <= V / 2:
                yield first, between, second


def everywhere(true: Any) -> bool:
    """Return whether a comparison holds for every element; of plain numbers it is the comparison itself.

    Equation: all of it. A logical value, or an array of them. Source: none needed.

    >>> everywhere(2 > 1)
    True
    """
    return true if isinstance(true, bool) else bool(true.all())


def _number(value: Any) -> Any:
    """The plain number of a dual one: a message shows no derivative."""
    return getattr(value, "v", value)
