"""What stands in one cell: a number, nothing, a mark for missing, a result beyond a limit, or other text."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

import numpy as np

from wqverify.errors import CorrectTheEntry
from wqverify.trends.texts import Integers, Texts


class Kind(StrEnum):
    """What a cell is."""

    NUMBER = "number"
    EMPTY = "empty"
    MISSING = "missing"  # the text or number that was told to mark missing
    BELOW = "below"  # "<0.02", "BDL": a result, but not a number
    ABOVE = "above"
    TEXT = "text"


@dataclass(frozen=True, slots=True)
class Cell:
    """One text of a column: as found, and what it was taken for.

    ``value`` is a number only where kind is NUMBER; a censored result keeps its ``limit`` where one is
    stated, and never becomes that limit, half of it or 0.
    """

    text: str
    kind: Kind
    value: float = math.nan
    limit: float = math.nan
    plain: str = ""  # a number with decimal point, without exponent: what a Decimal is made of


_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,40}(?:\.[0-9]{0,40})?|\.[0-9]{1,40})(?:[eE][+-]?[0-9]{1,3})?")
_CENSORED = re.compile(r"(<=?|>=?|≤|≥)\s*(.+)")
# What laboratories write for a result below (above) what they can tell; common practice, no source.
_BELOW = {"bdl", "nd", "n.d.", "bql", "brl", "not detected", "non-detect", "below detection"}
_ABOVE = {"aql", "above quantitation"}
_LIMITS = {"lod", "loq", "mdl", "mrl", "rl", "dl", "pql"}


def number(text: str, decimal: str) -> Decimal | None:
    """Return the number a text is, None where it is none.

    >>> number("0,0203", ","), number("1.234,5", ","), number("1_0", ".")
    (Decimal('0.0203'), None, None)
    """
    if decimal != ".":
        if "." in text:
            return None
        text = text.replace(decimal, ".", 1)
    if not _NUMBER.fullmatch(text):
        return None
    found = Decimal(text)
    return found if math.isfinite(float(found)) else None


def read_cell(text: str, decimal: str, missing: Sequence[str]) -> Cell:
    """Return what a text is; ``missing`` marks are taken as text and, where they are numbers, as number.

    >>> read_cell("-9999.0", ".", ["-9999"]).kind, read_cell("<0,02", ",", []).limit
    (<Kind.MISSING: 'missing'>, 0.02)
    """
    if not text:
        return Cell(text, Kind.EMPTY)
    found = number(text, decimal)
    if text in missing or (found is not None and any(found == marked(mark) for mark in missing)):
        return Cell(text, Kind.MISSING)
    if found is not None:
        return Cell(text, Kind.NUMBER, float(found), plain=f"{found:f}")
    return _censored(text, decimal) or Cell(text, Kind.TEXT)


def marked(text: str) -> Decimal | None:
    """Return the number that a mark for missing is, None where it is a word."""
    return number(text, ".") if "," not in text else number(text, ",")


def _censored(text: str, decimal: str) -> Cell | None:
    word = text.lower()
    if word in _BELOW or word in _ABOVE:
        return Cell(text, Kind.BELOW if word in _BELOW else Kind.ABOVE)
    match = _CENSORED.fullmatch(text)
    if match is None:
        return None
    kind = Kind.BELOW if match[1][0] in "<≤" else Kind.ABOVE
    limit = number(match[2], decimal)
    if limit is not None:
        return Cell(text, kind, limit=float(limit))
    return Cell(text, kind) if match[2].lower() in _LIMITS else None


_POINT = re.compile(r"[<>]?\s*[+-]?[0-9]*\.[0-9]+(?:[eE][+-]?[0-9]+)?")
_COMMA = re.compile(r"[<>]?\s*[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?")
_THOUSANDS = re.compile(r"[<>]?\s*[+-]?[1-9][0-9]{0,2},[0-9]{3}")


def decimal_of(texts: Iterable[str], where: str) -> str:
    """Return which decimal mark the cells of a file use, where they tell.

    Raises CorrectTheEntry where they do not: 0,02 beside 0.02, or only such as 1,234.
    """
    points: list[str] = []
    commas: list[str] = []
    for text in texts:
        if _POINT.fullmatch(text):
            points.append(text)
        elif _COMMA.fullmatch(text):
            commas.append(text)
    if not commas:
        return "."
    told = 'write decimal = "," or decimal = "." for this export'
    if points:
        raise CorrectTheEntry(
            f"{where}: {commas[0]} and {points[0]} both stand in it, so the decimal mark is not "
            f"clear; {told}.",
            found=f"{commas[0]}, {points[0]}",
            expected="one decimal mark",
            where=where,
        )
    if all(_THOUSANDS.fullmatch(text) for text in commas):
        one = commas[0]
        raise CorrectTheEntry(
            f"{where}: {one} can be {one.replace(',', '.')} or {one.replace(',', '')}; {told}.",
            found=one,
            expected="one decimal mark",
            where=where,
        )
    return ","


def column_cells(texts: Texts, decimal: str, missing: Sequence[str]) -> tuple[Cell, ...]:
    """Return what each different text of a column is."""
    return tuple(read_cell(text, decimal, missing) for text in texts.distinct)


# Numbers that programs write where they have none: rows of nines, and the ends of number types.
_NINES = re.compile(r"-?9{3,}(?:[.,](?:0+|9+|25))?")
_ENDS = {-32768.0, 32767.0, 65535.0, -2147483648.0, 2147483647.0, 4294967295.0, -1e30, 1e30, 1e35, 1e36, 1e37}
_RUN = 10  # a measured 0 may be right; so many in a row are worth a look


def suspicions(cells: Sequence[Cell], codes: Integers) -> Iterator[tuple[str, int, str]]:
    """Give texts that may mark missing and were not told: the text, in how many rows, and why it is odd."""
    counts = np.bincount(codes, minlength=len(cells))
    values = [c.value for c, n in zip(cells, counts, strict=True) if n and c.kind is Kind.NUMBER]
    for code, cell in enumerate(cells):
        if not counts[code]:
            continue
        if cell.kind is Kind.TEXT:
            yield cell.text, int(counts[code]), "it is no number"
        elif cell.kind is Kind.NUMBER and _stands_apart(cell, values):
            yield cell.text, int(counts[code]), "it stands apart from the other values"
        elif cell.kind is Kind.NUMBER and cell.value == 0 and len(values) > 1:
            run = longest_run(codes == code)
            if run >= _RUN and counts[code] < len(codes) / 2:
                yield cell.text, int(counts[code]), f"up to {run} in a row"


def _stands_apart(cell: Cell, values: Sequence[float]) -> bool:
    if not (_NINES.fullmatch(cell.text) or cell.value in _ENDS or abs(cell.value) > 1e37):
        return False
    others = [value for value in values if value != cell.value]
    if not others:
        return True
    low, high = min(others), max(others)
    width = max(high - low, abs(high) * 0.5, abs(low) * 0.5)
    return not low - width <= cell.value <= high + width


def longest_run(truths: np.ndarray) -> int:
    """Return how many rows in a row are true at most.

    >>> longest_run(np.array([True, True, False, True]))
    2
    """
    edges = np.flatnonzero(np.diff(np.concatenate(([False], truths, [False])).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max(initial=0))
