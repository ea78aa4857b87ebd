"""What is told after a visit: few plain sentences out of the record, and none that the record does not carry.

No outside values: nothing is computed here. Each sentence is compared with the record it is made of.
"""

from __future__ import annotations

import copy
import json
import re
import shutil
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from plant_example import Clock, plant_in, record_in

from wqverify.cli import main
from wqverify.procedures import PROCEDURES
from wqverify.records.record import case_from, compute, draft
from wqverify.records.workbook import demo_case
from wqverify.show.blocks import blocks
from wqverify.show.handover import LISTENERS, SPOKEN, To, handover
from wqverify.show.kinds import Verdicts
from wqverify.show.terminal import summary, text
from wqverify.terms import Check, Earlier, Outcome, Quantity, Record, Result

NAMES = sorted(PROCEDURES)


def demo(name: str) -> Record:
    case = case_from(demo_case(name))
    return draft(case, compute(case))


def told(record: Record, to: To = "operations", state: str = "") -> str:
    return "\n".join(handover(record, to, state))


CHLORINE = demo("chlorine_check")


def with_checks(*checks: Check, **facts: str) -> Record:
    return replace(CHLORINE, result=Result(checks, facts=facts))


def with_sheet(**parts: Any) -> Record:
    """The chlorine record with other parts on its sheet; None takes one out."""
    sheet = copy.deepcopy(dict(CHLORINE.sheet)) | parts
    return replace(CHLORINE, sheet={name: part for name, part in sheet.items() if part is not None})


def a_check(outcome: Outcome, text: str = "", stage: str = "as_found", **more: Any) -> Check:
    expanded = more.pop("expanded", "")
    quantity = Quantity(text, more.pop("unit", "mg/L"), float(text), expanded=expanded) if text else None
    label = more.pop("label", "Error")
    plain = {"observed": "0.68", "reference": "0.83", "low": "-0.12", "high": "0.12", "reason": ""}
    return Check(f"{stage}.error", stage, label, outcome, quantity=quantity, **{**plain, **more})


@pytest.mark.parametrize(
    ("name", "here"),
    [
        ("loop_check", "on the loop"),
        ("level_check", "at the transmitter"),
        ("temperature_check", "at the sensor"),
        ("conductivity_check", "at the analyzer"),
    ],
)
def test_page_and_handover_name_the_place_that_was_checked(name: str, here: str) -> None:
    """A loop is no analyzer: the heading over its checks says what was checked."""
    record = demo(name)
    (verdicts,) = [block for block in blocks(record) if isinstance(block, Verdicts)]
    labels = [row.label for row in verdicts.rows]
    assert labels[:2] == [f"As found, {here}", "As found, at the control system"]
    shown = text(blocks(record), 100)
    assert f"\nAs found, {here}" in summary(record)
    assert ("at the analyzer:" in shown) is (here == "at the analyzer")
    spoken = here if here != "at the analyzer" else "at the instrument"
    assert spoken in told(record)


# ---------------------------------------------------------------- to be read over a radio


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("to", LISTENERS)
def test_few_sentences_that_can_be_said(name: str, to: To) -> None:
    record = demo(name)
    sentences = handover(record, to)
    assert 4 <= len(sentences) <= 14
    assert sentences[0] == "This is an exercise with an invented plant."
    for sentence in sentences:
        assert sentence[0].isupper()
        assert sentence[-1] in ".!?"
        assert len(sentence) <= 250
        assert not re.search(r"[±−+°%_{}]|U \d|\bNone\b|not_done", sentence), sentence
    assert record.given.analyzer.tag in sentences[1]
    assert sentences[-1].startswith(f"Please read back: {record.given.analyzer.tag}, in service")


