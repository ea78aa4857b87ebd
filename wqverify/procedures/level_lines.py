"""Lines through the levels of a check, and what could make the two ends of a signal differ.

Against the reference a line tells what the transmitter does; against the loop current it tells how a far end
is scaled, and neither tape nor datum enters. What fits within U is a candidate, never a verdict.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

from wqverify.calculations import level
from wqverify.calculations.uncertainty import propagate
from wqverify.calculations.units import convert, units_that_fit
from wqverify.procedures.level_budget import Budget
from wqverify.procedures.level_points import PLACES, Point, Where
from wqverify.terms import Given, Quantity

TOO_NEAR = 0.05  # of the span: a range less sure than this fits everything
Against = Literal["reference", "current"]
Range = tuple[Decimal, Decimal]


@dataclass(frozen=True)
class Line:
    """Slope and intercept of what a place shows; against the current also the range it is scaled to."""

    place: Where
    against: Against
    points: tuple[Point, ...]
    slope: Quantity
    zero: Quantity
    low: Quantity | None = None
    high: Quantity | None = None


def lines_of(budget: Budget, given: Given, stage: str = "as_found") -> list[Line]:
    """Return the lines two different levels or currents of a stage give."""
    here = [point for point in budget.points if point.stage == stage]
    found = []
    for place in PLACES:
        levels = [p for p in here if not p.injected and place in budget.places(p) and not p.why_not(place)]
        if place != "current" and _differ([p.nominal for p in levels]):
            found.append(_line(budget, place, "reference", levels, given))
        if place in ("remote", "own") and budget.ends.get(stage) is not None:
            by_current = [p for p in here if place in p.shown and _current_known(p, place)]
            if _differ([p.ma.value for p in by_current if p.ma is not None]):
                found.append(_line(budget, place, "current", by_current, given))
    return found


def _differ(values: Sequence[Decimal | None]) -> bool:
    return len({value for value in values if value is not None}) > 1


def _current_known(point: Point, place: Where) -> bool:
    if point.ma is None:
        return False
    return not (point.why_not(place) if point.injected else point.reasons.get("current", ""))


def _line(budget: Budget, place: Where, against: Against, points: Sequence[Point], given: Given) -> Line:
    unit = given.analyzer.unit
    units = {"slope": f"{unit}/{unit}", "zero": unit}
    low, high = budget.ends.get(points[0].stage) or (Decimal(0), Decimal(0))
    if against == "current":
        units |= {"low": unit, "high": unit}

    def model(v: Mapping[str, Any]) -> dict[str, Any]:
        if against == "current":
            x = [budget.shown(point, "current", v) for point in points]
            y = [budget.shown(point, place, v) for point in points]
        else:
            x = [budget.reference(point, v) for point in points]
            y = [budget.at_reference(point, place, v) for point in points]
        slope, zero = level.straight_line(x, y)
        ends = level.apparent_range(slope, zero, float(low), float(high))
        return {"slope": slope, "zero": zero, **dict(zip(("low", "high"), ends, strict=True))}

    found = propagate(
        lambda v: {name: one for name, one in model(v).items() if name in units}, budget.x, units
    )
    return Line(
        place, against, tuple(points), found["slope"], found["zero"], found.get("low"), found.get("high")
    )


# ---------------------------------------------------------------- candidates for a mismatch


@dataclass(frozen=True)
class Candidate:
    """What could make a far end differ, and what would tell it from the others."""

    words: str
    separate: str


@dataclass(frozen=True)
class Ends:
    """A far end beside the transmitter: whether they go together within U, and the candidates if not."""

    line: Line
    transmitter: Range
    agrees: bool
    too_near: bool
    candidates: tuple[Candidate, ...]


def ends_of(line: Line, transmitter: Range, known: Mapping[str, Range], given: Given) -> Ends:
    """Compare the range a far end is scaled to with the transmitter's; ``known``: ranges by what has them."""
    assert line.low is not None
    assert line.high is not None
    low, high = transmitter
    span = abs(high - low)
    near = max(float(line.low.expanded), float(line.high.expanded)) > TOO_NEAR * float(span)
    agrees = _fits(line, transmitter)
    found: tuple[Candidate, ...] = ()
    if not agrees and not near:
        found = tuple(_candidates(line, transmitter, known, given))
    return Ends(line, transmitter, agrees, near, found)


def _fits(line: Line, ends: Range) -> bool:
    assert line.low is not None
    assert line.high is not None
    return all(
        abs(found.value - float(end)) <= float(found.expanded)
        for found, end in zip((line.low, line.high), ends, strict=True)
    )


def _candidates(
    line: Line, transmitter: Range, known: Mapping[str, Range], given: Given
) -> Iterator[Candidate]:
    unit, (low, high) = given.analyzer.unit, transmitter
    span, where = high - low, PLACES[line.place]
    for name, ends in known.items():
        if ends != transmitter and _fits(line, ends):
            yield Candidate(
                f"{where} is scaled to {ends[0]} to {ends[1]} {unit}, as {name} says",
                "read the range in the menu of that end, and change it only with its owner",
            )
    if _fits(line, (high, low)):
        yield Candidate(f"the ends of the range of {where} are swapped", "read the range set there")
    if _fits(line, (low + span / 5, high)):
        yield Candidate(f"{where} takes 0-20 mA for 4-20 mA", "inject 4 mA: it shows a fifth of the span")
    for other in units_that_fit(unit):
        factor = convert(Decimal(1), unit, other, difference=True)
        if other != unit and _fits(line, (low * factor, high * factor)):
            yield Candidate(f"{where} shows {other} and not {unit}", "look at the unit on its screen")
    yield from _shifted_or_scaled(line, transmitter, unit)


def _shifted_or_scaled(line: Line, transmitter: Range, unit: str) -> Iterator[Candidate]:
    where, (low, high) = PLACES[line.place], transmitter
    assert line.low is not None
    assert line.high is not None
    off = line.low.value - float(low)
    slope = line.slope.value
    if abs(slope - 1) <= float(line.slope.expanded):
        yield Candidate(
            f"{where} is shifted by {off:+.3g} {unit} at every level: another datum, or an offset",
            "compare elevations: does it show the level, or the height above the sea or the floor",
        )
        return
    ends = " to ".join(roundest(found.value, float(found.expanded)) for found in (line.low, line.high))
    yield Candidate(
        f"{where} is scaled to {ends} {unit}, the transmitter to {low} to {high}",
        "read the range in the menu of both ends",
    )
    if abs(off - (slope - 1) / 4 * float(high - low)) <= float(line.low.expanded):
        yield Candidate(
            f"the resistor across the input of {where} is {250 * slope:.4g} ohm instead of 250",
            "measure the volts across it at a known current: 1 V at 4 mA on 250 ohm",
        )


def roundest(value: float, expanded: float) -> str:
    """Return the roundest number within U of a value: what somebody is likely to have set.

    >>> roundest(34.96, 0.066), roundest(0.029, 0.07), roundest(34.96, 0.01)
    ('35', '0', '34.95')
    """
    for place in range(5, -7, -1):
        for step in (10.0**place, 10.0**place / 2):
            near = round(value / step) * step
            if abs(near - value) <= expanded:
                return f"{near:.6g}"
    return f"{value:.6g}"
