"""What a comparison with a grab refuses before it computes, and what brakes an adjustment."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal

from wqverify.errors import CorrectTheEntry
from wqverify.procedures.grab_compare import Compare, agreement
from wqverify.procedures.grab_sheet import Adjusted, Grab, GrabSheet, grab_done
from wqverify.procedures.rules import refuse_outside, refuse_visit
from wqverify.terms import Given

WAYS = (
    "Ways on: take a second grab and enter it; or leave the analyzer alone and take adjusted out; or write "
    'decision.despite = "..." with your reason to go on.'
)


def refuse(sheet: GrabSheet, given: Given) -> None:
    """Raise CorrectTheEntry where the sheet cannot be computed as it stands."""
    refuse_visit(sheet, given)
    for path, title, _grab in grabs(sheet):
        refuse_analysed_before(path, title, given)
    if grab_done(sheet.grab_after) is not None:
        refuse_taken_before("grab_after", given)
    for path, value in _shown(sheet):
        refuse_outside(path, "The online value", value, given, given.analyzer.low, given.analyzer.high)
    flow = sheet.sample_flow_ml_min
    if flow is not None and flow.value <= 0:
        raise CorrectTheEntry(
            f"sample_flow_ml_min is {flow.text}: without flow the analyzer does not see the water of the "
            f"grab. Measure it again by cup and watch, or take the analyzer out of service.",
            found=flow.text,
            expected="more than 0",
            where="sample_flow_ml_min",
        )


def grabs(sheet: GrabSheet) -> Iterator[tuple[str, str, Grab]]:
    """Give every grab with its path and its name in words."""
    for index, grab in enumerate(sheet.grab):
        yield f"grab.{index}", f"Grab {index + 1}", grab
    last = grab_done(sheet.grab_after)
    if last is not None:
        yield "grab_after", "The grab after", last


def refuse_analysed_before(path: str, title: str, given: Given) -> None:
    """Raise CorrectTheEntry for a grab that was analysed before it was collected."""
    taken, analysed = given.times[f"{path}.collected"], given.times[f"{path}.analysed"]
    if datetime.fromisoformat(analysed) < datetime.fromisoformat(taken):
        raise CorrectTheEntry(
            f"{title} was analysed at {_clock(analysed)}, before it was collected at {_clock(taken)}; "
            f"correct one of them, or give the date too where it was analysed on another day.",
            found=analysed,
            expected=f"not before {taken}",
            where=f"{path}.analysed",
        )


def refuse_taken_before(path: str, given: Given) -> None:
    """Raise CorrectTheEntry for a grab after an adjustment that was collected before it."""
    taken, adjusted = given.times[f"{path}.collected"], given.times.get("adjusted.at")
    if adjusted and datetime.fromisoformat(taken) < datetime.fromisoformat(adjusted):
        raise CorrectTheEntry(
            f"The grab after the adjustment was collected at {_clock(taken)}, before the adjustment at "
            f"{_clock(adjusted)}; correct one of them, or enter it as a grab before.",
            found=taken,
            expected=f"not before {adjusted}",
            where=f"{path}.collected",
        )


def _clock(iso: str) -> str:
    return iso[:16].replace("T", " ")


def _shown(sheet: GrabSheet) -> Iterator[tuple[str, Decimal]]:
    for name in ("online", "online_after"):
        for index, one in enumerate(getattr(sheet, name)):
            yield f"{name}.{index}.shown", one.shown.value
            if one.control_system is not None:
                yield f"{name}.{index}.control_system", one.control_system.value


def brake(sheet: GrabSheet, known: Compare, given: Given) -> None:
    """Raise CorrectTheEntry where an adjustment is not founded on two grabs that agree."""
    if sheet.decision is None or not isinstance(sheet.adjusted, Adjusted) or sheet.decision.despite:
        return
    reason = why_not_adjust(known, given)
    if reason:
        raise CorrectTheEntry(
            f"{reason} Nothing is adjusted to that. {WAYS}", expected="two grabs that agree", where="adjusted"
        )


def why_not_adjust(known: Compare, given: Given) -> str:
    """Return why the grabs of a visit found no adjustment, empty where they do."""
    sound = known.sound(known.place())
    if len(sound) < 2:
        of_them = [c for c in known.all if c.stage == "as_found" and c.place == known.place()]
        refused = [f" {c.label}: {c.reason}." for c in of_them if c.reason]
        count = "one" if len(sound) == 1 else "none"
        return f"An adjustment to a grab needs two grabs that agree; the sheet has {count}.{''.join(refused)}"
    apart, limit = agreement(known, given)
    if apart is not None and limit.high is not None and apart > limit.high:
        count = "two" if len(sound) == 2 else f"{len(sound)}"
        return (
            f"The differences by the grabs lie {apart} {limit.unit} apart; {count} that agree within "
            f"{limit.high} {limit.unit} are needed."
        )
    return ""
