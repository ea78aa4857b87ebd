"""What may be set otherwise at the two ends of a loop: candidates with what tells them apart, no verdict.

What was read is compared with every curve of ``calculations.loop_mismatch`` within its U and a share of span
for an instrument that is a little off besides. Several may fit: the figures cannot tell those apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from wqverify.calculations import loop
from wqverify.calculations.loop_mismatch import (
    Curve,
    Suspicion,
    converted,
    fits,
    line_through,
    measure_one_thing,
    suspicions,
)
from wqverify.procedures.loop_budget import MA, PERCENT, Off
from wqverify.procedures.loop_points import (
    CARD,
    CURRENTS,
    as_current,
    as_value,
    other_unit,
    set_elsewhere,
)
from wqverify.procedures.loop_sheet import LoopSheet
from wqverify.procedures.loop_stages import Stage, few_of
from wqverify.procedures.rules import setting
from wqverify.terms import Given, Quantity

BESIDES = "0.25"  # % of span, besides U; common practice, no source
MOST = 8
_LEAST = 1e-9  # of what is allowed, where every size is set to 0


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing that would show what was read, with what would tell it from the others."""

    words: str
    tells: str
    off: float  # the largest distance by what is allowed, up to 1


@dataclass(frozen=True)
class Mismatch:
    """What the points of a stage say together."""

    straight: dict[str, Quantity] | None
    right: bool  # the ranges at both ends fit each other
    enough: bool  # currents were read to say so
    candidates: tuple[Candidate, ...]


def mismatch_of(stage: Stage, sheet: LoopSheet, given: Given) -> Mismatch | None:
    """Return what the points of a stage say together, None where the far end is not compared."""
    if not stage.chain or other_unit(stage.last, sheet, given):
        return None
    straight = stage.budget.straight(stage.last, stage.points)
    share = float(setting(given, "loop_fits_percent", BESIDES)) / 100
    parts = _Parts(stage)
    right = fits(parts.right, parts.applied, parts.shown, parts.within(share)) is not None
    found = [] if right else sorted(_at_the_end(stage, parts, straight, share, sheet, given), key=_off)
    currents = list(_in_the_current(stage, share))
    enough = not few_of(stage, stage.chain, PERCENT, given)
    return Mismatch(straight, right, enough, (*found[:MOST], *currents))


def _off(candidate: Candidate) -> float:
    return candidate.off


class _Parts:
    """The points of a stage as parts of the span: applied, shown, and what each is sure to."""

    def __init__(self, stage: Stage) -> None:
        line = stage.line
        self.root = line.root and stage.last not in CURRENTS
        self.applied = [float(loop.fraction(point.applied.value)) for point in stage.points]
        part = as_current if stage.last in CURRENTS else as_value
        self.shown = [
            float(part(stage.last, point.read[stage.last].value, line, point.volts, line.ohm))
            for point in stage.points
        ]
        self.sure = [_sure(off, float(abs(line.span))) for off in stage.chain]

    def right(self, q: float) -> float:
        """What should be shown."""
        return q**0.5 if self.root and q > 0 else 0.0 if self.root else q

    def within(self, share: float, span: float = 1.0) -> list[float]:
        return [max(sure + share * max(1.0, span), _LEAST) for sure in self.sure]


def _sure(off: Off, span: float) -> float:
    """U of a point as part of the span; at 4 mA before a root the digit it was read to."""
    if PERCENT in off.found:
        return float(off.found[PERCENT].expanded) / 100
    return float(off.point.read[off.after].digit) / span


def _at_the_end(
    stage: Stage,
    parts: _Parts,
    straight: dict[str, Quantity] | None,
    share: float,
    sheet: LoopSheet,
    given: Given,
) -> Iterator[Candidate]:
    line = stage.line
    ohm = float(line.ohm) if line.ohm is not None else None
    every = suspicions(float(line.low), float(line.high), line.unit, root=parts.root, input_ohm=ohm)
    for one in every:
        if stage.last in CURRENTS and one.kind not in ("0-20 mA", "swapped"):
            continue
        off = fits(one.shown, parts.applied, parts.shown, parts.within(share, one.span))
        if off is not None:
            yield Candidate(f"{one.words}{_its_line(one, parts)}", one.tells, off)
    if straight is not None and stage.last not in CURRENTS:
        yield from _other_range(stage, parts, straight, share, sheet, given)


def _its_line(one: Suspicion, parts: _Parts) -> str:
    """The slope and intercept a suspicion would give at these points, beside those that were found."""
    used = [q for q in parts.applied if q > 0 or not parts.root]
    if len(set(used)) < 2:
        return ""
    a, b = line_through([parts.right(q) for q in used], [one.shown(q) for q in used])
    return f" (slope {b:.4f}, intercept {100 * a:+.2f} % of span)"


