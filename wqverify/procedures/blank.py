"""A blank field sheet, written from the sheet model: what is asked, in which unit, which choices there are.

Nothing in it is guessed. What must be answered stands open, as ``""`` or ``[]``, and is refused until it is
typed; what may be answered is commented out. Headings are never commented out, or an answer would be taken
for one of the group above; a group without an answer is as if it were not there. TOML holds the single
answers of a group before its inner groups, so those come first; otherwise the order is that of the work.
"""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from wqverify.procedures.walk import OPEN, Question, own_unit, questions
from wqverify.procedures.walk import open_answers as open_answers  # where a blank still waits

_COMMENTS_FROM = 34  # the column in which comments begin, where the answer leaves room
_REFERS = {
    "standard": "its id in standards_on_hand.toml",
    "person": "staff id",
    "record": "record number",
    "trend": "a file in trends/",
    "analyzer": "its tag in analyzers.toml",
}
# Single answers of the sheet that belong to its end.
_AT_THE_END = frozenset({"deviations", "finished", "remarks"})


def blank_sheet(sheet: type[BaseModel], answers: Mapping[str, Any], unit: str = "") -> str:
    """Return the TOML text of a blank sheet with some answers filled in.

    ``unit`` is that of the analyzer.
    """
    writer = _Writer(own_unit(sheet, unit))
    return "\n".join(writer.part(sheet, answers)).strip("\n") + "\n"


def written_sheet(sheet: type[BaseModel], answers: Mapping[str, Any], unit: str, title: str) -> str:
    """Return the TOML text of a sheet with its answers only, each with what was asked beside it."""
    writer = _Writer(own_unit(sheet, unit), optional=False)
    return "\n".join([f"# {title}", "", *writer.part(sheet, answers)]).strip("\n") + "\n"


def shared_head(
    sheet: type[BaseModel], answers: Mapping[str, Any], asked: Collection[str], under: str
) -> str:
    """Return the TOML text of answers shared by several sheets, under a heading of their own.

    ``asked`` names the questions of a sheet that stand in it; of the others inside them only what is
    answered or must be.
    """
    writer = _Writer(getattr(sheet, "UNIT", ""), optional=False, asked=frozenset(asked))
    return "\n".join([f"[{under}]", *writer.part(sheet, answers, (under,))]) + "\n"


def filled(raw: Any, head: Any) -> Any:
    """Return a sheet whose open answers are taken from a shared head; what is typed on the sheet counts."""
    if isinstance(raw, dict) and isinstance(head, Mapping):
        return {name: filled(value, head.get(name, OPEN)) for name, value in raw.items()}
    return head if raw in (OPEN, []) and isinstance(head, str | list) else raw


def choices(field: FieldInfo) -> tuple[str, ...]:
    """Return the words an answer must be one of; none where it may be any."""
    return tuple(word for literal in _literals(field.annotation) for word in typing.get_args(literal))


def is_list(field: FieldInfo) -> bool:
    """Whether a question takes several answers, or a part may stand several times."""
    return _holds_tuple(field.annotation)


# ---------------------------------------------------------------- parts


