"""Conductivity check: outside values, four tests around each limit, what is refused, what it cannot see.

Outside values: V20 of the project's measurement models (GTC 1.5.1 and central differences), Pratt and others
(2001) and ISO 7888:1985 through the tables; GTC here as a second library for every uncertainty of the demo
visit; the readings of two real probes (COAST-Lab/c3po, MIT licence), read where they lie.
"""

from __future__ import annotations

import copy
import csv
import json
import math
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from math import sqrt
from pathlib import Path
from typing import Any

import GTC
import numpy as np
import pytest
from gtc import same_as_central_difference
from one_procedure import Of, told, value
from printed import agree, values
from scipy.special import ndtri
from scipy.stats import qmc

from wqverify.calculations.uncertainty import correlation, propagate
from wqverify.procedures import PROCEDURES
from wqverify.procedures import conductivity_budget as budget
from wqverify.procedures.conductivity_stages import stages
from wqverify.procedures.sheets import parse
from wqverify.records.canonical import given_from
from wqverify.records.record import case_from, compute
from wqverify.records.workbook import demo_case
from wqverify.shipped import shipped_folder
from wqverify.terms import Analyzer, Beside, Given, Outcome, Result, Standard, Tolerance

NAME = "conductivity_check"
CHECK = PROCEDURES[NAME]
GIVEN: Given = given_from(json.loads((shipped_folder("demo_runs") / NAME / "given.json").read_text("utf-8")))
T17, K500, K1413 = (GIVEN.standards[name] for name in ("T-17", "K500-2207", "K1413-2210"))
R3 = sqrt(3)


def tolerance(
    low: str | None = "-5", high: str | None = "5", percent: str | None = "3", **more: Any
) -> Tolerance:
    plain: dict[str, Any] = {"unit": "uS/cm", "rule": "simple", "basis": "local", "source": "invented"}
    sizes = {
        "low": Decimal(low) if low else None,
        "high": Decimal(high) if high else None,
        "percent": Decimal(percent) if percent else None,
        "larger_of": bool(low and percent),
    }
    return Tolerance(**{**plain, **sizes, **more})


def analyzer(**changes: Any) -> Analyzer:
    plain = {
        "settings": {"coefficient_percent": "2.0"},
        "tolerances": {"error": tolerance()},
        "control_system_tag": "",
        "intervals_days": {},
        "high": Decimal(20000),
    }
    return replace(GIVEN.analyzer, **{**plain, **changes})


STANDARDS = {
    "T-17": T17,
    "K500-2207": K500,
    "K1413-2210": K1413,
    "OLD": replace(K1413, id="OLD", usable_until="2026-03-11", because="date printed on it"),
    "ALONE": Standard("ALONE", "conductivity standard", "80 000", "77", "uS/cm", value=Decimal(1413)),
    "OWN": Standard(
        "OWN", "conductivity standard", "KCl", "78", "uS/cm", own=((Decimal(18), Decimal("1219.93")),)
    ),
    "MILLI": Standard("MILLI", "conductivity standard", "12.88 mS", "79", "mS/cm", value=Decimal("12.88")),
    "PH": Standard("PH", "buffer", "pH 7", "80", "pH", value=Decimal(7)),
}


OWN_300 = ((Decimal(20), Decimal(270)), (Decimal(25), Decimal(300)))


def point(name: str, t: str, *readings: str, **more: Any) -> dict[str, Any]:
    return {"standard": name, "temperature_c": t, "readings": list(readings), "interval_s": "20", **more}


TWO = (point("K500-2207", "25.0", "500", "500", "500"), point("K1413-2210", "25.0", "1413", "1413", "1413"))


def found(*points: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"points": list(points), "thermometer": "T-17", **more}


def visit(as_found: dict[str, Any] | None = None, **more: Any) -> dict[str, Any]:
    """The shortest sheet: two standards, nothing changed."""
    return {
        "procedure": NAME,
        "tag": "AIT-2401",
        "serial_on_plate": "CD-40118",
        "reason": "routine",
        "performed_by": "IQU",
        "date": "2026-03-12",
        "started": "08:05",
        "cautions": {"read": "yes"},
        "operations_told": {"who": "W. Abernathy"},
        "as_found": as_found or found(*TWO),
        "as_left": {"same_as": "as_found"},
        "status": {"state": "in service"},
        **more,
    }


of_them = Of(CHECK, GIVEN, analyzer, STANDARDS, "as_found.K1413-2210.error")
given_for, run, check, quantity = of_them.given_for, of_them.run, of_them.check, of_them.quantity
refused, not_taken = of_them.refused, of_them.not_taken


# ---------------------------------------------------------------- V20 and GTC


def v20(**settings: str) -> Any:
    """1431 in 1413 at 21.6 °C; five readings, a certificate of 0.5 %, a thermometer of 0.3 °C."""
    raw = visit(found(point("K1413-2210", "21.6", "1430", "1432", "1431", "1430", "1432")))
    known = {
        **STANDARDS,
        "T-17": replace(T17, expanded=Decimal("0.3")),
        "K1413-2210": replace(K1413, expanded=Decimal("7.065")),
    }
    given_ = given_for(raw, analyzer(settings={"coefficient_percent": "2.0", **settings}), standards=known)
    return run(raw, given_)


@pytest.mark.parametrize(("settling", "printed"), [("0.5", "u"), ("0.2", "u settled")])
def test_v20_error_and_uncertainty_of_a_compensated_display(settling: str, printed: str) -> None:
    result = v20(settling_c=settling)
    one = check(result)
    assert one.quantity is not None
    agree("V20", "1413 at 21.6 C", float(one.reference))
    agree("V20", "error", float(one.quantity.decimal))
    # there the scatter of R is 0.5 and its digit counts besides; here the five readings scatter by 1/sqrt 5
    besides = 1 / 5 - 0.5**2 - 1 / 12
    expected = sqrt(values()["V20", printed].value ** 2 + besides)
    assert one.quantity.u == pytest.approx(expected, abs=0.006)


