"""The 4-20 mA loop: current and value, square root, load and supply, leaks, states of the signal, chains."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, Literal

from wqverify.calculations.dual import Dual, sqrt
from wqverify.errors import CorrectTheEntry

ZERO_MA, FULL_MA = 4, 20
SPAN_MA = FULL_MA - ZERO_MA
FAILURE_LOW, MEASURING_LOW, MEASURING_HIGH, FAILURE_HIGH = 3.6, 3.8, 20.5, 21.0  # mA, NAMUR NE 43

State = Literal["failure low", "not valid, low", "measuring", "not valid, high", "failure high"]


def fraction(current_ma: Any) -> Any:
    """Return the part of the span a current in mA stands for: 0 at 4 mA, 1 at 20 mA.

    Equation: q = (I - 4)/16. Any current; below 4 mA it is negative. Source: IEC 60381-1, 4 to 20 mA (from
    memory).

    >>> fraction(12.0)
    0.5
    """
    return (current_ma - ZERO_MA) / SPAN_MA


def current(part: Any) -> Any:
    """Return the current in mA of a part of the span.

    Equation: I = 4 + 16 q. Source: IEC 60381-1, 4 to 20 mA (from memory).

    >>> current(0.5)
    12.0
    """
    return ZERO_MA + SPAN_MA * part


def width(low: Any, high: Any) -> Any:
    """Return the width of a range in its unit; negative for a range that runs backwards.

    Equation: high - low. Raises CorrectTheEntry for a range of zero width. Source: arithmetic.

    >>> width(2.0, 12.0)
    10.0
    """
    if low == high:
        raise CorrectTheEntry(
            f"The range {low} to {high} has no width, so no current stands for a value; read both ends of it "
            f"again.",
            found=f"{low} to {high}",
            expected="two different ends",
        )
    return high - low


def part_of(value: Any, low: Any, high: Any) -> Any:
    """Return the part of a range at which a value lies, all in one unit.

    Equation: y = (v - low)/(high - low). Raises CorrectTheEntry for a range of zero width. Source:
    arithmetic.

    >>> part_of(7.0, 0.0, 14.0)
    0.5
    """
    return (value - low) / width(low, high)


def root_of(part: Any) -> Any:
    """Return the square root of a part of the span: differential pressure becomes flow.

    Equation: y = sqrt(q), q 0 or more; above 0 for a dual number. A Decimal stays one. Raises CorrectTheEntry
    for a negative signal. Source: Q proportional to the root of the differential pressure, ISO 5167-1 (from
    memory).

    >>> root_of(0.25)
    0.5
    """
    if part < 0:
        size = part.v if isinstance(part, Dual) else part
        raise CorrectTheEntry(
            f"The square root of a negative signal ({100 * float(size):.2f} % of span, below 4 mA) is no "
            f"flow; apply 4 mA or more, or enter that no root is taken there.",
            found=f"{100 * float(size):.2f} %",
            expected="0 % or more",
        )
    own = getattr(part, "sqrt", None)  # of a Decimal
    return own() if own is not None else sqrt(part)


def value(current_ma: Any, low: Any, high: Any, root: bool = False) -> Any:
    """Return the value that a current stands for in a range, in the unit of the range.

    Equation: v = low + (high - low) q, or with the square root low + (high - low) sqrt(q), q = (I - 4)/16.
    Current in mA; with root 4 mA or more. Raises CorrectTheEntry for a range of zero width and for the root
    of a negative signal. Source: IEC 60381-1 (from memory); root by ``root_of``.

    >>> value(8.0, 0.0, 100.0), value(8.0, 0.0, 100.0, root=True)
    (25.0, 50.0)
    """
    part = fraction(current_ma)
    return low + width(low, high) * (root_of(part) if root else part)


def current_of(value_shown: Any, low: Any, high: Any, root: bool = False) -> Any:
    """Return the current in mA that a value stands for in a range; the inverse of ``value``.

    Equation: I = 4 + 16 y, with the square root 4 + 16 y |y|, y = (v - low)/(high - low). Raises
    CorrectTheEntry for a range of zero width. Source: as ``value``; a display below its zero is kept below.

    >>> current_of(25.0, 0.0, 100.0), current_of(50.0, 0.0, 100.0, root=True)
    (8.0, 8.0)
    """
    part = part_of(value_shown, low, high)
    if root:
        part = part * part if part >= 0 else -(part * part)
    return current(part)


# ---------------------------------------------------------------- states of the signal


def state_of(current_ma: Any) -> State:
    """Return what a current in mA says about itself.

    Rule: failure at or below 3.6 and at or above 21 mA, measuring from 3.8 to 20.5 mA, between them not valid
    and no failure signal either; 0 mA is a broken wire and a failure. Source: NAMUR NE 43 (three public
    sources; that the ends are included is from memory).

    >>> state_of(3.5), state_of(3.7), state_of(12.0), state_of(21.0)
    ('failure low', 'not valid, low', 'measuring', 'failure high')
    """
    amount = float(current_ma)
    if amount <= FAILURE_LOW:
        return "failure low"
    if amount < MEASURING_LOW:
        return "not valid, low"
    if amount <= MEASURING_HIGH:
        return "measuring"
    return "not valid, high" if amount < FAILURE_HIGH else "failure high"


# ---------------------------------------------------------------- resistance and supply


def shunt_current(volts: Any, ohm: Any) -> Any:
    """Return the current in mA through a resistor by the volts across it.

    Equation: I = 1000 V/R, V in volts, R in ohm above 0. Raises CorrectTheEntry for no resistance. Source:
    Ohm's law.

    >>> shunt_current(3.0, 250.0)
    12.0
    """
    return 1000 * volts / _resistance(ohm)


def terminal_volts(supply_v: Any, current_ma: Any, ohm: Any) -> Any:
    """Return the volts left at the transmitter.

    Equation: V_t = V - I R/1000, supply in V, current in mA, resistance of the whole loop in ohm. Source:
    Ohm's law.

    >>> terminal_volts(26.0, 20.0, 250.0)
    21.0
    """
    return supply_v - current_ma * ohm / 1000


def largest_load(supply_v: Any, least_v: Any, current_ma: Any) -> Any:
    """Return the largest resistance of a loop in ohm at which the transmitter still makes a current.

    Equation: R = 1000 (V - Vmin)/I, volts and mA. Raises CorrectTheEntry where the supply is not above the
    least voltage of the transmitter and for no current. Source: two transmitter manuals (general form).

    >>> largest_load(24.0, 8.0, 20.0)
    800.0
    """
    _room(supply_v, least_v)
    if not current_ma > 0:
        raise CorrectTheEntry(f"A current of {current_ma} mA has no largest load; enter one above 0.")
    return 1000 * (supply_v - least_v) / current_ma


def largest_current(supply_v: Any, least_v: Any, ohm: Any) -> Any:
    """Return the current in mA at which a loop sticks because the supply is used up.

    Equation: I = 1000 (V - Vmin)/R, volts and ohm. Raises CorrectTheEntry where the supply is not above the
    least voltage of the transmitter, and for no resistance. Source: as ``largest_load``.

    >>> round(largest_current(21.6, 12.0, 600.0), 9)
    16.0
    """
    _room(supply_v, least_v)
    return 1000 * (supply_v - least_v) / _resistance(ohm)


def leaked(current_ma: Any, ohm: Any, leak_ohm: Any) -> Any:
    """Return what of a current in mA still goes through an input with a leak beside it.

    Equation: I_in = I Rp/(R + Rp), input R and leak Rp in ohm. Raises CorrectTheEntry for no resistance.
    Source: current divider, Ohm's law.

    >>> round(leaked(20.0, 250.0, 10000.0), 3)
    19.512
    """
    return current_ma * leak_ohm / _resistance(ohm + leak_ohm)


def leak_of(ratio: Any, ohm: Any) -> Any:
    """Return the leak in ohm beside an input that gets a part of the current.

    Equation: Rp = R r/(1 - r), r current in the input by current applied, above 0 and below 1; R in ohm.
    Raises CorrectTheEntry outside. Source: current divider, Ohm's law.

    >>> round(leak_of(10000 / 10250, 250.0))
    10000
    """
    if not 0 < ratio < 1:
        raise CorrectTheEntry(
            f"A ratio of {ratio} of the currents is no leak; it takes one between 0 and 1.",
            found=str(ratio),
            expected="between 0 and 1",
        )
    return ohm * ratio / (1 - ratio)


def _room(supply_v: Any, least_v: Any) -> None:
    if not supply_v > least_v:
        raise CorrectTheEntry(
            f"The supply of {supply_v} V is not above the {least_v} V the transmitter needs, so it makes no "
            f"current; measure both again.",
            found=f"{supply_v} V",
            expected=f"more than {least_v} V",
        )


def _resistance(ohm: Any) -> Any:
    if not ohm > 0:
        raise CorrectTheEntry(
            f"A resistance of {ohm} ohm gives no current from volts; measure it with the loop dead.",
            found=str(ohm),
            expected="more than 0 ohm",
        )
    return ohm


# ---------------------------------------------------------------- chain


def chain_by_sum(sizes: Iterable[float]) -> float:
    """Return the size of a chain where all its parts are off the same way.

    Equation: sum of |e_i|, one unit. Source: test practice (from memory), the cautious one of two.

    >>> chain_by_sum([0.25, -0.1])
    0.35
    """
    return math.fsum(abs(size) for size in sizes)


def chain_by_squares(sizes: Iterable[float]) -> float:
    """Return the size of a chain whose parts are off independently of each other.

    Equation: sqrt(sum of e_i^2), one unit. Source: test practice (from memory).

    >>> chain_by_squares([3.0, 4.0])
    5.0
    """
    return math.sqrt(math.fsum(size * size for size in sizes))
