"""What stands beside the questions of a call-out: what to measure next, how, and what it says so far."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from wqverify.calculations import loop
from wqverify.procedures import beside as b
from wqverify.procedures.call_out_case import CHAIN, DISPLAY, IN, OUT, REFERENCE, SHOWN, VOLTS, Case
from wqverify.procedures.call_out_chain import SHIPPED, hops, ohm_of, percent
from wqverify.procedures.call_out_sheet import CallOutSheet
from wqverify.procedures.call_out_shown import unit_of
from wqverify.procedures.call_out_stages import AS_FOUND, as_found, as_left, fault
from wqverify.procedures.call_out_table import MEASURES, next_ones
from wqverify.procedures.call_out_told import located, opinions, states
from wqverify.procedures.rules import tolerance
from wqverify.terms import Beside, Given, Raw

AGAIN = "measured_again"


def _case(raw: Raw, given: Given, *, again: bool = False) -> Case:
    sheet = b.so_far(CallOutSheet, raw)
    return as_left(sheet, given) if again else as_found(sheet, given)


@b.quiet
def both_ends(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside the value in the control system: what it should be by the display."""
    shown = b.number(raw, "at_first.display")
    held = tolerance("call_out_signal", given, SHIPPED)
    if shown is None or held is None:
        return Beside()
    low, high = Case(given, "").range_at("display")
    off = abs(high - low) * (held.half_width(Decimal(0)) or Decimal(0)) / 100
    unit = given.analyzer.unit
    words = f"the same as the display within {b.plain(off)} {unit}: {b.plain(shown.value - off)} to "
    return Beside(b.told(f"{words}{b.plain(shown.value + off)} {unit}"), shown.value)


@b.quiet
def following(raw: Raw, path: str, given: Given) -> Beside:
    """Beside what is measured: the most telling measurements to pick from, and why the first comes first."""
    if path.startswith(AGAIN):
        return _read_again(raw, given)
    offers = next_ones(_case(raw, given))
    if not offers:
        return Beside(("no row of the fault table asks for more; more can be entered",))
    measure, why = offers[0]
    return Beside(b.told(f"{measure.what}: {why}"), offers=tuple(one.what for one, _why in offers))


def _read_again(raw: Raw, given: Given) -> Beside:
    wrong = fault(_case(raw, given))
    done = _case(raw, given, again=True)
    places = (wrong.before, wrong.after) if wrong is not None else (REFERENCE, DISPLAY, SHOWN)
    offers = tuple(place.what for place in places if not done.knows(place))
    return Beside(b.told("the two places that did not agree, read again") if wrong else (), offers=offers)


@b.quiet
def how(raw: Raw, path: str, given: Given) -> Beside:
    """Beside a reading: how it is made, in which unit, and what it should be by what is known."""
    what = str(b.at(raw, f"{b.group(path)}.what") or "")
    measure = MEASURES[what]
    unit = unit_of(what, given)
    expected = _expected(what, _case(raw, given))
    words = f"{what}, in {unit}" if unit else what
    should = f"it should be {b.plain(expected)} {unit} by the place before" if expected is not None else ""
    caution = f"caution: {measure.caution}" if measure.caution else ""
    return Beside(b.told(f"{words}: {measure.how}" if measure.how else words, should, caution))


def _expected(what: str, case: Case) -> Decimal | None:
    """What a place of the signal should show by the last place before it that was read."""
    here = next((place for place in CHAIN if place.what == what), None)
    before = [place for place in CHAIN if place.what in case.read and here and _comes_before(place, here)]
    if here is None or not before or before[-1] is REFERENCE or here is REFERENCE:
        return None
    part = Decimal(percent(case, before[-1])) / 100
    if here in (OUT, IN):
        return Decimal(loop.current(part)).quantize(Decimal("0.001"))
    ohm = ohm_of(case)
    if here is VOLTS:
        return Decimal(loop.current(part) * ohm / 1000).quantize(Decimal("0.001")) if ohm else None
    low, high = case.range_at("display")
    return (low + (high - low) * part).quantize(Decimal("0.0001"))


def _comes_before(place: object, here: object) -> bool:
    every = list(CHAIN)
    return every.index(place) < every.index(here)  # type: ignore[arg-type]


@b.quiet
def so_far(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside "another measurement?": where the fault lies so far, and whether something telling is left."""
    case = _case(raw, given)
    lines = tuple(_said(case))
    offers = next_ones(case)
    following_ = f"next: {offers[0][0].what} ({offers[0][1]})" if offers else ""
    return Beside(b.told(lines, following_), offers=("yes" if offers else "no",))


def _said(case: Case) -> Iterator[str]:
    judged = hops(case, AS_FOUND)
    yield from located(case, judged)
    yield from states(case)
    last = list(case.read) + list(case.seen)
    for name, says, confirm, _source in opinions(case):
        if last:
            yield f"{name}: {says}" + (f" Confirm: {confirm}." if confirm else "")


@b.quiet
def again(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside "another measurement after the repair?": whether what failed agrees now."""
    case = _case(raw, given, again=True)
    lines = tuple(located(case, hops(case, "as_left")))
    left = _read_again(raw, given).offers
    return Beside(b.told(lines), offers=("yes" if left else "no",))


BESIDE = {
    "both_ends": both_ends,
    "next": following,
    "how": how,
    "so_far": so_far,
    "again": again,
}
