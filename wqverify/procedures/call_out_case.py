"""What is known of a fault so far, and what a line of the fault table is made of: nothing here measures.

A measurement has a name in the words of the trade, which stands on the sheet as it is; one that ends with a
question mark is answered with yes or no.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from wqverify.calculations.units import InUnit, convert, quantity_of
from wqverify.procedures.loop_points import hop_of
from wqverify.terms import Analyzer, Given, Standard

OWN = "analyzer"  # the unit of the analyzer


@dataclass(frozen=True, slots=True)
class Measure:
    """Something a multimeter, a display or a person's eyes can tell; ``unit`` empty for a question."""

    what: str
    unit: str = ""
    how: str = ""
    caution: str = ""

    @property
    def is_question(self) -> bool:
        return self.what.endswith("?")


# ---------------------------------------------------------------- the places of a signal, in their order

OPENED = "Opening the loop drops the value to zero: in manual, alarms blocked, or not at all."

REFERENCE = Measure(
    "value by a reference",
    OWN,
    "of the same water at the same moment: a grab, a portable meter, a tape, a gauge",
)
DISPLAY = Measure("value on the display", OWN, "of the analyzer, again")
OUT = Measure("current at the transmitter", "mA", "at its test terminals, or in series at its output", OPENED)
IN = Measure(
    "current at the far end", "mA", "in series at the input card, or as the card itself shows it", OPENED
)
VOLTS = Measure(
    "volts across the input resistor",
    "V",
    "in parallel, nothing opened",
    "On volts, leads in the volt sockets; there may be mains in the same panel.",
)
OHM = Measure(
    "input resistor",
    "ohm",
    "with the loop dead, or as printed on it",
    "Resistance is measured dead: the supply off and locked, or the wire lifted.",
)
SHOWN = Measure("value in the control system", OWN, "by who sits there, at the same moment")
ARCHIVE = Measure("value in the archive", OWN, "the newest one kept, with its time")
CHAIN = (REFERENCE, DISPLAY, OUT, IN, VOLTS, SHOWN, ARCHIVE)
WORDS = {
    REFERENCE.what: "the water",
    DISPLAY.what: "the display of the analyzer",
    OUT.what: "the current at the transmitter",
    IN.what: "the current at the far end",
    VOLTS.what: "the volts across the input",
    SHOWN.what: "the control system",
    ARCHIVE.what: "the archive",
}
ROOT_THERE = Measure("square root taken in the control system?", "", "ask, or look at its input block")
ROOT_HERE = Measure("square root taken in the transmitter?", "", "look at its menu")


@dataclass(frozen=True)
class Case:
    """An analyzer with a symptom, and the last reading of everything that was measured."""

    given: Given
    symptom: str
    read: Mapping[str, InUnit] = field(default_factory=dict)
    seen: Mapping[str, bool] = field(default_factory=dict)
    meter: Standard | None = None
    at: Mapping[str, str] = field(default_factory=dict)  # when, ISO 8601
    held: frozenset[str] = frozenset()  # read while the output was held
    last: str = ""  # what was measured last

    @property
    def analyzer(self) -> Analyzer:
        return self.given.analyzer

    def knows(self, *measures: Measure) -> bool:
        """Whether all of these were measured."""
        return all(one.what in self.read or one.what in self.seen for one in measures)

    def number(self, measure: Measure) -> Decimal:
        """Return a reading in the unit of its measurement; raises KeyError where there is none."""
        return self.read[measure.what].value

    def size(self, measure: Measure) -> float:
        return float(self.number(measure))

    def says(self, measure: Measure) -> bool | None:
        """Return what was seen, None where nobody looked."""
        return self.seen.get(measure.what)

    def text(self, measure: Measure) -> str:
        """Return a reading as it is put into a formula."""
        return self.read[measure.what].words

    def unit(self, measure: Measure) -> str:
        return self.analyzer.unit if measure.unit == OWN else measure.unit

    def is_of(self, *words: str) -> bool:
        """Whether the analyzer measures one of these, by the words of the register."""
        return any(word in self.analyzer.measures.lower().split() for word in words)

    @property
    def may_be_rooted(self) -> bool:
        """Whether a square root belongs somewhere: a flow that is no magnetic or ultrasonic one."""
        return self.is_of("flow") and not self.is_kind("magnetic", "ultrasonic", "turbine", "propeller")

    def is_kind(self, *words: str) -> bool:
        """Whether the instrument is of one of these kinds, by the words of the register."""
        return any(word in self.analyzer.kind.lower() for word in words)

    def range_at(self, place: str) -> tuple[Decimal, Decimal]:
        """Return what 4 and 20 mA are at a place of the signal, by the register, in the analyzer's unit."""
        hop, own = hop_of(place, self.analyzer), self.analyzer.unit
        if hop is None or hop.low is None or hop.high is None:
            hop = hop_of("transmitter", self.analyzer)
        if hop is None or hop.low is None or hop.high is None:
            return self.analyzer.low, self.analyzer.high
        unit = hop.unit or own
        if unit != own and quantity_of(unit) and quantity_of(unit) == quantity_of(own):
            return convert(hop.low, unit, own), convert(hop.high, unit, own)
        return hop.low, hop.high

    def width_at(self, place: str) -> Decimal:
        low, high = self.range_at(place)
        return high - low


