"""Each decision in one line: as recorded, as corrected, and whether that differs."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from wqverify.show.kinds import Column, Row, Table
from wqverify.show.lookup import with_unit
from wqverify.terms import Check, Outcome, Record

CORRECTED = "corrected"  # how the name of a stage ends that judges once more
TITLE = "Each decision, as recorded and corrected"


def side_by_side(record: Record) -> Iterator[Table]:
    """Give one line for each check that is judged once more as corrected; nothing where none is."""
    pairs = list(_pairs(record))
    if pairs:
        columns = (
            Column("Decision"),
            Column("As recorded", "short"),
            Column("Corrected", "short"),
            Column("Changed", "short"),
        )
        rows = tuple(Row((was.label, _said(was), _said(now), _changed(was, now))) for was, now in pairs)
        yield Table(columns, rows, TITLE)


def _pairs(record: Record) -> Iterator[tuple[Check, Check]]:
    """Give each corrected check with the one of the same name that was not; of several in their order."""
    first: dict[tuple[str, str], deque[Check]] = {}
    for check in record.result.checks:
        name = (check.label, check.place)
        if not check.stage.endswith(CORRECTED):
            first.setdefault(name, deque()).append(check)
        elif first.get(name):
            yield first[name].popleft(), check


def _said(check: Check) -> str:
    if check.quantity is None:
        return str(check.outcome)
    return f"{with_unit(check.quantity.text, check.quantity.unit)}: {check.outcome}"


def _changed(was: Check, now: Check) -> str:
    if Outcome.NOT_EVALUATED in (was.outcome, now.outcome):
        return "not known"
    if now.outcome is Outcome.TOO_CLOSE:
        return "not sure"
    return "no" if was.outcome == now.outcome else "yes"
