"""A record runs again with one of four answers, each shown by a throw-away revision 2 of the procedure."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from plant_example import bytes_of, plant_in

from wqverify.errors import CorrectTheEntry
from wqverify.procedures import PROCEDURES
from wqverify.records.canonical import canonical
from wqverify.records.code import software_here
from wqverify.records.differences import differing
from wqverify.records.earlier_labels import earlier_label
from wqverify.records.rerun import AnnouncedChange, Answer, announced_changes, rerun
from wqverify.terms import Outcome, Procedure, Result

FIRST = PROCEDURES["ph_calibration"]


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return bytes_of(plant_in(tmp_path_factory.mktemp("rerun") / "plant"), "pass")


class SecondSheet(FIRST.Sheet):  # type: ignore[name-defined,misc]
    """Revision 2 of these tests asks for the weather too."""

    weather: str


def ask_for_the_weather(raw: dict[str, Any]) -> dict[str, Any]:
    return {**raw, "weather": "not asked in revision 1"}


def shifted(result: Result) -> Result:
    """Revision 2 of these tests: what is shown and judged of every offset moves by 0.5 mV."""

    def moved(check: Any) -> Any:
        if not check.key.endswith(".offset") or check.quantity is None:
            return check
        value, text = check.quantity.value + 0.5, str(check.quantity.decimal + Decimal("0.5"))
        return replace(check, quantity=replace(check.quantity, value=value, text=text))

    return replace(result, checks=tuple(moved(check) for check in result.checks))


def second(**changes: Any) -> dict[str, Procedure]:
    """The procedure's throw-away revision 2: other values, and one more question in its sheet."""
    revision = replace(
        FIRST,
        revision=2,
        Sheet=SecondSheet,
        compute=lambda sheet, given, slices: shifted(FIRST.compute(sheet, given, slices)),
        upgrade={1: ask_for_the_weather},
    )
    return {"ph_calibration": replace(revision, **changes)}


def test_without_its_upgrade_an_old_sheet_is_not_taken(record: bytes) -> None:
    answer = rerun(record, procedures=second(upgrade={1: dict}))
    assert answer.answer is Answer.COULD_NOT
    assert "weather" in answer.reason


def announced(*places: str, revision: int = 2) -> list[AnnouncedChange]:
    return [
        AnnouncedChange(
            "ph_calibration", revision, "0.2.0", places, "higher", "0.5 mV", "a test", "differ as announced"
        )
    ]


def test_the_same_revision_reproduces(record: bytes) -> None:
    assert rerun(record).sentence() == "reproduced"


def test_what_was_announced_differs_as_announced(record: bytes) -> None:
    changes = announced("checks/*.offset/quantity/value", "checks/*.offset/quantity/text")
    answer = rerun(record, procedures=second(), changes=changes)
    assert answer.answer is Answer.AS_ANNOUNCED
    assert answer.reason == "higher by about 0.5 mV since revision 2 (a test)"
    assert {d.path for d in answer.differences} == {
        f"checks/{stage}.offset/quantity/{what}"
        for stage in ("as_found", "as_left")
        for what in ("text", "value")
    }


SPOKEN = "The analyzer read " + "0.10 pH higher than the buffer, " * 4


def spoken() -> dict[str, Procedure]:
    """A program that says one sentence more than the one that made the record."""

    def compute(sheet: Any, given: Any, slices: Any) -> Result:
        result = FIRST.compute(sheet, given, slices)
        return replace(result, facts={**result.facts, "told.as_found": SPOKEN})

    return {"ph_calibration": replace(FIRST, compute=compute)}


def made_by(record: bytes, code: str) -> bytes:
    return altered(record, lambda plain: plain["software"].update(code=code))


def test_another_sentence_of_another_program_makes_no_value_differ(record: bytes) -> None:
    answer = rerun(made_by(record, "ab" * 32), procedures=spoken())
    assert answer.answer is Answer.REPRODUCED
    assert (answer.differences, [d.now for d in answer.sentences]) == ((), [SPOKEN])
    assert answer.sentence().startswith(
        "reproduced: 1 sentence differs: facts/told.as_found was absent, is now"
    )
    assert answer.sentence().endswith(
        f"; made with wqverify 0.1.0, code abababababab, run with {software_here()}"
    )


