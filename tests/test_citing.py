"""What a case names besides its own analyzer: other analyzers with their exports, and other records."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Annotated, Any

import pytest
from plant_example import NOW, plant_in, sheet_of

from wqverify import acts, gather
from wqverify.book import RecordState, open_book
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.fields import Name
from wqverify.plant.folder import Plant
from wqverify.procedures.answers import AtTime, Part, Time
from wqverify.terms import Ask, Cited, Given, Procedure, Slices, Window
from wqverify.trends.slices import read_slice


class Filter(Part):
    tag: Annotated[Name, Ask("filter", refers="analyzer")]
    export: Annotated[str, Ask("export", refers="trend", of="tag")]


class Sheet(Part):
    tag: Name
    date: str
    started: Annotated[Time, Ask("started")]
    since: Annotated[AtTime, Ask("from")]
    failed: Annotated[Name, Ask("failed check", refers="record")]
    filters: Annotated[tuple[Filter, ...], Ask("filter")]


def procedure(cites: Any = "") -> Procedure:
    def nothing(*_given: object) -> Any:
        raise AssertionError("nothing is computed here")

    return Procedure("cites", "Cites", 1, Sheet, nothing, nothing, cites=cites)


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    """The plant with a passing and a failed pH check in its book, and an export of two tags."""
    plant = plant_in(tmp_path_factory.mktemp("citing") / "p")
    acts.perform(plant, [sheet_of(plant, "pass"), sheet_of(plant, "fail")], NOW)
    rows = "".join(f"2026-05-0{d} 12:00:00-05:00,7.1{d},0.0{d}\n" for d in range(1, 8))
    (plant.folder / "trends" / "two.csv").write_text(f"time,AIT-2101,AIT-2201\n{rows}", "utf-8")
    return plant


def failed(plant: Plant) -> list[RecordState]:
    """The failed check first, then the other."""
    states = list(open_book(plant.book, plant.device).records())
    return sorted(states, key=lambda one: one.outcomes["as_found at the analyzer"] != "fail")


def sheet(plant: Plant, **more: Any) -> dict[str, Any]:
    number = next(one.number for one in failed(plant))
    return {
        "tag": "AIT-2101",
        "date": "2026-05-31",
        "started": "10:00",
        "since": "2026-05-01 00:00",
        "failed": number,
        **more,
    }


def given(plant: Plant, raw: dict[str, Any], cites: str = "") -> tuple[Given, Slices]:
    book = open_book(plant.book, plant.device)
    return gather.gather(plant, book, procedure(cites), raw)


def test_a_record_that_is_named_comes_with_its_checks_and_what_it_was_made_with(plant: Plant) -> None:
    raw = sheet(plant)
    found = given(plant, raw)[0].records
    assert list(found) == [raw["failed"]]
    one = found[raw["failed"]]
    assert (one.tag, one.procedure, one.status) == ("AIT-2101", "ph_calibration", "in service")
    assert one.outcomes["as_found at the analyzer"] == "fail"
    assert any(str(check.outcome) == "fail" for check in one.checks)
    assert "B7-4471" in one.standards
    assert one.ended == ""


def test_its_windows_are_those_of_the_sheet(plant: Plant) -> None:
    windows = {one.what: one for one in next(iter(given(plant, sheet(plant))[0].records.values())).windows}
    record = acts.compute_only(plant, [sheet_of(plant, "fail")], NOW)[0]
    times = record.given.times
    assert windows["output held"].start == times["output_held.at"]
    assert windows["output held"].end == times["output_released.at"]
    assert windows["visit"].start == min(times.values(), key=datetime.fromisoformat)


@pytest.mark.parametrize(
    ("cites", "tag", "count"),
    [
        ("own", "AIT-2101", 2),
        ("all", "AIT-2101", 2),
        ("", "AIT-2101", 1),
        ("own", "AIT-2201", 1),
        ("all", "AIT-2201", 2),
    ],
)
def test_records_of_the_period_are_cited_without_their_checks(
    plant: Plant, cites: str, tag: str, count: int
) -> None:
    raw = sheet(plant, tag=tag)
    found = given(plant, raw, cites)[0].records
    assert len(found) == count
    assert [number for number, one in found.items() if one.checks] == [raw["failed"]]


def test_a_period_of_too_many_records_is_refused(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gather, "MOST_CITED", 2)
    assert len(given(plant, sheet(plant), "own")[0].records) == 2
    monkeypatch.setattr(gather, "MOST_CITED", 1)
    with pytest.raises(CorrectTheEntry, match="there are 2 records, and one case takes at most 1"):
        given(plant, sheet(plant), "own")


def test_the_book_finds_what_began_from_one_time_to_another_both_included(plant: Plant) -> None:
    book = open_book(plant.book, plant.device)
    began = failed(plant)[0].performed
    later = datetime.fromisoformat(began).astimezone(UTC).isoformat()
    assert len(book.begun_between(began, later)) == 1
    assert len(book.begun_between(began, later, ("AIT-2101",))) == 1
    assert book.begun_between(began, later, ("AIT-2201",)) == []
    assert book.begun_between("2026-06-01T00:00-05:00", "2026-06-02T00:00-05:00") == []


def test_a_number_that_is_not_in_the_book_is_refused(plant: Plant) -> None:
    with pytest.raises(ChooseAnother) as caught:
        given(plant, sheet(plant, failed="L1-2026-0999"))
    assert caught.value.message == (
        "failed: 'L1-2026-0999' is not in the book; `wqverify book list` shows what is."
    )


def test_an_analyzer_that_is_not_in_the_register_is_refused(plant: Plant) -> None:
    with pytest.raises(ChooseAnother, match=r"filters.0.tag: there is no analyzer 'AIT-9999'"):
        given(plant, sheet(plant, filters=[{"tag": "AIT-9999", "export": "two.csv"}]))


def test_values_are_cut_from_the_channel_of_the_analyzer_named_beside(plant: Plant) -> None:
    raw = sheet(plant, filters=[{"tag": tag, "export": "two.csv"} for tag in ("AIT-2201", "AIT-2101")])
    told, slices = given(plant, raw)
    assert list(told.others) == ["AIT-2201"]
    assert [use.path for use in told.trends] == ["filters.0.export", "filters.1.export"]
    firsts = [next(iter(read_slice(slices[use.slice]))) for use in told.trends]
    assert [str(value) for _at, value, _flag in firsts] == ["0.01", "7.11"]


class BookOfBefore:
    """As much of a book as is asked for what reaches into a period: its records by when their work began."""

    def __init__(self, *records: Cited) -> None:
        self.records = records

    def begun_between(self, start: str, end: str, tags: object) -> list[SimpleNamespace]:
        first, last = datetime.fromisoformat(start), datetime.fromisoformat(end)
        assert tags == ["AIT-2210"] == sorted({one.tag for one in self.records})
        return [one for one in map(_state, self.records) if first <= one.instant <= last]

    def last_records(self, tag: str, *, procedure: str, before: str, limit: int) -> list[SimpleNamespace]:
        found = [one for one in map(_state, self.records) if one.instant < datetime.fromisoformat(before)]
        mine = [one for one in found if (one.cited.tag, one.cited.procedure) == (tag, procedure)]
        return mine[-limit:]


def _state(one: Cited) -> SimpleNamespace:
    return SimpleNamespace(number=one.number, instant=datetime.fromisoformat(one.performed), cited=one)


def told(number: str, day: str, procedure: str = "monitor_outage", **more: Any) -> Cited:
    return Cited(number, "AIT-2210", "S", procedure, f"2026-{day}T08:00-05:00", "", **more)


def out(since: str, until: str) -> dict[str, str]:
    return {
        f"outage.{end}": f"2026-{day}T08:00-05:00" for end, day in (("from", since), ("until", until)) if day
    }


def held(start: str, end: str) -> tuple[Window, ...]:
    days = [f"2026-{day}T09:00-05:00" if day else "" for day in (start, end)]
    return (Window("output held", *days),)


@pytest.mark.parametrize(
    ("records", "numbers"),
    [
        ([told("R1", "03-28", facts=out("03-28", "04-04"))], ["R1"]),
        ([told("R1", "03-28", facts=out("03-28", "03-31"))], []),
        ([told("R1", "02-01", facts=out("02-01", ""))], ["R1"]),
        ([told("R1", "03-30", "turbidity_standard_check", windows=held("03-30", ""))], ["R1"]),
        ([told("R1", "03-30", "turbidity_standard_check", windows=held("03-30", "03-30"))], []),
        (
            [
                told("R1", "03-29", "turbidity_standard_check", windows=held("03-29", "")),
                told("R2", "03-30", "turbidity_standard_check", windows=held("03-30", "03-30")),
            ],
            [],
        ),
    ],
    ids=[
        "outage into it",
        "outage over",
        "outage long ago, not over",
        "hold not released",
        "hold over",
        "released",
    ],
)
def test_what_began_before_a_period_and_reaches_into_it_is_cited(
    monkeypatch: pytest.MonkeyPatch, records: list[Cited], numbers: list[str]
) -> None:
    monkeypatch.setattr(gather, "_cited", lambda _book, state: state.cited)
    april = ("2026-04-01T00:00-05:00", "2026-05-01T00:00-05:00")
    book: Any = BookOfBefore(*records)
    assert [one.number for one in gather._reaching(book, ("AIT-2210",), *april)] == numbers
