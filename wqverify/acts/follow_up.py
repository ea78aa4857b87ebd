"""What a record leaves to be done, such as telling the State, was done: the book keeps when and how."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from wqverify.acts.shared import Tell, local_time, person_of, quiet, settled, typed
from wqverify.book import Entry, RecordState, instant
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.clock import resolve
from wqverify.plant.fields import Notes
from wqverify.plant.folder import Plant
from wqverify.terms import RunningClock, clocks_in


def follow_up(
    plant: Plant, number: str, what: str, by: str, done: str, how: str, now: datetime, tell: Tell = quiet
) -> str | None:
    """Enter that a follow-up of a record was done; None where the book holds this very entry.

    Returns what stands beside the new entry: how late it was done, which entry before it replaces.

    ``what`` is its key as `wqverify today` shows it, ``done`` a time of the plant's clock with its date.
    Entered again with another time or way, the newest counts and both are kept.

    Raises ChooseAnother for a record that is none or does not stand and for a key it does not have,
    CorrectTheEntry for a time that is misspelt or not yet.
    """
    said = typed(Notes, "how it was done", how)
    person = person_of(plant, by)
    at = _moment(plant, done, now)
    book = settled(plant)
    with book.writing() as writer:
        state = book.find(number)
        if state is None or not state.stands:
            found = "not in the book" if state is None else state.state
            raise ChooseAnother(
                f"{number} is {found}; name the record that `wqverify today` shows beside what was done.",
                found=found,
            )
        clock = _clock(state, what)
        _refuse_before(clock, at, number)
        last = state.followed.get(what)
        body = {"by": person.id, "what": what, "done": at, "how": said}
        if last is not None and body.items() <= last.body.items():
            return None
        count = sum(one.event == "followed up" for one in state.events) + 1
        tell(f"entering the follow-up of {number}")
        writer.append(
            "followed up",
            key=f"followed up {number} {count} {what}",
            record=number,
            at=local_time(plant, now),
            body=body,
        )
    tell(f"entered the follow-up of {number}")
    return "; ".join(_beside(clock, at, last))


def _beside(clock: RunningClock, at: str, last: Entry | None) -> Iterator[str]:
    if instant(at) > instant(clock.due):
        yield f"late, it was due {clock.due[:16].replace('T', ' ')}"
    if last is not None:
        before = str(last.body["done"])[:16].replace("T", " ")
        yield f"it stands in place of {before}, entered by {last.body['by']}, which the book keeps"


def _moment(plant: Plant, done: str, now: datetime) -> str:
    day, _, clock = done.strip().partition(" ")
    if not clock:
        raise CorrectTheEntry(
            f"{done[:40]!r} is no day with a time; type when it was done as 2026-05-08 10:00.",
            found=done[:40],
            expected="YYYY-MM-DD HH:MM",
        )
    at = resolve(day, clock, plant.zone)
    if at > now:
        raise CorrectTheEntry(
            f"{done} is later than this computer's clock shows; enter what was done once it was, or correct "
            f"the time.",
            found=done,
            expected=f"not after {local_time(plant, now)[:16].replace('T', ' ')}",
        )
    return at.isoformat(timespec="minutes")


def _refuse_before(clock: RunningClock, at: str, number: str) -> None:
    if clock.since and instant(at) < instant(clock.since):
        since, typed = (text[:16].replace("T", " ") for text in (clock.since, at))
        raise CorrectTheEntry(
            f"{clock.key} of {number} cannot have been done at {typed}, before {since}; correct the time.",
            found=typed,
            expected=f"not before {since}",
        )


def _clock(state: RecordState, what: str) -> RunningClock:
    left = {one.key: one for one in clocks_in(state.facts)}
    if what in left and not left[what].only_by:
        return left[what]
    if what in left:
        raise ChooseAnother(
            f"{what} of {state.number} ends with {left[what].only_by}, not by saying that it was done.",
            found=what,
            expected=left[what].only_by,
        )
    left = {key: one for key, one in left.items() if not one.only_by}
    named = f"it leaves {', '.join(left)}" if left else "it leaves nothing to be done"
    raise ChooseAnother(
        f"{what!r} is no follow-up of {state.number}; {named}.",
        found=what,
        expected=", ".join(left) or "a record that leaves something to be done",
    )
