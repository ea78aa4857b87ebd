"""Blocks: every item of the record checklist has its place; nothing is lost, hidden or invented."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import asdict, replace
from decimal import Decimal
from typing import Any, Literal

import pytest
from example_record import example

from wqverify.shipped import shipped_folder
from wqverify.show.blocks import (
    Block,
    ChartBlock,
    Facts,
    Heading,
    Signatures,
    Statement,
    Table,
    Verdicts,
    blocks,
)
from wqverify.show.headings import EARLIER, HEADINGS
from wqverify.terms import (
    BudgetLine,
    Change,
    Chart,
    Check,
    Cited,
    Earlier,
    Entry,
    Hop,
    Line,
    Note,
    Outcome,
    Quantity,
    Record,
    Result,
    Series,
    Tolerance,
    TrendUse,
)


def texts(value: Any) -> Iterator[str]:
    """Give every text of a block, whatever it is made of."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for item in value.values():
            yield from texts(item)
    elif isinstance(value, (list, tuple)):
        for item in value:
            yield from texts(item)


def said(found: tuple[Block, ...]) -> str:
    return "\n".join(text for block in found for text in texts(asdict(block)))


def section(record: Record, heading: str) -> str:
    """Return all text under one heading."""
    inside, found = False, []
    for block in blocks(record):
        if isinstance(block, Heading):
            inside = block.text == heading
        if inside:
            found.append(block)
    assert found, heading
    return said(tuple(found))


def with_result(**changes: Any) -> Record:
    record = example()
    return replace(record, result=replace(record.result, **changes))


def answered(path: str, text: str, label: str = "Status: note") -> Record:
    """Return the example with one more answer, or another one."""
    record = example()
    others = tuple(entry for entry in record.entries if entry.path != path)
    return replace(record, entries=(*others, Entry(path, label, text)))


# ---------------------------------------------------------------- the checklist of the record

