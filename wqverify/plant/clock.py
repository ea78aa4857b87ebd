"""Typed wall-clock times of the plant become instants; the typed text is kept beside them."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo

from wqverify.errors import CorrectTheEntry

_TIME = re.compile(r"(?:(\d{4}-\d{2}-\d{2}) )?(\d{2}):(\d{2})(?: ([+-])(\d{2}):(\d{2}))?", re.ASCII)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
YEARS = range(1970, 2200)


def day(text: str) -> date:
    """Return the date typed as YYYY-MM-DD; raises CorrectTheEntry for one that does not exist."""
    try:
        found = date.fromisoformat(text) if _DATE.fullmatch(text) else None
    except ValueError:
        found = None
    if found is None or found.year not in YEARS:
        raise CorrectTheEntry(
            f"{text[:40]!r} is not a date; type it as 2026-03-31, year, month and day.",
            found=text[:40],
            expected="YYYY-MM-DD",
        )
    return found


def resolve(date: str, clock: str, zone: tzinfo) -> datetime:
    """Return the instant of a wall-clock time on a date, with the offset that was in force.

    ``clock`` is "08:15", or with its own date "2026-03-08 08:15", or with the offset "01:30 -05:00".
    The result carries a fixed offset: differences of two such times are true lengths of time.

    Raises CorrectTheEntry for a time that is misspelt, that the clocks jumped over in spring, that
    happened twice in autumn (both readings are offered), or whose offset was not in force.
    """
    match = _TIME.fullmatch(clock) if isinstance(clock, str) else None
    if match is None or int(match[2]) > 23 or int(match[3]) > 59:
        raise CorrectTheEntry(
            f"{str(clock)[:40]!r} is not a time of day; type it as 08:15, from 00:00 to 23:59.",
            found=str(clock)[:40],
            expected="HH:MM",
        )
    wall = datetime.combine(day(match[1] or date), time(int(match[2]), int(match[3])))
    readings = _readings(wall, zone)
    when = f"{wall:%H:%M} on {wall:%Y-%m-%d}"
    if not readings:
        raise CorrectTheEntry(
            f"{when} does not exist in {zone}: the clocks were put forward over it; type the time the clock "
            f"showed.",
            found=clock,
            expected="a time that existed",
        )
    dated = f"{match[1]} " if match[1] else ""
    offered = " or ".join(f"{dated}{wall:%H:%M} {_offset(reading)}" for reading in readings)
    if match[4]:
        told = _told(match)
        readings = [reading for reading in readings if reading.utcoffset() == told]
        if not readings:
            raise CorrectTheEntry(
                f"{when} was not at {match[4]}{match[5]}:{match[6]} in {zone}; type {offered}.",
                found=clock,
                expected=offered,
            )
    if len(readings) > 1:
        raise CorrectTheEntry(
            f"{when} happened twice in {zone}, before and after the clocks were put back; type which: "
            f"{offered}.",
            found=clock,
            expected=offered,
        )
    return readings[0]


def _readings(wall: datetime, zone: tzinfo) -> list[datetime]:
    """The instants at which the clock showed this: one, none in the spring gap, two in the repeated hour."""
    found: list[datetime] = []
    for fold in (0, 1):
        aware = wall.replace(tzinfo=zone, fold=fold)
        offset = aware.utcoffset()
        back = aware.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
        if offset is not None and back == wall:
            fixed = wall.replace(tzinfo=timezone(offset))
            if fixed.utcoffset() not in [one.utcoffset() for one in found]:
                found.append(fixed)
    return found


def _told(match: re.Match[str]) -> timedelta:
    size = timedelta(hours=int(match[5]), minutes=int(match[6]))
    return size if match[4] == "+" else -size


def _offset(moment: datetime) -> str:
    return moment.isoformat(timespec="minutes")[-6:]
