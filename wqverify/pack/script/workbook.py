"""The workbook: its sheets say what the CSV files say."""

import io
import re
import zipfile
import zlib
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from wqverify.pack.script.index_page import as_shown
from wqverify.pack.script.pairing import compare_rows
from wqverify.pack.script.reading import bytes_of, rows_of
from wqverify.pack.script.said import Report

SHEETS = {
    "Records": "index",
    "Readings": "readings",
    "Checks": "checks",
    "Open and late": "open",
    "Plan": "plan",
    "Skipped": "skipped",
    "Changes": "changes",
    "Changes told": "told",
    "Not explained": "unexplained",
    "Opened": "opened",
    "Certificates": "certificates",
}
ROOM = 1 << 29  # bytes: a part of a workbook that would unpack to more is not read
PART = re.compile(
    r"\[Content_Types\]\.xml|_rels/\.rels|docProps/(app|core)\.xml|xl/(workbook|styles|theme/theme1)\.xml|"
    r"xl/_rels/workbook\.xml\.rels|xl/worksheets/sheet[0-9]{1,3}\.xml"
)
NO_WORKBOOK = (
    *(zipfile.BadZipFile, ElementTree.ParseError, zlib.error, KeyError, ValueError, RuntimeError),
    *(OSError, EOFError, StopIteration, MemoryError),
)


def check_workbook(folder: Path, report: Report) -> None:
    """Compare the sheets of index.xlsx with the CSV files."""
    data = bytes_of(folder, "index.xlsx", report)
    if data is None:
        return
    before = len(report.bad)
    try:
        sheets = sheets_of(data)
    except NO_WORKBOOK:
        report.bad.append("index.xlsx is no workbook as a pack holds it: it was altered, and not compared.")
        return
    for sheet, table in SHEETS.items():
        rows = rows_of(folder, table, report)
        if rows is not None:
            compare_sheet(sheet, sheets.get(sheet), table, rows, report)
    for name in sorted(sheets.keys() - SHEETS.keys() - {"About"}):
        report.bad.append(f"index.xlsx holds a sheet that no pack holds: {name}.")
    if len(report.bad) == before:
        report.good.append("index.xlsx says in its sheets what the CSV files say.")


def sheets_of(data: bytes) -> "dict[str, Any]":
    """Return the rows of each sheet by its name; ValueError for what no pack writes: formulas, macros."""
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        for part in book.infolist():
            if not PART.fullmatch(part.filename) or part.file_size > ROOM:
                raise ValueError(part.filename)
        leads = {
            one.attrib["Id"]: one.attrib["Target"].lstrip("/")
            for one in ElementTree.fromstring(book.read("xl/_rels/workbook.xml.rels"))
        }
        found = {}
        for one in ElementTree.fromstring(book.read("xl/workbook.xml")).iter():
            if kind(one) == "sheet":
                if one.attrib["name"] in found or one.attrib.get("state", "visible") != "visible":
                    raise ValueError("a sheet that is hidden, or there twice")
                place = next(text for name, text in one.attrib.items() if name.endswith("}id"))
                found[one.attrib["name"]] = cells_of(ElementTree.fromstring(book.read(leads[place])))
        return found


def kind(element: Any) -> str:
    """Return the name of an element without its space of names."""
    return str(element.tag).rpartition("}")[2]


def cells_of(sheet: Any) -> "list[dict[str, str]]":
    """Return the texts of a sheet by row and column; ValueError for a cell that is no plain text."""
    rows = []
    if any(one.attrib.get("hidden", "0") not in ("0", "false") for one in sheet.iter()):
        raise ValueError("a row or a column that is hidden")
    for row in (one for one in sheet.iter() if kind(one) == "row"):
        texts = {}
        for cell in row:
            if cell.attrib.get("t") != "inlineStr" or {kind(one) for one in cell.iter()} - {"c", "is", "t"}:
                raise ValueError("a cell that is no text")
            column = cell.attrib["r"].rstrip("0123456789")
            if column in texts:
                raise ValueError("a cell that is there twice")
            texts[column] = "".join(cell.itertext())
        rows.append(texts)
    return rows


def compare_sheet(sheet: str, shown: Any, table: str, rows: "list[dict[str, str]]", report: Report) -> None:
    """Compare one sheet with its table."""
    head, *lines = shown or [{}]
    names = list(rows[0]) if rows else sorted(head.values())
    found = []
    if len({*head.values()}) != len(head):
        report.once(f"index.xlsx, {sheet}: two columns of one name.")
    for line in lines:
        said = {head.get(column, column): text for column, text in line.items()}
        for name in sorted(said.keys() - {*names}):
            report.once(f"index.xlsx, {sheet}: a column {name}, which {table}.csv has not.")
        found.append([plain(said.get(name, "")) for name in names])
    wanted = [[plain(cell) for cell in row.values()] for row in rows]
    compare_rows(f"index.xlsx, {sheet}", table, names, wanted, found, report)


def plain(cell: str) -> str:
    """Return the text of a cell as a workbook can hold it."""
    return re.sub("[\ufffe\uffff]", "?", as_shown(cell))
