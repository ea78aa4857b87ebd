"""Real pH checks of a volunteer programme as field sheets: one buffer, one reading, much that is not known.

The source (volunteer_results_with_qc.xlsx: CRAN package MassWateR, CC0) holds 20 rows with the reading and
the value of the standard. Whatever a field sheet asks and the source does not hold is *not done, because
"not in the source"*. What a sheet or the register cannot leave open, and what stands there instead:

- the time of day: the source has the date; row 1 of a day is 00:01, row 2 is 00:02, and the remarks say so;
- the last zeros: a spreadsheet stores 7.4 for 7.40. The readings go to 0.01, so all are typed to 0.01;
- whether a reading held still: the source has one reading each, so the register asks for one (by default
  three, half a minute apart, are needed, and one would not be evaluated);
- the status after the work: "in service", with the note that the source does not say.

As a script it writes the plant folder with its sheets: ``real_ph_checks.py WORKBOOK FOLDER``.
"""

from __future__ import annotations

import sys
import warnings
from collections import Counter
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path

import openpyxl

WORKBOOK = "volunteer_results_with_qc.xlsx"
NOT_IN_SOURCE = "not in the source"
DIGIT = Decimal("0.01")
# What openpyxl says of this workbook; the drop-down lists it drops are of no use here.
DROPS_LISTS = "Data Validation extension is not supported and will be removed"


@dataclass(frozen=True)
class RealCheck:
    """One row: the day, its place on that day, what the meter showed and what the standard is worth."""

    row: int  # in the sheet Results
    day: date
    place: int  # 1 for the first row of a day
    shown: Decimal
    reference: Decimal

    @property
    def error(self) -> Decimal:
        return self.shown - self.reference

    @property
    def tag(self) -> str:
        """A tag per row: the source does not say which meter it was, so no visit rests on another."""
        return f"METER-{self.row}"

    @property
    def standard(self) -> str:
        return f"B-{self.reference}"


def real_checks(workbook: Path) -> list[RealCheck]:
    """Return the calibration checks of pH in the order of the source."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=DROPS_LISTS, category=UserWarning)
        rows = openpyxl.load_workbook(workbook, data_only=True)["Results"].iter_rows(values_only=True)
        names = next(rows)
        table = [dict(zip(names, row, strict=True)) for row in rows]
    found: list[RealCheck] = []
    on_day: Counter[date] = Counter()
    for number, row in enumerate(table, 2):
        kind = (row["Activity Type"], row["Characteristic Name"], row["Result Unit"])
        if kind == ("Quality Control-Calibration Check", "pH", "s.u."):
            day = row["Activity Start Date"].date()
            on_day[day] += 1
            shown, reference = _typed(row["Result Value"]), _typed(row["QC Reference Value"])
            found.append(RealCheck(number, day, on_day[day], shown, reference))
    return found


def _typed(stored: float) -> Decimal:
    """A stored number as it was read, to 0.01; one with more digits would be a mistake in reading it."""
    exact = Decimal(str(stored))
    typed = exact.quantize(DIGIT)
    assert typed == exact, stored
    return typed


def sheet(check: RealCheck) -> str:
    """Return the field sheet of one check."""
    unknown = f'not_done = "{NOT_IN_SOURCE}"'
    open_parts = (
        "clocks",
        "cautions",
        "operations_told",
        "output_held",
        "loop_in_manual",
        "alarm_blocked",
        "condition",
        "stored",
        "process_before",
        "thermometer_check",
        "cleaned",
        "after_cleaning",
        "adjusted",
        "as_left",
        "check_buffer",
        "constants_as_left",
        "process_after",
        "grab_after",
        "output_released",
        "signal",
        "loop_in_auto",
        "alarm_restored",
        "operations_told_after",
    )
    lines = [
        "# Real public data: a hand-held meter of a volunteer programme, see real_ph_checks.py.",
        'procedure = "ph_calibration"',
        f'tag = "{check.tag}"',
        f'serial_on_plate = "{NOT_IN_SOURCE}"',
        'reason = "routine"',
        'performed_by = "VOLUNTEER"',
        f'date = "{check.day}"',
        f'started = "00:{check.place:02d}"',
        f'remarks = "row {check.row} of the source, which has the date only: 00:{check.place:02d} stands for '
        f'the place of the row on that day"',
        *(f"{part}.{unknown}" for part in open_parts),
        "",
        "[[as_found.points]]",
        f'standard = "{check.standard}"',
        f'readings = ["{check.shown}"]',
        "",
        "[status]",
        'state = "in service"',
        f'note = "{NOT_IN_SOURCE}; a sheet has to name a state"',
    ]
    return "\n".join(lines) + "\n"


def make_folder(folder: Path, checks: list[RealCheck]) -> list[Path]:
    """Write a plant folder for the checks and their field sheets; returns the sheets in order."""
    (folder / "field_sheets").mkdir(parents=True)
    for name, text in {
        "plant.toml": _PLANT,
        "analyzers.toml": "".join(_meter(check.tag) for check in checks),
        "people.toml": _PEOPLE,
        "standards_on_hand.toml": "".join(_bottle(v) for v in sorted({c.reference for c in checks})),
    }.items():
        (folder / name).write_text(text, "utf-8")
    sheets = []
    for check in checks:
        path = folder / "field_sheets" / f"{check.day} row {check.row}.toml"
        path.write_text(sheet(check), "utf-8")
        sheets.append(path)
    return sheets


# No synthetic data and no plant: the page has to say what it is.
_PLANT = """\
name = "Volunteer water programme: real public data of hand-held meters, no drinking-water plant"
time_zone = "UTC"        # the source names none
synthetic = false
"""


def _meter(tag: str) -> str:
    return f"""\
[[analyzer]]
tag = "{tag}"
serial = "{NOT_IN_SOURCE}"
kind = "hand-held pH meter; the source does not say which, nor whether it was always the same"
measures = "pH"
unit = "pH"
low = "0.00"
high = "14.00"
digit = "{DIGIT}"
location = "{NOT_IN_SOURCE}"

[analyzer.tolerance.error]
low = "-0.2"
high = "0.2"
unit = "pH"
rule = "simple"
basis = "common practice"
source = "common practice for hand-held pH meters, within 0.2; the source of the data states none"

[analyzer.settings]
stability_readings = "1"      # {WORKBOOK} (CRAN package MassWateR, CC0) has one reading each

"""


_PEOPLE = f"""\
[[person]]
id = "VOLUNTEER"
name = "a volunteer, name {NOT_IN_SOURCE}"
may_perform = true
"""


def _bottle(value: Decimal) -> str:
    return f"""\
[[standard]]
id = "B-{value}"
kind = "buffer"
name = "pH {value}, value as the source gives it"
lot = "{NOT_IN_SOURCE}"
unit = "pH"
value = "{value}"

"""


if __name__ == "__main__":
    for made in make_folder(Path(sys.argv[2]), real_checks(Path(sys.argv[1]))):
        print(made)
