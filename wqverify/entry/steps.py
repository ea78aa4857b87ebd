"""Which questions of a sheet are asked, in the order of the work: nothing here knows a procedure.

A step is one question, one list of readings, the question whether another row follows, or the question which
form a part takes (read again, or the same as an earlier stage). What stands answered is a step too, so that
one can go back to it, and so is what is not asked by itself, so that it can be asked for.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, Protocol

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from wqverify.procedures.blank import is_list
from wqverify.procedures.opening import SoFar, is_wanted
from wqverify.procedures.parts import NotDone, SameAs
from wqverify.procedures.walk import Question, questions

Stands = Literal["open", "answered", "left out", "not asked"]


class Typed(Protocol):
    """What the journal of a visit folds to, as far as the steps depend on it."""

    @property
    def raw(self) -> Mapping[str, Any]: ...
    @property
    def closed(self) -> Collection[str]: ...
    @property
    def left_out(self) -> Collection[str]: ...
    @property
    def opened(self) -> Collection[str]: ...


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a visit, with where it stands."""

    kind: Literal["leaf", "list", "rows", "form"]
    path: str
    question: Question
    field: FieldInfo
    headings: tuple[str, ...]
    required: bool
    stands: Stands
    group: str = ""  # the nearest part that can be not done instead
    same_as: bool = False  # that part may be the same as an earlier stage
    spare: str = ""  # the nearest optional part, or row begun in vain, that can be left out whole
    first: bool = False  # nothing in that part is answered yet
    rows: int = 0  # rows or readings there are
    use: str = ""  # where it is said that the standard is for information only
    waits: bool = False  # another reading of the point comes first

    @property
    def top(self) -> str:
        """The part of the sheet it belongs to."""
        return self.path.partition(".")[0]


@dataclass(frozen=True, slots=True)
class _Place:
    path: str = ""
    headings: tuple[str, ...] = ()
    group: str = ""
    same_as: bool = False
    spare: str = ""
    first: bool = False
    takes_use: bool = False


def steps(sheet: type[BaseModel], typed: Typed, so_far: SoFar) -> Iterator[Step]:
    """Give the steps of a visit as far as it is typed.

    A sheet may say in its ``ASKED`` that some questions are asked in another order than they stand in: a grab
    is collected between two online values, and its result is asked after them.
    """
    found = list(_point_by_point(list(_Walk(typed, so_far).part(sheet, typed.raw, _Place()))))
    order: tuple[str, ...] = getattr(sheet, "ASKED", ())
    here = [n for n, step in enumerate(found) if _rank(step, order) < len(order)]
    moved = sorted((found[n] for n in here), key=lambda step: _rank(step, order))
    for n, step in zip(here, moved, strict=True):
        found[n] = step
    return iter(found)


def abreast(step: Step, every: Collection[Step]) -> list[Step]:
    """Return the lists of a part that are read point by point with one of them, without what is left out."""
    part = step.path.rpartition(".")[0]
    return [one for one in every if _is_of_points(one) and one.path.rpartition(".")[0] == part]


def _is_of_points(step: Step) -> bool:
    return step.kind == "list" and step.question.ask.apart and step.stands in ("open", "answered")


def _point_by_point(every: list[Step]) -> Iterator[Step]:
    """Give the steps, with whose turn it is where lists are read point by point.

    All that is read at one point is asked before the next point. Once the first list is complete, so is each
    that has as many readings.
    """
    for step in every:
        if not _is_of_points(step) or step.stands != "open":
            yield step
            continue
        lists = abreast(step, every)
        counts = [one.rows for one in lists if one.stands == "open"]
        if lists[0].stands == "answered" and step.rows >= lists[0].rows:
            yield replace(step, stands="answered")
        else:
            turn = next(one for one in lists if one.stands == "open" and one.rows == min(counts))
            yield replace(step, waits=step is not turn)


