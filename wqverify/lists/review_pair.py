"""The pair of a yearly review: two channels of one export, value by value at the same moment."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wqverify.calculations.passing_bablok import in_steps
from wqverify.calculations.ranked_slopes import Ints
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.exports import FILE, options_in
from wqverify.records.canonical import digest
from wqverify.shipped import shipped_folder
from wqverify.terms import Reading
from wqverify.trends import ExportOptions, read_export

Floats = NDArray[np.float64]
Truths = NDArray[np.bool_]
DEMO = "yearly_review"


@dataclass(frozen=True, slots=True)
class Choices:
    """What a review may be told; numbers in the unit of the channels.

    ``first_again`` and ``second_again`` are channels of second readings of the same water. ``edges`` part the
    levels for repeatability. ``u_first`` and ``u_second`` are standard uncertainties, the same or a percent
    of the value; both together give the line with errors in both. ``ratio`` is u_second^2/u_first^2 for the
    Deming line. ``level`` is the confidence of the intervals.
    """

    first_again: str = ""
    second_again: str = ""
    edges: tuple[float, ...] = ()
    u_first: float = 0.0
    u_first_percent: float = 0.0
    u_second: float = 0.0
    u_second_percent: float = 0.0
    ratio: float = 1.0
    level: float = 0.95


@dataclass(frozen=True, slots=True)
class Pair:
    """Two instruments at the same moments; values in their unit, and as whole steps of the resolution."""

    file: str
    digest: str
    first: str
    second: str
    unit: str
    resolution: Decimal
    times: Ints  # seconds since 1970
    a: Floats
    b: Floats
    a_steps: Ints
    b_steps: Ints
    alone: tuple[int, int]  # values without a partner
    again: Mapping[str, tuple[tuple[float, float], ...]]  # name of the instrument -> duplicates
    told: tuple[str, ...]
    choices: Choices
    synthetic: bool = False

    @property
    def decimals(self) -> int:
        """Decimals of the resolution."""
        exponent = self.resolution.normalize().as_tuple().exponent
        return max(0, -exponent) if isinstance(exponent, int) else 0

    @property
    def follows(self) -> Truths:
        """Whether each pair but the first follows the one before without a gap."""
        apart = np.diff(self.times)
        if not len(apart):
            return np.zeros(0, bool)
        near: Truths = apart <= 1.5 * np.median(apart)
        return near


def open_pair(
    folder: str = "",
    file: str = "",
    first: str = "",
    second: str = "",
    resolution: str = "",
    export: Mapping[str, Any] | None = None,
    choices: Mapping[str, Any] | None = None,
) -> Pair:
    """Read two channels of an export; without a file, the synthetic pair that ships with wqverify.

    ``folder`` is a plant folder, in whose ``trends`` the file then is. ``resolution`` is the smallest step
    of the record, as text. ``export`` holds the options of ``read_export``, ``choices`` those of ``Choices``.
    Raises CorrectTheEntry, ChooseAnother or what the reader of exports raises.
    """
    synthetic = not file
    if synthetic:
        told = json.loads((shipped_folder("demo_runs") / DEMO / "review.json").read_text("utf-8"))
        path = shipped_folder("demo_runs") / DEMO / told["file"]
        first, second, resolution = told["first"], told["second"], told["resolution"]
        export, choices = told["export"], told["choices"]
    else:
        if folder and Path(file).name != file:
            raise CorrectTheEntry(
                f"{file[:60]!r} is no file name; an export of a plant lies in its folder trends/: name the "
                f"file alone.",
                found=file,
                expected="a file name",
                where="file",
            )
        path = Path(folder) / "trends" / file if folder else Path(file)
    if not path.is_file():
        raise CorrectTheEntry(
            f"There is no file {file} in {path.parent.name or 'this folder'}; name an export that is there.",
            found=file,
            expected="a file",
            where="file",
        )
    if first == second:
        raise CorrectTheEntry(
            f"Both instruments are the channel {first or '(none)'}; name two channels of {path.name}.",
            found=first,
            expected="two channels",
            where="second",
        )
    step, chosen = _step(resolution), _choices(choices or {})
    return _paired(path, folder, first, second, step, export or {}, chosen, synthetic)


def _paired(
    path: Path,
    folder: str,
    first: str,
    second: str,
    step: Decimal,
    export: Mapping[str, Any],
    choices: Choices,
    synthetic: bool,
) -> Pair:
    channels, told = _read(path, folder, export)
    one, other = (_channel(channels, name, path) for name in (first, second))
    if one.unit and other.unit and one.unit != other.unit:
        raise ChooseAnother(
            f"{first} is in {one.unit}, {second} in {other.unit}; a comparison needs one unit.",
            found=f"{one.unit}, {other.unit}",
            expected="one unit",
            where=path.name,
        )
    times, at, of = np.intersect1d(one.times, other.times, return_indices=True)
    if not len(times):
        raise ChooseAnother(
            f"{first} and {second} have no value at the same moment in {path.name}; export both at one "
            f"interval.",
            found="0 pairs",
            expected="values at the same moments",
            where=path.name,
        )
    again = {}
    for channel, name in ((one, choices.first_again), (other, choices.second_again)):
        if name:
            again[channel.name] = _duplicates(channel, _channel(channels, name, path))
    a, b = one.values[at], other.values[of]
    return Pair(
        file=path.name,
        digest=digest(path.read_bytes()),
        first=first,
        second=second,
        unit=one.unit or other.unit,
        resolution=step,
        times=times,
        a=a,
        b=b,
        a_steps=in_steps(a, step),
        b_steps=in_steps(b, step),
        alone=(len(one.times) - len(times), len(other.times) - len(times)),
        again=again,
        told=told,
        choices=choices,
        synthetic=synthetic,
    )


# ---------------------------------------------------------------- the export


@dataclass(frozen=True, slots=True)
class _Channel:
    """The values of a channel that are numbers and carry no flag."""

    name: str
    unit: str
    times: Ints
    values: Floats


def _read(path: Path, folder: str, told: Mapping[str, Any]) -> tuple[dict[str, _Channel], tuple[str, ...]]:
    """The channels of an export by name, and what was told about the reading of it."""
    export = read_export(path, _options(path, folder, told))
    channels, said = {}, list(export.told)
    for channel in export.channels:
        flagged = np.array([bool(channel.flag(row)) for row in range(len(channel))], bool)
        good = np.isfinite(channel.values) & ~flagged
        if flagged.any():
            said.append(
                f"{channel.name}: {int(flagged.sum())} flagged values were left out of the comparison."
            )
        channels[channel.name] = _Channel(
            channel.name, channel.unit, channel.times[good], channel.values[good]
        )
    return channels, tuple(said)


def _options(path: Path, folder: str, told: Mapping[str, Any]) -> ExportOptions:
    """What is told of an export: by the plant's trends/exports.toml, and over that by the review."""
    known = {field.name for field in fields(ExportOptions)} - {"channels"}
    if unknown := sorted(set(told) - known):
        raise CorrectTheEntry(
            f"The export option {unknown[0]} is not known; there are {', '.join(sorted(known))}.",
            found=unknown[0],
            expected=", ".join(sorted(known)),
            where="export",
        )
    base = options_in(path.parent / FILE, path.name) if folder else ExportOptions()
    listed: dict[str, Any] = {n: tuple(v) if isinstance(v, list) else v for n, v in told.items()}
    return replace(base, **listed)


