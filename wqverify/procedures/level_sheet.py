"""The field sheet of a level check, in the order of work."""

from __future__ import annotations

from typing import Annotated, ClassVar, Self

from pydantic import model_validator

from wqverify.plant.fields import Notes, said
from wqverify.procedures.level_parts import (
    Adjusted,
    Datum,
    Decision,
    Kind,
    Levels,
    MoreLevels,
    Permission,
    Ranges,
    Service,
    Stored,
    TownTold,
)
from wqverify.procedures.parts import (
    BACK_IN_SERVICE,
    ON_ARRIVAL,
    ByOperations,
    Condition,
    Done,
    Head,
    Holds,
    Moment,
    Part,
    Released,
    Tail,
    Visit,
    insist_on_decision,
)
from wqverify.terms import Ask

HELD = frozenset({"output_held", "loop_in_manual", "alarm_blocked"})
ALONE = ("leave alone", "replace")  # decisions that adjust nothing


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
        Done[ByOperations] | None,
        Ask(
            "loop in manual",
            help="pumps and valves that follow it; by whoever runs them",
            caution="In manual nobody fills or stops but a person: agree who watches the tank.",
            when="own visit or not passed",
        ),
    ] = None
    alarm_blocked: Annotated[
        Done[ByOperations] | None,
        Ask(
            "alarm blocked",
            help="by operations",
            caution="A blocked overflow alarm warns nobody: only as the site allows, unblocked after.",
            when="own visit or not passed",
        ),
    ] = None


class Work(Part):
    """From the second level to the levels as left."""

    second: Annotated[
        Done[MoreLevels] | None,
        Ask(
            "second level",
            help="as found: after filling or drawing, or currents injected",
            when="own visit or not passed",
        ),
    ] = None
    service: Annotated[Done[Service] | None, Ask("service", when="not passed")] = None
    decision: Annotated[Decision | None, Ask("decision", when="own visit or not passed")] = None
    adjusted: Annotated[
        Done[Adjusted] | None, Ask("adjusted", help="from what to what", when="decided to adjust")
    ] = None
    as_left: Annotated[
        Done[MoreLevels] | None, Ask("as left", help="all places once more", when="changed")
    ] = None
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
