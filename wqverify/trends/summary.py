"""What an export holds, a row per channel: read at once, or by tag where it is too large for that."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wqverify.errors import CorrectTheEntry
from wqverify.trends.cells import Kind, longest_run
from wqverify.trends.export import Channel, read_export
from wqverify.trends.options import ExportOptions
from wqverify.trends.table import LIMIT_BYTES
from wqverify.trends.whole import is_large


@dataclass(frozen=True, slots=True)
class ChannelFacts:
    """One channel: rows, numbers, results beyond a limit, least, median, greatest, longest flat stretch."""

    name: str
    unit: str
    rows: int
    n: int
    censored: int
    low: float | None
    median: float | None
    high: float | None
    flat: int | None  # rows in a row with the same number; None where it was not looked for


@dataclass(frozen=True, slots=True)
class Summary:
    """What was read, converted and dropped in sentences, and the facts of each channel."""

    file: str
    digest: str
    told: tuple[str, ...]
    channels: tuple[ChannelFacts, ...]


def summarize(
    path: Path, options: ExportOptions, limit_bytes: int = LIMIT_BYTES, *, parquet: bool = False
) -> Summary:
    """Return what an export holds; refuses as ``read_export`` does.

    A CSV above the limit is asked by tag through DuckDB. With ``parquet`` a copy is written beside a CSV
    with a row for each value.
    """
    if parquet or is_large(path, limit_bytes):
        return _large(path, options, parquet)
    export = read_export(path, options, limit_bytes)
    return Summary(export.file, export.digest, export.told, tuple(facts(one) for one in export.channels))


def facts(channel: Channel) -> ChannelFacts:
    """Return the facts of one channel."""
    values = channel.values[np.isfinite(channel.values)]
    known = len(values) > 0
    return ChannelFacts(
        channel.name,
        channel.unit,
        len(channel),
        len(values),
        channel.count(Kind.BELOW) + channel.count(Kind.ABOVE),
        float(values.min()) if known else None,
        float(np.median(values)) if known else None,
        float(values.max()) if known else None,
        flat_rows(channel),
    )


def flat_rows(channel: Channel) -> int:
    """Return how many rows in a row hold the same number at most."""
    values = channel.values
    if not len(values):
        return 0
    same = values[1:] == values[:-1]  # nan equals nothing, not even itself
    return longest_run(same) + 1 if np.isfinite(values).any() else 0


def _large(path: Path, options: ExportOptions, parquet: bool) -> Summary:
    from wqverify.trends import kept, large

    if path.suffix.lower() == ".xlsx":
        raise CorrectTheEntry(
            f"{path.name} is a workbook; a Parquet copy is made of a CSV with a row for each value.",
            expected="a CSV",
            where=path.name,
        )
    source = large.long_csv(path, options)
    copy, told = None, list(source.told)
    if parquet:
        copy, made = kept.parquet_copy(source)
        told.append(f"{copy.name} {'was written' if made else 'is of this very file and was used again'}")
    spans = large.spans(source, copy)
    told.append("read by tag: repeated times, clock changes and flat stretches were not looked for")
    if spans:
        first, last = min(span.first for span in spans), max(span.last for span in spans)
        told.append(f"from {first} to {last} by the clock of the export")
    rows = tuple(ChannelFacts(s.tag, "", s.rows, s.n, 0, s.low, s.median, s.high, None) for s in spans)
    return Summary(path.name, kept.digest_of(path), tuple(told), rows)
