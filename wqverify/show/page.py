"""The page of a record: a pure function of the record, its bytes and its attachments.

typst makes it, with the fonts of this package only, without network, as PDF/A-3b (made as, not validated).
The edition of the template stands in the record, so that an old record gets its old page.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, is_dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wqverify.errors import CouldNotRun
from wqverify.show import wording
from wqverify.show.align import aligned
from wqverify.show.blocks import Block, Row, Statement, Table, blocks
from wqverify.show.lookup import person
from wqverify.show.provenance import previous_short
from wqverify.terms import Record

if TYPE_CHECKING:
    import typst

RECORD = "record.json"
Place = tuple[int, tuple[float, float, float, float]]  # page from 0, box (x0, y0, x1, y1) from bottom left
_HEIGHT = 792.0  # of US Letter, points
_FOLDER = Path(str(files("wqverify"))) / "show"
_MIME = {
    ".json": "application/json",
    ".ipynb": "application/x-ipynb+json",
    ".svg": "image/svg+xml",
    ".csv": "text/csv",
}
_MIDNIGHT = datetime(2000, 1, 1, tzinfo=UTC)  # a stamp says its time in its lines, its file needs none


def make_page(record: Record, record_bytes: bytes, attachments: Mapping[str, bytes]) -> bytes:
    """Return the PDF of a record with record.json and the attachments in it.

    Raises CouldNotRun where the template edition is unknown, a chart is missing or the compiler warns.
    """
    made = datetime.fromisoformat(record.entered or record.performed).astimezone(UTC)
    return _compile(_template(record.page), _inputs(record, record_bytes, attachments), made)


def signature_places(
    record: Record, record_bytes: bytes, attachments: Mapping[str, bytes]
) -> dict[str, Place]:
    """Return where each role signs on the page, in PDF points from the bottom left."""
    import typst

    # Not Compiler.query: after a compile it no longer finds its own input.
    inputs = _inputs(record, record_bytes, attachments)
    found = json.loads(
        typst.query(_template(record.page), "<place>", field="value", font_paths=_fonts(), sys_inputs=inputs)
    )
    return {
        p["role"]: (
            p["page"] - 1,
            (p["x"], _HEIGHT - p["y"] - p["height"], p["x"] + p["width"], _HEIGHT - p["y"]),
        )
        for p in found
    }


def stamp_page(lines: Sequence[str], width: float, height: float) -> bytes:
    """Return a one-page PDF of this size in points with the lines of a visible signature."""
    inputs = {
        "stamp": json.dumps({"lines": [_shown(line) for line in lines], "width": width, "height": height})
    }
    return _compile((_FOLDER / "stamp.typ").read_bytes(), inputs, _MIDNIGHT)


# ---------------------------------------------------------------- what the template is handed


def _inputs(record: Record, record_bytes: bytes, attachments: Mapping[str, bytes]) -> dict[str, str]:
    charts = [f"chart-{n}.svg" for n in range(1, len(record.result.charts) + 1)]
    for name in charts:
        if name not in attachments:
            raise CouldNotRun(
                f"The picture {name} is not among the attachments of record {record.number}; the page is "
                f"made from its attachments only, so nothing was made. Take them from the signed file.",
                expected=name,
                found=", ".join(attachments),
            )
    everything = {RECORD: record_bytes, **dict(sorted(attachments.items()))}
    texts = {name: data.decode() for name, data in everything.items() if _is_text(data)}
    digest = hashlib.sha256(record_bytes).hexdigest()
    site, number = record.given.site, record.number
    about = {
        "plant": site.name,
        "number": number,
        "title": f"Verification record {number}, {record.given.analyzer.tag}",
        "author": person(record, record.performed_by),
        "keywords": [number, record.given.analyzer.tag, record.procedure],
        "synthetic": wording.SYNTHETIC if site.synthetic else "",
        "previous": f"entry before in the book: {previous_short(record.previous)}",
        "digest": f"record.json SHA-256 {digest[:16]}…",
        "digest-full": digest,
    }
    attached = [
        {
            "name": name,
            "bytes": None if name in texts else list(data),
            "relationship": "source" if name == RECORD else "supplement",
            "mime": _MIME.get(Path(name).suffix, "application/octet-stream"),
            "description": "the record as data, canonical JSON" if name == RECORD else f"attachment {name}",
        }
        for name, data in everything.items()
    ]
    return {
        **texts,
        "blocks": json.dumps([_plain(_aligned(block)) for block in _paged(record)]),
        "about": json.dumps(_plain(about)),
        "attached": json.dumps(attached),
    }


def _paged(record: Record) -> Iterator[Block]:
    """Give the blocks of a page; that data are synthetic stands in the header of every page."""
    return (b for b in blocks(record) if not (isinstance(b, Statement) and b.text == wording.SYNTHETIC))


def _aligned(block: Block) -> Block:
    """Pad numbers with figure spaces, as wide as a digit or a sign: no measuring in the template."""
    if not isinstance(block, Table):
        return block
    body = [row.cells for row in block.rows if row.kind == ""]
    columns = [
        aligned([cells[i].replace("-", "−") for cells in body], "\u2007")
        if column.kind == "number"
        else [cells[i] for cells in body]
        for i, column in enumerate(block.columns)
    ]
    cells = iter(zip(*columns, strict=True))
    rows = tuple(
        Row(tuple(cell.rstrip("\u2007") for cell in next(cells))) if row.kind == "" else row
        for row in block.rows
    )
    return replace(block, rows=rows)


def _is_text(data: bytes) -> bool:
    try:
        data.decode()
    except UnicodeDecodeError:
        return False
    return True


def _plain(value: Any) -> Any:
    """Return a block as plain data with its kind; every text as it can be printed."""
    if is_dataclass(value) and not isinstance(value, type):
        return {"kind": type(value).__name__, **_plain(asdict(value))}
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return _shown(value) if isinstance(value, str) else value


# ---------------------------------------------------------------- what can be printed

_LONG_WORD = re.compile(r"(?![0-9a-f]{64}(?!\S))\S{25,}")


def _shown(text: str) -> str:
    """Return a text that the fonts can print: what they lack by its code, long words with places to break."""
    printable = "".join(c if ord(c) in _covered() or c == "\n" else f"[U+{ord(c):04X}]" for c in text)
    return _LONG_WORD.sub(lambda word: "\u200b".join(re.findall(r".{1,12}", word[0])), printable)


@lru_cache(maxsize=1)
def _covered() -> frozenset[int]:
    """Return the characters that the shipped fonts hold, without those that only steer the text."""
    found: set[int] = set()
    for line in (_FOLDER / "fonts" / "covered.txt").read_text("ascii").split():
        first, _, last = line.partition("-")
        found.update(range(int(first, 16), int(last or first, 16) + 1))
    return frozenset(found)


# ---------------------------------------------------------------- the compiler


def _template(edition: int) -> bytes:
    path = _FOLDER / f"page_{edition}.typ"
    if not path.is_file():
        raise CouldNotRun(
            f"This wqverify has no page template of edition {edition}; install the version that made the "
            f"record, or a newer one.",
            found=str(edition),
        )
    return path.read_bytes()


@lru_cache(maxsize=1)
def _fonts() -> typst.Fonts:
    import typst

    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[_FOLDER / "fonts"]
    )


def _compile(template: bytes, inputs: dict[str, str], made: datetime) -> bytes:
    import typst

    compiler = typst.Compiler(input=template, font_paths=_fonts(), sys_inputs=inputs)
    try:
        pdf, warnings = compiler.compile_with_warnings(format="pdf", pdf_standards=["a-3b"], timestamp=made)
    except typst.TypstError as problem:
        raise CouldNotRun(
            f"The page could not be made: {problem.message}. Nothing was recorded; keep the sheet and report "
            f"it.",
            found=problem.message,
        ) from problem
    if warnings:  # an unknown font is only a warning and silently changes the page
        raise CouldNotRun(
            f"The page could not be made as it should look: {warnings[0].message}. Nothing was recorded; "
            f"report it.",
            found=warnings[0].message,
        )
    assert isinstance(pdf, bytes)
    return pdf
