"""Loop check: outside values, four tests around each tolerance, candidates, and what is refused.

Outside values: V22 of the project's measurement models (GTC 1.5.1 and central differences) for the budget of
a point; W19, W20, W22 and W24 of its practice checks (load, droop, leak, wrong range; Ohm's law by hand); A22
and A23 of its external facts (square root; NAMUR NE 43); practice.md section 5 for the signature of a root at
8 mA; GTC here as a second library for the judged uncertainties of the demo visit. What is shown in a test of
a candidate is worked out by hand beside it.
"""

from __future__ import annotations

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
from gtc import same_as_central_difference, same_as_gtc
from one_procedure import Of, told, value
from plant_example import MONTH
from scipy.stats import qmc
from step_driver import acts_to

from wqverify.calculations import loop
from wqverify.calculations.uncertainty import correlation
from wqverify.demo.ellodale import make_plant
from wqverify.desk import Desk, open_desk
from wqverify.entry.screen import Act
from wqverify.procedures import PROCEDURES
from wqverify.procedures.loop_budget import Budget
from wqverify.procedures.loop_enough import too_few
from wqverify.procedures.loop_points import Line, Point
from wqverify.procedures.loop_sheet import SignalState
from wqverify.procedures.loop_stages import wrong_states
from wqverify.procedures.walk import answered
from wqverify.records.canonical import given_from
from wqverify.shipped import shipped_folder
from wqverify.terms import Analyzer, Given, Hop, Input, Outcome, Reading, Result, Standard, Tolerance

LOOP = PROCEDURES["loop_check"]
DEMO = shipped_folder("demo_runs") / "loop_check"
GIVEN: Given = given_from(json.loads((DEMO / "given.json").read_text("utf-8")))
FIVE = ["4.000", "8.000", "12.000", "16.000", "20.000"]
R3, R12 = sqrt(3), sqrt(12)

# ---------------------------------------------------------------- cases


def within(size: str, unit: str = "%", rule: Any = "simple", low: str = "") -> Tolerance:
    return Tolerance(
        unit=unit,
        rule=rule,
        basis="local",
        source="invented",
        low=Decimal(low or f"-{size}"),
        high=Decimal(size),
    )


def hop(name: str, low: str = "0", high: str = "100", **more: Any) -> Hop:
    return Hop(name, Decimal(low), Decimal(high), more.pop("unit", "ft"), **more)


def analyzer(**changes: Any) -> Analyzer:
    """A level of 0 to 100 ft, so that a foot is a percent of span."""
    plain: dict[str, Any] = {
        "tag": "FIT-1101",
        "measures": "level",
        "unit": "ft",
        "low": Decimal(0),
        "high": Decimal(100),
        "hops": (hop("transmitter output"), hop("input card", input_ohm=Decimal(250)), hop("display")),
        "settings": {},
        "tolerances": {"loop_chain": within("0.25")},
    }
    return replace(GIVEN.analyzer, **{**plain, **changes})


STANDARDS = {
    "C-3": Standard(
        "C-3", "loop source", "loop source and meter", "LC-3", "mA", calibration_due="2026-09-15"
    ),
    "C-4": Standard("C-4", "meter", "multimeter", "LC-4", "mA", calibration_due="2026-03-12"),
    "T-17": Standard("T-17", "thermometer", "thermometer", "17", "°C", calibration_due="2026-09-15"),
}
LINEAR = ["0.00", "25.00", "50.00", "75.00", "100.00"]


def rising(display: list[str] | None = None, applied: list[str] | None = None, **more: Any) -> dict[str, Any]:
    shown = {"display": display} if display is not None else {}
    return {"applied_ma": applied or FIVE, **shown, **more}


THREE = ["4.000", "12.000", "20.000"]


def at_ends(place: str, middle: str) -> list[str]:
    """What a place shows at 4, 12 and 20 mA where both ends are right."""
    return ["4.000", middle, "20.000"] if place in ("measured_ma", "card") else ["0.000", middle, "100.000"]


def visit(found: dict[str, Any] | None = None, **more: Any) -> dict[str, Any]:
    """The shortest sheet: five currents from low to high, and the display."""
    return {
        "procedure": "loop_check",
        "tag": "FIT-1101",
        "serial_on_plate": "EL-0710",
        "reason": "routine",
        "performed_by": "IQU",
        "date": "2026-03-12",
        "started": "13:05",
        "cautions": {"read": "yes"},
        "operations_told": {"who": "W. Abernathy"},
        "far_end": {"who": "W. Abernathy", "heard_how": "radio"},
        "reference": {"instrument": "C-3"},
        "as_found": {"rising": found or rising(LINEAR)},
        "status": {"state": "in service"},
        **more,
    }


of_them = Of(LOOP, GIVEN, analyzer, STANDARDS, "as_found.chain")
given_for, run, check, quantity = of_them.given_for, of_them.run, of_them.check, of_them.quantity
refused, not_taken = of_them.refused, of_them.not_taken


def run_with(raw: dict[str, Any], **changes: Any) -> Result:
    return run(raw, given_for(raw, analyzer(**changes)))


def candidates(result: Result) -> list[str]:
    return [n.text for n in result.notes if n.kind == "statement" and "not a verdict" in n.text]


def demo() -> Result:
    from wqverify.records.record import case_from, compute
    from wqverify.records.workbook import demo_case

    return compute(case_from(demo_case("loop_check")))


# ---------------------------------------------------------------- budgets


def line(low: str = "0", high: str = "14", *, root: bool = False) -> Line:
    source = STANDARDS["C-3"]
    return Line(
        Decimal(low), Decimal(high), "of the register", "pH", root, False, source, source, Decimal(250)
    )


def budget(settings: dict[str, str], *, root: bool = False) -> Budget:
    given = replace(GIVEN, analyzer=analyzer(unit="pH", settings=settings))
    return Budget(line(root=root), given, None, "as_found")


def at(current: str, place: str, shown: str) -> Point:
    return Point(
        "rising", int(float(current)), {"applied": Reading.parse(current), place: Reading.parse(shown)}
    )


def test_v22_a_display_of_a_hundredth_and_a_card_of_twelve_bits() -> None:
    """0-14 pH: 0.03, 7.02, 13.99 at 4, 12, 20 mA; e 1e-4, u 1e-5, r(12, 20) 0.2662 (1e-4)."""
    printed = (
        ("4.000", "0.03", 0.2143, 0.02314),
        ("12.000", "7.02", 0.1429, 0.02453),
        ("20.000", "13.99", -0.0714, 0.02712),
    )
    found = []
    for current, shown, error, u in printed:
        off = budget({"card_bits": "12"}).off("chain", "applied", "display", at(current, "display", shown))
        assert off.found["%"].value == pytest.approx(error, abs=1e-4)
        assert float(off.found["%"].text) == pytest.approx(error, abs=5e-5)
        assert off.found["%"].u == pytest.approx(u, abs=1e-5)
        found.append(off.found["%"])
    assert correlation(found[1], found[2]) == pytest.approx(0.2662, abs=1e-4)


def test_v22_read_to_a_thousandth_five_points_are_one_test_of_gain() -> None:
    """The same with the current read to 0.001 mA: u 0.0114 and 0.0162 %, r(12, 20) 0.9552 (1e-4)."""
    found = [
        budget({}).off("chain", "applied", "card", at(current, "card", current)).found["%"]
        for current in ("12.000", "20.000")
    ]
    assert [q.u for q in found] == [pytest.approx(0.0114, abs=5e-5), pytest.approx(0.0162, abs=5e-5)]
    assert correlation(*found) == pytest.approx(0.9552, abs=1e-4)


def test_v22_the_offset_of_the_calibrator_cancels_in_hysteresis() -> None:
    """budgets.md section 11: u 0.029 % by two displays of 0.0206 %; no cause of the calibrator is left."""
    up, down = at("12.000", "display", "7.02"), replace(at("12.000", "display", "7.03"), way="falling")
    off = budget({}).hysteresis("display", up, down)
    assert off is not None
    assert off.found["%"].u == pytest.approx(0.0206 * sqrt(2), abs=1e-4)
    assert off.found["pH"].text == "0.01"
    assert not [
        line_ for line_ in off.found["%"].budget if "C-3" in line_.cause and line_.contribution > 1e-12
    ]


@pytest.mark.parametrize(("current", "u"), [("4.160", 0.39), ("8.000", 0.018), ("20.000", 0.008)])
def test_a_square_root_makes_the_low_end_uncertain(current: str, u: float) -> None:
    """budgets.md section 11, calibrator only: 0.39 % of reading at 4.16 mA, 0.018 at 8, 0.008 at 20."""
    part = sqrt((float(current) - 4) / 16)
    off = budget({}, root=True).off("chain", "applied", "display", at(current, "display", f"{14 * part:.5f}"))
    calibrator = sqrt(sum(x.contribution**2 for x in off.found["%"].budget if "C-3" in x.cause))
    assert calibrator / (100 * part) * 100 == pytest.approx(u, rel=0.05)


