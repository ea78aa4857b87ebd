"""The address of a book on a database server, as plant.toml may hold it: never with a password."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

SCHEMES = ("postgresql", "postgresql+psycopg")
# What may stand behind the question mark; for whatever else there is, there is the service file.
KEYS = ("host", "port", "service", "sslcert", "sslkey", "sslmode", "sslrootcert")
BY_OTHER_WAYS = (
    "give it where only you can read it: a password file (PGPASSFILE, ~/.pgpass), a service file, or "
    "PGPASSWORD"
)


def is_address(place: str | Path) -> bool:
    """Return whether a book is named by an address and not by its file."""
    return "://" in str(place)


def shown(text: str) -> str:
    """Return what somebody typed, without the password of an address in it, mistyped as it may be.

    >>> shown("postgresql:/crew:secret@book.example/plant")
    'postgresql:/crew:…@book.example/plant'
    >>> shown("postgresql:crew:my secret@book.example/plant")
    'postgresql:crew:…@book.example/plant'
    """
    return re.sub(r"([/:][^\s/:@]*):.*@", r"\1:…@", text)


def fault_of(address: str) -> str:
    """Return what is wrong with the address of a server, in words that never repeat a password; or nothing.

    >>> fault_of("postgresql://crew@book.example/plant?sslmode=verify-full")
    ''
    >>> fault_of("mysql://book.example/plant")
    'a book on a server begins with postgresql://'
    """
    try:
        parts = urlsplit(address)
        told, _port = parse_qsl(parts.query, strict_parsing=bool(parts.query)), parts.port
    except ValueError:
        return "it is no address; it reads postgresql://ROLE@SERVER/DATABASE"
    keys = {key for key, _value in told}
    if parts.password is not None or any("pass" in key for key in keys):
        return f"it holds a password, which everybody could read there; take it out and {BY_OTHER_WAYS}"
    if parts.scheme not in SCHEMES:
        return "a book on a server begins with postgresql://"
    if parts.fragment or not (parts.path.strip("/") or "service" in keys):
        return "it names no database; it reads postgresql://ROLE@SERVER/DATABASE"
    if strange := sorted(keys - set(KEYS)):
        return f"{', '.join(strange)} cannot stand in it, only {', '.join(KEYS)}; use a service file for more"
    return ""
