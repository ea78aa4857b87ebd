"""Which column of a table is what: times, values, flags; told by a person or by its name and texts."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from wqverify.errors import CorrectTheEntry
from wqverify.trends.cells import Kind, number, read_cell
from wqverify.trends.options import ChannelOptions, ExportOptions
from wqverify.trends.stamps import is_clock, is_epoch, is_stamp
from wqverify.trends.table import Table, name_and_unit
from wqverify.trends.texts import Texts, Truths


@dataclass(frozen=True, eq=False, slots=True)
class Source:
    """Where a channel comes from: columns by number, and of a long table the rows."""

    name: str
    unit: str
    value: int
    missing: tuple[str, ...]
    flags: int | None = None
    limit: int | None = None
    rows: Truths | None = None
    beside: tuple[int, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class Layout:
    time: tuple[int, ...]
    sources: tuple[Source, ...]
    long: bool
    laboratory: bool
    told: tuple[str, ...]
    tags: tuple[int, ...] = ()


# Names of columns in a table with a row for each value. The last of each set are elements of the Water
# Quality Exchange, the open format in which laboratories report results in the United States (from memory).
_TAG = {"tag", "tagname", "tag name", "tag_name", "point", "pointname", "channel", "characteristic name"}
_VALUE = {"value", "val", "result", "reading", "result value"}
_QUALITY = {"quality", "flag", "flags", "status", "quality code", "result measure qualifier"}
_UNIT = {"unit", "units", "uom", "result unit"}
_LIMIT = {"limit of detection", "detection limit", "quantitation limit"}
_ACTIVITY = "activity type"  # parts calibration checks, blanks and duplicates from samples

_FLAG_ENDS: tuple[str, ...] = (
    "_qual",
    "_quality",
    "_flag",
    "_flags",
    "_status",
    ".quality",
    ".flag",
    ".status",
    " quality",
)
_FLAG_ENDS += (" flag", " flags", " status", "_q", ".q")
_FLAG_STARTS = ("f_", "flag_", "q_", "qual_")


def layout_of(table: Table, options: ExportOptions) -> Layout:
    """Return what the columns of a table are; raises CorrectTheEntry for a name that is not there."""
    long = bool(options.tag_columns or options.value_column)
    found = {name.lower(): n for n, name in enumerate(table.names)}
    if not long and _first(found, _TAG) is not None and _first(found, _VALUE) is not None:
        long = True
    time = _time(table, options)
    for name in options.channels:
        if not long:
            _column(table, name, "a channel")
    return _long(table, options, time, found) if long else _wide(table, options, time)


def _first(found: dict[str, int], names: set[str]) -> int | None:
    return next((n for name, n in found.items() if name in names), None)


def _column(table: Table, name: str, what: str) -> int:
    parted = [name_and_unit(one)[0] for one in table.names]
    for names in (table.names, parted):
        if name in names:
            return list(names).index(name)
    raise CorrectTheEntry(
        f"{table.file} has no column {name!r}, which was told as {what}; it has "
        f"{', '.join(repr(one) for one in table.names)[:300]}.",
        found=", ".join(table.names),
        expected=name,
        where=table.file,
    )


def _time(table: Table, options: ExportOptions) -> tuple[int, ...]:
    if options.time:
        if len(options.time) > 2:
            raise CorrectTheEntry(
                f"time names {len(options.time)} columns; name one, or those of date and of time of day.",
                found=", ".join(options.time),
                expected="one or two columns",
            )
        return tuple(_column(table, name, "a column of times") for name in options.time)
    stamped = [n for n, column in enumerate(table.columns) if _mostly(column, is_stamp)]
    if not stamped and table.columns and _mostly(table.columns[0], is_epoch):
        return (0,)
    if not stamped:
        raise CorrectTheEntry(
            f"{table.file}: no column holds times with a date, such as 2026-03-31 14:05; name the columns of "
            f"date and time of day as time = [...] for this export.",
            expected="a column of times",
            where=table.file,
        )
    column = stamped[0]
    if not any(":" in text for text in table.columns[column].distinct):
        clocks = [n for n, one in enumerate(table.columns) if _mostly(one, is_clock)]
        if clocks:
            return column, clocks[0]
    return (column,)


def _mostly(column: Texts, test: Callable[[str], bool]) -> bool:
    filled = [text for text in column.distinct if text]
    return bool(filled) and sum(map(test, filled)) >= 0.5 * len(filled)


# ---------------------------------------------------------------- a column for each channel


def _wide(table: Table, options: ExportOptions, time: Sequence[int]) -> Layout:
    parted = [name_and_unit(name) for name in table.names]
    names = [name for name, _ in parted]
    told: list[str] = []
    flags: dict[int, int] = {}
    for n, name in enumerate(table.names):
        own = _own(options, table, n)
        if own.flags:
            flags[n] = _column(table, own.flags, f"the flags of {name}")
        elif (found := _flags_of(name, names)) is not None:
            flags[n] = found
    taken = {*time, *flags.values()}
    sources: list[Source] = []
    texts: list[str] = []
    for n, header in enumerate(table.names):
        if n in taken:
            continue
        own = _own(options, table, n)
        missing = (*options.missing, *own.missing)
        told_here = header in options.channels or names[n] in options.channels
        if not told_here and not _has_numbers(table.columns[n], missing, options.decimal):
            texts.append(header)
            continue
        name, unit = parted[n] if names.count(names[n]) == 1 else (header, parted[n][1])
        sources.append(Source(own.name or name, own.unit or unit or table.units[n], n, missing, flags.get(n)))
    if len(sources) == 1 and (flag := _only_flags(texts)) and sources[0].flags is None:
        texts.remove(flag)
        sources = [replace(sources[0], flags=table.names.index(flag))]
    if texts:
        told.append(f"columns without any number, not read as channels: {', '.join(texts)}")
    if any(source.flags is not None for source in sources):
        flagged = [(source.value, source.flags) for source in sources if source.flags is not None]
        pairs = ", ".join(f"{table.names[f]} of {names[n]}" for n, f in flagged)
        told.append(f"columns taken as flags: {pairs}")
    return Layout(tuple(time), tuple(sources), False, False, tuple(told))


def _own(options: ExportOptions, table: Table, column: int) -> ChannelOptions:
    header = table.names[column]
    name = name_and_unit(header)[0]
    return options.channels.get(header) or options.channels.get(name) or ChannelOptions()


def _flags_of(name: str, names: Sequence[str]) -> int | None:
    """The column that by its name holds the flags of another."""
    bare = name_and_unit(name)[0].lower()
    wanted = {bare + end for end in _FLAG_ENDS} | {start + bare for start in _FLAG_STARTS}
    return next((n for n, other in enumerate(names) if other.lower() in wanted), None)


def _only_flags(texts: Sequence[str]) -> str:
    """The one column of texts that by its name holds flags: beside a single channel they are its own."""
    found = [header for header in texts if header.strip().lower() in _QUALITY]
    return found[0] if len(found) == 1 else ""


def _has_numbers(column: Texts, missing: Sequence[str], decimal: str) -> bool:
    if column.distinct in ((), ("",)):
        return False
    for text in column.distinct:
        marks = [decimal] if decimal else [".", ","]
        if any(number(text, mark) is not None for mark in marks):
            return True
        if read_cell(text, ".", missing).kind in (Kind.BELOW, Kind.ABOVE):
            return True
    return False


# ---------------------------------------------------------------- a row for each value


def _long(table: Table, options: ExportOptions, time: Sequence[int], found: dict[str, int]) -> Layout:
    def of(told: str, usual: set[str], what: str) -> int | None:
        return _column(table, told, what) if told else _first(found, usual)

    value = of(options.value_column, _VALUE, "the column of values")
    tags = [_column(table, name, "a column of tags") for name in options.tag_columns]
    laboratory = options.kind == "laboratory"
    if not tags and (by_name := _first(found, _TAG)) is not None:
        tags = [by_name]
        if _ACTIVITY in found:
            tags.append(found[_ACTIVITY])
            laboratory = options.kind in (None, "laboratory")
    if value is None or not tags:
        missing = "value_column" if value is None else "tag_columns"
        raise CorrectTheEntry(
            f"{table.file}: an export with a row for each value needs {missing}; name the column, it has "
            f"{', '.join(table.names)[:300]}.",
            expected=missing,
            where=table.file,
        )
    unit = of(options.unit_column, _UNIT, "the column of units")
    flags = of(options.flag_column, _QUALITY, "the column of flags")
    limit = of(options.limit_column, _LIMIT, "the column of limits")
    used = {*time, value, flags, limit, unit}
    beside = tuple(n for n in range(len(table.names)) if n not in used)
    shared = Source("", "", value, options.missing, flags, limit, None, beside)
    sources = tuple(_sources(table, options, shared, tags, unit))
    told = [f"a row for each value, named by {' and '.join(repr(table.names[n]) for n in tags)}"]
    if laboratory:
        told.append("results of a laboratory: several at one time are kept")
    twice = [s.name for s in sources if sum(one.name == s.name for one in sources) > 1]
    if twice:
        raise CorrectTheEntry(
            f"{table.file}: two channels would be named {twice[0]!r}; give them different names.",
            found=twice[0],
            where=table.file,
        )
    return Layout(tuple(time), sources, True, laboratory, tuple(told), tuple(tags))


def _sources(
    table: Table, options: ExportOptions, shared: Source, tags: Sequence[int], unit: int | None
) -> Iterator[Source]:
    """A channel for each name; two units under one name make two channels."""
    keys = [table.columns[n].codes for n in tags] + ([table.columns[unit].codes] if unit is not None else [])
    groups, inverse = np.unique(np.stack(keys), axis=1, return_inverse=True)
    inverse = inverse.reshape(-1)
    names: list[str] = []
    units: list[str] = []
    for group in groups.T:
        words = [table.columns[n].distinct[code] for n, code in zip(tags, group, strict=False)]
        names.append(", ".join(word for word in words if word) or "(no name)")
        units.append(table.columns[unit].distinct[group[-1]] if unit is not None else "")
    first = [int(np.argmax(inverse == k)) for k in range(len(names))]
    for k in np.argsort(first):
        name, its_unit = names[k], units[k]
        own = options.channels.get(name, ChannelOptions())
        if names.count(name) > 1:
            name = f"{name} [{its_unit}]"
            own = options.channels.get(name, own)
        yield Source(
            own.name or name,
            own.unit or its_unit,
            shared.value,
            (*options.missing, *own.missing),
            shared.flags,
            shared.limit,
            inverse == k,
            shared.beside,
        )
