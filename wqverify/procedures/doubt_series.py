"""The recorded values of a doubt: read from the slice, without what was recorded while the output was held.

Corrected values stand beside them in nine ways (three models in time, each at the error found and at that
less and plus its U); nothing recorded is changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

from wqverify.calculations.drift import Model, TimeModel, corrected_series
from wqverify.calculations.recorded_limits import Quarters, quarters_of, rows_as_recordings
from wqverify.calculations.recordings import Recording, Span
from wqverify.procedures.doubt_facts import seconds
from wqverify.procedures.rules import GOOD_FLAGS
from wqverify.terms import Cited, Given, Slices

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from wqverify.calculations.drift import Floats, Seconds

EXPORT = "trend"
HELD = "output held"
BEYOND = 2  # decimal places beyond the display at which a corrected value is fixed
Shift = Literal[-1, 0, 1]
SHIFTS: tuple[Shift, ...] = (-1, 0, 1)
Way = tuple[TimeModel, Shift]


@dataclass(frozen=True)
class Recorded:
    """What an export holds of the time, in order; a row without a value, or left out, is NaN."""

    times: Seconds
    values: Floats
    texts: tuple[Decimal | None, ...]  # as recorded
    held: int  # rows left out because the output was held
    flagged: int  # rows whose flag says that something is wrong; they count as recorded
    missing: int
    interval_s: float  # between two rows, the usual one
    spans: tuple[Span, ...] = ()  # in which the output was held

    def __len__(self) -> int:
        return len(self.times)

    @property
    def gap_s(self) -> float:
        """More than this between two rows is a gap."""
        return 1.5 * self.interval_s

    @cached_property
    def recordings(self) -> tuple[Recording, ...]:
        """The rows as a month looks at them; the value of each is the number of its row."""
        return rows_as_recordings(self.times, self.spans)

    @cached_property
    def quarters(self) -> Quarters | str:
        """What the pair rules look at, or why nothing says which recordings follow one another."""
        if len(set(self.times.tolist())) < 2:
            return "the export holds fewer than two recordings, so none follow one another"
        return quarters_of(self.recordings)


def attached(given: Given, slices: Slices) -> bytes | None:
    """Return the slice of the export the sheet names, None where it names none."""
    use = next((use for use in given.trends if use.path == EXPORT), None)
    return None if use is None else slices[use.slice]


def why_no_values(given: Given) -> str:
    """Return why the values of an export cannot be taken; empty where they can."""
    use = next((use for use in given.trends if use.path == EXPORT), None)
    if use is None:
        return "no export with the recorded values is named, so they are not listed"
    if use.unit and use.unit != given.analyzer.unit:
        return f"the export is in {use.unit} and the analyzer in {given.analyzer.unit}"
    return ""


def read(
    slice_: bytes, given: Given, windows: Iterable[tuple[int, int]], period: tuple[int, int]
) -> Recorded:
    """Return the rows of a slice; ``windows`` are stretches of a held output, in seconds since 1970 UTC.

    What is left out, flagged and missing is counted within the period in doubt.
    """
    import numpy as np

    from wqverify.trends.slices import read_slice

    rows = read_slice(slice_).rows
    good = {*GOOD_FLAGS, given.analyzer.settings.get("good_flag", "")}
    times = np.array([int(at.timestamp()) for at, _, _ in rows], dtype=np.int64)
    texts = tuple(value for _, value, _ in rows)
    values = np.array([np.nan if value is None else float(value) for value in texts])
    held = np.zeros(len(times), dtype=bool)
    for start, end in windows:
        held |= (times >= start) & (times < end)
    inside = (times >= period[0]) & (times <= period[1])
    odd = np.array([value is not None and flag.casefold() not in good for _, value, flag in rows], dtype=bool)
    flagged = int(np.count_nonzero(odd & inside))
    missing = int(np.count_nonzero(np.isnan(values) & inside))
    steps = np.diff(times)
    steps = steps[steps > 0]
    usual = float(np.median(steps)) if len(steps) else 0.0
    count = int(np.count_nonzero(held & inside & ~np.isnan(values)))
    values[held] = np.nan
    return Recorded(times, values, texts, count, flagged, missing, usual)


def held_windows(records: Iterable[Cited], tag: str, until: int) -> Iterator[tuple[int, int]]:
    """Give the stretches in which the output of an analyzer was held, as its records state them.

    One that a record left held lasts until a later record says that it was released, else to the end. What a
    superseded or voided record says does not count; the moment of the release shows the process again.
    """
    standing = [record for record in records if record.tag == tag and not record.ended]
    windows = [window for record in standing for window in record.windows if window.what == HELD]
    released = sorted(seconds(window.end) for window in windows if window.end)
    for window in windows:
        start = seconds(window.start)
        later = [end for end in released if end > start]
        end = seconds(window.end) if window.end else min(later, default=max(until, start) + 1)
        yield start, end


def places_of(given: Given, recorded: Recorded | None) -> int:
    """Return at how many decimal places a corrected value is fixed: two beyond the display."""
    digit = given.analyzer.digit
    if digit is None and recorded is not None:
        known = [value for value in recorded.texts if value is not None]
        digit = min((Decimal(1).scaleb(_exponent(value)) for value in known), default=None)
    return min(9, max(0, -_exponent(digit if digit is not None else Decimal("0.01"))) + BEYOND)


def _exponent(value: Decimal) -> int:
    return int(value.as_tuple().exponent)


def corrected(
    recorded: Recorded, models: Mapping[Way, Model], period: tuple[int, int], places: int
) -> dict[Way, Floats]:
    """Return the values corrected within the period, both ends included, in each of the ways."""
    inside = (recorded.times >= period[0]) & (recorded.times <= period[1])
    found = {}
    for way, model in models.items():
        values = recorded.values.copy()
        values[inside] = corrected_series(model, recorded.times[inside], values[inside], places)
        found[way] = values
    return found


def local_days(recorded: Recorded, given: Given) -> NDArray[np.int64]:
    """Return the number of the local day of each row."""
    import numpy as np

    zone = ZoneInfo(given.site.time_zone)
    days = [datetime.fromtimestamp(int(t), zone).toordinal() for t in recorded.times]
    return np.array(days, dtype=np.int64)


def one_every(recorded: Recorded, hours: int, given: Given) -> NDArray[np.int64]:
    """Return the rows that stand for one value every so many hours of the local day.

    Of each of the hours 00, 04 ... the value recorded then, or the last one up to 15 min before. Common
    practice, no source.
    """
    import numpy as np

    zone = ZoneInfo(given.site.time_zone)
    wanted: dict[tuple[int, int], int] = {}
    for row, second in enumerate(recorded.times.tolist()):
        later = datetime.fromtimestamp(second + 900 - 1, zone)  # which hour it may stand for
        if later.hour % hours == 0 and later.minute < 15 and not np.isnan(recorded.values[row]):
            wanted[(later.toordinal(), later.hour)] = row
    return np.array(sorted(wanted.values()), dtype=np.int64)


def stamp(second: int, given: Given) -> str:
    """Return a moment by the plant's clock."""
    at = datetime.fromtimestamp(second, UTC).astimezone(ZoneInfo(given.site.time_zone))
    return at.isoformat(timespec="minutes")
