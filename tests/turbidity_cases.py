"""The demo visits of the turbidity procedures, and how a test changes and computes them."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from wqverify import tables
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.clock import resolve
from wqverify.procedures import PROCEDURES
from wqverify.procedures.parts import typed_times
from wqverify.procedures.sheets import parse
from wqverify.records.canonical import given_from
from wqverify.shipped import shipped_folder
from wqverify.terms import (
    Assigned,
    Check,
    Earlier,
    Given,
    Procedure,
    Quantity,
    Result,
    Standard,
    StandardCause,
    Tolerance,
)

ZONE = ZoneInfo("America/New_York")
NAMES = ("turbidity_standard_check", "turbidity_calibration", "standard_preparation")


def demo(name: str) -> dict[str, Any]:
    text = (shipped_folder("demo_runs") / name / "visit.toml").read_text("utf-8")
    found: dict[str, Any] = tomllib.loads(text)
    return found


def known(name: str) -> Given:
    return given_from(json.loads((shipped_folder("demo_runs") / name / "given.json").read_text("utf-8")))


GIVEN = known("turbidity_standard_check")


def bottle(name: str, value: str, **more: Any) -> Standard:
    return Standard(
        name, "formazin", f"formazin {value} NTU", f"lot {name}", "NTU", value=Decimal(value), **more
    )


def water(name: str = "W1", value: str = "0.02", **more: Any) -> Standard:
    return Standard(name, "dilution water", "filtered water", name, "NTU", value=Decimal(value), **more)


def secondary(name: str, *rows: Assigned, **more: Any) -> Standard:
    return Standard(name, "secondary", "sealed secondary", f"lot {name}", "NTU", assigned=rows, **more)


def assigned(value: str, on: str = "2026-01-14", after: str = "L1-2026-0004", **more: Any) -> Assigned:
    return Assigned(more.pop("tag", "AIT-2201"), Decimal(value), on, after, **more)


def calibration(number: str, day: str, serial: str = "TU-55208") -> Earlier:
    return Earlier(number, f"{day}T09:00-05:00", serial, procedure="turbidity_calibration")


U1 = {"expanded": Decimal(40), "k": Decimal(2)}
STANDARDS = {
    one.id: one
    for one in (
        bottle("FZ", "4000", **U1),
        bottle("FZ2", "4000", **U1),
        bottle("HOME", "400"),
        bottle("P20", "20.0", expanded=Decimal("0.2"), k=Decimal(2)),
        bottle("P10", "10.0", expanded=Decimal("0.1"), k=Decimal(2)),
        bottle("P5", "5.0", expanded=Decimal("0.05"), k=Decimal(2)),
        bottle("P1", "1.0", expanded=Decimal("0.01"), k=Decimal(2)),
        bottle("P09", "0.999", expanded=Decimal("0.01"), k=Decimal(2)),
        bottle("AT40", "40.0"),
        bottle("NIL", "0"),
        bottle("LEAST", "0.001"),
        bottle("MINUS", "-0.001"),
        water("W0", "0"),
        water("WMINUS", "-0.001"),
        bottle("P41", "40.1"),
        bottle("OLD", "20.0", usable_until="2026-03-04"),
        bottle("LASTDAY", "20.0", usable_until="2026-03-05"),
        Standard("PH7", "buffer", "buffer 7.00", "B7", "pH", value=Decimal("7.00")),
        water(),
        water("OLDW", usable_until="2026-03-04"),
        secondary("S", assigned("0.520")),
        secondary("SU", assigned("0.520", expanded=Decimal("0.016"), k=Decimal("2.00"))),
        secondary("OTHER", assigned("0.520", tag="AIT-2202")),
        secondary("LATER", assigned("0.520", on="2026-03-06")),
        secondary("TODAY", assigned("0.520", on="2026-03-05", after="L1-2026-0020")),
        secondary("NEVER", calibration_due="2027-01-01"),
        Standard(
            "F20",
            "prepared standard",
            "formazin 20 NTU",
            "F20",
            "NTU",
            value=Decimal("20.020"),
            expanded=Decimal("0.32"),
            k=Decimal("2.00"),
            causes=(
                StandardCause("bottle:FZ lot lot FZ", Decimal("0.100")),
                StandardCause("bottle:W1 lot W1", Decimal("0.00574")),
                StandardCause("preparation:F20", Decimal("0.124"), Decimal(821)),
            ),
        ),
    )
}


def limit(half: str = "", percent: str = "", rule: Any = "simple", larger_of: bool = False) -> Tolerance:
    return Tolerance(
        unit="NTU",
        rule=rule,
        basis="local",
        source="SOP 14",
        low=-Decimal(half) if half else None,
        high=Decimal(half) if half else None,
        percent=Decimal(percent) if percent else None,
        larger_of=larger_of,
    )


def point(standard: str, *readings: str, **more: Any) -> dict[str, Any]:
    """A standard read three times alike, half a minute apart, unless readings are given."""
    several = list(readings) if len(readings) > 1 else [readings[0]] * 3
    return {"standard": standard, "readings": several, "interval_s": "30", **more}


def diluted(water: str = "W1", *steps: tuple[str, str], **more: str) -> dict[str, Any]:
    return {"water": water, "steps": [{"pipetted_ml": a, "to_ml": b, **more} for a, b in steps]}


def visit(
    *points: dict[str, Any], procedure: str = "turbidity_standard_check", **more: Any
) -> dict[str, Any]:
    """The shortest sheet: as found on some standards, nothing changed."""
    return {
        "procedure": procedure,
        "tag": "AIT-2201",
        "serial_on_plate": "TU-55208",
        "reason": "routine",
        "performed_by": "IQU",
        "date": "2026-03-05",
        "started": "09:05",
        "cautions": {"read": "yes"},
        "operations_told": {"who": "W. Abernathy"},
        "as_found": {"points": list(points)},
        "as_left": {"same_as": "as_found"},
        "status": {"state": "in service"},
        **more,
    }


def given_for(
    raw: dict[str, Any], settings: dict[str, str] | None = None, earlier: Any = None, **tolerances: Any
) -> Given:
    """The demo plant with these tolerances beside its own; None takes one away."""
    procedure = PROCEDURES[raw["procedure"]]
    kept = {**GIVEN.analyzer.tolerances, **tolerances}
    analyzer = replace(
        GIVEN.analyzer,
        tolerances={name: kind for name, kind in kept.items() if kind is not None},
        settings=settings or {},
        control_system_tag="",
        hops=(),
    )
    times = {
        path: resolve(raw["date"], typed, ZONE).isoformat(timespec="minutes")
        for path, typed in typed_times(procedure.Sheet, raw).items()
    }
    uses = [tables.load(*name).use() for name in procedure.tables]
    return replace(
        GIVEN,
        analyzer=analyzer,
        standards=STANDARDS,
        times=times,
        tables={f"{use.name} {use.edition}": use for use in uses},
        earlier=(calibration("L1-2026-0004", "2026-01-14"),) if earlier is None else earlier,
    )


def procedure_of(raw: dict[str, Any]) -> Procedure:
    return PROCEDURES[raw["procedure"]]


def run(raw: dict[str, Any], given: Given | None = None, **more: Any) -> Result:
    procedure = procedure_of(raw)
    sheet = parse(procedure, raw)
    case = given or given_for(raw, **more)
    result = procedure.compute(sheet, case, {})
    assert sorted(procedure.expects(sheet, case)) == sorted(check.key for check in result.checks)
    return result


def refused(raw: dict[str, Any], given: Given | None = None, **more: Any) -> CorrectTheEntry | ChooseAnother:
    procedure = procedure_of(raw)
    with pytest.raises((CorrectTheEntry, ChooseAnother)) as caught:
        procedure.compute(parse(procedure, raw), given or given_for(raw, **more), {})
    return caught.value


def check(result: Result, key: str) -> Check:
    return next(c for c in result.checks if c.key == key)


def quantity(result: Result, key: str) -> Quantity:
    found = next(item.quantity for item in (*result.checks, *result.values) if item.key == key)
    assert found is not None
    return found


def told(result: Result, kind: str) -> str:
    return "\n".join(note.text for note in result.notes if note.kind == kind)
