"""Signing keys: made, issued, withdrawn, each with its entry in the book.

The certificate is written before the entry; where a kill came between, the same command enters it.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from wqverify.acts.shared import local_time, person_of, settled
from wqverify.book import Book, instant
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.folder import Plant
from wqverify.records.canonical import digest

AUTHORITY = "authority"
MADE, ISSUED, WITHDRAWN = "authority made", "key issued", "key withdrawn"


def make_authority(plant: Plant, store: Path, passphrase: bytes, now: datetime) -> None:
    """Make the plant authority and enter it."""
    from wqverify.signing.authority import create_authority
    from wqverify.signing.keys import KeyStore

    if not _left_unentered(plant, AUTHORITY):
        certificates = plant.folder / "certificates"
        create_authority(certificates, KeyStore(store), plant.site.name, passphrase, now)
    _enter(plant, MADE, AUTHORITY, certificate_digest(plant, AUTHORITY), now)


def issue_key(
    plant: Plant,
    store: Path,
    staff: str,
    authority_passphrase: bytes,
    passphrase: bytes,
    now: datetime,
    *,
    years: int = 10,
    replaces_because: str = "",
) -> None:
    """Issue a signing key for a person of people.toml; with a reason, withdraw the old one first."""
    from wqverify.signing.authority import issue
    from wqverify.signing.keys import KeyStore

    person = person_of(plant, staff)
    if replaces_because:
        withdraw_key(plant, store, staff, authority_passphrase, now, replaces_because)
    if not _left_unentered(plant, staff):
        certificates = plant.folder / "certificates"
        issue(certificates, KeyStore(store), person, authority_passphrase, passphrase, now, years)
    _enter(plant, ISSUED, staff, certificate_digest(plant, staff), now)


def withdraw_key(
    plant: Plant, store: Path, staff: str, authority_passphrase: bytes, now: datetime, why: str
) -> None:
    """Withdraw a person's key: what was signed before stays good, nothing is good after."""
    from wqverify.signing.authority import withdraw
    from wqverify.signing.keys import KeyStore

    if staff == AUTHORITY:
        raise ChooseAnother("The plant authority is no person; withdraw the keys it issued one by one.")
    if not why.strip():
        raise CorrectTheEntry("Say why the key is withdrawn: --why TEXT.")
    gone = certificate_digest(plant, staff)
    withdraw(plant.folder / "certificates", KeyStore(store), staff, authority_passphrase, now, why)
    _enter(plant, WITHDRAWN, staff, gone, now, why)


def insist_on_key(book: Book, staff: str) -> None:
    """Raise ChooseAnother where every key the book knows of a person was withdrawn, on whichever device."""
    about = [entry for entry in book.events(ISSUED, WITHDRAWN) if entry.body["by"] == staff]
    gone = {entry.body["certificate"]: entry for entry in about if entry.event == WITHDRAWN}
    held = {entry.body["certificate"] for entry in about if entry.event == ISSUED}
    if gone and held <= gone.keys():
        last = max(gone.values(), key=lambda entry: instant(entry.at))
        raise ChooseAnother(
            f"The key of {staff} was withdrawn on {last.at[:10]} ({last.body['why']}); nothing was "
            f"signed. `wqverify people add {staff}` issues a new one.",
            found=WITHDRAWN,
        )


def certificate_digest(plant: Plant, name: str) -> str:
    """Return the digest of a certificate, empty where there is none."""
    path = plant.folder / "certificates" / f"{name}.pem"
    return digest(path.read_bytes()) if path.is_file() else ""


def _left_unentered(plant: Plant, name: str) -> bool:
    """Whether a certificate is there that the book does not know: a command was stopped in between."""
    there = certificate_digest(plant, name)
    if not there:
        return False
    book = settled(plant, create=True)
    return all(entry.body["certificate"] != there for entry in book.events(MADE, ISSUED))


def _enter(plant: Plant, event: str, staff: str, certificate: str, now: datetime, why: str = "") -> None:
    withdrawals = plant.folder / "certificates" / "withdrawn.crl"
    body = {"by": staff, "certificate": certificate, "withdrawn_list": digest(withdrawals.read_bytes())}
    if why:
        body["why"] = why
    book = settled(plant, create=True)
    with book.writing() as writer:
        key = f"{event} {staff} {certificate}"
        known = writer.known(key)
        if known is not None and known.body["withdrawn_list"] != body["withdrawn_list"]:
            key += f" {body['withdrawn_list']}"  # withdrawn on another device too: this list is this device's
        writer.append(event, key=key, at=local_time(plant, now), body=body)
