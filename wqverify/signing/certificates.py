"""The certificates folder of a plant: what everybody may read of its authority and its people."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from asn1crypto import core
from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from wqverify.errors import RepairTheFolder

AUTHORITY = "authority"
WITHDRAWN = "withdrawn.crl"
# Carries the reason of a withdrawal in words; an identifier made from a UUID needs no registration.
WHY = x509.ObjectIdentifier("2.25.122656524001718072476884098702384495348")
_DAMAGED = (UnsupportedAlgorithm, x509.DuplicateExtension, x509.InvalidVersion)


@dataclass(frozen=True, slots=True)
class Withdrawal:
    """When and why a certificate was withdrawn."""

    at: datetime
    why: str


def certificate_path(folder: Path, name: str) -> Path:
    """Return where the certificate of a person, or of the authority, is."""
    return folder / f"{name}.pem"


def authority_of(folder: Path) -> x509.Certificate:
    """Return the certificate of the plant authority; raises RepairTheFolder where there is none."""
    found = certificate_of(folder, AUTHORITY)
    if found is None:
        raise RepairTheFolder(
            f"This plant has no authority yet ({folder.name}/authority.pem is missing); make it by "
            f"`wqverify people authority`, or put the file back.",
            where=str(certificate_path(folder, AUTHORITY)),
        )
    return found


def certificate_of(folder: Path, name: str) -> x509.Certificate | None:
    """Return the certificate last issued to a person, None for none; raises RepairTheFolder."""
    path = certificate_path(folder, name)
    try:
        found = x509.load_pem_x509_certificate(path.read_bytes())
        # Its parts are parsed on first use: what is damaged inside is told here, where the file is known.
        _ = found.public_key(), found.extensions, found.subject, found.issuer, found.not_valid_after_utc
        return found
    except FileNotFoundError:
        return None
    except (OSError, ValueError, *_DAMAGED) as problem:
        raise RepairTheFolder(
            f"{folder.name}/{path.name} is not a certificate that can be read; put the right copy back.",
            where=str(path),
        ) from problem


def withdrawals_of(folder: Path, authority: x509.Certificate) -> Mapping[int, Withdrawal]:
    """Return what was withdrawn, by serial number of the certificate.

    Raises RepairTheFolder when the list is missing or was not signed by this authority.
    """
    return {entry.serial_number: _withdrawal(entry) for entry in withdrawal_list(folder, authority)}


def withdrawal_list(folder: Path, authority: x509.Certificate) -> x509.CertificateRevocationList:
    """Return the withdrawal list; raises RepairTheFolder when it is missing or not this authority's."""
    path = folder / WITHDRAWN
    try:
        found = x509.load_der_x509_crl(path.read_bytes())
    except (OSError, ValueError) as problem:
        raise RepairTheFolder(
            f"The withdrawal list {folder.name}/{WITHDRAWN} cannot be read, so nobody can tell whether a key "
            f"was withdrawn; put the newest copy back.",
            where=str(path),
        ) from problem
    key = authority.public_key()
    if not isinstance(key, ec.EllipticCurvePublicKey) or not found.is_signature_valid(key):
        raise RepairTheFolder(
            f"The withdrawal list {folder.name}/{WITHDRAWN} is not one the authority of this plant signed; "
            f"put the newest right copy back.",
            where=str(path),
        )
    return found


def _withdrawal(entry: x509.RevokedCertificate) -> Withdrawal:
    try:
        extension = entry.extensions.get_extension_for_oid(WHY).value
    except x509.ExtensionNotFound:
        return Withdrawal(entry.revocation_date_utc, "")
    words = extension.value if isinstance(extension, x509.UnrecognizedExtension) else b""
    return Withdrawal(entry.revocation_date_utc, core.UTF8String.load(words).native)


def issued_by(certificate: x509.Certificate, authority: x509.Certificate) -> bool:
    """Return whether the key of this authority signed a certificate."""
    try:
        certificate.verify_directly_issued_by(authority)
    except (InvalidSignature, ValueError, TypeError):
        return False
    return True


def holder(certificate: x509.Certificate) -> tuple[str, str]:
    """Return staff id and name of the person a certificate is of, empty where it does not say."""
    return _said(certificate, NameOID.SERIAL_NUMBER), _said(certificate, NameOID.COMMON_NAME)


def _said(certificate: x509.Certificate, what: x509.ObjectIdentifier) -> str:
    found = certificate.subject.get_attributes_for_oid(what)
    return str(found[0].value) if len(found) == 1 else ""


def fingerprint(certificate: x509.Certificate) -> str:
    """Return the name a plant's keys are kept under; 16 digits tell plants apart, they prove nothing."""
    return certificate.fingerprint(hashes.SHA256()).hex()[:16]
