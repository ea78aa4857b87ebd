"""The sentences of a conductivity visit: cautions, advice, statements, and what it cannot see."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from wqverify.calculations.conductivity import REFERENCE_C, converted
from wqverify.procedures import sentences
from wqverify.procedures.conductivity_budget import Measured
from wqverify.procedures.conductivity_checks import as_found
from wqverify.procedures.conductivity_rules import why_not_adjust
from wqverify.procedures.conductivity_sheet import Adjusted, Compensation, ConductivitySheet, Process
from wqverify.procedures.conductivity_stages import Stage, before_adjusting, no_two, stability
from wqverify.procedures.conductivity_values import settings_differ
from wqverify.procedures.parts import Cleaned
from wqverify.procedures.rules import NOT_STABLE
from wqverify.procedures.turbidity_notes import AS_FOUND, TELL
from wqverify.terms import Caution, Check, Given, Note, Outcome, Result

CAUTIONS = (
    Caution(
        TELL.text.replace("a standard can trip a filter to waste", "a standard can trip an alarm or a valve"),
        TELL.source,
    ),
    AS_FOUND,
    Caution(
        "A cell in a pressurised line is shut off and relieved before it is taken out: it can fly out, and "
        "the water after it.",
        "common practice",
    ),
    Caution(
        "Standards and rinse water go to waste and never back into the bottle or into potable water: what "
        "the cell carries in changes the bottle, and a bottle is not potable.",
        "common practice",
    ),
    Caution(
        "Acid that cleans a cell hurts eyes and skin and gives off chlorine gas with bleach: goggles, "
        "gloves, the site's own rules.",
        "common practice",
    ),
    Caution(
        "Rinse twice with the standard before reading in it, no bubbles in the cell, and wait until cell and "
        "standard are equally warm: 1 °C apart is 2 %.",
        "common practice",
    ),
)
SYMBOLS = (
    "In the hand calculations K is what a standard is worth at its temperature t without compensation, E "
    "what the display should show of it, R what it showed, a the coefficient set in the transmitter, e an "
    "error. The standard's own change with temperature is in K and never in a."
)
NATURAL = (Decimal(60), Decimal(1000))  # µS/cm, for which the factors of ISO 7888 are meant
NEAR_C = Decimal(2)  # °C around the reference temperature: within it a wrong coefficient is not seen
DEAD = Decimal("0.5")  # of what it should show; below, the cell is as good as not there
ALIKE = Decimal("0.02")  # of each other, that displays over what they should be may lie apart


def notes(
    sheet: ConductivitySheet, given: Given, found: Mapping[str, Stage], checks: Sequence[Check]
) -> Iterator[Note]:
    """Give all sentences of a visit, the cautions first."""
    measured = [stage for stage in found.values() if not stage.same_as and not stage.not_done]
    adjusted = isinstance(sheet.adjusted, Adjusted)
    for text in (*sentences.person_cautions(sheet, given), *_set_cautions(sheet, given, measured)):
        yield Note("caution", text)
    for stage in measured:
        for text in (*_dead(stage, checks), *_stage_cautions(stage, given)):
            yield Note("caution", f"{stage.title.capitalize()}: {text}")
    touched = bool(measured) or isinstance(sheet.cleaned, Cleaned)
    handed_back = sentences.handed_back(sheet, sheet.status, checks, touched)
    for text in (*sentences.undecided(checks), *_after_adjusting(sheet, found), *handed_back):
        yield Note("caution", text)
    yield from _advice(checks, adjusted)
    yield from _pointers(found, checks)
    for text in (*_statements(found, measured), *sentences.clocks(sheet, given)):
        yield Note("statement", text)
    for text in _cannot_see(sheet, given, measured):
        yield Note("cannot see", text)
    if sheet.decision is not None and sheet.decision.despite:
        reason = why_not_adjust(before_adjusting(found))
        text = f"Goes on in spite of a brake ({reason or 'none'}): {sheet.decision.despite}"
        yield Note("opinion", text, author=sheet.performed_by)
    yield from sentences.opinion(sheet)


# ---------------------------------------------------------------- cautions


def _set_cautions(sheet: ConductivitySheet, given: Given, measured: Sequence[Stage]) -> Iterator[str]:
    typed = sheet.compensation if isinstance(sheet.compensation, Compensation) else None
    differ = settings_differ(sheet, given)
    if differ:
        yield f"{differ} The one of the menu counts here; correct the register or the menu."
    now = next((stage.set for stage in measured if stage.set is not None), None)
    if now is not None and now.source == "register":
        yield (
            f"Which compensation is set was not read in the menu; {now.words} is taken from the register, "
            "and another one would be taken for an error of the cell."
        )
    if typed is not None and typed.control_system_too == "yes" and typed.method != "none":
        yield (
            "The control system compensates a value that is compensated already: 10 °C away from 25 °C that "
            "is about 20 % in what is recorded. One of both has to be switched off."
        )
    process = sheet.process_before if isinstance(sheet.process_before, Process) else None
    if now is not None and now.method == "ISO 7888" and process is not None:
        low, high = (converted(limit, "uS/cm", given.analyzer.unit) for limit in NATURAL)
        if not low <= process.shown.value <= high:
            yield (
                f"The factors of ISO 7888 are meant for natural water of {low} to {high} "
                f"{given.analyzer.unit}; the process shows {process.shown.text}."
            )


def _dead(stage: Stage, checks: Sequence[Check]) -> Iterator[str]:
    """A zero that is right and standards that are far too low: what a zero check alone passes."""
    zero = next((c for c in checks if c.key == f"{stage.name}.zero.error"), None)
    low = [
        p for p in stage.points if p.expected is not None and p.expected > 0 and p.mean < DEAD * p.expected
    ]
    for point in low if zero is not None and zero.outcome is Outcome.PASS else ():
        assert point.expected is not None
        share = 100 * point.mean / point.expected
        yield (
            f"the zero is right and {point.id} shows {share:.0f} % of what it should: a zero check alone "
            "would have passed this cell."
        )


def _stage_cautions(stage: Stage, given: Given) -> Iterator[str]:
    if stage.points and stage.thermometer is None:
        yield "no reference thermometer is named; the temperature of the standards is taken as good to 1 °C."
    for point, typed in zip(stage.points, stage.typed, strict=True):
        wanted = stability(typed, given).readings
        if typed.interval_s is None and len(typed.values) >= wanted > 1:
            yield f"the time between the readings in {point.id} was not entered: stability is shown in part."
        if point.crept:
            yield (
                f"the readings in {point.id} still crept one way, from {point.crept[0].text} to "
                f"{point.crept[-1].text}: the last one counts and not their mean; cell and standard were not "
                "yet equally warm."
            )
        if point.unsteady:
            moved = point.unsteady.startswith(NOT_STABLE)
            yield f"in {point.id} {point.unsteady}{'; look for bubbles and warmth' if moved else ''}."
        alone = point.worth.per_c is not None and point.temperature.value != point.worth.stated_c
        if alone and not point.why_none:
            yield (
                f"{point.id} states one value at 25 °C; at {point.temperature.text} °C it is taken to change "
                "by 2.0 ± 0.3 % per °C (from memory). Enter the table of the bottle."
            )
    counted = stage.counted
    if stage.process is not None and counted:
        shown = [point.mean for point in counted]
        if not min(shown) <= stage.process.shown.value <= max(shown):
            yield (
                f"the standards do not bracket the process value {stage.process.shown.text}: the displays in "
                f"them were {min(shown)} to {max(shown)}."
            )


def _after_adjusting(sheet: ConductivitySheet, found: Mapping[str, Stage]) -> Iterator[str]:
    """A cell constant that was set to another number than the readings ask for is a mistyped one."""
    to = sheet.adjusted.cell_constant_to if isinstance(sheet.adjusted, Adjusted) else None
    if to is None or "as_found" not in found:
        return
    before = before_adjusting(found)
    asked = [q for p in before.counted if (q := before.quantities.get(f"{p.id}.cell_constant")) is not None]
    if asked and all(abs(float(to.value) - q.value) > float(q.expanded) for q in asked):
        texts = " or ".join(q.text for q in asked)
        yield (
            f"The cell constant was set to {to.text} 1/cm, and the readings before ask for {texts}: further "
            "off than U; look which number is mistyped."
        )


# ---------------------------------------------------------------- what the errors point to


def _advice(checks: Sequence[Check], adjusted: bool) -> Iterator[Note]:
    """Say what follows as found: only where everything passes is it left alone."""
    told = tuple(sentences.advice(checks, adjusted))
    other = [check for check in as_found(checks) if check.outcome is not Outcome.PASS]
    right = Result(tuple(checks)).outcome("as_found") is Outcome.PASS
    if not (right and other):
        yield from told
        return
    if adjusted:
        yield from told
    wrong = [check for check in other if check.outcome is not Outcome.NOT_EVALUATED]
    names = [_named(check) for check in wrong or other]
    what = "not inside its tolerance" if wrong else "not judged"
    yield Note(
        "advice",
        f"The cell is inside its tolerance as found; {what}: {'; '.join(names)}.",
        "common practice",
    )


def _named(check: Check) -> str:
    if check.quantity is None or check.outcome is Outcome.NOT_EVALUATED:
        return f"{check.label} ({check.reason})"
    shown = f"{check.quantity.text} {check.quantity.unit}"
    return f"{check.label} {shown}, allowed {check.low or '...'} to {check.high or '...'}"


def _pointers(found: Mapping[str, Stage], checks: Sequence[Check]) -> Iterator[Note]:
    """Say what the errors may come from and what would separate it: candidates, never a verdict."""
    stage = found.get("as_found")
    if stage is None or Result(tuple(checks)).outcome("as_found") is not Outcome.FAIL:
        return
    if any(c.key == "as_found.zero.error" and c.outcome is Outcome.FAIL for c in checks):
        text = (
            "The cell does not read zero dry in air. What separates the causes: unplug it at the "
            "transmitter; still not zero is the electronics, zero then is a wet plug, a short or a film on "
            "the cell."
        )
        yield Note("advice", text, "candidates, not a verdict: common practice")
    shares = [(p, p.mean / p.expected) for p in stage.counted if p.expected is not None and p.expected > 0]
    if len(shares) == 1:
        yield Note(
            "advice",
            "One standard does not tell a wrong cell constant from a wrong zero or from polarisation: read "
            "in a second one before anything is adjusted.",
            "common practice",
        )
    if len(shares) < 2 or not any(_is_off(c, stage) for c in checks):
        return
    (one, low), (other, high) = shares[0], shares[-1]
    pair = f"{one.id} shows {100 * low:.1f} %, {other.id} {100 * high:.1f} % of what it should"
    if abs(low - high) <= ALIKE:
        text = (
            f"{pair}: about one ratio. It may be the cell constant, a coating or the compensation. What "
            "separates them: clean and read again (coating), then read the cell constant and the "
            "compensation in the menu."
        )
    elif high < low:
        text = (
            f"{pair}: the error grows with the value. It may be polarisation, or a cell for a lower range. "
            "What separates them: a standard above, and the frequency or the kind of the cell."
        )
    else:
        text = (
            f"{pair}: the low standard is worse. It may be the zero, a leak to earth, or a bottle that has "
            "taken up water. What separates them: the cell dry in air, the plug unplugged, a fresh bottle."
        )
    yield Note("advice", text, "candidates, not a verdict: common practice")


def _is_off(check: Check, stage: Stage) -> bool:
    """Whether it is a standard that does not pass, or what follows from the standards."""
    keys = {"as_found.process.error", *(f"as_found.{point.id}.error" for point in stage.counted)}
    return check.key in keys and check.outcome in (Outcome.FAIL, Outcome.TOO_CLOSE)


# ---------------------------------------------------------------- statements, cannot see


def _statements(found: Mapping[str, Stage], measured: Sequence[Stage]) -> Iterator[str]:
    if any(stage.points for stage in measured):
        yield SYMBOLS
    said = set()
    for stage in measured:
        if stage.set is not None and stage.points and stage.set.words not in said:
            said.add(stage.set.words)
            yield f"Compensation against which each standard was put ({stage.set.source}): {stage.set.words}."
    as_left = found.get("as_left")
    if as_left is not None and as_left.same_as == "as_found":
        yield "Nothing was adjusted: as found = as left."
    elif as_left is not None and as_left.same_as:
        yield "Nothing was adjusted after cleaning: after cleaning = as left."
    yield from _cleaning(found)


def _cleaning(found: Mapping[str, Stage]) -> Iterator[str]:
    before, after = found.get("as_found"), found.get("after_cleaning")
    if before is None or after is None:
        return
    for point in before.points:
        cleaned = next((p for p in after.points if p.id == point.id), None)
        if cleaned is not None and cleaned.expected is not None and point.expected is not None:
            yield (
                f"Cleaning changed the error in {point.id} from {point.error:+f} to {cleaned.error:+f}; this "
                f"explains the as-found error and does not replace it."
            )


def _cannot_see(sheet: ConductivitySheet, given: Given, measured: Sequence[Stage]) -> Iterator[str]:
    for reason in dict.fromkeys(no_two(stage, given) for stage in measured):
        if reason:
            yield f"{reason[0].upper()}{reason[1:]}."
    points = [point for stage in measured for point in stage.points]
    if not points:
        return
    yield f"What happens above {_highest(points).id}: polarisation lowers what lies higher."
    if all(stage.zero is None for stage in measured):
        yield "A wrong zero or moisture in the plug: the cell was not read dry in air."
    compensated = any(stage.set is not None and stage.set.method != "none" for stage in measured)
    if compensated and all(abs(p.temperature.value - REFERENCE_C) <= NEAR_C for p in points):
        yield (
            f"A wrong coefficient of temperature: all standards were within {NEAR_C} °C of {REFERENCE_C} °C, "
            "where it does nothing."
        )
    if compensated and sheet.thermometer_check is None:
        yield "A wrong temperature element of the analyzer: its temperature was not compared."
    if isinstance(sheet.adjusted, Adjusted) and _same_bottles(measured):
        yield "A wrong bottle: as left was read in the bottle it was adjusted to, so it agrees by itself."
    yield (
        "The temperature of the water that no standard has: the compensation of natural water is not that of "
        "potassium chloride."
    )


def _highest(points: Sequence[Measured]) -> Measured:
    return max(points, key=lambda point: point.worth.exact)


def _same_bottles(measured: Sequence[Stage]) -> bool:
    lots = {stage.name: {p.id for p in stage.points} for stage in measured}
    left, earlier = lots.pop("as_left", set()), set().union(*lots.values()) if lots else set()
    return bool(left) and left <= earlier
