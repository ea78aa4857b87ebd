"""wqverify examine."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wqverify.cli.common import echo, json_option, opened, plant_option, print_json
from wqverify.errors import RepairTheFolder

if TYPE_CHECKING:
    from wqverify.plant.folder import Plant


def plant_if_any(plant_folder: Path | None) -> Plant | None:
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

    plant = plant_if_any(plant_folder)
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
