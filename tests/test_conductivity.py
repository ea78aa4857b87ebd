"""Conductivity: compensation, factors of ISO 7888, cell constant, coefficient, units.

Outside values: Pratt and others, Pure Appl. Chem. 73 (2001) 1783 (potassium chloride by molality), ISO
7888:1985 (factors f25), A14 and A15 of the project's external facts; V20 of its measurement models (GTC 1.5.1
and central differences); GTC here for the coefficient.
"""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from gtc import same_as_central_difference, same_as_gtc
from printed import agree, agrees, values

from wqverify import tables
from wqverify.calculations.conductivity import (
    by_factor,
    cell_constant,
    coefficient,
    converted,
    linear,
)
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.terms import Input

KCL = tables.load("conductivity_kcl", "IUPAC 2001")
READY = tables.load("conductivity_ready_made", "trade 1")
F25 = tables.load("conductivity_f25", "ISO 7888:1985").nodes("f25")


# ---------------------------------------------------------------- tables


def test_a14_potassium_chloride() -> None:
    agree("A14", "KCl 0.01 m at 20 C", float(KCL.at("0.01 m", Decimal(20))))


def test_the_row_at_18_that_was_left_out_is_met_within_what_the_description_says() -> None:
    straight = float(KCL.at("0.01 m", Decimal(18)))
    assert straight - values()["A14", "KCl 0.01 m at 18 C"].value == pytest.approx(0.468, abs=0.001)


@pytest.mark.parametrize(
    ("column", "kcl"), [("84", "0.01 m"), ("500", "0.01 m"), ("1413", "0.01 m"), ("12880", "0.1 m")]
)
def test_ready_made_standards_keep_to_the_ratios_of_potassium_chloride(column: str, kcl: str) -> None:
    """What is given lies within 0.5 % of them; 1667 at 35 °C (1.6 % off) is not given."""
    at_25 = READY.at(column, Decimal(25)) / KCL.at(kcl, Decimal(25))
    for t, printed in READY.nodes(column):
        assert abs(printed / (KCL.at(kcl, t) * at_25) - 1) < Decimal("0.005"), (column, t)


@pytest.mark.parametrize(
    ("column", "highest"), [("1413", "30"), ("84", "30"), ("500", "30"), ("12880", "35")]
)
def test_a_doubtful_row_is_not_given(column: str, highest: str) -> None:
    assert READY.nodes(column)[-1][0] == Decimal(highest)


def test_the_factor_at_20_is_that_which_divides() -> None:
    """f20 = f25/1.116, as the table of the project's external facts says."""
    assert dict(F25)[Decimal(20)] == Decimal("1.116")
    assert by_factor(Decimal(300), Decimal(20), F25, Decimal("1.116")) == 300


# ---------------------------------------------------------------- compensation


def test_a15_both_compensations_of_one_reading() -> None:
    agree("A15", "300 at 15 C by ISO 7888", by_factor(300.0, 15.0, F25))
    agree("A15", "300 at 15 C linear", linear(300.0, 15.0, 0.02))
    agree("A15", "factor linear at 10 C", linear(1.0, 10.0, 0.02))
    agree("A15", "factor linear at 0 C", linear(1.0, 0.0, 0.02))


@pytest.mark.parametrize(
    ("t", "percent"),
    [(15.0, 0.5), (10.0, 0.0), (0.0, -4.1)],
)
def test_linear_against_natural_water(t: float, percent: float) -> None:
    """The project's practice checks: ISO 7888 against linear 2 %: +0.5 % at 15, 0.0 at 10, -4.1 % at 0 °C."""
    apart = 100 * (by_factor(1.0, t, F25) / linear(1.0, t, 0.02) - 1)
    assert apart == pytest.approx(percent, abs=0.05)


