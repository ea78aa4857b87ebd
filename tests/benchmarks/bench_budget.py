"""What one uncertainty budget costs, against GTC: one at a time and 10 000 as arrays.

Run: python tests/benchmarks/bench_budget.py [--quick]    (needs the test extras; under a minute)
Both sides build their inputs anew for each record and give value, u and effective degrees of freedom of the
error at the process value of a pH check (13 causes, 2 of them with finite degrees of freedom). They run in
turns; medians; results are compared before anything is timed, and a difference ends the run with status 1.
"""

from __future__ import annotations

import math
import os
import statistics
import sys
import time
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import GTC
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))  # helpers of the tests, not the package
import ph_model

from wqverify.calculations.dual import Dual
from wqverify.calculations.uncertainty import effective_dof, propagate, propagate_many

INPUTS = {
    **ph_model.INPUTS,
    "read 7": replace(ph_model.INPUTS["read 7"], dof=12.0),
    "read 10": replace(ph_model.INPUTS["read 10"], dof=12.0),
}
NAME = "by displays"


def straight(nodes: Any, t: Any) -> Any:
    """The same table for GTC's numbers."""
    xs = [x for x, _y in nodes]
    index = min(bisect_right(xs, t.x), len(xs) - 1) - 1
    (x0, y0), (x1, y1) = nodes[index], nodes[index + 1]
    return y0 + (t - x0) * ((y1 - y0) / (x1 - x0))


def ours(values: dict[str, float]) -> tuple[float, float, float]:
    """Value, u and effective degrees of freedom alone."""
    out = ph_model.at_process({cause: Dual(value, {cause: 1.0}) for cause, value in values.items()})[NAME]
    parts = [slope * INPUTS[cause].u for cause, slope in out.d.items()]
    nu = effective_dof(parts, [INPUTS[cause].dof for cause in out.d])
    return out.v, math.sqrt(math.fsum([p * p for p in parts])), math.inf if nu is None else nu


def theirs(values: dict[str, float]) -> tuple[float, float, float]:
    x = {
        c: GTC.ureal(value, INPUTS[c].u, math.inf if INPUTS[c].dof is None else INPUTS[c].dof)
        for c, value in values.items()
    }
    out = ph_model.at_process(x, straight)[NAME]
    return out.x, out.u, out.df


def theirs_with_budget(values: dict[str, float]) -> Any:
    x = {c: GTC.ureal(value, INPUTS[c].u, math.inf, label=c) for c, value in values.items()}
    return GTC.reporting.budget(ph_model.at_process(x, straight)[NAME])


def compare(got: tuple[Any, ...], expected: tuple[Any, ...], what: str) -> None:
    value, u, nu = (np.asarray(part, float) for part in got)
    value_2, u_2, nu_2 = (np.asarray(part, float) for part in expected)
    many = np.where(nu_2 >= 1e6, np.inf, np.floor(nu_2 + 1e-6))
    if not (
        np.allclose(value, value_2, rtol=1e-9, atol=1e-12)
        and np.allclose(u, u_2, rtol=1e-9, atol=0)
        and (nu == many).all()
    ):
        raise SystemExit(f"{what}: the two sides differ, nothing was timed")


def interleaved(rounds: int, repeat: int, **tasks: Callable[[], Any]) -> dict[str, float]:
    taken: dict[str, list[float]] = {name: [] for name in tasks}
    for _ in range(rounds):
        for name, task in tasks.items():
            start = time.perf_counter()
            for _ in range(repeat):
                task()
            taken[name].append((time.perf_counter() - start) / repeat)
    return {name: statistics.median(times) for name, times in taken.items()}


def main() -> None:
    quick = "--quick" in sys.argv
    print(f"load average {os.getloadavg()[0]:.2f}")
    at = {cause: given.value for cause, given in INPUTS.items()}
    compare(ours(at), theirs(at), "one budget")
    whole = propagate(ph_model.at_process, INPUTS, ph_model.UNITS)[NAME]
    compare((whole.value, whole.u, whole.dof), theirs(at), "one Quantity")
    six = propagate(ph_model.model, INPUTS, ph_model.UNITS)
    took = interleaved(
        5 if quick else 15,
        50 if quick else 300,
        wqverify=lambda: ours(at),
        GTC=lambda: theirs(at),
        GTC_with_budget=lambda: theirs_with_budget(at),
        whole_Quantity=lambda: propagate(ph_model.at_process, INPUTS, ph_model.UNITS),
        stage=lambda: propagate(ph_model.model, INPUTS, ph_model.UNITS),
    )
    us = {name: seconds * 1e6 for name, seconds in took.items()}
    print(f"one pH budget of {len(INPUTS)} causes: value, u, effective degrees of freedom")
    print(f"  wqverify {us['wqverify']:8.1f} us   GTC {us['GTC']:8.1f} us", end="")
    print(f"   {us['GTC'] / us['wqverify']:6.1f} times faster (goal 5)")
    print("the same as a Quantity with its budget, coverage and rounding, through propagate()")
    print(f"  wqverify {us['whole_Quantity']:8.1f} us   GTC {us['GTC_with_budget']:8.1f} us", end="")
    print(f"   {us['GTC_with_budget'] / us['whole_Quantity']:6.1f} times faster")
    print(f"all {len(six)} quantities of a stage, each with its budget: {us['stage']:.1f} us")

    n = 1000 if quick else 10_000
    generator = np.random.default_rng(7)
    u = {cause: given.u for cause, given in INPUTS.items()}
    dof = {cause: given.dof for cause, given in INPUTS.items()}
    arrays = {cause: value + 0.5 * u[cause] * generator.standard_normal(n) for cause, value in at.items()}
    rows = [{cause: float(column[k]) for cause, column in arrays.items()} for k in range(n)]

    def at_once() -> tuple[Any, ...]:
        return propagate_many(ph_model.at_process, arrays, u, dof)[NAME]

    compare(at_once(), tuple(zip(*map(theirs, rows), strict=True)), f"{n} budgets")
    took = interleaved(
        3 if quick else 7,
        1,
        wqverify=lambda: [at_once() for _ in range(20)],
        GTC=lambda: [theirs(row) for row in rows],
    )
    one, other = took["wqverify"] / 20, took["GTC"]
    print(f"{n} budgets as arrays: value, u, effective degrees of freedom")
    print(
        f"  wqverify {one * 1e3:8.2f} ms   GTC {other * 1e3:8.0f} ms   {other / one:6.0f} times faster",
        end="",
    )
    print(" (goal 500)" if not quick else "")
    print(f"load average {os.getloadavg()[0]:.2f}")


if __name__ == "__main__":
    main()
