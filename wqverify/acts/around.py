"""What a visit is stepped through with: the plant, what an earlier record says, exports as they are named."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from wqverify.book import Book, has_book, open_book
from wqverify.entry.around import Surroundings
from wqverify.entry.offered import MOST_CHOICES
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.gather import FORMAT, earlier, records_of, tables_of, trends_of
from wqverify.plant.clock import resolve
from wqverify.plant.folder import Plant
from wqverify.procedures.walk import named_analyzers, named_records, named_trends, typed_times
from wqverify.records.canonical import record_from
from wqverify.terms import Analyzer, Cited, Given, Procedure, Raw, Slices


def surroundings(plant: Plant, procedure: Procedure, tag: str, clock: Callable[[], datetime]) -> Surroundings:
    """Return what a visit of one procedure to one analyzer is stepped through with."""
    analyzer = plant.analyzers[tag]
    book = open_book(plant.book, plant.device) if has_book(plant.book) else None
    last, day = _last(book, analyzer, procedure)
    trends = plant.folder / "trends"
    return Surroundings(
        procedure=procedure,
        analyzer=analyzer,
        zone=plant.zone,
        now=clock,
        around=_Around(plant, book, procedure, analyzer, clock),
        people=plant.people,
        standards=plant.standards,
        trends=tuple(sorted(p.name for p in trends.glob("*") if p.suffix in (".csv", ".xlsx", ".parquet"))),
        analyzers=plant.analyzers,
        records=_numbers(book, tag),
        synthetic=plant.site.synthetic,
        last=last,
        last_day=day,
    )


def _numbers(book: Book | None, tag: str) -> Mapping[str, str]:
    """Return the newest records of an analyzer by number, each with what it is."""
    rows = book.last_records(tag, limit=MOST_CHOICES) if book is not None else []
    return {row.number: f"{row.performed[:16].replace('T', ' ')}  {row.procedure}" for row in rows}


def _last(book: Book | None, analyzer: Analyzer, procedure: Procedure) -> tuple[Mapping[str, Any], str]:
    """Return the sheet of the newest record of this work on this very instrument, and its day."""
    if book is None:
        return {}, ""
    rows = book.last_records(analyzer.tag, serial=analyzer.serial, procedure=procedure.name, limit=1)
    if not rows:
        return {}, ""
    record = record_from(book.stored(rows[0].number))
    return record.sheet, record.performed[:10]


class _Around:
    """Everything besides the sheet, for a sheet as far as it is typed; exports are read once each."""

    def __init__(
        self,
        plant: Plant,
        book: Book | None,
        procedure: Procedure,
        analyzer: Analyzer,
        clock: Callable[[], datetime],
    ) -> None:
        self._plant, self._procedure, self._analyzer, self._clock = plant, procedure, analyzer, clock
        self._book = book
        now = clock().astimezone(plant.zone).isoformat(timespec="minutes")
        told, _entered = earlier(book, analyzer, procedure, now)
        self._given = Given(
            format=FORMAT,
            site=plant.site,
            analyzer=analyzer,
            standards=plant.standards,
            people=plant.people,
            tables=tables_of(procedure, plant.standards.values()),
            earlier=told,
        )
        self._trends: dict[str, tuple[Any, Slices]] = {}
        self._records: dict[str, dict[str, Cited]] = {}

    def __call__(self, raw: Raw) -> tuple[Given, Slices]:
        times = self._times(raw)
        trends, slices = self._slices(raw, times)
        others = self._others(raw)
        records = self._cited(raw, times, (self._analyzer.tag, *others))
        return replace(self._given, times=times, trends=trends, others=others, records=records), slices

    def _others(self, raw: Raw) -> dict[str, Analyzer]:
        named = [tag for _path, tag in named_analyzers(self._procedure.Sheet, raw)]
        known = self._plant.analyzers
        return {tag: known[tag] for tag in named if tag in known and tag != self._analyzer.tag}

    def _cited(self, raw: Raw, times: Mapping[str, str], tags: tuple[str, ...]) -> dict[str, Cited]:
        """Return the records named so far and those of the period; one there is not is asked about there."""
        named = named_records(self._procedure.Sheet, raw)
        if not (named or self._procedure.cites):
            return {}
        key = f"{named} {tags} {min(times.values())} {max(times.values())}"
        if key not in self._records:
            try:
                self._records[key] = records_of(self._book, self._procedure, raw, tags, times, str)
            except (CorrectTheEntry, ChooseAnother):
                return {}  # said in full when the sheet is completed
        return self._records[key]

    def _times(self, raw: Raw) -> dict[str, str]:
        """Return the typed times as instants; one that cannot be is asked about at its own question."""
        now = self._clock().astimezone(self._plant.zone)
        date = str(raw.get("date", "")) or now.date().isoformat()
        sheet: Any = self._procedure.Sheet
        found = {"started": now.isoformat(timespec="minutes")}
        for path, text in typed_times(sheet, raw).items():
            try:
                found[path] = resolve(date, text, self._plant.zone).isoformat(timespec="minutes")
            except CorrectTheEntry:
                continue
        return found

    def _slices(self, raw: Raw, times: Mapping[str, str]) -> tuple[Any, Slices]:
        sheet: Any = self._procedure.Sheet
        if not named_trends(sheet, raw):
            return (), {}
        key = f"{named_trends(sheet, raw)} {min(times.values())} {max(times.values())}"
        if key not in self._trends:
            try:
                self._trends[key] = trends_of(self._plant, self._procedure, raw, self._analyzer, times, str)
            except (CorrectTheEntry, ChooseAnother):
                return (), {}  # said in full when the sheet is completed
        return self._trends[key]
