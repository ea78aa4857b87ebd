"""What is shown beside the checks of a doubt: the error, every value that decides otherwise, three models."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from wqverify.calculations.uncertainty import round_up
from wqverify.procedures import doubt_series as series
from wqverify.procedures.doubt_case import Case
from wqverify.procedures.doubt_decisions import Changed, Decision, changed
from wqverify.procedures.doubt_errors import TIMES
from wqverify.procedures.doubt_series import SHIFTS
from wqverify.terms import Chart, Line, Quantity, Series, Value

if TYPE_CHECKING:
    from wqverify.calculations.drift import Floats

USGS = "USGS TM 1-D3 (2006)"
MOST = 120  # values of one use listed one by one; beyond that each local day is one line
DRAWN = 480  # points of a series of the chart
WITHIN = "within the uncertainty"


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
            label = f"Drift at {one.level - one.fouling:f}, after cleaning"
            quantity = Quantity(f"{one.drift:f}", unit, float(one.drift))
            yield Value(f"drift.{n}", "error", label, quantity, USGS)
            total = abs(one.fouling) + abs(one.drift)
            label = f"Total at {one.level:f}, what decides and rates"
            quantity = Quantity(f"{total:f}", unit, float(total))
            yield Value(f"total.{n}", "error", label, quantity, "sum of absolutes, " + USGS)
        if one.at_start is not None:
            shown = "" if one.start_level is None else f" at {one.start_level:f}"
            label = f"Error{shown} at the last good check ({one.name})"
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
