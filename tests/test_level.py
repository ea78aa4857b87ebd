"""Level and density of water: outside values, a reference library, and what is refused.

Outside values, each beside its check: Tanaka and others 2001 as tabled (999.9668 kg/m3 at 5 C, 998.2067 at
20 C, table at the end of this file), IAPWS-95 by the reference library iapws; 5 m of water at 20 C and
standard gravity 48.9453 kPa (by hand: 998.2067 x 9.80665 x 5/1000); 1 kPa of a blocked vent 0.1022 m at 20 C;
10 % of density 10 % of level (a public page on hydrostatic level); ultrasonic 10 m from 20 to 30 C 0.177 m,
0.177 %/K (c = 331.45 + 0.607 t; a stored page prints 0.12 m, which is wrong).
"""

from __future__ import annotations

from collections.abc import Mapping
from math import sqrt
from typing import Any

import pytest
from gtc import same_as_central_difference, same_as_gtc
from hypothesis import given
from hypothesis import strategies as st
from iapws import IAPWS95
from scipy.stats import linregress

from wqverify.calculations import level
from wqverify.calculations.water_density import water_density
from wqverify.errors import CorrectTheEntry
from wqverify.terms import Input

# Tanaka and others, Metrologia 38 (2001) 301: t, kg/m3, to 0.0001
TANAKA = {
    0: 999.8428,
    1: 999.9017,
    4: 999.9749,
    5: 999.9668,
    10: 999.7027,
    15: 999.1026,
    16: 998.9459,
    20: 998.2067,
}


@pytest.mark.parametrize(("t", "density"), TANAKA.items())
def test_density_as_tabled(t: int, density: float) -> None:
    assert abs(water_density(float(t)) - density) <= 0.00005 * (1 + 1e-9)


@pytest.mark.parametrize("t", range(1, 41, 3))
def test_density_by_iapws_95(t: int) -> None:
    """The difference of the two formulations is at most 0.0012 kg/m3 over 0 to 40 C."""
    assert water_density(float(t)) == pytest.approx(IAPWS95(T=273.15 + t, P=0.101325).rho, abs=0.0012)


@pytest.mark.parametrize(("t", "taken"), [(-0.001, False), (0.0, True), (40.0, True), (40.001, False)])
def test_density_has_its_limits(t: float, taken: bool) -> None:
    if taken:
        assert 992 < water_density(t) < 1000
        return
    with pytest.raises(CorrectTheEntry) as caught:
        water_density(t)
    assert caught.value.message == (
        f"The density of water is known from 0 to 40 °C, not at {t} °C; look at the temperature again."
    )


def test_five_metres_of_water_and_a_blocked_vent() -> None:
    assert abs(level.pressure_of_level(5.0, 998.2067) - 48.9453) <= 0.00005
    assert abs(level.level_of_pressure(1.0, water_density(20.0)) - 0.1022) <= 0.00005


@given(metres=st.floats(0.01, 60), density=st.floats(900, 1200))
def test_level_and_pressure_are_each_others_way_back(metres: float, density: float) -> None:
    there = level.pressure_of_level(metres, density)
    assert level.level_of_pressure(there, density) == pytest.approx(metres)


def test_ten_percent_of_density_are_ten_percent_of_level() -> None:
    assert level.excess_by_density(1100.0, 1000.0) == pytest.approx(0.10)
    # 5 to 20 C are 0.18 % of the level
    assert level.excess_by_density(water_density(5.0), water_density(20.0)) == pytest.approx(0.0018, abs=5e-5)


def test_ten_degrees_of_air_are_177_mm_on_ten_metres() -> None:
    assert level.error_of_distance(10.0, 20.0, 30.0) == pytest.approx(0.177, abs=0.0005)
    assert level.error_of_distance(10.0, 20.0, 21.0) / 10 == pytest.approx(0.00177, abs=5e-6)
    assert level.error_of_distance(10.0, 15.0, 15.0) == 0
    assert level.distance_of_echo(2 * 10.0 / 343.59, 20.0) == pytest.approx(10.0)


@pytest.mark.parametrize(("t", "taken"), [(-40.01, False), (-40.0, True), (60.0, True), (60.01, False)])
def test_the_speed_of_sound_has_its_limits(t: float, taken: bool) -> None:
    if taken:
        assert level.speed_of_sound(t) > 300
        return
    with pytest.raises(CorrectTheEntry) as caught:
        level.speed_of_sound(t)
    assert caught.value.message == (
        f"The speed of sound is taken from -40 to 60 °C, not at {t} °C; look at the temperature of the air "
        f"again."
    )


