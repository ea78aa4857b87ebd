"""The rows of a laboratory's xlsx workbook as texts; formulas are never computed here."""

from __future__ import annotations

import io
import warnings
import zipfile
from datetime import datetime, time, timedelta
from decimal import Decimal
from typing import Any

from wqverify.errors import CorrectTheEntry
from wqverify.trends.options import ExportOptions

MOST_BYTES = 500_000_000  # what a workbook may unpack to


def workbook_rows(
    data: bytes, file: str, options: ExportOptions
) -> tuple[list[tuple[int, list[str]]], list[str]]:
    """Return the rows of one sheet with their numbers, and what was found in sentences.

    Raises CorrectTheEntry for a file that is no workbook, a sheet that is not there, and a cell with a
    formula whose value was not stored.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # lists and styles it drops are of no use here
        return _rows(data, file, options)


def _rows(data: bytes, file: str, options: ExportOptions) -> tuple[list[tuple[int, list[str]]], list[str]]:
    values, formulas = _opened(data, file, True), _opened(data, file, False)
    name = options.sheet or values.sheetnames[0]
    if name not in values.sheetnames:
        raise CorrectTheEntry(
            f"{file} has no sheet {name!r}; it has {', '.join(values.sheetnames)}.",
            found=name,
            expected=", ".join(values.sheetnames),
            where=file,
        )
    decimal = options.decimal or "."
    rows: list[tuple[int, list[str]]] = []
    computed = 0
    pairs = zip(values[name].iter_rows(), formulas[name].iter_rows(), strict=True)
    for number, (row, written) in enumerate(pairs, 1):
        for cell, formula in zip(row, written, strict=True):
            if getattr(formula, "data_type", "") == "f":
                computed += 1
                if cell.value is None:
                    raise _not_stored(file, name, formula.coordinate)
        texts = [_text(cell.value, decimal) for cell in row]
        if any(texts):
            rows.append((number, texts))
    told = [f"sheet {name!r} of {len(values.sheetnames)}"]
    if computed:
        told.append(f"{computed} cells hold formulas; their stored values were taken, nothing was computed")
    if not rows:
        raise CorrectTheEntry(f"{file}: the sheet {name!r} is empty; name another.", where=file)
    last = max(len(row) - next((n for n, t in enumerate(reversed(row)) if t), len(row)) for _, row in rows)
    return [(number, row[:last]) for number, row in rows], told


def _opened(data: bytes, file: str, values: bool) -> Any:
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            unpacked = sum(part.file_size for part in packed.infolist())
        if unpacked > MOST_BYTES:
            raise CorrectTheEntry(
                f"{file} unpacks to {unpacked / 1e6:.0f} MB; a workbook of at most {MOST_BYTES / 1e6:.0f} MB "
                f"is read, export it as CSV.",
                where=file,
            )
        return openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=values)
    except (zipfile.BadZipFile, InvalidFileException, KeyError, ValueError, SyntaxError) as problem:
        raise CorrectTheEntry(
            f"{file} cannot be read as an xlsx workbook; open it in a spreadsheet program and save it again.",
            found=type(problem).__name__,
            expected="an xlsx workbook",
            where=file,
        ) from None


def _not_stored(file: str, sheet: str, cell: str) -> CorrectTheEntry:
    return CorrectTheEntry(
        f"{file}, sheet {sheet!r}, cell {cell}: it holds a formula whose value was not stored; open the "
        f"workbook in a spreadsheet program, save it, and read it again.",
        found="a formula",
        expected="a value",
        where=f"{file}, {sheet}!{cell}",
    )


def _text(value: Any, decimal: str) -> str:
    """What a cell holds as a CSV would have it; a date without time of day stays one."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, int | float):
        return f"{Decimal(repr(value)):f}".removesuffix(".0").replace(".", decimal)
    if isinstance(value, datetime):
        bare = value.time() == time(0)
        return f"{value:%Y-%m-%d}" if bare else value.isoformat(sep=" ", timespec="seconds")
    if isinstance(value, time):
        return value.isoformat(timespec="seconds")
    if isinstance(value, timedelta):
        return f"{(datetime(2000, 1, 1) + value):%H:%M:%S}"
    return str(value).strip()
