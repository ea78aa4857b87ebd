"""Temperature check: outside values, four tests around each limit, what is refused, what it cannot see.

Outside values: V21 of the project's measurement models (GTC 1.5.1 and central differences), IEC 60751:2022
for the element and its classes (A19, A20 of the project's external facts), GTC here as a second library for
every uncertainty of the demo visit, NIST SP 811 (2008) for degrees Fahrenheit.
"""

from __future__ import annotations

import copy
import json
import math
from dataclasses import replace
from decimal import Decimal
from math import sqrt
from typing import Any

import GTC
import numpy as np
import pytest
from gtc import same_as_central_difference
from one_procedure import Of, told, value
from printed import agree, agrees
from scipy.special import ndtri
from scipy.stats import qmc

from wqverify.calculations.temperature import pt_resistance, pt_sensitivity
from wqverify.calculations.uncertainty import correlation, propagate
from wqverify.procedures import PROCEDURES
from wqverify.procedures import temperature_budget as budget
from wqverify.procedures.blank import blank_sheet
from wqverify.procedures.parts import entries
from wqverify.procedures.sheets import parse
from wqverify.procedures.temperature_sheet import Bath
from wqverify.procedures.temperature_stages import stages
from wqverify.records.canonical import given_from
from wqverify.records.record import case_from, compute
from wqverify.records.workbook import demo_case
from wqverify.shipped import shipped_folder
from wqverify.terms import Analyzer, Beside, Given, Outcome, Result, Tolerance

NAME = "temperature_check"
CHECK = PROCEDURES[NAME]
GIVEN: Given = given_from(json.loads((shipped_folder("demo_runs") / NAME / "given.json").read_text("utf-8")))
T17 = GIVEN.standards["T-17"]
R3 = sqrt(3)


def tolerance(half: str = "0.5", unit: str = "°C", **more: Any) -> Tolerance:
    plain: dict[str, Any] = {"rule": "simple", "basis": "local", "source": "invented"}
    return Tolerance(**{**plain, "unit": unit, "low": -Decimal(half), "high": Decimal(half), **more})


def analyzer(**changes: Any) -> Analyzer:
    plain = {
        "settings": {},
        "tolerances": {"error": tolerance()},
        "control_system_tag": "",
        "intervals_days": {},
    }
    return replace(GIVEN.analyzer, **{**plain, **changes})


PLAIN = replace(T17, id="T-18", own=())
STANDARDS = {"T-17": T17, "T-18": PLAIN, "F": replace(PLAIN, id="F", unit="°F")}


def bath(reference: str | None, *readings: str, **more: Any) -> dict[str, Any]:
    there = {"standard": "T-18", "reference": reference} if reference is not None else {}
    return {"kind": "stirred bath", **there, "readings": list(readings), "interval_s": "30", **more}


TWO = (bath("0.0", "0.0", "0.0", "0.0"), bath("20.0", "20.0", "20.0", "20.0"))


def visit(*points: dict[str, Any], **more: Any) -> dict[str, Any]:
    """The shortest sheet: two baths, nothing changed."""
    return {
        "procedure": NAME,
        "tag": "TIT-1201",
        "serial_on_plate": "TT-12044",
        "reason": "routine",
        "performed_by": "IQU",
        "date": "2026-03-13",
        "started": "09:00",
        "cautions": {"read": "yes"},
        "operations_told": {"who": "W. Abernathy"},
        "as_found": {"points": list(points or TWO)},
        "as_left": {"same_as": "as_found"},
        "status": {"state": "in service"},
        **more,
    }


of_them = Of(CHECK, GIVEN, analyzer, STANDARDS, "as_found.bath-2.error")
given_for, run, check, quantity = of_them.given_for, of_them.run, of_them.check, of_them.quantity
refused, not_taken = of_them.refused, of_them.not_taken


# ---------------------------------------------------------------- V21 and GTC


def test_v21_a_field_check() -> None:
    """18.6 shown, reference 18.32, correction -0.04, unstirred water; the five readings scatter by their
    digit."""
    low = ((Decimal(0), Decimal("-0.04")), (Decimal(40), Decimal("-0.04")))
    known = {"R": replace(PLAIN, id="R", own=low)}
    raw = visit({**bath("18.32", "18.6", "18.6", "18.6"), "standard": "R", "kind": "unstirred water"})
    found = quantity(run(raw, given_for(raw, standards=known)), "as_found.bath-1.error")
    agree("V21", "error", float(found.decimal))
    # there the scatter of D (0.02, dof 4) is an input beside its digit; here one reading counts as its digit
    assert found.u == pytest.approx(sqrt(0.0935**2 - 0.02**2), abs=1e-4)
    assert found.expanded == "0.19"


