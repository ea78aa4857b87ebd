"""Examine the book: its chains, the pages beside it, certificates, and what is held outside."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from wqverify import pages
from wqverify.acts.joins import joins_of
from wqverify.acts.keys import ISSUED, MADE, WITHDRAWN
from wqverify.acts.proof import FOLDER as PROOFS
from wqverify.acts.proof import PROVED
from wqverify.audit.reading import book_of, read_pdf
from wqverify.book import Anchor, Book, Entry, RecordState, compare_anchors, has_book, undecided, verify
from wqverify.errors import CorrectTheEntry, ResultsDiffer, WqverifyError
from wqverify.plant.files import shortened
from wqverify.plant.folder import Plant
from wqverify.records.canonical import digest, record_from
from wqverify.records.findable import told_otherwise
from wqverify.signing.examine import Finding, examine

LIST = "withdrawn.crl"


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
    findings += _proofs(plant, book)
    left = pages.unfinished(plant.folder, book)
    findings += [Finding("note", f"Unfinished: {path.name}: {what}.") for path, what in left]
    open_joins = [one for one in joins_of(plant.folder, book) if not one.ended]
    findings += [Finding("note", f"Unfinished: {one.told}.") for one in open_joins]
    findings += [Finding("note", f"Decided on two devices: {sentence}") for sentence in undecided(book)]
    waiting = {path.stem for path, what in left if what == pages.NOT_IN_PLACE}
    for state in book.records():
        findings += _told_otherwise(book, state)
        if f"{state.number}.pdf" in waiting:
            continue  # the newest page is there, beside its place
        try:
            pages.page_of(plant.folder, state.number, state.file_digest)
        except WqverifyError as problem:
            findings.append(Finding("damaged", problem.message))
    return findings


def _told_otherwise(book: Book, state: RecordState) -> Iterator[Finding]:
    """Compare what an entry tells of its record with the record: a chain can be written anew as a whole."""
    try:
        wrong = told_otherwise(state.body, record_from(book.stored(state.number)))
    except ResultsDiffer:
        wrong = []  # a record of another format: what its entry tells of it is not known here
    if wrong:
        text = f"{state.number}: its entry tells its {', '.join(wrong)} otherwise than its record.json."
        yield Finding("damaged", text)


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


def _proofs(plant: Plant, book: Book) -> Iterator[Finding]:
    """A proof must be the one entered; one that is lost is still in the book."""
    for entry in book.events(PROVED):
        path = plant.folder / PROOFS / str(entry.body["file"])
        if not path.is_file():
            text = f"{PROOFS}/{path.name} is not in this folder; the book keeps what it said."
            yield Finding("note", text)
        elif digest(path.read_bytes()) != entry.body["stored"]:
            yield Finding("damaged", f"{PROOFS}/{path.name} is not the one entered into the book.")
