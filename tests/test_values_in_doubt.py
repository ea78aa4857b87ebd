"""Values in doubt: since when, how wrong, which decisions change, what follows; each edge from four sides."""

from __future__ import annotations

import time
import tomllib
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from doubt_example import (
    ANALYZER,
    CHLORINE,
    FACTS,
    FAILED,
    GOOD,
    SERIAL,
    check,
    cited,
    failed,
    found,
    given,
    good,
    iso,
    judged,
    listed,
    month,
    notes,
    rows,
    run,
    sheet,
)
from example_record import example

from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.files import Document
from wqverify.procedures.doubt_facts import corrected, decided, model_of, seconds
from wqverify.procedures.sheets import parse
from wqverify.procedures.values_in_doubt import PROCEDURE
from wqverify.records.record import case_from, compute
from wqverify.records.workbook import demo_case
from wqverify.shipped import shipped_folder
from wqverify.show.first_sheet import first_sheet
from wqverify.show.kinds import Table
from wqverify.show.side_by_side import TITLE
from wqverify.terms import Outcome, Result, Tolerance, Window

CFE = {"what": "95 % of the values"}
WORST = {"time": "worst case", "level": "offset", "why": "nobody knows when"}
WHOLE_MONTH = {**CFE, "counted_from": "2026-03-01 00:30", "counted_to": "2026-03-31 00:30"}


def spread(counts: dict[str, int]) -> dict[str, str]:
    """Put so many values of a size on days of the month, one every four hours."""
    places = [f"2026-03-{day:02d} {hour:02d}:00" for day in range(10, 25) for hour in (0, 4, 8, 12)]
    sizes = [size for size, count in counts.items() for _ in range(count)]
    return dict(zip(places, sizes, strict=False))


# ---------------------------------------------------------------- worked values


def test_w18_three_above_as_recorded_eight_more_without_the_error() -> None:
    """W18: 180 values, 3 above 0.3 as recorded, 8 more: 98.33 % pass, 93.89 % fail."""
    values = spread({"0.350": 3, "0.280": 8})
    result = run(sheet(model=WORST, used=[WHOLE_MONTH]), slice_=month(values))
    was, now = found(result, "as_recorded.1"), found(result, "corrected.1")
    assert was.quantity is not None
    assert now.quantity is not None
    assert abs(was.quantity.decimal - Decimal("98.33")) < Decimal("0.01")
    assert abs(now.quantity.decimal - Decimal("93.89")) < Decimal("0.01")
    assert (was.outcome, now.outcome) == (Outcome.PASS, Outcome.FAIL)
    assert len(listed(result)) == 8
    assert "3 beyond of 180 as recorded; of the values 8 decide otherwise" in notes(result)
    assert now.tolerance is not None
    assert now.tolerance.source.startswith("40 CFR 141.173(a)(1)")


def test_w18_with_an_error_that_is_not_sure_enough_is_too_close() -> None:
    """U 0.015 of an error of 0.030: without it the eight are 0.295, at 0.310, or 0.325."""
    wrong = failed(check("S-05", "0.300", "-0.030", expanded="0.015"))
    values = spread({"0.350": 3, "0.280": 8})
    result = run(sheet(model=WORST, used=[WHOLE_MONTH]), wrong, good(), slice_=month(values))
    assert found(result, "corrected.1").outcome is Outcome.TOO_CLOSE
    assert all("within the uncertainty" in line for line in listed(result))
    assert "treat it as exceeded" in notes(result, "advice")


