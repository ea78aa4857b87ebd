"""Interpolation: exact in decimals, a stated slope at each node, nothing beyond the table."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from printed import agrees

from wqverify.calculations.dual import Dual
from wqverify.calculations.interpolation import interpolate
from wqverify.errors import CorrectTheEntry

# Ready-made buffers, general trade data
READY_7 = [(Decimal(t), Decimal(ph)) for t, ph in ((10, "7.06"), (15, "7.04"), (20, "7.02"), (25, "7.00"))]
READY_10 = [
    (Decimal(t), Decimal(ph)) for t, ph in ((10, "10.18"), (15, "10.12"), (20, "10.06"), (25, "10.01"))
]
# IUPAC Recommendations 2002, Pure Appl. Chem. 74(11)
PHOSPHATE = [
    (Decimal(t), Decimal(ph))
    for t, ph in ((5, "6.951"), (10, "6.923"), (15, "6.900"), (20, "6.881"), (30, "6.853"), (35, "6.844"))
]


def dual(x: Any) -> Dual:
    return Dual(x, {"t": 1.0})


def test_v04_v10_values_between_the_nodes() -> None:
    t = Decimal("18.4")
    assert str(interpolate(READY_7, t)) == "7.0264"
    assert str(interpolate(READY_10, t)) == "10.0792"
    agrees("V04", B7=interpolate(READY_7, 18.4), B10=interpolate(READY_10, 18.4))
    agrees("V10", B=interpolate(PHOSPHATE, 12.0))


def test_a03_a04_a_node_has_the_value_that_is_printed_with_its_digits() -> None:
    assert str(interpolate(READY_7, Decimal("10.0"))) == "7.06"
    assert str(interpolate(READY_10, Decimal(25))) == "10.01"
    agrees(
        "A04", **{"7.00 at 10 C": interpolate(READY_7, 10.0), "10.01 at 10 C": interpolate(READY_10, 10.0)}
    )
    for t in (10, 35):
        agrees("A03", **{f"phosphate 1:1 at {t} C": interpolate(PHOSPHATE, t)})


@pytest.mark.parametrize("nodes", [READY_10, [(float(t), float(ph)) for t, ph in READY_10]])
@pytest.mark.parametrize(
    ("t", "slope"),
    [
        (10.0, -0.012),
        (19.999, -0.012),
        (20.0, -0.010),  # at a node the upper interval
        (20.001, -0.010),
        (25.0, -0.010),  # at the last node the lower
    ],
)
def test_the_derivative_is_the_slope_of_the_upper_interval(nodes: Any, t: float, slope: float) -> None:
    y = interpolate(nodes, dual(t))
    assert y.v == interpolate(nodes, t)
    assert y.d["t"] == pytest.approx(slope, rel=1e-12)


@pytest.mark.parametrize(
    ("t", "within"),
    [("10", True), ("10.01", True), ("9.99", False), ("25", True), ("24.99", True), ("25.01", False)],
)
def test_nothing_is_extrapolated(t: str, within: bool) -> None:
    for x in (Decimal(t), float(t), dual(float(t)), np.array([20.0, float(t)])):
        if within:
            interpolate(READY_7, x)
            continue
        with pytest.raises(CorrectTheEntry) as caught:
            interpolate(READY_7, x)
        assert caught.value.message == (
            f"{t} lies outside the table, which runs from 10 to 25; nothing is extrapolated."
        )
        assert (caught.value.found, caught.value.expected) == (t, "10 to 25")


def test_a_missing_temperature_is_outside_too() -> None:
    for x in (float("nan"), np.array([20.0, np.nan])):
        with pytest.raises(CorrectTheEntry, match="nan lies outside the table"):
            interpolate(READY_7, x)


def test_one_node_is_no_line() -> None:
    with pytest.raises(ValueError, match="a straight line between nodes needs two"):
        interpolate(READY_7[:1], Decimal(10))


def test_a_limit_that_binary_cannot_hold_is_still_the_limit() -> None:
    nodes = [(Decimal("0.1"), Decimal(1)), (Decimal("25.1"), Decimal(2)), (Decimal("30.3"), Decimal(4))]
    assert interpolate(nodes, 0.1) == 1.0
    assert interpolate(nodes, 30.3) == 4.0
    assert interpolate(nodes, dual(25.1)).d["t"] == pytest.approx(2 / 5.2)


@given(st.integers(min_value=1000, max_value=2500))
def test_decimals_floats_duals_and_arrays_agree(hundredths: int) -> None:
    exact = interpolate(READY_10, Decimal(hundredths) / 100)
    x = hundredths / 100
    one = interpolate(READY_10, dual(x))
    many = interpolate(READY_10, dual(np.array([x, 12.0])))
    assert interpolate(READY_10, x) == pytest.approx(float(exact), rel=1e-14)
    assert one.v == interpolate(READY_10, x)
    assert many.v[0] == pytest.approx(one.v, rel=1e-14)
    assert many.d["t"][0] == pytest.approx(one.d["t"], rel=1e-12)
