"""Sign a page as its performer, then as its reviewer: each adds to the file, no byte before it changes.

The time of a signature is the one handed over: the clock of the computer that signs.
"""

from __future__ import annotations

import io
import json
import tempfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from cryptography import x509
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.layout import AxisAlignment, Margins, SimpleBoxLayoutRule
from pyhanko.pdf_utils.writer import BasePdfFileWriter
from pyhanko.sign.fields import MDPPerm, SigFieldSpec, SigSeedSubFilter, append_signature_field
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner, SimpleSigner
from pyhanko.sign.signers.constants import ESIC_EXTENSION_1
from pyhanko.sign.signers.pdf_signer import PdfSigningSession
from pyhanko.stamp import StaticStampStyle

from wqverify.errors import ChooseAnother, ResultsDiffer
from wqverify.show.wording import PERFORMER_MEANING, REVIEWER_MEANING
from wqverify.signing.certificates import authority_of, fingerprint, holder, issued_by, withdrawals_of
from wqverify.signing.examine import (
    NOT_COUNTERSIGNED,
    NOT_SIGNED,
    RECORD,
    Examination,
    attachments_of,
    examine,
)
from wqverify.signing.keys import KeyStore, does_not_open
from wqverify.signing.revisions import whole
from wqverify.signing.signature import PERFORMER, REVIEWER

# The library would shrink a stamp by 5 points on each side, off the lines it stands on.
_TO_THE_EDGE = SimpleBoxLayoutRule(
    AxisAlignment.ALIGN_MIN, AxisAlignment.ALIGN_MIN, margins=Margins(0, 0, 0, 0)
)
MEANING = {PERFORMER: PERFORMER_MEANING, REVIEWER: REVIEWER_MEANING}  # as printed at the place of each

Places = Mapping[
    str, tuple[int, tuple[float, float, float, float]]
]  # role -> page (from 0), left, low, right, high in points


def sign_as_performer(
    pdf: bytes,
    store: KeyStore,
    certificates: Path,
    staff_id: str,
    passphrase: bytes,
    places: Places,
    stamp: bytes,
    now: datetime,
) -> bytes:
    """Return the page with both signature fields and the performer's certification.

    After it, only the countersignature may be added. ``stamp`` is a PDF of one page, shown at the
    performer's place. Raises ChooseAnother when the page is signed already, was performed by another person
    or the key is not in force; ResultsDiffer when the page was changed; CorrectTheEntry for a wrong
    passphrase.
    """
    found = _insist_on_state(pdf, certificates, NOT_SIGNED)
    performed_by = json.loads(found.attachments[RECORD])["performed_by"]
    if staff_id != performed_by:
        raise ChooseAnother(
            f"The record was performed by {performed_by}; {staff_id} cannot sign it as performed.",
            found=staff_id,
            expected=str(performed_by),
        )
    signer = _signer(store, certificates, staff_id, passphrase, now)
    return _signed(pdf, _with_fields(pdf, places), signer, PERFORMER, stamp, now)


def sign_as_reviewer(
    pdf: bytes,
    store: KeyStore,
    certificates: Path,
    staff_id: str,
    passphrase: bytes,
    places: Places,  # noqa: ARG001  the performer's signature fixed the places of both
    stamp: bytes,
    now: datetime,
) -> bytes:
    """Return the signed page with the reviewer's countersignature.

    Raises as :func:`sign_as_performer`, and ChooseAnother when reviewer and performer are one person.
    """
    found = _insist_on_state(pdf, certificates, NOT_COUNTERSIGNED)
    if staff_id == found.signers[0].staff_id:
        raise ChooseAnother(
            f"{staff_id} signed the record as its performer; the reviewer is another person.", found=staff_id
        )
    signer = _signer(store, certificates, staff_id, passphrase, now)
    return _signed(pdf, pdf, signer, REVIEWER, stamp, now)


def _insist_on_state(pdf: bytes, certificates: Path, state: str) -> Examination:
    found = examine(pdf, certificates)
    damage = [finding.text for finding in found.findings if finding.severity == "damaged"]
    if damage:
        raise ResultsDiffer(f"The file is not signed, because it is not as it was made: {' '.join(damage)}")
    if found.state != state:
        raise ChooseAnother(
            f"The file is {found.state}; this signature belongs on one that is {state}.",
            found=found.state,
            expected=state,
        )
    return found


