"""Where a pack is written: a folder or one zip, each file once, with its digest; whole or not at all."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Protocol
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

from wqverify.durable import make_folder, rename_durably
from wqverify.errors import ChooseAnother, CouldNotRun
from wqverify.pack.names import safe

_BLOCK = 1 << 20
LONG_AGO = (1980, 1, 1, 0, 0, 0)  # the oldest time a zip can hold: no clock goes into it
_UNIX, _READABLE = 3, 0o644 << 16


class _Kept(Protocol):
    """Takes the bytes of one file after another."""

    def write(self, name: str, blocks: Iterable[bytes]) -> None: ...


class Target:
    """Takes the files of a pack and remembers their digests."""

    def __init__(self, kept: _Kept) -> None:
        self._kept = kept
        self.digests: dict[str, str] = {}

    def add(self, name: str, blocks: Iterable[bytes]) -> None:
        """Write a file of the pack; blocks that come one by one are never held together."""
        if name in self.digests:
            raise ValueError(f"{name} is in the pack already")
        hashed = hashlib.sha256()
        self._kept.write(name, _hashing(blocks, hashed.update))
        self.digests[name] = hashed.hexdigest()

    def add_text(self, name: str, text: str) -> None:
        """Write a text in UTF-8 with the line ends it has."""
        self.add(name, (text.encode(),))

    def add_file(self, name: str, path: Path) -> None:
        """Write a copy of a file, block by block."""
        self.add(name, blocks_of(path))


def blocks_of(path: Path) -> Iterator[bytes]:
    """Give the bytes of a file block by block."""
    with path.open("rb") as stream:
        yield from iter(lambda: stream.read(_BLOCK), b"")


def _hashing(blocks: Iterable[bytes], update: Callable[[bytes], None]) -> Iterator[bytes]:
    for block in blocks:
        update(block)
        yield block


class _Folder:
    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def write(self, name: str, blocks: Iterable[bytes]) -> None:
        path = self._folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as stream:
            stream.writelines(blocks)


class _Zip:
    def __init__(self, archive: ZipFile, top: str) -> None:
        self._archive, self._top = archive, top

    def write(self, name: str, blocks: Iterable[bytes]) -> None:
        info = ZipInfo(f"{self._top}/{name}", LONG_AGO)
        info.create_system, info.external_attr = _UNIX, _READABLE
        info.compress_type = ZIP_STORED if name.endswith((".pdf", ".xlsx")) else ZIP_DEFLATED
        with self._archive.open(info, "w") as stream:
            for block in blocks:
                stream.write(block)


def insist_on_room(place: Path, *, as_zip: bool) -> None:
    """Raise ChooseAnother where something is at the place already: nothing is ever overwritten."""
    part = part_of(place)
    if part.exists():
        raise ChooseAnother(
            f"{part} is what another command is making, or an interrupted one left; when none is running, "
            f"remove it and run the command again.",
            where=str(part),
        )
    if place.is_dir() and not as_zip:
        if any(place.iterdir()):
            raise _taken(place, "is not an empty folder")
    elif place.exists() or place.is_symlink():
        raise _taken(place, "is there already")


def _taken(place: Path, what: str) -> ChooseAnother:
    return ChooseAnother(
        f"{place} {what}, and a pack never overwrites anything; name another place with --to.",
        where=str(place),
    )


def part_of(place: Path) -> Path:
    """Return where a pack is while it is being made."""
    return place.with_name(place.name + ".part")


@contextmanager
def target_at(place: Path, *, as_zip: bool) -> Iterator[Target]:
    """Give a target that becomes the folder or zip at the end of the block, and nothing when it fails.

    Raises ChooseAnother where something is there already, CouldNotRun where the disk refuses.
    """
    insist_on_room(place, as_zip=as_zip)
    part = part_of(place)
    make_folder(place.parent)
    ours = False  # whether what is at ``part`` was made here, and may be taken away again
    try:
        if as_zip:
            with ZipFile(part, "x") as archive:
                ours = True
                yield Target(_Zip(archive, safe(place.stem)))
        else:
            part.mkdir()
            ours = True
            yield Target(_Folder(part))
            if place.is_dir():
                place.rmdir()  # it is empty, or this refuses
        rename_durably(part, place)
        ours = False
    except OSError as problem:
        at = f": {problem.filename}" if problem.filename else ""
        raise CouldNotRun(
            f"The pack {place} could not be made ({problem.strerror or problem}{at}); nothing of it was "
            f"left: mend that, or name another place with --to, then run the same command again.",
            found=str(problem),
            where=str(place),
        ) from problem
    finally:
        if ours:
            _remove(part)


def _remove(part: Path) -> None:
    with suppress(OSError):
        part.unlink() if part.is_file() else shutil.rmtree(part)
