"""The parts that field sheets are made of, shared by all procedures: nothing here knows what is measured.

A sheet is three parts in the order of work: ``Head``, the procedure's own middle, ``Tail``. Written as
``class Sheet(Tail, Middle, Head)``, because pydantic lists the fields of the last base first. In between the
output is held and stands still; what is read before that or once it is released stands inside head and tail:
``class Sheet(Tail, After, Middle, Head, Before)`` with ``Before(Visit)`` and ``After(Released)``. What was
not done is said where it would stand: any ``Done`` part can be ``not_done = "because ..."``.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Generic, Literal, Self, TypeVar

from pydantic import Field, model_validator

from wqverify.plant.fields import Name, Notes, Text, said
from wqverify.procedures.answers import (
    Amount,
    Amounts,
    AtTime,
    Done,
    DoneOrSame,
    NotDone,
    Number,
    Part,
    Readings,
    SameAs,
    Time,
)
from wqverify.procedures.head import (
    ALARM_BLOCKED,
    LOOP_IN_MANUAL,
    ON_ARRIVAL,
    OUTPUT_HELD,
    ByOperations,
    Cautions,
    Clocks,
    Condition,
    CopiedFromPaper,
    Head,
    Holds,
    Moment,
    NothingTouched,
    Told,
    Visit,
)
from wqverify.procedures.tail import (
    AT_THE_INSTRUMENT,
    BACK_IN_SERVICE,
    BEFORE_IT_IS_TOUCHED,
    Cause,
    NothingReturned,
    Released,
    Signal,
    Status,
    Tail,
)
from wqverify.procedures.walk import (
    Clock,
    entries,
    named_analyzers,
    named_people,
    named_records,
    named_standards,
    named_trends,
    refuse_disorder,
    typed_times,
)
from wqverify.terms import Ask, Reading

__all__ = [
    "ALARM_BLOCKED",
    "AT_THE_INSTRUMENT",
    "BACK_IN_SERVICE",
    "BEFORE_IT_IS_TOUCHED",
    "LOOP_IN_MANUAL",
    "ON_ARRIVAL",
    "OUTPUT_HELD",
    "Amount",
    "Amounts",
    "AtTime",
    "Because",
    "ByOperations",
    "Cause",
    "Cautions",
    "Cleaned",
    "Clock",
    "Clocks",
    "Condition",
    "CopiedFromPaper",
    "Done",
    "DoneOrSame",
    "Head",
    "Holds",
    "Moment",
    "NotDone",
    "NothingReturned",
    "NothingTouched",
    "Number",
    "OnStandard",
    "Part",
    "Points",
    "PutIn",
    "Read",
    "Readings",
    "Released",
    "SameAs",
    "Signal",
    "Status",
    "Tail",
    "Time",
    "Told",
    "Visit",
    "entries",
    "insist_on_decision",
    "insist_on_same",
    "named_analyzers",
    "named_people",
    "named_records",
    "named_standards",
    "named_trends",
    "refuse_disorder",
    "typed_times",
]

P = TypeVar("P", bound="Read")

# ---------------------------------------------------------------- readings on standards


class OnStandard(Part):
    """Which bottle, block or reference was measured, and whether it counts."""

    standard: Annotated[
        Name,
        Ask(
            "standard",
            refers="standard",
            help="its id, as on the label and in standards_on_hand.toml",
            again=True,
        ),
    ]
    use: Annotated[
        Literal["information only"] | None,
        Ask(
            "only for information",
            help="information only: the result is shown without a pass or fail; left out: it counts",
            when="on request",
        ),
    ] = None


class Read(Part):
    """Readings one after the other until they hold still; the last one counts."""

    readings: Annotated[
        Readings,
        Ask("readings", "analyzer", help="every reading until it holds still", beside="readings"),
    ]
    interval_s: Annotated[Number | None, Ask("time between readings", "s", clock=True)] = None
    at: Annotated[Time | None, Ask("last reading at", clock=True)] = None
    control_system: Annotated[
        Number | None,
        Ask(
            "control system with the last reading",
            "analyzer",
            help="only where the output is not held",
            beside="readings",
            when="own visit, output not held",
        ),
    ] = None

    @property
    def last(self) -> Reading:
        return self.readings[-1]

    @property
    def values(self) -> tuple[Decimal, ...]:
        return tuple(reading.value for reading in self.readings)


class Points(Part, Generic[P]):
    """The readings of one stage: as found, after cleaning and as left are three fields of this type."""

    thermometer: Annotated[
        Name | None,
        Ask(
            "reference thermometer",
            refers="standard",
            help="left out: the one of the thermometer check",
            when="on request",
        ),
    ] = None
    points: Annotated[tuple[P, ...], Field(max_length=12), Ask("point", usual="2")]

    @model_validator(mode="after")
    def _any(self) -> Self:
        if not self.points:
            raise said('points holds no point; enter at least one, or not_done = "because ..." instead.')
        return self


class Because(Part):
    """Why something was decided; the brakes on adjusting give way to a reason that is signed."""

    why: Annotated[Text, Ask("decided so because", beside="decision")]
    despite: Annotated[
        Notes | None,
        Ask(
            "adjusted in spite of the refusal, because",
            help="opinion of the performer",
            beside="decision",
            when="on request",
        ),
    ] = None


class PutIn(Part):
    """What came in the place of what was replaced."""

    put_in: Annotated[
        Text | None, Ask("what was put in", help="its type, with serial or lot", when="replaced")
    ] = None


class Cleaned(Part):
    """What was done to the wetted parts, before the readings after cleaning."""

    how: Annotated[
        Text,
        Ask(
            "what was cleaned, and with what",
            caution="Acid hurts eyes and skin and is never mixed with bleach: goggles, gloves, the site's "
            "own rules.",
        ),
    ]
    at: Annotated[Time | None, Ask("cleaned at", clock=True)] = None


# ---------------------------------------------------------------- decided


def insist_on_decision(action: str, adjusted: Part | None, without: tuple[str, ...]) -> None:
    """Complain where what was adjusted and the decision do not go together.

    ``without`` are the decisions that adjust nothing; the first of them forbids it.
    """
    if adjusted is not None and not isinstance(adjusted, NotDone) and action == without[0]:
        raise said(
            "adjusted holds what was changed, and the decision is to leave it alone or is missing; enter "
            'the decision, or adjusted.not_done = "because ..."'
        )
    if action not in without and adjusted is None:
        raise said(
            f"the decision is {action} and adjusted is missing; enter from what to what, or "
            f'adjusted.not_done = "because ..."'
        )


def insist_on_same(sheet: Part, stage: str, changed: bool) -> None:
    """Complain where as left is another stage's readings and something was changed since."""
    if changed:
        raise said(f"as_left cannot be the same as {stage}: it was adjusted or replaced since; read again.")
    if stage == "as_found" and isinstance(getattr(sheet, "cleaned", None), Cleaned):
        raise said(
            'as_left cannot be the same as as_found: it was cleaned since; write same_as = "after_cleaning" '
            "or read again."
        )
    source = getattr(sheet, stage, None)
    if source is None or isinstance(source, NotDone):
        raise said(f"as_left is the same as {stage}, which was not done; read again or say not_done.")
