"""The signed PDFs go into the pack as they are; one that is missing or damaged is named."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from wqverify.book import RecordState
from wqverify.pack.names import Names
from wqverify.pack.target import Target, blocks_of
from wqverify.pages import page_path
from wqverify.plant.folder import Plant

FOLDER = "pages"
AS_IN_THE_BOOK = "as in the book"


@dataclass(frozen=True, slots=True)
class Page:
    """A PDF in the pack: its name there, its digest, and what became of it; no name where it is missing."""

    name: str
    digest: str
    said: str
    path: Path | None = None

    @property
    def good(self) -> bool:
        return self.said == AS_IN_THE_BOOK

    def bytes_in_the_book(self) -> bytes:
        """Return the file where it is the one the book holds; none where it is not, which is told."""
        return self.path.read_bytes() if self.good and self.path is not None else b""


def put_page(target: Target, plant: Plant, state: RecordState, names: Names) -> Page:
    """Copy the PDF of a record into the pack and say whether it is the one the book holds."""
    home = page_path(plant.folder, state.number)
    name = names.free(home.name)
    # Signed and entered, and not yet in its place: an interrupted command left it beside.
    for path in (home, home.with_name(home.name + ".part")):
        found, problem = _digest(path)
        if found and found == state.file_digest:
            return _put(target, path, name, AS_IN_THE_BOOK)
    found, problem = _digest(home)
    if not found:
        return Page("", "", problem)
    if not state.file_digest:
        return _put(
            target, home, name, "the book names no PDF of this record; nothing says that it is the one."
        )
    known = {str(event.body["pdf"]) for event in state.events if "pdf" in event.body}
    what = "an older copy, before the last signature" if found in known else "changed or damaged"
    return _put(target, home, name, f"not the file the book holds: {what}.")


def _put(target: Target, path: Path, name: str, said: str) -> Page:
    inside = f"{FOLDER}/{name}"
    target.add_file(inside, path)
    return Page(name, target.digests[inside], said, path)


def _digest(path: Path) -> tuple[str, str]:
    """Return the digest of a file, or why there is none."""
    hashed = hashlib.sha256()
    try:
        for block in blocks_of(path):
            hashed.update(block)
    except FileNotFoundError:
        return "", f"missing: there is no {path.name} in book/pages."
    except OSError as problem:
        return "", f"missing: {path.name} cannot be read ({problem.strerror or problem})."
    return hashed.hexdigest(), ""
