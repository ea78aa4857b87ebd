"""A PostgreSQL server of the tests' own: in a temporary folder, on a socket and on loopback, not as root."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from urllib.parse import quote

import pytest

OWNER, CREW, LOCKED = "owner", "crew", "with_password"
PASSWORD = "correct horse"


def programs() -> Path | None:
    """Return the folder of the newest server installed, None for none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    if found:
        return found[-1].parent
    there = shutil.which("initdb")
    return Path(there).resolve().parent if there else None


@dataclass
class Cluster:
    """One server with a prepared database, and as many more as a test makes."""

    programs: Path
    folder: Path
    port: int
    made: int = 0

    def run(self, program: str, *arguments: str) -> None:
        nobody = {"user": "nobody", "group": "nogroup", "extra_groups": []} if os.getuid() == 0 else {}
        # Its own output goes to a file: a server that holds on to a pipe of the tests would hang them.
        with open(self.folder / "said.txt", "a", encoding="utf-8") as said:
            subprocess.run(
                [str(self.programs / program), *arguments], check=True, cwd=self.folder, timeout=60,
                stdout=said, stderr=said, stdin=subprocess.DEVNULL, **nobody,
            )  # fmt: skip

    def make(self) -> None:
        data = str(self.folder / "data")
        self.run("initdb", "-D", data, "-U", OWNER, "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        rules = (
            f"local all {LOCKED} scram-sha-256\nlocal all all trust\nhost all all 127.0.0.1/32 scram-sha-256"
        )
        (self.folder / "data" / "pg_hba.conf").write_text(rules + "\n")
        self.start()

    def start(self) -> None:
        options = (
            f"-c listen_addresses=127.0.0.1 -c port={self.port} -c unix_socket_directories={self.folder} "
            f"-c fsync=off -c max_connections=60 -c shared_buffers=16MB"
        )
        log = str(self.folder / "log.txt")
        self.run(
            "pg_ctl", "-D", str(self.folder / "data"), "-l", log, "-w", "-t", "50", "-o", options, "start"
        )

    def stop(self, how: str = "immediate") -> None:
        self.run("pg_ctl", "-D", str(self.folder / "data"), "-m", how, "-w", "-t", "50", "stop")

    def address(self, database: str, role: str = CREW) -> str:
        return f"postgresql://{role}@/{database}?host={quote(str(self.folder), safe='')}&port={self.port}"

    def on_loopback(self, database: str, role: str) -> str:
        return f"postgresql://{role}@127.0.0.1:{self.port}/{database}"

    def sql(
        self, *statements: str, database: str = "postgres", role: str = OWNER
    ) -> list[tuple[object, ...]]:
        """Do as a role does by hand, each statement by itself; returns the rows of the last."""
        import psycopg

        told = f"host={self.folder} port={self.port} user={role} dbname={database}"
        with psycopg.connect(told, autocommit=True) as connection:
            for statement in statements:
                cursor = connection.execute(statement.encode())
            return cursor.fetchall() if cursor.description else []

    def emptied(self) -> str:
        """Return the one database most tests share, with an empty book in it."""
        empty = "TRUNCATE wqverify_book.entries, wqverify_book.stored, wqverify_book.records"
        self.sql("SET session_replication_role = replica", empty, database="prepared")
        return "prepared"

    def database(self, template: str = "bare") -> str:
        """Return a new database with nothing in it."""
        self.made += 1
        name = f"plant_{self.made}"
        self.sql(f"CREATE DATABASE {name} TEMPLATE {template}")
        return name


@cache
def the_server() -> Cluster:
    """Start the server on its first use; in CI it must be there."""
    found = programs()
    if found is None:
        why = "PostgreSQL is not installed here (Debian: apt-get install postgresql)"
        if os.environ.get("WQVERIFY_CI"):
            pytest.fail(why)
        pytest.skip(why)
    folder = Path(tempfile.mkdtemp(prefix="wqverify-server-"))
    if os.getuid() == 0:
        shutil.chown(folder, "nobody", "nogroup")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    cluster = Cluster(found, folder, port)
    try:
        cluster.make()
    except subprocess.CalledProcessError:
        pytest.fail((folder / "said.txt").read_text("utf-8"))
    roles = (f"CREATE ROLE {CREW} LOGIN", f"CREATE ROLE {LOCKED} LOGIN PASSWORD '{PASSWORD}'")
    cluster.sql(*roles, "CREATE DATABASE bare", "CREATE DATABASE prepared")
    from wqverify.book.prepare import prepare

    for role in (CREW, LOCKED):
        prepare(cluster.address("prepared", OWNER), role)
    return cluster


def end_server() -> None:
    """Stop the server if one was started, and remove its folder."""
    if the_server.cache_info().currsize:
        cluster = the_server()
        cluster.stop()
        shutil.rmtree(cluster.folder)
