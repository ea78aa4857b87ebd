"""The sentences every procedure says alike: what was held, how it was handed back."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from plant_example import case_of, plant_in

from wqverify.calculations.judgement import judge
from wqverify.procedures.parts import Status
from wqverify.procedures.sentences import handed_back
from wqverify.procedures.sheets import parse
from wqverify.records.record import compute
from wqverify.terms import Quantity, Tolerance

NOT_HELD = (
    "It was touched, and neither output held nor loop in manual is entered: what the control system and the "
    "archive hold of that time may be no value of the water."
)
OUTSIDE = (
    "As left it is outside its tolerance, and it is in service without restriction; nobody says why (the "
    "note of the status)."
)


@pytest.fixture
def case(tmp_path: Path) -> Any:
    return case_of(plant_in(tmp_path / "p"), "pass")


@pytest.mark.parametrize(
    ("left_out", "touched", "said"),
    [
        ((), True, False),
        (("output_held", "output_released"), True, False),  # the loop in manual is told of
        (("output_held", "output_released", "loop_in_manual"), True, True),
        (("output_held", "output_released", "loop_in_manual"), False, False),
    ],
)
def test_what_was_touched_and_not_held_is_said(
    case: Any, left_out: tuple[str, ...], touched: bool, said: bool
) -> None:
    sheet = parse(case.procedure, {k: v for k, v in case.sheet.items() if k not in left_out})
    assert list(handed_back(sheet, sheet.status, (), touched)) == ([NOT_HELD] if said else [])


@pytest.mark.parametrize(
    ("error", "state", "note", "said"),
    [
        ("0.10", "in service", None, False),
        ("0.11", "in service", None, True),
        ("0.11", "in service", "waits for the new cell", False),
        ("0.11", "in service with restriction", None, False),
        ("0.11", "out of service", None, False),
    ],
)
def test_what_was_left_outside_its_tolerance_and_in_service_is_said(
    case: Any, error: str, state: Any, note: str | None, said: bool
) -> None:
    limit = Decimal("0.10")
    allowed = Tolerance("pH", "simple", "local", "a test", low=-limit, high=limit)
    found = judge("as_left.e", "as_left", "Error", Quantity(error, "pH", float(error)), allowed)
    sheet = parse(case.procedure, case.sheet)
    status = Status(state=state, note=note)
    assert list(handed_back(sheet, status, (found,), touched=True)) == ([OUTSIDE] if said else [])


def test_both_stand_in_the_result_of_a_visit(case: Any) -> None:
    from dataclasses import replace

    dropped = ("output_held", "output_released", "loop_in_manual")
    bare = replace(case, sheet={k: v for k, v in case.sheet.items() if k not in dropped})
    assert NOT_HELD in [note.text for note in compute(bare).notes]
    assert NOT_HELD not in [note.text for note in compute(case).notes]
