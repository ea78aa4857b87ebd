"""Rounds: written once, filled in at the analyzers, performed together; what was skipped is entered too."""

from __future__ import annotations

import shutil
import tomllib
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from pdf_text import runs, squeezed, words
from plant_example import NOW, plant_in, record_in, sheet_of
from round_example import (
    BAD,
    DAY,
    ROUND,
    ROUNDS,
    TITLE,
    plant_with_round,
    read_in,
    same_as_found,
    skip,
    type_in,
    walked,
    written,
)

from wqverify import acts, audit
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.folder import Plant, open_plant
from wqverify.plant.round_folder import RoundFolder
from wqverify.procedures.usual import insist_on_rounds
from wqverify.show.round_page import RoundPage, RoundRow, expanded_share, make_round_page, share
from wqverify.terms import Check

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("rounds") / "plant"
    plant_with_round(folder)
    return folder


@pytest.fixture
def plant(made: Path, tmp_path: Path) -> Plant:
    return open_plant(Path(shutil.copytree(made, tmp_path / "plant")))


def again(plant: Plant) -> Plant:
    return open_plant(plant.folder)


def rounds_say(plant: Plant, old: str, new: str) -> Plant:
    """Put something else into rounds.toml."""
    path = plant.folder / "rounds.toml"
    assert old in ROUNDS, old
    path.write_text(ROUNDS.replace(old, new, 1), "utf-8")
    return again(plant)


def row_says(one: RoundFolder, old: str, new: str) -> RoundFolder:
    """Put something else into round.toml."""
    path = one.folder / "round.toml"
    text = path.read_text("utf-8")
    assert old in text, old
    path.write_text(text.replace(old, new, 1), "utf-8")
    return one


def refused(plant: Plant, *paths: Path) -> str:
    """What is said of a round that cannot be performed; nothing of it is entered."""
    with pytest.raises((ChooseAnother, CorrectTheEntry)) as caught:
        acts.perform_walk(plant, paths, NOW)
    if Path(plant.book).is_file():
        assert list(audit.book_of(plant).entries()) == []
    with pytest.raises((ChooseAnother, CorrectTheEntry)) as checked:
        acts.check_walk(plant, paths, NOW)
    assert str(checked.value) == str(caught.value)
    return str(caught.value)


# ---------------------------------------------------------------- rounds.toml


def test_a_round_keeps_its_walking_order(plant: Plant) -> None:
    assert [stop.tag for stop in plant.rounds[ROUND].stops] == ["AIT-2101", "AIT-2102"]
    assert plant.rounds[ROUND].head["reason"] == "routine"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            'procedure = "ph_calibration"',
            'procedure = "ph_calibratoin"',
            "rounds.toml, line 11: the round weekly names the procedure ph_calibratoin, which there is not; "
            "did you mean ph_calibration?",
        ),
        (
            'reason = "routine"',
            'reeson = "routine"',
            "rounds.toml, line 6: reeson is no question of the sheet of ph_calibration; did you mean reason?",
        ),
        (
            'reason = "routine"',
            'reason = "rutine"',
            "rounds.toml, line 6: reason is 'rutine'; it must be one of routine, call-out, after repair, "
            "commissioning.",
        ),
        (
            'reason = "routine"',
            'started = "08:00"',
            "rounds.toml, line 6: started is answered at each visit and cannot be usual; delete it here.",
        ),
        (
            'reason = "routine"',
            'cautions = { read = "yes" }',
            "rounds.toml, line 6: cautions is answered at each visit and cannot be usual; delete it here.",
        ),
        (
            'reference = "T-17"',
            'reference = "T-99"',
            "rounds.toml, line 17: reference is 'T-99', which standards_on_hand.toml does not hold.",
        ),
        (
            'reference = "T-17"',
            'reference_c = "18.4"',
            "rounds.toml, line 17: reference_c is a reading and cannot be usual: it is typed at the "
            "analyzer; delete it.",
        ),
        (
            'interval_s = "30"',
            'at = "08:30"',
            "rounds.toml, line 21: at is a time and cannot be usual: it is typed at the analyzer; delete it.",
        ),
        (
            "[round.stop.usual.loop_in_manual]\nnot_done",
            "[round.stop.usual.as_left]\nsame_as",
            "rounds.toml, line 14: same_as speaks of readings and cannot be usual; delete it here.",
        ),
        (
            "[round.stop.usual.thermometer_check]",
            "[[round.stop.usual.thermometer_check]]",
            "rounds.toml, line 16: thermometer_check has another form on the sheet of ph_calibration; write "
            "a group [… .thermometer_check].",
        ),
    ],
)
def test_what_a_round_cannot_name_is_said_with_its_line(plant: Plant, old: str, new: str, says: str) -> None:
    there = rounds_say(plant, old, new)
    with pytest.raises(CorrectTheEntry) as caught:
        insist_on_rounds(there)
    assert says in str(caught.value).split("\n")
    with pytest.raises(CorrectTheEntry):
        written(there)
    assert not list((plant.folder / "field_sheets").glob(f"*{ROUND}*"))