INPUTS: Mapping[str, Input] = {
    "gain": Input(0.0, 2e-4 / R3, "rectangular"),
    "offset": Input(0.0, 0.002 / R3, "rectangular"),
    "count": Input(0.0, 16 / 4095 / R12, "rectangular"),
    "display": Input(7.02, 0.01 / R12, "rectangular"),
    "flow": Input(7.02, 0.01 / R12, "rectangular"),
}


def model(x: Mapping[str, Any], root: Any = loop.root_of) -> dict[str, Any]:
    """A display of 7.02 of 14 at 12 mA without a root, and at 8 mA with one."""
    linear, squared = 12.0 * (1 + x["gain"]) + x["offset"], 8.0 * (1 + x["gain"]) + x["offset"]
    return {
        "linear": 100 * x["display"] / 14 - 100 * loop.fraction(linear + x["count"]),
        "root": 100 * x["flow"] / 14 - 100 * root(loop.fraction(squared + x["count"])),
    }


def test_the_model_by_gtc_by_central_differences_and_by_simulation() -> None:
    ours = same_as_gtc(model, INPUTS, lambda x: model(x, GTC.sqrt))
    same_as_central_difference(model, INPUTS, ours)
    points = qmc.Sobol(len(INPUTS), scramble=False).random_base2(13) + 0.5**14  # off the edge at 0
    drawn = {
        cause: given_.value + given_.u * (2 * q - 1) * R3
        for (cause, given_), q in zip(INPUTS.items(), points.T, strict=True)
    }
    simulated = model(drawn, np.sqrt)
    for name, found in ours.items():
        assert np.std(simulated[name]) == pytest.approx(found.u, rel=5e-3), name
        assert np.mean(simulated[name]) == pytest.approx(found.value, abs=0.05 * (found.u or 0)), name
    for name, root, current in (("linear", False, "12.000"), ("root", True, "8.000")):
        off = budget({"card_bits": "12"}, root=root).off(
            "chain", "applied", "display", at(current, "display", "7.02")
        )
        assert off.found["%"].u == pytest.approx(ours[name].u, rel=1e-9)
        assert off.found["%"].value == pytest.approx(ours[name].value, abs=1e-9)


def test_the_demo_visit_again_by_gtc() -> None:
    """FIT-1101 by C-3 (0.02 % and 2 uA), display and archive of 1 gpm on 0-1200, a card of 16 bits."""
    result = demo()
    gain, offset = GTC.ureal(0, 2e-4 / R3), GTC.ureal(0, 0.002 / R3)
    digit, milli = 100 / 1200 / R12, 0.001 / R12
    for stage, current, shown, card in (("as_found", 8.0, 600, 8.001), ("as_left", 20.0, 1200, 20.003)):
        true = current * (1 + gain) + offset
        e = 100 * shown / 1200 + GTC.ureal(0, digit)
        e = e - 100 * (true + GTC.ureal(0, 16 / 65535 / R12) - 4) / 16
        found = quantity(result, f"{stage}.chain")
        assert (found.value, found.u) == (pytest.approx(e.x, abs=1e-9), pytest.approx(e.u, rel=1e-9))
        e = 100 * shown / 1200 + GTC.ureal(0, digit) - 100 * (card + GTC.ureal(0, milli) - 4) / 16
        found = quantity(result, f"{stage}.display")
        assert (found.value, found.u) == (pytest.approx(e.x, abs=1e-9), pytest.approx(e.u, rel=1e-9))
    e = 100 * (12.003 + GTC.ureal(0, milli) - 12 * (1 + gain) - offset) / 16
    found = quantity(result, "as_found.card")
    assert (found.value, found.u) == (pytest.approx(e.x), pytest.approx(e.u, rel=1e-9))
    # a line through ten points: every reading and the calibrator through the fit
    x, y = [], []
    for n, current in enumerate([4.0, 8.0, 12.0, 16.0, 20.0, 20.0, 16.0, 12.0, 8.0, 4.0]):
        shown = [0, 600, 849, 1039, 1200, 1200, 1039, 849, 600, 0][n]
        true = current * (1 + gain) + offset + GTC.ureal(0, 16 / 65535 / R12)
        x.append((true - 4) / 16)
        y.append((shown + GTC.ureal(0, 1 / R12)) / 1200)
    mx, my = sum(x) / 10, sum(y) / 10
    b = sum((p - mx) * (q - my) for p, q in zip(x, y, strict=True)) / sum((p - mx) ** 2 for p in x)
    a = 100 * (my - b * mx)
    for name, other in (("slope", b), ("intercept", a)):
        found = value(result, f"as_found.{name}").quantity
        assert (found.value, found.u) == (pytest.approx(other.x), pytest.approx(other.u, rel=1e-9))


def test_a_certificate_replaces_the_specification() -> None:
    own = {"C-3": replace(STANDARDS["C-3"], expanded=Decimal("0.004"), k=Decimal(2), certificate="K-3")}
    raw = visit()
    result = run(raw, given_for(raw, standards=own))
    causes = {line_.cause: line_.u for line_ in quantity(result).budget}
    assert causes["calibrator:C-3"] == pytest.approx(0.002)
    assert not [cause for cause in causes if "gain" in cause]


@pytest.mark.parametrize(
    ("ambient", "coefficient", "half", "words"),
    [
        ("17", "0.005", 0.005, ""),
        ("18", "0.005", None, ""),
        ("28", "0.005", None, ""),
        ("38", "0.005", 0.05, ""),
        (
            "38",
            None,
            None,
            "It was 10 °C outside 18 to 28 °C at C-3, and the register does not hold its",
        ),
        (None, "0.005", None, ""),
    ],
)
def test_around_the_temperatures_of_a_specification(
    ambient: str | None, coefficient: str | None, half: float | None, words: str
) -> None:
    raw = visit(reference={"instrument": "C-3", **({"ambient_c": ambient} if ambient else {})})
    result = run_with(raw, settings={"loop_drift_percent_per_c": coefficient} if coefficient else {})
    drift = [x for x in quantity(result).budget if x.cause == "temperature of C-3"]
    assert [x.u for x in drift] == ([pytest.approx(half / R3)] if half else [])
    assert words in told(result, "caution")


@pytest.mark.parametrize(("deadband", "step"), [("0", 0.01), ("0.005", 0.01), ("0.5", 0.5)])
def test_the_archive_counts_its_deadband_where_that_is_coarser(deadband: str, step: float) -> None:
    """budgets.md section 11: half of it either way, rectangular."""
    result = run_with(visit(rising(archive=LINEAR)), settings={"archive_deadband": deadband})
    (read,) = [x for x in quantity(result).budget if x.cause.startswith("reading:")]
    assert read.u == pytest.approx(step / R12)


# ---------------------------------------------------------------- around the tolerances


@pytest.mark.parametrize("held", [True, False])
@pytest.mark.parametrize(
    ("shown", "outcome"),
    [("50.24", "pass"), ("50.25", "pass"), ("50.26", "fail"), ("49.75", "pass"), ("49.74", "fail")],
)
def test_around_the_tolerance_of_the_chain(shown: str, outcome: str, held: bool) -> None:
    """50.25 ft at 12 mA on 0-100 ft is 0.25 % of span exactly."""
    raw = visit(rising(["0.00", "25.00", shown, "75.00", "100.00"]))
    found = check(run_with(raw, tolerances={"loop_chain": within("0.25")} if held else {}))
    assert found.outcome == (outcome if held else "not evaluated")
    assert held or found.reason.startswith("the register holds no tolerance for this (Loop from end to end")
    assert found.label.endswith("furthest off at 12.000 mA rising")
    assert (found.observed, found.reference) == (shown, "50.00")


