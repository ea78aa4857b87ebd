"""What the commands share: finding the plant folder, the clock, passphrases, printing."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Collection
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from wqverify.errors import CorrectTheEntry

if TYPE_CHECKING:
    from wqverify.plant.folder import Plant

F = TypeVar("F", bound=Callable[..., Any])

plant_option = click.option(
    "--plant",
    "plant_folder",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Plant folder; without it the nearest one above the current folder.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of text.")
passphrase_option = click.option(
    "--passphrase-file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Read the passphrase from the first line of a file instead of asking.",
)


def opened(plant_folder: Path | None, *, without: Collection[str] = ()) -> Plant:
    """Return the plant folder the command works on, without files it does not need."""
    from wqverify.plant.folder import find_plant, open_plant

    folder = plant_folder if plant_folder is not None else find_plant(Path.cwd())
    return open_plant(folder, without=without)


def now() -> datetime:
    """Return this computer's clock, the only place where it is read."""
    return datetime.now(UTC)


def key_store() -> Path:
    """Return the folder of private keys: in the person's own configuration, never in the plant folder."""
    told = os.environ.get("WQVERIFY_KEYS")
    return Path(told) if told else Path(click.get_app_dir("wqverify")) / "keys"


def passphrase(file: Path | None, whose: str, *, new: bool = False) -> bytes:
    """Return a passphrase from a file's first line, or ask for it without showing it."""
    if file is None and not sys.stdin.isatty():  # piped: there is no terminal to hide it on
        text = sys.stdin.readline().rstrip("\r\n")
    elif file is None:
        text = click.prompt(f"Passphrase of {whose}", hide_input=True, confirmation_prompt=new, err=True)
    else:
        try:
            lines = file.read_text("utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as problem:
            raise CorrectTheEntry(
                f"The passphrase file {file} cannot be read as text ({type(problem).__name__}); nothing was "
                f"done. It holds the passphrase in its first line, in UTF-8.",
                where=str(file),
            ) from problem
        text = lines[0] if lines else ""
    if not text:
        raise CorrectTheEntry(f"The passphrase of {whose} is empty; nothing was done.")
    return str(text).encode()


def echo(text: str, *, err: bool = False, nl: bool = True) -> None:
    """Print a text that may come from a sheet or a stranger's file: nothing in it steers the terminal."""
    from wqverify.show.printable import visible

    click.echo(visible(text), err=err, nl=nl)


def tell(step: str) -> None:
    """Show progress where a person looks, beside the output a program reads."""
    echo(f"  {step}", err=True)


def print_json(document: Any) -> None:
    """Print one JSON document."""
    click.echo(json.dumps(document, indent=1))


def say(sentence: str, as_json: bool, **facts: Any) -> None:
    """Tell what was done, as a sentence or as one JSON document with the facts."""
    if as_json:
        print_json({"done": sentence, **facts})
    else:
        echo(sentence)


def words(count: int, noun: str) -> str:
    """Return a count with its noun: 1 record, 2 records."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
