"""An export of a control system or laboratory: its channels, and in sentences what was read and dropped."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.trends.cells import Cell, Kind, column_cells, decimal_of, suspicions
from wqverify.trends.layout import Layout, Source, layout_of
from wqverify.trends.options import ExportOptions
from wqverify.trends.stamps import Stamps, is_clock, read_stamps, split
from wqverify.trends.table import LIMIT_BYTES, Table, read_table
from wqverify.trends.texts import Codes, Floats, Integers, Texts, Truths
from wqverify.trends.zones import NOWHERE, instants, wall


@dataclass(frozen=True, eq=False, slots=True)
class Channel:
    """One channel: times in UTC seconds since 1970, rising; values as numbers, nan where there is none.

    ``cells`` are its different texts and what they were taken for, row i is ``cells[codes[i]]``; ``flags``
    is the column of flags; ``beside`` are the other columns of a file with a row for each value; ``rows``
    are the numbers of its rows in the table.
    """

    name: str
    unit: str
    times: Integers
    values: Floats
    cells: tuple[Cell, ...]
    codes: Codes
    flags: Texts | None
    beside: Mapping[str, Texts]
    rows: Integers

    def __len__(self) -> int:
        return len(self.times)

    def cell(self, row: int) -> Cell:
        """Return what stands in a row, as found and as taken."""
        return self.cells[int(self.codes[row])]

    def flag(self, row: int) -> str:
        """Return the flag of a row, empty where the export has none."""
        return self.flags[row] if self.flags is not None else ""

    def note(self, row: int) -> str:
        """Return the text that stands where a number was expected."""
        cell = self.cell(row)
        return "" if cell.kind is Kind.NUMBER else cell.text

    def count(self, kind: Kind) -> int:
        """Return how many rows are of a kind."""
        counts = np.bincount(self.codes, minlength=len(self.cells))
        return int(sum(n for n, cell in zip(counts, self.cells, strict=True) if cell.kind is kind))


@dataclass(frozen=True, slots=True)
class Stamp:
    """Where a row stands in a file: its time as written there and by that clock, and its line; 0 for none."""

    text: str
    local: int  # seconds by the clock of the file since its 1970
    line: int = 0


@dataclass(frozen=True, eq=False, slots=True)
class Written:
    """The times of a table as they are written, by which a row is found again in the file."""

    texts: tuple[Texts, ...]
    local: Integers
    lines: Integers

    def stamp(self, row: int) -> Stamp:
        """Return where a row of the table stands."""
        text = " ".join(column[row] for column in self.texts)
        return Stamp(text, int(self.local[row]), int(self.lines[row]))


@dataclass(frozen=True, eq=False, slots=True)
class Export:
    """An export as read: its file and digest, what was told in sentences, its channels, its times.

    ``laboratory`` where it holds results, of which several may be of one time.
    """

    file: str
    digest: str
    told: tuple[str, ...]
    channels: tuple[Channel, ...]
    written: Written
    laboratory: bool

    def channel_of(self, *names: str) -> Channel:
        """Return the channel of the first of these names that the export has; raises ChooseAnother."""
        known = {channel.name: channel for channel in self.channels}
        spelt = {name.casefold(): channel for name, channel in known.items()}
        for name in names:
            if name in known or (name.casefold() in spelt and len(spelt) == len(known)):
                return known.get(name) or spelt[name.casefold()]
        wanted = " or ".join(name for name in names if name) or "no name"
        raise ChooseAnother(
            f"{self.file} has no channel {wanted}; it has {', '.join(known) or 'none'}. Name another export, "
            f"or give the column this name among the channels of trends/exports.toml.",
            found=", ".join(known),
            expected=wanted,
            where=self.file,
        )


def read_export(path: Path, options: ExportOptions | None = None, limit_bytes: int = LIMIT_BYTES) -> Export:
    """Read an export exactly as it is.

    Raises CorrectTheEntry, with what to write or do, for a file that cannot be read, above the limit,
    without header, rows or times; for times and decimal marks that can be read in two ways; for times
    without offset where no zone was told; for rows of one time with different values, unless told which
    to take; and for a file of another tag.
    """
    options = options or ExportOptions()
    return export_of(read_table(path, options, limit_bytes), options)


def export_of(table: Table, options: ExportOptions) -> Export:
    """Return the export of a table of texts; refuses as ``read_export`` does."""
    layout = layout_of(table, options)
    decimal = _decimal(table, layout, options)
    stamps = _stamps(table, layout, options)
    reading = _Reading(table, layout, options, decimal, stamps)
    channels = tuple(reading.channels())
    channels, told_tag = _of_tag(table, channels, options.tag)
    return Export(
        table.file,
        table.digest,
        (
            *_told_table(table, layout, decimal),
            *stamps.told,
            *reading.told,
            *told_tag,
            *_told_span(table.file, channels, reading.laboratory),
            *_told_channels(channels),
        ),
        channels,
        Written(tuple(table.columns[n] for n in layout.time), stamps.local, table.lines),
        reading.laboratory,
    )


def _decimal(table: Table, layout: Layout, options: ExportOptions) -> str:
    if options.decimal:
        if options.decimal not in (".", ","):
            raise CorrectTheEntry(
                f'decimal is {options.decimal!r}; write decimal = "," or decimal = ".".',
                found=options.decimal,
                expected=", or .",
            )
        return options.decimal
    used = dict.fromkeys(source.value for source in layout.sources)
    return decimal_of((text for column in used for text in table.columns[column].distinct), table.file)


def _stamps(table: Table, layout: Layout, options: ExportOptions) -> Stamps:
    columns = [table.columns[n] for n in layout.time]
    if len(columns) == 1:
        dates, clocks = split(columns[0])
    else:
        dates, clocks = columns
        if all(is_clock(text) for text in dates.distinct if text):
            dates, clocks = clocks, dates
        ends = (" 00:00:00", " 0:00")  # a column of dates as some programs write it
        bare = (text.removesuffix(ends[0]).removesuffix(ends[1]) for text in dates.distinct)
        dates = Texts(tuple(bare), dates.codes)
    return read_stamps(dates, clocks, options.day_first, table.where, table.file)


class _Reading:
    """The channels of a table, and what happened to its rows."""

    def __init__(
        self, table: Table, layout: Layout, options: ExportOptions, decimal: str, stamps: Stamps
    ) -> None:
        self.table, self.layout, self.options, self.decimal = table, layout, options, decimal
        self.stamps = stamps
        self.laboratory = layout.laboratory or options.kind == "laboratory"
        self.told: list[str] = list(layout.told)
        self.cells: dict[tuple[int, tuple[str, ...]], tuple[Cell, ...]] = {}
        if not stamps.present.all():
            lost = np.flatnonzero(~stamps.present)
            self.told.append(f"{len(lost)} rows have no time ({table.where(int(lost[0]))}): left out")
        self.rows = np.flatnonzero(stamps.present)
        if not len(self.rows):
            raise CorrectTheEntry(f"{table.file} has no row with a time; export it again.", where=table.file)

    def channels(self) -> Iterator[Channel]:
        if self.layout.long:
            for source in self.layout.sources:
                rows = self.rows[source.rows[self.rows]] if source.rows is not None else self.rows
                if len(rows):
                    yield self._channel(source, *self._placed(rows, self._empty(source)[rows], source.name))
            return
        empty = np.ones(len(self.table.lines), bool)
        for source in self.layout.sources:
            empty &= self._empty(source)
        rows, utc = self._placed(self.rows, empty[self.rows], "")
        for source in self.layout.sources:
            yield self._channel(source, rows, utc)

    def _cells(self, source: Source) -> tuple[Cell, ...]:
        key = (source.value, source.missing)
        if key not in self.cells:
            self.cells[key] = column_cells(self.table.columns[source.value], self.decimal, source.missing)
        return self.cells[key]

    def _empty(self, source: Source) -> Truths:
        bare = np.array([c.kind in (Kind.EMPTY, Kind.MISSING) for c in self._cells(source)], bool)
        return bare[self.table.columns[source.value].codes]

    def _placed(self, rows: Integers, empty: Truths, name: str) -> tuple[Integers, Integers]:
        """The rows with an instant, in rising time, and these instants."""
        local = self.stamps.local[rows]
        about = f"{name}: " if name else ""
        steps = np.diff(local)
        falling = not self.laboratory and (steps < 0).sum() > (steps > 0).sum()
        if falling:
            rows, empty = rows[::-1], empty[::-1]
            self.told.append(f"{about}rows stand newest first and were turned round")
        utc, told = instants(
            self.stamps.take(rows),
            self.options.time_zone,
            self.options.repeated_hour,
            empty,
            lambda row: self.table.where(int(rows[row])),
            self.table.file,
        )
        self.told += [about + one for one in told]
        kept = utc != NOWHERE
        rows, utc = rows[kept], utc[kept]
        back = int((np.diff(utc) < 0).sum())
        if back:
            if not self.laboratory:
                self.told.append(f"{about}{back} rows are earlier than the row above: sorted by time")
            order = np.argsort(utc, kind="stable")
            rows, utc = rows[order], utc[order]
        return rows, utc

    def _channel(self, source: Source, rows: Integers, utc: Integers) -> Channel:
        cells = self._cells(source)
        column = self.table.columns[source.value]
        if not self.laboratory:
            kept = self._one_per_time(source, cells, column, rows, utc)
            rows, utc = rows[kept], utc[kept]
        found = column.take(rows).shown()
        taken = {cell.text: cell for cell in cells}
        cells = tuple(taken[text] for text in found.distinct)
        if source.limit is not None:
            cells, found = self._stated_limits(cells, found, self.table.columns[source.limit].take(rows))
        values = np.array([cell.value for cell in cells], float)[found.codes]
        flags = self._flags(source, rows)
        beside = {self.table.names[n]: self.table.columns[n].take(rows) for n in source.beside}
        channel = Channel(source.name, source.unit, utc, values, cells, found.codes, flags, beside, rows)
        for text, count, why in suspicions(channel.cells, channel.codes.astype(np.int64)):
            self.told.append(
                f"{source.name}: {text[:40]!r} stands in {count} rows ({why}); if it marks missing, write "
                f"missing = [{_quoted(text[:40])}]"
            )
        return channel

    def _flags(self, source: Source, rows: Integers) -> Texts | None:
        """The flags of the rows; what was told to mark missing flags nothing."""
        if source.flags is None:
            return None
        column = self.table.columns[source.flags]
        texts = ("" if text in source.missing else text for text in column.distinct)
        return Texts(tuple(texts), column.codes[rows]).shown()

    def _stated_limits(
        self, cells: tuple[Cell, ...], found: Texts, limits: Texts
    ) -> tuple[tuple[Cell, ...], Texts]:
        """Give results such as BDL the limit that stands beside them."""
        stated = column_cells(limits, self.decimal, ())
        pairs: dict[tuple[int, int], int] = {}
        codes = np.array(
            [
                pairs.setdefault((int(one), int(two)), len(pairs))
                for one, two in zip(found.codes, limits.codes, strict=True)
            ],
            np.int32,
        )
        joined = tuple(
            replace(cells[one], limit=stated[two].value)
            if cells[one].kind is Kind.BELOW and np.isnan(cells[one].limit)
            else cells[one]
            for one, two in pairs
        )
        return joined, Texts(tuple(cell.text for cell in joined), codes)

    def _one_per_time(
        self, source: Source, cells: Sequence[Cell], column: Texts, rows: Integers, utc: Integers
    ) -> Integers:
        """Which rows are kept so that a time stands there once.

        A row that repeats another is dropped, as is one without value beside one with it; rows with
        different values are refused unless it was told which of them to take.
        """
        again = np.flatnonzero(np.diff(utc) == 0)
        if not len(again):
            return np.arange(len(utc))
        drop = np.zeros(len(utc), bool)
        same = different = 0
        starts = again[np.concatenate(([True], np.diff(again) > 1))]
        for start in starts:
            end = int(np.searchsorted(utc, utc[start], side="right"))
            group = np.arange(start, end)
            filled = [n for n in group if cells[column.codes[rows[n]]].kind not in (Kind.EMPTY, Kind.MISSING)]
            texts = {column[int(rows[n])] for n in filled}
            if len(texts) > 1 and not self.options.duplicates:
                raise self._two_values(source, rows[filled[0]], rows[filled[-1]], column)
            take = (filled or list(group))[-1 if self.options.duplicates == "last" else 0]
            drop[group] = True
            drop[take] = False
            if len(texts) > 1:
                different += len(group) - 1
            else:
                same += len(group) - 1
        if same:
            self.told.append(f"{source.name}: {same} rows repeat the time and value of another: dropped")
        if different:
            self.told.append(
                f"{source.name}: {different} rows repeat a time with another value: the "
                f"{self.options.duplicates} was taken, as told"
            )
        return np.flatnonzero(~drop)

    def _two_values(self, source: Source, one: int, other: int, column: Texts) -> CorrectTheEntry:
        file, lines = self.table.file, self.table.lines
        at = wall(int(self.stamps.local[one]))
        return CorrectTheEntry(
            f"{file}, lines {lines[one]} and {lines[other]}: {source.name} has {column[int(one)]} and "
            f'{column[int(other)]} at the same time, {at}; write duplicates = "first" or "last" for this '
            f'export, or kind = "laboratory" where several results at one time are right.',
            found=f"{column[int(one)]}, {column[int(other)]}",
            expected="one value at a time",
            where=f"{file}, line {lines[other]}",
        )


# ---------------------------------------------------------------- tag


def _of_tag(
    table: Table, channels: tuple[Channel, ...], tag: str
) -> tuple[tuple[Channel, ...], tuple[str, ...]]:
    """Insist on the tag that was told; a single unnamed channel takes it from the title lines."""
    if not tag or any(channel.name == tag for channel in channels):
        return channels, ()
    words = {word.strip(",;:()[]") for title in table.titles for word in title.split()}
    if len(channels) == 1 and tag in words:
        told = f"the column {channels[0].name} is {tag}, as a title line says"
        return (replace(channels[0], name=tag),), (told,)
    names = ", ".join(channel.name for channel in channels) or "no channel"
    raise CorrectTheEntry(
        f"{table.file} holds {names[:200]}; {tag} was expected. Name the export of {tag}, or give its column "
        f'that name: [export.channel."COLUMN"] name = "{tag}".',
        found=names,
        expected=tag,
        where=table.file,
    )


# ---------------------------------------------------------------- what is told


def _told_table(table: Table, layout: Layout, decimal: str) -> Iterator[str]:
    yield f"{table.file}: {len(table.lines)} rows of {len(table.names)} columns"
    yield from table.told
    if decimal == ",":
        yield "numbers have a decimal comma"
    yield f"times are in {' and '.join(repr(table.names[n]) for n in layout.time)}"


def _told_span(file: str, channels: Sequence[Channel], laboratory: bool) -> Iterator[str]:
    filled = [channel for channel in channels if len(channel)]
    if not filled:
        raise CorrectTheEntry(
            f"{file} has no column with numbers besides its times; export the values.",
            expected="a channel with values",
            where=file,
        )
    first = min(int(channel.times[0]) for channel in filled)
    last = max(int(channel.times[-1]) for channel in filled)
    yield f"from {wall(first)} to {wall(last)} UTC"
    if laboratory:
        return
    times: Integers | None = None
    for channel in filled:
        if times is None or not np.array_equal(channel.times, times):
            times = channel.times
            if (said := _interval(channel.times)) != "":
                yield f"{channel.name}: {said}" if len(filled) > 1 and _own_times(filled) else said


def _own_times(channels: Sequence[Channel]) -> bool:
    return any(not np.array_equal(one.times, two.times) for one, two in pairwise(channels))


def _interval(times: Integers) -> str:
    steps = np.diff(times)
    steps = steps[steps > 0]
    if not len(steps):
        return ""
    usual = int(np.median(steps))
    gaps = np.flatnonzero(np.diff(times) > 1.5 * usual)
    said = f"a row every {length(usual)}"
    if not len(gaps):
        return said + ", none missing"
    longest = int(gaps[np.argmax(np.diff(times)[gaps])])
    most = length(int(np.diff(times)[longest]))
    lost = int(sum(round(step / usual) - 1 for step in np.diff(times)[gaps]))
    return (
        f"{said}; {lost} missing in {len(gaps)} gaps, the longest of {most} from "
        f"{wall(int(times[longest]))} UTC"
    )


def length(seconds: int) -> str:
    """Return a length of time for a person.

    >>> length(1200), length(3660), length(45)
    ('20 min', '61 min', '45 s')
    """
    if seconds % 86400 == 0:
        return f"{seconds // 86400} d"
    if seconds % 3600 == 0:
        return f"{seconds // 3600} h"
    return f"{seconds // 60} min" if seconds % 60 == 0 else f"{seconds} s"


_KINDS = {
    Kind.EMPTY: "empty",
    Kind.MISSING: "marked missing",
    Kind.BELOW: "below a limit",
    Kind.ABOVE: "above a limit",
    Kind.TEXT: "other text",
}


def _told_channels(channels: Sequence[Channel]) -> Iterator[str]:
    for channel in channels:
        counts = {kind: channel.count(kind) for kind in _KINDS}
        parts = [f"{count} {_KINDS[kind]}" for kind, count in counts.items() if count]
        if parts:
            yield f"{channel.name}: {channel.count(Kind.NUMBER)} of {len(channel)} rows are numbers, " + (
                ", ".join(parts)
            )
        if channel.flags is not None:
            counted = zip(channel.flags.counts(), channel.flags.distinct, strict=True)
            rows = sorted(((int(n), text) for n, text in counted if text), reverse=True)
            shown = ", ".join(f"{text[:40]!r} {n}" for n, text in rows[:6])
            if rows:
                yield f"{channel.name}: flags {shown}" + (
                    f" and {len(rows) - 6} other" if len(rows) > 6 else ""
                )


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
