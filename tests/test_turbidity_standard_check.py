"""The turbidity check: outside values through the procedure, every tolerance from four sides, every refusal.

Outside values: V11, V12 and V14 of the project's measurement models (computed there with GTC 1.5.1 and by
central differences), A10 (reporting increments of EPA Method 180.1); GTC again for the whole model of a
stage.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from decimal import Decimal
from math import sqrt
from typing import Any

import pytest
from gtc import same_as_central_difference, same_as_gtc
from printed import agree
from turbidity_cases import (
    GIVEN,
    STANDARDS,
    assigned,
    calibration,
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
    secondary,
    told,
    visit,
)

from wqverify.book.entry import numbered
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures import PROCEDURES, turbidity_stages
from wqverify.procedures.sheets import parse
from wqverify.terms import Input, Outcome, Person

CHECK = PROCEDURES["turbidity_standard_check"]
PASS, FAIL, OPEN = Outcome.PASS, Outcome.FAIL, Outcome.NOT_EVALUATED

# ---------------------------------------------------------------- outside values, through the procedure


def test_v11_a_standard_diluted_on_the_spot() -> None:
    """20.0199 NTU with u 0.1593: the budget of the error without cell and reading."""
    raw = visit(point("FZ", "20.6", diluted=diluted("W1", ("5", "1000"))))
    result = run(raw)
    found = check(result, "as_found.FZ-diluted.error")
    assert found.reference == "20.020"  # 20.0199 fixed two digits beyond a display of 0.1
    error = quantity(result, "as_found.FZ-diluted.error")
    own = [line for line in error.budget if not line.cause.startswith(("cell:", "reading:"))]
    u = sum(line.contribution**2 for line in own) ** 0.5
    assert u == pytest.approx(0.1593, abs=1e-4)  # 4 °C of water against glass here, 0.05 % there


def test_v12_the_low_point_from_the_stock_in_two_steps() -> None:
    raw = visit(point("FZ", "0.131", diluted=diluted("W1", ("5", "1000"), ("5", "1000"))))
    result = run(raw, settings={"volume_temperature_c": "0"})
    error = quantity(result, "as_found.FZ-diluted.error")
    assert (error.text, error.expanded) == ("0.01100", "0.017")
    assert check(result, "as_found.FZ-diluted.error").reference == "0.12000"
    value = [line.contribution for line in error.budget if not line.cause.startswith("reading:")]
    agree("V12", "u(C)", sum(part**2 for part in value) ** 0.5)
    steps = {line.cause for line in error.budget if line.cause.startswith("pipetting:")}
    assert steps == {"pipetting:as_found.FZ-diluted, step 1", "pipetting:as_found.FZ-diluted, step 2"}
    water = [line for line in error.budget if line.cause == "bottle:W1 lot W1"]
    assert len(water) == 1  # one water in both steps
    assert "0.12000 NTU with the water's own 0.02 NTU in it" in told(result, "statement")


def test_v14_a_secondary_standard_by_its_change() -> None:
    raw = visit(point("S", "0.545", insertions="3"))
    result = run(raw)
    change, primary = quantity(result, "as_found.S.change"), quantity(result, "as_found.S.against_primary")
    assert change.text == "0.025"
    assert change.u == pytest.approx(0.007576, abs=1e-6)
    assert primary.u == pytest.approx(0.008824, abs=1e-6)
    assert not any(line.cause.startswith("primary") for line in change.budget)
    # Welch-Satterthwaite by hand: each placing 1 % / sqrt 3 of what was read, 20 degrees of freedom
    placing = sum((reading * 0.01 / sqrt(3)) ** 4 / 20 for reading in (0.545, 0.520))
    assert change.dof == int(change.u**4 / placing) == 367


def test_the_reported_process_value_is_rounded_and_the_stored_one_is_not() -> None:
    """A10 through the sheet: 0.27 is reported 0.25; the entry keeps 0.27."""
    for shown, report in (("0.27", "0.25"), ("4.44", "4.4"), ("23.6", "24"), ("78", "80"), ("1.00", "1.00")):
        result = run(visit(point("S", "0.520"), process_before={"ntu": shown}))
        assert quantity(result, "as_found.process.reported").text == report
    assert "does not say to which band the edge" in told(result, "statement")


def test_a_display_in_fnu_is_not_reported_by_180_1() -> None:
    raw = visit(point("P20", "20.0"), process_before={"ntu": "0.27"})
    given = given_for(raw)
    given = replace(given, analyzer=replace(given.analyzer, unit="FNU"))
    assert not [v for v in run(raw, given).values if v.key.endswith("reported")]


# ---------------------------------------------------------------- the whole model against GTC


Spy = Callable[[str], list[tuple[Any, Mapping[str, Input]]]]


@pytest.fixture
def models(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, dict[str, Input]]]:
    """The models and inputs that a computation propagates."""
    seen: list[tuple[Any, dict[str, Input]]] = []
    original = turbidity_stages.propagate

    def spy(model: Any, inputs: Mapping[str, Input], *more: Any) -> Any:
        seen.append((model, dict(inputs)))
        return original(model, inputs, *more)

    monkeypatch.setattr(turbidity_stages, "propagate", spy)
    return seen


def test_every_quantity_of_the_demo_visit_against_gtc(models: list[tuple[Any, dict[str, Input]]]) -> None:
    raw = demo("turbidity_standard_check")
    CHECK.compute(parse(CHECK, raw), known("turbidity_standard_check"), {})
    assert len(models) == 2  # as found, after cleaning; as left is the same
    for model, inputs in models:
        found = same_as_gtc(model, inputs)
        assert len(found) >= 7
        same_as_central_difference(model, inputs, found)


def test_a_certified_value_of_a_secondary_standard_against_gtc(
    models: list[tuple[Any, dict[str, Input]]],
) -> None:
    run(visit(point("SU", "0.531", "0.530", "0.531"), point("P20", "20.0"), process_before={"ntu": "0.5"}))
    for model, inputs in models:
        found = same_as_gtc(model, inputs)
        same_as_central_difference(model, inputs, found)


def test_its_u_holds_reading_placing_and_the_primary_once() -> None:
    change, primary = (
        quantity(run(visit(point("SU", "0.520"))), f"as_found.SU.{word}")
        for word in ("change", "against_primary")
    )
    assigned_u2 = sum(
        line.contribution**2
        for line in primary.budget
        if line.cause.startswith(("reading when assigned", "place when assigned", "primary when assigned"))
    )
    assert assigned_u2 == pytest.approx(0.008**2, rel=1e-9)
    assert change.u is not None
    assert primary.u is not None
    assert change.u < primary.u


def test_two_dilutions_share_stock_and_water_and_not_the_hand() -> None:
    raw = visit(
        point("FZ", "0.12", diluted=diluted("W1", ("5", "1000"), ("5", "1000"))),
        point("FZ", "20.0", diluted=diluted("W1", ("5", "1000"))),
    )
    result = run(raw)
    first, second = (
        {line.cause for line in quantity(result, f"as_found.{name}.error").budget}
        for name in ("FZ-diluted", "FZ-diluted-2")
    )
    assert first & second == {"bottle:FZ lot lot FZ", "bottle:W1 lot W1"}


def test_a_prepared_standard_keeps_the_names_of_what_it_is_made_of() -> None:
    raw = visit(point("F20", "20.0"), point("F20", "0.12", diluted=diluted("W1", ("5", "1000"))))
    result = run(raw)
    high, low = quantity(result, "as_found.F20.error"), quantity(result, "as_found.F20-diluted.error")
    assert {"bottle:FZ lot lot FZ", "bottle:W1 lot W1", "preparation:F20"} <= {x.cause for x in high.budget}
    water = next(line for line in low.budget if line.cause == "bottle:W1 lot W1")
    # 995 mL of it, and what is in the 5 mL of the prepared standard
    assert abs(water.sensitivity) * water.u == pytest.approx(0.995 * water.u + 0.005 * 0.00574, rel=1e-6)


# ---------------------------------------------------------------- four tests around each tolerance


@pytest.mark.parametrize(
    ("standard", "name", "inside", "at", "outside"),
    [
        ("P20", "primary", "21.9", "22.0", "22.1"),
        ("P20", "primary", "18.1", "18.0", "17.9"),
        ("S", "secondary", "0.571", "0.572", "0.573"),
        ("S", "secondary", "0.469", "0.468", "0.467"),
    ],
)
def test_ten_percent_of_the_standard(standard: str, name: str, inside: str, at: str, outside: str) -> None:
    """Just inside, exactly at, just outside, and no tolerance."""
    word = "change" if name == "secondary" else "error"
    ten = limit(percent="10", rule="as the method states")
    for shown, outcome in ((inside, PASS), (at, PASS), (outside, FAIL)):
        found = check(run(visit(point(standard, shown)), **{name: ten}), f"as_found.{standard}.{word}")
        assert found.outcome is outcome, shown
    missing = check(run(visit(point(standard, at)), **{name: None}), f"as_found.{standard}.{word}")
    assert missing.outcome is OPEN
    assert missing.reason.startswith("the register holds no tolerance for this")
    assert missing.quantity is not None


@pytest.mark.parametrize(
    ("shown", "outcome"),
    [("0.139", PASS), ("0.140", PASS), ("0.141", FAIL), ("0.100", PASS), ("0.099", FAIL)],
)
def test_the_low_point_has_a_tolerance_of_its_own(shown: str, outcome: Outcome) -> None:
    raw = visit(point("F20", shown, diluted=diluted("W1", ("5", "1000"))))
    assert check(run(raw, low_point=limit("0.02")), "as_found.F20-diluted.error").outcome is outcome


def test_a_low_point_without_a_tolerance_is_not_evaluated() -> None:
    raw = visit(point("F20", "0.12", diluted=diluted("W1", ("5", "1000"))))
    found = check(run(raw, low_point=None), "as_found.F20-diluted.error")
    assert (found.outcome, found.tolerance) == (OPEN, None)


@pytest.mark.parametrize(("standard", "goes_by"), [("P09", "low_point"), ("P1", "primary")])
def test_a_standard_below_one_ntu_is_a_low_point(standard: str, goes_by: str) -> None:
    names = {"low_point": limit("0.02"), "primary": limit("0.03")}
    value = STANDARDS[standard].value
    found = check(run(visit(point(standard, f"{value}")), **names), f"as_found.{standard}.error")
    assert found.tolerance == names[goes_by]


def test_error_stands_for_every_kind_that_has_no_tolerance_of_its_own() -> None:
    none = {"primary": None, "secondary": None, "low_point": None, "control_system": None}
    one = limit("0.02", percent="10", larger_of=True)
    raw = visit(
        point("P20", "22.0", control_system="22.0"),
        point("S", "0.572"),
        point("F20", "0.14", diluted=diluted("W1", ("5", "1000"))),
    )
    result = run(raw, error=one, **none)
    assert {c.outcome for c in result.checks} == {PASS}
    assert {c.tolerance for c in result.checks} == {one}


@pytest.mark.parametrize(("shown", "outcome"), [("0.139", PASS), ("0.140", PASS), ("0.141", FAIL)])
def test_larger_of_has_its_floor_at_the_low_point(shown: str, outcome: Outcome) -> None:
    raw = visit(point("F20", shown, diluted=diluted("W1", ("5", "1000"))))
    floor = limit("0.02", percent="10", larger_of=True)
    result = run(raw, low_point=floor)
    assert check(result, "as_found.F20-diluted.error").outcome is outcome
    assert "cannot decide" not in told(result, "caution")


def test_ten_percent_of_the_low_point_is_smaller_than_u() -> None:
    raw = visit(point("F20", "0.120", diluted=diluted("W1", ("5", "1000"))))
    result = run(raw, low_point=limit(percent="10"))
    assert (
        "U 0.017 is 1.42 of the tolerance, so this comparison cannot decide. 10 % of 0.120 is no larger "
        "than U; a percent tolerance needs a floor here (low, high and larger_of in the register)."
    ) in told(result, "caution")


def test_guarded_rounds_the_mean_once() -> None:
    raw = visit(point("P20", "20.1", "20.1", "20.2"))
    found = check(run(raw, primary=limit("2", rule="guarded")), "as_found.P20.error")
    assert found.outcome is PASS
    assert found.quantity is not None
    assert found.quantity.text == "0.13"  # 20.1333… - 20.0, U to hundredths


@pytest.mark.parametrize(("there", "outcome"), [("20.9", PASS), ("21.0", PASS), ("21.1", FAIL), (None, None)])
def test_the_control_system_has_its_own_verdict(there: str | None, outcome: Outcome | None) -> None:
    more = {"control_system": there} if there else {}
    result = run(visit(point("P20", "20.0", **more)), control_system=limit("1.0"))
    found = [c for c in result.checks if c.place == "control system"]
    if there is None:
        assert not found
        return
    assert (found[0].key, found[0].outcome) == ("as_found.P20.control_system", outcome)
    assert result.outcome("as_found", "analyzer") is PASS


@pytest.mark.parametrize(
    ("there", "outcome"), [("0.093", PASS), ("0.094", PASS), ("0.095", FAIL), ("0.073", FAIL)]
)
def test_in_the_process_the_control_system_is_compared_with_the_display(there: str, outcome: Outcome) -> None:
    raw = visit(point("S", "0.520"), process_before={"ntu": "0.084", "control_system": there})
    result = run(raw, control_system=limit("0.01"))
    assert check(result, "as_found.process.control_system").outcome is outcome
    assert "it was compared with the display, not with a standard" in told(result, "cannot see")


def test_a_control_system_that_was_not_read_is_said() -> None:
    raw = visit(point("S", "0.520"))
    given = given_for(raw)
    given = replace(given, analyzer=replace(given.analyzer, control_system_tag="AI2201_TU"))
    found = check(run(raw, given), "as_found.process.control_system")
    assert (found.outcome, found.reason, found.place) == (OPEN, "it was not read", "control system")
    raw["process_before"] = {"not_done": "display dark"}
    assert check(run(raw, given), "as_found.process.control_system").reason == "not done: display dark"


NOT_RELEASED = {"output_released": {"not_done": "stays held"}}
HELD = {"output_held": {"at": "09:12"}, "output_released": {"at": "10:00"}}


@pytest.mark.parametrize(
    ("at", "reason"),
    [
        (
            {"at": "09:20"},
            "the control system was read at 09:20 while the output was held, so it stood still",
        ),
        ({}, "the output was held and no time says that the control system was read before or after that"),
    ],
)
def test_a_held_output_gives_no_verdict(at: dict[str, str], reason: str) -> None:
    found = check(
        run(visit(point("P20", "20.0", control_system="0.084", **at), **HELD)), "as_found.P20.control_system"
    )
    assert (found.outcome, found.reason) == (OPEN, reason)
    free = run(visit(point("P20", "20.0", control_system="20.0")), control_system=limit("1.0"))
    assert check(free, found.key).outcome is PASS
    early = run(
        visit(
            point("P20", "20.0", control_system="20.0", at="09:14"),
            output_held={"at": "09:14"},
            **NOT_RELEASED,
        )
    )
    assert check(early, found.key).outcome is not OPEN


def test_the_error_at_the_process_value_between_two_standards() -> None:
    """By hand: 0.02 at 0.14 and 0.6 at 20.6, at 10.37: half way, 0.31."""
    raw = visit(
        point("F20", "0.14", diluted=diluted("W1", ("5", "1000"))),
        point("P20", "20.6"),
        process_before={"ntu": "10.37"},
    )
    result = run(raw, primary=limit("0.4"))
    found = check(result, "as_found.process.error")
    assert (found.observed, found.outcome) == ("10.37", PASS)
    assert quantity(result, "as_found.process.error").text == "0.3100"
    assert "do not bracket" not in told(result, "caution")
    raw["process_before"] = {"ntu": "0.08"}
    result = run(raw, low_point=limit("0.1"))
    assert check(result, "as_found.process.error").tolerance == limit("0.1")
    assert "the standards do not bracket the process value 0.08" in told(result, "caution")


def test_a_secondary_standard_has_no_part_in_the_error_at_the_process() -> None:
    raw = visit(point("S", "0.520"), point("P20", "20.6"), process_before={"ntu": "0.084"})
    found = check(run(raw), "as_found.process.error")
    assert (found.outcome, found.counts) == (OPEN, False)
    assert found.reason == ("one standard that counts gives no error between standards; two are needed")


# ---------------------------------------------------------------- readings


def test_the_mean_is_of_the_readings_that_held_still() -> None:
    raw = visit(point("P20", "25.0", "20.4", "20.2", "20.3", "20.1"))
    found = check(run(raw), "as_found.P20.error")
    assert found.observed == "20.25"
    assert quantity(run(raw), "as_found.P20.error").text == "0.25"


@pytest.mark.parametrize(("other", "stable"), [("20.65", True), ("20.66", True), ("20.67", False)])
def test_readings_hold_still_within_a_third_of_ten_percent(other: str, stable: bool) -> None:
    """3.3 % of the last one, 0.66 at 20.00: just inside, exactly at, just outside."""
    found = check(run(visit(point("P20", "20.00", other, "20.00"))), "as_found.P20.error")
    assert (found.outcome is not OPEN) == stable
    if not stable:
        assert found.reason == ("the readings were not stable within 0.66 NTU: the last 3 moved 0.67 NTU")


def test_how_still_readings_must_hold_is_a_setting() -> None:
    raw = visit(point("P20", "20.00", "20.67", "20.00"))
    assert check(run(raw, settings={"stability_percent": "3.4"}), "as_found.P20.error").outcome is PASS
    assert check(run(raw), "as_found.P20.error").outcome is OPEN


@pytest.mark.parametrize(("last", "stable"), [("0.019", True), ("0.020", True), ("0.021", False)])
def test_at_the_low_end_readings_hold_still_within_a_hundredth(last: str, stable: bool) -> None:
    """0.01 NTU by default: just inside, exactly at, just outside."""
    raw = visit(point("F20", "0.010", "0.011", last, diluted=diluted("W1", ("5", "1000"))))
    assert (check(run(raw), "as_found.F20-diluted.error").outcome is not OPEN) == stable


def test_one_reading_shows_no_stability() -> None:
    raw = visit({"standard": "P20", "readings": ["20.0"]})
    found = check(run(raw), "as_found.P20.error")
    assert found.reason.startswith("one reading does not show that it held still; 3, at least 30 s apart")
    assert check(run(raw, settings={"stability_readings": "1"}), "as_found.P20.error").outcome is PASS


def test_readings_that_creep_and_intervals_that_are_missing_are_said() -> None:
    one = {"standard": "P20", "readings": ["20.0", "20.1", "20.2"]}
    cautions = told(run(visit(one)), "caution")
    assert (
        "As found: the readings on P20 still crept one way, from 20.0 to 20.2: they are no sample, so the "
        "last one counts and not their mean, uncertain by half of the stability limit of 0.6666 NTU; wait "
        "longer and look for bubbles or settling."
    ) in cautions
    assert "the time between the readings on P20 was not entered" in cautions


def test_readings_that_creep_out_of_the_tolerance_do_not_average_into_it() -> None:
    """18.2 is their mean and inside 10 % of 20.0; the analyzer shows 17.6 and is still falling."""
    raw = visit(point("P20", "19.4", "18.8", "18.2", "17.6"))
    ten = limit(percent="10", rule="as the method states")
    found = check(run(raw, primary=ten), "as_found.P20.error")
    assert (found.outcome, found.observed) == (OPEN, "17.6")
    assert found.reason == "the readings were not stable within 0.5808 NTU: the last 3 moved 1.2 NTU"
    loose = check(run(raw, primary=ten, settings={"stability_percent": "10"}), "as_found.P20.error")
    assert (loose.outcome, loose.observed) == (FAIL, "17.6")
    assert loose.quantity is not None
    assert loose.quantity.text == "-2.4"


@pytest.mark.parametrize(
    ("readings", "observed", "crept"),
    [
        (("20.2", "20.1", "20.0"), "20.0", True),
        (("20.0", "20.1", "20.2"), "20.2", True),
        (("20.2", "20.1", "20.1"), "20.133", False),
        (("20.2", "20.0", "20.1"), "20.1", False),
        (("20.1", "20.2", "20.1", "20.0"), "20.1", False),
        (("25.0", "20.2", "20.1", "20.0"), "20.0", True),
    ],
)
def test_of_readings_that_run_one_way_the_last_counts(
    readings: tuple[str, ...], observed: str, crept: bool
) -> None:
    """Down, up, down to a halt, not one way, one way at the end only, one way once they held still."""
    result = run(visit(point("P20", *readings)))
    assert check(result, "as_found.P20.error").observed == observed
    causes = {line.cause for line in quantity(result, "as_found.P20.error").budget}
    assert ("creep:as_found.P20" in causes) == crept
    assert ("still crept one way" in told(result, "caution")) == crept


def test_two_readings_show_no_creep() -> None:
    """Where the register asks for two, they always run one way."""
    result = run(visit(point("P20", "20.2", "20.0")), settings={"stability_readings": "2"})
    found = check(result, "as_found.P20.error")
    assert (found.outcome, found.observed) == (PASS, "20.1")
    assert "one way" not in told(result, "caution")


def test_what_creeps_is_uncertain_by_its_digit_and_half_of_the_limit() -> None:
    """By hand: 0.0333 of 20.0 is 0.66, half of it rectangular: 0.33/sqrt 3; the digit 0.1/sqrt 12."""
    error = quantity(run(visit(point("P20", "20.2", "20.1", "20.0"))), "as_found.P20.error")
    causes = {line.cause: line for line in error.budget}
    assert causes["creep:as_found.P20"].contribution == pytest.approx(0.33 / sqrt(3))
    assert causes["reading:as_found.P20"].contribution == pytest.approx(0.1 / sqrt(12))
    still = quantity(run(visit(point("P20", "20.0"))), "as_found.P20.error")
    assert still.u is not None
    assert error.u == pytest.approx(sqrt(still.u**2 + 0.33**2 / 3))


def test_a_control_system_read_with_a_creeping_reading_creeps_with_it() -> None:
    raw = visit(point("P20", "20.2", "20.1", "20.0", control_system="20.0"))
    budget = {line.cause: line for line in quantity(run(raw), "as_found.P20.control_system").budget}
    assert budget["creep:as_found.P20"].contribution == pytest.approx(0.33 / sqrt(3))


def test_creeping_readings_against_gtc(models: list[tuple[Any, dict[str, Input]]]) -> None:
    run(
        visit(
            point("P20", "20.2", "20.1", "20.0", control_system="20.0"), point("S", "0.522", "0.521", "0.520")
        )
    )
    ((model, inputs),) = models
    assert {"creep:as_found.P20", "creep:as_found.S"} <= set(inputs)
    same_as_central_difference(model, inputs, same_as_gtc(model, inputs))


def test_readings_of_several_insertions_do_not_creep() -> None:
    result = run(visit(point("S", "0.518", "0.520", "0.522", insertions="3")))
    assert check(result, "as_found.S.change").observed == "0.520"
    assert "the last readings on S run one way" in told(result, "caution")


def test_the_scatter_of_insertions_is_not_counted_twice() -> None:
    readings = ("0.51", "0.54", "0.52")
    once = quantity(run(visit(point("S", *readings))), "as_found.S.change")
    anew = quantity(run(visit(point("S", *readings, insertions="3"))), "as_found.S.change")
    causes = {line.cause: line for line in once.budget}
    assert causes["reading:as_found.S"].size_from == "readings"
    assert causes["place:as_found.S"].u == pytest.approx(0.01)
    causes = {line.cause: line for line in anew.budget}
    assert causes["reading:as_found.S"].size_from == "resolution"
    assert causes["place:as_found.S"].u == pytest.approx(0.01 / 3**0.5)


# ---------------------------------------------------------------- linearity


def test_three_standards_on_one_line() -> None:
    raw = visit(
        point("P5", "5.0", "5.1", "5.0"),
        point("P10", "10.0", "10.1", "10.0"),
        point("P20", "20.0", "20.1", "20.0"),
    )
    result = run(raw)
    found = quantity(result, "as_found.lack_of_fit")
    assert found.text == "0.00"
    assert "linearity over 3 standards by the scatter of the repeated readings: lack of fit F 0.00" in told(
        result, "statement"
    )


def test_a_bent_response_is_said() -> None:
    """By hand: 5.00, 10.50, 20.00 with s 0.0577: F far above F(0.95; 1, 6) = 5.99."""
    raw = visit(
        point("P5", "5.0", "5.1", "5.0"),
        point("P10", "10.5", "10.6", "10.5"),
        point("P20", "20.0", "20.1", "20.0"),
    )
    result = run(raw)
    assert "the readings on 3 standards do not lie on one line by their own scatter" in told(
        result, "caution"
    )
    assert "more than 5.99); P10 lies farthest off it" in told(result, "caution")


def test_a_standard_that_crept_stands_in_the_line_with_its_last_reading() -> None:
    """Means 10.0 and 20.0 lie on one line with the last of 5.10 5.05 5.00, not with its mean."""
    raw = visit(
        point("P5", "5.10", "5.05", "5.00"),
        point("P10", "10.0", "10.1", "9.9"),
        point("P20", "20.0", "20.1", "19.9"),
    )
    found = quantity(run(raw), "as_found.lack_of_fit")
    assert found.text == "0.00"


@pytest.mark.parametrize(
    ("points", "why"),
    [
        ([point("P5", "5.0"), point("P10", "10.0")], "two standards lie on every line; three are needed"),
        (
            [point("P5", "5.0"), point("P10", "10.0"), point("P20", "20.0")],
            "the repeated readings do not differ by a digit, so their scatter is not known",
        ),
        (
            [point("P5", "5.0", "5.1", "5.0"), point("S", "0.520"), point("P20", "20.0")],
            "two standards lie on every line; three are needed",
        ),
    ],
)
def test_linearity_is_not_evaluated_because(points: list[dict[str, Any]], why: str) -> None:
    result = run(visit(*points))
    assert f"As found: linearity not evaluated, because {why}." in told(result, "statement")
    assert not [v for v in result.values if v.key.endswith("lack_of_fit")]


# ---------------------------------------------------------------- secondary standards


def test_a_value_for_another_analyzer_is_refused() -> None:
    problem = refused(visit(point("OTHER", "0.520")))
    assert isinstance(problem, ChooseAnother)
    assert problem.message == (
        "As found, point 1: OTHER has no value for AIT-2201 on 2026-03-05; values are assigned for AIT-2202 "
        "(2026-01-14). A value holds for the analyzer it was assigned on. Ways on: read in a primary "
        "standard; or calibrate AIT-2201 with primary ones and assign OTHER a value."
    )
    assert problem.where == "as_found.points.0.standard"
    assert problem.expected == "a value assigned for AIT-2201 by 2026-03-05"


@pytest.mark.parametrize("name", ["LATER", "NEVER"])
def test_a_value_of_tomorrow_or_none_is_refused(name: str) -> None:
    assert f"{name} has no value for AIT-2201 on 2026-03-05" in refused(visit(point(name, "0.520"))).message


@pytest.mark.parametrize(
    ("day", "number", "void"),
    [
        ("2026-01-13", "L1-2026-0003", False),
        ("2026-01-14", "L1-2026-0004", False),
        ("2026-01-14", "L1-2026-0005", True),
        ("2026-01-15", "L1-2026-0005", True),
        ("", "", False),
    ],
)
def test_a_newer_primary_calibration_voids_the_value(day: str, number: str, void: bool) -> None:
    """One before it (its own is on paper), the very one, another that day, after, none in the book."""
    raw = visit(point("S", "0.520"))
    given = given_for(raw, earlier=(calibration(number, day),) if day else ())
    if number == "L1-2026-0003":
        paper = assigned("0.520", after="paper record 17")
        given = replace(given, standards={**STANDARDS, "S": secondary("S", paper)})
    if not void:
        result = run(raw, given)
        assert check(result, "as_found.S.change").outcome is PASS
        unknown = "which the book here does not hold: whether a newer primary calibration has voided it"
        assert (unknown in told(result, "caution")) == (not day)
        return
    problem = refused(raw, given)
    assert problem.message == (
        f"As found, point 1: the value of S for AIT-2201 was assigned on 2026-01-14 after L1-2026-0004 and "
        f"is void since the primary calibration {number} of {day}. Ways on: enter the value that {number} "
        f"assigned; read in a primary standard; or calibrate AIT-2201 with primary ones and assign S a value."
    )
    assert problem.expected == number


def test_a_value_of_the_instrument_that_stood_there_before_is_refused() -> None:
    raw = visit(point("S", "0.520"))
    problem = refused(raw, given_for(raw, earlier=(calibration("L1-2026-0004", "2026-01-14", "TU-1"),)))
    assert "was assigned on the instrument TU-1, the plate now says TU-55208" in problem.message


@pytest.mark.parametrize(
    ("row", "taken"),
    [
        ({"after": "L1-2026-0004", "on": "2026-01-14"}, False),
        ({"after": "paper record 17", "on": "2026-01-14"}, False),
        ({"after": "paper record 17", "on": "2026-01-15"}, True),
        ({"after": "L1-2026-0001", "on": "2026-02-01"}, False),
    ],
)
def test_after_a_calibration_of_another_instrument_only_a_later_one_on_paper_counts(
    row: dict[str, str], taken: bool
) -> None:
    """The newest in the book was on TU-1: its own value, one of that day, one of the day after, an older."""
    raw = visit(point("S", "0.520"))
    given = given_for(raw, earlier=(calibration("L1-2026-0004", "2026-01-14", "TU-1"),))
    case = replace(given, standards={**STANDARDS, "S": secondary("S", assigned("0.520", **row))})
    if not taken:
        assert isinstance(refused(raw, case), ChooseAnother)
        return
    result = run(raw, case)
    assert check(result, "as_found.S.change").outcome is PASS
    assert (
        "On which instrument the value of S was assigned is not known: its entry has no serial and the book "
        "no record paper record 17; another instrument sees another value."
    ) in told(result, "caution")


@pytest.mark.parametrize(
    ("after", "taken"),
    [
        (numbered("L1", 2026, 4), True),
        (numbered("L1", 2026, 1), False),
        (numbered("l2x", 2025, 12345), False),
        ("L1-2026", True),
        ("paper record L1-2026-0001", True),
    ],
)
def test_a_record_number_must_be_that_of_the_newest_calibration(after: str, taken: bool) -> None:
    """Its own number, an older one, another device's; what no book numbers so is a calibration on paper."""
    raw = visit(point("S", "0.520"))
    row = assigned("0.520", on="2026-02-01", after=after, serial="TU-55208")
    case = replace(given_for(raw), standards={**STANDARDS, "S": secondary("S", row)})
    if taken:
        result = run(raw, case)
        assert check(result, "as_found.S.change").outcome is PASS
        assert "On which instrument" not in told(result, "caution")
        return
    problem = refused(raw, case)
    assert problem.message == (
        f"As found, point 1: the value of S for AIT-2201 was assigned on 2026-02-01 after {after}, and the "
        f"newest primary calibration in the book is L1-2026-0004 of 2026-01-14, not {after}. Ways on: "
        f"correct the number or the day in standards_on_hand.toml; enter the value that L1-2026-0004 "
        f"assigned; read in a primary standard; or calibrate AIT-2201 with primary ones and assign S a value."
    )
    assert (problem.found, problem.expected) == (after, "L1-2026-0004")


