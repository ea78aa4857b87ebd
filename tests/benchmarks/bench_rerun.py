"""What running stored records again costs, and what bounds it: 10 000 of the demo's size in one process.

Run: python tests/benchmarks/bench_rerun.py [--quick]    (200 records instead; the goal is 0.5 ms a record)

The goal is met by a short record (preparation 0.3 ms), nearly by a usual one (turbidity check 0.6 ms) and
missed by long ones (pH in two buffers 1.3 ms, a loop 13 ms; the demo month 1.6 ms, 1.1 ms without its loop).
Since the demo month also holds a month of turbidity (115 ms, 10 000 recordings of it), values in doubt
(26 ms) and a loop (15 ms), its 38 records take 5.2 ms on average and 1.1 ms without these three; runs above a
limit, once found, are kept: a month takes 31 ms where it took 37 (its demo run).
Half of it is the computation: some 2 000 small steps of Python a record, a line of a budget 1.4 us, no step
above a tenth. Reading the record is 0.2 ms, letting its objects go 0.1 ms, asking which checks are expected
0.1 ms, comparing 0.02 ms. Looking for cycles seldom took a tenth away, computing a loop once half of a loop.
What is left is divided, not shortened: --processes.
"""

from __future__ import annotations

import cProfile
import io
import os
import pstats
import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # helpers of the tests, not the package

from plant_example import MONTH, NOW, bytes_of, plant_in

from wqverify.book import Book, open_book
from wqverify.demo.ph_visits import ph_visits
from wqverify.lists.audit_month import _made_now
from wqverify.procedures import PROCEDURES
from wqverify.procedures.sheets import parse
from wqverify.records.canonical import digest, record_from
from wqverify.records.record import Case, compute
from wqverify.records.rerun import Answer, rerun

AT_ONCE = 500  # records entered in one transaction
A_YEAR = 2_000  # records of one year: the next number of a year is counted


def filled(folder: Path, samples: list[bytes], count: int) -> Book:
    """Return a book that holds the demo's records over and over, each under a number of its own."""
    book = open_book(folder / "book.sqlite", "L1", create=True)
    for start in range(0, count, AT_ONCE):
        with book.writing() as writer:
            for n in range(start, min(start + AT_ONCE, count)):
                number = writer.next_number(2026 + n // A_YEAR)
                data = samples[n % len(samples)].replace(b'"L1-2026-0001"', f'"{number}"'.encode())
                body = {
                    "by": "T-07",
                    "tag": "AIT-2101",
                    "serial": "EL-0417",
                    "procedure": "ph_calibration",
                    "visit": number,
                    "performed": NOW.isoformat(),
                }
                at = NOW.isoformat()
                writer.append("performed", key=number, record=number, at=at, stored=data, body=body)
    return book


def run_all(book: Book) -> tuple[float, Counter[str]]:
    """Run every record again as ``wqverify rerun --all`` does; seconds and answers."""
    answers: Counter[str] = Counter()
    begun = time.perf_counter()
    for one in book.iterate_stored():
        answers[str(rerun(one.data).answer) if digest(one.data) == one.digest else "altered"] += 1
    return time.perf_counter() - begun, answers


def parts(samples: list[bytes], rounds: int) -> dict[str, float]:
    """Return the median milliseconds of each part of running one record again, mean over the samples."""
    sums: dict[str, float] = {}
    for data in samples:
        made = record_from(data)
        procedure, given = PROCEDURES[made.procedure], made.given
        typed = dict(made.sheet)
        sheet, result = parse(procedure, typed), compute(Case(procedure, typed, given))
        tasks: dict[str, Any] = {
            "the whole": lambda data=data: rerun(data),
            "read the record": lambda data=data: record_from(data),
            "check the sheet": lambda p=procedure, typed=typed: parse(p, typed),
            "compute the result": lambda p=procedure, s=sheet, g=given: p.compute(s, g, {}),
            "compare": lambda made=made, again=result: made.result == again,
        }
        for name, task in tasks.items():
            taken = []
            for _ in range(rounds):
                begun = time.perf_counter()
                task()
                taken.append(time.perf_counter() - begun)
            sums[name] = sums.get(name, 0.0) + statistics.median(taken) * 1e3
    return {name: total / len(samples) for name, total in sums.items()}


def by_procedure(rounds: int) -> Iterator[tuple[str, float]]:
    """Give the least milliseconds of running one record of each procedure again: its demo run."""
    for job in _made_now():
        taken = []
        for _ in range(rounds):
            begun = time.perf_counter()
            answer = rerun(job.stored.data, lambda job=job: job.slices)
            taken.append(time.perf_counter() - begun)
        assert answer.answer is Answer.REPRODUCED, answer
        yield record_from(job.stored.data).procedure, min(taken) * 1e3


def profiled(samples: list[bytes], rounds: int, lines: int = 15) -> str:
    """Return where the time goes, the functions with most time of their own first."""
    profile = cProfile.Profile()
    profile.enable()
    for _ in range(rounds):
        for data in samples:
            rerun(data)
    profile.disable()
    out = io.StringIO()
    pstats.Stats(profile, stream=out).strip_dirs().sort_stats("tottime").print_stats(lines)
    return out.getvalue()[out.getvalue().index("ncalls") :].rstrip()


def main(count: int, rounds: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        plant = plant_in(Path(folder) / "plant")
        samples = [bytes_of(plant, visit.name) for visit in ph_visits(MONTH)]
        records = [record_from(data) for data in samples]
        quantities = [c.quantity for r in records for c in r.result.checks if c.quantity is not None]
        each = len(records)
        print(f"load {os.getloadavg()[0]:.1f}; {each} records of the demo, mean of one:")
        print(
            f"  {sum(map(len, samples)) / each / 1000:.0f} kB, {len(quantities) / each:.0f} quantities, "
            f"{sum(len(q.budget) for q in quantities) / each:.0f} lines of budget"
        )
        for name, taken in parts(samples, rounds).items():
            print(f"  {name:<34}{taken:7.2f} ms")
        for name, least in by_procedure(min(rounds, 10)):
            print(f"  demo run of {name:<28}{least:7.2f} ms at least")
        book = filled(Path(folder), samples, count)
        seconds, answers = run_all(book)
        each_ms = seconds / count * 1e3
        print(f"{count} records from the book in one process: {seconds:.1f} s, {each_ms:.2f} ms each")
        print(f"answers: {dict(answers)}; load {os.getloadavg()[0]:.1f}")
        print("profile (its own cost is in it; shares count, not times):")
        print(profiled(samples, rounds))
    if answers != {"reproduced": count}:
        sys.exit("not every record was reproduced")


if __name__ == "__main__":
    quick = "--quick" in sys.argv
    main(200 if quick else 10_000, 10 if quick else 60)
