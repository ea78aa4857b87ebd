"""What the records of an analyzer left out of use: the newest that speaks of a hold says how it is."""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
import short_records
from plant_example import plant_in
from short_records import IN_SERVICE, Sheet, record

from wqverify.book import open_book
from wqverify.cli.today_commands import today_lines
from wqverify.lists.out_of_use import left_by_records
from wqverify.lists.today import Today, today
from wqverify.plant.folder import Plant, open_plant
from wqverify.records.canonical import canonical

NOW = datetime.fromisoformat("2026-06-01T07:00-05:00")
HELD = {"output_held": {"at": "08:13", "by": "T-07"}}
LEFT = {**HELD, "output_released": {"not_done": "the sensor is out"}}
RELEASED = {**HELD, "output_released": {"at": "08:50", "by": "T-07"}}
NO_OUTPUT = {"output_held": {"not_done": "no output"}, "output_released": {"not_done": "nothing was held"}}
OUT = {"status": {"state": "out of service", "note": "waits for an electrode"}}
STILL_OUT = {"status": {"state": "out of service", "note": "the electrode came broken"}}
RESTRICTED = {"status": {"state": "in service with restriction", "note": "only by day"}}


@pytest.fixture
def plant(tmp_path: Path) -> Plant:
    plant_in(tmp_path / "plant")
    for path in (tmp_path / "plant" / "field_sheets").iterdir():
        path.unlink()
    return open_plant(tmp_path / "plant")


def enter(plant: Plant, *sheets: Sheet | bytes, tag: str = "AIT-2101", first: str = "2026-05-01") -> None:
    """Enter records of one analyzer, one a day."""
    days = [(date.fromisoformat(first) + timedelta(n)).isoformat() for n in range(len(sheets))]
    visits = zip(days, sheets, strict=True)
    short_records.enter(plant, *((f"{day}T08:00-05:00", sheet) for day, sheet in visits), tag=tag)


def out_of_use(found: Today) -> list[tuple[str, str, str]]:
    """What is out of use, since which day, and the record that says so."""
    return [
        (one.what, f"{one.since:%m-%d %H:%M}" if one.since else "", one.where.number)
        for one in found.out_of_use
    ]


@pytest.mark.parametrize(
    ("later", "still"),
    [
        ([{}], True),
        ([{}] * 30, True),
        ([NO_OUTPUT], True),
        ([{"loop_in_manual": {"at": "08:20"}, "loop_in_auto": {"at": "08:40"}}], True),
        ([RELEASED], False),
        ([RELEASED, {}], False),
        ([{}, RELEASED, {}, NO_OUTPUT], False),
        ([{"output_released": {"at": "08:50"}}, {}], False),
    ],
)
def test_an_output_is_held_until_a_record_says_that_it_was_released(
    plant: Plant, later: Sequence[Sheet], still: bool
) -> None:
    enter(plant, LEFT, *later)
    held = [("output still held", "05-01 08:13", "L1-2026-0001")]
    assert out_of_use(today(plant, NOW)) == (held if still else [])


def test_the_newest_record_that_speaks_of_a_hold_says_since_when(plant: Plant) -> None:
    enter(plant, LEFT, RELEASED, LEFT, {}, NO_OUTPUT)
    assert out_of_use(today(plant, NOW)) == [("output still held", "05-03 08:13", "L1-2026-0003")]
    assert "left so because the sensor is out" in " ".join(" ".join(today_lines(today(plant, NOW))).split())


def test_each_kind_of_hold_and_each_analyzer_is_looked_up_by_itself(plant: Plant) -> None:
    loop = {"loop_in_manual": {"at": "08:20"}}
    alarm = {"alarm_blocked": {"at": "08:30"}}
    enter(plant, alarm, LEFT, loop, {**alarm, "alarm_restored": {"at": "08:45"}})
    enter(plant, RELEASED, tag="AIT-2201", first="2026-05-09")
    enter(plant, {**HELD}, {}, tag="AIT-2301", first="2026-05-11")
    assert out_of_use(today(plant, NOW)) == [
        ("output still held", "05-02 08:13", "L1-2026-0002"),
        ("loop still in manual", "05-03 08:20", "L1-2026-0003"),
        ("output still held", "05-11 08:13", "L1-2026-0006"),
    ]


