"""What running a whole book again costs, and that it is linear with flat memory: 1 000 to 100 000 records.

Run: python tests/benchmarks/bench_audit.py [--quick | 1000 10000 ...]    (100 000 records need 3 GB of disk)

The records are those of the demo month over and over, each under its own number; those that keep slices are
left out, as their page would have to be opened too (timed by itself). Each size runs in a process of its own,
so that its greatest memory is its own. Dask runs on a cluster of two workers of this computer.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # helpers of the tests, not the package

from bench_rerun import filled
from plant_example import MONTH, bytes_of, case_of, plant_in

from wqverify.audit import How, Workers, count, rerun_book
from wqverify.demo.visits import visits
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.plant.folder import Plant, open_plant
from wqverify.records.canonical import record_from

AS_NOW = "as now"


def of_the_month(plant: Plant) -> list[bytes]:
    """The records of the demo month that keep no slice and rest on no visit before them."""
    found = []
    for name in (visit.name for visit in visits(MONTH) if not visit.skipped):
        try:
            case = case_of(plant, name)
            found += [] if case.slices else [bytes_of(plant, name)]
        except (ChooseAnother, CorrectTheEntry):  # a standard assigned earlier, an export not yet there
            continue
    return found


def run(folder: Path, processes: int, dask: str, now: str) -> dict[str, Any]:
    """Run a book again in this process; seconds after imports, greatest memory in MB, answers."""
    plant = open_plant(folder)
    how = How(register=plant.analyzers if now else None)
    next(iter(rerun_book(plant, how=how)))  # imports
    begun, busy = time.perf_counter(), time.process_time()
    counted = count(rerun_book(plant, how=how, workers=Workers(processes, dask)))
    seconds, busy = time.perf_counter() - begun, time.process_time() - busy
    status = Path("/proc/self/status").read_text("ascii")
    peak = int(status.split("VmHWM:")[1].split()[0]) / 1024
    answers = {str(answer): number for answer, number in counted.items() if number}
    return {"seconds": seconds, "busy": busy, "MB": peak, "answers": answers}


def in_own_process(folder: Path, processes: int = 1, dask: str = "", now: str = "") -> dict[str, Any]:
    command = [sys.executable, __file__, "--run", str(folder), str(processes), dask, now]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return dict(json.loads(done.stdout.splitlines()[-1]))


def tell(what: str, size: int, found: dict[str, Any]) -> None:
    each, busy = (found[key] / size * 1e3 for key in ("seconds", "busy"))
    print(
        f"  {what:<20}{size:>8} records {found['seconds']:8.1f} s {each:7.2f} ms each, "
        f"this process busy {busy:.2f} ms, at most {found['MB']:.0f} MB",
        flush=True,
    )
    if found["answers"] != {"reproduced": size}:
        sys.exit(f"not every record was reproduced: {found['answers']}")


def main(sizes: list[int], quick: bool) -> None:
    print(f"load {os.getloadavg()[0]:.1f}, {os.cpu_count()} cores")
    peaks = []
    for size in sizes:
        with tempfile.TemporaryDirectory() as folder:
            plant = plant_in(Path(folder) / "plant")
            samples = of_the_month(plant)
            kinds = Counter(record_from(data).procedure for data in samples)
            print(f"{sum(map(len, samples)) / len(samples) / 1e3:.0f} kB a record; {dict(kinds)}")
            place = Path(plant.book).parent
            place.mkdir(exist_ok=True)
            filled(place, samples, size)
            found = in_own_process(plant.folder)
            peaks.append(found["MB"])
            tell("one process", size, found)
            tell("two processes", size, in_own_process(plant.folder, 2))
            if size == sizes[0] and not quick:
                tell("as then and as now", size, in_own_process(plant.folder, now=AS_NOW))
            if size <= 10_000:
                with_dask(plant.folder, size, quick)
    print(
        f"memory of one process: {', '.join(map(str, map(round, peaks)))} MB; load {os.getloadavg()[0]:.1f}"
    )
    if max(peaks) > min(peaks) + 60:
        sys.exit("memory grows with the book")


def with_dask(folder: Path, size: int, quick: bool) -> None:
    from distributed import LocalCluster

    begun = time.perf_counter()
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        started = time.perf_counter() - begun
        tell("Dask, two workers", size, in_own_process(folder, dask=cluster.scheduler_address))
        if not quick:
            tell("Dask, once more", size, in_own_process(folder, dask=cluster.scheduler_address))
    print(f"  (its workers took {started:.1f} s to start; the first run is with their imports)")


if __name__ == "__main__":
    if "--run" in sys.argv:
        _script, _run, where, many, address, today = sys.argv
        print(json.dumps(run(Path(where), int(many), address, today)))
    else:
        typed = [int(one) for one in sys.argv[1:] if one.isdecimal()]
        quick = "--quick" in sys.argv
        main([100] if quick else typed or [1_000, 10_000, 100_000], quick)
