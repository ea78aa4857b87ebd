"""The form in JupyterLab, as `wqverify open` starts it: whole visits typed in a real browser, and a kill."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psutil
import pytest
from form_page import chromium
from plant_example import plant_in
from whole_visit import VISIT, answers_of, clock, stepped

from wqverify.desk import open_desk
from wqverify.entry.fold import fold
from wqverify.entry.journal import journal_path, read_journal
from wqverify.entry.screen import Act, Screen

pytestmark = pytest.mark.slow
PATIENCE_MS = 60_000
READY = ".wqv[data-open='0'][data-settled='true']"
INSIDE = ("blob", "data", "chrome-extension", "chrome")  # what the browser asks of itself
# The kernel's clock stands, some minutes later in each test, so that every visit has a name of its own.
STANDING_CLOCK = """import functools, pathlib, sys
from datetime import timedelta
sys.path.append({tests!r})
import wqverify.desk
from whole_visit import clock
def later():
    return clock() + timedelta(minutes=int(pathlib.Path({minutes!r}).read_text()))
wqverify.desk.open_desk = functools.partial(wqverify.desk.open_desk, clock=later)
"""
WATCH = """() => {
  const alert = document.querySelector(".wqv-alert");
  window.entered = window.said = 0;
  const entered = (event) => { if (event.key === "Enter") window.entered ||= performance.now(); };
  document.querySelector(".wqv").addEventListener("keydown", entered, true);
  const said = () => { if (alert.textContent.startsWith("NOT SAVED")) window.said ||= performance.now(); };
  new MutationObserver(said).observe(alert, { childList: true });
}"""


class Lab:
    """JupyterLab as `wqverify open` starts it, in a plant folder with the clock of the tests."""

    def __init__(self, folder: Path) -> None:
        self.plant, self.minutes, self.later = folder / "plant", folder / "minutes", 0
        plant_in(self.plant)
        self.twin = folder / "twin"
        home = folder / "home"
        startup = home / "wqverify" / "lab" / "ipython" / "profile_default" / "startup"
        startup.mkdir(parents=True)
        script = STANDING_CLOCK.format(tests=str(Path(__file__).parent), minutes=str(self.minutes))
        (startup / "standing_clock.py").write_text(script, "utf-8")
        self.command = [sys.executable, "-m", "wqverify", "open", "--no-browser", "--plant", str(self.plant)]
        self.environment = {**os.environ, "HOME": str(folder), "XDG_CONFIG_HOME": str(home)}
        self.process = subprocess.Popen(self.command, env=self.environment, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        told = self.process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+/\S+", told)
        assert found, told
        self.url = found[0]

    def clock(self) -> datetime:
        """The clock of this test, here and in the kernel."""
        return clock() + timedelta(minutes=self.later)

    def next_visit(self) -> None:
        """Put the clock on, and make a twin of the plant in which nothing is under way."""
        self.later += 1
        self.minutes.write_text(str(self.later), "ascii")
        shutil.rmtree(self.twin, ignore_errors=True)
        shutil.copytree(self.plant, self.twin, ignore=shutil.ignore_patterns("*.journal.jsonl"))

    def kernels(self) -> list[psutil.Process]:
        below = psutil.Process(self.process.pid).children(recursive=True)
        return [one for one in below if "ipykernel_launcher" in one.cmdline()]

    def address(self, what: str) -> str:
        """Return an address of the server's own interface."""
        base, token = self.url.split("/doc/")[0], self.url.split("token=")[1]
        return f"{base}/api/{what}?token={token}"

    def stop(self) -> str:
        """Press Ctrl-C in its terminal; gives what it says then."""
        self.process.send_signal(signal.SIGINT)
        said, _ = self.process.communicate(timeout=60)
        assert self.process.returncode == 0
        return str(said)


