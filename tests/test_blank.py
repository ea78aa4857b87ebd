"""Blank field sheets of every procedure: whole, valid, and with nothing guessed in them."""

from __future__ import annotations

import re
import tomllib
from typing import Any

import pytest
from pydantic import BaseModel

from wqverify.errors import CorrectTheEntry
from wqverify.plant.files import leaves
from wqverify.procedures import PROCEDURES
from wqverify.procedures.blank import blank_sheet, choices, filled, open_answers, shared_head
from wqverify.procedures.parts import Head
from wqverify.procedures.ph_sheet import PhSheet
from wqverify.procedures.sheets import parse, read_sheet
from wqverify.procedures.walk import answered, questions
from wqverify.shipped import shipped_folder

NAMES = sorted(PROCEDURES)
ANSWER = re.compile(r"# (\w+ = |\[)")


def uncommented(text: str) -> str:
    """The blank with every answer that is commented out, and every group of answers, taken in."""
    return "\n".join(line[2:] if ANSWER.match(line) else line for line in text.split("\n"))


def everything(part: type[BaseModel], raw: dict[str, Any], path: str = "") -> list[str]:
    """Name the questions that a sheet lacks."""
    lacking = []
    for question in questions(part):
        value = raw.get(question.name)
        if value is None:
            lacking.append(path + question.name)
        elif question.parts:
            inner = value[0] if isinstance(value, list) else value
            lacking += everything(question.parts[0], inner, f"{path}{question.name}.")
    return lacking


@pytest.mark.parametrize("name", NAMES)
def test_a_blank_asks_every_question_and_guesses_no_answer(name: str) -> None:
    sheet = PROCEDURES[name].Sheet
    raw = tomllib.loads(blank_sheet(sheet, {}))
    assert {value for _loc, value in leaves(raw)} == {""}
    all_of_it = tomllib.loads(uncommented(blank_sheet(sheet, {})))
    assert everything(sheet, all_of_it) == []


@pytest.mark.parametrize("name", NAMES)
def test_what_is_commented_out_is_known_to_the_sheet(name: str) -> None:
    raw = tomllib.loads(uncommented(blank_sheet(PROCEDURES[name].Sheet, {})))
    with pytest.raises(CorrectTheEntry) as caught:
        parse(PROCEDURES[name], raw)
    assert "is not known here" not in str(caught.value)


@pytest.mark.parametrize("name", NAMES)
def test_a_blank_is_refused_until_it_is_filled_in(name: str) -> None:
    raw = tomllib.loads(blank_sheet(PROCEDURES[name].Sheet, {"procedure": name}))
    assert ("serial_on_plate",) in list(open_answers(raw))
    with pytest.raises(CorrectTheEntry, match="serial_on_plate is empty; fill it in"):
        parse(PROCEDURES[name], raw)


@pytest.mark.parametrize("name", NAMES)
def test_with_all_answers_of_a_visit_it_is_the_sheet_of_that_visit(name: str) -> None:
    visit, _document = read_sheet(shipped_folder("demo_runs") / name / "visit.toml")
    text = blank_sheet(PROCEDURES[name].Sheet, visit)
    raw = answered(tomllib.loads(text))
    assert raw == visit
    assert list(open_answers(raw)) == []
    assert parse(PROCEDURES[name], raw) == parse(PROCEDURES[name], visit)
    assert text == blank_sheet(PROCEDURES[name].Sheet, visit)


def line_of(text: str, start: str) -> str:
    (found,) = [line for line in text.split("\n") if line.startswith(start)]
    return found


def test_units_choices_and_help_stand_beside_the_question() -> None:
    text = blank_sheet(PhSheet, {"as_found": {"points": [{"standard": "B7"}]}})
    assert line_of(text, "reason").endswith("routine, call-out, after repair, commissioning")
    points = text.split("[[as_found.points]]")[1].split("\n\n")[0]
    assert 'standard = "B7"                    # buffer; its id, as on the label and in ' in points
    assert (
        "readings = []                      # pH readings, pH; every reading until it holds still" in points
    )
    assert '# mv = ""                            # electrode voltage with the last reading, mV' in points
    assert line_of(text, "# same_as").endswith("instead of the answers below: as_found, after_cleaning")
    assert line_of(text, "state").endswith("in service, in service with restriction, out of service")


def test_the_unit_of_the_analyzer_stands_for_its_questions() -> None:
    assert "control system with the last reading, mg/L" in blank_sheet(PhSheet, {}, "mg/L")
    assert "control system with the last reading, pH" in blank_sheet(PhSheet, {})


