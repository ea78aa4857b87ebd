"""kill -9 at each step of run, sign and review, and many who write at once.

Afterwards the examination names the state in words, nothing acknowledged is lost, nothing is doubled, and the
same command run again finishes. A kill shows what the death of a process does, not a power cut.
"""

from __future__ import annotations

import multiprocessing
import runpy
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import pytest
from plant_example import NOW, plant_in, sheet_of

from wqverify import acts, audit
from wqverify.plant.folder import open_plant
from wqverify.records.canonical import digest

pytestmark = pytest.mark.slow
DRIVER = Path(__file__).parent / "drivers" / "kill_at_step.py"
SECRET = "a long enough one"
NUMBER = "L1-2026-0001"

PERFORM = [
    "reading pass.toml",
    "executing the notebook of ph_calibration for 1 field sheet",
    "taking the next number",
    f"making the page of {NUMBER}",
    f"writing {NUMBER}.pdf",
    f"entering {NUMBER} into the book",
    f"entered {NUMBER}",
]


def signing(role: str, event: str) -> list[str]:
    return [
        f"signing {NUMBER} as {role}",
        f"writing the file with the signature of {NUMBER}",
        f"entering {NUMBER} as {event}",
        f"putting {NUMBER}.pdf in its place",
        f"{NUMBER} {event}",
    ]


NEVER = f"{NUMBER}.pdf.part: written, never entered; will be moved aside"
STRAY = f"{NUMBER}.pdf: a page without an entry in the book; will be moved aside"
WAITING = f"{NUMBER}.pdf.part: signed and entered, not yet in its place; the next command puts it there"


class Here:
    """A plant folder with its keys, and processes that work in it."""

    def __init__(self, folder: Path, processes: Any) -> None:
        self.folder, self._processes = folder, processes

    @property
    def plant(self) -> Any:
        return open_plant(self.folder / "plant")

    @property
    def page(self) -> Path:
        return self.folder / "plant" / "book" / "pages" / f"{NUMBER}.pdf"

    def start(self, act: str, *names: str, **arguments: Any) -> BaseProcess:
        given = {
            "act": act,
            "plant": str(self.folder / "plant"),
            "keys": str(self.folder / "keys"),
            "secret": SECRET,
            "staff": "T-07" if act == "sign" else "S-02",
            "names": list(names),
            "heard": str(self.folder / "heard.txt"),
            "now": NOW.isoformat(),
            **arguments,
        }
        globals_then = {"init_globals": {"ARGUMENTS": given}, "run_name": "__main__"}
        process: BaseProcess = self._processes.Process(
            target=runpy.run_path, args=(str(DRIVER),), kwargs=globals_then
        )
        process.start()
        return process

    def run(self, act: str, *names: str, **arguments: Any) -> int | None:
        process = self.start(act, *names, **arguments)
        process.join(60)
        return process.exitcode

    def heard(self, kind: str) -> list[list[str]]:
        lines = (self.folder / "heard.txt").read_text("utf-8").splitlines()
        return [words[1:] for line in lines if (words := line.split("\t"))[0] == kind]

    def sheet(self, name: str = "pass") -> str:
        return str(sheet_of(self.plant, name))

    def state(self, number: str = NUMBER) -> str:
        found = audit.book_of(self.plant).find(number)
        return found.state if found is not None else "unknown"

    def events(self) -> list[str]:
        return [entry.event for entry in audit.book_of(self.plant).entries() if entry.record]

    def moved_aside(self) -> list[str]:
        return sorted(path.name for path in (self.folder / "plant/book/moved_aside").glob("*"))

    def insist_on_sound(self) -> None:
        """No damage, nothing unfinished, every page the one the book holds."""
        findings = audit.examine_book(self.plant, None, [])
        assert [f.text for f in findings if f.severity == "damaged" or "Unfinished" in f.text] == []
        for state in audit.book_of(self.plant).records():
            page = self.page.with_name(f"{state.number}.pdf")
            assert digest(page.read_bytes()) == state.file_digest
        pages = sorted(path.name for path in self.page.parent.iterdir())
        assert pages == [f"{state.number}.pdf" for state in audit.book_of(self.plant).records()]


@pytest.fixture(scope="module")
def processes() -> Any:
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(
        ["wqverify.acts", "wqverify.show.page", "wqverify.signing.sign", "papermill", "typst"]
    )
    return context


