"""Flow check: outside values, four tests around each limit, candidates, and what is refused.

Outside values: V24 of the project's measurement models (draw-down; GTC 1.5.1 and central differences), A22
and the 8 mA line of its external facts (square root of a pressure signal), NIST SP 811 (from memory) for
units, and GTC here as a second library for every uncertainty of the demo visit.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from math import pi, sqrt
from pathlib import Path
from typing import Any

import GTC
import pytest
from one_procedure import Of, told, value
from plant_example import MONTH
from printed import agree
from step_driver import step_to

from wqverify.demo.ellodale import make_plant
from wqverify.desk import open_desk
from wqverify.procedures import PROCEDURES
from wqverify.procedures.walk import answered
from wqverify.records.canonical import given_from
from wqverify.shipped import shipped_folder
from wqverify.terms import Analyzer, Given, Outcome, Result, Standard, Tolerance

FLOW = PROCEDURES["flow_check"]
DEMO = shipped_folder("demo_runs") / "flow_check"
GIVEN: Given = given_from(json.loads((DEMO / "given.json").read_text("utf-8")))
RECT = sqrt(3)


def within(half: str, rule: Any = "simple", unit: str = "%") -> Tolerance:
    return Tolerance(unit, rule, "local", "invented", -Decimal(half), Decimal(half))


# ---------------------------------------------------------------- cases


def analyzer(**changes: Any) -> Analyzer:
    plain = {
        "unit": "L/s",
        "high": Decimal(200),
        "settings": {},
        "tolerances": {"error": within("5"), "zero": within("1", unit="L/s")},
        "control_system_tag": "",
    }
    return replace(GIVEN.analyzer, **{**plain, **changes})


STANDARDS = {
    "TANK": Standard("TANK", "tank", "tank", "1", "m", value=Decimal("12.00")),
    "FLAT": Standard("FLAT", "tank", "tank of nothing", "1", "m", value=Decimal("0")),
    "BARE": Standard("BARE", "tank", "tank without a size", "1", "m"),
    "SO": Standard("SO", "strap-on meter", "strap-on", "1", "L/s", calibration_due="2026-12-31"),
    "SOC": Standard(
        "SOC",
        "strap-on meter",
        "strap-on",
        "1",
        "L/s",
        expanded=Decimal("0.5"),
        k=Decimal(2),
        calibration_due="2026-12-31",
    ),
    "TOT": Standard("TOT", "totaliser", "other meter", "1", "m3", calibration_due="2026-12-31"),
    "TAPE": Standard("TAPE", "tape", "tape", "1", "m", calibration_due="2026-12-31"),
    "GAUGE": Standard(
        "GAUGE",
        "gauge",
        "gauge",
        "1",
        "%",
        expanded=Decimal("0.4"),
        k=Decimal(2),
        calibration_due="2026-12-31",
    ),
}
TANK = {"against": "tank draw-down, levels in m", "diameter": "12.00", "read_as": "totals in m3"}
STRAP_ON = {"against": "strap-on meter", "standard": "SO", "read_as": "rates"}
OTHER = {"against": "totaliser", "standard": "TOT", "read_as": "totals in m3"}


def drawn(**more: Any) -> dict[str, Any]:
    plain = {
        "duration_s": "1800",
        "level_start": "4.10",
        "level_stop": "3.30",
        "meter_start": "1000.0",
        "meter_stop": "1091.9",
    }
    return {name: text for name, text in {**plain, **more}.items() if text is not None}


def rates(reference: list[str], shown: list[str], **more: Any) -> dict[str, Any]:
    return {"duration_s": "600", "reference_rates": reference, "rates": shown, **more}


def visit(found: dict[str, Any] | None = None, **more: Any) -> dict[str, Any]:
    """The shortest sheet: one draw-down."""
    return {
        "procedure": "flow_check",
        "tag": "FIT-1101",
        "serial_on_plate": "DP-30471",
        "reason": "routine",
        "performed_by": "IQU",
        "date": "2026-03-12",
        "started": "08:05",
        "cautions": {"read": "yes"},
        "operations_told": {"who": "W. Abernathy"},
        "reference": TANK,
        "as_found": found or drawn(),
        "status": {"state": "in service"},
        **more,
    }


def pressure(root: str = "in the control system", **more: str) -> dict[str, str]:
    return {"kind": "differential pressure", "root": root, **more}


of_them = Of(FLOW, GIVEN, analyzer, STANDARDS, "as_found.error")
given_for, run, check, quantity = of_them.given_for, of_them.run, of_them.check, of_them.quantity
refused, not_taken = of_them.refused, of_them.not_taken


def judged(raw: dict[str, Any], **changes: Any) -> Result:
    return run(raw, given_for(raw, analyzer(**changes)))


# ---------------------------------------------------------------- V24, again by the procedure


def test_v24_a_draw_down() -> None:
    result = run(visit())
    found = quantity(result)
    agree("V24", "error", found.value)
    agree("V24", "u of the error", found.u or 0)
    assert (found.text, found.expanded, check(result).outcome) == ("1.572", "1.4", Outcome.PASS)
    reference = value(result, "as_found.reference").quantity
    agree("V24", "flow", reference.value)
    agree("V24", "u of the flow", reference.u or 0)


@pytest.mark.parametrize(
    ("stop", "shown", "outcome"),
    [
        ("105.0", "5.000", "pass"),
        ("104.9", "4.900", "pass"),
        ("105.1", "5.100", "fail"),
        ("95.0", "-5.000", "pass"),
        ("94.9", "-5.100", "fail"),
    ],
)
def test_around_the_tolerance(stop: str, shown: str, outcome: str) -> None:
    """Against a totaliser of 100.0 m3 the error has an end: 5 % exactly passes."""
    run_ = {"duration_s": "1800", "reference_start": "0.0", "reference_stop": "100.0"}
    found = check(run(visit({**run_, "meter_start": "0.0", "meter_stop": stop}, reference=OTHER)))
    assert found.quantity is not None
    assert (found.quantity.text, found.outcome) == (shown, outcome)


def test_no_tolerance_is_not_evaluated() -> None:
    found = check(judged(visit(), tolerances={}))
    assert found.outcome is Outcome.NOT_EVALUATED
    assert found.reason.startswith("the register holds no tolerance for this")


def test_a_tolerance_in_another_unit_is_said() -> None:
    found = check(judged(visit(), tolerances={"error": within("2", unit="L/s")}))
    assert found.reason == "the result is in % and the tolerance in L/s"


@pytest.mark.parametrize(
    ("half", "outcome"),
    [("3.0", "pass"), ("2.9", "too close to decide"), ("0.2", "too close to decide"), ("0.1", "fail")],
)
def test_guarded_uses_u(half: str, outcome: str) -> None:
    """+1.6 with U 1.4: passes from 3.0 on, fails beyond 0.2."""
    assert check(judged(visit(), tolerances={"error": within(half, "guarded")})).outcome == outcome


def test_a_u_as_large_as_the_tolerance_cannot_decide_and_it_is_said() -> None:
    """2 % of the register of a plant: U/T 0.70 is bearable; 1.4 % is not."""
    assert check(judged(visit(), tolerances={"error": within("2")})).share == "0.70"
    result = judged(visit(), tolerances={"error": within("1.4")})
    assert "U 1.4 is 1.00 of the tolerance, so this comparison cannot decide" in told(result, "caution")


# ---------------------------------------------------------------- every kind of reference


def test_levels_in_feet_and_totals_in_gallons_give_the_same() -> None:
    """12.00 m are 39.3701 ft, 0.80 m of fall 2.62467 ft, 91.9 m3 24277.4 gal."""
    feet = {"against": "tank draw-down, levels in ft", "diameter": "39.370079", "read_as": "totals in gal"}
    raw = visit(
        drawn(level_start="13.451444", level_stop="10.826772", meter_start="0", meter_stop="24277"),
        reference=feet,
    )
    found = quantity(run(raw))
    assert found.value == pytest.approx(1.572, abs=0.005)
    assert found.expanded == "1.4"


def test_an_area_stands_for_a_diameter() -> None:
    by_area = {"against": TANK["against"], "area_m2": "113.0973", "read_as": TANK["read_as"]}
    round_, square = quantity(run(visit())), quantity(run(visit(reference=by_area)))
    assert square.value == pytest.approx(round_.value, abs=1e-4)
    assert square.u == pytest.approx(round_.u, rel=1e-4)


def test_a_tank_on_hand_brings_its_own_uncertainty() -> None:
    named = {"against": TANK["against"], "standard": "TANK", "read_as": TANK["read_as"]}
    assert quantity(run(visit(reference=named))).u == pytest.approx(quantity(run(visit())).u)
    raw = visit(reference=named)
    sure = replace(STANDARDS["TANK"], expanded=Decimal("0.2"), k=Decimal(2))
    found = quantity(run(raw, given_for(raw, standards={**STANDARDS, "TANK": sure})))
    line = next(line for line in found.budget if line.cause == "diameter of TANK")
    assert (line.u, line.size_from) == (0.1, "certificate")
    assert line.contribution == pytest.approx(2 * 0.1 / 12 * 101.572, rel=1e-3)


@pytest.mark.parametrize(("by", "u"), [("TAPE", 0.1), ("GAUGE", 0.2)])
def test_a_gauge_with_a_certificate_in_percent_is_its_gain(by: str, u: float) -> None:
    found = quantity(run(visit(reference={**TANK, "level_by": by})))
    assert next(line.u for line in found.budget if "gain" in line.cause) == u


def test_a_strap_on_meter_by_gtc() -> None:
    raw = visit(rates(["50.0", "50.4", "50.2"], ["51.0", "51.2", "50.8"]), reference=STRAP_ON)
    found = quantity(run(raw))
    assert found.text == "1.594"  # 100 (51.0/50.2 - 1)
    reference = GTC.ureal(50.2, 0.2 / RECT, 2) * (1 + GTC.ureal(0, 0.01 / RECT))
    reference = reference * (1 + GTC.ureal(0, 0.03 / RECT))
    e = 100 * (GTC.ureal(51.0, 0.2 / RECT, 2) / reference - 1)
    assert (found.value, found.u) == (pytest.approx(e.x), pytest.approx(e.u, rel=1e-9))
    assert found.dof == int(e.df)


def test_a_certificate_of_a_strap_on_meter_is_in_its_unit() -> None:
    raw = visit(rates(["50.0"], ["51.0"]), reference={**STRAP_ON, "standard": "SOC"})
    line = next(line for line in quantity(run(raw)).budget if line.cause == "certificate of SOC")
    assert (line.u, line.contribution) == (0.25, pytest.approx(102 * 0.25 / 50))


def test_a_totaliser_by_gtc() -> None:
    raw = visit(
        {
            "duration_s": "3600",
            "reference_start": "10.0",
            "reference_stop": "190.0",
            "meter_start": "500.00",
            "meter_stop": "683.60",
        },
        reference=OTHER,
    )
    found = quantity(run(raw))
    assert found.text == "2.000"

    def read(digit: float) -> Any:
        return GTC.ureal(0, digit / sqrt(12)) - GTC.ureal(0, digit / sqrt(12))

    moment = [GTC.ureal(0, 2 / RECT) for _ in range(3)]
    q = (180 + read(0.1)) * (1 + GTC.ureal(0, 0.01 / RECT)) / (3600 + moment[0] + moment[1])
    e = 100 * ((183.6 + read(0.01)) / (3600 + moment[2]) / q - 1)
    assert found.u == pytest.approx(e.u, rel=1e-9)


def demo() -> Result:
    from wqverify.records.record import case_from, compute
    from wqverify.records.workbook import demo_case

    return compute(case_from(demo_case("flow_check")))


def test_the_demo_visit_again_by_gtc() -> None:
    result = demo()
    foot, gallon = 0.3048, 3.785411784
    d, shape = GTC.ureal(39.37 * foot, 0.035 * foot), GTC.ureal(0, 0.002 / RECT)
    gain = GTC.ureal(0, 0.001)
    for stage, high, low, total, rates_ in (
        ("as_found", 13.45, 10.83, 24.27, [1612, 1608, 1611, 1609]),
        ("as_left", 10.71, 8.10, 24.15, [804, 806, 803, 806]),
    ):
        fell = (GTC.ureal(high * foot, 0.003) - GTC.ureal(low * foot, 0.003)) * (1 + gain)
        moment = [GTC.ureal(0, 2 / RECT) for _ in range(3)]
        q = 1000 * pi / 4 * d * d * (1 + shape) * fell / (1800 + moment[0] + moment[1])
        q = q + GTC.ureal(0, 0.3 / RECT)
        volume = total + GTC.ureal(0, 0.01 / sqrt(12)) - GTC.ureal(0, 0.01 / sqrt(12))
        meter = volume * 1000 * gallon / (1800 + moment[2])
        n, mean = len(rates_), sum(rates_) / len(rates_)
        s = sqrt(sum((x - mean) ** 2 for x in rates_) / (n - 1) / n)
        system = GTC.ureal(mean, s, n - 1) * gallon / 60
        for key, shown in (("error", meter), ("control_system", system)):
            e = 100 * (shown / q - 1)
            found = quantity(result, f"{stage}.{key}")
            assert (found.value, found.u) == (pytest.approx(e.x), pytest.approx(e.u, rel=1e-9)), key
        if stage == "as_found":
            scale = 3200 * gallon / 60
            left = 100 * (system / scale / GTC.sqrt(meter / scale) - 1)
            found = value(result, "as_found.control_system_roots_2").quantity
            assert (found.value, found.u) == (pytest.approx(left.x), pytest.approx(left.u, rel=1e-6))


def test_the_hand_calculations_give_what_is_shown() -> None:
    for working in demo().workings:
        if working.formula.startswith("U ="):
            continue
        put_in = working.put_in.replace("×", "*").replace("−", "-").replace("π", "pi").replace("²", "**2")
        shown = float(working.answer.split()[0])
        assert eval(put_in, {"pi": pi}) == pytest.approx(shown, rel=1e-6, abs=6e-4), working


# ---------------------------------------------------------------- candidates


def chain(shown: list[str], system: list[str], **more: Any) -> Result:
    """Against a strap-on meter at 50 L/s, a quarter of full scale."""
    raw = visit(
        rates(["50.0", "50.1", "49.9"], shown, control_system=system),
        reference=STRAP_ON,
        meter=pressure(),
        **more,
    )
    return run(raw)


QUARTER = ["50.0", "50.1", "49.9"]


@pytest.mark.parametrize(
    ("system", "words"),
    [
        # the external facts: 8 mA is 50 % with one root of a linear signal, 25 % without
        (["100.0", "100.1", "99.9"], "once too often between the meter and the control system"),
        (["12.5", "12.6", "12.4"], "missing between the meter and the control system"),
    ],
)
def test_a_root_behind_the_meter_is_a_candidate_and_no_verdict(system: list[str], words: str) -> None:
    result = chain(QUARTER, system)
    assert check(result, "as_found.control_system").outcome is Outcome.FAIL
    said = [text for text in told(result, "statement").splitlines() if "candidate" in text]
    assert [words in text for text in said] == [True, False]
    assert "one factor of" in said[1]
    ways = told(result, "advice")
    assert "What would separate these candidates: compare at a second flow" in ways
    assert "25 % of full scale shown means no root behind it, 50 % one, 70.7 % two" in ways


@pytest.mark.parametrize(
    ("shown", "words"),
    [(["100.0", "100.1", "99.9"], "once too often up to the meter"), (["12.5"], "missing up to the meter")],
)
def test_a_root_before_the_meter_is_one_too(shown: list[str], words: str) -> None:
    result = chain(shown, shown)
    said = [text for text in told(result, "statement").splitlines() if "candidate" in text]
    assert len(said) == 2
    assert words in said[0]
    assert not any("control system" in text for text in said), "behind the meter nothing differs"


def test_what_passes_is_not_explained() -> None:
    result = chain(["52.0", "52.1", "51.9"], ["52.0", "52.1", "51.9"])
    assert check(result).outcome is Outcome.PASS
    assert "candidate" not in told(result, "statement")
    assert "What would separate" not in told(result, "advice")


def test_a_magnetic_meter_has_no_roots() -> None:
    raw = visit(rates(QUARTER, ["100.0", "100.1", "99.9"]), reference=STRAP_ON, meter={"kind": "magnetic"})
    said = [text for text in told(run(raw), "statement").splitlines() if "candidate" in text]
    assert len(said) == 1
    assert "one factor of 2" in said[0]


@pytest.mark.parametrize(
    ("shown", "unit", "factor"),
    [
        # by NIST SP 811, B.8: 1 L/s is 15.850323 gpm (3.785411784 L in 60 s), 3.6 m3/h by definition
        (["792.5", "792.6", "792.4"], "gpm", "15.85"),
        (["180.0", "180.1", "179.9"], "m3/h", "3.6"),
    ],
)
def test_a_number_in_another_unit_is_a_candidate(shown: list[str], unit: str, factor: str) -> None:
    raw = visit(rates(QUARTER, shown), reference=STRAP_ON, meter={"kind": "magnetic"})
    said = told(run(raw), "statement")
    assert f"the number up to the meter is in {unit} and taken for L/s: a factor of {factor}" in said


def test_an_imperial_gallon_is_a_candidate() -> None:
    """1 US gallon is 0.83267 imperial ones: 3.785411784 L against 4.54609 L."""
    raw = visit(
        {"duration_s": "600", "reference_rates": ["50.0", "50.1", "49.9"], "rates": ["660", "660", "660"]},
        reference=STRAP_ON,
        meter={"kind": "magnetic"},
    )
    said = told(judged(raw, unit="gpm", high=Decimal(3200)), "statement")
    assert "is in imperial gallons and taken for gpm: a factor of 0.83267" in said


@pytest.mark.parametrize(
    ("ma", "words"),
    [
        ("8.00", "That fits a signal that is flow already: a root taken behind it would be a second."),
        ("5.00", "That fits a linear pressure signal: its root has to be taken behind it, once."),
        ("6.50", "That fits neither and separates nothing here."),
    ],
)
def test_a_current_tells_what_the_signal_is(ma: str, words: str) -> None:
    """A quarter of full scale is 8 mA as flow, and 5 mA, a sixteenth, as pressure."""
    raw = visit(rates(QUARTER, QUARTER, ma=ma), reference=STRAP_ON, meter=pressure())
    assert words in told(run(raw), "statement")


def test_near_full_scale_a_current_fits_both_and_a_root_cannot_be_seen() -> None:
    high = ["199.0", "199.1", "198.9"]
    raw = visit(rates(high, high, ma="19.90"), reference=STRAP_ON, meter=pressure())
    result = run(raw)
    assert "That fits both and separates nothing here." in told(result, "statement")
    assert "near full scale all three show nearly the same" in told(result, "cannot see")
    low = visit(rates(QUARTER, QUARTER), reference=STRAP_ON, meter=pressure())
    assert "near full scale" not in told(run(low), "cannot see")


def test_a_meter_that_stands_at_zero_gives_a_result_all_the_same() -> None:
    raw = visit(rates(QUARTER, ["0.0"], control_system=["3.0"]), reference=STRAP_ON, meter=pressure())
    result = run(raw)
    assert (quantity(result).text, check(result).outcome) == ("-100.000", Outcome.FAIL)


@pytest.mark.parametrize(
    ("root", "words"),
    [
        ("in both", "the square root was taken twice (in both)"),
        ("nowhere", "the square root was never taken (nowhere)"),
        ("not known", "Where the square root is taken is not known"),
        ("in the transmitter", ""),
    ],
)
def test_where_the_root_is_taken_is_a_caution(root: str, words: str) -> None:
    text = told(run(visit(meter=pressure(root))), "caution")
    assert words in text
    assert ("square root" in text) is bool(words)


# ---------------------------------------------------------------- zero and low-flow cut


def still(*readings: str, **more: str) -> dict[str, Any]:
    return {"how": "valve closed and tight, pipe full", "readings": list(readings), "at": "09:10", **more}


@pytest.mark.parametrize(
    ("reading", "outcome"),
    [("0.99", "pass"), ("1.00", "pass"), ("1.01", "fail"), ("-1.00", "pass"), ("-1.01", "fail")],
)
def test_around_the_zero(reading: str, outcome: str) -> None:
    assert check(run(visit(zero=still(reading))), "as_found.zero").outcome == outcome


def test_a_zero_that_was_not_read_is_said() -> None:
    result = run(visit(zero={"not_done": "the town cannot be shut off"}))
    found = check(result, "as_found.zero")
    assert (found.outcome, found.reason) == (
        Outcome.NOT_EVALUATED,
        "not done: the town cannot be shut off",
    )
    assert "The zero of the meter: it was not read at standstill." in told(result, "cannot see")


@pytest.mark.parametrize(
    ("reading", "cut", "words"),
    [
        ("0.0", "2.0", "the low-flow cut of 2.0 L/s hides a zero below it"),
        ("0.5", "2.0", "at standstill it showed flow below its low-flow cut of 2.0 L/s"),
        ("0.5", "0", ""),
    ],
)
def test_a_low_flow_cut_hides_the_zero(reading: str, cut: str, words: str) -> None:
    raw = visit(zero=still(reading), meter={"kind": "magnetic", "cut_off": cut})
    text = told(run(raw), "caution")
    assert words in text
    assert ("low-flow cut" in text) is bool(words)


@pytest.mark.parametrize(("cut", "compared"), [("50.26", True), ("50.27", False), ("50.20", True)])
def test_below_the_cut_the_meter_shows_nothing_by_design(cut: str, compared: bool) -> None:
    """The tank gives 50.2655 L/s."""
    found = check(run(visit(meter={"kind": "magnetic", "cut_off": cut})))
    assert (found.outcome is Outcome.NOT_EVALUATED) is not compared
    if not compared:
        assert found.reason == (
            "the reference gave 50.27 L/s, below the low-flow cut of 50.27, where the meter shows 0 by "
            "design: compare at a larger flow"
        )


# ---------------------------------------------------------------- current at standstill

MAGNETIC = {"kind": "magnetic", "cut_off": "0"}
TEN = {"error": within("5"), "zero": within("10", unit="L/s")}


def by_current(ma: str, meter: dict[str, str] | None, tolerances: Any = None, **more: Any) -> Any:
    raw = visit(zero=still("0.5", ma=ma), **({"meter": meter} if meter else {}), **more)
    changes = {} if tolerances is None else {"tolerances": tolerances}
    return check(judged(raw, **changes), "as_found.zero_ma")


@pytest.mark.parametrize(
    "meter", [MAGNETIC, pressure("in the transmitter", cut_off="0"), pressure("in both", cut_off="0")]
)
@pytest.mark.parametrize(
    ("ma", "shown", "outcome"),
    [
        ("4.07", "0.875", "pass"),
        ("4.08", "1", "pass"),
        ("4.09", "1.125", "fail"),
        ("3.92", "-1", "pass"),
        ("3.91", "-1.125", "fail"),
    ],
)
def test_around_the_zero_by_a_current_that_is_flow(
    meter: dict[str, str], ma: str, shown: str, outcome: str
) -> None:
    """I = 4 + 16 Q/Qmax of the external facts, section 7: 1 of 200 L/s is 0.08 mA."""
    found = by_current(ma, meter)
    assert (found.quantity.text, found.outcome, found.place) == (shown, outcome, "control system")


@pytest.mark.parametrize("root", ["in the control system", "nowhere"])
@pytest.mark.parametrize(
    ("ma", "outcome"), [("4.039", "pass"), ("4.040", "pass"), ("4.041", "fail"), ("4.16", "fail")]
)
def test_around_the_zero_by_a_current_that_is_pressure(root: str, ma: str, outcome: str) -> None:
    """Q/Qmax = sqrt((I - 4)/16) of the external facts, section 7: 10 of 200 L/s is 0.04 mA, 20 are 0.16."""
    found = by_current(ma, pressure(root), TEN)
    assert found.outcome == outcome
    assert found.quantity.value == pytest.approx(200 * sqrt((float(ma) - 4) / 16), abs=1e-9)
    assert {"4.040": "10", "4.16": "20"}.get(ma, found.quantity.text) == found.quantity.text


def test_without_a_tolerance_a_current_is_not_evaluated() -> None:
    found = by_current("4.08", MAGNETIC, {})
    assert (found.outcome, found.quantity.text) == (Outcome.NOT_EVALUATED, "1")
    assert found.reason == ("the register holds no tolerance for this (Loop current at standstill, as flow)")


@pytest.mark.parametrize(
    ("ma", "judged_"),
    [("4.03", True), ("4.025", True), ("4.02", False), ("4.00", False), ("3.98", False)],
)
def test_what_a_multimeter_cannot_tell_from_4_ma_has_no_root(ma: str, judged_: bool) -> None:
    """0.02 mA of a multimeter and half of its last digit: 0.025 mA to two places, 0.0205 to three."""
    found = by_current(ma, pressure(), TEN)
    assert (found.outcome is not Outcome.NOT_EVALUATED) is judged_
    if not judged_:
        assert found.reason == (
            f"{ma} mA is a pressure signal within 0.025 mA of 4 mA, which a multimeter cannot tell from it, "
            f"and its root says nothing there: read the pressure itself"
        )


@pytest.mark.parametrize(
    ("ma", "meter", "reason"),
    [
        ("3.97", pressure(), "3.97 mA lies below 4 mA, and a negative signal has no square root"),
        # A23 and signal_ne43.csv: a failure to 3.6 and from 21 mA, not valid to 3.8 and from 20.5 mA
        ("3.6", MAGNETIC, "3.6 mA is no measured value, by NAMUR NE 43: failure low"),
        ("3.7", MAGNETIC, "3.7 mA is no measured value, by NAMUR NE 43: not valid, low"),
        ("20.6", MAGNETIC, "20.6 mA is no measured value, by NAMUR NE 43: not valid, high"),
        ("21.0", pressure(), "21.0 mA is no measured value, by NAMUR NE 43: failure high"),
    ],
)
def test_a_current_that_stands_for_no_flow_says_why(ma: str, meter: dict[str, str], reason: str) -> None:
    found = by_current(ma, meter)
    assert (found.outcome, found.reason, found.quantity) == (Outcome.NOT_EVALUATED, reason, None)


@pytest.mark.parametrize("ma", ["3.8", "20.5"])
def test_a_current_that_ne_43_lets_measure_is_judged(ma: str) -> None:
    assert by_current(ma, MAGNETIC).outcome is Outcome.FAIL


@pytest.mark.parametrize("meter", [None, pressure("not known", cut_off="0")])
@pytest.mark.parametrize(
    ("ma", "outcome"),
    [("4.09", "fail"), ("4.08", "not evaluated"), ("4.00", "not evaluated"), ("3.90", "not evaluated")],
)
def test_where_flow_or_pressure_is_not_known_only_a_fail_counts(
    meter: dict[str, str] | None, ma: str, outcome: str
) -> None:
    """As pressure it would be more: the root of a part of the span is never the smaller one."""
    found = by_current(ma, meter)
    assert found.outcome == outcome
    if outcome == "not evaluated":
        assert found.reason == (
            "whether the loop current is flow or pressure is not known: enter the kind of meter and its root"
        )


@pytest.mark.parametrize(
    ("ma", "cut", "reason"),
    [
        ("4.00", "1.0", ""),
        ("4.00", "1.1", "the low-flow cut of 1.1 L/s hides a zero that may lie outside the tolerance"),
        ("4.02", "1.1", "the low-flow cut of 1.1 L/s hides a zero that may lie outside the tolerance"),
        ("4.03", "1.1", ""),  # more than a multimeter may be off: flow that was not cut
        ("4.00", None, "the low-flow cut is not known and may hide a zero outside the tolerance"),
    ],
)
def test_a_current_of_4_ma_is_a_pass_only_where_nothing_larger_is_cut(
    ma: str, cut: str | None, reason: str
) -> None:
    found = by_current(ma, {"kind": "magnetic", **({"cut_off": cut} if cut else {})})
    assert found.reason == reason
    assert found.outcome is (Outcome.NOT_EVALUATED if reason else Outcome.PASS)


def test_a_meter_of_both_directions_stands_still_in_the_middle_of_its_span() -> None:
    raw = visit(zero=still("0.5", ma="12.04"), meter=MAGNETIC)
    found = check(judged(raw, low=Decimal(-200)), "as_found.zero_ma")
    assert (found.outcome, found.quantity and found.quantity.text) == (Outcome.PASS, "1")
    raw = visit(zero=still("0.5", ma="12.05"), meter=MAGNETIC)
    assert check(judged(raw, low=Decimal(-200)), "as_found.zero_ma").outcome is Outcome.FAIL


def test_a_pressure_of_nothing_is_no_flow_wherever_the_range_begins() -> None:
    """4.16 mA are 10 % of the flow at 20 mA by the external facts, section 7, and not of a span from 20."""
    raw = visit(zero=still("0.5", ma="4.16"), meter=pressure())
    assert quantity(judged(raw, low=Decimal(20)), "as_found.zero_ma").text == "20"


@pytest.mark.parametrize(("low", "high"), [("-1", "5"), ("-5", "1")])
def test_a_cut_hides_a_zero_on_both_sides(low: str, high: str) -> None:
    lopsided = replace(within("5", unit="L/s"), low=Decimal(low), high=Decimal(high))
    found = by_current("4.00", {**MAGNETIC, "cut_off": "2"}, {"zero": lopsided})
    assert found.reason == "the low-flow cut of 2 L/s hides a zero that may lie outside the tolerance"


@pytest.mark.parametrize(("ma", "outcome"), [("12.02", "not evaluated"), ("12.03", "pass")])
def test_of_both_directions_a_multimeter_is_off_by_more(ma: str, outcome: str) -> None:
    """0.025 mA of 400 L/s are 0.625 L/s: 0.5 may be a zero that was cut, 0.75 is none."""
    raw = visit(zero=still("0.5", ma=ma), meter={**MAGNETIC, "cut_off": "1.1"})
    assert check(judged(raw, low=Decimal(-200)), "as_found.zero_ma").outcome == outcome


@pytest.mark.parametrize(
    ("ma", "meter", "counts"),
    [
        ("4.16", pressure(), True),
        ("4.00", pressure(), False),
        ("3.6", pressure(), False),
        ("4.00", pressure("not known"), False),
        ("4.09", pressure("not known"), True),
    ],
)
def test_nobody_is_better_off_without_reading_the_current(
    ma: str, meter: dict[str, str], counts: bool
) -> None:
    shown = rates(QUARTER, QUARTER, control_system=QUARTER)
    result = run(visit(shown, reference=STRAP_ON, meter=meter, zero=still("0.5", ma=ma)))
    assert check(result, "as_found.zero_ma").counts is counts
    assert result.outcome("as_found", "control system") is (Outcome.FAIL if counts else Outcome.PASS)


def test_as_left_a_current_that_failed_counts_though_it_cannot_be_judged() -> None:
    raw = visit(
        rates(QUARTER, QUARTER, control_system=QUARTER),
        reference=STRAP_ON,
        meter=pressure(),
        zero=still("0.5", ma="4.16"),
        zero_left=still("0.2", ma="4.00"),
    )
    assert run(raw).outcome("as_left", "control system") is Outcome.NOT_EVALUATED
    raw["zero"]["ma"] = "4.00"
    assert run(raw).outcome("as_left", "control system") is None


@pytest.mark.parametrize(
    ("before", "outcome"),
    [("8.00", "pass"), ("4.09", "pass"), ("4.08", "not evaluated"), (None, "not evaluated")],
)
def test_a_held_current_is_judged_only_where_it_is_seen_to_move(before: str | None, outcome: str) -> None:
    """Within 0.025 mA of both readings it may be the same current, held."""
    run_ = drawn(ma=before, at="08:40")
    held = {"output_held": {"at": "09:00"}, "output_released": {"at": "09:30"}}
    found = by_current("4.03", MAGNETIC, as_found=run_, **held)
    assert found.outcome == outcome
    if outcome != "pass":
        assert found.reason == (
            "the output was held when the loop current was read at standstill, and nothing shows that it was "
            "live: read it while water flows too"
        )
    assert by_current("4.03", MAGNETIC, as_found=run_).outcome == "pass"  # nothing was held


@pytest.mark.parametrize("rooted", [False, True])
def test_the_uncertainty_of_a_current_at_standstill_by_gtc(rooted: bool) -> None:
    """A multimeter within 0.02 mA (from memory), rectangular, and the last digit."""
    found = by_current("4.08", pressure() if rooted else MAGNETIC, TEN).quantity
    q = (GTC.ureal(4.08, 0.01 / sqrt(12)) + GTC.ureal(0, 0.02 / RECT) - 4) / 16
    q = 200 * (GTC.sqrt(q) if rooted else q)
    assert (found.value, found.u) == (pytest.approx(q.x), pytest.approx(q.u, rel=1e-9))


def test_a_current_that_failed_as_found_is_no_pass_as_left_unless_it_was_read_again() -> None:
    raw = visit(zero=still("0.5", ma="4.20"), zero_left=still("0.2"), meter=MAGNETIC)
    again = check(run(raw), "as_left.zero_ma")
    assert (again.outcome, again.reason) == (Outcome.NOT_EVALUATED, "failed as found and was not read again")
    read = {**raw, "zero_left": still("0.2", ma="4.03")}
    assert check(run(read), "as_left.zero_ma").outcome is Outcome.PASS


def test_flow_at_standstill_by_the_current_alone_says_where_to_look_too() -> None:
    raw = visit(zero=still("0.2", ma="4.20"), meter=MAGNETIC)
    assert "look first that the valves are tight" in told(run(raw), "advice")


def test_the_hand_calculation_of_a_current_gives_the_flow_shown() -> None:
    for meter, put_in in (
        (MAGNETIC, "0 + (200 − 0) × (4.16 − 4) / 16"),
        (pressure(), "200 × √((4.16 − 4) / 16)"),
    ):
        raw = visit(zero=still("0.5", ma="4.16"), meter=meter)
        last = run(raw).workings[-1]
        assert last.put_in == put_in
        hand = eval(put_in.replace("×", "*").replace("−", "-").replace("√", "sqrt"), {"sqrt": sqrt})
        assert float(last.answer.split()[0]) == pytest.approx(hand)


# ---------------------------------------------------------------- not evaluated


@pytest.mark.parametrize(("low", "compared"), [("3.79", True), ("3.80", True), ("3.81", False)])
def test_around_the_smallest_fall(low: str, compared: bool) -> None:
    """100 times 0.003 m: 0.30 m counts, 0.29 m does not."""
    found = check(run(visit(drawn(level_stop=low))))
    assert (found.reason == "") is compared
    if not compared:
        assert found.outcome is Outcome.NOT_EVALUATED
        assert found.quantity is not None
        assert found.reason == (
            "the level fell by 0.29 m only; with u 0.003 m of each level at least 0.3 m are needed: draw "
            "down longer"
        )


@pytest.mark.parametrize(
    ("day", "words"),
    [("2026-03-11", "the calibration of SO was due on 2026-03-11"), ("2026-03-12", ""), ("2026-03-13", "")],
)
def test_around_the_date_of_the_reference(day: str, words: str) -> None:
    raw = visit(rates(QUARTER, QUARTER), reference=STRAP_ON)
    standards = {**STANDARDS, "SO": replace(STANDARDS["SO"], calibration_due=day)}
    assert check(run(raw, given_for(raw, standards=standards))).reason == words


def test_a_tape_past_its_date_too() -> None:
    raw = visit(reference={**TANK, "level_by": "TAPE"})
    late = {**STANDARDS, "TAPE": replace(STANDARDS["TAPE"], calibration_due="2026-03-01")}
    assert check(run(raw, given_for(raw, standards=late))).reason == (
        "the calibration of TAPE was due on 2026-03-01"
    )


def test_the_control_system_is_due_as_found() -> None:
    result = judged(visit(), control_system_tag="FI1101")
    found = check(result, "as_found.control_system")
    assert (found.outcome, found.reason) == (
        Outcome.NOT_EVALUATED,
        "the control system was not read while the reference ran",
    )


def test_a_held_output_is_no_live_value() -> None:
    raw = visit(
        rates(QUARTER, QUARTER, control_system=["50.0"], at="09:30"),
        reference=STRAP_ON,
        output_held={"at": "09:00"},
        output_released={"at": "09:50"},
    )
    found = check(run(raw), "as_found.control_system")
    assert found.reason == "the control system was read at 09:30 while the output was held, so it stood still"


# ---------------------------------------------------------------- refused


def test_a_square_root_of_a_negative_signal() -> None:
    raw = visit(rates(QUARTER, QUARTER, ma="3.95"), reference=STRAP_ON, meter=pressure())
    assert refused(raw).startswith(
        "as_found.ma is 3.95 mA while water flowed. The signal is -0.3125 % of its span, and a negative "
        "signal has no square root"
    )
    magnetic = {**raw, "meter": {"kind": "magnetic"}}
    assert run(magnetic).checks


@pytest.mark.parametrize(
    ("found", "reference", "sentence"),
    [
        (drawn(duration_s="0"), TANK, "As found: In 0 s nothing flows, so a volume gives no flow"),
        (
            drawn(),
            {**TANK, "diameter": "0"},
            "As found: A tank of 0 m diameter has no area, so its level gives no flow",
        ),
        (
            drawn(),
            {"against": TANK["against"], "area_m2": "0", "read_as": TANK["read_as"]},
            "As found: A tank with an area of 0 m2 holds no water",
        ),
        (drawn(), {**TANK, "diameter": None, "standard": "FLAT"}, "As found: A tank of 0 m diameter"),
        (
            drawn(level_stop="4.10"),
            TANK,
            "As found: The level went from 4.10 to 4.10 m and did not fall, so nothing was drawn down",
        ),
        (
            drawn(meter_stop="999.9"),
            TANK,
            "as_found.meter_stop is 999.9 and lies before the start, 1000.0; a total counts up",
        ),
        (rates(["0.0"], QUARTER), STRAP_ON, "As found: The reference gave 0.0"),
        (rates(["-1.0"], QUARTER), STRAP_ON, "As found: The reference gave -1.0"),
        (
            drawn(),
            {**TANK, "diameter": None, "standard": "SO"},
            "SO (strap-on) is in L/s; here stands a tank with its inner diameter as value, in one of "
            "m, cm, mm, ft, in.",
        ),
        (
            drawn(),
            {**TANK, "diameter": None, "standard": "BARE"},
            "BARE (tank without a size) is in m; here stands a tank with its inner diameter as value",
        ),
        (
            rates(QUARTER, QUARTER),
            {**STRAP_ON, "standard": "TANK"},
            "TANK (tank) is in m, worth 12.00; here stands a strap-on meter, in one of m3/h, L/s",
        ),
        (rates(QUARTER, ["20001"]), STRAP_ON, "As found is 20001; FIT-1101 shows -200 to 20000 L/s"),
    ],
)
def test_what_cannot_be_taken_is_said_in_one_sentence(
    found: dict[str, Any], reference: dict[str, Any], sentence: str
) -> None:
    plain = {name: text for name, text in reference.items() if text is not None}
    assert refused(visit(found, reference=plain)).startswith(sentence)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {"measures": "turbidity", "unit": "NTU"},
            "FIT-1101 measures turbidity in NTU; this procedure is for flow in m3/h, L/s, gpm, MGD, m3/s, "
            "L/min, m3/d. Name a flow meter, or correct measures and unit in analyzers.toml.",
        ),
        ({"unit": "psi"}, "FIT-1101 measures raw flow in psi; this procedure is for flow in"),
        ({"high": Decimal(0)}, "The flow at 20 mA is 0 L/s; it is more than 0. Correct high in"),
    ],
)
def test_an_analyzer_it_is_not_for(changes: dict[str, Any], sentence: str) -> None:
    raw = visit()
    assert refused(raw, given_for(raw, analyzer(**changes))).startswith(sentence)


@pytest.mark.parametrize(
    ("meter", "sentence"),
    [
        ({"full_scale": "0"}, "The flow at 20 mA is 0 L/s; it is more than 0. Type it as its menu"),
        ({"cut_off": "200"}, "The low-flow cut is 200 L/s; it lies from 0 to below 200."),
        ({"cut_off": "-1"}, "The low-flow cut is -1 L/s; it lies from 0 to below 200."),
    ],
)
def test_a_meter_that_cannot_be(meter: dict[str, str], sentence: str) -> None:
    assert refused(visit(meter={"kind": "magnetic", **meter})).startswith(sentence)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"reference": {**TANK, "standard": "TANK"}},
            "reference needs one thing that says how wide the tank is: standard (its id), diameter or "
            "area_m2; it has 2.",
        ),
        (
            {"reference": {"against": "strap-on meter", "read_as": "rates"}, "as_found": rates(["5"], ["5"])},
            "reference.standard names the strap-on meter by its id; a tank is none.",
        ),
        (
            {"as_found": drawn(level_stop=None)},
            "as_found.level_stop is missing; the meter is read as totals in m3 and compared with tank "
            "draw-down, levels in m.",
        ),
        (
            {"as_found": drawn(rates=["5"])},
            "as_found.rates does not belong to tank draw-down, levels in m and totals in m3; take it out, or "
            "correct reference.",
        ),
        (
            {"meter": {"kind": "differential pressure"}},
            "meter.root belongs to a differential pressure, and each of these needs it",
        ),
        (
            {"meter": {"kind": "magnetic", "root": "nowhere"}},
            "meter.root belongs to a differential pressure, and each of these needs it",
        ),
        (
            {
                "decision": {"action": "zero", "why": "drifted"},
                "adjusted": {"what": "zero", "setting_from": "0", "setting_to": "1", "at": "09:00"},
            },
            "it was adjusted and as_left is missing; enter the comparison as left",
        ),
        ({"decision": {"action": "zero", "why": "drifted"}}, "the decision is zero and adjusted is missing"),
    ],
)
def test_a_sheet_that_does_not_fit_together(change: dict[str, Any], sentence: str) -> None:
    assert sentence in not_taken({**visit(), **change})


# ---------------------------------------------------------------- brake


def adjusting(action: str, found: dict[str, Any] | None = None, **more: Any) -> dict[str, Any]:
    plain = {
        "decision": {"action": action, "why": "outside"},
        "adjusted": {"what": action, "setting_from": "1", "setting_to": "2", "at": "09:20"},
        "as_left": {"not_done": "a test"},
    }
    return visit(found, **{**plain, **more})


WAYS = (
    "Nothing is adjusted to that. Ways on: compare again and enter it; or leave it alone and take adjusted "
    'out; or write decision.despite = "..." with your reason to go on.'
)


@pytest.mark.parametrize(
    ("raw", "reason"),
    [
        (lambda: adjusting("zero"), "A new zero needs the meter at standstill; it was not read."),
        (
            lambda: adjusting("span", drawn(level_stop="3.81")),
            "A new span needs a comparison that counts; the level fell by 0.29 m only; with u 0.003 m of "
            "each level at least 0.3 m are needed: draw down longer.",
        ),
        (
            lambda: adjusting("root extraction", {"not_done": "tank in use"}),
            "A new root extraction needs a comparison; none was made.",
        ),
        (lambda: adjusting("zero", zero=still("2.0")), ""),
        (lambda: adjusting("span"), ""),
    ],
)
def test_nothing_is_adjusted_to_what_does_not_count(raw: Any, reason: str) -> None:
    if not reason:
        assert run(raw()).checks
        return
    assert refused(raw()) == f"{reason} {WAYS}"
    decided = {**raw()["decision"], "despite": "the plant waits"}
    goes_on = run({**raw(), "decision": decided})
    assert f"Goes on in spite of a brake ({reason}): the plant waits" in told(goes_on, "opinion")


@pytest.mark.parametrize(
    ("meter", "words"),
    [
        ({"kind": "magnetic"}, "electrodes and earth rings are clean and connected"),
        (pressure(), "the equalizing valve is open and both impulse lines are full of water"),
        (None, "the valves are tight and the pipe is full."),
    ],
)
def test_flow_at_standstill_says_where_to_look_first(meter: dict[str, str] | None, words: str) -> None:
    raw = visit(zero=still("2.0"), **({"meter": meter} if meter else {}))
    assert words in told(run(raw), "advice")
    assert "look first" not in told(run({**raw, "zero": still("0.2")}), "advice")


@pytest.mark.parametrize(
    ("shown", "cut", "outcome", "reason"),
    [
        ("0", "0", Outcome.PASS, ""),
        ("0.0", "1.0", Outcome.PASS, ""),  # what is hidden lies within the limit of 1 L/s, at most on it
        ("0.0", "1.1", Outcome.NOT_EVALUATED, "cut of 1.1 L/s hides a zero that may lie outside"),
        ("0.0", None, Outcome.NOT_EVALUATED, "the low-flow cut is not known"),
        ("0.2", "5", Outcome.PASS, ""),  # shown, so not cut
        ("2.0", None, Outcome.FAIL, ""),
    ],
)
def test_a_shown_zero_is_a_pass_only_where_nothing_larger_is_cut(
    shown: str, cut: str | None, outcome: Outcome, reason: str
) -> None:
    meter = {"kind": "magnetic", **({"cut_off": cut} if cut else {})}
    check = next(c for c in run(visit(zero=still(shown), meter=meter)).checks if c.key == "as_found.zero")
    assert check.outcome is outcome
    assert reason in check.reason


def test_what_failed_as_found_is_no_pass_as_left_by_what_else_was_read() -> None:
    raw = visit(zero=still("2.0"), as_left=drawn())
    result = run(raw)
    again = next(check for check in result.checks if check.key == "as_left.zero")
    assert (again.outcome, again.reason) == (Outcome.NOT_EVALUATED, "failed as found and was not read again")
    assert result.outcome("as_left") is not Outcome.PASS
    read = run({**raw, "zero_left": still("0.2")})
    assert read.outcome("as_left") is Outcome.PASS
    assert "as_left.zero" not in [check.key for check in run(visit(zero=still("2.0"))).checks]


# ---------------------------------------------------------------- what is said


def test_the_demo_says_where_the_second_root_is_and_that_it_is_a_candidate() -> None:
    result = demo()
    assert result.outcome("as_found") is Outcome.PASS
    assert result.outcome("as_found", "control system") is Outcome.FAIL
    assert result.outcome("as_left", "control system") is Outcome.PASS
    said = told(result, "statement")
    assert "candidate: the square root is taken once too often between the meter and the control" in said
    assert "8.04 mA is 25.2 % of its span" in said
    assert "leave it alone" not in told(result, "advice")
    assert "It failed as found: earlier values are in doubt" in told(result, "advice")


def test_rates_and_a_missing_date_are_said() -> None:
    raw = visit(rates(QUARTER, QUARTER), reference=STRAP_ON)
    standards = {**STANDARDS, "SO": replace(STANDARDS["SO"], calibration_due="")}
    text = told(run(raw, given_for(raw, standards=standards)), "caution")
    assert "an average of some rates is less sure than a total" in text
    assert "standards_on_hand.toml holds no calibration date for SO." in text
    assert "average of some rates" not in told(run(visit()), "caution")


@pytest.mark.parametrize(
    ("found", "reference", "words"),
    [
        (drawn(), TANK, "A wrong diameter of the tank"),
        (rates(QUARTER, QUARTER), STRAP_ON, "A pipe that is not full or a wrong wall thickness"),
    ],
)
def test_what_it_cannot_see(found: dict[str, Any], reference: dict[str, Any], words: str) -> None:
    text = told(run(visit(found, reference=reference)), "cannot see")
    assert words in text
    assert "Errors at other flows: one flow was compared." in text


def test_not_done_has_its_reason() -> None:
    found = check(run(visit({"not_done": "the tank was in use"})))
    assert (found.outcome, found.reason) == (Outcome.NOT_EVALUATED, "not done: the tank was in use")


def test_standing_still_while_nothing_was_held_is_said() -> None:
    assert "neither output held nor loop in manual is entered" in told(
        run(visit(zero=still("0.0"))), "caution"
    )
    assert "neither output held" not in told(run(visit()), "caution")


@pytest.mark.parametrize("end", ["low", "high"])
@pytest.mark.parametrize("name", sorted(FLOW.settings))
def test_every_lowest_and_highest_setting_gives_a_result(name: str, end: str) -> None:
    settings = {name: getattr(FLOW.settings[name], end)}
    for raw in (visit(), visit(rates(QUARTER, QUARTER), reference=STRAP_ON)):
        assert run(raw, given_for(raw, analyzer(settings=settings))).checks


# ---------------------------------------------------------------- beside the questions


def beside(name: str, path: str, raw: dict[str, Any], a: Analyzer | None = None) -> list[str]:
    return list(FLOW.beside[name](raw, path, given_for(visit(), a)).lines)


def test_beside_the_levels_stands_the_reference_so_far() -> None:
    """V24: 50.2655 L/s, cut to four figures; 5 % of it is 47.75 to 52.77."""
    assert beside("level", "as_found.level_stop", visit()) == ["the reference gives 50.26 L/s"]
    assert beside("meter", "as_found.meter_stop", visit()) == [
        "the reference gives 50.26 L/s",
        "allowed: 47.75 to 52.77 L/s",
        "error so far: +1.57 %",
    ]
    started = visit(drawn(level_stop=None, meter_stop=None))
    assert beside("level", "as_found.level_stop", started) == []


def test_beside_a_current_stands_what_it_means() -> None:
    """8 mA: a quarter of the span, whose root is a half."""
    raw = visit(drawn(ma="8.00"))
    assert beside("current", "as_found.ma", raw) == ["8.00 mA: 25.0 % without a root, 50.0 % with one"]
    assert beside("current", "as_found.ma", visit(drawn(ma="3.90"))) == []


def test_beside_the_zero_stands_what_is_allowed_and_what_the_cut_hides() -> None:
    raw = visit(zero=still("0.5"), meter={"kind": "magnetic", "cut_off": "2.0"})
    assert beside("zero", "zero.readings", raw) == [
        "allowed: -1 to 1 L/s",
        "the low-flow cut hides what lies below 2.0 L/s",
        "error of the last reading: +0.5 L/s",
    ]


def test_beside_a_current_at_standstill_stands_the_flow_it_is() -> None:
    raw = visit(zero=still("0.5", ma="4.16"), meter=pressure())
    assert beside("zero_current", "zero.ma", raw) == ["4.16 mA stands for 20 L/s", "allowed: -1 to 1 L/s"]
    raw = visit(zero=still("0.5", ma="3.9"), meter=pressure())
    assert "negative signal has no square root" in " ".join(beside("zero_current", "zero.ma", raw))
    assert beside("zero_current", "zero.ma", visit(zero=still("0.5"))) == ["allowed: -1 to 1 L/s"]


def test_beside_the_decision_stands_leave_it_alone_or_what_would_explain_it() -> None:
    assert beside("decision", "decision.action", visit()) == ["inside the tolerance: leave it alone"]
    twice = visit(rates(QUARTER, ["100.0", "100.1", "99.9"]), reference=STRAP_ON, meter=pressure())
    lines = " ".join(beside("decision", "decision.action", twice))
    assert "outside: error at the analyzer 100.000 %, allowed -5 to 5" in lines
    assert "candidate: the square root is taken once too often up to the meter" in lines


# ---------------------------------------------------------------- stepped through


def at_ellodale() -> dict[str, Any]:
    """The demo visit as on paper at the demo plant of the tests, whose people and serials are others."""
    from wqverify.records.workbook import demo_case

    sheet = demo_case("flow_check")["sheet"]
    paper = {"by": "T-11", "at": "2026-06-01 09:00", "kept_at": "binder 3, control room"}
    changed = {"serial_on_plate": "EL-0108", "performed_by": "T-07", "date": "2026-05-12"}
    cause = {**sheet["cause"], "author": "T-07"}
    return {**sheet, **changed, "copied_from_paper": paper, "cause": cause}


def test_it_can_be_stepped_through_to_its_own_sheet(tmp_path: Path) -> None:
    sheet = at_ellodale()
    make_plant(tmp_path / "ellodale", MONTH)
    now = datetime(2026, 6, 1, 14, 5, tzinfo=UTC)
    desk = open_desk(
        tmp_path / "ellodale", procedure="flow_check", tag="FIT-1101", paper=True, clock=lambda: now
    )
    step_to(desk, sheet)
    assert desk.visit is not None
    assert answered(tomllib.loads(desk.visit.sheet.read_text("utf-8"))) == sheet
    desk.close()
