"""Every notebook as stored runs by itself, on the demo run that ships with it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

NOTEBOOKS = Path(__file__).resolve().parent.parent / "notebooks"


@pytest.mark.slow
def test_the_notebooks_as_stored_run_by_themselves() -> None:
    # Without the project's settings: a notebook's kernel may warn of things that are not this project's.
    alone = ["-p", "no:cacheprovider", "-q", "-c", os.devnull]
    command = [sys.executable, "-m", "pytest", "--nbval-lax", *alone]
    done = subprocess.run([*command, str(NOTEBOOKS)], capture_output=True, text=True, cwd=NOTEBOOKS)
    assert done.returncode == 0, done.stdout[-3000:]
    cells = sum(path.read_text("utf-8").count('"cell_type": "code"') for path in NOTEBOOKS.glob("*.ipynb"))
    assert f"{cells} passed" in done.stdout
