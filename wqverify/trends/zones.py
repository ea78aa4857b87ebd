"""Wall-clock times of a file become instants, also where the clocks were put forward or back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

import numpy as np

from wqverify.errors import CorrectTheEntry
from wqverify.trends.options import zone_of
from wqverify.trends.stamps import NO_OFFSET, Stamps
from wqverify.trends.texts import Integers, Truths

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_DAY = 86400
NOWHERE = np.iinfo(np.int64).min  # a wall-clock time that did not exist


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of time with one offset: UTC seconds from start to before end, offset in s, its letters."""

    start: int
    end: int
    offset: int
    letters: str


def segments(zone: tzinfo, first: int, last: int) -> list[Segment]:
    """Return the stretches of one offset of a zone that cover UTC seconds ``first`` to ``last``."""
    found: list[Segment] = []
    start = first - 2 * _DAY
    end = last + 2 * _DAY
    at = start
    state = _state(zone, at)
    while at < end:
        step = min(at + _DAY, end)
        if _state(zone, step) != state:
            change = _change(zone, at, step, state)
            found.append(Segment(start, change, *state))
            start, state = change, _state(zone, change)
        at = step
    return [*found, Segment(start, end, *state)]


def _state(zone: tzinfo, at: int) -> tuple[int, str]:
    moment = (_EPOCH + timedelta(seconds=at)).astimezone(zone)
    offset = moment.utcoffset() or timedelta()
    return int(offset.total_seconds()), moment.tzname() or ""


def _change(zone: tzinfo, low: int, high: int, state: tuple[int, str]) -> int:
    """The first second with another state than at ``low``."""
    while high - low > 1:
        middle = (low + high) // 2
        if _state(zone, middle) == state:
            low = middle
        else:
            high = middle
    return high


def instants(
    stamps: Stamps, time_zone: str, repeated_hour: str, empty: Truths, where: Callable[[int], str], file: str
) -> tuple[Integers, list[str]]:
    """Return UTC seconds of the rows in the order of the file, NOWHERE where an empty row has no instant.

    ``empty`` tells the rows without any value. Raises CorrectTheEntry where no time zone is told and a
    stamp carries no offset, where a time did not exist and has a value, and where a time happened twice
    and neither the order of the rows nor the options tell which is meant.
    """
    plain = stamps.offset == NO_OFFSET
    utc = stamps.local - np.where(plain, 0, stamps.offset)
    if not plain.any():
        return utc, []
    if not time_zone:
        raise _no_zone(stamps, int(np.flatnonzero(plain)[0]), where, file)
    zone = zone_of(time_zone)
    rows = np.flatnonzero(plain)
    read = _Reading(stamps.take(rows), zone, time_zone, empty[rows], lambda row: where(int(rows[row])))
    utc[rows] = read.resolved(repeated_hour)
    return utc, read.told


