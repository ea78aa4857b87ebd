"""Control charts against the worked examples of the NIST e-Handbook, their run lengths, and their edges."""

from __future__ import annotations

import math
from collections.abc import Callable
from random import Random
from statistics import fmean
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from printed import agree, agrees

from wqverify.calculations.control_chart import (
    cusum,
    cusum_run_length,
    ewma,
    ewma_run_length,
    individuals,
)

# NIST/SEMATECH e-Handbook 6.3.2.2: flow rate of ten batches, and their moving ranges as printed.
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
RANGES = [2.0, 2.3, 1.4, 3.5, 3.4, 1.4, 0.2, 1.2, 1.5]
# 6.3.2.3: x, S_hi and S_lo as printed; target 325, k 0.3175, h 4.1959; two public copies of the table agree.
CUSUM = [
    (324.925, 0.00, 0.00), (324.675, 0.00, 0.01), (324.725, 0.00, 0.00), (324.350, 0.00, 0.33),
    (325.350, 0.03, 0.00), (325.225, 0.00, 0.00), (324.125, 0.00, 0.56), (324.525, 0.00, 0.72),
    (325.225, 0.00, 0.17), (324.600, 0.00, 0.25), (324.625, 0.00, 0.31), (325.150, 0.00, 0.00),
    (328.325, 3.01, 0.00), (327.250, 4.94, 0.00), (327.825, 7.45, 0.00), (328.500, 10.63, 0.00),
    (326.675, 11.99, 0.00), (327.775, 14.44, 0.00), (326.875, 16.00, 0.00), (328.350, 19.04, 0.00),
]  # fmt: skip
# 6.3.2.4: x and EWMA as printed; weight 0.3, target 50, s 2.0539, factor 3.
EWMA = [
    (52.0, 50.60), (47.0, 49.52), (53.0, 50.56), (49.3, 50.18), (50.1, 50.16), (47.0, 49.21), (51.0, 49.75),
    (50.1, 49.85), (51.2, 50.26), (50.5, 50.33), (49.6, 50.11), (47.6, 49.36), (49.9, 49.52), (51.3, 50.05),
    (47.8, 49.38), (51.2, 49.92), (52.6, 50.73), (52.4, 51.23), (53.6, 51.94), (52.1, 51.99),
]  # fmt: skip
HAIR = 1e-9


def test_individuals_of_the_handbook() -> None:
    found = individuals(FLOW)
    agree("N322", "mean", found.mean)
    agree("N322", "mean range", found.mean_range)
    agrees("N322", high=found.high, low=found.low)
    assert [round(one, 1) for one in found.ranges[1:] if one is not None] == RANGES
    assert found.ranges[0] is None
    assert (found.outside, found.ranges_outside) == ((), ())
    assert found.range_high == pytest.approx(3.267 * 16.9 / 9, rel=1e-12)


def test_cusum_of_the_handbook() -> None:
    found = cusum([x for x, _hi, _lo in CUSUM], 325, 0.3175, 4.1959)
    for (_x, high, low), ours_high, ours_low in zip(CUSUM, found.high, found.low, strict=True):
        assert abs(ours_high - high) <= 0.005 + HAIR
        assert abs(ours_low - low) <= 0.005 + HAIR
    assert found.above == tuple(range(13, 20))  # the 14th is the first


def test_a37_ewma_of_the_handbook() -> None:
    found = ewma([x for x, _z in EWMA], 50, 2.0539, weight=0.3, width=3)
    for (_x, printed), z in zip(EWMA, found.z, strict=True):
        assert abs(z - printed) <= 0.005 + HAIR
    agrees("A37", z20=found.z[-1], steady_high=found.steady_high)
    rounded = 3 * 2.0539 * 0.4201  # the factor as the handbook prints it, and with it its lower limit
    assert (f"{50 - rounded:.4f}", f"{found.steady_low:.4f}") == ("47.4115", "47.4116")
    agrees("A37", z20_apart=found.z[-1], steady_low_apart=found.steady_low)
    agrees("A37", high_1=found.high[0], high_2=found.high[1])
    assert found.outside == ()


@pytest.mark.parametrize(
    ("quantity", "length"),
    [
        ("EWMA 0.2 2.962", lambda: ewma_run_length(0.2, 2.962)),
        ("EWMA 0.2 2.962 shift 1", lambda: ewma_run_length(0.2, 2.962, 1.0)),
        ("CUSUM 0.5 4", lambda: cusum_run_length(0.5, 4)),
        ("CUSUM 0.5 4 shift 1", lambda: cusum_run_length(0.5, 4, 1.0)),
        ("CUSUM 0.5 5", lambda: cusum_run_length(0.5, 5)),
        ("CUSUM 0.5 5 shift 1", lambda: cusum_run_length(0.5, 5, 1.0)),
    ],
)
def test_average_run_lengths(quantity: str, length: Callable[[], float]) -> None:
    agree("ARL", quantity, length())