@pytest.mark.parametrize(
    ("ma", "value"), [(4.0, 0.0), (8.0, 10.0), (12.0, 20.0), (20.0, 40.0), (13.52, 23.8)]
)
def test_a_current_stands_for_a_level(ma: float, value: float) -> None:
    """IEC 60381-1: 0 to 40 ft on 4 to 20 mA, 2.5 ft per mA."""
    assert level.level_of_current(ma, 0.0, 40.0) == pytest.approx(value)


def test_a_far_end_scaled_to_35_ft_shows_it() -> None:
    """Transmitter 0 to 40 ft, display 0 to 35 ft: 8 mA shows 8.75 for 10, 20 mA shows 35 for 40."""
    slope, intercept = level.straight_line([10.0, 40.0], [8.75, 35.0])
    assert level.apparent_range(slope, intercept, 0.0, 40.0) == pytest.approx((0.0, 35.0))


@given(points=st.lists(st.tuples(st.floats(0, 50), st.floats(0, 50)), min_size=3, max_size=8))
def test_the_line_is_that_of_scipy(points: list[tuple[float, float]]) -> None:
    x, y = [one for one, _ in points], [two for _, two in points]
    if max(x) - min(x) < 0.5:
        return
    theirs = linregress(x, y)
    assert level.straight_line(x, y) == pytest.approx((theirs.slope, theirs.intercept), rel=1e-7, abs=1e-7)


def test_what_gives_no_number_is_refused() -> None:
    with pytest.raises(CorrectTheEntry, match=r"A range from 5.0 to 5.0 has no width"):
        level.level_of_current(12.0, 5.0, 5.0)
    with pytest.raises(CorrectTheEntry, match="A density or gravity of 0 or less gives no level"):
        level.level_of_pressure(10.0, 0.0)
    with pytest.raises(CorrectTheEntry, match="A density setting of 0 kg/m3 gives no level"):
        level.excess_by_density(1000.0, 0)
    with pytest.raises(ValueError, match="two points or more"):
        level.straight_line([1.0], [1.0])
    with pytest.raises(ValueError, match="all x are equal"):
        level.straight_line([1.0, 1.0], [1.0, 2.0])


# ---------------------------------------------------------------- uncertainty

BY_PRESSURE = {
    "pressure": Input(48.95, 0.02),
    "density": Input(998.207, 0.5 / sqrt(3), "rectangular"),
    "gravity": Input(9.80665, 0.005 / sqrt(3), "rectangular"),
}


def by_pressure(x: Mapping[str, Any]) -> dict[str, Any]:
    return {"level": 1000 * x["pressure"] / (x["density"] * x["gravity"])}


def test_a_level_by_hand_pump_and_gauge() -> None:
    """48.95 (0.02) kPa, rho 998.207 (0.29), g 9.80665 (0.0029): 5.000 m, u 0.0029 (this project's models)."""
    found = same_as_gtc(by_pressure, BY_PRESSURE)["level"]
    assert (round(found.value, 3), round(found.u or 0, 4)) == (5.000, 0.0029)

    def ours(x: Mapping[str, Any]) -> dict[str, Any]:
        return {"level": level.level_of_pressure(x["pressure"], x["density"], x["gravity"])}

    same_as_central_difference(ours, BY_PRESSURE, {"level": found})


def test_density_and_sound_by_central_difference() -> None:
    inputs = {"water": Input(18.0, 0.3), "air": Input(25.0, 0.5), "set": Input(20.0, 0.5)}

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        return {
            "density": water_density(x["water"]),
            "distance": level.error_of_distance(10.0, x["air"], x["set"]),
        }

    found = same_as_gtc(model, inputs, _plainly)
    same_as_central_difference(model, inputs, found)


def _plainly(x: Mapping[str, Any]) -> dict[str, Any]:
    """The same without limits, which a reference library's numbers are not compared with."""
    t = x["water"]
    density = 999.974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))
    sound = (331.45 + 0.607 * x["set"]) / (331.45 + 0.607 * x["air"])
    return {"density": density, "distance": 10.0 * (sound - 1)}