@dataclass(frozen=True)
class _Writer:
    """Writes a part and the groups in it; without ``optional`` only what is answered or must be."""

    unit: str
    optional: bool = True
    off: bool = False  # inside a group that may be left out: every answer is commented out
    asked: frozenset[str] = frozenset()  # of the outermost part; all where it is empty

    def part(
        self, part: type[BaseModel], answers: Mapping[str, Any], path: tuple[str, ...] = ()
    ) -> Iterator[str]:
        """Give the lines of a part: its single answers, then its groups, each in the order of the work."""
        chosen = [
            (question, part.model_fields[question.name])
            for question in questions(part)
            if self._wanted(question, part.model_fields[question.name], answers, len(path))
        ]
        single = [(question, field) for question, field in chosen if not question.parts]
        for question, field in sorted(single, key=lambda each: each[0].name in _AT_THE_END):
            line = _answer(question, field, answers.get(question.name), self.unit)
            yield _out(line) if self.off else line
        for question, field in chosen:
            if question.parts:
                yield from self._group(question, field, answers.get(question.name), path)

    def _wanted(self, question: Question, field: FieldInfo, answers: Mapping[str, Any], depth: int) -> bool:
        if self.asked and depth == 1:
            return question.name in self.asked
        return self.optional or field.is_required() or question.name in answers

    def _group(
        self, question: Question, field: FieldInfo, given: Any, path: tuple[str, ...]
    ) -> Iterator[str]:
        """Give the lines of a group; of one that may be left out the answers are commented out."""
        here, many = ".".join((*path, question.name)), is_list(field)
        several = given if isinstance(given, list) and given else [given if isinstance(given, dict) else {}]
        label = "" if question.ask.label == question.name.replace("_", " ") else question.ask.label
        note = _said(label, question.ask.help, "copy this group for each" if many else "")
        wanted = given is not None or (field.is_required() and not self.off)
        inside = self if wanted else replace(self, off=True)
        for answers in several:
            yield from ("", _commented(f"[[{here}]]" if many else f"[{here}]", note))
            yield from inside._inside(question, answers, (*path, question.name))

    def _inside(self, question: Question, answers: Mapping[str, Any], path: tuple[str, ...]) -> Iterator[str]:
        """Give the answers of a group; of its other forms (not done, same as) each as a comment."""
        done, *others = question.parts
        for other in others:
            if other.model_fields.keys() & answers.keys():
                yield from self.part(other, answers, path)
                return
        for other in others if self.optional else ():
            for asked in questions(other):
                field = other.model_fields[asked.name]
                note = f"instead of the answers below: {', '.join(choices(field)) or 'why it was not done'}"
                yield _out(_commented(f'{asked.name} = ""', note))
        yield from self.part(done, answers, path)


# ---------------------------------------------------------------- one answer


def _answer(question: Question, field: FieldInfo, given: Any, unit: str) -> str:
    open_one: Any = [] if is_list(field) else OPEN
    known = given if given is not None else _default(field, open_one)
    line = _commented(f"{question.name} = {_typed(known)}", _about(question, field, unit))
    return line if given is not None or field.is_required() else _out(line)


def _default(field: FieldInfo, open_one: Any) -> Any:
    return field.default if isinstance(field.default, str) else open_one


def _typed(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)  # a text and a list of texts are written alike in TOML


def _about(question: Question, field: FieldInfo, unit: str) -> str:
    """Say what is asked, in which unit, which words there are."""
    ask = question.ask
    own = unit if ask.unit == "analyzer" else ask.unit
    label = "" if ask.label == question.name.replace("_", " ") else ask.label
    form = ", ".join(choices(field)) or ("08:15" if question.time else "")
    when = "at the end of the work" if question.name in _AT_THE_END else ""
    help_ = ask.help or _REFERS.get(ask.refers, "")
    return _said(", ".join(word for word in (label, own) if word), when, help_, "" if form in help_ else form)


def _said(*notes: str) -> str:
    return "; ".join(note for note in notes if note)


def _commented(text: str, note: str) -> str:
    return f"{text:<{_COMMENTS_FROM}} # {note}" if note else text


def _out(line: str) -> str:
    return line if not line or line.startswith("# ") else f"# {line}"


def _literals(annotation: Any) -> Iterator[Any]:
    if typing.get_origin(annotation) is typing.Literal:
        yield annotation
    elif typing.get_origin(annotation) in (typing.Union, types.UnionType):
        for argument in typing.get_args(annotation):
            yield from _literals(argument)


def _holds_tuple(annotation: Any) -> bool:
    origin = typing.get_origin(annotation)
    if origin is tuple:
        return True
    if origin in (typing.Union, types.UnionType, typing.Annotated):
        return any(_holds_tuple(argument) for argument in typing.get_args(annotation))
    return False
