"""What is shown beside the checks of a flow check: values, hand calculations and the chart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Context, Decimal

from wqverify.calculations.units import convert
from wqverify.procedures.flow_budget import ERRORS, metres
from wqverify.procedures.flow_candidates import candidates
from wqverify.procedures.flow_rules import STAGES, Stage
from wqverify.procedures.flow_sheet import TOTALS, Meter
from wqverify.procedures.workings import answer, expanded_working, signed
from wqverify.terms import Chart, Check, Given, Line, Place, Reading, Series, Value, Working

NINE = Context(prec=9)
GALLON = "US gallon 3.785411784 L, foot 0.3048 m (NIST SP 811)"


def values(stages: Sequence[Stage], meter: Meter | None, given: Given) -> Iterator[Value]:
    """Give the quantities that are shown and not judged."""
    for stage in stages:
        label = f"{STAGES[stage.name]}: flow by the reference"
        yield Value(f"{stage.name}.reference", stage.name, label, stage.found.reference, "the reference")
        for one in candidates(stage, meter, given):
            if one.left is not None:
                label = f"{STAGES[stage.name]}, candidate: what is left if {one.text.partition(':')[0]}"
                yield Value(one.key, stage.name, label, one.left, "a candidate, no verdict")


# ---------------------------------------------------------------- hand calculations


def workings(stages: Sequence[Stage], checks: Sequence[Check], given: Given) -> Iterator[Working]:
    """Give the calculations a person with a pocket calculator can follow, ending in the numbers shown."""
    for stage in stages:
        yield from _reference(stage)
        for place in stage.found.errors:
            yield from _error(stage, place, checks, given)
        yield expanded_working(
            f"{STAGES[stage.name]}: expanded uncertainty of the error",
            next(iter(stage.found.errors.values())),
        )


def _reference(stage: Stage) -> Iterator[Working]:
    run, exact, title = stage.run, stage.exact, STAGES[stage.name]
    seconds = run.duration_s.text
    if run.level_start is not None and run.level_stop is not None:
        if exact.reference.area_m2 is None:
            d = f"{exact.diameter.normalize():f}"
            yield Working(
                f"{title}: area of the tank",
                "A = π d² / 4",
                f"π × {d}² / 4",
                f"{_nine(exact.area)} m²",
                GALLON,
            )
        high, low = (_metres(level, stage) for level in (run.level_start, run.level_stop))
        yield Working(
            f"{title}: flow by the reference",
            "Q = 1000 A (h1 − h2) / t, levels in m",
            f"1000 × {_nine(exact.area)} × ({high} − {low}) / {seconds}",
            f"{_nine(exact.flow)} L/s",
            "the level of the tank",
        )
    elif run.reference_start is not None and run.reference_stop is not None:
        yield _total(f"{title}: flow by the reference", run.reference_start, run.reference_stop, stage)
    else:
        rates = run.reference_rates or ()
        assert exact.standard is not None
        yield Working(
            f"{title}: flow by the reference",
            "mean of the rates, in L/s",
            f"{_mean(rates)} × {_factor(exact.standard.unit)}",
            f"{_nine(exact.flow)} L/s",
            GALLON,
        )


def _total(label: str, start: Reading, stop: Reading, stage: Stage, unit: str = "") -> Working:
    named = unit or (stage.exact.standard.unit if stage.exact.standard else "")
    litres = convert(Decimal(1), named, "L")
    volume = convert(stop.value - start.value, named, "L")
    return Working(
        label,
        "Q = (V2 − V1) × litres of its unit / t",
        f"({stop.text} − {signed(start.value)}) × {litres.normalize():f} / {stage.run.duration_s.text}",
        f"{_nine(volume / stage.run.duration_s.value)} L/s",
        GALLON,
    )


def _error(stage: Stage, place: Place, checks: Sequence[Check], given: Given) -> Iterator[Working]:
    run, exact, title = stage.run, stage.exact, STAGES[stage.name]
    shown, error = exact.shown(place), exact.error(place)
    assert shown is not None
    assert error is not None
    where = "the meter" if place == "analyzer" else "the control system"
    rates = run.rates if place == "analyzer" else run.control_system
    if rates is not None:
        yield Working(
            f"{title}: flow by {where}",
            "mean of the rates, in L/s",
            f"{_mean(rates)} × {_factor(given.analyzer.unit)}",
            f"{_nine(shown)} L/s",
            GALLON,
        )
    else:
        assert run.meter_start is not None
        assert run.meter_stop is not None
        unit = TOTALS[exact.reference.read_as]
        yield _total(f"{title}: flow by {where}", run.meter_start, run.meter_stop, stage, unit)
    judged = next(c.quantity.text for c in checks if c.key == f"{stage.name}.{ERRORS[place]}" and c.quantity)
    yield Working(
        f"{title}: error of {where}",
        "e = 100 (Q shown / Q − 1)",
        f"100 × ({_nine(shown)} / {_nine(exact.flow)} − 1)",
        answer(stage.found.errors[place].text, "%", judged),
        "reading minus reference, in % of the reference",
    )


def _metres(level: Reading, stage: Stage) -> str:
    return f"{metres(level, stage.exact.reference):f}"


def _mean(rates: Sequence[Reading]) -> str:
    texts = [signed(rate.value) if rate.value < 0 else rate.text for rate in rates]
    return texts[0] if len(texts) == 1 else f"(({' + '.join(texts)}) / {len(texts)})"


def _factor(unit: str) -> str:
    return _nine(convert(Decimal(1), unit, "L/s"))


def _nine(value: Decimal) -> str:
    return f"{NINE.plus(value).normalize():f}"


# ---------------------------------------------------------------- chart


def charts(stages: Sequence[Stage], checks: Sequence[Check]) -> Iterator[Chart]:
    """Give the errors against their tolerance."""
    series: list[Series] = []
    lines: list[Line] = []
    for stage in stages:
        for place, name in ERRORS.items():
            check = next((c for c in checks if c.key == f"{stage.name}.{name}" and c.quantity), None)
            if check is None or check.quantity is None:
                continue
            point = (f"{stage.found.reference.value:.4g}", check.quantity.text, check.quantity.expanded)
            where = "" if place == "analyzer" else ", control system"
            series.append(Series(f"{STAGES[stage.name].lower()}{where}", (point,)))
            if not lines and check.low and check.high:
                lines = [Line("tolerance", check.low), Line("tolerance", check.high)]
    if series:
        unit = stages[0].found.reference.unit
        title = "Error of the flow, with U"
        yield Chart("errors", title, f"flow, {unit}", "error, %", tuple(series), tuple(lines))
