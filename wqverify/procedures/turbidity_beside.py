"""What stands beside the questions of the turbidity sheets: value of the standard, limits, gain so far."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from functools import partial
from typing import Any

from pydantic import BaseModel

from wqverify.calculations.judgement import judge
from wqverify.procedures import beside as b
from wqverify.procedures.parts import Read
from wqverify.procedures.rules import standard
from wqverify.procedures.turbidity_checks import control_system_check, tolerance_for
from wqverify.procedures.turbidity_gain import gains
from wqverify.procedures.turbidity_parts import Adjusted, Decision, Step
from wqverify.procedures.turbidity_rules import brake, refuse_volumes
from wqverify.procedures.turbidity_stages import LOW_POINT, Stage, stability, stages, worth
from wqverify.terms import Assigned, Beside, Check, Given, Raw, Reading, Standard, Tolerance

DISPLAY = Decimal("0.001")  # where neither a reading nor the register says how fine the display is


@b.quiet
def readings(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the readings: what the standard is worth for this analyzer, what is allowed, steady or not."""
    here = b.group(path)
    read = b.numbers(raw, f"{here}.readings")
    if here.partition(".")[0] == "assign":
        return Beside(b.told(_named(raw, f"{here}.standard", given), _steady(raw, here, read, given)))
    known = standard(b.at(raw, f"{here}.standard") or b.at(raw, f"{here}.water"), here, given)
    row = known.assigned_to(given.analyzer.tag, str(raw.get("date", "")))
    exact = _worth(raw, here, known, row, read, given)
    limits = _tolerance(here, known, exact, given)
    unit = given.analyzer.unit
    lines = (
        _value(known, row, exact, b.at(raw, f"{here}.diluted") is not None, unit),
        b.allowed(exact, limits, unit),
        _steady(raw, here, read, given),
        b.off_by(read[-1] if read else None, exact, unit),
    )
    return b.around(exact, limits, *lines)


def _worth(
    raw: Raw, here: str, known: Standard, row: Assigned | None, read: Sequence[Reading], given: Given
) -> Decimal:
    if known.value is None and row is None:
        raise LookupError(known.id)  # no value for this analyzer: refused where it is picked
    water = b.at(raw, f"{here}.diluted.water")
    return worth(
        known,
        steps_typed(raw, f"{here}.diluted.steps"),
        standard(water, here, given) if water else None,
        row,
        read[-1].digit if read else given.analyzer.digit or DISPLAY,
    )


def _value(known: Standard, row: Assigned | None, exact: Decimal, diluted: bool, unit: str) -> str:
    """The value a standard has here, with what is known of its uncertainty."""
    if known.value is None and row is not None:
        sure = f", U {row.expanded} {unit}" if row.expanded is not None else ""
        return f"{known.id}: {row.value} {unit} for this analyzer{sure}, assigned on {row.on}"
    sure = f", U {known.expanded} {known.unit}" if known.expanded is not None and not diluted else ""
    return f"{known.id}{' diluted' if diluted else ''}: {exact:f} {unit}{sure}"


def _named(raw: Raw, path: str, given: Given) -> str:
    return b.bottle(standard(b.at(raw, path), path, given), str(raw.get("date", "")))


def _tolerance(here: str, known: Standard, exact: Decimal, given: Given) -> Tolerance | None:
    if here.endswith(".zero"):
        return tolerance_for("zero", given)
    if known.value is None:
        return tolerance_for("secondary", given)
    return tolerance_for("low point" if exact < LOW_POINT else "primary", given)


def _steady(raw: Raw, here: str, read: Sequence[Reading], given: Given) -> str:
    """The limit of turbidity goes by the last reading, so there must be one."""
    if not read:
        return ""
    still = stability(Read.model_construct(readings=tuple(read)), given)
    return b.steady(read, still, b.number(raw, f"{here}.interval_s"))


# ---------------------------------------------------------------- diluted


