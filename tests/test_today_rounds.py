"""Rounds and finished visits on the list of today: what is in the book is neither listed nor read again."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from round_example import DAY, TITLE, fill_in, plant_with_round, skip, type_in, written
from short_records import enter
from test_today import Line, answers, journal

from wqverify.book import open_book
from wqverify.cli.today_commands import today_lines
from wqverify.entry.journal import JournalLine
from wqverify.lists import today as today_module
from wqverify.lists.today import Today, today
from wqverify.plant.folder import Plant, open_plant
from wqverify.plant.round_folder import RoundFolder, read_round

NOW = datetime.fromisoformat("2026-06-01T07:00-05:00")
FOLDER = f"field_sheets/{TITLE}"
COMPLETE = Line(do="complete", digest="0" * 64)
BEGAN = f"{DAY}T08:05-05:00"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plant with the round of one day as it was written: no sheet of it is begun."""
    plant = plant_with_round(tmp_path_factory.mktemp("rounds") / "plant")
    for path in (plant.folder / "field_sheets").glob("*.toml"):
        path.unlink()
    assert written(plant).folder == plant.folder / FOLDER
    return plant.folder


@pytest.fixture
def plant(made: Path, tmp_path: Path) -> Plant:
    return open_plant(Path(shutil.copytree(made, tmp_path / "plant")))


def round_of(plant: Plant) -> RoundFolder:
    return read_round(plant.folder / FOLDER)


def listed(plant: Plant) -> str:
    """The list as one text."""
    found = replace(today(plant, NOW), opened=(), due=(), expiring=())
    return " ".join(" ".join(today_lines(found)).split())


def waiting(found: Today) -> list[tuple[str, ...]]:
    return [one.stops for one in found.rounds]


def test_a_round_of_which_no_sheet_is_begun_is_listed(plant: Plant) -> None:
    assert listed(plant) == (
        f"Rounds not run: 1 {TITLE}: 2 of 2 not in the book (AIT-2101, AIT-2102) "
        f"wqverify step --round '{FOLDER}'"
    )


def test_a_complete_sheet_waits_for_the_others_of_its_round(plant: Plant) -> None:
    journal(plant, f"{TITLE}/1 AIT-2101", *answers(date=DAY, started="08:05"), COMPLETE)
    (walk,) = today(plant, NOW).rounds
    assert (walk.stops, walk.ready, walk.complete) == (("AIT-2101", "AIT-2102"), False, 1)
    found = listed(plant)
    assert "Complete, to be run: 1 sheet AIT-2101: pH calibration in buffers" in found
    assert "2 of 2 not in the book (AIT-2101, AIT-2102), 1 of them complete wqverify step --round" in found
    assert "wqverify run" not in found  # which would be refused
    second = journal(
        plant, f"{TITLE}/2 AIT-2102", *answers(date=DAY, started="08:40"), COMPLETE, tag="AIT-2102"
    )
    found = listed(plant)
    assert found.count(f"wqverify run '{FOLDER}'") == 3
    assert "wqverify step" not in found
    assert "of them complete" not in found
    second.unlink()
    enter(plant, (BEGAN, {}), round_=TITLE)
    assert waiting(today(plant, NOW)) == [("AIT-2102",)]
    assert "Complete" not in listed(plant)


def test_another_visit_of_that_morning_is_not_that_of_the_round(plant: Plant) -> None:
    enter(plant, (f"{DAY}T06:40-05:00", {}))  # a call-out to the same analyzer, by the same procedure
    enter(plant, (f"{DAY}T07:10-05:00", {}), procedure="turbidity_calibration")
    enter(plant, (f"{DAY}T07:30-05:00", {}), round_=f"{DAY} morning")
    assert waiting(today(plant, NOW)) == [("AIT-2101", "AIT-2102")]
    type_in(round_of(plant).rows[0].path, "", started="08:05")
    assert waiting(today(plant, NOW)) == [("AIT-2101", "AIT-2102")]


def test_the_sheet_of_a_round_that_was_run_by_itself_is_in_the_book(plant: Plant) -> None:
    type_in(round_of(plant).rows[0].path, "", started="08:05")
    enter(plant, (BEGAN, {}))
    assert waiting(today(plant, NOW)) == [("AIT-2102",)]


def test_a_visit_stepped_through_anew_waits_whatever_else_the_book_has(plant: Plant) -> None:
    enter(plant, (BEGAN, {}), round_=TITLE)
    assert waiting(today(plant, NOW)) == [("AIT-2102",)]
    visit = answers(date=DAY, started="08:05", replaces="L1-2026-0001")
    journal(plant, f"{TITLE}/1 AIT-2101", *visit, COMPLETE)
    assert waiting(today(plant, NOW)) == [("AIT-2101", "AIT-2102")]


def test_a_blank_sheet_waits_again_where_the_visit_of_its_stop_was_voided(plant: Plant) -> None:
    enter(plant, (BEGAN, {}), tag="AIT-2102", round_=TITLE)
    assert waiting(today(plant, NOW)) == [("AIT-2101",)]
    ended(plant, "voided", "L1-2026-0001")
    assert waiting(today(plant, NOW)) == [("AIT-2101", "AIT-2102")]


def ended(plant: Plant, event: str, number: str) -> None:
    with open_book(plant.book, plant.device).writing() as writer:
        writer.append(event, key=f"{event} {number}", record=number, at=BEGAN, body={"by": "S-02"})