@pytest.mark.parametrize(("serial", "taken"), [("TU-55208", True), ("", True), ("TU-1", False)])
@pytest.mark.parametrize("in_book", [True, False])
def test_the_serial_of_an_assigned_value_is_that_on_the_plate(
    serial: str, taken: bool, in_book: bool
) -> None:
    raw = visit(point("S", "0.520"))
    given = given_for(raw, earlier=None if in_book else ())
    case = replace(given, standards={**STANDARDS, "S": secondary("S", assigned("0.520", serial=serial))})
    if not taken:
        problem = refused(raw, case)
        assert "was assigned on the instrument TU-1, the plate now says TU-55208" in problem.message
        assert (problem.found, problem.expected) == ("TU-1", "TU-55208")
        return
    said = "On which instrument the value of S was assigned is not known" in told(run(raw, case), "caution")
    assert said == (not serial and not in_book)


def test_a_calibration_by_another_procedure_voids_nothing() -> None:
    raw = visit(point("S", "0.520"))
    other = replace(calibration("L1-2026-0009", "2026-02-01"), procedure="turbidity_standard_check")
    assert check(run(raw, given_for(raw, earlier=(other,))), "as_found.S.change").outcome is PASS


@pytest.mark.parametrize(("name", "taken"), [("LEAST", True), ("NIL", False), ("MINUS", False)])
def test_a_point_is_read_on_a_standard_above_nothing(name: str, taken: bool) -> None:
    """Just above 0, exactly 0, just below; without a value it is no turbidity standard at all."""
    raw = visit(point(name, "0.002"))
    if taken:
        assert quantity(run(raw), "as_found.LEAST.recovery").text == "200"
        return
    problem = refused(raw)
    value = STANDARDS[name].value
    assert problem.message == (
        f"As found, point 1: {name} (formazin {value} NTU) is worth {value} NTU, and the value of a standard "
        f"is more than 0. Correct it in standards_on_hand.toml, or name another."
    )
    assert (problem.found, problem.expected) == (f"{value}", "more than 0")
    assert problem.where == "as_found.points.0.standard"


