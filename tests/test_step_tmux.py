"""A whole visit typed into a real terminal of 80 by 24, killed in the middle and gone on with."""

from __future__ import annotations

import os
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from plant_example import plant_in
from whole_visit import VISIT, answers_of, clock, stepped

from wqverify.desk import open_desk
from wqverify.entry.journal import read_journal
from wqverify.entry.plain_lines import Terminal, prompt
from wqverify.entry.screen import Act, Key, Screen
from wqverify.show.printable import visible

pytestmark = pytest.mark.slow
T = Terminal(80, 24, visible)
MORE = ": Enter)"
PATIENCE_S = 60
RUN_AT = Path(__file__).with_name("at_a_fixed_time.py")


class Pane:
    """A terminal of 80 by 24 in a tmux server of its own."""

    def __init__(self, folder: Path, name: str) -> None:
        self._tmux = ("tmux", "-u", "-L", name, "-f", "/dev/null")
        self.pid_file = folder.parent / "pid"
        wqverify = folder.parent / "wqverify"
        wqverify.write_text(f'#!/bin/sh\nexec {shlex.join([sys.executable, str(RUN_AT)])} "$@"\n', "utf-8")
        wqverify.chmod(0o755)
        self._environment = {
            **os.environ,
            "PATH": f"{folder.parent}:{os.environ['PATH']}",
            "LC_ALL": "C.UTF-8",
            "TMUX_TMPDIR": tempfile.mkdtemp(prefix="wq"),  # its socket: a path of a test is too long for one
            "PS1": "$ ",
            "WQVERIFY_TEST_PID": str(self.pid_file),
        }
        shell = ("env", "PS1=$ ", "bash", "--norc", "--noprofile")
        self._run("new-session", "-d", "-s", "visit", "-x", "80", "-y", "24", "-c", str(folder), *shell)
        self.wait_for(lambda text: text.strip() == "$")

    def _run(self, *arguments: str) -> str:
        done = subprocess.run(
            [*self._tmux, *arguments], env=self._environment, capture_output=True, text=True, check=True
        )
        return done.stdout

    def type(self, text: str, *keys: str) -> None:
        """Type a text as it is, then keys by their names."""
        if text:
            self._run("send-keys", "-t", "visit", "-l", "--", text)
        if keys:
            self._run("send-keys", "-t", "visit", *keys)

    def text(self) -> str:
        return self._run("capture-pane", "-p", "-t", "visit").rstrip()

    def wait_for(self, seen: Callable[[str], bool]) -> str:
        """Return what stands in the terminal once it is as told."""
        until = time.monotonic() + PATIENCE_S
        while not seen(text := self.text()):
            assert time.monotonic() < until, f"not seen in {PATIENCE_S} s:\n{text}"
            time.sleep(0.05)
        return text

    def wait_for_question(self, asked: str) -> str:
        """Return what stands in the terminal at a question, all pages of it."""
        pages = ""
        while True:
            text = self.wait_for(lambda text: text.endswith((f"\n{asked.rstrip()}", MORE)))
            pages += text
            if not text.endswith(MORE):
                return pages
            last = text.splitlines()[-1]  # each says how many lines are left, so that no two are the same
            self.type("", "Enter")
            self.wait_for(lambda text, last=last: text.splitlines()[-1] != last)

    def kill_what_runs(self) -> None:
        os.kill(int(self.pid_file.read_text("ascii")), signal.SIGKILL)
        self.wait_for(lambda text: text.splitlines()[-1].strip() == "$")

    def close(self) -> None:
        self._run("kill-server")
        shutil.rmtree(self._environment["TMUX_TMPDIR"])


@pytest.fixture
def pane(tmp_path: Path) -> Iterator[Pane]:
    if shutil.which("tmux") is None:
        if os.environ.get("WQVERIFY_CI"):
            pytest.fail("tmux is not installed, and CI shows the visit in a real terminal")
        pytest.skip("tmux is not installed; it is the terminal of this test")
    plant_in(tmp_path / "here" / "plant")
    shutil.copytree(tmp_path / "here" / "plant", tmp_path / "twin")
    opened = Pane(tmp_path / "here" / "plant", f"wqverify-{os.getpid()}")
    try:
        yield opened
    finally:
        opened.close()


def keystrokes(screen: Screen, act: Act) -> tuple[str, ...]:
    """Return how an act is typed: a text and Enter, or the key that does it."""
    keys: dict[str, Key] = {key.do: key for key in screen.keys}
    return (act.text, "Enter") if act.do == "answer" else (keys[act.do].key,)


def test_a_visit_in_a_terminal_is_refused_killed_gone_on_with_finished_and_run(
    pane: Pane, tmp_path: Path
) -> None:
    # What the same answers give without a terminal.
    twin = tmp_path / "twin"
    desk = open_desk(twin, procedure=VISIT[0], tag=VISIT[1], clock=clock)
    name = desk.screen.sheet
    told = list(stepped(desk, answers_of(twin)))
    desk.close()
    written = (twin / "field_sheets" / name).read_bytes()
    plant = tmp_path / "here" / "plant"
    sheet = plant / "field_sheets" / name
    journal = sheet.with_name(sheet.name.removesuffix(".toml") + ".journal.jsonl")
    readings = [n for n, (screen, _act) in enumerate(told) if screen.path == "as_found.points.0.readings"]

    pane.type(f"wqverify step {' '.join(VISIT)}", "Enter")
    for number, (screen, act) in enumerate(told):
        seen = pane.wait_for_question(prompt(screen, T))
        if screen.form != "numbers" or not screen.standing:
            assert screen.heading in seen, "the question does not fit the terminal"
            assert screen.held in seen
        if number == readings[0]:  # mistyped: the line comes back and is corrected at its end
            pane.type(f"{act.text[:-1]}o", "Enter")
            seen = pane.wait_for(lambda text: "Not taken:" in text and text.endswith("6.8o"))
            pane.type("", "BSpace")
            pane.type(act.text[-1], "Enter")
            continue
        if number == readings[2]:  # killed with a reading half typed
            pane.type(act.text[:-1])
            pane.wait_for(lambda text: text.endswith(": 6.8"))
            second = subprocess.run(
                [sys.executable, str(RUN_AT), "step", str(sheet)],
                cwd=plant, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False,
            )  # fmt: skip
            assert second.returncode == 2, second
            assert sheet.name.removesuffix(".toml") in second.stderr
            assert "open" in second.stderr
            pane.kill_what_runs()
            pane.type("clear; wqverify step", "Enter")
            pane.wait_for_question("Which visit?")
            pane.type("1", "Enter")
            seen = pane.wait_for_question(prompt(screen, T))
            assert screen.heading in seen
            assert "  so far 6.86 6.82\n" in seen
        pane.type(*keystrokes(screen, act))

    pane.wait_for_question("The sheet is written.")
    assert sheet.read_bytes() == written
    lines = read_journal(journal.read_bytes())[0]
    assert [line.do for line in lines].count("resume") == 1
    assert "6.8o" not in journal.read_text("utf-8")
    pane.type("1", "Enter")
    seen = pane.wait_for_question("Done. (Enter ends):")
    assert "wqverify sign L1-2026-0001 --by T-07" in seen
    assert "Page: book/pages/L1-2026-0001.pdf" in seen
    assert (plant / "book" / "pages" / "L1-2026-0001.pdf").read_bytes().startswith(b"%PDF")
    pane.type("", "Enter")
    assert "Traceback" not in pane.wait_for(lambda text: text.splitlines()[-1].strip() == "$")
