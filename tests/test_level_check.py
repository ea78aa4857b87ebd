"""Level check: outside values, four tests around each limit, the two ends of a signal, and what is refused.

Outside values: V23 of the project's measurement models (datum 41.25 ft, ullage 17.62, shown 23.8: +0.17 ft, u
0.05393, nu 59, U 0.110; better case u 0.02972, nu 5, U 0.0787; slope from 8.15 and 31.85 ft u 0.0026,
correlation 0.31; 48.95 kPa 5.000 m, u 0.0029), each computed there with GTC 1.5.1 and central differences;
W31 of its practice checks (1 kPa at 20 C is 0.1022 m); NAMUR NE 43 (3.8 to 20.5 mA); GTC here as a second
library for the demo visit. Real input: a level logger with m and mA side by side (KWB-R/kwb.logger, MIT).
"""

from __future__ import annotations

import copy
import csv
import json
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from math import sqrt
from pathlib import Path
from typing import Any

import GTC
import numpy as np
import pytest
from gtc import same_as_central_difference
from one_procedure import Of, told, value
from plant_example import MONTH
from scipy.special import ndtri
from scipy.stats import qmc
from step_driver import acts_to

from wqverify.calculations.level import apparent_range, level_of_pressure, straight_line
from wqverify.calculations.uncertainty import correlation, propagate
from wqverify.calculations.units import convert
from wqverify.calculations.water_density import water_density
from wqverify.demo.ellodale import make_plant
from wqverify.desk import open_desk
from wqverify.entry.screen import Act
from wqverify.procedures import PROCEDURES
from wqverify.procedures.level_budget import key_of, sizes_of
from wqverify.procedures.level_lines import lines_of
from wqverify.procedures.level_parts import FOR_CURRENT, FOR_LEVEL, Levels
from wqverify.procedures.level_rules import found_of
from wqverify.procedures.sheets import parse
from wqverify.procedures.walk import answered, questions
from wqverify.records.canonical import given_from
from wqverify.records.record import case_from, compute
from wqverify.records.workbook import demo_case
from wqverify.shipped import shipped_folder
from wqverify.terms import Analyzer, Given, Outcome, Result, Standard, Tolerance

LEVEL = PROCEDURES["level_check"]
DEMO = shipped_folder("demo_runs") / "level_check"
GIVEN: Given = given_from(json.loads((DEMO / "given.json").read_text("utf-8")))
OWN_TANK = {"not_done": "the tank is ours"}
R3, R12 = sqrt(3), sqrt(12)


# ---------------------------------------------------------------- cases


def allowed(size: str, unit: str = "ft", **more: Any) -> Tolerance:
    plain = {"rule": "simple", "basis": "local", "source": "invented"}
    return Tolerance(unit=unit, low=-Decimal(size), high=Decimal(size), **{**plain, **more})


def analyzer(**changes: Any) -> Analyzer:
    plain = {
        "control_system_tag": "",
        "tolerances": {"error": allowed("0.2"), "control_system": allowed("0.3")},
        "settings": {"mark_elevation": "41.25"},
    }
    return replace(GIVEN.analyzer, **{**plain, **changes})


def in_metres(**changes: Any) -> Analyzer:
    hops = tuple(replace(hop, unit="m", high=Decimal(10)) for hop in GIVEN.analyzer.hops)
    plain = {
        "unit": "m",
        "high": Decimal(10),
        "hops": hops,
        "tolerances": {"error": allowed("0.06", "m")},
        "settings": {"gauge_elevation": "0"},
    }
    return analyzer(**{**plain, **changes})


STANDARDS = {
    "TP-1": Standard("TP-1", "tape", "tape", "1", "ft", calibration_due="2026-06-30"),
    "GA-2": Standard("GA-2", "gauge", "test gauge", "2", "kPa", expanded=Decimal("0.04"), k=Decimal(2)),
    "LC-4": Standard("LC-4", "calibrator", "calibrator", "4", "mA", calibration_due="2026-06-30"),
    "DM-7": Standard("DM-7", "multimeter", "multimeter", "7", "mA", expanded=Decimal("0.02"), k=Decimal(2)),
}


def point(display: str = "23.8", *tape: str, **more: Any) -> dict[str, Any]:
    plain = {"by": "tape", "instrument": "TP-1", "reference": list(tape) or ["17.62"]}
    return {**plain, **({"display": display} if display else {}), **more}


def injected(ma: str, **shown: str) -> dict[str, Any]:
    return {"by": "injected current", "instrument": "LC-4", "reference": [f"{ma} mA"], **shown}


def visit(*points: dict[str, Any], found: dict[str, Any] | None = None, **more: Any) -> dict[str, Any]:
    """The shortest sheet: one level by tape against the transmitter."""
    return {
        "procedure": "level_check",
        "tag": "LIT-3101",
        "serial_on_plate": "LT-88213",
        "reason": "routine",
        "performed_by": "IQU",
        "date": "2026-03-12",
        "started": "09:05",
        "cautions": {"read": "yes"},
        "operations_told": {"who": "W. Abernathy"},
        "permission": OWN_TANK,
        "as_found": {"points": list(points) or [point()], **(found or {})},
        "status": {"state": "in service"},
        **more,
    }


of_them = Of(LEVEL, GIVEN, analyzer, STANDARDS, "as_found.level_1.display")
given_for, run, check, quantity = of_them.given_for, of_them.run, of_them.check, of_them.quantity
refused, not_taken = of_them.refused, of_them.not_taken
# The waves of V23: s 0.04 ft, n 3, about the same mean.
WAVES = ("17.58", "17.62", "17.66")


def demo() -> Result:
    return compute(case_from(demo_case("level_check")))


# ---------------------------------------------------------------- V23


def test_v23_the_error_against_a_tape() -> None:
    found = quantity(run(visit(point("23.8", *WAVES))))
    assert found.text == "0.17"
    assert abs((found.u or 0) - 0.05393) <= 0.000005 * 1.001
    assert found.dof == 59
    assert round((found.u or 0) * (found.k or 0), 3) == 0.110
    assert found.expanded == "0.12"  # 0.1102 rounded up


def test_v23_better_case() -> None:
    """Digit 0.01 ft, read within 0.5 min, datum within 0.02 ft: u 0.02972, nu 5, U 0.0787."""
    settings = {"mark_elevation": "41.25", "level_moment_min": "0.5", "level_datum": "0.02"}
    raw = visit(point("23.80", *WAVES))
    found = quantity(run(raw, given_for(raw, analyzer(settings=settings))))
    assert abs((found.u or 0) - 0.02972) <= 0.000005 * 1.001
    assert found.dof == 5
    assert found.expanded == "0.079"  # 0.0787 rounded up


def test_in_a_slope_mark_and_tape_cancel() -> None:
    """From 8.15 and 31.85 ft: u of the slope 0.0026, correlation of the errors 0.31; there without plumb."""
    low = point("8.3", *(f"{33.10 + d:.2f}" for d in (-0.04, 0, 0.04)))
    high = point("31.9", *(f"{9.40 + d:.2f}" for d in (-0.04, 0, 0.04)))
    raw = visit(low, high)
    settings = {"mark_elevation": "41.25", "level_plumb": "0"}
    result = run(raw, given_for(raw, analyzer(settings=settings)))
    slope = value(result, "line.display.reference.slope").quantity
    assert slope.value == pytest.approx((31.9 - 8.3) / (31.85 - 8.15))
    assert round(slope.u or 0, 4) == 0.0026
    causes = {line.cause for line in slope.budget}
    assert not causes & {"elevation of the mark", "instrument:TP-1", "tape not plumb"}
    errors = [quantity(result, f"as_found.level_{n}.display") for n in (1, 2)]
    assert round(correlation(*errors), 2) == 0.31


