"""The yearly review of a pair of instruments: everything a weekly check does not show. Nobody signs it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

import numpy as np

from wqverify.calculations.comparison import (
    LIMIT_FACTOR,
    Agreement,
    Concordance,
    Trend,
    concordance,
    difference_against_level,
    lag_one,
    limits_of_agreement,
    worth,
)
from wqverify.calculations.errors_in_both import deming, errors_in_both
from wqverify.calculations.line_fit import FittedLine
from wqverify.calculations.passing_bablok import RankLine, passing_bablok, theil_sen
from wqverify.calculations.repeatability import Repeatability, repeatability
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.lists.review_pair import Floats, Pair, open_pair

Found = TypeVar("Found")
DEMING, BOTH, PASSING_BABLOK, THEIL_SEN = "Deming", "Errors in both", "Passing-Bablok", "Theil-Sen"


@dataclass(frozen=True, slots=True)
class Review:
    """What was computed of a pair; None where it could not be, with the reason in ``refused``."""

    pair: Pair
    agreement: Agreement
    correlation_of_neighbours: float
    independent: float  # pairs the record is worth
    trend: Trend | None
    concordance: Concordance | None
    lines: Mapping[str, FittedLine]
    rank_lines: Mapping[str, RankLine]
    repeatability: Mapping[str, Repeatability]
    refused: Mapping[str, str]


def open_review(
    folder: str = "",
    file: str = "",
    first: str = "",
    second: str = "",
    resolution: str = "",
    export: Mapping[str, Any] | None = None,
    choices: Mapping[str, Any] | None = None,
) -> Review:
    """Read a pair (see ``review_pair.open_pair``) and compute its review; without a file, the shipped pair.

    Raises what ``open_pair`` raises, and ChooseAnother for fewer than three pairs. What only one method
    cannot do stands in ``refused``.
    """
    return review(open_pair(folder, file, first, second, resolution, export, choices))


def review(pair: Pair) -> Review:
    """Compute the review of a pair."""
    level, refused = pair.choices.level, dict[str, str]()
    compute = _Compute(refused)
    agreement = limits_of_agreement(pair.a, pair.b, level=level)
    r = lag_one(pair.b - pair.a, pair.follows)
    return Review(
        pair=pair,
        agreement=agreement,
        correlation_of_neighbours=r,
        independent=worth(agreement.n, r) if r > _by_chance(agreement.n) else float(agreement.n),
        trend=compute.one(
            "Difference against level", lambda: difference_against_level(pair.a, pair.b, level)
        ),
        concordance=compute.one("Concordance", lambda: concordance(pair.a, pair.b, level)),
        lines=compute.several(_lines(pair)),
        rank_lines=compute.several(
            {
                PASSING_BABLOK: lambda: passing_bablok(pair.a_steps, pair.b_steps, level),
                THEIL_SEN: lambda: theil_sen(pair.a_steps, pair.b_steps, level),
            }
        ),
        repeatability=compute.several(
            {
                name: partial(repeatability, groups, pair.choices.edges, level)
                for name, groups in pair.again.items()
            }
        ),
        refused=refused,
    )


def _by_chance(n: int) -> float:
    """Correlation of neighbours that independent values exceed in one case of 40."""
    return LIMIT_FACTOR / math.sqrt(n)


def _lines(pair: Pair) -> dict[str, Callable[[], FittedLine]]:
    told = pair.choices
    lines: dict[str, Callable[[], FittedLine]] = {DEMING: lambda: deming(pair.a, pair.b, told.ratio)}
    u_a = _u(pair.a, told.u_first, told.u_first_percent)
    u_b = _u(pair.b, told.u_second, told.u_second_percent)
    if u_a.any() or u_b.any():
        lines[BOTH] = lambda: _in_both(pair, u_a, u_b)
    return lines


def _in_both(pair: Pair, u_a: Floats, u_b: Floats) -> FittedLine:
    """The line with errors in both; raises ChooseAnother where a value of the second has no uncertainty."""
    if not (u_b > 0).all():
        raise ChooseAnother(
            f"{int((u_b <= 0).sum())} of {len(u_b)} values of {pair.second} have no uncertainty; give "
            f"u_second above 0, not only a percent where a value is 0.",
            found="u of 0",
            expected="u above 0 for every value",
            where="choices",
        )
    return errors_in_both(pair.a, pair.b, u_a, u_b)


def _u(values: Floats, constant: float, percent: float) -> Floats:
    u: Floats = np.hypot(constant, percent / 100 * values)
    return u


class _Compute:
    """Each method by itself: what one cannot do is its reason, and the others go on."""

    def __init__(self, refused: dict[str, str]) -> None:
        self._refused = refused

    def one(self, name: str, task: Callable[[], Found]) -> Found | None:
        try:
            return task()
        except (ChooseAnother, CorrectTheEntry) as reason:
            self._refused[name] = str(reason)
            return None

    def several(self, tasks: Mapping[str, Callable[[], Found]]) -> dict[str, Found]:
        found = {name: self.one(name, task) for name, task in tasks.items()}
        return {name: one for name, one in found.items() if one is not None}
