"""The sentences of a flow check: cautions, candidates, statements, and what it cannot see."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from wqverify.procedures import sentences
from wqverify.procedures.flow_candidates import (
    candidates,
    separated_by,
    share_of_scale,
    signal_in_words,
)
from wqverify.procedures.flow_rules import (
    STAGES,
    ZEROS,
    Stage,
    meter_of,
    standard_of,
    why_not_adjust,
    zeros,
)
from wqverify.procedures.flow_sheet import PRESSURE, RATES, STRAP_ON, TANKS, Adjusted, FlowSheet, Zero
from wqverify.terms import Caution, Check, Given, Note, Outcome

CAUTIONS = (
    Caution(
        "Tell operations before a flow is stopped, a tank drawn down or anything adjusted; hold the output "
        "or put the loop in manual, block alarms and dosing trips only by the site's permit, note each time, "
        "and undo all of it in reverse order.",
        "common practice",
    ),
    Caution(
        "Dosing is paced by the flow: a held or wrong flow doses too much or too little. Agree with "
        "operations who watches it.",
        "common practice",
    ),
    Caution(
        "Agree with operations how far the tank may fall: fire reserve, pump suction, pressure in the town.",
        "common practice",
    ),
    Caution(
        "Hatches and ladders: harness and a second person. Vaults and meter pits may be confined spaces: "
        "permit, air test, attendant.",
        "29 CFR 1910.146 (from memory)",
    ),
    Caution(
        "Close and open impulse lines and valves slowly, the equalizing valve opened first and closed last: "
        "a differential pressure from one side only breaks the cell, and a line under pressure hurts.",
        "common practice",
    ),
    Caution(
        "What was drawn down and lost its quality goes to waste, not back into potable water.",
        "common practice",
    ),
)
NEAR_FULL_SCALE = 0.9
ZERO_OF = {"zero": "As found", "zero_left": "As left"}


def notes(sheet: FlowSheet, given: Given, stages: Sequence[Stage], checks: Sequence[Check]) -> Iterator[Note]:
    """Give all sentences of a check, the cautions first."""
    adjusted = isinstance(sheet.adjusted, Adjusted)
    touched = adjusted or any(True for _ in zeros(sheet))
    for text in (
        *sentences.person_cautions(sheet, given),
        *_cautions(sheet, given),
        *sentences.undecided(checks),
        *sentences.handed_back(sheet, sheet.status, checks, touched),
    ):
        yield Note("caution", text)
    yield from sentences.advice([replace(check, place="analyzer") for check in checks], adjusted)
    yield from _explained(sheet, given, stages)
    yield from _no_zero(sheet, checks)
    for text in (*_statements(sheet, given, stages), *sentences.clocks(sheet, given)):
        yield Note("statement", text)
    for text in _cannot_see(sheet, given, stages):
        yield Note("cannot see", text)
    if sheet.decision and sheet.decision.despite:
        reason = why_not_adjust(sheet, next((stage for stage in stages if stage.name == "as_found"), None))
        text = f"Goes on in spite of a brake ({reason}): {sheet.decision.despite}"
        yield Note("opinion", text, author=sheet.performed_by)
    yield from sentences.opinion(sheet)


def _no_zero(sheet: FlowSheet, checks: Sequence[Check]) -> Iterator[Note]:
    """Say where to look when a meter shows flow at standstill, before its zero is set."""
    zero = ("as_found.zero", "as_found.zero_ma")
    if not any(check.key in zero and check.outcome is Outcome.FAIL for check in checks):
        return
    meter = meter_of(sheet)
    places = "that the valves are tight and the pipe is full"
    if meter is not None and meter.kind == PRESSURE:
        places += ", that the equalizing valve is open and both impulse lines are full of water"
    elif meter is not None:
        places += ", that electrodes and earth rings are clean and connected"
    yield Note("advice", f"It shows flow at standstill: look first {places}.", "common practice")


def _explained(sheet: FlowSheet, given: Given, stages: Sequence[Stage]) -> Iterator[Note]:
    """Give candidates, what the loop current says, and what would separate them: never a verdict."""
    meter = meter_of(sheet)
    for stage in stages:
        found = candidates(stage, meter, given)
        for one in found:
            yield Note("statement", f"{STAGES[stage.name]}, candidate: {one.text}.")
        signal = signal_in_words(stage, meter, given)
        if signal:
            yield Note("statement", f"{STAGES[stage.name]}: {signal}")
        ways = separated_by(found, meter)
        if ways:
            yield Note("advice", ways, "common practice")


def _cautions(sheet: FlowSheet, given: Given) -> Iterator[str]:
    reference, known, meter = sheet.reference, standard_of(sheet, given), meter_of(sheet)
    if known is not None and reference.against not in TANKS and not known.calibration_due:
        yield f"standards_on_hand.toml holds no calibration date for {known.id}."
    if reference.read_as == RATES:
        yield (
            "The meter was read as rates, and an average of some rates is less sure than a total over the "
            "whole time."
        )
    if meter is None:
        yield "Kind of meter, root and low-flow cut were not entered: roots are not looked for."
    elif meter.root in ("in both", "nowhere"):
        words = "was taken twice" if meter.root == "in both" else "was never taken"
        yield (
            f"On arrival the square root {words} ({meter.root}); a linear pressure signal needs it "
            f"once, on the way from the cell to the number."
        )
    elif meter.root == "not known":
        yield "Where the square root is taken is not known; look it up in both menus before adjusting."
    for name, zero in zeros(sheet):
        cut = meter.cut_off if meter is not None else None
        if cut is None or not cut.value > 0:
            continue
        if any(0 < abs(reading.value) < cut.value for reading in zero.readings):
            yield (
                f"{ZERO_OF[name]}: at standstill it showed flow below its low-flow cut of {cut.text} "
                f"{given.analyzer.unit}, so the cut does not work where it was read."
            )
        else:
            yield (
                f"{ZERO_OF[name]}: the low-flow cut of {cut.text} {given.analyzer.unit} hides a "
                f"zero below it; take it out to see the zero itself."
            )


# ---------------------------------------------------------------- statements


def _statements(sheet: FlowSheet, given: Given, stages: Sequence[Stage]) -> Iterator[str]:
    if stages:
        yield (
            f"Compared with {sheet.reference.against}; the meter was read as {sheet.reference.read_as} "
            f"and its flow is in {given.analyzer.unit}. The error is of one flow."
        )
    if sheet.adjusted is None:
        yield "Nothing was adjusted: as found = as left."
    for name in ZEROS:
        part = getattr(sheet, name)
        if isinstance(part, Zero):
            yield f"{ZERO_OF[name]}, at standstill: {part.how}."


def _cannot_see(sheet: FlowSheet, given: Given, stages: Sequence[Stage]) -> Iterator[str]:
    meter = meter_of(sheet)
    yield "Errors at other flows: one flow was compared."
    if sheet.reference.against in TANKS:
        yield "Leaks and other users of the tank that were open all the time: they count as flow."
        yield "A wrong diameter of the tank: every draw-down of it has the same."
    elif sheet.reference.against == STRAP_ON:
        yield "A pipe that is not full or a wrong wall thickness: it shifts a strap-on meter at every flow."
    else:
        yield "What both totalisers have wrong alike, and water drawn between them."
    if not any(True for _ in zeros(sheet)):
        yield "The zero of the meter: it was not read at standstill."
    if meter is not None and meter.kind == PRESSURE:
        for stage in stages:
            if share_of_scale(stage, None, meter, given) >= NEAR_FULL_SCALE:
                yield (
                    f"{STAGES[stage.name]}: a missing or double root; near full scale all three show nearly "
                    f"the same. Compare at a quarter of full scale."
                )
        yield "A worn orifice, where a wrong factor makes up for it at this flow."
