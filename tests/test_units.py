"""Units at the edge: what they are worth, that what was typed is kept, and what is refused.

Outside values: NIST Special Publication 811 (2008 edition), appendix B.8 and B.9, factors as printed there
(from memory): inch 2.54 E-02 m and foot 3.048 E-01 m exactly, psi 6.894 757 kPa, inch of water, conventional,
2.490 889 E+02 Pa, gallon (U.S.) per minute 6.309 020 E-05 m3/s, gallon per day 4.381 264 E-08 m3/s, degree
Fahrenheit (t - 32)/1.8.
"""

from __future__ import annotations

import subprocess
import sys
from decimal import Decimal
from itertools import permutations
from typing import Annotated, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from wqverify.calculations.units import UNITS, convert, in_unit, units_of, units_that_fit
from wqverify.entry.sure import about_reading
from wqverify.errors import CorrectTheEntry
from wqverify.plant.fields import Text
from wqverify.procedures.parts import Amount, Amounts, Part, entries
from wqverify.show.lookup import in_its_unit, is_time
from wqverify.terms import Ask, Reading


def typed(text: str, unit: str) -> str:
    return in_unit(Reading.parse(text), unit).text


@pytest.mark.parametrize(
    ("text", "unit", "printed", "half_a_digit"),
    [
        ("1 in", "m", "0.0254", "0"),
        ("1 ft", "m", "0.3048", "0"),
        ("1 psi", "kPa", "6.894757", "0.001"),  # three places beyond what was typed
        ("1.0000 psi", "kPa", "6.894757", "0.0000005"),
        ("1.000000 inH2O", "kPa", "0.2490889", "0.00000005"),
        ("1 gpm", "m3/h", "0.2271247", "0.00000005"),  # 6.309 020 E-05 m3/s x 3600 s/h
        ("1 MGD", "m3/h", "157.7255", "0.00005"),  # 4.381 264 E-08 m3/s x 3600 s/h x 1 000 000
        ("1 L/s", "m3/h", "3.6", "0"),
        ("1 MGD", "gpm", "694.4", "0.05"),  # 1 000 000/1440
        ("212.0 degF", "°C", "100", "0"),
        ("32.00 degF", "degC", "0", "0"),
        ("98.6 degF", "degC", "37", "0"),
        ("-40 degF", "degC", "-40", "0"),
        ("20.0 degC", "degF", "68", "0"),
    ],
)
def test_a_unit_is_worth_what_nist_prints(text: str, unit: str, printed: str, half_a_digit: str) -> None:
    assert abs(Decimal(typed(text, unit)) - Decimal(printed)) <= Decimal(half_a_digit)


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("17.62 ft", "m", "17.62 ft = 5.370576 m"),  # 17.62 x 0.3048, by hand
        ("12 in", "ft", "12 in = 1 ft"),
        ("2.50 mm", "m", "2.50 mm = 0.0025 m"),
        ("3 m", "ft", "3 m = 9.843 ft"),  # 9.842519..., three places beyond the last one typed
        ("3.00 m", "ft", "3.00 m = 9.84252 ft"),
        ("51 degF", "degC", "51 degF = 10.5556 degC"),
    ],
)
def test_a_conversion_that_ends_is_exact_and_one_that_does_not_is_rounded_once(
    text: str, unit: str, words: str
) -> None:
    assert in_unit(Reading.parse(text), unit).words == words


def test_what_was_typed_is_kept_with_its_zeros_and_without_a_unit_nothing_is_converted() -> None:
    same = in_unit(Reading.parse("17.60"), "ft")
    assert (same.words, same.text, str(same.digit)) == ("17.60 ft", "17.60", "0.01")
    own = in_unit(Reading.parse("17.60 ft"), "ft")
    assert (own.typed.text, own.words) == ("17.60 ft", "17.60 ft")
    assert in_unit(Reading.parse("18.4 degC"), "°C").words == "18.4 °C"
    assert in_unit(Reading.parse("0.084 NTU"), "NTU").text == "0.084"


def test_the_last_digit_is_converted_too_and_of_a_temperature_as_a_difference() -> None:
    assert in_unit(Reading.parse("17.62 ft"), "m").digit == Decimal("0.003048")
    assert round(in_unit(Reading.parse("50.0 degF"), "degC").digit, 6) == Decimal("0.055556")
    assert round(convert(Decimal(9), "degF", "degC", difference=True), 9) == 5


@pytest.mark.parametrize(
    ("text", "unit", "sentence"),
    [
        (
            "10.4 psi",
            "ft",
            "display is 10.4 psi, and a value in ft is typed in m, cm, mm, ft or in; type it in one "
            "of these, or without a unit where it is in ft.",
        ),
        (
            "23 furlong",
            "m3/h",
            "display is 23 furlong, and a value in m3/h is typed in m3/h, L/s, gpm or MGD; type it in "
            "one of these, or without a unit where it is in m3/h.",
        ),
        (
            "60 degF",
            "kPa",
            "display is 60 degF, and a value in kPa is typed in kPa, mbar, bar, psi or inH2O; type it "
            "in one of these, or without a unit where it is in kPa.",
        ),
        (
            "0.08 FNU",
            "NTU",
            "display is 0.08 FNU, and a value in NTU is typed without a unit or in NTU alone; read it "
            "in NTU.",
        ),
        (
            "12 M",
            "m",
            "display is 12 M, and a value in m is typed in m, cm, mm, ft or in; type it in one of "
            "these, or without a unit where it is in m.",
        ),
    ],
)
def test_a_unit_that_does_not_fit_is_refused_with_those_that_do(text: str, unit: str, sentence: str) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        in_unit(Reading.parse(text), unit, "display")
    assert caught.value.message == sentence
    assert caught.value.where == "display"


