"""Gather what a pack says: from the book, the plant folder and the page files."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from wqverify.acts import unexplained
from wqverify.audit import unfinished
from wqverify.book import Book, RecordState
from wqverify.errors import ChooseAnother
from wqverify.lists.opened import opened
from wqverify.lists.plan import title_of
from wqverify.lists.queue import skipped_in
from wqverify.pack.certificates import AUTHORITY, NO_AUTHORITY, put_certificates
from wqverify.pack.certificates import HEADS as CERTIFICATES
from wqverify.pack.compared import compared
from wqverify.pack.contents import Contents
from wqverify.pack.decided import FIRST_OF_ALL, stand_twice, undecided_rows
from wqverify.pack.example import Example, better, example_in
from wqverify.pack.month import KEYS, Walked, month_of
from wqverify.pack.names import Names
from wqverify.pack.of_record import (
    CHANGES,
    CHECKS,
    FIRST,
    INDEX,
    OPEN,
    READINGS,
    UNEXPLAINED,
    called,
    change_rows,
    check_rows,
    index_row,
    open_rows,
    reading_rows,
    told_rows,
)
from wqverify.pack.pages_in import put_page
from wqverify.pack.plan import plan_sheet
from wqverify.pack.tables import Head, Sheet
from wqverify.pack.target import Target
from wqverify.plant.folder import Plant
from wqverify.records.canonical import digest, plain_from
from wqverify.show.lookup import NONE, when

Cells = tuple[str, ...]
MORE = "by the clock of the book the month was not over, and more may come of"


def contents(plant: Plant, book: Book, walked: Walked, target: Target) -> Contents:
    """Return what the pack of a month says; the PDFs and certificates are put into it on the way."""
    pack = Contents(plant.site, walked.month, walked.newest, list(walked.heads.values()), walked.bounds)
    found, names, twice = _Found(), Names(), stand_twice(book)
    for state in about_the_month(book, walked.month):
        plain = _plain(book, state, pack)
        page = put_page(target, plant, state, names)
        pack.later += state.performed[:7] != walked.month
        pack.pdfs.append((state.number, page.name, page.said, page.digest))
        if not page.good:
            pack.problems.append(f"The PDF of {state.number}: {page.said}")
        pack.problems += compared(state, plain, page.bytes_in_the_book(), walked)
        if plain is not None and not found.take(plain):
            pack.problems.append(
                f"{state.number} is no record that this version can read: its readings and checks are left "
                "out."
            )
            plain = None
        found.index.append(index_row(state, plain or {}, page, plant))
        found.open += open_rows(state, plain or {}, plant)
        for what, number, tag, since, who, text in undecided_rows(state, twice, book):
            found.open.append((what, number, tag, when(since), called(who, plain or {}, plant), text))
    found.open.sort(key=lambda row: ((*FIRST_OF_ALL, *FIRST).index(row[0]), row[1]))
    pack.example = found.example
    pack.sheets = [*found.sheets(walked.month), *_of_the_plant(plant, book, walked, found)]
    pack.sheets.append(_certificates(plant, book, target, pack))
    if month_of(datetime.fromisoformat(walked.newest), plant.zone) <= walked.month:
        pack.notes.append(f"The newest entry of the book is of {walked.newest[:10]}: {MORE} {walked.month}.")
    pack.notes += [f"Unfinished: {what}." for what in unfinished(plant)]
    return pack


def about_the_month(book: Book, month: str) -> Iterator[RecordState]:
    """Give the records whose work was done in a month, then later ones that are about it.

    That are those that tell the month they judge, and those that answer a record of the month: an outage or
    a doubt is often closed in the next one.
    """
    given: set[str] = set()
    for state in book.records(month):
        given.add(state.number)
        yield state
    for state in book.telling("month", "answers"):
        answered = set(state.facts.get("answers", "").split(", "))
        if state.number not in given and (state.facts.get("month") == month or answered & given):
            yield state


def _plain(book: Book, state: RecordState, pack: Contents) -> Mapping[str, Any] | None:
    """Return the plain data of a record; None, and named, where it is not what was entered."""
    try:
        data = book.stored(state.number)
        if digest(data) == state.digest:
            plain: Mapping[str, Any] = plain_from(data)
            return plain
    except (ChooseAnother, ValueError):
        pass
    pack.problems.append(
        f"The bytes kept for record {state.number} are not those that were entered: its readings and checks "
        f"are left out."
    )
    return None


@dataclass
class _Found:
    """The rows that the records of the month give."""

    index: list[Cells] = field(default_factory=list)
    readings: list[Cells] = field(default_factory=list)
    checks: list[Cells] = field(default_factory=list)
    open: list[Cells] = field(default_factory=list)
    told: dict[Cells, list[str]] = field(default_factory=dict)
    example: Example | None = None

    def take(self, plain: Mapping[str, Any]) -> bool:
        """Take what one record says; False where it is no record that can be read."""
        try:
            readings, checks = list(reading_rows(plain)), list(check_rows(plain))
            told, example = list(told_rows(plain)), example_in(plain)
        except (KeyError, TypeError, AttributeError, ArithmeticError):
            return False
        self.readings += readings
        self.checks += checks
        for row in told:
            self.told.setdefault(row, []).append(plain["number"])
        self.example = better(self.example, example)
        return True

    def sheets(self, month: str) -> list[Sheet]:
        none = f"No work of {month} is in the book."
        stages = "; ".join(
            f"{count} {what}" for what, count in sorted(Counter(r[0] for r in self.open).items())
        )
        return [
            Sheet("index", "Records", "Records", INDEX, self.index, none=none),
            Sheet("readings", "Readings", "Readings as typed", READINGS, self.readings, _READINGS, none),
            Sheet("checks", "Checks", "Judged quantities", CHECKS, self.checks, none=none),
            Sheet(
                "open",
                "Open and late",
                "Open, ended and late",
                OPEN,
                self.open,
                stages and f"{stages}. {_LATE}",
                _NOTHING_OPEN,
            ),
        ]


_READINGS = (
    "Every answer of every record as it was typed. The time is the one typed in the same part of the sheet; "
    "when each answer was typed stands in the journal attached to the PDF, where there is one."
)
_LATE = (
    "Late: entered or signed more than 24 h after the work, countersigned more than 7 days after the "
    "signature; common practice, no source."
)
_NOTHING_OPEN = (
    "Nothing: every record of the month is signed and countersigned in time, no question is open, and "
    "nothing that follows from a record waits to be done."
)


# ---------------------------------------------------------------- beside the records


def _of_the_plant(plant: Plant, book: Book, walked: Walked, found: _Found) -> Iterator[Sheet]:
    newest = datetime.fromisoformat(walked.newest).astimezone(plant.zone).date()
    yield plan_sheet(plant, walked.month, _as_of(plant, walked), newest)
    yield _skipped(plant, walked.month)
    changes = [row for entry in walked.changes for row in change_rows(entry, plant)]
    about = (
        "Register, tolerances, people, standards on hand, plant settings and keys, as entered in the month."
    )
    none = f"No change was entered in {walked.month}."
    yield Sheet("changes", "Changes", "Changes accepted in the month", CHANGES, changes, about, none)
    yield _told(plant, found)
    yield _unexplained(plant)
    yield _opened(book)


def _as_of(plant: Plant, walked: Walked) -> datetime:
    """Return the time of the newest entry, but no earlier than the month: the book's own clock."""
    newest = datetime.fromisoformat(walked.newest)
    if month_of(newest, plant.zone) >= walked.month:
        return newest
    year, month = map(int, walked.month.split("-"))
    return datetime(year, month, 1, 12, tzinfo=plant.zone)


