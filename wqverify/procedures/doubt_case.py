"""What is known of a doubt: the failed check, the last good one, the period, the error, the values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from statistics import median
from typing import TYPE_CHECKING, TypeVar

from wqverify.calculations.drift import LevelModel, Model, TimeModel
from wqverify.procedures import doubt_clears as clears
from wqverify.procedures import doubt_series as series
from wqverify.procedures.doubt_errors import (
    LEVEL_MODELS,
    TIMES,
    Found,
    errors_of,
    model,
    stages_of,
    used,
    why_no_line,
)
from wqverify.procedures.doubt_facts import seconds
from wqverify.procedures.doubt_series import SHIFTS, Recorded, Way
from wqverify.procedures.doubt_sheet import DoubtSheet, LastGood
from wqverify.terms import Cited, Given, Place, Slices

if TYPE_CHECKING:
    from wqverify.calculations.drift import Floats

RIGHT, WRONG = "right at that time", "wrong from that time"


@dataclass(frozen=True)
class Case:
    """One doubt, computed as far as it can be; times in seconds since 1970 UTC."""

    sheet: DoubtSheet
    given: Given
    failed: Cited
    places: tuple[Place, ...]  # where it failed
    good: Cited | None
    since: int  # of the values in doubt
    until: int
    start: int  # from which the error is counted: the last good check, or evidence that it was right later
    full: int  # the failed check
    step_at: int | None
    found: tuple[Found, ...] = ()
    taken: tuple[Found, ...] = ()  # those the model is made of
    why_no_model: str = ""
    models: Mapping[Way, Model] = field(default_factory=dict)
    recorded: Recorded | None = None
    why_no_values: str = ""
    corrected: Mapping[Way, Floats] = field(default_factory=dict)
    decimals: int = 4  # at which a corrected value is fixed

    @property
    def stated(self) -> TimeModel:
        """The model in time that decides."""
        return self.sheet.model.time

    @property
    def level_model(self) -> LevelModel:
        return LEVEL_MODELS[self.sheet.model.level]

    def text(self, value: float) -> str:
        """Return a corrected value as it is fixed."""
        return f"{value:.{self.decimals}f}"


def case_of(sheet: DoubtSheet, given: Given, slices: Slices) -> Case:
    """Return what is known; what the sheet names must be in ``given`` (``doubt_rules`` sees to it)."""
    failed = given.records[sheet.failed.record]
    good = good_of(sheet, given)
    at = _times(sheet, given, failed)
    reason = series.why_no_values(given)
    slice_ = series.attached(given, slices)
    recorded = None
    if slice_ is not None and not reason:
        recorded = series.read(slice_, given, (at[0], at[1]))
    found = errors_of(sheet, failed, good, given)
    plain = Case(
        sheet,
        given,
        failed,
        clears.failed_at(failed),
        good,
        *at,
        found=found,
        recorded=recorded,
        why_no_values=reason,
        decimals=series.places_of(given, recorded),
    )
    return _computed(plain)


def good_of(sheet: DoubtSheet, given: Given) -> Cited | None:
    """Return the last good check the sheet names, None where none is known."""
    return given.records[sheet.last_good.record] if isinstance(sheet.last_good, LastGood) else None


def _times(sheet: DoubtSheet, given: Given, failed: Cited) -> tuple[int, int, int, int, int | None]:
    """Return since, until, start, full and the time of a step, narrowed by the evidence."""
    full = seconds(failed.performed)
    told = [(row.tells, moment(given, f"evidence.{n}.at", None)) for n, row in enumerate(sheet.evidence)]
    right = [at for tells, at in told if tells == RIGHT and at is not None]
    wrong = [at for tells, at in told if tells == WRONG and at is not None]
    start = max([moment(given, "period.since", full), *right])
    step_at = moment(given, "model.step_at", min(wrong, default=None))
    since = full if sheet.period.basis == "first failed test" else start
    return since, moment(given, "period.until", full), start, full, step_at


T = TypeVar("T", int, int | None)


def moment(given: Given, path: str, otherwise: T) -> int | T:
    """Return a typed time in seconds since 1970 UTC; another one where it is not typed (yet)."""
    typed = given.times.get(path)
    return seconds(typed) if typed else otherwise


def _computed(case: Case) -> Case:
    """Return the case with its models and the corrected values, or why there are none."""
    taken = used(case.found, case.level_model, _middle(case))
    from_start = case.sheet.model.start != "taken as none" and not _narrowed(case)
    reason = why_no_line(taken, case.level_model, from_start)
    if case.start >= case.full:
        reason = "the beginning is not entered, or not before the failed check"
    if reason:
        return _with(case, taken=taken, why_no_model=reason)
    models: dict[Way, Model] = {}
    for shift in SHIFTS:
        stages = stages_of(taken, case.level_model, from_start, shift)
        for time in TIMES:
            one = model(time, stages, case.start, case.full, case.step_at)
            if one is not None:
                models[time, shift] = one
    corrected = {}
    if case.recorded is not None:
        corrected = series.corrected(case.recorded, models, (case.since, case.until), case.decimals)
    return _with(case, taken=taken, models=models, corrected=corrected)


def _with(case: Case, **more: object) -> Case:
    from dataclasses import replace

    return replace(case, **more)  # type: ignore[arg-type]


def _narrowed(case: Case) -> bool:
    """Whether the error is counted from evidence that it was right: then none was there at that time."""
    return case.start > moment(case.given, "period.since", case.start)


def _middle(case: Case) -> Decimal | None:
    """Return the median of the values recorded in the period, None where there is none."""
    if case.recorded is None:
        return None
    rows = zip(case.recorded.times.tolist(), case.recorded.texts, strict=True)
    inside = [value for at, value in rows if value is not None and case.since <= at <= case.until]
    return median(inside) if inside else None
