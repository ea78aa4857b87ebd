"""The month a pack is of, and where each chain of the book stood when it began, ended, and now."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo

from wqverify.book import GENESIS, Book, Entry
from wqverify.book.entry import CHANGES, instant
from wqverify.errors import CorrectTheEntry
from wqverify.pack.script.chain import Chain, digest_of_entry
from wqverify.plant.files import shortened

KEYS = ("authority made", "key issued", "key withdrawn")
_MONTH = re.compile(r"(?!0000)[0-9]{4}-(0[1-9]|1[0-2])")


def insist_on_month(month: str, zone: tzinfo, now: datetime) -> None:
    """Raise CorrectTheEntry for anything but a month such as 2026-03, and for one that has not begun."""
    if not _MONTH.fullmatch(month):
        raise CorrectTheEntry(f"{shortened(month)} is not a month; type it as 2026-03.", found=month[:40])
    if month > month_of(now, zone):
        raise CorrectTheEntry(
            f"{month} has not begun: this computer's clock says {now.astimezone(zone).date()}; name that "
            f"month or an earlier one.",
            found=month,
            expected=f"{month_of(now, zone)} or earlier",
        )


def month_of(at: datetime, zone: tzinfo) -> str:
    """Return the month of a time by the plant's clock, as 2026-03."""
    return at.astimezone(zone).isoformat()[:7]


@dataclass(frozen=True, slots=True)
class ChainHead:
    """Where a chain stood: the newest entry it had, entry 0 with a digest of zeros before the first."""

    chain: str
    seq: int
    digest: str

    def __str__(self) -> str:
        return f"{self.chain}:{self.seq}:{self.digest}"


@dataclass
class Heads:
    """The heads of one chain: before the month began, when it had ended, and now."""

    begin: ChainHead
    end: ChainHead
    now: ChainHead


@dataclass
class Walked:
    """What a walk along the chains found."""

    month: str
    zone: tzinfo
    heads: dict[str, Heads] = field(default_factory=dict)
    chains: dict[str, Chain] = field(default_factory=dict)  # the digest of each entry, as its text gives it
    changes: list[Entry] = field(default_factory=list)  # entered in the month: changes, keys
    first: str = ""  # when the first entry of all was made
    newest: str = ""  # when the newest entry of all was made: the book's own clock

    @property
    def bounds(self) -> tuple[datetime, datetime]:
        """The first moment of the month by the plant's clock, and that of the next month."""
        year, month = map(int, self.month.split("-"))
        first = datetime(year, month, 1, tzinfo=self.zone)
        after = (first + timedelta(days=32)).replace(day=1)
        return first, after

    def lines(self, book: Book, chain: str) -> Iterator[bytes]:
        """Give the canonical text of the entries of a chain, one a line, and note what they say."""
        at_first = ChainHead(chain, 0, GENESIS)
        heads = self.heads[chain] = Heads(at_first, at_first, at_first)
        digests = self.chains.setdefault(chain, Chain(chain)).digests
        begun = over = False
        for entry in book.entries(chain):
            at = instant(entry.at)
            month = month_of(at, self.zone)
            begun, over = begun or month >= self.month, over or month > self.month
            heads.now = ChainHead(chain, entry.seq, entry.digest)
            if not begun:
                heads.begin = heads.now
            if not over:
                heads.end = heads.now
            digests[entry.seq] = digest_of_entry(entry.text.encode("utf-8", "surrogateescape"))
            self._note(entry, month)
            yield entry.text.encode("utf-8", "surrogateescape") + b"\n"

    def _note(self, entry: Entry, month: str) -> None:
        if not self.first or instant(entry.at) < instant(self.first):
            self.first = entry.at
        if not self.newest or instant(entry.at) > instant(self.newest):
            self.newest = entry.at
        if month == self.month and (entry.event in CHANGES or entry.event in KEYS):
            self.changes.append(entry)
