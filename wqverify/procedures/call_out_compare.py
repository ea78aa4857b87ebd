"""Two places of a signal compared: what each stands for, how far they are apart, whether they agree.

Two places agree within a share of the span that only decides where to look next, common practice; display
and control system within the tolerance of the register where it holds one; the water and what is shown of it
within that of the analyzer, and a pass there clears nothing: how sure the reference is was not entered.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from wqverify.calculations import loop
from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.call_out_case import (
    ARCHIVE,
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
from wqverify.procedures.inputs import ROOT12, Inputs, Sizes
from wqverify.procedures.loop_budget import fixed
from wqverify.procedures.rules import tolerance
from wqverify.terms import Check, Input, Outcome, Place, Quantity, Tolerance

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


CURRENTS, BEHIND = (OUT, IN, VOLTS), (SHOWN, ARCHIVE)
AGREE, THERE = "call_out_signal", "control_system"
AT_ANALYZER = ("grab", "error")  # the first of them that the register holds
TOLERANCES = (AGREE, *AT_ANALYZER, THERE)
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
HELD = "the place before was read while the output was held, so the signal may have stood still"
FAILURE = "a failure signal is no value; what is shown of it is up to the control system"
NO_ROOT = "it is not known where the square root is taken; ask, it decides what a current stands for"


@dataclass(frozen=True)
class Hop:
    """Two places of the signal that were read, one after the other, and whether they agree."""

    before: Measure
    after: Measure
    check: Check
    formula: str = ""
    put_in: str = ""

    @property
    def agrees(self) -> bool:
        return self.check.outcome is Outcome.PASS

    @property
    def fails(self) -> bool:
        return self.check.outcome is Outcome.FAIL

    @property
    def between(self) -> tuple[str, str]:
        return WORDS[self.before.what], WORDS[self.after.what]


def compared(case: Case, stage: str, before: Measure, after: Measure, key: str = "") -> Hop:
    """Return two places compared and judged."""
    key = key or key_of(stage, before, after)
    why_not = _why_not(case, before, after)
    if why_not:
        label = _label(before, after)
        return Hop(before, after, not_evaluated(key, stage, label, why_not, place="control system"))
    if before is REFERENCE:
        return _values(case, stage, before, after, key, _held(case, after))
    held = case.analyzer.tolerances.get(THERE)
    by_value = before not in CURRENTS and after not in CURRENTS and held is not None
    if by_value and not _is_limited(case, before):
        return _values(case, stage, before, after, key, held)
    return _shares(case, stage, before, after, key)


def key_of(stage: str, before: Measure, after: Measure) -> str:
    """Return the key of the check of two places."""
    return f"{stage}.{KEYS[before.what]}_to_{KEYS[after.what]}"


def ohm_of(case: Case) -> Decimal | None:
    """Return the input resistor: as measured, else that of the register."""
    by_register = next((hop.input_ohm for hop in case.analyzer.hops if hop.input_ohm is not None), None)
    if by_register is None and OHM.what in case.read:
        return case.number(OHM)
    return by_register


def allowed_there(case: Case) -> tuple[Decimal, Decimal]:
    """Return within what display and control system agree, below and above, in the unit of the analyzer."""
    held = case.analyzer.tolerances.get(THERE)
    if held is not None and held.unit == case.analyzer.unit:
        low, high = held.at(case.number(DISPLAY))
        if low is not None and high is not None:
            return low, high
    share = tolerance(AGREE, case.given, SHIPPED)
    half = share.half_width(Decimal(0)) if share is not None else None
    off = abs(case.width_at("display")) * (half or Decimal(0)) / 100
    return -off, off


def _held(case: Case, after: Measure) -> Tolerance | None:
    """The tolerance against the water, applied simply: how sure the reference is was not entered."""
    held = case.analyzer.tolerances
    own = next((held[name] for name in AT_ANALYZER if name in held), None)
    found = own if after is DISPLAY else held.get(THERE) or own
    if found is None or found.rule != "guarded":
        return found
    return replace(
        found, rule="simple", source=f"{found.source}; applied simply, U of the reference is unknown"
    )


def _why_not(case: Case, before: Measure, after: Measure) -> str:
    """Why two places are not compared; empty where they are."""
    if before.what in case.held and before in (REFERENCE, DISPLAY) and after is not DISPLAY:
        return HELD
    value = next((one for one in (before, after) if one not in CURRENTS), None)
    mixed = value is not None and (before in CURRENTS) != (after in CURRENTS)
    if mixed and before in CURRENTS and _is_failure(case, before):
        return FAILURE
    if not mixed or not case.may_be_rooted:
        return ""
    asked = ROOT_THERE if value in BEHIND else ROOT_HERE
    return NO_ROOT if case.says(asked) is None else ""


# ---------------------------------------------------------------- what a place stands for


def percent(case: Case, place: Measure, value: Any = None, ohm: Any = None, *, plain: bool = False) -> Any:
    """Return the part of the signal, in % of its span, that a reading at a place stands for.

    Equation: 100 (I - 4)/16 of a current, or of V/R; 100 y of a value, y its part of the range at that
    place; 100 y |y| where the square root lies between the value and the signal, unless ``plain``: two values
    are compared as they stand. Raises CorrectTheEntry for
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
    if plain or not _is_rooted(case, place):
        return 100 * part
    return 100 * part * part if part >= 0 else -100 * part * part


