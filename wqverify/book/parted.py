"""What two devices decided about one record without knowing of each other; people sort it out.

Joining is a union, so both decisions are in the book. Some leave a question open (two records stand where one
should), some do not (a record voided twice does not stand either way) and are only told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import sqlalchemy as sa

from wqverify.book.book import Book, _stands
from wqverify.book.entry import Entry
from wqverify.book.schema import records
from wqverify.book.state import in_order

VOIDS = "; void what does not belong: wqverify book void NUMBER --by STAFF --why TEXT."


@dataclass(frozen=True)
class Parted:
    """What was decided more than once: in a sentence, with the entries that say so; ``open``: undecided."""

    sentence: str
    entries: tuple[Entry, ...]
    standing: tuple[str, ...]  # records that stand by them
    open: bool

    def new_since(self, heads: Mapping[str, int]) -> bool:
        """Whether one of the entries comes after what each chain had."""
        return any(e.seq > heads.get(e.chain, 0) for e in self.entries if e.chain in heads)


def ended_twice(book: Book) -> list[Parted]:
    """Return the records that were voided or replaced more than once, whatever became of it."""
    ended: dict[str, list[Entry]] = {}
    for entry in book.events("superseded", "voided"):
        ended.setdefault(entry.record, []).append(entry)
    return [_parted(number, some, ended, book) for number, some in sorted(ended.items()) if len(some) > 1]


def _parted(number: str, some: list[Entry], ended: Mapping[str, list[Entry]], book: Book) -> Parted:
    ordered = in_order(some)
    standing = tuple(dict.fromkeys(n for e in ordered for n in _standing(_successor(e), ended, book)))
    told = " and ".join(map(_said, ordered))
    stands = " and ".join(standing)
    left = f"{stands} stand{'s' if len(standing) == 1 else ''}" if standing else "nothing of it stands"
    voided = any(entry.event == "voided" for entry in ordered)
    open_ = len(standing) > (0 if voided else 1)
    return Parted(f"{number} was {told}; {left}{VOIDS if open_ else '.'}", ordered, standing, open_)


def _said(entry: Entry) -> str:
    by = _successor(entry)
    what = f"replaced by {by}" if by else "voided"
    return f"{what} ({entry.chain} entry {entry.seq}, {entry.body.get('by', '?')} on {entry.at[:10]})"


def _successor(entry: Entry) -> str:
    return str(entry.body.get("by_record", ""))


def _standing(number: str, ended: Mapping[str, list[Entry]], book: Book) -> Iterator[str]:
    """Yield what stands of a record: itself, or what it was replaced by in the end."""
    waiting, seen = [number], set[str]()
    while waiting:
        one = waiting.pop()
        if not one or one in seen:
            continue
        seen.add(one)
        waiting += [_successor(entry) for entry in ended.get(one, ())]
        if one not in ended and book.find(one) is not None:
            yield one


def visits_twice(book: Book) -> list[tuple[str, tuple[str, ...]]]:
    """Return the visits of which more than one record stands: (visit, its records). People sort them out."""
    several = sa.select(records.c.visit).where(_stands()).group_by(records.c.visit)
    query = sa.select(records.c.visit, records.c.number).where(
        records.c.visit.in_(several.having(sa.func.count() > 1)), _stands()
    )
    found: dict[str, list[str]] = {}
    with book.reading() as connection:
        for row in connection.execute(query.order_by(records.c.visit, records.c.number)):
            found.setdefault(row.visit, []).append(row.number)
    return [(visit, tuple(numbers)) for visit, numbers in found.items()]


def undecided(book: Book) -> list[str]:
    """Return what stands twice in the book and waits for somebody to decide, a sentence each."""
    parted = [one for one in ended_twice(book) if one.open]
    told = {frozenset(one.standing) for one in parted}
    return [one.sentence for one in parted] + [
        f"{' and '.join(numbers)} are records of one visit ({visit}) and both stand{VOIDS}"
        for visit, numbers in visits_twice(book)
        if frozenset(numbers) not in told
    ]
