"""What every procedure refuses or finds in the same way: nothing here knows what is measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from wqverify.calculations.stability import is_stable, range_of_last
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.parts import Head, Read, refuse_disorder
from wqverify.terms import Given, Reading, Standard, Tolerance

NOT_STABLE = "the readings were not stable"
NOT_READ_AGAIN = "failed as found and was not read again"
# Flags of an export that say nothing is wrong; others may be a setting. Common practice, no source.
GOOD_FLAGS = frozenset({"", "good", "ok", "valid", "pass"})


def holidays(given: Given) -> frozenset[date]:
    """Return the holidays of the plant."""
    return frozenset(date.fromisoformat(day) for day in given.site.holidays)


# ---------------------------------------------------------------- refused


def refuse_visit(sheet: Head, given: Given) -> None:
    """Raise CorrectTheEntry for another serial on the plate and for times out of order."""
    analyzer = given.analyzer
    if sheet.serial_on_plate != analyzer.serial:
        raise CorrectTheEntry(
            f"The serial on the plate is {sheet.serial_on_plate}, the register has {analyzer.serial} for "
            f"{analyzer.tag}. Look at the plate again; where the instrument was exchanged, enter the new "
            f"serial in analyzers.toml and run plant accept.",
            found=sheet.serial_on_plate,
            expected=analyzer.serial,
            where="serial_on_plate",
        )
    refuse_disorder(type(sheet), given.times)


def standard(name: str, path: str, given: Given) -> Standard:
    """Return a standard the case knows; raises ChooseAnother."""
    if name not in given.standards:
        raise ChooseAnother(
            f"{path} names {name!r}, which standards_on_hand.toml does not hold; correct the sheet or add "
            "it.",
            found=name,
            where=path,
        )
    return given.standards[name]


def thermometer(name: str, path: str, given: Given) -> Standard:
    """Return a reference thermometer; raises ChooseAnother for a standard that is none in °C."""
    known = standard(name, path, given)
    if known.unit != "°C":
        raise ChooseAnother(
            f"{path} names {known.id} ({known.name}), which is in {known.unit}; name a reference thermometer "
            "in °C.",
            found=known.unit,
            expected="°C",
            where=path,
        )
    return known


def refuse_expired(path: str, title: str, bottle: Standard, day: str, ways: str) -> None:
    """Raise ChooseAnother for a standard that was past its last usable day, with the ways on."""
    if bottle.usable_until and bottle.usable_until < day:
        because = f" ({bottle.because})" if bottle.because else ""
        raise ChooseAnother(
            f"{title}: {bottle.id} (lot {bottle.lot}) was usable until {bottle.usable_until}{because}, the "
            f"work was on {day}. Ways on: {ways}",
            found=bottle.usable_until,
            expected=f"{day} or later",
            where=path,
        )


def refuse_overdue(path: str, instrument: Standard, day: str, ways: str) -> None:
    """Raise ChooseAnother for a reference instrument past its calibration date, with the ways on."""
    if instrument.calibration_due and instrument.calibration_due < day:
        raise ChooseAnother(
            f"The calibration of {instrument.id} ({instrument.name}) was due on "
            f"{instrument.calibration_due}, the work was on {day}. Ways on: {ways}",
            found=instrument.calibration_due,
            expected=f"{day} or later",
            where=path,
        )


def refuse_outside(path: str, title: str, value: Decimal, given: Given, low: Decimal, high: Decimal) -> None:
    """Raise CorrectTheEntry for a reading the analyzer cannot have shown."""
    if not low <= value <= high:
        raise CorrectTheEntry(
            f"{title} is {value}; {given.analyzer.tag} shows {low} to {high} {given.analyzer.unit}. Type "
            f"what the display showed; where it showed this, take the analyzer out of service and say "
            f"not_done.",
            found=str(value),
            expected=f"{low} to {high}",
            where=path,
        )


def refuse_beyond(path: str, what: str, typed: Reading, limits: tuple[int, int], unit: str) -> None:
    """Raise CorrectTheEntry for a number no instrument and no water of a plant has."""
    low, high = limits
    if not low <= typed.value <= high:
        raise CorrectTheEntry(
            f"{path} is {typed.text} {unit}: a {what} outside {low} to {high} {unit} is taken as mistyped; "
            f"type what was shown, or leave it out and say so in the remarks.",
            found=typed.text,
            expected=f"{low} to {high}",
            where=path,
        )


def refuse_two_numbers(path: str, here: Reading | None, other: str, there: Reading | None, unit: str) -> None:
    """Raise CorrectTheEntry where one number of the transmitter was typed at two places as two."""
    if here is not None and there is not None and here.value != there.value:
        raise CorrectTheEntry(
            f"{path} is {here.text} {unit} and {other} is {there.text} {unit}, and both are the same number "
            f"of the transmitter; look which one is mistyped.",
            found=here.text,
            expected=there.text,
            where=path,
        )


# ---------------------------------------------------------------- not evaluated, because


def frozen(part: str, given: Given) -> str:
    """Return why a control-system value was no live one: a held output shows the value of before."""
    times = given.times
    read, held, released = (times.get(f"{p}.at") for p in (part, "output_held", "output_released"))
    if not read or not held:
        return ""
    moment = datetime.fromisoformat(read)
    if moment > datetime.fromisoformat(held) and not (
        released and moment >= datetime.fromisoformat(released)
    ):
        return f"the control system was read at {read[11:16]} while the output was held, so it stood still"
    return ""


def overdue(instrument: Standard, given: Given, path: str) -> bool:
    """Whether an instrument was past its calibration date when it was used."""
    used = given.times.get(path) or given.times.get("started", "")
    return bool(instrument.calibration_due) and instrument.calibration_due < used[:10]


@dataclass(frozen=True, slots=True)
class Stability:
    """When readings hold still: the last ones within a limit, at least some seconds apart."""

    limit: Decimal
    unit: str
    readings: int = 3
    interval_s: Decimal = Decimal(30)

    def broken_by(self, read: Read) -> str:
        """Return why the last reading is no result: the readings moved, or too few show nothing.

        A plant that takes a single reading asks for one.
        """
        if self.readings == 1:
            return ""
        needed = (
            f"not show that it held still; {self.readings}, at least {self.interval_s} s apart, are needed"
        )
        if len(read.values) < self.readings:
            count = "one reading does" if len(read.values) == 1 else f"{len(read.values)} readings do"
            return f"{count} {needed}"
        if not is_stable(read.values, self.limit, self.readings):
            moved = range_of_last(read.values, self.readings)
            return (
                f"{NOT_STABLE} within {self.limit} {self.unit}: the last {self.readings} moved {moved} "
                f"{self.unit}"
            )
        if read.interval_s is not None and read.interval_s.value < self.interval_s:
            return f"readings {read.interval_s.text} s apart do {needed}"
        return ""


# ---------------------------------------------------------------- tolerances


def tolerance(name: str, given: Given, shipped: Mapping[str, Tolerance]) -> Tolerance | None:
    """Return the register's tolerance, or the one that is shipped as common practice.

    The control system's is by default that of the analyzer.
    """
    held = given.analyzer.tolerances
    if name == "control_system":
        return held.get(name) or held.get("error")
    return held.get(name) or shipped.get(name)


def setting(given: Given, name: str, default: str) -> Decimal:
    """Return a number the register sets for this analyzer, or its default."""
    return Decimal(given.analyzer.settings.get(name, default))


def typed(part: Any, name: str) -> Reading | None:
    """Return a reading of a part, None where the part or the reading is not there."""
    found = getattr(part, name, None)
    return found if isinstance(found, Reading) else None


# ---------------------------------------------------------------- numbers

ENDS_WITHIN = 2  # digits beyond the display at which a quotient is fixed


def fixed(value: Decimal, digit: Decimal) -> Decimal:
    """A quotient has no end: two digits beyond the display it is fixed; what ends before stays as it is.

    >>> str(fixed(Decimal("1417.59656"), Decimal(1))), str(fixed(Decimal("1431"), Decimal(1)))
    ('1417.60', '1431')
    """
    short = value.quantize(digit.scaleb(-ENDS_WITHIN))
    places = [-int(number.as_tuple().exponent) for number in (value, short)]
    return value if value == short and places[0] <= places[1] else short
