"""What the page of one record, its chart, its signature places and a stamp cost, after the imports.

Run: python tests/benchmarks/bench_page.py [--quick]    (medians in ms; the goal is a page within 100 ms)
"""

from __future__ import annotations

import json
import os
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import typst

sys.path.insert(0, str(Path(__file__).parents[1]))

from example_record import example

from wqverify.records.canonical import record_to_bytes
from wqverify.show.charts import chart_svg
from wqverify.show.page import make_page, signature_places, stamp_page

LINES = ("Ines Quarrow (T-07)", "I did this work; the readings are those I saw.", "2026-03-03 09:31")


def timed(what: str, run: Callable[[], object], times: int) -> None:
    """Print the first time and the median of the later ones."""
    taken = []
    for _ in range(times + 1):
        begun = time.perf_counter()
        run()
        taken.append((time.perf_counter() - begun) * 1000)
    print(f"{what:<36}{taken[0]:8.0f} first {statistics.median(taken[1:]):8.0f} median")


def main(times: int) -> None:
    record = example()
    data, picture = record_to_bytes(record), chart_svg(record.result.charts[0])
    cells = [{"cell_type": "code", "source": f"# {n}", "outputs": ["x" * 1000]} for n in range(120)]
    files = {"executed.ipynb": json.dumps({"cells": cells}).encode(), "chart-1.svg": picture}
    size = len(make_page(record, data, files)) / 1000
    print(f"load {os.getloadavg()[0]:.1f}; typst {typst.__version__}; page of {size:.0f} kB")
    timed("page", lambda: make_page(record, data, files), times)
    timed("signature places", lambda: signature_places(record, data, files), times)
    timed("stamp", lambda: stamp_page(LINES, 196, 45), times)
    timed("chart", lambda: chart_svg(record.result.charts[0]), times)


if __name__ == "__main__":
    main(5 if "--quick" in sys.argv else 20)
