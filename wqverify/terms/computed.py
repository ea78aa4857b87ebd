"""What is computed: inputs and budgets, checks, values, workings, notes, charts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import Literal

from wqverify.terms.tolerance import Tolerance

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
    """What to draw: errors against tolerance, a trace in time, separate samples in time, or pairs."""

    kind: Literal["errors", "trace", "samples", "pairs"]
    title: str
    x_label: str
    y_label: str
    series: tuple[Series, ...]
    lines: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class Result:
    """What a computation gives: checks, values, workings, notes and charts.

    ``facts`` is what a later visit is told besides the checked values: whether it was adjusted, where the
    analyzer stood; "told." with a stage, or with "work", is the sentence others are told of it. ``here`` says
    where the place "analyzer" is where that is none: "at the transmitter".
    """

    checks: tuple[Check, ...]
    values: tuple[Value, ...] = ()
    workings: tuple[Working, ...] = ()
    notes: tuple[Note, ...] = ()
    charts: tuple[Chart, ...] = ()
    facts: Mapping[str, str] = field(default_factory=dict)
    here: str = ""

    def outcome(self, stage: str, place: Place = "analyzer") -> Outcome | None:
        """Return the verdict of a stage at a place: its worst counting check, None where there is none."""
        found = [c.outcome for c in self.checks if c.stage == stage and c.place == place and c.counts]
        return min(found, key=_WORST_FIRST.index) if found else None
