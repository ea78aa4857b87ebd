"""The one walk over a sheet: what was asked, under which label and unit, in the order of work.

It reads raw sheets, plain nested text, so that a sheet that cannot be taken yet can still be walked; what
has the wrong shape is passed over, parsing says what is wrong with it.
"""

from __future__ import annotations

import types
import typing
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache, lru_cache
from itertools import groupby
from operator import itemgetter
from typing import Any

from pydantic import BaseModel

from wqverify.calculations.units import in_unit
from wqverify.errors import CorrectTheEntry
from wqverify.terms import Ask, Entry, Reading


@dataclass(frozen=True, slots=True)
class Clock:
    """Marks a typed time; ``in_order``: it may not lie before the times above it on the sheet."""

    in_order: bool = True


@dataclass(frozen=True, slots=True)
class Question:
    """One field of a part: its label, whether it is a time, and the parts it may hold."""

    name: str
    ask: Ask
    time: bool
    in_order: bool
    parts: tuple[type[BaseModel], ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """One typed answer (a list of readings is one) with the headings it stands under."""

    path: str
    label: str
    question: Question
    value: Any


def entries(sheet: type[BaseModel], raw: Mapping[str, Any], unit: str = "") -> tuple[Entry, ...]:
    """Return every typed answer with its label and unit, in the order of work.

    ``unit`` is that of the analyzer; a sheet that measures in one unit only knows it itself. What was typed
    in another unit stands as typed, and in the unit asked for where it can be converted.
    """
    own = own_unit(sheet, unit)
    return tuple(_entry(answer, own) for answer in answers(sheet, raw))


def _entry(answer: Answer, own: str) -> Entry:
    texts = [str(one) for one in answer.value] if isinstance(answer.value, list) else [str(answer.value)]
    asked = own if answer.question.ask.unit == "analyzer" else answer.question.ask.unit
    unit, converted = _in_unit(texts, asked)
    return Entry(answer.path, answer.label, ", ".join(texts), unit, converted)


def _in_unit(texts: list[str], asked: str) -> tuple[str, str]:
    """Return the unit to show beside texts that may carry one of their own, and their numbers in it."""
    if not asked or not any(" " in text for text in texts):
        return asked, ""
    try:
        readings = [Reading.parse(text) for text in texts]
    except CorrectTheEntry:  # words, no numbers
        return asked, ""
    try:
        found = [in_unit(reading, asked) for reading in readings]
    except CorrectTheEntry:  # numbers of another quantity: they stand as typed
        return "", ""
    if all(one.words == one.typed.text for one in found):
        return "", ""
    return asked, ", ".join(one.text for one in found)


def own_unit(sheet: type[BaseModel], unit: str) -> str:
    """Return the unit of "analyzer" questions: that of the analyzer, unless the sheet measures in others.

    What is built into an analyzer of something else has a unit of its own: the sheet's.
    """
    fits = getattr(sheet, "UNITS", ())
    return unit if unit and (not fits or unit in fits) else getattr(sheet, "UNIT", "")


def typed_times(sheet: type[BaseModel], raw: Mapping[str, Any]) -> dict[str, str]:
    """Return the typed times by path."""
    return {
        answer.path: answer.value
        for answer in answers(sheet, raw)
        if answer.question.time and isinstance(answer.value, str)
    }


def named_standards(sheet: type[BaseModel], raw: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Return (path, id) of every standard and reference instrument the sheet names."""
    return tuple(_named(sheet, raw, "standard"))


def named_people(sheet: type[BaseModel], raw: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Return (path, staff id) of every person the sheet names by staff id."""
    return tuple(_named(sheet, raw, "person"))


OPEN = ""  # of an answer that is not typed yet; of a list it is the empty list


def open_answers(raw: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Give where answers stand open in a sheet as typed."""
    if isinstance(raw, dict):
        for name, value in raw.items():
            yield from open_answers(value, (*path, name))
    elif isinstance(raw, list) and raw:
        for index, value in enumerate(raw):
            yield from open_answers(value, (*path, index))
    elif raw in (OPEN, []):
        yield path


def answered(raw: Any) -> Any:
    """Return a sheet without groups nobody answered, and without what ``not_done`` or ``same_as`` replaces.

    A group that holds nothing is as if it were not there; what still stands open beside the reason why a
    group was not done, or beside the stage it is the same as, is no answer either.
    """
    if isinstance(raw, list):
        return [value for one in raw if (value := answered(one)) != {}]
    if not isinstance(raw, dict):
        return raw
    inside = {name: answered(value) for name, value in raw.items()}
    kept = {name: value for name, value in inside.items() if value or not _groups(raw[name])}
    if kept.get("not_done") or kept.get("same_as"):
        kept = {name: value for name, value in kept.items() if next(open_answers(value), None) is None}
    return kept


def _groups(raw: Any) -> bool:
    """Whether something typed is a group, or groups: an open list of readings is none."""
    return isinstance(raw, dict) or (isinstance(raw, list) and any(isinstance(one, dict) for one in raw))


def named_analyzers(sheet: type[BaseModel], raw: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Return (path, tag) of every analyzer the sheet names besides its own."""
    return tuple(_named(sheet, raw, "analyzer"))


def named_records(sheet: type[BaseModel], raw: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Return (path, number) of every record the sheet names; the one it replaces is no source of it."""
    return tuple((path, name) for path, name in _named(sheet, raw, "record") if path != "replaces")


def named_trends(sheet: type[BaseModel], raw: Mapping[str, Any]) -> tuple[tuple[str, str, str], ...]:
    """Return (path, file, tag) of every export the sheet names; the tag is empty for its own analyzer."""
    return tuple(
        (answer.path, answer.value, _beside(raw, answer.path, answer.question.ask.of))
        for answer in answers(sheet, raw)
        if answer.question.ask.refers == "trend" and isinstance(answer.value, str)
    )


def _beside(raw: Mapping[str, Any], path: str, name: str) -> str:
    """The answer of a name in the group a path lies in, empty for none."""
    group: Any = raw
    for step in path.split(".")[:-1]:
        group = group[int(step)] if isinstance(group, list) else group[step]
    found = group.get(name, "") if name else ""
    return found if isinstance(found, str) else ""


def refuse_disorder(sheet: type[BaseModel], times: Mapping[str, str]) -> None:
    """Raise CorrectTheEntry where a time lies before one that stands above it on the sheet.

    ``times`` holds ISO 8601 times with offset by path, as in ``Given.times``. What the sheet lists in its
    ``TOGETHER`` may come in any order.
    """
    placed = sorted((place[0], path) for path in times if (place := _place(sheet, path)) is not None)
    latest = ""  # of all that stands above; what stands together may come in any order
    for _, group in groupby(placed, key=itemgetter(0)):
        together = [path for _, path in group]
        for path in together:
            if latest and _instant(times[path]) < _instant(times[latest]):
                raise CorrectTheEntry(
                    f"{_label(sheet, path)} is {_clock(times[path])}, before {_label(sheet, latest)} "
                    f"({_clock(times[latest])}), which comes first in the order of work; correct one of "
                    f"them, or give the date too where the work went past midnight.",
                    found=times[path],
                    expected=f"not before {times[latest]}",
                    where=path,
                )
        latest = max([*together, *([latest] if latest else [])], key=lambda path: _instant(times[path]))


# ---------------------------------------------------------------- the walk


def answers(
    part: type[BaseModel], raw: Mapping[str, Any], path: str = "", heading: str = ""
) -> Iterator[Answer]:
    """Give every typed answer in the order of work."""
    for question in questions(part):
        if question.name not in raw:
            continue
        value, here = raw[question.name], f"{path}{question.name}"
        if not question.parts:
            yield Answer(here, _titled(heading, question.ask.label, ": "), question, value)
            continue
        label = _titled(heading, question.ask.label, ", ")
        if isinstance(value, dict):
            yield from answers(_chosen(question.parts, value), value, f"{here}.", label)
        elif isinstance(value, list):
            for index, item in enumerate(value):
                if isinstance(item, dict):
                    yield from answers(question.parts[0], item, f"{here}.{index}.", f"{label} {index + 1}")


@cache
def questions(part: type[BaseModel]) -> tuple[Question, ...]:
    """Return the questions of a part in the order of work."""
    found = []
    for name, field in part.model_fields.items():
        marks = [*field.metadata, *_marks(field.annotation)]
        asks = [mark for mark in marks if isinstance(mark, Ask)]
        clocks = [mark for mark in marks if isinstance(mark, Clock)]
        found.append(
            Question(
                name,
                asks[0] if asks else Ask(name.replace("_", " ")),
                bool(clocks),
                bool(clocks) and clocks[0].in_order,
                tuple(_parts(field.annotation)),
            )
        )
    return tuple(found)


def _chosen(parts: tuple[type[BaseModel], ...], raw: Mapping[str, Any]) -> type[BaseModel]:
    """Of a choice the part that asks for one of the keys given only there; else the first."""
    for part in parts[1:]:
        if set(raw) & (part.model_fields.keys() - parts[0].model_fields.keys()):
            return part
    return parts[0]


def _titled(heading: str, label: str, between: str) -> str:
    return f"{heading}{between}{label}" if heading else label[0].upper() + label[1:]


def _parts(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and not isinstance(annotation, types.GenericAlias):
        if issubclass(annotation, BaseModel):
            yield annotation
    else:
        for argument in typing.get_args(annotation):
            yield from _parts(argument)


def _marks(annotation: Any) -> Iterator[Any]:
    """What is noted on a leaf inside ``X | None``."""
    if typing.get_origin(annotation) in (typing.Union, types.UnionType):
        for argument in typing.get_args(annotation):
            yield from getattr(argument, "__metadata__", ())


def _named(sheet: type[BaseModel], raw: Mapping[str, Any], what: str) -> Iterator[tuple[str, str]]:
    for answer in answers(sheet, raw):
        if answer.question.ask.refers == what:
            many = isinstance(answer.value, list)
            for index, name in enumerate(answer.value if many else [answer.value]):
                if isinstance(name, str):
                    yield f"{answer.path}.{index}" if many else answer.path, name


@lru_cache(maxsize=4096)
def _place(sheet: type[BaseModel], path: str) -> tuple[tuple[int, ...], str] | None:
    """Return where a path stands in the order of work and its label, None for a time out of order."""
    place: list[int] = []
    labels: list[str] = []
    parts: tuple[type[BaseModel], ...] = (sheet,)
    question = None
    for step in path.split("."):
        if step.isdigit():
            place.append(int(step))
            labels[-1] += f" {int(step) + 1}"
            continue
        asked = [(i, q) for part in parts for i, q in enumerate(questions(part)) if q.name == step]
        if not asked:
            return None
        index, question = asked[0]
        place.append(index if place else _first_of(sheet, step, index))
        labels.append(question.ask.label)
        parts = question.parts
    if question is None or not question.in_order:
        return None
    *headings, leaf = labels
    label = _titled(", ".join(headings), leaf, ": ")
    together = any(path.partition(".")[0] in names for names in getattr(sheet, "TOGETHER", ()))
    return tuple(place[:1] if together else place), label[0].upper() + label[1:]


def _first_of(sheet: type[BaseModel], name: str, index: int) -> int:
    """The place of a group is that of the first of those that may come in any order."""
    for names in getattr(sheet, "TOGETHER", ()):
        if name in names:
            return min(i for i, question in enumerate(questions(sheet)) if question.name in names)
    return index


@lru_cache(maxsize=4096)
def _instant(iso: str) -> datetime:
    return datetime.fromisoformat(iso)


def _label(sheet: type[BaseModel], path: str) -> str:
    place = _place(sheet, path)
    return f"{place[1]} ({path})" if place else path


def _clock(iso: str) -> str:
    return iso[:16].replace("T", " ")