@pytest.mark.parametrize(("name", "taken"), [("W1", True), ("W0", True), ("WMINUS", False)])
def test_water_has_a_turbidity_from_nothing_on(name: str, taken: bool) -> None:
    """Above 0, exactly 0, just below, as zero water and as dilution water."""
    for raw, where in (
        (visit(point("F20", "0.1", diluted=diluted(name, ("5", "1000")))), "points.0.diluted.water"),
        (visit(point("P20", "20.0")), "zero.water"),
    ):
        if where == "zero.water":
            raw["as_found"]["zero"] = {"water": name, "readings": ["0.02"] * 3, "interval_s": "30"}
        if taken:
            assert run(raw).checks
            continue
        problem = refused(raw)
        assert (
            "WMINUS (filtered water) is worth -0.001 NTU, and the value of water is 0 or more. Correct it in "
            "standards_on_hand.toml, or name another."
        ) in problem.message
        assert (problem.expected, problem.where) == ("0 or more", f"as_found.{where}")


def test_a_secondary_standard_is_not_diluted() -> None:
    problem = refused(visit(point("S", "0.1", diluted=diluted("W1", ("5", "1000")))))
    assert "S is a secondary standard and cannot be diluted" in problem.message


def test_it_looks_back_at_the_last_primary_calibration() -> None:
    assert dict(CHECK.looks_back) == {"turbidity_calibration": 1}


