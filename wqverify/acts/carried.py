"""What is carried from one computer to another: a plant folder, the file of a book, or a bundle made of one.

A bundle is a zip file laid out like a plant folder: its plain files and certificates, the pages, and the book
as text, ``book/chains/NAME.txt`` (digest and canonical text of an entry, one a line) and
``book/stored/DIGEST``.
"""

from __future__ import annotations

import json
import re
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from wqverify.acts.shared import Tell, quiet, settled
from wqverify.book import InBook, Source, open_book
from wqverify.book.joining import Line
from wqverify.durable import make_folder, rename_durably
from wqverify.errors import ChooseAnother, CouldNotRun, RepairTheFolder, WqverifyError
from wqverify.plant.address import is_address, shown
from wqverify.plant.folder import ROUNDS, Plant, open_plant, place_of_book

MARK, WORDS = "book/bundle.txt", "wqverify bundle 1\n"
FILES = ("plant.toml", "analyzers.toml", "people.toml", "standards_on_hand.toml", ROUNDS)
_LARGEST = 256_000_000  # bytes of one file in a bundle; a page has some hundred thousand
_CHAIN = re.compile(r"book/chains/([A-Za-z0-9]{1,12})\.txt")
_CERTIFICATE = re.compile(r"certificates/([A-Za-z0-9._-]{1,80}\.(?:pem|crl))")


class Files(Protocol):
    """The files beside a book, by their places in a plant folder."""

    def names(self) -> list[str]:
        """Return the names of its certificates and plain files."""

    def read(self, name: str) -> bytes | None:
        """Return the bytes of a file, None where there is none."""


@dataclass(frozen=True)
class Other:
    """Another book with what lies beside it."""

    name: str
    place: str  # of its book
    source: Source
    files: Files

    def page(self, number: str) -> bytes | None:
        """Return the page it keeps of a record, None for none."""
        return self.files.read(f"book/pages/{number}.pdf")

    def certificates(self) -> list[str]:
        """Return the names of its certificates."""
        return [found[1] for name in self.files.names() if (found := _CERTIFICATE.fullmatch(name))]

    def plant(self) -> Plant | None:
        """Return its plant folder as read, None where it brings none; raises what is wrong with it."""
        told = {name: data for name in FILES if (data := self.files.read(name)) is not None}
        if FILES[0] not in told:
            return None
        with tempfile.TemporaryDirectory() as made:
            for name, data in told.items():
                (Path(made) / name).write_bytes(data)
            return open_plant(Path(made))


@dataclass(frozen=True)
class _InFolder:
    """Files of a plant folder; ``pages`` is where its pages are."""

    folder: Path | None
    pages: Path

    def names(self) -> list[str]:
        if self.folder is None:
            return []
        return [f"certificates/{path.name}" for path in sorted((self.folder / "certificates").glob("*"))]

    def read(self, name: str) -> bytes | None:
        page = name.removeprefix("book/pages/")
        path = self.pages / page if page != name else self.folder / name if self.folder else None
        try:
            return path.read_bytes() if path is not None and path.is_file() else None
        except OSError as problem:
            raise CouldNotRun(
                f"{path} cannot be read ({problem.strerror}); what was taken in before stays, run the same "
                f"command again.",
                where=str(path),
            ) from problem


@dataclass(frozen=True)
class _Bundle:
    """A bundle as a source, and the files in it; nothing of it is ever unpacked."""

    name: str
    zip: zipfile.ZipFile

    def names(self) -> list[str]:
        return sorted(self.zip.namelist())

    def read(self, name: str) -> bytes | None:
        if name not in self.zip.NameToInfo:
            return None
        try:
            if self.zip.getinfo(name).file_size > _LARGEST:
                raise zipfile.BadZipFile("it is too large")
            return self.zip.read(name)
        except (OSError, zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError) as problem:
            raise RepairTheFolder(
                f"{name} in the bundle {self.name} cannot be read ({problem}); make the bundle again: "
                f"wqverify book export FILE.zip.",
                where=self.name,
            ) from problem

    def chains(self) -> Sequence[str]:
        return [found[1] for name in self.names() if (found := _CHAIN.fullmatch(name))]

    def lines(self, chain: str) -> Iterator[Line]:
        data = self.read(f"book/chains/{chain}.txt") or b""
        for place, row in enumerate(data.decode("utf-8", "backslashreplace").split("\n")):
            if row:
                digest, _, text = row.partition(" ")
                yield Line(_place(text, place + 1), text, digest)

    def stored(self, digests: Sequence[str]) -> Mapping[str, bytes]:
        found = {digest: self.read(f"book/stored/{digest}") for digest in digests}
        return {digest: data for digest, data in found.items() if data is not None}


