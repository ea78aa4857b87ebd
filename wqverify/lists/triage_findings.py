"""What the tests of one signal find, as stretches of time in plain words; never a verdict on an analyzer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from wqverify.calculations.signal_quality import (
    FAIL,
    SUSPECT,
    Floats,
    Integers,
    Truths,
    flat_stretches,
    gap,
    noise,
    noise_vanishing,
    stretches,
    twins_disagree,
)
from wqverify.lists.triage_settings import TWIN_SD, Settings
from wqverify.trends.export import length

# Gravest first: a trend that tells nothing, one that tells something else, and what is only counted.
DEAD, CLAMPED, GAP, FLAT, BEYOND, TWIN, NOISE = (
    "dead trend",
    "clamped at range end",
    "gap",
    "flat",
    "beyond the range",
    "twins disagree",
    "noise vanished",
)
SPIKES, RATES, SHORT_GAPS, TOUCHES, CONSTANT = (
    "spikes",
    "fast changes",
    "short gaps",
    "touches a range end",
    "one value all along",
)
COUNTED = (SPIKES, RATES, TOUCHES, SHORT_GAPS, BEYOND)  # one finding of many rows or stretches
ORDER = (DEAD, CLAMPED, GAP, FLAT, BEYOND, TWIN, NOISE, CONSTANT, SPIKES, RATES, TOUCHES, SHORT_GAPS)

_INTERRUPTED = 3  # rows that part two stretches of one kind and still let them be one
_SHOWN = 5  # single rows that are named
_MOST_DIGITS = 6  # behind the decimal mark; what has more was not archived in steps
_FEWEST_TWINS = 3  # rows one after the other


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found of a channel from ``first`` to ``last``, in UTC seconds, on so many rows.

    ``at`` are the times of the gravest single rows. In more than one run the rows lie scattered between the
    two times, and ``longest`` is the longest of these runs: its times and rows. ``starts`` are those of short
    gaps. ``others`` are the channels of the export that stand still, or have the same gap, at the same time.
    """

    kind: str
    channel: str
    tag: str
    first: int
    last: int
    rows: int
    said: str
    at: tuple[int, ...] = ()
    others: tuple[str, ...] = ()
    runs: int = 1
    longest: tuple[int, int, int] | None = None
    starts: tuple[int, ...] = ()

    @property
    def seconds(self) -> int:
        return self.last - self.first


@dataclass(frozen=True, slots=True)
class NotTested:
    """A test that was not made on a channel, and why."""

    channel: str
    test: str
    because: str


@dataclass(frozen=True, eq=False, slots=True)
class Signal:
    """One channel on the rows that count: with a number, in no window; ``near`` are those beside one."""

    name: str
    tag: str
    unit: str
    times: Integers
    values: Floats
    settings: Settings
    near: Truths

    def shown(self, value: float) -> str:
        """Return a value in the digits in which the channel was archived, with its unit."""
        digits = -int(Decimal(repr(self.settings.step)).normalize().as_tuple().exponent)
        text = f"{value:.{digits}f}" if 0 <= digits <= _MOST_DIGITS and self.settings.step else f"{value:.6g}"
        return f"{text} {self.unit}".rstrip()

    def limit(self, value: float) -> str:
        """Return a limit or a difference, with the unit of the channel."""
        return f"{value:.4g} {self.unit}".rstrip()

    def finding(self, kind: str, first: int, last: int, said: str, at: Sequence[int] = ()) -> Finding:
        """Return a finding of rows, given by their numbers."""
        begin, end = int(self.times[first]), int(self.times[last])
        return Finding(kind, self.name, self.tag, begin, end, last - first + 1, said, tuple(at))


# ---------------------------------------------------------------- standing still


