"""The form on a bare page, without JupyterLab: a desk of a few questions, and a page that speaks with it.

The widget's Python side is the real one; only the wire between it and the page is played.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import pytest

from wqverify.entry.form import VisitForm
from wqverify.entry.screen import Act, Choice, Key, Line, Screen, Section, Trace
from wqverify.errors import CorrectTheEntry

HOSTILE = '<img src=x onerror="window.harmed=1"><b>bold</b>'
KEYS = (
    Key("!", "not done", "not done, because"),
    Key("^", "back", "back"),
    Key("#", "overview", "overview"),
    Key("?", "help", "all keys"),
    Key("&", "stop", "stop for now"),
)
COMMON: dict[str, Any] = {
    "title": "pH calibration in buffers of AIT-2101",
    "sheet": "2026-03-03 AIT-2101",
    "state": "open",
    "held": "output held since 02:14",
    "keys": KEYS,
}


def ask(path: str, heading: str, label: str, **more: Any) -> Screen:
    return Screen("question", heading=heading, label=label, path=path, **(COMMON | more))


QUESTIONS = (
    ask(
        "as_found.points.0.standard",
        "As found, point 1",
        "Buffer",
        form="pick",
        required=True,
        choices=(
            Choice("B7-4471", "B7-4471, pH 7.00", "usable until 2026-05-01"),
            Choice("B10-1180", "B10-1180, pH 10.01", "usable until 2026-04-12"),
            Choice("B4-2209", "B4-2209, pH 4.01", "expired 2026-02-20"),
        ),
        proposal="B7-4471",
        proposed="last time",
        cautions=("Nothing goes back into potable water: buffers go into the waste bottle.",),
    ),
    ask(
        "as_found.points.0.temperature_c",
        "As found, point 1",
        "Temperature of the buffer",
        unit="°C",
        form="number",
        required=True,
        help="As the thermometer in the buffer shows it, when it has settled.",
        lines=(Line("last time", f"last time 18.2 °C {HOSTILE}"),),
    ),
    ask(
        "as_found.points.0.readings",
        "As found, point 1",
        "Readings, until stable",
        form="numbers",
        required=True,
        help="One reading per Enter, at least 30 s apart.",
        lines=(
            Line("value", "the buffer is pH 7.02 at 18.4 °C"),
            Line("tolerance", "tolerance 0.05 pH: 6.97 to 7.07"),
        ),
    ),
    ask("remarks", "At the end", "Remarks", form="notes"),
)


class FewQuestions:
    """A desk that asks QUESTIONS and remembers what was stored, and in what order."""

    def __init__(self) -> None:
        self.at = 0
        self.stored: list[tuple[str, str]] = []
        self.readings: list[str] = []
        self.seen: set[tuple[str, int]] = set()
        self.closed = False
        self.aside: Screen | None = None

    @property
    def screen(self) -> Screen:
        if self.aside:
            return self.aside
        if self.at == len(QUESTIONS):
            return Screen(
                "end",
                heading="All is answered",
                choices=(Choice("run", "Run it"), Choice("stop", "Later")),
                **COMMON,
            )
        asked = replace(QUESTIONS[self.at], place=f"question {self.at + 1}, about {4 - self.at} to go")
        if asked.form == "numbers":
            drawn = Trace(tuple(self.readings), "pH", "7.02", "6.97", "7.07")
            asked = replace(asked, standing=tuple(self.readings), trace=drawn)
        return asked

    def act(self, act: Act) -> Screen:
        if (act.view, act.seq) in self.seen:
            return self.screen
        self.seen.add((act.view, act.seq))
        shown = self.screen
        if act.path != shown.path:
            raise CorrectTheEntry(f"This answers {act.path}, and {shown.path} is asked; nothing stored.")
        if act.do == "overview":
            self.aside = overview()
        elif self.aside:
            self.aside = None
            self.stored.append((act.do, act.text))
        elif act.do != "answer":
            self.aside = Screen(
                "aside",
                heading="Not done, because",
                form="pick",
                choices=(Choice("no buffer of this value on the truck"), Choice("the site called me away")),
                **COMMON,
            )
        else:
            return self._answer(act.text)
        return self.screen

    def _answer(self, text: str) -> Screen:
        asked = self.screen
        if asked.kind == "end":
            return Screen(
                "result",
                heading="pH calibration: FAIL as found, pass as left",
                text=HOSTILE,
                page="book/pages/L1-2026-0001.pdf",
                **COMMON,
            )
        if asked.form == "numbers":
            return self._reading(text)
        if asked.choices and text and text not in [one.text for one in asked.choices]:
            raise CorrectTheEntry(f"{text} is not among the standards on hand; choose one of them.")
        if asked.required and not (text or asked.proposal):
            raise CorrectTheEntry(f"{asked.label} is needed: type it, or say with ! why it was not done.")
        self.stored.append((asked.path, text or asked.proposal))
        self.at += 1
        return self.screen

    def _reading(self, text: str) -> Screen:
        if not text:
            self.at += 1
            return self.screen
        if not text.replace(".", "").isdigit():
            raise CorrectTheEntry(f'"{text}" is not a number as a display shows it, such as 7.06.')
        if text == "77":
            self.aside = Screen(
                "aside",
                heading="Sure?",
                label="77 is far from 7.02. Does the display show it?",
                form="confirm",
                choices=(Choice("yes"), Choice("no")),
                **COMMON,
            )
            return self.aside
        self.readings.append(text)
        self.stored.append(("reading", text))
        return self.screen

    def close(self) -> None:
        self.closed = True


def overview() -> Screen:
    sections = (
        Section("head", "Before anything is touched", "answered"),
        Section("as_found", "As found, dirty", "now"),
        Section("cleaned", "Cleaned", "open"),
        Section("after_cleaning", "After cleaning", "not needed"),
        Section("as_left", "As left", "open"),
        Section("check_buffer", "Check buffer", "not done"),
    )
    return Screen(
        "overview",
        heading="Where to?",
        sections=sections,
        form="pick",
        choices=tuple(Choice(one.path, one.label) for one in sections),
        **COMMON,
    )


BARE = """<!doctype html><meta charset="utf-8"><title>form</title>
<style>body{margin:0;padding:8px 12px;background:#fff}
body[data-jp-theme-light=false]{background:#111}</style>
<style>STYLE</style><body data-jp-theme-light="THEME"><div id="here"></div>
<script type="module">
const hearers = [];
window.model = {
  send: (message) => window.to_python(message),
  on: (name, hear) => hearers.push(hear),
  off: () => {},
};
window.from_python = (message) => hearers.forEach((hear) => hear(message));
const text = await window.the_module();
const url = URL.createObjectURL(new Blob([text], { type: "text/javascript" }));
(await import(url)).default.render({ model: window.model, el: document.getElementById("here") });
</script>"""


class Wire:
    """Carries messages between a page and the widget.

    ``cut`` plays a kernel that is gone, ``deaf`` one killed after an act, before its acknowledgement.
    """

    def __init__(self, page: Any, form: VisitForm) -> None:
        self.page, self.form = page, form
        self.cut = self.deaf = False
        self.heard: list[dict[str, Any]] = []
        form.send = self.back  # type: ignore[method-assign]

    def back(self, message: dict[str, Any]) -> None:
        if not self.deaf:
            self.page.evaluate("message => window.from_python(message)", message)

    def carry(self, message: dict[str, Any]) -> None:
        if message["do"] != "ping":
            self.heard.append(message)
        if not self.cut:
            self.form._heard(self.form, message, [])


def bare(page: Any, desk: Any, light: bool = True, wire: Callable[..., Wire] = Wire) -> Wire:
    """Put the form of a desk on an empty page and return the wire to it."""
    carried = wire(page, VisitForm(desk))
    page.expose_function("to_python", lambda message: carried.carry(message))
    page.expose_function("the_module", lambda: VisitForm._esm)
    text = BARE.replace("STYLE", VisitForm._css).replace("THEME", str(light).lower())
    page.route("http://form.test/", lambda route: route.fulfill(body=text, content_type="text/html"))
    page.goto("http://form.test/")
    page.wait_for_selector("[data-open='0'][data-kind]")
    return carried


def chromium_path() -> str:
    """Return the browser of these tests; without one they are skipped, in CI they fail."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        if found := shutil.which(name):
            return found
    if os.environ.get("WQVERIFY_CI"):
        pytest.fail("chromium is missing; .ci/run installs it")
    pytest.skip("the form is tested in a real browser, and chromium is not on this computer")


@contextmanager
def chromium() -> Iterator[Any]:
    """Run a headless browser."""
    from playwright.sync_api import sync_playwright

    path = chromium_path()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield browser
        browser.close()
