"""The parts of the sheet of a level check: datum, what is stored and set, levels, currents, what was done."""

from __future__ import annotations

import re
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from wqverify.errors import CorrectTheEntry
from wqverify.plant.fields import Name, Text, said
from wqverify.procedures.parts import (
    Amount,
    Amounts,
    AtTime,
    Because,
    Number,
    Part,
    Time,
)
from wqverify.terms import Ask, Reading

Kind = Literal["hydrostatic", "ultrasonic"]
By = Literal["tape", "gauge", "sight tube"]
AnyBy = Literal["tape", "gauge", "sight tube", "injected current"]
INJECTED = "injected current"
Heard = Literal["own eyes", "radio", "phone"]
# Words of the kind of a standard: what a level is read with, what makes or reads a current.
FOR_LEVEL = ("tape", "gauge", "tube", "level")
FOR_CURRENT = ("calibrator", "source", "meter", "multimeter")

_RANGE = re.compile(r"(\S+) to (\S+)(?: (\S+))?")


def range_of(text: str) -> tuple[Reading, Reading]:
    """Read both ends of a typed range; raises CorrectTheEntry for anything but two numbers.

    >>> [end.text for end in range_of("0 to 12.2 m")]
    ['0 m', '12.2 m']
    """
    match = _RANGE.fullmatch(text)
    if match is None:
        raise CorrectTheEntry(
            f"{text[:40]!r} is not a range such as 0 to 40; type what 4 and what 20 mA stand for, with the "
            f"unit where it is another one.",
            found=text[:40],
            expected="a range such as 0 to 40",
        )
    unit = f" {match[3]}" if match[3] else ""
    return Reading.parse(match[1] + unit), Reading.parse(match[2] + unit)


def _range(text: str) -> str:
    try:
        low, high = range_of(text)
    except CorrectTheEntry as problem:
        raise said(problem.message) from None
    if low.value == high.value:
        raise said(f"{text!r} has no width, so it stands for no level; read both ends again.")
    return text


Range = Annotated[Text, AfterValidator(_range)]


# ---------------------------------------------------------------- on arrival


class Permission(Part):
    """Whoever owns the tank lets the performer work there."""

    given_by: Annotated[Text, Ask("who gave permission", help="name and office, of the owner")]
    how: Annotated[Text | None, Ask("permission given how", help="in person, phone", when="own visit")] = None
    at: Annotated[AtTime | None, Ask("permission given at", clock=True)] = None


class Datum(Part):
    """Where level counts from; what is left out is taken from the register."""

    mark: Annotated[
        Amount | None, Ask("elevation of the tape's mark", "analyzer", beside="datum", elevation=True)
    ] = None
    gauge: Annotated[Amount | None, Ask("elevation of gauge or scale zero", "analyzer", elevation=True)] = (
        None
    )
    zero: Annotated[
        Amount | None,
        Ask(
            "elevation of the transmitter's zero",
            "analyzer",
            help="left out: 0, the level's own zero",
            elevation=True,
        ),
    ] = None
    source: Annotated[
        Text | None, Ask("where the elevations are from", help="survey or drawing, with its date")
    ] = None


class Stored(Part):
    """What the transmitter holds, as its menu shows it."""

    density_kg_m3: Annotated[
        Number | None, Ask("density in the menu", "kg/m3", help="only hydrostatic", beside="density")
    ] = None
    air_c: Annotated[
        Amount | None, Ask("temperature the transmitter counts with", "°C", help="only ultrasonic")
    ] = None
    sensor: Annotated[
        Amount | None,
        Ask("sensor face above zero", "analyzer", help="only ultrasonic", elevation=True),
    ] = None
    blanking: Annotated[
        Amount | None,
        Ask(
            "blanking distance in the menu",
            "analyzer",
            help="only ultrasonic",
            caution="An echo inside the blanking distance is not seen: the tank can overflow unseen.",
        ),
    ] = None


class Ranges(Part):
    """The range from 4 to 20 mA at each end of the signal, as set there."""

    transmitter: Annotated[
        Range | None, Ask("range at the transmitter", help="what 4 and 20 mA stand for, such as 0 to 40 ft")
    ] = None
    remote: Annotated[Range | None, Ask("range at the remote display")] = None
    own: Annotated[Range | None, Ask("range in our control system")] = None
    read_by: Annotated[Text | None, Ask("ranges read by", help="at each end")] = None


# ---------------------------------------------------------------- levels and currents


class MeasuredBy(Part):
    """How a level was found."""

    by: Annotated[
        By,
        Ask(
            "level measured by",
            caution="Nothing falls into drinking water: tape on a line, clean, disinfected.",
        ),
    ]


class MeasuredOrInjected(Part):
    """How a level was found, or that a current stands for it."""

    by: Annotated[
        AnyBy,
        Ask(
            "level measured by, or injected current",
            help="injected: the reference is the current, such as 6.00 mA; the transmitter is disconnected",
            caution="A current moves pumps and alarms that follow it: in manual, or held, first. No second "
            "source against a supply that is still on. Nothing falls into drinking water.",
        ),
    ]


