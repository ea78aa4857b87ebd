"""What an outage refuses, each in one sentence with the way on: times, units, records that return nothing."""

from __future__ import annotations

from collections.abc import Iterator

from wqverify.calculations.outage import SMALL_SYSTEM
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.grab_compare import other_unit
from wqverify.procedures.outage_rules import (
    BY_PEOPLE,
    DAYS,
    WORKING_DAYS,
    by_people,
    clock,
    instant,
    is_chlorine,
    is_ground_water,
    people_served,
)
from wqverify.procedures.outage_sheet import Failed, OutageSheet, Returned
from wqverify.procedures.rules import refuse_visit
from wqverify.procedures.tail import OUT_OF_SERVICE
from wqverify.terms import Cited, Given, Standard


def refuse(sheet: OutageSheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother where the sheet cannot be computed as it stands."""
    refuse_visit(sheet, given)
    _refuse_two_times(given)
    _refuse_schedule(sheet, given)
    _refuse_opening(sheet, given)
    for path, earlier, words in _ordered(sheet):
        _refuse_before(path, earlier, words, given)
    _refuse_units(sheet, given)
    _refuse_bottles(sheet, given)
    _refuse_return(sheet, given)


def _refuse_two_times(given: Given) -> None:
    if WORKING_DAYS in given.analyzer.settings and DAYS in given.analyzer.settings:
        raise CorrectTheEntry(
            f"{given.analyzer.tag} has both {WORKING_DAYS} and {DAYS} in analyzers.toml, and one repair time "
            f"holds: keep {WORKING_DAYS} (5 for surface-water chlorine and for turbidity with 10 000 people "
            f"and more) or {DAYS} (14 for turbidity of smaller systems and for ground-water chlorine).",
            found=f"{WORKING_DAYS} and {DAYS}",
            expected="one of them",
            where="tag",
        )


def _refuse_schedule(sheet: OutageSheet, given: Given) -> None:
    people = people_served(given)
    if not by_people(sheet):
        return
    if not is_chlorine(given):
        why = f"holds for chlorine alone, and {given.analyzer.tag} measures {given.analyzer.measures}"
    elif people is None:
        why = f"needs the setting people_served of {given.analyzer.tag} in analyzers.toml"
    elif is_ground_water(given):
        why = (
            f"is that of surface water, and {DAYS} of {given.analyzer.tag} is the repair time of ground water"
        )
    elif people > SMALL_SYSTEM:
        why = f"holds up to {SMALL_SYSTEM} people served, and the register says {people}"
    else:
        return
    raise CorrectTheEntry(
        f"schedule: a number of grabs a day {why} (40 CFR 141.74(c)(2)). Take it out: grabs are then due "
        "every "
        f"4 hours.",
        found=BY_PEOPLE,
        where="schedule",
    )


def _refuse_opening(sheet: OutageSheet, given: Given) -> None:
    number = sheet.failed.record if isinstance(sheet.failed, Failed) else None
    known = given.records.get(number or "")
    if known is not None and known.tag != given.analyzer.tag:
        raise _another("failed.record", known, given, "name a record of this analyzer, or leave it out")


def _another(path: str, known: Cited, given: Given, way: str) -> ChooseAnother:
    return ChooseAnother(
        f"{path}: record {known.number} is of {known.tag}, and this sheet is of {given.analyzer.tag}; {way}.",
        found=known.tag,
        expected=given.analyzer.tag,
        where=path,
    )


def _ordered(sheet: OutageSheet) -> Iterator[tuple[str, str, str]]:
    """Give the times that may not lie before another one: path, path of the earlier, both in words."""
    start = "failed.at"
    yield "failed.found_at", start, "It was found at {}, before it failed at {}"
    for n in range(len(sheet.grab)):
        here = f"grab.{n}"
        yield f"{here}.collected", start, f"Grab {n + 1} was collected at {{}}, before the failure at {{}}"
        words = f"Grab {n + 1} was analysed at {{}}, before it was collected at {{}}"
        yield f"{here}.analysed", f"{here}.collected", words
    for n in range(len(sheet.standstill)):
        here = f"standstill.{n}"
        words = f"Standstill {n + 1} ended at {{}}, before it began at {{}}"
        yield f"{here}.until", f"{here}.since", words
    for n in range(len(sheet.notice)):
        words = f"Notice {n + 1} was given at {{}}, before the failure at {{}}"
        yield f"notice.{n}.at", start, words
    yield "returned.at", start, "It was back in service at {}, before it failed at {}"


def _refuse_before(path: str, earlier: str, words: str, given: Given) -> None:
    here, there = given.times.get(path), given.times.get(earlier)
    if here and there and instant(here) < instant(there):
        raise CorrectTheEntry(
            f"{words.format(clock(here), clock(there))}; correct one of them, and give the date too where it "
            f"is that of another day.",
            found=here,
            expected=f"not before {there}",
            where=path,
        )


def _refuse_units(sheet: OutageSheet, given: Given) -> None:
    for n, grab in enumerate(sheet.grab):
        if wrong := other_unit(grab.lab, given):
            raise CorrectTheEntry(
                f"Grab {n + 1}: {wrong}.",
                found=grab.result,
                expected=given.analyzer.unit,
                where=f"grab.{n}.result",
            )
        if grab.lab.value < 0:
            raise CorrectTheEntry(
                f"Grab {n + 1}: its result is {grab.result}, and neither a residual nor a turbidity lies "
                f"below 0; type what the slip says.",
                found=grab.result,
                expected="0 or more",
                where=f"grab.{n}.result",
            )


def is_back(sheet: OutageSheet, given: Given) -> bool:
    """Whether a check is named that can have given it back: a wrong number stops no clock."""
    if not isinstance(sheet.returned, Returned) or sheet.returned.record not in given.records:
        return False
    try:
        _refuse_return(sheet, given)
    except (ChooseAnother, CorrectTheEntry):
        return False
    return True


def _refuse_bottles(sheet: OutageSheet, given: Given) -> None:
    for n, grab in enumerate(sheet.grab):
        known = given.standards.get(grab.instrument)
        if known is not None and holds_a_value(known):
            raise ChooseAnother(
                f"Grab {n + 1} names {known.id} ({known.name}), which is a standard and measures nothing; "
                f"name the instrument it was measured with.",
                found=known.id,
                expected="an instrument",
                where=f"grab.{n}.instrument",
            )


def _refuse_return(sheet: OutageSheet, given: Given) -> None:
    if not isinstance(sheet.returned, Returned):
        return
    path = "returned.record"
    known = given.records.get(sheet.returned.record)
    if known is None:
        return
    if known.tag != given.analyzer.tag:
        raise _another(path, known, given, "name the check that returned this one to service")
    if known.ended:
        raise ChooseAnother(
            f"{path}: record {known.number} is {known.ended}; name the one that stands in its place.",
            found=known.ended,
            where=path,
        )
    if known.status == OUT_OF_SERVICE:
        raise ChooseAnother(
            f"{path}: record {known.number} left {known.tag} out of service; name the check that returned "
            "it, "
            f'or say returned.not_done = "because ..." while it is out.',
            found=known.status,
            where=path,
        )
    _refuse_check_before(path, known, given)


def holds_a_value(known: Standard) -> bool:
    """Whether an entry of the standards on hand is a bottle or a block with a value of its own."""
    return bool(known.value is not None or known.table or known.own or known.assigned)


def _refuse_check_before(path: str, known: Cited, given: Given) -> None:
    failed, back = given.times.get("failed.at"), given.times.get("returned.at")
    ended = worked_until(known)
    if failed and instant(ended) <= instant(failed):
        raise ChooseAnother(
            f"{path}: the work of record {known.number} ended at {clock(ended)}, and it failed at "
            f"{clock(failed)}; a check before the failure returns nothing to service.",
            found=ended,
            expected=f"after {failed}",
            where=path,
        )
    if back and instant(back) < instant(known.performed):
        raise CorrectTheEntry(
            f"It was back in service at {clock(back)}, before the check of record {known.number} began at "
            f"{clock(known.performed)}; correct the time, or name another check.",
            found=back,
            expected=f"not before {known.performed}",
            where="returned.at",
        )


def worked_until(known: Cited) -> str:
    """Return when the work of a record ended, its beginning where that is not known."""
    return next((one.end for one in known.windows if one.what == "visit" and one.end), known.performed)
