"""From the answers of a visit to its field sheet: the same bytes, whichever face they were typed in."""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel

from wqverify.durable import write_durably
from wqverify.entry.around import Surroundings
from wqverify.entry.told import label_of
from wqverify.errors import CorrectTheEntry, CouldNotRun
from wqverify.plant.clock import resolve
from wqverify.plant.files import Document
from wqverify.procedures.blank import written_sheet
from wqverify.procedures.sheets import parse
from wqverify.procedures.walk import answered, typed_times
from wqverify.terms import Raw


@dataclass(frozen=True)
class _Answers(Document):
    """A sheet that is stepped through: its places are questions, as no file has lines yet."""

    model: type[BaseModel] = BaseModel

    def where(self, loc: tuple[str | int, ...] = ()) -> str:
        return label_of(self.model, ".".join(map(str, loc))) if loc else self.path.name


def written(about: Surroundings, raw: Raw) -> bytes:
    """Return the bytes of a whole sheet.

    Raises CorrectTheEntry or ChooseAnother, with all that is wrong, where the sheet contradicts itself or the
    procedure refuses it.
    """
    procedure, typed = about.procedure, answered(raw)
    text = written_sheet(
        procedure.Sheet, typed, about.unit, f"Field sheet, {procedure.title} of {about.analyzer.tag}."
    )
    sheet = parse(procedure, typed, _Answers(Path("the sheet"), text, typed, procedure.Sheet))
    for path, time in typed_times(procedure.Sheet, typed).items():
        _insist_on_time(path, time, str(typed.get("date", "")), about)
    given, slices = about.around(typed)
    procedure.compute(sheet, given, slices)
    return text.encode()


def _insist_on_time(path: str, text: str, date: str, about: Surroundings) -> None:
    try:
        resolve(date, text, about.zone)
    except CorrectTheEntry as problem:
        raise CorrectTheEntry(f"{path}: {problem.message}", found=text, where=path) from None


def digest(data: bytes) -> str:
    """Return the SHA-256 of a sheet."""
    return hashlib.sha256(data).hexdigest()


def write(path: Path, data: bytes, known: Collection[str]) -> str:
    """Write a sheet; one that lies there and is not known is kept beside it, under the name returned."""
    there = path.read_bytes() if path.is_file() else data
    kept = _keep(path) if there != data and digest(there) not in known else ""
    write_durably(path, data)
    return kept


def _keep(path: Path) -> str:
    for number in range(1, 1000):
        aside = path.with_name(f"{path.stem} before {number}{path.suffix}.txt")
        if not aside.exists():
            path.rename(aside)
            return aside.name
    raise CouldNotRun(f"{path.name} could not be kept beside the new one; move it by hand.", where=path.name)
