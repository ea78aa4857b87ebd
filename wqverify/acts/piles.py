"""A pile of records for one signature: numbers and whole rounds, and what of them is left out, with why."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from wqverify.acts.rounds import records_of_round
from wqverify.acts.shared import person_of, settled
from wqverify.acts.signatures import PERFORMER, REVIEWER
from wqverify.book import RecordState
from wqverify.book.state import RETURNED
from wqverify.errors import ChooseAnother
from wqverify.plant.folder import Plant
from wqverify.plant.round_folder import read_round
from wqverify.terms import Person


@dataclass(frozen=True)
class Pile:
    """The numbers to sign, those this person signed before, and those of a round left out with why."""

    numbers: tuple[str, ...]
    already: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]


Why = Callable[[RecordState, Person], str]


def pile_to_sign(plant: Plant, names: Sequence[str], staff: str) -> Pile:
    """Return what a performer signs of these numbers and round folders."""
    return _pile(plant, names, staff, PERFORMER.event, _not_to_sign)


def pile_to_review(plant: Plant, names: Sequence[str], staff: str) -> Pile:
    """Return what a reviewer countersigns of these numbers and round folders."""
    return _pile(plant, names, staff, REVIEWER.event, _not_to_review)


def _pile(plant: Plant, names: Sequence[str], staff: str, event: str, why_not: Why) -> Pile:
    """Take numbers as they are, for the signing to judge; of a round leave out what waits for others."""
    book, person = settled(plant), person_of(plant, staff)
    numbers: dict[str, None] = {}
    left_out: dict[str, str] = {}
    folders = [name for name in names if Path(name).is_dir()]
    for name in names:
        if name not in folders:
            numbers[name] = None
            continue
        for state in records_of_round(plant, book, read_round(Path(name))):
            if why := why_not(state, person):
                left_out[state.number] = why
            else:
                numbers[state.number] = None
    already = [number for number in numbers if _signed_by(book.find(number), event, staff)]
    if not numbers and left_out:
        told = "; ".join(f"{number} {why}" for number, why in left_out.items())
        raise ChooseAnother(f"Nothing of this round waits for {person.name} ({staff}): {told}.", found=told)
    to_sign = tuple(number for number in numbers if number not in already)
    return Pile(to_sign, tuple(already), tuple((n, w) for n, w in left_out.items() if n not in numbers))


def _signed_by(state: RecordState | None, event: str, staff: str) -> bool:
    if state is None or not state.stands:
        return False
    return any(entry.event == event and entry.body["by"] == staff for entry in state.events)


def _not_to_sign(state: RecordState, person: Person) -> str:
    if not state.stands:
        return f"is {state.state}"
    performer = state.body["by"]
    return "" if performer == person.id else f"was performed by {performer}, who signs it"


def _not_to_review(state: RecordState, person: Person) -> str:
    if not state.stands:
        return f"is {state.state}"
    if state.state == RETURNED:
        last = state.questions[-1]
        return f"is {RETURNED} by {last.by} and waits for the answer of {state.body['by']}: {last.question}"
    if state.body["by"] == person.id:
        return f"was performed by {person.id}; another person reviews it"
    countersigned = [e.body["by"] for e in state.events if e.event == REVIEWER.event]
    if countersigned and person.id not in countersigned:
        return f"is countersigned by {countersigned[-1]} already"
    return ""