@pytest.mark.parametrize(
    ("time_model", "first", "second", "below"),
    [("linear", "0.2467", "0.1833", 1), ("worst case", "0.1800", "0.1500", 2)],
)
def test_w39_chlorine_reads_high(time_model: str, first: str, second: str, below: int) -> None:
    """W39: +0.10 at day 30; day 10 0.28, day 20 0.25, limit 0.20: linear one is below, worst both."""
    wrong = failed(
        check("grab 1", "0.30", "0.10", unit="mg/L"),
        facts={**FACTS, "unit": "mg/L"},
        procedure="chlorine_check",
    )
    right = good(
        check("grab 1", "0.30", "0.00", unit="mg/L"),
        facts={**FACTS, "unit": "mg/L"},
        procedure="chlorine_check",
    )
    begun = seconds("2026-03-01T08:00:00-06:00")
    full = seconds("2026-03-31T08:00:00-05:00")
    days = [begun + (full - begun) * n // 3 for n in (1, 2)]
    slice_ = (
        "time,value,flag\n"
        + "".join(f"{stamp(at)},{v},\n" for at, v in zip(days, ("0.28", "0.25"), strict=True))
    ).encode()
    raw = sheet(
        model={"time": time_model, "level": "offset", "why": "it drifts"},
        used=[{"what": "lowest of the day"}],
    )
    result = run(raw, wrong, right, slice_=slice_, analyzer=CHLORINE, trends=in_mg())
    shown = [value.quantity.text for value in result.values if value.stage == "decides_otherwise"]
    assert shown == [first, second][2 - below :]
    assert judged(result, "as_recorded.1") == ("0.25", "pass")
    assert judged(result, "corrected.1") == (second, "fail")


def stamp(second: int) -> str:
    from datetime import UTC, datetime

    return f"{datetime.fromtimestamp(second, UTC):%Y-%m-%dT%H:%M:%SZ}"


def in_mg() -> Any:
    use = given({**sheet(), "trend": "march.csv"}, slice_=month({})).trends[0]
    return (replace(use, unit="mg/L"),)


def test_a40_additive_drift_through_a_sheet() -> None:
    """By hand: 0 at day 0, +0.06 NTU at day 30, linear, day 10 reading 0.31: 0.29."""
    wrong = failed(check("S-05", "0.360", "0.060"))
    raw = sheet(used=[{"what": "limit", "limit": "0.30", "direction": "above"}])
    third = (
        seconds("2026-03-01T08:00:00-06:00")
        + (seconds("2026-03-31T08:00:00-05:00") - seconds("2026-03-01T08:00:00-06:00")) // 3
    )
    result = run(raw, wrong, good(), slice_=f"time,value,flag\n{stamp(third)},0.31,\n".encode())
    assert judged(result, "as_recorded.1") == ("0.31", "fail")
    assert judged(result, "corrected.1") == ("0.29000", "pass")


# ---------------------------------------------------------------- each decision, four sides of its edge

NO_ERROR = failed(check("S-05", "0.300", "0.050", allowed="0.02"))
TAKEN_AS_NONE = {"time": "worst case", "level": "offset", "start": "taken as none", "why": "to try"}


def decision(used: dict[str, str], slice_: bytes, **more: Any) -> tuple[str, str]:
    """What a use says as recorded."""
    return judged(run(sheet(model=TAKEN_AS_NONE, used=[used]), slice_=slice_, **more), "as_recorded.1")


@pytest.mark.parametrize(("above", "outcome"), [(8, "pass"), (9, "pass"), (10, "fail"), (0, "pass")])
def test_95_percent_counts_what_exceeds(above: int, outcome: str) -> None:
    """Of 180 values 9 are 5 %: exactly 95 % lie within, and that passes."""
    assert decision(WHOLE_MONTH, month(spread({"0.301": above, "0.300": 20})))[1] == outcome


@pytest.mark.parametrize(
    ("highest", "outcome"), [("0.999", "pass"), ("1.000", "pass"), ("1.001", "fail"), ("", "pass")]
)
def test_never_above_1_is_strict(highest: str, outcome: str) -> None:
    assert decision({"what": "never above"}, month({"2026-03-10 04:00": highest}))[1] == outcome


@pytest.mark.parametrize(
    ("second", "pairs"), [("1.000", "0"), ("1.001", "1"), ("", "0"), ("left out", "0"), ("0.999", "0")]
)
def test_two_in_a_row_need_both_above_and_nothing_missing(second: str, pairs: str) -> None:
    slice_ = month({"2026-03-10 04:00": "1.200", "2026-03-10 04:15": second}, every=15)
    shown, outcome = decision({"what": "two in a row"}, slice_)
    assert (shown, outcome) == (pairs, "fail" if pairs == "1" else "pass")


def test_a_missing_recording_between_two_breaks_the_pair() -> None:
    for missing in ("", "left out"):
        slice_ = month(
            {"2026-03-10 04:00": "1.2", "2026-03-10 04:15": missing, "2026-03-10 04:30": "1.2"}, every=15
        )
        assert decision({"what": "two in a row"}, slice_) == ("0", "pass")


def test_recordings_every_minute_are_paired_15_min_apart() -> None:
    minutes = [(f"2026-03-10 04:{minute:02d}", "1.2" if minute < 14 else "0.2") for minute in range(60)]
    assert decision({"what": "two in a row"}, rows(minutes)) == ("0", "pass")
    minutes = [(f"2026-03-10 04:{minute:02d}", "1.2" if minute < 16 else "0.2") for minute in range(60)]
    assert decision({"what": "two in a row"}, rows(minutes)) == ("1", "fail")


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        ("0.501", "0.501", ("1", "fail")),
        ("0.500", "0.501", ("0", "pass")),
        ("0.501", "0.500", ("0", "pass")),
        ("0.501", "", ("no number at the end of its four hours", "not evaluated")),
        ("left out", "0.501", ("no two recordings at the end of its four hours", "not evaluated")),
    ],
)
def test_the_end_of_the_first_4_h(first: str, last: str, said: tuple[str, str]) -> None:
    """On line at 03:30: the recordings at 07:15 and 07:30."""
    slice_ = month({"2026-03-10 07:00": "0.9", "2026-03-10 07:15": first, "2026-03-10 07:30": last}, every=15)
    shown, outcome = decision({"what": "two in a row after 4 h", "on_line": "2026-03-10 03:30"}, slice_)
    assert shown.startswith(said[0])
    assert outcome == said[1]


@pytest.mark.parametrize(
    ("end", "shown", "outcome"),
    [("06:05", "3.9167", "pass"), ("06:10", "4", "pass"), ("06:15", "4.0833", "fail")],
)
def test_w14_below_for_more_than_4_h(end: str, shown: str, outcome: str) -> None:
    """W14: residual 0.19 from 02:10 to 06:05 is no violation, to 06:15 it is one; then it is low no more."""
    low = [(f"2026-03-10 {h:02d}:{m:02d}", h * 60 + m) for h in range(1, 9) for m in range(0, 60, 5)]
    last = int(end[:2]) * 60 + int(end[3:])
    slice_ = rows((at, "0.19" if 130 <= minute < last else "0.20") for at, minute in low)
    raw = sheet(model=TAKEN_AS_NONE, used=[{"what": "too low for 4 h"}])
    right, wrong = (replace(one, facts={**FACTS, "unit": "mg/L"}) for one in (good(), failed()))
    result = run(raw, right, wrong, slice_=slice_, analyzer=CHLORINE, trends=in_mg())
    assert judged(result, "as_recorded.1") == (shown, outcome)


def test_a_gap_ends_the_time_below() -> None:
    at = [f"2026-03-10 {h:02d}:{m:02d}" for h in range(1, 9) for m in (0, 15, 30, 45)]
    slice_ = rows((one, "0.1") for one in at if not "04:00" <= one[11:] < "05:00")
    raw = sheet(model=TAKEN_AS_NONE, used=[{"what": "too low for 4 h"}])
    right, wrong = (replace(one, facts={**FACTS, "unit": "mg/L"}) for one in (good(), failed()))
    result = run(raw, right, wrong, slice_=slice_, analyzer=CHLORINE, trends=in_mg())
    assert judged(result, "as_recorded.1") == ("3.75", "pass")
    assert "1 gaps of more than 22.5 min" in notes(result)


@pytest.mark.parametrize(
    ("lowest", "outcome"), [("0.21", "pass"), ("0.20", "pass"), ("0.19", "fail"), ("", "pass")]
)
def test_the_lowest_of_the_day(lowest: str, outcome: str) -> None:
    raw = sheet(model=TAKEN_AS_NONE, used=[{"what": "lowest of the day"}])
    right, wrong = (replace(one, facts={**FACTS, "unit": "mg/L"}) for one in (good(), failed()))
    slice_ = month({"2026-03-10 04:00": lowest}, usual="0.80")
    result = run(raw, right, wrong, slice_=slice_, analyzer=CHLORINE, trends=in_mg())
    assert judged(result, "as_recorded.1")[1] == outcome


