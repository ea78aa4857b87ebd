"""Recompute the chains and name what is wrong; what cannot be seen without help is said as well.

The chains are recomputed with json and hashlib of the standard library only: the canonical text is kept,
so nothing has to be written again to be checked. Triggers guard against accidents; the owner of the file
can remove them. The chain shows a change unless everything after it was computed anew, and it never
shows entries removed at the end: for that, a digest held outside this computer is needed. Each page that
was handed out holds one.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

import sqlalchemy as sa

from wqverify.book.book import Book
from wqverify.book.entry import GENESIS, digest_of, entry_of, numbered
from wqverify.book.schema import entries, is_performed, records, stored
from wqverify.book.writer import findable
from wqverify.errors import WqverifyError
from wqverify.records.canonical import digest

_MIN_DIGEST = 16  # hexadecimal digits: a page may print the beginning of a digest for the eye


@dataclass(frozen=True, slots=True)
class Finding:
    """Something an examination of the book found."""

    severity: Literal["damaged", "note"]
    text: str
    chain: str = ""
    seq: int = 0


class Anchor(NamedTuple):
    """A digest held outside the book: from a page that was handed out, or noted from ``book head``."""

    chain: str
    seq: int
    digest: str
    where: str = ""


def verify(book: Book) -> list[Finding]:
    """Return what is wrong inside the book; nothing found means consistent in itself, no more."""
    with book.reading() as connection:
        unsound = book.database.faults(connection)
        unguarded = list(book.database.unguarded(connection))
    if unsound:  # what is read out of such a file cannot be relied on to be what was written
        return [_damaged(f"The database file itself is damaged: {said}.") for said in unsound]
    findings = [_damaged(text) if damage else Finding("note", text) for damage, text in unguarded]
    for chain in book.chains():
        findings += _Chain(chain).check(book.rows(_ALL, chain))
    return [*findings, *_check_stored(book), *_check_index(book)]


def compare_anchors(
    book: Book, anchors: Iterable[Anchor | tuple[str, int, str] | tuple[str, int, str, str]]
) -> list[Finding]:
    """Compare digests held outside with the book, and say up to where they reach.

    Entries that an anchor names and the book lacks, or holds otherwise, are *damaged*; for each chain
    one finding says which removals could not be seen.
    """
    named: dict[str, list[Anchor]] = {}
    for anchor in anchors:
        named.setdefault(anchor[0], []).append(Anchor(*anchor))
    heads = {chain: head for chain, (head, _digest) in book.heads().items()}
    findings: list[Finding] = []
    for chain in sorted(heads.keys() | named.keys()):
        ours = sorted(named.get(chain, []), key=lambda each: each.seq)
        digests = _digests(book, chain, {anchor.seq for anchor in ours})
        findings += _compared(chain, heads.get(chain, 0), ours, digests)
    return findings


# ---------------------------------------------------------------- one chain


_ALL = sa.select(entries)


@dataclass
class _Chain:
    """Walks along one chain, entry by entry."""

    name: str
    seq: int = 0
    own: str = GENESIS  # the digest that the text of the last entry gives
    said: str = GENESIS  # the digest that stands beside it
    counts: dict[str, int] = field(default_factory=dict)

    def check(self, rows: Iterable[Any]) -> Iterator[Finding]:
        for row in rows:
            gap = row.seq != self.seq + 1
            if gap:
                yield self._wrong(row.seq, self._missing(row.seq))
            yield from self._check_row(row, gap)
            self.seq, self.said = row.seq, row.hash
            self.own = digest_of(row.entry.encode("utf-8", "surrogateescape"))

    def _check_row(self, row: Any, gap: bool) -> Iterator[Finding]:
        own = digest_of(row.entry.encode("utf-8", "surrogateescape"))
        if own != row.hash:
            yield self._wrong(
                row.seq, f"Entry {row.seq} of {self.name} was altered: its text does not give its digest."
            )
        body = _said_by(row)
        if body is None:
            yield self._wrong(row.seq, f"Entry {row.seq} of {self.name} is not the text of an entry.")
            return
        if not gap and body["prev"] not in (self.own, self.said):
            before = f"entry {self.seq}" if self.seq else "the beginning"
            text = f"Entry {row.seq} of {self.name} does not follow {before}: one of the two was replaced."
            yield self._wrong(row.seq, text)
        for column in ("chain", "seq", "prev", "record", "event", "key", "at", "stored"):
            beside = getattr(row, column)
            if beside != body.get(column):
                text = f"Entry {row.seq} of {self.name}: the column {column} is not what the entry says."
                yield self._wrong(row.seq, text)
        if body["event"] == "performed":
            yield from self._check_number(row.seq, str(body["record"]))

    def _check_number(self, seq: int, number: str) -> Iterator[Finding]:
        year = number.split("-")[1] if number.count("-") == 2 else ""
        self.counts[year] = self.counts.get(year, 0) + 1
        expected = numbered(self.name, int(year), self.counts[year]) if year.isdecimal() else "a number"
        if number != expected:
            text = f"Entry {seq} of {self.name} is record {_shown(number)} where {expected} comes next."
            yield self._wrong(seq, text)
            count = number.rsplit("-", 1)[-1]
            self.counts[year] = int(count) if count.isdecimal() else self.counts[year]

    def _missing(self, seq: int) -> str:
        first, last = self.seq + 1, seq - 1
        if first == last:
            return f"Entry {first} of {self.name} is missing."
        return f"Entries {first} to {last} of {self.name} are missing."

    def _wrong(self, seq: int, text: str) -> Finding:
        return Finding("damaged", text, self.name, seq)


def _said_by(row: Any) -> dict[str, Any] | None:
    """Return the words of an entry, the place in the chain among them; None where it is no entry."""
    try:
        said = json.loads(row.entry)
        body = said["body"]
        if not {"event", "key", "record", "at"} <= body.keys():
            return None
        return {**body, "chain": said["chain"], "seq": said["seq"], "prev": said["prev"]}
    except (ValueError, KeyError, TypeError, AttributeError):
        return None


# ---------------------------------------------------------------- what stands beside the chains


def _check_stored(book: Book) -> Iterator[Finding]:
    with book.reading() as connection:  # before the entries are read: what is added meanwhile is no stray
        strays = set(connection.execute(sa.select(stored.c.digest)).scalars())
    with_bytes = sa.select(entries, stored.c.bytes).outerjoin(stored, stored.c.digest == entries.c.stored)
    for chain in book.chains():
        for row in book.rows(with_bytes, chain):
            hashed = (_said_by(row) or {}).get("stored")
            strays.discard(hashed)
            if (
                hashed is not None
                and hashed == row.stored
                and (row.bytes is None or digest(row.bytes) != hashed)
            ):
                whose = f"record {_shown(row.record)}" if row.record else f"entry {row.seq} of {chain}"
                what = "are missing" if row.bytes is None else "are not those that were entered"
                yield Finding("damaged", f"The bytes kept for {whose} {what}.", chain, row.seq)
    for hashed in sorted(strays):
        yield _damaged(f"Bytes with the digest {_shown(hashed[:16])}… are kept that no entry names.")


def _check_index(book: Book) -> Iterator[Finding]:
    """The table of records must say what the *performed* entries say: a search must not miss a record."""
    findings = []
    with book.reading() as connection:
        lines = {
            (line.chain, line.seq): dict(line._mapping) for line in connection.execute(sa.select(records))
        }
        for row in connection.execute(_ALL.where(is_performed).order_by(entries.c.chain, entries.c.seq)):
            line = lines.pop((row.chain, row.seq), None)
            if line is None or line != _findable(row):
                what = "is missing from" if line is None else "is wrong in"
                text = f"Record {_shown(row.record)} {what} the table that records are found by."
                findings.append(Finding("damaged", text, row.chain, row.seq))
    yield from findings
    for chain, seq in sorted(lines):
        yield _damaged(
            f"The table that records are found by names entry {seq} of {_shown(chain)}, which is none."
        )


def _findable(row: Any) -> Mapping[str, Any] | None:
    try:
        return findable(entry_of(row.entry, row.hash))
    except (ValueError, KeyError, TypeError, WqverifyError):
        return None


# ---------------------------------------------------------------- anchors


def _digests(book: Book, chain: str, wanted: set[int]) -> dict[int, str]:
    """Return the digests that the texts of these entries give, whatever stands beside them."""
    found = {0: GENESIS}
    if wanted:
        for row in book.rows(sa.select(entries.c.seq, entries.c.entry), chain):
            if row.seq in wanted:
                found[row.seq] = digest_of(row.entry.encode("utf-8", "surrogateescape"))
    return found


def _compared(chain: str, head: int, anchors: list[Anchor], digests: Mapping[int, str]) -> Iterator[Finding]:
    good = 0
    for anchor in anchors:
        by = anchor.where or f"the digest {_shown(anchor.digest[:16])}…"
        if anchor.seq > head:
            which = f"entry {head + 1}" if anchor.seq == head + 1 else f"entries {head + 1} to {anchor.seq}"
            text = f"Of {chain}, {which} cannot be found, removed at the end: {by} names entry {anchor.seq}."
        elif anchor.seq not in digests:
            text = f"Entry {anchor.seq} of {chain}, which {by} names, is missing."
        elif not _same(digests[anchor.seq], anchor.digest):
            text = (
                f"Entry {anchor.seq} of {chain} is not the one that {by} names: {_since(good, anchor.seq)}."
            )
        else:
            good = anchor.seq
            continue
        yield Finding("damaged", text, chain, anchor.seq)
    yield Finding("note", _unseen(chain, head, good), chain, head)


def _same(here: str, outside: str) -> bool:
    return len(outside) >= _MIN_DIGEST and here.startswith(outside.lower())


def _since(good: int, bad: int) -> str:
    after = f" after entry {good}" if good else ""
    return "it was altered" if bad == good + 1 else f"it was altered, or the chain written anew{after}"


def _unseen(chain: str, head: int, good: int) -> str:
    if not good:
        return (
            f"No digest of {chain} held outside this computer agrees or was given: entries removed from the "
            f"end, or a chain written anew from some entry on, could not be seen (--pages FOLDER compares "
            f"with pages that were handed out)."
        )
    return (
        f"A digest held outside this computer agrees with entry {good} of {chain} (now {head} entries): a "
        f"removal or rewriting up to it would show, the removal of entries after it could not be seen."
    )


def _damaged(text: str) -> Finding:
    return Finding("damaged", text)


def _shown(text: str) -> str:
    """Return text of a damaged book so that it can be printed."""
    return str(text).encode("utf-8", "backslashreplace").decode()
