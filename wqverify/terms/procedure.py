"""What a procedure is made of."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Literal

from wqverify.errors import CorrectTheEntry
from wqverify.terms.clocks import RunningClock
from wqverify.terms.computed import Result
from wqverify.terms.kept import Caution
from wqverify.terms.known import Analyzer, Given
from wqverify.terms.typed import Beside, Reading

Slices = Mapping[str, bytes]
Raw = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Setting:
    """A number the register may set for an analyzer, within inclusive bounds.

    >>> last = Setting("2", "60", whole=True)
    >>> str(last), last.allows("60"), last.allows("61"), last.allows("3.5")
    ('a whole number from 2 to 60', True, False, False)
    """

    low: str
    high: str
    whole: bool = False

    def __str__(self) -> str:
        return f"a {'whole ' if self.whole else ''}number from {self.low} to {self.high}"

    def allows(self, text: str) -> bool:
        """Whether a text is such a number, plainly typed and without a unit."""
        try:
            typed = Reading.parse(text)
        except CorrectTheEntry:
            return False
        fits = typed.unit is None and (typed.digit == 1 or not self.whole)
        return fits and Decimal(self.low) <= typed.value <= Decimal(self.high)


@dataclass(frozen=True, slots=True)
class Binding:
    """A figure a procedure goes by, as its blank prints it: of what, how much, where it is from."""

    what: str
    bounds: str
    source: str


def no_clocks(_raw: Raw, _given: Given, _slices: Slices) -> tuple[RunningClock, ...]:
    """The clocks of a procedure on whose sheets none runs."""
    return ()


@dataclass(frozen=True)
class Procedure:
    """Which readings, which standards, which tolerance, which source: one module each.

    ``compute(sheet, given, slices)`` sees nothing else. ``expects(sheet, given)`` gives the keys of the
    checks that must be in the result. ``refuse(sheet, given)`` raises what compute refuses before it
    computes. ``upgrade[n]`` turns a raw sheet of revision n into n + 1.
    ``opens(result)`` names what a result opens next, as (procedure, reason). ``looks_back`` says how many
    earlier records of the same tag it is given, newest first, by procedure ("*" for any); without it the
    last one of its own on the same instrument. ``beside`` holds what stands next to a question, by the name
    its ``Ask`` gives: a pure function of the sheet as far as it is typed, the path of the question and given.
    ``names(analyzer)`` is what an answer of the sheet may be called, printed on its blank. ``cites`` says of
    which analyzers the standing records begun between the first and the last typed time are given as well:
    its "own" with those the sheet names, or "all". ``clocks(raw, given, slices)`` are the clocks that run on
    a sheet as far as it is typed; those that still run when it is signed it tells by ``due_facts``.
    ``month_due(month)`` is of a procedure whose work is about a calendar month, its fact "month": by which
    day that is due. ``binds(given)`` are the figures it goes by where not all stand in the
    register; given holds no more than site and analyzer.
    """

    name: str
    title: str
    revision: int
    Sheet: type[Any]
    compute: Callable[[Any, Given, Slices], Result]
    expects: Callable[[Any, Given], tuple[str, ...]]
    refuse: Callable[[Any, Given], None] = lambda _sheet, _given: None
    cautions: tuple[Caution, ...] = ()
    tables: tuple[tuple[str, str], ...] = ()  # (name, edition) needed besides those of the standards
    beside: Mapping[str, Callable[[Raw, str, Given], Beside]] = field(default_factory=dict)
    upgrade: Mapping[int, Callable[[Raw], Raw]] = field(default_factory=dict)
    opens: Callable[[Result], tuple[tuple[str, str], ...]] = lambda _result: ()
    tolerances: tuple[str, ...] = ()  # the names it reads from the register
    settings: Mapping[str, Setting] = field(default_factory=dict)  # likewise
    looks_back: Mapping[str, int] = field(default_factory=dict)
    names: Callable[[Analyzer], tuple[str, ...]] = lambda _analyzer: ()
    cites: Literal["", "own", "all"] = ""
    clocks: Callable[[Raw, Given, Slices], tuple[RunningClock, ...]] = no_clocks
    month_due: Callable[[str], date] | None = None
    binds: Callable[[Given], tuple[Binding, ...]] = lambda _given: ()
