"""Write a file so that a kill or a full disk leaves the old one or the new one, never half of it."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from wqverify.errors import CouldNotRun


def write_durably(path: Path, data: bytes, *, mode: int = 0o644) -> None:
    """Write beside, fsync, rename, fsync the folder; raises CouldNotRun when the disk refuses."""
    part = path.with_name(path.name + ".part")
    write_part(part, data, mode=mode)
    rename_durably(part, path)


def write_part(path: Path, data: bytes, *, mode: int = 0o644) -> None:
    """Write and fsync a file that another step will rename; a failed one leaves nothing behind."""
    try:
        make_folder(path.parent)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as problem:
        with suppress(OSError):  # where its folder cannot be, there is no part of it either
            path.unlink(missing_ok=True)
        raise _refused(path, problem) from problem


def make_folder(path: Path, *, mode: int = 0o777) -> None:
    """Make a folder with those above it; raises CouldNotRun when the disk refuses."""
    try:
        path.mkdir(mode=mode, parents=True, exist_ok=True)
    except OSError as problem:
        raise CouldNotRun(
            f"The folder {path} could not be made ({problem.strerror or problem}); name another place, or "
            f"make room there, then run the same command again.",
            found=str(problem),
            where=str(path),
        ) from problem


def rename_durably(part: Path, path: Path) -> None:
    """Rename in one step and make the folder remember it; raises CouldNotRun when the disk refuses."""
    try:
        os.replace(part, path)
        if os.name == "posix":
            folder = os.open(path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
    except OSError as problem:
        raise _refused(path, problem) from problem


def _refused(path: Path, problem: OSError) -> CouldNotRun:
    return CouldNotRun(
        f"{path.name} could not be written ({problem.strerror or problem}); nothing was lost: "
        f"make room or repair the disk, then run the same command again.",
        found=str(problem),
        where=path.name,
    )
