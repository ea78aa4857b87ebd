"""Conditions under which an optional part of a sheet is asked by itself; ``Ask.when`` names one of them.

What is not asked by itself can always be opened from the overview: a condition keeps a passing visit short, it
forbids nothing. Each condition is a pure function of the sheet as far as it is typed and of what it gives.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from wqverify.terms import Outcome, Raw, Result


@dataclass(frozen=True, slots=True)
class SoFar:
    """A visit as far as it is typed: the sheet, what it gives (None while nothing can be computed), where."""

    raw: Raw
    result: Result | None = None
    in_round: bool = False


def _never(_so_far: SoFar) -> bool:
    return False


def _own_visit(so_far: SoFar) -> bool:
    return not so_far.in_round


def _not_passed(so_far: SoFar) -> bool:
    checks = so_far.result.checks if so_far.result else ()
    return any(
        check.stage == "as_found" and check.counts and check.outcome in (Outcome.FAIL, Outcome.TOO_CLOSE)
        for check in checks
    )


def _done(part: str) -> Callable[[SoFar], bool]:
    return lambda so_far: bool(so_far.raw.get(part)) and "not_done" not in so_far.raw[part]


def _changed(so_far: SoFar) -> bool:
    return any(_done(part)(so_far) for part in ("cleaned", "adjusted"))


CONDITIONS: Mapping[str, Callable[[SoFar], bool]] = {
    "": lambda _so_far: True,
    "on request": _never,
    "own visit": _own_visit,  # not within a round, where a passing check is short
    "not passed": _not_passed,  # as found
    "changed": _changed,  # cleaned or adjusted
}


def is_wanted(when: str, so_far: SoFar) -> bool:
    """Whether a question with this condition is asked by itself; raises KeyError for one there is not."""
    return CONDITIONS[when](so_far)
