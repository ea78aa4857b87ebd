"""A record runs again with one of four answers, each shown by a throw-away revision 2 of the procedure."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from plant_example import bytes_of, plant_in

from wqverify.errors import CorrectTheEntry
from wqverify.procedures import PROCEDURES
from wqverify.records.canonical import canonical
from wqverify.records.rerun import AnnouncedChange, Answer, announced_changes, differing, rerun
from wqverify.terms import Procedure, Result

FIRST = PROCEDURES["ph_calibration"]


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return bytes_of(plant_in(tmp_path_factory.mktemp("rerun") / "plant"), "pass")


def shifted(result: Result) -> Result:
    """Revision 2 of these tests: the value of every offset moves by 0.5 mV."""

    def moved(check: Any) -> Any:
        if not check.key.endswith(".offset") or check.quantity is None:
            return check
        quantity = replace(check.quantity, value=check.quantity.value + 0.5)
        return replace(check, quantity=quantity)

    return replace(result, checks=tuple(moved(check) for check in result.checks))


def second(**changes: Any) -> dict[str, Procedure]:
    """The procedure's throw-away revision 2: other values, and a renamed key in its sheet."""
    upgraded = {1: lambda raw: dict(raw)}
    revision = replace(
        FIRST,
        revision=2,
        compute=lambda sheet, given, slices: shifted(FIRST.compute(sheet, given, slices)),
        upgrade=upgraded,
    )
    return {"ph_calibration": replace(revision, **changes)}


def announced(*places: str, revision: int = 2) -> list[AnnouncedChange]:
    return [
        AnnouncedChange(
            "ph_calibration", revision, "0.2.0", places, "higher", "0.5 mV", "a test", "differ as announced"
        )
    ]


def test_the_same_revision_reproduces(record: bytes) -> None:
    assert rerun(record).sentence() == "reproduced"


def test_what_was_announced_differs_as_announced(record: bytes) -> None:
    changes = announced("checks/*.offset/quantity/value")
    answer = rerun(record, procedures=second(), changes=changes)
    assert answer.answer is Answer.AS_ANNOUNCED
    assert answer.reason == "higher by about 0.5 mV since revision 2 (a test)"
    assert {d.path for d in answer.differences} == {
        "checks/as_found.offset/quantity/value",
        "checks/as_left.offset/quantity/value",
    }


def test_what_was_announced_for_another_place_is_unexplained(record: bytes) -> None:
    answer = rerun(record, procedures=second(), changes=announced("checks/*.slope/*"))
    assert answer.answer is Answer.UNEXPLAINED
    assert answer.reason.startswith("checks/as_found.offset/quantity/value was ")
    assert answer.reason.endswith(", and 1 more")


def test_a_change_announced_for_a_later_revision_explains_nothing(record: bytes) -> None:
    changes = announced("checks/*", revision=3)
    assert rerun(record, procedures=second(), changes=changes).answer is Answer.UNEXPLAINED


def test_another_result_in_the_record_is_unexplained(record: bytes) -> None:
    plain = json.loads(record)
    plain["result"]["checks"][0]["outcome"] = "fail"
    answer = rerun(canonical(plain))
    assert answer.answer is Answer.UNEXPLAINED
    assert answer.reason == "checks/thermometer/outcome was fail, is now pass"


def test_a_check_taken_out_of_the_record_is_named(record: bytes) -> None:
    plain = json.loads(record)
    gone = plain["result"]["checks"].pop(0)
    answer = rerun(canonical(plain))
    assert answer.answer is Answer.UNEXPLAINED
    assert f"checks/{gone['key']} was absent" in answer.reason


def refuse_the_sheet(_raw: Any) -> Any:
    raise CorrectTheEntry("revision 2 cannot read this sheet")


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"format": 9}, "could not run, because format 9 is not known to this version"),
        ({"procedure": "tea_tasting"}, "could not run, because this version has no procedure tea_tasting"),
        (
            {"revision": 7},
            "could not run, because it was made with revision 7 of ph_calibration, this version knows 1; "
            "use the newer version",
        ),
    ],
)
def test_what_this_version_does_not_know_could_not_run(
    record: bytes, change: dict[str, Any], reason: str
) -> None:
    assert rerun(canonical({**json.loads(record), **change})).sentence() == reason


def test_a_sheet_the_new_revision_refuses_could_not_run(record: bytes) -> None:
    answer = rerun(record, procedures=second(upgrade={1: refuse_the_sheet}))
    assert answer.sentence() == "could not run, because revision 2 cannot read this sheet"


@pytest.mark.parametrize("data", [b"", b"{}", b"no json", b"[1]", b"\xff\xfe"])
def test_other_bytes_could_not_run(data: bytes) -> None:
    assert rerun(data).answer is Answer.COULD_NOT


def test_a_table_with_another_digest_could_not_run(record: bytes) -> None:
    plain = json.loads(record)
    name = next(iter(plain["given"]["tables"]))
    plain["given"]["tables"][name]["digest"] = "0" * 64
    answer = rerun(canonical(plain))
    assert answer.answer is Answer.COULD_NOT
    assert "ph_buffers_ready_made" in answer.reason


def test_floats_may_differ_by_the_last_digits_of_another_machine_only() -> None:
    assert not list(differing({"a": [1.0]}, {"a": [1.0 + 1e-12]}))
    assert [d.path for d in differing({"a": [1.0]}, {"a": [1.0 + 1e-8]})] == ["a/0"]
    assert [d.path for d in differing({"a": "7.10"}, {"a": "7.1"})] == ["a"]


def test_the_list_of_changes_that_ships_can_be_read() -> None:
    for change in announced_changes():
        assert change.procedure in PROCEDURES
        assert 1 < change.revision <= PROCEDURES[change.procedure].revision


def test_every_visit_of_the_month_reproduces(tmp_path: Path) -> None:
    plant = plant_in(tmp_path / "plant")
    for name in ("pass", "fail", "close", "information"):
        assert rerun(bytes_of(plant, name)).answer is Answer.REPRODUCED, name
