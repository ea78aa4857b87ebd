"""The error that was found, as points by level, fouling and drift apart, and the model it gives in time.

An error is that of the failed record, as found and after cleaning, or as typed with its source. Fouling is
what cleaning took away; drift is what was left, less nothing: the error left at the last good check is the
beginning of it. Fouling comes off first, drift at the level that leaves.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from wqverify.calculations import drift_criteria as criteria
from wqverify.calculations.drift import LevelModel, Model, Point, Stage, TimeModel
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.doubt_clears import STATES, failed_at, is_error, name_of
from wqverify.procedures.doubt_sheet import DoubtSheet, ErrorAt
from wqverify.terms import Check, Cited, Given, Outcome, Place

LEVEL_MODELS: dict[str, LevelModel] = {"offset": "offset", "gain": "gain", "line between points": "points"}
TIMES: tuple[TimeModel, ...] = ("step", "linear", "worst case")
AS_FOUND, AFTER_CLEANING = "as_found", "after_cleaning"


@dataclass(frozen=True, slots=True)
class Found:
    """One error: where it was found, how large, and what cleaning and the last good check say of it."""

    name: str
    level: Decimal  # displayed
    error: Decimal
    cleaned: Decimal | None = None
    at_start: Decimal | None = None
    start_level: Decimal | None = None  # displayed at the last good check, beside the error there
    expanded: str = ""  # U of the error as found
    k: float | None = None
    source: str = ""
    failed: bool = False

    @property
    def fouling(self) -> Decimal | None:
        """What cleaning took away, in the sign of an error; None where it was not read after cleaning."""
        return None if self.cleaned is None else self.error - self.cleaned

    @property
    def drift(self) -> Decimal:
        """What cleaning left; the whole error where it was not read after cleaning."""
        return self.error if self.cleaned is None else self.cleaned


def place_of(sheet: DoubtSheet, failed: Cited) -> Place:
    """Return whose error the recorded values have: as the sheet says, else where it failed first."""
    if sheet.failed.place is not None:
        return "analyzer" if sheet.failed.place == "at the analyzer" else "control system"
    return next(iter(failed_at(failed)), "analyzer")


def errors_of(sheet: DoubtSheet, failed: Cited, good: Cited | None, given: Given) -> tuple[Found, ...]:
    """Return the errors the model is made of, in the order of the sheet; raises ChooseAnother.

    Where the sheet names none, every error of the failed record at its place counts.
    """
    place = place_of(sheet, failed)
    held = held_at(failed, place, AS_FOUND, given)
    if not sheet.errors:
        return tuple(_of_check(check, place, failed, good, given) for check in held.values())
    return tuple(_one(row, n, held, place, failed, good, given) for n, row in enumerate(sheet.errors))


def _one(
    row: ErrorAt,
    n: int,
    held: dict[str, Check],
    place: Place,
    failed: Cited,
    good: Cited | None,
    given: Given,
) -> Found:
    if row.check is None:
        assert row.level is not None
        assert row.found is not None
        return Found(
            f"level {row.level.text}",
            row.level.value,
            row.found.value,
            row.cleaned.value if row.cleaned else None,
            row.at_start.value if row.at_start else None,
            row.level.value - row.found.value + row.at_start.value if row.at_start else None,
            row.expanded.text if row.expanded else "",
            source=row.source or "",
            failed=True,
        )
    if row.check not in held:
        raise ChooseAnother(
            f"Record {failed.number} has no error called {row.check!r} as found at the {place} in "
            f"{given.analyzer.unit} (it has {', '.join(held) or 'none'}); name one of those, or type level, "
            f"error and source.",
            found=row.check,
            expected=", ".join(held),
            where=f"errors.{n}.check",
        )
    return _of_check(held[row.check], place, failed, good, given)


def held_at(one: Cited | None, place: Place, stage: str, given: Given) -> dict[str, Check]:
    if one is None:
        return {}
    return {
        name_of(check.key): check
        for check in one.checks
        if check.stage == stage and check.place == place and is_error(check, given.analyzer.unit)
    }


def _of_check(check: Check, place: Place, failed: Cited, good: Cited | None, given: Given) -> Found:
    assert check.quantity is not None
    name = name_of(check.key)
    cleaned = held_at(failed, place, AFTER_CLEANING, given).get(name)
    start = _as_it_was_left(good, place, given).get(name)
    return Found(
        name,
        Decimal(check.observed),
        check.quantity.decimal,
        _error(cleaned),
        _error(start),
        None if start is None else Decimal(start.observed),
        check.quantity.expanded,
        check.quantity.k,
        f"record {failed.number}, {check.label}",
        check.outcome in (Outcome.FAIL, Outcome.TOO_CLOSE),
    )


def _as_it_was_left(good: Cited | None, place: Place, given: Given) -> dict[str, Check]:
    """The errors of the last state that the good check judged: what it left behind."""
    states = (held_at(good, place, stage, given) for stage in STATES)
    return next((held for held in states if held), {})


def _error(check: Check | None) -> Decimal | None:
    return None if check is None or check.quantity is None else check.quantity.decimal


# ---------------------------------------------------------------- by level


def used(found: Sequence[Found], level_model: LevelModel, near: Decimal | None) -> tuple[Found, ...]:
    """Return the errors a model takes: all for a line, for one figure the one nearest to what was recorded.

    ``near`` is the middle of the recorded values; without it the first that failed.
    """
    if level_model == "points" or len(found) <= 1:
        return tuple(found)
    if near is not None:
        return (min(found, key=lambda one: abs(one.level - near)),)
    return (next((one for one in found if one.failed), found[0]),)


def stages_of(
    found: Sequence[Found], level_model: LevelModel, from_start: bool, shift: int = 0
) -> tuple[Stage, ...]:
    """Return fouling and drift as stages; ``shift`` -1, 0 or 1 moves every error found by its own U.

    Fouling is a stage of its own where every error was read after cleaning; it begins at none. Each error
    stands at what was displayed beside it: that of the last good check at the display of that check.
    """
    apart = all(one.cleaned is not None for one in found)
    fouling = tuple(Point(one.level, one.fouling or Decimal(0)) for one in found) if apart else ()
    end, start = [], []
    for one in found:
        level = one.level - (one.fouling or Decimal(0)) if apart else one.level
        by = shift * Decimal(one.expanded or 0)
        end.append(Point(level, (one.drift if apart else one.error) + by))
        start.append(Point(level if one.start_level is None else one.start_level, one.at_start or Decimal(0)))
    known = from_start and any(one.at_start is not None for one in found)
    drift = Stage(level_model, tuple(end), tuple(start) if known else ())
    return (Stage(level_model, fouling), drift) if apart else (drift,)


def model(
    time_model: TimeModel, stages: tuple[Stage, ...], since: int, full: int, step_at: int | None
) -> Model | None:
    """Return a model, None for a step nobody knows the time of; raises CorrectTheEntry as ``Model`` does."""
    if time_model == "step" and step_at is None:
        return None
    return Model(time_model, since, full, stages, step_at if time_model == "step" else None)


def why_no_line(found: Sequence[Found], level_model: LevelModel, from_start: bool) -> str:
    """Return why the errors cannot give the level model that was chosen; empty where they can."""
    if not found:
        return (
            "the failed record holds no error with its level in the unit of the analyzer; type level, error "
            "and source"
        )
    try:
        stages_of(found, level_model, from_start)
    except CorrectTheEntry as problem:
        return problem.message
    return ""


def corrections_of(one: Found) -> list[criteria.Change]:
    """Return fouling, where it was read apart, and drift, in the sign and with the percents of the criteria.

    What the water did meanwhile is in no record, so that the field meter counts as unchanged. Raises
    CorrectTheEntry where a reading is 0.
    """
    still, clean = Decimal(0), one.level - (one.fouling or Decimal(0))
    drift = criteria.drift(clean - one.drift, clean)
    return [drift] if one.fouling is None else [criteria.fouling(one.level, clean, still, still), drift]


def outside(found: Sequence[Found], low: Decimal, high: Decimal) -> Iterator[str]:
    """Say where values lie at levels at which nothing was found: an error at 4 condemns none at 0.1."""
    levels = [one.level for one in found]
    if high < min(levels) or low > max(levels):
        yield (
            f"The error was found at {' and '.join(f'{x:f}' for x in levels)}, the recorded values lie from "
            f"{low:f} to {high:f}: no level of them was tested."
        )
