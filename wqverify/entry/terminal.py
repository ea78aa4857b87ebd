"""The terminal face of a visit: draws a screen as plain lines, sends what was typed, decides nothing."""

from __future__ import annotations

import io
import os
import shutil
import signal
import sys
import threading
from collections.abc import Callable, Collection, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, replace
from types import FrameType
from typing import Protocol, TextIO

from prompt_toolkit import PromptSession
from prompt_toolkit.application.current import get_app
from prompt_toolkit.filters import Condition
from prompt_toolkit.history import DummyHistory
from prompt_toolkit.input import Input, create_input
from prompt_toolkit.input.typeahead import get_typeahead
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.keys import Keys
from prompt_toolkit.output import ColorDepth, Output, create_output
from prompt_toolkit.output.vt100 import Vt100_Output
from prompt_toolkit.styles import DummyStyle

from wqverify.entry.plain_lines import (
    KEY_CHARACTERS,
    NOT_SAVED,
    Terminal,
    drawn,
    keys,
    more,
    options,
    prompt,
    same_question,
)
from wqverify.entry.screen import Act, Screen, chosen
from wqverify.errors import CouldNotRun, WqverifyError

LEAST_WIDTH = 40
FIRST = "? lists the keys, Ctrl-C stops for now; every answer is saved at once."
SAVED = "Stopped for now; everything taken so far is saved. To go on:"
BACK = "It stands in the line again: type over it, or correct it with the arrow keys and Backspace."
UNUSED = ("c-r", "c-s", "c-z")  # would open a search or type a character nobody sees


class Desk(Protocol):
    """Where a visit is worked on: what to show now, and what takes an act."""

    @property
    def screen(self) -> Screen:
        """What to show now."""

    def act(self, act: Act) -> Screen:
        """Take an act; when this returns, it is on disk."""


@dataclass(frozen=True, slots=True)
class Typed:
    """What a person did at the prompt: a line, a key on an empty line, or stopping."""

    text: str = ""  # of a stop or a key: what stood there without Enter
    key: str = ""
    stop: bool = False


class Reader(Protocol):
    """Where lines come from."""

    person: bool  # reads what is printed, and so fast as a person does

    def read(self, before: str, single: Collection[str], back: str) -> Typed:
        """Ask once; ``back`` stands in the line already, to be corrected."""

    def drop(self) -> str:
        """Drop what was typed ahead, and return it."""

    def quiet(self) -> AbstractContextManager[None]:
        """Between two prompts nothing that is typed appears among the lines."""


class AtTerminal:
    """Lines typed by a person, with the keys that act at once on an empty line."""

    person = True

    def __init__(self, given: Input | None = None, shown: Output | None = None) -> None:
        self._input = given or create_input()
        output = shown or create_output()
        if isinstance(output, Vt100_Output):
            output.enable_cpr = False  # asking a slow line where the cursor stands takes a second
        self._session: PromptSession[Typed | str] = PromptSession(
            input=self._input,
            output=output,
            history=DummyHistory(),  # an arrow key never brings back the reading of another question
            style=DummyStyle(),
            include_default_pygments_style=False,
            color_depth=ColorDepth.DEPTH_1_BIT,
        )
        self._untouched = False
        self._session.app.key_processor.after_key_press += self._touched

    def read(self, before: str, single: Collection[str], back: str) -> Typed:
        """Ask once; ``back`` stands in the line already: the first key edits it, or replaces it."""
        self._untouched = bool(back)
        bound = _bindings(single, back, Condition(lambda: self._untouched))
        try:
            typed = self._session.prompt(before, default=back, key_bindings=bound)
        except (KeyboardInterrupt, EOFError):
            left = self._session.default_buffer.text
            return Typed(_legible(left) if left != back else "", stop=True)
        return typed if isinstance(typed, Typed) else Typed(_legible(typed))

    def _touched(self, _keys: object) -> None:
        self._untouched = False

    def drop(self) -> str:
        """Drop what was typed ahead, and return it."""
        ahead = [*get_typeahead(self._input), *self._input.read_keys()]
        return "".join(press.data if press.data.isprintable() else " " for press in ahead).strip()

    @contextmanager
    def quiet(self) -> Iterator[None]:
        """Keep the terminal from showing what is typed while an answer is stored."""
        try:
            import termios  # not on Windows

            handle = self._input.fileno()
            was = termios.tcgetattr(handle)
        except (ImportError, NotImplementedError, OSError, termios.error):
            yield
            return
        now = list(was)
        now[0] &= ~termios.ICRNL
        now[3] &= ~(termios.ECHO | termios.ICANON)
        termios.tcsetattr(handle, termios.TCSANOW, now)
        try:
            yield
        finally:
            termios.tcsetattr(handle, termios.TCSANOW, was)