@pytest.mark.parametrize(
    ("special", "said"),
    [
        ({"2026-03-10 03:55": "0.9"}, ("0.1", "pass")),  # 04:00 is nearer
        ({"2026-03-10 04:00": "left out", "2026-03-10 03:55": "0.9"}, ("0.9", "fail")),  # of two the earlier
        ({"2026-03-10 04:00": "left out", "2026-03-10 03:55": "left out", "2026-03-10 04:05": "0.9"},
         ("0.9", "fail")),
        ({"2026-03-10 04:00": "", "2026-03-10 03:55": "0.9"}, ("0.1", "pass")),  # it holds no number
    ],
)  # fmt: skip
def test_one_value_every_4_h_is_the_nearest_within_half_an_interval(
    special: dict[str, str], said: tuple[str, str]
) -> None:
    """Every 10 min, at :05 and :15: the nearest lies 5 min away, which is half; 04:00 and 03:55 are extra."""
    tens = [
        (f"2026-03-10 {hour:02d}:{minute:02d}", "0.1") for hour in range(9) for minute in range(5, 60, 10)
    ]
    values = {**dict(tens), "2026-03-10 04:00": "0.1", **special}
    used = {"what": "never above", "limit": "0.5", "each": "one every 4 h"}
    assert decision(used, rows((at, v) for at, v in sorted(values.items()) if v != "left out")) == said


@pytest.mark.parametrize(
    "used",
    [
        {"what": "two in a row"},
        {"what": "two in a row after 4 h", "on_line": "2026-03-10 03:30"},
    ],
)
def test_values_every_4_h_do_not_tell_what_follows_one_another(used: dict[str, str]) -> None:
    used = {**used, "limit": "0.5", "each": "one every 4 h"}
    assert "let every recorded value count" in decision(used, month({}, every=15))[0]


# ---------------------------------------------------------------- limits


def alarm(size: str) -> dict[str, Tolerance]:
    high = Decimal(size)
    return {"alarm_high": Tolerance("NTU", "simple", "local", "alarm list 7", high=high)}


def test_a_limit_of_the_register_comes_before_the_rule_and_a_typed_one_before_both() -> None:
    slice_ = month({"2026-03-10 04:00": "0.5"})
    kept = replace(ANALYZER, tolerances={"cfe_max": alarm("0.4")["alarm_high"]})
    assert decision({"what": "never above"}, slice_) == ("0.5", "pass")
    assert decision({"what": "never above"}, slice_, analyzer=kept) == ("0.5", "fail")
    assert decision({"what": "never above", "limit": "0.6"}, slice_, analyzer=kept) == ("0.5", "pass")


def test_an_alarm_goes_by_the_register() -> None:
    with_alarm = replace(ANALYZER, tolerances=alarm("0.4"))
    raw = sheet(model=TAKEN_AS_NONE, used=[{"what": "alarm"}])
    result = run(raw, slice_=month({"2026-03-10 04:00": "0.5"}), analyzer=with_alarm)
    assert found(result, "as_recorded.1").label == "Alarm above 0.4 NTU"
    assert judged(result, "as_recorded.1") == ("0.5", "fail")
    tolerance = found(result, "as_recorded.1").tolerance
    assert tolerance is not None
    assert tolerance.source == "alarm list 7"


def test_a_rule_of_another_unit_has_no_limit_here() -> None:
    shown, outcome = decision(
        {"what": "never above"}, month({}), analyzer=replace(ANALYZER, unit="FNU"), trends=()
    )
    assert outcome == "not evaluated"
    assert "no limit for 'never above' in FNU" in shown


# ---------------------------------------------------------------- the error, by stage and level


def test_fouling_and_drift_are_two_numbers_and_fouling_comes_off_first() -> None:
    wrong = failed(
        check("S-05", "0.560", "0.060"), check("S-05", "0.520", "0.020", "after_cleaning", allowed="0.05")
    )
    right = good(check("S-05", "0.505", "0.005"))
    result = run(sheet(model={**WORST, "level": "gain"}), wrong, right, slice_=month({}))
    shown = {value.key: value.quantity.text for value in result.values}
    assert [shown[f"{name}.1"] for name in ("error", "fouling", "drift", "total", "start")] == [
        "0.060", "0.040", "0.020", "0.060", "0.005"
    ]  # fmt: skip
    assert result.facts["doubt.fouling_points"] == "0.560 0.040"
    assert (result.facts["doubt.points"], result.facts["doubt.points_at_start"]) == (
        "0.520 0.020",
        "0.505 0.005",
    )
    times, values = np.array([seconds("2026-03-10T00:00:00-06:00")]), np.array([0.56])
    assert corrected(times, values, result.facts, everywhere=True).tolist() == [0.5]


