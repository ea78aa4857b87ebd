"""Interval methods against published and independently computed values, scipy and statsmodels, and edges."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from printed import agree, agrees
from scipy.stats import binomtest
from scipy.stats import t as student
from statsmodels.stats.proportion import proportion_confint

from wqverify.calculations.interval import (
    capped,
    clopper_pearson,
    drift_through_zero,
    fewest_checks,
    interval_test,
    reliability_interval,
    until_limit,
    until_uncertainty,
)
from wqverify.errors import ChooseAnother

DAYS = [70, 86, 104, 135, 167, 173]
CHANGE = [0.1, 0.11, 0.251, 0.299, 0.403, 0.615]


def test_a39_clopper_pearson() -> None:
    low, high = clopper_pearson(18, 20)
    agrees("A39", low=low, high=high)


@given(st.integers(1, 60), st.data(), st.sampled_from([0.5, 0.8, 0.95]))
def test_clopper_pearson_is_that_of_scipy_and_statsmodels(n: int, data: st.DataObject, level: float) -> None:
    x = data.draw(st.integers(0, n))
    ours = clopper_pearson(x, n, level)
    theirs = binomtest(x, n).proportion_ci(level, method="exact")
    assert ours == pytest.approx((theirs.low, theirs.high), abs=1e-9)
    assert ours == pytest.approx(proportion_confint(x, n, 1 - level, method="beta"), abs=1e-9, nan_ok=True)


def test_w41_interval_test() -> None:
    found = interval_test(15, 20, 365)
    agrees("W41", days=found.days, q=found.q)
    agree("W41", "plausible low", found.plausible[0])
    agree("W41", "plausible high", found.plausible[1])
    assert found.changes


def test_a35_and_w43_exponential_reliability() -> None:
    agree("A35", "0.85 at 12", reliability_interval(12, 0.85))
    agree("A35", "0.90 at 6", reliability_interval(6, 0.90))
    agree("W43", "days", reliability_interval(365, 15 / 20))


@pytest.mark.parametrize(
    ("observed", "days"), [(0.94, 24.87), (0.95, 30.0), (0.96, 37.7), (1.0, math.inf), (0.0, 0.0)]
)
def test_the_exponential_interval_stays_at_the_target(observed: float, days: float) -> None:
    assert reliability_interval(30, observed) == pytest.approx(days, abs=0.01)


@pytest.mark.parametrize(
    ("passed", "changes", "days"),
    [
        (20, True, 30 * 10 ** (0.05 / 0.95**20)),  # every check in tolerance
        (19, False, 30.0),  # exactly the target
        (18, False, 30.0),  # just below: Q is 0.47
        (17, True, 30 * 10 ** (-0.1 * (1 - 2 * 0.0754837))),  # Q is 0.85
        (0, True, 15.0),  # no further than by half
    ],
)
def test_the_interval_changes_only_where_the_record_speaks(passed: int, changes: bool, days: float) -> None:
    found = interval_test(passed, 20, 30)
    assert found.changes is changes
    assert found.days == pytest.approx(days, rel=1e-6)


def test_q_of_18_of_20_is_below_one_half() -> None:
    assert interval_test(18, 20, 30).q == pytest.approx(1 - 2 * 0.2641605, abs=1e-6)
    assert interval_test(18, 20, 30, level=0.45).changes


@pytest.mark.parametrize(("n", "changes"), [(13, False), (14, True)])
def test_from_how_many_checks_on_an_interval_may_grow(n: int, changes: bool) -> None:
    assert interval_test(n, n, 30).changes is changes
    assert fewest_checks(0.95) == 14


def test_very_many_checks_in_tolerance_lengthen_to_the_cap() -> None:
    assert interval_test(100_000, 100_000, 30).days == 60
    assert interval_test(500, 500, 30, most=3).days == 90


@pytest.mark.parametrize(
    ("new", "kept"), [(14.9, 15), (15, 15), (15.1, 15.1), (59.9, 59.9), (60, 60), (60.1, 60)]
)
def test_a_change_is_capped(new: float, kept: float) -> None:
    assert capped(new, 30) == kept
    assert capped(math.inf, 30) == 60


# ---------------------------------------------------------------- variables data


def test_w44_variables_data() -> None:
    drift = drift_through_zero(DAYS, CHANGE, 2)
    agrees("W44", b1=drift.coefficients[0], b2=drift.coefficients[1], s=drift.s)
    agree("W44", "days", until_uncertainty(drift, 0.28, 0.5))


@pytest.mark.parametrize("order", [1, 2, 3])
def test_the_fit_is_that_of_statsmodels(order: int) -> None:
    ours = drift_through_zero(DAYS, CHANGE, order)
    powers = np.column_stack([np.array(DAYS, float) ** (i + 1) for i in range(order)])
    theirs = sm.OLS(CHANGE, powers).fit()
    assert ours.coefficients == pytest.approx(theirs.params, rel=1e-7)
    assert ours.s == pytest.approx(math.sqrt(theirs.scale), rel=1e-9)
    assert ours.dof == theirs.df_resid
    at = np.array([[250.0 ** (i + 1) for i in range(order)]])
    forecast = theirs.get_prediction(at)
    assert ours.at(250)[0] == pytest.approx(forecast.predicted_mean[0], rel=1e-7)
    low, high = forecast.conf_int(obs=True, alpha=0.05)[0]
    half = student.ppf(0.975, ours.dof) * ours.at(250)[1]
    assert half == pytest.approx((high - low) / 2, rel=1e-7)


def test_a_single_value_is_expected_inside_until_that_day() -> None:
    drift = drift_through_zero(DAYS, CHANGE, 1)
    day = until_limit(drift, -1.0, 1.0)
    change, u = drift.at(day)
    assert change + student.ppf(0.975, drift.dof) * u == pytest.approx(1.0, abs=1e-7)
    assert day < until_limit(drift, -1.0, 1.0, level=0) == pytest.approx(1 / drift.coefficients[0])
    assert until_limit(drift, -1.0, 1.0, u=0.05) < day


def test_a_drift_down_meets_the_low_limit() -> None:
    up = until_limit(drift_through_zero(DAYS, CHANGE), -2, 1)
    down = until_limit(drift_through_zero(DAYS, [-c for c in CHANGE]), -1, 2)
    assert up == pytest.approx(down, rel=1e-9)


def test_scatter_wider_than_the_limits_leaves_no_day_at_all() -> None:
    drift = drift_through_zero([10, 20, 30, 40], [1.0, -1.0, 1.0, -1.0])
    assert until_limit(drift, -0.5, 0.5) == 0
    assert until_uncertainty(drift, 0, 0.5) == 0


def test_no_drift_at_all_never_reaches_a_limit() -> None:
    assert until_limit(drift_through_zero([10, 20, 30], [0.0, 0.0, 0.0]), -0.1, 0.1) == math.inf


@pytest.mark.parametrize(("n", "order"), [(1, 1), (2, 2), (3, 3)])
def test_a_drift_needs_more_checks_than_its_order(n: int, order: int) -> None:
    with pytest.raises(ChooseAnother, match=f"needs more than {order} checks on different days"):
        drift_through_zero(DAYS[:n], CHANGE[:n], order)


def test_days_that_are_all_the_same_carry_no_curve() -> None:
    with pytest.raises(ChooseAnother, match="different days"):
        drift_through_zero([7, 7, 7, 7], [0.1, 0.2, 0.1, 0.2], 2)
    assert drift_through_zero([7, 7], [0.7, 1.4]).coefficients == pytest.approx([0.15])


@pytest.mark.parametrize(
    "call",
    [
        lambda: clopper_pearson(-1, 5),
        lambda: clopper_pearson(6, 5),
        lambda: clopper_pearson(0, 0),
        lambda: clopper_pearson(1, 5, 1.0),
        lambda: interval_test(5, 5, 0),
        lambda: interval_test(5, 5, 30, target=1.0),
        lambda: interval_test(5, 5, 30, most=1.0),
        lambda: reliability_interval(0, 0.9),
        lambda: reliability_interval(30, 1.1),
        lambda: fewest_checks(1.0),
        lambda: capped(10, 0),
        lambda: drift_through_zero([0, 1, 2], [0, 1, 2]),
        lambda: drift_through_zero([1, 2], [1]),
        lambda: drift_through_zero(DAYS, CHANGE, 4),
        lambda: until_uncertainty(drift_through_zero(DAYS, CHANGE), 0.5, 0.5),
        lambda: until_limit(drift_through_zero(DAYS, CHANGE), 0, 1),
        lambda: until_limit(drift_through_zero(DAYS, CHANGE), -1, 1, level=1),
    ],
)
def test_what_gives_no_interval_is_refused(call: Callable[[], Any]) -> None:
    with pytest.raises(ValueError, match=r".+"):
        call()
