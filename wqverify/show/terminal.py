"""Blocks as text for a terminal: no colour needed, nothing wider than asked for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap

from wqverify.show.align import aligned
from wqverify.show.blocks import blocks
from wqverify.show.first_sheet import stage_at, value_words
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
    Verdicts,
)
from wqverify.show.lookup import is_difference, when
from wqverify.terms import Record

_LABEL = 26
_BETWEEN = 2


def text(blocks: Sequence[Block], width: int = 80) -> str:
    """Return blocks as lines of at most ``width`` characters."""
    lines = [line.rstrip() for block in blocks for line in _lines(block, width)]
    return "\n".join(lines) + "\n"


def summary(record: Record, width: int = 80) -> str:
    """Return the outcomes of a record in a few lines: verdicts, checks, status."""
    found = blocks(record)
    verdicts = next(block for block in found if isinstance(block, Verdicts))
    lines = [f"{record.number}  {record.given.analyzer.tag}  {record.title}  {when(record.performed)}"]
    lines += _lines(verdicts, width)
    cells = []
    for check in record.result.checks:
        value = value_words(check.quantity, as_difference=is_difference(check)) if check.quantity else ""
        word = "information only" if check.information else str(check.outcome)
        cells.append((f"{stage_at(check.stage, check.place)}: {check.label}", value, word))
    room = width - 2 - sum(max((len(c[i]) for c in cells), default=0) + _BETWEEN for i in (1, 2))
    last = max((len(c[1]) for c in cells), default=0)
    lines += [
        f"  {_cut(label, room):{room}}  {value:{last}}  {word}".rstrip() for label, value, word in cells
    ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _cut(label: str, room: int) -> str:
    return label if len(label) <= room else label[: room - 1] + "…"


# ---------------------------------------------------------------- one block


def _lines(block: Block, width: int) -> Iterator[str]:
    match block:
        case Title():
            yield from (block.text.upper(), *wrap(block.below, width))
        case Heading():
            yield from ("", block.text, "-" * min(len(block.text), width))
        case Facts():
            yield from _facts(block, width)
        case Verdicts():
            for row in block.rows:
                yield from _labelled(row.label, f"{row.word}   {row.detail}".strip(), width)
        case Table():
            yield from _table(block, width)
        case Formula():
            yield from wrap(block.label, width)
            for line in (block.formula, f"= {block.put_in}", f"= {block.answer}", block.source):
                yield from wrap(line, width, initial_indent="  ", subsequent_indent="    ")
        case Statement():
            lead = f"{block.lead}: " if block.lead else ""
            source = f" ({block.source})" if block.source else ""
            yield from _wrapped(f"{lead}{block.text}{source}", width)
        case CautionBlock():
            source = f" ({block.source})" if block.source else ""
            yield from _wrapped(f"! {block.text}{source}", width, "  ")
        case ChartBlock():
            yield from _wrapped(f"[{block.name}] {block.alt}", width)
        case Signatures() | PageBreak():
            pass


def _wrapped(paragraph: str, width: int, indent: str = "") -> Iterator[str]:
    for line in paragraph.split("\n"):
        yield from wrap(line, width, subsequent_indent=indent) or [""]


def _labelled(label: str, value: str, width: int) -> Iterator[str]:
    column = min(_LABEL, width // 3)
    left = wrap(label, column) or [""]
    right = [part for line in value.split("\n") for part in wrap(line, width - column - _BETWEEN) or [""]]
    for number in range(max(len(left), len(right))):
        one = left[number] if number < len(left) else ""
        two = right[number] if number < len(right) else ""
        yield f"{one:{column}}{' ' * _BETWEEN}{two}"


def _facts(block: Facts, width: int) -> Iterator[str]:
    if block.title:
        yield from wrap(block.title, width)
    for label, value in block.rows:
        yield from _labelled(f"  {label}" if block.title else label, value, width)


# ---------------------------------------------------------------- tables


def _table(block: Table, width: int) -> Iterator[str]:
    if block.title:
        yield from ("", *wrap(block.title, width))
    body = [row for row in block.rows if row.kind == ""]
    columns = [[column.label, *(row.cells[i] for row in body)] for i, column in enumerate(block.columns)]
    for i, column in enumerate(block.columns):
        if column.kind == "number":
            columns[i][1:] = aligned(columns[i][1:])
    widths = _widths(columns, width)
    yield from _row([column[0] for column in columns], widths)
    yield "  ".join("-" * w for w in widths)
    number = 0
    for row in block.rows:
        if row.kind == "":
            number += 1
            yield from _row([column[number] for column in columns], widths)
        else:
            yield from _spanning(row, width)


def _spanning(row: Row, width: int) -> Iterator[str]:
    indent = "" if row.kind == "group" else "    "
    yield from wrap(row.cells[0], width, initial_indent=indent, subsequent_indent=indent)


def _widths(columns: list[list[str]], width: int) -> list[int]:
    """Return column widths that fit: the widest column gives way, one character at a time."""
    widths = [max(map(len, column)) for column in columns]
    while sum(widths) + _BETWEEN * (len(widths) - 1) > width:
        widest = widths.index(max(widths))
        widths[widest] -= 1
    return widths


def _row(cells: list[str], widths: list[int]) -> Iterator[str]:
    wrapped = [
        [cell] if len(cell) <= w else wrap(cell, max(w, 1)) or [""]
        for cell, w in zip(cells, widths, strict=True)
    ]
    for number in range(max(map(len, wrapped))):
        parts = (lines[number] if number < len(lines) else "" for lines in wrapped)
        yield (" " * _BETWEEN).join(f"{part:{w}}" for part, w in zip(parts, widths, strict=True))
