"""Examine a file strictly: against itself, the plant's certificates, its journal and the book."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from wqverify.audit.reading import book_of, read_pdf
from wqverify.book import Book
from wqverify.entry.fold import fold
from wqverify.entry.journal import ATTACHED, read_journal
from wqverify.entry.told import CORRECTED, differing, said_of
from wqverify.errors import RepairTheFolder, ResultsDiffer
from wqverify.plant.files import shortened
from wqverify.plant.folder import Plant
from wqverify.records.canonical import canonical, digest, record_from
from wqverify.signing.examine import Examination, Finding, examine
from wqverify.terms import Said


@dataclass(frozen=True)
class Examined:
    """What a strict examination of one file found."""

    path: Path
    number: str
    examination: Examination
    findings: tuple[Finding, ...]

    @property
    def damaged(self) -> bool:
        return any(finding.severity == "damaged" for finding in self.findings)


def examine_file(path: Path, plant: Plant | None) -> Examined:
    """Examine a PDF by itself and, where a plant folder is at hand, against its certificates and book."""
    data = read_pdf(path)
    certificates = plant.folder / "certificates" if plant is not None else None
    if certificates is not None and not (certificates / "authority.pem").is_file():
        certificates = None
    examination = examine(data, certificates)
    number = _number(examination)
    findings = [*examination.findings, *against_journal(examination.attachments)]
    if plant is not None and number:
        book = book_of(plant)
        findings += against_book(data, number, examination, book)
        if path.stem != number and book.find(path.stem) is not None:
            findings.append(Finding("damaged", f"The file is named {path.stem} but holds record {number}."))
    return Examined(path, number, examination, tuple(findings))


def _number(examination: Examination) -> str:
    try:
        return str(json.loads(examination.attachments["record.json"])["number"])
    except (KeyError, ValueError, TypeError):
        return ""


def against_book(data: bytes, number: str, examination: Examination, book: Book) -> Iterator[Finding]:
    """Yield what the book says about a file: altered, cut back, unknown, or the newest one."""
    state = book.find(number)
    if state is None:
        yield Finding("damaged", f"The book does not know a record {number}.")
        return
    record = examination.attachments.get("record.json", b"")
    if digest(record) != state.digest:
        yield Finding("damaged", f"The record.json in the file is not the one entered as {number}.")
    known = {event.body.get("pdf"): event.event for event in state.events if "pdf" in event.body}
    this = digest(data)
    if this == state.file_digest:
        yield Finding("note", f"The file is the newest one the book holds of {number}: {state.told}.")
        return
    names = {"signed": "signature", "reviewed": "countersignature"}
    if this in known:
        later = [e.event for e in state.events if e.event in names and e.body["pdf"] != this]
        seen = [e.event for e in state.events if e.body.get("pdf") == this]
        for event in later:
            if event not in seen:
                yield Finding("damaged", f"The {names[event]} is in the book, missing in the file.")
        return
    yield Finding("damaged", f"The file is none of those the book holds of {number}; it was changed.")


def against_journal(attached: Mapping[str, bytes]) -> Iterator[Finding]:
    """Fold the journal a file holds and yield whether the record says what was entered."""
    try:
        record = record_from(attached.get("record.json", b""))
    except ResultsDiffer:
        return  # said already
    data = attached.get(ATTACHED)
    if digest(data or b"") != record.attachments.get(ATTACHED, digest(b"")):
        what = "not the one the record was made with" if data else "missing"
        yield Finding("damaged", f"The journal of the visit is {what}.")
    if not data:
        return
    try:
        lines, _torn = read_journal(data)
        folded = fold(lines)
    except RepairTheFolder as problem:
        yield Finding("damaged", problem.message)
        return
    labels = {entry.path: entry.label for entry in record.entries}
    told = [
        f"{labels.get(one.path, 'an answer')} ({one.path}) is {shortened(one.journal)} in the journal and "
        f"{shortened(one.sheet)} in the record"
        for one in differing(folded, record.sheet)
    ]
    kept = [change.at for change in record.given.changes if change.what.startswith(CORRECTED)]
    if kept != [correction.at for correction in folded.corrections]:
        told.append("the corrections are not those of the journal")
    if canonical(_plain(said_of(folded))) != canonical(_plain(record.given.said)):
        told.append("who said the answers, and how they came, is not as in the journal")
    if told:
        yield Finding("damaged", f"The record is not what was entered: {'; '.join(told)}.")
        return
    count = len(folded.corrections)
    yield Finding(
        "note",
        f"The journal of {len(lines)} lines folds to the sheet of the record; "
        f"{count or 'no'} correction{'s' * (count != 1)}.",
    )


def _plain(said: Mapping[str, Said]) -> dict[str, dict[str, str]]:
    return {path: asdict(one) for path, one in said.items()}
