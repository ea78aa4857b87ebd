"""What stands beside a question: the procedure's own values, the result so far, last time, cautions."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from pydantic import BaseModel

from wqverify.entry import offered
from wqverify.entry.around import found
from wqverify.entry.proposals import PLATE, last_time
from wqverify.entry.provisional import NOT_YET
from wqverify.entry.screen import Line, Trace
from wqverify.entry.spoken import in_keys
from wqverify.entry.steps import Step
from wqverify.entry.tree import is_index
from wqverify.procedures.tail import OUT_OF_USE
from wqverify.procedures.usual import is_number
from wqverify.procedures.walk import questions
from wqverify.terms import Ask, Beside, Check, Outcome

if TYPE_CHECKING:
    from wqverify.entry.visit import Visit


def beside_of(visit: Visit, step: Step) -> Beside:
    """Return what the procedure puts beside a question."""
    name = step.question.ask.beside
    if not name:
        return Beside()
    raw = dict(visit.folded.raw)
    return visit.about.procedure.beside[name](raw, step.path, visit.about.around(raw)[0])


def lines_of(visit: Visit, step: Step, beside: Beside) -> Iterator[Line]:
    voice = visit.voice
    if voice is not None:
        read_back = "read back" if voice.read_back == "yes" else "not read back"
        yield Line("who", f"said by {offered.person(visit, voice.by)}, {voice.heard}, {read_back}")
    yield from (Line("help", ask.help) for ask in begun_with(visit, step) if ask.help)
    if step.question.ask.refers == "standard":
        more = len(offered.fit(visit, step)) - offered.MOST_CHOICES
        if more > 0:
            yield Line("help", f"{more} more are on hand: type the id")
    yield from (Line("value", text) for text in beside.lines)
    yield from running(visit, step)
    yield from to_correct(visit, step.top)
    reason = found(visit.about.last, f"{step.group}.not_done") if step.group and step.first else None
    if isinstance(reason, str):
        yield Line("last time", f"not done, because {reason} (! offers that)")
    last = "" if step.question.ask.apart else last_time(step, visit.about)
    if last and step.path != PLATE:
        yield Line("last time", f"{last} ({visit.about.last_day})")


def to_correct(visit: Visit, top: str = "") -> Iterator[Line]:
    """Give what on the sheet is refused as it stands: in full in its own part and at the end."""
    refusal, contradiction = visit.so_far.refusal, visit.so_far.contradiction
    if contradiction and not top:  # what is still to be answered would mend most of them
        yield Line("to correct", in_keys(contradiction))
    if refusal is None or (top and refusal.where and found(visit.folded.raw, refusal.where) is None):
        return  # it speaks of what is not answered yet
    place = refusal.where.partition(".")[0]
    if not top or not place or place == top:
        yield Line("to correct", in_keys(refusal.message))
    else:
        yield Line("to correct", f"{place.replace('_', ' ')}: go there with #")


def running(visit: Visit, step: Step) -> Iterator[Line]:
    """Give the checks of the stage under way, and before a decision those of the stage read last."""
    checks = visit.so_far.result.checks if visit.so_far.result else ()
    judged = [c for c in checks if c.quantity is not None and c.outcome is not Outcome.NOT_EVALUATED]
    stages = list(dict.fromkeys(check.stage for check in judged))
    if step.top == "decision" and stages:
        yield from (Line("running", staged(check)) for check in judged if check.stage == stages[-1])
    else:
        here = [check for check in checks if check.stage == step.top]
        yield from (Line("running", told(check)) for check in here if check in judged)
        for reason in dict.fromkeys(check.reason for check in here if check not in judged):
            if NOT_YET not in reason:
                yield Line("running", f"not evaluated: {reason}")


def outcome(visit: Visit) -> Iterator[Line]:
    """Give every check of the visit with its outcome."""
    checks = visit.so_far.result.checks if visit.so_far.result else ()
    for check in checks:
        if check.quantity is not None:
            yield Line("running", staged(check))
        elif NOT_YET not in check.reason:
            yield Line("running", f"{_stage(check)}: {check.label}: {check.outcome}, {check.reason}")


def staged(check: Check) -> str:
    """Return a check as one line with its stage."""
    return f"{_stage(check)}: {told(check)}"


def _limits(check: Check) -> str:
    if check.low and check.high:
        return f"{check.low} to {check.high}"
    return f"at most {check.high}" if check.high else f"at least {check.low}"


def _stage(check: Check) -> str:
    return check.stage.replace("_", " ")


def told(check: Check) -> str:
    """Return a check as one short line: value, U, limits, outcome."""
    quantity = check.quantity
    assert quantity is not None
    sure = f", U {quantity.expanded}" if quantity.expanded else ""
    limits = f", {_limits(check)}" if check.low or check.high else ""
    return f"{check.label}: {quantity.text} {quantity.unit}{sure}{limits}: {check.outcome}"


def trace_of(step: Step, typed: tuple[str, ...], beside: Beside, unit: str) -> Trace | None:
    if step.kind != "list" or not is_number(step.field) or any(" " in text for text in typed):
        return None  # a reading in a unit of its own is not drawn
    low, high, reference = ("" if v is None else str(v) for v in (beside.low, beside.high, beside.reference))
    own = unit if step.question.ask.unit == "analyzer" else step.question.ask.unit
    return Trace(typed, own, reference, low, high)


def cautions_of(visit: Visit, step: Step) -> Iterator[str]:
    """Give the cautions of a question, and of the parts that begin with it."""
    yield from (ask.caution for ask in begun_with(visit, step) if ask.caution)
    if step.question.ask.caution:
        yield step.question.ask.caution
    if step.top == "cautions":
        yield from (caution.text for caution in visit.about.procedure.cautions)
        yield "Local codes, the site's own rules and licensed practice come first."


def cautions_together(visit: Visit) -> Iterator[str]:
    """Give the cautions of the parts that are confirmed together."""
    tops = {one.path.partition(".")[0] for one in visit.usual if one.text}
    sheet: type[BaseModel] = visit.about.procedure.Sheet
    asked = [question.ask for question in questions(sheet) if question.name in tops]
    yield from (ask.caution for ask in asked if ask.caution)


def begun_with(visit: Visit, step: Step) -> Iterator[Ask]:
    """Give how the parts are asked whose first question this is, the outermost first."""
    models: list[type[BaseModel]] = [visit.about.procedure.Sheet]
    names = step.path.split(".")
    for depth, name in enumerate(names[:-1], 1):
        if is_index(name):
            continue
        question = next((q for model in models for q in questions(model) if q.name == name), None)
        if question is None:
            return
        inside = f"{'.'.join(names[:depth])}."
        if next(one for one in visit.steps if one.path.startswith(inside)).path == step.path:
            yield question.ask
        models = list(question.parts)


def held(visit: Visit) -> str:
    """Say what is still taken out of use, and since when."""
    raw = visit.folded.raw
    still = [
        f"{called} since {at}"
        for done, undone, called in OUT_OF_USE
        if (at := found(raw, f"{done}.at")) and not found(raw, f"{undone}.at")
    ]
    return ", ".join(still)
