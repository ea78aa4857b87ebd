"""wqverify sign, wqverify review."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wqverify.cli.common import (
    F,
    echo,
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

if TYPE_CHECKING:
    from wqverify.acts import Pile


def _signing(command: F) -> F:
    """What both commands ask for."""
    for add in (
        json_option,
        plant_option,
        passphrase_option,
        click.option("--kept-at", default="", metavar="PLACE", help="With --pen: where the paper is kept."),
        click.option("--pen", is_flag=True, help="The printed page was signed in ink; enter that."),
        click.option("--by", required=True, metavar="ID", help="Staff id of who signs."),
        click.argument("names", nargs=-1, required=True),
    ):
        command = add(command)
    return command


@click.command()
@_signing
def sign(**options: Any) -> None:
    """Sign records, or those of a round, as the performer.

    A NAME is a record number, or the folder of a round; one passphrase signs them all.
    """
    _sign("signed", **options)


@click.command()
@_signing
def review(**options: Any) -> None:
    """Countersign records, or those of a round, as the reviewer.

    A NAME is a record number, or the folder of a round; one passphrase signs them all.
    """
    _sign("countersigned", **options)


def _sign(
    how: str,
    names: tuple[str, ...],
    by: str,
    pen: bool,
    kept_at: str,
    passphrase_file: Path | None,
    plant_folder: Path | None,
    as_json: bool,
) -> None:
    from wqverify import acts

    plant, as_reviewer = opened(plant_folder), how == "countersigned"
    pile = (acts.pile_to_review if as_reviewer else acts.pile_to_sign)(plant, names, by)
    if pen:
        for number in pile.numbers:
            acts.sign_on_paper(plant, number, by, kept_at, now(), as_reviewer=as_reviewer)
    elif pile.numbers:
        act = acts.review if as_reviewer else acts.sign
        act(plant, pile.numbers, by, key_store(), passphrase(passphrase_file, by), now(), tell)
    _say(how, pile, by, as_json)


def _say(how: str, pile: Pile, by: str, as_json: bool) -> None:
    count = len(pile.numbers)
    sentence = (
        f"{words(count, 'record')} {how} by {by}." if count else f"Nothing was left to be {how} by {by}."
    )
    facts = {
        "numbers": list(pile.numbers),
        "by": by,
        "already": list(pile.already),
        "left_out": [{"number": number, "why": why} for number, why in pile.left_out],
    }
    say(sentence, as_json, **facts)
    if as_json:
        return
    for number in pile.already:
        echo(f"{number} was {how} by {by} before; nothing is signed twice.")
    for number, why in pile.left_out:
        echo(f"Left out: {number} {why}")