class FromLines:
    """Lines of a file or of another program; a line that is exactly one key counts as that key."""

    def __init__(self, source: TextIO, say: Callable[[str], None]) -> None:
        self._source, self._say = source, say
        self.person = source.isatty()  # at a terminal that cannot move its cursor

    def read(self, before: str, single: Collection[str], back: str) -> Typed:  # noqa: ARG002
        """Read one line; the end of the lines is stopping for now."""
        if self.person:
            self._say(before)
        try:
            line = self._source.readline()
        except KeyboardInterrupt:
            return Typed(stop=True)
        if not line:
            self._say(before)  # which question stands open
            return Typed(stop=True)
        text = _legible(line.rstrip("\r\n"))
        if not self.person:
            self._say(f"{before}{text}")
        return Typed(key=text) if text in single else Typed(text)

    def drop(self) -> str:
        """Drop nothing: whoever wrote the lines wrote them in order."""
        return ""

    def quiet(self) -> AbstractContextManager[None]:
        """Change nothing: no terminal shows what is typed."""
        return nullcontext()


def reader_of(source: TextIO, shown: TextIO, say: Callable[[str], None]) -> Reader:
    """Return how lines are read: at a terminal with its keys, else line by line."""
    able = os.environ.get("TERM", "").lower() not in ("dumb", "unknown") or os.name == "nt"
    if source.isatty() and shown.isatty() and able:
        return AtTerminal()
    if isinstance(source, io.TextIOWrapper):
        source.reconfigure(errors="surrogateescape")  # a byte that is no text is refused, not the whole line
    return FromLines(source, say)


def step_through(
    desk: Desk,
    say: Callable[[str], None],
    visible: Callable[[str], str],
    again: str,
    reader: Reader | None = None,
) -> None:
    """Ask one question after another until the work is done or stopped for now.

    ``say`` prints one line and ``visible`` makes a text harmless, both so that nothing from a sheet steers
    the terminal; ``again`` is the command that goes on where it was stopped.
    """
    reader = reader or reader_of(sys.stdin, sys.stdout, say)
    try:
        with reader.quiet():
            _Face(desk, say, visible, again, reader).run()
    except KeyboardInterrupt:  # a second time, while an answer was being stored
        say(SAVED)
        say(f"  {again}")


class _Face:
    """The loop: draw, read, send."""

    def __init__(
        self,
        desk: Desk,
        say: Callable[[str], None],
        visible: Callable[[str], str],
        again: str,
        reader: Reader,
    ) -> None:
        self._desk, self._say, self._visible, self._again, self._reader = desk, say, visible, again, reader

    def run(self) -> None:
        before: Screen | None = None
        screen, back = self._desk.screen, ""
        unsaid = [BACK] if self._reader.person else []  # said at the first refusal, then known
        if self._reader.person:
            self._lines(self._terminal().wrapped(FIRST))
        while True:
            terminal = self._terminal()
            lines = drawn(screen, before, terminal)
            if back and BACK in unsaid:
                unsaid.remove(BACK)
                lines += terminal.wrapped(BACK)
            if _nothing_to_answer(screen):
                self._lines(lines)
                return
            typed = self._asked(screen, lines, terminal, back)
            act = _act(screen, typed)
            if typed.stop and typed.text.strip():
                self._lines(terminal.wrapped(f"Not taken, because Enter was not pressed: {typed.text}"))
            if act.do == "stop":
                self._stop(screen, terminal)
                return
            with _undisturbed() as interrupted:
                after = self._sent(act)
            if interrupted:
                self._lines(drawn(after, screen, terminal))
                self._stop(after, terminal)
                return
            back = typed.text if not typed.key and after.refused and same_question(after, screen) else ""
            if act.do == "answer" and (after.refused or after.kind == "aside" != screen.kind):
                self._drop(terminal)
            before, screen = screen, after

    def _asked(self, screen: Screen, lines: list[str], terminal: Terminal, back: str) -> Typed:
        known = {key.key for key in screen.keys} | {"?"}
        single = known | set(KEY_CHARACTERS)
        typed = self._paged(lines, screen, single, terminal)
        typed = typed or self._reader.read(prompt(screen, terminal), single, back)
        while typed.key == "?" or typed.key not in {"", *known}:
            nothing = f"{typed.key} does nothing here; ? lists the keys."
            self._lines(keys(screen, terminal) if typed.key == "?" else terminal.wrapped(nothing))
            if typed.key != "?":
                self._drop(terminal)  # "#7" typed as a text is not taken for 7
            typed = self._reader.read(prompt(screen, terminal), single, typed.text)
        return typed

    def _sent(self, act: Act) -> Screen:
        """Hand an act over; where it could not be stored, the same question stays, with the sentence why."""
        try:
            return self._desk.act(act)
        except (WqverifyError, OSError) as problem:
            if not self._reader.person:
                raise  # the next line was meant for the next question
            return replace(self._desk.screen, notice=_not_saved(problem, act), refused=True)

    def _paged(
        self, lines: list[str], screen: Screen, single: Collection[str], terminal: Terminal
    ) -> Typed | None:
        """Print what is to be read before an answer, a page at a time; whoever answers earlier may."""
        page = max(terminal.height - 1, 2)
        while len(lines) > page and self._reader.person and screen.kind != "result":
            self._lines(lines[:page])
            lines = lines[page:]
            typed = self._reader.read(more(len(lines)), single, "")
            if typed != Typed():
                return typed
        self._lines(lines)
        return None

    def _drop(self, terminal: Terminal) -> None:
        # Typed for the next question, it would answer one that nobody has read yet.
        dropped = self._reader.drop()
        if dropped:
            self._lines(terminal.wrapped(f"Typed ahead and not taken: {dropped}"))

    def _stop(self, screen: Screen, terminal: Terminal) -> None:
        with _undisturbed():
            after = self._sent(Act("stop", path=screen.path))
        if after.refused:
            self._lines(terminal.wrapped(after.notice))
        said = f"{after.notice}\n{after.text}".strip() if after.kind == "end" else ""
        self._lines(terminal.wrapped(said or SAVED))
        if screen.sheet and screen.kind != "result":
            self._say(f"  {self._again}")  # a line of its own, never wrapped: it is copied

    def _lines(self, lines: list[str]) -> None:
        for line in lines:
            self._say(line)

    def _terminal(self) -> Terminal:
        size = shutil.get_terminal_size()
        return Terminal(max(size.columns, LEAST_WIDTH), size.lines, self._visible)


