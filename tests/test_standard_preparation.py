"""The preparation of a standard: outside values, two steps, the entry it gives, every refusal.

Outside values: A09 of the project's list of external facts (dilution rule of ISO 7027 and EPA Method 180.1)
and V11 of its measurement models (computed there with GTC 1.5.1 and by central differences); GTC again here.
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
from printed import agree
from turbidity_cases import (
    STANDARDS,
    check,
    demo,
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

from wqverify.errors import CorrectTheEntry
from wqverify.plant.models import StandardEntry, StandardsFile
from wqverify.procedures import PROCEDURES, preparation_budget
from wqverify.procedures.preparation_budget import entered
from wqverify.procedures.sheets import parse
from wqverify.terms import Input, Outcome, Result

PREPARATION = PROCEDURES["standard_preparation"]
PASS, FAIL, OPEN = Outcome.PASS, Outcome.FAIL, Outcome.NOT_EVALUATED


def step(pipetted: str, to: str, **more: str) -> dict[str, str]:
    return {"pipetted_ml": pipetted, "to_ml": to, **more}


def bench(*steps: dict[str, str], **more: Any) -> dict[str, Any]:
    """A standard made of the stock FZ with the water W1."""
    return {
        "procedure": "standard_preparation",
        "tag": "AIT-2201",
        "serial_on_plate": "TU-55208",
        "reason": "routine",
        "performed_by": "IQU",
        "date": "2026-03-05",
        "started": "08:20",
        "cautions": {"read": "yes"},
        "operations_told": {"not_done": "bench work"},
        "stock": "FZ",
        "water": "W1",
        "label": "NEW",
        "steps": list(steps),
        "status": {"state": "in service"},
        **more,
    }


def entry(result: Result) -> StandardEntry:
    """What is printed to be typed, read as standards_on_hand.toml."""
    text = next(n.text for n in result.notes if n.text.startswith("Type into"))
    return StandardsFile.model_validate(tomllib.loads(text.split("\n", 1)[1])).standard[0]


# ---------------------------------------------------------------- outside values


@pytest.mark.parametrize(
    ("one", "case"),
    [
        (step("5", "1000"), "5 mL to 1000 mL"),
        (step("0.5", "100", pipette="adjustable"), "0.5 mL to 100 mL"),
    ],
)
def test_v11_value_and_uncertainty(one: dict[str, str], case: str) -> None:
    """Printed 20.0199 (0.1593; 0.2112): 4 °C of water against glass here, 0.05 % there."""
    value = quantity(run(bench(one)), "prepared.value")
    assert value.value == pytest.approx(20.0199, abs=1e-9)
    assert value.text == "20.020"
    printed = {"5 mL to 1000 mL": 0.1593, "0.5 mL to 100 mL": 0.2112}[case]
    assert value.u == pytest.approx(printed, abs=1e-4)
    if case.startswith("0.5"):
        assert value.dof is not None
        agree("V11", "dof 0.5 mL to 100 mL", value.dof)


@pytest.mark.parametrize(
    ("stock", "flask", "target", "printed"),
    [("FZ", "100", "20", "4000 to 20"), ("HOME", "100", "40", "400 to 40")],
)
def test_a09_what_to_pipette(stock: str, flask: str, target: str, printed: str) -> None:
    """0.500 mL and 10.00 mL as the rule is printed, with water of nothing."""
    raw = bench(stock=stock, target=target, flask_ml=flask)
    given = given_for(raw)
    given = replace(given, standards={**STANDARDS, "W1": replace(STANDARDS["W1"], value=Decimal(0))})
    working = next(w for w in run(raw, given).workings if w.label.startswith("Stock to pipette"))
    agree("A09", printed, float(working.answer.removesuffix(" mL")))


def test_the_model_against_gtc(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[Any, dict[str, Input]]] = []
    original = preparation_budget.propagate

    def spy(model: Any, inputs: Mapping[str, Input], *more: Any) -> Any:
        seen.append((model, dict(inputs)))
        return original(model, inputs, *more)

    monkeypatch.setattr(preparation_budget, "propagate", spy)
    for raw in (
        bench(step("5", "1000")),
        bench(step("10", "100"), step("5", "100")),
        bench(step("5", "1000"), stock="F20"),
        bench(step("10", "100", pipette="adjustable"), stock="HOME", apart_c="2"),
    ):
        run(raw)
    PREPARATION.compute(parse(PREPARATION, demo(PREPARATION.name)), known(PREPARATION.name), {})
    assert len(seen) == 10  # each once for its U and once with its text
    for model, inputs in seen:
        same_as_central_difference(model, inputs, same_as_gtc(model, inputs))


# ---------------------------------------------------------------- steps and causes


def test_every_step_has_its_own_pipetting_and_one_stock_and_one_water() -> None:
    value = quantity(run(bench(step("10", "100"), step("5", "100"))), "prepared.value")
    causes = [line.cause for line in value.budget]
    assert causes.count("bottle:FZ lot lot FZ") == causes.count("bottle:W1 lot W1") == 1
    assert {"pipetting:NEW, step 1", "pipetting:NEW, step 2"} <= set(causes)
    assert causes.count("settling:NEW") == 1


def test_the_entry_can_be_typed_as_it_is_printed() -> None:
    raw = bench(step("5", "1000"), name='formazin "20"', life_days="2")
    result = run(raw)
    found, value = entry(result), quantity(result, "prepared.value")
    assert (found.id, found.lot, found.unit, found.prepared) == ("NEW", "NEW", "NTU", "2026-03-05")
    assert (found.name, found.prepared_life_days) == ('formazin "20"', 2)
    assert (found.value, found.expanded) == (Decimal("20.020"), Decimal(value.expanded))
    assert found.standard().usable_until == "2026-03-07"
    causes = {cause.name: cause for cause in found.cause}
    assert set(causes) == {"bottle:FZ lot lot FZ", "bottle:W1 lot W1", "preparation:NEW"}
    assert causes["bottle:FZ lot lot FZ"].u == Decimal("0.100")
    together = sqrt(sum(float(cause.u) ** 2 for cause in found.cause))
    assert together == pytest.approx(value.u, rel=2e-3)
    assert causes["preparation:NEW"].dof is not None
    assert entry(run(bench(step("5", "1000")))).prepared_life_days == 1


def test_what_was_prepared_is_read_with_its_causes() -> None:
    """Prepared here and read in a check: stock and water stand in the budget by their own names."""
    made = entry(run(bench(step("5", "1000")))).standard()
    raw = visit(
        point("NEW", "20.0"), point("FZ", "40.0", diluted={"water": "W1", "steps": [step("10", "1000")]})
    )
    given = given_for(raw)
    result = run(raw, replace(given, standards={**STANDARDS, "NEW": made}))
    first, second = (
        {line.cause for line in quantity(result, f"as_found.{name}.error").budget}
        for name in ("NEW", "FZ-diluted")
    )
    assert first & second == {"bottle:FZ lot lot FZ", "bottle:W1 lot W1"}


def test_a_dilution_of_a_prepared_standard_keeps_its_causes() -> None:
    found = entry(run(bench(step("5", "1000"), stock="F20", target="0.12")))
    assert found.value == Decimal("0.1200")
    names = {cause.name for cause in found.cause}
    assert names == {"bottle:FZ lot lot FZ", "bottle:W1 lot W1", "preparation:F20", "preparation:NEW"}


@pytest.mark.parametrize(
    ("exact", "expanded", "text"),
    [
        ("20.0199", "0.32", "20.020"),
        ("0.1199995", "0.012", "0.1200"),
        ("40", "0.65", "40.000"),
        ("4000", "42", "4000.0"),
        ("0.1199995", "0.000012", "0.120000"),
    ],
)
def test_a_value_is_entered_one_place_beyond_its_uncertainty(exact: str, expanded: str, text: str) -> None:
    assert entered(Decimal(exact), expanded) == text


def test_a_temperature_that_was_measured_stands_for_the_one_assumed() -> None:
    wide, narrow = (
        quantity(run(bench(step("5", "1000"), **more)), "prepared.value") for more in ({}, {"apart_c": "1"})
    )
    line = next(x for x in narrow.budget if x.cause == "volume temperature:NEW")
    assert (line.u, line.size_from) == (pytest.approx(1 / sqrt(3)), "temperature")
    assert wide.u is not None
    assert narrow.u is not None
    assert narrow.u < wide.u


@pytest.mark.parametrize(
    ("one", "pipette", "flask"),
    [
        (step("5", "1000"), 0.01, 0.30),
        (step("10", "100"), 0.02, 0.08),
        (step("2", "250"), 0.006, 0.12),
        (step("0.5", "100", pipette="adjustable"), 0.005, 0.08),
        (step("5", "1000", pipette_within_ml="0.015", flask_within_ml="0.4"), 0.015, 0.4),
    ],
)
def test_tolerances_of_the_glass(one: dict[str, str], pipette: float, flask: float) -> None:
    lines = {line.cause: line for line in quantity(run(bench(one)), "prepared.value").budget}
    assert lines["pipette:NEW"].u == pytest.approx(pipette / sqrt(6))
    assert lines["flask:NEW"].u == pytest.approx(flask / sqrt(6))


# ---------------------------------------------------------------- judged only where a limit is given


@pytest.mark.parametrize(("half", "outcome"), [("0.021", PASS), ("0.020", PASS), ("0.019", FAIL)])
def test_the_limit_of_the_preparer(half: str, outcome: Outcome) -> None:
    """20.020 and a target of 20: just inside, exactly at, just outside."""
    found = check(run(bench(step("5", "1000"), target="20", limit=half)), "prepared.difference")
    assert (found.outcome, found.observed, found.reference) == (outcome, "20.020", "20")
    assert found.tolerance is not None
    assert found.tolerance.source == "limit of the preparer, as typed on the sheet"


def test_without_a_limit_nothing_is_judged() -> None:
    found = check(run(bench(step("5", "1000"), target="20")), "prepared.difference")
    assert (found.outcome, found.information) == (OPEN, True)
    assert found.reason == "no limit of the preparer is given: nothing is judged"
    none = check(run(bench(step("5", "1000"))), "prepared.difference")
    assert none.reason == "no target was entered"


@pytest.mark.parametrize(("percent", "outcome"), [("0.11", PASS), ("0.1", PASS), ("0.09", FAIL)])
def test_the_limit_of_the_register(percent: str, outcome: Outcome) -> None:
    raw = bench(step("5", "1000"), target="20")
    assert check(run(raw, preparation=limit(percent=percent)), "prepared.difference").outcome is outcome


def test_a_limit_that_u_fills_is_said() -> None:
    text = told(run(bench(step("5", "1000"), target="20", limit="0.2")), "caution")
    assert "U 0.32 is 1.60 of the tolerance, so this comparison cannot decide." in text


# ---------------------------------------------------------------- too little to pipette


@pytest.mark.parametrize(("pipetted", "said"), [("1.1", False), ("1", False), ("0.9", True)])
def test_a_volume_too_small_to_pipette(pipetted: str, said: bool) -> None:
    """1 mL by default: just above, exactly at, just below."""
    result = run(bench(step(pipetted, "200"), target="20"))
    warned = "mL is less than 1 mL, below which the hand decides and not the glass" in told(result, "caution")
    assert warned == said
    assert ("In two:" in told(result, "advice")) == said


def test_the_smallest_volume_is_a_setting() -> None:
    raw = bench(step("0.5", "100", pipette="adjustable"), target="20")
    assert "dilute in two steps" in told(run(raw), "caution")
    assert "dilute in two steps" not in told(run(raw, settings={"smallest_ml": "0.5"}), "caution")


def test_two_steps_are_computed_and_can_be_followed() -> None:
    result = run(bench(target="20", flask_ml="100"))
    assert told(result, "advice") == (
        "In one step 20 NTU needs 0.5 mL in 100 mL, less than 1 mL. In two: 5 mL of FZ made up to 100 mL "
        "gives 200.019 NTU; 9.99 mL of that made up to 100 mL gives 20 NTU, both with W1."
    )
    found = check(result, "prepared.difference")
    assert (found.outcome, found.reason) == (OPEN, "nothing was diluted yet: steps is empty")
    followed = run(bench(step("5", "100"), step("9.99", "100"), target="20"))
    assert check(followed, "prepared.difference").quantity is not None
    assert abs(quantity(followed, "prepared.difference").value) < 0.001


def test_one_step_that_can_be_pipetted_is_told() -> None:
    advice = told(run(bench(target="20", flask_ml="1000")), "advice")
    assert advice == "Pipette 4.995 mL of FZ and make up to 1000 mL with W1."


def test_where_two_steps_do_not_help_a_larger_flask_does() -> None:
    raw = bench(target="20", flask_ml="10")
    assert "and no two steps in flasks of 10 mL have larger volumes: take a larger flask" in told(
        run(raw, settings={"smallest_ml": "2"}), "advice"
    )


# ---------------------------------------------------------------- refused


@pytest.mark.parametrize(("target", "taken"), [("0.021", True), ("0.02", False), ("0.019", False)])
def test_a_target_below_the_water(target: str, taken: bool) -> None:
    """Just above the water, the water itself, just below."""
    raw = bench(step("5", "1000"), target=target)
    if taken:
        assert run(raw).facts["label"] == "NEW"
        return
    problem = refused(raw)
    assert problem.message == (
        f"A standard of {target} NTU cannot be made with water of 0.02 NTU: the target lies at or below the "
        f"water. Choose a higher target, or cleaner water."
    )
    assert (problem.where, problem.found, problem.expected) == ("target", target, "more than 0.02")


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"target": "4001"},
            "A standard of 4001 NTU cannot be diluted from a stock of 4000 NTU: the stock is weaker. Choose "
            "a lower target, or another stock.",
        ),
        (
            {"stock": "OLD"},
            "The stock: OLD (lot lot OLD) was usable until 2026-03-04, the work was on 2026-03-05. Ways on: "
            "take another stock that is in date.",
        ),
        (
            {"water": "OLDW"},
            "The dilution water, water: OLDW (lot OLDW) was usable until 2026-03-04, the work was on "
            "2026-03-05. Ways on: prepare a fresh batch and enter it.",
        ),
        (
            {"stock": "PH7"},
            "The stock: PH7 (buffer 7.00) has no turbidity in standards_on_hand.toml; name a standard with a "
            "value in NTU or FNU.",
        ),
        (
            {"stock": "NIL"},
            "The stock: NIL (formazin 0 NTU) is worth 0 NTU, and the value of a standard is more than 0. "
            "Correct it in standards_on_hand.toml, or name another.",
        ),
        (
            {"stock": "S"},
            "The stock: S (sealed secondary) has no turbidity in standards_on_hand.toml; name a standard "
            "with a value in NTU or FNU.",
        ),
        (
            {"steps": [step("1000", "5")]},
            "Step 1: 1000 mL cannot be made up to 5 mL; the volume pipetted is more than 0 and no more than "
            "the flask holds. Type both as they were.",
        ),
        (
            {"steps": [step("0", "5")]},
            "Step 1: 0 mL cannot be made up to 5 mL; the volume pipetted is more than 0 and no more than the "
            "flask holds. Type both as they were.",
        ),
        (
            {"label": "FZ"},
            "The label is FZ, which is what it was made from; give the new standard an id of its own.",
        ),
    ],
)
def test_what_cannot_be_taken_is_said_in_one_sentence(change: dict[str, Any], sentence: str) -> None:
    assert refused({**bench(step("5", "1000")), **change}).message == sentence


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"steps": []},
            "steps holds no dilution; enter what was pipetted and made up, or to plan only a target",
        ),
        ({"limit": "0.2"}, "limit stands without target; enter what the standard was to be worth."),
        ({"life_days": "1.5"}, "life_days is 1.5; type a whole number of days from 1 to 3650."),
        ({"target": "0"}, "target is 0; it is more than 0."),
        ({"target": "20", "limit": "-1"}, "limit is -1; it is more than 0."),
    ],
)
def test_a_sheet_that_says_too_little(change: dict[str, Any], sentence: str) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        parse(PREPARATION, {**bench(step("5", "1000")), **change})
    assert sentence in caught.value.message


# ---------------------------------------------------------------- what is said


@pytest.mark.parametrize(("target", "said"), [("2", True), ("200", True), ("2.6", False), ("16", False)])
def test_a_factor_of_ten_is_a_mistaken_stock(target: str, said: bool) -> None:
    text = told(run(bench(step("5", "1000"), target=target)), "caution")
    assert ("about a factor of ten; look whether the stock is 400 or 4000" in text) == said


def test_what_is_assumed_and_what_it_cannot_see_is_said() -> None:
    result = run(
        bench(step("10", "100"), stock="HOME", clocks={"laptop": "08:21", "control_system": "08:22"})
    )
    assert "HOME states no uncertainty; U 2 %, k 2, is assumed." in told(result, "caution")
    assert "Two stocks are called formazin: 4000 NTU" in told(result, "statement")
    assert "ahead of the laptop's" in told(result, "statement")
    assert "A stock that has settled, and a wrong label on HOME or on W1." in told(result, "cannot see")
    text = " ".join(caution.text for caution in PREPARATION.cautions)
    assert "hydrazine sulfate" in text
    assert "nothing goes back into potable water" in text
