"""What one record costs from field sheet to page, against a bare papermill run.

Run: python tests/benchmarks/bench_run.py [--quick]    (3 rounds instead of 11; the goal is at most 1.3 times)
Both sides are fresh processes in turns. The bare run executes a notebook that imports the same modules and
does nothing else, in a fresh kernel with an immediate shutdown; once with the kernel reached as wqverify does
(IPC, without the grammar of an optional check of web addresses) and once as papermill is installed.
"""

from __future__ import annotations

import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # helpers of the tests, not the package

from plant_example import plant_in, sheet_of

BARE = """
import sys
{quick}
import papermill
from traitlets.config import Config
config = Config({transport})
papermill.execute_notebook(
    sys.argv[1], sys.argv[2], kernel_name="python3", progress_bar=False,
    shutdown_kernel="immediate", config=config,
)
"""
AS_WE_DO = BARE.format(
    quick='sys.modules["rfc3987_syntax"] = None', transport='{"KernelManager": {"transport": "ipc"}}'
)
AS_INSTALLED = BARE.format(quick="", transport="")
SEEN = """
import json, sys
from IPython.display import display
before = set(sys.modules)
from wqverify.records import workbook
visits = workbook.open_cases([], "ph_calibration")
workbook.show(visits, "Checks")
workbook.show_charts(visits)
workbook.emit(visits)
print("\\n" + json.dumps(sorted(n for n in set(sys.modules) - before if not n.startswith("_"))))
"""


def bare_notebook(folder: Path) -> Path:
    """Write a notebook that imports what the shipped one has imported when it has run, and does nothing."""
    said = subprocess.run([sys.executable, "-c", SEEN], capture_output=True, text=True, check=True).stdout
    modules = json.loads(said.splitlines()[-1])
    print(f"the notebook imports {len(modules)} modules")
    lines = ["import importlib", f"for name in {modules!r}:", "    importlib.import_module(name)"]
    cells = [
        {
            "cell_type": "code",
            "id": "only",
            "metadata": {},
            "execution_count": None,
            "outputs": [],
            "source": "\n".join(lines),
        }
    ]
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    path = folder / "bare.ipynb"
    document = {"cells": cells, "metadata": {"kernelspec": kernel}, "nbformat": 4, "nbformat_minor": 5}
    path.write_text(json.dumps(document), "utf-8")
    return path


def seconds(command: list[str], cwd: Path) -> float:
    begun = time.perf_counter()
    subprocess.run(command, cwd=cwd, capture_output=True, check=True)
    return time.perf_counter() - begun


def where_time_goes(folder: Path, sheet: str) -> None:
    """Print how long each step of one run takes, in a process that has nothing imported."""
    code = (
        "import time; begun = time.perf_counter(); import sys; from pathlib import Path\n"
        "from datetime import datetime, UTC\n"
        "def tell(step): print(f'  {time.perf_counter() - begun:6.2f} s  {step}')\n"
        "from wqverify import acts; from wqverify.plant.folder import open_plant; tell('imported acts')\n"
        "acts.perform(open_plant(Path('.')), [Path(sys.argv[1])], datetime.now(UTC), tell)\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, sheet],
        cwd=folder,
        capture_output=True,
        text=True,
        check=True,
    )
    print("one run, seconds since the beginning at which each step begins:")
    print(told.stdout.rstrip())


def main(rounds: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        plant = plant_in(folder / "plant")
        wqverify = str(Path(sys.executable).with_name("wqverify"))
        bare = str(bare_notebook(folder))
        out = str(folder / "out.ipynb")
        sheet = str(sheet_of(plant, "fail"))
        sides = {
            "wqverify run": [wqverify, "run", sheet],
            "bare papermill, reached as we do": [sys.executable, "-c", AS_WE_DO, bare, out],
            "bare papermill as installed": [sys.executable, "-c", AS_INSTALLED, bare, out],
        }
        taken: dict[str, list[float]] = {side: [] for side in sides}
        for number in range(rounds + 1):
            for side, command in sides.items():
                shutil.rmtree(plant.folder / "book")
                (plant.folder / "book").mkdir()
                spent = seconds(command, plant.folder)
                if number:  # the first round reads everything from the disk
                    taken[side].append(spent)
        medians = {side: statistics.median(times) for side, times in taken.items()}
        print(f"load {os.getloadavg()[0]:.1f}; medians of {rounds} interleaved rounds, fresh processes:")
        ours = medians["wqverify run"]
        for side, median in medians.items():
            print(f"  {side:<34}{median:6.2f} s{'' if median == ours else f'   ratio {ours / median:.2f}'}")
        shutil.rmtree(plant.folder / "book")
        (plant.folder / "book").mkdir()
        where_time_goes(plant.folder, sheet)


if __name__ == "__main__":
    main(3 if "--quick" in sys.argv else 11)
