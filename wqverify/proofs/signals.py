"""Published values of signals, levels, sample lines and judging: how each is computed here."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from wqverify.calculations import flow, level, loop, pairing, sample_line
from wqverify.calculations.judgement import judge
from wqverify.calculations.stability import is_stable
from wqverify.calculations.water_density import water_density
from wqverify.proofs.water import Computed
from wqverify.terms import Quantity, Tolerance

# 0.1 mg/L or 15 %, whichever is larger
_METHOD_334 = Tolerance(
    unit="mg/L",
    rule="as the method states",
    basis="rule",
    source="EPA Method 334.0",
    low=Decimal("-0.1"),
    high=Decimal("0.1"),
    percent=Decimal(15),
    larger_of=True,
)


def _against_grab(grab: str, online: str) -> str:
    off = Decimal(online) - Decimal(grab)
    error = Quantity(str(off), "mg/L", float(off))
    return str(judge("error", "as_found", "Error", error, _METHOD_334, reference=grab).outcome)


def chlorine_pairs() -> dict[str, Any]:
    pairs = (("1.00", "1.14"), ("1.00", "1.16"), ("0.40", "0.49"))
    return {f"grab {grab} online {online}": _against_grab(grab, online) for grab, online in pairs}


def chlorine_edges() -> dict[str, Any]:
    edges = {f"grab {g} online {o}": _against_grab(g, o) for g, o in (("1.80", "2.07"), ("0.60", "0.71"))}
    return {"edge": _METHOD_334.at(Decimal("1.80"))[1], **edges}


def value_of_current() -> dict[str, Any]:
    return {"value": loop.value(Decimal("7.2"), Decimal(0), Decimal(5))}


def square_root() -> dict[str, Any]:
    return {"flow": flow.flow_of_current(12.0)}


def states() -> dict[str, Any]:
    words = {"failure low": "failure", "failure high": "failure", "measuring": "valid"}
    return {f"{ma} mA": words.get(loop.state_of(float(ma))) for ma in ("3.5", "3.9", "12", "20.4", "21.5")}


def pressure() -> dict[str, Any]:
    return {"5 m at 20 C": level.pressure_of_level(5.0, water_density(20.0))}


def load() -> dict[str, Any]:
    return {f"least {v} V": loop.largest_load(24.0, float(v), 20.0) for v in (8, 11)}


def droop() -> dict[str, Any]:
    ma = loop.largest_current(21.6, 12.0, 600.0)
    return {"current": ma, "part": 100 * loop.fraction(ma)}


def leak() -> dict[str, Any]:
    left = {ma: loop.leaked(float(ma), 250.0, 10_000.0) for ma in (4, 12, 20)}
    shown = {f"part at {ma} mA": 100 * loop.fraction(now) for ma, now in left.items()}
    return {f"current at {ma} mA": now for ma, now in left.items()} | shown


def wrong_range() -> dict[str, Any]:
    return {
        f"shown for {true}": loop.value(loop.current_of(true, 0.0, 14.0), 2.0, 12.0) for true in (7.0, 9.0)
    }


def vent() -> dict[str, Any]:
    return {"level": level.level_of_pressure(1.0, water_density(20.0))}


def tube() -> dict[str, Any]:
    volume = sample_line.line_volume_ml(6.35, 10.0)
    return {"volume": volume, "passage": sample_line.passage_s(volume, 500.0)}


def tube_and_cell() -> dict[str, Any]:
    volume = sample_line.line_volume_ml(4.57, 30.0)
    seconds = {
        "line": sample_line.passage_s(volume, 250.0),
        "cell": sample_line.passage_s(450.0, 250.0),
        "mean": sample_line.mean_age_s(volume, 450.0, 250.0),
        "response 95": sample_line.response_95_s(volume, 450.0, 250.0),
    }
    return {name: found / 60 for name, found in seconds.items()}


def paired() -> dict[str, Any]:
    rows = [(Decimal(0), Decimal("1.10")), (Decimal(900), Decimal("1.22"))]
    at = Decimal(11 * 60)
    return {"paired": pairing.interpolated(*pairing.bracketing(rows, at), at)}


def stable() -> dict[str, Any]:
    series = {"7.20 7.23 7.24": "stable", "7.10 7.18 7.24": "not stable"}
    words = {True: "stable", False: "not stable"}
    return {
        readings: words[is_stable([Decimal(one) for one in readings.split()], Decimal("0.05"))]
        for readings in series
    }


SIGNALS: Final[Mapping[str, Computed]] = {
    "A13": chlorine_pairs,
    "A21": value_of_current,
    "A22": square_root,
    "A23": states,
    "A24": pressure,
    "W13": chlorine_edges,
    "W19": load,
    "W20": droop,
    "W22": leak,
    "W24": wrong_range,
    "W31": vent,
    "W32": tube,
    "W33": tube_and_cell,
    "W35": paired,
    "W51": stable,
}
