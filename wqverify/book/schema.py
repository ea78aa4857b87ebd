"""Tables, triggers and connections of a book; everything that depends on the kind of database is here.

A book on PostgreSQL needs four things in this file, marked *per database*: how to connect, how to take
the lock of a writer (an advisory lock), the triggers (row triggers, and one against TRUNCATE), and text
columns in collation C, as numbers are compared byte by byte.

SQLite on a network share is unsafe, because file locks are not kept there: the book belongs on a local
disk.
"""

from __future__ import annotations

import sqlite3
from contextlib import ExitStack, closing
from pathlib import Path

import sqlalchemy as sa

from wqverify.book.entry import GENESIS

FORMAT = "1"  # of the tables

metadata = sa.MetaData()

about = sa.Table(
    "about",
    metadata,
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("value", sa.Text, nullable=False),
)

# Bytes that an entry speaks of: record.json of a record, the register as it was accepted.
stored = sa.Table(
    "stored",
    metadata,
    sa.Column("digest", sa.String(64), primary_key=True),
    sa.Column("number", sa.Text, nullable=False),
    sa.Column("bytes", sa.LargeBinary, nullable=False),
)

# The columns beside ``entry`` repeat what it says, to find and to constrain; ``book examine`` compares.
entries = sa.Table(
    "entries",
    metadata,
    sa.Column("chain", sa.Text, primary_key=True),
    sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("prev", sa.String(64), nullable=False),
    sa.Column("hash", sa.String(64), nullable=False, unique=True),
    sa.Column("record", sa.Text, nullable=False),
    sa.Column("event", sa.Text, nullable=False),
    sa.Column("key", sa.Text, nullable=False),
    sa.Column("at", sa.Text, nullable=False),
    sa.Column("stored", sa.String(64), sa.ForeignKey("stored.digest"), nullable=True),
    sa.Column("entry", sa.Text, nullable=False),
    sa.UniqueConstraint("chain", "prev", name="no_fork"),
    sa.UniqueConstraint("chain", "key", name="once_per_key"),
)
sa.Index("entries_of_record", entries.c.record)
sa.Index("entries_of_key", entries.c.key)
sa.Index("entries_of_event", entries.c.chain, entries.c.event, entries.c.seq)
is_performed = entries.c.event == sa.literal_column("'performed'")  # spelt out: so the index is used
sa.Index(
    "one_record_per_number",
    entries.c.record,
    unique=True,
    sqlite_where=is_performed,
    postgresql_where=is_performed,
)

# Where to look for a record; written with its *performed* entry and nothing that the entry does not say.
records = sa.Table(
    "records",
    metadata,
    sa.Column("number", sa.Text, primary_key=True),
    sa.Column("chain", sa.Text, nullable=False),
    sa.Column("seq", sa.Integer, nullable=False),
    sa.Column("tag", sa.Text, nullable=False),
    sa.Column("serial", sa.Text, nullable=False),
    sa.Column("procedure", sa.Text, nullable=False),
    sa.Column("visit", sa.Text, nullable=False),
    sa.Column("performed", sa.Text, nullable=False),  # as in the record, plant time
    sa.Column("instant", sa.Text, nullable=False),  # the same in UTC, which sorts
    sa.ForeignKeyConstraint(["chain", "seq"], ["entries.chain", "entries.seq"]),
    sa.UniqueConstraint("chain", "seq", name="one_line_per_entry"),
)
sa.Index("records_of_tag", records.c.tag, records.c.instant)
sa.Index("records_of_visit", records.c.visit)

# SQLite keeps any kind of value in any column, unless told.
for _column, _kind in (
    (stored.c.digest, "text"),
    (stored.c.bytes, "blob"),
    (entries.c.seq, "integer"),
    (entries.c.hash, "text"),
    (entries.c.entry, "text"),
    (records.c.seq, "integer"),
):
    _column.table.append_constraint(
        sa.CheckConstraint(f"typeof({_column.name}) = '{_kind}'").ddl_if(dialect="sqlite")
    )


# ---------------------------------------------------------------- per database


