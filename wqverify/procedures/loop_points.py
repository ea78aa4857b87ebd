"""A loop as it was read: its range, the places of the signal, and what each showed at each current.

The signal goes from place to place: what is applied, the meter, the input card, the display, the archive. Up
to the card it is a current, after it a value; where the control system takes the root, it is taken between.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Any

from wqverify.calculations import loop
from wqverify.procedures.loop_sheet import LoopSheet, RangeSet, Shown, Supply, Sweep, runs_of, sweep_of
from wqverify.procedures.parts import SameAs
from wqverify.procedures.rules import standard
from wqverify.terms import Analyzer, Given, Hop, Reading, Standard

APPLIED, MEASURED, CARD, DISPLAY, ARCHIVE = "applied", "measured", "card", "display", "archive"
CURRENTS = (APPLIED, MEASURED, CARD)  # the places where the signal still is a current
BY_ITSELF = "the transmitter"
IN_CONTROL_SYSTEM = "in the control system"
STAGES = {"as_found": "As found", "as_left": "As left"}
# The words by which a hop of the register is known to be one of the places; the first hop makes the current.
_KNOWN_BY = {"input card": ("card", "input"), "display": ("display", "control"), "archive": ("archive",)}


@dataclass(frozen=True)
class Line:
    """The loop between the two ends: its range, who makes the current, what is taken of it."""

    low: Decimal
    high: Decimal
    whose: str  # range it is
    unit: str
    root: bool  # taken after the current
    by_itself: bool  # the transmitter makes the current
    source: Standard
    meter: Standard
    ohm: Decimal | None

    @property
    def span(self) -> Decimal:
        return self.high - self.low

    @property
    def first_hop(self) -> str:
        """What the current goes through before the meter."""
        return "transmitter" if self.by_itself else "wire"


@dataclass(frozen=True)
class Point:
    """One current, and what each place showed; ``volts`` where the card was read across its input."""

    way: str
    number: int
    read: Mapping[str, Reading]
    volts: bool = False

    @property
    def applied(self) -> Reading:
        return self.read[APPLIED]

    @property
    def words(self) -> str:
        return f"{self.applied.text} mA {self.way}"


def line_of(sheet: LoopSheet, given: Given) -> Line:
    """Return what the loop is; raises ChooseAnother for an instrument there is not."""
    reference = sheet.reference
    by_itself = reference.made_by == BY_ITSELF
    first = standard(reference.instrument, "reference.instrument", given)
    second = standard(reference.meter, "reference.meter", given) if reference.meter else first
    low, high, whose = range_of(sheet, given.analyzer)
    return Line(
        low,
        high,
        whose,
        given.analyzer.unit,
        sheet.root == IN_CONTROL_SYSTEM,
        by_itself,
        first,
        first if by_itself else second,
        input_ohm(sheet, given.analyzer),
    )


def range_of(sheet: LoopSheet, analyzer: Analyzer) -> tuple[Decimal, Decimal, str]:
    """Return the range by which the current is made: as read at the transmitter, else by the register."""
    for row in sheet.ranges:
        if row.place == "transmitter":
            return row.low.value, row.high.value, "read at the transmitter"
    for hop in analyzer.hops[:1]:
        if hop.low is not None and hop.high is not None and hop.unit in ("", analyzer.unit):
            return hop.low, hop.high, f"of the register, {hop.name}"
    return analyzer.low, analyzer.high, "of the register"


def input_ohm(sheet: LoopSheet, analyzer: Analyzer) -> Decimal | None:
    """Return the input resistor: as measured, else that of the register."""
    if isinstance(sheet.supply, Supply) and sheet.supply.input_ohm is not None:
        return sheet.supply.input_ohm.value
    return next((hop.input_ohm for hop in analyzer.hops if hop.input_ohm is not None), None)


def hop_of(place: str, analyzer: Analyzer) -> Hop | None:
    """Return the hop of the register that is a place of the signal, None where no name says so."""
    if place == "transmitter":
        return analyzer.hops[0] if analyzer.hops else None
    words = _KNOWN_BY[place]
    return next((hop for hop in analyzer.hops[1:] if any(word in hop.name.lower() for word in words)), None)


def set_elsewhere(sheet: LoopSheet, analyzer: Analyzer) -> Iterator[tuple[str, Decimal, Decimal, str]]:
    """Give every range known of the loop besides the one that counts: whose, low, high, unit."""
    for row in sheet.ranges:
        yield f"read at the {row.place}", row.low.value, row.high.value, row.unit or analyzer.unit
    for hop in analyzer.hops:
        if hop.low is not None and hop.high is not None:
            yield f"of the register, {hop.name}", hop.low, hop.high, hop.unit or analyzer.unit
    yield f"of {analyzer.tag} in the register", analyzer.low, analyzer.high, analyzer.unit


def other_unit(place: str, sheet: LoopSheet, given: Given) -> str:
    """Return why a place is not compared: it shows another unit than the analyzer has."""
    for row in sheet.ranges:
        if row.place == place and row.unit and row.unit != given.analyzer.unit:
            return (
                f"the {place} is set to {row.unit} and {given.analyzer.tag} is in {given.analyzer.unit}, so "
                f"its numbers are not compared"
            )
    return ""


def row_words(row: RangeSet, unit: str) -> str:
    """Return a range as it was read, in words."""
    return f"{row.low.text} to {row.high.text} {row.unit or unit}"


# ---------------------------------------------------------------- what was read


def points_of(sweep: Sweep, sheet: LoopSheet) -> tuple[Point, ...]:
    """Return the points of a sweep in the order they were read."""
    volts = sheet.reference.card_in == "V"
    found = []
    for way, run, applied in runs_of(sweep):
        columns = {name: reads for name, reads in _columns(run).items() if reads}
        for index, current in enumerate(applied):
            read = {APPLIED: current, **{name: reads[index] for name, reads in columns.items()}}
            found.append(Point(way, index + 1, read, volts))
    return tuple(found)


def _columns(run: Shown) -> dict[str, tuple[Reading, ...] | None]:
    return {
        MEASURED: run.measured_ma,
        CARD: run.card,
        DISPLAY: run.display,
        ARCHIVE: run.archive,
    }


def own_sweeps(sheet: LoopSheet) -> Iterator[tuple[str, Sweep]]:
    """Give the stages that have readings of their own."""
    for name in STAGES:
        sweep = sweep_of(getattr(sheet, name))
        if sweep is not None:
            yield name, sweep


def is_same(sheet: LoopSheet) -> bool:
    """Whether as left is the same as as found."""
    return isinstance(sheet.as_left, SameAs)


def hops_at(point: Point, first_hop: str) -> Iterator[tuple[str, str, str]]:
    """Give the hops at a point as (name, place before, place after)."""
    places = list(point.read)
    for before, after in pairwise(places):
        yield (first_hop if after == MEASURED else after), before, after


def last_place(points: tuple[Point, ...]) -> str:
    """Return the last place of the signal that was read at all points."""
    return [place for place in points[0].read if all(place in point.read for point in points)][-1]


# ---------------------------------------------------------------- one place as a part of the span


def as_current(place: str, read: Any, line: Line, volts: bool = False, ohm: Any = None) -> Any:
    """Return what a place showed as part of the 16 mA."""
    if place in CURRENTS:
        return loop.fraction(loop.shunt_current(read, ohm) if volts and place == CARD else read)
    part = loop.part_of(read, *_ends(line, read))
    if not line.root:
        return part
    return part * part if part >= 0 else -(part * part)


def as_value(place: str, read: Any, line: Line, volts: bool = False, ohm: Any = None) -> Any:
    """Return what a place showed, or stands for, as part of the range."""
    if place not in CURRENTS:
        return loop.part_of(read, *_ends(line, read))
    part = as_current(place, read, line, volts, ohm)
    return loop.root_of(part) if line.root else part


def _ends(line: Line, read: Any) -> tuple[Any, Any]:
    """A judged number stays a Decimal, one of a budget is a float."""
    return (line.low, line.high) if isinstance(read, Decimal) else (float(line.low), float(line.high))