def test_the_round_of_the_demo_and_that_of_a_new_plant_are_right(tmp_path: Path) -> None:
    from wqverify.demo.ellodale import make_plant
    from wqverify.plant.new import new_plant

    insist_on_rounds(make_plant(tmp_path / "demo", NOW.date().replace(day=1)))
    new_plant(tmp_path / "new")
    path = tmp_path / "new" / "rounds.toml"
    lines = path.read_text("utf-8").split("\n")
    path.write_text("\n".join(x[2:] if x.startswith("# [") or " = " in x[:40] else x for x in lines), "utf-8")
    there = open_plant(tmp_path / "new")
    assert list(there.rounds) == ["weekly, filter gallery"]
    insist_on_rounds(there)


# ---------------------------------------------------------------- written


def test_a_round_is_one_folder_with_a_sheet_per_stop(plant: Plant) -> None:
    one = written(plant)
    assert one.folder == plant.folder / "field_sheets" / TITLE
    names = ["1 AIT-2101.toml", "2 AIT-2102.toml", "round.toml"]
    assert sorted(path.name for path in one.folder.iterdir()) == names
    sheet = tomllib.loads((one.folder / names[0]).read_text("utf-8"))
    assert (sheet["tag"], sheet["performed_by"], sheet["date"], sheet["started"]) == (
        "AIT-2101", "T-07", DAY, "08:05",
    )  # fmt: skip
    assert sheet["operations_told"] == {"who": "R. Okafor"}
    assert sheet["loop_in_manual"] == {"not_done": "no dosing is controlled from this analyzer"}
    assert [p["standard"] for p in sheet["as_found"]["points"]] == ["B7-4471", "B10-2188"]
    assert [p["readings"] for p in sheet["as_found"]["points"]] == [[], []]
    other = tomllib.loads((one.folder / names[1]).read_text("utf-8"))
    assert other["loop_in_manual"] == {}  # usual at the first stop only
    head = tomllib.loads((one.folder / "round.toml").read_text("utf-8"))["head"]
    assert head["cautions"] == {"read": ""}
    assert head["method"] == "EPA 150.2 as in Ellodale procedure EP-12 rev. 3"


def test_the_same_command_writes_the_same_bytes(plant: Plant, tmp_path: Path) -> None:
    first, second = written(plant, tmp_path / "first"), written(plant, tmp_path / "second")
    for path in first.folder.iterdir():
        assert path.read_bytes() == (second.folder / path.name).read_bytes()


def test_without_a_date_it_is_today_at_the_plant(plant: Plant) -> None:
    at_night = NOW.replace(hour=2)  # still the day before in America/Chicago
    assert acts.prepare_round(plant, ROUND, acts.HeadOf("T-07"), at_night).date == "2026-05-31"
    assert acts.prepare_round(plant, ROUND, acts.HeadOf("T-07"), NOW).date == "2026-06-01"


def test_what_is_not_told_stands_open(plant: Plant) -> None:
    sheet = tomllib.loads(written(plant, started="", told="").rows[0].path.read_text("utf-8"))
    assert (sheet["started"], sheet["operations_told"]) == ("", {"who": ""})


