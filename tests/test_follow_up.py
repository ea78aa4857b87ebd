"""What a record leaves to be done: its clocks run in the list of today until the book says that it was."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from plant_example import MONTH, NOW
from short_records import enter

import wqverify.cli.common as common
from wqverify.acts import follow_up
from wqverify.acts.shared import end_record
from wqverify.book import open_book
from wqverify.cli import main
from wqverify.cli.today_commands import today_lines
from wqverify.demo.ellodale import make_plant
from wqverify.errors import WqverifyError
from wqverify.lists.clocks import on_records
from wqverify.lists.today import today
from wqverify.pack.of_record import open_rows
from wqverify.plant.folder import Plant
from wqverify.terms import RunningClock, due_facts

TAG, NAME = "AIT-2210", "turbidity_month"
MAY = "2026-05-01T00:00-05:00"
REPORT = RunningClock(
    "Report of April 2026", "2026-05-10T23:59-05:00", "40 CFR 141.175", key="report", since=MAY
)
GRAB = RunningClock(
    "next grab", "2026-05-02T12:00-05:00", "40 CFR 141.74", key="next_grab", only_by="a record"
)
TOLD = RunningClock("State told", "2026-04-13T23:59-04:00", "40 CFR 141.175(c)", key="told.2026-04-10")
NEXT = RunningClock("Report of May 2026", "2026-06-10T23:59-05:00", "40 CFR 141.175", key="report")
DONE = RunningClock("told already", "2026-04-13T23:59-05:00", "40 CFR 141.175", done=True, key="x")
FIRST = "L1-2026-0001"
LATER = datetime.fromisoformat("2026-06-01T08:00-05:00")


@pytest.fixture
def plant(tmp_path: Path) -> Plant:
    made = make_plant(tmp_path / "plant", MONTH)
    enter_month(made, "2026-04", "2026-05-02", REPORT, TOLD, DONE, GRAB)
    return made


def enter_month(plant: Plant, month: str, day: str, *clocks: RunningClock) -> None:
    facts = due_facts(month, clocks) | {"month": month}
    more = {"facts": facts, "outcomes": {"limits_of_the_water": "pass"}}
    enter(plant, (f"{day}T08:00-05:00", {}), tag=TAG, procedure=NAME, more=more)


def running(plant: Plant) -> list[tuple[str, str]]:
    found = on_records(open_book(plant.book, plant.device))
    return [(one.where.number, one.clock.key) for one in found if one.clock.key != "next_grab"]


def follow(plant: Plant, what: str = "report", at: str = "2026-05-08 10:00", **more: Any) -> str | None:
    said = {"by": "S-02", "how": "letter 12", "now": LATER, "number": FIRST, **more}
    return follow_up(plant, what=what, done=at, **said)


def test_what_a_record_leaves_runs_until_it_is_said_to_be_done(plant: Plant) -> None:
    assert running(plant) == [(FIRST, "report"), (FIRST, "told.2026-04-10")]
    assert follow(plant) == ""
    assert running(plant) == [(FIRST, "told.2026-04-10")]
    assert follow(plant, "told.2026-04-10", "2026-04-14 09:00") == "late, it was due 2026-04-13 23:59"
    assert running(plant) == []


def test_said_again_it_is_in_the_book_already_and_corrected_both_are_kept(plant: Plant) -> None:
    assert follow(plant, at="2026-05-20 10:00") == "late, it was due 2026-05-10 23:59"
    assert follow(plant, at="2026-05-20 10:00") is None
    assert follow(plant, at="2026-05-09 10:00") == (
        "it stands in place of 2026-05-20 10:00, entered by S-02, which the book keeps"
    )
    assert follow(plant, at="2026-05-09 10:00") is None
    state = open_book(plant.book, plant.device).find(FIRST)
    assert state is not None
    assert [one.event for one in state.events] == ["performed", "followed up", "followed up"]
    rows = [row[-1] for row in open_rows(state, {}, plant) if row[0] == "followed up"]
    assert ["10:00 -05:00, late, letter 12. Entered otherwise later." in row for row in rows] == [True, False]
    assert state.followed["report"].body["done"] == "2026-05-09T10:00-05:00"
    assert "followed up by S-02 on 2026-06-01: report done 2026-05-20 10:00, letter 12" in state.told


def test_the_next_month_does_not_end_the_clocks_of_the_one_before(plant: Plant) -> None:
    enter_month(plant, "2026-05", "2026-06-01", NEXT)
    assert running(plant) == [(FIRST, "report"), (FIRST, "told.2026-04-10"), ("L1-2026-0002", "report")]


def test_what_was_done_on_one_of_two_records_of_a_month_is_done(plant: Plant) -> None:
    follow(plant)
    enter_month(plant, "2026-04", "2026-05-03", REPORT, TOLD)
    assert running(plant) == [("L1-2026-0002", "told.2026-04-10")]


def test_a_record_in_place_of_another_has_its_clocks_and_what_was_done(plant: Plant) -> None:
    follow(plant)
    enter_month(plant, "2026-04", "2026-05-02", REPORT, TOLD)
    with open_book(plant.book, plant.device).writing() as writer:
        end_record(writer, "superseded", FIRST, "T-07", "mistyped", "2026-06-01T08:00-05:00", "L1-2026-0002")
    assert running(plant) == [("L1-2026-0002", "told.2026-04-10")]


def test_a_month_judged_anew_with_other_figures_is_reported_anew(plant: Plant) -> None:
    follow(plant)
    enter_month(plant, "2026-04", "2026-05-02", replace(REPORT, what="Report of April 2026 (179 of 180)"))
    with open_book(plant.book, plant.device).writing() as writer:
        end_record(writer, "superseded", FIRST, "T-07", "mistyped", "2026-06-01T08:00-05:00", "L1-2026-0002")
    assert running(plant) == [("L1-2026-0002", "report")]


def test_what_a_voided_record_left_is_asked_for_no_more(plant: Plant) -> None:
    with open_book(plant.book, plant.device).writing() as writer:
        end_record(writer, "voided", FIRST, "T-07", "another plant", "2026-06-01T08:00-05:00")
    assert running(plant) == []


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"what": "report.2026"}, "'report.2026' is no follow-up of L1-2026-0001; it leaves report, told."),
        ({"what": "next_grab"}, "next_grab of L1-2026-0001 ends with a record, not by saying"),
        (
            {"at": "2026-04-30 23:59"},
            "report of L1-2026-0001 cannot have been done at 2026-04-30 23:59, before",
        ),
        ({"number": "L1-2026-0009"}, "L1-2026-0009 is not in the book; name the record that"),
        ({"by": "T-99"}, "There is no person T-99 in people.toml"),
        ({"at": "2026-06-01 08:01"}, "2026-06-01 08:01 is later than this computer's clock shows"),
        ({"at": "10:00"}, "'10:00' is no day with a time; type when it was done as 2026-05-08 10:00."),
        ({"at": "2026-05-08"}, "'2026-05-08' is no day with a time"),
        ({"at": "yesterday noon"}, "'noon' is not a time of day"),
        ({"at": "8 10:00"}, "'8' is"),
        ({"how": " "}, "how it was done"),
    ],
)
def test_what_cannot_be_entered_is_refused_and_nothing_is(
    plant: Plant, changed: dict[str, str], sentence: str
) -> None:
    with pytest.raises(WqverifyError) as told:
        follow(plant, **changed)
    assert sentence in told.value.message
    state = open_book(plant.book, plant.device).find(FIRST)
    assert state is not None
    assert len(state.events) == 1


@pytest.mark.parametrize(
    ("at", "ok"), [("2026-05-01 00:00", True), ("2026-06-01 07:59", True), ("2026-06-01 08:00", True)]
)
def test_up_to_this_minute_it_may_have_been_done(plant: Plant, at: str, ok: bool) -> None:
    assert (follow(plant, at=at) is not None) is ok


def test_today_shows_the_command_that_ends_a_clock(plant: Plant) -> None:
    lines = list(today_lines(today(plant, NOW)))
    at = lines.index("      wqverify follow-up L1-2026-0001 report")
    before = " ".join(line.strip() for line in lines[at - 2 : at])
    assert "AIT-2210: Report of April 2026 due 23:59 (2026-05-10), overdue by" in before


def test_a_pack_lists_what_waits_to_be_done_and_what_was(plant: Plant) -> None:
    follow(plant)
    state = open_book(plant.book, plant.device).find(FIRST)
    assert state is not None
    rows = {row[0]: row for row in open_rows(state, {}, plant)}
    assert rows["to be done"][-1] == (
        "State told: due 2026-04-13 23:59 -04:00 (40 CFR 141.175(c)). Nothing in the book "
        "says that it was done."
    )
    assert rows["followed up"][-2:] == (
        "Odell Marsh (S-02)",
        "Report of April 2026: due 2026-05-10 23:59 -05:00 (40 CFR 141.175). Done 2026-05-08 10:00 "
        "-05:00, letter 12.",
    )


def test_the_command_enters_it(
    plant: Plant, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(common, "now", lambda: NOW + timedelta(days=1))
    run: Callable[..., int] = lambda *more: _run(monkeypatch, plant, *more)  # noqa: E731
    said = ("--by", "S-02", "--at", "2026-05-08 10:00", "--how", "letter 12")
    assert run("report", *said) == 0
    assert capsys.readouterr().out == f"{FIRST}: report was done 2026-05-08 10:00, entered by S-02.\n"
    assert run("report", *said, "--json") == 0
    assert json.loads(capsys.readouterr().out)["done"] == f"{FIRST}: this is in the book already."
    assert run("assessment", *said) == 2
    assert "is no follow-up of L1-2026-0001" in capsys.readouterr().err


def _run(monkeypatch: pytest.MonkeyPatch, plant: Plant, *more: str) -> int:
    argv = ["wqverify", "follow-up", FIRST, *more, "--plant", str(plant.folder)]
    monkeypatch.setattr(sys, "argv", argv)
    with pytest.raises(SystemExit) as ended:
        main()
    return int(ended.value.code or 0)
