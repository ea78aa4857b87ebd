"""What the records of a tag say over the years, key by key and level by level, whatever the procedure.

A level is named by the kind and value of its standard, so that a new bottle goes on with the series of the
old one. Another serial is another instrument and begins a series of its own.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from itertools import pairwise
from typing import Any

from wqverify.book import Stands
from wqverify.calculations.judgement import judge
from wqverify.errors import RepairTheFolder
from wqverify.lists.take import AGAIN
from wqverify.terms import Outcome, Quantity, Tolerance

AS_FOUND, AS_LEFT = "as_found", "as_left"
DAY_S = 86400


@dataclass(frozen=True, slots=True)
class Told:
    """One check or value of a record, its key with the level in the place of the standard."""

    key: str
    stage: str
    label: str
    place: str
    unit: str
    text: str
    expanded: str = ""
    outcome: str = ""  # empty for a value that is not judged
    low: str = ""
    high: str = ""
    counts: bool = False
    missing: bool = False  # no value that a series may use: not evaluated, or for information only


@dataclass(frozen=True, slots=True)
class Kept:
    """What the history reads of a record."""

    number: str
    performed: str
    serial: str
    procedure: str
    title: str
    outcomes: Mapping[str, str]
    adjusted: bool
    told: tuple[Told, ...]

    @property
    def at(self) -> float:
        """When the work began, in days of the computer's epoch."""
        return datetime.fromisoformat(self.performed).timestamp() / DAY_S


@dataclass(frozen=True, slots=True)
class Point:
    """One value of a series; ``left`` is what the same key was left at, None where it was not read again."""

    number: str
    performed: str
    at: float
    value: float | None  # None where there is none to use
    text: str
    expanded: str
    outcome: str
    low: str
    high: str
    adjusted: bool
    left: float | None


@dataclass(frozen=True)
class Series:
    """A key of a procedure on one instrument, in the order of the work."""

    serial: str
    procedure: str
    title: str
    key: str
    label: str
    unit: str
    stage: str
    judged: bool
    counts: bool
    points: tuple[Point, ...]
    adjustments: tuple[float, ...]  # of the instrument, by whichever procedure

    @property
    def values(self) -> list[float | None]:
        """The values in their order, None for a missing one."""
        return [point.value for point in self.points]

    @property
    def restarts(self) -> frozenset[int]:
        """The places where the value is the first after an adjustment."""
        return frozenset(
            place
            for place, (before, after) in enumerate(pairwise(self.points), 1)
            if any(before.at <= at < after.at for at in self.adjustments)
        )


# ---------------------------------------------------------------- reading


def kept_in(stands: Stands, body: Mapping[str, Any], data: bytes) -> Kept:
    """Return what the history reads of a record; raises RepairTheFolder for one that is none."""
    try:
        record = json.loads(data)
        result, standards = record["result"], record["given"].get("standards", {})
        told = (*map(_check, result["checks"]), *map(_value, result["values"]))
        levels = [(_place_of(name), level_of(name, one)) for name, one in standards.items()]
        return Kept(
            number=stands.number,
            performed=stands.performed,
            serial=stands.serial,
            procedure=stands.procedure,
            title=str(record.get("title", stands.procedure)),
            outcomes=dict(body.get("outcomes", {})),
            adjusted=dict(body.get("facts", {})).get("adjusted") == "yes",
            told=tuple(_leveled(one, levels) for one in told if one is not None),
        )
    except (ValueError, KeyError, TypeError, AttributeError) as problem:
        raise RepairTheFolder(
            f"What the book keeps of record {stands.number} of {stands.tag} is no record; run `wqverify book "
            f"examine`, and put back the newest good copy of the book.",
            found=stands.number,
        ) from problem


def _check(check: Mapping[str, Any]) -> Told | None:
    quantity = check["quantity"]
    if quantity is None:
        return None
    unjudged = check["outcome"] == Outcome.NOT_EVALUATED and check["tolerance"] is not None
    return Told(
        check["key"],
        check["stage"],
        check["label"],
        check["place"],
        quantity["unit"],
        quantity["text"],
        quantity["expanded"],
        check["outcome"],
        check["low"],
        check["high"],
        bool(check["counts"]),
        missing=unjudged or bool(check.get("information")),
    )


def _value(value: Mapping[str, Any]) -> Told:
    quantity = value["quantity"]
    return Told(
        value["key"],
        value["stage"],
        value["label"],
        "",
        quantity["unit"],
        quantity["text"],
        quantity["expanded"],
    )


def level_of(name: str, standard: Mapping[str, Any]) -> str:
    """Return the level a standard stands for: kind and value to two figures, its name without a value.

    >>> level_of("B7-4471", {"kind": "buffer", "column": "7.00", "value": None})
    'buffer 7.00'
    >>> level_of("F20", {"kind": "formazin dilution", "column": "", "value": "20.020"})
    'formazin dilution 20'
    """
    level, value = standard.get("column") or "", standard.get("value")
    if not level and value is not None:
        level = f"{float(f'{float(value):.2g}'):g}"
    return f"{standard.get('kind', '')} {level}".strip() if level else name


def _place_of(name: str) -> re.Pattern[str]:
    return re.compile(rf"(?<=\.){re.escape(name)}(?=[.-]|$)")


def _leveled(told: Told, levels: Sequence[tuple[re.Pattern[str], str]]) -> Told:
    key = told.key
    for place, level in levels:
        key = place.sub(lambda _found, level=level: level, key)  # type: ignore[misc]
    if key == told.key:
        return told
    return Told(key, *(getattr(told, name) for name in Told.__slots__[1:]))


# ---------------------------------------------------------------- series