def test_48_95_kpa_are_five_metres() -> None:
    """48.95 (0.02) kPa at 20 C, rho (0.29), g (0.0029): 5.000 m, u 0.0029, besides the gauge's own height."""
    gauge = {"by": "gauge", "instrument": "GA-2", "reference": ["48.95 kPa"], "display": "5.00"}
    settings = {"gauge_elevation": "0", "level_datum": "0", "level_water_c": "0"}
    raw = visit(gauge, found={"water_c": "20.0"})
    result = run(raw, given_for(raw, in_metres(settings=settings)))
    found = value(result, "as_found.level_1.reference").quantity
    assert round(found.value, 3) == 5.0
    assert round(sqrt((found.u or 0) ** 2 - (0.01 / R12 / 9.789) ** 2), 4) == 0.0029  # without its last digit
    assert value(result, "water.density").quantity.text == "998.21"


# ---------------------------------------------------------------- the demo visit again, by GTC


def test_the_demo_visit_again_by_gtc() -> None:
    result = demo()
    datum, plumb, tape = (GTC.ureal(0, a / R3) for a in (0.05, 0.02, 0.01))
    calibrator, meter = GTC.ureal(0, 0.004 / 2), GTC.ureal(0, 0.02 / R3)
    digit = 0.1 / R12

    def level(mean: float, of: float, s: float, n: int) -> Any:
        read, waves = GTC.ureal(0, of / R12), GTC.ureal(0, s / sqrt(n), n - 1)
        return 41.25 + datum - (mean + read + tape + plumb + waves)

    moved = [0.02 * GTC.ureal(0, 2 / R3) for _ in range(2)]
    found = level(17.62, 0.01, 0.02, 3)
    metres = [float(convert(Decimal(text), "m", "ft")) for text in ("5.364", "5.370")]
    # converted to three places beyond the last one typed
    metres = [round(one, 6) for one in metres]
    left = level(sum(metres) / 2, 0.001 / 0.3048, float(np.std(metres, ddof=1)), 2)
    expected = {
        "as_found.level_1.display": 23.8 + GTC.ureal(0, digit) - found - moved[0],
        "as_found.level_1.own": 20.8 + GTC.ureal(0, digit) - found - moved[0],
        "as_found.level_1.current": (13.52 + GTC.ureal(0, 0.01 / R12) + meter - 4) * 2.5 - found - moved[0],
        "as_left.level_1.display": 23.8 + GTC.ureal(0, digit) - left - moved[1],
    }
    read = {ma: ma + GTC.ureal(0, 0.01 / R12) + calibrator for ma in (6.0, 18.0)}
    shown = {ma: own + GTC.ureal(0, digit) for ma, own in ((6.0, 4.4), (18.0, 30.6))}
    expected["as_found.second_2.own"] = shown[18.0] - (read[18.0] - 4) * 2.5
    for key, theirs in expected.items():
        ours = quantity(result, key)
        assert (ours.value, ours.u) == (pytest.approx(theirs.x), pytest.approx(theirs.u, rel=1e-9)), key
        assert ours.dof == (None if theirs.df > 1e6 else int(theirs.df + 1e-9)), key


def test_a_line_by_gtc() -> None:
    """Two currents injected: slope, and the range the far end is scaled to."""
    raw = visit(second={"points": [injected("6.00", own="4.4"), injected("18.00", own="30.6")]})
    result = run(raw)
    source, digit = GTC.ureal(0, 0.005 / R3), 0.1 / R12
    x = [(ma + GTC.ureal(0, 0.01 / R12) + source - 4) * 2.5 for ma in (6.0, 18.0)]
    y = [own + GTC.ureal(0, digit) for own in (4.4, 30.6)]
    b = (y[1] - y[0]) / (x[1] - x[0])
    for name, theirs in (("slope", b), ("zero", y[0] - b * x[0]), ("20", y[0] - b * x[0] + 40 * b)):
        ours = value(result, f"line.own.current.{name}").quantity
        assert (ours.value, ours.u) == (pytest.approx(theirs.x), pytest.approx(theirs.u, rel=1e-9)), name


def by_gauge() -> tuple[dict[str, Any], Given]:
    gauge = {"by": "gauge", "instrument": "GA-2", "reference": ["48.95 kPa"], "display": "5.00", "own": "4.9"}
    high = {**gauge, "reference": ["78.30 kPa"], "display": "8.02", "own": "7.8"}
    raw = visit(gauge, high, found={"water_c": "12.0"})
    return raw, given_for(raw, in_metres())


def model_of(raw: dict[str, Any], given: Given) -> tuple[Any, Any]:
    """The model of a visit with its inputs: errors at each place, and the slope of the transmitter."""
    found = found_of(parse(LEVEL, raw), given)
    budget = found.budget

    def model(v: Mapping[str, Any]) -> dict[str, Any]:
        out = {
            key_of(one, place): budget.error(one, place, v)
            for one in found.points
            for place in budget.places(one)
        }
        x = [budget.reference(one, v) for one in found.points]
        y = [budget.at_reference(one, "display", v) for one in found.points]
        return {**out, "slope": straight_line(x, y)[0]}

    return model, budget.x


def test_the_model_by_central_difference() -> None:
    for raw, given in (by_gauge(), (visit(point(), point("31.9", "9.40")), None)):
        model, inputs = model_of(raw, given or given_for(raw))
        units = dict.fromkeys(model({cause: one.value for cause, one in inputs.items()}), "1")
        same_as_central_difference(model, inputs, propagate(model, inputs, units))


def test_first_order_is_enough_for_a_pressure_and_a_slope() -> None:
    """By a Sobol sequence of 2^13 points through the same equations, without any derivative."""
    raw, given = by_gauge()
    model, inputs = model_of(raw, given)
    units = dict.fromkeys(model({cause: one.value for cause, one in inputs.items()}), "1")
    points = qmc.Sobol(len(inputs), scramble=False).random_base2(13) + 0.5**14
    drawn = {}
    for (cause, one), q in zip(inputs.items(), points.T, strict=True):
        drawn[cause] = one.value + one.u * (
            (2 * q - 1) * R3 if one.distribution == "rectangular" else ndtri(q)
        )
    marks, gravity, t = drawn["elevation of the gauge"], drawn["gravity"], "temperature of the water:as_found"
    levels = []
    for n in (1, 2):
        kpa = drawn[f"reference read:as_found.level_{n}"] + drawn["instrument:GA-2"]
        density = _tanaka(drawn[f"{t}.level_{n}"]) + drawn["density of this water"]
        levels.append(marks + 1000 * kpa / (density * gravity))
    shown = [drawn[f"read:as_found.level_{n}.display"] for n in (1, 2)]
    moved = [0.006 * drawn[f"moment:as_found.level_{n}"] for n in (1, 2)]
    simulated = {
        "as_found.level_1.display": shown[0] - levels[0] - moved[0],
        "slope": (shown[1] - shown[0] - moved[1] + moved[0]) / (levels[1] - levels[0]),
    }
    found = propagate(model, inputs, units)
    for name, draws in simulated.items():
        assert np.std(draws) == pytest.approx(found[name].u, rel=5e-3), name
        assert np.mean(draws) == pytest.approx(found[name].value, abs=0.05 * (found[name].u or 0)), name


def _tanaka(t: Any) -> Any:
    return 999.974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


# ---------------------------------------------------------------- tolerances


@pytest.mark.parametrize(
    ("shown", "outcome"),
    [("23.82", "pass"), ("23.83", "pass"), ("23.84", "fail"), ("23.43", "pass"), ("23.42", "fail")],
)
def test_around_the_tolerance_of_the_transmitter(shown: str, outcome: str) -> None:
    """23.63 ft by tape, within 0.2 ft, in decimals."""
    assert check(run(visit(point(shown)))).outcome == outcome


