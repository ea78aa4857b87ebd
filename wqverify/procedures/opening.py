"""Conditions under which an optional part of a sheet is asked by itself; ``Ask.when`` names one of them.

What is not asked by itself can always be opened from the overview: a condition keeps a passing visit short,
it forbids nothing. Each condition is a pure function of the sheet as far as it is typed and of what it gives;
what has another shape than the sheet asks counts as not typed.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any

from wqverify.procedures.beside import at, group
from wqverify.procedures.walk import open_answers
from wqverify.terms import Outcome, Raw, Result


@dataclass(frozen=True, slots=True)
class SoFar:
    """A visit as far as it is typed: the sheet, what it gives (None while nothing can be computed), where.

    ``path`` is that of the question whose condition is looked at.
    """

    raw: Raw
    result: Result | None = None
    in_round: bool = False
    path: str = ""
    sampled: bool = True  # a sample flows to the instrument


Condition = Callable[[SoFar], bool]


def is_wanted(when: str, so_far: SoFar) -> bool:
    """Whether a question with this condition is asked by itself; raises KeyError for one there is not."""
    return CONDITIONS[when](so_far)


# ---------------------------------------------------------------- of the visit


def _never(_so_far: SoFar) -> bool:
    return False


def _own_visit(so_far: SoFar) -> bool:
    return not so_far.in_round


def _sampled(so_far: SoFar) -> bool:
    return so_far.sampled


def _from_paper(so_far: SoFar) -> bool:
    return isinstance(so_far.raw.get("copied_from_paper"), dict)


# ---------------------------------------------------------------- of what was found and done


def _not_passed(so_far: SoFar) -> bool:
    checks = so_far.result.checks if so_far.result else ()
    return any(
        check.stage == "as_found" and check.counts and check.outcome in (Outcome.FAIL, Outcome.TOO_CLOSE)
        for check in checks
    )


def _done(*parts: str) -> Condition:
    """Whether one of these parts of the sheet has an answer, and is not the reason why it was not done."""
    return lambda so_far: any(_is_done(so_far.raw.get(part)) for part in parts)


def _is_done(part: Any) -> bool:
    if not isinstance(part, dict) or part.get("not_done"):
        return False
    still_open = {place[0] for place in open_answers(part)}
    return any(name not in still_open for name in part)


def _typed(part: str, leaf: str, words: Collection[str] = (), besides: Collection[str] = ()) -> Condition:
    """Whether an answer in a part is one of these words; without words any but those beside them."""

    def wanted(so_far: SoFar) -> bool:
        inside = so_far.raw.get(part)
        answer = inside.get(leaf) if isinstance(inside, dict) else None
        if not isinstance(answer, str) or not answer:
            return False
        return answer in words if words else answer not in besides

    return wanted


def _any_of(*conditions: Condition) -> Condition:
    return lambda so_far: any(condition(so_far) for condition in conditions)


def _both(first: Condition, second: Condition) -> Condition:
    return lambda so_far: first(so_far) and second(so_far)


def _nothing_online(so_far: SoFar) -> bool:
    rows = so_far.raw.get("online")
    return not (isinstance(rows, list) and any(_is_done(row) for row in rows))


def _measured(question: bool) -> Condition:
    """Whether what is measured in this row is a question, answered with yes or no, or a number."""

    def wanted(so_far: SoFar) -> bool:
        row = at(so_far.raw, group(so_far.path))
        what = row.get("what") if isinstance(row, dict) else None
        return isinstance(what, str) and bool(what) and what.endswith("?") is question

    return wanted


def _of_row(leaf: str, words: Collection[str]) -> Condition:
    """Whether an answer of this row is one of these words."""

    def wanted(so_far: SoFar) -> bool:
        row = at(so_far.raw, group(so_far.path))
        answer = row.get(leaf) if isinstance(row, dict) else None
        return isinstance(answer, str) and answer in words

    return wanted


_held = _typed("output_held", "at")


def _live(so_far: SoFar) -> bool:
    return not _held(so_far)


_against_tank = _typed("reference", "against", besides=("strap-on meter", "totaliser"))
_replaced = _typed("decision", "action", words=("replace",))
_changed = _any_of(_done("cleaned", "service", "adjusted"), _replaced)

CONDITIONS: Mapping[str, Condition] = {
    "": lambda _so_far: True,
    "on request": _never,
    "own visit": _own_visit,  # not within a round, where a passing check is short
    "a sample flows": _sampled,  # not to a loop, a tank or an orifice
    "not passed": _not_passed,  # as found
    "own visit or not passed": _any_of(_own_visit, _not_passed),
    "cleaned": _done("cleaned"),
    "decided to adjust": _typed("decision", "action", besides=("leave alone", "replace")),
    "decided to change": _typed("decision", "action", besides=("leave alone",)),
    "replaced": _typed("decision", "action", words=("replace",)),
    "adjusted": _done("adjusted"),
    "changed": _changed,  # cleaned, serviced, adjusted or replaced
    "own visit or changed": _any_of(_own_visit, _changed),
    "restricted": _typed("status", "state", besides=("in service",)),
    "nothing online": _nothing_online,  # no value typed off the display: an export has to tell
    "output held": _held,
    "loop in manual": _typed("loop_in_manual", "at"),
    "alarm blocked": _typed("alarm_blocked", "at"),
    "output not held": _live,  # a held output shows no live value
    "own visit, output not held": _both(_own_visit, _live),
    # flow: kind of meter, and what it is compared with
    "differential pressure": _typed("meter", "kind", words=("differential pressure",)),
    "against a tank": _against_tank,
    "against a tank, own visit": _both(_against_tank, _own_visit),
    "against a strap-on meter": _typed("reference", "against", words=("strap-on meter",)),
    "against a totaliser": _typed("reference", "against", words=("totaliser",)),
    "totals compared": _typed("reference", "read_as", besides=("rates",)),
    "rates compared": _typed("reference", "read_as", words=("rates",)),
    "permission given": _typed("permission", "given_by"),  # by the owner, who is told afterwards
    # a fault that is traced, one measurement at a time
    "a number is read": _measured(question=False),
    "a question is answered": _measured(question=True),
    "repaired": _done("repaired"),
    # values in doubt: how the error came, what the values were used for
    "came at once": _typed("model", "time", words=("step",)),
    "a limit of one's own": _of_row("what", ("alarm", "limit")),
    "after a backwash": _of_row("what", ("two in a row after 4 h",)),
    "copied from paper": _from_paper,  # begun: whoever copies it says so at the start
}
