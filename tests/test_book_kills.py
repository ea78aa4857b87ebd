"""Writers that meet, are killed or run out of disk: nothing acknowledged is lost, nothing is doubled.

A kill shows what the death of a process does, not a power cut; against that the book asks the disk to
write through (synchronous = EXTRA). WQVERIFY_KILLS sets how often the random test kills.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import runpy
import time
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import pytest
from servers import Cluster

from wqverify.book import Book, has_book, open_book, verify

DRIVER = Path(__file__).parent / "drivers" / "book_writer.py"
KILLS = int(os.environ.get("WQVERIFY_KILLS", "30"))


@pytest.fixture(scope="module")
def processes() -> Any:
    """Where processes come from that have the imports already done."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["wqverify.book", "wqverify.book.server", "psycopg"])
    return context


@pytest.fixture
def start(processes: Any, place: str) -> Any:
    """Start a writer in a process of its own."""

    def started(folder: Path, **arguments: Any) -> BaseProcess:
        (folder / "pages").mkdir(exist_ok=True)
        given = {
            "path": place,
            "chain": "L1",
            "pages": str(folder / "pages"),
            "heard": str(folder / "heard.txt"),
            "begun": str(folder / "begun"),
            **arguments,
        }
        globals_then = {"init_globals": {"ARGUMENTS": given}, "run_name": "__main__"}
        process = processes.Process(target=runpy.run_path, args=(str(DRIVER),), kwargs=globals_then)
        process.start()
        return process

    return started


def heard(folder: Path) -> list[list[str]]:
    path = folder / "heard.txt"
    return [line.split("\t") for line in path.read_text("utf-8").splitlines()] if path.exists() else []


def performed(book: Book, chain: str) -> dict[str, str]:
    """Key and number of the records of a chain, in order of entry."""
    entered = [(e.key, e.record) for e in book.entries(chain) if e.event == "performed"]
    assert len(dict(entered)) == len(entered), "a key stands in the book twice"
    return dict(entered)


def in_sequence(chain: str, count: int) -> list[str]:
    return [f"{chain}-2026-{n:04d}" for n in range(1, count + 1)]


def test_eight_writers_on_one_new_book_neither_fork_nor_lose(start: Any, place: str, tmp_path: Path) -> None:
    """They also make a book in a file: all eight find none."""
    each = 12
    keys = {w: [f"writer {w} job {n}" for n in range(each)] for w in range(8)}
    running = [start(tmp_path, keys=keys[w]) for w in range(8)]
    for process in running:
        process.join(60)
    assert [process.exitcode for process in running] == [0] * 8
    book = open_book(place, "L1")
    entered = performed(book, "L1")
    assert list(entered.values()) == in_sequence("L1", 8 * each)
    assert {key: number for key, number, _new in heard(tmp_path)} == entered
    assert [entry.seq for entry in book.entries("L1")] == list(range(1, 8 * each + 1))
    assert verify(book) == []


def test_two_chains_in_one_file_have_a_number_series_each(start: Any, place: str, tmp_path: Path) -> None:
    running = [
        start(tmp_path, chain=chain, keys=[f"{chain} job {n}" for n in range(10)]) for chain in ("L1", "L2")
    ]
    for process in running:
        process.join(60)
    assert [process.exitcode for process in running] == [0, 0]
    book = open_book(place, "L2")
    assert book.chains() == ["L1", "L2"]
    for chain in ("L1", "L2"):
        assert list(performed(book, chain).values()) == in_sequence(chain, 10)
    assert {chain: seq for chain, (seq, _digest) in book.heads().items()} == {"L1": 10, "L2": 10}
    assert verify(book) == []


def _time_of_an_entry(start: Any, folder: Path, jobs: list[str]) -> float:
    """How long it takes here from the beginning of the work to the first entry that is acknowledged."""
    process = start(folder, keys=jobs[:1])
    while not (folder / "begun").exists():
        time.sleep(0.001)
    began = time.monotonic()
    process.join(60)
    (folder / "begun").unlink()
    assert [key for key, _number, _new in heard(folder)] == jobs[:1]
    return time.monotonic() - began


