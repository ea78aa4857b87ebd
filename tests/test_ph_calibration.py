"""pH calibration: outside values, four tests around each tolerance, and what is refused.

Outside values: A01-A08 of the project's list of external facts (Nernst, two and three buffers; computed from
the SI constants), the worked values V04-V10 of its measurement models (computed there with GTC 1.5.1 and by
central differences), the practice checks W51, W53, W54, W56 (USGS TM 1-D3 stability, ISO/IEC 17025 7.8.4 and
7.8.6), and GTC here as a second library for every uncertainty of the demo visit.
"""

from __future__ import annotations

import copy
import json
import math
import tomllib
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Any, get_args
from zoneinfo import ZoneInfo

import GTC
import pytest
from hypothesis import example, settings
from hypothesis import given as for_any
from hypothesis import strategies as st

from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.clock import resolve
from wqverify.procedures import PROCEDURES
from wqverify.procedures.parts import typed_times
from wqverify.procedures.sheets import parse
from wqverify.records.canonical import given_from, to_plain
from wqverify.shipped import shipped_folder
from wqverify.tables import load
from wqverify.terms import (
    Basis,
    Chart,
    Check,
    Given,
    Hop,
    Outcome,
    Quantity,
    Result,
    Rule,
    Standard,
    Tolerance,
)

PH = PROCEDURES["ph_calibration"]
DEMO = shipped_folder("demo_runs") / "ph_calibration"
RAW: dict[str, Any] = tomllib.loads((DEMO / "visit.toml").read_text("utf-8"))
GIVEN: Given = given_from(json.loads((DEMO / "given.json").read_text("utf-8")))
ZONE = ZoneInfo("America/New_York")


# ---------------------------------------------------------------- cases


def tolerance(size: str, rule: Any = "simple", unit: str = "pH") -> Tolerance:
    half = Decimal(size)
    return Tolerance(unit=unit, rule=rule, basis="local", source="SOP 12", low=-half, high=half)


def reference_buffer(name: str, column: str) -> Standard:
    return Standard(
        id=name,
        kind="pH buffer",
        name=f"reference buffer {column}",
        lot=f"lot of {name}",
        unit="pH",
        expanded=Decimal("0.01"),
        k=Decimal(2),
        table="ph_buffers_reference",
        edition="IUPAC 2002",
        column=column,
        usable_until="2026-12-31",
    )


STANDARDS = {
    **GIVEN.standards,
    "PHT": reference_buffer("PHT", "phthalate"),
    "PHO": reference_buffer("PHO", "phosphate 1:1"),
    "BOR": reference_buffer("BOR", "borax"),
    "OLD": replace(GIVEN.standards["B7-4471"], id="OLD", lot="3990", usable_until="2026-03-01"),
    "TWIN": replace(GIVEN.standards["B7-4471"], id="TWIN"),
    "V4": Standard("V4", "pH buffer", "buffer 4.01", "V2", "pH", value=Decimal("4.01")),
    "VAL": Standard("VAL", "pH buffer", "buffer 7.00", "V1", "pH", value=Decimal("7.00")),
    "OWN": replace(
        GIVEN.standards["B7-4471"],
        id="OWN",
        own=((Decimal(15), Decimal("7.06")), (Decimal(20), Decimal("7.03"))),
    ),
}


def point(standard: str, *readings: str, t: str = "18.4", **more: Any) -> dict[str, Any]:
    """A buffer read three times alike, half a minute apart, unless readings are given."""
    several = list(readings) if len(readings) > 1 else [readings[0]] * 3
    asked = {"temperature_c": t} if t else {}
    return {"standard": standard, **asked, "readings": several, "interval_s": "30", **more}


def visit(*points: dict[str, Any], **more: Any) -> dict[str, Any]:
    """The shortest sheet: as found in some buffers, nothing adjusted."""
    return {
        "procedure": "ph_calibration",
        "tag": "AIT-2101",
        "serial_on_plate": "PH-30417",
        "reason": "routine",
        "performed_by": "IQU",
        "date": "2026-03-03",
        "started": "08:10",
        "cautions": {"read": "yes"},
        "operations_told": {"who": "W. Abernathy"},
        "as_found": {"thermometer": "T-17", "points": list(points)},
        "as_left": {"same_as": "as_found"},
        "status": {"state": "in service"},
        **more,
    }


def given_for(raw: dict[str, Any], **tolerances: Tolerance | None) -> Given:
    """The demo plant with these tolerances instead of its own; None takes one away."""
    kept = {**GIVEN.analyzer.tolerances, **tolerances}
    analyzer = replace(
        GIVEN.analyzer, tolerances={name: kind for name, kind in kept.items() if kind is not None}
    )
    times = {
        path: resolve(raw["date"], typed, ZONE).isoformat(timespec="minutes")
        for path, typed in typed_times(PH.Sheet, raw).items()
    }
    uses = [
        load(*name).use()
        for name in (("ph_buffers_ready_made", "trade 1"), ("ph_buffers_reference", "IUPAC 2002"))
    ]
    return replace(
        GIVEN,
        analyzer=analyzer,
        standards=STANDARDS,
        times=times,
        tables={f"{use.name} {use.edition}": use for use in uses},
    )


def with_settings(given: Given, **settings: str) -> Given:
    return replace(given, analyzer=replace(given.analyzer, settings=settings))


def run(raw: dict[str, Any], given: Given | None = None) -> Result:
    sheet = parse(PH, raw)
    known = given or given_for(raw)
    result = PH.compute(sheet, known, {})
    keys = [check.key for check in result.checks]
    assert sorted(PH.expects(sheet, known)) == sorted(keys)
    return result


def check(result: Result, key: str) -> Check:
    return next(c for c in result.checks if c.key == key)


def quantity(result: Result, key: str) -> Quantity:
    found = next(item.quantity for item in (*result.checks, *result.values) if item.key == key)
    assert found is not None
    return found


def refused(raw: dict[str, Any], given: Given | None = None) -> str:
    sheet = parse(PH, raw)
    known = given or given_for(raw)
    with pytest.raises((CorrectTheEntry, ChooseAnother)) as caught:
        PH.compute(sheet, known, {})
    return caught.value.message


def told(result: Result, kind: str) -> str:
    return "\n".join(note.text for note in result.notes if note.kind == kind)


def shares(a: Quantity, b: Quantity, *without: str) -> tuple[float, float, float]:
    """Variances and covariance of two quantities by shared causes, some causes left out."""
    lines = {x.cause: x.sensitivity * x.u for x in a.budget if not x.cause.startswith(without or ("-",))}
    other = {x.cause: x.sensitivity * x.u for x in b.budget if not x.cause.startswith(without or ("-",))}
    both = sum(lines[cause] * other[cause] for cause in lines.keys() & other.keys())
    return sum(c * c for c in lines.values()), sum(c * c for c in other.values()), both


# ---------------------------------------------------------------- worked values


EXAMPLE = visit(
    point("B7-4471", "7.06"),
    point("B10-1180", "10.02"),
    stored={"slope_percent": "97.2", "offset_mv": "-2.4"},
    process_before={"ph": "7.62", "control_system": "7.60"},
)


def test_v04_errors_in_two_buffers() -> None:
    """V04: 18.4 °C, 7.06 and 10.02: B 7.0264, 10.0792; e +0.0336 (0.00944), -0.0592 (0.01829), r 0.0063."""
    result = run(EXAMPLE)
    seven, ten = check(result, "as_found.B7-4471.error"), check(result, "as_found.B10-1180.error")
    assert (seven.reference, ten.reference) == ("7.0264", "10.0792")
    assert seven.quantity is not None
    assert ten.quantity is not None
    assert (seven.quantity.text, ten.quantity.text) == ("0.0336", "-0.0592")
    assert seven.quantity.u == pytest.approx(0.00944, abs=5e-6)
    assert ten.quantity.u == pytest.approx(0.01829, abs=5e-6)
    assert (seven.quantity.expanded, ten.quantity.expanded) == ("0.019", "0.037")
    v1, v2, both = shares(seven.quantity, ten.quantity)
    assert both / math.sqrt(v1 * v2) == pytest.approx(0.0063, abs=1e-4)


def test_v05_error_at_the_displayed_process_value() -> None:
    """V05: at 7.62 by displays 0.01604 (0.00852); with the liquid junction (0.03 rectangular) added."""
    found = quantity(run(EXAMPLE), "as_found.process.error")
    assert found.value == pytest.approx(0.01604, abs=5e-6)
    assert found.u == pytest.approx(0.00852, abs=5e-6)
    assert found.text == "0.0160"
    given = with_settings(given_for(EXAMPLE), junction_ph="0.03")
    result = run(EXAMPLE, given)
    junction = quantity(result, "as_found.process.error")
    assert junction.u == pytest.approx(math.hypot(0.00852, 0.03 / math.sqrt(3)), abs=1e-5)
    assert "with ±0.03 pH for the liquid junction" in told(result, "statement")


def test_v06_slope_from_displays_only() -> None:
    """V06: g 0.96960 (0.00656); stored 97.2 %: 94.245 % (0.638)."""
    result = run(EXAMPLE)
    gain, slope = quantity(result, "as_found.gain"), quantity(result, "as_found.slope")
    assert (gain.value, gain.u) == (pytest.approx(0.96960, abs=5e-6), pytest.approx(0.00656, abs=1e-5))
    assert (slope.value, slope.u) == (pytest.approx(94.245, abs=5e-4), pytest.approx(0.638, abs=1e-3))
    # by hand: the display where the buffer is 7, times the stored slope in mV, off the stored offset
    at_seven = 7.06 + 0.9696017 * (7 - 7.0264)
    by_hand = -2.4 - (at_seven - 7) * 0.972 * 0.19842143 * (18.4 + 273.15)
    assert quantity(result, "as_found.offset").value == pytest.approx(by_hand, abs=1e-4)


