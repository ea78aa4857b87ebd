"""What a book knows, read at once: for lists that ask about every visit and every analyzer."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass

import sqlalchemy as sa

from wqverify.book.book import Book, _stands
from wqverify.book.entry import entry_of
from wqverify.book.schema import entries, is_performed, records, stored
from wqverify.book.stored import same_entry

_AT_ONCE = 20  # records read before the database is let go again; the newest mostly say all that is asked


@dataclass(frozen=True)
class KnownVisits:
    """The visits that are in a book."""

    numbers: Mapping[str, str]  # of each visit its newest record, one that stands where there is one
    of_rounds: Set[tuple[str, str, str]]  # title of the round, tag and procedure of records that stand
    standing: Mapping[str, Sequence[str]]  # of each tag the records that stand, newest work first


def known_visits(book: Book) -> KnownVisits:
    """Return the visits of a book, from one look at it."""
    of_a_round = sa.case((entries.c.entry.contains('"round":'), entries.c.entry), else_="")
    query = sa.select(records, _stands().label("stands"), of_a_round.label("entry"), entries.c.hash).join(
        entries, same_entry
    )
    newest_first = query.order_by(records.c.instant.desc(), records.c.chain, records.c.seq.desc())
    with book.reading() as connection:
        rows = connection.execute(newest_first).all()
    entered = sorted(rows, key=lambda row: (row.stands, row.chain, row.seq))
    standing: dict[str, list[str]] = {}
    for row in rows:
        if row.stands:
            standing.setdefault(row.tag, []).append(row.number)
    return KnownVisits(
        {row.visit: row.number for row in entered},
        {
            (str(entry_of(row.entry, row.hash).body.get("round", "")), row.tag, row.procedure)
            for row in rows
            if row.stands and row.entry
        },
        standing,
    )


def stored_one_by_one(book: Book, numbers: Sequence[str]) -> Iterator[tuple[str, bytes]]:
    """Yield the bytes of records in this order, each with its number, reading no further than is asked."""
    query = sa.select(entries.c.record, stored.c.bytes).join(stored, entries.c.stored == stored.c.digest)
    for start in range(0, len(numbers), _AT_ONCE):
        some = numbers[start : start + _AT_ONCE]
        with book.reading() as connection:
            rows = connection.execute(query.where(entries.c.record.in_(some), is_performed)).all()
        found = {row.record: row.bytes for row in rows}
        yield from ((number, found[number]) for number in some if number in found)
