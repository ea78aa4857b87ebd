"""When a question is asked by itself: a passing visit of a round is short, nothing that counts is missed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from wqverify.procedures import PROCEDURES
from wqverify.procedures.blank import is_list
from wqverify.procedures.opening import CONDITIONS, SoFar, is_wanted
from wqverify.procedures.parts import Head, SameAs, Tail
from wqverify.procedures.sheets import parse
from wqverify.procedures.walk import Question, questions
from wqverify.records.record import case_from, compute
from wqverify.records.workbook import demo_case
from wqverify.terms import Check, Outcome, Result, Tolerance

NAMES = sorted(PROCEDURES)
# Answered once for the whole round, or known before a visit begins.
SHARED = frozenset({"procedure", "tag", "reason", "performed_by", "date", "method", "cautions"})
SHARED |= {"operations_told"}
HEAD = frozenset(Head.model_fields) - SHARED
TAIL = frozenset(Tail.model_fields)

# ---------------------------------------------------------------- conditions


def check(outcome: Outcome, stage: str = "as_found", counts: bool = True) -> Result:
    return Result((Check("k", stage, "Error", outcome, reason="why", counts=counts),))


FAIL, CLOSE, PASS = (check(outcome) for outcome in (Outcome.FAIL, Outcome.TOO_CLOSE, Outcome.PASS))
HELD = {"output_held": {"at": "08:14"}}
NOT_HELD = {"output_held": {"not_done": "no dosing hangs on it"}}
MANUAL, BLOCKED = {"loop_in_manual": {"at": "08:14"}}, {"alarm_blocked": {"at": "08:14"}}
CLEANED, SERVICED = {"cleaned": {"how": "soft cloth"}}, {"service": {"how": "membrane wiped"}}
OFFSET, ALONE = {"decision": {"action": "offset"}}, {"decision": {"action": "leave alone"}}
REPLACE = {"decision": {"action": "replace"}}
ADJUSTED = {"adjusted": {"at": "08:50"}}
ROUND, OWN = True, False
AGAINST = {
    "tank": {"reference": {"against": "tank draw-down, levels in ft"}},
    "strap-on": {"reference": {"against": "strap-on meter"}},
    "totaliser": {"reference": {"against": "totaliser"}},
}


OF_ROW = ("a number is read", "a question is answered", "a limit of one's own", "after a backwash")


@pytest.mark.parametrize(
    ("when", "raw", "result", "in_round", "wanted"),
    [
        ("", {}, None, ROUND, True),
        ("on request", {**HELD, **CLEANED, **ADJUSTED}, FAIL, OWN, False),
        ("own visit", {}, None, OWN, True),
        ("own visit", {}, FAIL, ROUND, False),
        ("a sample flows", {}, None, ROUND, True),
        # as found failed or lies too close; passed; nothing computed yet; not evaluated
        ("not passed", {}, FAIL, ROUND, True),
        ("not passed", {}, CLOSE, ROUND, True),
        ("not passed", {}, PASS, ROUND, False),
        ("not passed", {}, None, ROUND, False),
        ("not passed", {}, check(Outcome.NOT_EVALUATED), ROUND, False),
        ("not passed", {}, check(Outcome.FAIL, "as_left"), ROUND, False),
        ("not passed", {}, check(Outcome.FAIL, counts=False), ROUND, False),
        ("own visit or not passed", {}, FAIL, ROUND, True),
        ("own visit or not passed", {}, PASS, OWN, True),
        ("own visit or not passed", {}, PASS, ROUND, False),
        ("own visit or not passed", {}, None, ROUND, False),
        # done; typed only in part; not there; not done
        ("cleaned", CLEANED, None, ROUND, True),
        ("cleaned", {"cleaned": {"how": "", "at": "08:30"}}, None, ROUND, True),
        ("cleaned", {"cleaned": {"how": ""}}, None, ROUND, False),
        ("cleaned", {}, None, OWN, False),
        ("cleaned", {"cleaned": {"not_done": "it was clean"}}, None, OWN, False),
        ("decided to adjust", OFFSET, None, ROUND, True),
        ("decided to adjust", ALONE, None, OWN, False),
        ("decided to adjust", REPLACE, None, OWN, False),
        ("decided to adjust", {}, FAIL, OWN, False),
        ("decided to adjust", {"decision": {"action": ""}}, FAIL, OWN, False),
        ("decided to change", OFFSET, None, ROUND, True),
        ("decided to change", REPLACE, None, OWN, True),
        ("decided to change", ALONE, None, OWN, False),
        ("decided to change", {}, FAIL, OWN, False),
        ("replaced", REPLACE, None, ROUND, True),
        ("replaced", OFFSET, None, OWN, False),
        ("replaced", {}, FAIL, OWN, False),
        ("replaced", {"decision": {"action": ""}}, FAIL, OWN, False),
        ("adjusted", ADJUSTED, None, ROUND, True),
        ("adjusted", {"adjusted": {"at": ""}}, None, ROUND, False),
        ("adjusted", {}, None, ROUND, False),
        ("adjusted", {"adjusted": {"not_done": "locked menu"}}, None, ROUND, False),
        ("changed", CLEANED, None, ROUND, True),
        ("changed", SERVICED, None, ROUND, True),
        ("changed", ADJUSTED, None, ROUND, True),
        ("changed", REPLACE, None, ROUND, True),
        ("changed", ALONE, None, OWN, False),
        ("changed", {}, FAIL, OWN, False),
        ("changed", {"cleaned": {"not_done": "it was clean"}}, None, OWN, False),
        ("own visit or changed", {}, None, OWN, True),
        ("own visit or changed", CLEANED, None, ROUND, True),
        ("own visit or changed", {}, None, ROUND, False),
        ("own visit or changed", {"adjusted": {"not_done": "locked"}}, None, ROUND, False),
        ("restricted", {"status": {"state": "out of service"}}, None, ROUND, True),
        ("restricted", {"status": {"state": "in service with restriction"}}, None, ROUND, True),
        ("restricted", {"status": {"state": "in service"}}, None, OWN, False),
        ("restricted", {"status": {}}, None, OWN, False),
        ("restricted", {}, None, OWN, False),
        ("nothing online", {}, None, ROUND, True),
        ("nothing online", {"online": [{"shown": ""}]}, None, ROUND, True),
        ("nothing online", {"online": []}, None, ROUND, True),
        ("nothing online", {"online": [{"shown": "0.085"}]}, None, OWN, False),
        # what was taken out of use: a time; not done; not there; still open
        # of a flow: kind of meter, what it is compared with, how it is read
        ("differential pressure", {"meter": {"kind": "differential pressure"}}, None, ROUND, True),
        ("differential pressure", {"meter": {"kind": "magnetic"}}, None, OWN, False),
        ("differential pressure", {}, None, OWN, False),
        ("against a tank", AGAINST["tank"], None, ROUND, True),
        ("against a tank", AGAINST["strap-on"], None, OWN, False),
        ("against a tank", AGAINST["totaliser"], None, OWN, False),
        ("against a tank", {"reference": {"against": ""}}, None, OWN, False),
        ("against a tank, own visit", AGAINST["tank"], None, OWN, True),
        ("against a tank, own visit", AGAINST["tank"], None, ROUND, False),
        ("against a tank, own visit", AGAINST["totaliser"], None, OWN, False),
        ("against a strap-on meter", AGAINST["strap-on"], None, ROUND, True),
        ("against a strap-on meter", AGAINST["tank"], None, OWN, False),
        ("against a totaliser", AGAINST["totaliser"], None, ROUND, True),
        ("against a totaliser", AGAINST["strap-on"], None, OWN, False),
        ("totals compared", {"reference": {"read_as": "totals in kgal"}}, None, ROUND, True),
        ("totals compared", {"reference": {"read_as": "rates"}}, None, OWN, False),
        ("rates compared", {"reference": {"read_as": "rates"}}, None, ROUND, True),
        ("rates compared", {"reference": {"read_as": "totals in m3"}}, None, OWN, False),
        ("rates compared", {}, None, OWN, False),
        ("output held", HELD, None, ROUND, True),
        ("output held", NOT_HELD, None, OWN, False),
        ("output held", {}, None, OWN, False),
        ("output held", {"output_held": {"at": ""}}, None, OWN, False),
        ("loop in manual", MANUAL, None, ROUND, True),
        ("loop in manual", {"loop_in_manual": {"not_done": "no loop"}}, None, OWN, False),
        ("loop in manual", {}, None, OWN, False),
        ("loop in manual", {**HELD, **BLOCKED}, None, OWN, False),
        ("alarm blocked", BLOCKED, None, ROUND, True),
        ("alarm blocked", {"alarm_blocked": {"not_done": "none"}}, None, OWN, False),
        ("alarm blocked", {}, None, OWN, False),
        ("alarm blocked", {**HELD, **MANUAL}, None, OWN, False),
        ("output not held", NOT_HELD, None, ROUND, True),
        ("output not held", {}, None, ROUND, True),
        ("output not held", {"output_held": {"at": ""}}, None, ROUND, True),
        ("output not held", HELD, None, OWN, False),
        ("own visit, output not held", NOT_HELD, None, OWN, True),
        ("own visit, output not held", {}, None, OWN, True),
        ("own visit, output not held", HELD, None, OWN, False),
        ("own visit, output not held", NOT_HELD, None, ROUND, False),
        ("permission given", {"permission": {"given_by": "R. Tolliver"}}, None, ROUND, True),
        ("permission given", {"permission": {"given_by": ""}}, None, OWN, False),
        ("permission given", {"permission": {"not_done": "it is ours"}}, None, OWN, False),
        ("permission given", {}, None, OWN, False),
        ("copied from paper", {"copied_from_paper": {}}, None, OWN, True),
        ("copied from paper", {"copied_from_paper": {"by": "IQU"}}, None, ROUND, True),
        ("copied from paper", {}, None, OWN, False),
        ("copied from paper", {"copied_from_paper": ""}, None, OWN, False),
        ("repaired", {"repaired": {"what": "terminal 7"}}, None, OWN, True),
        ("repaired", {"repaired": {"not_done": "no wire at hand"}}, None, OWN, False),
        ("repaired", {}, None, OWN, False),
        ("came at once", {"model": {"time": "step"}}, None, OWN, True),
        ("came at once", {"model": {"time": "linear"}}, None, OWN, False),
        ("came at once", {"model": {"time": ""}}, None, OWN, False),
        ("came at once", {}, None, OWN, False),
    ],
)
def test_a_condition_asks_for_what_it_says(
    when: str, raw: dict[str, Any], result: Result | None, in_round: bool, wanted: bool
) -> None:
    assert is_wanted(when, SoFar(raw, result, in_round)) is wanted


@pytest.mark.parametrize(
    ("when", "row", "wanted"),
    [
        ("a number is read", {"what": "current at the far end"}, True),
        ("a number is read", {"what": "is the pipe full at standstill?"}, False),
        ("a question is answered", {"what": "is the pipe full at standstill?"}, True),
        ("a question is answered", {"what": "current at the far end"}, False),
        ("a limit of one's own", {"what": "alarm"}, True),
        ("a limit of one's own", {"what": "limit"}, True),
        ("a limit of one's own", {"what": "never above"}, False),
        ("after a backwash", {"what": "two in a row after 4 h"}, True),
        ("after a backwash", {"what": "two in a row"}, False),
        *((when, row, False) for when in OF_ROW for row in ({}, {"what": ""}, {"what": []}, "", None)),
    ],
)
def test_a_condition_of_a_row_looks_at_its_own_row(when: str, row: Any, wanted: bool) -> None:
    raw = {"measured": [{"what": "current at the far end"}, row]}
    assert is_wanted(when, SoFar(raw, path="measured.1.reading")) is wanted


def test_what_flows_is_asked_where_a_sample_flows() -> None:
    assert not is_wanted("a sample flows", SoFar({}, sampled=False))
    sampled = {name for name in NAMES if PROCEDURES[name].Sheet.SAMPLED}
    assert sampled >= {"ph_calibration", "turbidity_standard_check", "chlorine_check", "conductivity_check"}
    assert not sampled & {"loop_check", "level_check", "flow_check", "temperature_check"}


def test_every_condition_is_tried_and_one_there_is_not_is_a_fault() -> None:
    (mark,) = test_a_condition_asks_for_what_it_says.pytestmark
    assert {row[0] for row in mark.args[1]} | {*OF_ROW} == set(CONDITIONS)
    with pytest.raises(KeyError):
        is_wanted("on a Sunday", SoFar({}))


@pytest.mark.parametrize("when", CONDITIONS)
@pytest.mark.parametrize(
    "part",
    ["output_held", "loop_in_manual", "cleaned", "decision", "status", "online", "adjusted", "permission"],
)
@pytest.mark.parametrize("wrong", ["", "text", [], [""], {}, {"at": []}, {"action": {}}, None])
def test_a_sheet_of_another_shape_is_not_typed_and_no_error(when: str, part: str, wrong: Any) -> None:
    assert is_wanted(when, SoFar({part: wrong})) in (True, False)


# ---------------------------------------------------------------- what a visit asks


def asked(part: type[BaseModel], raw: dict[str, Any], so_far: SoFar, path: str = "") -> Iterator[str]:
    """The prompts of a part: a list of readings is one, what the clock answers is none.

    Whether another row follows is no prompt: last time's number of rows is reached.
    """
    for question in questions(part):
        here, field = f"{path}{question.name}", part.model_fields[question.name]
        if question.ask.clock or not is_wanted(question.ask.when, so_far):
            continue
        if not question.parts:
            yield here
        else:
            yield from _inside(question, field, raw.get(question.name), so_far, here)


def _inside(question: Question, field: FieldInfo, given: Any, so_far: SoFar, here: str) -> Iterator[str]:
    if isinstance(given, dict) and ("not_done" in given or "same_as" in given):
        yield here
    elif is_list(field):
        for index, row in enumerate(given if isinstance(given, list) else [{}]):
            yield from asked(question.parts[0], row, so_far, f"{here}.{index}.")
    else:
        yield from asked(question.parts[0], given if isinstance(given, dict) else {}, so_far, f"{here}.")


def prompts(name: str, raw: dict[str, Any], result: Result) -> list[str]:
    """The prompts of a visit: what stands together in head or tail is confirmed as usual by one."""
    so_far = SoFar(raw, result, ROUND)
    found = []
    for path in asked(PROCEDURES[name].Sheet, raw, so_far):
        top = path.partition(".")[0]
        if top in SHARED:
            continue
        which = "head" if top in HEAD and top != "serial_on_plate" else "tail" if top in TAIL else path
        if found[-1:] != [which]:
            found.append(which)
    return found


def parts_asked(name: str, raw: dict[str, Any], result: Result | None) -> set[str]:
    """The parts of the sheet that are asked within a round."""
    return {path.partition(".")[0] for path in asked(PROCEDURES[name].Sheet, raw, SoFar(raw, result, ROUND))}


HELD_FIRST = ("output_held", "loop_in_manual", "alarm_blocked")
VISIT = {
    "cautions": {"read": "yes"},
    "operations_told": {"who": "W. Abernathy", "at": "08:12"},
    "reason": "routine",
    "performed_by": "IQU",
    "date": "2026-03-03",
    "started": "08:10",
    "status": {"state": "in service"},
    **HELD,
    "output_released": {"at": "09:14"},
    "as_left": {"same_as": "as_found"},
}


UNTOUCHED = {
    key: value for key, value in VISIT.items() if key not in ("as_left", "output_held", "output_released")
}


def in_bottle(name: str, *readings: str) -> dict[str, Any]:
    return {"standard": name, "temperature_c": "21.6", "readings": list(readings)}


def buffer(name: str, *readings: str) -> dict[str, Any]:
    return {"standard": name, "temperature_c": "18.4", "readings": list(readings)}


PASSING: dict[str, tuple[dict[str, Any], list[str]]] = {
    "ph_calibration": (
        {
            **VISIT,
            "process_before": {"ph": "7.62", "control_system": "7.60", "at": "08:13"},
            "as_found": {
                "points": [
                    buffer("B7-4471", "7.04", "7.03", "7.03"),
                    buffer("B10-1180", "10.07", "10.08", "10.08"),
                ]
            },
        },
        [
            "serial_on_plate",
            "process_before.ph",
            "process_before.control_system",
            "head",
            "as_found.points.0.standard",
            "as_found.points.0.temperature_c",
            "as_found.points.0.readings",
            "as_found.points.1.standard",
            "as_found.points.1.temperature_c",
            "as_found.points.1.readings",
            "as_left",
            "tail",
        ],
    ),
    "turbidity_standard_check": (
        {
            **VISIT,
            "process_before": {"ntu": "0.084", "control_system": "0.083", "at": "08:13"},
            "as_found": {
                "points": [{"standard": "S-05", "readings": ["0.545", "0.545", "0.545"], "insertions": "1"}]
            },
            "process_after": {"ntu": "0.084", "control_system": "0.083", "at": "09:13"},
        },
        [
            "serial_on_plate",
            "process_before.ntu",
            "process_before.control_system",
            "head",
            "as_found.points.0.standard",
            "as_found.points.0.readings",
            "as_left",
            "tail",
            "process_after.ntu",
            "process_after.control_system",
            "tail",
        ],
    ),
    "chlorine_check": (
        {
            **UNTOUCHED,
            "kind": "free",
            "cell": {"flow_ml_min": "480"},
            "as_found": {
                "shown": "0.81",
                "control_system": "0.81",
                "collected": "08:13",
                "instrument": "P-2",
                "grab_a": "0.82 mg/L",
                "grab_b": "0.84 mg/L",
                "analysed": "08:15",
            },
        },
        [
            "serial_on_plate",
            "head",
            "kind",
            "cell.flow_ml_min",
            "as_found.shown",
            "as_found.control_system",
            "as_found.collected",
            "as_found.instrument",
            "as_found.grab_a",
            "as_found.grab_b",
            "as_found.analysed",
            "tail",
        ],
    ),
    "level_check": (
        {
            **UNTOUCHED,
            "permission": {"given_by": "R. Tolliver", "at": "08:11"},
            "as_found": {
                "points": [
                    {
                        "by": "tape",
                        "instrument": "TP-1",
                        "reference": ["17.62"],
                        "display": "23.7",
                        "ma": "13.48",
                        "remote": "23.7",
                        "own": "23.7",
                    }
                ]
            },
            "town_told": {"who": "R. Tolliver"},
        },
        [
            "serial_on_plate",
            "head",
            "permission.given_by",
            "as_found.points.0.by",
            "as_found.points.0.instrument",
            "as_found.points.0.reference",
            "as_found.points.0.display",
            "as_found.points.0.ma",
            "as_found.points.0.remote",
            "as_found.points.0.own",
            "town_told.who",
            "tail",
        ],
    ),
    "conductivity_check": (
        {
            **VISIT,
            "process_before": {"shown": "612", "control_system": "612", "at": "08:13"},
            "as_found": {
                "points": [
                    in_bottle("K500-2207", "501", "501", "501"),
                    in_bottle("K1413-2210", "1420", "1420", "1420"),
                ]
            },
        },
        [
            "serial_on_plate",
            "process_before.shown",
            "process_before.control_system",
            "head",
            "as_found.points.0.standard",
            "as_found.points.0.temperature_c",
            "as_found.points.0.readings",
            "as_found.points.1.standard",
            "as_found.points.1.temperature_c",
            "as_found.points.1.readings",
            "as_left",
            "tail",
        ],
    ),
    "temperature_check": (
        {
            **VISIT,
            "process_before": {"shown": "9.1", "control_system": "9.1", "at": "08:13"},
            "as_found": {
                "points": [
                    {"standard": "T-17", "reference": "5.12", "readings": ["5.1", "5.1", "5.1"]},
                    {"standard": "T-17", "reference": "22.14", "readings": ["22.1", "22.1", "22.1"]},
                ]
            },
        },
        [
            "serial_on_plate",
            "process_before.shown",
            "process_before.control_system",
            "head",
            "as_found.points.0.standard",
            "as_found.points.0.reference",
            "as_found.points.0.readings",
            "as_found.points.1.standard",
            "as_found.points.1.reference",
            "as_found.points.1.readings",
            "as_left",
            "tail",
        ],
    ),
    "loop_check": (
        {
            **UNTOUCHED,
            "far_end": {"who": "W. Abernathy"},
            "reference": {"instrument": "C-3"},
            "as_found": {
                "rising": {
                    "applied_ma": ["4.000", "8.000", "12.000", "16.000", "20.000"],
                    "display": ["0", "300", "600", "900", "1200"],
                },
                "falling": {"display": ["1200", "900", "600", "300", "0"]},
            },
        },
        [
            "serial_on_plate",
            "head",
            "far_end.who",
            "reference.instrument",
            "as_found.rising.applied_ma",
            "as_found.rising.display",
            "as_found.falling.display",
            "tail",
        ],
    ),
    "flow_check": (
        {
            **UNTOUCHED,
            "reference": {
                "against": "tank draw-down, levels in ft",
                "standard": "TK-1",
                "read_as": "totals in kgal",
            },
            "as_found": {
                "duration_s": "1800",
                "level_start": "13.45",
                "level_stop": "10.83",
                "meter_start": "88214.35",
                "meter_stop": "88238.62",
                "control_system": ["806", "809", "807"],
            },
        },
        [
            "serial_on_plate",
            "head",
            "reference.against",
            "reference.standard",
            "reference.read_as",
            "as_found.duration_s",
            "as_found.level_start",
            "as_found.level_stop",
            "as_found.meter_start",
            "as_found.meter_stop",
            "as_found.control_system",
            "tail",
        ],
    ),
    "grab_comparison": (
        {
            **UNTOUCHED,
            "sample_flow_ml_min": "500",
            "online": [
                {"shown": "0.085", "at": "08:20"},
                {"shown": "0.086", "at": "08:25"},
                {"shown": "0.085", "at": "08:30"},
            ],
            "grab": [
                {
                    "taken_at": "process tap",
                    "collected": "08:22",
                    "instrument": "L-4",
                    "result": "0.09 NTU",
                    "analysed": "08:40",
                }
            ],
        },
        [
            "serial_on_plate",
            "head",
            "sample_flow_ml_min",
            "online.0.shown",
            "online.1.shown",
            "online.2.shown",
            "grab.0.taken_at",
            "grab.0.collected",
            "grab.0.instrument",
            "grab.0.result",
            "grab.0.analysed",
            "tail",
        ],
    ),
}


def computed(name: str, raw: dict[str, Any]) -> Result:
    """What the visit gives, with a tolerance of the register that is neither wide nor narrow."""
    plain = demo_case(name)
    for key in ("procedure", "tag", "serial_on_plate"):
        raw[key] = plain["sheet"][key]
    case = case_from({**plain, "sheet": raw, "slices": {}})
    day = f"{raw['date']}T"
    times = {"started": f"{day}08:10-05:00", "grab.0.collected": f"{day}08:22-05:00"}
    times |= {f"online.{n}.at": f"{day}08:{20 + 5 * n}-05:00" for n in range(3)}
    times |= {"as_found.collected": f"{day}08:13-05:00", "as_found.analysed": f"{day}08:15-05:00"}
    times |= {"grab.0.analysed": f"{day}08:40-05:00"}
    given = replace(case.given, times=times, trends=(), attached={})
    if name == "grab_comparison":
        wide = Tolerance("NTU", "simple", "local", "invented", Decimal("-0.03"), Decimal("0.03"))
        given = replace(given, analyzer=replace(given.analyzer, tolerances={"grab": wide}))
    return compute(replace(case, sheet=raw, given=given))


@pytest.mark.parametrize("name", PASSING)
def test_a_passing_visit_of_a_round_takes_at_most_twelve_prompts(name: str) -> None:
    raw, expected = PASSING[name]
    sheet = {**raw}
    result = computed(name, sheet)
    assert result.outcome("as_found") is Outcome.PASS
    assert parse(PROCEDURES[name], sheet)
    assert prompts(name, sheet, result) == expected
    assert len(expected) <= 12


@pytest.mark.parametrize("name", PASSING)
def test_where_it_did_not_pass_as_found_the_ways_on_open(name: str) -> None:
    raw = {**PASSING[name][0]}
    tops = parts_asked(name, raw, FAIL) - parts_asked(name, raw, PASS)
    ways = {
        "ph_calibration": {"cleaned", "decision"},
        "turbidity_standard_check": {"cleaned"},
        "chlorine_check": {*HELD_FIRST, "cell_current", "zero", "service", "decision"},
        "flow_check": {*HELD_FIRST, "meter", "zero", "decision"},
        "level_check": {*HELD_FIRST, "second", "service", "decision"},
        "grab_comparison": {"decision"},
        "loop_check": {"decision"},
        "conductivity_check": {"cleaned", "decision"},
        "temperature_check": {"decision"},
    }
    assert tops == {*ways[name], "cause", "remarks"}


@pytest.mark.parametrize(
    ("name", "typed", "opened"),
    [
        ("ph_calibration", CLEANED, {"after_cleaning"}),
        ("ph_calibration", OFFSET, {"adjusted", "decision"}),
        ("ph_calibration", ADJUSTED, {"check_buffer", "constants_as_left", "process_after", "grab_after"}),
        ("turbidity_standard_check", CLEANED, {"after_cleaning"}),
        ("turbidity_calibration", {"decision": {"action": "gain"}}, {"adjusted"}),
        ("turbidity_calibration", ADJUSTED, {"constants_as_left"}),
        ("chlorine_check", SERVICED, {"as_left"}),
        ("chlorine_check", {"decision": {"action": "zero"}}, {"adjusted"}),
        ("flow_check", {"decision": {"action": "root extraction"}}, {"adjusted"}),
        ("flow_check", ADJUSTED, {"zero_left", "as_left"}),
        ("level_check", SERVICED, {"as_left", "ranges_as_left"}),
        ("level_check", {"decision": {"action": "zero"}}, {"adjusted"}),
        ("level_check", ADJUSTED, {"as_left", "ranges_as_left"}),
        ("level_check", {"permission": {"given_by": "R. Tolliver"}}, {"town_told"}),
        ("conductivity_check", CLEANED, {"after_cleaning"}),
        ("conductivity_check", {"decision": {"action": "cell constant"}}, {"adjusted"}),
        ("temperature_check", {"decision": {"action": "offset"}}, {"adjusted"}),
        ("grab_comparison", {"decision": {"action": "adjust"}}, {"adjusted", *HELD_FIRST}),
        ("grab_comparison", ADJUSTED, {"online_after", "grab_after"}),
        ("loop_check", {"decision": {"action": "set the range"}}, {"adjusted"}),
        ("loop_check", ADJUSTED, {"as_left"}),
        ("call_out", {"repaired": {"what": "terminal 7"}}, {"measured_again"}),
    ],
)
def test_what_was_done_opens_what_follows_from_it(name: str, typed: dict[str, Any], opened: set[str]) -> None:
    assert opened <= parts_asked(name, typed, FAIL) - parts_asked(name, {}, None)


# What nobody may miss in a visit of its own.
ALWAYS = {
    "ph_calibration": ("process_before", "as_found", "as_left", "process_after", "check_buffer"),
    "turbidity_standard_check": ("process_before", "as_found", "as_left", "process_after"),
    "turbidity_calibration": ("process_before", "as_found", "as_left", "process_after", "assign"),
    "chlorine_check": ("kind", "cell", "as_found"),
    "flow_check": ("meter", "reference", "as_found", "zero"),
    "level_check": (
        "permission",
        "confined_space",
        "datum",
        "ranges",
        "as_found",
        "second",
        "ranges_as_left",
    ),
    "grab_comparison": ("online", "grab"),
    "loop_check": ("far_end", "reference", "root", "ranges", "supply", "as_found", "states", "as_left"),
    "standard_preparation": ("stock", "water", "steps", "label"),
    "conductivity_check": ("compensation", "process_before", "as_found", "as_left", "process_after"),
    "temperature_check": ("process_before", "element", "as_found", "as_left", "process_after"),
    "call_out": ("symptom", "at_first", "meter", "measured", "repaired", "signal"),
    "turbidity_month": ("month", "rules", "combined", "filter"),
    "monitor_outage": ("failed", "grab", "standstill", "notice", "returned", "signal"),
    "values_in_doubt": ("failed", "last_good", "period", "evidence", "model", "trend", "used", "decided"),
}
# Done where the records are, or at the bench: nothing is taken out of use for them.
AT_A_DESK = {"standard_preparation", "values_in_doubt", "turbidity_month"}
HOLDS = (
    ("output_held", "output_released"),
    ("loop_in_manual", "loop_in_auto"),
    ("alarm_blocked", "alarm_restored"),
)


@pytest.mark.parametrize("name", NAMES)
def test_a_visit_of_its_own_asks_all_that_nobody_may_miss(name: str) -> None:
    sheet, untouched = PROCEDURES[name].Sheet, name in AT_A_DESK
    tops = {path.partition(".")[0] for path in asked(sheet, {}, SoFar({}))}
    assert {*ALWAYS[name], "cautions", "status", "remarks", "clocks"} <= tops
    assert ("operations_told" in tops) is not untouched
    assert untouched is PROCEDURES[name].Sheet.DESK
    for done, undone in HOLDS:
        held = {done: {"at": "08:14"}}
        touching = {"decision": {"action": "adjust"}} if name == "grab_comparison" else {}
        asks = {path.partition(".")[0] for path in asked(sheet, touching, SoFar(touching))}
        assert (done in asks) is not untouched
        assert undone in {path.partition(".")[0] for path in asked(sheet, held, SoFar(held))}
        assert undone not in tops


# ---------------------------------------------------------------- in the order of the work

TOUCHED = ("ph_calibration", "turbidity_standard_check", "turbidity_calibration")
TOUCHED += ("conductivity_check", "temperature_check")


def before(paths: list[str], first: str, second: str) -> bool:
    return paths.index(first) < paths.index(second)


@pytest.mark.parametrize(
    ("name", "first", "second"),
    [
        ("ph_calibration", "as_found.points.0.readings", "as_found.points.0.mv"),
        ("ph_calibration", "grab.0.meter", "grab.0.ph"),
        ("ph_calibration", "grab.0.ph", "grab.0.analysed"),
        ("turbidity_standard_check", "as_found.points.0.diluted.water", "as_found.points.0.readings"),
        ("turbidity_standard_check", "as_found.points.0.readings", "as_found.points.0.insertions"),
        ("turbidity_calibration", "assign.0.readings", "assign.0.insertions"),
        ("grab_comparison", "online.0.shown", "grab.0.result"),
        ("grab_comparison", "grab.0.collected", "grab.0.instrument"),
        ("grab_comparison", "grab.0.instrument", "grab.0.result"),
        ("grab_comparison", "grab.0.result", "grab.0.analysed"),
        ("grab_comparison", "grab.0.result", "trend"),
        ("chlorine_check", "as_found.instrument", "as_found.grab_a"),
        ("chlorine_check", "as_found.grab_b", "as_found.analysed"),
        ("chlorine_check", "cell_current.currents_ua", "zero.how"),
        ("chlorine_check", "zero.how", "zero.currents_ua"),
        ("flow_check", "as_found.control_system", "output_held.at"),
        ("flow_check", "output_held.at", "zero.how"),
        ("flow_check", "zero.readings", "adjusted.what"),
        ("flow_check", "adjusted.what", "as_left.duration_s"),
        # what the control system shows is read while its output lives
        *[(name, "process_before.control_system", "output_held.at") for name in TOUCHED],
        *[(name, "output_held.at", "as_found.points.0.standard") for name in TOUCHED],
        *[(name, "output_released.at", "process_after.control_system") for name in TOUCHED],
        ("chlorine_check", "as_found.control_system", "output_held.at"),
        ("level_check", "permission.given_by", "as_found.points.0.reference"),
        ("level_check", "as_found.points.0.reference", "as_found.points.0.display"),
        ("level_check", "as_found.points.0.own", "output_held.at"),
        ("level_check", "output_held.at", "second.points.0.reference"),
        ("level_check", "output_released.at", "town_told.who"),
        ("chlorine_check", "output_held.at", "zero.how"),
        ("grab_comparison", "online.0.control_system", "output_held.at"),
        ("grab_comparison", "output_held.at", "adjusted.what"),
        ("loop_check", "loop_in_manual.at", "as_found.rising.applied_ma"),
        ("loop_check", "far_end.who", "as_found.rising.display"),
        ("loop_check", "ranges.0.low", "as_found.rising.applied_ma"),
        ("loop_check", "as_found.rising.applied_ma", "as_found.rising.display"),
        ("loop_check", "as_found.rising.display", "as_found.falling.display"),
        ("loop_check", "as_left.rising.display", "output_released.at"),
        *[(name, "condition.as_arrived", "output_held.at") for name in NAMES],
        *[(name, "clocks.control_system", "clocks.laptop") for name in NAMES],
        *[(name, "operations_told_after.who", "deviations") for name in NAMES],
    ],
)
def test_questions_come_in_the_order_of_the_work(name: str, first: str, second: str) -> None:
    assert before(list(_all(PROCEDURES[name].Sheet)), first, second)


@pytest.mark.parametrize("name", NAMES)
def test_a_time_the_clock_answers_comes_right_after_what_it_times(name: str) -> None:
    paths = {path: question for path, question in _questions(PROCEDURES[name].Sheet)}
    for path, question in paths.items():
        if question.ask.clock:
            group = path.rpartition(".")[0]
            earlier = [p for p in paths if p.rpartition(".")[0] == group and before(list(paths), p, path)]
            assert earlier, f"{path} times nothing"


def _all(part: type[BaseModel]) -> Iterator[str]:
    return (path for path, _question in _questions(part))


def _questions(part: type[BaseModel], path: str = "") -> Iterator[tuple[str, Question]]:
    for question in questions(part):
        here, many = f"{path}{question.name}", is_list(part.model_fields[question.name])
        if not question.parts:
            yield here, question
        elif question.parts[0] is not SameAs:
            yield from _questions(question.parts[0], f"{here}.{'0.' if many else ''}")
