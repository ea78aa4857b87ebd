"""A field sheet as paper to write on: the sheet model as sections, lines, boxes, ticks and rows, plain data.

The laptop can stay in the truck: what is asked, its order and its words are those of the sheet that is typed
later. Nothing here knows a procedure or how paper is drawn.
"""

from __future__ import annotations

import typing
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Literal

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from wqverify.plant.fields import Day
from wqverify.plant.folder import Plant
from wqverify.procedures.blank import choices, is_list
from wqverify.procedures.parts import AT_THE_INSTRUMENT, NotDone, SameAs
from wqverify.procedures.walk import Question, own_unit, questions
from wqverify.terms import Analyzer, Binding, Earlier, Given, Procedure, Reading, Standard, Tolerance

Kind = Literal["number", "numbers", "time", "date", "name", "text", "long", "ticks", "because"]
LONG = 200  # letters; an answer that may be longer gets a line of its own
KNOWN = ("procedure", "tag")  # printed, with their labels, in the title
COPIED = "copied_from_paper"  # the part of a sheet that is answered last, when the paper is typed


@dataclass(frozen=True, slots=True)
class Space:
    """Room for one answer: a line, boxes for readings, or words to tick."""

    kind: Kind
    label: str
    unit: str = ""
    words: tuple[str, ...] = ()  # to tick
    hint: str = ""
    must: bool = False


@dataclass(frozen=True, slots=True)
class Named:
    """A row whose first cell says what is read there, and which of the columns are asked of it."""

    label: str
    asked: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Rows:
    """A table to fill in, one row per point, after those that are named already."""

    label: str
    columns: tuple[Space, ...]
    named: tuple[Named, ...] = ()
    wanted: int = 3
    least: int = 1


@dataclass(frozen=True, slots=True)
class Section:
    """One part of the sheet; ``times``: how often it stands on the paper, where there may be several."""

    label: str
    optional: bool = False
    note: str = ""
    spaces: tuple[Space, ...] = ()
    tables: tuple[Rows, ...] = ()
    times: int = 1


@dataclass(frozen=True, slots=True)
class Bottle:
    """A standard on hand as it is listed beside the questions."""

    id: str
    name: str
    lot: str
    until: str


@dataclass(frozen=True, slots=True)
class Judged:
    """A tolerance the register holds for this procedure, with its name in words."""

    label: str
    tolerance: Tolerance


@dataclass(frozen=True, slots=True)
class Paper:
    """A blank field sheet of one procedure for one analyzer."""

    plant: str
    synthetic: bool
    title: str
    procedure: str
    revision: int
    printed: str
    tag: str
    facts: tuple[tuple[str, str], ...]
    tolerances: tuple[Judged, ...]
    binds: tuple[Binding, ...]
    bottles: tuple[Bottle, ...]
    unfit: tuple[str, ...]  # on hand and past their day
    measured: bool  # a standard or an instrument is asked for
    last: str
    cautions: tuple[str, ...]
    sections: tuple[Section, ...]
    names: tuple[str, ...] = ()  # what an answer may be called, as it is typed later


def paper(
    procedure: Procedure, analyzer: Analyzer, plant: Plant, day: str, earlier: tuple[Earlier, ...] = ()
) -> Paper:
    """Return the blank of a procedure for an analyzer as it stands on a day (YYYY-MM-DD)."""
    units = _units(procedure.Sheet, analyzer.unit)
    measured = any(one.ask.refers == "standard" for one in _all(procedure.Sheet))
    wanted = [one for one in plant.standards.values() if measured and one.unit in units]
    return Paper(
        plant.site.name,
        plant.site.synthetic,
        procedure.title,
        procedure.name,
        procedure.revision,
        day,
        analyzer.tag,
        tuple(_facts(procedure, analyzer)),
        tuple(_tolerances(procedure, analyzer)),
        procedure.binds(Given(1, plant.site, analyzer)),
        tuple(_bottle(one, analyzer, day) for one in wanted if not _past(one, day)),
        tuple(f"{one.id} (until {_until(one)})" for one in wanted if _past(one, day)),
        measured,
        _last(procedure, earlier),
        tuple(caution.text for caution in procedure.cautions),
        tuple(sections(procedure, analyzer, tuple(_alike(analyzer, plant)))),
        procedure.names(analyzer),
    )