@pytest.mark.parametrize("place", ["remote", "own"])
@pytest.mark.parametrize(("shown", "outcome"), [("23.92", "pass"), ("23.93", "pass"), ("23.94", "fail")])
def test_around_the_tolerance_of_the_far_ends(place: str, shown: str, outcome: str) -> None:
    found = check(run(visit(point(**{place: shown}))), f"as_found.level_1.{place}")
    assert (found.outcome, found.place) == (outcome, "control system")


def test_the_far_ends_take_the_transmitters_tolerance_where_they_have_none() -> None:
    raw = visit(point(own="23.94"))
    result = run(raw, given_for(raw, analyzer(tolerances={"error": allowed("0.4")})))
    assert check(result, "as_found.level_1.own").outcome is Outcome.PASS


def test_without_a_tolerance_nothing_is_judged() -> None:
    raw = visit()
    found = check(run(raw, given_for(raw, analyzer(tolerances={}))))
    assert found.reason.startswith("the register holds no tolerance for this")


@pytest.mark.parametrize(
    ("shown", "outcome"),
    [
        ("23.83", "pass"),
        ("23.84", "too close to decide"),
        ("24.02", "too close to decide"),
        ("24.03", "fail"),
    ],
)
def test_a_guarded_tolerance_is_less_by_u(shown: str, outcome: str) -> None:
    """Tolerance 0.3 ft; U 0.092 for one reading to 0.01 ft: pass up to 0.208, fail beyond 0.392."""
    raw = visit(point(shown))
    wide = analyzer(tolerances={"error": allowed("0.3", rule="guarded")})
    found = check(run(raw, given_for(raw, wide)))
    assert found.quantity is not None
    assert found.quantity.expanded == "0.092"
    assert found.outcome == outcome


def test_the_control_system_is_due_as_found() -> None:
    raw = visit()
    result = run(raw, given_for(raw, analyzer(control_system_tag="LI3101_LVL")))
    found = check(result, "as_found.level_1.own")
    assert found.reason == "the control system was not read together with the level"


def test_not_done_is_not_evaluated_with_its_reason() -> None:
    result = run({**visit(), "as_found": {"not_done": "hatch frozen shut"}})
    assert check(result, "as_found.level").reason == "not done: hatch frozen shut"


# ---------------------------------------------------------------- units


def test_what_is_typed_in_another_unit_is_judged_in_the_analyzers() -> None:
    """17.62 ft are 5.370576 m; 7.25 m are 23.78609 ft: 0.15609 ft above 23.63."""
    found = check(run(visit(point("7.25 m"))))
    assert (found.observed, found.quantity and found.quantity.text) == ("23.78609", "0.1561")
    tape = check(run(visit(point("23.8", "211.44 in"))))
    assert (tape.reference, tape.quantity and tape.quantity.text) == ("23.63", "0.1700")
    raw = visit(point("7.20", "17.62 ft"))
    metres = in_metres(settings={"mark_elevation": "12.573"})  # 41.25 ft
    found = check(run(raw, given_for(raw, metres)))
    assert (found.reference, found.quantity and found.quantity.text) == ("7.2024", "-0.0024")


@pytest.mark.parametrize(
    ("raw", "sentence"),
    [
        (
            visit(point("10.4 psi")),
            "as_found.points.0.display is 10.4 psi, and a value in ft is typed in m, cm, mm, ft or in; type "
            "it "
            "in one of these, or without a unit where it is in ft.",
        ),
        (
            visit(point("23.8", "17.62 gpm")),
            "as_found.points.0.reference.0 is 17.62 gpm, and a value in ft is typed in m, cm, mm, ft or in; "
            "type it in one of these, or without a unit where it is in ft.",
        ),
        (
            visit(found={"water_c": "48 ft"}),
            "as_found.water_c is 48 ft, and a value in degC is typed in degC or degF; type it in one of "
            "these, "
            "or without a unit where it is in degC.",
        ),
        (
            visit(datum={"mark": "41.25 psi"}),
            "datum.mark is 41.25 psi, and a value in ft is typed in m, cm, mm, ft or in; type it in one of "
            "these, or without a unit where it is in ft.",
        ),
        (
            visit(ranges={"own": "0 to 40 gpm"}),
            "ranges.own is 0 gpm, and a value in ft is typed in m, cm, mm, ft or in; type it in one of "
            "these, "
            "or without a unit where it is in ft.",
        ),
    ],
)
def test_a_unit_that_does_not_fit_is_refused(raw: dict[str, Any], sentence: str) -> None:
    assert refused(raw) == sentence


def test_the_sizes_are_those_of_the_unit() -> None:
    sizes = {unit: {name: one[0] for name, one in sizes_of(unit).items()} for unit in ("ft", "in", "m", "cm")}
    assert sizes["ft"]["level_datum"] == "0.05"
    assert sizes["in"]["level_datum"] == "0.6"
    assert sizes["m"]["level_datum"] == "0.015"
    assert sizes["cm"]["level_datum"] == "1.5"
    assert sizes["m"]["level_meter_ma"] == sizes["ft"]["level_meter_ma"] == "0.02"


# ---------------------------------------------------------------- references


def test_a_sight_tube_counts_from_the_zero_of_its_scale() -> None:
    tube = {"by": "sight tube", "instrument": "TP-1", "reference": ["21.50"], "display": "23.6"}
    raw = visit(tube, datum={"gauge": "2.10", "zero": "0.05", "source": "drawing B-7"})
    found = check(run(raw))
    assert (found.reference, found.quantity and found.quantity.text) == ("23.55", "0.05")
    assert "Elevations: mark 41.25, gauge 2.10, zero 0.05 ft; from drawing B-7." in told(
        run(raw), "statement"
    )


def test_a_gauge_in_psi_gives_a_level_by_the_density_of_the_water() -> None:
    """10.20 psi are 70.3265 kPa; at 48.2 degF, 9 C, 999.7839 kg/m3: 7.1729 m, 23.533 ft (iapws alike)."""
    gauge = {"by": "gauge", "instrument": "GA-2", "reference": ["10.20 psi"], "display": "23.6"}
    raw = visit(gauge, found={"water_c": "48.2 degF"}, datum={"gauge": "0.00"})
    result = run(raw)
    found = value(result, "as_found.level_1.reference").quantity
    assert found.value == pytest.approx(10.20 * 6.894757293168 / (0.9997839 * 9.80665) / 0.3048, rel=1e-6)
    assert check(result).reference == found.text
    assert check(result).outcome is Outcome.PASS


def test_a_pressure_without_the_temperature_of_the_water_gives_no_level() -> None:
    gauge = {"by": "gauge", "instrument": "GA-2", "reference": ["10.20 psi"], "display": "23.6"}
    found = check(run(visit(gauge, datum={"gauge": "0.00"})))
    assert found.reason == "the temperature of the water was not taken, so a pressure gives no level"


@pytest.mark.parametrize(("by", "what"), [("tape", "mark"), ("gauge", "gauge or scale")])
def test_without_an_elevation_there_is_no_level(by: str, what: str) -> None:
    raw = visit({"by": by, "instrument": "TP-1", "reference": ["17.62"], "display": "23.8"})
    found = check(run(raw, given_for(raw, analyzer(settings={}))))
    assert found.reason == (f"the elevation of the {what} stands neither in the register nor under datum")


@pytest.mark.parametrize(
    ("day", "words"),
    [("2026-03-11", "the calibration of TP-1 was due on 2026-03-11"), ("2026-03-12", ""), ("2026-03-13", "")],
)
def test_around_the_date_of_the_tape(day: str, words: str) -> None:
    raw = visit(point(at="09:20"))
    standards = {**STANDARDS, "TP-1": replace(STANDARDS["TP-1"], calibration_due=day)}
    assert check(run(raw, given_for(raw, standards=standards))).reason == words


