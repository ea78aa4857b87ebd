"""Outage of a monitor: four tests around each figure, refusals, clocks that run, a sheet open for days.

Outside values: W14 and W16 of the project's worked values; 40 CFR 141.72(a)(3) and (b)(2), 141.74(a)(2) and
(c)(2), 141.75(b)(3), 141.174(b), 141.403(b)(3)(i)(A), 141.561, as the project's practice notes hold them. The
calendar itself is tried against numpy and pandas in test_outage.py.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from one_procedure import Of, told, value
from plant_example import MONTH
from step_driver import act_to, step_to

from wqverify.demo.ellodale import make_plant
from wqverify.demo.outage_visits import outage_visits
from wqverify.demo.sheet import numbered
from wqverify.desk import Desk, open_desk
from wqverify.entry.screen import Act
from wqverify.errors import ChooseAnother
from wqverify.lists.today import today
from wqverify.plant.folder import open_plant
from wqverify.procedures import PROCEDURES
from wqverify.procedures.consequences import opened_by
from wqverify.procedures.sheets import parse
from wqverify.procedures.walk import answered
from wqverify.records.canonical import given_from
from wqverify.records.record import case_from, compute, draft
from wqverify.records.workbook import demo_case
from wqverify.shipped import shipped_folder
from wqverify.show.handover import handover
from wqverify.terms import (
    Analyzer,
    Check,
    Cited,
    Earlier,
    Given,
    Outcome,
    Quantity,
    Result,
    RunningClock,
    Standard,
    Tolerance,
    Window,
)

OUTAGE = PROCEDURES["monitor_outage"]
DEMO = shipped_folder("demo_runs") / "monitor_outage"
GIVEN: Given = given_from(json.loads((DEMO / "given.json").read_text("utf-8")))
PASS, FAIL, NOT = Outcome.PASS, Outcome.FAIL, Outcome.NOT_EVALUATED
STANDARDS = {
    "P-2": Standard("P-2", "photometer", "photometer", "2", "mg/L", calibration_due="2026-12-31"),
    "P-9": Standard("P-9", "photometer", "photometer", "9", "mg/L", calibration_due="2026-05-13"),
    "P-0": Standard("P-0", "photometer", "photometer", "0", "mg/L"),
}
SETTINGS = {"outage_working_days": "5", "approved_protocol": "1"}


def analyzer(kind: str = "chlorine", **settings: str | None) -> Analyzer:
    unit = {"chlorine": "mg/L", "turbidity": "NTU", "pH": "pH"}[kind]
    known = {name: text for name, text in {**SETTINGS, **settings}.items() if text is not None}
    return replace(
        GIVEN.analyzer, measures=kind, species="", unit=unit, high=Decimal(100), settings=known, tolerances={}
    )


OF = Of(OUTAGE, GIVEN, analyzer, STANDARDS, "grabs")
TAG, SERIAL = GIVEN.analyzer.tag, GIVEN.analyzer.serial


def check(outcome: Outcome, stage: str = "as_left", **more: Any) -> Check:
    quantity = Quantity("0.02", "mg/L", 0.02)
    reason = "why" if outcome is NOT else ""
    return Check(f"{stage}.error", stage, "Error", outcome, quantity=quantity, reason=reason, **more)


def cited(
    number: str = "L1-2026-0048", *checks: Check, until: str = "2026-05-14T08:40-04:00", **more: Any
) -> Cited:
    plain: dict[str, Any] = {
        "tag": TAG,
        "serial": SERIAL,
        "procedure": "chlorine_check",
        "performed": "2026-05-14T08:05-04:00",
        "digest": "ab" * 32,
        "windows": (Window("visit", "2026-05-14T08:05-04:00", until),),
        "checks": checks or (check(PASS),),
        "status": "in service",
    }
    return Cited(number, **{**plain, **more})


def records(*of: Cited) -> dict[str, Cited]:
    return {one.number: one for one in of or (cited(),)}


def grab(at: str, result: str = "1.00 mg/L", **more: str) -> dict[str, str]:
    return {"collected": at, "instrument": "P-2", "result": result, **more}


def grabs(*times: str, unit: str = "mg/L") -> list[dict[str, str]]:
    return [grab(at, f"1.00 {unit}") for at in times]


def notice(about: str, at: str) -> dict[str, str]:
    return {"about": about, "who": "M. Aldous, State office", "how": "phone", "at": at}


def visit(**changes: Any) -> dict[str, Any]:
    """An outage from Wednesday 2026-05-13 20:00 to Thursday 09:00, every 4 h a grab."""
    plain: dict[str, Any] = {
        "procedure": "monitor_outage",
        "tag": TAG,
        "serial_on_plate": SERIAL,
        "reason": "call-out",
        "performed_by": "IQU",
        "date": "2026-05-13",
        "started": "20:10",
        "cautions": {"read": "yes"},
        "operations_told": {"who": "W. Abernathy"},
        "failed": {"at": "20:00", "known_by": "it stood still"},
        "grab": grabs("20:30", "2026-05-14 00:20", "2026-05-14 04:15", "2026-05-14 08:10"),
        "returned": {"record": "L1-2026-0048", "at": "2026-05-14 09:00"},
        "status": {"state": "in service"},
    }
    return {name: part for name, part in {**plain, **changes}.items() if part is not None}


def run(raw: dict[str, Any], a: Analyzer | None = None, **more: Any) -> Result:
    more.setdefault("records", records())
    return OF.run(raw, OF.given_for(raw, a, **more))


def refused(raw: dict[str, Any], a: Analyzer | None = None, **more: Any) -> str:
    more.setdefault("records", records())
    return OF.refused(raw, OF.given_for(raw, a, **more))


def outcome(result: Result, key: str) -> tuple[Outcome, str]:
    found = OF.check(result, key)
    return found.outcome, found.quantity.text if found.quantity else ""


def keys(result: Result) -> list[str]:
    return [one.key for one in result.checks]


def days(failed: str, back: str, **more: Any) -> dict[str, Any]:
    """An outage between two days, of which only the days matter."""
    return visit(
        date=failed,
        started="20:10",
        returned={"record": "L1-2026-0048", "at": f"{back} 09:00"},
        grab=grabs("20:30"),
        **more,
    )


def late(back: str) -> dict[str, Cited]:
    """A check that ended before the return of a day."""
    at = f"{back}T08:40-04:00"
    return records(cited(until=at, performed=f"{back}T08:05-04:00"))


# ---------------------------------------------------------------- a grab every four hours


@pytest.mark.parametrize(
    ("first", "found"),
    [
        ("23:59", (PASS, "239")),
        ("2026-05-14 00:00", (PASS, "240")),  # exactly four hours are in time, over midnight too
        ("2026-05-14 00:01", (FAIL, "241")),
    ],
)
def test_the_first_grab_is_due_four_hours_after_the_failure(first: str, found: tuple[Outcome, str]) -> None:
    back = {"record": "L1-2026-0048", "at": "2026-05-14 03:30"}
    known = records(cited(until="2026-05-14T03:20-04:00", performed="2026-05-14T03:00-04:00"))
    result = run(visit(grab=grabs(first), returned=back), records=known)
    assert outcome(result, "grabs") == found


@pytest.mark.parametrize(
    ("back", "found"),
    [("12:09", (PASS, "239")), ("12:10", (PASS, "240")), ("12:11", (FAIL, "241"))],
)
def test_the_last_grab_lies_at_most_four_hours_before_the_return(back: str, found: Any) -> None:
    raw = visit(returned={"record": "L1-2026-0048", "at": f"2026-05-14 {back}"})
    assert outcome(run(raw), "grabs") == found


def test_without_a_grab_the_whole_outage_counts() -> None:
    result = run(visit(grab=None))
    assert outcome(result, "grabs") == (FAIL, "780")
    assert "No grab from 2026-05-13 20:00 to 2026-05-14 09:00: 13 h, 9 h too long." in told(result, "caution")


@pytest.mark.parametrize(
    ("date", "failed", "first", "found"),
    [
        ("2026-03-08", "01:40", "06:40", (PASS, "240")),  # the clock was put forward at 02:00
        ("2026-03-08", "01:40", "06:41", (FAIL, "241")),
        ("2026-11-01", "01:30 -04:00", "04:30", (PASS, "240")),  # 01:30 was there twice
        ("2026-11-01", "01:30 -04:00", "04:31", (FAIL, "241")),
        ("2026-12-31", "22:00", "2027-01-01 02:00", (PASS, "240")),
        ("2026-12-31", "22:00", "2027-01-01 02:01", (FAIL, "241")),
    ],
)
def test_four_hours_are_elapsed_hours(date: str, failed: str, first: str, found: Any) -> None:
    raw = visit(
        date=date,
        started=failed,
        failed={"at": failed, "known_by": "it stood still"},
        grab=grabs(first),
        returned={"not_done": "no spare cell"},
        status={"state": "out of service"},
    )
    assert outcome(run(raw), "grabs") == found


@pytest.mark.parametrize(("since", "found"), [("2026-05-14 00:21", "239"), ("2026-05-14 00:23", "241")])
def test_a_standstill_is_taken_out_of_the_time_between_grabs(since: str, found: str) -> None:
    taken = grabs("20:30", "2026-05-14 00:20", "2026-05-14 08:10")
    still = [{"since": since, "until": "2026-05-14 04:12", "because": "filter off line"}]
    result = run(visit(grab=taken, standstill=still))
    assert outcome(result, "grabs") == (PASS if found == "239" else FAIL, found)
    raw = visit(grab=taken)
    assert outcome(run(raw), "grabs") == (FAIL, "470")


def test_the_register_may_ask_for_grabs_more_often() -> None:
    tolerance = Tolerance("min", "simple", "State protocol", "State office, letter 12", high=Decimal(120))
    a = replace(analyzer(), tolerances={"outage_grab": tolerance})
    found = OF.check(run(visit(), a), "grabs")
    assert (found.outcome, found.high) == (FAIL, "120")
    assert found.tolerance is tolerance


@pytest.mark.parametrize(
    ("kind", "settings", "source"),
    [
        ("chlorine", {}, "40 CFR 141.74(c)(2), grab every 4 h"),
        ("turbidity", {}, "40 CFR 141.174(b), grab every 4 h"),
        ("turbidity", {"outage_working_days": None, "outage_days": "14"}, "40 CFR 141.561, grab every 4 h"),
        (
            "chlorine",
            {"outage_working_days": None, "outage_days": "14"},
            "40 CFR 141.403(b)(3)(i)(A), grab every 4 h",
        ),
        ("turbidity", {"outage_working_days": None}, "40 CFR 141.174(b) and 40 CFR 141.561, grab every 4 h"),
        ("pH", {}, "every 4 h, common practice, no source"),
    ],
)
def test_the_four_hours_have_the_source_of_the_setting(kind: str, settings: Any, source: str) -> None:
    a = analyzer(kind, **settings)
    found = OF.check(run(visit(grab=grabs("20:30", unit=a.unit)), a), "grabs")
    assert found.tolerance is not None
    assert found.tolerance.source == source


# ---------------------------------------------------------------- back within the repair time


@pytest.mark.parametrize(
    ("failed", "back", "found"),
    [
        ("2026-05-13", "2026-05-19", (PASS, "6")),
        ("2026-05-13", "2026-05-20", (PASS, "7")),  # the fifth working day
        ("2026-05-13", "2026-05-21", (FAIL, "8")),
        ("2026-05-15", "2026-05-22", (PASS, "7")),
        ("2026-05-15", "2026-05-23", (FAIL, "8")),  # Saturday after the fifth working day
        ("2026-05-16", "2026-05-22", (PASS, "6")),  # failed on a Saturday
        ("2026-05-18", "2026-05-26", (PASS, "8")),  # Monday the 25th is a holiday
        ("2026-05-18", "2026-05-27", (FAIL, "9")),
    ],
)
def test_five_working_days_end_with_the_fifth(failed: str, back: str, found: Any) -> None:
    assert outcome(run(days(failed, back), records=late(back)), "back") == found


@pytest.mark.parametrize(
    ("failed", "back", "found"),
    [
        ("2026-05-13", "2026-05-26", (PASS, "13")),
        ("2026-05-13", "2026-05-27", (PASS, "14")),
        ("2026-05-13", "2026-05-28", (FAIL, "15")),
        ("2026-12-24", "2027-01-07", (PASS, "14")),
        ("2026-12-24", "2027-01-08", (FAIL, "15")),
    ],
)
def test_fourteen_days_are_days_of_the_calendar(failed: str, back: str, found: Any) -> None:
    a = analyzer(outage_working_days=None, outage_days="14")
    assert outcome(run(days(failed, back), a, records=late(back)), "back") == found


def test_the_last_day_is_worked_out_with_a_calendar_on_the_page() -> None:
    result = run(days("2026-05-18", "2026-05-26"), records=late("2026-05-26"))
    by_hand = next(one for one in result.workings if one.label == "Last permitted day")
    assert by_hand.put_in == (
        "from Mon 2026-05-18: Tue 19 (1), Wed 20 (2), Thu 21 (3), Fri 22 (4), Tue 26 (5); holiday 2026-05-25"
    )
    assert by_hand.answer == "Tuesday 2026-05-26"
    assert by_hand.source == "40 CFR 141.74(c)(2), surface water"


@pytest.mark.parametrize(
    ("kind", "settings", "source", "basis"),
    [
        ("turbidity", {}, "40 CFR 141.174(b), 10 000 people and more, 5 working days", "rule"),
        ("turbidity", {"outage_working_days": "3"}, "the plant's register, 3 working days", "local"),
        (
            "turbidity",
            {"outage_working_days": None, "outage_days": "14"},
            "40 CFR 141.561, fewer than 10 000 people, 14 days",
            "rule",
        ),
        (
            "chlorine",
            {"outage_working_days": None, "outage_days": "14"},
            "40 CFR 141.403(b)(3)(i)(A), ground water, more than 3 300 people, 14 days",
            "rule",
        ),
        ("pH", {}, "the plant's register, 5 working days", "local"),
    ],
)
def test_a_repair_time_has_its_source(kind: str, settings: Any, source: str, basis: str) -> None:
    a = analyzer(kind, **settings)
    found = OF.check(run(visit(grab=grabs("20:30", unit=a.unit)), a), "back")
    assert found.tolerance is not None
    assert (found.tolerance.source, found.tolerance.basis) == (source, basis)


def test_without_a_repair_time_it_says_which_setting_to_enter() -> None:
    found = OF.check(run(visit(), analyzer(outage_working_days=None)), "back")
    assert found.outcome is NOT
    assert found.reason == (
        f'the register does not say within how many days {TAG} must be back: enter the setting "outage '
        "working "
        'days" or "outage days", with underscores, for it (5 working days by 40 CFR 141.74(c)(2), 14 days by '
        "141.403(b)(3)(i)(A); the State may ask for less)"
    )


def test_two_repair_times_are_refused() -> None:
    text = refused(visit(), analyzer(outage_days="14"))
    assert text.startswith(
        f"{TAG} has both outage_working_days and outage_days in analyzers.toml, and one repair time holds: "
        "keep "
    )


OUT: dict[str, Any] = {
    "returned": {"not_done": "the cell is ordered"},
    "status": {"state": "out of service"},
}


@pytest.mark.parametrize(
    ("last", "found", "reason"),
    [
        ("2026-05-20 22:00", NOT, "it was not back at 2026-05-20 22:00: the cell is ordered"),
        ("2026-05-21 00:05", FAIL, ""),
    ],
)
def test_while_it_is_out_nothing_is_decided_until_the_last_day_is_over(
    last: str, found: Outcome, reason: str
) -> None:
    result = run(visit(**OUT, grab=grabs("20:30", last)))
    assert OF.check(result, "back").outcome is found
    assert OF.check(result, "back").reason == reason
    assert OF.check(result, "returned").reason == "not returned: the cell is ordered"
    assert "outage.until" not in result.facts
    assert result.facts["answers"] == ""  # what opened it stays open


# ---------------------------------------------------------------- returned by a check that passed


def test_a_check_that_passed_as_left_returns_it() -> None:
    result = run(visit())
    assert outcome(result, "returned") == (PASS, "0")
    assert result.facts["outage.from"] == "2026-05-13T20:00-04:00"
    assert result.facts["outage.until"] == "2026-05-14T09:00-04:00"


@pytest.mark.parametrize(
    ("known", "found", "reason"),
    [
        (cited("L1-2026-0048", check(FAIL)), FAIL, ""),
        (cited("L1-2026-0048", check(FAIL, "as_found"), check(PASS)), PASS, ""),
        (cited("L1-2026-0048", check(PASS, "as_found")), PASS, ""),  # nothing was changed: as found = as left
        (cited("L1-2026-0048", check(FAIL, "as_found")), FAIL, ""),
        (cited("L1-2026-0048", check(PASS), check(FAIL, counts=False)), PASS, ""),
        (cited("L1-2026-0048", check(NOT), check(FAIL)), FAIL, ""),
        (
            cited("L1-2026-0048", check(Outcome.TOO_CLOSE)),
            NOT,
            "as left of record L1-2026-0048: Error: too close to decide",
        ),
        (cited("L1-2026-0048", check(NOT)), NOT, "as left of record L1-2026-0048: Error: not evaluated"),
        (
            cited("L1-2026-0048", check(PASS, "after_cleaning")),
            NOT,
            "record L1-2026-0048 holds no check as left, nor one as found",
        ),
        (
            cited(facts={"verifies": "no"}),
            NOT,
            "record L1-2026-0048 verifies nothing; name the check of its procedure",
        ),
    ],
)
def test_what_a_returning_check_came_to_decides(known: Cited, found: Outcome, reason: str) -> None:
    one = OF.check(run(visit(), records=records(known)), "returned")
    assert (one.outcome, one.reason) == (found, reason)


@pytest.mark.parametrize(
    ("known", "text"),
    [
        (
            cited(tag="AIT-2101"),
            f"returned.record: record L1-2026-0048 is of AIT-2101, and this sheet is of {TAG}; name the "
            "check "
            f"that returned this one to service.",
        ),
        (
            cited(ended="superseded by L1-2026-0049"),
            "returned.record: record L1-2026-0048 is superseded by L1-2026-0049; name the one that stands in "
            "its "
            "place.",
        ),
        (
            cited(status="out of service"),
            f"returned.record: record L1-2026-0048 left {TAG} out of service; name the check that returned "
            "it, or "
            f'say returned.not_done = "because ..." while it is out.',
        ),
    ],
)
def test_a_check_that_returns_nothing_is_refused(known: Cited, text: str) -> None:
    assert refused(visit(), records=records(known)) == text


@pytest.mark.parametrize("ended", ["2026-05-13T19:59-04:00", "2026-05-13T20:00-04:00"])
def test_a_check_whose_work_ended_before_the_failure_is_refused(ended: str) -> None:
    known = records(cited(until=ended, performed="2026-05-13T19:00-04:00"))
    assert refused(visit(), records=known) == (
        f"returned.record: the work of record L1-2026-0048 ended at 2026-05-13 {ended[11:16]}, and it failed "
        "at "
        f"2026-05-13 20:00; a check before the failure returns nothing to service."
    )


def test_a_check_whose_work_ended_after_the_failure_is_taken() -> None:
    known = records(cited(until="2026-05-13T20:01-04:00", performed="2026-05-13T19:00-04:00"))
    assert outcome(run(visit(), records=known), "returned") == (PASS, "0")


def test_it_is_not_back_before_its_check_began() -> None:
    raw = visit(returned={"record": "L1-2026-0048", "at": "2026-05-14 08:04"}, grab=grabs("20:30"))
    assert refused(raw) == (
        "It was back in service at 2026-05-14 08:04, before the check of record L1-2026-0048 began at "
        "2026-05-14 "
        "08:05; correct the time, or name another check."
    )
    assert OF.check(run(visit(returned={"record": "L1-2026-0048", "at": "2026-05-14 08:05"})), "back")


def test_the_record_that_opened_it_is_answered_and_must_be_of_this_analyzer() -> None:
    failed = {"at": "20:00", "known_by": "it failed", "record": "L1-2026-0041"}
    opening = cited("L1-2026-0041", check(FAIL, "as_found"), status="out of service")
    result = run(visit(failed=failed), records=records(cited(), opening))
    assert result.facts["answers"] == "L1-2026-0041"
    assert "answers" not in run(visit()).facts
    other = replace(opening, tag="AIT-2101")
    assert refused(visit(failed=failed), records=records(cited(), other)) == (
        f"failed.record: record L1-2026-0041 is of AIT-2101, and this sheet is of {TAG}; name a record of "
        "this "
        "analyzer, or leave it out."
    )


def test_another_kind_of_check_and_another_instrument_are_said() -> None:
    failed = {"at": "20:00", "known_by": "it failed", "record": "L1-2026-0041"}
    opening = cited("L1-2026-0041", check(FAIL, "as_found"))
    other = cited(procedure="loop_check", serial="CL-9")
    said = told(run(visit(failed=failed), records=records(other, opening)), "caution")
    assert (
        "It was left out of service by record L1-2026-0041 (chlorine check) and returned by record "
        "L1-2026-0048 "
        "(loop check): another kind of check; say why it is enough." in said
    )
    assert f"Record L1-2026-0048 is of serial CL-9, and this sheet is of {SERIAL}" in said
    assert "another kind of check" not in told(run(visit()), "caution")


# ---------------------------------------------------------------- residual below 0.2 mg/L


def low(restored: str, **more: Any) -> dict[str, Any]:
    """W14: 0.19 mg/L from 02:10 on."""
    taken = [grab("20:30"), grab("2026-05-14 00:20"), grab("2026-05-14 02:10", "0.19 mg/L")]
    return visit(grab=[*taken, grab(f"2026-05-14 {restored}", "0.20 mg/L")], **more)


@pytest.mark.parametrize(
    ("restored", "found"),
    [
        ("06:05", (PASS, "235")),
        ("06:09", (PASS, "239")),
        ("06:10", (PASS, "240")),
        ("06:11", (FAIL, "241")),
        ("06:15", (FAIL, "245")),
    ],
)
def test_a_residual_too_low_for_more_than_four_hours_fails(restored: str, found: Any) -> None:
    """W14: to 06:05 no violation but a notice by the next business day, to 06:15 a violation."""
    result = run(low(restored))
    assert outcome(result, "residual") == found
    assert [key for key in keys(result) if key.startswith(("low", "restored"))] == ["low_1", "restored_1"]


@pytest.mark.parametrize(
    ("result", "is_low"),
    [
        ("0.21 mg/L", False),
        ("0.20 mg/L", False),
        ("0.199 mg/L", True),
        ("<0.05 mg/L", True),
        ("<0.2 mg/L", True),
    ],
)
def test_a_residual_at_the_limit_is_not_below_it(result: str, is_low: bool) -> None:
    found = run(visit(grab=[grab("20:30", result), *grabs("2026-05-14 00:20")]))
    assert ("low_1" in keys(found)) is is_low
    assert outcome(found, "residual") == (PASS, "230" if is_low else "0")


def test_a_result_that_may_lie_on_either_side_decides_nothing() -> None:
    one = OF.check(run(visit(grab=[grab("20:30", "<0.5 mg/L")])), "residual")
    assert (one.outcome, one.reason) == (NOT, "grab 1 is <0.5 mg/L, which may lie on either side of 0.2 mg/L")


def test_without_a_grab_nothing_is_known_of_the_residual() -> None:
    assert OF.check(run(visit(grab=None)), "residual").reason == "no grab is entered"


def test_a_residual_that_was_not_restored_counts_to_the_return_and_the_display_ends_it() -> None:
    taken = [grab("20:30"), grab("2026-05-14 04:30", "0.15 mg/L")]
    result = run(visit(grab=taken))
    assert outcome(result, "residual") == (FAIL, "270")
    by_hand = next(one for one in result.workings if one.label.startswith("Residual below"))
    assert by_hand.put_in.endswith("not restored")
    back = {"record": "L1-2026-0048", "at": "2026-05-14 08:30", "shown": "0.20"}
    assert outcome(run(visit(grab=taken, returned=back)), "residual") == (PASS, "240")


def test_only_an_entry_point_has_a_residual_to_keep() -> None:
    assert "residual" not in keys(run(low("06:15"), analyzer(entry_point="0")))
    assert "residual" not in keys(run(visit(grab=grabs("20:30", unit="NTU")), analyzer("turbidity")))
    one = OF.check(run(low("06:05"), analyzer(residual_limit="0.5")), "residual")
    assert "below 0.5 mg/L" in one.label


GROUND: dict[str, str | None] = {"outage_working_days": None, "outage_days": "14", "residual_limit": "0.4"}


@pytest.mark.parametrize(
    ("restored", "found", "notices"),
    [
        ("06:10", (PASS, "240"), []),
        ("06:11", (FAIL, "241"), ["low_1"]),
    ],
)
def test_ground_water_keeps_the_residual_of_its_state(restored: str, found: Any, notices: list[str]) -> None:
    """The State sets the figure, and is told where it was not restored within four hours."""
    taken = [grab("20:30"), grab("2026-05-14 00:20"), grab("2026-05-14 02:10", "0.39 mg/L")]
    raw = visit(grab=[*taken, grab(f"2026-05-14 {restored}", "0.40 mg/L")])
    result = run(raw, analyzer(**GROUND))
    assert outcome(result, "residual") == found
    assert [key for key in keys(result) if key.startswith(("low", "restored"))] == notices
    sources = {one.tolerance.source for one in result.checks if one.tolerance is not None}
    assert "40 CFR 141.404(c) (from memory), not below it for more than 4 h" in sources
    unset = OF.check(run(raw, analyzer(**{**GROUND, "residual_limit": None})), "residual")
    assert unset.reason.startswith("the register does not say which residual the State set")


# ---------------------------------------------------------------- notices in time


@pytest.mark.parametrize(
    ("told_at", "found"),
    [
        ("2026-05-14 02:10", (PASS, "0")),  # the minute it fell
        ("2026-05-14 06:30", (PASS, "0")),
        ("2026-05-15 23:59", (PASS, "1")),
        ("2026-05-16 00:00", (FAIL, "2")),
    ],
)
def test_the_state_is_told_by_the_end_of_the_next_business_day(told_at: str, found: Any) -> None:
    result = run(low("06:05", notice=[notice("residual too low", told_at)]))
    assert outcome(result, "low_1") == found
    tolerance = OF.check(result, "low_1").tolerance
    assert tolerance is not None
    assert tolerance.source == "40 CFR 141.75(b)(3)(iii)"


@pytest.mark.parametrize(
    ("date", "fell", "due"),
    [
        ("2026-05-15", "21:00", "Monday 2026-05-18"),  # Friday
        ("2026-05-16", "21:00", "Monday 2026-05-18"),  # Saturday
        ("2026-05-22", "21:00", "Tuesday 2026-05-26"),  # Friday before a holiday
        ("2026-05-25", "21:00", "Tuesday 2026-05-26"),  # the holiday
        ("2026-12-31", "21:00", "Friday 2027-01-01"),  # the plant works on New Year's Day
    ],
)
def test_weekends_and_holidays_move_the_day(date: str, fell: str, due: str) -> None:
    raw = visit(date=date, **OUT, grab=[grab(fell, "0.10 mg/L"), grab("23:00", "0.50 mg/L")])
    one = OF.check(run(raw), "low_1")
    assert one.label.endswith(f"at {date} {fell}, by {due}")
    assert one.reason == f"no notice is entered; it is due by {due[-10:]} 23:59"


def test_a_notice_that_is_missing_fails_once_its_day_is_over() -> None:
    taken = [grab("20:30", "0.10 mg/L"), *grabs("23:00", "2026-05-14 23:59")]
    assert OF.check(run(visit(**OUT, grab=taken)), "low_1").outcome is NOT
    taken = [*taken, *grabs("2026-05-15 00:00")]
    assert outcome(run(visit(**OUT, grab=taken)), "low_1") == (FAIL, "2")


def test_a_notice_of_before_or_of_something_else_does_not_count() -> None:
    before = notice("residual too low", "2026-05-14 02:09")
    other = notice("residual restored or not", "2026-05-14 07:00")
    result = run(low("06:05", notice=[before, other]))
    assert OF.check(result, "low_1").outcome is NOT
    assert outcome(result, "restored_1") == (PASS, "0")


def test_each_fall_is_told_and_one_notice_may_tell_of_two() -> None:
    taken = [grab("20:30", "0.1 mg/L"), grab("22:00"), grab("23:00", "0.1 mg/L"), grab("23:40")]
    once = [notice("residual too low", "22:30"), notice("residual too low", "2026-05-14 08:00")]
    result = run(visit(grab=taken, notice=once))
    assert [outcome(result, f"low_{n}") for n in (1, 2)] == [(PASS, "0"), (PASS, "1")]
    result = run(visit(grab=taken, notice=once[1:]))
    assert [outcome(result, f"low_{n}") for n in (1, 2)] == [(PASS, "1"), (PASS, "1")]


NTU = analyzer("turbidity")


@pytest.mark.parametrize(
    ("result", "asked"), [("4.99 NTU", 0), ("5.0 NTU", 0), ("5.01 NTU", 1), ("<9 NTU", 0)]
)
def test_the_state_is_consulted_above_5_ntu(result: str, asked: int) -> None:
    found = run(visit(grab=[grab("20:30", result), grab("23:00", "0.1 NTU")]), NTU)
    assert keys(found).count("consult_1") == asked
    of_a_filter = analyzer("turbidity", combined_effluent="0")
    assert "consult_1" not in keys(run(visit(grab=[grab("20:30", result)]), of_a_filter))
    work = found.facts["told.work"]  # what is open is said where the sheet is signed, and over the radio
    assert ("Consult the State about a turbidity above 5 NTU at 2026-05-13 20:30, by" in work) is bool(asked)


@pytest.mark.parametrize(
    ("told_at", "found"),
    [
        ("2026-05-14 20:44", (PASS, "1439")),
        ("2026-05-14 20:45", (PASS, "1440")),  # 24 h after it was analysed
        ("2026-05-14 20:46", (FAIL, "1441")),
    ],
)
def test_the_consultation_has_24_hours_from_when_it_was_known(told_at: str, found: Any) -> None:
    taken = [grab("20:30", "6 NTU", analysed="20:45"), grab("23:00", "0.1 NTU")]
    result = run(visit(grab=taken, notice=[notice("turbidity too high", told_at)]), NTU)
    assert outcome(result, "consult_1") == found
    missing = OF.check(run(visit(grab=taken), NTU), "consult_1")
    assert (missing.outcome, missing.reason) == (NOT, "no notice is entered; it is due by 2026-05-14 20:45")


def test_other_notices_are_due_where_the_register_asks_for_them() -> None:
    a = analyzer("turbidity", turbidity_notice="1", outage_notice_days="1")
    taken = [grab("20:30", "1.2 NTU"), grab("23:00", "1.0 NTU")]
    told_ = [notice("turbidity too high", "2026-05-14 08:00"), notice("monitor out of service", "21:00")]
    result = run(visit(grab=taken, notice=told_), a)
    assert outcome(result, "turbidity_1") == (PASS, "1")
    assert outcome(result, "outage") == (PASS, "0")
    sources = [one.source for one in result.workings if one.label.startswith("State told")]
    assert sources == ["40 CFR 141.175(c), above 1 NTU", "the plant's register, 1 business days"]
    assert "outage" not in keys(run(visit(grab=taken), NTU))


@pytest.mark.parametrize(
    ("result", "asked"), [("0.99 NTU", 0), ("1.0 NTU", 0), ("1.01 NTU", 1), ("<1.2 NTU", 0)]
)
def test_of_a_combined_effluent_the_state_is_told_above_1_ntu(result: str, asked: int) -> None:
    """40 CFR 141.175(c), without a setting of its own."""
    a = analyzer("turbidity", combined_effluent="1")
    found = run(visit(grab=[grab("20:30", result), grab("23:00", "0.1 NTU")]), a)
    assert keys(found).count("turbidity_1") == asked
    assert (
        keys(run(visit(grab=[grab("20:30", result)]), analyzer("turbidity", combined_effluent="0"))).count(
            "turbidity_1"
        )
        == 0
    )


@pytest.mark.parametrize(
    ("told_at", "found"),
    [
        ("2026-05-14 23:58", (PASS, "1")),
        ("2026-05-14 23:59", (PASS, "1")),
        ("2026-05-15 00:00", (FAIL, "2")),
    ],
)
def test_it_is_told_by_the_end_of_the_next_business_day(told_at: str, found: Any) -> None:
    a = analyzer("turbidity", combined_effluent="1")
    taken = [grab("20:30", "1.2 NTU"), grab("23:00", "0.1 NTU")]
    told_ = run(visit(grab=taken, notice=[notice("turbidity too high", told_at)]), a)
    assert outcome(told_, "turbidity_1") == found
    assert OF.check(run(visit(grab=taken), a), "turbidity_1").outcome is NOT


def test_where_the_register_does_not_say_whose_effluent_it_is_the_notice_is_not_judged_as_missing() -> None:
    taken = [grab("20:30", "1.2 NTU"), grab("2026-05-18 08:00", "0.1 NTU")]
    missing = OF.check(run(visit(grab=taken, returned={"not_done": "out"}), NTU), "turbidity_1")
    assert missing.outcome is NOT
    assert 'enter the setting "combined effluent", with an underscore, 1 or 0' in missing.reason
    assert "where it is of the combined effluent" in missing.label
    said = OF.check(
        run(visit(grab=taken, returned={"not_done": "out"}), analyzer("turbidity", combined_effluent="1")),
        "turbidity_1",
    )
    assert said.outcome is FAIL
    made = [notice("turbidity too high", "2026-05-14 08:00")]
    assert outcome(run(visit(grab=taken, notice=made, returned={"not_done": "out"}), NTU), "turbidity_1") == (
        PASS,
        "1",
    )


def test_grabs_are_drawn_one_by_one_with_the_values_beyond_which_somebody_is_told() -> None:
    taken = [grab("20:30", "1.2 NTU"), grab("23:00", "3.0 NTU"), grab("23:30", "<0.02 NTU")]
    (chart,) = run(visit(grab=taken), NTU).charts
    assert (chart.kind, len(chart.series[0].points)) == ("samples", 2)
    assert "1 below detection not drawn" in chart.title
    assert [line.label for line in chart.lines] == ["tell above 1 NTU", "consult above 5 NTU"]


# ---------------------------------------------------------------- W16: a number a day, by people served

A_DAY: dict[str, Any] = {"schedule": "a number a day, by people served"}


@pytest.mark.parametrize(
    ("people", "least"), [("500", "1"), ("1000", "2"), ("1001", "3"), ("2800", "4"), ("3300", "4")]
)
def test_a_small_system_may_take_a_number_a_day(people: str, least: str) -> None:
    taken = grabs(*(f"2026-05-14 {hour:02d}:00" for hour in range(8, 8 + int(least))))
    raw = visit(grab=taken, **OUT, **A_DAY, finished="2026-05-15 09:00")
    a = analyzer(people_served=people)
    found = OF.check(run(raw, a), "grabs_a_day")
    assert (found.outcome, found.low) == (PASS, least)
    assert found.tolerance is not None
    assert found.tolerance.source == "40 CFR 141.74(c)(2), table by people served"
    if int(least) > 1:
        raw = visit(grab=taken[1:], **OUT, **A_DAY, finished="2026-05-15 09:00")
        assert OF.check(run(raw, a), "grabs_a_day").outcome is FAIL
        same_time = [*taken[1:], taken[1]]  # the samples of a day are not taken at the same time
        raw = visit(grab=same_time, **OUT, **A_DAY, finished="2026-05-15 09:00")
        assert OF.check(run(raw, a), "grabs_a_day").outcome is FAIL


def test_only_whole_days_are_counted() -> None:
    one = OF.check(run(visit(**A_DAY), analyzer(people_served="1000")), "grabs_a_day")
    assert one.reason == "no whole day lies between the failure and the return"


@pytest.mark.parametrize(("second", "found"), [("00:29", "239"), ("00:30", "240"), ("00:31", "241")])
def test_while_the_residual_is_too_low_a_grab_is_due_every_four_hours(second: str, found: str) -> None:
    taken = [grab("20:30", "0.10 mg/L"), grab(f"2026-05-14 {second}", "0.30 mg/L")]
    result = run(visit(grab=taken, **A_DAY), analyzer(people_served="800"))
    assert outcome(result, "grabs_while_low") == (FAIL if found == "241" else PASS, found)
    well = run(visit(grab=grabs("20:30"), **A_DAY), analyzer(people_served="800"))
    assert outcome(well, "grabs_while_low") == (PASS, "0")


@pytest.mark.parametrize(
    ("a", "text"),
    [
        (analyzer(people_served="3301"), "holds up to 3300 people served, and the register says 3301"),
        (
            analyzer(people_served="500", **GROUND),
            f"is that of surface water, and outage_days of {TAG} is the repair time of ground water",
        ),
        (analyzer(), f"needs the setting people_served of {TAG} in analyzers.toml"),
        (
            analyzer("turbidity", people_served="500"),
            f"holds for chlorine alone, and {TAG} measures turbidity",
        ),
    ],
)
def test_a_number_a_day_is_refused_where_it_does_not_hold(a: Analyzer, text: str) -> None:
    raw = visit(**A_DAY, grab=grabs("20:30", unit=a.unit))
    assert refused(raw, a) == (
        f"schedule: a number of grabs a day {text} (40 CFR 141.74(c)(2)). Take it out: grabs are then due "
        "every 4 "
        f"hours."
    )


def test_a_small_system_is_told_what_it_may_do() -> None:
    said = told(run(visit(), analyzer(people_served="2800")), "statement")
    assert "With 2800 people served 4 grabs a day may stand for continuous monitoring for good" in said
    assert "may stand for continuous" not in told(run(visit(), analyzer(people_served="3301")), "statement")


# ---------------------------------------------------------------- calibrated with a grab every five days


def earlier(day: str, number: str = "L1-2026-0038", result: str = "pass") -> Earlier:
    return Earlier(
        number,
        f"{day}T08:05-04:00",
        SERIAL,
        {"as_found at the analyzer": result},
        {},
        "",
        "chlorine_check",
        {},
    )


OWN = analyzer(approved_protocol="0")


@pytest.mark.parametrize(
    ("day", "found"),
    [("2026-05-09", (PASS, "4")), ("2026-05-08", (PASS, "5")), ("2026-05-07", (FAIL, "6"))],
)
def test_a_chlorine_monitor_without_a_protocol_has_five_days(day: str, found: Any) -> None:
    assert outcome(run(visit(), OWN, earlier=(earlier(day),)), "grab_calibration") == found


def test_what_does_not_count_as_a_calibration_with_a_grab() -> None:
    none = (earlier("2026-05-12", result="not evaluated"), earlier("2026-05-14"))
    one = OF.check(run(visit(), OWN, earlier=none), "grab_calibration")
    assert one.reason == "no check against grabs before the failure is in the book"
    failed = {"at": "20:00", "known_by": "it failed", "record": "L1-2026-0041"}
    opening = earlier("2026-05-13", "L1-2026-0041", "fail")
    known = records(cited(), cited("L1-2026-0041", check(FAIL, "as_found")))
    found = run(visit(failed=failed), OWN, earlier=(opening, earlier("2026-05-10")), records=known)
    assert outcome(found, "grab_calibration") == (PASS, "3")


def test_the_clock_of_five_days_is_that_of_chlorine_without_a_protocol() -> None:
    assert "grab_calibration" not in keys(run(visit()))
    assert "grab_calibration" not in keys(run(visit(grab=grabs("20:30", unit="NTU")), NTU))
    unset = OF.check(run(visit(), analyzer(approved_protocol=None)), "grab_calibration")
    assert unset.reason.startswith("the register does not say whether the State approved a protocol for it")


# ---------------------------------------------------------------- refused, said


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        (
            {"grab": grabs("19:59")},
            "Grab 1 was collected at 2026-05-13 19:59, before the failure at 2026-05-13 20:00; correct one "
            "of "
            "them, and give the date too where it is that of another day.",
        ),
        (
            {"grab": [grab("20:30", analysed="20:29")]},
            "Grab 1 was analysed at 2026-05-13 20:29, before it was collected at 2026-05-13 20:30; correct "
            "one of "
            "them, and give the date too where it is that of another day.",
        ),
        ({"grab": [grab("20:30", "1.0 NTU")]}, f"Grab 1: the grab is in NTU and {TAG} shows mg/L."),
        (
            {"grab": [grab("20:30", "1.0")]},
            f"Grab 1: the result 1.0 has no unit, and {TAG} shows mg/L; type it as the slip states it.",
        ),
        (
            {"standstill": [{"since": "21:00", "until": "20:59", "because": "backwash"}]},
            "Standstill 1 ended at 2026-05-13 20:59, before it began at 2026-05-13 21:00; correct one of "
            "them, "
            "and give the date too where it is that of another day.",
        ),
        (
            {"notice": [notice("something else", "19:00")]},
            "Notice 1 was given at 2026-05-13 19:00, before the failure at 2026-05-13 20:00; correct one of "
            "them, "
            "and give the date too where it is that of another day.",
        ),
        (
            {"failed": {"at": "20:00", "known_by": "alarm", "found_at": "19:50"}},
            "It was found at 2026-05-13 19:50, before it failed at 2026-05-13 20:00; correct one of them, "
            "and give "
            "the date too where it is that of another day.",
        ),
        (
            {"returned": {"record": "L1-2026-0048", "at": "19:00"}},
            "It was back in service at 2026-05-13 19:00, before it failed at 2026-05-13 20:00; correct one "
            "of "
            "them, and give the date too where it is that of another day.",
        ),
        (
            {"serial_on_plate": "X"},
            f"The serial on the plate is X, the register has {SERIAL} for {TAG}. Look at",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(changes: dict[str, Any], text: str) -> None:
    assert refused(visit(**changes)).startswith(text)


def test_what_makes_a_grab_weaker_is_said() -> None:
    kept = [
        grab("20:30", analysed="20:45"),  # 15 min: in time
        grab("2026-05-14 00:20", analysed="2026-05-14 00:36"),
        {**grab("2026-05-14 04:15"), "instrument": "P-9"},
        {**grab("2026-05-14 08:10"), "instrument": "P-0"},
        grab("2026-05-14 09:01"),
    ]
    said = told(run(visit(grab=kept)), "caution")
    assert "Grab 2 was analysed later than 15 min after it was collected (40 CFR 136.3, table II" in said
    assert "The calibration of P-9 was due on 2026-05-13, and it was in use until 2026-05-14 08:10." in said
    assert "The list of standards holds no calibration date for P-0." in said
    assert "Grab 5 was collected after it was back in service and is left out." in said
    assert value(run(visit(grab=kept)), "grabs_taken").quantity.text == "4"


def cautions(raw: dict[str, Any], a: Analyzer | None = None, **more: Any) -> str:
    return "\n".join(note.text for note in run(raw, a, **more).notes if note.kind == "caution")


def test_of_two_grabs_of_one_minute_the_worse_counts_and_it_is_said() -> None:
    """One that is fine does not end, in the same minute, what the other begins."""
    for first, second in (("0.10 mg/L", "1.00 mg/L"), ("1.00 mg/L", "0.10 mg/L")):
        taken = [grab("20:30", first), grab("20:30", second), grab("2026-05-14 00:30")]
        raw = visit(grab=[*taken, grab("2026-05-14 04:15"), grab("2026-05-14 08:10")])
        assert outcome(run(raw), "residual") == (PASS, "240")
        assert "Grabs 1 and 2 were collected in the same minute, 2026-05-13 20:30" in cautions(raw)
    assert "same minute" not in cautions(visit())


def test_a_bottle_measures_no_grab_and_an_instrument_in_another_unit_is_asked_about() -> None:
    bottle = replace(STANDARDS["P-2"], id="B7", name="buffer", unit="pH", value=Decimal(7))
    other = replace(STANDARDS["P-2"], id="L-4", name="turbidimeter", unit="NTU")
    of = Of(OUTAGE, GIVEN, analyzer, {**STANDARDS, "B7": bottle, "L-4": other}, "grabs")
    for name in ("B7", "L-4", "P-2"):
        raw = visit(grab=[grab("20:30", instrument=name)])
        given = of.given_for(raw, None, records=records())
        if name == "B7":
            with pytest.raises(ChooseAnother, match=r"Grab 1 names B7 \(buffer\), which is a standard"):
                of.run(raw, given)
            continue
        said = "\n".join(note.text for note in of.run(raw, given).notes)
        assert ("is it the instrument the grab was measured with?" in said) is (name == "L-4")


@pytest.mark.parametrize(("failed", "said"), [("20:09", False), ("20:10", False), ("20:11", True)])
def test_a_failure_after_the_sheet_was_begun_is_said(failed: str, said: bool) -> None:
    raw = visit(failed={"at": failed, "known_by": "taken out"})
    assert ("after this sheet was begun at 2026-05-13 20:10" in cautions(raw)) is said


@pytest.mark.parametrize(("back", "said"), [("08:39", True), ("08:40", False), ("08:41", False)])
def test_a_return_before_its_check_ended_is_said(back: str, said: bool) -> None:
    raw = visit(returned={"record": "L1-2026-0048", "at": f"2026-05-14 {back}"})
    assert ("before the work of record L1-2026-0048 ended at 2026-05-14 08:40" in cautions(raw)) is said


@pytest.mark.parametrize(("status", "said"), [("out of service", False), ("in service", True), ("", False)])
def test_a_record_that_left_it_in_service_did_not_take_it_out(status: str, said: bool) -> None:
    opened = cited("L1-2026-0041", check(FAIL, "as_found"), status=status)
    raw = visit(failed={"at": "20:00", "known_by": "the check", "record": "L1-2026-0041"})
    text = cautions(raw, records=records(cited(), opened))
    assert ("Record L1-2026-0041 is named as the one that left it out of service" in text) is said


@pytest.mark.parametrize(("days", "said"), [((), True), (("2025-12-25",), True), (("2026-07-03",), False)])
def test_working_days_without_a_holiday_of_the_year_are_said(days: tuple[str, ...], said: bool) -> None:
    raw = visit()
    given = OF.given_for(raw, None, records=records())
    notes = OF.run(raw, replace(given, site=replace(given.site, holidays=days))).notes
    assert any("plant.toml holds no holiday of 2026" in note.text for note in notes) is said


def test_a_failure_found_late_counts_from_when_it_failed_and_says_so() -> None:
    failed = {"at": "20:00", "known_by": "dead trend", "found_at": "20:25"}
    said = told(run(visit(failed=failed)), "caution")
    assert "It failed at 2026-05-13 20:00 and was found 25 min later" in said
    assert "was found" not in told(run(visit(failed={**failed, "found_at": "20:00"})), "caution")


def test_a_status_that_says_otherwise_than_the_sheet_is_said() -> None:
    back = told(run(visit(status={"state": "out of service"})), "caution")
    assert "It came back by this sheet, and the status says out of service: correct one of them." in back
    out = told(run(visit(**{**OUT, "status": {"state": "in service"}})), "caution")
    assert "It is not back by this sheet, and the status says in service: correct one of them." in out
    assert "the status says" not in told(run(visit()), "caution")
    assert "the status says" not in told(run(visit(**OUT)), "caution")


def test_every_page_leaves_the_last_word_to_the_state() -> None:
    result = compute(case_from(demo_case("monitor_outage")))
    (note,) = [one for one in result.notes if "they decide" in one.text]
    assert note.source == "a setting of the plant, not legal advice"


def test_it_verifies_no_analyzer_and_names_the_record_that_does() -> None:
    case = case_from(demo_case("monitor_outage"))
    record = draft(case, compute(case))
    said = handover(record, "operations")
    assert "This verifies no analyzer: record L1-2026-0048 does, which returned it to service." in said
    assert any(sentence.startswith("It was out from 2026-03-06 20:30") for sentence in said)
    assert opened_by(OUTAGE, record) == ()


# ---------------------------------------------------------------- clocks on an open sheet


BY_RECORD = "the next record of this outage"


def clocks(raw: Mapping[str, Any], a: Analyzer | None = None, **more: Any) -> dict[str, RunningClock]:
    found = OUTAGE.clocks(dict(raw), OF.given_for(dict(raw), a, **more), {})
    return {one.what: one for one in found}


def begun(**more: Any) -> dict[str, Any]:
    """A sheet as it stands open: no return yet, and nothing of its end."""
    return visit(returned=None, status=None, **more)


def test_an_open_sheet_says_what_is_due_next() -> None:
    found = clocks(begun())
    assert found["next grab"] == RunningClock(
        "next grab",
        "2026-05-14T12:10-04:00",
        "40 CFR 141.74(c)(2), grab every 4 h",
        key="next_grab",
        only_by=BY_RECORD,
    )
    assert found["back in service (5 working days)"].due == "2026-05-20T23:59-04:00"
    assert clocks(begun(grab=None))["next grab"].due == "2026-05-14T00:00-04:00"
    assert clocks({"procedure": "monitor_outage", "tag": TAG, "date": "2026-05-13"}) == {}


@pytest.mark.parametrize(
    ("returned", "runs"),
    [
        ({"record": "L1-2026-0048", "at": "2026-05-14 09:00"}, False),
        ({"record": "L1-2026-0049", "at": "2026-05-14 09:00"}, True),  # of before the failure
        ({"record": "L1-2026-9999", "at": "2026-05-14 09:00"}, True),  # not at hand
        ({"record": "L1-2026-0048", "at": "2026-05-14 08:00"}, True),  # before the check began
        ({"record": "L1-2026-0048"}, True),
    ],
)
def test_a_check_that_cannot_have_returned_it_stops_no_clock(returned: dict[str, str], runs: bool) -> None:
    before = replace(
        cited("L1-2026-0049", until="2026-05-13 19:00-04:00"), performed="2026-05-13T18:00-04:00"
    )
    assert ("next grab" in clocks(visit(returned=returned), records=records(cited(), before))) is runs


def test_the_next_grab_is_due_after_elapsed_hours_on_the_clock_of_the_plant() -> None:
    raw = begun(date="2026-03-08", started="00:10", failed={"at": "00:00", "known_by": "it stood still"})
    assert clocks({**raw, "grab": grabs("01:40")})["next grab"].due == "2026-03-08T06:40-04:00"
    raw = begun(date="2026-11-01", started="00:10", failed={"at": "00:00", "known_by": "it stood still"})
    assert clocks({**raw, "grab": grabs("00:40")})["next grab"].due == "2026-11-01T03:40-05:00"


def test_the_time_to_the_next_grab_stands_while_no_water_is_made() -> None:
    still = [{"since": "2026-05-14 09:10", "until": "2026-05-14 10:00", "because": "backwash"}]
    assert clocks(begun(standstill=still))["next grab"].due == "2026-05-14T13:00-04:00"
    over = [{"since": "2026-05-14 07:00", "until": "2026-05-14 08:00", "because": "backwash"}]
    assert clocks(begun(standstill=over))["next grab"].due == "2026-05-14T12:10-04:00"


def test_what_two_standstills_share_counts_once_towards_the_next_grab() -> None:
    """As it counts once in the time between grabs: from 09:00 to 10:30 nothing ran, 90 min."""
    still = [
        {"since": "2026-05-14 09:00", "until": "2026-05-14 10:00", "because": "backwash"},
        {"since": "2026-05-14 09:30", "until": "2026-05-14 10:30", "because": "pump changed"},
    ]
    alone = [{**still[0], "until": "2026-05-14 10:30"}]
    due = [clocks(begun(standstill=one))["next grab"].due for one in (still, alone)]
    assert due == ["2026-05-14T13:40-04:00"] * 2


def test_notices_run_until_they_are_made() -> None:
    taken = [grab("20:30", "0.10 mg/L"), grab("23:00")]
    what = "Tell the State of a residual below 0.2 mg/L at 2026-05-13 20:30"
    assert clocks(begun(grab=taken))[what] == RunningClock(
        what,
        "2026-05-14T23:59-04:00",
        "40 CFR 141.75(b)(3)(iii)",
        key="low.2026-05-13T20:30-04:00",
        since="2026-05-13T20:30-04:00",
    )
    made = clocks(begun(grab=taken, notice=[notice("residual too low", "23:30")]))
    assert made[what].done
    high = clocks(begun(grab=[grab("20:30", "6 NTU", analysed="20:40")]), NTU)
    assert (
        high["Consult the State about a turbidity above 5 NTU at 2026-05-13 20:30"].due
        == "2026-05-14T20:40-04:00"
    )


def test_a_small_system_has_the_whole_day_for_its_number() -> None:
    a = analyzer(people_served="800")
    raw = begun(**A_DAY, grab=grabs("2026-05-14 08:00"))
    assert clocks(raw, a)["next grab"].due == "2026-05-14T23:59-04:00"
    raw = begun(**A_DAY, grab=grabs("2026-05-14 08:00", "2026-05-14 16:00"))
    assert clocks(raw, a)["next grab"].due == "2026-05-15T23:59-04:00"
    raw = begun(**A_DAY, grab=[grab("2026-05-14 08:00", "0.10 mg/L")])
    assert clocks(raw, a)["next grab"].due == "2026-05-14T12:00-04:00"  # too low: every 4 h
    again = [grab("23:00", "0.10 mg/L"), grab("23:30"), grab("2026-05-14 08:00", "0.10 mg/L")]
    assert clocks(begun(**A_DAY, grab=again), a)["next grab"].due == "2026-05-14T12:00-04:00"


def test_the_clock_of_five_days_goes_on_from_the_check_that_returned_it() -> None:
    last = (earlier("2026-05-10"),)
    source = "40 CFR 141.74(a)(2), at least every 5 days without an approved protocol"
    what = "calibration with a grab, 5 days after 2026-05-10"
    found = clocks(begun(), OWN, earlier=last)[what]
    only_by = "the calibration itself"
    assert found == RunningClock(what, "2026-05-15T23:59-04:00", source, key="calibration", only_by=only_by)
    back = clocks(visit(), OWN, earlier=last, records=records())
    again = back["calibration with a grab, 5 days after 2026-05-14"]
    assert (again.due, again.done) == ("2026-05-19T23:59-04:00", True)  # the checks that follow are due
    assert back["back in service (5 working days)"].done
    assert "next grab" not in back


# ---------------------------------------------------------------- beside a question


def beside(name: str, raw: dict[str, Any], path: str, a: Analyzer | None = None, **more: Any) -> str:
    return "\n".join(OUTAGE.beside[name](raw, path, OF.given_for(raw, a, **more)).lines)


def test_beside_a_grab_stands_when_it_is_due_and_the_last_day() -> None:
    said = beside("next_grab", begun(), "grab")
    assert "next grab due by 2026-05-14 12:10 (40 CFR 141.74(c)(2), grab every 4 h)" in said
    assert "last permitted day: Wednesday 2026-05-20 (5 working days after the failure" in said
    missed = beside("next_grab", begun(grab=grabs("20:30", "2026-05-14 00:31")), "grab")
    assert "No grab from 2026-05-13 20:30 to 2026-05-14 00:31: 4 h 1 min, 1 min too long." in missed
    in_time = beside("next_grab", begun(grab=grabs("20:30", "2026-05-14 00:30")), "grab")
    assert "too long" not in in_time
    unset = beside("next_grab", begun(), "grab", analyzer(outage_working_days=None))
    assert f"enter outage_working_days or outage_days for {TAG} in analyzers.toml" in unset


def test_beside_a_result_stands_beyond_what_somebody_is_told() -> None:
    assert "below 0.2 mg/L: tell the State by the end of the next business day" in beside(
        "result", begun(), "grab.0.result"
    )
    assert "above 5 NTU: consult the State within 24 h" in beside("result", begun(), "grab.9.result", NTU)


def test_beside_a_notice_stand_those_that_are_due() -> None:
    raw = begun(grab=[grab("20:30", "0.10 mg/L")])
    assert "Tell the State of a residual below 0.2 mg/L at 2026-05-13 20:30, by 2026-05-14 23:59" in beside(
        "notice", raw, "notice"
    )
    assert "no notice is due by the figures entered here" in beside("notice", begun(), "notice")


def test_beside_the_returning_check_stands_what_it_came_to() -> None:
    raw = visit()
    good = beside("returned", raw, "returned.record", records=records())
    assert "L1-2026-0048, chlorine check: as left it passed" in good
    bad = beside("returned", raw, "returned.record", records=records(cited("L1-2026-0048", check(FAIL))))
    assert "L1-2026-0048, chlorine check: as left it did not: Error" in bad


# ---------------------------------------------------------------- a sheet that stays open for days


class Moving:
    """The computer's clock of a test, set on from visit to visit."""

    def __init__(self) -> None:
        self.now = datetime(2026, 5, 13, 21, 40, tzinfo=UTC)  # 16:40 at the plant

    def __call__(self) -> datetime:
        return self.now


