"""Read a TOML file so that whatever is wrong with it can be said in words, with file and line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from wqverify.errors import CorrectTheEntry, CouldNotRun
from wqverify.plant.address import shown
from wqverify.plant.toml_places import Loc, Places, places

DEEPEST = 8  # groups within groups; nobody types more, and a reader must not fall over it
MOST_PROBLEMS = 10  # one mistake can cause many; nobody reads more at once


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong, where in the file, in words that follow "file, line: "."""

    loc: Loc
    text: str
    found: str = ""
    expected: str = ""


@dataclass(frozen=True)
class Document:
    """A TOML file as typed and as read."""

    path: Path
    text: str
    data: dict[str, Any]

    @cached_property
    def places(self) -> Places:
        return places(self.text)

    def line(self, loc: Loc) -> int:
        """Return the line an entry stands on, or the nearest group around it; 0 for the whole file."""
        return self.places.line(loc)

    def where(self, loc: Loc = ()) -> str:
        """Return "analyzers.toml, line 12"; for the whole file its name."""
        line = self.line(loc)
        return f"{self.path.name}, line {line}" if line else self.path.name

    def typed(self, loc: Loc) -> str:
        """Return a value as it stands in the file, empty for a group."""
        place = self.places.at.get(loc)
        return place.typed if place else ""

    def refusal(self, problems: list[Problem]) -> CorrectTheEntry:
        """Return the error that lists the problems, one line each in the order of the file."""
        ordered = sorted(problems, key=lambda problem: self.line(problem.loc))
        lines = [f"{self.where(problem.loc)}: {problem.text}" for problem in ordered[:MOST_PROBLEMS]]
        if len(ordered) > MOST_PROBLEMS:
            lines.append(f"{self.path.name}: and {len(ordered) - MOST_PROBLEMS} more.")
        first = ordered[0]
        return CorrectTheEntry(
            "\n".join(lines), found=first.found, expected=first.expected, where=self.where(first.loc)
        )


def read_toml(path: Path, max_bytes: int = 65536) -> Document:
    """Read a TOML file.

    Raises CorrectTheEntry for a file that is missing, too large, not UTF-8, not TOML or nested too deep,
    and CouldNotRun where the disk does not give it.
    """
    text = _text(path, max_bytes)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise _not_toml(path, text, str(problem)) from None
    except RecursionError:
        raise _too_deep(path) from None
    except ValueError:  # an integer of thousands of digits
        raise CorrectTheEntry(
            f"{path.name}: a number without quotes is too long to be read; write it in double quotes.",
            where=path.name,
        ) from None
    if _deeper_than(data, DEEPEST):
        raise _too_deep(path)
    return Document(path, text, data)


def strings_only(document: Document) -> None:
    """Raise CorrectTheEntry, naming each, where a value is not text in quotes.

    Without quotes 7.00 would become 7.0, 0012 an error and 2026-03-01 something else.
    """
    problems = [
        unquoted(document, loc, value) for loc, value in leaves(document.data) if not isinstance(value, str)
    ]
    if problems:
        raise document.refusal(problems)


def unquoted(document: Document, loc: Loc, value: object) -> Problem:
    """Return the problem of a value that should be text in quotes."""
    typed = document.typed(loc) or str(value)
    shown = typed if len(typed) <= 40 else typed[:40] + "…"
    return Problem(
        loc, f'{name_of(loc)} is written without quotes; write "{shown}" in double quotes.', found=shown
    )


def leaves(data: Any, loc: Loc = ()) -> Iterator[tuple[Loc, Any]]:
    """Give every value that is no group and no list, with its location."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield from leaves(value, (*loc, key))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            yield from leaves(value, (*loc, index))
    else:
        yield loc, data


def name_of(loc: Loc) -> str:
    """Return the entry's name as a person says it: "low", "item 2 of tags"."""
    if not loc:
        return "the file"
    last = loc[-1]
    if isinstance(last, int):
        return f"item {last + 1} of {name_of(loc[:-1])}"
    return last if re.fullmatch(r"[A-Za-z0-9_-]{1,40}", last) else shortened(last)


def shortened(value: object) -> str:
    """Return a value for a message: quoted, escapes visible, at most 40 characters of it, no password."""
    text = shown(str(value))
    return repr(text if len(text) <= 40 else text[:40] + "…")


