"""wqverify demo."""

from __future__ import annotations

from pathlib import Path

import click

from wqverify.cli.common import echo, json_option, key_store, now, print_json, tell


@click.command()
@click.argument("folder", default="ellodale", type=click.Path(path_type=Path))
@click.option("--year", is_flag=True, help="Add a calculated, unsigned year before the month, for lists.")
@json_option
def demo(folder: Path, year: bool, as_json: bool) -> None:
    """Make the synthetic Ellodale plant and a month of its visits.

    Performs, signs, countersigns and runs again; everything in it is invented. With --year a year of weekly
    checks before the month is calculated and entered, unsigned and without notebooks, so that history, due
    and done have something to show.
    """
    from wqverify.demo.ellodale import month_before, run_demo

    here = now()
    made, entered = run_demo(folder, key_store(), here, tell), 0
    if year:
        from wqverify.demo.year import add_year
        from wqverify.plant.folder import open_plant

        entered = len(add_year(open_plant(folder), month_before(here), here, tell))
    if as_json:
        print_json(
            [
                {
                    "number": row.number,
                    "day": row.day.isoformat(),
                    "tag": row.tag,
                    "story": row.story,
                    "outcomes": row.outcomes,
                    "state": row.state,
                    "page": str(row.page) if row.page else None,
                    "rerun": row.answer,
                }
                for row in made.rows
            ]
        )
        return
    echo("\nSYNTHETIC DATA: Ellodale is an invented plant.\n")
    for row in made.rows:
        echo(f"{row.number or 'skipped':<13} {row.day}  {row.tag}  {row.story}")
        for stage, outcome in row.outcomes.items():
            echo(f"    {stage.replace('_', ' '):<34} {outcome}")
        if row.page:
            echo(f"    {row.state}; run again: {row.answer}")
            echo(f"    {row.page}")
    echo(
        f"\nThe plant folder is {made.folder}. The passphrase of its invented people is {made.passphrase}\n"
        f"(shown because this is a demo). Try: wqverify book examine --plant {made.folder}\n"
        f"For an auditor: {made.pack.place}, {made.pack.counted}; open its index.html."
    )
    if entered:
        echo(
            f"Before the month lie {entered} calculated records of a year, unsigned and synthetic. Try: "
            f"wqverify history AIT-2301 --plant {made.folder}"
        )
