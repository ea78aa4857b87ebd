"""The 20 real pH checks of volunteer_results_with_qc.xlsx through the chain (issue: real input)."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from real_ph_checks import NOT_IN_SOURCE, WORKBOOK, RealCheck, make_folder, real_checks

from wqverify import acts, audit
from wqverify.gather import gather
from wqverify.plant.folder import Plant, open_plant
from wqverify.procedures import PROCEDURES
from wqverify.procedures.sheets import read_sheet
from wqverify.records.record import Case, compute
from wqverify.records.rerun import Answer, rerun
from wqverify.terms import Check, Outcome, Result

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
BEYOND = (date(2022, 7, 17), Decimal("7.40"), Decimal("7.00"))


@pytest.fixture(scope="module")
def checks(real_data: Path) -> list[RealCheck]:
    return real_checks(real_data / WORKBOOK)


@pytest.fixture(scope="module")
def made(checks: list[RealCheck], tmp_path_factory: pytest.TempPathFactory) -> tuple[Plant, list[Path]]:
    folder = tmp_path_factory.mktemp("real") / "plant"
    sheets = make_folder(folder, checks)
    return open_plant(folder), sheets


def error_of(result: Result, check: RealCheck) -> Check:
    (found,) = [c for c in result.checks if c.key == f"as_found.{check.standard}.error"]
    return found


def hold(checks: list[RealCheck], results: list[Result]) -> None:
    """The figures of the issue, of what wqverify computed: n, mean error, and the one that fails."""
    judged = [error_of(result, check) for result, check in zip(results, checks, strict=True)]
    assert len(judged) == 20
    errors = [one.quantity.decimal for one in judged if one.quantity is not None]
    assert len(errors) == 20
    assert sum(errors) / 20 == Decimal("0.0655")
    beyond = [i for i, error in enumerate(errors) if abs(error) > Decimal("0.2")]
    assert [(checks[i].day, checks[i].shown, checks[i].reference) for i in beyond] == [BEYOND]
    fails = [i for i, one in enumerate(judged) if one.outcome is Outcome.FAIL]
    assert fails == beyond
    assert [one.outcome for one in judged].count(Outcome.PASS) == 19
    assert [result.outcome("as_found") for result in results] == [one.outcome for one in judged]


def test_the_source_holds_what_the_issue_says(checks: list[RealCheck]) -> None:
    """Own reading of the workbook, without wqverify."""
    assert len(checks) == 20
    assert sum(check.error for check in checks) / 20 == Decimal("0.0655")
    beyond = [check for check in checks if abs(check.error) > Decimal("0.2")]
    assert [(check.day, check.shown, check.reference) for check in beyond] == [BEYOND]


def test_all_compute_and_one_fails(checks: list[RealCheck], made: tuple[Plant, list[Path]]) -> None:
    plant, sheets = made
    results = []
    for path in sheets:
        raw, document = read_sheet(path)
        procedure = PROCEDURES[raw["procedure"]]
        case = Case(procedure, raw, *gather(plant, None, procedure, raw, document))
        results.append(compute(case, document))
    hold(checks, results)


def test_what_the_source_lacks_is_never_a_pass(
    checks: list[RealCheck], made: tuple[Plant, list[Path]]
) -> None:
    plant, sheets = made
    raw, document = read_sheet(sheets[0])
    procedure = PROCEDURES[raw["procedure"]]
    result = compute(Case(procedure, raw, *gather(plant, None, procedure, raw, document)), document)
    others = [check for check in result.checks if check.key != f"as_found.{checks[0].standard}.error"]
    assert {check.outcome for check in others} == {Outcome.NOT_EVALUATED}
    reasons = {check.key: check.reason for check in others}
    assert reasons == {
        "thermometer": f"not done: {NOT_IN_SOURCE}",
        "as_found.slope": "one buffer was read; a slope needs two",
        "as_found.offset": "one buffer was read; a slope needs two",
        "as_found.process.error": f"not done: {NOT_IN_SOURCE}",
        "after_cleaning.error": f"not done: {NOT_IN_SOURCE}",
        "as_left.error": f"not done: {NOT_IN_SOURCE}",
        "as_left.process.error": f"not done: {NOT_IN_SOURCE}",
        "as_left.check_buffer": f"not done: {NOT_IN_SOURCE}",
        "process_after.grab": f"not done: {NOT_IN_SOURCE}",
    }
    assert result.outcome("as_left") is Outcome.NOT_EVALUATED


@pytest.mark.slow
def test_all_become_records_of_one_notebook_run(
    checks: list[RealCheck], made: tuple[Plant, list[Path]]
) -> None:
    plant, sheets = made
    steps: list[str] = []
    done = acts.perform(plant, sheets, NOW, steps.append)
    assert [step for step in steps if "notebook" in step] == [
        "executing the notebook of ph_calibration for 20 field sheets"
    ]
    assert [one.number for one in done] == [f"L1-2026-{number:04d}" for number in range(1, 21)]
    hold(checks, [one.record.result for one in done])
    book = audit.book_of(plant)
    outcomes = [state.outcomes["as_found at the analyzer"] for state in book.records()]
    assert (outcomes.count("pass"), outcomes.count("fail")) == (19, 1)
    assert {rerun(book.stored(one.number)).answer for one in done} == {Answer.REPRODUCED}
    assert not [f for f in audit.examine_book(plant, None, ()) if f.severity == "damaged"]
    again = acts.perform(plant, sheets, NOW)
    assert all(one.already for one in again)