def _skipped(plant: Plant, month: str) -> Sheet:
    heads = (
        Head("day", "short"),
        Head("analyzer", "short"),
        Head("procedure name"),
        Head("round"),
        Head("by"),
        Head("because"),
    )
    rows = [
        (one.day, one.tag, title_of(one.procedure), one.round, called(one.by, {}, plant), one.why)
        for one in skipped_in(plant, month)
    ]
    about = "Every reason that was told, also where the check was done after all."
    return Sheet(
        "skipped", "Skipped", "Skipped on a round, with reason", heads, rows, about, "Nothing was skipped."
    )


def _told(plant: Plant, found: _Found) -> Sheet:
    heads = (
        Head("entered"),
        Head("by"),
        Head("what"),
        Head("from"),
        Head("to"),
        Head("why"),
        Head("told by records"),
    )
    rows = [
        (at, called(by, {}, plant), *rest, ", ".join(numbers))
        for (at, by, *rest), numbers in found.told.items()
    ]
    about = "What the records of the month say had changed since the record before, whenever it was entered."
    none = "No record of the month tells of a change."
    return Sheet(
        "told", "Changes told", "Changes that records of the month tell of", heads, rows, about, none
    )


def _unexplained(plant: Plant) -> Sheet:
    heads = (Head("about", "short"), Head("what"), Head("from"), Head("to"), Head("why"))
    rows = [
        (about, what, was or NONE, now or NONE, UNEXPLAINED) for about, what, was, now in unexplained(plant)
    ]
    title, none = "Changes not yet explained", "The plant folder is as it was last accepted."
    about = "In the plant folder now, not accepted into the book."
    return Sheet("unexplained", "Not explained", title, heads, rows, about, none)