@pytest.mark.parametrize(
    ("read_at", "rise", "words"),
    [
        ("09:21", "", ""),
        ("09:22", "", ""),
        (
            "09:23",
            "",
            "the places were read 3 min from the reference, more than 2 min, and how fast the level moved in "
            "a minute is not entered",
        ),
        ("09:23", "0.02", ""),
        ("", "", ""),
    ],
)
def test_around_the_moment(read_at: str, rise: str, words: str) -> None:
    times = {"at": "09:20", **({"read_at": read_at} if read_at else {})}
    found = check(run(visit(point(**times), found={"rise": rise} if rise else {})))
    assert found.reason == words


def test_what_the_level_moved_in_between_is_no_error() -> None:
    """Rising 0.03 ft/min, read 5 min later: 0.17 less 0.15."""
    found = quantity(run(visit(point(at="09:20", read_at="09:25"), found={"rise": "0.03"})))
    assert found.text == "0.02"
    assert next(line.u for line in found.budget if line.cause.startswith("moment")) == pytest.approx(2 / R3)


def test_still_water_has_no_moment() -> None:
    found = quantity(run(visit(found={"rise": "0.00"})))
    assert not [line for line in found.budget if line.cause.startswith("moment")]


# ---------------------------------------------------------------- currents


@pytest.mark.parametrize(
    ("ma", "evaluated"), [("3.79", False), ("3.80", True), ("20.50", True), ("20.51", False)]
)
def test_around_the_measuring_values_of_ne_43(ma: str, evaluated: bool) -> None:
    raw = visit(second={"points": [injected(ma, own="20.0")]})
    found = check(run(raw), "as_found.second_1.own")
    words = f"a current of {ma} mA is no measuring value (NAMUR NE 43: 3.8 to 20.5 mA)"
    assert found.reason == ("" if evaluated else words)
    measured = check(run(visit(point(ma=ma))), "as_found.level_1.current")
    assert measured.reason == ("" if evaluated else words)


def test_a_current_stands_for_a_level_by_the_range_of_the_transmitter() -> None:
    """13.52 mA on 0 to 40 ft are 23.8 ft; on 0 to 12.2 m, 7.259 m."""
    found = check(run(visit(point(ma="13.52"))), "as_found.level_1.current")
    assert (found.observed, found.quantity and found.quantity.text) == ("23.8", "0.17")
    raw = visit(point(ma="13.52"), ranges={"transmitter": "0 to 12.2 m"})
    other = check(run(raw), "as_found.level_1.current")
    assert float(other.observed) == pytest.approx(12.2 / 0.3048 * 9.52 / 16, abs=1e-4)


def test_without_the_range_of_the_transmitter_a_current_is_no_level() -> None:
    raw = visit(point(ma="13.52"), second={"points": [injected("12.00", own="20.0")]})
    result = run(raw, given_for(raw, analyzer(hops=())))
    for key in ("as_found.level_1.current", "as_found.second_1.own"):
        assert check(result, key).reason.startswith("the range of the transmitter is known neither from the")
    assert check(result).outcome is Outcome.PASS


def test_the_instrument_for_the_current_counts_with_its_certificate() -> None:
    raw = visit(point(ma="13.52"), found={"meter": "DM-7"})
    line = next(
        one for one in quantity(run(raw), "as_found.level_1.current").budget if one.cause == "instrument:DM-7"
    )
    assert line.contribution == pytest.approx(0.01 * 2.5)


def test_what_was_read_while_the_output_was_held_stood_still() -> None:
    raw = adjusting(as_left={"points": [point(own="23.7", at="10:00", read_at="10:01")]})
    raw["output_held"], raw["output_released"] = {"at": "09:30"}, {"at": "10:05"}
    found = check(run(raw), "as_left.level_1.own")
    assert found.reason == "the control system was read at 10:01 while the output was held, so it stood still"
    raw["output_released"] = {"at": "09:59"}
    assert check(run(raw), "as_left.level_1.own").outcome is Outcome.PASS


# ---------------------------------------------------------------- the two ends of the signal


def far_end(low: str, high: str, **more: Any) -> Result:
    """What our control system shows at 5.00 and 19.00 mA, of a transmitter of 0 to 40 ft."""
    raw = visit(second={"points": [injected("5.00", own=low), injected("19.00", own=high)]}, **more)
    return run(raw)


def test_a_far_end_that_agrees_is_said_to() -> None:
    result = far_end("2.5", "37.5")
    assert "Our control system goes with the transmitter's 0 to 40 ft within U." in told(result, "statement")
    assert "Candidate" not in told(result, "advice")


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        ("2.2", "32.8", "our control system is scaled to 0 to 35 ft, the transmitter to 0 to 40"),
        ("3.1", "46.9", "our control system is scaled to 0 to 50 ft, the transmitter to 0 to 40"),
        ("37.5", "2.5", "the ends of the range of our control system are swapped"),
        ("10.0", "38.0", "our control system takes 0-20 mA for 4-20 mA"),
        ("0.8", "11.4", "our control system shows m and not ft"),
        ("4.6", "39.6", "our control system is shifted by +2.1 ft at every level"),
        ("8.0", "59.8", ""),
    ],
)
def test_what_fits_within_u_is_a_candidate(low: str, high: str, words: str) -> None:
    """0-35: 2.1875 and 32.8125. 0-20 for 4-20: 8 + 32/16 x 1 = 10 and 38. m: 2.5 and 37.5 x 0.3048."""
    advice = told(far_end(low, high), "advice")
    assert "Our control system does not go with the transmitter's 0 to 40 ft" in advice
    assert f"Candidate, not a verdict: {words}" in advice


def test_another_resistor_is_a_candidate() -> None:
    """500 ohm read as 250: 2 V at 4 mA on 1 to 5 V is a quarter of 40 ft, and 2.5 ft per V/0.1."""
    volts = [0.300 * ma for ma in (5.0, 19.0)]  # 300 ohm, 1 to 5 V stand for 0 to 40 ft
    low, high = (f"{(v - 1) / 4 * 40:.1f}" for v in volts)
    advice = told(far_end(low, high), "advice")
    assert "the resistor across the input of our control system is 300" in advice


def test_a_known_range_is_named_with_what_says_so() -> None:
    advice = told(far_end("2.2", "32.8", ranges={"own": "0 to 35 ft"}), "advice")
    assert "is scaled to 0 to 35 ft, as what was read there says" in advice


def test_currents_too_near_to_each_other_tell_nothing() -> None:
    raw = visit(second={"points": [injected("12.00", own="17.5"), injected("12.20", own="17.9")]})
    advice = told(run(raw), "advice")
    assert "The currents lie too near to each other to tell how our control system is scaled" in advice
    assert "Candidate" not in advice


def test_the_demo_finds_the_wrong_range_at_the_far_end() -> None:
    result = demo()
    assert check(result).outcome is Outcome.PASS
    assert check(result, "as_found.level_1.own").outcome is Outcome.FAIL
    assert check(result, "as_left.level_1.own").outcome is Outcome.PASS
    assert (
        "Candidate, not a verdict: our control system is scaled to 0 to 35 ft, the transmitter to 0 to 40"
        in (told(result, "advice"))
    )
    assert result.facts["range_own"].startswith("0.029")
    assert "Remote display goes with the transmitter's 0 to 40 ft within U." in told(result, "statement")


@pytest.mark.parametrize(
    ("tapes", "second", "said"),
    [
        ([], [], "one level alone was read, so a pass holds for that level only and no range was tried"),
        (["17.62"], [], "one level alone was read"),
        (["17.61"], [], "the levels lie so near that they are one"),
        (["13.63"], [], "the levels lie so near that they are one"),
        (["13.62"], [], ""),  # 4.00 ft of 40 apart
        (["13.61"], [], ""),
        ([], ["13.452"], "no range was tried, of the transmitter or of the far ends"),
        ([], ["6.00"], "the currents injected try the far ends, and the range of the transmitter was not"),
    ],
)
def test_what_one_level_alone_passes_is_said(tapes: list[str], second: list[str], said: str) -> None:
    """A level of 23.63 ft; a tenth of 40 ft away is another one, so near as it is as good as one."""
    points = [point(), *(point(f"{41.25 - float(tape):.1f}", tape) for tape in tapes)]
    currents = [injected(ma, own=f"{40 * (float(ma) - 4) / 16:.1f}") for ma in second]
    result = run(visit(*points, **({"second": {"points": currents}} if currents else {})))
    assert result.outcome("as_found") is Outcome.PASS
    unseen = told(result, "cannot see")
    assert said in unseen
    assert ("a wrong range can look right there" in unseen) is bool(said)
    assert ("Levels 4 ft apart or more would show it" in unseen) is bool(said)
    at = " at the level read" if said else ""
    assert f"The transmitter is inside its tolerance as found{at}: leave it alone" in told(result, "advice")


