"""For the tests of signing: a small page, a plant with two keys, and what editors do to a file."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import typst
from pyhanko.pdf_utils import embed
from pyhanko.pdf_utils.generic import (
    ArrayObject,
    DictionaryObject,
    NumberObject,
    StreamObject,
    pdf_name,
    pdf_string,
)
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.signers import SimpleSigner

from wqverify.signing.authority import create_authority, issue
from wqverify.signing.certificates import authority_of, fingerprint
from wqverify.signing.keys import KeyStore
from wqverify.signing.sign import _signed, _with_fields, sign_as_performer, sign_as_reviewer
from wqverify.terms import Person

PAGE = """
#set page(width: 400pt, height: 300pt, margin: 20pt, fill: none)
#set text(font: "Libertinus Serif")
#let attach = pdf.attach.with(description: "of the record", mime-type: "application/json")
#attach("record.json", bytes(sys.inputs.record), relationship: "source")
#attach("executed.ipynb", bytes("{}"), relationship: "supplement")
#attach("chart-1.svg", bytes("<svg/>"), relationship: "supplement", mime-type: "image/svg+xml")
= Record
as found: FAIL
#pagebreak()
Signatures
"""
STAMP = """
#set page(width: 160pt, height: 50pt, margin: 2pt, fill: none)
#set text(font: "Libertinus Serif", 9pt)
"""
PLACES = {"Performer": (1, (20.2, 150.0, 180.4, 200.0)), "Reviewer": (1, (200.0, 150.0, 360.0, 200.0))}
RECORD = {"number": "L1-2026-0001", "performed_by": "T-017", "as_found": "FAIL"}


def page(record: dict[str, str] | None = None, source: str = PAGE) -> bytes:
    """Return a page as typst makes it."""
    text = json.dumps(RECORD if record is None else record, separators=(",", ":"))
    return _compiled(source, {"record": text})


def stamp(*lines: str) -> bytes:
    """Return the visible stamp of a signature."""
    return _compiled(STAMP + " \\\n".join(lines), {})


def _compiled(source: str, inputs: dict[str, str]) -> bytes:
    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=True)
    made: bytes = typst.compile(
        source.encode(),
        format="pdf",
        font_paths=fonts,
        pdf_standards=["a-3b"],
        timestamp=datetime(2026, 3, 1, tzinfo=UTC),
        sys_inputs=inputs,
    )
    return made


NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)
OWN, AUTHORITY = b"a person's own words", b"words of the authority"
TECHNICIAN = Person("T-017", "Mira Okafor", may_perform=True)
SUPERVISOR = Person("R-004", "Jon Lindqvist", may_review=True)


@dataclass(frozen=True)
class SmallPlant:
    """Certificates and keys of a plant with one performer and one reviewer."""

    certificates: Path
    store: KeyStore

    def signed(self, pdf: bytes, *, at: datetime = NOW + timedelta(hours=1), who: str = "T-017") -> bytes:
        return sign_as_performer(
            pdf, self.store, self.certificates, who, OWN, PLACES, stamp(who, "performed"), at
        )

    def reviewed(self, pdf: bytes, *, at: datetime = NOW + timedelta(hours=2), who: str = "R-004") -> bytes:
        return sign_as_reviewer(
            pdf, self.store, self.certificates, who, OWN, PLACES, stamp(who, "reviewed"), at
        )

    def forced(self, pdf: bytes, role: str, who: str, *, at: datetime = NOW + timedelta(hours=3)) -> bytes:
        """Sign without asking whether it is right: what somebody with a key and other software could do."""
        locked = self.store.read(fingerprint(authority_of(self.certificates)), who)
        signer = SimpleSigner.load_pkcs12_data(locked, (), OWN)
        return _signed(pdf, pdf, signer, role, stamp(who, "forced"), at)


def small_plant(folder: Path, name: str = "Ellodale", years: int = 10) -> SmallPlant:
    """Make an authority and a key for each of the two people."""
    plant = SmallPlant(folder / "plant" / "certificates", KeyStore(folder / "keys"))
    create_authority(plant.certificates, plant.store, name, AUTHORITY, NOW)
    for person in (TECHNICIAN, SUPERVISOR):
        issue(plant.certificates, plant.store, person, AUTHORITY, OWN, NOW, years)
    return plant


def with_fields(pdf: bytes) -> bytes:
    """Return a page with its two signature fields, nothing signed."""
    return _with_fields(pdf, PLACES)


# ---------------------------------------------------------------- unsigned updates, as any editor writes them


def _updated(pdf: bytes, change: Callable[[IncrementalPdfFileWriter], None]) -> bytes:
    writer = IncrementalPdfFileWriter(io.BytesIO(pdf))
    change(writer)
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def attachment_replaced(pdf: bytes) -> bytes:
    """Replace record.json by one that says PASS."""

    def change(writer: IncrementalPdfFileWriter) -> None:
        names = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
        pairs = {str(names[i]): names[i + 1] for i in range(0, len(names), 2)}
        files = pairs["record.json"]["/EF"]
        text = files["/F"].data.replace(b"FAIL", b"PASS")
        kind = {pdf_name("/Type"): pdf_name("/EmbeddedFile")}
        files["/F"] = files["/UF"] = writer.add_object(StreamObject(dict_data=kind, stream_data=text))
        writer.update_container(files)

    return _updated(pdf, change)


def attachment_added(pdf: bytes) -> bytes:
    """Add an attachment of one's own."""

    def change(writer: IncrementalPdfFileWriter) -> None:
        data = embed.EmbeddedFileObject.from_file_data(writer, b"{}", mime_type="application/json")
        embed.embed_file(writer, embed.FileSpec("zz.json", embedded_data=data))

    return _updated(pdf, change)


def painted_over(pdf: bytes) -> bytes:
    """Paint a white square over the first page."""

    def change(writer: IncrementalPdfFileWriter) -> None:
        first = _first_page(writer)
        square = writer.add_object(StreamObject(stream_data=b"q 1 1 1 rg 0 0 200 300 re f Q"))
        first["/Contents"] = ArrayObject([first.raw_get("/Contents"), square])
        writer.update_container(first)

    return _updated(pdf, change)


def note_stuck_on(pdf: bytes) -> bytes:
    """Stick a note with other words on the first page."""

    def change(writer: IncrementalPdfFileWriter) -> None:
        first = _first_page(writer)
        note = {
            "/Type": pdf_name("/Annot"),
            "/Subtype": pdf_name("/FreeText"),
            "/Contents": pdf_string("PASS"),
            "/Rect": ArrayObject([NumberObject(edge) for edge in (0, 0, 200, 300)]),
        }
        kept = list(first["/Annots"]) if "/Annots" in first else []
        first["/Annots"] = ArrayObject([*kept, writer.add_object(DictionaryObject(note))])
        writer.update_container(first)

    return _updated(pdf, change)


def title_changed(pdf: bytes) -> bytes:
    """Give the file another title."""

    def change(writer: IncrementalPdfFileWriter) -> None:
        about = writer.trailer["/Info"]
        about["/Title"] = pdf_string("another title")
        writer.update_container(about)

    return _updated(pdf, change)


def _first_page(writer: IncrementalPdfFileWriter) -> Any:
    node = writer.root["/Pages"]
    while "/Kids" in node:
        node = node["/Kids"][0]
    return node


def flipped(pdf: bytes, position: int) -> bytes:
    """Flip one bit."""
    return pdf[:position] + bytes([pdf[position] ^ 1]) + pdf[position + 1 :]