AT_THE_TOP = ""
ANALYZER = "Analyzer and work"
PLACES: tuple[tuple[str, str, str], ...] = (
    # item of the checklist, heading under which it stands ("" anywhere), text that must be there
    ("R01 number", AT_THE_TOP, "Verification record L1-2026-0017"),
    ("R02 utility", AT_THE_TOP, "Ellodale water plant"),
    ("R02 site", AT_THE_TOP, "1 Weir Lane, Ellodale (invented)"),
    ("R02 sample point", ANALYZER, "Settled water, tap S-4"),
    ("R02 place", ANALYZER, "Filter gallery, panel FG-2"),
    ("R03 tag, serial", ANALYZER, "AIT-2101, serial EL-0417"),
    ("R03 type", ANALYZER, "pH transmitter with glass electrode"),
    ("R03 range", ANALYZER, "pH, 0 to 14 pH"),
    ("R03 output", ANALYZER, "4-20 mA for 0-14 pH"),
    ("R03 control-system tag", ANALYZER, "AIT2101.PV"),
    ("R04 on arrival", "Observations as typed, in the order of the work", "brown film on the glass"),
    ("R05 work", ANALYZER, "2026-03-03 08:15 -06:00"),
    ("R05 entry, another time", ANALYZER, "2026-03-03 09:24:31 -06:00"),
    ("R05 zone", ANALYZER, "America/Chicago"),
    ("R05 readings", "Observations as typed, in the order of the work", "08:17 (-06:00)"),
    ("R06 by name", ANALYZER, "Ines Quarrow (T-07)"),
    ("R06 parts", "People", "performed the work; gave the opinion on the cause"),
    ("R07 licence", ANALYZER, "Class C 10417 (invented) until 2027-06-30"),
    ("R07 approval", ANALYZER, "State approval 88-T (invented): pH, turbidity, temperature, residual"),
    ("R08 kind of visit", ANALYZER, "routine"),
    ("R09 method", ANALYZER, "Method\nEP-12 rev. 3"),
    ("R09 own revision", AT_THE_TOP, "pH calibration in buffers, revision 1"),
    ("R10 deviations", ANALYZER, "Deviations\nnone"),
    ("R11 as typed", "Observations as typed, in the order of the work", "9.95, 9.92, 9.92, 9.92 pH"),
    ("R12 as found", "Checks", "As found, at the analyzer"),
    ("R13 after cleaning", "Checks", "After cleaning"),
    ("R14 from what to what", "Adjustment", "Slope\n98.1\n95.1\n%"),
    ("R15 as left", "Checks", "As left"),
    ("R16 lot, certificate", "Standards and instruments used", "4471\nC-4471 (invented)"),
    ("R16 value, U, k", "Standards and instruments used", "0.01 (2)"),
    ("R16 opened", "Standards and instruments used", "2026-01-12"),
    ("R16 usable until, because", "Standards and instruments used", "opened + 180 days"),
    ("R17 calibration due", "Standards and instruments used", "calibration due 2026-09-01"),
    ("R18 temperature", "Observations as typed, in the order of the work", "18.4 °C"),
    ("R19 resolution", ANALYZER, "0 to 14 pH, in steps of 0.01"),
    ("R20 stability", "Uncertainty budgets", "stable within 0.02 pH"),
    ("R21 U", "Checks", "-0.159\n0.037\npH"),
    ("R21 k, coverage", "Checks", "coverage 95.45 %, k 2.00 to 2.05"),
    ("R22 budget", "Uncertainty budgets", "bottle:B7-4471"),
    ("R22 assumed sizes", "Uncertainty budgets", "assumed, memory: taken up since opening"),
    ("R23 limit", "Checks", "±0.10 pH\nguarded\nlocal\nEllodale procedure EP-12 rev. 3"),
    ("R23 its date", "Checks", "2025-11-01"),
    ("R24 statement", "Rule of decision and its risk", "As found, at the analyzer: fail"),
    ("R25 rule", "Rule of decision and its risk", "pass when |error| is at most T - U"),
    ("R25 risk", "Checks", "guarded: a wrong pass or fail has a risk of at most 2.3 %"),
    ("R25 agreed before", "Rule of decision and its risk", "with its reason, before the work began"),
    ("R26 not decided", "Checks", "too close to decide"),
    ("R27 holding time", "Checks", "22 min after it was taken, more than 15 min"),
    ("R28 grab and online", "Checks", "8.71\n8.68"),
    ("R29 side by side", "Signal, hop by hop", "13.95 mA"),
    ("R30 ranges", "Signal, hop by hop", "The range is the same at every hop"),
    ("R31 held", "Output held, loop in manual, alarm blocked", "08:18 -06:00"),
    ("R31 data between", "Output held, loop in manual, alarm blocked", "is not a value of the water"),
    ("R32 failed as found", "Outcome", "Values since record L1-2026-0009 are in doubt"),
    ("R32 what of it", "Outcome", "Not evaluated in this record: the period since the last check within"),
    ("R32 used", "Outcome", "decisions that used the values, reports already sent, and who is told"),
    ("R34 software", "Made with", "wqverify 0.1.0, Python 3.11.9"),
    ("R34 tables", "Made with", "5e" * 32),
    ("R34 notebook", "Made with", "0a" * 32),
    ("R34 attachments", "Made with", "1b" * 32),
    ("R35 validated", "Made with", "tested against published worked values"),
    ("R35 its tests", "Made with", "its tests are published with its source."),
    ("R36 second means", "Made with", "The calculation ran twice"),
    ("R36 by hand", "Calculation by hand", "10.12 + (10.06 - 10.12) × (18.4 - 15) / 5"),
    ("R37 changes", "Changed since the last record of this analyzer", "changed, not yet explained"),
    ("R39 meaning", AT_THE_TOP, "I did this work; the readings are those I saw."),
    ("R40 tied", "About this record", "a signature covers every byte of the file"),
    ("R40 chained", "Made with", "9f" * 32),
    ("R41 readable before", AT_THE_TOP, "I have read this record"),
    ("R42 credential", "About this record", "belongs to one person and opens only with that person's"),
    ("R43 another person", AT_THE_TOP, "another person than the performer"),
    ("R44 both copies", "About this record", "record.json holds the same values with their labels"),
    ("R45 kept", "About this record", "Kept for 10 years, at least until 2036-03-03"),
    ("R46 no next date", "About this record", "No date for the next visit is set here."),
    ("R47 this item", "About this record", "relate only to the item named above"),
    ("R47 copying", "About this record", "copied only in full"),
    ("R48 status", "Outcome", "Status after the work\nin service"),
    ("R49 opinion", "What the result says, and what it cannot see", "opinion of Ines Quarrow (T-07)"),
    ("R50 audit trail", "About this record", "is an entry of the book, with who and when"),
    ("no accreditation", "About this record", "No accreditation is claimed"),
    ("patterns", "About this record", "21 CFR part 11 served as patterns"),
    ("clock", "About this record", "this computer's clock"),
    ("synthetic", AT_THE_TOP, "Synthetic data: an invented plant"),
)


