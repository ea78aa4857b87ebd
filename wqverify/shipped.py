"""Where the folders that ship with the package are."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from wqverify.errors import CouldNotRun


def shipped_folder(name: str) -> Path:
    """Return a shipped top-level folder: the packaged copy first, then the source tree."""
    package = Path(str(files("wqverify")))
    packaged = package / "_shipped" / name
    if packaged.is_dir():
        return packaged
    source = package.parent / name
    if (package.parent / "pyproject.toml").is_file() and source.is_dir():
        return source
    raise CouldNotRun(
        f"The folder {name} is missing from this installation; install wqverify again.", where=name
    )
