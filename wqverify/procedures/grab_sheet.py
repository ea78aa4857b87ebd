"""The field sheet of a comparison with a grab, in the order of work."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Annotated, ClassVar, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from wqverify.errors import CorrectTheEntry
from wqverify.plant.fields import Name, Text, said
from wqverify.procedures.parts import (
    ALARM_BLOCKED,
    LOOP_IN_MANUAL,
    OUTPUT_HELD,
    AtTime,
    Because,
    ByOperations,
    Condition,
    Done,
    Head,
    Holds,
    Moment,
    NotDone,
    Number,
    Part,
    Tail,
    Time,
    Visit,
    insist_on_decision,
)
from wqverify.terms import Ask, Reading

Place = Literal["process tap", "analyzer inlet", "analyzer drain"]
PairedBy = Literal["window mean", "interpolation", "nearest"]

_RESULT = re.compile(r"(<?) ?(-?[0-9][0-9.]*)(?: ([^\s<>]{1,12}))?")

# What a grab is measured with, by the kind of the instrument.
OF_GRABS = ("meter", "turbidimeter", "nephelometer", "photometer", "colorimeter", "titrator", "titration")


@dataclass(frozen=True, slots=True)
class LabResult:
    """A result as the laboratory's slip states it: a number with its unit, or less than one."""

    text: str
    reading: Reading
    below: bool
    unit: str

    @property
    def value(self) -> Decimal:
        return self.reading.value


def lab_result(text: str) -> LabResult:
    """Read a typed result; raises CorrectTheEntry for anything but a number with a unit, or "<" before it.

    >>> lab_result("0.11 NTU").unit, lab_result("<0.02 NTU").below
    ('NTU', True)
    """
    match = _RESULT.fullmatch(text)
    if match is None:
        raise CorrectTheEntry(
            f"{text[:40]!r} is not a result such as 0.11 NTU or <0.02 NTU; type it as the slip of the "
            f"laboratory states it, a number with its unit.",
            found=text[:40],
            expected="a result such as 0.11 NTU",
        )
    return LabResult(text, Reading.parse(match[2]), bool(match[1]), match[3] or "")


def _result(text: str) -> str:
    try:
        lab_result(text)
    except CorrectTheEntry as problem:
        raise said(problem.message) from None
    return text


Result = Annotated[Text, AfterValidator(_result)]


class Shown(Part):
    """What the analyzer showed at one moment, by the watch."""

    shown: Annotated[Number, Ask("value on the display", "analyzer", beside="online")]
    at: Annotated[AtTime, Ask("value read at", clock=True)]
    control_system: Annotated[
        Number | None,
        Ask("value in the control system at that moment", "analyzer", when="own visit, output not held"),
    ] = None


class Grab(Part):
    """A sample taken by hand and measured with another instrument."""

    taken_at: Annotated[
        Place,
        Ask(
            "grab taken at",
            again=True,
            help="it decides when the water stood in the online value",
            caution="Let the tap run first; what was drawn never goes back into potable water.",
            beside="grab",
        ),
    ]
    collected: Annotated[AtTime, Ask("grab collected at", beside="grab")]
    collected_by: Annotated[Text | None, Ask("grab collected by", when="own visit")] = None
    temperature_c: Annotated[
        Number | None, Ask("temperature of the grab", "°C", beside="grab", when="own visit")
    ] = None
    line_c: Annotated[
        Number | None, Ask("temperature of the water in the sample line", "°C", when="on request")
    ] = None
    instrument: Annotated[
        Name,
        Ask(
            "instrument the grab is measured with",
            refers="standard",
            beside="grab",
            again=True,
            kinds=OF_GRABS,
        ),
    ]
    checked: Annotated[
        Text | None,
        Ask("check of that instrument", help="on which standard, what it read", when="own visit"),
    ] = None
    method: Annotated[Text | None, Ask("method", help="with its revision", when="own visit", again=True)] = (
        None
    )
    result: Annotated[
        Result,
        Ask(
            "result of the grab",
            help="as the slip states it, with its unit; <0.02 NTU is one too",
            beside="grab",
        ),
    ]
    analysed: Annotated[AtTime, Ask("grab analysed at", beside="grab")]
    analysed_by: Annotated[Text | None, Ask("grab analysed by", when="own visit")] = None
    measurand: Annotated[
        Text | None,
        Ask("what the slip says was measured", help="only where it names it", when="on request"),
    ] = None
    species: Annotated[
        Text | None,
        Ask("species on the slip", help="as the register has it: free, total", when="own visit"),
    ] = None
    rounding: Annotated[
        Literal["as read", "by method 180.1"],
        Ask("result rounded", help="by method 180.1: steps of 0.05 NTU", when="on request"),
    ] = "as read"

    @property
    def lab(self) -> LabResult:
        return lab_result(self.result)


class Action(Part):
    action: Annotated[Literal["leave alone", "adjust"], Ask("decision", beside="decision")]


