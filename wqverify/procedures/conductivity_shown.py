"""What is shown beside the checks of a conductivity visit: values, hand calculations and charts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from wqverify.calculations.conductivity import REFERENCE_C
from wqverify.procedures.conductivity_budget import Measured
from wqverify.procedures.conductivity_sheet import ConductivitySheet
from wqverify.procedures.conductivity_stages import Stage
from wqverify.procedures.conductivity_values import ALONE_WITHIN_C, Set
from wqverify.procedures.ph_sheet import ThermometerCheck
from wqverify.procedures.workings import (
    Letters,
    answer,
    answer_shown,
    as_sure,
    error_workings,
    expanded_working,
    plain,
    shares,
    signed,
)
from wqverify.terms import Chart, Check, Given, Line, Quantity, Series, Value, Working

MOST = 6  # lines of a trace that can still be told apart
ISO = "ISO 7888:1985, factors f25 (one public source)"
LETTERS = Letters("R", "E", ", E what the display should show", "cell")
LINEAR = "linear compensation, common practice; a as the transmitter has it"


def values(found: Mapping[str, Stage], given: Given) -> Iterator[Value]:
    """Give the quantities that are shown and not judged."""
    unit = given.analyzer.unit
    for stage in found.values():
        if stage.same_as:
            continue
        for point in stage.points:
            key = f"{stage.name}.{point.id}"
            worth = Quantity(plain(point.worth.exact), unit, float(point.worth.exact))
            label = f"Conductivity of {point.id} at {point.temperature.text} °C, uncompensated"
            yield Value(f"{key}.worth", stage.name, label, worth, point.worth.source)
            if point.expected is None:
                continue
            assert stage.set is not None
            should = Quantity(f"{point.expected:f}", unit, float(point.expected))
            label = f"What the display should show of {point.id}: {stage.set.words}"
            yield Value(f"{key}.expected", stage.name, label, should, source_of(stage.set))
            percent = stage.quantities[f"{point.id}.percent"]
            yield Value(
                f"{key}.percent", stage.name, f"Error in {point.id}, of its value", percent, "100 e / E"
            )
            yield from _constant(stage, point)


def _constant(stage: Stage, point: Measured) -> Iterator[Value]:
    key = f"{stage.name}.{point.id}.cell_constant"
    label = f"Cell constant that would show {point.id} as it should be"
    constant, factor = (stage.quantities.get(f"{point.id}.{word}") for word in ("cell_constant", "factor"))
    if constant is not None:
        yield Value(key, stage.name, label, as_sure(constant), "Kc = Kc held × E / R")
    elif factor is not None:
        yield Value(
            key, stage.name, f"{label}, times the one held (it was not entered)", as_sure(factor), "E / R"
        )


def source_of(compensation: Set) -> str:
    """Return where the formula of a compensation comes from."""
    if compensation.method == "none":
        return "no compensation: the value at the temperature of the standard"
    return ISO if compensation.method == "ISO 7888" else LINEAR


# ---------------------------------------------------------------- hand calculations


def workings(
    sheet: ConductivitySheet, found: Mapping[str, Stage], checks: Sequence[Check], given: Given
) -> Iterator[Working]:
    """Give the calculations a person with a pocket calculator can follow, ending in the numbers shown."""
    shown = {check.key: check.quantity.text for check in checks if check.quantity is not None}
    unit = given.analyzer.unit
    for stage in found.values():
        if stage.same_as:
            continue
        first = True
        for point in stage.points:
            yield _worth(stage, point, unit)
            if point.expected is None:
                continue
            yield from _of_point(stage, point, shown, unit)
            if first:
                label = f"Expanded uncertainty of the error in {point.id}, {stage.title}"
                yield expanded_working(label, stage.quantities[f"{point.id}.error"])
            first = False
        if stage.between and stage.process:
            yield _at_process(stage, shown, unit)
    checked = sheet.thermometer_check
    if isinstance(checked, ThermometerCheck):
        yield Working(
            "Temperature against the reference thermometer",
            "e = t − tR, tR of the reference thermometer",
            f"{checked.shown_c.text} − {checked.reference_c.text}",
            answer(f"{checked.shown_c.value - checked.reference_c.value:f}", "°C", shown["thermometer"]),
            "reading minus reference",
        )


def _worth(stage: Stage, point: Measured, unit: str) -> Working:
    t, worth = point.temperature, point.worth
    label = f"Conductivity of {point.id} at {t.text} °C, {stage.title}"
    if worth.per_c is not None:
        return Working(
            label,
            f"K = Ks (1 + b (t − ts)), b assumed; only within {ALONE_WITHIN_C} °C of ts",
            f"{plain(worth.nominal)} × (1 + {worth.per_c} × ({t.text} − {worth.stated_c}))",
            f"{plain(worth.exact)} {unit}",
            "b of salt solutions from memory",
        )
    rows = [row for row in worth.nodes if row[0] <= float(t.value)][-1:] or list(worth.nodes[:1])
    after = next((row for row in worth.nodes if row[0] > rows[0][0]), None)
    if after is None or rows[0][0] == float(t.value):
        put_in = f"the row at {rows[0][0]:g} °C"
    else:
        (t0, k0), (t1, k1) = rows[0], after
        put_in = f"{k0:g} + ({k1:g} − {k0:g}) × ({t.text} − {t0:g}) / ({t1:g} − {t0:g})"
    return Working(
        label, "K = K0 + (K1 − K0) (t − t0) / (t1 − t0)", put_in, f"{plain(worth.exact)} {unit}", worth.source
    )


def _of_point(stage: Stage, point: Measured, shown: Mapping[str, str], unit: str) -> Iterator[Working]:
    assert point.expected is not None
    assert stage.set is not None
    title = stage.title
    formula, put_in = _should(stage.set, point)
    yield Working(
        f"What the display should show of {point.id}, {title}",
        formula,
        put_in,
        f"{point.expected:f} {unit}",
        f"{source_of(stage.set)}; fixed two digits beyond the display",
    )
    yield from error_workings(point, point.expected, LETTERS, (stage.name, title), shown, unit)
    constant = stage.quantities.get(f"{point.id}.cell_constant")
    if constant is not None and stage.held is not None:
        yield Working(
            f"Cell constant from {point.id}, {title}",
            "Kc = Kc held × E / R",
            f"{stage.held.text} × {point.expected:f} / {point.mean:f}",
            answer_shown(constant),
            "definition of the cell constant",
        )


def _should(compensation: Set, point: Measured) -> tuple[str, str]:
    K, t = plain(point.worth.exact), point.temperature
    if compensation.method == "none":
        return "E = K, nothing is compensated", K
    if compensation.method == "ISO 7888":
        factor = plain(compensation.shown(point.worth.exact, t.value) / point.worth.exact)
        if compensation.reference == REFERENCE_C:
            return "E = f25(t) K", f"{factor} × {K}"
        return "E = f25(t) K / f25(20)", f"{factor} × {K}, the factor already divided"
    a, reference = plain(compensation.a), plain(compensation.reference)
    return "E = K / (1 + a (t − t ref)), a of the transmitter", f"{K} / (1 + {a} × ({t.text} − {reference}))"


def _at_process(stage: Stage, shown: Mapping[str, str], unit: str) -> Working:
    assert stage.between is not None
    assert stage.process is not None
    low, high = stage.between
    e1, e2, x = signed(low.error), signed(high.error), stage.process.shown.text
    key = f"{stage.name}.process.error"
    return Working(
        f"Error at the displayed process value, {stage.title}",
        "e(x) = e1 + (e2 − e1) (x − R1) / (R2 − R1), x as displayed",
        f"{e1} + ({e2} − {e1}) × ({x} − {low.mean:f}) / ({high.mean:f} − {low.mean:f})",
        answer(stage.quantities["process.error"].text, unit, shown[key]),
        "straight line between the two standards, fixed two digits beyond the display",
    )


# ---------------------------------------------------------------- charts


def charts(found: Mapping[str, Stage], checks: Sequence[Check], given: Given) -> Iterator[Chart]:
    """Give the errors as shares of their tolerance, and the readings as they settled."""
    unit = given.analyzer.unit
    own = [stage for stage in found.values() if not stage.same_as]
    series = [Series(one.title, points) for one in own if (points := shares(one.name, one.points, checks))]
    if series:
        yield Chart(
            "errors",
            "Error in each standard as a share of its tolerance, with U",
            f"what the display should show, {unit}",
            "error / tolerance",
            tuple(series),
            (Line("tolerance", "1"), Line("tolerance", "-1")),
        )
    moved = [
        Series(f"{stage.title}, {point.id}", trace)
        for stage in own
        for point, typed in zip(stage.points, stage.typed, strict=True)
        if (trace := _trace(point, typed.values))
    ]
    if moved:
        which = f"the first {MOST} of {len(moved)} that moved" if len(moved) > MOST else "where they moved"
        title = f"Readings as distance from what counts of them ({which})"
        yield Chart("trace", title, "reading", "% from what counts", tuple(moved[:MOST]))


def _trace(point: Measured, typed: Sequence[object]) -> tuple[tuple[str, str, str], ...]:
    """The readings that moved, in percent: 84 and 12880 go into one picture."""
    if not point.mean or len(set(typed)) < 2:
        return ()
    away = [100 * (float(str(value)) / float(point.mean) - 1) for value in typed]
    return tuple((str(number), f"{share:.3f}", "") for number, share in enumerate(away, 1))
