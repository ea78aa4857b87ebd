"""The hand calculations of a doubt: each figure that is divided or taken off stands there, with its unit.

A person with a pocket calculator reaches the printed value from what is printed; from line to line figures
keep ``BETWEEN`` places more than the value they lead to.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from zoneinfo import ZoneInfo

from wqverify.calculations.drift import (
    Point,
    Stage,
    corrected_value,
    error_at,
    rounded,
    share_at,
    unknown_step_sd,
)
from wqverify.calculations.uncertainty import round_up
from wqverify.procedures.doubt_case import Case
from wqverify.procedures.doubt_decisions import Decision, changed
from wqverify.procedures.doubt_errors import Found
from wqverify.procedures.doubt_series import SHIFTS
from wqverify.procedures.doubt_shown import USGS
from wqverify.procedures.workings import answer, signed
from wqverify.terms import Working

BETWEEN = 4
PLACES_OF_F = 9


def workings(case: Case, found: Sequence[Decision]) -> Iterator[Working]:
    """Give fouling and drift, and one value corrected by the stated model, as a hand does it."""
    unit = case.given.analyzer.unit
    for error in case.taken:
        yield from _of_error(error, unit)
    row = _example(case, found)
    if row is not None:
        yield from _of_value(case, row, unit)
    for one in found:
        if one.recorded is not None and one.recorded.unit == "%":
            yield from _of_percent(case, one)


def _of_error(one: Found, unit: str) -> Iterator[Working]:
    if one.fouling is None or one.cleaned is None:
        return
    yield Working(
        f"Fouling at {one.level:f}",
        "F = e found − e cleaned; e reading minus reference",
        f"{signed(one.error)} − {signed(one.cleaned)}",
        answer(f"{one.fouling:f}", unit, ""),
        f"{USGS}; there with the opposite sign, as what is added",
    )
    if one.level:
        share = (100 * one.fouling / one.level).quantize(Decimal("0.01"))
        yield Working(
            f"Fouling at {one.level:f} in percent",
            "100 F / R, R the reading as found",
            f"100 × {signed(one.fouling)} / {one.level:f}",
            f"{share:f} %",
            USGS,
        )
    clean = one.level - one.fouling
    if clean:
        share = (100 * one.drift / clean).quantize(Decimal("0.01"))
        yield Working(
            f"Drift at {clean:f} in percent",
            "100 e cleaned / R, R the reading of the clean sensor",
            f"100 × {signed(one.drift)} / {clean:f}",
            f"{share:f} %",
            f"{USGS}; another code divides by the fouling-corrected value",
        )


def _example(case: Case, found: Sequence[Decision]) -> int | None:
    """Return the row that is worked out: the first that decides otherwise, else the middle of the period."""
    if case.recorded is None or (case.stated, 0) not in case.models:
        return None
    for one in found:
        rows = changed(case, one)
        if rows:
            return rows[0].row
    times = case.recorded.times.tolist()
    inside = [
        row
        for row, at in enumerate(times)
        if case.since <= at <= case.until and case.recorded.texts[row] is not None
    ]
    return inside[len(inside) // 2] if inside else None


# ---------------------------------------------------------------- one value


def _of_value(case: Case, row: int, unit: str) -> Iterator[Working]:
    """Work one value out: how much of the error was there, its size at what was shown, what is left."""
    assert case.recorded is not None
    at, reading = int(case.recorded.times[row]), case.recorded.texts[row]
    assert reading is not None
    model, clock = case.models[case.stated, 0], _clock(case, at)
    f = share_at(model, at)
    yield _part(case, at, f)
    y, shown = Fraction(reading), f"{reading:f}"
    names = ("fouling", "drift") if len(model.stages) > 1 else ("error",)
    for n, (stage, name) in enumerate(zip(model.stages, names, strict=True), 1):
        first, last = (_size(case, points, stage, y) for points in (stage.start, stage.end))
        for which, points, size in (("the last good", stage.start, first), ("the failed", stage.end, last)):
            if points and stage.level_model != "offset":
                yield _by_level(case, stage, points, f"{name} at {which} check", shown, size)
        y -= _taken(stage, y, f)
        whole = n == len(model.stages)
        places = case.decimals + (0 if whole else BETWEEN)
        left = f"{rounded(y, places):f}"
        part = f"{first} + ({last} − {first}) × {_f(f)}" if stage.start else f"{last} × {_f(f)}"
        yield Working(
            f"Recorded {reading:f} {unit}, {clock}, {'corrected' if whole else f'without the {name}'}",
            "y = x − (e0 + (e1 − e0) f), e0 at the last good check, e1 at the failed one, both for x"
            if stage.start
            else "y = x − e1 f, e1 at the failed check for x; at the last good check there was none",
            f"{shown} {unit} − ({part}) {unit}",
            f"{left} {unit}",
            "error reading minus reference",
        )
        shown = left
    yield from _sure(case, row, unit)
    if case.stated == "linear":
        yield _either_end(case, row, f, unit)


def _part(case: Case, at: int, f: Fraction) -> Working:
    model = case.models[case.stated, 0]
    here, begun, full = (_clock(case, when) for when in (at, model.since, model.full))
    label = f"Part of the error that was there, {here}"
    if case.stated == "linear" and 0 < f < 1:
        return Working(
            label,
            "f = (t − t0) / (t1 − t0), t0 the last good check, t1 the failed one",
            f"({here} − {begun}) / ({full} − {begun}) = {at - model.since} s / {model.full - model.since} s",
            _f(f),
            f"{USGS}, correction in time",
        )
    if case.stated == "linear":
        side = f"after the failed check, {full}" if f else f"not after {begun}"
        return Working(label, "f = 0 up to t0, 1 from t1 on", f"{here} is {side}", _f(f), USGS)
    if model.step_at is not None:
        side = "not before" if f else "before"
        said = f"{here} is {side} {_clock(case, model.step_at)}"
        return Working(label, "f = 0 before the step and 1 from it on", said, _f(f), _COMMON)
    return Working(label, "f = 1 all the time in the worst case", "worst case", _f(f), _COMMON)


_COMMON = "common practice, no source"


def _by_level(case: Case, stage: Stage, points: Sequence[Point], what: str, shown: str, size: str) -> Working:
    """Show the size of an error at a displayed value: which figures are divided by which."""
    unit = case.given.analyzer.unit
    label = f"{what[:1].upper()}{what[1:]}, where {shown} {unit} is shown"
    if stage.level_model == "gain":
        one = points[0]
        return Working(
            label,
            "e(x) = e x / x1, e found where x1 was shown",
            f"{signed(one.error)} {unit} × {shown} {unit} / {one.level:f} {unit}",
            f"{size} {unit}",
            "in proportion to the value",
        )
    low, high = _around(points, Decimal(shown))
    if low is high:
        return Working(
            label, "constant outside the points", f"found at {low.level:f} {unit}", f"{size} {unit}", _LINE
        )
    put_in = (
        f"{signed(low.error)} {unit} + ({signed(high.error)} − {signed(low.error)}) {unit} × "
        f"({shown} − {low.level:f}) {unit} / ({high.level:f} − {low.level:f}) {unit}"
    )
    return Working(label, "e(x) = ea + (eb − ea)(x − xa) / (xb − xa)", put_in, f"{size} {unit}", _LINE)


_LINE = "a line between the points it was found at"


def _around(points: Sequence[Point], x: Decimal) -> tuple[Point, Point]:
    """Return the points on both sides of a displayed value; twice the same where it lies outside them."""
    ordered = sorted(points, key=lambda point: point.level)
    below = [point for point in ordered if point.level < x]
    above = [point for point in ordered if point.level >= x]
    return (below[-1] if below else above[0]), (above[0] if above else below[-1])


def _size(case: Case, points: Sequence[Point], stage: Stage, y: Fraction) -> str:
    """The error of one end at a value, as it is put into the next line."""
    if stage.level_model == "offset" and points:
        return signed(points[0].error)
    return signed(rounded(error_at(stage.level_model, points, y), case.decimals + BETWEEN))


def _taken(stage: Stage, y: Fraction, f: Fraction) -> Fraction:
    before, after = (error_at(stage.level_model, points, y) for points in (stage.start, stage.end))
    return before + (after - before) * f


def _sure(case: Case, row: int, unit: str) -> Iterator[Working]:
    """Give U of the corrected value: half of what it moves where the error is less and plus its own U."""
    low, _, high = (float(case.corrected[case.stated, shift][row]) for shift in SHIFTS)
    half = abs(high - low) / 2
    if half:
        of = " and ".join(one.expanded for one in case.taken if one.expanded)
        larger, smaller = case.text(max(low, high)), case.text(min(low, high))
        yield Working(
            "U of this value",
            "half of what it moves between an error less and plus its own U",
            f"({larger} {unit} − {smaller} {unit}) / 2",
            f"{(Decimal(larger) - Decimal(smaller)) / 2:f} {unit}, rounded up {round_up(half)} {unit}",
            f"U of the error found: {of} {unit}",
        )


def _either_end(case: Case, row: int, share: Fraction, unit: str) -> Working:
    """Give both ends of a value: an error that came at once leaves one of them."""
    assert case.recorded is not None
    model, f = case.models[case.stated, 0], float(share)
    reading = case.recorded.texts[row] or Decimal(0)
    ends = [corrected_value(model, when, reading) for when in (model.since, model.full)]
    left, worst = (case.text(float(end)) for end in ends)
    sd = unknown_step_sd(float(ends[0]), float(ends[1]), f)
    clock = _clock(case, int(case.recorded.times[row]))
    return Working(
        f"The same value, {clock}, if the error came at once and nobody knows when",
        "the same lines with f = 0 (probability 1 − f) or f = 1 (probability f); standard deviation "
        "|difference| √(f (1 − f))",
        f"{left} {unit} with {1 - f:.3f}, or {worst} {unit} with {f:.3f}",
        f"one of the two ends; standard deviation {case.text(sd)} {unit}",
        "probability of a step at a uniformly likely time",
    )


def _f(f: Fraction) -> str:
    return f"{rounded(f, PLACES_OF_F).normalize():f}"


def _clock(case: Case, second: int) -> str:
    """A moment by the plant's clock, with its offset where the clocks were changed within the period."""
    zone = ZoneInfo(case.given.site.time_zone)
    at, begun, full = (datetime.fromtimestamp(s, zone) for s in (second, case.start, case.full))
    offset = f" {at.isoformat()[-6:]}" if begun.utcoffset() != full.utcoffset() else ""
    return f"{at:%Y-%m-%d %H:%M}{f':{at:%S}' if at.second else ''}{offset}"


# ---------------------------------------------------------------- counts


def _of_percent(case: Case, one: Decision) -> Iterator[Working]:
    said = one.corrected.get((case.stated, 0))
    for words, what in (("as recorded", one.recorded), (f"corrected, {case.stated}", said)):
        if what is not None:
            above = len(what.bad)
            yield Working(
                f"{one.title}: {words}",
                "p = 100 (n − above) / n",
                f"100 × ({what.counted} − {above}) / {what.counted}",
                f"{what.quantity.quantize(Decimal('0.01')):f} %",
                one.limit.source if one.limit is not None else "",
            )