def test_another_sentence_of_this_very_program_is_unexplained(record: bytes) -> None:
    answer = rerun(record, procedures=spoken())
    assert (answer.answer, answer.made_with) == (Answer.UNEXPLAINED, "")
    assert answer.reason.startswith("1 sentence differs: facts/told.as_found was absent, is now The analyzer")


def test_a_sentence_is_not_counted_among_the_values_that_differ(record: bytes) -> None:
    other = altered(made_by(record, ""), lambda plain: plain["result"]["facts"].update(adjusted="perhaps"))
    answer = rerun(other, procedures=spoken())
    assert answer.answer is Answer.UNEXPLAINED
    assert [d.path for d in answer.differences] == ["facts/adjusted"]
    assert answer.reason.startswith("facts/adjusted was perhaps, is now absent; 1 sentence differs: ")
    assert answer.made_with == "wqverify 0.1.0, code not stated"


def test_a_value_that_differs_is_told_whole(record: bytes) -> None:
    """A side is cut in a sentence, never where values are given."""
    long = "x" * 300
    other = altered(record, lambda plain: plain["result"]["facts"].update(adjusted=long))
    answer = rerun(other)
    assert [(d.path, d.was) for d in answer.differences] == [("facts/adjusted", long)]
    assert long not in answer.reason


def test_what_was_announced_for_another_place_is_unexplained(record: bytes) -> None:
    answer = rerun(record, procedures=second(), changes=announced("checks/*.slope/*"))
    assert answer.answer is Answer.UNEXPLAINED
    assert answer.reason.startswith("checks/as_found.offset/quantity/text was 1.5056, is now 2.0056")
    assert answer.reason.endswith(", and 3 more")


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


def test_values_taken_out_of_the_record_are_named(record: bytes) -> None:
    plain = json.loads(record)
    del plain["result"]["values"]  # a record may leave out what is empty by default
    answer = rerun(canonical(plain))
    assert answer.answer is Answer.UNEXPLAINED
    assert answer.reason.startswith("values/")
    assert "was absent, is now {" in answer.reason


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


# ---------------------------------------------------------------- a record from elsewhere


def altered(record: bytes, change: Any) -> bytes:
    plain = json.loads(record)
    change(plain)
    return canonical(plain)


def flip_an_outcome(result: Result) -> Result:
    first, *others = result.checks
    return replace(result, checks=(replace(first, outcome=Outcome.FAIL), *others))


def test_an_outcome_that_flips_without_announcement_is_unexplained(record: bytes) -> None:
    flipped = second(
        compute=lambda sheet, given, slices: flip_an_outcome(FIRST.compute(sheet, given, slices))
    )
    answer = rerun(record, procedures=flipped, changes=announced("checks/*/quantity/*"))
    assert answer.answer is Answer.UNEXPLAINED
    assert answer.reason == "checks/thermometer/outcome was pass, is now fail"


def test_a_forged_check_before_the_real_one_is_seen(record: bytes) -> None:
    def forge(plain: Any) -> None:
        forged = {**plain["result"]["checks"][0], "label": "FORGED"}
        plain["result"]["checks"].insert(0, forged)

    answer = rerun(altered(record, forge))
    assert answer.answer is Answer.UNEXPLAINED
    assert answer.reason.startswith("checks/thermometer was there twice")


def test_another_order_of_checks_is_seen(record: bytes) -> None:
    answer = rerun(altered(record, lambda plain: plain["result"]["checks"].reverse()))
    assert answer.answer is Answer.UNEXPLAINED
    assert answer.reason.startswith("checks/order was ")


def put(key: str, value: Any) -> Any:
    return lambda plain: plain.update({key: value})


def other_reading_on_the_page(plain: Any) -> None:
    entry = next(e for e in plain["entries"] if "readings" in e["path"])
    entry["text"] = "7.00, 7.00, 7.00"


def another_label(path: str, label: str) -> Any:
    def change(plain: Any) -> None:
        entry = next(e for e in plain["entries"] if e["path"] == path)
        entry["label"] = label

    change.__name__ = f"{path} as {label}"
    return change


def an_entry_less(plain: Any) -> None:
    del plain["entries"][-1]


def an_entry_twice(plain: Any) -> None:
    plain["entries"].append(plain["entries"][-1])


def nothing_given(what: str) -> Any:
    return lambda plain: plain["given"].update({what: {}})


