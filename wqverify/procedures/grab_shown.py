"""What is shown beside the checks of a comparison: values, hand calculations and charts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from decimal import Decimal

from wqverify.calculations.uncertainty import round_up
from wqverify.procedures.grab_budget import PER_DEGREE, PER_DEGREE_HALF
from wqverify.procedures.grab_compare import PLACES, Compare, Comparison, tolerance_of
from wqverify.procedures.grab_pairs import Paired, Row
from wqverify.procedures.grab_run import LAST, Run, mean_difference
from wqverify.procedures.grab_sizes import PH
from wqverify.procedures.workings import GUM, answer, expanded_working, signed
from wqverify.terms import Chart, Check, Given, Line, Quantity, Series, Value, Working

MOST = 60  # points of a trace around a grab
NEAR = timedelta(minutes=30)
BY = {
    "window mean": "mean of the values in the window",
    "interpolation": "straight line between the two records around the moment",
    "nearest": "the nearest record",
}


def values(known: Compare, runs: Sequence[Run], given: Given) -> Iterator[Value]:
    """Give the quantities that are shown and not judged."""
    unit = given.analyzer.unit
    for c in known.all:
        base = c.key
        delay = c.pair.delay
        parts = ", ".join(f"{word} {size:.1f} s" for word, size in delay.parts) or "no part of it is known"
        quantity = Quantity(str(delay.seconds), "s", float(delay.seconds))
        label = f"{c.short}: delay of its water, from {c.grab.taken_at}"
        yield Value(f"{base}.delay", c.stage, label, quantity, parts)
        if c.pair.value is not None:
            label, source = f"{c.short}: paired online value", BY[c.pair.online.by]
            quantity = Quantity(f"{c.pair.fixed:f}", unit, float(c.pair.value))
            yield Value(f"{base}.paired", c.stage, label, quantity, f"{source}, {c.pair.online.source}")
            quantity = Quantity(f"{c.pair.change:f}", unit, float(c.pair.change))
            source = f"largest minus smallest of {len(c.pair.around)} values"
            yield Value(
                f"{base}.change",
                c.stage,
                f"{c.short}: change of the online value around it",
                quantity,
                source,
            )
    for place, mean in known.means.items():
        label = f"Mean difference by the grabs of this visit, at the {place}"
        yield Value(f"as_found.mean.{place.replace(' ', '_')}", "as_found", label, mean, "of this visit")
    yield from run_values(runs, unit)


def run_values(runs: Sequence[Run], unit: str) -> Iterator[Value]:
    """Give the mean of the last differences with its interval, where there are two or more."""
    for run in runs:
        if len(run.differences) > 1:
            label = f"Mean of the last {len(run.differences)} differences at the {run.place}"
            source = "the interval is of the differences, not U of the analyzer"
            key = f"run.{run.place.replace(' ', '_')}"
            yield Value(key, "last_differences", label, mean_difference(run, unit), source)


# ---------------------------------------------------------------- hand calculations


def workings(known: Compare, checks: Sequence[Check], runs: Sequence[Run], given: Given) -> Iterator[Working]:
    """Give the calculations a person with a pocket calculator can follow."""
    unit = given.analyzer.unit
    shown = {check.key: check.quantity.text for check in checks if check.quantity is not None}
    for c in known.all:
        yield from _delay_working(c, given)
        if known.measurand is PH:
            yield from _temperature_working(c)
        if c.pair.value is not None:
            yield from _pair_working(c.short, c.pair, unit)
        if c.quantity is not None:
            yield Working(
                f"{c.short}, {c.stage.replace('_', ' ')}",
                "d = R − G",
                f"{c.pair.fixed:f} − {signed(Decimal(c.reference))}",
                answer(f"{c.pair.fixed - Decimal(c.reference):f}", unit, shown[c.key]),
                "online value minus grab",
            )
            yield expanded_working(f"{c.short}: expanded uncertainty", c.quantity)
    yield from run_workings(runs, unit)


def _delay_working(c: Comparison, given: Given) -> Iterator[Working]:
    """The delay from the process tap, once a stage and place: that is where the line counts."""
    line, delay = given.analyzer.sample_line, c.pair.delay
    if line is None or c.grab.taken_at != "process tap" or c.name not in ("grab_1", "grab"):
        return
    cell = line.cell_ml if line.cell_ml is not None else Decimal(0)
    besides = [f"{size:.1f}" for word, size in delay.parts if word not in ("line", "cell")]
    volume = f"3.14159 × {line.bore_mm}² × {line.length_m} / 4 + {cell}"
    yield Working(
        f"{c.short}: delay from the process tap",
        "t = 60 (π d² L / 4 + V) / Q + late; d in mm, L in m, V of the cell in mL, Q in mL/min",
        " + ".join([f"60 × ({volume}) / {delay.flow}", *besides]),
        f"{delay.seconds} s",
        "plug flow in the line, mixing in the cell, response and half of an averaging",
    )


def _temperature_working(c: Comparison) -> Iterator[Working]:
    grab = c.grab
    if grab.temperature_c is None or grab.line_c is None or not c.reference:
        return
    line, taken = signed(grab.line_c.value), signed(grab.temperature_c.value)
    yield Working(
        f"{c.short}: the grab at the temperature of the line",
        f"G = pH + a (t − tG), tG of the grab, a = −{-PER_DEGREE} pH/°C",
        f"{grab.lab.reading.text} + {signed(PER_DEGREE)} × ({line} − {taken})",
        f"{c.reference} pH",
        f"a of drinking water within ±{PER_DEGREE_HALF} pH/°C, from memory",
    )


def _pair_working(label: str, pair: Paired, unit: str) -> Iterator[Working]:
    good = [row for row in pair.used if row.value is not None]
    if len(good) < 2:
        return
    if pair.online.by == "window mean":
        several = [f"{row.value:f}" for row in good]
        shown = " + ".join(several) if len(several) <= 12 else f"{several[0]} + … + {several[-1]}"
        yield Working(
            f"{label}: mean of the window",
            "R = Σ x / n",
            f"({shown}) / {len(good)}",
            f"{pair.fixed:f} {unit}",
            f"{pair.online.source}, around {pair.at:%H:%M:%S}",
        )
        return
    first, second = good[0], good[-1]
    whole = round((second.at - first.at).total_seconds())
    part = round((pair.at - first.at).total_seconds())
    yield Working(
        f"{label}: between two records",
        "R = x1 + (x2 − x1) (t − t1) / (t2 − t1), times in s from t1",
        f"{first.value:f} + ({second.value:f} − {signed(first.value or Decimal(0))}) × {part} / {whole}",
        f"{pair.fixed:f} {unit}",
        f"{pair.online.source}, at {pair.at:%H:%M:%S}",
    )


def run_workings(runs: Sequence[Run], unit: str) -> Iterator[Working]:
    """Give the interval of the mean difference, put in and worked out."""
    for run in runs:
        if len(run.differences) < 2:
            continue
        n, mean = len(run.differences), mean_difference(run, unit)
        assert mean.u is not None
        assert mean.k is not None
        yield Working(
            f"Mean of the last {n} differences, {run.place}",
            "d̄ = (d1 + d2 + …) / n, the newest first",
            f"({' + '.join(signed(d) for d in run.differences)}) / {n}",
            f"{mean.text} {unit}",
            f"{GUM}, 4.2.1",
        )
        k, s = f"{mean.k:.3f}", f"{mean.u * n**0.5:.6f}"
        by_hand = float(k) * float(s) / n**0.5
        yield Working(
            f"Interval of the mean of the last {n} differences, {run.place}",
            "U = k s / √n, s their standard deviation",
            f"{k} × {s} / √{n}",
            f"{by_hand:.5f} {unit}, rounded up {round_up(mean.k * mean.u)} {unit}",
            f"{GUM}, 4.2.3 and G.3; of the differences, not of the analyzer",
        )


# ---------------------------------------------------------------- charts


def charts(known: Compare, runs: Sequence[Run], given: Given) -> Iterator[Chart]:
    """Give the online values around the grabs, and the run of differences."""
    found = [c for c in known.all if c.stage == "as_found"]
    for place in PLACES:
        here = [c for c in found if c.place == place]
        points = {_stamp(row.at): f"{row.value:f}" for c in here for row in _near(c.pair)}
        if len(points) < 2:
            continue
        shown = tuple((at, x, "") for at, x in sorted(points.items(), key=lambda point: _instant(point[0])))
        series = [Series("online value", shown)]
        for name, text in (("paired value", _paired_text), ("grab, moved by its delay", _grab_text)):
            marks = tuple((_stamp(c.pair.at), text(c), "") for c in here if text(c))
            series += [Series(name, tuple(dict.fromkeys(marks)))] if marks else []
        title = f"Online values around the grabs at the {place}, by its clock"
        y = f"{given.analyzer.measures}, {given.analyzer.unit}"
        yield Chart("trace", title, "time", y, tuple(series))
    newest = next((c.reference for c in reversed(found) if c.reference), "")
    yield from run_charts(runs, given, newest)


def _stamp(at: datetime) -> str:
    return at.isoformat(timespec="seconds")


def _near(pair: Paired) -> list[Row]:
    """The good values around the moment of a pair, at most so many before and after it."""
    good = [row for row in pair.online.rows if row.good]
    before = [row for row in good if row.at <= pair.at][-MOST // 2 :]
    after = [row for row in good if row.at > pair.at][: MOST // 2]
    return [row for row in (*before, *after) if abs(row.at - pair.at) <= NEAR]


def _instant(iso: str) -> datetime:
    return datetime.fromisoformat(iso)


def _paired_text(c: Comparison) -> str:
    return f"{c.pair.fixed:f}" if c.pair.value is not None else ""


def _grab_text(c: Comparison) -> str:
    return c.reference


def run_charts(runs: Sequence[Run], given: Given, reference: str) -> Iterator[Chart]:
    """Give the last differences in time against the tolerance at the grab of this visit, empty for none."""
    unit, tolerance = given.analyzer.unit, tolerance_of(given)
    shown = [run for run in runs if len(run.differences) > 1]
    if not shown:
        return
    series = tuple(
        Series(
            run.place,
            tuple(
                (at, f"{d:f}", "") for at, d in reversed(list(zip(run.when, run.differences, strict=True)))
            ),
        )
        for run in shown
    )
    bounds: tuple[Decimal | None, ...] = ()
    if tolerance is not None and (reference or tolerance.percent is None):
        bounds = tolerance.at(Decimal(reference or 0))
    lines = tuple(Line(f"tolerance {bound:+f} {unit}", f"{bound:f}") for bound in bounds if bound is not None)
    yield Chart(
        "trace", f"The last differences, at most {LAST}", "time", f"online minus grab, {unit}", series, lines
    )