@pytest.mark.parametrize(("item", "heading", "text"), PLACES, ids=[place[0] for place in PLACES])
def test_every_item_of_the_checklist_has_its_place(item: str, heading: str, text: str) -> None:
    found = section(example(), heading) if heading else said(blocks(example()))
    assert text in found, item


def test_samples_by_hand_while_out_of_service() -> None:
    """R33: the record says that it does not follow these dates, where they matter."""
    words = "a rule may ask for samples by hand and for repair by a date"
    assert words in section(answered("status.state", "out of service"), "Outcome")
    assert words not in section(example(), "Outcome")


def test_an_amended_record_names_the_one_it_replaces_and_why() -> None:
    """R38."""
    record = replace(example(), replaces="L1-2026-0016", replaces_why="wrong lot typed")
    assert "L1-2026-0016, because wrong lot typed" in section(record, ANALYZER)


def changed(*changes: Change, **more: Any) -> Record:
    """Return the example with these changes before it."""
    record = example()
    return replace(record, given=replace(record.given, changes=changes, **more))


WORK = "2026-03-03T08:15:00-06:00"
LATE = "Tolerance changed after the work began: tolerance error of AIT-2101: high: 0.05 -> 0.10."


def a_tolerance(at: str, why: str = "loop card") -> Change:
    return Change(at, "tolerance error of AIT-2101: high", "0.05", "0.10", "S-02", why)


def said_on_the_first_sheet(record: Record) -> list[str]:
    found = [b for b in blocks(record) if isinstance(b, Statement) and b.lead.startswith("Tolerance changed")]
    assert section(record, "Outcome").count("Tolerance changed") == len(found)
    return [f"{b.lead}: {b.text}" for b in found]


@pytest.mark.parametrize(
    ("at", "late"),
    [
        ("2026-03-03T08:14:59-06:00", False),
        (WORK, False),
        ("2026-03-03T14:15:00+00:00", False),  # the same moment elsewhere
        ("2026-03-03T14:15:01+00:00", True),  # earlier than 08:15 by no clock, later by the offset
        ("2026-03-04T09:00:00-06:00", True),
    ],
)
def test_a_tolerance_entered_after_the_work_began_is_said_aloud(at: str, late: bool) -> None:
    """Just before, at, just after the start of the work; a missing time has a test of its own."""
    assert example().performed == WORK
    record = changed(a_tolerance(at))
    assert said_on_the_first_sheet(record) == ([LATE] if late else [])
    rule = section(record, "Rule of decision and its risk")
    assert ("A tolerance used here was entered after the work had begun (tolerance error" in rule) is late
    assert ("was entered, with its reason, before the work began" in rule) is not late


def test_a_late_tolerance_is_told_with_when_by_whom_and_why() -> None:
    rule = section(changed(a_tolerance("2026-03-04T09:00:00-06:00")), "Rule of decision and its risk")
    assert (
        "A tolerance used here was entered after the work had begun (tolerance error of AIT-2101: high: "
        "0.05 -> 0.10, entered 2026-03-04 09:00 -06:00 by S-02 because loop card)."
    ) in rule


