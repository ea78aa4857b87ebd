"""The sentences that belong to a turbidity calibration: gain, zero, adjusting, values assigned."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from wqverify.procedures.preparation_notes import quoted
from wqverify.procedures.turbidity_gain import NewValue
from wqverify.procedures.turbidity_inputs import bottle_cause
from wqverify.procedures.turbidity_notes import crept
from wqverify.procedures.turbidity_parts import Adjusted
from wqverify.procedures.turbidity_stages import Stage
from wqverify.terms import Given, Note, Standard, Value

LETTERS = (
    "K is the gain asked for as a factor of the present one, Z the reading in zero water, N(x) the turbidity "
    "that belongs to a display x."
)
NUMBER = "this record's number"  # not known before it is entered


def gain_notes(
    sheet: Any,
    given: Given,
    stages: Mapping[str, Stage],
    new: Sequence[NewValue],
    assigned: Sequence[Value],
    why_not: str,
) -> Iterator[Note]:
    """Give what is said besides the sentences of every turbidity visit."""
    for text in (*_adjusting(sheet, stages), *_no_value(new, why_not)):
        yield Note("caution", text)
    measured = [stage for stage in stages.values() if "gain" in stage.quantities and not stage.same_as]
    if measured:
        yield Note("statement", LETTERS)
    for stage in measured:
        yield from _stage_notes(stage, given.analyzer.unit)
    yield from _assigning(sheet, given, new, assigned)
    if isinstance(sheet.adjusted, Adjusted) and _one_origin(stages):
        text = (
            "A wrong primary standard: what the analyzer was adjusted to is what it was read in as left, so "
            "it reads right by construction; only a primary standard of another origin would show it."
        )
        yield Note("cannot see", text)
    if sheet.decision and sheet.decision.despite:
        text = f"Goes on in spite of a brake: {sheet.decision.despite}"
        yield Note("opinion", text, author=sheet.performed_by)


def _stage_notes(stage: Stage, unit: str) -> Iterator[Note]:
    zeroed = stage.zero is not None and stage.zero.counts
    high, low = stage.quantities["at_standard"], stage.quantities.get("at_working")
    if not zeroed:
        text = (
            f"{stage.title.capitalize()}: no zero water that counts was read, so the stray light is unknown "
            f"and all of the display counts as turbidity."
        )
        yield Note("caution", text)
    if low is not None:
        share = 100 * float(low.expanded) / abs(low.value) if low.value else None
        relative = f" ({share:.0f} %)" if share is not None else ""
        first = 100 * float(high.expanded) / abs(high.value)
        text = (
            f"{stage.title.capitalize()}: U is {high.expanded} {unit} at {high.value:.4g} {unit} "
            f"({first:.1f} %) and {low.expanded} {unit} at the process value of {low.value:.3g} "
            f"{unit}{relative}; what the certificate of the standard says does not reach down there, zero "
            f"water does."
        )
        yield Note("statement", text)


def _adjusting(sheet: Any, stages: Mapping[str, Stage]) -> Iterator[str]:
    adjusted = sheet.adjusted
    if not isinstance(adjusted, Adjusted):
        return
    before = stages.get("after_cleaning", stages["as_found"])
    before = before if before.points else stages["as_found"]
    gain = before.quantities.get("gain")
    if adjusted.gain_from and adjusted.gain_to and adjusted.gain_from.value and gain is not None:
        moved = float(adjusted.gain_to.value / adjusted.gain_from.value)
        sure = float(gain.expanded)
        # a calibration factor may divide where a gain multiplies
        if moved and min(abs(moved - gain.value), abs(1 / moved - gain.value)) > sure:
            yield (
                f"The gain was moved by a factor of {moved:.4f}; the readings ask for {gain.value:.4f} (U "
                f"{gain.expanded}): look at what was entered."
            )
    left = stages["as_left"]
    missing = [p.id for p in before.points if p.id not in {q.id for q in left.points}]
    if missing and left.points:
        yield f"As left was not read on {', '.join(missing)}, on which it was read before the adjustment."


def _no_value(new: Sequence[NewValue], why_not: str) -> Iterator[str]:
    for value in new:
        if value.measured.crept:
            yield f"Read to be assigned a value: {crept(value.measured)}"
        reason = why_not or value.measured.unsteady
        if reason:
            yield f"No value is assigned to {value.standard.id}: {reason}."


def _assigning(
    sheet: Any, given: Given, new: Sequence[NewValue], assigned: Sequence[Value]
) -> Iterator[Note]:
    tag = given.analyzer.tag
    found = {value.key: value for value in assigned}
    for value in new:
        if value.key in found:
            yield Note("advice", _lines(value, found[value.key], given, sheet.date))
        row = value.standard.assigned_to(tag, sheet.date)
        if row is not None:
            text = (
                f"The value {row.value} {given.analyzer.unit} of {value.standard.id} for {tag}, assigned "
                f"{row.on} after {row.after}, is void with this record."
            )
            yield Note("statement", text)
    text = (
        f"With this record every value assigned to a secondary standard for {tag} before it is void: a "
        f"standard that is not entered anew after it is refused at the next check of {tag}."
    )
    yield Note("statement", text)


def _lines(value: NewValue, found: Value, given: Given, day: str) -> str:
    """The entry to type, line by line."""
    q = found.quantity
    rows = [
        "[[standard.assigned]]",
        f'tag = "{given.analyzer.tag}"',
        f'value = "{q.text}"',
        f'on = "{day}"',
        f'after = "{NUMBER}"',
        f'serial = "{quoted(given.analyzer.serial)}"',
        f'expanded = "{q.expanded}"',
        f'k = "{q.k:.2f}"',
    ]
    return (
        f"Type under {value.standard.id} in standards_on_hand.toml, with the number of this record (at its "
        f"head) "
        f"for after:\n" + "\n".join(rows)
    )


def _one_origin(stages: Mapping[str, Stage]) -> bool:
    points = [p for stage in stages.values() for p in stage.points if p.kind == "primary"]
    return len({origin(point.standard) for point in points}) == 1


def origin(standard: Standard) -> str:
    """Return the bottle a standard comes from: of one that was prepared, its stock."""
    bottles = [part for part in standard.causes if part.cause.startswith("bottle:")]
    if not bottles:
        return bottle_cause(standard)
    return max(bottles, key=lambda part: Decimal(part.u)).cause
