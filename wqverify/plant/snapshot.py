"""What a plant folder says, as plain text values, and what changed between two such states.

The book keeps snapshots for years and compares them: a label that is renamed here shows up as a change
in every plant.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields
from typing import Any

from wqverify.plant.folder import Plant

Snapshot = dict[str, Any]
Row = tuple[str, str, str, str]  # about (tag, id or "plant"), what, was, now

# Section of a snapshot -> how its entries are called; the register's go by their tag alone.
_CALLED = {"analyzers": "", "people": "person ", "standards": "standard "}


def snapshot(plant: Plant) -> Snapshot:
    """Return register, people, standards on hand and the plant's own data as nested plain texts."""
    site = _texts(plant.site)
    own = {**site, "device": plant.device, "holidays": ", ".join(map(str, plant.holidays))}
    return {
        "plant": {"plant": {name: text for name, text in own.items() if text}},
        "analyzers": {tag: _texts(entry) for tag, entry in plant.analyzers.items()},
        "people": {name: _texts(entry) for name, entry in plant.people.items()},
        "standards": {name: _texts(entry) for name, entry in plant.standards.items()},
    }


def changes_between(old: Snapshot, new: Snapshot) -> tuple[Row, ...]:
    """Return what changed, in words: (about, what, was, now); nothing there before or after is empty text.

    >>> old = {"people": {"T-07": {"licence until": "2026-12-31"}}}
    >>> changes_between(old, {"people": {"T-07": {"licence until": "2028-12-31"}}})
    (('T-07', 'person T-07: licence until', '2026-12-31', '2028-12-31'),)
    """
    rows: list[Row] = []
    for section in dict.fromkeys([*old, *new]):
        before, after = old.get(section, {}), new.get(section, {})
        for about in dict.fromkeys([*before, *after]):
            called = f"{_CALLED.get(section, '')}{about}"
            if about not in before:
                rows.append((about, f"{called}: added", "", _in_short(after[about])))
            elif about not in after:
                rows.append((about, f"{called}: removed", _in_short(before[about]), ""))
            else:
                rows += [(about, *row) for row in _changed(called, before[about], after[about])]
    return tuple(rows)


def _changed(called: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    for label in dict.fromkeys([*old, *new]):
        was, now = old.get(label, ""), new.get(label, "")
        if isinstance(was, Mapping) and isinstance(now, Mapping):
            yield from _changed(f"{label} of {called}", was, now)
        elif was != now:
            yield f"{called}: {label}", _in_short(was), _in_short(now)


def _in_short(entry: Any) -> str:
    if not isinstance(entry, Mapping):
        return str(entry)
    return ", ".join(f"{label} {_in_short(value)}" for label, value in entry.items())


def _texts(entry: Any) -> dict[str, Any]:
    """A word of the vocabulary as label -> text; what is not stated is left out."""
    found: dict[str, Any] = {}
    for each in fields(entry):
        value = getattr(entry, each.name)
        label = each.name.replace("_", " ")
        if each.name == "tolerances":
            found |= {f"tolerance {name}": _texts(tolerance) for name, tolerance in value.items()}
        elif each.name == "hops":
            found |= {f"hop {hop.name}": _texts(hop) for hop in value}
        elif each.name in ("settings", "intervals_days"):
            word = "setting" if each.name == "settings" else "interval in days"
            found |= {f"{word} {name}": str(text) for name, text in value.items()}
        elif each.name == "own":
            found |= {"own table": ", ".join(f"{x}: {y}" for x, y in value)} if value else {}
        elif each.name == "assigned":
            found |= {f"value for {row.tag} assigned {row.on}": _texts(row) for row in value}
        elif each.name == "causes":
            found |= {f"cause {row.cause}": _texts(row) for row in value}
        elif hasattr(value, "__dataclass_fields__"):
            found[label] = _texts(value)
        elif isinstance(value, bool):
            found[label] = "yes" if value else "no"
        elif value is not None and value != "":
            found[label] = str(value)
    return found
