"""Lines with errors in both co-ordinates against York's example, odrpack and limiting cases."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import odrpack
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from printed import agrees

from wqverify.calculations.errors_in_both import deming, errors_in_both, interval
from wqverify.calculations.line_fit import fit_line
from wqverify.errors import ChooseAnother

# York 1966: Pearson's data with York's weights: x, weight of x, y, weight of y
YORK = [
    (0.0, 1000, 5.9, 1), (0.9, 1000, 5.4, 1.8), (1.8, 500, 4.4, 4), (2.6, 800, 4.6, 8), (3.3, 200, 3.5, 20),
    (4.4, 80, 3.7, 20), (5.2, 60, 2.8, 70), (6.1, 20, 2.8, 70), (6.5, 1.8, 2.4, 100), (7.4, 1, 1.5, 500),
]  # fmt: skip


def york() -> tuple[Any, Any, Any, Any]:
    x, w_x, y, w_y = np.array(YORK).T
    return x, y, w_x**-0.5, w_y**-0.5


def by_odrpack(x: Any, y: Any, u_x: Any, u_y: Any, start: tuple[float, float]) -> Any:
    return odrpack.odr_fit(
        lambda at, beta: beta[0] + beta[1] * at,
        x,
        y,
        np.array(start),
        weight_x=1 / u_x**2,
        weight_y=1 / u_y**2,
        jac_beta=lambda at, _beta: np.stack([np.ones_like(at), at]),  # exact ones: differences cost 1e-7
        jac_x=lambda at, beta: np.full_like(at, beta[1]),
        partol=1e-14,
        sstol=1e-15,
        maxit=500,
    )


def test_a34_york() -> None:
    line = errors_in_both(*york())
    agrees("A34", a=line.a, b=line.b, a_to_eight=line.a, b_to_eight=line.b, u_a=line.u_a, u_b=line.u_b)
    agrees("A34", S_per_degree_of_freedom=line.residual_sd**2)
    assert (line.n, line.dof) == (10, 8)
    scaled = errors_in_both(*york(), scaled=True)
    agrees("A34", u_a_scaled=scaled.u_a, u_b_scaled=scaled.u_b)
    assert (scaled.a, scaled.b, scaled.chi2) == (line.a, line.b, line.chi2)


def test_the_slope_is_where_the_sum_of_squares_is_least() -> None:
    """S(b) about the fitted slope, by its definition and a differentiated parabola."""
    x, y, u_x, u_y = york()
    line = errors_in_both(x, y, u_x, u_y)

    def s(b: float) -> float:
        w = 1 / (u_y**2 + b * b * u_x**2)
        a = (w * (y - b * x)).sum() / w.sum()
        return float((w * (y - a - b * x) ** 2).sum())

    assert s(line.b) == pytest.approx(line.chi2, rel=1e-12)
    assert s(line.b + 1e-4) > line.chi2 < s(line.b - 1e-4)
    assert (s(line.b + 1e-4) - s(line.b - 1e-4)) / 2e-4 == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize("seed", range(8))
def test_odrpack_finds_the_same_line(seed: int) -> None:
    random = np.random.default_rng(seed)
    n = int(random.integers(8, 200))
    level = random.uniform(0.2, 12, n)
    u_x, u_y = 0.02 + 0.03 * level, 0.01 + random.uniform(0.01, 0.05, n) * level
    x = level + u_x * random.normal(size=n)
    y = random.uniform(-1, 1) + random.uniform(-2, 2) * level + u_y * random.normal(size=n)
    line = errors_in_both(x, y, u_x, u_y, scaled=True)
    theirs = by_odrpack(x, y, u_x, u_y, (line.a + 0.1, line.b + 0.01))
    assert line.b == pytest.approx(theirs.beta[1], rel=1e-8, abs=1e-8)
    assert line.a == pytest.approx(theirs.beta[0], rel=1e-7, abs=1e-7)
    assert (line.u_a, line.u_b) == pytest.approx(tuple(theirs.sd_beta), rel=1e-7)


@pytest.mark.parametrize("ratio", [0.25, 1.0, 9.0])
def test_deming_is_the_line_of_equal_uncertainties(ratio: float) -> None:
    random = np.random.default_rng(4)
    x = random.uniform(1, 9, 40)
    y = 0.2 + 1.1 * x + random.normal(0, 0.3, 40)
    one = deming(x, y, ratio)
    same = errors_in_both(x, y, [1.0] * 40, [math.sqrt(ratio)] * 40, scaled=True)
    assert (one.a, one.b, one.u_a, one.u_b) == pytest.approx((same.a, same.b, same.u_a, same.u_b), rel=1e-9)
    theirs = by_odrpack(x, y, np.ones(40), np.full(40, math.sqrt(ratio)), (0.0, 1.0))
    assert (one.a, one.b) == pytest.approx(tuple(theirs.beta), rel=1e-7, abs=1e-8)
    assert one.b == pytest.approx(theirs.beta[1], rel=1e-8)
    assert (one.u_a, one.u_b) == pytest.approx(tuple(theirs.sd_beta), rel=1e-7)


def test_orthogonal_regression_is_the_first_principal_axis() -> None:
    """Deming at ratio 1 against the eigenvector of numpy's covariance matrix."""
    random = np.random.default_rng(9)
    x = random.normal(7, 0.5, 60)
    y = 0.8 * x + random.normal(0, 0.2, 60)
    _values, vectors = np.linalg.eigh(np.cov(x, y))
    assert deming(x, y).b == pytest.approx(vectors[1, -1] / vectors[0, -1], rel=1e-12)