def test_v21_with_the_scatter_that_it_has() -> None:
    """The model with D as V21 has it: u 0.0935, nu 1910."""
    model, inputs = model_of(visit({**bath("18.32", "18.6", "18.6", "18.6"), "kind": "unstirred water"}))
    name = "reading:as_found.bath-1"
    scattered = {**inputs, name: replace(inputs[name], u=0.1 / sqrt(12))}
    scattered["scatter"] = replace(inputs[name], value=0.0, u=0.02, dof=4.0)

    def with_scatter(x: Any) -> dict[str, Any]:
        return {"error": model(x)["bath-1.error"] + x["scatter"]}

    found = propagate(with_scatter, scattered, {"error": "°C"})["error"]
    agrees("V21", u=found.u or 0, dof=found.dof or 0)


def demo() -> Result:
    return compute(case_from(demo_case(NAME)))


def test_the_demo_visit_again_by_gtc() -> None:
    """Errors, elements and gain as found, with the thermometer and its drift shared by both baths."""
    result = demo()
    warm, drift = GTC.ureal(0, 0.05), GTC.ureal(0, 0.05 / R3)
    meter, leads = GTC.ureal(0, 0.05 / R3), GTC.ureal(0, 0.05 / R3)
    e, D, T = [], [], []
    rows = (
        (0.03, -0.030, [0.8] * 3, 0.03, 100.31),
        (22.14, -0.040, [22.8, 22.9, 22.9], 0.03, 108.90),
    )
    for number, (r, c, shown, of_bath, ohm) in enumerate(rows, 1):
        true = GTC.ureal(r, 0.01 / sqrt(12)) + c + warm + drift + GTC.ureal(0, of_bath / R3)
        lag = GTC.ureal(0, 0.05 / R3)
        readings = np.array(shown)
        scatter = readings.std(ddof=1) / sqrt(3)
        digit = 0.1 / sqrt(12)
        d = GTC.ureal(readings.mean(), scatter, 2) if scatter > digit else GTC.ureal(readings.mean(), digit)
        error = d - true - lag
        got = quantity(result, f"as_found.bath-{number}.error")
        assert got.u == pytest.approx(error.u, rel=1e-9)
        assert got.dof == (int(error.df + 1e-6) if error.df < 1e6 else None)
        R = GTC.ureal(ohm - 0.28, 0.01 / sqrt(12)) + meter - leads
        A, B = 3.9083e-3, -5.775e-7
        by_ohm = (-A + GTC.sqrt(A * A - 4 * B * (1 - R / 100))) / (2 * B)
        element = quantity(result, f"as_found.bath-{number}.element")
        assert element.u == pytest.approx((by_ohm - true - lag).u, rel=1e-9)
        electronics = value(result, f"as_found.bath-{number}.electronics").quantity
        assert electronics.u == pytest.approx((d - by_ohm).u, rel=1e-9)
        e.append(error)
        D.append(d - lag)
        T.append(true)
    gain = 100 * ((D[1] - D[0]) / (T[1] - T[0]) - 1)
    got = value(result, "as_found.gain").quantity
    assert (got.value, got.u) == (pytest.approx(gain.x, abs=2e-3), pytest.approx(gain.u, rel=1e-3))
    r = correlation(*(quantity(result, f"as_found.bath-{n}.error") for n in (1, 2)))
    assert r == pytest.approx(GTC.get_correlation(*e), abs=1e-9)


def model_of(raw: dict[str, Any], unit: str = "°C") -> tuple[Any, Any]:
    """The model of a visit as the procedure propagates it, caught on its way."""
    caught: list[Any] = []
    original = budget.propagate
    budget.propagate = lambda *a: caught.append(a) or original(*a)  # type: ignore[attr-defined]
    try:
        stages(parse(CHECK, raw), given_for(raw, analyzer(unit=unit)))
    finally:
        budget.propagate = original  # type: ignore[attr-defined]
    model, inputs, *_ = caught[0]
    return model, inputs


WITH_ELEMENT = (
    bath("0.03", "0.8", "0.8", "0.8", kind="ice point", element_ohm="99.7"),
    bath("22.14", "22.8", "22.9", "22.9", element_ohm="108.90", lead_ohm="0.28"),
)


@pytest.mark.parametrize("unit", ["°C", "°F"])
def test_each_sensitivity_against_a_central_difference(unit: str) -> None:
    model, inputs = model_of(visit(*WITH_ELEMENT), unit)
    units = dict.fromkeys(model({cause: one.value for cause, one in inputs.items()}), "1")
    same_as_central_difference(model, inputs, propagate(model, inputs, units))


