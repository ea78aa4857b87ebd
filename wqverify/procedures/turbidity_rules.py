"""What the turbidity procedures refuse before they compute, and what brakes an adjustment."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.parts import Head, Read
from wqverify.procedures.rules import refuse_expired, refuse_outside, refuse_visit, standard
from wqverify.procedures.turbidity_parts import Adjusted, Dilution, OnStandards, Process, TurbidityPoint, Zero
from wqverify.procedures.turbidity_stages import TITLES, Stage
from wqverify.terms import Assigned, Earlier, Given, Reading, Standard

CALIBRATION = "turbidity_calibration"
BOOK_NUMBER = re.compile(r"[A-Za-z0-9]{1,12}-[0-9]{4}-[0-9]{4,}")  # as the book numbers records
UNITS = ("NTU", "FNU")  # on formazin the same number
GAIN_FROM = Decimal(1)  # NTU above the zero water that a gain is taken from at least
SENSIBLE_GAIN = (Decimal("0.5"), Decimal(2))  # between as found and adjusted; beyond, something is mistaken

USE = 'or write use = "information only", which shows the result without a pass.'


def refuse(sheet: Head, given: Given, secondary: bool) -> None:
    """Raise CorrectTheEntry or ChooseAnother where the sheet cannot be computed as it stands.

    ``secondary`` says whether a secondary standard may stand among the points.
    """
    refuse_visit(sheet, given)
    refuse_other_analyzer(given)
    for stage in TITLES:
        part = getattr(sheet, stage)
        if isinstance(part, OnStandards):
            _refuse_stage(stage, part, sheet, given, secondary)
    for name in ("process_before", "process_after"):
        part = getattr(sheet, name, None)
        if isinstance(part, Process):
            _refuse_outside(f"{name}.ntu", "The display of the process", part.ntu, given)


def refuse_other_analyzer(given: Given) -> None:
    """Raise ChooseAnother for an analyzer that does not measure turbidity."""
    analyzer = given.analyzer
    if analyzer.unit not in UNITS:
        raise ChooseAnother(
            f"{analyzer.tag} measures {analyzer.measures} in {analyzer.unit}; this procedure is for "
            f"turbidity in {' or '.join(UNITS)}. Name a turbidity analyzer, or take the procedure of this "
            f"one.",
            found=analyzer.unit,
            expected=" or ".join(UNITS),
            where="tag",
        )


def _refuse_stage(stage: str, part: OnStandards, sheet: Head, given: Given, secondary: bool) -> None:
    seen: dict[str, int] = {}
    for index, point in enumerate(part.points):
        path = f"{stage}.points.{index}"
        first = seen.setdefault(point.standard, index) if point.diluted is None else index
        if first != index:
            raise CorrectTheEntry(
                f"{TITLES[stage].capitalize()} has the standard {point.standard} twice (points {first + 1} "
                f"and {index + 1}); keep one with all its readings, or name the standard that was really "
                f"used.",
                found=point.standard,
                where=f"{path}.standard",
            )
        _refuse_point(
            path, f"{TITLES[stage].capitalize()}, point {index + 1}", point, sheet, given, secondary
        )
    if isinstance(part.zero, Zero):
        title = f"{TITLES[stage].capitalize()}, zero water"
        refuse_water(f"{stage}.zero.water", title, part.zero.water, sheet.date, given)
        _refuse_readings(f"{stage}.zero", title, part.zero, given)


def _refuse_point(
    path: str, title: str, point: TurbidityPoint, sheet: Head, given: Given, secondary: bool
) -> None:
    known = standard(point.standard, f"{path}.standard", given)
    _refuse_readings(path, title, point, given)
    if known.value is None:
        if not secondary:
            raise ChooseAnother(
                f"{title}: {known.id} is a secondary standard, its value came from this analyzer; an "
                f"analyzer is calibrated with primary standards (formazin or an approved polymer). Enter it "
                f"under assign.",
                found=known.id,
                expected="a primary standard",
                where=f"{path}.standard",
            )
        _refuse_secondary(f"{path}.standard", title, known, point, sheet, given)
    else:
        insist_on_turbidity(f"{path}.standard", title, known)
    if point.diluted:
        refuse_dilution(f"{path}.diluted", title, point.diluted, sheet.date, given)
    if not point.use:
        ways = f"read in another standard that is in date; {USE}"
        refuse_expired(f"{path}.standard", title, known, sheet.date, ways)


def _refuse_secondary(
    path: str, title: str, known: Standard, point: TurbidityPoint, sheet: Head, given: Given
) -> None:
    """A value of a secondary standard holds for one analyzer, until its next primary calibration."""
    tag = given.analyzer.tag
    if point.diluted:
        raise CorrectTheEntry(
            f"{title}: {known.id} is a secondary standard and cannot be diluted; name the primary standard "
            f"that was diluted.",
            found=known.id,
            where=path,
        )
    ways = f"read in a primary standard; or calibrate {tag} with primary ones and assign {known.id} a value."
    row = known.assigned_to(tag, sheet.date)
    if row is None:
        others = ", ".join(sorted({f"{other.tag} ({other.on})" for other in known.assigned})) or "none"
        raise ChooseAnother(
            f"{title}: {known.id} has no value for {tag} on {sheet.date}; values are assigned for {others}. "
            f"A value holds for the analyzer it was assigned on. Ways on: {ways}",
            found=others,
            expected=f"a value assigned for {tag} by {sheet.date}",
            where=path,
        )
    newest = last_calibration(given)
    if newest is not None and newest.number != row.after:
        _refuse_other_calibration(path, f"{title}: the value of {known.id} for {tag}", row, newest, ways)
    if newest is not None and newest.number == row.after:
        _refuse_mistyped(path, f"{title}: the value of {known.id} for {tag}", known.id, row, newest)
    recorded = newest.serial if newest is not None and newest.number == row.after else ""
    for seen_by in (row.serial, recorded):
        if seen_by and seen_by != given.analyzer.serial:
            raise ChooseAnother(
                f"{title}: the value of {known.id} for {tag} was assigned on the instrument {seen_by}, the "
                f"plate now says {given.analyzer.serial}; another instrument sees another value. Ways on: "
                f"{ways}",
                found=seen_by,
                expected=given.analyzer.serial,
                where=path,
            )


def _refuse_mistyped(path: str, value: str, name: str, row: Assigned, newest: Earlier) -> None:
    """What is typed as assigned after a record of the book is what that record assigned, and when."""
    told, day = newest.facts.get(f"assigned.{name}", ""), newest.performed[:10]
    found = ""
    if told and Decimal(told) != row.value:
        found, expected = f"is {row.value}", f"assigned {told}"
    elif row.on < day:
        found, expected = f"was assigned on {row.on}", f"was on {day}"
    elif not told and any(key.startswith("assigned.") for key in newest.facts):
        found, expected = f"is {row.value}", "assigned it none"
    if found:
        raise ChooseAnother(
            f"{value} {found} in standards_on_hand.toml, and the calibration {newest.number} {expected}; "
            f"type it there as the record gives it.",
            found=found,
            expected=expected,
            where=path,
        )


def _refuse_other_calibration(path: str, value: str, row: Assigned, newest: Earlier, ways: str) -> None:
    """A value that is not of the newest calibration in the book is of a later one on paper, or of none."""
    day = newest.performed[:10]
    assigned = f"{value} was assigned on {row.on} after {row.after}"
    if day >= row.on:
        raise ChooseAnother(
            f"{assigned} and is void since the primary calibration {newest.number} of {day}. Ways on: enter "
            f"the value that {newest.number} assigned; {ways}",
            found=row.after,
            expected=newest.number,
            where=path,
        )
    if BOOK_NUMBER.fullmatch(row.after):
        raise ChooseAnother(
            f"{assigned}, and the newest primary calibration in the book is {newest.number} of {day}, not "
            f"{row.after}. Ways on: correct the number or the day in standards_on_hand.toml; enter the value "
            f"that {newest.number} assigned; {ways}",
            found=row.after,
            expected=newest.number,
            where=path,
        )


def instrument_known(row: Assigned, given: Given) -> bool:
    """Return whether entry or record say on which instrument a value was assigned."""
    newest = last_calibration(given)
    return bool(row.serial) or (newest is not None and newest.number == row.after)


def last_calibration(given: Given) -> Earlier | None:
    """Return the newest primary calibration of this tag among what the visit looks back at."""
    found = [row for row in given.earlier if row.procedure == CALIBRATION]
    return max(found, key=lambda row: row.performed, default=None)


def insist_on_turbidity(path: str, title: str, known: Standard, water: bool = False) -> None:
    """Raise ChooseAnother for a bottle that has no turbidity, or one that only water may have."""
    if known.value is None or known.unit not in UNITS:
        raise ChooseAnother(
            f"{title}: {known.id} ({known.name}) has no turbidity in standards_on_hand.toml; name a standard "
            f"with a value in {' or '.join(UNITS)}.",
            found=f"{known.value} {known.unit}" if known.value is not None else "no value",
            expected="a value in NTU",
            where=path,
        )
    if known.value < 0 or (known.value == 0 and not water):
        expected = "0 or more" if water else "more than 0"
        raise ChooseAnother(
            f"{title}: {known.id} ({known.name}) is worth {known.value} {known.unit}, and the value of "
            f"{'water' if water else 'a standard'} is {expected}. Correct it in standards_on_hand.toml, or "
            f"name another.",
            found=f"{known.value}",
            expected=expected,
            where=path,
        )


def refuse_water(path: str, title: str, name: str, day: str, given: Given) -> None:
    """Raise ChooseAnother for zero or dilution water without a turbidity of its own, or past its date."""
    water = standard(name, path, given)
    insist_on_turbidity(path, title, water, water=True)
    refuse_expired(path, f"{title}, water", water, day, "prepare a fresh batch and enter it.")


def refuse_dilution(path: str, title: str, made: Dilution, day: str, given: Given) -> None:
    """Raise CorrectTheEntry for volumes that do not fit, ChooseAnother for water without a turbidity."""
    refuse_water(f"{path}.water", title, made.water, day, given)
    for number, step in enumerate(made.steps):
        refuse_volumes(f"{path}.steps.{number}", title, step.pipetted_ml, step.to_ml)


def refuse_volumes(path: str, title: str, pipetted: Reading, to: Reading) -> None:
    """Raise CorrectTheEntry for volumes that make no dilution."""
    if not 0 < pipetted.value <= to.value:
        raise CorrectTheEntry(
            f"{title}: {pipetted.text} mL cannot be made up to {to.text} mL; the volume pipetted is more "
            f"than 0 and no more than the flask holds. Type both as they were.",
            found=f"{pipetted.text} mL to {to.text} mL",
            expected="more than 0 and up to the flask",
            where=f"{path}.pipetted_ml",
        )


def _refuse_readings(path: str, title: str, read: Read, given: Given) -> None:
    for index, reading in enumerate(read.readings):
        _refuse_outside(f"{path}.readings.{index}", f"{title}, reading {index + 1}", reading, given)


def _refuse_outside(path: str, title: str, reading: Reading, given: Given) -> None:
    refuse_outside(path, title, reading.value, given, given.analyzer.low, given.analyzer.high)


# ---------------------------------------------------------------- brakes on adjusting


def brake(sheet: Any, before: Stage | None) -> None:
    """Raise CorrectTheEntry where an adjustment is not founded on what was read before it.

    ``before`` is the last stage that was read before the adjustment. What a person may overrule with
    ``despite`` is said; a gain from standards as good as zero, and a zero without zero water, nobody may.
    """
    decision, adjusted = sheet.decision, sheet.adjusted
    if decision is None or not isinstance(adjusted, Adjusted) or decision.action == "replace":
        return
    _refuse_no_foundation(adjusted, before)
    reason = "; ".join(_reasons_to_stop(adjusted, before))
    if reason and not decision.despite:
        raise CorrectTheEntry(
            f"{reason[0].upper()}{reason[1:]}. Nothing is adjusted to that: correct the readings, clean and "
            f"read "
            f'again, or write decision.despite = "..." with your reason to go on.',
            where="decision.action",
        )


def _refuse_no_foundation(adjusted: Adjusted, before: Stage | None) -> None:
    zero = before.zero if before else None
    if adjusted.zero_from is not None and zero is None:
        raise CorrectTheEntry(
            "The zero was adjusted and no zero water was read before it; a zero is set in zero water only. "
            "Read in zero water, or leave the zero as it was.",
            found="no zero water",
            expected="readings in zero water",
            where="adjusted.zero_to",
        )
    if adjusted.gain_from is None:
        return
    top = [p for p in before.points if p.kind == "primary" and not p.information] if before else []
    water = zero.exact if zero else Decimal(0)
    apart = max((point.exact - water for point in top), default=Decimal(0))
    if apart < GAIN_FROM:
        found = f"{apart} NTU above the water" if top else "no primary standard"
        raise CorrectTheEntry(
            f"A gain needs a primary standard in date at least {GAIN_FROM} NTU above the zero water; before "
            f"the adjustment there was {found}. Read in a higher standard, or leave the gain as it was.",
            found=found,
            expected=f"at least {GAIN_FROM} NTU",
            where="adjusted.gain_to",
        )


def _reasons_to_stop(adjusted: Adjusted, before: Stage | None) -> Iterator[str]:
    assert before is not None  # there was a foundation
    for point in before.points:
        if point.unsteady:
            yield f"in {point.id} {point.unsteady}"
        elif point.information:
            yield f"{point.id} was read for information only"
    gain = before.quantities.get("gain")
    low, high = SENSIBLE_GAIN
    if adjusted.gain_from is not None and gain is not None and not low <= gain.value <= high:
        yield (
            f"the readings before the adjustment ask for a gain {gain.value:.3g} times the present one; "
            f"{low} to {high} is sensible, so a reading is mistyped, a dilution mistaken (stock 400 or "
            f"4000?) or the lamp at its end"
        )
