"""The sentences of a level check: cautions, advice, candidates, statements, and what it cannot see."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

from wqverify.calculations import level
from wqverify.calculations.uncertainty import round_to
from wqverify.calculations.units import in_unit
from wqverify.procedures import sentences
from wqverify.procedures.grab_notes import TELL
from wqverify.procedures.level_budget import water_quantity
from wqverify.procedures.level_lines import Ends
from wqverify.procedures.level_parts import Adjusted, Service, TownTold
from wqverify.procedures.level_points import PLACES, STAGES, Point, elevations, range_at
from wqverify.procedures.level_rules import Found, kind_of, ours, short, why_not_adjust
from wqverify.procedures.level_sheet import LevelSheet
from wqverify.procedures.level_shown import distance_of, stored_of, water_of
from wqverify.procedures.parts import NotDone
from wqverify.terms import Caution, Check, Given, Note

CAUTIONS = (
    TELL,
    Caution(
        "Another owner's tank: no hatch, loop or setting is touched without the owner's word.",
        "common practice",
    ),
    Caution(
        "A tank, vault or wet well is a confined space: no entry without permit, air test and attendant.",
        "29 CFR 1910.146",
    ),
    Caution(
        "Ladder and roof: fall protection, no lone work, nothing in the hand; no work in lightning or ice.",
        "common practice",
    ),
    Caution(
        "Nothing falls into drinking water: tape on a line, clean and disinfected; the hatch is locked "
        "again.",
        "common practice",
    ),
    Caution(
        "Pumps and valves follow this level: an opened loop reads empty and fills the tank over, an injected "
        "current moves them; in manual, or held, first.",
        "common practice",
    ),
    Caution(
        "A vent tube stays open and dry; an echo inside the blanking distance is not seen.", "common practice"
    ),
)
LEAST_APART = Decimal("0.1")  # of the range, between two levels that try it; common practice, no source
PURE = 998.2  # kg/m3 at 20 °C, where the temperature was not taken


def notes(
    sheet: LevelSheet, given: Given, found: Found, checks: Sequence[Check], ends: Sequence[Ends]
) -> Iterator[Note]:
    """Give all sentences of a check, the cautions first."""
    adjusted = isinstance(sheet.adjusted, Adjusted)
    for text in (*sentences.person_cautions(sheet, given), *_cautions(sheet, given, found)):
        yield Note("caution", text)
    injected = any(point.injected for point in found.points)
    touched = adjusted or injected or isinstance(sheet.service, Service)
    handed_back = sentences.handed_back(sheet, sheet.status, checks, touched)
    for text in (*sentences.undecided(checks), *handed_back):
        yield Note("caution", text)
    at_transmitter = isinstance(sheet.adjusted, Adjusted) and sheet.adjusted.where == "transmitter"
    for note in sentences.advice(checks, at_transmitter):
        text = note.text.replace("It ", "The transmitter ", 1)
        if any(_one_level("as_found", found, given)):
            text = text.replace(" as found", " as found at the level read", 1)
        yield replace(note, text=text)
    for end in ends:
        yield from _end(end, given)
    for text in (*_statements(sheet, given), *sentences.clocks(sheet, given)):
        yield Note("statement", text)
    for text in _cannot_see(sheet, given, found):
        yield Note("cannot see", text)
    if sheet.decision and sheet.decision.despite:
        reason = why_not_adjust(sheet.decision.action, found)
        text = f"Goes on in spite of a brake ({reason}): {sheet.decision.despite}"
        yield Note("opinion", text, author=sheet.performed_by)
    yield from sentences.opinion(sheet)


# ---------------------------------------------------------------- the two ends


def _end(end: Ends, given: Given) -> Iterator[Note]:
    line, (low, high), unit = end.line, end.transmitter, given.analyzer.unit
    where = PLACES[line.place]
    assert line.low is not None
    assert line.high is not None
    low_found, high_found = (
        f"{round_to(one.decimal, one.expanded)} (U {one.expanded})" for one in (line.low, line.high)
    )
    found = f"as if 4 mA were {low_found} and 20 mA {high_found} {unit}"
    if end.agrees:
        yield Note(
            "statement", f"{_capital(where)} goes with the transmitter's {low} to {high} {unit} within U."
        )
        return
    yield Note(
        "advice",
        f"{_capital(where)} does not go with the transmitter's {low} to {high} {unit}: it shows {found}.",
        "its line on the loop current, against the range of the transmitter",
    )
    if end.too_near:
        text = (
            f"The currents lie too near to each other to tell how {where} is scaled; inject a low and a high."
        )
        yield Note("advice", text, "common practice")
    for candidate in end.candidates:
        text = f"Candidate, not a verdict: {candidate.words}. What would tell: {candidate.separate}."
        yield Note("advice", text, "fits within U; common practice, no source")


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


# ---------------------------------------------------------------- cautions


def _cautions(sheet: LevelSheet, given: Given, found: Found) -> Iterator[str]:
    if not ours(given) and isinstance(sheet.permission, NotDone):
        yield (
            f"{given.analyzer.tag} belongs to {given.analyzer.owner}, and nobody gave permission: "
            f"{sheet.permission.not_done}."
        )
    if isinstance(sheet.town_told, NotDone):
        yield f"The town was not told: {sheet.town_told.not_done}."
    injected = any(point.injected for point in found.points)
    if injected and sheet.loop_in_manual is None and sheet.output_held is None:
        yield "A current was injected, and it is not said what kept pumps and alarms from following it."
    for point in found.points:
        yield from _point_cautions(sheet, point, given)
    yield from _other_range(sheet, given)
    if (
        isinstance(sheet.adjusted, Adjusted)
        and sheet.adjusted.where != "transmitter"
        and not sheet.adjusted.by
    ):
        yield f"{_capital(sheet.adjusted.where)} was changed, and it is not said by whom."


def _point_cautions(sheet: LevelSheet, point: Point, given: Given) -> Iterator[str]:
    unit = given.analyzer.unit
    far = [place for place in ("remote", "own") if place in point.shown]
    heard = point.heard or _said_how(point, far, given)
    if far and not point.injected and not heard:
        yield f"{_capital(point.words)}: it is not said how the values of the far end were learned."
    blanking, distance = stored_of(sheet).blanking, distance_of(sheet, point, given)
    if kind_of(sheet, given) != "ultrasonic" or blanking is None or distance is None:
        return
    near = in_unit(blanking, unit, "stored.blanking").value
    if distance <= near:
        yield (
            f"{_capital(point.words)}: the water lay {distance:f} {unit} below the sensor, inside its "
            f"blanking "
            f"distance of {near:f} {unit}: what it shows there is no level."
        )


def _said_how(point: Point, far: Sequence[str], given: Given) -> str:
    """How a value was heard where it was stepped through: kept beside the answer."""
    said = [given.said.get(f"{point.path}.{place}") for place in far]
    return next((one.heard or one.by for one in said if one is not None), "")


def _other_range(sheet: LevelSheet, given: Given) -> Iterator[str]:
    read = range_at("transmitter", "as_found", sheet, given)
    held = range_at("transmitter", "as_found", sheet.model_copy(update={"ranges": None}), given)
    if read is not None and held is not None and read != held:
        yield (
            f"The range read at the transmitter is {read[0]:f} to {read[1]:f} {given.analyzer.unit}, and the "
            f"register has {held[0]} to {held[1]}: currents are taken by the one that was read."
        )


def _one_level(stage: str, found: Found, given: Given) -> Iterator[str]:
    """What a pass does not say where the levels lie too near to each other to try the range."""
    points = [p for p in found.of(stage) if p.nominal is not None]
    levels = [p.nominal for p in points if not p.injected and p.nominal is not None]
    least, unit = LEAST_APART * abs(given.analyzer.high - given.analyzer.low), given.analyzer.unit
    if not levels or max(levels) - min(levels) >= least:
        return
    every = [p.nominal for p in points if p.nominal is not None]
    alone = (
        "one level alone was read" if len(set(levels)) == 1 else "the levels lie so near that they are one"
    )
    if max(every) - min(every) >= least:
        untried = "the currents injected try the far ends, and the range of the transmitter was not tried"
    else:
        untried = "no range was tried, of the transmitter or of the far ends"
    yield (
        f"{STAGES[stage]}: {alone}, so a pass holds for that level only and {untried}: a wrong range can "
        f"look right there and be off everywhere else. Levels {short(least)} {unit} apart or more would "
        f"show it."
    )


# ---------------------------------------------------------------- statements


def _statements(sheet: LevelSheet, given: Given) -> Iterator[str]:
    known, unit = elevations(sheet, given), given.analyzer.unit
    yield (
        "In the hand calculations L is the level by the reference, counted from the transmitter's zero; "
        "mark, "
        "gauge and zero are elevations of one datum."
    )
    if known.mark is not None or known.gauge is not None:
        held = [
            f"{name} {value:f}" for name, value in (("mark", known.mark), ("gauge", known.gauge)) if value
        ]
        source = f"; from {known.source}" if known.source else "; it is not said where they are from"
        yield f"Elevations: {', '.join((*held, f'zero {known.zero:f}'))} {unit}{source}."
    if not isinstance(sheet.adjusted, Adjusted):
        yield "Nothing was adjusted: as found = as left, unless it was serviced."
    if isinstance(sheet.town_told, TownTold):
        yield f"The owner was told: {sheet.town_told.who}."


def _cannot_see(sheet: LevelSheet, given: Given, found: Found) -> Iterator[str]:
    for stage in STAGES:
        yield from _one_level(stage, found, given)
    yield (
        "A wrong elevation of the mark: every visit uses the same one, so agreement from visit to visit "
        "proves "
        "nothing about it."
    )
    if kind_of(sheet, given) == "hydrostatic":
        water = water_of(found)
        density = PURE if water is None else water_quantity(water, given).value
        metres = level.level_of_pressure(1.0, density)
        yield (
            f"A blocked vent tube on a calm day: 1 kPa of air pressure would be {metres:.3f} m of level, "
            f"and it "
            f"shows only when the weather changes."
        )
    if any(point.injected for point in found.points):
        yield "The transmitter itself, where a current is injected: that tests the way from there on only."
    if any(point.by_pressure for point in found.points):
        yield "A gauge and a hydrostatic transmitter have the density of the water in common."
