"""What a person sees at one moment of a visit and what they can do: plain data, drawn by every face alike.

A face (terminal, browser form) draws a ``Screen`` and sends an ``Act``; it decides nothing and stores
nothing, so that both end in the same sheet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal

Kind = Literal["choose", "question", "aside", "overview", "end", "result"]
Form = Literal["number", "numbers", "text", "texts", "notes", "time", "date", "word", "pick", "confirm", ""]


@dataclass(frozen=True, slots=True)
class Choice:
    """One numbered choice: what is answered with it, and how it is shown."""

    text: str
    label: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One line beside a question; ``kind`` says what it is: value, steady, running, last time, tolerance."""

    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class Key:
    """A key pressed on an empty line: what it does."""

    key: str
    do: str
    label: str


@dataclass(frozen=True, slots=True)
class Section:
    """One part of the sheet in the overview."""

    path: str
    label: str
    state: str  # "now", "answered", "open", "not done", "left out", "not needed"


@dataclass(frozen=True, slots=True)
class Trace:
    """Readings as they come, with the value they should have and the limits around it."""

    values: tuple[str, ...]
    unit: str = ""
    reference: str = ""
    low: str = ""
    high: str = ""


@dataclass(frozen=True, slots=True)
class Screen:
    """Everything that is shown at one moment.

    ``path`` names the question an answer is for; an act that names another one is refused. ``proposal`` is
    what an empty answer stands for, ``standing`` what is answered here already.
    """

    kind: Kind
    title: str = ""  # "pH calibration in buffers of AIT-2101"
    sheet: str = ""  # name of the file
    state: str = ""  # open, waiting for the laboratory, passed on to ..., begun by mistake, complete
    held: str = ""  # "output held since 02:14"
    place: str = ""  # "question 12, about 20 to go"
    heading: str = ""  # "As found, point 2"
    label: str = ""
    unit: str = ""
    help: str = ""
    form: Form = ""
    path: str = ""
    required: bool = False
    proposal: str = ""
    proposed: str = ""  # where the proposal comes from: "last time", "this computer's clock"
    standing: tuple[str, ...] = ()
    choices: tuple[Choice, ...] = ()
    lines: tuple[Line, ...] = ()
    cautions: tuple[str, ...] = ()
    keys: tuple[Key, ...] = ()
    notice: str = ""
    refused: bool = False  # the notice says why the last act was not taken
    sections: tuple[Section, ...] = ()
    trace: Trace | None = None
    text: str = ""  # several lines as they stand, such as the result
    page: str = ""  # the page that was made, relative to the plant folder


@dataclass(frozen=True, slots=True)
class Act:
    """One thing a person did: an answer, or a key by what it does.

    ``path`` is that of the screen it was done on. ``view`` and ``seq`` name the act itself: one that is sent
    again because no acknowledgement came is taken once.
    """

    do: str
    text: str = ""
    path: str = ""
    view: str = ""
    seq: int = 0


def plain(screen: Screen) -> dict[str, Any]:
    """Return a screen as plain types for a message."""
    return asdict(screen)


def act_from(message: Mapping[str, Any]) -> Act:
    """Return the act a message holds; anything else in it is passed over."""
    return Act(
        do=str(message.get("do", "")),
        text=str(message.get("text", "")),
        path=str(message.get("path", "")),
        view=str(message.get("view", "")),
        seq=int(message.get("seq", 0)),
    )


def begins_with(label: str, text: str) -> bool:
    """Tell whether a label begins with a text as a word of its own.

    >>> begins_with("12  pH 7.00", "12"), begins_with("7.00 pH", "7")
    (True, False)
    """
    return label.casefold().startswith(text.casefold()) and label[len(text) :][:1] in " ,:;"


def chosen(screen: Screen, typed: str) -> str:
    """Return the text of the choice whose number was typed; anything else is the answer itself.

    A question for a number takes a typed number as the reading it is, never as that of a choice. A choice
    whose own text is a number, such as the bottle 12, is meant by it, where the person sees that text.

    >>> chosen(Screen("question", form="word", choices=(Choice("routine"), Choice("call-out"))), "2")
    'call-out'
    >>> chosen(Screen("question", form="pick", choices=(Choice("2", "pH 7"), Choice("1", "pH 4"))), "2")
    '2'
    """
    if screen.form in ("number", "numbers") or not (typed.isascii() and typed.isdigit()):
        return typed
    own = (choice.label or choice.text for choice in screen.choices if choice.text == typed)
    if any(screen.kind == "question" or begins_with(label, typed) for label in own):
        return typed
    return screen.choices[int(typed) - 1].text if 0 < int(typed) <= len(screen.choices) else typed
