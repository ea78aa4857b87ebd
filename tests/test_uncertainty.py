"""Uncertainty against the worked examples of the GUM and of QUAM, against GTC, and at its edges."""

from __future__ import annotations

import math
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import GTC
import numpy as np
import ph_model
import pytest
from gtc import same_as_central_difference, same_as_gtc
from hypothesis import given
from hypothesis import strategies as st
from printed import agree, agrees, values

from wqverify.calculations.dual import Dual, sqrt
from wqverify.calculations.uncertainty import (
    correlation,
    covariance,
    coverage_factor,
    effective_count,
    effective_dof,
    propagate,
    propagate_many,
    reading_u,
    round_to,
    round_up,
    type_a,
    type_b,
)
from wqverify.terms import Input

R3 = math.sqrt(3)


def test_each_printed_value_has_its_source_and_half_its_last_digit_as_tolerance() -> None:
    """Or none at all: what a method rounds to is exact."""
    for key, printed in values().items():
        assert printed.source, key
        if not printed.tolerance.endswith(" relative"):
            last = Decimal(1).scaleb(int(Decimal(printed.text).as_tuple().exponent))
            assert Decimal(printed.tolerance) in (last / 2, 0), key


# ---------------------------------------------------------------- worked examples


END_GAUGE = {  # JCGM 100:2008, H.1; lengths in nm, temperatures in C
    "standard": Input(50000623.0, 25.0, dof=18),
    "difference observed": Input(215.0, 5.8, dof=24),
    "comparator random": Input(0.0, 3.9, dof=5),
    "comparator systematic": Input(0.0, 6.7, dof=8),
    "expansion": Input(11.5e-6, 2e-6 / R3),
    "difference of expansion": Input(0.0, 1e-6 / R3, dof=50),
    "mean temperature": Input(-0.1, 0.2),
    "cycle of temperature": Input(0.0, 0.5 / math.sqrt(2)),
    "difference of temperature": Input(0.0, 0.05 / R3, dof=2),
}


def end_gauge(x: Mapping[str, Any]) -> dict[str, Any]:
    length = x["standard"]
    d = x["difference observed"] + x["comparator random"] + x["comparator systematic"]
    theta = x["mean temperature"] + x["cycle of temperature"]
    expansion = x["difference of expansion"] * theta + x["expansion"] * x["difference of temperature"]
    return {"length": length + d - length * expansion}


def test_gum_h1_end_gauge() -> None:
    found = same_as_gtc(end_gauge, END_GAUGE)["length"]
    agrees("A25", length=found.value * 1e-6, u=found.u or 0, u_unrounded=found.u or 0)
    assert found.dof == 16.0  # 16.75, truncated
    agrees("A25", dof=found.dof)
    t99 = coverage_factor(found.dof, 0.99)
    agrees("A25", t99=t99, U99_unrounded=t99 * (found.u or 0), U99=t99 * 32)
    parts = {line.cause: line.contribution for line in found.budget}
    comparison = math.hypot(*(parts[c] for c in parts if c[:4] in ("diff", "comp") and "of" not in c))
    agrees(
        "A25",
        u_of_the_standard=parts["standard"],
        u_of_the_comparison=comparison,
        u_of_the_expansion=parts["difference of expansion"],
        u_of_the_temperature=parts["difference of temperature"],
    )
    # no sensitivity at first order: no line in the budget
    assert not {"expansion", "mean temperature", "cycle of temperature"} & parts.keys()
    same_as_central_difference(end_gauge, END_GAUGE, {"length": found})


VOLT = (5.007, 4.994, 5.005, 4.990, 4.999)  # JCGM 100:2008, table H.2; mA, rad
MILLIAMPERE = (19.663, 19.639, 19.640, 19.685, 19.678)
RADIAN = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)


def _cosine(phi: Any) -> Any:
    return phi.chain(math.cos(phi.v), -math.sin(phi.v)) if type(phi) is Dual else GTC.cos(phi)


