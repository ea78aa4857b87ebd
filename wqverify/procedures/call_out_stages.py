"""From the sheet to what is known of a fault, as found and after the repair, and what is judged of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime

from wqverify.calculations.judgement import not_evaluated
from wqverify.calculations.units import InUnit, in_unit
from wqverify.procedures.call_out_case import CHAIN, DISPLAY, OUT, SHOWN, Case
from wqverify.procedures.call_out_chain import ends, every, hops, keys_of, known
from wqverify.procedures.call_out_compare import Hop
from wqverify.procedures.call_out_sample import FLOWS
from wqverify.procedures.call_out_sheet import CallOutSheet, Compared, Measured, Repaired
from wqverify.procedures.call_out_table import MEASURES, first_wrong
from wqverify.procedures.parts import Condition, Moment, Signal
from wqverify.procedures.rules import NOT_READ_AGAIN
from wqverify.terms import Check, Given, Reading

AS_FOUND, AS_LEFT = "as_found", "as_left"
NO_FLOW = ("none", "no", "0", "nothing", "no flow")  # as a condition on arrival says it
NOTHING = "signal"  # key of the check where nothing can be compared
TITLES = {AS_FOUND: "as found", AS_LEFT: "as left"}


def as_found(sheet: CallOutSheet, given: Given) -> Case:
    """Return what is known before anything was repaired."""
    both = sheet.at_first if isinstance(sheet.at_first, Compared) else None
    first = [(DISPLAY.what, both.display), (SHOWN.what, both.control_system)] if both else []
    case = _case(sheet, given, first, sheet.measured, "at_first", "measured")
    flows = sheet.condition.sample_flow if isinstance(sheet.condition, Condition) else None
    if flows is not None and FLOWS.what not in case.seen and flows.strip().lower() in NO_FLOW:
        return replace(case, seen={FLOWS.what: False, **case.seen})
    return case


def as_left(sheet: CallOutSheet, given: Given) -> Case:
    """Return what was read again, after the repair or once the output was released."""
    signal = sheet.signal if isinstance(sheet.signal, Signal) else None
    first = (
        [(DISPLAY.what, signal.display), (OUT.what, signal.ma), (SHOWN.what, signal.control_system)]
        if signal
        else []
    )
    return _case(sheet, given, first, sheet.measured_again, "signal", "measured_again")


def _case(
    sheet: CallOutSheet,
    given: Given,
    first: Sequence[tuple[str, Reading | None]],
    rows: Sequence[Measured],
    first_path: str,
    path: str,
) -> Case:
    unit = given.analyzer.unit
    read: dict[str, InUnit] = {}
    paths: dict[str, str] = {}
    seen: dict[str, bool] = {}
    for what, reading in first:
        if reading is not None:
            read[what], paths[what] = in_unit(reading, unit, first_path), first_path
    for index, row in enumerate(rows):
        measure = MEASURES[row.what]
        if row.seen is not None:
            seen[row.what] = row.seen == "yes"
        elif row.reading is not None:
            own = unit if measure.unit == "analyzer" else measure.unit
            read[row.what] = in_unit(row.reading, own, f"{path}.{index}.reading")
            paths[row.what] = f"{path}.{index}"
    at = {what: given.times[f"{where}.at"] for what, where in paths.items() if f"{where}.at" in given.times}
    held = frozenset(what for what, moment in at.items() if _while_held(moment, sheet, given))
    meter = given.standards.get(sheet.meter or "")
    last = rows[-1].what if rows else ""
    return Case(given, sheet.symptom.what, read, seen, meter, at, held, last)


def _while_held(moment: str, sheet: CallOutSheet, given: Given) -> bool:
    held, released = given.times.get("output_held.at"), given.times.get("output_released.at")
    if held is None or not isinstance(sheet.output_held, Moment):
        return False
    read = datetime.fromisoformat(moment)
    return read > datetime.fromisoformat(held) and not (released and read >= datetime.fromisoformat(released))


# ---------------------------------------------------------------- what is judged


def checks_of(sheet: CallOutSheet, given: Given) -> Iterator[Check]:
    """Give the checks: every two places of the signal that follow each other, as found and as left."""
    found, left = as_found(sheet, given), as_left(sheet, given)
    judged = every(found, AS_FOUND)
    yield from (hop.check for hop in judged)
    if not judged:
        yield not_evaluated(
            f"{AS_FOUND}.{NOTHING}",
            AS_FOUND,
            "The signal, end to end",
            "fewer than two places of the signal were read, so nothing can be compared",
            place="control system",
        )
    yield from (hop.check for hop in every(left, AS_LEFT))
    for hop in not_read_again(sheet, given):
        yield not_evaluated(_key_again(hop), AS_LEFT, hop.check.label, NOT_READ_AGAIN, place=hop.check.place)


def expected(sheet: CallOutSheet, given: Given) -> Iterator[str]:
    """Give the keys of the checks that a sheet asks for."""
    yield from keys_of(as_found(sheet, given), AS_FOUND) or [f"{AS_FOUND}.{NOTHING}"]
    yield from keys_of(as_left(sheet, given), AS_LEFT)
    yield from (_key_again(hop) for hop in not_read_again(sheet, given))


def not_read_again(sheet: CallOutSheet, given: Given) -> list[Hop]:
    """Return what failed as found, was repaired, and of which the two places were not read again.

    Two places farther apart, with these between them, are a reading again too.
    """
    if not isinstance(sheet.repaired, Repaired):
        return []
    again = [CHAIN.index(place) for place in known(as_left(sheet, given))]
    wrong = [hop for hop in every(as_found(sheet, given), AS_FOUND) if hop.fails]
    return [hop for hop in wrong if not _covered(hop, again)]


def _covered(hop: Hop, again: Sequence[int]) -> bool:
    before, after = CHAIN.index(hop.before), CHAIN.index(hop.after)
    return bool(again) and min(again) <= before and max(again) >= after


def _key_again(hop: Hop) -> str:
    return f"{AS_LEFT}.{hop.check.key.partition('.')[2]}.again"


def fault(case: Case) -> Hop | None:
    """Return the first two places that do not agree, None where all that was read agrees."""
    return first_wrong(hops(case, AS_FOUND), ends(case, AS_FOUND))
