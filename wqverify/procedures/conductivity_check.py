"""Check of a conductivity analyzer in two standards at their temperature, and dry in air.

Sheet: ``conductivity_sheet``; value of a standard and what a compensated display should show:
``conductivity_values``; model: ``conductivity_budget``; what is refused: ``conductivity_rules``. No
tolerance is shipped. A pass needs two standards: the zero alone passes a dead cell.
"""

from __future__ import annotations

from wqverify.procedures.conductivity_beside import BESIDE
from wqverify.procedures.conductivity_checks import TOLERANCES, checks_of, keys_of
from wqverify.procedures.conductivity_notes import CAUTIONS, notes
from wqverify.procedures.conductivity_rules import brake, refuse
from wqverify.procedures.conductivity_sheet import Adjusted, ConductivitySheet
from wqverify.procedures.conductivity_shown import charts, values, workings
from wqverify.procedures.conductivity_stages import before_adjusting, stages
from wqverify.procedures.conductivity_values import FACTORS
from wqverify.terms import Given, Procedure, Result, Setting, Slices


def compute(sheet: ConductivitySheet, given: Given, slices: Slices) -> Result:  # noqa: ARG001 - no slice is needed
    """Return the result of one visit.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, for what cannot be taken: another serial
    on the plate, times out of order, a standard expired, entered twice or without a conductivity, a
    temperature outside its table, a reading outside the range, an adjustment that nothing founds.
    """
    refuse(sheet, given)
    found = stages(sheet, given)
    brake(sheet, before_adjusting(found))
    checks = tuple(checks_of(sheet, given, found))
    return Result(
        checks=checks,
        values=tuple(values(found, given)),
        workings=tuple(workings(sheet, found, checks, given)),
        notes=tuple(notes(sheet, given, found, checks)),
        charts=tuple(charts(found, checks, given)),
        facts={"adjusted": "yes" if isinstance(sheet.adjusted, Adjusted) else "no"},
    )


def expects(sheet: ConductivitySheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    return tuple(keys_of(sheet, given))


PROCEDURE = Procedure(
    name="conductivity_check",
    title="Conductivity check in standards",
    revision=1,
    Sheet=ConductivitySheet,
    compute=compute,
    expects=expects,
    refuse=refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    tables=(FACTORS,),
    tolerances=TOLERANCES,
    settings={
        "coefficient_percent": Setting("0", "5"),  # linear compensation that is set, % per °C; 0: none
        "iso_7888": Setting("0", "1", whole=True),  # 1: compensation by the factors of ISO 7888 is set
        "reference_c": Setting("20", "25", whole=True),
        "standards_ratio": Setting("1.1", "1000"),
        "stability_percent": Setting("0.1", "50"),
        "stability_readings": Setting("1", "60", whole=True),  # 1: one reading is enough
        "stability_interval_s": Setting("1", "3600"),
        # half widths of the budget
        "opened_percent": Setting("0", "20"),
        "table_percent": Setting("0", "5"),
        "settling_c": Setting("0", "10"),
        "salt_percent_per_c": Setting("0", "2"),
        "zero_film": Setting("0", "100000"),
    },
)