def test_a_stop_that_is_in_the_book_as_skipped_is_done(plant: Plant) -> None:
    skip(round_of(plant), "AIT-2102", "no sample flow")
    fill_in(round_of(plant).rows[0].path, "AIT-2101")
    type_in(plant.folder / FOLDER / "round.toml", "head.cautions", read="yes")
    assert "2 of 2 not in the book (AIT-2101, AIT-2102) wqverify run" in listed(plant)
    enter_skipped(plant, f"{DAY} morning")
    enter(plant, (BEGAN, {}), tag="AIT-2102", round_=f"{DAY} morning")
    assert waiting(today(plant, NOW)) == [("AIT-2101", "AIT-2102")]
    enter_skipped(plant, TITLE)
    assert waiting(today(plant, NOW)) == [("AIT-2101",)]
    enter(plant, (BEGAN, {}), round_=TITLE)
    assert listed(plant) == "Nothing is open."


def enter_skipped(plant: Plant, title: str) -> None:
    body = {"round": title, "tag": "AIT-2102", "procedure": "ph_calibration", "day": DAY, "why": "no flow"}
    with open_book(plant.book, plant.device, create=True).writing() as writer:
        writer.append("skipped", key=f"skipped {title}", at=BEGAN, body={**body, "by": "T-07"})


# ---------------------------------------------------------------- visits that are in the book


@pytest.fixture
def alone(plant: Plant) -> Plant:
    """A plant without a round, and a visit in its book."""
    shutil.rmtree(plant.folder / FOLDER)
    enter(plant, (BEGAN, {}))
    return plant


RESUMED = [Line(do="resume"), Line(do="resume", cut=40, torn='{"do":"complete"')]
STARTED_ANEW = JournalLine(do="correct", path="started", text="08:05", was="08:50", why="misread")


@pytest.mark.parametrize("behind", [[], RESUMED], ids=["complete", "looked at again"])
@pytest.mark.parametrize("corrected", [False, True])
def test_a_finished_visit_is_not_read_line_by_line(
    alone: Plant, monkeypatch: pytest.MonkeyPatch, behind: list[JournalLine], corrected: bool
) -> None:
    lines = answers(date=DAY, started="08:50" if corrected else "08:05", output_held__at="08:13")
    journal(alone, "a", *lines, *[STARTED_ANEW] * corrected, COMPLETE, *behind)

    def never(data: bytes) -> None:
        raise AssertionError(data)

    monkeypatch.setattr(today_module, "read_journal", never)
    assert listed(alone) == "Nothing is open."


def test_a_finished_visit_that_was_opened_again_is_listed(alone: Plant) -> None:
    lines = answers(date=DAY, started="08:05", output_held__at="08:13")
    remarks = Line(do="answer", path="remarks", text='"do":"complete"')
    for more in ([remarks], [COMPLETE, remarks], [COMPLETE, Line(do="take up", by="T-11")]):
        journal(alone, "a", *lines, *more)
        assert [one.state for one in today(alone, NOW).sheets] == ["open"]
        assert [one.what for one in today(alone, NOW).out_of_use] == ["output still held"]


def test_a_complete_visit_that_is_not_in_the_book_is_listed(alone: Plant) -> None:
    for typed in ({"started": "08:06"}, {"date": "2026-05-30"}, {"replaces": "L1-2026-0001"}):
        journal(alone, "a", *answers(**{"date": DAY, "started": "08:05", **typed}), COMPLETE)
        assert [one.state for one in today(alone, NOW).sheets] == ["complete"], typed
    journal(alone, "a", *answers(date=DAY, started="08:05"), COMPLETE, tag="AIT-2102")
    assert [one.state for one in today(alone, NOW).sheets] == ["complete"]


def test_an_amendment_that_is_in_the_book_is_not_listed(alone: Plant) -> None:
    enter(alone, (BEGAN, {"remarks": {}}))
    ended(alone, "superseded", "L1-2026-0001")
    lines = answers(date=DAY, started="08:05")
    journal(alone, "first", *lines, COMPLETE)
    journal(alone, "amended", *lines, *answers(replaces="L1-2026-0001")[3:], COMPLETE)
    assert listed(alone) == "Nothing is open."
    ended(alone, "voided", "L1-2026-0002")
    journal(alone, "again", *lines, *answers(replaces="L1-2026-0002")[3:], COMPLETE)
    assert [one.where.sheet for one in today(alone, NOW).sheets] == ["field_sheets/again.toml"]


def test_a_complete_visit_whose_replaced_record_was_taken_out_again_is_in_the_book(alone: Plant) -> None:
    lines = answers(date=DAY, started="08:05", replaces="L1-2026-0001")
    journal(alone, "a", *lines, Line(do="remove", path="replaces", was="L1-2026-0001", why="none"), COMPLETE)
    assert listed(alone) == "Nothing is open."


@pytest.mark.parametrize("data", [b"", b"\n", b'{"do":"resume"}\n', b'{"do":"complete"}\n'])
def test_a_journal_that_ends_in_nothing_known_is_told(alone: Plant, data: bytes) -> None:
    journal(alone, "a").write_bytes(data)
    assert [one.file for one in today(alone, NOW).unreadable] == ["field_sheets/a.journal.jsonl"]
