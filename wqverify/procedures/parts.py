"""The parts that field sheets are made of, shared by all procedures: nothing here knows what is measured.

A sheet is three parts in the order of work: ``Head``, the procedure's own middle, ``Tail``. Written as
``class Sheet(Tail, Middle, Head)``, because pydantic lists the fields of the last base first. What was
not done is said where it would stand: any ``Done`` part can be ``not_done = "because ..."``.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Annotated, Any, ClassVar, Generic, Literal, Self, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    PlainSerializer,
    PlainValidator,
    Tag,
    model_validator,
)
from pydantic_core import PydanticKnownError

from wqverify.errors import CorrectTheEntry
from wqverify.plant.fields import Day, Name, Notes, Text, said
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

# ---------------------------------------------------------------- leaf values


def _reading(given: object) -> Reading:
    if not isinstance(given, str):  # a bare number has lost its trailing zeros
        raise PydanticKnownError("string_type")
    try:
        reading = Reading.parse(given)
    except CorrectTheEntry as problem:
        raise said(problem.message) from None
    if reading.unit is not None:
        raise said(f"{given!r} carries a unit; type the number alone, the unit is that of the question.")
    return reading


_TIME = re.compile(r"(?:[0-9]{4}-[0-9]{2}-[0-9]{2} )?[0-9]{2}:[0-9]{2}(?: [+-][0-9]{2}:[0-9]{2})?")


def _time(text: str) -> str:
    if not _TIME.fullmatch(text):
        raise said(
            f"{text[:40]!r} is not a time; type the clock as 08:15, after midnight with its date as "
            f"2026-03-08 00:20, in the repeated hour with its offset as 01:30 -05:00."
        )
    return text


def _some(readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
    if not readings:
        raise said('holds no reading; type at least one, or say not_done = "because ..." for the part.')
    return readings


Number = Annotated[Reading, PlainValidator(_reading), PlainSerializer(lambda reading: reading.text)]
Readings = Annotated[tuple[Number, ...], Field(max_length=60), AfterValidator(_some)]
Time = Annotated[str, AfterValidator(_time), Clock()]
AtTime = Annotated[str, AfterValidator(_time), Clock(in_order=False)]  # the clock of a moment elsewhere

# ---------------------------------------------------------------- done, not done, same as


class Part(BaseModel):
    """Base of all groups of answers: no unknown keys, nothing changed afterwards."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class NotDone(Part):
    """Said where the answers would stand, with the reason."""

    not_done: Annotated[Text, Ask("not done, because")]

    @model_validator(mode="before")
    @classmethod
    def _alone(cls, given: Any) -> Any:
        others = [key for key in given if key != "not_done"] if isinstance(given, dict) else []
        if others:
            raise said(f"not_done stands beside {', '.join(others)}; keep the one that is true.")
        return given


class SameAs(Part):
    """The readings of an earlier stage stand for this one, because nothing was changed in between."""

    same_as: Annotated[Literal["as_found", "after_cleaning"], Ask("same as")]


T = TypeVar("T")
P = TypeVar("P", bound="Read")


def _which(given: Any) -> str:
    if isinstance(given, dict):
        return "(not done)" if "not_done" in given else "(same)" if "same_as" in given else "(done)"
    return "(not done)" if isinstance(given, NotDone) else "(same)" if isinstance(given, SameAs) else "(done)"


def _done(given: Any) -> str:
    return "(not done)" if _which(given) == "(not done)" else "(done)"


Done = Annotated[Annotated[T, Tag("(done)")] | Annotated[NotDone, Tag("(not done)")], Discriminator(_done)]
DoneOrSame = Annotated[
    Annotated[T, Tag("(done)")] | Annotated[NotDone, Tag("(not done)")] | Annotated[SameAs, Tag("(same)")],
    Discriminator(_which),
]

# ---------------------------------------------------------------- readings on standards


class OnStandard(Part):
    """Which bottle, block or reference was measured, and whether it counts."""

    standard: Annotated[Name, Ask("standard", refers="standard", help="its id in standards_on_hand.toml")]
    use: Annotated[
        Literal["information only"] | None,
        Ask("use", help="information only: the result is shown without a pass or fail"),
    ] = None


class Read(Part):
    """Readings one after the other until they hold still; the last one counts."""

    readings: Annotated[
        Readings,
        Ask("readings", "analyzer", help="every reading until it holds still"),
    ]
    interval_s: Annotated[Number | None, Ask("time between readings", "s")] = None
    control_system: Annotated[
        Number | None,
        Ask("control system with the last reading", "analyzer", help="only where the output is not held"),
    ] = None
    at: Annotated[Time | None, Ask("last reading at")] = None

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
        Ask("reference thermometer", refers="standard", help="left out: the one of the thermometer check"),
    ] = None
    points: Annotated[tuple[P, ...], Field(max_length=12), Ask("point")]

    @model_validator(mode="after")
    def _any(self) -> Self:
        if not self.points:
            raise said('points holds no point; enter at least one, or not_done = "because ..." instead.')
        return self


