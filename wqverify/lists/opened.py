"""What records opened and no later record answered: a doubt to be looked into, an outage, a calibration."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from wqverify.book import Book, RecordState
from wqverify.book.entry import instant

RESTS_ON = "rests_on"  # the fact that names the records whose decisions a record counted


@dataclass(frozen=True)
class Opened:
    """A procedure that a record asks for; ``number`` is the record that opened it."""

    procedure: str
    tag: str
    number: str
    performed: str
    because: str


def opened(book: Book) -> list[Opened]:
    """Return what is opened and not answered, the oldest work first.

    A record answers what the numbers in its fact "answers" opened, by its own procedure. What a superseded
    record opened is answered with the one that replaces it; what a voided one opened is not asked for. A
    procedure that names no numbers answers what was opened for its analyzer before its work began. A record
    that rests on one which no longer stands asks for itself again.
    """
    states = book.telling("opens", "answers", RESTS_ON)
    before = replaced(states)
    done = {(s.procedure, number) for s in states if s.stands for number in _answers(s)}
    standing = [state for state in sorted(states, key=lambda s: s.instant) if state.stands]
    return [
        one
        for state in standing
        for one in _opened(state)
        if not any((one.procedure, n) in done for n in (state.number, *before.get(state.number, ())))
        and not _done_since(book, one)
    ] + [one for state in standing for one in _to_do_anew(book, state)]


def _to_do_anew(book: Book, state: RecordState) -> Iterable[Opened]:
    """Give a record that rests on one which no longer stands: it is to be made again, in its place."""
    for number in filter(None, state.facts.get(RESTS_ON, "").split(", ")):
        other = book.find(number)
        if other is not None and not other.stands:
            because = f"it rests on {number}, which is {other.state}"
            yield Opened(state.procedure, state.tag, state.number, state.performed, because)


def _answers(state: RecordState) -> Iterable[str]:
    return [number for number in state.facts.get("answers", "").split(", ") if number]


def _opened(state: RecordState) -> Iterable[Opened]:
    for procedure, because in state.body.get("opens", ()):
        yield Opened(procedure, state.tag, state.number, state.performed, because)


def _done_since(book: Book, one: Opened) -> bool:
    """Whether a procedure that answers by being done, such as a calibration, was done since."""
    last = book.last_records(one.tag, procedure=one.procedure, limit=1)
    return bool(last) and "answers" not in last[0].facts and last[0].instant > instant(one.performed)


def replaced(states: Iterable[RecordState]) -> dict[str, list[str]]:
    """Return for each record the numbers it replaces, one after the other."""
    by = {str(e.body["by_record"]): s.number for s in states for e in s.events if e.event == "superseded"}
    found: dict[str, list[str]] = {}
    for number in by:
        chain, at = [], number
        while at in by:
            at = by[at]
            chain.append(at)
        found[number] = chain
    return found
