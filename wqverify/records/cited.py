"""What a record says to another case that cites it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from wqverify.procedures.tail import OUT_OF_USE
from wqverify.terms import Cited, Record, Window

VISIT = "visit"


def cited(
    record: Record, digest: str, told: Mapping[str, Any], *, checks: bool = False, ended: str = ""
) -> Cited:
    """Return what a record says to another case; ``told`` is what the book finds it by.

    ``checks`` for a record that is named; ``ended`` says that it was superseded or voided.
    """
    status = record.sheet.get("status", {})
    return Cited(
        record.number,
        record.given.analyzer.tag,
        record.given.analyzer.serial,
        record.procedure,
        record.performed,
        digest,
        dict(told.get("outcomes", {})),
        dict(told.get("values", {})),
        dict(told.get("facts", {})),
        tuple(sorted(record.given.standards)),
        tuple(_windows(record)),
        record.result.checks if checks else (),
        str(status.get("state", "")) if isinstance(status, dict) else "",
        ended,
    )


def _windows(record: Record) -> Iterator[Window]:
    """Give the stretches of a visit: itself, and each hold with the time at which it was undone."""
    times = record.given.times
    ordered = sorted(times.values(), key=datetime.fromisoformat)
    yield Window(VISIT, ordered[0], ordered[-1])
    for done, undone, called in OUT_OF_USE:
        if since := times.get(f"{done}.at"):
            yield Window(called, since, times.get(f"{undone}.at", ""))