def test_v07_one_bottle_as_found_and_as_left() -> None:
    """V07: 7.06 then 7.03 in one bottle, thermometer left out: change -0.0300, u 0.009695, r 0.470."""
    raw = visit(
        point("B7-4471", "7.06"), as_left={"thermometer": "T-17", "points": [point("B7-4471", "7.03")]}
    )
    result = run(raw)
    before, after = (quantity(result, f"{stage}.B7-4471.error") for stage in ("as_found", "as_left"))
    v1, v2, both = shares(before, after, "thermometer")
    assert after.decimal - before.decimal == Decimal("-0.0300")
    assert math.sqrt(v1 + v2 - 2 * both) == pytest.approx(0.009695, abs=1e-5)
    assert both / math.sqrt(v1 * v2) == pytest.approx(0.470, abs=1e-3)


def test_v08_slope_and_offset_from_two_voltages() -> None:
    """V08: 171.6 mV at 4.00, -4.1 mV at 7.0264: S -58.0558 (0.2261), E7 -2.5673 (0.4895), cov 0.07921,
    efficiency 100.356 (0.404) %."""
    raw = visit(point("B4-2209", "4.01", mv="171.6"), point("B7-4471", "7.03", mv="-4.1"))
    result = run(raw)
    slope, offset = quantity(result, "as_found.slope_mv"), quantity(result, "as_found.offset")
    share = quantity(result, "as_found.slope")
    assert (slope.value, slope.u) == (pytest.approx(-58.0558, abs=1e-4), pytest.approx(0.2261, abs=1e-4))
    assert (offset.value, offset.u) == (pytest.approx(-2.5673, abs=1e-4), pytest.approx(0.4895, abs=1e-4))
    assert (share.value, share.u) == (pytest.approx(100.356, abs=1e-3), pytest.approx(0.404, abs=1e-3))
    assert shares(slope, offset)[2] == pytest.approx(0.07921, abs=1e-5)


def test_v10_buffers_at_two_temperatures() -> None:
    """V10: 174.0 mV in phthalate at 25 °C, 3.0 mV in phosphate 1:1 at 12 °C: B 6.9138, 99.243 %, -1.840 "
    "mV."""
    raw = visit(point("PHT", "4.00", t="25", mv="174.0"), point("PHO", "6.92", t="12", mv="3.0"))
    result = run(raw)
    assert check(result, "as_found.PHO.error").reference == "6.9138"
    assert quantity(result, "as_found.slope").value == pytest.approx(99.243, abs=1e-3)
    assert quantity(result, "as_found.offset").value == pytest.approx(-1.840, abs=1e-3)
    assert "the buffers were at 12 to 25 °C" in told(result, "caution")


def test_a05_two_families_of_buffers_give_the_numbers_and_a_warning() -> None:
    """A05: 25 °C, 176.2 mV at 4.005 and -1.8 mV at 7.00: -59.4324 mV/pH, 100.46 %, -1.80 mV."""
    result = run(visit(point("PHT", "4.00", t="25", mv="176.2"), point("B7-4471", "7.00", t="25", mv="-1.8")))
    assert quantity(result, "as_found.slope_mv").value == pytest.approx(-59.4324, abs=1e-3)
    assert quantity(result, "as_found.slope").value == pytest.approx(100.46, abs=0.01)
    assert quantity(result, "as_found.offset").value == pytest.approx(-1.80, abs=0.01)
    assert (
        "As found: two families of buffers are mixed, reference buffer phthalate (PHT) with buffer 7.00 "
        "(B7-4471); reference buffers and ready-made ones have tables of their own"
    ) in told(result, "caution")


def test_a06_two_buffers_of_one_family() -> None:
    """A06: 25 °C, 171.0 mV at 4.01, -171.5 mV at 10.01: -57.0833, 96.491 %, 0.3208 mV."""
    result = run(
        visit(point("B4-2209", "4.10", t="25", mv="171.0"), point("B10-1180", "9.90", t="25", mv="-171.5"))
    )
    assert quantity(result, "as_found.slope_mv").value == pytest.approx(-57.0833, abs=1e-3)
    assert quantity(result, "as_found.slope").value == pytest.approx(96.491, abs=1e-3)
    assert quantity(result, "as_found.offset").value == pytest.approx(0.3208, abs=1e-3)
    assert "families" not in told(result, "caution")


THREE = visit(
    point("B4-2209", "4.00", t="25", mv="174.9"),
    point("B7-4471", "6.95", t="25", mv="3.4"),
    point("B10-1180", "9.95", t="25", mv="-174.0"),
)


def test_a07_three_buffers_by_least_squares_and_their_consistency() -> None:
    """A07: -58.1509 mV/pH, 98.295 %, 1.821 mV; residuals -0.792, 1.579, -0.787 mV: they fit no line."""
    result = run(THREE)
    assert quantity(result, "as_found.slope_mv").value == pytest.approx(-58.1509, abs=1e-3)
    assert quantity(result, "as_found.slope").value == pytest.approx(98.295, abs=0.01)
    assert quantity(result, "as_found.offset").value == pytest.approx(1.821, abs=1e-3)
    residuals = [
        quantity(result, f"as_found.{name}.residual").value for name in ("B4-2209", "B7-4471", "B10-1180")
    ]
    assert residuals == pytest.approx([-0.792, 1.579, -0.787], abs=1e-3)
    assert "the buffers do not fit one line: B7-4471 lies 1.5790 mV off it" in told(result, "caution")
    assert told(result, "caution").count("do not fit") == 1
    raw = copy.deepcopy(THREE)
    raw["as_found"]["points"][1]["mv"] = "1.0"
    assert "do not fit one line" not in told(run(raw), "caution")


def test_three_buffers_at_two_temperatures_lie_on_one_scaled_line() -> None:
    """Voltages made from 99 % and 4 mV: E = 4 - 0.99 k(t) (B - 7), so both must come back."""
    points = []
    for name, t, reading in (
        ("B4-2209", "15", "4.00"),
        ("B7-4471", "20", "7.02"),
        ("B10-1180", "25", "10.01"),
    ):
        value = {"B4-2209": 4.00, "B7-4471": 7.02, "B10-1180": 10.01}[name]
        k = 0.1984214311 * (float(t) + 273.15)
        points.append(point(name, reading, t=t, mv=f"{4 - 0.99 * k * (value - 7):.4f}"))
    result = run(visit(*points))
    assert quantity(result, "as_found.slope").value == pytest.approx(99.0, abs=1e-3)
    assert quantity(result, "as_found.offset").value == pytest.approx(4.0, abs=1e-3)
    assert not [value for value in result.values if value.key == "as_found.slope_mv"]


# ---------------------------------------------------------------- the demo visit against GTC and by hand


def rect(half: float) -> float:
    return half / math.sqrt(3)


def gtc_checks() -> dict[str, Any]:
    """Every quantity of the demo visit, written out again with GTC; figures from the sheet and its tables."""
    read, thermometer = 0.01 / math.sqrt(12), GTC.ureal(0, 0.15)
    bottle = {name: GTC.ureal(0, u) for name, u in (("B7", 0.005), ("B10", 0.010), ("B4", 0.005))}
    opened = {name: GTC.ureal(0, rect(a)) for name, a in (("B7", 0.005), ("B10", 0.02), ("B4", 0.005))}
    table = {name: GTC.ureal(0, read) for name in bottle}
    value = {"B7": (7.0264, -0.004), "B10": (10.0792, -0.012), "B4": (4.00, 0.0)}  # at 18.4 °C, per °C

    def point_of(name: str, shown: float) -> tuple[Any, Any]:
        at, slope = value[name]
        apart = thermometer + GTC.ureal(0, rect(1))
        buffer = at + slope * apart + bottle[name] + opened[name] + table[name]
        return GTC.ureal(shown, read) + GTC.ureal(0, rect(0.01)), buffer

    found: dict[str, Any] = {}
    stages = {
        "as_found": (7.06, 10.02, 97.2, -2.4, (7.62, 7.60)),
        "after_cleaning": (7.05, 10.02, 97.2, -2.4, None),
        "as_left": (7.03, 10.08, 94.6, -3.7, (7.60, 7.58)),
    }
    for stage, (seven, ten, stored_slope, stored_offset, process) in stages.items():
        (r1, b1), (r2, b2) = point_of("B7", seven), point_of("B10", ten)
        e1, e2 = r1 - b1, r2 - b2
        found[f"{stage}.B7-4471.error"], found[f"{stage}.B10-1180.error"] = e1, e2
        gain = (r2 - r1) / (b2 - b1)
        slope = GTC.ureal(stored_slope, 0.1 / math.sqrt(12))
        offset = GTC.ureal(stored_offset, 0.1 / math.sqrt(12))
        electrode = (
            8.314462618 / 96485.33212 * math.log(10) * 1000 * (18.4 + GTC.ureal(0, rect(0.5)) + 273.15)
        )
        found[f"{stage}.slope"] = slope * gain
        found[f"{stage}.offset"] = offset - (r1 + gain * (7 - b1) - 7) * slope / 100 * electrode
        if process:
            x, there = process
            at = e1 + (e2 - e1) * (x - r1) / (r2 - r1)
            found[f"{stage}.process.error"] = at
            found[f"{stage}.process.control_system"] = at + GTC.ureal(there, read) - GTC.ureal(x, read)
    shown, value_there = point_of("B4", 4.02)
    found["as_left.check_buffer"] = shown - value_there
    digit = 0.1 / math.sqrt(12)
    found["thermometer"] = (
        GTC.ureal(18.6, digit)
        - GTC.ureal(18.4, digit)
        - thermometer
        - GTC.ureal(0, rect(0.1))
        - GTC.ureal(0, rect(0.05))
    )
    grab = GTC.ureal(7.57, read) + GTC.ureal(0, 0.012) + GTC.ureal(0, 0.015, 12) + GTC.ureal(0, rect(0.03))
    grab = grab + GTC.ureal(0, rect(0.03)) + GTC.ureal(-0.008, rect(0.004)) * GTC.ureal(12.2 - 12.9, 0.21)
    found["process_after.grab"] = GTC.ureal(7.60, read) - grab
    return found


