"""The straight line against NIST's certified values, the GUM, ISO/TS 28037 and GTC."""

from __future__ import annotations

import math
from collections.abc import Sequence

import GTC
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from printed import agrees, values
from statsmodels.datasets import longley

from wqverify.calculations.line_fit import fit_line, fit_through_zero, inverse, predict

# NIST StRD linear regression, data set Norris (ozone monitors): x, y
NORRIS = [
    (0.2, 0.1), (337.4, 338.8), (118.2, 118.1), (884.6, 888.0), (10.1, 9.2), (226.5, 228.1),
    (666.3, 668.5), (996.3, 998.5), (448.6, 449.1), (777.0, 778.9), (558.2, 559.2), (0.4, 0.3),
    (0.6, 0.1), (775.5, 778.1), (666.9, 668.8), (338.0, 339.3), (447.5, 448.9), (11.6, 10.8),
    (556.0, 557.7), (228.1, 228.3), (995.8, 998.0), (887.6, 888.8), (120.2, 119.6), (0.3, 0.3),
    (0.3, 0.6), (556.8, 557.6), (339.1, 339.3), (887.2, 888.0), (999.0, 998.5), (779.0, 778.9),
    (11.1, 10.2), (118.3, 117.6), (229.2, 228.9), (669.1, 668.4), (448.9, 449.2), (0.5, 0.2),
]  # fmt: skip
# JCGM 100:2008, table H.6: reading of a thermometer in C, its correction in C
THERMOMETER = [
    (21.521, -0.171), (22.012, -0.169), (22.512, -0.166), (23.003, -0.159), (23.507, -0.164),
    (23.999, -0.165), (24.513, -0.156), (25.002, -0.157), (25.503, -0.159), (26.010, -0.161),
    (26.511, -0.160),
]  # fmt: skip


def test_a33_norris_to_nine_digits() -> None:
    x, y = zip(*NORRIS, strict=True)
    line = fit_line(x, y)
    agrees("A33", a=line.a, u_a=line.u_a, b=line.b, u_b=line.u_b, residual_sd=line.residual_sd)
    assert (line.n, line.dof) == (36, 34)


def test_a26_gum_h3_thermometer() -> None:
    x = [t - 20 for t, _b in THERMOMETER]
    y = [b for _t, b in THERMOMETER]
    line = fit_line(x, y)
    agrees("A26", y1=line.a, u_y1=line.u_a, y2=line.b, u_y2=line.u_b, r=line.correlation, s=line.residual_sd)
    b30, u = predict(line, 10.0)
    agrees("A26", b30=b30, u_b30=u)
    assert line.dof == 9
    a, b = GTC.type_a.line_fit(x, y).a_b
    theirs = a + b * 10
    assert (line.a, line.u_a, line.b, line.u_b) == pytest.approx((a.x, a.u, b.x, b.u), rel=1e-9)
    assert (b30, u, line.dof) == pytest.approx((theirs.x, theirs.u, theirs.df), rel=1e-9)


def test_a28_weighted_line_and_inverse() -> None:
    x, y = [1, 2, 3, 4, 5, 6], [3.3, 5.6, 7.1, 9.3, 10.7, 12.1]
    line = fit_line(x, y, [0.5] * 6)
    agrees("A28", a=line.a, u_a=line.u_a, b=line.b, u_b=line.u_b, covariance=line.covariance, chi2=line.chi2)
    found, u = inverse(line, 10.5, 0.5)
    agrees("A28", inverse=found, u_inverse=u)


def test_unequal_weights_are_what_gtc_finds() -> None:
    x, y, u_y = [1.0, 2.0, 4.0, 7.0, 8.0], [2.1, 3.9, 8.2, 13.7, 16.4], [0.1, 0.3, 0.2, 0.5, 0.1]
    line = fit_line(x, y, u_y)
    fit = GTC.type_b.line_fit_wls(x, [GTC.ureal(v, u) for v, u in zip(y, u_y, strict=True)])
    a, b = fit.a_b
    assert (line.a, line.u_a, line.b, line.u_b) == pytest.approx((a.x, a.u, b.x, b.u), rel=1e-9)
    assert line.chi2 == pytest.approx(fit.ssr, rel=1e-9)
    assert line.correlation == pytest.approx(GTC.get_correlation(a, b), rel=1e-9)


def test_the_inverse_of_an_unweighted_line_is_that_of_calibration() -> None:
    """DIN 32645 and ISO 8466-1: s_x = (s/b) sqrt(1/m + 1/n + (y0 - mean y)^2/(b^2 Sxx)), m readings of y0."""
    x, y = zip(*NORRIS, strict=True)
    line = fit_line(x, y)
    m, y0 = 3, 500.0
    found, u = inverse(line, y0, line.residual_sd / math.sqrt(m))
    mean_x, mean_y = sum(x) / 36, sum(y) / 36
    sxx = sum((v - mean_x) ** 2 for v in x)
    by_formula = (
        line.residual_sd / line.b * math.sqrt(1 / m + 1 / 36 + (y0 - mean_y) ** 2 / (line.b**2 * sxx))
    )
    assert found == pytest.approx((y0 - line.a) / line.b)
    assert u == pytest.approx(by_formula, rel=1e-9)