def _sine(phi: Any) -> Any:
    return phi.chain(math.sin(phi.v), math.cos(phi.v)) if type(phi) is Dual else GTC.sin(phi)


def impedance(x: Mapping[str, Any]) -> dict[str, Any]:
    """Each set of three simultaneous observations is one cause that moves all three means."""

    def mean(readings: tuple[float, ...]) -> Any:
        m, n = math.fsum(readings) / len(readings), len(readings)
        parts = [x[f"set {k}"] * ((r - m) / math.sqrt(n * (n - 1))) for k, r in enumerate(readings, 1)]
        return sum(parts[1:], start=parts[0]) + m

    V, current, phi = mean(VOLT), mean(MILLIAMPERE), mean(RADIAN)
    Z = V / current * 1000
    return {"V": V, "I": current, "phi": phi, "R": Z * _cosine(phi), "X": Z * _sine(phi), "Z": Z}


def test_gum_h2_correlated_inputs_as_shared_causes() -> None:
    found = same_as_gtc(impedance, {f"set {k}": Input(0.0, 1.0) for k in range(1, 6)})
    for name, quantity in found.items():
        agree("H2", f"u {name}", quantity.u or 0)
        if name in "RXZ":
            agree("H2", name, quantity.value)
    for a, b in (("V", "I"), ("V", "phi"), ("I", "phi"), ("R", "X"), ("R", "Z"), ("X", "Z")):
        agree("H2", f"r {a} {b}", correlation(found[a], found[b]))


CADMIUM = {  # QUAM 2012, A1; mg, mL
    "purity": Input(0.9999, 0.0001 / R3),
    "mass": Input(100.28, 0.05),
    "flask": Input(100.0, 0.1 / math.sqrt(6)),
    "filling": Input(0.0, 0.02),
    "temperature": Input(0.0, 0.084 / R3),
}


def cadmium(x: Mapping[str, Any]) -> dict[str, Any]:
    volume = x["flask"] + x["filling"] + x["temperature"]
    return {"concentration": 1000 * x["mass"] * x["purity"] / volume}


def test_quam_a1_cadmium_standard() -> None:
    found = same_as_gtc(cadmium, CADMIUM)["concentration"]
    agrees("A27", concentration=found.value, concentration_unrounded=found.value, u_unrounded=found.u or 0)
    same_as_central_difference(cadmium, CADMIUM, {"concentration": found})


def test_the_ph_model_is_what_gtc_finds_and_so_are_its_sensitivities() -> None:
    inputs = {**ph_model.INPUTS, "junction": Input(0.0, 0.03 / R3), "read 10": Input(10.02, 0.004, dof=4)}

    def on_a_straight_line(nodes: Any, t: Any) -> Any:
        (x0, y0), (x1, y1) = nodes[1], nodes[2]
        return y0 + (t - x0) * ((y1 - y0) / (x1 - x0))

    found = same_as_gtc(ph_model.model, inputs, lambda x: ph_model.model(x, on_a_straight_line))
    assert found["e10"].dof is not None
    same_as_central_difference(ph_model.model, inputs, found)


# ---------------------------------------------------------------- sizes of inputs


def test_v01_a_reading_is_never_better_than_its_digit_nor_than_its_scatter() -> None:
    u, dof = reading_u(0.01, [7.07, 7.07, 7.07])
    agrees("V01", u_identical=u)
    assert dof is None
    u, dof = reading_u(0.01, [0.52, 0.54, 0.50])
    agrees("V01", u_of_the_day=u, U_of_the_day=coverage_factor(dof) * u)
    assert dof == 2
    u, dof = reading_u(0.01, [0.52, 0.54, 0.50], pooled_s=0.015, pooled_dof=20)
    agrees("V01", u_pooled=u, U_pooled=coverage_factor(dof) * u)
    assert dof == 20


