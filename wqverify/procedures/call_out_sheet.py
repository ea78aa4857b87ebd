"""The field sheet of a call-out: what is wrong, what was measured one after the other, what was repaired."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from wqverify.plant.fields import Name, Notes, Text, said
from wqverify.plant.messages import nearest
from wqverify.procedures.call_out_table import MEASURES
from wqverify.procedures.parts import Amount, Done, Head, Holds, Moment, Number, Part, Tail, Time, Visit
from wqverify.terms import Ask

Symptom = Literal[
    "reads wrong",
    "wrong in part of the range",
    "drifts",
    "noisy",
    "stands still",
    "late",
    "no signal",
    "at the top",
    "calibration refused",
]


class Complaint(Part):
    """What was told, by whom, and what kind of fault it sounds like."""

    what: Annotated[
        Symptom,
        Ask("what is wrong", help="the nearest; more of it is told in words next"),
    ]
    told_as: Annotated[Notes | None, Ask("told as", help="in the words of who called", apart=True)] = None
    called_by: Annotated[Text | None, Ask("called by", usual="{told}")] = None
    since: Annotated[
        Text | None, Ask("since when", help="as far as it is known, and what was done then", apart=True)
    ] = None


class Compared(Part):
    """The two ends at one moment, before anything is touched."""

    display: Annotated[
        Number | None, Ask("on the display of the analyzer", "analyzer", help="as it stands now")
    ] = None
    control_system: Annotated[
        Number | None,
        Ask(
            "in the control system",
            "analyzer",
            help="at the same moment, by radio where nobody sees both",
            beside="both_ends",
        ),
    ] = None
    heard_how: Annotated[
        Literal["own eyes", "radio", "phone"] | None,
        Ask("how the control-system value was learned", again=True),
    ] = None
    at: Annotated[Time | None, Ask("both read at", clock=True)] = None

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.display is None and self.control_system is None:
            raise said(
                "neither end was read; enter what the display or the control system shows, or say "
                'at_first.not_done = "because ...".'
            )
        return self


def _known(what: str) -> str:
    if what not in MEASURES:
        hint = nearest(what, MEASURES, "pick one by its number, or type its name in full.")
        raise said(f"{what[:60]!r} is no measurement of the fault table; {hint}")
    return what


class Measured(Part):
    """One measurement."""

    what: Annotated[
        Text,
        AfterValidator(_known),
        Ask(
            "what is measured",
            help="the most telling one comes first; where it cannot be reached take another",
            beside="next",
            apart=True,
        ),
    ]
    reading: Annotated[
        Amount | None,
        Ask(
            "reading",
            help="as the meter or the display shows it",
            beside="how",
            when="a number is read",
            apart=True,
        ),
    ] = None
    seen: Annotated[Literal["yes", "no"] | None, Ask("seen", beside="how", when="a question is answered")] = (
        None
    )
    at: Annotated[Time | None, Ask("measured at", clock=True)] = None

    @model_validator(mode="after")
    def _one_of_both(self) -> Self:
        question = self.what.endswith("?")
        found, other = (self.seen, self.reading) if question else (self.reading, self.seen)
        if found is None or other is not None:
            wanted = "seen, yes or no" if question else "a reading and nothing under seen"
            raise said(f"{self.what}: it takes {wanted}.")
        return self


class Repaired(Part):
    """What was changed, from what to what."""

    what: Annotated[Text, Ask("what was repaired, and where", help="also what only stands in for a repair")]
    state_from: Annotated[Text, Ask("state from", help="as it was")]
    state_to: Annotated[Text, Ask("state to", help="as it is now")]
    at: Annotated[Time, Ask("repaired at", clock=True)]


class OnCall(Visit):
    """Why somebody came: they were called."""

    reason: Annotated[
        Literal["routine", "call-out", "after repair", "commissioning"],
        Ask("reason of the visit", usual="call-out"),
    ]


class Called(Visit):
    """What for, and what both ends show before anything is touched."""

    symptom: Annotated[Complaint, Ask("symptom")]
    at_first: Annotated[
        Done[Compared],
        Ask(
            "both ends",
            help="before anything is held or touched: does the analyzer say what the control room sees?",
        ),
    ]


class FaultHolds(Holds):
    """What is taken out of use before a wire is lifted or a sensor leaves the water."""

    output_held: Annotated[
        Done[Moment] | None,
        Ask(
            "output held",
            help="in the transmitter or the control system; a signal that stands still is traced more easily",
            caution="A held output hides the water from operations: say so, and release it before leaving.",
        ),
    ] = None


class Traced(Part):
    """From the meter that is used to what was repaired."""

    meter: Annotated[
        Name | None,
        Ask(
            "multimeter",
            refers="standard",
            help="its id, as on its label; left out where it has none",
            kinds=("meter", "multimeter", "calibrator"),
            again=True,
        ),
    ] = None
    measured: Annotated[
        tuple[Measured, ...],
        Field(max_length=40),
        Ask(
            "measurement",
            help="one at a time",
            beside="so_far",
            usual="8",
        ),
    ] = ()
    repaired: Annotated[
        Done[Repaired] | None,
        Ask("repaired", help="left out where nothing was changed: then say in the status what is to be done"),
    ] = None
    measured_again: Annotated[
        tuple[Measured, ...],
        Field(max_length=40),
        Ask("measurement after the repair", help="what failed, read again", beside="again", when="repaired"),
    ] = ()


class CallOutSheet(Tail, Traced, FaultHolds, OnCall, Head, Called):
    """One call-out."""

    @model_validator(mode="after")
    def _repaired_first(self) -> Self:
        if self.measured_again and not isinstance(self.repaired, Repaired):
            raise said(
                "measured_again holds measurements and repaired has no time; enter what was repaired, or put "
                "them under measured."
            )
        return self