def test_first_order_is_enough() -> None:
    """By a Sobol sequence of 2^13 points through the model itself, without any derivative."""
    model, inputs = model_of(visit(*WITH_ELEMENT))
    points = qmc.Sobol(len(inputs), scramble=False).random_base2(13) + 0.5**14  # off the edge at 0
    drawn: dict[str, list[float]] = {}
    for row in points:
        x = {
            cause: one.value + one.u * ((2 * q - 1) * R3 if one.distribution == "rectangular" else ndtri(q))
            for (cause, one), q in zip(inputs.items(), row, strict=True)
        }
        for name, result in model(x).items():
            drawn.setdefault(name, []).append(result)
    for name, got in propagate(model, inputs, dict.fromkeys(drawn, "1")).items():
        assert np.std(drawn[name]) == pytest.approx(got.u, rel=5e-3), name
        assert np.mean(drawn[name]) == pytest.approx(got.value, abs=0.05 * (got.u or 0)), name


def test_two_baths_fifteen_apart_give_the_gain_to_less_than_a_percent() -> None:
    """The project's measurement models: two points 15 K apart, u of the gain about 0.7 %; certificate
    cancels."""
    raw = visit(
        {**bath("5.0", "5.0", "5.0", "5.0"), "kind": "unstirred water"},
        {**bath("20.0", "20.0", "20.0", "20.0"), "kind": "unstirred water"},
    )
    gain = value(run(raw), "as_found.gain").quantity
    assert gain.u == pytest.approx(0.7, abs=0.05)
    assert "thermometer:T-18" in {line.cause for line in quantity(run(raw)).budget}
    assert abs(next((x.contribution for x in gain.budget if x.cause.startswith("thermometer")), 0.0)) < 1e-9


@pytest.mark.parametrize(
    ("kind", "within"),
    [("stirred bath", 0.03), ("unstirred water", 0.1), ("process", 0.1), ("ice point", 0.03)],
)
def test_the_kind_of_the_bath_is_in_the_budget(kind: str, within: float) -> None:
    """Certificate 0.05, drift and immersion ±0.05, display and reference to 0.01, and the bath, by hand."""
    raw = visit({**bath("20.00", "20.00", "20.00", "20.00"), "kind": kind})
    by_hand = sqrt(0.05**2 + 2 * 0.05**2 / 3 + within**2 / 3 + 2 * 0.01**2 / 12)
    assert quantity(run(raw), "as_found.bath-1.error").u == pytest.approx(by_hand, rel=1e-9)


IN_NUMBERS = set("0123456789.()+-−×/√² ")


def by_hand(put_in: str) -> float:
    """What a pocket calculator makes of the numbers put in."""
    written = {"×": "*", "−": "-", "√": "math.sqrt", "²": "**2"}
    return float(eval("".join(written.get(sign, sign) for sign in put_in), {"math": math}))  # own text


def test_hand_calculations_end_in_what_is_shown() -> None:
    """Evaluating what is put in gives the answer, to half of its last digit."""
    in_f = visit(
        bath("-0.30", "31.2", "31.3", "31.2"), bath("20.0", "68.0", "68.0", "68.0", control_system="68.1")
    )
    labels = []
    for result in (demo(), run(in_f, given_for(in_f, analyzer(unit="°F", high=Decimal(122))))):
        for working in result.workings:
            if not set(working.put_in) <= IN_NUMBERS:
                continue  # a square root that is solved for t
            answer = working.answer.split(" ")[0]
            last = float(Decimal(1).scaleb(Decimal(answer).as_tuple().exponent))  # type: ignore[arg-type]
            assert by_hand(working.put_in) == pytest.approx(float(answer), abs=last * 0.501), working
            labels.append(working.label)
    assert len(labels) >= 20
    for label in (
        "Temperature of bath-1, as found",
        "Temperature of bath-1 in °F, as found",
        "Gain, as left",
        "Error of the control system, sensor in bath-2, as found",
    ):
        assert label in labels


def beside(question: str, path: str, raw: dict[str, Any]) -> Beside:
    return CHECK.beside[question](raw, path, given_for(visit()))


def test_beside_a_bath_stands_its_temperature_and_what_the_element_should_have() -> None:
    """22.14 − 0.04 = 22.10 °C; 108.61 ohm there by IEC 60751 (107.7935 + 2.1 × 0.3884), class B 0.4105 °C."""
    row = {**bath("22.14", "22.4", "22.4", element_ohm="108.9"), "standard": "T-17"}
    raw = visit(row, element=element("B"))
    assert "the bath is 22.100 °C" in beside("thermometer", "as_found.points.0.reference", raw).lines
    shown = beside("readings", "as_found.points.0.readings", raw)
    assert (shown.reference, shown.low, shown.high) == tuple(map(Decimal, ("22.1", "21.6", "22.6")))
    assert "error of the last reading: +0.300 °C" in shown.lines
    lines = beside("element", "as_found.points.0.element_ohm", raw).lines
    assert lines == ("at 22.100 °C it has 108.61 ohm", "class B: ±0.4105 °C", "108.9 ohm is 22.85 °C")
    ice = visit(bath(None, "0.1", kind="ice point"))
    assert beside("readings", "as_found.points.0.readings", ice).reference == Decimal(0)
    no = visit(bath("20.0", "20.5", "20.8", "20.5"), decision={"action": "offset", "why": ""})
    assert any(
        "do not adjust yet: in bath-1 the readings" in x
        for x in beside("decision", "decision.action", no).lines
    )