def test_one_reading_has_the_uncertainty_of_its_digit() -> None:
    assert reading_u(0.1, [7.1]) == (0.1 / math.sqrt(12), None)
    assert reading_u(0.1, [7.1], pooled_s=0.01, pooled_dof=9) == (0.1 / math.sqrt(12), None)
    assert reading_u(0.1, [7.1], pooled_s=0.2, pooled_dof=9) == (0.2, 9)


def test_readings_that_are_missing_are_refused() -> None:
    with pytest.raises(ValueError, match="a reading is needed"):
        reading_u(0.01, [], pooled_s=0.01)
    with pytest.raises(ValueError, match="at least two readings"):
        type_a([7.0])


def test_type_a_is_what_gtc_finds() -> None:
    readings = [7.05, 7.07, 7.04, 7.06, 7.09]
    mean, u, dof = type_a(readings)
    theirs = GTC.type_a.estimate(readings)
    assert (mean, u, dof) == pytest.approx((theirs.x, theirs.u, theirs.df), rel=1e-12)


@pytest.mark.parametrize(
    ("distribution", "theirs"),
    [
        ("rectangular", GTC.type_b.uniform),
        ("triangular", GTC.type_b.triangular),
        ("arcsine", GTC.type_b.arcsine),
    ],
)
def test_type_b_is_what_gtc_finds(distribution: str, theirs: Any) -> None:
    assert type_b(0.3, distribution) == pytest.approx(theirs(0.3), rel=1e-12)


def test_a_half_width_without_its_distribution_is_refused() -> None:
    for half_width, distribution in ((0.1, "normal"), (0.1, ""), (-0.1, "rectangular")):
        with pytest.raises(ValueError, match="no uncertainty of"):
            type_b(half_width, distribution)


def test_v03_damped_readings_count_for_fewer() -> None:
    agrees("V03", effective_count=effective_count(10, 30, 60))
    assert effective_count(10, 30, 0) == 10
    assert effective_count(10, 1e6, 1) == 10
    for interval, damping in ((0, 60), (-30, 60), (30, -1), (math.nan, 60)):
        with pytest.raises(ValueError, match="give no number of readings"):
            effective_count(10, interval, damping)


# ---------------------------------------------------------------- degrees of freedom and coverage


@pytest.mark.parametrize("dof", [2, 4, 5, 9, 19])
def test_coverage_factors_are_those_of_the_guide(dof: float) -> None:
    agree("G2", f"k at {dof}", coverage_factor(dof))


def test_coverage_at_infinity_is_two_and_other_probabilities_are_had() -> None:
    agree("G2", "k at infinity", coverage_factor(None))
    assert coverage_factor(None) == 2.0
    assert coverage_factor(None, 0.95) == pytest.approx(1.959964, abs=5e-7)  # any table of the normal
    for dof, t in ((4, 2.776), (9, 2.262), (17, 2.110), (29, 2.045)):  # t(0.975), any table
        assert coverage_factor(dof, 0.95) == pytest.approx(t, abs=5e-4)


@pytest.mark.parametrize(("dof", "p"), [(0.0, 0.95), (0.99, 0.95), (math.nan, 0.95), (None, 0.0), (5.0, 1.0)])
def test_coverage_that_is_none_is_refused(dof: float | None, p: float) -> None:
    with pytest.raises(ValueError, match="no coverage factor"):
        coverage_factor(dof, p)


def test_effective_degrees_of_freedom_are_truncated_never_rounded() -> None:
    # two equal parts, one of nu: 4 nu; u^4/sum as whole numbers, just below and at the next
    assert effective_dof([1.0, 1.0], [4.0, None]) == 16.0
    assert effective_dof([1.0, 1.0], [4.2499, None]) == 16.0
    assert effective_dof([1.0, 1.0], [4.25, None]) == 17.0
    assert effective_dof([1.0], [0.5]) == 1.0  # never below one: there is no k there
    assert effective_dof([1.0, 2.0], [None, None]) is None
    assert effective_dof([0.0, 2.0], [3.0, None]) is None
    assert effective_dof([], []) is None


