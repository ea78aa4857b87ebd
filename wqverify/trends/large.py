"""Exports too large to be read at once, by DuckDB: a CSV with a row for each value, or its Parquet copy.

Only the first rows are looked at to find separator, header, columns and the form of the times; DuckDB is
told all of it and guesses nothing. File names are never part of a command unquoted, and nothing in a file
can be one. Times are those of the export: months are of its clock, and of UTC where stamps carry an offset.
"""

from __future__ import annotations

import glob
import hashlib
import mmap
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wqverify.errors import ChooseAnother, CorrectTheEntry, CouldNotRun
from wqverify.trends.cells import decimal_of, marked
from wqverify.trends.export import Channel, export_of
from wqverify.trends.layout import layout_of
from wqverify.trends.options import ExportOptions
from wqverify.trends.stamps import NO_OFFSET, date_order, read_stamps, split
from wqverify.trends.table import Table, csv_rows, decoded, separator_of, table_of
from wqverify.trends.texts import Floats, Integers, Texts

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

_SAMPLE_BYTES = 1_000_000
MEMORY = "2GB"


@dataclass(frozen=True, slots=True)
class LongCsv:
    """A CSV with a row for each value: where its columns are and how its texts are read."""

    path: Path
    options: ExportOptions
    separator: str
    encoding: str
    skip: int  # lines above the data
    names: tuple[str, ...]
    time: int
    tag: int
    value: int
    quality: int | None
    decimal: str
    time_format: str  # of strptime; empty where the year stands first
    offset: bool  # the times carry one
    told: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Month:
    """What a tag showed in a month: rows, how many are numbers, their mean, how many exceed the limit."""

    tag: str
    month: str  # 2026-03
    rows: int
    n: int
    mean: float | None
    above: int | None  # strictly greater than the limit; None without a limit
    share: float | None  # above / n


@dataclass(frozen=True, slots=True)
class Span:
    """What a tag shows over the whole file."""

    tag: str
    first: str
    last: str
    rows: int
    n: int
    low: float | None
    median: float | None
    high: float | None


def long_csv(path: Path, options: ExportOptions) -> LongCsv:
    """Look at the first rows of a CSV; raises CorrectTheEntry where it has no row for each value."""
    if not path.is_file():
        raise CorrectTheEntry(f"There is no file {path}; correct its name.", found=str(path), where=str(path))
    with path.open("rb") as stream:
        data = stream.read(_SAMPLE_BYTES)
    if len(data) == _SAMPLE_BYTES:
        data = data[: data.rfind(b"\n") + 1]
    text, encoding = decoded(data, path.name)
    separator = options.separator or separator_of(text, path.name)
    rows = list(csv_rows(text, separator, path.name))
    table = table_of(path.name, "", iter(rows), (), options)
    layout = layout_of(table, options)
    tags = [n for n in range(len(table.names)) if layout.long and n in layout.tags]
    if not layout.long or len(tags) != 1 or len(layout.time) != 1:
        raise CorrectTheEntry(
            f"{path.name} is too large to be read at once and has no row for each value with one column of "
            f"times and one of tags (it has {', '.join(table.names)[:200]}); export a shorter time, or name "
            f"tag_columns and value_column.",
            found=", ".join(table.names),
            expected="time, tag, value",
            where=path.name,
        )
    source, stamps = layout.sources[0], table.columns[layout.time[0]]
    decimal = options.decimal or decimal_of(table.columns[source.value].distinct, path.name)
    dates, clocks = split(stamps)
    day_first, told = date_order(dates.distinct, options.day_first, path.name)
    read = read_stamps(dates, clocks, options.day_first, table.where, path.name)
    offset = bool((read.offset != NO_OFFSET).any())
    if offset:
        told = f"{told}; times carry an offset, months are of UTC"
    return LongCsv(
        path,
        replace(options, day_first=day_first),
        separator,
        {"UTF-8": "utf-8", "UTF-8 with byte order mark": "utf-8", "UTF-16": "utf-16"}.get(
            encoding, "latin-1"
        ),
        int(table.lines[0]) - 1,
        table.names,
        layout.time[0],
        tags[0],
        source.value,
        source.flags,
        decimal,
        "" if offset else _time_format(stamps, path.name),
        offset,
        (f"{path.name}: {path.stat().st_size / 1e6:.0f} MB, a row for each value", told),
    )


def _holds(path: Path, sign: bytes) -> bool:
    """Whether a sign stands anywhere in a file; much quicker than to look into each value."""
    with path.open("rb") as stream, mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ) as mapped:
        return mapped.find(sign) >= 0


_CLOCKS = ("%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p", "%H:%M:%S.%f")
_DATES = ("%d{0}%m{0}%Y", "%m{0}%d{0}%Y", "%d{0}%b{0}%Y")


