"""A sheet that was stepped through and its journal: both say the same, or the run is refused."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from pdf_text import squeezed, words
from plant_example import NOW, plant_in, sheet_of

from wqverify import acts, audit
from wqverify.acts.shared import OfRound
from wqverify.entry.fold import fold
from wqverify.entry.journal import Journal, JournalLine, journal_path, read_journal
from wqverify.entry.told import CORRECTED, corrections_of, differing, in_words, label_of, said_of
from wqverify.errors import CorrectTheEntry, RepairTheFolder
from wqverify.plant.folder import Plant, open_plant
from wqverify.procedures import PROCEDURES
from wqverify.procedures.sheets import read_sheet
from wqverify.records.canonical import digest, record_from
from wqverify.show import changes
from wqverify.show.blocks import blocks
from wqverify.show.kinds import Facts, Statement, Table
from wqverify.terms import Record, Said

SHEET = PROCEDURES["ph_calibration"].Sheet
AT = "2026-05-10T08:{:02}:{:02}.000-05:00"
POINT = {"standard": "B4-3307", "readings": ["4.00"]}
SAID = {
    "signal.control_system": {"by": "Wren Abernathy", "heard": "radio", "read_back": "yes"},
    "as_found.points.1.readings.2": {"sure": "9.80 is far from 10.01. Sure?"},
    "as_found.points.1.readings.3": {"by": "D. Axelby", "heard": "own eyes"},
    "process_after.control_system": {"by": "T-11", "heard": "phone", "read_back": "no"},
    "started": {"how": "clock"},
    "cautions.read": {"how": "usual"},
    "tag": {"how": "sheet"},
    "operations_told.how": {"how": "last"},
    "loop_in_manual.not_done": {"how": "paper"},
}


READINGS = "As found, point {}: pH readings"
CORRECTIONS = [
    (f"{READINGS.format(1)}, number 1", "68.6", "6.86", "T-07", "point mistyped"),
    ("As found, point 2", "standard: B4-3307; readings: 4.00", "taken out", "T-07", "other analyzer"),
    ("Cleaned", "not done, because no time", "done after all", "T-07", "—"),
]


def answers(raw: Any, path: str = "") -> Iterator[dict[str, Any]]:
    """An act for each answer of a sheet, in its order."""
    if isinstance(raw, dict):
        for name, value in raw.items():
            yield from answers(value, f"{path}.{name}" if path else name)
    elif isinstance(raw, list):
        for index, value in enumerate(raw):
            yield from answers(value, f"{path}.{index}")
    else:
        yield {"do": "answer", "path": path, "text": raw, **SAID.get(path, {})}


def with_corrections(raw: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The acts of a visit: a reading was mistyped, a row was taken out, a part was done after all."""
    yield {"do": "not done", "path": "cleaned", "text": "no time"}
    for act in answers(raw):
        if act["path"] == "as_found.points.0.readings.0":
            yield act | {"text": "68.6"}
            yield act | {"do": "correct", "was": "68.6", "why": "point mistyped"}
        elif act["path"].endswith(".not_done"):
            yield act | {"do": "not done", "path": act["path"].removesuffix(".not_done")}
        else:
            yield act
        if act["path"] == "as_found.points.0.at":
            yield {"do": "answer", "path": "as_found.points.1.standard", "text": "B4-3307"}
            yield {"do": "answer", "path": "as_found.points.1.readings.0", "text": "4.00"}
            yield {"do": "remove", "path": "as_found.points.1", "was": POINT, "why": "other analyzer"}
    yield {"do": "complete", "digest": "0" * 64}