def test_a_tolerance_changed_without_a_reason_is_said_aloud() -> None:
    """What the book does not know of, and what it knows without a reason; neither is called late."""
    for at, words in (
        (
            "",
            "and nobody has said why: when it was entered, before or after the work had begun, is not known.",
        ),
        ("2026-03-01T10:00:00-06:00", "entered 2026-03-01 10:00 -06:00 by S-02 and nobody has said why)."),
    ):
        record = changed(a_tolerance(at, why=""))
        (line,) = said_on_the_first_sheet(record)
        assert line.startswith("Tolerance changed, and nobody has said why: tolerance error of AIT-2101")
        rule = section(record, "Rule of decision and its risk")
        assert words in rule
        assert "before the work began." not in rule


@pytest.mark.parametrize(
    ("what", "now"),
    [
        ("AIT-2101: tolerance error", "unit pH, rule guarded, low -0.10, high 0.10"),
        ("AIT-2101: added", "kind pH transmitter, tolerance error unit pH, rule guarded"),
    ],
)
def test_a_tolerance_may_come_whole_or_with_its_analyzer(what: str, now: str) -> None:
    record = changed(Change("2026-03-04T09:00:00-06:00", what, "", now, "S-02", "new"))
    (line,) = said_on_the_first_sheet(record)
    assert line.startswith(f"Tolerance changed after the work began: {what}: none -> ")


def test_nothing_is_claimed_of_tolerances_that_was_not_looked_up() -> None:
    other = Change("2026-03-04T09:00:00-06:00", "location of AIT-2101", "FG-1", "FG-2", "S-02", "moved")
    typed = Change("2026-03-04T09:00:00-06:00", "entry tolerance: remark", "a", "b", "T-07", "misread")
    for record in (changed(), changed(other, typed)):
        assert said_on_the_first_sheet(record) == []
        rule = section(record, "Rule of decision and its risk")
        assert (
            "No change of a tolerance was entered between the last record of this analyzer and this" in rule
        )
    rule = section(changed(earlier=()), "Rule of decision and its risk")
    assert "This record holds no change of a tolerance; no earlier record of this analyzer was known" in rule


def test_an_amended_record_shows_what_the_replaced_one_said() -> None:
    """R37: old and new value, by whom and why; apart from the changes of the plant."""
    entry = Change("", "entry As found: buffer lot", "4471", "4417", "T-07", "wrong lot typed")
    bare = Change("", "entry Remarks", "", "late", "", "")
    record = replace(changed(entry, bare), replaces="L1-2026-0016", replaces_why="see below")
    tables = {b.title: b for b in blocks(record) if isinstance(b, Table)}
    assert [row.cells for row in tables["Amended: L1-2026-0016"].rows] == [
        ("As found: buffer lot", "4471", "4417", "T-07", "wrong lot typed"),
        ("Remarks", "—", "late", "—", "see below"),
    ]
    shown = section(record, "Changed since the last record of this analyzer")
    assert "Nothing in the register, tolerances, standards or people was changed." in shown
    assert "Amended: L1-2026-0016" in shown
    assert "Amended" not in section(example(), "Changed since the last record of this analyzer")


def test_what_nobody_entered_is_said_not_left_out() -> None:
    """R07, R09, R10."""
    record = example()
    nobody = {
        key: replace(p, licence="", licence_until="", approval="") for key, p in record.given.people.items()
    }
    entries = tuple(e for e in record.entries if e.path not in ("method", "deviations"))
    record = replace(record, entries=entries, given=replace(record.given, people=nobody))
    for shown in (record, replace(record, given=replace(record.given, people={}))):
        for label in ("Licence", "State approval", "Method", "Deviations"):
            assert f"{label}\nnot entered" in section(shown, ANALYZER)
    assert "not entered" not in section(example(), ANALYZER)


