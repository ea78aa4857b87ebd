"""What stands beside the questions of a temperature check: the bath's temperature, limits, the element."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from wqverify.calculations.judgement import judge
from wqverify.calculations.temperature import (
    class_tolerance,
    pt_resistance,
    pt_temperature,
)
from wqverify.procedures import beside as b
from wqverify.procedures.parts import Read
from wqverify.procedures.rules import standard
from wqverify.procedures.temperature_checks import checks_of, class_of, tolerance_for
from wqverify.procedures.temperature_rules import why_no_gain, why_not_adjust
from wqverify.procedures.temperature_sheet import TemperatureSheet
from wqverify.procedures.temperature_stages import (
    Stage,
    correction_of,
    in_unit,
    no_ice,
    nominal_of,
    stability,
    stages,
    unit_of,
)
from wqverify.terms import Beside, Check, Given, Raw


@b.quiet
def thermometer(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the reference thermometer: which it is, until when, what the bath is with its correction."""
    here = b.group(path)
    name, shown = b.at(raw, f"{here}.standard"), b.number(raw, f"{here}.reference")
    if name is None:
        return Beside(b.told("left out only in an ice point, which is 0.00 °C by itself"))
    which = b.bottle(standard(name, here, given), str(raw.get("date", "")))
    true = _true(raw, here, given)
    if shown is None or true is None:
        return Beside(b.told(which))
    return Beside(b.told(which, f"the bath is {true:f} °C", no_ice(b.at(raw, f"{here}.kind"), true, given)))


def _true(raw: Raw, here: str, given: Given) -> Decimal | None:
    """The temperature of a bath as far as it is typed, °C."""
    name, shown = b.at(raw, f"{here}.standard"), b.number(raw, f"{here}.reference")
    if name is None:
        return Decimal("0.00") if b.at(raw, f"{here}.kind") == "ice point" else None
    if shown is None:
        return None
    return shown.value + correction_of(standard(name, here, given), shown.value, here)


@b.quiet
def readings(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the readings: what should be shown and may be, whether they hold still, the error so far."""
    here, unit = b.group(path), unit_of(given)
    true_c, read = _true(raw, here, given), b.numbers(raw, f"{here}.readings")
    still = stability(Read.model_construct(readings=tuple(read)), given) if read else None
    steady = b.steady(read, still, b.number(raw, f"{here}.interval_s")) if still is not None else ""
    if true_c is None:
        return Beside(b.told(steady))
    true = in_unit(true_c, given)
    limits = tolerance_for("error", given)
    return b.around(
        true,
        limits,
        f"the bath is {true:f} {unit}",
        b.allowed(true, limits, unit),
        steady,
        b.off_by(read[-1] if read else None, true, unit),
    )


@b.quiet
def element(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the resistance: what it should be, and the temperature that was typed."""
    sheet, typed = b.so_far(TemperatureSheet, raw), b.number(raw, path)
    nominal, name = float(nominal_of(sheet)), class_of(sheet)
    true = _true(raw, b.group(path), given)
    lines = []
    if true is not None:
        lines.append(f"at {true:f} °C it has {pt_resistance(float(true), nominal):.2f} ohm")
    if true is not None and name:
        lines.append(f"class {name}: ±{class_tolerance(true, name).normalize():f} °C")
    if typed is not None:
        lines.append(f"{typed.text} ohm is {pt_temperature(float(typed.value), nominal):.2f} °C")
    return Beside(b.told(lines))


# ---------------------------------------------------------------- decided


@b.quiet
def decision(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one decision, one path
    """Beside the decision: leave it alone, or how far off it is and what a rule would refuse."""
    sheet = b.so_far(TemperatureSheet, raw)
    stage = stages(sheet, given)["as_found"]
    return Beside(
        b.told(b.verdict(_judged(sheet, stage, given)), _gain(stage), _refused(raw, sheet, stage, given))
    )


def _judged(sheet: Any, stage: Stage, given: Given) -> Iterator[Check]:
    limits = tolerance_for("error", given)
    for point in stage.points:
        if point.counts:
            error = stage.quantities[f"{point.id}.error"]
            label, reference = f"error in {point.id}", f"{point.true:f}"
            yield judge(
                point.id, stage.name, label, error, limits, reference=reference, exact=point.unrounded
            )
    for check in checks_of(sheet, given, stages(sheet, given)):
        if check.stage == stage.name and check.place == "control system" and check.counts:
            yield check


def _gain(stage: Stage) -> Iterator[str]:
    gain = stage.quantities.get("gain")
    if gain is not None:
        yield f"between the baths the display moves {gain.value:+.2f} % more than they do"


def _refused(raw: Raw, sheet: TemperatureSheet, stage: Stage, given: Given) -> str:
    """What a rule refuses of the adjustment that is decided; nothing before that."""
    action: Any = b.at(raw, "decision.action")
    if action in (None, "leave alone", "replace"):
        return ""
    lacking = why_no_gain(sheet, given, stage) if action == "two-point" else ""
    if lacking:
        return b.not_yet(f"{lacking}; read in a second bath, or adjust the offset only")
    reason = "" if b.at(raw, "decision.despite") else why_not_adjust(stage)
    return b.not_yet(f"{reason}; read again, or say why you go on in spite of it") if reason else ""


BESIDE = {
    "thermometer": thermometer,
    "readings": readings,
    "element": element,
    "decision": decision,
}
