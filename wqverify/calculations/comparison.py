"""Two instruments on the same water: how far apart, at which levels, and how far they agree.

Differences are second minus first throughout. Intervals take pairs as independent; values that follow one
another in a record are not, and ``worth`` says how many independent ones they replace.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wqverify.calculations.line_fit import fit_line
from wqverify.calculations.uncertainty import coverage_factor
from wqverify.errors import ChooseAnother

Floats = NDArray[np.float64]
Values = Sequence[float] | Floats
Interval = tuple[float, float]

LIMIT_FACTOR = 1.96
FEWEST = 3


@dataclass(frozen=True, slots=True)
class Agreement:
    """Bias and limits of agreement of two instruments, in their unit."""

    n: int
    bias: float
    sd: float
    u_bias: float
    bias_interval: Interval
    low: float
    high: float
    u_limit: float
    low_interval: Interval
    high_interval: Interval
    factor: float
    level: float


@dataclass(frozen=True, slots=True)
class Trend:
    """Slope of the difference against the level, per unit of level, and the test that it is 0."""

    slope: float
    u: float
    interval: Interval
    p: float
    at_zero: float
    n: int
    level: float


@dataclass(frozen=True, slots=True)
class Concordance:
    """Lin's coefficient and its parts: correlation (scatter) and bias correction (shift and scale).

    The interval is None where the two agree or disagree perfectly, do not correlate at all or are three.
    """

    value: float
    interval: Interval | None
    correlation: float
    accuracy: float
    n: int
    level: float


def limits_of_agreement(
    first: Values, second: Values, factor: float = LIMIT_FACTOR, level: float = 0.95
) -> Agreement:
    """Return bias and limits of agreement of paired values, each with its confidence interval.

    Equation: d = second - first, bias = mean d, s^2 = sum (d - bias)^2/(n - 1), limits bias -+ f s; standard
    error of the bias s/sqrt(n), of a limit sqrt(3 s^2/n), intervals by t with n - 1 degrees of freedom. f is
    1.96; the paper of 1986 prints 2 s.

    Both in one unit and of one length, three pairs or more; factor above 0, level between 0 and 1. Raises
    ChooseAnother for fewer pairs and ValueError for unequal lengths, values that are not finite, another
    factor or level.

    Source: J. M. Bland, D. G. Altman, Lancet 1986 i, 307-310.

    >>> found = limits_of_agreement([1, 2, 3, 4], [2, 2, 4, 6])
    >>> found.bias, round(found.sd, 6), round(found.high, 3)
    (1.0, 0.816497, 2.6)
    """
    d = _differences(first, second)
    if not (factor > 0 and math.isfinite(factor)):
        raise ValueError("a factor of the limits is above 0")
    n = len(d)
    bias, sd = float(d.mean()), float(d.std(ddof=1))
    k = coverage_factor(float(n - 1), level)
    u_bias, u_limit = sd / math.sqrt(n), math.sqrt(3 * sd**2 / n)
    low, high = bias - factor * sd, bias + factor * sd
    return Agreement(
        n=n,
        bias=bias,
        sd=sd,
        u_bias=u_bias,
        bias_interval=(bias - k * u_bias, bias + k * u_bias),
        low=low,
        high=high,
        u_limit=u_limit,
        low_interval=(low - k * u_limit, low + k * u_limit),
        high_interval=(high - k * u_limit, high + k * u_limit),
        factor=factor,
        level=level,
    )


def difference_against_level(first: Values, second: Values, level: float = 0.95) -> Trend:
    """Return the slope of the difference against the level of paired values, and whether it may be 0.

    Equation: least-squares line of d = second - first on m = (first + second)/2; t = slope/u with n - 2
    degrees of freedom, p of both sides. A slope of 0 means equal variances of the two (Pitman and Morgan),
    so that an instrument that is only noisier shows a slope too: judge it beside the fitted lines.

    Both in one unit and of one length, three pairs or more; level between 0 and 1. Returns the slope in unit
    per unit. Raises ChooseAnother for fewer pairs and where all levels are equal; ValueError for unequal
    lengths and values that are not finite.

    Source: J. M. Bland, D. G. Altman, Lancet 1986 i, 307-310, and Lancet 346 (1995) 1085-1087; E. J. G.
    Pitman, Biometrika 31 (1939) 9-12.

    >>> found = difference_against_level([1, 2, 3, 4], [1.1, 2.1, 3.3, 4.3])
    >>> round(found.slope, 4), round(found.p, 3)
    (0.0776, 0.097)
    """
    d = _differences(first, second)
    mean = np.asarray(first, float) + d / 2
    if not float(np.ptp(mean)) > 0:
        raise ChooseAnother(
            "All pairs lie at one level; whether the difference depends on it cannot be seen.",
            found="one level",
            expected="two different ones",
        )
    line = fit_line(mean.tolist(), d.tolist())
    from scipy.special import stdtr

    t = line.b / line.u_b if line.u_b > 0 else math.copysign(math.inf, line.b) if line.b else 0.0
    p = 2 * float(stdtr(line.dof, -abs(t)))
    k = coverage_factor(float(line.dof), level)
    ends = (line.b - k * line.u_b, line.b + k * line.u_b)
    return Trend(line.b, line.u_b, ends, p, line.a, line.n, level)


def concordance(first: Values, second: Values, level: float = 0.95) -> Concordance:
    """Return Lin's concordance correlation coefficient of paired values, with its interval.

    Equation: c = 2 s12/(s1^2 + s2^2 + (m1 - m2)^2), all with denominator n; c = r A, r the correlation and A
    the bias correction. Interval by z = atanh(c), z -+ q s_z: s_z^2 = [(1 - r^2) c^2/((1 - c^2) r^2) + 2
    c^3 (1 - c) v^2/(r (1 - c^2)^2) - c^4 v^4/(2 r^2 (1 - c^2)^2)]/(n - 2), v^2 = (m1 - m2)^2/(s1 s2).

    Both in one unit and of one length, three pairs or more; level between 0 and 1. Without a unit. Raises
    ChooseAnother for fewer pairs and where an instrument shows one value only; ValueError for unequal
    lengths and values that are not finite. It grows with the range of levels: two reviews compare only over
    the same range.

    Source: L. I. Lin, Biometrics 45 (1989) 255-268, with the correction in Biometrics 56 (2000) 324-325.

    >>> found = concordance([1, 2, 3, 4], [1.1, 2.1, 3.1, 4.1])
    >>> round(found.value, 4), round(found.correlation, 4)
    (0.996, 1.0)
    """
    _differences(first, second)
    a, b = np.asarray(first, float), np.asarray(second, float)
    n = len(a)
    m1, m2 = float(a.mean()), float(b.mean())
    v1, v2 = float(a.var()), float(b.var())
    if not (np.ptp(a) > 0 and np.ptp(b) > 0):
        raise ChooseAnother(
            "One of the instruments shows a single value; how far the two go together cannot be seen.",
            found="a single value",
            expected="values that differ",
        )
    covariance = float(((a - m1) * (b - m2)).mean())
    value = 2 * covariance / (v1 + v2 + (m1 - m2) ** 2)
    r = covariance / math.sqrt(v1 * v2)
    accuracy = 2 * math.sqrt(v1 * v2) / (v1 + v2 + (m1 - m2) ** 2)
    ends = _of_z(value, r, (m1 - m2) ** 2 / math.sqrt(v1 * v2), n, level)
    return Concordance(value, ends, r, accuracy, n, level)


def lag_one(values: Values, follows: Sequence[bool] | NDArray[np.bool_] | None = None) -> float:
    """Return the correlation of values with the one that follows.

    Equation: r = [sum (x_i - m)(x_{i+1} - m)/pairs]/[sum (x_i - m)^2/n]. ``follows[i]`` says that value i + 1
    follows value i without a gap (None: all do). Values in any one unit, two or more. Returns -1 to 1, 0
    where all values are equal or none follows. Raises ValueError for fewer values and another length of
    ``follows``. Source: common mathematics; a gap breaks a consecutive pair.

    >>> lag_one([1.0, -1.0, 1.0, -1.0])
    -1.0
    """
    x = np.asarray(values, float)
    linked = np.ones(max(len(x) - 1, 0), bool) if follows is None else np.asarray(follows, bool)
    if len(x) < 2 or len(linked) != len(x) - 1:
        raise ValueError("two values or more, and one entry less that says whether they follow, are needed")
    about = x - x.mean()
    variance = float((about**2).mean())
    if not (variance > 0 and linked.any()):
        return 0.0
    r = float((about[:-1] * about[1:])[linked].mean()) / variance
    return max(-1.0, min(1.0, r))


def worth(n: int, r: float) -> float:
    """Return how many independent values n values are worth whose neighbours correlate by r.

    Equation: n_eff = n (1 - r)/(1 + r), n where r is 0 or less, at least 1. n of 1 or more, r from -1 to 1.
    Raises ValueError outside. Source: first-order autocorrelation, common mathematics; a record that wanders
    slower than that is worth less.

    >>> worth(100, 0.6)
    25.0
    """
    if n < 1 or not -1 <= r <= 1:
        raise ValueError("a number of values from 1 and a correlation from -1 to 1 are needed")
    return float(n) if r <= 0 else max(1.0, n * (1 - r) / (1 + r))


# ---------------------------------------------------------------- parts


def _differences(first: Values, second: Values) -> Floats:
    values: list[Any] = [np.asarray(first, float), np.asarray(second, float)]
    n = len(values[0])
    if len(values[1]) != n:
        raise ValueError("first and second are of one length")
    if n < FEWEST:
        raise ChooseAnother(
            f"{n} pairs of values are too few for a comparison; at least {FEWEST} are needed.",
            found=str(n),
            expected=f"at least {FEWEST}",
        )
    d: Floats = values[1] - values[0]
    if not np.isfinite(d).all():
        raise ValueError("first and second are finite")
    return d


def _of_z(c: float, r: float, v2: float, n: int, level: float) -> Interval | None:
    if r == 0 or not abs(c) < 1 or n < 4:
        return None
    variance = (
        (1 - r**2) * c**2 / ((1 - c**2) * r**2)
        + 2 * c**3 * (1 - c) * v2 / (r * (1 - c**2) ** 2)
        - c**4 * v2**2 / (2 * r**2 * (1 - c**2) ** 2)
    ) / (n - 2)
    if not variance >= 0:
        return None
    half = NormalDist().inv_cdf((1 + level) / 2) * math.sqrt(variance)
    z = math.atanh(c)
    return math.tanh(z - half), math.tanh(z + half)
