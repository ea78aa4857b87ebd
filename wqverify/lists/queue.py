"""The queue: what waits for whom, exceptions first, so that a supervisor looks where looking is needed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from typing import Literal

from wqverify.book import Book, Entry, RecordState, has_book, open_book, visits_on_round
from wqverify.book.state import RETURNED, Question
from wqverify.plant.folder import Plant
from wqverify.records.canonical import record_from
from wqverify.show.changes import of_tolerances
from wqverify.terms import Outcome, Record

LATE = timedelta(hours=24)  # from the last time typed on the sheet to its entry; common practice, no source
SKIPPED_FOR = timedelta(days=31)  # how long a skipped check stays a notice; a month, common practice

To = Literal["countersign", "sign", "answer"]
_TO: dict[str, To] = {
    "signed, not countersigned": "countersign",
    "performed, not signed": "sign",
    RETURNED: "answer",
}

# What makes a record an exception, the most pressing first.
KINDS = (
    str(Outcome.FAIL),
    str(Outcome.TOO_CLOSE),
    str(Outcome.NOT_EVALUATED),
    "corrected",
    "late entry",
    "changed tolerance",
    "question",
)


@dataclass(frozen=True)
class Why:
    """Why a record is an exception: one of ``KINDS``, and in words."""

    kind: str
    text: str


@dataclass(frozen=True)
class Waiting:
    """A record that waits, what for, and for whom."""

    number: str
    tag: str
    procedure: str
    performed: str
    by: str  # who performed it
    to: To
    people: tuple[str, ...]  # staff ids it waits for
    exceptions: tuple[Why, ...]
    round: str
    questions: tuple[Question, ...] = ()

    @property
    def rank(self) -> tuple[int, str]:
        """Where it stands in the queue: by its most pressing exception, then by its number."""
        return min((KINDS.index(why.kind) for why in self.exceptions), default=len(KINDS)), self.number


@dataclass(frozen=True)
class Skipped:
    """A check that was due on a round and did not happen."""

    day: str
    round: str
    tag: str
    procedure: str
    why: str
    by: str


@dataclass(frozen=True)
class Queue:
    """What waits, exceptions first and the clean ones round by round; and what was skipped lately."""

    waiting: tuple[Waiting, ...]
    skipped: tuple[Skipped, ...]

    def exceptions(self, to: To) -> list[Waiting]:
        """Return the exceptions that wait for this, the most pressing first."""
        return [one for one in self.waiting if one.to == to and one.exceptions]

    def clean(self, to: To) -> dict[str, list[Waiting]]:
        """Return what waits for this without an exception, by round; those of none under the empty name."""
        rounds: dict[str, list[Waiting]] = {}
        for one in self.waiting:
            if one.to == to and not one.exceptions:
                rounds.setdefault(one.round, []).append(one)
        return dict(sorted(rounds.items(), key=lambda each: (each[0] == "", each[0])))


def queue(plant: Plant, now: datetime) -> Queue:
    """Return what waits for whom in the book of a plant; nothing where there is no book yet."""
    if not has_book(plant.book):
        return Queue((), ())
    book = open_book(plant.book, plant.device)
    waiting = [_waiting(plant, book, state) for state in book.records() if state.state in _TO]
    today = now.astimezone(plant.zone).date()
    return Queue(tuple(sorted(waiting, key=lambda one: one.rank)), tuple(_skipped(book, today)))


def skipped_in(plant: Plant, month: str = "") -> list[Skipped]:
    """Return every check that was entered as skipped, with every reason told, in the order of its entry."""
    book = open_book(plant.book, plant.device)
    return [one for one in map(_said, book.events("skipped")) if one.day.startswith(month)]


def _said(entry: Entry) -> Skipped:
    return Skipped(**{each.name: str(entry.body.get(each.name, "")) for each in fields(Skipped)})


def _waiting(plant: Plant, book: Book, state: RecordState) -> Waiting:
    record, to, by = record_from(book.stored(state.number)), _TO[state.state], str(state.body["by"])
    reviewers = tuple(p.id for p in plant.people.values() if p.may_review and p.id != by)
    return Waiting(
        state.number,
        state.tag,
        state.procedure,
        state.performed,
        by,
        to,
        reviewers if to == "countersign" else (by,),
        tuple(exceptions(state, record)),
        state.round,
        state.questions,
    )


def exceptions(state: RecordState, record: Record) -> Iterator[Why]:
    """Give what about a record a supervisor looks at first, the most pressing first."""
    for kind in KINDS[:3]:
        stages = [stage.replace("_", " ") for stage, outcome in state.outcomes.items() if outcome == kind]
        if stages:
            yield Why(kind, f"{kind}: {', '.join(stages)}")
    if record.replaces:
        yield Why("corrected", f"corrected: replaces {record.replaces}, because {record.replaces_why}")
    if (after := entered_after(record)) > LATE:
        yield Why("late entry", f"late entry: {_hours(after)} after the work")
    for change in of_tolerances(record):
        why = f"because {change.why}" if change.why else "nobody has said why"
        told = f"{change.what}: {change.was or 'none'} -> {change.now or 'none'}, {why}"
        yield Why("changed tolerance", f"changed tolerance: {told}")
    for asked in state.questions:
        yield Why("question", f"question of {asked.by}: {asked.question}")
        if asked.answer:
            yield Why("question", f"answer: {asked.answer}")


def entered_after(record: Record) -> timedelta:
    """Return how long after the last time typed on its sheet a record was entered."""
    worked = max(map(datetime.fromisoformat, record.given.times.values()))
    return datetime.fromisoformat(record.entered) - worked


def _hours(after: timedelta) -> str:
    hours = int(after / timedelta(hours=1))
    return f"{hours} h" if hours < 72 else f"{after.days} days"


def _skipped(book: Book, today: date) -> Iterator[Skipped]:
    """Give what was skipped lately, newest first, with the reason told last; not what was done after all."""
    told: dict[tuple[str, str, str], Skipped] = {}
    for one in map(_said, book.events("skipped")):
        told[one.round, one.tag, one.procedure] = one
    for one in sorted(told.values(), key=lambda each: each.day, reverse=True):
        if date.fromisoformat(one.day) < today - SKIPPED_FOR:
            continue
        if not visits_on_round(book, one.round, one.day, one.tag, one.procedure):
            yield one
