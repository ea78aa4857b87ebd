"""A doubt to try: an analyzer, a failed and a good check, a sheet, recorded values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from hashlib import sha256
from typing import Any
from zoneinfo import ZoneInfo

from wqverify.calculations.judgement import judge
from wqverify.plant.clock import resolve
from wqverify.procedures.parts import typed_times
from wqverify.procedures.sheets import parse
from wqverify.procedures.values_in_doubt import PROCEDURE
from wqverify.records.record import case_from
from wqverify.records.workbook import demo_case
from wqverify.terms import (
    Check,
    Cited,
    Given,
    Place,
    Quantity,
    Result,
    Tolerance,
    TrendUse,
    Window,
)

ZONE = ZoneInfo("America/Chicago")
DEMO = case_from(demo_case("values_in_doubt")).given
ANALYZER = replace(DEMO.analyzer, tolerances={}, settings={})
TAG, SERIAL = ANALYZER.tag, ANALYZER.serial
CHLORINE = replace(ANALYZER, measures="chlorine", unit="mg/L", high=Decimal(5), digit=Decimal("0.01"))
FACTS = {"location": "panel", "sample_point": "tap F-2", "unit": "NTU", "species": "", "adjusted": "no"}
GOOD, FAILED = "L1-2026-0101", "L1-2026-0130"


def local(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


def iso(text: str) -> str:
    return local(text).isoformat(timespec="minutes")


def check(
    name: str,
    level: str,
    error: str,
    stage: str = "as_found",
    *,
    allowed: str = "0.02",
    place: Place = "analyzer",
    expanded: str = "",
    unit: str = "NTU",
) -> Check:
    """An error at a displayed level; the reference is what is left."""
    tolerance = Tolerance(unit, "simple", "local", "invented", Decimal(f"-{allowed}"), Decimal(allowed))
    end = "error" if place == "analyzer" else "control_system"
    quantity = Quantity(error, unit, float(error), expanded=expanded, k=2.0 if expanded else None)
    reference = f"{Decimal(level) - Decimal(error)}"
    return judge(
        f"{stage}.{name}.{end}",
        stage,
        f"Error in {name}",
        quantity,
        tolerance,
        place=place,
        observed=level,
        reference=reference,
    )


def cited(number: str, day: str, *checks: Check, ended_at: str = "", **more: Any) -> Cited:
    stages = dict.fromkeys((one.stage, one.place) for one in checks)
    found = Result(tuple(checks))
    outcomes = {f"{stage} at the {place}": str(found.outcome(stage, place)) for stage, place in stages}
    visit = Window("visit", iso(day), iso(ended_at or day))
    plain: dict[str, Any] = {
        "tag": TAG,
        "serial": SERIAL,
        "procedure": "turbidity_standard_check",
        "outcomes": outcomes,
        "facts": FACTS,
        "standards": ("S-05",),
        "windows": (visit,),
        "checks": tuple(checks),
        "status": "in service",
    }
    return Cited(number=number, performed=iso(day), digest="0" * 64, **{**plain, **more})


def failed(*checks: Check, **more: Any) -> Cited:
    found = checks or (check("S-05", "0.300", "-0.030"),)
    return cited(FAILED, "2026-03-31 08:00", *found, ended_at="2026-03-31 08:40", **more)


def good(*checks: Check, **more: Any) -> Cited:
    found = checks or (check("S-05", "0.330", "0.000"),)
    return cited(GOOD, "2026-03-01 07:30", *found, ended_at="2026-03-01 08:00", **more)


def sheet(**more: Any) -> dict[str, Any]:
    """A sheet of a month in doubt; parts are replaced, None leaves one out."""
    plain: dict[str, Any] = {
        "procedure": "values_in_doubt",
        "tag": TAG,
        "serial_on_plate": SERIAL,
        "reason": "routine",
        "performed_by": "T-07",
        "date": "2026-03-31",
        "started": "10:00",
        "cautions": {"read": "yes"},
        "operations_told": {"who": "W. Abernathy", "at": "10:01"},
        "failed": {"record": FAILED},
        "last_good": {"record": GOOD},
        "period": {"basis": "last good check", "since": "2026-03-01 08:00", "until": "2026-03-31 08:30"},
        "model": {"time": "linear", "level": "offset", "why": "a film grows"},
        "status": {"state": "in service"},
    }
    return {key: value for key, value in {**plain, **more}.items() if value is not None}


def month(values: Mapping[str, str], every: int = 240, usual: str = "0.100") -> bytes:
    """A slice of March 2026 with one value every so many minutes, except as given; "" is a missing one."""
    found = []
    wall, end = datetime(2026, 3, 1), datetime(2026, 3, 31, 12)  # by the plant's clock
    while wall <= end:
        at = f"{wall:%Y-%m-%d %H:%M}"
        exists = local(at).astimezone(UTC).astimezone(ZONE).replace(tzinfo=None) == wall  # spring gap
        value = values.get(at, usual)
        found += [(at, value)] if exists and value != "left out" else []
        wall += timedelta(minutes=every)
    return rows(found)


def rows(values: Iterable[tuple[str, str]]) -> bytes:
    """A slice of these rows, by the plant's clock."""
    text = [f"{local(at).astimezone(UTC):%Y-%m-%dT%H:%M:%SZ},{value}," for at, value in values]
    return ("\n".join(["time,value,flag", *text]) + "\n").encode()


def given(raw: dict[str, Any], *records: Cited, slice_: bytes | None = None, **more: Any) -> Given:
    times = {
        path: resolve(raw["date"], typed, ZONE).isoformat(timespec="minutes")
        for path, typed in typed_times(PROCEDURE.Sheet, raw).items()
    }
    at_hand = records or (failed(), good())
    use = TrendUse("trend", "march.csv", "0" * 64, "AIT2202.PV", "NTU", "trend-1.csv")
    plain: dict[str, Any] = {
        "analyzer": ANALYZER,
        "standards": {},
        "times": times,
        "earlier": (),
        "records": {one.number: one for one in at_hand},
        "trends": (use,) if slice_ is not None else (),
        "attached": {"trend-1.csv": sha256(slice_).hexdigest()} if slice_ is not None else {},
    }
    return replace(DEMO, **{**plain, **more})


def run(raw: dict[str, Any], *records: Cited, slice_: bytes | None = None, **more: Any) -> Result:
    """Compute a sheet; what is expected must be what comes out."""
    if slice_ is not None:
        raw = {**raw, "trend": "march.csv"}
    known = given(raw, *records, slice_=slice_, **more)
    slices = {"trend-1.csv": slice_} if slice_ is not None else {}
    parsed = parse(PROCEDURE, raw)
    result = PROCEDURE.compute(parsed, known, slices)
    keys = [one.key for one in result.checks]
    assert sorted(PROCEDURE.expects(parsed, known)) == sorted(keys)
    every = [*keys, *(value.key for value in result.values)]
    assert len(every) == len(set(every))
    return result


def found(result: Result, key: str) -> Check:
    return next(one for one in result.checks if one.key == key)


def judged(result: Result, key: str) -> tuple[str, str]:
    """What a check shows, and its outcome."""
    one = found(result, key)
    return (one.quantity.text if one.quantity else one.reason), str(one.outcome)


def listed(result: Result) -> list[str]:
    """The values that decide otherwise: when, recorded, corrected, what."""
    return [
        f"{value.label} -> {value.quantity.text}; {value.source}"
        for value in result.values
        if value.stage == "decides_otherwise"
    ]


def notes(result: Result, kind: str = "") -> str:
    return "\n".join(note.text for note in result.notes if kind in ("", note.kind))
