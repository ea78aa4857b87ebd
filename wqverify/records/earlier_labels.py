"""A record keeps the words and the order of the sheet it was made with; run again, it is held against them.

What was typed is compared answer by answer. A label may be the one of today or the one under which an earlier
version asked that question, and no other: it is what the reader of a page takes the number for.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from importlib.resources import files

from wqverify.terms import Entry

_ROW = re.compile(r"\.([0-9]+)\.")


def as_worded(procedure: str, now: tuple[Entry, ...], made: tuple[Entry, ...]) -> tuple[Entry, ...]:
    """Return today's entries in the order of a record, with its labels where an earlier version asked so.

    Entries that are not those of the record are returned as they are, so that the difference is seen.
    """
    fresh = {entry.path: entry for entry in now}
    if sorted(fresh) != sorted(entry.path for entry in made):
        return now
    return tuple(
        replace(fresh[entry.path], label=entry.label)
        if entry.label and entry.label == earlier_label(procedure, entry.path)
        else fresh[entry.path]
        for entry in made
    )


def earlier_label(procedure: str, path: str) -> str:
    """Return the label under which an earlier version asked for an answer, empty where it is today's.

    >>> earlier_label("ph_calibration", "operations_told.who")
    'Operations told: who'
    """
    rows = [int(index) + 1 for index in _ROW.findall(path)]
    pattern = _ROW.sub(".*.", path)
    of_all = _labels()
    label = of_all.get(procedure, {}).get(pattern) or of_all["all"].get(pattern, "")
    return label.format(*rows)


@cache
def _labels() -> Mapping[str, Mapping[str, str]]:
    found: dict[str, dict[str, str]] = tomllib.loads(
        (files("wqverify") / "records" / "earlier_labels.toml").read_text("utf-8")
    )
    return found
