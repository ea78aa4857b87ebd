"""A slice of one channel as a small file: what a record keeps of an export, the same bytes every time."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, TypeAlias

from wqverify.errors import ChooseAnother, CorrectTheEntry, ResultsDiffer

if TYPE_CHECKING:
    from wqverify.trends.export import Channel

Row: TypeAlias = tuple[datetime, Decimal | None, str]

MOST_BYTES = 4_000_000
_HEAD = "time,value,flag\n"
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_TIME = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z", re.ASCII)
_VALUE = re.compile(r"-?[0-9]+(?:\.[0-9]+)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Slice:
    """The rows of a slice: moment in UTC, value as exported or None, flag."""

    rows: tuple[Row, ...]

    def __iter__(self) -> Iterator[Row]:
        return iter(self.rows)

    def __len__(self) -> int:
        return len(self.rows)


def cut(channel: Channel, start: datetime, end: datetime) -> bytes:
    """Return the rows of a channel from start to end, both included, as UTF-8 text with LF.

    Columns: time (ISO 8601, UTC), value (as in the export, with decimal point, empty where it is no
    number), flag (the flag of the export, and the text that stood where a number was expected). Raises
    ChooseAnother where the channel has no row there and CorrectTheEntry where the slice becomes too large.
    """
    first, last = (int((moment - _EPOCH) // timedelta(seconds=1)) for moment in (start, end))
    low = int(channel.times.searchsorted(first if start == _at(first) else first + 1))
    high = int(channel.times.searchsorted(last, side="right"))
    if low >= high:
        ends = f"{_stamp(channel.times[0])} to {_stamp(channel.times[-1])}" if len(channel) else "nothing"
        raise ChooseAnother(
            f"{channel.name} has no row from {start.isoformat(' ', 'minutes')} to "
            f"{end.isoformat(' ', 'minutes')}; the export holds {ends}. Name an export of that time.",
            found=ends,
            expected=f"{start.isoformat()} to {end.isoformat()}",
            where=channel.name,
        )
    data = _rows_of(channel, low, high)
    if len(data) > MOST_BYTES:
        raise CorrectTheEntry(
            f"The slice of {channel.name} has {high - low} rows and {len(data) / 1e6:.1f} MB; at most "
            f"{MOST_BYTES / 1e6:.1f} MB are kept with a record, take a shorter time.",
            found=f"{len(data)} bytes",
            expected=f"at most {MOST_BYTES} bytes",
            where=channel.name,
        )
    return data


def _rows_of(channel: Channel, low: int, high: int) -> bytes:
    """The rows of a slice as ``_written`` writes them, each different end of a line made once."""
    import numpy as np

    times = np.datetime_as_string(channel.times[low:high].astype("datetime64[s]"), timezone="UTC")
    ends: dict[tuple[int, str], str] = {}
    lines = [_HEAD]
    for row, (time, code) in enumerate(
        zip(times.tolist(), channel.codes[low:high].tolist(), strict=True), low
    ):
        flag = channel.flag(row)
        end = ends.get((code, flag))
        if end is None:
            end = ends[code, flag] = _end_of(channel, row)
        lines.append(time + end)
    return "".join(lines).encode()


def _end_of(channel: Channel, row: int) -> str:
    plain = channel.cell(row).plain
    note = "; ".join(" ".join(part.split()) for part in (channel.note(row), channel.flag(row)) if part)
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(("", f"{Decimal(plain):f}" if plain else "", note))
    return out.getvalue()


def read_slice(data: bytes) -> Slice:
    """Return the rows of a slice; raises ResultsDiffer where it is not what ``cut`` writes."""
    if len(data) > MOST_BYTES:
        raise _damaged(0, f"it has {len(data)} bytes, at most {MOST_BYTES} are taken")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as problem:
        raise _damaged(data.count(b"\n", 0, problem.start) + 1, "it is not UTF-8 text") from None
    if not text.startswith(_HEAD):
        raise _damaged(1, "its first line is not time,value,flag")
    rows: list[Row] = []
    try:
        for line, row in enumerate(csv.reader(io.StringIO(text[len(_HEAD) :], newline=""), strict=True), 2):
            rows.append(_row(row, line))
            if len(rows) > 1 and rows[-1][0] < rows[-2][0]:
                raise _damaged(line, "its time is before the one above")
    except csv.Error as problem:
        raise _damaged(len(rows) + 2, str(problem)) from None
    if _written(rows) != data:
        raise _damaged(0, "it is not written as a slice is, byte for byte")
    return Slice(tuple(rows))


def _row(fields: list[str], line: int) -> Row:
    if len(fields) != 3:
        raise _damaged(line, f"it has {len(fields)} fields instead of 3")
    time, value, flag = fields
    if value and not (len(value) <= 400 and _VALUE.fullmatch(value)):
        raise _damaged(line, f"{value[:40]!r} is no number")
    try:
        moment = datetime.fromisoformat(time) if _TIME.fullmatch(time) else None
    except ValueError:
        moment = None
    if moment is None:
        raise _damaged(line, f"{time[:40]!r} is no time in UTC")
    return moment, Decimal(value) if value else None, flag


def _damaged(line: int, what: str) -> ResultsDiffer:
    where = f"line {line}" if line else "slice"
    return ResultsDiffer(
        f"The slice of an export is damaged{f' in line {line}' if line else ''}: {what}; take it out of the "
        f"signed record again.",
        found=what,
        where=where,
    )


def _written(rows: Iterable[Row]) -> bytes:
    out = io.StringIO()
    out.write(_HEAD)
    writer = csv.writer(out, lineterminator="\n")
    for moment, value, flag in rows:
        writer.writerow((f"{moment.isoformat()[:19]}Z", "" if value is None else f"{value:f}", flag))
    return out.getvalue().encode()


def _at(seconds: int) -> datetime:
    return _EPOCH + timedelta(seconds=seconds)


def _stamp(seconds: int) -> str:
    return f"{_at(int(seconds)):%Y-%m-%d %H:%M} UTC"
