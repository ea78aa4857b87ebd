"""The run of differences of one procedure, newest first, cut where the analyzer was another one.

A difference of another procedure is none of the run: one grab may stand in the records of both.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from math import sqrt
from statistics import fmean, stdev
from typing import Final

from wqverify.calculations.uncertainty import propagate
from wqverify.terms import Analyzer, Earlier, Input, Place, Quantity

LAST: Final = 20
FACT: Mapping[Place, str] = {"analyzer": "difference", "control system": "difference_control_system"}


@dataclass(frozen=True, slots=True)
class Run:
    """Differences of one place, newest first, and what ended the run."""

    place: Place
    when: tuple[str, ...]  # ISO times, newest first
    differences: tuple[Decimal, ...]
    cut: str  # in words; empty where nothing cut it
    others: int = 0  # differences of other procedures, left out

    @property
    def mean(self) -> Decimal:
        return sum(self.differences, Decimal(0)) / len(self.differences)


def run_of(
    place: Place,
    now: tuple[str, Decimal] | None,
    earlier: tuple[Earlier, ...],
    analyzer: Analyzer,
    replaces: str,
    procedure: str,
) -> Run:
    """Return the run that ends with this visit; it never spans an adjustment, a move or another serial.

    Records of any procedure end it, those of ``procedure`` alone give differences. ``now`` is the time and
    difference of this visit, None where none was sound; ``replaces`` the record this one takes the place of,
    which is passed over.
    """
    found = [now] if now is not None else []
    cut, others = "", 0
    for row in earlier:
        if row.number == replaces:
            continue
        cut = _cut(row, analyzer)
        if cut or len(found) == LAST:
            break
        text = row.facts.get(FACT[place])
        if text is not None and row.procedure == procedure:
            found.append((row.performed, Decimal(text)))
        elif text is not None:
            others += 1
    return Run(place, tuple(at for at, _ in found), tuple(d for _, d in found), cut, others)


def _cut(row: Earlier, analyzer: Analyzer) -> str:
    """Why nothing of this record and of older ones belongs to the run."""
    record = f"record {row.number} of {row.performed[:10]}"
    if row.serial != analyzer.serial:
        return f"{record} is of serial {row.serial}, now it is {analyzer.serial}"
    for word, now in (
        ("location", analyzer.location),
        ("sample_point", analyzer.sample_point),
        ("unit", analyzer.unit),
        ("species", analyzer.species),
    ):
        was = row.facts.get(word, now)
        if was != now:
            return f"the {word.replace('_', ' ')} was {was!r} in {record} and is {now!r} now"
    adjusted = row.facts.get("adjusted")
    if adjusted == "yes":
        return f"it was adjusted in {record}"
    return "" if adjusted == "no" else f"{record} does not say whether it was adjusted"


def mean_difference(run: Run, unit: str) -> Quantity:
    """Return the mean of a run of two or more with its interval, by the scatter of the differences alone."""
    several = [float(d) for d in run.differences]
    n = len(several)
    scatter = Input(
        fmean(several),
        stdev(several) / sqrt(n),
        "t",
        dof=n - 1,
        size_from="readings",
        source=f"standard deviation of {n} differences, divided by √{n}",
    )
    return propagate(lambda x: {"mean": x["differences"]}, {"differences": scatter}, {"mean": unit})["mean"]