# ---------------------------------------------------------------- headings and kinds


def with_a_trend(record: Record) -> Record:
    use = TrendUse(
        "online.trend",
        "march.csv",
        "ab" * 32,
        "AIT-2101",
        "pH",
        "trend-1.csv",
        ("744 rows were read.", "2 rows held no value."),
    )
    return replace(record, given=replace(record.given, trends=(use,)))


def test_a_trend_is_shown_with_its_digest_and_what_became_of_its_rows() -> None:
    shown = section(with_a_trend(example()), "Trends the online values are from")
    for said_there in (
        "march.csv, SHA-256 abababababababab…",
        "AIT-2101 (pH)",
        "trend-1.csv",
        "744 rows were read.",
        "2 rows held no value.",
    ):
        assert said_there in shown


def test_headings_are_known_and_in_order() -> None:
    found = [block.text for block in blocks(with_a_trend(example())) if isinstance(block, Heading)]
    assert found == [heading for heading in HEADINGS if heading in found]
    assert len(found) == len(set(found))
    assert set(found) == set(HEADINGS), "the example shows every heading"


def test_shipped_notebooks_ask_only_for_known_headings() -> None:
    asked = 0
    for path in sorted(shipped_folder("notebooks").glob("*.ipynb")):
        for cell in json.loads(path.read_text("utf-8"))["cells"]:
            source = "".join(cell["source"])
            if cell["cell_type"] == "code" and "workbook.show(visits, " in source:
                for name in re.findall('"([^"]+)"', source):
                    asked += 1
                    assert name in HEADINGS, f"{path.name}: {name}"
    assert asked


def test_blocks_are_plain_data_and_the_same_every_time() -> None:
    once, again = (json.dumps([asdict(b) for b in blocks(example())]) for _ in range(2))
    assert once == again


def test_every_row_of_a_table_has_all_its_cells() -> None:
    for block in blocks(example()):
        if isinstance(block, Table):
            for row in block.rows:
                assert len(row.cells) == (len(block.columns) if row.kind == "" else 1), row


def test_every_entry_is_shown_as_typed() -> None:
    shown = section(example(), "Observations as typed, in the order of the work")
    for entry in example().entries:
        assert entry.text in shown, entry.path


def test_places_for_signatures_stand_once() -> None:
    (found,) = [block for block in blocks(example()) if isinstance(block, Signatures)]
    assert [place.role for place in found.places] == ["Performer", "Reviewer"]


# ---------------------------------------------------------------- outcomes


def verdicts(record: Record) -> dict[str, tuple[str, str]]:
    (found,) = [block for block in blocks(record) if isinstance(block, Verdicts)]
    return {row.label: (row.word, row.detail) for row in found.rows}


def a_check(outcome: Outcome, reason: str = "", **changes: Any) -> Check:
    return replace(Check("x", "as_found", "Something", outcome, reason=reason), **changes)


@pytest.mark.parametrize("outcome", list(Outcome))
def test_every_outcome_is_a_word_of_its_own(outcome: Outcome) -> None:
    record = with_result(checks=(a_check(outcome, "because of this"),))
    assert verdicts(record)["As found, at the analyzer"][0] == str(outcome)
    assert f"{outcome}" in section(record, "Checks")


def test_not_evaluated_shows_its_reason_in_verdict_and_checks() -> None:
    record = with_result(checks=(a_check(Outcome.NOT_EVALUATED, "no tolerance in the register"),))
    assert verdicts(record)["As found, at the analyzer"] == (
        "not evaluated",
        "Something: no tolerance in the register",
    )
    assert "not evaluated: no tolerance in the register" in section(record, "Checks")


def test_advice_on_upkeep_is_marked_and_decides_nothing() -> None:
    checks = (a_check(Outcome.PASS), a_check(Outcome.FAIL, key="slope", label="Slope", counts=False))
    record = with_result(checks=checks)
    assert verdicts(record)["As found, at the analyzer"][0] == "pass"
    assert "Slope (not in the verdict)" in section(record, "Checks")


