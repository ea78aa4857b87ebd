"""Flow: draw-down, units, square root.

Outside values: V24 (GTC 1.5.1 and central differences) and A22 of the project's measurement models and
external facts; units after NIST SP 811 (2008), appendix B.8 (from memory); the rest by hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from math import sqrt
from typing import Any

import pytest
from gtc import same_as_central_difference, same_as_gtc
from hypothesis import given
from hypothesis import strategies as st
from printed import agree, agrees

from wqverify.calculations import flow
from wqverify.calculations.units import convert
from wqverify.errors import CorrectTheEntry
from wqverify.terms import Input

RECT = sqrt(3)


def draw_down(x: Mapping[str, Any]) -> dict[str, Any]:
    """The model of V24: the meter's own start and stop are one interval of its own."""
    area = flow.tank_area(x["d"]) * (1 + x["shape"] / 100)
    fell = (x["h1"] - x["h2"]) * (1 + x["gain"] / 100)
    q = flow.drawn_down(area, fell, 0.0, 1800.0 + x["start"] + x["stop"]) + x["leak"]
    shown = flow.over_time(1000.0 * (x["V2"] - x["V1"]), 1800.0 + x["own"])
    return {"Q": q, "e": flow.error_percent(shown, q)}


def inputs_of_v24() -> dict[str, Input]:
    return {
        "d": Input(12.0, 0.010),
        "shape": Input(0.0, 0.2 / RECT),
        "h1": Input(4.10, 0.003),
        "h2": Input(3.30, 0.003),
        "gain": Input(0.0, 0.1),
        "start": Input(0.0, 2 / RECT),
        "stop": Input(0.0, 2 / RECT),
        "own": Input(0.0, 2 / RECT),
        "leak": Input(0.0, 0.3 / RECT),
        "V1": Input(0.0, 0.1 / sqrt(12)),
        "V2": Input(91.9, 0.1 / sqrt(12)),
    }


def test_v24_flow_by_draw_down_and_the_error_of_a_meter() -> None:
    found = same_as_gtc(draw_down, inputs_of_v24())
    agree("V24", "flow", found["Q"].value)
    agree("V24", "u of the flow", found["Q"].u or 0)
    agree("V24", "error", found["e"].value)
    agree("V24", "u of the error", found["e"].u or 0)
    assert found["e"].expanded == "1.4"


def test_v24_by_central_difference() -> None:
    inputs = inputs_of_v24()
    same_as_central_difference(draw_down, inputs, same_as_gtc(draw_down, inputs))


def test_v24_by_simulation() -> None:
    """Sobol 2^14: the budget is linear enough, u within 0.5 %."""
    import numpy as np
    from scipy.stats import norm, qmc

    inputs = inputs_of_v24()
    points = qmc.Sobol(len(inputs), rng=11).random_base2(14)
    points = np.clip(points, 1e-9, 1 - 1e-9)
    rectangular = {"shape", "start", "stop", "own", "leak"}
    draws = {
        name: i.value + i.u * ((2 * u - 1) * RECT if name in rectangular else norm.ppf(u))
        for (name, i), u in zip(inputs.items(), points.T, strict=True)
    }
    d, h1, h2 = draws["d"], draws["h1"], draws["h2"]
    area = np.pi * d**2 / 4 * (1 + draws["shape"] / 100)
    q = 1000 * area * (h1 - h2) * (1 + draws["gain"] / 100) / (1800 + draws["start"] + draws["stop"])
    q = q + draws["leak"]
    shown = 1000 * (draws["V2"] - draws["V1"]) / (1800 + draws["own"])
    found = same_as_gtc(draw_down, inputs)["e"]
    assert np.std(100 * (shown / q - 1)) == pytest.approx(found.u, rel=5e-3)


def test_the_share_of_the_heights_falls_with_the_drop() -> None:
    """4.2 % at 0.1 m, 2.1 at 0.2, 1.1 at 0.4, 0.5 at 0.8: two heights of u 0.003 m."""
    for drop, printed in ((0.1, 4.2), (0.2, 2.1), (0.4, 1.1), (0.8, 0.5)):
        heights = {"h1": Input(drop, 0.003), "h2": Input(0.0, 0.003)}

        def model(x: Mapping[str, Any]) -> dict[str, Any]:
            return {"Q": flow.drawn_down(100.0, x["h1"], x["h2"], 1000.0)}

        found = same_as_gtc(model, heights)["Q"]
        assert 100 * (found.u or 0) / found.value == pytest.approx(printed, abs=0.05)


# ---------------------------------------------------------------- units


