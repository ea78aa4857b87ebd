"""wqverify follow-up."""

from __future__ import annotations

from pathlib import Path

import click

from wqverify.cli.common import json_option, now, opened, plant_option, say


@click.command()
@click.argument("number")
@click.argument("what")
@click.option("--by", required=True, metavar="ID", help="Staff id of the person who enters it.")
@click.option("--at", "at", required=True, metavar="TIME", help='When it was done: "2026-11-09 10:00".')
@click.option("--how", required=True, metavar="TEXT", help="How, by whom, to whom; where that is kept.")
@plant_option
@json_option
def follow_up(
    number: str, what: str, by: str, at: str, how: str, plant_folder: Path | None, as_json: bool
) -> None:
    """Enter that something a record leaves to be done was done: its clock ends.

    WHAT is what `wqverify today` shows behind the number of the record, such as report. A report to the
    State, a notice, a profile of a filter: the book keeps when it was done, how and who says so.
    """
    from wqverify.acts import follow_up as follow

    beside = follow(opened(plant_folder), number, what, by, at, how, now())
    more = f"; {beside}" if beside else ""
    sentence = f"{number}: {what} was done {at}, entered by {by}{more}."
    if beside is None:
        sentence = f"{number}: this is in the book already."
    say(sentence, as_json, number=number, what=what)
