"""Control charts of single values: individuals and moving range, EWMA, tabular CUSUM, and their run lengths.

Values stand in the order of the work. None is a missing value: it breaks a consecutive pair, and leaves the
weighted mean and the sums where they were. A restart begins anew, as after an adjustment.
"""

from __future__ import annotations

import math
from collections.abc import Sequence, Set
from dataclasses import dataclass
from itertools import pairwise
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

D2 = 1.128  # mean range of two values of a normal distribution with standard deviation 1
D4 = 3.267  # upper limit of such a range, in mean ranges
_NODES = 96  # of the integral equations; twice as many change the sixth figure of a run length

_NORMAL = NormalDist()
NOWHERE: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Individuals:
    """Limits of single values and of their moving ranges, and which lie outside (by their place, from 0)."""

    mean: float
    mean_range: float
    sigma: float
    low: float
    high: float
    range_high: float
    ranges: tuple[float | None, ...]
    outside: tuple[int, ...]
    ranges_outside: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Weighted:
    """The exponentially weighted moving average with its limits, value by value."""

    z: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    steady_low: float
    steady_high: float
    outside: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Sums:
    """Both sums of a tabular CUSUM, value by value, and where one lies above h."""

    high: tuple[float, ...]
    low: tuple[float, ...]
    k: float
    h: float
    above: tuple[int, ...]


def individuals(values: Sequence[float | None], restarts: Set[int] = NOWHERE) -> Individuals:
    """Return the limits of a chart of individuals and of the moving range of two.

    Equation: MR_i = |x_i - x_(i-1)|, sigma = MRbar/1.128, limits xbar -+ 3 sigma; moving range up to
    3.267 MRbar. A pair with a missing value, or across a restart (a place, from 0, where a new series
    begins), has no range. On a limit is inside.

    Values in one unit, two or more with at least one pair. Raises ValueError for fewer. Source: NIST/SEMATECH
    e-Handbook of Statistical Methods, 6.3.2.2; the factor 3.267 is D4 for n = 2, 6.3.2.1.

    >>> found = individuals([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> round(found.mean, 2), round(found.high, 4), round(found.low, 4)
    (50.81, 55.8041, 45.8159)
    """
    known = [value for value in values if value is not None]
    ranges: list[float | None] = [None] if values else []
    for place, (before, after) in enumerate(pairwise(values), 1):
        paired = before is not None and after is not None and place not in restarts
        ranges.append(abs(after - before) if paired else None)  # type: ignore[operator]
    moved = [one for one in ranges if one is not None]
    if not moved:
        raise ValueError("a chart of individuals needs two values that follow one another")
    mean, mean_range = math.fsum(known) / len(known), math.fsum(moved) / len(moved)
    sigma = mean_range / D2
    low, high, range_high = mean - 3 * sigma, mean + 3 * sigma, D4 * mean_range
    return Individuals(
        mean=mean,
        mean_range=mean_range,
        sigma=sigma,
        low=low,
        high=high,
        range_high=range_high,
        ranges=tuple(ranges),
        outside=tuple(i for i, x in enumerate(values) if x is not None and not low <= x <= high),
        ranges_outside=tuple(i for i, x in enumerate(ranges) if x is not None and x > range_high),
    )


def ewma(
    values: Sequence[float | None],
    target: float,
    sigma: float,
    weight: float = 0.2,
    width: float = 2.962,
    restarts: Set[int] = NOWHERE,
) -> Weighted:
    """Return the exponentially weighted moving average and its limits, which widen to the steady ones.

    Equation: z_i = w x_i + (1 - w) z_(i-1) with z_0 the target; limits target -+ L sigma sqrt(w/(2 - w)
    (1 - (1 - w)^(2 i))), steady without the last factor. A missing value leaves z and i where they were; at
    a restart z is the target again. On a limit is inside.

    Values, target and sigma in one unit, sigma above 0, weight w above 0 to 1, width L above 0 (0.2 and
    2.962 give a false signal every 500 values on average). Raises ValueError outside. Source: NIST/SEMATECH
    e-Handbook, 6.3.2.4; time-varying limits: J. M. Lucas, M. S. Saccucci, Technometrics 32 (1990) 1-12.

    >>> found = ewma([52.0, 47.0, 53.0], 50, 2.0539, weight=0.3, width=3)
    >>> [round(z, 2) for z in found.z], round(found.high[0], 4), round(found.steady_high, 4)
    ([50.6, 49.52, 50.56], 51.8485, 52.5884)
    """
    if not (sigma > 0 and 0 < weight <= 1 and width > 0):
        raise ValueError(f"no EWMA with sigma {sigma}, weight {weight} and width {width}")
    steady = width * sigma * math.sqrt(weight / (2 - weight))
    z, since = target, 0
    path, halves = [], []
    for place, value in enumerate(values):
        if place in restarts:
            z, since = target, 0
        if value is not None:
            z, since = weight * value + (1 - weight) * z, since + 1
        path.append(z)
        halves.append(steady * math.sqrt(1 - (1 - weight) ** (2 * since)))
    outside = (
        i for i, (z, half) in enumerate(zip(path, halves, strict=True))
        if values[i] is not None and abs(z - target) > half
    )  # fmt: skip
    return Weighted(
        z=tuple(path),
        low=tuple(target - half for half in halves),
        high=tuple(target + half for half in halves),
        steady_low=target - steady,
        steady_high=target + steady,
        outside=tuple(outside),
    )