def test_a_gain_at_the_last_good_check_is_relative_to_its_own_reading() -> None:
    """By hand: 0.010 at a display of 0.210 then, 0.060 at 0.560 now; worst case and the beginning at 0.42."""
    wrong, right = failed(check("S-05", "0.560", "0.060")), good(check("S-05", "0.210", "0.010"))
    despite = {"record": GOOD, "despite": "to try"}
    linear = {"time": "linear", "level": "gain", "why": "to try"}
    result = run(sheet(model=linear, last_good=despite), wrong, right, slice_=month({}))
    assert result.facts["doubt.points_at_start"] == "0.210 0.010"
    begun, full = seconds("2026-03-01T08:00:00-06:00"), seconds("2026-03-31T08:00:00-05:00")
    times, values = np.array([begun, (begun + full) // 2, full]), np.array([0.42, 0.42, 0.42])
    # 0.42 x 0.010/0.210 = 0.02 at the beginning, 0.42 x 0.060/0.560 = 0.045 in the end, half of both between
    assert corrected(times, values, result.facts, everywhere=True).tolist() == [0.4, 0.3875, 0.375]


def test_the_error_at_the_beginning_is_that_of_the_last_state_the_good_check_judged() -> None:
    cleaned = check("S-05", "0.331", "0.001", "after_cleaning")
    right = good(check("S-05", "0.345", "0.015"), cleaned)
    result = run(sheet(), failed(), right, slice_=month({}))
    assert result.facts["doubt.points_at_start"] == "0.331 0.001"


def test_a_typed_error_at_the_beginning_stands_on_the_same_reference() -> None:
    """Reference 0.500: displayed 0.560 in the end, 0.510 in the beginning."""
    typed = {
        "level": "0.560",
        "found": "0.060",
        "at_start": "0.010",
        "source": "bench turbidimeter, 31 March",
    }
    result = run(sheet(errors=[typed]), slice_=month({}))
    assert result.facts["doubt.points_at_start"] == "0.510 0.010"


def test_opposite_signs_add_up_in_the_total() -> None:
    wrong = failed(
        check("S-05", "0.560", "0.060"), check("S-05", "0.480", "-0.020", "after_cleaning", allowed="0.05")
    )
    result = run(sheet(model=WORST), wrong, good(check("S-05", "0.500", "0.000")))
    shown = {value.key: value.quantity.text for value in result.values}
    assert (shown["fouling.1"], shown["drift.1"], shown["total.1"]) == ("0.080", "-0.020", "0.100")


def test_several_errors_are_a_line_or_the_one_nearest_to_what_was_recorded() -> None:
    wrong = failed(check("B4", "0.400", "0.040"), check("B9", "0.090", "0.030"))
    right = good(check("B4", "0.360", "0.000"), check("B9", "0.060", "0.000"))
    line = run(sheet(model={**WORST, "level": "line between points"}), wrong, right, slice_=month({}))
    assert line.facts["doubt.points"] == "0.400 0.040; 0.090 0.030"
    one = run(sheet(model=WORST), wrong, right, slice_=month({}))
    assert one.facts["doubt.points"] == "0.090 0.030"
    assert "the one nearest to what was recorded is taken: B9" in notes(one)
    named = run(sheet(model=WORST, errors=[{"check": "B4"}]), wrong, right, slice_=month({}))
    assert named.facts["doubt.points"] == "0.400 0.040"


def test_a_line_from_one_point_corrects_nothing_and_says_so() -> None:
    raw = sheet(model={**WORST, "level": "line between points"}, used=[CFE])
    result = run(raw, slice_=month({}))
    assert judged(result, "as_recorded.1")[1] == "pass"
    assert judged(result, "corrected.1")[1] == "not evaluated"
    assert "takes 2 to 3 points, and there are 1" in judged(result, "corrected.1")[0]
    assert "doubt.points" not in result.facts
    assert model_of(result.facts) is None


def test_two_errors_at_one_level_once_they_are_clean_correct_nothing_and_say_so() -> None:
    wrong = failed(
        *(check("B4", "0.560", "0.060"), check("B4", "0.520", "0.020", "after_cleaning", allowed="0.05")),
        *(check("B9", "0.540", "0.060"), check("B9", "0.520", "0.040", "after_cleaning", allowed="0.05")),
    )
    right = good(check("B4", "0.500", "0.000"), check("B9", "0.480", "0.000"))
    line = {**WORST, "level": "line between points"}
    result = run(sheet(model=line, used=[CFE]), wrong, right, slice_=month({}))
    assert judged(result, "corrected.1")[1] == "not evaluated"
    assert "Two errors are given at one level" in judged(result, "corrected.1")[0]


def test_an_error_may_be_typed_with_its_source() -> None:
    typed = {"level": "0.20", "found": "-0.05", "expanded": "0.01", "source": "bench turbidimeter, 31 March"}
    result = run(sheet(model=WORST, errors=[typed], used=[CFE]), slice_=month({"2026-03-10 04:00": "0.28"}))
    assert result.facts["doubt.points"] == "0.20 -0.05"
    (line,) = listed(result)
    assert line.startswith("2026-03-10 04:00, recorded 0.28 -> 0.33000; Values not above 0.3 NTU: now beyond")
    assert "within the uncertainty" not in line


def test_where_the_control_system_failed_its_error_is_taken() -> None:
    wrong = failed(
        check("grab 1", "0.300", "0.000"), check("grab 1", "0.350", "0.050", place="control system")
    )
    right = good(check("grab 1", "0.300", "0.000", place="control system"))
    result = run(sheet(model=WORST), wrong, right)
    assert result.facts["doubt.points"] == "0.350 0.050"


def test_an_error_at_4_does_not_condemn_values_at_a_tenth() -> None:
    wrong = failed(check("S-4", "4.000", "0.500"))
    result = run(sheet(model=WORST), wrong, good(check("S-4", "3.500", "0.000")), slice_=month({}))
    assert "no level of them was tested" in notes(result)
    near = run(sheet(model=WORST), slice_=month({"2026-03-10 04:00": "0.5"}))
    assert "in the range that was used" in notes(near)


@pytest.mark.parametrize(
    ("error", "direction", "said"),
    [
        ("-0.030", "above", "read low by 0.03000 NTU in the end: in the unsafe direction"),
        ("0.030", "above", "read high by 0.03000 NTU in the end: on the safe side"),
        ("0.030", "below", "read high by 0.03000 NTU in the end: in the unsafe direction"),
        ("-0.030", "below", "read low by 0.03000 NTU in the end: on the safe side"),
    ],
)
def test_in_which_direction_it_was_wrong(error: str, direction: str, said: str) -> None:
    used = {"what": "limit", "limit": "0.25", "direction": direction}
    wrong = failed(check("S-05", "0.300", error))
    assert said in notes(run(sheet(model=WORST, used=[used]), wrong, good(), slice_=month({})))


def test_rated_only_where_it_is_asked_and_never_as_drinking_water() -> None:
    wrong = failed(
        check("S-05", "4.000", "0.400"), check("S-05", "3.400", "-0.200", "after_cleaning", allowed="0.5")
    )
    right = good(check("S-05", "3.600", "0.000"))
    asked = run(sheet(model={**WORST, "criteria": "natural waters"}), wrong, right)
    (note,) = [note for note in asked.notes if "rating" in note.text]
    assert note.text.startswith("Total of fouling and drift at 4.000: 0.800 NTU, 20.882 %, -0.400 of it net:")
    assert "asks for a correction; rating good" in note.text
    assert "no criterion for drinking water" in note.source
    assert "rating" not in notes(run(sheet(model=WORST), wrong, right))


@pytest.mark.parametrize(
    ("level", "error", "said"),
    [
        ("0.001", "-0.400", "Total of fouling and drift at 0.001: 0.400 NTU"),
        ("0.000", "-0.400", "Not rated at 0.000 NTU: A correction of 0.400 is no percent of a reading of 0"),
    ],
)
def test_what_reads_0_is_not_rated_and_it_is_said(level: str, error: str, said: str) -> None:
    wrong = failed(check("S-05", level, error))
    right = good(check("S-05", "0.400", "0.000"))
    assert said in notes(run(sheet(model={**WORST, "criteria": "natural waters"}), wrong, right))


# ---------------------------------------------------------------- the error in time


def test_all_three_models_stand_side_by_side_and_one_decides() -> None:
    values = {"2026-03-05 04:00": "0.29", "2026-03-25 04:00": "0.29"}
    raw = sheet(
        model={
            "time": "step",
            "step_at": "2026-03-20 10:00",
            "level": "offset",
            "why": "the lamp was changed",
        },
        used=[CFE],
    )
    result = run(raw, slice_=month(values))
    by = {value.key: value.source for value in result.values if value.stage == "three_models"}
    assert [source.split(" beyond")[0] for source in by.values()] == ["1", "1", "2"]
    assert set(by) == {"model.1.step", "model.1.linear", "model.1.worst_case"}
    assert [line[:16] for line in listed(result)] == ["2026-03-25 04:00"]
    assert "All three models in time are computed; it is decided on this one" in notes(result)


def test_a_step_nobody_knows_the_time_of_is_said() -> None:
    assert "of a step nothing says when it came" in notes(run(sheet()))


def test_evidence_narrows_the_period_and_tells_when_it_came() -> None:
    right = {
        "what": "grab",
        "tells": "right at that time",
        "at": "2026-03-15 09:00",
        "why": "grab 0.10, online 0.10",
        "author": "T-11",
    }
    values = {"2026-03-10 04:00": "0.295", "2026-03-28 04:00": "0.295"}
    result = run(sheet(evidence=[right], used=[CFE]), slice_=month(values))
    assert result.facts["doubt.from"] == "2026-03-15T09:00-05:00"
    assert [line[:16] for line in listed(result)] == ["2026-03-28 04:00"]
    assert any(note.kind == "opinion" and note.author == "T-11" for note in result.notes)
    wrong = {**right, "tells": "wrong from that time", "at": "2026-03-20 10:00", "what": "step in the trace"}
    step = {"time": "step", "level": "offset", "why": "the trace jumps"}
    result = run(sheet(evidence=[wrong], model=step), slice_=month({}))
    assert result.facts["doubt.step_at"] == "2026-03-20T10:00-05:00"
    assert result.facts["doubt.from"] == "2026-03-01T08:00-06:00"  # that it was wrong shows nothing of before


def test_a_plant_may_count_from_the_first_failed_test() -> None:
    period = {"basis": "first failed test", "since": "2026-03-01 08:00", "until": "2026-03-31 09:10"}
    slice_ = month({"2026-03-28 04:00": "0.295"}, every=15, usual="0.295")
    result = run(sheet(period=period, model=WORST, used=[CFE]), slice_=slice_)
    assert result.facts["doubt.from"] == "2026-03-31T08:00-05:00"
    assert len(listed(result)) == 2  # 08:45, 09:00; up to 08:40 it saw the standard of the failed check


def test_without_a_last_good_check_the_period_is_open_at_its_beginning() -> None:
    raw = sheet(last_good={"not_done": "the book begins in March"})
    result = run(raw, failed())
    assert "No last good check is known (the book begins in March)" in notes(result, "caution")
    assert "supposes that it was right then, which nobody checked" in notes(result, "caution")
    assert "doubt.last_good" not in result.facts


# ---------------------------------------------------------------- the recorded values


def test_without_an_export_nothing_is_listed_and_the_reason_is_said() -> None:
    result = run(sheet(used=[CFE]))
    for key in ("as_recorded.1", "corrected.1"):
        assert judged(result, key) == (
            "no export with the recorded values is named, so they are not listed", "not evaluated"
        )  # fmt: skip
    assert result.charts == ()


def test_an_export_in_another_unit_is_not_taken() -> None:
    slice_ = month({})
    use = replace(given({**sheet(), "trend": "march.csv"}, slice_=slice_).trends[0], unit="FNU")
    result = run(sheet(used=[CFE]), slice_=slice_, trends=(use,))
    assert judged(result, "corrected.1")[0] == "the export is in FNU and the analyzer in NTU"


def test_an_export_of_another_time_has_no_value_that_counts() -> None:
    result = run(sheet(used=[CFE]), slice_=rows([("2026-03-31 11:00", "0.1"), ("2026-03-31 11:15", "0.1")]))
    assert judged(result, "corrected.1")[0] == "the export holds no value of the time that counts"


def test_what_was_recorded_while_the_output_was_held_does_not_count() -> None:
    held = Window("output held", iso("2026-03-10 03:30"), iso("2026-03-10 04:30"))
    grab = cited("L1-2026-0110", "2026-03-10 03:00", windows=(held,), procedure="grab_comparison")
    slice_ = month({"2026-03-10 04:00": "9.9"})
    result = run(sheet(model=WORST, used=[{"what": "never above"}]), failed(), good(), grab, slice_=slice_)
    assert judged(result, "as_recorded.1") == ("0.1", "pass")
    assert "1 left out, output held" in notes(result)
    voided = replace(grab, ended="voided")
    result = run(sheet(model=WORST, used=[{"what": "never above"}]), failed(), good(), voided, slice_=slice_)
    assert judged(result, "as_recorded.1") == ("9.9", "fail")
    # the moment of the release shows the process again
    freed = replace(grab, windows=(replace(held, end=iso("2026-03-10 04:00")),))
    result = run(sheet(model=WORST, used=[{"what": "never above"}]), failed(), good(), freed, slice_=slice_)
    assert judged(result, "as_recorded.1") == ("9.9", "fail")
    bare = replace(grab, windows=(Window("visit", held.start, held.end),))
    result = run(sheet(model=WORST, used=[{"what": "never above"}]), failed(), good(), bare, slice_=slice_)
    assert judged(result, "as_recorded.1") == ("9.9", "fail")
    assert "Record L1-2026-0110 (2026-03-10 03:00) holds no time of a held output" in notes(result, "caution")


def test_an_export_that_does_not_cover_the_period_says_where_it_ends() -> None:
    slice_ = rows((f"2026-03-{day:02d} 12:00", "0.1") for day in range(10, 21))
    text = notes(run(sheet(), slice_=slice_), "caution")
    assert "The export begins at 2026-03-10 12:00" in text
    assert "The export ends at 2026-03-20 12:00" in text


def test_the_recorded_values_stay_as_they_are() -> None:
    slice_ = month({"2026-03-28 04:00": "0.295"})
    result = run(sheet(used=[CFE]), slice_=slice_)
    (line,) = listed(result)
    assert line.startswith("2026-03-28 04:00, recorded 0.295 -> 0.32")
    recorded, now = result.charts[0].series
    assert ("2026-03-28T04:00-05:00", "0.29500", "") in recorded.points
    assert ("2026-03-28T04:00-05:00", "0.29500", "") not in now.points


def test_more_values_than_a_page_holds_are_told_day_by_day() -> None:
    result = run(sheet(model=WORST, used=[CFE]), slice_=month({}, every=60, usual="0.290"))
    lines = listed(result)
    assert len(lines) == 31
    assert lines[5].startswith(
        "2026-03-06, 24 values from 00:00 to 23:00, recorded 0.290 to 0.290 -> 0.32000"
    )
    assert "one line for each day as they are more than 120" in notes(result)


def test_the_return_offered_is_that_of_the_check_and_not_of_the_record_of_the_outage() -> None:
    out = failed(status="out of service")
    kept = cited(
        "L1-2026-0131", "2026-03-31 08:41", ended_at="2026-04-01 12:00",
        procedure="monitor_outage", facts={**FACTS, "verifies": "no"},
    )  # fmt: skip
    back = cited("L1-2026-0132", "2026-04-01 10:00", ended_at="2026-04-01 11:00")
    found = PROCEDURE.beside["until"](sheet(), "period.until", given(sheet(), out, good(), kept, back))
    assert found.offers == ("2026-04-01 11:00",)
    assert "L1-2026-0132" in found.lines[0]


# ---------------------------------------------------------------- what is refused


def refused(raw: dict[str, Any], *records: Any, **more: Any) -> str:
    with pytest.raises((CorrectTheEntry, ChooseAnother)) as caught:
        PROCEDURE.compute(parse(PROCEDURE, raw), given(raw, *records, **more), {})
    return caught.value.message


def period(**more: str) -> dict[str, str]:
    return {"basis": "last good check", "since": "2026-03-01 08:00", "until": "2026-03-31 08:30", **more}


EVIDENCE = {"what": "grab", "tells": "right at that time", "why": "it agreed", "author": "T-11"}
ACCEPT = {"decision": "accept as is", "why": "small", "decided_by": "S-02"}


@pytest.mark.parametrize(
    ("more", "records", "said"),
    [
        ({"serial_on_plate": "X-1"}, (), f"in doubt is X-1, that of record {FAILED} is {SERIAL}"),
        ({}, (failed(tag="AIT-2201"), good()), "is of AIT-2201, and the sheet is of AIT-2202"),
        ({}, (failed(ended="voided"), good()), "is voided; name the record that stands"),
        (
            {},
            (failed(check("S-05", "0.3", "0.01")), good()),
            "did not fail as found (as_found at the analyzer: pass)",
        ),
        ({}, (failed(), good(serial="EL-1")), "another instrument, serial EL-1"),
        ({}, (failed(),), f"last_good.record names record '{GOOD}', which is not at hand"),
        ({"period": period(since="2026-03-01 07:00")}, (), "is 2026-03-01 07:00, before the last good check"),
        ({"period": period(since="2026-03-31 08:00")}, (), "not before the failed check"),
        ({"period": period(since="2026-03-01 08:01")}, (), "no evidence narrows the period; begin it there"),
        ({"period": period(until="2026-03-31 07:59")}, (), "is 2026-03-31 07:59, before the failed check"),
        (
            {"evidence": [{**EVIDENCE, "at": "2026-03-01 07:59"}]},
            (),
            "outside the time from 2026-03-01 08:00",
        ),
        (
            {"evidence": [{**EVIDENCE, "at": "2026-03-31 08:01"}]},
            (),
            "outside the time from 2026-03-01 08:00",
        ),
        (
            {"errors": [{"check": "S-06"}]},
            (),
            "has no error called 'S-06' as found at the analyzer in NTU (it has S-05)",
        ),
        ({"used": [{"what": "alarm"}]}, (), "The alarm of use 1 has no limit"),
        (
            {"used": [CFE, {"what": "lowest of the day", "limit": "0.2"}]},
            (),
            "Use 2 is 'lowest of the day', and AIT-2202 measures turbidity, where high values matter",
        ),
        ({"used": [{"what": "too low for 4 h"}]}, (), "name another one (never above, two in a row, alarm"),
        (
            {"used": [{**CFE, "direction": "below"}]},
            (),
            "it counts above a limit, and the sheet says below",
        ),
        ({"decided": [ACCEPT, {**ACCEPT, "decision": "correct"}]}, (), "cover the same time"),
        (
            {"decided": [{**ACCEPT, "since": "2026-03-05 08:00", "until": "2026-03-05 08:00"}]},
            (),
            "not after its own beginning",
        ),
    ],
)
def test_what_cannot_be_taken_is_refused_with_the_way_on(
    more: dict[str, Any], records: tuple[Any, ...], said: str
) -> None:
    assert said in refused(sheet(**more), *records)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"model": {**WORST, "time": "step"}}, "model.time is step, and nothing says when it came"),
        ({"model": {**WORST, "step_at": "2026-03-10 04:00"}}, "model.time is no step"),
        ({"errors": [{"level": "0.3"}]}, "takes a level, the error as found and its source"),
        ({"errors": [{"check": "S-05", "level": "0.3"}]}, "keep one"),
        ({"used": [{"what": "limit", "limit": "0.3"}]}, "whether it counts above or below"),
        ({"used": [{"what": "two in a row after 4 h"}]}, "belong together"),
        ({"used": [{**CFE, "on_line": "2026-03-10 03:30"}]}, "belong together"),
        ({"decided": [{**ACCEPT, "decision": "notify"}]}, "informed holds nobody"),
    ],
)
def test_what_contradicts_itself_is_not_taken(more: dict[str, Any], said: str) -> None:
    with pytest.raises(CorrectTheEntry, match="the field sheet") as caught:
        parse(PROCEDURE, sheet(**more))
    assert said in caught.value.message


