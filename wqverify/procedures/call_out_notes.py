"""The sentences of a call-out: cautions, where the fault lies, opinions with author, what it cannot see."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from wqverify.procedures import sentences
from wqverify.procedures.call_out_case import REFERENCE, WORDS, Case
from wqverify.procedures.call_out_chain import every
from wqverify.procedures.call_out_compare import Hop
from wqverify.procedures.call_out_sheet import CallOutSheet, Compared, Repaired
from wqverify.procedures.call_out_stages import AS_FOUND, as_found
from wqverify.procedures.call_out_table import findings, next_ones
from wqverify.procedures.call_out_told import in_words, located, minutes, states
from wqverify.terms import Caution, Check, Given, Note, Outcome, Result

CAUTIONS = (
    Caution(
        "Tell operations first, and what not to trust until you say so: they may be deciding by it now.",
        "common practice",
    ),
    Caution(
        "Control in manual, alarms blocked only as the site allows, each with its time; undone on leaving.",
        "common practice",
    ),
    Caution(
        "Opening a 4-20 mA loop drops its value to zero and can start or trip equipment.", "common practice"
    ),
    Caution(
        "Lock out and test for dead before wires are lifted in a panel that holds more than the loop; a wet "
        "panel is not opened live.",
        "29 CFR 1910.147 and 1910.331 to .335 (from memory)",
    ),
    Caution(
        "Alone, at night or in the rain: say where you are and when you call back. Vaults and wet wells may "
        "be confined spaces: permit, air test, attendant, never alone.",
        "29 CFR 1910.146 (from memory)",
    ),
    Caution(
        "Standards, buffers, reagents and cleaning acid: gloves, eye protection, ventilation; nothing back "
        "into potable water.",
        "safety data sheets of the chemicals",
    ),
)
TABLE = "the fault table, row"


def notes(sheet: CallOutSheet, given: Given, checks: Sequence[Check]) -> Iterator[Note]:
    """Give all sentences of a call-out, the cautions first."""
    case = as_found(sheet, given)
    judged = every(case, AS_FOUND)
    for text in (*sentences.person_cautions(sheet, given), *_cautions(sheet, case, judged)):
        yield Note("caution", text)
    for text in sentences.handed_back(sheet, sheet.status, checks, isinstance(sheet.repaired, Repaired)):
        yield Note("caution", text)
    for text in (*located(case), *states(case)):
        yield Note("statement", text)
    yield from _opinions(case)
    yield from _advice(sheet, case, judged, checks)
    for text in sentences.clocks(sheet, given):
        yield Note("statement", text)
    for text in _cannot_see(sheet, case, judged):
        yield Note("cannot see", text)
    yield from sentences.opinion(sheet)


def _opinions(case: Case) -> Iterator[Note]:
    for row, finding in findings(case):
        yield Note("opinion", in_words(finding), author=f'{TABLE} "{row.name}" ({row.source})')
        if finding.confirm:
            yield Note("advice", f"What would confirm it: {finding.confirm}.", f'{TABLE} "{row.name}"')


def _cautions(sheet: CallOutSheet, case: Case, judged: Sequence[Hop]) -> Iterator[str]:
    wrong = [hop for hop in judged if hop.fails]
    if wrong and not isinstance(sheet.repaired, Repaired) and sheet.status.state == "in service":
        note = (
            f" ({sheet.status.note})" if sheet.status.note else "; nobody says why (the note of the status)"
        )
        yield f"Something is wrong between two places, nothing was repaired, and it is in service{note}."
    for hop in judged:
        said = minutes(case, hop)
        if said:
            yield f"{hop.check.label}{said}: the water may have moved between them."
    for what in sorted(case.held):
        if what in WORDS:
            yield f"{WORDS[what]} was read while the output was held: it may have stood still."


def _advice(
    sheet: CallOutSheet, case: Case, judged: Sequence[Hop], checks: Sequence[Check]
) -> Iterator[Note]:
    wrong = [hop for hop in judged if hop.fails]
    still = Result(tuple(checks)).outcome("as_left") is Outcome.PASS or (
        Result(tuple(checks)).outcome("as_left", "control system") is Outcome.PASS
    )
    if not (isinstance(sheet.repaired, Repaired) and still):
        following = next_ones(case)
        if following and (wrong or not judged):
            measure, why = following[0]
            yield Note("advice", f"The most telling next: {measure.what} ({why}).", "common practice")
    if wrong:
        yield Note(
            "advice",
            "What the control room and the archive hold since it went wrong is in doubt: say since when, and "
            "what was decided by it.",
            "ISO/IEC 17025:2017, 7.10, as a pattern",
        )
    if isinstance(sheet.repaired, Repaired):
        yield Note(
            "advice",
            "A call-out finds and repairs; it verifies nothing. The check of its procedure returns it: as "
            "left against a standard, or the loop end to end.",
            "common practice",
        )


def _cannot_see(sheet: CallOutSheet, case: Case, judged: Sequence[Hop]) -> Iterator[str]:
    if isinstance(sheet.at_first, Compared) and judged and not any(hop.fails for hop in judged):
        yield "A fault that comes and goes: everything was read at one moment."
    if REFERENCE.what in case.read:
        yield "How sure the reference is: its own uncertainty is not in U; the check that follows decides."
    elif judged:
        yield "Whether the analyzer is right about the water: nothing was read against it."
    if len(judged) == 1:
        yield "Which part between the two places it is: nothing was read between them."
    if any(not hop.agrees for hop in judged) or judged:
        yield "A fault at another level: one level cannot tell a ratio from an offset."
