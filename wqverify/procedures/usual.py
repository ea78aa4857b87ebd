"""Answers of a round that are the same on every sheet or usual at a stop: what they may be.

Only what can be known beforehand: a bottle, a method, why a part is not done there. What is seen, read,
decided or confirmed at the analyzer is typed at the analyzer.
"""

from __future__ import annotations

import typing
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from pydantic import BaseModel

from wqverify.errors import ChooseAnother
from wqverify.plant.files import Problem, read_toml
from wqverify.plant.folder import REGISTER_BYTES, Plant
from wqverify.plant.messages import nearest
from wqverify.plant.rounds import Round
from wqverify.plant.toml_places import Loc
from wqverify.procedures import PROCEDURES
from wqverify.procedures.blank import choices, is_list
from wqverify.procedures.parts import SameAs
from wqverify.procedures.walk import Question, questions
from wqverify.terms import Reading

ROUNDS = "rounds.toml"
# Of the parts all sheets share: who, when and which instrument, and what only the performer can say.
_OF_THE_VISIT = frozenset(
    {"procedure", "tag", "serial_on_plate", "performed_by", "date", "started", "replaces", "replaces_why"}
    | {"copied_from_paper", "cautions", "finished", "status", "cause", "remarks"}
)
# A number in these units, or without one, is chosen beforehand: an interval, a volume, how often. Others are
# read off an instrument.
CHOSEN_UNITS = ("s", "mL", "days", "")


def insist_on_rounds(plant: Plant) -> None:
    """Raise CorrectTheEntry, with a line for each, where a round names what no sheet asks."""
    if not plant.rounds:
        return
    document = read_toml(plant.folder / ROUNDS, REGISTER_BYTES)
    problems = [
        problem
        for index, one in enumerate(plant.rounds.values())
        for problem in _of_round(plant, one, ("round", index))
    ]
    if problems:
        raise document.refusal(problems)


def round_named(plant: Plant, name: str) -> Round:
    """Return a round of rounds.toml; raises ChooseAnother with the nearest name."""
    if name not in plant.rounds:
        hint = nearest(name, plant.rounds) if plant.rounds else f"{ROUNDS} of the plant folder holds none."
        raise ChooseAnother(
            f"There is no round {name[:60]!r}; {hint}", found=name, expected=", ".join(plant.rounds)
        )
    return plant.rounds[name]


def of_sheets(procedures: Iterable[str], answers: Mapping[str, Any], loc: Loc) -> Iterator[Problem]:
    """Give the answers of a shared head that the sheet of one of these procedures does not ask."""
    for name in procedures:
        found = list(_answers(None, name, PROCEDURES[name].Sheet, answers, loc, visit=True))
        yield from found
        if found:
            return


def _of_round(plant: Plant, one: Round, loc: Loc) -> Iterator[Problem]:
    for index, stop in enumerate(one.stops):
        place = (*loc, "stop", index)
        if stop.procedure not in PROCEDURES:
            hint = nearest(stop.procedure, PROCEDURES)
            text = f"the round {one.name} names the procedure {stop.procedure}, which there is not; {hint}"
            yield Problem((*place, "procedure"), text, stop.procedure, ", ".join(PROCEDURES))
        else:
            sheet = PROCEDURES[stop.procedure].Sheet
            yield from _answers(plant, stop.procedure, sheet, stop.usual, (*place, "usual"))
    for name in dict.fromkeys(stop.procedure for stop in one.stops if stop.procedure in PROCEDURES):
        found = list(_answers(plant, name, PROCEDURES[name].Sheet, one.head, (*loc, "head")))
        yield from found
        if found:  # one sheet that does not ask it is enough
            return


def _answers(
    plant: Plant | None,
    procedure: str,
    part: type[BaseModel],
    answers: Mapping[str, Any],
    loc: Loc,
    *,
    visit: bool = False,
) -> Iterator[Problem]:
    """Give what is wrong with answers to a part; ``visit``: those of the visit itself may stand there."""
    asked = {question.name: question for question in questions(part)}
    for name, value in answers.items():
        here = (*loc, name)
        if name not in asked:
            text = f"{name} is no question of the sheet of {procedure}; {nearest(name, asked)}"
            yield Problem(here, text, name)
        elif not visit and loc and loc[-1] in ("head", "usual") and name in _OF_THE_VISIT:
            text = f"{name} is answered at each visit and cannot be usual; delete it here."
            yield Problem(here, text, name)
        else:
            yield from _answer(plant, procedure, part, asked[name], value, here, visit)


def _answer(
    plant: Plant | None,
    procedure: str,
    part: type[BaseModel],
    question: Question,
    value: Any,
    loc: Loc,
    visit: bool,
) -> Iterator[Problem]:
    field = part.model_fields[question.name]
    many = is_list(field)
    wanted = list if many else dict if question.parts else str
    if not isinstance(value, wanted):
        form = {dict: f"a group [… .{question.name}]", str: f'{question.name} = "…"'}
        group = f"a group [[… .{question.name}]] for each"
        shown = form.get(wanted) or (group if question.parts else f'{question.name} = ["…", "…"]')
        yield Problem(loc, f"{question.name} has another form on the sheet of {procedure}; write {shown}.")
    elif not question.parts:
        yield from _leaf(plant, question, choices(field), value, loc, visit, is_number(field))
    else:
        for index, inner in enumerate(value if many else [value]):
            place = (*loc, index) if many else loc
            if isinstance(inner, dict):
                yield from _in_form(plant, procedure, question, inner, place, visit)


def _in_form(
    plant: Plant | None, procedure: str, question: Question, inner: dict[str, Any], loc: Loc, visit: bool
) -> Iterator[Problem]:
    """Take the form of a group that the answers are of: done, not done, or the same as another stage."""
    for form in question.parts:
        if form is SameAs and "same_as" in inner and not visit:
            text = "same_as speaks of readings and cannot be usual; delete it here."
            yield Problem((*loc, "same_as"), text)
            return
        if inner.keys() & form.model_fields.keys() and form is not question.parts[0]:
            yield from _answers(plant, procedure, form, inner, loc, visit=visit)
            return
    yield from _answers(plant, procedure, question.parts[0], inner, loc, visit=visit)


def _leaf(
    plant: Plant | None,
    question: Question,
    words: tuple[str, ...],
    value: Any,
    loc: Loc,
    visit: bool,
    number: bool,
) -> Iterator[Problem]:
    name = question.name
    if not visit and (question.time or (number and question.ask.unit not in CHOSEN_UNITS)):
        what = "time" if question.time else "reading"
        yield Problem(loc, f"{name} is a {what} and cannot be usual: it is typed at the analyzer; delete it.")
        return
    typed = [(loc, value)] if isinstance(value, str) else [((*loc, i), v) for i, v in enumerate(value)]
    for place, text in typed:
        if words and text not in words and not (visit and text == ""):
            yield Problem(place, f"{name} is {text[:40]!r}; it must be one of {', '.join(words)}.", text)
        if plant is not None and question.ask.refers == "standard" and text not in plant.standards:
            yield Problem(
                place, f"{name} is {text[:40]!r}, which standards_on_hand.toml does not hold.", text
            )


def is_number(field: Any) -> bool:
    """Whether a question takes readings."""
    return Reading in _leaves(field.annotation)


def _leaves(annotation: Any) -> Iterator[Any]:
    arguments = typing.get_args(annotation)
    if not arguments:
        yield annotation
    for argument in arguments:
        yield from _leaves(argument)
