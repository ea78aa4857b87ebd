"""Shared parts of field sheets: not done, the way back into service, and the one walk."""

from __future__ import annotations

from typing import Annotated, Any

import pytest
from pydantic import ValidationError

from wqverify.errors import CorrectTheEntry
from wqverify.procedures.parts import (
    Done,
    Head,
    NotDone,
    Number,
    OnStandard,
    Part,
    Points,
    Read,
    Tail,
    Time,
    entries,
    named_people,
    named_standards,
    refuse_disorder,
    typed_times,
)
from wqverify.terms import Ask


class Level(Read, OnStandard):
    """A point of an invented procedure: the parts must serve others than the first one."""


class Zero(Part):
    shown: Annotated[Number, Ask("shown", "analyzer")]
    at: Annotated[Time, Ask("at")]


class Middle(Part):
    zero: Annotated[Done[Zero] | None, Ask("zero")] = None
    as_found: Annotated[Done[Points[Level]], Ask("as found")]


class Sheet(Tail, Middle, Head):
    TOGETHER = (frozenset({"output_held", "loop_in_manual"}),)


def raw(**more: Any) -> dict[str, Any]:
    return {
        "procedure": "invented",
        "tag": "LIT-3101",
        "serial_on_plate": "0012",
        "reason": "routine",
        "performed_by": "IQU",
        "date": "2026-03-03",
        "started": "08:10",
        "cautions": {"read": "yes"},
        "operations_told": {"who": "W. Abernathy", "at": "08:12"},
        "as_found": {"points": [{"standard": "TAPE-1", "readings": ["12.30", "12.31"], "at": "08:30"}]},
        "status": {"state": "in service"},
        **more,
    }


def complaint(sheet: dict[str, Any]) -> str:
    with pytest.raises(ValidationError) as caught:
        Sheet.model_validate(sheet)
    return "; ".join(str(e.get("ctx", {}).get("said", e["msg"])) for e in caught.value.errors())


# ---------------------------------------------------------------- done, not done


def test_a_part_can_be_not_done_with_its_reason() -> None:
    sheet = Sheet.model_validate(raw(zero={"not_done": "valve stuck"}))
    assert isinstance(sheet.zero, NotDone)
    assert sheet.zero.not_done == "valve stuck"


def test_an_optional_part_that_is_absent_was_not_asked() -> None:
    assert Sheet.model_validate(raw()).zero is None


@pytest.mark.parametrize("key", ["as_found", "status", "cautions", "operations_told"])
def test_what_every_visit_needs_cannot_be_left_out(key: str) -> None:
    sheet = raw()
    del sheet[key]
    assert complaint(sheet) == "Field required"


def test_not_done_beside_answers_is_refused() -> None:
    said = complaint(raw(zero={"not_done": "valve stuck", "shown": "0.01"}))
    assert said == "not_done stands beside shown; keep the one that is true."


def test_not_done_without_a_reason_is_refused() -> None:
    assert complaint(raw(zero={"not_done": ""})) == "String should have at least 1 character"


def test_cautions_must_be_acknowledged() -> None:
    assert complaint(raw(cautions={"read": "no"})) == "Input should be 'yes'"


def test_a_stage_without_points_and_a_point_without_readings_are_refused() -> None:
    assert complaint(raw(as_found={"points": []})).startswith("points holds no point")
    point = {"standard": "TAPE-1", "readings": []}
    assert complaint(raw(as_found={"points": [point]})).startswith("holds no reading")


# ---------------------------------------------------------------- the way back into service


def test_a_held_output_must_be_released_or_it_is_said_why_not() -> None:
    said = complaint(raw(output_held={"at": "08:14"}))
    assert said == (
        "output_held has a time and output_released is missing; enter when it was undone, or "
        'output_released.not_done = "because ..." where it stays.'
    )
    Sheet.model_validate(
        raw(output_held={"at": "08:14"}, output_released={"not_done": "taken out of service"})
    )