def series_of(kept: Sequence[Kept]) -> tuple[Series, ...]:
    """Return the series of records in the order of the work, instrument by instrument.

    A stage after cleaning or as left is a series where the same key is never found before it; otherwise
    what it was left at stands with the value as found.
    """
    adjustments: dict[str, list[float]] = {}
    for one in kept:
        adjustments.setdefault(one.serial, [])
        if one.adjusted:
            adjustments[one.serial].append(one.at)
    found: dict[tuple[str, str, str], list[tuple[Kept, float, Told]]] = {}
    for one in kept:
        at = one.at
        for told in _once(one.told):
            found.setdefault((one.serial, one.procedure, told.key), []).append((one, at, told))
    return tuple(
        _series(key, rows, found, adjustments[key[0]])
        for key, rows in found.items()
        if not _stands_elsewhere(key, found)
    )


def _once(told: Iterable[Told]) -> Iterator[Told]:
    """Give the first of each key: two bottles of one level at one visit are one value."""
    seen = set[str]()
    for one in told:
        if one.key not in seen:
            seen.add(one.key)
            yield one


def _stands_elsewhere(key: tuple[str, str, str], found: Mapping[tuple[str, str, str], Any]) -> bool:
    serial, procedure, name = key
    stage, _, rest = name.partition(".")
    return stage in AGAIN and (serial, procedure, f"{AS_FOUND}.{rest}") in found


def _series(
    key: tuple[str, str, str],
    rows: Sequence[tuple[Kept, float, Told]],
    found: Mapping[tuple[str, str, str], Sequence[tuple[Kept, float, Told]]],
    adjustments: Sequence[float],
) -> Series:
    serial, procedure, name = key
    stage, _, rest = name.partition(".")
    twins = found.get((serial, procedure, f"{AS_LEFT}.{rest}"), ()) if stage == AS_FOUND else ()
    left = {one.number: _number(told) for one, _at, told in twins}
    newest_record, _at, newest = rows[-1]
    return Series(
        serial=serial,
        procedure=procedure,
        title=newest_record.title,
        key=name,
        label=_common([told.label for _one, _at, told in rows]),
        unit=newest.unit,
        stage=newest.stage,
        judged=any(told.outcome for _one, _at, told in rows),
        counts=newest.counts,
        points=tuple(
            _point(one, at, told, left.get(one.number)) for one, at, told in rows if told.unit == newest.unit
        ),
        adjustments=tuple(adjustments),
    )


def _point(one: Kept, at: float, told: Told, left: float | None) -> Point:
    return Point(
        number=one.number,
        performed=one.performed,
        at=at,
        value=_number(told),
        text=told.text,
        expanded=told.expanded,
        outcome=told.outcome,
        low=told.low,
        high=told.high,
        adjusted=one.adjusted,
        left=left,
    )


def _number(told: Told) -> float | None:
    return None if told.missing else float(Decimal(told.text))


def _common(labels: Sequence[str]) -> str:
    """Return what all labels begin with, word by word: some hold a date, a lot or a value of the day.

    >>> _common(["Error at the displayed value 7.48", "Error at the displayed value 7.70"])
    'Error at the displayed value …'
    >>> _common(["Offset", "Offset"])
    'Offset'
    """
    if len(set(labels)) == 1:
        return labels[0]
    words = []
    for each in zip(*(label.split() for label in labels), strict=False):
        if len(set(each)) > 1:
            break
        words.append(each[0])
    return " ".join([*words, "…"])


# ---------------------------------------------------------------- changes since an adjustment


def changes_of(series: Series) -> list[tuple[float, float]]:
    """Return (days, change) of each value against where its period began.

    A period begins with an adjustment, at what the key was left at; where that was not read, and before the
    first adjustment, with the first value found.
    """
    restarts = series.restarts
    found: list[tuple[float, float]] = []
    start: tuple[float, float] | None = None
    for place, point in enumerate(series.points):
        if place in restarts:
            before = series.points[place - 1]
            own = before.adjusted and before.left is not None and before.at == _last(series, point.at)
            start = (before.at, before.left) if own and before.left is not None else None
        if point.value is None:
            continue
        if start is None:
            start = (point.at, point.value)
        elif point.at > start[0]:
            found.append((point.at - start[0], point.value - start[1]))
    return found


def _last(series: Series, before: float) -> float | None:
    return max((at for at in series.adjustments if at < before), default=None)


@dataclass(frozen=True, slots=True)
class Period:
    """A period between two calibrations of a log that somebody else kept: its drift at the end."""

    start: datetime
    end: datetime
    error: Decimal  # at the end, reading less reference: a correction to be added has the other sign

    @property
    def days(self) -> float:
        """How long it lasted."""
        return (self.end - self.start).total_seconds() / DAY_S


def series_of_periods(
    periods: Sequence[Period], *, label: str, unit: str, low: str, high: str, serial: str = ""
) -> Series:
    """Return the series of a log of periods, each of which began with an adjustment to an error of 0."""
    tolerance = Tolerance(unit, "simple", "local", "told", low=Decimal(low), high=Decimal(high))
    points = []
    for number, one in enumerate(periods, 1):
        text, value, end = str(one.error), float(one.error), one.end.timestamp() / DAY_S
        check = judge(label, AS_FOUND, label, Quantity(text, unit, value), tolerance)
        shown = (text, "", str(check.outcome), low, high)
        points.append(Point(str(number), one.end.isoformat(), end, value, *shown, True, 0.0))
    ends = tuple(point.at for point in points)
    return Series(serial, "", label, AS_FOUND, label, unit, AS_FOUND, True, True, tuple(points), ends)
