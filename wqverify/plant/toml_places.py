"""Where each entry of a TOML file stands; tomllib reads the values and forgets the lines."""

from __future__ import annotations

import re
import sys
from collections.abc import Hashable
from contextlib import suppress
from dataclasses import dataclass, field

Loc = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_TEXT = re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'', re.DOTALL)
_BARE_VALUE = re.compile(r"[^,\]}#\n]*")
_ESCAPE = re.compile(r"\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|(.))", re.DOTALL)
_SHORT = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r"}


@dataclass(frozen=True, slots=True)
class Place:
    """One entry as it stands in the file: its line and its value as typed."""

    line: int
    typed: str


@dataclass
class Places:
    """All entries of a file by their location; ``twice`` is the first one that is given a second time."""

    at: dict[Loc, Place] = field(default_factory=dict)
    implied: dict[Loc, int] = field(default_factory=dict)  # groups that only a longer heading names
    twice: tuple[Loc, int, int] | None = None  # location, first line, second line

    def line(self, loc: Loc) -> int:
        """Return the line of an entry, or of the nearest group around it; 0 where there is none."""
        while loc:
            if loc in self.at:
                return self.at[loc].line
            if loc in self.implied:
                return self.implied[loc]
            loc = loc[:-1]
        return 0

    def put(self, loc: Loc, place: Place) -> None:
        if loc in self.at and self.twice is None:
            self.twice = (loc, self.at[loc].line, place.line)
        self.at.setdefault(loc, place)


class _NotToml(Exception):
    pass


def places(text: str) -> Places:
    """Return where the entries of a TOML text stand, as far as it can be followed."""
    scan = _Scan(text)
    # The caller has tomllib's word on what is wrong; the entries before it are placed.
    with suppress(_NotToml, RecursionError):
        scan.document()
    return scan.found


class _Scan:
    def __init__(self, text: str) -> None:
        self.text = text.replace("\r\n", "\n")
        self.pos = 0
        self.found = Places()
        self.last: dict[Hashable, int] = {}  # an array of tables -> index of its last table

    def document(self) -> None:
        table: Loc = ()
        while self.skip_blank():
            if self.text.startswith("[[", self.pos):
                table = self.header("[[", "]]")
            elif self.text[self.pos] == "[":
                table = self.header("[", "]")
            else:
                self.pair(table)

    def header(self, opening: str, closing: str) -> Loc:
        line = self.line()
        self.pos += len(opening)
        keys = self.keys()
        self.expect(closing)
        parent: Loc = ()
        for key in keys[:-1]:
            parent = self.into(parent, key)
            self.found.implied.setdefault(parent, line)
        table = (*parent, keys[-1])
        if opening == "[[":
            self.last[table] = self.last.get(table, -1) + 1
            self.found.at.setdefault(table, Place(line, ""))
            table = (*table, self.last[table])
        self.found.put(table, Place(line, ""))
        return table

    def into(self, parent: Loc, key: str) -> Loc:
        child = (*parent, key)
        return (*child, self.last[child]) if child in self.last else child

    def pair(self, table: Loc) -> None:
        line = self.line()
        keys = self.keys()
        self.expect("=")
        for depth in range(1, len(keys)):
            self.found.at.setdefault((*table, *keys[:depth]), Place(line, ""))
        self.value((*table, *keys), line)

    def value(self, loc: Loc, line: int) -> None:
        start = self.skip_blank_to_something()
        opening = self.text[start]
        if opening == "[":
            self.pos += 1
            self.found.put(loc, Place(line, ""))
            index = 0
            while self.more("]"):
                self.value((*loc, index), self.line())
                index += 1
        elif opening == "{":
            self.pos += 1
            self.found.put(loc, Place(line, ""))
            while self.more("}"):
                self.pair(loc)
        else:
            match = _TEXT.match(self.text, start) or _BARE_VALUE.match(self.text, start)
            if not match or not match[0]:  # a list that goes on with a } would never end
                raise _NotToml
            self.pos = match.end()
            self.found.put(loc, Place(line, match[0].strip()))

    def more(self, closing: str) -> bool:
        """Step over a comma; say whether another item follows."""
        self.skip_blank_to_something()
        if self.text[self.pos] == ",":
            self.pos += 1
            self.skip_blank_to_something()
        if self.text[self.pos] == closing:
            self.pos += 1
            return False
        return True

    def keys(self) -> list[str]:
        found = [self.key()]
        while self.text[self.skip_blank_to_something()] == ".":
            self.pos += 1
            found.append(self.key())
        return found

    def key(self) -> str:
        start = self.skip_blank_to_something()
        match = _TEXT.match(self.text, start) or _BARE_KEY.match(self.text, start)
        if match is None:
            raise _NotToml
        self.pos = match.end()
        quoted = match[0][0] in "\"'"
        inner = match[0][1:-1] if quoted else match[0]
        return _ESCAPE.sub(_unescape, inner) if match[0][0] == '"' else inner

    def expect(self, sign: str) -> None:
        self.skip_blank_to_something()
        if not self.text.startswith(sign, self.pos):
            raise _NotToml
        self.pos += len(sign)

    def skip_blank(self) -> bool:
        match = _BLANK.match(self.text, self.pos)
        self.pos = match.end() if match else self.pos
        return self.pos < len(self.text)

    def skip_blank_to_something(self) -> int:
        if not self.skip_blank():
            raise _NotToml
        return self.pos

    def line(self) -> int:
        return self.text.count("\n", 0, self.pos) + 1


def _unescape(match: re.Match[str]) -> str:
    if not match[3]:
        code = int(match[1] or match[2], 16)
        if code > sys.maxunicode or 0xD800 <= code < 0xE000:
            raise _NotToml
        return chr(code)
    return _SHORT.get(match[3], match[3])
