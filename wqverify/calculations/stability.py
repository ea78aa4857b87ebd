"""Whether readings one after the other hold still."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from wqverify.errors import CorrectTheEntry


def range_of_last(readings: Sequence[Decimal], n: int = 3) -> Decimal:
    """Return the range of the last n readings, in their unit.

    Equation: max - min. Raises CorrectTheEntry for fewer than n. Source: common practice, no source.

    >>> range_of_last([Decimal("7.20"), Decimal("7.23"), Decimal("7.24")])
    Decimal('0.04')
    """
    if len(readings) < n:
        raise CorrectTheEntry(
            f"{len(readings)} readings cannot show that it holds still; {n} are needed.",
            found=str(len(readings)),
            expected=str(n),
        )
    last = readings[-n:]
    return max(last) - min(last)


def is_stable(readings: Sequence[Decimal], limit: Decimal, n: int = 3) -> bool:
    """Return whether the last n readings lie within a limit, inclusive.

    Equation: max - min <= limit. Raises CorrectTheEntry for fewer than n. Source: common practice, no source;
    the figures of USGS National Field Manual A6, 6.4, are settings.

    >>> is_stable([Decimal("7.10"), Decimal("7.18"), Decimal("7.24")], Decimal("0.05"))
    False
    """
    return range_of_last(readings, n) <= limit
