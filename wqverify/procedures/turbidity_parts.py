"""Parts of the turbidity sheets, shared by the check, the calibration and the preparation of standards."""

from __future__ import annotations

from typing import Annotated, Literal, Protocol, Self

from pydantic import Field, model_validator

from wqverify.plant.fields import Name, Text, said
from wqverify.procedures.parts import (
    Because,
    Cleaned,
    Done,
    Moment,
    NotDone,
    Number,
    OnStandard,
    Part,
    Read,
    Readings,
    Released,
    SameAs,
    Time,
    Visit,
)
from wqverify.terms import Ask, Reading

Pipette = Literal["class A", "adjustable"]


class Step(Part):
    """One dilution: a volume of what is stronger, made up with the dilution water."""

    pipetted_ml: Annotated[Number, Ask("volume pipetted", "mL", beside="dilution")]
    to_ml: Annotated[Number, Ask("made up to", "mL", help="volume of the flask", beside="dilution")]
    pipette: Annotated[
        Pipette,
        Ask("pipette", help="class A: of one mark; adjustable: set by hand", when="own visit"),
    ] = "class A"
    pipette_within_ml: Annotated[
        Number | None, Ask("tolerance marked on the pipette, ±", "mL", when="on request")
    ] = None
    flask_within_ml: Annotated[
        Number | None, Ask("tolerance marked on the flask, ±", "mL", when="on request")
    ] = None


class Dilution(Part):
    """A standard made on the spot from the one named: the water has a turbidity of its own."""

    water: Annotated[
        Name,
        Ask(
            "dilution water",
            refers="standard",
            help="its batch in standards_on_hand.toml, with its NTU",
            kinds=("water",),
        ),
    ]
    steps: Annotated[tuple[Step, ...], Field(min_length=1, max_length=4), Ask("dilution")]


class FromBottle(OnStandard):
    """Which standard, and whether it was diluted for a low point."""

    diluted: Annotated[Dilution | None, Ask("diluted from it", help="for a low point", when="on request")] = (
        None
    )


INSERTIONS = Ask(
    "times the standard was put in anew", help="a secondary standard; left out: once", when="on request"
)


class TurbidityPoint(Read, FromBottle):
    """The analyzer on one standard."""

    readings: Annotated[
        Readings,
        Ask(
            "readings",
            "analyzer",
            help="every reading until it holds still; those that do count",
            beside="readings",
        ),
    ]
    insertions: Annotated[Number | None, INSERTIONS] = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        _whole_times(self.insertions)
        return self


def _whole_times(times: Reading | None) -> None:
    if times is not None and not (times.digit == 1 and 1 <= times.value <= 60):
        raise said(f"insertions is {times.text}; type how often it was put in, a whole number from 1 to 60.")


class OnSecondary(Part):
    """Which secondary standard was read."""

    standard: Annotated[
        Name,
        Ask(
            "secondary standard",
            refers="standard",
            help="its id, as on the block",
            again=True,
            kinds=("secondary",),
        ),
    ]


class Assign(Read, OnSecondary):
    """A secondary standard, read right after the calibration to be assigned its value."""

    insertions: Annotated[Number | None, INSERTIONS] = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        _whole_times(self.insertions)
        return self


class InWater(Part):
    """Which water the analyzer was read in."""

    water: Annotated[
        Name, Ask("zero water", refers="standard", help="its id in standards_on_hand.toml", kinds=("water",))
    ]


class Zero(Read, InWater):
    """The analyzer in zero water: the same batch as the dilution water, as clean as can be had."""


class OnStandards(Part):
    """The readings of one stage: as found, after cleaning and as left are three fields of this type."""

    zero: Annotated[
        Done[Zero] | None, Ask("zero water", help="as clean as can be had", when="on request")
    ] = None
    points: Annotated[tuple[TurbidityPoint, ...], Field(max_length=12), Ask("point")]

    @model_validator(mode="after")
    def _any(self) -> Self:
        if not self.points:
            raise said('points holds no point; enter at least one, or not_done = "because ..." instead.')
        return self


class OnPrimaries(OnStandards):
    """The readings of one stage of a calibration: zero water belongs to them."""

    zero: Annotated[Done[Zero] | None, Ask("zero water", help="as clean as can be had", when="own visit")] = (
        None
    )


class Process(Part):
    """The process as the analyzer and the control system show it at one moment."""

    ntu: Annotated[Number, Ask("turbidity on the display", "analyzer", help="unrounded, as it is shown")]
    control_system: Annotated[Number | None, Ask("turbidity in the control system", "analyzer")] = None
    at: Annotated[Time | None, Ask("values read at", clock=True)] = None