def step(sheet: Path, *more: dict[str, Any], raw: dict[str, Any] | None = None) -> Path:
    """Write the journal of a sheet as if it had been stepped through."""
    path = journal_path(sheet)
    typed = read_sheet(sheet)[0] if raw is None else raw
    journal = Journal.begin(path, AT.format(0, 0), procedure=typed["procedure"], revision=2, tag=typed["tag"])
    acts_of = [*with_corrections(dict(typed)), *more]
    journal.append(*(JournalLine(at=AT.format(n // 60, n % 60), **act) for n, act in enumerate(acts_of, 1)))
    journal.close()
    return path


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plant in which a visit was stepped through and performed."""
    folder = tmp_path_factory.mktemp("stepped")
    plant = plant_in(folder / "plant")
    step(sheet_of(plant, "fail"))
    acts.perform(plant, [sheet_of(plant, "fail")], NOW)
    return folder


@pytest.fixture
def fresh(tmp_path: Path) -> Plant:
    return plant_in(tmp_path / "plant")


def page_of(made: Path) -> Path:
    return made / "plant/book/pages/L1-2026-0001.pdf"


@pytest.fixture(scope="module")
def attached(made: Path) -> dict[str, bytes]:
    return dict(audit.examine_file(page_of(made), None).examination.attachments)


@pytest.fixture(scope="module")
def record(attached: dict[str, bytes]) -> Record:
    return record_from(attached["record.json"])


# ---------------------------------------------------------------- what the record keeps


@pytest.mark.slow
def test_the_journal_is_in_the_record_and_its_page_byte_for_byte(
    made: Path, attached: dict[str, bytes], record: Record
) -> None:
    data = journal_path(sheet_of(open_plant(made / "plant"), "fail")).read_bytes()
    assert attached["journal.jsonl"] == data
    assert record.attachments["journal.jsonl"] == digest(data)
    assert sorted(record.attachments) == ["chart-1.svg", "chart-2.svg", "executed.ipynb", "journal.jsonl"]


@pytest.mark.slow
def test_the_record_runs_again_with_its_journal_and_its_page(made: Path) -> None:
    assert audit.rerun_file(page_of(made)).sentence() == "reproduced (page compared byte for byte)"
    (again,) = audit.rerun_book(open_plant(made / "plant"))
    assert again.sentence() == "reproduced"


@pytest.mark.slow
def test_the_same_sheet_is_not_entered_a_second_time(made: Path) -> None:
    plant = open_plant(made / "plant")
    (done,) = acts.perform(plant, [sheet_of(plant, "fail")], NOW)
    assert (done.number, done.already) == ("L1-2026-0001", True)


@pytest.mark.slow
def test_the_record_keeps_how_answers_came_and_what_was_corrected(record: Record) -> None:
    assert record.given.said == {path: Said(**said) for path, said in SAID.items()}
    assert [(c.what, c.was, c.now, c.by, c.why) for c in record.given.changes] == [
        (f"answer {READINGS.format(1)}, number 1", "68.6", "6.86", "T-07", "point mistyped"),
        ("answer As found, point 2", "standard: B4-3307; readings: 4.00", "", "T-07", "other analyzer"),
        ("answer Cleaned", "not done, because no time", "done after all", "T-07", ""),
    ]


def printed(text: str) -> str:
    """A text without spaces, and without what the page prints by another sign."""
    return squeezed(text).translate(dict.fromkeys(map(ord, "-'\u2019\u2010\u2212")))


@pytest.mark.slow
def test_the_page_says_who_said_an_answer_and_what_was_corrected(made: Path, record: Record) -> None:
    shown = list(blocks(record))
    facts = [value for block in shown if isinstance(block, Facts) for _label, value in block.rows]
    page = printed(words(page_of(made).read_bytes()))
    for value in (
        "7.69 pH (Wren Abernathy, by radio, read back)",
        "9.84, 9.80, 9.80, 9.80 pH (number 4: D. Axelby, seen there)",
        "08:05 (-05:00) (this computer's clock)",
        "7.69 pH (Perrin Vale (T-11), by phone, not read back)",
        "yes (confirmed as usual)",
        "radio (confirmed as last time)",
        "no dosing is controlled from this analyzer (copied from paper)",
        "AIT-2101",
    ):
        assert value in facts
        assert printed(value) in page
    tables = {block.title: [row.cells for row in block.rows] for block in shown if isinstance(block, Table)}
    every = [row.cells[:2] for block in shown if isinstance(block, Table) for row in block.rows]
    assert ("Perrin Vale (T-11)", "said answers that another typed") in every
    assert tables["Confirmed"] == [
        (f"{READINGS.format(2)}, number 3", "9.80 is far from 10.01. Sure?"),
    ]
    corrected = tables["Corrected while the visit was entered"]
    assert [cells[1:] for cells in corrected] == CORRECTIONS
    for cell in ("68.6", "standard: B4-3307; readings: 4.00", "point mistyped", "taken out"):
        assert printed(cell) in page


@pytest.mark.slow
def test_the_examination_folds_the_journal(made: Path) -> None:
    found = audit.examine_file(page_of(made), open_plant(made / "plant"))
    assert not found.damaged, found.findings
    count = journal_path(sheet_of(open_plant(made / "plant"), "fail")).read_bytes().count(b"\n")
    said = f"The journal of {count} lines folds to the sheet of the record; 3 corrections."
    assert said in [finding.text for finding in found.findings if finding.severity == "note"]


@pytest.mark.slow
def test_what_is_wholly_copied_from_paper_is_said_once(record: Record) -> None:
    paper = {act["path"]: Said(how="paper") for act in answers(dict(record.sheet))}
    for how, once in (("sheet", True), ("clock", False)):
        said = paper | {"tag": Said(how=how)}
        shown = list(blocks(replace(record, given=replace(record.given, said=said))))
        statements = [block.text for block in shown if isinstance(block, Statement)]
        facts = [value for block in shown if isinstance(block, Facts) for _label, value in block.rows]
        assert ("Every answer was copied from paper." in statements) is once
        assert any("(copied from paper)" in value for value in facts) is not once


def altered(attached: dict[str, bytes], number: int, **keys: Any) -> dict[str, bytes]:
    """The attachments with one line of the journal and its digest in the record altered."""
    lines = attached["journal.jsonl"].split(b"\n")
    lines[number - 1] = json.dumps(json.loads(lines[number - 1]) | keys).encode()
    return with_journal(attached, b"\n".join(lines))


def with_journal(attached: dict[str, bytes], data: bytes) -> dict[str, bytes]:
    plain = json.loads(attached["record.json"])
    plain["attachments"]["journal.jsonl"] = digest(data)
    return attached | {"record.json": json.dumps(plain).encode(), "journal.jsonl": data}


def line_of(attached: dict[str, bytes], path: str) -> int:
    lines, _torn = read_journal(attached["journal.jsonl"])
    return next(line.n for line in lines if line.path == path and line.do == "answer")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("path", "keys", "said"),
    [
        (
            "signal.ma",
            {"text": "12.90"},
            "(signal.ma) is '12.90' in the journal and '12.80' in the record.",
        ),
        ("signal.control_system", {"by": "IQU"}, "who said the answers, and how they came, is not as in the"),
        (
            "status.state",
            {"path": "status.stat"},
            "(status.stat) is 'in service' in the journal and '' in the",
        ),
    ],
)
def test_a_record_that_says_otherwise_than_its_journal_is_damaged(
    attached: dict[str, bytes], path: str, keys: dict[str, Any], said: str
) -> None:
    (found,) = audit.against_journal(altered(attached, line_of(attached, path), **keys))
    assert found.severity == "damaged"
    assert found.text.startswith("The record is not what was entered: ")
    assert said in found.text


@pytest.mark.slow
def test_corrections_that_the_record_does_not_tell_are_found(attached: dict[str, bytes]) -> None:
    plain = json.loads(attached["record.json"])
    plain["given"]["changes"] = plain["given"]["changes"][1:]
    (found,) = audit.against_journal(attached | {"record.json": json.dumps(plain).encode()})
    assert found.text == ("The record is not what was entered: the corrections are not those of the journal.")


@pytest.mark.slow
def test_a_journal_that_is_missing_replaced_or_damaged_is_found(attached: dict[str, bytes]) -> None:
    gone = {name: data for name, data in attached.items() if name != "journal.jsonl"}
    assert [f.text for f in audit.against_journal(gone)] == ["The journal of the visit is missing."]
    other = attached | {"journal.jsonl": attached["journal.jsonl"] + b'{"n":'}
    first, second = audit.against_journal(other)
    assert first.text == "The journal of the visit is not the one the record was made with."
    assert second.severity == "note"
    (broken,) = audit.against_journal(altered(attached, 5, n=6))
    assert (broken.severity, "Line 5 of the journal bears the number 6" in broken.text) == ("damaged", True)
    (unfit,) = audit.against_journal(altered(attached, line_of(attached, "signal.ma"), path="signal.display"))
    assert (unfit.severity, "is answered already" in unfit.text) == ("damaged", True)


def test_a_record_without_a_journal_is_not_asked_for_one() -> None:
    from test_old_records import SAMPLE

    found = audit.examine_file(SAMPLE, None)
    assert "journal.jsonl" not in found.examination.attachments
    assert [f.text for f in found.findings if "journal" in f.text] == []


# ---------------------------------------------------------------- refused


def refused(plant: Plant, name: str = "fail") -> str:
    """What a run says, with and without entering; nothing of it is in the book."""
    with pytest.raises((CorrectTheEntry, RepairTheFolder)) as checked:
        acts.compute_only(plant, [sheet_of(plant, name)], NOW)
    with pytest.raises((CorrectTheEntry, RepairTheFolder)) as ran:
        acts.perform(plant, [sheet_of(plant, name)], NOW)
    assert str(checked.value) == str(ran.value)
    assert list(audit.book_of(plant).records()) == []
    return str(ran.value)


def retype(plant: Plant, old: str, new: str, name: str = "fail") -> None:
    path = sheet_of(plant, name)
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")


def test_a_sheet_that_was_changed_beside_its_journal_is_refused_with_both_answers(fresh: Plant) -> None:
    step(sheet_of(fresh, "fail"))
    retype(fresh, 'ma = "12.80"', 'ma = "12.8"')
    retype(fresh, '"9.84", "9.80", "9.80", "9.80"', '"9.84", "9.80", "9.80"')
    retype(fresh, 'remarks = "glass showed a brown film"\n', "")
    said = refused(fresh)
    assert said.startswith("fail.toml says otherwise than its journal: ")
    assert (
        "pH readings (as_found.points.1.readings) is '9.84, 9.80, 9.80, 9.80' in the journal and "
        "'9.84, 9.80, 9.80' on the sheet; " in said
    )
    assert "(signal.ma) is '12.80' in the journal and '12.8' on the sheet; " in said
    assert "(remarks) is 'glass showed a brown film' in the journal and not answered on the sheet" in said
    assert said.endswith(
        f". Nothing was entered; `wqverify step {sheet_of(fresh, 'fail')}` takes the differences up as "
        "corrections, with a reason."
    )


@pytest.mark.parametrize(("changed", "more"), [(5, ""), (6, "; and 1 more. Nothing"), (7, "; and 2 more. ")])
def test_five_differences_are_named_and_the_others_counted(fresh: Plant, changed: int, more: str) -> None:
    step(sheet_of(fresh, "fail"))
    for time in ("08:06", "08:07", "08:10", "08:11", "08:12", "08:13", "08:28")[:changed]:
        retype(fresh, f'"{time}"', f'"{time[:-1]}9"')
    said = refused(fresh)
    assert said.count(" in the journal and ") == 5
    assert ("more" in said) is bool(more)
    assert more in said


def test_a_journal_of_another_analyzer_is_refused(fresh: Plant) -> None:
    raw = read_sheet(sheet_of(fresh, "fail"))[0] | {"tag": "AIT-2102"}
    step(sheet_of(fresh, "fail"), raw=raw)
    assert "Analyzer (tag) is 'AIT-2102' in the journal and 'AIT-2101' on the sheet" in refused(fresh)


def test_a_sheet_with_other_words_than_answers_changed_is_taken(fresh: Plant) -> None:
    step(sheet_of(fresh, "fail"))
    retype(fresh, "# Synthetic data", "# A remark of mine.\n# Synthetic data")
    (record,) = acts.compute_only(fresh, [sheet_of(fresh, "fail")], NOW)
    assert [c.what for c in record.given.changes if c.what.startswith(CORRECTED)] != []


STATES = [
    ({"do": "ask", "path": "grab_after"}, "open"),
    ({"do": "wait", "text": "bottle 4"}, "waiting for the laboratory (bottle 4)"),
    ({"do": "pass on", "to": "D. Axelby", "text": "as left"}, "passed on to D. Axelby (as left)"),
    ({"do": "put aside", "text": "begun twice"}, "begun by mistake (begun twice)"),
]


@pytest.mark.parametrize(("act", "state"), STATES)
@pytest.mark.parametrize("written", [True, False], ids=["sheet there", "no sheet yet"])
def test_a_visit_that_is_not_complete_is_refused(
    fresh: Plant, act: dict[str, Any], state: str, written: bool
) -> None:
    step(sheet_of(fresh, "fail"), act)
    if not written:
        sheet_of(fresh, "fail").unlink()
    assert refused(fresh) == (
        f"fail.toml: the visit is not complete: it is {state}. Finish it by "
        f"`wqverify step {sheet_of(fresh, 'fail')}`, then run it."
    )


def test_a_visit_of_which_only_a_part_of_the_beginning_was_written_is_refused(fresh: Plant) -> None:
    path, sheet = journal_path(sheet_of(fresh, "fail")), sheet_of(fresh, "fail")
    more = (JournalLine(at=AT.format(0, 0), do="answer", path="started", text="08:05", how="sheet"),)
    begun = Journal.begin(
        path, AT.format(0, 0), procedure="ph_calibration", revision=2, tag="AIT-2101", more=more
    )
    begun.close()
    path.write_bytes(path.read_bytes()[:-9])
    assert refused(fresh) == (
        "fail.toml: the visit is not complete: it is only half begun. Finish it by "
        f"`wqverify step {sheet}`, then run it."
    )


def test_a_damaged_journal_is_refused_by_its_name_and_line(fresh: Plant) -> None:
    path = step(sheet_of(fresh, "fail"))
    path.write_bytes(path.read_bytes().replace(b'"n":4,', b'"n":5,', 1))
    assert refused(fresh).startswith("fail.journal.jsonl: Line 4 of the journal bears the number 5")


def test_a_sheet_of_a_round_is_compared_as_it_is_filled_by_the_head(fresh: Plant) -> None:
    step(sheet_of(fresh, "fail"))
    sheet = sheet_of(fresh, "fail")
    retype(fresh, 'performed_by = "T-07"', 'performed_by = ""')
    rounds = {sheet: OfRound("2026-05-10 north", "2026-05-10", {"performed_by": "T-07"})}
    (record,) = acts.compute_only(fresh, [sheet], NOW, rounds)
    assert record.performed_by == "T-07"
    rounds = {sheet: OfRound("2026-05-10 north", "2026-05-10", {"performed_by": "T-11"})}
    with pytest.raises(CorrectTheEntry, match=r"is 'T-07' in the journal and 'T-11' on the sheet"):
        acts.compute_only(fresh, [sheet], NOW, rounds)


def test_a_sheet_without_a_journal_is_run_as_it_lies(fresh: Plant) -> None:
    (record,) = acts.compute_only(fresh, [sheet_of(fresh, "fail")], NOW)
    assert (record.given.said, record.given.changes) == ({}, ())
    told = [block.text for block in blocks(record) if isinstance(block, Statement)]
    assert [text for text in told if "orrected" in text] == []


# ---------------------------------------------------------------- words


@pytest.mark.parametrize(
    ("path", "label"),
    [
        ("started", "Work started at"),
        ("as_found.points.0", "As found, point 1"),
        ("as_found.not_done", "As found: not done, because"),
        ("cleaned", "Cleaned"),
        ("cleaned.\u00b2", "Cleaned: \u00b2"),
        ("no_such.thing.0", "No such: thing, number 1"),
    ],
)
def test_a_place_of_a_sheet_has_its_label_whether_answered_or_not(path: str, label: str) -> None:
    assert label_of(SHEET, path) == label


@pytest.mark.slow
def test_labels_are_those_of_the_record(record: Record) -> None:
    for entry in record.entries:
        assert label_of(SHEET, entry.path) == entry.label
        assert label_of(SHEET, f"{entry.path}.0") == f"{entry.label}, number 1"


def test_groups_and_rows_are_told_in_words() -> None:
    assert in_words([{"a_b": "1"}, {"c": ["2", "3"]}]) == "a b: 1 | c: 2, 3"
    assert (in_words(None), in_words("7.10"), in_words([])) == ("", "7.10", "")


def folded(*acts_of: dict[str, Any]) -> Any:
    begin = JournalLine(at=AT.format(0, 0), do="begin", format=1, procedure="p", tag="A-1")
    return fold([begin, *(JournalLine(at=AT.format(0, n), **act) for n, act in enumerate(acts_of, 1))])


def test_a_row_that_holds_nothing_is_no_difference_and_moves_what_was_said() -> None:
    now = folded(
        {"do": "answer", "path": "rows.0.x", "text": "1"},
        {"do": "answer", "path": "rows.1.x", "text": "2", "how": "clock"},
        {"do": "remove", "path": "rows.0.x", "was": "1"},
    )
    assert differing(now, {"procedure": "p", "tag": "A-1", "rows": [{"x": "2"}]}) == ()
    assert said_of(now) == {"rows.0.x": Said(how="clock")}
    assert len(corrections_of(SHEET, now, "IQU")) == 1


def told(*acts_of: dict[str, Any]) -> list[tuple[str, str, str, str]]:
    """The corrections of acts as a page shows them."""
    made_of = corrections_of(SHEET, folded(*acts_of), "IQU")
    return [(c.what.removeprefix(CORRECTED), c.was, c.now or "taken out", c.why) for c in made_of]


def point(number: int, reading: str) -> dict[str, Any]:
    return {"do": "answer", "path": f"as_found.points.{number}.readings.0", "text": reading}


def corrected(number: int, was: str, now: str) -> dict[str, Any]:
    return {"do": "correct", "path": f"as_found.points.{number}.readings.0", "text": now, "was": was}


def out(path: str, was: Any, why: str = "typed twice") -> dict[str, Any]:
    return {"do": "remove", "path": path, "was": was, "why": why}


TWO = (point(0, "7.00"), point(1, "9.60"), corrected(1, "9.60", "10.06"))


def test_a_correction_names_the_row_under_its_number_on_the_sheet() -> None:
    assert told(*TWO, out("as_found.points.0", {"readings": ["7.00"]})) == [
        ("As found, point 1: pH readings, number 1", "9.60", "10.06", ""),
        ("As found, point 1", "readings: 7.00", "taken out", "typed twice"),
    ]


def test_a_row_that_holds_nothing_is_not_counted_in_the_number_of_a_row() -> None:
    gone = "As found, point 1: pH readings, number 1 (in a row taken back)"
    assert told(*TWO, out("as_found.points.0.readings.0", "7.00")) == [
        ("As found, point 1: pH readings, number 1", "9.60", "10.06", ""),
        (gone, "7.00", "taken out", "typed twice"),
    ]


def test_a_correction_in_a_row_that_is_gone_says_so() -> None:
    assert told(*TWO, out("as_found.points.1", {"readings": ["10.06"]})) == [
        ("As found, point 2: pH readings, number 1 (in a row taken back)", "9.60", "10.06", ""),
        ("As found, point 2", "readings: 10.06", "taken out", "typed twice"),
    ]
    first, second = told(
        {"do": "answer", "path": "as_found.points.0.standard", "text": "B7"},
        *(point(0, "9.60"), corrected(0, "9.60", "10.06"), out("as_found.points.0.readings.0", "10.06")),
    )
    assert first[0] == "As found, point 1: pH readings, number 1 (taken back)"
    assert second[0] == "As found, point 1: pH readings, number 1"


NOT_DONE = {"do": "not done", "path": "cleaned", "text": "no time"}
HOW = {"do": "answer", "path": "cleaned.how", "text": "acid dip"}
AFTER_ALL = "it is done after all"


@pytest.mark.parametrize(
    ("acts_of", "now", "why"),
    [
        ([HOW], "done after all", ""),
        ([HOW | {"why": AFTER_ALL}], "done after all", AFTER_ALL),
        ([out("cleaned", {"not_done": "no time"}, AFTER_ALL), HOW], "done after all", AFTER_ALL),
        ([out("cleaned", {"not_done": "no time"}, AFTER_ALL)], "taken out", AFTER_ALL),
        ([out("cleaned", {"not_done": "no time"}, "typed twice"), NOT_DONE], "taken out", "typed twice"),
        ([NOT_DONE | {"text": "no acid"}], "not done, because no acid", "no acid"),
    ],
)
def test_what_was_not_done_and_is_done_after_all_says_so(
    acts_of: list[dict[str, Any]], now: str, why: str
) -> None:
    assert told(NOT_DONE, *acts_of) == [("Cleaned", "not done, because no time", now, why)]


def test_a_part_that_was_the_same_as_another_is_answered_after_all() -> None:
    same = {"do": "same as", "path": "as_left", "text": "as_found"}
    first = {"do": "answer", "path": "as_left.points.0.standard", "text": "B7"}
    assert told(same, first) == [("As left", "same as as found", "answered after all", "")]


def test_text_in_another_unicode_form_is_the_same_answer() -> None:
    now = folded({"do": "answer", "path": "remarks", "text": "tru\u0308b"})
    assert differing(now, {"procedure": "p", "tag": "A-1", "remarks": "tr\u00fcb"}) == ()


def test_both_rooms_know_a_correction_by_the_same_word() -> None:
    assert changes.CORRECTED == CORRECTED
