"""The kinds of block a record becomes: plain text only, so that every face can show all of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Title:
    """What the record is, once, at its beginning."""

    text: str
    below: str


@dataclass(frozen=True, slots=True)
class Heading:
    """Begins a section."""

    text: str


@dataclass(frozen=True, slots=True)
class Facts:
    """Labels with what was found or typed; ``title`` names the group, two halves stand side by side."""

    rows: tuple[tuple[str, str], ...]
    title: str = ""
    half: bool = False


@dataclass(frozen=True, slots=True)
class Verdict:
    """One outcome as a word, with what decided it."""

    label: str
    word: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Verdicts:
    """The outcomes of a visit."""

    rows: tuple[Verdict, ...]


ColumnKind = Literal["text", "short", "number", "outcome", "outcomes", "digest", "file"]


@dataclass(frozen=True, slots=True)
class Column:
    """A column; only text and outcomes wrap.

    In one of outcomes stands "as found: fail; as left: pass". A file lies beside the page, under the
    name in its cell.
    """

    label: str
    kind: ColumnKind = "text"


@dataclass(frozen=True, slots=True)
class Row:
    """Cells of a table; a "group" or "note" row has one cell that spans all columns."""

    cells: tuple[str, ...]
    kind: Literal["", "group", "note"] = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under column heads; a dense one may be set smaller and closer, two halves stand side by side."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    title: str = ""
    dense: bool = False
    half: bool = False


@dataclass(frozen=True, slots=True)
class ChartBlock:
    """A chart by the name of its attachment, never drawn again."""

    name: str
    alt: str
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Formula:
    """A calculation to follow by hand."""

    label: str
    formula: str
    put_in: str
    answer: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class Statement:
    """A sentence; ``lead`` says what kind of sentence it is, ``source`` who or what says so."""

    text: str
    lead: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class CautionBlock:
    """A caution that was shown before the work."""

    text: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class SignaturePlace:
    """Where one person signs, and what the signature means."""

    role: str
    name: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Signatures:
    """The places for signatures, of keys or of ink."""

    places: tuple[SignaturePlace, ...]
    note: str


@dataclass(frozen=True, slots=True)
class PageBreak:
    """What follows begins on a new page, where there are pages."""


Block = (
    Title
    | Heading
    | Facts
    | Verdicts
    | Table
    | ChartBlock
    | Formula
    | Statement
    | CautionBlock
    | Signatures
    | PageBreak
)


def rows(*cells: tuple[str, ...]) -> tuple[Row, ...]:
    """Return plain rows."""
    return tuple(Row(cell) for cell in cells)


def at_its_foot(blocks: Sequence[Block]) -> Iterator[Block]:
    """Give the blocks with the places for signatures at the foot of their sheet, for faces without pages."""
    held: list[Block] = []
    for block in blocks:
        if isinstance(block, Signatures):
            held.append(block)
            continue
        if isinstance(block, PageBreak):
            yield from held
            held = []
        yield block
    yield from held