@dataclass(frozen=True, slots=True)
class Finding:
    """What a line of the fault table makes of the readings: the arithmetic, and the opinion on it.

    ``between`` names the two points between which the fault would lie; None where nothing is wrong there.
    """

    says: str
    formula: str = ""
    put_in: str = ""
    answer: str = ""
    between: tuple[str, str] | None = None
    confirm: str = ""


def always(_case: Case) -> bool:
    return True


def tells_by_what_follows(_case: Case) -> Finding | None:
    """Of a measurement that only decides which row comes next."""
    return None


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the fault table: what is measured for it, in this order, and what that tells.

    ``symptoms`` are those it is asked for, empty for all; ``wanted`` says whether what is known points here.
    ``splits`` is said beside the question: what the measurement tells apart. ``spans`` are the parts of
    the signal it looks at.
    """

    name: str
    needs: tuple[Measure, ...]
    find: Callable[[Case], Finding | None]
    splits: str
    source: str
    symptoms: frozenset[str] = frozenset()
    wanted: Callable[[Case], bool] = always
    spans: tuple[tuple[Measure, Measure], ...] = ((REFERENCE, DISPLAY),)

    def concerns(self, case: Case) -> bool:
        return (not self.symptoms or case.symptom in self.symptoms) and self.wanted(case)


WRONG = frozenset({"reads wrong", "wrong in part of the range", "drifts"})
CALIBRATION = frozenset({"calibration refused"})

# ---------------------------------------------------------------- sources, as the practice file has them

COMPUTED = "computed"
MEMORY = "from memory"
PRACTICE = "common practice, no source"


def public(what: str, count: str = "one public source") -> str:
    """Name a general figure of the trade that is no figure of one instrument."""
    return f"general figure of {what}, {count}"


PH_DEALER = public("a dealer's page on pH electrodes")
PH_MAKER = public("a maker's page on pH electrodes and a dealer's", "two public sources")
SENSOR_MANUAL = public("a sensor manual")
FLOW_PAGE = public("a page on magnetic flow meters")
LEVEL_PAGE = public("a page on level transmitters")
LOOP_FORUM = public("a forum on loops")
TRANSMITTER = public("two transmitter manuals", "two public sources")


def short(value: float | Decimal, places: int = 2) -> str:
    """Return a computed number to some places, without a sign before zero.

    >>> short(-0.001), short(58.166, 1)
    ('0.00', '58.2')
    """
    return f"{round(float(value), places) + 0:.{places}f}"


ZERO_SHARE = 0.01  # of the span: more is no zero; common practice, no source
NOT_BACK = (
    "Buffers, standards and rinse water go to waste, nothing back into the sample; gloves, eye protection."
)
THERMOMETER_K = 0.5  # between a thermometer and what a transmitter takes; size as in 30 TAC 290.111
BY_TRANSMITTER = Measure("temperature by the transmitter", "°C", "off its display")
BY_THERMOMETER = Measure("temperature by a thermometer", "°C", "in the same water")
