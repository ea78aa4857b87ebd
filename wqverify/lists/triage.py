"""A first look over a trend export: what the signals tell of themselves, gravest first. Nobody signs it.

A finding speaks of a signal, never of an analyzer: whether that reads right is found with a standard.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

import numpy as np

from wqverify.book import Book, has_book, open_book
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
    single_rows,
    still,
    twins,
)
from wqverify.lists.triage_settings import FEWEST, Setting, settings_of
from wqverify.plant.folder import Plant
from wqverify.procedures.consequences import OUTAGE
from wqverify.procedures.left_out import HELD, VISIT, stretches_of
from wqverify.records.canonical import record_from
from wqverify.records.cited import cited
from wqverify.terms import Analyzer, Cited
from wqverify.trends.options import ExportOptions, TriageOptions, zone_of
from wqverify.trends.table import LIMIT_BYTES
from wqverify.trends.texts import Floats, Integers, Truths
from wqverify.trends.whole import Numbers, go_through, options_for

_PIECES = 1500  # of a trace: more than a picture has places
ALL = "*"  # a window of all channels
_LONGEST_VISIT = timedelta(days=1)
_REACHES = timedelta(days=31)  # before an export: work that began then may reach into it
_STILL, _GAPS = (DEAD, CLAMPED, FLAT), (GAP, SHORT_GAPS)
_TOGETHER = 0.8  # of the longer of two stretches, so that they are taken as one event


@dataclass(frozen=True, slots=True)
class Away:
    """A verification window: what lies in it is no fault. ``tag`` is that of the register, or ``ALL``."""

    tag: str
    what: str
    start: datetime
    end: datetime
    number: str = ""  # of the record it was found in; empty where it was entered


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
    in_windows: int
    settings: tuple[Setting, ...]
    trace: Trace


@dataclass(frozen=True, slots=True)
class Triage:
    """What was found in an export, gravest first; times are UTC seconds, shown on the clock of ``zone``."""

    file: str
    digest: str
    zone: tzinfo
    told: tuple[str, ...]
    channels: tuple[Looked, ...]
    findings: tuple[Finding, ...]
    windows: tuple[Away, ...]
    not_tested: tuple[NotTested, ...]


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
    source = go_through(path, options, limit_bytes, channels)
    look = _Look(options, plant, list(windows))
    for numbers in source.channels:
        look.at(numbers)
    look.pair(source.names)
    return Triage(
        source.file,
        source.digest,
        _zone(options, plant),
        (*source.told, *look.told),
        tuple(look.channels),
        tuple(sorted(_together(look.findings), key=_gravest_first)),
        tuple(sorted(look.used, key=lambda one: (one.start, one.tag))),
        tuple(look.not_tested),
    )


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
        self._records = _Records(plant)
        self._entered = entered
        self._kept: dict[str, Signal] = {}
        self._twins: dict[str, str] = {}
        wanted = [(name, told.triage.twin) for name, told in options.channels.items() if told.triage.twin]
        self._wanted = {twin for _name, twin in wanted}
        self.channels: list[Looked] = []
        self.findings: list[Finding] = []
        self.not_tested: list[NotTested] = []
        self.used: list[Away] = []
        self.told: list[str] = []

    def at(self, numbers: Numbers) -> None:
        analyzer = analyzer_of(self._plant, numbers.name)
        tag = analyzer.tag if analyzer else ""
        unit = numbers.unit or (analyzer.unit if analyzer else "")
        self.told += numbers.told
        there = np.isfinite(numbers.values)
        away = self._away(numbers, tag)
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
        signal = Signal(numbers.name, tag, unit, times, values, settings)
        self.channels.append(replace(looked, settings=settings.shown))
        self._tests(signal, numbers, there | away)
        self._twin_of(signal, told)

    def _tests(self, signal: Signal, numbers: Numbers, filled: Truths) -> None:
        standing = list(still(signal))
        self._take(standing)
        self._take(single_rows(signal))
        self._take(quiet(signal, [one for one in standing if isinstance(one, Finding)]))
        end = int(numbers.times[-1])
        self._take(gaps(signal.name, signal.tag, numbers.times[filled], signal.settings, end))
        if numbers.beyond:
            because = (
                f"{numbers.beyond} results below or above a limit are no numbers and were taken as missing"
            )
            self.not_tested.append(NotTested(signal.name, "these rows", because))

    def _take(self, found: Iterable[Finding | NotTested]) -> None:
        for one in found:
            if isinstance(one, Finding):
                self.findings.append(one)
            else:
                self.not_tested.append(one)

    def _away(self, numbers: Numbers, tag: str) -> Truths:
        """The rows that lie in a verification window."""
        away = np.zeros(len(numbers.times), bool)
        if not len(away):
            return away
        names = {ALL, numbers.name, tag} - {""}
        told = self._records.windows(tag, int(numbers.times[0]), int(numbers.times[-1]))
        for one in [*self._entered, *told]:
            if one.tag not in names:
                continue
            rows = (numbers.times >= one.start.timestamp()) & (numbers.times <= one.end.timestamp())
            if rows.any():
                away |= rows
                if one not in self.used:
                    self.used.append(one)
        return away

    # ------------------------------------------------------------ twins

    def _twin_of(self, signal: Signal, told: TriageOptions) -> None:
        if told.twin:
            self._twins[signal.name] = told.twin
        if told.twin or signal.name in self._wanted or (signal.tag and signal.tag in self._wanted):
            self._kept[signal.name] = signal

    def pair(self, names: Sequence[str]) -> None:
        for name, twin in self._twins.items():
            other = next((one for one in self._kept.values() if twin in (one.name, one.tag)), None)
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
                self._take(twins(self._kept[name], other))


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


class _Records:
    """The verification windows that the records in the book of a plant tell."""

    def __init__(self, plant: Plant | None) -> None:
        there = plant is not None and has_book(plant.book)
        self._book = open_book(plant.book, plant.device) if plant is not None and there else None

    def windows(self, tag: str, first: int, last: int) -> Iterator[Away]:
        """Give the windows of a tag between two UTC seconds: what its records leave out, and each visit.

        A visit of more than a day is none: that is a sheet of what went on over days, such as a doubt. What
        is not over ends with the export.
        """
        if self._book is None or not tag:
            return
        begin, end = (datetime.fromtimestamp(at, UTC) for at in (first, last))
        records = list(self._told(self._book, tag, begin, end))
        left_out = [Away(tag, span.why, span.start, span.end, by) for span, by in stretches_of(records, end)]
        yield from left_out
        known = {(one.number, one.start) for one in left_out}
        for record in records:
            for window in record.windows:
                if window.what == HELD or not window.end or record.procedure == OUTAGE:
                    continue
                start, until = map(datetime.fromisoformat, (window.start, window.end))
                if window.what == VISIT and (
                    until - start > _LONGEST_VISIT or (record.number, start) in known
                ):
                    continue
                yield Away(tag, window.what, start, until, record.number)

    @staticmethod
    def _told(book: Book, tag: str, begin: datetime, end: datetime) -> Iterator[Cited]:
        """Give what the records that may reach into an export say; an outage may have begun long before."""
        reaches = (begin - _REACHES).isoformat()
        states = book.last_records(tag, procedure=OUTAGE, before=reaches, limit=1)
        for state in (*states, *book.begun_between(reaches, end.isoformat(), [tag])):
            yield cited(record_from(book.stored(state.number)), state.digest, state.body)


def _together(findings: Sequence[Finding]) -> Iterator[Finding]:
    """Give the findings; standing still and gaps name the channels that do the same at the same time."""
    shared = [one for one in findings if one.kind in (*_STILL, *_GAPS)]
    for one in findings:
        kinds = _STILL if one.kind in _STILL else _GAPS if one.kind in _GAPS else ()
        others = {two.channel for two in shared if two.kind in kinds and _overlap(one, two)} - {one.channel}
        yield replace(one, others=tuple(sorted(others)))


def _overlap(one: Finding, two: Finding) -> bool:
    both = min(one.last, two.last) - max(one.first, two.first)
    return both >= _TOGETHER * max(one.seconds, two.seconds, 1)


def entered(tag: str, start: str, end: str, zone: tzinfo) -> Away:
    """Return a window typed by hand, in plant time; raises CorrectTheEntry as ``clock.resolve`` does."""
    from wqverify.plant.clock import resolve

    moments = [resolve(text[:10], text, zone) for text in (start, end)]
    if moments[1] <= moments[0]:
        raise ChooseAnother(
            f"The window from {start} to {end} ends before it begins.", found=end, expected=start
        )
    return Away(tag, "entered", moments[0], moments[1])