def test_the_whole_of_a_failed_check_as_operations_hear_it() -> None:
    """Word for word: this is what somebody reads out."""
    assert handover(CHLORINE, "operations", "performed, not signed") == (
        "This is an exercise with an invented plant.",
        "This is Ellodale for operations, about AIT-2301, free chlorine, clearwell outlet, panel CW-1: I. "
        "Quarrow, 11 March 2026, record not yet entered.",
        "It is not countersigned yet.",
        "As found, at the instrument, it read low by 0.15 milligrams per litre, outside its tolerance.",
        "As found, in the control system, it read low by 0.16 milligrams per litre, outside its tolerance.",
        "It was cleaned or serviced and adjusted.",
        "As left it was within its tolerance at the instrument and in the control system.",
        "It is in service.",
        "The output was released at 09:05, the loop is back in automatic at 09:20.",
        "From 08:24 to 09:05 the control system did not show the water.",
        "Earlier values at the instrument and in the control system may have been off too, since record "
        "L1-2026-0062 of 6 March 2026, which did not fail.",
        "How far back, by how much and what follows from it is not decided yet. This does not say that the "
        "water was outside any limit.",
        "The next check is due by 16 March 2026.",
        "Please read back: AIT-2301, in service, nothing held.",
    )


def test_who_listens_hears_what_is_for_them() -> None:
    assert "for the laboratory," in told(CHLORINE, "laboratory")
    assert "for the customer town," in told(CHLORINE, "town")
    assert "adjusted" not in told(CHLORINE, "town")
    assert "back in automatic" not in told(CHLORINE, "laboratory")
    assert "not countersigned" not in told(CHLORINE, "town", "performed, not signed")
    for to in LISTENERS:  # nobody is spared what is in doubt
        assert "may have been off too" in told(CHLORINE, to)


@pytest.mark.parametrize("name", NAMES)
def test_every_outcome_of_the_record_is_told_and_none_is_turned(name: str) -> None:
    record = demo(name)
    said = told(record)
    for stage, title in (("as_found", "As found"), ("as_left", "As left")):
        outcomes = [record.result.outcome(stage, place) for place in ("analyzer", "control system")]
        line = [one for one in said.splitlines() if one.startswith(title)]
        assert ("outside its tolerance" in "".join(line)) is (Outcome.FAIL in outcomes), stage
        if set(outcomes) - {None}:
            assert line


# ---------------------------------------------------------------- outcomes


@pytest.mark.parametrize(
    ("check", "sentence"),
    [
        (a_check(Outcome.PASS, "0.05"), "As found it was within its tolerance at the instrument."),
        (
            a_check(Outcome.FAIL, "0.15"),
            "As found, at the instrument, it read high by 0.15 milligrams per litre, outside its tolerance.",
        ),
        (
            a_check(Outcome.TOO_CLOSE, "-0.11"),
            "As found, at the instrument, it read low by 0.11 milligrams per litre, too close to its limit "
            "to decide.",
        ),
        (
            a_check(Outcome.NOT_EVALUATED, reason="the grab is in ppm"),
            "As found, at the instrument, it was not judged: the grab is in ppm.",
        ),
        (
            a_check(Outcome.FAIL, "5", unit="gpm", label="Zero at standstill"),
            "As found, at the instrument, zero at standstill read high by 5 gallons per minute, outside its "
            "tolerance.",
        ),
        (
            a_check(Outcome.FAIL, "0.0367", unit="ft", expanded="0.031"),  # no figure beyond its U
            "As found, at the instrument, it read high by 0.037 feet, outside its tolerance.",
        ),
        (
            a_check(Outcome.FAIL, "0.04", unit="ft", expanded="31"),  # nor is it said to be nothing
            "As found, at the instrument, it read high by 0.04 feet, outside its tolerance.",
        ),
        (
            a_check(Outcome.FAIL, "102.439", unit="%"),
            "As found, at the instrument, it read high by 102 percent, outside its tolerance.",
        ),
        (
            a_check(Outcome.FAIL, "-12345", unit="gpm"),
            "As found, at the instrument, it read low by 12300 gallons per minute, outside its tolerance.",
        ),
        (
            a_check(Outcome.FAIL, "-0.020", unit="furlong"),
            "As found, at the instrument, it read low by 0.020 furlong, outside its tolerance.",
        ),
    ],
)
def test_each_outcome_has_its_words(check: Check, sentence: str) -> None:
    assert sentence in told(with_checks(check)).splitlines()