# ---------------------------------------------------------------- around the tolerance


@pytest.mark.parametrize(
    ("shown", "outcome"),
    [("20.4", "pass"), ("20.5", "pass"), ("20.6", "fail"), ("19.5", "pass"), ("19.4", "fail")],
)
def test_around_half_a_degree(shown: str, outcome: str) -> None:
    assert check(run(visit(TWO[0], bath("20.0", shown, shown, shown)))).outcome == outcome


def test_without_a_tolerance_it_is_not_evaluated() -> None:
    raw = visit()
    one = check(run(raw, given_for(raw, analyzer(tolerances={}))))
    assert one.reason.startswith("the register holds no tolerance for this")


@pytest.mark.parametrize(
    ("warm", "outcome"),
    [("10.1", "pass"), ("10.0", "pass"), ("9.9", "not evaluated"), ("0.0", "not evaluated")],
)
def test_around_how_far_two_baths_lie_apart(warm: str, outcome: str) -> None:
    result = run(visit(TWO[0], bath(warm, warm, warm, warm)))
    assert check(result, "as_found.two_baths").outcome == outcome
    assert result.outcome("as_found") == outcome


def test_one_bath_is_no_pass_and_says_what_it_cannot_catch() -> None:
    right, wrong = (run(visit(bath("20.0", *[shown] * 3))) for shown in ("20.0", "21.0"))
    assert (right.outcome("as_found"), wrong.outcome("as_found")) == (Outcome.NOT_EVALUATED, Outcome.FAIL)
    words = "ne bath that counts was read: an error that grows with the temperature is not seen"
    assert words in told(right, "cannot see")
    assert "One bath does not tell an offset from a gain" in told(wrong, "advice")


@pytest.mark.parametrize(
    ("readings", "reason"),
    [
        (("20.0", "20.1", "20.0"), ""),
        (("20.0", "20.1", "20.2"), "the readings were not stable within 0.1 °C: the last 3 moved 0.2 °C"),
        (("20.0", "20.0"), "2 readings do not show that it held still; 3, at least 10 s apart, are needed"),
        (("20.0",), "one reading does not show that it held still; 3, at least 10 s apart, are needed"),
    ],
)
def test_around_the_stability_of_readings(readings: tuple[str, ...], reason: str) -> None:
    assert check(run(visit(TWO[0], bath("20.0", *readings)))).reason == reason


def test_readings_that_creep_are_no_sample_so_the_last_counts() -> None:
    result = run(visit(TWO[0], bath("20.0", "20.00", "20.04", "20.08")))
    assert check(result).observed == "20.08"
    assert "still crept one way, from 20.00 to 20.08" in told(result, "caution")


def test_a_display_too_coarse_for_its_tolerance_is_said() -> None:
    raw = visit()
    coarse = given_for(raw, analyzer(tolerances={"error": tolerance("0.15")}))
    assert "its last digit is more than half of the tolerance of 0.15 °C" in told(run(raw, coarse), "caution")
    fits = given_for(raw, analyzer(tolerances={"error": tolerance("0.2")}))
    assert "its last digit" not in told(run(raw, fits), "caution")


# ---------------------------------------------------------------- reference


def test_the_correction_of_the_certificate_is_added() -> None:
    """-0.03 at 0 and -0.04 at 20 °C: straight between, -0.035 at 10 °C."""
    raw = visit({**bath("10.00", "10.0", "10.0", "10.0"), "standard": "T-17"})
    one = check(run(raw), "as_found.bath-1.error")
    assert (one.reference, one.quantity and one.quantity.text) == ("9.965", "0.035")


@pytest.mark.parametrize(
    ("shown", "reaches"), [("39.9", True), ("40.0", True), ("40.1", False), ("-0.1", False)]
)
def test_a_certificate_that_does_not_reach_is_refused(shown: str, reaches: bool) -> None:
    raw = visit({**bath(shown, "40", "40", "40"), "standard": "T-17"})
    if reaches:
        assert run(raw)
    else:
        words = f"T-17 shows {shown} °C, and its certificate gives corrections from 0 to 40 °C; nothing is"
        assert words in refused(raw)


def test_an_ice_point_is_a_reference_by_itself() -> None:
    """0.00 °C with ±0.03 °C, immersion ±0.05 °C and a digit of 0.1 °C, by hand."""
    raw = visit(bath(None, "0.1", "0.1", "0.1", kind="ice point"), TWO[1])
    result = run(raw)
    one = check(result, "as_found.bath-1.error")
    assert (one.reference, one.quantity and one.quantity.text) == ("0.00", "0.10")
    by_hand = sqrt(0.03**2 / 3 + 0.05**2 / 3 + 0.1**2 / 12)
    assert quantity(result, "as_found.bath-1.error").u == pytest.approx(by_hand, rel=1e-9)
    assert "has wrong everywhere" not in told(result, "cannot see")
    assert "What T-18 has wrong everywhere" in told(run(visit()), "cannot see")


