"""The history of a tag: each instrument behind it, key by key its charts and drift, and advice. Unsigned."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any, TypeVar

from wqverify.book import Book, has_book, open_book, stored_of_tag
from wqverify.calculations.control_chart import (
    Individuals,
    Sums,
    Weighted,
    cusum,
    ewma,
    individuals,
)
from wqverify.calculations.interval import Drift
from wqverify.calculations.line_fit import FittedLine, fit_line
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.lists.history_advice import METHODS, Advice, Choices, Verdict, advice, drift_of
from wqverify.lists.history_series import (
    AS_FOUND,
    Kept,
    Period,
    Series,
    Told,
    changes_of,
    kept_in,
    series_of,
    series_of_periods,
)
from wqverify.plant.folder import Plant, open_plant
from wqverify.shipped import shipped_folder
from wqverify.terms import Outcome

DEMO = "history"
WEIGHT, WIDTH = 0.2, 2.962  # of the EWMA: a false signal every 500 values on average
ALLOWANCE, LIMIT = 0.5, 5.0  # of the CUSUM, in standard deviations: one every 465 values
FIRM = 20  # values from which limits are worth something; common practice, no source

Found = TypeVar("Found")


@dataclass(frozen=True, slots=True)
class Charts:
    """The control charts of a series, about its own mean."""

    individuals: Individuals
    weighted: Weighted
    sums: Sums


@dataclass(frozen=True)
class Figures:
    """What was computed of a series; None where it could not be, with the reason in ``refused``."""

    series: Series
    charts: Charts | None
    changes: tuple[tuple[float, float], ...]  # (days, change) since the start of its period
    drift: Drift | None  # through zero
    line: FittedLine | None  # with an intercept: a step at once after an adjustment is no drift
    refused: Mapping[str, str]

    @property
    def signals(self) -> tuple[int, ...]:
        """The places any chart names, in order."""
        if self.charts is None:
            return ()
        limits, weighted, sums = self.charts.individuals, self.charts.weighted, self.charts.sums
        return tuple(sorted({*limits.outside, *limits.ranges_outside, *weighted.outside, *sums.above}))


@dataclass(frozen=True)
class Instrument:
    """One serial behind the tag: its records, series and advice by procedure."""

    serial: str
    records: tuple[Kept, ...]
    figures: tuple[Figures, ...]
    advice: Mapping[str, Advice]

    @property
    def adjusted(self) -> tuple[Kept, ...]:
        """The records at which it was adjusted."""
        return tuple(one for one in self.records if one.adjusted)


@dataclass(frozen=True)
class History:
    """All instruments behind a tag, the oldest first."""

    tag: str
    measures: str
    unit: str
    synthetic: bool
    source: str  # where the records were read
    instruments: tuple[Instrument, ...]


# ---------------------------------------------------------------- open


def open_history(
    folder: str = "", tag: str = "", procedure: str = "", choices: Mapping[str, Any] | None = None
) -> History:
    """Read the history of a tag from the book of a plant folder; without a folder the shipped example.

    ``choices`` may hold target, most and method of the advice. Raises ChooseAnother for a tag without records
    or an unknown choice, and what opening the folder raises.
    """
    if folder:
        return history(open_plant(Path(folder)), tag, procedure, choices)
    shipped = json.loads((shipped_folder("demo_runs") / DEMO / "checks.json").read_text("utf-8"))
    kept = [kept_from(one) for one in shipped["records"]]
    plan = {(one["serial"], one["procedure"]): one["days"] for one in shipped["intervals"]}
    told = taken(shipped.get("choices", {}), choices)
    instruments = instruments_of(kept, plan, told)
    return History(shipped["tag"], shipped["measures"], shipped["unit"], True, "shipped example", instruments)


def history(plant: Plant, tag: str, procedure: str = "", choices: Mapping[str, Any] | None = None) -> History:
    """Return the history of a tag of a plant, of all procedures or of one."""
    analyzer = plant.analyzers.get(tag)
    book = open_book(plant.book, plant.device) if has_book(plant.book) else None
    rows = stored_of_tag(book, tag, procedure) if book is not None else ()
    kept = [kept_in(*row) for row in rows]
    if not kept:
        raise _no_record(book, plant, tag, procedure)
    plan = (
        {(analyzer.serial, name): days for name, days in analyzer.intervals_days.items()}
        if analyzer is not None
        else {}
    )
    told = taken(analyzer.settings if analyzer is not None else {}, choices)
    return History(
        tag=tag,
        measures=analyzer.measures if analyzer is not None else "not in the register any more",
        unit=analyzer.unit if analyzer is not None else "",
        synthetic=plant.site.synthetic,
        source=f"book {Path(plant.book).name}",
        instruments=instruments_of(kept, plan, told),
    )


def _no_record(book: Book | None, plant: Plant, tag: str, procedure: str) -> ChooseAnother:
    """What to say where nothing is found: by which procedures there is something, else the tags."""
    rows = stored_of_tag(book, tag, "") if book is not None and procedure else ()
    by = ", ".join(dict.fromkeys(stands.procedure for stands, *_rest in rows))
    if by:
        return ChooseAnother(
            f"The book holds no record of {tag[:40]} by {procedure[:40]}; it holds records by {by}.",
            found=procedure,
            expected=by,
        )
    known = ", ".join(plant.analyzers)
    return ChooseAnother(
        f"The book holds no record of {tag[:40]}; the register holds {known}.", found=tag, expected=known
    )


def taken(settings: Mapping[str, str], choices: Mapping[str, Any] | None) -> Choices:
    """Return the choices of an advice: what is told, else the settings, else what is usual."""
    told = dict(choices or {})
    unknown = set(told) - {"target", "most", "method"}
    if unknown or told.get("method", METHODS[0]) not in METHODS:
        raise ChooseAnother(
            f"There is no choice {', '.join(sorted(unknown)) or told.get('method')}; an advice takes target, "
            f"most and method ({', '.join(METHODS)}).",
            found=", ".join(sorted(unknown)) or str(told.get("method")),
            expected=", ".join(METHODS),
        )
    if "interval_target_percent" in settings:
        told.setdefault("target", float(settings["interval_target_percent"]) / 100)
    if "interval_change_most" in settings:
        told.setdefault("most", float(settings["interval_change_most"]))
    chosen = replace(Choices(), **told)
    if not (0.5 <= chosen.target < 1 and 1 < chosen.most <= 10):
        raise CorrectTheEntry(
            f"A target of {chosen.target:g} with changes up to {chosen.most:g} gives no advice; the target "
            f"lies from 0.5 to below 1, the largest change above 1 to 10.",
            found=f"{chosen.target:g}, {chosen.most:g}",
        )
    return chosen


def kept_from(plain: Mapping[str, Any]) -> Kept:
    """Return a record of the shipped example, or of a history as JSON."""
    told = tuple(Told(**one) for one in plain["told"])
    return Kept(**{**plain, "told": told})


def plain_of(kept: Sequence[Kept]) -> list[dict[str, Any]]:
    """Return what the history reads of records as plain data."""
    return [asdict(one) for one in kept]


# ---------------------------------------------------------------- compute


def instruments_of(
    kept: Iterable[Kept], plan: Mapping[tuple[str, str], int], choices: Choices
) -> tuple[Instrument, ...]:
    """Return each instrument with what its records come to, the oldest first."""
    by_serial: dict[str, list[Kept]] = {}
    for one in kept:
        by_serial.setdefault(one.serial, []).append(one)
    return tuple(_instrument(serial, rows, plan, choices) for serial, rows in by_serial.items())


def _instrument(
    serial: str, rows: Sequence[Kept], plan: Mapping[tuple[str, str], int], choices: Choices
) -> Instrument:
    figures = tuple(figures_of(series) for series in series_of(rows))
    found: dict[str, Advice] = {}
    for procedure in dict.fromkeys(one.procedure for one in rows):
        mine = [one for one in rows if one.procedure == procedure]
        drifts = [each for one in figures if one.series.procedure == procedure for each in _drifts(one)]
        current = plan.get((serial, procedure))
        one = advice(verdicts_of(mine), drifts, current, choices)
        if one is not None:
            found[procedure] = one
    return Instrument(serial, tuple(rows), figures, found)


def verdicts_of(rows: Sequence[Kept]) -> list[Verdict]:
    """Return how an instrument was found at each check but the first, of one procedure."""
    return [
        Verdict(after.number, after.at - before.at, found_in_tolerance(after.outcomes))
        for before, after in pairwise(rows)
    ]


def found_in_tolerance(outcomes: Mapping[str, str]) -> bool | None:
    """Return whether an instrument was found in tolerance, None where that was not judged.

    As found at the analyzer where it was looked at there, else at whatever place.

    >>> found_in_tolerance({"as_found at the analyzer": "pass", "as_found at the control system": "fail"})
    True
    >>> found_in_tolerance({"as_found at the analyzer": "too close to decide"}) is None
    True
    """
    told = {stage: one for stage, one in outcomes.items() if stage.startswith(AS_FOUND)}
    word = told.get(f"{AS_FOUND} at the analyzer") or next(iter(told.values()), "")
    return {str(Outcome.PASS): True, str(Outcome.FAIL): False}.get(word)


def _drifts(one: Figures) -> Iterable[tuple[str, tuple[tuple[float, float], ...], float, float]]:
    """Give a series that counts, with its newest tolerance, where that has two sides."""
    newest = next((p for p in reversed(one.series.points) if p.value is not None and p.low and p.high), None)
    if one.series.counts and newest is not None and one.series.stage == AS_FOUND:
        yield one.series.key, one.changes, float(newest.low), float(newest.high)


def figures_of(series: Series, changes: Sequence[tuple[float, float]] | None = None) -> Figures:
    """Return the charts and the drift of a series; ``changes`` where they are known otherwise.

    An adjustment begins the charts anew. Where most visits adjust, every value is a period of its own and
    they follow one another as they are.
    """
    refused: dict[str, str] = {}
    values, restarts = series.values, series.restarts
    if 2 * len(restarts) > len(values) - 1:
        restarts = frozenset()
    known = tuple(changes_of(series) if changes is None else changes)
    return Figures(
        series=series,
        charts=_one(refused, "charts", lambda: _charts(values, restarts)),
        changes=known,
        drift=_one(refused, "drift", lambda: drift_of(known)),
        line=_line(known),
        refused=refused,
    )


def _charts(values: Sequence[float | None], restarts: frozenset[int]) -> Charts:
    """Return the charts of values; raises ValueError where these give no limits."""
    limits = individuals(values, restarts)
    mean, sigma = limits.mean, limits.sigma
    if not sigma > 0:
        raise ValueError("all values that follow one another are equal; they give no limits")
    return Charts(
        limits,
        ewma(values, mean, sigma, WEIGHT, WIDTH, restarts),
        cusum(values, mean, ALLOWANCE * sigma, LIMIT * sigma, restarts),
    )


def _line(changes: Sequence[tuple[float, float]]) -> FittedLine | None:
    days = [t for t, _change in changes]
    if len(days) < 3 or len(set(days)) < 2:
        return None
    return fit_line(days, [change for _t, change in changes])


def _one(refused: dict[str, str], name: str, task: Callable[[], Found]) -> Found | None:
    try:
        return task()
    except (ChooseAnother, ValueError) as reason:
        refused[name] = str(reason)
        return None


def history_of_periods(
    periods: Sequence[Period],
    *,
    label: str,
    unit: str,
    low: str,
    high: str,
    current: float | None = None,
    choices: Mapping[str, Any] | None = None,
) -> tuple[Figures, Advice | None]:
    """Return charts, drift and advice of a log of periods that somebody else kept."""
    series = series_of_periods(periods, label=label, unit=unit, low=low, high=high)
    figures = figures_of(series, [(one.days, float(one.error)) for one in periods])
    found = [
        Verdict(point.number, one.days, found_in_tolerance({AS_FOUND: point.outcome}))
        for point, one in zip(figures.series.points, periods, strict=True)
    ]
    drifts = [(label, figures.changes, float(low), float(high))]
    return figures, advice(found, drifts, current, taken({}, choices))