@pytest.mark.parametrize(
    ("held", "released"),
    [
        ("output_held", "output_released"),
        ("loop_in_manual", "loop_in_auto"),
        ("alarm_blocked", "alarm_restored"),
    ],
)
def test_every_hold_has_its_own_way_back(held: str, released: str) -> None:
    Sheet.model_validate(raw(**{held: {"at": "08:14"}, released: {"at": "09:14"}}))
    assert f"{released} is missing" in complaint(raw(**{held: {"at": "08:14"}}))
    assert complaint(raw(**{released: {"at": "09:14"}})).startswith(
        f"{released} has a time and {held} has none"
    )
    # a hold that was not done needs no release
    Sheet.model_validate(raw(**{held: {"not_done": "no loop depends on it"}}))


def test_an_amended_record_names_both_what_and_why() -> None:
    said = "replaces and replaces_why belong together: which record, and why it is amended."
    assert complaint(raw(replaces="L1-2026-0007")) == said
    assert complaint(raw(replaces_why="lot mistyped")) == said
    Sheet.model_validate(raw(replaces="L1-2026-0007", replaces_why="lot mistyped"))


# ---------------------------------------------------------------- readings and times


@pytest.mark.parametrize("typed", ["12.30", "-0.01", "7", "1234567.123456"])
def test_a_reading_keeps_its_text(typed: str) -> None:
    point = {"standard": "TAPE-1", "readings": [typed]}
    sheet = Sheet.model_validate(raw(as_found={"points": [point]}))
    assert sheet.as_found.points[0].last.text == typed


@pytest.mark.parametrize(
    "typed",
    [
        "7,05",
        "7.0O",
        "７.05",
        "1e3",
        "nan",
        "inf",
        "+7.05",
        " 7.05",
        "7.05 ",
        "1_0.0",
        "7.",
        ".5",
        "",
        "9" * 5000,
    ],
)
def test_what_is_no_reading_is_refused_with_an_example(typed: str) -> None:
    point = {"standard": "TAPE-1", "readings": [typed]}
    said = complaint(raw(as_found={"points": [point]}))
    assert "is not a reading such as 7.05" in said
    assert len(said) < 200
    assert ("a decimal point, not a comma" in said) == (typed == "7,05")


def test_a_unit_behind_a_reading_is_refused_because_the_question_has_it() -> None:
    point = {"standard": "TAPE-1", "readings": ["12.3 ft"]}
    assert complaint(raw(as_found={"points": [point]})) == (
        "'12.3 ft' carries a unit; type the number alone, the unit is that of the question."
    )


@pytest.mark.parametrize(
    "typed", ["8:10", "08.10", "0810", "08:10:00", "2026-03-03T08:10", "08:10 EST", "０8:10"]
)
def test_what_is_no_time_is_refused_with_examples(typed: str) -> None:
    assert "is not a time; type the clock as 08:15" in complaint(raw(started=typed))


@pytest.mark.parametrize("typed", ["08:10", "2026-03-04 00:20", "01:30 -05:00", "2026-11-01 01:30 -05:00"])
def test_times_are_wall_clocks_with_date_and_offset_where_needed(typed: str) -> None:
    assert Sheet.model_validate(raw(started=typed)).started == typed


# ---------------------------------------------------------------- the walk


def test_entries_carry_their_labels_and_units_in_the_order_of_work() -> None:
    sheet = raw(zero={"shown": "0.02", "at": "08:20"}, cause={"opinion": "ice", "author": "LBR"})
    told = [(e.path, e.label, e.text, e.unit) for e in entries(Sheet, sheet, "ft")]
    assert told == [
        ("procedure", "Procedure", "invented", ""),
        ("tag", "Analyzer", "LIT-3101", ""),
        ("serial_on_plate", "Serial on the plate", "0012", ""),
        ("reason", "Reason of the visit", "routine", ""),
        ("performed_by", "Performed by", "IQU", ""),
        ("date", "Date of the work", "2026-03-03", ""),
        ("started", "Work started at", "08:10", ""),
        ("cautions.read", "Cautions: read before the work", "yes", ""),
        ("operations_told.who", "Operations told: who was told", "W. Abernathy", ""),
        ("operations_told.at", "Operations told: told at", "08:12", ""),
        ("zero.shown", "Zero: shown", "0.02", "ft"),
        ("zero.at", "Zero: at", "08:20", ""),
        ("as_found.points.0.standard", "As found, point 1: standard", "TAPE-1", ""),
        ("as_found.points.0.readings", "As found, point 1: readings", "12.30, 12.31", "ft"),
        ("as_found.points.0.at", "As found, point 1: last reading at", "08:30", ""),
        ("status.state", "Status: status after the work", "in service", ""),
        ("cause.opinion", "Cause: likely cause", "ice", ""),
        ("cause.author", "Cause: opinion of", "LBR", ""),
    ]


