"""Check of a level transmitter: a reference against what four places show, and the range at both ends.

Sheet: ``level_sheet``; levels in the analyzer's unit: ``level_points``; models: ``level_budget``; lines and
candidates for a mismatch: ``level_lines``; what is refused: ``level_rules``. The error at each level is
judged, and no slope: a pass holds for the levels read, and where they try no range the page says so.
"""

from __future__ import annotations

from collections.abc import Iterator

from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.procedures.level_beside import BESIDE
from wqverify.procedures.level_budget import key_of
from wqverify.procedures.level_lines import Ends, Line, lines_of
from wqverify.procedures.level_notes import CAUTIONS, notes
from wqverify.procedures.level_parts import Adjusted, Levels, MoreLevels
from wqverify.procedures.level_points import NAMED, PARTS, PLACES, STAGES, Point, Where
from wqverify.procedures.level_rules import Found, brake, found_of, refuse, short
from wqverify.procedures.level_sheet import LevelSheet
from wqverify.procedures.level_shown import charts, ends_found, values, workings
from wqverify.procedures.parts import NotDone
from wqverify.procedures.rules import NOT_READ_AGAIN, tolerance
from wqverify.procedures.workings import as_sure
from wqverify.terms import Check, Given, Outcome, Place, Procedure, Result, Setting, Slices, Tolerance

NAME = "level_check"
JUDGED_AT: dict[Where, Place] = {
    "display": "analyzer",
    "current": "analyzer",
    "remote": "control system",
    "own": "control system",
}


def compute(sheet: LevelSheet, given: Given, slices: Slices) -> Result:  # noqa: ARG001 - no slice is needed
    """Return the result of one check.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, for what cannot be taken: another serial
    on the plate, times out of order, a unit that does not fit, a level outside the range, a range without
    width, no permission of another owner, a range changed on one level.
    """
    refuse(sheet, given)
    found = found_of(sheet, given)
    brake(sheet, found)
    checks = tuple(_checks(sheet, given, found))
    lines = lines_of(found.budget, given)
    ends: list[Ends] = ends_found(lines, sheet, given)
    return Result(
        checks=checks,
        values=tuple(values(sheet, found, lines, given)),
        workings=tuple(workings(found, checks, lines, given)),
        notes=tuple(notes(sheet, given, found, checks, ends)),
        charts=tuple(charts(found, checks, given)),
        facts=_facts(sheet, lines),
        here="at the transmitter",
    )


