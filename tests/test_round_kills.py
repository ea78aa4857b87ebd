"""kill -9 at each step of writing and performing a round, of a question and of an answer.

As in test_kills.py: the same command run again finishes, nothing is doubled, nothing that was typed is lost.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from plant_example import NOW
from round_example import DAY, TITLE, plant_with_round, skip, walked
from test_kills import SECRET, Here, processes  # noqa: F401 (a fixture)

from wqverify import acts, audit
from wqverify.lists.queue import queue

pytestmark = pytest.mark.slow
NUMBER = "L1-2026-0001"
WALK = [
    "reading 1 AIT-2101.toml",
    "executing the notebook of ph_calibration for 1 field sheet",
    "taking the next number",
    f"making the page of {NUMBER}",
    f"writing {NUMBER}.pdf",
    f"entering {NUMBER} into the book",
    f"entered {NUMBER}",
    "entering AIT-2102 as skipped",
    f"making the chart page of {TITLE}",
    f"writing {TITLE}.pdf",
]


@pytest.fixture(scope="module")
def plants(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A plant with its rounds; with a round filled in; with its record signed; with two records to sign."""
    bare = tmp_path_factory.mktemp("round kills") / "bare"
    plant = plant_with_round(bare / "plant")
    acts.make_authority(plant, bare / "keys", SECRET.encode(), NOW)
    for staff in ("T-07", "S-02"):
        acts.issue_key(plant, bare / "keys", staff, SECRET.encode(), SECRET.encode(), NOW)
    filled = Path(shutil.copytree(bare, bare.with_name("filled")))
    one = walked(plant_in(filled))
    both = Path(shutil.copytree(filled, bare.with_name("both")))
    acts.perform_walk(plant_in(both), [folder_of(both)], NOW)
    skip(one, "AIT-2102", "valve stuck")
    signed = Path(shutil.copytree(filled, bare.with_name("signed")))
    acts.perform_walk(plant_in(signed), [folder_of(signed)], NOW)
    acts.sign(plant_in(signed), [NUMBER], "T-07", signed / "keys", SECRET.encode(), NOW)
    return {"bare": bare, "filled": filled, "signed": signed, "both": both}


def plant_in(folder: Path) -> Any:
    return Here(folder, None).plant


def folder_of(folder: Path) -> Path:
    return folder / "plant" / "field_sheets" / TITLE


@pytest.fixture
def here(plants: dict[str, Path], processes: Any, tmp_path: Path) -> Any:  # noqa: F811
    return lambda which: Here(Path(shutil.copytree(plants[which], tmp_path / "here")), processes)


def chart(one: Here) -> Path:
    return one.folder / "plant" / "book" / "rounds" / f"{TITLE}.pdf"


def skipped(one: Here) -> list[str]:
    return [str(entry.body["tag"]) for entry in audit.book_of(one.plant).events("skipped")]


# ---------------------------------------------------------------- run


def test_a_round_that_nobody_kills_tells_these_steps(here: Any) -> None:
    one = here("filled")
    assert one.run("walk", str(folder_of(one.folder))) == 0
    assert one.heard("told") == [[step] for step in WALK]
    assert one.heard("done") == [[NUMBER, "new"]]


@pytest.mark.parametrize("step", range(1, len(WALK) + 1))
def test_a_round_killed_at_each_step_is_finished_by_running_it_again(here: Any, step: int) -> None:
    one = here("filled")
    folder = str(folder_of(one.folder))
    assert one.run("walk", folder, die_at=step) == -9
    assert one.heard("told") == [[told] for told in WALK[:step]]
    assert one.heard("done") == []
    assert one.events() == ["performed"] * (step >= 7)
    assert skipped(one) == ["AIT-2102"] * (step >= 9)
    assert not chart(one).exists()
    assert one.run("walk", folder) == 0
    assert one.heard("done") == [[NUMBER, "already" if step >= 7 else "new"]]
    assert one.events() == ["performed"]
    assert skipped(one) == ["AIT-2102"]
    page, heads = chart(one).read_bytes(), audit.book_of(one.plant).heads()
    assert one.run("walk", folder) == 0
    assert chart(one).read_bytes() == page
    assert audit.book_of(one.plant).heads() == heads
    one.insist_on_sound()


