"""Attached slices: a case is computed with the very values its record names, or not at all."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from plant_example import case_of, plant_in

from wqverify.errors import ResultsDiffer
from wqverify.records.canonical import digest
from wqverify.records.record import Case, case_from, compute

SLICE = b"time,value,flag\n2026-05-04T13:00:00Z,7.41,\n"


@pytest.fixture
def case(tmp_path: Path) -> Case:
    """A visit that names one slice and has it."""
    plain = case_of(plant_in(tmp_path / "p"), "pass")
    given = replace(plain.given, attached={"trend-1.csv": digest(SLICE)})
    return replace(plain, given=given, slices={"trend-1.csv": SLICE})


def test_a_case_with_its_slices_goes_through_plain_types_and_back(case: Case) -> None:
    plain = case.plain()
    assert plain["slices"] == {"trend-1.csv": SLICE.decode()}
    again = case_from(plain)
    assert again.slices == case.slices
    assert compute(again) == compute(case)


@pytest.mark.parametrize(
    ("slices", "says"),
    [
        ({}, "The attached slice trend-1.csv is missing; nothing"),
        ({"trend-1.csv": SLICE + b"\n"}, "The attached slice trend-1.csv is another one; nothing"),
        (
            {"trend-1.csv": SLICE, "trend-2.csv": SLICE},
            "The attached slice trend-2.csv is another one; nothing",
        ),
    ],
)
def test_nothing_is_computed_with_other_slices(case: Case, slices: dict[str, bytes], says: str) -> None:
    with pytest.raises(ResultsDiffer) as caught:
        compute(replace(case, slices=slices))
    assert caught.value.message.startswith(says)
