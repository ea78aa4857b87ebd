"""Groups, rows and answers of a sheet as typed, by path; a change gives a new sheet, the old one stays."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import Any, Final

Steps = tuple[str | int, ...]


class _Missing(Enum):
    NOTHING = "nothing"


MISSING: Final = _Missing.NOTHING


class Misfit(Exception):
    """What does not fit a sheet as it stands; it becomes an error of the user's with its line."""

    def __init__(self, what: str) -> None:
        super().__init__(what)
        self.what = what


def steps_of(path: str) -> Steps:
    """Return the steps of a path, a number for a row or reading; raises Misfit for one that is no path.

    >>> steps_of("as_found.points.0.readings.3")
    ('as_found', 'points', 0, 'readings', 3)
    """
    steps = path.split(".")
    if not all(steps) or is_index(steps[0]):
        raise Misfit("it names no place of a sheet")
    return tuple(int(step) if is_index(step) else step for step in steps)


def is_index(step: str) -> bool:
    """Return whether a step of a path is the number of a row or reading.

    >>> is_index("12"), is_index("\N{SUPERSCRIPT TWO}")
    (True, False)
    """
    return step.isascii() and step.isdigit() and len(step) <= 4


def get(raw: Any, steps: Steps) -> Any:
    """Return what stands at a path, MISSING where nothing does."""
    for step in steps:
        if isinstance(step, int):
            raw = raw[step] if isinstance(raw, list) and step < len(raw) else MISSING
        else:
            raw = raw.get(step, MISSING) if isinstance(raw, Mapping) else MISSING
    return raw


def put(raw: Any, steps: Steps, value: Any) -> Any:
    """Return the sheet with a value at a path; a row or reading may be the next one of its list.

    Raises Misfit where a row or reading before it is missing, or something else than a group stands above.
    """
    if not steps:
        return value
    step, rest = steps[0], steps[1:]
    if isinstance(step, int):
        items = [] if raw is MISSING else raw
        if not isinstance(items, list):
            raise Misfit("what stands above it is no list")
        if step > len(items):
            raise Misfit(f"the list has {len(items)}, so the next one is number {len(items)}, counted from 0")
        item = put(items[step] if step < len(items) else MISSING, rest, value)
        if items and isinstance(items[0], dict) is not isinstance(item, dict):
            raise Misfit("rows and single answers stand in one list")
        return [*items[:step], item, *items[step + 1 :]]
    group = {} if raw is MISSING else raw
    if not isinstance(group, Mapping):
        raise Misfit("what stands above it is no group")
    return {**group, step: put(group.get(step, MISSING), rest, value)}


def without(raw: Any, steps: Steps) -> Any:
    """Return the sheet without what stands at a path, nor groups and lists that hold nothing then.

    A row that holds nothing stays: it is taken out by its own path. Raises KeyError or IndexError where
    nothing stands there.
    """
    step, rest = steps[0], steps[1:]
    inside = without(raw[step], rest) if rest else None
    if isinstance(step, int):
        return [*raw[:step], *([inside] if rest else []), *raw[step + 1 :]]
    if inside:
        return {**raw, step: inside}
    return {name: value for name, value in raw.items() if name != step}
