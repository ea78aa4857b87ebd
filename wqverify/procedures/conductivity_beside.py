"""What stands beside the questions of a conductivity check: value of the standard, what should be shown."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from wqverify.procedures import beside as b
from wqverify.procedures.conductivity_checks import as_found, checks_of, tolerance_for
from wqverify.procedures.conductivity_rules import brake
from wqverify.procedures.conductivity_sheet import Adjusted, ConductivitySheet, Decision
from wqverify.procedures.conductivity_stages import Stage, before_adjusting, stability, stages
from wqverify.procedures.conductivity_values import Set, Worth, compensation, registered, why_alone, worth
from wqverify.procedures.parts import Read
from wqverify.procedures.ph_beside import thermometer
from wqverify.procedures.rules import fixed, standard
from wqverify.procedures.workings import plain
from wqverify.terms import Beside, Check, Given, Outcome, Raw, Reading

DISPLAY = Decimal(1)  # where neither a reading nor the register says how fine the display is


@b.quiet
def compensated(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one menu, one path
    """Beside the compensation in the menu: what the register has."""
    held = registered(given)
    return Beside(b.told(f"the register has {held.words}" if held is not None else ""))


@b.quiet
def zero(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the zero: what is allowed, and what it cannot show."""
    read = b.numbers(raw, path)
    limits, unit = tolerance_for("zero", given), given.analyzer.unit
    return b.around(
        Decimal(0),
        limits,
        b.allowed(Decimal(0), limits, unit) if limits is not None else "",
        b.off_by(read[-1] if read else None, Decimal(0), unit),
        "a dead cell shows 0 too: two standards are needed besides",
    )


@b.quiet
def bottle(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the temperature of the standard: which bottle it is, what it is worth, what should be shown."""
    here = b.group(path)
    known = standard(b.at(raw, f"{here}.standard"), here, given)
    typed = b.number(raw, f"{here}.temperature_c")
    which = b.bottle(known, str(raw.get("date", "")))
    if typed is None:
        return Beside(b.told(which, "its value follows the temperature typed here"))
    value, expected, _ = _should(raw, here, typed, given)
    return Beside(b.told(which, _words(value, typed, expected, raw, here, given)), expected)


@b.quiet
def readings(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the readings: what should be shown and may be, whether they hold still, the error so far."""
    here, unit = b.group(path), given.analyzer.unit
    typed, read = b.number(raw, f"{here}.temperature_c"), b.numbers(raw, f"{here}.readings")
    still = stability(Read.model_construct(readings=tuple(read)), given) if read else None
    steady = b.steady(read, still, b.number(raw, f"{here}.interval_s")) if still is not None else ""
    if typed is None:
        return Beside(b.told(steady))
    value, expected, why = _should(raw, here, typed, given)
    told = _words(value, typed, expected, raw, here, given)
    if expected is None:
        return Beside(b.told(told, why, steady))
    limits = tolerance_for("error", given)
    return b.around(
        expected,
        limits,
        told,
        b.allowed(expected, limits, unit),
        steady,
        b.off_by(read[-1] if read else None, expected, unit),
    )


def _set_at(raw: Raw, here: str, given: Given) -> Set | None:
    return compensation(here.partition(".")[0], b.so_far(ConductivitySheet, raw), given)


def _should(raw: Raw, here: str, t: Reading, given: Given) -> tuple[Worth, Decimal | None, str]:
    """What the bottle is worth at a temperature, what should be shown of it, why that is not known."""
    value = worth(standard(b.at(raw, f"{here}.standard"), here, given), t.value, given)
    now, read = _set_at(raw, here, given), b.numbers(raw, f"{here}.readings")
    why = why_alone(value, t.value) or (
        now.why_not(t.value) if now else "which compensation is set is not known"
    )
    if why or now is None:
        return value, None, why
    digit = read[-1].digit if read else given.analyzer.digit or DISPLAY
    return value, fixed(now.shown(value.exact, t.value), digit), ""


def _words(
    value: Worth, t: Reading, expected: Decimal | None, raw: Raw, here: str, given: Given
) -> Iterator[str]:
    unit, now = given.analyzer.unit, _set_at(raw, here, given)
    yield f"{value.standard.id}: {plain(value.exact)} {unit} at {t.text} °C, uncompensated"
    if expected is not None and now is not None:
        yield f"should show {expected:f} {unit} ({now.words})"


# ---------------------------------------------------------------- decided


@b.quiet
def decision(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one decision, one path
    """Beside the decision: leave it alone, or how far off it is and what a rule would refuse."""
    sheet = b.so_far(ConductivitySheet, raw)
    found = stages(sheet, given)
    stage = before_adjusting(found)
    checks = as_found(tuple(checks_of(sheet, given, found)), stage.name)
    return Beside(b.told(_verdict(checks), _constants(stage), _refused(raw, sheet, stage)))


def _verdict(checks: Sequence[Check]) -> Iterator[str]:
    """Leave it alone where everything passes; else what is outside, or what nobody judged."""
    judged = [check for check in checks if check.outcome is not Outcome.NOT_EVALUATED]
    wrong = [check for check in judged if check.outcome is not Outcome.PASS]
    if wrong or len(judged) == len(checks):
        yield from b.verdict(checks)
    elif judged:
        for check in checks:
            if check not in judged:
                yield f"not judged: {check.label}"


def _constants(stage: Stage) -> Iterator[str]:
    for point in stage.counted:
        constant = stage.quantities.get(f"{point.id}.cell_constant")
        factor = stage.quantities.get(f"{point.id}.factor")
        if constant is not None and stage.held is not None:
            yield f"{point.id} asks for a cell constant of {b.amount(constant, 4)}, now {stage.held.text}"
        elif factor is not None:
            yield f"{point.id} asks for {factor.value:.4f} times the present cell constant"


def _refused(raw: Raw, sheet: ConductivitySheet, stage: Stage) -> str:
    """What a rule would refuse of the adjustment that is decided, or of a cell constant."""
    action: Any = b.at(raw, "decision.action") or "cell constant"
    if action in ("leave alone", "replace", "compensation") or b.at(raw, "decision.despite"):
        return ""
    one = Reading.parse("1")
    tried = sheet.model_copy(
        update={
            "decision": Decision(action=action, why="tried"),
            "adjusted": Adjusted.model_construct(
                cell_constant_to=one if "cell constant" in action else None,
                zero_to=one if "zero" in action else None,
            ),
        }
    )
    return b.refusal(lambda: brake(tried, stage))


@b.quiet
def adjusted(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - beside all that is adjusted
    """Beside what was adjusted: the cell constant that the readings before it ask for."""
    return Beside(b.told(_constants(before_adjusting(stages(b.so_far(ConductivitySheet, raw), given)))))


BESIDE = {
    "compensation": compensated,
    "zero": zero,
    "bottle": bottle,
    "readings": readings,
    "thermometer": thermometer,
    "decision": decision,
    "adjusted": adjusted,
}