@pytest.mark.parametrize(
    "change",
    [
        other_reading_on_the_page,
        another_label("process_before.ph", "pH of the grab"),
        another_label("process_before.ph", ""),
        another_label("as_found.points.1.at", "As found, point 1: last reading at"),
        another_label("operations_told.who", "Operations told: how"),
        an_entry_less,
        an_entry_twice,
        put("title", "another title"),
        put("visit_id", "another visit"),
        put("performed", "2026-05-04T08:05-05:00"),
        put("performed_by", "T-11"),
        put("cautions", []),
        put("page", 2),
        nothing_given("people"),
        nothing_given("tables"),
        nothing_given("times"),
    ],
    ids=lambda c: getattr(c, "__name__", str(c)),
)
def test_a_file_whose_record_says_other_than_its_sheet_is_not_reproduced(record: bytes, change: Any) -> None:
    assert rerun(record, whole=True).answer is Answer.REPRODUCED
    assert rerun(altered(record, change), whole=True).answer in (Answer.UNEXPLAINED, Answer.COULD_NOT)


@pytest.mark.parametrize(
    "change",
    [
        another_label("operations_told.who", "Operations told: who"),
        another_label("started", "Work started"),
        lambda plain: plain["entries"].reverse(),
    ],
    ids=["who was told", "when it began", "in another order"],
)
def test_a_record_keeps_the_words_and_the_order_it_was_made_with(record: bytes, change: Any) -> None:
    """What an earlier version asked in its own words, and in its own order, is the same answer."""
    older = altered(record, change)
    assert older != record
    assert rerun(older, whole=True).answer is Answer.REPRODUCED


def test_a_label_of_an_earlier_version_counts_its_rows() -> None:
    assert earlier_label("grab_comparison", "online.2.at") == "Online value 3: read at"
    assert earlier_label("grab_comparison", "online.2.shown") == "Online value 3: shown on the display"
    assert earlier_label("ph_calibration", "process_before.ph") == ""  # is asked as ever
    assert earlier_label("no procedure", "as_found.points.0.at") == ""


def drop(*path: str) -> Any:
    def change(plain: Any) -> None:
        *way, last = path
        for step in way:
            plain = plain[step]
        del plain[last]

    return change


def put_in(value: Any, *path: Any) -> Any:
    def change(plain: Any) -> None:
        *way, last = path
        for step in way:
            plain = plain[step]
        plain[last] = value

    return change


@pytest.mark.parametrize(
    "change",
    [
        drop("procedure"),
        drop("revision"),
        drop("sheet"),
        drop("given"),
        drop("result", "checks"),
        put_in("x", "revision"),
        put_in(0, "revision"),
        put_in(None, "result"),
        put_in({}, "sheet"),
        put_in("no time", "given", "times", "started"),
        put_in("2026-05-03T08:05", "given", "times", "started"),
        put_in("yes", "given", "analyzer", "settings", "stability_ph"),
        put_in("0", "given", "standards", "B7-4471", "k"),
    ],
)
def test_a_damaged_record_could_not_run_and_says_why(record: bytes, change: Any) -> None:
    answer = rerun(altered(record, change), whole=True)
    assert answer.answer is Answer.COULD_NOT
    assert answer.reason


@pytest.mark.parametrize(
    ("was", "now", "differ"),
    [
        ({"u": 0.0}, {"u": None}, True),
        ({"counts": False}, {"counts": None}, True),
        ({"x": ""}, {"x": 0}, True),
        ({"x": []}, {"x": {}}, True),
        ({"x": True}, {"x": 1}, True),
        ({}, {"added_later": ""}, False),
        ({}, {"added_later": "text"}, True),
        ({"n": 2}, {"n": 2.0000000000000004}, False),
        ({"n": 2}, {"n": 2.1}, True),
    ],
)
def test_only_an_absent_key_is_as_good_as_empty(was: Any, now: Any, differ: bool) -> None:
    assert bool(list(differing(was, now))) is differ
    assert bool(list(differing(now, was))) is differ


def test_another_typst_is_not_compared(record: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    from wqverify.records import rerun as module

    monkeypatch.setattr(module, "typst_version", lambda: "9.9.9")
    good, said = module.page_again(record, {"record.json": record}, b"")
    made = json.loads(record)["software"]["typst"]
    assert (good, said) == (True, f"page not compared: made with {made}, here 9.9.9")
    answer = replace(rerun(record), page=said)
    assert answer.sentence() == f"reproduced (page not compared: made with {made}, here 9.9.9)"
