"""Check of a thermometer, or of the temperature built into an analyzer, in two baths.

Sheet: ``temperature_sheet``; model: ``temperature_budget``; what is refused: ``temperature_rules``. No
tolerance is shipped but that of the element by its class, which advises and is no part of the verdict.
"""

from __future__ import annotations

from wqverify.procedures.temperature_beside import BESIDE
from wqverify.procedures.temperature_checks import TOLERANCES, checks_of, keys_of
from wqverify.procedures.temperature_notes import CAUTIONS, notes
from wqverify.procedures.temperature_rules import brake, refuse
from wqverify.procedures.temperature_sheet import Adjusted, TemperatureSheet
from wqverify.procedures.temperature_shown import charts, values, workings
from wqverify.procedures.temperature_stages import stages, unit_of
from wqverify.terms import Given, Procedure, Result, Setting, Slices


def compute(sheet: TemperatureSheet, given: Given, slices: Slices) -> Result:  # noqa: ARG001 - no slice is needed
    """Return the result of one visit.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, for what cannot be taken: another serial
    on the plate, times out of order, a reference past its date or outside its corrections, a reading outside
    the range, a resistance no element has, a gain adjusted to one bath.
    """
    refuse(sheet, given)
    found = stages(sheet, given)
    brake(sheet, given, found["as_found"])
    checks = tuple(checks_of(sheet, given, found))
    return Result(
        checks=checks,
        values=tuple(values(found)),
        workings=tuple(workings(found, checks, unit_of(given))),
        notes=tuple(notes(sheet, given, found, checks)),
        charts=tuple(charts(found, checks, unit_of(given))),
        facts={"adjusted": "yes" if isinstance(sheet.adjusted, Adjusted) else "no"},
        here="at the sensor",
    )


def expects(sheet: TemperatureSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    return tuple(keys_of(sheet, given))


PROCEDURE = Procedure(
    name="temperature_check",
    title="Temperature check in two baths",
    revision=1,
    Sheet=TemperatureSheet,
    compute=compute,
    expects=expects,
    refuse=refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    tolerances=TOLERANCES,
    settings={
        "stability_c": Setting("0.001", "5"),
        "stability_readings": Setting("1", "60", whole=True),  # 1: one reading is enough
        "stability_interval_s": Setting("1", "3600"),
        "baths_apart_c": Setting("1", "100"),
        "ice_point_c": Setting("0.01", "5"),  # from 0, beyond it is no ice point
        # half widths of the budget
        "thermometer_drift_c": Setting("0", "5"),
        "bath_c": Setting("0", "5"),
        "stirred_c": Setting("0", "5"),
        "ice_c": Setting("0", "5"),
        "immersion_c": Setting("0", "5"),
        "ohmmeter_ohm": Setting("0", "5"),
        "lead_ohm": Setting("0", "5"),
    },
)