@pytest.mark.parametrize(
    ("at", "early"), [("2026-03-31 07:59", True), ("2026-03-31 08:00", False), ("2026-03-31 08:01", False)]
)
def test_who_was_informed_before_the_failed_check_is_said(at: str, early: bool) -> None:
    raw = sheet(informed=[{"who": "the State", "how": "phone", "at": at}])
    said = notes(run(raw), "caution")
    assert ("the State was informed at 2026-03-31 07:59, before the failed check" in said) is early


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('time = "linear"', 'time = "step"', "nothing says when it came"),
        ('level = "gain"', 'level = "gain"\nstep_at = "2026-03-10 04:00"', "is no step but linear; delete"),
        ('decision = "correct"', 'decision =  "notify"', "informed holds nobody"),
    ],
)
def test_what_contradicts_itself_names_its_line(old: str, new: str, said: str) -> None:
    text = (shipped_folder("demo_runs") / "values_in_doubt" / "visit.toml").read_text("utf-8")
    text = text[: text.index("[[informed]]")] + text[text.index("[prevention]") :]
    text = text.replace('decision = "notify"', 'decision = "qualify"').replace(old, new, 1)
    document = Document(Path("doubt.toml"), text, tomllib.loads(text))
    with pytest.raises(CorrectTheEntry) as caught:
        parse(PROCEDURE, document.data, document)
    at = text.splitlines().index(new.split("\n")[-1]) + 1
    assert caught.value.message.startswith(f"doubt.toml, line {at}: ")
    assert said in caught.value.message