@pytest.mark.parametrize(
    ("compensation", "printed"),
    [
        ({"method": "linear", "coefficient": "2"}, "KCl at 18 C linear"),
        ({"method": "ISO 7888"}, "KCl at 18 C by ISO 7888"),
        ({"method": "none"}, ""),
    ],
)
def test_v20_what_is_set_decides_what_should_be_shown(compensation: dict[str, str], printed: str) -> None:
    """0.01 mol/kg at 18 °C is never expected to show its 25 °C value of 1408.2."""
    raw = visit(found(point("OWN", "18", "1420", "1420", "1420")), compensation=compensation)
    reference = check(run(raw), "as_found.OWN.error").reference
    if printed:
        agree("V20", printed, float(reference))
    else:
        assert reference == "1219.93"


def demo() -> Result:
    return compute(case_from(demo_case(NAME)))


def test_the_demo_visit_again_by_gtc() -> None:
    """Every error as found, the cell constants and the error at the process value, causes shared as named."""
    result = demo()
    warm = GTC.ureal(0, 0.05)
    bottle = {500: GTC.ureal(0, 2.5 / 2 / 500), 1413: GTC.ureal(0, 7 / 2 / 1413)}
    opened = {k: GTC.ureal(0, 0.005 / R3) for k in bottle}
    table = {k: GTC.ureal(0, 0.00035 / R3) for k in bottle}
    slope = {500: (451.5, 48.5 / 5), 1413: (1278.0, 135 / 5)}
    shown = {500: [474, 476, 476, 476], 1413: [1339, 1344, 1345, 1345]}
    e, R = {}, {}
    for k, name in ((500, "K500-2207"), (1413, "K1413-2210")):
        readings = np.array(shown[k], float)
        u = max(readings.std(ddof=1) / 2, 1 / sqrt(12))
        R[k] = GTC.ureal(readings.mean(), u, 3)
        t = 21.6 + warm
        K = slope[k][0] + slope[k][1] * (t - 20)
        K = K * (1 + bottle[k]) * (1 + opened[k]) * (1 + table[k])
        should = K / (1 + 0.02 * (t + GTC.ureal(0, 0.5 / R3) - 25))
        e[k] = R[k] - should
        got = quantity(result, f"as_found.{name}.error")
        assert got.u == pytest.approx(e[k].u, rel=1e-9)
        assert got.value == pytest.approx(e[k].x, abs=1e-9)
        assert got.dof == int(e[k].df + 1e-6)
        constant = value(result, f"as_found.{name}.cell_constant").quantity
        expected = 0.1 * should / R[k]
        assert (constant.value, constant.u) == (
            pytest.approx(expected.x),
            pytest.approx(expected.u, rel=1e-9),
        )
        percent = value(result, f"as_found.{name}.percent").quantity
        assert percent.u == pytest.approx((100 * (R[k] / should)).u, rel=1e-9)
    at = e[500] + (e[1413] - e[500]) * (391 - R[500]) / (R[1413] - R[500])
    got = quantity(result, "as_found.process.error")
    assert (got.value, got.u) == (pytest.approx(at.x, abs=1e-9), pytest.approx(at.u, rel=1e-9))
    r = correlation(*(quantity(result, f"as_found.{k}.error") for k in ("K500-2207", "K1413-2210")))
    assert r == pytest.approx(GTC.get_correlation(e[500], e[1413]), abs=1e-9)


IN_NUMBERS = set("0123456789.()+-−×/√² ")


def by_hand(put_in: str) -> float:
    """What a pocket calculator makes of the numbers put in."""
    written = {"×": "*", "−": "-", "√": "math.sqrt", "²": "**2"}
    return float(eval("".join(written.get(sign, sign) for sign in put_in), {"math": math}))  # own text


def test_hand_calculations_end_in_what_is_shown() -> None:
    """Evaluating what is put in gives the answer, to half of its last digit."""
    cold = found(point("K1413-2210", "21.6", "1431", "1432", "1431", control_system="1430"))
    natural = visit(copy.deepcopy(cold), compensation={"method": "ISO 7888"}, stored={"cell_constant": "0.1"})
    alone = visit(found(point("ALONE", "23", "1400", "1401", "1400")))
    labels = []
    for result in (demo(), run(natural), run(alone)):
        for working in result.workings:
            if not set(working.put_in) <= IN_NUMBERS:
                continue  # a row of a table
            answer = working.answer.split(" ")[0]
            last = float(Decimal(1).scaleb(Decimal(answer).as_tuple().exponent))  # type: ignore[arg-type]
            assert by_hand(working.put_in) == pytest.approx(float(answer), abs=last * 0.501), working
            labels.append(working.label)
    assert len(labels) >= 38
    for label in (
        "Conductivity of ALONE at 23 °C, as found",
        "What the display should show of K1413-2210, as found",
        "Error of the control system, cell in K1413-2210, as found",
        "Cell constant from K500-2207, after cleaning",
        "Error at the displayed process value, as left",
        "Temperature against the reference thermometer",
    ):
        assert label in labels


def beside(path: str, raw: dict[str, Any], given_: Given | None = None) -> Beside:
    name = path.rpartition(".")[2]
    readings = "zero" if ".zero." in path else "readings"
    which = {"temperature_c": "bottle", "readings": readings, "action": "decision"}
    return CHECK.beside[which.get(name, "adjusted")](raw, path, given_ or given_for(visit()))


def test_beside_a_standard_stands_what_it_is_worth_and_what_should_be_shown() -> None:
    """451.5 + 1.6 × 9.7 = 467.02 and 467.02/0.932 = 501.09 at 21.6 °C, by hand; 3 % of it is 15.03."""
    raw = visit(found(point("K500-2207", "21.6", "505", "506")))
    at = beside("as_found.points.0.temperature_c", raw)
    assert at.lines[1:] == (
        "K500-2207: 467.02 uS/cm at 21.6 °C, uncompensated",
        "should show 501.09 uS/cm (linear, 2 %/°C to 25 °C)",
    )
    shown = beside("as_found.points.0.readings", raw)
    assert (shown.reference, shown.low, shown.high) == tuple(map(Decimal, ("501.09", "486.0573", "516.1227")))
    assert "1 more reading needed, at least 10 s apart" in shown.lines
    assert "error of the last reading: +4.91 uS/cm" in shown.lines
    zero = beside("as_found.zero.readings", visit({"zero": {"readings": ["1"]}}))
    assert "a dead cell shows 0 too: two standards are needed besides" in zero.lines


