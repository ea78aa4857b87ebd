"""What a call-out says so far, in sentences: on the page, beside the next question, over the radio."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal

from wqverify.calculations import loop
from wqverify.procedures.call_out_case import DISPLAY, IN, OUT, REFERENCE, WORDS, Case, Finding, Row, short
from wqverify.procedures.call_out_chain import ends, halves, hops
from wqverify.procedures.call_out_compare import Hop, limited
from wqverify.procedures.call_out_sheet import CallOutSheet, Repaired
from wqverify.procedures.call_out_stages import AS_FOUND, AS_LEFT, TITLES, as_found, as_left, not_read_again
from wqverify.procedures.call_out_table import findings
from wqverify.terms import Given, Outcome

SOON_S = 300  # two readings nearer in time than this are not said to be apart; common practice, no source


def located(case: Case, stage: str = AS_FOUND) -> Iterator[str]:
    """Say between which two places the fault lies, and which part of the signal is good."""
    judged, both = hops(case, stage), ends(case, stage)
    wrong = [hop for hop in judged if hop.fails]
    good = [hop for hop in judged if hop.agrees]
    if wrong:
        yield from _wrong(case, wrong)
    elif both is not None and both.fails:
        yield (
            f"Every place agrees with the one before it, and the two ends do not: {apart(case, both)}. What "
            f"is set at both does not fit: the ranges, or where the square root is taken."
        )
    elif good and len(good) == len(judged):
        yield (
            f"All that was read agrees within its tolerance, from {good[0].between[0]} to "
            f"{good[-1].between[1]}, at this moment."
        )
    if good and wrong:
        yield f"These agree: {'; '.join(f'{hop.between[0]} and {hop.between[1]}' for hop in good)}."
    if limited(case):
        low, high = case.range_at("transmitter")
        yield (
            f"{case.text(DISPLAY)} lies beyond the {low} to {high} of the output: the signal and what "
            f"follows stand at their end. That is a matter of the range, no fault."
        )
    yield from undecided(judged)


def _wrong(case: Case, wrong: Sequence[Hop]) -> Iterator[str]:
    first = wrong[0]
    before, after = first.between
    if first.before is REFERENCE:
        yield (
            f"If the reference is right, the fault lies between {before} and {after}: {apart(case, first)}"
            f"{minutes(case, first)}."
        )
    else:
        yield f"The fault lies between {before} and {after}: {apart(case, first)}{minutes(case, first)}."
    inside = halves(case, (first.before, first.after))
    if inside:
        yield f"Between them {_listed([WORDS[one.what] for one in inside])} can still be read."
    for hop in wrong[1:]:
        yield f"Another one lies between {hop.between[0]} and {hop.between[1]}: {apart(case, hop)}."


def undecided(judged: Sequence[Hop]) -> Iterator[str]:
    """Say which two places could not be compared, and why."""
    for hop in judged:
        if hop.check.outcome is Outcome.TOO_CLOSE:
            yield f"{hop.check.label}: too close to decide ({hop.check.reason})."
        elif hop.check.outcome is Outcome.NOT_EVALUATED:
            yield f"{hop.check.label}: not compared, {hop.check.reason}."


def apart(case: Case, hop: Hop) -> str:
    """Return how far two places are apart, as a person says it over a radio."""
    quantity = hop.check.quantity
    assert quantity is not None
    here, there = case.text(hop.before), case.text(hop.after)
    if quantity.unit != "%" or hop.before is REFERENCE or not hop.check.reference:
        return f"{there} against {here}"
    if hop.formula.startswith("difference"):
        shares = [short(Decimal(share), 1) for share in (hop.check.reference, hop.check.observed)]
        return f"{here} is {shares[0]} % of the span, {there} is {shares[1]} %"
    return f"{there} against {here}"


def minutes(case: Case, hop: Hop) -> str:
    """Say how long lay between two readings, where that may matter."""
    moments = [case.at.get(place.what) for place in (hop.before, hop.after)]
    if None in moments:
        return ""
    first, last = (datetime.fromisoformat(str(moment)) for moment in moments)
    seconds = abs((last - first).total_seconds())
    return f" (read {seconds / 60:.0f} min apart)" if seconds > SOON_S else ""


def states(case: Case) -> Iterator[str]:
    """Say where a current is none of a value but a failure signal, by NE 43."""
    for place in (OUT, IN):
        if case.knows(place):
            state = loop.state_of(case.number(place))
            if state != "measuring":
                broken = " (0 mA: no current flows at all)" if case.number(place) == 0 else ""
                words = WORDS[place.what].replace("the", "The", 1)
                yield f"{words} is {case.text(place)}: {state} by NE 43, no value{broken}."


def in_words(finding: Finding) -> str:
    """Return what a row says, with the two points it points to."""
    where = f" Between {finding.between[0]} and {finding.between[1]}." if finding.between else ""
    return f"{finding.says}{where}"


def newest(case: Case) -> list[tuple[Row, Finding]]:
    """Return what the measurement made last decided."""
    return [(row, finding) for row, finding in findings(case) if case.last in {one.what for one in row.needs}]


# ---------------------------------------------------------------- over the radio


def facts(sheet: CallOutSheet, given: Given) -> dict[str, str]:
    """Return the sentences that operations are told of a call-out, and that it verifies nothing."""
    told = {"verifies": "no", "told.work": "Nothing was repaired."}
    if isinstance(sheet.repaired, Repaired):
        told["told.work"] = f"Repaired: {sheet.repaired.what}."
    for stage, case in ((AS_FOUND, as_found(sheet, given)), (AS_LEFT, as_left(sheet, given))):
        both = ends(case, stage)
        judged = hops(case, stage)
        if both is not None and not any(hop.fails for hop in judged):
            judged = [*judged, both] if both.fails else judged
        if judged:
            told[f"told.{stage}"] = f"{TITLES[stage].capitalize()} {_spoken(case, judged)}"
    pointing = [finding for _row, finding in findings(as_found(sheet, given)) if finding.between]
    if pointing:
        told["told.opinion"] = f"An opinion, not verified: {in_words(pointing[-1])}"
    if isinstance(sheet.repaired, Repaired) and not_read_again(sheet, given):
        told[f"told.{AS_LEFT}"] = "As left what did not agree was not read again."
    return told


def _spoken(case: Case, judged: Sequence[Hop]) -> str:
    """Say in one sentence what agrees and what does not."""
    wrong = [hop for hop in judged if hop.fails]
    if wrong:
        places = ", and ".join(f"between {hop.between[0]} and {hop.between[1]}" for hop in wrong)
        last = wrong[0]
        figures = [case.text(place) for place in (last.before, last.after)]
        return f"it was outside its tolerance {places}: {figures[1]} against {figures[0]}."
    if all(hop.agrees for hop in judged):
        first, last_ = judged[0].between[0], judged[-1].between[1]
        return f"all that was read along the signal agreed, from {first} to {last_}."
    return "not all that was read could be compared."


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