# ---------------------------------------------------------------- what is known beforehand


def _facts(procedure: Procedure, analyzer: Analyzer) -> Iterator[tuple[str, str]]:
    """Give what to compare at the analyzer before anything is touched."""
    yield "procedure", f"{procedure.name} revision {procedure.revision}"
    yield "serial in the register, to compare with the plate", analyzer.serial
    yield "location", analyzer.location
    yield "sample point", analyzer.sample_point
    measures = f"{analyzer.species} {analyzer.measures}".strip()
    yield "measures", f"{measures}, {analyzer.low} to {analyzer.high} {analyzer.unit}"
    yield "output", analyzer.output
    yield "control system", analyzer.control_system_tag


def _alike(analyzer: Analyzer, plant: Plant) -> Iterator[str]:
    """Give the tags of the other analyzers that measure the same."""
    own = (analyzer.measures, analyzer.species, analyzer.unit)
    for tag, one in plant.analyzers.items():
        if tag != analyzer.tag and (one.measures, one.species, one.unit) == own:
            yield tag


def _tolerances(procedure: Procedure, analyzer: Analyzer) -> Iterator[Judged]:
    for name in procedure.tolerances:
        held = analyzer.tolerances.get(name)
        if held is not None:
            unit = f"_{held.unit.lower()}"
            yield Judged(name.removesuffix(unit).replace("_", " "), held)


def _last(procedure: Procedure, earlier: tuple[Earlier, ...]) -> str:
    """Say what the last record of this procedure on this instrument came to."""
    own = [one for one in earlier if one.procedure == procedure.name]
    if not own:
        return ""
    came_to = ", ".join(f"{stage.replace('_', ' ')} {outcome}" for stage, outcome in own[0].outcomes.items())
    return f"{own[0].performed[:16].replace('T', ' ')}, record {own[0].number}: {came_to or 'nothing judged'}"


def _units(part: type[BaseModel], own: str) -> set[str]:
    """The units that are asked beside a standard: the analyzer's own, and such as that of a thermometer."""
    asked = questions(part)
    named = any(one.ask.refers == "standard" for one in asked)
    found = {own if one.ask.unit == "analyzer" else one.ask.unit for one in asked if named}
    return found.union({own}, *(_units(inner, own) for one in asked for inner in one.parts)) - {""}


def _all(part: type[BaseModel]) -> Iterator[Question]:
    for one in questions(part):
        yield one
        for inner in one.parts:
            yield from _all(inner)


def _until(bottle: Standard) -> str:
    return bottle.usable_until or bottle.calibration_due


def _past(bottle: Standard, day: str) -> bool:
    return "" < bottle.usable_until < day or "" < bottle.calibration_due < day


def _bottle(bottle: Standard, analyzer: Analyzer, day: str) -> Bottle:
    here = bottle.assigned_to(analyzer.tag, day)
    value = f": {here.value} {bottle.unit} here" if here else ": no value here yet" if bottle.assigned else ""
    return Bottle(bottle.id, bottle.name + value, bottle.lot, _until(bottle))


# ---------------------------------------------------------------- the questions


def sections(procedure: Procedure, analyzer: Analyzer, others: tuple[str, ...] = ()) -> Iterator[Section]:
    """Give the parts of a sheet in the order of work.

    ``others`` are the tags of analyzers that measure the same: each has its row where rows name analyzers.
    """
    unit = own_unit(procedure.Sheet, analyzer.unit)
    sampled = procedure.Sheet.SAMPLED or analyzer.sample_line is not None
    return _Writer(unit, sampled, others).sheet(procedure.Sheet)


