"""What a record of values in doubt tells other procedures: the period, the model, what was decided.

Written as texts in ``Result.facts`` and read back here, so that another procedure recomputes the same values:

* ``doubt.from``, ``doubt.until``: ISO 8601 with offset, of the values in doubt;
* ``doubt.counted_from``: of the last good check, or of evidence that it was right later, where a line begins
  (left out: ``doubt.from``); ``doubt.full_at``: of the failed check; ``doubt.step_at``: of the event, where
  the model is a step;
* ``doubt.time_model``: "step", "linear" or "worst case"; ``doubt.level_model``: "offset", "gain" or "points";
* ``doubt.points``: "0.10 0.012; 0.52 0.041", displayed level and error (reading minus reference) at the
  failed check, ``doubt.points_at_start`` likewise at the beginning; ``doubt.fouling_model`` and
  ``doubt.fouling_points``: the part that cleaning took away, taken off first; none where not measured apart;
* ``doubt.places``: decimal places that corrected values are rounded to;
* ``doubt.decision``: "2026-03-03T08:40:00-05:00 2026-03-10T09:30:00-05:00 correct; ...", one for each part of
  the period, in order; ``answers``: numbers of the records this one answers, joined by ", ".
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, get_args

from wqverify.calculations.drift import LevelModel, Model, Point, Stage, TimeModel, corrected_series

if TYPE_CHECKING:
    from wqverify.calculations.drift import Floats, Seconds

CORRECT = "correct"
FACTS_OF_A_DOUBT = ("doubt.from", "doubt.until", "doubt.full_at", "doubt.time_model", "doubt.places")


@dataclass(frozen=True, slots=True)
class Decided:
    """What was decided about a part of the period; seconds since 1970 UTC, both ends included."""

    start: int
    end: int
    what: str


def model_of(facts: Mapping[str, str]) -> Model | None:
    """Return the error model that a record tells of, None where it tells of none that can be computed."""
    if any(not facts.get(name) for name in FACTS_OF_A_DOUBT) or not facts.get("doubt.points"):
        return None
    stages = []
    if facts.get("doubt.fouling_points"):
        kind = _level_model(facts["doubt.fouling_model"])
        stages.append(Stage(kind, points_of(facts["doubt.fouling_points"])))
    kind = _level_model(facts["doubt.level_model"])
    start = points_of(facts.get("doubt.points_at_start", ""))
    stages.append(Stage(kind, points_of(facts["doubt.points"]), start))
    step = facts.get("doubt.step_at", "")
    return Model(
        _time_model(facts["doubt.time_model"]),
        seconds(facts.get("doubt.counted_from") or facts["doubt.from"]),
        seconds(facts["doubt.full_at"]),
        tuple(stages),
        seconds(step) if step else None,
    )


def decided(facts: Mapping[str, str]) -> tuple[Decided, ...]:
    """Return what was decided for which part of the period, in order of time; empty while undecided."""
    parts = [part.split(" ", 2) for part in facts.get("doubt.decision", "").split("; ") if part]
    return tuple(Decided(seconds(start), seconds(end), what) for start, end, what in parts)


def corrected(times: Seconds, values: Floats, facts: Mapping[str, str], everywhere: bool = False) -> Floats:
    """Return recorded values with the error of a doubt taken off where it was decided to correct them.

    ``times`` in seconds since 1970 UTC; ``values`` each the float nearest to what was recorded, NaN where
    nothing was. What lies outside the period, and what was decided otherwise, comes back as it was recorded;
    ``everywhere`` corrects the whole period whatever was decided. Where the facts hold no model nothing is
    changed.

    >>> import numpy as np
    >>> day = "2026-03-{:02}T00:00:00+00:00".format
    >>> facts = {"doubt.from": day(1), "doubt.until": day(31), "doubt.full_at": day(31),
    ...          "doubt.time_model": "linear", "doubt.level_model": "offset", "doubt.points": "0.3 0.06",
    ...          "doubt.places": "4",
    ...          "doubt.decision": f"{day(1)} {day(21)} correct; {day(21)} {day(31)} qualify"}
    >>> corrected(np.array([seconds(day(11)), seconds(day(25))]), np.array([0.31, 0.31]), facts).tolist()
    [0.29, 0.31]
    """
    model = model_of(facts)
    if model is None:
        return values
    whole = (Decided(seconds(facts["doubt.from"]), seconds(facts["doubt.until"]), CORRECT),)
    import numpy as np

    inside = np.zeros(len(times), dtype=bool)
    for part in whole if everywhere else decided(facts):
        if part.what == CORRECT:
            inside |= (times >= part.start) & (times <= part.end)
    found = values.astype(np.float64)
    found[inside] = corrected_series(model, times[inside], found[inside], int(facts["doubt.places"]))
    return found


# ---------------------------------------------------------------- texts


def points_of(text: str) -> tuple[Point, ...]:
    """Return the pairs of level and error that a text holds.

    >>> [(str(p.level), str(p.error)) for p in points_of("0.10 0.012; 0.52 -0.041")]
    [('0.10', '0.012'), ('0.52', '-0.041')]
    """
    pairs = [pair.split(" ") for pair in text.split("; ") if pair]
    return tuple(Point(Decimal(level), Decimal(error)) for level, error in pairs)


def points_as_text(points: Iterable[Point]) -> str:
    """Return pairs of level and error as a text."""
    return "; ".join(f"{point.level:f} {point.error:f}" for point in points)


def seconds(iso: str) -> int:
    """Return a moment with its offset in seconds since 1970 UTC.

    >>> seconds("1970-01-01T01:00:00+01:00")
    0
    """
    return int(datetime.fromisoformat(iso).timestamp())


def _time_model(text: str) -> TimeModel:
    (found,) = [word for word in get_args(TimeModel) if word == text]
    return found  # type: ignore[no-any-return]


def _level_model(text: str) -> LevelModel:
    (found,) = [word for word in get_args(LevelModel) if word == text]
    return found  # type: ignore[no-any-return]
