"""Values in doubt: what an error found at a check makes of the values recorded before it, and what follows.

Sheet: ``doubt_sheet``; which earlier check counts: ``doubt_clears``; the error by level and in time:
``doubt_errors``; the recorded values: ``doubt_series``; what they decided: ``doubt_decisions``. Raw values
are never changed; what is computed here another procedure recomputes from ``doubt_facts``.
"""

from __future__ import annotations

from wqverify.procedures.doubt_beside import BESIDE, FROM_FAILED
from wqverify.procedures.doubt_binds import binds
from wqverify.procedures.doubt_by_hand import workings
from wqverify.procedures.doubt_case import case_of
from wqverify.procedures.doubt_clears import SETTINGS
from wqverify.procedures.doubt_decisions import checks_of, decisions, expected
from wqverify.procedures.doubt_limits import TOLERANCES
from wqverify.procedures.doubt_notes import CAUTIONS, notes
from wqverify.procedures.doubt_rules import refuse
from wqverify.procedures.doubt_sheet import DoubtSheet
from wqverify.procedures.doubt_shown import charts, values
from wqverify.procedures.doubt_told import facts
from wqverify.terms import Given, Procedure, Result, Setting, Slices

NAME = "values_in_doubt"


def compute(sheet: DoubtSheet, given: Given, slices: Slices) -> Result:
    """Return the result of one doubt.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, for what cannot be taken: a check that
    did not fail, a last good one that does not count, times that contradict each other, an error no check
    holds, an alarm without a limit, two consequences for one time.
    """
    refuse(sheet, given)
    case = case_of(sheet, given, slices)
    found = decisions(case)
    checks = tuple(checks_of(case, found))
    return Result(
        checks=checks,
        values=tuple(values(case, found)),
        workings=tuple(workings(case, found)),
        notes=tuple(notes(case, found, checks)),
        charts=tuple(charts(case, found)),
        facts=facts(case, found),
    )


def expects(sheet: DoubtSheet, given: Given) -> tuple[str, ...]:  # noqa: ARG001 - the sheet tells it
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    return expected(len(sheet.used))


PROCEDURE = Procedure(
    name=NAME,
    title="Values in doubt",
    revision=1,
    Sheet=DoubtSheet,
    compute=compute,
    expects=expects,
    refuse=refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    tolerances=TOLERANCES,
    settings={**SETTINGS, FROM_FAILED: Setting("0", "1", whole=True)},
    looks_back={"*": 40},
    cites="all",
    binds=binds,
)
