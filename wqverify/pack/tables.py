"""A table of the pack: the same rows become a part of the page, a sheet of the workbook and a CSV file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wqverify.show.kinds import ColumnKind


@dataclass(frozen=True, slots=True)
class Head:
    """A column: its name, how the page sets it, and whether the page shows it at all."""

    name: str
    kind: ColumnKind = "text"
    on_page: bool = True


@dataclass(frozen=True, slots=True)
class Sheet:
    """Rows under heads; ``file`` is the name of the CSV, ``name`` of the sheet, ``none`` said where empty."""

    file: str
    name: str
    title: str
    heads: tuple[Head, ...]
    rows: Sequence[tuple[str, ...]]
    about: str = ""
    none: str = ""
