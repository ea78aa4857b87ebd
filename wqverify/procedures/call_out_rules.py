"""What a call-out refuses: what is no measurement, a unit that does not fit, what no meter shows, a meter."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from wqverify.calculations.loop import width
from wqverify.calculations.units import in_unit
from wqverify.errors import CorrectTheEntry
from wqverify.procedures.call_out_case import Case
from wqverify.procedures.call_out_sheet import CallOutSheet, Measured
from wqverify.procedures.call_out_table import MEASURES
from wqverify.procedures.rules import refuse_beyond, refuse_overdue, refuse_visit, standard
from wqverify.terms import Given, Reading

# What no meter of the trade shows and no water has; in the unit of the measurement.
POSSIBLE = {
    "mA": (-1, 200),
    "V": (-60, 60),
    "mV": (-2000, 2000),
    "ohm": (0, 1_000_000),
    "kohm": (0, 1_000_000),
    "Mohm": (0, 1_000_000),
    "°C": (-50, 150),
    "pH": (-1, 15),
    "s": (0, 86_400),
    "min": (0, 10_000),
    "m": (0, 1000),
    "mL": (0, 100_000),
    "mL/min": (0, 1_000_000),
    "kg/m3": (500, 2000),
    "uS/cm": (0, 1_000_000),
    "kPa": (50, 120),
    "mm": (0, 1000),
    "d": (0, 10_000),
    "mV/pH": (-100, 100),
}
ABOVE_ZERO = (
    "input resistor",
    "value of the standard",
    "value of the higher standard",
    "density set in the transmitter",
    "reagent it should use in 10 min",
    "days the reagent may be used",
)
WAYS = (
    "take a meter that is in date, or leave the id out: then its readings count as those of an unknown meter."
)


def refuse(sheet: CallOutSheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother where the sheet cannot be computed as it stands."""
    refuse_visit(sheet, given)
    if sheet.meter is not None:
        refuse_overdue("meter", standard(sheet.meter, "meter", given), sheet.date, WAYS)
    _measured("measured", sheet.measured, given)
    _measured("measured_again", sheet.measured_again, given)
    case = Case(given, "")
    for place in ("transmitter", "display", "archive"):
        width(*case.range_at(place))


def _measured(path: str, rows: Sequence[Measured], given: Given) -> None:
    for index, row in enumerate(rows):
        here = f"{path}.{index}"
        measure = MEASURES[row.what]
        if row.reading is not None:
            unit = given.analyzer.unit if measure.unit == "analyzer" else measure.unit
            _possible(f"{here}.reading", row.what, row.reading, unit)


def _possible(path: str, what: str, reading: Reading, unit: str) -> None:
    typed = in_unit(reading, unit, path)  # refuses a unit that does not fit
    if unit in POSSIBLE:
        refuse_beyond(path, what, Reading(typed.text, typed.value), POSSIBLE[unit], unit)
    if what in ABOVE_ZERO and typed.value <= Decimal(0):
        raise CorrectTheEntry(
            f"{path}: {what} is {reading.text}; only what is above 0 can be compared with. Read it again.",
            found=reading.text,
            expected="more than 0",
            where=path,
        )
