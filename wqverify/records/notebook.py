"""Run a shipped notebook by papermill and believe nothing of it that was not checked.

A fresh kernel for every run (a reused one showed the result of the analyzer before), one fixed
parameter ``cases`` of plain types only (a parameter *name* taken from data ran as code), the injected
cell read back, every cell compared with the shipped one, every result compared with the pure computation.
"""

from __future__ import annotations

import ast
import math
import sys
import tempfile
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from wqverify.errors import CouldNotRun, ResultsDiffer
from wqverify.records.canonical import digest
from wqverify.shipped import shipped_folder

RESULT_TYPE = "application/x.wqverify.result+json"
CHART_TYPE = "image/svg+xml"


@dataclass(frozen=True)
class Executed:
    """An executed notebook: its bytes without machine paths, and per case the result and charts it showed."""

    ipynb: bytes
    results: tuple[Mapping[str, Any], ...]
    charts: tuple[Mapping[str, bytes], ...]
    name: str
    digest: str  # of the notebook as shipped


def shipped_notebook(procedure: str) -> tuple[Path, str]:
    """Return the notebook of a procedure and its digest; refuse one that is not as released."""
    path = shipped_folder("notebooks") / f"{procedure}.ipynb"
    released = tomllib.loads((files("wqverify") / "records" / "notebooks.toml").read_text("utf-8"))
    if not path.is_file():
        raise CouldNotRun(f"The notebook {path.name} is missing from this installation; install again.")
    found, expected = digest(path.read_bytes()), released.get(path.name, "")
    if found != expected:
        raise ResultsDiffer(
            f"The notebook {path.name} is not the one this version was released with (digest {found[:12]}, "
            f"expected {expected[:12] or 'none'}); install wqverify again, the sheet is untouched.",
            found=found,
            expected=expected,
            where=path.name,
        )
    return path, found


def execute(procedure: str, cases: Sequence[Mapping[str, Any]], notebook: Path | None = None) -> Executed:
    """Execute the notebook of a procedure for these cases in a fresh kernel.

    ``notebook`` stands in for the shipped file in tests. Raises CouldNotRun when the kernel fails and
    ResultsDiffer when the notebook that came back is not the one that was sent.
    """
    refuse_other_than_plain(cases)
    path, released = (
        (notebook, digest(notebook.read_bytes())) if notebook is not None else shipped_notebook(procedure)
    )
    executed = _papermill(path, {"cases": list(cases)})
    _insist_on_cells(path, executed, list(cases))
    results, charts = _emitted(executed, len(cases))
    return Executed(_without_machine(executed), results, charts, path.name, released)


def refuse_other_than_plain(value: Any) -> None:
    """Raise TypeError for anything but dict, list, str, int, finite float, bool and None, at any depth."""
    kind = type(value)
    if kind is dict:
        for key, item in value.items():
            refuse_other_than_plain(key if type(key) is str else _not_plain(key))
            refuse_other_than_plain(item)
    elif kind in (list, tuple):
        for item in value:
            refuse_other_than_plain(item)
    elif (kind is float and not math.isfinite(value)) or kind not in (str, int, float, bool, type(None)):
        _not_plain(value)


def _not_plain(value: Any) -> str:
    raise TypeError(f"a notebook is handed plain types only, not {type(value).__name__}")


def _papermill(path: Path, parameters: Mapping[str, Any]) -> Any:
    # nbformat imports jsonschema, which builds a grammar for a check of web addresses no notebook needs
    # (about a second). None makes jsonschema treat the optional package as absent.
    if "rfc3987_syntax" not in sys.modules:
        sys.modules["rfc3987_syntax"] = None  # type: ignore[assignment]
    import logging

    import papermill
    from papermill.exceptions import PapermillException
    from traitlets.config import Config

    logging.getLogger("papermill").setLevel(logging.ERROR)
    # IPC instead of TCP: no open port, no warning; not on Windows.
    config = Config() if sys.platform == "win32" else Config({"KernelManager": {"transport": "ipc"}})
    with tempfile.TemporaryDirectory(prefix="wqverify-") as folder:
        try:
            return papermill.execute_notebook(
                str(path),
                None,  # nothing is written: with a path, the whole notebook is, twice for each cell
                parameters=dict(parameters),
                kernel_name="python3",
                progress_bar=False,
                cwd=folder,
                shutdown_kernel="immediate",
                config=config,
            )
        except (PapermillException, RuntimeError, OSError) as problem:
            raise CouldNotRun(
                f"The notebook {path.name} stopped: {_last_line(problem)} Nothing was entered; "
                f"run the sheet again.",
                found=str(problem),
                where=path.name,
            ) from problem


