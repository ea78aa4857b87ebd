"""How the plan of a month ended, as the pack tells it: what was evaluated."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from wqverify.lists.plan import Work
from wqverify.lists.plan_kept import Item
from wqverify.pack.contents import told_of
from wqverify.pack.script.first_facts import first_facts

WORK = Work("AIT-2210", "EL-0530", "turbidity_month")
PASS, NOT = "pass", "not evaluated"


def item(state: Any = "in time", number: str = "L1-2026-0007", **outcomes: str) -> Item:
    done = date(2026, 10, 20) if number else None
    return Item(WORK, 31, date(2026, 10, 20), state, number, done, outcomes)


@pytest.mark.parametrize(
    ("outcomes", "told"),
    [
        ({"as_found at the analyzer": PASS, "as_left at the analyzer": NOT}, "in time"),
        ({"as_found at the analyzer": "fail"}, "in time"),
        ({"as_found at the analyzer": "too close to decide"}, "in time"),
        ({"prepared at the analyzer": PASS}, "in time"),
        ({"as_found at the analyzer": NOT}, "in time, nothing evaluated"),
        ({"duties at the analyzer": NOT}, "in time, nothing evaluated"),
        ({}, "in time, nothing evaluated"),
        (
            {"thermometer at the analyzer": PASS, "as_found at the analyzer": NOT},
            "in time, neither as found nor as left evaluated",
        ),
    ],
)
def test_a_record_that_evaluated_nothing_is_not_just_in_time(outcomes: dict[str, str], told: str) -> None:
    assert item(**outcomes).ended == told
    late = told.replace("in time", "late")
    assert item("late", **outcomes).ended == late


def test_what_was_not_done_evaluated_nothing_to_tell() -> None:
    assert item("not done", "").ended == "not done"


@pytest.mark.parametrize(
    ("records", "later", "told"),
    [
        (0, 0, "0 records of the month"),
        (1, 0, "1 record of the month"),
        (2, 1, "1 record of the month and 1 about it"),
        (38, 1, "37 records of the month and 1 about it"),
    ],
)
def test_records_of_the_month_and_about_it_are_counted_apart(records: int, later: int, told: str) -> None:
    assert told_of(records, later) == told


ROW = {"record": "L1-2026-0001", "state": "countersigned", "as found": "fail", "as left": "\u2014"}
ROW |= {"control system": "\u2014", "other stages": "\u2014", "PDF against the book": "as in the book"}
ROW |= {"performed": "2026-05-31 08:00 -05:00"}


@pytest.mark.parametrize(
    ("states", "failed", "ended"),
    [
        (["countersigned"], "1 at the analyzer", "0"),
        (["countersigned", "voided"], "2 (1 of them stands) at the analyzer", "1: L1-2026-0001"),
        (
            ["voided", "superseded by L1-2026-0002"],
            "2 (0 of them stand) at the analyzer",
            "2: L1-2026-0001; L1-2026-0001",
        ),
    ],
)
def test_what_does_not_stand_is_counted_apart(states: list[str], failed: str, ended: str) -> None:
    index = [{**ROW, "state": state} for state in states]
    facts = first_facts({"index": index, "readings": [], "checks": [], "open": []}, "2026-05")
    assert facts["Failed as found"] == f"{failed}, 0 at the control system"
    assert facts["Void or superseded"] == ended


def test_what_waits_to_be_done_is_counted() -> None:
    rows = [{"what": "to be done"}, {"what": "late"}, {"what": "to be done"}]
    assert (
        first_facts({"index": [], "readings": [], "checks": [], "open": rows}, "2026-05")["To be done"] == "2"
    )
