"""Texts as they can be set: minus signs, characters the fonts hold, places where a long word may break."""

from __future__ import annotations

import re
from functools import lru_cache
from importlib.resources import files

BREAK = "\u200b"  # a place where a word may break; takes no room
# A hyphen before a digit that follows no letter, digit, point or bracket end: not a date, a range or an id.
_MINUS = re.compile(r"(?<![\w.)\-])-(?=[0-9])")
_STEERS = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")
# A digest stays whole, so that it can be searched for: no place in it may break.
_LONG_WORD = re.compile(r"(?<!\S)(?![0-9a-f]{64}[.,;)]?(?!\S))\S{25,}")


def minus(text: str) -> str:
    """Return a text with a minus sign before negative numbers; dates, ranges and ids keep their hyphens.

    >>> minus("error -0.13 pH, lot B7-4471 of 2026-03-03, 4-20 mA")
    'error −0.13 pH, lot B7-4471 of 2026-03-03, 4-20 mA'
    """
    return _MINUS.sub("−", text)


def printable(text: str) -> str:
    """Return a text that the shipped fonts can print: what they lack by its code, long words with breaks.

    >>> printable("水 -4.1 mV")
    '[U+6C34] −4.1 mV'
    """
    known = "".join(c if ord(c) in covered() or c == "\n" else f"[U+{ord(c):04X}]" for c in minus(text))
    return _LONG_WORD.sub(lambda word: BREAK.join(re.findall(r".{1,12}", word[0])), known)


def visible(text: str) -> str:
    """Return a text in which what would steer a terminal stands by its code; line ends stay.

    >>> visible("two\\nlines \\x1b[2J")
    'two\\nlines [U+001B][2J'
    """
    return _STEERS.sub(lambda character: f"[U+{ord(character[0]):04X}]", text)


@lru_cache(maxsize=1)
def covered() -> frozenset[int]:
    """Return the characters that the shipped fonts hold, without those that only steer the text."""
    found: set[int] = set()
    for line in files("wqverify").joinpath("show", "fonts", "covered.txt").read_text("ascii").split():
        first, _, last = line.partition("-")
        found.update(range(int(first, 16), int(last or first, 16) + 1))
    return frozenset(found)