def test_a_round_killed_while_its_chart_is_written(here: Any) -> None:
    one = here("filled")
    folder = str(folder_of(one.folder))
    touched = 1
    while one.run("walk", folder, die_at_file=touched) == -9:
        name = one.heard("file")[-1][1]
        if name.startswith(TITLE):
            break
        shutil.rmtree(one.folder)
        one = here("filled")
        touched += 1
    assert one.heard("file")[-1] == ["open", f"{TITLE}.pdf.part"]
    assert not chart(one).exists()
    assert one.run("walk", folder, die_at_file=2) == -9  # the first touch of a file is again its .part
    assert one.heard("file")[-1] == ["os.rename", f"{TITLE}.pdf.part"]
    assert one.run("walk", folder) == 0
    assert chart(one).is_file()
    assert skipped(one) == ["AIT-2102"]
    one.insist_on_sound()


# ---------------------------------------------------------------- write


def test_writing_a_round_killed_at_each_touch_of_a_file_is_finished_by_the_same_command(
    here: Any, tmp_path: Path
) -> None:
    touched, sound = 0, {}
    while True:
        one = here("bare")
        ended = one.run("prepare", "weekly", die_at_file=touched + 1, staff="T-07", day=DAY)
        there = {path.name: path.read_bytes() for path in folder_of(one.folder).glob("*")}
        if ended == 0:
            assert there == sound
            break
        assert ended == -9
        touched += 1
        assert "round.toml" not in there
        assert one.run("prepare", "weekly", staff="T-07", day=DAY) == 0
        sound = {path.name: path.read_bytes() for path in folder_of(one.folder).iterdir()}
        assert sorted(sound) == ["1 AIT-2101.toml", "2 AIT-2102.toml", "round.toml"]
        shutil.rmtree(tmp_path / "here")
    assert touched == 6  # each of three files is opened beside and renamed


# ---------------------------------------------------------------- sign and review


@pytest.mark.parametrize("step", range(1, 11))
def test_a_round_whose_signing_is_killed_at_each_step_is_finished_by_the_same_command(
    here: Any, step: int
) -> None:
    one = here("both")
    folder, numbers = str(folder_of(one.folder)), [NUMBER, "L1-2026-0002"]
    for act, staff, event in (("sign round", "T-07", "signed"), ("review round", "S-02", "reviewed")):
        assert one.run(act, folder, staff=staff, die_at=step) == -9
        assert one.run(act, folder, staff=staff) == 0
        assert one.events().count(event) == 2
    assert [one.state(number) for number in numbers] == ["countersigned"] * 2
    for number in numbers:
        examined = audit.examine_file(one.page.with_name(f"{number}.pdf"), one.plant)
        assert not examined.damaged, examined.findings
        assert len(examined.examination.signers) == 2
    one.insist_on_sound()


# ---------------------------------------------------------------- question and answer


@pytest.mark.parametrize(("step", "entered"), [(1, False), (2, True)])
def test_a_question_and_its_answer_killed_at_each_step_are_entered_once(
    here: Any, step: int, entered: bool
) -> None:
    one = here("signed")
    for act, word, text, staff, before, after in (
        ("ask", "question", "Why?", "S-02", "signed, not countersigned", "returned with a question"),
        ("answer", "answer", "No buffer.", "T-07", "returned with a question", "signed, not countersigned"),
    ):
        assert one.run(act, NUMBER, text, staff=staff, die_at=step) == -9
        assert one.heard("told")[-1] == [f"{'entered' if entered else 'entering'} the {word} about {NUMBER}"]
        assert one.state() == (after if entered else before)
        assert one.run(act, NUMBER, text, staff=staff) == 0
        assert one.heard("done")[-1] == [NUMBER, "already" if entered else "new"]
        assert one.state() == after
    assert one.events() == ["performed", "signed", "returned with a question", "answered"]
    (waiting,) = queue(one.plant, NOW).waiting
    assert (waiting.to, len(waiting.questions)) == ("countersign", 1)
    one.insist_on_sound()


def test_two_processes_ask_one_question_once(here: Any) -> None:
    one = here("signed")
    go = one.folder / "go"
    running = [one.start("ask", NUMBER, "Why?", staff="S-02", wait_for=str(go)) for _ in range(2)]
    go.touch()
    for process in running:
        process.join(60)
    assert [process.exitcode for process in running] == [0, 0]
    assert one.events().count("returned with a question") == 1
    assert sorted(one.heard("done")) == [[NUMBER, "already"], [NUMBER, "new"]]
    one.insist_on_sound()