@pytest.mark.parametrize(("shown", "ice"), [("0.1", True), ("-0.2", True), ("0.2", True), ("0.3", False)])
def test_around_what_is_still_an_ice_point(shown: str, ice: bool) -> None:
    raw = visit(bath(shown, shown, shown, shown, kind="ice point"), TWO[1])
    one = check(run(raw), "as_found.bath-1.error")
    words = (
        "" if ice else f"entered as an ice point, and by its reference it was at {shown} °C: more than 0.2"
    )
    assert one.reason.startswith(words)
    assert one.outcome is (Outcome.PASS if ice else Outcome.NOT_EVALUATED)
    assert run(raw).outcome("as_found") is (Outcome.PASS if ice else Outcome.NOT_EVALUATED)
    said = " ".join(beside("thermometer", "as_found.points.0.reference", raw).lines)
    assert ("is no ice point" in said) is not ice
    wide = given_for(raw, analyzer(settings={"ice_point_c": "0.3"}))
    assert run(raw, wide).outcome("as_found") is Outcome.PASS


def test_three_degrees_are_no_ice_point_and_found_no_adjustment() -> None:
    wrong = bath("3.0", "3.8", "3.8", "3.8", kind="ice point")
    result = run(visit(wrong, TWO[1]))
    assert "one bath that counts was read" in check(result, "as_found.two_baths").reason
    assert "Bath-1 was entered as an ice point" in refused(changed(as_found={"points": [wrong]}))
    assert run(visit({**wrong, "kind": "stirred bath"}, TWO[1])).outcome("as_found") is Outcome.FAIL


def test_no_kind_of_bath_is_proposed_and_none_counts_as_unstirred() -> None:
    assert Bath.model_fields["kind"].default is None
    unnamed, named = (visit({**TWO[0], "kind": kind}, TWO[1]) for kind in (None, "unstirred water"))
    del unnamed["as_found"]["points"][0]["kind"]
    first = "as_found.bath-1.error"
    assert quantity(run(unnamed), first).u == quantity(run(named), first).u
    assert check(run(unnamed), first).label == "Error in bath, 0.0 °C (T-18)"
    assert "unstirred" not in check(run(unnamed), first).label


@pytest.mark.parametrize("day", ["2026-03-12", "2026-03-13", "2026-03-14"])
def test_around_the_date_of_the_reference(day: str) -> None:
    raw = copy.deepcopy(visit())
    known = {**STANDARDS, "T-18": replace(PLAIN, calibration_due=day)}
    given_ = given_for(raw, standards=known)
    if day == "2026-03-12":
        words = "The calibration of T-18 (reference thermometer) was due on 2026-03-12, the work was on"
        assert words in refused(raw, given_)
        for point in raw["as_found"]["points"]:
            point["use"] = "information only"
        one = check(run(raw, given_), "as_found.bath-1.error")
        assert one.reason == "information only: the calibration of T-18 was due on 2026-03-12"
    else:
        assert run(raw, given_).outcome("as_found") is Outcome.PASS


# ---------------------------------------------------------------- element and class


@pytest.mark.parametrize(
    ("off", "outcome"), [("0.399", "pass"), ("0.400", "pass"), ("0.401", "fail"), ("-0.401", "fail")]
)
def test_around_class_b_at_twenty(off: str, outcome: str) -> None:
    """Class B at 20 °C is 0.3 + 0.005 × 20 = 0.4 °C; the ohms by the sensitivity 0.3885 ohm/K of IEC
    60751."""
    ohm = f"{pt_resistance(20 + float(off)):.6f}"
    raw = visit(TWO[0], bath("20.0", "20.0", "20.0", "20.0", element_ohm=ohm), element=element("B"))
    result = run(raw)
    one = check(result, "as_found.bath-2.element")
    assert (one.outcome, one.high, one.counts) == (outcome, "0.4", False)
    assert quantity(result, "as_found.bath-2.element").decimal == Decimal(off)


def element(tolerance_class: str | None, nominal: str = "100") -> dict[str, str]:
    return {"nominal_ohm": nominal, **({"tolerance_class": tolerance_class} if tolerance_class else {})}


def test_an_element_out_of_class_advises_and_does_not_fail_a_right_display() -> None:
    raw = visit(TWO[0], bath("20.0", "20.0", "20.0", "20.0", element_ohm="108.5"), element=element("A"))
    result = run(raw)
    assert check(result, "as_found.bath-2.element").outcome is Outcome.FAIL
    assert result.outcome("as_found") is Outcome.PASS
    agree("A19", "C at 108.5 ohm", value(result, "as_found.bath-2.element_c").quantity.value)