def test_what_is_still_held_is_told_when_the_analyzer_has_left_the_register(plant: Plant) -> None:
    enter(plant, LEFT, tag="AIT-9901")
    assert "AIT-9901" not in plant.analyzers
    assert out_of_use(today(plant, NOW)) == [("output still held", "05-01 08:13", "L1-2026-0001")]


@pytest.mark.parametrize("back", [IN_SERVICE, RESTRICTED])
def test_out_of_service_ends_with_the_record_that_states_another_status(plant: Plant, back: Sheet) -> None:
    enter(plant, OUT)
    assert out_of_use(today(plant, NOW)) == [("out of service", "05-01 09:00", "L1-2026-0001")]
    enter(plant, back, first="2026-05-02")
    assert out_of_use(today(plant, NOW)) == []


def test_out_of_service_tells_since_when_and_the_newest_reason(plant: Plant) -> None:
    enter(plant, OUT, IN_SERVICE, OUT, STILL_OUT)
    assert out_of_use(today(plant, NOW)) == [("out of service", "05-03 09:00", "L1-2026-0004")]
    assert today(plant, NOW).out_of_use[0].left_because == "the electrode came broken"


def test_a_record_that_states_no_status_changes_none(plant: Plant) -> None:
    without = record({}, "2026-05-02").replace(b'"status":{"state":"in service"}', b'"remarks":"none"')
    assert b"status" not in without
    enter(plant, OUT, without)
    assert out_of_use(today(plant, NOW)) == [("out of service", "05-01 09:00", "L1-2026-0001")]


def test_what_no_longer_stands_says_nothing(plant: Plant) -> None:
    enter(plant, LEFT, RELEASED)
    with open_book(plant.book, plant.device).writing() as writer:
        at = "2026-05-09T08:00-05:00"
        writer.append(
            "voided", key="voided 2", record="L1-2026-0002", at=at, body={"by": "S-02", "why": "no"}
        )
    assert out_of_use(today(plant, NOW)) == [("output still held", "05-01 08:13", "L1-2026-0001")]


def test_a_record_that_cannot_be_read_is_a_line_and_the_other_analyzers_are_told(plant: Plant) -> None:
    enter(plant, b'{"status":{')
    enter(plant, LEFT, tag="AIT-2201", first="2026-05-02")
    found = today(plant, NOW)
    assert [one.where.tag for one in found.out_of_use] == ["AIT-2201"]
    (line,) = found.unreadable
    assert line.file == "book.sqlite"
    assert line.sentence.startswith("What the book keeps of record L1-2026-0001 of AIT-2101 is no record; ")
    assert line.sentence.endswith("Whether an output was left held is not known: look at the analyzer.")


def test_what_cannot_be_dated_comes_first_and_then_the_oldest(plant: Plant) -> None:
    from test_today import answers, journal

    enter(plant, LEFT)
    for name, tag, at in (("a", "AIT-2301", "25:00"), ("m", "AIT-2201", "24:99"), ("z", "AIT-2202", "02:14")):
        journal(plant, name, *answers(output_held__at=at), tag=tag)
    found = [(one.where.tag, one.since is None) for one in today(plant, NOW).out_of_use]
    assert found == [("AIT-2201", True), ("AIT-2301", True), ("AIT-2101", False), ("AIT-2202", False)]


def test_three_hundred_records_behind_the_hold_take_less_than_a_second(plant: Plant) -> None:
    enter(plant, LEFT, *[NO_OUTPUT, {}] * 150, first="2025-07-01")
    began = time.process_time()
    found = out_of_use(today(plant, NOW))
    assert time.process_time() - began < 1
    assert found == [("output still held", "07-01 08:13", "L1-2026-0001")]


def test_an_outage_that_is_not_over_says_since_when() -> None:
    def data(facts: dict[str, str]) -> bytes:
        outage = {"facts": {f"outage.{end}": at for end, at in facts.items()}}
        whole = {
            **json.loads(record({"status": {"state": "out of service"}}, "2026-05-01")),
            "result": outage,
        }
        return canonical({**whole, "procedure": "monitor_outage"})

    began, over = "2026-05-01T07:40-05:00", "2026-05-01T08:30-05:00"
    for facts, since in (
        ({"from": began}, began),
        ({"from": began, "until": over}, "2026-05-01T09:00-05:00"),
    ):
        (one,) = left_by_records("AIT-2101", [("L1-2026-0001", data(facts))])
        assert one.since == datetime.fromisoformat(since)
