"""A visit stepped through: what is asked, refused, asked about once more, stored, and what comes out."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from plant_example import MONTH, NOW
from step_driver import act_to, acts_to, step_to

from wqverify.acts import HeadOf, compute_only, prepare_round
from wqverify.cli.today_commands import today_lines
from wqverify.demo.ellodale import make_plant
from wqverify.demo.visits import visits
from wqverify.desk import Desk, open_desk
from wqverify.desk.rounds import _agreed, _shared
from wqverify.entry.around import found
from wqverify.entry.changes import leaves
from wqverify.entry.fold import Voice, fold
from wqverify.entry.journal import JournalLine, read_journal
from wqverify.entry.paper import paper
from wqverify.entry.screen import Act, Screen, chosen
from wqverify.entry.taken import is_of_kind
from wqverify.errors import ChooseAnother, CouldNotRun
from wqverify.lists.today import today
from wqverify.plant.folder import open_plant
from wqverify.procedures.walk import answered

# Those that need nothing an earlier visit of the month would have left: no assigned value, no export.
ALONE = (
    "chlorine 2",
    "pass",
    "preparation",
    "calibration",
    "turbidity 12 AIT-2202",
    "grab 6",
    "fail",
    "night",
)
SHEETS = {visit.name: answered(tomllib.loads(visit.sheet)) for visit in visits(MONTH) if not visit.skipped}


# Visits that the month has not: two standards, and the temperature built into the pH analyzer in two baths.
PHYSICAL: dict[str, Any] = {
    "reason": "routine",
    "performed_by": "T-11",
    "method": "EP-41 rev. 1 (invented)",
    "date": "2026-05-12",
    "started": "08:05",
    "cautions": {"read": "yes"},
    "operations_told": {"who": "R. Okafor", "how": "radio", "at": "08:07"},
    "condition": {"as_arrived": "nothing unusual"},
    "output_held": {"at": "08:10"},
    "as_left": {"same_as": "as_found"},
    "output_released": {"at": "08:50"},
    "status": {"state": "in service"},
}


def in_bottle(name: str, shown: str) -> dict[str, Any]:
    return {"standard": name, "temperature_c": "21.6", "readings": [shown] * 3, "interval_s": "20"}


def in_bath(shown: str) -> dict[str, Any]:
    return {"standard": "T-17", "reference": f"{shown}2", "readings": [shown] * 3, "interval_s": "30"}


SHEETS |= {
    "conductivity": {
        **PHYSICAL,
        "procedure": "conductivity_check",
        "tag": "AIT-2401",
        "serial_on_plate": "EL-0724",
        "process_before": {"shown": "612", "control_system": "612", "at": "08:09"},
        "as_found": {"points": [in_bottle("K500-2207", "501"), in_bottle("K1413-2210", "1420")]},
        "process_after": {"shown": "612", "control_system": "612", "at": "08:55"},
    },
    "temperature": {
        **PHYSICAL,
        "procedure": "temperature_check",
        "tag": "AIT-2101",
        "serial_on_plate": "EL-0417",
        "process_before": {"shown": "9.1", "control_system": "9.1", "at": "08:09"},
        "as_found": {"points": [in_bath("5.1"), in_bath("22.1")]},
        "process_after": {"shown": "9.1", "control_system": "9.1", "at": "08:55"},
    },
}
NIGHT = {**SHEETS["pass"], "date": "2026-05-12", "clocks": {}, "operations_told": {"not_done": "by night"}}
TODAY = {**SHEETS["pass"], "date": "2026-05-12"}


class Clock:
    """A clock that stands still until it is moved."""

    def __init__(self, at: datetime) -> None:
        self.at = at

    def __call__(self) -> datetime:
        return self.at

    def wait(self, seconds: float) -> None:
        self.at += timedelta(seconds=seconds)


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plant") / "ellodale"
    make_plant(folder, MONTH)
    return folder


@pytest.fixture
def plant(template: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(template, tmp_path / "ellodale"))


@pytest.fixture
def clock() -> Clock:
    return Clock(datetime(2026, 5, 12, 12, 10, tzinfo=UTC))  # 07:10 at the plant


@pytest.fixture
def desk(plant: Path, clock: Clock) -> Iterator[Desk]:
    desk = open_desk(plant, procedure="ph_calibration", tag="AIT-2101", clock=clock)
    yield desk
    desk.close()


def say(desk: Desk, *texts: str) -> Screen:
    """Answer what is shown, one text after the other."""
    for text in texts:
        desk.act(Act("answer", chosen(desk.screen, text), desk.screen.path))
    return desk.screen


def press(desk: Desk, *doings: str) -> Screen:
    for do in doings:
        desk.act(Act(do, "", desk.screen.path))
    return desk.screen


def upto(desk: Desk, path: str, sheet: dict[str, Any] = SHEETS["pass"]) -> Screen:
    """Answer as on a sheet until this question is shown."""
    for act in acts_to(desk, sheet):
        if desk.screen.path == path:
            return desk.screen
        screen = desk.act(act)
        assert not screen.refused, screen.notice
    raise AssertionError(path)


def raw_of(desk: Desk) -> Any:
    assert desk.visit is not None
    return desk.visit.folded.raw


def on_paper(name: str) -> dict[str, Any]:
    paper = {"by": "T-11", "at": "2026-06-01 09:00", "kept_at": "binder 3, control room"}
    return {**SHEETS[name], "copied_from_paper": paper}


def paper_desk(plant: Path, name: str) -> Desk:
    sheet = on_paper(name)
    at = datetime(2026, 6, 1, 14, 5, tzinfo=UTC)
    return open_desk(plant, procedure=sheet["procedure"], tag=sheet["tag"], paper=True, clock=Clock(at))


def upto_paper(desk: Desk, path: str, name: str = "pass") -> Screen:
    return upto(desk, path, on_paper(name))


# ---------------------------------------------------------------- the whole sheet


@pytest.mark.parametrize("name", ALONE)
def test_every_visit_of_the_month_can_be_stepped_through_to_its_own_sheet(plant: Path, name: str) -> None:
    desk = paper_desk(plant, name)
    step_to(desk, on_paper(name))
    assert desk.visit is not None
    written = desk.visit.sheet.read_text("utf-8")
    assert answered(tomllib.loads(written)) == on_paper(name)
    journal = fold(read_journal(desk.visit.journal.path.read_bytes())[0])
    assert answered(journal.raw) == on_paper(name)
    assert journal.state == "complete"
    desk.close()
    record = compute_only(open_plant(plant), [desk_sheet(plant)], NOW + timedelta(days=2))[0]
    assert record.procedure == SHEETS[name]["procedure"]


def desk_sheet(plant: Path) -> Path:
    (sheet,) = (plant / "field_sheets").glob("*.toml")
    return sheet


def test_the_sheet_is_the_same_bytes_in_whichever_order_it_was_answered(plant: Path) -> None:
    straight = paper_desk(plant, "pass")
    step_to(straight, on_paper("pass"))
    assert straight.visit is not None
    first = straight.visit.sheet.read_bytes()
    straight.close()
    shutil.rmtree(plant / "field_sheets")
    desk = paper_desk(plant, "pass")
    say(desk, "EL-0417")
    press(desk, "overview")
    say(desk, "process_before", SHEETS["pass"]["process_before"]["ph"])  # out of order
    press(desk, "back")
    step_to(desk, on_paper("pass"))
    assert desk.visit is not None
    assert desk.visit.sheet.read_bytes() == first
    desk.close()


# ---------------------------------------------------------------- refused, and why


def test_an_answer_of_another_form_is_refused_in_a_sentence_and_nothing_is_stored(desk: Desk) -> None:
    upto(desk, "process_before.ph")
    before = raw_of(desk)
    screen = say(desk, "7,52")
    assert screen.refused
    assert screen.notice.startswith("'7,52' is not a reading such as 7.05 (a decimal point, not a comma)")
    assert screen.path == "process_before.ph"
    assert raw_of(desk) == before


def test_an_unknown_standard_is_refused_with_the_nearest_one(desk: Desk) -> None:
    upto(desk, "as_found.points.0.standard")
    screen = say(desk, "B7-4417")
    assert screen.refused
    assert screen.notice == "'B7-4417' is not in standards_on_hand.toml; did you mean B7-4471?"


def test_an_expired_buffer_is_refused_when_it_is_picked_with_the_ways_on(desk: Desk) -> None:
    screen = upto(desk, "as_found.points.0.standard")
    assert "B10-1990" not in [choice.text for choice in screen.choices]
    assert "B7-4471" in [choice.text for choice in screen.choices]
    screen = say(desk, "B10-1990")
    assert "was usable until" in screen.label
    assert "Ways on:" in screen.label
    assert [choice.text for choice in screen.choices] == ["", "B10-1990"]
    assert say(desk, "2").path == "as_found.points.0.temperature_c"
    assert found(raw_of(desk), "as_found.points.0.use") == "information only"


def test_another_buffer_instead_of_the_expired_one_stores_nothing_of_it(desk: Desk) -> None:
    upto(desk, "as_found.points.0.standard")
    say(desk, "B10-1990")
    assert say(desk, "1").path == "as_found.points.0.standard"
    assert found(raw_of(desk), "as_found") is None


@pytest.mark.parametrize(
    ("kind", "kinds", "fits"),
    [
        ("thermometer", ("meter",), False),
        ("pH meter", ("meter",), True),
        ("loop source and meter", ("source", "meter"), True),
        ("Multimeter", ("meter", "multimeter"), True),
        ("turbidimeter", ("meter",), False),
        ("digital titrator", ("titrator", "titration"), True),
        ("strap-on meter", ("tape",), False),
        ("clamp-on flow meter", ("meter",), True),
        ("anything", (), True),
    ],
)
def test_an_instrument_is_of_a_kind_by_whole_words(
    desk: Desk, kind: str, kinds: tuple[str, ...], fits: bool
) -> None:
    assert desk.visit is not None
    step, one = desk.visit.steps[0], next(iter(desk.visit.about.standards.values()))
    asked = replace(step, question=replace(step.question, ask=replace(step.question.ask, kinds=kinds)))
    assert is_of_kind(asked, replace(one, kind=kind)) is fits


def test_a_thermometer_is_not_offered_as_a_ph_meter(desk: Desk) -> None:
    upto(desk, "process_before.control_system")
    press(desk, "overview")
    screen = say(desk, "grab")
    while screen.path != "grab.0.meter":
        screen = press(desk, "forward")
    offered = [choice.text for choice in screen.choices]
    assert "M-3" in offered
    assert "T-17" not in offered
    assert "a meter is asked for here" in say(desk, "T-17").label


def test_an_answer_for_another_question_is_refused(desk: Desk) -> None:
    screen = desk.act(Act("answer", "7.06", "as_found.points.0.readings"))
    assert screen.refused
    assert "was meant for another question; nothing was stored" in screen.notice


def test_a_second_window_on_one_sheet_is_refused_in_words(plant: Path, desk: Desk, clock: Clock) -> None:
    assert desk.visit is not None
    with pytest.raises(ChooseAnother, match="is open in another window"):
        open_desk(plant, sheet=desk.visit.sheet, clock=clock)


def test_what_must_be_answered_is_not_left_out(desk: Desk) -> None:
    assert say(desk, "").notice == "Serial on the plate needs an answer."


def test_a_sheet_that_contradicts_itself_is_not_written_and_says_where(plant: Path) -> None:
    desk = paper_desk(plant, "pass")
    sheet = {**on_paper("pass"), "serial_on_plate": "EL-0471"}
    with pytest.raises(AssertionError, match="The serial on the plate is EL-0471, the register has EL-0417"):
        step_to(desk, sheet)
    assert desk.visit is not None
    assert not desk.visit.sheet.exists()
    desk.close()


# ---------------------------------------------------------------- asked about once more, never blocked


@pytest.mark.parametrize(
    ("before", "typed", "sentence"),
    [
        ("7.06", "7.6", "7.6 has 1 decimal, the reading before has 2"),
        ("7.06", "7.60", "7.60 after 7.06 is a jump of 0.54"),
        ("7.06", "70.60", "70.60 lies outside the range"),
    ],
)
def test_an_odd_reading_is_asked_about_and_kept_when_it_is_so(
    desk: Desk, before: str, typed: str, sentence: str
) -> None:
    upto(desk, "as_found.points.0.readings")
    say(desk, before)
    screen = say(desk, typed)
    assert screen.kind == "aside"
    assert screen.label.startswith(sentence)
    assert found(raw_of(desk), "as_found.points.0.readings") == [before]
    say(desk, "yes")
    assert found(raw_of(desk), "as_found.points.0.readings") == [before, typed]
    assert desk.visit is not None
    assert desk.visit.folded.sure["as_found.points.0.readings.1"].startswith(sentence)


def test_an_odd_reading_that_is_not_so_is_typed_again(desk: Desk) -> None:
    upto(desk, "as_found.points.0.readings")
    say(desk, "7.06", "7.6", "no", "7.06")
    assert found(raw_of(desk), "as_found.points.0.readings") == ["7.06", "7.06"]


@pytest.mark.parametrize(("typed", "odd"), [("22.1", False), ("32.1", True)])
def test_a_temperature_built_into_a_ph_analyzer_is_not_held_against_the_range_of_ph(
    plant: Path, typed: str, odd: bool
) -> None:
    """The bath is at 22.12 °C, beyond pH 14; 32.1 °C is far from it."""
    desk = paper_desk(plant, "temperature")
    upto_paper(desk, "as_found.points.1.readings", "temperature")
    assert desk.screen.unit == "°C"
    assert (say(desk, typed).kind == "aside") is odd
    desk.close()


@pytest.mark.parametrize(("typed", "odd"), [("7.05", False), ("7.25", False), ("7.45", True)])
def test_a_small_step_is_no_jump(desk: Desk, typed: str, odd: bool) -> None:
    upto(desk, "as_found.points.0.readings")
    assert (say(desk, "7.06", typed).kind == "aside") is odd


def test_a_time_after_midnight_gets_its_date(plant: Path, clock: Clock) -> None:
    clock.at = datetime(2026, 5, 13, 4, 50, tzinfo=UTC)  # 23:50 at the plant
    desk = open_desk(plant, procedure="ph_calibration", tag="AIT-2101", clock=clock)
    upto(desk, "cautions.read", NIGHT)
    assert raw_of(desk)["started"] == "23:50"
    clock.wait(1800)
    upto(desk, "output_held.at", NIGHT)
    screen = say(desk, "00:19")
    assert screen.label.startswith("00:19 on 2026-05-12 lies before 23:50")
    assert screen.choices[0].label == "it was after midnight: 2026-05-13 00:19"
    say(desk, "1")
    assert raw_of(desk)["output_held"]["at"] == "2026-05-13 00:19"
    desk.close()


def test_a_time_that_is_later_than_the_clock_is_asked_about(desk: Desk) -> None:
    upto(desk, "output_held.at", TODAY)
    assert "is later than this computer's clock (07:10)" in say(desk, "0945").label
    say(desk, "1")
    assert raw_of(desk)["output_held"]["at"] == "09:45"


def test_the_repeated_hour_is_asked_which(plant: Path, clock: Clock) -> None:
    clock.at = datetime(2026, 11, 1, 7, 40, tzinfo=UTC)
    desk = open_desk(plant, procedure="ph_calibration", tag="AIT-2101", clock=clock)
    upto(desk, "output_held.at", {**NIGHT, "date": "2026-11-01"})
    screen = say(desk, "01:30")
    assert [choice.text for choice in screen.choices] == ["01:30 -05:00", "01:30 -06:00"]
    say(desk, "2")
    assert raw_of(desk)["output_held"]["at"] == "01:30 -06:00"
    desk.close()


# ---------------------------------------------------------------- corrected, taken back, not done


def test_a_correction_keeps_the_old_value_and_the_reason(desk: Desk) -> None:
    upto(desk, "process_before.temperature_c")
    press(desk, "back")
    screen = say(desk, "7.59")
    assert screen.label == f"{SHEETS['pass']['process_before']['ph']} stands here. Why does it become 7.59?"
    say(desk, "misread")
    assert desk.visit is not None
    (correction,) = desk.visit.folded.corrections
    assert (correction.was, correction.now, correction.why) == (
        SHEETS["pass"]["process_before"]["ph"],
        "7.59",
        "misread",
    )
    assert desk.screen.path == "process_before.temperature_c"


def test_one_reading_of_a_list_is_corrected_or_taken_back(desk: Desk) -> None:
    upto(desk, "as_found.points.0.readings")
    say(desk, "7.08", "7.07", "7.06")
    press(desk, "correct")
    assert [choice.label for choice in desk.screen.choices][:3] == [
        "pH readings 1: 7.08",
        "pH readings 2: 7.07",
        "pH readings 3: 7.06",
    ]
    say(desk, "2", "7.01", "misread")
    assert found(raw_of(desk), "as_found.points.0.readings") == ["7.08", "7.01", "7.06"]
    press(desk, "correct")
    say(desk, "1", "", "mistyped")
    assert found(raw_of(desk), "as_found.points.0.readings") == ["7.01", "7.06"]


def test_a_whole_row_is_taken_back(desk: Desk) -> None:
    upto(desk, "as_found.points.0.readings")
    say(desk, "7.08")
    press(desk, "correct")
    say(desk, desk.screen.choices[-1].text, "typed at the wrong question")
    assert found(raw_of(desk), "as_found") is None
    assert desk.screen.path == "as_found.points.0.standard"


def test_a_part_that_was_not_done_says_why_from_a_list_or_in_own_words(desk: Desk) -> None:
    upto(desk, "process_before.ph")
    screen = press(desk, "not done")
    assert screen.label == "Process before: not done, because"
    assert "cannot be reached safely" in [choice.text for choice in screen.choices]
    say(desk, "the display is dark")
    assert raw_of(desk)["process_before"] == {"not_done": "the display is dark"}


def test_a_grab_is_collected_between_the_online_values_and_its_result_asked_after_them(
    plant: Path, clock: Clock
) -> None:
    desk = open_desk(plant, procedure="grab_comparison", tag="AIT-2210", clock=clock)
    asked = []
    for act in acts_to(desk, SHEETS["grab 6"]):
        if desk.screen.path.startswith(("online", "grab")) and desk.screen.path not in asked:
            asked.append(desk.screen.path)
        if "grab.0.result" in asked:
            break
        desk.act(act)
    first, last = asked.index("online.0.shown"), asked.index("online.2.shown")
    assert first < asked.index("grab.0.collected") < asked.index("online.1.shown") < last
    assert last < asked.index("grab.0.result")
    desk.close()


def test_what_was_not_done_can_be_done_after_all(desk: Desk) -> None:
    upto(desk, "process_before.ph")
    press(desk, "not done")
    say(desk, "1")
    press(desk, "back")
    assert desk.screen.path == "process_before"
    say(desk, "read again", "7.52")
    assert raw_of(desk)["process_before"]["ph"] == "7.52"


def test_an_optional_answer_is_left_out_and_asked_again_when_wanted(desk: Desk) -> None:
    upto(desk, "process_before.temperature_c")
    press(desk, "leave out")
    assert desk.screen.path == "process_before.control_system"
    press(desk, "back")
    say(desk, "12.1")
    assert raw_of(desk)["process_before"]["temperature_c"] == "12.1"


def test_a_question_that_is_not_asked_by_itself_can_be_asked(desk: Desk) -> None:
    upto(desk, "as_found.points.0.temperature_c")
    assert "as_found.points.0.use" not in [step.path for step in desk.visit.steps]  # type: ignore[union-attr]
    press(desk, "also")
    say(desk, "as_found.points.0.use", "information only")
    assert found(raw_of(desk), "as_found.points.0.use") == "information only"
    assert desk.screen.path == "as_found.points.0.temperature_c"


def test_the_overview_goes_to_any_part_and_shows_where_each_stands(desk: Desk) -> None:
    upto(desk, "process_before.ph")
    screen = press(desk, "overview")
    stands = {section.path: section.state for section in screen.sections}
    assert stands["serial_on_plate"] == "answered"
    assert stands["process_before"] == "now"
    assert stands["as_found"] == "open"
    assert stands["adjusted"] == "not needed"
    assert say(desk, "as_found").path == "as_found.points.0.standard"


def test_the_caution_of_a_part_stands_at_its_first_question(desk: Desk) -> None:
    screen = upto(desk, "output_held.at")
    assert any("hold it before the sensor leaves the water" in text for text in screen.cautions)
    assert any("control nor alarm acts on what the standards show" in line.text for line in screen.lines)
    assert not any("hold it before" in text for text in say(desk, "").cautions)


def test_the_cautions_of_the_procedure_are_shown_where_they_are_confirmed(desk: Desk) -> None:
    screen = upto(desk, "cautions.read")
    assert desk.visit is not None
    assert set(screen.cautions) >= {caution.text for caution in desk.visit.about.procedure.cautions}


# ---------------------------------------------------------------- the clock, last time, other people


def test_the_clock_answers_what_it_times_and_the_interval(desk: Desk, clock: Clock) -> None:
    upto(desk, "date")
    say(desk, "")
    upto(desk, "as_found.points.0.readings")
    for reading in ("7.06", "7.06", "7.06"):
        clock.wait(34)
        say(desk, reading)
    say(desk, "")
    point = found(raw_of(desk), "as_found.points.0")
    assert point["interval_s"] == "34"
    assert point["at"] == f"{clock.at - timedelta(hours=5):%H:%M}"
    assert desk.visit is not None
    assert desk.visit.folded.how["as_found.points.0.interval_s"] == "clock"


def test_readings_typed_at_once_get_no_interval_from_the_clock(desk: Desk, clock: Clock) -> None:
    upto(desk, "as_found.points.0.readings")
    for reading in ("7.06", "7.06", "7.06"):
        clock.wait(1)
        say(desk, reading)
    assert say(desk, "").path == "as_found.points.0.interval_s"


def test_from_paper_no_clock_answers_and_the_journal_says_so(plant: Path) -> None:
    desk = paper_desk(plant, "pass")
    upto_paper(desk, "as_found.points.0.readings")
    assert desk.visit is not None
    assert "clock" not in desk.visit.folded.how.values()
    assert desk.visit.folded.how["serial_on_plate"] == "paper"
    assert desk.screen.proposal == ""
    sheet = desk.visit.sheet
    desk.close()
    again = open_desk(plant, sheet=sheet, clock=desk.clock)
    assert again.visit is not None
    assert again.visit.about.paper
    again.close()


def test_from_paper_it_must_be_said_who_copied_it_and_where_the_paper_is(plant: Path) -> None:
    desk = paper_desk(plant, "pass")
    upto(desk, "copied_from_paper.by", on_paper("pass"))
    assert say(desk, "").notice.startswith("Copied from paper: copied by needs an answer")
    desk.close()


def test_somebody_else_says_a_value_as_themselves(desk: Desk) -> None:
    upto(desk, "process_before.control_system")
    press(desk, "told by")
    say(desk, "T-11", "radio", "yes")
    assert any(line.kind == "who" and "read back" in line.text for line in desk.screen.lines)
    say(desk, "7.50")
    assert desk.visit is not None
    assert desk.visit.folded.voices["process_before.control_system"] == Voice("T-11", "radio", "yes")
    assert desk.visit.voice is None


# ---------------------------------------------------------------- put away, taken up again


def test_a_sheet_waits_for_the_laboratory_and_is_taken_up_at_the_same_step(
    plant: Path, desk: Desk, clock: Clock
) -> None:
    upto(desk, "process_before.ph")
    sheet = desk.visit.sheet  # type: ignore[union-attr]
    press(desk, "put away")
    screen = say(desk, "wait for the laboratory", "pH of the grab")
    assert screen.kind == "end"
    assert "waits for the laboratory: pH of the grab" in screen.text
    again = open_desk(plant, sheet=sheet, clock=clock)
    assert again.screen.state == "waiting for the laboratory: pH of the grab"
    assert again.screen.label.endswith("for pH of the grab. Who goes on with it?")
    say(again, "T-11")
    assert again.screen.path == "process_before.ph"
    assert again.screen.state == "open"
    say(again, "7.52")
    assert again.visit is not None
    assert again.visit.folded.voices["process_before.ph"].by == "T-11"
    again.close()


def test_a_sheet_is_passed_on_to_a_person(desk: Desk) -> None:
    upto(desk, "process_before.ph")
    press(desk, "put away")
    screen = say(desk, "pass it on", "T-11", "read the second buffer")
    assert "is passed on to" in screen.text
    assert "read the second buffer" in screen.text


def test_a_visit_begun_by_mistake_is_put_aside_and_nothing_of_it_is_lost(plant: Path, clock: Clock) -> None:
    desk = open_desk(plant, procedure="ph_calibration", tag="AIT-2101", clock=clock)
    upto(desk, "process_before.ph", TODAY)
    sheet = desk.visit.sheet  # type: ignore[union-attr]
    before = raw_of(desk)
    assert [one.state for one in today(open_plant(plant), clock()).sheets] == ["open"]
    press(desk, "put away")
    screen = say(desk, "it was begun by mistake", "another analyzer is meant")
    assert screen.kind == "end"
    assert "put aside as begun by mistake: another analyzer is meant. Nothing is lost" in screen.text
    assert "list of today" not in screen.text
    assert today(open_plant(plant), clock()).empty
    desk.close()
    again = open_desk(plant, sheet=sheet, clock=clock)
    assert again.screen.label.endswith(
        "begun by mistake because another analyzer is meant. Who goes on with it?"
    )
    say(again, "T-11")
    assert again.screen.state == "open"
    assert raw_of(again) == before
    again.close()
    assert [one.state for one in today(open_plant(plant), clock()).sheets] == ["open"]


def test_a_visit_begun_by_mistake_stays_on_the_list_while_its_output_is_held(
    plant: Path, clock: Clock
) -> None:
    desk = open_desk(plant, procedure="ph_calibration", tag="AIT-2101", clock=clock)
    upto(desk, "as_found.points.0.standard", TODAY)
    press(desk, "put away")
    screen = say(desk, "it was begun by mistake", "begun twice")
    assert "It stays on the list of today: output held since" in screen.text
    found_today = today(open_plant(plant), clock())
    assert "output still held" in [one.what for one in found_today.out_of_use]
    assert [one.state for one in found_today.in_state("begun by mistake")] == ["begun by mistake"]
    shown = "\n".join(today_lines(found_today))
    assert "Begun by mistake, with something still out of use: 1 sheet" in shown
    desk.close()


def test_a_stop_of_a_round_is_skipped_and_not_put_aside(plant: Path, clock: Clock) -> None:
    made = prepare_round(open_plant(plant), "weekly-turbidity", HeadOf("T-07", "2026-05-12"), clock())
    desk = open_desk(plant, round_folder=made.folder, clock=clock)
    say(desk, "1", "EL-0522")
    press(desk, "put away")
    assert [choice.text for choice in desk.screen.choices] == ["wait for the laboratory", "pass it on"]
    assert say(desk, "it was begun by mistake").refused
    desk.close()


def test_a_kill_between_two_answers_goes_on_at_the_same_step(plant: Path, clock: Clock) -> None:
    desk = open_desk(plant, procedure="ph_calibration", tag="AIT-2101", clock=clock)
    upto(desk, "as_found.points.0.readings")
    say(desk, "7.08", "7.07")
    sheet = desk.visit.sheet  # type: ignore[union-attr]
    desk.close()  # a dead process gives its lock back just so
    again = open_desk(plant, sheet=sheet, clock=clock)
    assert again.screen.path == "as_found.points.0.readings"
    assert again.screen.standing == ("7.08", "7.07")
    again.close()


def test_an_act_that_is_sent_again_is_done_once(desk: Desk) -> None:
    upto(desk, "as_found.points.0.readings")
    act = Act("answer", "7.06", desk.screen.path, view="a1", seq=1)
    desk.act(act)
    desk.act(act)
    assert found(raw_of(desk), "as_found.points.0.readings") == ["7.06"]
    desk.act(replace(act, seq=2))
    assert found(raw_of(desk), "as_found.points.0.readings") == ["7.06", "7.06"]


def test_an_act_sent_again_to_a_new_process_is_done_once(plant: Path, clock: Clock) -> None:
    desk = open_desk(plant, procedure="ph_calibration", tag="AIT-2101", clock=clock)
    upto(desk, "as_found.points.0.readings")
    act = Act("answer", "7.06", desk.screen.path, view="a1", seq=1)
    desk.act(act)
    sheet = desk.visit.sheet  # type: ignore[union-attr]
    desk.close()
    again = open_desk(plant, sheet=sheet, clock=clock)
    again.act(act)
    assert found(raw_of(again), "as_found.points.0.readings") == ["7.06"]
    again.close()


def test_a_written_sheet_changed_in_an_editor_is_taken_up_as_corrections(plant: Path) -> None:
    desk = paper_desk(plant, "pass")
    step_to(desk, on_paper("pass"))
    sheet = desk.visit.sheet  # type: ignore[union-attr]
    desk.close()
    text = sheet.read_text("utf-8")
    ph = SHEETS["pass"]["process_before"]["ph"]
    sheet.write_text(text.replace(f'ph = "{ph}"', 'ph = "7.59"', 1), "utf-8")
    again = open_desk(plant, sheet=sheet, clock=desk.clock)
    assert f"since it was written (process_before.ph: {ph} -> 7.59). Why?" in again.screen.label
    say(again, "misread")
    assert again.visit is not None
    assert [(c.was, c.now, c.why) for c in again.visit.folded.corrections] == [(ph, "7.59", "misread")]
    again.close()


def test_a_sheet_half_filled_in_an_editor_is_taken_up(plant: Path, clock: Clock) -> None:
    sheet = plant / "field_sheets" / "half.toml"
    sheet.parent.mkdir(exist_ok=True)
    sheet.write_text('procedure = "ph_calibration"\ntag = "AIT-2101"\nreason = "call-out"\n', "utf-8")
    desk = open_desk(plant, sheet=sheet, clock=clock)
    assert raw_of(desk)["reason"] == "call-out"
    assert desk.visit is not None
    assert desk.visit.folded.how["reason"] == "sheet"
    desk.close()


# ---------------------------------------------------------------- a round

PASSING = {
    "ph_calibration": "pass",
    "turbidity_standard_check": "turbidity 5 AIT-2202",
    "grab_comparison": "grab 6",
    "chlorine_check": "chlorine 2",
    "standard_preparation": "preparation",
    "conductivity_check": "conductivity",
    "temperature_check": "temperature",
}
SHARED = ("reason", "performed_by", "date", "method", "cautions", "operations_told")


@pytest.mark.parametrize("procedure", PASSING)
def test_a_passing_check_of_a_round_takes_at_most_twelve_answers_after_the_shared_head(
    plant: Path, procedure: str
) -> None:
    sheet = SHEETS[PASSING[procedure]]
    clock = Clock(datetime.fromisoformat(f"{sheet['date']}T18:00:00+00:00"))
    desk = open_desk(plant, procedure=procedure, tag=sheet["tag"], clock=clock)
    visit = desk.visit
    assert visit is not None
    shared = {name: sheet[name] for name in SHARED if name in sheet}
    model: Any = visit.about.procedure.Sheet
    visit.write(*(JournalLine(do="answer", path=p, text=t, how="round") for p, t in leaves(model, shared)))
    visit.about = replace(visit.about, in_round=True, last=sheet, last_day="2026-04-01")
    asked: list[str] = []
    screen = visit.act(Act("help", "", visit.screen.path))
    while screen.kind != "end":
        clock.wait(200 if screen.path == "online.2.shown" else 61)  # until the water of the grab has passed
        if screen.path not in asked[-1:] and screen.kind == "question":
            asked.append(screen.path)
        assert len(asked) <= 12, " ".join(asked)
        by_the_watch = f"{clock() - timedelta(hours=5):%H:%M}"
        text = by_the_watch if screen.form == "time" else _of_the_visit(screen, sheet)
        screen = visit.act(Act("answer", text, screen.path))
        assert not screen.refused, screen.notice
    assert any(path.startswith("usual.") for path in asked)
    assert visit.so_far.result is not None
    assert {c.outcome for c in visit.so_far.result.checks if c.counts} <= {"pass", "not evaluated"}
    desk.close()


def _of_the_visit(screen: Screen, sheet: dict[str, Any]) -> str:
    if screen.kind == "aside":
        return screen.choices[0].text
    value = None if screen.path.startswith("usual.") else found(sheet, screen.path)
    if screen.form in ("numbers", "texts"):
        return (value or [])[len(screen.standing)] if len(screen.standing) < len(value or []) else ""
    return value if isinstance(value, str) else ""


def _last_time(desk: Desk, *, in_round: bool) -> None:
    visit = desk.visit
    assert visit is not None
    visit.about = replace(visit.about, in_round=in_round, last=SHEETS["pass"], last_day="2026-05-03")
    visit.act(Act("help", "", visit.screen.path))


def test_in_a_round_what_is_as_usual_is_confirmed_at_once_and_stored_one_by_one(desk: Desk) -> None:
    _last_time(desk, in_round=True)
    for act in acts_to(desk, TODAY):
        if desk.screen.path == "usual.condition":
            break
        desk.act(act)
    told = [line.text for line in desk.screen.lines]
    assert "Output held: time: 07:10" in told
    assert "Output held: by whom: Ines Quarrow" in told
    assert "Condition: condition on arrival: nothing unusual" in told
    assert any("hold it before the sensor leaves the water" in text for text in desk.screen.cautions)
    say(desk, "")
    assert raw_of(desk)["output_held"]["at"] == "07:10"
    assert raw_of(desk)["condition"]["as_arrived"] == "nothing unusual"
    assert desk.visit.folded.how["output_held.at"] == "usual"  # type: ignore[union-attr]


def test_in_a_visit_of_its_own_each_hold_is_told_alone_with_its_caution(desk: Desk) -> None:
    _last_time(desk, in_round=False)
    screen = upto(desk, "output_held.at", TODAY)
    assert any("hold it before the sensor leaves the water" in text for text in screen.cautions)


def test_nothing_that_is_read_or_seen_is_proposed(desk: Desk) -> None:
    _last_time(desk, in_round=False)
    proposed = {}
    for act in acts_to(desk, TODAY):
        if desk.screen.proposal:
            proposed[desk.screen.path] = desk.screen.proposal
        if desk.screen.path == "output_released.at":
            break
        desk.act(act)
    read = (
        "ph",
        "temperature_c",
        "readings",
        "mv",
        "as_arrived",
        "alarms",
        "how",
        "serial_on_plate",
        "slope",
    )
    assert not [
        path for path in proposed if path.rpartition(".")[2] in read and path != "operations_told.how"
    ]
    assert "clocks.control_system" not in proposed
    assert proposed["as_found.points.0.standard"] == SHEETS["pass"]["as_found"]["points"][0]["standard"]


@pytest.mark.parametrize(("name", "fine"), [("pass", True), ("fail", True), ("close", False)])
def test_in_service_is_proposed_only_where_it_passed(plant: Path, name: str, fine: bool) -> None:
    desk = paper_desk(plant, name)
    upto_paper(desk, "status.state", name)
    assert desk.screen.proposal == ""  # on paper it stands already
    visit = desk.visit
    assert visit is not None
    visit.about = replace(visit.about, paper=False)
    assert (visit.act(Act("help", "", "status.state")).proposal == "in service") is fine
    desk.close()


def test_a_standard_of_another_kind_is_asked_about_and_not_offered(desk: Desk) -> None:
    screen = upto(desk, "thermometer_check.reference")
    assert [choice.text for choice in screen.choices] == ["T-17", "T-22"]
    screen = say(desk, "B4-3307")
    assert screen.label == "B4-3307 is a buffer, and a thermometer is asked for here. Is it B4-3307?"


def test_not_done_of_an_inner_part_strikes_out_nothing_else(plant: Path, clock: Clock) -> None:
    desk = open_desk(plant, procedure="turbidity_standard_check", tag="AIT-2202", clock=clock)
    upto(desk, "as_found.points.0.readings", SHEETS["turbidity 5 AIT-2202"])
    say(desk, "0.520")
    press(desk, "also")
    screen = say(desk, "as_found.points.0.diluted")
    assert screen.path == "as_found.points.0.diluted.water", screen.notice
    press(desk, "not done")
    assert found(raw_of(desk), "as_found.points.0.readings") == ["0.520"]
    press(desk, "not done")
    assert desk.screen.label == "As found is begun: what stands in it is struck out. Why?"
    desk.close()


def test_a_temperature_outside_the_table_is_said_when_it_is_typed(desk: Desk) -> None:
    upto(desk, "as_found.points.0.temperature_c")
    assert "0 to" in say(desk, "184").label


def test_a_round_is_walked_skipped_and_written(plant: Path, clock: Clock) -> None:
    opened = open_plant(plant)
    made = prepare_round(opened, "weekly-turbidity", HeadOf("T-07", "2026-05-12"), clock())
    desk = open_desk(plant, round_folder=made.folder, clock=clock)
    assert [choice.text for choice in desk.screen.choices] == ["1", "2", "3", "skip a stop", "other visits"]
    say(desk, "1")
    assert raw_of(desk)["performed_by"] == "T-07"
    assert desk.visit.folded.how["performed_by"] in ("sheet", "round")  # type: ignore[union-attr]
    press(desk, "stop")
    again = open_desk(plant, round_folder=made.folder, clock=clock)
    say(again, "skip a stop", "3", "filter 3 is drained")
    assert "skipped, filter 3 is drained" in again.screen.choices[2].label
    assert 'skipped = "filter 3 is drained"' in (made.folder / "round.toml").read_text("utf-8")
    assert say(again, "3").notice.startswith("AIT-2210 is skipped: filter 3 is drained.")
    again.close()


def test_the_desk_offers_open_sheets_and_rounds_before_a_new_visit(
    plant: Path, desk: Desk, clock: Clock
) -> None:
    made = prepare_round(open_plant(plant), "weekly-turbidity", HeadOf("T-07", "2026-05-12"), clock())
    assert desk.visit is not None  # a pH calibration is under way in another window
    other = open_desk(plant, clock=clock)
    labels = [choice.label or choice.text for choice in other.screen.choices]
    assert labels == [
        "AIT-2101 ph_calibration, begun 2026-05-12 07:10: open",
        "round weekly-turbidity of 2026-05-12: 3 of 3 stops open",
        "new visit",
    ]
    assert say(other, "2").path == "?stop"
    assert str(made.folder).endswith("2026-05-12 weekly-turbidity")
    other.close()


@pytest.mark.slow
def test_a_round_is_run_when_every_stop_is_written_or_skipped(plant: Path) -> None:
    clock = Clock(datetime(2026, 6, 1, 14, 5, tzinfo=UTC))
    sheet = SHEETS["pass"]
    made = prepare_round(open_plant(plant), "weekly-ph", HeadOf("T-07", sheet["date"]), clock())
    desk = open_desk(plant, round_folder=made.folder, paper=True, clock=clock)
    say(desk, "1")
    while desk.visit is not None:
        screen = desk.act(act_to(desk, on_paper("pass")))
        assert not screen.refused, screen.notice
    assert desk.screen.notice == "1 AIT-2101.toml is written."
    screen = say(desk, "run the round")
    assert screen.kind == "result"
    assert "L1-2026-0001  AIT-2101" in screen.text
    assert f'wqverify sign "{made.folder}" --by T-07' in screen.text
    assert (plant / screen.page).is_file()
    desk.close()


# ---------------------------------------------------------------- all of an act, or nothing


def _full(*_lines: object) -> None:
    raise CouldNotRun("NOT SAVED: no room.")


def test_where_the_disk_refuses_the_same_question_stands_and_nothing_is_stored(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    upto(desk, "condition.as_arrived")
    press(desk, "not done")
    before, screen = raw_of(desk), desk.screen
    with monkeypatch.context() as patch:
        patch.setattr(desk.visit.journal, "append", _full)  # type: ignore[union-attr]
        with pytest.raises(CouldNotRun, match="no room"):
            say(desk, "no time: called away")
    assert raw_of(desk) == before
    assert desk.visit.screen.path == screen.path  # type: ignore[union-attr]
    say(desk, "no time: called away")
    assert raw_of(desk)["condition"] == {"not_done": "no time: called away"}


def test_an_answer_and_what_the_clock_adds_are_one_write(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    upto(desk, "process_before.control_system", TODAY)
    writes = []
    journal = desk.visit.journal  # type: ignore[union-attr]
    monkeypatch.setattr(journal, "append", lambda *lines: writes.append([line.path for line in lines]))
    say(desk, "7.50")
    assert writes == [["process_before.control_system", "process_before.at"]]


def test_writing_the_sheet_sent_twice_runs_nothing(plant: Path) -> None:
    desk = paper_desk(plant, "pass")
    for act in acts_to(desk, on_paper("pass")):
        if desk.screen.path == "?end":
            break
        desk.act(act)
    act = Act("answer", "complete", "?end", view="v", seq=9)
    desk.act(act)
    assert desk.act(act).kind == "end"
    assert desk.act(Act("answer", "no, wait", "?end", view="v", seq=10)).refused
    assert not list((plant / "book").glob("pages/*.pdf"))
    desk.close()


# ---------------------------------------------------------------- what the clock has seen


def _readings(desk: Desk, clock: Clock, *each: tuple[float, str]) -> None:
    upto(desk, "date")
    say(desk, "")
    upto(desk, "as_found.points.0.readings")
    for seconds, reading in each:
        clock.wait(seconds)
        say(desk, reading)


def test_a_reading_taken_back_does_not_count_for_the_interval(desk: Desk, clock: Clock) -> None:
    _readings(desk, clock, (60, "7.06"), (8, "7.07"))
    press(desk, "correct")
    say(desk, "2", "", "mistyped")
    for seconds, reading in ((52, "7.06"), (60, "7.06")):
        clock.wait(seconds)
        say(desk, reading)
    say(desk, "")
    assert found(raw_of(desk), "as_found.points.0.interval_s") == "60"


def test_the_shortest_of_the_intervals_is_told(desk: Desk, clock: Clock) -> None:
    _readings(desk, clock, (0, "7.06"), (60, "7.06"), (31, "7.06"), (90, "7.06"))
    say(desk, "")
    assert found(raw_of(desk), "as_found.points.0.interval_s") == "31"


def test_the_last_reading_was_when_it_was_typed_not_when_the_list_was_closed(
    desk: Desk, clock: Clock
) -> None:
    _readings(desk, clock, (60, "7.06"), (60, "7.06"), (60, "7.06"))
    at = f"{clock.at - timedelta(hours=5):%H:%M}"
    clock.wait(1800)
    say(desk, "")
    assert found(raw_of(desk), "as_found.points.0.at") == at


def test_the_clock_answers_nothing_on_a_sheet_of_another_day(desk: Desk) -> None:
    upto(desk, "started")  # of a sheet of 3 May, typed on the 12th
    assert "started" not in raw_of(desk)


def test_readings_typed_at_once_must_say_how_far_apart_they_were_read(desk: Desk, clock: Clock) -> None:
    _readings(desk, clock, (1, "7.06"), (1, "7.06"), (1, "7.06"))
    say(desk, "")
    assert "were typed within 5 s of each other" in press(desk, "leave out").notice
    screen = say(desk, "30")
    assert screen.label == "The readings were typed 1 s apart at the closest. Were they read 30 s apart?"
    say(desk, "yes")
    assert found(raw_of(desk), "as_found.points.0.interval_s") == "30"


def test_the_clock_does_not_answer_beside_somebody_elses_value(desk: Desk) -> None:
    upto(desk, "process_before.control_system", TODAY)
    press(desk, "told by")
    say(desk, "T-11", "radio", "yes", "7.50")
    assert "at" not in raw_of(desk)["process_before"]


def test_in_the_hour_that_is_there_twice_the_clock_says_which(plant: Path, clock: Clock) -> None:
    clock.at = datetime(2026, 11, 1, 7, 2, tzinfo=UTC)
    desk = open_desk(plant, procedure="ph_calibration", tag="AIT-2101", clock=clock)
    upto(desk, "cautions.read", {**NIGHT, "date": "2026-11-01"})
    assert raw_of(desk)["started"] == "01:02 -06:00"
    desk.close()


# ---------------------------------------------------------------- what is shown is what is judged


def test_a_tolerance_changed_since_the_desk_was_opened_counts(plant: Path, clock: Clock) -> None:
    desk = open_desk(plant, clock=clock)
    register = plant / "analyzers.toml"
    text = register.read_text("utf-8")
    changed = text.replace('low = "-0.10"', 'low = "-0.90"', 1)
    assert changed != text
    register.write_text(changed, "utf-8")
    say(desk, "new visit", "ph_calibration", "AIT-2101")
    assert desk.visit is not None
    assert any(t.low == Decimal("-0.90") for t in desk.visit.about.analyzer.tolerances.values())
    desk.close()


def test_what_must_be_chosen_is_not_guessed_for_a_result(plant: Path, clock: Clock) -> None:
    desk = open_desk(plant, procedure="chlorine_check", tag="AIT-2301", clock=clock)
    upto(desk, "kind", SHEETS["chlorine 2"])
    assert desk.visit is not None
    assert desk.visit.so_far.result is None
    say(desk, "free")
    assert desk.visit.so_far.result is not None
    desk.close()


def test_an_absurd_first_reading_is_asked_about(desk: Desk) -> None:
    upto(desk, "as_found.points.0.readings")
    assert "from the" in say(desk, "10.11").label
    assert "has fewer decimals than the display" in say(desk, "no", "7.1").label


def test_a_part_passed_over_with_enter_stands_on_the_sheet(desk: Desk) -> None:
    upto(desk, "thermometer_check.reference")
    say(desk, "")
    assert raw_of(desk)["thermometer_check"] == {"not_done": "left out, no reason given"}


def test_the_same_value_said_by_somebody_else_is_kept_with_their_name(desk: Desk) -> None:
    upto(desk, "process_before.control_system")
    say(desk, "7.50")
    while desk.screen.path != "process_before.control_system":
        press(desk, "back")
    press(desk, "told by")
    say(desk, "T-11", "radio", "yes", "7.50")
    assert desk.visit is not None
    assert desk.visit.folded.voices["process_before.control_system"] == Voice("T-11", "radio", "yes")


def test_a_number_is_no_name_and_the_way_is_one_of_four(desk: Desk) -> None:
    upto(desk, "process_before.ph")
    press(desk, "told by")
    assert say(desk, "7.52").notice.startswith("'7.52' is no name")
    assert say(desk, "T-11", "7.52").notice.startswith("'7.52' is none of radio, phone")


def test_a_file_edited_before_the_sheet_is_written_is_kept_and_named(plant: Path) -> None:
    desk = paper_desk(plant, "pass")
    assert desk.visit is not None
    desk.visit.sheet.write_text("# notes of my own\n", "utf-8")
    screen = step_to(desk, on_paper("pass"))
    assert f"is kept as {desk.visit.sheet.stem} before 1.toml.txt" in screen.notice
    kept = desk.visit.sheet.with_name(f"{desk.visit.sheet.stem} before 1.toml.txt")
    assert kept.read_text("utf-8") == "# notes of my own\n"
    desk.close()


def test_a_procedure_that_does_not_fit_the_analyzer_begins_nothing(plant: Path, clock: Clock) -> None:
    with pytest.raises(ChooseAnother, match="AIT-2101"):
        open_desk(plant, procedure="chlorine_check", tag="AIT-2101", clock=clock)
    assert not list((plant / "field_sheets").glob("*"))


def test_two_visits_of_one_work_can_begin_within_a_minute(plant: Path, desk: Desk, clock: Clock) -> None:
    assert desk.visit is not None
    first = desk.visit.sheet
    desk.close()
    other = open_desk(plant, procedure="ph_calibration", tag="AIT-2101", clock=clock)
    say(other, "new visit")
    assert other.visit is not None
    assert other.visit.sheet.name == first.name.replace(".toml", " 2.toml")
    other.close()


def test_a_desk_at_a_round_goes_back_to_other_visits(plant: Path, clock: Clock) -> None:
    made = prepare_round(open_plant(plant), "weekly-turbidity", HeadOf("T-07", "2026-05-12"), clock())
    desk = open_desk(plant, round_folder=made.folder, clock=clock)
    assert say(desk, "other visits").path == "?visit"
    say(desk, "new visit", "ph_calibration", "AIT-2101")
    assert desk.visit is not None
    assert not desk.visit.about.in_round
    desk.close()


def test_whole_parts_are_shared_in_a_round_and_cautions_only_of_the_same_work(
    plant: Path, clock: Clock
) -> None:
    made = prepare_round(open_plant(plant), "weekly-turbidity", HeadOf("T-07", "2026-05-12"), clock())
    second = made.rows[1]
    desk = open_desk(plant, round_folder=made.folder, clock=clock)
    say(desk, "1", "EL-0522", "yes")
    assert raw_of(desk)["cautions"] == {"read": "yes"}
    press(desk, "stop")
    assert _shared(made, second)["cautions"] == {"read": "yes"}
    assert "cautions" not in _shared(made, replace(second, procedure="ph_calibration"))
    kim = {"operations_told": {"who": "Kim"}}
    assert _agreed(kim, {"operations_told": {"who": "Lee", "how": "radio"}}) == kim


@pytest.mark.parametrize(
    ("procedure", "tag"),
    [
        ("ph_calibration", "AIT-2101"),
        ("turbidity_standard_check", "AIT-2202"),
        ("standard_preparation", "AIT-2201"),
        ("grab_comparison", "AIT-2210"),
        ("chlorine_check", "AIT-2301"),
        ("loop_check", "FIT-1101"),
        ("level_check", "LIT-3101"),
        ("flow_check", "FIT-1101"),
        ("conductivity_check", "AIT-2401"),
        ("temperature_check", "AIT-2401"),
        ("call_out", "AIT-2301"),
        ("monitor_outage", "AIT-2301"),
        ("values_in_doubt", "AIT-2202"),
        ("turbidity_month", "AIT-2210"),
    ],
)
def test_nothing_is_to_correct_before_anything_is_answered(
    plant: Path, clock: Clock, procedure: str, tag: str
) -> None:
    desk = open_desk(plant, procedure=procedure, tag=tag, clock=clock)
    assert not [line.text for line in desk.screen.lines if line.kind == "to correct"]
    serial = desk.visit.about.analyzer.serial  # type: ignore[union-attr]
    screen = say(desk, serial, "1", "T-07")
    assert not [line.text for line in screen.lines if line.kind == "to correct"]
    desk.close()


@pytest.mark.parametrize(
    ("procedure", "tag", "asked"),
    [
        ("loop_check", "FIT-1101", False),
        ("level_check", "LIT-3101", False),
        ("temperature_check", "AIT-2401", False),
        ("temperature_check", "AIT-2101", True),  # the register has a sample line for it
        ("conductivity_check", "AIT-2401", True),
    ],
)
def test_a_sample_flow_is_asked_only_where_a_sample_flows(
    plant: Path, clock: Clock, procedure: str, tag: str, asked: bool
) -> None:
    """A loop, a tank and an orifice have no sample, in the stepping and on paper."""
    desk = open_desk(plant, procedure=procedure, tag=tag, clock=clock)
    visit = desk.visit
    assert visit is not None
    paths = [step.path for step in visit.steps]
    assert "condition.as_arrived" in paths
    assert ("condition.sample_flow" in paths) is asked
    blank = paper(visit.about.procedure, visit.about.analyzer, open_plant(plant), "2026-05-12")
    spaces = [space.label for section in blank.sections for space in section.spaces]
    assert ("sample flow" in spaces) is asked
    desk.close()