def plant_visit() -> dict[str, Any]:
    """An outage at the demo plant, still out on its second day."""
    return visit(
        serial_on_plate="EL-0611",
        performed_by="T-07",
        started="16:10",
        failed={"at": "15:50", "known_by": "it stood still"},
        grab=grabs("16:20", "2026-05-13 20:15", "2026-05-14 20:05"),
        output_held={"not_done": "nothing is taken from it"},
        loop_in_manual={"at": "16:41", "by": "Wren Abernathy"},
        alarm_blocked={"not_done": "stays live"},
        condition={"not_done": "seen at the check"},
        clocks={"not_done": "one clock"},
        **OUT,
        loop_in_auto={"not_done": "not until it is back"},
        operations_told_after={"who": "Wren Abernathy", "at": "2026-05-14 20:20"},
    )


def stepped_to(desk: Desk, sheet: Mapping[str, Any], path: str, rows: int) -> None:
    """Step until a question with so many rows above it."""
    for _ in range(200):
        assert desk.visit is not None
        if desk.screen.path == path and len(desk.visit.folded.raw.get("grab", [])) == rows:
            return
        screen = desk.act(act_to(desk, sheet))
        assert not screen.refused, screen.notice
    raise AssertionError(desk.screen.path)


def test_a_sheet_takes_grabs_over_days_and_folds_to_what_was_entered(tmp_path: Path) -> None:
    make_plant(tmp_path / "plant", MONTH)
    now, whole = Moving(), plant_visit()
    desk = open_desk(tmp_path / "plant", procedure="monitor_outage", tag="AIT-2301", clock=now)
    stepped_to(desk, whole, "grab", 1)
    assert "next grab due by 2026-05-13 20:20" in "\n".join(line.text for line in desk.screen.lines)
    assert desk.visit is not None
    sheet = desk.visit.sheet
    desk.close()
    (due,) = [
        one for one in today(open_plant(tmp_path / "plant"), now()).clocks if one.clock.what == "next grab"
    ]
    assert (due.where.tag, due.clock.due) == ("AIT-2301", "2026-05-13T20:20-05:00")
    now.now = datetime(2026, 5, 15, 1, 20, tzinfo=UTC)  # the next evening
    again = open_desk(tmp_path / "plant", sheet=sheet, clock=now)
    step_to(again, whole)
    assert again.visit is not None
    taken = answered(again.visit.folded.raw)["grab"]
    assert [(one["collected"], one["result"]) for one in taken] == [
        ("16:20", "1.00 mg/L"),
        ("2026-05-13 20:15", "1.00 mg/L"),
        ("2026-05-14 20:05", "1.00 mg/L"),
    ]
    again.close()


