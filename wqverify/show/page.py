"""The page of a record: a pure function of the record, its bytes and its attachments.

typst makes it, with the fonts of this package only, without network, as PDF/A-3b (made as, not validated).
The edition of the template stands in the record, so that an old record gets its old page.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, replace
from datetime import UTC, datetime
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wqverify.errors import CouldNotRun
from wqverify.show import wording
from wqverify.show.align import aligned
from wqverify.show.blocks import Block, Row, Statement, Table, blocks
from wqverify.show.lookup import person, record_title
from wqverify.show.printable import BREAK, printable
from wqverify.terms import Previous, Record

if TYPE_CHECKING:
    import typst

RECORD = "record.json"
Place = tuple[int, tuple[float, float, float, float]]  # page from 0, box (x0, y0, x1, y1) from bottom left
_HEIGHT = 792.0  # of US Letter, points
_HEADER = 40  # letters of a name in the header
FOLDER = Path(str(files("wqverify"))) / "show"
_MIME = {
    ".json": "application/json",
    ".jsonl": "application/jsonl",
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
    return compiled(_template(record.page), _inputs(record, record_bytes, attachments), made)


def signature_places(
    record: Record, record_bytes: bytes, attachments: Mapping[str, bytes]
) -> dict[str, Place]:
    """Return where each role signs on the page, in PDF points from the bottom left."""
    import typst

    # Not Compiler.query: after a compile it no longer finds its own input.
    template, inputs = _template(record.page), _inputs(record, record_bytes, attachments)
    try:
        found = typst.query(template, "<place>", field="value", font_paths=_fonts(), sys_inputs=inputs)
    except typst.TypstError as problem:
        raise _not_made(problem) from problem
    return {
        p["role"]: (
            p["page"] - 1,
            (p["x"], _HEIGHT - p["y"] - p["height"], p["x"] + p["width"], _HEIGHT - p["y"]),
        )
        for p in json.loads(found)
    }


def stamp_page(lines: Sequence[str], width: float, height: float) -> bytes:
    """Return a one-page PDF of this size in points with the lines of a visible signature."""
    stamp = {"lines": [printable(line) for line in lines], "width": width, "height": height}
    inputs = {"stamp": json.dumps(stamp)}
    return compiled((FOLDER / "stamp.typ").read_bytes(), inputs, _MIDNIGHT)


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
        "plant": f"{_short(site.name)} · {_short(record.given.analyzer.tag)}",
        "number": number,
        "title": f"{record_title(record)}, {record.given.analyzer.tag}",
        "author": person(record, record.performed_by),
        "keywords": [number, record.given.analyzer.tag, record.procedure],
        "synthetic": wording.SYNTHETIC if site.synthetic else "",
        "previous": f"Entry before in the book: {_previous(record.previous)}",
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
        **{f"file:{name}": text for name, text in texts.items()},
        "blocks": json.dumps([_handed(block) for block in _paged(record)]),
        "about": json.dumps(plain_text(about)),
        "attached": json.dumps(attached),
    }


def _paged(record: Record) -> Iterator[Block]:
    """Give the blocks of a page; that data are synthetic stands in the header of every page."""
    return (b for b in blocks(record) if not (isinstance(b, Statement) and b.text == wording.SYNTHETIC))


def _short(name: str) -> str:
    """Return what of a name fits into the header of a page; the whole name stands on the first sheet."""
    return name if len(name) <= _HEADER else name[: _HEADER - 1].rstrip() + "…"


def _previous(previous: Previous) -> str:
    """Return the entry before with the beginning of its digest; the whole digest stands in the record."""
    if not previous.digest:
        return "none"
    return f"{previous.chain} entry {previous.seq}, {previous.digest[:16]}…"


def _handed(block: Block) -> dict[str, Any]:
    """Return a block as the template takes it: its kind, and how long the texts of a column are."""
    if not isinstance(block, Table):
        return {"kind": type(block).__name__, **plain_text(asdict(block))}
    plain = plain_text(asdict(_aligned(block)))
    body = [row["cells"] for row in plain["rows"] if row["kind"] == ""]
    cells = zip([column["label"] for column in plain["columns"]], *body, strict=True)
    return {"kind": "Table", **plain, "letters": [_letters(column) for column in cells]}


def _letters(cells: Sequence[str]) -> tuple[int, int, int]:
    """Return the letters of the longest cell, of the middle one and of the longest word."""
    longs = sorted(map(len, cells))
    words = [word for cell in cells for word in cell.replace(BREAK, " ").split(" ")]
    return longs[-1], longs[len(longs) // 2], max(map(len, words))


def _aligned(block: Table) -> Table:
    """Pad numbers with figure spaces, as wide as a digit or a sign: no measuring in the template."""
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


def plain_text(value: Any) -> Any:
    """Return plain data with every text as it can be printed."""
    if isinstance(value, dict):
        return {key: plain_text(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain_text(item) for item in value]
    return printable(value) if isinstance(value, str) else value


# ---------------------------------------------------------------- the compiler


def _template(edition: int) -> bytes:
    path = FOLDER / f"page_{edition}.typ"
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
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[FOLDER / "fonts"]
    )


def compiled(template: bytes, inputs: dict[str, str], made: datetime) -> bytes:
    import typst

    compiler = typst.Compiler(input=template, font_paths=_fonts(), sys_inputs=inputs)
    try:
        pdf, warnings = compiler.compile_with_warnings(format="pdf", pdf_standards=["a-3b"], timestamp=made)
    except typst.TypstError as problem:
        raise _not_made(problem) from problem
    if warnings:  # an unknown font is only a warning and silently changes the page
        raise CouldNotRun(
            f"The page could not be made as it should look: {warnings[0].message}. Nothing was recorded; "
            f"report it.",
            found=warnings[0].message,
        )
    assert isinstance(pdf, bytes)
    return pdf


def _not_made(problem: typst.TypstError) -> CouldNotRun:
    return CouldNotRun(
        f"The page could not be made: {problem.message}. Nothing was recorded; keep the sheet and report it.",
        found=problem.message,
    )