def _channel(channels: Mapping[str, _Channel], name: str, path: Path) -> _Channel:
    if name not in channels:
        raise CorrectTheEntry(
            f"{path.name} has no channel {name or '(none named)'}; it has {', '.join(channels)}.",
            found=name,
            expected=", ".join(channels),
            where=path.name,
        )
    return channels[name]


def _duplicates(one: _Channel, again: _Channel) -> tuple[tuple[float, float], ...]:
    _times, at, of = np.intersect1d(one.times, again.times, return_indices=True)
    return tuple(zip(one.values[at].tolist(), again.values[of].tolist(), strict=True))


# ---------------------------------------------------------------- what was told


def _step(resolution: str) -> Decimal:
    if not resolution:
        raise CorrectTheEntry(
            "The resolution is missing; type the smallest step of the record, as 0.01.",
            expected="a number above 0",
            where="resolution",
        )
    return Reading.parse(resolution).value


def _choices(told: Mapping[str, Any]) -> Choices:
    kinds = {field.name: field.default for field in fields(Choices)}
    for name, value in told.items():
        if name not in kinds:
            raise CorrectTheEntry(
                f"A review has no choice {name}; it has {', '.join(kinds)}.",
                found=name,
                expected=", ".join(kinds),
                where="choices",
            )
        if not _fits(value, kinds[name]):
            raise CorrectTheEntry(
                f"The choice {name} is {value!r}; it is {_KINDS[type(kinds[name])]}.",
                found=repr(value),
                expected=_KINDS[type(kinds[name])],
                where="choices",
            )
    plain = dict(told)
    if "edges" in plain:
        plain["edges"] = tuple(float(edge) for edge in plain["edges"])
    made = Choices(**plain)
    if not (made.ratio > 0 and 0 < made.level < 1):
        raise CorrectTheEntry(
            "The choice ratio is above 0 and the choice level between 0 and 1; correct them.",
            found=f"{made.ratio}, {made.level}",
            expected="above 0, and between 0 and 1",
            where="choices",
        )
    return made


_KINDS = {str: "a text", float: "a number of 0 or more", tuple: "a list of numbers"}


def _fits(value: Any, kind: Any) -> bool:
    if isinstance(kind, str):
        return isinstance(value, str)
    if isinstance(kind, tuple):
        return isinstance(value, list | tuple) and all(_is_number(edge) for edge in value)
    return _is_number(value) and value >= 0


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and bool(np.isfinite(value))
