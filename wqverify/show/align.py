"""Numbers under one another at the decimal point, by padding."""

from __future__ import annotations

import re
from collections.abc import Sequence

_NUMBER = re.compile(r"[+\-−]?[0-9]+(\.[0-9]+)?")


def is_number(text: str) -> bool:
    """Whether a cell is a plain number, perhaps with a sign."""
    return bool(_NUMBER.fullmatch(text))


def aligned(cells: Sequence[str], pad: str = " ") -> list[str]:
    """Pad numbers so that their points stand under one another; other texts only to the common width.

    >>> aligned(["7.05", "+10", "-0.125", "—"])
    ['  7.05 ', '+10    ', ' -0.125', '  —    ']
    """
    parts = {cell: (cell + ".").index(".") for cell in cells if is_number(cell)}
    before = max(parts.values(), default=0)
    after = max((len(cell) - parts[cell] for cell in parts), default=0)
    width = max([before + after, *map(len, cells)], default=0)
    lines = []
    for cell in cells:
        lead = before - parts[cell] if cell in parts else max(0, before - len(cell))
        lines.append((pad * lead + cell).ljust(width, pad))
    return lines
