"""wqverify audit-pack."""

from __future__ import annotations

from pathlib import Path

import click

from wqverify.cli.common import echo, json_option, now, opened, plant_option, print_json, words


@click.command("audit-pack")
@click.argument("month", metavar="YYYY-MM")
@click.option("--zip", "as_zip", is_flag=True, help="Make one zip instead of a folder.")
@click.option(
    "--to",
    "place",
    type=click.Path(path_type=Path),
    metavar="PLACE",
    help="The folder or zip to make; without it audit-pack-YYYY-MM in the current folder.",
)
@plant_option
@json_option
def audit_pack(month: str, as_zip: bool, place: Path | None, plant_folder: Path | None, as_json: bool) -> int:
    """Make a pack of a month for an auditor: PDFs, an index, tables, certificates, chains, a checking script.

    It is one folder, or one zip. Whoever gets it needs a PDF reader, a browser and a spreadsheet; with Python
    it checks itself. Nothing is ever overwritten.
    """
    from wqverify.pack import make_pack

    plant = opened(plant_folder)
    wanted = place or Path(f"audit-pack-{month[:7]}{'.zip' if as_zip else ''}")
    made = make_pack(plant, month, wanted, now(), as_zip=as_zip)
    if as_json:
        print_json(
            {
                "place": str(made.place),
                "month": made.month,
                "records_of_the_month": made.records - made.later,
                "records_about_it": made.later,
                "pdfs_as_in_the_book": made.pdfs,
                "files": made.files,
                "problems": list(made.problems),
                "notes": list(made.notes),
            }
        )
    else:
        for problem in made.problems:
            echo(f"WRONG: {problem}")
        for note in made.notes:
            echo(f"Note: {note}")
        echo(
            f"{made.place}, {made.month}: {made.counted}, {made.pdfs} PDFs as in the book, "
            f"{words(made.files, 'file')}."
        )
    return 1 if made.problems else 0