def test_nothing_is_overwritten(plant: Plant, tmp_path: Path) -> None:
    one = written(plant)
    before = {path.name: path.read_bytes() for path in one.folder.iterdir()}
    with pytest.raises(ChooseAnother, match="the round is there already; nothing was written"):
        written(plant)
    assert {path.name: path.read_bytes() for path in one.folder.iterdir()} == before
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("mine")
    with pytest.raises(ChooseAnother, match=r"it holds 'notes.txt'; nothing was written"):
        written(plant, tmp_path / "mine")
    with pytest.raises(ChooseAnother, match="is a file; name another folder"):
        written(plant, tmp_path / "mine" / "notes.txt")


def test_what_a_stopped_command_left_is_finished_unless_somebody_typed_into_it(plant: Plant) -> None:
    one = written(plant)
    (one.folder / "round.toml").unlink()
    (one.folder / "2 AIT-2102.toml").rename(one.folder / "2 AIT-2102.toml.part")
    assert written(plant).rows[1].path.is_file()
    (one.folder / "round.toml").unlink()
    type_in(one.rows[0].path, "", serial_on_plate="EL-0417")
    with pytest.raises(ChooseAnother, match=r"it holds '1 AIT-2101.toml'; nothing was written"):
        written(plant)


@pytest.mark.parametrize(
    ("head", "says"),
    [
        ({"by": "X-9"}, "There is no person X-9 in people.toml"),
        ({"date": "2026-02-30"}, "'2026-02-30' is not a date"),
        ({"started": "8.05"}, "'8.05' is not a time of day"),
        ({"told": "R. \u202eOkafor"}, "the answer of --told: text: it holds the invisible character U+202E"),
        ({"told": "x" * 201}, "the answer of --told: text is longer than 200 characters"),
    ],
)
def test_what_the_command_says_is_taken_or_refused(plant: Plant, head: dict[str, str], says: str) -> None:
    with pytest.raises((ChooseAnother, CorrectTheEntry)) as caught:
        written(plant, **head)
    assert says in str(caught.value)


def test_who_may_not_perform_walks_no_round(plant: Plant) -> None:
    people = plant.folder / "people.toml"
    people.write_text(
        people.read_text("utf-8").replace("may_perform = true", "may_perform = false", 1), "utf-8"
    )
    with pytest.raises(ChooseAnother, match=r"Ines Quarrow \(T-07\) may not perform"):
        written(again(plant))


def test_a_wrong_name_is_answered_with_the_nearest(plant: Plant) -> None:
    with pytest.raises(ChooseAnother, match="There is no round 'wekly'; did you mean weekly"):
        acts.prepare_round(plant, "wekly", acts.HeadOf("T-07"), NOW)
    (plant.folder / "rounds.toml").unlink()
    with pytest.raises(
        ChooseAnother, match=r"There is no round 'weekly'; rounds.toml of the plant folder holds"
    ):
        written(again(plant))


# ---------------------------------------------------------------- performed


def test_a_round_is_performed_with_one_run_of_the_notebook(plant: Plant) -> None:
    one, told = walked(plant, {"AIT-2102": BAD}), []
    done = acts.perform_walk(plant, [one.folder], NOW, told.append)
    assert [step for step in told if "notebook" in step] == [
        "executing the notebook of ph_calibration for 2 field sheets"
    ]
    assert [(p.number, p.record.given.analyzer.tag) for p in done.performed] == [
        ("L1-2026-0001", "AIT-2101"),
        ("L1-2026-0002", "AIT-2102"),
    ]
    states = list(audit.book_of(plant).records())
    assert [state.round for state in states] == [TITLE] * 2
    assert [state.outcomes["as_found at the analyzer"] for state in states] == ["pass", "fail"]
    assert done.performed[0].record.sheet["cautions"] == {"read": "yes"}  # from the head of the round
    assert audit.rerun_file(done.performed[1].page).sentence().startswith("reproduced")
    assert done.rounds[0].page == plant.folder / "book" / "rounds" / f"{TITLE}.pdf"