class _Reading:
    """The reading of wall-clock times in one zone."""

    def __init__(
        self, stamps: Stamps, zone: tzinfo, name: str, empty: Truths, where: Callable[[int], str]
    ) -> None:
        self.stamps, self.name, self.empty, self.where = stamps, name, empty, where
        self.told: list[str] = []
        local = stamps.local
        self.segments = segments(zone, int(local.min()), int(local.max()))
        self.first = np.full(len(local), NOWHERE)
        self.second = np.full(len(local), NOWHERE)
        used: set[str] = set()
        for segment in self.segments:
            at = local - segment.offset
            fits = (at >= segment.start) & (at < segment.end)
            if any(stamps.letters.distinct):
                fits &= stamps.letters.where("") | stamps.letters.where(segment.letters)
                used.add(segment.letters)
            taken = self.first != NOWHERE
            self.second[fits & taken] = at[fits & taken]
            self.first[fits & ~taken] = at[fits & ~taken]
        unknown = [text for text in stamps.letters.shown().distinct if text and text not in used]
        if unknown:
            row = int(np.flatnonzero(stamps.letters.where(unknown[0]))[0])
            raise CorrectTheEntry(
                f"{where(row)}: the time ends in {unknown[0]}, which {name} does not use ({_listed(used)}); "
                f"correct time_zone for this export.",
                found=unknown[0],
                expected=_listed(used),
                where=where(row),
            )

    def resolved(self, repeated_hour: str) -> Integers:
        gap = self.first == NOWHERE
        if gap.any():
            self._tell_gap(gap)
        twice = np.flatnonzero(self.second != NOWHERE)
        if len(twice):
            blocks = np.split(twice, np.flatnonzero(np.diff(self.stamps.local[twice] // _DAY)) + 1)
            for block in blocks:
                self._repeated(block, repeated_hour)
        return self.first

    def _tell_gap(self, gap: Truths) -> None:
        bad = np.flatnonzero(gap & ~self.empty)
        if len(bad):
            row = int(bad[0])
            raise CorrectTheEntry(
                f"{self.where(row)}: {wall(self.stamps.local[row])} does not exist in {self.name}, the "
                f"clocks were put forward over it, and the row has a value; correct time_zone, and where the "
                f"clock of the export does not follow daylight saving write its fixed offset, such as "
                f'time_zone = "{self._standard(row)}".',
                found=wall(self.stamps.local[row]),
                expected="a time that existed",
                where=self.where(row),
            )
        times = self.stamps.local[gap]
        self.told.append(
            f"{int(gap.sum())} rows without values at times that did not exist in {self.name} (the clocks "
            f"were put forward), {wall(times.min())} to {wall(times.max())}: left out"
        )

    def _repeated(self, block: Integers, repeated_hour: str) -> None:
        """Decide one repeated hour: by the order of the rows, as told, or not at all."""
        local = self.stamps.local[block]
        at = f"{wall(local.min())} to {wall(local.max())}"
        backward = self._backward(block)
        if backward is not None:
            later = block[backward:]
            self.first[later] = self.second[later]
            self.told.append(
                f"the hour that happened twice in {self.name}, {at}: {backward} rows before and "
                f"{len(later)} after the clocks were put back, by their order"
            )
        elif repeated_hour:
            if repeated_hour == "second":
                self.first[block] = self.second[block]
            self.told.append(
                f"the hour that happened twice in {self.name}, {at}: {len(block)} rows taken as the "
                f"{repeated_hour} one, as told"
            )
        elif self.empty[block].all():
            self.told.append(
                f"{len(block)} rows without values in the hour that happened twice in {self.name}, {at}: "
                f"left out"
            )
            self.first[block] = NOWHERE
        else:
            raise self._undecided(int(block[np.flatnonzero(~self.empty[block])[0]]))

    def _backward(self, block: Integers) -> int | None:
        """Where in the block the clock was put back, None where the rows do not tell."""
        steps = np.diff(self.stamps.local[block])
        back = np.flatnonzero(steps < 0)
        if len(back) == 1 and not (steps == 0).any():
            return int(back[0]) + 1
        same = np.flatnonzero(steps == 0)
        if len(back) or len(same) != 1:
            return None
        # One stamp twice: the hour came again only where rows usually lie as far apart as the clock jumped.
        jump = int(self.second[block[0]] - self.first[block[0]])
        usual = np.median(np.diff(self.stamps.local))
        return int(same[0]) + 1 if usual == jump else None

    def _undecided(self, row: int) -> CorrectTheEntry:
        readings = [
            f"{wall(self.stamps.local[row])} {offset_text(int(self.stamps.local[row] - at))}"
            for at in (self.first[row], self.second[row])
        ]
        return CorrectTheEntry(
            f"{self.where(row)}: {wall(self.stamps.local[row])} happened twice in {self.name} and the order "
            f"of the rows does not tell which is meant, {readings[0]} or {readings[1]}; write repeated_hour "
            f'= "first" or "second", or, where the clock of the export does not follow daylight saving, its '
            f'fixed offset, such as time_zone = "{self._standard(row)}".',
            found=wall(self.stamps.local[row]),
            expected=" or ".join(readings),
            where=self.where(row),
        )

    def _standard(self, row: int) -> str:
        """The smallest offset around a time: what a clock shows that is not put forward."""
        at = int(self.stamps.local[row])
        near = [s.offset for s in self.segments if s.start - 2 * _DAY <= at <= s.end + 2 * _DAY]
        return offset_text(min(near))


def _no_zone(stamps: Stamps, row: int, where: Callable[[int], str], file: str) -> CorrectTheEntry:
    return CorrectTheEntry(
        f"{file}: the times carry no offset ({wall(stamps.local[row])} on {_line(where(row))}) and no time "
        f"zone was "
        f'told; write time_zone = "America/New_York" (the IANA name of where the clock stands) or, where '
        f'the clock does not follow daylight saving, a fixed offset such as time_zone = "-05:00".',
        found=wall(stamps.local[row]),
        expected="a time zone",
        where=file,
    )


def wall(seconds: int) -> str:
    """Return a wall-clock time for a person.

    >>> wall(0)
    '1970-01-01 00:00:00'
    """
    return f"{_EPOCH + timedelta(seconds=int(seconds)):%Y-%m-%d %H:%M:%S}"


def offset_text(seconds: int) -> str:
    """Return an offset as +01:00.

    >>> offset_text(-18000)
    '-05:00'
    """
    size = abs(seconds) // 60
    return f"{'-' if seconds < 0 else '+'}{size // 60:02d}:{size % 60:02d}"


def _listed(names: set[str]) -> str:
    return ", ".join(sorted(names))


def _line(where: str) -> str:
    return where.rsplit(", ", 1)[-1]