def test_v20_potassium_chloride_at_18() -> None:
    kappa = values()["A14", "KCl 0.01 m at 18 C"].value
    agree("V20", "KCl at 18 C linear", linear(kappa, 18.0, 0.02))
    agree("V20", "KCl at 18 C by ISO 7888", by_factor(kappa, 18.0, F25))
    agree("V20", "1413 at 21.6 C", linear(float(READY.at("1413", Decimal("21.6"))), 21.6, 0.02))


def test_a_coefficient_that_leaves_nothing_is_refused() -> None:
    with pytest.raises(CorrectTheEntry, match="leaves nothing of a conductivity at 0 °C"):
        linear(300.0, 0, 0.04)
    assert linear(300.0, 0, 0.039) == pytest.approx(300 / 0.025)


def test_arrays_go_the_same_way() -> None:
    t = np.array([10.0, 15.0, 25.0])
    assert linear(np.array([300.0] * 3), t, 0.02).tolist() == pytest.approx([300 / 0.7, 375.0, 300.0])
    with pytest.raises(CorrectTheEntry):
        linear(np.array([300.0] * 3), t, 0.2)


# ---------------------------------------------------------------- coefficient, cell constant


def test_v20_coefficient_from_two_temperatures_and_by_gtc() -> None:
    inputs = {
        "k1": Input(241.0, 0.5),
        "t1": Input(10.0, 0.1),
        "k2": Input(305.0, 0.5),
        "t2": Input(20.0, 0.1),
    }

    def model(x):  # type: ignore[no-untyped-def]
        a = (x["k1"] - x["k2"]) / (x["k2"] * (x["t1"] - 25) - x["k1"] * (x["t2"] - 25))
        return {"a": a}

    def own(x):  # type: ignore[no-untyped-def]
        return {"a": coefficient(x["k1"], x["t1"], x["k2"], x["t2"])}

    found = same_as_gtc(own, inputs, model)
    same_as_central_difference(own, inputs, found)
    agrees("V20", coefficient=found["a"].value, u_coefficient=found["a"].u or 0)


def test_two_readings_at_one_temperature_give_no_coefficient() -> None:
    with pytest.raises(CorrectTheEntry, match="Two readings at one temperature give no coefficient"):
        coefficient(300.0, 25.0, 305.0, 25.0)


def test_the_cell_constant_undoes_the_error() -> None:
    """0.1000 × 1413/1431 = 0.098742; with it the display shows 1413."""
    constant = cell_constant(0.1, 1413.0, 1431.0)
    assert constant == pytest.approx(0.0987421, abs=1e-7)
    assert 1431 * constant / 0.1 == pytest.approx(1413)


@pytest.mark.parametrize("shown", [0.0, -0.1])
def test_no_cell_constant_from_a_display_without_anything(shown: float) -> None:
    with pytest.raises(CorrectTheEntry, match="in a standard gives no cell constant"):
        cell_constant(0.1, 1413.0, shown)
    assert cell_constant(0.1, 1413.0, 0.1) > 0


# ---------------------------------------------------------------- units


@pytest.mark.parametrize(
    ("value", "unit", "to", "text"),
    [
        ("12.88", "mS/cm", "uS/cm", "12880"),
        ("12880", "uS/cm", "mS/cm", "12.88"),
        ("1413", "uS/cm", "µS/cm", "1413"),
        ("0.1413", "S/m", "uS/cm", "1413"),
        ("141.3", "mS/m", "uS/cm", "1413"),
        ("84.0", "uS/cm", "uS/cm", "84.0"),
        ("100000", "uS/cm", "S/m", "10"),
    ],
)
def test_units_are_converted_exactly(value: str, unit: str, to: str, text: str) -> None:
    assert f"{converted(Decimal(value), unit, to)}" == text


def test_an_unknown_unit_is_answered_with_those_there_are() -> None:
    with pytest.raises(ChooseAnother, match=r"NTU is no unit of conductivity known here; known are uS/cm"):
        converted(Decimal(1), "NTU", "uS/cm")
