"""Call-out: the signal split in halves, tests around each tolerance, what is refused, a stepped visit.

Outside values: GTC as a second library for the judged uncertainty of the demo visit and one central
difference; A21 and A23 of the project's external facts (7.2 mA on 0 to 5 is 1.000; NAMUR NE 43). That
half-splitting finds every place of a fault is tried on signals made for the test.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from gtc import same_as_central_difference, same_as_gtc
from one_procedure import Of, told
from plant_example import MONTH
from step_driver import step_to

from wqverify.demo.ellodale import make_plant
from wqverify.desk import Desk, open_desk
from wqverify.entry.screen import Act, Screen, chosen
from wqverify.procedures import PROCEDURES
from wqverify.procedures.call_out_case import CHAIN, IN, OUT, VOLTS, WORDS, Case
from wqverify.procedures.call_out_chain import halves, hops, region
from wqverify.procedures.call_out_compare import model_of
from wqverify.procedures.call_out_stages import as_found, fault
from wqverify.procedures.call_out_table import next_ones
from wqverify.procedures.sheets import parse
from wqverify.procedures.walk import answered
from wqverify.records.canonical import given_from
from wqverify.records.record import case_from, compute
from wqverify.records.workbook import demo_case
from wqverify.shipped import shipped_folder
from wqverify.terms import Analyzer, Given, Hop, Outcome, Result, Standard, Tolerance

CALL_OUT = PROCEDURES["call_out"]
DEMO = shipped_folder("demo_runs") / "call_out"
GIVEN: Given = given_from(json.loads((DEMO / "given.json").read_text("utf-8")))
STANDARDS = {
    "M-4": Standard("M-4", "multimeter", "multimeter", "4", "mA", calibration_due="2026-09-30"),
    "M-5": Standard("M-5", "multimeter", "multimeter", "5", "mA", calibration_due="2026-03-11"),
}

# ---------------------------------------------------------------- cases


def within(size: str, unit: str, rule: Any = "simple") -> Tolerance:
    return Tolerance(
        unit=unit, rule=rule, basis="local", source="invented", low=-Decimal(size), high=Decimal(size)
    )


def hop(name: str, low: str = "0", high: str = "100", **more: Any) -> Hop:
    return Hop(name, Decimal(low), Decimal(high), "ft", **more)


def analyzer(**changes: Any) -> Analyzer:
    """A level of 0 to 100 ft, so that a foot is a percent of span and 0.16 mA."""
    plain: dict[str, Any] = {
        "measures": "level",
        "kind": "hydrostatic transmitter",
        "unit": "ft",
        "low": Decimal(0),
        "high": Decimal(100),
        "digit": Decimal("0.1"),
        "hops": (
            hop("transmitter"),
            hop("input card", input_ohm=Decimal(250)),
            hop("display"),
            hop("archive"),
        ),
        "tolerances": {"error": within("0.5", "ft")},
        "settings": {},
        "sample_line": None,
    }
    return replace(GIVEN.analyzer, **{**plain, **changes})


def row(what: str, found: str, **more: str) -> dict[str, str]:
    return {"what": what, ("seen" if what.endswith("?") else "reading"): found, **more}


def visit(*rows: dict[str, str], ends: tuple[str, str] = ("50.0", "50.0"), **more: Any) -> dict[str, Any]:
    return {
        "procedure": "call_out",
        "tag": "AIT-2301",
        "serial_on_plate": "CL-51077",
        "reason": "call-out",
        "performed_by": "IQU",
        "date": "2026-03-12",
        "started": "02:31",
        "cautions": {"read": "yes"},
        "operations_told": {"who": "W. Abernathy"},
        "symptom": {"what": "reads wrong"},
        "at_first": {"display": ends[0], "control_system": ends[1], "at": "02:36"},
        "measured": list(rows),
        "status": {"state": "out of service"},
        **more,
    }


REPAIRED = {"what": "terminal 7", "state_from": "loose", "state_to": "tight", "at": "03:10"}
of_them = Of(CALL_OUT, GIVEN, analyzer, STANDARDS, "as_found.display_to_control_system")
run, check, refused, not_taken = of_them.run, of_them.check, of_them.refused, of_them.not_taken


def run_with(raw: dict[str, Any], **changes: Any) -> Result:
    return run(raw, of_them.given_for(raw, analyzer(**changes)))


def outcomes(result: Result) -> dict[str, Outcome]:
    return {c.key: c.outcome for c in result.checks}


BOTH = {"error": within("0.5", "ft"), "control_system": within("1.5", "ft")}
# ---------------------------------------------------------------- four tests around each tolerance


@pytest.mark.parametrize(
    ("shown", "outcome"),
    [("50.9", Outcome.PASS), ("51.0", Outcome.PASS), ("51.1", Outcome.FAIL), ("48.9", Outcome.FAIL)],
)
def test_two_places_agree_within_one_percent_of_span(shown: str, outcome: Outcome) -> None:
    found = check(run(visit(ends=("50.0", shown))))
    assert found.outcome is outcome
    assert found.place == "control system"
    assert found.tolerance is not None
    assert found.tolerance.source.endswith("common practice, no source")


@pytest.mark.parametrize(
    ("shown", "outcome"),
    [("50.4", Outcome.PASS), ("50.5", Outcome.PASS), ("50.6", Outcome.FAIL)],
)
def test_the_share_of_span_is_a_setting_of_the_register(shown: str, outcome: Outcome) -> None:
    found = run_with(visit(ends=("50.0", shown)), tolerances={"call_out_signal": within("0.5", "%")})
    assert check(found).outcome is outcome


@pytest.mark.parametrize(
    ("shown", "outcome"),
    [("51.4", Outcome.PASS), ("51.5", Outcome.PASS), ("51.6", Outcome.FAIL), ("48.4", Outcome.FAIL)],
)
def test_both_ends_agree_within_the_tolerance_of_the_control_system_where_there_is_one(
    shown: str, outcome: Outcome
) -> None:
    found = check(run_with(visit(ends=("50.0", shown)), tolerances=BOTH))
    assert found.outcome is outcome
    assert found.quantity is not None
    assert found.quantity.unit == "ft"


@pytest.mark.parametrize(
    ("reference", "outcome"),
    [("49.6", Outcome.PASS), ("49.5", Outcome.PASS), ("49.4", Outcome.FAIL), ("50.6", Outcome.FAIL)],
)
def test_the_display_agrees_with_the_water_within_the_tolerance_of_the_analyzer(
    reference: str, outcome: Outcome
) -> None:
    found = check(run(visit(row("value by a reference", reference))), "as_found.reference_to_display")
    assert found.outcome is outcome
    assert found.place == "analyzer"


@pytest.mark.parametrize(
    ("reference", "outcome"),
    [("49.0", Outcome.PASS), ("48.5", Outcome.PASS), ("48.4", Outcome.FAIL)],
)
def test_without_a_display_the_control_system_is_held_against_the_water(
    reference: str, outcome: Outcome
) -> None:
    raw = visit(row("value by a reference", reference), at_first={"control_system": "50.0", "at": "02:36"})
    found = check(run_with(raw, tolerances=BOTH), "as_found.reference_to_control_system")
    assert found.outcome is outcome
    assert found.tolerance is not None
    assert found.tolerance.high == Decimal("1.5")


def test_a_tolerance_in_percent_is_of_the_reference() -> None:
    raw = visit(row("value by a reference", "40.0"), ends=("42.0", "42.0"))
    found = run_with(raw, tolerances={"error": within("5", "%")})
    against = check(found, "as_found.reference_to_display")
    assert (against.outcome, against.quantity and against.quantity.text) == (Outcome.PASS, "5.0")
    nothing = visit(row("value by a reference", "0.0"), ends=("0.0", "0.0"))
    missing = check(
        run_with(nothing, tolerances={"error": within("5", "%")}), "as_found.reference_to_display"
    )
    assert missing.reason == "the tolerance is in % and water is not above 0"


def test_without_a_tolerance_nothing_is_judged_against_the_water() -> None:
    found = run_with(visit(row("value by a reference", "40.0")), tolerances={})
    assert check(found, "as_found.reference_to_display").outcome is Outcome.NOT_EVALUATED
    assert "holds no tolerance" in check(found, "as_found.reference_to_display").reason
    assert "The fault lies" not in told(found, "statement")  # what is not judged locates nothing


def test_one_place_alone_is_not_compared() -> None:
    raw = visit(at_first={"display": "50.0"})
    (only,) = run(raw).checks
    assert (only.key, only.outcome) == ("as_found.signal", Outcome.NOT_EVALUATED)
    assert only.reason.startswith("fewer than two places")
    (none,) = run(visit(at_first={"not_done": "radio dead"})).checks
    assert none.key == "as_found.signal"


# ---------------------------------------------------------------- half-splitting

FEET = Decimal(50)
NAMES = [WORDS[place.what] for place in CHAIN]


def signal(at: int, off: Decimal) -> dict[str, str]:
    """What each place shows where a fault behind one of them moves all that follows by some percent."""
    shown = {}
    for index, place in enumerate(CHAIN):
        percent = FEET + (off if index > at else 0)
        current = 4 + 16 * percent / 100
        volts = current * 250 / 1000
        text = {OUT.what: current, IN.what: current, VOLTS.what: volts}.get(place.what, percent)
        shown[place.what] = f"{text:.4f}"
    return shown


@pytest.mark.parametrize("at", range(len(CHAIN) - 1))
@pytest.mark.parametrize("off", [Decimal("-4.4"), Decimal("1.6"), Decimal(30)])
def test_what_is_asked_next_finds_a_fault_wherever_it_is(at: int, off: Decimal) -> None:
    """Whoever always measures what comes first has the fault between two neighbours, within five readings."""
    truth = signal(at, off)
    rows: list[dict[str, str]] = []
    ends = (truth["value on the display"], truth["value in the control system"])
    for _ in range(6):
        raw = visit(*rows, ends=ends)
        case = as_found(parse(CALL_OUT, raw), of_them.given_for(raw))
        wrong = fault(case)
        if wrong is not None and not halves(case, (wrong.before, wrong.after)):
            break
        measure, _why = next_ones(case)[0]
        if measure.what not in truth:  # nothing is wrong up to the control system
            measure = CHAIN[-1]
        rows.append(row(measure.what, truth[measure.what]))
    assert wrong is not None
    assert wrong.between == (NAMES[at], NAMES[at + 1])
    assert len(rows) <= 5
    assert f"he fault lies between {NAMES[at]} and {NAMES[at + 1]}: " in told(
        run(visit(*rows, ends=ends)), "statement"
    )


def test_between_two_ends_that_differ_what_opens_nothing_comes_first_then_the_middle() -> None:
    raw = visit(ends=("50.0", "60.0"))
    case = as_found(parse(CALL_OUT, raw), of_them.given_for(raw))
    ends = region(case, hops(case, "as_found"))
    assert ends is not None
    assert [place.what for place in halves(case, ends)] == [VOLTS.what, OUT.what, IN.what]
    without = as_found(parse(CALL_OUT, raw), of_them.given_for(raw, analyzer(hops=())))
    assert [place.what for place in halves(without, ends)] == [OUT.what, IN.what]  # no resistor, no volts


def test_only_what_lies_in_the_wrong_part_is_asked_for() -> None:
    """Where the ends differ nobody cleans a sensor; where they agree nobody opens a loop."""
    differ = visit(ends=("50.0", "60.0"))
    case = as_found(parse(CALL_OUT, differ), of_them.given_for(differ))
    offered = {measure.what for measure, _why in next_ones(case)}
    assert "level with the vent tube opened" not in offered
    assert "4 mA at the transmitter is" in offered
    wrong = visit(row("value by a reference", "40.0"))
    case = as_found(parse(CALL_OUT, wrong), of_them.given_for(wrong))
    offered = {measure.what for measure, _why in next_ones(case)}
    assert "level with the vent tube opened" in offered
    assert not offered & {OUT.what, IN.what, "4 mA at the transmitter is"}


def test_a_place_stands_for_the_range_the_register_has_there() -> None:
    """A21: 7.2 mA on 0 to 5 is 1.000; a far end in inches of the same water is no fault."""
    five = (hop("transmitter", "0", "5"), hop("display", "0", "5"))
    raw = visit(row(OUT.what, "7.200"), ends=("1.000", "1.000"))
    found = run_with(raw, hops=five, high=Decimal(5))
    assert check(found, "as_found.display_to_transmitter").quantity.text == "0.000"  # type: ignore[union-attr]
    inches = (hop("transmitter"), Hop("display", Decimal(0), Decimal(1200), "in"))
    assert check(run_with(visit(), hops=inches)).outcome is Outcome.PASS


ORIFICE = {"measures": "raw flow", "kind": "differential-pressure transmitter on an orifice"}


def test_where_a_root_may_be_taken_a_current_is_compared_once_it_is_known_where() -> None:
    """8 mA is 50 % of the flow where the control system takes the root: no fault, and none said before."""
    raw = visit(row(IN.what, "8.000"), ends=("50.0", "50.0"))
    unknown = run_with(raw, **ORIFICE)
    assert outcomes(unknown) == {
        "as_found.display_to_far_end": Outcome.NOT_EVALUATED,
        "as_found.far_end_to_control_system": Outcome.NOT_EVALUATED,
        "as_found.ends": Outcome.PASS,
    }
    assert "not known where the square root is taken" in told(unknown, "statement")
    assert check(run(raw), "as_found.far_end_to_control_system").outcome is Outcome.FAIL  # of a level: linear
    raw = visit(
        row(IN.what, "8.000"),
        row("square root taken in the control system?", "yes"),
        row("square root taken in the transmitter?", "no"),
        ends=("50.0", "50.0"),
    )
    assert set(outcomes(run_with(raw, **ORIFICE)).values()) == {Outcome.PASS}


@pytest.mark.parametrize(
    ("current", "shown", "both", "opinion"),
    [
        # display 50 % of a flow: 12 mA where the transmitter takes the root; a second root shows 70.7 %
        ("12.000", "70.7", "yes", "Both ends take the root."),
        # nobody takes it: 8 mA, shown as 25 %
        ("8.000", "25.0", "no", "Neither end takes the root."),
    ],
)
def test_a_double_or_missing_root_fails_though_every_place_agrees_with_the_next(
    current: str, shown: str, both: str, opinion: str
) -> None:
    raw = visit(
        row("square root taken in the transmitter?", both),
        row("square root taken in the control system?", both),
        row(IN.what, current),
        ends=("50.0", shown),
    )
    found = run_with(raw, **ORIFICE)
    assert outcomes(found)["as_found.ends"] is Outcome.FAIL
    assert found.outcome("as_found", "control system") is Outcome.FAIL
    said = told(found, "statement")
    assert "Every place agrees with the one before it, and the two ends do not" in said
    assert "where the square root is taken" in said
    assert opinion in told(found, "opinion")
    assert (
        "outside its tolerance between the display of the analyzer and the control system"
        in found.facts["told.as_found"]
    )


def test_a_value_beyond_the_range_of_the_output_stands_at_its_end_and_is_no_fault() -> None:
    """Display 146 on 0 to 100, 20.5 mA, control system 100.0: a matter of the range."""
    found = run(visit(row(OUT.what, "20.50"), ends=("146.0", "100.0")))
    assert set(outcomes(found).values()) == {Outcome.PASS}
    assert "146.0 ft lies beyond the 0 to 100 of the output" in told(found, "statement")
    stuck = run(visit(row(OUT.what, "16.00"), ends=("146.0", "75.0")))  # no end of the signal: it sticks
    assert outcomes(stuck)["as_found.display_to_transmitter"] is Outcome.FAIL


@pytest.mark.parametrize(
    ("current", "words"),
    [
        ("3.50", "failure low by NE 43"),
        ("21.50", "failure high by NE 43"),
        ("0.00", "no current flows at all"),
        ("20.40", ""),
        ("3.90", ""),
    ],
)
def test_a_failure_current_is_no_value(current: str, words: str) -> None:
    """A23: 3.5 mA failure, 3.9, 12 and 20.4 valid, 21.5 failure."""
    found = told(run(visit(row(IN.what, current))), "statement")
    assert words in found
    assert ("NE 43" in found) is bool(words)


# ---------------------------------------------------------------- uncertainty


def demo() -> Case:
    raw = demo_case("call_out")
    known = case_from(raw)
    return as_found(parse(CALL_OUT, known.sheet), known.given)


@pytest.mark.parametrize("index", range(4))
def test_the_demo_visit_is_as_sure_as_gtc_has_it(index: int) -> None:
    case = demo()
    judged = hops(case, "as_found")[index]
    if judged.before.what == "value by a reference":
        return_value = judged.check.quantity
        assert return_value is not None
        digits = 0.01 / 12**0.5  # both read to 0.01 mg/L, nothing else: by hand 2 x 0.01/sqrt(6)
        assert return_value.u == pytest.approx(2**0.5 * digits)
        return
    x, model = model_of(case, "as_found", judged.before, judged.after)
    found = same_as_gtc(lambda v: {"e": model(v)}, x)
    same_as_central_difference(lambda v: {"e": model(v)}, x, found)
    quantity = judged.check.quantity
    assert quantity is not None
    assert quantity.u == pytest.approx(found["e"].u)


def test_one_multimeter_at_both_ends_cancels_and_two_places_by_eye_do_not() -> None:
    """What the meter has wrong is the same at both ends: 0.5 % of 8 mA would be 0.25 % of span else."""
    quantities = {c.key.partition(".")[2]: c.quantity for c in (h.check for h in hops(demo(), "as_found"))}
    same = quantities["transmitter_to_far_end"]
    other = quantities["display_to_transmitter"]
    assert same is not None
    assert other is not None
    assert same.u is not None
    assert other.u is not None
    assert same.u < other.u / 4


# ---------------------------------------------------------------- after the repair


def test_what_failed_and_was_repaired_is_read_again_or_not_evaluated() -> None:
    wrong = visit(row(IN.what, "10.00"), ends=("50.0", "37.5"), repaired=REPAIRED)
    found = run(wrong)
    again = check(found, "as_left.display_to_far_end.again")
    assert (again.outcome, again.reason) == (Outcome.NOT_EVALUATED, "failed as found and was not read again")
    read = run({**wrong, "signal": {"display": "50.0", "control_system": "50.1", "at": "03:20"}})
    assert outcomes(read)["as_left.display_to_control_system"] is Outcome.PASS
    assert not [key for key in outcomes(read) if key.endswith(".again")]
    half = run({**wrong, "measured_again": [row(IN.what, "12.00")]})  # one of the two places alone
    assert check(half, "as_left.display_to_far_end.again").outcome is Outcome.NOT_EVALUATED


def test_a_fault_that_stays_is_said_where_it_goes_back_into_service() -> None:
    wrong = visit(ends=("50.0", "60.0"), status={"state": "in service"})
    assert "nothing was repaired, and it is in service; nobody says why" in told(run(wrong), "caution")
    noted = visit(ends=("50.0", "60.0"), status={"state": "in service", "note": "operations add 10"})
    assert "it is in service (operations add 10)." in told(run(noted), "caution")
    assert "it is in service" not in told(run(visit(ends=("50.0", "60.0"))), "caution")


def test_a_fault_of_the_signal_opens_a_loop_check() -> None:
    assert CALL_OUT.opens(run(visit(ends=("50.0", "60.0")))) == (
        ("loop_check", "two places of its signal did not agree"),
    )
    assert CALL_OUT.opens(run(visit(row("value by a reference", "40.0")))) == ()


def test_a_value_read_while_the_output_was_held_is_not_compared_with_what_follows() -> None:
    held = {"at": "02:40"}
    raw = visit(
        row("value on the display", "55.0", at="02:50"),
        row(OUT.what, "12.00", at="02:51"),
        output_held=held,
        output_released={"at": "03:00"},
    )
    found = run(raw)
    assert check(found, "as_found.display_to_transmitter").outcome is Outcome.NOT_EVALUATED
    assert "stood still" in check(found, "as_found.display_to_transmitter").reason
    assert check(found, "as_found.transmitter_to_control_system").outcome is Outcome.PASS


def test_readings_far_apart_in_time_are_said() -> None:
    late = told(run(visit(row(OUT.what, "12.00", at="02:42"), ends=("50.0", "50.0"))), "caution")
    assert "Transmitter mA against display (read 6 min apart): the water may have moved between them." in late
    soon = visit(row(OUT.what, "12.00", at="02:41"), ends=("50.0", "50.0"))
    assert "apart" not in told(run(soon), "caution")


# ---------------------------------------------------------------- what is said


def test_an_opinion_has_its_author_and_is_no_statement() -> None:
    found = compute(case_from(demo_case("call_out")))
    opinions = {note.author: note.text for note in found.notes if note.kind == "opinion"}
    assert set(opinions) == {'the fault table, row "loop, two ends differ" (computed)', "IQU"}
    assert "a leak across the input, about 2489 ohm beside 250 ohm" in next(iter(opinions.values()))
    statements = [note.text for note in found.notes if note.kind == "statement"]
    assert statements[0] == (
        "The fault lies between the current at the transmitter and the current at the far end: 7.78 mA is "
        "23.6 % of the span, 7.07 mA is 19.2 %."
    )
    advice = [note.text for note in found.notes if note.kind == "advice"]
    assert "What would confirm it: insulation between the two wires, both ends off." in advice


def test_what_it_cannot_see_is_said() -> None:
    good = told(run(visit()), "cannot see")
    assert "A fault that comes and goes" in good
    assert "nothing was read against it" in good
    assert "nothing was read between them" in good
    against = told(run(visit(row("value by a reference", "50.0"))), "cannot see")
    assert "its own uncertainty is not in U" in against


def test_a_reading_with_a_unit_of_its_own_is_converted_and_shown_both_ways() -> None:
    raw = visit(row("value by a reference", "15.24 m"))
    found = run(raw)
    assert check(found, "as_found.reference_to_display").quantity.text == "0.0"  # type: ignore[union-attr]
    value = next(v for v in found.values if v.label.startswith("value by a reference"))
    assert (value.quantity.text, value.quantity.unit, value.source) == ("50", "ft", "typed 15.24 m")


def test_operations_are_told_in_words_between_which_places_and_what_was_repaired() -> None:
    found = compute(case_from(demo_case("call_out")))
    assert found.facts == {
        "verifies": "no",
        "told.work": "Repaired: junction box at the clearwell: terminals 7 and 8.",
        "told.as_found": "As found it was outside its tolerance between the current at the transmitter and "
        "the current at the far end: 7.07 mA against 7.78 mA.",
        "told.opinion": "An opinion, not verified: The current is lost in proportion: a leak across "
        "the input, "
        "about 2489 ohm beside 250 ohm. Between the transmitter and the input card.",
        "told.as_left": "As left all that was read along the signal agreed, from the display of the "
        "analyzer to "
        "the control system.",
    }
    left = run(visit(row(IN.what, "10.00"), ends=("50.0", "37.5"), repaired=REPAIRED)).facts
    assert left["told.as_left"] == "As left what did not agree was not read again."
    assert run(visit()).facts["told.work"] == "Nothing was repaired."


def test_a_good_grab_clears_no_analyzer_and_a_bad_one_counts() -> None:
    """How sure the reference is, nobody entered: a pass is shown and is no verdict, a fail is one."""
    good = run(visit(row("value by a reference", "50.0")))
    assert good.outcome("as_found") is None
    assert good.outcome("as_found", "control system") is Outcome.PASS
    assert run(visit(row("value by a reference", "40.0"))).outcome("as_found") is Outcome.FAIL


# ---------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("raw", "sentence"),
    [
        (
            visit(row("value by a reference", "15.24 psi")),
            "measured.0.reading is 15.24 psi, and a value in ft is typed in m, cm, mm, ft or in; type it in "
            "one of these, or without a unit where it is in ft.",
        ),
        (
            visit(row(OUT.what, "12.00 V")),
            "measured.0.reading is 12.00 V, and a value in mA is typed without a unit or in mA alone; read "
            "it in mA.",
        ),
        (
            visit(row(OUT.what, "1200")),
            "measured.0.reading is 1200 mA: a current at the transmitter outside -1 to 200 mA is taken as "
            "mistyped; type what was shown, or leave it out and say so in the remarks.",
        ),
        (
            visit(row("input resistor", "0")),
            "measured.0.reading: input resistor is 0; only what is above 0 can be compared with. Read it "
            "again.",
        ),
        (
            visit(meter="M-5"),
            "The calibration of M-5 (multimeter) was due on 2026-03-11, the work was on 2026-03-12. Ways on: "
            "take a meter that is in date, or leave the id out: then its readings count as those of an "
            "unknown meter.",
        ),
        (
            visit(meter="M-9"),
            "meter names 'M-9', which standards_on_hand.toml does not hold; correct the sheet or add it.",
        ),
    ],
)
def test_what_cannot_be_taken_is_refused_in_one_sentence(raw: dict[str, Any], sentence: str) -> None:
    assert refused(raw) == sentence


def test_a_range_of_zero_width_is_refused() -> None:
    raw = visit()
    sentence = refused(raw, of_them.given_for(raw, analyzer(hops=(hop("transmitter", "5", "5"),))))
    assert sentence.startswith("The range 5 to 5 has no width")


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (visit({"what": "curent at the far end", "reading": "12"}), "did you mean current at the far end?"),
        (visit({"what": "the colour", "reading": "12"}), "pick one by its number"),
        (visit({"what": OUT.what, "seen": "yes"}), "it takes a reading and nothing under seen"),
        (visit({"what": "slower than usual in the buffers?", "reading": "1"}), "it takes seen, yes or no"),
        (visit({"what": OUT.what}), "it takes a reading"),
        (visit(measured_again=[row(OUT.what, "12.0")]), "repaired has no time"),
        (visit(at_first={"at": "02:36"}), "neither end was read"),
        (visit(loop_in_manual={"at": "02:40"}), "loop_in_manual has a time and loop_in_auto is missing"),
        (visit(symptom={"what": "broken"}), "reads wrong"),
    ],
)
def test_what_does_not_belong_together_is_not_taken(raw: dict[str, Any], words: str) -> None:
    assert words in not_taken(raw)


# ---------------------------------------------------------------- stepped


NIGHT = datetime(2026, 5, 12, 6, 31, tzinfo=UTC)


class Clock:
    def __init__(self, at: datetime) -> None:
        self.at = at

    def __call__(self) -> datetime:
        return self.at


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    folder = tmp_path / "plant"
    make_plant(folder, MONTH)
    return folder


def say(desk: Desk, *texts: str) -> Screen:
    for text in texts:
        screen = desk.act(Act("answer", chosen(desk.screen, text), desk.screen.path))
        assert not screen.refused, screen.notice
    return desk.screen


def until(desk: Desk, path: str, sheet: Mapping[str, str]) -> None:
    """Answer what stands before a question, each part that is not told here as not done."""
    for _ in range(60):
        screen = desk.screen
        if screen.path == path:
            return
        if screen.kind == "aside":
            desk.act(Act("answer", "not needed tonight", screen.path))
        elif screen.path in sheet:
            say(desk, sheet[screen.path])
        elif any(key.do == "not done" for key in screen.keys):
            desk.act(Act("not done", "", screen.path))
        else:
            say(desk, "")
    raise AssertionError(desk.screen.path)


BEFORE = {
    "serial_on_plate": "EL-0611",
    "performed_by": "T-07",
    "operations_told.who": "W. Abernathy",
    "operations_told.how": "radio",
    "cautions.read": "yes",
    "symptom.what": "reads wrong",
    "at_first.display": "1.18",
    "at_first.control_system": "0.96",
    "at_first.heard_how": "radio",
}


def test_stepping_enter_takes_the_most_telling_measurement_and_says_what_it_tells(plant: Path) -> None:
    desk = open_desk(plant, procedure="call_out", tag="AIT-2301", clock=Clock(NIGHT))
    until(desk, "measured.0.what", BEFORE)
    screen = desk.screen
    assert (screen.proposal, screen.proposed) == ("current at the transmitter", "the most telling next")
    assert [choice.text for choice in screen.choices][:2] == [OUT.what, IN.what]
    said = " ".join(line.text for line in screen.lines)
    assert "halves what lies between the display of the analyzer and the control system" in said
    screen = say(desk, "")
    assert (screen.path, screen.form, screen.unit) == ("measured.0.reading", "number", "mA")
    said = " ".join(line.text for line in screen.lines)
    assert "in mA: at its test terminals" in said
    assert "it should be 7.776 mA by the place before" in said
    assert "caution: Opening the loop drops the value to zero" in said
    screen = say(desk, "7.78")
    assert (screen.label, screen.proposal) == ("Another measurement?", "yes")
    said = " ".join(line.text for line in screen.lines)
    assert "The fault lies between the current at the transmitter and the control system" in said
    assert say(desk, "").proposal == "current at the far end"  # Enter goes on
    desk.close()


def test_what_is_no_measurement_is_refused_where_it_is_typed(plant: Path) -> None:
    desk = open_desk(plant, procedure="call_out", tag="AIT-2301", clock=Clock(NIGHT))
    until(desk, "measured.0.what", BEFORE)
    screen = desk.act(Act("answer", "curent at the far end", "measured.0.what"))
    assert screen.refused
    assert "did you mean current at the far end?" in screen.notice
    assert desk.screen.path == "measured.0.what"
    screen = say(desk, "is the pipe full at standstill?")  # a question is answered with yes or no
    assert [choice.text for choice in screen.choices] == ["yes", "no"]
    assert screen.path == "measured.0.seen"
    desk.close()


def test_the_demo_visit_stepped_ends_in_its_own_sheet(plant: Path) -> None:
    raw = tomllib.loads((DEMO / "visit.toml").read_text("utf-8"))
    raw = {
        **raw,
        "serial_on_plate": "EL-0611",
        "performed_by": "T-07",
        "date": "2026-05-12",
        "cause": {**raw["cause"], "author": "T-07"},
    }
    del raw["meter"]
    desk = open_desk(
        plant, procedure="call_out", tag="AIT-2301", clock=Clock(datetime(2026, 5, 14, 9, 0, tzinfo=UTC))
    )
    step_to(desk, raw)
    assert desk.visit is not None
    assert answered(tomllib.loads(desk.visit.sheet.read_text("utf-8"))) == raw
    desk.close()


def test_what_was_measured_at_the_last_call_out_says_nothing_about_this_one(plant: Path) -> None:
    desk = open_desk(plant, procedure="call_out", tag="AIT-2301", clock=Clock(NIGHT))
    until(desk, "measured.0.what", BEFORE)
    assert desk.visit is not None
    desk.visit.about = replace(
        desk.visit.about, last={"measured": [row(OUT.what, "4.00")]}, last_day="2026-04-01"
    )
    screen = say(desk, OUT.what)
    assert not [line for line in screen.lines if line.kind == "last time"]
    assert say(desk, "18.00").kind == "question"  # and a reading far from it is not asked about again
    desk.close()
