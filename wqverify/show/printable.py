"""Texts as they are set: a minus sign where a hyphen stands for one."""

from __future__ import annotations

import re

# A hyphen before a digit that follows no letter, digit, point or bracket end: not a date, a range or an id.
_MINUS = re.compile(r"(?<![\w.)\-])-(?=[0-9])")


def minus(text: str) -> str:
    """Return a text with a minus sign before negative numbers; dates, ranges and ids keep their hyphens.

    >>> minus("error -0.13 pH, lot B7-4471 of 2026-03-03, 4-20 mA")
    'error −0.13 pH, lot B7-4471 of 2026-03-03, 4-20 mA'
    """
    return _MINUS.sub("−", text)
