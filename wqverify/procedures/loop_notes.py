"""The sentences of a loop check: cautions, advice, candidates, and what it cannot see."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from wqverify.calculations import loop
from wqverify.procedures import sentences
from wqverify.procedures.loop_budget import outside_temperate
from wqverify.procedures.loop_candidates import Mismatch
from wqverify.procedures.loop_points import (
    ARCHIVE,
    DISPLAY,
    MEASURED,
    STAGES,
    Line,
    hop_of,
    is_same,
    row_words,
)
from wqverify.procedures.loop_sheet import Adjusted, LoopSheet, Supply
from wqverify.procedures.loop_shown import failure_current
from wqverify.procedures.loop_stages import Stage, wrong_states
from wqverify.terms import Caution, Check, Given, Hop, Note

CAUTIONS = (
    Caution(
        "Tell operations first. What is applied is shown, controlled and alarmed on as if it were the water: "
        "control in manual, alarms and trips blocked only as the site allows, each with its time.",
        "common practice",
    ),
    Caution(
        "Opening a 4-20 mA loop drops its value to zero and can start or trip equipment.", "common practice"
    ),
    Caution(
        "Lock out and test for dead before wires are lifted in a panel that holds more than the loop.",
        "29 CFR 1910.147 and 1910.331 to .335 (from memory)",
    ),
    Caution(
        "A source that drives current is not put against a supply that is still on; in a classified area "
        "only instruments made for it.",
        "common practice",
    ),
    Caution(
        "Wet wells, vaults and filter galleries may be confined spaces: permit, air test, attendant.",
        "29 CFR 1910.146 (from memory)",
    ),
    Caution(
        "Undo in reverse order, and see one true value at the far end before leaving.", "common practice"
    ),
)
NE_43 = "NAMUR NE 43 (public summaries)"
AGREE_MA = Decimal("0.02")  # mA between two instruments before use; common practice, no source
LEVELS = 5
_TAKEN = {"clamped": "a value clamped to the range", "held": "the last value, held"}
_TAKEN |= {"a value": "a value", "a failure": "a failure"}


def notes(
    sheet: LoopSheet,
    given: Given,
    stages: Sequence[Stage],
    checks: Sequence[Check],
    found: Mapping[str, Mismatch | None],
    line: Line,
) -> Iterator[Note]:
    """Give all sentences of a check, the cautions first."""
    adjusted = isinstance(sheet.adjusted, Adjusted)
    cautions = (*sentences.person_cautions(sheet, given), *_cautions(sheet, given, stages, line))
    for text in (*cautions, *sentences.undecided(checks)):
        yield Note("caution", text)
    for text in sentences.handed_back(sheet, sheet.status, checks, bool(stages)):
        yield Note("caution", text)
    yield from sentences.advice(checks, adjusted)
    yield from _candidates(found)
    for text in (*_statements(sheet, stages, found, line), *sentences.clocks(sheet, given)):
        yield Note("statement", text)
    for text in _cannot_see(sheet, stages, line):
        yield Note("cannot see", text)
    yield from sentences.opinion(sheet)


def _candidates(found: Mapping[str, Mismatch | None]) -> Iterator[Note]:
    for name, mismatch in found.items():
        if mismatch is None or (mismatch.right and not mismatch.candidates):
            continue
        title = STAGES[name]
        if not mismatch.candidates:
            yield Note(
                "statement",
                f"{title}: the two ends do not fit each other, and nothing on the list of mismatches gives "
                f"what was read; look at one hop after the other.",
            )
        for number, one in enumerate(mismatch.candidates, 1):
            yield Note(
                "statement",
                f"{title}, candidate {number}, not a verdict: {one.words}. What tells: {one.tells}.",
                "compared within U and a share of span; several may fit",
            )


# ---------------------------------------------------------------- cautions


def _cautions(sheet: LoopSheet, given: Given, stages: Sequence[Stage], line: Line) -> Iterator[str]:
    yield from _instrument_cautions(sheet, given, line)
    yield from _range_cautions(sheet, given)
    if isinstance(sheet.supply, Supply):
        yield from _supply_cautions(sheet.supply)
    for state in wrong_states(sheet.states):
        is_ = loop.state_of(state.applied_ma.value)
        what = (
            "a broken wire" if state.applied_ma.value == 0 else f"{state.applied_ma.text} mA, {is_} by NE 43,"
        )
        yield (
            f"The control system takes {what} as {_TAKEN[state.taken_as]}: nobody is warned, or a good "
            f"value is lost."
        )
    for stage in stages:
        levels = {point.applied.value for point in stage.points}
        if len(levels) < LEVELS:
            yield f"{STAGES[stage.name]}: {len(levels)} currents were applied; five up and down are usual."
    if given.analyzer.measures.lower() == "flow" and sheet.root is None:
        yield "Where the square root is taken was not entered; it was compared as linear."


def _instrument_cautions(sheet: LoopSheet, given: Given, line: Line) -> Iterator[str]:
    for instrument in dict.fromkeys((line.source.id, line.meter.id)):
        one = given.standards[instrument]
        if not one.calibration_due:
            yield f"The list of standards holds no calibration date for {one.id}."
    check = sheet.reference.cross_check_ma
    if check is not None and abs(check.value - 12) > AGREE_MA:
        yield (
            f"A second instrument read {check.text} mA at 12 mA from {line.source.id}: they differ by more "
            f"than {AGREE_MA} mA, so one of them is wrong, and a gain that is wrong looks like the loop's."
        )
    beyond = outside_temperate(sheet.reference.ambient_c)
    if beyond and "loop_drift_percent_per_c" not in given.analyzer.settings:
        yield (
            f"It was {beyond} °C outside 18 to 28 °C at {line.source.id}, and the register does not "
            f"hold its temperature coefficient: U does not hold it either."
        )


def _range_cautions(sheet: LoopSheet, given: Given) -> Iterator[str]:
    """Say where ranges differ: what was read from the register, and the hops from each other."""
    analyzer = given.analyzer
    for row in sheet.ranges:
        hop, unit = hop_of(row.place, analyzer), row.unit or analyzer.unit
        if hop is None or hop.low is None or hop.high is None:
            continue
        same = (row.low.value, row.high.value, unit) == (hop.low, hop.high, hop.unit or analyzer.unit)
        if not same:
            yield (
                f"The {row.place} is set to {row_words(row, analyzer.unit)}, and the register has "
                f"{hop.low} to {hop.high} {hop.unit or analyzer.unit} for {hop.name}."
            )
    ends = {(row.low.value, row.high.value, row.unit or analyzer.unit) for row in sheet.ranges}
    if len(ends) > 1:
        told = "; ".join(f"{row.place} {row_words(row, analyzer.unit)}" for row in sheet.ranges)
        yield f"The ranges read at the hops differ: {told}. The same current means another value there."
    if not sheet.ranges and _differ(analyzer.hops):
        yield "The register holds different ranges for the hops of this signal; they were not read here."


def _differ(hops: Sequence[Hop]) -> bool:
    return len({(hop.low, hop.high, hop.unit) for hop in hops if hop.low is not None}) > 1


def _supply_cautions(supply: Supply) -> Iterator[str]:
    volts, least, ohm = supply.supply_v, supply.least_v, supply.loop_ohm
    if volts is not None and least is not None and ohm is not None:
        sticks = loop.largest_current(volts.value, least.value, ohm.value)
        percent = 100 * loop.fraction(sticks)
        if sticks < 20:
            yield (
                f"As found the supply is used up at {sticks:.2f} mA: the value sticks at {percent:.1f} % of "
                f"span, and what lies above is not shown."
            )
        elif sticks < failure_current(supply):
            yield (
                f"As found the supply is used up at {sticks:.2f} mA: a high failure signal of "
                f"{failure_current(supply)} mA cannot be made, and a fault looks like a high value."
            )
    if supply.terminal_v is not None and least is not None and supply.terminal_v.value < least.value:
        yield (
            f"At its highest current the transmitter had {supply.terminal_v.text} V, less than the "
            f"{least.text} V it needs."
        )


# ---------------------------------------------------------------- statements


def _statements(
    sheet: LoopSheet, stages: Sequence[Stage], found: Mapping[str, Mismatch | None], line: Line
) -> Iterator[str]:
    if stages:
        root = "; the control system takes the square root" if line.root else ""
        yield (
            f"A current should show its value in the range {line.low} to {line.high} {line.unit}, "
            f"{line.whose}{root}. Percent are of span; an error is what is shown less what should be."
        )
    for name, mismatch in found.items():
        if mismatch is not None and mismatch.right and mismatch.enough:
            yield f"{STAGES[name]}: slope and intercept are those of one range at both ends."
    if line.root and stages:
        yield "At 4 mA a square root has no slope: an error there is told in mA and not judged in percent."
    if not isinstance(sheet.adjusted, Adjusted):
        same = "as entered" if is_same(sheet) else "and was not read again"
        yield (
            f"Nothing was changed: as left is as found, {same}."
            if sheet.as_left is None or is_same(sheet)
            else "Nothing was changed between as found and as left."
        )


def _cannot_see(sheet: LoopSheet, stages: Sequence[Stage], line: Line) -> Iterator[str]:
    if line.by_itself:
        yield "The sensor, and whether the current the transmitter makes by its menu is that of its value."
    else:
        yield "The sensor and the transmitter: the current was made in their place."
    yield "A fault between the point where the current was applied and the terminals left out."
    yield f"What {line.source.id} has wrong by one factor: five points by one instrument are one test of it."
    read = {place for stage in stages for point in stage.points for place in point.read}
    for place, words in ((DISPLAY, "display"), (ARCHIVE, "archive")):
        if stages and place not in read:
            yield f"The {words}: it was not read."
    if stages and not ({MEASURED, "card"} & read):
        yield "Where on the way a difference arises: neither a meter nor the input card was read."
    if not sheet.states:
        yield "What the far end makes of a broken wire or of a current beyond the range: it was not tried."