@pytest.mark.parametrize(
    ("value", "unit", "litres_per_second"),
    [
        ("1", "L/s", "1"),
        ("60", "L/min", "1"),
        ("3.6", "m3/h", "1"),
        ("86.4", "m3/d", "1"),
        # NIST SP 811 (2008), B.8: gallon per minute 6.309 020 E-05 m3/s; per day 4.381 264 E-08 m3/s
        ("1", "gpm", "0.06309020"),
        ("1", "MGD", "43.81264"),
    ],
)
def test_units_of_flow(value: str, unit: str, litres_per_second: str) -> None:
    found = flow.to_litres_per_second(Decimal(value), unit)
    assert float(found) == pytest.approx(float(litres_per_second), rel=2e-7)
    assert flow.from_litres_per_second(found, unit) == pytest.approx(Decimal(value))


@pytest.mark.parametrize(
    ("value", "unit", "to", "exact"),
    [
        # NIST SP 811, B.8: foot 0.3048 m exactly; the US gallon is 231 cubic inches of 2.54 cm
        ("1", "ft", "m", Decimal("0.3048")),
        ("1", "gal", "L", Decimal("2.54") ** 3 * 231 / 1000),
        ("1", "kgal", "L", Decimal("2540") ** 3 * 231 / 10**9),
        ("1", "Mgal", "L", Decimal("25400") ** 3 * 231 / 10**9),
        # by seconds of a minute, an hour and a day: the factor has no end, what comes of it has
        ("36", "m3/h", "L/s", Decimal(10)),
        ("864", "m3/d", "L/s", Decimal(10)),
        ("720", "MGD", "gpm", Decimal(500000)),
        ("7", "L/min", "m3/h", Decimal("0.42")),
    ],
)
def test_what_has_an_end_is_exact(value: str, unit: str, to: str, exact: Decimal) -> None:
    assert convert(Decimal(value), unit, to) == exact


def test_another_unit_is_refused() -> None:
    for move in (flow.to_litres_per_second, flow.from_litres_per_second):
        with pytest.raises(CorrectTheEntry) as caught:
            move(Decimal(1), "psi")
        assert caught.value.message == (
            "psi is no unit of flow that is known here; write one of m3/h, L/s, gpm, MGD, m3/s, L/min, m3/d."
        )


# ---------------------------------------------------------------- square root


def test_a22_square_root_of_a_current() -> None:
    agrees("A22", flow=flow.flow_of_current(12.0))
    # the same section of the external facts: 8 mA = 50 %, 4.16 mA = 10 %
    assert flow.flow_of_current(8.0) == pytest.approx(50.0)
    assert flow.flow_of_current(4.16) == pytest.approx(10.0)
    assert flow.flow_of_current(4.0) == 0
    assert flow.flow_of_current(20.0) == 100


@given(q=st.floats(0.001, 1.2))
def test_one_root_undoes_the_square_and_two_do_it_twice(q: float) -> None:
    pressure = q * q
    assert flow.root_of_share(pressure) == pytest.approx(flow.shown_after_roots(q, flow.ONE_ROOT))
    assert flow.shown_after_roots(q, flow.NO_ROOT) == pytest.approx(pressure)
    assert flow.shown_after_roots(q, flow.TWO_ROOTS) ** 4 == pytest.approx(pressure)


@pytest.mark.parametrize("ma", [3.99, 3.5])
def test_a_negative_signal_has_no_root(ma: float) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        flow.flow_of_current(ma)
    assert "a negative signal has no square root: below 4 mA there is no flow" in caught.value.message


def test_never_once_or_twice() -> None:
    with pytest.raises(ValueError, match="never, once or twice, not 3 times"):
        flow.shown_after_roots(0.5, 3)


# ---------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            lambda: flow.tank_area(Decimal("0")),
            "A tank of 0 m diameter has no area, so its level gives no flow; enter the inner diameter as "
            "surveyed.",
        ),
        (
            lambda: flow.drawn_down(0.0, 4.0, 3.0, 60.0),
            "A tank with an area of 0 m2 holds no water, so its level gives no flow; enter the area as "
            "surveyed.",
        ),
        (
            lambda: flow.drawn_down(100.0, 3.0, 3.0, 60.0),
            "The level went from 3 to 3 m and did not fall, so nothing was drawn down; look which of both "
            "is mistyped.",
        ),
        (
            lambda: flow.over_time(Decimal("90"), Decimal("0")),
            "In 0 s nothing flows, so a volume gives no flow; enter the time between start and stop by the "
            "stopwatch.",
        ),
        (
            lambda: flow.error_percent(1.0, 0.0),
            "The reference gave 0: in percent of nothing there is no error; compare while water flows.",
        ),
    ],
)
def test_what_gives_no_flow_is_refused(call: Any, sentence: str) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        call()
    assert caught.value.message == sentence


@pytest.mark.parametrize("seconds", [1.0, 0.001])
def test_any_time_above_nothing_gives_a_flow(seconds: float) -> None:
    assert flow.over_time(seconds, seconds) == 1
