"""How the plan of a month was kept: four days around each due date, skips, changes of the plan, exchanges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from plant_example import MONTH, NOW
from short_records import enter

from wqverify import acts
from wqverify.book import Stands
from wqverify.demo.ellodale import make_plant
from wqverify.errors import CorrectTheEntry
from wqverify.lists.monthly import OfMonth
from wqverify.lists.plan import Version, Work
from wqverify.lists.plan_kept import STATES, Item, bounds_of, kept_in, monthly_kept, plan_kept
from wqverify.lists.queue import Skipped
from wqverify.plant.folder import open_plant

WORK = Work("AIT-1", "S1", "check")
WEEKLY = (Version(None, "the register", {WORK: 7}),)
FIRST, END, AFTER = date(2026, 5, 1), date(2026, 5, 31), date(2026, 6, 15)


def done(*days: str, serial: str = "S1") -> list[Stands]:
    return [Stands(f"R{serial}-{day}", "AIT-1", serial, "check", f"2026-{day}T08:00-05:00") for day in days]


def skip(day: str, why: str = "the gallery was closed") -> Skipped:
    return Skipped(f"2026-{day}", "weekly", "AIT-1", "check", why, "T-07")


def kept(
    records: Sequence[Stands],
    *skips: Skipped,
    versions: Sequence[Version] = WEEKLY,
    today: date = AFTER,
) -> list[Item]:
    return kept_in(versions, records, skips, FIRST, END, today)


def in_short(items: Sequence[Item]) -> list[tuple[str, str, str, int]]:
    def day(one: date | None) -> str:
        return f"{one:%m-%d}" if one else ""

    return [(day(item.due), item.state, day(item.done_on), item.days_late) for item in items]


@pytest.mark.parametrize(
    ("on", "state", "late"),
    [("05-04", "in time", 0), ("05-05", "in time", 0), ("05-06", "late", 1), ("05-11", "late", 6)],
)
def test_work_meets_the_due_date_before_it_until_the_next_one(on: str, state: str, late: int) -> None:
    first = kept(done("04-28", on))[0]
    assert in_short([first]) == [("05-05", state, on, late)]
    assert first.number == f"RS1-{on}"


def test_a_due_date_nobody_met_is_not_done_and_the_next_counts_from_it() -> None:
    rows = in_short(kept(done("04-28", "05-12", "05-19", "05-26", "06-02")))
    assert rows[:2] == [("05-05", "not done", "", 7), ("05-12", "in time", "05-12", 0)]
    assert [row[1] for row in rows[2:]] == ["in time", "in time"]


@pytest.mark.parametrize(
    ("today", "state", "late"),
    [
        (date(2026, 5, 4), "not yet due", 0),
        (date(2026, 5, 5), "not yet due", 0),
        (date(2026, 5, 6), "not done", 1),
    ],
)
def test_what_is_not_done_is_told_from_the_day_after(today: date, state: str, late: int) -> None:
    assert in_short(kept(done("04-28"), today=today))[0] == ("05-05", state, "", late)


def test_what_waited_when_the_month_began_is_of_the_month_and_what_was_met_before_is_not() -> None:
    assert in_short(kept(done("04-21", "05-02")))[0] == ("04-28", "late", "05-02", 4)
    assert in_short(kept(done("04-21", "04-30")))[0][0] == "05-07"
    closed = in_short(kept(done("04-07")))  # due 14, 21, 28 April: only the last of them was open in May
    assert closed[0] == ("04-28", "not done", "", 7)


@pytest.mark.parametrize("day", ["04-29", "05-05", "05-11"])
def test_a_skip_belongs_to_the_due_date_of_its_interval(day: str) -> None:
    item = kept(done("04-28", "05-12"), skip(day))[0]
    assert (item.due, item.state) == (date(2026, 5, 5), "skipped")
    assert [one.why for one in item.skipped] == ["the gallery was closed"]


def test_a_skip_of_the_next_interval_does_not_excuse_the_one_before() -> None:
    before, after = kept(done("04-28", "05-19"), skip("05-12"))[:2]
    assert (before.state, before.skipped) == ("not done", ())
    assert after.state == "skipped"


def test_what_was_skipped_and_done_after_all_is_late_and_keeps_the_reason() -> None:
    item = kept(done("04-28", "05-07"), skip("05-05"))[0]
    assert (item.state, item.days_late, len(item.skipped)) == ("late", 2, 1)


def test_an_instrument_without_a_record_is_told_so() -> None:
    (never,) = kept([])
    assert (never.due, never.state, never.number) == (None, "not done", "")
    first, second = kept(done("05-20"))[:2]
    assert (first.state, first.number) == ("first", "RS1-05-20")
    assert in_short([second]) == [("05-27", "not done", "", 4)]


def test_work_after_the_month_meets_what_was_due_in_it() -> None:
    rows = in_short(kept(done("05-22", "06-02")))
    assert rows[-1] == ("05-29", "late", "06-02", 4)


def test_an_exchanged_instrument_begins_anew_and_the_old_one_owes_nothing() -> None:
    other = Work("AIT-1", "S2", "check")
    versions = (*WEEKLY, Version(date(2026, 5, 8), "exchanged", {other: 7}))
    rows = kept([*done("04-28", "05-05"), *done("05-09", serial="S2")], versions=versions)
    of = {serial: in_short([r for r in rows if r.work.serial == serial]) for serial in ("S1", "S2")}
    assert of["S1"] == [("05-05", "in time", "05-05", 0)]
    assert of["S2"][0] == ("", "first", "05-09", 0)
    assert [due for due, *_rest in of["S2"][1:]] == ["05-16", "05-23", "05-30"]


@pytest.mark.parametrize(
    ("since", "due"),
    [("05-03", "05-03"), ("05-02", "05-02"), ("05-04", "05-04"), ("05-05", "05-05"), ("05-06", "05-05")],
)
def test_a_shortened_interval_counts_from_the_day_it_was_accepted(since: str, due: str) -> None:
    daily = Version(date.fromisoformat(f"2026-{since}"), "daily", {WORK: 1})
    assert in_short(kept(done("04-28"), versions=(*WEEKLY, daily)))[0][0] == due


def test_a_plan_of_another_month_asks_nothing() -> None:
    later = (Version(None, "none", {}), Version(END + timedelta(days=1), "later", {WORK: 7}))
    assert kept(done("04-28"), versions=later) == []
    assert kept(done("04-28"), versions=(later[0], replace(later[1], since=END)))[0].due == END


MONTHLY = Work("AIT-2", "S2", "turbidity_month")
JUDGED = (Version(None, "the register", {MONTHLY: 31}),)


def of_month(*days: str, month: str = "2026-05", today: date = date(2026, 6, 30)) -> list[Item]:
    """The month of May as it was kept, judged on these days: due by 10 June (40 CFR 141.175)."""
    months = [OfMonth(f"R-{day}", "AIT-2", "turbidity_month", month, f"2026-{day}") for day in days]
    first = bounds_of("2026-05")[0]
    return monthly_kept(JUDGED, months, (), first, END, today)


@pytest.mark.parametrize(
    ("day", "state", "late"),
    [("06-01", "in time", 0), ("06-10", "in time", 0), ("06-11", "late", 1), ("05-31", "in time", 0)],
)
def test_a_month_that_was_judged_counts_for_the_month_it_is_about(day: str, state: str, late: int) -> None:
    (item,) = of_month(day)
    assert in_short([item]) == [("06-10", state, day, late)]
    assert (item.number, item.interval) == (f"R-{day}", "each month")


@pytest.mark.parametrize(
    ("today", "state", "late"),
    [(date(2026, 6, 10), "not yet due", 0), (date(2026, 6, 11), "not done", 1)],
)
def test_a_month_nobody_judged_is_due_until_its_day(today: date, state: str, late: int) -> None:
    for rows in (of_month(today=today), of_month("06-02", month="2026-04", today=today)):
        assert in_short(rows) == [("06-10", state, "", late)]


def test_a_month_is_an_item_once_and_its_days_are_no_interval() -> None:
    assert kept([], versions=JUDGED) == []
    exchanged = (*JUDGED, Version(date(2026, 5, 20), "exchanged", {replace(MONTHLY, serial="S3"): 31}))
    months = [OfMonth("R-1", "AIT-2", "turbidity_month", "2026-05", "2026-06-02")]
    (item,) = monthly_kept(exchanged, months, (), FIRST, END, AFTER)
    assert (item.number, item.work.serial) == ("R-1", "S3")


@pytest.mark.parametrize("month", ["2026-13", "May", "2026-5", "2026-05-01", ""])
def test_a_month_is_typed_as_year_and_month(month: str, tmp_path: Path) -> None:
    with pytest.raises(CorrectTheEntry, match=r"is no month; type year and month, such as 2026-05\."):
        plan_kept(make_plant(tmp_path / "plant", MONTH), month, NOW)


def test_a_month_ahead_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CorrectTheEntry, match=r"2026-07 lies after this computer's clock"):
        plan_kept(make_plant(tmp_path / "plant", MONTH), "2026-07", NOW)


def test_without_a_book_the_plan_is_that_of_today_and_says_so(tmp_path: Path) -> None:
    found = plan_kept(make_plant(tmp_path / "plant", MONTH), "2026-05", NOW)
    assert found.plan == ("analyzers.toml of today; the book holds no accepted register",)
    assert set(found.counts) == set(STATES)
    # The month itself is due when it is over: on the tenth of the next.
    waiting = [item.work.procedure for item in found.items if item.state == "not yet due"]
    assert waiting == ["turbidity_month"]
    assert found.counts["not done"] == len(found.items) - 1 > 5


def test_the_plan_is_the_register_as_the_book_accepted_it(tmp_path: Path) -> None:
    plant = make_plant(tmp_path / "plant", MONTH)
    acts.accept(plant, "S-02", "as this book began", NOW - timedelta(days=60))
    register = plant.folder / "analyzers.toml"
    text = register.read_text("utf-8")
    register.write_text(text.replace("chlorine_check = 5", "chlorine_check = 3"), "utf-8")
    changed = open_plant(plant.folder)
    acts.accept(changed, "S-02", "more often", NOW - timedelta(days=12))  # 2026-05-20

    def days() -> list[int]:
        found = plan_kept(changed, "2026-05", NOW)
        assert [told[:31] for told in found.plan] == [
            "register accepted on 2026-04-02",
            "register accepted on 2026-05-20",
        ]
        return [item.every for item in found.items if item.work.procedure == "chlorine_check"]

    assert days() == [3]  # never done: the plan of the last day
    began = "2026-05-{:02d}T08:00-05:00"
    enter(
        changed, (began.format(4), {}), tag="AIT-2301", procedure="chlorine_check", more={"serial": "EL-0611"}
    )
    assert days() == [5, 5, 5, 5, 3, 3, 3, 3]  # first, due 9, 14, 19; then 22, 25, 28, 31


def test_the_list_is_in_walking_order_and_names_the_record_and_what_it_found(tmp_path: Path) -> None:
    plant = make_plant(tmp_path / "plant", MONTH)
    began = "2026-05-10T08:00-05:00"
    enter(plant, (began, {}), more={"serial": "EL-0417"})
    enter(plant, (began, {}), tag="AIT-2201", procedure="call_out", more={"serial": "EL-0522"})
    found = plan_kept(plant, "2026-05", NOW)
    assert [item.work.tag for item in found.items if item.round] == ["AIT-2101"] * 4 + [
        "AIT-2201",
        "AIT-2202",
        "AIT-2210",
        "AIT-2401",
        "TIT-1201",
    ]
    assert found.items[0].number == "L1-2026-0001"
    assert found.items[0].round == "weekly-ph"
    assert [one.number for one in found.unplanned] == ["L1-2026-0002"]