def test_on_a_later_day_it_asks_of_which_day_a_clock_is(tmp_path: Path) -> None:
    """The day of the sheet would else be taken for a grab of today."""
    make_plant(tmp_path / "plant", MONTH)
    now, whole = Moving(), plant_visit()
    desk = open_desk(tmp_path / "plant", procedure="monitor_outage", tag="AIT-2301", clock=now)
    stepped_to(desk, whole, "grab", 1)
    now.now = datetime(2026, 5, 15, 1, 20, tzinfo=UTC)  # 20:20 of the 14th at the plant
    stepped_to(desk, whole, "grab.1.collected", 1)
    asked = desk.act(Act("answer", "2005", "grab.1.collected"))
    assert asked.path == "grab.1.collected?sure"
    assert [choice.text for choice in asked.choices] == ["2026-05-14 20:05", "2026-05-13 20:05", ""]
    desk.act(Act("answer", "", asked.path))
    desk.act(Act("answer", "20:59", "grab.1.collected"))  # of today it cannot be: it is 20:20
    assert desk.visit is not None
    assert desk.visit.folded.raw["grab"][1]["collected"] == "20:59"
    desk.close()


def test_after_the_night_in_which_clocks_are_put_back_it_asks_which_of_both_hours(tmp_path: Path) -> None:
    """01:30 of 2026-11-01 happened twice in Chicago; it is not taken for that of the day of the sheet."""
    make_plant(tmp_path / "plant", date(2026, 10, 1))
    now, whole = Moving(), {**plant_visit(), "date": "2026-10-31"}
    now.now = datetime(2026, 11, 1, 1, 10, tzinfo=UTC)  # 20:10 of the 31st at the plant
    desk = open_desk(tmp_path / "plant", procedure="monitor_outage", tag="AIT-2301", clock=now)
    stepped_to(desk, whole, "grab.0.collected", 0)
    now.now = datetime(2026, 11, 1, 8, 15, tzinfo=UTC)  # 02:15
    asked = desk.act(Act("answer", "01:30", "grab.0.collected"))
    assert [choice.text for choice in asked.choices] == [
        "2026-11-01 01:30 -05:00",
        "2026-11-01 01:30 -06:00",
        "2026-10-31 01:30",
        "",
    ]
    desk.act(Act("answer", "", asked.path))
    asked = desk.act(Act("answer", "2026-11-01 01:30", "grab.0.collected"))
    assert [c.text for c in asked.choices][:2] == ["2026-11-01 01:30 -05:00", "2026-11-01 01:30 -06:00"]
    desk.act(Act("answer", "2026-11-01 01:30 -06:00", asked.path))
    assert desk.visit is not None
    assert desk.visit.folded.raw["grab"][0]["collected"] == "2026-11-01 01:30 -06:00"
    desk.close()