def left_out(sheet: type[BaseModel], name: str) -> bool:
    """Whether a question of a sheet does not stand on its paper: at a desk nothing is held or released."""
    at_a_desk = getattr(sheet, "DESK", False) and not sheet.model_fields[name].is_required()
    return at_a_desk and name in AT_THE_INSTRUMENT


class _Writer:
    """Lays out one sheet; what stands deep inside several parts alike is laid out once."""

    def __init__(self, unit: str, sampled: bool, others: tuple[str, ...]) -> None:
        self.unit, self.sampled, self.others = unit, sampled, others
        self.shared: set[tuple[type[BaseModel], ...]] = set()

    def sheet(self, sheet: type[BaseModel]) -> Iterator[Section]:
        single: list[Space] = []
        for question in sorted(questions(sheet), key=lambda one: one.name == COPIED):
            if question.name in KNOWN or left_out(sheet, question.name):
                continue
            asked = sheet.model_fields[question.name]
            if not question.parts:
                single.append(self.space(question, asked))
                continue
            if single:
                yield Section("", spaces=tuple(single))
                single = []
            yield from self.part(question, asked, question.ask.label)
        if single:
            yield Section("", spaces=tuple(single))

    def part(self, question: Question, asked: FieldInfo, label: str) -> Iterator[Section]:
        """Give a group with what stands in it, or several of its kind."""
        done, optional, note = question.parts[0], not asked.is_required(), question.ask.help
        if is_list(asked) and _is_wide(done):
            yield Section(label, optional, note, self.leaves(done), times=2)
        elif is_list(asked):
            rows = tuple(self.tables(question, asked, f"of which {question.ask.label}"))
            yield Section(label, optional, note, tables=rows)
        else:
            named, tables, apart = self.inside(done)
            spaces = [*self.leaves(done), *map(_its_because, named), *self.other_forms(question)]
            yield Section(label, optional, note, tuple(spaces), tuple(tables))
            for one in apart:
                yield from self.part(one, done.model_fields[one.name], f"{label}, {one.ask.label}")

    def inside(self, part: type[BaseModel]) -> tuple[list[Question], list[Rows], list[Question]]:
        """Return of the groups in a part those that are rows of its table, the tables, and the others."""
        groups = [one for one in questions(part) if one.parts]
        several = [one for one in groups if is_list(part.model_fields[one.name])]
        single = [one for one in groups if one not in several]
        tables = [rows for one in several for rows in self.tables(one, part.model_fields[one.name])]
        named = [one for one in single if several and _is_a_row(one.parts[0], several[0].parts[0])]
        if named:
            tables[0] = replace(tables[0], named=tuple(_named(one, several[0].parts[0]) for one in named))
        return named, tables, [one for one in single if one not in named]

    def other_forms(self, question: Question) -> Iterator[Space]:
        """Give the room for the other forms of a part: the same as another stage, not done."""
        for form in sorted(question.parts[1:], key=lambda one: one is NotDone):
            for asked in questions(form):
                if form is NotDone:
                    yield _because(asked.ask.label)
                elif form is SameAs:
                    yield self.space(asked, form.model_fields[asked.name], must=False)

    def leaves(self, part: type[BaseModel]) -> tuple[Space, ...]:
        asked = (one for one in questions(part) if not one.parts and (self.sampled or not _of_sample(one)))
        return tuple(self.space(one, part.model_fields[one.name]) for one in asked)

    def tables(self, question: Question, field: FieldInfo, of: str = "for stage and point") -> Iterator[Rows]:
        """Give the table of the rows, and one for what stands deeper inside a row; ``of`` is said there."""
        part = question.parts[0]
        columns, asked = self.leaves(part), questions(part)
        known = self.others if asked[0].ask.refers == "analyzer" else ()
        named = tuple(Named(tag, (True,) * len(columns)) for tag in known)
        long = any(one.kind == "numbers" for one in columns)
        short = len(columns) <= 3
        wanted, least = (4, 2) if long else (8, 4) if short else (4, 1)
        wanted = min(max(wanted, int(question.ask.usual or 0)), _most(field)) if not named else 2
        yield Rows(question.ask.label, columns, named, wanted, least)
        for nested in asked:
            if nested.parts and nested.parts not in self.shared:
                self.shared.add(nested.parts)
                deep = tuple(self.deep(nested.parts[0]))
                label = ", ".join(word for word in (nested.ask.label, nested.ask.help) if word)
                yield Rows(label, (Space("name", of), *deep), (), max(4, 4 * len(named)), 1)

    def deep(self, part: type[BaseModel]) -> Iterator[Space]:
        for one in questions(part):
            if one.parts:
                inner = tuple(self.deep(one.parts[0]))
                yield from (replace(space, label=f"{one.ask.label}: {space.label}") for space in inner)
            else:
                yield self.space(one, part.model_fields[one.name])

    def space(self, question: Question, asked: FieldInfo, *, must: bool = True) -> Space:
        ask = question.ask
        unit = self.unit if ask.unit == "analyzer" else ask.unit
        words = choices(asked)
        default = asked.default if isinstance(asked.default, str) else ""
        hint = f"left open: {default}" if default else ""
        kind, shown = _kind(question, asked, words), tuple(word.replace("_", " ") for word in words)
        return Space(kind, ask.label, unit, shown, hint, must and asked.is_required())