def _time_format(stamps: Texts, file: str) -> str:
    """The one form in which all times of the sample are written; day or month first was asked before."""
    texts = [text for text in stamps.distinct if text]
    if all(re.match(r"\d{4}-\d{2}-\d{2}", text) for text in texts):
        return ""
    forms = [date.format(sign) for date, sign in product(_DATES, "/.-")]
    for form in (f"{date} {clock}" for date, clock in product(forms, _CLOCKS)):
        try:
            for text in texts:
                datetime.strptime(text, form)
        except ValueError:
            continue
        return form
    raise CorrectTheEntry(
        f"{file}: times such as {texts[0][:40]!r} are not read in a file this large; export them as "
        f"2026-03-31 14:05:00.",
        found=texts[0][:40],
        expected="2026-03-31 14:05:00",
        where=file,
    )


# ---------------------------------------------------------------- questions


def monthly(
    source: LongCsv, limits: float | Mapping[str, float] | None = None, copy: Path | None = None
) -> tuple[Month, ...]:
    """Return per tag and month the mean, and how many values are strictly above the limit.

    ``limits`` is one number for all tags or one for each tag; ``copy`` is a Parquet copy to ask instead.
    Rows that are no number do not count; rows that repeat a time are not looked for.
    """
    above = "NULL"
    if isinstance(limits, Mapping):
        cases = " ".join(f"WHEN {quoted(tag)} THEN {float(limit)!r}" for tag, limit in limits.items())
        above = f"sum((number > CASE tag {cases} END)::INT)" if cases else "NULL"
    elif limits is not None:
        above = f"sum((number > {float(limits)!r})::INT)"
    rows = asked(
        source,
        f"SELECT tag, strftime(month, '%Y-%m'), count(*), count(number), avg(number), {above} "
        f"FROM (SELECT tag, date_trunc('month', time) AS month, number FROM export) "
        f"GROUP BY tag, month ORDER BY tag, month",
        (),
        copy,
    )
    return tuple(
        Month(tag, month, count, n, mean, many, _share(many, n)) for tag, month, count, n, mean, many in rows
    )


def _share(above: int | None, n: int) -> float | None:
    return above / n if above is not None and n else None


def spans(source: LongCsv, copy: Path | None = None) -> tuple[Span, ...]:
    """Return per tag the first and last time, and the least, median and greatest value."""
    rows = asked(
        source,
        "SELECT tag, strftime(min(time), '%Y-%m-%d %H:%M:%S'), strftime(max(time), '%Y-%m-%d %H:%M:%S'), "
        "count(*), count(number), min(number), median(number), max(number) "
        "FROM export GROUP BY tag ORDER BY tag",
        (),
        copy,
    )
    return tuple(Span(*row) for row in rows)


def cut_of(source: LongCsv, tag: str, start: datetime, end: datetime, copy: Path | None = None) -> Channel:
    """Return one tag between two moments, read and refused as ``read_export`` does.

    ``copy`` is a Parquet copy to ask instead: only its pieces with this tag and time are read. Raises
    ChooseAnother where the tag has no row there.
    """
    far = timedelta(hours=15)  # no zone is so far from UTC; what is too much is cut off below
    rows = asked(
        source,
        "SELECT written, coalesce(text, ''), coalesce(quality, '') FROM export "
        "WHERE tag = ? AND time BETWEEN ? AND ?",
        (tag, _bare(start) - far, _bare(end) + far),
        copy,
    )
    if not rows:
        raise ChooseAnother(
            f"{source.path.name} has no row of {tag[:60]!r} from {start.isoformat(' ', 'minutes')} to "
            f"{end.isoformat(' ', 'minutes')}; name another tag or time.",
            found="no row",
            expected=tag,
            where=source.path.name,
        )
    times, texts, flags = (Texts.of(list(map(str.strip, column))) for column in zip(*rows, strict=True))
    columns = (times, Texts((tag.strip(),), np.zeros(len(rows), np.int32)), texts, flags)
    table = Table(
        source.path.name, "", ("time", "tag", "value", "quality"), ("",) * 4, columns,
        np.arange(1, len(rows) + 1), (), (),
    )  # fmt: skip
    options = replace(
        source.options, time=("time",), tag_columns=("tag",), value_column="value", unit_column="",
        flag_column="quality", limit_column="", decimal=source.decimal, header_line=None,
    )  # fmt: skip
    channel = export_of(table, options).channel_of(tag)
    first, last = int(start.timestamp()), int(end.timestamp())
    kept = (channel.times >= first) & (channel.times <= last)
    return replace(
        channel,
        times=channel.times[kept],
        values=channel.values[kept],
        codes=channel.codes[kept],
        flags=channel.flags.take(kept) if channel.flags is not None else None,
        beside={},
        rows=channel.rows[kept],
    )


def numbers(
    source: LongCsv, tag: str, copy: Path | None = None, words: Iterable[str] = ()
) -> tuple[Integers, Floats, Texts]:
    """Return the rows of one tag in the order of the export: seconds by its clock, or UTC, numbers, flags.

    Where there is no number, nan. The clock is that of the export unless its times carry an offset. Of the
    flags only those that are among ``words`` as ``bare_flag`` has them; the others are empty.
    """
    bare = "lower(replace(replace(trim(quality), '-', ' '), '_', ' '))"
    among = ", ".join(map(quoted, sorted(words))) or "''"
    rows = asked(
        source,
        f"SELECT epoch(time)::BIGINT AS at, number, CASE WHEN {bare} IN ({among}) THEN trim(quality) ELSE '' "
        "END AS off FROM export WHERE tag = ?",
        (tag,),
        copy,
        fetch=lambda found: found.fetchnumpy(),
    )
    values = rows["number"]
    filled = values.filled(np.nan) if isinstance(values, np.ma.MaskedArray) else values
    return np.asarray(rows["at"], np.int64), np.asarray(filled, float), Texts.of(list(rows["off"]))


