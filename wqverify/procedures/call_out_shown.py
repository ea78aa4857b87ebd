"""What is shown beside the checks of a call-out: every reading with its unit, every calculation by hand."""

from __future__ import annotations

from collections.abc import Iterator

from wqverify.procedures.call_out_case import Case
from wqverify.procedures.call_out_chain import every
from wqverify.procedures.call_out_compare import Hop
from wqverify.procedures.call_out_sheet import CallOutSheet
from wqverify.procedures.call_out_stages import AS_FOUND, AS_LEFT, TITLES, as_found, as_left
from wqverify.procedures.call_out_table import MEASURES, findings
from wqverify.procedures.workings import answer, expanded_working
from wqverify.terms import Given, Quantity, Value, Working

LIVE_ZERO = "IEC 60381-1, 4 to 20 mA (from memory)"


def values(sheet: CallOutSheet, given: Given) -> Iterator[Value]:
    """Give every reading in the unit that counts, with the time where one was noted."""
    for stage, case in ((AS_FOUND, as_found(sheet, given)), (AS_LEFT, as_left(sheet, given))):
        for number, (what, reading) in enumerate(case.read.items(), 1):
            at = case.at.get(what, "")
            label = f"{what}, {at[11:16]}" if at else what
            typed = f"typed {reading.typed.text}" if reading.typed.unit else "as read"
            quantity = Quantity(reading.text, reading.unit, float(reading.value))
            yield Value(f"{stage}.reading.{number}", stage, label, quantity, typed)


def workings(sheet: CallOutSheet, given: Given) -> Iterator[Working]:
    """Give the calculation of every pair of places and of every row of the fault table, as a hand does it."""
    for stage, case in ((AS_FOUND, as_found(sheet, given)), (AS_LEFT, as_left(sheet, given))):
        judged = every(case, stage)
        yield from (_of_hop(hop, stage) for hop in judged if hop.check.quantity is not None)
        budgets = [hop for hop in judged if hop.check.quantity is not None and hop.check.quantity.expanded]
        if stage == AS_FOUND and budgets:
            quantity = budgets[0].check.quantity
            assert quantity is not None
            yield expanded_working(f"U of {budgets[0].check.label}", quantity)
    yield from _of_rows(as_found(sheet, given))


def _of_hop(hop: Hop, stage: str) -> Working:
    quantity = hop.check.quantity
    assert quantity is not None
    return Working(
        f"{hop.check.label}, {TITLES[stage]}",
        hop.formula,
        hop.put_in,
        answer(quantity.text, quantity.unit, ""),
        LIVE_ZERO if quantity.unit == "%" else "shown − reference",
    )


def _of_rows(case: Case) -> Iterator[Working]:
    for row, finding in findings(case):
        if finding.formula:
            yield Working(row.name, finding.formula, finding.put_in, finding.answer, row.source)


def unit_of(what: str, given: Given) -> str:
    """Return the unit a measurement is read in, empty for a question."""
    measure = MEASURES.get(what)
    if measure is None or measure.is_question:
        return ""
    return given.analyzer.unit if measure.unit == "analyzer" else measure.unit
