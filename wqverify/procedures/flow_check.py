"""Check of a flow meter against a tank, a strap-on meter or a totaliser: error, zero, roots, as left.

Sheet: ``flow_sheet``; models: ``flow_budget``; what is refused: ``flow_rules``; the meter at standstill:
``flow_zero``; what would explain an error: ``flow_candidates``. The error is in % of the reference, at the
meter and at the control system.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.procedures.flow_beside import BESIDE
from wqverify.procedures.flow_budget import ERRORS
from wqverify.procedures.flow_notes import CAUTIONS, notes
from wqverify.procedures.flow_rules import STAGES, Stage, brake, meter_of, refuse, stage_of
from wqverify.procedures.flow_sheet import Adjusted, FlowSheet, Run
from wqverify.procedures.flow_shown import charts, values, workings
from wqverify.procedures.flow_zero import zero_checks, zero_keys, zero_workings
from wqverify.procedures.parts import NotDone
from wqverify.procedures.rules import NOT_READ_AGAIN, frozen, tolerance
from wqverify.terms import Check, Given, Outcome, Place, Procedure, Result, Setting, Slices

WHOSE: dict[Place, str] = {"analyzer": "Error of the meter", "control system": "Error of the control system"}


def compute(sheet: FlowSheet, given: Given, slices: Slices) -> Result:  # noqa: ARG001 - no slice is needed
    """Return the result of one check.

    Raises CorrectTheEntry or ChooseAnother, with what to do, for what cannot be taken: another serial on the
    plate, a unit that is none of flow, a tank without area, a level that did not fall, no time, a total that
    counts down, a current below 4 mA whose root would be needed, an adjustment founded on nothing.
    """
    refuse(sheet, given)
    stages = _stages(sheet, given)
    brake(sheet, next((stage for stage in stages if stage.name == "as_found"), None))
    made = tuple(_checks(sheet, given, stages))
    checks = (*made, *_not_read_again(sheet, made))
    meter = meter_of(sheet)
    return Result(
        checks=checks,
        values=tuple(values(stages, meter, given)),
        workings=(*workings(stages, checks, given), *zero_workings(sheet, checks, given)),
        notes=tuple(notes(sheet, given, stages, checks)),
        charts=tuple(charts(stages, checks)),
    )


def expects(sheet: FlowSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    keys = []
    for name in STAGES:
        part = getattr(sheet, name)
        if part is None:
            continue
        keys.append(f"{name}.error")
        if isinstance(part, Run) and (part.control_system or _control_system_is_due(name, given)):
            keys.append(f"{name}.control_system")
    keys += zero_keys(sheet)
    made = tuple(_checks(sheet, given, _stages(sheet, given)))
    return (*keys, *(check.key for check in _not_read_again(sheet, made)))


def _control_system_is_due(stage: str, given: Given) -> bool:
    """As found the control system has its own verdict."""
    return stage == "as_found" and bool(given.analyzer.control_system_tag)


# ---------------------------------------------------------------- checks


def _stages(sheet: FlowSheet, given: Given) -> list[Stage]:
    return [stage for name in STAGES if (stage := stage_of(name, sheet, given)) is not None]


def _checks(sheet: FlowSheet, given: Given, stages: list[Stage]) -> Iterator[Check]:
    for name in STAGES:
        part = getattr(sheet, name)
        if isinstance(part, NotDone):
            yield not_evaluated(f"{name}.error", name, WHOSE["analyzer"], f"not done: {part.not_done}")
        for stage in stages:
            if stage.name == name:
                yield from _stage_checks(sheet, stage, given)
    yield from zero_checks(sheet, given)


def _stage_checks(sheet: FlowSheet, stage: Stage, given: Given) -> Iterator[Check]:
    label = f"{{}} against {sheet.reference.against.partition(',')[0]}, flows in {given.analyzer.unit}"
    yield _error(stage, "analyzer", label, stage.reason, given)
    if stage.run.control_system is not None:
        stood_still = _frozen(stage, given)
        yield _error(
            stage, "control system", label, "; ".join(filter(None, (stage.reason, stood_still))), given
        )
    elif _control_system_is_due(stage.name, given):
        yield not_evaluated(
            f"{stage.name}.control_system",
            stage.name,
            label.format(WHOSE["control system"]),
            "the control system was not read while the reference ran",
            place="control system",
            tolerance=tolerance("control_system", given, {}),
        )


def _frozen(stage: Stage, given: Given) -> str:
    """Why the control system was no live value: its output was held while the reference ran."""
    return frozen(stage.name, given)


def _error(stage: Stage, place: Place, label: str, reason: str, given: Given) -> Check:
    key, whose = f"{stage.name}.{ERRORS[place]}", label.format(WHOSE[place])
    quantity, exact = stage.found.errors[place], stage.exact
    shown = exact.shown(place)
    assert shown is not None
    observed = f"{exact.in_unit(shown):.6g}"
    held = tolerance(ERRORS[place], given, {})
    reference = f"{exact.in_unit(exact.flow):.6g}"
    if reason:
        return not_evaluated(
            key,
            stage.name,
            whose,
            reason,
            place=place,
            observed=observed,
            reference=reference,
            quantity=quantity,
            tolerance=held,
        )
    return judge(
        key,
        stage.name,
        whose,
        quantity,
        held,
        place=place,
        observed=observed,
        reference=reference,
        exact=exact.error(place),
    )


def _not_read_again(sheet: FlowSheet, checks: Sequence[Check]) -> Iterator[Check]:
    """Give what failed as found and has no reading as left, where anything was set or read again."""
    if not (isinstance(sheet.adjusted, Adjusted) or any(check.stage == "as_left" for check in checks)):
        return
    there = {check.key for check in checks}
    for check in checks:
        key = check.key.replace("as_found.", "as_left.", 1)
        if check.outcome is Outcome.FAIL and check.stage == "as_found" and key not in there:
            yield not_evaluated(
                key,
                "as_left",
                check.label,
                NOT_READ_AGAIN,
                place=check.place,
                tolerance=check.tolerance,
            )


PROCEDURE = Procedure(
    name="flow_check",
    title="Check of a flow meter",
    revision=1,
    Sheet=FlowSheet,
    compute=compute,
    expects=expects,
    refuse=refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    tolerances=("error", "control_system", "zero"),
    settings={
        "level_each_m": Setting("0.0001", "1"),
        "level_gain_percent": Setting("0", "10"),
        "tank_diameter_m": Setting("0", "1"),
        "tank_shape_percent": Setting("0", "10"),
        "tank_leak_l_s": Setting("0", "1000"),
        "flow_moment_s": Setting("0", "600"),
        "strap_on_percent": Setting("0", "20"),
        "flow_reference_percent": Setting("0", "20"),
    },
)
