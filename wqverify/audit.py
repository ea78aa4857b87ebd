"""Examine a signed file against itself and the book; run records again, one or many."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from wqverify import pages
from wqverify.acts.joins import joins_of
from wqverify.acts.keys import ISSUED, MADE, WITHDRAWN
from wqverify.book import (
    Anchor,
    Book,
    Entry,
    RecordState,
    StoredRecord,
    compare_anchors,
    has_book,
    open_book,
    verify,
)
from wqverify.entry.fold import fold
from wqverify.entry.journal import ATTACHED, read_journal
from wqverify.entry.told import CORRECTED, differing, said_of
from wqverify.errors import ChooseAnother, CorrectTheEntry, RepairTheFolder, ResultsDiffer, WqverifyError
from wqverify.plant.files import shortened
from wqverify.plant.folder import Plant
from wqverify.records.canonical import canonical, digest, record_from
from wqverify.records.rerun import Answer, Rerun, page_again, rerun
from wqverify.signing.examine import Examination, Finding, attachments_of, examine
from wqverify.terms import Said, Slices

LIST = "withdrawn.crl"


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


# ---------------------------------------------------------------- the book


def book_of(plant: Plant) -> Book:
    """Return the book of a plant folder; raises RepairTheFolder where there is none yet."""
    return open_book(plant.book, plant.device)


def unfinished(plant: Plant) -> list[str]:
    """Say what an interrupted command left behind and what becomes of it."""
    if not has_book(plant.book):
        return []
    book = book_of(plant)
    left = [f"{path.name}: {what}" for path, what in pages.unfinished(plant.folder, book)]
    return [*left, *(one.told for one in joins_of(plant.folder, book) if not one.ended)]


def examine_book(plant: Plant, handed_out: Path | None, anchors: Sequence[str]) -> list[Finding]:
    """Recompute the chains, compare the pages on disk, the digests held outside and the pages handed out."""
    book = book_of(plant)
    told = [_anchor(text) for text in anchors]
    inside = verify(book)
    findings = [Finding(f.severity, f.text) for f in inside]
    if any(f.severity == "damaged" for f in inside):
        return findings  # what is read out of a damaged book says nothing about files
    if handed_out is not None:
        outside, strange = compare_pages(book, handed_out)
        told += outside
        findings += strange
    findings += [Finding(f.severity, f.text) for f in compare_anchors(book, told)]
    findings += compare_certificates(plant, book)
    left = pages.unfinished(plant.folder, book)
    findings += [Finding("note", f"Unfinished: {path.name}: {what}.") for path, what in left]
    open_joins = [one for one in joins_of(plant.folder, book) if not one.ended]
    findings += [Finding("note", f"Unfinished: {one.told}.") for one in open_joins]
    waiting = {path.stem for path, what in left if what == pages.NOT_IN_PLACE}
    for state in book.records():
        if f"{state.number}.pdf" in waiting:
            continue  # the newest page is there, beside its place
        try:
            pages.page_of(plant.folder, state.number, state.file_digest)
        except WqverifyError as problem:
            findings.append(Finding("damaged", problem.message))
    return findings


def _anchor(text: str) -> Anchor:
    chain, _, rest = text.partition(":")
    seq, _, known = rest.partition(":")
    if not (chain and re.fullmatch(r"[0-9]{1,15}", seq) and known):
        raise CorrectTheEntry(
            f"{shortened(text)} is not a digest held outside; `wqverify book head` prints one as "
            f"CHAIN:SEQ:DIGEST.",
            found=text,
            expected="CHAIN:SEQ:DIGEST",
        )
    return Anchor(chain, int(seq), known, "the digest told on the command line")


def compare_pages(book: Book, folder: Path) -> tuple[list[Anchor], list[Finding]]:
    """Return the previous digests on the pages in a folder, and what is wrong between them and the book."""
    anchors: list[Anchor] = []
    findings: list[Finding] = []
    for path in sorted(folder.glob("*.pdf")):
        data = examine(read_pdf(path), None).attachments.get("record.json", b"")
        try:
            record = record_from(data)
        except ResultsDiffer:
            findings.append(Finding("note", f"{path.name} holds no readable record; it was not compared."))
            continue
        previous, state = record.previous, book.find(record.number)
        if previous.seq:
            anchors.append(Anchor(previous.chain, previous.seq, previous.digest, path.name))
        if state is None:
            text = f"The book does not know {record.number}, of which {path.name} was handed out."
            findings.append(Finding("damaged", text))
        elif state.digest != digest(data):
            text = f"The record.json in {path.name} is not the one entered as {record.number}."
            findings.append(Finding("damaged", text))
    return anchors, findings


def compare_certificates(plant: Plant, book: Book) -> Iterator[Finding]:
    """Yield what is wrong with certificates and withdrawal list: the newest ones entered, and no others."""
    told = book.events(MADE, ISSUED, WITHDRAWN)
    if not told:
        return
    folder = plant.folder / "certificates"
    entered = _entered(told)
    there = {path.name for path in folder.glob("*") if path.suffix in (".pem", ".crl")}
    for name in sorted(entered.keys() | there):
        if name not in there:
            yield Finding("damaged", f"certificates/{name} is missing; put its newest copy back.")
        elif digest((folder / name).read_bytes()) not in entered.get(name, set()):
            yield Finding("damaged", f"certificates/{name} is not the one entered into the book.")
    if len(entered[LIST]) > 1:
        yield Finding(
            "note",
            "Two devices have a withdrawal list each: withdraw on the one what the other withdrew, so that "
            "examinations know of it on both.",
        )


def _entered(told: Sequence[Entry]) -> dict[str, set[str]]:
    """Return of each file the digests it may have: of a key in force, and the newest list of each device."""
    gone = {entry.body["certificate"] for entry in told if entry.event == WITHDRAWN}
    entered: dict[str, set[str]] = {}
    for entry in told:
        names = entered.setdefault(f"{entry.body['by']}.pem", set())
        names.add(str(entry.body["certificate"]))
    for name, digests in entered.items():
        entered[name] = digests - gone or digests
    newest = {entry.chain: str(entry.body["withdrawn_list"]) for entry in told}
    return entered | {LIST: set(newest.values())}


# ---------------------------------------------------------------- run again


def rerun_file(path: Path) -> Rerun:
    """Run a record again from its PDF alone: attachments as signed, page and calculation."""
    return _whole(read_pdf(path), path.name)


def _whole(pdf: bytes, name: str) -> Rerun:
    found = examine(pdf, None)
    attached = dict(found.attachments)
    if "record.json" not in attached:
        return Rerun(name, Answer.COULD_NOT, "the file holds no record.json")
    answer = rerun(attached["record.json"], lambda: _slices(attached), whole=True)
    if answer.answer is Answer.COULD_NOT:
        return answer
    wrong = [finding.text for finding in found.findings if finding.severity == "damaged"]
    try:
        good, page = page_again(attached["record.json"], attached, found.page, found.places)
    except WqverifyError as problem:
        return replace(answer, answer=Answer.COULD_NOT, reason=problem.message)
    if wrong or not good:
        return replace(answer, answer=Answer.UNEXPLAINED, reason=wrong[0] if wrong else page)
    return replace(answer, page=page)


def _slices(attached: Mapping[str, bytes]) -> dict[str, bytes]:
    """What a computation was handed besides sheet and given: attachments that no run of a notebook made."""
    made = ("record.json", "executed.ipynb", ATTACHED)
    return {n: data for n, data in attached.items() if n not in made and not n.startswith("chart-")}


def insist_on_month(month: str) -> None:
    """Raise CorrectTheEntry for anything but a month such as 2026-03, or nothing."""
    if month and not re.fullmatch(r"[0-9]{4}-(0[1-9]|1[0-2])", month):
        raise CorrectTheEntry(f"{month[:40]!r} is not a month; type it as 2026-03.", found=month[:40])


def list_records(plant: Plant, month: str) -> list[RecordState]:
    """Return the records of the book, or those whose work was done in a month of plant time."""
    insist_on_month(month)
    return list(book_of(plant).records(month))


def rerun_book(plant: Plant, numbers: Sequence[str], month: str, with_pages: bool) -> Iterator[Rerun]:
    """Run records of the book again from their stored bytes: some, those of a month, or all.

    ``month`` is the month of the work in plant time. With pages, the file on disk is compared as well.
    """
    book = book_of(plant)
    insist_on_month(month)
    stored = [_stored(book, n) for n in numbers] if numbers else book.iterate_stored(month)
    ended = {e.record: f"{e.event} since {e.at[:10]}" for e in book.events("superseded", "voided")}
    for one in stored:
        if digest(one.data) != one.digest:
            reason = "its stored bytes are not those that were entered"
            answer = Rerun(one.number, Answer.COULD_NOT, reason)
        else:
            answer = _from_disk(plant, book, one) if with_pages else rerun(one.data, _kept(plant, book, one))
        yield replace(answer, note=ended[one.number]) if one.number in ended else answer


def _stored(book: Book, number: str) -> StoredRecord:
    state = book.find(number)
    if state is None:
        raise ChooseAnother(f"{number} is not in the book; `wqverify book list` shows what is.", found=number)
    return StoredRecord(number, state.digest, book.stored(number))


def _from_disk(plant: Plant, book: Book, one: StoredRecord) -> Rerun:
    try:
        pdf = _page(plant, book, one.number)
    except WqverifyError as problem:
        return Rerun(one.number, Answer.COULD_NOT, problem.message)
    return _whole(pdf, one.number)


def _page(plant: Plant, book: Book, number: str) -> bytes:
    state = book.find(number)
    return pages.page_of(plant.folder, number, state.file_digest if state is not None else "")


def _kept(plant: Plant, book: Book, one: StoredRecord) -> Callable[[], Slices]:
    """The slices of a record: they are kept in its page."""
    return lambda: _slices(attachments_of(_page(plant, book, one.number)))


def count(answers: Iterable[Rerun]) -> dict[Answer, int]:
    """Return how often each answer came."""
    counted = dict.fromkeys(Answer, 0)
    for one in answers:
        counted[one.answer] += 1
    return counted