@pytest.mark.parametrize(
    ("hop_name", "found", "reference", "at_limit"),
    [
        # a source, and a meter at the other end of the wire; then the card, the display, the archive
        ("wire", {"measured_ma": "{}"}, {"meter": "C-4"}, ("12.003", "12.004", "12.005")),
        ("card", {"card": "{}"}, {}, ("12.003", "12.004", "12.005")),
        ("display", {"card": "12.000", "display": "{}"}, {}, ("50.024", "50.025", "50.026")),
        ("archive", {"display": "50.000", "archive": "{}"}, {}, ("50.024", "50.025", "50.026")),
        (
            "transmitter",
            {"measured_ma": "{}"},
            {"made_by": "the transmitter"},
            ("12.003", "12.004", "12.005"),
        ),
    ],
)
@pytest.mark.parametrize("where", range(4))
def test_around_the_tolerance_of_each_hop(
    hop_name: str, found: dict[str, str], reference: dict[str, str], at_limit: tuple[str, ...], where: int
) -> None:
    """±0.025 % of span is 0.004 mA and 0.025 ft on 0-100 ft; a chain of one hop is judged as the chain."""
    shown = (*at_limit, at_limit[0])[where]
    more = {name: at_ends(name, text.format(shown)) for name, text in found.items()}
    if len(more) == 1:
        more["display"] = at_ends("display", "50.000")
    raw = visit(rising(applied=THREE, **more), reference={"instrument": "C-3", **reference})
    held = {f"loop_{hop_name}": within("0.025")} if where < 3 else {}
    result = run_with(raw, tolerances=held)
    outcome = check(result, f"as_found.{hop_name}").outcome
    assert outcome == ("pass", "pass", "fail", "not evaluated")[where]


@pytest.mark.parametrize(
    ("down", "held", "outcome"),
    [
        ("50.19", True, "pass"),
        ("50.20", True, "pass"),
        ("50.21", True, "fail"),
        ("49.80", True, "pass"),
        ("49.79", True, "fail"),
        ("50.20", False, "not evaluated"),
    ],
)
def test_around_the_tolerance_of_hysteresis(down: str, held: bool, outcome: str) -> None:
    """Up 50.00, down 50.20 at 12 mA on 0-100 ft: 0.20 % of span."""
    raw = visit()
    raw["as_found"]["falling"] = {"display": ["100.00", "75.00", down, "25.00", "0.00"]}
    tolerances = {"loop_chain": within("1"), **({"loop_hysteresis": within("0.2")} if held else {})}
    found = check(run_with(raw, tolerances=tolerances), "as_found.hysteresis")
    assert found.outcome == outcome
    assert found.counts is held


@pytest.mark.parametrize(
    ("taken", "outcome"),
    [
        (("a failure", "a value"), "pass"),
        (("a failure", "clamped"), "pass"),
        (("held", "a value"), "fail"),
        ((), None),
    ],
)
def test_around_the_states(taken: tuple[str, ...], outcome: str | None) -> None:
    """NAMUR NE 43 (A23): 0 mA is a failure, 20.4 mA is measured; none may be taken otherwise."""
    states = [{"applied_ma": a, "taken_as": t} for a, t in zip(("0", "20.4"), taken, strict=False)]
    result = run(visit(states=states))
    found = [c for c in result.checks if c.key == "as_found.states"]
    assert [c.outcome for c in found] == ([outcome] if outcome else [])
    assert not any(c.counts for c in found)


@pytest.mark.parametrize(
    ("current", "right"),
    [
        ("3.60", ("a failure",)),
        ("3.70", ("a value", "a failure", "clamped", "held")),
        ("3.80", ("a value", "clamped")),
        ("20.50", ("a value", "clamped")),
        ("20.60", ("a value", "a failure", "clamped", "held")),
        ("21.00", ("a failure",)),
    ],
)
def test_a23_which_states_are_right(current: str, right: tuple[str, ...]) -> None:
    for word in ("a value", "a failure", "clamped", "held"):
        state = SignalState.model_validate({"applied_ma": current, "taken_as": word})
        assert (wrong_states([state]) == []) is (word in right), word


def test_a_broken_wire_that_is_taken_as_a_value_is_said() -> None:
    result = run(visit(states=[{"applied_ma": "0.000", "taken_as": "held"}]))
    assert "The control system takes a broken wire as the last value, held: nobody is warned" in told(
        result, "caution"
    )


@pytest.mark.parametrize(
    ("shown", "outcome"),
    [
        ("50.22", "pass"),
        ("50.23", "too close to decide"),
        ("50.27", "too close to decide"),
        ("50.28", "fail"),
    ],
)
def test_guarded_keeps_u_away_from_the_limit(shown: str, outcome: str) -> None:
    """U 0.024 at a digit of 0.01 ft: 0.25 less and plus U are 0.226 and 0.274."""
    raw = visit(rising(["0.00", "25.00", shown, "75.00", "100.00"]))
    result = run_with(raw, tolerances={"loop_chain": within("0.25", rule="guarded")})
    assert quantity(result).expanded == "0.024"
    assert check(result).outcome == outcome


@pytest.mark.parametrize(
    ("unit", "size", "outcome", "text"),
    [
        ("mA", "0.032", "pass", "0.032"),  # 0.2 ft of 100 are 0.2 % or 0.032 mA
        ("mA", "0.0319", "fail", "0.032"),
        ("ft", "0.2", "pass", "0.20"),
        ("ft", "0.19", "fail", "0.20"),
        ("%", "0.2", "pass", "0.20"),
        ("%", "0.19", "fail", "0.20"),
    ],
)
def test_a_tolerance_may_be_in_any_of_three_units(unit: str, size: str, outcome: str, text: str) -> None:
    raw = visit(rising(["0.00", "25.00", "50.20", "75.00", "100.00"]))
    result = run_with(raw, tolerances={"loop_chain": within(size, unit)})
    assert (check(result).outcome, quantity(result).text, quantity(result).unit) == (outcome, text, unit)


def test_a_tolerance_in_another_unit_is_not_evaluated() -> None:
    found = check(run_with(visit(), tolerances={"loop_chain": within("0.2", "psi")}))
    assert (found.outcome, found.reason) == (
        Outcome.NOT_EVALUATED,
        "the tolerance is in psi; write it in %, in mA or in ft",
    )


def test_of_lopsided_limits_the_nearer_one_decides() -> None:
    """-0.1 to 1.0 %: -0.11 % fails though +0.9 % lies further off."""
    raw = visit(rising(["0.00", "24.89", "50.90", "75.00", "100.00"]))
    found = check(run_with(raw, tolerances={"loop_chain": within("1.0", low="-0.1")}))
    assert (found.outcome, found.quantity and found.quantity.text) == (Outcome.FAIL, "-0.11")


def test_without_a_tolerance_of_its_own_a_hop_is_shown_and_does_not_count() -> None:
    raw = visit(rising(LINEAR, card=FIVE))
    result = run(raw)
    assert [(c.key, c.outcome, c.counts) for c in result.checks] == [
        ("as_found.card", "not evaluated", False),
        ("as_found.display", "not evaluated", False),
        ("as_found.chain", "pass", True),
        ("as_found.control_system", "pass", True),
    ]
    assert result.outcome("as_found") is Outcome.PASS
    assert run_with(raw, tolerances={}).outcome("as_found") is Outcome.NOT_EVALUATED


# ---------------------------------------------------------------- enough currents


def on_the_line(currents: list[str], off: str = "0") -> list[str]:
    """What a display of 0-100 ft shows with these currents, too high by ``off``."""
    return [f"{(Decimal(text) - 4) / 16 * 100 + Decimal(off):.2f}" for text in currents]


@pytest.mark.parametrize(
    ("applied", "settings", "outcome", "words"),
    [
        # just inside, at, just outside, missing: three currents, one of them the middle
        (["4.000", "8.000", "12.000", "20.000"], {}, "pass", ""),
        (["4.000", "12.000", "20.000"], {}, "pass", ""),
        (["4.000", "20.000"], {}, "not evaluated", "read at 2 currents; 3 different ones are needed, one"),
        (["4.000", "12.000"], {}, "not evaluated", "read at 2 currents"),
        (["12.000"], {}, "not evaluated", "read at 1 current; 3"),
        # three without the middle: 40 to 60 % of span are 10.400 to 13.600 mA
        (["4.000", "8.000", "20.000"], {}, "not evaluated", "one near the middle (40 to 60 % of span)"),
        (["4.000", "10.399", "20.000"], {}, "not evaluated", "read at 3 currents"),
        (["4.000", "10.400", "20.000"], {}, "pass", ""),
        (["4.000", "13.600", "20.000"], {}, "pass", ""),
        (["4.000", "13.601", "20.000"], {}, "not evaluated", "read at 3 currents"),
        # within 0.16 mA two currents are one
        (["4.000", "12.000", "12.160"], {}, "not evaluated", "read at 2 currents"),
        (["4.000", "12.000", "12.161"], {}, "pass", ""),
        # a site that asks for more
        (FIVE, {"loop_least_currents": "5"}, "pass", ""),
        (
            ["4.000", "8.000", "12.000", "20.000"],
            {"loop_least_currents": "5"},
            "not evaluated",
            "5 different",
        ),
    ],
)
def test_around_the_currents_that_tell_a_wrong_range(
    applied: list[str], settings: dict[str, str], outcome: str, words: str
) -> None:
    shown = on_the_line(applied)
    card = rising(shown, applied, card=applied)
    held = {"loop_chain": within("0.25"), "loop_card": within("0.25"), "loop_display": within("0.25")}
    result = run_with(visit(card), settings=settings, tolerances=held)
    for key in ("card", "display", "chain", "control_system"):
        found = check(result, f"as_found.{key}")
        assert (found.outcome, found.quantity is None) == (outcome, False), key
        assert words in found.reason
        assert bool(found.reason) is bool(words)
    said = "slope and intercept are those of one range at both ends" in told(result, "statement")
    assert said is (outcome == "pass")
    # what failed at the points that were read stays failed
    far = rising(on_the_line(applied, "1"), applied)
    assert check(run_with(visit(far), settings=settings)).outcome is Outcome.FAIL