# ---------------------------------------------------------------- refused


@pytest.mark.parametrize(("name", "taken"), [("OLD", False), ("LASTDAY", True), ("P20", True)])
def test_an_expired_standard(name: str, taken: bool) -> None:
    """The day before, the last day itself, and no date."""
    raw = visit(point(name, "20.0"))
    if taken:
        assert check(run(raw), f"as_found.{name}.error").outcome is PASS
        return
    problem = refused(raw)
    assert problem.message == (
        "As found, point 1: OLD (lot lot OLD) was usable until 2026-03-04, the work was on 2026-03-05. Ways "
        "on: "
        'read in another standard that is in date; or write use = "information only", which shows the result '
        "without a pass."
    )
    result = run(visit(point(name, "20.0", use="information only")))
    found = check(result, "as_found.OLD.error")
    assert (found.information, found.reason) == (True, "information only: OLD was usable until 2026-03-04")


@pytest.mark.parametrize(
    ("raw", "sentence", "where"),
    [
        (
            visit(point("PH7", "7.0")),
            "As found, point 1: PH7 (buffer 7.00) has no turbidity in standards_on_hand.toml; name a "
            "standard with a value in NTU or FNU.",
            "as_found.points.0.standard",
        ),
        (
            visit(point("F20", "0.1", diluted=diluted("PH7", ("5", "1000")))),
            "As found, point 1: PH7 (buffer 7.00) has no turbidity in standards_on_hand.toml; name a "
            "standard with a value in NTU or FNU.",
            "as_found.points.0.diluted.water",
        ),
        (
            visit(point("F20", "0.1", diluted=diluted("OLDW", ("5", "1000")))),
            "As found, point 1, water: OLDW (lot OLDW) was usable until 2026-03-04, the work was on "
            "2026-03-05. Ways on: prepare a fresh batch and enter it.",
            "as_found.points.0.diluted.water",
        ),
        (
            visit(point("F20", "0.1", diluted=diluted("W1", ("1000", "5")))),
            "As found, point 1: 1000 mL cannot be made up to 5 mL; the volume pipetted is more than 0 and no "
            "more than the flask holds. Type both as they were.",
            "as_found.points.0.diluted.steps.0.pipetted_ml",
        ),
        (
            visit(point("P20", "20.0"), point("P20", "20.1")),
            "As found has the standard P20 twice (points 1 and 2); keep one with all its readings, or name "
            "the standard that was really used.",
            "as_found.points.1.standard",
        ),
        (
            visit(point("P20", "120.0")),
            "As found, point 1, reading 1 is 120.0; AIT-2201 shows 0 to 100 NTU. Type what the display "
            "showed; where it showed this, take the analyzer out of service and say not_done.",
            "as_found.points.0.readings.0",
        ),
        (
            visit(point("S", "0.520"), process_before={"ntu": "-0.1"}),
            "The display of the process is -0.1; AIT-2201 shows 0 to 100 NTU. Type what the display showed; "
            "where it showed this, take the analyzer out of service and say not_done.",
            "process_before.ntu",
        ),
        (
            visit(point("NOWHERE", "20.0")),
            "as_found.points.0.standard names 'NOWHERE', which standards_on_hand.toml does not hold; correct "
            "the sheet or add it.",
            "as_found.points.0.standard",
        ),
        (
            visit(point("P20", "20.0"), serial_on_plate="TU-9"),
            "The serial on the plate is TU-9, the register has TU-55208 for AIT-2201. Look at the plate "
            "again; where the instrument was exchanged, enter the new serial in analyzers.toml and run plant "
            "accept.",
            "serial_on_plate",
        ),
    ],
)
def test_what_cannot_be_taken_is_said_in_one_sentence(raw: dict[str, Any], sentence: str, where: str) -> None:
    problem = refused(raw)
    assert problem.message == sentence
    assert problem.where == where


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"as_found": {"points": []}}, "points holds no point"),
        (
            {"as_found": {"points": [point("S", "0.5", insertions="2.5")]}},
            "insertions is 2.5; type how often it was put in, a whole number from 1 to 60.",
        ),
        (
            {"cleaned": {"how": "wiped"}},
            'as_left cannot be the same as as_found: it was cleaned since; write same_as = "after_cleaning"',
        ),
        (
            {"after_cleaning": {"points": [point("S", "0.5")]}},
            "after_cleaning has readings and cleaned does not say how it was cleaned; enter it.",
        ),
        (
            {"as_found": {"not_done": "no standard"}},
            "as_left is the same as as_found, which was not done; read again or say not_done.",
        ),
    ],
)
def test_a_sheet_that_contradicts_itself(change: dict[str, Any], sentence: str) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        parse(CHECK, {**visit(point("S", "0.520")), **change})
    assert sentence in caught.value.message