def test_beside_the_decision_stands_what_the_readings_ask_for() -> None:
    raw = changed()
    del raw["adjusted"]
    lines = beside("decision.action", raw).lines
    assert "K500-2207 asks for a cell constant of 0.1053 1/cm, now 0.1000" in lines
    assert not [line for line in lines if "do not adjust yet" in line]
    unsteady = found(point("K500-2207", "25.0", "470", "490", "475"))
    lines = beside("decision.action", changed(as_found=unsteady)).lines
    assert any("do not adjust yet: In K500-2207 the readings" in line for line in lines)
    assert "or say why you go on in spite of it." in " ".join(lines)
    assert "decision.despite" not in " ".join(lines)  # at a question nobody writes into a file
    right = beside("decision.action", visit(decision={"action": "", "why": ""})).lines
    assert "inside the tolerance: leave it alone" in right


def model_of(method: str) -> tuple[Any, Any]:
    """The model of one standard as the procedure propagates it, caught on its way."""
    caught: list[Any] = []
    original = budget.propagate
    budget.propagate = lambda *a: caught.append(a) or original(*a)  # type: ignore[attr-defined]
    try:
        compensation: dict[str, str] = {"method": method}
        if method == "linear":
            compensation["coefficient"] = "2.1"
        raw = visit(
            found(point("K1413-2210", "21.6", "1431", "1431", "1431"), zero={"readings": ["0"]}),
            compensation=compensation,
            stored={"cell_constant": "0.1"},
        )
        sheet = parse(CHECK, raw)
        stages(sheet, given_for(raw))
    finally:
        budget.propagate = original  # type: ignore[attr-defined]
    (model, inputs, units, _), *_ = caught
    return model, (inputs, units)


@pytest.mark.parametrize("method", ["linear", "ISO 7888", "none"])
def test_each_sensitivity_against_a_central_difference(method: str) -> None:
    model, (inputs, units) = model_of(method)
    known = {cause: one for cause, one in inputs.items() if one.u}
    same_as_central_difference(model, known | inputs, propagate(model, inputs, units))


def test_first_order_is_enough() -> None:
    """By a Sobol sequence of 2^13 points through the model itself, without any derivative."""
    model, (inputs, units) = model_of("linear")
    causes = [cause for cause, one in inputs.items() if one.u]
    points = qmc.Sobol(len(causes), scramble=False).random_base2(13) + 0.5**14  # off the edge at 0
    drawn = []
    for row in points:
        x: dict[str, float] = {cause: one.value for cause, one in inputs.items()}
        for cause, q in zip(causes, row, strict=True):
            one = inputs[cause]
            x[cause] += one.u * ((2 * q - 1) * R3 if one.distribution == "rectangular" else ndtri(q))
        drawn.append(model(x))
    for name, got in propagate(model, inputs, units).items():
        simulated = [one[name] for one in drawn]
        assert np.std(simulated) == pytest.approx(got.u, rel=5e-3), name
        assert np.mean(simulated) == pytest.approx(got.value, abs=0.05 * (got.u or 0)), name


@pytest.mark.parametrize(("percent", "per_degree"), [("2.0", 1.45), ("0", 27.0)])
def test_what_a_degree_does_with_and_without_compensation(percent: str, per_degree: float) -> None:
    """The project's measurement models: 1.45 per °C compensated, 27 not; settling 30.4 and 27."""
    raw = visit(found(point("K1413-2210", "21.6", "1431", "1431", "1431")))
    result = run(raw, given_for(raw, analyzer(settings={"coefficient_percent": percent})))
    lines = {line.cause: abs(line.sensitivity) for line in quantity(result).budget}
    assert lines["thermometer:T-17"] == pytest.approx(per_degree, abs=0.005)
    settling = 30.42 if percent == "2.0" else 27.0
    assert lines["settling:as_found.K1413-2210"] == pytest.approx(settling, abs=0.005)
    words = "no compensation" if percent == "0" else "linear, 2 %/°C to 25 °C"
    assert f"Compensation against which each standard was put (register): {words}." in told(
        result, "statement"
    )


# ---------------------------------------------------------------- around the tolerance


@pytest.mark.parametrize(
    ("shown", "outcome"),
    [
        ("1455.38", "pass"),  # 3 % of 1413 is 42.39
        ("1455.39", "pass"),
        ("1455.40", "fail"),
        ("1370.62", "pass"),
        ("1370.61", "pass"),
        ("1370.60", "fail"),
    ],
)
def test_around_three_percent_of_what_should_be_shown(shown: str, outcome: str) -> None:
    one = check(run(visit(found(TWO[0], point("K1413-2210", "25.0", shown, shown, shown)))))
    assert (one.outcome, one.low, one.high) == (outcome, "-42.39", "42.39")


@pytest.mark.parametrize(
    ("shown", "outcome"), [("94", "pass"), ("95", "pass"), ("96", "fail"), ("84", "fail")]
)
def test_the_floor_of_five_counts_below_where_they_meet(shown: str, outcome: str) -> None:
    """At 90: 3 % is 2.7, the floor of 5 is wider; they meet at 166.7 µS/cm (practice checks)."""
    low = {
        **STANDARDS,
        "K90": Standard("K90", "conductivity standard", "90", "1", "uS/cm", value=Decimal(90)),
    }
    raw = visit(found(point("K90", "25.0", shown, shown, shown)))
    one = check(run(raw, given_for(raw, standards=low)), "as_found.K90.error")
    assert (one.outcome, one.high) == (outcome, "5")


def test_without_a_tolerance_it_is_not_evaluated() -> None:
    raw = visit()
    one = check(run(raw, given_for(raw, analyzer(tolerances={}))))
    assert (one.outcome, one.reason.startswith("the register holds no tolerance")) == (
        Outcome.NOT_EVALUATED,
        True,
    )


@pytest.mark.parametrize(("shown", "outcome"), [("2", "pass"), ("5", "pass"), ("6", "fail"), ("-5", "pass")])
def test_around_the_tolerance_of_the_zero(shown: str, outcome: str) -> None:
    one = check(run(visit(found(*TWO, zero={"readings": ["9", shown]}))), "as_found.zero.error")
    assert (one.outcome, one.observed, one.reference) == (outcome, shown, "0")


