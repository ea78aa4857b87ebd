"""What a database can say, as one sentence with what to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from wqverify.errors import CouldNotRun, RepairTheFolder, WqverifyError

_IN_USE = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_DISK = {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR}
_SHUT = {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH}
# SQLITE_ERROR: a statement of ours names a table or column that the file lacks.
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR}


@contextmanager
def told_in_words(path: Path, timeout_s: float) -> Iterator[None]:
    """Raise what the database says as an error of wqverify; other errors pass unchanged."""
    try:
        yield
    except DBAPIError as problem:
        raise _sentence(path, timeout_s, problem.orig) from problem
    except sqlite3.Error as problem:
        raise _sentence(path, timeout_s, problem) from problem


def _sentence(path: Path, timeout_s: float, problem: BaseException | None) -> WqverifyError:
    code = getattr(problem, "sqlite_errorcode", 0) & 0xFF
    where, said = str(path), str(problem)
    if code in _IN_USE:
        return CouldNotRun(
            f"The book {where} was in use by another program for {timeout_s:g} s; nothing was entered: wait "
            f"until it has finished, or close it, then run the same command again.",
            found=said,
            where=where,
        )
    if code in _DISK:
        return CouldNotRun(
            f"The disk of the book {where} is full or failing ({said}); nothing was entered and nothing was "
            f"lost: make room or repair the disk, then run the same command again.",
            found=said,
            where=where,
        )
    if code in _SHUT:
        return CouldNotRun(
            f"The book {where} may only be read here ({said}); nothing was entered: allow writing to the "
            f"file and its folder, then run the same command again.",
            found=said,
            where=where,
        )
    if code in _DAMAGED:
        return damaged(path, said)
    if code == sqlite3.SQLITE_CANTOPEN:
        return RepairTheFolder(
            f"The book {where} cannot be opened ({said}); check that its folder is there and that you may "
            f"write into it.",
            found=said,
            where=where,
        )
    return CouldNotRun(
        f"The book {where} refused ({said}); nothing was entered. This is a fault of the program: keep the "
        f"sheet and report it.",
        found=said,
        where=where,
    )


def damaged(path: Path, said: str) -> RepairTheFolder:
    """Return the error of a file that is no book, or no longer one."""
    return RepairTheFolder(
        f"The book {path} is damaged, or is no record book ({said}); put back its newest good copy, then "
        f"compare that with the pages handed out: wqverify book examine --pages FOLDER.",
        found=said,
        where=str(path),
    )