def _most(field: FieldInfo) -> int:
    """Return how many entries a list takes at most."""
    marks: list[Any] = list(field.metadata)
    list(_leaves(field.annotation, marks))
    return min((n for mark in marks if (n := getattr(mark, "max_length", None)) is not None), default=99)


def _of_sample(question: Question) -> bool:
    return question.ask.when == "a sample flows"


def _because(label: str) -> Space:
    return Space("because", label)


def _its_because(question: Question) -> Space:
    return _because(f"{question.ask.label} not done, because")


def _is_wide(part: type[BaseModel]) -> bool:
    """Whether a part asks too much for one row of a table."""
    return len(questions(part)) > 10


def _is_a_row(group: type[BaseModel], row: type[BaseModel]) -> bool:
    """Whether the answers of a group fit into the columns of a row, besides what was read."""
    columns = {(one.name, one.ask.label) for one in questions(row)}
    return all(
        one.ask.refers == "standard" or (one.name, one.ask.label) in columns for one in questions(group)
    )


def _named(question: Question, row: type[BaseModel]) -> Named:
    """Return a group as a row of a table whose first column is what was read."""
    own = {one.name for one in questions(question.parts[0])}
    columns = [one.name for one in questions(row) if not one.parts]
    return Named(question.ask.label, (True, *(name in own for name in columns[1:])))


def _kind(question: Question, asked: FieldInfo, words: tuple[str, ...]) -> Kind:
    marks = list(asked.metadata)
    types = list(_leaves(asked.annotation, marks))
    if words:
        return "ticks"
    if Reading in types:
        return "numbers" if is_list(asked) else "number"
    if question.time:
        return "time"
    if is_list(asked):
        return "text"
    if question.ask.refers:
        return "name"
    if any(mark in typing.get_args(Day) for mark in marks):
        return "date"
    letters = [n for mark in marks if (n := getattr(mark, "max_length", None)) is not None]
    return "long" if letters and max(letters) > LONG else "text"


def _leaves(annotation: Any, marks: list[Any]) -> Iterator[Any]:
    """Give the types inside an annotation; notes on the way are added to ``marks``."""
    marks += getattr(annotation, "__metadata__", ())
    inside = typing.get_args(annotation)
    if not inside:
        yield annotation
    for one in inside:
        yield from _leaves(one, marks)
