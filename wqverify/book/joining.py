"""Join another book to this one: a union of chains. Nothing is renumbered, merged or written anew.

Taking in adds no entry of its own. So the same books joined in any order, any number of times, on whichever
computer, give the same set of entries, and joining a copy of a book never makes a second history of it.

Every entry is checked before it enters: that its text gives its digest, that it follows the one before and is
followed by the one after, that it says what an entry must say, and that the bytes it keeps are there. Where a
chain does not hold, it is taken as far as it does and the rest is named. Where a chain has two histories,
nothing is taken at all.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import sqlalchemy as sa

from wqverify.book.book import Book
from wqverify.book.entry import (
    EVENTS,
    GENESIS,
    Entry,
    checked_chain,
    digest_of,
    entry_of,
    instant,
    link,
    numbered,
)
from wqverify.book.schema import entries, stored
from wqverify.book.state import RecordState
from wqverify.book.writer import Writer, findable
from wqverify.errors import ResultsDiffer, WqverifyError
from wqverify.records.canonical import digest

_AT_ONCE = 100
_NUMBER = re.compile(r"[A-Za-z0-9]{1,12}-[0-9]{4}-[0-9]{4,}")

_EACH = ("event", "key", "record", "at")
# What is read out of an entry by name later on; others are only shown.
_SAID = {
    "performed": ("by", "pdf", "stored"),
    "signed": ("by", "pdf"),
    "reviewed": ("by", "pdf"),
    "followed up": ("by", "what", "done", "how"),
    "skipped": ("by", "round", "tag", "procedure", "why"),
    "proved": ("file", "stored"),
    "authority made": ("by", "certificate", "withdrawn_list"),
    "key issued": ("by", "certificate", "withdrawn_list"),
    "key withdrawn": ("by", "certificate", "withdrawn_list", "why"),
}


class Line(NamedTuple):
    """An entry as another book holds it: its place, its text, and the digest said beside it."""

    seq: int
    text: str
    digest: str


class Source(Protocol):
    """What is taken in: a book, or a bundle made of one. It is not believed in anything."""

    @property
    def name(self) -> str:
        """What a sentence calls it."""

    def chains(self) -> Sequence[str]:
        """Return the names of its chains."""

    def lines(self, chain: str) -> Iterator[Line]:
        """Yield the entries of a chain in the order of their places."""

    def stored(self, digests: Sequence[str]) -> Mapping[str, bytes]:
        """Return the bytes kept under these digests, as far as they are there."""


@dataclass(frozen=True)
class InBook:
    """A book as a source."""

    book: Book
    name: str

    def chains(self) -> Sequence[str]:
        return self.book.chains()

    def lines(self, chain: str) -> Iterator[Line]:
        query = sa.select(entries.c.seq, entries.c.entry, entries.c.hash)
        return (Line(row.seq, row.entry, row.hash) for row in self.book.rows(query, chain))

    def stored(self, digests: Sequence[str]) -> Mapping[str, bytes]:
        query = sa.select(stored.c.digest, stored.c.bytes).where(stored.c.digest.in_(digests))
        with self.book.reading() as connection:
            return {row.digest: bytes(row.bytes) for row in connection.execute(query)}


@dataclass(frozen=True)
class Joined:
    """What became of one chain: it had ``had`` entries here, now ``head``; ``theirs`` is its last there.

    ``faults`` says what is wrong with it in the source, ``not_taken`` what of it was left there for that.
    """

    chain: str
    had: int
    head: int
    digest: str
    theirs: int
    performed: int = 0
    faults: tuple[str, ...] = ()
    not_taken: str = ""


def join(
    book: Book, source: Source, before_the_end: Callable[[Sequence[Joined]], None] = lambda _joined: None
) -> list[Joined]:
    """Take in what a source holds and this book does not, all of it or nothing; say what became of it.

    ``before_the_end`` is called with what is going to be entered, before it is. Raises ResultsDiffer where a
    chain has two histories: then nothing is entered.
    """
    with book.writing() as writer:
        chains = [_Chain(writer, source, chain).read() for chain in sorted(source.chains())]
        if forks := [chain.fork for chain in chains if chain.fork]:
            raise ResultsDiffer(
                f"{' '.join(forks)} Nothing was taken in from {source.name}. Either two devices bear one "
                f"name (device in plant.toml), or somebody went on with an older copy of a book. Keep both "
                f"books; give one device another name and enter there again, from its sheets, what only it "
                f"holds.",
                where=source.name,
            )
        joined = [chain.enter() for chain in chains]
        before_the_end([one for one in joined if one.head > one.had])
    return joined


class _Chain:
    """One chain of a source beside the same chain here."""

    def __init__(self, writer: Writer, source: Source, name: str) -> None:
        self._writer, self._source, self._name = writer, source, checked_chain(name)
        self._ours = {0: GENESIS, **writer.heads_of(name)}
        self._had = max(self._ours)
        self._new: list[Entry] = []
        self._broken = False  # nothing after this point can be taken
        self._differs: Entry | None = None  # from ours, at a place we have as well
        self._theirs = 0
        self._seen = {0}
        self._faults: list[str] = []
        self.fork = ""

    # ------------------------------------------------------------ reading

    def read(self) -> _Chain:
        """Compare what both have and collect what is new and holds, as far as it holds."""
        for line in self._source.lines(self._name):
            if line.seq > self._theirs + 1:
                self._miss(self._theirs + 1, line.seq - 1)
            self._theirs = max(self._theirs, line.seq)
            read = _read(self._name, line)
            if isinstance(read, str):
                self._fault(f"{read} in {self._source.name}")
                self._broken |= line.seq > self._had
            else:
                self._compare(read)
            if self.fork:
                return self
        if self._differs is not None:
            self._part(self._differs.seq, self._differs.digest, _named(self._differs))
        return self

    def _miss(self, first: int, last: int) -> None:
        which = f"entry {first} is" if first == last else f"entries {first} to {last} are"
        here = "" if last > self._had else "; here it is" if first == last else "; here they are"
        self._fault(f"Of {self._name}, {which} missing in {self._source.name}{here}")
        self._broken |= last > self._had

    def _compare(self, entry: Entry) -> None:
        if self._differs is not None:
            other, self._differs = self._differs, None
            if entry.seq == other.seq + 1 and entry.prev == self._ours[other.seq]:
                self._fault(f"Entry {other.seq} of {self._name} was altered in {self._source.name}")
            else:
                return self._part(other.seq, other.digest, _named(other))
        if entry.seq <= self._had:
            self._seen.add(entry.seq)
            self._differs = entry if entry.digest != self._ours.get(entry.seq) else None
        elif not self._broken:
            self._extend(entry)
        return None

    def _extend(self, entry: Entry) -> None:
        before = self._new[-1] if self._new else None
        if entry.prev == (before.digest if before else self._ours[self._had]):
            self._new.append(entry)
            return
        if before is None and self._had not in self._seen:
            return self._part(self._had, entry.prev, "which it lacks itself")
        self._fault(
            f"Entry {entry.seq} of {self._name} does not follow entry {entry.seq - 1} in "
            f"{self._source.name}: one of the two was replaced"
        )
        self._new = self._new[:-1]  # it may be the one that was replaced
        self._broken = True

    def _part(self, seq: int, digest: str, what: str) -> None:
        self.fork = (
            f"{self._name} has two histories: its entry {seq} is {self._ours[seq][:16]}… here and "
            f"{digest[:16]}… ({what}) in {self._source.name}."
        )

    def _fault(self, what: str) -> None:
        self._faults.append(f"{what}.")

    # ------------------------------------------------------------ entering

    def enter(self) -> Joined:
        """Enter what is new, a hundred entries at a time, as far as what belongs to it is there."""
        head, digest, performed = self._had, self._ours[self._had], 0
        for entry, data in self._with_bytes():
            self._writer.take_in(entry, data)
            head, digest = entry.seq, entry.digest
            performed += entry.event == "performed"
        left = ""
        if head < self._theirs:
            one = head + 1 == self._theirs
            which = f"entry {head + 1} was" if one else f"entries {head + 1} to {self._theirs} were"
            left = f"Of {self._name}, {which} not taken."
        return Joined(self._name, self._had, head, digest, self._theirs, performed, tuple(self._faults), left)

    def _with_bytes(self) -> Iterator[tuple[Entry, bytes | None]]:
        counts: dict[int, int] = {}
        for start in range(0, len(self._new), _AT_ONCE):
            some = self._new[start : start + _AT_ONCE]
            kept = self._source.stored([str(e.body["stored"]) for e in some if "stored" in e.body])
            for entry in some:
                data = kept.get(str(entry.body["stored"])) if "stored" in entry.body else None
                fault = self._wrong_bytes(entry, data) or self._wrong_number(entry, counts)
                if fault:
                    return self._fault(f"Entry {entry.seq} of {self._name} in {self._source.name}: {fault}")
                yield entry, data

    @staticmethod
    def _wrong_bytes(entry: Entry, data: bytes | None) -> str:
        if link(entry.chain, entry.seq, entry.prev, entry.body) != (entry.text, entry.digest):
            return "its text is not in the one form that is entered"
        if "stored" not in entry.body:
            return ""
        whose = entry.record or "it"
        if data is None:
            return f"the bytes kept for {whose} are missing"
        return "" if digest(data) == entry.body["stored"] else f"the bytes kept for {whose} are others"

    def _wrong_number(self, entry: Entry, counts: dict[int, int]) -> str:
        if entry.event != "performed":
            return ""
        year = int(entry.record.split("-")[1])
        if year not in counts:
            counts[year] = self._writer.count_of(self._name, year)
        counts[year] += 1
        expected = numbered(self._name, year, counts[year])
        return "" if entry.record == expected else f"it is record {entry.record} where {expected} comes next"


# ---------------------------------------------------------------- one entry


def _read(chain: str, line: Line) -> Entry | str:
    """Return the entry a line holds, or what is wrong with it; nothing beside its text is believed."""
    which = f"Entry {line.seq} of {chain}"
    own = digest_of(line.text.encode("utf-8", "backslashreplace"))
    if line.digest != own:
        return f"{which} was altered, its text does not give its digest,"
    try:
        entry = entry_of(line.text, own)
        at_its_place = (entry.chain, entry.seq) == (chain, line.seq) and type(entry.seq) is int
        wrong = _wrong_words(entry)
    except (WqverifyError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return f"{which} is not the text of an entry"
    if not at_its_place:
        return f"{which} stands at a place that is not its own"
    return f"{which} {wrong}" if wrong else entry


def _wrong_words(entry: Entry) -> str:
    """Return what an entry does not say, or says in words this version does not know; raises for nonsense."""
    if entry.event not in EVENTS:
        return f"is of a kind this version does not know ({entry.event!r}), take it in with the newer one,"
    instant(entry.at)
    wanted = (*_EACH, *_SAID.get(entry.event, ()), *({"stored"} & entry.body.keys()))
    lacking = [word for word in wanted if not isinstance(entry.body.get(word), str)]
    if "\\u0000" in entry.text:
        return "holds a character that no text may hold"
    if entry.event == "performed":
        lacking += [
            word for word, said in findable(entry).items() if word != "seq" and not isinstance(said, str)
        ]
        lacking += [] if _NUMBER.fullmatch(entry.record) else ["the number of a record"]
        state = RecordState(entry.record, (entry,))
        _ = state.outcomes, state.values, state.facts  # raise where they are none
    return f"does not say {', '.join(lacking)}" if lacking else ""


def _named(entry: Entry) -> str:
    return f"{entry.event} {entry.record}".strip() + f", {entry.at[:16]}"