@pytest.mark.parametrize(
    ("display", "tape", "reference", "error"),
    [
        ("23.8", ["17.60", "17.62", "17.64"], "23.63", "0.17"),  # it ends as it was typed
        ("23.8", ["17.62", "17.62", "17.63"], "23.6267", "0.1733"),  # thirds: two digits beyond 0.01
        ("23.8", ["5.364 m", "5.370 m"], "23.642", "0.158"),  # 23.641732: two digits beyond 0.1
        ("23.80", ["5.364 m", "5.370 m"], "23.6417", "0.1583"),
        ("7.25 m", ["5.370 m"], "23.63189", "0.1542"),  # all in m: two digits beyond 0.001 m in ft
    ],
)
def test_a_level_is_shown_no_finer_than_two_digits_beyond_what_was_read(
    display: str, tape: list[str], reference: str, error: str
) -> None:
    """Mark 41.25 ft; 5.364 m is 17.598425 ft, 5.370 m is 17.618110 ft, 7.25 m is 23.786089 ft."""
    found = check(run(visit(point(display, *tape))))
    assert found.quantity is not None
    assert (found.reference, found.quantity.text) == (reference, error)


def test_what_is_shown_and_not_judged_has_the_figures_that_u_supports() -> None:
    """Two figures of U and no more: 34.95852 with U 0.066 is 34.959."""
    shown = {one.key: one.quantity for one in demo().values}
    assert (shown["line.own.current.20"].text, shown["line.own.current.20"].expanded) == ("34.959", "0.066")
    assert (shown["line.own.current.slope"].text, shown["water.density"].text) == ("0.8732", "999.78")


# ---------------------------------------------------------------- density, air, blanking


def test_the_density_in_the_menu_is_part_of_the_error_found() -> None:
    """999.7839 kg/m3 at 9 C against 1100 in the menu: 9.11 % low."""
    raw = visit(stored={"density_kg_m3": "1100"}, found={"water_c": "9.0"})
    assert value(run(raw), "water.excess").quantity.text == "-9.11"


def ultrasonic(**stored: str) -> dict[str, Any]:
    return visit(kind="ultrasonic", stored=stored, found={"air_c": "30.0"})


def test_the_temperature_of_the_air_moves_an_ultrasonic_level() -> None:
    """10 m below the sensor, 20 C assumed and 30 C true: 0.174 m; here 16.37 ft below it, 0.284 ft."""
    raw = ultrasonic(air_c="20.0", sensor="40.00")
    found = value(run(raw), "as_found.level_1.air").quantity
    assert found.value == pytest.approx(16.37 * (1 - 343.59 / 349.66), abs=1e-4)
    assert found.text == "0.284"  # sound runs faster than it thinks: the distance is shown short


@pytest.mark.parametrize(
    ("blanking", "inside"), [("16.36", False), ("16.37", True), ("16.38", True), ("", False)]
)
def test_around_the_blanking_distance(blanking: str, inside: bool) -> None:
    stored = {"sensor": "40.00", **({"blanking": blanking} if blanking else {})}
    assert ("inside its blanking distance" in told(run(ultrasonic(**stored)), "caution")) is inside


def test_w31_a_blocked_vent_is_said_in_metres() -> None:
    found = told(run(visit(found={"water_c": "20.0"})), "cannot see")
    assert "1 kPa of air pressure would be 0.102 m of level" in found
    assert level_of_pressure(1.0, water_density(20.0)) == pytest.approx(0.1022, abs=5e-5)
    raw = visit(kind="ultrasonic")
    assert "vent" not in told(run(raw), "cannot see")


# ---------------------------------------------------------------- another owner's tank


def test_another_owners_tank_needs_permission() -> None:
    raw = visit()
    del raw["permission"]
    assert refused(raw) == (
        "LIT-3101 belongs to Town of Brackenmoot by the register, and permission is missing; enter who gave "
        'it, or permission.not_done = "because ...".'
    )
    assert run(raw, given_for(raw, analyzer(owner="Ellodale water plant")))
    without = visit(permission={"not_done": "nobody answered"})
    assert "nobody gave permission: nobody answered" in told(run(without), "caution")


def test_the_owner_who_gave_permission_is_told() -> None:
    raw = visit(permission={"given_by": "R. Tolliver"})
    assert "the owner gave permission and town_told is missing" in not_taken(raw)
    assert "The owner was told: R. Tolliver." in told(
        run({**raw, "town_told": {"who": "R. Tolliver"}}), "statement"
    )
    not_told = {**raw, "town_told": {"not_done": "nobody in the office"}}
    assert "The town was not told: nobody in the office." in told(run(not_told), "caution")


def test_how_the_far_end_was_heard_is_missed() -> None:
    raw = visit(point(own="23.7"))
    words = "it is not said how the values of the far end were learned"
    assert words in told(run(raw), "caution")
    assert words not in told(run(visit(point(own="23.7"), found={"heard_how": "radio"})), "caution")
    from wqverify.terms import Said

    said = {"as_found.points.0.own": Said("W. Abernathy", "radio")}
    assert words not in told(run(raw, given_for(raw, said=said)), "caution")


def test_a_current_that_nothing_was_held_for_is_a_caution() -> None:
    raw = visit(second={"points": [injected("12.00", own="20.0")]})
    words = "A current was injected, and it is not said what kept pumps and alarms from following it."
    assert words in told(run(raw), "caution")
    held = {**raw, "loop_in_manual": {"at": "09:30"}, "loop_in_auto": {"at": "09:50"}}
    assert words not in told(run(held), "caution")


# ---------------------------------------------------------------- adjusting


def adjusting(action: str = "range at the far end", **more: Any) -> dict[str, Any]:
    plain = {
        "second": {"points": [injected("18.00", own="30.6")]},
        "decision": {"action": action, "why": "outside"},
        "adjusted": {
            "where": "our control system",
            "what": "range",
            "setting_from": "0 to 35 ft",
            "setting_to": "0 to 40 ft",
            "by": "W. Abernathy",
            "at": "09:50",
        },
        "as_left": {"points": [point(own="23.7")]},
        "ranges_as_left": {"own": "0 to 40 ft"},
    }
    return visit(point(own="20.8"), **{**plain, **more})


def test_a_range_is_changed_on_two_levels() -> None:
    assert run(adjusting())
    message = refused(adjusting(second={"not_done": "no calibrator"}))
    assert message == (
        "A range is changed on two different levels; the sheet has one that can be used, or none. Ways on: "
        "fill or draw the tank to a second level, or inject a current; or leave the range alone and take "
        'adjusted out; or write decision.despite = "..." with your reason to go on.'
    )
    assert refused(adjusting("range at the transmitter")).startswith("A range is changed on two different")
    assert run(adjusting("zero", second={"not_done": "no calibrator"}))


def test_in_spite_of_the_brake_is_an_opinion() -> None:
    decision = {"action": "range at the far end", "why": "outside", "despite": "the menu says 35"}
    result = run(adjusting(decision=decision, second={"not_done": "no calibrator"}))
    note = next(one for one in result.notes if one.kind == "opinion")
    assert note.text.endswith("the sheet has one that can be used, or none.): the menu says 35")
    assert note.author == "IQU"


