"""What the rows of one signal tell of the signal itself: range, spikes, rate, flat lines, gaps, ends, noise.

Every test gives a flag for each row, with the meaning of the QARTOD manuals of the U.S. Integrated Ocean
Observing System: 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing. A flag speaks of the signal; it is
never a verdict on an analyzer. Times are seconds on any one clock, rising; nan is a missing value. A value is
flagged for what exceeds a limit (range, spike, rate, gap, twins), or for moving less than one (flat line,
attenuation, noise); one that stands at the end of a range is clamped. Time and memory grow with the number of
rows alone.
"""

from __future__ import annotations

from typing import Any, Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from wqverify.errors import CorrectTheEntry

PASS, NOT_EVALUATED, SUSPECT, FAIL, MISSING = 1, 2, 3, 4, 9

Floats: TypeAlias = npt.NDArray[np.float64]
Integers: TypeAlias = npt.NDArray[np.int64]
Truths: TypeAlias = npt.NDArray[np.bool_]
Flags: TypeAlias = npt.NDArray[np.uint8]
Span: TypeAlias = tuple[float, float]

_FEWEST = 3  # rows of a flat line; ioos_qc passes everything with fewer


def gross_range(values: npt.ArrayLike, fail: Span, suspect: Span | None = None) -> Flags:
    """Return flags of values outside what a sensor can show, and outside what is expected of it.

    Equation: fail where x < low or x > high. ``fail`` and ``suspect`` are (low, high) in the unit of the
    values, inclusive. Raises CorrectTheEntry where ``suspect`` reaches beyond ``fail``. Source: QARTOD, gross
    range test; flags as ioos_qc 3.0.0 gives them.

    >>> gross_range([0.06, 1.2, 5.5, float("nan")], (0, 5), (0.01, 1.0)).tolist()
    [1, 3, 4, 9]
    """
    x = _finite(values)
    low, high = sorted(fail)
    flags = np.full(len(x), PASS, np.uint8)
    if suspect is not None:
        least, most = sorted(suspect)
        if least < low or most > high:
            raise CorrectTheEntry(
                f"What is suspect, {least:g} to {most:g}, reaches beyond what fails, {low:g} to {high:g}.",
                found=f"{least:g} to {most:g}",
                expected=f"within {low:g} to {high:g}",
            )
        flags[(x < least) | (x > most)] = SUSPECT
    flags[(x < low) | (x > high)] = FAIL
    return _with_missing(flags, x)


def spike(
    values: npt.ArrayLike,
    suspect: float | None = None,
    fail: float | None = None,
    *,
    differential: bool = False,
) -> Flags:
    """Return flags of single rows that stand out from both their neighbours.

    Equation: d = abs(x_i - (x_(i-1) + x_(i+1))/2), which smears a spike onto its neighbours; differential:
    d = min(abs(x_i - x_(i-1)), abs(x_(i+1) - x_i)) where the two steps go opposite ways, else 0. Suspect and
    fail where d exceeds a limit, in the unit of the values. The first and last row, and one beside a missing
    value, are not evaluated. Source: QARTOD, spike test; flags as ioos_qc 3.0.0 gives them.

    >>> spike([0.05, 0.05, 0.50, 0.05, 0.05, 0.05], 0.03, 0.2, differential=True).tolist()
    [2, 1, 4, 1, 1, 2]
    """
    x = _finite(values)
    flags = np.full(len(x), PASS, np.uint8)
    if len(x) > 2:
        apart = _opposite_steps(x) if differential else np.abs(x[1:-1] - (x[:-2] + x[2:]) / 2)
        _above(flags[1:-1], apart, suspect, fail)
        flags[1:-1][np.isnan(apart)] = NOT_EVALUATED
    flags[:1] = flags[-1:] = NOT_EVALUATED
    return _with_missing(flags, x)


def _opposite_steps(x: Floats) -> Floats:
    """The smaller of the steps to and from each inner row where they go opposite ways, else 0."""
    steps = np.diff(x)
    before, after = steps[:-1], steps[1:]
    apart: Floats = np.minimum(np.abs(before), np.abs(after))
    apart[before * after >= 0] = 0.0
    return apart


