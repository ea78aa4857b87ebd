"""Four signal tests on a tag-year of minutes: against ioos_qc, all flags equal, and the memory each takes.

Run: python tests/benchmarks/bench_signal_quality.py [--quick]        (synthetic; a minute)
Gross range, spike, rate of change, and flat line of 1 h and 4 h on 525 600 rows with gaps, spikes and flat
stretches. All flags are compared before anything is timed, and a difference ends the run with status 1. The
two sides run in turns; ioos_qc needs memory in proportion to the window, which is why 4 h is the longest
here.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
import tracemalloc
import warnings
from collections.abc import Callable
from functools import partial

import numpy as np

from wqverify.calculations.signal_quality import flat_line, gross_range, rate_of_change, spike

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of what it imports itself
    from ioos_qc import qartod

Flags = list[np.ndarray]
FAIL, EXPECTED, SPIKE, RATE, FLAT, TOLERANCE = (0, 5), (0.01, 1.0), (0.03, 0.2), 0.0005, (3600, 14400), 0.0005


def tag_year(rows: int) -> tuple[np.ndarray, np.ndarray]:
    """A turbidity of three decimals with spikes, missing rows, and flat stretches of 10 min to 3 days."""
    random = np.random.default_rng(20261127)
    drift = np.cumsum(random.normal(0, 0.0003, rows))
    x = np.round(0.08 + 0.03 * np.sin(np.arange(rows) / 9000) + 0.02 * np.tanh(drift), 3)
    x += np.round(random.normal(0, 0.0015, rows), 3)
    x[random.integers(0, rows, rows // 2000)] += 0.5
    for start, long in zip(random.integers(0, rows, 60), random.integers(10, 4320, 60), strict=True):
        x[start : start + long] = x[start]
    x[random.integers(0, rows, rows // 500)] = np.nan
    return np.round(x, 3), np.arange(rows, dtype=np.int64) * 60 + 1_767_225_600


def ours(x: np.ndarray, t: np.ndarray) -> Flags:
    return [
        gross_range(x, FAIL, EXPECTED),
        spike(x, *SPIKE),
        rate_of_change(x, t, RATE),
        flat_line(x, t, *FLAT, TOLERANCE),
    ]


def theirs(x: np.ndarray, stamps: np.ndarray) -> Flags:
    return [
        np.asarray(qartod.gross_range_test(x, FAIL, EXPECTED)),
        np.asarray(qartod.spike_test(x, *SPIKE)),
        np.asarray(qartod.rate_of_change_test(x, stamps, RATE)),
        np.asarray(qartod.flat_line_test(x, stamps, *FLAT, TOLERANCE)),
    ]


def seconds(task: Callable[[], object]) -> float:
    start = time.perf_counter()
    task()
    return time.perf_counter() - start


def most_bytes(task: Callable[[], object]) -> int:
    tracemalloc.start()
    task()
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most


def main() -> None:
    quick = "--quick" in sys.argv
    rows = 20_000 if quick else 525_600
    x, t = tag_year(rows)
    stamps = t.astype("datetime64[s]")
    same = [bool((one == two).all()) for one, two in zip(ours(x, t), theirs(x, stamps), strict=True)]
    if not all(same):
        raise SystemExit(f"flags differ, nothing was timed: {same}")
    counts = [np.unique(flags, return_counts=True) for flags in ours(x, t)]
    print(f"load {os.getloadavg()[0]:.1f}; {rows} rows, synthetic; all flags of four tests are equal")
    for name, (flags, n) in zip(("gross range", "spike", "rate", "flat line"), counts, strict=True):
        print(f"  {name:12s} " + ", ".join(f"flag {f}: {c}" for f, c in zip(flags, n, strict=True)))
    took: dict[str, list[float]] = {"wqverify": [], "ioos_qc": []}
    for _ in range(2 if quick else 7):
        took["wqverify"].append(seconds(lambda: ours(x, t)))
        took["ioos_qc"].append(seconds(lambda: theirs(x, stamps)))
    mine, other = (statistics.median(times) for times in took.values())
    print(f"  wqverify {mine * 1e3:8.1f} ms")
    print(f"  ioos_qc  {other * 1e3:8.1f} ms   {other / mine:5.0f} times slower (goal 50)")
    for name, task in (("wqverify", lambda: ours(x, t)), ("ioos_qc", lambda: theirs(x, stamps))):
        print(f"  most memory {name:9s} {most_bytes(task) / rows:8.0f} bytes a row (tracemalloc)")
    for part in (rows // 4, rows // 2, rows):
        most = most_bytes(partial(ours, x[:part], t[:part]))
        print(f"  most memory wqverify, {part:7d} rows: {most / 1e6:6.1f} MB")


if __name__ == "__main__":
    main()
