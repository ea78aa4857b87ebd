"""What comparing two instruments costs: Passing-Bablok on recorded values, and errors in both co-ordinates.

Run: python tests/benchmarks/bench_comparison.py [--quick]    (needs the test extras; two minutes, 3 GB)
Passing-Bablok stands beside the obvious way, all pairs as whole numbers, sorted, with the same tie rules;
errors in both beside odrpack. Results are compared before anything is timed, and a difference ends the run
with status 1; the sides run in turns, medians. A year of quarter hours runs in a fresh process, for the
memory it takes above the imports. The goals are those of the design.
"""

from __future__ import annotations

import json
import math
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import odrpack

from wqverify.calculations.errors_in_both import errors_in_both
from wqverify.calculations.passing_bablok import passing_bablok

YEAR = 35_040  # quarter hours
Z95 = statistics.NormalDist().inv_cdf(0.975)


# ---------------------------------------------------------------- records


def wandering(n: int, seed: int, spread: float, noise: float, step: float) -> tuple[Any, Any]:
    """A level that wanders (first order, 0.995), read by two instruments to a step, as whole steps."""
    random = np.random.default_rng(seed)
    kicks = random.normal(0, spread * math.sqrt(1 - 0.995**2), n)
    level = np.empty(n)
    at = 0.0
    for k in range(n):
        at = 0.995 * at + kicks[k]
        level[k] = at
    first = 7.3 + level + random.normal(0, noise, n)
    second = 7.32 + 1.01 * level + random.normal(0, noise, n)
    return tuple(np.rint(one / step).astype(np.int64) for one in (first, second))


RECORDS: dict[str, Callable[[int], tuple[Any, Any]]] = {
    "pH to 0.01": lambda n: wandering(n, 1, 0.10, 0.02, 0.01),
    "flow to 5 figures": lambda n: wandering(n, 2, 1.5, 0.05, 0.0001),
}


def in_a_fresh_process(process: str) -> tuple[float, float, list[str]]:
    """Seconds and MB above the imports of one line of a year, in a fresh process."""
    done = subprocess.run(
        [sys.executable, __file__, "--one", process], capture_output=True, text=True, check=True
    )
    seconds, mb, line = json.loads(done.stdout)
    return seconds, mb, line


def one(name: str) -> None:
    """In the fresh process: the largest memory while it ran above that before, as Linux counts it."""
    x, y = RECORDS[name](YEAR)
    Path("/proc/self/clear_refs").write_text("5")  # the peak counts from here, without that of the imports
    before = memory_mb("VmRSS")
    start = time.perf_counter()
    found = passing_bablok(x, y)
    took = time.perf_counter() - start
    print(json.dumps([took, memory_mb("VmHWM") - before, [str(found.slope), str(found.intercept)]]))


def memory_mb(kind: str) -> float:
    lines = Path("/proc/self/status").read_text("ascii").splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith(f"{kind}:"))


# ---------------------------------------------------------------- the obvious way


