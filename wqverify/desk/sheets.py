"""Sheets that are under way: which there are, what one that was filled in elsewhere brings with it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wqverify.entry.changes import leaves
from wqverify.entry.complete import digest
from wqverify.entry.fold import Folded, fold
from wqverify.entry.journal import JournalLine, read_journal
from wqverify.errors import WqverifyError
from wqverify.plant.folder import Plant
from wqverify.terms import Procedure, Raw

SUFFIX = ".journal.jsonl"


@dataclass(frozen=True, slots=True)
class OpenSheet:
    """A sheet that was begun."""

    path: Path
    procedure: str
    tag: str
    began: str
    state: str

    @property
    def told(self) -> str:
        """The sheet in a line."""
        return f"{self.tag} {self.procedure}, begun {self.began[:16].replace('T', ' ')}: {self.state}"


def open_sheets(plant: Plant) -> list[OpenSheet]:
    """Return the sheets begun in field_sheets/, oldest first; what is damaged is told by `wqverify today`."""
    return list(_open_sheets(plant.folder / "field_sheets"))


def _open_sheets(folder: Path) -> Iterator[OpenSheet]:
    for file in sorted(folder.glob(f"*{SUFFIX}")):
        try:
            folded = fold(read_journal(file.read_bytes())[0])
        except WqverifyError:
            continue
        sheet = file.with_name(file.name.removesuffix(SUFFIX) + ".toml")
        yield OpenSheet(sheet, folded.procedure, folded.tag, folded.began, folded.state)


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
