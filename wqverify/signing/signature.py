"""One signature: who made it when, whether it holds, and whether the plant vouches for its key."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Self

from asn1crypto import cms, core
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.sign.fields import MDPPerm
from pyhanko.sign.validation import EmbeddedPdfSignature, validate_pdf_signature
from pyhanko.sign.validation.pdf_embedded import read_certification_data
from pyhanko_certvalidator import ValidationContext

from wqverify.signing.certificates import (
    WITHDRAWN,
    Withdrawal,
    authority_of,
    holder,
    issued_by,
    withdrawals_of,
)
from wqverify.signing.revisions import MALFORMED

PERFORMER = "Performer"
REVIEWER = "Reviewer"


@dataclass(frozen=True, slots=True)
class Trust:
    """The plant authority and its withdrawal list; without them nobody vouches for who signed."""

    authority: x509.Certificate | None = None
    withdrawals: Mapping[int, Withdrawal] | None = None
    withdrawal_list: bytes = b""

    @classmethod
    def in_folder(cls, certificates: Path | None) -> Self:
        """Read the certificates folder of a plant; raises RepairTheFolder where it is incomplete."""
        if certificates is None:
            return cls()
        authority = authority_of(certificates)
        withdrawals = withdrawals_of(certificates, authority)
        return cls(authority, withdrawals, (certificates / WITHDRAWN).read_bytes())


@dataclass(frozen=True, slots=True)
class Signature:
    """A signature as read, not yet judged."""

    role: str
    staff_id: str
    name: str
    at: datetime
    certificate: x509.Certificate
    authority: x509.Certificate | None  # the one that comes with the signature
    embedded: EmbeddedPdfSignature

    @property
    def who(self) -> str:
        """Name and staff id, as the certificate says."""
        return f"{self.name} ({self.staff_id})"

    @property
    def certifies(self) -> bool:
        """Whether it is the certification after which only signature fields may be filled."""
        certification = read_certification_data(self.embedded.reader)
        return (
            certification is not None
            and certification.author_sig is self.embedded.sig_object
            and certification.permission == MDPPerm.FILL_FORMS
        )


def read_signature(embedded: EmbeddedPdfSignature) -> Signature:
    """Read one signature of a file; raises one of MALFORMED."""
    certificate = _certificate(embedded.signer_cert)
    others = [_certificate(other) for other in embedded.other_embedded_certs]
    staff_id, name = holder(certificate)
    at = embedded.self_reported_timestamp
    if at is None:
        raise ValueError("a signature without a time")
    return Signature(
        role=str(embedded.field_name),
        staff_id=staff_id,
        name=name,
        at=at if at.tzinfo is not None else at.replace(tzinfo=UTC),
        certificate=certificate,
        authority=others[0] if len(others) == 1 else None,
        embedded=embedded,
    )


def _certificate(found: asn1_x509.Certificate) -> x509.Certificate:
    return x509.load_der_x509_certificate(found.dump())


def judge_signature(signature: Signature, pdf: bytes, trust: Trust) -> Iterator[str]:
    """Yield a sentence for everything for which a signature does not hold; nothing for a good one."""
    who, role = signature.who, signature.role.lower()
    root = trust.authority or signature.authority
    if root is None:
        yield f"The signature of {who} as {role} comes without the certificate of an authority."
        return
    context = _context(signature.at, root, trust)
    status = validate_pdf_signature(signature.embedded, context, skip_diff=True)
    if not status.intact:
        yield f"Bytes that {who} signed as {role} were changed afterwards."
        return
    if not status.valid:
        yield f"The signature of {who} as {role} is damaged or was not made with the key it names."
        return
    said = [*_about_key(signature, root, trust)]
    if _more_was_added(signature.embedded):
        said.append(f"After {who} signed as {role}, something other than a countersignature was added.")
    if not said and not _as_written(signature, pdf, root):
        said.append(f"The wrapping of the signature of {who} as {role} was changed.")
    if not said and not status.bottom_line:
        said.append(f"The signature of {who} as {role} does not hold ({status.trust_problem_indic}).")
    yield from said


def _more_was_added(embedded: EmbeddedPdfSignature) -> bool:
    try:
        embedded.compute_integrity_info()  # type: ignore[no-untyped-call]
        return not embedded.summarise_integrity_info()["docmdp_ok"]
    except MALFORMED:  # what was added is not even well made
        return True


def _context(at: datetime, root: x509.Certificate, trust: Trust) -> ValidationContext:
    """A key is judged at the time of the signature: it may have expired or been withdrawn since.

    Without "require" the library ignores a withdrawal list that the certificate does not point to; the list
    in the folder may be newer than the signature, hence "retroactive".
    """
    return ValidationContext(
        trust_roots=[asn1_x509.Certificate.load(root.public_bytes(Encoding.DER))],
        crls=[trust.withdrawal_list] if trust.withdrawal_list else (),
        revocation_mode="require" if trust.withdrawal_list else "soft-fail",
        retroactive_revinfo=True,
        moment=at,
        time_tolerance=timedelta(0),
        allow_fetching=False,
    )


def _about_key(signature: Signature, root: x509.Certificate, trust: Trust) -> Iterator[str]:
    who, at, certificate = signature.who, signature.at, signature.certificate
    signed = f"signed as {signature.role.lower()} on {at:%Y-%m-%d %H:%M:%S %Z}"
    if not issued_by(certificate, root):
        whose = "this plant's authority" if trust.authority else "the authority that comes with it"
        yield (
            f"The certificate with which {who} {signed} was not issued by {whose}, whatever names it carries."
        )
        return
    begins, ends = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    if not begins <= at <= ends:
        yield f"{who} {signed}; the key holds from {begins:%Y-%m-%d %H:%M} to {ends:%Y-%m-%d %H:%M} UTC only."
    gone = (trust.withdrawals or {}).get(certificate.serial_number)
    if gone is not None and at >= gone.at:
        yield f"{who} {signed}; the key had been withdrawn on {gone.at:%Y-%m-%d %H:%M:%S} UTC ({gone.why})."


_VERSION = cms.CMSVersion("v1").dump()
_SHA256 = cms.DigestAlgorithm({"algorithm": "sha256", "parameters": core.Null()})
_SHA256_ONLY = cms.DigestAlgorithms([_SHA256]).dump()


def _as_written(signature: Signature, pdf: bytes, root: x509.Certificate) -> bool:
    """Return whether what no signature can cover, the wrapping of the signature itself, is as it was made."""
    embedded = signature.embedded
    content, signed, info = embedded.pkcs7_content, embedded.signed_data, embedded.signer_info
    padding = content[len(cms.ContentInfo.load(content).dump()) :]
    start, end = embedded.byte_range[1], embedded.byte_range[2]
    signer = embedded.signer_cert
    named = cms.IssuerAndSerialNumber({"issuer": signer.issuer, "serial_number": signer.serial_number})
    return (
        pdf[start:end] == b"<" + content.hex().upper().encode() + b">"
        and not padding.strip(b"\0")
        and signature.authority == root
        and not info["unsigned_attrs"]
        and info["sid"].chosen.dump() == named.dump()  # elsewhere names count the same in either case
        and signed["version"].dump() == info["version"].dump() == _VERSION
        and signed["digest_algorithms"].dump() == _SHA256_ONLY
        and info["digest_algorithm"].dump() == _SHA256.dump()
    )