def _text(path: Path, max_bytes: int) -> str:
    if not path.is_file():
        raise CorrectTheEntry(f"There is no file {path}; correct its name.", found=str(path), where=str(path))
    try:
        with path.open("rb") as stream:
            data = stream.read(max_bytes + 1)
    except OSError as problem:
        raise CouldNotRun(
            f"{path.name} could not be read ({problem.strerror or problem}).", where=path.name
        ) from problem
    if len(data) > max_bytes:
        raise CorrectTheEntry(
            f"{path.name} is larger than {max_bytes // 1024} kB, the most that is read; is it the "
            f"right file?",
            expected=f"at most {max_bytes} bytes",
            where=path.name,
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = data.count(b"\n", 0, problem.start) + 1
        raise CorrectTheEntry(
            f"{path.name}, line {line}: byte {data[problem.start]:#04x} is not UTF-8 text; save the file "
            f"with the encoding UTF-8.",
            found=f"{data[problem.start]:#04x}",
            expected="UTF-8",
            where=f"{path.name}, line {line}",
        ) from None


_NAMES = "an entry begins with its name, of the letters a to z, digits, _ and -"
# How tomllib begins its sentence -> what to look for.
_HINTS = (
    ("Expected '=' after a key", 'an entry is written name = "text"'),
    ("Expected ']' at the end", "the closing bracket of [name] is missing"),
    ("Expected ']]' at the end", "the closing brackets of [[name]] are missing"),
    ("Unclosed array", "the closing bracket ] of the list is missing"),
    ("Unterminated string", "the closing quote is missing"),
    ("Illegal character '\\n'", "the closing quote is missing"),
    ("Illegal character", "a character that cannot be seen stands there; type the line again"),
    ("Found invalid character", "a character stands there that no entry can hold; type the line again"),
    ("Unescaped '\\'", "a backslash stands in the text; write / or two backslashes"),
    ("Invalid initial character", _NAMES),
    ("Invalid statement", _NAMES),
    ("Cannot", "a name is given twice; keep one of them"),
)
_BARE_ENTRY = re.compile(r"\s*([A-Za-z0-9_-]+)\s*=\s*([^\s\"'\[{#][^#]*)?(?:#.*)?")


def _hint(said: str, line: str) -> str:
    bare = _BARE_ENTRY.fullmatch(shown(line))
    if bare is not None:
        value = (bare[2] or "").strip()
        return f'write {bare[1]} = "{value}" with the double quotes' if value else "its value is missing"
    words = (words for start, words in _HINTS if said.startswith(start))
    return next(words, 'an entry is written name = "text", one on each line')


def _not_toml(path: Path, text: str, said: str) -> CorrectTheEntry:
    if said.startswith(("Cannot", "Duplicate")) and (twice := places(text).twice) is not None:
        loc, first, second = twice
        return CorrectTheEntry(
            f"{path.name}, line {second}: {name_of(loc)} is given twice (first on line {first}); keep one.",
            found=name_of(loc),
            where=f"{path.name}, line {second}",
        )
    lines = text.split("\n")
    match = re.search(r"\(at line (\d+), column \d+\)", said)
    line = int(match[1]) if match else max(1, len(text.rstrip("\n").split("\n")))
    if said.startswith("Illegal character '\\n'") and line > 1 and not lines[line - 1].strip():
        line -= 1
    return CorrectTheEntry(
        f"{path.name}, line {line}: {shortened(lines[line - 1].strip())} cannot be read: "
        f"{_hint(said, lines[line - 1])}.",
        found=lines[line - 1].strip()[:80],
        where=f"{path.name}, line {line}",
    )


def _too_deep(path: Path) -> CorrectTheEntry:
    return CorrectTheEntry(
        f"{path.name}: groups stand within groups more than {DEEPEST} deep; no file of the plant is so deep.",
        expected=f"at most {DEEPEST} deep",
        where=path.name,
    )


def _deeper_than(data: Any, limit: int) -> bool:
    level = [data]
    for _ in range(limit + 1):
        level = [
            child
            for group in level
            for child in (group.values() if isinstance(group, dict) else group)
            if isinstance(child, dict | list)
        ]
        if not level:
            return False
    return True
