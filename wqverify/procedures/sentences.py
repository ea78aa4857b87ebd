"""The sentences of a result that every procedure says in the same words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from decimal import Decimal

from wqverify.procedures.parts import Clocks, Head, NotDone, Status, Tail
from wqverify.terms import Check, Given, Note, Outcome, Result

LOOP = "leave it alone, check the loop to the control system"


def person_cautions(sheet: Head, given: Given) -> Iterator[str]:
    """Say what is missing in cautions read, permission and licence."""
    if isinstance(sheet.cautions, NotDone):
        yield f"The cautions were not read: {sheet.cautions.not_done}."
    person = given.people.get(sheet.performed_by)
    if person is None:
        return
    if not person.may_perform:
        yield f"{person.name} ({person.id}) may not perform verifications by the list of people."
    if person.licence_until and person.licence_until < sheet.date:
        yield f"The licence of {person.name} ({person.id}) ended on {person.licence_until}."


def advice(checks: Sequence[Check], adjusted: bool) -> Iterator[Note]:
    """Say what follows from the verdict as found: at the analyzer, and of what arrives of its value."""
    found = [c for c in checks if c.stage == "as_found" and c.counts]
    judged = [c.outcome for c in found if c.place == "analyzer"]
    arrives = [c.outcome for c in found if c.place == "control system"]
    if judged and all(outcome is Outcome.PASS for outcome in judged):
        if adjusted:
            text = "It was inside its tolerance as found and was adjusted all the same: that adds scatter."
        elif Outcome.FAIL in arrives:
            text = f"It is inside its tolerance as found, the signal is not: {LOOP}."
        elif Outcome.TOO_CLOSE in arrives:
            text = f"It is inside its tolerance as found, the signal too close to decide: {LOOP}."
        else:
            text = "It is inside its tolerance as found: leave it alone."
        yield Note("advice", text, "common practice")
        if Outcome.FAIL in arrives:
            text = "What the control system recorded before is in doubt: say since when, and what follows."
            yield Note("advice", text, "ISO/IEC 17025:2017, 7.10, as a pattern")
    if Outcome.FAIL in judged:
        text = "It failed as found: earlier values are in doubt, say since when and what follows from it."
        yield Note("advice", text, "ISO/IEC 17025:2017, 7.10, as a pattern")


def undecided(checks: Sequence[Check]) -> Iterator[str]:
    """Say where U takes the whole tolerance, so that a pass or fail says little; each once."""
    yield from dict.fromkeys(_undecided(checks))


def _undecided(checks: Sequence[Check]) -> Iterator[str]:
    for check in checks:
        t, q = check.tolerance, check.quantity
        if t is None or q is None or not check.share or Decimal(check.share) < 1:
            continue
        floor = ""
        if t.percent is not None and not t.larger_of:
            floor = (
                f" {t.percent} % of {check.reference} is no larger than U; a percent tolerance needs a floor "
                f"here (low, high and larger_of in the register)."
            )
        yield (
            f"{check.label}: U {q.expanded} is {check.share} of the tolerance, so this comparison cannot "
            f"decide.{floor}"
        )


def handed_back(sheet: Head, status: Status, checks: Sequence[Check], touched: bool) -> Iterator[str]:
    """Say where something was touched and nothing held, and where it went back outside its tolerance."""
    if touched and sheet.output_held is None and sheet.loop_in_manual is None:
        yield (
            "It was touched, and neither output held nor loop in manual is entered: what the control system "
            "and the archive hold of that time may be no value of the water."
        )
    left = Result(tuple(checks)).outcome("as_left")
    if left is Outcome.FAIL and status.state == "in service" and not status.note:
        yield (
            "As left it is outside its tolerance, and it is in service without restriction; nobody says why "
            "(the note of the status)."
        )


def clocks(sheet: Head, given: Given) -> Iterator[str]:
    """Say how the clock of the control system stood to the laptop's, where both were read."""
    laptop, system = given.times.get("clocks.laptop"), given.times.get("clocks.control_system")
    if not isinstance(sheet.clocks, Clocks) or not laptop or not system:
        return
    minutes = (datetime.fromisoformat(system) - datetime.fromisoformat(laptop)) // timedelta(minutes=1)
    way = "ahead of" if minutes > 0 else "behind"
    if minutes:
        yield f"The clock of the control system was {abs(minutes)} min {way} the laptop's."
    else:
        yield "The clocks of laptop and control system agreed to the minute."


def opinion(sheet: Tail) -> Iterator[Note]:
    """Give the opinion on the cause, with its author."""
    if sheet.cause:
        yield Note("opinion", sheet.cause.opinion, author=sheet.cause.author)
