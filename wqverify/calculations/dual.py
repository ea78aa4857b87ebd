"""Dual numbers: a value that carries its derivative by every input it depends on.

Own forward dual numbers, because the complex step gave wrong derivatives silently (abs, min, var, fits)
and the general libraries cost several times more (tests/benchmarks/bench_budget.py). What cannot be derived
is refused, never guessed.
"""

from __future__ import annotations

import math
from typing import Any, NoReturn


class Dual:
    """A value ``v`` with ``d``, its derivatives by input; floats or numpy arrays of one shape.

    Equation: (v, d) op (w, e) by the rules of differentiation. An input it does not depend on is absent from
    ``d``. Comparison looks at the value alone (of two equal ones ``min`` and ``max`` take the first).
    Raises TypeError for what is not defined here: float(), int(), bool(), round(), // and %, functions of
    math and numpy, and for mixing with text, Decimal, complex or logical values. Source: forward
    differentiation, common mathematics.

    >>> x = Dual(3.0, {"x": 1.0})
    >>> y = x * x + 6 / x
    >>> y.v, round(y.d["x"], 4)
    (11.0, 5.3333)
    """

    __slots__ = ("d", "v")
    __array_ufunc__ = None  # numpy hands the operation to the methods here
    __hash__ = None  # type: ignore[assignment]

    def __init__(self, v: Any, d: dict[str, Any]) -> None:
        self.v = v
        self.d = d

    def chain(self, v: Any, slope: Any) -> Dual:
        """Return f(self) from its value ``v`` and its derivative ``slope`` there (chain rule)."""
        return Dual(v, {cause: slope * p for cause, p in self.d.items()})

    def __add__(self, other: Any) -> Dual:
        if type(other) is not Dual:
            return Dual(self.v + plain(other), self.d)
        d = self.d.copy()
        for cause, q in other.d.items():
            d[cause] = d[cause] + q if cause in d else q
        return Dual(self.v + other.v, d)

    __radd__ = __add__

    def __neg__(self) -> Dual:
        return Dual(-self.v, {cause: -p for cause, p in self.d.items()})

    def __pos__(self) -> Dual:
        return self

    def __sub__(self, other: Any) -> Dual:
        if type(other) is not Dual:
            return Dual(self.v - plain(other), self.d)
        d = self.d.copy()
        for cause, q in other.d.items():
            d[cause] = d[cause] - q if cause in d else -q
        return Dual(self.v - other.v, d)

    def __rsub__(self, other: Any) -> Dual:
        return self.chain(plain(other) - self.v, -1.0)

    def __mul__(self, other: Any) -> Dual:
        if type(other) is not Dual:
            return self.chain(self.v * plain(other), other)
        a, b = self.v, other.v
        d = {cause: p * b for cause, p in self.d.items()}
        for cause, q in other.d.items():
            d[cause] = d[cause] + q * a if cause in d else q * a
        return Dual(a * b, d)

    __rmul__ = __mul__

    def __truediv__(self, other: Any) -> Dual:
        if type(other) is not Dual:
            return self.chain(self.v / plain(other), 1 / other)
        below = 1 / other.v
        ratio = self.v * below
        d = {cause: p * below for cause, p in self.d.items()}
        slope = -ratio * below
        for cause, q in other.d.items():
            d[cause] = d[cause] + q * slope if cause in d else q * slope
        return Dual(self.v / other.v, d)

    def __rtruediv__(self, other: Any) -> Dual:
        ratio = plain(other) / self.v
        return self.chain(ratio, -ratio / self.v)

    def __pow__(self, power: Any) -> Dual:
        if type(power) is Dual:
            raised: Dual = exp(power * log(self))
            return raised
        value = self.v ** plain(power)
        if isinstance(value, complex):
            raise ValueError(f"{self.v} to the power of {power} is not a real number")
        return self.chain(value, power * self.v ** (power - 1))

    def __abs__(self) -> Dual:
        if isinstance(self.v, float | int):
            if self.v == 0:
                raise TypeError("the absolute value has no derivative at 0")
            return self if self.v > 0 else -self
        if not self.v.all():
            raise TypeError("the absolute value has no derivative at 0")
        return self.chain(abs(self.v), (self.v > 0) * 2.0 - 1.0)

    def __eq__(self, other: Any) -> Any:
        return self.v == _value(other)

    def __lt__(self, other: Any) -> Any:
        return self.v < _value(other)

    def __le__(self, other: Any) -> Any:
        return self.v <= _value(other)

    def __gt__(self, other: Any) -> Any:
        return self.v > _value(other)

    def __ge__(self, other: Any) -> Any:
        return self.v >= _value(other)

    def __bool__(self) -> NoReturn:
        # Without this, `x or 1.0` would quietly go on with a number of value 0.
        raise TypeError("a dual number is neither true nor false; compare it")

    def __repr__(self) -> str:
        return f"Dual({self.v!r}, {self.d!r})"


def _value(x: Any) -> Any:
    return x.v if type(x) is Dual else x


def plain(number: Any) -> Any:
    """Return a number as it is, where it is one a dual number may be mixed with.

    Numbers are int, float and numpy's integers and floats. Raises TypeError for anything else: a Decimal is
    exact and judged, a dual number is neither. Source: design of this project.

    >>> plain(2.5)
    2.5
    """
    kind = type(number)
    if kind is float or kind is int or getattr(getattr(number, "dtype", None), "kind", "") in ("f", "i", "u"):
        return number
    raise TypeError(f"a dual number does not mix with {kind.__name__}")


def exp(x: Any) -> Any:
    """Return e to the x of a float, an array or a dual number.

    Equation: d exp(x) = exp(x) dx. Source: common mathematics.

    >>> exp(Dual(0.0, {"x": 2.0})).d
    {'x': 2.0}
    """
    value = _function("exp", x)
    return x.chain(value, value) if type(x) is Dual else value


def log(x: Any) -> Any:
    """Return the natural logarithm of a float, an array or a dual number; x > 0.

    Equation: d ln(x) = dx/x. Raises ValueError for a number at or below 0. Source: common mathematics.

    >>> log(Dual(4.0, {"x": 1.0})).d
    {'x': 0.25}
    """
    value = _function("log", x)
    return x.chain(value, 1 / x.v) if type(x) is Dual else value


def sqrt(x: Any) -> Any:
    """Return the square root of a float, an array or a dual number; x >= 0, x > 0 for a dual number.

    Equation: d sqrt(x) = dx/(2 sqrt(x)). Raises ValueError below 0, ZeroDivisionError for a dual number at 0.
    Source: common mathematics.

    >>> sqrt(Dual(4.0, {"x": 1.0})).d
    {'x': 0.25}
    """
    value = _function("sqrt", x)
    return x.chain(value, 0.5 / value) if type(x) is Dual else value


def _function(name: str, x: Any) -> Any:
    value = plain(_value(x))
    if isinstance(value, float | int):
        return getattr(math, name)(value)
    import numpy as np

    return getattr(np, name)(value)
