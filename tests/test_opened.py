"""What records opened and no later record answered, and what a failed as found opens."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest
import short_records
from plant_example import NOW, plant_in, record_in

from wqverify.acts.shared import end_record
from wqverify.book import Book, open_book
from wqverify.cli.today_commands import today_lines
from wqverify.lists.due import Due
from wqverify.lists.expiring import Expiring, expiring
from wqverify.lists.opened import opened
from wqverify.lists.plan import Work
from wqverify.lists.today import Today
from wqverify.plant.folder import Plant
from wqverify.procedures import PROCEDURES
from wqverify.procedures.consequences import opened_by
from wqverify.terms import Outcome, Record

WRONG = {"opens": [["values_in_doubt", "it was found out of tolerance at the analyzer"]]}
WORN = {"opens": [["turbidity_calibration", "it is outside its tolerance as left"]]}


@pytest.fixture
def plant(tmp_path: Path) -> Plant:
    return plant_in(tmp_path / "plant")


def enter(plant: Plant, day: str, procedure: str = "ph_calibration", **more: object) -> None:
    began = f"{day}T08:00-05:00"
    short_records.enter(plant, (began, {}), procedure=procedure, more=more)


def asked(plant: Plant) -> list[tuple[str, str]]:
    return [(one.procedure, one.number) for one in opened(book_of(plant))]


def book_of(plant: Plant) -> Book:
    return open_book(plant.book, plant.device)


def test_what_a_record_opens_is_asked_for_until_a_record_names_it(plant: Plant) -> None:
    enter(plant, "2026-05-04")
    enter(plant, "2026-05-11", **WRONG)
    assert asked(plant) == [("values_in_doubt", "L1-2026-0002")]
    enter(plant, "2026-05-12", "values_in_doubt", facts={"answers": "L1-2026-0001"})
    assert asked(plant) == [("values_in_doubt", "L1-2026-0002")]  # it answers another one
    enter(plant, "2026-05-12", "monitor_outage", facts={"answers": "L1-2026-0002"})
    assert asked(plant) == [("values_in_doubt", "L1-2026-0002")]  # by another procedure
    enter(plant, "2026-05-13", "values_in_doubt", facts={"answers": "L1-2026-0009, L1-2026-0002"})
    assert asked(plant) == []


def test_a_month_that_rests_on_a_doubt_which_stands_no_more_is_judged_again(plant: Plant) -> None:
    """practice.md 7.5: the month is recomputed with what was decided about the doubt."""
    enter(plant, "2026-05-13", "values_in_doubt", facts={"answers": ""})
    enter(plant, "2026-06-01", "turbidity_month", facts={"month": "2026-05", "rests_on": "L1-2026-0001"})
    assert asked(plant) == []
    with book_of(plant).writing() as writer:
        end_record(writer, "voided", "L1-2026-0001", "T-07", "mistyped", "2026-06-02T08:00-05:00")
    (one,) = opened(book_of(plant))
    assert (one.procedure, one.number) == ("turbidity_month", "L1-2026-0002")
    assert one.because == "it rests on L1-2026-0001, which is voided"
    more = {"month": "2026-05", "rests_on": "L1-2026-0009"}
    enter(plant, "2026-06-01", "turbidity_month", facts=more)
    with book_of(plant).writing() as writer:
        end_record(
            writer, "superseded", "L1-2026-0002", "T-07", "anew", "2026-06-02T09:00-05:00", "L1-2026-0003"
        )
    assert asked(plant) == []


def test_the_oldest_work_comes_first(plant: Plant) -> None:
    enter(plant, "2026-05-11", **WRONG)
    enter(plant, "2026-05-04", **WRONG)
    assert [number for _procedure, number in asked(plant)] == ["L1-2026-0002", "L1-2026-0001"]


def test_a_procedure_that_names_no_numbers_answers_by_being_done_after(plant: Plant) -> None:
    enter(plant, "2026-05-04", "turbidity_calibration")
    enter(plant, "2026-05-11", **WORN)
    assert asked(plant) == [("turbidity_calibration", "L1-2026-0002")]
    enter(plant, "2026-05-12", "turbidity_calibration")
    assert asked(plant) == []


def test_the_record_that_replaces_one_is_answered_with_it(plant: Plant) -> None:
    enter(plant, "2026-05-11", **WRONG)
    enter(plant, "2026-05-12", "values_in_doubt", facts={"answers": "L1-2026-0001"})
    enter(plant, "2026-05-11", **WRONG)
    body = {"by": "T-07", "why": "lot", "by_record": "L1-2026-0003"}
    with book_of(plant).writing() as writer:
        writer.append("superseded", key="superseded 1", record="L1-2026-0001", at=f"{NOW:%FT%TZ}", body=body)
    assert asked(plant) == []


def test_what_a_voided_record_opened_is_not_asked_for(plant: Plant) -> None:
    enter(plant, "2026-05-11", **WRONG)
    with book_of(plant).writing() as writer:
        body = {"by": "T-07", "why": "wrong analyzer"}
        writer.append("voided", key="voided 1", record="L1-2026-0001", at=f"{NOW:%FT%TZ}", body=body)
    assert asked(plant) == []


# ---------------------------------------------------------------- what a record opens


def opened_for(record: Record) -> dict[str, str]:
    return dict(opened_by(PROCEDURES[record.procedure], record))


def test_a_failed_as_found_opens_a_doubt_and_a_passing_one_none(plant: Plant) -> None:
    failed, passed = record_in(plant, "fail"), record_in(plant, "pass")
    assert (failed.result.outcome("as_found"), passed.result.outcome("as_found")) == (
        Outcome.FAIL,
        Outcome.PASS,
    )
    assert "values_in_doubt" in opened_for(failed)
    assert opened_for(passed) == {}


def test_a_record_that_verifies_nothing_opens_no_doubt(plant: Plant) -> None:
    failed = record_in(plant, "fail")
    silent = replace(failed, result=replace(failed.result, facts={"verifies": "no"}))
    assert opened_for(silent) == {}


@pytest.mark.parametrize(
    ("settings", "state", "is_opened"),
    [
        ({"outage_working_days": "5"}, "out of service", True),
        ({"outage_days": "14"}, "out of service", True),
        ({"outage_days": "14"}, "in service", False),
        ({"outage_days": "14"}, "in service with restriction", False),
        ({}, "out of service", False),
    ],
)
def test_an_outage_is_opened_where_a_rule_asks_for_grabs(
    plant: Plant, settings: dict[str, str], state: str, is_opened: bool
) -> None:
    record = record_in(plant, "pass")
    analyzer = replace(record.given.analyzer, settings={**record.given.analyzer.settings, **settings})
    left = {**record.sheet, "status": {"state": state}}
    out = replace(record, sheet=left, given=replace(record.given, analyzer=analyzer))
    assert ("monitor_outage" in opened_for(out)) is is_opened


# ---------------------------------------------------------------- what runs out


def test_a_date_is_good_through_its_day() -> None:
    bottle = Expiring("B-1", "usable", "2026-06-01")
    assert [bottle.past(date(2026, 6, day)) for day in (1, 2)] == [False, True]


@pytest.mark.parametrize(("ahead", "is_listed"), [(29, False), (30, True), (31, True)])
def test_what_runs_out_is_looked_for_some_days_ahead(plant: Plant, ahead: int, is_listed: bool) -> None:
    licence = plant.people["T-07"].licence_until
    today = date.fromordinal(date.fromisoformat(licence).toordinal() - 30)
    assert any(one.what == "licensed" for one in expiring(plant, today, ahead)) is is_listed


def test_what_runs_out_stands_at_the_end_of_the_list_of_today() -> None:
    here = datetime.fromisoformat("2026-06-01T07:00-05:00")
    dated = Expiring("B-1 pH 7.00", "usable", "2026-05-31")
    said = list(today_lines(Today(here, expiring=(dated,))))
    assert said == [
        "Nothing is open.",
        "Running out: 1",
        "  B-1 pH 7.00: usable until 2026-05-31, which is past",
    ]


def test_what_is_due_stands_before_it() -> None:
    here = datetime.fromisoformat("2026-06-01T07:00-05:00")
    work = Work("AIT-2101", "EL-0417", "ph_calibration")
    late = Due(work, 7, date(2026, 5, 30), 2, "L1-2026-0003", date(2026, 5, 23))
    said = list(today_lines(Today(here, due=(late, replace(late, due=None, overdue=0)))))
    assert said == [
        "Nothing is open.",
        "Due: 2 checks; wqverify due shows what to take",
        "  AIT-2101: pH calibration in buffers due 2026-05-30, overdue 2 days",
        "  AIT-2101: pH calibration in buffers never done on this instrument",
    ]
