"""Sheets that are under way: which there are, what one that was filled in elsewhere brings with it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from wqverify.entry.changes import leaves
from wqverify.entry.complete import digest
from wqverify.entry.fold import Folded
from wqverify.entry.journal import JournalLine
from wqverify.lists.today import Sheet
from wqverify.terms import Procedure, Raw


def told(sheet: Sheet) -> str:
    """Return a sheet that is not in the book yet in a line."""
    to = f" to {sheet.to}" if sheet.to else ""
    return f"{sheet.where.tag} {sheet.where.procedure}, begun {sheet.began:%Y-%m-%d %H:%M}: {sheet.state}{to}"


def changed_outside(sheet: Path, folded: Folded) -> bool:
    """Whether a written sheet was changed after it had been written."""
    return bool(folded.digest) and sheet.is_file() and digest(sheet.read_bytes()) != folded.digest


def taken_up(
    procedure: Procedure, sheet: Path, raw: Raw, head: Mapping[str, Any], at: str
) -> Iterator[JournalLine]:
    """Give the lines with which a journal takes up what stands on a sheet and in the head of its round."""
    if sheet.is_file():
        yield JournalLine(at=at, do="take up", digest=digest(sheet.read_bytes()))
    whole = merged(raw, head)
    typed = {path for path, _text in leaves(procedure.Sheet, raw)}
    for path, text in leaves(procedure.Sheet, whole):
        yield JournalLine(at=at, do="answer", path=path, text=text, how="sheet" if path in typed else "round")


def merged(raw: Mapping[str, Any], head: Mapping[str, Any]) -> dict[str, Any]:
    """Return a sheet with what the head of its round says besides; what stands on the sheet counts."""
    both = dict(raw)
    for name, value in head.items():
        inner = both.get(name)
        if inner is None:
            both[name] = value
        elif isinstance(inner, dict) and isinstance(value, Mapping) and "not_done" not in {*inner, *value}:
            both[name] = merged(inner, value)
    return both
