"""trends/exports.toml of a plant folder: how each kind of export is to be read."""

from __future__ import annotations

from decimal import Decimal
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, StrictBool, ValidationError, model_validator

from wqverify.errors import CorrectTheEntry
from wqverify.plant.fields import Count, Entries, Number, Positive, Text, said
from wqverify.plant.files import read_toml
from wqverify.plant.folder import Plant
from wqverify.plant.messages import explain
from wqverify.trends.options import ChannelOptions, ExportOptions, TriageOptions, zone_of

FILE = "exports.toml"


def _zone(text: str) -> str:
    try:
        zone_of(text)
    except CorrectTheEntry as problem:
        raise said(problem.message) from None
    return text


def _decimal(text: str) -> str:
    if text not in (",", "."):
        raise said(f'{text!r} is no decimal mark; write "," or ".".')
    return text


def _separator(text: str) -> str:
    if text not in (",", ";", "|", "\t"):
        raise said(r'write ",", ";", "|" or "\t" for tabs.')
    return text


def _share(value: Decimal) -> Decimal:
    if value >= 1:
        raise said(f"{value} is no share of the usual restlessness; write a number between 0 and 1.")
    return value


class TriageEntry(Entries):
    """[export.channel."COLUMN".triage]: what a triage takes of a channel; values in its unit, times in h."""

    low: Number | None = None
    high: Number | None = None
    step: Positive | None = None
    flat_h: Positive | None = None
    dead_h: Positive | None = None
    clamp_h: Positive | None = None
    gap_h: Positive | None = None
    spike: Positive | None = None
    rate_per_h: Positive | None = None
    noise_h: Positive | None = None
    noise_share: Annotated[Positive, AfterValidator(_share)] | None = None
    twin: Text | None = None
    twin_within: Positive | None = None
    off_when: Text | None = None

    @model_validator(mode="after")
    def _ordered(self) -> TriageEntry:
        for less, more in (("low", "high"), ("flat_h", "dead_h")):
            small, great = getattr(self, less), getattr(self, more)
            if small is not None and great is not None and small >= great:
                raise said(f"{less} {small} is not below {more} {great}.")
        if self.twin_within is not None and self.twin is None:
            raise said("twin_within stands without twin; name the channel of the same water too.")
        return self

    def options(self) -> TriageOptions:
        told = self.model_dump(exclude={"twin", "off_when"}, exclude_none=True)
        numbers = {name: float(value) for name, value in told.items()}
        return TriageOptions(twin=self.twin or "", off_when=self.off_when or "", **numbers)


class ChannelEntry(Entries):
    name: Text | None = None
    unit: Text | None = None
    missing: tuple[Text, ...] = ()
    flags: Text | None = None
    triage: TriageEntry = TriageEntry()

    def options(self) -> ChannelOptions:
        return ChannelOptions(
            self.name or "", self.unit or "", self.missing, self.flags or "", self.triage.options()
        )


class ExportEntry(Entries):
    """[[export]]: the files it is for, and what they do not tell themselves."""

    files: Text
    time_zone: Annotated[Text, AfterValidator(_zone)] | None = None
    day_first: StrictBool | None = None
    decimal: Annotated[Text, AfterValidator(_decimal)] | None = None
    separator: Annotated[str, AfterValidator(_separator)] | None = None
    header_line: Count | None = None
    sheet: Text | None = None
    missing: tuple[Text, ...] = ()
    time: Annotated[tuple[Text, ...], Field(max_length=2)] = ()
    tag: Text | None = None
    channel: dict[str, ChannelEntry] = Field(default_factory=dict)
    tag_columns: tuple[Text, ...] = ()
    value_column: Text | None = None
    unit_column: Text | None = None
    flag_column: Text | None = None
    limit_column: Text | None = None
    kind: Literal["control system", "laboratory"] | None = None
    duplicates: Literal["first", "last"] | None = None
    repeated_hour: Literal["first", "second"] | None = None

    def options(self) -> ExportOptions:
        return ExportOptions(
            time_zone=self.time_zone or "",
            day_first=self.day_first,
            decimal=self.decimal or "",
            separator=self.separator or "",
            header_line=self.header_line,
            sheet=self.sheet or "",
            missing=self.missing,
            time=self.time,
            tag=self.tag or "",
            channels={name: entry.options() for name, entry in self.channel.items()},
            tag_columns=self.tag_columns,
            value_column=self.value_column or "",
            unit_column=self.unit_column or "",
            flag_column=self.flag_column or "",
            limit_column=self.limit_column or "",
            kind=self.kind,
            duplicates=self.duplicates or "",
            repeated_hour=self.repeated_hour or "",
        )


class ExportsFile(Entries):
    """exports.toml: one [[export]] for each kind of export, the first that fits a file counts."""

    export: tuple[ExportEntry, ...] = ()


def options_of(plant: Plant, file: str) -> ExportOptions:
    """Return how an export of a plant is to be read: the first entry of exports.toml whose pattern fits.

    Without such an entry nothing is told. Raises CorrectTheEntry, with file and line, for a mistake in it.
    """
    return options_in(plant.folder / "trends" / FILE, file)


def options_in(path: Path, file: str) -> ExportOptions:
    """Return the options a file of exports gives for one export; where there is none, nothing is told."""
    if not path.is_file():
        return ExportOptions()
    document = read_toml(path)
    try:
        exports = ExportsFile.model_validate(document.data)
    except ValidationError as error:
        raise explain(error, document, ExportsFile) from None
    for entry in exports.export:
        if fnmatchcase(file, entry.files):
            return entry.options()
    return ExportOptions()
