"""Turbidity of a month: outside values, four tests around each limit, what is left out, what is refused.

Outside values: A11 and A12 of the project's external facts (40 CFR 141.173 and .175), W18 of its practice
checks (3 of 180 above as recorded, 11 after correction), and the counts of the demo month made here by plain
loops over the slices, without the calculations of the package.
"""

from __future__ import annotations

import csv
import json
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from one_procedure import told, value

from wqverify.demo.doubt_visits import doubt_visit
from wqverify.demo.ellodale import make_plant
from wqverify.demo.month_visits import export_of, month_visits
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.gather import gather
from wqverify.plant.clock import resolve
from wqverify.plant.files import Document
from wqverify.procedures import PROCEDURES
from wqverify.procedures.parts import typed_times
from wqverify.procedures.sheets import parse
from wqverify.records.canonical import given_from
from wqverify.shipped import shipped_folder
from wqverify.terms import (
    Analyzer,
    Check,
    Cited,
    Earlier,
    Given,
    Outcome,
    Result,
    Tolerance,
    TrendUse,
    Window,
    clocks_in,
)

MONTH = PROCEDURES["turbidity_month"]
DEMO = shipped_folder("demo_runs") / "turbidity_month"
GIVEN: Given = given_from(json.loads((DEMO / "given.json").read_text("utf-8")))
ZONE = ZoneInfo("America/New_York")
Texts = Mapping[datetime, str]


# ---------------------------------------------------------------- cases


def local(*when: int) -> datetime:
    return datetime(*when, tzinfo=ZONE).astimezone(UTC)  # type: ignore[misc]


def slice_of(rows: Mapping[datetime, str]) -> bytes:
    """A slice: "" is a recording without a number, "0.5 bad" one that is flagged."""
    lines = []
    for at, text in sorted(rows.items()):
        number, _, flag = text.partition(" ")
        lines.append(f"{at:%Y-%m-%dT%H:%M:%SZ},{number},{flag}\n")
    return ("time,value,flag\n" + "".join(lines)).encode()


