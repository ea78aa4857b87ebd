"""What to tell operations, the laboratory or the customer town about a record, to be read over a radio.

Short sentences in plain words, out of the record's own facts: what it was as found and as left, what it may
be used for now, what stays held, what is in doubt. Nothing is concluded here that the record does not say.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, Literal

from wqverify.show.first_sheet import deciding, earlier_good
from wqverify.show.lookup import is_difference, stage_name, verifies
from wqverify.show.wording import NOT_VERIFIED
from wqverify.terms import Check, Outcome, Place, Quantity, Record

To = Literal["operations", "laboratory", "town"]
LISTENERS: tuple[To, ...] = ("operations", "laboratory", "town")
# Units as they are said; others are read as they stand.
SPOKEN = {
    "%": "percent",
    "°C": "degrees Celsius",
    "°F": "degrees Fahrenheit",
    "mg/L": "milligrams per litre",
    "uS/cm": "microsiemens per centimetre",
    "µS/cm": "microsiemens per centimetre",
    "gpm": "gallons per minute",
    "MGD": "million gallons a day",
    "L/s": "litres per second",
    "m3/h": "cubic metres an hour",
    "ft": "feet",
    "in": "inches",
    "m": "metres",
    "psi": "pounds per square inch",
    "kPa": "kilopascals",
    "mA": "milliamps",
    "mV": "millivolts",
    "pH": "pH",
}
PLACES: dict[Place, str] = {"analyzer": "at the instrument", "control system": "in the control system"}
OUT_OF_USE = (
    ("output_held", "output_released", "The output", "is still held", "was released"),
    ("loop_in_manual", "loop_in_auto", "The loop", "is still in manual", "is back in automatic"),
    ("alarm_blocked", "alarm_restored", "The alarm", "is still blocked", "is restored"),
)
FIGURES = 3  # a listener keeps no more
ZERO = "zero"  # what is read where nothing is: another error than that of a value


def handover(record: Record, to: To, state: str = "") -> tuple[str, ...]:
    """Return the sentences for a listener; ``state`` says where the record stands in the book."""
    return tuple(sentence for part in _parts(record, to, state) for sentence in part)


def _parts(record: Record, to: To, state: str) -> Iterator[Iterator[str]]:
    yield _who(record, to, state)
    for stage, title in _stages(record):
        yield _stage(record, stage, title)
        if stage == "as_found" and to != "town":
            yield _work(record)
    yield _status(record)
    yield _stays(record)
    if to == "operations":
        yield _back(record)
    yield _while_held(record)
    yield _doubts(record)
    yield _next(record)
    yield iter((_read_back(record),))


def _stages(record: Record) -> Iterator[tuple[str, str]]:
    """Give the stages that are told: as found and as left where it was checked, else what there is."""
    found = dict.fromkeys(check.stage for check in record.result.checks if check.counts)
    known = ("as_found", "as_left")
    if any(stage in found or stage in record.sheet for stage in known):
        return iter((stage, stage_name(stage)) for stage in known)
    return iter((stage, stage_name(stage)) for stage in found)


# ---------------------------------------------------------------- who, what, when


def _who(record: Record, to: To, state: str) -> Iterator[str]:
    analyzer, site = record.given.analyzer, record.given.site
    if site.synthetic:
        yield "This is an exercise with an invented plant."
    whom = {"operations": "operations", "laboratory": "the laboratory", "town": "the customer town"}[to]
    performer = record.given.people.get(record.performed_by)
    name = performer.name if performer else record.performed_by
    yield (
        f"This is {site.name} for {whom}, about {analyzer.tag}, {_what(record)}, {analyzer.location}: "
        f"{name}, {_day(record.performed[:10])}, record {record.number}."
    )
    if state.startswith(("superseded", "voided")):
        yield f"Careful: this record is {state}; do not act on it."
    elif state and state != "countersigned" and to != "town":
        yield "It is not countersigned yet."


def _what(record: Record) -> str:
    analyzer = record.given.analyzer
    return " ".join(filter(None, (analyzer.species, analyzer.measures)))


def _day(iso: str) -> str:
    """Return a date as it is said.

    >>> _day("2026-03-12")
    '12 March 2026'
    """
    day = date.fromisoformat(iso)
    return f"{day.day} {day:%B} {day.year}"


# ---------------------------------------------------------------- outcomes


def _stage(record: Record, stage: str, title: str) -> Iterator[str]:
    """Say what a stage came to at the instrument and in the control system."""
    if told := record.result.facts.get(f"told.{stage}"):
        yield told
        if stage == "as_found" and (opinion := record.result.facts.get("told.opinion")):
            yield opinion
        return
    part = record.sheet.get(stage)
    same = str(part.get("same_as", "")) if isinstance(part, Mapping) else ""
    read = same or stage
    if same:
        title = f"{title}, the same as {stage_name(same).lower()},"
    outcomes: dict[Place, Outcome | None] = {p: record.result.outcome(read, p) for p in PLACES}
    judged = {place: outcome for place, outcome in outcomes.items() if outcome is not None}
    if isinstance(part, Mapping) and part.get("not_done"):
        yield f"{title} it was not checked: {_sentence(str(part['not_done']))}"
    elif judged and all(outcome is Outcome.PASS for outcome in judged.values()):
        yield f"{title} it was within its tolerance {' and '.join(_at(record, place) for place in judged)}."
    else:
        for place, outcome in judged.items():
            yield f"{title.removesuffix(',')}, {_at(record, place)}, {_outcome(record, read, place, outcome)}"
    if not judged and part is None and stage == "as_left" and "told.work" not in record.result.facts:
        changed = "It was changed and not checked again" if _changed(record) else "Nothing was changed since"
        yield f"{changed}."


def _at(record: Record, place: Place) -> str:
    here = record.result.here
    return here if here and place == "analyzer" else PLACES[place]


def _outcome(record: Record, stage: str, place: Place, outcome: Outcome) -> str:
    check = deciding(record, stage, place, outcome)
    if outcome is Outcome.NOT_EVALUATED:
        return f"it was not judged: {_sentence(check.reason)}"
    how_far = _how_far(check)
    word = {
        Outcome.PASS: "within its tolerance",
        Outcome.FAIL: "outside its tolerance",
        Outcome.TOO_CLOSE: "too close to its limit to decide",
    }[outcome]
    return f"{how_far}, {word}." if how_far else f"it was {word}."


def _how_far(check: Check) -> str:
    q = check.quantity
    if q is None:
        return ""
    if not (is_difference(check) or check.label.startswith("Error")):
        return f"{check.label} was {_said(q, q.decimal)}"
    what = check.label[0].lower() + check.label[1:] if ZERO in check.label.lower() else "it"
    if not q.decimal:
        return f"{what} read right"
    return f"{what} read {'high' if q.decimal > 0 else 'low'} by {_said(q, abs(q.decimal))}"


def _said(q: Quantity, value: Decimal) -> str:
    """A number with its unit as it is said: at most three figures, none beyond its U; a sign is a word."""
    place = Decimal(1).scaleb(value.adjusted() - FIGURES + 1)
    if q.expanded and (sure := Decimal(q.expanded)):
        place = max(place, min(Decimal(1).scaleb(sure.adjusted() - 1), Decimal(1).scaleb(value.adjusted())))
    coarse = value.quantize(place) if value and value != value.quantize(place) else value
    number = f"{'minus ' if coarse < 0 else ''}{abs(coarse):f}"
    return f"{number} {SPOKEN.get(q.unit, q.unit)}".strip()


def _sentence(text: str) -> str:
    """A reason as typed, ended as a sentence."""
    return text if text.endswith((".", "!", "?")) else f"{text}."


# ---------------------------------------------------------------- work, status, holds


def _done(record: Record, part: str) -> Mapping[str, Any] | None:
    """A part of the sheet that was done, None for one that was not."""
    found = record.sheet.get(part)
    return found if isinstance(found, Mapping) and not found.get("not_done") else None


def _changed(record: Record) -> bool:
    return any(_done(record, part) for part in ("cleaned", "service", "replaced", "adjusted"))


def _work(record: Record) -> Iterator[str]:
    if told := record.result.facts.get("told.work"):
        yield told
        return
    done = [
        word
        for word, parts in (
            ("cleaned or serviced", ("cleaned", "service")),
            ("replaced in part", ("replaced",)),
            ("adjusted", ("adjusted",)),
        )
        if any(_done(record, part) for part in parts)
    ]
    yield f"It was {' and '.join(done)}." if done else "Nothing was cleaned or adjusted."


def _status(record: Record) -> Iterator[str]:
    status = record.sheet.get("status", {})
    state, note = str(status.get("state", "")), str(status.get("note", ""))
    yield f"It is {state}: {_sentence(note)}" if note else f"It is {state}."


def _out(record: Record) -> Iterator[tuple[str, str, str, str, str]]:
    """Give what was taken out of use at a time."""
    return (row for row in OUT_OF_USE if (_done(record, row[0]) or {}).get("at"))


def _is_back(record: Record, undone: str) -> bool:
    return bool((_done(record, undone) or {}).get("at"))


def _stays(record: Record) -> Iterator[str]:
    """Say what stays out of use, since when and why."""
    for done, undone, what, stays, _back_is in _out(record):
        if not _is_back(record, undone):
            reason = str((record.sheet.get(undone) or {}).get("not_done", ""))
            because = f": {_sentence(reason)}" if reason else "."
            yield f"{what} {stays}, since {_clock(record, done)}{because} Somebody has to watch it."


def _back(record: Record) -> Iterator[str]:
    back = [
        f"{what.lower()} {is_back} at {_clock(record, undone)}"
        for _done_at, undone, what, _stay, is_back in _out(record)
        if _is_back(record, undone)
    ]
    if back:
        text = ", ".join(back)
        yield f"{text[0].upper()}{text[1:]}."


def _clock(record: Record, part: str) -> str:
    return record.given.times.get(f"{part}.at", "")[11:16] or "a time the record does not name"


def _while_held(record: Record) -> Iterator[str]:
    """Say from when to when the control system showed no value of the water."""
    since, until = (record.given.times.get(f"{part}.at", "") for part in ("output_held", "output_released"))
    if since:
        end = f"to {until[11:16]}" if until else "on"
        yield f"From {since[11:16]} {end} the control system did not show the water."


# ---------------------------------------------------------------- doubts, next date


def _doubts(record: Record) -> Iterator[str]:
    """Say carefully what a fail as found may mean: how far back and what follows is for people to decide."""
    found = {place: record.result.outcome("as_found", place) for place in PLACES}
    wrong = [place for place, outcome in found.items() if outcome is Outcome.FAIL]
    if not wrong:
        if Outcome.TOO_CLOSE in found.values():
            yield "Whether earlier values were off could not be decided."
        return
    good = earlier_good(record)
    since = (
        f"since record {good.number} of {_day(good.performed[:10])}, which did not fail"
        if good
        else "since its last check within tolerance, which this record does not name"
    )
    where = " and ".join(_at(record, place) for place in wrong)
    yield f"Earlier values {where} may have been off too, {since}."
    yield (
        "How far back, by how much and what follows from it is not decided yet. This does not say that "
        "the water was outside any limit."
    )


def _next(record: Record) -> Iterator[str]:
    told = record.result.facts.get("next_due", "")
    if not verifies(record):
        yield record.result.facts.get("told.verifies", NOT_VERIFIED)
        return
    days = record.given.analyzer.intervals_days.get(record.procedure)
    counted = [check for check in record.result.checks if check.counts]
    if told:
        yield f"The next check is due by {_day(told)}."
    elif all(check.outcome is Outcome.NOT_EVALUATED for check in counted):
        yield "Nothing was judged, so the check is still due."
    elif days is not None:
        due = datetime.fromisoformat(record.performed).date() + timedelta(days=days)
        yield f"The next check is due by {_day(due.isoformat())}."


def _read_back(record: Record) -> str:
    state = record.sheet.get("status", {}).get("state", "")
    stays = [row[2].lower().removeprefix("the ") for row in _out(record) if not _is_back(record, row[1])]
    left = f"{' and '.join(stays)} not back" if stays else "nothing held"
    return f"Please read back: {record.given.analyzer.tag}, {state}, {left}."
