"""Make the book of a plant on its server, once, as the owner of the database; let a role work in it."""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa

from wqverify.book.guards import SCHEMA, granting, making
from wqverify.book.server import Server
from wqverify.errors import ChooseAnother, CouldNotRun

TIMEOUT_S = 60.0


def script(role: str) -> Iterator[str]:
    """Yield the statements as an administrator runs them by hand: in one transaction, or not at all."""
    yield from (f"{statement};" for statement in ("BEGIN", *making(), *granting(_named(role)), "COMMIT"))


def prepare(address: str, role: str) -> list[str]:
    """Make the tables where there are none and let a role look and add; return what was done, in sentences.

    Raises ChooseAnother where the role is missing, owns the book or may do anything; CouldNotRun where the
    server cannot be reached or does not allow it. Nothing is done by halves.
    """
    server = Server.at(address, TIMEOUT_S)
    with server.in_words(), server.connect(writing=True) as connection, connection.begin():
        _insist_on_text(server, connection)
        _insist_on_role(server, connection, _named(role))
        made = connection.execute(sa.select(sa.func.to_regnamespace(SCHEMA).is_(None))).scalar_one()
        for statement in [*(making() if made else ()), *granting(role)]:
            connection.exec_driver_sql(statement)
        unsafe = connection.exec_driver_sql("SHOW fsync").scalar() != "on"
    done = [f"The book {server.place} is made." if made else f"The book {server.place} was there already."]
    done.append(f"The role {role} may look into it and add to it, and nothing more.")
    if unsafe:
        done.append(
            "This server has fsync switched off: a power cut may lose what was acknowledged. Have its "
            "administrator switch it on."
        )
    return done


def _named(role: str) -> str:
    if 1 <= len(role) <= 63 and role.isprintable() and role.lower() != "public":
        return role
    raise ChooseAnother(
        f"{role!r} is no name of a role of one crew; name a role of 1 to 63 characters.", found=role
    )


def _insist_on_text(server: Server, connection: sa.Connection) -> None:
    encoding = str(connection.exec_driver_sql("SHOW server_encoding").scalar())
    if encoding != "UTF8":
        raise CouldNotRun(
            f"The database {server.place} keeps text as {encoding}, a book needs UTF8; its administrator "
            f"makes a database with ENCODING 'UTF8'. Nothing was done.",
            found=encoding,
            expected="UTF8",
            where=server.place,
        )


def _insist_on_role(server: Server, connection: sa.Connection, role: str) -> None:
    """The role must be there, and must not be able to take the guards away."""
    query = sa.text(
        "SELECT rolsuper OR rolcreaterole, pg_has_role(oid, current_user, 'MEMBER') FROM pg_roles "
        "WHERE rolname = :r"
    )
    found = connection.execute(query, {"r": role}).first()
    if found is None:
        raise ChooseAnother(
            f"The server of {server.place} has no role {role}; its administrator makes it (CREATE ROLE … "
            f"LOGIN PASSWORD …), then run the same command again. Nothing was done.",
            found=role,
        )
    if found[0] or found[1]:
        what = (
            "may do anything on the server, or make itself so"
            if found[0]
            else "has the rights of the owner of the book"
        )
        raise ChooseAnother(
            f"The role {role} {what}, so nothing would keep it from changing what is entered; name another "
            f"role for the crews. Nothing was done.",
            found=role,
        )
