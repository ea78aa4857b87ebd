"""The parts that field sheets are made of, shared by all procedures: nothing here knows what is measured.

A sheet is three parts in the order of work: ``Head``, the procedure's own middle, ``Tail``. Written as
``class Sheet(Tail, Middle, Head)``, because pydantic lists the fields of the last base first. What was
not done is said where it would stand: any ``Done`` part can be ``not_done = "because ..."``.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, ClassVar, Generic, Literal, Self, TypeVar

from pydantic import Field, model_validator

from wqverify.plant.fields import Day, Name, Notes, Text, said
from wqverify.procedures.answers import (
    AtTime,
    Done,
    DoneOrSame,
    NotDone,
    Number,
    Part,
    Readings,
    SameAs,
    Time,
)
from wqverify.procedures.walk import (
    Clock,
    entries,
    named_people,
    named_standards,
    named_trends,
    refuse_disorder,
    typed_times,
)
from wqverify.terms import Ask, Reading

__all__ = [
    "BACK_IN_SERVICE",
    "BEFORE_IT_IS_TOUCHED",
    "AtTime",
    "Cause",
    "Cautions",
    "Cleaned",
    "Clock",
    "Clocks",
    "Condition",
    "CopiedFromPaper",
    "Done",
    "DoneOrSame",
    "Head",
    "Moment",
    "NotDone",
    "Number",
    "OnStandard",
    "Part",
    "Points",
    "Read",
    "Readings",
    "SameAs",
    "Signal",
    "Status",
    "Tail",
    "Time",
    "Told",
    "entries",
    "insist_on_decision",
    "named_people",
    "named_standards",
    "named_trends",
    "refuse_disorder",
    "typed_times",
]

P = TypeVar("P", bound="Read")

# ---------------------------------------------------------------- readings on standards


class OnStandard(Part):
    """Which bottle, block or reference was measured, and whether it counts."""

    standard: Annotated[
        Name, Ask("standard", refers="standard", help="its id, as on the label and in standards_on_hand.toml")
    ]
    use: Annotated[
        Literal["information only"] | None,
        Ask(
            "does it count",
            help="information only: the result is shown without a pass or fail; left out: it counts",
            when="on request",
        ),
    ] = None


class Read(Part):
    """Readings one after the other until they hold still; the last one counts."""

    readings: Annotated[
        Readings,
        Ask("readings", "analyzer", help="every reading until it holds still", beside="readings"),
    ]
    interval_s: Annotated[Number | None, Ask("time between readings", "s", clock=True)] = None
    at: Annotated[Time | None, Ask("last reading at", clock=True)] = None
    control_system: Annotated[
        Number | None,
        Ask(
            "control system with the last reading",
            "analyzer",
            help="only where the output is not held",
            beside="readings",
            when="own visit, output not held",
        ),
    ] = None

    @property
    def last(self) -> Reading:
        return self.readings[-1]

    @property
    def values(self) -> tuple[Decimal, ...]:
        return tuple(reading.value for reading in self.readings)


class Points(Part, Generic[P]):
    """The readings of one stage: as found, after cleaning and as left are three fields of this type."""

    thermometer: Annotated[
        Name | None,
        Ask(
            "reference thermometer",
            refers="standard",
            help="left out: the one of the thermometer check",
            when="on request",
        ),
    ] = None
    points: Annotated[tuple[P, ...], Field(max_length=12), Ask("point")]

    @model_validator(mode="after")
    def _any(self) -> Self:
        if not self.points:
            raise said('points holds no point; enter at least one, or not_done = "because ..." instead.')
        return self


class Cleaned(Part):
    """What was done to the wetted parts, before the readings after cleaning."""

    how: Annotated[
        Text,
        Ask(
            "what was cleaned, and with what",
            caution="Acid hurts eyes and skin and is never mixed with bleach: goggles, gloves, the site's "
            "own rules.",
        ),
    ]
    at: Annotated[Time | None, Ask("cleaned at", clock=True)] = None


# ---------------------------------------------------------------- head


class CopiedFromPaper(Part):
    """The sheet was written on paper at the analyzer and typed later."""

    by: Annotated[Name, Ask("copied by", refers="person")]
    at: Annotated[AtTime, Ask("copied at", help="with its date where that is another day: 2026-03-08 00:20")]
    kept_at: Annotated[Text, Ask("where the paper is kept")]


class Clocks(Part):
    """Two clocks read at one moment."""

    control_system: Annotated[AtTime, Ask("clock of the control system", help="as it stands now")]
    laptop: Annotated[AtTime, Ask("clock of the laptop", help="at the same moment", clock=True)]


class Cautions(Part):
    """The performer has read the cautions of the procedure."""

    read: Annotated[Literal["yes"], Ask("read before the work", usual="yes")]


class Told(Part):
    """Somebody was told."""

    who: Annotated[Text, Ask("who was told")]
    how: Annotated[Text | None, Ask("told how", help="in person, radio, phone")] = None
    at: Annotated[Time | None, Ask("told at", clock=True)] = None


class Moment(Part):
    """Something was done at a time by somebody."""

    at: Annotated[Time, Ask("time")]
    by: Annotated[Text | None, Ask("by whom")] = None


class Condition(Part):
    """What was seen before anything was touched."""

    as_arrived: Annotated[
        Text, Ask("condition on arrival", help="sensor, housing, leaks, bubbles, deposits: as you found it")
    ]
    alarms: Annotated[Text | None, Ask("alarms shown", usual="none")] = None
    sample_flow: Annotated[Text | None, Ask("sample flow", help="by its meter, with its unit")] = None


class Head(Part):
    """Who, which analyzer, when, and what is done before it is touched."""

    UNIT: ClassVar[str] = ""  # of "analyzer" questions where the procedure measures in one unit only
    TOGETHER: ClassVar[tuple[frozenset[str], ...]] = ()  # parts whose times may come in any order

    procedure: Annotated[Name, Ask("procedure")]
    tag: Annotated[Name, Ask("analyzer")]
    serial_on_plate: Annotated[Text, Ask("serial on the plate", help="read off the instrument itself")]
    reason: Annotated[
        Literal["routine", "call-out", "after repair", "commissioning"],
        Ask("reason of the visit", usual="routine"),
    ]
    performed_by: Annotated[Name, Ask("performed by", refers="person")]
    method: Annotated[Text | None, Ask("method", help="the procedure of the plant, with its revision")] = None
    date: Annotated[Day, Ask("date of the work")]
    started: Annotated[Time, Ask("work started at")]
    replaces: Annotated[
        Text | None, Ask("replaces the record", refers="record", help="its number", when="on request")
    ] = None
    replaces_why: Annotated[Notes | None, Ask("replaces it because", when="on request")] = None
    copied_from_paper: Annotated[
        CopiedFromPaper | None,
        Ask(
            "copied from paper",
            help="where it was written on paper at the analyzer and typed later",
            when="copied from paper",
        ),
    ] = None
    clocks: Annotated[Done[Clocks] | None, Ask("clocks", when="own visit")] = None
    cautions: Annotated[Done[Cautions], Ask("cautions")]
    operations_told: Annotated[
        Done[Told], Ask("operations told", help="before anything is touched: who runs the process now")
    ]
    output_held: Annotated[
        Done[Moment] | None,
        Ask(
            "output held",
            help="so that neither control nor alarm acts on what the standards show",
            caution="Dosing and alarms act on this value: hold it before the sensor leaves the water.",
        ),
    ] = None
    loop_in_manual: Annotated[
        Done[Moment] | None,
        Ask(
            "loop in manual",
            help="where a controller acts on this value; by operations",
            caution="In manual nobody controls but a person: agree with operations who watches it.",
        ),
    ] = None
    alarm_blocked: Annotated[
        Done[Moment] | None,
        Ask(
            "alarm blocked",
            help="where an alarm or a shutdown hangs on this value; by operations",
            caution="A blocked alarm warns nobody: only as the site allows, and unblocked again after.",
        ),
    ] = None
    condition: Annotated[Done[Condition] | None, Ask("condition")] = None

    @model_validator(mode="after")
    def _amended(self) -> Self:
        if (self.replaces is None) != (self.replaces_why is None):
            raise said("replaces and replaces_why belong together: which record, and why it is amended.")
        return self


# ---------------------------------------------------------------- tail


class Signal(Part):
    """One value followed from the sensor to the control system, read at one moment."""

    sensor: Annotated[Text | None, Ask("at the sensor", when="on request")] = None
    display: Annotated[Number | None, Ask("on the display", "analyzer")] = None
    ma: Annotated[
        Number | None,
        Ask(
            "loop current",
            "mA",
            help="at the test terminals or from the menu",
            caution="Opening the loop drops the value to zero: never while it controls or alarms.",
        ),
    ] = None
    control_system: Annotated[Number | None, Ask("in the control system", "analyzer")] = None
    read_by: Annotated[Text | None, Ask("control system read by")] = None
    heard_how: Annotated[
        Literal["own eyes", "radio", "phone"] | None, Ask("how the control-system value was learned")
    ] = None
    at: Annotated[Time | None, Ask("values read at", clock=True)] = None


class Status(Part):
    """What the person decides about the analyzer; never computed."""

    state: Annotated[
        Literal["in service", "in service with restriction", "out of service"],
        Ask("status after the work", usual="in service"),
    ]
    note: Annotated[Notes | None, Ask("which restriction, or why out of service", when="restricted")] = None


class Cause(Part):
    """An opinion, with its author."""

    opinion: Annotated[Notes, Ask("likely cause")]
    author: Annotated[Name, Ask("opinion of", refers="person")]


# Times that may come in any order: what is done before the analyzer is touched, and on the way back.
BEFORE_IT_IS_TOUCHED = frozenset({"output_held", "loop_in_manual", "alarm_blocked", "process_before"})
BACK_IN_SERVICE = frozenset(
    {
        "process_after",
        "output_released",
        "signal",
        "loop_in_auto",
        "alarm_restored",
        "operations_told_after",
    }
)

# What was taken out of use must come back, or it is said why not.
_UNDONE_BY = (
    ("output_held", "output_released"),
    ("loop_in_manual", "loop_in_auto"),
    ("alarm_blocked", "alarm_restored"),
)


def insist_on_decision(action: str, adjusted: Part | None, without: tuple[str, ...]) -> None:
    """Complain where what was adjusted and the decision do not go together.

    ``without`` are the decisions that adjust nothing; the first of them forbids it.
    """
    if adjusted is not None and not isinstance(adjusted, NotDone) and action == without[0]:
        raise said(
            "adjusted holds what was changed, and the decision is to leave it alone or is missing; enter "
            'the decision, or adjusted.not_done = "because ..."'
        )
    if action not in without and adjusted is None:
        raise said(
            f"the decision is {action} and adjusted is missing; enter from what to what, or "
            f'adjusted.not_done = "because ..."'
        )


class Tail(Part):
    """The way back into service."""

    output_released: Annotated[
        Done[Moment] | None,
        Ask(
            "output released",
            caution="Rinsed, back in the sample and steady first: what it shows now is acted on.",
            when="output held",
        ),
    ] = None
    signal: Annotated[
        Done[Signal] | None,
        Ask("signal", help="one value at one moment, from the analyzer to the control system"),
    ] = None
    loop_in_auto: Annotated[
        Done[Moment] | None, Ask("loop in automatic", help="by operations", when="loop in manual")
    ] = None
    alarm_restored: Annotated[
        Done[Moment] | None, Ask("alarm restored", help="by operations", when="alarm blocked")
    ] = None
    operations_told_after: Annotated[
        Done[Told] | None, Ask("operations told afterwards", help="that the value can be trusted again")
    ] = None
    deviations: Annotated[Notes, Ask("deviations from the method", usual="none")] = "none"
    finished: Annotated[Time | None, Ask("work finished at")] = None
    status: Annotated[Status, Ask("status")]
    cause: Annotated[Cause | None, Ask("cause", when="not passed")] = None
    remarks: Annotated[Notes | None, Ask("remarks", when="own visit")] = None

    @model_validator(mode="after")
    def _undone(self) -> Self:
        for done, undone in _UNDONE_BY:
            was, back = getattr(self, done, None), getattr(self, undone)
            if isinstance(was, Moment) and back is None:
                raise said(
                    f"{done} has a time and {undone} is missing; enter when it was undone, or "
                    f'{undone}.not_done = "because ..." where it stays.'
                )
            if isinstance(back, Moment) and not isinstance(was, Moment):
                raise said(f"{undone} has a time and {done} has none; enter when it was done.")
        return self
