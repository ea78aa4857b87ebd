"""The field sheet of a chlorine check, in the order of work."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, Self

from pydantic import model_validator

from wqverify.plant.fields import Name, Notes, Text, said
from wqverify.procedures.grab_sheet import LabResult, Result, lab_result
from wqverify.procedures.parts import (
    AtTime,
    Cleaned,
    Done,
    Head,
    NotDone,
    Number,
    Part,
    Readings,
    Tail,
    Time,
    insist_on_decision,
)
from wqverify.terms import Ask

Kind = Literal["free", "total", "monochloramine"]


class Stored(Part):
    """What the transmitter holds, as its menu shows it."""

    sensitivity: Annotated[Number | None, Ask("sensitivity", "uA per mg/L")] = None
    zero_ua: Annotated[Number | None, Ask("zero current", "uA")] = None


class Cell(Part):
    """The water at the cell."""

    ph: Annotated[Number | None, Ask("pH at the cell", "pH")] = None
    temperature_c: Annotated[Number | None, Ask("temperature at the cell", "°C")] = None
    flow_ml_min: Annotated[Number | None, Ask("flow at the cell", "mL/min")] = None


class Pair(Part):
    """What the analyzer showed, and the grabs of that moment."""

    shown: Annotated[Number, Ask("shown when the grabs were taken", "analyzer")]
    control_system: Annotated[
        Number | None, Ask("in the control system", "analyzer", help="only where the output is not held")
    ] = None
    at: Annotated[AtTime | None, Ask("read at")] = None
    collected: Annotated[AtTime, Ask("grabs collected")]
    analysed: Annotated[AtTime, Ask("grabs analysed")]
    grab_a: Annotated[Result, Ask("grab A", help="as the photometer states it, with its unit: 0.82 mg/L")]
    grab_b: Annotated[Result | None, Ask("grab B", help="taken right after A")] = None
    instrument: Annotated[Name, Ask("instrument", refers="standard")]
    method: Annotated[Text | None, Ask("method", help="with its revision")] = None
    checked: Annotated[Text | None, Ask("check of the instrument")] = None
    reagents: Annotated[Text | None, Ask("reagent lot")] = None
    analysed_by: Annotated[Text | None, Ask("analysed by")] = None

    @property
    def grabs(self) -> tuple[LabResult, ...]:
        """A, and B where it was taken."""
        return tuple(lab_result(text) for text in (self.grab_a, self.grab_b) if text is not None)


class Zero(Part):
    """The cell in water without chlorine."""

    currents_ua: Annotated[
        Readings, Ask("cell current", "uA", help="one after the other until it holds still; the last counts")
    ]
    interval_s: Annotated[Number | None, Ask("time between them", "s")] = None
    how: Annotated[Text | None, Ask("how the water was freed of chlorine")] = None
    at: Annotated[Time | None, Ask("last reading at")] = None


class CellCurrent(Part):
    """The current of the cell when the grabs as found were taken."""

    currents_ua: Annotated[Readings, Ask("cell current with the grabs", "uA")]
    zero_ua: Annotated[
        Number | None, Ask("zero current", "uA", help="left out: the last one of the zero, or the stored one")
    ] = None


class Decision(Part):
    action: Annotated[Literal["leave alone", "zero", "sensitivity", "zero and sensitivity"], Ask("decision")]
    why: Annotated[Text, Ask("because")]
    despite: Annotated[
        Notes | None, Ask("goes on in spite of the brake, because", help="opinion of the performer")
    ] = None


class Adjusted(Part):
    """What was changed in the transmitter, from what to what."""

    zero_from: Annotated[Number | None, Ask("zero current from", "uA")] = None
    zero_to: Annotated[Number | None, Ask("zero current to", "uA")] = None
    sensitivity_from: Annotated[Number | None, Ask("sensitivity from", "uA per mg/L")] = None
    sensitivity_to: Annotated[Number | None, Ask("sensitivity to", "uA per mg/L")] = None
    at: Annotated[Time, Ask("at")]

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


class Work(Part):
    """From the water as found to the fresh grab."""

    kind: Annotated[Kind, Ask("kind of chlorine of the grabs")]
    stored: Annotated[Done[Stored] | None, Ask("stored on arrival")] = None
    cell: Annotated[Done[Cell] | None, Ask("water at the cell")] = None
    as_found: Annotated[Done[Pair], Ask("as found")]
    zero: Annotated[Done[Zero] | None, Ask("zero")] = None
    service: Annotated[Done[Cleaned] | None, Ask("service", help="membrane, electrolyte, reagents, cell")] = (
        None
    )
    cell_current: Annotated[Done[CellCurrent] | None, Ask("sensitivity")] = None
    decision: Annotated[Decision | None, Ask("decision")] = None
    adjusted: Annotated[Done[Adjusted] | None, Ask("adjusted")] = None
    as_left: Annotated[Done[Pair] | None, Ask("as left")] = None


class ChlorineSheet(Tail, Work, Head):
    """One check."""

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
