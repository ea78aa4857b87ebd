"""Temperature: platinum resistance both ways, its tolerance classes, Celsius and Fahrenheit.

Outside values: A19 and A20 of the project's external facts (IEC 60751:2022; 138.5055 ohm at 100 °C as
printed) and its table of that standard from -50 to 100 °C; NIST SP 811 (2008), B.9 for degrees.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from gtc import same_as_central_difference
from hypothesis import given
from hypothesis import strategies as st
from printed import agree

from wqverify.calculations.dual import Dual
from wqverify.calculations.temperature import (
    CLASS_RANGES,
    celsius,
    class_tolerance,
    fahrenheit,
    pt_resistance,
    pt_sensitivity,
    pt_temperature,
)
from wqverify.calculations.uncertainty import propagate
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.terms import Input

# IEC 60751:2008/2022, as in the project's external facts: °C, ohm, and ± °C of AA, A, B, C.
PRINTED = """
-50 80.3063 0.1850 0.2500 0.5500 1.1000
-40 84.2707 0.1680 0.2300 0.5000 1.0000
-30 88.2217 0.1510 0.2100 0.4500 0.9000
-20 92.1599 0.1340 0.1900 0.4000 0.8000
-10 96.0859 0.1170 0.1700 0.3500 0.7000
-5 98.0444 0.1085 0.1600 0.3250 0.6500
0 100.0000 0.1000 0.1500 0.3000 0.6000
5 101.9527 0.1085 0.1600 0.3250 0.6500
10 103.9025 0.1170 0.1700 0.3500 0.7000
25 109.7347 0.1425 0.2000 0.4250 0.8500
50 119.3971 0.1850 0.2500 0.5500 1.1000
100 138.5055 0.2700 0.3500 0.8000 1.6000
"""
ROWS = [row.split() for row in PRINTED.strip().splitlines()]


def test_a19_resistance_and_back() -> None:
    for t in (-10, 20, 100):
        agree("A19", f"ohm at {t} C", pt_resistance(float(t)))
    agree("A19", "C at 108.5 ohm", pt_temperature(108.5))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_every_row_of_the_table_both_ways(row: list[str]) -> None:
    t, ohm = float(row[0]), float(row[1])
    assert pt_resistance(t) == pytest.approx(ohm, abs=5e-5)
    assert pt_temperature(ohm) == pytest.approx(t, abs=2e-4)  # half a digit of 0.39 ohm/K


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_a20_the_classes_as_printed(row: list[str]) -> None:
    for name, printed in zip(("AA", "A", "B", "C"), row[2:], strict=True):
        low, high = CLASS_RANGES[name]
        if low <= float(row[0]) <= high:
            assert class_tolerance(Decimal(row[0]), name) == Decimal(printed)


def test_a20_at_fifty() -> None:
    agree("A20", "class A at 50 C", float(class_tolerance(Decimal(50), "A")))
    agree("A20", "class B at 50 C", float(class_tolerance(Decimal(50), "B")))


@given(st.floats(-200, 850))
def test_there_and_back_is_the_same_temperature(t: float) -> None:
    assert pt_temperature(pt_resistance(t)) == pytest.approx(t, abs=1e-7)


def test_the_sensitivity_near_20_is_that_of_the_facts() -> None:
    """The project's external facts: 0.3885 ohm/K near 20 °C."""
    assert pt_sensitivity(20.0) == pytest.approx(0.3885, abs=5e-5)


@pytest.mark.parametrize("ohm", [84.2707, 99.9, 100.0, 108.5, 138.5])
def test_the_derivative_on_both_sides_of_zero(ohm: float) -> None:
    found = pt_temperature(Dual(ohm, {"R": 1.0}))
    assert found.d["R"] == pytest.approx(1 / pt_sensitivity(found.v), rel=1e-9)
    inputs = {"R": Input(ohm, 0.1)}

    def model(x):  # type: ignore[no-untyped-def]
        return {"t": pt_temperature(x["R"])}

    if ohm != 100.0:  # a central difference over the node mixes both sides
        same_as_central_difference(model, inputs, propagate(model, inputs, {"t": "°C"}))


@pytest.mark.parametrize(("t", "refused"), [(-200.1, True), (-200, False), (850, False), (850.1, True)])
def test_outside_the_standard_is_refused(t: float, refused: bool) -> None:
    if not refused:
        assert pt_temperature(pt_resistance(t)) == pytest.approx(t, abs=1e-6)
        return
    with pytest.raises(CorrectTheEntry, match="is outside -200 to 850 °C"):
        pt_resistance(t)


@pytest.mark.parametrize("ohm", [0.0, 18.0, 391.0])
def test_a_resistance_no_element_has_is_refused(ohm: float) -> None:
    with pytest.raises(CorrectTheEntry, match=r"is no resistance of a platinum element of 100 ohm"):
        pt_temperature(ohm)


def test_a_pt1000_is_ten_times_a_pt100() -> None:
    assert pt_resistance(20.0, 1000.0) == pytest.approx(1077.935, abs=5e-4)
    assert pt_temperature(1085.0, 1000.0) == pytest.approx(21.819, abs=5e-4)


@pytest.mark.parametrize(
    ("t", "name", "fits"),
    [("-0.1", "AA", False), ("0", "AA", True), ("150", "AA", True), ("150.1", "AA", False)],
)
def test_a_class_has_a_range(t: str, name: str, fits: bool) -> None:
    if fits:
        assert class_tolerance(Decimal(t), name) > 0
        return
    with pytest.raises(CorrectTheEntry, match="Class AA of IEC 60751 is stated for 0 to 150 °C"):
        class_tolerance(Decimal(t), name)


def test_a_class_there_is_not() -> None:
    with pytest.raises(ChooseAnother, match="D is no tolerance class of IEC 60751; there are AA, A, B, C"):
        class_tolerance(Decimal(20), "D")


@pytest.mark.parametrize(("c", "f"), [("0", "32.0"), ("100", "212.0"), ("-40", "-40.0"), ("18.28", "64.904")])
def test_fahrenheit_and_back(c: str, f: str) -> None:
    assert fahrenheit(Decimal(c)) == Decimal(f)
    assert celsius(Decimal(f)) == Decimal(c)
    assert celsius(float(f)) == pytest.approx(float(c))
