"""The vocabulary: what a visit, its result and its record are made of.

Frozen dataclasses only. Nothing here reads a file, knows chemistry or decides an outcome
(that is :func:`wqverify.calculations.judgement.judge`). Words are those of the trade, the GUM and
the VIM; the glossary is in DEVELOPERS.md.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import Any, Literal, Self

from wqverify.errors import CorrectTheEntry

# ---------------------------------------------------------------- what is typed

# Own ASCII grammar: the decimal types of the libraries accept 1_0.0, full-width digits and 1E+999999.
_READING = re.compile(r"(-?[0-9]{1,7}(?:\.[0-9]{1,6})?)(?: ([A-Za-z%/][A-Za-z0-9%/]{0,11}))?")


@dataclass(frozen=True, slots=True)
class Reading:
    """A number exactly as it was read and typed; trailing zeros state the resolution.

    >>> Reading.parse("7.10").text, Reading.parse("12.3 ft").unit
    ('7.10', 'ft')
    >>> str(Reading.parse("7.10").digit)
    '0.01'
    """

    text: str
    value: Decimal
    unit: str | None = None

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read a typed number; raises CorrectTheEntry for anything but digits, one point and a unit."""
        match = _READING.fullmatch(text) if isinstance(text, str) else None
        if match is None:
            shown = repr(text if len(str(text)) <= 40 else str(text)[:40] + "…")
            hint = (
                "a decimal point, not a comma" if "," in str(text) else "at most 7 digits, a point, 6 digits"
            )
            raise CorrectTheEntry(
                f"{shown} is not a reading such as 7.05 ({hint}); type it as the display shows it.",
                found=str(text)[:40],
                expected="a reading such as 7.05",
            )
        return cls(text, Decimal(match[1]), match[2])

    @property
    def digit(self) -> Decimal:
        """One unit of the last place that was typed."""
        return Decimal(1).scaleb(int(self.value.as_tuple().exponent))


@dataclass(frozen=True, slots=True)
class Ask:
    """How one field of a sheet is asked: carried as metadata of the field, read by every face.

    ``unit`` "analyzer" stands for the analyzer's own unit. ``beside`` names a pure function of the
    procedure whose answer is shown next to the question. ``refers`` names the list an answer is picked
    from ("standard", "person", "record"), or "trend", a file in the plant's folder trends/.
    """

    label: str
    unit: str = ""
    help: str = ""
    caution: str = ""
    beside: str = ""
    refers: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """One typed answer with the label and unit it was asked under: readable without the code."""

    path: str
    label: str
    text: str
    unit: str = ""
    resolved: str = ""  # a time: the typed wall clock with its offset


# ---------------------------------------------------------------- what is known beforehand

Rule = Literal["as the method states", "simple", "guarded"]
Basis = Literal["rule", "State protocol", "manufacturer", "local", "common practice"]


@dataclass(frozen=True, slots=True)
class Tolerance:
    """The allowed error of an instrument, or interval of a quantity, with the rule that judges it.

    ``low`` and ``high`` are inclusive and in ``unit``. ``percent`` is of the reference; with
    ``larger_of`` the wider of both counts.

    >>> t = Tolerance(low=Decimal("-0.1"), high=Decimal("0.1"), percent=Decimal(15), larger_of=True,
    ...               unit="mg/L", rule="as the method states", basis="rule", source="EPA 334.0")
    >>> [str(b) for b in t.at(Decimal("1.80"))]
    ['-0.27', '0.27']
    """

    unit: str
    rule: Rule
    basis: Basis
    source: str
    low: Decimal | None = None
    high: Decimal | None = None
    percent: Decimal | None = None
    larger_of: bool = False
    date: str = ""

    def at(self, reference: Decimal) -> tuple[Decimal | None, Decimal | None]:
        """Return the inclusive bounds (low, high) at this reference, in ``unit``."""
        if self.percent is None:
            return self.low, self.high
        share = abs(reference) * self.percent / 100
        if not self.larger_of:
            return -share, share
        return (
            min(-share, self.low) if self.low is not None else -share,
            max(share, self.high) if self.high is not None else share,
        )

    def half_width(self, reference: Decimal) -> Decimal | None:
        """Return T of U/T: half the width of a two-sided tolerance, None for a one-sided one."""
        low, high = self.at(reference)
        return (high - low) / 2 if low is not None and high is not None else None


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