@pytest.fixture(scope="module")
def plants(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A plant with keys: with nothing performed, with one record performed, with one signed."""
    empty = tmp_path_factory.mktemp("kills") / "empty"
    plant = plant_in(empty / "plant")
    acts.make_authority(plant, empty / "keys", SECRET.encode(), NOW)
    for staff in ("T-07", "S-02"):
        acts.issue_key(plant, empty / "keys", staff, SECRET.encode(), SECRET.encode(), NOW)
    performed = Path(shutil.copytree(empty, empty.with_name("performed")))
    acts.perform(open_plant(performed / "plant"), [sheet_of(plant, "pass"), sheet_of(plant, "fail")], NOW)
    signed = Path(shutil.copytree(performed, empty.with_name("signed")))
    acts.sign(open_plant(signed / "plant"), [NUMBER], "T-07", signed / "keys", SECRET.encode(), NOW)
    return {"perform": empty, "sign": performed, "review": signed}


@pytest.fixture
def here(plants: dict[str, Path], processes: Any, tmp_path: Path) -> Any:
    """Return a function that gives a fresh copy of the plant in which an act comes next."""
    return lambda act: Here(Path(shutil.copytree(plants[act], tmp_path / "here")), processes)


@contextmanager
def said_in_words(one: Here, expected: list[str]) -> Iterator[None]:
    """What the examination says of the state that a kill left: named, and no damage."""
    assert audit.unfinished(one.plant) == expected
    findings = audit.examine_book(one.plant, None, [])
    assert [f.text for f in findings if f.text.startswith("Unfinished")] == [
        f"Unfinished: {line}." for line in expected
    ]
    assert [f.text for f in findings if f.severity == "damaged"] == []
    yield


# ---------------------------------------------------------------- at each step


@pytest.mark.parametrize(
    ("step", "unfinished", "entered"),
    [(1, [], 0), (2, [], 0), (3, [], 0), (4, [], 0), (5, [], 0), (6, [STRAY], 0), (7, [], 1)],
)
def test_run_killed_at_each_step_is_finished_by_running_it_again(
    here: Any, step: int, unfinished: list[str], entered: int
) -> None:
    one = here("perform")
    assert one.run("perform", one.sheet(), die_at=step) == -9
    assert one.heard("told") == [[told] for told in PERFORM[:step]]
    assert one.heard("done") == []
    with said_in_words(one, unfinished):
        assert one.events() == ["performed"] * entered
    (done,) = acts.perform(one.plant, [Path(one.sheet())], NOW)
    assert (done.number, done.already) == (NUMBER, bool(entered))
    assert one.events() == ["performed"]
    assert one.moved_aside() == [f"001 {NUMBER}.pdf"] * len(unfinished)
    one.insist_on_sound()


def test_a_run_that_nobody_kills_tells_these_steps(here: Any) -> None:
    one = here("perform")
    assert one.run("perform", one.sheet()) == 0
    assert one.heard("told") == [[told] for told in PERFORM]
    assert one.heard("done") == [[NUMBER, "new"]]


@pytest.mark.parametrize("act", ["sign", "review"])
@pytest.mark.parametrize(
    ("step", "unfinished", "entered"),
    [(1, [], 0), (2, [], 0), (3, [NEVER], 0), (4, [WAITING], 1), (5, [], 1)],
)
def test_signing_killed_at_each_step_is_finished_by_running_it_again(
    here: Any, act: str, step: int, unfinished: list[str], entered: int
) -> None:
    one = here(act)
    role, event, before, after = {
        "sign": ("performer", "signed", "performed, not signed", "signed, not countersigned"),
        "review": ("reviewer", "reviewed", "signed, not countersigned", "countersigned"),
    }[act]
    assert one.run(act, NUMBER, die_at=step) == -9
    assert one.heard("told") == [[told] for told in signing(role, event)[:step]]
    with said_in_words(one, unfinished):
        assert one.state() == (after if entered else before)
    assert one.run(act, NUMBER) == 0
    assert one.heard("done") == [[NUMBER]]
    assert one.state() == after
    assert one.events().count(event) == 1
    assert one.moved_aside() == ([f"001 {NUMBER}.pdf.part"] if unfinished == [NEVER] else [])
    examined = audit.examine_file(one.page, one.plant)
    assert not examined.damaged, examined.findings
    assert len(examined.examination.signers) == (1 if act == "sign" else 2)
    one.insist_on_sound()


def test_a_list_killed_in_the_middle_is_finished_by_the_same_list(here: Any) -> None:
    one = here("sign")
    numbers = (NUMBER, "L1-2026-0002")
    assert one.run("sign", *numbers, die_at=7) == -9
    assert (one.state(numbers[0]), one.state(numbers[1])) == (
        "signed, not countersigned",
        "performed, not signed",
    )
    assert one.run("sign", *numbers) == 0
    assert one.heard("done") == [[number] for number in numbers]
    assert one.events().count("signed") == 2
    one.insist_on_sound()


# ---------------------------------------------------------------- at each touch of a file


@pytest.mark.parametrize("act", ["sign", "review"])
def test_signing_killed_at_each_touch_of_a_file(here: Any, act: str, tmp_path: Path) -> None:
    """Dying before a file is opened for writing, renamed or removed leaves what the next command finishes."""
    touched = 0
    while True:
        one = here(act)
        ended = one.run(act, NUMBER, die_at_file=touched + 1)
        if ended == 0:
            break
        assert ended == -9
        touched += 1
        assert one.heard("done") == []
        assert one.run(act, NUMBER) == 0
        assert one.events().count("signed" if act == "sign" else "reviewed") == 1
        one.insist_on_sound()
        assert not audit.examine_file(one.page, one.plant).damaged
        shutil.rmtree(tmp_path / "here")
    part = f"{NUMBER}.pdf.part"
    assert one.heard("file") == [["open", part], ["os.rename", part]]


def test_a_run_killed_between_the_page_written_beside_and_its_place(here: Any) -> None:
    one = here("perform")
    assert one.run("perform", one.sheet(), die_at_file=2) == -9
    assert one.heard("file") == [["open", f"{NUMBER}.pdf.part"], ["os.rename", f"{NUMBER}.pdf.part"]]
    with said_in_words(one, [NEVER]):
        assert one.events() == []
    (done,) = acts.perform(one.plant, [Path(one.sheet())], NOW)
    assert (done.number, done.already) == (NUMBER, False)
    assert one.moved_aside() == [f"001 {NUMBER}.pdf.part"]
    one.insist_on_sound()


def test_a_run_killed_while_its_notebook_runs(here: Any) -> None:
    one = here("perform")
    process = one.start("perform", one.sheet())
    while not (one.folder / "heard.txt").exists() or len(one.heard("told")) < 2:
        time.sleep(0.01)
    time.sleep(0.5)
    process.kill()
    process.join(60)
    assert process.exitcode == -9
    with said_in_words(one, []):
        assert one.heard("told") == [[told] for told in PERFORM[:2]]
    (done,) = acts.perform(one.plant, [Path(one.sheet())], NOW)
    assert (done.number, done.already) == (NUMBER, False)
    one.insist_on_sound()


# ---------------------------------------------------------------- many at once


def test_eight_processes_perform_eight_visits_on_one_new_book(here: Any) -> None:
    one = here("perform")
    text = Path(one.sheet()).read_text("utf-8")
    assert 'date = "2026-05-03"' in text
    sheets = []
    for day in range(4, 12):
        path = Path(one.sheet(f"day {day}"))
        path.write_text(text.replace('date = "2026-05-03"', f'date = "2026-05-{day:02d}"'), "utf-8")
        sheets.append(str(path))
    go = one.folder / "go"
    running = [one.start("perform", sheet, wait_for=str(go)) for sheet in sheets]
    go.touch()
    for process in running:
        process.join(120)
    assert [process.exitcode for process in running] == [0] * 8
    assert one.heard("refused") == []
    numbers = [f"L1-2026-{n:04d}" for n in range(1, 9)]
    assert sorted(one.heard("done")) == [[number, "new"] for number in numbers]
    states = list(audit.book_of(one.plant).records())
    assert [state.number for state in states] == numbers
    assert len({state.performed for state in states}) == 8
    assert one.moved_aside() == []
    one.insist_on_sound()


def test_two_processes_on_one_sheet_make_one_record(here: Any) -> None:
    one = here("perform")
    go = one.folder / "go"
    running = [one.start("perform", one.sheet(), wait_for=str(go)) for _ in range(2)]
    go.touch()
    for process in running:
        process.join(60)
    assert [process.exitcode for process in running] == [0, 0]
    assert one.events() == ["performed"]
    told = one.heard("done") + [words[1:] for words in one.heard("refused")]
    again = f"Another command has just entered this visit as {NUMBER}; run this one again."
    assert sorted(told) in ([[again], [NUMBER, "new"]], [[NUMBER, "already"], [NUMBER, "new"]])
    (done,) = acts.perform(one.plant, [Path(one.sheet())], NOW)
    assert (done.number, done.already) == (NUMBER, True)
    one.insist_on_sound()


def test_two_processes_sign_one_record_once(here: Any) -> None:
    one = here("sign")
    go = one.folder / "go"
    running = [one.start("sign", NUMBER, wait_for=str(go)) for _ in range(2)]
    go.touch()
    for process in running:
        process.join(60)
    assert [process.exitcode for process in running] == [0, 0]
    assert one.events().count("signed") == 1
    assert [NUMBER] in one.heard("done")
    examined = audit.examine_file(one.page, one.plant)
    assert not examined.damaged, examined.findings
    one.insist_on_sound()
