"""What an answer can be picked from: words, standards that fit, people, forms of a part, reasons."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from wqverify.entry.around import found, with_answer
from wqverify.entry.proposals import capital
from wqverify.entry.provisional import provisional
from wqverify.entry.screen import Choice
from wqverify.entry.steps import Step
from wqverify.entry.taken import is_of_kind, refused_standard
from wqverify.entry.tree import is_index
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.blank import choices
from wqverify.procedures.tail import OUT_OF_USE
from wqverify.procedures.walk import questions
from wqverify.terms import Person, Standard

if TYPE_CHECKING:
    from wqverify.entry.visit import Visit

ALL_AS_USUAL, ONE_BY_ONE = "all as usual", "one by one"
LABORATORY, PASS_ON, ASIDE = "wait for the laboratory", "pass it on", "it was begun by mistake"
WHY_BEGUN = ("another analyzer is meant", "another procedure is meant", "begun twice", "to try it out")
WHY_CORRECTED = ("mistyped", "misread", "misheard", "read again", "typed at the wrong question")
HEARD = ("radio", "phone", "in person", "in writing")
# Of the trade, in our words; a reason of one's own can always be typed. Common practice, no source.
_REASONS = (
    "not needed at this visit",
    "no standard at hand that is in date",
    "cannot be reached safely",
    "operations asked not to",
    "no time: called away",
)
_OF_HOLDS = ("nothing acts on this value", "operations keep it live", "operations asked not to")
_HOLDS = frozenset(done for done, _undone, _called in OUT_OF_USE)
MOST_CHOICES = 40  # standards looked at one by one


def choices_of(visit: Visit, step: Step) -> tuple[Choice, ...]:
    about = visit.about
    if step.kind == "rows":
        return (Choice("yes"), Choice("no"))
    if step.kind == "form":
        return forms(visit, step)
    if words := choices(step.field):
        return tuple(map(Choice, words))
    refers = step.question.ask.refers
    if refers == "standard":
        return tuple(_standards(visit, step))
    if refers == "person":
        performs = step.path == "performed_by"
        return tuple(
            Choice(one.id, f"{one.id}  {one.name}")
            for one in about.people.values()
            if one.may_perform or not performs
        )
    if refers == "analyzer":
        return tuple(Choice(one.tag, f"{one.tag}  {one.measures}") for one in about.analyzers.values())
    if refers == "record":
        return tuple(Choice(number, f"{number}  {what}") for number, what in about.records.items())
    return tuple(map(Choice, about.trends)) if refers == "trend" else ()


def _standards(visit: Visit, step: Step) -> Iterator[Choice]:
    """Give the standards a question takes: of its kind, in date, not refused by the procedure."""
    for name, one in fit(visit, step)[:MOST_CHOICES]:
        try:
            odd = refused_standard(step, name, visit.folded.raw, visit.about)
        except (CorrectTheEntry, ChooseAnother):
            continue
        if odd is None:
            yield Choice(name, f"{name}  {one.name}", _until(one))


def fit(visit: Visit, step: Step) -> list[tuple[str, Standard]]:
    """Return the standards on hand of the kind a question asks for that are in date."""
    day = str(visit.folded.raw.get("date", ""))
    dated = [(n, one) for n, one in visit.about.standards.items() if is_of_kind(step, one)]
    return [(n, one) for n, one in dated if (one.usable_until or one.calibration_due or "9") >= day]


def _until(one: Standard) -> str:
    lot = f"lot {one.lot}" if one.lot else ""
    date = one.usable_until or one.calibration_due
    what = "usable until" if one.usable_until else "calibration due"
    return ", ".join(part for part in (lot, f"{what} {date}" if date else "") if part)


def forms(visit: Visit, step: Step) -> tuple[Choice, ...]:
    """Return the forms a part can take, the one that fits what was done first."""
    same = same_as(visit, step.path) if step.same_as else ""
    again = Choice("read again")
    told = f"the same as {same.replace('_', ' ')}: nothing was changed since"
    first = (Choice(f"same as {same}", told),) if same else ()
    return (*first, again, *((Choice("not done", "not done, because"),) if step.group == step.path else ()))


def same_as(visit: Visit, group: str) -> str:
    """Return the earlier stage a part may be the same as by the sheet's own rules, empty for none."""
    raw, about = dict(visit.folded.raw), visit.about
    for stage in ("after_cleaning", "as_found"):
        earlier = found(raw, stage)
        if earlier and "not_done" not in earlier and group != stage:
            tried = with_answer(raw, group, {"same_as": stage})
            if not provisional(about.procedure, tried, about.around).contradiction:
                return stage
    return ""


def reasons(visit: Visit, group: str) -> tuple[Choice, ...]:
    """Return reasons to pick from: that of last time first."""
    last = found(visit.about.last, f"{group}.not_done")
    of_part = _OF_HOLDS if group in _HOLDS else _REASONS
    return tuple(
        Choice(text) for text in dict.fromkeys((*([last] if isinstance(last, str) else []), *of_part))
    )


def person(visit: Visit, who: str) -> str:
    """Return the name of a person by staff id, or what was typed."""
    one: Person | None = visit.about.people.get(who)
    return one.name if one is not None else who


def group_label(visit: Visit, step: Step) -> str:
    """Return the label of the part a step stands in."""
    sheet: Any = visit.about.procedure.Sheet
    top = next(q for q in questions(sheet) if q.name == step.top)
    depth = step.group.count(".")
    words = [top.ask.label, *step.headings[1 : depth + 1]] if depth else [top.ask.label]
    return capital(", ".join(words))


def row_of(step: Step) -> str:
    """Return the row a step stands in, empty for none.

    >>> import types
    >>> row_of(types.SimpleNamespace(path="as_found.points.1.readings", kind="list"))
    'as_found.points.1'
    """
    parts = step.path.split(".")
    numbers = [n for n, part in enumerate(parts[:-1]) if is_index(part)]
    return ".".join(parts[: numbers[-1] + 1]) if numbers else ""


def row_label(visit: Visit, row: str) -> str:
    """Return a row in words: "point 2"."""
    step = next(one for one in visit.steps if one.path.startswith(f"{row}."))
    return step.headings[row.count(".") - 1] if row.count(".") <= len(step.headings) else row


def said(visit: Visit, path: str) -> str:
    """Return an answer in words: "readings 2: 7.07"."""
    value = found(visit.folded.raw, path)
    if isinstance(value, dict):
        return f"{row_label(visit, path)} ({', '.join(_texts(value))})"
    name, _, number = path.rpartition(".")
    step = next((one for one in visit.steps if one.path in (path, name)), None)
    label = step.question.ask.label if step is not None else path
    return f"{label} {int(number) + 1}: {value}" if is_index(number) else f"{label}: {value}"


def _texts(value: Any) -> Iterator[str]:
    """Give the answers in a row, in the order they were given."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for one in value:
            yield from _texts(one)
    else:
        yield str(value)