EXPECTED = tomllib.loads((DEMO / "expected_checks.toml").read_text("utf-8"))["check"]


def test_the_demo_visit_gives_its_expected_checks() -> None:
    result = run(RAW, GIVEN)
    shown = [
        {
            "key": c.key,
            "shown": c.quantity.text if c.quantity else "",
            "unit": c.quantity.unit if c.quantity else "",
            "expanded": c.quantity.expanded if c.quantity else "",
            "outcome": str(c.outcome),
        }
        for c in result.checks
    ]
    assert shown == EXPECTED
    assert result.outcome("as_found") is Outcome.FAIL
    assert result.outcome("as_found", "control system") is Outcome.PASS
    assert result.outcome("as_left") is Outcome.PASS


def test_w56_every_pass_or_fail_names_its_rule_its_source_and_its_basis() -> None:
    """W56, ISO/IEC 17025:2017, 7.8.6: no statement of conformity without its decision rule."""
    decided = [c for c in run(RAW, GIVEN).checks if c.outcome in (Outcome.PASS, Outcome.FAIL)]
    assert {c.outcome for c in decided} == {Outcome.PASS, Outcome.FAIL}
    for found in decided:
        assert found.tolerance is not None, found.key
        assert found.tolerance.rule in get_args(Rule), found.key
        assert found.tolerance.basis in get_args(Basis), found.key
        assert found.tolerance.source.strip(), found.key
        assert found.low or found.high, found.key


def test_the_times_of_the_demo_visit_are_those_of_its_sheet() -> None:
    assert dict(GIVEN.times) == given_for(RAW).times


@pytest.mark.parametrize("expected", EXPECTED, ids=lambda e: e["key"])
def test_every_expected_check_agrees_with_gtc(expected: dict[str, str]) -> None:
    """Value within half of the last printed digit, U at most one unit of its second figure above k u."""
    other = gtc_checks()[expected["key"]]
    last = Decimal(1).scaleb(Decimal(expected["shown"]).as_tuple().exponent)  # type: ignore[arg-type]
    assert float(expected["shown"]) == pytest.approx(other.x, abs=float(last) / 2 + 1e-12)
    result = quantity(run(RAW, GIVEN), expected["key"])
    assert result.u == pytest.approx(other.u, rel=1e-9)
    if not math.isinf(other.df):
        assert result.dof == math.floor(other.df)
    figure = float(Decimal(1).scaleb(Decimal(expected["expanded"]).as_tuple().exponent))  # type: ignore[arg-type]
    k = 2.0 if result.dof is None else result.k
    assert k is not None
    assert 0 <= float(expected["expanded"]) - k * other.u + 1e-9 * figure < figure * 1.0001


IN_NUMBERS = set("0123456789.()+-−×/√² ")


def by_hand(put_in: str) -> float:
    """What a pocket calculator makes of the numbers put in."""
    written = {"×": "*", "−": "-", "√": "math.sqrt", "²": "**2"}
    return float(eval("".join(written.get(sign, sign) for sign in put_in), {"math": math}))  # own text


def test_hand_calculations_end_in_what_is_shown() -> None:
    """Evaluating what is put in gives the answer, to half of its last digit."""
    grabs = {**GRAB, "shown_c": "12.0", "temperature_c": "9.0"}
    in_buffers = visit(point("B7-4471", "7.06", control_system="7.10"), grab=[grabs, grabs])
    same = {**EXAMPLE, "process_after": {"ph": "7.60", "control_system": "7.63"}}
    texts = [(RAW, GIVEN), (THREE, None), (same, None), (in_buffers, None)]
    texts.append((visit(point("B4-2209", "4.01", mv="171.6"), point("B7-4471", "7.03", mv="-4.1")), None))
    labels = []
    for raw, given in texts:
        for working in run(raw, given).workings:
            if not set(working.put_in) <= IN_NUMBERS:
                continue  # a list of pairs, not one expression
            answer = working.answer.split(" ")[0]
            last = float(Decimal(1).scaleb(Decimal(answer).as_tuple().exponent))  # type: ignore[arg-type]
            assert by_hand(working.put_in) == pytest.approx(float(answer), abs=last * 0.501), working
            labels.append(working.label)
    assert len(labels) >= 55
    for label in (
        "Error of the temperature",
        "pH of the grab 2 at the temperature of the line",
        "pH of the grab after the work at the temperature of the line",
        "Error in buffer 4.01 (B4-2209), check buffer",
        "Error of the control system, analyzer in buffer 7.00 (B7-4471), as found",
        "Error of the control system at the process value, as found",
        "Error of the control system at the process value, as left",
        "Expanded uncertainty of the error in buffer 7.00 (B7-4471), after cleaning",
        "Loop current by the range 0 to 14 of transmitter",
    ):
        assert label in labels


def worked(result: Result, label: str) -> tuple[str, str, str]:
    found = next(w for w in result.workings if w.label == label)
    return found.formula, found.put_in, found.answer


def test_the_hand_calculations_beside_the_buffers() -> None:
    """By hand: 7.60 - 7.62 + 0.0160 is -0.0040; 4.02 - 4.00; 18.6 - 18.4; 7.57 - 0.008 x (12.2 - 12.9)."""
    result = run(RAW, GIVEN)
    assert worked(result, "Error of the control system at the process value, as found") == (
        "e(C) = C − x + e(x)",
        "7.60 − 7.62 + 0.0336 + ((−0.0592) − 0.0336) × (7.62 − 7.06) / (10.02 − 7.06)",
        "-0.0040 pH",
    )
    third = worked(result, "Error in buffer 4.01 (B4-2209), check buffer")
    assert third == ("e = R − B", "4.02 − 4.000", "0.020 pH")
    assert worked(result, "Error of the temperature")[1:] == ("18.6 − 18.4", "0.2 °C")
    assert worked(result, "pH of the grab after the work at the temperature of the line") == (
        "B = pH + a (t − tG), tG of the grab, a = −0.008 pH/°C",
        "7.57 + (−0.008) × (12.2 − 12.9)",
        "7.5756 pH",
    )
    assert told(result, "statement").count("R is what the display showed and B what the buffer is worth") == 1


@example(digit="7.06", u=314, k="2", t="25")  # three figures would end just above the U shown
@settings(max_examples=60, deadline=None)
@for_any(
    digit=st.sampled_from(["7.0", "7.06", "7.060"]),
    u=st.integers(1, 400),
    k=st.sampled_from(["2", "2.87"]),
    t=st.sampled_from(["18.4", "25"]),
)
def test_the_worked_expanded_uncertainty_ends_in_the_one_shown(digit: str, u: int, k: str, t: str) -> None:
    raw = visit(point("B7-4471", digit, t=t))
    bottle = replace(STANDARDS["B7-4471"], expanded=Decimal(u) / 10000, k=Decimal(k))
    result = run(raw, replace(given_for(raw), standards={**STANDARDS, "B7-4471": bottle}))
    found = quantity(result, "as_found.B7-4471.error")
    label = "Expanded uncertainty of the error in buffer 7.00 (B7-4471), as found"
    _, put_in, answer = worked(result, label)
    assert answer.endswith(f" pH, rounded up {found.expanded} pH")
    assert put_in.count("²") == len(found.budget)
    last = Decimal(1).scaleb(Decimal(found.expanded).as_tuple().exponent)  # type: ignore[arg-type]
    assert 0 <= Decimal(found.expanded) - Decimal(answer.split(" ")[0]) < last
    assert 0 <= float(found.expanded) - by_hand(put_in) + 1e-9 < float(last) * 1.001


def test_hand_calculations_show_what_a_guarded_rule_judges() -> None:
    raw = visit(point("B7-4471", "7.06"))
    result = run(raw, given_for(raw, error=tolerance("0.10", "guarded")))
    working = next(w for w in result.workings if w.label.startswith("Error in"))
    assert working.answer == "0.0336 pH, judged as 0.034 pH"
    assert quantity(result, "as_found.B7-4471.error").text == "0.034"


def test_a_guarded_quotient_is_rounded_once_and_its_hand_calculation_ends_there() -> None:
    """-0.01 at 4.00 and 0.08 at 7.08, at 7.13: 0.081461...; fixed at 0.0815 first it became 0.082."""
    raw = visit(
        point("V4", "4.00"), point("VAL", "7.08"), process_before={"ph": "7.13", "control_system": "7.13"}
    )
    bottles = {n: replace(STANDARDS[n], expanded=Decimal("0.01"), k=Decimal(2)) for n in ("V4", "VAL")}
    for size, outcome in (("0.099", Outcome.PASS), ("0.098", Outcome.TOO_CLOSE)):
        known = given_for(raw, error=tolerance(size, "guarded"), control_system=tolerance("0.099", "guarded"))
        result = run(raw, replace(known, standards={**STANDARDS, **bottles}))
        found = check(result, "as_found.process.error")
        assert found.quantity is not None
        assert (found.quantity.text, found.quantity.expanded) == ("0.081", "0.018")
        assert found.outcome is outcome
        assert quantity(result, "as_found.process.control_system").text == "0.081"
        working = next(w for w in result.workings if "process" in w.label)
        assert working.answer == "0.08146… pH, judged as 0.081 pH"