# ---------------------------------------------------------------- what is said


@pytest.mark.parametrize(
    ("points", "seen", "unseen"),
    [
        ([point("S", "0.520")], "A wrong primary standard", "A wrong or settled stock"),
        (
            [point("S", "0.520")],
            "An offset (stray light, a wrong zero): nothing but a secondary standard",
            "",
        ),
        ([point("P20", "20.0")], "nothing but standards above 1 NTU was read", "A wrong primary standard"),
        ([point("P20", "20.0")], "A wrong or settled stock: all standards were of one bottle.", ""),
        (
            [point("F20", "0.120", diluted=diluted("W1", ("5", "1000")))],
            "An analyzer wrong by less than U at the low end: on F20-diluted that is 0.017 NTU.",
            "An offset",
        ),
    ],
)
def test_what_it_cannot_see_follows_from_what_was_read(
    points: list[dict[str, Any]], seen: str, unseen: str
) -> None:
    text = told(run(visit(*points)), "cannot see")
    assert seen in text
    assert not unseen or unseen not in text


@pytest.mark.parametrize(
    ("shown", "said"), [("15.9", False), ("160", True), ("2.5", True), ("2.51", False), ("249", True)]
)
def test_a_factor_of_ten_is_a_mistaken_stock(shown: str, said: bool) -> None:
    raw = visit(point("P20", shown))
    given = given_for(raw)
    given = replace(given, analyzer=replace(given.analyzer, high=Decimal(1000)))
    text = told(run(raw, given), "caution")
    assert ("about a factor of ten; look whether the stock was 400 or 4000" in text) == said