def test_effective_degrees_of_freedom_do_not_depend_on_the_unit() -> None:
    for unit in (1.0, 1e-30, 1e-90, 1e60):
        assert effective_dof([3 * unit, 4 * unit], [5.0, None]) == 38.0


def test_degrees_of_freedom_of_zero_are_refused() -> None:
    for nu in (0.0, -1.0):
        with pytest.raises(ValueError, match="degrees of freedom are above 0"):
            effective_dof([1.0, 1.0], [nu, None])


# ---------------------------------------------------------------- rounding


@pytest.mark.parametrize(
    ("expanded", "text"),
    [
        (0.018, "0.018"),
        (0.01800001, "0.019"),
        (0.0187, "0.019"),
        (0.02 + 4e-18, "0.020"),
        (0.1 + 0.2, "0.30"),
        (0.0991, "0.10"),
        (9.91, "10"),
        (99.1, "100"),
        (120.3, "130"),
        (1.0, "1.0"),
        (0.001, "0.0010"),
        (1e-7, "0.00000010"),
        (123456.0, "130000"),
        (0.0, "0"),
    ],
)
def test_an_expanded_uncertainty_is_rounded_up_to_two_figures(expanded: float, text: str) -> None:
    assert round_up(expanded) == text


@given(st.floats(min_value=1e-9, max_value=1e9))
def test_rounding_up_never_goes_down_and_never_far(expanded: float) -> None:
    text = round_up(expanded)
    assert float(text) >= expanded * (1 - 2e-9)
    assert float(text) <= expanded * 1.1
    assert "e" not in text.lower()
    assert len(text.replace(".", "").strip("0")) <= 2


@pytest.mark.parametrize("wrong", [-0.1, math.nan, math.inf])
def test_what_is_no_uncertainty_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match="is no expanded uncertainty"):
        round_up(wrong)


@pytest.mark.parametrize(
    ("exact", "expanded", "text"),
    [
        ("0.0336", "0.019", "0.034"),
        ("0.0335", "0.019", "0.034"),
        ("0.0345", "0.019", "0.034"),  # half to even
        ("0.03451", "0.019", "0.035"),
        ("-0.0592", "0.037", "-0.059"),
        ("7.1", "0.020", "7.100"),
        ("1234.5", "12", "1234"),
        ("1234.5", "120", "1230"),
        ("1235", "130", "1240"),
    ],
)
def test_a_value_is_rounded_at_the_second_figure_of_its_uncertainty(
    exact: str, expanded: str, text: str
) -> None:
    assert round_to(Decimal(exact), expanded) == text


def test_rounding_by_no_uncertainty_is_refused() -> None:
    with pytest.raises(ValueError, match="an uncertainty of 0 has no second figure"):
        round_to(Decimal("0.1"), "0.0")


# ---------------------------------------------------------------- propagate


def one(u: float = 0.1, value: float = 1.0, dof: float | None = None) -> dict[str, Input]:
    return {"x": Input(value, u, dof=dof)}


def test_the_text_has_two_digits_beyond_the_second_figure_or_is_the_exact_one() -> None:
    def same(x: Mapping[str, Any]) -> dict[str, Any]:
        return {"y": x["x"] * 1}

    def text(value: float, u: float) -> str:
        return propagate(same, one(u, value), {"y": "V"})["y"].text

    assert text(1417.596, 10.3) == "1417.60"  # U 21
    assert text(0.033649, 0.0094) == "0.03365"  # U 0.019
    assert text(1234567.0, 60.0) == "1234567.0"  # U 120
    assert text(12345678.0, 6000.0) == "12345678"  # U 12000
    assert text(-0.0000001, 0.01) == "0.00000"  # nothing, not minus nothing
    assert text(1e-9, 1e-10) == "0.0000000010000"  # never an exponent
    assert propagate(same, one(), {"y": "V"}, {"y": "1.00"})["y"].text == "1.00"
    assert propagate(same, one(), {"y": "V"}, {"z": "1.00"})["y"].text == "1.0000"


