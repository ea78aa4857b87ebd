"""What is shown beside the checks: values, hand calculations and charts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import ROUND_DOWN, Decimal

from wqverify.procedures.ph_budget import exact_at_process, one_temperature
from wqverify.procedures.ph_grab import grab_at_line
from wqverify.procedures.ph_inputs import TEMPERATURE_OF_WATER, Measured
from wqverify.procedures.ph_sheet import Grab, PhSheet, Process, ThermometerCheck
from wqverify.procedures.ph_stages import Stage
from wqverify.procedures.workings import GUM, answer, expanded_working, signed
from wqverify.terms import Chart, Check, Given, Line, Quantity, Series, Value, Working

MOST = 6  # lines of a trace that can still be told apart


def values(stages: Mapping[str, Stage]) -> Iterator[Value]:
    """Give the quantities that are shown and not judged."""
    for stage in stages.values():
        for word, label, source in (
            ("slope_mv", "Slope of the electrode", "straight line through the buffers"),
            ("gain", "Slope relative to the one stored in the transmitter", "displays only"),
        ):
            if word in stage.quantities:
                key = f"{stage.name}.{word}"
                yield Value(key, stage.name, label, stage.quantities[word], source)
        for point in stage.line:
            residual = stage.quantities.get(f"{point.id}.residual")
            if residual is not None:
                key, label = f"{stage.name}.{point.id}.residual", f"Distance of {point.id} from the line"
                yield Value(key, stage.name, label, residual, "least squares, all buffers alike")


# ---------------------------------------------------------------- hand calculations


def workings(
    sheet: PhSheet, stages: Mapping[str, Stage], third: Measured | None, checks: Sequence[Check]
) -> Iterator[Working]:
    """Give the calculations a person with a pocket calculator can follow, ending in the numbers shown.

    ``third`` is the check buffer, None where none was read.
    """
    shown = {check.key: check.quantity.text for check in checks if check.quantity is not None}
    done: set[tuple[str, str]] = set()
    yield from _before_buffers(sheet, shown)
    for stage in stages.values():
        for point in () if stage.same_as else stage.points:
            yield from _point_workings(point, f"{stage.name}.{point.id}", stage.title, shown, done)
        if stage.points and not stage.same_as:
            yield _expanded_working(stage)
        if stage.process is not None and stage.between is not None:
            yield from _process_workings(stage, stage.process, *stage.between, shown)
        if stage.line and not stage.same_as:
            yield from _line_workings(stage, shown)
    if third is not None:
        yield from _point_workings(third, "as_left.check_buffer", "check buffer", shown, done)
    if isinstance(sheet.grab_after, Grab):
        yield from _grab_working("grab after the work", sheet.grab_after)


def _before_buffers(sheet: PhSheet, shown: Mapping[str, str]) -> Iterator[Working]:
    checked = sheet.thermometer_check
    if isinstance(checked, ThermometerCheck):
        yield Working(
            "Error of the temperature",
            "e = t − tR, tR of the reference thermometer",
            f"{signed(checked.shown_c.value)} − {signed(checked.reference_c.value)}",
            answer(f"{checked.shown_c.value - checked.reference_c.value:f}", "°C", shown["thermometer"]),
            "reading minus reference",
        )
    for number, grab in enumerate(sheet.grab, 1):
        yield from _grab_working(f"grab {number}", grab)


def _grab_working(which: str, grab: Grab) -> Iterator[Working]:
    if grab.temperature_c is None or grab.shown_c is None:
        return
    per_degree, half = (Decimal(str(size)) for size in TEMPERATURE_OF_WATER)
    line, taken = signed(grab.shown_c.value), signed(grab.temperature_c.value)
    yield Working(
        f"pH of the {which} at the temperature of the line",
        f"B = pH + a (t − tG), tG of the grab, a = {_minus(per_degree)} pH/°C",
        f"{signed(grab.ph.value)} + {signed(per_degree)} × ({line} − {taken})",
        f"{grab_at_line(grab):f} pH",
        f"a of drinking water within ±{half} pH/°C, from memory",
    )


def _point_workings(
    point: Measured, key: str, title: str, shown: Mapping[str, str], done: set[tuple[str, str]]
) -> Iterator[Working]:
    """The value of the buffer, once per bottle and temperature, and the errors in it."""
    at = (point.id, point.temperature.text if point.temperature else "")
    if point.buffer.follows_temperature and at not in done:
        done.add(at)
        yield _buffer_working(point)
    name, buffer = f"{point.buffer.standard.name} ({point.id})", point.buffer.exact
    judged = shown.get(f"{key}.error", shown.get(key, ""))
    yield Working(
        f"Error in {name}, {title}",
        "e = R − B",
        f"{point.reading.text} − {signed(buffer)}",
        answer(f"{point.error:f}", "pH", judged),
        "reading minus reference",
    )
    if f"{key}.control_system" in shown and point.control_system is not None:
        there = point.control_system
        yield Working(
            f"Error of the control system, analyzer in {name}, {title}",
            "e(C) = C − B",
            f"{there.text} − {signed(buffer)}",
            answer(f"{there.value - buffer:f}", "pH", shown[f"{key}.control_system"]),
            "reading minus reference",
        )


def _expanded_working(stage: Stage) -> Working:
    """One U written out, that of the error in the first buffer; every other column goes the same way."""
    first = stage.points[0]
    label = f"Expanded uncertainty of the error in {first.buffer.standard.name} ({first.id}), {stage.title}"
    return expanded_working(label, stage.quantities[f"{first.id}.error"])


def _begun(exact: Decimal, judged: str) -> str:
    """A number cut, not rounded, two digits beyond what is judged, so that rounding it gives that."""
    cut = exact.quantize(Decimal(judged).scaleb(-2), ROUND_DOWN)
    return f"{cut:f}" if cut == exact else f"{cut:f}…"


def _buffer_working(point: Measured) -> Working:
    assert point.temperature is not None
    assert point.buffer.table is not None
    t, nodes = point.temperature.value, point.buffer.table.nodes
    upper = next((i for i, (x, _) in enumerate(nodes) if x > t), len(nodes) - 1)
    (t1, b1), (t2, b2) = nodes[max(upper, 1) - 1], nodes[max(upper, 1)]
    return Working(
        f"pH of {point.buffer.standard.name} ({point.id}) at {t} °C",
        "B = B1 + (B2 − B1) (t − t1) / (t2 − t1)",
        f"{b1} + ({b2} − {b1}) × ({t} − {t1}) / ({t2} − {t1})",
        f"{point.buffer.exact:f} pH",
        point.buffer.source,
    )


def _process_workings(
    stage: Stage, process: Process, low: Measured, high: Measured, shown: Mapping[str, str]
) -> Iterator[Working]:
    e1, e2, r1, r2 = (signed(v) for v in (low.error, high.error, low.reading.value, high.reading.value))
    x = process.ph
    between = f"{e1} + ({e2} − {e1}) × ({x.text} − {r1}) / ({r2} − {r1})"
    exact = exact_at_process(x, low, high)

    def worked_out(word: str, exact: Decimal) -> str:
        fixed, judged = (
            stage.quantities[f"process.{word}"].text,
            shown.get(f"{stage.name}.process.{word}", ""),
        )
        return answer(fixed if judged in ("", fixed) else _begun(exact, judged), "pH", judged)

    yield Working(
        f"Error at the displayed process value, {stage.title}",
        "e(x) = e1 + (e2 − e1) (x − R1) / (R2 − R1), x as displayed",
        between,
        worked_out("error", exact),
        "straight line between the two buffers",
    )
    there = process.control_system
    if there is not None and f"{stage.name}.process.control_system" in shown:
        yield Working(
            f"Error of the control system at the process value, {stage.title}",
            "e(C) = C − x + e(x)",
            f"{there.text} − {x.text} + {between}",
            worked_out("control_system", exact + there.value - x.value),
            "difference of the displays and the error of the analyzer",
        )


def _line_workings(stage: Stage, shown: Mapping[str, str]) -> Iterator[Working]:
    line, found = stage.line, stage.quantities
    if len(line) == 2 and all(point.mv is not None for point in line):
        yield from _two_voltages(stage, line[0], line[1], shown)
    elif len(line) == 2:
        yield from _two_displays(stage, line[0], line[1])
    elif "slope_mv" in found:
        pairs = "; ".join(f"{p.mv.text if p.mv else ''} mV at {p.buffer.exact:f}" for p in line)
        yield Working(
            f"Slope, {stage.title}",
            "S = Σ(B − B̄)(E − Ē) / Σ(B − B̄)²",
            pairs,
            f"{found['slope_mv'].text} mV/pH",
            "unweighted least squares",
        )


def _two_voltages(stage: Stage, low: Measured, high: Measured, shown: Mapping[str, str]) -> Iterator[Working]:
    assert low.mv is not None
    assert high.mv is not None
    e1, e2, b1, b2 = (signed(v) for v in (low.mv.value, high.mv.value, low.buffer.exact, high.buffer.exact))
    slope, offset = shown.get(f"{stage.name}.slope", ""), shown.get(f"{stage.name}.offset", "")
    assert low.temperature is not None
    assert high.temperature is not None
    if not one_temperature(stage.line):
        t1, t2 = low.temperature.text, high.temperature.text
        yield Working(
            f"Slope from buffers at two temperatures, {stage.title}",
            "s = (E1 − E2) / (k(t1) (7 − B1) − k(t2) (7 − B2)), k(t) = 0.19842143 (t + 273.15) mV",
            f"({e1} − {e2}) / (k({t1}) × (7 − {b1}) − k({t2}) × (7 − {b2})), times 100",
            f"{slope} %",
            GUM,
        )
        return
    line, t = f"(({e2} − {e1}) / ({b2} − {b1}))", low.temperature.text
    yield Working(
        f"Slope, {stage.title}",
        "S = (E2 − E1) / (B2 − B1)",
        line,
        f"{stage.quantities['slope_mv'].text} mV/pH",
        "two buffers",
    )
    yield Working(
        f"Slope as a share of the theoretical one, {stage.title}",
        "−100 S / k, k = 0.19842143 (t + 273.15) mV/pH",
        f"−100 × {line} / (0.19842143 × ({t} + 273.15))",
        f"{slope} %",
        "Nernst, R and F of the SI 2019",
    )
    yield Working(
        f"Offset at pH 7, {stage.title}",
        "E7 = E1 + S (7 − B1)",
        f"{e1} + {line} × (7 − {b1})",
        f"{offset} mV",
        "two buffers",
    )


def _two_displays(stage: Stage, low: Measured, high: Measured) -> Iterator[Working]:
    r1, r2, b1, b2 = (
        signed(v) for v in (low.reading.value, high.reading.value, low.buffer.exact, high.buffer.exact)
    )
    line = f"({r2} − {r1}) / ({b2} − {b1})"
    yield Working(
        f"Slope relative to the stored one, {stage.title}",
        "g = (R2 − R1) / (B2 − B1)",
        line,
        f"{stage.quantities['gain'].text} pH per pH",
        "displays only",
    )
    if stage.stored_slope is not None and "slope" in stage.quantities:
        yield Working(
            f"Slope of the electrode, {stage.title}",
            "stored slope × g",
            f"{stage.stored_slope.text} × {line}",
            f"{stage.quantities['slope'].text} %",
            "stored slope as typed",
        )


def _minus(value: Decimal) -> str:
    return f"{value:f}".replace("-", "−")


# ---------------------------------------------------------------- charts


def charts(stages: Mapping[str, Stage], checks: Sequence[Check], given: Given) -> Iterator[Chart]:
    """Give the errors against their tolerance, and the readings as they settled."""
    judged = {check.key: check for check in checks}
    series = [
        Series(stage.title, tuple(_error_points(stage, judged)))
        for stage in stages.values()
        if stage.points and not stage.same_as
    ]
    if series:
        tolerance = given.analyzer.tolerances.get("error")
        bounds = tolerance.at(Decimal(0)) if tolerance else ()
        lines = tuple(Line(f"tolerance {bound:+f} pH", f"{bound:f}") for bound in bounds if bound is not None)
        yield Chart(
            "errors",
            "Error in the buffers and at the process value, with U",
            "pH",
            "error, pH",
            tuple(series),
            lines,
        )
    moved = _traces(stages)
    if moved:
        which = f"the first {MOST} of {len(moved)} that moved" if len(moved) > MOST else "where they moved"
        yield Chart(
            "trace",
            f"Readings until they held still, as distance from the accepted one ({which})",
            "reading",
            "pH from the last reading",
            tuple(moved[:MOST]),
        )


def _error_points(stage: Stage, judged: Mapping[str, Check]) -> Iterator[tuple[str, str, str]]:
    for point in stage.points:
        yield _with_u(f"{point.buffer.exact:f}", judged[f"{stage.name}.{point.id}.error"].quantity)
    process = judged.get(f"{stage.name}.process.error")
    if stage.process is not None and process is not None and process.quantity is not None:
        yield _with_u(stage.process.ph.text, process.quantity)


def _with_u(x: str, quantity: Quantity | None) -> tuple[str, str, str]:
    assert quantity is not None  # every buffer that was read has an error, judged or not
    return x, quantity.text, quantity.expanded


def _traces(stages: Mapping[str, Stage]) -> list[Series]:
    """The readings that moved, by stage; those that would lie on each other are one line, by its first."""
    names: dict[tuple[tuple[str, str, str], ...], list[str]] = {}
    for stage in stages.values():
        for point, typed in zip(stage.points, stage.typed, strict=True):
            away = [reading - typed.values[-1] for reading in typed.values]
            if any(away) and not stage.same_as:
                trace = tuple((str(number), f"{distance:f}", "") for number, distance in enumerate(away, 1))
                names.setdefault(trace, []).append(f"{stage.title}, {point.id}")
    return [Series(_first_of(together), trace) for trace, together in names.items()]


def _first_of(names: Sequence[str]) -> str:
    """A legend has room for one name."""
    return names[0] if len(names) == 1 else f"{names[0]}, and {len(names) - 1} alike"
