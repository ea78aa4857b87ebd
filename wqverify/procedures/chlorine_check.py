"""Check of a chlorine analyzer against grabs: error as the method states, zero, sensitivity, next date.

Sheet: ``chlorine_sheet``; models: ``chlorine_budget``; what is refused: ``chlorine_rules``. The criterion is
the register's; EPA Method 334.0 compares observed values, so U is shown and never used.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.procedures.chlorine_beside import BESIDE
from wqverify.procedures.chlorine_notes import CAUTIONS, notes
from wqverify.procedures.chlorine_rules import STAGES, Stage, brake, refuse, stage_of
from wqverify.procedures.chlorine_sheet import ChlorineSheet, pair_of
from wqverify.procedures.chlorine_shown import Due, charts, due, values, workings
from wqverify.procedures.grab_compare import tolerance_of
from wqverify.procedures.grab_run import FACT, Run, run_of
from wqverify.procedures.parts import NotDone
from wqverify.procedures.rules import frozen
from wqverify.terms import (
    Check,
    Given,
    Place,
    Procedure,
    Quantity,
    Result,
    Setting,
    Slices,
)

NAME = "chlorine_check"
ERROR = {"analyzer": "error", "control system": "control_system"}


def compute(sheet: ChlorineSheet, given: Given, slices: Slices) -> Result:  # noqa: ARG001 - no slice is needed
    """Return the result of one check.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, for what cannot be taken: another serial
    on the plate, times out of order, grabs analysed before they were collected, a value outside the range, a
    new sensitivity that two agreeing grabs do not found.
    """
    refuse(sheet, given)
    stages = [stage for name in STAGES if (stage := stage_of(name, sheet, given)) is not None]
    found = next((stage for stage in stages if stage.name == "as_found"), None)
    brake(sheet, found)
    checks = tuple(_checks(sheet, given, stages))
    runs = [_run(place, sheet, given, found) for place in _places(found)]
    next_one = due(sheet, checks, given)
    return Result(
        checks=checks,
        values=tuple(values(sheet, stages, runs, next_one, given)),
        workings=tuple(workings(sheet, stages, checks, runs, given)),
        notes=tuple(notes(sheet, given, stages, checks, runs, next_one)),
        charts=tuple(charts(stages, checks, runs, given)),
        facts=_facts(found, next_one, given),
    )


def expects(sheet: ChlorineSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    keys = []
    for name in STAGES:
        part = getattr(sheet, name)
        if part is None:
            continue
        keys.append(f"{name}.error")
        pair = pair_of(part)
        if pair is None:
            continue
        if pair.grab_b is not None:
            keys.append(f"{name}.grabs_agree")
        if pair.control_system is not None or _control_system_is_due(name, given):
            keys.append(f"{name}.control_system")
    return tuple(keys)


def _control_system_is_due(stage: str, given: Given) -> bool:
    """As found the control system has its own verdict."""
    return stage == "as_found" and bool(given.analyzer.control_system_tag)


# ---------------------------------------------------------------- checks


def _checks(sheet: ChlorineSheet, given: Given, stages: list[Stage]) -> Iterator[Check]:
    for name in STAGES:
        part = getattr(sheet, name)
        if isinstance(part, NotDone):
            reason = f"not done: {part.not_done}"
            yield not_evaluated(f"{name}.error", name, "Error against the grabs", reason)
        for stage in stages:
            if stage.name == name:
                yield from _stage_checks(stage, given)


def _stage_checks(stage: Stage, given: Given) -> Iterator[Check]:
    if stage.pair.grab_b is not None:
        yield _agree(stage, given)
    yield _error(stage, "analyzer", stage.reason, given)
    there = stage.pair.control_system
    if there is not None:
        reason = "; ".join(filter(None, (stage.reason, _frozen(stage, given))))
        yield _error(stage, "control system", reason, given)
    elif _control_system_is_due(stage.name, given):
        yield not_evaluated(
            f"{stage.name}.control_system",
            stage.name,
            "Error of the control system",
            "the control system was not read together with the display",
            place="control system",
            tolerance=tolerance_of(given),
        )


def _frozen(stage: Stage, given: Given) -> str:
    """Why the control system was no live value; without a time of its own it was read with the grabs."""
    at = f"{stage.name}.at"
    times = {at: given.times[f"{stage.name}.collected"], **given.times}
    return frozen(stage.name, replace(given, times=times))


def _error(stage: Stage, place: Place, reason: str, given: Given) -> Check:
    pair, tolerance = stage.pair, tolerance_of(given)
    shown = pair.shown if place == "analyzer" else pair.control_system
    count = "the mean of two grabs" if len(pair.grabs) > 1 else "one grab"
    whose = "Error" if place == "analyzer" else "Error of the control system"
    key = f"{stage.name}.{ERROR[place]}"
    label = f"{whose} against {count}, {stage.instrument.name} ({stage.instrument.id})"
    observed = shown.text if shown is not None else ""
    quantity = stage.quantities.get(place)
    if reason or quantity is None:
        return not_evaluated(
            key,
            stage.name,
            label,
            reason,
            place=place,
            observed=observed,
            reference=stage.reference,
            quantity=quantity,
            tolerance=tolerance,
        )
    return judge(
        key,
        stage.name,
        label,
        quantity,
        tolerance,
        place=place,
        observed=observed,
        reference=stage.reference,
    )


def _agree(stage: Stage, given: Given) -> Check:
    """Whether A and B tell the same; it decides what they are good for, the verdict is that of the error."""
    key, label = f"{stage.name}.grabs_agree", "Grabs A and B lie apart"
    if stage.apart is None:
        reason = stage.reason or "the grabs cannot be compared"
        return not_evaluated(key, stage.name, label, reason, counts=False)
    quantity = Quantity(f"{stage.apart:f}", given.analyzer.unit, float(stage.apart))
    return judge(key, stage.name, label, quantity, stage.limit, counts=False)


# ---------------------------------------------------------------- run of differences, facts


def _places(found: Stage | None) -> list[Place]:
    return [] if found is None else list(found.quantities)


def _difference(place: Place, found: Stage | None, given: Given) -> Decimal | None:
    if found is None or found.reason or place not in found.quantities:
        return None
    if place == "control system" and _frozen(found, given):
        return None
    return Decimal(found.quantities[place].text)


def _run(place: Place, sheet: ChlorineSheet, given: Given, found: Stage | None) -> Run:
    difference = _difference(place, found, given)
    now = (given.times["started"], difference) if difference is not None else None
    return run_of(place, now, given.earlier, given.analyzer, sheet.replaces or "", NAME)


def _facts(found: Stage | None, next_one: Due | None, given: Given) -> dict[str, str]:
    """What a later visit is told besides: the difference as found, and the next date where one moved."""
    facts = {}
    for place in _places(found):
        difference = _difference(place, found, given)
        if difference is not None:
            facts[FACT[place]] = f"{difference:f}"
    return facts | ({"next_due": next_one.on} if next_one is not None else {})


PROCEDURE = Procedure(
    name=NAME,
    title="Chlorine check against grabs",
    revision=1,
    Sheet=ChlorineSheet,
    compute=compute,
    expects=expects,
    refuse=refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    tolerances=("grab",),
    settings={
        "grab_gain_percent": Setting("0", "20"),
        "grab_zero": Setting("0", "100"),
        "grab_repeatability": Setting("0.0001", "100"),
        "grab_holding_min": Setting("1", "100000", whole=True),
        "grabs_agree": Setting("0.0001", "100"),
        "chlorine_moment": Setting("0", "5"),
        "zero_settled_ua": Setting("0", "100"),
        "cell_ph": Setting("0", "2"),
        "cell_c": Setting("0", "20"),
        "cell_flow_min": Setting("1", "10000"),
        "time_constant_s": Setting("1", "7200"),
        "ph_compensated": Setting("0", "1", whole=True),  # 1: the transmitter corrects for pH
    },
    looks_back={"*": 40},
)