def _last_line(problem: Exception) -> str:
    lines = [line for line in str(problem).splitlines() if line.strip()]
    return lines[-1].strip() if lines else type(problem).__name__


def _insist_on_cells(path: Path, executed: Any, cases: list[Any]) -> None:
    """Every cell as shipped and run to its end, the injected one holding what was sent."""
    import nbformat

    shipped = nbformat.read(path, as_version=4)  # type: ignore[no-untyped-call]
    injected = [c for c in executed.cells if "injected-parameters" in c.metadata.get("tags", [])]
    others = [c for c in executed.cells if "injected-parameters" not in c.metadata.get("tags", [])]
    if [c.source for c in others] != [c.source for c in shipped.cells] or len(injected) != 1:
        raise ResultsDiffer(f"The cells of {path.name} changed while it ran; nothing was entered.")
    statement = ast.parse(injected[0].source).body[-1]
    if not isinstance(statement, ast.Assign) or ast.literal_eval(statement.value) != cases:
        raise ResultsDiffer(
            f"{path.name} did not receive the field sheet as it was sent; nothing was entered."
        )
    counts = [c.execution_count for c in executed.cells if c.cell_type == "code"]
    if counts != list(range(1, len(counts) + 1)):
        done = sum(c is not None for c in counts)
        raise ResultsDiffer(
            f"{path.name} ended early: {done} of {len(counts)} cells ran; nothing was entered.",
            found=str(done),
            expected=str(len(counts)),
        )


def _emitted(executed: Any, expected: int) -> tuple[tuple[Any, ...], tuple[dict[str, bytes], ...]]:
    outputs = [o for c in executed.cells if c.cell_type == "code" for o in c.outputs]
    results = [o.data[RESULT_TYPE] for o in outputs if RESULT_TYPE in o.get("data", {})]
    if len(results) != expected:
        raise ResultsDiffer(
            f"The notebook gave {len(results)} results for {expected} field sheets; nothing was entered.",
            found=str(len(results)),
            expected=str(expected),
        )
    charts: tuple[dict[str, bytes], ...] = tuple({} for _ in range(expected))
    for output in outputs:
        mark = output.get("metadata", {}).get("wqverify")
        if mark is not None:
            charts[mark["case"]][mark["name"]] = output.data[CHART_TYPE].encode()
    return tuple(results), charts


def insist_on_same(procedure: str, shown: Mapping[str, Any], computed: Mapping[str, Any]) -> None:
    """Raise ResultsDiffer unless the notebook's result is exactly the computed one."""
    if dict(shown) != dict(computed):
        keys = [c["key"] for c, d in zip(shown.get("checks", []), computed["checks"], strict=False) if c != d]
        raise ResultsDiffer(
            f"The notebook of {procedure} shows another result than the computation "
            f"({keys[0] if keys else 'not the same checks'}); nothing was entered. Do not use either "
            f"before the reason is known.",
            found=str(keys),
        )


def _without_machine(executed: Any) -> bytes:
    """Return the notebook's bytes without paths and timings of this machine."""
    import nbformat

    for holder in (executed, *executed.cells):
        holder.metadata.pop("papermill", None)
        holder.metadata.pop("execution", None)
    text: str = nbformat.writes(executed, indent=1)  # type: ignore[no-untyped-call]
    return f"{text}\n".encode()
