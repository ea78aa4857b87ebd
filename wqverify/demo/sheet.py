"""The pieces that the sheets of the demo are written with: what a technician types."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

OPERATOR = "Wren Abernathy"  # invented


@dataclass(frozen=True)
class Visit:
    """A field sheet of the demo, and what stands in the plant folder before it is run.

    A sheet names an earlier record by its visit, as {{turbidity 12 AIT-2202}}: numbers are not known before.
    """

    day: date
    name: str
    tag: str
    sheet: str
    story: str
    round: str = ""  # name of the round it belongs to
    skipped: str = ""  # because: the check was due and did not happen
    tolerance_changes: bool = False
    assigned: str = ""  # value of the secondary standard that this calibration assigns
    trend: str = ""  # export of the control system that it names
    shown: str = ""  # what that export holds


def number_of(visit: str) -> str:
    """Return what stands on a sheet for the number of the record of an earlier visit."""
    return "{{" + visit + "}}"


def numbered(sheet: str, numbers: Mapping[str, str]) -> str:
    """Return a sheet with the numbers of the records it names.

    >>> numbered('failed = "{{turbidity 12}}"', {"turbidity 12": "L1-2026-0009"})
    'failed = "L1-2026-0009"'
    """
    return re.sub(r"\{\{(.+?)\}\}", lambda found: numbers[found[1]], sheet)


def text(key: str, value: str) -> str:
    return f'{key} = "{value}"'


def part(table: str, **answers: str) -> list[str]:
    return ["", f"[{table}]", *(text(key, value) for key, value in answers.items())]


def not_done(table: str, because: str) -> list[str]:
    return part(table, not_done=because)


def listed(key: str, values: list[str]) -> str:
    quoted = ", ".join(f'"{value}"' for value in values)
    return f"{key} = [{quoted}]"


def later(at: str, minutes: int) -> str:
    whole = int(at[:2]) * 60 + int(at[3:]) + minutes
    return f"{whole // 60:02d}:{whole % 60:02d}"


def opening(
    procedure: str, tag: str, serial: str, day: date, started: str, by: str, **more: str
) -> list[str]:
    """Return the answers that stand before the first part: what, where, when, who."""
    rows = ["# Synthetic data of the demo plant.", text("procedure", procedure), text("tag", tag)]
    said = {"reason": "routine", "performed_by": by, "deviations": "none", **more}
    rows += [text("serial_on_plate", serial), *(text(key, value) for key, value in said.items())]
    return [*rows, text("date", day.isoformat()), text("started", started)]


def held(started: str, by: str, alarm: str = "") -> list[str]:
    """Return who was told and what was held before the analyzer is touched."""
    rows = part("clocks", laptop=later(started, 1), control_system=later(started, 2))
    rows += part("cautions", read="yes")
    rows += part("operations_told", who=OPERATOR, how="radio", at=later(started, 2))
    rows += part("output_held", at=later(started, 6), by=by)
    rows += not_done("loop_in_manual", "no dosing is controlled from this analyzer")
    return rows + (not_done("alarm_blocked", alarm) if alarm else [])


def signal(shown: str, there: str, ma: float, at: str) -> list[str]:
    return part(
        "signal",
        display=shown,
        ma=f"{ma:.2f}",
        control_system=there,
        read_by=OPERATOR,
        heard_how="radio",
        at=at,
    )


def written(rows: list[str]) -> str:
    return "\n".join(rows) + "\n"
