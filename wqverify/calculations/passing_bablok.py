"""Lines by the ranks of slopes, Passing-Bablok and Theil-Sen, exactly on values as they were recorded.

Recorded values are whole numbers of steps of a resolution, so slopes tie, and ties decide what the middle
one is. All of it is whole numbers and fractions here; nothing depends on rounding. For quantised data no
published result whose rows are open was within reach: the tests compare with a slow second implementation
of the same written rules.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wqverify.calculations.ranked_slopes import Ints, merged, refuse_wide, slopes_at
from wqverify.errors import ChooseAnother, CorrectTheEntry

Steps = Sequence[int] | Ints

FEWEST = 3  # points of a line with an interval
_OFF = 1e-3 + 1e-9  # of a step; a billionth is arithmetic


@dataclass(frozen=True, slots=True)
class RankLine:
    """y = intercept + slope x by ranks, as exact fractions; the intercept in steps of the resolution.

    A bound is None where the rank rule reaches beyond the slopes there are: no limit on that side. The
    intercept of Passing-Bablok has both bounds or none, that of Theil-Sen has none.
    """

    slope: Fraction
    slope_low: Fraction | None
    slope_high: Fraction | None
    intercept: Fraction
    intercept_low: Fraction | None
    intercept_high: Fraction | None
    slopes: int  # that were ranked
    n: int
    level: float


def in_steps(values: Sequence[float] | NDArray[np.float64], resolution: Decimal) -> Ints:
    """Return recorded values as whole numbers of steps of their resolution.

    Equation: k = value/resolution. Values in their unit, resolution > 0 in the same (0.01 for a record to
    the hundredth). Raises CorrectTheEntry for a resolution of 0 or less, and for a value further than a
    thousandth of a step from a whole number of steps, or of 2^53 steps and more. Source: common practice, no
    source.

    >>> in_steps([7.07, 7.1, 6.98], Decimal("0.01")).tolist()
    [707, 710, 698]
    """
    if not (resolution.is_finite() and resolution > 0):
        raise CorrectTheEntry(
            f"A resolution of {resolution} has no steps; type the smallest step of the record, as 0.01.",
            found=str(resolution),
            expected="a number above 0",
            where="resolution",
        )
    # In binary 0.01 is no number, its reciprocal is: a product errs by a few parts in 10^16.
    steps = np.asarray(values, float) * float(1 / Fraction(resolution))
    with np.errstate(invalid="ignore"):  # infinity less infinity: not whole, and refused below
        whole = np.rint(steps)
        off = np.flatnonzero(~((np.abs(steps - whole) <= _OFF) & (np.abs(whole) < 2**53)))
    if len(off):
        found = repr(float(np.asarray(values, float)[off[0]]))
        raise CorrectTheEntry(
            f"The value {found} is no whole number of steps of {resolution}; type the resolution at which "
            f"the values were recorded.",
            found=found,
            expected=f"a multiple of {resolution}",
            where="resolution",
        )
    steps_: Ints = whole.astype(np.int64)
    return steps_


def passing_bablok(x: Steps, y: Steps, level: float = 0.95) -> RankLine:
    """Return the line of Passing and Bablok of 1983, exactly.

    Equation: S = (y_j - y_i)/(x_j - x_i) of all pairs, sorted; N of them, K below -1. b is S at rank
    (N + 1)/2 + K, for even N the mean of those at N/2 + K and N/2 + 1 + K; a = median(y - b x). Interval:
    C = z sqrt(n (n - 1)(2 n + 5)/18), M1 = (N - C)/2 rounded to the nearest whole number (a half to the even
    one), M2 = N - M1 + 1; b from S at M1 + K to S at M2 + K, and a from the medians with those two. Ties:
    equal points give no slope; a slope of exactly -1 is dropped; a vertical pair (equal x, other y) counts
    as +infinity, which by the offset K is the same as -infinity. Repeated pairs of values count as often as
    they occur.

    x and y are whole numbers of steps of one resolution (``in_steps``), three points or more; ``level`` is
    between 0 and 1. Returns fractions: the slope in steps per step, the intercept in steps. A bound is None
    where its rank lies below 1, on a vertical or beyond the largest slope. Raises ChooseAnother for fewer
    points, without a slope, where the middle slope is vertical or K pushes it out of the slopes (the two do
    not rise together), and for values that span 2^26 steps or more; ValueError for unequal lengths, other
    than whole numbers, and a level outside.

    Source: H. Passing, W. Bablok, J. Clin. Chem. Clin. Biochem. 21 (1983) 709-720. For quantised data no
    outside result with its rows was within reach.

    >>> line = passing_bablok([1, 2, 3, 4, 5, 6], [3, 5, 7, 9, 11, 14])
    >>> line.slope, line.intercept
    (Fraction(2, 1), Fraction(1, 1))
    """
    xs, ys = _whole(x, y, level)
    n = len(xs)
    # By u = x + y and v = y - x every slope but -1 is t = v/u with u > 0, and t rises from just above -1 over
    # the vertical (t = 1) to just below -1: the ranks of t are those of S less K.
    left, down = int(xs.min()), int(ys.min())
    points = merged((xs - left) + (ys - down), (ys - down) - (xs - left))
    count = points.slopes
    if not count:
        raise ChooseAnother(
            f"No two of the {n} pairs of values give a slope; a line needs values that differ.",
            found="0 slopes",
            expected="at least one",
        )
    m1 = _nearest((count - _spread(n, level)) / 2)
    ranks = {(count + 1) // 2, count // 2 + 1} | ({m1, count - m1 + 1} if m1 >= 1 else set())
    ordered = sorted(ranks)
    turned = dict(zip(ordered, slopes_at(points, ordered), strict=True))
    middle = [_unturned(turned[rank]) for rank in ((count + 1) // 2, count // 2 + 1)]
    if middle[0] is None or middle[1] is None:
        raise ChooseAnother(
            "The middle slope is vertical or falls: the two instruments do not rise together, and this line "
            "is not for them.",
            found="no finite middle slope",
            expected="values that rise together",
        )
    slope = (middle[0] + middle[1]) / 2
    low = _unturned(turned[m1]) if m1 >= 1 else None
    high = _unturned(turned[count - m1 + 1]) if m1 >= 1 else None
    a_low = a_high = None
    if low is not None and high is not None:  # of negative x the larger slope gives the larger intercept
        a_low, a_high = sorted([_intercept(xs, ys, low), _intercept(xs, ys, high)])
    return RankLine(slope, low, high, _intercept(xs, ys, slope), a_low, a_high, count, n, level)


def theil_sen(x: Steps, y: Steps, level: float = 0.95) -> RankLine:
    """Return the line of Theil and Sen, exactly.

    Equation: b = median of (y_j - y_i)/(x_j - x_i) over the pairs of different x, a = median(y - b x).
    Interval of b: of N slopes those at rank (N - z s)/2 and (N + z s)/2 + 1, each quotient rounded to the
    nearest whole number (a half to the even one), s^2 = (n (n - 1)(2 n + 5) - sum over ties in x and in y of
    k (k - 1)(2 k + 5))/18; ranks outside end at the smallest and the largest slope; where most points are
    repeated s^2 can be negative, and there is no interval. x is taken as known: errors of x bias b towards 0.

    x and y are whole numbers of steps of one resolution (``in_steps``), three points or more; ``level`` is
    between 0 and 1. Returns fractions: the slope in steps per step, the intercept in steps, without bounds.
    Raises ChooseAnother for fewer points, where all x are equal, and for values that span 2^26 steps or
    more; ValueError for unequal lengths, other than whole numbers, and a level outside.

    Source: P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379-1389; ranks of the interval as in
    scipy.stats.theilslopes, intercept as its method "joint".

    >>> line = theil_sen([1, 2, 3, 4, 5], [3, 5, 7, 9, 20])
    >>> line.slope, line.intercept
    (Fraction(2, 1), Fraction(1, 1))
    """
    xs, ys = _whole(x, y, level)
    n = len(xs)
    points = merged(xs, ys)
    count = points.slopes
    if not count:
        raise ChooseAnother(
            f"All {n} values of x are equal; a line needs two different ones.",
            found="one value of x",
            expected="two different ones",
        )
    middle = [(count + 1) // 2, count // 2 + 1]
    variance = (_ties([n]) - _tied(xs) - _tied(ys)) / 18
    if variance < 0:  # ties in x and y at once: the approximation has no answer
        b1, b2 = slopes_at(points, middle)
        low = high = None
    else:
        half = _z(level) * math.sqrt(variance)
        first, last = max(_nearest((count - half) / 2), 1), min(_nearest((count + half) / 2) + 1, count)
        b1, b2, low, high = slopes_at(points, [*middle, first, last])
    slope = (b1 + b2) / 2
    return RankLine(slope, low, high, _intercept(xs, ys, slope), None, None, count, n, level)


# ---------------------------------------------------------------- parts


def _whole(x: Steps, y: Steps, level: float) -> tuple[Ints, Ints]:
    values: list[Any] = [np.asarray(x), np.asarray(y)]
    n = len(values[0])
    if len(values[1]) != n or not 0 < level < 1:
        raise ValueError("x and y of one length and a level between 0 and 1 are needed")
    if n < FEWEST:
        raise ChooseAnother(
            f"{n} pairs of values are too few for a line by ranks; at least {FEWEST} are needed.",
            found=str(n),
            expected=f"at least {FEWEST}",
        )
    if any(one.dtype.kind not in "iu" for one in values):
        raise ValueError("x and y are whole numbers of steps; see in_steps")
    xs, ys = (one.astype(np.int64) for one in values)
    refuse_wide(xs)
    refuse_wide(ys)
    return xs, ys


def _nearest(rank: float) -> int:
    return round(rank)


def _z(level: float) -> float:
    return NormalDist().inv_cdf((1 + level) / 2)


def _spread(n: int, level: float) -> float:
    return _z(level) * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)


def _ties(groups: Sequence[int]) -> int:
    return sum(k * (k - 1) * (2 * k + 5) for k in groups)


def _tied(values: Ints) -> int:
    return _ties([int(k) for k in np.unique(values, return_counts=True)[1]])


def _unturned(t: Fraction) -> Fraction | None:
    """The slope (1 + t)/(1 - t); None for the vertical and for what lies beyond it, slopes below -1."""
    return (1 + t) / (1 - t) if t < 1 else None


def _intercept(x: Ints, y: Ints, slope: Fraction) -> Fraction:
    """Median of y - b x, in Python's whole numbers: a mean of two fractions has a long denominator."""
    up, down = slope.numerator, slope.denominator
    over = sorted((y.astype(object) * down - x.astype(object) * up).tolist())
    n = len(over)
    return Fraction(over[(n - 1) // 2] + over[n // 2], 2 * down)
