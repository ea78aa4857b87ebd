"""Certificates and withdrawal list of the plant go into the pack; a private key never does."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from wqverify.book import Entry
from wqverify.errors import RepairTheFolder
from wqverify.pack.names import Names
from wqverify.pack.tables import Head
from wqverify.pack.target import Target
from wqverify.plant.folder import Plant
from wqverify.show.lookup import NONE, when

FOLDER = "certificates"
AUTHORITY = "authority"
FOR_WINDOWS = "authority.cer"  # the same as DER, which Windows opens: its digest is the fingerprint
NO_AUTHORITY = "This plant has no certificates: no record of it is signed by key."

HEADS = (
    Head("of"),
    Head("file", "short"),
    Head("valid until"),
    Head("entered in the book"),
    Head("withdrawn"),
    Head("SHA-256 fingerprint of the certificate", "digest"),
)
Cells = tuple[str, ...]


def put_certificates(target: Target, plant: Plant, events: Sequence[Entry]) -> tuple[list[Cells], list[str]]:
    """Copy the certificates; returns a row for each, and what is wrong with them."""
    names, rows, problems = Names(), list[Cells](), list[str]()
    folder = plant.folder / FOLDER
    for path in sorted(folder.glob("*")):
        if path.suffix not in (".pem", ".crl") or not path.is_file():
            continue
        data = path.read_bytes()
        if b"PRIVATE KEY" in data:
            problems.append(
                f"certificates/{path.name} holds a private key and was left out: move it out of the plant "
                f"folder at once, and have the key replaced."
            )
            continue
        name = names.free(path.name)
        target.add(f"{FOLDER}/{name}", (data,))
        row, problem = _row(folder, path, name, events)
        if path.stem == AUTHORITY and path.suffix == ".pem" and not problem:
            target.add(f"{FOLDER}/{names.free(FOR_WINDOWS)}", (_der(data),))
        rows.append(row)
        problems += [problem] if problem else []
    return rows, problems


def _der(pem: bytes) -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding
    from cryptography.x509 import load_pem_x509_certificate

    return load_pem_x509_certificate(pem).public_bytes(Encoding.DER)


def _row(folder: Path, path: Path, name: str, events: Sequence[Entry]) -> tuple[Cells, str]:
    from cryptography.hazmat.primitives.hashes import SHA256

    from wqverify.signing.certificates import certificate_of, holder

    if path.suffix == ".crl":
        return ("withdrawal list", name, NONE, _entered(events, "", ""), NONE, NONE), ""
    about = [entry for entry in events if entry.body.get("by") == path.stem]
    try:
        certificate = certificate_of(folder, path.stem)
    except RepairTheFolder as problem:
        return (path.stem, name, "cannot be read", NONE, NONE, NONE), problem.message
    if certificate is None:
        return (path.stem, name, "cannot be read", NONE, NONE, NONE), f"certificates/{path.name} is gone."
    who = " ".join(part for part in reversed(holder(certificate)) if part)
    until = certificate.not_valid_after_utc.date().isoformat()
    ended = [e for e in about if e.event == "key withdrawn"]
    withdrawn = f"{ended[-1].at[:10]}, because {ended[-1].body.get('why', '?')}" if ended else NONE
    mark = certificate.fingerprint(SHA256()).hex()
    return (
        who or path.stem,
        name,
        until,
        _entered(about, "authority made", "key issued"),
        withdrawn,
        mark,
    ), ""


def _entered(events: Sequence[Entry], *names: str) -> str:
    found = [entry for entry in events if entry.event in names or names == ("", "")]
    return when(found[-1].at) if found else "never"
