"""Take in the book of another computer: chains, then pages, then certificates; the rest is told.

Entries come first, so that no page is ever without its entry; a command that was stopped while it copied
pages is finished by running it again. Plain files (register, people, standards, rounds) are never merged: how
they differ is told, and people decide.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from wqverify.acts.carried import Other, opened
from wqverify.acts.certificates_in import take_certificates
from wqverify.acts.joins import begin, end, joins_of
from wqverify.acts.shared import Tell, local_time, person_of, quiet, settled
from wqverify.book import Book, Joined, ended_twice, has_book, join, open_book, undecided
from wqverify.durable import rename_durably, write_part
from wqverify.errors import ChooseAnother, WqverifyError
from wqverify.pages import move_aside, page_path
from wqverify.plant.folder import Plant
from wqverify.plant.snapshot import changes_between, snapshot
from wqverify.records.canonical import digest

_SHOWN = 20  # differences of plain files


@dataclass
class TakenIn:
    """What became of it: sentences, and those among them that name damage or something left behind."""

    chains: list[Joined] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    pages: int = 0


def take_in(plant: Plant, what: str, now: datetime, by: str = "", tell: Tell = quiet) -> TakenIn:
    """Take in a plant folder, the file of a book, or a bundle.

    Raises ChooseAnother where it is none of these, this book itself or of another plant; ResultsDiffer where
    a chain has two histories, and then nothing was taken.
    """
    who = person_of(plant, by).id if by else ""
    book = settled(plant, create=True)
    with opened(what, plant.device) as other:
        theirs, trouble = _their_plant(other)
        _insist_on_another_book(plant, book, other, theirs)
        at = local_time(plant, now)

        def before_the_end(joined: Sequence[Joined]) -> None:
            if joined:
                tell(f"entering what {other.name} holds")
                begin(plant.folder, at, who, plant.device, other.name, joined)

        tell(f"checking the chains of {other.name}")
        done = TakenIn(join(book, other.source, before_the_end))
        for one in done.chains:
            done.told.append(_said(one, plant.device, other.name))
            done.wrong += [*one.faults, *([one.not_taken] if one.not_taken else [])]
        _take_pages(plant, book, other, done, tell)
        done.told += take_certificates(plant, book, other)
        done.told += [trouble] if trouble else _differences(plant, theirs, other.name)
        done.told += _decided_twice(book, done.chains)
    return done


def taken_in(plant: Plant) -> list[str]:
    """Say who took in what and when, on this book."""
    if not has_book(plant.book):
        return []
    return [one.told for one in joins_of(plant.folder, open_book(plant.book, plant.device))]


def _their_plant(other: Other) -> tuple[Plant | None, str]:
    try:
        return other.plant(), ""
    except WqverifyError as problem:
        return None, f"The files of {other.name} could not be compared: {problem.message}"


def _insist_on_another_book(plant: Plant, book: Book, other: Other, theirs: Plant | None) -> None:
    if other.place == book.place:
        raise ChooseAnother(f"{other.name} is the book of this plant folder itself; name the other one.")
    if theirs is not None and theirs.site.name != plant.site.name:
        raise ChooseAnother(
            f"{other.name} is of {theirs.site.name}, this plant folder of {plant.site.name}; nothing was "
            f"taken in. Where it is one plant, write its name alike in both plant.toml.",
            found=theirs.site.name,
            expected=plant.site.name,
        )


def _said(one: Joined, own: str, name: str) -> str:
    """Say what became of a chain."""
    if one.head == one.had:
        ends = f"; {name} ends at entry {one.theirs}" if one.theirs < one.head else ""
        return f"{one.chain}: nothing new ({one.head} entries here{ends})."
    which = f"entry {one.head}" if one.head == one.had + 1 else f"entries {one.had + 1} to {one.head}"
    if one.chain == own:
        return (
            f"{own} is the series this computer writes: {which} put back out of {name}, as out of a copy of "
            f"its own book. If {name} is of another computer in use, give one of the two another name "
            f"(device in plant.toml) before anything is entered."
        )
    count = f"{one.performed} record{'' if one.performed == 1 else 's'}"
    return f"{one.chain}: {which} taken in, with {count}."


# ---------------------------------------------------------------- pages


def _take_pages(plant: Plant, book: Book, other: Other, done: TakenIn, tell: Tell) -> None:
    open_joins = [one for one in joins_of(plant.folder, book) if not one.ended]
    wanted = {
        number
        for one in open_joins
        for chain, (first, last, _digest) in one.chains.items()
        for number in book.records_between(chain, first, last)
    }
    wanted |= {number for number in book.numbers() if not page_path(plant.folder, number).exists()}
    for number in sorted(wanted):
        with book.writing():  # nobody else moves a page meanwhile
            copied, said = _take_page(plant, book, other, number, tell)
        done.pages += copied
        done.told += [said] if said else []
    if done.pages:
        done.told.append(f"{done.pages} page{'' if done.pages == 1 else 's'} copied.")
    end(plant.folder, open_joins)


def _take_page(plant: Plant, book: Book, other: Other, number: str, tell: Tell) -> tuple[bool, str]:
    """Put the newest page of a record in its place; return whether, and what is to be told of it."""
    state = book.find(number)
    if state is None:
        return False, f"{number} is named by an entry, and its own chain was not taken in."
    path = page_path(plant.folder, number)
    here = path.read_bytes() if path.exists() else None
    if here is not None and digest(here) == state.file_digest:
        return False, ""
    data = other.page(number)
    if data is None:
        return (
            False,
            f"The newest page of {number} is not in {other.name}; take it in from where it was signed.",
        )
    if digest(data) != state.file_digest:
        known = digest(data) in {event.body.get("pdf") for event in state.events}
        what = "an older one than the book knows" if known else "not one that was entered, and was not copied"
        return False, f"The page of {number} in {other.name} is {what}; take it in from where it was signed."
    tell(f"copying the page of {number}")
    aside = ""
    if here is not None and not data.startswith(here):  # a signature only ever adds to the end of a page
        aside = f"The page of {number} that was here is another one; it was moved to {move_aside(path)}."
    part = plant.folder / "book" / "taking_in" / path.name
    write_part(part, data)
    path.parent.mkdir(parents=True, exist_ok=True)
    rename_durably(part, path)
    return True, aside


# ---------------------------------------------------------------- what people decide


def _differences(plant: Plant, theirs: Plant | None, name: str) -> Iterator[str]:
    """Say how register, people, standards and rounds differ; nothing of it is changed."""
    if theirs is None:
        return
    rows = [row for row in changes_between(snapshot(theirs), snapshot(plant)) if row[1] != "plant: device"]
    for _about, what, there, here in rows[:_SHOWN]:
        yield f"{what}: {here or 'nothing'} here, {there or 'nothing'} in {name}; nothing was changed."
    if len(rows) > _SHOWN:
        yield f"{len(rows) - _SHOWN} more differences of register, people and standards."
    if plant.rounds != theirs.rounds:
        yield f"rounds.toml is another one in {name}; nothing was changed."


def _decided_twice(book: Book, joined: Sequence[Joined]) -> Iterator[str]:
    """Say what both books decided about one record: what is settled once, what is open each time."""
    had = {one.chain: one.had for one in joined}
    yield from (one.sentence for one in ended_twice(book) if not one.open and one.new_since(had))
    yield from undecided(book)
