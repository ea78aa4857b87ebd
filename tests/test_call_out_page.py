"""The page, the handover and the blank of a visit that verifies nothing: they say so, and what was found.

No outside values: nothing is computed here.
"""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path

import pytest
from pdf_text import count, squeezed, words
from plant_example import plant_in

from wqverify.entry.paper import paper
from wqverify.procedures import PROCEDURES
from wqverify.records.record import case_from, compute, draft
from wqverify.records.workbook import demo_case
from wqverify.show.blank_page import make_blank_page
from wqverify.show.blocks import blocks
from wqverify.show.handover import handover
from wqverify.show.html import html
from wqverify.show.kinds import Facts, Statement, Title
from wqverify.show.terminal import text
from wqverify.terms import Record

NEITHER = "This verifies nothing: the check of its procedure is still due."
FAULT = (
    "As found it was outside its tolerance between the current at the transmitter and the current at the far "
    "end: 7.07 mA against 7.78 mA."
)


def record_of(name: str) -> Record:
    case = case_from(demo_case(name))
    return draft(case, compute(case))


def titles(record: Record) -> list[str]:
    return [block.text for block in blocks(record) if isinstance(block, Title)]


def statements(record: Record) -> list[Statement]:
    return [block for block in blocks(record) if isinstance(block, Statement)]


def test_a_call_out_is_no_verification_record_and_states_no_conformity() -> None:
    record = record_of("call_out")
    assert titles(record) == [f"Record {record.number}"]
    assert not [one for one in statements(record) if one.lead == "Statement of conformity"]
    assert any(NEITHER in one.text for one in statements(record))
    for shown in (text(blocks(record)), html(blocks(record), {})):
        assert "Verification record" not in shown
        assert "Statement of conformity" not in shown


def test_a_doubt_looks_back_and_had_nothing_to_hold() -> None:
    record = record_of("values_in_doubt")
    assert titles(record) == [f"Record {record.number}"]
    shown = text(blocks(record))
    assert "This verifies no analyzer: it looks back" in " ".join(shown.split())
    assert NEITHER not in " ".join(shown.split())
    touched = {name: told for name, told in record.result.facts.items() if name != "touched"}
    at_the_analyzer = replace(record, result=replace(record.result, facts=touched))
    assert ("Output held", "not entered") in not_done(at_the_analyzer)
    assert ("Output held", "not entered") not in not_done(record)


def not_done(record: Record) -> list[tuple[str, str]]:
    return [row for block in blocks(record) if isinstance(block, Facts) for row in block.rows]


VERIFY_NOTHING = {"call_out", "monitor_outage", "values_in_doubt", "turbidity_month"}


@pytest.mark.parametrize("name", sorted(set(PROCEDURES) - VERIFY_NOTHING))
def test_every_other_procedure_verifies(name: str) -> None:
    record = record_of(name)
    assert titles(record) == [f"Verification record {record.number}"]
    assert not any(NEITHER in one.text for one in statements(record))
    assert NEITHER not in handover(record, "operations")


def test_the_first_sheet_says_between_which_places_and_what_was_done() -> None:
    (told,) = [one.text for one in statements(record_of("call_out")) if NEITHER in one.text]
    assert told.startswith(FAULT)
    assert "Repaired: junction box at the clearwell: terminals 7 and 8." in told
    assert "As left all that was read along the signal agreed" in told
    assert "An opinion, not verified: The current is lost in proportion" in told


def test_operations_are_told_it_once_and_that_the_check_is_due() -> None:
    record = record_of("call_out")
    said = handover(record, "operations")
    assert FAULT in said
    assert said.count("Repaired: junction box at the clearwell: terminals 7 and 8.") == 1
    assert NEITHER in said
    nothing = replace(
        record, sheet={k: v for k, v in record.sheet.items() if k not in ("signal", "repaired")}
    )
    facts = {"verifies": "no", "told.work": "Nothing was repaired."}
    checks = tuple(check for check in record.result.checks if check.stage == "as_found")
    nothing = replace(nothing, result=replace(record.result, checks=checks, facts=facts))
    said = handover(nothing, "operations")
    assert "Nothing was repaired." in said
    assert "Nothing was changed since." not in said


def test_the_blank_lists_what_may_be_measured_and_stays_on_two_pages(tmp_path: Path) -> None:
    plant = plant_in(tmp_path / "plant")
    procedure, analyzer = PROCEDURES["call_out"], plant.analyzers["AIT-2301"]
    made = paper(procedure, analyzer, plant, "2026-05-20")
    assert {"current at the far end", "value in water without chlorine", "flow at the cell"} <= set(
        made.names
    )
    assert "impedance of the glass" not in made.names  # of a pH analyzer
    pdf = make_blank_page(asdict(made))
    assert count(pdf) == 2
    said = words(pdf)
    assert squeezed("What may be measured, as it is typed") in said
    assert all(squeezed(name) in said for name in made.names)
    many = replace(made, names=tuple(f"a measurement with a long name, number {n}" for n in range(70)))
    assert count(make_blank_page(asdict(many))) == 2


def test_the_blank_of_another_procedure_lists_nothing(tmp_path: Path) -> None:
    plant = plant_in(tmp_path / "plant")
    made = paper(PROCEDURES["ph_calibration"], plant.analyzers["AIT-2101"], plant, "2026-05-20")
    assert made.names == ()
    assert squeezed("What may be measured") not in words(make_blank_page(asdict(made)))