def test_no_current_at_all_is_too_few() -> None:
    assert too_few([], 3, root=False, above_zero=False).startswith("read at 0 currents; 3 different ones")


def test_w24_a_wrong_range_that_is_hidden_at_mid_scale_does_not_pass_there() -> None:
    """W24: display 2-12 on a loop of 0-14 pH shows 7.00 at 12 mA, as it should, and 2.00 at 4 mA."""
    changes = {"unit": "pH", "measures": "pH", "high": Decimal(14), "hops": ()}
    assert check(run_with(visit(rising(["7.00"], ["12.000"])), **changes)).outcome is Outcome.NOT_EVALUATED
    both = visit(rising(["2.00", "7.00"], ["4.000", "12.000"]))
    assert check(run_with(both, **changes)).outcome is Outcome.FAIL


def test_a_root_that_is_missing_or_twice_is_hidden_at_the_ends() -> None:
    """0 and 100 % are their own roots: 4 and 20 mA with a root, without one and with two show the same."""
    for more in ({}, {"root": "in the transmitter"}, {"root": "in the control system"}):
        found = check(run(visit(rising(["0.00", "100.00"], ["4.000", "20.000"]), **more)))
        assert found.outcome is Outcome.NOT_EVALUATED
        assert "because a wrong range or root can be right at the ends" in found.reason


@pytest.mark.parametrize(
    ("applied", "outcome", "words"),
    [
        (["4.000", "8.000", "12.000", "20.000"], "pass", ""),
        (["8.000", "12.000", "20.000"], "pass", ""),
        (["9.990", "12.000", "20.000"], "pass", ""),
        (["10.000", "12.000", "20.000"], "pass", ""),
        (["10.010", "12.000", "20.000"], "not evaluated", "read at 3 currents; 3 different ones are needed"),
        # at 4 mA a root has no slope, so it is not counted
        (["4.000", "8.000", "20.000"], "not evaluated", "read at 2 currents above 4 mA; 3 different"),
        (["4.000", "12.000", "16.000", "20.000"], "not evaluated", "one above 4 and up to 10 mA"),
    ],
)
def test_around_the_currents_that_tell_a_wrong_root(applied: list[str], outcome: str, words: str) -> None:
    shown = [f"{100 * sqrt((float(text) - 4) / 16):.2f}" for text in applied]
    found = check(run(visit(rising(shown, applied), root="in the control system")))
    assert found.outcome == outcome
    assert words in found.reason


# ---------------------------------------------------------------- failed as found, not read again


HELD = {f"loop_{name}": within("0.25") for name in ("card", "display", "archive", "chain")}
TOO_HIGH = ["0.00", "26.00", "50.00", "75.00", "100.00"]  # at 8 mA, by 1 % of span
NOT_AGAIN = "failed as found and was not read again"


def left_after(
    found: dict[str, Any], left: dict[str, Any], held: Mapping[str, Tolerance] = HELD
) -> dict[str, tuple[str, str]]:
    """The checks as left: outcome and reason."""
    changed = {
        "decision": {"action": "set the range", "why": "off"},
        "adjusted": {
            "what": "display",
            "setting_from": "0 to 104 ft",
            "setting_to": "0 to 100",
            "at": "13:50",
        },
    }
    result = run_with(visit(found, as_left={"rising": left}, **changed), tolerances=held)
    return {
        c.key.partition(".")[2]: (c.outcome.value, c.reason) for c in result.checks if c.stage == "as_left"
    }


def test_a_place_that_failed_and_is_not_read_as_left_is_not_evaluated() -> None:
    found = left_after(rising(TOO_HIGH, card=FIVE), rising(card=FIVE))
    assert found == {
        "display": ("not evaluated", f"the display {NOT_AGAIN}"),
        "chain": ("not evaluated", f"the display {NOT_AGAIN}"),
    }
    # the control room's display failed, the archive behind it did not
    found = left_after(
        rising(TOO_HIGH, archive=LINEAR), rising(archive=LINEAR), {"loop_chain": within("0.25")}
    )
    assert found == {"chain": ("not evaluated", f"the display {NOT_AGAIN}")}
    # the card failed, and the display that is read again does not say what the card shows
    card = ["4.000", "8.160", "12.000", "16.000", "20.000"]
    found = left_after(rising(LINEAR, card=card), rising(LINEAR))
    assert found == {"card": ("not evaluated", f"the input card {NOT_AGAIN}"), "chain": ("pass", "")}
    # the archive failed
    found = left_after(rising(LINEAR, archive=TOO_HIGH), rising(LINEAR))
    assert found["archive"] == found["chain"] == ("not evaluated", f"the archive {NOT_AGAIN}")


def test_a_place_that_passed_need_not_be_read_again() -> None:
    assert left_after(rising(TOO_HIGH, card=FIVE), rising(LINEAR)) == {"chain": ("pass", "")}
    assert left_after(rising(LINEAR, card=FIVE), rising(card=FIVE)) == {"chain": ("pass", "")}


@pytest.mark.parametrize(
    ("again", "outcome", "reason"),
    [
        (["4.000", "8.000", "12.000", "20.000"], "pass", ""),
        (["4.000", "8.160", "12.000", "20.000"], "pass", ""),
        (["4.000", "8.161", "12.000", "20.000"], "not evaluated", f"the display at 8.000 mA {NOT_AGAIN}"),
        (["4.000", "12.000", "20.000"], "not evaluated", f"the display at 8.000 mA {NOT_AGAIN}"),
    ],
)
def test_around_a_current_that_failed_and_is_read_again(again: list[str], outcome: str, reason: str) -> None:
    left = rising(on_the_line(again), again)
    assert left_after(rising(TOO_HIGH), left) == {"chain": (outcome, reason)}


def test_what_fails_as_left_fails_whatever_was_read_again() -> None:
    left = rising(["0.00", "51.00", "100.00"], THREE)
    assert left_after(rising(TOO_HIGH), left) == {"chain": ("fail", "")}


def test_both_reasons_are_told() -> None:
    outcome, reason = left_after(rising(TOO_HIGH), rising(["50.00"], ["12.000"]))["chain"]
    assert outcome == "not evaluated"
    assert "read at 1 current; 3 different" in reason
    assert reason.endswith(f"; the display at 8.000 mA {NOT_AGAIN}")


def test_hysteresis_that_failed_wants_the_way_down_again() -> None:
    raw = visit(as_left={"rising": rising(LINEAR)})
    raw["as_found"]["falling"] = {"display": ["100.00", "75.00", "50.24", "25.00", "0.00"]}
    held = {"loop_chain": within("0.25"), "loop_hysteresis": within("0.2")}
    result = run_with(raw, tolerances=held)
    found = check(result, "as_left.hysteresis")
    assert (found.outcome, found.reason) == ("not evaluated", f"the display going down {NOT_AGAIN}")
    raw["as_left"]["falling"] = {"display": LINEAR[::-1]}
    assert check(run_with(raw, tolerances=held), "as_left.hysteresis").outcome is Outcome.PASS


def test_a_place_read_again_on_one_way_only_is_no_chain_to_it() -> None:
    raw = visit(rising(TOO_HIGH), as_left={"rising": rising(card=FIVE)})
    raw["as_left"]["falling"] = {"card": FIVE[::-1], "display": LINEAR[::-1]}
    found = check(run(raw), "as_left.chain")
    assert (found.outcome, found.reason) == ("not evaluated", f"the display {NOT_AGAIN} at every current")


# ---------------------------------------------------------------- the chain put together


def test_hops_add_up_to_the_chain_and_are_put_together_both_ways() -> None:
    """Card +0.1 %, display +0.15 % at 12 mA: together 0.25; sqrt(0.01 + 0.0225) = 0.180, by hand."""
    card, display = ["12.016"], ["50.25"]
    raw = visit(rising(display, ["12.000"], card=card))
    held = {"loop_card": within("0.3"), "loop_display": within("0.4"), "loop_chain": within("0.25")}
    result = run_with(raw, tolerances=held)
    texts = [quantity(result, f"as_found.{name}").text for name in ("card", "display", "chain")]
    assert [float(text) for text in texts] == [0.1, 0.15, 0.25]
    names = ("parts.squares", "parts.sum", "allowed.squares", "allowed.sum")
    shown = [value(result, f"as_found.{name}").quantity.text for name in names]
    assert shown == ["0.180", "0.250", "0.500", "0.700"]


