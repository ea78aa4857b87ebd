"""What computes here, as one digest: the version alone does not tell two states of the source apart."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

import wqverify
from wqverify.shipped import shipped_folder
from wqverify.terms import Software

# What a result can depend on; a change of a page or of a command computes nothing else.
_ROOMS = ("calculations", "procedures", "records", "terms", "trends", "tables.py")


@cache
def code_digest() -> str:
    """Return the SHA-256 over the source of everything that computes, and over the published tables."""
    package = Path(wqverify.__file__).parent
    found = [path for room in _ROOMS for path in _files(package / room)]
    hashed = hashlib.sha256()
    for path in found:
        _add(hashed, path.relative_to(package).as_posix(), path)
    for path in sorted(shipped_folder("standards_tables").iterdir()):
        _add(hashed, f"standards_tables/{path.name}", path)
    return hashed.hexdigest()


@cache
def software_here() -> str:
    """Return what computes here, in words: version, and the beginning of the digest of its source."""
    return _in_words(wqverify.__version__, code_digest())


def made_with(software: Software) -> str:
    """Return what made a record, in the same words; empty where it is what computes here."""
    if (software.wqverify, software.code) == (wqverify.__version__, code_digest()):
        return ""
    return _in_words(software.wqverify, software.code)


def _in_words(version: str, code: str) -> str:
    return f"wqverify {version}, code {code[:12] or 'not stated'}"


def _files(place: Path) -> list[Path]:
    return [place] if place.is_file() else sorted(p for p in place.rglob("*") if p.suffix in (".py", ".toml"))


def _add(hashed: hashlib._Hash, name: str, path: Path) -> None:
    data = path.read_bytes().replace(b"\r\n", b"\n")  # the same wherever it was unpacked
    hashed.update(f"{name} {len(data)}\n".encode() + data)
