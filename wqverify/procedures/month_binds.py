"""The figures a month goes by, as its blank prints them: of the rules of filtration, or of the register."""

from __future__ import annotations

from collections.abc import Iterator

from wqverify.procedures.month_dates import (
    ASSESSMENT_DAYS,
    EVALUATION_LARGE,
    EVALUATION_SMALL,
    PROFILE_DAYS,
    REPORT,
)
from wqverify.procedures.month_rules import (
    EVALUATED,
    EVALUATION,
    HIGHEST,
    LIMIT,
    MONTHS,
    PAIR,
    PERCENT,
    SHIPPED,
    START,
    is_large,
    limit_of,
)
from wqverify.terms import Binding, Given, Tolerance

NOT_HELD = "not in the register"


def binds(given: Given) -> tuple[Binding, ...]:
    """Return the figures of a month whose combined effluent this analyzer measures."""
    return tuple(_binds(given))


def _binds(given: Given) -> Iterator[Binding]:
    for filtration in SHIPPED:
        percent, limit, highest = (
            limit_of(name, filtration, given.analyzer, given) for name in (PERCENT, LIMIT, HIGHEST)
        )
        assert percent is not None  # each has its share
        most = f"at least {percent.low} % of the values at most {_high(limit)}, none above {_high(highest)}"
        words = most if limit and highest else f"at least {percent.low} %, limits {NOT_HELD}"
        yield Binding(filtration, words, _sources(percent, limit, highest))
    follow = _follows(given)
    for name, what, running in (
        (PAIR, "two recordings in a row of a filter", follow[PAIR]),
        (START, "two in a row at the end of the first 4 h", follow[START]),
        (EVALUATION, "two recordings in a row of a filter", follow[EVALUATION]),
    ):
        held = limit_of(name, "conventional or direct", given.analyzer, given)
        yield Binding(what, f"above {_high(held)}{running}", _sources(held))
    yield Binding("report to the State", "by the 10th of the next month", REPORT)


def _follows(given: Given) -> dict[str, str]:
    """What follows from pairs above a limit, and by when."""
    large = is_large(given)
    arranged, done = EVALUATION_LARGE if large else EVALUATION_SMALL
    profile = f": profile within {PROFILE_DAYS} days" if large else ""
    return {
        PAIR: f"{profile}{',' if large else ':'} in {MONTHS} months in a row self-assessment within "
        f"{ASSESSMENT_DAYS} days",
        START: profile,
        EVALUATION: f" in {EVALUATED} months in a row: evaluation arranged within {arranged} days, "
        f"done within {done}",
    }


def _high(tolerance: Tolerance | None) -> str:
    return NOT_HELD if tolerance is None else f"{tolerance.high} {tolerance.unit}"


def _sources(*tolerances: Tolerance | None) -> str:
    return "; ".join(dict.fromkeys(one.source for one in tolerances if one is not None))
