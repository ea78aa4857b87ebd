"""The plan: which check of which instrument is due every how many days, and since which day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from wqverify.book import Book, Entry, accepted_registers
from wqverify.plant.folder import Plant
from wqverify.procedures import PROCEDURES

_INTERVAL = "interval in days "  # what a snapshot of the register calls an interval, before its procedure


@dataclass(frozen=True, slots=True, order=True)
class Work:
    """A kind of work on one instrument."""

    tag: str
    serial: str
    procedure: str


@dataclass(frozen=True)
class Version:
    """The plan from a day on; the first one has no day: nothing older is known."""

    since: date | None
    told: str  # where it stands
    days: Mapping[Work, int]


@dataclass(frozen=True, slots=True)
class Period:
    """An interval and the days on which it was in force, the last one left out; None is without an end."""

    since: date | None
    until: date | None
    days: int


def versions_of(plant: Plant, book: Book | None) -> tuple[Version, ...]:
    """Return the plan as the book accepted it, version by version; today's register where it holds none."""
    accepted = accepted_registers(book) if book is not None else []
    if not accepted:
        return (Version(None, "analyzers.toml of today; the book holds no accepted register", todays(plant)),)
    found: list[Version] = []
    for entry, snapshot in accepted:
        days = in_snapshot(snapshot)
        if not found:
            found.append(Version(None, f"{_said(entry)}, the first in the book", days))
        elif days != found[-1].days:
            found.append(Version(date.fromisoformat(entry.at[:10]), _said(entry), days))
    return tuple(found)


def _said(entry: Entry) -> str:
    body = entry.body
    return f"register accepted on {entry.at[:10]} by {body.get('by', '?')} ({entry.chain} entry {entry.seq})"


def todays(plant: Plant) -> dict[Work, int]:
    """Return the intervals of the register as it is now."""
    return {
        Work(analyzer.tag, analyzer.serial, procedure): days
        for analyzer in plant.analyzers.values()
        for procedure, days in analyzer.intervals_days.items()
    }


def in_snapshot(snapshot: Mapping[str, Any]) -> dict[Work, int]:
    """Return the intervals that a register had when it was accepted."""
    return {
        Work(tag, str(texts.get("serial", "")), label.removeprefix(_INTERVAL)): int(text)
        for tag, texts in snapshot.get("analyzers", {}).items()
        for label, text in texts.items()
        if label.startswith(_INTERVAL)
    }


def periods_of(versions: Sequence[Version], work: Work) -> tuple[Period, ...]:
    """Return when a kind of work was in the plan, and with which interval."""
    ends = [version.since for version in versions[1:]] + [None]
    return tuple(
        Period(version.since, end, version.days[work])
        for version, end in zip(versions, ends, strict=True)
        if work in version.days
    )


def due_after(periods: Sequence[Period], last: date) -> tuple[date, int] | None:
    """Return when work done on a day is due again, and every how many days; None where it never is.

    That is the first day by which the interval in force on that very day has passed: an interval that is
    shortened makes due at once what has waited longer than it.

    >>> weekly = Period(None, date(2026, 5, 20), 7)
    >>> daily = Period(date(2026, 5, 20), None, 1)
    >>> [due_after([weekly, daily], date(2026, 5, day))[0].day for day in (1, 15, 20)]
    [8, 20, 21]
    """
    for period in periods:
        due = last + timedelta(days=period.days)
        if period.since is not None:
            due = max(due, period.since)
        if period.until is None or due < period.until:
            return due, period.days
    return None


def walking_order(plant: Plant) -> dict[tuple[str, str], str]:
    """Return (tag, procedure) -> round, in the order of the rounds; the round that names it first counts."""
    order: dict[tuple[str, str], str] = {}
    for name, one in plant.rounds.items():
        for stop in one.stops:
            order.setdefault((stop.tag, stop.procedure), name)
    return order


def in_order(plant: Plant, works: Sequence[Work]) -> list[Work]:
    """Return works in walking order of the rounds, then the rest in the order of the register."""
    walked = list(walking_order(plant))
    tags = list(plant.analyzers)

    def place(work: Work) -> tuple[int, int, str, str, str]:
        key = (work.tag, work.procedure)
        here = walked.index(key) if key in walked else len(walked)
        there = tags.index(work.tag) if work.tag in tags else len(tags)
        return here, there, work.tag, work.procedure, work.serial

    return sorted(works, key=place)


def title_of(procedure: str) -> str:
    """Return what a procedure is called; its name where this version does not know it."""
    return PROCEDURES[procedure].title if procedure in PROCEDURES else procedure
