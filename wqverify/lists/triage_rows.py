"""Rows of one signal that are found one by one: spikes, fast changes, what reaches an end of a range."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from wqverify.calculations.signal_quality import (
    FAIL,
    SUSPECT,
    Floats,
    Truths,
    clamped,
    gross_range,
    rate_of_change,
    spike,
    stretches,
)
from wqverify.lists.triage_findings import (
    BEYOND,
    CLAMPED,
    RATES,
    SPIKES,
    TOUCHES,
    Finding,
    NotTested,
    Signal,
    joined,
)
from wqverify.lists.triage_windows import BESIDE_S

_SHOWN = 5  # single rows that are named


def at_ends(signal: Signal, standing: Sequence[Finding]) -> Iterator[Finding | NotTested]:
    """Give stands at an end that are not told as a flat line already, and count the short ones."""
    told = signal.settings
    if told.step == 0:
        return
    margin = told.step / 2
    low = -np.inf if told.low is None else told.low
    high = np.inf if told.high is None else told.high
    flags = clamped(signal.values, signal.times, low, high, told.clamp_s, margin)
    covered = np.zeros(len(flags), bool)
    for one in standing:
        covered |= (signal.times >= one.first) & (signal.times <= one.last)
    short: list[tuple[int, int]] = []
    for is_low in (True, False):
        at_end = (flags >= SUSPECT) & ((signal.values <= low + margin) == is_low)
        for first, last in joined(signal, stretches(at_end), np.inf):
            if covered[first : last + 1].all():
                continue
            if (
                signal.times[last] - signal.times[first] >= told.clamp_s
                and (flags[first : last + 1] == FAIL).any()
            ):
                yield signal.finding(CLAMPED, first, last, f"stands at {_name_of_end(signal, is_low)}")
            elif not signal.near[first : last + 1].all():
                short.append((first, last))
    if short:
        rows = sum(last - first + 1 for first, last in short)
        ends = (min(first for first, _last in short), max(last for _first, last in short))
        times = f"{len(short)} times, on {rows} rows in all" if len(short) > 1 else f"once, on {rows} rows"
        said = f"reaches an end of its range {times}"
        at = [int(signal.times[first]) for first, _last in sorted(short, key=lambda one: one[0] - one[1])]
        yield replace(signal.finding(TOUCHES, *ends, said, at[:_SHOWN]), rows=rows, runs=len(short))
    yield from _beyond(signal, low - margin, high + margin)


def _beyond(signal: Signal, low: float, high: float) -> Iterator[Finding | NotTested]:
    found = gross_range(signal.values, (low, high)) == FAIL
    size = np.maximum(low - signal.values, signal.values - high)

    def said(rows: str, _taken: Truths) -> str:
        return f"{rows} beyond its range, {_range(signal)}"

    yield from counted(signal, BEYOND, found, size, said, signal.near)


def _name_of_end(signal: Signal, is_low: bool) -> str:
    value = signal.settings.low if is_low else signal.settings.high
    return f"{signal.limit(value or 0.0)}, the {'low' if is_low else 'high'} end of its range"


def _range(signal: Signal) -> str:
    low, high = signal.settings.low, signal.settings.high
    if low is None or high is None:
        return f"at least {low:g}" if low is not None else f"at most {high:g}"
    return f"{low:g} to {signal.limit(high)}"


def single_rows(signal: Signal) -> Iterator[Finding | NotTested]:
    """Give spikes and fast changes, counted, with the greatest named."""
    still = "it stands still on 99 of 100 rows, so that no"
    if signal.settings.spike is None:
        yield NotTested(signal.name, SPIKES, f"{still} size of a spike is known")
    else:
        yield from _spikes(signal, signal.settings.spike)
    if signal.settings.rate_per_s is None:
        yield NotTested(signal.name, RATES, f"{still} usual rate is known")
    else:
        yield from _fast_changes(signal, signal.settings.rate_per_s)


def _spikes(signal: Signal, limit: float) -> Iterator[Finding | NotTested]:
    x = signal.values
    size = np.zeros(len(x))
    size[1:-1] = np.minimum(np.abs(np.diff(x)[:-1]), np.abs(np.diff(x)[1:]))
    found = spike(x, limit, differential=True) == SUSPECT

    def said(rows: str, taken: Truths) -> str:
        return f"{rows} more than {signal.limit(limit)} from both neighbours{_upward(x, taken)}"

    yield from counted(signal, SPIKES, found, size, said, signal.near)


def _fast_changes(signal: Signal, fastest: float) -> Iterator[Finding | NotTested]:
    """A change from a row beside a window is beside it too: it is the way back."""
    rate = np.zeros(len(signal.values))
    rate[1:] = np.abs(np.diff(signal.values) / np.maximum(np.diff(signal.times), 1)) * 3600
    found = rate_of_change(signal.values, signal.times, fastest) == SUSPECT
    near = signal.near.copy()
    near[1:] |= signal.near[:-1]
    per_h = f"{fastest * 3600:.4g} {signal.unit}".rstrip()

    def said(rows: str, _taken: Truths) -> str:
        return f"{rows} that changed by more than {per_h} per hour"

    yield from counted(signal, RATES, found, rate, said, near)


def _upward(x: Floats, found: Truths) -> str:
    rows = np.flatnonzero(found)
    up = int((x[rows] > x[rows - 1]).sum()) if len(rows) else 0
    if 0 < up < len(rows):
        return f", {up} of them upward"
    return ", upward" if up else ", downward"


def counted(
    signal: Signal, kind: str, found: Truths, size: Floats, said: Callable[[str, Truths], str], near: Truths
) -> Iterator[Finding | NotTested]:
    """Give what was found row by row as one finding with its runs; what is beside a window is counted."""
    if beside := int((found & near).sum()):
        rows_ = f"{beside} row{'s' if beside > 1 else ''}"
        where = f"within {BESIDE_S // 60} min of a window or flag, or next to it"
        yield NotTested(signal.name, kind, f"{rows_} {where}, would count otherwise")
    taken = found & ~near
    rows = np.flatnonzero(taken)
    if not len(rows):
        return
    greatest = rows[np.argsort(-size[rows], kind="stable")][:_SHOWN]
    runs = stretches(taken)
    words = f"{len(rows)} row{'s' if len(rows) > 1 else ''}"
    words += f" in {len(runs)} runs" if 1 < len(runs) < len(rows) else ""
    at = [int(signal.times[row]) for row in greatest]
    one = signal.finding(kind, int(rows[0]), int(rows[-1]), said(words, taken), at)
    first, last = max(runs, key=lambda run: run[1] - run[0])
    ends = int(signal.times[first]), int(signal.times[last])
    longest = (*ends, last - first + 1) if last > first and len(runs) > 1 else None
    yield replace(one, rows=len(rows), runs=len(runs), longest=longest)
