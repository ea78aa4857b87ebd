"""What a plant folder holds that is allowed, and most often a mistake."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from wqverify.plant.folder import Plant
from wqverify.plant.sense import OF_THE_REGISTER, coarse_steps
from wqverify.plant.snapshot import snapshot
from wqverify.procedures import PROCEDURES
from wqverify.records.canonical import canonical


def doubts(plant: Plant, today: date) -> list[str]:
    """Return what a plant folder holds that is allowed and most often a mistake.

    Misspelt names no procedure reads, limits that are not symmetrical, bottles and instruments past their
    date, steps too coarse for a tolerance, placeholders.
    """
    coarse = (text for analyzer in plant.analyzers.values() for text in coarse_steps(analyzer))
    return [
        *_names_not_read(plant),
        *_lopsided(plant),
        *coarse,
        *_past(plant, today.isoformat()),
        *_placeholders(plant),
    ]


def _names_not_read(plant: Plant) -> Iterator[str]:
    known = [PROCEDURES[name] for name in PROCEDURES]
    tolerances = {name for procedure in known for name in procedure.tolerances}
    settings = {name for procedure in known for name in procedure.settings} | set(OF_THE_REGISTER)
    for analyzer in plant.analyzers.values():
        for kind, names, read in (
            ("tolerance", analyzer.tolerances, tolerances),
            ("setting", analyzer.settings, settings),
            ("interval", analyzer.intervals_days, set(PROCEDURES)),
        ):
            for name in names:
                if name not in read:
                    yield f"{kind} {name} of {analyzer.tag} is read by no procedure; is it misspelt?"


def _lopsided(plant: Plant) -> Iterator[str]:
    for analyzer in plant.analyzers.values():
        for name, tolerance in analyzer.tolerances.items():
            low, high = tolerance.low, tolerance.high
            if low is not None and high is not None and low < 0 < high and -low != high:
                yield f"tolerance {name} of {analyzer.tag} is {low} to {high}; is one of them mistyped?"


def _past(plant: Plant, today: str) -> Iterator[str]:
    for standard in plant.standards.values():
        for until, what in ((standard.usable_until, "usable"), (standard.calibration_due, "calibrated")):
            if until and until < today:
                yield f"{standard.id} {standard.name} was {what} until {until}."


def _placeholders(plant: Plant) -> Iterator[str]:
    found = canonical(snapshot(plant)).decode().lower().count("placeholder")
    if found:
        yield f"{found} entries are still placeholders."