def _other_range(
    stage: Stage,
    parts: _Parts,
    straight: dict[str, Quantity],
    share: float,
    sheet: LoopSheet,
    given: Given,
) -> Iterator[Candidate]:
    """The range that would show this, where the points lie on one line, and whose range it is."""
    a, b = straight["intercept"].value / 100, straight["slope"].value

    def curve(q: float) -> float:
        return a + b * parts.right(q)

    off = fits(curve, parts.applied, parts.shown, parts.within(share, abs(b)))
    if off is None:
        return
    low, high = straight["at 4 mA"], straight["at 20 mA"]
    unit, line = stage.line.unit, stage.line
    if _is_range((float(line.low), float(line.high)), low, high, share):
        return  # that is the right one: a point lies off it, and no range
    whose = "; ".join(_whose(low, high, unit, share, sheet, given))
    named = f", as the range {whose}" if whose else ""
    words = (
        f"the far end is ranged {low.value:.4g} (U {low.expanded}) to {high.value:.4g} (U {high.expanded}) "
        f"{unit}{named}"
    )
    yield Candidate(words, "low and high as they are set at the far end", 1.0)


def _whose(
    low: Quantity, high: Quantity, unit: str, share: float, sheet: LoopSheet, given: Given
) -> Iterator[str]:
    """Give the known ranges that are the one that would show this."""
    seen = set()
    for whose, one, other, their in set_elsewhere(sheet, given.analyzer):
        if not measure_one_thing(their, unit) or whose in seen:
            continue
        ends = (converted(float(one), their, unit), converted(float(other), their, unit))
        if _is_range(ends, low, high, share):
            seen.add(whose)
            yield f"{whose} ({one} to {other} {their})"


def _is_range(ends: tuple[float, float], low: Quantity, high: Quantity, share: float) -> bool:
    besides = share * abs(ends[1] - ends[0])
    return all(
        abs(end - found.value) <= float(found.expanded) + besides
        for end, found in zip(ends, (low, high), strict=True)
    )


# ---------------------------------------------------------------- where the signal still is a current


def _in_the_current(stage: Stage, share: float) -> Iterator[Candidate]:
    for hop, every in stage.hops.items():
        offs = [off for off in every if off.before == every[0].before]
        amounts = [_Current(off, share) for off in offs if off.after in CURRENTS]
        if not amounts or all(abs(one.after - one.before) <= one.within for one in amounts):
            continue
        if hop == "transmitter":
            yield from _of_the_output(amounts)
        else:
            yield from _on_the_way(stage, offs, amounts)


class _Current:
    """One point of a hop in mA, and how sure it is."""

    def __init__(self, off: Off, share: float) -> None:
        self.before, self.after = Decimal(off.reference[MA]), Decimal(off.observed[MA])
        self.within = max(Decimal(off.found[MA].expanded) + Decimal(16 * share), Decimal(_LEAST))


def _of_the_output(amounts: Sequence[_Current]) -> Iterator[Candidate]:
    curve: Curve = _from_zero
    applied, shown = ([float(one.before) for one in amounts], [float(one.after) for one in amounts])
    off = fits(curve, applied, shown, [float(one.within) for one in amounts])
    if off is not None:
        words = "the transmitter makes 0-20 mA where 4-20 mA is meant"
        yield Candidate(words, "the current at 0 %: 0 mA or 4 mA", off)
    short = [one for one in amounts if one.before - one.after > one.within]
    lowest = min(one.before for one in short) if short else Decimal(0)
    below = [one for one in amounts if one.before < lowest]
    top = [one.after for one in short]
    good = short and below and all(abs(one.after - one.before) <= one.within for one in below)
    if good and max(top) - min(top) <= 2 * short[0].within:
        words = f"the current sticks near {max(top):.2f} mA: the supply is used up"
        tells = "the volts at the transmitter at its highest current, against the least it needs"
        yield Candidate(words, tells, 0.5)


def _from_zero(current_ma: float) -> float:
    return 20 * loop.fraction(current_ma) if current_ma else 0.0


def _on_the_way(stage: Stage, offs: Sequence[Off], amounts: Sequence[_Current]) -> Iterator[Candidate]:
    """A current lost on the way: in proportion through a leak, the same everywhere through an earth loop."""
    if not any(one.before for one in amounts):
        return  # of no current nothing is lost
    found = stage.budget.against(offs[0].before, offs[0].after, [off.point for off in offs])
    ratio, besides = found["ratio"], found["besides"]
    gap = max(abs(one.after - one.before * Decimal(ratio.value)) / one.within for one in amounts)
    if gap <= 1 and 1 - ratio.value > float(ratio.expanded):
        yield Candidate(_leak_words(stage, ratio, offs[0].after), _LEAK_TELLS, float(gap))
    gap = max(abs(one.after - one.before - Decimal(besides.value)) / one.within for one in amounts)
    if gap <= 1 and abs(besides.value) > float(besides.expanded):
        size = f"{besides.value:+.3f} mA (U {besides.expanded})"
        words = f"the same {size} at every current: an earth loop, or a zero"
        yield Candidate(words, "the current with the shield or the second earth lifted", float(gap))


_LEAK_TELLS = (
    "insulation of the wires to earth and to each other, with both ends lifted; volts and current at "
)
_LEAK_TELLS += "the input give its resistor"


def _leak_words(stage: Stage, ratio: Quantity, after: str) -> str:
    lost = 100 * (1 - ratio.value)
    words = (
        f"{lost:.2f} % of the current (U {100 * float(ratio.expanded):.2g} %) does not get there at any point"
    )
    ohm = stage.line.ohm
    if ohm is None or after != CARD:
        return f"{words}: a leak"
    leak = loop.leak_of(ratio.value, float(ohm))
    about = f"{float(f'{leak:.3g}'):.0f} ohm"
    return f"{words}: a leak of about {about} beside the {ohm} ohm input, or another resistor there"
