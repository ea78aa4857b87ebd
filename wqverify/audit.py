"""Examine a signed file against itself and the book; run records again, one or many."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from wqverify.book import Book, RecordState, open_book
from wqverify.errors import ChooseAnother
from wqverify.plant.folder import Plant
from wqverify.records.canonical import digest
from wqverify.records.rerun import Answer, Rerun, page_again, rerun
from wqverify.signing.examine import Examination, Finding, examine

Tell = Callable[[str], None]


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
    findings = [*examination.findings]
    if plant is not None:
        findings += against_book(data, number, examination, open_book(plant.book, plant.device))
    return Examined(path, number, examination, tuple(findings))


def read_pdf(path: Path) -> bytes:
    """Return the bytes of a file; raises ChooseAnother when it is not there."""
    try:
        return path.read_bytes()
    except OSError as problem:
        raise ChooseAnother(
            f"{path} cannot be read ({problem.strerror}); name the PDF of a record.", where=str(path)
        ) from problem


def _number(examination: Examination) -> str:
    try:
        return str(json.loads(examination.attachments["record.json"])["number"])
    except (KeyError, ValueError, TypeError):
        return "?"


def against_book(data: bytes, number: str, examination: Examination, book: Book) -> Iterator[Finding]:
    """Yield what the book says about a file: altered, cut back, unknown, or the newest one."""
    state = book.find(number)
    if state is None:
        yield Finding("damaged", f"The book does not know a record {number}.")
        return
    record = examination.attachments.get("record.json", b"")
    if digest(record) != state.record_digest:
        yield Finding("damaged", f"The record.json in the file is not the one entered as {number}.")
    known = {event.body.get("pdf"): event.event for event in state.events if "pdf" in event.body}
    this = digest(data)
    if this == state.file_digest:
        yield Finding("note", f"The file is the newest one the book holds of {number}: {state.state}.")
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


# ---------------------------------------------------------------- run again


def rerun_file(path: Path) -> Rerun:
    """Run a record again from its PDF alone: attachments, page and calculation."""
    found = examine(read_pdf(path), None)
    record = found.attachments.get("record.json")
    if record is None:
        return Rerun(path.name, Answer.COULD_NOT, "the file holds no record.json")
    answer = rerun(record, _slices(found.attachments))
    same, page = page_again(record, found.attachments, found.page)
    if not same:
        return Rerun(answer.number, Answer.UNEXPLAINED, page, answer.differences)
    return Rerun(answer.number, answer.answer, answer.reason, answer.differences, page)


def _slices(attachments: dict[str, bytes] | object) -> dict[str, bytes]:
    names = dict(attachments)  # type: ignore[call-overload]
    return {
        name: data
        for name, data in names.items()
        if name not in ("record.json", "executed.ipynb") and not name.startswith("chart-")
    }


def rerun_stored(book: Book, numbers: Iterable[str]) -> Iterator[Rerun]:
    """Run stored records again, one after the other; damaged bytes are not computed with."""
    for number in numbers:
        state = book.find(number)
        if state is None:
            raise ChooseAnother(f"The book does not know a record {number}; `wqverify book list` shows them.")
        data = book.stored(number)
        if digest(data) != state.record_digest:
            yield Rerun(number, Answer.COULD_NOT, "its stored bytes are not those that were entered")
        else:
            yield rerun(data)


def numbers_of(book: Book, month: str = "") -> list[str]:
    """Return the numbers of all records, or of those whose work was done in a month (YYYY-MM, plant time)."""
    return [s.number for s in book.records() if not month or s.performed.startswith(month)]


def with_pages(plant: Plant, state: RecordState, answer: Rerun) -> Rerun:
    """Add to the answer of a stored record what its file on disk shows when it is rendered again."""
    return answer


def count(answers: Iterable[Rerun]) -> dict[Answer, int]:
    """Return how often each answer came."""
    counted = dict.fromkeys(Answer, 0)
    for one in answers:
        counted[one.answer] += 1
    return counted
