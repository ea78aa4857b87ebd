"""What a prepared standard is worth, how sure that is, and by which causes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from math import fsum, sqrt
from typing import Any

from wqverify.calculations.dilution import diluted
from wqverify.calculations.uncertainty import effective_dof, propagate, round_to
from wqverify.procedures.inputs import ROOT3
from wqverify.procedures.turbidity_inputs import TurbidityInputs, bottle_cause
from wqverify.terms import Given, Input, Quantity, Standard

FIGURES = 3  # of a part of the uncertainty: one beyond what U is shown with
SMALLEST = Decimal("0.000001")  # the last place that can be typed


@dataclass(frozen=True)
class Cause:
    """One part of the uncertainty, ready to be entered."""

    name: str
    u: str
    dof: str  # empty for infinitely many


@dataclass(frozen=True)
class Prepared:
    """A standard as it was made: its value as it is entered, with its budget and causes."""

    value: str
    quantity: Quantity
    causes: tuple[Cause, ...]


def prepared(sheet: Any, given: Given) -> Prepared:
    """Return the value of a preparation; its steps, stock and water were found to fit."""
    stock, water = given.standards[sheet.stock], given.standards[sheet.water]
    assert stock.value is not None
    assert water.value is not None
    inputs = TurbidityInputs(given.analyzer.settings)
    if sheet.apart_c is not None:
        for number in range(1, len(sheet.steps) + 1):
            here = f"{sheet.label}, step {number}" if len(sheet.steps) > 1 else sheet.label
            inputs[f"volume temperature:{here}"] = _measured_apart(sheet.apart_c.value)
    start = inputs.bottle(stock, float(stock.value))
    own = inputs.bottle(water, float(water.value), water=True)
    made = inputs.dilution(start, own, sheet.steps, sheet.label)
    mixing = inputs.percent(f"settling:{sheet.label}", "mixing_percent")

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        return {"value": made(x) * (1 + x[mixing])}

    unit = given.analyzer.unit
    exact = stock.value
    for step in sheet.steps:
        exact = diluted(exact, step.pipetted_ml.value, step.to_ml.value, water.value)
    expanded = propagate(model, inputs, {"value": unit})["value"].expanded
    text = entered(exact, expanded)
    quantity = propagate(model, inputs, {"value": unit}, {"value": text})["value"]
    return Prepared(text, quantity, tuple(_causes(quantity, stock, water, sheet.label)))


def entered(exact: Decimal, expanded: str) -> str:
    """Return a value as it is entered: one place beyond the second figure of U, at most six.

    >>> entered(Decimal("20.0199"), "0.32"), entered(Decimal("0.1199995"), "0.012")
    ('20.020', '0.1200')
    """
    return round_to(exact, f"{max(Decimal(expanded) / 10, SMALLEST * 10):f}")


def _causes(quantity: Quantity, stock: Standard, water: Standard, label: str) -> list[Cause]:
    """Stock and water by their own names, so that they stay what they are; the rest is this preparation."""
    shared = {part.cause for one in (stock, water) for part in one.causes}
    shared |= {bottle_cause(one) for one in (stock, water) if not one.causes}
    kept = [line for line in quantity.budget if line.cause in shared]
    rest = [line for line in quantity.budget if line.cause not in shared]
    found = [_cause(line.cause, line.contribution, line.dof) for line in kept]
    own = [line.contribution for line in rest]
    freedom = effective_dof(own, [line.dof for line in rest])
    found.append(_cause(f"preparation:{label}", sqrt(fsum(part**2 for part in own)), freedom))
    return [cause for cause in found if cause is not None]


def _cause(name: str, u: float, dof: float | None) -> Cause | None:
    exact = Decimal(repr(u))
    if exact < SMALLEST:
        return None
    place = max(exact.adjusted() - FIGURES + 1, -6)
    return Cause(name, f"{exact.quantize(Decimal(1).scaleb(place)):f}", f"{dof:.0f}" if dof else "")


@lru_cache(maxsize=64)
def _measured_apart(half: Decimal) -> Input:
    return Input(
        0.0,
        float(half) / ROOT3,
        "rectangular",
        size_from="temperature",
        source=f"what is pipetted against the glass, within ±{half} °C as typed",
    )
