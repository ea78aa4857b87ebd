"""The tables, guards and rights of a book on a server, as its owner makes them.

The triggers stop accidents, also of the owner; the rights stop everybody else. A trigger asks only for
tables by their full names: a temporary table of the same name must not answer for the real one.
"""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql
from sqlalchemy.schema import CreateIndex, CreateTable

from wqverify.book.entry import GENESIS, PREFIX
from wqverify.book.schema import FORMAT, metadata

SCHEMA = "wqverify_book"
_DIALECT = postgresql.dialect()  # type: ignore[no-untyped-call]
KEPT = ("about", "entries", "stored", "records")
_ROW, _BEFORE, _INSERT, _DELETE, _UPDATE, _TRUNCATE = 1, 2, 4, 8, 16, 32  # pg_trigger.tgtype

_ADDED_TO = "BEGIN RAISE EXCEPTION 'the book is only ever added to' USING ERRCODE = 'restrict_violation'; END"
_EXTENDS = f"""DECLARE
  newest record;
  said json := NEW.entry::json;
BEGIN
  SELECT seq, hash INTO newest FROM {SCHEMA}.entries WHERE chain = NEW.chain ORDER BY seq DESC LIMIT 1;
  IF NEW.seq IS DISTINCT FROM coalesce(newest.seq, 0) + 1
     OR NEW.prev IS DISTINCT FROM coalesce(newest.hash, '{GENESIS}') THEN
    RAISE EXCEPTION 'the entry does not extend its chain' USING ERRCODE = 'integrity_constraint_violation';
  END IF;
  IF NEW.hash IS DISTINCT FROM encode(sha256(convert_to('{PREFIX.decode().strip()}' || chr(10) || NEW.entry, 'UTF8')), 'hex')
     OR said ->> 'chain' IS DISTINCT FROM NEW.chain OR said ->> 'prev' IS DISTINCT FROM NEW.prev
     OR said ->> 'seq' IS DISTINCT FROM NEW.seq::text THEN
    RAISE EXCEPTION 'the entry is not what its digest says' USING ERRCODE = 'integrity_constraint_violation';
  END IF;
  RETURN NEW;
END"""  # noqa: E501

# name of the trigger, its kind, its table, the body of its function
_GUARDS = {
    **{(table, f"{table}_no_change"): (_ROW | _BEFORE | _UPDATE | _DELETE, _ADDED_TO) for table in KEPT},
    **{(table, f"{table}_no_truncate"): (_BEFORE | _TRUNCATE, _ADDED_TO) for table in KEPT},
    ("entries", "entries_extend_their_chain"): (_ROW | _BEFORE | _INSERT, _EXTENDS),
}
_NAMES = {_ADDED_TO: "only_ever_added_to", _EXTENDS: "extends_its_chain"}


def making() -> Iterator[str]:
    """Yield the statements that make an empty book, for its owner."""
    yield f"CREATE SCHEMA {SCHEMA}"
    yield f"SET LOCAL search_path = {SCHEMA}"
    for table in metadata.sorted_tables:
        yield str(CreateTable(table).compile(dialect=_DIALECT)).strip()
        for index in sorted(table.indexes, key=lambda each: str(each.name)):
            yield str(CreateIndex(index).compile(dialect=_DIALECT)).strip()
    for body, name in _NAMES.items():
        yield (
            f"CREATE FUNCTION {SCHEMA}.{name}() RETURNS trigger LANGUAGE plpgsql "
            f"SET search_path = pg_catalog, pg_temp AS $body${body}$body$"
        )
    for (guarded, name), (kind, body) in _GUARDS.items():
        words = [w for bit, w in ((_INSERT, "INSERT"), (_UPDATE, "UPDATE"), (_DELETE, "DELETE"),
                                  (_TRUNCATE, "TRUNCATE")) if kind & bit]  # fmt: skip
        each = "ROW" if kind & _ROW else "STATEMENT"
        yield (
            f"CREATE TRIGGER {name} BEFORE {' OR '.join(words)} ON {SCHEMA}.{guarded} FOR EACH {each} "
            f"EXECUTE FUNCTION {SCHEMA}.{_NAMES[body]}()"
        )
    yield f"INSERT INTO {SCHEMA}.about (name, value) VALUES ('format', '{FORMAT}')"


def granting(role: str) -> Iterator[str]:
    """Yield the statements that let a role look and add, and nothing more."""
    quoted = _DIALECT.identifier_preparer.quote_identifier(role)
    tables = ", ".join(f"{SCHEMA}.{table}" for table in KEPT)
    added = ", ".join(f"{SCHEMA}.{table}" for table in KEPT if table != "about")
    yield f"REVOKE ALL ON SCHEMA {SCHEMA} FROM PUBLIC, {quoted}"
    yield f"REVOKE ALL ON {tables} FROM PUBLIC, {quoted}"
    yield f"GRANT USAGE ON SCHEMA {SCHEMA} TO {quoted}"
    yield f"GRANT SELECT ON {tables} TO {quoted}"
    yield f"GRANT INSERT ON {added} TO {quoted}"


def guards(connection: sa.Connection) -> bool:
    """Return whether every trigger is there as it was made, and switched on."""
    found = connection.exec_driver_sql(
        "SELECT c.relname, t.tgname, t.tgtype, t.tgenabled, t.tgqual IS NULL AS always, p.prosrc "
        "FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid "
        f"JOIN pg_namespace n ON n.oid = c.relnamespace WHERE n.nspname = '{SCHEMA}' AND NOT t.tgisinternal"
    )
    there = {
        (row.relname, row.tgname): (row.tgtype, row.prosrc)
        for row in found
        if row.tgenabled in ("O", "A") and row.always
    }
    return _GUARDS.items() <= there.items()
