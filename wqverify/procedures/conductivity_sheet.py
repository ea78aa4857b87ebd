"""The field sheet of a conductivity check, in the order of work."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from wqverify.plant.fields import Name, said
from wqverify.procedures.parts import (
    BACK_IN_SERVICE,
    BEFORE_IT_IS_TOUCHED,
    ON_ARRIVAL,
    Because,
    Cleaned,
    Done,
    DoneOrSame,
    Head,
    Number,
    OnStandard,
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
from wqverify.procedures.ph_sheet import ThermometerCheck
from wqverify.terms import Ask

Method = Literal["linear", "ISO 7888", "none"]


class Compensation(Part):
    """Which compensation of temperature the transmitter works with, as its menu shows it."""

    method: Annotated[
        Method,
        Ask(
            "compensation set in the menu",
            help="ISO 7888: nonlinear, natural water; none: the display is the conductivity at its own "
            "temperature",
            beside="compensation",
        ),
    ]
    coefficient: Annotated[
        Number | None,
        Ask("coefficient in the menu", "%/°C", help="of linear compensation", beside="compensation"),
    ] = None
    reference_c: Annotated[
        Number | None,
        Ask("reference temperature in the menu", "°C", help="left out: 25", when="on request"),
    ] = None
    control_system_too: Annotated[
        Literal["yes", "no"] | None,
        Ask("does the control system compensate again", help="ask who configured it", when="on request"),
    ] = None

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if (self.method == "linear") != (self.coefficient is not None):
            raise said(
                "coefficient belongs to linear compensation and to it alone; type it in % per °C, or correct "
                "the method."
            )
        return self


class Constants(Part):
    """What the transmitter holds, as its menu shows it."""

    cell_constant: Annotated[Number | None, Ask("cell constant in the menu", "1/cm")] = None
    zero: Annotated[Number | None, Ask("zero in the menu", "analyzer")] = None


class Process(Part):
    """The process as the analyzer and the control system show it at one moment."""

    shown: Annotated[Number, Ask("conductivity on the display", "analyzer")]
    temperature_c: Annotated[Number | None, Ask("temperature on the display", "°C", when="own visit")] = None
    control_system: Annotated[Number | None, Ask("conductivity in the control system", "analyzer")] = None
    at: Annotated[Time | None, Ask("values read at", clock=True)] = None


class Zero(Part):
    """The cell dry in air."""

    readings: Annotated[
        Readings,
        Ask(
            "readings",
            "analyzer",
            help="rinsed, shaken, left to dry, not wiped; the last counts",
            beside="zero",
        ),
    ]
    at: Annotated[Time | None, Ask("last reading at", clock=True)] = None


class InBottle(OnStandard):
    """Which bottle, and how warm it was."""

    standard: Annotated[
        Name,
        Ask(
            "standard",
            refers="standard",
            help="its id, as on the label and in standards_on_hand.toml",
            again=True,
            kinds=("conductivity",),
        ),
    ]
    temperature_c: Annotated[
        Number,
        Ask(
            "temperature of the standard",
            "°C",
            help="by the reference thermometer, not the analyzer; cell and standard equally warm",
            beside="bottle",
        ),
    ]


class ConductivityPoint(Read, InBottle):
    """The cell in one standard."""

    readings: Annotated[
        Readings,
        Ask(
            "readings",
            "analyzer",
            help="as shown; no bubbles in the cell; every reading until it holds still",
            beside="readings",
        ),
    ]


class OnStandards(Part):
    """The readings of one stage: as found, after cleaning and as left are three fields of this type."""

    zero: Annotated[
        Done[Zero] | None,
        Ask(
            "zero in air",
            help="the zero alone passes a dead cell: two standards are read too",
            when="own visit",
        ),
    ] = None
    thermometer: Annotated[
        Name | None,
        Ask(
            "reference thermometer",
            refers="standard",
            help="left out: the one of the thermometer check",
            when="on request",
            again=True,
            kinds=("thermometer",),
        ),
    ] = None
    points: Annotated[tuple[ConductivityPoint, ...], Field(max_length=12), Ask("standard")] = ()

    @model_validator(mode="after")
    def _any(self) -> Self:
        if not self.points and not isinstance(self.zero, Zero):
            raise said(
                "points holds no standard and the zero was not read; enter at least one of them, or "
                'not_done = "because ..." instead.'
            )
        return self


class Action(Part):
    action: Annotated[
        Literal["leave alone", "cell constant", "zero", "cell constant and zero", "compensation", "replace"],
        Ask("decision", beside="decision"),
    ]


class Decision(Because, PutIn, Action):
    """What is done about what was found, and why."""


class Adjusted(Part):
    """What was changed in the transmitter, from what to what."""

    cell_constant_from: Annotated[Number | None, Ask("cell constant from", "1/cm", beside="adjusted")] = None
    cell_constant_to: Annotated[Number | None, Ask("cell constant to", "1/cm", beside="adjusted")] = None
    zero_from: Annotated[Number | None, Ask("zero from", "analyzer", beside="adjusted")] = None
    zero_to: Annotated[Number | None, Ask("zero to", "analyzer", beside="adjusted")] = None
    compensation_to: Annotated[
        Method | None, Ask("compensation changed to", help="where it was changed", when="on request")
    ] = None
    coefficient_to: Annotated[
        Number | None, Ask("coefficient changed to", "%/°C", help="of linear compensation", when="on request")
    ] = None
    at: Annotated[Time | None, Ask("adjusted at", clock=True)] = None

    @model_validator(mode="after")
    def _pairs(self) -> Self:
        for what in ("cell_constant", "zero"):
            if (getattr(self, f"{what}_from") is None) != (getattr(self, f"{what}_to") is None):
                raise said(f"{what}_from and {what}_to belong together: what it was and what it is now.")
        if (self.compensation_to == "linear") != (self.coefficient_to is not None):
            raise said("coefficient_to belongs to a compensation changed to linear; type both or none.")
        if self.cell_constant_from is None and self.zero_from is None and self.compensation_to is None:
            raise said(
                "nothing was changed here; enter cell constant or zero from and to, or the compensation, or "
                'not_done = "because ..."'
            )
        return self


class Before(Visit):
    """What is read while the output still shows the process."""

    stored: Annotated[
        Done[Constants] | None,
        Ask("stored on arrival", help="in the menu of the transmitter", when="own visit"),
    ] = None
    compensation: Annotated[
        Done[Compensation] | None,
        Ask(
            "compensation",
            help="as set in the menu; left out: as the register has it",
            when="own visit",
        ),
    ] = None
    process_before: Annotated[
        Done[Process] | None, Ask("process before", help="read before the cell leaves the water")
    ] = None


class Work(Part):
    """From the thermometer check to what the transmitter holds as left."""

    thermometer_check: Annotated[
        Done[ThermometerCheck] | None, Ask("thermometer check", when="own visit")
    ] = None
    as_found: Annotated[
        Done[OnStandards],
        Ask(
            "as found",
            help="rinsed with water, before anything is cleaned or adjusted",
            caution="Before cleaning: what is wiped off now can never be found again.",
        ),
    ]
    cleaned: Annotated[Done[Cleaned] | None, Ask("cleaned", when="own visit or not passed")] = None
    after_cleaning: Annotated[
        Done[OnStandards] | None,
        Ask("after cleaning", help="the same standards, before any adjustment", when="cleaned"),
    ] = None
    decision: Annotated[Decision | None, Ask("decision", when="own visit or not passed")] = None
    adjusted: Annotated[
        Done[Adjusted] | None, Ask("adjusted", help="from what to what", when="decided to adjust")
    ] = None
    as_left: Annotated[
        DoneOrSame[OnStandards],
        Ask("as left", help="the same standards again where anything was changed"),
    ]


class After(Released):
    """What is read once the output shows the process again."""

    process_after: Annotated[
        Done[Process] | None,
        Ask("process after", help="back in the sample, released, steady", when="own visit or changed"),
    ] = None


class ConductivitySheet(Tail, After, Work, Head, Before):
    """One visit."""

    SAMPLED: ClassVar[bool] = True
    TOGETHER: ClassVar[tuple[frozenset[str], ...]] = (ON_ARRIVAL, BEFORE_IT_IS_TOUCHED, BACK_IN_SERVICE)

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        action = self.decision.action if self.decision else "leave alone"
        insist_on_decision(action, self.adjusted, without=("leave alone", "replace"))
        changed = isinstance(self.adjusted, Adjusted) or action == "replace"
        if isinstance(self.after_cleaning, OnStandards) and not isinstance(self.cleaned, Cleaned):
            raise said("after_cleaning has readings and cleaned does not say how it was cleaned; enter it.")
        if isinstance(self.as_left, SameAs):
            insist_on_same(self, self.as_left.same_as, changed)
        return self
