"""The head of every sheet: who, which analyzer, when, what it looked like, what was taken out of use."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, ClassVar, Literal, Self

from pydantic import model_validator

from wqverify.plant.fields import Day, Name, Notes, Text, said
from wqverify.procedures.answers import AtTime, Done, Part, Time
from wqverify.terms import Ask


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

    who: Annotated[Text, Ask("who was told", usual="{told}")]
    how: Annotated[Text | None, Ask("told how", help="in person, radio, phone", again=True)] = None
    at: Annotated[Time | None, Ask("told at", clock=True)] = None


class Moment(Part):
    """Something was done at a time by somebody."""

    at: Annotated[Time, Ask("time")]
    by: Annotated[Text | None, Ask("by whom", usual="{performer}")] = None


class ByOperations(Moment):
    """Something operations did, when they were told."""

    by: Annotated[Text | None, Ask("by whom", usual="{told}")] = None


class Condition(Part):
    """What was seen before anything was touched."""

    as_arrived: Annotated[
        Text,
        Ask(
            "condition on arrival",
            help="sensor, housing, wiring, leaks, deposits: as you found it",
            usual="nothing unusual",
        ),
    ]
    alarms: Annotated[Text | None, Ask("alarms shown", usual="none")] = None
    sample_flow: Annotated[
        Text | None,
        Ask("sample flow", help="by its meter, with its unit; bubbles seen", when="a sample flows"),
    ] = None


OPERATIONS_TOLD = Ask("operations told", help="before anything is touched: who runs the process now")

# Operations are told once for a round, before the work at its later stops starts.
ON_ARRIVAL = frozenset({"started", "operations_told"})


class Visit(Part):
    """Who, which analyzer, when, and who was told."""

    UNIT: ClassVar[str] = ""  # of "analyzer" questions where the procedure measures in one unit only
    UNITS: ClassVar[tuple[str, ...]] = ()  # those it measures in; of an analyzer with another one it is UNIT
    SAMPLED: ClassVar[bool] = False  # it reads a sample; else one flows only where the register has a line
    LASTS: ClassVar[bool] = False  # its sheet stays open for days: a clock may be of any of them
    DESK: ClassVar[bool] = False  # nothing is touched: its blank leaves out what is asked at an instrument
    TOGETHER: ClassVar[tuple[frozenset[str], ...]] = (ON_ARRIVAL,)  # parts whose times may come in any order

    procedure: Annotated[Name, Ask("procedure")]
    tag: Annotated[Name, Ask("analyzer")]
    serial_on_plate: Annotated[Text, Ask("serial on the plate", help="read off the instrument itself")]
    reason: Annotated[
        Literal["routine", "call-out", "after repair", "commissioning"],
        Ask("reason of the visit", usual="routine"),
    ]
    performed_by: Annotated[Name, Ask("performed by", refers="person")]
    method: Annotated[
        Text | None, Ask("method", help="SOP or published method, with its revision", again=True)
    ] = None
    date: Annotated[Day, Ask("date of the work")]
    started: Annotated[Time, Ask("work started at", clock=True)]
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
    operations_told: Annotated[Done[Told], OPERATIONS_TOLD]

    @model_validator(mode="after")
    def _amended(self) -> Self:
        if (self.replaces is None) != (self.replaces_why is None):
            raise said("replaces and replaces_why belong together: which record, and why it is amended.")
        return self


# How taking out of use is asked; a sheet that touches nothing at first asks it under a condition of its own.
OUTPUT_HELD = Ask(
    "output held",
    help="so that neither control nor alarm acts on what the standards show",
    caution="Dosing and alarms act on this value: hold it before the sensor leaves the water.",
)
LOOP_IN_MANUAL = Ask(
    "loop in manual",
    help="where a controller acts on this value; by operations",
    caution="In manual nobody controls but a person: agree with operations who watches it.",
)
ALARM_BLOCKED = Ask(
    "alarm blocked",
    help="where an alarm or a shutdown hangs on this value; by operations",
    caution="A blocked alarm warns nobody: only as the site allows, and unblocked again after.",
)


class Holds(Part):
    """What it looked like on arrival, and what was taken out of use before it was touched."""

    condition: Annotated[Done[Condition] | None, Ask("condition")] = None
    output_held: Annotated[
        Done[Moment] | None,
        OUTPUT_HELD,
    ] = None
    loop_in_manual: Annotated[
        Done[ByOperations] | None,
        LOOP_IN_MANUAL,
    ] = None
    alarm_blocked: Annotated[
        Done[ByOperations] | None,
        ALARM_BLOCKED,
    ] = None


class NothingTouched(Holds, Visit):
    """Work at a desk: nobody is told and nothing is held for it; where it was after all, it can be said."""

    DESK: ClassVar[bool] = True

    # Wider than in a visit to an instrument, where it must be answered.
    operations_told: Annotated[Done[Told] | None, replace(OPERATIONS_TOLD, when="on request")] = None  # type: ignore[assignment]
    condition: Annotated[Done[Condition] | None, Ask("condition", when="on request")] = None
    output_held: Annotated[Done[Moment] | None, replace(OUTPUT_HELD, when="on request")] = None
    loop_in_manual: Annotated[Done[ByOperations] | None, replace(LOOP_IN_MANUAL, when="on request")] = None
    alarm_blocked: Annotated[Done[ByOperations] | None, replace(ALARM_BLOCKED, when="on request")] = None


class Head(Holds, Visit):
    """The visit, then what is taken out of use.

    What is read before that stands between them: a subclass of ``Visit`` behind ``Head`` among the bases.
    """