def still(signal: Signal) -> Iterator[Finding | NotTested]:
    """Give the stretches in which a channel stands still or at an end of its range."""
    told = signal.settings
    tolerance = told.step / 2
    if told.step == 0:
        value = signal.shown(signal.values[0])
        kind = DEAD if signal.tag else CONSTANT
        yield signal.finding(
            kind, 0, len(signal.values) - 1, f"shows {value} and nothing else{_end(signal, 0)}"
        )
        yield from _no_ends(signal)
        return
    flat: list[tuple[int, int]] = []
    if told.flat_s < told.usual_s:
        apart, asked = span(int(told.usual_s)), span(int(told.flat_s))
        yield NotTested(
            signal.name, FLAT, f"its rows lie {apart} apart, and {asked} was told for a flat line"
        )
    else:
        found = flat_stretches(signal.values, signal.times, told.flat_s, tolerance)
        flat = joined(signal, found, tolerance)
    for first, last in flat:
        end = _end(signal, last)
        kind = _kind_of(int(signal.times[last] - signal.times[first]), bool(end), told)
        yield signal.finding(kind, first, last, f"stands at {signal.shown(signal.values[last])}{end}")
    yield from _no_ends(signal)


def _kind_of(lasted: int, at_end: bool, told: Settings) -> str:
    if lasted >= told.dead_s:
        return DEAD
    return CLAMPED if at_end and lasted >= told.clamp_s else FLAT


def joined(signal: Signal, found: Sequence[tuple[int, int]], tolerance: float) -> list[tuple[int, int]]:
    """Return stretches; those at one value that a few rows interrupt are one: a dead sensor can flicker."""
    made: list[tuple[int, int]] = []
    for first, last in found:
        if made:
            before = made[-1][1]
            if (
                first - before - 1 <= _INTERRUPTED
                and abs(signal.values[first] - signal.values[before]) < tolerance
                and signal.times[first] - signal.times[before]
                <= (_INTERRUPTED + 1.5) * signal.settings.usual_s
            ):
                made[-1] = (made[-1][0], last)
                continue
        made.append((first, last))
    return made


def _end(signal: Signal, row: int) -> str:
    told, margin, value = signal.settings, signal.settings.step / 2, float(signal.values[row])
    if told.low is not None and value <= told.low + margin:
        return ", the low end of its range"
    if told.high is not None and value >= told.high - margin:
        return ", the high end of its range"
    return ""


def _no_ends(signal: Signal) -> Iterator[NotTested]:
    told = signal.settings
    missing = [name for name, value in (("low", told.low), ("high", told.high)) if value is None]
    if missing:
        yield NotTested(
            signal.name,
            CLAMPED,
            f"of its range the {' and the '.join(missing)} end {'is' if len(missing) == 1 else 'are'} not "
            f"known: no range of the register fits it and none was told",
        )


# ---------------------------------------------------------------- noise


def quiet(signal: Signal, standing: Sequence[Finding]) -> Iterator[Finding | NotTested]:
    """Give the stretches in which the restlessness of a channel vanished and it did not quite stand still."""
    told = signal.settings
    means, usual = noise(signal.values, signal.times, told.noise_s)
    if not usual > 0:
        because = "it usually stands still, so that there is no noise to vanish"
        if np.isnan(usual):
            because = f"the export is shorter than {length(int(told.noise_s))}"
        yield NotTested(signal.name, NOISE, because)
        return
    flags = noise_vanishing(signal.values, signal.times, told.noise_s, told.noise_share, told.noise_share)
    found = (flags == FAIL) & _whole_windows(signal)
    for one in standing:  # a window that ends within a window of a flat line is quiet because of it
        found &= ~((signal.times >= one.first) & (signal.times <= one.last + told.noise_s))
    for first, last in stretches(found):
        begin = int(np.searchsorted(signal.times, signal.times[first] - told.noise_s))
        least = signal.limit(float(means[first : last + 1].min()))
        said = f"moves {least} from row to row, where {usual:.4g} is usual"
        yield signal.finding(NOISE, begin, last, said)


def _whole_windows(signal: Signal) -> Truths:
    """The rows before which the window of noise lies within the record, and is at least half filled."""
    told = signal.settings
    start = np.searchsorted(signal.times, signal.times - told.noise_s, side="right")
    filled = np.arange(1, len(start) + 1) - start >= told.noise_s / max(told.usual_s, 1) / 2
    whole: Truths = filled & (signal.times - told.noise_s >= signal.times[0])
    return whole


# ---------------------------------------------------------------- gaps


