"""One place to work at: choose a sheet or begin one, step through it, run it; for every face alike."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from wqverify.desk.desk import Desk
from wqverify.errors import WqverifyError
from wqverify.plant.folder import find_plant, open_plant

__all__ = ["Desk", "open_desk", "step_through"]


def this_computer() -> datetime:
    """Return this computer's clock."""
    return datetime.now(UTC)


def open_desk(
    plant_folder: Path,
    *,
    procedure: str = "",
    tag: str = "",
    sheet: Path | None = None,
    round_folder: Path | None = None,
    paper: bool = False,
    clock: Callable[[], datetime] = this_computer,
) -> Desk:
    """Open a place to work in a plant folder, at once at a visit where one is named.

    Raises ChooseAnother for a procedure, tag or sheet there is not, and where the sheet is open elsewhere.
    """
    desk = Desk(open_plant(plant_folder), clock, paper)
    try:
        if round_folder is not None:
            desk.open_round(round_folder)
        elif sheet is not None:
            desk.open_sheet(sheet)
        elif procedure or tag:
            desk.open_visits_of(procedure, tag)
    except WqverifyError:
        desk.close()
        raise
    return desk


def step_through() -> Any:
    """Show the form of the plant folder around the notebook; without one, say in a sentence how to begin."""
    from wqverify.entry.form import form_of  # ipywidgets and what it brings

    try:
        folder = find_plant(Path.cwd())
        return form_of(lambda: open_desk(folder))
    except WqverifyError as problem:
        print(f"{problem.message} The form is opened by wqverify open, from within the plant folder.")
        return None