@settings(max_examples=150, deadline=None)
@for_any(
    low=st.integers(380, 420), high=st.integers(680, 720), at=st.integers(400, 950), half=st.integers(20, 300)
)
def test_any_guarded_error_at_the_process_value_is_that_of_fractions(
    low: int, high: int, at: int, half: int
) -> None:
    """Outside value: rational arithmetic, rounded once half to even by Python's fractions."""
    r1, r2, x = (f"{Decimal(n) / 100:.2f}" for n in (low, high, at))
    size = f"{Decimal(half) / 1000:.3f}"
    raw = visit(point("V4", r1), point("VAL", r2), process_before={"ph": x})
    result = run(raw, given_for(raw, error=tolerance(size, "guarded")))
    e1, e2 = Fraction(low - 401, 100), Fraction(high - 700, 100)
    exact = e1 + (e2 - e1) * Fraction(at - low, high - low)
    found = check(result, "as_found.process.error")
    assert found.quantity is not None
    places = -Decimal(found.quantity.expanded).as_tuple().exponent  # type: ignore[operator]
    e, u, t = round(exact, places), Fraction(found.quantity.expanded), Fraction(size)
    assert Fraction(found.quantity.text) == e
    wanted = Outcome.PASS if abs(e) <= t - u and u < t else Outcome.TOO_CLOSE
    assert found.outcome is (Outcome.FAIL if abs(e) > t + u else wanted)
    answer = next(w for w in result.workings if "process" in w.label).answer
    put_out = answer.split(" ")[0]
    if put_out.endswith("…"):  # cut: no further from 0, and short of it by less than its last digit
        begun = Fraction(put_out.rstrip("…"))
        assert 0 < abs(exact) - abs(begun) < Fraction(1, 10 ** (places + 2))
    else:
        assert round(Fraction(put_out), places) == e
    assert answer.endswith(f"{found.quantity.text} pH")


@pytest.mark.parametrize(("rule", "text"), [("simple", "-2.345"), ("guarded", "-2.3")])
def test_slope_and_offset_are_shown_beyond_u_and_judged_at_u_where_guarded(rule: str, text: str) -> None:
    raw = visit(point("V4", "4.01", mv="173.2"), point("VAL", "7.00", mv="-2.345"))
    known = given_for(raw, offset_mv=tolerance("30", rule, "mV"))
    assert quantity(run(raw, known), "as_found.offset").text == text


def test_computing_twice_gives_the_same_result_to_the_last_bit() -> None:
    assert to_plain(run(RAW, GIVEN)) == to_plain(run(copy.deepcopy(RAW), given_from(to_plain(GIVEN))))


# ---------------------------------------------------------------- around each tolerance


@pytest.mark.parametrize(
    ("reading", "outcome"),
    [
        ("7.04", Outcome.PASS),
        ("7.05", Outcome.PASS),
        ("7.06", Outcome.FAIL),
        ("6.95", Outcome.PASS),
        ("6.94", Outcome.FAIL),
    ],
)
def test_around_the_error_tolerance(reading: str, outcome: Outcome) -> None:
    assert check(run(visit(point("B7-4471", reading, t="25"))), "as_found.B7-4471.error").outcome is outcome


def test_without_an_error_tolerance_nothing_is_judged_and_the_error_is_shown() -> None:
    raw = visit(point("B7-4471", "7.04", t="25"))
    found = check(run(raw, given_for(raw, error=None)), "as_found.B7-4471.error")
    assert found.outcome is Outcome.NOT_EVALUATED
    assert found.reason.startswith("the register holds no tolerance for this")
    assert found.quantity is not None
    assert found.quantity.text == "0.04"


@pytest.mark.parametrize(
    ("size", "outcome"),
    # e +0.034, U 0.019: passes from T = 0.053, fails below T = 0.015
    [
        ("0.054", Outcome.PASS),
        ("0.053", Outcome.PASS),
        ("0.052", Outcome.TOO_CLOSE),
        ("0.015", Outcome.TOO_CLOSE),
        ("0.014", Outcome.FAIL),
    ],
)
def test_around_a_guarded_tolerance(size: str, outcome: Outcome) -> None:
    raw = visit(point("B7-4471", "7.06"))
    result = run(raw, given_for(raw, error=tolerance(size, "guarded")))
    assert check(result, "as_found.B7-4471.error").outcome is outcome


@pytest.mark.parametrize(("high", "outcome"), [("9.72", "pass"), ("9.71", "pass"), ("9.70", "fail")])
def test_around_the_slope_range_by_displays(high: str, outcome: str) -> None:
    """At 25 °C 4.01 and 10.01 are 6.00 apart: 5.70 shown with 100 % stored is 95 %."""
    stored = {"slope_percent": "100.0"}
    result = run(visit(point("B4-2209", "4.01", t="25"), point("B10-1180", high, t="25"), stored=stored))
    found = check(result, "as_found.slope")
    assert (str(found.outcome), found.counts) == (outcome, False)
    assert found.tolerance is not None
    assert found.tolerance.basis == "common practice"


def test_the_slope_of_the_electrode_needs_voltages_or_the_stored_slope() -> None:
    result = run(visit(point("B4-2209", "4.01", t="25"), point("B10-1180", "9.71", t="25")))
    for key in ("as_found.slope", "as_found.offset"):
        assert check(result, key).outcome is Outcome.NOT_EVALUATED
        assert check(result, key).reason == "the transmitter shows neither mV nor its stored slope"
    assert quantity(result, "as_found.gain").text == "0.950000"


@pytest.mark.parametrize(
    ("low", "high", "outcome"),
    [("206.31", "-147.69", "pass"), ("206.41", "-147.59", "pass"), ("206.51", "-147.49", "fail")],
)
def test_around_the_offset_limit(low: str, high: str, outcome: str) -> None:
    """-59 mV/pH through 4.01 and 10.01: +206.41 and -147.59 mV are 30.00 mV at pH 7."""
    result = run(visit(point("B4-2209", "4.01", t="25", mv=low), point("B10-1180", "10.01", t="25", mv=high)))
    assert str(check(result, "as_found.offset").outcome) == outcome


def test_one_buffer_gives_its_error_and_neither_slope_nor_process_error() -> None:
    raw = visit(point("B7-4471", "7.02"), process_before={"ph": "7.62", "control_system": "7.60"})
    result = run(raw)
    assert check(result, "as_found.slope").reason == "one buffer was read; a slope needs two"
    assert check(result, "as_found.offset").reason == "one buffer was read; a slope needs two"
    process = check(result, "as_found.process.error")
    assert process.reason == "one buffer gives no error between buffers; two are needed"
    assert result.outcome("as_found") is Outcome.PASS  # the check in that buffer stands
    assert result.outcome("as_found", "control system") is Outcome.NOT_EVALUATED
    assert "The slope: what happens away from the one buffer is not known." in told(result, "cannot see")


@pytest.mark.parametrize(("reading", "outcome"), [("4.04", "pass"), ("4.05", "pass"), ("4.06", "fail")])
def test_around_the_check_buffer(reading: str, outcome: str) -> None:
    result = run(visit(point("B7-4471", "7.03"), check_buffer=point("B4-2209", reading)))
    assert str(check(result, "as_left.check_buffer").outcome) == outcome
    assert str(result.outcome("as_left")) == outcome


def test_a_check_buffer_that_was_not_read_says_why() -> None:
    result = run(visit(point("B7-4471", "7.03"), check_buffer={"not_done": "bottle empty"}))
    found = check(result, "as_left.check_buffer")
    assert (found.outcome, found.reason) == (Outcome.NOT_EVALUATED, "not done: bottle empty")


GRAB = {"shown": "7.60", "ph": "7.41", "meter": "M-2", "collected": "08:15", "analysed": "08:20"}


@pytest.mark.parametrize(("ph", "outcome"), [("7.41", "pass"), ("7.40", "pass"), ("7.39", "fail")])
def test_around_the_grab_tolerance(ph: str, outcome: str) -> None:
    result = run(visit(point("B7-4471", "7.03"), grab_after={**GRAB, "ph": ph}))
    assert str(check(result, "process_after.grab").outcome) == outcome


@pytest.mark.parametrize(("minutes", "outcome"), [("29", "pass"), ("30", "pass"), ("31", "not evaluated")])
def test_around_the_holding_time_of_a_grab(minutes: str, outcome: str) -> None:
    """15 min from collection to analysis, 40 CFR 136.3 Table II."""
    grab = {**GRAB, "analysed": f"08:{minutes}"}
    found = check(run(visit(point("B7-4471", "7.03"), grab=[grab])), "process_before.grab_1")
    assert str(found.outcome) == outcome


def test_a_grab_not_taken_or_measured_with_an_overdue_meter_is_not_evaluated() -> None:
    result = run(visit(point("B7-4471", "7.03"), grab_after={"not_done": "meter away"}))
    assert check(result, "process_after.grab").reason == "not done: meter away"
    raw = visit(point("B7-4471", "7.03"), grab_after=GRAB)
    given = given_for(raw)
    meter = replace(STANDARDS["M-2"], calibration_due="2026-03-02")
    result = run(raw, replace(given, standards={**STANDARDS, "M-2": meter}))
    assert check(result, "process_after.grab").reason == "the calibration of M-2 was due on 2026-03-02"
    meter = replace(STANDARDS["M-2"], calibration_due="2026-03-03")  # due that day: still in date
    result = run(raw, replace(given, standards={**STANDARDS, "M-2": meter}))
    assert check(result, "process_after.grab").outcome is Outcome.PASS


def test_a_grab_is_compared_at_the_temperature_of_the_line() -> None:
    """Worked value V18: 7.550 taken 3.0 °C colder than the line is 7.526 there; 7.42 shown is -0.106."""
    grab = {**GRAB, "shown": "7.42", "ph": "7.550", "shown_c": "12.0", "temperature_c": "9.0"}
    found = check(run(visit(point("B7-4471", "7.03"), grab=[grab])), "process_before.grab_1")
    assert found.reference == "7.5260"
    assert found.quantity is not None
    assert float(found.quantity.text) == pytest.approx(-0.106, abs=1e-9)


