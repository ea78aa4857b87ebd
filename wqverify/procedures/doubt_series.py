"""The recorded values of a doubt: read from the slice, without what a month leaves out of them too.

Corrected values stand beside them in nine ways (three models in time, each at the error found and at that
less and plus its U); nothing recorded is changed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

from wqverify.calculations.drift import Model, TimeModel, corrected_series
from wqverify.calculations.recorded_limits import Quarters, quarters_of
from wqverify.calculations.recordings import Recording, Span, interval_of, marked, without_flagged
from wqverify.calculations.turbidity_rule import (
    Due,
    Taken,
    due_times,
    month_after,
    spot_values,
    with_grabs,
)
from wqverify.procedures.month_case import GOOD
from wqverify.procedures.month_records import grabs_of_outages, windows_of
from wqverify.procedures.month_rules import Span as Within
from wqverify.terms import Given, Slices

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from wqverify.calculations.drift import Floats, Seconds

EXPORT = "trend"
BEYOND = 2  # decimal places beyond the display at which a corrected value is fixed
Shift = Literal[-1, 0, 1]
SHIFTS: tuple[Shift, ...] = (-1, 0, 1)
Way = tuple[TimeModel, Shift]


@dataclass(frozen=True)
class Recorded:
    """What an export holds of the time, in order; a row without a value, or left out, is NaN."""

    times: Seconds
    values: Floats
    texts: tuple[Decimal | None, ...]  # as recorded, of what counts
    recordings: tuple[Recording, ...]  # as a month looks at them; the value of each is the number of its row
    left_out: Mapping[str, int]  # numbers of the period that do not count, by reason
    missing: int
    apart: timedelta  # between two rows, the usual one
    spans: tuple[Span, ...] = ()  # that records leave out

    def __len__(self) -> int:
        return len(self.times)

    @property
    def gap_s(self) -> float:
        """More than this between two rows is a gap."""
        return 1.5 * self.apart.total_seconds()

    @cached_property
    def quarters(self) -> Quarters | str:
        """What the pair rules look at, or why nothing says which recordings follow one another."""
        if not self.apart:
            return "the export holds fewer than two recordings, so none follow one another"
        return quarters_of(self.recordings)


@dataclass(frozen=True)
class FourHours:
    """The values every four hours of a time: the rows that stand for them, grabs in their place."""

    rows: NDArray[np.int64]
    grabs: tuple[Decimal, ...]
    due: int
    within: timedelta


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


def read(slice_: bytes, given: Given, period: tuple[int, int]) -> Recorded:
    """Return the rows of a slice, without what a month leaves out: holds, checks, outages, what is flagged.

    What is left out and missing is counted within the period in doubt, in seconds since 1970 UTC.
    """
    import numpy as np

    from wqverify.trends.slices import read_slice

    rows = read_slice(slice_).rows
    spans = _spans(rows[0][0], rows[-1][0], given) if rows else ()
    good = {*GOOD, given.analyzer.settings.get("good_flag", "")}
    known = without_flagged(
        marked([(at, value) for at, value, _ in rows], spans), [flag for _, _, flag in rows], good
    )
    times = np.array([int(one.at.timestamp()) for one in known], dtype=np.int64)
    texts = tuple(one.value if one.counts else None for one in known)
    values = np.array([np.nan if value is None else float(value) for value in texts])
    inside = [one for one, at in zip(known, times, strict=True) if period[0] <= at <= period[1]]
    left_out = Counter(one.left_out for one in inside if one.left_out and one.value is not None)
    numbered = tuple(
        Recording(one.at, None if one.value is None else Decimal(n), one.left_out, one.off_line)
        for n, one in enumerate(known)
    )
    missing = sum(one.value is None for one in inside)
    apart = interval_of(known) if len(set(times.tolist())) > 1 else timedelta(0)
    return Recorded(times, values, texts, numbered, left_out, missing, apart, spans)


def _spans(first: datetime, last: datetime, given: Given) -> tuple[Span, ...]:
    """Return what the records of the analyzer leave out of an export, as they do of a month."""
    zone = ZoneInfo(given.site.time_zone)
    whole = Within("the export", first, last + timedelta(seconds=1), zone)
    return tuple(one.span for one in windows_of(given.analyzer.tag, whole, given))


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


def every_4_h(recorded: Recorded, given: Given, first: int, last: int) -> FourHours:
    """Return what stands for the values due between two moments, in s since 1970, as a month takes them.

    The recording nearest to each of the hours 00, 04 ... by the plant's clock, at most half the usual time
    between two away; where none counts a grab of an outage.
    """
    import numpy as np

    zone = ZoneInfo(given.site.time_zone)
    start, end = (datetime.fromtimestamp(at, zone) for at in (first, last))
    month, dues = f"{start:%Y-%m}", list[Due]()
    while month <= f"{end:%Y-%m}":
        dues += [due for due in due_times(month, zone) if start <= due.start <= end]
        month = month_after(month)
    within = recorded.apart / 2
    found = with_grabs(
        spot_values(recorded.recordings, dues, recorded.spans, within),
        grabs_between(given, first, last),
    )
    rows = [int(one.value) for one in found if one.state == "recorded" and one.value is not None]
    grabs = tuple(one.value for one in found if one.state == "grab" and one.value is not None)
    return FourHours(np.array(rows, dtype=np.int64), grabs, len(dues), within)


def grabs_between(given: Given, first: int, last: int) -> tuple[Taken, ...]:
    """Return the grabs that outages of the analyzer tell of, between two moments in s since 1970."""
    zone = ZoneInfo(given.site.time_zone)
    start, end = (datetime.fromtimestamp(at, zone) for at in (first, last))
    return grabs_of_outages(given.analyzer.tag, Within("", start, end + timedelta(seconds=1), zone), given)


def stamp(second: int, given: Given) -> str:
    """Return a moment by the plant's clock."""
    at = datetime.fromtimestamp(second, UTC).astimezone(ZoneInfo(given.site.time_zone))
    return at.isoformat(timespec="minutes")
