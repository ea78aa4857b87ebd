"""What the entry of a record in the book tells of it: what it is found by, and what later visits are told."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from wqverify.terms import Record


def findable(record: Record) -> dict[str, Any]:
    """What the book can find a record by, and what a later visit is told of it."""
    result = record.result
    stages = dict.fromkeys((check.stage, check.place) for check in result.checks if check.counts)
    # Pairs, because canonical JSON sorts keys and the order of the work would be lost.
    outcomes = [[f"{stage} at the {place}", str(result.outcome(stage, place))] for stage, place in stages]
    values = {value.key: value.quantity.text for value in result.values}
    values |= {check.key: check.quantity.text for check in result.checks if check.quantity is not None}
    return {
        "tag": record.given.analyzer.tag,
        "serial": record.given.analyzer.serial,
        "procedure": record.procedure,
        "performed": record.performed,
        "visit": record.visit_id,
        "outcomes": outcomes,
        "values": values,
        "facts": {**_standing(record), **result.facts},
    }


def told_otherwise(body: Mapping[str, Any], record: Record) -> list[str]:
    """Return the words of an entry that say something else than its record; of facts, those of its result."""
    own = {**findable(record), "by": record.performed_by, "at": record.entered, "facts": record.result.facts}
    said = {**body, "facts": {name: body.get("facts", {}).get(name) for name in record.result.facts}}
    return [word for word, value in own.items() if said.get(word) != value]


def _standing(record: Record) -> dict[str, str]:
    """Whether an analyzer was changed at a visit, and where and what it was: what later visits ask of any.

    Two answers whose paths end in _from and _to are an adjustment, as they are on the page.
    """
    typed = {entry.path: entry.text for entry in record.entries}
    changed = any(path.endswith("_from") and f"{path[:-5]}_to" in typed for path in typed)
    analyzer = record.given.analyzer
    return {
        "adjusted": "yes" if changed or typed.get("decision.action") == "replace" else "no",
        "location": analyzer.location,
        "sample_point": analyzer.sample_point,
        "unit": analyzer.unit,
        "species": analyzer.species,
    }