@pytest.mark.parametrize(("name", "said"), [("P20", False), ("AT40", False), ("P41", True)])
def test_a_standard_beyond_the_range_of_the_method(name: str, said: bool) -> None:
    """180.1 goes to 40 NTU: below, exactly at, above."""
    raw = visit(point(name, f"{STANDARDS[name].value}"))
    assert ("above 40 NTU, where EPA Method 180.1 ends" in told(run(raw), "caution")) == said


def test_an_analyzer_of_another_quantity_is_refused() -> None:
    raw = visit(point("P20", "20.0"))
    given = given_for(raw)
    other = replace(given, analyzer=replace(given.analyzer, unit="pH", measures="pH"))
    problem = refused(raw, other)
    assert isinstance(problem, ChooseAnother)
    assert problem.message == (
        "AIT-2201 measures pH in pH; this procedure is for turbidity in NTU or FNU. Name a turbidity "
        "analyzer, or take the procedure of this one."
    )


def test_inside_its_tolerance_the_advice_is_to_leave_it_alone() -> None:
    assert "leave it alone" in told(run(visit(point("P20", "20.0"))), "advice")
    failed = run(visit(point("P20", "25.0")))
    assert "earlier values are in doubt" in told(failed, "advice")
    assert "Clean the cell or the optics" in told(failed, "advice")
    assert CHECK.opens(failed) == (("turbidity_calibration", "it is outside its tolerance as left"),)
    assert CHECK.opens(run(visit(point("P20", "20.0")))) == ()