def test_what_fails_outside_the_verdict_stands_beside_the_outcome() -> None:
    quantity = Quantity("94.5", "%", 94.5, 0.6, None, 2.0, "1.2", ())
    low, high = "95", "105"
    slope = a_check(Outcome.FAIL, label="Slope of the electrode", counts=False, low=low, high=high)
    slope = replace(slope, quantity=quantity)
    checks = (a_check(Outcome.PASS), slope, replace(slope, stage="as_left"))
    (line,) = [
        f"{b.lead}: {b.text}"
        for b in blocks(with_result(checks=checks))
        if isinstance(b, Statement) and b.lead.startswith("Outside")
    ]
    assert line == (
        "Outside its limits, not in the verdict: Slope of the electrode, as found 94.5 % (95 to 105) and "
        "as left 94.5 % (95 to 105)."
    )
    inside = (replace(slope, outcome=Outcome.PASS), a_check(Outcome.FAIL))
    assert "Outside its limits" not in said(blocks(with_result(checks=inside)))


def test_information_carries_no_statement_of_conformity() -> None:
    record = with_result(checks=(a_check(Outcome.NOT_EVALUATED, "for information", information=True),))
    assert verdicts(record)["As found, at the analyzer"][0] == "information only"
    assert "carry no statement of conformity" in section(record, "Checks")
    statement = section(record, "Rule of decision and its risk")
    assert "As found, at the analyzer: information only, no statement" in statement


def test_a_stage_without_a_check_says_so() -> None:
    found = verdicts(with_result(checks=()))
    assert found["As left"] == ("no check", "the record holds no check of it")
    assert "After cleaning" not in found


def test_a_stage_that_was_not_done_gives_its_reason() -> None:
    record = replace(
        answered("as_left.not_done", "electrode on order", "As left: not done, because"),
        result=Result(checks=(a_check(Outcome.FAIL),)),
    )
    assert verdicts(record)["As left"] == ("not done", "electrode on order")
    assert "electrode on order" in section(record, "Not done")


def test_the_status_is_the_persons_decision_and_never_made_up() -> None:
    record = example()
    without = replace(record, entries=tuple(e for e in record.entries if e.path != "status.state"))
    assert verdicts(without)["Status after the work"] == ("not stated", "")
    assert verdicts(record)["Status after the work"] == ("in service", "")


def test_a_pass_as_found_puts_nothing_in_doubt() -> None:
    assert "in doubt" not in said(blocks(with_result(checks=(a_check(Outcome.PASS),))))


def test_failed_as_found_reaches_back_to_the_last_record_without_a_fail() -> None:
    earlier = (
        Earlier("L1-2026-0001", "2026-01-05T08:00:00-06:00", "EL-0417", {"as_found": "pass"}),
        Earlier("L1-2026-0009", "2026-02-24T08:00:00-06:00", "EL-0417", {"as_found": "fail"}),
    )
    record = replace(example(), given=replace(example().given, earlier=earlier))
    assert "Values since record L1-2026-0001 are in doubt" in section(record, "Outcome")
    nothing = replace(example(), given=replace(example().given, earlier=()))
    assert "Values since the last check within tolerance are in doubt" in section(nothing, "Outcome")


# ---------------------------------------------------------------- against what, how sure


@pytest.mark.parametrize(
    ("day", "late"), [("2026-03-04", False), ("2026-03-03", False), ("2026-03-02", True), ("", False)]
)
def test_a_standard_past_its_date_on_the_day_of_the_work_says_so(day: str, late: bool) -> None:
    """Just inside, at, just outside, missing."""
    record = example()
    one = replace(record.given.standards["B7-4471"], usable_until=day)
    record = replace(record, given=replace(record.given, standards={one.id: one}))
    shown = section(record, "Standards and instruments used")
    assert ("PASSED on the day of the work" in shown) is late


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        ("-0.10", "0.10", "±0.10"),
        ("95", "105", "95 to 105"),
        ("", "0.3", "at most 0.3"),
        ("4.0", "", "at least"),
    ],
)
def test_bounds_in_words(low: str, high: str, words: str) -> None:
    record = with_result(checks=(a_check(Outcome.PASS, low=low, high=high),))
    assert words in section(record, "Checks")


