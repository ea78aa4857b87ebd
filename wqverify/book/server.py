"""A book on a PostgreSQL server, for a plant with several crews.

Two roles: the owner makes the tables (``book prepare``); everybody else works under a role that may look
and add, and nothing more. Who is let in is the server's business: no password is ever in the address.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.util import find_spec
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from wqverify.book.guards import SCHEMA, guards
from wqverify.book.schema import about
from wqverify.book.server_faults import cannot_connect, sentence
from wqverify.errors import ChooseAnother, CouldNotRun, RepairTheFolder
from wqverify.plant.address import fault_of

REACH_S = 10  # for a server that does not answer
DEAD_S = 30  # after which a network that went away is noticed
SILENT_S = 120  # a writer that hangs lets the others go on
LOCK = 0x77710B0  # one book per database: whoever writes holds this lock


@dataclass(frozen=True)
class Server:
    """A book on a server that was prepared for it; made by ``Server.at``."""

    url: sa.URL
    timeout_s: float
    engine: sa.Engine = field(repr=False, compare=False)

    @classmethod
    def at(cls, address: str, timeout_s: float) -> Server:
        """Return the server an address names; nothing is connected yet. Raises ChooseAnother, CouldNotRun."""
        if fault := fault_of(address):
            raise ChooseAnother(f"The address of the book cannot be taken: {fault}.", expected="an address")
        if find_spec("psycopg") is None:
            raise CouldNotRun(
                "The book is on a PostgreSQL server, and this installation cannot talk to one; install it "
                'with: pip install "wqverify[postgresql]".',
                expected="wqverify[postgresql]",
            )
        url = sa.make_url(address).set(drivername="postgresql+psycopg")
        return cls(url, timeout_s, _engine_for(url, timeout_s))

    @property
    def place(self) -> str:
        return self.url.set(drivername="postgresql").render_as_string(hide_password=True)

    @property
    def name(self) -> str:
        return self.place

    def connect(self, *, writing: bool) -> sa.Connection:
        # A writer sees what was entered while it waited for the lock; a reader sees one state throughout.
        kind: dict[str, Any] = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        try:
            return self.engine.connect().execution_options(**({"writing": True} if writing else kind))
        except DBAPIError as problem:
            raise cannot_connect(self.place, str(problem.orig)) from problem

    @contextmanager
    def in_words(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as problem:
            raise sentence(self.place, self.timeout_s, problem.orig) from problem

    def damaged(self, said: str) -> RepairTheFolder:
        return RepairTheFolder(
            f"The book {self.place} is damaged, or is no record book ({said}); its administrator puts back "
            f"the newest good copy.",
            found=said,
            where=self.place,
        )

    def format_of(self, connection: sa.Connection) -> str:
        there = connection.execute(
            sa.select(sa.func.to_regnamespace(SCHEMA).is_not(None), sa.func.current_schema() == SCHEMA)
        ).one()
        if not there[0]:
            raise RepairTheFolder(
                f"{self.place} holds no record book yet; the owner of that database makes it, once: "
                f"wqverify book prepare ADDRESS --app-role ROLE.",
                where=self.place,
            )
        if not there[1]:
            raise sentence(self.place, self.timeout_s, None)
        query = sa.select(about.c.value).where(about.c.name == "format")
        return str(connection.execute(query).scalar() or "that is not stated")

    def faults(self, connection: sa.Connection) -> list[str]:  # noqa: ARG002
        return []  # a server checks what it keeps itself: data checksums, and pg_amcheck by its administrator

    def unguarded(self, connection: sa.Connection) -> Iterator[tuple[bool, str]]:
        if guards(connection) is False:
            yield True, "Triggers that keep entries from being changed were taken out of the book or altered."
        if more := _may_do_more(connection):
            yield (
                False,
                f"The book is open under the role {more}, which may also change what is entered; work under "
                f"a role that wqverify book prepare was given.",
            )


def _may_do_more(connection: sa.Connection) -> str:
    """Return the role of this connection where it may do more than look and add, empty otherwise."""
    powers = " OR ".join(
        f"has_table_privilege('{SCHEMA}.{table}', '{what}')"
        for table in ("about", "entries", "stored", "records")
        for what in ("UPDATE", "DELETE", "TRUNCATE", "TRIGGER")
    )
    row = connection.exec_driver_sql(f"SELECT current_user, {powers}").one()
    return str(row[0]) if row[1] else ""


def _engine_for(url: sa.URL, timeout_s: float) -> sa.Engine:
    told = {
        "search_path": SCHEMA,
        "synchronous_commit": "on",  # what is acknowledged is on the server's disk
        "lock_timeout": f"{round(timeout_s * 1000)}",
        "idle_in_transaction_session_timeout": f"{SILENT_S * 1000}",
        "tcp_keepalives_idle": f"{DEAD_S}",
    }
    reach = {
        "connect_timeout": REACH_S,
        "keepalives_idle": DEAD_S,
        "tcp_user_timeout": DEAD_S * 1000,
        "application_name": "wqverify",
        "client_encoding": "utf8",
        "options": " ".join(f"-c {name}={value}" for name, value in told.items()),
        "prepare_threshold": None,
    }
    # No pool: an idle connection would outlive a fork, and a server that was started again.
    engine = sa.create_engine(url, poolclass=sa.NullPool, connect_args=reach, use_native_hstore=False)
    sa.event.listen(engine, "begin", _begin)
    return engine


def _begin(connection: sa.Connection) -> None:
    if connection.get_execution_options().get("writing", False):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK})")