class Cleaned(Part):
    """What was done to the wetted parts, before the readings after cleaning."""

    how: Annotated[Text, Ask("how")]
    at: Annotated[Time | None, Ask("at")] = None


# ---------------------------------------------------------------- head


class Clocks(Part):
    """Two clocks read at one moment."""

    laptop: Annotated[AtTime, Ask("clock of the laptop")]
    control_system: Annotated[AtTime, Ask("clock of the control system")]


class Cautions(Part):
    """The performer has read the cautions of the procedure."""

    read: Annotated[Literal["yes"], Ask("read")]


class Told(Part):
    """Somebody was told."""

    who: Annotated[Text, Ask("who")]
    how: Annotated[Text | None, Ask("how", help="in person, radio, phone")] = None
    at: Annotated[Time | None, Ask("at")] = None


class Moment(Part):
    """Something was done at a time by somebody."""

    at: Annotated[Time, Ask("at")]
    by: Annotated[Text | None, Ask("by")] = None


class Condition(Part):
    """What was seen before anything was touched."""

    as_arrived: Annotated[Text, Ask("condition on arrival")]
    alarms: Annotated[Text | None, Ask("alarms")] = None
    sample_flow: Annotated[Text | None, Ask("sample flow")] = None


class Head(Part):
    """Who, which analyzer, when, and what is done before it is touched."""

    UNIT: ClassVar[str] = ""  # of "analyzer" questions where the procedure measures in one unit only
    TOGETHER: ClassVar[tuple[frozenset[str], ...]] = ()  # parts whose times may come in any order

    procedure: Annotated[Name, Ask("procedure")]
    tag: Annotated[Name, Ask("analyzer")]
    serial_on_plate: Annotated[Text, Ask("serial on the plate", help="read off the instrument itself")]
    reason: Annotated[
        Literal["routine", "call-out", "after repair", "commissioning"], Ask("reason of the visit")
    ]
    performed_by: Annotated[Name, Ask("performed by", refers="person")]
    method: Annotated[Text | None, Ask("method", help="with its revision")] = None
    deviations: Annotated[Notes, Ask("deviations from the method")] = "none"
    date: Annotated[Day, Ask("date")]
    started: Annotated[Time, Ask("work started")]
    replaces: Annotated[Text | None, Ask("replaces record", refers="record")] = None
    replaces_why: Annotated[Notes | None, Ask("replaces it because")] = None
    clocks: Annotated[Done[Clocks] | None, Ask("clocks")] = None
    cautions: Annotated[Done[Cautions], Ask("cautions")]
    operations_told: Annotated[Done[Told], Ask("operations told")]
    output_held: Annotated[Done[Moment] | None, Ask("output held")] = None
    loop_in_manual: Annotated[Done[Moment] | None, Ask("loop in manual")] = None
    alarm_blocked: Annotated[Done[Moment] | None, Ask("alarm blocked")] = None
    condition: Annotated[Done[Condition] | None, Ask("condition")] = None

    @model_validator(mode="after")
    def _amended(self) -> Self:
        if (self.replaces is None) != (self.replaces_why is None):
            raise said("replaces and replaces_why belong together: which record, and why it is amended.")
        return self


# ---------------------------------------------------------------- tail


class Signal(Part):
    """One value followed from the sensor to the control system, read at one moment."""

    sensor: Annotated[Text | None, Ask("at the sensor")] = None
    display: Annotated[Number | None, Ask("on the display", "analyzer")] = None
    ma: Annotated[Number | None, Ask("loop current", "mA")] = None
    control_system: Annotated[Number | None, Ask("in the control system", "analyzer")] = None
    read_by: Annotated[Text | None, Ask("control system read by")] = None
    heard_how: Annotated[Literal["own eyes", "radio", "phone"] | None, Ask("heard how")] = None
    at: Annotated[Time | None, Ask("at")] = None


class Status(Part):
    """What the person decides about the analyzer; never computed."""

    state: Annotated[
        Literal["in service", "in service with restriction", "out of service"], Ask("status after the work")
    ]
    note: Annotated[Notes | None, Ask("note")] = None


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

    output_released: Annotated[Done[Moment] | None, Ask("output released")] = None
    signal: Annotated[Done[Signal] | None, Ask("signal")] = None
    loop_in_auto: Annotated[Done[Moment] | None, Ask("loop in automatic")] = None
    alarm_restored: Annotated[Done[Moment] | None, Ask("alarm restored")] = None
    operations_told_after: Annotated[Done[Told] | None, Ask("operations told afterwards")] = None
    finished: Annotated[Time | None, Ask("work finished")] = None
    status: Annotated[Status, Ask("status")]
    cause: Annotated[Cause | None, Ask("cause")] = None
    remarks: Annotated[Notes | None, Ask("remarks")] = None

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