def test_a_run_length_is_what_runs_come_to() -> None:
    """A shift of one sigma in 4000 simulated runs of the very chart: the mean within four of its own u."""
    random = Random(20261127)
    lengths = []
    for _run in range(4000):
        values = [random.gauss(1, 1) for _ in range(150)]
        lengths.append(cusum(values, 0, 0.5, 4).above[0] + 1)
    u = math.sqrt(fmean([(n - fmean(lengths)) ** 2 for n in lengths]) / len(lengths))
    assert abs(fmean(lengths) - cusum_run_length(0.5, 4, 1.0)) < 4 * u


def test_a_shift_the_other_way_is_seen_as_soon() -> None:
    assert ewma_run_length(0.2, 2.962, -1) == pytest.approx(ewma_run_length(0.2, 2.962, 1), rel=1e-9)
    assert cusum_run_length(0.5, 4, -1) == pytest.approx(cusum_run_length(0.5, 4, 1), rel=1e-9)


# ---------------------------------------------------------------- around each limit


@pytest.mark.parametrize(("last", "outside"), [(2.9, ()), (3.0, ()), (3.1, (4,)), (None, ())])
def test_on_the_limit_of_the_ewma_is_inside(last: float | None, outside: tuple[int, ...]) -> None:
    # weight 1: z is the value itself, and every limit is width x sigma
    found = ewma([0.0, 1.0, -1.0, 0.0, last], 0.0, 1.0, weight=1.0, width=3.0)
    assert found.outside == outside


@pytest.mark.parametrize(("last", "above"), [(4.4, ()), (4.5, ()), (4.6, (1,)), (None, ())])
def test_the_sum_signals_above_h_only(last: float | None, above: tuple[int, ...]) -> None:
    assert cusum([0.5, last], 0.0, 0.5, 4.0).above == above


@pytest.mark.parametrize(("last", "outside"), [(0.5, ()), (1.1, (12,))])
def test_individuals_outside_are_named(last: float, outside: tuple[int, ...]) -> None:
    values = [0.1, -0.1] * 6  # ranges of 0.2 around 0
    assert individuals([*values, last]).outside == outside


def test_a_value_on_a_limit_of_the_individuals_is_inside() -> None:
    found = individuals([0.0, 0.0, 0.0])
    assert (found.low, found.high, found.outside, found.ranges_outside) == (0.0, 0.0, (), ())


# ---------------------------------------------------------------- missing values and restarts


def test_a_missing_value_breaks_the_pair_on_both_sides() -> None:
    found = individuals([1.0, 2.0, None, 5.0, 7.0])
    assert found.ranges == (None, 1.0, None, None, 2.0)
    assert (found.mean, found.mean_range) == (3.75, 1.5)


def test_a_missing_value_changes_neither_mean_nor_sums() -> None:
    with_gap, without = [1.0, None, 2.0], [1.0, 2.0]
    assert ewma(with_gap, 0, 1).z[::2] == ewma(without, 0, 1).z
    assert ewma(with_gap, 0, 1).high[::2] == ewma(without, 0, 1).high
    assert cusum(with_gap, 0, 0.5, 4).high[::2] == cusum(without, 0, 0.5, 4).high


def test_after_a_restart_nothing_is_remembered() -> None:
    values, later = [3.0, 3.0, 3.0], [0.1, 0.2]
    at = frozenset({3})
    assert ewma([*values, *later], 0, 1, restarts=at).z[3:] == ewma(later, 0, 1).z
    assert ewma([*values, *later], 0, 1, restarts=at).low[3:] == ewma(later, 0, 1).low
    assert cusum([*values, *later], 0, 0.5, 4, at).high[3:] == cusum(later, 0, 0.5, 4).high
    assert individuals([*values, *later], at).ranges == (None, 0.0, 0.0, None, 0.1)


@pytest.mark.parametrize("values", [[], [1.0], [1.0, None, 2.0]])
def test_individuals_need_a_pair(values: list[float | None]) -> None:
    with pytest.raises(ValueError, match="needs two values that follow one another"):
        individuals(values)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: ewma([1.0], 0, 0), "no EWMA with sigma 0"),
        (lambda: ewma([1.0], 0, 1, weight=0), "weight 0 and"),
        (lambda: ewma([1.0], 0, 1, weight=1.01), "weight 1.01 and"),
        (lambda: ewma([1.0], 0, 1, width=0), "width 0"),
        (lambda: cusum([1.0], 0, -0.1, 4), "allowance -0.1"),
        (lambda: cusum([1.0], 0, 0.5, 0), "limit 0"),
        (lambda: ewma_run_length(0, 3), "weight 0"),
        (lambda: cusum_run_length(0.5, 0), "limit 0"),
    ],
)
def test_what_gives_no_chart_is_refused(call: Callable[[], Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()


@given(st.lists(st.floats(-100, 100), min_size=1, max_size=30))
def test_the_weighted_mean_is_a_mean_of_target_and_values(values: list[float]) -> None:
    """Against the sum with its weights written out."""
    weight, target = 0.25, 3.0
    z = ewma(values, target, 1.0, weight=weight).z[-1]
    n = len(values)
    written_out = (1 - weight) ** n * target + math.fsum(
        weight * (1 - weight) ** (n - 1 - i) * x for i, x in enumerate(values)
    )
    assert z == pytest.approx(written_out, abs=1e-9)
