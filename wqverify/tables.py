"""Published tables by name and edition: digest checked, never extrapolated, never "the latest".

A table is one file of figures (CSV, as printed, blanks where the document has none) and one description
(TOML) of the same name in the shipped folder standards_tables. A table is never edited in place: a new
edition is a new pair of files, so that old records can be re-run.
"""

from __future__ import annotations

import csv
import hashlib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from wqverify.calculations.interpolation import interpolate
from wqverify.errors import ChooseAnother, CorrectTheEntry, ResultsDiffer
from wqverify.shipped import shipped_folder
from wqverify.terms import Reading, TableUse

Nodes = tuple[tuple[Decimal, Decimal], ...]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table: its unit, the digit it is printed to and the uncertainty stated for it."""

    label: str
    unit: str
    digit: Decimal
    expanded: Decimal | None
    expanded_from: str
    nodes: Nodes


@dataclass(frozen=True, slots=True)
class Table:
    """One edition of a published table."""

    name: str
    edition: str
    digest: str
    title: str
    source: str
    verification: str
    notes: tuple[str, ...]
    columns: Mapping[str, Column]
    x_label: str
    x_unit: str

    def nodes(self, column: str) -> Nodes:
        """Return the printed points (x, value) of a column, without blanks."""
        return self._column(column).nodes

    def at(self, column: str, x: Decimal) -> Decimal:
        """Return the value at x, straight between the printed points and exact.

        Raises CorrectTheEntry outside the printed points and ChooseAnother for an unknown column.

        >>> str(load("ph_buffers_ready_made", "trade 1").at("7.00", Decimal("18.4")))
        '7.0264'
        """
        nodes = self.nodes(column)
        low, high = nodes[0][0], nodes[-1][0]
        if not low <= x <= high:
            raise CorrectTheEntry(
                f"{x} {self.x_unit} is outside the table {self.name} ({self.edition}), which gives "
                f"{column} from {low} to {high} {self.x_unit}; nothing is extrapolated.",
                found=str(x),
                expected=f"{low} to {high}",
            )
        value: Decimal = interpolate(nodes, x)
        return value

    def use(self) -> TableUse:
        """Return what a record keeps of this table."""
        return TableUse(self.name, self.edition, self.digest, f"{self.source} ({self.verification})")

    def _column(self, column: str) -> Column:
        if column not in self.columns:
            raise ChooseAnother(
                f"The table {self.name} ({self.edition}) has no column {column!r}; it has "
                f"{', '.join(self.columns)}.",
                found=column,
                expected=", ".join(self.columns),
            )
        return self.columns[column]


def load(name: str, edition: str, digest: str = "") -> Table:
    """Return a shipped table.

    Raises ChooseAnother for a name or edition that is not shipped, and ResultsDiffer where the figures
    are not those of its description, or not those of ``digest`` (what an earlier record was made with).
    """
    table = _load(name, edition)
    if digest and digest != table.digest:
        raise ResultsDiffer(
            f"The table {name} ({edition}) here is not the one that was used: digest {table.digest[:12]}… "
            f"instead of {digest[:12]}…. Use the version of wqverify that made the record.",
            found=table.digest,
            expected=digest,
        )
    return table


@cache
def names() -> tuple[tuple[str, str], ...]:
    """Return (name, edition) of every shipped table."""
    found = (_description(path) for path in sorted(shipped_folder("standards_tables").glob("*.toml")))
    return tuple((described["name"], described["edition"]) for described in found)


def read_table(folder: Path, name: str, edition: str) -> Table:
    """Read one table from a folder; raises ResultsDiffer where its figures do not have the digest stated."""
    described = _description(folder / f"{_stem(name, edition)}.toml")
    data = (folder / described["data"]).read_bytes()
    digest = hashlib.sha256(data).hexdigest()
    if digest != described["digest"]:
        raise ResultsDiffer(
            f"The figures in {described['data']} are not those of the table {name} ({edition}): digest "
            f"{digest[:12]}… instead of {described['digest'][:12]}…. A table is never edited; install "
            f"wqverify again.",
            found=digest,
            expected=described["digest"],
            where=described["data"],
        )
    return Table(
        name=described["name"],
        edition=described["edition"],
        digest=digest,
        title=described["title"],
        source=described["cite"],
        verification=described["verification"],
        notes=tuple(described["notes"]),
        columns=_columns(data.decode(), described["column"]),
        x_label=described["x"]["label"],
        x_unit=described["x"]["unit"],
    )


@cache
def _load(name: str, edition: str) -> Table:
    if (name, edition) not in names():
        editions = [e for n, e in names() if n == name]
        known = f"editions of {name}: {', '.join(editions)}" if editions else ""
        raise ChooseAnother(
            f"There is no table {name!r}, edition {edition!r}; there are "
            f"{known or '; '.join(f'{n} ({e})' for n, e in names())}.",
            found=f"{name} {edition}",
            expected=known,
        )
    return read_table(shipped_folder("standards_tables"), name, edition)


def _stem(name: str, edition: str) -> str:
    return f"{name}_{re.sub('[^a-z0-9]+', '-', edition.lower())}"


def _description(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def _columns(text: str, described: Mapping[str, Mapping[str, str]]) -> dict[str, Column]:
    head, *rows = csv.reader(text.splitlines())
    return {
        name: Column(
            label=described[name]["label"],
            unit=described[name]["unit"],
            digit=Decimal(described[name]["digit"]),
            expanded=Decimal(stated) if (stated := described[name]["expanded"]) else None,
            expanded_from=described[name]["expanded_from"],
            nodes=tuple((_figure(row[0]), _figure(row[place])) for row in rows if row[place]),
        )
        for place, name in enumerate(head)
        if place
    }


def _figure(text: str) -> Decimal:
    return Reading.parse(text).value
