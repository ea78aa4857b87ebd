"""What is due and when, in walking order of the rounds, then the rest; and what to take along.

The interval of today's register counts, from the last record that stands of this tag *and* instrument. A stop
that was skipped since is shown with its reason and is still due.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from wqverify.book import Book, Stands, has_book, last_standing, open_book
from wqverify.calculations.turbidity_rule import month_after
from wqverify.lists.monthly import OfMonth, due_by, every_words, is_monthly, months_of, newest_month
from wqverify.lists.plan import (
    Version,
    Work,
    due_after,
    in_order,
    periods_of,
    title_of,
    todays,
    versions_of,
    walking_order,
)
from wqverify.lists.queue import Skipped, skipped_in
from wqverify.lists.take import Needed, Take, needed_by, sheet_of, together, usual_of
from wqverify.plant.folder import Plant

AHEAD_DAYS = 7  # without --until; a week, common practice


@dataclass(frozen=True, slots=True)
class Due:
    """A check and when it is due; ``due`` is None where it was never done on this instrument."""

    work: Work
    every: int
    due: date | None
    overdue: int  # days; 0 where it is not, or was never done
    last: str = ""  # number of the record it counts from
    last_on: date | None = None
    round: str = ""
    skipped: tuple[Skipped, ...] = ()
    needs: tuple[Needed, ...] = ()
    needs_from: str = ""  # where it stands: "usual answers of the round …", "record …"; empty for nowhere
    take: tuple[str, ...] = ()  # keys and tools

    @property
    def title(self) -> str:
        """What the check is called."""
        return title_of(self.work.procedure)

    @property
    def interval(self) -> str:
        """How often it is due, in words."""
        return every_words(self.work.procedure, self.every)


@dataclass(frozen=True)
class DueList:
    """What is due up to a day, in walking order, and what to take along for all of it."""

    today: date
    until: date
    items: tuple[Due, ...]
    take: tuple[Take, ...]
    later: int  # how many checks are due after that day

    @property
    def overdue(self) -> tuple[Due, ...]:
        """What is overdue or was never done."""
        return tuple(item for item in self.items if item.overdue or item.due is None)


def due(plant: Plant, now: datetime, until: date | None = None) -> DueList:
    """Return what is due up to a day, that day included; without one a week ahead."""
    today = now.astimezone(plant.zone).date()
    last_day = until if until is not None else today + timedelta(days=AHEAD_DAYS)
    book = open_book(plant.book, plant.device) if has_book(plant.book) else None
    newest = {_key(one): one for one in last_standing(book)} if book is not None else {}
    told = skipped_in(plant) if book is not None else []
    plan = todays(plant)
    everything = due_of(plan, newest, told, today, versions_of(plant, book))
    everything |= monthly_due(plan, months_of(book), told, today)
    ordered = {work: everything[work] for work in in_order(plant, sorted(everything))}
    chosen = [one for one in ordered.values() if one.due is None or one.due <= last_day]
    rounds = walking_order(plant)
    items = tuple(_with_needs(plant, book, one, rounds) for one in chosen)
    needed = [(item.needs, (item.due or today).isoformat()) for item in items]
    take = together(plant, needed, today.isoformat())
    return DueList(today, last_day, items, take, len(everything) - len(items))


def due_of(
    plan: Mapping[Work, int],
    newest: Mapping[Work, Stands],
    skipped: Sequence[Skipped],
    today: date,
    versions: Sequence[Version] = (),
) -> dict[Work, Due]:
    """Return when each kind of work is due, from the newest record of it that stands.

    ``versions`` of the plan as it was accepted: an interval that was shortened counts from that day on. One
    that is not accepted yet counts as the register has it.
    """
    found = {}
    for work, days in plan.items():
        last = newest.get(work)
        done = date.fromisoformat(last.day) if last is not None else None
        when = _due(work, days, done, versions) if done is not None else None
        found[work] = _item(work, days, when, last, skipped, today)
    return found


def monthly_due(
    plan: Mapping[Work, int], months: Sequence[OfMonth], skipped: Sequence[Skipped], today: date
) -> dict[Work, Due]:
    """Return when work about a calendar month is due: for the month after the latest that has a record."""
    found = {}
    for work, days in plan.items():
        if not is_monthly(work.procedure):
            continue
        last = newest_month(months, work.tag, work.procedure)
        when = due_by(work.procedure, month_after(last.month)) if last is not None else None
        found[work] = _item(work, days, when, last, skipped, today)
    return found


def _item(
    work: Work,
    days: int,
    when: date | None,
    last: Stands | OfMonth | None,
    skipped: Sequence[Skipped],
    today: date,
) -> Due:
    since = last.day if last is not None else ""
    mine = (one for one in skipped if (one.tag, one.procedure) == (work.tag, work.procedure))
    return Due(
        work=work,
        every=days,
        due=when,
        overdue=max(0, (today - when).days) if when is not None else 0,
        last=last.number if last is not None else "",
        last_on=date.fromisoformat(since) if since else None,
        skipped=tuple(one for one in mine if one.day > since),
    )


def _due(work: Work, days: int, done: date, versions: Sequence[Version]) -> date:
    periods = periods_of(versions, work) if versions else ()
    accepted = bool(periods) and periods[-1].until is None and periods[-1].days == days
    found = due_after(periods, done) if accepted else None
    return found[0] if found is not None else done + timedelta(days=days)


def _key(one: Stands) -> Work:
    return Work(one.tag, one.serial, one.procedure)


def _with_needs(plant: Plant, book: Book | None, one: Due, rounds: Mapping[tuple[str, str], str]) -> Due:
    tag, procedure = one.work.tag, one.work.procedure
    name = rounds.get((tag, procedure), "")
    usual = usual_of(plant, tag, procedure)
    sheet, told = usual or {}, f"usual answers of the round {name}" if usual else ""
    needs = needed_by(plant, tag, procedure, sheet)
    if not needs and one.last and book is not None:
        needs = needed_by(plant, tag, procedure, sheet_of(book.stored(one.last)))
        told = f"record {one.last}"
    return replace(
        one, round=name, needs=needs, needs_from=told if needs else "", take=plant.take.get(tag, ())
    )
