"""The sentences of a chlorine check: cautions, advice, statements, and what it cannot see."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from wqverify.calculations import chlorine
from wqverify.procedures import sentences
from wqverify.procedures.chlorine_budget import acid
from wqverify.procedures.chlorine_rules import (
    STAGES,
    WAITS,
    Stage,
    time_constant_s,
    why_not_adjust,
)
from wqverify.procedures.chlorine_sheet import Adjusted, Cell, ChlorineSheet, Pair, Zero
from wqverify.procedures.chlorine_shown import Due, found_sensitivity, uncompensated, zero_error
from wqverify.procedures.grab_notes import (
    CHLORINE_GAS,
    REAGENTS,
    TELL,
    WASTE,
    advice,
    moving_limit,
    run_statements,
    stuck_at_zero,
)
from wqverify.procedures.grab_run import Run
from wqverify.procedures.parts import Cleaned
from wqverify.procedures.rules import setting
from wqverify.terms import Caution, Check, Given, Note, Outcome

CAUTIONS = (
    TELL,
    Caution("Read as found before anything is cleaned, serviced or adjusted.", "common practice"),
    Caution(
        "A dosing loop that follows this analyzer moves when the cell is taken out of the water: in "
        "manual, or the output held, before the flow is stopped.",
        "common practice",
    ),
    WASTE,
    REAGENTS,
    CHLORINE_GAS,
    Caution(
        "Electrolyte and cleaning acid irritate: gloves and eye protection; acid and hypochlorite together "
        "give off chlorine gas.",
        "common practice",
    ),
)
METHOD_RANGE = (Decimal("0.2"), Decimal("4"))  # mg/L, EPA Method 334.0
SETTLED_UA = "0.05"


NOTHING_COMPARED = "No error was evaluated, so nothing counts as compared: the check is still due."


def notes(
    sheet: ChlorineSheet,
    given: Given,
    stages: Sequence[Stage],
    checks: Sequence[Check],
    runs: Sequence[Run],
    next_one: Due | None,
) -> Iterator[Note]:
    """Give all sentences of a check, the cautions first."""
    adjusted = isinstance(sheet.adjusted, Adjusted)
    for text in (*sentences.person_cautions(sheet, given), *_cautions(sheet, given, stages)):
        yield Note("caution", text)
    touched = adjusted or any(isinstance(part, Cleaned | Zero) for part in (sheet.service, sheet.zero))
    handed_back = sentences.handed_back(sheet, sheet.status, checks, touched)
    for text in (*sentences.undecided(checks), *handed_back):
        yield Note("caution", text)
    yield from advice(checks, adjusted)
    yield from _failed(checks)
    for text in (*_statements(sheet, given, stages, runs), *sentences.clocks(sheet, given)):
        yield Note("statement", text)
    if next_one is None:
        yield Note("statement", NOTHING_COMPARED)
    else:
        text = f"The next check is due by {next_one.on}, {next_one.days} days on."
        yield Note("statement", text, next_one.source)
    for text in _cannot_see(sheet, given, stages):
        yield Note("cannot see", text)
    if sheet.decision and sheet.decision.despite:
        found = next((stage for stage in stages if stage.name == "as_found"), None)
        reason = why_not_adjust(sheet, found)
        text = f"Goes on in spite of a brake ({reason}): {sheet.decision.despite}"
        yield Note("opinion", text, author=sheet.performed_by)
    yield from sentences.opinion(sheet)


def _failed(checks: Sequence[Check]) -> Iterator[Note]:
    """Say what the rule asks where the last error that was evaluated failed."""
    counts = [c for c in checks if c.counts and c.outcome is not Outcome.NOT_EVALUATED]
    stages = [name for name in STAGES if any(c.key == f"{name}.error" for c in counts)]
    if stages and any(c.outcome is Outcome.FAIL and c.stage == stages[-1] for c in counts):
        which = STAGES[stages[-1]].lower()
        later = "" if stages[-1] == list(STAGES)[-1] else " and no later error was evaluated"
        yield Note(
            "advice",
            f"It failed {which}{later}: take grabs every 4 h until it is repaired, for at most five working "
            f"days.",
            "40 CFR 141.74(c)(2); a setting of the plant, not legal advice",
        )


def _cautions(sheet: ChlorineSheet, given: Given, stages: Sequence[Stage]) -> Iterator[str]:
    for stage in stages:
        yield from _stage_cautions(stage, given)
    cell = sheet.cell if isinstance(sheet.cell, Cell) else Cell()
    least = given.analyzer.settings.get("cell_flow_min")
    if least is not None and cell.flow_ml_min is None:
        yield f"The flow at the cell was not read; {given.analyzer.tag} needs at least {least} mL/min."
    elif least is not None and cell.flow_ml_min is not None and cell.flow_ml_min.value < Decimal(least):
        yield (
            f"The flow at the cell was {cell.flow_ml_min.text} mL/min, less than {least}: below it the "
            f"value is low and moves with the flow."
        )
    yield from moving_limit(given)
    yield from _zero_cautions(sheet, given)
    yield from _sensitivity_cautions(sheet, given, stages)
    fresh = isinstance(sheet.adjusted, Adjusted) and isinstance(sheet.as_left, Pair)
    if fresh and time_constant_s(sheet, given) is None:
        yield (
            f"Neither the time constant of {given.analyzer.tag} nor the cell volume of its sample line is "
            f"known: whether the fresh grab waited {WAITS} of them is not shown."
        )


def _stage_cautions(stage: Stage, given: Given) -> Iterator[str]:
    title, pair = STAGES[stage.name], stage.pair
    if len(pair.grabs) == 1:
        yield (
            f"{title}: one grab was taken, so it is compared with that one; a second shows whether it can "
            "be trusted."
        )
    if not stage.instrument.calibration_due:
        yield f"{title}: the list of standards holds no calibration date for {stage.instrument.id}."
    if pair.checked is None:
        yield f"{title}: no check of {stage.instrument.id} before use was entered."
    low, high = METHOD_RANGE
    if stage.reference and not low <= Decimal(stage.reference) <= high:
        yield (
            f"{title}: the grab {stage.reference} {given.analyzer.unit} is outside {low} to {high}, for "
            f"which EPA Method 334.0 is written."
        )


def _zero_cautions(sheet: ChlorineSheet, given: Given) -> Iterator[str]:
    if not isinstance(sheet.zero, Zero):
        return
    last = [reading.value for reading in sheet.zero.currents_ua[-3:]]
    limit = setting(given, "zero_settled_ua", SETTLED_UA)
    moved = max(last) - min(last)
    if len(last) < 3:
        yield f"The zero was read {len(last)} times; three show whether it had settled."
    elif moved > limit:
        yield (
            f"The zero still moved by {moved} uA over the last three readings, more than {limit}: a zero "
            f"taken too early is a constant error at every value."
        )
    off = zero_error(sheet)
    if off is not None and abs(off.mg_l) >= 0.005:
        way = "low" if off.mg_l < 0 else "high"
        yield (
            f"The zero it worked with was {off.taken.text} uA and the cell settled at {off.settled.text} "
            f"uA: every value was {way} by {abs(off.mg_l):.3f} {given.analyzer.unit}, whatever its size."
        )


def _sensitivity_cautions(sheet: ChlorineSheet, given: Given, stages: Sequence[Stage]) -> Iterator[str]:
    S = found_sensitivity(sheet, next((s for s in stages if s.name == "as_found"), None), given)
    to = sheet.adjusted.sensitivity_to if isinstance(sheet.adjusted, Adjusted) else None
    if S is None or to is None:
        return
    if abs(float(to.value) - S.value) > float(S.expanded):
        yield (
            f"The sensitivity was set to {to.text} uA per mg/L, and current and grabs give {S.text}: they "
            f"differ by more than its U of {S.expanded}; look which number is mistyped."
        )


# ---------------------------------------------------------------- statements


def _statements(
    sheet: ChlorineSheet, given: Given, stages: Sequence[Stage], runs: Sequence[Run]
) -> Iterator[str]:
    if stages:
        yield (
            "In the hand calculations R is what the analyzer showed, C what the control system showed, G "
            "the grab or the mean of two, I the current of the cell, I0 without chlorine. The tolerance in "
            "percent is of the grab."
        )
    if not isinstance(sheet.adjusted, Adjusted):
        yield "Nothing was adjusted: as found = as left, unless it was serviced."
    constant = time_constant_s(sheet, given)
    if isinstance(sheet.adjusted, Adjusted) and constant is not None:
        yield f"The fresh grab waits {WAITS} time constants of {constant:.0f} s after an adjustment."
    yield from _acid_statement(sheet, given)
    yield from run_statements(runs)


def _acid_statement(sheet: ChlorineSheet, given: Given) -> Iterator[str]:
    water = uncompensated(sheet, given)
    if water is None:
        return
    seen = acid(*water, given)
    yield (
        f"The cell has no pH compensation: at pH {water[0].text} and {water[1].text} °C it sees the "
        f"{seen['share'].value:.1f} % that is hypochlorous acid. A rise of pH by 0.1 changes its value by "
        f"{seen['per tenth'].value:+.1f} % with the same free chlorine."
    )


def _cannot_see(sheet: ChlorineSheet, given: Given, stages: Sequence[Stage]) -> Iterator[str]:
    yield from stuck_at_zero([stage.reference for stage in stages], given)
    yield "An offset apart from a wrong sensitivity: one level of chlorine was compared."
    yield (
        "Manganese, chloramine or colour that reagents read as chlorine: both grabs have it, and an "
        "analyzer with the same reagents too."
    )
    yield "What the photometer and its reagents have wrong in every grab: two that agree may both be wrong."
    if sheet.kind == "free" and uncompensated(sheet, given) is None:
        compensated = given.analyzer.settings.get("ph_compensated", "0") == "1"
        if not compensated:
            yield f"What the pH does to the cell: {_why_no_share(sheet)}."


def _why_no_share(sheet: ChlorineSheet) -> str:
    cell = sheet.cell if isinstance(sheet.cell, Cell) else Cell()
    if cell.ph is None or cell.temperature_c is None:
        return "pH and temperature at the cell were not both read"
    low, high = chlorine.ACID_C
    return (
        f"at {cell.temperature_c.text} °C the share of hypochlorous acid is not known; its constant is "
        f"stated for {low} to {high} °C"
    )