def _opened(book: Book) -> Sheet:
    heads = (
        Head("asked for"),
        Head("analyzer", "short"),
        Head("by record", "short"),
        Head("of"),
        Head("because"),
    )
    rows = [
        (title_of(one.procedure), one.tag, one.number, when(one.performed), one.because)
        for one in opened(book)
    ]
    about = "In the whole book, whichever month it is of."
    none = "Nothing that a record asked for waits for its answer."
    return Sheet("opened", "Opened", "Opened by a record and not answered", heads, rows, about, none)


def _certificates(plant: Plant, book: Book, target: Target, pack: Contents) -> Sheet:
    rows, problems = put_certificates(target, plant, book.events(*KEYS))
    pack.problems += problems
    pack.authority = next((row[-1] for row in rows if row[1] == f"{AUTHORITY}.pem" and row[-1] != NONE), "")
    title = "Certificates and withdrawal list"
    return Sheet("certificates", "Certificates", title, CERTIFICATES, rows, none=NO_AUTHORITY)


# ---------------------------------------------------------------- files


_ABOUT = {
    "index.xlsx": "all tables in one workbook",
    "readings.csv": "table: readings as typed; an apostrophe stands before what a spreadsheet could compute",
    "check_by_hand.html": "how to check by hand: a number, a file, the chain, a signature",
    "check_by_hand.txt": "the same as plain text",
    "heads.txt": "heads of the chains before the month, at its end, and now",
    "verify_chains.py": "checks the pack with Python's standard library alone",
    "pages/": "the PDFs as the plant keeps them",
    "certificates/": "certificates of the plant's authority and of its people, withdrawal list",
    "chains/": "every entry of the record book, one a line",
}


def files_of(target: Target, pack: Contents) -> list[tuple[str, str]]:
    """Return the files and folders of a pack, each with what it is."""
    about = {**{f"{sheet.file}.csv": f"table: {sheet.title.lower()}" for sheet in pack.sheets}, **_ABOUT}
    counted = Counter(f"{name.split('/')[0]}/" if "/" in name else name for name in target.digests)
    found = [
        (name, f"{about.get(name, '')} ({count} files)" if name.endswith("/") else about.get(name, ""))
        for name, count in sorted(counted.items())
    ]
    return [*found, ("manifest.txt", "SHA-256 of every file, and when the pack was made")]
