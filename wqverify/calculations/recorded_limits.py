"""What recorded values say against limits: how many lie above, which follow one another, the lowest of a day.

Times are seconds since 1970 UTC, values floats nearest to what was recorded, NaN where nothing was. A missing
value breaks what must follow one another; "above" and "below" are strict.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Seconds = NDArray[np.int64]
    Mask = NDArray[np.bool_]

Direction = Literal["above", "below"]
PAIR_S = 900  # recordings of an individual filter are 15 min apart
ON_TIME_S = 60  # how far a recording may lie from its quarter of an hour


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


def quarter_hours(times: Seconds) -> Seconds:
    """Return the rows that are recordings of a quarter of an hour, the first of each.

    Equation: |t - 900 round(t/900)| <= 60 s. Source: recording interval of 40 CFR 141.174(a); a minute is
    common practice, no source.

    >>> import numpy as np
    >>> quarter_hours(np.array([0, 300, 600, 890, 910, 1800])).tolist()
    [0, 3, 5]
    """
    import numpy as np

    slot = np.rint(times / PAIR_S).astype(np.int64)
    on_time = np.flatnonzero(np.abs(times - slot * PAIR_S) <= ON_TIME_S)
    _, first = np.unique(slot[on_time], return_index=True)
    return np.asarray(on_time[first], dtype=np.int64)


def in_pairs(times: Seconds, values: Floats, limit: Decimal) -> Mask:
    """Return which values belong to two recordings in a row, 15 min apart, that both exceed a limit.

    Equation: x(k) > L and x(k + 1) > L, k and k + 1 neighbouring quarters of an hour (``quarter_hours``). A
    missing recording breaks a pair. Values and limit in one unit. Source: 40 CFR 141.175(b)(1), 141.563(a).

    >>> import numpy as np
    >>> t = np.arange(5) * 900
    >>> in_pairs(t, np.array([1.1, 1.2, 1.0, 1.3, np.nan]), Decimal("1.0")).tolist()
    [True, True, False, False, False]
    """
    import numpy as np

    rows = quarter_hours(times)
    above = beyond(values[rows], limit)
    slot = np.rint(times[rows] / PAIR_S).astype(np.int64)
    second = np.flatnonzero(above[1:] & above[:-1] & (np.diff(slot) == 1)) + 1
    found = np.zeros(len(times), dtype=bool)
    found[rows[second]] = True
    found[rows[second - 1]] = True
    return found


def pairs_counted(times: Seconds, values: Floats, limit: Decimal) -> int:
    """Return how many pairs of recordings in a row exceed a limit; three in a row are two pairs.

    Equation and source as ``in_pairs``.

    >>> import numpy as np
    >>> pairs_counted(np.arange(4) * 900, np.array([1.1, 1.2, 1.3, 0.9]), Decimal("1.0"))
    2
    """
    import numpy as np

    rows = quarter_hours(times)
    above = beyond(values[rows], limit)
    slot = np.rint(times[rows] / PAIR_S).astype(np.int64)
    return int(np.count_nonzero(above[1:] & above[:-1] & (np.diff(slot) == 1)))


def end_of_first_hours(times: Seconds, on_line: int, hours: int = 4) -> Seconds:
    """Return the two last recordings of the first hours after a filter came on line; empty where one lacks.

    Equation: the quarters of an hour at t0 + h and 15 min before, t0 when it came on line, the last one not
    after t0 + h. ``on_line`` in seconds since 1970 UTC. Source: 40 CFR 141.175(b)(2).

    >>> import numpy as np
    >>> end_of_first_hours(np.arange(40) * 900, 900).tolist()
    [16, 17]
    """
    import numpy as np

    rows = quarter_hours(times)
    last = (on_line + hours * 3600) // PAIR_S
    slot = np.rint(times[rows] / PAIR_S).astype(np.int64)
    found = [np.flatnonzero(slot == wanted) for wanted in (last - 1, last)]
    if any(not len(one) for one in found):
        return np.zeros(0, dtype=np.int64)
    return np.asarray([rows[one[0]] for one in found], dtype=np.int64)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Rows, both included, that lie beyond a limit one after the other, and how long they last."""

    first: int
    last: int
    seconds: int


def stretches(times: Seconds, found: Mask, values: Floats, gap_s: float) -> list[Stretch]:
    """Return the stretches of rows beyond a limit that follow one another.

    Equation: from the first to the last row of the stretch; a missing value, or more than ``gap_s`` between
    two rows, ends it. Times in s. Source: 40 CFR 141.72(a)(3) for the time a residual may be too low.

    >>> import numpy as np
    >>> low = np.array([True, True, False, True])
    >>> stretches(np.array([0, 60, 120, 180]), low, np.array([0.1, 0.1, 0.3, 0.1]), 90)
    [Stretch(first=0, last=1, seconds=60), Stretch(first=3, last=3, seconds=0)]
    """
    import numpy as np

    rows = np.flatnonzero(found & ~np.isnan(values))
    if not len(rows):
        return []
    breaks = np.flatnonzero((np.diff(rows) > 1) | (np.diff(times[rows]) > gap_s))
    starts, ends = np.r_[0, breaks + 1], np.r_[breaks, len(rows) - 1]
    pairs = zip(rows[starts].tolist(), rows[ends].tolist(), strict=True)
    return [Stretch(a, b, int(times[b] - times[a])) for a, b in pairs]


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
