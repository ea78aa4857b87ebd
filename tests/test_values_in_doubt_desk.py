"""A doubt at a desk: what is offered beside each question, from the book of the plant."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from plant_example import MONTH, plant_in, record_in
from step_driver import act_to

from wqverify.acts import compute_only
from wqverify.book import open_book
from wqverify.demo.doubt_visits import doubt_visit
from wqverify.desk import Desk, open_desk
from wqverify.entry.around import Surroundings
from wqverify.entry.complete import written
from wqverify.entry.screen import Act, Screen
from wqverify.errors import CorrectTheEntry
from wqverify.lists.opened import opened
from wqverify.plant.folder import Plant
from wqverify.procedures import PROCEDURES
from wqverify.procedures.consequences import opened_by
from wqverify.procedures.walk import answered
from wqverify.records.canonical import record_to_bytes
from wqverify.records.findable import findable
from wqverify.terms import Record

GOOD, FAILED = "L1-2026-0001", "L1-2026-0003"
# In the order of their days, with what stands between the last good check and the failed one.
VISITS = (
    "turbidity 5 AIT-2202",
    "turbidity 5 AIT-2210",
    "turbidity 12 AIT-2202",
    "turbidity 12 AIT-2210",
    "turbidity 13 AIT-2202",
)
VISIT = doubt_visit(MONTH, FAILED, GOOD)
SHEET: dict[str, Any] = answered(tomllib.loads(VISIT.sheet))


def enter(plant: Plant, record: Record) -> None:
    """Enter a record as performing it does, without its page and notebook."""
    with open_book(plant.book, plant.device, create=True).writing() as writer:
        body = {"by": record.performed_by, "pdf": "0" * 64, **findable(record)}
        body["opens"] = [list(one) for one in opened_by(PROCEDURES[record.procedure], record)]
        data, key = record_to_bytes(record), f"performed {record.number}"
        writer.append("performed", key=key, record=record.number, at=record.entered, stored=data, body=body)


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    plant = plant_in(tmp_path_factory.mktemp("doubt") / "plant")
    for n, name in enumerate(VISITS, 1):
        enter(plant, record_in(plant, name, f"L1-2026-{n:04d}"))
    (plant.folder / "trends" / VISIT.trend).write_text(VISIT.shown, "utf-8")
    return plant


@pytest.fixture
def desk(plant: Plant) -> Iterator[Desk]:
    at = datetime(2026, 5, 14, 15, 20, tzinfo=UTC)  # 10:20 at the plant
    desk = open_desk(plant.folder, procedure="values_in_doubt", tag="AIT-2202", clock=lambda: at)
    yield desk
    desk.close()


def test_the_failed_check_opens_it_and_the_numbers_are_those_of_the_month(plant: Plant) -> None:
    (one,) = [
        one for one in opened(open_book(plant.book, plant.device)) if one.procedure == "values_in_doubt"
    ]
    assert (one.number, one.tag) == (FAILED, "AIT-2202")


def lines(screen: Screen) -> str:
    return "\n".join(line.text for line in screen.lines)


def stepped(desk: Desk) -> dict[str, Screen]:
    """Step to the end of the sheet; what was shown at each question, by its path."""
    shown: dict[str, Screen] = {}
    for _ in range(400):
        assert desk.visit is not None
        if desk.visit.folded.state == "complete":
            return shown
        shown.setdefault(desk.screen.path, desk.screen)
        screen = desk.act(act_to(desk, SHEET))
        assert not screen.refused, (screen.path, screen.notice)
    raise AssertionError(f"still at {desk.screen.path}")


def test_the_book_answers_which_check_counts_and_since_when(desk: Desk, plant: Plant) -> None:
    shown = stepped(desk)
    assert FAILED in [choice.text for choice in shown["failed.record"].choices]
    assert GOOD in lines(shown["last_good.record"]) + str(shown["last_good.record"].choices)
    assert "2026-05-05 09:46" in str(shown["period.since"])
    assert "left it out of service" in lines(shown["period.until"])
    assert [choice.text for choice in shown["period.until"].choices] == ["2026-05-13 11:02"]
    assert "+0.07" in lines(shown["model.time"])
    assert "fouling" in lines(shown["model.time"])
    assert "40 CFR 141.175(b)(1)" in lines(shown["used.0.limit"])
    assert "AIT-2210" in lines(shown["others"])
    assert desk.visit is not None
    (record,) = compute_only(plant, [desk.visit.sheet], datetime(2026, 6, 1, tzinfo=UTC))
    assert record.result.facts["answers"] == FAILED
    assert [str(check.outcome) for check in record.result.checks[3:]] == ["pass", "pass", "fail"]
    assert "Nothing is decided yet" not in str(record.result.notes)
    _names_its_question(desk.visit.about)


def _names_its_question(about: Surroundings) -> None:
    """What contradicts itself in a sheet that is stepped through has no line yet: its question is named."""
    told_nobody = {name: value for name, value in SHEET.items() if name != "informed"}
    with pytest.raises(CorrectTheEntry) as caught:
        written(about, told_nobody)
    assert caught.value.message.startswith("Consequence 2: decision: a decision is to notify, and informed ")


def test_a_record_there_is_not_is_asked_about_at_its_own_question(desk: Desk) -> None:
    while desk.screen.path != "failed.record":
        desk.act(act_to(desk, SHEET))
    screen = desk.act(Act("answer", "L1-2026-0999", desk.screen.path))
    assert (screen.kind, screen.path) == ("aside", "failed.record?sure")
    assert "names record 'L1-2026-0999', which is not at hand" in screen.label
    desk.act(Act("answer", "", screen.path))
    screen = desk.act(Act("answer", GOOD, desk.screen.path))
    assert "did not fail as found" in screen.label


def test_the_paper_of_a_doubt_is_read_back_from_its_folder(plant: Plant, tmp_path: Path) -> None:
    sheet = tmp_path / "doubt.toml"
    sheet.write_text(VISIT.sheet, "utf-8")
    (record,) = compute_only(plant, [sheet], datetime(2026, 6, 1, tzinfo=UTC))
    assert {one.number for one in record.given.records.values()} >= {GOOD, FAILED, "L1-2026-0004"}
    assert record.given.trends[0].told
