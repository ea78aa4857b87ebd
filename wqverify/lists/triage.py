"""A first look over a trend export: what the signals tell of themselves, gravest first. Nobody signs it.

A finding speaks of a signal, never of an analyzer: whether that reads right is found with a standard.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, tzinfo
from pathlib import Path

import numpy as np

from wqverify.errors import ChooseAnother
from wqverify.lists.triage_findings import (
    CLAMPED,
    COUNTED,
    DEAD,
    FLAT,
    GAP,
    ORDER,
    SHORT_GAPS,
    TWIN,
    Finding,
    NotTested,
    Signal,
    gaps,
    quiet,
    still,
    twins,
)
from wqverify.lists.triage_rows import at_ends, single_rows
from wqverify.lists.triage_settings import FEWEST, Setting, settings_of
from wqverify.lists.triage_windows import ALL, Away, Flagged, Records, beside, flagged, within
from wqverify.lists.triage_words import clock
from wqverify.plant.folder import Plant
from wqverify.terms import Analyzer
from wqverify.trends.export import Stamp
from wqverify.trends.options import ExportOptions, TriageOptions, zone_of
from wqverify.trends.table import LIMIT_BYTES
from wqverify.trends.texts import Floats, Integers, Truths
from wqverify.trends.whole import Numbers, Source, go_through, options_for

_PIECES = 1500  # of a trace: more than a picture has places
_STILL = (DEAD, CLAMPED, FLAT)
_TOGETHER = 0.8  # of the longer of two stretches, so that they are taken as one event


@dataclass(frozen=True, eq=False, slots=True)
class Trace:
    """A channel as it is drawn: the least and the greatest number of each piece of its time."""

    times: Integers
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class Looked:
    """One channel as it was gone through: its rows, those taken out by windows, and the limits used."""

    name: str
    tag: str
    unit: str
    first: int
    last: int
    rows: int
    numbers: int
    in_windows: int  # taken out, by windows or flags
    settings: tuple[Setting, ...]
    trace: Trace


@dataclass(frozen=True, slots=True)
class Triage:
    """What was found in an export, gravest first; times are UTC seconds, shown on the clock of ``zone``.

    ``stamps`` tells of each channel where the rows that findings name stand in the file.
    """

    file: str
    digest: str
    zone: tzinfo
    told: tuple[str, ...]
    channels: tuple[Looked, ...]
    findings: tuple[Finding, ...]
    windows: tuple[Away, ...]
    flagged: tuple[Flagged, ...]
    not_tested: tuple[NotTested, ...]
    stamps: Mapping[str, Mapping[int, Stamp]] = field(default_factory=dict)


def triage(
    path: Path,
    options: ExportOptions,
    plant: Plant | None = None,
    windows: Sequence[Away] = (),
    channels: Sequence[str] = (),
    limit_bytes: int = LIMIT_BYTES,
) -> Triage:
    """Go through an export of a control system; with ``channels`` only through these.

    ``windows`` are those entered by hand; those of the records of a plant are added. Raises what
    ``read_export`` raises, and ChooseAnother for a twin that is not in the export.
    """
    source = _source(path, options, limit_bytes, channels, plant)
    look = _Look(options, plant, list(windows))
    for numbers in source.channels:
        look.at(numbers)
    look.pair(source.names)
    look.tell()
    return Triage(
        source.file,
        source.digest,
        _zone(options, plant),
        (*source.told, *look.told),
        tuple(look.channels),
        tuple(sorted(_together(look.findings), key=_gravest_first)),
        tuple(sorted(look.used, key=lambda one: (one.start, one.tag))),
        tuple(look.flagged),
        tuple(look.not_tested),
        look.stamps,
    )


def _source(
    path: Path, options: ExportOptions, limit_bytes: int, channels: Sequence[str], plant: Plant | None
) -> Source:
    """The export; a channel may be named by its tag where the export has its name in the control system."""
    try:
        return go_through(path, options, limit_bytes, channels)
    except ChooseAnother:
        tags = plant.analyzers if plant is not None else {}
        names = [(tags[one].control_system_tag or one) if one in tags else one for one in channels]
        if names == list(channels):
            raise
        return go_through(path, options, limit_bytes, names)


def _zone(options: ExportOptions, plant: Plant | None) -> tzinfo:
    if plant is not None:
        return plant.zone
    return zone_of(options.time_zone) if options.time_zone else UTC


def _gravest_first(one: Finding) -> tuple[int, int, str, int]:
    much = one.rows if one.kind in COUNTED else one.seconds
    return ORDER.index(one.kind), -much, one.channel, one.first


class _Look:
    """One channel after the other; only twins are kept until both are there."""

    def __init__(self, options: ExportOptions, plant: Plant | None, entered: list[Away]) -> None:
        self._options, self._plant = options, plant
        self._records = Records(plant)
        self._entered = entered
        self._kept: dict[str, tuple[Signal, Numbers]] = {}
        self._twins: dict[str, str] = {}
        wanted = [(name, told.triage.twin) for name, told in options.channels.items() if told.triage.twin]
        self._wanted = {twin for _name, twin in wanted}
        self.channels: list[Looked] = []
        self.findings: list[Finding] = []
        self.not_tested: list[NotTested] = []
        self.used: list[Away] = []
        self.flagged: list[Flagged] = []
        self.stamps: dict[str, dict[int, Stamp]] = {}
        self.told: list[str] = []

    def at(self, numbers: Numbers) -> None:
        analyzer = analyzer_of(self._plant, numbers.name)
        tag = analyzer.tag if analyzer else ""
        unit = numbers.unit or (analyzer.unit if analyzer else "")
        self.told += numbers.told
        there = np.isfinite(numbers.values)
        windows = self._windows(numbers, tag)
        off, told_off = flagged(numbers)
        self.flagged += told_off
        away = within(numbers.times, windows) | off
        counts = there & ~away
        looked = Looked(
            numbers.name,
            tag,
            unit,
            int(numbers.times[0]) if len(numbers.times) else 0,
            int(numbers.times[-1]) if len(numbers.times) else 0,
            len(there),
            int(there.sum()),
            int((there & away).sum()),
            (),
            _trace(numbers, there),
        )
        if counts.sum() < FEWEST:
            self.channels.append(looked)
            because = f"{int(counts.sum())} numbers are too few, at least {FEWEST} are needed"
            self.not_tested.append(NotTested(numbers.name, "every test", because))
            return
        told = options_for(self._options, numbers.name).triage
        times, values = numbers.times[counts], numbers.values[counts]
        settings = settings_of(times, values, unit, told, analyzer)
        near = beside(numbers.times, windows, away)[counts]
        signal = Signal(numbers.name, tag, unit, times, values, settings, near)
        self.channels.append(replace(looked, settings=settings.shown))
        self._tests(signal, numbers, there | away)
        self._twin_of(signal, numbers, told)

    def _tests(self, signal: Signal, numbers: Numbers, filled: Truths) -> None:
        standing = list(still(signal))
        stands = [one for one in standing if isinstance(one, Finding)]
        at_an_end = list(at_ends(signal, stands))
        stands += [one for one in at_an_end if isinstance(one, Finding) and one.kind == CLAMPED]
        end = int(numbers.times[-1])
        self._take([*standing, *at_an_end], numbers)
        self._take(single_rows(signal), numbers)
        self._take(quiet(signal, stands), numbers)
        self._take(gaps(signal.name, signal.tag, numbers.times[filled], signal.settings, end), numbers)
        if numbers.beyond:
            because = (
                f"{numbers.beyond} results below or above a limit are no numbers and were taken as missing"
            )
            self.not_tested.append(NotTested(signal.name, "these rows", because))

    def _take(self, found: Iterable[Finding | NotTested], numbers: Numbers) -> None:
        stamps = self.stamps.setdefault(numbers.name, {})
        for one in found:
            if isinstance(one, NotTested):
                self.not_tested.append(one)
                continue
            self.findings.append(one)
            seconds = [one.first, one.last, *one.at, *(one.longest or ())[:2]]
            stamps |= {at: stamp for at in seconds if (stamp := numbers.stamp(at)) is not None}

    def _windows(self, numbers: Numbers, tag: str) -> list[Away]:
        """The windows of a channel that reach into its time; those with a row in them are told."""
        if not len(numbers.times):
            return []
        names = {ALL, numbers.name, tag} - {""}
        told = self._records.windows(tag, int(numbers.times[0]), int(numbers.times[-1]))
        mine = [one for one in [*self._entered, *told] if one.tag in names]
        self.used += [one for one in mine if one not in self.used and within(numbers.times, [one]).any()]
        return mine

    def tell(self) -> None:
        """Say of the whole what speaks of no single row: shared and unknown tags, windows without a row."""
        of_tag: dict[str, list[str]] = {}
        for one in self.channels:
            of_tag.setdefault(one.tag, []).append(one.name)
        nobody = of_tag.pop("", [])
        if self._plant is not None:
            because = "no analyzer of the register has it as its tag or control_system_tag"
            self.not_tested += [NotTested(name, "windows of records", because) for name in nobody]
        for tag, names in of_tag.items():
            if len(names) > 1:
                self.told.append(f"{' and '.join(names)} were both taken as channels of {tag}")
        for window in self._entered:
            known = {ALL, *of_tag, *(one.name for one in self.channels)}
            if window.tag in known and window not in self.used:
                zone = _zone(self._options, self._plant)
                ends = (clock(int(at.timestamp()), zone) for at in (window.start, window.end))
                because = f"no row lies in it, {' to '.join(ends)}"
                self.not_tested.append(NotTested(window.tag, "window entered", because))

    # ------------------------------------------------------------ twins

    def _twin_of(self, signal: Signal, numbers: Numbers, told: TriageOptions) -> None:
        if told.twin:
            self._twins[signal.name] = told.twin
        if told.twin or signal.name in self._wanted or (signal.tag and signal.tag in self._wanted):
            self._kept[signal.name] = (signal, numbers)

    def pair(self, names: Sequence[str]) -> None:
        for name, twin in self._twins.items():
            other = next((one for one, _ in self._kept.values() if twin in (one.name, one.tag)), None)
            if other is None and twin not in names:
                raise ChooseAnother(
                    f"The twin of {name}, {twin}, is not among the channels gone through; they are "
                    f"{', '.join(names)[:200]}.",
                    found=", ".join(names),
                    expected=twin,
                )
            if other is None:
                self.not_tested.append(NotTested(name, TWIN, f"{twin} has too few numbers"))
            else:
                signal, numbers = self._kept[name]
                self._take(twins(signal, other), numbers)


def _trace(numbers: Numbers, there: Truths) -> Trace:
    times, values = numbers.times[there], numbers.values[there]
    if not len(times):
        return Trace(times, values, values)
    wide = max(int(times[-1] - times[0]) // _PIECES, 1)
    first = np.flatnonzero(np.diff((times - times[0]) // wide, prepend=-1))
    return Trace(times[first], np.minimum.reduceat(values, first), np.maximum.reduceat(values, first))


def analyzer_of(plant: Plant | None, channel: str) -> Analyzer | None:
    """Return the analyzer of the register that a channel shows, by its tag or that of the control system."""
    if plant is None:
        return None
    if channel in plant.analyzers:
        return plant.analyzers[channel]
    return next((one for one in plant.analyzers.values() if one.control_system_tag == channel), None)


def _together(findings: Sequence[Finding]) -> Iterator[Finding]:
    """Give the findings; standing still and gaps name the channels that do the same at the same time."""
    for one in findings:
        others = {two.channel for two in findings if two.channel != one.channel and _at_once(one, two)}
        yield replace(one, others=tuple(sorted(others)))


def _at_once(one: Finding, two: Finding) -> bool:
    """Whether two stand still together, or have the same gaps; short gaps one by one."""
    if one.kind == two.kind == SHORT_GAPS:
        both = len({*one.starts} & {*two.starts})
        return both >= _TOGETHER * max(len(one.starts), len(two.starts))
    if not (one.kind in _STILL and two.kind in _STILL) and not one.kind == two.kind == GAP:
        return False
    overlap = min(one.last, two.last) - max(one.first, two.first)
    return overlap >= _TOGETHER * max(one.seconds, two.seconds, 1)