def expects(sheet: LevelSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    keys: list[str] = []
    for stage, parts in PARTS.items():
        if isinstance(getattr(sheet, stage), NotDone):
            keys.append(f"{stage}.level")
        for part in parts:
            levels = getattr(sheet, part)
            for index, point in enumerate(levels.points if isinstance(levels, Levels | MoreLevels) else ()):
                shown = [p for p in PLACES if getattr(point, "ma" if p == "current" else p) is not None]
                first = part == "as_found" and index == 0 and "own" not in shown
                shown += ["own"] if first and _control_system_is_due(stage, given) else []
                keys += [f"{stage}.{NAMED[part]}_{index + 1}.{place}" for place in shown]
    if isinstance(sheet.as_left, MoreLevels):
        keys += [f"as_left.{place}" for place in _not_read_again(given, found_of(sheet, given))]
    return tuple(keys)


def _control_system_is_due(stage: str, given: Given) -> bool:
    """As found the control system has its own verdict."""
    return stage == "as_found" and bool(given.analyzer.control_system_tag)


# ---------------------------------------------------------------- checks


def _checks(sheet: LevelSheet, given: Given, found: Found) -> Iterator[Check]:
    for stage in STAGES:
        part = getattr(sheet, stage)
        if isinstance(part, NotDone):
            yield not_evaluated(f"{stage}.level", stage, "Error of the level", f"not done: {part.not_done}")
        for point in found.of(stage):
            for place in point.shown:
                yield _check(point, place, found, given)
            first = point.name == "level_1" and "own" not in point.shown
            if first and _control_system_is_due(stage, given):
                yield not_evaluated(
                    key_of(point, "own"),
                    stage,
                    f"Error of {PLACES['own']}, {point.words}",
                    "the control system was not read together with the level",
                    place="control system",
                    tolerance=_tolerance("own", given),
                )
    for place in _not_read_again(given, found) if isinstance(sheet.as_left, MoreLevels) else ():
        yield not_evaluated(
            f"as_left.{place}",
            "as_left",
            f"Error of {_named(place)}",
            NOT_READ_AGAIN,
            place=JUDGED_AT[place],
            tolerance=_tolerance(place, given),
        )


def _not_read_again(given: Given, found: Found) -> list[Where]:
    """The places that failed as found and show nothing as left; what others show says nothing of them."""
    read = {place for point in found.of("as_left") for place in point.shown}
    failed = {
        place
        for point in found.of("as_found")
        for place in point.shown
        if place not in read and _check(point, place, found, given).outcome is Outcome.FAIL
    }
    return [place for place in PLACES if place in failed]


def _check(point: Point, place: Where, found: Found, given: Given) -> Check:
    key, allowed = key_of(point, place), _tolerance(place, given)
    label = f"Error of {_named(place)}, {point.words}"
    quantity = found.quantities.get(key)
    reference = _reference(point, found)
    reason = point.why_not(place)
    observed = point.shown[place].text
    if reason or quantity is None:
        return not_evaluated(
            key,
            point.stage,
            label,
            reason,
            place=JUDGED_AT[place],
            observed=observed,
            reference=reference,
            quantity=quantity,
            tolerance=allowed,
        )
    if place == "current":
        observed = short(found.budget.level_at(point))
    return judge(
        key,
        point.stage,
        label,
        quantity,
        allowed,
        place=JUDGED_AT[place],
        observed=observed,
        reference=reference,
        exact=found.budget.exact(point, place),
    )


def _named(place: Where) -> str:
    return PLACES[place] if place == "own" else f"the {PLACES[place]}"


def _reference(point: Point, found: Found) -> str:
    if point.reference is not None:
        return short(point.reference)
    by_pressure = found.quantities.get(f"{point.stage}.{point.name}.reference")
    return by_pressure.text if by_pressure is not None else ""


def _tolerance(place: Where, given: Given) -> Tolerance | None:
    """The far ends have that of the control system, by default that of the transmitter."""
    name = "error" if JUDGED_AT[place] == "analyzer" else "control_system"
    return tolerance(name, given, {})


def _facts(sheet: LevelSheet, lines: list[Line]) -> dict[str, str]:
    """What a later visit is told besides: whether it was adjusted, and how the far ends were scaled."""
    facts = {"adjusted": "yes" if isinstance(sheet.adjusted, Adjusted) else "no"}
    for line in lines:
        if line.against == "current" and line.low is not None and line.high is not None:
            facts[f"range_{line.place}"] = f"{as_sure(line.low).text} to {as_sure(line.high).text}"
    return facts


PROCEDURE = Procedure(
    name=NAME,
    title="Level check against tape, gauge or sight tube",
    revision=1,
    Sheet=LevelSheet,
    compute=compute,
    expects=expects,
    refuse=refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    tolerances=("error", "control_system"),
    settings={
        "mark_elevation": Setting("-1000", "9999"),  # in the analyzer's unit, one datum for all three
        "gauge_elevation": Setting("-1000", "9999"),
        "zero_elevation": Setting("-1000", "9999"),
        "gravity": Setting("9.76", "9.84"),
        "level_datum": Setting("0", "100"),
        "level_tape": Setting("0", "100"),
        "level_plumb": Setting("0", "100"),
        "level_waves": Setting("0", "100"),
        "level_scale": Setting("0", "100"),
        "level_rise": Setting("0", "100"),
        "level_moment_min": Setting("0", "60"),
        "level_meter_ma": Setting("0", "1"),
        "level_source_ma": Setting("0", "1"),
        "level_gauge_kpa": Setting("0", "100"),
        "level_water_c": Setting("0", "20"),
        "level_density": Setting("0", "100"),
        "level_gravity": Setting("0", "0.1"),
    },
)
