"""Look-ups at the bench: each gives its number with unit, validity and source, in 80 columns, also as JSON.

Outside values are those of the calculations and tables, here once more at the end of the way: A01, A03, A09,
A14 to A22, A24, W28 and W31 to W33 of the project's external facts and practice checks; V04 for the buffer.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from wqverify.calculations.units import convert
from wqverify.cli import main
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.lists.look_up import typed_for
from wqverify.lists.look_ups import LOOK_UPS, look_up_named

# One answer of each look-up that somebody else printed: what is typed, which number, its text, within.
PRINTED = [
    ("buffer", ["7.00", "18.4"], 0, "7.0264", 0.00005),  # V04, straight between the rows 15 and 20 °C
    ("buffer", ["phosphate 1:1", "10"], -1, "6.923", 0.0005),  # A03, IUPAC 2002
    ("slope", ["25"], 0, "59.1593", 0.0005),  # A01
    ("slope", ["25", "-59.4324"], 1, "100.46", 0.01),  # A05
    ("dilution", ["20", "100", "4000", "0"], 0, "0.500", 0.0005),  # A09
    ("oxygen", ["10"], 0, "11.288", 0.0005),  # A16
    ("oxygen", ["20", "96.25875"], 0, "8.627", 0.0005),  # A17, 0.95 atm
    ("lag", ["6.35", "10", "500"], 0, "316.7", 0.05),  # W32
    ("lag", ["6.35", "10", "500"], 1, "38.0", 0.05),
    ("lag", ["4.57", "30", "250", "450"], 2, "226.08", 0.12),  # W33, 3.768 min
    ("lag", ["4.57", "30", "250", "450"], 3, "441.66", 0.12),  # 7.361 min
    ("acid", ["7.2", "20"], 0, "70.66", 0.01),  # W28
    ("flow", ["1", "gpm"], 1, "0.06309020", 5e-8),  # NIST SP 811, B.8 (from memory)
    ("root", ["12"], 0, "70.7107", 0.0001),  # A22
    ("root", ["8"], 1, "25.0", 1e-9),
    ("kcl", ["0.01 m", "20"], 0, "1273.03", 0.005),  # A14, Pratt and others 2001
    ("kcl", ["0.01 m", "25"], 0, "1408.23", 0.005),
    ("kcl", ["1413", "20"], 0, "1278", 0.5),  # trade table of the project's external facts, section 5
    ("f25", ["300", "15.0"], 0, "376.8", 0.05),  # A15, ISO 7888:1985
    ("f25", ["300", "15.0"], 1, "1.256", 0.00005),
    ("f25", ["300", "15.0"], 2, "375.0", 0.05),  # A15, linear 2 % per °C
    ("f25", ["300", "10"], 3, "1.4286", 0.00005),  # A15, by hand 1/0.7
    ("f25", ["300", "0"], 3, "2.0000", 0.00005),
    ("f25", ["300", "15", "2", "20"], 1, "1.12545", 0.0001),  # f20 = f25/1.116, the note on ISO 7888
    ("ohm", ["-10"], 0, "96.0859", 0.00005),  # A19, IEC 60751
    ("ohm", ["20"], 0, "107.7935", 0.00005),
    ("ohm", ["100"], 0, "138.5055", 0.00005),
    ("ohm", ["100", "1000"], 0, "1385.055", 0.0005),
    ("ohm", ["50"], 3, "0.25", 1e-9),  # A20, class A
    ("ohm", ["50"], 4, "0.55", 1e-9),  # class B
    ("pt100", ["108.5"], 0, "21.819", 0.0005),  # A19
    ("pt100", ["96.0859"], 0, "-10.000", 0.0005),
    ("pt100", ["119.39713"], 2, "0.25", 1e-9),  # A20 at 50 °C, its resistance by the equation by hand
    ("value", ["7.2", "0", "5", "mg/L"], 0, "1.000", 1e-9),  # A21
    ("value", ["12", "0", "100", "%"], 1, "70.7107", 0.0001),  # A22
    ("current", ["1", "0", "5", "mg/L"], 0, "7.2", 1e-9),  # A21 the other way
    ("current", ["70.7107", "0", "100", "%"], 1, "12.000", 0.0001),  # A22 the other way
    ("pressure", ["5"], 0, "48.9453", 0.00005),  # A24
    ("pressure", ["5"], 1, "998.2067", 0.0005),  # A18, Tanaka and others 2001
    ("pressure", ["5", "5"], 1, "999.9668", 0.0005),
    ("level", ["48.9453"], 0, "5.000", 0.0001),  # A24 the other way
    ("level", ["1", "20"], 0, "0.1022", 0.00005),  # W31
    # The same in other units, by NIST SP 811 B.8 and B.9: foot 0.3048 m, psi 6.894757 kPa, conventional inch
    # of water 249.0889 Pa, t = (F - 32)/1.8, and by metric prefixes.
    ("f25", ["0.3 mS/cm", "59 degF"], 0, "376.8", 0.05),  # A15 at 15 °C
    ("f25", ["300", "59.0 °F", "2", "77 degF"], 2, "375.0", 0.05),
    ("f25", ["300", "50 degF"], 3, "1.4286", 0.00005),
    ("kcl", ["0.01 m", "68 degF"], 0, "1273.03", 0.005),
    ("acid", ["7.2", "68 degF"], 0, "70.66", 0.01),
    ("ohm", ["212 degF"], 0, "138.5055", 0.00005),
    ("oxygen", ["50 degF", "1013.25 mbar"], 0, "11.288", 0.0005),
    ("lag", ["0.25 in", "1000 cm", "500"], 0, "316.7", 0.05),
    ("pressure", ["16.4042 ft", "68 degF"], 0, "48.9453", 0.00005),  # A24, 5 m
    ("pressure", ["5000 mm"], 2, "7.09892", 0.00005),  # 48.9453/6.894757 psi
    ("pressure", ["5"], 3, "196.497", 0.0005),  # 48945.3/249.0889 inches of water
    ("level", ["7.09892 psi"], 0, "5.000", 0.0001),
    ("level", ["196.497 inH2O"], 0, "5.000", 0.0001),
    ("level", ["489.453 mbar"], 2, "16.4042", 0.0001),  # 5/0.3048 ft
    ("level", ["1 psi", "39.2 degF"], 0, "0.70309", 0.00005),  # 6.894757 kPa under 999.975 kg/m3 at 4 °C
    ("root", ["12 mA"], 0, "70.7107", 0.0001),
]


@pytest.mark.parametrize(("name", "texts", "which", "printed", "within"), PRINTED)
def test_what_is_looked_up_is_what_others_print(
    name: str, texts: list[str], which: int, printed: str, within: float
) -> None:
    look_up = look_up_named(name)
    found = look_up.answer(typed_for(look_up, texts)).found[which]
    assert float(found.value) == pytest.approx(float(printed), abs=within)
    assert found.unit


def test_every_look_up_is_tried() -> None:
    assert {row[0] for row in PRINTED} == {one.name for one in LOOK_UPS}
    assert len({one.name for one in LOOK_UPS}) == len(LOOK_UPS)


@pytest.mark.parametrize("look_up", LOOK_UPS, ids=lambda one: one.name)
def test_every_look_up_says_formula_validity_and_source(look_up: Any) -> None:
    assert look_up.title
    assert look_up.formula
    assert look_up.valid
    assert look_up.source
    optional = [one.usual is not None for one in look_up.wanted]
    assert optional == sorted(optional), "what may be left out stands last"


# ---------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("name", "texts", "sentence"),
    [
        (
            "oxygen",
            [],
            "TEMPERATURE: is missing. Type wqverify lookup oxygen TEMPERATURE [PRESSURE] [SALINITY]",
        ),
        ("acid", ["7", "20", "3"], "3: too much is typed. Type wqverify lookup acid PH TEMPERATURE"),
        ("oxygen", ["40.1"], "TEMPERATURE (of the water) is 40.1 °C; it has to be 0 to 40 °C."),
        ("oxygen", ["20", "49"], "PRESSURE (of the air there) is 49 kPa; it has to be 50 to 110 kPa."),
        ("lag", ["0", "1", "1"], "BORE (inner diameter of the tube) is 0 mm; it has to be above 0 mm."),
        (
            "oxygen",
            ["20 C"],
            "TEMPERATURE is 20 C, and a value in °C is typed in degC or degF; type it in one of these, or "
            "without a unit where it is in °C.",
        ),
        (
            "f25",
            ["300 psi", "15"],
            "CONDUCTIVITY is 300 psi, and a value in uS/cm is typed in uS/cm or mS/cm; type it in one of "
            "these, or without a unit where it is in uS/cm.",
        ),
        (
            "level",
            ["5 ft"],
            "PRESSURE is 5 ft, and a value in kPa is typed in kPa, mbar, bar, psi, inH2O, Pa or ftH2O; type "
            "it in one of these, or without a unit where it is in kPa.",
        ),
        (
            "pressure",
            ["5 psi"],
            "LEVEL is 5 psi, and a value in m is typed in m, cm, mm, ft or in; type it in one of these, or "
            "without a unit where it is in m.",
        ),
        (
            "pressure",
            ["5", "104.1 degF"],
            "TEMPERATURE (of the water) is 104.1 degF = 40.05555556 °C; it has to be 0 to 40 °C.",
        ),
        ("f25", ["300", "15", "2 %"], "COEFFICIENT is '2 %'; type the number alone, in %/°C."),
        ("oxygen", ["20", "101", "5 g"], "SALINITY is '5 g'; type the number alone, in no unit."),
        ("oxygen", ["20,1"], "'20,1' is not a reading such as 7.05 (a decimal point, not a comma)"),
        ("root", ["3.9"], "The signal is -0.625 % of its span, and a negative signal has no square root"),
        ("flow", ["1", "psi"], "psi is no unit of flow that is known here; write one of m3/h"),
        ("dilution", ["0.02", "100"], "A standard of 0.02 NTU cannot be made with water of 0.02 NTU"),
        (
            "kcl",
            ["0.01 m", "50.1"],
            "50.1 °C is outside the table conductivity_kcl (IUPAC 2001)",
        ),
        ("f25", ["300", "0", "5"], "A coefficient of 0.05 per °C leaves nothing of a conductivity at 0 °C"),
        ("ohm", ["850.1"], "TEMPERATURE (of the element) is 850.1 °C; it has to be -200 to 850 °C."),
        ("pt100", ["18.5"], "18.5 ohm is no resistance of a platinum element of 100 ohm: it runs from 18.52"),
        ("value", ["12", "5", "5", "ft"], "The range 5 to 5 has no width, so no current stands for a value"),
        ("current", ["18.4", "0", "14", "pH"], "18.4 pH is so far outside 0 to 14 pH that no loop has a"),
        ("current", ["1", "0", "5"], "UNIT: is missing. Type wqverify lookup current VALUE LOW HIGH UNIT"),
        ("current", ["1", "0", "5", ""], "UNIT is ''; type the unit of the range as one word"),
        ("current", ["1", "0", "5", "7"], "UNIT is '7'; type the unit of the range as one word"),
        ("pressure", ["5", "40.1"], "TEMPERATURE (of the water) is 40.1 °C; it has to be 0 to 40 °C."),
        ("buffer", ["7.00", "51"], "51 °C is outside the table ph_buffers_ready_made (trade 1), which gives"),
    ],
)
def test_what_cannot_be_looked_up_is_refused(name: str, texts: list[str], sentence: str) -> None:
    look_up = look_up_named(name)
    with pytest.raises(CorrectTheEntry) as caught:
        look_up.answer(typed_for(look_up, texts))
    assert caught.value.message.startswith(sentence)


@pytest.mark.parametrize("text", ["0", "40"])
def test_bounds_are_inclusive(text: str) -> None:
    look_up = look_up_named("oxygen")
    assert look_up.answer(typed_for(look_up, [text])).found


def test_an_unknown_buffer_is_refused_with_the_nearest_and_all() -> None:
    look_up = look_up_named("buffer")
    with pytest.raises(ChooseAnother) as caught:
        look_up.answer(typed_for(look_up, ["phthalat", "20"]))
    assert caught.value.message.startswith(
        "No table here has a buffer 'phthalat'; did you mean phthalate? There"
    )


def test_an_unknown_standard_is_refused_with_the_nearest_and_all() -> None:
    look_up = look_up_named("kcl")
    with pytest.raises(ChooseAnother) as caught:
        look_up.answer(typed_for(look_up, ["0.01m", "20"]))
    assert caught.value.message == (
        "No table here has a standard '0.01m'; did you mean 0.01 m? There is 0.01 m, 0.1 m, 1.0 m, 84, 500, "
        "1413, 12880."
    )


def test_a_table_that_does_not_reach_is_said_beside_one_that_does() -> None:
    look_up = look_up_named("buffer")
    answer = look_up.answer(typed_for(look_up, ["phthalate", "60"]))
    assert [one.value for one in answer.found] == ["4.10"]  # JIS Z 8802 alone goes to 95 °C
    assert sum("nothing is extrapolated" in text for text in answer.says) == 2


def says(name: str, *texts: str) -> tuple[int, tuple[str, ...]]:
    """How many numbers a look-up gives, and what it says besides."""
    look_up = look_up_named(name)
    answer = look_up.answer(typed_for(look_up, texts))
    return len(answer.found), answer.says


def test_beyond_the_factors_of_iso_7888_linear_is_still_given() -> None:
    assert says("f25", "300", "35")[0] == 4
    found, said = says("f25", "300", "35.1")
    assert found == 2
    assert "35.1 °C is outside the table conductivity_f25" in said[1]


@pytest.mark.parametrize(("t", "classes"), [("0", 4), ("-0.1", 3), ("150", 4), ("150.1", 3), ("600.1", 0)])
def test_a_class_is_given_where_it_is_stated(t: str, classes: int) -> None:
    found, said = says("ohm", t)
    assert found == 2 + classes
    assert sum("of IEC 60751 is stated for" in text for text in said) == 4 - classes


@pytest.mark.parametrize(("ma", "found"), [("4", 2), ("3.99", 1)])
def test_below_4_ma_the_value_is_given_without_a_root(ma: str, found: int) -> None:
    numbers, said = says("value", ma, "0", "100", "%")
    assert numbers == found
    assert any(text.startswith("The square root of a negative signal") for text in said) is (found == 1)


@pytest.mark.parametrize(
    ("ma", "state"), [("3.6", "failure low"), ("3.8", "measuring"), ("20.6", "not valid, high")]
)
def test_what_a_current_says_about_itself_is_said(ma: str, state: str) -> None:
    assert says("value", ma, "0", "100", "%")[1][0] == f"{ma} mA by NAMUR NE 43: {state}."


def test_a_value_outside_its_range_is_said() -> None:
    assert says("current", "14", "0", "14", "pH")[1] == ()
    assert says("current", "18.375", "0", "14", "pH")[0] == 3  # 25 mA
    assert says("current", "14.1", "0", "14", "pH")[1][0].startswith("14.1 pH is outside the range; a trans")


# ---------------------------------------------------------------- the command

Wqverify = Callable[..., tuple[int, str, str]]
WORDS = {"type": "string", "minLength": 1}
SCHEMA = {
    "type": "object",
    "additionalProperties": False,
    "required": ["lookup", "given", "found", "formula", "valid", "source", "says"],
    "properties": {
        "lookup": {"type": "string"},
        "given": {
            "type": "array",
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["name", "what", "typed", "value", "unit"],
                "properties": {key: {"type": "string"} for key in ("name", "what", "typed", "value", "unit")},
            },
        },
        "found": {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["what", "value", "unit", "source"],
                "properties": {key: WORDS for key in ("what", "value", "unit", "source")},
            },
        },
        "formula": {"type": "string"},
        "valid": {"type": "string"},
        "source": {"type": "string"},
        "says": {"type": "array", "items": {"type": "string"}},
    },
}


@pytest.fixture
def wqverify(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Wqverify:
    """Run the command as the shell would, in a folder that is no plant."""
    monkeypatch.chdir(tmp_path)

    def run(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["wqverify", "lookup", *arguments])
        with pytest.raises(SystemExit) as ended:
            main()
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        code = ended.value.code
        return code if isinstance(code, int) else 0, told.out, told.err

    return run


def test_without_a_name_all_are_listed(wqverify: Wqverify) -> None:
    code, out, _ = wqverify()
    assert code == 0
    assert all(one.name in out and one.title in out for one in LOOK_UPS)
    listed = json.loads(wqverify("--json")[1])
    assert [row["name"] for row in listed] == [one.name for one in LOOK_UPS]


@pytest.mark.parametrize("look_up", LOOK_UPS, ids=lambda one: one.name)
def test_with_a_name_alone_it_says_what_it_asks_for(wqverify: Wqverify, look_up: Any) -> None:
    code, out, _ = wqverify(look_up.name)
    assert code == 0
    assert look_up.usage in out
    assert all(one.name in out and one.what in " ".join(out.split()) for one in look_up.wanted)
    assert json.loads(wqverify(look_up.name, "--json")[1])["usage"] == look_up.usage


@pytest.mark.parametrize(("name", "texts", "which"), [row[:3] for row in PRINTED])
def test_every_answer_fits_80_columns_and_its_json_the_schema(
    wqverify: Wqverify, name: str, texts: list[str], which: int
) -> None:
    code, out, _ = wqverify(name, *texts)
    look_up = look_up_named(name)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    said = " ".join(out.split())
    for words in (look_up.formula, look_up.valid, look_up.source):
        assert " ".join(words.split()) in said
    document = json.loads(wqverify(name, *texts, "--json")[1])
    jsonschema.validate(document, SCHEMA)
    assert document["found"][which]["value"] in out
    assert [row["typed"] for row in document["given"]][: len(texts)] == texts


def test_what_was_typed_in_another_unit_is_shown_in_both(wqverify: Wqverify) -> None:
    _, out, _ = wqverify("pressure", "16 ft", "51 °F")
    said = " ".join(out.split())
    assert "typed 16 ft = 4.8768 m, 51 degF = 10.55555556 °C (NIST SP 811, appendix B)" in said
    given = json.loads(wqverify("pressure", "16 ft", "51 °F", "--json")[1])["given"]
    assert [(row["typed"], row["value"], row["unit"]) for row in given] == [
        ("16 ft", "4.8768", "m"),
        ("51 °F", "10.55555556", "°C"),
        ("9.80665", "9.80665", "m/s2"),
    ]
    assert "NIST SP 811, appendix B)" not in wqverify("pressure", "5 m", "20 degC")[1]


def test_which_units_a_number_is_typed_in_is_said(wqverify: Wqverify) -> None:
    said = " ".join(wqverify("f25")[1].split())
    assert "CONDUCTIVITY not compensated, from 0 uS/cm, also in mS/cm" in said
    assert "TEMPERATURE of the water, 0 to 50 °C, also in degF" in said
    assert 'A number with another unit stands in quotes: "68 degF".' in said
    wanted = json.loads(wqverify("f25", "--json")[1])["wanted"]
    assert [row["units"] for row in wanted] == [
        ["uS/cm", "mS/cm"],
        ["degC", "degF"],
        [],
        ["degC", "degF"],
    ]
    assert "quotes" not in wqverify("root")[1]


@pytest.mark.parametrize(
    "look_up",
    [one for one in LOOK_UPS if any(wanted.units for wanted in one.wanted)],
    ids=lambda one: one.name,
)
def test_every_number_with_a_unit_of_the_table_takes_every_unit_that_fits(look_up: Any) -> None:
    plain = next(row[1] for row in PRINTED if row[0] == look_up.name)
    texts = [*plain, *(one.usual for one in look_up.wanted[len(plain) :])]
    for place, one in enumerate(look_up.wanted):
        for unit in one.units:
            there = convert(Decimal(texts[place]), one.unit, unit)
            other = [*texts[:place], f"{there:.5f} {unit}", *texts[place + 1 :]]
            found = look_up.answer(typed_for(look_up, other)).found
            expected = look_up.answer(typed_for(look_up, texts)).found
            assert [float(x.value) for x in found] == [
                pytest.approx(float(x.value), rel=3e-3) for x in expected
            ], (one.name, unit)


def test_a_negative_number_is_no_option(wqverify: Wqverify) -> None:
    code, _, err = wqverify("oxygen", "-1")
    assert (code, err) == (2, "TEMPERATURE (of the water) is -1 °C; it has to be 0 to 40 °C.\n")


def test_a_name_that_is_none_is_refused_with_the_nearest(wqverify: Wqverify) -> None:
    code, _, err = wqverify("oxigen")
    assert (code, err) == (2, "There is no look-up 'oxigen'; did you mean oxygen?\n")