def test_a_check_that_is_no_difference_is_named() -> None:
    slope = a_check(Outcome.FAIL, "93.2", unit="%", observed="", reference="")
    said = told(with_checks(replace(slope, label="Slope of the electrode")))
    assert (
        "As found, at the instrument, Slope of the electrode was 93.2 percent, outside its tolerance." in said
    )


def test_the_check_farthest_past_its_limit_is_told() -> None:
    near, far = a_check(Outcome.FAIL, "0.13"), a_check(Outcome.FAIL, "-0.40")
    assert "it read low by 0.40 milligrams" in told(with_checks(near, far))


def test_what_does_not_count_is_not_told() -> None:
    said = told(with_checks(a_check(Outcome.PASS, "0.05"), a_check(Outcome.FAIL, "0.40", counts=False)))
    assert "outside" not in said


def test_as_left_the_same_as_another_stage_has_its_outcome() -> None:
    after = a_check(Outcome.FAIL, "0.15", stage="after_cleaning")
    record = replace(
        with_sheet(as_left={"same_as": "after_cleaning"}),
        result=Result((a_check(Outcome.FAIL, "0.30"), after)),
    )
    assert (
        "As left, the same as after cleaning, at the instrument, it read high by 0.15 milligrams per litre, "
        "outside its tolerance." in told(record).splitlines()
    )


def test_changed_and_not_checked_again_is_said() -> None:
    found = Result((a_check(Outcome.PASS, "0.05"),))
    assert "It was changed and not checked again." in told(replace(with_sheet(as_left=None), result=found))
    alone = with_sheet(as_left=None, adjusted=None, service={"not_done": "clean"}, decision=None)
    said = told(replace(alone, result=found))
    assert "Nothing was changed since." in said
    assert "Nothing was cleaned or adjusted." in said


def test_what_was_not_done_says_why() -> None:
    record = with_sheet(as_found={"not_done": "no reagents"})
    assert "As found it was not checked: no reagents." in told(record)


# ---------------------------------------------------------------- status, holds, doubts, next date


@pytest.mark.parametrize(
    ("status", "sentence"),
    [
        ({"state": "in service"}, "It is in service."),
        (
            {"state": "in service with restriction", "note": "not for dosing"},
            "It is in service with restriction: not for dosing.",
        ),
        ({"state": "out of service", "note": "Cell cracked."}, "It is out of service: Cell cracked."),
    ],
)
def test_the_status_and_its_restriction(status: dict[str, str], sentence: str) -> None:
    said = told(with_sheet(status=status)).splitlines()
    assert sentence in said
    assert said[-1] == f"Please read back: AIT-2301, {status['state']}, nothing held."


def test_what_stays_held_is_said_to_everybody_and_read_back() -> None:
    record = with_sheet(output_released={"not_done": "the cell is still settling"})
    times = {k: v for k, v in CHLORINE.given.times.items() if k != "output_released.at"}
    record = replace(record, given=replace(record.given, times=times))
    for to in LISTENERS:
        said = told(record, to).splitlines()
        assert (
            "The output is still held, since 08:24: the cell is still settling. Somebody has to watch it."
            in said
        )
        assert "From 08:24 on the control system did not show the water." in said
        assert said[-1] == "Please read back: AIT-2301, in service, output not back."


def test_a_fail_without_an_earlier_check_does_not_name_one() -> None:
    record = replace(CHLORINE, given=replace(CHLORINE.given, earlier=()))
    assert "since its last check within tolerance, which this record does not name." in told(record)


def test_an_earlier_check_that_failed_ends_no_doubt() -> None:
    failed = [
        Earlier("L1-2026-0070", "2026-03-10T08:00:00-04:00", "CL-51077", {"as_found": "fail"}),
        Earlier("L1-2026-0069", "2026-03-09T08:00:00-04:00", "CL-51077", {"as_found": "pass"}),
    ]
    record = replace(CHLORINE, given=replace(CHLORINE.given, earlier=tuple(failed)))
    assert "since record L1-2026-0069 of 9 March 2026, which did not fail." in told(record)