@b.quiet
def dilution(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the volumes of a standard made on the spot: what it is worth so far."""
    here = path.partition(".diluted")[0]
    known = standard(b.at(raw, f"{here}.standard"), here, given)
    return diluted_so_far(raw, f"{here}.diluted.steps", known, b.at(raw, f"{here}.diluted.water"), given)


def diluted_so_far(raw: Raw, path: str, known: Standard, water_id: str | None, given: Given) -> Beside:
    """Return what stands beside the volumes of a dilution: what goes in, what the steps so far make."""
    unit = given.analyzer.unit
    water = given.standards.get(water_id or "")
    own = f"water {water.id}: {water.value} {unit}" if water and water.value is not None else ""
    lines = [f"{known.id}: {known.value} {known.unit}", own]
    steps = steps_typed(raw, path)
    if not steps or water is None or water.value is None or known.value is None:
        return Beside(b.told(lines))
    made = worth(known, steps, water, None, given.analyzer.digit or DISPLAY)
    count = "1 step" if len(steps) == 1 else f"{len(steps)} steps"
    return Beside(b.told(*lines, f"after {count}: {made:f} {unit}"), made)


def steps_typed(raw: Raw, path: str) -> tuple[Step, ...]:
    """Return the steps of a dilution whose two volumes are typed and fit."""
    found = []
    for number in range(len(b.at(raw, path) or ())):
        pipetted, to = (b.number(raw, f"{path}.{number}.{name}") for name in ("pipetted_ml", "to_ml"))
        if pipetted is None or to is None:
            break
        refuse_volumes(f"{path}.{number}", "The dilution", pipetted, to)
        found.append(Step.model_construct(pipetted_ml=pipetted, to_ml=to))
    return tuple(found)


# ---------------------------------------------------------------- decided


def _measured(sheet_type: type[BaseModel], raw: Raw, given: Given) -> Stage:
    """The last stage that was read before an adjustment, with the gain its readings ask for."""
    sheet = b.so_far(sheet_type, raw)
    found: Mapping[str, Stage] = stages(sheet, given, gains(sheet, ()))
    after = found.get("after_cleaning")
    return found["as_found"] if after is None or after.not_done else after


def _decision(sheet_type: type[BaseModel], raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one
    """Beside the decision: leave it alone, or how far off it is and what a rule would refuse."""
    stage = _measured(sheet_type, raw, given)
    arrives = control_system_check("as_found", b.so_far(sheet_type, raw), given)
    return Beside(b.told(b.verdict((*_judged(stage, given), arrives)), _gain(stage), _refused(raw, stage)))


def _judged(stage: Stage, given: Given) -> Iterator[Check]:
    for point in stage.points:
        if point.counts:
            kind = "zero" if point.kind == "zero" else "low point" if point.exact < LOW_POINT else "primary"
            error, reference = stage.quantities[f"{point.id}.error"], f"{point.exact:f}"
            limits = tolerance_for(kind, given)
            yield judge(point.id, stage.name, f"error on {point.id}", error, limits, reference=reference)


def _gain(stage: Stage) -> str:
    gain = stage.quantities.get("gain")
    return f"the readings ask for {gain.value:.4f} times the present gain" if gain is not None else ""


def _refused(raw: Raw, stage: Stage) -> str:
    action: Any = b.at(raw, "decision.action") or "gain"
    if action in ("leave alone", "replace") or b.at(raw, "decision.despite"):
        return ""
    one = Reading.parse("1")
    zero = one if action == "gain and zero" else None
    tried = _Tried(
        Decision(action=action, why="tried"),
        Adjusted.model_construct(gain_from=one, gain_to=one, zero_from=zero, zero_to=zero),
    )
    return b.refusal(lambda: brake(tried, stage if stage.points else None))


class _Tried:
    """As much of a sheet as the brake looks at: an adjustment that was not made yet."""

    def __init__(self, decision: Decision, adjusted: Adjusted) -> None:
        self.decision, self.adjusted = decision, adjusted


def _adjusted(sheet_type: type[BaseModel], raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - all
    """Beside what was adjusted: the gain that the readings before it ask for, and what the menu held."""
    held = b.at(raw, "stored.gain")
    asked_for = _gain(_measured(sheet_type, raw, given))
    return Beside(b.told(asked_for, f"gain stored on arrival: {held}" if held else ""))


CHECK = {"readings": readings, "dilution": dilution}


def calibration(sheet_type: type[BaseModel]) -> Mapping[str, b.Function]:
    """Return what stands beside the questions of a calibration, whose sheet this is."""
    return {
        **CHECK,
        "decision": b.quiet(partial(_decision, sheet_type)),
        "adjusted": b.quiet(partial(_adjusted, sheet_type)),
    }
