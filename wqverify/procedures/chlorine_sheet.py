"""The field sheet of a chlorine check, in the order of work."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, ClassVar, Literal, Self

from pydantic import model_validator

from wqverify.plant.fields import Name, Text, said
from wqverify.procedures.grab_sheet import LabResult, Result, lab_result
from wqverify.procedures.parts import (
    ALARM_BLOCKED,
    LOOP_IN_MANUAL,
    OUTPUT_HELD,
    AtTime,
    Because,
    ByOperations,
    Cleaned,
    Condition,
    Done,
    Head,
    Holds,
    Moment,
    NotDone,
    Number,
    Part,
    Readings,
    Tail,
    Time,
    Visit,
    insist_on_decision,
)
from wqverify.terms import Ask

Kind = Literal["free", "total", "monochloramine"]


class Stored(Part):
    """What the transmitter holds, as its menu shows it."""

    sensitivity: Annotated[Number | None, Ask("sensitivity in the menu", "uA per mg/L")] = None
    zero_ua: Annotated[Number | None, Ask("zero current in the menu", "uA")] = None


class Cell(Part):
    """The water at the cell."""

    flow_ml_min: Annotated[Number | None, Ask("flow at the cell", "mL/min", beside="flow")] = None
    ph: Annotated[Number | None, Ask("pH at the cell", "pH", when="own visit")] = None
    temperature_c: Annotated[Number | None, Ask("temperature at the cell", "°C", when="own visit")] = None


class Pair(Part):
    """What the analyzer showed, and the grabs of that moment."""

    shown: Annotated[Number, Ask("value on the display when the grabs were taken", "analyzer", beside="pair")]
    at: Annotated[AtTime | None, Ask("value read at", clock=True)] = None
    control_system: Annotated[
        Number | None,
        Ask(
            "value in the control system at that moment",
            "analyzer",
            help="only where the output is not held",
            when="output not held",
        ),
    ] = None
    collected: Annotated[
        AtTime,
        Ask(
            "grabs collected at",
            help="A; B right after it",
            caution="What was drawn, and what holds reagent, never goes back into potable water.",
            beside="pair",
        ),
    ]
    instrument: Annotated[
        Name,
        Ask(
            "instrument the grabs are measured with",
            refers="standard",
            beside="grabs",
            again=True,
            kinds=("photometer", "colorimeter", "titrator", "titration"),
        ),
    ]
    checked: Annotated[
        Text | None,
        Ask("check of that instrument", help="on which standard, what it read", when="own visit"),
    ] = None
    method: Annotated[Text | None, Ask("method", help="with its revision", when="own visit", again=True)] = (
        None
    )
    reagents: Annotated[
        Text | None, Ask("lot of the reagent", help="in date, not caked", when="own visit")
    ] = None
    grab_a: Annotated[
        Result,
        Ask(
            "result of grab A",
            help="as the photometer states it, with its unit: 0.82 mg/L",
            caution="Free chlorine by DPD is read at once: waiting lets combined chlorine colour it too.",
            beside="grabs",
        ),
    ]
    grab_b: Annotated[
        Result | None, Ask("result of grab B", help="a second sample, taken right after A", beside="grabs")
    ] = None
    analysed: Annotated[AtTime, Ask("grabs analysed at", beside="grabs")]
    analysed_by: Annotated[Text | None, Ask("grabs analysed by", when="own visit")] = None

    @property
    def grabs(self) -> tuple[LabResult, ...]:
        """A, and B where it was taken."""
        return tuple(lab_result(text) for text in (self.grab_a, self.grab_b) if text is not None)


class Zero(Part):
    """The cell in water without chlorine."""

    how: Annotated[
        Text | None, Ask("how the water was freed of chlorine", help="carbon cartridge, or dechlorinated")
    ] = None
    currents_ua: Annotated[
        Readings,
        Ask(
            "cell current in water without chlorine",
            "uA",
            help="one after the other until it holds still; the last counts",
            beside="zero",
        ),
    ]
    interval_s: Annotated[Number | None, Ask("time between the readings", "s", clock=True)] = None
    at: Annotated[Time | None, Ask("last reading at", clock=True)] = None


class CellCurrent(Part):
    """The current of the cell when the grabs as found were taken."""

    currents_ua: Annotated[
        Readings,
        Ask("cell current with the grabs", "uA", help="as the transmitter shows it", beside="cell current"),
    ]
    zero_ua: Annotated[
        Number | None,
        Ask(
            "zero current",
            "uA",
            help="left out: the last one of the zero, or the stored one",
            when="on request",
        ),
    ] = None


class Action(Part):
    action: Annotated[
        Literal["leave alone", "zero", "sensitivity", "zero and sensitivity"],
        Ask("decision", beside="decision"),
    ]


class Decision(Because, Action):
    """What is done about what was found, and why."""


class Adjusted(Part):
    """What was changed in the transmitter, from what to what."""

    zero_from: Annotated[Number | None, Ask("zero current from", "uA", beside="adjusted")] = None
    zero_to: Annotated[Number | None, Ask("zero current to", "uA", beside="adjusted")] = None
    sensitivity_from: Annotated[Number | None, Ask("sensitivity from", "uA per mg/L", beside="adjusted")] = (
        None
    )
    sensitivity_to: Annotated[Number | None, Ask("sensitivity to", "uA per mg/L", beside="adjusted")] = None
    at: Annotated[Time, Ask("adjusted at", clock=True)]

    @model_validator(mode="after")
    def _pairs(self) -> Self:
        for what in ("zero", "sensitivity"):
            if (getattr(self, f"{what}_from") is None) != (getattr(self, f"{what}_to") is None):
                raise said(f"{what}_from and {what}_to belong together: what it was and what it is now.")
        if self.zero_from is None and self.sensitivity_from is None:
            raise said(
                'nothing was changed here; enter zero or sensitivity from and to, or not_done = "because ..."'
            )
        return self


class Compared(Visit):
    """The comparison as found: nothing is touched yet, and a held output would stand still."""

    condition: Annotated[Done[Condition] | None, Ask("condition")] = None
    kind: Annotated[Kind, Ask("which chlorine the grabs measure", help="by the method used", again=True)]
    stored: Annotated[
        Done[Stored] | None,
        Ask("stored on arrival", help="in the menu of the transmitter", when="own visit"),
    ] = None
    cell: Annotated[Done[Cell] | None, Ask("water at the cell")] = None
    as_found: Annotated[
        Done[Pair],
        Ask(
            "as found",
            help="before anything is cleaned, serviced or adjusted",
        ),
    ]


_TOUCHED = "own visit or not passed"  # when something will be touched


class Touched(Holds):
    """What is taken out of use where the cell is served or adjusted."""

    output_held: Annotated[
        Done[Moment] | None,
        replace(
            OUTPUT_HELD,
            when=_TOUCHED,
            help="before the cell is touched",
            caution="Dosing and alarms act on this value: hold it before the cell is touched.",
        ),
    ] = None
    loop_in_manual: Annotated[Done[ByOperations] | None, replace(LOOP_IN_MANUAL, when=_TOUCHED)] = None
    alarm_blocked: Annotated[Done[ByOperations] | None, replace(ALARM_BLOCKED, when=_TOUCHED)] = None


class Work(Part):
    """From the sensitivity as found to the fresh grab."""

    cell_current: Annotated[
        Done[CellCurrent] | None,
        Ask("sensitivity", help="from the cell current while the grabs were taken", when="not passed"),
    ] = None
    zero: Annotated[
        Done[Zero] | None, Ask("zero", help="only where the grabs point to it", when="not passed")
    ] = None
    service: Annotated[
        Done[Cleaned] | None,
        Ask("service", help="membrane, electrolyte, reagents, cell", when="not passed"),
    ] = None
    decision: Annotated[Decision | None, Ask("decision", when="own visit or not passed")] = None
    adjusted: Annotated[
        Done[Adjusted] | None, Ask("adjusted", help="from what to what", when="decided to adjust")
    ] = None
    as_left: Annotated[Done[Pair] | None, Ask("as left", help="a fresh pair of grabs", when="changed")] = None


class ChlorineSheet(Tail, Work, Touched, Head, Compared):
    """One check."""

    SAMPLED: ClassVar[bool] = True
    UNIT: ClassVar[str] = ""

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        action = self.decision.action if self.decision else "leave alone"
        changed = isinstance(self.adjusted, Adjusted)
        insist_on_decision(action, self.adjusted, without=("leave alone",))
        if (changed or isinstance(self.service, Cleaned)) and self.as_left is None:
            raise said(
                "it was serviced or adjusted and as_left is missing; enter the fresh grab, or "
                'as_left.not_done = "because ..."'
            )
        return self


def pair_of(part: Pair | NotDone | None) -> Pair | None:
    """Return what was compared, None where nothing was."""
    return part if isinstance(part, Pair) else None