@given(
    a=st.floats(-100, 100),
    b=st.floats(0.1, 10) | st.floats(-10, -0.1),
    x=st.lists(st.integers(-1000, 1000), min_size=3, max_size=12, unique=True),
)
def test_points_on_a_line_give_the_line(a: float, b: float, x: list[int]) -> None:
    line = fit_line([float(v) for v in x], [a + b * v for v in x])
    assert (line.a, line.b) == (pytest.approx(a, abs=1e-6), pytest.approx(b, rel=1e-9))
    assert line.residual_sd < 1e-8
    y, _u = predict(line, 7.0)
    back, _u = inverse(line, y, 0.0)
    assert back == pytest.approx(7.0, abs=1e-6)


def test_what_is_no_line_is_refused() -> None:
    three = "needs at least three points"
    for x, y, u_y, said in (
        ([1, 2], [1.0, 2.0], None, three),
        ([1, 2, 3], [1.0, 2.0], None, three),
        ([1, 2, 3], [1.0, 2.0, 3.0], [0.1, 0.1], three),
        ([1, 2, 3], [1.0, 2.0, 3.0], [0.1, 0.0, 0.1], "the uncertainties of y must be above 0"),
        ([2, 2, 2], [1.0, 2.0, 3.0], None, "all x are equal"),
    ):
        with pytest.raises(ValueError, match=said):
            fit_line(x, y, u_y)
    with pytest.raises(ZeroDivisionError):
        inverse(fit_line([1, 2, 3], [5.0, 5.0, 5.0]), 5.0, 0.1)


# NIST StRD: NoInt1 (y 130 to 140, x 60 to 70) and NoInt2 (y 3 4 4, x 4 5 6)
@pytest.mark.parametrize(
    ("name", "x", "y"), [("NoInt1", range(60, 71), range(130, 141)), ("NoInt2", (4, 5, 6), (3, 4, 4))]
)
def test_lines_through_zero_are_those_nist_certifies(name: str, x: Sequence[int], y: Sequence[int]) -> None:
    line = fit_through_zero(x, y)
    agrees(name, b=line.b, u_b=line.u_b, residual_sd=line.residual_sd)
    assert (line.a, line.u_a, line.correlation, line.dof) == (0.0, 0.0, 0.0, len(x) - 1)
    assert inverse(line, predict(line, 65.0)[0], 0.0)[0] == pytest.approx(65.0)


def test_longley_through_statsmodels() -> None:
    """Certified values twice: of statsmodels, and of our line on what the other regressors leave.

    By the theorem of Frisch, Waugh and Lovell the slope of residuals on residuals is that of the whole fit.
    """
    data = longley.load_pandas().data
    others = sm.add_constant(data[["GNPDEFL", "GNP", "UNEMP", "ARMED", "POP"]])
    whole = sm.OLS(data["TOTEMP"], others.assign(YEAR=data["YEAR"])).fit()
    agrees("Longley", const=whole.params["const"], YEAR=whole.params["YEAR"])
    assert math.sqrt(whole.scale) == pytest.approx(values()["Longley", "residual sd"].value, abs=5e-6)
    left_of_year = sm.OLS(data["YEAR"], others).fit().resid
    left_of_total = sm.OLS(data["TOTEMP"], others).fit().resid
    line = fit_through_zero(left_of_year.tolist(), left_of_total.tolist())
    assert line.b == pytest.approx(values()["Longley", "YEAR"].value, rel=1e-6)
    assert line.residual_sd * math.sqrt(line.dof / whole.df_resid) == pytest.approx(
        values()["Longley", "residual sd"].value, rel=1e-6
    )


@pytest.mark.parametrize("name", ["GNPDEFL", "GNP", "UNEMP", "ARMED", "POP", "YEAR"])
def test_a_line_on_each_column_of_longley_is_that_of_statsmodels(name: str) -> None:
    data = longley.load_pandas().data
    theirs = sm.OLS(data["TOTEMP"], sm.add_constant(data[name])).fit()
    line = fit_line(data[name].tolist(), data["TOTEMP"].tolist())
    assert (line.a, line.b) == pytest.approx((theirs.params["const"], theirs.params[name]), rel=1e-8)
    assert (line.u_a, line.u_b) == pytest.approx((theirs.bse["const"], theirs.bse[name]), rel=1e-8)
    assert line.covariance == pytest.approx(theirs.cov_params().loc["const", name], rel=1e-8)


def test_what_is_no_line_through_zero_is_refused() -> None:
    for x, y, said in (
        ([1], [1.0], "needs at least two points"),
        ([1, 2], [1.0], "needs at least two points"),
        ([0, 0], [1.0, 2.0], "all x are 0"),
    ):
        with pytest.raises(ValueError, match=said):
            fit_through_zero(x, y)
