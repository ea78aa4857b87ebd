"""What stands beside the questions of a call-out: what to measure next, how, and what it says so far."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from wqverify.calculations import loop
from wqverify.procedures import beside as b
from wqverify.procedures.call_out_case import CHAIN, DISPLAY, IN, OUT, REFERENCE, SHOWN, VOLTS, Case
from wqverify.procedures.call_out_compare import allowed_there, ohm_of, percent
from wqverify.procedures.call_out_sheet import CallOutSheet
from wqverify.procedures.call_out_shown import unit_of
from wqverify.procedures.call_out_stages import AS_LEFT, as_found, as_left, fault
from wqverify.procedures.call_out_table import MEASURES, findings, next_ones
from wqverify.procedures.call_out_told import in_words, located, newest, states
from wqverify.terms import Beside, Given, Raw

AGAIN = "measured_again"


def _case(raw: Raw, given: Given, *, again: bool = False) -> Case:
    sheet = b.so_far(CallOutSheet, raw)
    return as_left(sheet, given) if again else as_found(sheet, given)


@b.quiet
def both_ends(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside the value in the control system: what it should be by the display."""
    case = _case({**raw, "at_first": {"display": b.at(raw, "at_first.display")}}, given)
    low, high = allowed_there(case)
    shown, unit = case.number(DISPLAY), given.analyzer.unit
    words = f"it agrees with the display from {b.plain(shown + low)} to {b.plain(shown + high)} {unit}"
    return Beside(b.told(words), shown)


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
    return Beside(b.told(f"{words}: {measure.how}" if measure.how else words, should, caution), unit=unit)


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
    offers = next_ones(case)
    following_ = f"next: {offers[0][0].what} ({offers[0][1]})" if offers else ""
    return Beside((*_said(case), *b.told(following_)), offers=("yes" if offers else "no",))


def _said(case: Case) -> Iterator[str]:
    """Give where the fault lies, then what the last measurement decided, in full."""
    yield from located(case)
    yield from states(case)
    last = newest(case)
    for row, finding in last:
        yield f"{row.name}: {in_words(finding)}" + (
            f" Confirm: {finding.confirm}." if finding.confirm else ""
        )
    others = len(findings(case)) - len(last)
    if others:
        yield f"{others} earlier {'opinion stands' if others == 1 else 'opinions stand'} on the page"


@b.quiet
def again(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside "another measurement after the repair?": whether what failed agrees now."""
    case = _case(raw, given, again=True)
    lines = tuple(located(case, AS_LEFT))
    left = _read_again(raw, given).offers
    return Beside(b.told(lines), offers=("yes" if left else "no",))


BESIDE = {
    "both_ends": both_ends,
    "next": following,
    "how": how,
    "so_far": so_far,
    "again": again,
}
