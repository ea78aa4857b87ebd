"""What recorded values say against limits: how many lie above, which follow one another, the lowest of a day.

Times are seconds since 1970 UTC, values floats nearest to what was recorded, NaN where nothing was. A missing
value breaks what must follow one another; "above" and "below" are strict.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from math import isnan
from typing import TYPE_CHECKING, Literal

from wqverify.calculations.recordings import Recording, Span, interval_of, marked, on_the_quarter
from wqverify.calculations.turbidity_pairs import QUARTER, first_four_hours, runs_above

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Seconds = NDArray[np.int64]
    Mask = NDArray[np.bool_]

Direction = Literal["above", "below"]


def beyond(values: Floats, limit: Decimal, direction: Direction = "above") -> Mask:
    """Return which values lie beyond a limit, strictly; a missing one does not.

    Equation: x > L, or x < L. Values and limit in one unit. Source: 40 CFR 141.173, "exceed".

    >>> import numpy as np
    >>> beyond(np.array([0.3, 0.301, np.nan]), Decimal("0.3")).tolist()
    [False, True, False]
    """
    import numpy as np

    with np.errstate(invalid="ignore"):
        found = values > float(limit) if direction == "above" else values < float(limit)
    return np.asarray(found, dtype=np.bool_)


def percent_within(values: Floats, limit: Decimal) -> tuple[Decimal, int, int]:
    """Return the percentage of values that do not exceed a limit, how many exceed it, and how many there are.

    Equation: 100 (n - above)/n, fixed at six decimals; n counts values that are there. Values and limit in
    one unit. Raises ValueError where there is none. Source: 40 CFR 141.173(a)(1), 141.551(a).

    >>> import numpy as np
    >>> percent_within(np.array([0.1] * 177 + [0.4] * 3), Decimal("0.3"))
    (Decimal('98.333333'), 3, 180)
    """
    import numpy as np

    n = int(np.count_nonzero(~np.isnan(values)))
    if not n:
        raise ValueError("there is no value to count")
    above = int(np.count_nonzero(beyond(values, limit)))
    return (Decimal(100) * (n - above) / n).quantize(Decimal("0.000001")), above, n


@dataclass(frozen=True, slots=True)
class Quarters:
    """The recordings the pair rules look at; the value of each is the number of its row, or None."""

    recordings: tuple[Recording, ...]
    step: timedelta

    def holding(self, values: Floats) -> tuple[Recording, ...]:
        """Return them with the values of their rows; one whose value is missing holds none."""
        return tuple(
            Recording(one.at, _value(values, one.value), one.left_out, one.off_line)
            for one in self.recordings
        )

    def rows(self, of: Iterable[Recording]) -> list[int]:
        """Return the rows of some of them, in order of time."""
        wanted = {one.at for one in of}
        return [int(one.value) for one in self.recordings if one.at in wanted and one.value is not None]


def _value(values: Floats, row: Decimal | None) -> Decimal | None:
    found = float("nan") if row is None else float(values[int(row)])
    return None if isnan(found) else Decimal(repr(found))


def rows_as_recordings(times: Seconds, spans: Sequence[Span] = ()) -> tuple[Recording, ...]:
    """Return rows as recordings whose value is the number of the row, marked with what is left out.

    ``times`` rising, in s. Which recording stands for a moment is found on them once, for values of any kind.
    Source: common mathematics.

    >>> import numpy as np
    >>> [(one.at.minute, str(one.value)) for one in rows_as_recordings(np.array([0, 900]))]
    [(0, '0'), (15, '1')]
    """
    rows = enumerate(times.tolist())
    return marked([(datetime.fromtimestamp(at, UTC), Decimal(row)) for row, at in rows], spans)


def quarters_of(recordings: Sequence[Recording]) -> Quarters:
    """Return what the pair rules look at: every 15 minutes, or as far apart as was recorded.

    ``recordings`` of ``rows_as_recordings``. Raises CorrectTheEntry for fewer than two. Source: as
    ``recordings.on_the_quarter``, which a month goes by.

    >>> import numpy as np
    >>> found = quarters_of(rows_as_recordings(np.arange(7) * 300))
    >>> [str(one.value) for one in found.recordings]
    ['0', '3', '6']
    """
    return Quarters(on_the_quarter(recordings, QUARTER), max(interval_of(recordings), QUARTER))


def in_pairs(quarters: Quarters, values: Floats, limit: Decimal) -> tuple[int, list[int]]:
    """Return how many pairs of recordings in a row exceed a limit, and their rows; three are two pairs.

    Equation: sum of n - 1 over the runs of n recordings above, as ``turbidity_pairs.runs_above`` finds them.
    A missing recording breaks a pair. Values (by row) and limit in one unit. Source: 40 CFR 141.175(b)(1),
    141.563(a).

    >>> import numpy as np
    >>> found = quarters_of(rows_as_recordings(np.arange(5) * 900))
    >>> in_pairs(found, np.array([1.1, 1.2, 1.0, 1.3, np.nan]), Decimal("1.0"))
    (1, [0, 1])
    """
    runs = runs_above(quarters.holding(values), limit, quarters.step)
    return sum(run.pairs for run in runs), quarters.rows(one for run in runs for one in run.recordings)


def end_of_first_hours(
    quarters: Quarters, values: Floats, limit: Decimal, on_line: int
) -> tuple[bool, list[int]] | str:
    """Return whether the last two recordings of the first 4 h both exceed a limit, and their rows.

    As ``turbidity_pairs.first_four_hours`` finds them after the filter came on line, ``on_line`` in seconds
    since 1970 UTC. Values (by row) and limit in one unit. Source: 40 CFR 141.175(b)(2).

    >>> import numpy as np
    >>> found = quarters_of(rows_as_recordings(np.arange(40) * 900))
    >>> end_of_first_hours(found, np.full(40, 0.6), Decimal("0.5"), 900)
    (True, [16, 17])
    """
    at = datetime.fromtimestamp(on_line, UTC)
    off = Span(at - timedelta(seconds=1), at, "off line", off_line=True)
    for start in first_four_hours(quarters.holding(values), [off], quarters.step):
        if start.pair is None:
            return f"{start.why}, and that breaks the pair"
        return start.exceeds(limit), quarters.rows(start.pair)
    return "the export does not hold the end of the first 4 h"


@dataclass(frozen=True, slots=True)
class Stretch:
    """Rows, both included, that lie beyond a limit one after the other, and how long that lasted."""

    first: int
    last: int
    seconds: int


def stretches(times: Seconds, found: Mask, values: Floats, gap_s: float) -> list[Stretch]:
    """Return the stretches of rows beyond a limit that follow one another.

    Equation: t(first not beyond) - t(first beyond), as ``outage.spells`` counts samples; a missing value, or
    more than ``gap_s`` between two rows, ends what is known, and then it is to the last row beyond. The true
    time may be shorter or longer by one interval. Times in s. Source: 40 CFR 141.72(a)(3) for the time a
    residual may be too low; counted on recordings by this project.

    >>> import numpy as np
    >>> low = np.array([True, True, False, True])
    >>> stretches(np.array([0, 60, 120, 180]), low, np.array([0.1, 0.1, 0.3, 0.1]), 90)
    [Stretch(first=0, last=1, seconds=120), Stretch(first=3, last=3, seconds=0)]
    """
    import numpy as np

    rows = np.flatnonzero(found & ~np.isnan(values))
    if not len(rows):
        return []
    breaks = np.flatnonzero((np.diff(rows) > 1) | (np.diff(times[rows]) > gap_s))
    starts, ends = np.r_[0, breaks + 1], np.r_[breaks, len(rows) - 1]
    pairs = zip(rows[starts].tolist(), rows[ends].tolist(), strict=True)
    return [Stretch(a, b, int(_known_until(b, times, values, gap_s) - times[a])) for a, b in pairs]


def _known_until(last: int, times: Seconds, values: Floats, gap_s: float) -> int:
    """The time of the first value not beyond, where one follows the last that is; else of the last."""
    after = last + 1
    follows = after < len(times) and values[after] == values[after] and times[after] - times[last] <= gap_s
    return int(times[after] if follows else times[last])


def lowest_of_days(values: Floats, days: NDArray[np.int64]) -> Seconds:
    """Return the row of the lowest value of each day that has one, the first where several are as low.

    Equation: argmin over the rows of a day. ``days`` numbers the local day of each row, never falling.
    Source: 40 CFR 141.74(c)(2), the lowest value of each day is recorded.

    >>> import numpy as np
    >>> lowest_of_days(np.array([0.5, 0.3, np.nan, 0.4]), np.array([1, 1, 2, 3])).tolist()
    [1, 3]
    """
    import numpy as np

    found = []
    for rows in np.split(np.arange(len(days)), np.flatnonzero(np.diff(days)) + 1):
        there = rows[~np.isnan(values[rows])]
        if len(there):
            found.append(int(there[np.argmin(values[there])]))
    return np.asarray(found, dtype=np.int64)