def test_a_budget_tells_each_cause_once_in_the_order_of_the_inputs() -> None:
    inputs = {
        "b": Input(2.0, 0.2, "rectangular", 7.0, "resolution", "display"),
        "a": Input(3.0, 0.1, size_from="certificate", source="lot 1"),
        "unused": Input(1.0, 5.0),
        "cancels": Input(1.0, 5.0),
        "certain": Input(1.0, 0.0),
    }

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        return {"y": x["a"] * x["a"] - x["b"] + x["cancels"] * 2 - 2 * x["cancels"] + x["certain"]}

    found = propagate(model, inputs, {"y": "V"})["y"]
    assert [line.cause for line in found.budget] == ["b", "a", "certain"]
    b, a, _ = found.budget
    assert (b.value, b.u, b.distribution, b.dof, b.size_from, b.source) == (
        2.0,
        0.2,
        "rectangular",
        7.0,
        "resolution",
        "display",
    )
    assert (b.sensitivity, b.contribution) == (-1.0, 0.2)
    assert (a.sensitivity, a.contribution) == (6.0, pytest.approx(0.6))
    assert found.u == pytest.approx(math.hypot(0.2, 0.6), rel=1e-15)
    assert found.unit == "V"
    assert found.dof == math.floor(0.4**2 / (0.2**4 / 7))
    assert found.k == coverage_factor(found.dof)
    assert found.expanded == round_up((found.k or 0) * (found.u or 0))


def test_a_model_that_loses_the_derivative_is_refused() -> None:
    lost = (
        "y came out of the model as a plain float: it depends on no input, or lost its derivative on the way"
    )
    for model in (lambda x: {"y": x["x"].v * 2}, lambda _x: {"y": 7.0}):
        with pytest.raises(TypeError) as caught:
            propagate(model, one(), {"y": "V"})
        assert str(caught.value) == lost
        with pytest.raises(TypeError, match=r"plain (float|ndarray)"):
            propagate_many(model, {"x": np.array([1.0])}, {"x": 0.1})
    with pytest.raises(TypeError):
        propagate(lambda x: {"y": float(x["x"])}, one(), {"y": "V"})


def test_an_unknown_cause_and_an_output_without_unit_are_seen() -> None:
    with pytest.raises(KeyError, match="bottel"):
        propagate(lambda x: {"y": x["bottel"]}, one(), {"y": "V"})
    with pytest.raises(KeyError, match="'y'"):
        propagate(lambda x: {"y": x["x"]}, one(), {})


@pytest.mark.parametrize("u", [-0.1, math.nan])
def test_an_input_without_a_usable_uncertainty_is_named(u: float) -> None:
    with pytest.raises(ValueError, match=r"the uncertainty of x is .*; it must be 0 or more"):
        propagate(lambda x: {"y": x["x"]}, one(u), {"y": "V"})


def test_a_value_that_is_not_finite_is_no_result() -> None:
    for value in (math.nan, math.inf):
        with pytest.raises(ValueError, match="which is no result"):
            propagate(lambda x: {"y": x["x"]}, one(value=value), {"y": "V"})


def test_an_input_that_is_certain_gives_no_uncertainty() -> None:
    found = propagate(lambda x: {"y": 2 * x["x"]}, one(0.0), {"y": "V"})["y"]
    assert (found.u, found.expanded, found.dof, found.text) == (0.0, "0", None, "2.000000")


def test_many_at_once_give_what_one_gives_each_time() -> None:
    spread = np.linspace(-1, 1, 7)
    u = {cause: i.u for cause, i in ph_model.INPUTS.items()}
    dof = {"creep 7": 4.0, "read 10": 2.0}
    arrays = {c: i.value + 0.1 * spread for c, i in ph_model.INPUTS.items()}
    arrays["bottle 7"] = ph_model.INPUTS["bottle 7"].value  # a number for all
    many = propagate_many(ph_model.model, arrays, u, dof)
    for k in range(len(spread)):
        inputs = {
            c: Input(float(np.broadcast_to(arrays[c], 7)[k]), i.u, dof=dof.get(c))
            for c, i in ph_model.INPUTS.items()
        }
        for name, each in propagate(ph_model.model, inputs, ph_model.UNITS).items():
            value, uncertainty, nu = (part[k] for part in many[name])
            assert (value, uncertainty) == (
                pytest.approx(each.value, rel=1e-12, abs=1e-14),
                pytest.approx(each.u, rel=1e-12),
            )
            assert nu == (math.inf if each.dof is None else each.dof), name


