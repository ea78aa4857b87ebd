"""The bytes of the records of a book, one after the other, also out of a book that is damaged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from wqverify.book.entry import entry_of
from wqverify.book.schema import entries, records, stored
from wqverify.errors import RepairTheFolder

if TYPE_CHECKING:
    from wqverify.book.book import Book

same_entry = (records.c.chain == entries.c.chain) & (records.c.seq == entries.c.seq)


@dataclass(frozen=True, slots=True)
class StoredRecord:
    """The bytes of a record and the digest its entry gives them; ``wrong`` says why they cannot be read."""

    number: str
    digest: str
    data: bytes
    wrong: str = ""


def in_month(query: sa.Select[Any], month: str) -> sa.Select[Any]:
    """Return a query on ``records`` for those whose work was done in a month (YYYY-MM, plant time)."""
    return query.where(records.c.performed.startswith(month, autoescape=True)) if month else query


def stored_records(
    book: Book, chain: str, at_once: int, month: str, numbers: Sequence[str] | None
) -> Iterator[StoredRecord]:
    """Yield the stored records of a chain, of a month or of some numbers; none is passed over.

    They are read ``at_once`` at a time; where a page of the file is damaged, one at a time.
    """
    query: sa.Select[Any] = (
        sa.select(entries.c.seq, records.c.number, entries.c.entry, entries.c.hash, stored.c.bytes)
        .join(records, same_entry)
        .join(stored, stored.c.digest == entries.c.stored, isouter=True)
        .where(entries.c.chain == chain)
    )
    query = query if numbers is None else query.where(records.c.number.in_(numbers))
    query, last = in_month(query, month), 0
    while True:
        page = query.where(entries.c.seq > last).order_by(entries.c.seq).limit(at_once)
        try:
            found = _read(book, page)
        except RepairTheFolder:  # where the numbers cannot be read either, there is no going on
            light: sa.Select[Any] = page.with_only_columns(entries.c.seq, records.c.number)
            found = _read(book, light)
            yield from (_one(book, query, row) for row in found)
        else:
            yield from map(_told, found)
        if len(found) < at_once:
            return
        last = found[-1].seq


def _read(book: Book, query: sa.Select[Any]) -> list[Any]:
    with book.reading() as connection:
        return list(connection.execute(query).all())


def _one(book: Book, query: sa.Select[Any], known: Any) -> StoredRecord:
    try:
        (row,) = _read(book, query.where(entries.c.seq == known.seq))
    except RepairTheFolder as problem:
        return StoredRecord(known.number, "", b"", f"the book is damaged at this record ({problem.found})")
    return _told(row)


def _told(row: Any) -> StoredRecord:
    try:
        digest = str(entry_of(row.entry, row.hash).body.get("stored", ""))
    except RepairTheFolder:
        return StoredRecord(row.number, "", b"", "its entry in the book is damaged")
    if row.bytes is None:
        return StoredRecord(row.number, digest, b"", "its bytes are missing from the book")
    return StoredRecord(row.number, digest, bytes(row.bytes))
