"""What a look-up is: what it asks for with its bounds, and the numbers it gives with unit and source."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Context, Decimal

from wqverify.calculations.units import InUnit, convert, in_unit, quantity_of, units_of
from wqverify.errors import CorrectTheEntry
from wqverify.terms import Reading

TEN = Context(prec=10)  # figures of what was typed in another unit


@dataclass(frozen=True, slots=True)
class Wanted:
    """One number or word a look-up asks for; ``usual`` is taken where it is left out."""

    name: str
    what: str
    unit: str = ""
    low: str = ""
    high: str = ""
    above: bool = False  # the lower bound itself is left out
    usual: str | None = None
    words: bool = False  # a name, no number

    @property
    def room(self) -> str:
        """Within which bounds it lies, in words; empty where there are none."""
        if self.low and self.high:
            return f"{'above ' if self.above else ''}{self.low} to {self.high} {self.unit}".rstrip()
        if self.low:
            return f"{'above' if self.above else 'from'} {self.low} {self.unit}".rstrip()
        return f"up to {self.high} {self.unit}".rstrip() if self.high else ""

    @property
    def units(self) -> tuple[str, ...]:
        """Every unit it can be typed in, none where it is typed in its own alone."""
        return units_of(quantity_of(self.unit))

    def allows(self, value: Decimal) -> bool:
        """Whether a number lies within the bounds."""
        if self.low and (value <= Decimal(self.low) if self.above else value < Decimal(self.low)):
            return False
        return not self.high or value <= Decimal(self.high)


@dataclass(frozen=True, slots=True)
class Found:
    """One number that was looked up."""

    what: str
    value: str
    unit: str
    source: str = ""  # where it differs from that of the look-up


@dataclass(frozen=True, slots=True)
class Answer:
    """What a look-up gives; ``says`` is what to know before the number is used."""

    found: tuple[Found, ...]
    says: tuple[str, ...] = ()


Typed = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class LookUp:
    """One look-up: ``formula`` and ``valid`` are printed beside the number, ``source`` names the document."""

    name: str
    title: str
    wanted: tuple[Wanted, ...]
    answer: Callable[[Typed], Answer]
    formula: str
    valid: str
    source: str

    @property
    def usage(self) -> str:
        """How it is typed: what may be left out stands in brackets."""
        names = (f"[{one.name}]" if one.usual is not None else one.name for one in self.wanted)
        return f"wqverify lookup {self.name} {' '.join(names)}"


def typed_for(look_up: LookUp, texts: Sequence[str]) -> dict[str, str]:
    """Return what was typed by its names, in the units asked for, with what is usual where it was left out.

    Raises CorrectTheEntry where one is missing or too many are there, for what is no number, for a unit that
    does not fit and for a number outside its bounds.
    """
    return {
        one.name: text if one.words or text == one.usual else _taken(one, text).text
        for one, text in as_typed(look_up, texts)
    }


def converted(look_up: LookUp, texts: Sequence[str]) -> tuple[str, ...]:
    """Return what was typed in another unit than asked for, in both; raises as ``typed_for``."""
    taken = (
        _taken(one, text) for one, text in as_typed(look_up, texts) if not one.words and text != one.usual
    )
    return tuple(one.words for one in taken if " = " in one.words)


def as_typed(look_up: LookUp, texts: Sequence[str]) -> list[tuple[Wanted, str]]:
    """Return what is asked for with what was typed; raises CorrectTheEntry for too few and too many."""
    needed = [one for one in look_up.wanted if one.usual is None]
    if not len(needed) <= len(texts) <= len(look_up.wanted):
        lacking = "is missing" if len(texts) < len(needed) else "too much is typed"
        which = needed[len(texts)].name if len(texts) < len(needed) else texts[len(look_up.wanted)]
        raise CorrectTheEntry(
            f"{which[:40]}: {lacking}. Type {look_up.usage}",
            found=" ".join(texts)[:40],
            expected=look_up.usage,
        )
    given = [*texts, *(one.usual or "" for one in look_up.wanted[len(texts) :])]
    return list(zip(look_up.wanted, given, strict=True))


def _taken(one: Wanted, text: str) -> InUnit:
    """Read one number in the unit it is asked for in."""
    reading = Reading.parse(text.replace("°", "deg"))
    if reading.unit not in (None, one.unit) and not one.units:
        raise CorrectTheEntry(
            f"{one.name} is {text[:40]!r}; type the number alone, in {one.unit or 'no unit'}.",
            found=text,
            where=one.name,
        )
    taken = in_unit(reading, one.unit, one.name, one.units)
    if reading.unit is not None and one.units:  # more figures than a reading keeps: nothing here is a reading
        exact = convert(reading.value, reading.unit, one.unit)
        taken = replace(taken, value=TEN.plus(exact).normalize() + 0)
    if not one.allows(taken.value):
        raise CorrectTheEntry(
            f"{one.name} ({one.what}) is {taken.words}; it has to be {one.room}.",
            found=text,
            expected=one.room,
            where=one.name,
        )
    return taken