def rate_of_change(
    values: npt.ArrayLike, times_s: npt.ArrayLike, suspect: float, fail: float | None = None
) -> Flags:
    """Return flags of rows reached faster than a rate, in the unit of the values per s.

    Equation: r = abs(x_i - x_(i-1)) / (t_i - t_(i-1)); flagged where r exceeds a limit. The first row, and
    one after a missing value, pass. Source: QARTOD, rate of change test; flags as ioos_qc 3.0.0 gives them.

    >>> rate_of_change([0.05, 0.06, 0.50, 0.50], [0, 900, 1800, 2700], 0.0002).tolist()
    [1, 1, 3, 1]
    """
    x, t = _finite(values), _rising(times_s)
    flags = np.full(len(x), PASS, np.uint8)
    with np.errstate(divide="ignore", invalid="ignore"):
        _above(flags[1:], np.abs(np.diff(x) / np.diff(t)), suspect, fail)
    return _with_missing(flags, x)


def flat_line(
    values: npt.ArrayLike, times_s: npt.ArrayLike, suspect_s: float, fail_s: float, tolerance: float
) -> Flags:
    """Return flags of rows before which the signal moved by less than a tolerance for a time.

    Equation: max(x) - min(x) < tolerance over the rows from t_i - s to t_i; s is suspect_s (fail_s) taken
    down to whole usual intervals, the median step of the times, and rows half an interval off still count.
    Rows before which the record does not reach back so far pass. Missing values do not count, so that the
    first row after a long run of them can be flagged: leave them out to avoid that. Times in s, ``tolerance``
    in the unit of the values; at 0 nothing is flagged. Raises CorrectTheEntry for a time shorter than the
    usual interval. Source: QARTOD, flat line test; on regular times flags are as ioos_qc 3.0.0 gives them,
    what is done with other times is an extension made here.

    >>> flat_line([7.20, 7.21, 7.22, 7.22, 7.22, 7.22], [0, 60, 120, 180, 240, 300], 120, 180, 0.005).tolist()
    [1, 1, 1, 1, 3, 4]
    """
    x, t = _finite(values), _rising(times_s)
    flags = np.full(len(x), PASS, np.uint8)
    if len(x) >= _FEWEST:
        usual = float(np.median(np.diff(t)))
        for seconds, flag in ((suspect_s, SUSPECT), (fail_s, FAIL)):
            flags[_flat(x, t, seconds, usual, tolerance)] = flag
    return _with_missing(flags, x)


def flat_stretches(
    values: npt.ArrayLike, times_s: npt.ArrayLike, seconds: float, tolerance: float
) -> list[tuple[int, int]]:
    """Return the first and last row of each stretch that moved by less than a tolerance for a time or longer.

    Equation: the rows ``flat_line`` flags, and those of their windows; two values one after the other are two
    stretches. ``seconds`` in s, ``tolerance`` in
    the unit of the values. Raises CorrectTheEntry as ``flat_line`` does. Source: as ``flat_line``.

    >>> flat_stretches([7.20, 7.21, 7.22, 7.22, 7.22, 7.25], [0, 60, 120, 180, 240, 300], 120, 0.005)
    [(2, 4)]
    """
    x, t = _finite(values), _rising(times_s)
    if len(x) < _FEWEST:
        return []
    usual = float(np.median(np.diff(t)))
    flat = _flat(x, t, seconds, usual, tolerance)
    start = _starts(t, _whole(seconds, usual) + usual / 2)
    joined = np.zeros(len(x), np.int64)  # of each row with the next: how many windows hold both
    np.add.at(joined, start[flat], 1)
    np.add.at(joined, np.flatnonzero(flat), -1)
    return [(first, last + 1) for first, last in stretches(np.cumsum(joined)[:-1] > 0)]


