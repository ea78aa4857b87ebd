"""The stages of a loop check: every hop at every point, the chain, hysteresis, and what is judged of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from wqverify.calculations import loop
from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.procedures.loop_budget import PERCENT, Budget, Off
from wqverify.procedures.loop_enough import LEAST, ONE_CURRENT, too_few
from wqverify.procedures.loop_points import (
    APPLIED,
    ARCHIVE,
    BY_ITSELF,
    CARD,
    DISPLAY,
    Line,
    Point,
    hops_at,
    last_place,
    line_of,
    other_unit,
    own_sweeps,
    points_of,
)
from wqverify.procedures.loop_sheet import LoopSheet, SignalState, Sweep
from wqverify.procedures.parts import NotDone
from wqverify.procedures.rules import NOT_READ_AGAIN, setting
from wqverify.terms import Check, Given, Outcome, Place, Quantity, Tolerance

CHAIN, HYSTERESIS, STATES = "chain", "hysteresis", "states"
THERE = "control_system"  # what the control room sees, whatever the archive keeps
HOPS = ("transmitter", "wire", CARD, DISPLAY, ARCHIVE)
TOLERANCES = tuple(f"loop_{name}" for name in (CHAIN, *HOPS, HYSTERESIS, STATES))
PLACE_WORDS = {
    APPLIED: "current applied",
    "measured": "current measured",
    CARD: "input card",
    DISPLAY: "display",
    ARCHIVE: "archive",
}
NE_43 = Tolerance(
    unit="states",
    rule="as the method states",
    basis="common practice",
    source="NAMUR NE 43, signal levels for failure (public summaries)",
    low=Decimal(0),
    high=Decimal(0),
)


@dataclass(frozen=True)
class Stage:
    """What was read at one stage, and what follows from it."""

    name: str
    points: tuple[Point, ...]
    budget: Budget
    last: str  # place of the signal
    hops: dict[str, list[Off]] = field(default_factory=dict)  # by hop, in the order of the signal
    chain: list[Off] = field(default_factory=list)
    turned: list[Off] = field(default_factory=list)  # going down less going up
    both_ways: bool = False

    @property
    def line(self) -> Line:
        return self.budget.line

    @property
    def named_hops(self) -> list[str]:
        """The hops that are judged by themselves: a chain of one hop is that hop."""
        return list(self.hops) if len(self.hops) > 1 else []


_latest: tuple[LoopSheet, Given, list[Stage]] | None = None


def stages_of(sheet: LoopSheet, line: Line, given: Given) -> list[Stage]:
    """Return the stages that have readings of their own.

    Those of the newest case are kept: what is computed and which checks are expected both ask for them, and
    they are nearly all of the work.
    """
    global _latest
    known = _latest
    if known is not None and known[0] is sheet and known[1] is given:
        return known[2]
    stages = [_stage(name, sweep, sheet, line, given) for name, sweep in own_sweeps(sheet)]
    _latest = (sheet, given, stages)
    return stages


def _stage(name: str, sweep: Sweep, sheet: LoopSheet, line: Line, given: Given) -> Stage:
    points = points_of(sweep, sheet)
    budget = Budget(line, given, sheet.reference.ambient_c, name)
    stage = Stage(name, points, budget, last_place(points), both_ways=_both_ways(points))
    for point in points:
        for hop, before, after in hops_at(point, line.first_hop):
            stage.hops.setdefault(hop, []).append(budget.off(hop, before, after, point))
        if stage.last != APPLIED:
            stage.chain.append(budget.off(CHAIN, APPLIED, stage.last, point))
    for up, down in _pairs(points):
        turned = budget.hysteresis(stage.last, up, down) if stage.last != APPLIED else None
        if turned is not None:
            stage.turned.append(turned)
    return stage


def _both_ways(points: Sequence[Point]) -> bool:
    return any(point.way == "falling" for point in points)


def seen_there(points: Sequence[Point]) -> str:
    """Return the place at which the control system was read, empty where it was not."""
    everywhere = [place for place in points[0].read if all(place in point.read for point in points)]
    return next((place for place in (DISPLAY, ARCHIVE) if place in everywhere), "")


def _pairs(points: Sequence[Point]) -> Iterator[tuple[Point, Point]]:
    """Give the points up and down that are one current."""
    for up in (point for point in points if point.way == "rising"):
        near = [
            (abs(point.applied.value - up.applied.value), point) for point in points if point.way == "falling"
        ]
        distance, down = min(near, key=lambda each: each[0], default=(ONE_CURRENT + 1, up))
        if distance <= ONE_CURRENT:
            yield up, down


# ---------------------------------------------------------------- which checks


def keys_of(sheet: LoopSheet, given: Given) -> Iterator[str]:
    """Give the keys of the checks that a sheet asks for, with those of what was not read again."""
    keys = dict.fromkeys(_keys_of(sheet, "transmitter" if sheet.reference.made_by == BY_ITSELF else "wire"))
    yield from keys
    if len(dict(own_sweeps(sheet))) > 1:
        every = unread_of(stages_of(sheet, line_of(sheet, given), given), sheet, given)
        yield from (f"as_left.{hop}" for hop in every if f"as_left.{hop}" not in keys)


def _keys_of(sheet: LoopSheet, first_hop: str) -> Iterator[str]:
    sweeps = dict(own_sweeps(sheet))
    for name in ("as_found", "as_left"):
        if isinstance(getattr(sheet, name), NotDone):
            yield f"{name}.{CHAIN}"
        if name in sweeps:
            points = points_of(sweeps[name], sheet)
            hops = dict.fromkeys(hop for point in points for hop, _, _ in hops_at(point, first_hop))
            yield from (f"{name}.{hop}" for hop in hops if len(hops) > 1)
            yield f"{name}.{CHAIN}"
            if name == "as_found" and seen_there(points):
                yield f"{name}.{THERE}"
            if _both_ways(points):
                yield f"{name}.{HYSTERESIS}"
        if name == "as_found" and sheet.states:
            yield f"as_found.{STATES}"


def checks_of(sheet: LoopSheet, stages: Sequence[Stage], given: Given) -> Iterator[Check]:
    """Give the checks of all stages, and of the states of the signal."""
    unread = unread_of(stages, sheet, given)
    for name in ("as_found", "as_left"):
        part = getattr(sheet, name)
        if isinstance(part, NotDone):
            reason = f"not done: {part.not_done}"
            yield not_evaluated(f"{name}.{CHAIN}", name, "Loop from end to end", reason)
        for stage in stages:
            if stage.name == name:
                yield from _stage_checks(stage, unread if name == "as_left" else {}, sheet, given)
        if name == "as_found" and sheet.states:
            yield _states_check(sheet.states, given)


def _stage_checks(
    stage: Stage, unread: Mapping[str, Unread], sheet: LoopSheet, given: Given
) -> Iterator[Check]:
    held = given.analyzer.tolerances
    any_held = any(f"loop_{hop}" in held for hop in (*stage.named_hops, CHAIN))
    judged = dict(groups(stage))
    for hop, offs in judged.items():
        counts = hop != HYSTERESIS and not any_held
        check = _worst(stage, hop, offs, _tolerance(hop, given), counts, sheet, given)
        yield _held_back(check, unread[hop].reason) if hop in unread else check
    for hop, one in unread.items():
        if hop not in judged:
            tolerance = _tolerance(hop, given)
            yield not_evaluated(f"{stage.name}.{hop}", stage.name, one.label, one.reason, tolerance=tolerance)


def groups(stage: Stage) -> Iterator[tuple[str, list[Off]]]:
    """Give what is judged of a stage: its hops, the chain, the control system, hysteresis."""
    for hop in stage.named_hops:
        yield hop, stage.hops[hop]
    yield CHAIN, stage.chain
    place = seen_there(stage.points)
    if stage.name == "as_found" and place:
        yield THERE, [stage.budget.off(THERE, APPLIED, place, point) for point in stage.points]
    if stage.both_ways:
        yield HYSTERESIS, stage.turned


def _tolerance(hop: str, given: Given) -> Tolerance | None:
    return given.analyzer.tolerances.get(f"loop_{CHAIN if hop == THERE else hop}")


def _held_back(check: Check, reason: str) -> Check:
    """What failed stays failed; all else is not evaluated, with what was measured beside it."""
    if check.outcome is Outcome.FAIL:
        return check
    return not_evaluated(
        check.key,
        check.stage,
        check.label,
        "; ".join(part for part in (check.reason, reason) if part),
        place=check.place,
        observed=check.observed,
        reference=check.reference,
        quantity=check.quantity,
        tolerance=check.tolerance,
        counts=check.counts,
    )


def _worst(
    stage: Stage,
    hop: str,
    offs: Sequence[Off],
    tolerance: Tolerance | None,
    counts: bool,
    sheet: LoopSheet,
    given: Given,
) -> Check:
    """Judge the point with the least room: where that one passes, all do."""
    key, counts = f"{stage.name}.{hop}", counts or tolerance is not None
    place: Place = "control system" if hop == THERE else "analyzer"
    unit = tolerance.unit if tolerance is not None else PERCENT
    some = [off for off in offs if unit in off.found]
    label = label_of(stage, hop, next((off.before for off in offs), APPLIED))
    reason = _why_not(stage, hop, offs, some, unit, sheet, given)
    if reason:
        return not_evaluated(key, stage.name, label, reason, place=place, tolerance=tolerance, counts=counts)
    off = min(some, key=lambda each: _room(each, unit, tolerance))
    check = judge(
        key,
        stage.name,
        f"{label_of(stage, hop, off.before)}, furthest off at {off.point.words}",
        off.found[unit],
        tolerance,
        place=place,
        observed=off.observed[unit],
        reference=off.reference[unit],
        counts=counts,
        exact=off.exact[unit],
    )
    few = "" if hop == HYSTERESIS else few_of(stage, offs, unit, given)
    judged = check.outcome is not Outcome.NOT_EVALUATED
    return _held_back(check, few) if few and judged else check


def few_of(stage: Stage, offs: Sequence[Off], unit: str, given: Given) -> str:
    """Return why a place was read at too few currents for a pass, empty where it was not."""
    some = [off for off in offs if unit in off.found]
    return too_few(
        (off.point.applied.value for off in some),
        int(setting(given, "loop_least_currents", LEAST)),
        root=stage.line.root,
        above_zero=len(some) < len(offs),
    )


def _why_not(
    stage: Stage,
    hop: str,
    offs: Sequence[Off],
    some: Sequence[Off],
    unit: str,
    sheet: LoopSheet,
    given: Given,
) -> str:
    after = stage.last if hop in (CHAIN, HYSTERESIS) else seen_there(stage.points) if hop == THERE else hop
    before = [off.before for off in offs[:1]]
    for place in (*before, after):
        if reason := other_unit(place, sheet, given):
            return reason
    if not stage.chain and hop in (CHAIN, HYSTERESIS):
        return "no place was read at every current, so there is no chain from end to end"
    if not offs:
        return "no current was applied both on the way up and on the way down"
    if offs and not some and unit not in (PERCENT, "mA", stage.line.unit):
        return f"the tolerance is in {unit}; write it in %, in mA or in {stage.line.unit}"
    if not some:
        return "only currents of 4 mA and below were read, where a square root has no slope"
    return ""


def _room(off: Off, unit: str, tolerance: Tolerance | None) -> Decimal:
    """How much room an error leaves to the nearer limit; without a tolerance the largest error counts."""
    error, quantity = off.exact[unit], off.found[unit]
    low, high = tolerance.at(Decimal(off.reference[unit])) if tolerance is not None else (None, None)
    room = [high - error] if high is not None else []
    room += [error - low] if low is not None else []
    if not room:
        return -abs(error)
    guard = (
        Decimal(quantity.expanded) if tolerance is not None and tolerance.rule == "guarded" else Decimal(0)
    )
    return min(room) - guard


def label_of(stage: Stage, hop: str, before: str) -> str:
    """Return a hop in words, with the place it is compared with."""
    if hop == CHAIN:
        return f"Loop from end to end, {PLACE_WORDS[stage.last]} against the current applied"
    if hop == THERE:
        return f"Control system, {PLACE_WORDS[seen_there(stage.points)]} against the current applied"
    if hop == HYSTERESIS:
        return f"Hysteresis, {PLACE_WORDS[stage.last]} going down less going up"
    what = {"transmitter": "Output of the transmitter", "wire": "Wire up to the meter"}.get(hop)
    return f"{what or PLACE_WORDS[hop].capitalize()} against the {PLACE_WORDS[before]}"


# ---------------------------------------------------------------- failed as found, not read again


@dataclass(frozen=True, slots=True)
class Unread:
    """Why what failed as found is not shown to be right as left."""

    label: str
    reason: str


def unread_of(stages: Sequence[Stage], sheet: LoopSheet, given: Given) -> dict[str, Unread]:
    """Return by check as left what failed as found and was not read again, a place or a current."""
    by_name = {stage.name: stage for stage in stages}
    found, left = by_name.get("as_found"), by_name.get("as_left")
    unread: dict[str, Unread] = {}
    if found is None or left is None:
        return unread
    for hop, offs in groups(found):
        failed = _failed(found, hop, offs, sheet, given)
        what = _not_again(hop, failed, left) if failed else ""
        if what:
            to = CHAIN if hop == THERE else hop
            before = unread[to].reason if to in unread else ""
            reason = "; ".join(dict.fromkeys(part for part in (before, what) if part))
            unread[to] = Unread(label_of(found, to, failed[0].before), reason)
    return unread


def _failed(stage: Stage, hop: str, offs: Sequence[Off], sheet: LoopSheet, given: Given) -> list[Off]:
    """The points of a hop that failed, each judged by itself."""
    tolerance = _tolerance(hop, given)
    if tolerance is None:
        return []
    every = ((off, _worst(stage, hop, [off], tolerance, True, sheet, given)) for off in offs)
    return [off for off, check in every if check.outcome is Outcome.FAIL]


def _not_again(hop: str, failed: Sequence[Off], left: Stage) -> str:
    place = failed[0].after
    if hop == HYSTERESIS:
        again = [off.point.applied.value for off in left.turned if off.after == place]
        what = f"the {PLACE_WORDS[place]} going down"
    else:
        again = [point.applied.value for point in left.points if place in point.read]
        what = f"the {PLACE_WORDS[place]}"
    if not again:
        return f"{what} {NOT_READ_AGAIN}"
    if hop in (CHAIN, THERE) and len(again) < len(left.points):
        return f"{what} {NOT_READ_AGAIN} at every current"
    missing = [
        off.point.applied.text
        for off in failed
        if all(abs(off.point.applied.value - current) > ONE_CURRENT for current in again)
    ]
    texts = " and ".join(f"{text} mA" for text in dict.fromkeys(missing))
    return f"{what} at {texts} {NOT_READ_AGAIN}" if missing else ""


# ---------------------------------------------------------------- states


def wrong_states(states: Sequence[SignalState]) -> list[SignalState]:
    """Return the states that the far end does not take as NAMUR NE 43 has them."""
    return [state for state in states if state.taken_as not in _allowed(state)]


def _allowed(state: SignalState) -> tuple[str, ...]:
    what = loop.state_of(state.applied_ma.value)
    if what.startswith("failure"):
        return ("a failure",)
    if what == "measuring":
        return ("a value", "clamped")
    return ("a value", "a failure", "clamped", "held")


def _states_check(states: Sequence[SignalState], given: Given) -> Check:
    wrong = len(wrong_states(states))
    quantity = Quantity(str(wrong), "states", float(wrong))
    label = f"States of the signal taken otherwise than NE 43 has them, of {len(states)}"
    tolerance = given.analyzer.tolerances.get(f"loop_{STATES}", NE_43)
    return judge(f"as_found.{STATES}", "as_found", label, quantity, tolerance, counts=False)