@pytest.mark.parametrize(
    ("which", "reference", "reason"),
    [
        (element(None), "20.0", "the tolerance class of the element was not entered"),
        (element("AA"), "-0.1", "class AA of IEC 60751 is stated for 0 to 150 °C, the bath was at -0.1 °C"),
        (element("AA"), "0.0", ""),
    ],
)
def test_a_class_that_is_not_known_or_does_not_reach(
    which: dict[str, str], reference: str, reason: str
) -> None:
    raw = visit(bath(reference, *[reference] * 3, element_ohm="100.0"), element=which)
    assert check(run(raw), "as_found.bath-1.element").reason == reason


def test_leads_are_taken_off_and_leads_that_are_not_known_are_said() -> None:
    """0.3 ohm of leads read as 0.77 °C: 0.3/0.3885."""
    ohm = f"{pt_resistance(20.0) + 0.3:.4f}"
    warm = bath("20.0", "20.0", "20.0", "20.0", element_ohm=ohm)
    off = run(visit(TWO[0], {**warm, "lead_ohm": "0.3"}, element=element("B")))
    assert check(off, "as_found.bath-2.element").observed == "20.000"
    unknown = run(visit(TWO[0], warm, element=element("B")))
    assert float(check(unknown, "as_found.bath-2.element").observed) - 20 == pytest.approx(
        0.3 / pt_sensitivity(20.0), abs=1e-3
    )
    assert "the resistance of the leads in bath-2 was not entered; each ohm of them reads as 2.6 °C" in told(
        unknown, "caution"
    )


def test_a_pt1000_by_its_own_nominal() -> None:
    raw = visit(
        TWO[0], bath("20.0", "20.0", "20.0", "20.0", element_ohm="1077.935"), element=element("B", "1000")
    )
    assert check(run(raw), "as_found.bath-2.element").observed == "20.000"


def test_a_resistance_that_no_element_has_is_refused_where_it_stands() -> None:
    raw = visit(TWO[0], bath("20.0", "20.0", "20.0", "20.0", element_ohm="1077.9"))
    words = refused(raw)
    assert words.startswith("As found, bath 2: 1077.9 ohm is no resistance of a platinum element of 100 ohm")


# ---------------------------------------------------------------- built in, °F


def test_the_temperature_built_into_an_analyzer_goes_by_its_own_tolerance() -> None:
    raw = visit(TWO[0], bath("20.0", "20.3", "20.3", "20.3"))
    built_in = analyzer(
        unit="pH",
        measures="pH",
        low=Decimal(0),
        high=Decimal(14),
        control_system_tag="AIT.PV",
        tolerances={"error": tolerance("0.05", "pH"), "thermometer": tolerance("0.3")},
    )
    result = run(raw, given_for(raw, built_in))
    assert result.outcome("as_found") is Outcome.PASS
    assert "TIT-1201 measures pH; checked here is the temperature built into it" in told(result, "statement")
    far = visit(bath("20.0", "151", "151", "151"))
    assert "temperature outside -50 to 150 °C is taken as mistyped" in refused(far, given_for(far, built_in))


@pytest.mark.parametrize(("shown", "outcome"), [("68.9", "pass"), ("68.0", "pass"), ("69.0", "fail")])
def test_a_display_in_fahrenheit_is_judged_in_fahrenheit(shown: str, outcome: str) -> None:
    """20.0 °C is 68 °F and 0.5 °C is 0.9 °F; u scales by 1.8 (NIST SP 811)."""
    in_f = analyzer(unit="°F", high=Decimal(122), tolerances={"error": tolerance("0.9", "°F")})
    raw = visit(bath("0.0", "32.0", "32.0", "32.0"), bath("20.0", shown, shown, shown))
    result = run(raw, given_for(raw, in_f))
    one = check(result)
    assert (one.outcome, one.reference) == (outcome, "68.00")
    lines = {line.cause: line for line in quantity(result).budget}
    assert lines["thermometer:T-18"].contribution == pytest.approx(0.05 * 1.8)


@pytest.mark.parametrize(("register", "shown"), [("°C", "°C"), ("°F", "°F"), ("pH", "°C"), ("", "°C")])
def test_the_unit_beside_a_reading_is_that_of_the_display(register: str, shown: str) -> None:
    """A temperature built into a pH analyzer is not in pH; its reference is always in °C."""
    units = {entry.path: entry.unit for entry in entries(CHECK.Sheet, visit(), register)}
    assert units["as_found.points.0.readings"] == shown
    assert units["as_found.points.0.reference"] == "°C"
    assert f"display shows, {shown};" in blank_sheet(CHECK.Sheet, {}, register)


# ---------------------------------------------------------------- adjusting