def test_units_of_two_quantities_are_not_converted() -> None:
    with pytest.raises(ValueError, match="psi is not converted to ft"):
        convert(Decimal(1), "psi", "ft")
    assert units_that_fit("°C") == ("degC", "degF")
    assert "Pa" in units_of("pressure")
    assert "Pa" not in units_that_fit("kPa")  # what an instrument may be set to is not typed
    assert units_that_fit("mg/L") == ()


@pytest.mark.parametrize("unit", [unit for units in UNITS.values() for unit in units])
def test_every_unit_can_be_typed_and_stands_for_itself(unit: str) -> None:
    assert Reading.parse(f"1.5 {unit}").unit == unit
    assert typed(f"1.5 {unit}", unit) == "1.5"


@given(
    number=st.decimals(-9999, 9999, places=3), pair=st.sampled_from(list(permutations(UNITS["length"], 2)))
)
def test_there_and_back_is_what_was_typed(number: Decimal, pair: tuple[str, str]) -> None:
    """Within the three places kept beyond the last one typed."""
    here, there = pair
    way = in_unit(Reading.parse(f"{number:f} {here}"), there)
    assert abs(convert(way.value, there, here) - number) <= Decimal("0.000011")


def test_pint_is_loaded_where_another_unit_was_typed_and_never_before() -> None:
    script = (
        "import sys\n"
        "from wqverify.calculations.units import in_unit\n"
        "from wqverify.terms import Reading\n"
        "in_unit(Reading.parse('7.05'), 'ft'), in_unit(Reading.parse('7.05 ft'), 'ft')\n"
        "before = 'pint' in sys.modules\n"
        "in_unit(Reading.parse('7.05 ft'), 'm')\n"
        "print(before, 'pint' in sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False True"


# ---------------------------------------------------------------- on the sheet and on the page


class Typed(Part):
    level: Annotated[Amount | None, Ask("level", "analyzer")] = None
    tape: Annotated[Amounts | None, Ask("tape", "analyzer")] = None
    flow: Annotated[Text | None, Ask("sample flow", "analyzer")] = None


@pytest.mark.parametrize(
    ("raw", "text", "unit", "resolved", "shown"),
    [
        ({"level": "23.8"}, "23.8", "ft", "", "23.8 ft"),
        ({"level": "23.8 ft"}, "23.8 ft", "", "", "23.8 ft"),
        ({"level": "7.25 m"}, "7.25 m", "ft", "23.78609", "7.25 m = 23.78609 ft"),
        ({"tape": ["17.62", "17.60"]}, "17.62, 17.60", "ft", "", "17.62, 17.60 ft"),
        (
            {"tape": ["5.371 m", "17.60"]},
            "5.371 m, 17.60",
            "ft",
            "17.621391, 17.60",
            "5.371 m, 17.60 = 17.621391, 17.60 ft",
        ),
        ({"tape": ["10.4 psi", "10.5 psi"]}, "10.4 psi, 10.5 psi", "", "", "10.4 psi, 10.5 psi"),
        ({"flow": "480 by the cup"}, "480 by the cup", "ft", "", "480 by the cup ft"),
    ],
)
def test_the_page_shows_the_unit_that_was_typed_and_that_of_the_analyzer(
    raw: dict[str, Any], text: str, unit: str, resolved: str, shown: str
) -> None:
    Typed.model_validate(raw)
    (entry,) = entries(Typed, raw, "ft")
    assert (entry.text, entry.unit, entry.resolved) == (text, unit, resolved)
    assert in_its_unit(entry) == shown
    assert not is_time(entry)


def test_a_number_without_a_number_and_a_bare_number_are_refused() -> None:
    with pytest.raises(ValidationError, match="is not a reading such as"):
        Typed.model_validate({"level": "23,8 ft"})
    with pytest.raises(ValidationError):
        Typed.model_validate({"level": 23.8})


@pytest.mark.parametrize(
    ("text", "before", "last", "asked"),
    [
        ("41", [], "", True),
        ("41 m", [], "", False),  # beyond 40, and no ft
        ("17.6", ["17.62"], "", True),
        ("5.4 m", ["17.62"], "", False),
        ("5.4", [], "17.62", True),
        ("5.4 m", [], "17.62", False),
    ],
)
def test_what_was_typed_in_another_unit_is_not_called_odd_beside_the_analyzers(
    text: str, before: list[str], last: str, asked: bool
) -> None:
    assert bool(about_reading(text, before, last, Decimal(0), Decimal(40))) is asked