def test_a_known_x_leaves_the_weighted_line() -> None:
    x, y, u_y = [1.0, 2.0, 4.0, 7.0, 8.0], [2.1, 3.9, 8.2, 13.7, 16.4], [0.1, 0.3, 0.2, 0.5, 0.1]
    both, plain = errors_in_both(x, y, [0.0] * 5, u_y), fit_line(x, y, u_y)
    for name in ("a", "b", "u_a", "u_b", "covariance", "chi2", "residual_sd"):
        assert getattr(both, name) == pytest.approx(getattr(plain, name), rel=1e-9), name


@given(
    st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=4, max_size=20),
    st.floats(0.1, 10),
)
def test_deming_turns_over_with_the_instruments(points: list[tuple[int, int]], ratio: float) -> None:
    """x on y is the same line read the other way, with the inverse ratio."""
    x, y = np.array(points, float).T
    assume(abs(float(np.cov(x, y)[0, 1])) > 1e-6)
    one, other = deming(x, y, ratio), deming(y, x, 1 / ratio)
    assert one.b * other.b == pytest.approx(1, rel=1e-9)


def test_an_offset_costs_no_digits() -> None:
    x, y, u_x, u_y = york()
    line, far = errors_in_both(x, y, u_x, u_y), errors_in_both(x + 1e6, y + 1e6, u_x, u_y)
    assert far.b == pytest.approx(line.b, rel=1e-8)
    assert far.chi2 == pytest.approx(line.chi2, rel=1e-8)


def test_the_uncertainties_are_those_of_repeated_trials() -> None:
    """Scatter of slope and intercept over 3000 made-up comparisons against York's formula: within 5 %."""
    random = np.random.default_rng(21)
    level = np.linspace(1, 9, 25)
    u_x, u_y = np.full(25, 0.1), 0.05 + 0.01 * level
    trials = []
    for _ in range(3000):
        x, y = level + u_x * random.normal(size=25), 0.3 + 1.05 * level + u_y * random.normal(size=25)
        trials.append(errors_in_both(x, y, u_x, u_y))
    assert np.std([t.b for t in trials]) == pytest.approx(np.mean([t.u_b for t in trials]), rel=0.05)
    assert np.std([t.a for t in trials]) == pytest.approx(np.mean([t.u_a for t in trials]), rel=0.05)
    assert np.mean([t.residual_sd**2 for t in trials]) == pytest.approx(1, rel=0.05)
    inside = [low <= 1.05 <= high for low, high in (interval(t.b, t.u_b, t.dof) for t in trials)]
    assert np.mean(inside) == pytest.approx(0.95, abs=0.02)


def test_what_gives_no_line_is_refused_in_a_sentence() -> None:
    four = [1.0, 2.0, 3.0, 4.0]
    one = [1.0] * 4
    with pytest.raises(ChooseAnother, match="2 points are too few for a line with errors in both; at"):
        deming([1, 2], [1, 2])
    with pytest.raises(ChooseAnother, match="All x are equal"):
        errors_in_both(one, four, one, one)
    with pytest.raises(ChooseAnother, match="would be vertical or has no direction"):
        deming([-1, 1, -1, 1], [1, 1, -1, -1])
    with pytest.raises(ValueError, match="of one length"):
        errors_in_both(four, four[:3], one, one)
    with pytest.raises(ValueError, match="are finite"):
        errors_in_both(four, [1, 2, 3, math.nan], one, one)
    for u_x, u_y in (([-0.1, 1, 1, 1], one), (one, [0.0, 1, 1, 1])):
        with pytest.raises(ValueError, match="uncertainties of x are 0 or more, those of y above 0"):
            errors_in_both(four, four, u_x, u_y)
    for ratio in (0.0, -1.0, math.inf, math.nan):
        with pytest.raises(ValueError, match="a ratio of variances is above 0"):
            deming(four, four, ratio)


def test_a_slope_that_does_not_settle_is_refused(monkeypatch: Any) -> None:
    monkeypatch.setattr("wqverify.calculations.errors_in_both._MOST_ROUNDS", 2)
    with pytest.raises(ChooseAnother, match="The slope did not settle in 2 rounds; the uncertainties"):
        errors_in_both(*york())
