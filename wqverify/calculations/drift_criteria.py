"""Fouling and drift as two numbers, their total and net, and the criteria that rate them in natural waters.

The formulas keep the sign of their source (what has to be added to the reading); an error of this project has
the opposite one, ``drift.from_correction`` turns it. The criteria are a named set for rivers and lakes: 0.5
NTU says nothing about filtered water at 0.1 NTU, so nothing here is a default for drinking water.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from wqverify.errors import CorrectTheEntry

NATURAL_WATERS = "natural waters, USGS TM 1-D3 (2006)"
Rating = Literal["excellent", "good", "fair", "poor", "do not publish"]
Parameter = Literal["temperature", "conductivity", "pH", "oxygen", "turbidity"]
RATINGS: tuple[Rating, ...] = ("excellent", "good", "fair", "poor", "do not publish")


@dataclass(frozen=True, slots=True)
class Change:
    """A correction with its percent, in the sign of its source: what is added to the reading."""

    correction: Decimal
    percent: Decimal


@dataclass(frozen=True, slots=True)
class Limit:
    """The largest correction of a rating; with both sizes the greater one counts."""

    size: Decimal | None
    percent: Decimal | None = None

    def holds(self, total: Decimal, total_percent: Decimal, level: Decimal) -> bool:
        """Whether a total lies within it; a size and a percent are compared at the level."""
        if self.size is None:
            assert self.percent is not None
            return total_percent <= self.percent
        share = abs(level) * self.percent / 100 if self.percent is not None else self.size
        return total <= max(self.size, share)


def _limits(*sizes: str, percent: tuple[str, ...] = ()) -> tuple[Limit, ...]:
    shares: list[Decimal | None] = [Decimal(p) for p in percent]
    shares = shares or [None] * len(sizes)
    return tuple(Limit(Decimal(s) if s else None, p) for s, p in zip(sizes, shares, strict=True))


# Excellent, good, fair, and beyond which not to publish; poor lies between the last two.
CRITERIA: dict[Parameter, tuple[Limit, ...]] = {
    "temperature": _limits("0.2", "0.5", "0.8", "2.0"),
    "conductivity": _limits("", "", "", "", percent=("3", "10", "15", "30")),
    "pH": _limits("0.2", "0.5", "0.8", "2"),
    "oxygen": _limits("0.3", "0.5", "0.8", "2.0", percent=("5", "10", "15", "20")),
    "turbidity": _limits("0.5", "1.0", "1.5", "3.0", percent=("5", "10", "15", "30")),
}
# A record is corrected when the total exceeds this.
CORRECT_ABOVE: dict[Parameter, Limit] = {
    **{name: limits[0] for name, limits in CRITERIA.items()},
    "conductivity": Limit(Decimal(5), Decimal(3)),
}


def fouling(before: Decimal, after: Decimal, start: Decimal, end: Decimal) -> Change:
    """Return what fouling took from a reading.

    Equation: Ef = (Sa - Sb) - (Fe - Fs), percent 100 Ef/Sb; Sb and Sa the monitor before and after cleaning,
    Fs and Fe a field meter at start and end, which takes out what the water did meanwhile; all in the unit of
    the monitor, Sb not 0. Raises CorrectTheEntry for Sb 0, of which nothing is a percent. Source: USGS TM
    1-D3 (2006), by public code of a USGS author.

    >>> found = fouling(*map(Decimal, ("0.36", "0.30", "0.29", "0.30")))
    >>> str(found.correction), round(found.percent, 2)
    ('-0.07', Decimal('-19.44'))
    """
    correction = (after - before) - (end - start)
    return Change(correction, _percent(correction, before))


def drift(standard: Decimal, reading: Decimal) -> Change:
    """Return the drift of a clean sensor.

    Equation: Ed = Vs - Vc, percent 100 Ed/Vc; Vs the value of the standard at its temperature, Vc what the
    clean sensor read, in one unit, Vc not 0. Raises CorrectTheEntry for Vc 0, of which nothing is a percent.
    Source: USGS TM 1-D3 (2006); another code divides by the fouling-corrected field value: this project
    divides by Vc.

    >>> found = drift(Decimal(447), Decimal(440))
    >>> str(found.correction), round(found.percent, 3)
    ('7', Decimal('1.591'))
    """
    correction = standard - reading
    return Change(correction, _percent(correction, reading))


def _percent(correction: Decimal, reading: Decimal) -> Decimal:
    if reading == 0:
        raise CorrectTheEntry(
            f"A correction of {correction:f} is no percent of a reading of 0; rate it at another level.",
            found="a reading of 0",
            expected="a reading other than 0",
        )
    return 100 * correction / reading


def total(*changes: Change) -> Change:
    """Return the total of fouling and drift: what decides and rates, so that opposite signs do not cancel.

    Equation: sum of abs(E), sum of abs(percent). Source: USGS TM 1-D3 (2006), two public codes.

    >>> both = total(Change(Decimal(10), Decimal("2.427")), Change(Decimal(-7), Decimal("-1.591")))
    >>> str(both.correction), str(both.percent)
    ('17', '4.018')
    """
    return Change(
        sum((abs(one.correction) for one in changes), Decimal(0)),
        sum((abs(one.percent) for one in changes), Decimal(0)),
    )


def net(*changes: Change) -> Change:
    """Return the net of fouling and drift: what is taken off a value.

    Equation: signed sum. Source: as public code has it; it differs from ``total``.

    >>> str(net(Change(Decimal(10), Decimal(2)), Change(Decimal(-7), Decimal(-1))).correction)
    '3'
    """
    return Change(
        sum((one.correction for one in changes), Decimal(0)),
        sum((one.percent for one in changes), Decimal(0)),
    )


def exceeds_criterion(parameter: Parameter, found: Change, level: Decimal) -> bool:
    """Return whether a total asks for a correction of the record.

    Equation: total > criterion, the greater of its size and its percent of the level; at the criterion none
    is needed. Level in the unit of the parameter (C, uS/cm, pH, mg/L, NTU). Source: USGS TM 1-D3 (2006),
    criteria (from memory; equal to the limit of the rating excellent, for conductivity 5 uS/cm or 3 %).

    >>> exceeds_criterion("conductivity", Change(Decimal(17), Decimal("4.018")), Decimal(412))
    True
    """
    limit = CORRECT_ABOVE[parameter]
    return not limit.holds(found.correction, found.percent, level)


def rating(parameter: Parameter, found: Change, level: Decimal) -> Rating:
    """Return the rating of a total.

    Equation: the first of excellent, good, fair whose limit holds it; beyond the last limit "do not publish",
    else poor. Limits are inclusive; of size and percent of the level the greater counts, for conductivity the
    percent of the total itself. Level in the unit of the parameter. Source: USGS TM 1-D3 (2006), by public
    code of a USGS author.

    >>> [rating("pH", Change(Decimal(t), Decimal(0)), Decimal(7)) for t in ("0.20", "0.21", "0.81", "2.01")]
    ['excellent', 'good', 'poor', 'do not publish']
    """
    *rated, beyond = CRITERIA[parameter]
    for name, limit in zip(RATINGS, rated, strict=False):
        if limit.holds(found.correction, found.percent, level):
            return name
    return "poor" if beyond.holds(found.correction, found.percent, level) else "do not publish"