def changed(**more: Any) -> dict[str, Any]:
    raw = visit(
        bath("0.0", "0.8", "0.8", "0.8"),
        bath("20.0", "20.8", "20.8", "20.8"),
        decision={"action": "offset", "why": "the same in both"},
        adjusted={"offset_from": "0.0", "offset_to": "-0.8"},
        as_left={"points": list(TWO)},
    )
    return {**raw, **more}


def test_an_offset_that_is_the_same_in_both_baths_goes_through() -> None:
    result = run(changed())
    assert (result.outcome("as_found"), result.outcome("as_left")) == (Outcome.FAIL, Outcome.PASS)
    assert "The error is the same in both baths within U. It may be the leads" in told(result, "advice")


def test_an_error_that_grows_points_to_the_element_type() -> None:
    raw = visit(TWO[0], bath("20.0", "20.8", "20.8", "20.8"))
    assert "The error changes with the temperature (+4.0 %). It may be the element type" in told(
        run(raw), "advice"
    )


def test_a_gain_from_one_bath_nobody_may_adjust() -> None:
    one = {"points": [bath("20.0", "20.8", "20.8", "20.8")]}
    gain = {"gain_from": "1.000", "gain_to": "0.960"}
    despite = {"action": "two-point", "why": "it grows", "despite": "sure"}
    raw = changed(as_found=one, adjusted=gain, decision=despite)
    assert refused(raw).startswith("The gain was adjusted, and one bath that counts was read")


@pytest.mark.parametrize(("shown", "stops"), [("21.0", False), ("21.1", True)])
def test_a_gain_no_thermometer_has_brakes_and_a_reason_releases(shown: str, stops: bool) -> None:
    """21.0 over 20 °C is 5 % and sensible, 21.1 is 5.5 %."""
    raw = changed(as_found={"points": [TWO[0], bath("20.0", shown, shown, shown)]})
    if stops:
        assert "and 5 % is sensible: a wrong element type or a mistyped reading is likelier" in refused(raw)
        raw["decision"] = {**raw["decision"], "despite": "the type was set wrong"}
    assert run(raw).outcome("as_left") is Outcome.PASS


@pytest.mark.parametrize("action", ["", "leave alone", "replace", "offset"])
def test_beside_the_decision_nothing_is_refused_that_does_not_apply(action: str) -> None:
    """One bath gives no gain: that is said where two points are decided, and in no words of a file."""
    one = visit(bath("20.0", "20.8", "20.8", "20.8"), decision={"action": action, "why": ""})
    lines = beside("decision", "decision.action", one).lines
    assert any("outside: error in bath-1" in line for line in lines)
    assert not any("do not adjust" in line for line in lines)
    one["decision"]["action"] = "two-point"
    said = " ".join(beside("decision", "decision.action", one).lines)
    assert "do not adjust yet: one bath that counts was read" in said
    assert "or adjust the offset only" in said
    unsteady = visit(bath("20.0", "20.5", "20.8", "20.5"), decision={"action": action, "why": ""})
    said += " ".join(beside("decision", "decision.action", unsteady).lines)
    assert ("say why you go on in spite of it" in said) == (action == "offset")
    assert "despite" not in said
    assert "was adjusted" not in said


@pytest.mark.parametrize(
    ("there", "advice", "line"),
    [
        ("10.5", "It is inside its tolerance as found: leave it alone.", "inside the tolerance: leave it"),
        (
            "10.6",
            "It is inside its tolerance as found, the signal is not: leave it alone, check the loop",
            "the analyzer is inside, the signal is not: leave it, check the loop",
        ),
    ],
)
def test_a_wrong_signal_of_a_right_sensor_asks_for_the_loop(there: str, advice: str, line: str) -> None:
    """The display shows 10.0 in the process; 0.5 is allowed at the control system."""
    raw = visit(*TWO, process_before={"shown": "10.0", "control_system": there})
    result = run(raw)
    assert result.outcome("as_found") is Outcome.PASS
    assert told(result, "advice").startswith(advice)
    assert ("recorded before is in doubt" in told(result, "advice")) is (there == "10.6")
    assert beside("decision", "decision.action", raw).lines[0].startswith(line)


# ---------------------------------------------------------------- failed and not read again


def test_a_bath_that_failed_and_was_not_read_again_is_no_pass_as_left() -> None:
    result = run(changed(as_left={"points": [TWO[1], bath("35.0", "35.0", "35.0", "35.0")]}))
    cold = check(result, "as_left.bath-1-as-found.error")
    assert (cold.outcome, cold.reason) == (
        Outcome.NOT_EVALUATED,
        "failed as found and was not read again",
    )
    assert result.outcome("as_left") is Outcome.NOT_EVALUATED
    assert not [c for c in result.checks if c.key == "as_left.bath-2-as-found.error"]


