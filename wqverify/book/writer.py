"""The one who writes: everything done with it is entered together, or not at all."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from datetime import UTC
from typing import Any

import sqlalchemy as sa

from wqverify.book.entry import EVENTS, GENESIS, OF_THE_ENTRY, Entry, entry_of, instant, link, numbered
from wqverify.book.schema import entries, is_performed, records, stored
from wqverify.records.canonical import digest
from wqverify.terms import Previous


class Writer:
    """Adds entries to the chain of one device inside one transaction; made by ``Book.writing``."""

    def __init__(self, connection: sa.Connection, chain: str) -> None:
        self._connection = connection
        self._chain = chain

    @property
    def head(self) -> Previous:
        """The newest entry of the chain; entry 0 with a digest of zeros where there is none."""
        newest = (
            sa.select(entries.c.seq, entries.c.hash)
            .where(entries.c.chain == self._chain)
            .order_by(entries.c.seq.desc())
            .limit(1)
        )
        row = self._connection.execute(newest).first()
        return Previous(self._chain, row.seq, row.hash) if row else Previous(self._chain, 0, GENESIS)

    def next_number(self, year: int) -> str:
        """Return the number of the next record entered in this year; one that was rolled back comes again."""
        return numbered(self._chain, year, self.count_of(self._chain, year) + 1)

    def known(self, key: str) -> Entry | None:
        """Return the entry that already has this key, in whichever chain."""
        in_nfc = unicodedata.normalize("NFC", key)  # as the canonical text has it
        found = sa.select(entries.c.entry, entries.c.hash).where(entries.c.key == in_nfc)
        row = self._connection.execute(found.order_by(entries.c.chain, entries.c.seq).limit(1)).first()
        return entry_of(row.entry, row.hash, already=True) if row else None

    def append(
        self,
        event: str,
        *,
        key: str,
        at: str,
        body: Mapping[str, Any],
        record: str = "",
        stored: bytes | None = None,
    ) -> Entry:
        """Enter an event and return its entry.

        Parameters
        ----------
        event : str
            One of ``EVENTS``. *performed* needs ``record``, ``stored`` and, in its body, tag, serial,
            procedure, visit and performed (ISO 8601, plant time).
        key : str
            What the event is, whoever enters it: a key that is in the book returns the entry it has
            (``already`` is True) and adds nothing, so that a command may be run again after a kill.
        at : str
            ISO 8601 with offset, by the computer's clock.
        body : mapping
            Plain data that goes into the chain.
        record : str
            The number of the record it is about.
        stored : bytes
            Bytes kept beside the chain; their digest goes into it.

        Raises ValueError where the caller breaks these rules; nothing is then entered.
        """
        known = self.known(key)
        if known is not None:
            return known
        if event not in EVENTS or not OF_THE_ENTRY.isdisjoint(body):
            raise ValueError(f"{event} is no event of the book, or its body uses a word of the entry")
        instant(at)
        if event == "performed" and (stored is None or record != self.next_number(int(record.split("-")[1]))):
            raise ValueError(
                f"{record or 'a record without number'} cannot be the next record of {self._chain}"
            )
        said = {**body, "event": event, "key": key, "record": record, "at": at}
        if stored is not None:
            said["stored"] = digest(stored)
            self._keep(said["stored"], record, stored)
        head = self.head
        text, hashed = link(self._chain, head.seq + 1, head.digest, said)
        entry = entry_of(text, hashed)
        self._insert(entry)
        if event == "performed":
            self._make_findable(entry)
        return entry

    def take_in(self, entry: Entry, data: bytes | None) -> None:
        """Enter an entry of any chain as it was written; ``data`` are the bytes it keeps, None for none.

        Whether it extends its chain is the caller's to know; the database refuses one that does not.
        """
        if data is not None:
            self._keep(str(entry.body["stored"]), entry.record, data)
        self._insert(entry)
        if entry.event == "performed":
            self._make_findable(entry)

    def heads_of(self, chain: str) -> dict[int, str]:
        """Return the digest of every entry of a chain, as this book holds it now."""
        query = sa.select(entries.c.seq, entries.c.hash).where(entries.c.chain == chain)
        return {row.seq: row.hash for row in self._connection.execute(query)}

    def count_of(self, chain: str, year: int) -> int:
        """Return how many records a device has entered in a year.

        They are numbered without a gap, so the newest one tells; they are counted only where that is of
        another year.
        """
        first = numbered(chain, year, 0)[:-4]
        newest = (
            sa.select(entries.c.record)
            .where(entries.c.chain == chain, entries.c.event == "performed")
            .order_by(entries.c.seq.desc())
            .limit(1)
        )
        last = str(self._connection.execute(newest).scalar() or "")
        if last.startswith(first):
            return int(last.removeprefix(first))
        beyond = first + "~"  # comes after every digit
        count = sa.select(sa.func.count()).where(
            is_performed, entries.c.record >= first, entries.c.record < beyond
        )
        return int(self._connection.execute(count).scalar_one())

    def _keep(self, hashed: str, record: str, data: bytes) -> None:
        there = sa.select(stored.c.digest).where(stored.c.digest == hashed)
        if self._connection.execute(there).first() is None:
            self._connection.execute(sa.insert(stored).values(digest=hashed, number=record, bytes=data))

    def _insert(self, entry: Entry) -> None:
        self._connection.execute(
            sa.insert(entries).values(
                chain=entry.chain,
                seq=entry.seq,
                prev=entry.prev,
                hash=entry.digest,
                record=entry.record,
                event=entry.event,
                key=entry.key,
                at=entry.at,
                stored=entry.body.get("stored"),
                entry=entry.text,
            )
        )

    def _make_findable(self, entry: Entry) -> None:
        self._connection.execute(sa.insert(records).values(**findable(entry)))


def findable(entry: Entry) -> dict[str, Any]:
    """Return the line of the table ``records`` that belongs to a *performed* entry."""
    body = entry.body
    return {
        "number": entry.record,
        "chain": entry.chain,
        "seq": entry.seq,
        "tag": body["tag"],
        "serial": body["serial"],
        "procedure": body["procedure"],
        "visit": body["visit"],
        "performed": body["performed"],
        "instant": utc(body["performed"]),
    }


def utc(at: str) -> str:
    """Return an ISO 8601 time with offset as one in UTC that sorts as text."""
    return instant(at).astimezone(UTC).isoformat(timespec="seconds")