def _bare(moment: datetime) -> datetime:
    return moment.astimezone(UTC).replace(tzinfo=None)


# ---------------------------------------------------------------- DuckDB


def asked(
    source: LongCsv,
    query: str,
    values: tuple[Any, ...] = (),
    copy: Path | None = None,
    fetch: Callable[[DuckDBPyConnection], Any] = lambda found: found.fetchall(),
) -> Any:
    """Ask a question of the view ``export``: time, tag, number, and written, text, quality as found."""
    import duckdb

    with connection() as asking:
        try:
            asking.execute(f"CREATE TEMP VIEW export AS {_view(source, copy)}")
            return fetch(asking.execute(query, values))
        except duckdb.OutOfMemoryException as problem:
            raise CouldNotRun(
                f"{source.path.name} needs more than {MEMORY} of memory; export a shorter time.",
                found=str(problem)[:200],
                where=source.path.name,
            ) from None
        except duckdb.Error as problem:
            raise _refused(source, problem) from None


@contextmanager
def connection(spill: Path | None = None) -> Iterator[DuckDBPyConnection]:
    """Give a DuckDB that fetches nothing, in bounded memory; ``spill`` is where what is more may lie."""
    import duckdb

    config: dict[str, Any] = {
        "autoinstall_known_extensions": False,  # nothing is fetched, whatever stands in a file
        "autoload_known_extensions": False,
        "allow_community_extensions": False,
        "memory_limit": MEMORY,
    }
    if spill is not None:
        config["temp_directory"] = str(spill / ".wqverify-sorting")
    made = duckdb.connect(":memory:", config=config)
    try:
        yield made
    finally:
        made.close()


def _view(source: LongCsv, copy: Path | None, underscores: bool | None = None) -> str:
    if copy is not None:
        return f"SELECT * FROM read_parquet({quoted(glob.escape(str(copy)))})"
    kept = {source.time: "written", source.tag: "tag", source.value: "text", source.quality: "quality"}
    columns = ", ".join(f"{quoted(kept.get(n, f'other {n}'))}: 'VARCHAR'" for n in range(len(source.names)))
    time = "strptime(trim(written), " + quoted(source.time_format) + ")"
    if source.offset:
        time = "make_timestamp(epoch_us(CAST(written AS TIMESTAMPTZ)))"
    elif not source.time_format:
        time = "CAST(written AS TIMESTAMP)"
    text = "text" if source.decimal == "." else f"replace(text, {quoted(source.decimal)}, '.')"
    marks = {mark for mark in source.options.missing}
    number = f"TRY_CAST({text} AS DOUBLE)"
    wrong = [f"NOT isfinite({number})"]
    if _holds(source.path, b"_") if underscores is None else underscores:  # DuckDB takes 1_0 as 10
        wrong.append("contains(text, '_')")
    if source.decimal != ".":
        wrong.append("contains(text, '.')")
    if marks:
        wrong.append(f"trim(text) IN ({', '.join(map(quoted, sorted(marks)))})")
    numeric = sorted(value for mark in marks if (value := marked(mark)) is not None)
    if numeric:
        wrong.append(f"{number} IN ({', '.join(str(value) for value in numeric)})")
    number = f"CASE WHEN {' OR '.join(wrong)} THEN NULL ELSE {number} END"
    quality = "quality" if source.quality is not None else "''"
    return (
        f"SELECT {time} AS time, tag, {number} AS number, written, text, {quality} AS quality "
        f"FROM read_csv({quoted(glob.escape(str(source.path)))}, auto_detect=false, header=false, "
        f"skip={source.skip}, delim={quoted(source.separator)}, quote='\"', escape='\"', "
        f"nullstr='', encoding={quoted(source.encoding)}, columns={{{columns}}}) "
        f"WHERE written IS NOT NULL"
    )


def _refused(source: LongCsv, problem: Exception) -> CorrectTheEntry:
    words = " ".join(str(problem).split("\n")[0].split())
    match = re.search(r"(?:Line|line):? (\d+)", str(problem))
    where = f"{source.path.name}, line {match[1]}" if match else source.path.name
    return CorrectTheEntry(
        f"{where}: the rows are not all like the first ones ({words[:160]}); export the file again.",
        found=words[:160],
        expected="rows like the first ones",
        where=where,
    )


def read_as(source: LongCsv) -> str:
    """Return a digest of how the texts of an export are read; not of where it lies."""
    view = _view(replace(source, path=source.path.with_name("export")), None, underscores=True)
    return hashlib.sha256(view.encode()).hexdigest()


def quoted(text: str) -> str:
    """A text as DuckDB reads it, whatever stands in it: only the single quote ends one."""
    return "'" + text.replace("'", "''") + "'"
