"""wqverify round."""

from __future__ import annotations

from pathlib import Path

import click

from wqverify.cli.common import echo, json_option, now, opened, plant_option, print_json, words


@click.command()
@click.argument("name")
@click.option("--by", required=True, metavar="ID", help="Staff id of who walks the round.")
@click.option("--date", default="", metavar="YYYY-MM-DD", help="Day of the round; without it today.")
@click.option("--started", default="", metavar="HH:MM", help="When the work at the first stop starts.")
@click.option("--told", default="", metavar="WHO", help="Who of operations is told, on every sheet.")
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Where to write; without it field_sheets/DATE NAME in the plant folder.",
)
@plant_option
@json_option
def round(
    name: str,
    by: str,
    date: str,
    started: str,
    told: str,
    folder: Path | None,
    plant_folder: Path | None,
    as_json: bool,
) -> None:
    """Write the folder of a round: a blank field sheet per analyzer, what is shared filled in."""
    from wqverify.acts import HeadOf, prepare_round

    made = prepare_round(opened(plant_folder), name, HeadOf(by, date, started, told), now(), folder)
    if as_json:
        rows = [{"tag": r.tag, "procedure": r.procedure, "sheet": str(r.path)} for r in made.rows]
        print_json({"round": made.name, "date": made.date, "folder": str(made.folder), "stops": rows})
        return
    echo(f"{made.folder}: the round {made.name} of {made.date}, {words(len(made.rows), 'stop')}.")
    for row in made.rows:
        echo(f"  {row.path.name}: {row.procedure}")
    for procedure in dict.fromkeys(row.procedure for row in made.rows):
        echo(f"Read before the work: wqverify cautions {procedure}")
    echo("Fill in what stands open on the sheets, or in the head of round.toml what is the same on all.")
