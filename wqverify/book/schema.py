"""The tables of a book, the same in a file and on a server.

What depends on the kind of database, how to connect, the lock of a writer, the triggers, what it says
when it refuses, stands in ``sqlite_file`` and ``server``; ``database`` says what each of them gives.
"""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql

FORMAT = "1"  # of the tables

metadata = sa.MetaData()

# Numbers and times are compared byte by byte, as SQLite does; a server would ask its own language.
_TEXT = sa.Text().with_variant(postgresql.TEXT(collation="C"), "postgresql")

about = sa.Table(
    "about",
    metadata,
    sa.Column("name", _TEXT, primary_key=True),
    sa.Column("value", _TEXT, nullable=False),
)

# Bytes that an entry speaks of: record.json of a record, the register as it was accepted.
stored = sa.Table(
    "stored",
    metadata,
    sa.Column("digest", _TEXT, primary_key=True),
    sa.Column("number", _TEXT, nullable=False),
    sa.Column("bytes", sa.LargeBinary, nullable=False),
)

# The columns beside ``entry`` repeat what it says, to find and to constrain; ``book examine`` compares.
entries = sa.Table(
    "entries",
    metadata,
    sa.Column("chain", _TEXT, primary_key=True),
    sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("prev", _TEXT, nullable=False),
    sa.Column("hash", _TEXT, nullable=False, unique=True),
    sa.Column("record", _TEXT, nullable=False),
    sa.Column("event", _TEXT, nullable=False),
    sa.Column("key", _TEXT, nullable=False),
    sa.Column("at", _TEXT, nullable=False),
    sa.Column("stored", _TEXT, sa.ForeignKey("stored.digest"), nullable=True),
    sa.Column("entry", _TEXT, nullable=False),
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
    sa.Column("number", _TEXT, primary_key=True),
    sa.Column("chain", _TEXT, nullable=False),
    sa.Column("seq", sa.Integer, nullable=False),
    sa.Column("tag", _TEXT, nullable=False),
    sa.Column("serial", _TEXT, nullable=False),
    sa.Column("procedure", _TEXT, nullable=False),
    sa.Column("visit", _TEXT, nullable=False),
    sa.Column("performed", _TEXT, nullable=False),  # as in the record, plant time
    sa.Column("instant", _TEXT, nullable=False),  # the same in UTC, which sorts
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
