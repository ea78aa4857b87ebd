"""What the tests of a procedure do with one of its sheets: read it, compute it, look into the result."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.clock import resolve
from wqverify.procedures.parts import typed_times
from wqverify.procedures.sheets import parse
from wqverify.terms import Analyzer, Check, Given, Procedure, Quantity, Result, Standard, Value

ZONE = ZoneInfo("America/New_York")


@dataclass(frozen=True)
class Of:
    """A procedure with what is given to a visit unless a test gives something else."""

    procedure: Procedure
    given: Given
    analyzer: Callable[[], Analyzer]
    standards: Mapping[str, Standard]
    key: str  # of the check that tests look at unless they name one

    def given_for(self, raw: dict[str, Any], a: Analyzer | None = None, **more: Any) -> Given:
        times = {
            path: resolve(raw["date"], typed, ZONE).isoformat(timespec="minutes")
            for path, typed in typed_times(self.procedure.Sheet, raw).items()
        }
        plain: dict[str, Any] = {
            "analyzer": a or self.analyzer(),
            "standards": self.standards,
            "times": times,
            "earlier": (),
            "trends": (),
            "attached": {},
        }
        return replace(self.given, **{**plain, **more})

    def run(self, raw: dict[str, Any], given: Given | None = None) -> Result:
        sheet = parse(self.procedure, raw)
        known = given or self.given_for(raw)
        result = self.procedure.compute(sheet, known, {})
        keys = [check.key for check in result.checks]
        assert sorted(self.procedure.expects(sheet, known)) == sorted(keys)
        assert len({*keys, *(value.key for value in result.values)}) == len(keys) + len(result.values)
        return result

    def check(self, result: Result, key: str = "") -> Check:
        return next(check for check in result.checks if check.key == (key or self.key))

    def quantity(self, result: Result, key: str = "") -> Quantity:
        found = self.check(result, key).quantity
        assert found is not None
        return found

    def refused(self, raw: dict[str, Any], given: Given | None = None) -> str:
        known = given or self.given_for(raw)
        with pytest.raises((CorrectTheEntry, ChooseAnother)) as caught:
            self.procedure.compute(parse(self.procedure, raw), known, {})
        return caught.value.message

    def not_taken(self, raw: dict[str, Any]) -> str:
        with pytest.raises(CorrectTheEntry) as caught:
            parse(self.procedure, raw)
        return caught.value.message


def value(result: Result, key: str) -> Value:
    return next(value for value in result.values if value.key == key)


def told(result: Result, kind: str) -> str:
    return "\n".join(note.text for note in result.notes if note.kind == kind)
