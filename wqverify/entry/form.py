"""The browser form: one widget that hands screens to the page in JupyterLab and acts to the desk.

What leaves the page is one message for each answer, and one acknowledgement comes back when the answer is on
disk. The page (``form.js`` and what stands before it) draws and sends; it decides nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol

import anywidget

from wqverify.entry.screen import Act, Screen, act_from, plain
from wqverify.errors import WqverifyError

_HERE = Path(__file__).parent
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
        if act.do != "show" and self._desk.screen.kind == "end":  # a run takes longer than an answer
            self.send({"view": act.view, "seq": act.seq, "working": True})
        self._last = self._answered(act)
        self.send({"view": act.view, "seq": act.seq, "screen": plain(self._last)})

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