def test_the_larger_of_two_limits_in_words() -> None:
    tolerance = Tolerance(
        "mg/L",
        "as the method states",
        "rule",
        "EPA 334.0",
        Decimal("-0.1"),
        Decimal("0.1"),
        Decimal(15),
        True,
    )
    record = with_result(checks=(a_check(Outcome.PASS, tolerance=tolerance),))
    assert "the larger of ±0.1 mg/L and ±15 % of the reference" in section(record, "Checks")


def test_information_only_is_said_once_with_its_reason() -> None:
    words = "information only: the bottle was past its date"
    check = a_check(Outcome.NOT_EVALUATED, words, information=True)
    shown = section(with_result(checks=(check,)), "Checks")
    assert f"\n{words}" in shown
    assert "not evaluated" not in shown
    assert "Results for information only carry no statement of conformity" in shown
    bare = section(with_result(checks=(replace(check, reason="information only"),)), "Checks")
    assert bare.count("\ninformation only\n") == 1


def test_ranges_that_differ_along_the_signal_are_said_aloud() -> None:
    record = example()
    hops = (*record.given.analyzer.hops, Hop("far end", low=Decimal(0), high=Decimal(10), unit="pH"))
    analyzer = replace(record.given.analyzer, hops=hops)
    record = replace(record, given=replace(record.given, analyzer=analyzer))
    assert "THE RANGES DIFFER between hops" in section(record, "Signal, hop by hop")


def budget_tables(record: Record) -> dict[str, Table]:
    """Return the tables of the budgets by their titles."""
    return {b.title: b for b in blocks(record) if isinstance(b, Table) and b.dense}


def test_a_cause_shared_by_two_results_is_one_line_with_two_columns() -> None:
    tables = budget_tables(example())
    (line,) = [row.cells for row in tables["After cleaning"].rows if row.cells[1] == "thermometer:T-17"]
    assert line[2:] == ("0.00060 (0.0040)", "0.00060 (0.0040)")
    (line,) = [row.cells for row in tables["After cleaning"].rows if row.cells[1] == "bottle:B10-2188"]
    assert line[2:] == ("", "0.010 (-1.0)")


def test_the_number_beside_a_cause_leads_to_its_size_and_where_it_comes_from() -> None:
    tables = budget_tables(example())
    sizes = {row.cells[0]: row.cells[1:] for row in next(t for n, t in tables.items() if "Sizes" in n).rows}
    numbers = [row.cells[0] for row in tables["As found"].rows if row.cells[1] == "bottle:B10-2188"]
    assert [sizes[n] for n in numbers] == [("0.0100", "normal", "∞", "certificate: U 0.02, k 2")]


def test_a_stage_with_many_results_goes_on_in_a_second_table() -> None:
    many = tuple(
        a_check(
            Outcome.PASS, key=f"k{n}", quantity=Quantity("1.0", "pH", 1.0, 1.0, None, 2.0, "2.0", (line,))
        )
        for n in range(9)
        for line in [BudgetLine(f"cause {n}", 0.0, 1.0, "normal", None, 1.0, 1.0, "certificate", "K-1")]
    )
    found = [b for b in blocks(with_result(checks=many)) if isinstance(b, Table) and b.dense]
    assert [len(b.columns) - 2 for b in found[:-1]] == [7, 2]


def test_numbers_of_a_budget_have_no_exponent() -> None:
    line = BudgetLine("tiny", 1e-7, 2.34567e-6, "normal", None, 1e6, 2.34567, "certificate", "K-1")
    quantity = Quantity("1.0", "pH", 1.0, 2.34567, 12.0, 2.2, "5.2", (line,))
    record = with_result(checks=(a_check(Outcome.PASS, quantity=quantity),))
    shown = section(record, "Uncertainty budgets")
    assert "0.00000235" in shown
    assert "2.3 (1000000)" in shown
    assert "e-0" not in shown
    assert "u together\n2.35" in shown
    assert "degrees of freedom\n12" in shown
    assert "k\n2.20" in shown
    assert "U\n5.2" in shown