@pytest.mark.parametrize(
    ("found", "chain", "there"),
    [
        # the archive is the end of the chain, the display is what the control room sees
        ({"display": "50.00", "archive": "51.00"}, "fail", "pass"),
        ({"display": "51.00", "archive": "50.00"}, "pass", "fail"),
        ({"archive": "51.00"}, "fail", "fail"),
        ({"card": "12.000"}, "pass", None),
    ],
)
def test_the_control_system_has_a_verdict_of_its_own(
    found: dict[str, str], chain: str, there: str | None
) -> None:
    more = {name: at_ends(name, text) for name, text in found.items()}
    result = run(visit(rising(applied=THREE, **more)))
    assert result.outcome("as_found", "control system") == there
    assert check(result).outcome == chain


def test_every_point_is_told_in_three_units() -> None:
    raw = visit(rising(["0.00", "25.00", "50.20", "75.00", "100.00"], card=FIVE))
    found = value(run(raw), "as_found.rising.3")
    assert found.label == (
        "12.000 mA rising: input card 12.000 mA, off by 0.000 %, 0.000 mA, 0.000 ft; display 50.20 ft, off "
        "by 0.20 %, 0.032 mA, 0.20 ft"
    )
    assert (found.quantity.text, found.quantity.unit) == ("0.20", "%")


def test_volts_across_the_input_become_the_current() -> None:
    """Ohm's law: 3.010 V across 250 ohm is 12.04 mA, 0.25 % of span above 12 mA."""
    raw = visit(rising(applied=["12.000"], card=["3.010"]), reference={"instrument": "C-3", "card_in": "V"})
    result = run(raw)
    assert float(quantity(result).text) == 0.25
    (working,) = [w for w in result.workings if w.formula == "I = 1000 V / R"]
    assert (working.put_in, float(working.answer.split()[0])) == ("1000 × 3.010 / 250", 12.04)
    causes = {x.cause for x in quantity(result).budget}
    assert {"input resistor", "volts across the input"} <= causes
    measured = {**raw, "supply": {"input_ohm": "251.0"}}
    assert float(quantity(run(measured)).text) == pytest.approx(100 * (3010 / 251 - 12) / 16, abs=1e-3)


# ---------------------------------------------------------------- square root


ROOT = {"root": "in the control system"}
ROOTED = ["0.00", "50.00", "70.71", "86.60", "100.00"]  # 100 sqrt(0, 0.25, 0.5, 0.75, 1)


def test_a22_the_root_in_the_control_system() -> None:
    """A22: 12 mA is 70.71 of 100, 8 mA is 50."""
    result = run(visit(rising(ROOTED), **ROOT))
    assert check(result).outcome is Outcome.PASS
    assert candidates(result) == []
    assert "At 4 mA a square root has no slope" in told(result, "statement")
    assert value(result, "as_found.rising.1").quantity.unit == "mA"  # no percent there


def test_only_four_milliamperes_before_a_root_is_not_evaluated() -> None:
    found = check(run(visit(rising(["0.00"], ["4.000"]), **ROOT)))
    assert found.reason == "only currents of 4 mA and below were read, where a square root has no slope"


@pytest.mark.parametrize("where", ["nowhere, it is linear", "in the transmitter"])
def test_a_root_in_the_transmitter_leaves_the_signal_linear(where: str) -> None:
    assert check(run(visit(root=where))).outcome is Outcome.PASS


# ---------------------------------------------------------------- what may be set otherwise


@pytest.mark.parametrize(
    ("shown", "more", "words"),
    [
        # practice.md section 5, 8 mA: 50 % with a root that is not wanted, 25 % without the one that is
        (ROOTED, {}, "a square root is taken of a signal that has it already"),
        (LINEAR, ROOT, "no square root is taken"),
        # sqrt(sqrt): 70.71, 84.09, 93.06
        (["0.00", "70.71", "84.09", "93.06", "100.00"], ROOT, "the square root is taken twice"),
        # 4 mA of 20 is 20 %
        (["20.00", "40.00", "60.00", "80.00", "100.00"], {}, "the input is set to 0-20 mA"),
        # 250 meant, 249 there is too near to 250 to tell; 500 there: 2 I R, 8 mA is 4 V, 75 %
        (["25.00", "75.00", "125.00", "175.00", "225.00"], {}, "the input resistor is 500 ohm and not 250"),
        (["100.00", "75.00", "50.00", "25.00", "0.00"], {}, "the range at the far end runs backwards"),
        # 25 ft are 7.62 m
        (["0.00", "7.62", "15.24", "22.86", "30.48"], {}, "shown in m and read as ft"),
        (["0", "1024", "2048", "3071", "4095"], {}, "shown is raw counts 0 to 4095"),
        (["4.00", "8.00", "12.00", "16.00", "20.00"], {}, "shown is the current in mA"),
    ],
)
def test_a_mismatch_is_among_the_candidates_and_never_a_verdict(
    shown: list[str], more: dict[str, str], words: str
) -> None:
    result = run(visit(rising(shown), **more))
    assert check(result).outcome is Outcome.FAIL
    found = candidates(result)
    assert any(words in text for text in found), found
    assert all("What tells:" in text for text in found)
    assert not any(words in c.label or words in c.reason for c in result.checks)


def test_w24_a_wrong_range_at_the_far_end_is_found_with_its_ends() -> None:
    """W24 on 0-14 pH and 2-12: 2.00, 4.50, 7.00, 9.50, 12.00; slope 10/14, intercept 200/14 %."""
    shown = ["2.00", "4.50", "7.00", "9.50", "12.00"]
    raw = visit(rising(shown), ranges=[{"place": "display", "low": "2", "high": "12"}])
    changes = {"unit": "pH", "measures": "pH", "high": Decimal(14), "hops": ()}
    result = run_with(raw, **changes)
    assert value(result, "as_found.slope").quantity.value == pytest.approx(10 / 14, abs=1e-9)
    assert value(result, "as_found.intercept").quantity.value == pytest.approx(200 / 14, abs=1e-9)
    (found,) = candidates(result)
    assert "the far end is ranged 2 (U 0.0" in found
    assert "to 12 (U 0.0" in found
    assert "as the range read at the display (2 to 12 pH)" in found
    # the middle of the range hides it
    assert float(value(result, "as_found.rising.3").quantity.text) == 0


def test_a_range_of_the_register_that_would_show_it_is_named() -> None:
    """0-40 ft at the far end of a loop of 0-10 ft: the ratio of the spans (practice.md section 5)."""
    hops = (hop("transmitter output", high="10"), hop("display", high="40"))
    raw = visit(rising(["0.0", "10.0", "20.0", "30.0", "40.0"]))
    result = run_with(raw, high=Decimal(10), hops=hops)
    assert any("as the range of the register, display (0 to 40 ft)" in text for text in candidates(result))
    assert "The register holds different ranges for the hops of this signal" in told(result, "caution")


@pytest.mark.parametrize(
    ("off", "right"),
    [("50.272", True), ("50.273", True), ("50.274", False), ("50.27", True), ("50.28", False)],
)
def test_around_what_counts_as_one_range_at_both_ends(off: str, right: bool) -> None:
    """0.25 % besides U, which is 0.024 % to a digit of 0.01 ft and 0.023 % to one of 0.001."""
    shown = [*LINEAR[:2], off, *LINEAR[3:]]
    text = told(run(visit(rising(shown))), "statement")
    assert ("slope and intercept are those of one range at both ends" in text) is right
    assert ("nothing on the list of mismatches gives what was read" in text) is not right


def test_what_fits_nothing_is_said_to_fit_nothing() -> None:
    result = run(visit(rising(["0.00", "25.00", "50.00", "90.00", "100.00"])))
    assert candidates(result) == []
    assert "nothing on the list of mismatches gives what was read" in told(result, "statement")


def test_w22_a_leak_beside_the_input_is_a_candidate_with_its_size() -> None:
    """W22: 10 kohm beside 250 ohm: 3.902, 11.707, 19.512 mA (and 7.805, 15.610 by the same ratio)."""
    card = ["3.902", "7.805", "11.707", "15.610", "19.512"]
    result = run(visit(rising(card=card)))
    (found,) = [text for text in candidates(result) if "leak" in text]
    assert "2.44 % of the current" in found
    assert "a leak of about 10000 ohm beside the 250 ohm input, or another resistor there" in found
    assert "insulation of the wires" in found


