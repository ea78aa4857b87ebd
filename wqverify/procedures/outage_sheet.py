"""The field sheet of an outage: when it failed, the grabs in its place, who was told, how it came back.

It stays open for days: grabs and notices are added as they come.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from wqverify.plant.fields import Name, Text
from wqverify.procedures.grab_sheet import OF_GRABS, LabResult, Result, lab_result
from wqverify.procedures.parts import AtTime, Done, Head, Number, Part, Tail, Visit
from wqverify.terms import Ask

About = Literal[
    "monitor out of service",
    "residual too low",
    "residual restored or not",
    "turbidity too high",
    "something else",
]
Schedule = Literal["every 4 hours", "a number a day, by people served"]
_DATED = "with its date where that is another day: 2026-03-08 00:20"


class Failed(Part):
    """When it stopped telling the water, and how that is known."""

    at: Annotated[
        AtTime,
        Ask("failed at", help=f"the check that failed, or the last value that still lived; {_DATED}"),
    ]
    known_by: Annotated[
        Text,
        Ask(
            "known by", help="the failed check, a value that stood still, an alarm, a grab that did not agree"
        ),
    ]
    found_at: Annotated[AtTime | None, Ask("found at", help="left out where it was found as it failed")] = (
        None
    )
    record: Annotated[
        Name | None,
        Ask("record that left it out of service", refers="record", help="its number; left out for none"),
    ] = None


class Substitute(Part):
    """A sample taken by hand in place of the monitor."""

    collected: Annotated[
        AtTime,
        Ask(
            "grab collected at",
            help=_DATED,
            caution="Where the monitor takes its water. Let the tap run to waste first.",
            beside="next_grab",
        ),
    ]
    collected_by: Annotated[Text | None, Ask("collected by", usual="{performer}")] = None
    instrument: Annotated[
        Name,
        Ask(
            "measured with",
            refers="standard",
            again=True,
            kinds=OF_GRABS,
        ),
    ]
    method: Annotated[Text | None, Ask("method", help="with its revision", again=True, when="own visit")] = (
        None
    )
    result: Annotated[
        Result,
        Ask("result", help="as the slip states it, with its unit; <0.02 NTU is one too", beside="result"),
    ]
    analysed: Annotated[AtTime | None, Ask("analysed at")] = None
    analysed_by: Annotated[Text | None, Ask("analysed by", when="on request")] = None

    @property
    def lab(self) -> LabResult:
        return lab_result(self.result)


class Standstill(Part):
    """A stretch in which no water was made, so that there was nothing to sample."""

    since: Annotated[AtTime, Ask("stood still from", help=_DATED)]
    until: Annotated[AtTime | None, Ask("until", help="left out while it stands still")] = None
    because: Annotated[Text, Ask("because", help="filter off line, backwash, plant stopped")]


class Notice(Part):
    """Somebody outside was told, or consulted."""

    about: Annotated[About, Ask("told about", beside="notice")]
    who: Annotated[Text, Ask("who was told", help="name and office", again=True)]
    how: Annotated[Text | None, Ask("told how", help="phone, e-mail, in person", again=True)] = None
    at: Annotated[AtTime, Ask("told at", help=_DATED)]
    by: Annotated[Text | None, Ask("told by", usual="{performer}")] = None


class Returned(Part):
    """The check that gave it back, and from when its values count again."""

    record: Annotated[
        Name,
        Ask(
            "check that returned it to service",
            refers="record",
            help="the number of its record: of this analyzer, passed as left",
            beside="returned",
        ),
    ]
    shown: Annotated[Number | None, Ask("value on the display", "analyzer", help="as it went back")] = None
    at: Annotated[AtTime, Ask("back in service at", help=_DATED)]


class OnOutage(Visit):
    """Why somebody writes this sheet: something failed."""

    reason: Annotated[
        Literal["routine", "call-out", "after repair", "commissioning"],
        Ask("reason of the visit", usual="call-out"),
    ]


class Found(Visit):
    """Since when it runs."""

    failed: Annotated[Failed, Ask("failure")]


class Meanwhile(Part):
    """From the failure to the return."""

    schedule: Annotated[
        Schedule | None,
        Ask(
            "grabs are taken",
            help="left out: every 4 hours; by people served only up to 3300 and where the State agrees",
            when="on request",
        ),
    ] = None
    grab: Annotated[
        tuple[Substitute, ...],
        Field(max_length=120),
        Ask("grab", help="one each time; until it is back", beside="next_grab", usual="30"),
    ] = ()
    standstill: Annotated[
        tuple[Standstill, ...],
        Field(max_length=40),
        Ask("standstill", help="no water was made, so no grab was due"),
    ] = ()
    notice: Annotated[
        tuple[Notice, ...],
        Field(max_length=40),
        Ask("notice", help="who was told of it outside, each time", beside="notice"),
    ] = ()
    returned: Annotated[
        Done[Returned],
        Ask("back in service", help="left open until it is; not done, because ... closes a sheet without it"),
    ]


class OutageSheet(Tail, Meanwhile, OnOutage, Head, Found):
    """One outage."""

    LASTS: ClassVar[bool] = True