# ---------------------------------------------------------------- what is computed

Distribution = Literal["normal", "rectangular", "triangular", "arcsine", "t"]
SizeFrom = Literal[
    "certificate", "resolution", "readings", "temperature", "common practice", "memory", "computed"
]


@dataclass(frozen=True, slots=True)
class Input:
    """One input of a measurement model, keyed by its physical cause wherever it is used.

    ``u`` is the standard uncertainty, ``dof`` None for infinitely many. ``size_from`` says where the size
    comes from; "memory" and "common practice" are printed as assumed.
    """

    value: float
    u: float
    distribution: Distribution = "normal"
    dof: float | None = None
    size_from: SizeFrom = "certificate"
    source: str = ""


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One line of an uncertainty budget: cause, size and what it contributes to the output."""

    cause: str
    value: float
    u: float
    distribution: str
    dof: float | None
    sensitivity: float
    contribution: float  # |sensitivity| * u, in the unit of the output
    size_from: str
    source: str


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value with its uncertainty. ``text`` is what is shown and judged; ``expanded`` is U, rounded up."""

    text: str
    unit: str
    value: float
    u: float | None = None
    dof: float | None = None
    k: float | None = None
    expanded: str = ""
    budget: tuple[BudgetLine, ...] = ()

    @property
    def decimal(self) -> Decimal:
        return Decimal(self.text)


class Outcome(StrEnum):
    """How a check ended. NOT_EVALUATED always comes with its reason."""

    PASS = "pass"
    FAIL = "fail"
    TOO_CLOSE = "too close to decide"
    NOT_EVALUATED = "not evaluated"


_WORST_FIRST = (Outcome.FAIL, Outcome.TOO_CLOSE, Outcome.NOT_EVALUATED, Outcome.PASS)

Place = Literal["analyzer", "control system"]


@dataclass(frozen=True, slots=True)
class Check:
    """One judged quantity. Only ``judge`` and ``not_evaluated`` of calculations.judgement make one.

    ``counts`` is False for a criterion that advises on upkeep (electrode slope) and is no part of the
    verdict of its stage.
    """

    key: str
    stage: str
    label: str
    outcome: Outcome
    place: Place = "analyzer"
    observed: str = ""
    reference: str = ""
    quantity: Quantity | None = None
    tolerance: Tolerance | None = None
    low: str = ""
    high: str = ""
    share: str = ""  # U/T
    reason: str = ""
    counts: bool = True
    information: bool = False  # shown without a conformity statement


@dataclass(frozen=True, slots=True)
class Value:
    """A computed quantity that is shown and not judged."""

    key: str
    stage: str
    label: str
    quantity: Quantity
    source: str = ""


@dataclass(frozen=True, slots=True)
class Working:
    """A calculation a person with a pocket calculator can follow: formula, numbers put in, answer."""

    label: str
    formula: str
    put_in: str
    answer: str
    source: str = ""


NoteKind = Literal["caution", "advice", "cannot see", "statement", "opinion"]


@dataclass(frozen=True, slots=True)
class Note:
    """A sentence of the result; an opinion has an author."""

    kind: NoteKind
    text: str
    source: str = ""
    author: str = ""


@dataclass(frozen=True, slots=True)
class Series:
    """One named series of a chart; u is the expanded uncertainty of a point, empty for none."""

    name: str
    points: tuple[tuple[str, str, str], ...]  # x, y, U


@dataclass(frozen=True, slots=True)
class Line:
    """A limit drawn and labelled in place."""

    label: str
    y: str


