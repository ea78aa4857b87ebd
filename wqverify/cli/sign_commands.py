"""wqverify sign, wqverify review."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from wqverify.cli.common import (
    F,
    json_option,
    key_store,
    now,
    opened,
    passphrase,
    passphrase_option,
    plant_option,
    say,
    tell,
    words,
)


def _signing(command: F) -> F:
    """What both commands ask for."""
    for add in (
        json_option,
        plant_option,
        passphrase_option,
        click.option("--kept-at", default="", metavar="PLACE", help="With --pen: where the paper is kept."),
        click.option("--pen", is_flag=True, help="The printed page was signed in ink; enter that."),
        click.option("--by", required=True, metavar="ID", help="Staff id of who signs."),
        click.argument("numbers", nargs=-1, required=True),
    ):
        command = add(command)
    return command


@click.command()
@_signing
def sign(**options: Any) -> None:
    """Sign records as the performer."""
    _sign("signed", **options)


@click.command()
@_signing
def review(**options: Any) -> None:
    """Countersign records as the reviewer."""
    _sign("countersigned", **options)


def _sign(
    how: str,
    numbers: tuple[str, ...],
    by: str,
    pen: bool,
    kept_at: str,
    passphrase_file: Path | None,
    plant_folder: Path | None,
    as_json: bool,
) -> None:
    from wqverify import acts

    plant, as_reviewer = opened(plant_folder), how == "countersigned"
    if pen:
        for number in numbers:
            acts.sign_on_paper(plant, number, by, kept_at, now(), as_reviewer=as_reviewer)
        done = list(numbers)
    else:
        act = acts.review if as_reviewer else acts.sign
        done = act(plant, numbers, by, key_store(), passphrase(passphrase_file, by), now(), tell)
    say(f"{words(len(done), 'record')} {how} by {by}.", as_json, numbers=done, by=by)
