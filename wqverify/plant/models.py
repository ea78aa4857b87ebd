"""What the files of a plant folder may hold, entry by entry; each becomes a word of wqverify.terms."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated, Any

from pydantic import AfterValidator, Field

from wqverify.plant.clock import day
from wqverify.plant.fields import (
    Count,
    Day,
    Entries,
    Name,
    Notes,
    Number,
    Positive,
    Setting,
    Text,
    YesNo,
    device_series,
    key,
    location_of_book,
    name_of_round,
)
from wqverify.plant.rounds import Round, Stop
from wqverify.terms import (
    Analyzer,
    Assigned,
    Basis,
    Hop,
    Person,
    Rule,
    SampleLine,
    Site,
    Standard,
    StandardCause,
    Tolerance,
)

Key = Annotated[str, AfterValidator(key)]
Pair = Annotated[tuple[Number, ...], Field(min_length=2, max_length=2)]


# ---------------------------------------------------------------- plant.toml


class BookEntry(Entries):
    device: Annotated[str, AfterValidator(device_series)] = "L1"
    url: Annotated[str, AfterValidator(location_of_book)] = "book/book.sqlite"


class PlantFile(Entries):
    """plant.toml: the plant itself."""

    name: Text
    address: Text = ""
    time_zone: Text
    retention_years: Count = 10
    synthetic: YesNo = False
    holidays: tuple[Day, ...] = ()
    book: BookEntry = BookEntry()

    def site(self) -> Site:
        return Site(
            self.name, self.time_zone, self.retention_years, self.synthetic, self.address, self.holidays
        )


# ---------------------------------------------------------------- analyzers.toml


class ToleranceEntry(Entries):
    low: Number | None = None
    high: Number | None = None
    percent: Positive | None = None
    larger_of: YesNo = False
    unit: Text
    rule: Rule
    basis: Basis
    source: Text
    date: Day = ""
    expected_expanded: Positive | None = None

    def tolerance(self) -> Tolerance:
        return Tolerance(**self.model_dump(exclude={"expected_expanded"}))


class HopEntry(Entries):
    name: Text
    low: Number | None = None
    high: Number | None = None
    unit: Text = ""
    input_ohm: Positive | None = None
    damping_s: Number | None = None
    interval_s: Positive | None = None
    clamp: Text = ""
    note: Notes = ""


class SampleLineEntry(Entries):
    bore_mm: Positive
    length_m: Positive
    flow_ml_min: Positive
    cell_ml: Positive | None = None


class AnalyzerEntry(Entries):
    tag: Name
    serial: Text
    kind: Text
    measures: Text
    species: Text = ""
    unit: Text
    low: Number
    high: Number
    digit: Positive | None = None
    location: Text
    sample_point: Text = ""
    owner: Text = ""
    output: Text = ""
    control_system_tag: Text = ""
    sample_line: SampleLineEntry | None = None
    hop: tuple[HopEntry, ...] = ()
    tolerance: dict[Key, ToleranceEntry] = Field(default_factory=dict)
    settings: dict[Key, Setting] = Field(default_factory=dict)
    interval_days: dict[Key, Count] = Field(default_factory=dict)
    take: tuple[Text, ...] = ()

    def analyzer(self) -> Analyzer:
        plain = self.model_dump(exclude={"sample_line", "hop", "tolerance", "interval_days", "take"})
        return Analyzer(
            **plain,
            sample_line=SampleLine(**self.sample_line.model_dump()) if self.sample_line else None,
            hops=tuple(Hop(**hop.model_dump()) for hop in self.hop),
            tolerances={name: entry.tolerance() for name, entry in self.tolerance.items()},
            intervals_days=dict(self.interval_days),
        )


class AnalyzersFile(Entries):
    """analyzers.toml: the register."""

    analyzer: tuple[AnalyzerEntry, ...] = ()


# ---------------------------------------------------------------- people.toml


class PersonEntry(Entries):
    id: Name
    name: Text
    may_perform: YesNo = False
    may_review: YesNo = False
    licence: Text = ""
    licence_until: Day = ""
    approval: Text = ""

    def person(self) -> Person:
        return Person(**self.model_dump())


class PeopleFile(Entries):
    """people.toml: who may perform and who may review."""

    person: tuple[PersonEntry, ...] = ()


# ---------------------------------------------------------------- standards_on_hand.toml


class AssignedEntry(Entries):
    tag: Name
    value: Positive
    on: Day
    after: Text
    expanded: Positive | None = None
    k: Positive | None = None
    serial: Text = ""


class CauseEntry(Entries):
    name: Text
    u: Positive
    dof: Positive | None = None


class StandardEntry(Entries):
    id: Name
    kind: Text
    name: Text
    lot: Text = ""
    unit: Text
    certificate: Text = ""
    expanded: Positive | None = None
    k: Positive | None = None
    value: Number | None = None
    table: Text = ""
    edition: Text = ""
    column: Text = ""
    own: tuple[Pair, ...] = ()
    opened: Day = ""
    printed_until: Day = ""
    in_use_days: Count | None = None
    prepared: Day = ""
    prepared_life_days: Count | None = None
    calibration_due: Day = ""
    left_ml: Positive | None = None
    assigned: tuple[AssignedEntry, ...] = ()
    cause: tuple[CauseEntry, ...] = ()

    def standard(self) -> Standard:
        life = {"printed_until", "in_use_days", "prepared", "prepared_life_days"}
        plain = self.model_dump(exclude={*life, "left_ml", "own", "assigned", "cause"})
        until, because = self.usable()
        return Standard(
            **plain,
            own=tuple((x, y) for x, y in self.own),
            usable_until=until,
            because=because,
            assigned=tuple(Assigned(**entry.model_dump()) for entry in self.assigned),
            causes=tuple(StandardCause(entry.name, entry.u, entry.dof) for entry in self.cause),
        )

    def usable(self) -> tuple[str, str]:
        """Return (last usable date, why): the earliest of the dates that end its use; empty for none."""
        ends = [(self.printed_until, "date printed on it")] if self.printed_until else []
        for word, start, days in (
            ("opened", self.opened, self.in_use_days),
            ("prepared", self.prepared, self.prepared_life_days),
        ):
            if start and days:
                end = day(start) + timedelta(days=days)
                ends.append((end.isoformat(), f"{word} {start}, usable for {days} days"))
        return min(ends, default=("", ""))


class StandardsFile(Entries):
    """standards_on_hand.toml: bottles, blocks and reference instruments."""

    standard: tuple[StandardEntry, ...] = ()


# ---------------------------------------------------------------- rounds.toml


class StopEntry(Entries):
    tag: Name
    procedure: Name
    usual: dict[str, Any] = Field(default_factory=dict)

    def stop(self) -> Stop:
        return Stop(self.tag, self.procedure, self.usual)


class RoundEntry(Entries):
    name: Annotated[Text, AfterValidator(name_of_round)]
    head: dict[str, Any] = Field(default_factory=dict)
    stop: Annotated[tuple[StopEntry, ...], Field(min_length=1, max_length=99)]

    def round(self) -> Round:
        return Round(self.name, tuple(stop.stop() for stop in self.stop), self.head)


class RoundsFile(Entries):
    """rounds.toml: analyzers in walking order, with the answers that are the same at each."""

    round: tuple[RoundEntry, ...] = ()
