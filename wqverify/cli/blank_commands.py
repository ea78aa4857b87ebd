"""wqverify blank."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wqverify.cli.common import echo, json_option, now, opened, plant_option, print_json

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from wqverify.plant.folder import Plant
    from wqverify.terms import Analyzer, Procedure

_TOP = """\
# Field sheet, {title} of {tag}, {location}.
#
# Type what stands open, "" or [], each value in double quotes as it was read: "7.10" keeps its last zero.
# A line that begins with "# " need not be answered; take the "# " away to answer it. A part that was not
# done says why: not_done = "..." in the place of its answers.

"""


@click.command()
@click.argument("procedure")
@click.argument("tag")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE.pdf",
    help="Where to write the page; without it 'blank PROCEDURE TAG.pdf' in the current folder.",
)
@click.option(
    "--sheet",
    type=click.Path(path_type=Path),
    metavar="FILE.toml",
    help="Write the blank as a field sheet to fill in an editor; the page only where --out is given too.",
)
@plant_option
@json_option
def blank(
    procedure: str, tag: str, out: Path | None, sheet: Path | None, plant_folder: Path | None, as_json: bool
) -> None:
    """Print a blank field sheet for a clipboard, or write one to fill in an editor.

    At most two pages of US Letter, with tolerances, standards on hand and cautions. Nothing is overwritten.
    """
    from wqverify.durable import write_durably
    from wqverify.procedures import PROCEDURES

    plant = opened(plant_folder)
    one = PROCEDURES[_known(procedure, PROCEDURES, "procedure")]
    analyzer = plant.analyzers[_known(tag, plant.analyzers, "analyzer")]
    page = out or (None if sheet else Path(f"blank {one.name} {analyzer.tag}.pdf"))
    written = [path for path in (page, sheet) if path is not None]
    for path in written:
        _refuse_to_overwrite(path)
    if page is not None:
        write_durably(page, page_of(plant, one, analyzer, now()))
    if sheet is not None:
        write_durably(sheet, sheet_of(one, analyzer).encode())
    if as_json:
        names = {"page": str(page) if page else None, "sheet": str(sheet) if sheet else None}
        print_json({"procedure": one.name, "tag": analyzer.tag, **names})
        return
    for path in written:
        echo(f"{path}: {one.title} of {analyzer.tag}, blank.")
    if page is not None:
        echo(f"To type it later: wqverify step {one.name} {analyzer.tag} --from-paper")


def page_of(plant: Plant, procedure: Procedure, analyzer: Analyzer, at: datetime) -> bytes:
    """Return the PDF of a blank field sheet as of a moment."""
    from dataclasses import asdict

    from wqverify.book import has_book, open_book
    from wqverify.entry.paper import paper
    from wqverify.gather import earlier
    from wqverify.show.blank_page import make_blank_page

    here = at.astimezone(plant.zone)
    book = open_book(plant.book, plant.device) if has_book(plant.book) else None
    told, _entered = earlier(book, analyzer, procedure, here.isoformat(timespec="seconds"))
    return make_blank_page(asdict(paper(procedure, analyzer, plant, here.date().isoformat(), told)))


def sheet_of(procedure: Procedure, analyzer: Analyzer) -> str:
    """Return the TOML text of a blank field sheet with procedure and tag filled in."""
    from wqverify.procedures.blank import blank_sheet

    top = _TOP.format(title=procedure.title, tag=analyzer.tag, location=analyzer.location)
    answers = {"procedure": procedure.name, "tag": analyzer.tag}
    return top + blank_sheet(procedure.Sheet, answers, analyzer.unit)


def _known(name: str, there: Iterable[str], what: str) -> str:
    """Return a name that is there; raises ChooseAnother with the nearest one."""
    from wqverify.errors import ChooseAnother
    from wqverify.plant.messages import nearest

    names = list(there)
    if name not in names:
        raise ChooseAnother(
            f"There is no {what} {name[:60]!r}; {nearest(name, names)}", found=name, expected=", ".join(names)
        )
    return name


def _refuse_to_overwrite(path: Path) -> None:
    from wqverify.errors import ChooseAnother

    if path.exists():
        raise ChooseAnother(
            f"{path} is there already; nothing was written, as nothing is ever overwritten. Name another "
            f"file with --out, or with --sheet.",
            found=str(path),
            where=str(path),
        )
