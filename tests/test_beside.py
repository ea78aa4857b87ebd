"""What stands beside a question: the numbers a person would otherwise look up or work out on paper.

Outside values: pH of the ready-made buffers straight between the printed rows 15 and 20 °C (7.04 and 7.02,
10.12 and 10.06), by hand; dilutions, sensitivity, waiting times by hand, with the arithmetic beside them.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from pydantic import BaseModel

from wqverify.procedures import PROCEDURES
from wqverify.procedures.beside import MOST
from wqverify.procedures.walk import Question, questions
from wqverify.records.record import case_from
from wqverify.records.workbook import demo_case
from wqverify.terms import Beside, Given, Tolerance

NAMES = sorted(PROCEDURES)


def demo(name: str) -> tuple[dict[str, Any], Given]:
    plain = demo_case(name)
    return copy.deepcopy(plain["sheet"]), case_from(plain).given


def asked(part: type[BaseModel], raw: Any, path: str = "") -> Iterator[tuple[str, Question]]:
    """The questions of a sheet with their paths, rows and groups as they are there, else one of each."""
    for question in questions(part):
        here, value = f"{path}{question.name}", raw.get(question.name) if isinstance(raw, dict) else None
        if not question.parts:
            yield here, question
        elif isinstance(value, list):
            for index, row in enumerate(value):
                yield from asked(question.parts[0], row, f"{here}.{index}.")
        else:
            yield from asked(question.parts[0], value or {}, f"{here}.")


def put(raw: dict[str, Any], path: str, value: Any) -> dict[str, Any]:
    """A sheet with one answer more; rows that are not there yet are begun."""
    new = copy.deepcopy(raw)
    here: Any = new
    steps = path.split(".")
    for step, after in pairwise(steps):
        empty: Any = [] if after.isdigit() else {}
        if isinstance(here, list):
            here.extend({} for _ in range(len(here), int(step) + 1))
            here = here[int(step)]
        else:
            here = here.setdefault(step, empty)
    here[steps[-1]] = value
    return new


def read(raw: Any, path: str) -> Any:
    for step in path.split("."):
        known = isinstance(raw, list) and int(step) < len(raw)
        raw = raw[int(step)] if known else raw.get(step) if isinstance(raw, dict) else None
    return raw


def beside(name: str, path: str, raw: dict[str, Any], given: Given) -> Beside:
    """What stands beside the question at a path."""
    question = dict(asked(PROCEDURES[name].Sheet, raw))[path]
    return PROCEDURES[name].beside[question.ask.beside](raw, path, given)


def lines(name: str, path: str, raw: dict[str, Any], given: Given) -> list[str]:
    return list(beside(name, path, raw, given).lines)


# ---------------------------------------------------------------- every procedure, every moment


@pytest.mark.parametrize("name", NAMES)
def test_beside_every_question_of_a_visit_stands_what_fits_and_nothing_is_broken(name: str) -> None:
    """The sheet as it grows, answer by answer: each time every question that has something beside it."""
    whole, given = demo(name)
    raw: dict[str, Any] = {}
    said = 0
    for path, question in asked(PROCEDURES[name].Sheet, whole):
        if question.ask.beside:
            shown = PROCEDURES[name].beside[question.ask.beside](raw, path, given)
            assert all(0 < len(line) <= MOST for line in shown.lines)
            said += bool(shown.lines)
        value = read(whole, path)
        if value is not None:
            raw = put(raw, path, value)
    assert said > 2


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("wrong", ["x", "", "9,5", [], ["x"], [""], {}, {"x": "y"}, [[]], "-1", "1e9"])
def test_what_is_typed_wrong_leaves_the_place_beside_empty_or_right(name: str, wrong: Any) -> None:
    whole, given = demo(name)
    beside_them = PROCEDURES[name].beside
    questions = [(path, one.ask.beside) for path, one in asked(PROCEDURES[name].Sheet, whole)]
    for path, _ in questions:
        broken = put(whole, path, wrong)
        for other, function in near(path, questions):
            assert isinstance(beside_them[function](broken, other, given), Beside)
    for path, function in questions:
        if function:
            for sheet in ({**whole, path.partition(".")[0]: wrong}, {}):
                assert isinstance(beside_them[function](sheet, path, given), Beside)


def near(path: str, questions: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """The questions of its part that have something beside them: of its row all, of other rows one each."""
    part, row = path.partition(".")[0], path.rpartition(".")[0]
    found: dict[tuple[str, str], str] = {}
    for other, function in questions:
        if function and other.partition(".")[0] == part:
            mine = other.rpartition(".")[0] == row
            found.setdefault((function, other if mine else ""), other)
    return [(other, function) for (function, _), other in found.items()]


@pytest.mark.parametrize("name", NAMES)
def test_the_sheet_is_looked_at_and_never_changed(name: str) -> None:
    raw, given = demo(name)
    before = copy.deepcopy(raw)
    for path, question in asked(PROCEDURES[name].Sheet, raw):
        if question.ask.beside:
            PROCEDURES[name].beside[question.ask.beside](raw, path, given)
    assert raw == before


# ---------------------------------------------------------------- pH


PH = "ph_calibration"
SEVEN, TEN = "as_found.points.0", "as_found.points.1"


def in_seven(*readings: str, t: str = "18.4") -> dict[str, Any]:
    point = {"standard": "B7-4471", "temperature_c": t, "readings": list(readings)}
    return {"date": "2026-03-03", "as_found": {"points": [point]}}


def test_a_buffer_is_worth_its_ph_at_the_temperature_just_typed() -> None:
    """7.04 - 3.4/5 x 0.02 = 7.0264 at 18.4 °C; at the printed row 20 °C it is 7.02."""
    _raw, given = demo(PH)
    at = beside(PH, f"{SEVEN}.temperature_c", in_seven(), given)
    assert at.lines == (
        "B7-4471: buffer 7.00, lot 4471, usable until 2026-05-03",
        "B7-4471: pH 7.0264 at 18.4 °C",
    )
    assert at.reference == Decimal("7.0264")
    assert beside(PH, f"{SEVEN}.readings", in_seven(t="20"), given).reference == Decimal("7.02")
    before = lines(PH, f"{SEVEN}.temperature_c", in_seven(t=""), given)
    assert before[-1] == "its pH follows the temperature typed here"


def test_a_buffer_past_its_date_is_said_to_be() -> None:
    _raw, given = demo(PH)
    late = {**in_seven(), "date": "2026-05-04"}
    shown = lines(PH, f"{SEVEN}.temperature_c", late, given)
    assert shown[0].endswith("usable until 2026-05-03 - PAST")
    last_day = {**in_seven(), "date": "2026-05-03"}
    assert lines(PH, f"{SEVEN}.temperature_c", last_day, given)[0].endswith("usable until 2026-05-03")


def test_a_temperature_outside_the_table_gives_no_value() -> None:
    _raw, given = demo(PH)
    assert beside(PH, f"{SEVEN}.readings", in_seven("7.05", t="80"), given) == Beside()


@pytest.mark.parametrize(
    ("readings", "said"),
    [
        ((), "3 more readings needed, at least 30 s apart"),
        (("7.08",), "2 more readings needed, at least 30 s apart"),
        (("7.08", "7.07"), "1 more reading needed, at least 30 s apart"),
        (("7.09", "7.08", "7.06"), "range of the last 3: 0.03 pH, may be 0.02: not steady yet"),
        (("7.08", "7.07", "7.06"), "range of the last 3: 0.02 pH, may be 0.02: steady, if 30 s apart"),
        (
            ("7.20", "7.08", "7.07", "7.07"),
            "range of the last 3: 0.01 pH, may be 0.02: steady, if 30 s apart",
        ),
    ],
)
def test_it_is_said_whether_the_readings_hold_still(readings: tuple[str, ...], said: str) -> None:
    _raw, given = demo(PH)
    assert said in lines(PH, f"{SEVEN}.readings", in_seven(*readings), given)


@pytest.mark.parametrize(
    ("apart", "said"),
    [
        ("", "steady, if 30 s apart"),
        ("31", "steady"),
        ("30", "steady"),
        ("29", "29 s apart does not show it, 30 s are needed"),
    ],
)
@pytest.mark.parametrize(
    ("name", "path"),
    [
        (PH, SEVEN),
        ("turbidity_standard_check", SEVEN),
        ("conductivity_check", SEVEN),
        ("temperature_check", SEVEN),
        ("chlorine_check", "zero"),
    ],
)
def test_readings_are_steady_only_once_it_is_known_that_they_were_far_enough_apart(
    name: str, path: str, apart: str, said: str
) -> None:
    raw, given = demo(name)
    given = replace(given, analyzer=replace(given.analyzer, settings={"stability_interval_s": "30"}))
    typed = "currents_ua" if path == "zero" else "readings"
    last = read(raw, f"{path}.{typed}")[-1]
    raw = put(put(raw, f"{path}.{typed}", [last, last, last]), f"{path}.interval_s", apart)
    shown = [*lines(name, f"{path}.{typed}", raw, given)]
    first = next(n for n, line in enumerate(shown) if line.startswith("range of the last 3: "))
    assert f": {said}" in f"{' '.join(shown[first : first + 2])} "
    assert any(line.endswith(": steady") for line in shown) is (said == "steady")


def test_a_plant_that_takes_one_reading_is_not_asked_to_wait() -> None:
    _raw, given = demo(PH)
    one = replace(given, analyzer=replace(given.analyzer, settings={"stability_readings": "1"}))
    shown = lines(PH, f"{SEVEN}.readings", in_seven("7.06"), one)
    assert not [line for line in shown if "needed" in line or "range" in line]


def test_readings_stand_between_their_limits_with_the_error_so_far() -> None:
    """Tolerance 0.05 pH: 7.0264 -/+ 0.05; the last reading is 7.06 - 7.0264 = 0.0336 high."""
    _raw, given = demo(PH)
    shown = beside(PH, f"{SEVEN}.readings", in_seven("7.08", "7.06"), given)
    assert (shown.reference, shown.low, shown.high) == tuple(map(Decimal, ("7.0264", "6.9764", "7.0764")))
    assert "allowed: 6.9764 to 7.0764 pH" in shown.lines
    assert "error of the last reading: +0.0336 pH" in shown.lines


def test_a_guarded_tolerance_is_said_to_be_less_by_u_and_without_one_nothing_is_allowed() -> None:
    _raw, given = demo(PH)
    half = Decimal("0.10")
    guarded = Tolerance("pH", "guarded", "local", "SOP", -half, half)

    def with_(tolerances: dict[str, Tolerance]) -> Given:
        return replace(given, analyzer=replace(given.analyzer, tolerances=tolerances))

    shown = lines(PH, f"{SEVEN}.readings", in_seven("7.06"), with_({"error": guarded}))
    assert "allowed: 6.9264 to 7.1264 pH, less U (guarded)" in shown
    one_sided = Tolerance("pH", "simple", "local", "SOP", None, half)
    assert "allowed: up to 7.1264 pH" in lines(
        PH, f"{SEVEN}.readings", in_seven("7.06"), with_({"error": one_sided})
    )
    none = beside(PH, f"{SEVEN}.readings", in_seven("7.06"), with_({}))
    assert (none.low, none.high) == (None, None)
    assert not [line for line in none.lines if line.startswith("allowed")]


def test_slope_and_offset_run_along_with_the_second_buffer() -> None:
    """97.2 % x (10.02 - 7.06)/(10.0792 - 7.0264) = 94.25 %: V04 of the measurement models."""
    raw, given = demo(PH)
    shown = lines(PH, f"{TEN}.readings", raw, given)
    assert "slope so far: 94.2 %" in shown
    assert [line for line in shown if line.startswith("offset at pH 7 so far: -4.3 mV")]
    first = {**raw, "as_found": {"points": raw["as_found"]["points"][:1]}}
    assert not [line for line in lines(PH, f"{SEVEN}.readings", first, given) if "slope" in line]
    unknown = {key: value for key, value in raw.items() if key != "stored"}
    assert "between the buffers the display moves 0.970 pH per pH" in lines(
        PH, f"{TEN}.readings", unknown, given
    )


def test_the_check_buffer_has_its_own_tolerance() -> None:
    raw, given = demo(PH)
    assert "allowed: 3.95 to 4.05 pH" in lines(PH, "check_buffer.readings", raw, given)


def test_beside_the_analyzers_temperature_stands_that_of_the_reference() -> None:
    raw, given = demo(PH)
    assert lines(PH, "thermometer_check.shown_c", raw, given) == [
        "reference thermometer: 18.4 °C",
        "allowed: 17.9 to 18.9 °C",
        "error of the last reading: +0.2 °C",
    ]


def test_a_grab_for_ph_is_measured_within_a_quarter_of_an_hour() -> None:
    """Collected at 09:19, 15 min of 40 CFR 136.3."""
    raw, given = demo(PH)
    shown = lines(PH, "grab_after.ph", raw, given)
    assert "measure it by 09:34: pH keeps 15 min" in shown
    assert "display minus grab so far: +0.03 pH" in shown
    assert "M-2: bench pH meter, calibration due 2026-03-04" in shown
    not_taken = replace(given, times={"started": given.times["started"]})
    assert "measure it within 15 min of taking it" in lines(PH, "grab_after.ph", raw, not_taken)


def test_the_decision_is_told_what_is_outside_and_what_the_readings_ask_for() -> None:
    raw, given = demo(PH)
    assert lines(PH, "decision.action", raw, given)[:2] == [
        "outside: error in B10-1180 -0.0592 pH, allowed -0.05 to 0.05",
        "slope so far: 94.6 %",
    ]
    assert lines(PH, "adjusted.slope_to", raw, given) == [
        "the readings ask for slope 94.6 %, stored now 97.2 %",
        "the readings ask for offset -3.8 mV, stored now -2.4 mV",
    ]


def test_inside_its_tolerance_the_advice_is_to_leave_it_alone() -> None:
    _raw, given = demo(PH)
    inside = in_seven("7.03", "7.03", "7.03")
    assert lines(PH, "decision.action", {**inside, "decision": {"action": "leave alone"}}, given) == [
        "inside the tolerance: leave it alone"
    ]


@pytest.mark.parametrize(
    ("name", "path", "wrong"),
    [
        (PH, "process_before.control_system", "9.99"),
        ("chlorine_check", "as_found.control_system", "4.00"),
        ("turbidity_calibration", "process_before.control_system", "0.999"),
        ("temperature_check", "process_before.control_system", "19.9"),
    ],
)
def test_a_wrong_value_at_the_control_system_is_said_beside_the_decision(
    name: str, path: str, wrong: str
) -> None:
    """The advice looks at what arrives too: it never says to leave alone and nothing of the loop."""
    raw, given = demo(name)
    shown = " ".join(lines(name, "decision.action", put(raw, path, wrong), given)).lower()
    assert "outside: control system" in shown
    assert "inside the tolerance: leave it alone" not in shown
    without = " ".join(lines(name, "decision.action", put(raw, path, ""), given)).lower()
    assert "outside: control system" not in without


@pytest.mark.parametrize(
    ("readings", "decided", "said"),
    [
        (("7.20", "7.20", "7.20"), {"action": "two-point"}, "A two-point adjustment needs two buffers"),
        (("7.20", "7.20", "7.20"), {"action": "two-point", "to": "grab"}, "adjustment to grabs is refused"),
        (("7.29", "7.25", "7.20"), {"action": "offset"}, "the readings were not stable within 0.02 pH"),
        (("7.20", "7.20", "7.20"), {"action": "offset", "to": "grab"}, "An adjustment to grabs needs two"),
    ],
)
def test_a_brake_is_said_before_anything_is_adjusted(
    readings: tuple[str, ...], decided: dict[str, str], said: str
) -> None:
    _raw, given = demo(PH)
    shown = " ".join(lines(PH, "decision.action", {**in_seven(*readings), "decision": decided}, given))
    assert "do not adjust yet: " in shown
    assert said in shown
    despite = {**in_seven(*readings), "decision": {**decided, "despite": "a new electrode is coming"}}
    assert "do not adjust yet" not in " ".join(lines(PH, "decision.action", despite, given))


# ---------------------------------------------------------------- turbidity


CHECK, CALIBRATION = "turbidity_standard_check", "turbidity_calibration"


def test_a_secondary_standard_is_worth_what_it_was_assigned_for_this_analyzer() -> None:
    raw, given = demo(CHECK)
    shown = beside(CHECK, f"{SEVEN}.readings", raw, given)
    assert shown.lines[0] == "S-05: 0.520 NTU for this analyzer, assigned on 2026-01-14"
    assert (shown.reference, shown.low, shown.high) == tuple(map(Decimal, ("0.520", "0.468", "0.572")))
    another = replace(given, analyzer=replace(given.analyzer, tag="AIT-9999"))
    assert beside(CHECK, f"{SEVEN}.readings", raw, another) == Beside()


def test_a_primary_standard_comes_with_its_uncertainty_and_a_diluted_one_with_its_value() -> None:
    """(20.020 x 5 + 0.02 x 995)/1000 = 0.120 NTU: the water counts."""
    raw, given = demo(CHECK)
    assert lines(CHECK, "as_found.points.2.readings", raw, given)[0] == "F20-0305: 20.020 NTU, U 0.32 NTU"
    diluted = beside(CHECK, f"{TEN}.readings", raw, given)
    assert diluted.lines[0] == "F20-0305 diluted: 0.120 NTU"
    assert diluted.lines[1] == "allowed: 0.1 to 0.14 NTU"  # the low point has a tolerance of its own


def test_a_dilution_is_worth_something_once_both_volumes_are_typed() -> None:
    raw, given = demo(CHECK)
    path = f"{TEN}.diluted.steps.0.to_ml"
    assert lines(CHECK, path, raw, given)[-1] == "after 1 step: 0.120 NTU"
    half = put(raw, path, "")
    assert lines(CHECK, path, half, given) == ["F20-0305: 20.020 NTU", "water W-0305: 0.02 NTU"]


def test_readings_of_turbidity_hold_still_within_a_share_of_the_last_one() -> None:
    """3.3 % of 0.578 NTU is 0.019; shown cut, never wider than it is."""
    raw, given = demo(CHECK)
    assert lines(CHECK, f"{SEVEN}.readings", raw, given)[2] == (
        "range of the last 3: 0.001 NTU, may be 0.019: steady"
    )


def test_zero_water_is_held_against_its_own_turbidity() -> None:
    raw, given = demo(CALIBRATION)
    shown = beside(CALIBRATION, "as_found.zero.readings", raw, given)
    assert shown.lines[:2] == ("W-0310: 0.02 NTU", "allowed: 0 to 0.04 NTU")


def test_a_secondary_standard_that_is_to_be_assigned_has_no_value_yet() -> None:
    raw, given = demo(CALIBRATION)
    shown = beside(CALIBRATION, "assign.0.readings", raw, given)
    assert shown.lines[0].startswith("S-05: sealed secondary standard")
    assert shown.lines[-1].endswith("steady")
    assert shown.reference is None


def test_a_calibration_is_told_the_gain_that_its_readings_ask_for() -> None:
    """As found (20.020 - 0.02)/(22.40 - 0.036) = 0.8943, top and zero water of the demo visit."""
    raw, given = demo(CALIBRATION)
    assert lines(CALIBRATION, "adjusted.gain_to", raw, given) == [
        "the readings ask for 0.8943 times the present gain",
        "gain stored on arrival: 1.042",
    ]
    shown = lines(CALIBRATION, "decision.action", raw, given)
    assert shown[-1] == "the readings ask for 0.8943 times the present gain"
    assert shown[1] == "outside: error on F20-0310 2.380 NTU, allowed -2.002 to 2.002"


def test_a_zero_without_zero_water_is_braked_before_it_is_adjusted() -> None:
    raw, given = demo(CALIBRATION)
    found = {key: value for key, value in raw["as_found"].items() if key != "zero"}
    without = {"date": raw["date"], "as_found": found, "decision": {"action": "gain and zero"}}
    shown = " ".join(lines(CALIBRATION, "decision.action", without, given))
    assert "The zero was adjusted and no zero water was read before it" in shown


# ---------------------------------------------------------------- preparation


def test_a_preparation_is_told_the_volume_to_pipette_and_the_value_on_the_label() -> None:
    """1000 x (20 - 0.02)/(4000 - 0.02) = 4.995 mL; 5 mL make (4000 x 5 + 0.02 x 995)/1000 = 20.0199 NTU."""
    raw, given = demo("standard_preparation")
    name = "standard_preparation"
    assert lines(name, "steps.0.pipetted_ml", raw, given) == [
        "FZ-4000: 4000 NTU",
        "water W-0305: 0.02 NTU",
        "after 1 step: 20.0199 NTU",
        "20 NTU in one step: 4.995 mL made up to 1000 mL",
    ]
    assert lines(name, "label", raw, given)[0] == "the standard is worth 20.020 NTU, U 0.32 NTU"
    unplanned = {key: value for key, value in raw.items() if key != "target"}
    assert len(lines(name, "steps.0.pipetted_ml", unplanned, given)) == 3


# ---------------------------------------------------------------- grab


GRAB = "grab_comparison"


def test_the_sample_line_says_how_old_the_water_is_at_the_flow_that_was_measured() -> None:
    """Volume pi d2 L/4 and cell over the flow; twice the flow takes half the time."""
    raw, given = demo(GRAB)
    shown = lines(GRAB, "sample_flow_ml_min", raw, given)
    assert shown == [
        "at 250 mL/min (of the register) the water read is 3 min 46 s old",
        "95 % of a step at the tap is shown after 7 min 22 s",
    ]
    twice = {**raw, "sample_flow_ml_min": "500"}
    assert lines(GRAB, "sample_flow_ml_min", twice, given)[0] == (
        "at 500 mL/min (measured) the water read is 113 s old"
    )
    nowhere = replace(given, analyzer=replace(given.analyzer, sample_line=None))
    assert lines(GRAB, "sample_flow_ml_min", raw, nowhere) == [
        "no sample line in the register: the delay of the water is not known"
    ]
    none = {**raw, "sample_flow_ml_min": "0"}
    assert lines(GRAB, "sample_flow_ml_min", none, given) == []


def test_the_moment_to_read_the_display_follows_from_where_the_grab_is_taken() -> None:
    """The record of the demo visit pairs at 09:02 + 256 s."""
    raw, given = demo(GRAB)
    assert lines(GRAB, "online.0.shown", raw, given)[1] == (
        "process tap: on the display 4 min 16 s after it is taken"
    )
    shown = lines(GRAB, "grab.0.collected", raw, given)
    assert shown[:2] == [
        "its water is on the display 4 min 16 s after it is taken",
        "read the display around 09:06:16",
    ]
    assert "it keeps 48 h" in shown


def test_a_grab_for_chlorine_or_ph_keeps_a_quarter_of_an_hour() -> None:
    raw, given = demo(GRAB)
    acid = replace(given, analyzer=replace(given.analyzer, unit="pH", measures="pH"))
    assert "analyse it by 09:17: it keeps 15 min" in lines(GRAB, "grab.0.result", raw, acid)


def test_a_comparison_with_one_grab_founds_no_adjustment() -> None:
    raw, given = demo(GRAB)
    shown = " ".join(lines(GRAB, "decision.action", raw, given))
    assert "An adjustment to a grab needs two grabs that agree" in shown


# ---------------------------------------------------------------- chlorine


CHLORINE = "chlorine_check"


def test_the_error_that_the_method_allows_stands_beside_the_value() -> None:
    """EPA 334.0: the larger of 0.1 mg/L and 15 %; 15 % of 0.68 is 0.102, of the mean 0.83 it is 0.1245."""
    raw, given = demo(CHLORINE)
    assert lines(CHLORINE, "as_found.shown", raw, given)[0] == "allowed error near 0.68 mg/L: ±0.102 mg/L"
    shown = beside(CHLORINE, "as_found.grab_b", raw, given)
    assert (shown.reference, shown.low, shown.high) == tuple(map(Decimal, ("0.83", "0.7055", "0.9545")))
    assert "mean of the grabs: 0.83 mg/L, 0.02 mg/L apart" in shown.lines
    assert "display minus grabs so far: -0.15 mg/L" in shown.lines
    low = put(raw, "as_found.shown", "0.20")
    assert lines(CHLORINE, "as_found.shown", low, given)[0] == "allowed error near 0.20 mg/L: ±0.1 mg/L"


def test_a_result_below_what_can_be_told_has_no_mean() -> None:
    raw, given = demo(CHLORINE)
    shown = beside(CHLORINE, "as_found.grab_a", put(raw, "as_found.grab_a", "<0.02 mg/L"), given)
    assert shown.reference is None
    assert not [line for line in shown.lines if "minus" in line]


def test_a_fresh_grab_waits_three_time_constants() -> None:
    """Cell 150 mL at 480 mL/min is 18.75 s, damping 10 s: 29 s, three of them after 08:50 is 08:51:27."""
    raw, given = demo(CHLORINE)
    wait = "fresh grabs from 08:51:27 on: 3 time constants of 29 s"
    assert wait in lines(CHLORINE, "as_left.shown", raw, given)
    assert wait not in lines(CHLORINE, "as_found.shown", raw, given)


def test_the_sensitivity_runs_along_with_the_current() -> None:
    """(1.80 - 0.05)/0.83 = 2.108 uA per mg/L; before the zero was read that of the menu counts: 1.93."""
    raw, given = demo(CHLORINE)
    raw["cell_current"] = {"currents_ua": ["1.79", "1.80", "1.81"]}
    assert lines(CHLORINE, "cell_current.currents_ua", raw, given) == [
        "sensitivity so far: 2.11 uA per mg/L",
        "the menu holds 2.35 uA per mg/L",
    ]
    before = {key: value for key, value in raw.items() if key != "zero"}
    assert lines(CHLORINE, "cell_current.currents_ua", before, given)[0] == (
        "sensitivity so far: 1.93 uA per mg/L"
    )
    assert lines(CHLORINE, "adjusted.zero_to", raw, given)[0] == "zero current read: 0.05 uA"


def test_a_zero_that_still_falls_is_said_to() -> None:
    raw, given = demo(CHLORINE)
    raw["zero"]["currents_ua"] = ["0.20", "0.14", "0.09"]
    assert lines(CHLORINE, "zero.currents_ua", raw, given) == [
        "the menu holds a zero of 0.20 uA",
        "range of the last 3: 0.11 uA, may be 0.05: not steady yet",
    ]


def test_one_grab_founds_no_new_sensitivity_and_a_zero_needs_none() -> None:
    raw, given = demo(CHLORINE)
    del raw["as_found"]["grab_b"]
    shown = lines(CHLORINE, "decision.action", raw, given)
    assert shown[0].startswith("outside: display against grabs -0.14 mg/L, allowed -0.123 to 0.123")
    assert "A new sensitivity needs two grabs that agree; the sheet has one." in shown
    zero = put(raw, "decision.action", "zero")
    assert "A new sensitivity" not in " ".join(lines(CHLORINE, "decision.action", zero, given))


def test_without_a_compensation_it_is_said_why_nothing_can_be_expected_of_a_standard() -> None:
    raw, given = demo("conductivity_check")
    bare = {key: value for key, value in raw.items() if key != "compensation"}
    unset = replace(given, analyzer=replace(given.analyzer, settings={}))
    shown = lines("conductivity_check", "as_found.points.0.readings", bare, unset)
    assert any("which compensation is set" in line for line in shown)
    assert not any(line.startswith("display should show") for line in shown)