class Window:
    """A browser window with the notebook of the form, and somebody at its keyboard."""

    def __init__(self, browser: Any, lab: Lab, notebook: str = "step_through.ipynb") -> None:
        self.lab = lab
        self.context = browser.new_context(viewport={"width": 1280, "height": 900})
        self.asked: list[str] = []
        self.troubles: list[str] = []
        self.page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.context.on("request", lambda request: self.asked.append(request.url))
        self.page.on("websocket", lambda socket: self.asked.append(socket.url))
        self.page.on("pageerror", lambda error: self.troubles.append(str(error)))
        self.notebook = f"notebooks/{notebook}"
        self.page.goto(lab.url.replace("notebooks/step_through.ipynb", self.notebook))
        self.page.wait_for_selector(".jp-Notebook .jp-MarkdownCell")
        self.begin()

    def begin(self) -> None:
        """Run the notebook once its kernel is there."""
        self.kernel_is_there()
        self.keys.press("Shift+Enter")
        self.keys.press("Shift+Enter")
        self.ready()

    @property
    def keys(self) -> Any:
        return self.page.keyboard

    def sessions(self) -> list[dict[str, Any]]:
        return list(self.page.request.get(self.lab.address("sessions")).json())

    def kernel_is_there(self) -> None:
        ends = time.monotonic() + PATIENCE_MS / 1000
        while time.monotonic() < ends:
            for session in self.sessions():
                kernel = session["kernel"]
                here = session["path"] == self.notebook and kernel["connections"] > 0
                if here and kernel["execution_state"] == "idle":
                    return
            time.sleep(0.1)
        raise AssertionError("no kernel came up")

    def seen(self, selector: str) -> None:
        """Wait for something; where it does not come, the test shows what stands there instead."""
        try:
            self.page.wait_for_selector(selector)
        except Exception:
            print(self.page.locator(".jp-Notebook").inner_text())
            raise

    def ready(self, screen: Screen | None = None, kind: str = "") -> None:
        """Wait until everything is acknowledged, and a question is shown."""
        path = f'[data-path="{screen.path}"]' if screen is not None else ""
        self.seen(READY + path + (f"[data-kind='{kind}']" if kind else "[data-kind]"))

    def type(self, *answers: str) -> None:
        """Type answers and Enter after each, without a pause."""
        for answer in answers:
            self.keys.type(answer)
            self.keys.press("Enter")

    def do(self, screen: Screen, act: Act) -> None:
        """Do an act with the keyboard: a key, the number of a choice, or what is typed."""
        if act.do != "answer":
            self.keys.type(next(key.key for key in screen.keys if key.do == act.do))
            return
        texts = [choice.text for choice in screen.choices]
        self.type(str(texts.index(act.text) + 1) if act.text in texts else act.text)

    def text(self, part: str) -> str:
        return str(self.page.locator(f".wqv-{part}").inner_text()).replace("\n\n", "\n")

    def choose(self, ending: str) -> None:
        """Type the number of the choice whose text ends so."""
        texts = [node.get_attribute("data-text") for node in self.page.locator(".wqv-choice").all()]
        self.type(next(str(n) for n, text in enumerate(texts, 1) if text.endswith(ending)))

    def new_visit(self, tag: str = VISIT[1]) -> None:
        """Choose a new visit by numbers."""
        self.choose("new visit")
        self.ready(Screen("choose", path="?procedure"))
        self.choose(VISIT[0])
        self.ready(Screen("choose", path="?tag"))
        self.choose(tag)
        self.seen(f"{READY}:is([data-path='?again'], [data-kind='question'])")
        if self.page.locator(".wqv").get_attribute("data-path") == "?again":  # one of another test is open
            self.choose("new visit")
            self.ready(kind="question")
        assert tag in self.text("title")

    def picture(self, name: str) -> None:
        """Take a picture where somebody wants to look at them."""
        if folder := os.environ.get("WQVERIFY_PICTURES"):
            Path(folder).mkdir(parents=True, exist_ok=True)
            self.page.screenshot(path=Path(folder) / f"{name}.png")

    def close(self) -> None:
        """Close the window and end its kernel, so that the next one begins with another."""
        for session in self.sessions():
            if session["path"] == self.notebook:
                self.page.request.delete(self.lab.address(f"sessions/{session['id']}"))
        self.context.close()
        assert self.troubles == []
        outside = [url for url in self.asked if urlsplit(url).scheme not in INSIDE]
        assert outside
        assert {urlsplit(url).hostname for url in outside} == {"127.0.0.1"}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as one:
        yield one


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory, browser: Any) -> Iterator[Lab]:
    assert browser  # where there is none, no Lab is started either
    one = Lab(tmp_path_factory.mktemp("form"))
    yield one
    said = one.stop()
    assert said.endswith("JupyterLab is stopped; every acknowledged answer is on disk.\n")


@pytest.fixture
def window(browser: Any, lab: Lab) -> Iterator[Window]:
    lab.next_visit()
    one = Window(browser, lab)
    yield one
    one.close()


def told_without_a_browser(lab: Lab) -> Iterator[tuple[Screen, Act]]:
    """Give every screen of the visit with its act; in the end its sheet stands in the twin."""
    desk = open_desk(lab.twin, procedure=VISIT[0], tag=VISIT[1], clock=lab.clock)
    yield from stepped(desk, answers_of(lab.twin))
    desk.close()


