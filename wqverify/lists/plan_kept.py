"""How the plan of a month was kept: what was due, what was done and by which record, late, skipped, not done.

A check is due again its interval after the last one that stands, by tag *and* serial. A due date is met by
the first work between that last one and the next due date; where an interval passes without any, the due date
stays unmet and the next one counts from it. Work about a calendar month stands in the list of that month,
whenever it was done.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Literal

from wqverify.book import Book, Stands, has_book, last_standing, open_book, standing_since
from wqverify.errors import CorrectTheEntry
from wqverify.lists.monthly import OfMonth, due_by, every_words, is_monthly, months_of
from wqverify.lists.plan import (
    Period,
    Version,
    Work,
    due_after,
    in_order,
    periods_of,
    title_of,
    versions_of,
    walking_order,
)
from wqverify.lists.queue import Skipped, skipped_in
from wqverify.plant.folder import Plant
from wqverify.terms import Outcome

State = Literal["in time", "late", "first", "skipped", "not done", "not yet due"]
MONTHLY = 0  # days of an interval that is a calendar month
STATES: tuple[State, ...] = ("in time", "late", "first", "skipped", "not done", "not yet due")


@dataclass(frozen=True, slots=True)
class Item:
    """One due date, or one piece of work, of the month.

    ``due`` is None where the instrument had no such record before. ``days_late`` counts to the work; where
    there is none, to the next due date, to the end of the month or to the day the list is made, whichever
    comes first. ``skipped`` holds every reason told for it.
    """

    work: Work
    every: int
    due: date | None
    state: State
    number: str = ""
    done_on: date | None = None
    outcomes: Mapping[str, str] | None = None
    days_late: int = 0
    skipped: tuple[Skipped, ...] = ()
    round: str = ""

    @property
    def title(self) -> str:
        """What the work is called."""
        return title_of(self.work.procedure)

    @property
    def ended(self) -> str:
        """How it ended, and whether the work judged anything: in time alone shows nothing of an analyzer."""
        return f"{self.state}, {self.blind} evaluated" if self.blind else self.state

    @property
    def blind(self) -> str:
        """What of the work could not be evaluated, empty where something of the analyzer was."""
        outcomes = self.outcomes or {}
        main = [said for stage, said in outcomes.items() if stage.startswith(("as_found", "as_left"))]
        if not self.number or any(said != Outcome.NOT_EVALUATED for said in main or outcomes.values()):
            return ""
        nothing = all(said == Outcome.NOT_EVALUATED for said in outcomes.values())
        return "nothing" if nothing else "neither as found nor as left"

    @property
    def interval(self) -> str:
        """How often it is due, in words."""
        return every_words(self.work.procedure, self.every)


@dataclass(frozen=True)
class PlanKept:
    """The plan of a month and how it was kept, as of a day."""

    month: str
    as_of: date
    plan: tuple[str, ...]  # the versions that were in force, each with where it stands
    items: tuple[Item, ...]
    unplanned: tuple[Stands, ...]  # records of the month whose work has no interval in the register

    @property
    def counts(self) -> dict[str, int]:
        """How many items ended how; every state is named, also with none."""
        return {state: sum(item.state == state for item in self.items) for state in STATES}


def plan_kept(plant: Plant, month: str, now: datetime) -> PlanKept:
    """Return how the plan of a month (YYYY-MM) was kept, from the book of a plant; it changes nothing.

    Raises CorrectTheEntry for a month that is none or lies ahead.
    """
    first, end = bounds_of(month)
    today = now.astimezone(plant.zone).date()
    if first > today:
        raise CorrectTheEntry(
            f"{month} lies after this computer's clock ({today}); what is due then, `wqverify due` says.",
            found=month,
            expected=f"a month up to {today:%Y-%m}",
        )
    book = open_book(plant.book, plant.device) if has_book(plant.book) else None
    done = _done(book, first)
    skipped = skipped_in(plant) if book is not None else []
    versions = versions_of(plant, book)
    months = months_of(book)
    kept = kept_in(versions, done, skipped, first, end, today)
    kept += monthly_kept(versions, months, skipped, first, end, today)
    outcomes = _outcomes(book, [item.number for item in kept if item.number])
    rounds, order = walking_order(plant), in_order(plant, sorted({item.work for item in kept}))
    items = [
        _with(item, outcomes.get(item.number), rounds)
        for item in sorted(kept, key=lambda one: (order.index(one.work), one.due or date.min))
    ]
    # What is about a month is an item of that month, not work besides the plan of the one it was done in.
    planned = {(item.work.tag, item.work.procedure) for item in kept}
    numbers = {item.number for item in kept}
    numbers |= {one.number for one in months if (one.tag, one.procedure) in planned}
    unplanned = [one for one in done if first <= _day(one) <= end and one.number not in numbers]
    told = tuple(version.told for version in in_force(versions, first, end))
    return PlanKept(month, min(today, end), told, tuple(items), tuple(unplanned))


def bounds_of(month: str) -> tuple[date, date]:
    """Return the first and the last day of a month; raises CorrectTheEntry for another text.

    >>> [str(day) for day in bounds_of("2026-02")]
    ['2026-02-01', '2026-02-28']
    """
    try:
        first = date.fromisoformat(f"{month}-01")
    except ValueError as problem:
        raise CorrectTheEntry(
            f"{month[:20]!r} is no month; type year and month, such as 2026-05.",
            found=month,
            expected="YYYY-MM",
        ) from problem
    return first, (first + timedelta(days=32)).replace(day=1) - timedelta(days=1)


def in_force(versions: Sequence[Version], first: date, end: date) -> list[Version]:
    """Return the versions of the plan that were in force on a day from the first to the end."""
    found = []
    for place, version in enumerate(versions):
        until = versions[place + 1].since if place + 1 < len(versions) else None
        if (version.since is None or version.since <= end) and (until is None or until > first):
            found.append(version)
    return found


# ---------------------------------------------------------------- pure


def kept_in(
    versions: Sequence[Version],
    done: Sequence[Stands],
    skipped: Sequence[Skipped],
    first: date,
    end: date,
    today: date,
) -> list[Item]:
    """Return the items of the days from the first to the end, as of today.

    ``done`` are records that stand: the newest of each series before the first day, and all since.
    """
    works = {work for work in _works(versions, first, end) if not is_monthly(work.procedure)}
    items: list[Item] = []
    for work in sorted(works):
        mine = [one for one in done if (one.tag, one.serial, one.procedure) == _key(work)]
        told = [one for one in skipped if (one.tag, one.procedure) == (work.tag, work.procedure)]
        series = _Series(work, periods_of(versions, work), sorted(mine, key=_day), told, today)
        items += [item for item in series.items(first, end) if _is_of(item, first, end)]
    return items


def monthly_kept(
    versions: Sequence[Version],
    months: Sequence[OfMonth],
    skipped: Sequence[Skipped],
    first: date,
    end: date,
    today: date,
) -> list[Item]:
    """Return what was due about the month itself, done or not; a record counts for the month it is about."""
    works = {(one.tag, one.procedure): one for one in sorted(_works(versions, first, end))}
    return [
        _of_month(work, [one for one in months if _is_about(one, work, first)], skipped, first, today)
        for work in works.values()
        if is_monthly(work.procedure)
    ]


def _is_about(one: OfMonth, work: Work, first: date) -> bool:
    return (one.tag, one.procedure, one.month) == (work.tag, work.procedure, f"{first:%Y-%m}")


def _of_month(
    work: Work, about: Sequence[OfMonth], skipped: Sequence[Skipped], first: date, today: date
) -> Item:
    due = due_by(work.procedure, f"{first:%Y-%m}")
    if about:
        day = date.fromisoformat(about[0].day)
        late = max(0, (day - due).days)
        return Item(work, MONTHLY, due, "late" if late else "in time", about[0].number, day, None, late)
    mine = [one for one in skipped if (one.tag, one.procedure) == (work.tag, work.procedure)]
    told = tuple(one for one in mine if first.isoformat() <= one.day <= due.isoformat())
    late = max(0, (today - due).days)
    state: State = "skipped" if told else "not done" if late else "not yet due"
    return Item(work, MONTHLY, due, state, days_late=late, skipped=told)


def _works(versions: Sequence[Version], first: date, end: date) -> set[Work]:
    return {work for version in in_force(versions, first, end) for work in version.days}


def _key(work: Work) -> tuple[str, str, str]:
    return work.tag, work.serial, work.procedure


def _day(one: Stands) -> date:
    return date.fromisoformat(one.day)


def _is_of(item: Item, first: date, end: date) -> bool:
    """Whether an item belongs to a month: due in it, done in it, or still waiting when it began."""
    if item.done_on is not None and item.done_on < first:
        return False
    if item.done_on is not None and item.done_on <= end:
        return True
    return item.due is None or item.due <= end


@dataclass(frozen=True)
class _Series:
    """One kind of work on one instrument: its plan, what was done and what was skipped."""

    work: Work
    periods: tuple[Period, ...]
    done: Sequence[Stands]
    skipped: Sequence[Skipped]
    today: date

    def items(self, first: date, end: date) -> Iterator[Item]:
        """Give due dates and work in their order, from the last work before the first day on."""
        before = [one for one in self.done if _day(one) < first]
        if before:
            last = _day(before[-1])
            later = list(self.done[len(before) :])
        elif not (later := [one for one in self.done if _day(one) <= end]):
            yield self._never(end)
            return
        else:
            yield self._first(later[0])
            last = _day(later[0])
            later = [one for one in self.done if one is not later[0]]
        yield from self._after(last, later, first, end)

    def _after(self, last: date, later: list[Stands], first: date, end: date) -> Iterator[Item]:
        since = last + timedelta(days=1)  # what was skipped from this day on is of the due date
        while (found := due_after(self.periods, last)) is not None:
            due, every = found
            again = due_after(self.periods, due)
            until = again[0] if again is not None else date.max
            work = next((one for one in later if _day(one) < until), None)
            if due > end and (work is None or _day(work) > end):
                return
            told = tuple(s for s in self.skipped if since.isoformat() <= s.day < until.isoformat())
            if work is not None:
                yield self._worked(due, every, work, told)
                later, last = later[later.index(work) + 1 :], _day(work)
                since = last + timedelta(days=1)
                continue
            if until > first:
                yield self._missed(due, every, told, min(end, until))
            if again is None:
                return
            last, since = due, until

    def _worked(self, due: date, every: int, work: Stands, told: tuple[Skipped, ...]) -> Item:
        late = max(0, (_day(work) - due).days)
        state: State = "late" if late else "in time"
        return Item(self.work, every, due, state, work.number, _day(work), None, late, told)

    def _missed(self, due: date, every: int, told: tuple[Skipped, ...], until: date) -> Item:
        late = max(0, (min(self.today, until) - due).days)
        state: State = "skipped" if told else "not done" if self.today > due else "not yet due"
        return Item(self.work, every, due, state, "", None, None, late, told)

    def _first(self, work: Stands) -> Item:
        return Item(self.work, self._every(_day(work)), None, "first", work.number, _day(work))

    def _never(self, end: date) -> Item:
        told = tuple(s for s in self.skipped if s.day <= end.isoformat())
        return Item(self.work, self._every(end), None, "skipped" if told else "not done", skipped=told)

    def _every(self, day: date) -> int:
        """Return the interval in force on a day, or the nearest one there is."""
        held = [p.days for p in self.periods if p.since is None or p.since <= day]
        return held[-1] if held else self.periods[0].days


# ---------------------------------------------------------------- from the book


def _done(book: Book | None, first: date) -> list[Stands]:
    if book is None:
        return []
    return [*last_standing(book, before=first.isoformat()), *standing_since(book, first.isoformat())]


def _outcomes(book: Book | None, numbers: Sequence[str]) -> dict[str, Mapping[str, str]]:
    found = [book.find(number) for number in numbers] if book is not None else []
    return {state.number: state.outcomes for state in found if state is not None}


def _with(item: Item, outcomes: Mapping[str, str] | None, rounds: Mapping[tuple[str, str], str]) -> Item:
    return replace(item, outcomes=outcomes, round=rounds.get((item.work.tag, item.work.procedure), ""))
