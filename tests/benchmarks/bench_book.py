"""What writing, reading, finding and examining a book costs, and what reading one record costs.

Run: python tests/benchmarks/bench_book.py [--quick]    (medians; 10 000 records take a minute; quick: 300)

The next number of a year is that of the newest record, found by an index: 0.09 ms of 20 000 in a file,
0.22 ms on a server. To count them took 0.78 ms and 5.7 ms, twice for each record, and grew with the year.
"""

from __future__ import annotations

import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from wqverify.book import Book, compare_anchors, open_book, verify
from wqverify.records.canonical import (
    canonical,
    given_from,
    plain_from,
    record_from,
    record_to_bytes,
    to_plain,
)
from wqverify.terms import (
    Analyzer,
    BudgetLine,
    Check,
    Entry,
    Outcome,
    Previous,
    Quantity,
    Record,
    Result,
    Site,
    Software,
    Standard,
    Tolerance,
)

AT = "2026-07-14T10:00:00-04:00"


def sample(checks: int = 10, lines: int = 10) -> Record:
    """A record of about 40 kB: ten checks, each with a budget of ten lines."""
    source = "certificate of lot 2231, k = 2"
    budget = tuple(
        BudgetLine(
            f"value of lot {n}", 7 + n / 7, 0.0123, "normal", 9.0, n / 3, 0.004115, "certificate", source
        )
        for n in range(1, lines + 1)
    )
    quantity = Quantity("-0.043", "pH", -0.0432222, 0.0211, 37.0, 2.07, "0.044", budget)
    tolerance = Tolerance("pH", "guarded", "local", "plant protocol 12")
    one = Check("", "as_found", "error", Outcome.PASS, "analyzer", "7.02", "7.00", quantity, tolerance)
    result = Result(tuple(replace(one, key=f"as_found.buffer.{n}") for n in range(checks)))
    analyzer: Any = {"tag": "AIT-2101", "serial": "EX-20417", "kind": "pH", "measures": "pH", "unit": "pH"}
    standard: Any = {"kind": "buffer", "lot": "2231", "unit": "pH", "expanded": "0.010", "k": "2"}
    plain = {
        "format": 1,
        "site": to_plain(Site("Ellodale", "America/New_York", 10, True)),
        "analyzer": {**analyzer, "low": "0", "high": "14.00", "location": "filter gallery"},
        "standards": {b: {**standard, "id": b, "name": b} for b in ("4.01", "7.00", "10.01")},
    }
    given = given_from(plain)
    assert isinstance(given.analyzer, Analyzer)
    assert isinstance(given.standards["7.00"], Standard)
    typed = tuple(Entry(f"as_found.buffers.{n}.reading", "reading as shown", "7.02", "pH") for n in range(60))
    made_by = Software("0.1.0", "3.11", "0.15.2", "ph_calibration.ipynb", "c" * 64)
    return Record(
        1, 1, "L1-2026-0001", "visit", "ph_calibration", "pH calibration", 1, AT, AT, "P1",
        {"tag": "AIT-2101"}, typed, (), given, result, made_by, Previous("L1", 3, "d" * 64),
    )  # fmt: skip


def interleaved(rounds: int, **tasks: Callable[[], Any]) -> None:
    """Run the tasks in turns and print the median of each."""
    times: dict[str, list[float]] = {name: [] for name in tasks}
    for _ in range(rounds):
        for name, task in tasks.items():
            start = time.perf_counter()
            task()
            times[name].append(time.perf_counter() - start)
    for name, taken in times.items():
        print(f"  {name.replace('_', ' '):38s} {statistics.median(taken) * 1e3:9.3f} ms")


def bench_codec() -> None:
    record = sample()
    data = record_to_bytes(record)
    plain = json.loads(data)
    bare = TypeAdapter(Record)
    print(f"one record of {len(data) / 1000:.0f} kB")
    interleaved(
        200,
        json_loads=lambda: json.loads(data),
        plain_from=lambda: plain_from(data),
        record_from=lambda: record_from(data),
        pydantic_as_it_is_validate_json=lambda: bare.validate_json(data),
        given_from=lambda: given_from(plain["given"]),
        to_plain_of_the_result=lambda: to_plain(record.result),
        canonical=lambda: canonical(plain),
    )


def fill(book: Book, count: int, data: bytes) -> None:
    """Enter and sign records, many in one transaction."""
    for start in range(0, count, 500):
        with book.writing() as writer:
            for n in range(start, min(start + 500, count)):
                enter(writer, n, data)


def enter(writer: Any, n: int, data: bytes) -> None:
    number = writer.next_number(2026)
    body = {
        "by": "P1", "pdf": f"{n:064d}", "tag": f"AIT-{n % 20}", "serial": "EX", "procedure": "ph_calibration",
        "visit": f"visit {n}", "performed": f"2026-{n % 12 + 1:02d}-14T09:00-04:00",
        "outcomes": {"as_found at the analyzer": "pass", "as_left at the analyzer": "pass"},
    }  # fmt: skip
    own = data + f" {n}".encode()
    writer.append("performed", key=f"performed {n}", record=number, at=AT, body=body, stored=own)
    writer.append("signed", key=f"signed {n}", record=number, at=AT, body={"by": "P1", "pdf": f"{n:063d}s"})


def bench_book(folder: Path, count: int) -> None:
    data = record_to_bytes(sample())
    book = open_book(folder / "book.sqlite", "L1", create=True)
    counter = iter(range(10**9, 2 * 10**9))

    def one() -> None:
        with book.writing() as writer:
            enter(writer, next(counter), data)

    def next_number() -> None:
        with book.writing() as writer:
            writer.next_number(2026)

    print("empty book")
    interleaved(100, one_record_entered_and_signed=one)
    start = time.perf_counter()
    fill(book, count, data)
    size = Path(book.place).stat().st_size / 1e6
    print(
        f"{count} records, {2 * count} entries, {size:.0f} MB, filled in {time.perf_counter() - start:.1f} s"
    )
    anchor = ("L1", *book.heads()["L1"])
    interleaved(
        20,
        one_record_entered_and_signed=one,
        find=lambda: book.find("L1-2026-0050"),
        stored=lambda: book.stored("L1-2026-0050"),
        last_records=lambda: book.last_records("AIT-7", serial="EX", before="2026-07-01T00:00Z"),
        record_of_visit=lambda: book.record_of_visit("visit 77"),
        open_book=lambda: open_book(book.place, "L1"),
        next_number=next_number,
    )
    interleaved(
        3,
        iterate_stored=lambda: sum(len(each.data) for each in book.iterate_stored()),
        records_with_their_states=lambda: sum(1 for _ in book.records()),
        export_lines=lambda: sum(1 for _ in book.export_lines()),
        verify=lambda: verify(book),
        compare_one_anchor=lambda: compare_anchors(book, [anchor]),
    )
    assert verify(book) == []


if __name__ == "__main__":
    print(f"load {os.getloadavg()[0]:.1f}")
    bench_codec()
    with tempfile.TemporaryDirectory() as name:
        bench_book(Path(name), 300 if "--quick" in sys.argv else 10_000)
