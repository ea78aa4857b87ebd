"""A file becomes a table of texts: encoding, separator, title lines, header, units; nothing is judged."""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path

import numpy as np

from wqverify.errors import CorrectTheEntry, CouldNotRun
from wqverify.trends.options import ExportOptions
from wqverify.trends.stamps import is_epoch, is_stamp
from wqverify.trends.texts import Integers, Texts

LIMIT_BYTES = 200_000_000  # what is read at once; measured: 102 MB of CSV took 0.8 GB of memory
_SAMPLE = 300  # rows that are looked at to find separator, header and times
_SEPARATORS = {"\t": "tabs", ";": "semicolons", "|": "bars", ",": "commas"}
Row = tuple[int, list[str]]  # line of the file, fields


@dataclass(frozen=True, eq=False, slots=True)
class Table:
    """A file as texts: the names of its columns, the columns, the line each row stands on."""

    file: str
    digest: str
    names: tuple[str, ...]
    units: tuple[str, ...]  # of a row of units; empty texts where there is none
    columns: tuple[Texts, ...]
    lines: Integers
    titles: tuple[str, ...]
    told: tuple[str, ...]

    def where(self, row: int) -> str:
        return f"{self.file}, line {self.lines[row]}"


@dataclass(frozen=True, slots=True)
class Head:
    """What the first rows tell: names and units of the columns, the row the data begin with."""

    names: tuple[str, ...]
    units: tuple[str, ...]
    data_from: int  # number of rows before the first row of data
    titles: tuple[str, ...]
    told: tuple[str, ...]


def read_table(path: Path, options: ExportOptions, limit_bytes: int = LIMIT_BYTES) -> Table:
    """Read a CSV or xlsx file as texts.

    Raises CorrectTheEntry for a file that is absent, empty, above the limit, no text, or without header
    or rows, and for rows that do not have as many fields as the header.
    """
    data = file_bytes(path, limit_bytes)
    digest = hashlib.sha256(data).hexdigest()
    if data[:4] == b"PK\x03\x04":
        from wqverify.trends.workbook import workbook_rows

        rows, told = workbook_rows(data, path.name, options)
        return table_of(path.name, digest, iter(rows), told, options)
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise CorrectTheEntry(
            f"{path.name} is a workbook of the old form .xls; save it as .xlsx or CSV.",
            found=".xls",
            expected=".xlsx or CSV",
            where=path.name,
        )
    text, encoding = decoded(data, path.name)
    del data
    separator = options.separator or separator_of(text[:200_000], path.name)
    words = _SEPARATORS.get(separator, repr(separator))
    told = [f"text is {encoding}, separated by {words}, lines end in {_line_ends(text)}"]
    return table_of(path.name, digest, csv_rows(text, separator, path.name), told, options)


def file_bytes(path: Path, limit_bytes: int) -> bytes:
    """Return the bytes of a file; raises CorrectTheEntry where it is absent, empty or above the limit."""
    try:
        size = path.stat().st_size
        if size <= limit_bytes and path.is_file():
            data = path.read_bytes()
    except FileNotFoundError:
        raise CorrectTheEntry(
            f"There is no file {path}; correct its name.", found=str(path), where=str(path)
        ) from None
    except OSError as problem:
        raise CouldNotRun(
            f"{path.name} could not be read ({problem.strerror or problem}).", where=path.name
        ) from problem
    if not path.is_file():
        raise CorrectTheEntry(f"{path} is no file; name the export itself.", found=str(path), where=str(path))
    if size > limit_bytes:
        raise CorrectTheEntry(
            f"{path.name} has {size / 1e6:.1f} MB, more than the {limit_bytes / 1e6:.1f} MB that are read at "
            f"once; export a shorter time, or read it by tag (`wqverify trend` does so by itself for a CSV "
            f"with a row for each value).",
            found=f"{size} bytes",
            expected=f"at most {limit_bytes} bytes",
            where=path.name,
        )
    if not data.strip():
        raise CorrectTheEntry(
            f"{path.name} is empty; export it again.", found="0 rows", expected="rows", where=path.name
        )
    return data


