"""The field sheet of a level check, in the order of work."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from wqverify.plant.fields import Name, Notes, Text, said
from wqverify.procedures.parts import (
    BACK_IN_SERVICE,
    ON_ARRIVAL,
    Amount,
    Amounts,
    AtTime,
    Because,
    Condition,
    Done,
    Head,
    Holds,
    Moment,
    NotDone,
    Number,
    Part,
    Released,
    Tail,
    Time,
    Visit,
    insist_on_decision,
)
from wqverify.terms import Ask

Kind = Literal["hydrostatic", "ultrasonic"]
By = Literal["tape", "gauge", "sight tube"]
Heard = Literal["own eyes", "radio", "phone"]

HELD = frozenset({"output_held", "loop_in_manual", "alarm_blocked"})
ALONE = ("leave alone", "replace")  # decisions that adjust nothing


# ---------------------------------------------------------------- on arrival


class Permission(Part):
    """Whoever owns the tank lets the performer work there."""

    given_by: Annotated[Text, Ask("who gave permission", help="name and office, of the owner")]
    how: Annotated[Text | None, Ask("permission given how", help="in person, phone", when="own visit")] = None
    at: Annotated[AtTime | None, Ask("permission given at", clock=True)] = None


class Datum(Part):
    """Where level counts from; what is left out is taken from the register."""

    mark: Annotated[
        Amount | None, Ask("elevation of the mark the tape hangs from", "analyzer", beside="datum")
    ] = None
    gauge: Annotated[
        Amount | None, Ask("elevation of the gauge, or of the zero of the tube's scale", "analyzer")
    ] = None
    zero: Annotated[
        Amount | None,
        Ask("elevation of the transmitter's zero", "analyzer", help="left out: 0, the level's own zero"),
    ] = None
    source: Annotated[
        Text | None, Ask("where the elevations are from", help="survey or drawing, with its date")
    ] = None


class Stored(Part):
    """What the transmitter holds, as its menu shows it."""

    density_kg_m3: Annotated[
        Number | None, Ask("density in the menu", "kg/m3", help="hydrostatic", beside="density")
    ] = None
    air_c: Annotated[
        Amount | None, Ask("temperature the transmitter counts with", "°C", help="ultrasonic")
    ] = None
    sensor: Annotated[
        Amount | None,
        Ask("height of the sensor face above the zero", "analyzer", help="ultrasonic"),
    ] = None
    blanking: Annotated[
        Amount | None,
        Ask(
            "blanking distance in the menu",
            "analyzer",
            help="ultrasonic",
            caution="An echo inside the blanking distance is not seen: the tank can overflow unseen.",
        ),
    ] = None


class Ranges(Part):
    """The range from 4 to 20 mA at each end of the signal, as set there."""

    transmitter_low: Annotated[Amount | None, Ask("4 mA at the transmitter", "analyzer")] = None
    transmitter_high: Annotated[Amount | None, Ask("20 mA at the transmitter", "analyzer")] = None
    remote_low: Annotated[Amount | None, Ask("4 mA at the remote display", "analyzer")] = None
    remote_high: Annotated[Amount | None, Ask("20 mA at the remote display", "analyzer")] = None
    own_low: Annotated[Amount | None, Ask("4 mA in our control system", "analyzer")] = None
    own_high: Annotated[Amount | None, Ask("20 mA in our control system", "analyzer")] = None
    read_by: Annotated[Text | None, Ask("ranges read by", help="at each end")] = None

    @model_validator(mode="after")
    def _both_ends(self) -> Self:
        for place in ("transmitter", "remote", "own"):
            if (getattr(self, f"{place}_low") is None) != (getattr(self, f"{place}_high") is None):
                raise said(f"{place}_low and {place}_high belong together: a range has two ends.")
        return self


# ---------------------------------------------------------------- levels and currents


class LevelPoint(Part):
    """One level by the reference, and what the four places show of it."""

    by: Annotated[
        By,
        Ask(
            "level measured by",
            caution="Nothing falls into drinking water: tape on a line, clean, disinfected.",
        ),
    ]
    instrument: Annotated[Name, Ask("tape, gauge or tube", refers="standard", beside="reference")]
    reference: Annotated[
        Amounts,
        Ask(
            "reference readings",
            "analyzer",
            help="tape: from the mark down to the water, several on waves; gauge or tube: as it shows, a "
            "pressure with its unit",
            beside="reference",
        ),
    ]
    at: Annotated[AtTime | None, Ask("reference read at", clock=True)] = None
    water_c: Annotated[
        Amount | None, Ask("temperature of the water", "°C", beside="density", when="own visit")
    ] = None
    air_c: Annotated[
        Amount | None,
        Ask("temperature of the air at the sensor", "°C", help="ultrasonic", when="on request"),
    ] = None
    display: Annotated[Amount, Ask("value at the sensor or transmitter", "analyzer", beside="shown")]
    ma: Annotated[
        Number | None,
        Ask(
            "loop current at that level",
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
    read_by: Annotated[Text | None, Ask("remote values read by", when="own visit")] = None
    heard_how: Annotated[Heard | None, Ask("how remote values were learned", when="own visit")] = None
    read_at: Annotated[AtTime | None, Ask("remote values read at", clock=True)] = None


class Levels(Part):
    """The levels of one stage."""

    points: Annotated[tuple[LevelPoint, ...], Field(max_length=4), Ask("level")]
    rise: Annotated[
        Number | None,
        Ask(
            "rise of the level in a minute",
            "analyzer",
            help="falling: with a minus; left out: not known",
            when="own visit",
        ),
    ] = None
    meter: Annotated[
        Name | None,
        Ask("instrument the current is read with", refers="standard", when="on request"),
    ] = None

    @model_validator(mode="after")
    def _any(self) -> Self:
        if not self.points:
            raise said('points holds no level; enter at least one, or not_done = "because ..." instead.')
        return self


class InjectedPoint(Part):
    """One current injected in place of the transmitter, and what the far ends show."""

    ma: Annotated[Number, Ask("current injected", "mA", beside="current")]
    remote: Annotated[Amount | None, Ask("remote display at that current", "analyzer", beside="injected")] = (
        None
    )
    own: Annotated[
        Amount | None, Ask("our control system at that current", "analyzer", beside="injected")
    ] = None
    at: Annotated[AtTime | None, Ask("currents read at", clock=True)] = None


class Injected(Part):
    """Currents given by an instrument, the transmitter disconnected: a second level without moving water."""

    source: Annotated[Name, Ask("instrument that gives the current", refers="standard")]
    points: Annotated[tuple[InjectedPoint, ...], Field(max_length=5), Ask("current")]
    heard_how: Annotated[Heard | None, Ask("how these values were learned")] = None

    @model_validator(mode="after")
    def _any(self) -> Self:
        if not self.points:
            raise said('points holds no current; enter at least one, or not_done = "because ..." instead.')
        return self


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
    was: Annotated[Text, Ask("changed from")]
    now: Annotated[Text, Ask("changed to")]
    by: Annotated[Text | None, Ask("changed by", help="at the far end: whoever did it there")] = None
    at: Annotated[Time, Ask("adjusted at", clock=True)]


class TownTold(Part):
    """The owner knows what was found and left."""

    who: Annotated[Text, Ask("who in the town was told", help="what was found, what was changed")]
    how: Annotated[Text | None, Ask("town told how", when="own visit")] = None
    at: Annotated[Time | None, Ask("town told at", clock=True)] = None


# ---------------------------------------------------------------- the sheet


class Arrived(Visit):
    """As found: nothing is touched yet, and a held output would stand still."""

    condition: Annotated[Done[Condition] | None, Ask("condition")] = None
    permission: Annotated[
        Done[Permission] | None,
        Ask("permission of the owner", help="in the own plant: not done, because it is ours"),
    ] = None
    confined_space: Annotated[
        Notes | None,
        Ask(
            "confined space",
            help="permit number and attendant, or: not entered",
            caution="A tank, vault or wet well kills: no entry without permit, air test and attendant.",
            when="own visit",
        ),
    ] = None
    kind: Annotated[
        Kind | None, Ask("kind of transmitter", help="left out: as the register has it", when="own visit")
    ] = None
    datum: Annotated[
        Done[Datum] | None,
        Ask("datum", help="what the register does not hold, or what is known better", when="own visit"),
    ] = None
    stored: Annotated[
        Done[Stored] | None,
        Ask("stored on arrival", help="in the menu of the transmitter", when="own visit"),
    ] = None
    ranges: Annotated[
        Done[Ranges] | None, Ask("ranges on arrival", help="as set at each end", when="own visit")
    ] = None
    as_found: Annotated[Done[Levels], Ask("as found", help="before anything is touched or adjusted")]


class Touched(Holds):
    """What is taken out of use where a current is injected or something is adjusted."""

    output_held: Annotated[
        Done[Moment] | None,
        Ask(
            "output held",
            caution="Pumps, valves and alarms act on this level: hold it before the loop is touched.",
            when="own visit or not passed",
        ),
    ] = None
    loop_in_manual: Annotated[
        Done[Moment] | None,
        Ask(
            "loop in manual",
            help="pumps and valves that follow it; by whoever runs them",
            caution="In manual nobody fills or stops but a person: agree who watches the tank.",
            when="own visit or not passed",
        ),
    ] = None
    alarm_blocked: Annotated[
        Done[Moment] | None,
        Ask(
            "alarm blocked",
            help="by operations",
            caution="A blocked overflow alarm warns nobody: only as the site allows, unblocked after.",
            when="own visit or not passed",
        ),
    ] = None


class Work(Part):
    """From the second level to the levels as left."""

    injected: Annotated[
        Done[Injected] | None,
        Ask(
            "currents injected", help="as found, in place of the transmitter", when="own visit or not passed"
        ),
    ] = None
    service: Annotated[Done[Service] | None, Ask("service", when="not passed")] = None
    decision: Annotated[Decision | None, Ask("decision", when="own visit or not passed")] = None
    adjusted: Annotated[
        Done[Adjusted] | None, Ask("adjusted", help="from what to what", when="decided to adjust")
    ] = None
    as_left: Annotated[Done[Levels] | None, Ask("as left", help="all places once more", when="changed")] = (
        None
    )
    injected_as_left: Annotated[Done[Injected] | None, Ask("currents injected as left", when="adjusted")] = (
        None
    )
    ranges_as_left: Annotated[
        Done[Ranges] | None, Ask("ranges as left", help="at both ends", when="own visit or changed")
    ] = None


class After(Released):
    """What is said once the output shows the tank again."""

    town_told: Annotated[
        Done[TownTold] | None, Ask("town told", help="the owner of the tank", when="permission given")
    ] = None


class LevelSheet(Tail, After, Work, Touched, Head, Arrived):
    """One check."""

    UNIT: ClassVar[str] = ""
    TOGETHER: ClassVar[tuple[frozenset[str], ...]] = (
        ON_ARRIVAL,
        HELD,
        BACK_IN_SERVICE | {"town_told"},
    )

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        action = self.decision.action if self.decision else "leave alone"
        insist_on_decision(action, self.adjusted, without=ALONE)
        if (isinstance(self.adjusted, Adjusted) or isinstance(self.service, Service)) and (
            self.as_left is None
        ):
            raise said(
                "it was serviced or adjusted and as_left is missing; enter the levels again, or "
                'as_left.not_done = "because ..."'
            )
        if isinstance(self.adjusted, Adjusted) and self.ranges_as_left is None:
            raise said(
                "it was adjusted and ranges_as_left is missing; enter the range at both ends, or "
                'ranges_as_left.not_done = "because ..."'
            )
        if isinstance(self.permission, Permission) and self.town_told is None:
            raise said(
                "the owner gave permission and town_told is missing; enter who was told afterwards, or "
                'town_told.not_done = "because ..."'
            )
        return self


def done(part: object) -> object:
    """Return a part that was done, None where it was not."""
    return None if isinstance(part, NotDone) else part
