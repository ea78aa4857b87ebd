"""Clocks that run: on sheets that are open, and on the newest record of what stays open for days."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from wqverify.acts.around import surroundings
from wqverify.book import Book
from wqverify.lists.out_of_use import Where
from wqverify.plant.folder import Plant
from wqverify.procedures import PROCEDURES
from wqverify.records.canonical import record_from
from wqverify.terms import Raw, RunningClock
from wqverify.terms.procedure import no_clocks


@dataclass(frozen=True)
class Running:
    """A clock and what it runs on."""

    clock: RunningClock
    where: Where

    @property
    def due(self) -> datetime:
        return datetime.fromisoformat(self.clock.due)


def has_clocks(procedure: str) -> bool:
    """Whether clocks may run on sheets of a procedure."""
    return procedure in PROCEDURES and PROCEDURES[procedure].clocks is not no_clocks


def on_sheet(plant: Plant, where: Where, raw: Raw, now: datetime) -> Iterator[Running]:
    """Give the clocks that run on a sheet as far as it is typed."""
    if has_clocks(where.procedure) and where.tag in plant.analyzers:
        procedure = PROCEDURES[where.procedure]
        given, _slices = surroundings(plant, procedure, where.tag, lambda: now).around(raw)
        yield from _running(procedure.clocks(raw, given), where)


def on_records(plant: Plant, book: Book) -> Iterator[Running]:
    """Give the clocks that run on the newest record of each analyzer by a procedure that has any."""
    for name in filter(has_clocks, PROCEDURES):
        for tag in plant.analyzers:
            for state in book.last_records(tag, procedure=name, limit=1):
                record = record_from(book.stored(state.number))
                where = Where(tag, name, record.performed_by, number=state.number)
                yield from _running(PROCEDURES[name].clocks(dict(record.sheet), record.given), where)


def _running(clocks: tuple[RunningClock, ...], where: Where) -> Iterator[Running]:
    return (Running(clock, where) for clock in clocks if not clock.done)