def gaps(name: str, tag: str, times: Integers, settings: Settings, end: int) -> Iterator[Finding]:
    """Give long gaps between numbers one by one and count the short ones; ``end`` is that of the export."""
    usual = settings.usual_s
    if not usual:
        return
    apart = np.diff(times)
    long = np.flatnonzero(gap(times, settings.gap_s)[1:] == SUSPECT)
    for row in long:
        lost = max(round(apart[row] / usual) - 1, 1)
        said = f"no number for {span(int(apart[row]))}, where {lost} were due"
        yield Finding(GAP, name, tag, int(times[row]), int(times[row + 1]), int(lost), said)
    if end - times[-1] > settings.gap_s:
        lost = round((end - int(times[-1])) / usual)
        said = f"no number from then to the end of the export, where {lost} were due"
        yield Finding(GAP, name, tag, int(times[-1]), end, lost, said)
    short = np.flatnonzero((apart > 1.5 * usual) & (apart <= settings.gap_s))
    if len(short):
        lost = int(sum(round(step / usual) - 1 for step in apart[short]))
        greatest = short[np.argsort(-apart[short], kind="stable")][:_SHOWN]
        longest = span(int(apart[short].max()))
        said = f"{len(short)} gaps of up to {longest}, {lost} rows in all"
        if len(short) == 1:
            said = f"no number for {longest}, where {lost} {'was' if lost == 1 else 'were'} due"
        first, last = int(times[short[0]]), int(times[short[-1] + 1])
        at = tuple(int(times[row]) for row in greatest)
        starts = tuple(int(times[row]) for row in short)
        yield Finding(SHORT_GAPS, name, tag, first, last, lost, said, at, runs=len(short), starts=starts)


def span(seconds: int) -> str:
    """Return a length of time in the unit that reads best.

    >>> span(2469600), span(31200), span(2400), span(45)
    ('28.6 d', '8.7 h', '40 min', '45 s')
    """
    for size, unit in ((86400, "d"), (3600, "h")):
        if seconds >= 2 * size:
            return f"{seconds / size:.1f} {unit}"
    return f"{seconds / 60:.0f} min" if seconds >= 60 else f"{seconds} s"


# ---------------------------------------------------------------- twins


def twins(signal: Signal, twin: Signal) -> Iterator[Finding | NotTested]:
    """Give the stretches in which two channels of the same water lie too far apart."""
    other = _at_times_of(signal, twin)
    both = np.isfinite(other)
    if both.sum() < len(signal.values) / 2:
        because = f"{twin.name} has a number within half an interval of only {int(both.sum())} of its rows"
        yield NotTested(signal.name, TWIN, because)
        return
    apart = signal.values - other
    within, offset = signal.settings.twin_within, 0.0
    if within is None:
        offset = float(np.median(apart[both]))
        within = TWIN_SD * 1.4826 * float(np.median(np.abs(apart[both] - offset)))
        yield NotTested(
            signal.name,
            TWIN,
            f"what it may lie apart from {twin.name} was not told: {signal.limit(within)} about their usual "
            f"difference of {signal.limit(offset)} was taken from the two themselves, so that a difference "
            f"which is always there is not found",
        )
    if within <= 0:
        yield NotTested(
            signal.name, TWIN, f"it and {twin.name} hardly ever differ, so that no limit is known"
        )
        return
    flags = twins_disagree(signal.values, other, within, None, offset)
    for first, last in joined(signal, stretches((flags == SUSPECT) & ~signal.near), np.inf):
        if last - first + 1 < _FEWEST_TWINS:
            continue
        rows = slice(first, last + 1)
        most = float(np.nanmax(np.abs(apart[rows] - offset)))
        usual = " from their usual difference" if offset else ""
        said = (
            f"lies up to {signal.limit(most)} apart from {twin.name}{usual}, allowed {signal.limit(within)}"
        )
        yield signal.finding(TWIN, first, last, said)


def _at_times_of(signal: Signal, twin: Signal) -> Floats:
    """The twin's number nearest to each row, within half an interval; nan where there is none."""
    right = np.clip(np.searchsorted(twin.times, signal.times), 1, len(twin.times) - 1)
    left = right - 1
    nearer = np.where(signal.times - twin.times[left] <= twin.times[right] - signal.times, left, right)
    near = np.abs(twin.times[nearer] - signal.times) <= signal.settings.usual_s / 2
    return np.where(near, twin.values[nearer], np.nan)