def _place(text: str, line: int) -> int:
    """Return the place an entry says it has: a piece of a chain does not begin with entry 1."""
    try:
        place = json.loads(text)["seq"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return line
    return place if type(place) is int and 0 < place < 2**31 else line


@contextmanager
def opened(what: str, device: str) -> Iterator[Other]:
    """Open what is to be taken in; raises ChooseAnother where it is none of the three."""
    path = Path(what)
    if is_address(what):
        yield _book(what, what, device, _InFolder(None, Path("none")))
    elif path.is_dir() and (path / FILES[0]).is_file():
        place, theirs = place_of_book(path)
        yield _book(what, place, theirs, _InFolder(path, path / "book" / "pages"))
    elif path.is_file() and _begins(path, b"PK"):
        try:
            with zipfile.ZipFile(path) as opened_zip:
                bundle = _Bundle(path.name, opened_zip)
                if bundle.read(MARK) != WORDS.encode():
                    raise _none_of_these(what)
                yield Other(path.name, str(path), bundle, bundle)
        except zipfile.BadZipFile as problem:
            raise RepairTheFolder(
                f"The bundle {path.name} is damaged ({problem}); make it again with `wqverify book export`.",
                where=what,
            ) from problem
    elif path.is_file():
        yield _book(what, str(path), device, _InFolder(None, path.parent / "pages"))
    else:
        raise _none_of_these(what)


def _begins(path: Path, mark: bytes) -> bool:
    with path.open("rb") as stream:
        return stream.read(len(mark)) == mark


def _book(name: str, place: str, device: str, files: _InFolder) -> Other:
    return Other(name, place, InBook(open_book(place, device), name), files)


def _none_of_these(what: str) -> WqverifyError:
    return ChooseAnother(
        f"{shown(what)} is nothing to take in; name the plant folder of the other computer, the file of its "
        f"book, or a bundle that `wqverify book export FILE.zip` made there.",
        found=shown(what),
        expected="a plant folder, a book, or a bundle",
    )


# ---------------------------------------------------------------- making a bundle


def export(plant: Plant, path: Path, tell: Tell = quiet) -> int:
    """Write book, pages, certificates and plain files as a bundle; return how many entries it has.

    Raises ChooseAnother where the file is there already.
    """
    if path.exists():
        raise ChooseAnother(f"{path} is there already; name a new file for the bundle.", where=str(path))
    book = settled(plant)
    make_folder(path.parent)
    part = path.with_name(path.name + ".part")
    try:
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as bundle:
            bundle.writestr(MARK, WORDS)
            for name in _beside(plant):
                tell(f"packing {name}")
                bundle.write(plant.folder / name, name)
            entries = _pack_book(InBook(book, path.name), bundle)
    except OSError as problem:
        part.unlink(missing_ok=True)
        raise CouldNotRun(
            f"The bundle {path.name} could not be written ({problem.strerror or problem}); make room there, "
            f"or name another place.",
            where=str(path),
        ) from problem
    rename_durably(part, path)
    return entries


def _beside(plant: Plant) -> Iterator[str]:
    """Yield what lies beside the book; the pages before the chains, which then know every one of them."""
    for pattern in (*FILES, "certificates/*.pem", "certificates/*.crl", "book/pages/*.pdf"):
        for path in sorted(plant.folder.glob(pattern)):
            yield path.relative_to(plant.folder).as_posix()


def _pack_book(source: InBook, bundle: zipfile.ZipFile) -> int:
    entries, kept = 0, set[str]()
    for chain in source.chains():
        rows = []
        for line in source.lines(chain):
            rows.append(f"{line.digest} {line.text}\n")
            kept |= {str(digest) for digest in [json.loads(line.text)["body"].get("stored")] if digest}
        bundle.writestr(f"book/chains/{chain}.txt", "".join(rows))
        entries += len(rows)
    for digest in sorted(kept):
        for name, data in source.stored([digest]).items():
            bundle.writestr(f"book/stored/{name}", data)
    return entries