class Decision(Because, Action):
    """What is done about what was found, and why."""


class Adjusted(Part):
    """What was changed in the analyzer, from what to what."""

    what: Annotated[
        Text,
        Ask("what was adjusted", help="offset, slope, sensitivity, as its menu calls it", beside="adjusted"),
    ]
    setting_from: Annotated[Number, Ask("setting from")]
    setting_to: Annotated[Number, Ask("setting to")]
    at: Annotated[Time, Ask("adjusted at", clock=True)]


class Compared(Visit):
    """From the online values to the decision: nothing is touched yet, and a held output would stand still."""

    condition: Annotated[Done[Condition] | None, Ask("condition")] = None
    sample_flow_ml_min: Annotated[
        Number | None,
        Ask(
            "sample flow",
            "mL/min",
            help="by cup and watch; left out: that of the register",
            beside="flow",
        ),
    ] = None
    online: Annotated[
        tuple[Shown, ...],
        Field(max_length=60),
        Ask("online value", help="before, at and after the grab, written before its result is known"),
    ] = ()
    grab: Annotated[
        tuple[Grab, ...],
        Field(max_length=6),
        Ask("grab"),
    ]
    trend: Annotated[
        Text | None,
        Ask("export with the online values", refers="trend", help="a file in trends/", when="nothing online"),
    ] = None
    paired_by: Annotated[
        PairedBy | None,
        Ask(
            "how the online value of a grab is taken",
            help="left out: typed values by interpolation, an export by the mean of a window",
            when="on request",
        ),
    ] = None
    decision: Annotated[Decision | None, Ask("decision", when="own visit or not passed")] = None


_TOUCHED = "decided to adjust"  # when something will be touched


class Touched(Holds):
    """What is taken out of use where the analyzer is adjusted."""

    output_held: Annotated[
        Done[Moment] | None,
        replace(
            OUTPUT_HELD,
            when=_TOUCHED,
            help="before it is adjusted",
            caution="Dosing and alarms act on this value: hold it before it is adjusted.",
        ),
    ] = None
    loop_in_manual: Annotated[Done[ByOperations] | None, replace(LOOP_IN_MANUAL, when=_TOUCHED)] = None
    alarm_blocked: Annotated[Done[ByOperations] | None, replace(ALARM_BLOCKED, when=_TOUCHED)] = None


class Work(Part):
    """From the adjustment to the grab after it."""

    adjusted: Annotated[
        Done[Adjusted] | None, Ask("adjusted", help="from what to what", when="decided to adjust")
    ] = None
    online_after: Annotated[
        tuple[Shown, ...], Field(max_length=60), Ask("online value after", when="adjusted")
    ] = ()
    grab_after: Annotated[
        Done[Grab] | None, Ask("grab after", help="after the adjustment", when="adjusted")
    ] = None


class GrabSheet(Tail, Work, Touched, Head, Compared):
    """One comparison."""

    SAMPLED: ClassVar[bool] = True
    # Asked in the order of the work: an online value, the grab, what the display shows as its water arrives
    # and after; only then the result.
    ASKED: ClassVar[tuple[str, ...]] = ("online.0", "grab.0.taken_at", "grab.0.collected", "online", "grab")

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if not self.grab:
            raise said("grab holds no grab; enter at least one.")
        if not self.online and self.trend is None:
            raise said(
                "there is no online value; enter what the display showed before and after the grab under "
                "online, or name an export of the control system under trend."
            )
        self._one_source()
        action = self.decision.action if self.decision else "leave alone"
        changed = isinstance(self.adjusted, Adjusted)
        insist_on_decision(action, self.adjusted, without=("leave alone",))
        self._after(changed)
        return self

    def _one_source(self) -> None:
        """The control system is told once: by what was read there or by its archive."""
        if self.trend is None:
            return
        for name in ("online", "online_after"):
            for index, one in enumerate(getattr(self, name)):
                if one.control_system is not None:
                    raise said(
                        f"{name}.{index}.control_system is {one.control_system.text} and trend names an "
                        f"export of the control system too; keep one of them."
                    )

    def _after(self, changed: bool) -> None:
        if changed and self.grab_after is None:
            raise said(
                "it was adjusted and grab_after is missing; enter the grab after it, or "
                'grab_after.not_done = "because ..."'
            )
        if isinstance(self.grab_after, Grab) and not changed:
            raise said(
                "grab_after is the grab after an adjustment, and nothing was adjusted; enter it as grab."
            )
        if isinstance(self.grab_after, Grab) and not self.online_after and self.trend is None:
            raise said(
                "grab_after has no online value; enter what the display showed under online_after, or "
                'grab_after.not_done = "because ..."'
            )


def grab_done(part: Grab | NotDone | None) -> Grab | None:
    """Return a grab where one was taken."""
    return part if isinstance(part, Grab) else None
