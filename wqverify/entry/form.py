"""The browser form: one widget that hands screens to the page in JupyterLab and acts to the desk.

What leaves the page is one message for each answer, and one acknowledgement comes back when the answer is on
disk. The page (``form.js`` and what stands before it) draws and sends; it decides nothing.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import copy_context
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol

import anywidget

from wqverify.entry.screen import Act, Screen, act_from, plain
from wqverify.errors import WqverifyError

_HERE = Path(__file__).parent
_LONG = ("run the round",)  # what a choice says that may compute for long; at the end of a sheet all do
_BEAT_S = 1.0
_SCRIPTS = ("form_drawing", "form_page", "form")  # one module: nothing is fetched besides


class Desk(Protocol):
    """What the form needs of a desk: what to show now, and a place to hand an act to."""

    @property
    def screen(self) -> Screen: ...

    def act(self, act: Act) -> Screen: ...

    def close(self) -> None: ...


class VisitForm(anywidget.AnyWidget):
    """The form of one desk; every view of it shows the same screen."""

    _esm = "\n".join((_HERE / f"{name}.js").read_text("utf-8") for name in _SCRIPTS)
    _css = (_HERE / "form.css").read_text("utf-8")

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._last = desk.screen
        self.on_msg(self._heard)

    def close(self) -> None:
        """Take the form off the page and give the desk back."""
        self._desk.close()
        super().close()

    def _heard(self, _widget: Any, message: dict[str, Any], _buffers: Any) -> None:
        if message.get("do") == "ping":
            self.send({"pong": message.get("view")})
            return
        act = act_from(message)
        if self._takes_long(act):
            with self._beating({"view": act.view, "seq": act.seq, "working": True}):
                self._last = self._answered(act)
        else:
            self._last = self._answered(act)
        self.send({"view": act.view, "seq": act.seq, "screen": plain(self._last)})

    def _takes_long(self, act: Act) -> bool:
        kind = self._desk.screen.kind
        return act.do == "answer" and (kind == "end" or (kind == "choose" and act.text in _LONG))

    @contextmanager
    def _beating(self, working: dict[str, Any]) -> Iterator[None]:
        """Say at once and then each second that the kernel works: it answers nothing else meanwhile."""
        done = threading.Event()

        def beat() -> None:
            while not done.wait(_BEAT_S):
                self.send(working)

        self.send(working)
        # The context says to Jupyter which message this belongs to.
        beating = threading.Thread(target=copy_context().run, args=(beat,), daemon=True)
        beating.start()
        try:
            yield
        finally:
            done.set()
            beating.join()

    def _answered(self, act: Act) -> Screen:
        """Return what to show after an act; what the desk refuses becomes a sentence on the same screen."""
        try:
            return self._desk.screen if act.do == "show" else self._desk.act(act)
        except WqverifyError as problem:
            return replace(self._last, notice=problem.message, refused=True)


_shown: list[VisitForm] = []


def form_of(open_desk: Callable[[], Desk]) -> VisitForm:
    """Return the form of a new desk; the one before it in this kernel is closed first and frees its sheet."""
    while _shown:
        _shown.pop().close()
    _shown.append(VisitForm(open_desk()))
    return _shown[-1]