@pytest.mark.parametrize(
    ("outcome", "doubt"),
    [
        (Outcome.FAIL, "may have been off too"),
        (Outcome.TOO_CLOSE, "Whether earlier values were off could not be decided."),
        (Outcome.PASS, ""),
    ],
)
def test_doubts_are_said_where_there_are_any(outcome: Outcome, doubt: str) -> None:
    said = told(with_checks(a_check(outcome, "0.15")))
    assert doubt in said
    assert ("arlier values" in said) is bool(doubt)


def test_the_next_date() -> None:
    passed = a_check(Outcome.PASS, "0.05")
    assert "The next check is due by 16 March 2026." in told(with_checks(passed, next_due="2026-03-16"))
    days = replace(CHLORINE.given.analyzer, intervals_days={"chlorine_check": 7})
    given = replace(CHLORINE.given, analyzer=days)
    assert "The next check is due by 18 March 2026." in told(replace(with_checks(passed), given=given))
    nothing = with_checks(a_check(Outcome.NOT_EVALUATED, reason="no reagents"))
    assert "Nothing was judged, so the check is still due." in told(nothing)
    without = replace(CHLORINE.given, analyzer=replace(CHLORINE.given.analyzer, intervals_days={}))
    assert "due" not in told(replace(with_checks(passed), given=without))


def test_a_record_that_no_longer_stands_is_not_to_be_acted_on() -> None:
    said = told(CHLORINE, state="superseded by L1-2026-0090").splitlines()
    assert said[2] == "Careful: this record is superseded by L1-2026-0090; do not act on it."
    assert "Careful" not in told(CHLORINE, state="countersigned")
    assert "countersigned" not in told(CHLORINE, state="countersigned")


def test_a_plant_that_is_real_is_no_exercise() -> None:
    real = replace(
        CHLORINE, given=replace(CHLORINE.given, site=replace(CHLORINE.given.site, synthetic=False))
    )
    assert "exercise" not in told(real)


def test_every_tolerance_unit_of_the_demo_plant_can_be_said(tmp_path: Path) -> None:
    plant = plant_in(tmp_path / "plant")
    units = {t.unit for a in plant.analyzers.values() for t in a.tolerances.values()}
    assert {unit for unit in units if unit not in SPOKEN} == {"NTU"}  # said letter by letter
    for name in ("pass", "fail", "night"):
        for to in LISTENERS:
            assert "%" not in told(record_in(plant, name), to)


# ---------------------------------------------------------------- the command


@pytest.mark.slow
def test_the_command_needs_of_the_plant_folder_only_its_book(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    plant_in(tmp_path / "plant")
    monkeypatch.chdir(tmp_path / "plant")
    monkeypatch.setattr("wqverify.cli.common.datetime", Clock)

    def run(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["wqverify", *arguments])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        code = ended.value.code
        return code if isinstance(code, int) else 0, said.out, said.err

    assert run("run", "field_sheets/fail.toml")[0] == 0
    bare = tmp_path / "bare"
    bare.mkdir()
    shutil.copy("plant.toml", bare)
    shutil.copytree("book", bare / "book")
    monkeypatch.chdir(bare)
    code, out, _err = run("handover", "L1-2026-0001")
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    assert "It is not countersigned yet." in out
    assert "outside its tolerance" in out
    code, out, _err = run("handover", "L1-2026-0001", "--to", "town", "--json")
    document = json.loads(out)
    words = {"type": "string", "minLength": 1}
    schema = {
        "type": "object",
        "required": ["number", "to", "sentences"],
        "additionalProperties": False,
        "properties": {
            "number": words,
            "to": {"enum": list(LISTENERS)},
            "sentences": {"type": "array", "items": words, "minItems": 4},
        },
    }
    jsonschema.validate(document, schema)
    assert (document["number"], document["to"]) == ("L1-2026-0001", "town")
    code, _out, err = run("handover", "L1-2026-0099")
    assert code == 2
    assert err.startswith("The book book.sqlite holds no record L1-2026-0099")
    monkeypatch.chdir(tmp_path)
    code, _out, err = run("handover", "L1-2026-0001")
    assert code == 3
    assert "There is no plant.toml in" in err
