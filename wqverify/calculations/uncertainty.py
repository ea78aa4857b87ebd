"""Uncertainty by the GUM's first order: dual numbers carry sensitivities, causes carry correlation.

Own forward dual numbers, because the complex step gave wrong derivatives silently (abs, min, var, fits)
and the general libraries cost several times more (tests/benchmarks/bench_budget.py). What a dual number
cannot derive is a TypeError, never a guess.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from functools import lru_cache
from typing import Any

from wqverify.terms import BudgetLine, Input, Quantity

COVERAGE = 0.9545  # so that k = 2.00 at infinitely many degrees of freedom

Numbers = Mapping[str, Any]
Model = Callable[[Numbers], Numbers]

_DIVISOR = {
    "normal": 1.0,
    "rectangular": math.sqrt(3),
    "triangular": math.sqrt(6),
    "arcsine": math.sqrt(2),
}


class Dual:
    """A value with its derivatives by every input; floats or numpy arrays.

    Equation: (v, d) op (w, e) by the rules of differentiation. Comparison looks at the value alone.
    Anything not defined here (float(), int(), round(), math functions) raises TypeError. Source: forward
    differentiation, common mathematics.

    >>> x = Dual(3.0, [1.0])
    >>> y = x * x + 2 / x
    >>> round(y.v, 4), round(y.d[0], 4)
    (9.6667, 5.7778)
    """

    __slots__ = ("d", "v")
    __array_ufunc__ = None  # numpy hands the operation to the methods here
    __hash__ = None  # type: ignore[assignment]

    def __init__(self, v: Any, d: list[Any]) -> None:
        self.v = v
        self.d = d

    def chain(self, v: Any, slope: Any) -> Dual:
        """Return f(self) with value ``v`` and derivative ``slope`` at it."""
        return Dual(v, [slope * p for p in self.d])

    def __add__(self, other: Any) -> Dual:
        if type(other) is Dual:
            return Dual(self.v + other.v, [p + q for p, q in zip(self.d, other.d, strict=True)])
        return Dual(self.v + _plain(other), self.d)

    __radd__ = __add__

    def __neg__(self) -> Dual:
        return Dual(-self.v, [-p for p in self.d])

    def __pos__(self) -> Dual:
        return self

    def __sub__(self, other: Any) -> Dual:
        if type(other) is Dual:
            return Dual(self.v - other.v, [p - q for p, q in zip(self.d, other.d, strict=True)])
        return Dual(self.v - _plain(other), self.d)

    def __rsub__(self, other: Any) -> Dual:
        return Dual(_plain(other) - self.v, [-p for p in self.d])

    def __mul__(self, other: Any) -> Dual:
        if type(other) is Dual:
            a, b = self.v, other.v
            return Dual(a * b, [p * b + q * a for p, q in zip(self.d, other.d, strict=True)])
        return self.chain(self.v * _plain(other), other)

    __rmul__ = __mul__

    def __truediv__(self, other: Any) -> Dual:
        if type(other) is Dual:
            ratio = self.v / other.v
            return Dual(ratio, [(p - ratio * q) / other.v for p, q in zip(self.d, other.d, strict=True)])
        return self.chain(self.v / _plain(other), 1 / other)

    def __rtruediv__(self, other: Any) -> Dual:
        ratio = _plain(other) / self.v
        return self.chain(ratio, -ratio / self.v)

    def __pow__(self, power: Any) -> Dual:
        if type(power) is Dual:
            raised: Dual = exp(power * log(self))
            return raised
        return self.chain(self.v ** _plain(power), power * self.v ** (power - 1))

    def __abs__(self) -> Dual:
        if not (self.v > 0 if not hasattr(self.v, "all") else (self.v != 0).all()):
            if hasattr(self.v, "all") or self.v == 0:
                raise TypeError("the absolute value has no derivative at 0")
            return -self
        if hasattr(self.v, "all"):
            sign = (self.v > 0) * 2.0 - 1.0
            return self.chain(abs(self.v), sign)
        return self

    def __lt__(self, other: Any) -> Any:
        return self.v < getattr(other, "v", other)

    def __le__(self, other: Any) -> Any:
        return self.v <= getattr(other, "v", other)

    def __gt__(self, other: Any) -> Any:
        return self.v > getattr(other, "v", other)

    def __ge__(self, other: Any) -> Any:
        return self.v >= getattr(other, "v", other)

    def __repr__(self) -> str:
        return f"Dual({self.v!r}, {self.d!r})"


def _plain(number: Any) -> Any:
    if isinstance(number, bool | str | Decimal) or number is None:
        raise TypeError(f"a dual number does not mix with {type(number).__name__}")
    return number


def _function(name: str, x: Any) -> Any:
    value = x.v if type(x) is Dual else x
    if isinstance(value, float | int):
        return getattr(math, name)(value)
    import numpy as np

    return getattr(np, name)(value)


def exp(x: Any) -> Any:
    """Return e to the x of a float, an array or a dual number.

    Equation: d exp(x) = exp(x) dx. Source: common mathematics.

    >>> exp(Dual(0.0, [2.0])).d
    [2.0]
    """
    value = _function("exp", x)
    return x.chain(value, value) if type(x) is Dual else value


def log(x: Any) -> Any:
    """Return the natural logarithm of a float, an array or a dual number; x > 0.

    Equation: d ln(x) = dx/x. Source: common mathematics.

    >>> log(Dual(4.0, [1.0])).d
    [0.25]
    """
    value = _function("log", x)
    return x.chain(value, 1 / x.v) if type(x) is Dual else value


def sqrt(x: Any) -> Any:
    """Return the square root of a float, an array or a dual number; x > 0 for a dual number.

    Equation: d sqrt(x) = dx/(2 sqrt(x)). Source: common mathematics.

    >>> sqrt(Dual(4.0, [1.0])).d
    [0.25]
    """
    value = _function("sqrt", x)
    return x.chain(value, 0.5 / value) if type(x) is Dual else value


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
    "less than a digit", not zero. Source: JCGM 100:2008, F.2.2.1 for d/sqrt(12); the maximum of both is
    common practice, no source (checked by simulation).

    >>> round(reading_u(0.01, [7.07, 7.07, 7.07])[0], 6)
    0.002887
    """
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

    Equation: n_eff = n (1 - r)/(1 + r), r = exp(-interval/time constant). Times in s, damping > 0 or 0.
    Source: first-order autocorrelation, common mathematics.

    >>> round(effective_count(10, 30, 60), 3)
    2.449
    """
    if damping_s == 0:
        return float(n)
    r = math.exp(-interval_s / damping_s)
    return n * (1 - r) / (1 + r)


# ---------------------------------------------------------------- combining


def effective_dof(contributions: Sequence[float], dofs: Sequence[float | None]) -> float | None:
    """Return the effective degrees of freedom, truncated; None for infinitely many.

    Equation: nu = u^4/sum(u_i^4/nu_i) (Welch-Satterthwaite). Contributions in any one unit, None for
    infinite degrees of freedom. Source: JCGM 100:2008, G.4.1; truncation G.6.4.

    >>> effective_dof([3.0, 4.0], [5.0, None])
    38.0
    """
    below = math.fsum(c**4 / nu for c, nu in zip(contributions, dofs, strict=True) if nu is not None)
    if below == 0:
        return None
    total = math.fsum(c * c for c in contributions)
    nu = total * total / below
    return float(max(1, math.floor(nu + 1e-9))) if nu < 1e6 else None


@lru_cache(maxsize=4096)
def coverage_factor(dof: float | None, probability: float = COVERAGE) -> float:
    """Return the coverage factor k of a two-sided interval.

    Equation: k = t((1 + p)/2, nu); 2.00 at infinity for p = 95.45 %. Source: JCGM 100:2008, table G.2.

    >>> round(coverage_factor(None), 2), round(coverage_factor(5.0), 2)
    (2.0, 2.65)
    """
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
    # A millionth of a figure is arithmetic, not uncertainty: 0.02 computed as 0.0200000000000004 stays 0.020.
    figures = math.floor(math.log10(expanded)) - 1
    rounded = Decimal(repr(expanded * (1 - 1e-9))).quantize(Decimal(1).scaleb(figures), ROUND_CEILING)
    if rounded.adjusted() > figures + 1:
        rounded = rounded.quantize(Decimal(1).scaleb(figures + 1))
    return f"{rounded:f}"


def round_to(exact: Decimal, expanded: str) -> str:
    """Return a value rounded half to even at the last figure of its expanded uncertainty.

    Source: JCGM 100:2008, 7.2.6.

    >>> round_to(Decimal("0.0336"), "0.019")
    '0.034'
    """
    place = Decimal(1).scaleb(int(Decimal(expanded).as_tuple().exponent))
    return f"{exact.quantize(place, ROUND_HALF_EVEN):f}"


def propagate(
    model: Model,
    inputs: Mapping[str, Input],
    units: Mapping[str, str],
    texts: Mapping[str, str] | None = None,
) -> dict[str, Quantity]:
    """Return the outputs of a model with their uncertainty, budgets and coverage, in one pass.

    Equation: u^2 = sum (c_i u_i)^2 over causes, c_i = d output/d input; a cause used twice enters once, with
    its whole sensitivity. ``model`` gets cause -> number and returns output -> number; ``units`` names the
    unit of each output; ``texts`` gives exact decimal texts where there are any, otherwise the text has two
    digits beyond the second figure of U. Raises KeyError for an output without a unit. Source: JCGM
    100:2008, 5.1.2 and, for shared causes, F.1.2.3.

    >>> two = {"a": Input(2.0, 0.3), "b": Input(1.0, 0.4)}
    >>> total = propagate(lambda x: {"sum": x["a"] + x["b"]}, two, {"sum": "mm"})["sum"]
    >>> total.u, total.expanded
    (0.5, '1.0')
    """
    n = len(inputs)
    numbers = {}
    for i, (cause, given) in enumerate(inputs.items()):
        seed = [0.0] * n
        seed[i] = 1.0
        numbers[cause] = Dual(given.value, seed)
    outputs = model(numbers)
    rows = tuple(inputs.items())
    return {
        name: _quantity(output, rows, units[name], (texts or {}).get(name))
        for name, output in outputs.items()
    }


def _quantity(output: Any, rows: tuple[tuple[str, Input], ...], unit: str, text: str | None) -> Quantity:
    value, slopes = (output.v, output.d) if type(output) is Dual else (float(output), ())
    budget = tuple(
        BudgetLine(cause, i.value, i.u, i.distribution, i.dof, slope, abs(slope) * i.u, i.size_from, i.source)
        for (cause, i), slope in zip(rows, slopes, strict=bool(slopes))
        if slope
    )
    contributions = [line.contribution for line in budget]
    u = math.sqrt(math.fsum([c * c for c in contributions]))
    dof = effective_dof(contributions, [line.dof for line in budget])
    k = coverage_factor(dof)
    expanded = round_up(k * u)
    return Quantity(text or _digits(value, expanded), unit, value, u, dof, k, expanded, budget)


def _digits(value: float, expanded: str) -> str:
    """Return a computed value with two digits beyond the last figure of U."""
    exponent = int(Decimal(expanded).as_tuple().exponent) if expanded != "0" else -6
    return (
        f"{Decimal(repr(float(value))).quantize(Decimal(1).scaleb(min(exponent, 0) - 2), ROUND_HALF_EVEN):f}"
    )


def propagate_many(
    model: Model,
    values: Mapping[str, Any],
    u: Mapping[str, Any],
    dof: Mapping[str, float | None] | None = None,
) -> dict[str, tuple[Any, Any, Any]]:
    """Return (value, u, effective degrees of freedom) of each output for arrays of inputs.

    Equation: as ``propagate``, element by element; infinite degrees of freedom are inf, others truncated.
    Arrays of one shape, or floats. Source: JCGM 100:2008, 5.1.2 and G.4.1.

    >>> import numpy as np
    >>> double = propagate_many(lambda x: {"y": 2 * x["a"]}, {"a": np.array([1.0, 2.0])}, {"a": 0.1})
    >>> double["y"][1].tolist()
    [0.2, 0.2]
    """
    import numpy as np

    dofs = dof or {}
    names = list(values)
    one = {a: Dual(values[a], [1.0 if a == b else 0.0 for b in names]) for a in names}
    found = {}
    for name, output in model(one).items():
        parts = [(slope * u[a], dofs.get(a)) for a, slope in zip(names, output.d, strict=True)]
        variance = sum(part * part for part, _nu in parts)
        below = sum((part**4 / nu for part, nu in parts if nu is not None), start=np.zeros_like(variance))
        with np.errstate(divide="ignore"):
            nu = np.where(below > 0, np.floor(variance**2 / np.where(below > 0, below, 1.0) + 1e-9), np.inf)
        shape = np.shape(output.v)
        found[name] = (
            output.v,
            np.broadcast_to(np.sqrt(variance), shape),
            np.broadcast_to(nu, shape),
        )
    return found


def covariance(a: Quantity, b: Quantity) -> float:
    """Return the covariance of two quantities through the causes they share.

    Equation: u(a, b) = sum over shared causes of c_a c_b u^2, in the product of their units. Source: JCGM
    100:2008, F.1.2.3.

    >>> both = propagate(lambda x: {"a": x["c"], "b": 2 * x["c"]}, {"c": Input(1.0, 0.5)},
    ...                  {"a": "V", "b": "V"})
    >>> covariance(both["a"], both["b"])
    0.5
    """
    there = {line.cause: line for line in b.budget}
    return math.fsum(
        line.sensitivity * there[line.cause].sensitivity * line.u**2
        for line in a.budget
        if line.cause in there
    )


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