def test_a_percent_of_nothing_is_no_tolerance_for_the_zero() -> None:
    raw = visit(found(*TWO, zero={"readings": ["0"]}))
    held = {"error": tolerance(low=None, high=None)}
    one = check(run(raw, given_for(raw, analyzer(tolerances=held))), "as_found.zero.error")
    assert one.reason == "the register holds no tolerance for the zero (one in percent has none at 0)"
    own = {**held, "zero": tolerance("-2", "2", None)}
    raw = visit(found(*TWO, zero={"readings": ["3"]}))
    one = check(run(raw, given_for(raw, analyzer(tolerances=own))), "as_found.zero.error")
    assert one.outcome is Outcome.FAIL


@pytest.mark.parametrize(
    ("low", "outcome"),
    [("706", "pass"), ("706.5", "pass"), ("710", "not evaluated"), ("1413", "not evaluated")],
)
def test_around_how_far_two_standards_lie_apart(low: str, outcome: str) -> None:
    """1413/706.5 = 2.00 is two standards, 1413/710 = 1.99 as good as one."""
    one = Standard("LOW", "conductivity standard", low, "1", "uS/cm", value=Decimal(low))
    raw = visit(found(point("LOW", "25.0", low, low, low), TWO[1]))
    result = run(raw, given_for(raw, standards={**STANDARDS, "LOW": one}))
    assert check(result, "as_found.two_standards").outcome == outcome
    assert result.outcome("as_found") == outcome


# ---------------------------------------------------------------- two standards, or no pass


def test_a_zero_alone_passes_nothing_and_says_what_it_cannot_catch() -> None:
    result = run(visit({"zero": {"readings": ["0", "0"]}}))
    assert check(result, "as_found.zero.error").outcome is Outcome.PASS
    assert result.outcome("as_found") is Outcome.NOT_EVALUATED
    reason = check(result, "as_found.two_standards").reason
    assert reason == (
        "only the zero was read, and a dead, dry or disconnected cell shows 0 in air too: the zero alone "
        "passes it; a pass needs two standards at least 2 times apart"
    )
    assert f"{reason[0].upper()}{reason[1:]}." in told(result, "cannot see")


def test_one_standard_is_no_pass_and_one_that_fails_still_fails() -> None:
    right, wrong = (
        run(visit(found(point("K1413-2210", "25.0", *[shown] * 3)))) for shown in ("1413", "1300")
    )
    assert right.outcome("as_found") is Outcome.NOT_EVALUATED
    assert wrong.outcome("as_found") is Outcome.FAIL
    words = "one standard that counts was read: what grows or shrinks with the value is not seen"
    assert words in check(right, "as_found.two_standards").reason


def test_two_standards_pass() -> None:
    result = run(visit())
    assert result.outcome("as_found") is Outcome.PASS
    assert result.outcome("as_left") is Outcome.PASS
    assert "It is inside its tolerance as found: leave it alone." in told(result, "advice")


def test_a_standard_for_information_does_not_make_two() -> None:
    raw = visit(found(TWO[0], point("OLD", "25.0", "1413", "1413", "1413", use="information only")))
    result = run(raw)
    assert check(result, "as_found.OLD.error").reason == "information only: OLD was usable until 2026-03-11"
    assert result.outcome("as_found") is Outcome.NOT_EVALUATED


# ---------------------------------------------------------------- compensation


def test_the_compensation_of_the_register_stands_in_and_is_said() -> None:
    result = run(visit())
    assert "linear, 2 %/°C to 25 °C is taken from the register" in told(result, "caution")
    assert "Compensation against which each standard was put (register): linear, 2 %/°C to 25 °C." in told(
        result, "statement"
    )


def test_a_menu_that_has_another_one_than_the_register_is_a_finding() -> None:
    raw = visit(compensation={"method": "linear", "coefficient": "1.9"})
    assert (
        "The menu of AIT-2401 has linear, 1.9 %/°C to 25 °C; the register has linear, 2 %/°C to 25 °C."
        in told(run(raw), "caution")
    )
    raw = visit(compensation={"method": "linear", "coefficient": "2.00"})
    assert "The menu of" not in told(run(raw), "caution")


@pytest.mark.parametrize(
    ("settings", "reference"),
    [
        ({"coefficient_percent": "0"}, "1321.2"),  # none
        ({"iso_7888": "1"}, "1422.40"),  # f25 1.0766 at 21.6 °C, straight between 1.091 and 1.067
        ({"coefficient_percent": "2.0", "reference_c": "20"}, "1280.23"),  # 1321.2/1.032
        ({}, ""),
    ],
)
def test_what_the_register_may_say(settings: dict[str, str], reference: str) -> None:
    raw = visit(found(point("K1413-2210", "21.6", "1400", "1400", "1400")))
    one = check(run(raw, given_for(raw, analyzer(settings=settings))))
    if not reference:
        assert one.reason.startswith("neither the sheet nor the register says which compensation is set")
        assert one.quantity is None
        return
    assert float(one.reference) == pytest.approx(float(reference), abs=0.006)


@pytest.mark.parametrize(("t", "known"), [("34.9", True), ("35", True), ("35.1", False)])
def test_around_the_end_of_the_factors_of_iso_7888(t: str, known: bool) -> None:
    own = ((Decimal(20), Decimal(1278)), (Decimal(40), Decimal(1830)))
    warm = {**STANDARDS, "W": Standard("W", "conductivity standard", "w", "1", "uS/cm", own=own)}
    raw = visit(found(point("W", t, "1300", "1300", "1300")), compensation={"method": "ISO 7888"})
    one = check(run(raw, given_for(raw, standards=warm)), "as_found.W.error")
    assert (one.quantity is not None) is known
    words = f"ISO 7888 states its factors for 0 to 35 °C, and the standard was at {t} °C"
    assert one.reason == ("" if known else words)


def test_factors_for_natural_water_say_where_they_fit() -> None:
    raw = visit(
        compensation={"method": "ISO 7888"}, process_before={"shown": "1200"}, process_after={"shown": "900"}
    )
    assert "meant for natural water of 60 to 1000 uS/cm; the process shows 1200" in told(run(raw), "caution")
    raw["process_before"] = {"shown": "1000"}
    assert "meant for natural water" not in told(run(raw), "caution")


def test_a_value_that_is_compensated_twice_is_said() -> None:
    twice = {"method": "linear", "coefficient": "2.0", "control_system_too": "yes"}
    assert "compensates a value that is compensated already" in told(
        run(visit(compensation=twice)), "caution"
    )
    assert "compensated already" not in told(
        run(visit(compensation={**twice, "control_system_too": "no"})), "caution"
    )


