"""What ``wqverify --help`` costs against an empty click program.

Run: python tests/benchmarks/bench_help.py [--quick]    (15 rounds, or 5; the goal is at most 1.5 times)
Fresh processes in turns, both started the same way; bare Python beside them for the floor.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

EMPTY = """
import click

@click.command()
def cli():
    "Do nothing."

cli()
"""
OURS = "import sys; sys.argv[0] = 'wqverify'; from wqverify.cli import main; main()"


def seconds(command: list[str]) -> float:
    begun = time.perf_counter()
    subprocess.run(command, capture_output=True, check=True)
    return time.perf_counter() - begun


def main(rounds: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        empty, ours = Path(folder) / "empty.py", Path(folder) / "ours.py"  # both without a stored .pyc
        empty.write_text(EMPTY, "utf-8")
        ours.write_text(OURS, "utf-8")
        sides = {
            "wqverify --help": [sys.executable, str(ours), "--help"],
            "an empty click program --help": [sys.executable, str(empty), "--help"],
            "python -c pass": [sys.executable, "-c", "pass"],
        }
        taken: dict[str, list[float]] = {side: [] for side in sides}
        for number in range(rounds + 1):
            for side, command in sides.items():
                spent = seconds(command)
                if number:  # the first round reads everything from the disk
                    taken[side].append(spent)
    medians = {side: statistics.median(times) * 1e3 for side, times in taken.items()}
    print(f"load {os.getloadavg()[0]:.1f}; medians of {rounds} interleaved rounds, fresh processes:")
    for side, median in medians.items():
        print(f"  {side:<34}{median:6.0f} ms")
    ratio = medians["wqverify --help"] / medians["an empty click program --help"]
    print(f"  ratio to the empty click program {ratio:.2f}")


if __name__ == "__main__":
    main(5 if "--quick" in sys.argv else 15)
