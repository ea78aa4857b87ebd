"""A visit computed as far as it is typed: what is not typed yet counts as not done.

The sheet's own models and the procedure's own ``compute`` are used, so that what is said while stepping is
what the record will say. Rules between the parts of a sheet wait until it is complete.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.blank import choices, is_list
from wqverify.procedures.parts import Head, NotDone, Tail
from wqverify.procedures.usual import is_number
from wqverify.procedures.walk import Question, answered, questions
from wqverify.terms import Given, Procedure, Raw, Result, Slices

_SHARED = Head.model_fields.keys() | Tail.model_fields.keys()
NOT_YET = "not yet"  # the reason why a part is not done that is not typed yet


@dataclass(frozen=True)
class Provisional:
    """What a sheet gives so far: a result, why the procedure refuses it, or what on it contradicts itself."""

    result: Result | None = None
    refusal: CorrectTheEntry | ChooseAnother | None = None
    contradiction: str = ""


Around = Callable[[Raw], tuple[Given, Slices]]  # everything besides the sheet, for a sheet as far as typed


def provisional(procedure: Procedure, raw: Raw, around: Around) -> Provisional:
    """Compute what is typed so far; nothing where a reading or row is missing that it cannot do without."""
    typed = answered(raw)
    given, slices = around(typed)
    parts = _parts(procedure.Sheet, typed, given)
    if any(field.is_required() and name not in parts for name, field in procedure.Sheet.model_fields.items()):
        return Provisional()  # nothing is computed from a stand-in for what is measured
    try:
        sheet = procedure.Sheet.model_validate(parts)
    except ValidationError as error:
        return Provisional(contradiction=_said(error))
    try:
        return Provisional(procedure.compute(sheet, given, slices))
    except (CorrectTheEntry, ChooseAnother) as problem:
        return Provisional(refusal=problem)


def refusal_of(
    procedure: Procedure, raw: Raw, path: str, around: Around, *, deep: bool = False
) -> CorrectTheEntry | ChooseAnother | None:
    """Return why the procedure refuses the answer at a path, None where it does not.

    The answer is looked at with its own part of the sheet alone, filled up with stand-ins where it is not
    whole, because a procedure stops at the first thing it refuses; what it refuses elsewhere is not told.
    ``deep`` computes too, for what is refused only then, such as a temperature outside a table.
    """
    whole = copy.deepcopy(_alone(procedure.Sheet, raw, path))
    whole["serial_on_plate"] = raw.get("serial_on_plate") if path == "serial_on_plate" else None
    given = around(whole)[0]
    whole["serial_on_plate"] = whole["serial_on_plate"] or given.analyzer.serial
    _fill_up(procedure.Sheet, whole, path.split("."), given)
    given, _slices = around(answered(whole))
    parts = _parts(procedure.Sheet, answered(whole), given)
    try:
        procedure.refuse(_unchecked(procedure.Sheet, parts), given)
    except (CorrectTheEntry, ChooseAnother) as problem:
        return problem if _is_at(problem.where, path) else None
    refused = provisional(procedure, whole, around).refusal if deep else None
    return refused if refused is not None and _is_at(refused.where, path) else None


def _alone(sheet: type[BaseModel], raw: Raw, path: str) -> Raw:
    """Return the single answers of a sheet and the part a path lies in."""
    top = path.partition(".")[0]
    single = {question.name for question in questions(sheet) if not question.parts}
    return {name: value for name, value in raw.items() if name == top or name in single}


def _unchecked(sheet: type[BaseModel], parts: Mapping[str, Any]) -> BaseModel:
    """Return a sheet of parts that are whole each; the rules between them are not held."""
    made = {
        name: value
        if isinstance(value, BaseModel)
        else _adapter(sheet.model_fields[name]).validate_python(value)
        for name, value in parts.items()
    }
    left = {
        name: ()
        if field.is_required()
        else field.get_default(call_default_factory=True)  # rows not typed yet
        for name, field in sheet.model_fields.items()
        if name not in made
    }
    return sheet.model_construct(None, **left, **made)


def problem_with(field: FieldInfo, value: Any) -> str:
    """Return the sentence that says why one answer cannot be taken, empty where it can."""
    try:
        _adapter(field).validate_python(value)
    except ValidationError as error:
        words = choices(field)
        return f"it must be one of {', '.join(words)}." if words else _said(error)
    return ""


def _said(error: ValidationError) -> str:
    detail = error.errors(include_url=False)[0]
    return str(detail.get("ctx", {}).get("said") or f"{detail['msg']}.")


def _is_at(where: str, path: str) -> bool:
    return where == path or where.startswith(f"{path}.") or (bool(where) and path.startswith(f"{where}."))


# ---------------------------------------------------------------- a sheet of what there is

_ADAPTERS: dict[int, tuple[FieldInfo, TypeAdapter[Any]]] = {}


def _adapter(field: FieldInfo) -> TypeAdapter[Any]:
    """The validator of one field; kept with the field, whose id would else be used again."""
    kept = _ADAPTERS.get(id(field))
    if kept is None:
        form: Any = Annotated[(field.annotation, *field.metadata)] if field.metadata else field.annotation
        kept = _ADAPTERS[id(field)] = (field, TypeAdapter(form))
    return kept[1]


def _parts(model: type[BaseModel], raw: Mapping[str, Any], given: Given) -> dict[str, Any]:
    """Return the parts of a sheet, those that can be not done and are not typed as not done yet.

    A reading or row that is missing stays so; for other answers that the sheet needs there is a stand-in.
    """
    made: dict[str, Any] = {}
    for question in questions(model):
        field = model.model_fields[question.name]
        found = _taken(field, question, raw.get(question.name))
        if found is None and NotDone in question.parts:
            found = NotDone(not_done=NOT_YET)
        elif found is None and field.is_required():
            guessed = _is_measured(field, question) or (choices(field) and question.name not in _SHARED)
            found = None if guessed else _stand_in(field, question, given)
        if found is not None:
            made[question.name] = found
    return made


def _taken(field: FieldInfo, question: Question, value: Any) -> Any:
    """Return a part as typed, without the rows and groups in it that are not whole yet."""
    for candidate in _smaller(question, value):
        if _fits(field, candidate):
            return candidate
    return None


def _smaller(question: Question, value: Any) -> Iterator[Any]:
    """Give a value, then what is left of it without what is not whole."""
    if value is None:
        return
    yield value
    if isinstance(value, list) and question.parts:
        whole = [row for row in value if _is_whole(question.parts[0], row)]
        if whole:
            yield whole
    elif isinstance(value, dict):
        inside = dict(value)
        part = question.parts[0]
        for asked in questions(part):
            if asked.name not in inside:
                continue
            found = next(
                (c for c in _smaller(asked, inside[asked.name]) if _fits(part.model_fields[asked.name], c)),
                None,
            )
            if found is None:
                del inside[asked.name]
            else:
                inside[asked.name] = found
        if inside and inside != value:
            yield inside


def _is_whole(part: type[BaseModel], row: Any) -> bool:
    try:
        part.model_validate(row)
    except ValidationError:
        return False
    return True


def _fits(field: FieldInfo, value: Any) -> bool:
    try:
        _adapter(field).validate_python(value)
    except ValidationError:
        return False
    return True


# ---------------------------------------------------------------- stand-ins


def _is_measured(field: FieldInfo, question: Question) -> bool:
    """Whether a reading stands in a required answer or row, or a record that all of it is about."""
    inside = ((part.model_fields[q.name], q) for part in question.parts for q in questions(part))
    known = is_list(field) or is_number(field) or question.ask.refers == "record"
    return known or any(f.is_required() and _is_measured(f, q) for f, q in inside)


def _stand_in(field: FieldInfo, question: Question, given: Given) -> Any:
    """Return what stands for a required part or answer that is not typed yet."""
    if not question.parts:
        return _text(field, question, given)
    part = question.parts[0]
    asked = [(q, part.model_fields[q.name]) for q in questions(part)]
    return part.model_construct(**{q.name: _stand_in(f, q, given) for q, f in asked if f.is_required()})


def _text(field: FieldInfo, question: Question, given: Given) -> str:
    """Return a text a question takes, of which nothing is computed that is shown."""
    if words := choices(field):
        return words[0]
    named = {"standard": given.standards, "person": given.people}.get(question.ask.refers)
    if named:
        return next(iter(named))
    if question.time:
        return next(iter(given.times.values()), "2000-01-01T00:00")[11:16]
    if is_number(field):
        return f"{(given.analyzer.low + given.analyzer.high) / 2:.2f}"
    for text in (given.analyzer.serial, "2000-01-01", "1 mg/L"):
        if _fits(field, text):
            return text
    return "x"


def _fill_up(part: type[BaseModel], raw: Any, path: list[str], given: Given) -> None:
    """Put stand-ins for the required answers of the rows and groups on the way to a path."""
    name, *rest = path
    question = next((asked for asked in questions(part) if asked.name == name), None)
    if question is None or not question.parts or not rest:
        return
    inner, form = raw.get(name), question.parts[0]
    if isinstance(inner, list):
        index, *rest = rest
        for row in inner:
            _fill_in(form, row, given)
        inner = inner[int(index)]
    if isinstance(inner, dict) and rest:
        _fill_up(form, inner, rest, given)
        _fill_in(form, inner, given)


def _fill_in(part: type[BaseModel], raw: Any, given: Given) -> None:
    for asked in questions(part):
        field = part.model_fields[asked.name]
        if field.is_required() and not raw.get(asked.name):
            raw[asked.name] = _raw_stand_in(field, asked, given)


def _raw_stand_in(field: FieldInfo, question: Question, given: Given) -> Any:
    """Return, as it would be typed, what stands for a required answer, part or row."""
    if not question.parts:
        text = _text(field, question, given)
        return [text] if is_list(field) else text
    if NotDone in question.parts:
        return {"not_done": NOT_YET}
    group: dict[str, Any] = {}
    _fill_in(question.parts[0], group, given)
    return [group] if is_list(field) else group
