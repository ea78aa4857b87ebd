"""The field sheet of a pH calibration, in the order of work."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from wqverify.plant.fields import Name, Text, said
from wqverify.procedures.parts import (
    BACK_IN_SERVICE,
    BEFORE_IT_IS_TOUCHED,
    ON_ARRIVAL,
    AtTime,
    Because,
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
    Released,
    SameAs,
    Tail,
    Time,
    Visit,
    insist_on_decision,
)
from wqverify.terms import Ask


class Constants(Part):
    """What the transmitter holds as slope and offset, as its menu shows them."""

    slope_percent: Annotated[Number | None, Ask("slope in the menu", "%")] = None
    offset_mv: Annotated[Number | None, Ask("offset in the menu", "mV")] = None


class Process(Part):
    """The process as the analyzer and the control system show it at one moment."""

    ph: Annotated[Number, Ask("pH on the display", "pH")]
    temperature_c: Annotated[Number | None, Ask("temperature on the display", "°C", when="own visit")] = None
    control_system: Annotated[Number | None, Ask("pH in the control system", "pH")] = None
    at: Annotated[Time | None, Ask("values read at", clock=True)] = None


class Grab(Part):
    """A sample of the process measured at once with another meter."""

    shown: Annotated[Number, Ask("pH on the display when the grab was taken", "pH", beside="grab")]
    shown_c: Annotated[Number | None, Ask("temperature on the display", "°C")] = None
    collected: Annotated[AtTime, Ask("grab collected at", clock=True)]
    meter: Annotated[
        Name,
        Ask(
            "meter the grab is measured with",
            refers="standard",
            beside="grab",
            again=True,
            kinds=("meter",),
        ),
    ]
    buffers: Annotated[
        tuple[Name, ...],
        Field(max_length=6),
        Ask(
            "buffers the meter was set in",
            refers="standard",
            help="left out: not known",
            kinds=("buffer",),
        ),
    ] = ()
    temperature_c: Annotated[Number | None, Ask("temperature of the grab", "°C", beside="grab")] = None
    ph: Annotated[Number, Ask("pH of the grab", "pH", beside="grab")]
    analysed: Annotated[AtTime, Ask("grab measured at", clock=True)]
    by: Annotated[Text | None, Ask("grab measured by")] = None


class ThermometerCheck(Part):
    """The analyzer's temperature against a reference thermometer in the same beaker."""

    reference: Annotated[
        Name, Ask("reference thermometer", refers="standard", again=True, kinds=("thermometer",))
    ]
    reference_c: Annotated[
        Number, Ask("reference thermometer shows", "°C", help="both in one beaker, steady")
    ]
    shown_c: Annotated[Number, Ask("analyzer shows", "°C", beside="thermometer")]
    use: Annotated[
        Literal["information only"] | None,
        Ask("only for information", help="information only: shown without a pass or fail", when="on request"),
    ] = None


class Buffer(OnStandard):
    """Which bottle of buffer, and what it needs besides the readings in it."""

    standard: Annotated[
        Name,
        Ask(
            "buffer",
            refers="standard",
            help="its id, as on the label and in standards_on_hand.toml",
            again=True,
            kinds=("buffer",),
        ),
    ]
    temperature_c: Annotated[
        Number | None,
        Ask(
            "temperature of the buffer",
            "°C",
            help="by the reference thermometer, not the analyzer",
            beside="buffer",
        ),
    ] = None


class BufferPoint(Read, Buffer):
    """The analyzer in one buffer."""

    readings: Annotated[
        Readings,
        Ask("pH readings", "pH", help="every reading until it holds still", beside="readings"),
    ]
    mv: Annotated[
        Number | None,
        Ask(
            "electrode voltage with the last reading",
            "mV",
            help="where the transmitter shows it",
            beside="readings",
            when="own visit",
        ),
    ] = None


class Action(Part):
    action: Annotated[
        Literal["leave alone", "offset", "two-point", "replace"], Ask("decision", beside="decision")
    ]
    put_in: Annotated[
        Text | None, Ask("what was put in", help="its type, with serial or lot", when="replaced")
    ] = None
    to: Annotated[Literal["buffers", "grab"], Ask("adjusted to", when="decided to adjust")] = "buffers"


class Decision(Because, Action):
    """What is done about what was found, and why."""


class Adjusted(Part):
    """What was changed in the transmitter, from what to what."""

    slope_from: Annotated[Number | None, Ask("slope from", "%", beside="adjusted")] = None
    slope_to: Annotated[Number | None, Ask("slope to", "%", beside="adjusted")] = None
    offset_from: Annotated[Number | None, Ask("offset from", "mV", beside="adjusted")] = None
    offset_to: Annotated[Number | None, Ask("offset to", "mV", beside="adjusted")] = None
    at: Annotated[Time | None, Ask("adjusted at", clock=True)] = None

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


class Before(Visit):
    """What is read while the output still shows the process."""

    stored: Annotated[
        Done[Constants] | None,
        Ask("stored on arrival", help="slope and offset in the menu of the transmitter", when="own visit"),
    ] = None
    process_before: Annotated[
        Done[Process] | None, Ask("process before", help="read before the sensor leaves the water")
    ] = None
    grab: Annotated[
        tuple[Grab, ...],
        Field(max_length=6),
        Ask("grab before", help="where it may be adjusted to grabs: two that agree", when="on request"),
    ] = ()


class Work(Part):
    """From the thermometer check to what the transmitter holds as left."""

    thermometer_check: Annotated[
        Done[ThermometerCheck] | None, Ask("thermometer check", when="own visit")
    ] = None
    as_found: Annotated[
        Done[Points[BufferPoint]],
        Ask(
            "as found",
            help="rinsed with water, before anything is cleaned or adjusted",
            caution="Before cleaning: what is wiped off now can never be found again.",
        ),
    ]
    cleaned: Annotated[Done[Cleaned] | None, Ask("cleaned", when="own visit or not passed")] = None
    after_cleaning: Annotated[
        Done[Points[BufferPoint]] | None,
        Ask("after cleaning", help="the same buffers, before any adjustment", when="cleaned"),
    ] = None
    decision: Annotated[Decision | None, Ask("decision", when="own visit or not passed")] = None
    adjusted: Annotated[
        Done[Adjusted] | None, Ask("adjusted", help="from what to what", when="decided to change")
    ] = None
    as_left: Annotated[
        DoneOrSame[Points[BufferPoint]],
        Ask("as left", help="the same buffers again where anything was changed"),
    ]
    check_buffer: Annotated[
        Done[BufferPoint] | None,
        Ask("check buffer", help="of another lot or another pH", when="own visit or changed"),
    ] = None
    constants_as_left: Annotated[
        Done[Constants] | None,
        Ask("stored as left", help="slope and offset in the menu", when="own visit or changed"),
    ] = None


class After(Released):
    """What is read once the output shows the process again."""

    process_after: Annotated[
        Done[Process] | None,
        Ask("process after", help="back in the sample, released, steady", when="own visit or changed"),
    ] = None
    grab_after: Annotated[
        Done[Grab] | None,
        Ask("grab after", help="another meter on the same water", when="own visit or changed"),
    ] = None


class PhSheet(Tail, After, Work, Head, Before):
    """One visit."""

    SAMPLED: ClassVar[bool] = True
    UNIT: ClassVar[str] = "pH"
    TOGETHER: ClassVar[tuple[frozenset[str], ...]] = (
        ON_ARRIVAL,
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
