"""One place to work at: choose a sheet or begin one, step through it, run it; for every face alike."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from wqverify.desk.desk import Desk
from wqverify.desk.rounds import open_round
from wqverify.errors import WqverifyError
from wqverify.plant.folder import open_plant

__all__ = ["Desk", "open_desk"]


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
            open_round(desk, round_folder)
        elif sheet is not None:
            desk.open_sheet(sheet)
        elif procedure or tag:
            desk.open_visits_of(procedure, tag)
    except WqverifyError:
        desk.close()
        raise
    return desk
