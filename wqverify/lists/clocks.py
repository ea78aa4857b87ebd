"""Clocks that run: on sheets that are open, and what records leave to be done until somebody says it was."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from wqverify.acts.around import surroundings
from wqverify.book import Book, RecordState
from wqverify.lists.opened import replaced
from wqverify.lists.out_of_use import Where
from wqverify.plant.folder import Plant
from wqverify.procedures import PROCEDURES
from wqverify.terms import Raw, RunningClock, clocks_in
from wqverify.terms.clocks import OF
from wqverify.terms.procedure import no_clocks


@dataclass(frozen=True)
class Running:
    """A clock and what it runs on."""

    clock: RunningClock
    where: Where

    @property
    def due(self) -> datetime:
        return datetime.fromisoformat(self.clock.due)


def on_sheet(plant: Plant, where: Where, raw: Raw, now: datetime) -> Iterator[Running]:
    """Give the clocks that run on a sheet as far as it is typed."""
    procedure = PROCEDURES.get(where.procedure)
    if procedure is None or procedure.clocks is no_clocks or where.tag not in plant.analyzers:
        return
    given, slices = surroundings(plant, procedure, where.tag, lambda: now).around(raw)
    yield from (Running(one, where) for one in procedure.clocks(raw, given, slices) if not one.done)


def on_records(book: Book) -> Iterator[Running]:
    """Give what records leave to be done; of several about one thing (a month, a failure) the newest tells.

    What was followed up on a record that was superseded is so on the one in its place, where that leaves the
    same to be done.
    """
    states = book.telling(OF)
    before = replaced(states)
    known = {state.number: state for state in states}
    about: dict[tuple[str, str, str], list[RecordState]] = {}
    for state in sorted(states, key=lambda one: one.instant):
        if state.stands:
            about.setdefault((state.tag, state.procedure, state.facts.get(OF, "")), []).append(state)
    for several in about.values():
        state = several[-1]
        earlier = [known[n] for one in several for n in before.get(one.number, ()) if n in known]
        done = {(key, _what(one, key)) for one in (*several, *earlier) for key in one.followed}
        where = Where(state.tag, state.procedure, str(state.body.get("by", "")), number=state.number)
        yield from (Running(one, where) for one in clocks_in(state.facts) if (one.key, one.what) not in done)


def _what(state: RecordState, key: str) -> str:
    """What was done: with other figures, such as those of a report, it is another thing."""
    return next((one.what for one in clocks_in(state.facts) if one.key == key), "")
