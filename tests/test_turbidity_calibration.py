"""The turbidity calibration: gain and zero, brakes on adjusting, values assigned to secondary standards.

Outside values: V13 of the project's measurement models (computed there with GTC 1.5.1 and by central
differences); GTC again for the whole model of a stage.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from math import sqrt
from typing import Any

import pytest
from gtc import same_as_central_difference, same_as_gtc
from turbidity_cases import (
    STANDARDS,
    check,
    demo,
    diluted,
    given_for,
    known,
    limit,
    point,
    quantity,
    refused,
    run,
    told,
    visit,
)

from wqverify.calculations.uncertainty import correlation
from wqverify.errors import CorrectTheEntry
from wqverify.plant.models import StandardsFile
from wqverify.procedures import PROCEDURES, turbidity_stages
from wqverify.procedures.sheets import parse
from wqverify.terms import Input, Outcome, Result

CALIBRATION = PROCEDURES["turbidity_calibration"]
PASS, FAIL, OPEN = Outcome.PASS, Outcome.FAIL, Outcome.NOT_EVALUATED


def zero(*readings: str, water: str = "W1") -> dict[str, Any]:
    several = list(readings) if len(readings) > 1 else [readings[0]] * 3
    return {"water": water, "readings": several, "interval_s": "30"}


def stage(*points: dict[str, Any], z: dict[str, Any] | None = None) -> dict[str, Any]:
    return {"points": list(points), **({"zero": z} if z else {})}


def work(*points: dict[str, Any], z: dict[str, Any] | None = None, **more: Any) -> dict[str, Any]:
    """A calibration that finds the analyzer on some standards and in zero water and leaves it alone."""
    raw = visit(*points, procedure="turbidity_calibration", **more)
    if z:
        raw["as_found"]["zero"] = z
    return raw


def adjusted(before: dict[str, Any], after: dict[str, Any], **more: Any) -> dict[str, Any]:
    """A calibration that adjusts the gain."""
    return {
        **work(point("P20", "22.4")),
        "as_found": before,
        "as_left": after,
        "decision": {"action": "gain", "why": "outside the tolerance"},
        "adjusted": {"gain_from": "1.000", "gain_to": "0.893"},
        **more,
    }


FOUND, LEFT = stage(point("P20", "22.4")), stage(point("P20", "20.0"))

# ---------------------------------------------------------------- outside values


def test_v13_with_zero_water() -> None:
    """C 20.02, R 20.6, Z 0.035, Cw 0.02: K 0.97253, and 0.0978 where 0.115 is displayed."""
    raw = work(point("F20", "20.60"), z=zero("0.035"), process_before={"ntu": "0.115"})
    result = run(raw)
    gain, low = quantity(result, "as_found.gain"), quantity(result, "as_found.at_working")
    assert gain.value == pytest.approx(0.97253, abs=5e-6)
    assert low.value == pytest.approx(0.0978, abs=5e-5)
    water = next(line for line in low.budget if line.cause == "bottle:W1 lot W1")
    assert water.contribution == pytest.approx(0.0058, abs=5e-5)
    assert low.u is not None
    assert low.u < 0.0065
    high = quantity(result, "as_found.at_standard")
    assert high.value == pytest.approx(20.02)
    assert "what the certificate of the standard says does not reach down there" in told(result, "statement")


def test_v13_without_zero_water_the_estimate_and_its_uncertainty_move() -> None:
    """0.1118 (0.0174), and K is C/R."""
    raw = work(point("F20", "20.60"), process_before={"ntu": "0.115"})
    result = run(raw)
    gain, low = quantity(result, "as_found.gain"), quantity(result, "as_found.at_working")
    assert gain.value == pytest.approx(20.02 / 20.6)
    assert low.value == pytest.approx(0.1118, abs=5e-5)
    assert low.u == pytest.approx(0.0174, abs=1e-4)
    assert "the stray light is unknown" in told(result, "caution")
    with_zero = run(work(point("F20", "20.60"), z=zero("0.035"), process_before={"ntu": "0.115"}))
    moved = low.value - quantity(with_zero, "as_found.at_working").value
    assert moved == pytest.approx(0.014, abs=5e-4)


def test_the_gain_says_much_at_5_and_little_at_a_tenth() -> None:
    """What is sure at 20 NTU says next to nothing at 0.1."""
    found = []
    for shown in ("5.00", "0.115"):
        result = run(work(point("F20", "20.60"), z=zero("0.035"), process_before={"ntu": shown}))
        found.append(correlation(*(quantity(result, f"as_found.{k}") for k in ("gain", "at_working"))))
    assert found[0] > 0.98
    assert found[1] < 0.2


def test_every_quantity_of_the_demo_calibration_against_gtc(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[Any, dict[str, Input]]] = []
    original = turbidity_stages.propagate

    def spy(model: Any, inputs: Mapping[str, Input], *more: Any) -> Any:
        seen.append((model, dict(inputs)))
        return original(model, inputs, *more)

    monkeypatch.setattr(turbidity_stages, "propagate", spy)
    CALIBRATION.compute(parse(CALIBRATION, demo("turbidity_calibration")), known("turbidity_calibration"), {})
    run(work(point("F20", "20.60"), process_before={"ntu": "0.115"}, assign=[point("S", "0.520")]))
    assert len(seen) == 3  # as found, as left; without zero water
    for model, inputs in seen:
        found = same_as_gtc(model, inputs)
        assert {"gain", "at_standard", "at_working"} <= set(found)
        same_as_central_difference(model, inputs, found)


# ---------------------------------------------------------------- tolerances


@pytest.mark.parametrize(
    ("shown", "outcome"), [("0.039", PASS), ("0.040", PASS), ("0.041", FAIL), ("0.000", PASS)]
)
def test_the_zero_has_a_tolerance_of_its_own(shown: str, outcome: Outcome) -> None:
    raw = work(point("P20", "20.0"), z=zero(shown))
    found = check(run(raw, zero=limit("0.02"), low_point=limit("0.5")), "as_found.zero.error")
    assert (found.outcome, found.reference) == (outcome, "0.02")


def test_a_zero_goes_by_the_low_point_or_is_not_evaluated() -> None:
    raw = work(point("P20", "20.0"), z=zero("0.041"))
    assert check(run(raw, low_point=limit("0.02")), "as_found.zero.error").outcome is FAIL
    missing = check(run(raw, low_point=None), "as_found.zero.error")
    assert (missing.outcome, missing.tolerance) == (OPEN, None)


@pytest.mark.parametrize(("shown", "outcome"), [("21.9", PASS), ("22.0", PASS), ("22.1", FAIL)])
def test_as_found_and_as_left_are_judged_alike(shown: str, outcome: Outcome) -> None:
    result = run(adjusted(FOUND, stage(point("P20", shown))), primary=limit(percent="10"))
    assert check(result, "as_found.P20.error").outcome is FAIL
    assert check(result, "as_left.P20.error").outcome is outcome


# ---------------------------------------------------------------- adjusting


def test_inside_its_tolerance_it_is_left_alone() -> None:
    assert "leave it alone" in told(run(work(point("P20", "20.0"))), "advice")
    moved = run(adjusted(stage(point("P20", "20.4")), LEFT))
    assert "was adjusted all the same: that adds scatter" in told(moved, "advice")


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"decision": {"action": "leave alone", "why": "inside"}},
            "adjusted holds what was changed, and the decision is to leave it alone or is missing",
        ),
        ({"adjusted": {"at": "10:00"}}, "nothing was changed here; enter gain or zero from and to"),
        ({"adjusted": {"gain_from": "1.0"}}, "gain_from and gain_to belong together"),
        ({"adjusted": {"zero_to": "0.1"}}, "zero_from and zero_to belong together"),
        (
            {"as_left": {"same_as": "as_found"}},
            "as_left cannot be the same as as_found: it was adjusted or replaced since; read again.",
        ),
    ],
)
def test_a_sheet_that_contradicts_itself(change: dict[str, Any], sentence: str) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        parse(CALIBRATION, {**adjusted(FOUND, LEFT), **change})
    assert sentence in caught.value.message


@pytest.mark.parametrize(
    ("decision", "adjusted", "changed"),
    [
        ("gain", {"gain_from": "1.000", "gain_to": "0.893"}, "yes"),
        ("gain", {"not_done": "the menu is locked"}, "no"),
        ("leave alone", None, "no"),
        ("replace", None, "yes"),
        ("replace", {"gain_from": "1.000", "gain_to": "0.893"}, "yes"),
    ],
)
def test_a_later_visit_is_told_whether_it_was_changed(decision: str, adjusted: Any, changed: str) -> None:
    """A new lamp changes it as much as a new gain."""
    raw = work(point("P20", "22.4"), as_left=LEFT, decision={"action": decision, "why": "6 % high"})
    assert run({**raw, **({"adjusted": adjusted} if adjusted else {})}).facts["adjusted"] == changed


def test_an_adjustment_that_was_decided_must_be_told() -> None:
    raw = adjusted(FOUND, LEFT)
    del raw["adjusted"]
    with pytest.raises(CorrectTheEntry) as caught:
        parse(CALIBRATION, raw)
    assert "the decision is gain and adjusted is missing; enter from what to what" in caught.value.message


@pytest.mark.parametrize(
    ("before", "sentence"),
    [
        (
            {"not_done": "no standard at hand"},
            "A gain needs a primary standard in date at least 1 NTU above the zero water; before the "
            "adjustment there was no primary standard. Read in a higher standard, or leave the gain as it "
            "was.",
        ),
        (
            stage(point("P20", "22.4", use="information only")),
            "A gain needs a primary standard in date at least 1 NTU above the zero water; before the "
            "adjustment there was no primary standard. Read in a higher standard, or leave the gain as it "
            "was.",
        ),
        (
            stage(point("P20", "22.4", "20.1", "18.0")),
            "In P20 the readings were not stable within 0.594 NTU: the last 3 moved 4.4 NTU. Nothing is "
            "adjusted to "
            'that: correct the readings, clean and read again, or write decision.despite = "..." with your '
            "reason "
            "to go on.",
        ),
        (
            stage(point("P20", "60.0")),
            "The readings before the adjustment ask for a gain 0.333 times the present one; 0.5 to 2 is "
            "sensible, so a reading is mistyped, a dilution mistaken (stock 400 or 4000?) or the lamp at its "
            "end. Nothing is "
            'adjusted to that: correct the readings, clean and read again, or write decision.despite = "..." '
            "with "
            "your reason to go on.",
        ),
    ],
)
def test_an_adjustment_that_is_not_founded_is_refused(before: dict[str, Any], sentence: str) -> None:
    raw = adjusted(before, LEFT)
    assert refused(raw).message == sentence
    raw["decision"]["despite"] = "the lamp was changed"
    if sentence.startswith("A gain needs"):
        assert refused(raw).message == sentence  # nobody may
    else:
        assert "Goes on in spite of a brake: the lamp was changed" in told(run(raw), "opinion")


@pytest.mark.parametrize(("name", "shown", "taken"), [("P1", "1.1", True), ("P09", "1.1", False)])
def test_a_gain_from_a_standard_as_good_as_zero(name: str, shown: str, taken: bool) -> None:
    """1 NTU above nothing is enough, 0.999 is not; with zero water its own value counts off."""
    raw = adjusted(stage(point(name, shown)), stage(point(name, "1.0")))
    if taken:
        assert run(raw).facts["adjusted"] == "yes"
        raw["as_found"]["zero"] = zero("0.02")
    assert "at least 1 NTU above the zero water; before the adjustment there was 0.9" in refused(raw).message


@pytest.mark.parametrize(
    ("shown", "refuses"), [("10.0", False), ("9.99", True), ("40.0", False), ("40.1", True)]
)
def test_a_sensible_gain(shown: str, refuses: bool) -> None:
    """20.0 NTU: 10.0 asks for 2, 40.0 for 0.5, both just sensible."""
    raw = adjusted(stage(point("P20", shown)), LEFT)
    if refuses:
        assert "is sensible" in refused(raw).message
    else:
        assert run(raw).facts["adjusted"] == "yes"


def test_a_zero_is_set_in_zero_water() -> None:
    raw = adjusted(FOUND, LEFT, adjusted={"zero_from": "0.004", "zero_to": "0.010"})
    raw["decision"]["despite"] = "it looked high"
    assert refused(raw).message == (
        "The zero was adjusted and no zero water was read before it; a zero is set in zero water only. Read "
        "in zero water, or leave the zero as it was."
    )
    raw["as_found"] = stage(point("P20", "22.4"), z=zero("0.035"))
    assert run(raw).facts["adjusted"] == "yes"


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"stored": {"gain": "1.001"}},
            "adjusted.gain_from is 1.000 and stored.gain is 1.001, and both are the same number of the "
            "analyzer; look which one is mistyped.",
        ),
        (
            {"constants_as_left": {"gain": "0.892"}},
            "adjusted.gain_to is 0.893 and constants_as_left.gain is 0.892, and both are the same number of "
            "the analyzer; look which one is mistyped.",
        ),
    ],
)
def test_one_number_typed_in_two_ways(change: dict[str, Any], sentence: str) -> None:
    assert refused({**adjusted(FOUND, LEFT), **change}).message == sentence


@pytest.mark.parametrize(
    ("to", "said"), [("0.893", False), ("1.120", False), ("0.906", False), ("0.91", True)]
)
def test_a_gain_moved_by_another_factor_than_asked_for(to: str, said: bool) -> None:
    """22.4 on 20.0 asks for 0.8929 (U 0.014); a calibration factor may divide, 1.120."""
    raw = adjusted(FOUND, LEFT, adjusted={"gain_from": "1.000", "gain_to": to})
    text = told(run(raw), "caution")
    assert (f"The gain was moved by a factor of {float(to):.4f}; the readings ask for 0.8929" in text) == said


def test_as_left_on_other_points_is_said() -> None:
    raw = adjusted(FOUND, stage(point("P10", "10.0")))
    assert "As left was not read on P20, on which it was read before" in told(run(raw), "caution")


def test_what_it_was_adjusted_to_cannot_test_it() -> None:
    wrong = "A wrong primary standard: what the analyzer was adjusted to"
    assert wrong in told(run(adjusted(FOUND, LEFT)), "cannot see")
    other = stage(point("P20", "20.0"), point("P10", "10.0"))
    assert wrong not in told(run(adjusted(FOUND, other)), "cannot see")
    one_stock = stage(point("F20", "20.0"), point("FZ", "40.0", diluted=diluted("W1", ("10", "1000"))))
    raw = adjusted(stage(point("F20", "22.4")), one_stock)
    assert wrong in told(run(raw), "cannot see")  # the prepared one is of that stock


# ---------------------------------------------------------------- secondary standards


ASSIGN = {"standard": "S", "readings": ["0.519", "0.520", "0.522"], "insertions": "3", "interval_s": "30"}


def entry(result: Result) -> dict[str, Any]:
    """What is printed to be typed, read as TOML under a standard."""
    text = next(n.text for n in result.notes if n.kind == "advice" and n.text.startswith("Type under"))
    head = '[[standard]]\nid = "S"\nkind = "secondary"\nname = "sealed"\nunit = "NTU"\n'
    found = StandardsFile.model_validate(tomllib.loads(head + text.split("\n", 1)[1]))
    return found.standard[0].assigned[0].model_dump()


def test_a_secondary_standard_gets_the_value_that_is_displayed() -> None:
    raw = adjusted(FOUND, LEFT, assign=[ASSIGN])
    result = run(raw)
    value = quantity(result, "assigned.S")
    assert value.text == "0.520"  # the mean 0.52033, rounded once to the display
    assert result.facts["assigned.S"] == "0.520"
    typed = entry(result)
    assert typed == {
        "tag": "AIT-2201",
        "value": Decimal("0.520"),
        "on": "2026-03-05",
        "after": "this record's number",
        "expanded": Decimal(value.expanded),
        "k": Decimal(f"{value.k:.2f}"),
        "serial": "TU-55208",
    }
    text = told(result, "statement")
    assert "The value 0.520 NTU of S for AIT-2201, assigned 2026-01-14 after L1-2026-0004, is void" in text
    assert "every value assigned to a secondary standard for AIT-2201 before it is void" in text


def test_the_value_assigned_is_taken_by_the_next_check_with_its_number() -> None:
    """What is printed, typed with the number of the record, is a value the next check takes."""
    result = run(adjusted(FOUND, LEFT, assign=[ASSIGN]))
    typed = entry(result)
    raw = visit(point("S", "0.521"))
    given = given_for(raw, earlier=(replace(_earlier("L1-2026-0031"), serial="TU-55208"),))
    for after, taken in (("L1-2026-0031", True), (typed["after"], False)):
        row = replace(STANDARDS["S"].assigned[0], **{**typed, "after": after})
        case = replace(given, standards={**STANDARDS, "S": replace(STANDARDS["S"], assigned=(row,))})
        if taken:
            assert check(run(raw, case), "as_found.S.change").reference == "0.520"
        else:
            assert "is void since the primary calibration L1-2026-0031" in refused(raw, case).message


def _earlier(number: str) -> Any:
    from turbidity_cases import calibration

    return calibration(number, "2026-03-05")


def test_its_uncertainty_is_that_of_the_calibration_and_of_placing_it() -> None:
    value = quantity(
        run(adjusted(FOUND, stage(point("P20", "20.0"), z=zero("0.020")), assign=[ASSIGN])), "assigned.S"
    )
    causes = {line.cause for line in value.budget}
    assert {"place:assigned.S", "reading:assigned.S", "bottle:W1 lot W1", "bottle:P20 lot lot P20"} <= causes


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"as_left": stage(point("P20", "25.0"))}, "as left is outside its tolerance"),
        (
            {"as_left": {"not_done": "the formazin was used up"}},
            "as left was not done: the formazin was used up",
        ),
        (
            {"as_left": stage(point("P20", "20.0", use="information only"))},
            "as left has no primary standard that counts",
        ),
        (
            {"assign": [{**ASSIGN, "readings": ["0.520", "0.620", "0.520"]}]},
            "the readings were not stable within 0.01716 NTU: the last 3 moved 0.100 NTU",
        ),
    ],
)
def test_no_value_is_assigned_because(change: dict[str, Any], why: str) -> None:
    result = run({**adjusted(FOUND, LEFT, assign=[ASSIGN]), **change})
    assert f"No value is assigned to S: {why}." in told(result, "caution")
    assert "assigned.S" not in result.facts
    assert "Type under" not in told(result, "advice")


def test_a_secondary_standard_that_creeps_gets_its_last_reading() -> None:
    """Where it was put in once; U holds half of the stability limit, 3.3 % of 0.530 being 0.01749."""
    once = {"standard": "S", "readings": ["0.524", "0.527", "0.530"], "interval_s": "30"}
    result = run(adjusted(FOUND, LEFT, assign=[once]))
    value = quantity(result, "assigned.S")
    assert value.text == "0.530"
    creep = next(line for line in value.budget if line.cause == "creep:assigned.S")
    assert creep.u == pytest.approx(0.01749 / 2 / sqrt(3))
    assert (
        "Read to be assigned a value: the readings on S still crept one way, from 0.524 to 0.530: they are "
        "no sample, so the last one counts and not their mean"
    ) in told(result, "caution")
    working = next(w for w in result.workings if w.label == "Value of S for this analyzer")
    assert (working.formula, working.answer) == (
        "V = R, the last reading",
        "0.53 NTU, entered as 0.530 NTU",
    )


def test_a_value_is_assigned_also_where_nothing_was_adjusted() -> None:
    result = run(work(point("P20", "20.0"), assign=[ASSIGN]))
    assert result.facts == {"adjusted": "no", "gain": "1.00000", "assigned.S": "0.520"}


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"as_found": stage(point("S", "0.520"))},
            "As found, point 1: S is a secondary standard, its value came from this analyzer; an analyzer is "
            "calibrated with primary standards (formazin or an approved polymer). Enter it under assign.",
        ),
        (
            {"assign": [{**ASSIGN, "standard": "P20"}]},
            "Secondary standard 1: P20 (formazin 20.0 NTU) has a value of its own, so it is no secondary "
            "standard; a value for one analyzer is assigned to a secondary one only.",
        ),
        (
            {"assign": [ASSIGN, ASSIGN]},
            "Secondary standard 2: S is assigned a value twice; keep one with all its readings.",
        ),
        (
            {"assign": [{**ASSIGN, "readings": ["120"]}]},
            "Secondary standard 1, reading 1 is 120; AIT-2201 shows 0 to 100 NTU. Type what the display "
            "showed; where it showed this, take the analyzer out of service and say not_done.",
        ),
        (
            {"as_found": stage(point("P20", "22.4"), z=zero("0.03", water="OLDW"))},
            "As found, zero water, water: OLDW (lot OLDW) was usable until 2026-03-04, the work was on "
            "2026-03-05. Ways on: prepare a fresh batch and enter it.",
        ),
    ],
)
def test_what_cannot_be_taken_is_said_in_one_sentence(change: dict[str, Any], sentence: str) -> None:
    assert refused({**adjusted(FOUND, LEFT), **change}).message == sentence


def test_a_secondary_standard_that_never_had_a_value_gets_its_first() -> None:
    result = run(work(point("P20", "20.0"), assign=[{**ASSIGN, "standard": "NEVER"}]))
    assert result.facts["assigned.NEVER"] == "0.520"


def test_the_demo_says_what_was_adjusted_from_what_to_what() -> None:
    result = run(demo("turbidity_calibration"), known("turbidity_calibration"))
    assert result.facts["adjusted"] == "yes"
    assert quantity(result, "as_left.gain").value == pytest.approx(1, abs=0.01)
    kinds = [note.kind for note in result.notes]
    assert kinds == sorted(kinds, key=("caution", "advice", "statement", "cannot see", "opinion").index)
