"""A random sample of records through their notebooks: the second way of computing, too slow for all of them.

A record is run again by its calculation alone; a kernel takes seconds. The seed is told, so that the same
sample can be drawn again.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from wqverify.audit.again import Job, jobs, slices_of
from wqverify.audit.reading import book_of, insist_on_month
from wqverify.errors import CorrectTheEntry, WqverifyError
from wqverify.plant.folder import Plant
from wqverify.procedures import PROCEDURES
from wqverify.records.canonical import digest, record_from, result_from
from wqverify.records.notebook import execute
from wqverify.records.record import Case
from wqverify.records.rerun import BROKEN, Answer, Rerun, compared, upgraded
from wqverify.terms import Record

SEEDS = 1_000_000
ANOTHER = "the notebook of today is another one than the record was made with"


@dataclass(frozen=True)
class Sample:
    """The records that were drawn, of how many, by which seed."""

    seed: int
    of: int
    numbers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Waiting:
    job: Job
    made: Record
    case: Case


def draw(plant: Plant, size: int, seed: int | None, numbers: Sequence[str] = (), month: str = "") -> Sample:
    """Draw a sample of the records of a month, of some, or of all; without a seed one is drawn too.

    Raises CorrectTheEntry for a size below 1. A sample larger than the whole is the whole.
    """
    if size < 1:
        raise CorrectTheEntry(f"A sample holds 1 record or more, not {size}.", found=str(size))
    insist_on_month(month)
    every = sorted(set(numbers or book_of(plant).numbers_of(month)))
    chosen = random.SystemRandom().randrange(SEEDS) if seed is None else seed
    drawn = random.Random(chosen).sample(every, min(size, len(every)))
    return Sample(chosen, len(every), tuple(sorted(drawn)))


def through_notebooks(
    plant: Plant, sample: Sample, tell: Callable[[str], None] = lambda _step: None
) -> Iterator[Rerun]:
    """Execute the notebook of each record of a sample and compare its result with the recorded one.

    One kernel serves all records of a procedure; where it stops, each of them gets its own.
    """
    waiting: dict[str, list[_Waiting]] = {}
    for job in jobs(plant, book_of(plant), sample.numbers, ""):
        ready = _ready(job)
        if isinstance(ready, Rerun):
            yield ready
        else:
            waiting.setdefault(ready.made.procedure, []).append(ready)
    for procedure, some in waiting.items():
        tell(f"executing the notebook of {procedure} for {len(some)} record{'s' * (len(some) > 1)}")
        try:
            yield from _executed(procedure, some)
        except WqverifyError as problem:
            if len(some) == 1:
                yield Rerun(some[0].made.number, Answer.COULD_NOT, problem.message)
                continue
            tell(f"executing it once for each of them, because it stopped: {problem.message}")
            for one in some:
                yield _alone(procedure, one)


def _alone(procedure: str, one: _Waiting) -> Rerun:
    try:
        return _executed(procedure, [one])[0]
    except WqverifyError as problem:
        return Rerun(one.made.number, Answer.COULD_NOT, problem.message)


def _ready(job: Job) -> _Waiting | Rerun:
    """A record as a case for its notebook, or why it is none."""
    number = job.stored.number
    if job.wrong or digest(job.stored.data) != job.stored.digest:
        reason = job.wrong or "its stored bytes are not those that were entered"
        return Rerun(number, Answer.COULD_NOT, reason)
    slices = slices_of(job)
    if isinstance(slices, Rerun):
        return slices
    try:
        made = record_from(job.stored.data)
        procedure = PROCEDURES[made.procedure]
        sheet = upgraded(procedure, dict(made.sheet), made.revision)
        return _Waiting(job, made, Case(procedure, sheet, made.given, slices))
    except WqverifyError as problem:
        return Rerun(number, Answer.COULD_NOT, problem.message)
    except BROKEN as problem:
        return Rerun(number, Answer.COULD_NOT, f"it is no case for a notebook ({problem})")


def _executed(procedure: str, some: Sequence[_Waiting]) -> list[Rerun]:
    executed = execute(procedure, [one.case.plain() for one in some])
    return [
        _compared(one, result, executed.digest) for one, result in zip(some, executed.results, strict=True)
    ]


def _compared(one: _Waiting, shown: object, notebook: str) -> Rerun:
    answer = compared(one.job.stored.data, one.made, result_from(shown), None, one.case.procedure)
    if answer.answer is Answer.REPRODUCED and one.made.software.notebook_digest != notebook:
        return replace(answer, reason=ANOTHER)
    return answer
