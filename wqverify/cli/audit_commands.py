"""wqverify examine, wqverify rerun."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wqverify.cli.common import echo, json_option, opened, plant_option, print_json
from wqverify.errors import CorrectTheEntry, RepairTheFolder

if TYPE_CHECKING:
    from wqverify.plant.folder import Plant
    from wqverify.records.rerun import Rerun


def _plant_if_any(plant_folder: Path | None) -> Plant | None:
    """Return the plant folder told or above, None for none; a broken one is not passed over."""
    from wqverify.plant.folder import find_plant

    if plant_folder is None:
        try:
            plant_folder = find_plant(Path.cwd())
        except RepairTheFolder:
            return None
    return opened(plant_folder)


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@plant_option
@json_option
def examine(files: tuple[Path, ...], plant_folder: Path | None, as_json: bool) -> int:
    """Examine signed PDFs strictly and name what is wrong."""
    from wqverify.audit import examine_file, unfinished

    plant = _plant_if_any(plant_folder)
    examined = [examine_file(path, plant) for path in files]
    left_over = unfinished(plant) if plant is not None else []
    if as_json:
        print_json(
            {
                "files": [
                    {
                        "file": str(one.path),
                        "number": one.number,
                        "state": one.examination.state,
                        "signers": [
                            dict(zip(("role", "id", "name", "time"), s, strict=True))
                            for s in one.examination.signers
                        ],
                        "findings": [{"severity": f.severity, "text": f.text} for f in one.findings],
                        "damaged": one.damaged,
                    }
                    for one in examined
                ],
                "unfinished": left_over,
            }
        )
    else:
        for one in examined:
            echo(f"{one.path.name}: record {one.number or '?'}, {one.examination.state}")
            for role, staff, name, time in one.examination.signers:
                echo(f"  {role}: {name} ({staff}), {time} by that computer's clock")
            for finding in one.findings:
                echo(f"  {'DAMAGED: ' if finding.severity == 'damaged' else ''}{finding.text}")
        if plant is None:
            echo("No plant folder at hand: not compared with a book, and who signed is not proven.")
        for line in left_over:
            echo(f"Unfinished: {line}")
    return 1 if any(one.damaged for one in examined) else 0


@click.command()
@click.argument("what", nargs=-1)
@click.option("--month", default="", metavar="YYYY-MM", help="All records of work done in this month.")
@click.option("--all", "everything", is_flag=True, help="All records of the book.")
@click.option("--pages", is_flag=True, help="Render the pages as well and compare byte for byte.")
@plant_option
@json_option
def rerun(
    what: tuple[str, ...],
    month: str,
    everything: bool,
    pages: bool,
    plant_folder: Path | None,
    as_json: bool,
) -> int:
    """Run records again and compare: a FILE.pdf, a NUMBER, a month or all."""
    from wqverify import audit
    from wqverify.records.rerun import Answer

    if sum((bool(what), bool(month), everything)) != 1:
        raise CorrectTheEntry("Name files or numbers, or one of --month YYYY-MM and --all.")
    files = [Path(name) for name in what if name.lower().endswith(".pdf")]
    numbers = [name for name in what if not name.lower().endswith(".pdf")]
    answers: list[Rerun] = [audit.rerun_file(path) for path in files]
    if numbers or month or everything:
        answers += audit.rerun_book(opened(plant_folder), numbers, month, pages)
    counted = {str(answer): number for answer, number in audit.count(answers).items()}
    if as_json:
        print_json(
            {
                "answers": [
                    {
                        "number": one.number,
                        "answer": one.answer,
                        "reason": one.reason,
                        "page": one.page,
                        "note": one.note,
                        "differences": [
                            {"place": d.path, "was": d.was, "now": d.now} for d in one.differences
                        ],
                    }
                    for one in answers
                ],
                "counted": counted,
            }
        )
    else:
        for one in answers:
            echo(f"{one.number}  {one.sentence()}")
        if len(answers) != 1:
            echo(", ".join(f"{number} {answer}" for answer, number in counted.items() if number) or "none")
    good = (Answer.REPRODUCED, Answer.AS_ANNOUNCED)
    if any(one.answer is Answer.UNEXPLAINED for one in answers):
        return 1
    return 0 if all(one.answer in good for one in answers) else 3
