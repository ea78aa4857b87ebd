"""The page files beside the book: where they are, what an interrupted command left, what they hold.

Everything here that moves a file is called while the book is locked for writing, so that no command
takes away what another one has just written.
"""

from __future__ import annotations

from pathlib import Path

from wqverify.book import Book
from wqverify.durable import make_folder, rename_durably
from wqverify.errors import RepairTheFolder, ResultsDiffer
from wqverify.records.canonical import digest

NOT_IN_PLACE = "signed and entered, not yet in its place; the next command puts it there"


def page_path(folder: Path, number: str) -> Path:
    """Return where a plant folder keeps the page of a record."""
    return folder / "book" / "pages" / f"{number}.pdf"


def page_of(folder: Path, number: str, expected: str) -> bytes:
    """Return the bytes of a page; raises where it is missing or not the one with the digest expected."""
    path = page_path(folder, number)
    try:
        data = path.read_bytes()
    except OSError as problem:
        raise RepairTheFolder(
            f"The page {path.name} is missing from book/pages; put its newest copy there.", where=str(path)
        ) from problem
    if digest(data) != expected:
        raise ResultsDiffer(
            f"The page {path.name} is not the one the book holds; nothing was done with it. See "
            f"`wqverify examine {path.name}`, and put the right copy back.",
            found=digest(data),
            expected=expected,
            where=str(path),
        )
    return data


def unfinished(folder: Path, book: Book) -> list[tuple[Path, str]]:
    """Return the files an interrupted command left behind, each with what it is and what becomes of it."""
    found: list[tuple[Path, str]] = []
    there = sorted((folder / "book" / "pages").glob("*"))
    numbers = book.numbers() if there else set()  # asked once: there may be thousands of pages
    for path in there:
        number = path.name.removesuffix(".part").removesuffix(".pdf")
        if path.suffix == ".part":
            state = book.find(number)
            entered = state is not None and digest(path.read_bytes()) == state.file_digest
            found.append((path, NOT_IN_PLACE if entered else "written, never entered; will be moved aside"))
        elif number not in numbers:
            found.append((path, "a page without an entry in the book; will be moved aside"))
    return found


def settle(folder: Path, book: Book) -> list[str]:
    """Finish or move aside what an interrupted command left behind; returns what was done."""
    done = []
    for path, what in unfinished(folder, book):
        if what == NOT_IN_PLACE:
            rename_durably(path, path.with_suffix(""))
            done.append(f"{path.stem} put in its place")
        else:
            done.append(f"{path.name} moved to {move_aside(path)}")
    return done


def move_aside(path: Path, book: Path | None = None) -> str:
    """Move a file to book/moved_aside under a name that is free; nothing is ever overwritten.

    ``book`` is the folder of the book, where the file is not one of its pages.
    """
    folder = (book or path.parent.parent) / "moved_aside"
    make_folder(folder)
    count = 1
    while (target := folder / f"{count:03d} {path.name}").exists():
        count += 1
    rename_durably(path, target)
    return f"book/moved_aside/{target.name}"
