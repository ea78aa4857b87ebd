"""One catalogue of sentences: each type of complaint pydantic has is said in words, with file and line."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    StrictBool,
    ValidationError,
    model_validator,
)

from wqverify.errors import CorrectTheEntry
from wqverify.plant.files import Document
from wqverify.plant.messages import CATALOGUE, explain, nearest
from wqverify.terms import Outcome


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class NotDone(Strict):
    not_done: Annotated[str, Field(min_length=1)]


class Same(Strict):
    same_as: Literal["as_found"]


class Point(Strict):
    buffer: str
    readings: tuple[str, ...]


class Part(Strict):
    points: Annotated[tuple[Point, ...], Field(min_length=1, max_length=2)]


class Yes(Strict):
    kind: Literal["yes"]


class No(Strict):
    kind: Literal["no"]


def not_no(text: str) -> str:
    if text == "no":
        raise ValueError("write the reason, not just no.")
    return text


class Sheet(Strict):
    tag: str = "x"
    note: Annotated[str, Field(min_length=1, max_length=5)] = "x"
    code: Annotated[str, Field(pattern="^[a-z]+$")] = "x"
    rule: Literal["simple", "guarded"] = "simple"
    outcome: Outcome = Outcome.PASS
    done: StrictBool = True
    tags: tuple[str, ...] = ()
    names: list[str] = Field(default_factory=list)
    settings: dict[str, str] = Field(default_factory=dict)
    reason: Annotated[str, AfterValidator(not_no)] = "x"
    as_left: Part | Same | NotDone | None = None
    answer: Annotated[Yes | No, Field(discriminator="kind")] | None = None
    hop: tuple[Point, ...] = ()

    @model_validator(mode="after")
    def fits(self) -> Sheet:
        if self.tag == "wrong":
            raise ValueError("tag and note do not fit.")
        return self


def said(text: str, model: type[BaseModel] = Sheet) -> str:
    data: dict[str, Any] = tomllib.loads(text)
    document = Document(Path("visit.toml"), text, data)
    with pytest.raises(ValidationError) as found:
        model.model_validate(data)
    error = explain(found.value, document, model)
    assert isinstance(error, CorrectTheEntry)
    return str(error)


POINT = '{buffer = "a", readings = []}'
CASES = [
    ("missing", "[[hop]]\nreadings = []", "line 1: buffer is missing; add it."),
    ("string_type", "\ntag = 7.00", 'line 2: tag is written without quotes; write "7.00" in double quotes.'),
    ("string_type", '\ntag = ["a"]', 'line 2: tag is a group or list; write it as tag = "text".'),
    ("string_too_long", '\nnote = "123456"', "line 2: note is longer than 5 characters; shorten it."),
    ("string_too_short", 'note = ""', "line 1: note is empty; fill it in or leave the line out."),
    (
        "string_pattern_mismatch",
        'code = "A\\u001b"',
        "line 1: code is 'A\\x1b', which has characters it cannot have; correct it.",
    ),
    ("literal_error", 'rule = "simpel"', "line 1: rule is 'simpel'; it must be 'simple' or 'guarded'."),
    (
        "enum",
        'outcome = "good"',
        "line 1: outcome is 'good'; it must be 'pass', 'fail', 'too close to decide' or 'not evaluated'.",
    ),
    ("bool_type", 'done = "yes"', "line 1: done is 'yes'; write true or false, without quotes."),
    ("tuple_type", 'tags = "a"', 'line 1: tags is no list; write it as tags = ["…", "…"].'),
    ("tuple_type", '[hop]\nbuffer = "a"', "line 1: hop can stand several times; head each with [[hop]]."),
    ("list_type", 'names = "a"', 'line 1: names is no list; write it as names = ["…", "…"].'),
    ("too_short", "[as_left]\npoints = []", "line 2: points holds 0 entries; at least 1 must be there."),
    (
        "too_long",
        f"[as_left]\npoints = [{', '.join([POINT] * 3)}]",
        "line 2: points holds 3 entries; at most 2 can be taken.",
    ),
    (
        "dict_type",
        'settings = "a"',
        "line 1: settings is no group of entries; write it under a heading [settings].",
    ),
    (
        "model_type",
        'hop = ["a"]',
        "line 1: item 1 of hop is no group of entries; write it under a heading [[hop]].",
    ),
    ("value_error", 'reason = "no"', "line 1: reason: write the reason, not just no."),
    ("value_error", 'tag = "wrong"', "tag and note do not fit."),
    ("extra_forbidden", 'tga = "x"', "line 1: tga is not known here; did you mean tag?"),
    (
        "extra_forbidden",
        '[[hop]]\nbuffer = "a"\nreadings = []\nreading = "7.0"',
        "line 4: reading is not known here; did you mean readings?",
    ),
    (
        "extra_forbidden",
        '[[hop]]\nbuffer = "a"\nreadings = []\n"\\u001b[1m" = "7.0"',
        "line 4: '\\x1b[1m' is not known here; known here: buffer, readings.",
    ),
    (
        "union_tag_invalid",
        'answer = {kind = "x"}',
        "line 1: answer has none of the forms it can have, 'yes', 'no'; correct it.",
    ),
    (
        "union_tag_not_found",
        "answer = {}",
        "line 1: answer has none of the forms it can have; compare it with an example.",
    ),
]


@pytest.mark.parametrize(("kind", "text", "sentence"), CASES)
def test_each_type_of_complaint_has_its_sentence(kind: str, text: str, sentence: str) -> None:
    with pytest.raises(ValidationError) as found:
        Sheet.model_validate(tomllib.loads(text))
    assert kind in {detail["type"] for detail in found.value.errors()}
    place = "visit.toml, " if sentence.startswith("line") else "visit.toml: "
    assert said(text) == place + sentence


def test_the_catalogue_holds_no_sentence_that_is_not_tested() -> None:
    by_plant_files = {"said"}  # our own complaints: tests/test_plant_folder.py
    by_from_attributes = {"model_attributes_type"}  # what pydantic says of a group in a choice by attributes
    assert set(CATALOGUE) == {kind for kind, _, _ in CASES} - {"string_type", "extra_forbidden"} | (
        by_plant_files | by_from_attributes
    )


def test_an_unknown_type_of_complaint_is_said_as_pydantic_says_it() -> None:
    class Odd(Strict):
        number: Annotated[int, Field(gt=3)]

    assert said("number = 2", Odd) == "visit.toml, line 1: number: Input should be greater than 3."


# ---------------------------------------------------------------- a choice between forms


def test_of_a_choice_only_the_form_that_fits_best_complains() -> None:
    text = '[as_left]\npoints = [{buffer = "B7", readngs = ["7.00"]}]'
    assert said(text).split("\n") == [
        "visit.toml, line 2: readings is missing; add it.",
        "visit.toml, line 2: readngs is not known here; did you mean readings?",
    ]


def test_a_reason_that_is_empty_is_not_taken_for_a_part_without_points() -> None:
    assert said('[as_left]\nnot_done = ""') == (
        "visit.toml, line 2: not_done is empty; fill it in or leave the line out."
    )


def test_problems_of_different_parts_are_all_listed_in_the_order_of_the_file() -> None:
    text = 'rule = "x"\ntag = 7\n[as_left]\nsame_as = "as_fuond"\n[[hop]]\nbuffer = 7.00\n'
    assert said(text).split("\n") == [
        "visit.toml, line 1: rule is 'x'; it must be 'simple' or 'guarded'.",
        'visit.toml, line 2: tag is written without quotes; write "7" in double quotes.',
        "visit.toml, line 4: same_as is 'as_fuond'; it must be 'as_found'.",
        "visit.toml, line 5: readings is missing; add it.",
        'visit.toml, line 6: buffer is written without quotes; write "7.00" in double quotes.',
    ]


def test_at_most_ten_are_listed() -> None:
    text = "\n".join(f'k{i:02d} = "1"' for i in range(14))
    lines = said(text).split("\n")
    assert len(lines) == 11
    assert lines[-1] == "visit.toml: and 4 more."


def test_without_the_model_no_name_is_suggested() -> None:
    data = {"tga": "x"}
    with pytest.raises(ValidationError) as found:
        Sheet.model_validate(data)
    error = explain(found.value, Document(Path("visit.toml"), 'tga = "x"', data))
    assert str(error) == "visit.toml, line 1: tga is not known here; is it misspelt?"
    assert (error.found, error.where) == ("tga", "visit.toml, line 1")


@pytest.mark.parametrize(
    ("name", "answer"),
    [("Serial", "did you mean serial?"), ("zzz", "known here: tag, serial."), ("TGA", "did you mean tag?")],
)
def test_the_nearest_known_name_is_offered(name: str, answer: str) -> None:
    assert nearest(name, ["tag", "serial"]) == answer
