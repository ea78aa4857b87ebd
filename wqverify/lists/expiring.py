"""What of a plant runs out: bottles and blocks, calibrations of instruments, licences."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from wqverify.plant.folder import Plant

AHEAD_DAYS = 30  # how far ahead is looked: time to order and to have calibrated; common practice, no source


@dataclass(frozen=True)
class Expiring:
    """Something that may be used up to a day, that day included."""

    name: str
    what: str  # "usable", "calibrated", "licensed"
    until: str  # YYYY-MM-DD

    def past(self, today: date) -> bool:
        """Whether it is over: it was good through its day."""
        return self.until < today.isoformat()


def expiring(plant: Plant, today: date, ahead_days: int = AHEAD_DAYS) -> list[Expiring]:
    """Return what is past its day or within some days of it, the earliest first."""
    last = (today + timedelta(days=ahead_days)).isoformat()
    return sorted((one for one in _dated(plant) if one.until <= last), key=lambda one: (one.until, one.name))


def _dated(plant: Plant) -> Iterator[Expiring]:
    for one in plant.standards.values():
        name = f"{one.id} {one.name}"
        if one.usable_until:
            yield Expiring(name, "usable", one.usable_until)
        if one.calibration_due:
            yield Expiring(name, "calibrated", one.calibration_due)
    for person in plant.people.values():
        if person.licence_until:
            yield Expiring(
                f"{person.id} {person.name}, licence {person.licence}", "licensed", person.licence_until
            )