def test_a_round_run_again_enters_nothing_and_makes_the_same_page(plant: Plant) -> None:
    one = walked(plant)
    skip(one, "AIT-2102", "valve stuck")
    page = acts.perform_walk(plant, [one.folder], NOW).rounds[0].page
    before, heads = page.read_bytes(), audit.book_of(plant).heads()
    done = acts.perform_walk(plant, [one.folder], NOW + timedelta(days=1))
    assert [performed.already for performed in done.performed] == [True]
    assert audit.book_of(plant).heads() == heads
    assert page.read_bytes() == before


def test_what_was_skipped_is_entered_with_its_reason(plant: Plant) -> None:
    one = walked(plant)
    skip(one, "AIT-2102", "sample line valve stuck, work order 117 (invented)")
    one.rows[1].path.unlink()  # a row that was skipped needs no sheet
    done = acts.perform_walk(plant, [one.folder], NOW)
    assert len(done.performed) == 1
    (entry,) = audit.book_of(plant).events("skipped")
    wanted = {
        "round": TITLE,
        "tag": "AIT-2102",
        "procedure": "ph_calibration",
        "day": DAY,
        "why": "sample line valve stuck, work order 117 (invented)",
        "by": "T-07",
    }
    assert wanted.items() <= entry.body.items()
    assert entry.record == ""
    assert not [f for f in audit.examine_book(plant, None, ()) if f.severity == "damaged"]


def test_another_reason_is_another_entry_and_both_stay(plant: Plant) -> None:
    one = walked(plant)
    for why in ("valve stuck", "valve stuck", "valve stuck, work order 117"):
        skip(one, "AIT-2102", why)
        row_says(one, f'skipped = "{why}"', f'skipped = "{why}"')
        acts.perform_walk(plant, [one.folder], NOW)
        row_says(one, f'skipped = "{why}"', '# skipped = "because ..."')
    reasons = [entry.body["why"] for entry in audit.book_of(plant).events("skipped")]
    assert reasons == ["valve stuck", "valve stuck, work order 117"]


def test_a_round_of_which_everything_was_skipped_is_a_round(plant: Plant) -> None:
    one = written(plant)
    for row in one.rows:
        skip(one, row.tag, "plant off line")
    done = acts.perform_walk(plant, [one.folder], NOW)
    assert done.performed == ()
    assert len(audit.book_of(plant).events("skipped")) == 2
    assert done.rounds[0].page.read_bytes().startswith(b"%PDF")


def test_checking_a_round_enters_nothing(plant: Plant) -> None:
    one = walked(plant)
    skip(one, "AIT-2102", "valve stuck")
    (record,), walk = acts.check_walk(plant, [one.folder], NOW)
    assert record.given.analyzer.tag == "AIT-2101"
    assert [row.skipped for row in walk.rounds[0].skipped] == ["valve stuck"]
    assert not Path(plant.book).exists()


def test_sheets_and_rounds_go_together(plant: Plant) -> None:
    one = walked(plant)
    skip(one, "AIT-2101", "done by itself")
    done = acts.perform_walk(plant, [sheet_of(plant, "pass"), one.folder], NOW)
    states = list(audit.book_of(plant).records())
    assert [state.round for state in states] == ["", TITLE]
    assert len(done.performed) == 2


def test_an_answer_changed_in_the_head_reaches_what_stands_open_only(plant: Plant) -> None:
    one, told = walked(plant), []
    row_says(one, 'who = "R. Okafor"', 'who = "L. Brandt"')
    done = acts.perform_walk(plant, [one.folder], NOW, told.append)
    assert done.performed[0].record.sheet["operations_told"] == {"who": "R. Okafor"}
    assert (
        "1 AIT-2101.toml: operations_told.who is 'R. Okafor', in the head of the round it is 'L. Brandt'; "
        "the sheet counts" in told
    )
    assert len([line for line in told if "the sheet counts" in line]) == 2