@pytest.mark.parametrize(("shown", "outcome"), [("18.8", "pass"), ("18.9", "pass"), ("19.0", "fail")])
def test_around_the_thermometer_tolerance(shown: str, outcome: str) -> None:
    part = {"reference": "T-17", "reference_c": "18.4", "shown_c": shown}
    result = run(visit(point("B7-4471", "7.03"), thermometer_check=part))
    assert str(check(result, "thermometer").outcome) == outcome


# ---------------------------------------------------------------- stability


@pytest.mark.parametrize(
    ("readings", "limit", "stable"),
    [
        (("7.20", "7.23", "7.24"), "0.05", True),  # W51
        (("7.10", "7.18", "7.24"), "0.05", False),  # W51
        (("7.02", "7.03", "7.04"), "0.02", True),  # at the limit
        (("7.01", "7.03", "7.04"), "0.02", False),  # just outside
        (("7.03", "7.03", "7.04"), "0.02", True),  # just inside
        (("6.80", "7.03", "7.03", "7.03"), "0.02", True),  # only the last three count
    ],
)
def test_the_last_three_readings_must_hold_still(readings: tuple[str, ...], limit: str, stable: bool) -> None:
    raw = visit(point("B7-4471", *readings, t="25"))
    found = check(run(raw, with_settings(given_for(raw), stability_ph=limit)), "as_found.B7-4471.error")
    assert (found.outcome is not Outcome.NOT_EVALUATED) is stable
    if not stable:
        assert found.reason.startswith(f"the readings were not stable within {limit} pH: the last 3 moved 0.")
        assert found.quantity is not None


@pytest.mark.parametrize(
    ("readings", "interval", "reason"),
    [
        (3, "31", ""),
        (3, "30", ""),
        (4, "30", ""),
        (3, "29", "readings 29 s apart do not show that it held still; 3, at least 30 s apart, are needed"),
        (2, "30", "2 readings do not show that it held still; 3, at least 30 s apart, are needed"),
        (1, "30", "one reading does not show that it held still; 3, at least 30 s apart, are needed"),
        (3, "", ""),  # not entered: told, not judged as too close
        (1, "", "one reading does not show that it held still; 3, at least 30 s apart, are needed"),
    ],
)
def test_around_how_many_readings_how_far_apart(readings: int, interval: str, reason: str) -> None:
    one = {**point("B7-4471", "7.03"), "readings": ["7.03"] * readings, "interval_s": interval}
    if not interval:
        del one["interval_s"]
    result = run(visit(one, stored={"slope_percent": "97.2"}))
    found = check(result, "as_found.B7-4471.error")
    assert found.reason == reason
    assert found.outcome is (Outcome.NOT_EVALUATED if reason else Outcome.PASS)
    assert found.quantity is not None
    assert found.quantity.text == "0.0036"
    caution = told(result, "caution")
    assert (f"As found: in B7-4471 {reason}." in caution) is bool(reason)
    assert ("the time between the readings in B7-4471 was not entered" in caution) is (
        not interval and readings == 3
    )


def test_a_plant_may_set_that_one_reading_is_enough() -> None:
    one = {"standard": "B7-4471", "temperature_c": "18.4", "readings": ["7.03"]}
    result = run(visit(one), with_settings(given_for(visit(one)), stability_readings="1"))
    assert check(result, "as_found.B7-4471.error").outcome is Outcome.PASS
    assert "B7-4471" not in told(result, "caution")


def test_one_reading_founds_no_adjustment() -> None:
    one = {"standard": "B7-4471", "temperature_c": "18.4", "readings": ["7.10"]}
    assert refused(adjusting(one, action="offset")).startswith(
        "In B7-4471 one reading does not show that it held still; 3, at least 30 s apart, are needed. Nothing"
    )


def test_readings_that_creep_one_way_are_told() -> None:
    result = run(visit(point("B7-4471", "7.02", "7.03", "7.04")))
    assert "the readings in B7-4471 still crept one way" in told(result, "caution")


def test_unstable_readings_give_no_slope() -> None:
    raw = copy.deepcopy(EXAMPLE)
    raw["as_found"]["points"][0]["readings"] = ["6.90", "7.00", "7.06"]
    result = run(raw)
    assert check(result, "as_found.slope").reason == "one buffer that counts was read; a slope needs two"


# ---------------------------------------------------------------- bottles


def test_the_bottles_own_table_overrides_and_is_named() -> None:
    result = run(visit(point("OWN", "7.03")))
    found = check(result, "as_found.OWN.error")
    assert found.reference == "7.0396"  # 7.06 + (7.03 - 7.06) x 3.4/5
    working = next(w for w in result.workings if w.label.startswith("pH of"))
    assert working.source == "own table of OWN"
    assert working.put_in == "7.06 + (7.03 − 7.06) × (18.4 − 15) / (20 − 15)"


def test_a_bottle_with_one_value_needs_no_temperature() -> None:
    result = run(visit(point("VAL", "7.03", t="")))
    found = check(result, "as_found.VAL.error")
    assert found.quantity is not None
    assert found.quantity.text == "0.03"
    assert "certificate entered" in " ".join(line.source for line in found.quantity.budget)
    assert "the temperature of VAL was not entered" in told(result, "caution")


def test_a_temperature_outside_the_table_is_refused_with_both_limits() -> None:
    said = refused(visit(point("B7-4471", "7.03", t="60")))
    assert said == (
        "As found, point 1: 60 °C is outside the table ph_buffers_ready_made, edition trade 1, column 7.00, "
        "which goes from 0 to 50 °C; nothing is extrapolated."
    )
    assert "which goes from 15 to 20 °C" in refused(visit(point("OWN", "7.03", t="20.1")))
    for edge in ("0", "50"):
        run(visit(point("B7-4471", "7.03", t=edge)))


def test_a_table_without_the_temperature_of_the_buffer_is_refused() -> None:
    said = refused(visit(point("B7-4471", "7.03", t="")))
    assert said.startswith(
        "As found, point 1: B7-4471 has its pH by a table of temperature; enter the temperature"
    )


def test_an_instrument_cannot_be_read_as_a_buffer() -> None:
    said = refused(visit(point("T-17", "7.03")))
    assert said == (
        "As found, point 1: T-17 (reference thermometer) has no pH value in standards_on_hand.toml; name a "
        "buffer."
    )


def test_a_thermometer_nobody_named_is_assumed_and_said() -> None:
    raw = visit(point("B10-1180", "10.08"))
    del raw["as_found"]["thermometer"]
    line = next(
        x for x in quantity(run(raw), "as_found.B10-1180.error").budget if x.cause == "thermometer:not named"
    )
    assert (line.u, line.size_from) == (0.5, "memory")


# ---------------------------------------------------------------- expired, twice, mismatched


def test_w54_an_expired_buffer_is_refused_with_the_legal_ways_on() -> None:
    assert refused(visit(point("OLD", "7.03"))) == (
        "As found, point 1: OLD (lot 3990) was usable until 2026-03-01 (opened 2026-02-02, usable 90 days "
        "from then), the work was on 2026-03-03. Ways on: read again in another lot that brackets the "
        "process value; or leave this buffer out, a check in one buffer stands with the slope not "
        "evaluated; or write "
        'use = "information only", which shows the result without a pass.'
    )


@pytest.mark.parametrize("until", ["2026-03-03", "2026-03-04", ""])
def test_a_buffer_counts_up_to_its_last_day(until: str) -> None:
    raw = visit(point("OLD", "7.03"))
    bottle = replace(STANDARDS["OLD"], usable_until=until)
    result = run(raw, replace(given_for(raw), standards={**STANDARDS, "OLD": bottle}))
    assert check(result, "as_found.OLD.error").outcome is Outcome.PASS


def test_w54_for_information_only_the_result_is_shown_without_a_statement() -> None:
    raw = visit(point("OLD", "7.03", use="information only"), point("B10-1180", "10.08"))
    result = run(raw)
    found = check(result, "as_found.OLD.error")
    assert found.outcome is Outcome.NOT_EVALUATED
    assert found.information
    assert found.reason == "information only: OLD was usable until 2026-03-01"
    assert found.quantity is not None
    assert found.quantity.text == "0.0036"
    assert check(result, "as_found.slope").reason == "one buffer that counts was read; a slope needs two"
    assert result.outcome("as_found") is Outcome.NOT_EVALUATED


def test_w53_as_left_without_as_found_is_refused_as_found_not_done_says_why() -> None:
    raw = visit(as_left={"points": [point("B7-4471", "7.03")]})
    del raw["as_found"]
    with pytest.raises(CorrectTheEntry, match="as_found is missing; add it"):
        parse(PH, raw)
    raw["as_found"] = {"not_done": "the glass was broken"}
    result = run(raw)
    found = check(result, "as_found.error")
    assert (found.outcome, found.reason) == (Outcome.NOT_EVALUATED, "not done: the glass was broken")
    assert result.outcome("as_left") is Outcome.PASS


def test_the_same_buffer_twice_in_a_stage_is_refused() -> None:
    said = refused(visit(point("B7-4471", "7.03"), point("B7-4471", "7.04")))
    assert said.startswith(
        "As found has the buffer B7-4471 twice (points 1 and 2); keep one with all its readings"
    )
    caution = told(run(visit(point("B7-4471", "7.03"), point("TWIN", "7.04"))), "caution")
    assert "two bottles are of one lot, so one cannot check the other" in caution


def test_another_serial_than_the_register_has_is_refused() -> None:
    said = refused(visit(point("B7-4471", "7.03"), serial_on_plate="PH-30471"))
    assert said == (
        "The serial on the plate is PH-30471, the register has PH-30417 for AIT-2101. Look at the plate "
        "again; where the instrument was exchanged, enter the new serial in analyzers.toml and run plant "
        "accept."
    )


