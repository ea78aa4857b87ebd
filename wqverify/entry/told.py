"""What a record keeps of its journal: how answers came, what was corrected; and where a sheet differs."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from wqverify.entry import tree
from wqverify.entry.fold import INSTEAD, Correction, Folded
from wqverify.entry.journal import JournalLine
from wqverify.procedures.walk import answered, questions
from wqverify.terms import Change, Said

CORRECTED = "answer "  # how a change of an answer begins that was made before the sheet was complete


@dataclass(frozen=True, slots=True)
class Differing:
    """An answer that stands otherwise on the sheet than in the journal; empty where it does not stand."""

    path: str
    journal: str
    sheet: str


def differing(folded: Folded, sheet: Mapping[str, Any]) -> tuple[Differing, ...]:
    """Return where a sheet and its journal do not say the same."""
    begun = {"procedure": folded.procedure, "tag": folded.tag}
    ours, theirs = (dict(_flat(answered(raw))) for raw in (begun | dict(folded.raw), dict(sheet)))
    return tuple(
        Differing(path, ours.get(path, ""), theirs.get(path, ""))
        for path in dict.fromkeys([*theirs, *ours])
        if ours.get(path) != theirs.get(path)
    )


def said_of(folded: Folded) -> dict[str, Said]:
    """Return how answers came, by path on the sheet; those that were simply read and typed are not there."""
    marked = _without_empty_rows(folded)
    return {
        path: Said(
            by=voice.by if (voice := marked.voices.get(path)) else "",
            heard=voice.heard if voice else "",
            read_back=voice.read_back if voice else "",
            how=marked.how.get(path, ""),
            sure=marked.sure.get(path, ""),
        )
        for path in sorted({*marked.voices, *marked.how, *marked.sure})
    }


def corrections_of(sheet: type[BaseModel], folded: Folded, performer: str) -> tuple[Change, ...]:
    """Return what was corrected before the sheet was complete; who typed it is the performer.

    A row is named by its number on the sheet.
    """
    as_on_sheet = _without_empty_rows(folded)
    return tuple(
        Change(
            c.at,
            f"{CORRECTED}{label_of(sheet, c.path)}{_taken_back(c)}",
            in_words(c.was),
            _now(c, as_on_sheet),
            c.by or performer,
            c.why,
        )
        for c in as_on_sheet.corrections[: len(folded.corrections)]
    )


def _taken_back(correction: Correction) -> str:
    """Say that the row or reading of a correction is gone, where the correction itself does not say it."""
    if not correction.gone or (correction.gone == correction.path and correction.now is None):
        return ""
    return " (taken back)" if correction.gone == correction.path else " (in a row taken back)"


def _now(correction: Correction, folded: Folded) -> str:
    """Return what an answer became; of a part that said why it has no answers, that it has them after all."""
    standing = correction.now
    if standing is None and not correction.gone:
        standing = tree.get(folded.raw, tree.steps_of(correction.path))
    if not _instead(correction.was) or not isinstance(standing, dict) or _instead(standing):
        return in_words(correction.now)
    return "done after all" if "not_done" in correction.was else "answered after all"


def _instead(value: Any) -> bool:
    return isinstance(value, dict) and not value.keys().isdisjoint(INSTEAD)


def label_of(sheet: type[BaseModel], path: str) -> str:
    """Return what a sheet calls a place in it, whether anything stands there or not.

    A reading of a list is named by its number; what no question is named after is named by its own name.
    """
    labels: list[str] = []
    parts: tuple[type[BaseModel], ...] = (sheet,)
    leaf = False
    for step in path.split("."):
        if tree.is_index(step):
            labels[-1] += f" {int(step) + 1}" if parts else f", number {int(step) + 1}"
            continue
        asked = [question for part in parts for question in questions(part) if question.name == step]
        labels.append(asked[0].ask.label if asked else step.replace("_", " "))
        parts = asked[0].parts if asked else ()
        leaf = not parts
    *headings, last = labels
    label = ", ".join(headings) + (": " if leaf else ", ") + last if headings else last
    return label[:1].upper() + label[1:]


def in_words(value: Any) -> str:
    """Return an answer, a list of readings or a whole group as one text; nothing is empty.

    >>> in_words({"standard": "B7", "readings": ["7.06", "7.05"]})
    'standard: B7; readings: 7.06, 7.05'
    >>> in_words({"not_done": "no time"})
    'not done, because no time'
    """
    if isinstance(value, dict) and value.keys() == {"not_done"}:
        return f"not done, because {value['not_done']}"
    if isinstance(value, dict) and value.keys() == {"same_as"}:
        return f"same as {str(value['same_as']).replace('_', ' ')}"
    if isinstance(value, dict):
        return "; ".join(f"{name.replace('_', ' ')}: {in_words(inside)}" for name, inside in value.items())
    if isinstance(value, list):
        between = " | " if any(isinstance(one, dict) for one in value) else ", "
        return between.join(map(in_words, value))
    return "" if value is None else str(value)


def _flat(raw: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Give every answer by path, a list of readings as one."""
    if isinstance(raw, dict):
        for name, value in raw.items():
            yield from _flat(value, f"{path}.{name}" if path else name)
    elif isinstance(raw, list) and any(isinstance(one, dict) for one in raw):
        for index, one in enumerate(raw):
            yield from _flat(one, f"{path}.{index}")
    else:
        yield path, unicodedata.normalize("NFC", in_words(raw))


def _without_empty_rows(folded: Folded) -> Folded:
    """Take out rows that hold nothing, as a sheet does, so that paths are those of the sheet."""
    while empty := next(_empty_rows(folded.raw), ""):
        folded = folded.after(JournalLine(at=folded.last_at, do="remove", path=empty, was={}))
    return folded


def _empty_rows(raw: Any, path: str = "") -> Iterator[str]:
    if isinstance(raw, dict):
        for name, value in raw.items():
            yield from _empty_rows(value, f"{path}.{name}" if path else name)
    elif isinstance(raw, list):
        for index, one in enumerate(raw):
            if one == {}:
                yield f"{path}.{index}"
            yield from _empty_rows(one, f"{path}.{index}")