# ---------------------------------------------------------------- the outage of the demo month


@pytest.mark.parametrize("month", [MONTH, date(2027, 3, 1), date(2026, 12, 1)])
def test_the_outage_of_the_demo_keeps_its_duties(tmp_path: Path, month: date) -> None:
    """Also where the clocks are put forward, or a weekend lies, between its grabs."""
    plant = make_plant(tmp_path / "plant", month)
    (one,) = outage_visits(month)
    numbers = {"turbidity 12 AIT-2202": "L1-2026-0009", "turbidity 13 AIT-2202": "L1-2026-0012"}
    raw = tomllib.loads(numbered(one.sheet, numbers))
    a = plant.analyzers["AIT-2202"]
    a = replace(a, settings={**a.settings, "outage_working_days": "5"})
    second = month.replace(day=13)
    more = {"tag": a.tag, "serial": a.serial, "procedure": "turbidity_standard_check"}
    at = f"{second}T09:40-05:00"
    known = records(
        cited("L1-2026-0009", check(FAIL, "as_found"), **more, status="out of service"),
        cited("L1-2026-0012", check(PASS, "as_found"), until=at, **more, performed=f"{second}T09:00-05:00"),
    )
    given = OF.given_for(raw, a, records=known, standards=plant.standards)
    result = OUTAGE.compute(parse(OUTAGE, raw), replace(given, people=plant.people), {})
    assert {one.key: one.outcome for one in result.checks} == {"grabs": PASS, "back": PASS, "returned": PASS}
    assert result.facts["answers"] == "L1-2026-0009"
    assert not [note.text for note in result.notes if note.kind == "caution"]