# ---------------------------------------------------------------- standards at temperature


def test_a_bottle_in_another_unit_is_converted_exactly() -> None:
    raw = visit(found(TWO[1], point("MILLI", "25", "12880", "12880", "12880")))
    assert check(run(raw), "as_found.MILLI.error").reference == "12880"


def test_an_analyzer_in_millisiemens_is_judged_in_its_own_unit() -> None:
    milli = analyzer(
        unit="mS/cm",
        low=Decimal(0),
        high=Decimal(20),
        tolerances={"error": tolerance(unit="mS/cm", low=None, high=None)},
    )
    raw = visit(
        found(point("K1413-2210", "21.6", "1.43", "1.43", "1.43"), point("MILLI", "25", *["12.88"] * 3))
    )
    one = check(run(raw, given_for(raw, milli)))
    assert (one.reference, one.quantity and one.quantity.unit) == ("1.4176", "mS/cm")


@pytest.mark.parametrize(
    ("t", "known"), [("20.1", True), ("20", True), ("19.9", False), ("30", True), ("30.1", False)]
)
def test_one_value_without_a_table_is_trusted_near_25_only(t: str, known: bool) -> None:
    raw = visit(found(point("ALONE", t, "1413", "1413", "1413")))
    result = run(raw)
    one = check(result, "as_found.ALONE.error")
    assert (one.quantity is not None) is known
    if known:
        assert float(one.reference) == pytest.approx(
            1413, abs=0.01
        )  # 2 % per °C is what it is taken to change
        assert "ALONE states one value at 25 °C" in told(result, "caution")
    else:
        assert one.reason == (
            f"ALONE states one value at 25 °C and no table, and was at {t} °C: more than 5 °C away nothing "
            "is known of it"
        )


def test_what_a_bottle_alone_may_change_by_is_in_its_budget() -> None:
    """±0.3 % per °C over 4 °C is ±1.2 % of 1413, rectangular, by hand; compensated it is divided by 0.92."""
    raw = visit(found(point("ALONE", "21", "1413", "1413", "1413")))
    lines = {line.cause: line for line in quantity(run(raw), "as_found.ALONE.error").budget}
    part = lines["change per °C of ALONE"].contribution
    assert part == pytest.approx(1413 * 4 * 0.003 / R3 / (1 - 0.08), rel=1e-9)


def test_a_temperature_outside_the_table_is_refused_with_its_limits() -> None:
    raw = visit(found(point("K500-2207", "19.9", "450", "450", "450")))
    assert refused(raw) == (
        "As found, standard 1: 19.9 °C is outside the table conductivity_ready_made, edition trade 1, column "
        "500, which goes from 20 to 30 °C; nothing is extrapolated. Bring the standard to between them and "
        "read again."
    )
    assert run(visit(found(point("K500-2207", "20", "450", "450", "450"), TWO[1])))


# ---------------------------------------------------------------- readings


@pytest.mark.parametrize(
    ("readings", "reason"),
    [
        (("1405", "1410", "1413"), ""),  # 8 of 14.13
        (("1400", "1407", "1414"), ""),  # 14 of 14.14
        (
            ("1398", "1405", "1413"),
            "the readings were not stable within 14.13 uS/cm: the last 3 moved 15 uS/cm",
        ),
        (("1413", "1413"), "2 readings do not show that it held still; 3, at least 10 s apart, are needed"),
    ],
)
def test_around_the_stability_of_readings(readings: tuple[str, ...], reason: str) -> None:
    raw = visit(found(point("K1413-2210", "25.0", *readings)))
    assert check(run(raw)).reason == reason


def test_readings_that_creep_are_no_sample_so_the_last_counts() -> None:
    result = run(visit(found(point("K1413-2210", "25.0", "1400", "1407", "1413"))))
    assert check(result).observed == "1413"
    assert "still crept one way, from 1400 to 1413" in told(result, "caution")
    assert check(run(visit(found(point("K1413-2210", "25.0", "1407", "1413", "1407"))))).observed == "1409"


# ---------------------------------------------------------------- as left, adjusting


def changed(**more: Any) -> dict[str, Any]:
    low = (point("K500-2207", "25.0", *["475"] * 3), point("K1413-2210", "25.0", *["1342"] * 3))
    raw = visit(
        found(*low),
        stored={"cell_constant": "0.1000"},
        decision={"action": "cell constant", "why": "both low by one ratio"},
        adjusted={"cell_constant_from": "0.1000", "cell_constant_to": "0.1053"},
        as_left=found(*TWO),
    )
    return {**raw, **more}


def test_an_adjustment_by_two_standards_that_agree_goes_through() -> None:
    result = run(changed())
    assert (result.outcome("as_found"), result.outcome("as_left")) == (Outcome.FAIL, Outcome.PASS)
    constant = value(result, "as_found.K500-2207.cell_constant").quantity
    assert constant.value == pytest.approx(0.1 * 500 / 475)
    assert value(result, "as_left.K500-2207.cell_constant").quantity.value == pytest.approx(0.1053)
    assert result.facts == {"adjusted": "yes"}
    advice = told(result, "advice")
    assert "about one ratio. It may be the cell constant, a coating or the compensation." in advice
    assert "A wrong bottle: as left was read in the bottle it was adjusted to" in told(result, "cannot see")


@pytest.mark.parametrize(
    ("high", "words"),
    [
        ("1200", "the error grows with the value. It may be polarisation"),
        ("1413", "the low standard is worse. It may be the zero"),
    ],
)
def test_what_errors_point_to_is_a_candidate_never_a_verdict(high: str, words: str) -> None:
    raw = visit(found(point("K500-2207", "25.0", *["475"] * 3), point("K1413-2210", "25.0", *[high] * 3)))
    result = run(raw)
    assert words in told(result, "advice")
    sources = [note.source for note in result.notes if words in note.text]
    assert sources == ["candidates, not a verdict: common practice"]


def test_standards_that_ask_for_two_cell_constants_brake_and_a_reason_releases() -> None:
    raw = changed(
        as_found=found(point("K500-2207", "25.0", *["500"] * 3), point("K1413-2210", "25.0", *["1250"] * 3))
    )
    words = "K500-2207 asks for 1 and K1413-2210 for 1.13 times the present cell constant, further apart than"
    assert words in refused(raw)
    raw["decision"]["despite"] = "the high bottle is in doubt"
    assert "the high bottle is in doubt" in told(run(raw), "opinion")


