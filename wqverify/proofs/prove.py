"""Compute values of others on this computer and compare each with its digits.

They are printed in a document, or were computed apart: by hand, by another library, by another formula.
"""

from __future__ import annotations

import csv
import json
import math
import platform
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from typing import Any

import wqverify
from wqverify.errors import WqverifyError
from wqverify.proofs.decisions import DECISIONS
from wqverify.proofs.signals import SIGNALS
from wqverify.proofs.statistics import STATISTICS
from wqverify.proofs.water import WATER, Computed
from wqverify.records.canonical import digest
from wqverify.records.code import code_digest
from wqverify.records.rerun import BROKEN

FORMAT = 1
EXACT = "exact"
COMPUTED: Mapping[str, Computed] = {**WATER, **SIGNALS, **STATISTICS, **DECISIONS}
_LIBRARIES = ("numpy", "scipy", "pint", "pydantic")  # what a result may go through


@dataclass(frozen=True, slots=True)
class Published:
    """A value of others: its digits, half of the last one as tolerance, its kind, and where it is from.

    ``kind`` is "printed", in the document that is named, or "computed apart", not by this program.
    """

    id: str
    quantity: str
    printed: str
    tolerance: str  # a number, a number with " relative", or "exact"
    kind: str
    source: str

    def holds(self, computed: Any) -> bool:
        """Whether a computed value rounds to what is printed; a word must be that word."""
        if self.tolerance == EXACT:
            return _exactly(computed, self.printed)
        number, _, relative = self.tolerance.partition(" ")
        expected = float(self.printed)
        within = float(number) * (abs(expected) if relative else 1)
        # A hair more than half of the last digit, for values that end exactly there in binary.
        return abs(float(computed) - expected) <= within * (1 + 1e-9)


@dataclass(frozen=True, slots=True)
class Proven:
    """One value and what came out here."""

    id: str
    quantity: str
    printed: str
    tolerance: str
    computed: str
    holds: bool
    kind: str
    source: str

    @property
    def told(self) -> str:
        """The value in words, as a page names one that failed."""
        return f"{self.id} {self.quantity}: {self.computed}, not {self.printed}"


@dataclass(frozen=True, slots=True)
class Computer:
    """What computes: a proof is for this software on this platform, and for no other."""

    wqverify: str
    code: str  # SHA-256 over the source of what computes, and of the published tables
    python: str
    platform: str
    libraries: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class ProofRun:
    """A dated run of all published values."""

    at: str
    device: str
    computer: Computer
    values: tuple[Proven, ...]

    @property
    def failed(self) -> tuple[Proven, ...]:
        return tuple(value for value in self.values if not value.holds)

    @property
    def printed(self) -> int:
        """How many of the values are printed in a document; the others were computed apart."""
        return sum(value.kind == "printed" for value in self.values)

    def to_bytes(self) -> bytes:
        """Return the proof as the file that is kept: readable, and the same bytes for the same run."""
        plain = {"format": FORMAT, "published": published_digest(), **asdict(self)}
        return (json.dumps(plain, indent=1, sort_keys=True, ensure_ascii=False) + "\n").encode()


def computer_here() -> Computer:
    """Return what computes here."""
    libraries = {name: version(name) for name in _LIBRARIES}
    here = f"{platform.system()} {platform.machine()}"
    return Computer(wqverify.__version__, code_digest(), platform.python_version(), here, libraries)


@cache
def published() -> tuple[Published, ...]:
    """Return the published values that ship with the package."""
    lines = [line for line in _file().decode().splitlines() if not line.startswith("#")]
    return tuple(Published(**row) for row in csv.DictReader(lines))


def published_digest() -> str:
    """Return the SHA-256 of the file of published values."""
    return digest(_file())


def _file() -> bytes:
    return (files("wqverify") / "proofs" / "published.csv").read_bytes()


def prove(at: datetime, device: str, computed: Mapping[str, Computed] = COMPUTED) -> ProofRun:
    """Compute every one of the values here; one that cannot be computed has failed, with the reason."""
    found = {id_: _values_of(id_, computed) for id_ in dict.fromkeys(one.id for one in published())}
    values = tuple(_proven(one, found[one.id]) for one in published())
    return ProofRun(at.isoformat(timespec="seconds"), device, computer_here(), values)


def _values_of(id_: str, computed: Mapping[str, Computed]) -> Mapping[str, Any] | str:
    try:
        return computed[id_]()
    except WqverifyError as problem:
        return f"could not be computed ({problem.message})"
    except BROKEN as problem:
        return f"could not be computed ({type(problem).__name__}: {problem})"


def _proven(one: Published, found: Mapping[str, Any] | str) -> Proven:
    value = found if isinstance(found, str) else found.get(one.quantity, "not computed")
    holds = not isinstance(found, str) and one.quantity in found and _holds(one, value)
    shown = f"{value:.12g}" if isinstance(value, float) else str(value)
    return Proven(one.id, one.quantity, one.printed, one.tolerance, shown, holds, one.kind, one.source)


def _holds(one: Published, value: Any) -> bool:
    try:
        return one.holds(value)
    except (TypeError, ValueError):
        return False  # None, a word where a number is due: shown as it came


def _exactly(computed: Any, printed: str) -> bool:
    text = str(computed)
    if text == printed:
        return True
    try:
        return math.isfinite(float(text)) and float(text) == float(printed)
    except ValueError:
        return False
