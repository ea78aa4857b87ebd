"""wqverify step."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wqverify.cli.common import echo, plant_option
from wqverify.errors import ChooseAnother

if TYPE_CHECKING:
    from wqverify.plant.folder import Plant


@click.command()
@click.argument("what", nargs=-1, metavar="[PROCEDURE TAG | SHEET]")
@click.option(
    "--round",
    "round_folder",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Step through the sheets of a round, in walking order.",
)
@click.option("--from-paper", "paper", is_flag=True, help="Type in what was written on a printed sheet.")
@plant_option
def step(what: tuple[str, ...], round_folder: Path | None, paper: bool, plant_folder: Path | None) -> None:
    """Step through a visit, one question at a time, in this terminal.

    Name a procedure and a tag to begin a visit, or a field sheet to go on with it; without either, choose
    from what stands open. Every answer is on disk before the next question. A key pressed on an empty line
    acts at once; ? lists the keys. Ctrl-C stops for now and loses nothing.
    """
    from wqverify.desk import open_desk
    from wqverify.entry.terminal import step_through
    from wqverify.plant.folder import find_plant, open_plant
    from wqverify.show.printable import visible

    folder = plant_folder if plant_folder is not None else find_plant(Path.cwd())
    procedure, tag, sheet = named(what, round_folder, open_plant(folder))
    desk = open_desk(
        folder, procedure=procedure, tag=tag, sheet=sheet, round_folder=round_folder, paper=paper
    )
    with closing(desk):
        step_through(desk, echo, visible, go_on(what, round_folder, plant_folder))


def named(what: Sequence[str], round_folder: Path | None, plant: Plant) -> tuple[str, str, Path | None]:
    """Return procedure, tag and sheet from what was typed; raises ChooseAnother with what is known."""
    if what and round_folder is not None:
        raise ChooseAnother(
            f"{' '.join(what)} was named beside --round; name the folder of a round or one visit, not both.",
            found=" ".join(what),
        )
    if len(what) == 1 and what[0].lower().endswith(".toml"):
        return "", "", Path(what[0])
    if len(what) == 2:
        return _procedure(*what), _tag(what[1], plant), None
    if what:
        raise _neither(what, plant)
    return "", "", None


def go_on(what: Sequence[str], round_folder: Path | None, plant_folder: Path | None) -> str:
    """Return the command that goes on: the same sheet or round, else the choice of what stands open."""
    words = ["wqverify", "step"]
    words += what if len(what) == 1 else []
    words += ["--round", str(round_folder)] if round_folder is not None else []
    words += ["--plant", str(plant_folder)] if plant_folder is not None else []
    return shlex.join(words)


def _procedure(name: str, tag: str) -> str:
    from wqverify.plant.messages import nearest
    from wqverify.procedures import PROCEDURES

    if name in PROCEDURES:
        return name
    if tag in PROCEDURES:
        raise ChooseAnother(
            f"The procedure comes first: wqverify step {tag} {name}", found=name, expected=tag
        )
    raise ChooseAnother(f"There is no procedure {name}; {nearest(name, PROCEDURES)}", found=name)


def _tag(tag: str, plant: Plant) -> str:
    from wqverify.plant.messages import nearest

    if tag in plant.analyzers:
        return tag
    raise ChooseAnother(
        f"There is no analyzer {tag} in analyzers.toml; {nearest(tag, plant.analyzers)}", found=tag
    )


def _neither(what: Sequence[str], plant: Plant) -> ChooseAnother:
    from wqverify.plant.messages import nearest
    from wqverify.procedures import PROCEDURES

    typed = " ".join(what)
    if len(what) == 1 and typed in PROCEDURES:
        said = f"{typed} needs the tag of an analyzer too; in the register: {', '.join(plant.analyzers)}."
    elif len(what) == 1 and typed in plant.analyzers:
        said = f"{typed} needs a procedure before it; there is {', '.join(PROCEDURES)}."
    elif len(what) == 1:
        known = [*PROCEDURES, *plant.analyzers]
        said = f"{typed} is no field sheet (.toml), procedure or tag; {nearest(typed, known)}"
    else:
        said = f"{typed}: that is {len(what)} words; a visit is named by procedure and tag, or by its sheet."
    return ChooseAnother(f"{said} For example: wqverify step {_example(plant)}", found=typed)


def _example(plant: Plant) -> str:
    from wqverify.procedures import PROCEDURES

    return f"{next(iter(PROCEDURES))} {next(iter(plant.analyzers), 'TAG')}"
