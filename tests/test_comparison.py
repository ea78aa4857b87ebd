"""Agreement of two instruments against Bland and Altman 1986, R, scipy and worked cases."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from printed import agrees
from scipy.stats import linregress, pearsonr

from wqverify.calculations.comparison import (
    concordance,
    difference_against_level,
    lag_one,
    limits_of_agreement,
    worth,
)
from wqverify.errors import ChooseAnother

# Bland and Altman, Lancet 1986 i:307-310, table 1, first reading of each meter, L/min
LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_a32_bland_altman_1986() -> None:
    """Large less mini, so mini stands first."""
    found = limits_of_agreement(MINI, LARGE)
    agrees("A32", bias=found.bias, sd=found.sd)
    agrees("BA86", bias=found.bias, sd=found.sd, u_limit=found.u_limit)
    agrees("BA86", bias_from=found.bias_interval[0], bias_to=found.bias_interval[1])
    assert found.factor == 1.96
    (low_from, low_to) = found.low_interval
    values = {
        "low at 1.96 s": found.low,
        "high at 1.96 s": found.high,
        "low at 1.96 s from": low_from,
        "low at 1.96 s to": low_to,
    }
    agrees("BA86", **values)
    agrees("BA86", r=concordance(LARGE, MINI).correlation)


def test_the_limits_at_two_s() -> None:
    found = limits_of_agreement(MINI, LARGE, factor=2)
    values = {
        "low at 2 s": found.low,
        "high at 2 s": found.high,
        "low at 2 s from": found.low_interval[0],
        "low at 2 s to": found.low_interval[1],
        "high at 2 s from": found.high_interval[0],
        "high at 2 s to": found.high_interval[1],
    }
    agrees("BA86", **values)


def test_the_paper_went_on_from_rounded_figures() -> None:
    """Its limits are those of bias and s as printed, its interval that of the printed limit."""
    found = limits_of_agreement(MINI, LARGE, factor=2)
    bias, sd = round(found.bias, 1), round(found.sd, 1)
    agrees("BA86", low=bias - 2 * sd, high=bias + 2 * sd)
    t = (found.low_interval[1] - found.low) / found.u_limit
    printed, half = round(bias - 2 * sd, 1), round(t, 2) * round(found.u_limit, 1)
    agrees("BA86", low_limit_from=printed - half, low_limit_to=printed + half)


def test_swapping_the_instruments_turns_the_signs() -> None:
    one, other = limits_of_agreement(MINI, LARGE), limits_of_agreement(LARGE, MINI)
    assert (one.bias, one.low, one.high) == pytest.approx((-other.bias, -other.high, -other.low), rel=1e-12)


def test_the_slope_against_the_level_is_that_of_scipy() -> None:
    found = difference_against_level(MINI, LARGE)
    d = np.subtract(LARGE, MINI)
    theirs = linregress(np.add(LARGE, MINI) / 2, d)
    assert (found.slope, found.u, found.p, found.at_zero) == pytest.approx(
        (theirs.slope, theirs.stderr, theirs.pvalue, theirs.intercept), rel=1e-9
    )
    # t(0.975; 15) of any table
    assert found.interval == pytest.approx(
        (theirs.slope - 2.13145 * theirs.stderr, theirs.slope + 2.13145 * theirs.stderr), rel=1e-5
    )


def test_it_is_the_test_of_pitman_and_morgan() -> None:
    """p of the slope is p of the correlation of difference and sum: the test of equal variances."""
    random = np.random.default_rng(3)
    a, b = random.normal(7, 0.3, 50), random.normal(7, 0.4, 50)
    found = difference_against_level(a.tolist(), b.tolist())
    assert found.p == pytest.approx(pearsonr(b - a, a + b).pvalue, rel=1e-9)


def test_a_slope_without_scatter_is_certain_and_none_is_none() -> None:
    x = [1.0, 2.0, 3.0, 4.0]
    assert difference_against_level(x, [2 * v for v in x]).p == pytest.approx(0, abs=1e-12)
    none = difference_against_level(x, [v + 1 for v in x])
    assert (none.slope, none.p) == (0.0, 1.0)


def test_lins_concordance_is_that_of_r() -> None:
    found = concordance(LARGE, MINI)
    assert found.interval is not None
    agrees("LIN", concordance=found.value, accuracy=found.accuracy)
    agrees("LIN", **{"from": found.interval[0], "to": found.interval[1]})
    # n - 1 would give 0.94275 (facts of the same 17 pairs): it must not round to that.
    assert abs(found.value - 0.94275) > 0.000005


def test_concordance_of_a_large_shift_is_that_of_r() -> None:
    found = concordance(LARGE[:8], [612, 470, 560, 460, 560, 640, 455, 470])
    assert found.interval is not None
    agrees("LIN", shifted=found.value, shifted_accuracy=found.accuracy)
    agrees("LIN", shifted_from=found.interval[0], shifted_to=found.interval[1])


def test_concordance_without_an_interval_says_so() -> None:
    assert concordance([1, 2, 3, 4], [1, 2, 3, 4]).interval is None
    assert concordance([1, 2, 3, 4], [1, 2, 3, 4]).value == pytest.approx(1)
    assert concordance([1, 2, 3], [1, 2, 4]).interval is None
    assert concordance([1, 2, 3, 4], [1, 2, 3, 5]).interval is not None
    assert concordance([-1, 0, 0, 1], [0, 1, -1, 0]).interval is None  # no correlation at all


@given(
    st.lists(st.tuples(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3)), min_size=4, max_size=30),
    st.floats(-50, 50),
)
def test_a_shift_of_both_changes_no_difference(pairs: list[tuple[float, float]], shift: float) -> None:
    a, b = [p[0] for p in pairs], [p[1] for p in pairs]
    once = limits_of_agreement(a, b)
    again = limits_of_agreement([v + shift for v in a], [v + shift for v in b])
    assert (again.bias, again.sd) == pytest.approx((once.bias, once.sd), abs=1e-9)
    assert once.low <= once.bias <= once.high


def test_neighbours_that_go_together_are_worth_less() -> None:
    """A first-order record: the scatter of means of n is that of n_eff independent values."""
    random = np.random.default_rng(8)
    r, n = 0.6, 200
    x = np.zeros((2000, n))
    x[:, 0] = random.normal(0, 1, 2000)
    for k in range(1, n):
        x[:, k] = r * x[:, k - 1] + math.sqrt(1 - r * r) * random.normal(0, 1, 2000)
    found = float(np.mean([lag_one(row) for row in x]))
    assert found == pytest.approx(r, abs=0.03)
    assert 1 / math.sqrt(worth(n, r)) == pytest.approx(float(x.mean(axis=1).std()), rel=0.05)


def test_a_gap_breaks_a_consecutive_pair() -> None:
    values = [1.0, 1.0, -1.0, -1.0]
    assert lag_one(values) == pytest.approx((1 - 1 + 1) / 3)
    assert lag_one(values, [True, False, True]) == 1.0
    assert lag_one(values, [False, False, False]) == 0.0
    assert lag_one([2.0, 2.0, 2.0]) == 0.0
    for wrong in ([1.0], [1.0, 2.0, 3.0]):
        with pytest.raises(ValueError, match="one entry less"):
            lag_one(wrong, [True])


@pytest.mark.parametrize(("r", "n_eff"), [(-0.5, 100.0), (0.0, 100.0), (0.6, 25.0), (0.999, 1.0), (1.0, 1.0)])
def test_what_correlated_values_are_worth(r: float, n_eff: float) -> None:
    assert worth(100, r) == pytest.approx(n_eff)


def test_what_values_are_worth_needs_a_number_and_a_correlation() -> None:
    for n, r in ((0, 0.5), (10, 1.1), (10, math.nan)):
        with pytest.raises(ValueError, match="a correlation from -1 to 1"):
            worth(n, r)


def test_what_cannot_be_compared_is_refused_in_a_sentence() -> None:
    for function in (limits_of_agreement, difference_against_level, concordance):
        with pytest.raises(ChooseAnother, match="2 pairs of values are too few for a comparison; at least"):
            function([1, 2], [1, 2])
        with pytest.raises(ValueError, match="of one length"):
            function([1, 2, 3], [1, 2])
        with pytest.raises(ValueError, match="first and second are finite"):
            function([1, 2, math.nan], [1, 2, 3])
    with pytest.raises(ChooseAnother, match="All pairs lie at one level"):
        difference_against_level([1, 2, 3], [3, 2, 1])
    for a, b in (([5, 5, 5], [1, 2, 3]), ([1, 2, 3], [5, 5, 5])):
        with pytest.raises(ChooseAnother, match="One of the instruments shows a single value"):
            concordance(a, b)
    for factor in (0, -1, math.inf):
        with pytest.raises(ValueError, match="a factor of the limits is above 0"):
            limits_of_agreement([1, 2, 3], [1, 2, 3], factor)
    for level in (0.0, 1.0):
        with pytest.raises(ValueError, match="no coverage factor"):
            limits_of_agreement([1, 2, 3], [1, 2, 4], level=level)
