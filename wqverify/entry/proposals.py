"""What an answer may be before it is typed: this computer's clock, last time, what is usual.

A reading is never proposed, nor the plate of an instrument: they are looked at.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from wqverify.entry.around import Surroundings, found
from wqverify.entry.provisional import NOT_YET
from wqverify.entry.steps import Step
from wqverify.errors import CorrectTheEntry
from wqverify.plant.clock import resolve
from wqverify.procedures.blank import choices
from wqverify.procedures.parts import Head, Tail
from wqverify.procedures.tail import OUT_OF_USE
from wqverify.procedures.usual import CHOSEN_UNITS, is_number
from wqverify.terms import Outcome, Result

USUAL_PATH = "usual."  # with the part that comes first: the question whether all is as usual
CLOCK, LAST, USUAL = "this computer's clock", "last time", "usual"
# Asked one by one also where the rest is as usual: who and which instrument, what only a person can say.
ONE_BY_ONE = frozenset(
    {"procedure", "tag", "serial_on_plate", "reason", "performed_by", "date"}
    | {"copied_from_paper"}
    | {"replaces", "replaces_why", "cautions", "cause"}
)
PLATE = "serial_on_plate"
STAGES = ("as_found", "after_cleaning", "as_left")
LATER = STAGES[1:]
_HOLDS = frozenset(part for done, undone, _called in OUT_OF_USE for part in (done, undone))
PAPER = "copied_from_paper"  # asked where the visit was written on paper; then no clock answers anything


@dataclass(frozen=True, slots=True)
class Proposal:
    """A text that Enter alone answers, and where it comes from."""

    text: str = ""
    whence: str = ""


def proposal(
    step: Step, raw: Mapping[str, Any], about: Surroundings, result: Result | None, *, together: bool = False
) -> Proposal:
    """Return what an empty answer stands for; empty where it stands for nothing.

    What was seen is proposed only ``together`` with the rest that is as usual, where each line is confirmed.
    """
    ask = step.question.ask
    if step.kind != "leaf" or step.question.name == PLATE:
        return Proposal()
    if step.question.time or step.path == "date":
        alone = step.top in _HOLDS and not together  # that something was held is told, not taken for granted
        alone = alone or (ask.clock and step.first and bool(step.spare))  # there is nothing that it times
        return Proposal() if about.paper or alone or _elsewhere(step) else _clock(step, raw, about)
    if about.paper:  # the paper says it, not last time
        return Proposal(step.field.default, USUAL) if isinstance(step.field.default, str) else Proposal()
    usual = _usual(ask.usual, raw, about)
    if usual and _is_fine(step, result) and (together or "{" in ask.usual or choices(step.field)):
        return Proposal(usual, USUAL)
    if isinstance(step.field.default, str):
        return Proposal(step.field.default, USUAL)
    if above := _above(step, raw):
        return Proposal(above, "as above")
    last = last_time(step, about) if ask.again else ""
    return Proposal(last, LAST) if last else Proposal()


def _usual(text: str, raw: Mapping[str, Any], about: Surroundings) -> str:
    """Return the usual answer with the names it speaks of; empty where one of them is not known yet."""
    performer = about.people.get(str(raw.get("performed_by", "")))
    names = {
        "performer": performer.name if performer else "",
        "told": found(raw, "operations_told.who") or "",
    }
    named = text.format(**names)
    return named if named.strip() else ""


def _above(step: Step, raw: Mapping[str, Any]) -> str:
    """Return the standard that was read at this point of the stage before."""
    if step.question.ask.refers != "standard" or step.top not in LATER:
        return ""
    inside = step.path.partition(".")[2]
    texts = (found(raw, f"{stage}.{inside}") for stage in reversed(STAGES[: STAGES.index(step.top)]))
    return next((text for text in texts if isinstance(text, str)), "")


def is_reading(step: Step) -> bool:
    """Whether a question takes a number read off an instrument; an interval or a volume is chosen."""
    return is_number(step.field) and step.question.ask.unit not in CHOSEN_UNITS


def last_time(step: Step, about: Surroundings) -> str:
    """Return what was answered here at the last visit, empty where nothing was."""
    value = found(about.last, step.path)
    if isinstance(value, list) and value and isinstance(value[-1], str):
        return str(value[-1])
    return value if isinstance(value, str) else ""


def _clock(step: Step, raw: Mapping[str, Any], about: Surroundings) -> Proposal:
    now = about.local()
    if step.path == "date":
        return Proposal(now.date().isoformat(), CLOCK)
    return Proposal(wall_clock(now, str(raw.get("date", "")), about.zone), CLOCK)


def wall_clock(moment: datetime, date: str, zone: tzinfo) -> str:
    """Return a moment as it is typed on a sheet of a date.

    After midnight with its own date, in the hour that is there twice with its offset.
    """
    local, day = moment.astimezone(zone), moment.astimezone(zone).date().isoformat()
    text = f"{local:%H:%M}" if day == date or not date else f"{day} {local:%H:%M}"
    try:
        resolve(date or day, text, zone)
    except CorrectTheEntry:
        return f"{text} {local.isoformat(timespec='minutes')[-6:]}"
    return text


def _is_fine(step: Step, result: Result | None) -> bool:
    """Whether what is usual may be proposed: not that an analyzer that failed is in service."""
    if step.top != "status":
        return True
    every = result.checks if result else ()
    checks = [c for c in every if c.counts and c.place == "analyzer" and NOT_YET not in c.reason]
    left = [check for check in checks if check.stage == LATER[-1]] or checks
    return bool(left) and all(check.outcome is Outcome.PASS for check in left)


# ---------------------------------------------------------------- all as usual


@dataclass(frozen=True, slots=True)
class Usual:
    """One answer of a part of the sheet that is confirmed together with the others."""

    path: str
    label: str
    text: str
    do: str = "answer"  # or "not done", "leave out"


def usual_of(
    still: list[Step], every: list[Step], raw: Mapping[str, Any], about: Surroundings, result: Result | None
) -> tuple[Usual, ...]:
    """Return what the next open steps may be answered with together: as at the last visit, now.

    Those are what all sheets have before and after the work proper. Empty where the last visit is not known:
    the first time every question is asked. What is read, and what only a person can say, is asked alone.
    """
    if not about.last or about.paper:
        return ()
    alone = {step.top for step in every if is_reading(step)}
    if not about.in_round:  # what is taken out of use and back is told one by one, each with its caution
        alone |= _HOLDS
    shared = (Head.model_fields.keys() | Tail.model_fields.keys()) - ONE_BY_ONE - alone
    chosen = list(itertools.takewhile(lambda step: step.top in shared, still))
    return tuple(_told(chosen, raw, about, result))


def _told(
    chosen: list[Step], raw: Mapping[str, Any], about: Surroundings, result: Result | None
) -> Iterator[Usual]:
    texts = {step.path: proposal(step, raw, about, result, together=True).text for step in chosen}
    reasons = {step.group: found(about.last, f"{step.group}.not_done") for step in chosen if step.group}
    # A part that cannot be answered whole is left out whole, or asked.
    lacking = {_part(step) for step in chosen if step.required and not texts[step.path] and _part(step)}
    done: set[str] = set()
    for step in chosen:
        group, part = step.group, _part(step)
        if {group, part} & done:
            continue
        if isinstance(reasons.get(group), str) and not raw.get(group):
            done.add(group)
            yield Usual(group, heading(step, 1), reasons[group], "not done")
        elif part in lacking:
            if step.spare and step.first:
                done.add(part)
                yield Usual(step.spare, heading(step), "", "leave out")
        elif texts[step.path]:
            yield Usual(step.path, heading(step), texts[step.path])
        elif not step.required:
            yield Usual(step.path, heading(step), "", "leave out")


def _part(step: Step) -> str:
    return step.path.rpartition(".")[0]


def _elsewhere(step: Step) -> bool:
    """A clock that is read elsewhere is read, not taken from this computer."""
    return step.question.time and not step.question.in_order and not step.question.ask.clock


def heading(step: Step, depth: int | None = None) -> str:
    """Return the headings of a step with its label, "Output held: at"; of a group ``depth`` of them."""
    words = step.headings[:depth] if depth else (*step.headings, step.question.ask.label)
    return capital(", ".join(words[:-1]) + (": " if len(words) > 1 else "") + words[-1])


def capital(text: str) -> str:
    """Return a text with its first letter large, unless it is written so on purpose.

    >>> capital("output held"), capital("pH readings"), capital("mV")
    ('Output held', 'pH readings', 'mV')
    """
    return text if text[1:2].isupper() else text[:1].upper() + text[1:]
