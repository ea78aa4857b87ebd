"""Where chunks of records are run again: in this process, in several here, or on a Dask cluster.

Answers come in the order of the chunks, and only a few chunks are under way at a time, so that memory stays
flat. A worker that is lost loses nothing: its chunk is run here, and so is what follows.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import CancelledError, Executor, Future
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

from wqverify.errors import CorrectTheEntry, CouldNotRun
from wqverify.records.code import software_here

H = TypeVar("H")
J = TypeVar("J")
A = TypeVar("A")
AHEAD = 3  # chunks under way for each worker
MOST = 64  # processes
LOST: tuple[type[BaseException], ...] = (BrokenProcessPool, CancelledError, OSError, TimeoutError)
GONE: tuple[type[BaseException], ...] = (
    *LOST,
    RuntimeError,
)  # what handing over to workers raises that are no more


@dataclass(frozen=True)
class Workers:
    """Where the work is done: ``processes`` here, or the scheduler of a Dask cluster at an address.

    Raises CorrectTheEntry for a number of processes outside 1 to 64, or with both named.
    """

    processes: int = 1
    dask: str = ""

    def __post_init__(self) -> None:
        if not 1 <= self.processes <= MOST:
            raise CorrectTheEntry(
                f"{self.processes} processes cannot be used; choose 1 to {MOST}.", found=str(self.processes)
            )
        if self.dask and self.processes > 1:
            raise CorrectTheEntry("Name a number of processes or a Dask cluster, not both.", found=self.dask)

    def in_order(
        self, work: Callable[[H, Sequence[J]], list[A]], how: H, chunks: Iterable[Sequence[J]]
    ) -> Iterator[A]:
        """Yield what ``work(how, chunk)`` gives for each chunk, in their order."""
        if self.processes == 1 and not self.dask:
            for chunk in chunks:
                yield from work(how, chunk)
            return
        with self._executor() as (executor, count):
            yield from _ahead(executor, count * AHEAD, work, how, chunks)

    @contextmanager
    def _executor(self) -> Iterator[tuple[Executor, int]]:
        if self.dask:
            with _cluster(self.dask) as found:
                yield found
            return
        from concurrent.futures import ProcessPoolExecutor
        from multiprocessing import get_context

        # Spawned, as a fork would take open files of the book and the threads of libraries along.
        with ProcessPoolExecutor(self.processes, mp_context=get_context("spawn")) as pool:
            yield pool, self.processes


HERE = Workers()


def _told(work: Callable[[H, Sequence[J]], list[A]], how: H, chunk: Sequence[J]) -> tuple[str, list[A]]:
    return software_here(), work(how, chunk)


def _ahead(
    executor: Executor,
    most: int,
    work: Callable[[H, Sequence[J]], list[A]],
    how: H,
    chunks: Iterable[Sequence[J]],
) -> Iterator[A]:
    waiting: deque[tuple[Sequence[J], Future[Any] | None]] = deque()
    lost = False
    for chunk in chunks:
        future = None
        if not lost:
            try:
                future = executor.submit(_told, work, how, chunk)
            except GONE:
                lost = True
        waiting.append((chunk, future))
        if len(waiting) > most or lost:
            oldest, under_way = waiting.popleft()
            answers, lost = _answered(oldest, under_way, work, how)
            yield from answers
    while waiting:
        oldest, under_way = waiting.popleft()
        answers, _lost = _answered(oldest, under_way, work, how)
        yield from answers


def _answered(
    chunk: Sequence[J], under_way: Future[Any] | None, work: Callable[[H, Sequence[J]], list[A]], how: H
) -> tuple[list[A], bool]:
    """The answers for a chunk, and whether the workers are lost."""
    if under_way is None:
        return work(how, chunk), True
    lost: tuple[type[BaseException], ...] = (*LOST, *_lost_on_a_cluster())
    try:
        software, answers = under_way.result()
    except lost:
        return work(how, chunk), True
    if software != software_here():
        raise CouldNotRun(
            f"A worker of the cluster runs {software}, this computer {software_here()}; install the same "
            f"version there. Nothing it said was taken.",
            found=software,
            expected=software_here(),
        )
    return answers, False


def _lost_on_a_cluster() -> tuple[type[BaseException], ...]:
    import sys

    scheduler = sys.modules.get("distributed.scheduler")
    return (scheduler.KilledWorker,) if scheduler is not None else ()


@contextmanager
def _cluster(address: str) -> Iterator[tuple[Executor, int]]:
    """A Dask cluster as an executor, with the number of its threads.

    Measured on one computer of two cores, records of 37 kB (tests/benchmarks/bench_audit.py): a record is
    2.1 ms of work in one process; handing it to a cluster costs this computer 0.44 ms, to a process here
    0.10 ms. So a cluster is at most five times as fast, and its workers lose some seconds to starting and
    importing. 10 000 records: 20.8 s in one process, 14.5 s in two, 16.5 s on a cluster of two workers here.
    It pays from some thousand records on, and only with workers on other computers.
    """
    try:
        from distributed import Client
    except ImportError as problem:
        raise CouldNotRun(
            "Dask is not installed here; `pip install 'wqverify[dask]'` installs it. Without it, "
            "--processes uses the cores of this computer.",
        ) from problem
    try:
        client = Client(address, timeout="10s", set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, TimeoutError, ValueError) as problem:
        raise CouldNotRun(
            f"There is no Dask scheduler at {address}: {problem}. Name it as tcp://HOST:PORT.", found=address
        ) from problem
    with client:
        threads = sum(client.nthreads().values())  # type: ignore[no-untyped-call]
        if not threads:
            raise CouldNotRun(f"The Dask scheduler at {address} has no workers; start some.", found=address)
        yield client.get_executor(), threads  # type: ignore[no-untyped-call]
