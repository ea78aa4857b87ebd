"""Which online value belongs to a grab: window, interpolation, nearest; the difference and its budget."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from math import sqrt
from typing import Any

import numpy as np
import pytest
from gtc import same_as_central_difference, same_as_gtc
from hypothesis import given
from hypothesis import strategies as st
from printed import agree, agrees

from wqverify.calculations import pairing
from wqverify.errors import CorrectTheEntry
from wqverify.terms import Input, Tolerance

R3, R12 = sqrt(3), sqrt(12)


def rows(*pairs: tuple[int, str]) -> list[pairing.Row]:
    return [(Decimal(moment), Decimal(value)) for moment, value in pairs]


QUARTERS = rows((0, "1.10"), (900, "1.22"))


def test_w35_the_twin_lies_between_two_records() -> None:
    """10:00 1.10 and 10:15 1.22; a grab at the tap at 10:07 with 4 min of lag belongs to 10:11."""
    at = Decimal(11 * 60)
    found = pairing.interpolated(*pairing.bracketing(QUARTERS, at), at)
    agrees("W35", paired=float(found))
    assert found == Decimal("1.188")
    assert pairing.nearest(QUARTERS, at)[1] == Decimal("1.22")  # which would be wrong by 0.03


@pytest.mark.parametrize(
    ("at", "pair"),
    [(0, ("1.10", "1.10")), (1, ("1.10", "1.22")), (899, ("1.10", "1.22")), (900, ("1.22", "1.22"))],
)
def test_the_records_around_a_moment(at: int, pair: tuple[str, str]) -> None:
    before, after = pairing.bracketing(QUARTERS, Decimal(at))
    assert (str(before[1]), str(after[1])) == pair


@pytest.mark.parametrize(("at", "side"), [(-1, "before"), (901, "after")])
def test_nothing_is_extrapolated(at: int, side: str) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        pairing.bracketing(QUARTERS, Decimal(at))
    assert caught.value.message == (f"There is no online value {side} the moment; nothing is extrapolated.")


@pytest.mark.parametrize(("at", "value"), [(449, "1.10"), (450, "1.10"), (451, "1.22")])
def test_the_nearest_is_the_earlier_of_two_equally_near(at: int, value: str) -> None:
    assert pairing.nearest(QUARTERS, Decimal(at))[1] == Decimal(value)


def test_a_window_takes_both_its_ends() -> None:
    several = rows((59, "9"), (60, "1"), (90, "2"), (120, "3"), (121, "9"))
    assert pairing.window_mean(several, Decimal(60), Decimal(120)) == 2


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: pairing.window_mean([], Decimal(0), Decimal(1)),
            "There is no online value within the window.",
        ),
        (lambda: pairing.nearest([], Decimal(0)), "There is no online value."),
        (lambda: pairing.change([]), "Without a value there is no change."),
    ],
)
def test_without_a_value(call: Any, message: str) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        call()
    assert caught.value.message == message


@pytest.mark.parametrize(("moved", "steady"), [("0.049", True), ("0.05", False), ("0.051", False)])
def test_steady_is_less_than_a_third_of_the_limit(moved: str, steady: bool) -> None:
    assert pairing.is_steady(Decimal(moved), Decimal("0.15")) is steady


def test_the_gap_of_two_records() -> None:
    assert pairing.gap_s(*QUARTERS) == 900


@given(st.lists(st.tuples(st.integers(0, 10_000), st.floats(-5, 5)), min_size=2, max_size=12))
def test_the_rate_is_that_of_numpy(pairs: list[tuple[int, float]]) -> None:
    points = [(float(t), x) for t, x in pairs]
    if len({t for t, _ in points}) < 2:
        assert pairing.rate_per_s(points) == 0.0
        return
    expected = np.polynomial.Polynomial.fit(*zip(*points, strict=True), 1).convert().coef
    slope = expected[1] if len(expected) > 1 else 0.0
    assert pairing.rate_per_s(points) == pytest.approx(slope, rel=1e-6, abs=1e-9)


def test_one_moment_has_no_rate() -> None:
    assert pairing.rate_per_s([(5.0, 1.0), (5.0, 2.0)]) == 0.0


def test_two_results_agree_within_the_repeatability_limit() -> None:
    """2.77 times 0.0212 mg/L: 0.059 mg/L, 1.96 sqrt(2) s_r (ISO 5725-6, from memory)."""
    assert pairing.agreement_limit(Decimal("0.0212")) == Decimal("0.058724")
    assert float(pairing.AGREE[2]) == pytest.approx(1.96 * sqrt(2), abs=0.005)


@pytest.mark.parametrize("n", [2, 3, 4, 5, 6])
def test_results_that_are_good_lie_further_apart_in_19_of_20_cases_no_more(n: int) -> None:
    """The 95 % point of the studentized range with known scatter, by scipy; the factors have two figures."""
    from scipy.stats import studentized_range

    f = float(pairing.agreement_limit(Decimal(1), n))
    assert f == pytest.approx(studentized_range.ppf(0.95, n, 1e6), abs=0.05)
    assert studentized_range.sf(float(pairing.agreement_limit(Decimal(1), 2)), n, 1e6) > (
        0.049 if n == 2 else 0.12  # what the limit of two does to more
    )


@pytest.mark.parametrize("n", [0, 1, 7])
def test_no_range_is_known_of_other_numbers(n: int) -> None:
    with pytest.raises(ValueError, match=f"no critical range is known for {n} results"):
        pairing.agreement_limit(Decimal(1), n)


@pytest.mark.parametrize(
    ("limit", "digit", "fixed"),
    [
        ("0.0589179", "0.01", "0.0589"),
        ("0.05899999", "0.01", "0.0589"),
        ("0.0590", "0.01", "0.059"),
        ("0.02770", "0.001", "0.0277"),
        ("0.009", "1", "0"),
        ("2.77", "1", "2.77"),
        ("100.001", "1", "100"),  # in plain digits, not 1E+2
    ],
)
def test_a_limit_is_fixed_down(limit: str, digit: str, fixed: str) -> None:
    found = pairing.fixed_limit(Decimal(limit), Decimal(digit))
    assert f"{found}" == fixed
    assert found <= Decimal(limit)


# ---------------------------------------------------------------- the criterion of a method, in decimals

METHOD = Tolerance(
    unit="mg/L",
    rule="as the method states",
    basis="rule",
    source="EPA method 334.0",
    low=Decimal("-0.1"),
    high=Decimal("0.1"),
    percent=Decimal(15),
    larger_of=True,
)


@pytest.mark.parametrize(
    ("grab", "online", "inside"),
    [
        ("1.00", "1.14", True),  # A13
        ("1.00", "1.16", False),
        ("0.40", "0.49", True),
        ("1.80", "2.07", True),  # W13: at the edge
        ("0.60", "0.71", False),
        ("0.80", "0.92", True),  # 15 % exactly, which binary floats call a fail
        ("0.80", "0.68", True),
        ("0.80", "0.67", False),
    ],
)
def test_a13_w13_larger_of_a_tenth_and_15_percent_of_the_grab(grab: str, online: str, inside: bool) -> None:
    low, high = METHOD.at(Decimal(grab))
    assert low is not None
    assert high is not None
    assert (low <= Decimal(online) - Decimal(grab) <= high) is inside


def test_w13_the_edge() -> None:
    agrees("W13", edge=float(METHOD.at(Decimal("1.80"))[1] or 0))


# ---------------------------------------------------------------- budgets


def compare(x: Mapping[str, Any], rate: float, grab: Any) -> Any:
    online = x["window"] + x["read"]
    return pairing.difference(online, rate, x["lag"], grab, x["gain"], x["zero"])


def of_one(x: Mapping[str, Any], rate: float) -> Any:
    return compare(x, rate, x["grab"] + x["repeatability"])


def turbidity(read_g: float, **more: Input) -> dict[str, Input]:
    return {
        "window": Input(0.085, 0.00095, dof=9),
        "read": Input(0.0, 0.0003, "rectangular"),
        "lag": Input(0.0, 60.0),
        "gain": Input(0.0, 0.01),
        "zero": Input(0.0, 0.02 / R3, "rectangular"),
        "repeatability": Input(0.0, 0.010, dof=19),
        "grab": Input(0.11, read_g / R12, "rectangular"),
        **more,
    }


def test_v15_turbidity_grab() -> None:
    rate = 0.0005 / 60
    model = {"d": lambda x: of_one(x, rate)}
    inputs = turbidity(0.01)
    found = same_as_gtc(lambda x: {"d": model["d"](x)}, inputs)
    agrees("V15", difference=found["d"].value, u=found["d"].u or 0, dof=found["d"].dof or 0)
    assert found["d"].expanded == "0.032"
    same_as_central_difference(lambda x: {"d": model["d"](x)}, inputs, found)
    rounded = same_as_gtc(lambda x: {"d": model["d"](x)}, turbidity(0.05))
    agrees("V15", u_rounded=rounded["d"].u or 0)


def test_v15_two_grabs_share_all_but_the_repeatability() -> None:
    """Gain, zero and the digit of one bench instrument do not average."""
    inputs = turbidity(0.01, second=Input(0.0, 0.010, dof=19))

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        return {"d": compare(x, 0.0005 / 60, x["grab"] + (x["repeatability"] + x["second"]) / 2)}

    agrees("V15", u_two_grabs=same_as_gtc(model, inputs)["d"].u or 0)


def chlorine(grab: float, lag: bool = True, repeatability: float | None = None) -> dict[str, Input]:
    one = sqrt(0.015**2 + (0.015 * grab) ** 2) if repeatability is None else repeatability
    return {
        "window": Input(grab, 0.005, dof=4),
        "read": Input(0.0, 0.01 / R12, "rectangular"),
        "lag": Input(0.0, 60.0 if lag else 0.0),
        "gain": Input(0.0, 0.015),
        "zero": Input(0.0, 0.02 / R3, "rectangular"),
        "repeatability": Input(0.0, one, dof=19),
        "grab": Input(grab, 0.01 / R12, "rectangular"),
    }


@pytest.mark.parametrize(
    ("grab", "share"), [("0.20", 0.422), ("0.667", 0.503), ("1.00", 0.398), ("2.00", 0.319), ("4.00", 0.296)]
)
def test_v16_chlorine_grab(grab: str, share: float) -> None:
    found = same_as_gtc(lambda x: {"d": of_one(x, 0.003 / 60)}, chlorine(float(grab)))["d"]
    agree("V16", f"u at {grab}", found.u or 0)
    low_high = METHOD.half_width(Decimal(grab))
    assert found.k is not None
    assert found.u is not None
    assert 2.04 * found.u / float(low_high or 0) == pytest.approx(share, abs=0.02)


def test_v17_a_limit_in_percent_moves_with_the_grab() -> None:
    """What the model gives; the procedures judge R - G alone and say so in a caution, they do not use V17."""
    inputs = chlorine(1.00, lag=False, repeatability=0.0212) | {"window": Input(1.09, 0.005, dof=4)}

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        online, grab = x["window"] + x["read"], x["grab"] + x["repeatability"]
        true = -pairing.difference(0.0, 0.0, 0.0, grab, x["gain"], x["zero"])
        return {"upper": online - 1.15 * true, "lower": online - 0.85 * true, "d": online - true}

    found = same_as_gtc(model, {cause: i for cause, i in inputs.items() if cause != "lag"})
    agrees(
        "V17",
        upper=found["upper"].value,
        u_upper=found["upper"].u or 0,
        lower=found["lower"].value,
        u_lower=found["lower"].u or 0,
        u_difference=found["d"].u or 0,
    )


def test_v18_ph_grab_at_the_temperature_of_the_line() -> None:
    inputs = {
        "window": Input(7.42, 0.0018, dof=4),
        "read": Input(0.0, 0.01 / R12, "rectangular"),
        "lag": Input(0.0, 60.0),
        "gain": Input(0.0, 0.0),
        "zero": Input(0.0, 0.012),
        "junction": Input(0.0, 0.03 / R3, "rectangular"),
        "repeatability": Input(0.0, 0.015, dof=12),
        "loss": Input(0.0, 0.03 / R3, "rectangular"),
        "per degree": Input(-0.008, 0.004 / R3, "rectangular"),
        "apart": Input(3.0, 0.21),
        "grab": Input(7.550, 0.01 / R12, "rectangular"),
    }

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        grab = x["grab"] + x["repeatability"] + x["junction"] + x["loss"]
        return {
            "d": compare(x, 0.002 / 60, pairing.at_line_temperature(grab, x["per degree"], 0.0, x["apart"]))
        }

    found = same_as_gtc(model, inputs)
    agrees("V18", difference=found["d"].value, u=found["d"].u or 0, dof=found["d"].dof or 0)
    assert found["d"].expanded == "0.065"
    same_as_central_difference(model, inputs, found)


def test_a_cold_grab_reads_higher_than_the_line() -> None:
    """pH of water falls on warming: 7.550 at 3.0 C below the line is 7.526 there."""
    exact = [Decimal(n) for n in ("7.550", "-0.008", "15.0", "18.0")]
    assert pairing.at_line_temperature(*exact) == Decimal("7.526")
