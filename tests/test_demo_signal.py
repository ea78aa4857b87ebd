"""The demo visits along a signal say by themselves what is wrong: range, supply and root by their readings.

Outside values: Ohm's law and the 4-20 mA line by hand, the square root by Python's math module; W20 of the
practice checks is the same kind of loop (21.6 V, 12 V and 600 ohm stick at 16.0 mA).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from plant_example import MONTH, plant_in, sheet_of

from wqverify.demo.physical_visits import physical_visits
from wqverify.demo.signal_visits import signal_visits
from wqverify.gather import gather
from wqverify.plant.folder import Plant
from wqverify.procedures import PROCEDURES
from wqverify.procedures.sheets import read_sheet
from wqverify.records.record import Case, compute
from wqverify.terms import Place, Result

LOOP, LEVEL, FLOW = "loop droop", "level far end", "flow double root"
NIGHT = "call-out by night"
Change = Callable[[Any], None]


@pytest.fixture
def plant(tmp_path: Path) -> Plant:
    return plant_in(tmp_path / "plant")


def result_of(plant: Plant, name: str, change: Change | None = None) -> Result:
    """Compute a visit of the demo month, with its sheet changed as somebody might have read it."""
    raw, document = read_sheet(sheet_of(plant, name))
    if change is not None:
        change(raw)
    procedure = PROCEDURES[raw["procedure"]]
    return compute(Case(procedure, raw, *gather(plant, None, procedure, raw, document)))


def told(result: Result, words: str) -> list[str]:
    return [note.text for note in result.notes if words in note.text]


def outcomes(result: Result, place: Place = "analyzer") -> dict[str, str]:
    return {stage: str(result.outcome(stage, place)) for stage in ("as_found", "as_left")}


# ---------------------------------------------------------------- the range at the far end


def scaled_to(top: float) -> Change:
    """What our control system had shown as found if 20 mA were another level there: by hand."""

    def change(sheet: Any) -> None:
        for point in (*sheet["as_found"]["points"], *sheet["second"]["points"]):
            ma = float(point["ma"]) if "ma" in point else float(point["reference"][0].split()[0])
            point["own"] = f"{top * (ma - 4) / 16:.1f}"

    return change


def test_the_level_check_names_the_range_at_the_far_end(plant: Plant) -> None:
    result = result_of(plant, LEVEL)
    (candidate,) = told(result, "Candidate, not a verdict")
    assert "our control system is scaled to 0 to 35 ft, the transmitter to 0 to 40." in candidate
    assert told(result, "Remote display goes with the transmitter's 0 to 40 ft within U.")
    assert outcomes(result, "analyzer") == {"as_found": "pass", "as_left": "pass"}
    assert outcomes(result, "control system") == {"as_found": "fail", "as_left": "pass"}


@pytest.mark.parametrize("top", [36, 45])  # which a display of 0.1 ft shows nearly exactly
def test_the_range_named_is_the_one_that_was_read(plant: Plant, top: int) -> None:
    result = result_of(plant, LEVEL, scaled_to(top))
    assert any(f"scaled to 0 to {top} ft" in text for text in told(result, "Candidate, not a verdict"))
    assert not told(result, "0 to 35")


def test_no_range_is_named_where_both_ends_agree(plant: Plant) -> None:
    result = result_of(plant, LEVEL, scaled_to(40))
    assert not told(result, "Candidate")
    assert outcomes(result, "control system")["as_found"] == "pass"


# ---------------------------------------------------------------- the loop without volts


def without_supply(sheet: Any) -> None:
    del sheet["supply"]


def test_the_loop_check_says_by_its_readings_that_the_supply_is_used_up(plant: Plant) -> None:
    """Without a volt entered: the current follows up to 16 mA and sticks at 20."""
    result = result_of(plant, LOOP, without_supply)
    (candidate,) = told(result, "candidate 1, not a verdict")
    assert candidate.startswith("As found,")
    assert "the current sticks near 17.54 mA: the supply is used up" in candidate
    assert not told(result, "candidate 2")
    assert outcomes(result) == {"as_found": "fail", "as_left": "pass"}
    assert outcomes(result, "control system")["as_found"] == "fail"


def test_the_loop_check_says_by_the_volts_where_the_current_sticks(plant: Plant) -> None:
    by_hand = 1000 * (24.0 - 10.5) / 770
    (caution,) = told(result_of(plant, LOOP), "As found the supply is used up at")
    assert f"{by_hand:.2f} mA" in caution
    assert f"{100 * (by_hand - 4) / 16:.1f} % of span" in caution
    assert (f"{by_hand:.2f}", f"{100 * (by_hand - 4) / 16:.1f}") == ("17.53", "84.6")


def repaired_before(sheet: Any) -> None:
    """What the loop reads as left, read as found."""
    without_supply(sheet)
    for way in ("rising", "falling"):
        for place in ("measured_ma", "card", "display"):
            sheet["as_found"][way][place] = sheet["as_left"][way][place]


def test_no_supply_is_named_where_the_current_follows_to_the_top(plant: Plant) -> None:
    result = result_of(plant, LOOP, repaired_before)
    assert not told(result, "sticks")
    assert outcomes(result)["as_found"] == "pass"


# ---------------------------------------------------------------- the same loop, called out by night


def test_the_call_out_locates_the_supply_between_display_and_current(plant: Plant) -> None:
    """19.2 ft of 20 is 19.36 mA by hand; 13.5 V over 770 ohm is 17.53 mA, 84.6 % of span."""
    result = result_of(plant, NIGHT)
    (located,) = told(result, "The fault lies between")
    assert "between the display of the analyzer and the current at the transmitter" in located
    assert "96.0 % of the span" in located
    (volts,) = told(result, "the supply droops, good low and stuck high")
    assert "the transmitter has no volts to spare" in volts
    (top,) = told(result, "at most 17.53 mA")
    assert "it sticks at 84.6 % of span" in top
    assert outcomes(result, "control system")["as_found"] == "fail"


def test_the_call_out_of_a_loop_that_follows_names_no_supply(plant: Plant) -> None:
    def lower(sheet: Any) -> None:
        """At 12 ft the same loop follows: 13.6 mA, 24 V less 10.47 V."""
        sheet["at_first"] |= {"display": "12.00", "control_system": "12.01"}
        readings = {"current at the far end": "13.60", "current at the transmitter": "13.60"}
        readings |= {"volts at the transmitter": "13.5", "resistance of the loop": "640"}
        for row in sheet["measured"]:
            row["reading"] = readings.get(row["what"], row["reading"])

    result = result_of(plant, NIGHT, lower)
    assert not told(result, "The fault lies")
    assert not told(result, "droops")
    assert not told(result, "sticks")


# ---------------------------------------------------------------- the root taken twice


def where_is_not_known(sheet: Any) -> None:
    sheet["meter"]["root"] = "not known"


def test_the_flow_check_names_the_second_root_though_nobody_said_where_it_is(plant: Plant) -> None:
    result = result_of(plant, FLOW, where_is_not_known)
    (candidate,) = told(result, "taken once too often between the meter and the control system")
    assert candidate.startswith("As found, candidate")
    meter = (88248.09 - 88214.35) * 1000 / 30  # gpm, by the totals
    assert f"{100 * meter / 3200:.1f} % of full scale" in candidate
    assert f"shows as {100 * math.sqrt(meter / 3200):.1f} % then" in candidate
    assert told(result, "What would separate these candidates")
    assert outcomes(result, "analyzer") == {"as_found": "pass", "as_left": "pass"}
    assert outcomes(result, "control system") == {"as_found": "fail", "as_left": "pass"}


def one_root(sheet: Any) -> None:
    sheet["as_found"]["control_system"] = sheet["as_left"]["control_system"]


def test_no_root_is_named_where_the_control_system_agrees(plant: Plant) -> None:
    result = result_of(plant, FLOW, one_root)
    assert not told(result, "candidate")
    assert outcomes(result, "control system")["as_found"] == "pass"


# ---------------------------------------------------------------- the round, and all of them


@pytest.mark.parametrize("name", ["conductivity", "temperature"])
def test_the_round_at_the_raw_water_passes_without_a_caution(plant: Plant, name: str) -> None:
    result = result_of(plant, name)
    assert outcomes(result) == outcomes(result, "control system") == {"as_found": "pass", "as_left": "pass"}
    assert {str(check.outcome) for check in result.checks} == {"pass"}
    assert not [note for note in result.notes if note.kind == "caution"]


def test_the_visits_are_seeded_and_say_that_they_are_synthetic() -> None:
    for visits in (signal_visits, physical_visits):
        first, again, other = (list(visits(month)) for month in (MONTH, MONTH, date(2026, 2, 1)))
        assert first == again
        assert [v.sheet.replace("2026-05", "2026-02") for v in first] == [v.sheet for v in other]
        assert all(visit.sheet.startswith("# Synthetic data of the demo plant.\n") for visit in first)
