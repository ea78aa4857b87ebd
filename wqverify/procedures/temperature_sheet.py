"""The field sheet of a temperature check, in the order of work."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from wqverify.plant.fields import Name, Text, said
from wqverify.procedures.parts import (
    BACK_IN_SERVICE,
    BEFORE_IT_IS_TOUCHED,
    ON_ARRIVAL,
    Because,
    Done,
    DoneOrSame,
    Head,
    Number,
    Part,
    PutIn,
    Read,
    Readings,
    Released,
    SameAs,
    Tail,
    Time,
    Visit,
    insist_on_decision,
    insist_on_same,
)
from wqverify.terms import Ask

Kind = Literal["ice point", "stirred bath", "unstirred water", "process"]
Class = Literal["AA", "A", "B", "C"]


class Element(Part):
    """The platinum element, by its data sheet or its marking."""

    nominal_ohm: Annotated[
        Number, Ask("resistance at 0 °C by its marking", "ohm", help="Pt100: 100", again=True)
    ]
    tolerance_class: Annotated[
        Class | None, Ask("tolerance class", help="IEC 60751; left out: not known", again=True)
    ] = None
    set_as: Annotated[
        Text | None, Ask("element type set in the transmitter", help="as its menu shows it: Pt100 385")
    ] = None


class Process(Part):
    """The process as the analyzer and the control system show it at one moment."""

    shown: Annotated[Number, Ask("temperature on the display", "analyzer")]
    control_system: Annotated[Number | None, Ask("temperature in the control system", "analyzer")] = None
    at: Annotated[Time | None, Ask("values read at", clock=True)] = None


class Reference(Part):
    """Where sensor and reference thermometer are, side by side."""

    kind: Annotated[
        Kind | None,
        Ask(
            "bath",
            help="ice point: crushed ice, packed, meltwater off; left out: as unstirred water",
            again=True,
            when="own visit",
        ),
    ] = None
    standard: Annotated[
        Name | None,
        Ask(
            "reference thermometer",
            refers="standard",
            help="beside the sensor; left out only in an ice point: 0.00 °C",
            beside="thermometer",
            again=True,
            kinds=("thermometer",),
        ),
    ] = None
    use: Annotated[
        Literal["information only"] | None,
        Ask(
            "only for information",
            help="information only: the result is shown without a pass or fail; left out: it counts",
            when="on request",
        ),
    ] = None
    reference: Annotated[
        Number | None,
        Ask(
            "reference thermometer shows",
            "°C",
            help="as it shows it: the corrections of its certificate are made here",
            beside="thermometer",
        ),
    ] = None


class Bath(Read, Reference):
    """The sensor in one bath."""

    readings: Annotated[
        Readings,
        Ask(
            "display shows",
            "analyzer",
            help="every reading until it holds still, at least a minute after it was put in",
            beside="readings",
        ),
    ]
    control_system: Annotated[
        Number | None,
        Ask(
            "control system with the last reading",
            "analyzer",
            help="only where the output is not held",
            when="own visit, output not held",
        ),
    ] = None
    element_ohm: Annotated[
        Number | None,
        Ask(
            "element measured",
            "ohm",
            help="in this bath, after the readings: at its terminals, transmitter unplugged",
            caution="Unplugging the element drives the value to an end of its range: output held first.",
            beside="element",
            when="own visit",
        ),
    ] = None
    lead_ohm: Annotated[
        Number | None,
        Ask(
            "its leads",
            "ohm",
            help="both leads of two wires; of three: between the two of one end; 0 for four",
            when="own visit",
        ),
    ] = None

    @model_validator(mode="after")
    def _named(self) -> Self:
        if self.kind != "ice point" and self.standard is None:
            raise said(
                "standard is missing: name the reference thermometer, which only an ice point can do without."
            )
        if (self.standard is None) != (self.reference is None):
            raise said("standard and reference belong together: the reference thermometer and what it shows.")
        if self.lead_ohm is not None and self.element_ohm is None:
            raise said("lead_ohm stands without element_ohm; enter the resistance of the element too.")
        return self


class InBaths(Part):
    """The readings of one stage: as found and as left are two fields of this type."""

    points: Annotated[tuple[Bath, ...], Field(max_length=12), Ask("bath")]

    @model_validator(mode="after")
    def _any(self) -> Self:
        if not self.points:
            raise said('points holds no bath; enter at least one, or not_done = "because ..." instead.')
        return self


class Action(Part):
    action: Annotated[
        Literal["leave alone", "offset", "two-point", "element type", "replace"],
        Ask("decision", beside="decision"),
    ]


class Decision(Because, PutIn, Action):
    """What is done about what was found, and why."""


class Adjusted(Part):
    """What was changed, from what to what."""

    offset_from: Annotated[Number | None, Ask("offset from", "analyzer")] = None
    offset_to: Annotated[Number | None, Ask("offset to", "analyzer")] = None
    gain_from: Annotated[Number | None, Ask("gain from")] = None
    gain_to: Annotated[Number | None, Ask("gain to")] = None
    set_as: Annotated[Text | None, Ask("element type set to", when="on request")] = None
    at: Annotated[Time | None, Ask("adjusted at", clock=True)] = None

    @model_validator(mode="after")
    def _pairs(self) -> Self:
        for what in ("offset", "gain"):
            if (getattr(self, f"{what}_from") is None) != (getattr(self, f"{what}_to") is None):
                raise said(f"{what}_from and {what}_to belong together: what it was and what it is now.")
        if self.offset_from is None and self.gain_from is None and self.set_as is None:
            raise said(
                "nothing was changed here; enter offset or gain from and to, or the element type, or "
                'not_done = "because ..."'
            )
        return self


class Before(Visit):
    """What is read while the output still shows the process."""

    process_before: Annotated[
        Done[Process] | None, Ask("process before", help="read before the sensor leaves the water")
    ] = None
    element: Annotated[
        Done[Element] | None,
        Ask("element", help="where its resistance is measured", when="own visit"),
    ] = None


class Work(Part):
    """From as found to as left."""

    as_found: Annotated[
        Done[InBaths],
        Ask("as found", help="two baths some 15 °C apart, the ice point one of them if you can"),
    ]
    decision: Annotated[Decision | None, Ask("decision", when="own visit or not passed")] = None
    adjusted: Annotated[
        Done[Adjusted] | None, Ask("adjusted", help="from what to what", when="decided to adjust")
    ] = None
    as_left: Annotated[
        DoneOrSame[InBaths], Ask("as left", help="the same baths again where anything was changed")
    ]


class After(Released):
    """What is read once the output shows the process again."""

    process_after: Annotated[
        Done[Process] | None,
        Ask("process after", help="back in the water, released, steady", when="own visit or changed"),
    ] = None


class TemperatureSheet(Tail, After, Work, Head, Before):
    """One visit."""

    UNIT: ClassVar[str] = "°C"  # of a temperature built into an analyzer of something else
    UNITS: ClassVar[tuple[str, ...]] = ("°C", "°F")
    TOGETHER: ClassVar[tuple[frozenset[str], ...]] = (ON_ARRIVAL, BEFORE_IT_IS_TOUCHED, BACK_IN_SERVICE)

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        action = self.decision.action if self.decision else "leave alone"
        insist_on_decision(action, self.adjusted, without=("leave alone", "replace"))
        if isinstance(self.as_left, SameAs):
            changed = isinstance(self.adjusted, Adjusted) or action == "replace"
            insist_on_same(self, self.as_left.same_as, changed)
        return self
