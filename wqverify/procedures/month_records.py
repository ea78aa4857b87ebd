"""What other records of the month say about its recordings: holds and checks, outages, values in doubt."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal

from wqverify.calculations.recordings import Recording, Span
from wqverify.calculations.turbidity_rule import Taken
from wqverify.errors import CorrectTheEntry
from wqverify.procedures.consequences import DOUBT, OUTAGE
from wqverify.procedures.doubt_facts import CORRECT, corrected, decided, model_of
from wqverify.procedures.left_out import stretches_of, utc
from wqverify.procedures.month_rules import Span as Month
from wqverify.terms import Cited, Given, Outcome

INVALIDATE, INVALIDATED = "invalidate", "invalidated"  # the decision; why what it is about is left out
LESS = "less than this, "  # of a grab below detection, beside the value that it is less than
WITHOUT_RECORD = ("sheet", "flag")  # what else says that a time is left out


@dataclass(frozen=True, slots=True)
class LeftOutBy:
    """A span that is left out, and what says so: "sheet", "flag", or the number of a record."""

    span: Span
    by: str

    @property
    def words(self) -> str:
        return self.span.why if self.by in WITHOUT_RECORD else f"{self.span.why}, record {self.by}"


def windows_of(tag: str, month: Month, given: Given) -> tuple[LeftOutBy, ...]:
    """Return when the records of an analyzer say that its recordings are no water, overlapping a month.

    In order of time, whatever that of the records: where two overlap, always the same gives the reason.
    """
    standing = tuple(_standing(tag, given))
    found = [LeftOutBy(span, number) for span, number in stretches_of(standing, month.ends)]
    within = [one for one in found if one.span.start < month.ends and one.span.end > month.begins]
    return tuple(sorted(within, key=lambda one: (one.span.start, one.span.end, one.by, one.span.why)))


def _standing(tag: str, given: Given) -> Iterator[Cited]:
    for cited in given.records.values():
        if cited.tag == tag and not cited.ended:
            yield cited


def grabs_of_outages(tag: str, month: Month, given: Given) -> tuple[Taken, ...]:
    """Return the grabs that records of an outage tell of, within a month.

    They stand in the fact "outage.grabs" as "2026-03-12T08:00-04:00 0.11; ..."; of one below detection the
    value it is less than stands, which is the most it can be.
    """
    found = []
    for cited in _standing(tag, given):
        for part in filter(None, cited.facts.get("outage.grabs", "").split("; ")):
            at, _, value = part.partition(" ")
            less = LESS if value.startswith("<") else ""
            taken = Taken(utc(at), Decimal(value.removeprefix("<")), f"{less}outage, record {cited.number}")
            if cited.procedure == OUTAGE and month.holds(taken.at):
                found.append(taken)
    return tuple(found)


# ---------------------------------------------------------------- in doubt


def doubts_of(tag: str, month: Month, given: Given) -> tuple[Cited, ...]:
    """Return the records of values in doubt of an analyzer whose period touches a month, oldest first."""
    found = []
    for cited in _standing(tag, given):
        since, until = cited.facts.get("doubt.from", ""), cited.facts.get("doubt.until", "")
        if cited.procedure != DOUBT or not since or not until:
            continue
        if utc(since) < month.ends and utc(until) > month.begins:
            found.append(cited)
    return tuple(sorted(found, key=lambda one: datetime.fromisoformat(one.performed)))


def changes_values(doubt: Cited) -> bool:
    """Whether a record of values in doubt has anything to take off or out."""
    what = [part.what for part in decided(doubt.facts)]
    return INVALIDATE in what or (model_of(doubt.facts) is not None and (CORRECT in what or not what))


def corrected_rows(
    tag: str, rows: Sequence[tuple[datetime, Decimal | None]], month: Month, given: Given
) -> tuple[tuple[Recording, ...], tuple[LeftOutBy, ...]] | None:
    """Return recordings with the errors in doubt taken off, and the spans that were invalidated.

    What is not decided yet is corrected over its whole period. None where no record touches the month.
    """
    doubts = [one for one in doubts_of(tag, month, given) if changes_values(one)]
    if not doubts:
        return None
    import numpy as np

    times = np.array([int(at.timestamp()) for at, _ in rows], dtype=np.int64)
    values = np.array([np.nan if value is None else float(value) for _, value in rows])
    recorded, spans = values, list[LeftOutBy]()
    by: list[Cited | None] = [None] * len(rows)
    for doubt in doubts:
        without = corrected(times, recorded, doubt.facts, everywhere=not decided(doubt.facts))
        taken = ~np.isnan(recorded) & (without != recorded)
        for row in np.flatnonzero(taken).tolist():
            first = by[row]
            if first is not None and int(times[row]) in _ends(first):
                taken[row] = False  # where one period ends and another begins, the first stands
                continue
            if first is not None and int(times[row]) not in _ends(doubt):
                raise _one_error(tag, month.clock(rows[row][0]), first, doubt)
            by[row] = doubt
        values = np.where(taken, without, values)
        spans += _invalidated(doubt)
    digit = Decimal(1).scaleb(-max((int(one.facts.get("doubt.places", "0")) for one in doubts), default=0))
    found = tuple(
        Recording(at, value if value is None or new == float(value) else _fixed(new, digit))
        for (at, value), new in zip(rows, values, strict=True)
    )
    return found, tuple(spans)


def _ends(doubt: Cited) -> set[int]:
    """The last moments of a period and of its parts, which belong to it; seconds since 1970 UTC."""
    last = int(utc(doubt.facts["doubt.until"]).timestamp())
    return {last, *(part.end for part in decided(doubt.facts))}


def _one_error(tag: str, at: str, first: Cited, second: Cited) -> CorrectTheEntry:
    return CorrectTheEntry(
        f"What {tag} recorded on {at} is corrected by {first.number} and by {second.number}; one recording "
        f"has one error: supersede or void one of the two, or part their periods.",
        found=f"{first.number}, {second.number}",
        expected="one record of values in doubt for each time",
    )


def _fixed(value: float, digit: Decimal) -> Decimal:
    """A corrected value with the places it was rounded to."""
    return Decimal(repr(float(value))).quantize(digit)


def _invalidated(doubt: Cited) -> Iterator[LeftOutBy]:
    for part in decided(doubt.facts):
        if part.what == INVALIDATE:
            start, end = (datetime.fromtimestamp(at, UTC) for at in (part.start, part.end))
            yield LeftOutBy(Span(start, end + timedelta(seconds=1), INVALIDATED), doubt.number)


def open_doubts(tags: Sequence[str], given: Given) -> tuple[Cited, ...]:
    """Return the records of a month that failed as found and that no record of values in doubt answers."""
    answered = {
        number
        for one in given.records.values()
        if one.procedure == DOUBT and not one.ended
        for number in one.facts.get("answers", "").split(", ")
    }
    return tuple(
        one
        for one in given.records.values()
        if one.tag in tags
        and not one.ended
        and one.number not in answered
        and one.facts.get("verifies") != "no"
        and Outcome.FAIL in [o for stage, o in one.outcomes.items() if stage.startswith("as_found")]
    )