def test_a_far_end_that_was_changed_leaves_the_transmitter_alone() -> None:
    advice = told(run(adjusting()), "advice")
    assert "as found at the level read, the signal is not: leave it alone, check the loop" in advice
    raw = adjusting("zero")
    raw["adjusted"] = {**raw["adjusted"], "where": "transmitter"}
    assert "was adjusted all the same" in told(run(raw), "advice")


@pytest.mark.parametrize("left_out", ["as_left", "ranges_as_left"])
def test_what_was_adjusted_is_read_again_at_both_ends(left_out: str) -> None:
    raw = adjusting()
    del raw[left_out]
    assert "it was " in not_taken(raw)
    assert f"{left_out} is missing" in not_taken(raw)


# ---------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("raw", "sentence"),
    [
        (
            visit(point("41.0")),
            "as_found.points.0.display is 41.0 ft; LIT-3101 shows 0 to 40 ft. Type what the display showed; "
            "where it showed this, take the transmitter out of service and say not_done.",
        ),
        (
            visit(point("23.8", "45.00")),
            "as_found.points.0.reference gives a level of -3.75 ft, and LIT-3101 has 0 to 40; a tape is "
            "typed "
            "from the mark down to the water, not as a level, and elevations and level count from one datum.",
        ),
        (
            visit(point(ma="25.1")),
            "as_found.points.0.ma is 25.1 mA: a loop current outside 0 to 25 mA is taken as mistyped; type "
            "what was shown, or leave it out and say so in the remarks.",
        ),
        (
            visit(found={"water_c": "41"}),
            "as_found.water_c is 41 °C: a temperature outside 0 to 40 °C is taken as mistyped; type what "
            "was "
            "shown, or leave it out and say so in the remarks.",
        ),
        (
            visit(stored={"density_kg_m3": "10"}),
            "stored.density_kg_m3 is 10 kg/m3: a density of water outside 500 to 2000 kg/m3 is taken as "
            "mistyped; type what was shown, or leave it out and say so in the remarks.",
        ),
    ],
)
def test_what_no_tank_has_is_refused(raw: dict[str, Any], sentence: str) -> None:
    assert refused(raw) == sentence


@pytest.mark.parametrize(
    ("shown", "taken"), [("39.9", True), ("40.0", True), ("40.1", False), ("12.3 m", False)]
)
def test_around_the_range_of_the_display(shown: str, taken: bool) -> None:
    if taken:
        assert run(visit(point(shown)))
    else:
        assert "LIT-3101 shows 0 to 40 ft" in refused(visit(point(shown)))


@pytest.mark.parametrize(
    ("tape", "taken"), [("41.24", True), ("41.25", True), ("41.26", False), ("1.24", False)]
)
def test_around_the_range_of_the_tank(tape: str, taken: bool) -> None:
    """Empty at 41.25 ft of tape, full at 1.25."""
    if taken:
        assert run(visit(point("0.0", tape)))
    else:
        assert "gives a level of" in refused(visit(point("0.0", tape)))


def test_another_quantity_is_not_a_level() -> None:
    raw = visit()
    for changes in ({"measures": "pressure", "unit": "kPa"}, {"unit": "%"}):
        message = refused(raw, given_for(raw, analyzer(**changes)))
        assert "this procedure is for a level in m, cm, mm, ft or in" in message


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (visit(ranges={"own": "40 to 40"}), "'40 to 40' has no width, so it stands for no level"),
        (visit(ranges={"own": "0-40"}), "'0-40' is not a range such as 0 to 40"),
        (visit(ranges={"own": "0 to x"}), "'x' is not a reading such as 7.05"),
        ({**visit(), "as_found": {"points": []}}, "points holds no level"),
        (visit({**point(), "by": "injected current"}), "by"),
        (
            visit(second={"points": [{**injected("12.00", own="20.0"), "display": "20.0"}]}),
            "a current is injected and the transmitter disconnected, so ma and display stay open; the "
            "current "
            "is the reference.",
        ),
        (
            visit(second={"points": [{**injected("12.00"), "reference": ["12.00"]}]}),
            "a current is injected, so reference holds that one current with its unit: 6.00 mA.",
        ),
        (visit(point("23,8")), "'23,8' is not a reading such as 7.05 (a decimal point, not a comma)"),
        (visit(output_held={"at": "09:30"}), "output_held has a time and output_released is missing"),
    ],
)
def test_what_is_mistyped_is_not_taken(raw: dict[str, Any], words: str) -> None:
    assert words in not_taken(raw)


def test_times_out_of_order_are_refused() -> None:
    raw = visit(output_held={"at": "09:01"}, output_released={"at": "09:40"})
    assert "which comes first in the order of work" in refused(raw)


# ---------------------------------------------------------------- the kind, the words


@pytest.mark.parametrize(
    ("kind", "typed", "vent"),
    [
        ("hydrostatic transmitter", "", True),
        ("ultrasonic level", "", False),
        ("ultrasonic level", "hydrostatic", True),
    ],
)
def test_the_kind_is_the_registers_unless_it_is_typed(kind: str, typed: str, vent: bool) -> None:
    raw = visit(**({"kind": typed} if typed else {}))
    found = told(run(raw, given_for(raw, analyzer(kind=kind))), "cannot see")
    assert ("vent tube" in found) is vent


def test_every_hand_calculation_of_the_demo_ends_in_the_number_shown() -> None:
    result = demo()
    shown = {c.quantity.text for c in result.checks if c.quantity is not None}
    errors = [w for w in result.workings if ": error of " in w.label]
    assert len(errors) == 14
    for working in errors:
        put_in = working.put_in.replace("−", "-")
        exact = eval(put_in, {"__builtins__": {}})  # numbers of the result itself, nothing typed
        last = working.answer.rpartition("judged as ")[2].split()[0]
        assert last in shown
        assert exact == pytest.approx(float(last), abs=0.00001)


def test_what_the_notes_say_has_no_empty_words() -> None:
    for raw in (visit(), adjusting(), ultrasonic(sensor="40.00")):
        for note in run(copy.deepcopy(raw)).notes:
            assert note.text.endswith("."), note.text
            assert "None" not in note.text
            assert "  " not in note.text


# ---------------------------------------------------------------- real input

LOGGER = "level_logger_ma_decimal_comma.csv"


@pytest.fixture(scope="module")
def logged(real_data: Path) -> list[tuple[str, str]]:
    """Current and level as logged, with points for commas."""
    with (real_data / LOGGER).open(encoding="utf-8-sig", newline="") as file:
        rows = csv.DictReader(file, delimiter=";")
        ma, metres = "I [mA]", "Höhe  [m]"
        return [(row[ma].replace(",", "."), row[metres].replace(",", ".")) for row in rows]


def test_a_real_logger_stands_in_line_with_its_current(logged: list[tuple[str, str]]) -> None:
    """2010 rows: 0 to 0.48 m on 4 to 20 mA, largest residual of a straight-line fit 0.00019 m (the issue)."""
    ma, metres = ([float(row[i]) for row in logged] for i in (0, 1))
    assert len(logged) == 2010
    slope, zero = straight_line(ma, metres)
    assert (zero + 4 * slope, zero + 20 * slope) == pytest.approx((0.0, 0.48), abs=0.0005)
    theirs = np.polyfit(ma, metres, 1)
    assert (slope, zero) == pytest.approx(tuple(theirs), rel=1e-6)
    residuals = [abs(y - zero - slope * x) for x, y in zip(ma, metres, strict=True)]
    assert round(max(residuals), 5) == 0.00019
    by_range = [(x - 4) / 16 * 0.48 for x in ma]
    assert apparent_range(*straight_line(by_range, metres), 0.0, 0.48) == pytest.approx((0, 0.48), abs=0.0005)


