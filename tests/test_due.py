"""What is due, overdue and never done; what to take along, how much of it, and what is wrong with it."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from plant_example import MONTH, NOW, Clock
from short_records import enter

import wqverify.cli.common as common
from wqverify.book import Stands, open_book
from wqverify.cli import main
from wqverify.cli.due_commands import WIDTH, done_lines, due_lines
from wqverify.demo.ellodale import make_plant
from wqverify.errors import CorrectTheEntry
from wqverify.lists.due import AHEAD_DAYS, Due, DueList, due, due_of, monthly_due
from wqverify.lists.monthly import OfMonth
from wqverify.lists.plan import Version, Work
from wqverify.lists.plan_kept import plan_kept
from wqverify.lists.queue import Skipped
from wqverify.lists.take import Needed, together
from wqverify.plant.folder import Plant, open_plant

TODAY = NOW.date()  # 2026-06-01
PH = "AIT-2101"
OWN = {"serial": "EL-0417"}
WORK = Work("AIT-1", "S1", "check")


@pytest.fixture
def plant(tmp_path: Path) -> Plant:
    return make_plant(tmp_path / "plant", MONTH)


def edited(plant: Plant, file: str, old: str, new: str) -> Plant:
    path = plant.folder / file
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")
    return open_plant(plant.folder)


def of(found: DueList, tag: str, procedure: str = "") -> Due:
    return next(i for i in found.items if i.work.tag == tag and procedure in ("", i.work.procedure))


def visited(plant: Plant, day: str, *, serial: str = "EL-0417") -> None:
    enter(plant, (f"{day}T08:00-05:00", {}), more={"serial": serial})


# ---------------------------------------------------------------- when


@pytest.mark.parametrize(
    ("last", "due_on", "overdue"),
    [("05-24", "05-31", 1), ("05-25", "06-01", 0), ("05-26", "06-02", 0), (None, None, 0)],
)
def test_a_check_is_overdue_from_the_day_after_it_is_due(
    last: str | None, due_on: str | None, overdue: int
) -> None:
    newest = (
        {WORK: Stands("R1", "AIT-1", "S1", "check", f"2026-{last}T08:00-05:00")} if last is not None else {}
    )
    found = due_of({WORK: 7}, newest, (), TODAY)[WORK]
    assert (found.due, found.overdue) == (date.fromisoformat(f"2026-{due_on}") if due_on else None, overdue)
    assert found.last == ("R1" if last else "")


def test_the_record_of_another_instrument_does_not_count(plant: Plant) -> None:
    visited(plant, "2026-05-20", serial="EL-0001")
    assert of(due(plant, NOW), PH).due is None
    visited(plant, "2026-05-21")
    assert of(due(plant, NOW), PH).due == date(2026, 5, 28)


def test_a_voided_record_does_not_count(plant: Plant) -> None:
    visited(plant, "2026-05-21")
    visited(plant, "2026-05-25")
    with open_book(plant.book, plant.device).writing() as writer:
        body = {"by": "S-02", "why": "wrong analyzer"}
        writer.append("voided", key="v", record="L1-2026-0002", at="2026-05-26T08:00-05:00", body=body)
    assert of(due(plant, NOW), PH).last == "L1-2026-0001"


@pytest.mark.parametrize(("until", "listed"), [("2026-06-02", False), ("2026-06-03", True)])
def test_the_list_ends_with_the_day_it_is_asked_for(plant: Plant, until: str, listed: bool) -> None:
    visited(plant, "2026-05-27")
    found = due(plant, NOW, date.fromisoformat(until))
    assert (PH in {item.work.tag for item in found.items}) is listed
    assert found.later == (0 if listed else 1)


def test_without_a_day_the_list_looks_a_week_ahead(plant: Plant) -> None:
    assert (due(plant, NOW).until - TODAY).days == AHEAD_DAYS


def test_rounds_come_first_in_walking_order(plant: Plant) -> None:
    found = due(plant, NOW)
    rounds = [item.round for item in found.items]
    assert rounds == sorted(rounds, key=lambda name: list([*plant.rounds, ""]).index(name))
    assert [item.work.tag for item in found.items][:2] == [PH, "AIT-2201"]
    assert rounds[-1] == ""


def test_a_skipped_check_is_still_due_and_says_why() -> None:
    told = [
        Skipped("2026-05-20", "weekly", "AIT-1", "check", "before the last check", "T-07"),
        Skipped("2026-05-28", "weekly", "AIT-1", "check", "the road was under water", "T-07"),
        Skipped("2026-05-28", "weekly", "AIT-2", "check", "another analyzer", "T-07"),
    ]
    newest = {WORK: Stands("R1", "AIT-1", "S1", "check", "2026-05-20T08:00-05:00")}
    found = due_of({WORK: 7}, newest, told, TODAY)[WORK]
    assert [one.why for one in found.skipped] == ["the road was under water"]
    assert found.overdue == 5


# ---------------------------------------------------------------- what to take


def test_the_usual_answers_of_the_round_say_what_to_take(plant: Plant) -> None:
    item = of(due(plant, NOW), PH)
    assert item.needs_from == "usual answers of the round weekly-ph"
    assert {need.id: str(need.volume_ml) for need in item.needs} == {
        "T-17": "0",
        "B7-4471": "50",
        "B10-2188": "50",
    }
    assert [str(need.at_most_ml) for need in item.needs] == ["0", "150", "150"]


def test_without_a_round_it_is_what_the_last_record_named(plant: Plant) -> None:
    began = "2026-05-21T08:00-05:00"
    chlorine = ("AIT-2301", "chlorine_check")
    grab = {"at": "08:10", "instrument": "P-2"}
    for stage in ("as_found", "as_left"):
        enter(
            plant,
            (began, {stage: grab}),
            tag=chlorine[0],
            procedure=chlorine[1],
            more={"serial": "EL-0611", "visit": stage},
        )
        item = of(due(plant, NOW), *chlorine)
        # what is named only where it was done again is nothing to take for the check itself
        assert [need.id for need in item.needs] == (["P-2"] if item.last == "L1-2026-0001" else [])


def test_the_volume_of_a_reading_is_a_setting(plant: Plant) -> None:
    setting = '[analyzer.settings]\nvolume_per_reading_ml = "80"\n'
    changed = edited(plant, "analyzers.toml", "[analyzer.settings]\n", setting)
    assert [str(need.volume_ml) for need in of(due(changed, NOW), PH).needs] == ["0", "80", "80"]


@pytest.mark.parametrize(
    ("left", "said"),
    [
        ("49", "too little: 49 mL left, 50 mL needed as found"),
        ("50", "enough as found only: 50 mL left, up to 150 mL where it is done again"),
        ("149", "enough as found only: 149 mL left, up to 150 mL where it is done again"),
        ("150", ""),
        (None, ""),
    ],
)
def test_what_is_left_is_compared_with_what_is_needed(plant: Plant, left: str | None, said: str) -> None:
    plant.left_ml.clear()  # type: ignore[attr-defined]
    if left is not None:
        plant.left_ml["B7-4471"] = Decimal(left)  # type: ignore[index]
    need = Needed("B7-4471", 1, Decimal(50), Decimal(150))
    (found,) = together(plant, [([need], "2026-06-01")], "2026-06-01")
    assert found.problems == ((said,) if said else ())


def test_several_checks_share_a_bottle(plant: Plant) -> None:
    need = Needed("B7-4471", 1, Decimal(50), Decimal(150))
    (found,) = together(plant, [([need], "2026-06-01"), ([need], "2026-06-02")], "2026-06-01")
    assert (found.volume_ml, found.at_most_ml, found.left_ml) == (100, 300, 400)


@pytest.mark.parametrize(
    ("today", "day", "said"),
    [
        ("2026-10-07", "2026-10-07", ""),
        ("2026-10-08", "2026-10-08", ""),
        ("2026-10-08", "2026-10-09", "usable until 2026-10-08, before a check on 2026-10-09"),
        ("2026-10-09", "2026-10-09", "expired: usable until 2026-10-08"),
    ],
)
def test_a_bottle_is_good_through_its_last_day(plant: Plant, today: str, day: str, said: str) -> None:
    assert plant.standards["B7-4471"].usable_until == "2026-10-08"  # opened 2026-04-11 for 180 days
    (found,) = together(plant, [([Needed("B7-4471")], day)], today)
    assert found.problems == ((said,) if said else ())


def test_an_instrument_past_its_calibration_and_a_bottle_that_is_gone_are_said(plant: Plant) -> None:
    due_on = plant.standards["T-17"].calibration_due
    found = together(plant, [([Needed("T-17"), Needed("B7-0001")], "2027-01-01")], "2027-01-01")
    assert [one.problems for one in found] == [
        (f"expired: its calibration is due on {due_on}",),
        ("not in standards_on_hand.toml any more: choose another",),
    ]


def test_keys_and_tools_stand_in_the_register(plant: Plant) -> None:
    item = of(due(plant, NOW), "LIT-3101")
    assert item.take == ("key of the hatch, from the town", "harness and second person")
    text = "\n".join(due_lines(due(plant, NOW)))
    assert "for LIT-3101: key of the hatch, from the town, harness and second person" in text


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('left_ml = "400"', 'left_ml = "0"', "is not more than 0"),
        ('left_ml = "400"', 'left_ml = "much"', "is not a reading"),
    ],
)
def test_what_is_left_is_a_volume(plant: Plant, old: str, new: str, said: str) -> None:
    with pytest.raises(CorrectTheEntry, match=said):
        edited(plant, "standards_on_hand.toml", old, new)


@pytest.mark.parametrize("volume", ["0", "10001", "many"])
def test_a_volume_out_of_its_bounds_is_refused(plant: Plant, volume: str) -> None:
    setting = f'[analyzer.settings]\nvolume_per_reading_ml = "{volume}"\n'
    with pytest.raises(CorrectTheEntry, match="volume_per_reading_ml"):
        edited(plant, "analyzers.toml", "[analyzer.settings]\n", setting)


# ---------------------------------------------------------------- commands


@pytest.fixture
def run(
    plant: Plant, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str]]:
    monkeypatch.setattr(common, "datetime", Clock)

    def command(*words: str) -> tuple[int, str]:
        monkeypatch.setattr(sys, "argv", ["wqverify", *words, "--plant", str(plant.folder)])
        with pytest.raises(SystemExit) as ended:
            main()
        told = capsys.readouterr()
        return int(ended.value.code or 0), told.out + told.err

    return command


def test_due_tells_the_list(plant: Plant, run: Callable[..., tuple[int, str]]) -> None:
    visited(plant, "2026-05-20")
    code, text = run("due")
    assert code == 0
    assert text.startswith("Synthetic data: an invented plant.\nDue up to 2026-06-08:")
    assert "due 2026-05-27, 5 days overdue; last 2026-05-20" in " ".join(text.split())
    assert "B7-4471 pH 7.00 ready-made, lot 4471: 50 mL" in text
    assert all(len(line) <= WIDTH for line in text.splitlines())


def test_due_as_json(plant: Plant, run: Callable[..., tuple[int, str]]) -> None:
    visited(plant, "2026-05-20")
    code, text = run("due", "--json", "--until", "2026-06-05")
    told = json.loads(text)
    assert code == 0
    assert set(told) == {"synthetic", "today", "until", "items", "take", "later"}
    (item,) = [one for one in told["items"] if one["work"]["tag"] == PH]
    assert item["work"] == {"tag": PH, "serial": "EL-0417", "procedure": "ph_calibration"}
    assert (item["due"], item["overdue"], item["last"]) == ("2026-05-27", 5, "L1-2026-0001")
    assert set(told["take"][0]) == {
        "id", "name", "lot", "kind", "volume_ml", "at_most_ml", "left_ml", "usable_until", "calibration_due",
        "problems",
    }  # fmt: skip


def test_due_refuses_a_day_that_is_none(run: Callable[..., tuple[int, str]]) -> None:
    code, text = run("due", "--until", "tomorrow")
    assert code == 2
    assert "tomorrow" in text
    assert "Traceback" not in text


def test_done_tells_the_month(plant: Plant, run: Callable[..., tuple[int, str]]) -> None:
    for day in ("05-04", "05-13"):
        visited(plant, f"2026-{day}")
    code, text = run("done", "2026-05")
    assert code == 0
    assert "by analyzers.toml of today; the book holds no accepted register" in text
    flat = " ".join(text.split())
    assert "due 2026-05-11: done 2026-05-13 2 days late, L1-2026-0002" in flat
    assert "never done before on EL-0417: done 2026-05-04, L1-2026-0001" in flat
    assert all(len(line) <= WIDTH for line in text.splitlines())


def test_done_as_json(plant: Plant, run: Callable[..., tuple[int, str]]) -> None:
    visited(plant, "2026-05-04")
    code, text = run("done", "2026-05", "--json")
    told = json.loads(text)
    assert code == 0
    assert set(told) == {"synthetic", "month", "as_of", "plan", "items", "unplanned", "counts"}
    assert told["counts"]["first"] == 1
    assert {one["state"] for one in told["items"]} <= set(told["counts"])


def test_done_names_what_was_skipped_and_what_was_done_besides(plant: Plant) -> None:
    visited(plant, "2026-05-04")
    enter(plant, ("2026-05-06T08:00-05:00", {}), procedure="call_out", more=OWN)
    body = {"round": "2026-05-11 weekly-ph", "tag": PH, "procedure": "ph_calibration", "day": "2026-05-11"}
    with open_book(plant.book, plant.device).writing() as writer:
        told = {**body, "why": "the gallery was closed", "by": "T-07"}
        writer.append("skipped", key="s", at="2026-05-11T12:00-05:00", body=told)
    lines = list(done_lines(plan_kept(plant, "2026-05", NOW)))
    assert "  due 2026-05-11: skipped" in lines
    assert "      skipped on 2026-05-11 by T-07: the gallery was closed" in lines
    assert lines[-2:] == [
        "Done besides the plan: 1 record",
        "  2026-05-06 AIT-2101 call_out L1-2026-0002",
    ]


@pytest.mark.parametrize("month", ["2026-13", "June"])
def test_done_refuses_what_is_no_month(run: Callable[..., tuple[int, str]], month: str) -> None:
    code, text = run("done", month)
    assert code == 2
    assert "is no month; type year and month" in text


@pytest.mark.parametrize(
    ("done", "due_on"),
    [
        (date(2026, 5, 1), date(2026, 5, 8)),
        (date(2026, 5, 15), date(2026, 5, 20)),
        (date(2026, 5, 20), date(2026, 5, 21)),
    ],
)
def test_an_interval_that_was_shortened_counts_from_that_day_as_in_the_plan(done: date, due_on: date) -> None:
    """The examples of ``due_after``: weekly until 20 May, daily from then on."""
    versions = (Version(None, "first", {WORK: 7}), Version(date(2026, 5, 20), "second", {WORK: 1}))
    newest = {WORK: Stands("R1", "AIT-1", "S1", "check", f"{done}T08:00-05:00")}
    assert due_of({WORK: 1}, newest, (), date(2026, 6, 1), versions)[WORK].due == due_on
    not_accepted = due_of({WORK: 3}, newest, (), date(2026, 6, 1), versions)[WORK].due
    assert not_accepted == done + timedelta(days=3)


@pytest.mark.parametrize(
    ("today", "overdue"), [(date(2026, 6, 9), 0), (date(2026, 6, 10), 0), (date(2026, 6, 11), 1)]
)
def test_a_month_is_due_on_the_tenth_after_it_whenever_the_last_one_was_judged(
    today: date, overdue: int
) -> None:
    """40 CFR 141.175; from the latest month that has a record, not from the day it was made."""
    month = Work("AIT-2", "S2", "turbidity_month")
    told = [("R2", "2026-04", "05-02"), ("R3", "2026-03", "05-20")]
    months = [OfMonth(number, "AIT-2", "turbidity_month", of, f"2026-{day}") for number, of, day in told]
    found = monthly_due({month: 31, WORK: 7}, months, (), today)
    assert list(found) == [month]
    assert (found[month].due, found[month].overdue, found[month].last) == (date(2026, 6, 10), overdue, "R2")
    assert found[month].interval == "each month"
    assert monthly_due({month: 31}, [], (), today)[month].due is None