def test_a_good_check_that_is_passed_over_counts_only_with_a_reason() -> None:
    other = good(check("S-20", "20.00", "0.00"))
    text = refused(sheet(), failed(), other)
    assert "its level was 20.00 NTU, the failed one 0.330 NTU: not near" in text
    assert "Or say why it counts all the same" in text
    despite = {"record": GOOD, "despite": "the optics are linear, shown at commissioning"}
    result = run(sheet(last_good=despite), failed(), other)
    assert "counts in spite of this" in notes(result, "caution")
    later = replace(good(), performed=failed().performed)
    assert "say why it counts" not in refused(sheet(last_good=despite), failed(), later)


# ---------------------------------------------------------------- what follows


def test_other_analyzers_checked_with_the_same_standard_are_listed() -> None:
    same = cited("L1-2026-0111", "2026-03-12 09:00", tag="AIT-2201")
    before = cited("L1-2026-0099", "2026-02-20 09:00", tag="AIT-2210")
    other = cited("L1-2026-0112", "2026-03-12 10:00", tag="AIT-2101", standards=("B7-4471",))
    result = run(sheet(others="looked at, both were clean"), failed(), good(), same, before, other)
    text = notes(result)
    assert "AIT-2201 was checked with S-05 too since the last good check: L1-2026-0111." in text
    assert "AIT-2210" not in text
    assert "AIT-2101" not in text
    assert "Done about other analyzers: looked at, both were clean." in text
    assert "No other analyzer was checked with S-05" in notes(run(sheet()))


