"""The 4-20 mA loop: figures of others, each with its source beside it, and what is refused.

Sources: A21 to A23 of the project's external facts (IEC 60381-1 and NAMUR NE 43 as public summaries have
them), W19, W20, W22, W24 of its practice checks (two transmitter manuals for the load; Ohm's law, by hand), a
public logger of level and loop current (real_data, SOURCES.md).
"""

from __future__ import annotations

from decimal import Decimal
from math import sqrt
from pathlib import Path
from typing import Any

import pytest

from wqverify.calculations import loop
from wqverify.calculations.dual import Dual
from wqverify.calculations.line_fit import fit_line
from wqverify.errors import CorrectTheEntry

# ---------------------------------------------------------------- current and value


def test_a21_a_current_on_a_range() -> None:
    """External facts A21, IEC 60381-1 (from memory): 7.2 mA on 0-5 is 1.000, within 1e-9."""
    assert loop.value(7.2, 0.0, 5.0) == pytest.approx(1.0, abs=1e-9)
    assert loop.current_of(1.0, 0.0, 5.0) == pytest.approx(7.2, abs=1e-9)


@pytest.mark.parametrize(
    ("current", "percent"),
    [
        (12.0, 70.7107),  # A22, within 1e-4
        (8.0, 50.0),  # external facts, section 7: 8 mA = 50 %
        (4.16, 10.0),  # and 4.16 mA = 10 %
        (20.0, 100.0),
    ],
)
def test_a22_the_square_root(current: float, percent: float) -> None:
    assert loop.value(current, 0.0, 100.0, root=True) == pytest.approx(percent, abs=1e-4)
    assert loop.current_of(percent, 0.0, 100.0, root=True) == pytest.approx(current, abs=1e-4)


def test_w24_a_wrong_range_is_hidden_at_mid_scale() -> None:
    """Practice check W24: sensor 0-14 pH, control system 2-12, true 7 and 9: 7.000, 8.4286, within 1e-4."""
    for true, shown in ((7.0, 7.0), (9.0, 8.4286)):
        there = loop.value(loop.current_of(true, 0.0, 14.0), 2.0, 12.0)
        assert there == pytest.approx(shown, abs=1e-4)


def test_a_public_logger_of_level_and_current_is_a_line_of_0_to_0_48_m(real_data: Path) -> None:
    """2010 rows of level in m and mA: 0-0.48 m on 4-20 mA, largest residual of a straight line 0.00019 m."""
    text = (real_data / "level_logger_ma_decimal_comma.csv").read_text("utf-8-sig").splitlines()[1:]
    rows = [line.split(";") for line in text]
    level = [float(row[1].replace(",", ".")) for row in rows]
    current = [float(row[2].replace(",", ".")) for row in rows]
    assert len(rows) == 2010
    line = fit_line([loop.fraction(i) for i in current], level)
    assert line.a == pytest.approx(0.0, abs=2e-4)
    assert line.b == pytest.approx(0.48, abs=5e-4)  # its levels cover a part of the range only
    off = [abs(v - line.a - line.b * loop.fraction(i)) for v, i in zip(level, current, strict=True)]
    assert max(off) == pytest.approx(0.00019, abs=5e-6)
    direct = [abs(v - loop.value(i, 0.0, 0.48)) for v, i in zip(level, current, strict=True)]
    assert max(direct) < 0.0004  # half of 0.01 mA is 0.00015 m, half of a digit 0.00005 m


def test_a_decimal_stays_exact_and_a_dual_number_carries_its_slope() -> None:
    assert loop.value(Decimal("12.000"), Decimal(0), Decimal(14)) == Decimal(7)
    assert loop.root_of(Decimal("0.25")) == Decimal("0.5")
    found = loop.value(Dual(8.0, {"I": 1.0}), 0.0, 100.0, root=True)
    # budgets.md section 11: dQ/dI = 100/(2 sqrt(16 (I - 4)))
    assert found.d["I"] == pytest.approx(100 / (2 * sqrt(16 * (8.0 - 4))))


@pytest.mark.parametrize(("shown", "current"), [(-10.0, 4 - 16 * 0.01), (0.0, 4.0), (10.0, 4.16)])
def test_a_display_below_its_zero_stays_below(shown: float, current: float) -> None:
    assert loop.current_of(shown, 0.0, 100.0, root=True) == pytest.approx(current)


# ---------------------------------------------------------------- states