@pytest.mark.parametrize(
    ("shown", "times"), [("500", ""), ("499", "1.40"), ("1000", ""), ("1001", "0.70"), ("70", "10.00")]
)
def test_around_the_cell_constants_that_a_cell_has(shown: str, times: str) -> None:
    """700/500 is 1.4 and 700/1000 is 0.7: sensible, exactly."""
    one = Standard("K700", "conductivity standard", "700", "1", "uS/cm", value=Decimal(700))
    again = found(*TWO, point("K700", "25.0", "700", "700", "700"))
    raw = changed(as_found=found(point("K700", "25.0", shown, shown, shown)), as_left=again)
    given_ = given_for(raw, standards={**STANDARDS, "K700": one})
    words = f"K700 asks for a cell constant {times} times the present one; 0.7 to 1.4 is sensible"
    if times:
        assert words in refused(raw, given_)
    else:
        assert run(raw, given_).outcome("as_left") is Outcome.PASS


def test_nothing_founds_an_adjustment_without_a_standard_or_a_zero() -> None:
    raw = changed(as_found={"zero": {"readings": ["0"]}})
    assert "no standard that counts was read before it" in refused(raw)
    raw = changed(adjusted={"zero_from": "3", "zero_to": "0"}, decision={"action": "zero", "why": "3 in air"})
    assert "the cell was not read dry in air before it" in refused(raw)
    raw["as_found"] = {**raw["as_found"], "zero": {"readings": ["3"]}}
    assert run(raw).outcome("as_left") is Outcome.PASS


def test_what_failed_and_was_not_read_again_is_no_pass_as_left() -> None:
    again = "failed as found and was not read again"
    raw = changed(as_left=found(TWO[1], point("OTHER", "25.0", *["300"] * 3)))
    others = {"OTHER": replace(K500, id="OTHER", table="", own=OWN_300), "LOT": replace(K500, id="LOT")}
    given_ = given_for(raw, standards={**STANDARDS, **others})
    result = run(raw, given_)
    one = check(result, "as_left.K500-2207.error")
    assert (one.outcome, one.reason) == (Outcome.NOT_EVALUATED, again)
    assert result.outcome("as_left") is Outcome.NOT_EVALUATED
    raw = changed(as_left=found(TWO[1], point("LOT", "25.0", *["500"] * 3)))
    assert run(raw, given_).outcome("as_left") is Outcome.PASS  # another bottle of that value


def test_a_zero_and_a_control_system_that_failed_are_read_again_too() -> None:
    again = "failed as found and was not read again"
    raw = changed(process_before={"shown": "391", "control_system": "450"})
    raw["as_found"] = {**raw["as_found"], "zero": {"readings": ["40"]}}
    raw["as_found"]["points"][0] = {**raw["as_found"]["points"][0], "control_system": "400"}
    result = run(raw)
    for key, place in (
        ("zero.error", "analyzer"),
        ("process.control_system", "control system"),
        ("K500-2207.control_system", "control system"),
    ):
        one = check(result, f"as_left.{key}")
        assert (one.reason, one.place) == (again, place)
    raw["as_left"] = {**found(*TWO), "zero": {"readings": ["0"]}}
    raw["as_left"]["points"][0] = {**TWO[0], "control_system": "500"}
    raw["process_after"] = {"shown": "391", "control_system": "391"}
    assert again not in [c.reason for c in run(raw).checks]


def test_as_left_as_after_cleaning_counts_what_was_read_there() -> None:
    raw = visit(
        found(*(point(p["standard"], "25.0", *["400"] * 3) for p in TWO)),
        cleaned={"how": "acid"},
        after_cleaning=found(TWO[1]),
        as_left={"same_as": "after_cleaning"},
    )
    assert check(run(raw), "as_left.K500-2207.error").reason == "failed as found and was not read again"


def test_a_cell_constant_set_to_another_number_than_asked_for_is_said() -> None:
    raw = changed(adjusted={"cell_constant_from": "0.1000", "cell_constant_to": "0.1503"})
    assert "The cell constant was set to 0.1503 1/cm, and the readings before ask for 0.1052" in told(
        run(raw), "caution"
    )


def test_a_changed_compensation_counts_as_left() -> None:
    cold = (point("K500-2207", "21.6", *["501"] * 3), point("K1413-2210", "21.6", *["1418"] * 3))
    raw = visit(
        found(point("K500-2207", "21.6", *["467"] * 3), point("K1413-2210", "21.6", *["1321"] * 3)),
        compensation={"method": "linear", "coefficient": "2.0"},
        decision={"action": "compensation", "why": "it was off although the menu said linear"},
        adjusted={"compensation_to": "none"},
        as_left=found(*cold),
    )
    result = run(raw)
    assert check(result, "as_found.K1413-2210.error").reference == "1417.60"
    assert check(result, "as_left.K1413-2210.error").reference == "1321.2"


# ---------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (visit(serial_on_plate="X"), "The serial on the plate is X, the register has CD-40118"),
        (visit(found(TWO[0], TWO[0])), "As found has the standard K500-2207 twice (1 and 2)"),
        (
            visit(found(point("OLD", "25", "1413"))),
            "OLD (lot 2210) was usable until 2026-03-11 (date printed on it)",
        ),
        (visit(found(point("PH", "25", "7"))), "PH (pH 7) has no conductivity in standards_on_hand.toml"),
        (visit(found(point("NONE", "25", "7"))), "names 'NONE', which standards_on_hand.toml does not hold"),
        (
            visit(found(point("K1413-2210", "25", "20001"))),
            "reading 1 is 20001; AIT-2401 shows 0 to 20000 uS/cm",
        ),
        (
            visit(found(point("K1413-2210", "61", "1413"))),
            "temperature outside -5 to 60 °C is taken as mistyped",
        ),
        (
            visit({"zero": {"readings": ["-201"]}}),
            "As found, zero is -201; AIT-2401 shows -200 to 20000 uS/cm",
        ),
        (
            visit(compensation={"method": "linear", "coefficient": "19"}),
            "a coefficient outside 0 to 5 %/°C is taken as mistyped",
        ),
        (
            visit(compensation={"method": "ISO 7888", "reference_c": "18"}),
            "ISO 7888 has factors to 20 and to 25 °C",
        ),
        (visit(stored={"cell_constant": "0"}), "a cell constant is above 0"),
        (
            changed(stored={"cell_constant": "0.2"}),
            "adjusted.cell_constant_from is 0.1000 1/cm and stored.cell_constant is 0.2 1/cm",
        ),
        (visit(process_before={"shown": "20001"}), "The display of the process is 20001"),
    ],
)
def test_what_cannot_be_taken_is_refused_in_a_sentence(raw: dict[str, Any], words: str) -> None:
    assert words in refused(copy.deepcopy(raw))


