"""What is shown beside the checks of a temperature visit: values, hand calculations and charts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from wqverify.procedures.temperature_budget import Measured, widest
from wqverify.procedures.temperature_stages import Stage
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
from wqverify.terms import Chart, Check, Line, Quantity, Series, Value, Working

IEC = "IEC 60751:2022, Callendar-Van Dusen (coefficients from memory; 138.5055 ohm at 100 °C as printed)"
LETTERS = Letters("D", "T")
MOST = 6  # lines of a trace that can still be told apart


def values(found: Mapping[str, Stage]) -> Iterator[Value]:
    """Give the quantities that are shown and not judged."""
    for stage in found.values():
        if stage.same_as:
            continue
        for point in stage.points:
            if point.element_c is None:
                continue
            key = f"{stage.name}.{point.id}"
            by_ohm = Quantity(f"{point.element_c:f}", "°C", float(point.element_c))
            label = (
                f"Temperature of the element in {point.id} by its {plain(point.element or Decimal(0))} ohm"
            )
            yield Value(f"{key}.element_c", stage.name, label, by_ohm, IEC)
            electronics = stage.quantities[f"{point.id}.electronics"]
            label = f"Display minus element in {point.id}: transmitter and leads"
            yield Value(f"{key}.electronics", stage.name, label, as_sure(electronics), "display less t(R)")
        gain = stage.quantities.get("gain")
        if gain is not None:
            label = "Gain between coldest and warmest bath; what the reference has wrong everywhere is out"
            yield Value(
                f"{stage.name}.gain", stage.name, label, as_sure(gain), "100 ((D2 − D1)/(T2 − T1) − 1)"
            )


# ---------------------------------------------------------------- hand calculations


def workings(found: Mapping[str, Stage], checks: Sequence[Check], unit: str) -> Iterator[Working]:
    """Give the calculations a person with a pocket calculator can follow, ending in the numbers shown."""
    shown = {check.key: check.quantity.text for check in checks if check.quantity is not None}
    for stage in found.values():
        if stage.same_as:
            continue
        for number, point in enumerate(stage.points):
            yield from _of_point(stage, point, shown, unit)
            if number == 0:
                label = f"Expanded uncertainty of the error in {point.id}, {stage.title}"
                yield expanded_working(label, stage.quantities[f"{point.id}.error"])
        pair = widest(stage.points)
        if pair is not None:
            low, high = pair
            yield Working(
                f"Gain, {stage.title}",
                "100 × ((D2 − D1) / (T2 − T1) − 1)",
                f"100 × (({signed(high.mean)} − {signed(low.mean)}) / ({signed(high.true)} − "
                f"{signed(low.true)}) − 1)",
                answer_shown(stage.quantities["gain"]),
                "two points",
            )


def _of_point(stage: Stage, point: Measured, shown: Mapping[str, str], unit: str) -> Iterator[Working]:
    title = stage.title
    if point.reading_r is not None and point.correction:
        yield Working(
            f"Temperature of {point.id}, {title}",
            "T = r + c, c the correction of the certificate",
            f"{point.reading_r.text} + {signed(point.correction)}",
            f"{point.true_c:f} °C",
            "certificate of the reference thermometer",
        )
    if unit == "°F":
        yield Working(
            f"Temperature of {point.id} in °F, {title}",
            "T(°F) = 1.8 T(°C) + 32",
            f"1.8 × {signed(point.true_c)} + 32",
            f"{point.true:f} °F",
            "definition of the degree Fahrenheit",
        )
    yield from error_workings(point, point.true, LETTERS, (stage.name, title), shown, unit)
    if point.element_c is not None and point.element is not None:
        yield _element(stage, point, shown)


def _element(stage: Stage, point: Measured, shown: Mapping[str, str]) -> Working:
    assert point.element is not None
    assert point.element_c is not None
    nominal, ohm = plain(point.nominal), plain(point.element)
    above = point.element >= point.nominal
    formula = "t = (−A + √(A² − 4 B (1 − R/R0))) / (2 B), A 3.9083e-3, B −5.775e-7"
    if not above:
        formula = "R = R0 (1 + A t + B t² + C (t − 100) t³) solved for t, C −4.183e-12"
    return Working(
        f"Element in {point.id} against its class, {stage.title}",
        f"{formula}; e = t − T",
        f"R = {ohm}, R0 = {nominal}: t = {point.element_c:f}; {point.element_c:f} − {signed(point.true_c)}",
        answer(f"{point.element_c - point.true_c:f}", "°C", shown[f"{stage.name}.{point.id}.element"]),
        IEC,
    )


# ---------------------------------------------------------------- charts


def charts(found: Mapping[str, Stage], checks: Sequence[Check], unit: str) -> Iterator[Chart]:
    """Give the errors as shares of their tolerance, and the readings as they settled."""
    own = [stage for stage in found.values() if not stage.same_as]
    series = [Series(one.title, points) for one in own if (points := shares(one.name, one.points, checks))]
    if series:
        yield Chart(
            "errors",
            "Error in each bath as a share of its tolerance, with U",
            f"temperature of the bath, {unit}",
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
        yield Chart("trace", title, "reading", f"{unit} from what counts", tuple(moved[:MOST]))


def _trace(point: Measured, typed: Sequence[Decimal]) -> tuple[tuple[str, str, str], ...]:
    """The readings that moved, as distance from what counts of them."""
    if len(set(typed)) < 2:
        return ()
    return tuple((str(number), f"{value - point.mean:f}", "") for number, value in enumerate(typed, 1))
