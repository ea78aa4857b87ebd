"""What a mismatch looks like: curves against figures by hand, and which of them fit what was read."""

from __future__ import annotations

import subprocess
import sys

import pytest

from wqverify.calculations.dual import Dual
from wqverify.calculations.line_fit import fit_line
from wqverify.calculations.loop_mismatch import (
    Suspicion,
    converted,
    fits,
    is_unit,
    line_through,
    measure_one_thing,
    suspicions,
)


def named(
    part: str, *, root: bool = False, unit: str = "ft", high: float = 40.0, ohm: float = 250.0
) -> Suspicion:
    every = suspicions(0.0, high, unit, root=root, input_ohm=ohm)
    (found,) = [one for one in every if part in one.words]
    return found


# Units by their definitions: foot 0.3048 m, pound-force per square inch 6894.757 Pa, US gallon 3.785411784 L,
# conventional inch of water 249.0889 Pa (NIST SP 811, Appendix B, from memory); the arithmetic by hand.
@pytest.mark.parametrize(
    ("value", "unit", "other", "expected"),
    [
        (1.0, "ft", "m", 0.3048),
        (1.0, "m", "ft", 3.28084),
        (1.0, "in", "cm", 2.54),
        (1.0, "psi", "kPa", 6.894757),
        (1.0, "psi", "inH2O", 27.67990),
        (1.0, "kPa", "inH2O", 4.014631),
        (1.0, "gpm", "m3/h", 0.2271247),
        (1.0, "gpm", "L/min", 3.785412),
        (1.0, "MGD", "gpm", 694.4444),
        (1.0, "L/s", "m3/h", 3.6),
        (1.0, "kPa", "Pa", 1000.0),
        (1.0, "bar", "mbar", 1000.0),
        (1.0, "ftH2O", "inH2O", 12.0),
        (1.0, "m3/s", "l/s", 1000.0),
        (1.0, "g/L", "mg/L", 1000.0),
        (1.0, "mg/L", "ug/L", 1000.0),
        (1.0, "mS/cm", "uS/cm", 1000.0),
        (1.0, "mS/cm", "µS/cm", 1000.0),
        (20.0, "°C", "degF", 68.0),
        (68.0, "°F", "°C", 20.0),
        (7.0, "pH", "pH", 7.0),
    ],
)
def test_a_value_in_another_unit(value: float, unit: str, other: str, expected: float) -> None:
    assert converted(value, unit, other) == pytest.approx(expected, rel=1e-6)


def test_units_are_named_and_told_apart_without_what_converts_them() -> None:
    script = (
        "import sys\n"
        "from wqverify.calculations.loop_mismatch import converted, measure_one_thing, suspicions\n"
        "measure_one_thing('ft', 'm'), list(suspicions(0.0, 40.0, 'ft', root=False))\n"
        "before = 'pint' in sys.modules\n"
        "converted(1.0, 'ft', 'm')\n"
        "print(before, 'pint' in sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False True"


def test_units_of_two_quantities_are_not_converted() -> None:
    assert is_unit("inH2O")
    assert not is_unit("NTU")
    assert measure_one_thing("NTU", "NTU")
    assert not measure_one_thing("NTU", "ft")
    with pytest.raises(ValueError, match="ft and psi do not measure one quantity"):
        converted(1.0, "ft", "psi")


@pytest.mark.parametrize(
    ("words", "root", "at", "shown"),
    [
        # practice.md section 5: 8 mA is 25 % without a root, 50 % with one; a second root of it 70.7 %
        ("no square root is taken", True, 0.25, 0.25),
        ("the square root is taken twice", True, 0.25, 0.707107),
        ("a square root is taken of a signal", False, 0.25, 0.5),
        ("a square is taken", False, 0.5, 0.25),
        # 4 mA on 0-20 mA is 20 %, 12 mA 60 %, 20 mA 100 %
        ("the input is set to 0-20 mA", False, 0.0, 0.2),
        ("the input is set to 0-20 mA", False, 0.5, 0.6),
        ("the input is set to 0-20 mA", False, 1.0, 1.0),
        # 0 mA on 4-20 mA is -25 %, 10 mA 37.5 %
        ("the signal is 0-20 mA", False, 0.0, -0.25),
        ("the signal is 0-20 mA", False, 0.5, 0.375),
        # 12 mA through 500 ohm where 250 is meant are 6 V, 24 mA, 125 %
        ("500 ohm and not 250", False, 0.5, 1.25),
        ("runs backwards", False, 0.25, 0.75),
        # 40 ft read as 12.192 m
        ("shown in m and read as ft", False, 1.0, 0.3048),
        # 2048 counts of 4095 on a range of 40 ft at 50 %: 2047.5/40
        ("raw counts 0 to 4095", False, 0.5, 51.1875),
        ("the current in mA", False, 0.5, 0.3),
        ("percent of span", False, 0.5, 1.25),
    ],
)
def test_a_curve_by_hand(words: str, root: bool, at: float, shown: float) -> None:
    assert named(words, root=root).shown(at) == pytest.approx(shown, abs=1e-6)


def test_the_resistor_that_should_be_there_is_no_suspicion() -> None:
    words = [one.words for one in suspicions(0.0, 1.0, "m", root=False, input_ohm=100.0)]
    assert not any("is 100 ohm" in text for text in words)
    assert any("is 250 ohm and not 100" in text for text in words)


def test_a_unit_nobody_knows_has_no_pairs() -> None:
    assert not [one for one in suspicions(0.0, 5.0, "NTU", root=False) if one.kind == "unit"]


def test_every_suspicion_says_what_tells_it_apart() -> None:
    for root in (True, False):
        for one in suspicions(0.0, 40.0, "ft", root=root):
            assert one.words
            assert one.tells


@pytest.mark.parametrize(
    ("shown", "fit"),
    [([0.0, 0.5, 1.0], 0.0), ([0.0, 0.51, 1.0], 1.0), ([0.0, 0.5101, 1.0], None), ([0.009, 0.5, 1.0], 0.9)],
)
def test_around_what_fits(shown: list[float], fit: float | None) -> None:
    found = fits(lambda q: q, [0.0, 0.5, 1.0], shown, [0.0100001] * 3)
    assert found == fit if fit is None else found == pytest.approx(fit, abs=1e-3)


def test_points_of_unequal_number_are_a_fault() -> None:
    with pytest.raises(ValueError, match="zip"):
        fits(lambda q: q, [0.0, 1.0], [0.0], [0.1, 0.1])


def test_the_line_is_that_of_the_other_fit_and_carries_derivatives() -> None:
    x, y = [0.0, 0.25, 0.5, 0.75, 1.0], [0.1, 0.31, 0.52, 0.70, 0.93]
    a, b = line_through(x, y)
    other = fit_line(x, y)
    assert (a, b) == (pytest.approx(other.a), pytest.approx(other.b))
    duals = [Dual(v, {f"y{n}": 1.0}) for n, v in enumerate(y)]
    _a, slope = line_through(x, duals)
    # db/dy_i = (x_i - mx)/sum (x - mx)^2 by hand: -0.5/0.625 for the first
    assert slope.d["y0"] == pytest.approx(-0.8)


@pytest.mark.parametrize(
    ("x", "y", "words"),
    [
        ([1.0], [1.0], "at least two points"),
        ([1.0, 2.0], [1.0], "at least two points"),
        ([1.0, 1.0], [1.0, 2.0], "all x are equal"),
    ],
)
def test_a_line_through_too_little_is_refused(x: list[float], y: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        line_through(x, y)
