"""verify_chains.py, the script of a pack: its parts, and how they are joined into the one file that goes in.

One file can be read, kept and run by itself on a locked computer; here it is kept by topics. The parts import
nothing but each other and the standard library, and run in Python 3.8.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from importlib.resources import files

OPENING = "opening"  # stands before anything is imported
PARTS = (
    "said",
    "reading",
    "pairing",
    "chain",
    "heads",
    "record_tables",
    "pdfs",
    "first_facts",
    "index_page",
    "workbook",
    "vouching",
    "manifest",
    "whole",
)


def script() -> str:
    """Return verify_chains.py: the opening, what the parts import, and the parts one after the other."""
    parts = {name: _text(name) for name in PARTS}
    imports = sorted({line for text in parts.values() for line in _imports(text)}, key=_by_kind)
    bodies = [f"# {'-' * 64} {name.replace('_', ' ')}\n\n\n{_body(text)}" for name, text in parts.items()]
    return "\n\n\n".join([f"{_text(OPENING).rstrip()}\n\n" + "\n".join(imports), *bodies]) + "\n"


def _text(name: str) -> str:
    text = files("wqverify").joinpath("pack", "script", f"{name}.py").read_text("utf-8")
    return text.replace("\r\n", "\n")


def _imports(text: str) -> Iterator[str]:
    """Give what a part imports of the standard library, without sys, which the opening has."""
    for node in ast.parse(text).body:
        whole = isinstance(node, ast.Import)
        if whole or (isinstance(node, ast.ImportFrom) and not str(node.module).startswith("wqverify")):
            line = ast.unparse(node)
            if line != "import sys":
                yield line


def _by_kind(line: str) -> tuple[bool, str]:
    return line.startswith("from"), line


def _body(text: str) -> str:
    """Return a part without its docstring and its imports."""
    lines = text.split("\n")
    for node in ast.parse(text).body:
        if isinstance(node, ast.Import | ast.ImportFrom) or node.lineno == 1:
            lines[node.lineno - 1 : node.end_lineno] = [""] * (int(node.end_lineno or 0) - node.lineno + 1)
    return "\n".join(lines).strip("\n")
