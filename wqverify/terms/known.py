"""What is known before a visit: analyzers, standards on hand, people, tolerances, earlier records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from wqverify.terms.computed import Check
from wqverify.terms.tolerance import Tolerance
from wqverify.terms.typed import Said


@dataclass(frozen=True, slots=True)
class Hop:
    """One hop of the signal: where it is, the range configured there, what it does to the value."""

    name: str
    low: Decimal | None = None
    high: Decimal | None = None
    unit: str = ""
    input_ohm: Decimal | None = None
    damping_s: Decimal | None = None
    interval_s: Decimal | None = None
    clamp: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class SampleLine:
    """The line from the process tap to the analyzer."""

    bore_mm: Decimal
    length_m: Decimal
    flow_ml_min: Decimal
    cell_ml: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Analyzer:
    """A register entry: one tag and the instrument now behind it."""

    tag: str
    serial: str
    kind: str
    measures: str
    unit: str
    low: Decimal
    high: Decimal
    location: str
    sample_point: str = ""
    owner: str = ""
    species: str = ""
    digit: Decimal | None = None
    output: str = ""
    control_system_tag: str = ""
    sample_line: SampleLine | None = None
    hops: tuple[Hop, ...] = ()
    tolerances: Mapping[str, Tolerance] = field(default_factory=dict)
    settings: Mapping[str, str] = field(default_factory=dict)
    intervals_days: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Assigned:
    """The value of a secondary standard for one analyzer; the analyzer's next primary calibration ends it."""

    tag: str
    value: Decimal
    on: str  # the day it was assigned
    after: str  # record number of the primary calibration it was assigned after
    expanded: Decimal | None = None
    k: Decimal | None = None
    serial: str = ""  # of the instrument it was assigned on; another one sees another value


@dataclass(frozen=True, slots=True)
class StandardCause:
    """A part of the standard uncertainty of a prepared standard, named by its physical cause.

    Two dilutions of one stock name the same cause, so what they share adds up or cancels by itself.
    """

    cause: str
    u: Decimal
    dof: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Standard:
    """One bottle, block or reference instrument on hand.

    The value is either ``value`` (with ``u`` its standard uncertainty), or a column of a published table
    (``table``, ``edition``, ``column``), or the bottle's own table ``own`` of (temperature, value) pairs,
    which overrides the published one, or ``assigned`` per analyzer.
    """

    id: str
    kind: str
    name: str
    lot: str
    unit: str
    certificate: str = ""
    expanded: Decimal | None = None
    k: Decimal | None = None
    value: Decimal | None = None
    table: str = ""
    edition: str = ""
    column: str = ""
    own: tuple[tuple[Decimal, Decimal], ...] = ()
    opened: str = ""
    usable_until: str = ""
    because: str = ""  # which of printed date, in-use life, preparation gave usable_until
    calibration_due: str = ""
    assigned: tuple[Assigned, ...] = ()
    causes: tuple[StandardCause, ...] = ()  # of the uncertainty of a prepared standard, in its unit

    def assigned_to(self, tag: str, day: str) -> Assigned | None:
        """Return the newest value assigned for an analyzer up to a day, None where there is none."""
        found = [row for row in self.assigned if row.tag == tag and row.on <= day]
        return max(found, key=lambda row: row.on, default=None)


@dataclass(frozen=True, slots=True)
class Person:
    """Who may perform and who may review."""

    id: str
    name: str
    may_perform: bool = False
    may_review: bool = False
    licence: str = ""
    licence_until: str = ""
    approval: str = ""


@dataclass(frozen=True, slots=True)
class TableUse:
    """A published table a case was computed with."""

    name: str
    edition: str
    digest: str
    source: str


@dataclass(frozen=True, slots=True)
class Site:
    """The plant as the page names it."""

    name: str
    time_zone: str
    retention_years: int
    synthetic: bool = False
    address: str = ""
    holidays: tuple[str, ...] = ()  # days on which nobody works, YYYY-MM-DD


@dataclass(frozen=True, slots=True)
class Earlier:
    """What an earlier record of the same analyzer says, as far as this visit needs it."""

    number: str
    performed: str
    serial: str
    outcomes: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, str] = field(default_factory=dict)
    digest: str = ""
    procedure: str = ""  # empty in records made before it was kept: the record's own
    facts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of time in which an analyzer was worked on; ``end`` is empty where it was not undone.

    ``what`` is "visit", from the first to the last typed time, or what was taken out of use: "output held",
    "loop in manual", "alarm blocked".
    """

    what: str
    start: str
    end: str


@dataclass(frozen=True, slots=True)
class Cited:
    """What another record says, as far as this case needs it: one the sheet names, or one of its period.

    ``checks`` are those of a record the sheet names; of the others the outcomes are enough. ``standards`` are
    the bottles and instruments it was computed with, ``status`` what the person decided about the analyzer,
    ``ended`` that it is superseded or voided.
    """

    number: str
    tag: str
    serial: str
    procedure: str
    performed: str
    digest: str
    outcomes: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, str] = field(default_factory=dict)
    facts: Mapping[str, str] = field(default_factory=dict)
    standards: tuple[str, ...] = ()
    windows: tuple[Window, ...] = ()
    checks: tuple[Check, ...] = ()
    status: str = ""
    ended: str = ""


@dataclass(frozen=True, slots=True)
class TrendUse:
    """A slice of an export that a case was computed with, and what was found in the whole file."""

    path: str  # of the answer that names the file
    file: str
    digest: str  # of the whole export
    channel: str
    unit: str
    slice: str  # name of the attached slice
    told: tuple[str, ...] = ()  # what was read, converted and dropped, in sentences


@dataclass(frozen=True, slots=True)
class Change:
    """A change of register, tolerances, standards or people since the last record of this analyzer."""

    at: str
    what: str
    was: str
    now: str
    by: str = ""
    why: str = ""  # empty: changed, not yet explained


@dataclass(frozen=True, slots=True)
class Given:
    """Everything besides the sheet that a computation may see; complete in the record."""

    format: int
    site: Site
    analyzer: Analyzer
    standards: Mapping[str, Standard] = field(default_factory=dict)
    people: Mapping[str, Person] = field(default_factory=dict)
    tables: Mapping[str, TableUse] = field(default_factory=dict)
    times: Mapping[str, str] = field(default_factory=dict)  # path of a typed time -> ISO 8601 with offset
    earlier: tuple[Earlier, ...] = ()
    changes: tuple[Change, ...] = ()
    attached: Mapping[str, str] = field(default_factory=dict)  # name of a slice -> its SHA-256
    trends: tuple[TrendUse, ...] = ()
    said: Mapping[str, Said] = field(default_factory=dict)  # path of an answer -> how it came
    others: Mapping[str, Analyzer] = field(default_factory=dict)  # analyzers the sheet names besides its own
    records: Mapping[str, Cited] = field(default_factory=dict)  # records the sheet names, or of its period
