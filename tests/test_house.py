"""The house: imports go only downward, and nothing outside procedures/ knows a procedure."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import wqverify

PACKAGE = Path(wqverify.__file__).parent

# From the ground up; a module may import rooms below its own, and its own.
FLOORS = (
    "errors",
    "terms",
    "shipped",
    "durable",
    "calculations",
    "tables",
    "trends",
    "show",  # terms < show < records; it may use nothing of the rooms between
    "plant",
    "procedures",
    "entry",
    "records",
    "proofs",
    "book",
    "signing",
    "pages",
    "gather",
    "acts",
    "audit",
    "lists",
    "pack",
    "desk",
    "demo",
    "cli",
)
SHOW_MAY_USE = {"errors", "terms", "shipped", "calculations", "show"}
STRANGERS = [
    ("book", "signing"),
    ("signing", "book"),
    ("plant", "show"),
    ("procedures", "show"),
    ("entry", "show"),
]


def modules() -> list[Path]:
    return sorted(p for p in PACKAGE.rglob("*.py") if "_shipped" not in p.parts)


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_rooms(path: Path) -> Iterator[tuple[int, str]]:
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
            if node.module == "wqverify":
                names = [f"wqverify.{alias.name}" for alias in node.names]
        for name in names:
            parts = name.split(".")
            if parts[0] == "wqverify" and len(parts) > 1 and parts[1] in FLOORS:
                yield node.lineno, parts[1]


def test_every_module_belongs_to_a_room() -> None:
    rooms = {room(path) for path in modules()} - {"__init__", "__main__"}
    assert rooms == set(FLOORS)


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_only_downward(path: Path) -> None:
    here = room(path)
    if here == "__main__":
        here = "cli"
    if here == "__init__":
        assert not list(imported_rooms(path))
        return
    for line, used in imported_rooms(path):
        assert FLOORS.index(used) <= FLOORS.index(here), f"{path.name}:{line} imports {used} from {here}"
        assert (here, used) not in STRANGERS, f"{path.name}:{line}: {here} does not know {used}"
        if here == "show":
            assert used in SHOW_MAY_USE, f"{path.name}:{line}: show may not use {used}"


def test_no_module_outside_procedures_names_a_procedure() -> None:
    from wqverify.procedures import PROCEDURES

    for path in modules():
        if room(path) in ("procedures", "demo"):  # the demo performs visits of named procedures
            continue
        code = ast.parse(path.read_text("utf-8"))
        words = {n.value for n in ast.walk(code) if isinstance(n, ast.Constant) and isinstance(n.value, str)}
        assert not words & set(PROCEDURES), path


def test_no_room_catches_everything() -> None:
    for path in modules():
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ExceptHandler):
                caught = ast.unparse(node.type) if node.type else ""
                assert caught not in ("", "Exception", "BaseException"), f"{path.name}:{node.lineno}"


def test_commands_print_through_the_one_filter() -> None:
    for path in (PACKAGE / "cli").glob("*_commands.py"):
        assert "click.echo" not in path.read_text("utf-8"), path.name


HEAVY = [
    "pandas",
    "numpy",
    "scipy",
    "matplotlib",
    "papermill",
    "nbformat",
    "pyhanko",
    "cryptography",
    "sqlalchemy",
    "typst",
    "IPython",
    "pydantic",
    "pint",
]


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["run", "--help"], ["rerun", "--help"]])
def test_help_imports_nothing_heavy(arguments: list[str]) -> None:
    script = (
        "import sys\nfrom wqverify.cli import cli\n"
        f"cli({arguments!r}, standalone_mode=False)\n"
        f"print('LOADED', [m for m in {HEAVY!r} if m in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip().endswith("LOADED []"), done.stdout