def test_a_standard_the_case_does_not_hold_is_refused() -> None:
    assert refused(visit(point("B7-9999", "7.03"))).startswith(
        "as_found.points.0.standard names 'B7-9999', which standards_on_hand.toml does not hold"
    )


def test_a_thermometer_past_its_date_is_refused_with_the_ways_on() -> None:
    raw = visit(point("B7-4471", "7.03"))
    late = {**STANDARDS, "T-17": replace(STANDARDS["T-17"], calibration_due="2026-03-02")}
    said = refused(raw, replace(given_for(raw), standards=late))
    assert said == (
        "The calibration of T-17 (reference thermometer) was due on 2026-03-02, the work was on "
        "2026-03-03. Ways on: use another reference; or leave the thermometer out, its uncertainty is then "
        "assumed."
    )
    part = {"reference": "T-17", "reference_c": "18.4", "shown_c": "18.6"}
    raw = visit(point("B7-4471", "7.03"), thermometer_check=part)
    del raw["as_found"]["thermometer"]
    given = replace(given_for(raw), standards=late)
    assert refused(raw, given).endswith('or write use = "information only".')
    raw["thermometer_check"] = {**part, "use": "information only"}
    result = run(raw, given)
    assert check(result, "thermometer").information
    assert "thermometer:not named" in {x.cause for x in quantity(result, "as_found.B7-4471.error").budget}


@pytest.mark.parametrize(
    ("reading", "taken"), [("14", True), ("14.01", False), ("-0.01", False), ("70.6", False)]
)
def test_a_reading_outside_the_range_is_refused(reading: str, taken: bool) -> None:
    raw = visit(point("B7-4471", reading))
    if taken:
        assert check(run(raw), "as_found.B7-4471.error").outcome is Outcome.FAIL
    else:
        assert refused(raw).startswith(
            f"As found, point 1, reading 1 is {reading}; AIT-2101 shows 0 to 14 pH."
        )


def test_times_out_of_order_are_refused_and_past_midnight_is_said() -> None:
    late = point("B7-4471", "7.03", at="00:20")
    raw = visit(late, started="23:50")
    assert refused(raw).startswith(
        "As found, point 1: last reading at (as_found.points.0.at) is 2026-03-03 00:20, before Work started"
    )
    run(visit(point("B7-4471", "7.03", at="2026-03-04 00:20"), started="23:50"))


ADJUSTED = {"slope_from": "97.2", "slope_to": "94.6", "offset_from": "-2.4", "offset_to": "-3.7"}


@pytest.mark.parametrize(
    ("part", "name", "typed", "path", "unit"),
    [
        ("stored", "slope_percent", "97.3", "adjusted.slope_from", "%"),
        ("stored", "offset_mv", "2.4", "adjusted.offset_from", "mV"),
        ("constants_as_left", "slope_percent", "96.4", "adjusted.slope_to", "%"),
        ("constants_as_left", "offset_mv", "-3.8", "adjusted.offset_to", "mV"),
    ],
)
def test_one_number_typed_two_ways_is_refused(part: str, name: str, typed: str, path: str, unit: str) -> None:
    raw = copy.deepcopy(RAW)
    assert raw["adjusted"] == {**ADJUSTED, "at": "08:55"}
    raw[part][name] = typed
    here = ADJUSTED[path.removeprefix("adjusted.")]
    assert refused(raw, GIVEN) == (
        f"{path} is {here} {unit} and {part}.{name} is {typed} {unit}, and both are the same number of the "
        "transmitter; look which one is mistyped."
    )
    raw[part][name] = f"{here}0"  # the same number on a finer menu
    run(raw, GIVEN)
    raw[part] = {"not_done": "menu locked"}
    run(raw, GIVEN)


@pytest.mark.parametrize(
    ("typed", "taken"), [("20.1", True), ("20.0", True), ("19.9", False), ("150", True), ("151", False)]
)
@pytest.mark.parametrize("path", ["stored.slope_percent", "adjusted.slope_to"])
def test_around_the_slopes_that_are_taken_as_typed_right(path: str, typed: str, taken: bool) -> None:
    raw = adjusting(point("B4-2209", "4.10"), point("B7-4471", "7.10"), action="offset")
    raw["stored"] = {}
    part, name = path.split(".")
    raw[part][name] = typed
    if part == "stored":
        raw["adjusted"] = {"offset_from": "0", "offset_to": "1"}
    if taken:
        run(raw)
    else:
        assert refused(raw) == (
            f"{path} is {typed} %: a slope outside 20 to 150 % is taken as mistyped; type what was shown, or "
            "leave it out and say so in the remarks."
        )


@pytest.mark.parametrize(
    ("typed", "taken"), [("-4.9", True), ("-5", True), ("-5.1", False), ("60", True), ("60.1", False)]
)
@pytest.mark.parametrize(
    "path",
    [
        "process_before.temperature_c",
        "process_after.temperature_c",
        "grab_after.shown_c",
        "grab.0.temperature_c",
    ],
)
def test_around_the_temperatures_of_water(path: str, typed: str, taken: bool) -> None:
    *part, name = path.split(".")
    typed_part = {**(GRAB if "grab" in path else {"ph": "7.62"}), name: typed}
    raw = visit(point("B7-4471", "7.03"), **{part[0]: [typed_part] if part[1:] else typed_part})
    if taken:
        run(raw)
    else:
        assert refused(raw) == (
            f"{path} is {typed} °C: a temperature outside -5 to 60 °C is taken as mistyped; type what was "
            "shown, or leave it out and say so in the remarks."
        )


# ---------------------------------------------------------------- brakes on adjusting


def adjusting(*points: dict[str, Any], action: str = "two-point", **decision: str) -> dict[str, Any]:
    return visit(
        *points,
        decision={"action": action, "why": "outside tolerance", **decision},
        adjusted={"slope_from": "97.2", "slope_to": "100.0"},
        as_left={"thermometer": "T-17", "points": list(points)},
    )


MISTYPED = (point("B4-2209", "4.01", mv="19"), point("B7-4471", "7.03", mv="-4.1"))


def test_19_mv_typed_for_190_stops_the_adjustment() -> None:
    said = refused(adjusting(*MISTYPED))
    assert said == (
        "The readings before the adjustment give a slope of 13.2 %; an electrode that works gives 80 to "
        "110 %, so a reading is mistyped, a buffer mistaken or the electrode broken. Nothing is adjusted "
        "to that: correct "
        'the readings, clean and read again, or write decision.despite = "..." with your reason to go on.'
    )
    wrong = (point("B4-2209", "4.01", mv="-171.6"), point("B7-4471", "7.03", mv="4.1"))
    assert "give a slope of -100.4 % (of the wrong sign)" in refused(adjusting(*wrong))
    # without an adjustment the numbers are shown and warned of
    assert "give a slope of 13.2 %" in told(run(visit(*MISTYPED)), "caution")


def test_a_person_may_go_on_in_spite_of_a_brake_and_stands_for_it() -> None:
    result = run(adjusting(*MISTYPED, despite="display and hand meter agree, mV menu is broken"))
    opinion = next(note for note in result.notes if note.kind == "opinion")
    assert opinion.text == "Goes on in spite of a brake: display and hand meter agree, mV menu is broken"
    assert opinion.author == "IQU"


def test_displays_that_hardly_move_stop_the_adjustment() -> None:
    said = refused(adjusting(point("B4-2209", "6.95"), point("B10-1180", "7.05")))
    assert said.startswith("Between the buffers the display moved 0.02 pH per pH; 0.8 to 1.1 is sensible")


def test_a_display_stuck_in_both_buffers_gives_no_error_at_the_process_value() -> None:
    raw = visit(point("B4-2209", "7.00"), point("B10-1180", "7.00"), process_before={"ph": "7.00"})
    found = check(run(raw), "as_found.process.error")
    assert found.reason == "the display showed 7.00 in two buffers"


def test_buffers_less_than_two_ph_apart_give_no_slope_and_no_adjustment() -> None:
    """phosphate 1:1 and ready-made 7.00 lie 0.1 apart; 9.18 borax and 7.00 lie 2.2 apart."""
    near = (point("PHO", "6.88", t="25"), point("B7-4471", "7.02", t="25"))
    assert check(run(visit(*near)), "as_found.slope").reason == (
        "the buffers are 0.135 pH apart; a slope needs at least 2 pH"
    )
    said = refused(adjusting(*near, despite="I want to"))
    assert said == (
        "A two-point adjustment needs two buffers in date at least 2 pH apart; before it there was 0.135 pH "
        "between the buffers. Read in a second buffer, or adjust the offset only."
    )
    run(adjusting(*near, action="offset"))
    apart = (point("B7-4471", "7.02", t="25"), point("BOR", "9.20", t="25"))
    result = run(adjusting(*apart))
    assert "the buffers are only 2.180 pH apart, so the slope is known poorly" in told(result, "caution")


def test_around_two_ph_between_buffers() -> None:
    for high, slope in (("8.99", False), ("9.00", True), ("9.01", True)):
        raw = visit(point("VAL", "7.02"), point("V9", "9.02"), stored={"slope_percent": "97.2"})
        bottle = replace(STANDARDS["VAL"], id="V9", lot="V9", value=Decimal(high))
        result = run(raw, replace(given_for(raw), standards={**STANDARDS, "V9": bottle}))
        assert (check(result, "as_found.slope").outcome is not Outcome.NOT_EVALUATED) is slope


def test_one_buffer_is_too_little_for_two_points() -> None:
    assert "before it there was 1 buffer" in refused(adjusting(point("B7-4471", "7.10")))


