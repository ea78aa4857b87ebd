"""Worked values of others as printed, from reference_values.csv, each with its tolerance and source."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

FILE = Path(__file__).with_name("reference_values.csv")


@dataclass(frozen=True)
class Printed:
    text: str
    tolerance: str
    source: str

    @property
    def value(self) -> float:
        return float(self.text)

    def within(self) -> float:
        number, _, relative = self.tolerance.partition(" ")
        return float(number) * (abs(self.value) if relative else 1)


@cache
def values() -> dict[tuple[str, str], Printed]:
    lines = [line for line in FILE.read_text("utf-8").splitlines() if not line.startswith("#")]
    found: dict[tuple[str, str], Printed] = {}
    for row in csv.DictReader(lines):
        key = (row["id"], row["quantity"])
        assert key not in found, key
        found[key] = Printed(row["printed"], row["tolerance"], row["source"])
    return found


def agrees(id_: str, **computed: float) -> None:
    """Assert that computed values round to what is printed; a name's underlines stand for blanks."""
    for name, value in computed.items():
        agree(id_, name.replace("_", " "), value)


def agree(id_: str, quantity: str, value: float) -> None:
    expected = values()[id_, quantity]
    # a hair more than half the last digit, for values that end exactly there in binary
    assert abs(float(value) - expected.value) <= expected.within() * (1 + 1e-9), (
        f"{id_} {quantity}: {value}, printed {expected.text} ({expected.source})"
    )