def sorted_pairs(x: Any, y: Any) -> tuple[Fraction, Fraction | None, Fraction | None]:
    """All pairs in whole numbers: equal points and slope -1 dropped, vertical as +infinity; sorted."""
    n = len(x)
    parts = []
    for i in range(n - 1):
        dx, dy = x[i + 1 :] - x[i], y[i + 1 :] - y[i]
        kept = (dx != -dy) & ((dx != 0) | (dy != 0))
        parts.append(np.stack([dx[kept], dy[kept]]))
    dx, dy = np.concatenate(parts, axis=1)
    del parts
    with np.errstate(divide="ignore"):
        slope = np.where(dx == 0, np.inf, dy / dx)
    order = np.argsort(slope)
    count, offset = len(slope), int((slope < -1).sum())

    def at(rank: int) -> Fraction | None:
        place = order[rank + offset - 1]
        return Fraction(int(dy[place]), int(dx[place])) if dx[place] else None

    m1 = round((count - Z95 * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)) / 2)
    middle = [at((count + 1) // 2), at(count // 2 + 1)]
    assert middle[0] is not None
    assert middle[1] is not None
    return (middle[0] + middle[1]) / 2, at(m1), at(count - m1 + 1)


def by_odrpack(x: Any, y: Any, u_x: Any, u_y: Any, start: Any, **settings: float) -> Any:
    """Exact derivatives, which is its fastest way here and the one that reaches 1e-8."""
    return odrpack.odr_fit(
        lambda at, beta: beta[0] + beta[1] * at,
        x,
        y,
        start,
        weight_x=1 / u_x**2,
        weight_y=1 / u_y**2,
        jac_beta=lambda at, _beta: np.stack([np.ones_like(at), at]),
        jac_x=lambda at, beta: np.full_like(at, beta[1]),
        **settings,
    )


# ---------------------------------------------------------------- side by side


def in_turns(rounds: int, **tasks: Callable[[], Any]) -> dict[str, float]:
    taken: dict[str, list[float]] = {name: [] for name in tasks}
    for _ in range(rounds):
        for name, task in tasks.items():
            start = time.perf_counter()
            task()
            taken[name].append(time.perf_counter() - start)
    return {name: statistics.median(times) for name, times in taken.items()}


def ranks(n: int, rounds: int, goal: bool) -> None:
    for name, record in RECORDS.items():
        x, y = record(n)
        found, slow = passing_bablok(x, y), sorted_pairs(x, y)
        if (found.slope, found.slope_low, found.slope_high) != slow:
            raise SystemExit(f"Passing-Bablok, {name}: the two sides differ, nothing was timed")
        took = in_turns(
            rounds, ours=lambda x=x, y=y: passing_bablok(x, y), theirs=lambda x=x, y=y: sorted_pairs(x, y)
        )
        ratio = took["theirs"] / took["ours"]
        print(
            f"Passing-Bablok, n = {n}, {name}: wqverify {took['ours'] * 1e3:.1f} ms, all pairs sorted "
            f"{took['theirs'] * 1e3:.0f} ms, {ratio:.0f} times faster{' (goal 30)' if goal else ''}"
        )


def year() -> None:
    for name in RECORDS:
        seconds, mb, line = in_a_fresh_process(name)
        found = passing_bablok(*RECORDS[name](YEAR))
        if line != [str(found.slope), str(found.intercept)]:
            raise SystemExit(f"Passing-Bablok, {name}: a fresh process finds another line")
        print(
            f"Passing-Bablok, n = {YEAR}, {name}, fresh process: {seconds * 1e3:.0f} ms (goal 1000), "
            f"{mb:.0f} MB above the imports (goal 200)"
        )


def both(n: int, rounds: int) -> None:
    random = np.random.default_rng(3)
    level = random.uniform(0.5, 5, n)
    u_x, u_y = 0.02 + 0.02 * level, 0.03 + 0.01 * level
    x = level + u_x * random.normal(size=n)
    y = 0.1 + 1.03 * level + u_y * random.normal(size=n)
    start = np.array([0.0, 1.0])
    line = errors_in_both(x, y, u_x, u_y)
    close = by_odrpack(x, y, u_x, u_y, start, sstol=1e-12)
    if not abs(line.b - close.beta[1]) <= 1e-8:
        raise SystemExit("errors in both: the two sides differ, nothing was timed")
    rough = by_odrpack(x, y, u_x, u_y, start)
    took = in_turns(
        rounds,
        ours=lambda: errors_in_both(x, y, u_x, u_y),
        close=lambda: by_odrpack(x, y, u_x, u_y, start, sstol=1e-12),
        rough=lambda: by_odrpack(x, y, u_x, u_y, start),
    )
    for name, reference in (("close", close), ("rough", rough)):
        settings = "its sum of squares to 1e-12" if name == "close" else "as it comes"
        print(
            f"errors in both, n = {n}: wqverify {took['ours'] * 1e3:.2f} ms, odrpack, {settings} "
            f"{took[name] * 1e3:.1f} ms, {took[name] / took['ours']:.0f} times faster (goal 10); slopes "
            f"{abs(line.b - reference.beta[1]):.1e} apart"
        )


def main() -> None:
    quick = "--quick" in sys.argv
    print(f"load average {os.getloadavg()[0]:.2f}")
    ranks(1000 if quick else 10_000, 3 if quick else 5, goal=not quick)
    year()
    both(10_000, 5 if quick else 21)
    print(f"load average {os.getloadavg()[0]:.2f}")


if __name__ == "__main__":
    if "--one" in sys.argv:
        one(sys.argv[-1])
    else:
        main()