def test_the_same_current_too_much_everywhere_is_no_leak() -> None:
    card = [f"{float(text) + 0.1:.3f}" for text in FIVE]
    found = candidates(run(visit(rising(card=card))))
    assert any("the same +0.100 mA" in text and "an earth loop, or a zero" in text for text in found)
    assert not any("leak" in text for text in found)


BY_ITSELF = {"instrument": "C-3", "made_by": "the transmitter"}


def test_w20_a_supply_that_is_used_up() -> None:
    """W20: 21.6 V, 12 V, 600 ohm: sticks at 16.0 mA, 75.0 %; W19: 24 V, 8 V: 800 ohm at 20 mA."""
    raw = visit(
        rising(measured_ma=["4.000", "8.001", "12.000", "15.990", "16.000"]),
        reference=BY_ITSELF,
        supply={"supply_v": "21.6", "least_v": "12", "loop_ohm": "600"},
    )
    result = run(raw)
    assert value(result, "supply.sticks").quantity.text == "16.00"
    assert "As found the supply is used up at 16.00 mA: the value sticks at 75.0 % of span" in told(
        result, "caution"
    )
    (found,) = [text for text in candidates(result) if "sticks" in text]
    assert "the current sticks near 16.00 mA: the supply is used up" in found
    raw["supply"] = {"supply_v": "24", "least_v": "8", "loop_ohm": "600"}
    assert value(run(raw), "supply.load").quantity.text == "800.0"


@pytest.mark.parametrize(
    ("volts", "words"),
    [
        # 12 V needed, 600 ohm: 20 mA with 24.0 V, 21 mA with 24.6 V
        ("23.9", "the value sticks at 99.0 % of span"),
        ("24.0", "a high failure signal of 21 mA cannot be made"),
        ("24.5", "a high failure signal of 21 mA cannot be made"),
        ("24.6", ""),
        ("24.7", ""),
    ],
)
def test_around_what_the_supply_can_do(volts: str, words: str) -> None:
    supply = {"supply_v": volts, "least_v": "12", "loop_ohm": "600"}
    text = told(run(visit(supply=supply)), "caution")
    assert words in text
    assert ("the supply is used up" in text) is bool(words)


def test_a_transmitter_that_starts_at_no_current_is_a_candidate() -> None:
    """20 q for q of 0, 0.25 ... 1: 0, 5, 10, 15, 20 mA."""
    raw = visit(rising(measured_ma=["0.00", "5.00", "10.00", "15.00", "20.00"]), reference=BY_ITSELF)
    assert any("the transmitter makes 0-20 mA" in text for text in candidates(run(raw)))


# ---------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("applied", "words"),
    [
        (
            ["4.000", "12.000", "8.000"],
            "as_found.rising.applied_ma: 8.000 mA comes after 12.000 mA, and these points go from low to "
            "high. Type them in the order they were applied; a point set from the other side is taken again.",
        ),
        (["4.000", "4.000", "8.000"], "as_found.rising.applied_ma: 4.000 mA comes after 4.000 mA"),
        (
            ["4.000", "8.000", "25.001"],
            "as_found.rising.applied_ma.2 is 25.001 mA: a loop current outside 0 to 25",
        ),
    ],
)
def test_currents_out_of_order_are_refused(applied: list[str], words: str) -> None:
    assert words in refused(visit(rising(["0.00"] * 3, applied)))


@pytest.mark.parametrize(
    ("card", "way_in", "words"),
    [
        ("26", "mA", ""),
        (
            "26.1",
            "mA",
            "as_found.rising.card.0 is 26.1 mA: a reading of a loop outside -1 to 26 mA is taken as",
        ),
        ("-1.1", "mA", "as_found.rising.card.0 is -1.1 mA: a reading of a loop outside -1 to 26 mA"),
        ("120", "V", "as_found.rising.card.0 is 120 V: a reading of a loop outside -1 to 26 V"),
    ],
)
def test_what_no_loop_shows_is_taken_as_mistyped(card: str, way_in: str, words: str) -> None:
    reference = {"instrument": "C-3", "card_in": way_in}
    raw = visit(rising(applied=["12.000"], card=[card]), reference=reference)
    assert words in (refused(raw) if words else told(run(raw), "caution"))


@pytest.mark.parametrize(
    "settings", [{"loop_gain_percent": "0", "loop_offset_ma": "0", "loop_fits_percent": "0"}]
)
@pytest.mark.parametrize("applied", [["0"], ["0", "20"]])
def test_sizes_of_nothing_and_no_current_at_all_are_computed(
    settings: dict[str, str], applied: list[str]
) -> None:
    raw = visit(rising(applied=applied, measured_ma=["1"] * len(applied)))
    raw["reference"]["meter"] = "C-4"
    result = run_with(raw, settings=settings)
    assert check(result).quantity is not None


def test_the_way_down_goes_down() -> None:
    raw = visit()
    raw["as_found"]["falling"] = {"applied_ma": ["20.000", "4.000", "12.000"], "display": ["1", "1", "1"]}
    assert (
        "as_found.falling.applied_ma: 12.000 mA comes after 4.000 mA, and these points go from high to low"
        in (refused(raw))
    )


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (
            "2026-03-11",
            "The calibration of C-3 (loop source and meter) was due on 2026-03-11, the work was on "
            "2026-03-12. Ways on: apply the currents with another source or meter",
        ),
        ("2026-03-12", ""),
        ("2026-03-13", ""),
        ("", ""),
    ],
)
def test_around_the_date_of_the_source(day: str, words: str) -> None:
    raw = visit()
    given = given_for(raw, standards={"C-3": replace(STANDARDS["C-3"], calibration_due=day)})
    if words:
        assert words in refused(raw, given)
    else:
        held = "The list of standards holds no calibration date for C-3" in told(run(raw, given), "caution")
        assert held is (day == "")


def test_an_instrument_that_is_none_is_refused() -> None:
    words = refused(visit(reference={"instrument": "T-17"}))
    assert words == (
        "reference.instrument names T-17 (thermometer), which is in °C; a loop is checked with a source or "
        "meter in mA. Name that one."
    )


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (
            {"low": "2", "high": "2"},
            "The range of the display (ranges.0) is 2 to 2: it has no width, so no current stands",
        ),
        ({"low": "2", "high": "2.0"}, "The range of the display (ranges.0) is 2 to 2.0: it has no width"),
        (
            {"low": "0", "high": "43", "unit": "psi"},
            "The unit of the display (ranges.0.unit) is psi, which measures something else; FIT-1101 "
            "measures level in ft.",
        ),
        (
            {"low": "0", "high": "43", "unit": "furlong"},
            "The unit of the display (ranges.0.unit) is furlong, which is no unit known here;",
        ),
        (
            {"place": "transmitter", "low": "0", "high": "30", "unit": "m"},
            "The transmitter is set in m (ranges.0) and FIT-1101 is in ft in the register",
        ),
    ],
)
def test_ranges_without_width_and_units_that_do_not_fit_are_refused(row: dict[str, str], words: str) -> None:
    assert words in refused(visit(ranges=[{"place": "display", **row}]))


def test_a_display_in_another_unit_of_one_quantity_is_not_compared() -> None:
    raw = visit(ranges=[{"place": "display", "low": "0", "high": "30.48", "unit": "m"}])
    found = check(run(raw))
    assert found.reason == "the display is set to m and FIT-1101 is in ft, so its numbers are not compared"
    assert "The display is set to 0 to 30.48 m, and the register has 0 to 100 ft for display" in told(
        run(raw), "caution"
    )


def test_a_negative_signal_before_a_root_is_refused() -> None:
    words = refused(visit(rising(["0.00", "50.00"], ["3.800", "8.000"]), **ROOT))
    assert words == (
        "as_found.rising.applied_ma holds 3.800 mA, below 4 mA, and the control system takes the square "
        "root: a negative signal has none. Apply 4 mA or more; what it makes of less is entered under states."
    )


def test_a_card_that_reads_a_hair_below_four_before_a_root_is_told_in_milliamperes() -> None:
    raw = visit(rising(ROOTED, card=["3.999", "8.000", "12.000", "16.000", "20.000"]), **ROOT)
    result = run(raw)
    assert check(result).outcome is Outcome.PASS
    assert "display 0.00 ft, off by 0.001 mA" in value(result, "as_found.rising.1").label


@pytest.mark.parametrize(
    ("supply", "words"),
    [
        (
            {"supply_v": "12", "least_v": "12"},
            "supply.supply_v is 12 V, and the transmitter needs 12 V: no current",
        ),
        ({"loop_ohm": "0"}, "supply.loop_ohm is 0 ohm; a loop has some resistance."),
        ({"input_ohm": "-1"}, "supply.input_ohm is -1 ohm; a loop has some resistance."),
        (
            {"supply_v": "240"},
            "supply.supply_v is 240 V: a value of a loop outside 0 to 60 V is taken as mistyped",
        ),
    ],
)
def test_a_supply_that_cannot_be_is_refused(supply: dict[str, str], words: str) -> None:
    assert words in refused(visit(supply=supply))


