"""From where a visit stands to what is shown of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from wqverify.entry.around import found, with_answer
from wqverify.entry.journal import JournalLine
from wqverify.entry.proposals import heading, last_time
from wqverify.entry.provisional import provisional
from wqverify.entry.screen import Choice, Form, Key, Line, Screen, Section, Trace
from wqverify.entry.steps import Step
from wqverify.entry.taken import refused_standard
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.blank import choices
from wqverify.procedures.usual import is_number
from wqverify.procedures.walk import questions
from wqverify.terms import Beside, Check, Outcome, Person, Standard

if TYPE_CHECKING:
    from wqverify.entry.visit import Visit

ALL_AS_USUAL, ONE_BY_ONE = "all as usual", "one by one"
LABORATORY, PASS_ON = "wait for the laboratory", "pass it on"
WHY_CORRECTED = ("mistyped", "misread", "misheard", "read again", "typed at the wrong question")
HEARD = ("own eyes", "radio", "phone", "in writing")
# Of the trade, in our words; a reason of one's own can always be typed. Common practice, no source.
_REASONS = (
    "not needed at this visit",
    "no standard at hand that is in date",
    "cannot be reached safely",
    "operations asked not to",
    "no time: called away",
)
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
    Key("~", "put away", "wait or pass on"),
    Key("&", "stop", "stop for now"),
    Key("?", "help", "all keys"),
)
_ASIDE_KEYS = (Key("^", "back", "back without an answer"), Key("&", "stop", "stop for now"))
_MOST_CHOICES = 60  # standards looked at one by one


# ---------------------------------------------------------------- the screen


def screen(visit: Visit, step: Step | None) -> Screen:
    """Return what is shown now."""
    about, folded = visit.about, visit.folded
    frame = Screen(
        "question",
        title=f"{about.procedure.title} of {about.analyzer.tag}",
        sheet=visit.sheet.name,
        state=folded.state if folded.state != "passed on" else f"passed on to {folded.state_to}",
        held=held(visit),
        notice=visit.notice,
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
            heading=heading(step) if step else "",
            label=aside.label,
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
    offered = visit.proposal
    return _with(
        frame,
        place=place,
        heading=_headings(step),
        label=_label(step),
        unit=about.unit if ask.unit == "analyzer" else ask.unit,
        help=ask.help,
        form=_form(step),
        path=step.path,
        required=step.required and not (step.spare and step.first),
        proposal=offered.text,
        proposed=offered.whence,
        standing=typed,
        choices=_choices(visit, step),
        lines=tuple(_lines(visit, step, beside)),
        cautions=tuple(_cautions(visit, step)),
        keys=tuple(_keys(visit, step)),
        trace=_trace(step, typed, beside, about.unit),
    )


def _headings(step: Step) -> str:
    text = ", ".join(step.headings)
    return text[:1].upper() + text[1:]


def _label(step: Step) -> str:
    if step.kind == "rows":
        return f"Another {step.question.ask.label}?"
    text = step.question.ask.label
    return text[:1].upper() + text[1:]


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


# ---------------------------------------------------------------- beside the question


def beside_of(visit: Visit, step: Step) -> Beside:
    """Return what the procedure puts beside a question."""
    name = step.question.ask.beside
    if not name:
        return Beside()
    raw = dict(visit.folded.raw)
    return visit.about.procedure.beside[name](raw, step.path, visit.about.around(raw)[0])


def _lines(visit: Visit, step: Step, beside: Beside) -> Iterator[Line]:
    voice = visit.voice
    if voice is not None:
        read_back = "read back" if voice.read_back == "yes" else "not read back"
        yield Line("who", f"said by {person(visit, voice.by)}, {voice.heard}, {read_back}")
    yield from (Line("value", text) for text in beside.lines)
    yield from running(visit, step)
    refusal = visit.so_far.refusal
    if refusal is not None:
        yield Line("to correct", refusal.message)
    if visit.so_far.contradiction:
        yield Line("to correct", visit.so_far.contradiction)
    last = last_time(step, visit.about)
    if last:
        yield Line("last time", f"{last} ({visit.about.last_day})")


def running(visit: Visit, step: Step) -> Iterator[Line]:
    """Give what the stage under way gives so far, and before a decision what was found."""
    result = visit.so_far.result
    if result is None:
        return
    stages = {check.stage for check in result.checks}
    shown = {step.top} if step.top in stages else stages if step.top in ("decision", "adjusted") else set()
    for check in result.checks:
        if check.stage in shown and check.quantity is not None and check.outcome is not Outcome.NOT_EVALUATED:
            yield Line("running", told(check))
    for value in result.values:
        if value.stage in shown:
            yield Line("running", f"{value.label}: {value.quantity.text} {value.quantity.unit}".rstrip())


def told(check: Check) -> str:
    """Return a check as one line: value, U, limits, outcome."""
    quantity = check.quantity
    assert quantity is not None
    sure = f", U {quantity.expanded}" if quantity.expanded else ""
    limits = f", {check.low} to {check.high}" if check.low or check.high else ""
    return f"{check.label}: {quantity.text} {quantity.unit}{sure}{limits}: {check.outcome}"


def _trace(step: Step, typed: tuple[str, ...], beside: Beside, unit: str) -> Trace | None:
    if step.kind != "list" or not is_number(step.field):
        return None
    low, high, reference = ("" if v is None else str(v) for v in (beside.low, beside.high, beside.reference))
    own = unit if step.question.ask.unit == "analyzer" else step.question.ask.unit
    return Trace(typed, own, reference, low, high)


def _cautions(visit: Visit, step: Step) -> Iterator[str]:
    if step.question.ask.caution:
        yield step.question.ask.caution
    if step.top == "cautions":
        yield from (caution.text for caution in visit.about.procedure.cautions)
        yield "Local codes, the site's own rules and licensed practice come first."


def held(visit: Visit) -> str:
    """Say what is still taken out of use, and since when."""
    raw = visit.folded.raw
    still = [
        f"{what} since {at}"
        for what, done, undone in (
            ("output held", "output_held", "output_released"),
            ("loop in manual", "loop_in_manual", "loop_in_auto"),
            ("alarm blocked", "alarm_blocked", "alarm_restored"),
        )
        if (at := found(raw, f"{done}.at")) and not found(raw, f"{undone}.at")
    ]
    return ", ".join(still)


# ---------------------------------------------------------------- choices


def _choices(visit: Visit, step: Step) -> tuple[Choice, ...]:
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
    return tuple(map(Choice, about.trends)) if refers == "trend" else ()


def _standards(visit: Visit, step: Step) -> Iterator[Choice]:
    """Give the standards a question takes, in date ones that the procedure does not refuse."""
    for name, one in list(visit.about.standards.items())[:_MOST_CHOICES]:
        try:
            odd = refused_standard(step, name, visit.folded.raw, visit.about)
        except (CorrectTheEntry, ChooseAnother):
            continue
        if odd is None:
            yield Choice(name, f"{name}  {one.name}", _until(one))


def _until(one: Standard) -> str:
    lot = f"lot {one.lot}" if one.lot else ""
    date = one.usable_until or one.calibration_due
    what = "usable until" if one.usable_until else "calibration due"
    return ", ".join(part for part in (lot, f"{what} {date}" if date else "") if part)


def forms(visit: Visit, step: Step) -> tuple[Choice, ...]:
    """Return the forms a part can take, the one that fits what was done first."""
    same = same_as(visit, step.path) if step.same_as else ""
    again = Choice("read again")
    first = (
        (Choice(f"same as {same}", f"same as {same.replace('_', ' ')}: nothing was changed since"),)
        if same
        else ()
    )
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
    return tuple(
        Choice(text) for text in dict.fromkeys((*([last] if isinstance(last, str) else []), *_REASONS))
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
    text = ", ".join(words)
    return text[:1].upper() + text[1:]


def row_of(step: Step) -> str:
    """Return the row a step stands in, empty for none.

    >>> import types
    >>> row_of(types.SimpleNamespace(path="as_found.points.1.readings", kind="list"))
    'as_found.points.1'
    """
    parts = step.path.split(".")
    numbers = [n for n, part in enumerate(parts[:-1]) if part.isdigit()]
    return ".".join(parts[: numbers[-1] + 1]) if numbers else ""


def row_label(visit: Visit, row: str) -> str:
    """Return a row in words: "point 2"."""
    step = next(one for one in visit.steps if one.path.startswith(f"{row}."))
    return step.headings[row.count(".") - 1] if row.count(".") <= len(step.headings) else row


def said(visit: Visit, path: str) -> str:
    """Return an answer in words: "readings 2: 7.07"."""
    value = found(visit.folded.raw, path)
    name, _, number = path.rpartition(".")
    step = next((one for one in visit.steps if one.path in (path, name)), None)
    label = step.question.ask.label if step is not None else path
    return f"{label} {int(number) + 1}: {value}" if number.isdigit() else f"{label}: {value}"


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
        proposal=ALL_AS_USUAL,
        choices=(Choice(ALL_AS_USUAL), Choice(ONE_BY_ONE)),
        lines=tuple(
            Line("usual", f"{one.label}: {'not done, ' if one.do == 'not done' else ''}{one.text}")
            for one in told_
        ),
        keys=tuple(key for key in _KEYS if key.do in ("back", "overview", "put away", "stop", "help")),
    )


def sections(visit: Visit) -> tuple[Section, ...]:
    """Return the parts of the sheet with where they stand."""
    sheet: Any = visit.about.procedure.Sheet
    now = visit.step
    return tuple(
        Section(
            question.name,
            question.ask.label[:1].upper() + question.ask.label[1:],
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
    result = visit.so_far.result
    lines = [Line("running", told(c)) for c in (result.checks if result else ()) if c.quantity is not None]
    lines += [
        Line("running", f"{c.label}: {c.outcome}, {c.reason}")
        for c in (result.checks if result else ())
        if c.quantity is None
    ]
    refusal = visit.so_far.refusal
    if refusal is not None:
        lines.append(Line("to correct", refusal.message))
    if visit.so_far.contradiction:
        lines.append(Line("to correct", visit.so_far.contradiction))
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


# ---------------------------------------------------------------- the journal


def answered_at(lines: Iterable[JournalLine], path: str) -> list[datetime]:
    """Return when each reading of a list was stored."""
    return [
        datetime.fromisoformat(line.at)
        for line in lines
        if line.do == "answer" and line.path.rpartition(".")[0] == path
    ]