def test_what_was_not_done_is_an_entry_too() -> None:
    found = {e.path: e for e in entries(Sheet, raw(as_found={"not_done": "sensor already out"}))}
    entry = found["as_found.not_done"]
    assert (entry.label, entry.text) == ("As found: not done, because", "sensor already out")


def test_every_typed_value_of_a_sheet_becomes_an_entry() -> None:
    def leaves(value: Any) -> int:
        if isinstance(value, dict):
            return sum(map(leaves, value.values()))
        if isinstance(value, list) and value and isinstance(value[0], dict):
            return sum(map(leaves, value))
        return 1

    sheet = raw(zero={"shown": "0.02", "at": "08:20"}, remarks="none")
    assert len(entries(Sheet, sheet)) == leaves(sheet)


def test_times_standards_and_people_are_found_where_they_stand() -> None:
    sheet = raw(cause={"opinion": "ice", "author": "LBR"})
    sheet["as_found"]["thermometer"] = "T-17"
    assert typed_times(Sheet, sheet) == {
        "started": "08:10",
        "operations_told.at": "08:12",
        "as_found.points.0.at": "08:30",
    }
    assert named_standards(Sheet, sheet) == (
        ("as_found.thermometer", "T-17"),
        ("as_found.points.0.standard", "TAPE-1"),
    )
    assert named_people(Sheet, sheet) == (("performed_by", "IQU"), ("cause.author", "LBR"))


@pytest.mark.parametrize(
    "broken", [{"as_found": "x"}, {"as_found": {"points": "x"}}, {"as_found": {"points": ["x"]}}]
)
def test_the_walk_passes_over_what_has_the_wrong_shape(broken: dict[str, Any]) -> None:
    sheet = raw(**broken)
    assert named_standards(Sheet, sheet) == ()
    assert [e.path for e in entries(Sheet, sheet)][-1] == "status.state"


def times(**given: str) -> dict[str, str]:
    return {path.replace("__", "."): f"2026-03-03T{clock}-05:00" for path, clock in given.items()}


def test_times_in_the_order_of_work_are_taken_equal_ones_too() -> None:
    refuse_disorder(Sheet, times(started="08:10", zero__at="08:10", as_found__points__0__at="08:11"))


def test_a_time_before_the_one_above_it_is_refused_naming_both() -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        refuse_disorder(Sheet, times(started="08:10", zero__at="08:40", as_found__points__0__at="08:11"))
    assert caught.value.message == (
        "As found, point 1: last reading at (as_found.points.0.at) is 2026-03-03 08:11, before Zero: at "
        "(zero.at) (2026-03-03 08:40), which comes first in the order of work; correct one of them, or give "
        "the date too where the work went past midnight."
    )
    assert caught.value.where == "as_found.points.0.at"


def test_times_are_compared_as_instants_not_as_wall_clocks() -> None:
    """01:50 before the clocks go back is earlier than 01:20 after."""
    refuse_disorder(
        Sheet, {"started": "2026-11-01T01:50-04:00", "as_found.points.0.at": "2026-11-01T01:20-05:00"}
    )


def test_what_stands_together_may_come_in_any_order_but_not_outside() -> None:
    refuse_disorder(Sheet, times(started="08:10", output_held__at="08:20", loop_in_manual__at="08:15"))
    with pytest.raises(
        CorrectTheEntry, match=r"Loop in manual: time \(loop_in_manual.at\) is 2026-03-03 08:05"
    ):
        refuse_disorder(Sheet, times(started="08:10", output_held__at="08:20", loop_in_manual__at="08:05"))
    with pytest.raises(CorrectTheEntry, match=r"before Output held: time \(output_held.at\)"):
        refuse_disorder(
            Sheet, times(output_held__at="08:20", loop_in_manual__at="08:15", as_found__points__0__at="08:17")
        )
