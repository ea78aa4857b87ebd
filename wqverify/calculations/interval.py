"""Intervals between checks, from how often or how far they were found out: advice, never a plan."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from wqverify.calculations.uncertainty import coverage_factor
from wqverify.errors import ChooseAnother

Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class IntervalTest:
    """What the interval test makes of checks: the interval in days, the confidence Q that it is not right."""

    days: float
    q: float
    observed: float
    plausible: Range  # of the reliability, at the level of the test
    changes: bool  # Q is above the level: the interval is changed


@dataclass(frozen=True, slots=True)
class Drift:
    """Changes against days as a polynomial through zero, with the scatter s about it and (X'X)^-1."""

    coefficients: tuple[float, ...]
    s: float
    dof: int
    inverse: tuple[tuple[float, ...], ...]
    longest: float  # day of the last change

    def at(self, t: float) -> tuple[float, float]:
        """Return the change expected t days after and the standard uncertainty of a single one then."""
        powers = np.array([t ** (i + 1) for i in range(len(self.coefficients))])
        spread = float(powers @ np.array(self.inverse) @ powers)
        return float(powers @ np.array(self.coefficients)), self.s * math.sqrt(1 + spread)


# ---------------------------------------------------------------- how often


def clopper_pearson(passed: int, n: int, level: float = 0.95) -> Range:
    """Return the exact interval of a probability of which n trials had ``passed`` successes.

    Equation: the quantiles (1 - level)/2 of Beta(x, n - x + 1) and (1 + level)/2 of Beta(x + 1, n - x); 0
    without a success, 1 without a failure. n 1 or more, x from 0 to n, level between 0 and 1. Raises
    ValueError outside. Source: C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404-413.

    >>> [round(end, 4) for end in clopper_pearson(18, 20)]
    [0.683, 0.9877]
    """
    _insist(passed, n, level)
    from scipy.stats import beta

    tail = (1 - level) / 2
    low = 0.0 if passed == 0 else float(beta.ppf(tail, passed, n - passed + 1))
    high = 1.0 if passed == n else float(beta.ppf(1 - tail, passed + 1, n - passed))
    return low, high


def interval_test(
    passed: int, n: int, days: float, target: float = 0.95, level: float = 0.5, most: float = 2.0
) -> IntervalTest:
    """Return the interval by the interval test (method A3) of n checks made about ``days`` apart.

    Equation: R = x/n. Below the target Q = 1 - 2 B(x; n, target) with B the cumulated binomial, new =
    old 10^((R - target) Q). With every check in tolerance Q = 1 - target^n, new = old 10^((1 -
    target)/(1 - Q)). Between them nothing speaks against the interval: Q is 0. Changed where Q is above
    ``level``, by at most the factor ``most``; ``plausible`` is the interval of Clopper and Pearson at that
    level.

    n 1 or more, x from 0 to n, days above 0, target and level between 0 and 1, most above 1. Raises
    ValueError outside. Source: method A3 of NCSLI RP-1 (4th edition, April 2010) as published open code has
    it (the paid text was not read), there with the level 0.5 and the factor 2; none in tolerance is taken
    here as any other count below the target.

    >>> found = interval_test(15, 20, 365)
    >>> round(found.days, 2), round(found.q, 4), [round(end, 4) for end in found.plausible]
    (230.85, 0.9949, [0.6516, 0.8286])
    """
    _insist(passed, n, level)
    _insist_on_days(days, target, most)
    observed = passed / n
    if passed == n:
        q = 1 - target**n
        factor = _power((1 - target) / (1 - q), most) if q < 1 else most
    elif observed < target:
        q = max(0.0, 1 - 2 * _binomial(passed, n, target))
        factor = 10 ** ((observed - target) * q)
    else:
        q, factor = 0.0, 1.0
    changes = q > level
    new = capped(days * factor, days, most) if changes else days
    return IntervalTest(new, q, observed, clopper_pearson(passed, n, level), changes)


def reliability_interval(days: float, observed: float, target: float = 0.95) -> float:
    """Return the interval at which the target would be met, were failures to come at random in time.

    Equation: R(t) = exp(-t/tau), new = old ln(target)/ln(observed). Days above 0, target between 0 and 1,
    observed from 0 to 1 (0 gives 0, 1 gives infinity: nothing was seen to fail). Raises ValueError outside.
    Source: exponential reliability model, common mathematics; NASA-HDBK-8739.19-5 names it among others.

    >>> round(reliability_interval(12, 0.85), 3), round(reliability_interval(365, 0.75), 2)
    (3.787, 65.08)
    """
    _insist_on_days(days, target, 2.0)
    if not 0 <= observed <= 1:
        raise ValueError(f"{observed} is no observed reliability")
    if observed in (0, 1):
        return 0.0 if observed == 0 else math.inf
    return days * math.log(target) / math.log(observed)


def fewest_checks(target: float, level: float = 0.5) -> int:
    """Return from how many checks on, all of them in tolerance, the target is shown with this confidence.

    Equation: the smallest n with 1 - target^n > level, as ``interval_test`` asks for. Both between 0 and 1.
    Raises ValueError outside. Source: Clopper and Pearson without a failure, common mathematics.

    >>> fewest_checks(0.95), fewest_checks(0.95, 0.95)
    (14, 59)
    """
    if not (0 < target < 1 and 0 < level < 1):
        raise ValueError(f"target {target} and level {level} lie between 0 and 1")
    return math.floor(math.log(1 - level) / math.log(target) + 1e-9) + 1


def capped(new: float, old: float, most: float = 2.0) -> float:
    """Return a new interval kept between old/most and old x most.

    Days above 0, most above 1. Raises ValueError outside. Source: common practice, no source (NCSLI RP-1 as
    published open code has it caps at the factor 2).

    >>> capped(1000, 30), capped(1, 30), capped(40, 30)
    (60.0, 15.0, 40)
    """
    _insist_on_days(old, 0.5, most)
    return min(max(new, old / most), old * most)


# ---------------------------------------------------------------- how far


def drift_through_zero(days: Sequence[float], change: Sequence[float], order: int = 1) -> Drift:
    """Return changes against the days since they were 0, as a polynomial through zero.

    Equation: change = b1 t + ... + bm t^m by least squares, s^2 = sum of squares/(n - m). Days above 0,
    changes in one unit, more than m of them, m from 1 to 3. Raises ChooseAnother for fewer changes or too few
    different days, ValueError for unequal lengths, days of 0 or less, or another order. Source:
    NASA-HDBK-8739.19-5, variables data; least squares, common mathematics.

    >>> found = drift_through_zero([70, 86, 104, 135, 167, 173], [.1, .11, .251, .299, .403, .615], 2)
    >>> f"{found.coefficients[0]:.4e} {found.coefficients[1]:.4e} {found.s:.5f}"
    '1.5741e-04 1.6738e-05 0.07083'
    """
    if len(days) != len(change) or not all(t > 0 for t in days) or not 1 <= order <= 3:
        raise ValueError("a drift needs days above 0, a change for each and an order from 1 to 3")
    if len(days) <= order or len(set(days)) < order:
        raise ChooseAnother(
            f"A drift of order {order} needs more than {order} checks on different days after the start; "
            f"there are {len(days)}.",
            found=str(len(days)),
            expected=f"more than {order}",
        )
    t, y = np.array(days, float), np.array(change, float)
    powers = np.column_stack([t ** (i + 1) for i in range(order)])
    scale = np.abs(powers).max(axis=0)  # so that t and t^3 are of one size while they are solved
    scaled = powers / scale
    inverse = np.linalg.inv(scaled.T @ scaled)
    fitted = inverse @ scaled.T @ y
    left = y - scaled @ fitted
    dof = len(t) - order
    s = math.sqrt(math.fsum(left**2) / dof)
    return Drift(
        coefficients=tuple(float(b) for b in fitted / scale),
        s=s,
        dof=dof,
        inverse=tuple(tuple(float(c) for c in row) for row in inverse / np.outer(scale, scale)),
        longest=float(t.max()),
    )


def until_uncertainty(drift: Drift, u_start: float, u_target: float) -> float:
    """Return after how many days the standard uncertainty grows to a target.

    Equation: u(t)^2 = u_start^2 + s^2 (1 + x'(X'X)^-1 x), x the powers of t. ``u_start`` 0 or more and
    ``u_target`` above it, in the unit of the drift; searched to a thousand times the longest day seen, far
    beyond what the record can answer for. Infinity where it is never reached there, 0 where it is at the
    start. Raises ValueError outside. Source: NASA-HDBK-8739.19-5, variables data, uncertainty target.

    >>> found = drift_through_zero([70, 86, 104, 135, 167, 173], [.1, .11, .251, .299, .403, .615], 2)
    >>> round(until_uncertainty(found, 0.28, 0.5), 2)
    327.15
    """
    if not 0 <= u_start < u_target:
        raise ValueError(f"the uncertainty cannot grow from {u_start} to {u_target}")
    return _first_day(lambda t: math.hypot(u_start, drift.at(t)[1]) - u_target, drift.longest)


def until_limit(drift: Drift, low: float, high: float, level: float = 0.95, u: float = 0.0) -> float:
    """Return after how many days a single value can no longer be expected between two limits.

    Equation: the first t at which change + k u(t) is above the high limit or change - k u(t) below the low
    one, u(t)^2 = u^2 + s^2 (1 + x'(X'X)^-1 x), k = t((1 + level)/2, n - m). ``level`` 0 takes the expected
    change alone. Limits around 0 and ``u`` (of what the scatter does not hold) in the unit of the drift;
    infinity and 0 as in ``until_uncertainty``. Raises ValueError for limits not around 0 or a level outside 0
    to below 1. Source: NASA-HDBK-8739.19-5, variables data, reliability target, with the t of the fit.

    >>> steady = drift_through_zero([10, 20, 30], [0.1, 0.2, 0.3])
    >>> round(until_limit(steady, -0.5, 0.5), 6)
    50.0
    """
    if not (low < 0 < high and 0 <= level < 1 and u >= 0):
        raise ValueError(f"no day for limits {low} to {high} at level {level}")
    k = coverage_factor(float(drift.dof), level) if level else 0.0

    def beyond(t: float) -> float:
        change, spread = drift.at(t)
        around = k * math.hypot(u, spread)
        return max(change + around - high, low - change + around)

    return _first_day(beyond, drift.longest)


def _first_day(beyond: Callable[[float], float], longest: float) -> float:
    """Return the first t at which a function is above 0, by steps and then by halves."""
    if beyond(0.0) > 0:
        return 0.0
    before, t, step = 0.0, longest / 64, longest / 64
    while beyond(t) <= 0:
        before, step = t, max(step, t / 32)
        t += step
        if t > 1000 * longest:
            return math.inf
    while t - before > 1e-9 * t:
        middle = (before + t) / 2
        before, t = (middle, t) if beyond(middle) <= 0 else (before, middle)
    return t


# ---------------------------------------------------------------- what may be asked


def _insist(passed: int, n: int, level: float) -> None:
    if not (n >= 1 and 0 <= passed <= n and 0 < level < 1):
        raise ValueError(f"{passed} of {n} at level {level} gives no interval")


def _insist_on_days(days: float, target: float, most: float) -> None:
    if not (days > 0 and 0 < target < 1 and most > 1):
        raise ValueError(f"no interval from {days} days, target {target} and a change by up to {most}")


def _power(exponent: float, most: float) -> float:
    """Return 10^exponent, or ``most`` where that is more: it may be too large to compute."""
    return most if exponent > math.log10(most) else float(10**exponent)


def _binomial(passed: int, n: int, p: float) -> float:
    from scipy.stats import binom

    return float(binom.cdf(passed, n, p))
