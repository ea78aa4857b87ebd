"""When what an analyzer recorded was no water: what its records say of held outputs, checks and outages."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

from wqverify.calculations.recordings import Span
from wqverify.procedures.consequences import OUTAGE
from wqverify.terms import Cited

HELD, VISIT = "output held", "visit"
# Checks in which the sensor sees a standard or an injected current: without a hold the whole visit is none
# of the water. A grab leaves the sensor in the water.
NOT_THE_WATER = frozenset({"turbidity_standard_check", "turbidity_calibration", "loop_check"})
RELEASED_LATER, NOT_RELEASED = ", released by a later record", ", not released in any record"
OUT_OF_SERVICE = "monitor out of service"


def stretches_of(records: Sequence[Cited], never: datetime) -> Iterator[tuple[Span, str]]:
    """Give each stretch that the records of one analyzer leave out, with the number of the record.

    ``records`` are those that stand. A hold that its record did not undo ends with the next release of that
    analyzer; what is not over ends at ``never``.
    """
    released = sorted(utc(w.end) for one in records for w in one.windows if w.what == HELD and w.end)
    for one in records:
        spans = _outage(one, never) if one.procedure == OUTAGE else _visit(one, released, never)
        yield from ((span, one.number) for span in spans)


def _visit(one: Cited, released: Sequence[datetime], never: datetime) -> Iterator[Span]:
    held = [window for window in one.windows if window.what == HELD]
    for window in held:
        start = utc(window.start)
        later = next((at for at in released if at > start), None)
        end = utc(window.end) if window.end else later or never.astimezone(UTC)
        how = "" if window.end else RELEASED_LATER if later else NOT_RELEASED
        yield Span(start, end, f"{HELD}{how}")
    if not held and one.procedure in NOT_THE_WATER:
        what = one.procedure.replace("_", " ")
        for window in one.windows:
            if window.what == VISIT and window.end:
                yield Span(utc(window.start), utc(window.end), f"{what}, no hold entered")


def _outage(one: Cited, never: datetime) -> Iterator[Span]:
    since, until = one.facts.get("outage.from", ""), one.facts.get("outage.until", "")
    if since:
        yield Span(utc(since), utc(until) if until else never.astimezone(UTC), OUT_OF_SERVICE)


def utc(iso: str) -> datetime:
    """Return a time that was kept with its offset."""
    return datetime.fromisoformat(iso).astimezone(UTC)