def test_unstable_readings_and_expired_buffers_stop_the_adjustment() -> None:
    moving = point("B7-4471", "7.00", "7.06", "7.12")
    assert refused(adjusting(moving, action="offset")).startswith(
        "In B7-4471 the readings were not stable within 0.02 pH: the last 3 moved 0.12 pH. Nothing is "
        "adjusted"
    )
    old = point("OLD", "7.12", use="information only")
    assert refused(adjusting(old, action="offset")).startswith(
        "OLD was read for information only. Nothing is"
    )


def test_an_adjustment_to_grabs_needs_two_that_agree() -> None:
    base = adjusting(point("B7-4471", "7.10"), action="offset", to="grab")
    assert refused({**base, "grab": [GRAB]}).startswith(
        "An adjustment to grabs needs two that agree; the sheet has 1. Nothing is adjusted"
    )
    for second, apart in (("7.52", ""), ("7.51", ""), ("7.53", "0.12")):
        raw = {**base, "grab": [GRAB, {**GRAB, "ph": second}]}
        if apart:
            assert refused(raw).startswith(
                "The errors by the grabs differ by 0.12 pH; two that agree within 0.10 pH"
            )
        elif second == "7.51":
            run(raw)
    raw = adjusting(point("B7-4471", "7.10"), point("B4-2209", "4.10"), to="grab")
    assert refused({**raw, "grab": [GRAB, GRAB]}).startswith("A two-point adjustment to grabs is refused")


def test_the_stage_after_cleaning_is_what_an_adjustment_rests_on() -> None:
    raw = adjusting(point("B4-2209", "4.10"), point("B7-4471", "7.10"))
    raw["as_found"] = {"not_done": "glass covered with slime"}
    assert "before it there was 0 buffer" in refused(raw)
    raw["cleaned"] = {"how": "acid"}
    raw["after_cleaning"] = {"points": [point("B4-2209", "4.10"), point("B7-4471", "7.10")]}
    run(raw)


# ---------------------------------------------------------------- two verdicts as found


def test_the_control_system_has_its_own_verdict() -> None:
    """The analyzer reads right, the control system shows 8.43 for 8.00: a wrong range between them."""
    points = (point("B7-4471", "7.03"), point("B10-1180", "10.08"))
    raw = visit(*points, process_before={"ph": "8.00", "control_system": "8.43"})
    result = run(raw)
    assert result.outcome("as_found") is Outcome.PASS
    assert result.outcome("as_found", "control system") is Outcome.FAIL
    found = check(result, "as_found.process.control_system")
    assert found.quantity is not None
    assert float(found.quantity.text) == pytest.approx(0.4327, abs=5e-4)


def test_read_in_the_buffer_the_control_system_is_judged_there() -> None:
    raw = visit(
        point("B7-4471", "7.03", control_system="7.10"), point("B10-1180", "10.08", control_system="10.09")
    )
    result = run(raw)
    assert check(result, "as_found.B7-4471.control_system").outcome is Outcome.FAIL
    assert check(result, "as_found.B10-1180.control_system").outcome is Outcome.PASS
    assert "as_found.process.control_system" not in [c.key for c in result.checks]


def test_a_control_system_that_nobody_read_is_not_evaluated_and_seen() -> None:
    result = run(visit(point("B7-4471", "7.03"), process_before={"ph": "7.62"}))
    assert check(result, "as_found.process.control_system").place == "control system"
    assert result.outcome("as_found", "control system") is Outcome.NOT_EVALUATED


def test_an_analyzer_without_a_control_system_has_one_verdict() -> None:
    raw = visit(point("B7-4471", "7.03"))
    given = given_for(raw)
    result = run(raw, replace(given, analyzer=replace(given.analyzer, control_system_tag="")))
    assert result.outcome("as_found", "control system") is None


def test_a_value_read_while_the_output_was_held_is_not_judged() -> None:
    points = (point("B7-4471", "7.03"), point("B10-1180", "10.08"))
    holds = {"output_held": {"at": "08:14"}, "output_released": {"at": "09:00"}}
    for at, judged in (("08:13", True), ("08:14", True), ("08:15", False)):
        raw = visit(*points, **holds, process_before={"ph": "7.62", "control_system": "7.60", "at": at})
        found = check(run(raw), "as_found.process.control_system")
        assert (found.outcome is Outcome.PASS) is judged
    assert found.reason == "the control system was read at 08:15 while the output was held, so it stood still"
    for at, judged in (("08:59", False), ("09:00", True)):
        raw = visit(*points, **holds, process_after={"ph": "7.62", "control_system": "7.60", "at": at})
        assert (check(run(raw), "as_left.process.control_system").outcome is Outcome.PASS) is judged


def test_the_process_value_is_taken_between_the_nearest_two_of_three_buffers() -> None:
    points = [point("B4-2209", "4.10"), point("B7-4471", "7.06"), point("B10-1180", "10.02")]
    raw = visit(*points, process_before={"ph": "7.62"})
    assert quantity(run(raw), "as_found.process.error").text == "0.0160"
    raw = visit(*points, process_before={"ph": "6.50"})
    working = next(w for w in run(raw).workings if w.label.startswith("Error at the displayed"))
    assert working.put_in == "0.10 + (0.0336 − 0.10) × (6.50 − 4.10) / (7.06 − 4.10)".replace(
        "0.10 ", "0.100 "
    ).replace("0.10)", "0.100)")


def test_buffers_that_do_not_bracket_the_process_value_are_warned_of() -> None:
    points = (point("B7-4471", "7.06"), point("B10-1180", "10.02"))
    for ph, warned in (("7.06", False), ("7.05", True), ("10.02", False), ("10.03", True)):
        caution = told(run(visit(*points, process_before={"ph": ph})), "caution")
        assert (f"the buffers do not bracket the process value {ph}" in caution) is warned


# ---------------------------------------------------------------- the loop current


def followed(signal: dict[str, str], **more: Any) -> dict[str, Any]:
    return visit(point("B7-4471", "7.03"), signal=signal, **more)


def with_hops(given: Given, *hops: Hop) -> Given:
    return replace(given, analyzer=replace(given.analyzer, hops=hops))


LOOP = "should give 12.69 mA"


@pytest.mark.parametrize(
    ("ma", "told_of"),
    # 4 + 16 x 7.60/14 = 12.6857; one digit of the display is 0.0114 mA, one of the meter 0.01, and 0.02
    [("12.69", False), ("12.72", False), ("12.73", True), ("12.65", False), ("12.64", True), ("10.00", True)],
)
def test_around_the_current_that_the_display_should_give(ma: str, told_of: bool) -> None:
    result = run(followed({"display": "7.60", "ma": ma}))
    sentence = (
        f"The display 7.60 should give 12.69 mA; {ma} mA was read: look at the ranges and at the meter."
    )
    assert (sentence in told(result, "caution")) is told_of
    assert (LOOP in told(result, "caution")) is told_of
    assert quantity(result, "signal.ma").text == "12.69"
    working = next(w for w in result.workings if w.label.startswith("Loop current"))
    assert working.put_in == "4 + 16 × (7.60 − 0) / (14 − 0)"
    assert working.answer == "12.69 mA"
    assert "The loop current was not measured" not in told(result, "cannot see")


@pytest.mark.parametrize(("setting", "told_of"), [("0.0329", False), ("0.0328", True)])
def test_around_the_allowance_of_the_register(setting: str, told_of: bool) -> None:
    """12.74 is 0.054286 from 12.685714; the digits are 0.011429 + 0.01, which leaves 0.032857."""
    raw = followed({"display": "7.60", "ma": "12.74"})
    result = run(raw, with_settings(given_for(raw), signal_ma=setting))
    assert (LOOP in told(result, "caution")) is told_of


def test_a_current_exactly_at_the_allowance_is_taken() -> None:
    """Range 6 to 10: 8.00 gives 12 mA, one digit of the display 0.04 mA: 12.07 is 0.04 + 0.01 + 0.02 off."""
    for ma, told_of in (("12.07", False), ("12.08", True), ("11.93", False), ("11.92", True)):
        raw = followed({"display": "8.00", "ma": ma})
        given = with_hops(given_for(raw), Hop("transmitter", Decimal(6), Decimal(10), "pH"))
        assert ("should give 12.00 mA" in told(run(raw, given), "caution")) is told_of


def test_the_range_is_that_of_the_first_hop_or_of_the_analyzer() -> None:
    """IEC 60381-1: 4 mA at the low end, 20 at the high one."""
    raw = followed({"display": "7.60", "ma": "10.40"})
    transmitter = Hop("transmitter", Decimal(6), Decimal(10), "pH")
    for hops, expected in (
        ((transmitter,), "10.40"),
        ((replace(transmitter, low=Decimal(10), high=Decimal(6)),), "13.60"),
        ((replace(transmitter, unit=""),), "10.40"),
        ((replace(transmitter, unit="mV"),), "12.69"),
        ((replace(transmitter, low=None), transmitter), "12.69"),
        ((), "12.69"),
    ):
        result = run(raw, with_hops(given_for(raw), *hops))
        assert quantity(result, "signal.ma").text == expected
    raw = followed({"display": "-1.00", "ma": "4.0"})
    result = run(raw, with_hops(given_for(raw), replace(transmitter, low=Decimal(-1))))
    assert result.workings[-1].put_in == "4 + 16 × (-1.00 − (−1)) / (10 − (−1))"
    assert quantity(result, "signal.ma").text == "4.00"


def test_a_loop_current_that_was_not_measured_is_said() -> None:
    unseen = "The loop current was not measured: at which end"
    for signal in ({"display": "7.60"}, {"not_done": "no meter"}):
        result = run(followed(signal))
        assert unseen in told(result, "cannot see")
        assert not [value for value in result.values if value.key == "signal.ma"]
    raw = visit(point("B7-4471", "7.03"))
    assert unseen in told(run(raw), "cannot see")
    alone = replace(given_for(raw).analyzer, hops=(), control_system_tag="")
    assert "loop current" not in told(run(raw, replace(given_for(raw), analyzer=alone)), "cannot see")
    result = run(followed({"ma": "12.69"}))
    assert "read without the display beside it" in told(result, "cannot see")


