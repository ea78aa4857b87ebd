"""From where a visit stands to what is shown of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from wqverify.entry import offered
from wqverify.entry.around import found
from wqverify.entry.lines import (
    beside_of,
    cautions_of,
    cautions_together,
    held,
    lines_of,
    outcome,
    to_correct,
    trace_of,
)
from wqverify.entry.proposals import Proposal, capital
from wqverify.entry.screen import Choice, Form, Key, Line, Screen, Section
from wqverify.entry.spoken import in_keys
from wqverify.entry.steps import Step
from wqverify.procedures.blank import choices
from wqverify.procedures.usual import is_number
from wqverify.procedures.walk import questions

if TYPE_CHECKING:
    from wqverify.entry.visit import Visit

_KEYS = (
    Key("!", "not done", "not done, because"),
    Key("^", "back", "back"),
    Key("_", "forward", "forward"),
    Key("+", "more", "another one"),
    Key("/", "leave out", "leave it out"),
    Key("=", "same as", "same as an earlier stage"),
    Key("*", "also", "ask something else too"),
    Key("%", "correct", "correct or take back"),
    Key("@", "told by", "somebody else says it"),
    Key("#", "overview", "overview"),
    Key("~", "put away", "wait, pass on, begun by mistake"),
    Key("&", "stop", "stop for now"),
    Key("?", "help", "all keys"),
)
SUGGESTED = "the most telling next"
_SYNTHETIC = " (synthetic data)"
_ASIDE_KEYS = (Key("^", "back", "back without an answer"), Key("&", "stop", "stop for now"))


# ---------------------------------------------------------------- the screen


def screen(visit: Visit, step: Step | None) -> Screen:
    """Return what is shown now."""
    about, folded = visit.about, visit.folded
    frame = Screen(
        "question",
        title=f"{about.procedure.title} of {about.analyzer.tag}{_SYNTHETIC if about.synthetic else ''}",
        sheet=visit.sheet.name,
        state=": ".join(text for text in (put_away(visit), folded.state_text) if text),
        held=held(visit),
        notice=in_keys(visit.notice),
        refused=visit.refused,
    )
    if visit.ended:
        return _with(frame, kind="end", text=visit.ended, keys=())
    if visit.overview:
        return _overview(visit, frame)
    place = _place(visit)
    if visit.aside is not None:
        aside = visit.aside
        return _with(
            frame,
            kind="aside",
            place=place,
            heading=_headings(step) if step else "",
            label=in_keys(aside.label),
            help=aside.help,
            form=aside.form,
            path=aside.path,
            required=not aside.may_be_empty,
            choices=aside.choices,
            keys=_ASIDE_KEYS,
        )
    if step is None:
        return _end(visit, frame)
    if visit.usual_path:
        return _usual(visit, frame, place)
    return _question(visit, step, frame, place)


def put_away(visit: Visit) -> str:
    """Return the state of a sheet, with whom it was passed on to."""
    folded = visit.folded
    return f"passed on to {offered.person(visit, folded.state_to)}" if folded.state_to else folded.state


def _with(frame: Screen, **shown: object) -> Screen:
    return replace(frame, **shown)  # type: ignore[arg-type]


def _question(visit: Visit, step: Step, frame: Screen, place: str) -> Screen:
    ask, about = step.question.ask, visit.about
    standing = found(visit.folded.raw, step.path)
    beside = beside_of(visit, step)
    typed = (
        tuple(standing)
        if step.kind == "list" and standing
        else (standing,)
        if isinstance(standing, str)
        else ()
    )
    proposed = visit.proposal
    if step.kind == "rows" and beside.offers:
        proposed = Proposal(beside.offers[0])
    elif beside.offers and standing is None and visit.voice is None:
        proposed = Proposal(beside.offers[0], SUGGESTED)
    return _with(
        frame,
        place=place,
        heading=_headings(step),
        label=_label(step),
        unit=beside.unit or (about.unit if ask.unit == "analyzer" else ask.unit),
        help=ask.help,
        form="pick" if beside.offers and step.kind == "leaf" else _form(step),
        path=step.path,
        required=step.required and not (step.spare and step.first),
        proposal=proposed.text,
        proposed=proposed.whence,
        standing=typed,
        choices=offered.choices_of(visit, step) or tuple(map(Choice, beside.offers)),
        lines=tuple(lines_of(visit, step, beside)),
        cautions=tuple(cautions_of(visit, step)),
        keys=tuple(_keys(visit, step)),
        trace=trace_of(step, typed, beside, about.unit),
    )


def _headings(step: Step) -> str:
    return capital(", ".join(step.headings))


def _label(step: Step) -> str:
    if step.kind == "rows":
        return f"Another {step.question.ask.label}?"
    return capital(step.question.ask.label)


def _form(step: Step) -> Form:
    if step.kind == "rows":
        return "confirm"
    if step.kind == "form":
        return "word"
    if step.kind == "list":
        return "numbers" if is_number(step.field) else "texts"
    if step.question.time:
        return "time"
    if step.path == "date":
        return "date"
    if choices(step.field):
        return "word"
    if step.question.ask.refers:
        return "pick"
    return "number" if is_number(step.field) else "text"


def _place(visit: Visit) -> str:
    answered = sum(step.stands == "answered" for step in visit.steps)
    to_go = sum(step.stands == "open" for step in visit.steps)
    return f"{answered} answered, about {to_go} to go"


def _keys(visit: Visit, step: Step) -> Iterator[Key]:
    """Give the keys that do something here."""
    standing = found(visit.folded.raw, step.path) is not None
    rows = any(one.kind == "rows" and step.path.startswith(f"{one.path}.") for one in visit.steps)
    here = {
        "not done": bool(step.group),
        "same as": step.same_as and step.kind != "form",
        "more": rows or step.kind == "rows" or (step.kind == "list" and step.stands == "answered"),
        "correct": standing,
        "told by": step.kind in ("leaf", "list"),
        "leave out": step.stands == "open" and (not step.required or bool(step.spare and step.first)),
        "also": bool(also_here(visit)),
    }
    yield from (key for key in _KEYS if here.get(key.do, True))


def also_here(visit: Visit) -> list[Step]:
    """Return the questions of the parts around the one shown that are not asked by themselves."""
    step = visit.step
    parts = [(one, one.path.rpartition(".")[0]) for one in visit.not_asked]
    return [one for one, part in parts if part and step is not None and step.path.startswith(f"{part}.")]


def all_keys(shown: Screen) -> str:
    """Return what each key does."""
    return " · ".join(f"{key.key} {key.label}" for key in shown.keys)


# ---------------------------------------------------------------- usual, overview, end


def _usual(visit: Visit, frame: Screen, place: str) -> Screen:
    told_ = [one for one in visit.usual if one.text]
    return _with(
        frame,
        place=place,
        label="All as usual?",
        help="what is not so is answered one by one",
        form="confirm",
        path=visit.usual_path,
        proposal=offered.ALL_AS_USUAL,
        choices=(Choice(offered.ALL_AS_USUAL), Choice(offered.ONE_BY_ONE)),
        lines=tuple(
            Line("usual", f"{one.label}: {'not done, ' if one.do == 'not done' else ''}{one.text}")
            for one in told_
        ),
        cautions=tuple(cautions_together(visit)),
        keys=tuple(key for key in _KEYS if key.do in ("back", "overview", "put away", "stop", "help")),
    )


def sections(visit: Visit) -> tuple[Section, ...]:
    """Return the parts of the sheet with where they stand."""
    sheet: Any = visit.about.procedure.Sheet
    now = visit.step
    return tuple(
        Section(
            question.name,
            capital(question.ask.label),
            _stands(visit, question.name, now),
        )
        for question in questions(sheet)
    )


def _stands(visit: Visit, name: str, now: Step | None) -> str:
    if now is not None and now.top == name:
        return "now"
    here = [step for step in visit.steps if step.top == name]
    if not here:
        return "not needed"
    if found(visit.folded.raw, f"{name}.not_done"):
        return "not done"
    if any(step.stands == "open" for step in here):
        return "open"
    return "answered" if any(step.stands == "answered" for step in here) else "left out"


def _overview(visit: Visit, frame: Screen) -> Screen:
    parts = sections(visit)
    return _with(
        frame,
        kind="overview",
        place=_place(visit),
        label="Go to which part?",
        form="word",
        path="?overview",
        choices=tuple(Choice(one.path, f"{one.label}: {one.state}") for one in parts),
        sections=parts,
        keys=_ASIDE_KEYS,
    )


def _end(visit: Visit, frame: Screen) -> Screen:
    lines = list(outcome(visit))
    lines += to_correct(visit)
    complete = visit.folded.state == "complete"
    return _with(
        frame,
        kind="end",
        place=_place(visit),
        label="The sheet is written." if complete else "Every question is answered.",
        form="word",
        path="?end",
        choices=(Choice("run", "run: compute, make the record and its page"),)
        if complete
        else (Choice("complete", "complete: write the sheet"),),
        lines=tuple(lines),
        keys=tuple(key for key in _KEYS if key.do in ("back", "overview", "put away", "stop", "help")),
    )
