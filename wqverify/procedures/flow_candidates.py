"""What would explain a flow that differs, each a candidate within U, and what would separate them.

Nothing here is a verdict: a candidate fits the one flow that was compared, and others may fit it too.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import hypot

from wqverify.calculations import flow
from wqverify.calculations.judgement import judge
from wqverify.calculations.units import convert
from wqverify.procedures.flow_budget import ERRORS, full_scale
from wqverify.procedures.flow_rules import Stage
from wqverify.procedures.flow_sheet import PRESSURE, Meter
from wqverify.procedures.inputs import ROOT3, ROOT12
from wqverify.procedures.rules import tolerance
from wqverify.terms import Given, Outcome, Place, Quantity, Reading

LITRES_OF_IMPERIAL_GALLON = Decimal("4.54609")  # exact, Weights and Measures Act 1985 (from memory)
GALLONS = ("gpm", "MGD")
LOOP_MA = 0.02  # half width of a loop current by a multimeter, from memory
WORDS = {
    flow.NO_ROOT: "the square root is missing",
    flow.TWO_ROOTS: "the square root is taken once too often",
}
BETWEEN: dict[Place, str] = {
    "analyzer": "up to the meter",
    "control system": "between the meter and the control system",
}
BEFORE: dict[Place, Place | None] = {"analyzer": None, "control system": "analyzer"}
STEADY = 0.01  # how far flow and current, not of one moment, lie apart, share of the flow; from memory
BY_INJECTION = (
    "inject 8 mA into the input of the control system: 25 % of full scale shown means no root behind it, "
    "50 % one, 70.7 % two"
)


@dataclass(frozen=True, slots=True)
class Candidate:
    """One explanation that fits within U."""

    place: Place
    text: str
    key: str = ""  # of the value that shows what is left of the difference
    left: Quantity | None = None


def candidates(stage: Stage, meter: Meter | None, given: Given) -> list[Candidate]:
    """Return what would explain the differences of a comparison; nothing where it passed or was not judged.

    The meter is compared with the reference, the control system with the meter: what lies before the meter
    is not looked for behind it.
    """
    if stage.reason:
        return []
    found = []
    for place, left in stage.found.left.items():
        difference = left[flow.ONE_ROOT]
        if not passes(stage, place, given) and abs(difference.value) > float(difference.expanded):
            found += [*_roots(stage, place, meter, given), *_units(place, difference, given)]
            found.append(_ratio(place, difference, meter, given))
    return found


def passes(stage: Stage, place: Place, given: Given) -> bool:
    """Whether the error at a place is within its tolerance: then nothing needs to be explained."""
    quantity, held = stage.found.errors[place], tolerance(ERRORS[place], given, {})
    return judge(place, stage.name, place, quantity, held).outcome is Outcome.PASS


def _roots(stage: Stage, place: Place, meter: Meter | None, given: Given) -> Iterator[Candidate]:
    for roots, words in WORDS.items():
        left = stage.found.left[place].get(roots)
        if left is None or abs(left.value) > float(left.expanded):
            continue
        before = share_of_scale(stage, BEFORE[place], meter, given)
        yield Candidate(
            place,
            f"{words} {BETWEEN[place]}: {100 * before:.1f} % of full scale shows as "
            f"{100 * flow.shown_after_roots(before, roots):.1f} % then, and "
            f"{100 * share_of_scale(stage, place, meter, given):.1f} % was shown",
            f"{stage.name}.{ERRORS[place]}_roots_{roots}",
            left,
        )


def _units(place: Place, difference: Quantity, given: Given) -> Iterator[Candidate]:
    """A number in one unit that is taken for another."""
    own, ratio = given.analyzer.unit, 1 + difference.value / 100
    one = flow.to_litres_per_second(1.0, own)
    others = {unit: flow.from_litres_per_second(one, unit) for unit in flow.FLOWS if unit != own}
    if own in GALLONS:
        others["imperial gallons"] = float(convert(Decimal(1), "gal", "L") / LITRES_OF_IMPERIAL_GALLON)
    for unit, factor in others.items():
        if abs(100 * (ratio / factor - 1)) <= float(difference.expanded) / factor:
            text = f"the number {BETWEEN[place]} is in {unit} and taken for {own}: a factor of {factor:.5g}"
            yield Candidate(place, text)


def _ratio(place: Place, difference: Quantity, meter: Meter | None, given: Given) -> Candidate:
    ratio = 1 + difference.value / 100
    scale, unit = full_scale(meter, given), given.analyzer.unit
    besides = ", or a wrong factor or bore of the meter" if place == "analyzer" else ""
    return Candidate(
        place,
        f"one factor of {ratio:.4g} at every flow {BETWEEN[place]}: a range of {ratio * float(scale):.4g} "
        f"{unit} at one end where the other has {scale}{besides}",
    )


def share_of_scale(stage: Stage, at: Place | None, meter: Meter | None, given: Given) -> float:
    """Return what was shown at a place as a share of full scale; None: the reference."""
    shown = stage.exact.flow if at is None else stage.exact.shown(at)
    assert shown is not None
    return float(stage.exact.in_unit(shown) / full_scale(meter, given))


# ---------------------------------------------------------------- what separates them


def separated_by(found: Sequence[Candidate], meter: Meter | None) -> str:
    """Return what would separate the candidates; empty where there are fewer than two."""
    if len(found) < 2:
        return ""
    ways = [
        "compare at a second flow, far from the first: a factor stays the same, a missing or double root "
        "changes it, and none of them shows at full scale"
    ]
    if meter is not None and meter.kind == PRESSURE:
        ways += [BY_INJECTION, "look in both menus where the root is taken"]
    ways.append("compare full scale and unit at every hop")
    return f"What would separate these candidates: {'; '.join(ways)}."


def signal_in_words(stage: Stage, meter: Meter | None, given: Given) -> str:
    """Return what the loop current says beside the meter; empty where it was not read."""
    ma = stage.run.ma
    if ma is None or meter is None or meter.kind != PRESSURE:
        return ""
    signal = float(flow.share_of_span(ma.value))
    real, shown = (100 * share_of_scale(stage, at, meter, given) for at in (None, "analyzer"))
    text = (
        f"{ma.text} mA is {100 * signal:.1f} % of its span and as a flow signal as much of full scale, as a "
        f"pressure signal {100 * flow.root_of_share(signal):.1f} %; the reference gave {real:.1f} %, the "
        f"meter showed {shown:.1f} %."
    )
    kinds = _fitting(100 * signal, shown, _signal_u(ma))
    if kinds == ["flow"]:
        return f"{text} That fits a signal that is flow already: a root taken behind it would be a second."
    if kinds == ["pressure"]:
        return f"{text} That fits a linear pressure signal: its root has to be taken behind it, once."
    return f"{text} That fits {'both' if kinds else 'neither'} and separates nothing here."


def _signal_u(ma: Reading) -> float:
    """The standard uncertainty of a loop current, % of span."""
    return 100 * hypot(float(ma.digit) / ROOT12, LOOP_MA / ROOT3) / flow.SPAN_MA


def _fitting(signal: float, shown: float, u: float) -> list[str]:
    """What kinds of signal a current fits, all in %, the meter's own number within 1 % of itself."""
    found = []
    for kind, expected, slope in (("flow", shown, 1), ("pressure", shown * shown / 100, 2)):
        if abs(signal - expected) <= 2 * hypot(u, slope * STEADY * expected / ROOT3):
            found.append(kind)
    return found
