"""Oxygen at saturation.

Outside values: A16 and A17 of the project's external facts (Benson and Krause by Standard Methods 4500-O and
USGS memorandum 2011.03, computed independently); the saturation table of EN 25814 as printed, from a public
manual, rounded to three figures; vapour pressures of water as printed in steam tables after IAPWS (from
memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from gtc import same_as_central_difference, same_as_gtc
from hypothesis import given
from hypothesis import strategies as st
from printed import agree

from wqverify.calculations import oxygen
from wqverify.errors import CorrectTheEntry
from wqverify.terms import Input

# EN 25814, 0 to 30 C, 101.325 kPa, mg/L
EN_25814 = (
    "14.6 14.2 13.8 13.5 13.1 12.8 12.5 12.2 11.8 11.6 11.3 11.0 10.8 10.5 10.3 10.1 9.87 9.66 9.47 9.28 "
    "9.09 8.91 8.74 8.58 8.42 8.26 8.11 7.97 7.83 7.69 7.56"
)


def test_a16_by_temperature() -> None:
    for t in (0, 10, 20, 25, 30):
        agree("A16", f"at {t} C", oxygen.saturation(float(t)))


def test_a16_by_salinity() -> None:
    agree("A16", "salinity 35 at 20 C", oxygen.saturation(20.0, salinity=35.0))


def test_a17_by_pressure() -> None:
    agree("A17", "at 0.95 atm", oxygen.saturation(20.0, 0.95 * 101.325))


@pytest.mark.parametrize(("t", "printed"), list(enumerate(EN_25814.split())))
def test_the_table_of_a_standard_as_printed(t: int, printed: str) -> None:
    """Within 0.7 of the last digit: three of its rows (6, 7 and 21 C) are rounded once more than ours."""
    digit = 0.1 if printed[-2] == "." else 0.01
    assert oxygen.saturation(float(t)) == pytest.approx(float(printed), abs=0.7 * digit)


@pytest.mark.parametrize(("t", "kpa"), [(10.0, 1.228), (20.0, 2.339), (30.0, 4.247), (40.0, 7.385)])
def test_vapour_pressure_against_steam_tables(t: float, kpa: float) -> None:
    assert oxygen.vapour_pressure_atm(t) * 101.325 == pytest.approx(kpa, rel=2e-3)


def test_one_atmosphere_is_the_reference_and_a_wrong_theta_would_show() -> None:
    """Some open code carries theta ten times too large: 8.627 would be 8.624 then."""
    assert oxygen.pressure_factor(12.0, 101.325) == 1
    assert oxygen.pressure_factor(20.0, 0.95 * 101.325) == pytest.approx(8.627 / 9.092, abs=1e-4)


@given(t=st.floats(0, 39), kpa=st.floats(50, 109), s=st.floats(0, 39))
def test_warmer_higher_up_and_saltier_water_holds_less(t: float, kpa: float, s: float) -> None:
    here = oxygen.saturation(t, kpa, s)
    assert oxygen.saturation(t + 1, kpa, s) < here
    assert oxygen.saturation(t, kpa + 1, s) > here
    assert oxygen.saturation(t, kpa, s + 1) < here


def test_by_gtc_and_central_difference() -> None:
    import math

    import GTC

    inputs = {"t": Input(18.4, 0.15), "P": Input(99.2, 0.1), "S": Input(0.3, 0.05)}

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        return {"C": oxygen.saturation(x["t"], x["P"], x["S"])}

    def other(x: Mapping[str, Any]) -> dict[str, Any]:
        exp = GTC.exp if not isinstance(x["t"], float) else math.exp
        T, P = x["t"] + 273.15, x["P"] / 101.325
        fresh = -139.34411 + 1.575701e5 / T - 6.642308e7 / T**2 + 1.2438e10 / T**3 - 8.621949e11 / T**4
        C = exp(fresh - x["S"] * (1.7674e-2 - 10.754 / T + 2140.7 / T**2))
        u = exp(11.8571 - 3840.70 / T - 216961 / T**2)
        theta = 0.000975 - 1.426e-5 * x["t"] + 6.436e-8 * x["t"] ** 2
        return {"C": C * P * (1 - u / P) * (1 - theta * P) / ((1 - u) * (1 - theta))}

    same_as_central_difference(model, inputs, same_as_gtc(model, inputs, other))


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            lambda: oxygen.saturation(40.1),
            "The temperature is 40.1 °C; the equation holds for 0 to 40 °C, and nothing is extrapolated.",
        ),
        (
            lambda: oxygen.saturation(20.0, 49.9),
            "The pressure of the air is 49.9 kPa; the equation holds for 50 to 110 kPa, and nothing is "
            "extrapolated.",
        ),
        (
            lambda: oxygen.saturation(20.0, salinity=40.1),
            "The salinity is 40.1; the equation holds for 0 to 40, and nothing is extrapolated.",
        ),
        (
            lambda: oxygen.vapour_pressure_atm(-0.1),
            "The temperature is -0.1 °C; the equation holds for 0 to 40 °C, and nothing is extrapolated.",
        ),
    ],
)
def test_nothing_is_extrapolated(call: Any, sentence: str) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        call()
    assert caught.value.message == sentence


@pytest.mark.parametrize("t", [0.0, 40.0])
def test_both_ends_of_the_range_are_in_it(t: float) -> None:
    assert oxygen.saturation(t, 50.0, 40.0) > 0
    assert oxygen.saturation(t, 110.0, 0.0) > 0