def _rank(step: Step, order: tuple[str, ...]) -> int:
    inside = f"{step.path}."
    return next((n for n, path in enumerate(order) if inside.startswith(f"{path}.")), len(order))


@dataclass(frozen=True)
class _Walk:
    typed: Typed
    so_far: SoFar

    def part(self, part: type[BaseModel], raw: Mapping[str, Any], at: _Place) -> Iterator[Step]:
        at = replace(at, takes_use="use" in part.model_fields)
        for question in questions(part):
            field, here = part.model_fields[question.name], f"{at.path}{question.name}"
            value = raw.get(question.name)
            if not self._asked(question, here, value):
                kind = "form" if question.parts else "leaf"
                yield replace(self._step(kind, question, field, here, False, at), stands="not asked")
                continue
            if not question.parts:
                yield self._leaf(question, field, here, value, at)
            elif is_list(field):
                yield from self._rows(question, field, here, value or [], at)
            else:
                yield from self._group(question, field, here, value or {}, at)

    def _asked(self, question: Question, here: str, value: Any) -> bool:
        opened = here in self.typed.opened or any(one.startswith(f"{here}.") for one in self.typed.opened)
        left = here in self.typed.left_out
        return bool(value) or opened or left or is_wanted(question.ask.when, replace(self.so_far, path=here))

    def _step(
        self, kind: Any, question: Question, field: FieldInfo, here: str, answered: bool, at: _Place
    ) -> Step:
        left = not answered and here in self.typed.left_out
        return Step(
            kind,
            here,
            question,
            field,
            at.headings,
            field.is_required(),
            "answered" if answered else "left out" if left else "open",
            at.group,
            at.same_as,
            at.spare,
            at.first,
            use=f"{at.path}use" if question.ask.refers == "standard" and at.takes_use else "",
        )

    def _leaf(self, question: Question, field: FieldInfo, here: str, value: Any, at: _Place) -> Step:
        if is_list(field):
            complete = bool(value) and here in self.typed.closed
            return replace(self._step("list", question, field, here, complete, at), rows=len(value or ()))
        return self._step("leaf", question, field, here, bool(value), at)

    def _rows(
        self, question: Question, field: FieldInfo, here: str, rows: list[Any], at: _Place
    ) -> Iterator[Step]:
        if not rows and here in self.typed.left_out:
            yield self._step("rows", question, field, here, False, at)
            return
        closed = here in self.typed.closed
        begun = max(len(rows), 1)
        while not closed and f"{here}.{begun}" in self.typed.opened:
            begun += 1
        for index in range(begun):
            row = rows[index] if index < len(rows) and isinstance(rows[index], dict) else {}
            spare = here if not row and (index or not field.is_required()) else at.spare
            inside = replace(
                at,
                path=f"{here}.{index}.",
                headings=(*at.headings, f"{question.ask.label} {index + 1}"),
                spare=spare,
                first=at.first if index == 0 and spare == at.spare else not row,
            )
            yield from self.part(question.parts[0], row, inside)
        yield replace(self._step("rows", question, field, here, closed and bool(rows), at), rows=len(rows))

    def _group(
        self, question: Question, field: FieldInfo, here: str, value: Mapping[str, Any], at: _Place
    ) -> Iterator[Step]:
        form = self._step("form", question, field, here, bool(value), at)
        can_be = set(question.parts)
        form = replace(form, group=here if NotDone in can_be else at.group, same_as=SameAs in can_be)
        if value.get("not_done") or value.get("same_as") or form.stands == "left out":
            yield form
            return
        if form.same_as and not value and here not in self.typed.opened:
            yield form
            return
        inside = replace(
            at,
            path=f"{here}.",
            headings=(*at.headings, question.ask.label),
            group=form.group,
            same_as=form.same_as,
            spare=at.spare if field.is_required() else here,
            first=not value,
        )
        yield from self.part(question.parts[0], value, inside)