@pytest.mark.parametrize(("warm", "again"), [("24.9", True), ("25.0", True), ("25.1", False)])
def test_around_how_near_a_bath_is_the_same_again(warm: str, again: bool) -> None:
    """Half of the 10 °C that two baths lie apart; in whatever order they are read."""
    raw = changed(as_left={"points": [bath(warm, warm, warm, warm), TWO[0]]})
    assert run(raw).outcome("as_left") is (Outcome.PASS if again else Outcome.NOT_EVALUATED)


def test_what_passed_as_found_need_not_be_read_again() -> None:
    found = {"points": [*TWO, bath("40.0", "40.8", "40.8", "40.8")]}
    left = {"points": [TWO[0], bath("40.0", "40.0", "40.0", "40.0")]}
    assert run(changed(as_found=found, as_left=left)).outcome("as_left") is Outcome.PASS


def test_a_control_system_that_failed_and_was_not_read_again_is_visible() -> None:
    raw = changed(process_before={"shown": "10.0", "control_system": "12.0"})
    one = check(run(raw), "as_left.process.control_system")
    assert (one.reason, one.place) == ("failed as found and was not read again", "control system")
    raw["process_after"] = {"shown": "10.0", "control_system": "10.0"}
    assert check(run(raw), "as_left.process.control_system").outcome is Outcome.PASS
    raw = changed()
    raw["as_found"]["points"][1]["control_system"] = "22.0"
    one = check(run(raw), "as_left.bath-2-as-found.control_system")
    assert (one.reason, one.place) == ("failed as found and was not read again", "control system")


# ---------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (visit(serial_on_plate="X"), "The serial on the plate is X, the register has TT-12044"),
        (visit(bath("20.0", "51")), "As found, bath 1, reading 1 is 51; TIT-1201 shows -5 to 50 °C"),
        (visit(bath("151", "20")), "temperature outside -50 to 150 °C is taken as mistyped"),
        (
            visit({**bath("20", "20"), "standard": "F"}),
            "names F (reference thermometer), which is in °F; name a reference thermometer in °C",
        ),
        (
            visit({**bath("20", "20"), "standard": "N"}),
            "names 'N', which standards_on_hand.toml does not hold",
        ),
        (visit(element={"nominal_ohm": "0"}), "resistance outside 1 to 2000 ohm is taken as mistyped"),
        (visit(process_before={"shown": "51"}), "The display of the process is 51"),
    ],
)
def test_what_cannot_be_taken_is_refused_in_a_sentence(raw: dict[str, Any], words: str) -> None:
    assert words in refused(copy.deepcopy(raw))


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (visit(bath(None, "20")), "name the reference thermometer, which only an ice point can do without"),
        (
            visit({**bath(None, "0", kind="ice point"), "reference": "0"}),
            "standard and reference belong together",
        ),
        (visit(bath("20", "20", lead_ohm="0.3")), "lead_ohm stands without element_ohm"),
        (visit(as_found={"points": []}), "points holds no bath"),
        (changed(as_left={"same_as": "as_found"}), "it was adjusted or replaced since; read again"),
        (changed(adjusted={"at": "09:40"}), "nothing was changed here"),
        (changed(adjusted={"offset_to": "1"}), "offset_from and offset_to belong together"),
        (visit(output_held={"at": "09:05"}), "output_held has a time and output_released is missing"),
    ],
)
def test_a_sheet_that_contradicts_itself_is_not_taken(raw: dict[str, Any], words: str) -> None:
    assert words in not_taken(copy.deepcopy(raw))


# ---------------------------------------------------------------- control system


@pytest.mark.parametrize(("there", "outcome"), [("10.1", "pass"), ("10.2", "pass"), ("10.3", "fail")])
def test_around_the_control_system_in_the_process(there: str, outcome: str) -> None:
    raw = visit(process_before={"shown": "10.0", "control_system": there, "at": "09:03"})
    held = {"error": tolerance(), "control_system": tolerance("0.2")}
    one = check(run(raw, given_for(raw, analyzer(tolerances=held))), "as_found.process.control_system")
    assert (one.outcome, one.place) == (outcome, "control system")


def test_a_control_system_that_was_not_read_or_stood_still_is_visible() -> None:
    raw = visit()
    one = check(run(raw, given_for(raw, analyzer(control_system_tag="X"))), "as_found.process.control_system")
    assert one.reason == "it was not read"
    raw = visit(
        TWO[0],
        bath("20.0", "20.0", "20.0", "20.0", control_system="20.0", at="09:30"),
        output_held={"at": "09:10"},
        output_released={"at": "10:00"},
    )
    one = check(run(raw), "as_found.bath-2.control_system")
    assert one.reason == "the control system was read at 09:30 while the output was held, so it stood still"
    del raw["as_found"]["points"][1]["at"]
    assert (
        "no time says that the control system was read before"
        in check(run(raw), "as_found.bath-2.control_system").reason
    )
