"""What stands beside the questions of a loop check: the next current, what each place should show with it."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from wqverify.calculations import loop
from wqverify.procedures import beside as b
from wqverify.procedures.loop_points import (
    IN_CONTROL_SYSTEM,
    hop_of,
    input_ohm,
    line_of,
    range_of,
)
from wqverify.procedures.loop_sheet import LoopSheet, Supply
from wqverify.procedures.loop_shown import supply_values
from wqverify.procedures.loop_stages import CHAIN, checks_of, stages_of
from wqverify.terms import Beside, Check, Given, Raw, Tolerance

USUAL = ("4.000", "8.000", "12.000", "16.000", "20.000")
_IN_CURRENT = ("measured_ma", "card")


@b.quiet
def reference(raw: Raw, path: str, given: Given) -> Beside:
    """Beside source and meter: which it is and when it is due."""
    instrument = given.standards.get(b.at(raw, path) or "")
    known = b.bottle(instrument, str(raw.get("date", ""))) if instrument else ""
    return Beside(b.told(known, "tolerances: " + "; ".join(_tolerances(given)) if _tolerances(given) else ""))


def _tolerances(given: Given) -> list[str]:
    held = given.analyzer.tolerances
    names = [name for name in held if name.startswith("loop_")]
    return [f"{name.removeprefix('loop_')} {_within(held[name])}" for name in names]


def _within(tolerance: Tolerance) -> str:
    low, high = tolerance.low, tolerance.high
    if low is not None and high is not None and low == -high:
        return f"±{high} {tolerance.unit}"
    return f"{low if low is not None else '...'} to {high if high is not None else '...'} {tolerance.unit}"


@b.quiet
def range_set(raw: Raw, path: str, given: Given) -> Beside:
    """Beside a range read at a hop: what the register has for it."""
    place = b.at(raw, f"{b.group(path)}.place")
    hop = hop_of(place, given.analyzer) if place else None
    if hop is None or hop.low is None or hop.high is None:
        return Beside()
    return Beside(
        (f"the register has {hop.low} to {hop.high} {hop.unit or given.analyzer.unit} for {hop.name}",)
    )


@b.quiet
def supply(raw: Raw, path: str, given: Given) -> Beside:
    """Beside supply and load: the largest load and where the loop sticks, as far as it is typed."""
    sheet = b.so_far(LoopSheet, raw)
    typed = sheet.supply if isinstance(sheet.supply, Supply) else Supply()
    ohm = input_ohm(sheet, given.analyzer)
    known = f"input resistor: {ohm} ohm" if ohm is not None and path.endswith("_ohm") else ""
    found = (f"{value.label}: {b.amount(value.quantity)}" for value in supply_values(typed))
    return Beside(b.told(known, found))


# ---------------------------------------------------------------- points


@b.quiet
def applied(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the currents: which one comes next, and what it stands for."""
    so_far = b.numbers(raw, path)
    usual = USUAL if ".rising." in path else USUAL[::-1]
    if len(so_far) >= len(usual):
        return Beside(("all five are applied",))
    current = Decimal(usual[len(so_far)])
    percent = b.plain(100 * loop.fraction(current))
    value = _value(current, raw, given)
    return Beside(b.told(f"next: {current} mA, {percent} %, {value}"), current)


def _value(current: Decimal, raw: Raw, given: Given) -> str:
    return f"{b.plain(_expected(current, raw, given))} {given.analyzer.unit}"


def _expected(current: Decimal, raw: Raw, given: Given) -> Decimal:
    low, high, _ = range_of(b.so_far(LoopSheet, raw), given.analyzer)
    root = b.at(raw, "root") == IN_CONTROL_SYSTEM
    return Decimal(loop.value(current, low, high, root))


@b.quiet
def point(raw: Raw, path: str, given: Given) -> Beside:
    """Beside what a place shows: which current is on now, what should be shown and what is allowed."""
    name, so_far = path.rpartition(".")[2], b.numbers(raw, path)
    currents = _currents(raw, path)
    last = _last_error(name, so_far[-1].value, currents[len(so_far) - 1], raw, given) if so_far else ""
    if len(so_far) >= len(currents):
        return Beside(b.told(last, f"read with all {len(currents)} currents applied so far"))
    current = currents[len(so_far)]
    of = f" of {len(currents)}" if ".falling." in path else ""  # on the way up more may follow
    on_now = f"with {current} mA, point {len(so_far) + 1}{of}"
    if name in _IN_CURRENT:
        should, unit = _should(name, current, raw, given), _unit(name, raw)
        return Beside(b.told(f"{on_now}: {b.plain(should)} {unit}", last), should)
    should = _expected(current, raw, given)
    held = given.analyzer.tolerances.get(f"loop_{CHAIN}")
    own = held if held is not None and held.unit == given.analyzer.unit else None
    words = f"{on_now}: {b.plain(should)} {given.analyzer.unit}"
    return b.around(should, own, words, b.allowed(should, own, given.analyzer.unit) if own else "", last)


def _currents(raw: Raw, path: str) -> tuple[Decimal, ...]:
    way = b.group(path)
    typed = b.numbers(raw, f"{way}.applied_ma")
    if not typed and way.endswith(".falling"):
        typed = b.numbers(raw, f"{way.removesuffix('.falling')}.rising.applied_ma")[::-1]
    return tuple(reading.value for reading in typed)


def _unit(name: str, raw: Raw) -> str:
    return "V" if name == "card" and b.at(raw, "reference.card_in") == "V" else "mA"


def _should(name: str, current: Decimal, raw: Raw, given: Given) -> Decimal:
    if _unit(name, raw) == "mA":
        return current
    ohm = input_ohm(b.so_far(LoopSheet, raw), given.analyzer)
    assert ohm is not None
    return current * ohm / 1000


def _last_error(name: str, shown: Decimal, current: Decimal, raw: Raw, given: Given) -> str:
    if name in _IN_CURRENT:
        unit = _unit(name, raw)
        return f"last point: {b.signed(shown - _should(name, current, raw, given))} {unit}"
    low, high, _ = range_of(b.so_far(LoopSheet, raw), given.analyzer)
    off = shown - _expected(current, raw, given)
    percent = 100 * off / (high - low)
    return f"last point: {b.plain(off)} {given.analyzer.unit}, {b.plain(round(percent, 3))} % of span"


# ---------------------------------------------------------------- states, decision


@b.quiet
def state(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - a current says it by itself
    """Beside a current beyond the range: what NAMUR NE 43 makes of it."""
    typed = b.number(raw, f"{b.group(path)}.applied_ma")
    if typed is None:
        return Beside(("NE 43: failure up to 3.6 and from 21 mA, measuring 3.8 to 20.5 mA",))
    wire = " (a broken wire)" if typed.value == 0 else ""
    return Beside((f"{typed.text} mA: {loop.state_of(typed.value)} by NE 43{wire}",))


@b.quiet
def decision(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one decision, one path
    """Beside the decision: leave it alone, or what is outside."""
    return Beside(b.told(b.verdict(_judged(raw, given))))


def _judged(raw: Raw, given: Given) -> Iterator[Check]:
    sheet: Any = b.so_far(LoopSheet, raw)
    stages = stages_of(sheet, line_of(sheet, given), given)
    checks = checks_of(sheet, stages, given)
    yield from (check for check in checks if check.stage == "as_found" and check.counts)


BESIDE = {
    "reference": reference,
    "range": range_set,
    "supply": supply,
    "applied": applied,
    "point": point,
    "state": state,
    "decision": decision,
}