def test_volts_without_a_resistor_are_refused() -> None:
    raw = visit(rising(card=["1", "2", "3", "4", "5"]), reference={"instrument": "C-3", "card_in": "V"})
    words = refused(raw, given_for(raw, analyzer(hops=())))
    assert words.startswith("as_found holds volts across the input, and no input resistor is known")


def test_another_serial_is_refused() -> None:
    assert "The serial on the plate is EL-0017, the register has EL-0710" in refused(
        visit(serial_on_plate="EL-0017")
    )


# ---------------------------------------------------------------- the sheet itself


def test_a_loop_left_in_manual_is_not_complete_without_the_time_it_was_undone() -> None:
    manual = {"loop_in_manual": {"at": "13:10", "by": "W. Abernathy"}}
    assert (
        "loop_in_manual has a time and loop_in_auto is missing; enter when it was undone, or "
        in not_taken(visit(**manual))
    )
    assert run(visit(**manual, loop_in_auto={"at": "14:00"})).outcome("as_found") is Outcome.PASS
    stays = {"not_done": "operations keep it in manual until the filter is back"}
    assert run(visit(**manual, loop_in_auto=stays)).checks


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"as_found": {"rising": {"applied_ma": FIVE, "display": LINEAR[:4]}}},
            "rising.display holds 4 and 5 currents were applied; type one for each",
        ),
        ({"as_found": {"rising": {"applied_ma": FIVE}}}, "nothing was read with these currents"),
        (
            {"reference": BY_ITSELF},
            "as_found.rising.measured_ma is missing: the transmitter makes the current, so a meter must",
        ),
        (
            {"as_found": {"rising": rising(measured_ma=FIVE)}},
            "as_found.rising.measured_ma was read beside a source, and reference.meter does not say",
        ),
        (
            {"decision": {"action": "trim", "why": "low"}},
            "the decision is trim and adjusted is missing",
        ),
        (
            {
                "decision": {"action": "trim", "why": "low"},
                "adjusted": {"what": "trim", "setting_from": "3.98", "setting_to": "4.00", "at": "13:50"},
            },
            "something was changed and as_left is missing; enter the points again",
        ),
        ({"as_left": {"same_as": "after_cleaning"}}, "a loop has no stage after_cleaning"),
        ({"supply": {"terminal_v": "15"}}, "terminal_v and at_ma belong together"),
        ({"as_found": {"rising": {"applied_ma": ["4,0"], "display": ["0"]}}}, "a decimal point, not a comma"),
    ],
)
def test_a_sheet_that_contradicts_itself_is_not_taken(changes: dict[str, Any], words: str) -> None:
    assert words in not_taken(visit(**changes))


def test_as_left_the_same_is_not_the_same_where_something_was_changed() -> None:
    changed = {
        "decision": {"action": "trim", "why": "low"},
        "adjusted": {"what": "trim", "setting_from": "3.98", "setting_to": "4.00", "at": "13:50"},
        "as_left": {"same_as": "as_found"},
    }
    assert "as_left cannot be the same as as_found: something was changed since" in not_taken(
        visit(**changed)
    )
    result = run(visit(as_left={"same_as": "as_found"}))
    assert "Nothing was changed: as left is as found, as entered." in told(result, "statement")


def test_what_was_not_done_is_not_evaluated_with_its_reason() -> None:
    result = run(visit(as_found={"not_done": "the source is away"}))
    assert check(result).reason == "not done: the source is away"
    assert result.charts == ()


def test_a_way_down_with_other_currents_shows_no_hysteresis() -> None:
    raw = visit()
    raw["as_found"]["falling"] = {"applied_ma": ["18.000", "6.000"], "display": ["87.50", "12.50"]}
    found = check(run(raw), "as_found.hysteresis")
    assert found.reason == "no current was applied both on the way up and on the way down"


def test_ways_on_which_other_places_were_read_give_no_chain() -> None:
    raw = visit(rising(card=FIVE))
    raw["as_found"]["falling"] = {"display": LINEAR[::-1]}
    result = run(raw)
    assert check(result).reason == "no place was read at every current, so there is no chain from end to end"
    assert check(result, "as_found.hysteresis").outcome is Outcome.NOT_EVALUATED
    assert check(result, "as_found.card").quantity is not None


def test_a_place_that_was_read_on_the_way_up_only_is_compared_where_it_was() -> None:
    """The meter was read going up, so the card is against it there and against the source going down."""
    raw = visit(rising(measured_ma=FIVE, card=FIVE), reference={"instrument": "C-3", "meter": "C-4"})
    down = ["20.000", "16.000", "12.100", "8.000", "4.000"]
    raw["as_found"]["falling"] = {"card": down}
    found = check(run_with(raw, tolerances={"loop_card": within("0.25")}), "as_found.card")
    assert found.label == "Input card against the current applied, furthest off at 12.000 mA falling"
    assert found.outcome is Outcome.FAIL
    raw["as_found"]["rising"]["card"] = ["4.000", "8.000", "12.200", "16.000", "20.000"]
    found = check(run_with(raw, tolerances={"loop_card": within("0.25")}), "as_found.card")
    assert found.label == "Input card against the current measured, furthest off at 12.000 mA rising"


def test_a_range_that_runs_backwards_at_the_transmitter_is_taken_as_it_is() -> None:
    """100 ft at 4 mA, 0 at 20 mA, as a distance to the water is often set: 75 ft at 8 mA."""
    raw = visit(rising(LINEAR[::-1]), ranges=[{"place": "transmitter", "low": "100", "high": "0"}])
    result = run(raw)
    assert check(result).outcome is Outcome.PASS
    assert candidates(result) == []
    assert "The transmitter is set to 100 to 0 ft, and the register has 0 to 100 ft" in told(
        result, "caution"
    )


@pytest.mark.parametrize(("near", "paired"), [("12.159", True), ("12.160", True), ("12.161", False)])
def test_around_what_is_one_current_up_and_down(near: str, paired: bool) -> None:
    raw = visit()
    raw["as_found"]["falling"] = {"applied_ma": [near], "display": ["51.00"]}
    assert (check(run(raw), "as_found.hysteresis").reason == "") is False  # no tolerance in the register
    found = check(run_with(raw, tolerances={"loop_hysteresis": within("5")}), "as_found.hysteresis")
    assert (found.outcome is Outcome.PASS) is paired


# ---------------------------------------------------------------- stepped through


def with_sources(folder: Path) -> Path:
    """The demo plant with two sources, one of them past its date."""
    plant = make_plant(folder / "plant", MONTH).folder
    with (plant / "standards_on_hand.toml").open("a") as file:
        file.write(
            '\n[[standard]]\nid = "C-3"\nkind = "loop source"\nname = "loop source and meter"\nlot = "LC-3"\n'
            'unit = "mA"\ncalibration_due = "2026-12-01"\n'
            '\n[[standard]]\nid = "C-9"\nkind = "loop source"\nname = "old source"\nlot = "LC-9"\n'
            'unit = "mA"\ncalibration_due = "2026-05-19"\n'
        )
    return plant


def on_paper(sheet: dict[str, Any]) -> dict[str, Any]:
    return {
        **sheet,
        "tag": "AIT-2101",
        "serial_on_plate": "EL-0417",
        "performed_by": "T-11",
        "date": "2026-05-20",
        "operations_told": {"who": "W. Abernathy", "at": "13:06"},
        "copied_from_paper": {"by": "T-11", "at": "2026-06-01 09:00", "kept_at": "binder 3"},
    }


def paper_desk(plant: Path) -> Desk:
    at = datetime(2026, 6, 1, 14, 5, tzinfo=UTC)
    return open_desk(plant, procedure="loop_check", tag="AIT-2101", paper=True, clock=lambda: at)


def test_five_currents_are_typed_one_after_the_other_and_no_jump_is_asked_about(tmp_path: Path) -> None:
    """4 to 20 mA in five steps: what follows each reading is another point, and the display follows too."""
    plant = with_sources(tmp_path)
    ph = ["0.0", "9.9", "7.0", "10.5", "14.0"]  # one decimal less than the analyzer, and one far off
    sheet = on_paper(visit(rising(ph), as_left={"same_as": "as_found"}))
    desk = paper_desk(plant)
    for act in acts_to(desk, sheet):
        if act.path == "reference.instrument":  # of all that is on hand, what is a source in mA and in date
            assert [choice.text for choice in desk.screen.choices] == ["LC-4", "C-3"]
        screen = desk.act(act)
        assert not screen.refused, screen.notice
        assert "is a jump" not in screen.label
        assert "far from" not in screen.label
        assert "it should be" not in screen.label
        assert "fewer decimals" not in screen.label
    assert desk.visit is not None
    written = answered(tomllib.loads(desk.visit.sheet.read_text("utf-8")))
    assert written["as_found"]["rising"] == {"applied_ma": FIVE, "display": ph}
    desk.close()


