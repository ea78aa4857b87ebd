"""What an answer may be before it is typed: this computer's clock, last time, what is usual.

A reading is never proposed, nor the plate of an instrument: they are looked at.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from wqverify.entry.around import Surroundings, found
from wqverify.entry.steps import Step
from wqverify.procedures.parts import Head, Tail
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
PAPER = "copied_from_paper"  # asked where the visit was written on paper; then no clock answers anything


@dataclass(frozen=True, slots=True)
class Proposal:
    """A text that Enter alone answers, and where it comes from."""

    text: str = ""
    whence: str = ""


def proposal(step: Step, raw: Mapping[str, Any], about: Surroundings, result: Result | None) -> Proposal:
    """Return what an empty answer stands for; empty where it stands for nothing."""
    ask, name = step.question.ask, step.question.name
    if step.kind != "leaf" or name == PLATE:
        return Proposal()
    if step.question.time or step.path == "date":
        return Proposal() if about.paper else _clock(step, raw, about)
    if ask.usual and _is_fine(step, result):
        return Proposal(ask.usual, USUAL)
    if isinstance(step.field.default, str):
        return Proposal(step.field.default, USUAL)
    last = last_time(step, about)
    if last and (ask.refers == "person" or step.path in ("cause.opinion", "decision.why")):
        return Proposal()
    return Proposal(last, LAST) if last and not is_reading(step) else Proposal()


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
    return Proposal(wall_clock(now, str(raw.get("date", ""))), CLOCK)


def wall_clock(moment: datetime, date: str) -> str:
    """Return a moment as it is typed on a sheet of a date: with its own date after midnight."""
    day = moment.date().isoformat()
    return f"{moment:%H:%M}" if day == date or not date else f"{day} {moment:%H:%M}"


def _is_fine(step: Step, result: Result | None) -> bool:
    """Whether what is usual may be proposed: not that an analyzer that failed is in service."""
    if step.top != "status":
        return True
    if result is None:
        return False
    last = next((o for s in ("as_left", "as_found") if (o := result.outcome(s)) is not None), None)
    return last is Outcome.PASS


# ---------------------------------------------------------------- all as usual


@dataclass(frozen=True, slots=True)
class Usual:
    """One answer of a part of the sheet that is confirmed together with the others."""

    path: str
    label: str
    text: str
    do: str = "answer"  # or "not done", "leave out"


def usual_of(
    still: list[Step], raw: Mapping[str, Any], about: Surroundings, result: Result | None
) -> tuple[Usual, ...]:
    """Return what the next open steps may be answered with together: as at the last visit, now.

    Those are what all sheets have before and after the work proper. Empty where the last visit is not known:
    the first time every question is asked. What is read, and what only a person can say, is asked alone.
    """
    if not about.last or about.paper:
        return ()
    alone = {step.top for step in still if is_reading(step)}
    shared = (Head.model_fields.keys() | Tail.model_fields.keys()) - ONE_BY_ONE - alone
    chosen = list(itertools.takewhile(lambda step: step.top in shared, still))
    return tuple(_told(chosen, raw, about, result))


def _told(
    chosen: list[Step], raw: Mapping[str, Any], about: Surroundings, result: Result | None
) -> Iterator[Usual]:
    texts = {
        step.path: "" if _elsewhere(step) else proposal(step, raw, about, result).text for step in chosen
    }
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