def _signer(
    store: KeyStore, certificates: Path, staff_id: str, passphrase: bytes, now: datetime
) -> SimpleSigner:
    authority = authority_of(certificates)
    locked = store.read(fingerprint(authority), staff_id)
    try:
        signer: SimpleSigner = SimpleSigner.load_pkcs12_data(locked, (), passphrase)
    except ValueError:
        raise does_not_open(staff_id) from None
    _insist_on_force(signer, certificates, authority, staff_id, now)
    return signer


def _insist_on_force(
    signer: SimpleSigner, certificates: Path, authority: x509.Certificate, staff_id: str, now: datetime
) -> None:
    held = signer.signing_cert
    certificate = x509.load_der_x509_certificate(held.dump()) if held is not None else authority
    if holder(certificate)[0] != staff_id or not issued_by(certificate, authority):
        raise ChooseAnother(
            f"The key kept for {staff_id} on this computer was not issued to {staff_id} by this plant's "
            f"authority; nothing was signed. Have one issued by `wqverify people add`."
        )
    gone = withdrawals_of(certificates, authority).get(certificate.serial_number)
    if gone is not None:
        raise ChooseAnother(
            f"The key of {staff_id} was withdrawn on {gone.at:%Y-%m-%d} ({gone.why}); nothing was signed. "
            f"Have another issued by `wqverify people add`.",
            found=f"{gone.at:%Y-%m-%d}",
        )
    begins, ends = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    if not begins <= now.replace(microsecond=0) <= ends:
        raise ChooseAnother(
            f"The key of {staff_id} holds from {begins:%Y-%m-%d %H:%M} to {ends:%Y-%m-%d %H:%M} UTC, and "
            f"this computer's clock says {now:%Y-%m-%d %H:%M %Z}; nothing was signed. Set the clock right or "
            f"have a new key issued by `wqverify people replace`.",
            found=f"{now:%Y-%m-%d %H:%M}",
            expected=f"{begins:%Y-%m-%d} to {ends:%Y-%m-%d}",
        )


class _Addition(IncrementalPdfFileWriter):
    """Adds to a file and leaves its metadata alone; the library would put the clock's time there."""

    def _update_meta(self) -> None:
        return


class _SignerAt(PdfSigner):
    """Signs with the time handed over; the library would take the clock's."""

    now: datetime

    def register_extensions(self, pdf_out: BasePdfFileWriter, *, md_algorithm: str) -> None:  # noqa: ARG002
        """Stay at PDF 1.7, on which PDF/A-3 stands; for this curve the library would say PDF 2.0."""
        pdf_out.register_extension(ESIC_EXTENSION_1)

    def init_signing_session(
        self, pdf_out: BasePdfFileWriter, existing_fields_only: bool = False
    ) -> PdfSigningSession:
        session = super().init_signing_session(pdf_out, existing_fields_only)
        session.system_time = self.now
        return session


def _with_fields(pdf: bytes, places: Places) -> bytes:
    # A page ends with its end mark; what is added begins on a line of its own.
    writer = _Addition(io.BytesIO(pdf + b"\n"))
    for role in (PERFORMER, REVIEWER):
        page, box = places[role]
        append_signature_field(writer, SigFieldSpec(sig_field_name=role, on_page=page, box=whole(box)))
    out = io.BytesIO()
    writer.write(out)  # type: ignore[no-untyped-call]
    return out.getvalue()


def _signed(
    before: bytes, prepared: bytes, signer: SimpleSigner, role: str, stamp: bytes, now: datetime
) -> bytes:
    what: Any = PdfSignatureMetadata(
        field_name=role,
        md_algorithm="sha256",
        subfilter=SigSeedSubFilter.PADES,
        certify=role == PERFORMER,
        docmdp_permissions=MDPPerm.FILL_FORMS,
        reason=MEANING[role],
    )
    with tempfile.TemporaryDirectory() as folder:  # the library reads a stamp from a file only
        page = Path(folder) / "stamp.pdf"
        page.write_bytes(stamp)
        style = StaticStampStyle.from_pdf_file(
            str(page), border_width=0, background_opacity=1.0, background_layout=_TO_THE_EDGE
        )
        pdf_signer = _SignerAt(what, signer=signer, stamp_style=style)
        pdf_signer.now = now
        out = io.BytesIO()
        pdf_signer.sign_pdf(_Addition(io.BytesIO(prepared)), existing_fields_only=True, output=out)
    after = out.getvalue()
    if not after.startswith(before) or attachments_of(after) != attachments_of(before):
        raise ResultsDiffer("Signing changed what was there before; the signed file was thrown away.")
    return after
