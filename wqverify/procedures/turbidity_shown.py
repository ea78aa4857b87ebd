"""What is shown beside the checks on turbidity standards: values, hand calculations and charts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from wqverify import tables
from wqverify.calculations import turbidity
from wqverify.procedures.parts import Read
from wqverify.procedures.turbidity_inputs import Measured
from wqverify.procedures.turbidity_parts import Process, StandardsSheet, Step, process_at
from wqverify.procedures.turbidity_stages import Stage
from wqverify.procedures.workings import answer, expanded_working, signed
from wqverify.terms import Chart, Check, Given, Line, Quantity, Reading, Series, TableUse, Value, Working

MOST = 6  # lines of a trace that can still be told apart
REPORTING = ("turbidity_reporting", "EPA 180.1 rev 2.0")
COLUMN = "increment"


def values(sheet: StandardsSheet, given: Given, stages: Mapping[str, Stage]) -> Iterator[Value]:
    """Give the quantities that are shown and not judged."""
    for stage in ("as_found", "as_left"):
        read = process_at(stage, sheet)
        if isinstance(read, Process):
            yield from _reported(stage, read, given)
    for found in stages.values():
        for point in () if found.same_as else found.points:
            yield from _of_point(found, point)
        if found.fit is not None and not found.same_as:
            fit = found.fit
            label = (
                f"Lack of fit F of the line through {len(fit.residuals)} standards; up to {fit.critical:.2f} "
                f"it is a line (95 %, {fit.dof_fit} and {fit.dof_scatter} degrees of freedom)"
            )
            yield Value(
                f"{found.name}.lack_of_fit",
                found.name,
                label,
                Quantity(f"{fit.F:.2f}", "", fit.F),
                "NIST/SEMATECH e-Handbook of Statistical Methods, 4.4.4.6",
            )


def _of_point(stage: Stage, point: Measured) -> Iterator[Value]:
    key = f"{stage.name}.{point.id}"
    recovery = stage.quantities.get(f"{point.id}.recovery")
    if recovery is not None:
        yield Value(f"{key}.recovery", stage.name, f"Recovery on {point.id}", recovery, "100 R / C")
    primary = stage.quantities.get(f"{point.id}.against_primary")
    if primary is not None:
        label = f"Error on {point.id} against the primary standard its value came from"
        source = "the change, with what the assigned value is uncertain by"
        yield Value(f"{key}.against_primary", stage.name, label, primary, source)


def bands(use: TableUse | None) -> turbidity.Bands:
    """Return the reporting bands of the table a case was computed with."""
    return tables.load(*REPORTING, use.digest if use else "").nodes(COLUMN)


def _reported(stage: str, read: Process, given: Given) -> Iterator[Value]:
    """The process value as a report rounds it; stored it is unrounded."""
    if given.analyzer.unit != "NTU" or read.ntu.value < 0:
        return
    rows = bands(given.tables.get(" ".join(REPORTING)))
    text = turbidity.reported(read.ntu.value, rows)
    step = turbidity.band(read.ntu.value, rows)[1]
    label = f"Process value {read.ntu.text} as EPA 180.1 reports it, to the nearest {step:f}"
    yield Value(
        f"{stage}.process.reported",
        stage,
        label,
        Quantity(text, "NTU", float(text)),
        "EPA Method 180.1 rev 2.0 (1993), section 12; stored and judged unrounded",
    )


# ---------------------------------------------------------------- hand calculations


def workings(stages: Mapping[str, Stage], checks: Sequence[Check], unit: str) -> Iterator[Working]:
    """Give the calculations a person with a pocket calculator can follow, ending in the numbers shown."""
    shown = {check.key: check.quantity.text for check in checks if check.quantity is not None}
    made: set[str] = set()
    for stage in stages.values():
        if stage.same_as or not stage.points:
            continue
        for point in stage.points:
            if point.steps and point.id not in made:
                made.add(point.id)
                yield from dilution_workings(point, unit)
            yield from _of_readings(stage, point, shown, unit)
        first = stage.points[0]
        word = "change" if first.kind == "secondary" else "error"
        label = f"Expanded uncertainty of the {word} on {first.id}, {stage.title}"
        yield expanded_working(label, stage.quantities[f"{first.id}.{word}"])
        if stage.between and stage.process and f"{stage.name}.process.error" in shown:
            yield _at_process(stage, shown, unit)


def dilution_workings(point: Measured, unit: str) -> Iterator[Working]:
    """Give each step of a dilution; the last answer is the value, fixed two digits beyond the display."""
    assert point.standard.value is not None
    assert point.water is not None
    assert point.water.value is not None
    yield from steps_workings(
        point.standard.value, point.water.value, point.steps, point.standard.id, f"{point.exact:f}", unit
    )


def steps_workings(
    stock: Decimal, water: Decimal, steps: Sequence[Step], name: str, last: str, unit: str
) -> Iterator[Working]:
    """Give each step of a dilution of a stock with water."""
    stronger = stock
    for number, step in enumerate(steps, 1):
        v0, v = step.pipetted_ml, step.to_ml
        made = turbidity_of(stronger, v0, v, water)
        which = f", step {number} of {len(steps)}" if len(steps) > 1 else ""
        value = last if number == len(steps) else plain(made)
        yield Working(
            f"Value of the dilution of {name}{which}",
            "C = (C0 V0 + Cw (V − V0)) / V, Cw the water's own",
            f"({plain(stronger)} × {v0.text} + {water} × ({v.text} − {v0.text})) / {v.text}",
            f"{value} {unit}",
            "volumes as typed",
        )
        stronger = made


def turbidity_of(stronger: Decimal, v0: Reading, v: Reading, water: Decimal) -> Decimal:
    """Return the exact value of one step."""
    return (stronger * v0.value + water * (v.value - v0.value)) / v.value


def plain(value: Decimal) -> str:
    """A number without needless zeros; what has no end is cut to eight figures."""
    short = value if len(value.as_tuple().digits) <= 8 else Decimal(f"{value:.8g}")
    return f"{short.normalize():f}"


def _of_readings(stage: Stage, point: Measured, shown: Mapping[str, str], unit: str) -> Iterator[Working]:
    key, title = f"{stage.name}.{point.id}", stage.title
    texts = [reading.text for reading in point.readings]
    if len(set(texts)) > 1:
        yield Working(
            f"Mean of the readings on {point.id} that held still, {title}",
            "R = (R1 + R2 + …) / n",
            f"({' + '.join(texts)}) / {len(texts)}",
            f"{point.mean:f} {unit}",
            "fixed two digits beyond the display",
        )
    secondary = point.kind == "secondary"
    word, letter = ("change", "c = R − V") if secondary else ("error", "e = R − C")
    judged = shown[f"{key}.{word}"]
    yield Working(
        f"{word.capitalize()} on {point.id}, {title}",
        f"{letter}, {'V the value assigned' if secondary else 'C the value of the standard'}",
        f"{point.mean:f} − {point.exact:f}",
        answer(f"{point.error:f}", unit, judged),
        "reading minus reference",
    )
    recovery = stage.quantities.get(f"{point.id}.recovery")
    if recovery is not None:
        yield Working(
            f"Recovery on {point.id}, {title}",
            "100 R / V" if secondary else "100 R / C",
            f"100 × {point.mean:f} / {point.exact:f}",
            f"{recovery.text} %",
            "common practice",
        )
    if point.control_system is not None and f"{key}.control_system" in shown:
        yield Working(
            f"Error of the control system, analyzer on {point.id}, {title}",
            "e(S) = S − C, S the control system",
            f"{point.control_system.text} − {point.exact:f}",
            answer(f"{point.control_system.value - point.exact:f}", unit, shown[f"{key}.control_system"]),
            "reading minus reference",
        )


def _at_process(stage: Stage, shown: Mapping[str, str], unit: str) -> Working:
    assert stage.between is not None
    assert stage.process is not None
    low, high = stage.between
    e1, e2 = signed(low.error), signed(high.error)
    x = stage.process.ntu.text
    return Working(
        f"Error at the displayed process value, {stage.title}",
        "e(x) = e1 + (e2 − e1) (x − R1) / (R2 − R1), x as displayed",
        f"{e1} + ({e2} − {e1}) × ({x} − {low.mean:f}) / ({high.mean:f} − {low.mean:f})",
        answer(stage.quantities["process.error"].text, unit, shown[f"{stage.name}.process.error"]),
        "straight line between the two standards, fixed two digits beyond the display",
    )


# ---------------------------------------------------------------- charts


def charts(stages: Mapping[str, Stage], checks: Sequence[Check], unit: str) -> Iterator[Chart]:
    """Give the errors as shares of their tolerance, and the readings as they settled."""
    series = [Series(stage.title, points) for stage in stages.values() if (points := _shares(stage, checks))]
    if series:
        yield Chart(
            "errors",
            "Error on each standard as a share of its tolerance, with U",
            f"value of the standard, {unit}",
            "error / tolerance",
            tuple(series),
            (Line("tolerance", "1"), Line("tolerance", "-1")),
        )
    moved = [
        Series(f"{stage.title}, {point.id}", trace)
        for stage in stages.values()
        if not stage.same_as
        for point, typed in zip(stage.points, stage.typed, strict=True)
        if (trace := _trace(point, typed))
    ]
    if moved:
        which = f"the first {MOST} of {len(moved)} that moved" if len(moved) > MOST else "where they moved"
        yield Chart(
            "trace",
            f"Readings as distance from what counts of them ({which})",
            "reading",
            "% from what counts",
            tuple(moved[:MOST]),
        )


def _shares(stage: Stage, checks: Sequence[Check]) -> tuple[tuple[str, str, str], ...]:
    if stage.same_as:
        return ()
    found = []
    for check in checks:
        q, t = check.quantity, check.tolerance
        judged = check.stage == stage.name and check.place == "analyzer" and check.reference and check.low
        if not judged or q is None or t is None or not check.high:
            continue
        bound = Decimal(check.high) if q.decimal >= 0 else -Decimal(check.low)
        if bound > 0:
            share = (q.decimal / bound).quantize(Decimal("0.001")) + 0
            sure = (Decimal(q.expanded or "0") / bound).quantize(Decimal("0.001"))
            found.append((check.reference, f"{share:f}", f"{sure:f}"))
    return tuple(sorted(found, key=lambda row: Decimal(row[0])))


def _trace(point: Measured, typed: Read) -> tuple[tuple[str, str, str], ...]:
    """The readings that moved, in percent: 0.1 and 20 NTU go into one picture."""
    if not point.mean or len({reading.value for reading in typed.readings}) < 2:
        return ()
    away = [100 * (reading.value - point.mean) / point.mean for reading in typed.readings]
    return tuple((str(number), f"{share:.3f}", "") for number, share in enumerate(away, 1))
