"""Advice on an interval by named methods, each with its interval of confidence. It changes no plan.

What counts is whether the instrument was found in tolerance, and how far it had drifted, after how many days.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from wqverify.calculations.interval import (
    Drift,
    capped,
    clopper_pearson,
    drift_through_zero,
    fewest_checks,
    interval_test,
    reliability_interval,
    until_limit,
)
from wqverify.errors import ChooseAnother

NEAR = (
    0.5  # a check counts for an interval it lies within half of; as published open code of method A3 has it
)
CHANGES_FROM = 0.5  # confidence from which the interval test changes the interval; likewise
LEVEL = 0.95  # of the intervals of confidence
INTERVAL_TEST = "interval test (A3)"
RELIABILITY = "exponential reliability"
DRIFT = "drift to the limit"
METHODS = (INTERVAL_TEST, RELIABILITY, DRIFT)


@dataclass(frozen=True, slots=True)
class Choices:
    """What the plant decides: the share to be found in tolerance, and by how much one review may change.

    ``target`` and ``most`` are settings of the analyzer (interval_target_percent, interval_change_most).
    """

    target: float = 0.95  # common practice, no source
    most: float = 2.0  # common practice, no source
    method: str = INTERVAL_TEST


@dataclass(frozen=True, slots=True)
class Verdict:
    """How an instrument was found, None where not judged, and how many days after the check before."""

    number: str
    days: float
    passed: bool | None


@dataclass(frozen=True, slots=True)
class Suggested:
    """What one method comes to; ``days`` is None where it cannot say, with the reason.

    ``days`` is kept within the cap; ``low`` and ``high`` are not: they say how well it is known.
    """

    method: str
    days: float | None
    low: float | None = None
    high: float | None = None
    capped: bool = False
    told: str = ""
    source: str = ""


@dataclass(frozen=True)
class Advice:
    """What the methods say about an interval of so many days."""

    current: float
    current_from: str  # "the register", or where it was taken from
    choices: Choices
    checks: int  # judged, and about an interval apart
    passed: int
    left_out: int  # judged, and not about an interval apart
    undecided: int  # too close to decide, or not evaluated
    observed: tuple[float, float] | None  # interval of confidence of the share in tolerance
    suggested: tuple[Suggested, ...]
    notes: tuple[str, ...]

    @property
    def needed(self) -> int:
        """From how many checks on the record can speak for the interval at all."""
        return fewest_checks(self.choices.target, CHANGES_FROM)

    @property
    def chosen(self) -> Suggested:
        """What the named method says."""
        return next(one for one in self.suggested if one.method == self.choices.method)


def advice(
    verdicts: Sequence[Verdict],
    drifts: Sequence[tuple[str, Sequence[tuple[float, float]], float, float]],
    current: float | None,
    choices: Choices | None = None,
    current_from: str = "the register",
) -> Advice | None:
    """Return advice, None without a check that was judged.

    ``drifts`` are (name, (days, change) of each check, low limit, high limit); ``current`` is the interval of
    the plan, or None: then the median of the days between checks stands for it.
    """
    choices = choices if choices is not None else Choices()
    judged = [one for one in verdicts if one.passed is not None and one.days > 0]
    if not judged:
        return None
    if current is None:
        current, current_from = median(one.days for one in judged), "the median of the days between checks"
    used = [one for one in judged if abs(one.days - current) <= NEAR * current]
    passed = sum(bool(one.passed) for one in used)
    return Advice(
        current=current,
        current_from=current_from,
        choices=choices,
        checks=len(used),
        passed=passed,
        left_out=len(judged) - len(used),
        undecided=sum(one.passed is None for one in verdicts),
        observed=clopper_pearson(passed, len(used), LEVEL) if used else None,
        suggested=(
            _by_test(passed, len(used), current, choices),
            _by_reliability(passed, len(used), current, choices),
            _by_drift(drifts, current, choices),
        ),
        notes=tuple(_notes(len(used), passed, choices)),
    )


def _by_test(passed: int, n: int, current: float, choices: Choices) -> Suggested:
    source = "NCSLI RP-1 method A3 as published open code has it"
    if n == 0:
        return Suggested(INTERVAL_TEST, None, told="no check lies about an interval apart", source=source)
    found = interval_test(passed, n, current, choices.target, CHANGES_FROM, choices.most)
    share = f"{passed} of {n} in tolerance"
    for level in (CHANGES_FROM, LEVEL):
        low, high = clopper_pearson(passed, n, level)
        share += f", at {level:.0%} confidence {low:.1%} to {high:.1%}"
    said = f"{share}; confidence {found.q:.4f} that the interval is not right"
    ends = (current / choices.most, current * choices.most)
    return Suggested(
        INTERVAL_TEST,
        found.days,
        capped=found.changes and found.days in ends,
        told=said if found.changes else f"{said}: too little to change it",
        source=source,
    )


def _by_reliability(passed: int, n: int, current: float, choices: Choices) -> Suggested:
    source = "exponential model, common mathematics; Clopper and Pearson 1934"
    if n == 0:
        return Suggested(RELIABILITY, None, told="no check lies about an interval apart", source=source)
    low, high = (
        reliability_interval(current, end, choices.target) for end in clopper_pearson(passed, n, LEVEL)
    )
    new = reliability_interval(current, passed / n, choices.target)
    told = f"{passed} of {n} in tolerance, were failures to come at random in time"
    if not math.isfinite(new):
        told = f"no failure in {n} checks: it says only that the interval may be at least {low:.0f} d"
        return Suggested(RELIABILITY, None, low, None, told=told, source=source)
    kept = capped(new, current, choices.most)
    return Suggested(RELIABILITY, kept, low, _finite(high), kept != new, told, source)


def _by_drift(
    drifts: Sequence[tuple[str, Sequence[tuple[float, float]], float, float]],
    current: float,
    choices: Choices,
) -> Suggested:
    """The key that is expected to leave its tolerance first; both ends of its u."""
    source = "NASA-HDBK-8739.19-5, variables data, drift through zero"
    first: tuple[float, float, str] | None = None
    refused = ""
    for name, changes, low, high in drifts:
        try:
            drift = drift_of(changes)
        except ChooseAnother as reason:
            refused = refused or reason.message
            continue
        if not low < 0 < high:
            continue
        sure, expected = (until_limit(drift, low, high, level) for level in (LEVEL, 0.0))
        if first is None or sure < first[0]:
            first = (sure, expected, name)
    if first is None:
        told = refused or "no key has a tolerance on both sides of 0"
        return Suggested(DRIFT, None, told=told, source=source)
    sure, expected, name = first
    if not math.isfinite(sure):
        return Suggested(DRIFT, None, told=f"{name}: no drift towards a limit", source=source)
    if sure == 0:
        told = f"{name}: its scatter alone is wider than the tolerance; a shorter interval does not mend that"
        return Suggested(DRIFT, None, told=told, source=source)
    kept = capped(sure, current, choices.most)
    told = (
        f"{name}: begun at an error of 0, a single check has left the tolerance on that side with "
        f"{(1 - LEVEL) / 2:.1%} risk after {sure:.0f} d; what is left at an error of its own is out sooner"
    )
    return Suggested(DRIFT, kept, sure, _finite(expected), kept != sure, told, source)


def drift_of(changes: Sequence[tuple[float, float]]) -> Drift:
    """Return the straight drift through zero of (days, change); raises ChooseAnother for too few."""
    return drift_through_zero([t for t, _change in changes], [change for _t, change in changes])


def _finite(days: float) -> float | None:
    return days if math.isfinite(days) else None


def _notes(n: int, passed: int, choices: Choices) -> list[str]:
    needed = fewest_checks(choices.target, CHANGES_FROM)
    said = [
        "Advice only: the plan is the register, and a change of it is accepted by a person with a reason.",
        f"A review changes an interval by at most the factor {choices.most:g} (a setting; common practice).",
    ]
    if n < needed:
        said.append(
            f"Too few checks: {n} that are about an interval apart, and before {needed} of them, all in "
            f"tolerance, no record can show {choices.target:.0%} with even odds."
        )
    if n and passed / n < choices.target:
        said.append(
            "The methods differ where checks fail: the interval test asks how sure the record is, the "
            "exponential model takes every failure as drift in time. A fault that is not drift (film, air, a "
            "wrong range) is mended at its cause, not by checking more often."
        )
    return said