def engine_for(path: Path, timeout_s: float, *, create: bool) -> sa.Engine:
    """Return an engine on an SQLite file; without ``create`` it never makes one."""
    address = f"{path.absolute().as_uri()}?mode={'rwc' if create else 'rw'}"

    def connect() -> sqlite3.Connection:
        with ExitStack() as stack:  # closes it again where a pragma finds the file damaged
            connection = stack.enter_context(
                closing(sqlite3.connect(address, uri=True, timeout=timeout_s, isolation_level=None))
            )
            # Damaged text must reach the examination, which names its entry, instead of stopping it.
            connection.text_factory = lambda data: data.decode("utf-8", "surrogateescape")
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA journal_mode = DELETE")
            # FULL may lose the newest commit to a power cut, as the folder is not synced; EXTRA syncs it.
            connection.execute("PRAGMA synchronous = EXTRA")
            stack.pop_all()
        return connection

    # No pool: an idle connection would outlive a fork, and keep the file open on some systems.
    engine = sa.create_engine("sqlite://", creator=connect, poolclass=sa.NullPool)
    sa.event.listen(engine, "begin", _begin)
    return engine


def _begin(connection: sa.Connection) -> None:
    # A writer takes the write lock before it looks at the head: nobody else extends the chain meanwhile.
    writing = connection.get_execution_options().get("writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def _only_ever_added(table: str) -> list[str]:
    return [
        f"CREATE TRIGGER {table}_no_{word.lower()} BEFORE {word} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, 'the book is only ever added to'); END"
        for word in ("UPDATE", "DELETE")
    ]


def _not_twice(table: str, key: str) -> str:
    # INSERT OR REPLACE deletes without asking the delete trigger, so what is there already is refused here;
    # also by its row number, which a statement may name.
    return (
        f"CREATE TRIGGER {table}_not_twice BEFORE INSERT ON {table} "
        f"WHEN EXISTS (SELECT 1 FROM {table} WHERE rowid = NEW.rowid OR {key}) "
        f"BEGIN SELECT RAISE(ABORT, 'the book is only ever added to'); END"
    )


SQLITE_TRIGGERS = (
    *_only_ever_added("entries"),
    *_only_ever_added("stored"),
    *_only_ever_added("records"),
    _not_twice("stored", "digest = NEW.digest"),
    _not_twice("records", "number = NEW.number OR (chain = NEW.chain AND seq = NEW.seq)"),
    # REPLACE would also remove an entry whose hash or key is the same, far from the end of the chain.
    _not_twice(
        "entries",
        "hash = NEW.hash OR (chain = NEW.chain AND key = NEW.key) "
        "OR (event = 'performed' AND NEW.event = 'performed' AND record = NEW.record)",
    ),
    "CREATE TRIGGER entries_extend_their_chain BEFORE INSERT ON entries "
    "WHEN NEW.seq IS NOT (SELECT COALESCE(MAX(seq), 0) + 1 FROM entries WHERE chain = NEW.chain) "
    "OR NEW.prev IS NOT COALESCE("
    f"(SELECT hash FROM entries WHERE chain = NEW.chain ORDER BY seq DESC LIMIT 1), '{GENESIS}') "
    "BEGIN SELECT RAISE(ABORT, 'the entry does not extend its chain'); END",
)


def create_tables(connection: sa.Connection) -> None:
    """Make the tables and triggers of an empty book inside the transaction of this connection."""
    metadata.create_all(connection, checkfirst=False)
    for trigger in SQLITE_TRIGGERS:
        connection.exec_driver_sql(trigger)
    connection.execute(sa.insert(about).values(name="format", value=FORMAT))


def faults_of_the_file(connection: sa.Connection) -> list[str]:
    """Return what the database itself finds wrong with its file, in its own words; empty when sound."""
    found = connection.exec_driver_sql("PRAGMA integrity_check(5)").scalars()
    return [str(said) for said in found if said != "ok"]


def triggers_missing(connection: sa.Connection) -> bool:
    """Return whether a trigger that keeps what is entered is missing or changed: a copy may lose them."""
    known = sa.text("SELECT sql FROM sqlite_master WHERE type = 'trigger'")
    return not set(SQLITE_TRIGGERS) <= set(connection.execute(known).scalars())
