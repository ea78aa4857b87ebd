"""A screen as plain lines of a terminal: each line is printed once, nothing is drawn over again."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from wqverify.entry.screen import Choice, Line, Screen, begins_with, chosen

ROOM_TO_TYPE = 20  # columns kept free behind a prompt
KEEPS = "[Enter keeps it]"  # where the proposal is too long to stand on the line
NAMED = ("last time", "to correct")  # lines whose text does not say what it is
LEAST_CHOICES = 3  # shown even where a question is long
KEY_CHARACTERS = "!^_+/=*%@#~&?"  # of every screen: on an empty line none of them begins an answer
NOT_SAVED = "NOT SAVED: "
EMPTYING = "Ctrl-U empties the line. Ctrl-C or Ctrl-D stops for now; all is saved."
AFTER_A_BLANK = "An answer that begins with such a character is typed after a blank."


@dataclass(frozen=True, slots=True)
class Terminal:
    """How a terminal shows a text: its size, and the function that keeps a text from steering it."""

    width: int = 80
    height: int = 24
    visible: Callable[[str], str] = str

    def wrapped(self, text: str, first: str = "", rest: str = "") -> list[str]:
        """Return a text as lines that fit, the first and the others indented as told."""
        lines: list[str] = []
        for part in self.visible(text).splitlines():
            lines += textwrap.wrap(
                part, self.width - 1, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
            )
            first = rest
        return lines

    def cut(self, text: str) -> str:
        """Return a text as the one line that fits."""
        shown = self.visible(text)
        return shown if len(shown) < self.width else shown[: self.width - 2] + "…"


def drawn(screen: Screen, before: Screen | None, terminal: Terminal) -> list[str]:
    """Return the lines above the prompt; of what still stands above them, only what has changed."""
    if screen.kind == "result":
        return ["", *notice(screen, terminal), *outcome(screen, terminal)]
    if before is not None and screen.refused and same_question(screen, before):
        return notice(screen, terminal)
    if before is not None and screen.form == "numbers" and same_question(screen, before):
        return [*notice(screen, terminal), *_changed(screen, before, terminal), *_standing(screen, terminal)]
    top = ["", *notice(screen, terminal), *_where(screen, before, terminal)]
    top += [line for part in screen.text.splitlines() for line in terminal.wrapped(part)]
    below = [*_label(screen, terminal), *_standing(screen, terminal)]
    last = _long_proposal(screen, terminal)
    shown = options(screen)
    spare = terminal.height - len(top) - len(below) - len(last) - 1  # the last line is the prompt's
    told = _without_what_stands_above(screen, before)
    middle = _beside(told, terminal)
    if len(middle) + min(len(shown), LEAST_CHOICES) > spare:
        middle = _beside(told, terminal, brief=True)
    room = max(spare - len(middle), LEAST_CHOICES)
    return [*top, *middle, *below, *choices(shown, screen, room, terminal), *last]


def _without_what_stands_above(screen: Screen, before: Screen | None) -> Screen:
    """Leave out what the visit gives so far where it stands at the question before, of the same part."""
    if before is None or (screen.kind, screen.heading) != (before.kind, before.heading):
        return screen
    kept = (line for line in screen.lines if line.kind != "running" or line not in before.lines)
    return replace(screen, lines=tuple(kept))


def same_question(screen: Screen, before: Screen) -> bool:
    """Tell whether two screens ask the same thing, such as the next reading of one list."""
    asked = (screen.kind, screen.heading, screen.label, screen.form)
    return asked == (before.kind, before.heading, before.label, before.form)


def options(screen: Screen) -> tuple[Choice, ...]:
    """Return what can be chosen: the choices, or the sections to go to, each with its state."""
    if screen.choices or screen.kind != "overview":
        return screen.choices
    return tuple(Choice(section.path, section.label, section.state) for section in screen.sections)


def prompt(screen: Screen, terminal: Terminal) -> str:
    """Return what stands before the cursor: label, unit, and what Enter stands for.

    >>> prompt(Screen("question", label="Temperature", unit="°C", proposal="18.4"), Terminal())
    'Temperature, °C [18.4]: '
    """
    named = [terminal.visible(part) for part in (screen.label, screen.unit) if part]
    if _is_long(screen, terminal):
        named = [f"  {terminal.visible(screen.unit)}".rstrip()] if screen.unit else [_short(screen, terminal)]
    whole = " ".join(part for part in (", ".join(named), _hint(screen, terminal)) if part)
    return f"{whole} " if whole.endswith((":", "?", ".")) else f"{whole}: "


def more(count: int) -> str:
    """Return what is asked between two pages."""
    return f"({count} more {'line' if count == 1 else 'lines'}: Enter) "


def keys(screen: Screen, terminal: Terminal) -> list[str]:
    """Return every key with what it does, the whole help and every choice."""
    lines = ["", "Keys, pressed on an empty line, without Enter:"]
    for key in screen.keys:
        if key.key != "?":
            lines += terminal.wrapped(key.label or key.do, f"  {key.key}  ", " " * 5)
    lines.append("  ?  this list")
    lines += [line for text in (AFTER_A_BLANK, EMPTYING) for line in terminal.wrapped(text, "  ", "  ")]
    lines += terminal.wrapped(screen.help)
    return [*lines, *choices(options(screen), screen, 10_000, terminal)]


def notice(screen: Screen, terminal: Terminal) -> list[str]:
    """Return what is said about the last act; where it was not taken, that word comes first."""
    told = screen.notice.replace("\\'", "'")  # as Python quotes a text that holds both kinds of quotes
    said = f"Not taken: {told}" if screen.refused and not told.startswith(NOT_SAVED) else told
    return terminal.wrapped(said)


def outcome(screen: Screen, terminal: Terminal) -> list[str]:
    """Return a result as it stands, the page that was made and what can be chosen then."""
    lines = [terminal.visible(line) for line in screen.text.splitlines()]
    if screen.page:
        lines.append(terminal.visible(f"Page: {screen.page}"))
    for line in screen.lines:
        lines += _line(line, terminal)
    shown = choices(options(screen), screen, 10_000, terminal)
    return [*lines, "", *shown] if shown else lines


def choices(shown: Sequence[Choice], screen: Screen, room: int, terminal: Terminal) -> list[str]:
    """Return the numbered choices in the lines there are; those that do not fit are counted."""
    if not shown:
        return []
    rows = _numbered(replace(screen, choices=tuple(shown)))
    inline = terminal.visible("   ".join(f"{head.strip()} {text}".strip() for head, text in rows))
    if len(inline) < terminal.width - 2 and not any(choice.note for choice in shown):
        return [f"  {inline}"]
    each = [terminal.wrapped(text, head, " " * len(head)) for head, text in rows]
    if sum(map(len, each)) <= room:
        return [line for one in each for line in one]
    single = [terminal.cut(head + text) for head, text in rows]
    lines = single if len(single) <= room else _columns(single, terminal)
    if len(lines) <= room:
        return lines
    hidden = len(single) - room + 1
    return [*single[: room - 1], f"     and {hidden} more: type its name or number, ? lists all"]


def _numbered(screen: Screen) -> list[tuple[str, str]]:
    if screen.form in ("number", "numbers"):  # a typed number is the reading: such choices bear none
        return [("  ", _choice(choice, screen)) for choice in screen.choices]
    # A number that is the text of another choice means that one.
    means = [chosen(screen, str(place)) == choice.text for place, choice in enumerate(screen.choices, 1)]
    return [
        (f"{place:>3}  " if means[place - 1] else " " * 5, _choice(choice, screen))
        for place, choice in enumerate(screen.choices, 1)
    ]


def _where(screen: Screen, before: Screen | None, terminal: Terminal) -> list[str]:
    lines = terminal.wrapped(screen.held)
    head = (screen.title, screen.sheet, screen.state)
    if before is None or head != (before.title, before.sheet, before.state):
        lines += terminal.wrapped(" · ".join(part for part in head if part))
    return lines + terminal.wrapped(" · ".join(part for part in (screen.heading, screen.place) if part))


def _beside(screen: Screen, terminal: Terminal, *, brief: bool = False) -> list[str]:
    lines = [line for text in screen.cautions for line in terminal.wrapped(f"Caution: {text}", "  ", "    ")]
    told = terminal.wrapped(screen.help, "  ", "  ")
    lines += [f"{told[0]} … (? shows the rest)"] if brief and len(told) > 1 else told
    usual = [line.text for line in screen.lines if line.kind == "usual"]
    if brief and usual:
        lines += terminal.wrapped(" · ".join(usual), "  ", "  ")
    for line in screen.lines:
        if line.kind != "usual" or not brief:
            lines += _line(line, terminal)
    if screen.proposal and screen.proposed:
        lines += terminal.wrapped(f"[{screen.proposal}]: {screen.proposed}", "  ", "    ")
    return lines


def _changed(screen: Screen, before: Screen, terminal: Terminal) -> list[str]:
    lines: list[str] = []
    for text in screen.cautions:
        if text not in before.cautions:
            lines += terminal.wrapped(f"Caution: {text}", "  ", "    ")
    for line in screen.lines:
        if line not in before.lines:
            lines += _line(line, terminal)
    return lines


def _line(line: Line, terminal: Terminal) -> list[str]:
    named = line.kind in NAMED and not line.text.startswith(line.kind)
    return terminal.wrapped(f"{line.kind}: {line.text}" if named else line.text, "  ", "    ")


def _standing(screen: Screen, terminal: Terminal) -> list[str]:
    several = screen.form in ("numbers", "texts", "notes")
    said = f"so far {' '.join(screen.standing)}" if several else f"here stands {', '.join(screen.standing)}"
    return terminal.wrapped(said, "  ", "    ") if screen.standing else []


def _hint(screen: Screen, terminal: Terminal) -> str:
    if screen.proposal:
        shown = terminal.visible(screen.proposal)
        return f"[{shown}]" if len(shown) <= terminal.width // 3 else KEEPS
    if screen.form in ("numbers", "texts", "notes") and screen.standing:
        return "(Enter ends the list)"
    if screen.kind == "result":
        return "(Enter ends)"
    nothing = next((choice.label for choice in screen.choices if not choice.text), "")
    if nothing:
        return f"[{terminal.visible(nothing)}]"
    return "" if screen.required or screen.kind != "question" else "(Enter leaves it out)"


def _label(screen: Screen, terminal: Terminal) -> list[str]:
    """Return a label too long to be typed behind, as lines of its own."""
    return terminal.wrapped(screen.label) if _is_long(screen, terminal) else []


def _long_proposal(screen: Screen, terminal: Terminal) -> list[str]:
    long = _hint(screen, terminal) == KEEPS
    return terminal.wrapped(f"[{screen.proposal}]", "  ", "  ") if long else []


def _short(screen: Screen, terminal: Terminal) -> str:
    """Return what of a label that stands above is asked once more before the cursor: its question."""
    asked = [
        part for part in re.split(r"(?<=[.:?;])\s+", terminal.visible(screen.label)) if part.endswith("?")
    ]
    room = terminal.width - ROOM_TO_TYPE - len(_hint(screen, terminal)) - len(": ")
    return next((short for short in (*asked[-1:], "Answer") if len(short) < room), " ")


def _is_long(screen: Screen, terminal: Terminal) -> bool:
    whole = [part for part in (screen.label, screen.unit, _hint(screen, terminal)) if part]
    return len(", ".join(whole)) + len(": ") > terminal.width - ROOM_TO_TYPE


def _choice(choice: Choice, screen: Screen) -> str:
    label = choice.label or choice.text
    # Elsewhere than on a question the text of a choice is a word between the engine and its face.
    if screen.kind == "question" and not _says(label, choice.text):
        label = f"{choice.text}: {label}"
    return f"{label} · {choice.note}" if choice.note else label


def _says(label: str, text: str) -> bool:
    """Tell whether a label says the text of its choice in words; an id it must begin with.

    >>> _says("same as as found: nothing was changed since", "same as as_found")
    True
    """
    if any(letter.isdigit() for letter in text):
        return begins_with(label, text)
    told = iter(re.findall(r"[^\W_]+", label.casefold()))
    return all(word in told for word in re.findall(r"[^\W_]+", text.casefold()))


def _columns(lines: Sequence[str], terminal: Terminal) -> list[str]:
    half = terminal.width // 2
    rows = (len(lines) + 1) // 2
    short = [line if len(line) < half else line[: half - 2] + "…" for line in lines]
    right = [*short[rows:], *[""] * rows]
    return [f"{left:<{half}}{more}".rstrip() for left, more in zip(short[:rows], right, strict=False)]
