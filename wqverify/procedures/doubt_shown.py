"""What is shown beside the checks of a doubt: the error, every value that decides otherwise, three models."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from wqverify.calculations.drift import Stage, corrected_value, error_at, share_at, unknown_step_sd
from wqverify.calculations.uncertainty import round_up
from wqverify.procedures import doubt_series as series
from wqverify.procedures.doubt_case import Case
from wqverify.procedures.doubt_decisions import Decision
from wqverify.procedures.doubt_errors import TIMES, Found
from wqverify.procedures.doubt_series import SHIFTS, Way
from wqverify.procedures.workings import answer, signed
from wqverify.terms import Chart, Line, Quantity, Series, Value, Working

if TYPE_CHECKING:
    from wqverify.calculations.drift import Floats

USGS = "USGS TM 1-D3 (2006)"
MOST = 120  # values of one use listed one by one; beyond that each local day is one line
DRAWN = 480  # points of a series of the chart
WITHIN = "within the uncertainty"


@dataclass(frozen=True, slots=True)
class Changed:
    """A recorded value that decides otherwise once it is corrected."""

    row: int
    sure: bool  # at the error found, and at that less and plus its U
    becomes: str  # "beyond" or "within"


def changed(case: Case, one: Decision) -> list[Changed]:
    """Return the values whose decision changes at the error found, or within its U, in order of time."""
    ways: tuple[Way, ...] = tuple((case.stated, shift) for shift in (*SHIFTS[1:], *SHIFTS[:1]))
    each = {way: one.changed(way) for way in ways}
    sure = set.intersection(*each.values())
    rows = {}
    for way in reversed(ways):  # the error found comes last and has the last word
        found = one.corrected[way].bad if each[way] else {}
        for key in each[way]:
            assert one.recorded is not None
            row = found.get(key, one.recorded.bad.get(key, 0))
            rows[key] = Changed(row, key in sure, "beyond" if key in found else "within")
    return sorted(rows.values(), key=lambda this: this.row)


# ---------------------------------------------------------------- values


def values(case: Case, found: Sequence[Decision]) -> Iterator[Value]:
    """Give the error by fouling and drift, the counts by model, and the values that decide otherwise."""
    yield from _errors(case)
    for one in found:
        yield from _by_model(case, one)
    for one in found:
        yield from _listed(case, one)


def _errors(case: Case) -> Iterator[Value]:
    unit = case.given.analyzer.unit
    for n, one in enumerate(case.taken, 1):
        whole = Quantity(f"{one.error:f}", unit, float(one.error), expanded=one.expanded, k=one.k)
        yield Value(f"error.{n}", "error", f"Error as found at {one.level:f} ({one.name})", whole, one.source)
        if one.fouling is not None:
            text = f"{one.fouling:f}"
            label = f"Fouling at {one.level:f}, as found less after cleaning"
            yield Value(f"fouling.{n}", "error", label, Quantity(text, unit, float(one.fouling)), USGS)
            label = f"Drift at {one.level:f}, after cleaning"
            quantity = Quantity(f"{one.drift:f}", unit, float(one.drift))
            yield Value(f"drift.{n}", "error", label, quantity, USGS)
            total = abs(one.fouling) + abs(one.drift)
            label = f"Total at {one.level:f}, what decides and rates"
            quantity = Quantity(f"{total:f}", unit, float(total))
            yield Value(f"total.{n}", "error", label, quantity, "sum of absolutes, " + USGS)
        if one.at_start is not None:
            label = f"Error at the last good check ({one.name})"
            quantity = Quantity(f"{one.at_start:f}", unit, float(one.at_start))
            yield Value(f"start.{n}", "error", label, quantity, "as it was left")


def _by_model(case: Case, one: Decision) -> Iterator[Value]:
    """Give what each model in time makes of a use, at the error found and at that less and plus its U."""
    for time in TIMES:
        said = one.corrected.get((time, 0))
        if said is None:
            continue
        ends = [one.corrected.get((time, shift)) for shift in (-1, 1)]
        around = " and ".join(f"{end.quantity:f}" for end in ends if end is not None)
        stated = ", stated" if time == case.stated else ""
        label = f"{one.title}: {time}{stated}, {len(one.changed((time, 0)))} decide otherwise"
        quantity = Quantity(f"{said.quantity:f}", said.unit, float(said.quantity))
        source = f"{len(said.bad)} beyond of {said.counted}; at the error less and plus U {around}"
        yield Value(f"model.{one.key}.{time.replace(' ', '_')}", "three_models", label, quantity, source)


def _listed(case: Case, one: Decision) -> Iterator[Value]:
    rows = changed(case, one)
    if len(rows) <= MOST:
        yield from (_of_row(case, one, row) for row in rows)
    else:
        yield from _of_days(case, one, rows)


def _of_row(case: Case, one: Decision, this: Changed) -> Value:
    assert case.recorded is not None
    at = int(case.recorded.times[this.row])
    ways = [
        f"{time} {case.text(case.corrected[time, 0][this.row])}"
        for time in TIMES
        if (time, 0) in case.corrected
    ]
    sure = "" if this.sure else f", {WITHIN}"
    label = f"{_clock(case, at)}, recorded {case.recorded.texts[this.row]:f}"
    return Value(
        f"changed.{one.key}.{at}",
        "decides_otherwise",
        label,
        _quantity(case, this.row),
        f"{one.title}: now {this.becomes}{sure}; {', '.join(ways)}",
    )


def _of_days(case: Case, one: Decision, rows: Sequence[Changed]) -> Iterator[Value]:
    assert case.recorded is not None
    days: dict[str, list[Changed]] = {}
    for row in rows:
        days.setdefault(_clock(case, int(case.recorded.times[row.row]))[:10], []).append(row)
    here = case.corrected[case.stated, 0]
    for day, inside in days.items():
        first, last = (_clock(case, int(case.recorded.times[inside[n].row]))[11:16] for n in (0, -1))
        texts = [Decimal(case.recorded.texts[row.row] or 0) for row in inside]
        found = [float(here[row.row]) for row in inside]
        highest = max((row.row for row in inside), key=lambda row: float(here[row]))
        unsure = sum(1 for row in inside if not row.sure)
        said = f", {unsure} of them {WITHIN}" if unsure else ""
        span = f"{min(texts):f} to {max(texts):f}"
        label = f"{day}, {len(inside)} values from {first} to {last}, recorded {span}"
        source = f"{one.title}: now {inside[0].becomes}{said}; corrected {case.text(min(found))} to the value"
        yield Value(f"changed.{one.key}.{day}", "decides_otherwise", label, _quantity(case, highest), source)


def _quantity(case: Case, row: int) -> Quantity:
    """Return a corrected value with U of the error that was taken off it, at its time and level."""
    low, here, high = (float(case.corrected[case.stated, shift][row]) for shift in SHIFTS)
    half = abs(high - low) / 2
    sure = round_up(half) if half else ""
    k = case.taken[0].k if sure else None
    return Quantity(case.text(here), case.given.analyzer.unit, here, k=k, expanded=sure)


def _clock(case: Case, second: int) -> str:
    return series.stamp(second, case.given)[:16].replace("T", " ")


# ---------------------------------------------------------------- hand calculations


def workings(case: Case, found: Sequence[Decision]) -> Iterator[Working]:
    """Give fouling and drift, and one value corrected by each model, as a hand does it."""
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


def _of_value(case: Case, row: int, unit: str) -> Iterator[Working]:
    assert case.recorded is not None
    at, reading = int(case.recorded.times[row]), case.recorded.texts[row]
    assert reading is not None
    model = case.models[case.stated, 0]
    f = share_at(model, at)
    put_in = f"{at - model.since} / {model.full - model.since}" if case.stated == "linear" else case.stated
    yield Working(
        f"Part of the error that was there, {_clock(case, at)}",
        "f = (t − t0) / (t1 − t0), in s from the last good check to the failed one"
        if case.stated == "linear"
        else "f = 1 all the time in the worst case; 0 before and 1 after a step",
        put_in,
        f"{float(f):.6g}",
        f"{USGS}, correction in time" if case.stated == "linear" else "common practice, no source",
    )
    y = Decimal(repr(float(reading)))
    parts = []
    for stage in model.stages:
        e0, e1 = _ends(stage, y)
        parts.append(f"({_short(e0)} + ({_short(e1)} − {_short(e0)}) × {float(f):.6g})")
        y -= _decimal(e0 + (e1 - e0) * f)
    exact = corrected_value(model, at, reading)
    yield Working(
        f"Recorded {reading:f} {unit}, {_clock(case, at)}, corrected",
        "y = r − (e0 + (e1 − e0) f), for fouling first where it is apart, then for drift",
        " − ".join([f"{reading:f}", *parts]),
        f"{case.text(float(exact))} {unit}",
        "error reading minus reference, by level as the model says",
    )
    if case.stated == "linear":
        yield _either_end(case, row, float(f), unit)


def _either_end(case: Case, row: int, f: float, unit: str) -> Working:
    """Give both ends of a value: an error that came at once leaves one of them."""
    assert case.recorded is not None
    model, at = case.models[case.stated, 0], int(case.recorded.times[row])
    reading = case.recorded.texts[row] or Decimal(0)
    ends = [corrected_value(model, when, reading) for when in (model.since, model.full)]
    left, worst = (case.text(float(end)) for end in ends)
    sd = unknown_step_sd(float(ends[0]), float(ends[1]), f)
    return Working(
        f"The same value, {_clock(case, at)}, if the error came at once and nobody knows when",
        "r − e0 with the probability 1 − f, or r − e1 with f",
        f"{left} with {1 - f:.3f}, or {worst} with {f:.3f}",
        f"one of the two ends; standard deviation {case.text(sd)} {unit}",
        "probability of a step at a uniformly likely time",
    )


def _ends(stage: Stage, level: Decimal) -> tuple[Any, Any]:
    """Return the error of a stage at a level, at the beginning and in the end."""
    return (
        error_at(stage.level_model, stage.start, level),
        error_at(stage.level_model, stage.end, level),
    )


def _short(value: Any) -> str:
    text = f"{float(value):.6g}"
    return f"(−{text[1:]})" if text.startswith("-") else text


def _decimal(value: Any) -> Decimal:
    return Decimal(repr(float(value)))


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


# ---------------------------------------------------------------- charts


def charts(case: Case, found: Sequence[Decision]) -> Iterator[Chart]:
    """Give the recorded values with the corrected ones beside them, and the limits."""
    import numpy as np

    if case.recorded is None:
        return
    times = case.recorded.times
    inside = (times >= case.since) & (times <= case.until)
    drawn = [Series("recorded", _points(case, case.recorded.values, np.ones(len(times), dtype=bool)))]
    here = case.corrected.get((case.stated, 0))
    if here is not None:
        drawn.append(Series(f"corrected, {case.stated}", _points(case, here, inside)))
    if not drawn[0].points:
        return
    a = case.given.analyzer
    sizes = dict.fromkeys(one.limit.size for one in found if one.limit is not None)
    lines = tuple(Line(f"{size:f} {a.unit}", f"{size:f}") for size in sizes)
    title = f"{a.tag}: recorded values and what they are without the error"
    yield Chart("trace", title, "time", f"{a.measures}, {a.unit}", tuple(drawn), lines)


def _points(case: Case, values: Floats, mask: Any) -> tuple[tuple[str, str, str], ...]:
    """Return at most so many points: of each stretch its lowest and highest value, in order of time."""
    import numpy as np

    assert case.recorded is not None
    rows = np.flatnonzero(mask & ~np.isnan(values))
    if len(rows) > DRAWN:
        kept = set()
        for part in np.array_split(rows, DRAWN // 2):
            kept |= {int(part[np.argmin(values[part])]), int(part[np.argmax(values[part])])}
        rows = np.array(sorted(kept))
    times = case.recorded.times
    return tuple(
        (series.stamp(int(times[row]), case.given), f"{values[row]:.{case.decimals}f}", "") for row in rows
    )