def test_many_with_no_finite_degrees_of_freedom_or_no_uncertainty() -> None:
    value, u, nu = propagate_many(lambda x: {"y": 2 * x["a"]}, {"a": np.array([1.0, 2.0])}, {"a": 0.1})["y"]
    assert (value.tolist(), u.tolist(), nu.tolist()) == ([2.0, 4.0], [0.2, 0.2], [math.inf, math.inf])
    parts = {"a": np.array([0.0, 0.1, 1e-60])}
    _, u, nu = propagate_many(lambda x: {"y": x["a"]}, {"a": np.ones(3)}, parts, {"a": 0.5})["y"]
    assert u.tolist() == [0.0, 0.1, 1e-60]
    assert nu.tolist() == [math.inf, 1.0, 1.0]


# ---------------------------------------------------------------- shared causes


def test_results_are_correlated_by_the_causes_they_share_across_propagations() -> None:
    bottle, a, b = Input(0.0, 0.3), Input(1.0, 0.4), Input(2.0, 0.4)
    first = propagate(lambda x: {"y": x["a"] + x["bottle"]}, {"a": a, "bottle": bottle}, {"y": "pH"})["y"]
    second = propagate(lambda x: {"y": x["b"] - x["bottle"]}, {"bottle": bottle, "b": b}, {"y": "pH"})["y"]
    assert covariance(first, second) == pytest.approx(-0.09)
    assert correlation(first, second) == pytest.approx(-0.36)
    assert correlation(first, first) == pytest.approx(1.0)
    apart = propagate(lambda x: {"y": x["c"]}, {"c": a}, {"y": "pH"})["y"]
    assert covariance(first, apart) == 0.0


def test_one_name_with_two_sizes_is_not_one_cause() -> None:
    first, second = (propagate(lambda x: {"y": x["x"]}, one(u), {"y": "pH"})["y"] for u in (0.1, 0.2))
    with pytest.raises(ValueError, match=r"x has the uncertainty 0\.1 in one result and 0\.2 in the other"):
        covariance(first, second)


def test_a_correlation_without_uncertainty_is_refused() -> None:
    sure, unsure = (propagate(lambda x: {"y": x["x"]}, one(u), {"y": "pH"})["y"] for u in (0.0, 0.2))
    with pytest.raises(ValueError, match="needs two uncertainties that are not zero"):
        correlation(sure, unsure)


@given(
    sizes=st.lists(st.floats(min_value=1e-3, max_value=10.0), min_size=2, max_size=6),
    dofs=st.lists(st.integers(min_value=1, max_value=60) | st.none(), min_size=6, max_size=6),
)
def test_any_small_model_is_what_gtc_finds(sizes: list[float], dofs: list[int | None]) -> None:
    inputs = {f"x{k}": Input(1.0 + k, size, dof=dofs[k]) for k, size in enumerate(sizes)}

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        first, *rest = x.values()
        total = first
        for other in rest:
            total = total + other * first / (other + 2)
        return {"y": total, "z": first * 3 - rest[0]}

    same_as_gtc(model, inputs)


def test_a_square_root_in_a_model_is_what_gtc_finds() -> None:
    inputs = {"a": Input(4.0, 0.1, dof=3), "b": Input(9.0, 0.2)}
    same_as_gtc(
        lambda x: {"y": sqrt(x["a"] * x["b"]) + x["a"] ** 2},
        inputs,
        lambda x: {"y": GTC.sqrt(x["a"] * x["b"]) + x["a"] ** 2},
    )
