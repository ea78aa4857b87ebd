"""Comparison of an online analyzer with grabs: paired values, difference, and the run of differences.

Sheet: ``grab_sheet``; which online value belongs to a grab: ``grab_pairs``; model: ``grab_budget``; what is
refused: ``grab_rules``. The measurand and the unit are the analyzer's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.procedures.grab_beside import BESIDE
from wqverify.procedures.grab_compare import (
    Compare,
    Comparison,
    agreement,
    compare,
    tolerance_of,
)
from wqverify.procedures.grab_notes import CAUTIONS, notes
from wqverify.procedures.grab_rules import brake, refuse
from wqverify.procedures.grab_run import FACT, Run, run_of
from wqverify.procedures.grab_sheet import GrabSheet
from wqverify.procedures.grab_shown import charts, values, workings
from wqverify.procedures.grab_sizes import REPORTING
from wqverify.procedures.parts import NotDone
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

NAME = "grab_comparison"


def compute(sheet: GrabSheet, given: Given, slices: Slices) -> Result:
    """Return the result of one comparison.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, for what cannot be taken: another serial
    on the plate, times out of order, a grab analysed before it was collected, an online value outside the
    range, an adjustment that two agreeing grabs do not found.
    """
    refuse(sheet, given)
    known = compare(sheet, given, slices)
    brake(sheet, known, given)
    checks = tuple(_checks(sheet, given, known))
    runs = [_run(place, sheet, given, known) for place in _places(sheet)]
    return Result(
        checks=checks,
        values=tuple(values(known, runs, given)),
        workings=tuple(workings(known, checks, runs, given)),
        notes=tuple(notes(sheet, given, known, checks, runs)),
        charts=tuple(charts(known, runs, given)),
        facts=_facts(sheet, known),
    )


def expects(sheet: GrabSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    words = {"analyzer": "difference", "control system": "control_system"}
    keys = [
        f"as_found.grab_{n}.{words[place]}" for n, _ in enumerate(sheet.grab, 1) for place in _places(sheet)
    ]
    if _control_system_was_due(sheet, given):
        keys.append("as_found.control_system")
    if len(sheet.grab) > 1:
        keys.append("as_found.grabs_agree")
    if isinstance(sheet.grab_after, NotDone):
        keys.append("as_left.grab.difference")
    elif sheet.grab_after is not None:
        keys += [f"as_left.grab.{words[place]}" for place in _places(sheet, "online_after")]
    return tuple(keys)


def _places(sheet: GrabSheet, name: str = "online") -> list[Place]:
    """Return where online values are from: an export is of the control system."""
    shown = getattr(sheet, name)
    places: list[Place] = ["analyzer"] if shown else []
    if sheet.trend is not None or any(one.control_system is not None for one in shown):
        places.append("control system")
    return places


def _control_system_was_due(sheet: GrabSheet, given: Given) -> bool:
    """As found the control system has its own verdict; where it was not read, that is as visible."""
    return bool(given.analyzer.control_system_tag) and "control system" not in _places(sheet)


# ---------------------------------------------------------------- checks


def _checks(sheet: GrabSheet, given: Given, known: Compare) -> Iterator[Check]:
    for c in known.all:
        if c.stage == "as_found":
            yield _check(c, known, given)
    if _control_system_was_due(sheet, given):
        yield not_evaluated(
            "as_found.control_system",
            "as_found",
            "Control system against the grab",
            "the control system was not read beside the display, and no export of it was named",
            place="control system",
            tolerance=tolerance_of(given),
        )
    if len(sheet.grab) > 1:
        yield _agree(known, given)
    if isinstance(sheet.grab_after, NotDone):
        reason = f"not done: {sheet.grab_after.not_done}"
        yield not_evaluated("as_left.grab.difference", "as_left", "Difference to a grab after it", reason)
    for c in known.all:
        if c.stage == "as_left":
            yield _check(c, known, given)


def _check(c: Comparison, known: Compare, given: Given) -> Check:
    observed = f"{c.pair.fixed:f}" if c.pair.value is not None else ""
    tolerance = tolerance_of(given)
    if c.reason or c.quantity is None:
        return not_evaluated(
            c.key,
            c.stage,
            c.label,
            c.reason,
            place=c.place,
            observed=observed,
            reference=c.reference,
            quantity=c.quantity,
            tolerance=tolerance,
        )
    return judge(
        c.key,
        c.stage,
        c.label,
        c.quantity,
        tolerance,
        place=c.place,
        observed=observed,
        reference=c.reference,
        exact=c.compared.exact(known.measurand),
    )


def _agree(known: Compare, given: Given) -> Check:
    """Whether the grabs tell the same: it advises, the verdict is that of the differences."""
    apart, limit = agreement(known, given)
    key, label = "as_found.grabs_agree", f"Differences by the grabs lie apart, at the {known.place()}"
    if apart is None:
        reason = "fewer than two grabs of this visit can be compared"
        return not_evaluated(key, "as_found", label, reason, tolerance=limit, counts=False)
    quantity = Quantity(f"{apart:f}", limit.unit, float(apart))
    return judge(key, "as_found", label, quantity, limit, counts=False)


# ---------------------------------------------------------------- run of differences, facts


def _difference(known: Compare, place: Place) -> Decimal | None:
    """The difference of this visit at a place: the mean over its sound grabs as found."""
    sound = [Decimal(c.quantity.text) for c in known.sound(place) if c.quantity is not None]
    if not sound:
        return None
    if len(sound) == 1:
        return sound[0]
    return (sum(sound, Decimal(0)) / len(sound)).quantize(min(map(_digit_of, sound)))


def _digit_of(value: Decimal) -> Decimal:
    return Decimal(1).scaleb(int(value.as_tuple().exponent))


def _run(place: Place, sheet: GrabSheet, given: Given, known: Compare) -> Run:
    difference = _difference(known, place)
    now = (given.times["started"], difference) if difference is not None else None
    return run_of(place, now, given.earlier, given.analyzer, sheet.replaces or "", NAME)


def _facts(sheet: GrabSheet, known: Compare) -> dict[str, str]:
    """What a later visit is told besides: the difference as found at each place."""
    found = {}
    for place in _places(sheet):
        difference = _difference(known, place)
        if difference is not None:
            found[FACT[place]] = f"{difference:f}"
    return found


PAIRING = {
    "pairing_window_min": Setting("1", "240"),
    "pairing_gap_min": Setting("1", "240"),
    "pairing_values": Setting("1", "60", whole=True),  # 1: one online value is enough
    "response_s": Setting("0", "3600"),
    "average_s": Setting("0", "3600"),
    "drain_ml": Setting("0", "100000"),
    "good_flag": Setting("0", "999999", whole=True),  # of an export whose archive numbers its quality
}
GRAB = {
    "grab_gain_percent": Setting("0", "20"),
    "grab_zero": Setting("0", "100"),
    "grab_repeatability": Setting("0.0001", "100"),
    "grab_lag_u_s": Setting("0", "3600"),
    "grab_holding_min": Setting("1", "100000", whole=True),
    "grabs_agree": Setting("0.0001", "100"),
    "grabs_agree_ph": Setting("0.001", "1"),
    "grab_junction_ph": Setting("0", "1"),
    "grab_loss_ph": Setting("0", "1"),
}

PROCEDURE = Procedure(
    name=NAME,
    title="Comparison with a grab",
    revision=1,
    Sheet=GrabSheet,
    compute=compute,
    expects=expects,
    refuse=refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    tables=(REPORTING,),
    tolerances=("grab",),
    settings={**PAIRING, **GRAB},
    looks_back={"*": 40},
)
