"""Terminal: nothing wider than asked for, numbers under one another, the short answer short."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from example_record import example

from wqverify.show.blocks import blocks
from wqverify.show.kinds import Column, Facts, PageBreak, Row, SignaturePlace, Signatures, Statement, Table
from wqverify.show.terminal import summary, text
from wqverify.terms import Check, Outcome, Record

NUMBERS = Table(
    (Column("Cause"), Column("Value", "number"), Column("Outcome", "outcome")),
    (
        Row(("one",), "group"),
        Row(("bottle", "7.05", "pass")),
        Row(("table", "+10", "fail")),
        Row(("glass", "-0.125", "not evaluated")),
        Row(("not evaluated: no reason",), "note"),
        Row(("none", "—", "pass")),
    ),
)


def with_checks(*checks: Check) -> Record:
    record = example()
    return replace(record, result=replace(record.result, checks=checks))


@pytest.mark.parametrize("width", [60, 80, 100, 132])
def test_no_line_is_wider_than_asked_for(width: int) -> None:
    # 66: a digest is one word of 64 letters, in brackets or indented
    lines = text(blocks(example()), width).splitlines()
    assert max(map(len, lines)) <= max(width, 66)
    assert max(map(len, lines)) > width - 12, "the width is used"


def test_every_word_of_the_blocks_stays_whole() -> None:
    shown = text(blocks(example()))
    for word in ("B10-2188", "calibration", "9f" * 32, "5e" * 32, "EP-12", "guarded", "L1-2026-0009"):
        assert re.search(rf"(?<!\S)\(?{re.escape(word)}[),;:.]*(?!\S)", shown), word


def test_points_of_numbers_stand_under_one_another() -> None:
    assert text([NUMBERS]).splitlines() == [
        "Cause   Value    Outcome",
        "------  -------  -------------",
        "one",
        "bottle    7.05   pass",
        "table   +10      fail",
        "glass    -0.125  not evaluated",
        "    not evaluated: no reason",
        "none      —      pass",
    ]


def test_a_table_too_wide_for_the_terminal_is_said_line_by_line() -> None:
    wide = Table(
        tuple(Column(f"Column {n}") for n in range(12)),
        (Row(tuple(f"unbreakable{n:09}" for n in range(12))),),
    )
    shown = text([wide])
    assert max(map(len, shown.splitlines())) <= 80
    for n in range(12):
        assert f"unbreakable{n:09}" in shown


def test_what_a_row_said_line_by_line_does_not_hold_takes_no_line() -> None:
    wide = Table(
        tuple(Column(f"Column {n}") for n in range(12)),
        (Row(tuple("—" if n % 2 else f"unbreakable{n:09}" for n in range(12))),),
    )
    shown = text([wide])
    assert "—" not in shown
    assert re.findall(r"Column (\d+)", shown) == ["2", "4", "6", "8", "10"]


def test_a_long_word_beside_a_label_goes_below_it() -> None:
    assert text([Facts((("Digest", "a" * 64),))]) == f"Digest\n  {'a' * 64}\n"
    assert text([Facts((("Serial", "EL-0417"),))]) == f"{'Serial':26}  EL-0417\n"


def test_lines_of_a_remark_stay_lines() -> None:
    assert text([Statement("one\ntwo", "Remark")]) == "Remark: one\ntwo\n"


def test_signatures_stand_after_the_first_sheet() -> None:
    """On paper they stand at the foot of the first sheet; here nobody signs before reading."""
    signatures = Signatures((SignaturePlace("Performer", "Ines", "I did it."),), "")
    lines = text([signatures, Statement("the result"), PageBreak(), Statement("evidence")]).splitlines()
    assert lines.index("the result") < lines.index(f"{'Performer':26}  Ines") < lines.index("evidence")


# ---------------------------------------------------------------- the short answer


def test_the_short_answer_fits_the_screen() -> None:
    lines = summary(example()).splitlines()
    assert lines[0] == "L1-2026-0017  AIT-2101  pH calibration in buffers"
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80


def test_the_short_answer_says_each_verdict_and_the_status() -> None:
    shown = summary(example())
    for line in (
        "As found, at the analyzer: fail",
        "As found, at the control system: pass",
        "As left: pass",
        "Status after the work: in service",
    ):
        assert f"\n{line}\n" in shown


@pytest.mark.parametrize("outcome", list(Outcome))
def test_the_short_answer_says_every_outcome_as_a_word(outcome: Outcome) -> None:
    shown = summary(with_checks(Check("x", "as_left", "Something", outcome, reason="because of this")))
    assert re.search(rf"Something +{outcome}\n    because of this\n", shown)


def test_what_does_not_count_stands_in_brackets() -> None:
    shown = summary(with_checks(Check("x", "as_left", "Slope", Outcome.FAIL, counts=False)))
    assert "(fail)" in summary(
        with_checks(
            Check("y", "as_left", "Error", Outcome.PASS),
            Check("x", "as_left", "Slope", Outcome.FAIL, counts=False),
        )
    )
    assert "As left: no check" in shown


def test_information_only_is_no_pass() -> None:
    check = Check("x", "as_left", "Error", Outcome.NOT_EVALUATED, reason="information only", information=True)
    shown = summary(with_checks(check))
    assert "As left: information only" in shown
    assert "pass" not in shown


def test_the_same_text_every_time() -> None:
    assert text(blocks(example())) == text(blocks(example()))


def test_the_short_answer_leaves_out_what_passed_and_is_in_no_verdict() -> None:
    checks = (
        Check("a", "as_left", "Error", Outcome.PASS),
        Check("b", "as_left", "Slope", Outcome.PASS, counts=False),
        Check("c", "as_left", "Offset", Outcome.FAIL, counts=False),
        Check("d", "as_left", "Drift", Outcome.NOT_EVALUATED, reason="no limit", counts=False),
        Check("e", "process_before", "Grab", Outcome.PASS, counts=False),
    )
    shown = summary(with_checks(*checks))
    assert "Slope" not in shown
    assert "Process before" not in shown
    assert re.search(r"Offset +\(fail\)\n", shown)
    assert re.search(r"Drift +\(not evaluated\)\n", shown)
    assert "\nOutside its limits, not in the verdict: Offset, as left.\nStatus after" in shown


def test_the_short_answer_says_that_a_tolerance_came_after_the_work() -> None:
    record = example()
    late = replace(record.given.changes[0], at="2026-03-04T09:00:00-06:00")
    shown = summary(replace(record, given=replace(record.given, changes=(late,))))
    assert "\nTolerance changed after the work began: tolerance control_system of AIT-2101:" in shown
    assert "Tolerance changed" not in summary(record)


def test_the_short_answer_holds_every_other_check_once() -> None:
    checks = (
        Check("a", "as_left", "Error", Outcome.PASS),
        Check("b", "process_before", "Display against a grab", Outcome.FAIL, counts=False),
    )
    lines = summary(with_checks(*checks)).splitlines()
    at = lines.index("Process before: no part of a verdict")
    assert re.fullmatch(r"  Display against a grab +\(fail\)", lines[at + 1])
    assert lines[-1] == "Status after the work: in service"
    whole = [line for line in summary(example()).splitlines() if re.match("  [^ ]", line)]
    assert len(whole) == sum(c.counts or c.outcome != Outcome.PASS for c in example().result.checks)
    assert len(whole) < len(example().result.checks)


def test_a_stage_that_was_not_done_gives_its_reason_in_the_short_answer() -> None:
    record = with_checks(Check("a", "as_found", "Error", Outcome.PASS))
    undone = replace(record.entries[-1], path="as_left.not_done", text="electrode on order")
    shown = summary(replace(record, entries=(*record.entries, undone)))
    assert "\nAs left: not done, electrode on order\n" in shown


def test_a_long_label_gives_way_to_what_stands_beside_it() -> None:
    shown = summary(with_checks(Check("a", "as_left", "word " * 30, Outcome.TOO_CLOSE)))
    (line,) = [line for line in shown.splitlines() if line.startswith("  word")]
    assert len(line) == 80
    assert re.search("…  +too close to decide$", line)


def test_what_was_typed_does_not_steer_the_terminal() -> None:
    record = example()
    nasty = replace(record.entries[-1], text="red \x1b[31m, bell \x07, \u202eback")
    record = replace(record, entries=(*record.entries, nasty), title="pH \x1b[2J")
    assert "red [U+001B][31m, bell [U+0007], [U+202E]back" in text(blocks(record))
    assert "pH [U+001B][2J" in summary(record)
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e]", text(blocks(record)) + summary(record))
