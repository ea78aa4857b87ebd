"""A disk that is full: by an injected error at each touch of a file, and by a real limit of a process.

A sentence says that nothing was lost, the book and the files are what they were (or a signature is entered
and waits beside its place), and the same command finishes once there is room.
"""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from plant_example import NOW, plant_in, sheet_of

from wqverify import acts, audit
from wqverify.durable import write_durably
from wqverify.errors import CouldNotRun
from wqverify.plant.folder import Plant, open_plant
from wqverify.plant.snapshot import snapshot
from wqverify.records.canonical import canonical
from wqverify.records.notebook import Executed, execute

SECRET = b"a long enough one"
FIRST, SECOND = "L1-2026-0001", "L1-2026-0002"
SENTENCE = "could not be written (No space left on device); nothing was lost: make room or repair the disk"
TOUCHES = ["open", "write", "fsync", "replace", "fsync of the folder"]


class FullDisk:
    """Stands in for ``os`` in wqverify.durable: one kind of touch finds no room."""

    def __init__(self, touch: str) -> None:
        self.touch = touch
        self.renamed = False

    def __getattr__(self, name: str) -> Any:
        return getattr(os, name)

    def _refuse(self, touch: str) -> None:
        if touch == self.touch:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def open(self, path: Path, flags: int, *mode: int) -> int:
        if flags & os.O_CREAT:
            self._refuse("open")
        return os.open(path, flags, *mode)

    def fdopen(self, handle: int, mode: str) -> Any:
        stream = os.fdopen(handle, mode)
        if self.touch == "write":
            os.write(handle, b"half")
            stream.close()
            self._refuse("write")
        return stream

    def fsync(self, handle: int) -> None:
        self._refuse("fsync of the folder" if self.renamed else "fsync")
        os.fsync(handle)

    def replace(self, part: Path, path: Path) -> None:
        self._refuse("replace")
        os.replace(part, path)
        self.renamed = True


# ---------------------------------------------------------------- one file


@pytest.mark.parametrize("touch", TOUCHES)
def test_the_file_is_the_old_one_or_the_new_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, touch: str
) -> None:
    path = tmp_path / "page.pdf"
    path.write_bytes(b"old")
    with monkeypatch.context() as full:
        full.setattr("wqverify.durable.os", FullDisk(touch))
        with pytest.raises(CouldNotRun) as caught:
            write_durably(path, b"new")
    name = "page.pdf.part" if touch in ("open", "write", "fsync") else "page.pdf"
    assert str(caught.value) == f"{name} {SENTENCE}, then run the same command again."
    assert path.read_bytes() == (b"new" if touch == "fsync of the folder" else b"old")
    write_durably(path, b"new")
    assert [(file.name, file.read_bytes()) for file in tmp_path.iterdir()] == [("page.pdf", b"new")]


