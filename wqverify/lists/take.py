"""What to take along to a check: standards and how much of each, reference instruments, keys and tools.

It is what the usual answers of the round name; without a round, what the last record of the check names.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from wqverify.plant.folder import Plant
from wqverify.procedures import PROCEDURES
from wqverify.procedures.walk import named_standards
from wqverify.terms import Standard

VOLUME_ML = "50"  # of a standard for one point; common practice, no source; setting volume_per_reading_ml
AGAIN = ("after_cleaning", "as_left")  # stages that come only where the first does not pass
STAGES = 1 + len(AGAIN)  # how often one point is poured at most


@dataclass(frozen=True, slots=True)
class Needed:
    """A standard or reference instrument that checks name; ``points`` are poured or read as found."""

    id: str
    points: int = 1
    volume_ml: Decimal = Decimal(0)  # as found; 0 for what is not poured
    at_most_ml: Decimal = Decimal(0)  # where it is cleaned, adjusted and left again


@dataclass(frozen=True, slots=True)
class Take:
    """One thing to take along, with what is wrong with it."""

    id: str
    name: str
    lot: str = ""
    kind: str = ""
    volume_ml: Decimal = Decimal(0)
    at_most_ml: Decimal = Decimal(0)
    left_ml: Decimal | None = None
    usable_until: str = ""
    calibration_due: str = ""
    problems: tuple[str, ...] = ()


def usual_of(plant: Plant, tag: str, procedure: str) -> Mapping[str, Any] | None:
    """Return the usual answers of a check on the first round that walks it, None where no round does."""
    for one in plant.rounds.values():
        for stop in one.stops:
            if (stop.tag, stop.procedure) == (tag, procedure):
                return {**one.head, **stop.usual}
    return None


def needed_by(plant: Plant, tag: str, procedure: str, sheet: Mapping[str, Any]) -> tuple[Needed, ...]:
    """Return what the answers of a sheet, usual or typed, name: each standard once, with its volume."""
    if procedure not in PROCEDURES:
        return ()
    named = named_standards(PROCEDURES[procedure].Sheet, sheet)
    counted = Counter(name for path, name in named if path.partition(".")[0] not in AGAIN)
    analyzer = plant.analyzers.get(tag)
    settings = analyzer.settings if analyzer is not None else {}
    volume = Decimal(settings.get("volume_per_reading_ml", VOLUME_ML))
    return tuple(
        Needed(name, points, points * volume, points * volume * STAGES)
        if _is_poured(plant.standards.get(name))
        else Needed(name, points)
        for name, points in counted.items()
    )


def sheet_of(record: bytes) -> Mapping[str, Any]:
    """Return the sheet of a record as the book keeps it."""
    sheet: Mapping[str, Any] = json.loads(record)["sheet"]
    return sheet


def _is_poured(standard: Standard | None) -> bool:
    """Whether a standard is used up: a bottle, no instrument and nothing sealed with assigned values."""
    if standard is None or standard.calibration_due or standard.assigned:
        return False
    return bool(standard.opened or standard.usable_until)


def together(plant: Plant, needed: Iterable[tuple[Sequence[Needed], str]], today: str) -> tuple[Take, ...]:
    """Return what several checks need together, each thing once, with what is wrong with it.

    ``needed`` gives for each check what it needs and the day it is done, ``today`` is YYYY-MM-DD.
    """
    volumes: dict[str, tuple[Decimal, Decimal, str]] = {}
    for each, day in needed:
        for one in each:
            before, most, latest = volumes.get(one.id, (Decimal(0), Decimal(0), today))
            volumes[one.id] = (before + one.volume_ml, most + one.at_most_ml, max(latest, day))
    return tuple(_take(plant, name, *told, today) for name, told in volumes.items())


def _take(plant: Plant, name: str, volume: Decimal, most: Decimal, day: str, today: str) -> Take:
    standard = plant.standards.get(name)
    if standard is None:
        return Take(name, name, problems=("not in standards_on_hand.toml any more: choose another",))
    left = plant.left_ml.get(name)
    problems = [
        *_past("usable until", standard.usable_until, day, today),
        *_past("its calibration is due on", standard.calibration_due, day, today),
    ]
    if left is not None and left < volume:
        problems.append(f"too little: {left} mL left, {volume} mL needed as found")
    elif left is not None and left < most:
        problems.append(f"enough as found only: {left} mL left, up to {most} mL where it is done again")
    return Take(
        name,
        standard.name,
        standard.lot,
        standard.kind,
        volume,
        most,
        left,
        standard.usable_until,
        standard.calibration_due,
        tuple(problems),
    )


def _past(what: str, until: str, day: str, today: str) -> list[str]:
    """Say that something is over; its last day is inside."""
    if not until or until >= day:
        return []
    return [f"expired: {what} {until}" if until < today else f"{what} {until}, before a check on {day}"]