def test_a_weekly_turbidity_round_over_three_analyzers(tmp_path: Path) -> None:
    """The demo's round: one bottle with a value per analyzer, one filter off line."""
    plant = plant_in(tmp_path / "plant")
    head = acts.HeadOf("T-07", DAY, "08:05", "R. Okafor")
    one = acts.prepare_round(plant, "weekly-turbidity", head, NOW)
    assert [row.tag for row in one.rows] == ["AIT-2201", "AIT-2202", "AIT-2210"]
    skip(one, "AIT-2201", "filter 1 off line for repair")
    shown = {
        "AIT-2202": ("0.512", "0.512", "0.513"),
        "AIT-2210": ("0.620",) * 3,
    }  # against 0.507 and 0.498 as assigned in the demo
    for row in one.rows[1:]:
        type_in(row.path, "", serial_on_plate=plant.analyzers[row.tag].serial, started="09:05")
        read_in(row.path, "as_found.points", [shown[row.tag]])
        same_as_found(row.path)
        type_in(row.path, "status", state="in service")
    type_in(one.folder / "round.toml", "head.cautions", read="yes")
    told: list[str] = []
    done = acts.perform_walk(plant, [one.folder], NOW, told.append)
    executed = [step for step in told if "notebook" in step]
    assert executed == ["executing the notebook of turbidity_standard_check for 2 field sheets"]
    outcomes = [performed.record.result.outcome("as_found") for performed in done.performed]
    assert outcomes == ["pass", "fail"]
    (entry,) = audit.book_of(plant).events("skipped")
    assert entry.body["tag"] == "AIT-2201"
    page = done.rounds[0].page.read_bytes()
    said = words(page)
    for text in ("AIT-2201", "skipped, filter 1 off line for repair", "L1-2026-0002", "fail"):
        assert squeezed(text) in said, text
    assert "+0.00533 NTU" in [run.text for run in runs(page)]  # on one line
    within, between = distances(page)
    assert min(between) > max(within) + 1.5


def distances(page: bytes) -> tuple[list[float], list[float]]:
    """How far apart base lines of checks are on a chart page: within a check, and from one to the next."""
    rows = [run for run in runs(page) if run.x == 44]
    within, between = [], []
    for upper, lower in pairwise(rows):
        if upper.text.startswith(("As ", "After ")):
            if upper.text.endswith(" "):
                within.append(upper.y - lower.y)
            elif lower.text.startswith(("As ", "After ")):
                between.append(upper.y - lower.y)
        elif lower.text.startswith(("As ", "After ")) and upper.text != "check":
            between.append(upper.y - lower.y)
    return within, between


# ---------------------------------------------------------------- refused, naming the row


def test_a_sheet_that_is_not_filled_in_is_refused_naming_its_row(plant: Plant) -> None:
    one = walked(plant)
    shutil.copy(written(plant, one.folder.with_name("blank")).rows[1].path, one.rows[1].path)
    said = refused(plant, one.folder)
    assert said.startswith(
        "round.toml, line 32: the sheet 2 AIT-2102.toml of AIT-2102 is not filled in; 9 answers stand open: "
        "serial_on_plate (line "
    )
    assert said.endswith(
        "and 4 more. Type them (what is the same on all sheets once in [head] here), or say skipped = "
        '"because ..." in this row.'
    )


def test_one_reading_that_is_missing_is_named(plant: Plant) -> None:
    one = walked(plant)
    path = one.rows[0].path
    path.write_text(path.read_text("utf-8").replace('["7.00", "7.03", "7.03", "7.03"]', "[]"), "utf-8")
    assert "1 answer stands open: as_found.points.1.readings (line " in refused(plant, one.folder)


def test_a_row_without_its_sheet_is_refused(plant: Plant) -> None:
    one = walked(plant)
    one.rows[1].path.unlink()
    assert refused(plant, one.folder) == (
        "round.toml, line 32: the sheet 2 AIT-2102.toml of AIT-2102 is not in the folder; put it back, or "
        'say skipped = "because ..." in this row.'
    )