def hourly(month: str = "2026-04", changed: Texts | None = None, usual: str = "0.08") -> dict[datetime, str]:
    year, number = int(month[:4]), int(month[5:])
    at, end = local(year, number, 1), local(year + number // 12, number % 12 + 1, 1)
    found = {at + timedelta(hours=n): usual for n in range(int((end - at) / timedelta(hours=1)) + 1)}
    return found | dict(changed or {})


def due(count: int, text: str, month: str = "2026-04", skip: int = 0) -> dict[datetime, str]:
    """So many of the values due at 00, 04 ... 20 h, from the first day on."""
    year, number = int(month[:4]), int(month[5:])
    moments = [local(year, number, 1 + n // 6, n % 6 * 4) for n in range(skip, skip + count)]
    return dict.fromkeys(moments, text)


def quarters(*values: str, start: datetime | None = None, around: str = "0.09") -> dict[datetime, str]:
    """A filter for a day around these recordings, 15 min apart; "-" is one that is not there."""
    first = start or local(2026, 4, 10, 9)
    rows = {first + timedelta(minutes=15 * n): around for n in range(-8, 24)}
    rows |= {first + timedelta(minutes=15 * n): text for n, text in enumerate(values)}
    return {at: text for at, text in rows.items() if text != "-"}


def sheet(month: str = "2026-04", filters: int = 0, **more: Any) -> dict[str, Any]:
    year, number = int(month[:4]), int(month[5:])
    after = date(year + number // 12, number % 12 + 1, 2)
    raw: dict[str, Any] = {
        "procedure": "turbidity_month",
        "tag": "AIT-2210",
        "serial_on_plate": "TU-88231",
        "reason": "routine",
        "performed_by": "IQU",
        "date": after.isoformat(),
        "started": "09:10",
        "cautions": {"read": "yes"},
        "operations_told": {"who": "W. Abernathy"},
        "month": {"begins": f"{month}-01 00:00"},
        "rules": {
            "filtration": "conventional or direct",
            "value_of_4_h": "value at 00, 04 ... 20 h",
            "source": "letter of the State (invented)",
        },
        "combined": {"export": "combined.csv"},
        "filter": [
            {"tag": f"AIT-220{n}", "export": f"filter {n}.csv", "off_when": "BACKWASH"}
            for n in range(1, filters + 1)
        ],
        "status": {"state": "in service"},
    }
    for name, typed in more.items():
        raw[name] = {**raw[name], **typed} if isinstance(typed, dict) and name in raw else typed
    return raw


def given_for(raw: dict[str, Any], slices: Mapping[str, bytes], **more: Any) -> Given:
    filters = raw.get("filter", [])
    paths = ["combined.export", *(f"filter.{n}.export" for n in range(len(filters)))]
    uses = tuple(
        TrendUse(path, f"{name}", "0" * 64, "channel", "NTU", name)
        for path, name in zip(paths, slices, strict=True)
    )
    times = {
        path: resolve(raw["date"], typed, ZONE).isoformat(timespec="minutes")
        for path, typed in typed_times(MONTH.Sheet, raw).items()
    }
    filter_1 = GIVEN.others["AIT-2201"]
    others = {one["tag"]: replace(filter_1, tag=one["tag"]) for one in filters}
    plain = {"times": times, "trends": uses, "others": others, "records": {}, "earlier": (), "attached": {}}
    return replace(GIVEN, **{**plain, **more})


def whole_month(rows: Texts, month: str) -> Texts:
    """A filter before and after what a test says of it, as far apart: nothing of the month is missing."""
    year, number = int(month[:4]), int(month[5:])
    at, end = local(year, number, 1), local(year + number // 12, number % 12 + 1, 1)
    times = sorted(rows)
    step = min((after - before for before, after in pairwise(times)), default=timedelta(hours=1))
    moments = (at + n * step for n in range(int((end - at) / step) + 1))
    return {one: "0.09" for one in moments if not times[0] <= one <= times[-1]} | dict(rows)


def day_of(result: Result, key: str) -> str | None:
    """The day by which a follow-up is due, on the clock of the plant."""
    due = result.facts.get(f"due.{key}")
    return due[:10] if due else None


def run(
    combined: Texts | None = None,
    *filters: Texts,
    month: str = "2026-04",
    people: str = "12000",
    tolerances: Mapping[str, Tolerance] | None = None,
    raw: dict[str, Any] | None = None,
    **more: Any,
) -> Result:
    typed = raw or sheet(month, len(filters))
    rows = [
        combined if combined is not None else hourly(month),
        *(whole_month(one, month) for one in filters),
    ]
    slices = {f"trend-{n}.csv": slice_of(one) for n, one in enumerate(rows, 1)}
    settings = {"people_served": people} if people else {}
    analyzer = replace(GIVEN.analyzer, settings=settings, tolerances=tolerances or {})
    given = given_for(typed, slices, **{"analyzer": analyzer, **more})
    parsed = parse(MONTH, typed)
    result = MONTH.compute(parsed, given, slices)
    keys = [check.key for check in result.checks]
    assert sorted(MONTH.expects(parsed, given)) == sorted(keys)
    assert len({*keys, *(one.key for one in result.values)}) == len(keys) + len(result.values)
    return result


def check(result: Result, key: str) -> Check:
    return next(one for one in result.checks if one.key == f"month.{key}")


def shown(result: Result, key: str) -> tuple[str, Outcome]:
    one = check(result, key)
    return one.quantity.text if one.quantity else one.reason, one.outcome


def said(result: Result) -> str:
    return "\n".join(note.text for note in result.notes)


def refused(raw: dict[str, Any], *rows: Texts, **more: Any) -> str:
    with pytest.raises((CorrectTheEntry, ChooseAnother)) as caught:
        run(*rows, raw=raw, **more)
    return caught.value.message


def not_taken(raw: dict[str, Any]) -> str:
    with pytest.raises(CorrectTheEntry) as caught:
        parse(MONTH, raw)
    return caught.value.message


# ---------------------------------------------------------------- combined effluent


@pytest.mark.parametrize(
    ("above", "text", "outcome"), [(8, "95.56", "pass"), (9, "95.00", "pass"), (10, "94.44", "fail")]
)
def test_the_share_of_180_values_is_that_of_the_rule(above: int, text: str, outcome: str) -> None:
    """A11; 0.3 exactly is within."""
    changed = {**due(above, "0.301"), **due(20, "0.300", skip=100)}
    result = run(hourly(changed=changed))
    assert shown(result, "combined.percent") == (text, outcome)
    assert check(result, "combined.percent").observed == f"{180 - above} of 180"
    assert result.outcome("limits_of_the_water") == (
        outcome if outcome == "fail" else "not evaluated"
    )  # no filter


def test_without_a_value_nothing_is_judged() -> None:
    result = run(hourly(usual=""))
    assert shown(result, "combined.percent") == ("no value of the month stands", Outcome.NOT_EVALUATED)
    assert shown(result, "combined.highest")[1] is Outcome.NOT_EVALUATED
    assert shown(result, "combined.missing") == ("180", Outcome.FAIL)


@pytest.mark.parametrize(
    ("text", "outcome"), [("0.999", "pass"), ("1", "pass"), ("1.000", "pass"), ("1.001", "fail")]
)
def test_the_highest_is_of_every_recording_unless_the_state_says_otherwise(text: str, outcome: str) -> None:
    rows = hourly(changed={local(2026, 4, 10, 9): text})
    assert shown(run(rows), "combined.highest") == (text, outcome)
    reported = sheet(rules={"highest_of": "the values of 4 h"})
    assert shown(run(rows, raw=reported), "combined.highest") == ("0.08", "pass")


@pytest.mark.parametrize(
    ("rounding", "text", "within"),
    [
        ("as recorded", "0.34", 170),
        ("to the digits of the limit", "0.34", 180),
        ("to the digits of the limit", "0.349", 180),
        ("to the digits of the limit", "0.35", 170),
    ],
)
def test_whether_034_counts_as_03_is_a_setting(rounding: str, text: str, within: int) -> None:
    result = run(hourly(changed=due(10, text)), raw=sheet(rules={"rounding": rounding}))
    assert check(result, "combined.percent").observed == f"{within} of 180"


@pytest.mark.parametrize(
    ("how", "observed"),
    [
        ("value at 00, 04 ... 20 h", "180 of 180"),
        ("mean of 4 h", "180 of 180"),
        ("highest of 4 h", "178 of 180"),
        ("one value a day", "30 of 30"),
    ],
)
def test_what_stands_for_four_hours_is_a_setting(how: str, observed: str) -> None:
    changed = {local(2026, 4, 10, 9): "0.35", local(2026, 4, 12, 23): "0.301"}
    result = run(hourly(changed=changed), raw=sheet(rules={"value_of_4_h": how}))
    assert check(result, "combined.percent").observed == observed


@pytest.mark.parametrize(
    ("people", "words"),
    [("500", ""), ("501", "501 people are served"), ("", "how many are served is not known")],
)
def test_one_value_a_day_is_for_small_systems(people: str, words: str) -> None:
    result = run(raw=sheet(rules={"value_of_4_h": "one value a day"}), people=people)
    found = [note for note in result.notes if "One value a day" in note.text]
    assert [note.kind for note in found] == (["caution"] if words else [])
    assert words in told(result, "caution")


@pytest.mark.parametrize(
    ("filtration", "outcomes"),
    [
        ("conventional or direct", ("fail", "fail")),
        ("slow sand", ("pass", "pass")),
        ("diatomaceous earth", ("pass", "pass")),
        ("older rule 0.5 and 5 NTU", ("fail", "pass")),
    ],
)
def test_the_limits_go_by_the_filtration(filtration: str, outcomes: tuple[str, str]) -> None:
    rows = hourly(changed={**due(10, "0.9"), local(2026, 4, 10, 9): "5"})
    result = run(rows, raw=sheet(rules={"filtration": filtration}))
    assert (shown(result, "combined.percent")[1], shown(result, "combined.highest")[1]) == outcomes
    assert "141" in (check(result, "combined.percent").tolerance or GIVEN.analyzer).source  # type: ignore[union-attr]


def state(high: str, unit: str = "NTU") -> Tolerance:
    return Tolerance(unit, "as the method states", "rule", "letter 7 (invented)", high=Decimal(high))


def test_what_the_state_wrote_stands_in_the_register_and_comes_first() -> None:
    raw = sheet(rules={"filtration": "set by the State"})
    message = refused(raw, hourly())
    assert message.startswith("The limits are set by the State, and the register of AIT-2210 does not hold")
    held = {"cfe_95": state("0.5"), "cfe_max": state("2")}
    result = run(hourly(changed=due(20, "0.5")), raw=raw, tolerances=held)
    assert shown(result, "combined.percent") == ("100.00", "pass")
    assert "letter 7" in check(result, "combined.percent").tolerance.source  # type: ignore[union-attr]
    lower = run(hourly(changed=due(20, "0.2")), tolerances={"cfe_95": state("0.1")})
    assert shown(lower, "combined.percent") == ("88.89", "fail")


@pytest.mark.parametrize(
    ("name", "odd", "words"),
    [
        ("cfe_95", Tolerance("NTU", "simple", "local", "x", low=Decimal(0)), "has no high limit"),
        ("cfe_max", state("1", "mg/L"), "is in mg/L"),
        ("cfe_percent", state("95", "%"), "has no low limit"),
    ],
)
def test_a_limit_that_cannot_be_used_is_refused(name: str, odd: Tolerance, words: str) -> None:
    message = refused(sheet(), hourly(), tolerances={name: odd})
    assert message.startswith(f"The tolerance {name} of AIT-2210 is in {odd.unit} and has")
    assert words in message


# ---------------------------------------------------------------- missing, left out, off line, grabs

GAP = {local(2026, 4, 10, hour): "" for hour in (7, 8, 9)}


def test_a_missing_value_is_found_and_a_grab_stands_for_it() -> None:
    result = run(hourly(changed=GAP))
    assert shown(result, "combined.missing") == ("1", "fail")
    assert "a sample by hand was due. 2026-04-10 08:00: the recording holds no number" in said(result)
    grab = {"at": "2026-04-10 08:20", "result": "0.31", "source": "slip 4"}
    mended = run(hourly(changed=GAP), raw=sheet(combined={"grabs": [grab]}))
    assert shown(mended, "combined.missing") == ("0", "pass")
    assert check(mended, "combined.percent").observed == "179 of 180"
    assert "0.31 NTU stands for 2026-04-10 08:00, taken 2026-04-10 08:20, slip 4" in said(mended)
    assert "0.31 (grab)" in value(mended, "month.day.2026-04-10").label


OPEN = "{} values are left out and no grab stands for them; whether one was due is not known"


@pytest.mark.parametrize(
    ("what", "missing", "observed", "word"),
    [
        ("off line", ("0", "pass"), "179 of 179", "off_line"),
        ("not measured", (OPEN.format(1), "not evaluated"), "179 of 179", "left_out"),
    ],
)
def test_a_time_that_is_typed_is_left_out_and_listed(
    what: str, missing: tuple[str, str], observed: str, word: str
) -> None:
    row = {"what": what, "since": "2026-04-10 07:50", "until": "2026-04-10 08:10", "why": "valve exchanged"}
    result = run(hourly(changed={local(2026, 4, 10, 8): "3.5"}), raw=sheet(combined={"left_out": [row]}))
    assert shown(result, "combined.missing") == missing
    assert check(result, "combined.percent").observed == observed
    assert shown(result, "combined.highest") == ("0.08", "pass")
    assert value(result, f"month.count.{word}").quantity.text == "1"
    assert f"AIT-2210 left out once, {what}: valve exchanged: 04-10 07:50 to 08:10." in said(result)


def cited(procedure: str, *windows: Window, number: str = "L1-2026-0070", **more: Any) -> dict[str, Cited]:
    plain: dict[str, Any] = {"outcomes": {"as_found at the analyzer": "pass"}, "windows": windows}
    tag = more.pop("tag", "AIT-2210")
    day = "2026-04-10T07:30:00-04:00"
    return {number: Cited(number, tag, "TU-88231", procedure, day, "", **{**plain, **more})}


def window(what: str, start: str, end: str) -> Window:
    return Window(what, f"2026-04-10T{start}:00-04:00", f"2026-04-10T{end}:00-04:00" if end else "")


VISIT, HELD = window("visit", "07:30", "08:40"), window("output held", "07:45", "08:30")
FALSE = hourly(changed={local(2026, 4, 10, 8): "0.52"})


@pytest.mark.parametrize(
    ("procedure", "windows", "observed", "words"),
    [
        (
            "turbidity_standard_check",
            (VISIT, HELD),
            "179 of 179",
            "output held: 04-10 07:45 to 08:30 (L1-2026-0070)",
        ),
        (
            "turbidity_standard_check",
            (VISIT,),
            "179 of 179",
            "turbidity standard check, no hold entered: 04-10 07:30",
        ),
        ("grab_comparison", (VISIT,), "179 of 180", ""),
        ("grab_comparison", (VISIT, HELD), "179 of 179", "output held"),
        ("turbidity_standard_check", (window("visit", "08:01", "08:40"),), "179 of 180", "no hold entered"),
    ],
)
def test_holds_and_checks_of_the_month_are_left_out_by_themselves(
    procedure: str, windows: tuple[Window, ...], observed: str, words: str
) -> None:
    result = run(FALSE, records=cited(procedure, *windows))
    assert check(result, "combined.percent").observed == observed
    assert words in said(result)
    assert ("left out" in said(result)) is bool(words)


def test_a_superseded_record_and_one_of_another_analyzer_leave_nothing_out() -> None:
    for more in ({"ended": "superseded"}, {"tag": "AIT-2202"}):
        result = run(FALSE, records=cited("turbidity_standard_check", VISIT, HELD, **more))
        assert check(result, "combined.percent").observed == "179 of 180"


def test_a_hold_ends_where_a_later_record_releases_it() -> None:
    first = cited("turbidity_standard_check", VISIT, window("output held", "07:45", ""))
    back = window("output held", "11:40", "12:30")
    later = cited("turbidity_standard_check", window("visit", "11:30", "12:40"), back, number="L1-2026-0071")
    result = run(FALSE, records={**first, **later})
    assert check(result, "combined.percent").observed == "178 of 178"  # neither 08:00 nor 12:00
    assert "output held, released by a later record: 04-10 07:45 to 12:30 (L1-2026-0070)" in said(result)
    assert "no record releases" not in said(result)


def test_a_hold_that_was_not_released_takes_the_rest_of_the_month_and_says_so() -> None:
    result = run(records=cited("turbidity_standard_check", VISIT, window("output held", "07:45", "")))
    assert check(result, "combined.percent").observed == "56 of 56"
    assert "no record releases the output held in L1-2026-0070; what follows is left out" in told(
        result, "caution"
    )


def test_an_outage_is_left_out_and_its_grabs_stand() -> None:
    facts = {
        "outage.from": "2026-04-10T07:00-04:00",
        "outage.until": "2026-04-10T21:00-04:00",
        "outage.grabs": "2026-04-10T08:05-04:00 0.42; 2026-04-10T12:10-04:00 <0.05",
    }
    result = run(FALSE, records=cited("monitor_outage", VISIT, facts=facts))
    assert value(result, "month.count.grab").quantity.text == "2"
    assert value(result, "month.count.left_out").quantity.text == "2"
    assert check(result, "combined.percent").observed == "177 of 178"
    assert "less than this, outage, record L1-2026-0070" in said(result)
    assert shown(result, "combined.highest") == ("0.42", "pass")


def test_what_is_flagged_bad_does_not_count_and_is_said() -> None:
    rows = hourly(changed={local(2026, 4, 10, 8): "0.9 bad", local(2026, 4, 10, 12): "0.2 good"})
    result = run(rows)
    assert check(result, "combined.percent").observed == "179 of 179"
    assert "AIT-2210: 1 recordings were flagged bad and do not count." in told(result, "caution")


# ---------------------------------------------------------------- filters


@pytest.mark.parametrize(
    ("values", "count", "outcome"),
    [
        (("1.0", "1.0", "1.0"), "0", "pass"),  # A12
        (("0.8", "1.1", "1.2", "0.9"), "1", "fail"),  # A12
        (("1.1", "", "1.2"), "0", "pass"),
        (("1.1", "-", "1.2"), "0", "pass"),
    ],
)
def test_a_filter_has_a_pair_or_has_none(values: tuple[str, ...], count: str, outcome: str) -> None:
    result = run(None, quarters(*values))
    assert shown(result, "AIT-2201.pairs") == (count, outcome)
    assert ("whether there was a pair is not known" in said(result)) is ("" in values or "-" in values)


def test_many_backwashes_are_told_by_the_first_and_the_last_and_what_records_say_one_by_one() -> None:
    washes = {local(2026, 4, day, 9): "0.1 BACKWASH" for day in range(1, 14)}
    thirteen, twelve = (said(run(None, hourly(changed=dict(list(washes.items())[:n])))) for n in (13, 12))
    assert "AIT-2201 left out 13 times, off line, flagged BACKWASH: 04-01" in thirteen
    assert ", 9 more in the flags of the attached slice, 04-13 09:00 to" in thirteen
    assert " more in the flags" not in twelve
    assert "04-07 09:00" in twelve


@pytest.mark.parametrize(
    ("grabs", "missing"),
    [("", ("2", "fail")), ("2026-04-10T08:00-04:00 0.11; 2026-04-10T12:00-04:00 0.12", ("0", "pass"))],
)
def test_an_analyzer_out_of_service_is_no_reason_for_no_value(grabs: str, missing: tuple[str, str]) -> None:
    """40 CFR 141.74(c)(1): every four hours, by hand where it is out of service."""
    facts = {"outage.from": "2026-04-10T07:00-04:00", "outage.until": "2026-04-10T13:00-04:00"}
    facts |= {"outage.grabs": grabs} if grabs else {}
    out = cited("monitor_outage", facts={**facts, "verifies": "no"}, outcomes={})
    assert shown(run(records=out), "combined.missing") == missing


def test_what_is_left_out_and_lies_above_a_limit_is_never_silent() -> None:
    row = {"what": "not measured", "since": "2026-04-10 07:50", "until": "2026-04-10 08:10", "why": "a spike"}
    result = run(hourly(changed={local(2026, 4, 10, 8): "1.2"}), raw=sheet(combined={"left_out": [row]}))
    assert (
        "AIT-2210: 1 recordings that are left out lie above 1 NTU, the highest 1.2 NTU at 2026-04-10 08:00 "
        "(not measured: a spike). Look whether it was water."
    ) in told(result, "caution")
    off = {**row, "what": "off line"}
    result = run(hourly(changed={local(2026, 4, 10, 8): "1.2"}), raw=sheet(combined={"left_out": [off]}))
    assert "that are left out lie above" not in said(result)


@pytest.mark.parametrize(
    ("hours", "outcome"), [(3.75, "pass"), (4, "pass"), (4.25, "not evaluated"), (72, "not evaluated")]
)
def test_hours_without_a_recording_of_a_filter_are_no_pass(hours: float, outcome: str) -> None:
    """40 CFR 141.174(b): a filter whose monitor fails is sampled by hand every four hours."""
    first = local(2026, 4, 10, 9)
    whole = whole_month(quarters("0.09"), "2026-04")
    for cells in (None, ""):  # rows that are not there, rows without a number
        rows = {at: text for at, text in whole.items() if not first < at < first + timedelta(hours=hours)}
        rows |= {at: "" for at in whole if at not in rows} if cells == "" else {}
        result = run(None, rows)
        assert shown(result, "AIT-2201.pairs")[1] == outcome
        assert shown(result, "AIT-2201.two_months")[1] == outcome
    pair = {local(2026, 4, 20, 9): "1.1", local(2026, 4, 20, 9) + timedelta(minutes=15): "1.2"}
    assert shown(run(None, rows | pair), "AIT-2201.pairs") == ("1", "fail")


@pytest.mark.parametrize(
    ("what", "outcome"),
    [("not measured", "not evaluated"), ("off line", "pass"), ("backwash", "pass")],
)
def test_a_pair_that_is_cut_by_what_is_left_out_is_not_known_off_line_apart(what: str, outcome: str) -> None:
    raw = sheet(filters=1)
    row = {"what": what, "since": "2026-04-10 09:25", "until": "2026-04-10 09:35", "why": "valve"}
    raw["filter"][0]["left_out"] = [row]
    assert shown(run(None, PAIR, raw=raw), "AIT-2201.pairs")[1] == outcome


def test_what_is_invalidated_is_not_known_and_nothing_falls_away_by_it() -> None:
    high = {one.number: replace(one, tag="AIT-2201") for one in doubt("invalidate").values()}
    result = run(None, PAIR, records=high)
    assert shown(result, "AIT-2201.pairs_corrected")[1] == "not evaluated"
    assert not [one.what for one in clocks_in(result.facts) if "falls away" in one.what]


def test_the_pair_is_reported_with_filter_value_and_time() -> None:
    result = run(None, quarters("0.8", "1.1", "1.2", "0.9"))
    assert "AIT-2201, above 1.0 NTU twice running, 2026-04-10 09:15 to 09:30: 1.1, 1.2 NTU" in said(result)
    assert value(result, "month.AIT-2201.above_1.0.1").quantity.text == "1.2"
    assert result.facts["ife.AIT-2201.pairs.1"] == "1"
    assert day_of(result, "profile.AIT-2201.2026-04-10") == "2026-04-17"
    known = sheet(filters=1)
    known["filter"][0]["obvious_reason"] = "pump lost its prime"
    result = run(None, quarters("0.8", "1.1", "1.2", "0.9"), raw=known)
    assert not [key for key in result.facts if key.startswith("due.profile")]
    assert "obvious reason as entered: pump lost its prime." in said(result)


def test_off_line_and_backwash_are_no_recordings_of_the_filter() -> None:
    flagged = run(None, quarters("1.1 BACKWASH", "1.2 BACKWASH", "0.1"))
    assert shown(flagged, "AIT-2201.pairs") == ("0", "pass")
    assert "AIT-2201 left out once, off line, flagged BACKWASH: 04-10 09:00 to 09:30." in said(flagged)
    never = "no recording is flagged {}, which was to say that it is off line"
    assert never.format("BACKWASH") not in said(flagged)
    assert f"AIT-2201: {never.format('BACKWASH')}; if the export spells" in said(run(None, quarters("0.1")))
    raw = sheet(filters=1)
    raw["filter"][0]["left_out"] = [
        {"what": "backwash", "since": "2026-04-10 09:00", "until": "2026-04-10 09:30"}
    ]
    assert shown(run(None, quarters("1.1", "1.2"), raw=raw), "AIT-2201.pairs") == ("0", "pass")


@pytest.mark.parametrize(
    ("last", "text", "outcome"),
    [
        (("0.501", "0.501"), "1", "fail"),
        (("0.500", "0.501"), "0", "pass"),
        (("0.499", "0.499"), "0", "pass"),
        (("0.6", ""), "1 of 1 starts have no two recordings at the end of 4 h", "not evaluated"),
    ],
)
def test_the_end_of_the_first_four_hours_is_looked_at(last: tuple[str, str], text: str, outcome: str) -> None:
    """Back at 09:30; the two recordings are those of 13:15 and 13:30."""
    result = run(None, quarters("0.3 BACKWASH", "0.3 BACKWASH", *["0.2"] * 15, *last))
    assert shown(result, "AIT-2201.starts") == (text, outcome)


def test_without_a_known_start_the_first_four_hours_are_not_evaluated() -> None:
    reason, outcome = shown(run(None, quarters("0.2")), "AIT-2201.starts")
    assert outcome is Outcome.NOT_EVALUATED
    assert reason == "no time off line or backwash of it is entered or flagged, so no start is known"


@pytest.mark.parametrize(("people", "asked"), [("9999", False), ("10000", True), ("10001", True), ("", True)])
def test_the_first_four_hours_are_a_rule_of_ten_thousand_people_and_more(people: str, asked: bool) -> None:
    result = run(None, quarters("0.2"), people=people)
    assert any(one.key == "month.AIT-2201.starts" for one in result.checks) is asked
    assert ("does not say how many people" in told(result, "caution")) is not bool(people)


def test_of_a_value_a_minute_those_of_the_quarter_hours_count() -> None:
    start = local(2026, 4, 10, 9)
    rows = {start + timedelta(minutes=n): "1.4" if 16 <= n <= 44 and n != 30 else "0.1" for n in range(90)}
    assert shown(run(None, rows), "AIT-2201.pairs") == ("0", "pass")
    rows |= {start + timedelta(minutes=n): "1.2" for n in (15, 30)}
    assert shown(run(None, rows), "AIT-2201.pairs") == ("1", "fail")


def test_recordings_farther_apart_than_the_rule_asks_for_are_said() -> None:
    start = local(2026, 4, 10, 9)
    rows = {start + timedelta(minutes=20 * n): text for n, text in enumerate(("0.1", "1.1", "1.2", "0.1"))}
    result = run(None, rows)
    assert shown(result, "AIT-2201.pairs") == ("1", "fail")
    assert "AIT-2201 is recorded every 20 min; the rule asks for every 15 min" in told(result, "caution")


def test_the_combined_effluent_stands_for_two_filters_of_a_small_system() -> None:
    raw = sheet(rules={"filters_by": "the combined effluent"})
    rows = hourly() | quarters("0.8", "1.1", "1.2", start=local(2026, 4, 10, 9))
    result = run(rows, raw=raw, people="3000")
    assert shown(result, "AIT-2210.pairs") == ("1", "fail")
    assert "only below 10000 people (40 CFR 141.562), and 10000 people are served" in refused(
        raw, rows, people="10000"
    )
    assert "the register does not say how many are served" in refused(raw, rows, people="")
    both = sheet(filters=1, rules={"filters_by": "the combined effluent"})
    assert "watched by the combined effluent, and filters are entered (AIT-2201)" in not_taken(both)


def test_a_filter_has_limits_of_its_own_where_the_register_says_so() -> None:
    lime = replace(GIVEN.others["AIT-2201"], tolerances={"ife_pair": state("1.5")})
    result = run(None, quarters("1.4", "1.4"), others={"AIT-2201": lime})
    assert shown(result, "AIT-2201.pairs") == ("0", "pass")
    assert result.facts["ife.AIT-2201.pairs.1.5"] == "0"


# ---------------------------------------------------------------- month to month


def earlier(month: str, pair: str = "1", twice: str = "0", number: str = "") -> Earlier:
    facts = {"month": month, "ife.AIT-2201.pairs.1": pair, "ife.AIT-2201.pairs.2": twice}
    name = number or f"L1-{month}"
    return Earlier(name, f"{month}-28T09:00:00-04:00", "TU-88231", facts=facts, procedure="turbidity_month")


PAIR = quarters("0.8", "1.1", "1.2", "0.9")


@pytest.mark.parametrize(
    ("before", "text", "outcome"),
    [
        ((earlier("2026-03", "0"),), "1", "pass"),
        ((earlier("2026-03"), earlier("2026-02", "0")), "2", "pass"),
        ((earlier("2026-03"), earlier("2026-02"), earlier("2026-01", "0")), "3", "fail"),
        ((earlier("2026-03"), earlier("2026-02")), "3", "fail"),
        (
            (),
            "there is no record of 2026-03 in the book, so the months before are not known",
            "not evaluated",
        ),
    ],
)
def test_three_months_in_a_row_ask_for_a_self_assessment(
    before: tuple[Earlier, ...], text: str, outcome: str
) -> None:
    result = run(None, PAIR, earlier=before)
    assert shown(result, "AIT-2201.three_months") == (text, outcome)
    expected = "2026-04-24" if outcome == "fail" else None
    assert day_of(result, "assessment.AIT-2201") == expected


@pytest.mark.parametrize("written", ["1", "1.0", "1.00"])
def test_the_months_before_are_known_however_the_register_writes_the_limit(written: str) -> None:
    """What was told under 1.0 is found under 1, and the other way round."""
    then = run(None, PAIR, others=limited("1.0")).facts
    before = replace(earlier("2026-03"), facts={**then, "month": "2026-03"})
    result = run(None, PAIR, earlier=(before, earlier("2026-02", "0")), others=limited(written))
    assert shown(result, "AIT-2201.three_months") == ("2", "pass")


def limited(pair: str) -> dict[str, Analyzer]:
    """Filter 1 with a limit of its own, as the register writes it."""
    return {"AIT-2201": replace(GIVEN.others["AIT-2201"], tolerances={"ife_pair": state(pair)})}


def test_a_month_without_a_pair_needs_no_months_before() -> None:
    assert shown(run(None, quarters("0.8")), "AIT-2201.three_months") == ("0", "pass")


def test_of_two_records_of_a_month_the_newest_counts_and_the_replaced_one_does_not() -> None:
    newest_first = (earlier("2026-03", "0", number="L1-9"), earlier("2026-03", "1", number="L1-8"))
    assert shown(run(None, PAIR, earlier=newest_first), "AIT-2201.three_months") == ("1", "pass")
    amended = {**sheet(filters=1), "replaces": "L1-9", "replaces_why": "mistyped"}
    result = run(None, PAIR, earlier=newest_first, raw=amended)
    assert shown(result, "AIT-2201.three_months")[1] is Outcome.NOT_EVALUATED


@pytest.mark.parametrize(
    ("people", "days"), [("12000", ("2026-05-10", "2026-07-09")), ("3000", ("2026-06-09", "2026-08-08"))]
)
def test_two_months_above_two_ask_for_an_evaluation(people: str, days: tuple[str, str]) -> None:
    rows = quarters("2.1", "2.2")
    before = (earlier("2026-03", "1", "1"), earlier("2026-02", "0", "0"))
    result = run(None, rows, earlier=before, people=people)
    assert shown(result, "AIT-2201.two_months") == ("2", "fail")
    found = tuple(day_of(result, f"evaluation.{word}.AIT-2201") for word in ("arranged", "done"))
    assert found == days
    none = run(None, rows, earlier=(earlier("2026-03", "1", "0"),), people=people)
    assert shown(none, "AIT-2201.two_months") == ("1", "pass")


@pytest.mark.parametrize(
    ("day", "holidays", "by"),
    [(1, (), "2026-04-02"), (2, (), "2026-04-03"), (2, ("2026-04-03",), "2026-04-06"), (3, (), "2026-04-06")],
)
def test_above_one_ntu_the_state_is_told_by_the_next_business_day(
    day: int, holidays: tuple[str, ...], by: str
) -> None:
    site = replace(GIVEN.site, holidays=holidays)
    result = run(hourly(changed={local(2026, 4, day, 9): "1.2"}), site=site)
    assert day_of(result, f"told.2026-04-{day:02d}") == by
    assert day_of(result, "report") == "2026-05-10"
    assert not [key for key in run().facts if key.startswith("due.told")]


def test_the_report_runs_as_a_clock_on_the_open_sheet() -> None:
    raw = sheet()
    slices = {"trend-1.csv": slice_of(hourly())}
    given = given_for(raw, slices)
    judged = " (180 of 180 at or below 0.3 NTU, highest 0.08 NTU, no pairs)"
    for typed, figures in (
        (raw, judged),
        ({**raw, "status": {}}, judged),
        ({**raw, "rules": {}}, ""),
        ({**raw, "combined": {}}, ""),
    ):
        (clock,) = MONTH.clocks(typed, given, slices)
        assert (clock.what, clock.due) == (
            f"Report of April 2026 to the State{figures}",
            "2026-05-10T23:59-04:00",
        )
    assert MONTH.clocks({}, replace(GIVEN, times={}), {}) == ()


def test_what_follows_from_the_month_runs_as_clocks_too() -> None:
    """Profile, self-assessment and telling the State, on the open sheet as on the record made of it."""
    raw = sheet(filters=1)
    rows = (hourly(changed={local(2026, 4, 10, 9): "1.2"}), PAIR)
    slices = {f"trend-{n}.csv": slice_of(one) for n, one in enumerate(rows, 1)}
    before = (earlier("2026-03"), earlier("2026-02"))
    given = given_for(raw, slices, earlier=before)
    keys = {one.key: one for one in MONTH.clocks(raw, given, slices)}
    assert set(keys) == {
        "report",
        "told.2026-04-10",
        "consulted.2026-04-10",
        "profile.AIT-2201.2026-04-10",
        "assessment.AIT-2201",
    }
    result = run(*rows, earlier=before)
    assert {one.key: one for one in clocks_in(result.facts)} == keys
    assert result.facts["due.of"] == "2026-04"


def test_a_day_that_is_past_is_told_as_past_and_one_ahead_as_ahead() -> None:
    result = run(hourly(changed={local(2026, 4, 10, 9): "1.2"}))  # judged on 2 May
    told = said(result)
    assert "NTU, no pairs): by Sunday 2026-05-10." in told
    assert (
        "State told that the combined effluent exceeded 1 NTU on 2026-04-10: was due by Monday 2026-04-13, "
        "19 days before this month was judged, and nothing entered here says that it was done."
    ) in told
    assert "State consulted whether the public is told of 1.2 NTU on 2026-04-10: was due by Saturday" in told


@pytest.mark.parametrize(
    ("day", "words"),
    [("13", "it was due by Monday 2026-04-13."), ("15", "by Monday 2026-04-13, 2 days late.")],
)
def test_what_was_done_before_the_sheet_is_no_clock_and_told_as_done(day: str, words: str) -> None:
    done = {"what": "told.2026-04-10", "done": f"2026-04-{day} 10:00", "how": "by telephone, log page 12."}
    raw = {**sheet(), "followed": [done]}
    result = run(hourly(changed={local(2026, 4, 10, 9): "1.2"}), raw=raw)
    assert f"on 2026-04-10: done 2026-04-{day} 10:00, by telephone, log page 12; " in said(result)
    assert words in said(result)
    assert [one.key for one in clocks_in(result.facts)] == ["consulted.2026-04-10", "report"]


def test_a_follow_up_the_month_does_not_have_is_refused_with_those_it_has() -> None:
    row = {"what": "told.2026-04-11", "done": "2026-04-13 10:00", "how": "by telephone"}
    high = hourly(changed={local(2026, 4, 10, 9): "1.2"})
    with pytest.raises(ChooseAnother, match=r"told.2026-04-10, report. Name one of them") as told:
        run(high, raw={**sheet(), "followed": [row]})
    assert told.value.where == "followed.0.what"
    twice = [{**row, "what": "told.2026-04-10"}] * 2
    with pytest.raises(CorrectTheEntry, match=r"told\.2026-04-10 is entered as done twice; keep one"):
        run(high, raw={**sheet(), "followed": twice})


@pytest.mark.parametrize(
    ("what", "done", "taken"),
    [
        ("told.2026-04-10", "2026-04-09 23:59", False),
        ("told.2026-04-10", "2026-04-10 00:00", True),
        ("report", "2026-04-30 23:59", False),
        ("report", "2026-05-01 00:00", True),
        ("report", "2026-05-02 09:10", True),
        ("report", "2026-05-02 09:11", False),
    ],
)
def test_nothing_was_done_before_what_it_follows_from_nor_after_the_sheet(
    what: str, done: str, taken: bool
) -> None:
    raw = {**sheet(), "followed": [{"what": what, "done": done, "how": "by telephone"}]}
    high = hourly(changed={local(2026, 4, 10, 9): "1.2"})
    if taken:
        assert f"done {done}" in said(run(high, raw=raw))
        return
    with pytest.raises(CorrectTheEntry, match=f"{what} is entered as done at {done}; it can have been"):
        run(high, raw=raw)


def test_the_state_is_consulted_within_24_h_to_the_minute() -> None:
    high = hourly(changed={local(2026, 4, 10, 9): "1.2", local(2026, 4, 10, 15): "1.4"})
    (one,) = [one for one in clocks_in(run(high).facts) if one.key == "consulted.2026-04-10"]
    assert one.due == "2026-04-11T09:00-04:00"
    assert "of 1.4 NTU on 2026-04-10" in one.what


def test_an_open_sheet_that_cannot_be_judged_yet_breaks_no_list() -> None:
    """Limits of the State that nobody entered, a month that begins on its second day."""
    raw = sheet(rules={"filtration": "set by the State"})
    slices = {"trend-1.csv": slice_of(hourly())}
    given = given_for(raw, slices)
    assert [one.key for one in MONTH.clocks(raw, given, slices)] == ["report"]
    wrong = replace(given, times={**given.times, "month.begins": "2026-04-02T00:00-04:00"})
    assert MONTH.clocks(raw, wrong, slices) == ()


def test_a_pair_breaks_no_limit_of_the_water_and_is_counted_apart() -> None:
    result = run(None, PAIR)
    assert (result.outcome("limits_of_the_water"), result.outcome("no_filter_to_report")) == ("pass", "fail")
    assert result.facts["told.work"] == (
        "April 2026 was judged by the rules of filtration: 0 of 3 limits of the water broken; 1 of 4 checks "
        "of filters ask for a report or more; 2 not evaluated. Was due before, and is not said to be done: "
        "profile.AIT-2201.2026-04-10."
    )


# ---------------------------------------------------------------- in doubt


def doubt(decision: str = "correct", **more: str) -> dict[str, Cited]:
    start, end = "2026-04-05T00:00:00-04:00", "2026-04-20T09:00:00-04:00"
    facts = {
        "answers": "L1-2026-0077",
        "doubt.from": start,
        "doubt.until": end,
        "doubt.full_at": end,
        "doubt.step_at": start,
        "doubt.time_model": "step",
        "doubt.level_model": "offset",
        "doubt.points": "0.5 -0.02",
        "doubt.places": "3",
        "doubt.decision": f"{start} {end} {decision}" if decision else "",
        **more,
    }
    return cited("values_in_doubt", number="L1-2026-0078", facts=facts)


def test_the_share_stands_as_recorded_and_as_corrected_side_by_side() -> None:
    """W18: 3 of 180 above as recorded, 8 more once 0.02 NTU that it read too low is put back."""
    rows = hourly(changed={**due(3, "0.31"), **due(8, "0.29", skip=30)})
    result = run(rows, records=doubt())
    assert shown(result, "combined.percent") == ("98.33", "pass")
    assert shown(result, "combined.percent_corrected") == ("93.89", "fail")
    assert (result.outcome("limits_of_the_water"), result.outcome("limits_of_the_water_corrected")) == (
        "not evaluated",
        "fail",
    )  # no filter
    assert result.facts["rests_on"] == "L1-2026-0078"
    assert "rests_on" not in run(rows).facts
    assert result.facts["cfe.within"] == "177 of 180"
    assert result.facts["cfe.within_corrected"] == "169 of 180"
    told_of = [result.facts[f"told.limits_of_the_water{end}"] for end in ("", "_corrected")]
    assert told_of[0].startswith("April 2026, as recorded: 177 of 180 values of the combined effluent")
    assert told_of[1].startswith("April 2026, as corrected: 169 of 180 values of the combined effluent")
    assert value(result, "month.day.2026-04-06").quantity.text == "0.29"  # as recorded, never overwritten
    assert value(result, "month.day.2026-04-06_corrected").quantity.text == "0.310"
    assert "AIT-2210 is in doubt from 2026-04-05 00:00 to 2026-04-20 09:00 (record L1-2026-0078)" in said(
        result
    )


@pytest.mark.parametrize(
    ("decision", "corrected", "words"),
    [
        ("correct", "169 of 180", "as decided there"),
        ("", "169 of 180", "not decided yet, corrected over the whole period"),
        ("invalidate", "84 of 87", "as decided there"),
        ("accept as is", "", "nothing was corrected or invalidated there"),
        ("qualify", "", "nothing was corrected or invalidated there"),
    ],
)
def test_what_was_decided_about_the_doubt_decides_what_is_corrected(
    decision: str, corrected: str, words: str
) -> None:
    rows = hourly(changed={**due(3, "0.31"), **due(8, "0.29", skip=30)})
    result = run(rows, records=doubt(decision))
    found = [one.observed for one in result.checks if one.key == "month.combined.percent_corrected"]
    assert found == ([corrected] if corrected else [])
    assert check(result, "combined.percent").observed == "177 of 180"
    assert words in said(result)


def test_a_doubt_about_a_filter_moves_its_pairs_and_nothing_else() -> None:
    high = {
        one.number: replace(one, tag="AIT-2201") for one in doubt(**{"doubt.points": "0.5 0.15"}).values()
    }
    result = run(None, PAIR, records=high)
    assert shown(result, "AIT-2201.pairs") == ("1", "fail")
    assert shown(result, "AIT-2201.pairs_corrected") == ("0", "pass")
    assert not [
        one.key for one in result.checks if one.key.startswith("month.combined") and "correct" in one.key
    ]
    assert result.facts["ife.AIT-2201.pairs.1_corrected"] == "0"
    whats = {one.key: one.what for one in clocks_in(result.facts)}
    assert whats["profile.AIT-2201.2026-04-10"].endswith("(as recorded; as corrected it falls away)")
    assert whats["report"].startswith("Report of April 2026 to the State (180 of 180 at or below 0.3 NTU,")
    told_of = [result.facts[f"told.no_filter_to_report{end}"] for end in ("", "_corrected")]
    assert told_of == [
        "April 2026, as recorded: AIT-2201 1 pair above 1.0 NTU.",
        "April 2026, as corrected: AIT-2201 no pairs above 1.0 NTU.",
    ]
    assert "told.limits_of_the_water_corrected" not in result.facts


def test_two_records_that_correct_one_recording_are_refused() -> None:
    """A recording has one error; what neither or only one of two records corrects is no matter."""
    first = doubt()
    (number,) = first
    second = {"L1-2026-0079": replace(first[number], number="L1-2026-0079")}
    rows = hourly(changed=due(3, "0.31"))
    with pytest.raises(CorrectTheEntry) as caught:
        run(rows, records={**first, **second})
    assert caught.value.message == (
        "What AIT-2210 recorded on 2026-04-05 00:00 is corrected by L1-2026-0078 and by L1-2026-0079; one "
        "recording has one error: supersede or void one of the two, or part their periods."
    )
    later = {
        **first[number].facts,
        "doubt.decision": first[number].facts["doubt.decision"].replace("correct", "qualify"),
    }
    kept = {"L1-2026-0079": replace(first[number], number="L1-2026-0079", facts=later)}
    assert check(run(rows, records={**first, **kept}), "combined.percent_corrected").observed == "177 of 180"


@pytest.mark.parametrize("turned", [False, True])
def test_where_one_period_ends_and_another_begins_the_first_stands(turned: bool) -> None:
    until = "2026-04-20T09:00:00-04:00"
    (first,) = doubt().values()
    after = {"doubt.from": until, "doubt.until": "2026-04-22T09:00:00-04:00", "doubt.points": "0.5 -0.05"}
    after |= {"doubt.full_at": after["doubt.until"], "doubt.step_at": until}
    after |= {"doubt.decision": f"{until} {after['doubt.until']} correct"}
    second = replace(first, number="L1-2026-0079", facts={**first.facts, **after})
    if turned:  # the later period was looked into first
        second = replace(second, performed="2026-04-01T08:00-04:00")
    result = run(
        hourly(changed={local(2026, 4, 20, 8): "0.29", local(2026, 4, 20, 12): "0.29"}),
        records={first.number: first, second.number: second},
    )
    told = value(result, "month.day.2026-04-20_corrected")
    assert "0.310" in told.label
    assert told.quantity.text == "0.340"


def test_a_doubt_of_another_month_is_none_of_this_one() -> None:
    past = doubt(**{"doubt.from": "2026-03-01T00:00:00-05:00", "doubt.until": "2026-04-01T00:00:00-04:00"})
    assert not [one.key for one in run(records=past).checks if one.stage.endswith("_corrected")]


def test_a_check_that_failed_and_nobody_answered_is_an_open_doubt() -> None:
    failed = cited(
        "turbidity_standard_check", number="L1-2026-0077", outcomes={"as_found at the analyzer": "fail"}
    )
    assert "Open doubt: AIT-2210 failed as found on 2026-04-10 (record L1-2026-0077)" in told(
        run(records=failed), "caution"
    )
    assert "Open doubt" not in said(run(records={**failed, **doubt()}))
    told_of = cited("call_out", outcomes={"as_found at the analyzer": "fail"}, facts={"verifies": "no"})
    assert "Open doubt" not in said(run(records=told_of))


# ---------------------------------------------------------------- clocks that are changed


def test_recordings_around_the_changed_clocks_are_consecutive_and_it_is_said() -> None:
    """On 2026-03-08 01:45 and 03:00 are 15 min apart."""
    start = local(2026, 3, 8, 1, 45)
    result = run(None, quarters("1.1", "1.2", start=start), month="2026-03")
    assert shown(result, "AIT-2201.pairs") == ("1", "fail")
    assert "2026-03-08 01:45 to 03:00: 1.1, 1.2 NTU" in said(result)
    assert "On 2026-03-08 the clocks were put forward." in said(result)
    assert value(result, "month.due").quantity.text == "186"
    assert "the clocks were put" not in said(run())


def test_in_autumn_the_hour_that_is_there_twice_is_told_apart() -> None:
    second = local(2026, 11, 1, 0, 45) + timedelta(hours=1)  # 01:45, first time
    result = run(None, quarters("1.1", "1.2", start=second), month="2026-11")
    assert "2026-11-01 01:45 -04:00 to 01:00 -05:00: 1.1, 1.2 NTU" in said(result)
    assert "On 2026-11-01 the clocks were put back." in said(result)
    assert value(result, "month.due").quantity.text == "180"


# ---------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("begins", "words"),
    [
        ("2026-04-02 00:00", "a month begins with its first day at 00:00. Type 2026-04-01 00:00."),
        ("2026-04-01 00:01", "a month begins with its first day at 00:00"),
        ("2026-05-01 00:00", "May 2026 was not over when the work started (2026-05-02 09:10)"),
    ],
)
def test_a_month_is_whole_and_over(begins: str, words: str) -> None:
    assert words in refused(sheet() | {"month": {"begins": begins}}, hourly())


@pytest.mark.parametrize(("started", "taken"), [("2026-04-30 23:59", False), ("2026-05-01 00:00", True)])
def test_a_month_is_judged_from_its_last_minute_on(started: str, taken: bool) -> None:
    raw = {**sheet(), "date": started[:10], "started": started[11:]}
    raw["operations_told"] = {"who": "W. Abernathy"}
    if taken:
        assert shown(run(raw=raw), "combined.percent") == ("100.00", "pass")
    else:
        assert "April 2026 was not over" in refused(raw, hourly())


@pytest.mark.parametrize(
    ("since", "until", "words"),
    [
        ("2026-04-10 08:00", "2026-04-10 08:00", "not after it began"),
        ("2026-04-10 08:00", "2026-04-10 07:59", "not after it began"),
        ("2026-03-31 08:00", "2026-04-01 00:00", "lies outside April 2026"),
        ("2026-05-01 00:00", "2026-05-01 01:00", "lies outside April 2026"),
    ],
)
def test_a_time_left_out_lies_in_the_month(since: str, until: str, words: str) -> None:
    row = {"what": "off line", "since": since, "until": until}
    assert words in refused(sheet(combined={"left_out": [row]}), hourly())


def test_what_cannot_be_taken_is_refused_with_what_to_do() -> None:
    grab = {"at": "2026-05-01 00:10", "result": "0.1", "source": "slip"}
    assert "was not taken in April 2026" in refused(sheet(combined={"grabs": [grab]}), hourly())
    row = {"what": "not measured", "since": "2026-04-10 08:00", "until": "2026-04-10 09:00"}
    assert "why is missing" in not_taken(sheet(combined={"left_out": [row]}))
    twice = sheet(filters=2)
    twice["filter"][1]["tag"] = "AIT-2201"
    assert "AIT-2201 is entered for two filters" in not_taken(twice)
    own = sheet(filters=1)
    own["filter"][0]["tag"] = "AIT-2210"
    assert "AIT-2210 is the analyzer of the combined effluent" in not_taken(own)
    assert "The serial on the plate is X-1" in refused(sheet(serial_on_plate="X-1"), hourly())
    other = {"AIT-2201": replace(GIVEN.others["AIT-2201"], unit="pH", measures="pH")}
    assert "AIT-2201 measures pH in pH" in refused(sheet(filters=1), hourly(), PAIR, others=other)
    assert "holds no recording of AIT-2210 in April 2026" in refused(sheet(), hourly("2026-01"))


def test_an_export_in_another_unit_or_not_read_is_refused() -> None:
    raw, slices = sheet(), {"trend-1.csv": slice_of(hourly())}
    given = given_for(raw, slices)
    (use,) = given.trends
    for uses, words in (((replace(use, unit="mNTU"),), "in mNTU"), ((), "was not read")):
        with pytest.raises(ChooseAnother, match=words):
            MONTH.compute(parse(MONTH, raw), replace(given, trends=uses), slices)


# ---------------------------------------------------------------- beside the questions


def beside(name: str, raw: dict[str, Any], path: str, given: Given) -> tuple[str, ...]:
    found = MONTH.beside[name](raw, path, given)
    return (*found.lines, *found.offers)


def test_beside_the_questions_stands_what_is_known() -> None:
    raw = sheet(filters=1)
    given = given_for(raw, {"trend-1.csv": b"", "trend-2.csv": b""}, earlier=(earlier("2026-03"),))
    known = replace(given, records=cited("turbidity_standard_check", VISIT, HELD))
    assert beside("month", raw, "month.begins", given) == (
        "the last month that is over: April 2026",
        "last one on record: 2026-03 (L1-2026-03)",
        "2026-04-01 00:00",
    )
    assert "12000 people served" in beside("limits", raw, "rules.filtration", given)
    assert "AI2201_NTU" in beside("export", raw, "filter.0.export", replace(given, trends=()))[0]
    (line,) = beside("left_out", raw, "combined.left_out.0.what", known)
    assert line.startswith("left out by itself: 2026-04-10 07:45 to 2026-04-10 08:30, output held")
    (none,) = beside("left_out", raw, "filter.0.left_out.0.what", known)
    assert none == "the book knows no hold and no check of AIT-2201 in April 2026"
    for name in MONTH.beside:
        assert beside(name, {}, "combined.export", replace(given, times={}, trends=())) is not None


# ---------------------------------------------------------------- the demo run, counted another way


def rows_of(name: str) -> list[tuple[datetime, str, str]]:
    with (DEMO / name).open(encoding="utf-8") as file:
        return [(datetime.fromisoformat(r["time"]), r["value"], r["flag"]) for r in csv.DictReader(file)]


def test_the_demo_month_counts_as_a_plain_loop_counts_it() -> None:
    grab, step = 0.09, datetime.fromisoformat("2026-03-19T14:00:00-04:00")
    back = datetime.fromisoformat("2026-03-25T10:20:00-04:00")
    recorded, corrected = [], []
    for at, text, _flag in rows_of("trend-1.csv"):
        clock = at.astimezone(ZONE)
        if clock.month != 3 or clock.minute or clock.hour % 4 or (clock.day, clock.hour) == (15, 4):
            continue
        shown_then = float(text) if text else grab
        recorded.append(shown_then)
        corrected.append(round(shown_then + 0.031, 3) if step <= at <= back else shown_then)
    assert len(recorded) == 185
    assert sum(one <= 0.3 for one in recorded) == 182
    assert sum(one <= 0.3 for one in corrected) == 172
    filtered = [(at, float(text)) for at, text, flag in rows_of("trend-2.csv") if flag == "ON LINE"]
    follows: Callable[[int], bool] = lambda n: filtered[n + 1][0] - filtered[n][0] == timedelta(minutes=15)  # noqa: E731
    pairs = [
        n for n in range(len(filtered) - 1) if min(filtered[n][1], filtered[n + 1][1]) > 1 and follows(n)
    ]
    assert len(pairs) == 1
    told = {
        one["key"]: one for one in tomllib.loads((DEMO / "expected_checks.toml").read_text("utf-8"))["check"]
    }
    shares = [told[f"month.combined.percent{of}"]["shown"] for of in ("", "_corrected")]
    assert shares == [f"{100 * 182 / len(recorded):.2f}", f"{100 * 172 / len(recorded):.2f}"]


# ---------------------------------------------------------------- the month of the demo plant


def test_the_export_of_the_demo_plant_is_the_same_each_time_and_covers_the_month() -> None:
    text = export_of(date(2026, 3, 1))
    assert text == export_of(date(2026, 3, 1))
    stamps = [line.partition(",")[0] for line in text.splitlines()[1:]]
    assert (stamps[0], stamps[-1]) == ("2026-03-01T00:00:00-0600", "2026-04-01T00:00:00-0500")
    assert len(stamps) == 31 * 96 - 4 + 1  # an hour is not there
    assert len(text) < 250_000


def test_the_export_of_the_month_holds_what_the_doubt_of_the_month_holds() -> None:
    month = date(2026, 10, 1)
    doubted = doubt_visit(month, "", "").shown.splitlines()[1:]
    head, *lines = (line.split(",") for line in export_of(month).splitlines())
    column = head.index("AIT2202.PV")
    whole = {datetime.fromisoformat(cells[0]): cells[column] for cells in lines}
    assert len(doubted) > 900
    for line in doubted:
        at, text, _flag = line.split(",")
        assert whole[datetime.fromisoformat(at)] == text


def test_the_month_of_the_demo_plant_is_judged_through_its_folder(tmp_path: Path) -> None:
    plant = make_plant(tmp_path / "plant", date(2026, 10, 1))
    (visit,) = month_visits(date(2026, 10, 1))
    (plant.folder / "trends" / visit.trend).write_text(visit.shown, "utf-8")
    raw = tomllib.loads(visit.sheet)
    given, slices = gather(plant, None, MONTH, raw)
    result = MONTH.compute(parse(MONTH, raw), given, slices)
    assert shown(result, "combined.percent") == ("99.46", "pass")
    assert {tag: shown(result, f"{tag}.pairs")[0] for tag in ("AIT-2201", "AIT-2202")} == {
        "AIT-2201": "1",
        "AIT-2202": "1",
    }
    assert value(result, "month.count.grab").quantity.text == "1"


# ---------------------------------------------------------------- a value of 0, and a mean


def test_a_value_of_0_lies_within_the_limit() -> None:
    result = run(hourly(usual="0.000"))
    assert shown(result, "combined.percent") == ("100.00", "pass")
    assert check(result, "combined.percent").observed == "180 of 180"


@pytest.mark.parametrize("of_4_h", ["value at 00, 04 ... 20 h", "mean of 4 h", "highest of 4 h"])
def test_the_state_is_told_of_a_value_above_the_highest_whatever_stands_for_4_h(of_4_h: str) -> None:
    rules = {"value_of_4_h": of_4_h, "highest_of": "the values of 4 h"}
    four = {local(2026, 4, 10, 8 + n): "1.500" for n in range(4)}
    result = run(hourly(changed=four), raw=sheet(rules=rules))
    assert check(result, "combined.highest").outcome == Outcome.FAIL
    assert day_of(result, "told.2026-04-10") == "2026-04-13"  # the 10th is a Friday


def test_a_grab_that_stands_for_no_value_counts_for_the_highest_and_is_told() -> None:
    grabs = [{"at": "2026-04-10 09:30", "result": "1.5", "source": "slip 7"}]
    result = run(raw=sheet(combined={"grabs": grabs}))  # every value that is due is there
    assert check(result, "combined.percent").observed == "180 of 180"
    assert shown(result, "combined.highest") == ("1.5", "fail")
    assert day_of(result, "told.2026-04-10") == "2026-04-13"
    assert (
        "1.5 NTU taken 2026-04-10 09:30 stands for no value that is due, and counts for the highest"
        in said(result)
    )


def test_a_month_without_a_filter_is_no_pass_where_each_is_watched() -> None:
    """40 CFR 141.174(a), 141.560: each filter of conventional and direct filtration."""
    result = run()
    assert check(result, "filters").outcome == Outcome.NOT_EVALUATED
    assert check(result, "filters").reason == "no filter is entered"
    sand = run(raw=sheet(rules={"filtration": "slow sand"}))
    assert not [one for one in sand.checks if one.key == "month.filters"]
    assert sand.outcome("limits_of_the_water") is Outcome.PASS


@pytest.mark.parametrize(("typed", "taken"), [("0.00", True), ("-0.01", False)])
def test_no_turbidity_lies_below_0(typed: str, taken: bool) -> None:
    raw = sheet(combined={"grabs": [{"at": "2026-04-10 09:30", "result": typed, "source": "slip 7"}]})
    if taken:
        assert run(raw=raw).checks
        return
    with pytest.raises(CorrectTheEntry, match=r"The grab reads -0\.01, and no turbidity lies below 0"):
        MONTH.refuse(parse(MONTH, raw), given_for(raw, {"trend-1.csv": b""}))


@pytest.mark.parametrize(
    ("typed", "highest", "of_grab"),
    [
        ("<0.02", "0.08", "0.02 NTU taken 2026-04-10 09:30 stands for no value that is due"),
        ("<1.5 NTU", "1.5", "less than this, slip 7"),
        ("1.5 NTU", "1.5", "counts for the highest, slip 7"),
    ],
)
def test_a_grab_below_detection_counts_as_the_most_it_can_be(typed: str, highest: str, of_grab: str) -> None:
    raw = sheet(combined={"grabs": [{"at": "2026-04-10 09:30", "result": typed, "source": "slip 7"}]})
    result = run(raw=raw)
    assert shown(result, "combined.highest")[0] == highest
    assert of_grab in said(result)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("0.02 mg/L", "0.02 mg/L is not in NTU, as the limits are"),
        ("ND", "'ND' is not a result such as 0.11 NTU or <0.02 NTU"),
        ("<", "'<' is not a result such as 0.11 NTU or <0.02 NTU"),
    ],
)
def test_what_is_no_result_of_a_grab_is_refused_with_what_to_type(typed: str, words: str) -> None:
    raw = sheet(combined={"grabs": [{"at": "2026-04-10 09:30", "result": typed, "source": "slip 7"}]})
    assert words in not_taken(raw)


SECOND = '[[filter]]\ntag = "{}"  # the second\nexport = "x.csv"\n\n[status]'


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("[status]", SECOND.format("AIT-2201"), 'tag = "AIT-2201"  # the second', "entered for two filters"),
        ("[status]", SECOND.format("AIT-2210"), 'tag = "AIT-2210"  # the second', "among the filters too"),
        (
            "[rules]",
            '[rules]\nfilters_by = "the combined effluent"',
            'filters_by = "the combined effluent"',
            "and filters are entered (AIT-2201); delete rules.filters_by, or the filters.",
        ),
    ],
)
def test_what_contradicts_itself_names_its_line(old: str, new: str, line: str, words: str) -> None:
    text = (DEMO / "visit.toml").read_text("utf-8").replace(old, new, 1)
    document = Document(Path("month.toml"), text, tomllib.loads(text))
    with pytest.raises(CorrectTheEntry) as caught:
        parse(MONTH, document.data, document)
    at = text.splitlines().index(line) + 1
    assert caught.value.message.startswith(f"month.toml, line {at}: ")
    assert words in caught.value.message
