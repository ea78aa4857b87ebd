"""The record book: a set of chains, one per device, in one database."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from wqverify.book.database import Database
from wqverify.book.entry import CHANGES, Entry, checked_chain, entry_of, instant
from wqverify.book.schema import FORMAT, entries, is_performed, records, stored
from wqverify.book.sqlite_file import SqliteFile, make_file
from wqverify.book.state import RecordState, in_order
from wqverify.book.stored import StoredRecord, in_month, same_entry, stored_records
from wqverify.book.writer import Writer, utc
from wqverify.errors import ChooseAnother, CouldNotRun, RepairTheFolder
from wqverify.plant.address import is_address

TIMEOUT_S = 60.0
AT_ONCE = 100  # rows read before the database is let go again


class Book:
    """The book of a plant, as one device writes it. Made by ``open_book``."""

    def __init__(self, database: Database, chain: str) -> None:
        self.database = database
        self.chain = chain

    @property
    def place(self) -> str:
        """What ``open_book`` opens this book by: a file, or the address of a server."""
        return self.database.place

    # ------------------------------------------------------------ writing

    @contextmanager
    def writing(self) -> Iterator[Writer]:
        """Give a Writer that nobody else can get ahead of; what it did is entered at the end of the block.

        An exception inside the block leaves the book as it was. Raises CouldNotRun when another program
        keeps the book longer than a minute, or the disk is full or read-only.
        """
        with (
            self.database.in_words(),
            self.database.connect(writing=True) as connection,
            connection.begin(),
        ):
            yield Writer(connection, self.chain)

    # ------------------------------------------------------------ reading

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """Give a connection that sees one state of the book. Be quick: a writer waits for it to close."""
        with self.database.in_words():
            try:
                with self.database.connect(writing=False) as connection:
                    yield connection
            except UnicodeDecodeError as problem:  # sqlite3 cannot say what it found: a damaged schema
                raise self.database.damaged("its schema is no text") from problem

    def chains(self) -> list[str]:
        """Return the names of the chains in the book."""
        with self.reading() as connection:
            return list(
                connection.execute(sa.select(entries.c.chain).distinct().order_by(entries.c.chain)).scalars()
            )

    def heads(self) -> dict[str, tuple[int, str]]:
        """Return for each chain the number and digest of its newest entry."""
        newest = sa.select(entries.c.chain, sa.func.max(entries.c.seq).label("seq")).group_by(entries.c.chain)
        last = newest.subquery()
        found = sa.select(entries.c.chain, entries.c.seq, entries.c.hash).join(
            last, (entries.c.chain == last.c.chain) & (entries.c.seq == last.c.seq)
        )
        with self.reading() as connection:
            rows = connection.execute(found.order_by(entries.c.chain)).all()
        return {row.chain: (row.seq, row.hash) for row in rows}

    def digest_at(self, chain: str, seq: int) -> str:
        """Return the digest of one entry, empty where it is not here."""
        query = sa.select(entries.c.hash).where(entries.c.chain == chain, entries.c.seq == seq)
        with self.reading() as connection:
            return str(connection.execute(query).scalar() or "")

    def records_between(self, chain: str, first: int, last: int) -> set[str]:
        """Return the records that entries of a chain are about, from one entry to another."""
        query = sa.select(entries.c.record).where(
            entries.c.chain == chain, entries.c.seq.between(first, last), entries.c.record != ""
        )
        with self.reading() as connection:
            return set(connection.execute(query).scalars())

    def rows(self, query: sa.Select[Any], chain: str) -> Iterator[Any]:
        """Yield the rows of a query on ``entries`` in the order of a chain, a hundred at a time.

        Between two times the database is let go: a long examination must not keep anybody from entering.
        Nothing is missed, as entries are only ever added at the end.
        """
        ordered = query.where(entries.c.chain == chain).order_by(entries.c.seq).limit(AT_ONCE)
        page = ordered
        while True:
            with self.reading() as connection:
                found = connection.execute(page).all()
            yield from found
            if len(found) < AT_ONCE:
                return
            page = ordered.where(entries.c.seq > found[-1].seq)

    def entries(self, chain: str | None = None) -> Iterator[Entry]:
        """Yield the entries of one chain, or of all, in order."""
        query = sa.select(entries.c.seq, entries.c.entry, entries.c.hash)
        for name in self.chains() if chain is None else [chain]:
            for row in self.rows(query, name):
                yield entry_of(row.entry, row.hash)

    def export_lines(self, chain: str | None = None) -> Iterator[str]:
        """Yield the canonical text of each entry, one a line, for an auditor.

        The digest of a line is SHA-256 over "wqverify-book-1", a line feed and the line without its own;
        the next line of the same chain names it as ``prev``.
        """
        query = sa.select(entries.c.seq, entries.c.entry)
        for name in self.chains() if chain is None else [chain]:
            yield from (row.entry for row in self.rows(query, name))

    def find(self, number: str) -> RecordState | None:
        """Return what the book knows of a record, None where it does not know it."""
        with self.reading() as connection:
            return next(iter(_states(connection, [number])), None)

    def stored(self, number: str) -> bytes:
        """Return the bytes of the record.json of a record; raises ChooseAnother where there is none."""
        query = sa.select(stored.c.bytes).join(entries, entries.c.stored == stored.c.digest)
        with self.reading() as connection:
            data = connection.execute(query.where(entries.c.record == number, is_performed)).scalar()
        if data is None:
            raise ChooseAnother(
                f"The book {self.database.name} holds no record {number}; see `wqverify book list`.",
                found=number,
            )
        return bytes(data)

    def numbers(self) -> set[str]:
        """Return the numbers of all records."""
        with self.reading() as connection:
            return set(connection.execute(sa.select(records.c.number)).scalars())

    def records(self, month: str = "") -> Iterator[RecordState]:
        """Yield all records in the order of their numbers, or those whose work was done in a month.

        ``month`` is YYYY-MM in plant time.
        """
        query = sa.select(entries.c.seq, records.c.number).join(records, same_entry)
        for chain in self.chains():
            numbers = [row.number for row in self.rows(in_month(query, month), chain)]
            for start in range(0, len(numbers), AT_ONCE):
                with self.reading() as connection:
                    found = _states(connection, numbers[start : start + AT_ONCE])
                yield from found

    def numbers_of(self, month: str = "") -> Iterator[str]:
        """Yield the numbers of all records, or of those of a month, in their order."""
        query = sa.select(entries.c.seq, records.c.number).join(records, same_entry)
        for chain in self.chains():
            yield from (row.number for row in self.rows(in_month(query, month), chain))

    def count(self, month: str = "") -> int:
        """Return how many records there are, or how many of a month."""
        query = in_month(sa.select(sa.func.count()).select_from(records), month)
        with self.reading() as connection:
            return int(connection.execute(query).scalar_one())

    def iterate_stored(self, month: str = "", numbers: Sequence[str] | None = None) -> Iterator[StoredRecord]:
        """Yield the bytes of all records, of those of a month, or of these numbers, to run them again.

        What cannot be read in a damaged book comes with the reason, and the next record follows.
        """
        for chain in self.chains():
            yield from stored_records(self, chain, AT_ONCE, month, numbers)

    def last_records(
        self,
        tag: str,
        *,
        serial: str | None = None,
        procedure: str | None = None,
        before: str = "",
        limit: int = 10,
    ) -> list[RecordState]:
        """Return the newest records of a tag that stand (not superseded, not voided), newest work first.

        ``before`` is an ISO 8601 time with offset: only work that began earlier.
        """
        query = sa.select(records.c.number).where(records.c.tag == tag, _stands())
        for column, wanted in ((records.c.serial, serial), (records.c.procedure, procedure)):
            if wanted is not None:
                query = query.where(column == wanted)
        if before:
            query = query.where(records.c.instant < utc(before))
        newest = query.order_by(records.c.instant.desc(), records.c.chain, records.c.seq.desc()).limit(limit)
        with self.reading() as connection:
            return _states(connection, list(connection.execute(newest).scalars()))

    def standing_on(self, days: Sequence[str], tag: str, procedure: str) -> list[RecordState]:
        """Return the records of a tag and procedure that stand and whose work began on these days.

        ``days`` are YYYY-MM-DD in plant time; the oldest work comes first.
        """
        query = sa.select(records.c.number).where(
            records.c.tag == tag,
            records.c.procedure == procedure,
            sa.func.substr(records.c.performed, 1, 10).in_(days),
            _stands(),
        )
        ordered = query.order_by(records.c.instant, records.c.chain, records.c.seq)
        with self.reading() as connection:
            return _states(connection, list(connection.execute(ordered).scalars()))

    def begun_between(self, start: str, end: str, tags: Sequence[str] = ()) -> list[RecordState]:
        """Return the records that stand and whose work began from start to end, the oldest first.

        ``start`` and ``end`` are ISO 8601 times with offset, both included; without ``tags`` of all
        analyzers.
        """
        query = sa.select(records.c.number).where(
            records.c.instant >= utc(start), records.c.instant <= utc(end), _stands()
        )
        if tags:
            query = query.where(records.c.tag.in_(tags))
        ordered = query.order_by(records.c.instant, records.c.chain, records.c.seq)
        with self.reading() as connection:
            return _states(connection, list(connection.execute(ordered).scalars()))

    def telling(self, *words: str) -> list[RecordState]:
        """Return the records whose *performed* entry holds one of these keys, in the order of the chains.

        The text is looked at, not read: what a key of this name means is up to who asks.
        """
        holds = [entries.c.entry.contains(f'"{word}":', autoescape=True) for word in words]
        query = sa.select(entries.c.seq, entries.c.record).where(is_performed, sa.or_(*holds))
        numbers = [row.record for chain in self.chains() for row in self.rows(query, chain)]
        with self.reading() as connection:
            return _states(connection, numbers)

    def record_of_visit(self, visit: str) -> RecordState | None:
        """Return the newest record of a visit, preferring one that stands."""
        query = sa.select(records.c.number).where(records.c.visit == visit)
        with self.reading() as connection:
            found = _states(
                connection, list(connection.execute(query.order_by(records.c.chain, records.c.seq)).scalars())
            )
        return max(enumerate(found), key=lambda each: (each[1].stands, each[0]))[1] if found else None

    # ------------------------------------------------------------ the register as it was accepted

    def accepted_snapshot(self) -> Any:
        """Return the plain data this device last accepted as its register, None before the first time."""
        last = sa.select(sa.func.max(entries.c.seq)).where(
            entries.c.chain == self.chain, entries.c.event.in_(CHANGES), entries.c.stored.is_not(None)
        )
        query = sa.select(stored.c.bytes).join(entries, entries.c.stored == stored.c.digest)
        with self.reading() as connection:
            data = connection.execute(
                query.where(entries.c.chain == self.chain, entries.c.seq == last.scalar_subquery())
            ).scalar()
        return None if data is None else json.loads(data)

    def events(self, *names: str) -> list[Entry]:
        """Return the entries of these events, chain by chain in order."""
        query = sa.select(entries.c.seq, entries.c.entry, entries.c.hash).where(entries.c.event.in_(names))
        return [entry_of(row.entry, row.hash) for chain in self.chains() for row in self.rows(query, chain)]

    def accepted_changes(self, since: Entry | None = None) -> list[dict[str, str]]:
        """Return the changes this device accepted, each with at, by, why and what its row says.

        ``since`` is an entry: only changes accepted after it, by the order of the chain where it is one
        chain, by the clocks of the two devices otherwise.
        """
        query = sa.select(entries.c.seq, entries.c.entry, entries.c.hash).where(entries.c.event.in_(CHANGES))
        told = []
        for row in self.rows(query, self.chain):
            entry = entry_of(row.entry, row.hash)
            if since is None or _after(entry, since):
                said = {"at": entry.at, "by": entry.body.get("by", ""), "why": entry.body.get("why", "")}
                told += [{**said, **change} for change in entry.body.get("changes", ())]
        return told


def _after(entry: Entry, since: Entry) -> bool:
    if entry.chain == since.chain:
        return entry.seq > since.seq
    return instant(entry.at) >= instant(since.at)


def _stands() -> sa.ColumnElement[bool]:
    """Whether a record is neither superseded nor voided."""
    ended = entries.alias()
    return ~sa.exists().where(ended.c.record == records.c.number, ended.c.event.in_(("superseded", "voided")))


def _states(connection: sa.Connection, numbers: Sequence[str]) -> list[RecordState]:
    """Return what is known of these records, in this order; unknown numbers are left out."""
    query = sa.select(entries.c.entry, entries.c.hash, entries.c.chain, entries.c.seq)
    found: dict[str, list[Entry]] = {}
    for row in connection.execute(query.where(entries.c.record.in_(numbers))):
        entry = entry_of(row.entry, row.hash)
        found.setdefault(entry.record, []).append(entry)
    states = []
    for number in numbers:
        about_it = found.get(number, [])
        if any(entry.event == "performed" for entry in about_it):
            states.append(RecordState(number, in_order(about_it)))
    return states


# ---------------------------------------------------------------- opening


def has_book(place: str | Path) -> bool:
    """Return whether there is a book to open.

    An empty file is none yet: another command is just making it, or was stopped while it did.
    """
    path = Path(place)
    return is_address(place) or (path.exists() and path.stat().st_size > 0)


def open_book(place: str | Path, chain: str, *, create: bool = False, timeout_s: float = TIMEOUT_S) -> Book:
    """Open a book for the device that writes the chain ``chain``.

    ``place`` is a file, or the address of a database server. Raises RepairTheFolder where there is none and
    ``create`` is False, or where the file is damaged; CouldNotRun where it is in use, cannot be reached or
    written, or was made by a newer version. A book on a server is never made here: its owner prepares it.
    """
    checked_chain(chain)
    if is_address(place):
        from wqverify.book.server import Server

        book = Book(Server.at(str(place), timeout_s), chain)
    else:
        path = Path(place)
        empty = not has_book(path)
        if empty and not create:
            raise RepairTheFolder(
                f"There is no record book at {path}; the first record makes one. If there was one, put its "
                f"newest copy there.",
                where=str(path),
            )
        if empty:
            make_file(path, timeout_s)
        book = Book(SqliteFile(path, timeout_s), chain)
    _check_format(book)
    return book


def _check_format(book: Book) -> None:
    with book.reading() as connection:
        found = book.database.format_of(connection)
    if found != FORMAT:
        where = book.database.place
        raise CouldNotRun(
            f"The book {where} has format {found}, this version knows format {FORMAT}; use the "
            f"version that made it, or a newer one.",
            found=found,
            expected=FORMAT,
            where=where,
        )
