"""Beside the buffers: the analyzer against a grab, and its temperature against a reference."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.ph_inputs import TEMPERATURE_OF_WATER, PhInputs
from wqverify.procedures.ph_sheet import Grab, ThermometerCheck
from wqverify.procedures.rules import overdue
from wqverify.terms import Check, Given, Input, Quantity, Standard

HOLDING_MINUTES = 15  # pH of a grab, 40 CFR 136.3 Table II (from memory)


def grab_check(key: str, stage: str, path: str, grab: Grab, given: Given) -> Check:
    """Judge the display against a grab taken at the same moment."""
    meter = given.standards[grab.meter]
    label = f"Display against a grab with {meter.name} ({meter.id})"
    shown: dict[str, Any] = {"observed": grab.shown.text, "reference": f"{grab_at_line(grab):f}"}
    quantity = _grab_quantity(grab, meter, given.analyzer.settings)
    minutes = _minutes_waited(path, given.times)
    reason = ""
    if minutes is not None and minutes > HOLDING_MINUTES:
        reason = f"the grab was measured {minutes} min after it was taken, more than {HOLDING_MINUTES} min"
    elif overdue(meter, given, f"{path}.analysed"):
        reason = f"the calibration of {meter.id} was due on {meter.calibration_due}"
    if reason:
        return not_evaluated(key, stage, label, reason, quantity=quantity, **shown)
    return judge(key, stage, label, quantity, given.analyzer.tolerances.get("grab"), **shown)


def grab_at_line(grab: Grab) -> Decimal:
    """Return the pH of the grab at the temperature of the line; pH of water falls on warming."""
    if grab.temperature_c is None or grab.shown_c is None:
        return grab.ph.value
    per_degree = Decimal(str(TEMPERATURE_OF_WATER[0]))
    return grab.ph.value + per_degree * (grab.shown_c.value - grab.temperature_c.value)


def _minutes_waited(path: str, times: Mapping[str, str]) -> int | None:
    taken, measured = times.get(f"{path}.collected"), times.get(f"{path}.analysed")
    if not taken or not measured:
        return None
    return (datetime.fromisoformat(measured) - datetime.fromisoformat(taken)) // timedelta(minutes=1)


def _grab_quantity(grab: Grab, meter: Standard, settings: Mapping[str, str]) -> Quantity:
    x = PhInputs(settings)
    shown, read = (
        x.digit("reading:grab display", grab.shown, "display"),
        x.digit("reading:grab", grab.ph, "meter"),
    )
    name = f"meter:{meter.id}"
    if meter.expanded is not None:
        k = meter.k if meter.k is not None else Decimal(2)
        x[name] = Input(0.0, float(meter.expanded / k), source=f"U {meter.expanded} pH, k {k}, of {meter.id}")
    else:
        x[name] = Input(0.0, 0.012, size_from="common practice", source="the meter's own two buffers")
    x["repeatability of a grab"] = Input(
        0.0, 0.015, "t", dof=12, size_from="memory", source="scatter of a whole grab, until pooled"
    )
    causes = [
        name,
        "repeatability of a grab",
        x.half_width("junctions", "grab_junction_ph"),
        x.half_width("carbon dioxide", "grab_loss_ph"),
    ]
    apart = 0.0
    if grab.temperature_c is not None and grab.shown_c is not None:
        apart = float(grab.shown_c.value - grab.temperature_c.value)
        per_degree, half = TEMPERATURE_OF_WATER
        x["pH of water per °C"] = Input(
            per_degree,
            half / 3**0.5,
            "rectangular",
            size_from="memory",
            source="drinking water, ±0.004 per °C",
        )
        x["temperature difference"] = Input(
            apart, 0.21, size_from="common practice", source="two thermometers, u 0.15 °C each"
        )

    def model(v: Mapping[str, Any]) -> dict[str, Any]:
        there = v[read]
        for cause in causes:
            there = there + v[cause]
        if "temperature difference" in v:
            there = there + v["pH of water per °C"] * v["temperature difference"]
        return {"error": v[shown] - there}

    text = f"{grab.shown.value - grab_at_line(grab):f}"
    return propagate(model, x, {"error": "pH"}, {"error": text})["error"]


def thermometer_check(part: ThermometerCheck, given: Given) -> Check:
    """Judge the analyzer's temperature against the reference thermometer."""
    reference = given.standards[part.reference]
    x = PhInputs(given.analyzer.settings)
    shown = x.digit("reading:temperature display", part.shown_c, "display")
    read = x.digit("reading:reference thermometer", part.reference_c, "reference thermometer")
    cause = x.thermometer(reference)
    for name, half, words in (
        ("bath", 0.1, "the beaker is not the same everywhere, within ±0.1 °C"),
        ("immersion", 0.05, "immersion and lag, within ±0.05 °C"),
    ):
        x[name] = Input(0.0, half / 3**0.5, "rectangular", size_from="memory", source=words)

    def model(v: Mapping[str, Any]) -> dict[str, Any]:
        return {"error": v[shown] - v[read] - v[cause] - v["bath"] - v["immersion"]}

    text = f"{part.shown_c.value - part.reference_c.value:f}"
    quantity = propagate(model, x, {"error": "°C"}, {"error": text})["error"]
    label = f"Temperature against {reference.name} ({reference.id})"
    typed: dict[str, Any] = {"observed": part.shown_c.text, "reference": part.reference_c.text}
    if part.use:
        reason = "information only"
        return not_evaluated(
            "thermometer", "thermometer", label, reason, quantity=quantity, information=True, **typed
        )
    tolerance = given.analyzer.tolerances.get("thermometer")
    return judge("thermometer", "thermometer", label, quantity, tolerance, **typed)
