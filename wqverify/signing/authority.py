"""The plant's own small authority: it vouches that a key belongs to a person of the plant."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from asn1crypto import core
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, Encoding, pkcs12
from cryptography.x509.oid import NameOID

from wqverify.durable import write_durably
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.signing.certificates import (
    AUTHORITY,
    WHY,
    WITHDRAWN,
    authority_of,
    certificate_of,
    certificate_path,
    fingerprint,
    withdrawal_list,
    withdrawals_of,
)
from wqverify.signing.keys import KeyStore, does_not_open, insist_on_length
from wqverify.terms import Person

AUTHORITY_YEARS = 20
LONGEST_NAME = 64  # characters of one part of a name, RFC 5280, appendix A.1
_PRINTABLE = re.compile(r"[A-Za-z0-9.-]{0,64}")  # the serialNumber of a name has no underscore, RFC 5280


def create_authority(
    certificates: Path, store: KeyStore, plant_name: str, passphrase: bytes, now: datetime
) -> None:
    """Make the authority of a plant: its certificate, an empty withdrawal list, its locked key.

    Raises ChooseAnother where the plant has one already and CorrectTheEntry for a short passphrase.
    """
    insist_on_length(passphrase, "the plant authority")
    if certificate_of(certificates, AUTHORITY) is not None:
        raise ChooseAnother(
            f"This plant has an authority already ({certificates.name}/authority.pem); a second one would "
            f"disown what the first has issued. Nothing was done.",
            where=str(certificate_path(certificates, AUTHORITY)),
        )
    key = ec.generate_private_key(ec.SECP256R1())
    name = _name(plant_name, "Record authority")
    certificate = (
        _certificate(name, name, key.public_key(), now, _years_after(now, AUTHORITY_YEARS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(key_cert_sign=True, crl_sign=True), critical=True)
        .sign(key, hashes.SHA256())
    )
    # The certificate comes last: where it is missing, this command can simply be repeated.
    store.write(fingerprint(certificate), AUTHORITY, _locked(AUTHORITY, key, certificate, (), passphrase))
    _write_list(certificates, key, certificate, (), 1, now)
    _write_certificate(certificates, AUTHORITY, certificate)


def issue(
    certificates: Path,
    store: KeyStore,
    person: Person,
    authority_passphrase: bytes,
    passphrase: bytes,
    now: datetime,
    years: int = 10,
) -> None:
    """Issue a key to a person, locked by the person's own passphrase.

    Raises ChooseAnother when the person's key is still in force, CorrectTheEntry for a passphrase that is
    too short or does not open the authority's key.
    """
    insist_on_length(passphrase, person.id)
    authority = authority_of(certificates)
    until = min(_years_after(now, years), authority.not_valid_after_utc)
    if years < 1 or until <= now:
        raise CorrectTheEntry(
            f"A key of {person.id} cannot be issued for {years} years: it must hold for a year or more, and "
            f"the authority of this plant ends on {authority.not_valid_after_utc:%Y-%m-%d}.",
            found=str(years),
        )
    _insist_on_free(certificates, authority, person, now)
    authority_key = _authority_key(store, authority, authority_passphrase)
    key = ec.generate_private_key(ec.SECP256R1())
    subject = _name(_said(authority.subject, NameOID.ORGANIZATION_NAME), person.name, person.id)
    identifier = authority.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    # No extended usage: with documentSigning alone, readers that ask NSS refuse the certificate.
    certificate = (
        _certificate(subject, authority.subject, key.public_key(), now, until)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(digital_signature=True, content_commitment=True), critical=True)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False
        )
        .sign(authority_key, hashes.SHA256())
    )
    # The certificate comes last: a key without it is replaced by the next attempt.
    locked = _locked(person.id, key, certificate, (authority,), passphrase)
    store.write(fingerprint(authority), person.id, locked)
    _write_certificate(certificates, person.id, certificate)


def withdraw(
    certificates: Path,
    store: KeyStore,
    staff_id: str,
    authority_passphrase: bytes,
    now: datetime,
    why: str,
) -> None:
    """Withdraw a person's key: signatures made before stay good, none made from now on is.

    A key that is withdrawn already stays as it is, so that an interrupted command can be repeated.
    Raises ChooseAnother for a person without a key, CorrectTheEntry without a reason or for a wrong
    passphrase.
    """
    if not why.strip():
        raise CorrectTheEntry(f"Say why the key of {staff_id} is withdrawn; the list and the book keep it.")
    authority = authority_of(certificates)
    certificate = certificate_of(certificates, staff_id)
    if certificate is None:
        raise ChooseAnother(
            f"{staff_id} has no key that could be withdrawn ({certificates.name}/{staff_id}.pem is missing).",
            where=str(certificate_path(certificates, staff_id)),
        )
    key = _authority_key(store, authority, authority_passphrase)
    old = withdrawal_list(certificates, authority)
    if old.get_revoked_certificate_by_serial_number(certificate.serial_number) is not None:
        return
    gone = (
        x509.RevokedCertificateBuilder()
        .serial_number(certificate.serial_number)
        .revocation_date(now)
        .add_extension(x509.UnrecognizedExtension(WHY, core.UTF8String(why.strip()).dump()), critical=False)
        .build()
    )
    number = old.extensions.get_extension_for_class(x509.CRLNumber).value.crl_number
    _write_list(certificates, key, authority, (*old, gone), number + 1, now)


def standing(certificates: Path, staff_id: str, now: datetime) -> str:
    """Return how a key stands: "no key", "in force until DATE", "withdrawn on DATE", "ended on DATE"."""
    certificate = certificate_of(certificates, staff_id)
    if certificate is None:
        return "no key"
    gone = withdrawals_of(certificates, authority_of(certificates)).get(certificate.serial_number)
    if gone is not None:
        return f"withdrawn on {gone.at:%Y-%m-%d}"
    ends = certificate.not_valid_after_utc
    return f"{'in force until' if now <= ends else 'ended on'} {ends:%Y-%m-%d}"


def _insist_on_free(certificates: Path, authority: x509.Certificate, person: Person, now: datetime) -> None:
    held = certificate_of(certificates, person.id)
    if held is None or held.not_valid_after_utc < now:
        return
    if held.serial_number not in withdrawals_of(certificates, authority):
        raise ChooseAnother(
            f"{person.name} ({person.id}) has a key in force until {held.not_valid_after_utc:%Y-%m-%d}; "
            f"withdraw or replace it (`wqverify people replace {person.id}`) before another is issued.",
            found=f"{held.not_valid_after_utc:%Y-%m-%d}",
        )


def _authority_key(
    store: KeyStore, authority: x509.Certificate, passphrase: bytes
) -> ec.EllipticCurvePrivateKey:
    locked = store.read(fingerprint(authority), AUTHORITY)
    try:
        key, _certificate_in_it, _others = pkcs12.load_key_and_certificates(locked, passphrase)
    except ValueError:
        raise does_not_open("the plant authority") from None
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise does_not_open("the plant authority")
    return key


def _locked(
    name: str,
    key: ec.EllipticCurvePrivateKey,
    certificate: x509.Certificate,
    others: Sequence[x509.Certificate],
    passphrase: bytes,
) -> bytes:
    lock = BestAvailableEncryption(passphrase)
    return pkcs12.serialize_key_and_certificates(name.encode(), key, certificate, list(others), lock)


def _certificate(
    subject: x509.Name,
    issuer: x509.Name,
    key: ec.EllipticCurvePublicKey,
    now: datetime,
    until: datetime,
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now)
        .not_valid_after(until)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)
    )


def _usage(**used: bool) -> x509.KeyUsage:
    everything = (
        "digital_signature content_commitment key_encipherment data_encipherment key_agreement "
        "key_cert_sign crl_sign encipher_only decipher_only"
    )
    return x509.KeyUsage(**{**dict.fromkeys(everything.split(), False), **used})


def _name(plant: str, person: str, staff_id: str = "") -> x509.Name:
    if not _PRINTABLE.fullmatch(staff_id):
        raise CorrectTheEntry(
            f"The staff id {staff_id!r} cannot stand in a certificate: it may have letters, digits, point "
            f"and hyphen. Give {person} another one in people.toml.",
            found=staff_id,
            expected="letters, digits, point and hyphen",
        )
    parts = [(NameOID.ORGANIZATION_NAME, plant), (NameOID.COMMON_NAME, person)]
    parts += [(NameOID.SERIAL_NUMBER, staff_id)] if staff_id else []
    for _what, text in parts:
        if not 1 <= len(text) <= LONGEST_NAME:
            raise CorrectTheEntry(
                f"{text[:LONGEST_NAME]!r} has {len(text)} characters; a name in a certificate has 1 to "
                f"{LONGEST_NAME}. Shorten it in plant.toml or people.toml.",
                found=str(len(text)),
                expected=f"1 to {LONGEST_NAME} characters",
            )
    return x509.Name([x509.NameAttribute(what, text) for what, text in parts])


def _said(name: x509.Name, what: x509.ObjectIdentifier) -> str:
    return str(name.get_attributes_for_oid(what)[0].value)


def _years_after(now: datetime, years: int) -> datetime:
    day = min(now.day, 28) if now.month == 2 else now.day
    return now.replace(year=now.year + min(years, AUTHORITY_YEARS), day=day)


def _write_certificate(folder: Path, name: str, certificate: x509.Certificate) -> None:
    write_durably(certificate_path(folder, name), certificate.public_bytes(Encoding.PEM))


def _write_list(
    folder: Path,
    key: ec.EllipticCurvePrivateKey,
    authority: x509.Certificate,
    gone: Sequence[x509.RevokedCertificate],
    number: int,
    now: datetime,
) -> None:
    """Write the withdrawal list; it is in force until the next one or the end of the authority."""
    identifier = authority.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    builder = (
        x509.CertificateRevocationListBuilder()
        .issuer_name(authority.subject)
        .last_update(now)
        .next_update(authority.not_valid_after_utc)
        .add_extension(x509.CRLNumber(number), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False
        )
    )
    for one in gone:
        builder = builder.add_revoked_certificate(one)
    write_durably(folder / WITHDRAWN, builder.sign(key, hashes.SHA256()).public_bytes(Encoding.DER))