def killed_and_opened_again(window: Window, text: str) -> float:
    """Kill the kernel, answer, run the cell again; gives the seconds until NOT SAVED was said."""
    (kernel,) = window.lab.kernels()
    window.page.evaluate(WATCH)
    kernel.kill()
    window.type(text)
    window.page.wait_for_function("window.said > 0")
    seconds = window.page.evaluate("(window.said - window.entered) / 1000")
    assert window.text("alert").startswith(f"NOT SAVED: {text}\n")
    window.picture("900_not_saved")
    window.page.wait_for_selector(".jp-Dialog")
    window.keys.press("Enter")
    window.page.wait_for_selector(".jp-Dialog", state="detached")
    window.kernel_is_there()
    window.page.evaluate("document.querySelector('.wqv').dataset.old = 'true'")
    window.keys.press("Shift+Enter")
    window.page.wait_for_selector(".wqv:not([data-old])")
    return float(seconds)


def test_a_visit_in_jupyterlab_is_refused_killed_gone_on_with_finished_and_run(window: Window) -> None:
    """With the keyboard alone; the sheet is the one that the same answers give without a browser."""
    told, plant, twin = list(told_without_a_browser(window.lab)), window.lab.plant, window.lab.twin
    name = told[0][0].sheet
    readings = [n for n, (screen, _act) in enumerate(told) if screen.path == "as_found.points.0.readings"]
    window.new_visit()
    for number, (screen, act) in enumerate(told):
        window.ready(screen)
        heading = window.page.locator(".wqv-heading")
        assert heading.inner_text() == (screen.heading or screen.label)
        for part in (".wqv-heading", ".wqv-box"):
            shape = window.page.locator(part).bounding_box()
            assert shape["y"] >= 0, screen
            assert shape["y"] + shape["height"] <= 900, screen
        if screen.held:
            assert window.text("held") == screen.held
        window.picture(f"{number:03}_{screen.path}")
        if number == readings[0]:
            window.type("6.8o", "6.82")  # mistyped, and the next one typed ahead
            window.ready()
            assert window.text("notice").startswith("Not taken: ")
            assert window.text("dropped") == "Typed ahead and not stored: 6.82"
            window.picture("901_refused")
        if number == readings[2]:
            assert killed_and_opened_again(window, act.text) < 1
            window.ready(screen)
            assert heading.inner_text() == screen.heading
            assert window.text("standing") == f"So far: {', '.join(screen.standing)}"
            assert window.page.input_value(".wqv-box") == act.text
            window.picture("902_again")
            window.keys.press("Enter")
            continue
        window.do(screen, act)
    window.ready(kind="end")
    sheet = plant / "field_sheets" / name
    assert sheet.read_bytes() == (twin / "field_sheets" / name).read_bytes()
    journal = journal_path(sheet).read_text("utf-8")
    assert "6.8o" not in journal
    assert journal.count('"do":"resume"') == 1
    window.type("1")
    window.ready(kind="result")
    assert "wqverify sign L1-2026-0001 --by T-07" in window.text("text")
    link = window.page.locator("a.wqv-open")
    assert link.get_attribute("href") == "/doc/tree/book/pages/L1-2026-0001.pdf"
    assert (plant / "book" / "pages" / "L1-2026-0001.pdf").read_bytes().startswith(b"%PDF")
    window.page.wait_for_selector("object.wqv-picture")
    window.page.wait_for_timeout(1500 if os.environ.get("WQVERIFY_PICTURES") else 0)  # the viewer draws
    window.picture("999_result")


def test_a_thousand_answers_typed_without_a_pause_are_stored_as_typed(window: Window) -> None:
    window.new_visit()
    for screen, act in told_without_a_browser(window.lab):
        window.ready(screen)
        if screen.path == "as_found.points.0.readings":
            break
        window.do(screen, act)
    typed = [f"6.{80 + n % 7}" for n in range(1000)]
    window.type(*typed)
    window.ready()
    lines = read_journal(journal_path(window.lab.plant / "field_sheets" / screen.sheet).read_bytes())[0]
    stored = [line.text for line in lines if line.path.startswith("as_found.points.0.readings.")]
    assert stored == typed
    assert fold(lines).raw["as_found"]["points"][0]["readings"] == typed
    assert not window.page.locator(".wqv-alert").is_visible()


def test_a_sheet_that_is_open_in_another_window_is_refused_in_words(window: Window, browser: Any) -> None:
    window.new_visit()
    notebooks = window.lab.plant / "notebooks"
    shutil.copy(notebooks / "step_through.ipynb", notebooks / "second.ipynb")
    second = Window(browser, window.lab, "second.ipynb")
    sheet = window.text("state").partition(" · ")[0]
    second.choose(sheet)
    second.ready()
    assert second.page.locator(".wqv").get_attribute("data-kind") == "choose"
    assert second.text("notice").startswith("Not taken: This sheet is open in another window since ")
    second.close()


def test_a_second_open_tells_where_the_form_is_open_already(lab: Lab) -> None:
    done = subprocess.run(lab.command, env=lab.environment, capture_output=True, text=True, check=True)
    assert done.stdout == f"The form is open already, at {lab.url}\n"