def test_the_sheet_of_another_analyzer_is_refused(plant: Plant) -> None:
    one = walked(plant)
    shutil.copy(one.rows[0].path, one.rows[1].path)
    said = refused(plant, one.folder)
    assert "tag is 'AIT-2101', and the row of this sheet (round.toml, line 32) says AIT-2102" in said
    assert said.startswith("2 AIT-2102.toml, line ")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('tag = "AIT-2102"', 'tag = "AIT-9"', "round.toml, line 32: analyzers.toml does not hold AIT-9."),
        (
            'procedure = "ph_calibration"',
            'procedure = "tea"',
            "round.toml, line 26: there is no procedure tea; there is ",
        ),
        (
            'sheet = "2 AIT-2102.toml"',
            'sheet = "1 AIT-2101.toml"',
            "round.toml, line 32: sheet 1 AIT-2101.toml is given twice (first on line 26); keep one",
        ),
        (
            'tag = "AIT-2102"',
            'tag = "AIT-2101"',
            "round.toml, line 32: stop ph_calibration of AIT-2101 is given twice (first on line 26)",
        ),
        (
            'sheet = "2 AIT-2102.toml"',
            'sheet = "../pass.toml"',
            "round.toml, line 35: sheet: '../pass.toml' is no field sheet of this folder",
        ),
        ('round = "weekly"', 'rounds = "weekly"', "rounds is not known here; did you mean round?"),
        ('reason = "routine"', 'reeson = "routine"', "reeson is no question of the sheet of ph_calibration"),
        ('date = "2026-05-31"', "date = 2026-05-31", "date is written without quotes"),
        ('# skipped = "because ..."', 'skipped = ""', "skipped is empty; fill it in or leave the line out."),
        (
            '# skipped = "because ..."',
            'skipped = "a\\u202eb"',
            "skipped: it holds the invisible character U+202E; delete it.",
        ),
    ],
)
def test_a_round_file_that_cannot_be_right_is_refused(plant: Plant, old: str, new: str, says: str) -> None:
    assert says in refused(plant, row_says(walked(plant), old, new).folder)


def test_a_folder_that_is_no_round_is_refused(plant: Plant) -> None:
    said = refused(plant, plant.folder / "field_sheets")
    assert "is no folder of a round: it holds no round.toml. Name a field sheet, or a folder that" in said


def test_a_round_named_twice_is_refused(plant: Plant) -> None:
    one = walked(plant)
    assert refused(plant, one.folder, one.folder) == f"The round {TITLE} is named twice; name it once."


def test_a_visit_of_the_round_told_twice_is_refused(plant: Plant) -> None:
    one = walked(plant)
    other = plant.folder / "field_sheets" / "again.toml"
    text = one.rows[0].path.read_text("utf-8").replace('"7.00", "7.03"', '"7.01", "7.03"')
    other.write_text(text, "utf-8")
    type_in(other, "cautions", read="yes")
    said = refused(plant, other, one.folder)
    assert "again.toml and 1 AIT-2101.toml are sheets of one visit (AIT-2101 ph_calibration " in said


def test_one_refused_sheet_enters_nothing_of_the_round(plant: Plant) -> None:
    one = walked(plant)
    path = one.rows[1].path
    path.write_text(path.read_text("utf-8").replace('"EL-0418"', '"EL-0417"'), "utf-8")
    skip(one, "AIT-2101", "valve stuck")
    assert "The serial on the plate is EL-0417" in refused(plant, one.folder)


def test_what_is_yet_to_come_was_not_skipped(plant: Plant) -> None:
    one = written(plant, date="2026-06-02")
    for row in one.rows:
        skip(one, row.tag, "later")
    assert "the round of 2026-06-02 lies after this computer's clock (2026-06-01)" in refused(
        plant, one.folder
    )


def test_skipping_needs_to_know_who_walked_the_round(plant: Plant) -> None:
    one = walked(plant)
    skip(one, "AIT-2102", "valve stuck")
    said = refused(plant, row_says(one, 'performed_by = "T-07"', 'performed_by = ""').folder)
    assert "performed_by is missing; who walked the round enters what was skipped" in said


def test_what_is_in_the_book_was_not_skipped(plant: Plant) -> None:
    one = walked(plant)
    acts.perform_walk(plant, [one.folder], NOW)
    skip(one, "AIT-2102", "valve stuck")
    with pytest.raises(
        CorrectTheEntry, match=r"says skipped, and the book holds it as L1-2026-0002, begun 2026-05-31"
    ):
        acts.perform_walk(plant, [one.folder], NOW)
    assert audit.book_of(plant).events("skipped") == []