def cusum(
    values: Sequence[float | None], target: float, k: float, h: float, restarts: Set[int] = NOWHERE
) -> Sums:
    """Return the two sums of a tabular CUSUM.

    Equation: S_hi = max(0, S_hi + x - target - k), S_lo = max(0, S_lo + target - k - x), both from 0; a
    signal where one is above h. A missing value leaves both where they were; a restart sets both to 0.

    Values, target, allowance k (0 or more) and decision limit h (above 0) in one unit. Raises ValueError
    outside. Source: NIST/SEMATECH e-Handbook, 6.3.2.3.

    >>> found = cusum([328.325, 327.250], 325, 0.3175, 4.1959)
    >>> [round(s, 2) for s in found.high], found.above
    ([3.01, 4.94], (1,))
    """
    if not (k >= 0 and h > 0):
        raise ValueError(f"no CUSUM with allowance {k} and limit {h}")
    up, down = 0.0, 0.0
    highs, lows = [], []
    for place, value in enumerate(values):
        if place in restarts:
            up, down = 0.0, 0.0
        if value is not None:
            up, down = max(0.0, up + value - target - k), max(0.0, down + target - k - value)
        highs.append(up)
        lows.append(down)
    above = (i for i, s in enumerate(zip(highs, lows, strict=True)) if values[i] is not None and max(s) > h)
    return Sums(tuple(highs), tuple(lows), k, h, tuple(above))


# ---------------------------------------------------------------- run lengths


def ewma_run_length(weight: float, width: float, shift: float = 0.0) -> float:
    """Return how many values an EWMA chart with steady limits takes on average until it signals.

    Equation: L(u) = 1 + integral over the limits of L(y) phi((y - (1 - w) u)/w - shift)/w dy, at u = 0,
    solved at the nodes of Gauss and Legendre. ``shift`` is that of the mean in standard deviations; values
    are normal and independent. Weight above 0 to 1, width above 0. Raises ValueError outside. Source:
    S. V. Crowder, Technometrics 29 (1987) 401-407.

    >>> round(ewma_run_length(0.2, 2.962), 1), round(ewma_run_length(0.2, 2.962, 1.0), 2)
    (499.7, 10.54)
    """
    if not (0 < weight <= 1 and width > 0):
        raise ValueError(f"no EWMA with weight {weight} and width {width}")
    half = width * math.sqrt(weight / (2 - weight))
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    y, dy = half * nodes, half * weights
    at = np.append(y, 0.0)  # the last row gives the run length from the target
    kernel = _phi((y[None, :] - (1 - weight) * at[:, None]) / weight - shift) * dy[None, :] / weight
    lengths = np.linalg.solve(np.eye(_NODES) - kernel[:-1], np.ones(_NODES))
    return float(1 + kernel[-1] @ lengths)


def cusum_run_length(k: float, h: float, shift: float = 0.0) -> float:
    """Return how many values a two-sided CUSUM takes on average until it signals.

    Equation: L(u) = 1 + L(0) Phi(k - u - shift) + integral from 0 to h of L(y) phi(y + k - u - shift) dy for
    each side, 1/L = 1/L_up + 1/L_down. ``k``, ``h`` and ``shift`` in standard deviations; values are normal
    and independent. k 0 or more, h above 0. Raises ValueError outside. Source: E. S. Page, Biometrika 41
    (1954) 100-115; both sides: J. H. B. Kemp, J. R. Statist. Soc. B 23 (1961) 149-153.

    >>> round(cusum_run_length(0.5, 4), 2), round(cusum_run_length(0.5, 4, 1.0), 3)
    (167.68, 8.383)
    """
    if not (k >= 0 and h > 0):
        raise ValueError(f"no CUSUM with allowance {k} and limit {h}")
    return 1 / (1 / _one_sided(k, h, shift) + 1 / _one_sided(k, h, -shift))


def _one_sided(k: float, h: float, shift: float) -> float:
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    y, dy = h * (nodes + 1) / 2, h * weights / 2
    at = np.insert(y, 0, 0.0)
    kernel = np.empty((_NODES + 1, _NODES + 1))
    kernel[:, 0] = [_NORMAL.cdf(k - u - shift) for u in at]
    kernel[:, 1:] = _phi(y[None, :] + k - at[:, None] - shift) * dy[None, :]
    return float(np.linalg.solve(np.eye(_NODES + 1) - kernel, np.ones(_NODES + 1))[0])


def _phi(x: NDArray[np.float64]) -> NDArray[np.float64]:
    density: NDArray[np.float64] = np.exp(-x * x / 2) / math.sqrt(2 * math.pi)
    return density
