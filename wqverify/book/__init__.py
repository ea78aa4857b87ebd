"""The record book: append-only, hash-chained events; a set of chains, one per device."""

from wqverify.book.book import Book, has_book, open_book
from wqverify.book.entry import EVENTS, GENESIS, PREFIX, Entry, instant
from wqverify.book.examine import Anchor, Finding, compare_anchors, verify
from wqverify.book.joining import InBook, Joined, Source, join
from wqverify.book.known import KnownVisits, known_visits, stored_one_by_one
from wqverify.book.parted import ended_twice, undecided, visits_twice
from wqverify.book.series import (
    Stands,
    accepted_registers,
    last_standing,
    standing_since,
    stored_of_tag,
)
from wqverify.book.state import RecordState
from wqverify.book.stored import StoredRecord
from wqverify.book.visits import is_of_day, visits_on_round
from wqverify.book.writer import Writer

__all__ = [
    "EVENTS",
    "GENESIS",
    "PREFIX",
    "Anchor",
    "Book",
    "Entry",
    "Finding",
    "InBook",
    "Joined",
    "KnownVisits",
    "RecordState",
    "Source",
    "Stands",
    "StoredRecord",
    "Writer",
    "accepted_registers",
    "compare_anchors",
    "ended_twice",
    "has_book",
    "instant",
    "is_of_day",
    "join",
    "known_visits",
    "last_standing",
    "open_book",
    "standing_since",
    "stored_of_tag",
    "stored_one_by_one",
    "undecided",
    "verify",
    "visits_on_round",
    "visits_twice",
]
