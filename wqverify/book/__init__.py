"""The record book: append-only, hash-chained events; a set of chains, one per device."""

from wqverify.book.book import Book, StoredRecord, open_book
from wqverify.book.entry import EVENTS, GENESIS, PREFIX, Entry
from wqverify.book.state import RecordState
from wqverify.book.writer import Writer

__all__ = [
    "EVENTS",
    "GENESIS",
    "PREFIX",
    "Book",
    "Entry",
    "RecordState",
    "StoredRecord",
    "Writer",
    "open_book",
]
