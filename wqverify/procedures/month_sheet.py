"""The field sheet of a turbidity month: which month, by which rules, from which exports, what is left out."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from wqverify.plant.fields import Name, Notes, Text, said
from wqverify.procedures.grab_sheet import LabResult, Result, lab_result
from wqverify.procedures.parts import (
    AtTime,
    Head,
    NothingReturned,
    NothingTouched,
    Part,
    Status,
)
from wqverify.terms import Ask

Filtration = Literal[
    "conventional or direct",
    "slow sand",
    "diatomaceous earth",
    "older rule 0.5 and 5 NTU",
    "set by the State",
]
FourHours = Literal["value at 00, 04 ... 20 h", "mean of 4 h", "highest of 4 h", "one value a day"]
Rounding = Literal["as recorded", "to the digits of the limit"]
HighestOf = Literal["every recording", "the values of 4 h"]
FiltersBy = Literal["their own analyzers", "the combined effluent"]

OFF_LINE = ("off line", "backwash", "filter to waste")
MOST_FILTERS = 24


class AtTheDesk(NothingTouched):
    """Nobody stands before the instrument."""

    serial_on_plate: Annotated[
        Text,
        Ask(
            "serial of the analyzer of the combined effluent",
            help="as on its plate or on its last signed record",
        ),
    ]


class Month(Part):
    """Which month."""

    begins: Annotated[
        AtTime,
        Ask(
            "month, from its first day",
            help="at midnight by the clock of the plant, with its date: 2026-03-01 00:00",
            beside="month",
        ),
    ]


class Rules(Part):
    """How the plant reports: settings, each asked for by somebody."""

    filtration: Annotated[
        Filtration,
        Ask(
            "filtration",
            help="it chooses the limits where the register of analyzers holds none",
            beside="limits",
            again=True,
        ),
    ]
    value_of_4_h: Annotated[
        FourHours,
        Ask(
            "what stands for four hours",
            help="one value a day only where the State allows it: 500 people or fewer",
            again=True,
        ),
    ]
    highest_of: Annotated[
        HighestOf,
        Ask(
            "the highest is taken of",
            help="never above 1 NTU: of all that is recorded, or of the reported",
            again=True,
        ),
    ] = "every recording"
    rounding: Annotated[
        Rounding,
        Ask(
            "compared with the limit",
            help="of the percentage: whether 0.34 counts as 0.3 is said by the State",
            again=True,
        ),
    ] = "as recorded"
    filters_by: Annotated[
        FiltersBy,
        Ask(
            "filters are watched by",
            help="the combined effluent may stand for two filters or fewer, below 10 000 people",
            when="on request",
            again=True,
        ),
    ] = "their own analyzers"
    source: Annotated[
        Text,
        Ask("who asks for it so", help="rule, permit or letter of the State, with its date", again=True),
    ]


class LeftOut(Part):
    """A time in which the recordings are no water that was filtered, or not measured."""

    what: Annotated[
        Literal["off line", "backwash", "filter to waste", "not measured"],
        Ask(
            "what it was",
            help="not measured: water was filtered, and the recording is not of it",
            beside="left_out",
        ),
    ]
    since: Annotated[AtTime, Ask("from", help="with its date: 2026-03-08 00:20")]
    until: Annotated[AtTime, Ask("until", help="with its date; back on line")]
    why: Annotated[Text | None, Ask("why", help="needed where it was not measured")] = None

    @model_validator(mode="after")
    def _said_why(self) -> Self:
        if self.what == "not measured" and self.why is None:
            raise said(
                f"from {self.since} until {self.until} the recordings are to be left out, and why is "
                f"missing; say why, with the number of the record where there is one."
            )
        return self


def _in_ntu(text: str) -> str:
    if lab_result(text).unit not in ("", "NTU"):
        raise said(
            f"{text} is not in NTU, as the limits are; type what the slip says in NTU, as 0.08 or <0.02."
        )
    return text


InNtu = Annotated[Result, AfterValidator(_in_ntu)]


class InPlace(Part):
    """A sample taken by hand where the analyzer gave no value."""

    at: Annotated[AtTime, Ask("grab in place of the analyzer, taken at", help="with its date")]
    result: Annotated[
        InNtu, Ask("its result", "NTU", help="<0.02 is one too, and counts as the most it can be")
    ]
    source: Annotated[Text, Ask("where it is kept", help="record, slip or bench sheet")]

    @property
    def lab(self) -> LabResult:
        return lab_result(self.result)


class Combined(Part):
    """The combined effluent: what it is judged by."""

    export: Annotated[
        Text,
        Ask("export of the combined effluent", refers="trend", help="a file in trends/", beside="export"),
    ]
    off_when: Annotated[
        Text | None,
        Ask(
            "flags that say the plant is off line",
            help="words of the column of flags, with commas between: OFF, DOWN",
            when="on request",
            again=True,
        ),
    ] = None
    left_out: Annotated[
        tuple[LeftOut, ...],
        Field(max_length=120),
        Ask(
            "time left out of the combined effluent",
            help="also while no water was made; holds and checks in the book are found by themselves",
            usual="1",
        ),
    ] = ()
    grabs: Annotated[
        tuple[InPlace, ...],
        Field(max_length=200),
        Ask("grab for the combined effluent", help="only where it stands for the analyzer", usual="1"),
    ] = ()


class Filter(Part):
    """One filter with its own analyzer."""

    tag: Annotated[Name, Ask("analyzer of the filter", refers="analyzer", again=True)]
    export: Annotated[
        Text, Ask("export of the filter", refers="trend", of="tag", help="a file in trends/", beside="export")
    ]
    off_when: Annotated[
        Text | None,
        Ask(
            "flags that say the filter is off line",
            help="words of the column of flags, with commas between: OFF, BACKWASH",
            again=True,
        ),
    ] = None
    left_out: Annotated[
        tuple[LeftOut, ...],
        Field(max_length=120),
        Ask("time left out of the filter", help="each backwash, where no flag tells it"),
    ] = ()
    obvious_reason: Annotated[
        Notes | None,
        Ask(
            "obvious reason",
            help="of values above the limits, where there is one; then no profile is asked for",
            when="on request",
        ),
    ] = None


class Followed(Part):
    """What follows from the month and was done before this sheet was signed."""

    what: Annotated[
        Text,
        Ask("follow-up that is done", help="as the record names it: report, told.2026-03-09"),
    ]
    done: Annotated[AtTime, Ask("done at", help="with its date: 2026-03-10 09:30")]
    how: Annotated[Text, Ask("how", help="by whom, to whom, and where that is kept")]


class Judged(Part):
    """What is judged."""

    month: Annotated[Month, Ask("month")]
    rules: Annotated[Rules, Ask("rules")]
    combined: Annotated[Combined, Ask("combined effluent")]
    filter: Annotated[
        tuple[Filter, ...], Field(max_length=MOST_FILTERS), Ask("filter", help="each of them", usual="2")
    ] = ()
    followed: Annotated[
        tuple[Followed, ...],
        Field(max_length=60),
        Ask(
            "follow-up that is done already",
            help="such as telling the State; what is done later `wqverify follow-up` enters",
            when="on request",
        ),
    ] = ()


class LeftAsItIs(NothingReturned):
    """The status is that of the analyzer as it stands today."""

    status: Annotated[
        Status, Ask("status", help="of the analyzer of the combined effluent, as it stands today")
    ]


class MonthSheet(LeftAsItIs, Judged, AtTheDesk, Head):
    """One month."""

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        tags = [self.tag, *(one.tag for one in self.filter)]
        second = next((n for n, tag in enumerate(tags) if tag in tags[:n]), 0)  # 0 is the combined effluent
        twice, at = tags[second], f"filter.{second - 1}.tag"
        if second and twice == self.tag:
            raise said(
                f"{twice} is the analyzer of the combined effluent and stands among the filters too; where "
                f'it stands for them, write rules.filters_by = "the combined effluent" and no filter.',
                at,
            )
        if second:
            raise said(
                f"{twice} is entered for two filters; each filter has its own analyzer: correct the tag of "
                f"one of them, or delete it.",
                at,
            )
        if self.rules.filters_by == "the combined effluent" and self.filter:
            raise said(
                f"filters are watched by the combined effluent, and filters are entered "
                f"({', '.join(tags[1:])}); delete rules.filters_by, or the filters.",
                "rules.filters_by",
            )
        return self
