"""The field sheet of a pH calibration, in the order of work."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from wqverify.plant.fields import Name, Notes, Text, said
from wqverify.procedures.parts import (
    BACK_IN_SERVICE,
    BEFORE_IT_IS_TOUCHED,
    AtTime,
    Cleaned,
    Done,
    DoneOrSame,
    Head,
    NotDone,
    Number,
    OnStandard,
    Part,
    Points,
    Read,
    Readings,
    SameAs,
    Tail,
    Time,
    insist_on_decision,
)
from wqverify.terms import Ask


class Constants(Part):
    """What the transmitter holds as slope and offset, as its menu shows them."""

    slope_percent: Annotated[Number | None, Ask("slope", "%")] = None
    offset_mv: Annotated[Number | None, Ask("offset", "mV")] = None


class Process(Part):
    """The process as the analyzer and the control system show it at one moment."""

    ph: Annotated[Number, Ask("pH on the display", "pH")]
    temperature_c: Annotated[Number | None, Ask("temperature on the display", "°C")] = None
    control_system: Annotated[Number | None, Ask("pH in the control system", "pH")] = None
    at: Annotated[Time | None, Ask("read at")] = None


class Grab(Part):
    """A sample of the process measured at once with another meter."""

    shown: Annotated[Number, Ask("pH on the display when it was taken", "pH")]
    ph: Annotated[Number, Ask("pH of the grab", "pH")]
    shown_c: Annotated[Number | None, Ask("temperature on the display", "°C")] = None
    temperature_c: Annotated[Number | None, Ask("temperature of the grab", "°C")] = None
    meter: Annotated[Name, Ask("meter", refers="standard")]
    buffers: Annotated[
        tuple[Name, ...],
        Field(max_length=6),
        Ask("buffers that set the meter", refers="standard"),
    ] = ()
    collected: Annotated[AtTime, Ask("collected")]
    analysed: Annotated[AtTime, Ask("analysed")]
    by: Annotated[Text | None, Ask("analysed by")] = None


class ThermometerCheck(Part):
    """The analyzer's temperature against a reference thermometer in the same beaker."""

    reference: Annotated[Name, Ask("reference thermometer", refers="standard")]
    reference_c: Annotated[Number, Ask("reference shows", "°C")]
    shown_c: Annotated[Number, Ask("analyzer shows", "°C")]
    use: Annotated[Literal["information only"] | None, Ask("use")] = None


class Buffer(Part):
    """What a pH buffer needs besides its readings."""

    temperature_c: Annotated[
        Number | None,
        Ask("temperature of the buffer", "°C", help="by the reference thermometer, not the analyzer"),
    ] = None
    mv: Annotated[Number | None, Ask("electrode voltage with the last reading", "mV")] = None


class BufferPoint(Read, Buffer, OnStandard):
    """The analyzer in one buffer."""

    readings: Annotated[
        Readings,
        Ask("pH readings", "pH", help="every reading until it holds still"),
    ]


class Decision(Part):
    action: Annotated[Literal["leave alone", "offset", "two-point", "replace"], Ask("decision")]
    to: Annotated[Literal["buffers", "grab"], Ask("adjusted to")] = "buffers"
    why: Annotated[Text, Ask("because")]
    despite: Annotated[
        Notes | None, Ask("goes on in spite of the brake, because", help="opinion of the performer")
    ] = None


class Adjusted(Part):
    """What was changed in the transmitter, from what to what."""

    slope_from: Annotated[Number | None, Ask("slope from", "%")] = None
    slope_to: Annotated[Number | None, Ask("slope to", "%")] = None
    offset_from: Annotated[Number | None, Ask("offset from", "mV")] = None
    offset_to: Annotated[Number | None, Ask("offset to", "mV")] = None
    at: Annotated[Time | None, Ask("at")] = None

    @model_validator(mode="after")
    def _pairs(self) -> Self:
        for what in ("slope", "offset"):
            if (getattr(self, f"{what}_from") is None) != (getattr(self, f"{what}_to") is None):
                raise said(f"{what}_from and {what}_to belong together: what it was and what it is now.")
        if self.slope_from is None and self.offset_from is None:
            raise said(
                'nothing was changed here; enter slope or offset from and to, or not_done = "because ..."'
            )
        return self


class Work(Part):
    """From the process before to the process after."""

    stored: Annotated[Done[Constants] | None, Ask("stored on arrival")] = None
    process_before: Annotated[Done[Process] | None, Ask("process before")] = None
    grab: Annotated[tuple[Grab, ...], Field(max_length=6), Ask("grab before")] = ()
    thermometer_check: Annotated[Done[ThermometerCheck] | None, Ask("thermometer check")] = None
    as_found: Annotated[Done[Points[BufferPoint]], Ask("as found")]
    cleaned: Annotated[Done[Cleaned] | None, Ask("cleaned")] = None
    after_cleaning: Annotated[Done[Points[BufferPoint]] | None, Ask("after cleaning")] = None
    decision: Annotated[Decision | None, Ask("decision")] = None
    adjusted: Annotated[Done[Adjusted] | None, Ask("adjusted")] = None
    as_left: Annotated[DoneOrSame[Points[BufferPoint]], Ask("as left")]
    check_buffer: Annotated[Done[BufferPoint] | None, Ask("check buffer", help="of another lot")] = None
    constants_as_left: Annotated[Done[Constants] | None, Ask("stored as left")] = None
    process_after: Annotated[Done[Process] | None, Ask("process after")] = None
    grab_after: Annotated[Done[Grab] | None, Ask("grab after")] = None


class PhSheet(Tail, Work, Head):
    """One visit."""

    UNIT: ClassVar[str] = "pH"
    TOGETHER: ClassVar[tuple[frozenset[str], ...]] = (
        BEFORE_IT_IS_TOUCHED,
        BACK_IN_SERVICE | {"grab_after"},
    )

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        action = self.decision.action if self.decision else "leave alone"
        changed = isinstance(self.adjusted, Adjusted)
        insist_on_decision(action, self.adjusted, without=("leave alone", "replace"))
        if isinstance(self.as_left, SameAs):
            self._same(self.as_left.same_as, changed or action == "replace")
        if isinstance(self.after_cleaning, Points) and not isinstance(self.cleaned, Cleaned):
            raise said("after_cleaning has readings and cleaned does not say how it was cleaned; enter it.")
        return self

    def _same(self, stage: str, changed: bool) -> None:
        """As left may be another stage's readings only where nothing was changed since."""
        if changed:
            raise said(
                f"as_left cannot be the same as {stage}: it was adjusted or replaced since; read again."
            )
        if stage == "as_found" and isinstance(self.cleaned, Cleaned):
            raise said(
                "as_left cannot be the same as as_found: it was cleaned since; write same_as = "
                '"after_cleaning" or read again.'
            )
        source = getattr(self, stage)
        if source is None or isinstance(source, NotDone):
            raise said(f"as_left is the same as {stage}, which was not done; read again or say not_done.")
