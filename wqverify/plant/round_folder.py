"""The folder of one round as written and as walked: round.toml and a field sheet for each stop."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, Field, ValidationError

from wqverify.errors import ChooseAnother
from wqverify.plant.fields import Day, Entries, Name, Notes, Text, name_of_round, said
from wqverify.plant.files import Document, Problem, leaves, read_toml, unquoted
from wqverify.plant.messages import explain

FILE = "round.toml"


def _sheet_name(text: str) -> str:
    if Path(text).name != text or not text.endswith(".toml") or text == FILE or "\\" in text:
        raise said(
            f"{text[:40]!r} is no field sheet of this folder; name the file alone, as 1 AIT-2101.toml."
        )
    return text


def _reason(text: str) -> str:
    if text.strip(" .…").lower() in ("", "because"):
        raise said(f"{text!r} is no reason; say why nothing was done at this stop.")
    return text


class RowEntry(Entries):
    tag: Name
    procedure: Name
    sheet: Annotated[Text, AfterValidator(_sheet_name)]
    skipped: Annotated[Notes, AfterValidator(_reason)] | None = None


class RoundFolderFile(Entries):
    """round.toml: which round of which day, the shared head, one row per stop."""

    round: Annotated[Text, AfterValidator(name_of_round)]
    date: Day
    head: dict[str, Any] = Field(default_factory=dict)
    stop: Annotated[tuple[RowEntry, ...], Field(min_length=1, max_length=99)]


@dataclass(frozen=True)
class Row:
    """One stop of a walked round: its sheet, or why it was skipped."""

    tag: str
    procedure: str
    path: Path
    skipped: str
    where: str  # "round.toml, line 12"


@dataclass(frozen=True)
class RoundFolder:
    """A round as walked on one day."""

    folder: Path
    name: str
    date: str
    head: Mapping[str, Any]
    rows: tuple[Row, ...]
    document: Document

    @property
    def title(self) -> str:
        """What the round is called in the book and on its chart page."""
        return f"{self.date} {self.name}"

    @property
    def done(self) -> tuple[Row, ...]:
        """The rows that were not skipped."""
        return tuple(row for row in self.rows if not row.skipped)

    @property
    def skipped(self) -> tuple[Row, ...]:
        return tuple(row for row in self.rows if row.skipped)


def read_round(folder: Path) -> RoundFolder:
    """Read the folder of a round.

    Raises ChooseAnother for a folder that is none, and CorrectTheEntry, a sentence for each mistake, where
    its round.toml cannot be taken.
    """
    if not (folder / FILE).is_file():
        raise ChooseAnother(
            f"{folder} is no folder of a round: it holds no {FILE}. Name a field sheet, or a folder that "
            f"`wqverify round` wrote.",
            found=str(folder),
            expected=f"a folder with {FILE}",
            where=str(folder),
        )
    document = read_toml(folder / FILE)
    try:
        file = RoundFolderFile.model_validate(document.data)
    except ValidationError as error:
        raise explain(error, document, RoundFolderFile) from None
    problems = list(_problems(file, document))
    if problems:
        raise document.refusal(problems)
    rows = tuple(
        Row(row.tag, row.procedure, folder / row.sheet, row.skipped or "", document.where(("stop", index)))
        for index, row in enumerate(file.stop)
    )
    return RoundFolder(folder, file.round, file.date, file.head, rows, document)


def _problems(file: RoundFolderFile, document: Document) -> Iterator[Problem]:
    for what, name in (
        ("sheet", lambda row: row.sheet),
        ("stop", lambda row: f"{row.procedure} of {row.tag}"),
    ):
        seen: dict[str, int] = {}
        for index, row in enumerate(file.stop):
            first = seen.setdefault(name(row).lower(), index)
            if first != index:
                line = document.line(("stop", first))
                text = f"{what} {name(row)} is given twice (first on line {line}); keep one of the two rows."
                yield Problem(("stop", index), text, name(row))
    for loc, value in leaves(document.data):
        if not isinstance(value, str):
            yield unquoted(document, loc, value)