# ---------------------------------------------------------------- charts


@pytest.mark.parametrize("kind", ["errors", "trace", "samples", "pairs"])
def test_limits_are_named_under_a_chart_only_where_it_has_some(
    kind: Literal["errors", "trace", "samples", "pairs"],
) -> None:
    """A trace without limits has no caption at all."""
    series = (Series("one", (("1", "2", ""),)),)
    charts = (
        Chart(kind, "with", "x", "y", series, (Line("0.10", "limit"),)),
        Chart(kind, "without", "x", "y", series),
    )
    drawn = [b for b in blocks(with_result(charts=charts)) if isinstance(b, ChartBlock)]
    assert ["Dashed lines across the whole width are limits." in b.caption for b in drawn] == [True, False]
    assert "ashed" not in drawn[1].caption
    assert bool(drawn[1].caption) == (kind != "trace")


# ---------------------------------------------------------------- sentences


def test_an_opinion_has_its_author() -> None:
    record = with_result(notes=(Note("opinion", "the glass is old", author="T-07"),))
    (found,) = [b for b in blocks(record) if isinstance(b, Statement) and b.text == "the glass is old"]
    assert (found.lead, found.source) == ("Opinion", "opinion of Ines Quarrow (T-07)")


def test_cautions_that_were_not_read_are_said_aloud() -> None:
    record = example()
    entries = tuple(e for e in record.entries if not e.path.startswith("cautions."))
    entry = Entry("cautions.not_done", "Cautions: not done, because", "no time")
    record = replace(record, entries=(*entries, entry))
    assert "NOT acknowledged: no time." in section(record, "Cautions shown before the work")


def test_what_was_not_recorded_leaves_no_empty_fact() -> None:
    for block in blocks(example()):
        if isinstance(block, Facts):
            assert all(label and value for label, value in block.rows), block


def test_a_record_kept_from_a_leap_day_ends_on_the_28th() -> None:
    record = replace(example(), performed="2028-02-29T08:00:00-06:00")
    assert "at least until 2038-02-28" in section(record, "About this record")


def test_a_hold_nobody_said_a_word_about_is_named() -> None:
    """Silence must not read as if the output had not needed to be held."""
    said_nothing = replace(
        example(), entries=tuple(e for e in example().entries if not e.path.startswith("output_held"))
    )
    assert "Output held" not in section(example(), "Not done")
    assert "Output held\nnot entered" in section(said_nothing, "Not done")


def test_a_record_with_a_next_date_does_not_say_that_none_is_set() -> None:
    none_set = "No date for the next visit is set here."
    dated = replace(example(), result=replace(example().result, facts={"next_due": "2026-03-14"}))
    assert none_set in said(blocks(example()))
    assert none_set not in said(blocks(dated))


def test_a_record_says_none_was_known_only_of_its_own_procedure_and_names_those_it_cites() -> None:
    """A pH calibration after a call-out is the first of its procedure, not of its analyzer."""
    none_known = "No earlier record by this procedure on this instrument, tag and serial, was known."
    alone = replace(example(), given=replace(example().given, earlier=()))
    assert [line for line in section(alone, EARLIER).splitlines()[1:] if line] == [none_known]
    one = Cited("L1-2026-0010", "AIT-2101", "EL-0417", "ph_calibration", "2026-03-10T08:05-06:00", "ab" * 32)
    citing = replace(alone, given=replace(alone.given, records={one.number: one}))
    assert [line for line in section(citing, EARLIER).splitlines()[1:] if line] == [
        "Named on the sheet or of its period, and computed with: L1-2026-0010 (ph calibration, AIT-2101).",
        none_known,
    ]
    assert none_known not in section(example(), EARLIER)