def upto_points(desk: Desk, sheet: dict[str, Any]) -> None:
    """Step to the first current."""
    for act in acts_to(desk, sheet):
        if desk.screen.path == "as_found.rising.applied_ma":
            return
        assert not desk.act(act).refused


PH_AT = ["0.00", "3.50", "7.00", "10.50", "14.00"]
UP = {"applied_ma": FIVE, "card": FIVE, "display": PH_AT}
DOWN = {"card": FIVE[::-1], "display": PH_AT[::-1]}


def test_all_places_of_one_point_are_asked_before_the_next_current(tmp_path: Path) -> None:
    """One current is applied, every place is read, then the next one: nobody walks the loop twice."""
    sheet = on_paper(visit(UP, as_left={"same_as": "as_found"}))
    sheet["as_found"]["falling"] = DOWN
    desk = paper_desk(with_sources(tmp_path))
    asked = []
    for act in acts_to(desk, sheet):
        way, _, place = act.path.removeprefix("as_found.").partition(".")
        if act.path.startswith("as_found.") and act.do == "answer" and act.text and "?" not in place:
            asked.append((way, place, act.text))
        assert not desk.act(act).refused, desk.screen.notice
    points = zip(FIVE, PH_AT, strict=True)
    up = [
        [("rising", "applied_ma", ma), ("rising", "card", ma), ("rising", "display", ph)] for ma, ph in points
    ]
    down = zip(FIVE[::-1], PH_AT[::-1], strict=True)
    again = [[("falling", "card", ma), ("falling", "display", ph)] for ma, ph in down]
    assert asked[: 5 * 3 + 5 * 2] == [one for point in up + again for one in point]
    assert desk.visit is not None
    written = answered(tomllib.loads(desk.visit.sheet.read_text("utf-8")))["as_found"]
    assert (written["rising"], written["falling"]) == (UP, DOWN)
    desk.close()


def say(desk: Desk, *texts: str) -> str:
    for text in texts:
        desk.act(Act("answer", text, desk.screen.path))
    return desk.screen.path.removeprefix("as_found.rising.")


def press(desk: Desk, *doings: str) -> str:
    for do in doings:
        desk.act(Act(do, "", desk.screen.path))
    return desk.screen.path.removeprefix("as_found.rising.")


def test_a_place_that_is_not_read_is_left_out_once_and_one_may_go_back_to_the_last_reading(
    tmp_path: Path,
) -> None:
    desk = paper_desk(with_sources(tmp_path))
    upto_points(desk, on_paper(visit(UP)))
    assert say(desk, "4.000") == "measured_ma"
    assert say(desk, "", "4.001") == "display"  # no meter; the card
    assert say(desk, "0.00", "") == "applied_ma"  # no archive
    assert say(desk, "8.000", "8.001") == "display"
    assert press(desk, "back") == "card"
    assert desk.screen.standing == ("4.001", "8.001")
    say(desk, "8.000")
    assert desk.screen.refused
    assert "is read at this point already, or its turn comes later" in desk.screen.notice
    assert say(desk, "") == "display"
    assert say(desk, "3.50") == "applied_ma"
    assert press(desk, "back") == "display"  # what was read last
    assert press(desk, "back", "back") == "applied_ma"
    press(desk, "back")  # and out of the points
    assert not desk.screen.path.startswith("as_found.rising")
    desk.close()


def test_an_archive_that_stores_late_is_read_off_after_the_run(tmp_path: Path) -> None:
    desk = paper_desk(with_sources(tmp_path))
    upto_points(desk, on_paper(visit(UP)))
    say(desk, "4.000", "", "", "0.00", "", "12.000", "7.00")
    assert say(desk, "") == "at"
    assert press(desk, "back") == "archive"
    assert say(desk, "0.01") == "archive"
    assert "with 12.000 mA, point 2: 7 pH" in [line.text for line in desk.screen.lines]
    assert say(desk, "7.01") == "at"
    desk.close()


def test_one_more_current_after_the_last_asks_the_places_once_more(tmp_path: Path) -> None:
    desk = paper_desk(with_sources(tmp_path))
    upto_points(desk, on_paper(visit(UP)))
    say(desk, "4.000", "", "", "0.00", "", "16.000", "10.50")
    assert say(desk, "") == "at"  # no other current: no list is asked for its end
    press(desk, "back", "back")
    while desk.screen.path != "as_found.rising.applied_ma":
        press(desk, "back")
    press(desk, "more")
    assert say(desk, "20.000") == "display"
    assert say(desk, "14.00") == "applied_ma"
    assert say(desk, "") == "at"
    desk.close()


@pytest.mark.parametrize(
    ("path", "typed", "lines"),
    [
        ("applied_ma", [], ["next: 4.000 mA, 0 %, 0 gpm"]),
        ("applied_ma", FIVE[:2], ["next: 12.000 mA, 50 %, 600 gpm"]),
        ("applied_ma", FIVE, ["all five are applied"]),
        ("display", [], ["with 4.000 mA, point 1: 0 gpm"]),
        (
            "display",
            ["0", "600"],
            ["with 12.000 mA, point 3: 600 gpm", "last point: 300 gpm, 25 % of span"],
        ),
        ("card", ["4.001"], ["with 8.000 mA, point 2: 8 mA", "last point: +0.001 mA"]),
    ],
)
def test_beside_a_point_stands_what_should_be_shown(path: str, typed: list[str], lines: list[str]) -> None:
    raw = visit({"applied_ma": FIVE, path: typed})
    shown = LOOP.beside["applied" if path == "applied_ma" else "point"](raw, f"as_found.rising.{path}", GIVEN)
    assert list(shown.lines) == lines


def test_beside_the_way_down_the_same_currents_come_back() -> None:
    raw = visit()
    raw["as_found"]["falling"] = {"display": ["1200"]}
    shown = LOOP.beside["point"](raw, "as_found.falling.display", GIVEN)
    assert shown.lines[0] == "with 16.000 mA, point 2 of 5: 900 gpm"
    assert shown.reference == Decimal(900)


# ---------------------------------------------------------------- sentences


def test_two_instruments_that_do_not_agree_are_said() -> None:
    for shown, said in (("12.02", False), ("12.021", True), ("11.98", False), ("11.979", True)):
        raw = visit(reference={"instrument": "C-3", "cross_check_ma": shown})
        assert (f"A second instrument read {shown} mA" in told(run(raw), "caution")) is said


def test_fewer_than_five_currents_are_said() -> None:
    text = told(run(visit(rising(["0.00", "50.00", "100.00"], ["4.000", "12.000", "20.000"]))), "caution")
    assert "As found: 3 currents were applied; five up and down are usual." in text
    assert "currents were applied" not in told(run(visit()), "caution")


def test_a_flow_without_a_word_on_the_root_is_said() -> None:
    result = run_with(visit(), measures="flow")
    assert "Where the square root is taken was not entered; it was compared as linear." in told(
        result, "caution"
    )


def test_what_it_cannot_see_is_said() -> None:
    text = told(run(visit()), "cannot see")
    for words in (
        "The sensor and the transmitter: the current was made in their place.",
        "A fault between the point where the current was applied and the terminals left out.",
        "What C-3 has wrong by one factor",
        "The archive: it was not read.",
        "Where on the way a difference arises: neither a meter nor the input card was read.",
        "What the far end makes of a broken wire",
    ):
        assert words in text


def test_the_demo_finds_the_second_root_and_says_how_to_tell() -> None:
    (found,) = candidates(demo())
    assert "a square root is taken of a signal that has it already" in found
    assert "8 mA: 25 % of span without a root, 50 % with one, 70.7 % with two" in found


def test_a_hand_calculation_ends_in_the_number_that_is_shown() -> None:
    result = demo()
    working = next(
        w for w in result.workings if w.label.startswith("As found: display against the input card")
    )
    assert working.put_in == "100 × (600 − 0) / (1200 − 0) − 100 × (8.001 − 4) / 16"
    assert working.answer.startswith(quantity(result, "as_found.display").text)
    by_hand = 100 * 600 / 1200 - 100 * (8.001 - 4) / 16
    assert by_hand == pytest.approx(24.9938, abs=5e-5)


def test_a_result_that_passed_says_leave_it_alone() -> None:
    assert "leave it alone" in told(run(visit()), "advice")
