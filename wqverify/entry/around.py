"""What a visit is stepped through with: everything besides the sheet and its journal."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import Any

from wqverify.entry.provisional import Around
from wqverify.entry.tree import MISSING, get, put, steps_of
from wqverify.procedures.walk import own_unit
from wqverify.terms import Analyzer, Person, Procedure, Standard


@dataclass(frozen=True)
class Surroundings:
    """The plant around a visit, as far as its questions need it.

    ``last`` is the sheet of the newest record of this procedure on this very instrument, empty without one.
    """

    procedure: Procedure
    analyzer: Analyzer
    zone: tzinfo
    now: Callable[[], datetime]
    around: Around
    people: Mapping[str, Person] = field(default_factory=dict)
    standards: Mapping[str, Standard] = field(default_factory=dict)
    trends: tuple[str, ...] = ()  # exports in the plant's folder trends/
    analyzers: Mapping[str, Analyzer] = field(default_factory=dict)
    records: Mapping[str, str] = field(default_factory=dict)  # newest of the analyzer: number -> what it is
    last: Mapping[str, Any] = field(default_factory=dict)
    last_day: str = ""
    synthetic: bool = False
    in_round: bool = False
    paper: bool = False  # typed later from a sheet of paper: no clock answers anything

    @property
    def unit(self) -> str:
        """The unit of "analyzer" questions."""
        return own_unit(self.procedure.Sheet, self.analyzer.unit)

    @property
    def sampled(self) -> bool:
        """Whether a sample flows to what is checked, by the procedure or by the register."""
        sheet: Any = self.procedure.Sheet
        return bool(sheet.SAMPLED) or self.analyzer.sample_line is not None

    def local(self) -> datetime:
        """Return this computer's clock as the plant reads it."""
        return self.now().astimezone(self.zone)


def found(raw: Mapping[str, Any], path: str) -> Any:
    """Return what stands at a path of a raw sheet, None where nothing does.

    >>> found({"as_found": {"points": [{"readings": ["7.06"]}]}}, "as_found.points.0.readings")
    ['7.06']
    """
    value = get(raw, steps_of(path))
    return None if value is MISSING else value


def with_answer(raw: Mapping[str, Any], path: str, value: Any) -> dict[str, Any]:
    """Return the sheet with one more answer; the given one stays as it is."""
    made: dict[str, Any] = put(raw, steps_of(path), value)
    return made
