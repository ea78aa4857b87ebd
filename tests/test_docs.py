"""What is written is true: examples run, the README's commands exist, the changelog names every change."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import re
import tomllib
from pathlib import Path
from types import FunctionType, ModuleType

import click
import pytest

import wqverify
from wqverify import calculations
from wqverify.cli import COMMANDS, cli
from wqverify.records.rerun import announced_changes

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")
MODULES = sorted(
    m.name for m in pkgutil.walk_packages(wqverify.__path__, "wqverify.") if "_shipped" not in m.name
)
CALCULATIONS = [
    importlib.import_module(f"wqverify.calculations.{m.name}")
    for m in pkgutil.iter_modules(calculations.__path__)
]


@pytest.mark.parametrize("name", MODULES)
def test_every_module_says_what_it_is_and_its_examples_run(name: str) -> None:
    module = importlib.import_module(name)
    assert module.__doc__, name
    assert doctest.testmod(module).failed == 0


def public_functions(module: ModuleType) -> list[FunctionType]:
    return [
        f
        for name, f in inspect.getmembers(module, inspect.isfunction)
        if not name.startswith("_") and f.__module__ == module.__name__
    ]


@pytest.mark.parametrize("module", CALCULATIONS, ids=lambda m: m.__name__.rsplit(".", 1)[-1])
def test_every_calculation_has_an_example_and_a_source(module: ModuleType) -> None:
    functions = public_functions(module)
    assert functions
    for function in functions:
        text = function.__doc__ or ""
        assert ">>>" in text, f"{function.__name__} has no example"
        assert "Source" in text or "source" in text, f"{function.__name__} has no source"


def walk_commands(command: click.Command, path: str = "") -> list[tuple[str, click.Command]]:
    found = [(path, command)]
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            child = command.get_command(context, name)
            assert child is not None, name
            found += walk_commands(child, f"{path} {name}".strip())
    return found


def test_every_command_has_help_and_stands_in_the_readme() -> None:
    for path, command in walk_commands(cli):
        assert command.help, path
        for parameter in command.params:
            if isinstance(parameter, click.Option):
                assert parameter.help, f"{path} {parameter.name}"
        if path and not isinstance(command, click.Group):
            assert f"wqverify {path}" in README, f"wqverify {path} is not in the README"


def test_the_short_help_is_the_first_sentence_of_the_command() -> None:
    for name, (_module, line) in COMMANDS.items():
        command = cli.get_command(click.Context(cli), name)
        assert command is not None
        assert (command.help or "").splitlines()[0].startswith(line.rstrip(".")), name


def test_the_readme_has_the_two_commands_and_opens_with_the_job() -> None:
    commands = re.findall(r"<!-- command: (\w+) -->\n```sh\n(.*?)```", README, re.DOTALL)
    assert [name for name, _ in commands] == ["demo", "tests"]
    first = README.split("\n\n")[1]
    assert "instrument technician" in first
    for picture in re.findall(r"\]\((demo_runs/pictures/[^)]+)\)", README):
        assert (ROOT / picture).is_file(), picture


def test_the_changelog_begins_with_changes_to_computed_values_and_names_each() -> None:
    changelog = (ROOT / "CHANGELOG.md").read_text("utf-8")
    first, *_ = re.findall(r"^## (.+)$", changelog, re.MULTILINE)
    assert first == "Changes to computed values"
    section = changelog.split("## Changes to computed values")[1].split("\n## ")[0]
    for change in announced_changes():
        line = next((row for row in section.splitlines() if change.procedure in row), "")
        for word in (change.direction, change.about, f"revision {change.revision}"):
            assert word in line, f"CHANGELOG.md does not tell {change}"
    if not announced_changes():
        assert "None." in section


def test_the_version_is_said_once() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["version"] == wqverify.__version__


TEXT = {".py", ".md", ".toml", ".ipynb", ".typ", ".csv", ".json", ".cfg", ""}


def test_no_file_names_a_machine_or_a_registry() -> None:
    here = ["/" + "work/", "/" + "root/", "/" + "home/", "/" + "simple/", "BEGIN " + "PRIVATE KEY"]
    for path in ROOT.rglob("*"):
        parts = path.relative_to(ROOT).parts
        if parts[0] in ("dist", "build", "ellodale") or not path.is_file():
            continue
        if parts[0].startswith(".") and parts[0] != ".ci":  # caches, the virtual environment, git itself
            continue
        if "__pycache__" in parts or path.suffix not in TEXT:
            continue
        text = path.read_bytes().decode("utf-8", "replace")
        for word in here:
            assert word not in text, f"{path.relative_to(ROOT)} holds {word}"
