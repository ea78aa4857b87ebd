"""Whether the currents at which a place was read tell a wrong range or root: how many, and which."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from wqverify.calculations import loop

LEAST = "3"  # different currents; common practice, no source
ONE_CURRENT = Decimal("0.16")  # mA, 1 % of span: so near, two currents are one
MIDDLE = (Decimal("0.4"), Decimal("0.6"))  # of span; common practice, no source
ROOT_MA = Decimal(10)  # up to here a missing or second root shows; common practice, no source
_BECAUSE = "because a wrong range or root can be right at the ends, or in the middle alone"


def different(currents: Iterable[Decimal]) -> list[Decimal]:
    """Return the currents that are not one with a lower one, from low to high.

    >>> different([Decimal("12.000"), Decimal("4.000"), Decimal("12.160"), Decimal("12.161")])
    [Decimal('4.000'), Decimal('12.000'), Decimal('12.161')]
    """
    kept: list[Decimal] = []
    for current in sorted(currents):
        if not kept or current - kept[-1] > ONE_CURRENT:
            kept.append(current)
    return kept


def too_few(currents: Iterable[Decimal], least: int, *, root: bool, above_zero: bool) -> str:
    """Return why these currents do not tell a wrong range or root, empty where they do.

    ``root``: a square root is taken after the current. ``above_zero``: 4 mA was read and is not counted.
    """
    every = list(currents)
    count = len(different(every))
    if root:
        good = any(loop.ZERO_MA < current <= ROOT_MA for current in every)
        where = f"above 4 and up to {ROOT_MA} mA"
    else:
        good = any(MIDDLE[0] <= loop.fraction(current) <= MIDDLE[1] for current in every)
        where = "near the middle (40 to 60 % of span)"
    if count >= least and good:
        return ""
    beyond = " above 4 mA" if above_zero else ""
    return (
        f"read at {count} current{'' if count == 1 else 's'}{beyond}; {least} different ones are needed, one "
        f"{where}, {_BECAUSE}"
    )