def test_another_sheet_of_an_entered_visit_is_refused(plant: Plant) -> None:
    one = walked(plant)
    acts.perform_walk(plant, [one.folder], NOW)
    read_in(one.rows[0].path, "as_found.points", ())
    path = one.rows[0].path
    path.write_text(path.read_text("utf-8").replace('"7.00", "7.03"', '"7.01", "7.03"'), "utf-8")
    with pytest.raises(CorrectTheEntry, match="this visit is in the book as L1-2026-0001 with other entries"):
        acts.perform_walk(plant, [one.folder], NOW)


# ---------------------------------------------------------------- the chart page


def checks_of(plant: Plant, name: str) -> dict[str, Check]:
    return {check.key: check for check in record_in(plant, name).result.checks}


def test_a_share_is_the_error_over_the_limit_on_its_side(plant: Plant) -> None:
    check = checks_of(plant, "fail")["as_found.B7-4471.error"]
    assert check.quantity is not None
    assert (check.quantity.text, check.low, check.high) == ("-0.203", "-0.10", "0.10")
    part, wide = share(check), expanded_share(check)
    assert part is not None
    assert wide is not None
    assert f"{part:+.2f}" == "-2.03"
    assert f"{wide:.2f}" == f"{float(check.quantity.expanded) / 0.10:.2f}"


def test_what_is_no_error_or_was_not_evaluated_has_no_share(plant: Plant) -> None:
    found = checks_of(plant, "pass")
    assert share(found["as_found.slope"]) is None  # 95 to 105 % does not lie about zero
    assert share(found["after_cleaning.error"]) is None
    assert expanded_share(found["after_cleaning.error"]) is None


def test_the_page_is_the_same_every_time_and_says_what_it_is(plant: Plant) -> None:
    records = [record_in(plant, name, f"L1-2026-000{n}") for n, name in enumerate(("pass", "fail"), 1)]
    rows = [RoundRow(record.given.analyzer.tag, record.title, record) for record in records]
    skipped = RoundRow("AIT-2202", "Turbidity check", None, "filter off line, work order 117")
    page = RoundPage("weekly", DAY, plant.site, (rows[0], skipped, rows[1]))
    data = make_round_page(page, NOW.isoformat())
    assert data == make_round_page(page, NOW.isoformat())
    said = words(data)
    for text in (
        "Round weekly, unsigned",
        "3 stops in walking order, 1 skipped",
        "L1-2026-0001",
        "L1-2026-0002",
        "skipped, filter off line, work order 117",
        "not evaluated",
        "not done: as found was inside the tolerance",
        "Synthetic data: an invented plant",
        "fail",
        "−2.03",
    ):
        assert squeezed(text) in said, text
    assert said.index("AIT-2202") < said.index("L1-2026-0002")


def test_a_stop_that_is_skipped_and_read_is_refused(plant: Plant) -> None:
    """What was typed is not thrown away by a word in the row, least of all a failing check."""
    one = walked(plant, {"AIT-2102": BAD})
    path = one.folder / "round.toml"
    head, row = path.read_text("utf-8").split('tag = "AIT-2102"', 1)
    row = row.replace('# skipped = "because ..."', 'skipped = "pump tripped"', 1)
    path.write_text(f'{head}tag = "AIT-2102"{row}', "utf-8")
    said = refused(plant, one.folder)
    assert said.startswith(
        "round.toml, line 32: AIT-2102 says skipped, and its sheet 2 AIT-2102.toml is filled in (2 "
        "AIT-2102.toml, line "
    )
    assert said.endswith("; take skipped out of the row, or put the sheet out of the folder.")
    one.rows[1].path.unlink()
    assert len(acts.perform_walk(plant, [one.folder], NOW).performed) == 1


def test_the_words_of_the_template_are_no_reason(plant: Plant) -> None:
    one = walked(plant)
    skip(one, "AIT-2102", "because ...")
    assert "skipped: 'because ...' is no reason; say why nothing was done at this stop." in refused(
        plant, one.folder
    )


def test_each_stop_has_its_own_start(plant: Plant) -> None:
    """The time on the command line is that of the first stop; the others are typed when they begin."""
    one = written(plant)
    starts = [tomllib.loads(row.path.read_text("utf-8"))["started"] for row in one.rows]
    assert starts == ["08:05", ""]
    assert "started" not in tomllib.loads((one.folder / "round.toml").read_text("utf-8"))["head"]
