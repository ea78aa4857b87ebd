"""wqverify handover."""

from __future__ import annotations

from pathlib import Path
from textwrap import wrap
from typing import get_args

import click

from wqverify.cli.common import echo, json_option, plant_option, print_json

WIDTH = 80
LISTENERS = ("operations", "laboratory", "town")


@click.command()
@click.argument("number")
@click.option(
    "--to",
    type=click.Choice(LISTENERS),
    default="operations",
    show_default=True,
    help="Who listens; town is the customer town the value goes to.",
)
@plant_option
@json_option
def handover(number: str, to: str, plant_folder: Path | None, as_json: bool) -> None:
    """Say what to tell operations, the laboratory or the customer town of a record.

    A few sentences to read over a radio, from the record alone: of the plant folder only its book is needed.
    """
    from wqverify.book import open_book
    from wqverify.plant.folder import find_plant, place_of_book
    from wqverify.records.canonical import record_from
    from wqverify.show.handover import To
    from wqverify.show.handover import handover as sentences

    listener: To = next(one for one in get_args(To) if one == to)
    book = open_book(*place_of_book(plant_folder if plant_folder is not None else find_plant(Path.cwd())))
    state = book.find(number)
    told = sentences(record_from(book.stored(number)), listener, state.state if state is not None else "")
    if as_json:
        print_json({"number": number, "to": listener, "sentences": list(told)})
        return
    for sentence in told:
        for line in wrap(sentence, WIDTH, break_on_hyphens=False):
            echo(line)
