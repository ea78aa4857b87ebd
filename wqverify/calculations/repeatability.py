"""How far repeated readings of one instrument on one water lie apart, split by level."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from wqverify.errors import ChooseAnother, CorrectTheEntry

LIMIT_FACTOR = 2.77  # 1.96 sqrt(2): two results of one instrument, 95 %


@dataclass(frozen=True, slots=True)
class Band:
    """Repeatability within a band of levels, low <= level < high; None for no end.

    ``s`` and what follows from it are None where no group of the band has a second reading.
    """

    low: float | None
    high: float | None
    groups: int
    dof: int
    s: float | None
    interval: tuple[float, float] | None
    limit: float | None


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Repeatability by bands of level, and all bands pooled; single readings say nothing and are counted."""

    bands: tuple[Band, ...]
    pooled: Band
    single: int
    level: float


def repeatability(
    groups: Sequence[Sequence[float]], edges: Sequence[float] = (), level: float = 0.95
) -> Repeatability:
    """Return the repeatability standard deviation of an instrument by level, and its repeatability limit.

    Equation: s_r^2 = sum over groups of sum (x - mean)^2/sum (m - 1), for duplicates sum d^2/(2 groups);
    interval s sqrt(nu/chi2) at (1 + level)/2 and (1 - level)/2; limit r = 2.77 s_r: two readings of one water
    differ by more in 5 % of cases. A group belongs to the band of its mean; a mean on an edge to the upper.

    Groups of readings of one water each, in one unit; edges rising, in the same; level between 0 and 1.
    Returns standard deviations and limits in the unit of the readings. Raises ChooseAnother where no group
    has two readings, CorrectTheEntry for edges that do not rise, and ValueError for readings that are not
    finite and a level outside.

    Source: ISO 5725-2:1994, 7.4 (pooling) and ISO 5725-6:1994, 4.1 (limit, there 2.8) (from memory).

    >>> found = repeatability([(1.0, 1.2), (2.0, 2.0), (9.0, 9.4)], edges=[5.0])
    >>> [round(band.s, 4) for band in found.bands], round(found.pooled.s, 4), found.pooled.dof
    ([0.1, 0.2828], 0.1826, 3)
    """
    if not 0 < level < 1:
        raise ValueError("a level is between 0 and 1")
    if any(not math.isfinite(x) for group in groups for x in group):
        raise ValueError("readings are finite")
    bounds = [None, *edges, None]
    if any(not low < high for low, high in pairwise(edges)):
        raise CorrectTheEntry(
            f"The edges {', '.join(f'{edge:g}' for edge in edges)} do not rise; type them from low to high.",
            found=str(list(edges)),
            expected="rising edges",
            where="edges",
        )
    repeated = [group for group in groups if len(group) >= 2]
    if not repeated:
        raise ChooseAnother(
            f"None of the {len(groups)} groups has a second reading; repeatability needs readings repeated "
            f"on one water.",
            found="single readings",
            expected="two readings of one water",
        )
    bands = tuple(
        _band([g for g in repeated if _within(math.fsum(g) / len(g), low, high)], low, high, level)
        for low, high in pairwise(bounds)
    )
    return Repeatability(bands, _band(repeated, None, None, level), len(groups) - len(repeated), level)


def _within(mean: float, low: float | None, high: float | None) -> bool:
    return (low is None or mean >= low) and (high is None or mean < high)


def _band(groups: Sequence[Sequence[float]], low: float | None, high: float | None, level: float) -> Band:
    dof = sum(len(group) - 1 for group in groups)
    if not dof:
        return Band(low, high, 0, 0, None, None, None)
    squares = math.fsum((x - math.fsum(g) / len(g)) ** 2 for g in groups for x in g)
    s = math.sqrt(squares / dof)
    from scipy.special import chdtri

    above, below = (float(chdtri(dof, tail)) for tail in ((1 - level) / 2, (1 + level) / 2))
    ends = (s * math.sqrt(dof / above), s * math.sqrt(dof / below))
    return Band(low, high, len(groups), dof, s, ends, LIMIT_FACTOR * s)