def _flat(x: Floats, t: Integers, seconds: float, usual: float, tolerance: float) -> Truths:
    if seconds < usual:
        raise CorrectTheEntry(
            f"A flat line of {seconds:g} s cannot be seen in rows {usual:g} s apart; give a longer time.",
            found=f"{seconds:g} s",
            expected=f"at least {usual:g} s",
        )
    whole = _whole(seconds, usual)
    reach = whole + usual / 2
    start = _starts(t, reach)
    # Extremes are looked for only where no single step breaks the line: elsewhere they cannot be near enough.
    possible = (t - t[start] > whole - usual / 2) & (start >= _last_breaks(x, tolerance))
    flat = np.zeros(len(x), bool)
    for first, last in stretches(possible):
        begin = int(start[first])
        part = x[begin : last + 1]
        if np.fmax.reduce(part) - np.fmin.reduce(part) < tolerance:
            flat[first : last + 1] = True
            continue
        low, high = _extremes(part, t[begin : last + 1], reach)
        flat[first : last + 1] = (high - low < tolerance)[first - begin :]
    return flat


def _whole(seconds: float, usual: float) -> float:
    """A time taken down to whole usual intervals."""
    return seconds // usual * usual if usual else seconds


def _starts(t: Integers, seconds: float) -> Integers:
    """The first row of each that lies at most so many seconds before it."""
    steps = np.diff(t)
    if steps[0] > 0 and (steps == steps[0]).all():
        return np.maximum(np.arange(len(t)) - int(seconds // steps[0]), 0)
    return np.searchsorted(t, t - seconds)


def _last_breaks(x: Floats, tolerance: float) -> Integers:
    """The last row up to each that lies a tolerance or more from the row before it; 0 for none."""
    rows = np.zeros(len(x), np.int64)
    broken = np.flatnonzero(np.abs(np.diff(x)) >= tolerance) + 1
    rows[broken] = broken
    return np.maximum.accumulate(rows)


def _extremes(x: Floats, t: Integers, seconds: float) -> tuple[Floats, Floats]:
    """Least and greatest value of the rows from t_i - seconds to t_i."""
    steps = np.diff(t)
    if not len(steps) or steps[0] == 0 or not (steps == steps[0]).all():
        rolling = _rolling(x, t, seconds, "both")
        return rolling.min().to_numpy(), rolling.max().to_numpy()
    from scipy.ndimage import maximum_filter1d, minimum_filter1d

    count = min(int(seconds // steps[0]), len(x) - 1)
    window = {"size": count + 1, "origin": count // 2, "mode": "nearest"}  # it ends at its row
    gone = np.isnan(x)
    below, above = (np.where(gone, np.inf, x), np.where(gone, -np.inf, x)) if gone.any() else (x, x)
    return minimum_filter1d(below, **window), maximum_filter1d(above, **window)


def _rolling(x: Floats, t: Integers, seconds: float, closed: Literal["both", "right"], least: int = 1) -> Any:
    import pandas as pd  # a second to import, and only irregular times and windows of noise need it

    series = pd.Series(x, index=pd.DatetimeIndex(t.astype("datetime64[s]")))
    return series.rolling(pd.Timedelta(seconds=seconds), min_periods=least, closed=closed)


def attenuated(
    values: npt.ArrayLike,
    times_s: npt.ArrayLike,
    window_s: float,
    suspect: float,
    fail: float,
    *,
    least: int = 1,
    of_range: bool = False,
) -> Flags:
    """Return flags of rows before which the signal moves too little: its standard deviation is too small.

    Equation: sd of the rows after t_i - window_s up to t_i (denominator n), or with ``of_range`` their max -
    min; suspect and fail where it is below a limit, in the unit of the values. Not evaluated with fewer than
    ``least`` values in the window, and of a range with a missing value in it. Source: QARTOD, attenuated
    signal test; flags as ioos_qc 3.0.0 gives them.

    >>> attenuated([7.0, 7.4, 7.0, 7.0, 7.0, 7.0], [0, 60, 120, 180, 240, 300], 180, 0.1, 0.01).tolist()
    [4, 1, 1, 1, 4, 4]
    """
    x, t = _finite(values), _rising(times_s)
    if not len(x):
        return np.empty(0, np.uint8)
    rolling = _rolling(x, t, window_s, "right", least)
    if of_range:
        whole = _rolling(np.isnan(x).astype(float), t, window_s, "right").sum().to_numpy() == 0
        moved = np.where(whole, rolling.max().to_numpy() - rolling.min().to_numpy(), np.nan)
    else:
        moved = rolling.std(ddof=0).to_numpy()
    flags = np.full(len(x), NOT_EVALUATED, np.uint8)
    flags[moved >= suspect] = PASS
    flags[moved < suspect] = SUSPECT
    flags[moved < fail] = FAIL
    return _with_missing(flags, x)


def gap(times_s: npt.ArrayLike, suspect_s: float, fail_s: float | None = None) -> Flags:
    """Return flags of rows that come too long after the row before.

    Equation: t_i - t_(i-1) > suspect_s (fail_s), in s. The first row passes. To find gaps between values,
    leave rows without one out. Source: QARTOD, gap test; from the second row on flags are as the gap test of
    ioos_qc 3.0.0 gives them.

    >>> gap([0, 60, 120, 300, 1000], 90, 600).tolist()
    [1, 1, 1, 3, 4]
    """
    t = _rising(times_s)
    flags = np.full(len(t), PASS, np.uint8)
    _above(flags[1:], np.diff(t).astype(float), suspect_s, fail_s)
    return flags


def clamped(
    values: npt.ArrayLike, times_s: npt.ArrayLike, low: float, high: float, fail_s: float, margin: float = 0.0
) -> Flags:
    """Return flags of rows that stand at or beyond an end of the range: what lies beyond it is cut off.

    Equation: suspect where x <= low + margin or x >= high - margin; fail where the signal has stood at one
    and the same end for fail_s or longer. A missing value ends the stand. ``low``, ``high`` (either may be
    infinite, for none) and ``margin`` in the unit of the values. Source: common practice, no source.

    >>> clamped([0.1, 5.0, 5.0, 5.0, 4.9], [0, 60, 120, 180, 240], 0.0, 5.0, 120).tolist()
    [1, 3, 3, 4, 1]
    """
    x, t = _finite(values), _rising(times_s)
    flags = np.full(len(x), PASS, np.uint8)
    for at_end in (x <= low + margin, x >= high - margin):
        flags[at_end] = SUSPECT
        for first, last in stretches(at_end):
            rows = slice(first, last + 1)
            flags[rows][t[rows] - t[first] >= fail_s] = FAIL
    return _with_missing(flags, x)


def noise(values: npt.ArrayLike, times_s: npt.ArrayLike, window_s: float) -> tuple[Floats, float]:
    """Return how restless the signal was before each row, and how restless it usually is, in its unit.

    Equation: mean of abs(x_i - x_(i-1)) over the rows after t_i - window_s up to t_i; the usual one is the
    median of these means. A step counts at most ten times the median step that is not 0: a spike is no noise.
    nan where the window holds fewer than three steps. ``window_s`` in s. Source: mean successive difference
    (von Neumann 1941, from memory); window and cut common practice, no source.

    >>> means, usual = noise([1, 2, 1, 2, 1, 1, 1, 1], [0, 60, 120, 180, 240, 300, 360, 420], 180)
    >>> means.tolist()[3:], usual
    ([1.0, 1.0, 0.6666666666666666, 0.3333333333333333, 0.0], 0.6666666666666666)
    """
    x, t = _finite(values), _rising(times_s)
    if len(x) < 2:
        return np.full(len(x), np.nan), float("nan")
    steps = np.abs(np.diff(x, prepend=np.nan))
    moving = steps[steps > 0]
    if len(moving):
        steps = np.minimum(steps, _MOST_STEPS * float(np.median(moving)))
    known = np.isfinite(steps)
    total = np.concatenate(([0.0], np.cumsum(np.where(known, steps, 0.0))))
    count = np.concatenate(([0], np.cumsum(known)))
    start = np.searchsorted(t, t - window_s, side="right")
    n = count[1:] - count[start]
    enough = n >= _FEWEST
    means = np.full(len(x), np.nan)
    means[enough] = np.maximum(total[1:] - total[start], 0.0)[enough] / n[enough]
    return means, float(np.median(means[enough])) if enough.any() else float("nan")


_MOST_STEPS = 10.0


def noise_vanishing(
    values: npt.ArrayLike, times_s: npt.ArrayLike, window_s: float, suspect: float, fail: float
) -> Flags:
    """Return flags of rows before which the restlessness of the signal all but vanished.

    Equation: m_i < share m, with m_i and m of ``noise``; ``suspect`` and ``fail`` are shares of the usual
    one, between 0 and 1. Not evaluated where the window holds fewer than three steps, and everywhere where
    the signal usually stands still. Source: common practice, no source.

    >>> noise_vanishing([1, 2, 1, 2, 1, 2, 1, 1, 1, 1], range(0, 600, 60), 180, 0.5, 0.1).tolist()
    [2, 2, 2, 1, 1, 1, 1, 1, 3, 4]
    """
    x = _finite(values)
    means, usual = noise(x, times_s, window_s)
    flags = np.full(len(x), NOT_EVALUATED, np.uint8)
    if usual > 0:
        flags[means >= suspect * usual] = PASS
        flags[means < suspect * usual] = SUSPECT
        flags[means < fail * usual] = FAIL
    return _with_missing(flags, x)


def twins_disagree(
    values: npt.ArrayLike, twin: npt.ArrayLike, suspect: float, fail: float | None = None, offset: float = 0.0
) -> Flags:
    """Return flags of rows in which two channels of the same water lie too far apart.

    Equation: abs(x - y - offset) > limit, all in the unit of the values, row by row of one time; ``offset``
    is what they usually lie apart. Not evaluated where the twin has no value. Which of the two is wrong is
    not told. Source: common practice, no source.

    >>> twins_disagree([0.50, 0.50, 0.50], [0.52, 0.70, float("nan")], 0.1).tolist()
    [1, 3, 2]
    """
    x, y = _finite(values), _finite(twin)
    flags = np.full(len(x), PASS, np.uint8)
    _above(flags, np.abs(x - y - offset), suspect, fail)
    flags[np.isnan(y)] = NOT_EVALUATED
    return _with_missing(flags, x)


def stretches(flagged: Truths) -> list[tuple[int, int]]:
    """Return the first and last row of each run of rows that are true.

    Equation: none. Source: none needed.

    >>> stretches(np.array([True, True, False, True]))
    [(0, 1), (3, 3)]
    """
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flagged, [False])).astype(np.int8)))
    return [(int(first), int(end) - 1) for first, end in zip(edges[::2], edges[1::2], strict=True)]


def step(values: npt.ArrayLike) -> float:
    """Return the smallest step between two rows that is not 0: the resolution in which a signal was archived.

    Equation: min(abs(x_i - x_(i-1)) > 1e-9 max(abs(x))), in the unit of the values, rounded to nine figures;
    0 where nothing moves. Source: common practice, no source.

    >>> step([0.10, 0.13, 0.12, float("nan"), 0.12])
    0.01
    """
    x = _finite(values)
    x = x[np.isfinite(x)]
    steps = np.abs(np.diff(x))
    real = steps[steps > 1e-9 * np.abs(x).max(initial=0.0)]
    return float(f"{real.min():.9g}") if len(real) else 0.0


def _finite(values: npt.ArrayLike) -> Floats:
    """The values as numbers; what is not finite is missing."""
    x = np.asarray(values, np.float64).ravel()
    return x if np.isfinite(x).all() else np.where(np.isfinite(x), x, np.nan)


def _rising(times_s: npt.ArrayLike) -> Integers:
    t = np.asarray(times_s, np.int64).ravel()
    if (np.diff(t) < 0).any():
        raise CorrectTheEntry(
            "The times of a signal must rise; sort its rows by time.", expected="rising times"
        )
    return t


def _above(flags: Flags, found: Floats, suspect: float | None, fail: float | None) -> None:
    if suspect is not None:
        flags[found > suspect] = SUSPECT
    if fail is not None:
        flags[found > fail] = FAIL


def _with_missing(flags: Flags, x: Floats) -> Flags:
    flags[np.isnan(x)] = MISSING
    return flags
