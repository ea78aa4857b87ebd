"""Call-out: what is wrong, one measurement at a time, between which two points the fault lies.

Sheet: ``call_out_sheet``; what is known: ``call_out_case``; the signal split in halves: ``call_out_chain``
and ``call_out_compare``; the fault table by what is measured, one module each, together
``call_out_table``; what is judged: ``call_out_stages``. The arithmetic is stated; what it points to is an
opinion with its author; a call-out verifies nothing.
"""

from __future__ import annotations

from wqverify.procedures.call_out_beside import BESIDE
from wqverify.procedures.call_out_compare import TOLERANCES
from wqverify.procedures.call_out_notes import CAUTIONS, notes
from wqverify.procedures.call_out_rules import refuse
from wqverify.procedures.call_out_sheet import CallOutSheet
from wqverify.procedures.call_out_shown import values, workings
from wqverify.procedures.call_out_stages import checks_of, expected
from wqverify.procedures.call_out_table import names_for
from wqverify.procedures.call_out_told import facts
from wqverify.terms import Given, Outcome, Procedure, Result, Setting, Slices

NAME = "call_out"
LOOP_CHECK = "loop_check"


def compute(sheet: CallOutSheet, given: Given, slices: Slices) -> Result:  # noqa: ARG001 - no slice is needed
    """Return the result of one call-out.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, for what cannot be taken: another serial
    on the plate, times out of order, what is no measurement, a unit that does not fit, a range of zero width,
    a meter past its date.
    """
    refuse(sheet, given)
    checks = tuple(checks_of(sheet, given))
    return Result(
        checks=checks,
        values=tuple(values(sheet, given)),
        workings=tuple(workings(sheet, given)),
        notes=tuple(notes(sheet, given, checks)),
        facts=facts(sheet, given),
    )


def expects(sheet: CallOutSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    return tuple(expected(sheet, given))


def opens(result: Result) -> tuple[tuple[str, str], ...]:
    """Return what the result opens next: a fault on the way of the signal asks for a loop check."""
    wrong = [c for c in result.checks if c.stage == "as_found" and c.outcome is Outcome.FAIL]
    if any(check.place == "control system" for check in wrong):
        return ((LOOP_CHECK, "two places of its signal did not agree"),)
    return ()


PROCEDURE = Procedure(
    name=NAME,
    title="Call-out",
    revision=1,
    Sheet=CallOutSheet,
    compute=compute,
    expects=expects,
    refuse=refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    opens=opens,
    tolerances=TOLERANCES,
    names=names_for,
    settings={
        "multimeter_percent": Setting("0", "10"),
        "loop_resistor_percent": Setting("0", "20"),
    },
)
