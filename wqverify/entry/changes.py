"""What a written sheet says otherwise than its journal: as the lines that would make them equal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel

from wqverify.entry.journal import JournalLine
from wqverify.procedures.walk import answers


def changes(sheet: type[BaseModel], was: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[JournalLine]:
    """Give what was taken out, from the last to the first, then what was changed or added, in order."""
    before, after = dict(leaves(sheet, was)), dict(leaves(sheet, now))
    for path in reversed([path for path in before if path not in after]):
        yield JournalLine(do="remove", path=path, was=before[path])
    for path, text in after.items():
        if path not in before:
            yield JournalLine(do="answer", path=path, text=text)
        elif before[path] != text:
            yield JournalLine(do="correct", path=path, text=text, was=before[path])


def leaves(sheet: type[BaseModel], raw: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Give every answer as typed in the order of the work, each reading of a list by itself."""
    for answer in answers(sheet, raw):
        if isinstance(answer.value, list):
            yield from ((f"{answer.path}.{n}", text) for n, text in enumerate(answer.value) if text)
        elif isinstance(answer.value, str) and answer.value:
            yield answer.path, answer.value
