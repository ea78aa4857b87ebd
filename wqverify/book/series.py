"""Records that stand, series by series: when each work was done, and the bytes of the records of one tag."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from wqverify.book.book import Book, _stands
from wqverify.book.entry import CHANGES, Entry, entry_of, instant
from wqverify.book.schema import entries, records, stored
from wqverify.book.stored import same_entry

_AT_ONCE = 100  # records read before the database is let go again


@dataclass(frozen=True, slots=True)
class Stands:
    """A record that stands: neither superseded nor voided."""

    number: str
    tag: str
    serial: str
    procedure: str
    performed: str  # ISO 8601 with offset, plant time

    @property
    def day(self) -> str:
        """The day its work began, plant time."""
        return self.performed[:10]


_COLUMNS = (records.c.number, records.c.tag, records.c.serial, records.c.procedure, records.c.performed)
_IN_ORDER = (records.c.instant, records.c.chain, records.c.seq)


def standing_since(book: Book, day: str) -> list[Stands]:
    """Return the records whose work began on a day or later, the oldest work first."""
    query = sa.select(*_COLUMNS).where(records.c.performed >= day, _stands()).order_by(*_IN_ORDER)
    with book.reading() as connection:
        return [Stands(*row) for row in connection.execute(query)]


def last_standing(book: Book, before: str = "") -> list[Stands]:
    """Return the newest record of each tag, instrument and procedure, of all or of work before a day."""
    place = sa.func.row_number().over(
        partition_by=(records.c.tag, records.c.serial, records.c.procedure),
        order_by=(records.c.instant.desc(), records.c.chain, records.c.seq.desc()),
    )
    query = sa.select(*_COLUMNS, place.label("place")).where(_stands())
    if before:
        query = query.where(records.c.performed < before)
    ranked = query.subquery()
    newest = sa.select(*[ranked.c[column.name] for column in _COLUMNS]).where(ranked.c.place == 1)
    with book.reading() as connection:
        return [Stands(*row) for row in connection.execute(newest)]


def stored_of_tag(
    book: Book, tag: str, procedure: str = ""
) -> Iterator[tuple[Stands, Mapping[str, Any], bytes]]:
    """Yield the records of a tag, the oldest work first: what their entry says, and their bytes."""
    wanted = sa.select(records.c.number).where(records.c.tag == tag, _stands()).order_by(*_IN_ORDER)
    if procedure:
        wanted = wanted.where(records.c.procedure == procedure)
    query = (
        sa.select(*_COLUMNS, entries.c.entry, entries.c.hash, stored.c.bytes)
        .join(entries, same_entry)
        .join(stored, stored.c.digest == entries.c.stored)
        .order_by(*_IN_ORDER)
    )
    with book.reading() as connection:
        numbers = list(connection.execute(wanted).scalars())
    for start in range(0, len(numbers), _AT_ONCE):
        some = query.where(records.c.number.in_(numbers[start : start + _AT_ONCE]))
        with book.reading() as connection:
            found = connection.execute(some).all()
        for *columns, entry, hashed, data in found:
            yield Stands(*columns), entry_of(entry, hashed).body, bytes(data)


def accepted_registers(book: Book) -> list[tuple[Entry, Any]]:
    """Return each register as it was accepted, with its entry, the oldest first.

    Those of this device; where it has accepted none, those of all devices in the order of their clocks.
    """
    query = (
        sa.select(entries.c.chain, entries.c.entry, entries.c.hash, stored.c.bytes)
        .join(stored, entries.c.stored == stored.c.digest)
        .where(entries.c.event.in_(CHANGES))
    )
    with book.reading() as connection:
        rows = connection.execute(query.order_by(entries.c.chain, entries.c.seq)).all()
    own = [row for row in rows if row.chain == book.chain]
    accepted = [(entry_of(row.entry, row.hash), json.loads(row.bytes)) for row in own or rows]
    return accepted if own else sorted(accepted, key=lambda each: instant(each[0].at))
