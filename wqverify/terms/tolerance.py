"""The allowed error of an instrument, with the rule that judges it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

Rule = Literal["as the method states", "simple", "guarded"]
Basis = Literal["rule", "State protocol", "manufacturer", "local", "common practice"]


@dataclass(frozen=True, slots=True)
class Tolerance:
    """The allowed error of an instrument, or interval of a quantity, with the rule that judges it.

    ``low`` and ``high`` are inclusive and in ``unit``. ``percent`` is of the reference; with
    ``larger_of`` the wider of both counts.

    >>> t = Tolerance(low=Decimal("-0.1"), high=Decimal("0.1"), percent=Decimal(15), larger_of=True,
    ...               unit="mg/L", rule="as the method states", basis="rule", source="EPA 334.0")
    >>> [str(b) for b in t.at(Decimal("1.80"))]
    ['-0.27', '0.27']
    """

    unit: str
    rule: Rule
    basis: Basis
    source: str
    low: Decimal | None = None
    high: Decimal | None = None
    percent: Decimal | None = None
    larger_of: bool = False
    date: str = ""

    def at(self, reference: Decimal) -> tuple[Decimal | None, Decimal | None]:
        """Return the inclusive bounds (low, high) at this reference, in ``unit``."""
        if self.percent is None:
            return self.low, self.high
        share = abs(reference) * self.percent / 100
        if not self.larger_of:
            return -share, share
        return (
            min(-share, self.low) if self.low is not None else -share,
            max(share, self.high) if self.high is not None else share,
        )

    def half_width(self, reference: Decimal) -> Decimal | None:
        """Return T of U/T: half the width of a two-sided tolerance, None for a one-sided one."""
        low, high = self.at(reference)
        return (high - low) / 2 if low is not None and high is not None else None