def test_what_is_no_thermometer_is_no_reference() -> None:
    words = "names K500-2207 (500 µS/cm ready-made), which is in uS/cm; name a reference thermometer in °C."
    assert f"as_found.thermometer {words}" in refused(visit(found(*TWO, thermometer="K500-2207")))
    wrong = {"reference": "K500-2207", "reference_c": "21.6", "shown_c": "21.6"}
    assert f"thermometer_check.reference {words}" in refused(visit(thermometer_check=wrong))


def test_guarded_is_rounded_once() -> None:
    """Mean 1430.666…, should show 1417.5965…: e 13.070…, at U 21 judged as 13: within 42 − 21."""
    raw = visit(found(point("K1413-2210", "21.6", "1430", "1431", "1431")))
    guarded = analyzer(tolerances={"error": tolerance("-42", "42", None, rule="guarded")})
    one = check(run(raw, given_for(raw, guarded)))
    assert (one.quantity and one.quantity.text, one.outcome) == ("13", "pass")
    assert quantity(run(raw)).text == "13.07"


def test_a_zero_that_fails_says_what_would_separate_the_causes() -> None:
    result = run(visit(found(*TWO, zero={"readings": ["40"]})))
    assert "unplug it at the transmitter; still not zero is the electronics" in told(result, "advice")
    assert "unplug it" not in told(run(visit(found(*TWO, zero={"readings": ["0"]}))), "advice")


def test_a_zero_that_fails_blames_no_cell_constant_where_the_standards_are_exact() -> None:
    zero = {"readings": ["40"]}
    exact = told(run(visit(found(*TWO, zero=zero))), "advice")
    assert "It failed as found" in exact
    assert "100.0 %" not in exact
    assert "may be the cell constant" not in exact
    low = (point("K500-2207", "25.0", *["475"] * 3), point("K1413-2210", "25.0", *["1342"] * 3))
    assert "may be the cell constant" in told(run(visit(found(*low, zero=zero))), "advice")
    assert "read in a second one" in told(run(visit(found(TWO[0], zero=zero))), "advice")


def test_a_reference_thermometer_past_its_date_is_refused() -> None:
    for day, late in (("2026-03-11", True), ("2026-03-12", False), ("2026-03-13", False)):
        raw = visit()
        known = {**STANDARDS, "T-17": replace(T17, calibration_due=day)}
        given_ = given_for(raw, standards=known)
        if late:
            assert "The calibration of T-17 (reference thermometer) was due on 2026-03-11" in refused(
                raw, given_
            )
        else:
            assert run(raw, given_)


def test_an_analyzer_of_something_else_is_refused() -> None:
    raw = visit()
    assert "this procedure is for conductivity in uS/cm" in refused(raw, given_for(raw, analyzer(unit="NTU")))


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (visit({"points": []}), "points holds no standard and the zero was not read"),
        (visit(compensation={"method": "linear"}), "coefficient belongs to linear compensation"),
        (
            visit(compensation={"method": "none", "coefficient": "2"}),
            "coefficient belongs to linear compensation",
        ),
        (changed(as_left={"same_as": "as_found"}), "it was adjusted or replaced since; read again"),
        (changed(adjusted={"at": "09:00"}), "nothing was changed here"),
        (
            changed(adjusted={"cell_constant_to": "0.1"}),
            "cell_constant_from and cell_constant_to belong together",
        ),
        (visit(after_cleaning=found(*TWO)), "cleaned does not say how it was cleaned"),
        (visit(cleaned={"how": "acid"}), "as_left cannot be the same as as_found: it was cleaned since"),
    ],
)
def test_a_sheet_that_contradicts_itself_is_not_taken(raw: dict[str, Any], words: str) -> None:
    assert words in not_taken(copy.deepcopy(raw))


# ---------------------------------------------------------------- control system, thermometer


@pytest.mark.parametrize(("there", "outcome"), [("395", "pass"), ("396", "pass"), ("397", "fail")])
def test_around_the_control_system_in_the_process(there: str, outcome: str) -> None:
    raw = visit(process_before={"shown": "391", "control_system": there, "at": "08:08"})
    held = {"error": tolerance(), "control_system": tolerance("-5", "5", None)}
    result = run(raw, given_for(raw, analyzer(tolerances=held, control_system_tag="AI2401")))
    assert check(result, "as_found.process.control_system").outcome == outcome


def test_a_control_system_that_was_not_read_or_stood_still_is_visible() -> None:
    raw = visit()
    one = check(run(raw, given_for(raw, analyzer(control_system_tag="X"))), "as_found.process.control_system")
    assert one.reason == "it was not read"
    raw = visit(
        process_before={"shown": "391", "control_system": "391", "at": "08:12"},
        output_held={"at": "08:10"},
        output_released={"at": "09:00"},
    )
    one = check(run(raw), "as_found.process.control_system")
    assert one.reason == "the control system was read at 08:12 while the output was held, so it stood still"


@pytest.mark.parametrize(("shown", "outcome"), [("22.1", "pass"), ("22.2", "fail")])
def test_around_the_temperature_built_in(shown: str, outcome: str) -> None:
    raw = visit(thermometer_check={"reference": "T-17", "reference_c": "21.6", "shown_c": shown})
    held = {"error": tolerance(), "thermometer": tolerance("-0.5", "0.5", None, unit="°C")}
    assert check(run(raw, given_for(raw, analyzer(tolerances=held))), "thermometer").outcome == outcome


LEAVE = "leave it alone"


