"""Blocks as HTML for a notebook: every text escaped, charts as pictures, outcomes as words."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from urllib.parse import quote

from wqverify.show.align import aligned
from wqverify.show.kinds import (
    Block,
    CautionBlock,
    ChartBlock,
    Column,
    Facts,
    Formula,
    Heading,
    PageBreak,
    Row,
    Signatures,
    Statement,
    Table,
    Title,
    Verdicts,
    at_its_foot,
)
from wqverify.show.lookup import NONE
from wqverify.terms import Outcome

_LEFT = 'style="text-align:left"'
_FIGURE_SPACE = "\u2007"  # as wide as a digit
_STYLE = """<style>
.wqv{font:14px/1.4 "Source Sans Pro","Source Sans 3",sans-serif;max-width:62em;color:inherit}
.wqv h2{font-size:1.15em;font-weight:600;margin:1.2em 0 .3em;border-bottom:1px solid currentColor}
.wqv table{border-collapse:collapse;font-variant-numeric:tabular-nums;margin:.3em 0}
.wqv th,.wqv td{text-align:left;vertical-align:top;padding:.12em .9em .12em 0;background:none}
.wqv th,.wqv td{white-space:normal}
.wqv th{font-weight:400;opacity:.75;border-bottom:1px solid currentColor}
.wqv .n{white-space:nowrap}.wqv .g{font-weight:600}.wqv .d{font-size:.8em;overflow-wrap:anywhere}
.wqv .not{font-weight:700}.wqv .fail{font-weight:700;border:1.5px solid currentColor;padding:0 .3em}
.wqv p{margin:.35em 0}.wqv img{max-width:100%;background:#fff}
</style>"""


def html(blocks: Sequence[Block], charts: Mapping[str, bytes]) -> str:
    """Return blocks as one HTML fragment; ``charts`` holds the pictures by name."""
    body = "".join(part for block in at_its_foot(blocks) for part in _block(block, charts))
    # JupyterLab sets cells to the right, and takes the sheet of styles out of a notebook it does not trust:
    # said on each cell. All text is escaped, so "<td" is always a cell.
    body = body.replace("<td", f"<td {_LEFT}").replace("<th>", f"<th {_LEFT}>")
    return f'{_STYLE}<div class="wqv">{body}</div>'


def _block(block: Block, charts: Mapping[str, bytes]) -> Iterator[str]:
    match block:
        case Title():
            yield f"<h1>{escape(block.text)}</h1><p>{escape(block.below)}</p>"
        case Heading():
            yield f"<h2>{escape(block.text)}</h2>"
        case Facts():
            yield from _facts(block)
        case Verdicts():
            cells = "".join(
                f"<tr><td>{escape(v.label)}</td><td>{_word(v.word)}</td><td>{escape(v.detail)}</td></tr>"
                for v in block.rows
            )
            yield f"<table>{cells}</table>"
        case Table():
            yield from _table(block)
        case Formula():
            lines = (block.formula, f"= {block.put_in}", f"= {block.answer}", block.source)
            body = "<br>".join(escape(line) for line in lines if line)
            yield f'<p><strong class="g">{escape(block.label)}</strong><br>{body}</p>'
        case Statement():
            yield _sentence(block.lead, block.text, block.source)
        case CautionBlock():
            yield _sentence("Caution", block.text, block.source)
        case ChartBlock():
            yield _chart(block, charts)
        case Signatures():
            cells = "".join(
                f"<tr><td>{escape(p.role)}</td><td>{escape(p.name)}</td><td>{escape(p.meaning)}</td></tr>"
                for p in block.places
            )
            yield f"<table>{cells}</table><p>{escape(block.note)}</p>"
        case PageBreak():
            yield "<hr>"


def _word(word: str) -> str:
    kind = {"pass": "pass", "fail": "fail", NONE: "pass"}.get(word, "not")
    tag = "span" if kind == "pass" else "strong"
    return f'<{tag} class="{kind}">{escape(word)}</{tag}>'


def _stage(said: str) -> str:
    """Return "as found: fail" with its word marked; what ends in no outcome as it is."""
    stage, colon, word = said.rpartition(": ")
    known = colon and word in (*Outcome, NONE)
    return f"{escape(stage)}: {_word(word)}" if known else escape(said)


def _sentence(lead: str, text: str, source: str) -> str:
    before = f'<strong class="g">{escape(lead)}:</strong> ' if lead else ""
    after = f" ({escape(source)})" if source else ""
    return f"<p>{before}{_lines(text)}{after}</p>"


def _lines(text: str) -> str:
    return escape(text).replace("\n", "<br>")


def _facts(block: Facts) -> Iterator[str]:
    if block.title:
        yield f'<p class="g">{escape(block.title)}</p>'
    cells = "".join(f"<tr><td>{escape(a)}</td><td>{_lines(b)}</td></tr>" for a, b in block.rows)
    yield f"<table>{cells}</table>"


def _chart(block: ChartBlock, charts: Mapping[str, bytes]) -> str:
    if block.name not in charts:
        return f"<p>{escape(block.alt)}</p>"
    # A picture, not inline SVG: a picture cannot run anything, and two of them cannot share an id.
    data = b64encode(charts[block.name]).decode()
    return f'<p><img src="data:image/svg+xml;base64,{data}" alt="{escape(block.alt)}"></p>'


def _table(block: Table) -> Iterator[str]:
    if block.title:
        yield f'<p class="g">{escape(block.title)}</p>'
    body = [row for row in block.rows if row.kind == ""]
    columns = [[row.cells[i] for row in body] for i in range(len(block.columns))]
    for i, column in enumerate(block.columns):
        if column.kind == "number":
            columns[i] = aligned(columns[i], _FIGURE_SPACE)
    head = "".join(f"<th>{escape(column.label)}</th>" for column in block.columns)
    lines, number = [], 0
    for row in block.rows:
        if row.kind == "":
            cells = (_cell(column, columns[i][number]) for i, column in enumerate(block.columns))
            lines.append(f"<tr>{''.join(cells)}</tr>")
            number += 1
        else:
            lines.append(_spanning(row, len(block.columns)))
    yield f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table>"


def _spanning(row: Row, columns: int) -> str:
    kind = "g" if row.kind == "group" else ""
    return f'<tr><td colspan="{columns}" class="{kind}">{_lines(row.cells[0])}</td></tr>'


def _cell(column: Column, text: str) -> str:
    if column.kind == "outcome":
        return f'<td class="n">{_word(text)}</td>'
    if column.kind == "outcomes":
        return f"<td>{'; '.join(map(_stage, text.split('; ')))}</td>"
    if column.kind == "file" and text:
        return f'<td class="n"><a href="{escape(quote(text))}">{escape(text)}</a></td>'
    kind = {"number": "n", "short": "n", "digest": "d"}.get(column.kind, "")
    return f'<td class="{kind}">{_lines(text)}</td>'
