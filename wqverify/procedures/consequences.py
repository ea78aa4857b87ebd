"""What a record opens next: what its procedure says, and what a failed as-found asks for everywhere."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from wqverify.procedures.tail import OUT_OF_SERVICE
from wqverify.terms import Analyzer, Outcome, Place, Procedure, Record, Result

DOUBT, OUTAGE = "values_in_doubt", "monitor_outage"
# A rule asks for grabs while a monitor is out where the register says within how many days it must be back.
REPAIR_TIMES = ("outage_working_days", "outage_days")
_PLACES: dict[Place, str] = {"analyzer": "at the analyzer", "control system": "at the control system"}


def opened_by(procedure: Procedure, record: Record) -> tuple[tuple[str, str], ...]:
    """Return what a record opens, as (procedure, reason), each procedure once."""
    found = [
        *procedure.opens(record.result),
        *_doubts(record.result),
        *_outages(record.given.analyzer, record.sheet.get("status")),
    ]
    once = {name: why for name, why in reversed(found) if name != procedure.name}
    return tuple((name, once[name]) for name, _why in dict(found).items() if name in once)


def _doubts(result: Result) -> Iterator[tuple[str, str]]:
    """A failed as-found puts what was reported since the last good check in doubt: practice, section 7."""
    if result.facts.get("verifies") == "no":
        return
    wrong = [words for place, words in _PLACES.items() if result.outcome("as_found", place) is Outcome.FAIL]
    if wrong:
        yield DOUBT, f"it was found out of tolerance {' and '.join(wrong)}"


def _outages(analyzer: Analyzer, status: object) -> Iterator[tuple[str, str]]:
    out = isinstance(status, Mapping) and status.get("state") == OUT_OF_SERVICE
    if out and any(name in analyzer.settings for name in REPAIR_TIMES):
        yield OUTAGE, "it was left out of service, and a rule asks for grabs until it is back"