class Compared(Part):
    """The reference, and what the four places show of it."""

    instrument: Annotated[
        Name,
        Ask(
            "reference instrument",
            refers="standard",
            help="tape, gauge or tube; injected: the calibrator; its id, as on its label",
            beside="reference",
            kinds=FOR_LEVEL + FOR_CURRENT,
        ),
    ]
    reference: Annotated[
        Amounts,
        Ask(
            "reference readings",
            "analyzer",
            help="tape: from the mark down to the water, several on waves; gauge or tube: as it shows, a "
            "pressure with its unit; injected: the current with mA",
            beside="reference",
        ),
    ]
    at: Annotated[AtTime | None, Ask("reference read at", clock=True)] = None
    display: Annotated[Amount | None, Ask("value at the transmitter", "analyzer", beside="shown")] = None
    ma: Annotated[
        Number | None,
        Ask(
            "loop current",
            "mA",
            help="by clamp, test terminals or menu",
            caution="Opening the loop drops the level to zero: pumps and alarms act on it.",
            beside="current",
        ),
    ] = None
    remote: Annotated[
        Amount | None,
        Ask("value on the remote display", "analyzer", help="the town's, read out", beside="shown"),
    ] = None
    own: Annotated[
        Amount | None,
        Ask("value in our control system", "analyzer", help="read out", beside="shown"),
    ] = None
    read_at: Annotated[AtTime | None, Ask("these values read at", clock=True)] = None


class LevelPoint(Compared, MeasuredBy):
    """One level by the reference, and what the four places show of it."""


class AnyPoint(Compared, MeasuredOrInjected):
    """A level, or a current injected in place of the transmitter: the reference is the current then."""

    @model_validator(mode="after")
    def _one_current(self) -> Self:
        if self.by != INJECTED:
            return self
        if len(self.reference) > 1 or self.reference[0].unit != "mA":
            raise said("a current is injected, so reference holds that one current with its unit: 6.00 mA.")
        if self.ma is not None or self.display is not None:
            raise said(
                "a current is injected and the transmitter disconnected, so ma and display stay open; the "
                "current is the reference."
            )
        return self


Row = LevelPoint | AnyPoint
_RISE = "falling: with a minus; left out: not known"


def _some(points: tuple[Row, ...]) -> tuple[Row, ...]:
    if not points:
        raise said('points holds no level; enter at least one, or not_done = "because ..." instead.')
    return points


class Levels(Part):
    """The levels as found."""

    points: Annotated[tuple[LevelPoint, ...], Field(max_length=4), Ask("level"), AfterValidator(_some)]
    read_by: Annotated[Text | None, Ask("remote values read by", when="own visit")] = None
    heard_how: Annotated[Heard | None, Ask("how remote values were learned", when="own visit")] = None
    water_c: Annotated[
        Amount | None, Ask("temperature of the water", "°C", beside="density", when="own visit")
    ] = None
    air_c: Annotated[
        Amount | None,
        Ask("temperature of the air at the sensor", "°C", help="only ultrasonic", when="on request"),
    ] = None
    rise: Annotated[Number | None, Ask("rise in a minute", "analyzer", help=_RISE, when="own visit")] = None
    meter: Annotated[
        Name | None,
        Ask("instrument the current is read with", refers="standard", when="on request", kinds=FOR_CURRENT),
    ] = None


class MoreLevels(Part):
    """Levels or injected currents after that."""

    points: Annotated[tuple[AnyPoint, ...], Field(max_length=5), Ask("level"), AfterValidator(_some)]
    read_by: Annotated[Text | None, Ask("far end read by", when="own visit")] = None
    heard_how: Annotated[Heard | None, Ask("how the values were learned", when="own visit")] = None
    rise: Annotated[Number | None, Ask("rise in a minute", "analyzer", help=_RISE, when="on request")] = None


# ---------------------------------------------------------------- decided and done


class Service(Part):
    """What was done to the transmitter before it was read again."""

    what: Annotated[
        Text,
        Ask(
            "what was serviced",
            help="vent tube, desiccant, sensor face",
            caution="A vent tube stays open to the air: never capped, never under water.",
        ),
    ]
    at: Annotated[Time | None, Ask("serviced at", clock=True)] = None


class Action(Part):
    action: Annotated[
        Literal["leave alone", "replace", "zero", "range at the transmitter", "range at the far end"],
        Ask("decision", beside="decision"),
    ]


class Decision(Because, Action):
    """What is done about what was found, and why."""


class Adjusted(Part):
    """What was changed, at which end, from what to what."""

    where: Annotated[
        Literal["transmitter", "remote display", "our control system"], Ask("changed at which end")
    ]
    what: Annotated[Text, Ask("what was changed", help="zero, range, density", beside="decision")]
    setting_from: Annotated[Text, Ask("setting from")]
    setting_to: Annotated[Text, Ask("setting to")]
    by: Annotated[Text | None, Ask("changed by", help="at the far end: whoever did it there")] = None
    at: Annotated[Time, Ask("adjusted at", clock=True)]


class TownTold(Part):
    """The owner knows what was found and left."""

    who: Annotated[Text, Ask("who in the town was told", help="what was found, what was changed")]
    how: Annotated[Text | None, Ask("town told how", when="own visit")] = None
    at: Annotated[Time | None, Ask("town told at", clock=True)] = None
