"""Certificates of another computer: evidence that the plant authority signed, not settings.

What the book names and this computer lacks is copied. A key that either side withdrew is refused from then
on: the book says so by the certificate, whatever the files say. The withdrawal list, which examinations look
into, is signed by the authority and cannot be merged: the other one is taken where it names all that
this one names; otherwise both are told, and the key is withdrawn here as well.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from wqverify.acts.carried import Other
from wqverify.acts.keys import AUTHORITY, ISSUED, MADE, WITHDRAWN
from wqverify.book import Book
from wqverify.durable import write_durably
from wqverify.errors import WqverifyError
from wqverify.pages import move_aside
from wqverify.plant.folder import Plant
from wqverify.records.canonical import digest

if TYPE_CHECKING:
    from cryptography.x509 import Certificate

LIST = "withdrawn.crl"


def take_certificates(plant: Plant, book: Book, other: Other) -> list[str]:
    """Copy the certificates that the book names and this computer lacks; say what differs."""
    names = other.certificates()
    if f"{AUTHORITY}.pem" not in names:
        return []
    with TemporaryDirectory() as made:
        theirs = Path(made)
        for name in names:
            (theirs / name).write_bytes(other.files.read(f"certificates/{name}") or b"")
        try:
            return _take(plant, book, other.name, theirs, names)
        except WqverifyError as problem:
            return [f"The certificates of {other.name} were left: {problem.message}"]


def _take(plant: Plant, book: Book, name: str, theirs: Path, names: list[str]) -> list[str]:
    from wqverify.signing.certificates import authority_of, withdrawal_list

    ours = plant.folder / "certificates"
    authority = authority_of(theirs)
    withdrawal_list(theirs, authority)  # theirs is sound, or nothing is taken from there
    entered = {(f"{e.body['by']}.pem", str(e.body["certificate"])) for e in book.events(MADE, ISSUED)}
    if not (ours / f"{AUTHORITY}.pem").exists():
        if (f"{AUTHORITY}.pem", _digest(theirs / f"{AUTHORITY}.pem")) not in entered:
            return [f"The book does not know the plant authority of {name}; its certificates were left."]
        for each in (LIST, f"{AUTHORITY}.pem"):
            _copy(theirs / each, ours / each)
    if authority_of(ours) != authority:
        return [
            f"{name} has another plant authority; what it vouches for is not vouched for here, and its "
            f"certificates were left there."
        ]
    people = [each for each in names if each not in (LIST, f"{AUTHORITY}.pem")]
    told = [_take_one(plant, book, name, theirs / each, authority, entered) for each in people]
    return [line for line in [*told, _take_list(plant, book, name, theirs, authority)] if line]


def _take_one(
    plant: Plant, book: Book, name: str, path: Path, authority: Certificate, entered: set[tuple[str, str]]
) -> str:
    """Copy the certificate of a person that is not here, or whose one here was withdrawn."""
    from wqverify.signing.certificates import certificate_of, issued_by

    here = plant.folder / "certificates" / path.name
    if _digest(path) == _digest(here):
        return ""
    gone = {str(entry.body["certificate"]) for entry in book.events(WITHDRAWN)}
    certificate = certificate_of(path.parent, path.stem)
    known = (path.name, _digest(path)) in entered
    if not known or certificate is None or not issued_by(certificate, authority):
        return f"certificates/{path.name} of {name} is not known to book and plant authority; left there."
    if not here.exists():
        _copy(path, here)
        return f"certificates/{path.name} copied from {name}."
    if _digest(here) in gone and _digest(path) not in gone:
        aside = move_aside(here, plant.folder / "book")
        _copy(path, here)
        return f"certificates/{path.name} taken from {name}: the one here was withdrawn ({aside})."
    if _digest(path) in gone:
        return ""  # the one here follows it
    return f"certificates/{path.name} is another one in {name}; both are in force, nothing was changed."


def _take_list(plant: Plant, book: Book, name: str, theirs: Path, authority: Certificate) -> str:
    """Take the other withdrawal list where it names all that the one here names, and more."""
    from wqverify.signing.certificates import withdrawals_of

    ours = plant.folder / "certificates"
    here, there = (withdrawals_of(folder, authority).keys() for folder in (ours, theirs))
    if there <= here:
        return ""
    entered = {str(entry.body["withdrawn_list"]) for entry in book.events(MADE, ISSUED, WITHDRAWN)}
    if here <= there and _digest(theirs / LIST) in entered:
        aside = move_aside(ours / LIST, plant.folder / "book")
        _copy(theirs / LIST, ours / LIST)
        return f"The withdrawal list of {name} names more keys and was taken (the one here: {aside})."
    return (
        f"{name} withdrew keys that the withdrawal list here does not name, and the other way round; only "
        f"the authority can write one list of both: withdraw them here as well (wqverify people withdraw). "
        f"Nobody signs with them: the book knows it."
    )


def _digest(path: Path) -> str:
    return digest(path.read_bytes()) if path.is_file() else ""


def _copy(path: Path, to: Path) -> None:
    write_durably(to, path.read_bytes())
