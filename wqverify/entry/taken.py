"""Whether one answer can be taken: its form, what it names, what the procedure refuses, what is odd."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from wqverify.entry import sure
from wqverify.entry.around import Surroundings, found, with_answer
from wqverify.entry.proposals import is_reading, last_time, wall_clock
from wqverify.entry.provisional import problem_with, refusal_of
from wqverify.entry.screen import Choice
from wqverify.entry.steps import Step
from wqverify.errors import CorrectTheEntry
from wqverify.plant.clock import day, resolve
from wqverify.plant.files import shortened
from wqverify.plant.messages import nearest
from wqverify.procedures.blank import choices, is_list
from wqverify.procedures.usual import is_number
from wqverify.procedures.walk import typed_times
from wqverify.terms import Beside, Reading, Standard

_DATED = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2} ")
_SHORT_TIME = re.compile(r"([0-9]{1,2}):?([0-9]{2})")
INFORMATION = "information only"


@dataclass(frozen=True, slots=True)
class Odd:
    """What is asked before an answer is stored: a sentence, and texts it may be stored as."""

    sentence: str
    ways: tuple[Choice, ...]
    for_information: bool = False  # the standard is kept, and its readings get no pass or fail


def as_typed(text: str) -> str:
    """Return a text without the blanks around it, in Unicode form NFC."""
    return unicodedata.normalize("NFC", text.strip())


def refuse_form(step: Step, text: str) -> None:
    """Raise CorrectTheEntry, in one sentence, where an answer has not the form of its question."""
    problem = problem_with(step.field, [text] if is_list(step.field) else text)
    if problem:
        sentence = problem if problem.startswith(("'", '"')) else f"{shortened(text)}: {problem}"
        raise CorrectTheEntry(sentence, found=text, where=step.path)


def refuse_unknown(step: Step, text: str, about: Surroundings) -> None:
    """Raise CorrectTheEntry where an answer names a standard, person, analyzer or export there is not."""
    known: Mapping[str, Any] | None = {
        "standard": about.standards,
        "person": about.people,
        "analyzer": about.analyzers,
        "trend": dict.fromkeys(about.trends),
    }.get(step.question.ask.refers)
    if known is None or text in known:
        return
    where = {
        "standard": "standards_on_hand.toml",
        "person": "people.toml",
        "analyzer": "analyzers.toml",
        "trend": "the folder trends/",
    }
    file = where[step.question.ask.refers]
    hint = nearest(text, known) if known else f"{file} holds none."
    raise CorrectTheEntry(
        f"{shortened(text)} is not in {file}; {hint}", found=text, expected=", ".join(known), where=step.path
    )


def time_of_day(text: str) -> str:
    """Return 0815 and 8:15 as 08:15; any other text as it is.

    >>> time_of_day("815"), time_of_day("01:30 -05:00")
    ('08:15', '01:30 -05:00')
    """
    match = _SHORT_TIME.fullmatch(text)
    return f"{int(match[1]):02d}:{match[2]}" if match else text


def which_time(text: str, date: str, about: Surroundings) -> Odd | None:
    """Return the two readings of a time in the repeated hour; raises CorrectTheEntry for one there is not."""
    try:
        resolve(date, text, about.zone)
    except CorrectTheEntry as problem:
        both = problem.expected.split(" or ")
        if len(both) != 2:
            raise
        return Odd(problem.message, tuple(map(Choice, both)))
    return None


def which_day(text: str, date: str, about: Surroundings) -> Odd | None:
    """Return the days a clock may be of, on a sheet that stays open for days; none where that is clear."""
    lasts, now = getattr(about.procedure.Sheet, "LASTS", False), about.local()
    if not lasts or about.paper or not date or _DATED.match(text):
        return None
    days = (now.date() - timedelta(days=n) for n in range((now.date() - day(date)).days))
    for latest in days:
        dated = [
            one
            for one in _readings(f"{latest.isoformat()} {text}", about)
            if resolve(date, one, about.zone) <= now + sure.CLOCKS_DIFFER
        ]
        if dated:
            known = (*map(Choice, dated), Choice(f"{date} {text}"))
            ways = (*known, Choice("", "another day, typed with its date"))
            return Odd(f"The sheet is of {date}, and today is {now:%Y-%m-%d}. Of which day is {text}?", ways)
    return None


def _readings(dated: str, about: Surroundings) -> tuple[str, ...]:
    """Return what a clock of a day may stand for: both where it was put back over it, none where forward."""
    try:
        resolve("", dated, about.zone)
    except CorrectTheEntry as problem:
        both = problem.expected.split(" or ")
        return tuple(both) if len(both) == 2 else ()
    return (dated,)


def odd_time(step: Step, text: str, raw: Mapping[str, Any], about: Surroundings) -> Odd | None:
    """Return what is asked about a time: its day, after midnight, later than now, before what came before."""
    if (days := which_day(text, str(raw.get("date", "")), about)) is not None:
        return days
    date = str(raw.get("date", ""))
    moment, now = resolve(date, text, about.zone), about.local()
    latest = _latest(step, raw, about) if step.question.in_order else None
    sentence = sure.about_time(moment, now, latest)
    if not sentence:
        return None
    ways = [Choice(text, f"yes, {text}"), Choice("", "no, type it again")]
    later = wall_clock(moment + timedelta(days=1), date, about.zone)
    if latest and moment < latest <= moment + timedelta(days=1) <= now + sure.CLOCKS_DIFFER:
        ways.insert(0, Choice(later, f"it was after midnight: {later}"))
    return Odd(sentence, tuple(ways))


def _latest(step: Step, raw: Mapping[str, Any], about: Surroundings) -> datetime | None:
    """Return the latest time that stands above in the order of the work."""
    sheet: Any = about.procedure.Sheet
    together = [names for names in sheet.TOGETHER if step.top in names]
    moments = []
    for path, typed in typed_times(sheet, with_answer(raw, step.path, "00:00")).items():
        if path == step.path:
            break
        if any(path.partition(".")[0] in names for names in together):
            continue
        try:
            moments.append(resolve(str(raw.get("date", "")), typed, about.zone))
        except CorrectTheEntry:
            continue  # it is asked about where it stands
    return max(moments, default=None)


def refused_standard(step: Step, text: str, raw: Mapping[str, Any], about: Surroundings) -> Odd | None:
    """Return the way on with a standard that is read for information only; raises what refuses it else."""
    one = about.standards.get(text)
    if one is not None and not is_of_kind(step, one):
        wanted = " or ".join(step.question.ask.kinds)
        return keep(f"{text} is a {one.kind}, and a {wanted} is asked for here. Is it {text}?", text)
    path = f"{step.path}.{len(found(raw, step.path) or [])}" if is_list(step.field) else step.path
    tried = with_answer(raw, path, text)
    refusal = refusal_of(about.procedure, tried, path, about.around)
    if refusal is None:
        return _past(step, text, raw, about)
    if isinstance(refusal, CorrectTheEntry):  # it fits, and something beside it is not typed yet, or wrong
        return keep(refusal.message, text)
    if not step.use or refusal_of(
        about.procedure, with_answer(tried, step.use, INFORMATION), path, about.around
    ):
        raise refusal
    shown = f"{text}, for information only: no pass or fail with it"
    return Odd(refusal.message, (Choice("", "another one"), Choice(text, shown)), for_information=True)


def is_of_kind(step: Step, one: Standard) -> bool:
    """Whether a standard is of a kind that a question asks for: a thermometer is no meter."""
    kinds = step.question.ask.kinds
    return not kinds or any(re.search(rf"\b{re.escape(word)}", one.kind.lower()) for word in kinds)


def _past(step: Step, text: str, raw: Mapping[str, Any], about: Surroundings) -> Odd | None:
    """Ask about a bottle or instrument past its date that the procedure itself does not refuse."""
    one, day = about.standards.get(text), str(raw.get("date", ""))
    if one is None or step.question.ask.refers != "standard":
        return None
    for what, date in (
        ("was usable until", one.usable_until),
        ("was due for calibration on", one.calibration_due),
    ):
        if date and day and date < day:
            return Odd(
                f"{text} {what} {date}, and the work is on {day}. Take another one, or keep it and say so in "
                f"the remarks.",
                (Choice("", "another one"), Choice(text, f"keep {text}")),
            )
    return None


def odd_answer(
    step: Step, text: str, raw: Mapping[str, Any], about: Surroundings, beside: Beside
) -> Odd | None:
    """Return what is asked about an answer before it is stored, None where nothing is odd."""
    sentence = _refused_so_far(step, text, raw, about) if step.kind == "leaf" else ""
    if not sentence and is_free_text(step) and len(text) == 1 and text.isdigit():
        sentence = f"Only {text}? Is that the text?"
    if not sentence and is_number(step.field):
        apart = step.question.ask.apart
        before = found(raw, step.path) if step.kind == "list" and not apart else ()
        own = is_reading(step) and about.analyzer.unit in ("", about.unit)
        own = own and step.question.ask.unit in ("analyzer", about.unit) and not step.question.ask.elevation
        low, high = (about.analyzer.low, about.analyzer.high) if own else (None, None)
        last = "" if apart else last_time(step, about)
        sentence = sure.about_reading(text, before or (), last, low, high)
        if not sentence and not before and not apart:
            sentence = sure.about_first(text, beside, about.analyzer.digit if own else None)
    return keep(sentence, text) if sentence else None


def _refused_so_far(step: Step, text: str, raw: Mapping[str, Any], about: Surroundings) -> str:
    """Return why the procedure would refuse the answer, as far as the sheet is typed."""
    tried = with_answer(raw, step.path, text)
    refusal = refusal_of(about.procedure, tried, step.path, about.around, deep=True)
    return refusal.message if refusal is not None else ""


def is_free_text(step: Step) -> bool:
    """Whether anything may be answered: neither a number nor a time, and none of a list of words."""
    ask = step.question.ask
    return not (is_number(step.field) or step.question.time or choices(step.field) or ask.refers)


def is_more(text: str, seconds: float) -> bool:
    """Whether a typed number of seconds is more than it can have been."""
    return Reading.parse(text).value > Decimal(str(seconds))


def keep(sentence: str, text: str) -> Odd:
    """Ask whether an answer is kept as it was typed."""
    return Odd(sentence, (Choice(text, f"yes, {text}"), Choice("", "no, type it again")))
