"""The tables of a pack as CSV files and as one workbook: the same bytes every time.

Every cell is text, exactly as typed or as the page prints it: "7.10" stays "7.10". Nothing that was typed is
ever run as a formula.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from io import BytesIO, StringIO
from typing import TYPE_CHECKING, Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from wqverify.pack.tables import Sheet
from wqverify.pack.target import LONG_AGO
from wqverify.show.printable import visible

if TYPE_CHECKING:
    from openpyxl import Workbook

PLANT = "plant"  # the last column of every table: what is cut out of it still says where it is from
_BOM = "\ufeff"  # tells a spreadsheet that the file is UTF-8
# A number, perhaps with its unit, is shown as it is; anything else that could begin a formula is not.
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?( [A-Za-z%/°µ][\w%/°µ]*)?")
_NOT_XML = re.compile("[\ufffe\uffff]")
_WIDEST, _NARROWEST = 60, 8
_TIMES = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*")


def inert(text: str) -> str:
    """Return a text that a spreadsheet opening a CSV file shows and never computes.

    >>> inert("-0.05 mg/L"), inert("=1+1"), inert("-1+1"), inert("@sum")
    ('-0.05 mg/L', "'=1+1", "'-1+1", "'@sum")
    """
    steers = text[:1] in ("=", "+", "-", "@", "\t", "\r") and not _NUMBER.fullmatch(text)
    return f"'{text}" if steers else text


def csv_text(sheet: Sheet, label: str) -> str:
    """Return a table as CSV in UTF-8 with commas, a head line and the plant in the last column."""
    out = StringIO()
    out.write(_BOM)
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([*(head.name for head in sheet.heads), PLANT])
    writer.writerows([*map(inert, row), label] for row in sheet.rows)
    return out.getvalue()


def workbook(sheets: Sequence[Sheet], about: Sequence[tuple[str, str]], label: str, at: str) -> bytes:
    """Return the tables as an xlsx file; ``at`` is the time written into it, that of the newest entry."""
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    _add(book, "About", ("what", "is"), [*about], label)
    for sheet in sheets:
        names = (*(head.name for head in sheet.heads), PLANT)
        _add(book, sheet.name, names, [(*row, label) for row in sheet.rows], label)
    out = BytesIO()
    book.save(out)
    return _without_a_clock(out.getvalue(), datetime.fromisoformat(at).astimezone(UTC))


def _add(book: Workbook, name: str, heads: Sequence[str], rows: Sequence[Sequence[str]], label: str) -> None:
    from openpyxl.styles import Alignment, Font

    sheet = book.create_sheet(name)
    sheet.freeze_panes = "A2"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddHeader.center.text = label.replace("&", "&&")
    for number, width in enumerate(_widths(heads, rows)):
        sheet.column_dimensions[_letters(number)].width = width
    bold, top = Font(bold=True), Alignment(vertical="top", wrap_text=True)
    sheet.append([_cell(sheet, head, bold, top) for head in heads])
    for row in rows:
        sheet.append([_cell(sheet, text) if text else None for text in row])
    if rows:
        sheet.auto_filter.ref = f"A1:{_letters(len(heads) - 1)}{len(rows) + 1}"


def _widths(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[int]:
    found = [max(_NARROWEST, len(head)) for head in heads]
    for row in rows:
        found = [max(width, len(text)) for width, text in zip(found, row, strict=True)]
    return [min(width, _WIDEST) + 2 for width in found]


def _letters(number: int) -> str:
    from openpyxl.utils import get_column_letter

    return str(get_column_letter(number + 1))


def _cell(sheet: Any, text: str, font: Any = None, alignment: Any = None) -> Any:
    from openpyxl.cell import WriteOnlyCell

    cell = WriteOnlyCell(sheet, _NOT_XML.sub("?", visible(text)))
    cell.data_type = "s"  # also of "=1+1": nothing typed is a formula
    if font is not None:
        cell.font, cell.alignment = font, alignment
    return cell


def _without_a_clock(data: bytes, at: datetime) -> bytes:
    """Return an xlsx file with one fixed time in it: the library writes the computer's clock."""
    out = BytesIO()
    told = rb"\g<1>" + at.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    with ZipFile(BytesIO(data)) as old, ZipFile(out, "w", ZIP_DEFLATED) as new:
        for name in old.namelist():
            part = old.read(name)
            info = ZipInfo(name, LONG_AGO)
            info.compress_type = ZIP_DEFLATED
            info.create_system = 0
            new.writestr(info, _TIMES.sub(told, part) if name == "docProps/core.xml" else part)
    return out.getvalue()