def test_who_may_not_do_the_work_is_said() -> None:
    raw = visit(point("P20", "20.0"), cautions={"not_done": "no light"})
    person = Person("IQU", "I. Quarrow", False, False, "W-1", "2026-03-04")
    text = told(run(raw, replace(given_for(raw), people={"IQU": person})), "caution")
    assert "The cautions were not read: no light." in text
    assert "I. Quarrow (IQU) may not perform verifications by the list of people." in text
    assert "The licence of I. Quarrow (IQU) ended on 2026-03-04." in text


def test_minutes_to_settle_are_told_to_the_next_visit() -> None:
    raw = visit(point("P20", "20.0"), settled_min="6")
    before = replace(
        calibration("L1-2026-0010", "2026-02-26"), procedure=CHECK.name, facts={"settled_min": "3"}
    )
    result = run(raw, given_for(raw, earlier=(before,)))
    assert result.facts == {"adjusted": "no", "settled_min": "6"}
    assert "It settled in 6 min; last time in 3 min." in told(result, "statement")


def test_cleaning_explains_and_does_not_replace() -> None:
    result = run(demo("turbidity_standard_check"), known("turbidity_standard_check"))
    assert result.outcome("as_found") is FAIL
    assert result.outcome("as_left") is PASS
    assert "Cleaning changed the error on S-05 from +0.05767 to +0.025 NTU" in told(result, "statement")
    assert "after cleaning = as left" in told(result, "statement")


