"""The tail of every sheet: the way back into service, each hold undone, the status a person decides."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Literal, Self

from pydantic import model_validator

from wqverify.plant.fields import Name, Notes, Text, said
from wqverify.procedures.answers import Done, Number, Part, Time
from wqverify.procedures.head import ByOperations, Holds, Moment, Told
from wqverify.terms import Ask


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
        Literal["own eyes", "radio", "phone"] | None,
        Ask("how the control-system value was learned"),
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

OUT_OF_SERVICE = "out of service"  # one of the answers of Status

# What was taken out of use must come back, or it is said why not: by which part, and how it is called.
OUT_OF_USE = (
    ("output_held", "output_released", "output held"),
    ("loop_in_manual", "loop_in_auto", "loop in manual"),
    ("alarm_blocked", "alarm_restored", "alarm blocked"),
)


SIGNAL = Ask(
    "signal",
    help="one value at one moment, from the analyzer to the control system",
    when="own visit or changed",
)
TOLD_AFTER = Ask(
    "operations told afterwards",
    help="how it was left: the value can be trusted again, with which restriction, or not",
)


class Released(Part):
    """The output shows the process again."""

    output_released: Annotated[
        Done[Moment] | None,
        Ask(
            "output released",
            caution="What it shows now is acted on: sources off, wires back, rinsed, in the sample, steady.",
            when="output held",
        ),
    ] = None


class Back(Part):
    """The way back into service, once the output shows the process again."""

    signal: Annotated[Done[Signal] | None, SIGNAL] = None
    loop_in_auto: Annotated[
        Done[ByOperations] | None,
        Ask(
            "loop in automatic",
            help="by operations",
            caution="Only when the value is steady and believed: no bump in dosing.",
            when="loop in manual",
        ),
    ] = None
    alarm_restored: Annotated[
        Done[ByOperations] | None,
        Ask(
            "alarm restored",
            help="by operations",
            caution="Look first that no alarm stands, or operations know of it.",
            when="alarm blocked",
        ),
    ] = None
    operations_told_after: Annotated[Done[Told] | None, TOLD_AFTER] = None
    deviations: Annotated[Notes, Ask("deviations from the method", usual="none")] = "none"
    finished: Annotated[Time | None, Ask("work finished at")] = None
    status: Annotated[Status, Ask("status")]
    cause: Annotated[Cause | None, Ask("cause", when="not passed")] = None
    remarks: Annotated[Notes | None, Ask("remarks", when="own visit or not passed")] = None


class Tail(Back, Released):
    """The way back into service.

    What is read once the output is released stands between: a subclass of ``Released`` behind ``Tail``.
    """

    @model_validator(mode="after")
    def _undone(self) -> Self:
        for done, undone, _called in OUT_OF_USE:
            was, back = getattr(self, done, None), getattr(self, undone)
            if isinstance(was, Moment) and back is None:
                raise said(
                    f"{done} has a time and {undone} is missing; enter when it was undone, or "
                    f'{undone}.not_done = "because ..." where it stays.'
                )
            if isinstance(back, Moment) and not isinstance(was, Moment):
                raise said(f"{undone} has a time and {done} has none; enter when it was done.")
        return self


class NothingReturned(Tail):
    """Work at a desk: nothing comes back into service; where something does after all, it can be said."""

    signal: Annotated[Done[Signal] | None, replace(SIGNAL, when="on request")] = None
    operations_told_after: Annotated[Done[Told] | None, replace(TOLD_AFTER, when="on request")] = None


# What is asked at an instrument: before it is touched and on the way back.
AT_THE_INSTRUMENT = frozenset({*Holds.model_fields, "operations_told"}) | BACK_IN_SERVICE
