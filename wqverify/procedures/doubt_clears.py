"""Which earlier check shows that an analyzer was right: and of each one passed over why it does not count.

A check counts that is of the same instrument and the same signal path, judged where the failed one failed,
near its level, and left it within tolerance. The rules are of ISO/IEC 17025:2017, 7.10, as a pattern; how
near a level must be is common practice without a source, and a setting.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from wqverify.procedures.rules import setting
from wqverify.terms import Check, Cited, Earlier, Given, Outcome, Place, Setting

PLACES: tuple[Place, ...] = ("analyzer", "control system")
STATES = ("as_left", "after_cleaning", "as_found")  # the last that was judged is how it was left
_SAME = ("location", "sample_point", "unit", "species")
_SAYS = {"location": "location", "sample_point": "sample point", "unit": "unit", "species": "species"}
# What these test is not whether the sensor reads right; why, in words.
_OTHER_THINGS = {
    "loop_check": "it tests the signal, not the sensor",
    "call_out": "it finds and repairs, and verifies nothing",
    "standard_preparation": "it prepares a standard",
    "temperature_check": "it tests the built-in temperature",
    "values_in_doubt": "it looks back, and verifies nothing",
    "monitor_outage": "it keeps clocks, and verifies nothing",
    "turbidity_month": "it counts values, and verifies nothing",
}
_OF_THE_SIGNAL = "loop_check"  # where only the signal failed it shows that the signal was right
FACTOR, PERCENT = "doubt_near_factor", "doubt_near_percent"
SETTINGS = {FACTOR: Setting("1", "100"), PERCENT: Setting("0", "100")}
AT_HAND = Cited | Earlier


@dataclass(frozen=True, slots=True)
class PassedOver:
    """An earlier record between the last good check and the failed one, and why it does not count."""

    number: str
    performed: str
    procedure: str
    why: str


def near_level(given: Given) -> tuple[Decimal, Decimal]:
    """Return how near a level must be: by this factor, or within this part of the range, %."""
    return setting(given, FACTOR, "2"), setting(given, PERCENT, "15")


def failed_at(failed: Cited) -> tuple[Place, ...]:
    """Return where a check failed as found, or was too close to decide; empty for nowhere.

    >>> failed_at(Cited("1", "A", "S", "p", "", "", outcomes={"as_found at the analyzer": "fail"}))
    ('analyzer',)
    """
    wrong = (Outcome.FAIL.value, Outcome.TOO_CLOSE.value)
    return tuple(place for place in PLACES if failed.outcomes.get(f"as_found at the {place}") in wrong)


def why_not(one: AT_HAND, failed: Cited, given: Given, places: tuple[Place, ...]) -> str:
    """Return why an earlier record does not show that the analyzer was right; empty where it does."""
    return next(_reasons(one, failed, given, places), "")


def _reasons(one: AT_HAND, failed: Cited, given: Given, places: tuple[Place, ...]) -> Iterator[str]:
    if isinstance(one, Cited) and one.tag != failed.tag:
        yield f"it is of {one.tag}"
    if isinstance(one, Cited) and one.ended:
        yield f"it is {one.ended}"
    if datetime.fromisoformat(one.performed) >= datetime.fromisoformat(failed.performed):
        yield "it was done after the failed check began"
    if one.serial != failed.serial:
        yield f"another instrument, serial {one.serial}"
    clears_signal = one.procedure == _OF_THE_SIGNAL and "analyzer" not in places
    if one.procedure != failed.procedure and one.procedure in _OTHER_THINGS and not clears_signal:
        yield _OTHER_THINGS[one.procedure]
    for name in _SAME:
        was, now = one.facts.get(name), failed.facts.get(name)
        if was is not None and now is not None and was != now:
            yield f"another {_SAYS[name]}: {was or 'none'}, then {now or 'none'}"
    for place in places:
        yield from _as_left(one, place)
    yield from _level(one, failed, given, places)


def _as_left(one: AT_HAND, place: Place) -> Iterator[str]:
    where = f"at the {place}"
    state = next((s for s in STATES if f"{s} {where}" in one.outcomes), "")
    if not state:
        yield f"it judges nothing {where}"
        return
    outcome = one.outcomes[f"{state} {where}"]
    if outcome != Outcome.PASS:
        yield f"{state.replace('_', ' ')} {where} it ended as {outcome}"
    elif state != "as_left" and one.facts.get("adjusted") == "yes":
        yield f"it was adjusted, and not read again {where}"


# ---------------------------------------------------------------- near the level


def _level(one: AT_HAND, failed: Cited, given: Given, places: tuple[Place, ...]) -> Iterator[str]:
    """A level is known of a record that is named; of another only whether the same standard was read."""
    wanted = levels(failed, places, failing=True)
    if not wanted:
        return
    if isinstance(one, Cited) and one.checks:
        found = levels(one, places)
        if not found:
            yield "no level stands beside what it judged"
        elif not any(near(a, b, given) for a in found for b in wanted):
            unit = given.analyzer.unit
            yield (
                f"its level was {_several(found)} {unit}, the failed one {_several(wanted)} {unit}: not near"
            )
    elif one.procedure != failed.procedure and not set(_names(failed)) & _named_in(one.values):
        yield f"at which level it judged is not known ({one.procedure.replace('_', ' ')})"


def levels(one: Cited, places: tuple[Place, ...], *, failing: bool = False) -> list[Decimal]:
    """Return the references at which a record judged errors, each once, in their order."""
    found = [
        Decimal(check.reference)
        for check in one.checks
        if is_error(check, given_unit="") and check.place in places
        if not failing or (check.stage == "as_found" and check.outcome is not Outcome.PASS)
        if failing or check.outcome is Outcome.PASS
    ]
    return list(dict.fromkeys(found))


def near(one: Decimal, other: Decimal, given: Given) -> bool:
    """Whether two levels are near each other: within a factor, and within a share of the range.

    Equation: max <= f min, and |x - y| <= p/100 (high - low); f 2 and p 15 unless the register sets others.
    Levels in the unit of the analyzer. Source: common practice, no source.
    """
    if one == other:
        return True
    factor, percent = near_level(given)
    small, large = sorted((abs(one), abs(other)))
    span = given.analyzer.high - given.analyzer.low
    return large <= factor * small and abs(one - other) <= percent / 100 * span


def is_error(check: Check, given_unit: str) -> bool:
    """Whether a check holds a reading and a reference beside an error, in the unit of the analyzer."""
    return bool(
        check.observed
        and check.reference
        and check.quantity is not None
        and (not given_unit or check.quantity.unit == given_unit)
    )


def _names(one: Cited) -> list[str]:
    return [name_of(check.key) for check in one.checks if is_error(check, given_unit="")]


def _named_in(values: Mapping[str, str]) -> set[str]:
    return {name_of(key) for key in values if key.startswith("as_found.")}


def name_of(key: str) -> str:
    """Return what a check of a point is called on a sheet.

    >>> name_of("as_found.S-05.change"), name_of("as_found.grab_1.difference"), name_of("as_found.error")
    ('S-05', 'grab 1', 'error')
    """
    parts = key.split(".")
    middle = parts[1:-1] or parts[1:]
    return ".".join(middle).replace("_", " ")


def _several(sizes: list[Decimal]) -> str:
    return " and ".join(f"{size:f}" for size in sizes)


# ---------------------------------------------------------------- one after the other


def earlier_ones(failed: Cited, given: Given) -> list[AT_HAND]:
    """Return the earlier records of the analyzer, the newest first: the named ones with their checks."""
    start = datetime.fromisoformat(failed.performed)
    found: dict[str, AT_HAND] = {row.number: row for row in given.earlier}
    found |= {number: row for number, row in given.records.items() if row.tag == failed.tag}
    rows = [row for row in found.values() if row.number != failed.number]
    before = [row for row in rows if datetime.fromisoformat(row.performed) < start]
    return sorted(before, key=lambda row: datetime.fromisoformat(row.performed), reverse=True)


def passed_over(
    good: Cited | None, failed: Cited, given: Given, places: tuple[Place, ...]
) -> Iterator[PassedOver]:
    """Give every earlier record newer than the last good check, and why it does not count.

    One that would count has an empty reason.
    """
    for one in earlier_ones(failed, given):
        if good is not None and datetime.fromisoformat(one.performed) <= datetime.fromisoformat(
            good.performed
        ):
            return
        yield PassedOver(one.number, one.performed, one.procedure, why_not(one, failed, given, places))


def proposed(failed: Cited, given: Given, places: tuple[Place, ...]) -> AT_HAND | None:
    """Return the newest earlier record that counts, None where there is none."""
    return next((one for one in earlier_ones(failed, given) if not why_not(one, failed, given, places)), None)


def ended(one: AT_HAND) -> str:
    """Return when a visit ended: its last typed time, or its beginning where no more is known."""
    if isinstance(one, Cited):
        ends = [window.end for window in one.windows if window.what == "visit"]
        return ends[0] if ends else one.performed
    return one.performed
