"""The sentences of a result: cautions, advice, statements, opinions, and what the check cannot see."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import pairwise

from wqverify.procedures.parts import Part, Points
from wqverify.procedures.ph_inputs import Measured
from wqverify.procedures.ph_rules import senseless_slope, spread
from wqverify.procedures.ph_sheet import Adjusted, BufferPoint, Grab, PhSheet, Process
from wqverify.procedures.ph_signal import signal_cautions, signal_not_seen
from wqverify.procedures.ph_stages import Stage, stability
from wqverify.procedures.rules import NOT_STABLE
from wqverify.procedures.sentences import advice, clocks, handed_back, opinion, person_cautions
from wqverify.terms import Caution, Check, Given, Note, Outcome

CAUTIONS = (
    Caution(
        "Tell operations before the sensor is touched; hold the output or put the loop in manual, block "
        "alarms and dosing trips only by the site's permit, note each time, and undo all of it in reverse "
        "order.",
        "common practice",
    ),
    Caution("Read as found before anything is cleaned or adjusted: dirty, as it was.", "common practice"),
    Caution(
        "Never pour buffer, acid or rinse water back into the process or the sample line.", "common practice"
    ),
    Caution(
        "Borate and alkaline buffers, and the acid for cleaning, irritate: gloves and eye protection.",
        "common practice",
    ),
    Caution(
        "Opening the loop can trip equipment: measure the current without breaking it.", "common practice"
    ),
)

SYMBOLS = (
    "In the hand calculations R is what the display showed and B what the buffer is worth at its "
    "temperature; x is the displayed process value, C what the control system showed, e an error of the "
    "analyzer, e(C) one of the control system, E the voltage of the electrode in mV, t a temperature in °C."
)
WARM_APART = Decimal(2)  # °C between buffers
PROCESS_APART = Decimal(10)  # °C between buffers and process
NEAR = Decimal("3.0")  # pH: buffers about three apart, as methods ask; 4.01 and 7.00 at 25 °C are


def notes(
    sheet: PhSheet, given: Given, stages: Mapping[str, Stage], checks: Sequence[Check]
) -> Iterator[Note]:
    """Give all sentences of a visit, the cautions first."""
    measured = [stage for stage in stages.values() if stage.points and not stage.same_as]
    for text in person_cautions(sheet, given):
        yield Note("caution", text)
    for stage in measured:
        for text in _stage_cautions(stage, given):
            yield Note("caution", f"{stage.title.capitalize()}: {text}")
    for text in (*_bottle_cautions(sheet, given, measured), *signal_cautions(sheet, given)):
        yield Note("caution", text)
    for text in handed_back(sheet, sheet.status, checks, touched=bool(measured)):
        yield Note("caution", text)
    yield from _advice(sheet, stages, checks)
    for text in _statements(sheet, given, stages):
        yield Note("statement", text)
    for text in _cannot_see(sheet, given, measured):
        yield Note("cannot see", text)
    if sheet.decision and sheet.decision.despite:
        text = f"Goes on in spite of a brake: {sheet.decision.despite}"
        yield Note("opinion", text, author=sheet.performed_by)
    yield from opinion(sheet)


# ---------------------------------------------------------------- cautions


def _stage_cautions(stage: Stage, given: Given) -> Iterator[str]:
    for point, typed in zip(stage.points, stage.typed, strict=True):
        yield from _reading_cautions(point, typed, given)
    families = sorted({p.buffer.family for p in stage.points if p.buffer.family})
    if len(families) > 1:
        names = " with ".join(f"{p.buffer.standard.name} ({p.id})" for p in stage.points if p.buffer.family)
        yield (
            f"two families of buffers are mixed, {names}; reference buffers and ready-made ones have "
            f"tables of their own, take all buffers of one visit from one family."
        )
    lots = [p.buffer.standard.lot for p in stage.points if p.buffer.standard.lot]
    if len(set(lots)) < len(lots):
        yield "two bottles are of one lot, so one cannot check the other."
    yield from _line_cautions(stage)
    yield from _temperature_cautions(stage)


def _reading_cautions(point: Measured, typed: BufferPoint, given: Given) -> Iterator[str]:
    last = stability(given).readings
    if typed.interval_s is None and len(typed.values) >= last > 1:
        yield f"the time between the readings in {point.id} was not entered, so stability is shown in part."
    steps = [later - earlier for earlier, later in pairwise(typed.values[-last:])]
    if steps and not point.unsteady and (min(steps) > 0 or max(steps) < 0):
        yield f"the readings in {point.id} still crept one way; the last one was taken."
    if point.unsteady:
        moved = point.unsteady.startswith(NOT_STABLE)
        look = "; look at sensor and flow before anything is adjusted" if moved else ""
        yield f"in {point.id} {point.unsteady}{look}."
    if point.temperature is None:
        yield f"the temperature of {point.id} was not entered."


def _line_cautions(stage: Stage) -> Iterator[str]:
    if stage.line and round(spread(stage.line), 1) < NEAR:
        yield f"the buffers are only {spread(stage.line)} pH apart, so the slope is known poorly."
    wrong = senseless_slope(stage.quantities)
    if wrong:
        yield wrong[0].lower() + wrong[1:]
    off = {p.id: q for p in stage.line if (q := stage.quantities.get(f"{p.id}.residual")) is not None}
    worst = max(off, key=lambda name: abs(off[name].value), default="")
    if worst and abs(off[worst].value) > float(off[worst].expanded):
        yield (
            f"the buffers do not fit one line: {worst} lies {off[worst].text} mV off it, more than its U of "
            f"{off[worst].expanded} mV; suspect a bottle before the electrode."
        )
    if stage.process is not None and stage.between is not None:
        low, high = (p.reading.value for p in stage.between)
        if not low <= stage.process.ph.value <= high:
            yield (
                f"the buffers do not bracket the process value {stage.process.ph.text}: the displays in "
                f"them were {low} and {high}, so the error there is continued beyond what was read."
            )


def _temperature_cautions(stage: Stage) -> Iterator[str]:
    temperatures = [p.temperature.value for p in stage.points if p.temperature is not None]
    if not temperatures:
        return
    if max(temperatures) - min(temperatures) > WARM_APART:
        low, high = min(temperatures), max(temperatures)
        yield f"the buffers were at {low} to {high} °C, more than {WARM_APART} °C apart."
    water = stage.process.temperature_c if stage.process else None
    if water is not None and max(abs(water.value - t) for t in temperatures) > PROCESS_APART:
        yield (
            f"the process is at {water.text} °C and the buffers were at {temperatures[0]} °C: an error of "
            f"the temperature compensation acts between them."
        )


def _bottle_cautions(sheet: PhSheet, given: Given, measured: Sequence[Stage]) -> Iterator[str]:
    lots = {p.buffer.standard.lot: p.id for stage in measured for p in stage.points if p.buffer.standard.lot}
    grabs = [*sheet.grab, *([sheet.grab_after] if isinstance(sheet.grab_after, Grab) else [])]
    told: set[str] = set()
    for grab in grabs:
        for name in grab.buffers:
            bottle = given.standards.get(name)
            if bottle and bottle.lot in lots and bottle.lot not in told:
                told.add(bottle.lot)
                yield (
                    f"The meter {grab.meter} was set with lot {bottle.lot}, the lot the analyzer was read in "
                    f"({lots[bottle.lot]}): if that lot is wrong, both are wrong alike."
                )
        if grab.temperature_c is None or grab.shown_c is None:
            yield "The temperatures of grab and line were not both entered: the grab is taken uncorrected."
    if isinstance(sheet.check_buffer, BufferPoint):
        bottle = given.standards.get(sheet.check_buffer.standard)
        if bottle and bottle.lot in lots:
            yield f"The check buffer is of lot {bottle.lot}, which was read before: it checks nothing new."


# ---------------------------------------------------------------- advice, statements


def _advice(sheet: PhSheet, stages: Mapping[str, Stage], checks: Sequence[Check]) -> Iterator[Note]:
    yield from advice(checks, isinstance(sheet.adjusted, Adjusted))
    slope = next((c for c in checks if c.key == "as_found.slope"), None)
    if (
        slope is not None
        and slope.outcome is Outcome.FAIL
        and not senseless_slope(stages["as_found"].quantities)
    ):
        yield Note(
            "advice", "The slope is out of its range: clean and read again before the electrode is replaced."
        )


def _statements(sheet: PhSheet, given: Given, stages: Mapping[str, Stage]) -> Iterator[str]:
    if any(stage.points for stage in stages.values()):
        yield SYMBOLS
    as_left = stages["as_left"]
    if as_left.same_as == "as_found":
        yield "Nothing was adjusted: as found = as left."
    elif as_left.same_as:
        yield "Nothing was adjusted after cleaning: after cleaning = as left."
    for stage in stages.values():
        if stage.between is not None and stage.process is not None:
            junction = given.analyzer.settings.get("junction_ph", "0")
            claim = (
                f"with ±{junction} pH for the liquid junction in the water"
                if Decimal(junction)
                else "as interpolated between buffers, without the liquid junction in the water"
            )
            yield (
                f"{stage.title.capitalize()}: error at the process value {stage.process.ph.text} as "
                f"displayed, {claim}."
            )
    before, after = stages["as_found"], stages.get("after_cleaning")
    if after is not None and after.points:
        for point in before.points:
            cleaned = next((p for p in after.points if p.id == point.id), None)
            if cleaned is not None:
                yield (
                    f"Cleaning changed the error in {point.id} from {point.error:+f} to {cleaned.error:+f} "
                    f"pH; this explains the as-found error and does not replace it."
                )
    yield from clocks(sheet, given)


# ---------------------------------------------------------------- what it cannot see


def _cannot_see(sheet: PhSheet, given: Given, measured: Sequence[Stage]) -> Iterator[str]:
    if not measured:
        return
    if isinstance(sheet.adjusted, Adjusted) and not _other_lot(sheet, given):
        yield (
            "A wrong bottle used both for adjusting and as left: as left then reads right by construction; "
            "only a check buffer of another lot would show it."
        )
    if not sheet.grab and not isinstance(sheet.grab_after, Grab):
        yield "Errors that act only in the process: liquid junction in dilute water, flow, earth currents."
    buffers = max((len(stage.line) for stage in measured), default=0)
    if buffers == 2:
        yield "A curved response: two buffers always lie on a line."
    if buffers < 2:
        yield "The slope: what happens away from the one buffer is not known."
    temperatures = {p.temperature.value for s in measured for p in s.points if p.temperature is not None}
    if len(temperatures) == 1:
        yield f"An error of the temperature compensation: all buffers were at {temperatures.pop()} °C."
    if isinstance(sheet.process_before, Process) and sheet.process_before.control_system is not None:
        yield "A wrong range in the signal chain that happens to agree at the one value compared."
    yield from signal_not_seen(sheet, given)


def _other_lot(sheet: PhSheet, given: Given) -> bool:
    """Whether the check buffer is of a lot that as left does not use."""
    if not isinstance(sheet.check_buffer, BufferPoint):
        return False
    used: Part = sheet.as_left
    names = [p.standard for p in used.points] if isinstance(used, Points) else []
    lots = {given.standards[name].lot for name in names}
    return given.standards[sheet.check_buffer.standard].lot not in lots
