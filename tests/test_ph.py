"""pH electrodes: worked values of slope, offset, compensation and errors, with their uncertainties."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import ph_model
import pytest
from gtc import same_as_central_difference, same_as_gtc
from hypothesis import given
from hypothesis import strategies as st
from printed import agree, agrees, values
from scipy.special import ndtri
from scipy.stats import qmc

from wqverify.calculations import ph
from wqverify.calculations.interpolation import interpolate
from wqverify.calculations.uncertainty import correlation, covariance, propagate
from wqverify.errors import CorrectTheEntry
from wqverify.terms import Input

R3 = math.sqrt(3)
EQUAL = "Two equal values give no slope; a second, different one is needed."

# ---------------------------------------------------------------- values


@pytest.mark.parametrize("t", [0, 25, 50])
def test_a01_nernst_slope(t: int) -> None:
    agree("A01", f"k at {t} C", ph.nernst_slope(float(t)))


def test_a02_standard_buffers_make_a_line_of_full_slope() -> None:
    """A02: the values of the reference buffers at 25 C in an ideal electrode."""
    names = ("phthalate", "phosphate 1:1", "borax", "carbonate")
    buffers = [values()["A02", f"{name} at 25 C"].value for name in names]
    k = ph.nernst_slope(25.0)
    S, E7, residuals = ph.least_squares_line([-k * (B - 7) + 3 for B in buffers], buffers)
    assert ph.efficiency_percent(S, 25.0) == pytest.approx(100, rel=1e-12)
    assert (E7, *residuals) == pytest.approx((3, 0, 0, 0, 0), abs=1e-9)


@pytest.mark.parametrize(
    ("id_", "points"),
    [("A05", (176.2, 4.005, -1.8, 7.00)), ("A06", (171.0, 4.01, -171.5, 10.01))],
)
def test_a05_a06_two_buffers(id_: str, points: tuple[float, float, float, float]) -> None:
    S, E7 = ph.two_buffer_line(*points)
    agrees(id_, slope=S, offset=E7, efficiency=ph.efficiency_percent(S, 25.0))
    exact = ph.two_buffer_line(*(Decimal(str(number)) for number in points))
    assert (float(exact[0]), float(exact[1])) == pytest.approx((S, E7), rel=1e-12)


def test_a07_three_buffers() -> None:
    S, E7, residuals = ph.least_squares_line([174.9, 3.4, -174.0], [4.01, 7.00, 10.01])
    agrees("A07", slope=S, offset=E7, efficiency=ph.efficiency_percent(S, 25.0))
    for name, residual in zip(("4.01", "7.00", "10.01"), residuals, strict=True):
        agree("A07", f"residual {name}", residual)


def test_a08_automatic_temperature_compensation() -> None:
    S, E7 = ph.two_buffer_line(177.0, 4.005, -120.5, 9.180)
    share = ph.efficiency_percent(S, 25.0) / 100
    agrees("A08", pH=ph.compensated_ph(-10.0, 12.0, share, E7))


def test_the_isopotential_point_may_lie_elsewhere() -> None:
    # at the isopotential voltage every temperature reads the same pH
    for t in (0.0, 12.0, 40.0):
        assert ph.compensated_ph(-15.0, t, 0.97, -15.0, 7.4) == 7.4


def test_v10_buffers_at_two_temperatures() -> None:
    s, E0 = ph.two_temperature_line(174.0, 4.005, 25.0, 3.0, 6.9138, 12.0)
    agrees("V10", slope=100 * s, offset=E0)


@given(
    share=st.floats(0.8, 1.05),
    offset=st.floats(-60, 60),
    t=st.tuples(st.floats(0, 50), st.floats(0, 50)),
)
def test_the_line_at_two_temperatures_finds_the_electrode_again(
    share: float, offset: float, t: tuple[float, float]
) -> None:
    B = (4.0, 9.2)
    E = [offset + share * ph.nernst_slope(at) * (7 - b) for at, b in zip(t, B, strict=True)]
    s, E0 = ph.two_temperature_line(E[0], B[0], t[0], E[1], B[1], t[1])
    assert (s, E0) == (pytest.approx(share, rel=1e-9), pytest.approx(offset, abs=1e-6))
    for at, b, e in zip(t, B, E, strict=True):
        assert ph.compensated_ph(e, at, s, E0) == pytest.approx(b, rel=1e-9)


def test_errors_between_buffers_by_display_and_by_true_value_are_two_things() -> None:
    # an electrode of half the slope: 7.00 right, 10.00 shown as 8.50; displayed 8.50 is a true 10.00
    assert ph.error_at_displayed(8.5, 7.0, 0.0, 8.5, -1.5) == -1.5
    assert ph.error_at_true(8.5, 7.0, 0.0, 10.0, -1.5) == -0.75
    exact = ph.error_at_true(*(Decimal(n) for n in ("8.5", "7.0", "0.02", "10.0", "-0.04")))
    assert exact == Decimal("-0.01")


def test_a_new_stored_slope_makes_both_buffers_read_right() -> None:
    stored, R1, B1, R2, B2 = 97.2, 7.06, 7.0264, 10.02, 10.0792
    new = ph.new_stored_slope(stored, R1, B1, R2, B2)
    # The same voltages shown with the new slope: the distance in pH is divided by the ratio of the slopes.
    assert (R2 - R1) * stored / new == pytest.approx(B2 - B1, rel=1e-12)
    assert ph.efficiency_from_stored(stored, ph.relative_slope(R1, B1, R2, B2)) == new


def test_the_offset_from_what_is_stored_is_the_voltage_at_seven() -> None:
    # A transmitter that holds 97 % and -2 mV shows E = -2 - (pH - 7) 0.97 k; its electrode sits at 5 mV.
    k = 0.97 * ph.nernst_slope(18.0)
    shown_at_seven = 7 - (5.0 + 2.0) / k
    assert ph.offset_from_stored(-2.0, shown_at_seven, 0.97, 18.0) == pytest.approx(5.0, rel=1e-12)


REFUSED: dict[str, Any] = {
    "two buffers": lambda: ph.two_buffer_line(170.0, 7.0, -3.0, 7.0),
    "two temperatures": lambda: ph.two_temperature_line(170.0, 7.0, 20.0, -3.0, 7.0, 30.0),
    "two temperatures, one point": lambda: ph.two_temperature_line(1.0, 4.0, 20.0, 1.0, 4.0 + 1e-16, 20.0),
    "relative slope": lambda: ph.relative_slope(7.0, 7.0, 7.1, 7.0),
    "new slope": lambda: ph.new_stored_slope(100, 7.0, 7.0, 7.1, 7.0),
    "error by display": lambda: ph.error_at_displayed(7.5, 7.0, 0.0, 7.0, 0.1),
    "error by buffer": lambda: ph.error_at_true(7.5, 7.0, 0.0, 7.0, 0.1),
    "three equal buffers": lambda: ph.least_squares_line([1.0, 2.0, 3.0], [7.0, 7.0, 7.0]),
    "two equal voltages": lambda: ph.bracketing_ph(3.0, 4.0, 3.0, 7.0, 1.0),
    "decimals": lambda: ph.relative_slope(Decimal(7), Decimal("7.00"), Decimal(8), Decimal("7.0")),
}


@pytest.mark.parametrize("name", REFUSED)
def test_the_same_buffer_twice_gives_no_slope(name: str) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        REFUSED[name]()
    assert caught.value.message == EQUAL


# ---------------------------------------------------------------- with uncertainty


def test_a38_bracketing_by_voltages() -> None:
    inputs = {
        "E1": Input(172.4, 0.2),
        "B1": Input(4.005, 0.005),
        "E2": Input(-128.8, 0.2),
        "B2": Input(9.180, 0.005),
        "Ex": Input(-25.0, 0.4),
    }

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        return {"pH": ph.bracketing_ph(x["E1"], x["B1"], x["E2"], x["B2"], x["Ex"])}

    found = propagate(model, inputs, {"pH": "pH"})
    agrees("A38", pH=found["pH"].value, u=found["pH"].u or 0)
    same_as_gtc(
        lambda x: {"pH": x["B1"] + (x["Ex"] - x["E1"]) * (x["B2"] - x["B1"]) / (x["E2"] - x["E1"])}, inputs
    )
    same_as_central_difference(model, inputs, found)


def test_v04_v05_v06_two_buffers_by_their_displays() -> None:
    found = propagate(ph_model.model, {**ph_model.INPUTS, "junction": Input(0.0, 0.03 / R3)}, ph_model.UNITS)
    seven, ten = found["e7"], found["e10"]
    agrees(
        "V04", e7=seven.value, e10=ten.value, u_e7=seven.u or 0, u_e10=ten.u or 0, r=correlation(seven, ten)
    )
    assert (seven.expanded, ten.expanded) == ("0.019", "0.037")
    for name in ("by B", "by displays"):
        agree("V05", name, found[name].value)
        agree("V05", f"u {name}", found[name].u or 0)
    agree("V05", "u by B with junction", found["by B with junction"].u or 0)
    agrees(
        "V06",
        gain=found["gain"].value,
        u_gain=found["gain"].u or 0,
        efficiency=found["efficiency"].value,
        u_efficiency=found["efficiency"].u or 0,
    )


def test_first_order_is_enough_for_quotients_of_this_size() -> None:
    """By a Sobol sequence of 2^13 points through the model itself, without any derivative."""
    points = qmc.Sobol(len(ph_model.INPUTS), scramble=False).random_base2(13) + 0.5**14  # off the edge at 0
    drawn = {}
    for (cause, given_), q in zip(ph_model.INPUTS.items(), points.T, strict=True):
        unit = (2 * q - 1) * R3 if given_.distribution == "rectangular" else ndtri(q)
        drawn[cause] = given_.value + given_.u * unit
    simulated = ph_model.model(drawn)
    for name, quantity in propagate(ph_model.model, ph_model.INPUTS, ph_model.UNITS).items():
        assert np.std(simulated[name]) == pytest.approx(quantity.u, rel=5e-3), name
        assert np.mean(simulated[name]) == pytest.approx(quantity.value, abs=0.05 * (quantity.u or 0)), name


def test_a_poor_thermometer_correlates_the_buffers_of_a_visit() -> None:
    inputs = {**ph_model.INPUTS, "thermometer": replace(ph_model.INPUTS["thermometer"], u=0.5)}
    found = propagate(ph_model.model, inputs, ph_model.UNITS)
    assert correlation(found["e7"], found["e10"]) == pytest.approx(0.065, abs=5e-4)  # GTC


def test_v07_bottle_and_table_cancel_between_as_found_and_as_left() -> None:
    each = {"read": 0.01 / math.sqrt(12), "creep": 0.01 / R3, "gradient": 1.0 / R3}
    inputs = {name: ph_model.INPUTS[name] for name in ("bottle 7", "opened 7", "table 7")}
    for stage, shown in (("found", 7.06), ("left", 7.03)):
        inputs |= {f"{name} {stage}": Input(0.0, u) for name, u in each.items()}
        inputs[f"read {stage}"] = Input(shown, each["read"])

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        def error(stage: str) -> Any:
            B = interpolate(ph_model.READY_7, ph_model.T + x[f"gradient {stage}"])
            return (
                x[f"read {stage}"] + x[f"creep {stage}"] - (B + x["bottle 7"] + x["opened 7"] + x["table 7"])
            )

        found, left = error("found"), error("left")
        return {"found": found, "left": left, "change": left - found}

    found = propagate(model, inputs, dict.fromkeys(("found", "left", "change"), "pH"))
    agrees("V07", change=found["change"].value, u_change=found["change"].u or 0)
    agrees("V07", r=correlation(found["found"], found["left"]))
    assert not {"bottle 7", "opened 7", "table 7"} & {line.cause for line in found["change"].budget}
    same_as_central_difference(model, inputs, found)


def test_v08_slope_and_offset_by_voltage() -> None:
    inputs = {"thermometer": Input(0.0, 0.15), "sensor": Input(ph_model.T, 0.3)}
    for name, shown in (("4", 171.6), ("7", -4.1)):
        inputs |= {
            f"E {name}": Input(shown, 0.1 / math.sqrt(12)),
            f"creep {name}": Input(0.0, 0.5 / R3),
            f"bottle {name}": Input(0.0, 0.005),
            f"opened {name}": Input(0.0, 0.005 / R3),
            f"table {name}": Input(0.0, 0.005 / R3),
            f"gradient {name}": Input(0.0, 1.0 / R3),
        }
    nodes = {"4": ph_model.READY_4, "7": ph_model.READY_7}

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        def buffer(name: str) -> Any:
            t = ph_model.T + x["thermometer"] + x[f"gradient {name}"]
            return (
                interpolate(nodes[name], t) + x[f"bottle {name}"] + x[f"opened {name}"] + x[f"table {name}"]
            )

        S, E7 = ph.two_buffer_line(x["E 4"] + x["creep 4"], buffer("4"), x["E 7"] + x["creep 7"], buffer("7"))
        return {"S": S, "E7": E7, "efficiency": ph.efficiency_percent(S, x["sensor"])}

    found = propagate(model, inputs, {"S": "mV/pH", "E7": "mV", "efficiency": "%"})
    S, E7, efficiency = (found[name] for name in ("S", "E7", "efficiency"))
    agrees("V08", slope=S.value, u_slope=S.u or 0, offset=E7.value, u_offset=E7.u or 0)
    agrees("V08", covariance=covariance(S, E7), r=correlation(S, E7))
    agrees("V08", efficiency=efficiency.value, u_efficiency=efficiency.u or 0)
    same_as_central_difference(model, inputs, found)


def test_v09_three_buffers_that_do_not_fit_one_line() -> None:
    inputs = {"t": Input(25.0, 0.3)}
    for B, E, u in ((4.01, 174.9, 0.005774), (7.00, 3.4, 0.005774), (10.01, -174.0, 0.016411)):
        inputs |= {f"E {B}": Input(E, 0.2901), f"B {B}": Input(B, u)}

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        S, E7, residuals = ph.least_squares_line(
            [x[f"E {B}"] for B in (4.01, 7.0, 10.01)], [x[f"B {B}"] for B in (4.01, 7.0, 10.01)]
        )
        return {"S": S, "E7": E7, "efficiency": ph.efficiency_percent(S, x["t"]), "middle": residuals[1]}

    found = propagate(model, inputs, {"S": "mV/pH", "E7": "mV", "efficiency": "%", "middle": "mV"})
    agrees("V09", u_slope=found["S"].u or 0, u_offset=found["E7"].u or 0)
    agrees("V09", r=correlation(found["S"], found["E7"]), u_efficiency=found["efficiency"].u or 0)
    agrees("V09", middle_residual=found["middle"].value, u_middle_residual=found["middle"].u or 0)
    assert abs(found["middle"].value) > 2 * (found["middle"].u or 0)
    same_as_central_difference(model, inputs, found)


def test_every_other_formula_has_the_sensitivities_of_a_central_difference() -> None:
    inputs = {
        "E1": Input(174.0, 0.3),
        "B1": Input(4.005, 0.005),
        "t1": Input(25.0, 0.3),
        "E2": Input(3.0, 0.3),
        "B2": Input(6.9138, 0.005),
        "t2": Input(12.0, 0.3),
        "stored": Input(0.972, 0.003),
        "iso": Input(7.1, 0.05),
    }

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        s, E0 = ph.two_temperature_line(*(x[name] for name in ("E1", "B1", "t1", "E2", "B2", "t2")))
        return {
            "s": s,
            "E0": E0,
            "pH": ph.compensated_ph(x["E1"], x["t2"], x["stored"], x["E2"], x["iso"]),
            "offset": ph.offset_from_stored(x["E2"], x["B2"], x["stored"], x["t1"]),
            "new": ph.new_stored_slope(x["stored"], x["B1"] * 1.02, x["B1"], x["B2"], x["B2"]),
        }

    found = propagate(model, inputs, dict.fromkeys(("s", "E0", "pH", "offset", "new"), "1"))
    same_as_central_difference(model, inputs, found)
    same_as_gtc(
        lambda x: {"offset": ph.offset_from_stored(x["E2"], x["B2"], x["stored"], x["t1"])},
        {name: inputs[name] for name in ("E2", "B2", "stored", "t1")},
    )


@pytest.mark.parametrize(
    ("glass", "insulation", "slope", "lost_percent"),
    [
        (200.0, 2000.0, 53.781, 9.09),  # W27 of the project's worked values: 90.91 % are left
        (150.0, 20000.0, 58.719, 0.744),  # 20 Gohm on 150 Mohm loses 0.7 % (section 5 of its practice file)
    ],
)
def test_w27_a_leak_of_the_cable_takes_slope(
    glass: float, insulation: float, slope: float, lost_percent: float
) -> None:
    left = ph.slope_behind_leak(ph.nernst_slope(25.0), glass, insulation)
    assert left == pytest.approx(slope, abs=0.001)
    assert 100 * (1 - left / ph.nernst_slope(25.0)) == pytest.approx(lost_percent, abs=0.01)


@pytest.mark.parametrize(("glass", "insulation"), [(0.0, 100.0), (100.0, 0.0), (-1.0, 100.0)])
def test_no_resistance_divides_nothing(glass: float, insulation: float) -> None:
    with pytest.raises(CorrectTheEntry, match="divides nothing; measure it again"):
        ph.slope_behind_leak(59.16, glass, insulation)


def test_a_temperature_input_wrong_by_ten_kelvin_gives_three_percent_of_the_distance_from_seven() -> None:
    """3.4 % of (pH - 7) in section 5 of the practice file; nothing at 7, opposite on the other side."""
    assert 100 * ph.error_of_temperature(8.0, 30.0, 20.0) == pytest.approx(3.4, abs=0.05)
    assert ph.error_of_temperature(7.0, 30.0, 20.0) == 0
    assert ph.error_of_temperature(4.0, 30.0, 20.0) == pytest.approx(-3 * 0.034112, abs=1e-5)
    shown = ph.compensated_ph(-ph.nernst_slope(30.0) * 3, 20.0, 1.0)  # the same by the electrode's voltage
    assert shown - 10.0 == pytest.approx(ph.error_of_temperature(10.0, 30.0, 20.0))
