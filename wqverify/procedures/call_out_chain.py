"""The signal from the water to the archive, split in halves: which two points agree, which do not.

Each place of the signal stands for a part of the span. Two places that follow each other agree within a share
of the span that only decides where to look next; the water and the display agree within the tolerance of the
analyzer. What lies between the last point that agrees and the first that does not holds the fault.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise
from typing import Any

from wqverify.calculations import loop
from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.call_out_case import (
    ARCHIVE,
    CHAIN,
    DISPLAY,
    IN,
    OHM,
    OUT,
    REFERENCE,
    ROOT_HERE,
    ROOT_THERE,
    SHOWN,
    VOLTS,
    WORDS,
    Case,
    Measure,
)
from wqverify.procedures.inputs import Inputs, Sizes
from wqverify.procedures.loop_budget import fixed
from wqverify.procedures.rules import tolerance
from wqverify.terms import Check, Outcome, Place, Quantity, Tolerance

KEYS = {
    REFERENCE.what: "reference",
    DISPLAY.what: "display",
    OUT.what: "transmitter",
    IN.what: "far_end",
    VOLTS.what: "input",
    SHOWN.what: "control_system",
    ARCHIVE.what: "archive",
}
SHORT = {  # as a column has room for
    REFERENCE.what: "water",
    DISPLAY.what: "display",
    OUT.what: "transmitter mA",
    IN.what: "far-end mA",
    VOLTS.what: "input V",
    SHOWN.what: "control system",
    ARCHIVE.what: "archive",
}
_PLACES = {SHOWN.what: "display", ARCHIVE.what: "archive"}  # whose range counts; else the transmitter's

AGREE = "call_out_signal"
AT_ANALYZER = ("error", "grab")  # the first of them that the register holds
TOLERANCES = (AGREE, *AT_ANALYZER, "control_system")
SHIPPED = {
    AGREE: Tolerance(
        unit="%",
        rule="simple",
        basis="common practice",
        source="two places of one signal agree within 1 % of span, common practice, no source",
        low=Decimal(-1),
        high=Decimal(1),
    )
}
SIZES: Sizes = {
    "multimeter_percent": ("0.5", "common practice", "multimeter, within ±{size} % of reading"),
    "loop_resistor_percent": ("0.1", "memory", "input resistor, within ±{size} %"),
}


@dataclass(frozen=True)
class Hop:
    """Two places of the signal that were read, one after the other, and whether they agree."""

    before: Measure
    after: Measure
    check: Check
    formula: str
    put_in: str

    @property
    def agrees(self) -> bool:
        return self.check.outcome is Outcome.PASS

    @property
    def fails(self) -> bool:
        return self.check.outcome is Outcome.FAIL

    @property
    def between(self) -> tuple[str, str]:
        return WORDS[self.before.what], WORDS[self.after.what]


def known(case: Case) -> list[Measure]:
    """Return the places that were read, in the order of the signal."""
    return [one for one in CHAIN if one.what in case.read and (one is not VOLTS or ohm_of(case) is not None)]


def keys_of(case: Case, stage: str) -> list[str]:
    """Return the keys of the checks of a stage."""
    return [_key(stage, before, after) for before, after in pairwise(known(case))]


def hops(case: Case, stage: str) -> list[Hop]:
    """Return every pair of places that follow each other among those that were read, judged."""
    return [_hop(case, stage, before, after) for before, after in pairwise(known(case))]


def ohm_of(case: Case) -> Decimal | None:
    """Return the input resistor: as measured, else that of the register."""
    if OHM.what in case.read:
        return case.number(OHM)
    return next((hop.input_ohm for hop in case.analyzer.hops if hop.input_ohm is not None), None)


def percent(case: Case, place: Measure, value: Any = None, ohm: Any = None) -> Any:
    """Return the part of the signal, in % of its span, that a reading at a place stands for.

    Equation: 100 (I - 4)/16 of a current, or of V/R; 100 y of a value, y its part of the range at that
    place; 100 y |y| where the square root lies between the value and the signal. Raises CorrectTheEntry for
    a range of zero width. Source: IEC 60381-1 (from memory).
    """
    size = case.number(place) if value is None else value
    exact = isinstance(size, Decimal)
    if place in (OUT, IN):
        return 100 * loop.fraction(size)
    if place is VOLTS:
        resistor = ohm_of(case) if ohm is None else ohm
        return 100 * loop.fraction(loop.shunt_current(size, resistor))
    low, high = case.range_at(_PLACES.get(place.what, "transmitter"))
    part = loop.part_of(size, *((low, high) if exact else (float(low), float(high))))
    rooted = case.says(ROOT_THERE) if place in (SHOWN, ARCHIVE) else case.says(ROOT_HERE) is False
    if not rooted:
        return 100 * part
    return 100 * part * part if part >= 0 else -100 * part * part


# ---------------------------------------------------------------- one hop


def _key(stage: str, before: Measure, after: Measure) -> str:
    return f"{stage}.{KEYS[before.what]}_to_{KEYS[after.what]}"


def _hop(case: Case, stage: str, before: Measure, after: Measure) -> Hop:
    if before.what in case.held and before in (REFERENCE, DISPLAY) and after is not DISPLAY:
        reason = "the place before was read while the output was held, so the signal may have stood still"
        key, label = _key(stage, before, after), _label(before, after)
        return Hop(before, after, not_evaluated(key, stage, label, reason, place="control system"), "", "")
    if before is REFERENCE:
        return _against_reference(case, stage, after)
    exact = percent(case, after) - percent(case, before)
    step = _step(case, after)
    x, model = _model(case, stage, before, after)
    text = fixed(exact, step)
    quantity = propagate(lambda v: {"e": model(v)}, x, {"e": "%"}, {"e": text})["e"]
    observed, reference = (fixed(percent(case, one), step) for one in (after, before))
    check = judge(
        _key(stage, before, after),
        stage,
        _label(before, after),
        quantity,
        tolerance(AGREE, case.given, SHIPPED),
        place="control system",
        observed=observed,
        reference=reference,
        exact=exact,
    )
    put_in = f"{_put_in(case, after)} − {_put_in(case, before)}"
    return Hop(before, after, check, "difference in % of span", put_in)


def _label(before: Measure, after: Measure) -> str:
    words = f"{SHORT[after.what]} against {SHORT[before.what]}"
    return words[0].upper() + words[1:]


def _put_in(case: Case, place: Measure) -> str:
    """Write out what a place stands for, as a hand calculates it."""
    if place in (OUT, IN):
        return f"100 ({case.number(place):f} − 4)/16"
    if place is VOLTS:
        return f"100 (1000 × {case.number(place):f}/{ohm_of(case):f} − 4)/16"
    low, high = case.range_at(_PLACES.get(place.what, "transmitter"))
    rooted = case.says(ROOT_THERE) if place in (SHOWN, ARCHIVE) else case.says(ROOT_HERE) is False
    square = "²" if rooted else ""
    return f"100 (({case.number(place):f} − {_in_brackets(low)})/({high:f} − {_in_brackets(low)})){square}"


def _in_brackets(value: Decimal) -> str:
    return f"{value:f}" if value >= 0 else f"(−{-value:f})"


def _step(case: Case, place: Measure) -> Decimal:
    """One digit of a place in % of span."""
    digit = case.read[place.what].digit
    if place in (OUT, IN):
        return 100 * digit / 16
    if place is VOLTS:
        ohm = ohm_of(case)
        assert ohm is not None
        return 100 * 1000 * digit / ohm / 16
    return abs(100 * digit / case.width_at(_PLACES.get(place.what, "transmitter")))


def _model(case: Case, stage: str, before: Measure, after: Measure) -> tuple[Inputs, Any]:
    """Return what makes a hop uncertain: the digits of both places, the multimeter, the resistor."""
    x = Inputs(case.analyzer.settings, SIZES)
    values = {one: _enter(x, case, stage, one) for one in (before, after)}

    def model(v: Mapping[str, Any]) -> Any:
        parts = []
        for one in (after, before):
            ohm = None
            if one is VOLTS:
                resistor = ohm_of(case)
                assert resistor is not None
                ohm = float(resistor) * (1 + v["input resistor"] / 100)
            parts.append(percent(case, one, values[one](v), ohm))
        return parts[0] - parts[1]

    return x, model


def _enter(x: Inputs, case: Case, stage: str, place: Measure) -> Any:
    reading = case.read[place.what]
    cause = f"reading:{stage} {place.what}"
    x.digit(cause, reading.typed, place.what)
    if reading.typed.unit:  # in the unit that counts
        x[cause] = _converted(x[cause], reading.value, reading.digit)
    if place not in (OUT, IN, VOLTS):
        return lambda v: v[cause]
    if place is VOLTS:
        x.half_width("input resistor", "loop_resistor_percent")
    name = case.meter.id if case.meter else "not named"
    gain = x.half_width(f"multimeter:{name}", "multimeter_percent")
    return lambda v: v[cause] * (1 + v[gain] / 100)


def _converted(entered: Any, value: Decimal, digit: Decimal) -> Any:

    return replace(entered, value=float(value), u=float(digit) / 12**0.5)


def _against_reference(case: Case, stage: str, after: Measure) -> Hop:
    """The water against what is shown of it, within the tolerance of the register."""
    shown, reference = case.read[after.what], case.read[REFERENCE.what]
    own = next((case.analyzer.tolerances[n] for n in AT_ANALYZER if n in case.analyzer.tolerances), None)
    held = own if after is DISPLAY else tolerance("control_system", case.given, {}) or own
    key, label = _key(stage, REFERENCE, after), _label(REFERENCE, after)
    place: Place = "analyzer" if after is DISPLAY else "control system"
    if after not in (DISPLAY, SHOWN, ARCHIVE):  # a current is no value: it is compared as one
        low, high = case.range_at("transmitter")
        value = low + (high - low) * percent(case, after) / 100
        step = _step(case, after) * abs(high - low) / 100
    else:
        value, step = shown.value, shown.digit
    exact = value - reference.value
    unit = case.analyzer.unit
    x = Inputs(case.analyzer.settings, SIZES)
    of_shown, of_reference = _enter(x, case, stage, after), _enter(x, case, stage, REFERENCE)
    in_percent = held is not None and held.unit == "%" and unit != "%"
    if in_percent and reference.value <= 0:
        reason = "the tolerance is in % and the reference is not above 0"
        return Hop(
            REFERENCE, after, not_evaluated(key, stage, label, reason, place=place, tolerance=held), "", ""
        )
    if in_percent:
        exact, step, unit = 100 * exact / reference.value, 100 * step / reference.value, "%"

    def model(v: Mapping[str, Any]) -> Any:
        there: Any = of_shown(v)
        if after in (OUT, IN, VOLTS):
            low, high = (float(end) for end in case.range_at("transmitter"))
            there = low + (high - low) * percent(case, after, there, _plain_ohm(case, after)) / 100
        off = there - of_reference(v)
        return 100 * off / of_reference(v) if in_percent else off

    text = fixed(exact, step)
    quantity: Quantity = propagate(lambda v: {"e": model(v)}, x, {"e": unit}, {"e": text})["e"]
    check = judge(
        key,
        stage,
        label,
        quantity,
        held,
        place=place,
        observed=fixed(value, shown.digit),
        reference=reference.text,
        exact=exact,
    )
    if check.outcome is not Outcome.FAIL:  # how sure the reference is, is not known: it clears nothing
        check = replace(check, counts=False)
    put_in = f"{fixed(value, shown.digit)} − {reference.text}"
    return Hop(
        REFERENCE,
        after,
        check,
        "shown − reference",
        put_in if not in_percent else f"100 ({put_in})/{reference.text}",
    )


def _plain_ohm(case: Case, place: Measure) -> Any:
    ohm = ohm_of(case) if place is VOLTS else None
    return float(ohm) if ohm is not None else None


# ---------------------------------------------------------------- where to look next


def region(case: Case, judged: Sequence[Hop]) -> tuple[Measure, Measure] | None:
    """Return the two places of the signal between which to look: the first pair that does not agree.

    Where none fails, the end of the signal that was not read yet: the water, then the control
    system. None where nothing is left to read.
    """
    wrong = next((hop for hop in judged if hop.fails), None)
    if wrong is not None:
        return wrong.before, wrong.after
    here = known(case)
    if not here:
        return REFERENCE, ARCHIVE
    if here[0] is not REFERENCE:
        return REFERENCE, here[0]
    return (here[-1], ARCHIVE) if here[-1] not in (SHOWN, ARCHIVE) else None


def halves(case: Case, ends: tuple[Measure, Measure]) -> list[Measure]:
    """Return what can be read between two places, the most telling first.

    First the two ends that a person can see, then the water, then the place in the middle of what is left. A
    volt is a place only where the resistor is known.
    """
    first, last = (CHAIN.index(one) for one in ends)
    inside = [one for one in CHAIN[first + 1 : last] if one is not VOLTS or ohm_of(case) is not None]
    seen = [one for one in (DISPLAY, SHOWN) if one in inside]
    water = [REFERENCE] if ends[0] is REFERENCE and REFERENCE.what not in case.read else []
    return [*seen, *water, *_from_the_middle([one for one in inside if one not in seen])]


def _from_the_middle(places: list[Measure]) -> list[Measure]:
    middle = (len(places) - 1) / 2
    return sorted(places, key=lambda one: (abs(places.index(one) - middle), places.index(one)))
