"""The pages of a pack as HTML: static, no script, readable in black and white and on paper."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html import escape

from wqverify.pack.contents import Contents
from wqverify.pack.month import Heads
from wqverify.pack.pages_in import FOLDER
from wqverify.pack.script.first_facts import COUNTED, first_facts
from wqverify.pack.script.heads import WHEN_SAID
from wqverify.pack.tables import Sheet
from wqverify.show.html import html
from wqverify.show.kinds import Block, Column, Facts, Heading, Row, Statement, Table, Title, rows
from wqverify.show.lookup import when
from wqverify.show.printable import visible

# On paper the label stands at the head of every page: a table's head is repeated, in every browser.
_STYLE = """
body{margin:1.2em;background:#fff;color:#000}
.label{font:600 14px/1.5 sans-serif;border-bottom:2px solid #000;padding-bottom:.2em}
body .wqv{max-width:none}
body .wqv h1{font-size:1.6em;margin:.5em 0 0}
body .wqv td,body .wqv th{border-bottom:1px solid #bbb;padding:.2em .7em .2em 0}
body .wqv th{font-weight:600;opacity:1}
body .wqv a{color:inherit}
body .wqv thead,.label{break-inside:avoid}
body .wqv td.n:has(strong){white-space:normal}
body .wqv tr,body .wqv p{break-inside:avoid}
body .wqv h2,body .wqv h2+p{break-after:avoid}
@page{margin:12mm}
@media print{
body{margin:0}.whole{display:table;width:100%}.label{display:table-header-group}.body{display:table-row-group}
body .wqv{font-size:9.5px}
}"""
_ON_ITS_SIDE = "\n@page{size:landscape}"
_ONE_SHEET = """
@page{size:portrait}
@media print{
body .wqv{font-size:9px;line-height:1.25}
body .wqv p{margin:.2em 0}body .wqv h2{margin:.6em 0 .15em}body .wqv td{padding-top:.1em;padding-bottom:.1em}
}"""
# Nothing in the page may run or be fetched, whatever was typed into a sheet.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


def page(title: str, label: str, blocks: Iterable[Block], *, wide: bool = False) -> str:
    """Return blocks as one HTML file by itself; a wide one lies on its side when it is printed."""
    head = escape(visible(title))
    style = f"{_STYLE}{_ON_ITS_SIDE if wide else _ONE_SHEET}"
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width">'
        f"<title>{head}</title><style>{style}</style></head>\n"
        f'<body><div class="whole"><div class="label">{escape(visible(label))}</div>'
        f'<div class="body">{visible(html(list(blocks), {}))}</div></div></body></html>\n'
    )


def index_blocks(pack: Contents) -> Iterator[Block]:
    """Give the index of a pack: what is wrong first, then the records, then all else."""
    yield Title(f"Audit pack {pack.month}", f"{pack.plant}")
    yield from _first(pack)
    yield from _table(pack.sheet("index"))
    yield from _pdfs(pack)
    for name in ("open", "opened", "plan", "skipped", "changes", "told", "unexplained", "certificates"):
        yield from _table(pack.sheet(name))
    yield from _heads(pack.heads)
    yield Heading("Files of this pack")
    yield Table((Column("file", "file"), Column("what it is")), rows(*pack.files))


def _first(pack: Contents) -> Iterator[Block]:
    facts = [
        (
            "Month",
            f"{pack.month}: work begun in this month, and later records about it; plant time "
            f"({pack.site.time_zone})",
        ),
        ("Newest entry of the book", when(pack.newest)),
        *first_facts({name: _by_head(pack.sheet(name)) for name in COUNTED}, pack.month).items(),
        (
            "Kept for",
            f"{pack.site.retention_years} years: a setting of the plant (plant.toml), no legal advice",
        ),
        ("How to check", "check_by_hand.html, and verify_chains.py for Python's standard library alone"),
    ]
    yield Facts(tuple(facts))
    if pack.problems:
        yield Heading("What is wrong")
        yield from (Statement(text, "WRONG") for text in pack.problems)
    yield from (Statement(text, "Note") for text in pack.notes)


def _by_head(sheet: Sheet) -> list[dict[str, str]]:
    names = [head.name for head in sheet.heads]
    return [dict(zip(names, row, strict=True)) for row in sheet.rows]


def _table(sheet: Sheet) -> Iterator[Block]:
    yield Heading(sheet.title)
    if sheet.about:
        yield Statement(sheet.about)
    if not sheet.rows:
        yield Statement(sheet.none)
        return
    shown = [place for place, head in enumerate(sheet.heads) if head.on_page]
    columns = tuple(Column(sheet.heads[place].name, sheet.heads[place].kind) for place in shown)
    yield Table(columns, tuple(Row(tuple(row[place] for place in shown)) for row in sheet.rows))


def _pdfs(pack: Contents) -> Iterator[Block]:
    yield Heading("PDFs and their digests")
    if not pack.pdfs:
        yield Statement("There is none.")
        return
    heads = (
        Column("record", "short"),
        Column("PDF", "file"),
        Column("PDF against the book"),
        Column("SHA-256 of the PDF", "digest"),
    )
    found = [(n, f"{FOLDER}/{name}" if name else "", said, digest) for n, name, said, digest in pack.pdfs]
    yield Table(heads, rows(*found))


def _heads(heads: Iterable[Heads]) -> Iterator[Block]:
    yield Heading("Heads of the chains")
    yield Statement(
        "CHAIN:SEQ:DIGEST of the newest entry: before the first entry made in the month, before the first "
        "made after it, and when the pack was made. Entries are placed by when they were entered, by the "
        "clock of the computer that did; work may be entered later than it was done."
    )
    lines = [
        (head.chain, WHEN_SAID[word], str(head))
        for one in heads
        for word, head in (("begin", one.begin), ("end", one.end), ("now", one.now))
    ]
    yield Table((Column("chain", "short"), Column("when", "short"), Column("head", "digest")), rows(*lines))
