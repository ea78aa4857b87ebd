"""The figures a doubt goes by, as its blank prints them: of the register, of the rule, of a setting."""

from __future__ import annotations

from collections.abc import Iterator
from typing import get_args

from wqverify.calculations.recorded_limits import Direction
from wqverify.procedures.doubt_clears import near_level
from wqverify.procedures.doubt_limits import HOURS, PERCENT, known_limit
from wqverify.procedures.doubt_sheet import OWN_LIMIT, UsedFor
from wqverify.terms import Binding, Given


def binds(given: Given) -> tuple[Binding, ...]:
    """Return the figures by which recorded values of this analyzer decide."""
    return tuple(_binds(given))


def _binds(given: Given) -> Iterator[Binding]:
    for what in get_args(UsedFor):
        if what not in OWN_LIMIT:
            yield from _of_rule(what, given)
    for direction in get_args(Direction):
        limit = known_limit("alarm", direction, given)
        if limit is not None:
            yield Binding("alarm", f"{direction} {limit.size} {given.analyzer.unit}", limit.source)
    factor, percent = near_level(given)
    near = f"level within a factor of {factor}, or {percent} % of the range"
    yield Binding("a check counts as the last good one", near, "a setting; common practice, no source")


def _of_rule(what: UsedFor, given: Given) -> Iterator[Binding]:
    limit = known_limit(what, None, given)
    if limit is None:
        return
    words = f"{limit.direction} {limit.size} {given.analyzer.unit}"
    if what == "95 % of the values":
        words = f"not {words} in at least {PERCENT} %"
    elif what == "too low for 4 h":
        words = f"{words} for more than {HOURS} h"
    yield Binding(what, words, limit.source)
