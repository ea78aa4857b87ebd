"""What a pack says, gathered from the book and the plant folder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from wqverify.pack.example import Example
from wqverify.pack.month import Heads
from wqverify.pack.script.first_facts import counted
from wqverify.pack.tables import Sheet
from wqverify.terms import Site

SYNTHETIC = "SYNTHETIC DATA: no real plant, no real people, no real measurements"


told_of = counted  # how many of the records of a pack are of its month, and how many are about it


@dataclass
class Contents:
    """All that the pages of a pack are made of."""

    site: Site
    month: str
    newest: str  # when the newest entry of the book was made
    heads: Sequence[Heads]
    bounds: tuple[datetime, datetime]  # the first moment of the month, and of the next one
    problems: list[str] = field(default_factory=list)  # missing, damaged, altered: what is wrong
    notes: list[str] = field(default_factory=list)
    sheets: list[Sheet] = field(default_factory=list)
    example: Example | None = None
    authority: str = ""  # fingerprint of the plant's certificate, empty for none
    later: int = 0  # how many of the records are of a later month, and about this one
    pdfs: list[tuple[str, ...]] = field(
        default_factory=list
    )  # record, name in pages/, against the book, digest
    files: list[tuple[str, str]] = field(default_factory=list)  # name and what it is

    @property
    def plant(self) -> str:
        return self.site.name

    @property
    def label(self) -> str:
        """What stands on every page: the plant, and that its data is synthetic where it is."""
        return f"{self.site.name} - {SYNTHETIC}" if self.site.synthetic else self.site.name

    @property
    def mark(self) -> str:
        """The same, short enough to stand in every row of a table."""
        return f"{self.site.name} - SYNTHETIC DATA" if self.site.synthetic else self.site.name

    def sheet(self, file: str) -> Sheet:
        """Return a table by the name of its file."""
        return next(one for one in self.sheets if one.file == file)
