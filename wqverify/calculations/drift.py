"""Error models of recorded values: how an error found at a check lies over the time before it, and by level.

An error is reading minus reference throughout (a high reading is positive); the fouling and drift figures of
USGS TM 1-D3 have the opposite sign and are turned once, by ``from_correction``. A level is a *displayed* one.
Single values are computed in fractions, exactly; a series is computed in floats and rounded to a place, and
what floats cannot round safely is computed exactly: each float returned is the one nearest to its decimal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from wqverify.errors import CorrectTheEntry

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Seconds = NDArray[np.int64]

TimeModel = Literal["step", "linear", "worst case"]
LevelModel = Literal["offset", "gain", "points"]
TIME_MODELS: tuple[TimeModel, ...] = ("step", "linear", "worst case")
MOST_POINTS = 3
_UNIT = 2.0**-53  # as a share, the most one operation on floats is off: Higham 2002, 2.2, from memory


@dataclass(frozen=True, slots=True)
class Point:
    """An error found at a displayed level, both in the unit of the analyzer."""

    level: Decimal
    error: Decimal


@dataclass(frozen=True, slots=True)
class Stage:
    """One part of an error (fouling, drift): how large it is at which level, at the end and at the start.

    ``start`` empty: none was left at the start. Raises CorrectTheEntry for points a model cannot take.
    """

    level_model: LevelModel
    end: tuple[Point, ...]
    start: tuple[Point, ...] = ()

    def __post_init__(self) -> None:
        _insist_on_points(self.level_model, self.end)
        if self.start:
            _insist_on_points(self.level_model, self.start)


@dataclass(frozen=True, slots=True)
class Model:
    """An error in time and level: its stages in their order, each taken off the value the one before left.

    Seconds since 1970 UTC: ``since`` the last good check, ``full`` the check that found the whole error,
    ``step_at`` when it came at once. Raises CorrectTheEntry where those do not follow one another.
    """

    time_model: TimeModel
    since: int
    full: int
    stages: tuple[Stage, ...]
    step_at: int | None = None

    def __post_init__(self) -> None:
        if self.full <= self.since:
            raise CorrectTheEntry(
                "The failed check is not after the check that the error is counted from; correct one.",
                found=f"{self.full - self.since} s apart",
                expected="more than 0 s",
            )
        if self.time_model == "step" and self.step_at is None:
            raise CorrectTheEntry(
                "A step needs the time at which it came; enter it, or choose linear or worst case.",
                found="no time",
                expected="the time of the event",
            )
        if self.step_at is not None and not self.since <= self.step_at <= self.full:
            raise CorrectTheEntry(
                "The step lies outside the time from the last good check to the failed one; correct it.",
                found=f"{self.step_at}",
                expected=f"{self.since} to {self.full}",
            )


def _insist_on_points(level_model: LevelModel, points: tuple[Point, ...]) -> None:
    levels = [point.level for point in points]
    few, many = (2, MOST_POINTS) if level_model == "points" else (1, 1)
    if not few <= len(points) <= many:
        wanted = f"{few} to {many} points" if level_model == "points" else "one point"
        raise CorrectTheEntry(
            f"The model {level_model!r} takes {wanted}, and there are {len(points)}; keep the ones near the "
            f"level that was recorded, or choose another model.",
            found=f"{len(points)} points",
            expected=wanted,
        )
    if len(set(levels)) < len(levels):
        raise CorrectTheEntry(
            "Two errors are given at one level; a line between them has no slope. Keep one of them.",
            found=f"{levels[0]} twice" if len(levels) == 2 else "equal levels",
            expected="different levels",
        )
    if level_model == "gain" and levels[0] == 0:
        raise CorrectTheEntry(
            "A gain cannot be found from an error at level 0; choose offset, or an error at a higher level.",
            found="level 0",
            expected="a level other than 0",
        )


def from_correction(correction: Decimal) -> Decimal:
    """Return an error, reading minus reference, from a correction or a drift error, reference minus reading.

    Equation: e = -c, in any one unit. Source: sign convention of USGS TM 1-D3 (2006) against that of the
    GUM and the VIM 2.16.

    >>> from_correction(Decimal("0.28"))
    Decimal('-0.28')
    """
    return -correction + 0


# ---------------------------------------------------------------- single values, exactly


def share_at(model: Model, at: int) -> Fraction:
    """Return how much of the change of an error is there at a time, 0 to 1.

    Equation: linear f = (t - t0)/(t1 - t0) between the last good check t0 and the failed one t1, 0 before and
    1 after; step 0 before the event and 1 from it on; worst case 1 all the time. ``at`` in seconds since 1970
    UTC. Source: USGS TM 1-D3 (2006), correction in time; step and worst case common practice, no source.

    >>> fortnight = Model("linear", 0, 14 * 86400, (Stage("offset", (Point(Decimal(7), Decimal(1)),)),))
    >>> share_at(fortnight, 5 * 86400 + 21600)
    Fraction(3, 8)
    """
    if model.time_model == "worst case":
        return Fraction(1)
    if model.time_model == "step":
        assert model.step_at is not None
        return Fraction(int(at >= model.step_at))
    return min(Fraction(1), max(Fraction(0), Fraction(at - model.since, model.full - model.since)))


def error_at(level_model: LevelModel, points: Sequence[Point], level: Fraction | Decimal) -> Fraction:
    """Return the error at a displayed level.

    Equation: offset e(x) = e1; gain e(x) = e1 x/x1; points e(x) = e1 + (e2 - e1)(x - x1)/(x2 - x1) between
    neighbouring points, constant outside them. Level and errors in the unit of the analyzer; no point gives
    0. Source: USGS TM 1-D3 (2006), up to three points, as public code has it; e(x) by this project's
    convention with the displays of the check as x.

    >>> two = (Point(Decimal("7.01"), Decimal("0.01")), Point(Decimal("11.8"), Decimal("1.8")))
    >>> round(float(error_at("points", two, Decimal("7.12"))), 6)
    0.051106
    """
    if not points:
        return Fraction(0)
    x = Fraction(level)
    if level_model == "offset":
        return Fraction(points[0].error)
    if level_model == "gain":
        return Fraction(points[0].error) * x / Fraction(points[0].level)
    ordered = sorted(points, key=lambda point: point.level)
    if x <= Fraction(ordered[0].level):
        return Fraction(ordered[0].error)
    for lower, upper in pairwise(ordered):
        x1, x2, e1, e2 = map(Fraction, (lower.level, upper.level, lower.error, upper.error))
        if x <= x2:
            return e1 + (e2 - e1) * (x - x1) / (x2 - x1)
    return Fraction(ordered[-1].error)


def corrected_value(model: Model, at: int, reading: Decimal) -> Fraction:
    """Return one recorded value less its error, exactly.

    Equation: for each stage in order y := y - (e0(y) + (e1(y) - e0(y)) f), f of ``share_at``; fouling first
    on the recorded value, drift on what that leaves. ``at`` in seconds since 1970 UTC, reading and result in
    the unit of the analyzer. Source: USGS TM 1-D3 (2006); order as in public code.

    >>> high = Model("linear", 0, 30, (Stage("offset", (Point(Decimal(0), Decimal("0.06")),)),))
    >>> float(corrected_value(high, 10, Decimal("0.31")))
    0.29
    """
    f, y = share_at(model, at), Fraction(reading)
    for stage in model.stages:
        before = error_at(stage.level_model, stage.start, y)
        y -= before + (error_at(stage.level_model, stage.end, y) - before) * f
    return y


def rounded(value: Fraction, places: int) -> Decimal:
    """Return a fraction as a decimal with this many places, half to even.

    Equation: rounding half to even. Source: ISO 80000-1:2009, annex B, rule A.

    >>> rounded(Fraction(1, 8), 2), rounded(Fraction(3, 8), 2)
    (Decimal('0.12'), Decimal('0.38'))
    """
    return Decimal(round(value * 10**places)).scaleb(-places)


def unknown_step_sd(before: float, after: float, f: float) -> float:
    """Return the standard deviation of an error that came at once, at a time that nobody knows.

    Equation: sd = |e1 - e0| sqrt(f (1 - f)): it is e1 with probability f and e0 otherwise, f of ``share_at``
    for a straight line, which is its mean. Errors in one unit, f from 0 to 1. Source: variance of a choice
    between two values; the values themselves are the two ends, never mean and sd.

    >>> round(unknown_step_sd(0.0, 0.10, 1 / 3), 5)
    0.04714
    """
    return float(abs(after - before) * (f * (1 - f)) ** 0.5)


# ---------------------------------------------------------------- a series


def shares(model: Model, times: Seconds) -> Floats:
    """Return ``share_at`` for many times at once, as floats.

    Equation, units and source as ``share_at``.

    >>> import numpy as np
    >>> line = Model("linear", 0, 40, (Stage("offset", (Point(Decimal(7), Decimal(1)),)),))
    >>> shares(line, np.array([-5, 10, 50])).tolist()
    [0.0, 0.25, 1.0]
    """
    import numpy as np

    if model.time_model == "worst case":
        return np.ones(len(times))
    if model.time_model == "step":
        assert model.step_at is not None
        return np.asarray(times >= model.step_at, dtype=np.float64)
    return np.clip((times - model.since) / (model.full - model.since), 0.0, 1.0)


def errors_at(level_model: LevelModel, points: Sequence[Point], levels: Floats) -> Floats:
    """Return ``error_at`` for many displayed levels at once, as floats.

    Equation, units and source as ``error_at``.

    >>> import numpy as np
    >>> errors_at("gain", (Point(Decimal(10), Decimal(1)),), np.array([1.0, 20.0])).tolist()
    [0.1, 2.0]
    """
    import numpy as np

    if not points:
        return np.zeros(len(levels))
    ordered = sorted(points, key=lambda point: point.level)
    x = [float(point.level) for point in ordered]
    e = [float(point.error) for point in ordered]
    if level_model == "gain":
        return levels * (e[0] / x[0])
    return np.interp(levels, x, e)  # constant outside; a single point is an offset


def corrected_series(model: Model, times: Seconds, values: Floats, places: int) -> Floats:
    """Return recorded values less their error, rounded half to even to a number of decimal places.

    Equation as ``corrected_value``. ``times`` in seconds since 1970 UTC; values in the unit of the analyzer,
    each the float nearest to what was recorded, NaN where nothing was (and stays NaN). Each float returned is
    the one nearest to the exact decimal, so that comparing it with a limit decides as decimals do. ``places``
    0 to 9. Source as ``corrected_value``; rounding ISO 80000-1:2009, annex B, rule A.

    >>> import numpy as np
    >>> high = Model("linear", 0, 30, (Stage("offset", (Point(Decimal(0), Decimal("0.10")),)),))
    >>> corrected_series(high, np.array([10, 20]), np.array([0.28, 0.25]), 4).tolist()
    [0.2467, 0.1833]
    """
    import numpy as np

    f, y = shares(model, times), values.astype(np.float64)
    off = _UNIT * np.abs(y)  # the most y may be off
    for stage in model.stages:
        before, after = (errors_at(stage.level_model, ends, y) for ends in (stage.start, stage.end))
        both = [_most_off(stage.level_model, ends, y, off) for ends in (stage.start, stage.end)]
        off = off + both[0] + both[0] + both[1] + 5 * _UNIT * (np.abs(before) + np.abs(after))
        y = y - (before + (after - before) * f)
        off += _UNIT * np.abs(y)
    scaled = y * 10.0**places
    found = np.asarray(np.rint(scaled) / 10.0**places + 0.0, dtype=np.float64)
    to_a_tie = np.abs(np.abs(scaled - np.floor(scaled)) - 0.5)
    bound = 10.0**places * off + _UNIT * np.abs(scaled)
    for row in np.flatnonzero(to_a_tie <= 2 * bound):  # twice a bound of first order
        exact = corrected_value(model, int(times[row]), Decimal(repr(float(values[row]))))
        found[row] = float(rounded(exact, places)) + 0.0
    return found


def _most_off(level_model: LevelModel, points: Sequence[Point], levels: Floats, off: Floats) -> Floats:
    """The most ``errors_at`` is off at levels that may be off themselves, to first order.

    An error changes with the level by at most the steepest slope L. Each operation adds its unit: between two
    points that comes to 14 of the greatest error and 5 of L times the level, and to less for the others.
    """
    import numpy as np

    if not points:
        return np.zeros(len(levels))
    x, e = ([Fraction(n) for n in told] for told in zip(*((p.level, p.error) for p in points), strict=True))
    steepest = float(abs(e[0] / x[0])) if level_model == "gain" else 0.0
    ordered = sorted(zip(x, e, strict=True))
    steepest = max(
        [float(abs((e2 - e1) / (x2 - x1))) for (x1, e1), (x2, e2) in pairwise(ordered)], default=steepest
    )
    far, most = float(max(map(abs, x))), float(max(map(abs, e)))
    return steepest * off + 16 * _UNIT * (most + steepest * np.maximum(far, np.abs(levels)))
