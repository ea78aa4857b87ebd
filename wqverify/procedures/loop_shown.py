"""What is shown beside the checks of a loop check: points, supply and load, hand calculations, charts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from wqverify.calculations import loop
from wqverify.calculations.loop import chain_by_squares, chain_by_sum
from wqverify.procedures.loop_budget import MA, PERCENT, Off, fixed
from wqverify.procedures.loop_candidates import Mismatch
from wqverify.procedures.loop_points import CARD, CURRENTS, STAGES, Line
from wqverify.procedures.loop_sheet import LoopSheet, Supply
from wqverify.procedures.loop_stages import CHAIN, PLACE_WORDS, Stage
from wqverify.procedures.workings import answer, as_sure, expanded_working, signed
from wqverify.terms import Chart, Check, Given, Quantity, Series, Value, Working
from wqverify.terms import Line as ChartLine

LIVE_ZERO = "IEC 60381-1, 4 to 20 mA (from memory)"
OHM = "Ohm's law"
PRACTICE = "test practice (from memory)"
FAILURE_MA = Decimal(21)  # mA, NAMUR NE 43, the least a high failure signal has
RATED_MA = Decimal(20)

# ---------------------------------------------------------------- values


def values(
    sheet: LoopSheet, stages: Sequence[Stage], found: Mapping[str, Mismatch | None], given: Given
) -> Iterator[Value]:
    """Give the quantities that are shown and not judged."""
    for stage in stages:
        yield from _points(stage)
        yield from _together(stage, found.get(stage.name), given)
    if isinstance(sheet.supply, Supply):
        yield from supply_values(sheet.supply)


def _points(stage: Stage) -> Iterator[Value]:
    """Every point: what each place showed and how far its hop is off, and the error from end to end."""
    for off in stage.chain:
        unit = PERCENT if PERCENT in off.found else MA
        hops = [one for offs in stage.hops.values() for one in offs if one.point is off.point]
        told = "; ".join(_hop_words(one, stage) for one in hops)
        key = f"{stage.name}.{off.point.way}.{off.point.number}"
        label = f"{off.point.words}: {told}"
        yield Value(
            key, stage.name, label, as_sure(replace(off.found[unit], budget=())), "end to end; no verdict"
        )


def _hop_words(off: Off, stage: Stage) -> str:
    """What a place showed, and how far off that is from the place before, in every unit."""
    own = off.point.read[off.after]
    in_volts = off.point.volts and off.after == CARD
    unit = "V" if in_volts else MA if off.after in CURRENTS else stage.line.unit
    by = ", ".join(f"{as_sure(off.found[key]).text} {key}" for key in off.found)
    return f"{PLACE_WORDS[off.after]} {own.text} {unit}, off by {by}"


def _together(stage: Stage, found: Mismatch | None, given: Given) -> Iterator[Value]:
    if found is not None and found.straight is not None:
        words = f"of the {PLACE_WORDS[stage.last]} against the current applied, by all points"
        for name in ("slope", "intercept"):
            label = f"{name.capitalize()} {words}"
            quantity = as_sure(
                replace(found.straight[name], budget=())
            )  # of every reading: too long to be read
            yield Value(f"{stage.name}.{name}", stage.name, label, quantity, "least squares")
    if len(stage.hops) > 1:
        yield from _chain(stage, given)


def _chain(stage: Stage, given: Given) -> Iterator[Value]:
    """The parts of the chain put together both ways: the largest of each hop, and what each may be off."""
    largest = [max(abs(off.exact[PERCENT]) for off in offs if PERCENT in off.exact) for offs in _sized(stage)]
    allowed = [_allowed(hop, stage, given) for hop in stage.hops]
    yield from _both_ways(stage, "parts", "Largest error of each hop put together", largest)
    if all(size is not None for size in allowed):
        sizes = [size for size in allowed if size is not None]
        yield from _both_ways(stage, "allowed", "What each hop may be off put together", sizes)


def _sized(stage: Stage) -> list[list[Off]]:
    return [offs for offs in stage.hops.values() if any(PERCENT in off.exact for off in offs)]


def _allowed(hop: str, stage: Stage, given: Given) -> Decimal | None:
    """The tolerance of a hop in % of span, None where it has none that can be put so."""
    tolerance = given.analyzer.tolerances.get(f"loop_{hop}")
    half = tolerance.half_width(Decimal(0)) if tolerance is not None else None
    if tolerance is None or half is None:
        return None
    per_cent = {PERCENT: Decimal(1), MA: Decimal(100) / 16, stage.line.unit: 100 / abs(stage.line.span)}
    return half * per_cent[tolerance.unit] if tolerance.unit in per_cent else None


def _both_ways(stage: Stage, key: str, words: str, sizes: Sequence[Decimal]) -> Iterator[Value]:
    plain = [float(size) for size in sizes]
    for name, how, size in (
        ("squares", "by the root of the sum of squares", chain_by_squares(plain)),
        ("sum", "by their sum", chain_by_sum(plain)),
    ):
        quantity = Quantity(f"{size:.3f}", PERCENT, size)
        yield Value(f"{stage.name}.{key}.{name}", stage.name, f"{words}, {how}", quantity, PRACTICE)


# ---------------------------------------------------------------- supply


def supply_values(supply: Supply) -> Iterator[Value]:
    """Give the largest load, the current at which the loop sticks, and the volts left at the top."""
    for key, label, size, unit, source in _supply(supply):
        yield Value(f"supply.{key}", "supply", label, Quantity(_three(size), unit, float(size)), source)


def _supply(supply: Supply) -> Iterator[tuple[str, str, Decimal, str, str]]:
    volts, least, ohm = supply.supply_v, supply.least_v, supply.loop_ohm
    failure = failure_current(supply)
    if volts is not None and least is not None:
        for key, current in (("load", RATED_MA), ("load_at_failure", failure)):
            size = loop.largest_load(volts.value, least.value, current)
            yield key, f"Largest load at {current} mA", size, "ohm", "R = (V − Vmin) / I"
        if ohm is not None:
            sticks = loop.largest_current(volts.value, least.value, ohm.value)
            yield "sticks", "Current at which the supply is used up", sticks, "mA", "I = (V − Vmin) / R"
    if volts is not None and ohm is not None:
        left = loop.terminal_volts(volts.value, failure, ohm.value)
        yield "left", f"Volts left at the transmitter at {failure} mA", left, "V", "V − I R"
    if (
        supply.terminal_v is not None
        and supply.at_ma is not None
        and volts is not None
        and supply.at_ma.value > 0
    ):
        load = 1000 * (volts.value - supply.terminal_v.value) / supply.at_ma.value
        yield "by_volts", f"Resistance of the loop by the volts at {supply.at_ma.text} mA", load, "ohm", OHM


def failure_current(supply: Supply) -> Decimal:
    """Return the failure current the loop has to reach, mA."""
    return supply.failure_ma.value if supply.failure_ma is not None else FAILURE_MA


def _three(size: Decimal) -> str:
    """A figure of a loop to a tenth where it is large, else to a hundredth."""
    return f"{size.quantize(Decimal('0.1') if abs(size) >= 100 else Decimal('0.01')):f}"


# ---------------------------------------------------------------- hand calculations


def workings(
    sheet: LoopSheet, stages: Sequence[Stage], checks: Sequence[Check], line: Line
) -> Iterator[Working]:
    """Give the calculations a person with a pocket calculator can follow, ending in the numbers shown."""
    for stage in stages:
        for hop, offs in ((CHAIN, stage.chain), *((h, stage.hops[h]) for h in stage.named_hops)):
            check = next((c for c in checks if c.key == f"{stage.name}.{hop}"), None)
            if check is not None and check.quantity is not None:
                yield from _hop_working(stage, hop, offs, check, check.quantity)
    yield from _shunt(stages, line)
    if isinstance(sheet.supply, Supply):
        yield from _supply_workings(sheet.supply)


def _hop_working(
    stage: Stage, hop: str, offs: Sequence[Off], check: Check, shown: Quantity
) -> Iterator[Working]:
    off = next(o for o in offs if o.point.words in check.label)
    title = f"{STAGES[stage.name]}: {check.label[:1].lower()}{check.label[1:]}"
    if shown.unit == PERCENT:
        formula, put_in = _in_percent(stage.line, off)
    else:
        formula = "e = what is shown − what should be shown"
        put_in = f"{off.observed[shown.unit]} − {signed(Decimal(off.reference[shown.unit]))}"
    plain = answer(off.found[shown.unit].text, shown.unit, shown.text)
    yield Working(title, formula, put_in, plain, LIVE_ZERO)
    if hop == CHAIN and shown.expanded:
        yield expanded_working(f"{STAGES[stage.name]}: its expanded uncertainty", shown)


def _in_percent(line: Line, off: Off) -> tuple[str, str]:
    """The formula in % of span with the numbers put in: each side as it was read."""
    in_current = off.after in CURRENTS
    sides, words = [], []
    for letter, place in (("after", off.after), ("before", off.before)):
        text = off.point.read[place].text
        if place in CURRENTS:
            amount = f"(1000 × {text} / {line.ohm})" if off.point.volts and place == CARD else text
            name = "I" if letter == "before" else "I2"
            side, word = f"({amount} − 4) / 16", f"({name} − 4) / 16"
            if line.root and not in_current:
                side, word = f"√({side})", f"√({word})"
        else:
            low = signed(line.low)
            name = "D" if letter == "after" else "D1"
            side, word = f"({text} − {low}) / ({line.high} − {low})", f"({name} − low) / (high − low)"
        sides.append(f"100 × {side}")
        words.append(f"100 × {word}")
    return f"e = {words[0]} − {words[1]}", f"{sides[0]} − {sides[1]}"


def _shunt(stages: Sequence[Stage], line: Line) -> Iterator[Working]:
    point = next((p for stage in stages for p in stage.points if p.volts and CARD in p.read), None)
    if point is None or line.ohm is None:
        return
    volts = point.read[CARD]
    amount = loop.shunt_current(volts.value, line.ohm)
    step = 1000 * volts.digit / line.ohm
    yield Working(
        f"Current at the input card by the volts across it, {point.words}",
        "I = 1000 V / R",
        f"1000 × {volts.text} / {line.ohm}",
        f"{fixed(amount, step)} mA",
        OHM,
    )


def _supply_workings(supply: Supply) -> Iterator[Working]:
    volts, least, ohm = supply.supply_v, supply.least_v, supply.loop_ohm
    if volts is None or least is None:
        return
    size = loop.largest_load(volts.value, least.value, RATED_MA)
    put_in = f"1000 × ({volts.text} − {least.text}) / {RATED_MA}"
    yield Working("Largest load", "R = 1000 (V − Vmin) / I", put_in, f"{_three(size)} ohm", OHM)
    if ohm is not None:
        sticks = loop.largest_current(volts.value, least.value, ohm.value)
        put_in = f"1000 × ({volts.text} − {least.text}) / {ohm.text}"
        yield Working(
            "Current at which the supply is used up",
            "I = 1000 (V − Vmin) / R",
            put_in,
            f"{_three(sticks)} mA",
            OHM,
        )


# ---------------------------------------------------------------- charts


def charts(stages: Sequence[Stage], checks: Sequence[Check], given: Given) -> Iterator[Chart]:
    """Give the errors from end to end against the current, in the unit that is judged."""
    series: list[Series] = []
    lines: list[ChartLine] = []
    tolerance = given.analyzer.tolerances.get(f"loop_{CHAIN}")
    unit = tolerance.unit if tolerance is not None else PERCENT
    for stage in stages:
        for way in ("rising", "falling"):
            points = tuple(
                (off.point.applied.text, off.found[unit].text, off.found[unit].expanded)
                for off in stage.chain
                if off.point.way == way and unit in off.found
            )
            if points:
                series.append(Series(f"{STAGES[stage.name].lower()}, {way}", points))
    judged = next((c for c in checks if c.key.endswith(f".{CHAIN}") and c.low and c.high), None)
    if judged is not None and tolerance is not None and tolerance.percent is None:
        lines = [ChartLine("tolerance", judged.low), ChartLine("tolerance", judged.high)]
    if series:
        title = "Error from end to end, with U"
        yield Chart("errors", title, "current applied, mA", f"error, {unit}", tuple(series), tuple(lines))
