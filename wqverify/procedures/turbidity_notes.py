"""The sentences of a result on turbidity standards: cautions, advice, statements, what it cannot see."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from wqverify.procedures.parts import Read
from wqverify.procedures.ph_signal import signal_cautions, signal_not_seen
from wqverify.procedures.rules import NOT_STABLE
from wqverify.procedures.sentences import advice, clocks, handed_back, opinion, person_cautions, undecided
from wqverify.procedures.turbidity_inputs import Measured, bottle_cause
from wqverify.procedures.turbidity_parts import Adjusted, Process
from wqverify.procedures.turbidity_rules import instrument_known, last_calibration
from wqverify.procedures.turbidity_stages import LOW_POINT, Stage, run_one_way, stability
from wqverify.terms import Caution, Check, Given, Note, Outcome, Result

TELL = Caution(
    "Tell operations before the sample is shut off or a standard goes in: a standard can trip a filter to "
    "waste. Hold the output, put the loop in manual, block alarms and trips only by the site's permit, note "
    "each time, and undo all of it in reverse order.",
    "common practice",
)
AS_FOUND = Caution(
    "Read as found before anything is cleaned or adjusted: dirty, as it was.", "common practice"
)
TO_WASTE = Caution(
    "Sample, standards and rinse water go to waste, by the site's rule for formazin: nothing goes back into "
    "potable water or into the sample line.",
    "common practice",
)
FORMAZIN = Caution(
    "Formazin is made with hydrazine sulfate, which is poisonous and may cause cancer: buy it ready-made, "
    "wear gloves and eye protection, do not pour it away without the site's rule.",
    "two public sources on hydrazine sulfate; the rest common practice",
)
HANDLING = Caution(
    "Turn a formazin standard over slowly, do not shake bubbles into it; wait until bubbles have risen, wipe "
    "the cell dry and free of fingerprints, put it in at its mark.",
    "common practice",
)
LAMP = Caution(
    "Do not look into lamp or laser; switch off and lock out before a lamp is changed.", "common practice"
)

CAUTIONS = (TELL, AS_FOUND, TO_WASTE, FORMAZIN, HANDLING, LAMP)
SYMBOLS = (
    "In the hand calculations R is the mean of the readings that held still (of those that crept one way the "
    "last), C what a standard is worth, V the value assigned to a secondary standard for this analyzer, C0 "
    "and V0 value and volume of what is diluted, V its flask, Cw the water's own turbidity, S what the "
    "control system showed, x the displayed process value, e an error, c a change."
)
EDGES = (
    "EPA Method 180.1 does not say to which band the edge between two reporting increments belongs: here the "
    "finer one keeps it (1.00 is reported 1.00, 1.01 as 1.0), the band is that of the unrounded value, and a "
    "half goes to the even increment."
)
METHOD_RANGE = Decimal(40)  # NTU, EPA Method 180.1 rev 2.0: 0 to 40, higher by dilution
MISTAKEN = (Decimal(8), Decimal("12.5"))  # times too high or too low: 400 and 4000 mistaken


def notes(sheet: Any, given: Given, stages: Mapping[str, Stage], checks: Sequence[Check]) -> Iterator[Note]:
    """Give the sentences that every turbidity visit has, the cautions first."""
    measured = [stage for stage in stages.values() if stage.points and not stage.same_as]
    for text in (*person_cautions(sheet, given), *_value_cautions(measured, given)):
        yield Note("caution", text)
    for stage in measured:
        for text in _stage_cautions(stage, given):
            yield Note("caution", f"{stage.title.capitalize()}: {text}")
    for text in (*undecided(checks), *signal_cautions(sheet, given)):
        yield Note("caution", text)
    for text in handed_back(sheet, sheet.status, checks, touched=bool(measured)):
        yield Note("caution", text)
    yield from _advice(sheet, checks)
    for text in _statements(sheet, given, stages):
        yield Note("statement", text)
    for text in (*_cannot_see(measured, checks), *signal_not_seen(sheet, given)):
        yield Note("cannot see", text)
    yield from opinion(sheet)


# ---------------------------------------------------------------- cautions


def _value_cautions(measured: Sequence[Stage], given: Given) -> Iterator[str]:
    """Say where nothing shows that a value assigned still holds."""
    known = {row.number for row in given.earlier}
    rows = {p.id: p.assigned for stage in measured for p in stage.points if p.assigned is not None}
    for name, row in rows.items():
        if row.after not in known and last_calibration(given) is None:
            yield (
                f"The value of {name} was assigned after {row.after}, which the book here does not hold: "
                f"whether a newer primary calibration has voided it is not shown."
            )
        if not instrument_known(row, given):
            yield (
                f"On which instrument the value of {name} was assigned is not known: its entry has no serial "
                f"and the book no record {row.after}; another instrument sees another value."
            )


def _stage_cautions(stage: Stage, given: Given) -> Iterator[str]:
    for point, typed in zip(stage.points, stage.typed, strict=True):
        yield from _reading_cautions(point, typed, given)
        yield from _mistaken(point)
        if given.analyzer.unit == "NTU" and point.exact > METHOD_RANGE:
            yield (
                f"{point.id} is above {METHOD_RANGE} NTU, where EPA Method 180.1 ends: it wants higher "
                f"values diluted."
            )
    if stage.process is not None and stage.between is not None:
        low, high = (point.mean for point in stage.between)
        if not low <= stage.process.ntu.value <= high:
            yield (
                f"the standards do not bracket the process value {stage.process.ntu.text}: the displays on "
                f"them were {low} and {high}, so the error there is continued beyond what was read."
            )
    if stage.fit is not None and not stage.fit.straight:
        off = [abs(r) for r in stage.fit.residuals]
        used = [p for p in stage.points if p.counts and p.kind != "secondary"]
        worst = used[off.index(max(off))]
        yield (
            f"the readings on {len(off)} standards do not lie on one line by their own scatter (F "
            f"{stage.fit.F:.2f}, more than {stage.fit.critical:.2f}); {worst.id} lies farthest off it, "
            f"{max(off):.3g} {given.analyzer.unit}: suspect that standard before the analyzer."
        )


def _reading_cautions(point: Measured, typed: Read, given: Given) -> Iterator[str]:
    last = stability(typed, given).readings
    if typed.interval_s is None and len(typed.values) >= last > 1:
        yield f"the time between the readings on {point.id} was not entered, so stability is shown in part."
    if point.crept:
        yield crept(point)
    elif run_one_way(typed.readings[-last:]) and not point.unsteady:
        yield f"the last readings on {point.id} run one way; wait longer and look for bubbles or settling."
    if point.unsteady:
        moved = point.unsteady.startswith(NOT_STABLE)
        look = "; look for bubbles, flow and settling before anything is adjusted" if moved else ""
        yield f"on {point.id} {point.unsteady}{look}."


def crept(point: Measured) -> str:
    """Say that the readings that counted were replaced by the last of them."""
    assert point.still is not None
    return (
        f"the readings on {point.id} still crept one way, from {point.crept[0].text} to "
        f"{point.crept[-1].text}: they are no sample, so the last one counts and not their mean, uncertain "
        f"by half of the stability limit of {point.still.limit} {point.still.unit}; wait longer and look for "
        f"bubbles or settling."
    )


def _mistaken(point: Measured) -> Iterator[str]:
    """A factor of ten is a mistaken stock or dilution, not an analyzer."""
    if point.kind == "zero" or not point.exact or not point.mean:
        return
    ratio = point.mean / point.exact
    low, high = MISTAKEN
    if low <= ratio <= high or low <= 1 / ratio <= high:
        yield (
            f"{point.id} reads {point.mean:f} where it should be {point.exact:f}: about a factor of ten; "
            f"look whether the stock was 400 or 4000 and how it was diluted."
        )


# ---------------------------------------------------------------- advice, statements


def _advice(sheet: Any, checks: Sequence[Check]) -> Iterator[Note]:
    adjusted = isinstance(getattr(sheet, "adjusted", None), Adjusted)
    yield from advice(checks, adjusted)
    found = Result(tuple(checks)).outcome("as_found")
    if found is Outcome.FAIL and not adjusted and not getattr(sheet, "cleaned", None):
        text = "Clean the cell or the optics and read the same standards again before anything is adjusted."
        yield Note("advice", text, "common practice")


def _statements(sheet: Any, given: Given, stages: Mapping[str, Stage]) -> Iterator[str]:
    unit = given.analyzer.unit
    if any(stage.points for stage in stages.values()):
        yield SYMBOLS
    read = [part for name in ("process_before", "process_after") if (part := getattr(sheet, name, None))]
    if unit == "NTU" and any(isinstance(part, Process) for part in read):
        yield EDGES
    as_left = stages.get("as_left")
    if as_left is not None and as_left.same_as == "as_found":
        yield "Nothing was adjusted: as found = as left."
    elif as_left is not None and as_left.same_as:
        yield "Nothing was adjusted after cleaning: after cleaning = as left."
    measured = [stage for stage in stages.values() if stage.points and not stage.same_as]
    low = {p.id: p for stage in measured for p in stage.points if p.steps and p.exact < LOW_POINT}
    for name, point in low.items():
        assert point.water is not None
        yield (
            f"{name} is worth {point.exact:f} {unit} with the water's own {point.water.value} {unit} in it, "
            f"not what the volumes alone make."
        )
    for stage in measured:
        if len(stage.points) > 1:
            yield _linearity(stage)
    yield from _cleaning(stages, unit)
    minutes = settled(sheet).get("settled_min")
    if minutes is not None:
        before = next((row.facts["settled_min"] for row in given.earlier if "settled_min" in row.facts), "")
        yield f"It settled in {minutes} min" + (f"; last time in {before} min." if before else ".")
    yield from clocks(sheet, given)


def settled(sheet: Any) -> dict[str, str]:
    """Return the minutes it took to settle, to be told at the next visit; empty where nobody timed it."""
    timed = getattr(sheet, "settled_min", None)
    return {"settled_min": timed.text} if timed is not None else {}


def _linearity(stage: Stage) -> str:
    if stage.fit is None:
        return f"{stage.title.capitalize()}: linearity not evaluated, because {stage.no_fit}."
    fit = stage.fit
    verdict = "no more than" if fit.straight else "more than"
    return (
        f"{stage.title.capitalize()}: linearity over {len(fit.residuals)} standards by the scatter of the "
        f"repeated readings: lack of fit F {fit.F:.2f}, {verdict} the {fit.critical:.2f} that a line gives "
        f"in 95 % of cases. The highest standard weighs most in it, and what the standards themselves are "
        f"uncertain by is no part of it."
    )


def _cleaning(stages: Mapping[str, Stage], unit: str) -> Iterator[str]:
    before, after = stages["as_found"], stages.get("after_cleaning")
    if after is None:
        return
    for point in before.points:
        cleaned = next((p for p in after.points if p.id == point.id), None)
        if cleaned is not None:
            yield (
                f"Cleaning changed the error on {point.id} from {point.error:+f} to {cleaned.error:+f} "
                f"{unit}; this explains the as-found error and does not replace it."
            )


# ---------------------------------------------------------------- what it cannot see


def _cannot_see(measured: Sequence[Stage], checks: Sequence[Check]) -> Iterator[str]:
    points = [point for stage in measured for point in stage.points]
    if not points:
        return
    kinds = {point.kind for point in points}
    if kinds == {"secondary"}:
        yield (
            "A wrong primary standard: the value of a secondary standard carries its error, and so does the "
            "analyzer; only a primary standard of another lot would show it."
        )
    low = [p for p in points if p.exact < LOW_POINT and p.kind != "secondary"]
    if not low:
        what = "a secondary standard" if kinds == {"secondary"} else f"standards above {LOW_POINT} NTU"
        yield (
            f"An offset (stray light, a wrong zero): nothing but {what} was read; at the process value an "
            f"offset of some hundredths is most of the error."
        )
    for name, sure in {p.id: _expanded(p, measured) for p in low}.items():
        yield f"An analyzer wrong by less than U at the low end: on {name} that is {sure}."
    lots = {bottle_cause(p.standard) for p in points if p.kind == "primary"}
    if len(lots) == 1 and "secondary" not in kinds:
        yield "A wrong or settled stock: all standards were of one bottle."
    if any(c.key.endswith("process.control_system") and c.quantity for c in checks):
        yield (
            "An error of the analyzer that the control system repeats: it was compared with the display, not "
            "with a standard."
        )


def _expanded(point: Measured, measured: Sequence[Stage]) -> str:
    found = next(s for s in measured if s.name == point.stage).quantities[f"{point.id}.error"]
    return f"{found.expanded} {found.unit}"