def test_each_part_of_the_period_has_its_own_consequence() -> None:
    parts = [
        {**ACCEPT, "until": "2026-03-15 08:00"},
        {**ACCEPT, "decision": "correct", "since": "2026-03-15 08:00", "report": "March report, table 2"},
        {**ACCEPT, "decision": "notify"},
    ]
    informed = [{"who": "the State", "how": "phone", "at": "2026-03-31 11:00", "of": "two values"}]
    prevention = {"what": "wiped weekly", "shown_by": "as found within half the tolerance"}
    raw = sheet(decided=parts, informed=informed, prevention=prevention)
    result = run(raw, slice_=month({}))
    text = notes(result)
    assert "From 2026-03-01 08:00 to 2026-03-15 08:00: accept as is, because small." in text
    assert "Report corrected: March report, table 2." in text
    assert "the State was informed by phone on 2026-03-31 11:00: two values." in text
    assert "It will be seen by: as found within half the tolerance." in text
    assert [one.what for one in decided(result.facts)] == ["accept as is", "correct"]
    assert result.facts["answers"] == FAILED
    assert result.facts["verifies"] == "no"
    said = "Values from 2026-03-01 08:00 to 2026-03-31 08:30 are in doubt."
    assert result.facts["told.as_recorded"] == f"Record {FAILED} found it out of tolerance. {said}"
    assert result.facts["told.corrected"] == "Decided: accept as is, correct, notify."


def test_nothing_decided_and_nobody_informed_is_said() -> None:
    result = run(sheet(used=[CFE]), slice_=month({"2026-03-28 04:00": "0.295"}))
    assert "Nothing is decided yet about the values in doubt." in notes(result, "caution")
    assert result.facts["told.corrected"] == (
        "Without the error 1 value decides otherwise. Nothing is decided yet."
    )
    assert "Decisions change, and nobody is entered as informed." in notes(result, "caution")


