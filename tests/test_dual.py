"""Dual numbers: right derivatives against central differences, or a refusal; never a guess."""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from wqverify.calculations.dual import Dual, exp, log, sqrt

numbers = st.floats(min_value=0.1, max_value=20.0)
signed = numbers | numbers.map(lambda v: -v)


def x_of(value: Any) -> Dual:
    return Dual(value, {"x": 1.0})


def central(f: Callable[[float], float], x: float) -> float:
    """Derivative by one central difference; truncation and rounding balance at the cube root of eps."""
    h = 6e-6 * max(1.0, abs(x))
    return (f(x + h) - f(x - h)) / (2 * h)


ONE: dict[str, Callable[[Any], Any]] = {
    "x + 2": lambda x: x + 2,
    "2 + x": lambda x: 2 + x,
    "+x": lambda x: +x,
    "-x": lambda x: -x,
    "x - 2.5": lambda x: x - 2.5,
    "2.5 - x": lambda x: 2.5 - x,
    "3 x": lambda x: 3 * x,
    "x 3": lambda x: x * 3.0,
    "x / 4": lambda x: x / 4,
    "4 / x": lambda x: 4 / x,
    "x^3": lambda x: x**3,
    "x^-0.5": lambda x: abs(x) ** -0.5,
    "x^1": lambda x: x**1,
    "x^x": lambda x: abs(x) ** abs(x),
    "abs": abs,
    "exp": lambda x: exp(x / 10),
    "log": lambda x: log(abs(x)),
    "sqrt": lambda x: sqrt(abs(x)),
    "x used four times": lambda x: (x * x - 1 / x) / (x * x + 1),
    "x - x": lambda x: (x + 1) - x,
    "max": lambda x: max(x, 1.5 - x),
    "min": lambda x: min(x * x, x + 3),
    "a branch": lambda x: x * x if x > 2 else 3 * x,
    "horner": lambda x: ((0.3 * x - 2) * x + 1.5) * x,
}


@pytest.mark.parametrize("name", ONE)
@given(x=signed)
def test_a_derivative_is_that_of_a_central_difference(name: str, x: float) -> None:
    f = ONE[name]
    # not within reach of a kink, where no derivative is defined
    assume(
        all(abs(x - kink) > 1e-3 for kink in (0.75, 2.0, (1 + math.sqrt(13)) / 2, (1 - math.sqrt(13)) / 2))
    )
    y = f(x_of(x))
    assert y.v == pytest.approx(f(x), rel=1e-12, abs=1e-12)
    assert y.d["x"] == pytest.approx(central(f, x), rel=2e-6, abs=2e-6)


TWO: dict[str, Callable[[Any, Any], Any]] = {
    "x + y": lambda x, y: x + y,
    "x - y": lambda x, y: x - y,
    "x y": lambda x, y: x * y,
    "x / y": lambda x, y: x / y,
    "x^y": lambda x, y: abs(x) ** (y / 10),
    "one shared": lambda x, y: (x * y + y) / (x * x + y * y),
}


@pytest.mark.parametrize("name", TWO)
@given(x=signed, y=signed)
def test_two_inputs_each_have_their_derivative(name: str, x: float, y: float) -> None:
    f = TWO[name]
    z = f(Dual(x, {"x": 1.0}), Dual(y, {"y": 1.0}))
    assert z.v == pytest.approx(f(x, y), rel=1e-12, abs=1e-12)
    for cause, slope in (("x", central(lambda v: f(v, y), x)), ("y", central(lambda v: f(x, v), y))):
        assert z.d[cause] == pytest.approx(slope, rel=1e-5, abs=1e-5)


BRANCHES = {"max", "min", "a branch"}


def test_a_branch_on_an_array_has_no_single_answer() -> None:
    for name in BRANCHES:
        with pytest.raises(ValueError, match="truth value of an array"):
            ONE[name](x_of(np.array([1.0, 3.0])))


@given(values=st.lists(numbers, min_size=1, max_size=5))
def test_an_array_gives_what_its_elements_give(values: list[float]) -> None:
    for name in ONE.keys() - BRANCHES:
        f = ONE[name]
        whole = f(x_of(np.array(values)))
        for index, value in enumerate(values):
            one = f(x_of(value))
            assert whole.v[index] == pytest.approx(one.v, rel=1e-13)
            assert np.broadcast_to(whole.d["x"], len(values))[index] == pytest.approx(one.d["x"], rel=1e-12)


