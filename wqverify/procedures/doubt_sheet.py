"""The field sheet of values in doubt: since when, how wrong, what was decided by them, what follows."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from wqverify.plant.fields import Name, Notes, Text, said
from wqverify.procedures.parts import (
    AtTime,
    Cause,
    Done,
    Head,
    NothingReturned,
    NothingTouched,
    Number,
    Part,
)
from wqverify.terms import Ask

Basis = Literal["last good check", "first failed test"]
TimeWord = Literal["linear", "step", "worst case"]
LevelWord = Literal["offset", "gain", "line between points"]
UsedFor = Literal[
    "95 % of the values",
    "never above",
    "two in a row",
    "two in a row after 4 h",
    "lowest of the day",
    "too low for 4 h",
    "alarm",
    "limit",
]
Outcome = Literal["accept as is", "qualify", "correct", "invalidate", "notify"]
OWN_LIMIT: tuple[UsedFor, ...] = ("alarm", "limit")
AFTER_BACKWASH: UsedFor = "two in a row after 4 h"


class Failed(Part):
    """The check that found it out of tolerance."""

    record: Annotated[Text, Ask("failed check", refers="record", help="its number", beside="failed")]
    place: Annotated[
        Literal["at the analyzer", "in the control system"] | None,
        Ask(
            "error taken from",
            help="left out: at the analyzer, where it failed there",
            when="on request",
        ),
    ] = None


class LastGood(Part):
    """The last check that shows it was right."""

    record: Annotated[
        Text,
        Ask(
            "last good check",
            refers="record",
            help="same instrument, same signal path, near the level that failed, left within tolerance",
            beside="last_good",
        ),
    ]
    despite: Annotated[
        Notes | None,
        Ask(
            "counts although it is passed over, because",
            help="opinion of the performer",
            beside="last_good",
            when="on request",
        ),
    ] = None


class Period(Part):
    """From when to when."""

    basis: Annotated[
        Basis,
        Ask(
            "in doubt since the",
            help="a rule may ask for the first failed test",
            usual="last good check",
            beside="basis",
        ),
    ]
    since: Annotated[
        AtTime,
        Ask("beginning", help="when that check ended; none known: where the book begins", beside="since"),
    ]
    until: Annotated[AtTime, Ask("returned to service at", beside="until")]


class Evidence(Part):
    """What narrows the period, or says when it happened."""

    what: Annotated[
        Literal["grab", "neighbour analyzer", "step in the trace", "known event", "other record"],
        Ask("evidence"),
    ]
    tells: Annotated[
        Literal["right at that time", "wrong from that time"],
        Ask("it tells that the analyzer was"),
    ]
    at: Annotated[AtTime, Ask("at that time", help="with its date: 2026-03-08 00:20")]
    record: Annotated[
        Text | None, Ask("its record", refers="record", help="its number", when="on request")
    ] = None
    why: Annotated[Text, Ask("why it tells that", apart=True)]
    author: Annotated[Name, Ask("said by", refers="person")]


class ErrorAt(Part):
    """An error that counts: of a check of the failed record, or as typed."""

    check: Annotated[
        Text | None,
        Ask("check it was found at", help="standard, grab or point of the failed check", beside="errors"),
    ] = None
    level: Annotated[Number | None, Ask("displayed level", "analyzer", when="on request", apart=True)] = None
    found: Annotated[Number | None, Ask("error as found", "analyzer", when="on request", apart=True)] = None
    cleaned: Annotated[
        Number | None, Ask("error after cleaning", "analyzer", when="on request", apart=True)
    ] = None
    at_start: Annotated[
        Number | None, Ask("error at the last good check", "analyzer", when="on request", apart=True)
    ] = None
    expanded: Annotated[
        Number | None, Ask("U of the error as found", "analyzer", when="on request", apart=True)
    ] = None
    source: Annotated[Text | None, Ask("source of it", when="on request")] = None

    @model_validator(mode="after")
    def _one_of_both(self) -> Self:
        typed = [n for n in ("level", "found") if getattr(self, n) is not None]
        if self.check is not None and typed:
            raise said(
                f"check names one of the failed record and {typed[0]} is typed beside it; keep one.", typed[0]
            )
        if self.check is None and (len(typed) < 2 or not self.source):
            raise said("an error that no check holds takes a level, the error as found and its source.")
        return self


class ModelOf(Part):
    """How the error lay over the time and the levels before it was found."""

    time: Annotated[
        TimeWord,
        Ask(
            "error in time", help="all three are computed and shown; it is decided on this one", beside="time"
        ),
    ]
    step_at: Annotated[
        AtTime | None,
        Ask("it came at", help="with its date; left out: that of the evidence", when="came at once"),
    ] = None
    level: Annotated[LevelWord, Ask("error by level", beside="level")]
    start: Annotated[
        Literal["as left at the last good check", "taken as none"],
        Ask("error at the beginning", usual="as left at the last good check"),
    ] = "as left at the last good check"
    criteria: Annotated[
        Literal["none", "natural waters"],
        Ask(
            "rated by criteria for",
            help="those of USGS TM 1-D3 are for rivers and lakes, not for drinking water",
            usual="none",
        ),
    ] = "none"
    why: Annotated[Text, Ask("this model because", apart=True)]


class Used(Part):
    """A decision that used the recorded values."""

    what: Annotated[UsedFor, Ask("decided by it")]
    limit: Annotated[
        Number | None,
        Ask(
            "limit", "analyzer", help="left out: of the register, or of the rule", beside="limit", apart=True
        ),
    ] = None
    direction: Annotated[
        Literal["above", "below"] | None, Ask("it counts when", when="a limit of one's own")
    ] = None
    source: Annotated[Text | None, Ask("source of the limit", when="a limit of one's own")] = None
    each: Annotated[
        Literal["every recorded value", "one every 4 h"],
        Ask("values that count", usual="every recorded value", when="on request"),
    ] = "every recorded value"
    counted_from: Annotated[
        AtTime | None, Ask("counted from", help="left out: from the beginning", when="on request")
    ] = None
    counted_to: Annotated[
        AtTime | None, Ask("counted up to", help="left out: to the return", when="on request")
    ] = None
    on_line: Annotated[
        AtTime | None, Ask("filter on line again at", help="with its date", when="after a backwash")
    ] = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.what in OWN_LIMIT and self.what == "limit" and (self.limit is None or self.direction is None):
            raise said(
                "a limit of one's own takes the limit and whether it counts above or below it; enter both."
            )
        if (self.what == AFTER_BACKWASH) != (self.on_line is not None):
            raise said(
                f"{AFTER_BACKWASH!r} and on_line belong together; enter when the filter came on line again, "
                f"or delete on_line where it is another decision."
            )
        return self


class Decided(Part):
    """What is done about a part of the period."""

    decision: Annotated[Outcome, Ask("decision", beside="decision")]
    since: Annotated[
        AtTime | None, Ask("of the time from", help="left out: from the beginning", when="on request")
    ] = None
    until: Annotated[
        AtTime | None, Ask("of the time up to", help="left out: to the return", when="on request")
    ] = None
    why: Annotated[Text, Ask("decided because", apart=True)]
    decided_by: Annotated[Name, Ask("decided by", refers="person")]
    report: Annotated[Text | None, Ask("report that is corrected", help="which, and how", apart=True)] = None


class ToldOf(Part):
    """Who was told of it."""

    who: Annotated[Text, Ask("who was informed", help="the State, the laboratory, the customer")]
    how: Annotated[Text | None, Ask("informed how", again=True)] = None
    at: Annotated[AtTime, Ask("informed at", help="with its date")]
    of: Annotated[Text | None, Ask("informed of what", apart=True)] = None


class Prevention(Part):
    """What is done so that it does not happen again."""

    what: Annotated[Notes, Ask("what is changed", help="interval, cleaning, part; nothing is an answer too")]
    shown_by: Annotated[Text | None, Ask("how it will be seen that it worked")] = None


class Desk(NothingTouched):
    """Nothing is touched: the work is done where the records and the exports are."""

    serial_on_plate: Annotated[
        Text,
        Ask("serial of the instrument in doubt", help="that of the failed check", beside="serial"),
    ]


class InDoubt(Part):
    """From the failed check to the model."""

    failed: Annotated[Failed, Ask("failed")]
    last_good: Annotated[Done[LastGood], Ask("last good", help="none known: say why")]
    period: Annotated[Period, Ask("period")]
    evidence: Annotated[
        tuple[Evidence, ...], Field(max_length=12), Ask("evidence", help="what narrows it, or says when")
    ] = ()
    errors: Annotated[
        tuple[ErrorAt, ...],
        Field(max_length=3),
        Ask("error", help="left out: those of the failed check", when="on request"),
    ] = ()
    model: Annotated[ModelOf, Ask("model")]


class Consequences(Part):
    """What was decided by the values, and what is done about it."""

    trend: Annotated[
        Text | None,
        Ask("export with the recorded values", refers="trend", help="a file in trends/ of the whole period"),
    ] = None
    used: Annotated[
        tuple[Used, ...], Field(max_length=12), Ask("use", help="every decision that rests on the values")
    ] = ()
    decided: Annotated[tuple[Decided, ...], Field(max_length=12), Ask("consequence")] = ()
    informed: Annotated[tuple[ToldOf, ...], Field(max_length=12), Ask("informed")] = ()
    others: Annotated[
        Notes | None,
        Ask("done about other analyzers", help="checked with the same standard or meter", beside="others"),
    ] = None
    prevention: Annotated[Done[Prevention] | None, Ask("prevention")] = None


class DoubtSheet(NothingReturned, Consequences, InDoubt, Desk, Head):
    """One doubt."""

    cause: Annotated[Cause | None, Ask("cause")] = None

    @model_validator(mode="after")
    def _step_has_a_time(self) -> Self:
        if self.model.time == "step" and self.model.step_at is None and not _wrong_from(self.evidence):
            raise said(
                "model.time is step, and nothing says when it came; enter model.step_at, or the evidence "
                "that tells from when it was wrong.",
                "model.time",
            )
        if self.model.time != "step" and self.model.step_at is not None:
            raise said(
                f"model.step_at is {self.model.step_at}, and model.time is no step but {self.model.time}; "
                f'delete model.step_at, or write model.time = "step".',
                "model.step_at",
            )
        notify = next((n for n, row in enumerate(self.decided) if row.decision == "notify"), None)
        if notify is not None and not self.informed:
            raise said(
                "a decision is to notify, and informed holds nobody; enter who was informed and when.",
                f"decided.{notify}.decision",
            )
        return self


def _wrong_from(evidence: Iterable[Evidence]) -> bool:
    return any(row.tells == "wrong from that time" for row in evidence)