# ---------------------------------------------------------------- perform and sign, injected


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plant with a key for the performer and one performed record, to be copied by each test."""
    folder = tmp_path_factory.mktemp("full")
    plant = plant_in(folder / "plant")
    acts.make_authority(plant, folder / "keys", SECRET, NOW)
    acts.issue_key(plant, folder / "keys", "T-07", SECRET, SECRET, NOW)
    acts.perform(plant, [sheet_of(plant, "pass")], NOW)
    return folder


@pytest.fixture
def here(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "here"))


@pytest.fixture(scope="module")
def executed() -> Callable[..., Executed]:
    """The notebook run of the second sheet, done once: what is tested comes after it."""

    done: dict[bytes, Executed] = {}

    def instead(procedure: str, cases: Sequence[Any]) -> Executed:
        key = canonical(list(cases))
        if key not in done:
            done[key] = execute(procedure, cases)
        return done[key]

    return instead


def plant_of(here: Path) -> Plant:
    return open_plant(here / "plant")


def perform(here: Path) -> None:
    acts.perform(plant_of(here), [sheet_of(plant_of(here), "fail")], NOW)


def sign(here: Path) -> None:
    acts.sign(plant_of(here), [FIRST], "T-07", here / "keys", SECRET, NOW)


def found(here: Path) -> tuple[Any, list[str], dict[str, bytes]]:
    """The heads of the book, the states of its records, the pages."""
    book = audit.book_of(plant_of(here))
    pages = {path.name: path.read_bytes() for path in (here / "plant/book/pages").iterdir()}
    return book.heads(), [f"{one.number} {one.state}" for one in book.records()], pages


def nothing_is_damaged(here: Path) -> bool:
    return not [f for f in audit.examine_book(plant_of(here), None, ()) if f.severity == "damaged"]


@pytest.mark.slow
@pytest.mark.parametrize("touch", TOUCHES)
def test_a_run_on_a_full_disk_enters_nothing_and_the_next_one_finishes(
    here: Path, executed: Callable[..., Executed], monkeypatch: pytest.MonkeyPatch, touch: str
) -> None:
    monkeypatch.setattr(import_module("wqverify.acts.perform"), "execute", executed)
    before = found(here)
    with monkeypatch.context() as full:
        full.setattr("wqverify.durable.os", FullDisk(touch))
        with pytest.raises(CouldNotRun) as caught:
            perform(here)
    assert str(caught.value).startswith(f"{SECOND}.pdf")
    assert SENTENCE in str(caught.value)
    heads, states, pages = found(here)
    assert (heads, states) == before[:2]
    left = {"replace": {f"{SECOND}.pdf.part"}, "fsync of the folder": {f"{SECOND}.pdf"}}.get(touch, set())
    assert pages.keys() - before[2].keys() == left  # never entered: the next command moves it aside
    assert nothing_is_damaged(here)
    perform(here)
    assert found(here)[1] == [f"{FIRST} performed, not signed", f"{SECOND} performed, not signed"]
    assert nothing_is_damaged(here)


@pytest.mark.slow
@pytest.mark.parametrize("touch", TOUCHES)
def test_signing_on_a_full_disk_is_finished_by_the_next_command(
    here: Path, monkeypatch: pytest.MonkeyPatch, touch: str
) -> None:
    before = found(here)
    with monkeypatch.context() as full:
        full.setattr("wqverify.durable.os", FullDisk(touch))
        with pytest.raises(CouldNotRun) as caught:
            sign(here)
    assert SENTENCE in str(caught.value)
    if touch in ("open", "write", "fsync"):
        assert found(here) == before
    else:  # the signature is entered; its file is in place or waits beside it
        assert found(here)[1] == [f"{FIRST} signed, not countersigned"]
    assert nothing_is_damaged(here)
    sign(here)
    _heads, states, pages = found(here)
    assert states == [f"{FIRST} signed, not countersigned"]
    assert list(pages) == [f"{FIRST}.pdf"]
    assert nothing_is_damaged(here)
    examined = audit.examine_file(here / "plant/book/pages" / f"{FIRST}.pdf", plant_of(here))
    assert not examined.damaged, examined.findings


# ---------------------------------------------------------------- a real limit

LIMITED = """
import resource, sys
limit = int(sys.argv.pop(1))
sys.path.append(sys.argv.pop(1))
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
from plant_example import Clock
from wqverify.cli import common, main
common.datetime = Clock
main()
"""


def command(here: Path, limit: int, *arguments: str) -> subprocess.CompletedProcess[str]:
    secret = here / "secret"
    secret.write_bytes(SECRET)
    return subprocess.run(
        [sys.executable, "-c", LIMITED, str(limit), str(Path(__file__).parent), *arguments],
        cwd=here / "plant",
        env={**os.environ, "WQVERIFY_KEYS": str(here / "keys")},
        capture_output=True,
        text=True,
        check=False,
    )


def said(ended: subprocess.CompletedProcess[str]) -> str:
    """What was said besides the progress."""
    return "".join(line for line in ended.stderr.splitlines(keepends=True) if not line.startswith("  "))


RUN = ("run", "field_sheets/fail.toml")
SIGN = ("sign", FIRST, "--by", "T-07", "--passphrase-file", "../secret")


@pytest.mark.slow
@pytest.mark.parametrize("what", [RUN, SIGN], ids=["run", "sign"])
def test_a_file_that_may_not_grow_is_said_and_the_next_command_finishes(
    here: Path, what: tuple[str, ...]
) -> None:
    before = found(here)
    page = len(before[2][f"{FIRST}.pdf"])
    ended = command(here, page // 2, *what)
    assert (ended.returncode, ended.stdout) == (3, ""), ended.stderr
    assert said(ended).count("\n") == 1
    assert "(File too large)" in said(ended) or "is full or failing" in said(ended)
    assert "nothing was lost" in said(ended)
    assert found(here) == before
    assert nothing_is_damaged(here)
    ended = command(here, 100 * page, *what)
    assert ended.returncode == 0, ended.stderr
    assert found(here)[1] != before[1]
    assert nothing_is_damaged(here)


@pytest.mark.slow
def test_a_book_that_may_not_grow_is_said_and_the_next_command_finishes(here: Path) -> None:
    plant = plant_of(here)
    with audit.book_of(plant).writing() as writer:  # larger than a page, so that the page has room
        for key, register in (("padded", {"padding": "x" * 1_000_000}), ("right", snapshot(plant))):
            body: dict[str, Any] = {"by": "S-02", "why": "a test", "changes": []}
            at = NOW.isoformat()
            writer.append("register changed", key=key, at=at, body=body, stored=canonical(register))
    before = found(here)
    ended = command(here, (here / "plant/book/book.sqlite").stat().st_size + 8192, *RUN)
    assert (ended.returncode, ended.stdout) == (3, ""), ended.stderr
    assert said(ended).count("\n") == 1
    assert "is full or failing" in said(ended)
    assert "nothing was entered and nothing was lost: make room" in said(ended)
    assert found(here)[:2] == before[:2]
    assert nothing_is_damaged(here)
    ended = command(here, 100_000_000, *RUN)
    assert ended.returncode == 0, ended.stderr
    assert found(here)[1] == [f"{FIRST} performed, not signed", f"{SECOND} performed, not signed"]
    assert nothing_is_damaged(here)
