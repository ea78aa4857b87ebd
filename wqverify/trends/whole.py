"""The channels of an export as numbers, one after the other: also of one too large to be read at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.trends import kept, large
from wqverify.trends.cells import Kind
from wqverify.trends.export import Channel, Stamp, Written, read_export
from wqverify.trends.options import ChannelOptions, ExportOptions, TriageOptions, bare_flag
from wqverify.trends.stamps import NO_OFFSET, Stamps
from wqverify.trends.table import LIMIT_BYTES, name_and_unit
from wqverify.trends.texts import Floats, Integers, Texts
from wqverify.trends.zones import NOWHERE, instants, wall


@dataclass(frozen=True, eq=False, slots=True)
class Numbers:
    """One channel as numbers: UTC seconds rising, nan where there is none; ``beyond`` results of a limit.

    ``off`` are the flags that say no water was seen, empty for the others; ``written`` tells of a row where
    it stands in the file.
    """

    name: str
    unit: str
    times: Integers
    values: Floats
    beyond: int = 0
    told: tuple[str, ...] = ()
    off: Texts | None = None
    written: Callable[[int], Stamp] | None = None

    def stamp(self, second: int) -> Stamp | None:
        """Return where the row of a time stands in the file; None for a time without row."""
        row = int(np.searchsorted(self.times, second))
        there = self.written is not None and row < len(self.times) and self.times[row] == second
        return self.written(row) if self.written is not None and there else None


@dataclass(frozen=True, slots=True)
class Source:
    """An export that is gone through channel by channel."""

    file: str
    digest: str
    told: tuple[str, ...]
    names: tuple[str, ...]
    channels: Iterator[Numbers]


def go_through(
    path: Path, options: ExportOptions, limit_bytes: int = LIMIT_BYTES, names: Sequence[str] = ()
) -> Source:
    """Return an export of a control system, channel by channel; with ``names`` only these.

    A CSV above the limit with a row for each value is asked by tag, so that only one is in memory at a time.
    Raises what ``read_export`` raises, and ChooseAnother for an export of a laboratory or a name that is not
    in it.
    """
    if options.kind == "laboratory":
        raise _no_signal(path)
    if is_large(path, limit_bytes):
        return _by_tag(path, options, names)
    export = read_export(path, options, limit_bytes)
    if export.laboratory:
        raise _no_signal(path)
    channels = [export.channel_of(name) for name in names] if names else list(export.channels)
    return Source(
        export.file,
        export.digest,
        export.told,
        tuple(channel.name for channel in channels),
        (_numbers(channel, export.written, options) for channel in channels),
    )


def _no_signal(path: Path) -> ChooseAnother:
    return ChooseAnother(
        f"{path.name} is an export of a laboratory, whose results are no signal; name one of the control "
        f'system, or write kind = "control system" for this export.',
        found="laboratory",
        expected="control system",
        where=path.name,
    )


def _numbers(channel: Channel, written: Written, options: ExportOptions) -> Numbers:
    beyond = channel.count(Kind.BELOW) + channel.count(Kind.ABOVE)
    return Numbers(
        channel.name,
        channel.unit,
        channel.times,
        channel.values,
        beyond,
        off=_off(channel.flags, options_for(options, channel.name).triage),
        written=lambda row: written.stamp(int(channel.rows[row])),
    )


def _off(flags: Texts | None, told: TriageOptions) -> Texts | None:
    if flags is None:
        return None
    words = told.off_words
    return Texts(tuple(text if bare_flag(text) in words else "" for text in flags.distinct), flags.codes)


def is_large(path: Path, limit_bytes: int = LIMIT_BYTES) -> bool:
    """Return whether an export is asked by tag, not read at once."""
    return path.is_file() and path.stat().st_size > limit_bytes and path.suffix.lower() != ".xlsx"


@dataclass(frozen=True, slots=True)
class Part:
    """One channel around a time, with the file it is from and what was told of that."""

    file: str
    digest: str
    told: tuple[str, ...]
    channel: Channel


def channel_around(
    path: Path,
    options: ExportOptions,
    names: Sequence[str],
    start: datetime,
    end: datetime,
    limit_bytes: int = LIMIT_BYTES,
) -> Part:
    """Return the channel of the first of these names that an export has, at least from start to end.

    Of a large export only these rows are read, from its copy where there is one. Raises what
    ``read_export`` and ``channel_of`` raise, and ChooseAnother where a large export has no row there.
    """
    if not is_large(path, limit_bytes):
        export = read_export(path, options, limit_bytes)
        return Part(export.file, export.digest, export.told, export.channel_of(*names))
    source = large.long_csv(path, options)
    copy = kept.copy_at_hand(source)
    *first, last = [name for name in names if name]
    for name in first:
        try:
            channel = large.cut_of(source, name, start, end, copy)
            break
        except ChooseAnother:  # it may be there by its other name
            continue
    else:
        channel = large.cut_of(source, last, start, end, copy)
    return Part(path.name, kept.digest_of(path), source.told, channel)


# ---------------------------------------------------------------- by tag


def _by_tag(path: Path, options: ExportOptions, names: Sequence[str]) -> Source:
    source = large.long_csv(path, options)
    copy = kept.copy_at_hand(source)
    told = [*source.told, "read by tag, so that one channel is in memory at a time"]
    if copy is None:
        quicker = f"wqverify trend --parquet {path.name}"
        told.append(f"there is no copy of it; {quicker} makes one, from which it is read quicker")
    else:
        told.append(f"read from its copy {copy.name}")
    known = tuple(span.tag for span in large.spans(source, copy))
    for name in names:
        if name not in known:
            raise ChooseAnother(
                f"{path.name} has no channel {name}; it has {', '.join(known)[:200]}.",
                found=", ".join(known),
                expected=name,
                where=path.name,
            )
    wanted = tuple(names) or known
    channels = (numbers_of(source, tag, copy) for tag in wanted)
    return Source(path.name, kept.digest_of(path), tuple(told), wanted, channels)


def numbers_of(source: large.LongCsv, tag: str, copy: Path | None = None) -> Numbers:
    """Return one tag of a large export as numbers, over its whole time.

    Raises CorrectTheEntry as ``read_export`` does: for times without offset and zone, for times that did not
    exist or happened twice where the order of rows does not tell which, and for two values at one time.
    """
    options = options_for(source.options, tag)
    local, values, off = large.numbers(source, tag, copy, options.triage.off_words)
    no_offset = np.full(len(local), 0 if source.offset else NO_OFFSET)
    stamps = Stamps(local, no_offset, Texts(("",), np.zeros(len(local), np.int32)), np.isfinite(local), ())
    file = source.path.name
    times, told = instants(
        stamps,
        source.options.time_zone,
        source.options.repeated_hour,
        np.isnan(values),
        lambda row: f"{file}, row {row + 1} of {tag}",
        file,
    )
    there = times != NOWHERE
    order = np.flatnonzero(there)[np.argsort(times[there], kind="stable")]
    order = order[_one_per_time(source, tag, times[order], values[order])]
    clock = local[order]
    utc = " UTC" if source.offset else ""
    return Numbers(
        tag,
        options.unit,
        times[order],
        values[order],
        told=tuple(f"{tag}: {said}" for said in told),
        off=off.take(order),
        written=lambda row: Stamp(f"{wall(int(clock[row]))}{utc}", int(clock[row])),
    )


def _one_per_time(source: large.LongCsv, tag: str, times: Integers, values: Floats) -> Integers:
    """Which rows are kept so that a time stands there once; a row without value gives way to one with it."""
    if not (np.diff(times) == 0).any():
        return np.arange(len(times))
    rank = np.arange(len(times)) * (-1 if source.options.duplicates == "last" else 1)
    order = np.lexsort((rank, np.isnan(values), times))
    first = np.concatenate(([True], np.diff(times[order]) > 0))
    kept_rows = order[first]
    taken = values[kept_rows][np.cumsum(first) - 1]
    other = np.flatnonzero(np.isfinite(values[order]) & (values[order] != taken))
    if len(other) and not source.options.duplicates:
        row = int(order[other[0]])
        raise CorrectTheEntry(
            f"{source.path.name}: {tag} has {taken[other[0]]:g} and {values[row]:g} at the same time, "
            f'{wall(int(times[row]))} UTC; write duplicates = "first" or "last" for this export.',
            found=f"{taken[other[0]]:g}, {values[row]:g}",
            expected="one value at a time",
            where=source.path.name,
        )
    return np.sort(kept_rows)


def options_for(options: ExportOptions, name: str) -> ChannelOptions:
    """Return what was told about a channel by the name it has here or by that of its column."""
    for column, told in options.channels.items():
        if name == told.name or (not told.name and name in (column, name_and_unit(column)[0])):
            return told
    return options.channels.get(name, ChannelOptions())
