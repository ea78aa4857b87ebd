"""Finding what a record says: answers by path, people by id, times and tolerances in words."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal

from wqverify.terms import Check, Entry, Quantity, Record, Tolerance

NONE = "—"


class Answers:
    """The typed answers of a record by path; what was not asked or not answered is empty."""

    def __init__(self, record: Record) -> None:
        self._by_path = {entry.path: entry for entry in record.entries}

    def text(self, path: str) -> str:
        """Return an answer as typed, with its unit."""
        entry = self._by_path.get(path)
        return in_its_unit(entry) if entry else ""

    def time(self, path: str) -> datetime | None:
        """Return a typed time as resolved."""
        entry = self._by_path.get(path)
        return datetime.fromisoformat(entry.resolved) if entry and is_time(entry) else None

    def not_done(self) -> Iterator[tuple[str, str]]:
        """Give (part, reason) of every part that was not done."""
        for path, entry in self._by_path.items():
            if path.endswith(".not_done"):
                yield split_label(entry)[0], entry.text


def split_label(entry: Entry) -> tuple[str, str]:
    """Return (part of the work, question) of an entry; a question of the head has no part."""
    part, colon, question = entry.label.rpartition(": ")
    return (part, question) if colon else ("", entry.label)


def with_unit(text: str, unit: str) -> str:
    """Return a value with its unit."""
    return f"{text} {unit}" if unit else text


def is_time(entry: Entry) -> bool:
    """Whether an answer is a time that was resolved; a number in another unit has the unit asked for."""
    return bool(entry.resolved) and not entry.unit


def in_its_unit(entry: Entry) -> str:
    """Return an answer with its unit; one typed in another unit as typed and in the unit asked for.

    >>> in_its_unit(Entry("display", "Display", "7.25 m", "ft", "23.786"))
    '7.25 m = 23.786 ft'
    """
    if entry.resolved and not is_time(entry):
        return f"{entry.text} = {with_unit(entry.resolved, entry.unit)}"
    return with_unit(entry.text, entry.unit)


def when(iso: str) -> str:
    """Return a time of a record for reading: date, clock and offset; empty stays empty.

    >>> when("2026-03-03T08:15:00-05:00")
    '2026-03-03 08:15 -05:00'
    """
    if not iso:
        return ""
    at = datetime.fromisoformat(iso)
    clock = at.strftime("%H:%M:%S" if at.second else "%H:%M")
    offset = at.isoformat()[-6:] if at.tzinfo else ""
    return f"{at.date().isoformat()} {clock} {offset}".strip()


def verifies(record: Record) -> bool:
    """Whether a record verifies anything; a visit that finds and repairs does not."""
    return record.result.facts.get("verifies") != "no"


def record_title(record: Record) -> str:
    """Return what a record is called on its page."""
    return f"{'Verification record' if verifies(record) else 'Record'} {record.number}"


def person(record: Record, staff_id: str) -> str:
    """Return the printed name of a person with the staff id."""
    known = record.given.people.get(staff_id)
    return f"{known.name} ({known.id})" if known else staff_id


def stage_name(stage: str) -> str:
    """Return a stage in words.

    >>> stage_name("as_found")
    'As found'
    """
    words = stage.replace("_", " ")
    return words[:1].upper() + words[1:]


def bounds(low: str, high: str, unit: str = "") -> str:
    """Return inclusive bounds in words.

    >>> bounds("-0.10", "0.10"), bounds("95", "105", "%"), bounds("", "0.3", "NTU")
    ('±0.10', '95 to 105 %', 'at most 0.3 NTU')
    """
    if low and high:
        same = Decimal(low) == -Decimal(high)
        text = f"±{high}" if same else f"{low} to {high}"
    elif low or high:
        text = f"at least {low}" if low else f"at most {high}"
    else:
        return NONE
    return with_unit(text, unit)


def tolerance_words(tolerance: Tolerance) -> str:
    """Return a tolerance as the register holds it."""
    fixed = bounds(
        "" if tolerance.low is None else str(tolerance.low),
        "" if tolerance.high is None else str(tolerance.high),
        tolerance.unit,
    )
    if tolerance.percent is None:
        return fixed
    share = f"±{tolerance.percent} % of the reference"
    return f"the larger of {fixed} and {share}" if tolerance.larger_of else share


def signed(quantity: Quantity, *, as_difference: bool) -> str:
    """Return a value as text; a difference above zero gets its plus."""
    if as_difference and not quantity.text.startswith("-") and Decimal(quantity.text) != 0:
        return f"+{quantity.text}"
    return quantity.text


def is_difference(check: Check) -> bool:
    """Whether a check judges a reading minus a reference, not a quantity of its own such as a slope."""
    return bool(check.observed and check.reference)


def significant(x: float, figures: int = 7) -> str:
    """Return a number to at most so many significant figures, without trailing zeros or an exponent.

    >>> significant(7.060000000000001), significant(1000000.0), significant(0.0000125)
    ('7.06', '1000000', '0.0000125')
    """
    return format(Decimal(f"{x:.{figures}g}"), "f")


def freedom(dof: float | None) -> str:
    """Return degrees of freedom.

    >>> freedom(57.0), freedom(None)
    ('57', '∞')
    """
    return "∞" if dof is None else significant(dof, 4)


def plain(x: float | None, figures: int = 3) -> str:
    """Return a number to some significant figures, never with an exponent.

    >>> plain(0.0000123456), plain(-58.056), plain(None)
    ('0.0000123', '-58.1', '—')
    """
    if x is None:
        return NONE
    if x == 0:
        return "0"
    return format(Decimal(f"{x:.{figures - 1}e}"), "f")