@pytest.mark.parametrize(("shown", "there"), [("22.7", "391"), ("21.6", "450"), ("22.7", "450")])
def test_it_is_left_alone_only_where_everything_passes(shown: str, there: str) -> None:
    """1.1 °C off, or the control system 59 uS/cm off: the standards are right all the same."""
    right = visit(
        thermometer_check={"reference": "T-17", "reference_c": "21.6", "shown_c": "21.6"},
        process_before={"shown": "391", "control_system": "391", "at": "08:04"},
        decision={"action": "leave alone", "why": "right"},
    )
    right["process_before"].pop("at")
    held = {"error": tolerance(), "thermometer": tolerance("-0.5", "0.5", None, unit="°C")}
    given_ = given_for(right, analyzer(tolerances=held))
    assert LEAVE in told(run(right, given_), "advice")
    assert f"inside the tolerance: {LEAVE}" in beside("decision.action", right, given_).lines
    wrong = copy.deepcopy(right)
    wrong["thermometer_check"]["shown_c"] = shown
    wrong["process_before"]["control_system"] = there
    lines = " ".join(beside("decision.action", wrong, given_).lines)
    advice = told(run(wrong, given_), "advice")
    assert LEAVE not in advice + lines
    assert "The cell is inside its tolerance as found; not inside its tolerance: " in advice
    for off, said in (
        (shown != "21.6", "Temperature against reference thermometer (T-17) 1.1 °C, allowed -0.5 to 0.5"),
        (there != "391", "Control system minus display, in the process 59 uS/cm, allowed"),
    ):
        assert (said in advice) is off
        assert (said in lines) is off


def test_what_nobody_judged_is_named_before_it_is_left_alone() -> None:
    raw = visit(decision={"action": "leave alone", "why": "right"})
    given_ = given_for(raw, analyzer(control_system_tag="X"))
    advice = told(run(raw, given_), "advice")
    assert LEAVE not in advice
    assert "not judged: Control system minus display, in the process (it was not read)." in advice
    lines = beside("decision.action", raw, given_).lines
    assert "not judged: Control system minus display, in the process" in lines
    assert not [line for line in lines if LEAVE in line]


def test_what_it_cannot_see() -> None:
    unseen = told(run(visit()), "cannot see")
    for words in (
        "A wrong zero or moisture in the plug",
        "all standards were within 2 °C of 25 °C",
        "A wrong temperature element of the analyzer",
        "What happens above K1413-2210",
    ):
        assert words in unseen


@pytest.mark.parametrize(("t", "unseen"), [("22.9", False), ("23", True), ("27", True), ("27.1", False)])
def test_around_where_a_wrong_coefficient_is_not_seen(t: str, unseen: bool) -> None:
    cold = (point("K500-2207", "25", *["500"] * 3), point("K1413-2210", t, *["1413"] * 3))
    assert ("A wrong coefficient" in told(run(visit(found(*cold))), "cannot see")) is unseen


# ---------------------------------------------------------------- real input

PROBES = "conductivity_checks_two_probes.csv"
FIRST, LATER = "2025-12-22", "2026-07-22"
MEANS = {("P2", FIRST, "12880"): 13.4, ("P2", LATER, "12880"): -50.8, ("P2", LATER, "80000"): -85.4}


@pytest.fixture(scope="module")
def probes(real_data: Path) -> Mapping[tuple[str, str, str], list[tuple[str, str]]]:
    groups: dict[tuple[str, str, str], list[tuple[str, str]]] = {}
    with (real_data / PROBES).open(encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream):
            key = (row["probe"], row["event"], row["standard_uS_cm"])
            groups.setdefault(key, []).append((row["temperature_C"], row["reading_uS_cm"]))
    return groups


def real(probes: Any, probe: str, event: str, *standards: str) -> Result:
    """A visit with the readings as they are; the temperature is that of the last one."""
    parts: dict[str, Any] = {"zero": {"readings": [r for _, r in probes[probe, event, "0"]]}, "points": []}
    for name in standards:
        rows = probes[probe, event, name]
        parts["points"].append(point(f"K{name}", rows[-1][0], *(reading for _, reading in rows)))
    bottle = Standard("K12880", "conductivity standard", "12880", "1", "uS/cm")
    known = {
        **STANDARDS,
        "K12880": replace(bottle, table="conductivity_ready_made", edition="trade 1", column="12880"),
        "K80000": replace(bottle, id="K80000", name="80000", value=Decimal(80000)),
    }
    raw = visit({**parts, "thermometer": "T-17"})
    return run(raw, given_for(raw, analyzer(high=Decimal(200000)), standards=known))


@pytest.mark.parametrize("key", MEANS, ids=str)
def test_the_means_of_the_source_are_those_of_the_issue(probes: Any, key: tuple[str, str, str]) -> None:
    """Own reading of the file, without wqverify: mean of all readings over the 25 °C value."""
    readings = [float(reading) for _, reading in probes[key]]
    assert 100 * (sum(readings) / len(readings) / float(key[2]) - 1) == pytest.approx(MEANS[key], abs=0.05)


@pytest.mark.parametrize(("event", "percent"), [(FIRST, 13.0), (LATER, -50.0)])
def test_a_real_probe_fails_in_12880_whatever_its_zero_says(probes: Any, event: str, percent: float) -> None:
    """What should be shown at 22 to 23 °C differs from the 25 °C value by under 1 %: sign and size stay."""
    result = real(probes, "P2", event, "12880", "80000")
    assert check(result, "as_found.zero.error").outcome is Outcome.PASS
    assert check(result, "as_found.K12880.error").outcome is Outcome.FAIL
    assert value(result, "as_found.K12880.percent").quantity.value == pytest.approx(percent, abs=1.0)
    assert result.outcome("as_found") is Outcome.FAIL


def test_a_dead_probe_is_passed_by_its_zero_and_caught_by_two_standards(probes: Any) -> None:
    result = real(probes, "P2", LATER, "12880", "80000")
    assert value(result, "as_found.K80000.percent").quantity.value == pytest.approx(-85.4, abs=1.0)
    cautions = told(result, "caution")
    assert (
        "the zero is right and K80000 shows 15 % of what it should: a zero check alone would have passed"
        in cautions
    )
    alone = real(probes, "P2", LATER)
    assert check(alone, "as_found.zero.error").outcome is Outcome.PASS
    assert alone.outcome("as_found") is Outcome.NOT_EVALUATED
    assert "the error grows with the value. It may be polarisation" in told(result, "advice")
