"""Which earlier check counts as the last good one: each rule, and each edge of a near level."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from doubt_example import ANALYZER, FACTS, check, cited, failed, given, good, notes, run, sheet

from wqverify.procedures.doubt_clears import (
    earlier_ones,
    failed_at,
    name_of,
    near,
    passed_over,
    proposed,
    why_not,
)
from wqverify.terms import Earlier, Given, Place

GIVEN = given(sheet())
HERE: tuple[Place, ...] = ("analyzer",)
FAILED = failed()


def reason(one: Any, places: tuple[Place, ...] = HERE, known: Given = GIVEN) -> str:
    return why_not(one, FAILED, known, places)


LEFT_WRONG = (check("S-05", "0.330", "0.000"), check("S-05", "0.380", "0.050", "as_left"))
LEFT_RIGHT = (check("S-05", "0.380", "0.050"), check("S-05", "0.330", "0.000", "as_left"))
CLEANED = (check("S-05", "0.380", "0.050"), check("S-05", "0.330", "0.000", "after_cleaning"))
IN_SYSTEM = check("S-05", "0.330", "0.000", place="control system")


@pytest.mark.parametrize(
    ("one", "said"),
    [
        (good(), ""),
        (good(*LEFT_RIGHT), ""),  # it failed as found and was left within its tolerance
        (good(*CLEANED), ""),
        (good(*LEFT_WRONG), "as left at the analyzer it ended as fail"),
        (good(check("S-05", "0.380", "0.050")), "as found at the analyzer it ended as fail"),
        (good(IN_SYSTEM), "it judges nothing at the analyzer"),
        (good(tag="AIT-2201"), "it is of AIT-2201"),
        (good(serial="EL-9"), "another instrument, serial EL-9"),
        (good(ended="superseded by L1-2026-0102"), "it is superseded by L1-2026-0102"),
        (replace(good(), performed=FAILED.performed), "it was done after the failed check began"),
        (good(procedure="loop_check"), "it tests the signal, not the sensor"),
        (good(procedure="call_out"), "it finds and repairs, and verifies nothing"),
        (good(procedure="standard_preparation"), "it prepares a standard"),
        (good(procedure="temperature_check"), "it tests the built-in temperature"),
        (good(facts={**FACTS, "location": "cellar"}), "another location: cellar, then panel"),
        (good(facts={**FACTS, "sample_point": "tap F-1"}), "another sample point: tap F-1, then tap F-2"),
        (good(facts={**FACTS, "unit": "FNU"}), "another unit: FNU, then NTU"),
        (good(facts={**FACTS, "species": "total"}), "another species: total, then none"),
        (good(facts={**FACTS, "adjusted": "yes"}), "it was adjusted, and not read again at the analyzer"),
        (good(*LEFT_RIGHT, facts={**FACTS, "adjusted": "yes"}), ""),
        (
            good(check("S-20", "20.00", "0.00")),
            "its level was 20.00 NTU, the failed one 0.330 NTU: not near",
        ),
        (good(procedure="grab_comparison"), ""),  # another kind of check at the same level counts
    ],
)
def test_why_an_earlier_check_is_passed_over(one: Any, said: str) -> None:
    assert reason(one) == said


def test_a_loop_check_shows_that_the_signal_was_right_where_only_the_signal_failed() -> None:
    only_signal: tuple[Place, ...] = ("control system",)
    wrong = failed(check("S-05", "0.300", "0.000"), check("S-05", "0.380", "0.050", place="control system"))
    assert failed_at(wrong) == only_signal
    loop = good(IN_SYSTEM, procedure="loop_check")
    assert why_not(loop, wrong, GIVEN, only_signal) == ""
    assert why_not(loop, wrong, GIVEN, HERE) == "it tests the signal, not the sensor"


@pytest.mark.parametrize(
    ("one", "other", "is_near"),
    [
        # within a factor of 2
        ("0.30", "0.59", True),
        ("0.30", "0.60", True),
        ("0.30", "0.61", False),
        ("0.60", "0.30", True),
        # within 15 % of the range of 100 NTU
        ("20", "34.9", True),
        ("20", "35", True),
        ("20", "35.1", False),
        ("0", "0", True),
        ("0", "0.01", False),
    ],
)
def test_how_near_a_level_must_be(one: str, other: str, is_near: bool) -> None:
    assert near(Decimal(one), Decimal(other), GIVEN) is is_near


def test_how_near_is_a_setting_of_the_register() -> None:
    settings = {"doubt_near_factor": "3", "doubt_near_percent": "1"}
    known = replace(GIVEN, analyzer=replace(ANALYZER, settings=settings))
    assert near(Decimal("0.30"), Decimal("0.90"), known)
    assert not near(Decimal(20), Decimal("21.1"), known)


def earlier(number: str, day: int, **more: Any) -> Earlier:
    plain: dict[str, Any] = {
        "serial": FAILED.serial,
        "outcomes": {"as_found at the analyzer": "pass"},
        "values": {"as_found.S-05.error": "0.001"},
        "procedure": "turbidity_standard_check",
        "facts": FACTS,
    }
    began = f"2026-03-{day:02d}T08:00-05:00"
    return Earlier(number, began, **{**plain, **more})


def test_of_a_record_that_is_not_named_only_the_standard_tells_the_level() -> None:
    grab = {"procedure": "grab_comparison", "values": {"as_found.grab_1.difference": "0.00"}}
    assert reason(earlier("L1-2026-0120", 20)) == ""
    assert reason(earlier("L1-2026-0121", 21, **grab)) == (
        "at which level it judged is not known (grab comparison)"
    )


def test_the_newest_that_counts_is_proposed_and_all_newer_ones_are_told_of() -> None:
    rows = (
        earlier("L1-2026-0125", 25, procedure="loop_check"),
        earlier("L1-2026-0120", 20, serial="EL-9"),
        earlier("L1-2026-0115", 15),
        earlier("L1-2026-0110", 10),
    )
    known = replace(GIVEN, earlier=rows)
    assert [one.number for one in earlier_ones(FAILED, known)][:2] == ["L1-2026-0125", "L1-2026-0120"]
    found = proposed(FAILED, known, HERE)
    assert found is not None
    assert found.number == "L1-2026-0115"
    passed = list(passed_over(good(), FAILED, known, HERE))
    assert [(one.number, bool(one.why)) for one in passed] == [
        ("L1-2026-0125", True),
        ("L1-2026-0120", True),
        ("L1-2026-0115", False),
        ("L1-2026-0110", False),
    ]
    result = run(sheet(), earlier=rows)
    text = notes(result)
    assert "Passed over as last good check: L1-2026-0125 (loop check, 2026-03-25 08:00), it tests" in text
    assert "would count too: L1-2026-0115 and L1-2026-0110." in notes(result, "caution")


def test_more_than_a_dozen_are_counted() -> None:
    rows = [
        cited(f"L1-2026-{day + 100:04d}", f"2026-03-{day:02d} 12:00", procedure="loop_check")
        for day in range(2, 20)
    ]
    text = notes(run(sheet(), failed(), good(), *rows))
    assert text.count("Passed over as last good check") == 12
    assert "6 older records are passed over too." in text


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("as_found.S-05.change", "S-05"),
        ("as_found.grab_1.difference", "grab 1"),
        ("as_found.error", "error"),
        ("as_found.B7-4471.control_system", "B7-4471"),
    ],
)
def test_what_a_check_is_called_on_a_sheet(key: str, name: str) -> None:
    assert name_of(key) == name