def _act(screen: Screen, typed: Typed) -> Act:
    if typed.stop or (screen.kind == "result" and typed == Typed()):
        return Act("stop", path=screen.path)
    if typed.key:
        return Act(next(key.do for key in screen.keys if key.key == typed.key), path=screen.path)
    shown = Screen(screen.kind, form=screen.form, choices=options(screen))
    return Act("answer", chosen(shown, typed.text.strip()), screen.path)


def _not_saved(problem: WqverifyError | OSError, act: Act) -> str:
    if isinstance(problem, WqverifyError) and not isinstance(problem, CouldNotRun):
        return problem.message
    said = problem.message if isinstance(problem, CouldNotRun) else f"{problem.strerror or problem}."
    said = said.removeprefix(NOT_SAVED)  # the journal says it too
    again = {"answer": " Enter tries again, Ctrl-C stops for now.", "stop": ""}
    return f"{NOT_SAVED}{said}{again.get(act.do, ' Press the key again, or stop with Ctrl-C.')}"


def _nothing_to_answer(screen: Screen) -> bool:
    return screen.kind in ("end", "result") and not (screen.choices or screen.form or screen.label)


def _legible(text: str) -> str:
    """Return typed bytes that are no text by their code, so that they can be shown, stored and refused."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def _bindings(single: Collection[str], back: str, untouched: Condition) -> KeyBindings:
    bound = KeyBindings()
    empty = Condition(lambda: not get_app().current_buffer.text)

    def pressed(event: KeyPressEvent) -> None:
        left = back if event.current_buffer.text else ""
        event.current_buffer.text = ""
        event.current_buffer.insert_text(event.data)  # it stays on the line that was asked
        event.app.exit(result=Typed(left, key=event.data))

    def over(event: KeyPressEvent) -> None:
        if event.data.isprintable():
            event.current_buffer.save_to_undo_stack()
            event.current_buffer.text = ""
            event.current_buffer.insert_text(event.data)

    def pasted(event: KeyPressEvent) -> None:
        event.current_buffer.text = ""
        event.current_buffer.insert_text(" ".join(event.data.splitlines()))

    for key in single:
        bound.add(key, filter=empty | untouched)(pressed)
    bound.add(Keys.Any, filter=untouched)(over)
    bound.add(Keys.BracketedPaste, filter=untouched)(pasted)
    bound.add("c-d")(lambda event: event.app.exit(exception=EOFError))  # with text in the line too
    for name in UNUSED:
        bound.add(name)(lambda _event: None)
    return bound


@contextmanager
def _undisturbed() -> Iterator[list[int]]:
    """Let an answer be stored before Ctrl-C is obeyed; pressed twice it is obeyed at once."""
    interrupted: list[int] = []

    def once(number: int, _frame: FrameType | None) -> None:
        if interrupted:
            raise KeyboardInterrupt
        interrupted.append(number)

    if threading.current_thread() is not threading.main_thread():
        yield interrupted
        return
    was = signal.signal(signal.SIGINT, once)
    try:
        yield interrupted
    finally:
        signal.signal(signal.SIGINT, was)