class Optics(Part):
    """What light and water pass on their way, as it was found."""

    lamp: Annotated[Text | None, Ask("lamp", help="on, steady, lamp alarm", usual="on, no lamp alarm")] = None
    bubble_trap: Annotated[Text | None, Ask("bubble trap", help="full, overflowing, bubbles that pass")] = (
        None
    )


class Before(Visit):
    """What is read while the output still shows the process."""

    process_before: Annotated[
        Done[Process] | None, Ask("process before", help="read before the sample is shut off")
    ] = None
    optics: Annotated[Done[Optics] | None, Ask("lamp and bubble trap", when="own visit")] = None


class After(Released):
    """What is read once the output shows the process again."""

    process_after: Annotated[
        Done[Process] | None, Ask("process after", help="back in the sample, released, steady")
    ] = None


class Constants(Part):
    """What the analyzer holds, as its menu shows it."""

    gain: Annotated[Number | None, Ask("gain or calibration factor in the menu")] = None
    zero: Annotated[Number | None, Ask("zero in the menu", "analyzer")] = None


class Action(Part):
    action: Annotated[
        Literal["leave alone", "gain", "gain and zero", "replace"], Ask("decision", beside="decision")
    ]
    put_in: Annotated[
        Text | None, Ask("what was put in", help="its type, with serial or lot", when="replaced")
    ] = None


class Decision(Because, Action):
    """What is done about what was found, and why."""


class Adjusted(Part):
    """What was changed in the analyzer, from what to what."""

    gain_from: Annotated[Number | None, Ask("gain or calibration factor from", beside="adjusted")] = None
    gain_to: Annotated[Number | None, Ask("gain or calibration factor to", beside="adjusted")] = None
    zero_from: Annotated[Number | None, Ask("zero from", "analyzer", beside="adjusted")] = None
    zero_to: Annotated[Number | None, Ask("zero to", "analyzer", beside="adjusted")] = None
    at: Annotated[Time | None, Ask("adjusted at", clock=True)] = None

    @model_validator(mode="after")
    def _pairs(self) -> Self:
        for what in ("gain", "zero"):
            if (getattr(self, f"{what}_from") is None) != (getattr(self, f"{what}_to") is None):
                raise said(f"{what}_from and {what}_to belong together: what it was and what it is now.")
        if self.gain_from is None and self.zero_from is None:
            raise said(
                'nothing was changed here; enter gain or zero from and to, or not_done = "because ..."'
            )
        return self


class StandardsSheet(Protocol):
    """What the sheets of check and calibration have alike, whatever else they ask."""

    @property
    def output_held(self) -> Moment | NotDone | None: ...
    @property
    def process_before(self) -> Process | NotDone | None: ...
    @property
    def as_found(self) -> OnStandards | NotDone: ...
    @property
    def after_cleaning(self) -> OnStandards | NotDone | None: ...
    @property
    def as_left(self) -> OnStandards | NotDone | SameAs: ...
    @property
    def process_after(self) -> Process | NotDone | None: ...


def part_at(stage: str, sheet: StandardsSheet) -> OnStandards | NotDone | SameAs | None:
    """Return what a sheet says of a stage."""
    if stage == "after_cleaning":
        return sheet.after_cleaning
    return sheet.as_found if stage == "as_found" else sheet.as_left


def process_at(stage: str, sheet: StandardsSheet) -> Process | NotDone | None:
    """Return the process that belongs to a stage; after cleaning nobody was back in the process yet."""
    if stage == "after_cleaning":
        return None
    return sheet.process_before if stage == "as_found" else sheet.process_after


def same_stage(sheet: Part, changed: bool) -> None:
    """As left may be another stage's readings only where nothing was changed since; complains otherwise."""
    as_left = getattr(sheet, "as_left", None)
    if isinstance(getattr(sheet, "after_cleaning", None), OnStandards) and not isinstance(
        getattr(sheet, "cleaned", None), Cleaned
    ):
        raise said("after_cleaning has readings and cleaned does not say how it was cleaned; enter it.")
    if not isinstance(as_left, SameAs):
        return
    stage = as_left.same_as
    if changed:
        raise said(f"as_left cannot be the same as {stage}: it was adjusted or replaced since; read again.")
    if stage == "as_found" and isinstance(getattr(sheet, "cleaned", None), Cleaned):
        raise said(
            'as_left cannot be the same as as_found: it was cleaned since; write same_as = "after_cleaning" '
            "or read again."
        )
    source = getattr(sheet, stage)
    if source is None or isinstance(source, NotDone):
        raise said(f"as_left is the same as {stage}, which was not done; read again or say not_done.")
