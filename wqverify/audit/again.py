"""Run records again: from a PDF alone, or a book as a stream, in this process or in chunks on several.

One record in, one answer out, in the order of the book; what is kept in memory does not grow with the book.
"""

from __future__ import annotations

import gc
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from wqverify import pages
from wqverify.audit.reading import book_of, insist_on_month, read_pdf
from wqverify.audit.workers import HERE, Workers
from wqverify.book import Book, StoredRecord
from wqverify.entry.journal import ATTACHED
from wqverify.errors import ChooseAnother, RepairTheFolder, ResultsDiffer, WqverifyError
from wqverify.plant.folder import Plant
from wqverify.records.as_now import as_now
from wqverify.records.canonical import digest, record_from
from wqverify.records.rerun import Answer, AsNow, Rerun, page_again, rerun
from wqverify.signing.examine import attachments_of, examine
from wqverify.terms import Analyzer, Slices

CHUNK = 64  # records handed to a worker at a time, or fewer where they are
CHUNK_BYTES = 2_000_000  # more than this: a cluster warns of messages of 10 MB


@dataclass(frozen=True, slots=True)
class How:
    """How records are run again: with their pages, and as of today where there is a ``register``."""

    pages: bool = False
    register: Mapping[str, Analyzer] | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """One record to run again; ``page`` is its PDF where that is needed, ``wrong`` why it was not read.

    ``slices`` stand for those of the page where there is no page.
    """

    stored: StoredRecord
    page: bytes = b""
    wrong: str = ""
    note: str = ""
    slices: Slices = field(default_factory=dict)

    @property
    def size(self) -> int:
        return len(self.stored.data) + len(self.page)


# ---------------------------------------------------------------- one file


def rerun_file(path: Path, register: Mapping[str, Analyzer] | None = None) -> Rerun:
    """Run a record again from its PDF alone: attachments as signed, page and calculation."""
    return _whole(read_pdf(path), path.name, register)


def _whole(pdf: bytes, name: str, register: Mapping[str, Analyzer] | None = None) -> Rerun:
    found = examine(pdf, None)
    attached = dict(found.attachments)
    if "record.json" not in attached:
        return Rerun(name, Answer.COULD_NOT, "the file holds no record.json")
    answer = rerun(attached["record.json"], lambda: slices_in(attached), whole=True)
    if answer.answer is Answer.COULD_NOT:
        return answer
    answer = _with_now(answer, attached["record.json"], slices_in(attached), register)
    wrong = [finding.text for finding in found.findings if finding.severity == "damaged"]
    try:
        good, page = page_again(attached["record.json"], attached, found.page, found.places)
    except WqverifyError as problem:
        return replace(answer, answer=Answer.COULD_NOT, reason=problem.message)
    if wrong or not good:
        return replace(answer, answer=Answer.UNEXPLAINED, reason=wrong[0] if wrong else page)
    return replace(answer, page=page)


def slices_in(attached: Mapping[str, bytes]) -> dict[str, bytes]:
    """What a computation was handed besides sheet and given: attachments that no run of a notebook made."""
    made = ("record.json", "executed.ipynb", ATTACHED)
    return {n: data for n, data in attached.items() if n not in made and not n.startswith("chart-")}


# ---------------------------------------------------------------- the book


def rerun_book(
    plant: Plant,
    numbers: Sequence[str] = (),
    month: str = "",
    how: How | None = None,
    workers: Workers = HERE,
) -> Iterator[Rerun]:
    """Run records of the book again from their stored bytes: some, those of a month, or all.

    ``month`` is the month of the work in plant time. With pages, the file on disk is compared as well. A
    record that cannot be read or computed is answered so, and the next one follows.
    """
    book, how = book_of(plant), how or How()
    yield from workers.in_order(run_chunk, how, chunks(jobs(plant, book, numbers, month, how.pages)))


def jobs(
    plant: Plant, book: Book, numbers: Sequence[str], month: str, with_pages: bool = False
) -> Iterator[Job]:
    """Yield what is needed to run each record again, read from the book and beside it."""
    insist_on_month(month)
    insist_on_known(book, numbers)
    ended, otherwise = _ended(book)
    each = (one for number in numbers for one in book.iterate_stored(numbers=[number]))
    for stored in each if numbers else book.iterate_stored(month):
        page, wrong = b"", stored.wrong
        if not wrong and (with_pages or needs_slices(stored.data)):
            try:
                page = _page(plant, book, stored.number)
            except WqverifyError as problem:
                wrong = problem.message
        yield Job(stored, page, wrong, ended.get(stored.number, otherwise))