def _is_rooted(case: Case, place: Measure) -> bool:
    """Whether the square root lies between the signal and the value at a place."""
    return case.says(ROOT_THERE) is True if place in BEHIND else case.says(ROOT_HERE) is False


def _is_limited(case: Case, place: Measure) -> bool:
    """Whether a place lies beyond the range of the signal, and says no failure: then it stands at its end."""
    share = percent(case, place)
    if 0 <= share <= 100:
        return False
    return place not in CURRENTS or loop.state_of(loop.current(share / 100)) == "measuring"


def _is_failure(case: Case, place: Measure) -> bool:
    """Whether a current, or the volts it makes, is no value by NE 43."""
    if place is VOLTS and ohm_of(case) is None:
        return False
    return loop.state_of(loop.current(percent(case, place) / 100)) != "measuring"


def limited(case: Case) -> bool:
    """Whether the value on the display lies beyond the range of the output."""
    return case.knows(DISPLAY) and _is_limited(case, DISPLAY)


def _at_end(share: Decimal) -> Decimal:
    current = loop.current(share / 100)
    measuring = loop.state_of(current) == "measuring"
    return min(max(share, Decimal(0)), Decimal(100)) if measuring else share


# ---------------------------------------------------------------- as shares of the span


def _shares(case: Case, stage: str, before: Measure, after: Measure, key: str) -> Hop:
    plain = before not in CURRENTS and after not in CURRENTS
    ends = [Decimal(percent(case, one, plain=plain)) for one in (before, after)]
    step = _step(case, after)
    cut = _is_limited(case, before)
    if cut:
        ends = [min(max(ends[0], Decimal(0)), Decimal(100)), _at_end(ends[1])]
    exact = ends[1] - ends[0]
    text = fixed(exact, step)
    if cut:  # both stand at the end of the signal: no reading moves them
        quantity = Quantity(text, "%", float(exact))
    else:
        x, model = model_of(case, stage, before, after)
        quantity = propagate(lambda v: {"e": model(v)}, x, {"e": "%"}, {"e": text})["e"]
    check = judge(
        key,
        stage,
        _label(before, after),
        quantity,
        tolerance(AGREE, case.given, SHIPPED),
        place="control system",
        observed=fixed(ends[1], step),
        reference=fixed(ends[0], step),
        exact=exact,
    )
    put_in = f"{_put_in(case, after, plain)} − {_put_in(case, before, plain)}"
    ends_at = ", what lies beyond the range at its end" if cut else ""
    return Hop(before, after, check, f"difference in % of span{ends_at}", put_in)


def _label(before: Measure, after: Measure) -> str:
    words = f"{SHORT[after.what]} against {SHORT[before.what]}"
    return words[0].upper() + words[1:]


def _put_in(case: Case, place: Measure, plain: bool) -> str:
    """Write out what a place stands for, as a hand calculates it."""
    if place in (OUT, IN):
        return f"100 ({case.number(place):f} − 4)/16"
    if place is VOLTS:
        return f"100 (1000 × {case.number(place):f}/{ohm_of(case):f} − 4)/16"
    low, high = case.range_at(_PLACES.get(place.what, "transmitter"))
    square = "²" if not plain and _is_rooted(case, place) else ""
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