@pytest.mark.parametrize(
    ("at", "held"), [("08:14", False), ("08:15", True), ("08:59", True), ("09:00", False), ("", False)]
)
def test_a_signal_read_while_the_output_was_held_stood_still(at: str, held: bool) -> None:
    """The display moves on with the buffer, the current does not: a difference then is no fault."""
    signal = {"display": "7.60", "ma": "10.00", **({"at": at} if at else {})}
    raw = followed(signal, output_held={"at": "08:14"}, output_released={"at": "09:00"})
    caution = told(run(raw), "caution")
    assert (
        f"The signal was read at {at} while the output was held: the value in the control system and the "
        "current stood still, so they are not compared with the display." in caution
    ) is held
    assert (LOOP in caution) is not held


# ---------------------------------------------------------------- notes


def test_inside_its_tolerance_the_advice_is_to_leave_it_alone() -> None:
    points = (point("B7-4471", "7.03"), point("B10-1180", "10.08"))
    assert told(run(visit(*points)), "advice") == "It is inside its tolerance as found: leave it alone."
    advice = told(run(adjusting(*points)), "advice")
    assert advice.startswith("It was inside its tolerance as found and was adjusted all the same")


def test_nothing_adjusted_is_stated_as_found_equals_as_left() -> None:
    result = run(visit(point("B7-4471", "7.03")))
    assert "Nothing was adjusted: as found = as left." in told(result, "statement")
    assert quantity(result, "as_left.B7-4471.error") == quantity(result, "as_found.B7-4471.error")


def test_what_cleaning_changed_explains_and_does_not_replace() -> None:
    result = run(RAW, GIVEN)
    assert (
        "Cleaning changed the error in B7-4471 from +0.0336 to +0.0236 pH; this explains the as-found "
        "error and does not replace it."
    ) in told(result, "statement")
    assert result.outcome("as_found") is Outcome.FAIL


def test_the_lot_of_the_meter_and_the_analyzer_is_compared() -> None:
    grab = {**GRAB, "buffers": ["TWIN", "B4-2209"]}
    caution = told(run(visit(point("B7-4471", "7.03"), grab=[grab])), "caution")
    assert (
        "The meter M-2 was set with lot 4471, the lot the analyzer was read in (B7-4471): if that lot is "
        "wrong, both are wrong alike."
    ) in caution
    assert "set with lot 2209" not in caution


def test_a_check_buffer_of_a_lot_already_read_checks_nothing_new() -> None:
    caution = told(run(visit(point("B7-4471", "7.03"), check_buffer=point("TWIN", "7.03"))), "caution")
    assert "The check buffer is of lot 4471, which was read before: it checks nothing new." in caution


def test_what_an_adjusted_analyzer_cannot_show_is_said() -> None:
    unseen = told(run(adjusting(point("B4-2209", "4.10"), point("B7-4471", "7.10"))), "cannot see")
    assert "A wrong bottle used both for adjusting and as left" in unseen
    assert "A curved response" in unseen
    assert "An error of the temperature compensation: all buffers were at 18.4 °C." in unseen
    assert "Errors that act only in the process" in unseen
    assert "A wrong bottle" not in told(run(RAW, GIVEN), "cannot see")  # its check buffer is of another lot


def test_a_performer_who_may_not_or_whose_licence_ended_is_told() -> None:
    raw = visit(point("B7-4471", "7.03"))
    person = replace(GIVEN.people["IQU"], may_perform=False, licence_until="2026-03-02")
    caution = told(run(raw, replace(given_for(raw), people={"IQU": person})), "caution")
    assert "I. Quarrow (IQU) may not perform verifications by the list of people." in caution
    assert "The licence of I. Quarrow (IQU) ended on 2026-03-02." in caution


def test_cautions_that_were_not_read_are_told() -> None:
    raw = visit(point("B7-4471", "7.03"), cautions={"not_done": "not in the source"})
    assert "The cautions were not read: not in the source." in told(run(raw), "caution")


def test_clocks_that_differ_are_stated() -> None:
    said = told(run(RAW, GIVEN), "statement")
    assert "The clock of the control system was 2 min ahead of the laptop's." in said
    raw = {**RAW, "clocks": {"laptop": "08:11", "control_system": "08:10"}}
    assert "was 1 min behind the laptop's" in told(run(raw, given_for(raw)), "statement")


def test_opinions_carry_their_author() -> None:
    opinion = next(note for note in run(RAW, GIVEN).notes if note.kind == "opinion")
    assert (opinion.text[:27], opinion.author) == ("the electrode is ageing, 14", "IQU")


# ---------------------------------------------------------------- charts


def test_the_chart_of_errors_holds_each_stage_with_u_and_the_tolerance() -> None:
    errors, trace = run(RAW, GIVEN).charts
    assert errors.kind == "errors"
    assert [series.name for series in errors.series] == ["as found", "after cleaning", "as left"]
    assert errors.series[0].points == (
        ("7.0264", "0.0336", "0.019"),
        ("10.0792", "-0.0592", "0.037"),
        ("7.62", "0.0160", "0.018"),
    )
    assert [line.y for line in errors.lines] == ["-0.05", "0.05"]
    moved = ("1", "0.01", ""), ("2", "0.00", ""), ("3", "0.00", "")
    assert [(series.name, series.points[:3]) for series in trace.series] == [
        ("as found, B7-4471", (("1", "0.02", ""), ("2", "0.01", ""), ("3", "0.00", ""))),
        ("as found, B10-1180", (("1", "-0.04", ""), ("2", "-0.01", ""), ("3", "0.00", ""))),
        ("after cleaning, B7-4471", moved),
        (
            "after cleaning, B10-1180, and 1 alike",
            tuple((n, y.replace("0.01", "-0.01"), u) for n, y, u in moved),
        ),
    ]
    assert trace.series[0].points[3:] == (("4", "0.00", ""),)
    assert trace.title.endswith("from the accepted one (where they moved)")


def traces(*points: dict[str, Any]) -> list[Chart]:
    raw = visit(*points)
    return [chart for chart in run(raw, given_for(raw)).charts if chart.kind == "trace"]


def test_only_readings_that_moved_are_drawn() -> None:
    still = point("B7-4471", "7.03")
    assert traces(still, point("B4-2209", "4.01", "4.01", "4.010")) == []
    (chart,) = traces(still, point("B4-2209", "4.02", "4.01", "4.01"))
    assert [series.name for series in chart.series] == ["as found, B4-2209"]


@pytest.mark.parametrize("count", [5, 6, 7])
def test_at_most_six_traces_are_drawn_and_the_rest_is_said(count: int) -> None:
    bottles = [f"X{n}" for n in range(count)]
    raw = visit(*(point(name, f"7.{n + 10}", "7.03", "7.03", "7.03") for n, name in enumerate(bottles)))
    known = {name: replace(STANDARDS["VAL"], id=name, lot=name) for name in bottles}
    chart = run(raw, replace(given_for(raw), standards={**STANDARDS, **known})).charts[-1]
    assert [series.name for series in chart.series] == [f"as found, {name}" for name in bottles[:6]]
    assert ("(the first 6 of 7 that moved)" in chart.title) is (count == 7)


def test_without_readings_there_is_no_chart() -> None:
    raw = visit(as_found={"not_done": "broken"}, as_left={"not_done": "out of service"})
    assert run(raw).charts == ()


# ---------------------------------------------------------------- whatever is typed

_READING = st.decimals(Decimal(-1), Decimal(15), places=2).map(str)
_POINT = st.fixed_dictionaries(
    {
        "standard": st.sampled_from(
            ["B4-2209", "B7-4471", "B10-1180", "TWIN", "PHO", "BOR", "VAL", "OWN", "OLD"]
        ),
        "readings": st.lists(_READING, min_size=1, max_size=4),
        "temperature_c": st.sampled_from(["0", "5", "12", "18.4", "19.97", "25", "50", "60"]),
    },
    optional={
        "mv": st.decimals(Decimal(-400), Decimal(400), places=1).map(str),
        "use": st.just("information only"),
        "control_system": _READING,
    },
)
_PROCESS = st.fixed_dictionaries({"ph": _READING}, optional={"control_system": _READING})


@settings(max_examples=400, deadline=None)
@for_any(
    found=st.lists(_POINT, min_size=1, max_size=4),
    process=st.one_of(st.none(), _PROCESS),
    stored=st.one_of(st.none(), st.fixed_dictionaries({"slope_percent": st.just("97.2")})),
    rule=st.sampled_from(["simple", "guarded", "as the method states"]),
)
def test_any_readings_give_all_declared_checks_or_one_plain_sentence(
    found: list[dict[str, Any]], process: dict[str, str] | None, stored: dict[str, str] | None, rule: str
) -> None:
    raw = visit(*found)
    if process:
        raw["process_before"] = process
    if stored:
        raw["stored"] = stored
    given = given_for(raw, error=tolerance("0.10", rule))
    sheet = parse(PH, raw)
    result, said = computed_or_told(sheet, given)
    if result is None:
        assert said.endswith((".", ")")) or said.endswith("pass.")
    else:
        assert sorted(PH.expects(sheet, given)) == sorted(c.key for c in result.checks)
        assert all(c.reason for c in result.checks if c.outcome is Outcome.NOT_EVALUATED)
        to_plain(result)  # nothing in it is infinite or not a number


def computed_or_told(sheet: Any, given: Given) -> tuple[Result | None, str]:
    try:
        return PH.compute(sheet, given, {}), ""
    except (CorrectTheEntry, ChooseAnother) as problem:
        return None, problem.message
