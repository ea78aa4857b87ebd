"""A page of its own for the tests of signing: two pages, three attachments, no chemistry."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import typst

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
