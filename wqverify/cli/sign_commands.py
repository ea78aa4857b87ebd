"""wqverify sign, wqverify review."""

from __future__ import annotations

from pathlib import Path

import click

from wqverify.cli.common import (
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

_by = click.option("--by", required=True, metavar="ID", help="Staff id of who signs.")
_pen = click.option("--pen", is_flag=True, help="The printed page was signed in ink; enter that.")
_kept = click.option("--kept-at", default="", metavar="PLACE", help="With --pen: where the paper is kept.")


@click.command()
@click.argument("numbers", nargs=-1, required=True)
@_by
@_pen
@_kept
@passphrase_option
@plant_option
@json_option
def sign(
    numbers: tuple[str, ...],
    by: str,
    pen: bool,
    kept_at: str,
    passphrase_file: Path | None,
    plant_folder: Path | None,
    as_json: bool,
) -> None:
    """Sign records as the performer."""
    _sign("sign", numbers, by, pen, kept_at, passphrase_file, plant_folder, as_json)


@click.command()
@click.argument("numbers", nargs=-1, required=True)
@_by
@_pen
@_kept
@passphrase_option
@plant_option
@json_option
def review(
    numbers: tuple[str, ...],
    by: str,
    pen: bool,
    kept_at: str,
    passphrase_file: Path | None,
    plant_folder: Path | None,
    as_json: bool,
) -> None:
    """Countersign records as the reviewer."""
    _sign("review", numbers, by, pen, kept_at, passphrase_file, plant_folder, as_json)


def _sign(
    what: str,
    numbers: tuple[str, ...],
    by: str,
    pen: bool,
    kept_at: str,
    passphrase_file: Path | None,
    plant_folder: Path | None,
    as_json: bool,
) -> None:
    from wqverify import acts

    plant = opened(plant_folder)
    if pen:
        for number in numbers:
            acts.sign_on_paper(plant, number, by, kept_at, now(), as_reviewer=what == "review")
        done = list(numbers)
    else:
        secret = passphrase(passphrase_file, by)
        act = acts.sign if what == "sign" else acts.review
        done = act(plant, numbers, by, key_store(), secret, now(), tell)
    how = "signed" if what == "sign" else "countersigned"
    say(f"{words(len(done), 'record')} {how} by {by}.", as_json, numbers=done, by=by)
