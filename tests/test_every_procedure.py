"""Every procedure has its files, and its demo run gives the checks it must give."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from pydantic import BaseModel

from wqverify.procedures import PROCEDURES
from wqverify.procedures.opening import CONDITIONS
from wqverify.procedures.parts import Head, Tail
from wqverify.procedures.sheets import parse
from wqverify.procedures.walk import Question, questions
from wqverify.records.record import case_from, compute
from wqverify.records.workbook import demo_case
from wqverify.shipped import shipped_folder

ROOT = Path(__file__).resolve().parent.parent
NAMES = sorted(PROCEDURES)


@pytest.mark.parametrize("name", NAMES)
def test_its_files_are_there(name: str) -> None:
    demo = shipped_folder("demo_runs") / name
    wanted = [
        shipped_folder("notebooks") / f"{name}.ipynb",
        demo / "visit.toml",
        demo / "given.json",
        demo / "expected_checks.toml",
        ROOT / "tests" / f"test_{name}.py",
    ]
    missing = [path.name for path in wanted if not path.is_file()]
    assert not missing
    assert f"`{name}`" in (ROOT / "README.md").read_text("utf-8")
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    shipped = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert f"demo_runs/{name}" in shipped


@pytest.mark.parametrize("name", NAMES)
def test_it_says_what_it_is(name: str) -> None:
    procedure = PROCEDURES[name]
    assert procedure.name == name
    assert procedure.title
    assert procedure.revision >= 1
    assert set(procedure.upgrade) == set(range(1, procedure.revision))
    assert issubclass(procedure.Sheet, Head)
    assert issubclass(procedure.Sheet, Tail)
    assert procedure.cautions
    assert all(caution.text and caution.source for caution in procedure.cautions)
    assert procedure.tolerances


@pytest.mark.parametrize("name", NAMES)
def test_its_demo_run_gives_the_checks_it_must_give(name: str) -> None:
    expected = tomllib.loads((shipped_folder("demo_runs") / name / "expected_checks.toml").read_text("utf-8"))
    case = case_from(demo_case(name))
    found = {check.key: check for check in compute(case).checks}
    assert [row["key"] for row in expected["check"]] == list(found)
    for row in expected["check"]:
        check = found[row["key"]]
        assert check.outcome == row["outcome"], row["key"]
        if check.quantity is not None:
            assert check.quantity.text == row["shown"], row["key"]
            assert check.quantity.expanded == row["expanded"], row["key"]


@pytest.mark.parametrize("name", NAMES)
def test_its_demo_run_declares_what_it_gives(name: str) -> None:
    case = case_from(demo_case(name))
    sheet = parse(case.procedure, case.sheet)
    keys = case.procedure.expects(sheet, case.given)
    assert keys
    assert set(keys) == {check.key for check in compute(case).checks}


@pytest.mark.parametrize("name", NAMES)
def test_its_demo_run_is_labelled_synthetic(name: str) -> None:
    given = json.loads((shipped_folder("demo_runs") / name / "given.json").read_text("utf-8"))
    assert given["site"]["synthetic"] is True


def every_question(part: type[BaseModel]) -> Iterator[Question]:
    """Every question of a sheet, in every form a part may take."""
    for question in questions(part):
        yield question
        for form in question.parts:
            yield from every_question(form)


@pytest.mark.parametrize("name", NAMES)
def test_its_questions_name_what_there_is(name: str) -> None:
    """A condition that is none would stop a visit, a name that is none would leave the place beside empty."""
    procedure = PROCEDURES[name]
    asks = [question.ask for question in every_question(procedure.Sheet)]
    assert {ask.when for ask in asks} <= set(CONDITIONS)
    assert {ask.beside for ask in asks if ask.beside} == set(procedure.beside)


# They say what to type into the file of the standards, line by line.
FOR_THE_FILE = {"standard_preparation", "turbidity_calibration"}


@pytest.mark.parametrize("name", [one for one in NAMES if one not in FOR_THE_FILE])
def test_what_is_printed_names_no_file_and_no_key_of_one(name: str) -> None:
    """Also where the register and the list of standards lack what they could hold."""
    whole = case_from(demo_case(name))
    bare = replace(whole.given.analyzer, settings={}, hops=(), sample_line=None)
    undated = {key: replace(one, calibration_due="") for key, one in whole.given.standards.items()}
    nobody = {key: replace(one, may_perform=False) for key, one in whole.given.people.items()}
    given = replace(whole.given, analyzer=bare, standards=undated, people=nobody)
    for case in (whole, replace(whole, given=given)):
        result = compute(case)
        printed = [note.text for note in result.notes]
        printed += [text for check in result.checks for text in (check.label, check.reason)]
        printed += [value.label for value in result.values]
        found = [text for text in printed if re.search(r"\.toml|[a-z]_[a-z]|not_done|despite", text)]
        assert not found
