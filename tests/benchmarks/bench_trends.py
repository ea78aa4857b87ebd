"""Per-tag monthly mean and share above a limit from a long CSV: DuckDB against pandas.

Run: python tests/benchmarks/bench_trends.py [--quick]    (synthetic; 26 280 000 rows, 1 GB, some minutes)
pandas reads with the C engine and parse_dates, once as it comes and once with categories told. All run in
turns from the warm cache; results are compared before anything is timed, and a difference ends the run with
status 1. DuckDB uses every core, pandas one: on a machine that is busy the ratio says little.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from wqverify.trends import ExportOptions
from wqverify.trends.kept import copy_at_hand, digest_of, parquet_copy
from wqverify.trends.large import LongCsv, cut_of, long_csv, monthly
from wqverify.trends.slices import cut

LIMIT = 0.3
Figures = dict[tuple[str, str], tuple[int, float, float]]


def write_export(path: Path, tags: int, minutes: int) -> None:
    """Minute data of many tags in the order of time, with three decimals."""
    values = "round(0.08 + 0.05 * ((m * (t + 3) * 2654435761) % 1000) / 1000.0 + t * 0.01, 3)"
    duckdb.connect().execute(
        f"COPY (SELECT strftime(TIMESTAMP '2026-01-01' + m * INTERVAL 1 MINUTE, '%Y-%m-%d %H:%M:%S') "
        f"AS timestamp, 'AIT-' || (2100 + t) AS tag, {values} AS value, 'good' AS quality "
        f"FROM range({minutes}) a(m), range({tags}) b(t) ORDER BY m, t) TO '{path}' (FORMAT csv, HEADER)"
    )


def ours(source: LongCsv, copy: Path | None = None) -> Figures:
    return {(m.tag, m.month): (m.n, m.mean or 0.0, m.share or 0.0) for m in monthly(source, LIMIT, copy)}


def theirs(path: Path, *, categories: bool) -> Figures:
    kinds = {"tag": "category", "quality": "category"}
    frame = pd.read_csv(path, engine="c", parse_dates=["timestamp"], dtype=kinds if categories else None)
    frame["month"] = month_of(frame)
    frame["above"] = frame["value"] > LIMIT
    table = frame.groupby(["tag", "month"], observed=True).agg(
        n=("value", "count"), mean=("value", "mean"), share=("above", "mean")
    )
    return {key: (int(n), mean, share) for key, n, mean, share in table.itertuples(name=None)}


def month_of(frame: pd.DataFrame) -> pd.Series:
    """Months as numbers first: text for each of 26 million rows would burden pandas for nothing."""
    months = frame["timestamp"].to_numpy().astype("datetime64[M]")
    return pd.Series(pd.Categorical.from_codes(*codes_of(months)), index=frame.index)


def codes_of(months: np.ndarray) -> tuple[np.ndarray, list[str]]:
    first = months.min()
    codes = (months - first).astype(np.int32)
    return codes, [str(first + n) for n in range(int(codes.max()) + 1)]


def compare(one: Figures, other: Figures) -> None:
    same = one.keys() == other.keys() and all(
        one[key][0] == other[key][0] and np.allclose(one[key][1:], other[key][1:], rtol=1e-9, atol=0)
        for key in one
    )
    if not same:
        raise SystemExit("the two sides differ, nothing was timed")


def in_turns(rounds: int, **tasks: Callable[[], object]) -> dict[str, float]:
    taken: dict[str, list[float]] = {name: [] for name in tasks}
    for _ in range(rounds):
        for name, task in tasks.items():
            start = time.perf_counter()
            task()
            taken[name].append(time.perf_counter() - start)
    return {name: statistics.median(times) for name, times in taken.items()}


def main(folder: Path) -> None:
    quick = "--quick" in sys.argv
    tags, minutes = (10, 20_000) if quick else (50, 525_600)
    path = folder / "long.csv"
    write_export(path, tags, minutes)
    options = ExportOptions(time_zone="-05:00")
    source = long_csv(path, options)
    print(
        f"load {os.getloadavg()[0]:.1f}; {tags * minutes} rows, {path.stat().st_size / 1e6:.0f} MB, synthetic"
    )
    compare(ours(source), theirs(path, categories=True))
    compare(ours(source), theirs(path, categories=False))
    took = in_turns(
        3,
        wqverify=lambda: ours(source),
        pandas=lambda: theirs(path, categories=False),
        with_categories=lambda: theirs(path, categories=True),
    )
    print("per-tag monthly mean and share above a limit")
    print(f"  wqverify {took['wqverify']:7.2f} s")
    for name in ("pandas", "with_categories"):
        ratio = took[name] / took["wqverify"]
        print(f"  {name.replace('_', ' '):16s} {took[name]:7.2f} s   {ratio:5.1f} times slower (goal 4)")
    start = time.perf_counter()
    copy, _made = parquet_copy(source)
    print(f"  Parquet copy {time.perf_counter() - start:7.2f} s, {copy.stat().st_size / 1e6:.0f} MB")
    compare(ours(source, copy), ours(source))
    slice_of_a_fortnight(source, copy)


def slice_of_a_fortnight(source: LongCsv, copy: Path) -> None:
    """One tag out of all: from the export, and from its copy; equal before it is timed."""
    start = datetime(2026, 1, 5, tzinfo=UTC)
    end = start + timedelta(days=14)
    asked = ("AIT-2101", start, end)
    plain, kept = cut_of(source, *asked), cut_of(source, *asked, copy)
    if cut(plain, *asked[1:]) != cut(kept, *asked[1:]):
        raise SystemExit("the slices of export and copy differ, nothing was timed")
    took = in_turns(
        7,
        monthly_from_the_copy=lambda: ours(source, copy),
        digest_of_the_export=lambda: digest_of(source.path),
        slice_from_the_export=lambda: cut_of(source, *asked),
        slice_from_the_copy=lambda: cut_of(source, *asked, copy),
        look_at_first_rows=lambda: long_csv(source.path, source.options),
        find_the_copy=lambda: copy_at_hand(source),
    )
    print(f"one tag, 14 days, {len(kept)} rows")
    for name, seconds in took.items():
        print(f"  {name.replace('_', ' '):24s} {seconds:7.3f} s")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        main(Path(name))
