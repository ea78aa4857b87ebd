"""What of a round was done is told by its visits: by the folder, by a sheet alone, or by another command."""

from __future__ import annotations

import shutil
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from pdf_text import squeezed, words
from plant_example import NOW
from round_example import (
    DAY,
    ROUND,
    ROUNDS,
    TITLE,
    fill_in,
    plant_with_round,
    read_after_all,
    skip,
    type_in,
    walked,
    written,
)

from wqverify import acts, audit
from wqverify.book import RecordState, has_book, is_of_day
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.lists.queue import queue
from wqverify.plant.folder import Plant, open_plant
from wqverify.plant.round_folder import RoundFolder, read_round

pytestmark = pytest.mark.slow
FIRST, SECOND, THIRD = "L1-2026-0001", "L1-2026-0002", "L1-2026-0003"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plant with its round walked, nothing entered yet."""
    folder = tmp_path_factory.mktemp("visits") / "plant"
    walked(plant_with_round(folder))
    return folder


@pytest.fixture
def plant(made: Path, tmp_path: Path) -> Plant:
    return open_plant(Path(shutil.copytree(made, tmp_path / "plant")))


@pytest.fixture
def one(plant: Plant) -> RoundFolder:
    return read_round(plant.folder / "field_sheets" / TITLE)


def says(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert old in text, old
    path.write_text(text.replace(old, new), "utf-8")


def by_itself(plant: Plant, sheet: Path) -> str:
    """Run a sheet by its file name; what stood open for the head of the round is typed on it."""
    type_in(sheet, "cautions", read="yes")
    return acts.perform_walk(plant, [sheet], NOW).performed[0].number


def amend(sheet: Path, number: str) -> None:
    says(sheet, "method = ", f'replaces = "{number}"\nreplaces_why = "the flow was told wrong"\nmethod = ')


def taken_back(one: RoundFolder, why: str) -> None:
    says(one.folder / "round.toml", f'skipped = "{why}"', '# skipped = "because ..."')


def skipped(plant: Plant) -> list[str]:
    return [entry.tag for entry in queue(plant, NOW).skipped]


def in_book(plant: Plant) -> list[RecordState]:
    return list(audit.book_of(plant).records())


def refused(plant: Plant, *paths: Path) -> str:
    """What is said of a round that cannot be performed; nothing is entered, and a check says the same."""
    before = audit.book_of(plant).heads() if has_book(plant.book) else {}
    with pytest.raises((ChooseAnother, CorrectTheEntry)) as caught:
        acts.perform_walk(plant, paths, NOW)
    assert (audit.book_of(plant).heads() if has_book(plant.book) else {}) == before
    with pytest.raises((ChooseAnother, CorrectTheEntry)) as checked:
        acts.check_walk(plant, paths, NOW)
    assert str(checked.value) == str(caught.value)
    return str(caught.value)


# ---------------------------------------------------------------- the day of a round


@pytest.mark.parametrize(
    ("began", "of_it"),
    [
        ("2026-05-30T23:59", False),
        ("2026-05-31T00:00", True),
        ("2026-05-31T23:59", True),
        ("2026-06-01T00:00", True),
        ("2026-06-01T05:59", True),
        ("2026-06-01T06:00", False),
        ("2026-06-01T06:01", False),
        ("2026-06-02T00:00", False),
        ("2026-05-03T08:05", False),
    ],
)
def test_the_night_after_its_day_belongs_to_a_round(began: str, of_it: bool) -> None:
    """Common practice, no source: a round that began in the evening ends before six."""
    assert is_of_day(DAY, datetime.fromisoformat(f"{began}-05:00")) is of_it


def test_a_sheet_of_another_day_is_refused(plant: Plant, one: RoundFolder) -> None:
    says(one.rows[0].path, f'date = "{DAY}"', 'date = "2026-05-03"')
    line = one.rows[0].path.read_text("utf-8").split('date = "')[0].count("\n") + 1
    assert refused(plant, one.folder) == (
        f"1 AIT-2101.toml, line {line}: the work began 2026-05-03 08:05, and the round is of 2026-05-31 and "
        f"of the night after it, until 06:00; correct the date on the sheet, or run the sheet by itself."
    )


def test_a_night_round_passes_midnight_and_ends_before_six(plant: Plant, one: RoundFolder) -> None:
    sheet = one.rows[1].path
    says(sheet, f'date = "{DAY}"', 'date = "2026-06-01"')
    says(sheet, '"08:05"', '"05:59"')
    says(sheet, '"08:12"', '"06:10"')
    done = acts.perform_walk(plant, [one.folder], NOW + timedelta(hours=12))
    assert [state.performed[:16] for state in in_book(plant)] == ["2026-05-31T08:05", "2026-06-01T05:59"]
    assert len(done.rounds) == 1
    says(sheet, '"05:59"', '"06:00"')
    assert "the work began 2026-06-01 06:00, and the round is of 2026-05-31" in refused(plant, one.folder)


# ---------------------------------------------------------------- done and skipped


def test_what_was_run_by_its_sheet_alone_was_not_skipped(plant: Plant, one: RoundFolder) -> None:
    assert by_itself(plant, one.rows[0].path) == FIRST
    skip(one, "AIT-2101", "never done")
    assert refused(plant, one.folder) == (
        f"{one.rows[0].where}: ph_calibration of AIT-2101 says skipped, and the book holds it as {FIRST}, "
        f"begun 2026-05-31 08:05; take skipped out, void the record first, or take the row out where that "
        f"was another visit."
    )
    acts.void(plant, FIRST, "S-02", "wrong analyzer", NOW)
    acts.perform_walk(plant, [one.folder], NOW)
    assert skipped(plant) == ["AIT-2101"]


def test_a_sheet_named_beside_the_round_that_skips_it_is_refused(plant: Plant, one: RoundFolder) -> None:
    skip(one, "AIT-2102", "valve stuck")
    type_in(one.rows[1].path, "cautions", read="yes")
    assert refused(plant, one.rows[1].path, one.folder) == (
        f"{one.rows[1].where}: ph_calibration of AIT-2102 says skipped, and 2 AIT-2102.toml, named beside "
        f"this round, says it was done; take skipped out, or leave that sheet out."
    )


def test_what_was_skipped_and_then_done_by_its_sheet_alone_is_no_notice(
    plant: Plant, one: RoundFolder
) -> None:
    skip(one, "AIT-2102", "valve stuck")
    acts.perform_walk(plant, [one.folder], NOW)
    assert skipped(plant) == ["AIT-2102"]
    read_after_all(one.rows[1].path)
    number = by_itself(plant, one.rows[1].path)
    assert [state.round for state in in_book(plant)] == [TITLE, ""]
    assert skipped(plant) == []
    acts.void(plant, number, "S-02", "wrong analyzer", NOW)
    assert skipped(plant) == ["AIT-2102"]


def test_the_same_work_on_another_day_leaves_the_notice(plant: Plant, one: RoundFolder) -> None:
    skip(one, "AIT-2102", "valve stuck")
    acts.perform_walk(plant, [one.folder], NOW)
    says(one.rows[1].path, f'date = "{DAY}"', 'date = "2026-05-30"')
    read_after_all(one.rows[1].path)
    by_itself(plant, one.rows[1].path)
    assert skipped(plant) == ["AIT-2102"]


def test_another_round_of_the_day_does_not_do_what_this_one_skipped(plant: Plant, one: RoundFolder) -> None:
    (plant.folder / "rounds.toml").write_text(
        ROUNDS + ROUNDS.replace('name = "weekly"', 'name = "evening"'), "utf-8"
    )
    plant = open_plant(plant.folder)
    acts.perform_walk(plant, [one.folder], NOW)
    head = acts.HeadOf("T-07", DAY, "18:05", "R. Okafor")
    evening = acts.prepare_round(plant, "evening", head, NOW)
    for row in evening.rows:
        skip(evening, row.tag, "storm")
    acts.perform_walk(plant, [evening.folder], NOW)
    assert sorted(skipped(plant)) == ["AIT-2101", "AIT-2102"]


def test_an_amendment_by_its_sheet_alone_stays_in_the_round(plant: Plant, one: RoundFolder) -> None:
    skip(one, "AIT-2102", "no time")
    acts.perform_walk(plant, [one.folder], NOW)
    taken_back(one, "no time")
    read_after_all(one.rows[1].path)
    acts.perform_walk(plant, [one.folder], NOW)
    assert skipped(plant) == []
    amend(one.rows[1].path, SECOND)
    assert by_itself(plant, one.rows[1].path) == THIRD
    states = {state.number: state for state in in_book(plant)}
    assert states[SECOND].state == f"superseded by {THIRD}"
    assert states[THIRD].round == TITLE
    assert skipped(plant) == []


def test_an_amendment_of_what_was_on_no_round_is_on_none(plant: Plant, one: RoundFolder) -> None:
    by_itself(plant, one.rows[0].path)
    amend(one.rows[0].path, FIRST)
    by_itself(plant, one.rows[0].path)
    assert [state.round for state in in_book(plant)] == ["", ""]


def test_what_another_command_enters_meanwhile_is_not_entered_as_skipped(
    plant: Plant, one: RoundFolder
) -> None:
    other = read_round(Path(shutil.copytree(one.folder, one.folder.with_name("copy"))))
    skip(other, "AIT-2101", "elsewhere")
    skip(one, "AIT-2102", "no time")
    ran: list[acts.Walked] = []

    def meanwhile(step: str) -> None:
        if step.startswith("executing") and not ran:
            ran.append(acts.perform_walk(plant, [other.folder], NOW))

    with pytest.raises(CorrectTheEntry, match=f"AIT-2102 says skipped, and the book holds it as {FIRST}"):
        acts.perform_walk(plant, [one.folder], NOW, meanwhile)
    assert [(state.number, state.tag) for state in in_book(plant)] == [
        (FIRST, "AIT-2102"),
        (SECOND, "AIT-2101"),
    ]
    assert [e.body["tag"] for e in audit.book_of(plant).events("skipped")] == ["AIT-2101"]
    assert skipped(plant) == []  # done by the first command after the second had said skipped


# ---------------------------------------------------------------- two folders of one title


def second_walk(plant: Plant) -> RoundFolder:
    """Another folder of the same round and day, an hour later."""
    other = written(plant, plant.folder / "field_sheets" / "second", started="09:05")
    for row in other.rows:
        type_in(row.path, "", started="09:05")
        fill_in(row.path, row.tag)
        says(row.path, '"08:12"', '"09:12"')
    type_in(other.folder / "round.toml", "head.cautions", read="yes")
    return other


def test_a_second_walk_under_the_same_title_is_refused(plant: Plant, one: RoundFolder) -> None:
    page = acts.perform_walk(plant, [one.folder], NOW).rounds[0].page
    before = page.read_bytes()
    assert refused(plant, second_walk(plant).folder) == (
        f"1 AIT-2101.toml: the round {TITLE} has its ph_calibration of AIT-2101 in the book as {FIRST}, "
        f"begun 08:05; give a second round of the day another name (round in its round.toml), or correct "
        f"date and started on the sheet."
    )
    assert page.read_bytes() == before


def test_a_second_walk_under_another_name_is_taken(plant: Plant, one: RoundFolder) -> None:
    acts.perform_walk(plant, [one.folder], NOW)
    other = second_walk(plant)
    says(other.folder / "round.toml", 'round = "weekly"', 'round = "weekly, again"')
    done = acts.perform_walk(plant, [other.folder], NOW)
    assert done.rounds[0].page.name == f"{DAY} weekly, again.pdf"
    assert len(list(done.rounds[0].page.parent.iterdir())) == 2


def test_a_second_walk_entered_meanwhile_is_refused(plant: Plant, one: RoundFolder) -> None:
    other, ran = second_walk(plant), list[acts.Walked]()

    def meanwhile(step: str) -> None:
        if step.startswith("executing") and not ran:
            ran.append(acts.perform_walk(plant, [other.folder], NOW))

    with pytest.raises(CorrectTheEntry, match=f"in the book as {FIRST}, begun 09:05; give a second round"):
        acts.perform_walk(plant, [one.folder], NOW, meanwhile)
    assert [state.performed[11:16] for state in in_book(plant)] == ["09:05", "09:05"]


def test_the_start_of_a_visit_is_corrected_by_an_amendment(plant: Plant, one: RoundFolder) -> None:
    acts.perform_walk(plant, [one.folder], NOW)
    amend(one.rows[0].path, FIRST)
    says(one.rows[0].path, 'started = "08:05"', 'started = "08:04"')
    acts.perform_walk(plant, [one.folder], NOW)
    assert [(s.number, s.performed[11:16], s.stands) for s in in_book(plant)] == [
        (FIRST, "08:05", False),
        (SECOND, "08:05", True),
        (THIRD, "08:04", True),
    ]


def test_a_chart_of_other_records_is_kept_aside(plant: Plant, one: RoundFolder) -> None:
    """Two folders of one title that share no stop: neither chart is lost."""
    text = (one.folder / "round.toml").read_text("utf-8")
    top, first, second = text.split("[[stop]]")
    other = Path(shutil.copytree(one.folder, one.folder.with_name("copy")))
    (one.folder / "round.toml").write_text(f"{top}[[stop]]{first}", "utf-8")
    (other / "round.toml").write_text(f"{top}[[stop]]{second}", "utf-8")
    page = acts.perform_walk(plant, [one.folder], NOW).rounds[0].page
    before, told = page.read_bytes(), list[str]()
    acts.perform_walk(plant, [other], NOW, told.append)
    assert (plant.folder / "book" / "moved_aside" / f"001 {TITLE}.pdf").read_bytes() == before
    assert f"moving the former {TITLE}.pdf to book/moved_aside" in told
    assert squeezed(SECOND) in words(page.read_bytes())


# ---------------------------------------------------------------- a new plant, people, names


def test_a_book_that_another_command_is_just_making_is_none_yet(plant: Plant, one: RoundFolder) -> None:
    """The file is there, empty, from when it is opened until the book is committed."""
    Path(plant.book).parent.mkdir(exist_ok=True)
    Path(plant.book).touch()
    assert not has_book(plant.book)
    skip(one, "AIT-2102", "valve stuck")
    assert queue(plant, NOW).waiting == ()
    assert len(acts.check_walk(plant, [one.folder], NOW)[0]) == 1
    acts.perform_walk(plant, [one.folder], NOW)
    assert has_book(plant.book)
    assert skipped(plant) == ["AIT-2102"]


def test_who_may_not_perform_skips_nothing(plant: Plant) -> None:
    one = written(plant, plant.folder / "field_sheets" / "all skipped")
    for row in one.rows:
        skip(one, row.tag, "plant off line")
    people = plant.folder / "people.toml"
    people.write_text(people.read_text("utf-8").replace("may_perform = true", "may_perform = false", 1))
    line = (one.folder / "round.toml").read_text("utf-8").split("performed_by")[0].count("\n") + 1
    assert refused(open_plant(plant.folder), one.folder) == (
        f"round.toml, line {line}: Ines Quarrow (T-07) may not perform (may_perform in people.toml); who "
        f"walks a round enters what was skipped on it."
    )


@pytest.mark.parametrize("name", ["CON", "con", "Nul", "PRN", "aux", "COM1", "lpt9"])
def test_a_name_that_windows_keeps_is_no_name_of_a_round(plant: Plant, one: RoundFolder, name: str) -> None:
    says(one.folder / "round.toml", f'round = "{ROUND}"', f'round = "{name}"')
    told = f"'{name}' names a folder too, and Windows keeps it for itself; choose another."
    assert told in refused(plant, one.folder)
    (plant.folder / "rounds.toml").write_text(ROUNDS.replace(f'"{ROUND}"', f'"{name}"', 1), "utf-8")
    with pytest.raises(CorrectTheEntry) as caught:
        open_plant(plant.folder)
    assert told in str(caught.value)


@pytest.mark.parametrize("name", ["CONs", "nullah", "COM", "COM10", "console", "lpt"])
def test_a_name_that_only_begins_so_is_one(one: RoundFolder, name: str) -> None:
    says(one.folder / "round.toml", f'round = "{ROUND}"', f'round = "{name}"')
    assert read_round(one.folder).name == name