def test_kills_at_random_moments_lose_nothing_acknowledged_and_double_nothing(
    start: Any, place: str, tmp_path: Path
) -> None:
    """Each round starts again with the first job whose end nobody heard of, as a person would."""
    seed = random.randrange(10**6)
    print(f"seed {seed}")
    chance = random.Random(seed)
    jobs = [f"job {n}" for n in range(4000)]
    killed_at_work = 0
    within = 3 * _time_of_an_entry(start, tmp_path, jobs)  # s; on a busy machine an entry takes long
    for _round in range(KILLS):
        known = {key for key, _number, _new in heard(tmp_path)}
        process = start(tmp_path, keys=[job for job in jobs if job not in known])
        while not (tmp_path / "begun").exists():
            time.sleep(0.001)
        time.sleep(chance.uniform(0, max(0.1, within)))
        process.kill()
        process.join(60)
        killed_at_work += process.exitcode == -9
        (tmp_path / "begun").unlink()
        if not has_book(place):
            continue
        book = open_book(place, "L1", create=True)
        entered = performed(book, "L1")
        acknowledged = {key: number for key, number, _new in heard(tmp_path)}
        assert {key: entered.get(key) for key in acknowledged} == acknowledged
        assert list(entered.values()) == in_sequence("L1", len(entered))
        assert list(entered) == jobs[: len(entered)]
    assert killed_at_work == KILLS
    assert verify(book) == []
    again = sum(new == "already" for _key, _number, new in heard(tmp_path))
    print(f"{len(entered)} entered, {again} of them committed before a kill that nobody heard of")
    assert len(heard(tmp_path)) > KILLS // 2


@pytest.mark.parametrize(("die_at", "entered"), [("page written", 0), ("entered", 0), ("committed", 1)])
def test_a_kill_at_each_step_is_finished_by_running_the_same_again(
    start: Any, place: str, tmp_path: Path, die_at: str, entered: int
) -> None:
    process = start(tmp_path, keys=["job 0"], die_at=die_at)
    process.join(60)
    assert process.exitcode == -9
    assert heard(tmp_path) == []
    book = open_book(place, "L1")
    assert len(performed(book, "L1")) == entered
    assert (tmp_path / "pages" / "L1-2026-0001.pdf").exists()
    process = start(tmp_path, keys=["job 0", "job 1"])
    process.join(60)
    expected = [["job 0", "L1-2026-0001", "already" if entered else "new"], ["job 1", "L1-2026-0002", "new"]]
    assert heard(tmp_path) == expected
    assert list(performed(book, "L1").values()) == in_sequence("L1", 2)
    assert verify(book) == []


@pytest.mark.parametrize("place", ["file"], indirect=True)
def test_a_full_disk_leaves_the_book_as_it_was_and_says_so(start: Any, place: str, tmp_path: Path) -> None:
    process = start(tmp_path, keys=["job 0", "job 1"])
    process.join(60)
    book = open_book(place, "L1")
    before = Path(place).read_bytes()
    process = start(tmp_path, keys=["job 2"], size=60_000, file_limit=len(before) + 20_000)
    process.join(60)
    assert process.exitcode == 0
    kind, sentence = heard(tmp_path)[-1]
    assert kind == "CouldNotRun"
    assert "is full or failing" in sentence
    assert "nothing was entered and nothing was lost: make room" in sentence
    assert list(performed(book, "L1")) == ["job 0", "job 1"]
    assert verify(book) == []
    process = start(tmp_path, keys=["job 2"], size=60_000)
    process.join(60)
    assert heard(tmp_path)[-1] == ["job 2", "L1-2026-0003", "new"]
    assert verify(book) == []


@pytest.mark.parametrize("place", ["server"], indirect=True)
def test_a_server_that_dies_loses_nothing_acknowledged_and_doubles_nothing(
    start: Any, place: str, server: Cluster, tmp_path: Path
) -> None:
    """The server is stopped as by a crash and started again while eight crews enter."""
    keys = {crew: [f"crew {crew} job {n}" for n in range(400)] for crew in range(8)}
    for _crash in range(2):
        before = len(heard(tmp_path))
        running = [start(tmp_path, keys=keys[crew]) for crew in range(8)]
        while len(heard(tmp_path)) < before + 20:
            time.sleep(0.005)
        server.stop("immediate")
        for process in running:
            process.join(60)
        server.start()
        lines = heard(tmp_path)
        told = [line for line in lines if len(line) == 2]
        assert {kind for kind, _sentence in told} == {"CouldNotRun"}
        assert all("run the same command again" in said or "could not be opened" in said for _, said in told)
        acknowledged = {line[0]: line[1] for line in lines if len(line) == 3}
        book = open_book(place, "L1")
        entered = performed(book, "L1")
        assert {key: entered.get(key) for key in acknowledged} == acknowledged
        assert list(entered.values()) == in_sequence("L1", len(entered))
        assert verify(book) == []