def test_a_real_logger_through_the_check(logged: list[tuple[str, str]]) -> None:
    """Its lowest and highest rows as two currents: the display goes with 0 to 0.48 m, not with 0 to 0.5."""
    low, high = min(logged, key=lambda row: float(row[0])), max(logged, key=lambda row: float(row[0]))
    assert float(high[0]) - float(low[0]) > 0.5
    raw = visit(
        as_found={"not_done": "logged, nobody was there"},
        second={"points": [injected(low[0], own=low[1]), injected(high[0], own=high[1])]},
    )
    for top, agrees in (("0.48", True), ("0.6", False)):
        hops = (replace(GIVEN.analyzer.hops[0], unit="m", high=Decimal(top)),)
        held = {
            "unit": "m",
            "high": Decimal(top),
            "hops": hops,
            "tolerances": {"error": allowed("0.002", "m")},
        }
        result = run(raw, given_for(raw, analyzer(**held)))
        outcomes = {check(result, f"as_found.second_{n}.own").outcome for n in (1, 2)}
        assert (outcomes == {Outcome.PASS}) is agrees
        assert ("within U" in told(result, "statement")) is agrees


def test_lines_are_of_the_stage_as_found() -> None:
    raw = adjusting(second={"points": [injected("6.00", own="4.4"), injected("18.00", own="30.6")]})
    given = given_for(raw)
    found = found_of(parse(LEVEL, raw), given)
    assert {point.stage for line in lines_of(found.budget, given) for point in line.points} == {"as_found"}


# ---------------------------------------------------------------- beside the questions, and stepped through


def beside(path: str, raw: dict[str, Any], given: Given | None = None) -> list[str]:
    name = path.rpartition(".")[2]
    names = {"reference": "reference", "water_c": "density", "ma": "current", "mark": "datum"}
    which = "decision" if path.startswith("decision") else names.get(name, "shown")
    return list(LEVEL.beside[which](raw, path, given or given_for(visit())).lines)


ROW = "as_found.points.0"


def test_beside_the_tape_stands_the_level_it_gives() -> None:
    typed = {"by": "tape", "instrument": "TP-1", "reference": ["5.371 m", "17.62"]}
    shown = beside(f"{ROW}.reference", {"date": "2026-03-12", "as_found": {"points": [typed]}})
    assert shown == [
        "TP-1: tape, calibration due 2026-06-30",
        "5.371 m = 17.62 ft",
        "level by the tape: 23.63 ft",  # 41.25 - (17.621391 + 17.62)/2, one place beyond the display
    ]
    nothing = beside(f"{ROW}.reference", {"as_found": {"points": [{"by": "tape"}]}})
    assert nothing == ["the mark is 41.25 ft above the zero of the level"]


def test_beside_what_a_place_shows_stands_what_is_allowed() -> None:
    raw = {"as_found": {"points": [point("23.8")]}}
    assert beside(f"{ROW}.display", raw) == [
        "level by the reference: 23.63 ft",
        "allowed: 23.43 to 23.83 ft",
        "error so far: +0.17 ft",
    ]
    assert beside(f"{ROW}.own", raw)[1] == "allowed: 23.33 to 23.93 ft"
    assert beside(f"{ROW}.display", {"as_found": {"points": [{"by": "tape"}]}}) == []


@pytest.mark.parametrize(
    ("digit", "size", "words"),
    [
        ("0.1", "0.2", "23.65"),
        ("0.01", "0.2", "23.652"),
        ("0.1", "0.25", "23.652"),
        ("1", "1", "23.7"),
        ("10", "10", "23.7"),
    ],
)
def test_a_level_beside_a_question_has_one_place_more_than_the_display(
    digit: str, size: str, words: str
) -> None:
    """41.25 - 5.364 m: 5.364/0.3048 is 17.598425, so 23.651575 ft."""
    held = {"digit": Decimal(digit), "tolerances": {"error": allowed(size)}}
    given = given_for(visit(), analyzer(**held))
    raw = {"date": "2026-03-12", "as_found": {"points": [point("", "5.364 m")]}}
    assert f"level by the tape: {words} ft" in beside(f"{ROW}.reference", raw, given)
    assert beside(f"{ROW}.display", raw, given)[0] == f"level by the reference: {words} ft"


def test_rounded_limits_and_errors_beside_a_question_hide_no_fail() -> None:
    """41.25 - 5.364 m is 23.651575 ft, 23.451575 to 23.851575; 41.25 - 17.5541 is 23.6959, 23.9 +0.2041."""
    raw = {"as_found": {"points": [point("23.8", "5.364 m")]}}
    assert beside(f"{ROW}.display", raw)[1:] == ["allowed: 23.46 to 23.85 ft", "error so far: +0.15 ft"]
    raw = {"as_found": {"points": [point("23.9", "17.5541")]}}
    assert beside(f"{ROW}.display", raw)[1:] == ["allowed: 23.5 to 23.89 ft", "error so far: +0.2041 ft"]
    asked = visit(point("23.9", "17.5541"), decision={"action": "zero"})
    assert beside("decision.action", asked)[0] == "level 1, transmitter: 0.2041 ft, allowed ±0.2"
    asked = visit(point("23.8", "5.364 m"), decision={"action": "zero"})
    assert beside("decision.action", asked)[0] == "level 1, transmitter: 0.15 ft, allowed ±0.2"


def test_beside_an_injected_current_stands_what_the_far_end_should_show() -> None:
    raw = {"second": {"points": [injected("6.00")]}}
    assert beside("second.points.0.own", raw) == ["level by the reference: 5 ft", "allowed: 4.7 to 5.3 ft"]


def test_beside_temperature_current_elevation_and_decision() -> None:
    raw = visit(point(ma="13.52"), found={"water_c": "48.2 degF"})
    assert beside("as_found.water_c", raw) == ["water at 9 °C: 999.78 kg/m3"]
    assert beside(f"{ROW}.ma", raw) == ["13.52 mA stand for 23.8 ft"]
    assert beside(f"{ROW}.ma", {"as_found": {"points": [{"by": "tape"}]}}) == [
        "a measuring value lies from 3.8 to 20.5 mA"
    ]
    assert beside("datum.mark", raw) == [
        "elevations so far: mark 41.25, zero 0 ft",
        "at level 0 the tape would be 41.25 ft",
    ]
    asked = {**raw, "decision": {"action": "range at the transmitter"}}
    assert beside("decision.action", asked) == [
        "level 1, transmitter: 0.17 ft, allowed ±0.2",
        "level 1, loop current: 0.17 ft, allowed ±0.2",
        "A range is changed on two different levels; the sheet has one that can be used, or none.",
    ]


def test_the_demo_visit_can_be_stepped_through_and_a_wrong_unit_is_asked_about(tmp_path: Path) -> None:
    make_plant(tmp_path / "ellodale", MONTH)
    text = (DEMO / "visit.toml").read_text("utf-8")
    for here, there in (("LT-88213", "EL-0731"), ("2026-03-12", "2026-05-12"), ('"IQU"', '"T-11"')):
        text = text.replace(here, there)
    paper = {"by": "T-11", "at": "2026-06-01 09:00", "kept_at": "binder 3"}
    sheet = {**answered(tomllib.loads(text)), "copied_from_paper": paper}
    now = datetime(2026, 6, 1, 14, 5, tzinfo=UTC)
    desk = open_desk(
        tmp_path / "ellodale", procedure="level_check", tag="LIT-3101", paper=True, clock=lambda: now
    )
    for act in acts_to(desk, sheet):
        if desk.screen.path == f"{ROW}.display" and desk.screen.kind == "question":
            asked = desk.act(Act("answer", "10.4 psi", desk.screen.path))
            assert "is 10.4 psi, and a value in ft is typed in m, cm, mm, ft or in" in asked.label
            desk.act(Act("answer", "", desk.screen.path))
            act = Act("answer", "23.8", f"{ROW}.display")
        assert not desk.act(act).refused
    assert desk.visit is not None
    assert answered(tomllib.loads(desk.visit.sheet.read_text("utf-8"))) == sheet
    desk.close()