@pytest.mark.parametrize("level", ["offset", "gain"])
@pytest.mark.parametrize("when", ["linear", "worst case", "step"])
def test_another_procedure_recomputes_the_same_values_from_the_facts(when: str, level: str) -> None:
    wrong = failed(
        check("S-05", "0.560", "0.061", expanded="0.01"),
        check("S-05", "0.520", "0.021", "after_cleaning", allowed="0.05"),
    )
    model = {"time": when, "level": level, "why": "to try"}
    model |= {"step_at": "2026-03-12 09:10"} if when == "step" else {}
    raw = sheet(
        model=model,
        used=[{"what": "limit", "limit": "0.30", "direction": "above"}],
        decided=[{**ACCEPT, "decision": "correct"}],
    )
    values = {f"2026-03-{day:02d} 05:00": f"0.3{day:02d}" for day in range(2, 31)}
    result = run(raw, wrong, good(check("S-05", "0.505", "0.005")), slice_=month(values, every=60))
    rows_ = [value for value in result.values if value.stage == "decides_otherwise"]
    at = np.array([int(value.key.rpartition(".")[2]) for value in rows_])
    was = np.array([float(value.label.rpartition(" ")[2]) for value in rows_])
    assert len(rows_) > 3
    assert corrected(at, was, result.facts).tolist() == [float(value.quantity.text) for value in rows_]


# ---------------------------------------------------------------- the first sheet


def on_the_first_sheet(result: Result) -> list[tuple[str, ...]]:
    """The lines of the table that puts each decision beside what it is without the error."""
    record = replace(example(), result=result)
    (table,) = [one for one in first_sheet(record) if isinstance(one, Table) and one.title == TITLE]
    return [row.cells for row in table.rows]


def test_the_first_sheet_says_of_each_decision_what_was_reported_and_what_it_is_alarms_last() -> None:
    wrong = failed(check("S-05", "1.100", "0.060", expanded="0.010"))
    right = good(check("S-05", "1.040", "0.000"))
    values = {"2026-03-10 04:00": "1.050", "2026-03-10 04:15": "1.040", "2026-03-12 04:00": "1.065"}
    alarm_ = {"what": "alarm", "limit": "0.30", "direction": "above"}
    uses = [alarm_, {"what": "never above"}, {"what": "two in a row"}, WHOLE_MONTH]
    result = run(sheet(model=WORST, used=uses), wrong, right, slice_=month(values, every=15))
    assert on_the_first_sheet(result) == [
        ("Values not above 0.3 NTU", "99.895652 %: pass", "99.895652 %: pass", "no"),
        ("Two recordings in a row above 1.0 NTU, 15 min apart", "1 pairs: fail", "0 pairs: pass", "yes"),
        ("Highest value, never above 1 NTU", "1.065 NTU: fail", "1.005 NTU: too close to decide", "not sure"),
        ("Alarm above 0.30 NTU", "1.065 NTU: fail", "1.005 NTU: fail", "no"),
    ]


def test_two_decisions_of_one_name_stand_beside_their_own() -> None:
    values = {"2026-03-10 04:00": "1.050", "2026-03-20 04:15": "1.060"}
    early, late = {"counted_to": "2026-03-15 00:00"}, {"counted_from": "2026-03-15 00:00"}
    hours = {**CFE, "each": "one every 4 h"}
    uses = [{"what": "never above", **early}, {"what": "never above", **late}, CFE, hours]
    result = run(sheet(model=TAKEN_AS_NONE, used=uses), failed(), good(), slice_=month(values, every=15))
    lines = on_the_first_sheet(result)
    assert [line[1].partition(":")[0] for line in lines[2:]] == ["1.05 NTU", "1.06 NTU"]
    assert [line[0] for line in lines[:2]] == [
        "Values not above 0.3 NTU",
        "Values not above 0.3 NTU, one every 4 h",
    ]


def test_a_decision_that_cannot_be_corrected_is_not_known_on_the_first_sheet() -> None:
    result = run(sheet(used=[CFE]))
    assert on_the_first_sheet(result) == [
        ("Values not above 0.3 NTU", "not evaluated", "not evaluated", "not known")
    ]


# ---------------------------------------------------------------- the demo, the speed


def test_the_demo_run_finds_a_pair_that_is_none() -> None:
    """A regression of this project: the film of the demo month."""
    result = compute(case_from(demo_case("values_in_doubt")))
    assert judged(result, "as_recorded.1") == ("1", "fail")
    assert judged(result, "corrected.1") == ("0", "pass")
    assert judged(result, "corrected.3") == ("0.970", "fail")
    assert len(listed(result)) == 3


def test_a_month_of_quarter_hours_is_computed_well_within_a_third_of_a_second() -> None:
    values = {f"2026-03-{day:02d} {hour:02d}:00": "0.295" for day in range(2, 31) for hour in range(24)}
    slice_ = month(values, every=15)
    raw = sheet(used=[CFE, {"what": "two in a row"}, {"what": "never above"}], model=WORST)
    run(raw, slice_=slice_)
    begun = time.process_time()  # of this process alone: others may be at work on the machine
    result: Result = run(raw, slice_=slice_)
    assert time.process_time() - begun < 0.3
    assert len(result.charts[0].series[0].points) <= 480


def test_only_evidence_lets_a_period_begin_after_the_last_good_check() -> None:
    known = [{**EVIDENCE, "at": "2026-03-05 09:00"}]
    later = period(since="2026-03-05 08:00")
    assert "In doubt from 2026-03-05 0" in " ".join(
        one.text for one in run(sheet(period=later, evidence=known)).notes
    )
    assert "no evidence narrows the period" in refused(sheet(period=later))


def test_a_doubt_answers_what_opened_it_once_the_whole_period_is_decided() -> None:
    first, second = "2026-03-10 08:00", "2026-03-12 08:00"
    for typed, answers in (
        ([], ""),
        ([{**ACCEPT, "until": first}], ""),
        ([{**ACCEPT, "until": first}, {**ACCEPT, "decision": "correct", "since": second}], ""),
        ([{**ACCEPT, "until": first}, {**ACCEPT, "decision": "correct", "since": first}], FAILED),
        ([ACCEPT], FAILED),
    ):
        assert run(sheet(decided=typed)).facts["answers"] == answers
