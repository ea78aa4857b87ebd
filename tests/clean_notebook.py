"""What is asked of a shipped notebook that is no procedure's: stored clean, and it computes nothing."""

from __future__ import annotations

import ast
from collections.abc import Sequence
from typing import Any

import nbformat

from wqverify.shipped import shipped_folder


def shipped_notebook(name: str) -> Any:
    return nbformat.read(shipped_folder("notebooks") / f"{name}.ipynb", as_version=4)


def insist_on_clean(content: Any, headings: Sequence[str]) -> str:
    """Hold a notebook against the rules; gives the source of its cells."""
    assert set(content.metadata) == {"kernelspec", "language_info"}
    assert "**Unsigned.**" in content.cells[0].source
    code = [cell for cell in content.cells if cell.cell_type == "code"]
    assert code
    for cell in code:
        assert (cell.outputs, cell.execution_count) == ([], None)
        for node in ast.walk(ast.parse(cell.source)):
            assert not isinstance(
                node, ast.FunctionDef | ast.Lambda | ast.BinOp | ast.For | ast.comprehension
            )
    whole = "\n".join(cell.source for cell in content.cells)
    assert [line[3:] for line in whole.splitlines() if line.startswith("## ")] == list(headings)
    return whole
