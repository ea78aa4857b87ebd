"""Kill a visit at random moments: no acknowledged answer is lost, none stands twice.

A process steps through a visit and writes down what was acknowledged; it is killed with SIGKILL, another goes
on with the same journal as a person would who looks where it stands. ``WQVERIFY_KILLS`` and ``WQVERIFY_SEED``
set how often and from which seed.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import time
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from plant_example import MONTH
from step_driver import act_to

from wqverify.demo.ellodale import make_plant
from wqverify.demo.visits import visits
from wqverify.desk import Desk, open_desk
from wqverify.entry.fold import fold
from wqverify.entry.journal import journal_path, read_journal
from wqverify.entry.screen import Act
from wqverify.errors import RepairTheFolder
from wqverify.procedures.walk import answered

KILLS = int(os.environ.get("WQVERIFY_KILLS", "100"))
VISIT = next(visit for visit in visits(MONTH) if visit.name == "fail")
SHEET = {
    **answered(tomllib.loads(VISIT.sheet)),
    "copied_from_paper": {"by": "T-11", "at": "2026-06-01 09:00", "kept_at": "binder 3"},
}
NOON = datetime(2026, 6, 1, 17, 0, tzinfo=UTC)

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")


def _step(plant: Path, view: str, said: int) -> None:
    """Answer until killed or complete; how many lines of the journal are acknowledged goes to ``said``."""
    desk = _opened(plant)
    visit, seq = desk.visit, 0
    assert visit is not None
    assert visit.about.paper  # as it was begun, whenever it was killed
    while visit.folded.state != "complete":
        os.write(said, f"{visit.folded.count}\n".encode())
        seq += 1
        act = act_to(desk, SHEET)
        screen = desk.act(Act(act.do, act.text, act.path, view, seq))
        assert not screen.refused, screen.notice
    os.write(said, f"{visit.folded.count}\n".encode())


def _opened(plant: Path) -> Desk:
    """Go on with the sheet that was begun, or begin one as the first process does."""
    for sheet in _sheets(plant):
        try:
            return open_desk(plant, sheet=sheet, clock=lambda: NOON)
        except RepairTheFolder as problem:  # the kill came before the beginning was whole
            if "begin" not in problem.message:
                raise
            journal_path(sheet).unlink()
    return open_desk(plant, procedure=SHEET["procedure"], tag=SHEET["tag"], paper=True, clock=lambda: NOON)


def _sheets(plant: Path) -> list[Path]:
    files = (plant / "field_sheets").glob("*.journal.jsonl")
    return [file.with_name(file.name.removesuffix(".journal.jsonl") + ".toml") for file in files]


def _acknowledged(plant: Path, view: str, alive: float, *, at_once: bool) -> int:
    """Let a process answer for a while, kill it, and return how many lines it had acknowledged."""
    out, said = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(out)
        code = 1
        try:
            _step(plant, view, said)
            code = 0
        finally:
            os._exit(code)
    os.close(said)
    with os.fdopen(out, "rb") as stream:
        first = b"" if at_once else stream.readline()
        time.sleep(alive)
        os.kill(child, signal.SIGKILL)
        _pid, status = os.waitpid(child, 0)
        told = (first + stream.read()).split(b"\n")[:-1]
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0, "it failed before it was killed"
    return int(told[-1]) if told else 0


@pytest.mark.slow
def test_kills_at_random_moments_lose_no_acknowledged_answer_and_double_none(tmp_path: Path) -> None:
    seed = int(os.environ.get("WQVERIFY_SEED", "0")) or random.SystemRandom().randrange(1, 10**6)
    print(f"{KILLS} kills, seed {seed}")
    chance = random.Random(seed)
    plant = tmp_path / "ellodale"
    make_plant(plant, MONTH)
    killed = whole = 0
    while killed < KILLS or not whole:
        killed += 1
        at_once = chance.random() < 0.3  # also while it opens the sheet
        told = _acknowledged(plant, f"v{killed}", chance.uniform(0, 0.25), at_once=at_once)
        for sheet in _sheets(plant):
            lines, _torn = read_journal(journal_path(sheet).read_bytes())
            assert len(lines) >= told, f"kill {killed} of seed {seed}"
            assert _begins(answered(fold(lines).raw), SHEET), f"kill {killed} of seed {seed}"
            if sheet.exists():
                whole += 1
                assert answered(tomllib.loads(sheet.read_text("utf-8"))) == SHEET
                assert not fold(lines).corrections
                shutil.rmtree(plant / "field_sheets")


def _begins(part: object, whole: object) -> bool:
    """Whether everything in the part stands in the whole, lists as their beginnings."""
    if isinstance(part, dict):
        return isinstance(whole, dict) and all(k in whole and _begins(v, whole[k]) for k, v in part.items())
    if isinstance(part, list):
        return isinstance(whole, list) and len(part) <= len(whole) and all(map(_begins, part, whole))
    return part == whole