# ---------------------------------------------------------------- what failed and was not read again


@pytest.mark.parametrize(
    ("shown", "place", "key"),
    [
        ({"display": "24.9"}, "analyzer", "display"),
        ({"remote": "24.9"}, "control system", "remote"),
        ({"own": "20.8"}, "control system", "own"),
        ({"ma": "14.20"}, "analyzer", "current"),
    ],
)
def test_what_failed_as_found_and_was_not_read_again_is_no_pass_as_left(
    shown: dict[str, str], place: Any, key: str
) -> None:
    first = {"display": "23.8", "ma": "13.52", "remote": "23.7", "own": "23.7"}
    row = point(**{**first, **shown})
    typed = "ma" if key == "current" else key
    again = point(**{**first, typed: ""})
    again.pop(typed, None)
    result = run(visit(row, service={"what": "vent"}, as_left={"points": [again]}))
    assert check(result, f"as_found.level_1.{key}").outcome is Outcome.FAIL
    missing = check(result, f"as_left.{key}")
    assert missing.outcome is Outcome.NOT_EVALUATED
    assert missing.reason == "failed as found and was not read again"
    assert result.outcome("as_left", place) is Outcome.NOT_EVALUATED
    other: Any = "analyzer" if place == "control system" else "control system"
    assert result.outcome("as_left", other) is Outcome.PASS
    whole = run(visit(row, service={"what": "vent"}, as_left={"points": [point(**first)]}))
    assert whole.outcome("as_left", place) is Outcome.PASS


def test_what_passed_as_found_need_not_be_read_again() -> None:
    row = point("23.8", remote="23.7", own="20.8")
    result = run(visit(row, service={"what": "vent"}, as_left={"points": [point("", own="23.7")]}))
    assert [one.key for one in result.checks if one.stage == "as_left"] == ["as_left.level_1.own"]
    undone = run(visit(row, service={"what": "vent"}, as_left={"not_done": "called away"}))
    assert [one.key for one in undone.checks if one.stage == "as_left"] == ["as_left.level"]


# ---------------------------------------------------------------- how it is asked


def stepped(tmp_path: Path, path: str) -> tuple[Any, dict[str, Any]]:
    """The demo visit on the plant of Ellodale, stepped to a question; its sheet."""
    make_plant(tmp_path / "ellodale", MONTH)
    text = (DEMO / "visit.toml").read_text("utf-8")
    for here, there in (("LT-88213", "EL-0731"), ("2026-03-12", "2026-05-12"), ('"IQU"', '"T-11"')):
        text = text.replace(here, there)
    paper = {"by": "T-11", "at": "2026-06-01 09:00", "kept_at": "binder 3"}
    sheet = {**answered(tomllib.loads(text)), "copied_from_paper": paper}
    now = datetime(2026, 6, 1, 14, 5, tzinfo=UTC)
    desk = open_desk(
        tmp_path / "ellodale", procedure="level_check", tag="LIT-3101", paper=True, clock=lambda: now
    )
    for act in acts_to(desk, sheet):
        if desk.screen.path == path and desk.screen.kind == "question":
            break
        assert not desk.act(act).refused
    return desk, sheet


def test_a_mark_above_the_range_of_the_tank_is_not_asked_about(tmp_path: Path) -> None:
    desk, _sheet = stepped(tmp_path, "datum.mark")
    assert desk.screen.unit == "ft"  # that of the tank, and a mark above its range is no slip
    after = desk.act(Act("answer", "41.25", "datum.mark"))
    assert (after.kind, after.path != "datum.mark") == ("question", True)
    desk.close()


@pytest.mark.parametrize("path", [f"{ROW}.instrument", "second.points.0.instrument"])
def test_only_what_reads_a_level_or_makes_a_current_is_offered(tmp_path: Path, path: str) -> None:
    desk, _sheet = stepped(tmp_path, path)
    offered = {choice.text for choice in desk.screen.choices}
    assert {"TP-1", "LC-4"} & offered
    assert desk.visit is not None
    words = (*FOR_LEVEL, *FOR_CURRENT)
    kinds = {desk.visit.about.standards[name].kind for name in offered if name}
    assert all(any(word in kind for word in words) for kind in kinds), kinds
    assert not {"buffer", "formazin stock", "formazin dilution"} & kinds
    desk.close()


def test_the_instrument_for_the_current_is_no_tape() -> None:
    asked = {question.name: question.ask for question in questions(Levels)}
    assert asked["meter"].kinds == FOR_CURRENT


# ---------------------------------------------------------------- instruments, pressures, held outputs


@pytest.mark.parametrize(
    ("raw", "sentence"),
    [
        (
            visit(point(instrument="LC-4")),
            "as_found.points.0.instrument names LC-4 (calibrator), which is in mA; here it is one in m, cm, "
            "mm, "
            "ft, in. Name the instrument that was used.",
        ),
        (
            visit(second={"points": [{**injected("12.00", own="20.0"), "instrument": "TP-1"}]}),
            "second.points.0.instrument names TP-1 (tape), which is in ft; here it is one in mA. Name the "
            "instrument that was used.",
        ),
        (
            visit(point(ma="13.52"), found={"meter": "GA-2"}),
            "as_found.meter names GA-2 (test gauge), which is in kPa; here it is one in mA. Name the "
            "instrument "
            "that was used.",
        ),
        (
            visit(
                {"by": "gauge", "instrument": "TP-1", "reference": ["10.2 psi"], "display": "23.6"},
                found={"water_c": "9.0"},
                datum={"gauge": "0.00"},
            ),
            "as_found.points.0.instrument names TP-1 (tape), which is in ft; here it is one in kPa, mbar, "
            "bar, "
            "psi, inH2O. Name the instrument that was used.",
        ),
        (
            visit(point(instrument="B7-4471")),
            "as_found.points.0.instrument names 'B7-4471', which standards_on_hand.toml does not hold; "
            "correct "
            "the sheet or add it.",
        ),
    ],
)
def test_an_instrument_of_another_quantity_is_refused(raw: dict[str, Any], sentence: str) -> None:
    assert refused(raw) == sentence


def test_two_pressures_are_two_levels() -> None:
    raw, given = by_gauge()
    result = run(raw, given)
    slope = value(result, "line.display.reference.slope").quantity
    assert slope.value == pytest.approx((8.02 - 5.00) / ((78.30 - 48.95) / (0.9995005 * 9.80665)), rel=1e-4)
    assert "a wrong range can look right" not in told(result, "caution")


@pytest.mark.parametrize(("kpa", "taken"), [("97.5", True), ("98.5", False)])
def test_around_the_range_of_the_tank_by_pressure(kpa: str, taken: bool) -> None:
    """At 12 C water has 999.5005 kg/m3 (Tanaka): 98.5 kPa are 98500/(999.5005 x 9.80665) = 10.0492 m."""
    raw, given = by_gauge()
    raw["as_found"]["points"][1]["reference"] = [f"{kpa} kPa"]
    if taken:
        assert run(raw, given)
    else:
        assert "gives a level of 10.049224 m, and LIT-3101 has 0 to 10" in refused(raw, given)


def test_a_held_far_end_does_not_follow_an_injected_current() -> None:
    held = {"output_held": {"at": "09:30"}, "output_released": {"at": "10:05"}}
    raw = visit(second={"points": [injected("12.00", own="20.0", at="09:36")]}, **held)
    found = check(run(raw), "as_found.second_1.own")
    assert found.reason == "the control system was read at 09:36 while the output was held, so it stood still"


def test_a_range_read_at_the_transmitter_that_is_not_the_registers_is_said() -> None:
    words = "The range read at the transmitter is 0 to 35 ft, and the register has 0 to 40"
    assert words in told(run(visit(ranges={"transmitter": "0 to 35 ft"})), "caution")
    assert "The range read" not in told(run(visit(ranges={"transmitter": "0 to 40"})), "caution")
