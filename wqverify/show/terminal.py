"""Blocks as text for a terminal: no colour needed, nothing wider than asked for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import zip_longest
from textwrap import wrap
from typing import TypedDict

from wqverify.show.align import aligned
from wqverify.show.blocks import blocks
from wqverify.show.changes import tolerance_outcome
from wqverify.show.first_sheet import INFORMATION, outside_uncounted, stage_at
from wqverify.show.kinds import (
    Block,
    CautionBlock,
    ChartBlock,
    Facts,
    Formula,
    Heading,
    PageBreak,
    Row,
    Signatures,
    Statement,
    Table,
    Title,
    Verdict,
    Verdicts,
    at_its_foot,
)
from wqverify.show.lookup import NONE, bounds, is_difference, person, signed, when, with_unit
from wqverify.show.printable import visible
from wqverify.terms import Check, Outcome, Record

_LABEL = 26
_BETWEEN = 2
# C0, C1, and what turns the direction of writing: a typed text must not repaint the terminal.


class _Words(TypedDict):
    break_on_hyphens: bool


_WORDS: _Words = {"break_on_hyphens": False}  # B10-2188 stays one word


def text(blocks: Sequence[Block], width: int = 80) -> str:
    """Return blocks as lines of at most ``width`` characters."""
    return _joined(line for block in at_its_foot(blocks) for line in _lines(block, width))


def summary(record: Record, width: int = 80) -> str:
    """Return the outcomes of a record in a few lines: verdicts, checks, status.

    A check that passed and is in no verdict is left out.
    """
    head = f"{record.number}  {record.given.analyzer.tag}  {record.title}"
    lines = [head, f"{when(record.performed)}, {person(record, record.performed_by)}"]
    shown = [c for c in record.result.checks if c.counts or c.outcome is not Outcome.PASS]
    cells = [_cells(check) for check in shown]
    widths = [max((len(c[i]) for c in cells), default=0) for i in range(5)]
    widths[0] = min(widths[0], width - 2 - sum(widths[1:]) - 4 * _BETWEEN)
    *verdicts, status = next(block for block in blocks(record) if isinstance(block, Verdicts)).rows
    said = {verdict.label for verdict in verdicts}
    places = dict.fromkeys(stage_at(check.stage, check.place, record.result.here) for check in shown)
    uncounted = [Verdict(label, "no part of a verdict") for label in places if label not in said]
    for verdict in (*verdicts, *uncounted):
        judged = [
            n for n, c in enumerate(shown) if stage_at(c.stage, c.place, record.result.here) == verdict.label
        ]
        detail = f", {verdict.detail}" if verdict.detail and not judged else ""
        lines += _wrapped(f"{verdict.label}: {verdict.word}{detail}", width)
        for n in judged:
            label, *rest = cells[n]
            parts = (_cut(label, widths[0]), *rest)
            row = (" " * _BETWEEN).join(f"{p:{w}}" for p, w in zip(parts, widths, strict=True))
            lines.append(f"  {row}")
            lines += _wrapped(shown[n].reason, width, "    ", "    ") if shown[n].reason else ()
    for statement in (*outside_uncounted(record), *tolerance_outcome(record)):
        lines += _lines(statement, width)
    lines += _wrapped(f"{status.label}: {status.word}{status.detail and f', {status.detail}'}", width)
    return _joined(lines)


def _joined(lines: Iterable[str]) -> str:
    """Return lines as one text; what would steer the terminal stands there by its code, as on the page."""
    return "".join(f"{visible(line.rstrip())}\n" for line in lines)


def _cells(check: Check) -> tuple[str, str, str, str, str]:
    q = check.quantity
    value = with_unit(signed(q, as_difference=is_difference(check)), q.unit) if q else ""
    limits = bounds(check.low, check.high) if check.low or check.high else ""
    sure = f"U {q.expanded}" if q and q.expanded else ""
    word = INFORMATION if check.information else str(check.outcome)
    return check.label, value, sure, limits, word if check.counts else f"({word})"


def _cut(label: str, room: int) -> str:
    return label if len(label) <= room else label[: room - 1] + "…"


# ---------------------------------------------------------------- one block


def _lines(block: Block, width: int) -> Iterator[str]:
    match block:
        case Title():
            yield from (block.text.upper(), *_wrapped(block.below, width))
        case Heading():
            yield from ("", *_wrapped(block.text, width), "-" * min(len(block.text), width))
        case Facts():
            yield from _facts(block, width)
        case Verdicts():
            for row in block.rows:
                yield from _labelled(row.label, f"{row.word}   {row.detail}".strip(), width)
        case Table():
            yield from _table(block, width)
        case Formula():
            yield from _wrapped(block.label, width)
            for line in (block.formula, f"= {block.put_in}", f"= {block.answer}", block.source):
                yield from _wrapped(line, width, "    ", "  ") if line else ()
        case Statement():
            lead = f"{block.lead}: " if block.lead else ""
            source = f" ({block.source})" if block.source else ""
            yield from _wrapped(f"{lead}{block.text}{source}", width)
        case CautionBlock():
            source = f" ({block.source})" if block.source else ""
            yield from _wrapped(f"! {block.text}{source}", width, "  ")
        case ChartBlock():
            yield from _wrapped(f"[{block.name}] {block.alt}", width, "  ")
        case Signatures():
            for place in block.places:
                yield from _labelled(place.role, place.name, width)
                yield from _labelled("", place.meaning, width)
        case PageBreak():
            yield ""


def _wrapped(paragraph: str, width: int, indent: str = "", first: str = "") -> Iterator[str]:
    for line in paragraph.split("\n"):
        yield from wrap(line, width, initial_indent=first, subsequent_indent=indent, **_WORDS) or [""]


def _labelled(label: str, value: str, width: int, before: str = "") -> Iterator[str]:
    column = min(_LABEL, width // 3)
    if max(map(len, value.split()), default=0) > width - column - _BETWEEN:  # a digest stays one word
        yield from _wrapped(label, width, before + "  ", before)
        yield from (line for part in value.split("\n") for line in _wrapped(part, width, "  ", "  "))
        return
    left = wrap(label, column, initial_indent=before, subsequent_indent=before + "  ", **_WORDS) or [""]
    right = [part for line in value.split("\n") for part in _wrapped(line, width - column - _BETWEEN)]
    for one, two in zip_longest(left, right, fillvalue=""):
        yield f"{one:{column}}{' ' * _BETWEEN}{two}"


def _facts(block: Facts, width: int) -> Iterator[str]:
    if block.title:
        yield from _wrapped(block.title, width)
    for label, value in block.rows:
        yield from _labelled(label, value, width, "  " if block.title else "")


# ---------------------------------------------------------------- tables


def _table(block: Table, width: int) -> Iterator[str]:
    """Give a table whole where it fits, else with its first column on lines of its own, else as facts."""
    if block.title:
        yield from ("", *_wrapped(block.title, width))
    columns = _columns(block)
    if (widths := _widths(columns, width)) is not None:
        yield from _grid(block, columns, widths, width, 0)
    elif (widths := _widths(columns[1:], width - _BETWEEN)) is not None:
        yield from _grid(block, columns, widths, width, 1)
    else:
        yield from _as_facts(block, width)


def _columns(block: Table) -> list[list[str]]:
    """Return the columns with their heads, numbers under one another."""
    body = [row for row in block.rows if row.kind == ""]
    columns = []
    for i, column in enumerate(block.columns):
        cells = [row.cells[i] for row in body]
        columns.append([column.label, *(aligned(cells) if column.kind == "number" else cells)])
    return columns


def _grid(block: Table, columns: list[list[str]], widths: list[int], width: int, apart: int) -> Iterator[str]:
    """Give the rows of a table; the first ``apart`` columns stand on lines of their own."""
    indent = " " * _BETWEEN * apart
    for number, row in enumerate(_with_head(block)):
        if isinstance(row, Row):
            before = "" if row.kind == "group" else "    "
            yield from _wrapped(row.cells[0], width, before, before)
            continue
        for column in columns[:apart]:
            yield from _wrapped(column[row], width, "  ")
        yield from (indent + line for line in _row([column[row] for column in columns[apart:]], widths))
        if number == 0:
            yield indent + (" " * _BETWEEN).join("-" * w for w in widths)


def _with_head(block: Table) -> Iterator[Row | int]:
    """Give the head as 0 and every plain row by its number, every other row as it is."""
    yield 0
    number = 0
    for row in block.rows:
        if row.kind == "":
            number += 1
            yield number
        else:
            yield row


def _widths(columns: list[list[str]], width: int) -> list[int] | None:
    """Return column widths that fit without breaking a word, None where there are none.

    The column that is widest over its longest word gives way, one character at a time.
    """
    widths = [max(map(len, column)) for column in columns]
    least = [max((len(word) for cell in column for word in cell.split()), default=0) for column in columns]
    while sum(widths) + _BETWEEN * (len(widths) - 1) > width:
        spare = [w if w > n else 0 for w, n in zip(widths, least, strict=True)]
        if not any(spare):
            return None
        widths[spare.index(max(spare))] -= 1
    return widths


def _row(cells: list[str], widths: list[int]) -> Iterator[str]:
    wrapped = [
        [cell] if len(cell) <= w else wrap(cell, w, **_WORDS) for cell, w in zip(cells, widths, strict=True)
    ]
    for parts in zip_longest(*wrapped, fillvalue=""):
        yield (" " * _BETWEEN).join(f"{part:{w}}" for part, w in zip(parts, widths, strict=True))


def _as_facts(block: Table, width: int) -> Iterator[str]:
    for row in block.rows:
        if row.kind:
            yield from _wrapped(row.cells[0], width, "    ")
            continue
        yield from _wrapped(row.cells[0], width, "  ")
        for column, cell in list(zip(block.columns, row.cells, strict=True))[1:]:
            if cell.strip() == NONE:
                continue
            yield from _labelled(column.label, cell, width, "  ")