def _ended(book: Book) -> tuple[dict[str, str], str]:
    """What the book says of records that do not stand any more, and of all others."""
    try:
        ended = book.events("superseded", "voided")
    except RepairTheFolder:
        return {}, "in a book that is damaged, so that whether it stands cannot be read"
    return {e.record: f"{e.event} since {e.at[:10]}" for e in ended}, ""


def insist_on_known(book: Book, numbers: Sequence[str]) -> None:
    """Raise ChooseAnother for the first number that is not in the book."""
    for number in numbers:
        if book.find(number) is None:
            raise ChooseAnother(
                f"{number} is not in the book; `wqverify book list` shows what is.", found=number
            )


def needs_slices(record: bytes) -> bool:
    """Whether canonical bytes of a record name slices, which are kept in its page, without reading them."""
    return b'"attached":{"' in record


def _page(plant: Plant, book: Book, number: str) -> bytes:
    state = book.find(number)
    return pages.page_of(plant.folder, number, state.file_digest if state is not None else "")


def chunks(every: Iterable[Job]) -> Iterator[list[Job]]:
    """Yield jobs in chunks of at most CHUNK records and, but for one longer record, CHUNK_BYTES."""
    chunk: list[Job] = []
    size = 0
    for job in every:
        if chunk and (len(chunk) == CHUNK or size + job.size > CHUNK_BYTES):
            yield chunk
            chunk, size = [], 0
        chunk.append(job)
        size += job.size
    if chunk:
        yield chunk


# ---------------------------------------------------------------- in a worker


def run_chunk(how: How, some: Sequence[Job]) -> list[Rerun]:
    """Run some records again, one after the other; what a worker does."""
    with few_collections():
        return [run_job(how, job) for job in some]


def run_job(how: How, job: Job) -> Rerun:
    """Run one record again; whatever is wrong with it is its answer."""
    number, data = job.stored.number, job.stored.data
    if job.wrong:
        answer = Rerun(number, Answer.COULD_NOT, job.wrong)
    elif digest(data) != job.stored.digest:
        answer = Rerun(number, Answer.COULD_NOT, "its stored bytes are not those that were entered")
    elif how.pages:
        answer = _whole(job.page, number, how.register)
    else:
        slices = slices_of(job)
        answer = slices if isinstance(slices, Rerun) else _calculated(data, slices, how.register)
    return replace(answer, note=job.note) if job.note else answer


def _calculated(data: bytes, slices: Slices, register: Mapping[str, Analyzer] | None) -> Rerun:
    return _with_now(rerun(data, lambda: slices), data, slices, register)


def slices_of(job: Job) -> Slices | Rerun:
    """Return what a record was computed with besides sheet and given, or the answer that it is lost."""
    if not job.page:
        return job.slices
    try:
        return slices_in(attachments_of(job.page))
    except ResultsDiffer as problem:
        return Rerun(job.stored.number, Answer.COULD_NOT, problem.message)


def _with_now(answer: Rerun, data: bytes, slices: Slices, register: Mapping[str, Analyzer] | None) -> Rerun:
    if register is None:
        return answer
    if answer.answer is Answer.COULD_NOT:
        return replace(answer, now=AsNow(reason="it could not be run as then either"))
    same = answer.answer is Answer.REPRODUCED
    return replace(answer, now=as_now(record_from(data), slices, register, reproduced=same))


@contextmanager
def few_collections() -> Iterator[None]:
    """Look for cycles seldom: a record makes ten thousand objects and no cycle (10 % of the time)."""
    before = gc.get_threshold()
    gc.set_threshold(100_000, 20, 100)
    try:
        yield
    finally:
        gc.set_threshold(*before)


def count(answers: Iterable[Rerun]) -> dict[Answer, int]:
    """Return how often each answer came."""
    counted = dict.fromkeys(Answer, 0)
    for one in answers:
        counted[one.answer] += 1
    return counted
