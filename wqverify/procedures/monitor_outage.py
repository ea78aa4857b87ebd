"""Outage of a monitor: grabs in its place, how long it may be out, who is told by when, how it came back.

Sheet: ``outage_sheet``; figures of the rules, each a setting with its source: ``outage_rules``; what cannot
be taken: ``outage_refused``; what is known: ``outage_case``; what is judged: ``outage_checks``. It judges
duties and verifies no analyzer: the check that returns it does.
"""

from __future__ import annotations

from wqverify.procedures.outage_beside import BESIDE
from wqverify.procedures.outage_binds import binds
from wqverify.procedures.outage_case import case_of
from wqverify.procedures.outage_checks import CALIBRATION, checks_of, expected
from wqverify.procedures.outage_notes import CAUTIONS, notes
from wqverify.procedures.outage_refused import refuse
from wqverify.procedures.outage_rules import SETTINGS, TOLERANCES
from wqverify.procedures.outage_sheet import OutageSheet
from wqverify.procedures.outage_shown import charts, values, workings
from wqverify.procedures.outage_told import clocks, facts
from wqverify.terms import Given, Procedure, Result, Slices

NAME = "monitor_outage"


def compute(sheet: OutageSheet, given: Given, slices: Slices) -> Result:  # noqa: ARG001 - no slice is needed
    """Return the result of one outage.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, for what cannot be taken: another serial
    on the plate, two repair times in the register, a grab before the failure, a result in another unit, a
    returning check of another analyzer or from before the failure.
    """
    refuse(sheet, given)
    case = case_of(sheet, given)
    return Result(
        checks=tuple(checks_of(case)),
        values=tuple(values(case)),
        workings=tuple(workings(case)),
        notes=tuple(notes(case)),
        charts=tuple(charts(case)),
        facts=facts(case),
    )


def expects(sheet: OutageSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    return tuple(expected(case_of(sheet, given)))


PROCEDURE = Procedure(
    name=NAME,
    title="Outage of a monitor",
    revision=1,
    Sheet=OutageSheet,
    compute=compute,
    expects=expects,
    refuse=refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    tolerances=TOLERANCES,
    settings=SETTINGS,
    looks_back={CALIBRATION: 6},
    clocks=clocks,
    binds=binds,
)
