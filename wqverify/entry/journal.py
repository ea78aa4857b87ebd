"""The journal of a visit: one line of JSON for each thing done, on disk before it is acknowledged.

NAME.journal.jsonl lies beside the field sheet NAME.toml. Lines are only ever appended, and one process at a
time may do it. What a power cut left half written behind the last line is cut off and kept in the next one.
A beginning of several lines states their number; a file that holds fewer is half begun, and begun again.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from contextlib import ExitStack, suppress
from dataclasses import replace
from pathlib import Path
from typing import Self

import wqverify
from wqverify.durable import make_folder
from wqverify.entry.journal_lines import (
    ATTACHED,
    DOINGS,
    FORMAT,
    SUFFIX,
    JournalLine,
    journal_path,
    parted,
    read_journal,
    said_in,
    shown,
    stamped,
)
from wqverify.errors import ChooseAnother, CouldNotRun, RepairTheFolder

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

__all__ = [
    "ATTACHED",
    "DOINGS",
    "SUFFIX",
    "Journal",
    "JournalLine",
    "journal_path",
    "read_journal",
    "shown",
    "stamped",
]
_END = ord("\n")
_BEYOND = 2**31 - 2  # a byte no journal reaches: Windows lets nobody read the bytes that are locked


class Journal:
    """The journal of one visit, open for appending: locked until ``close`` or the end of the process."""

    def __init__(self, path: Path, handle: int, data: bytes) -> None:
        self.path = path
        self._handle = handle
        lines, self._torn = parted(data)
        self._lines = list(lines)
        self._size = len(data) - len(self._torn)
        self._unclean = False  # something of a refused line may stand behind the last one

    @classmethod
    def begin(
        cls,
        path: Path,
        at: str,
        *,
        procedure: str,
        revision: int,
        tag: str,
        more: tuple[JournalLine, ...] = (),
    ) -> Self:
        """Begin a journal, with more lines at once where a sheet is taken up; all are on the disk or none.

        Raises ChooseAnother where there is one. A file in which not the whole beginning stands is what a
        power cut left of it: it is begun again.
        """
        make_folder(path.parent)
        line = JournalLine(
            at=at,
            do="begin",
            format=FORMAT,
            procedure=procedure,
            revision=revision,
            tag=tag,
            wqverify=wqverify.__version__,
            lines=1 + len(more) if more else 0,
        )
        with ExitStack() as unless_begun:
            journal = cls._locked(path, os.O_CREAT)
            unless_begun.callback(journal._given_up)
            if journal._lines:
                raise ChooseAnother(
                    f"{path.name} exists already: this visit was begun at {shown(journal._lines[0].at)}. "
                    f"Go on with it by `wqverify step`, or give the new sheet another name.",
                    found=path.name,
                    where=path.name,
                )
            journal._write_first(line, *more)
            journal._remember()
            unless_begun.pop_all()
        return journal

    @classmethod
    def resume(cls, path: Path, at: str) -> Self:
        """Open a journal again, with a line that says so and keeps what was cut off.

        Raises ChooseAnother while it is open in another window, RepairTheFolder where it is damaged.
        """
        with ExitStack() as unless_resumed:
            journal = cls._locked(path, 0)
            unless_resumed.callback(journal.close)
            if not journal._lines:
                first, end, _rest = journal._torn.partition(b"\n")
                held = "only a part of its beginning" if end and said_in(first) else "no whole line"
                raise RepairTheFolder(
                    f"{path.name} holds {held}, so nothing was entered in it; remove the file and "
                    f"begin the visit again.",
                    where=path.name,
                )
            journal._write_first(JournalLine(at=at, do="resume"))
            unless_resumed.pop_all()
        return journal

    @classmethod
    def _locked(cls, path: Path, create: int) -> Self:
        flags = os.O_RDWR | os.O_APPEND | create | getattr(os, "O_BINARY", 0)
        try:
            handle = os.open(path, flags, 0o644)
        except OSError as problem:
            raise CouldNotRun(
                f"{path.name} could not be opened ({problem.strerror or problem}); nothing was lost: make "
                f"room or let this user write there, then go on by `wqverify step`.",
                found=str(problem),
                where=path.name,
            ) from problem
        with ExitStack() as unless_locked:
            unless_locked.callback(os.close, handle)
            _lock(handle, path)
            journal = cls(path, handle, path.read_bytes())
            unless_locked.pop_all()
        return journal

    def _given_up(self) -> None:
        """Close a journal that was not begun; an empty file would look like a visit that was."""
        if not self._lines and not self._torn:
            with suppress(OSError):
                self.path.unlink()
        self.close()

    @property
    def lines(self) -> tuple[JournalLine, ...]:
        """Everything that was done, in order."""
        return tuple(self._lines)

    def append(self, *lines: JournalLine) -> None:
        """Write lines behind the last one; they are on the disk when this returns, or none of them is.

        Raises CouldNotRun where the disk refuses, or where the file is not what this window left.
        """
        numbered = self._numbered(lines)
        data = b"".join(line.written() for line in numbered)
        self._insist_on_own_file()
        try:
            _write_whole(self._handle, data)
            os.fsync(self._handle)
        except OSError as problem:
            self._unclean = True  # where it cannot be cut off now, it is before the next line is written
            with suppress(OSError):
                os.ftruncate(self._handle, self._size)
            raise self._not_saved(problem) from problem
        self._size += len(data)
        self._lines += numbered

    def close(self) -> None:
        """Give the lock back; a second time does nothing."""
        if self._handle >= 0:
            os.close(self._handle)  # which gives the lock back too
            self._handle = -1

    def _numbered(self, lines: Iterable[JournalLine]) -> list[JournalLine]:
        return [replace(line, n=number) for number, line in enumerate(lines, len(self._lines) + 1)]

    def _write_first(self, first: JournalLine, *more: JournalLine) -> None:
        """Append the first lines of this session; what was cut off stands in the first of them."""
        torn = self._torn
        if not torn:
            self.append(first, *more)
            return
        cut = replace(first, cut=len(torn), torn=torn.decode(errors="backslashreplace"))
        numbered = self._numbered((cut, *more))
        data = b"".join(line.written() for line in numbered)
        try:
            if not self._lines:
                self._join_lines(torn)
            # Over the torn bytes in one write, longer than they are because it holds them: there is no moment
            # at which they stand nowhere.
            self._write_at_end(data)
        except OSError as problem:
            with suppress(OSError):
                self._write_at_end(torn)
            raise self._not_saved(problem) from problem
        self._torn = b""
        self._size += len(data)
        self._lines += numbered

    def _join_lines(self, torn: bytes) -> None:
        """Make one line of what stands of a beginning, so that it is half begun at every moment from here.

        Where it is written over only in part, whole lines behind that part would look like a damaged journal.
        The first goes last: as long as it is whole, it tells that others are missing.
        """
        ends = [place for place, byte in enumerate(torn) if byte == _END]
        if not ends:
            return
        handle = os.open(self.path, os.O_WRONLY | getattr(os, "O_BINARY", 0))
        try:
            for places in (ends[1:], ends[:1]):
                for place in places:
                    os.lseek(handle, place, os.SEEK_SET)
                    _write_whole(handle, b" ")
                os.fsync(handle)
        finally:
            os.close(handle)

    def _write_at_end(self, data: bytes) -> None:
        """Write behind the last whole line, over whatever stands there."""
        handle = os.open(self.path, os.O_WRONLY | getattr(os, "O_BINARY", 0))
        try:
            os.lseek(handle, self._size, os.SEEK_SET)
            _write_whole(handle, data)
            os.ftruncate(handle, self._size + len(data))
            os.fsync(handle)
        finally:
            os.close(handle)

    def _remember(self) -> None:
        """Make the folder remember a new file."""
        if os.name == "posix":
            try:
                folder = os.open(self.path.parent, os.O_RDONLY)
                try:
                    os.fsync(folder)
                finally:
                    os.close(folder)
            except OSError as problem:
                raise self._not_saved(problem) from problem

    def _insist_on_own_file(self) -> None:
        """Raise CouldNotRun unless the file by this name is the one that is open, as this window left it."""
        try:
            mine, there = os.fstat(self._handle), os.stat(self.path)
            same = os.path.samestat(mine, there)
            if same and mine.st_size > self._size and self._unclean:
                os.ftruncate(self._handle, self._size)
                mine = os.fstat(self._handle)
        except OSError as problem:
            raise self._not_saved(problem) from problem
        if not same or mine.st_size != self._size:
            what = "changed" if same else "moved or replaced"
            raise CouldNotRun(
                f"NOT SAVED: {self.path.name} was {what} by another program while it was open here. Put it "
                f"back as it was, close this window and go on by `wqverify step`.",
                found=what,
                where=self.path.name,
            )
        self._unclean = False

    def _not_saved(self, problem: OSError) -> CouldNotRun:
        return CouldNotRun(
            f"NOT SAVED: {self.path.name} could not be written ({problem.strerror or problem}). All that was "
            f"entered before is kept; make room or repair the disk, then enter this again.",
            found=str(problem),
            where=self.path.name,
        )


def _write_whole(handle: int, data: bytes) -> None:
    if os.write(handle, data) != len(data):
        raise OSError("only a part of it was written")


def _lock(handle: int, path: Path) -> None:
    """Take the lock; raises ChooseAnother where another window has it."""
    try:
        if sys.platform == "win32":
            os.lseek(handle, _BEYOND, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError) as problem:
        raise _open_elsewhere(path) from problem
    except OSError as problem:
        raise CouldNotRun(
            f"{path.name} could not be locked ({problem.strerror or problem}), so two windows could write "
            f"into it; move the plant folder to a disk of this computer.",
            found=str(problem),
            where=path.name,
        ) from problem


def _open_elsewhere(path: Path) -> ChooseAnother:
    since = ""
    with suppress(OSError, RepairTheFolder):
        lines, _torn = read_journal(path.read_bytes())
        since = next((shown(line.at) for line in reversed(lines) if line.do in ("begin", "resume")), "")
    return ChooseAnother(
        f"This sheet is open in another window{f' since {since}' if since else ''} ({path.name}); go on "
        f"there, or close it there first.",
        found=since,
        where=path.name,
    )