def test_a_part_that_is_not_done_there_says_so_instead_of_asking() -> None:
    why = "no dosing is controlled from this analyzer"
    raw = tomllib.loads(blank_sheet(PhSheet, {"loop_in_manual": {"not_done": why}}))
    assert raw["loop_in_manual"] == {"not_done": why}


def test_an_answer_of_a_part_that_may_be_left_out_opens_that_part() -> None:
    raw = tomllib.loads(blank_sheet(PhSheet, {"thermometer_check": {"reference": "T-17"}}))
    assert raw["thermometer_check"] == {"reference": "T-17", "reference_c": "", "shown_c": ""}
    assert tomllib.loads(blank_sheet(PhSheet, {}))["thermometer_check"] == {}


@pytest.mark.parametrize("name", NAMES)
def test_an_answer_is_taken_for_the_heading_it_stands_under(name: str) -> None:
    """Every answer opened alone lies where its heading says: none slips into the group above."""
    text = blank_sheet(PROCEDURES[name].Sheet, {})
    lines, heading, opened = text.split("\n"), "", 0
    for number, line in enumerate(lines):
        if line.startswith("["):
            heading = line.partition("]")[0].strip("[")
        elif found := re.match(r'# ([a-z_]+) = (""|\[\])', line):
            opened += 1
            alone = [*lines[:number], line.removeprefix("# "), *lines[number + 1 :]]
            raw: Any = tomllib.loads("\n".join(alone))
            for step in filter(None, heading.split(".")):
                raw = raw[step][-1] if isinstance(raw[step], list) else raw[step]
            assert found[1] in raw, f"{heading}: {found[1]}"
    assert opened > 20


def test_a_group_nobody_answered_is_as_if_it_were_not_there() -> None:
    raw = {
        "cleaned": {},
        "grab": [{}],
        "as_found": {"zero": {}, "points": [{"readings": []}]},
        "clocks": {"a": {}},
    }
    assert answered(raw) == {"as_found": {"points": [{"readings": []}]}}


@pytest.mark.parametrize("other", [{"not_done": "no water"}, {"same_as": "as_found"}])
def test_what_stands_open_beside_the_other_form_is_no_answer(other: dict[str, str]) -> None:
    """The block of readings below `not_done` need not be taken out by hand; what was typed there stays."""
    block = {"points": [{"standard": "S-05", "readings": []}]}
    typed = {"points": [{"standard": "S-05", "readings": ["0.51"]}]}
    assert answered({"as_left": {**other, **block}}) == {"as_left": other}
    assert answered({"as_left": {**other, **typed}}) == {"as_left": {**other, **typed}}
    assert answered({"as_left": {"not_done": "", **block}}) == {"as_left": {"not_done": "", **block}}


def test_answers_with_signs_of_toml_come_back_as_they_were_typed() -> None:
    odd = 'a "quoted" \\ path, # no comment, °C, 水'
    assert tomllib.loads(blank_sheet(PhSheet, {"method": odd}))["method"] == odd


def test_a_shared_head_holds_its_own_questions_only() -> None:
    text = shared_head(Head, {"reason": "routine"}, ("reason", "started", "cautions"), "head")
    assert tomllib.loads(text) == {"head": {"reason": "routine", "started": "", "cautions": {"read": ""}}}


def test_what_stands_open_is_taken_from_the_head_and_what_is_typed_counts() -> None:
    sheet = {
        "reason": "",
        "method": "mine",
        "cautions": {"read": ""},
        "points": [{"standard": ""}],
        "tag": "",
    }
    head = {"reason": "routine", "method": "theirs", "cautions": {"read": "yes"}, "remarks": "not asked"}
    assert filled(sheet, head) == {
        "reason": "routine",
        "method": "mine",
        "cautions": {"read": "yes"},
        "points": [{"standard": ""}],
        "tag": "",
    }
    assert filled(sheet, {}) == sheet
    assert filled({"cautions": ""}, {"cautions": {"read": "yes"}}) == {"cautions": ""}


def test_open_answers_are_named_where_they_stand() -> None:
    raw = {"a": "", "b": "x", "c": {"d": [], "e": ["1", ""]}, "f": [{"g": ""}]}
    assert list(open_answers(raw)) == [("a",), ("c", "d"), ("c", "e", 1), ("f", 0, "g")]


def test_choices_are_those_of_the_question_also_where_it_may_be_left_out() -> None:
    assert choices(PhSheet.model_fields["reason"])[0] == "routine"
    assert choices(PhSheet.model_fields["method"]) == ()
    use = PROCEDURES["ph_calibration"].Sheet.model_fields["as_found"]
    assert choices(use) == ()
