"""Check of a 4-20 mA loop from end to end: every hop, the chain, hysteresis, states, supply, mismatches.

Sheet: ``loop_sheet``; places and points: ``loop_points``; models: ``loop_budget``; what is judged:
``loop_stages``; what may be set otherwise: ``loop_candidates``; what is refused: ``loop_rules``. Tolerances
per hop and of the chain are the register's, in % of span, in mA or in the unit.
"""

from __future__ import annotations

from wqverify.procedures.loop_beside import BESIDE
from wqverify.procedures.loop_candidates import mismatch_of
from wqverify.procedures.loop_notes import CAUTIONS, notes
from wqverify.procedures.loop_points import line_of
from wqverify.procedures.loop_rules import refuse
from wqverify.procedures.loop_sheet import LoopSheet
from wqverify.procedures.loop_shown import charts, values, workings
from wqverify.procedures.loop_stages import TOLERANCES, checks_of, keys_of, stages_of
from wqverify.terms import Given, Procedure, Result, Setting, Slices

NAME = "loop_check"


def compute(sheet: LoopSheet, given: Given, slices: Slices) -> Result:  # noqa: ARG001 - no slice is needed
    """Return the result of one check.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, for what cannot be taken: another serial
    on the plate, times or currents out of order, a range of zero width, a unit that does not fit, the square
    root of a negative signal, a source or meter past its date.
    """
    refuse(sheet, given)
    line = line_of(sheet, given)
    stages = stages_of(sheet, line, given)
    found = {stage.name: mismatch_of(stage, sheet, given) for stage in stages}
    checks = tuple(checks_of(sheet, stages, given))
    return Result(
        checks=checks,
        values=tuple(values(sheet, stages, found, given)),
        workings=tuple(workings(sheet, stages, checks, line)),
        notes=tuple(notes(sheet, given, stages, checks, found, line)),
        charts=tuple(charts(stages, checks, given)),
        here="on the loop",
    )


def expects(sheet: LoopSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    return tuple(keys_of(sheet, given))


PROCEDURE = Procedure(
    name=NAME,
    title="Loop check, 4-20 mA",
    revision=1,
    Sheet=LoopSheet,
    compute=compute,
    expects=expects,
    refuse=refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    tolerances=TOLERANCES,
    settings={
        "loop_gain_percent": Setting("0", "5"),
        "loop_offset_ma": Setting("0", "1"),
        "loop_drift_percent_per_c": Setting("0", "1"),
        "loop_resistor_percent": Setting("0", "20"),
        "loop_volts_percent": Setting("0", "20"),
        "loop_fits_percent": Setting("0", "5"),  # of span, besides U, for a candidate
        "loop_least_currents": Setting("3", "11", whole=True),  # different ones, for a pass
        "card_bits": Setting("8", "24", whole=True),  # over 16 mA
        "archive_deadband": Setting("0", "1000000"),  # in the unit of the analyzer
    },
)
