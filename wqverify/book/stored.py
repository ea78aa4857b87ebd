"""The bytes of the records of a book, one after the other, also out of a book that is damaged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from wqverify.book.entry import digest_of, entry_of
from wqverify.book.schema import entries, records, stored
from wqverify.errors import RepairTheFolder

if TYPE_CHECKING:
    from wqverify.book.book import Book

same_entry = (records.c.chain == entries.c.chain) & (records.c.seq == entries.c.seq)

EXAMINE = "`wqverify book examine` says more"


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

    They are read ``at_once`` at a time; where a page of the file is damaged, one at a time. A record that
    only its entry or only the table of records names comes too, with what is wrong; a month is that of
    either of the two, so that no altered table hides a record.
    """
    query: sa.Select[Any] = (
        sa.select(records.c.seq, records.c.number, entries.c.entry, entries.c.hash, stored.c.bytes)
        .select_from(records)
        .join(entries, same_entry, isouter=True)
        .join(stored, stored.c.digest == entries.c.stored, isouter=True)
        .where(records.c.chain == chain)
    )
    query, last = query if numbers is None else query.where(records.c.number.in_(numbers)), 0
    if month:
        said = records.c.performed.startswith(month, autoescape=True)
        query = query.where(sa.or_(said, _says(month)))
    while True:
        page = query.where(records.c.seq > last).order_by(records.c.seq).limit(at_once)
        try:
            found = _read(book, page)
        except RepairTheFolder:  # where the numbers cannot be read either, there is no going on
            light: sa.Select[Any] = page.with_only_columns(records.c.seq, records.c.number)
            found = _read(book, light)
            yield from (_one(book, query, row) for row in found)
        else:
            yield from map(_told, found)
        if len(found) < at_once:
            break
        last = found[-1].seq
    for row in _read(book, _not_findable(chain, month, numbers)):
        yield StoredRecord(row.record, "", b"", f"it is missing from the table of records, {EXAMINE}")


def _says(month: str) -> sa.ColumnElement[bool]:
    """Whether the text of an entry says that the work was done in a month; a quote within a text has a \\."""
    return entries.c.entry.contains(f'"performed":"{month}', autoescape=True)


def _not_findable(chain: str, month: str, numbers: Sequence[str] | None) -> sa.Select[Any]:
    """Return a query for *performed* entries that the table of records does not know."""
    query = (
        sa.select(entries.c.record)
        .join(records, same_entry, isouter=True)
        .where(entries.c.chain == chain, entries.c.event == "performed", records.c.number.is_(None))
        .order_by(entries.c.seq)
    )
    query = query.where(_says(month)) if month else query
    return query if numbers is None else query.where(entries.c.record.in_(numbers))


def _read(book: Book, query: sa.Select[Any]) -> list[Any]:
    with book.reading() as connection:
        return list(connection.execute(query).all())


def _one(book: Book, query: sa.Select[Any], known: Any) -> StoredRecord:
    try:
        (row,) = _read(book, query.where(records.c.seq == known.seq))
    except RepairTheFolder as problem:
        return StoredRecord(known.number, "", b"", f"the book is damaged at this record ({problem.found})")
    return _told(row)


def _told(row: Any) -> StoredRecord:
    if row.entry is None:
        return StoredRecord(row.number, "", b"", f"its entry is missing from the book, {EXAMINE}")
    try:
        digest = str(entry_of(row.entry, row.hash).body.get("stored", ""))
    except RepairTheFolder:
        return StoredRecord(row.number, "", b"", "its entry in the book is damaged")
    if digest_of(row.entry.encode("utf-8", "backslashreplace")) != row.hash:
        return StoredRecord(row.number, "", b"", f"its entry in the book was altered, {EXAMINE}")
    if row.bytes is None:
        return StoredRecord(row.number, digest, b"", "its bytes are missing from the book")
    return StoredRecord(row.number, digest, bytes(row.bytes))