@dataclass(frozen=True, slots=True)
class Chart:
    """What to draw: errors against tolerance, a trace in time, or pairs."""

    kind: Literal["errors", "trace", "pairs"]
    title: str
    x_label: str
    y_label: str
    series: tuple[Series, ...]
    lines: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class Result:
    """What a computation gives: checks, values, workings, notes and charts.

    ``facts`` is what a later visit is told besides the checked values: whether it was adjusted, where the
    analyzer stood.
    """

    checks: tuple[Check, ...]
    values: tuple[Value, ...] = ()
    workings: tuple[Working, ...] = ()
    notes: tuple[Note, ...] = ()
    charts: tuple[Chart, ...] = ()
    facts: Mapping[str, str] = field(default_factory=dict)

    def outcome(self, stage: str, place: Place = "analyzer") -> Outcome | None:
        """Return the verdict of a stage at a place: its worst counting check, None where there is none."""
        found = [c.outcome for c in self.checks if c.stage == stage and c.place == place and c.counts]
        return min(found, key=_WORST_FIRST.index) if found else None


# ---------------------------------------------------------------- what is kept


@dataclass(frozen=True, slots=True)
class Software:
    """What made a record."""

    wqverify: str
    python: str
    typst: str
    notebook: str  # name of the notebook
    notebook_digest: str


@dataclass(frozen=True, slots=True)
class Previous:
    """The entry of the book that stood last when this record was made."""

    chain: str
    seq: int
    digest: str


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution of a procedure; ``source`` names the document or says common practice."""

    text: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class Record:
    """Case, result and provenance. Its canonical JSON is the truth; the page is a pure function of it."""

    format: int
    page: int
    number: str
    visit_id: str
    procedure: str
    title: str
    revision: int
    performed: str  # ISO 8601 with offset: start of the work
    entered: str  # ISO 8601 with offset: when the record was made, this computer's clock
    performed_by: str
    sheet: Mapping[str, Any]
    entries: tuple[Entry, ...]
    cautions: tuple[Caution, ...]
    given: Given
    result: Result
    software: Software
    previous: Previous
    attachments: Mapping[str, str] = field(default_factory=dict)  # name -> sha256
    replaces: str = ""
    replaces_why: str = ""


Slices = Mapping[str, bytes]
Raw = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Setting:
    """A number the register may set for an analyzer, within inclusive bounds.

    >>> last = Setting("2", "60", whole=True)
    >>> str(last), last.allows("60"), last.allows("61"), last.allows("3.5")
    ('a whole number from 2 to 60', True, False, False)
    """

    low: str
    high: str
    whole: bool = False

    def __str__(self) -> str:
        return f"a {'whole ' if self.whole else ''}number from {self.low} to {self.high}"

    def allows(self, text: str) -> bool:
        """Whether a text is such a number, plainly typed and without a unit."""
        try:
            typed = Reading.parse(text)
        except CorrectTheEntry:
            return False
        fits = typed.unit is None and (typed.digit == 1 or not self.whole)
        return fits and Decimal(self.low) <= typed.value <= Decimal(self.high)


@dataclass(frozen=True)
class Procedure:
    """Which readings, which standards, which tolerance, which source: one module each.

    ``compute(sheet, given, slices)`` sees nothing else. ``expects(sheet, given)`` gives the keys of the
    checks that must be in the result. ``upgrade[n]`` turns a raw sheet of revision n into n + 1.
    ``opens(result)`` names what a result opens next, as (procedure, reason). ``looks_back`` says how many
    earlier records of the same tag it is given, newest first, by procedure ("*" for any); without it the
    last one of its own on the same instrument.
    """

    name: str
    title: str
    revision: int
    Sheet: type[Any]
    compute: Callable[[Any, Given, Slices], Result]
    expects: Callable[[Any, Given], tuple[str, ...]]
    cautions: tuple[Caution, ...] = ()
    tables: tuple[tuple[str, str], ...] = ()  # (name, edition) needed besides those of the standards
    beside: Mapping[str, Callable[..., str]] = field(default_factory=dict)
    upgrade: Mapping[int, Callable[[Raw], Raw]] = field(default_factory=dict)
    opens: Callable[[Result], tuple[tuple[str, str], ...]] = lambda _result: ()
    tolerances: tuple[str, ...] = ()  # the names it reads from the register
    settings: Mapping[str, Setting] = field(default_factory=dict)  # likewise
    looks_back: Mapping[str, int] = field(default_factory=dict)
