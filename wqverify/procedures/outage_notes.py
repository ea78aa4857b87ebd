"""The sentences of an outage: cautions, advice, statements, and what it cannot see."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from wqverify.calculations.outage import SMALL_SYSTEM, grabs_a_day, minutes_between
from wqverify.procedures import sentences
from wqverify.procedures.grab_notes import CHLORINE_GAS, REAGENTS, WASTE
from wqverify.procedures.grab_sizes import holding_minutes, measurand_of
from wqverify.procedures.outage_case import Case, duration, duties, low_spells, made, stamp
from wqverify.procedures.outage_checks import last_calibration
from wqverify.procedures.outage_refused import worked_until
from wqverify.procedures.outage_rules import (
    NOT_ADVICE,
    PEOPLE_SOURCE,
    by_people,
    calibration_days,
    consult_limit,
    counts_calibration,
    instant,
    is_chlorine,
    people_served,
    repair_time,
    residual_limit,
)
from wqverify.procedures.outage_told import in_short, overdue, still_open
from wqverify.procedures.rules import holidays
from wqverify.procedures.tail import OUT_OF_SERVICE
from wqverify.terms import Caution, Note

CAUTIONS = (
    Caution(
        "Tell operations that its value is no value of the water: nothing may be dosed, alarmed or reported "
        "by it "
        "until it is back.",
        "common practice",
    ),
    Caution(
        "A loop in manual or a blocked alarm stays so as long as the outage lasts: agree who watches the "
        "water "
        "in its place, and how often.",
        "common practice",
    ),
    Caution(
        "Take the grabs where the monitor takes its water, and measure them by an approved method, by a "
        "person "
        "the State approved.",
        "40 CFR 141.74(a)",
    ),
    WASTE,
    REAGENTS,
    CHLORINE_GAS,
)
STATE = (
    "What a rule asks of an outage is stated here by the figures entered for this plant, with their sources. "
    "The State, a permit or local rules may ask for more, sooner and in another form: they decide."
)
MIDNIGHT = (
    "A business day is taken to end at midnight, because the rule names no hour; an office closes earlier."
)


def notes(case: Case) -> Iterator[Note]:
    """Give all sentences of an outage, the cautions first."""
    for text in (*sentences.person_cautions(case.sheet, case.given), *_cautions(case)):
        yield Note("caution", text)
    for text in still_open(case):
        yield Note("caution", f"Still open: {text}")
    yield from _advice(case)
    for text in in_short(case) if case.failed is not None else ():
        yield Note("statement", text)
    for text in (*_statements(case), *sentences.clocks(case.sheet, case.given)):
        yield Note("statement", text)
    yield Note("statement", STATE, NOT_ADVICE)
    yield from (Note("cannot see", text) for text in _cannot_see(case))
    yield from sentences.opinion(case.sheet)


# ---------------------------------------------------------------- cautions


def _cautions(case: Case) -> Iterator[str]:
    yield from overdue(case)
    yield from _found_late(case)
    yield from _outside(case)
    yield from _of_grabs(case)
    yield from _of_instruments(case)
    yield from _of_the_return(case)
    yield from _of_the_status(case)


def _found_late(case: Case) -> Iterator[str]:
    started = case.given.times.get("started")
    if started is not None and case.failed is not None and case.failed > instant(started):
        yield (
            f"It failed at {stamp(case.failed)}, after this sheet was begun at {stamp(instant(started))}: "
            f"right for an outage that was planned, else one of the two is wrong."
        )
    found = case.given.times.get("failed.found_at")
    if found is None or case.failed is None:
        return
    minutes = minutes_between(case.failed, instant(found))
    if minutes > 0:
        yield (
            f"It failed at {stamp(case.failed)} and was found {duration(minutes)} later: the time until then "
            "is "
            f"counted, because the water was not seen."
        )


def _outside(case: Case) -> Iterator[str]:
    late = [one for one in case.samples if case.back is not None and one.at > case.back]
    for one in late:
        yield f"Grab {one.number} was collected after it was back in service and is left out."


def _of_grabs(case: Case) -> Iterator[str]:
    order = [one.number for one in case.taken]
    for before, after in pairwise(order):
        if after < before:
            yield (
                f"Grab {before} was collected before grab {after} and stands after it: it was entered later, "
                "or the "
                f"date of one of them is missing."
            )
    kept, source = holding_minutes(measurand_of(case.given.analyzer), case.given.analyzer.settings)
    late = [one for one in case.taken if kept is not None and minutes_between(one.at, one.known) > kept]
    if late:
        numbers = ", ".join(str(one.number) for one in late)
        grabs = f"Grab {numbers} was" if len(late) == 1 else f"Grabs {numbers} were"
        yield f"{grabs} analysed later than {kept} min after it was collected ({source})."
    for one, other in pairwise(case.taken):
        if one.at == other.at:
            yield (
                f"Grabs {one.number} and {other.number} were collected in the same minute, {stamp(one.at)}: "
                f"{one.text} and {other.text}. They are one grab in the time between grabs, and the worse of "
                f"them counts; was the time of one mistyped?"
            )


def _of_instruments(case: Case) -> Iterator[str]:
    for name in dict.fromkeys(grab.instrument for grab in case.sheet.grab):
        instrument = case.given.standards.get(name)
        if instrument is None:
            continue
        if not instrument.calibration_due:
            yield f"The list of standards holds no calibration date for {instrument.id}."
        elif case.taken and instrument.calibration_due < f"{case.local(case.taken[-1].at):%Y-%m-%d}":
            due = instrument.calibration_due
            used = stamp(case.taken[-1].at)
            yield f"The calibration of {instrument.id} was due on {due}, and it was in use until {used}."
        if instrument.unit and instrument.unit != case.given.analyzer.unit:
            yield (
                f"{instrument.id} ({instrument.name}) stands in the list of standards in {instrument.unit}, "
                f"and {case.given.analyzer.tag} measures in {case.given.analyzer.unit}: is it the instrument "
                f"the grab was measured with?"
            )


def _of_the_return(case: Case) -> Iterator[str]:
    known = case.cited
    opened = case.given.records.get((case.failed and case.sheet.failed.record) or "")
    if opened is not None and opened.status and opened.status != OUT_OF_SERVICE:
        yield (
            f"Record {opened.number} is named as the one that left it out of service, and it left it "
            f"{opened.status}: name another one, or none."
        )
    if known is None:
        return
    ended = instant(worked_until(known))
    if case.back is not None and case.back < ended:
        yield (
            f"It was back in service at {stamp(case.back)}, before the work of record {known.number} ended "
            f"at {stamp(case.local(ended))}."
        )
    if opened is not None and opened.procedure != known.procedure:
        yield (
            f"It was left out of service by record {opened.number} ({_words(opened.procedure)}) and returned "
            "by "
            f"record {known.number} ({_words(known.procedure)}): another kind of check; say why it is enough."
        )
    if known.serial != case.given.analyzer.serial:
        yield (
            f"Record {known.number} is of serial {known.serial}, and this sheet is of "
            f"{case.given.analyzer.serial}: the instrument was exchanged."
        )


def _of_the_status(case: Case) -> Iterator[str]:
    says = case.sheet.status.state
    out = says == OUT_OF_SERVICE
    if case.back is not None and out:
        yield "It came back by this sheet, and the status says out of service: correct one of them."
    elif case.back is None and not out:
        yield f"It is not back by this sheet, and the status says {says}: correct one of them."


def _words(procedure: str) -> str:
    return procedure.replace("_", " ")


# ---------------------------------------------------------------- advice, statements


def _advice(case: Case) -> Iterator[Note]:
    if case.failed is not None:
        text = (
            "What was recorded from the last good check to the return is in doubt: say since when, and what "
            "follows from it."
        )
        yield Note("advice", text, "ISO/IEC 17025:2017, 7.10, as a pattern")


def _statements(case: Case) -> Iterator[str]:
    people = people_served(case.given)
    if (
        is_chlorine(case.given)
        and people is not None
        and people <= SMALL_SYSTEM
        and not by_people(case.sheet)
    ):
        count = grabs_a_day(people)
        yield (
            f"With {people} people served {count} {'grab' if count == 1 else 'grabs'} a day may stand for "
            f"continuous monitoring for good, at other times of the day and where the State agrees "
            f"({PEOPLE_SOURCE}); this sheet goes by every 4 hours."
        )
    if by_people(case.sheet):
        yield (
            "Grabs a number a day may stand for continuous monitoring for good: the federal rule then sets "
            "no "
            "repair time (40 CFR 141.74(c)(2))."
        )
    if any(duty.days is not None for duty in duties(case)):
        yield MIDNIGHT
    yield from _without_holidays(case)
    for duty in duties(case):
        told = made(duty, case)
        if told is not None:
            notice, at = told
            how = f" ({notice.how})" if notice.how else ""
            yield f"{stamp(at)}: {notice.who} was told{how} {duty.words}."
    yield from _calibration(case)


def _without_holidays(case: Case) -> Iterator[str]:
    """Say that no holiday of the year is known, where working days are counted: the day is then no later."""
    repair = repair_time(case.given)
    counted = (repair is not None and repair.working) or any(duty.days is not None for duty in duties(case))
    if case.failed is None or not counted:
        return
    year = case.failed.year
    if not any(day.year == year for day in holidays(case.given)):
        yield f"plant.toml holds no holiday of {year}: every Monday to Friday was taken as a working day."


def _calibration(case: Case) -> Iterator[str]:
    if not is_chlorine(case.given):
        return
    days, source = calibration_days(case.given)
    last = last_calibration(case)
    if not counts_calibration(case.given):
        yield "The State approved a protocol for it, so no calibration with a grab every 5 days is counted."
    elif last is not None:
        yield (
            f"The last check against grabs before the failure is record {last.number} of "
            f"{last.performed[:10]}; "
            f"a calibration with a grab counts {days} days ({source}), and again from its return."
        )


def _cannot_see(case: Case) -> Iterator[str]:
    yield "What the water did between two grabs."
    limit = residual_limit(case.given)
    if limit is not None and low_spells(case, limit):
        yield (
            "How long the residual was too low in truth: counted is from the first grab below the limit to "
            "the "
            "first that was not, and it may have fallen since the grab before."
        )
    if consult_limit(case.given) is not None:
        yield "Two turbidities above a limit 15 min apart, which only a record every 15 min shows."
    yield "Whether a grab was taken where the monitor takes its water."
