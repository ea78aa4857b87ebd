"""The only maker of ``given``: everything besides the sheet that a computation may see."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wqverify import tables
from wqverify.entry.fold import Folded
from wqverify.entry.told import corrections_of, said_of
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.clock import resolve
from wqverify.plant.files import shortened
from wqverify.plant.folder import Plant
from wqverify.plant.snapshot import changes_between, snapshot
from wqverify.procedures import PROCEDURES
from wqverify.procedures.consequences import OUTAGE
from wqverify.procedures.left_out import HELD, stretches_of, utc
from wqverify.procedures.parts import (
    entries,
    named_analyzers,
    named_people,
    named_records,
    named_standards,
    named_trends,
    typed_times,
)
from wqverify.records.canonical import digest, record_from
from wqverify.records.cited import cited
from wqverify.terms import (
    Analyzer,
    Change,
    Cited,
    Earlier,
    Given,
    Procedure,
    Raw,
    Slices,
    Standard,
    TableUse,
    TrendUse,
)

if TYPE_CHECKING:
    from wqverify.book import Book, Entry, RecordState
    from wqverify.plant.files import Document

FORMAT = 1
NO_JOURNAL = Folded()


def gather(
    plant: Plant,
    book: Book | None,
    procedure: Procedure,
    sheet: Raw,
    document: Document | None = None,
    journal: Folded = NO_JOURNAL,
) -> tuple[Given, Slices]:
    """Return what the case of this sheet is computed with, and the slices of the exports it names.

    ``journal`` tells how the answers came and what was corrected, where the sheet was stepped through.

    Raises ChooseAnother for a tag, standard or person the plant folder does not know, and
    CorrectTheEntry for a time that does not exist or exists twice and for a setting out of its bounds.
    """
    where = _where(document)
    analyzer = _known(plant.analyzers, sheet.get("tag", ""), "analyzer", "analyzers.toml", where("tag"))
    _refuse(_refused_settings(procedure, analyzer))
    standards = {
        name: _known(plant.standards, name, "standard", "standards_on_hand.toml", where(path))
        for path, name in named_standards(procedure.Sheet, sheet)
    }
    people = {
        name: _known(plant.people, name, "person", "people.toml", where(path))
        for path, name in named_people(procedure.Sheet, sheet)
    }
    said = said_of(journal)
    people |= {one.by: plant.people[one.by] for one in said.values() if one.by in plant.people}
    times = _times(plant, procedure, sheet, where)
    others = {
        name: _known(plant.analyzers, name, "analyzer", "analyzers.toml", where(path))
        for path, name in named_analyzers(procedure.Sheet, sheet)
        if name != analyzer.tag
    }
    trends, slices = trends_of(plant, procedure, sheet, analyzer, times, where)
    told, entered = earlier(book, analyzer, procedure, times.get("started", ""))
    given = Given(
        format=FORMAT,
        site=plant.site,
        analyzer=analyzer,
        standards=standards,
        people=people,
        tables=tables_of(procedure, standards.values()),
        times=times,
        earlier=told,
        changes=(
            *amended(book, procedure, sheet),
            *corrections_of(procedure.Sheet, journal, sheet.get("performed_by", "")),
            *changes_since(plant, book, entered, {analyzer.tag, *standards, *people, "plant"}),
        ),
        attached={name: digest(data) for name, data in slices.items()},
        trends=trends,
        said=said,
        others=others,
        records=records_of(book, procedure, sheet, (analyzer.tag, *others), times, where),
    )
    return given, slices


def insist_on_settings(plant: Plant) -> None:
    """Raise CorrectTheEntry, naming each, where a setting of the register is out of its bounds."""
    known = [PROCEDURES[name] for name in PROCEDURES]
    found = [_refused_settings(procedure, a) for a in plant.analyzers.values() for procedure in known]
    _refuse([problem for problems in found for problem in problems])


def _refused_settings(procedure: Procedure, analyzer: Analyzer) -> list[CorrectTheEntry]:
    return [
        CorrectTheEntry(
            f"The setting {name} of {analyzer.tag} in analyzers.toml is {typed!r}; {procedure.name} takes "
            f"{setting}.",
            found=typed,
            expected=str(setting),
            where="analyzers.toml",
        )
        for name, setting in procedure.settings.items()
        if (typed := analyzer.settings.get(name)) is not None and not setting.allows(typed)
    ]


def _refuse(problems: list[CorrectTheEntry]) -> None:
    if problems:
        first = problems[0]
        lines = "\n".join(problem.message for problem in problems)
        raise CorrectTheEntry(lines, found=first.found, expected=first.expected, where=first.where)


def _where(document: Document | None) -> Any:
    return lambda path: (
        document.where(tuple(int(p) if p.isdigit() else p for p in path.split("."))) if document else path
    )


def _known(known: Any, name: str, what: str, file: str, where: str) -> Any:
    if name in known:
        return known[name]
    raise ChooseAnother(
        f"{where}: there is no {what} {name!r} in {file} (it holds {', '.join(sorted(known)) or 'none'}); "
        f"correct the sheet or add the {what} there.",
        found=name,
        expected=", ".join(sorted(known)),
        where=where,
    )


def _times(plant: Plant, procedure: Procedure, sheet: Raw, where: Any) -> dict[str, str]:
    resolved = {}
    for path, typed in typed_times(procedure.Sheet, sheet).items():
        try:
            resolved[path] = resolve(sheet.get("date", ""), typed, plant.zone).isoformat(timespec="minutes")
        except CorrectTheEntry as problem:
            place = where(path)
            raise CorrectTheEntry(
                f"{place}: {problem.message}", found=problem.found, expected=problem.expected, where=place
            ) from problem
    return resolved


def tables_of(procedure: Procedure, standards: Iterable[Standard]) -> dict[str, TableUse]:
    """Return the published tables a procedure and these standards go by."""
    wanted = list(procedure.tables)
    wanted += [(s.table, s.edition) for s in standards if s.table and not s.own]
    return {f"{name} {edition}": tables.load(name, edition).use() for name, edition in dict.fromkeys(wanted)}


# ---------------------------------------------------------------- exports

AROUND = timedelta(hours=3)  # before the first and after the last typed time


def trends_of(
    plant: Plant, procedure: Procedure, sheet: Raw, analyzer: Analyzer, times: Mapping[str, str], where: Any
) -> tuple[tuple[TrendUse, ...], Slices]:
    """Read the exports the sheet names and cut out what lies around the visit, which the record keeps."""
    named = named_trends(procedure.Sheet, sheet)
    if not named or not times:
        return (), {}
    from wqverify.plant.exports import options_of
    from wqverify.trends.slices import cut
    from wqverify.trends.whole import channel_around

    first, last = span_of(times)
    start, end = datetime.fromisoformat(first) - AROUND, datetime.fromisoformat(last) + AROUND
    uses, slices = [], {}
    for number, (path, file, tag) in enumerate(named, 1):
        place = where(path)
        if Path(file).name != file:
            raise ChooseAnother(
                f"{place}: {file[:60]!r} is no file name; put the export into the folder trends/ of the "
                f"plant and name the file alone.",
                found=file,
                where=place,
            )
        of = plant.analyzers.get(tag, analyzer)
        names = (of.control_system_tag, of.tag)
        name = f"trend-{number}.csv"
        with _named_at(place):
            part = channel_around(plant.folder / "trends" / file, options_of(plant, file), names, start, end)
            slices[name] = cut(part.channel, start, end)
        uses.append(TrendUse(path, file, part.digest, part.channel.name, part.channel.unit, name, part.told))
    return tuple(uses), slices


@contextmanager
def _named_at(place: str) -> Iterator[None]:
    """Say of what an export is refused for which line of the sheet names it."""
    try:
        yield
    except (CorrectTheEntry, ChooseAnother) as problem:
        said = f"{place}: {problem.message}"
        raise type(problem)(said, found=problem.found, expected=problem.expected, where=place) from problem


def span_of(times: Mapping[str, str]) -> tuple[str, str]:
    """Return the earliest and the latest of typed times, ISO 8601 with offset."""
    ordered = sorted(times.values(), key=datetime.fromisoformat)
    return ordered[0], ordered[-1]


# ---------------------------------------------------------------- records that are cited

REACHES = timedelta(days=31)  # before a period: a hold that began then may reach into it
MOST_CITED = 600  # records of a period that one case rests on


def records_of(
    book: Book | None,
    procedure: Procedure,
    sheet: Raw,
    tags: tuple[str, ...],
    times: Mapping[str, str],
    where: Any,
) -> dict[str, Cited]:
    """Return the records the sheet names, and those of its period where the procedure cites them.

    Raises ChooseAnother for a number that is not in the book, and CorrectTheEntry for a period of too many.
    """
    found: dict[str, Cited] = {}
    for path, number in named_records(procedure.Sheet, sheet):
        state = book.find(number) if book is not None else None
        if book is None or state is None:
            raise ChooseAnother(
                f"{where(path)}: {shortened(number)} is not in the book; `wqverify book list` shows what is.",
                found=number,
                where=where(path),
            )
        found[number] = _cited(book, state, checks=True)
    if book is not None and procedure.cites and times:
        of_tags = tags if procedure.cites == "own" else ()
        states = book.begun_between(*span_of(times), of_tags)
        if len(states) > MOST_CITED:
            raise CorrectTheEntry(
                f"From {' to '.join(span_of(times))} there are {len(states)} records, and one case takes at "
                f"most {MOST_CITED}; take a shorter period.",
                found=str(len(states)),
                expected=f"at most {MOST_CITED}",
            )
        found |= {s.number: _cited(book, s) for s in states if s.number not in found}
        found |= {
            one.number: one for one in _reaching(book, tags, *span_of(times)) if one.number not in found
        }
    return found


def _reaching(book: Book, tags: tuple[str, ...], begin: str, end: str) -> Iterator[Cited]:
    """Give the records of work before a period whose held output or outage reaches into it.

    An outage is looked for however old, of other work 31 days back; common practice, no source.
    """
    first, last = (datetime.fromisoformat(at) for at in (begin, end))
    back = (first - REACHES).isoformat()
    for tag in tags:
        before = [*book.last_records(tag, procedure=OUTAGE, before=back, limit=1)]
        before += [one for one in book.begun_between(back, begin, [tag]) if one.instant < first]
        earlier = {one.number: _cited(book, one) for one in before}
        meanwhile = [_cited(book, one) for one in book.begun_between(begin, end, [tag])]
        ends = [(span.end, by) for span, by in stretches_of([*earlier.values(), *meanwhile], last)]
        released = [
            (utc(window.end), number)
            for number, one in earlier.items()
            for window in one.windows
            if window.what == HELD and window.end
        ]
        numbers = {number for at, number in (*ends, *released) if number in earlier and at > first}
        yield from (one for number, one in earlier.items() if number in numbers)


def _cited(book: Book, state: RecordState, *, checks: bool = False) -> Cited:
    ended = "" if state.stands else state.state
    record = record_from(book.stored(state.number))
    return cited(record, state.digest, state.body, checks=checks, ended=ended)


# ---------------------------------------------------------------- earlier records


def earlier(
    book: Book | None, analyzer: Analyzer, procedure: Procedure, started: str
) -> tuple[tuple[Earlier, ...], Entry | None]:
    """Return what a visit rests on, newest first, and the entry since which changes are told.

    That is the last record by the same procedure on this very instrument, tag *and* serial. What the
    procedure looks back at are records of the tag, whatever instrument was behind it.
    """
    if book is None:
        return (), None
    own = book.last_records(
        analyzer.tag, serial=analyzer.serial, procedure=procedure.name, before=started, limit=1
    )
    rows = {row.number: row for row in own}
    for name, count in procedure.looks_back.items():
        wanted = None if name == "*" else name
        for row in book.last_records(analyzer.tag, procedure=wanted, before=started, limit=count):
            rows.setdefault(row.number, row)
    newest_first = sorted(rows.values(), key=lambda row: datetime.fromisoformat(row.performed), reverse=True)
    return tuple(map(_told, newest_first)), own[0].events[0] if own else None


def _told(row: RecordState) -> Earlier:
    return Earlier(
        row.number, row.performed, row.serial, row.outcomes, row.values, row.digest, row.procedure, row.facts
    )


def amended(book: Book | None, procedure: Procedure, sheet: Raw) -> tuple[Change, ...]:
    """Return what an amended sheet says otherwise than the record it replaces, entry by entry."""
    number = sheet.get("replaces", "")
    if book is None or not number or book.find(number) is None:
        return ()
    before = {entry.path: entry for entry in record_from(book.stored(number)).entries}
    after = {entry.path: entry for entry in entries(procedure.Sheet, sheet)}
    by, why = sheet.get("performed_by", ""), sheet.get("replaces_why", "")
    return tuple(
        Change("", f"entry {there.label}", was.text if was else "", now.text if now else "", by, why)
        for path in dict.fromkeys([*before, *after])
        if path not in ("replaces", "replaces_why")
        for was, now in ((before.get(path), after.get(path)),)
        if (there := now or was) is not None and (was is None or now is None or was.text != now.text)
    )


def changes_since(
    plant: Plant, book: Book | None, entered: Entry | None, concerned: set[str]
) -> tuple[Change, ...]:
    """Return the changes that concern a visit since the earlier record was entered.

    First the accepted ones with who and why, then those nobody has explained yet.
    """
    if book is None:
        return ()
    told = [
        Change(c["at"], c["what"], c["was"], c["now"], c["by"], c["why"])
        for c in book.accepted_changes(entered)
        if c["about"] in concerned
    ]
    accepted = book.accepted_snapshot()
    if accepted is not None:
        told += [
            Change("", what, was, now)
            for about, what, was, now in changes_between(accepted, snapshot(plant))
            if about in concerned
        ]
    return tuple(told)
