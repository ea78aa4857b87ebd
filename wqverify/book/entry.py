"""One entry of the book: its canonical text, its digest, and the words of its event."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from wqverify.errors import ChooseAnother, RepairTheFolder
from wqverify.records.canonical import canonical

GENESIS = "0" * 64  # what the first entry of a chain follows
PREFIX = b"wqverify-book-1\n"  # so that the digest of an entry is the digest of nothing else

EVENTS = (
    "performed",
    "signed",
    "returned with a question",
    "answered",
    "followed up",
    "reviewed",
    "superseded",
    "voided",
    "skipped",
    "proved",
    "authority made",
    "key issued",
    "key withdrawn",
    "register changed",
    "tolerance changed",
    "people changed",
    "standards changed",
    "plant settings changed",
)

CHANGES = tuple(event for event in EVENTS if event.endswith(" changed"))

OF_THE_ENTRY = frozenset({"event", "key", "record", "at", "stored"})  # words of a body the writer fills in

_CHAIN = re.compile(r"[A-Za-z0-9]{1,12}")


@dataclass(frozen=True, slots=True)
class Entry:
    """An event in the book. ``text`` is the canonical entry, everything else is read out of it."""

    chain: str
    seq: int
    prev: str
    digest: str
    text: str
    event: str
    key: str
    record: str
    at: str
    body: Mapping[str, Any]
    already: bool = False  # it stood in the book before it was appended again


def link(chain: str, seq: int, prev: str, body: Mapping[str, Any]) -> tuple[str, str]:
    """Return the canonical text of an entry and its digest."""
    text = canonical({"chain": chain, "seq": seq, "prev": prev, "body": body})
    return text.decode(), digest_of(text)


def digest_of(text: bytes) -> str:
    """Return the digest of the canonical text of an entry."""
    return hashlib.sha256(PREFIX + text).hexdigest()


def entry_of(text: str, digest: str, *, already: bool = False) -> Entry:
    """Return the entry that a text of the book says; raises RepairTheFolder where it says none."""
    try:
        said = json.loads(text)
        body = said["body"]
        event, key, record, at = (str(body[name]) for name in ("event", "key", "record", "at"))
        return Entry(
            said["chain"], said["seq"], said["prev"], digest, text, event, key, record, at, body, already
        )
    except (ValueError, KeyError, TypeError) as problem:
        raise RepairTheFolder(
            "An entry of the book is not what was entered; run `wqverify book examine`, which names it, and "
            "put back the newest good copy of the book.",
            found=digest,
        ) from problem


def checked_chain(chain: str) -> str:
    """Return the name of a device's chain; raises ChooseAnother for one that could not be in a number."""
    if _CHAIN.fullmatch(chain):
        return chain
    raise ChooseAnother(
        f"{chain!r} cannot name the records of a device; use 1 to 12 letters and digits, such as L1.",
        found=chain,
        expected="1 to 12 letters and digits",
    )


def numbered(chain: str, year: int, count: int) -> str:
    """Return the number of the count-th record that a device enters in a year.

    >>> numbered("L2", 2026, 117)
    'L2-2026-0117'
    """
    return f"{chain}-{year:04d}-{count:04d}"


def instant(at: str) -> datetime:
    """Return an ISO 8601 time with offset as a point in time; raises ValueError without an offset."""
    when = datetime.fromisoformat(at)
    if when.tzinfo is None:
        raise ValueError(f"{at} has no offset from UTC")
    return when
