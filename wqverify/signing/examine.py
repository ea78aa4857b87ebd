"""The strict check of a signed page: stricter than any reader, and it names what is wrong.

Readers call a file valid from which the countersignature was cut off, to which junk or a second
attachment was added. This check takes the attachments from the first signed revision, insists that nothing
follows the last signature, and that each signature is by the person the record names.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, NamedTuple

from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import EmbeddedPdfSignature

from wqverify.errors import ResultsDiffer
from wqverify.signing.revisions import (
    MALFORMED,
    Box,
    attachments,
    differences,
    field_places,
    form_fields,
    only_fields_added,
    open_pdf,
    page_end,
    painted_pages,
)
from wqverify.signing.signature import PERFORMER, REVIEWER, Signature, Trust, judge_signature, read_signature

NOT_SIGNED = "not signed"
NOT_COUNTERSIGNED = "signed by the performer, not countersigned"
COUNTERSIGNED = "signed and countersigned"
UNREADABLE = "not readable"

RECORD = "record.json"


@dataclass(frozen=True, slots=True)
class Finding:
    """One sentence of an examination; "damaged" means that the file is not to be relied on."""

    severity: Literal["damaged", "note"]
    text: str


class Signer(NamedTuple):
    """Who signed as what, and when by the clock of the computer that signed (ISO 8601)."""

    role: str
    staff_id: str
    name: str
    time: str


@dataclass(frozen=True, slots=True)
class Examination:
    """What a file is and what is wrong with it.

    ``attachments`` are those of the first signed revision (of the file, where nothing is signed); ``page`` is
    the beginning of the file up to where signing added to it: the page as it was made. ``places`` says where
    the signatures are shown, role -> (page from 0, box in points): elsewhere one could cover the page.
    """

    state: str
    signers: tuple[Signer, ...] = ()
    attachments: Mapping[str, bytes] = field(default_factory=dict)
    page: bytes = b""
    places: Mapping[str, tuple[int, Box]] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    @property
    def damaged(self) -> bool:
        """Whether anything was found for which the file is not to be relied on."""
        return any(finding.severity == "damaged" for finding in self.findings)


def examine(pdf: bytes, certificates: Path | None) -> Examination:
    """Check a page strictly, by itself and against the certificates of the plant where they are at hand.

    Raises RepairTheFolder when the certificates folder is incomplete; whatever is wrong with the file
    is a finding.
    """
    trust = Trust.in_folder(certificates)
    if not pdf.startswith(b"%PDF-"):
        return _unreadable("The file is not a PDF.")
    try:
        reader = open_pdf(pdf)
        if reader.encrypted:
            return _unreadable("The file is encrypted; a record is not: take it as it came from the plant.")
        return _examined(pdf, reader, trust)
    except MALFORMED:
        return _unreadable("The file is cut off or damaged: it cannot be read to its end.")


def _unreadable(why: str) -> Examination:
    return Examination(UNREADABLE, findings=(Finding("damaged", why),))


def attachments_of(pdf: bytes) -> dict[str, bytes]:
    """Return the attachments of the first signed revision, or of the file where nothing is signed.

    Raises ResultsDiffer for a file that cannot be read.
    """
    try:
        reader = open_pdf(pdf)
        return _first_signed(reader, reader.embedded_signatures)
    except MALFORMED as problem:
        raise ResultsDiffer("The file cannot be read as a PDF; put the right copy back.") from problem


def _examined(pdf: bytes, reader: PdfFileReader, trust: Trust) -> Examination:
    embedded = list(reader.embedded_signatures)
    signatures = [read_signature(one) for one in embedded]
    end = page_end(pdf, reader)
    findings = [*_whole(pdf, reader, embedded, end)]
    try:
        attached, places = _first_signed(reader, embedded), field_places(reader.root)
        findings += _content(reader, embedded, attached)
        performed_by, wrong = _performer(attached)
        findings += [Finding("damaged", wrong)] if wrong else _people(signatures, performed_by)
    except MALFORMED:
        attached, places = {}, {}
        findings.append(Finding("damaged", "The pages or attachments of the file cannot be read."))
    for signature in signatures:
        findings += (Finding("damaged", text) for text in judge_signature(signature, pdf, trust))
    findings += _vouched(signatures, trust)
    return Examination(
        state=_state(signatures),
        signers=tuple(Signer(s.role, s.staff_id, s.name, s.at.isoformat()) for s in signatures),
        attachments=attached,
        page=pdf[:end] if signatures else pdf,
        places=places,
        findings=tuple(findings),
    )


def _first_signed(reader: PdfFileReader, embedded: list[EmbeddedPdfSignature]) -> dict[str, bytes]:
    if not embedded:
        return attachments(reader.root)
    return attachments(reader.get_historical_root(embedded[0].signed_revision))


def _state(signatures: list[Signature]) -> str:
    roles = {signature.role for signature in signatures}
    if PERFORMER not in roles:
        return NOT_SIGNED
    return COUNTERSIGNED if REVIEWER in roles else NOT_COUNTERSIGNED


def _performer(attached: Mapping[str, bytes]) -> tuple[str, str]:
    """Return who performed the work, or what is wrong with the record that should say so."""
    if RECORD not in attached:
        return "", f"The file holds no {RECORD}; it is not a record."
    try:
        record = json.loads(attached[RECORD])
    except ValueError:
        record = None
    if not isinstance(record, dict) or not isinstance(record.get("performed_by"), str):
        return "", f"The {RECORD} in the file is not a record."
    return record["performed_by"], ""


def _whole(
    pdf: bytes, reader: PdfFileReader, embedded: list[EmbeddedPdfSignature], end: int
) -> Iterator[Finding]:
    """The file holds the page, the fields and the signatures, in this order, and nothing else."""
    if embedded:
        last = embedded[-1].byte_range
        after, what = len(pdf) - (last[2] + last[3]), "the last signature"
        wanted = 2 + len(embedded)
    else:
        after, what, wanted = len(pdf) - end, "the page", 1
    if after > 0:
        yield Finding("damaged", f"Behind the end of {what} {_bytes(after)} added.")
    elif reader.xrefs.total_revisions != wanted:
        yield Finding(
            "damaged", "Something was added between the page as it was made and the last signature."
        )
    fields = form_fields(reader.root)
    if fields != ({PERFORMER, REVIEWER} if embedded else set()):
        listed = ", ".join(sorted(fields)) or "none"
        yield Finding("damaged", f"The signature fields are not those of a record (found: {listed}).")


def _bytes(count: int) -> str:
    return "1 byte was" if count == 1 else f"{count} bytes were"


def _content(
    reader: PdfFileReader, embedded: list[EmbeddedPdfSignature], attached: Mapping[str, bytes]
) -> Iterator[Finding]:
    """Page and attachments are the same in each revision of the file."""
    made = reader.get_historical_root(0)
    signed_revision = embedded[0].signed_revision if embedded else reader.xrefs.total_revisions - 1
    pages = painted_pages(made, reader.root)
    changes = dict(differences(attachments(made), attached))
    changes.update(differences(attached, attachments(reader.root)))
    for page in pages:
        yield Finding("damaged", f"Page {page} was painted over after it was made.")
    for name, what in changes.items():
        yield Finding("damaged", f"The attachment {name} was {what} after the page was made.")
    if not pages and not changes and not only_fields_added(reader, signed_revision):
        yield Finding("damaged", "More than the signatures was added to the page or its properties.")


def _people(signatures: list[Signature], performed_by: str) -> Iterator[Finding]:
    roles = [signature.role for signature in signatures]
    if roles not in ([], [PERFORMER], [PERFORMER, REVIEWER]):
        yield Finding(
            "damaged", f"A record is signed as Performer, then as Reviewer; this file as {', '.join(roles)}."
        )
        return
    if signatures:
        performer = signatures[0]
        if performer.staff_id != performed_by:
            yield Finding(
                "damaged",
                f"{performer.who} signed as performer; the record was performed by {performed_by}.",
            )
        if not performer.certifies:
            yield Finding("damaged", f"The signature of {performer.who} does not lock the record.")
    if len(signatures) == 2 and signatures[0].staff_id == signatures[1].staff_id:
        yield Finding(
            "damaged", f"{signatures[1].who} signed as performer and as reviewer; these must be two people."
        )


def _vouched(signatures: list[Signature], trust: Trust) -> Iterator[Finding]:
    if trust.authority is not None or not signatures:
        return
    if len({signature.authority for signature in signatures}) > 1:
        yield Finding("damaged", "The two signatures come from two different authorities.")
    yield Finding("note", "The certificate of the plant is not at hand: who signed is not proven.")