@pytest.mark.parametrize(
    ("current", "state"),
    [
        (0.0, "failure low"),  # a broken wire
        (3.5, "failure low"),  # A23
        (3.59, "failure low"),  # just inside, at, just outside: NE 43, 3.6 mA (that it is included: memory)
        (3.6, "failure low"),
        (3.61, "not valid, low"),
        (3.79, "not valid, low"),
        (3.8, "measuring"),
        (3.81, "measuring"),
        (3.9, "measuring"),  # A23
        (12.0, "measuring"),  # A23
        (20.4, "measuring"),  # A23
        (20.49, "measuring"),
        (20.5, "measuring"),
        (20.51, "not valid, high"),
        (20.99, "not valid, high"),
        (21.0, "failure high"),
        (21.01, "failure high"),
        (21.5, "failure high"),  # A23
    ],
)
def test_a23_states_of_ne_43(current: float, state: str) -> None:
    assert loop.state_of(current) == state
    assert loop.state_of(Decimal(str(current))) == state


# ---------------------------------------------------------------- resistance


def test_w19_the_largest_load() -> None:
    """Practice check W19, two transmitter manuals: 24 V, 8 and 11 V at 20 mA: 800, 650 ohm, within 0.1."""
    assert loop.largest_load(24.0, 8.0, 20.0) == pytest.approx(800, abs=0.1)
    assert loop.largest_load(24.0, 11.0, 20.0) == pytest.approx(650, abs=0.1)


def test_w20_where_a_loop_sticks() -> None:
    """Practice check W20: 21.6 V, 12 V, 600 ohm: 16.0 mA, 75.0 % of span, within 0.01."""
    found = loop.largest_current(21.6, 12.0, 600.0)
    assert found == pytest.approx(16.0, abs=0.01)
    assert 100 * loop.fraction(found) == pytest.approx(75.0, abs=0.01)


def test_w22_a_leak_beside_the_input() -> None:
    """Practice check W22: 10 kohm beside 250 ohm: 3.902, 11.707, 19.512 mA; -0.61, 48.17, 96.95 %."""
    for true, there, percent in ((4.0, 3.902, -0.61), (12.0, 11.707, 48.17), (20.0, 19.512, 96.95)):
        found = loop.leaked(true, 250.0, 10000.0)
        assert found == pytest.approx(there, abs=0.005)
        assert 100 * loop.fraction(found) == pytest.approx(percent, abs=0.005)
        assert loop.leak_of(found / true, 250.0) == pytest.approx(10000)


def test_volts_at_the_transmitter_and_across_the_input() -> None:
    """practice.md section 5 (a loop forum): 26 V less I R, 250 ohm: 25 V at 4 mA, 21 V at 20 mA; 1 to 5 V."""
    assert [loop.terminal_volts(26.0, i, 250.0) for i in (4.0, 20.0)] == [25.0, 21.0]
    assert [loop.shunt_current(v, 250.0) for v in (1.0, 5.0)] == [4.0, 20.0]


# ---------------------------------------------------------------- chain


def test_a_chain_by_squares_and_by_sum() -> None:
    """By hand: 0.1, 0.25, 0.25: sqrt(0.01 + 0.0625 + 0.0625) = 0.3674, sum 0.6."""
    assert loop.chain_by_squares([0.1, -0.25, 0.25]) == pytest.approx(0.36742, abs=1e-5)
    assert loop.chain_by_sum([0.1, -0.25, 0.25]) == pytest.approx(0.6)


# ---------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: loop.width(2.0, 2.0), "The range 2.0 to 2.0 has no width, so no current stands for a value"),
        (lambda: loop.value(12.0, 5, 5), "The range 5 to 5 has no width"),
        (
            lambda: loop.value(3.84, 0.0, 100.0, root=True),
            "The square root of a negative signal (-1.00 % of span, below 4 mA) is no flow",
        ),
        (
            lambda: loop.root_of(Dual(-0.01, {"x": 1.0})),
            "The square root of a negative signal (-1.00 % of span, below 4 mA)",
        ),
        (lambda: loop.root_of(Decimal("-0.01")), "The square root of a negative signal (-1.00 % of span"),
        (lambda: loop.shunt_current(1.0, 0.0), "A resistance of 0.0 ohm gives no current from volts"),
        (lambda: loop.largest_current(24.0, 11.0, -1.0), "A resistance of -1.0 ohm gives no current"),
        (lambda: loop.largest_load(11.0, 11.0, 20.0), "The supply of 11.0 V is not above the 11.0 V"),
        (lambda: loop.largest_current(10.9, 11.0, 20.0), "The supply of 10.9 V is not above the 11.0 V"),
        (lambda: loop.largest_load(24.0, 11.0, 0.0), "A current of 0.0 mA has no largest load"),
        (lambda: loop.leak_of(1.0, 250.0), "A ratio of 1.0 of the currents is no leak"),
        (lambda: loop.leak_of(0.0, 250.0), "A ratio of 0.0 of the currents is no leak"),
    ],
)
def test_what_has_no_answer_is_refused_in_a_sentence(call: Any, words: str) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        call()
    assert words in caught.value.message
