"""The sentences of a temperature visit: cautions, advice, statements, and what it cannot see."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from wqverify.procedures import sentences
from wqverify.procedures.rules import NOT_STABLE
from wqverify.procedures.temperature_checks import tolerance_for
from wqverify.procedures.temperature_rules import why_not_adjust
from wqverify.procedures.temperature_sheet import Adjusted, TemperatureSheet
from wqverify.procedures.temperature_stages import Stage, built_in, no_two, stability, unit_of
from wqverify.terms import Caution, Check, Given, Note, Outcome, Result

CAUTIONS = (
    Caution(
        "Tell operations before the sensor leaves the water or its wires are loosened. Hold the output, put "
        "the loop in manual, block alarms only by the site's permit, note each time, and undo all of it in "
        "reverse order.",
        "common practice",
    ),
    Caution(
        "A temperature goes into other values: the compensation of pH, oxygen and conductivity follows this "
        "sensor while it is in a bath.",
        "common practice",
    ),
    Caution(
        "A sensor without a thermowell is never unscrewed from a line under pressure or hot: shut off, "
        "relieve and let it cool first.",
        "common practice",
    ),
    Caution(
        "Loosened wires of a heater or of a 24 V loop are not those of the element: identify them first, "
        "test for dead, lock out where the site asks for it.",
        "29 CFR 1910.147 and 1910.331-.335 (from memory); common practice",
    ),
    Caution(
        "Ice, bath and rinse water go to waste: nothing goes back into potable water. A glass thermometer "
        "with mercury stays out of the plant.",
        "common practice",
    ),
)
SYMBOLS = (
    "In the hand calculations D is what the display showed, r what the reference thermometer showed, c the "
    "correction of its certificate, T the temperature of the bath, R the resistance of the element less the "
    "leads, R0 that at 0 °C, e an error."
)
ONE_OHM = "2.6"  # °C, that one ohm of leads makes of a Pt100


def notes(
    sheet: TemperatureSheet, given: Given, found: Mapping[str, Stage], checks: Sequence[Check]
) -> Iterator[Note]:
    """Give all sentences of a visit, the cautions first."""
    measured = [stage for stage in found.values() if not stage.same_as and not stage.not_done]
    adjusted = isinstance(sheet.adjusted, Adjusted)
    for text in sentences.person_cautions(sheet, given):
        yield Note("caution", text)
    for stage in measured:
        for text in _stage_cautions(stage, given):
            yield Note("caution", f"{stage.title.capitalize()}: {text}")
    handed_back = sentences.handed_back(sheet, sheet.status, checks, bool(measured))
    for text in (*sentences.undecided(checks), *handed_back):
        yield Note("caution", text)
    yield from sentences.advice(checks, adjusted)
    yield from _pointers(found, checks)
    for text in (*_statements(given, found, measured), *sentences.clocks(sheet, given)):
        yield Note("statement", text)
    for text in _cannot_see(given, measured):
        yield Note("cannot see", text)
    if sheet.decision is not None and sheet.decision.despite:
        reason = why_not_adjust(found["as_found"])
        text = f"Goes on in spite of a brake ({reason or 'none'}): {sheet.decision.despite}"
        yield Note("opinion", text, author=sheet.performed_by)
    yield from sentences.opinion(sheet)


def _stage_cautions(stage: Stage, given: Given) -> Iterator[str]:
    limits = tolerance_for("error", given)
    for point, typed in zip(stage.points, stage.typed, strict=True):
        wanted = stability(typed, given).readings
        if typed.interval_s is None and len(typed.values) >= wanted > 1:
            yield f"the time between the readings in {point.id} was not entered: stability is shown in part."
        if point.crept:
            yield (
                f"the readings in {point.id} still crept one way, from {point.crept[0].text} to "
                f"{point.crept[-1].text}: the last one counts and not their mean; the sensor was not yet as "
                "warm as the bath."
            )
        if point.unsteady:
            moved = point.unsteady.startswith(NOT_STABLE)
            yield f"in {point.id} {point.unsteady}{'; stir, wait and read again' if moved else ''}."
        if point.thermometer is not None and not point.thermometer.calibration_due:
            yield f"the list of standards holds no calibration date for {point.thermometer.id}."
        half = limits.half_width(point.true) if limits is not None else None
        if half is not None and max(r.digit for r in point.readings) > half / 2:
            yield (
                f"the display shows {point.readings[-1].text}: its last digit is more than half of the "
                f"tolerance of {half} {unit_of(given)}, so a pass says little."
            )
        if point.ohm is not None and typed.lead_ohm is None:
            yield (
                f"the resistance of the leads in {point.id} was not entered; each ohm of them reads as "
                f"{ONE_OHM} °C."
            )


def _pointers(found: Mapping[str, Stage], checks: Sequence[Check]) -> Iterator[Note]:
    """Say what the errors may come from and what would separate it: candidates, never a verdict."""
    stage = found["as_found"]
    if Result(tuple(checks)).outcome("as_found") is not Outcome.FAIL or not stage.points:
        return
    gain = stage.quantities.get("gain")
    if gain is None:
        text = (
            "One bath does not tell an offset from a gain: read in a second one before anything is adjusted."
        )
    elif abs(gain.value) > float(gain.expanded):
        text = (
            f"The error changes with the temperature ({gain.value:+.1f} %). It may be the element type set "
            "in the transmitter, or immersion. What separates them: the resistance of the element in the "
            "same bath, and the type in the menu."
        )
    else:
        text = (
            "The error is the same in both baths within U. It may be the leads, an offset in the menu, or "
            "the element. What separates them: the resistance of the element and of its leads in the same "
            "bath."
        )
    yield Note("advice", text, "candidates, not a verdict: common practice")


def _statements(given: Given, found: Mapping[str, Stage], measured: Sequence[Stage]) -> Iterator[str]:
    if measured:
        yield SYMBOLS
    if built_in(given):
        yield (
            f"{given.analyzer.tag} measures {given.analyzer.measures}; checked here is the temperature built "
            "into it, by the tolerance thermometer of the register."
        )
    if found["as_left"].same_as:
        yield "Nothing was adjusted: as found = as left."
    if any(point.element_c is not None for stage in measured for point in stage.points):
        yield (
            "The tolerance class says what an element may deviate when it is new; it is judged by itself and "
            "advises on the element. It is no part of the uncertainty and no part of the verdict on the "
            "display."
        )


def _cannot_see(given: Given, measured: Sequence[Stage]) -> Iterator[str]:
    for reason in dict.fromkeys(no_two(stage, given) for stage in measured):
        if reason:
            yield f"{reason[0].upper()}{reason[1:]}."
    points = [point for stage in measured for point in stage.points]
    if not points:
        return
    yield (
        "What the place in the pipe does: a sensor that is right in a bath still shows pipe, wall or "
        "thermowell where it sits."
    )
    named = {point.thermometer.id for point in points if point.thermometer is not None}
    if len(named) == 1 and all(point.thermometer is not None for point in points):
        yield (
            f"What {named.pop()} has wrong everywhere: all baths were read against it; an ice point "
            f"would show it."
        )
    low, high = min(p.true for p in points), max(p.true for p in points)
    yield f"What happens outside {low} to {high}: nothing was read there."
    if any(point.element_c is None for point in points):
        yield "Whether an error sits in the element or behind it: its resistance was not read in every bath."