def decoded(data: bytes, file: str) -> tuple[str, str]:
    """Return the text of a file and the name of its encoding."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return data.decode("utf-16"), "UTF-16"
        except UnicodeDecodeError:
            raise _no_text(file) from None
    if b"\0" in data:
        raise _no_text(file)
    try:
        name = "UTF-8 with byte order mark" if data[:3] == b"\xef\xbb\xbf" else "UTF-8"
        return data.decode("utf-8-sig"), name
    except UnicodeDecodeError:
        pass
    try:
        return data.decode("cp1252"), "not UTF-8 and was read as Windows-1252 (Latin-1)"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "not UTF-8 and was read as Latin-1"


def _no_text(file: str) -> CorrectTheEntry:
    return CorrectTheEntry(
        f"{file} is no text and no xlsx workbook (it holds zero bytes); export it as CSV in UTF-8.",
        found="zero bytes",
        expected="CSV or xlsx",
        where=file,
    )


def _line_ends(text: str) -> str:
    start = text[:200_000]
    if "\r\n" in start:
        return "CR LF"
    return "bare CR" if "\r" in start and "\n" not in start else "LF"


def separator_of(text: str, file: str) -> str:
    """Return the separator of a CSV: the one that parts nearly all lines into equally many fields."""
    for separator in _SEPARATORS:
        reader = csv.reader(io.StringIO(text, newline=None), delimiter=separator)
        try:
            counts = Counter(len(row) for row in islice(reader, _SAMPLE) if any(row))
        except csv.Error:
            continue
        common, rows = max(counts.items(), key=lambda item: item[1], default=(0, 0))
        if common > 1 and rows >= 0.8 * max(1, counts.total() - 5):
            return separator
    raise CorrectTheEntry(
        f"{file}: the lines are not parted into equally many fields by commas, semicolons, tabs or bars; "
        f"write separator for this export, or export it as CSV.",
        expected="a separator",
        where=file,
    )


def csv_rows(text: str, separator: str, file: str) -> Iterator[Row]:
    """Give the rows of a CSV with their lines; blanks around fields are dropped, empty rows left out."""
    reader = csv.reader(io.StringIO(text, newline=None), delimiter=separator, strict=True)
    try:
        for row in reader:
            if any(row):
                yield reader.line_num, [field.strip() for field in row]
    except csv.Error as problem:
        raise CorrectTheEntry(
            f"{file}, line {reader.line_num}: a field in double quotes is not closed or is followed by more "
            f"text ({problem}); the file may have been cut off, export it again.",
            found=str(problem),
            where=f"{file}, line {reader.line_num}",
        ) from None


# ---------------------------------------------------------------- header


def table_of(
    file: str, digest: str, rows: Iterator[Row], told: Iterable[str], options: ExportOptions
) -> Table:
    first = list(islice(rows, _SAMPLE))
    head = head_of(first, file, options)
    width = len(head.names)
    seen: list[dict[str, int]] = [{} for _ in range(width)]
    codes: list[list[int]] = [[] for _ in range(width)]
    lines: list[int] = []
    footer: list[Row] = []
    for line, row in chain(islice(first, head.data_from, None), rows):
        if len(row) != width:
            extra = row[width:]
            if len(row) < width or any(extra):
                footer.append((line, row))
                continue
        if footer:
            raise _ragged(file, *footer[0], width)
        lines.append(line)
        for column in range(width):
            known = seen[column]
            codes[column].append(known.setdefault(row[column], len(known)))
    told = [*told, *head.told]
    if footer:
        told.append(_footer(file, footer, width))
    if not lines:
        raise CorrectTheEntry(
            f"{file} has a header and no rows; export it again.",
            found="0 rows",
            expected="rows",
            where=file,
        )
    columns = tuple(
        Texts(tuple(known), np.array(code, np.int32)) for known, code in zip(seen, codes, strict=True)
    )
    return Table(
        file, digest, head.names, head.units, columns, np.array(lines, np.int64), head.titles, tuple(told)
    )


_BEGUN = re.compile(r"\d{1,4}[-/.:]\d")  # a time, perhaps cut off


def _footer(file: str, footer: Sequence[Row], width: int) -> str:
    """Lines after the data such as "End of report"; a row of data that lacks fields is no such line."""
    for line, row in footer:
        if len(row) > 2 or any(_BEGUN.match(field) for field in row):
            raise _ragged(file, line, row, width)
    texts = ", ".join(repr(" ".join(row)[:60]) for _, row in footer)
    return f"{len(footer)} lines after the data were skipped: {texts}"


def _ragged(file: str, line: int, row: Sequence[str], width: int) -> CorrectTheEntry:
    return CorrectTheEntry(
        f"{file}, line {line}: it has {len(row)} fields, the header has {width}; the line is cut off, or a "
        f"separator stands in a value; export it again.",
        found=f"{len(row)} fields",
        expected=f"{width} fields",
        where=f"{file}, line {line}",
    )


def head_of(rows: Sequence[Row], file: str, options: ExportOptions) -> Head:
    """Find the header: the row above the first row of data, or above a row of units."""
    wide = [row for _, row in rows if len(row) > 1]
    if not wide:
        raise CorrectTheEntry(
            f"{file} has no table: no line has more than one field.", expected="a header and rows", where=file
        )
    data_from = _data_from(rows)
    if data_from is None:
        if len(rows) == 1:
            raise CorrectTheEntry(
                f"{file} has a header and no rows; export it again.", found="0 rows", where=file
            )
        raise CorrectTheEntry(
            f"{file}: no column holds times with a date, such as 2026-03-31 14:05; name the columns of date "
            f"and time of day as time = [...] for this export.",
            expected="a column of times",
            where=file,
        )
    if data_from == 0:
        raise CorrectTheEntry(
            f"{file}, line {rows[0][0]}: the file begins with data and has no header; a line with the names "
            f"of the columns is needed.",
            found=rows[0][1][0][:40],
            expected="a header",
            where=f"{file}, line {rows[0][0]}",
        )
    at = data_from - 1
    units: list[str] = []
    if options.header_line is not None:
        at = next((n for n in range(data_from) if rows[n][0] == options.header_line), at)
        units = rows[at + 1][1] if at + 1 < data_from else []
    elif at > 0 and _is_units(rows[at][1]) and len(rows[at - 1][1]) == len(rows[at][1]):
        at, units = at - 1, rows[at][1]
    names = rows[at][1]
    width = len(rows[data_from][1])
    if len(names) < width and not any(any(row[len(names) :]) for _, row in rows[data_from:]):
        width = len(names)
    names = [*names[:width], *[""] * (width - len(names))]
    names = [name or f"column {n}" for n, name in enumerate(names, 1)]
    _refuse_twins(names, file)
    titles = tuple(" ".join(field for field in row if field) for _, row in rows[:at])
    told = []
    if titles:
        shown = ", ".join(repr(title[:60]) for title in titles)
        told.append(f"{len(titles)} title lines above the header were skipped: {shown}")
    if units:
        told.append(f"line {rows[at + 1][0]} holds units")
    units = [unit.strip("[]()") for unit in [*units, *[""] * (width - len(units))][:width]]
    return Head(tuple(names), tuple(units), data_from, titles, tuple(told))


def _data_from(rows: Sequence[Row]) -> int | None:
    """The first row with a time in the column that holds times, None where no column does."""
    usual = Counter(len(row) for _, row in rows).most_common(1)[0][0]
    counts: Counter[int] = Counter()
    for _, row in rows:
        counts.update(n for n, field in enumerate(row) if is_stamp(field))
    if not counts:  # seconds since 1970 count only where no column has times: they look like any number
        for _, row in rows:
            counts.update(n for n, field in enumerate(row[:1]) if is_epoch(field))
    if not counts:
        return None
    best = max(counts.values())
    column = min(n for n, count in counts.items() if count >= 0.9 * best)
    like = is_stamp if any(is_stamp(row[column]) for _, row in rows if len(row) > column) else is_epoch
    least = 2 if usual > 1 else 1
    for n, (_, row) in enumerate(rows):
        if len(row) >= least and len(row) > column and like(row[column]):
            return n
    return None


def _refuse_twins(names: Sequence[str], file: str) -> None:
    for name, count in Counter(names).items():
        if count > 1:
            places = " and ".join(str(n) for n, one in enumerate(names, 1) if one == name)
            raise CorrectTheEntry(
                f"{file}: the columns {places} are both named {name!r}; rename one in the export, nobody can "
                f"tell which is meant.",
                found=name,
                expected="names that differ",
                where=file,
            )


_UNITS = {
    *("mg/l", "ug/l", "µg/l", "μg/l", "ng/l", "g/l", "ppm", "ppb", "ntu", "fnu", "fau", "ph", "s.u.", "su"),
    *("c", "°c", "degc", "deg c", "f", "°f", "degf", "deg f", "k", "%", "m", "cm", "mm", "ft", "in"),
    *("ma", "a", "mv", "v", "psi", "kpa", "pa", "bar", "mbar", "hpa", "us/cm", "µs/cm", "μs/cm", "ms/cm"),
    *("m/s", "l/s", "l/min", "l/h", "ml/min", "m3/h", "m³/h", "m3/s", "m³/s", "m3/d", "m³/d", "gpm", "gpd"),
    *("mgd", "mgal/d", "m3", "m³", "l", "gal", "kg", "kw", "kwh", "h", "min", "s", "d", "hz", "rpm", "1/m"),
    *("abs", "mpn/100ml", "cfu/100ml", "-"),
}
_IN_BRACKETS = re.compile(r"(.*?)\s*(?:\[([^\[\]]{1,20})\]|\(([^()]{1,20})\))")


def is_unit(text: str) -> bool:
    """Return whether a text is a unit of the trade.

    >>> is_unit("NTU"), is_unit("raw")
    (True, False)
    """
    return text.strip("[]()").strip().lower() in _UNITS


def _is_units(row: Sequence[str]) -> bool:
    filled = [field for field in row if field]
    rest = [field for field in filled if not is_unit(field)]
    return bool(filled) and (not rest or (len(rest) == 1 and len(filled) > 1 and rest[0] == row[0]))


def name_and_unit(header: str) -> tuple[str, str]:
    """Part the name of a column from the unit in brackets behind it.

    >>> name_and_unit("Level [m]"), name_and_unit("Flow (raw)")
    (('Level', 'm'), ('Flow (raw)', ''))
    """
    match = _IN_BRACKETS.fullmatch(header)
    if match is None or not match[1]:
        return header, ""
    if match[2]:
        return match[1], match[2].strip()
    return (match[1], match[3].strip()) if is_unit(match[3]) else (header, "")
