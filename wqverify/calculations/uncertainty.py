"""Uncertainty by the GUM's first order: dual numbers carry sensitivities, causes carry correlation.

An input is named by its physical cause and used wherever that cause acts, so what two results share adds up
or cancels by itself; no correlation coefficient is ever typed in.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from functools import lru_cache
from typing import Any

from wqverify.calculations.dual import Dual
from wqverify.terms import BudgetLine, Input, Quantity

COVERAGE = 0.9545  # so that k = 2.00 at infinitely many degrees of freedom
MANY = 1e6  # degrees of freedom that make no difference to infinitely many

Numbers = Mapping[str, Any]
Model = Callable[[Numbers], Numbers]

_DIVISOR = {
    "rectangular": math.sqrt(3),
    "triangular": math.sqrt(6),
    "arcsine": math.sqrt(2),
}


# ---------------------------------------------------------------- sizes of inputs


def type_a(readings: Sequence[float]) -> tuple[float, float, float]:
    """Return mean, standard uncertainty of the mean and degrees of freedom of repeated readings.

    Equation: u = s/sqrt(n), s^2 = sum (x - mean)^2/(n - 1). Readings in any one unit, n >= 2; returns
    (mean, u, n - 1). Raises ValueError for fewer than two. Source: JCGM 100:2008 (GUM), 4.2.3.

    >>> type_a([1.0, 2.0, 3.0, 4.0, 5.0])
    (3.0, 0.7071067811865476, 4.0)
    """
    n = len(readings)
    if n < 2:
        raise ValueError("a standard deviation needs at least two readings")
    mean = math.fsum(readings) / n
    variance = math.fsum((x - mean) ** 2 for x in readings) / (n - 1)
    return mean, math.sqrt(variance / n), float(n - 1)


def type_b(half_width: float, distribution: str) -> float:
    """Return the standard uncertainty of +/- ``half_width`` by its distribution.

    Equation: u = a/sqrt(3) rectangular, a/sqrt(6) triangular, a/sqrt(2) arcsine. a >= 0 in any unit, u in
    the same. Raises ValueError for a negative a or another distribution. Source: JCGM 100:2008, 4.3.7 to
    4.3.9 and JCGM 101:2008, 6.4.6.

    >>> round(type_b(0.01, "rectangular"), 5)
    0.00577
    """
    if half_width < 0 or distribution not in _DIVISOR:
        raise ValueError(f"no uncertainty of +/- {half_width} with distribution {distribution}")
    return half_width / _DIVISOR[distribution]


def reading_u(
    digit: float, readings: Sequence[float], pooled_s: float | None = None, pooled_dof: float | None = None
) -> tuple[float, float | None]:
    """Return the standard uncertainty of the mean of readings on a display, and its degrees of freedom.

    Equation: u = max(d/sqrt(12), s/sqrt(n)); s pooled from earlier visits where given, else of the day.
    ``digit`` d is one unit of the last place, in the unit of the readings. Three identical readings mean
    "less than a digit", not zero. Raises ValueError without a reading. Source: JCGM 100:2008, F.2.2.1 for
    d/sqrt(12); the maximum of both is common practice, no source (checked by simulation).

    >>> round(reading_u(0.01, [7.07, 7.07, 7.07])[0], 6)
    0.002887
    """
    if not readings:
        raise ValueError("a reading is needed")
    resolution = digit / math.sqrt(12)
    if pooled_s is not None:
        spread, dof = pooled_s / math.sqrt(len(readings)), pooled_dof
    elif len(readings) >= 2:
        _mean, spread, dof = type_a(readings)
    else:
        spread, dof = 0.0, None
    return (spread, dof) if spread > resolution else (resolution, None)


def effective_count(n: int, interval_s: float, damping_s: float) -> float:
    """Return how many independent readings n damped ones are worth.

    Equation: n_eff = n (1 - r)/(1 + r), r = exp(-interval/time constant). Times in s, interval > 0, damping
    0 or more. Raises ValueError outside. Source: first-order autocorrelation, common mathematics.

    >>> round(effective_count(10, 30, 60), 3)
    2.449
    """
    if not (interval_s > 0 and damping_s >= 0):
        raise ValueError(f"interval {interval_s} s and damping {damping_s} s give no number of readings")
    if damping_s == 0:
        return float(n)
    r = math.exp(-interval_s / damping_s)
    return n * (1 - r) / (1 + r)


# ---------------------------------------------------------------- combining


def effective_dof(contributions: Sequence[float], dofs: Sequence[float | None]) -> float | None:
    """Return the effective degrees of freedom, truncated; None for infinitely many.

    Equation: nu = u^4/sum(u_i^4/nu_i) (Welch-Satterthwaite). Contributions in any one unit, degrees of
    freedom above 0, None for infinitely many; a million or more count as infinitely many. Raises ValueError
    for degrees of freedom of 0 or less. Source: JCGM 100:2008, G.4.1; truncation G.6.4.

    >>> effective_dof([3.0, 4.0], [5.0, None])
    38.0
    """
    counted = [(c, nu) for c, nu in zip(contributions, dofs, strict=True) if nu is not None]
    if not counted:
        return None
    if any(not nu > 0 for _c, nu in counted):
        raise ValueError(f"degrees of freedom are above 0, not {min(nu for _c, nu in counted)}")
    variance = math.fsum([c * c for c in contributions])
    # As shares of the variance: the fourth power of a small unit (nm in m) would vanish.
    below = math.fsum([(c * c / variance) ** 2 / nu for c, nu in counted if c])
    if below * MANY < 1:
        return None
    return float(max(1, math.floor(1 / below + 1e-9)))


@lru_cache(maxsize=4096)
def coverage_factor(dof: float | None, probability: float = COVERAGE) -> float:
    """Return the coverage factor k of a two-sided interval.

    Equation: k = t((1 + p)/2, nu); 2.00 at infinitely many degrees of freedom (None) for p = 95.45 %. Raises
    ValueError for degrees of freedom below 1 and p outside 0 to 1. Source: JCGM 100:2008, table G.2.

    >>> round(coverage_factor(None), 2), round(coverage_factor(5.0), 2)
    (2.0, 2.65)
    """
    if not 0 < probability < 1 or (dof is not None and not dof >= 1):
        raise ValueError(
            f"no coverage factor for {dof} degrees of freedom and a probability of {probability}"
        )
    upper = (1 + probability) / 2
    if dof is None and probability == COVERAGE:
        return 2.0  # 95.45 % is this, rounded; 2.000002 would push U = 1.0 up to 1.1
    if dof is None:
        from statistics import NormalDist

        return NormalDist().inv_cdf(upper)
    from scipy.special import stdtrit

    return float(stdtrit(dof, upper))


def round_up(expanded: float) -> str:
    """Return an expanded uncertainty with two significant figures, rounded up, as plain text.

    Raises ValueError for a negative or not finite one. Source: JCGM 100:2008, 7.2.6 (two figures; rounding
    up rather than to the nearest).

    >>> round_up(0.01887), round_up(0.0101), round_up(9.91)
    ('0.019', '0.011', '10')
    """
    if not (math.isfinite(expanded) and expanded >= 0):
        raise ValueError(f"{expanded} is no expanded uncertainty")
    if expanded == 0:
        return "0"
    # A billionth is arithmetic, not uncertainty: 0.02 computed as 0.0200000000000004 stays 0.020.
    exact = Decimal(repr(expanded * (1 - 1e-9)))
    rounded = exact.quantize(Decimal(1).scaleb(exact.adjusted() - 1), ROUND_CEILING)
    if rounded.adjusted() > exact.adjusted():  # 9.91 -> 10.0, one figure too many
        rounded = rounded.quantize(Decimal(1).scaleb(rounded.adjusted() - 1))
    return f"{rounded:f}"


def round_to(exact: Decimal, expanded: str) -> str:
    """Return a value rounded half to even at the second figure of its expanded uncertainty; never "-0.000".

    ``exact`` in the unit of ``expanded``. Raises ValueError for a U of 0. Source: JCGM 100:2008, 7.2.6.

    >>> round_to(Decimal("0.0336"), "0.019")
    '0.034'
    """
    rounded = exact.quantize(Decimal(1).scaleb(_second_figure(expanded)), ROUND_HALF_EVEN)
    return f"{rounded + 0:f}"  # plus 0: a zero has no sign


@lru_cache(maxsize=4096)
def _second_figure(expanded: str) -> int:
    """The place of the second significant figure: -3 for 0.019, 1 for 120."""
    number = Decimal(expanded)
    if not number:
        raise ValueError("an uncertainty of 0 has no second figure")
    return number.adjusted() - 1


def propagate(
    model: Model,
    inputs: Mapping[str, Input],
    units: Mapping[str, str],
    texts: Mapping[str, str] | None = None,
) -> dict[str, Quantity]:
    """Return the outputs of a model with their uncertainty, budgets and coverage, in one pass.

    Equation: u^2 = sum (c_i u_i)^2 over causes, c_i = d output/d input; a cause used twice enters once, with
    its whole sensitivity, and one without sensitivity has no line. ``model`` gets cause -> dual number and
    returns output -> dual number; ``units`` names the unit of each output; ``texts`` gives exact decimal
    texts where there are any, otherwise the text has two digits beyond the second figure of U. Raises
    KeyError for a cause that is not an input and an output without a unit, TypeError for an output that is a
    plain number (its uncertainty was lost on the way), ValueError for an input with a negative uncertainty
    and a value that is not finite. Source: JCGM 100:2008, 5.1.2 and, for shared causes, F.1.2.3.

    >>> two = {"a": Input(2.0, 0.3), "b": Input(1.0, 0.4)}
    >>> total = propagate(lambda x: {"sum": x["a"] + x["b"]}, two, {"sum": "mm"})["sum"]
    >>> total.text, total.u, total.expanded
    ('3.000', 0.5, '1.0')
    """
    for cause, given in inputs.items():
        if not given.u >= 0:
            raise ValueError(f"the uncertainty of {cause} is {given.u}; it must be 0 or more")
    outputs = model({cause: Dual(float(given.value), {cause: 1.0}) for cause, given in inputs.items()})
    exact = texts or {}
    return {
        name: _quantity(name, output, inputs, units[name], exact.get(name, ""))
        for name, output in outputs.items()
    }


def _quantity(name: str, output: Any, inputs: Mapping[str, Input], unit: str, text: str) -> Quantity:
    slopes = _derivatives(name, output)
    value = output.v
    if not math.isfinite(value):
        raise ValueError(f"{name} is {value}, which is no result")
    lines = []
    for cause, given in inputs.items():
        slope = slopes.get(cause)
        if slope:
            u, dof = given.u, given.dof
            part = abs(slope) * u
            lines.append(
                BudgetLine(
                    cause, given.value, u, given.distribution, dof, slope, part, given.size_from, given.source
                )
            )
    contributions = [line.contribution for line in lines]
    u = math.sqrt(math.fsum([c * c for c in contributions]))
    dof = effective_dof(contributions, [line.dof for line in lines])
    k = coverage_factor(dof)
    expanded = round_up(k * u)
    return Quantity(text or _digits(value, expanded), unit, value, u, dof, k, expanded, tuple(lines))


def _derivatives(name: str, output: Any) -> dict[str, Any]:
    if type(output) is Dual:
        return output.d
    raise TypeError(
        f"{name} came out of the model as a plain {type(output).__name__}: it depends on no input, or lost "
        f"its derivative on the way"
    )


def _digits(value: float, expanded: str) -> str:
    """Return a computed value with two digits beyond the second figure of U, six places where U is 0."""
    places = max(0, 2 - _second_figure(expanded)) if expanded != "0" else 6
    text = f"{value:.{places}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def propagate_many(
    model: Model,
    values: Mapping[str, Any],
    u: Mapping[str, Any],
    dof: Mapping[str, float | None] | None = None,
) -> dict[str, tuple[Any, Any, Any]]:
    """Return (value, u, effective degrees of freedom) of each output for arrays of inputs.

    Equation: as ``propagate``, element by element; infinite degrees of freedom are inf, others truncated.
    Arrays of one shape, or floats; ``dof`` by cause, None or absent for infinitely many. Raises as
    ``propagate`` for a cause that is no input and an output that is a plain number. Source: JCGM 100:2008,
    5.1.2 and G.4.1.

    >>> import numpy as np
    >>> double = propagate_many(lambda x: {"y": 2 * x["a"]}, {"a": np.array([1.0, 2.0])}, {"a": 0.1})
    >>> double["y"][1].tolist()
    [0.2, 0.2]
    """
    import numpy as np

    dofs = dof or {}
    found = {}
    for name, output in model({cause: Dual(value, {cause: 1.0}) for cause, value in values.items()}).items():
        squares = {c: (slope * u[c]) ** 2 for c, slope in _derivatives(name, output).items()}
        variance: Any = sum(squares.values())
        finite = [(squares[c], nu) for c in squares if (nu := dofs.get(c)) is not None]
        with np.errstate(divide="ignore", invalid="ignore"):  # u = 0, and no finite one: infinitely many
            below: Any = sum(np.divide(square, variance) ** 2 / nu for square, nu in finite)
            effective = np.floor(np.divide(1.0, below) + 1e-9)
        infinite = np.isnan(effective) | (effective >= MANY)
        effective = np.where(infinite, np.inf, np.maximum(effective, 1.0))
        shape = np.shape(output.v)
        found[name] = (
            output.v,
            np.broadcast_to(np.sqrt(variance), shape),
            np.broadcast_to(effective, shape),
        )
    return found


def covariance(a: Quantity, b: Quantity) -> float:
    """Return the covariance of two quantities through the causes they share.

    Equation: u(a, b) = sum over shared causes of c_a c_b u^2, in the product of their units. Raises
    ValueError where a cause has one size here and another there: then it is not one cause. Source: JCGM
    100:2008, F.1.2.3.

    >>> both = propagate(lambda x: {"a": x["c"], "b": 2 * x["c"]}, {"c": Input(1.0, 0.5)},
    ...                  {"a": "V", "b": "V"})
    >>> covariance(both["a"], both["b"])
    0.5
    """
    there = {line.cause: line for line in b.budget}
    shared = [(line, there[line.cause]) for line in a.budget if line.cause in there]
    for here, other in shared:
        if here.u != other.u:
            raise ValueError(
                f"{here.cause} has the uncertainty {here.u} in one result and {other.u} in the other"
            )
    return math.fsum(here.sensitivity * other.sensitivity * here.u**2 for here, other in shared)


def correlation(a: Quantity, b: Quantity) -> float:
    """Return the correlation coefficient of two quantities through the causes they share, -1 to 1.

    Equation: r = u(a, b)/(u(a) u(b)). Raises ValueError where one of them has no uncertainty. Source: JCGM
    100:2008, 5.2.2.

    >>> both = propagate(lambda x: {"a": x["c"], "b": -x["c"]}, {"c": Input(1.0, 0.5)},
    ...                  {"a": "V", "b": "V"})
    >>> correlation(both["a"], both["b"])
    -1.0
    """
    if not a.u or not b.u:
        raise ValueError("a correlation needs two uncertainties that are not zero")
    return covariance(a, b) / (a.u * b.u)