def test_the_chart_shows_errors_as_shares_of_their_tolerance() -> None:
    chart = run(visit(point("P20", "21.0")), primary=limit(percent="10")).charts[0]
    assert chart.series[0].points[0][:2] == ("20.0", "0.500")
    assert [line.y for line in chart.lines] == ["1", "-1"]


def test_a_passing_weekly_check_takes_few_answers() -> None:
    """After the shared head: value, lamp, bubble trap, standard, readings, interval, as left, status."""
    raw = visit(
        point("S", "0.520"),
        process_before={"ntu": "0.084"},
        optics={"lamp": "on", "bubble_trap": "full"},
    )
    head = {"procedure", "tag", "serial_on_plate", "reason", "performed_by", "date", "started", "cautions"}
    asked = {name: part for name, part in raw.items() if name not in head | {"operations_told"}}

    def answers(part: Any) -> int:
        if isinstance(part, dict):
            return sum(answers(inner) for inner in part.values())
        if isinstance(part, list) and part and isinstance(part[0], dict):
            return sum(answers(inner) for inner in part)
        return len(part) if isinstance(part, list) else 1

    assert answers(asked) <= 12
    assert run(raw).outcome("as_left") is PASS


def test_names_and_settings_of_the_register() -> None:
    assert set(CHECK.tolerances) >= {"primary", "secondary", "low_point", "control_system", "error"}
    assert all(setting.allows(default) for setting, default in ((CHECK.settings["cell_percent"], "1"),))
    assert GIVEN.analyzer.unit == "NTU"
    assert secondary("X", assigned("0.5")).assigned_to("AIT-2201", "2026-01-13") is None


@pytest.mark.parametrize(
    ("value", "on", "facts", "says"),
    [
        ("0.520", "2026-01-14", {"assigned.S": "0.520"}, ""),
        ("0.5200", "2026-01-15", {"assigned.S": "0.520"}, ""),
        ("0.520", "2026-01-14", {}, ""),  # a record made before it told its values
        ("0.521", "2026-01-14", {"assigned.S": "0.520"}, "is 0.521 in {file}, and {record} assigned 0.520"),
        (
            "0.520",
            "2026-01-13",
            {"assigned.S": "0.520"},
            "was assigned on 2026-01-13 in {file}, and {record} was on 2026-01-14",
        ),
        ("0.520", "2026-01-14", {"assigned.T": "0.48"}, "is 0.520 in {file}, and {record} assigned it none"),
    ],
)
def test_a_value_typed_after_a_record_is_what_that_record_assigned(
    value: str, on: str, facts: dict[str, str], says: str
) -> None:
    raw = visit(point("S", "0.520"))
    row = assigned(value, on=on, after="L1-2026-0004")
    case = given_for(raw)
    told_of = tuple(replace(one, facts=facts) for one in case.earlier)
    case = replace(case, earlier=told_of, standards={**STANDARDS, "S": secondary("S", row)})
    if not says:
        assert check(run(raw, case), "as_found.S.change").outcome is PASS
        return
    said = says.format(file="standards_on_hand.toml", record="the calibration L1-2026-0004")
    assert refused(raw, case).message == (
        f"As found, point 1: the value of S for AIT-2201 {said}; type it there as the record gives it."
    )
