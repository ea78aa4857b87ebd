"""With which limits one channel is gone through: as told, from the register, or from the channel itself."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from wqverify.calculations.signal_quality import Floats, Integers, step
from wqverify.terms import Analyzer
from wqverify.trends.options import TriageOptions

TOLD, REGISTER, PRACTICE = "told", "register", "common practice, no source"

# All common practice, no source: what is not told is taken from the channel itself by these.
FLAT_H, DEAD_H = 4.0, 12.0  # the same value for so long is worth a look, and for so long a dead trend
FLAT_RUNS, DEAD_RUNS = 2.0, 4.0  # or so many times what 99 of 100 of its repeats last, if that is longer
GAP_H = 4.0  # a gap that is a finding of its own; shorter ones are counted
CLAMP_H = 1.0
APART = 5.0  # a spike or rate: so many times what 99 of 100 rows do not exceed
NOISE_H, NOISE_ROWS = 12.0, 48  # the window of noise: the longer of the two
NOISE_SHARE = 0.1
TWIN_SD = 6.0  # twins: so many robust standard deviations of what they usually lie apart
FEWEST = 20  # numbers of a channel that is tested at all
_SHARE = 0.99


@dataclass(frozen=True, slots=True)
class Setting:
    """One limit as used: its value, unit, and where it is from."""

    name: str
    value: float
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class Settings:
    """The limits of one channel; a value that is None was not told and cannot be had from the channel."""

    step: float
    usual_s: float
    flat_s: float
    dead_s: float
    clamp_s: float
    gap_s: float
    low: float | None
    high: float | None
    spike: float | None
    rate_per_s: float | None
    noise_s: float
    noise_share: float
    twin: str
    twin_within: float | None
    shown: tuple[Setting, ...]


def settings_of(
    times: Integers, values: Floats, unit: str, told: TriageOptions, analyzer: Analyzer | None
) -> Settings:
    """Return the limits of a channel; ``times`` and ``values`` are its numbers, at least ``FEWEST``."""
    steps = np.diff(times)
    usual = float(np.median(steps))
    shown: list[Setting] = []

    def taken(name: str, told_value: float | None, otherwise: float | None, unit: str) -> float | None:
        value, source = (otherwise, PRACTICE) if told_value is None else (told_value, TOLD)
        if value is not None:
            shown.append(Setting(name, value, unit, source))
        return value

    def hours(name: str, told_h: float | None, otherwise_h: float) -> float:
        return 3600 * (taken(name, told_h, max(otherwise_h, 2 * usual / 3600), "h") or otherwise_h)

    resolution = taken("step", told.step, step(values), unit) or 0.0
    repeats_h = _usual_repeat(times, values) / 3600
    low, high = ends(told, analyzer, unit, shown)
    moved = np.abs(np.diff(values))
    stands_out = _times_usual(np.minimum(moved[:-1], moved[1:]), resolution)
    rate = _times_usual(moved / np.maximum(steps, 1) * 3600, 0.0)
    flat_s = hours("flat_h", told.flat_h, max(FLAT_H, FLAT_RUNS * repeats_h))
    dead_s = hours("dead_h", told.dead_h, max(DEAD_H, DEAD_RUNS * repeats_h))
    spike = taken("spike", told.spike, stands_out, unit)
    rate = taken("rate_per_h", told.rate_per_h, rate, f"{unit}/h" if unit else "1/h")
    return Settings(
        resolution,
        usual,
        min(flat_s, dead_s),
        dead_s,
        hours("clamp_h", told.clamp_h, CLAMP_H),
        hours("gap_h", told.gap_h, GAP_H),
        low,
        high,
        spike,
        None if rate is None else rate / 3600,
        hours("noise_h", told.noise_h, max(NOISE_H, NOISE_ROWS * usual / 3600)),
        taken("noise_share", told.noise_share, NOISE_SHARE, "of the usual") or NOISE_SHARE,
        told.twin,
        told.twin_within,
        tuple(shown),
    )


def _usual_repeat(times: Integers, values: Floats) -> float:
    """How long 99 of 100 repeats of one value last, in s."""
    edges = np.flatnonzero(np.concatenate(([True], np.diff(values) != 0, [True])))
    return float(np.quantile(times[edges[1:] - 1] - times[edges[:-1]], _SHARE))


def _times_usual(found: Floats, least: float) -> float | None:
    """Several times what 99 of 100 rows do not exceed; None where 99 of 100 stand still."""
    usual = float(np.quantile(found, _SHARE)) if len(found) else 0.0
    return APART * max(usual, least) if usual > 0 else None


def ends(
    told: TriageOptions, analyzer: Analyzer | None, unit: str, shown: list[Setting]
) -> tuple[float | None, float | None]:
    """Return where the signal is cut off: as told, or the narrowest range of the register in its unit."""
    own_unit = analyzer is None or not unit or unit.casefold() == analyzer.unit.casefold()
    ranges = list(_ranges(analyzer)) if analyzer is not None and own_unit else []
    found: list[float | None] = []
    for name, value, known, pick in (
        ("low", told.low, [low for low, _high in ranges], max),
        ("high", told.high, [high for _low, high in ranges], min),
    ):
        numbers = [float(one) for one in known if one is not None]
        taken = value if value is not None else _picked(pick, numbers)
        if taken is not None:
            shown.append(Setting(name, taken, unit, TOLD if value is not None else REGISTER))
        found.append(taken)
    return found[0], found[1]


def _picked(pick: object, numbers: Iterable[float]) -> float | None:
    known = list(numbers)
    return (max(known) if pick is max else min(known)) if known else None


def _ranges(analyzer: Analyzer) -> Iterator[tuple[Decimal | None, Decimal | None]]:
    yield analyzer.low, analyzer.high
    for hop in analyzer.hops:
        if hop.unit.casefold() == analyzer.unit.casefold():
            yield hop.low, hop.high
