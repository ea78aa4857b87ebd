"""How often a check of a series passes what is out and fails what is in, by what was found so far."""

from __future__ import annotations

from dataclasses import dataclass

from wqverify.calculations.decision_risk import false_accept, false_reject, guard_band_method_6
from wqverify.lists.history import Figures
from wqverify.terms import Outcome

EVEN = 0.5  # chance that all checks are in tolerance, of the share that is taken where all were


@dataclass(frozen=True, slots=True)
class Risk:
    """Shares of all checks; ``limit`` is the acceptance limit of method 6 as a share of the tolerance."""

    tur: float
    history: float
    accept: float
    reject: float
    limit: float
    guarded: float  # wrongly passed with that limit


def risk_of(figures: Figures) -> Risk | None:
    """Return the risks of a series that counts; None without a tolerance on both sides, a U or a verdict.

    The history is the share found in tolerance; where all were, the one for which that was an even chance.
    """
    points = figures.series.points
    newest = next((p for p in reversed(points) if p.value is not None and p.low and p.high), None)
    judged = [p.outcome for p in points if p.outcome in (Outcome.PASS, Outcome.FAIL)]
    if newest is None or not newest.expanded or not judged or not figures.series.counts:
        return None
    half, expanded = (float(newest.high) - float(newest.low)) / 2, float(newest.expanded)
    passed, n = judged.count(Outcome.PASS), len(judged)
    history = passed / n if passed < n else EVEN ** (1 / n)
    if not (half > 0 and expanded > 0 and history > 0):
        return None
    tur = half / expanded
    limit = guard_band_method_6(tur)
    return Risk(
        tur=tur,
        history=history,
        accept=false_accept(history, tur),
        reject=false_reject(history, tur),
        limit=limit,
        guarded=false_accept(history, tur, limit) if limit > 0 else 0.0,
    )
