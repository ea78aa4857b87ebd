"""What a call-out says so far, in sentences: on the page and beside the next question."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from wqverify.calculations import loop
from wqverify.procedures.call_out_case import IN, OUT, REFERENCE, WORDS, Case, short
from wqverify.procedures.call_out_chain import Hop, halves, hops
from wqverify.procedures.call_out_sheet import CallOutSheet, Repaired
from wqverify.procedures.call_out_stages import AS_FOUND, AS_LEFT, TITLES, as_found, as_left, not_read_again
from wqverify.procedures.call_out_table import findings
from wqverify.terms import Given, Outcome


def located(case: Case, judged: Sequence[Hop]) -> Iterator[str]:
    """Say between which two points the fault lies, and which part of the signal is good."""
    wrong = [hop for hop in judged if hop.fails]
    for hop in wrong[:1]:
        before, after = hop.between
        yield f"The fault lies between {before} and {after}: {apart(case, hop)}."
        inside = halves(case, (hop.before, hop.after))
        if inside:
            yield f"Between them {_listed([WORDS[one.what] for one in inside])} can still be read."
    for hop in wrong[1:]:
        before, after = hop.between
        yield f"Another one lies between {before} and {after}: {apart(case, hop)}."
    good = [hop for hop in judged if hop.agrees]
    if good and wrong:
        yield f"These agree: {'; '.join(f'{hop.between[0]} and {hop.between[1]}' for hop in good)}."
    elif good and len(good) == len(judged):
        yield (
            f"All that was read agrees, from {good[0].between[0]} to {good[-1].between[1]}: at this moment "
            f"no fault lies between them."
        )
    yield from undecided(judged)


def facts(sheet: CallOutSheet, given: Given) -> dict[str, str]:
    """Return the sentences that operations are told of a call-out."""
    told = {"told.work": "Nothing was repaired."}
    if isinstance(sheet.repaired, Repaired):
        told["told.work"] = f"Repaired: {sheet.repaired.what}."
    for stage, case in ((AS_FOUND, as_found(sheet, given)), (AS_LEFT, as_left(sheet, given))):
        judged = hops(case, stage)
        if judged:
            told[f"told.{stage}"] = f"{TITLES[stage].capitalize()} {_spoken(judged)}"
    if isinstance(sheet.repaired, Repaired) and not_read_again(sheet, given):
        told[f"told.{AS_LEFT}"] = "As left what did not agree was not read again."
    return told


def _spoken(judged: Sequence[Hop]) -> str:
    """Say in one sentence, without figures, what agrees and what does not."""
    wrong = [hop for hop in judged if hop.fails]
    if wrong:
        places = ", and ".join(f"between {hop.between[0]} and {hop.between[1]}" for hop in wrong)
        return f"it was outside its tolerance {places}."
    if all(hop.agrees for hop in judged):
        return f"all that was read agreed, from {judged[0].between[0]} to {judged[-1].between[1]}."
    return "not all that was read could be compared."


def undecided(judged: Sequence[Hop]) -> Iterator[str]:
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
    if quantity.unit != "%" or hop.before is REFERENCE:
        return f"{there} against {here}, {short(quantity.decimal)} {quantity.unit} apart"
    shares = [short(Decimal(share), 1) for share in (hop.check.reference, hop.check.observed)]
    return f"{here} is {shares[0]} % of the span, {there} is {shares[1]} %"


def states(case: Case) -> Iterator[str]:
    """Say where a current is none of a value but a failure signal, by NE 43."""
    for place in (OUT, IN):
        if case.knows(place):
            state = loop.state_of(case.number(place))
            if state != "measuring":
                broken = " (0 mA: no current flows at all)" if case.number(place) == 0 else ""
                words = WORDS[place.what].replace("the", "The", 1)
                yield (f"{words} is {case.text(place)}: {state} by NE 43, no value{broken}.")


def opinions(case: Case) -> list[tuple[str, str, str, str]]:
    """Return what the fault table makes of the readings: row, opinion, what confirms it, source."""
    told = []
    for row, finding in findings(case):
        where = f" Between {finding.between[0]} and {finding.between[1]}." if finding.between else ""
        told.append((row.name, f"{finding.says}{where}", finding.confirm, row.source))
    return told


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