REFUSED: dict[str, Callable[[Dual], Any]] = {
    "float": float,
    "int": int,
    "complex": complex,
    "bool": bool,
    "round": round,
    "floor": math.floor,
    "math.sin": math.sin,
    "math.sqrt": math.sqrt,
    "numpy.sin": np.sin,
    "numpy.exp": np.exp,
    "numpy.add": lambda x: np.add(np.array([1.0]), x),
    "floor division": lambda x: x // 2,
    "remainder": lambda x: x % 2,
    "divmod": lambda x: divmod(x, 2),
    "matrix product": lambda x: x @ x,
    "a number to the power of it": lambda x: 2.0**x,
    "index": lambda x: [1, 2, 3][x],  # type: ignore[call-overload]
    "length": len,  # type: ignore[arg-type]
    "iteration": list,  # type: ignore[arg-type]
    "a key": lambda x: {x: 1},
    "x or 1": lambda x: x or 1.0,
    "statistics of math": lambda x: math.fsum([x, x]),
    "hypot": lambda x: math.hypot(x, 1.0),
    "with a Decimal": lambda x: x + Decimal(1),
    "a Decimal with it": lambda x: Decimal(1) * x,
    "with a Fraction": lambda x: x * Fraction(1, 3),
    "with text": lambda x: x + "1",
    "with True": lambda x: x * True,
    "with None": lambda x: x - None,
    "with a complex number": lambda x: x * 1j,
    "with numpy's True": lambda x: x + np.True_,
    "with an array of objects": lambda x: x + np.array([Decimal(1)], dtype=object),
    "exp of a Decimal": lambda x: x + exp(Decimal(1)),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_has_no_derivative_here_is_refused(name: str) -> None:
    with pytest.raises(TypeError):
        REFUSED[name](x_of(1.0))


def test_the_absolute_value_at_zero_is_refused() -> None:
    for zero in (0.0, -0.0, 0, np.array([1.0, 0.0])):
        with pytest.raises(TypeError, match="the absolute value has no derivative at 0"):
            abs(x_of(zero))


def test_roots_logarithms_and_powers_outside_their_range_are_refused() -> None:
    with pytest.raises(ValueError, match="is not a real number"):
        x_of(-8.0) ** (1 / 3)
    with pytest.raises(ValueError, match=r"math domain error|expected a (positive|nonnegative)"):
        log(x_of(-1.0))
    with pytest.raises(ValueError, match=r"math domain error|expected a nonnegative"):
        sqrt(x_of(-1.0))
    for divided_by_zero in (lambda: sqrt(x_of(0.0)), lambda: 1 / x_of(0.0), lambda: x_of(1.0) / 0):
        with pytest.raises(ZeroDivisionError):
            divided_by_zero()


def test_comparison_looks_at_the_value_alone() -> None:
    a, b = Dual(1.0, {"a": 1.0}), Dual(2.0, {"b": 5.0})
    assert a < b
    assert a <= 1.0 < b
    assert b >= a
    assert not a > b
    assert a == 1.0
    assert a != b
    assert Dual(1.0, {"b": 9.0}) == a
    assert max(a, b) is b
    assert min(a, Dual(1.0, {"c": 1.0})) is a  # of two equal ones the first


def test_numpy_numbers_mix_on_either_side() -> None:
    for number in (np.float64(3.0), np.int64(3), np.float32(3.0)):
        for y in (number * x_of(2.0), x_of(2.0) * number):
            assert type(y) is Dual
            assert (y.v, y.d["x"]) == (6.0, 3.0)
    y = np.array([1.0, 2.0]) - x_of(np.array([3.0, 5.0]))
    assert y.v.tolist() == [-2.0, -3.0]
    assert y.d["x"] == -1.0


def test_an_input_that_is_not_used_is_absent() -> None:
    assert (Dual(1.0, {"a": 1.0}) + Dual(1.0, {"b": 1.0}) * 2).d == {"a": 1.0, "b": 2.0}


def test_inputs_are_not_changed_by_what_is_made_of_them() -> None:
    a, b = Dual(1.0, {"a": 1.0, "b": 2.0}), Dual(1.0, {"b": 1.0})
    for made in (a + b, a - b, a * b, a / b, a + 1, -a, a**2):
        assert type(made) is Dual
    assert a.d == {"a": 1.0, "b": 2.0}
    assert b.d == {"b": 1.0}


def test_it_shows_what_it_is() -> None:
    assert repr(Dual(1.0, {"a": 2.0})) == "Dual(1.0, {'a': 2.0})"
