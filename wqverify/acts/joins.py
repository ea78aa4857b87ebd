"""Who took in what and when: a log beside the book, as taking in adds nothing to any chain.

A line is written before the entries enter, and another one when the pages are in place. A line whose entries
are not in the book was of a command that was stopped before; it is passed over.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wqverify.book import Book, Joined
from wqverify.durable import make_folder
from wqverify.errors import CouldNotRun

NAME = "taken_in.jsonl"


@dataclass(frozen=True)
class Join:
    """One time that another book was taken in; ``chains``: first and last entry of each, and its digest."""

    at: str
    by: str
    device: str
    source: str
    chains: Mapping[str, tuple[int, int, str]]
    ended: bool

    @property
    def told(self) -> str:
        """One line to read."""
        what = ", ".join(f"{c} {first} to {last} ({d[:16]}…)" for c, (first, last, d) in self.chains.items())
        end = "" if self.ended else "; pages not all copied, run it again"
        return f"{self.at}  {self.device}, by {self.by or 'not said'}, from {self.source}: {what}{end}"


def begin(folder: Path, at: str, by: str, device: str, source: str, joined: Sequence[Joined]) -> None:
    """Write down what is about to enter."""
    chains = {one.chain: (one.had + 1, one.head, one.digest) for one in joined}
    _write(folder, {"begun": at, "by": by, "device": device, "source": source, "chains": chains})


def end(folder: Path, joins: Sequence[Join]) -> None:
    """Write down that the pages of these are in place."""
    for join in joins:
        _write(folder, {"ended": join.at, "heads": _heads(join.chains)})


def joins_of(folder: Path, book: Book) -> list[Join]:
    """Return the times another book was taken in, of those whose entries are in the book."""
    lines = list(_lines(folder))
    ended = [line.get("heads") for line in lines if "ended" in line]
    found = []
    for line in lines:
        if "begun" not in line:
            continue
        try:
            chains = {str(c): (int(a), int(b), str(d)) for c, (a, b, d) in line["chains"].items()}
        except (KeyError, ValueError, TypeError, AttributeError):
            continue  # somebody edited it: it is told, not proven
        if all(book.digest_at(chain, last) == digest for chain, (_first, last, digest) in chains.items()):
            at, by, device, source = (str(line.get(word, "")) for word in ("begun", "by", "device", "source"))
            found.append(Join(at, by, device, source, chains, _heads(chains) in ended))
    return found


def _heads(chains: Mapping[str, tuple[int, int, str]]) -> dict[str, str]:
    return {chain: digest for chain, (_first, _last, digest) in chains.items()}


def _lines(folder: Path) -> Iterator[dict[str, Any]]:
    path = folder / "book" / NAME
    if not path.is_file():
        return
    for row in path.read_text("utf-8", "replace").splitlines():
        try:
            line = json.loads(row)
        except ValueError:
            continue  # a kill tore it
        if isinstance(line, dict):
            yield line


def _write(folder: Path, line: Mapping[str, Any]) -> None:
    """Add a line that is on the disk when this returns; one that a kill tore is ended first."""
    path = folder / "book" / NAME
    make_folder(path.parent)
    try:
        with open(path, "ab+") as stream:
            if stream.tell():
                stream.seek(-1, os.SEEK_END)
                torn = stream.read(1) != b"\n"
                stream.write(b"\n" if torn else b"")
            stream.write(json.dumps(line).encode() + b"\n")
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as problem:
        raise CouldNotRun(
            f"book/{NAME} could not be written ({problem.strerror}); nothing was taken in: make room or "
            f"repair the disk, then run the same command again.",
            where=str(path),
        ) from problem
