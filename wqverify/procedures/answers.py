"""What an answer may be: a reading, a time; a part that is done, not done, or the same as an earlier one."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    PlainSerializer,
    PlainValidator,
    Tag,
    model_validator,
)
from pydantic_core import PydanticKnownError

from wqverify.errors import CorrectTheEntry
from wqverify.plant.fields import Text, said
from wqverify.procedures.walk import Clock
from wqverify.terms import Ask, Reading

# ---------------------------------------------------------------- leaf values


def _amount(given: object) -> Reading:
    if not isinstance(given, str):  # a bare number has lost its trailing zeros
        raise PydanticKnownError("string_type")
    try:
        return Reading.parse(given)
    except CorrectTheEntry as problem:
        raise said(problem.message) from None


def _reading(given: object) -> Reading:
    reading = _amount(given)
    if reading.unit is not None:
        raise said(f"{given!r} carries a unit; type the number alone, the unit is that of the question.")
    return reading


_TIME = re.compile(r"(?:[0-9]{4}-[0-9]{2}-[0-9]{2} )?[0-9]{2}:[0-9]{2}(?: [+-][0-9]{2}:[0-9]{2})?")


def _time(text: str) -> str:
    if not text:
        raise PydanticKnownError("string_too_short", {"min_length": 1})
    if not _TIME.fullmatch(text):
        raise said(
            f"{text[:40]!r} is not a time; type the clock as 08:15, after midnight with its date as "
            f"2026-03-08 00:20, in the repeated hour with its offset as 01:30 -05:00."
        )
    return text


def _some(readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
    if not readings:
        raise said('holds no reading; type at least one, or say not_done = "because ..." for the part.')
    return readings


Number = Annotated[Reading, PlainValidator(_reading), PlainSerializer(lambda reading: reading.text)]
# A reading that may carry a unit of its own; whether it fits is said where the unit asked for is known.
Amount = Annotated[Reading, PlainValidator(_amount), PlainSerializer(lambda reading: reading.text)]
Amounts = Annotated[tuple[Amount, ...], Field(max_length=60), AfterValidator(_some)]
Readings = Annotated[tuple[Number, ...], Field(max_length=60), AfterValidator(_some)]
Time = Annotated[str, AfterValidator(_time), Clock()]
AtTime = Annotated[str, AfterValidator(_time), Clock(in_order=False)]  # the clock of a moment elsewhere

# ---------------------------------------------------------------- done, not done, same as


class Part(BaseModel):
    """Base of all groups of answers: no unknown keys, nothing changed afterwards."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class NotDone(Part):
    """Said where the answers would stand, with the reason."""

    not_done: Annotated[Text, Ask("not done, because")]

    @model_validator(mode="before")
    @classmethod
    def _alone(cls, given: Any) -> Any:
        others = [key for key in given if key != "not_done"] if isinstance(given, dict) else []
        if others:
            raise said(f"not_done stands beside {', '.join(others)}; keep the one that is true.")
        return given


class SameAs(Part):
    """The readings of an earlier stage stand for this one, because nothing was changed in between."""

    same_as: Annotated[Literal["as_found", "after_cleaning"], Ask("same as")]


T = TypeVar("T")


def _which(given: Any) -> str:
    if isinstance(given, dict):
        return "(not done)" if "not_done" in given else "(same)" if "same_as" in given else "(done)"
    return "(not done)" if isinstance(given, NotDone) else "(same)" if isinstance(given, SameAs) else "(done)"


def _done(given: Any) -> str:
    return "(not done)" if _which(given) == "(not done)" else "(done)"


Done = Annotated[Annotated[T, Tag("(done)")] | Annotated[NotDone, Tag("(not done)")], Discriminator(_done)]
DoneOrSame = Annotated[
    Annotated[T, Tag("(done)")] | Annotated[NotDone, Tag("(not done)")] | Annotated[SameAs, Tag("(same)")],
    Discriminator(_which),
]
