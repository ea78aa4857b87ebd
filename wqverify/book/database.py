"""What a book needs of the database it is in."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager
from typing import Protocol

import sqlalchemy as sa

from wqverify.errors import WqverifyError


class Database(Protocol):
    """A file or a server. Every error that leaves it is one sentence for a person."""

    @property
    def place(self) -> str:
        """What ``open_book`` opens it by again; it never holds a password."""

    @property
    def name(self) -> str:
        """What a sentence calls it."""

    def connect(self, *, writing: bool) -> sa.Connection:
        """Connect to see one state of the book; a writer holds its lock before it sees anything."""

    def in_words(self) -> AbstractContextManager[None]:
        """Raise what the database says inside the block as an error of wqverify."""

    def damaged(self, said: str) -> WqverifyError:
        """Return the error of a database that is no book, or no longer one."""

    def format_of(self, connection: sa.Connection) -> str:
        """Return the format of the book in it; raises where it holds none."""

    def faults(self, connection: sa.Connection) -> list[str]:
        """Return what the database itself finds wrong with what it keeps; empty when sound."""

    def unguarded(self, connection: sa.Connection) -> Iterator[tuple[bool, str]]:
        """Yield which guards of the entries are missing: (whether this is damage, a sentence)."""