def model_of(case: Case, stage: str, before: Measure, after: Measure) -> tuple[Inputs, Any]:
    """Return what makes two places uncertain, and their difference in % of span as a function of it."""
    x = Inputs(case.analyzer.settings, SIZES)
    values = {one: _enter(x, case, stage, one) for one in (before, after)}
    plain = before not in CURRENTS and after not in CURRENTS

    def model(v: Mapping[str, Any]) -> Any:
        parts = []
        for one in (after, before):
            ohm = None
            if one is VOLTS:
                resistor = ohm_of(case)
                assert resistor is not None
                ohm = float(resistor) * (1 + v["input resistor"] / 100)
            parts.append(percent(case, one, values[one](v), ohm, plain=plain))
        return parts[0] - parts[1]

    return x, model


def _enter(x: Inputs, case: Case, stage: str, place: Measure) -> Any:
    """Enter what makes a reading uncertain: its digit, the multimeter, the resistor."""
    reading = case.read[place.what]
    cause = f"reading:{stage} {place.what}"
    x.digit(cause, reading.typed, place.what)
    if reading.typed.unit:  # in the unit that counts
        x[cause] = _converted(x[cause], reading.value, reading.digit)
    if place not in CURRENTS:
        return lambda v: v[cause]
    if place is VOLTS:
        x.half_width("input resistor", "loop_resistor_percent")
    name = case.meter.id if case.meter else "not named"
    gain = x.half_width(f"multimeter:{name}", "multimeter_percent")
    return lambda v: v[cause] * (1 + v[gain] / 100)


def _converted(entered: Input, value: Decimal, digit: Decimal) -> Input:
    return replace(entered, value=float(value), u=float(digit) / ROOT12)


# ---------------------------------------------------------------- as values


def _values(case: Case, stage: str, before: Measure, after: Measure, key: str, held: Tolerance | None) -> Hop:
    """Compare two values in the unit of the analyzer, or in % of the first where the tolerance is."""
    label = _label(before, after)
    place: Place = "analyzer" if after is DISPLAY else "control system"
    first, shown = case.read[before.what], case.read[after.what]
    value, step = _as_value(case, after)
    exact, unit = value - first.value, case.analyzer.unit
    in_percent = held is not None and held.unit == "%" and unit != "%"
    if in_percent and first.value <= 0:
        reason = f"the tolerance is in % and {SHORT[before.what]} is not above 0"
        return Hop(before, after, not_evaluated(key, stage, label, reason, place=place, tolerance=held))
    if in_percent:
        exact, step, unit = 100 * exact / first.value, 100 * step / first.value, "%"
    x = Inputs(case.analyzer.settings, SIZES)
    of_shown, of_first = _enter(x, case, stage, after), _enter(x, case, stage, before)

    def model(v: Mapping[str, Any]) -> Any:
        there: Any = of_shown(v)
        if after in CURRENTS:
            low, high = (float(end) for end in case.range_at("transmitter"))
            there = low + (high - low) * percent(case, after, there, _plain_ohm(case, after)) / 100
        off = there - of_first(v)
        return 100 * off / of_first(v) if in_percent else off

    text = fixed(exact, step)
    quantity = propagate(lambda v: {"e": model(v)}, x, {"e": unit}, {"e": text})["e"]
    observed = fixed(value, shown.digit)
    check = judge(
        key, stage, label, quantity, held, place=place, observed=observed, reference=first.text, exact=exact
    )
    if before is REFERENCE and check.outcome is not Outcome.FAIL:
        check = replace(check, counts=False)  # how sure the reference is, is not known: it clears nothing
    put_in = f"{observed} − {first.text}"
    return Hop(
        before,
        after,
        check,
        "shown − reference" if before is REFERENCE else f"{SHORT[after.what]} − {SHORT[before.what]}",
        f"100 ({put_in})/{first.text}" if in_percent else put_in,
    )


def _as_value(case: Case, place: Measure) -> tuple[Decimal, Decimal]:
    """Return what a place shows as a value, and one digit of it; a current stands for one."""
    if place not in CURRENTS:
        return case.number(place), case.read[place.what].digit
    low, high = case.range_at("transmitter")
    return low + (high - low) * percent(case, place) / 100, _step(case, place) * abs(high - low) / 100


def _plain_ohm(case: Case, place: Measure) -> Any:
    ohm = ohm_of(case) if place is VOLTS else None
    return float(ohm) if ohm is not None else None
