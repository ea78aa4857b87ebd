"""A book in a file: SQLite, for one computer.

On a network share it is unsafe, because file locks are not kept there: the file belongs on a local disk.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import AbstractContextManager, ExitStack, closing
from dataclasses import dataclass, field
from pathlib import Path

import sqlalchemy as sa

from wqverify.book.entry import GENESIS
from wqverify.book.faults import damaged, told_in_words
from wqverify.book.schema import FORMAT, about, metadata
from wqverify.errors import CouldNotRun, RepairTheFolder


@dataclass(frozen=True)
class SqliteFile:
    """A book in a file that is there; ``made`` makes one."""

    path: Path
    timeout_s: float
    create: bool = False
    engine: sa.Engine = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "engine", _engine_for(self.path, self.timeout_s, create=self.create))

    @property
    def place(self) -> str:
        return str(self.path)

    @property
    def name(self) -> str:
        return self.path.name

    def connect(self, *, writing: bool) -> sa.Connection:
        return self.engine.connect().execution_options(writing=writing)

    def in_words(self) -> AbstractContextManager[None]:
        return told_in_words(self.path, self.timeout_s)

    def damaged(self, said: str) -> RepairTheFolder:
        return damaged(self.path, said)

    def format_of(self, connection: sa.Connection) -> str:
        known = sa.inspect(connection).has_table("about")
        query = sa.select(about.c.value).where(about.c.name == "format")
        found = connection.execute(query).scalar() if known else ""
        if not found:
            raise RepairTheFolder(
                f"{self.path} is a database, but no record book; name the right file as the book in "
                f"plant.toml.",
                where=str(self.path),
            )
        return str(found)

    def faults(self, connection: sa.Connection) -> list[str]:
        found = connection.exec_driver_sql("PRAGMA integrity_check(5)").scalars()
        return [str(said) for said in found if said != "ok"]

    def unguarded(self, connection: sa.Connection) -> Iterator[tuple[bool, str]]:
        known = sa.text("SELECT sql FROM sqlite_master WHERE type = 'trigger'")
        if not set(TRIGGERS) <= set(connection.execute(known).scalars()):
            gone = "Triggers that keep entries from being changed"
            yield True, f"{gone} were taken out of the book, or lost in a copy."


def make_file(path: Path, timeout_s: float) -> None:
    """Make the file of a book that is not there, or is empty; raises CouldNotRun."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise CouldNotRun(
            f"The folder of the book {path} cannot be made ({problem.strerror}); nothing was entered.",
            where=str(path),
        ) from problem
    file = SqliteFile(path, timeout_s, create=True)
    with file.in_words(), file.connect(writing=True) as connection, connection.begin():
        # Another program may have made it while this one waited for the lock.
        if not sa.inspect(connection).get_table_names():
            _create_tables(connection)


def _create_tables(connection: sa.Connection) -> None:
    metadata.create_all(connection, checkfirst=False)
    for trigger in TRIGGERS:
        connection.exec_driver_sql(trigger)
    connection.execute(sa.insert(about).values(name="format", value=FORMAT))


def _engine_for(path: Path, timeout_s: float, *, create: bool) -> sa.Engine:
    """Return an engine on a file; without ``create`` it never makes one."""
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


TRIGGERS = (
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
