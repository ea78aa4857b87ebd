"""A round at the desk: its stops in walking order, what they share asked once, the whole run at the end."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from wqverify.acts import perform_walk
from wqverify.acts.prepare import SHARED, skip_stop
from wqverify.desk.desk import OTHERS, Desk, Menu, known
from wqverify.entry.fold import fold
from wqverify.entry.journal import journal_path, read_journal
from wqverify.entry.screen import Choice
from wqverify.errors import CorrectTheEntry
from wqverify.plant.round_folder import RoundFolder, Row, read_round
from wqverify.procedures import PROCEDURES
from wqverify.procedures.sheets import read_sheet

RUN, SKIP = "run the round", "skip a stop"


def show_stops(desk: Desk, folder: Path, notice: str = "") -> None:
    """Show the stops of a round with where each stands."""
    one = read_round(folder)
    stops = [
        Choice(str(n), f"{row.path.stem}: {row.procedure}, {_state(row)}")
        for n, row in enumerate(one.rows, 1)
    ]
    more = (
        [Choice(SKIP)]
        if any(not row.skipped and _state(row) != "complete" for row in one.rows)
        else [Choice(RUN)]
    )
    more.append(Choice(OTHERS))
    menu = Menu(
        "?stop", f"The round {one.name} of {one.date}. Which stop?", (*stops, *more), _taker(desk, one)
    )
    desk.show(menu, notice)


def _state(row: Row) -> str:
    if row.skipped:
        return f"skipped, {row.skipped}"
    file = journal_path(row.path)
    return fold(read_journal(file.read_bytes())[0]).state if file.is_file() else "not begun"


def _taker(desk: Desk, one: RoundFolder) -> Any:
    def take(text: str) -> None:
        if text == RUN:
            _run(desk, one)
        elif text == OTHERS:
            desk.choose()
        elif text == SKIP:
            open_rows = [(n, row) for n, row in enumerate(one.rows, 1) if not row.skipped]
            ways = tuple(Choice(str(n), row.path.stem) for n, row in open_rows)
            desk.show(Menu("?skip", "Which stop is skipped?", ways, _why(desk, one)))
        else:
            _step(desk, one, one.rows[int(text) - 1])

    return take


def _why(desk: Desk, one: RoundFolder) -> Any:
    def which(text: str) -> None:
        row = one.rows[int(text) - 1]

        def take(why: str) -> None:
            if not why:
                raise CorrectTheEntry("A skipped stop says why; type the reason, or go back with ^.")
            skip_stop(one, row, why)
            desk.home()

        desk.show(Menu("?why", f"{row.tag} is skipped, because", (), take, free=True))

    return which


def _step(desk: Desk, one: RoundFolder, row: Row) -> None:
    if row.skipped:
        raise CorrectTheEntry(
            f"{row.tag} is skipped: {row.skipped}. Take skipped out of round.toml to do it."
        )
    if journal_path(row.path).is_file():
        desk.open_sheet(row.path)
        return
    raw, _document = read_sheet(row.path)
    procedure = known(row.procedure, "procedure", PROCEDURES)
    known(row.tag, "analyzer", desk.plant.analyzers)
    desk.begin_with(row.path, procedure, row.tag, raw, _agreed(one.head, _shared(one, row)))


def _agreed(head: Mapping[str, Any], shared: Mapping[str, Any]) -> dict[str, Any]:
    """Return the head of a round with what its stops have answered besides; the head counts."""
    both = dict(head)
    for name, value in shared.items():
        typed = head.get(name) or {}
        if isinstance(typed, Mapping) and all(value.get(key) == said for key, said in typed.items() if said):
            both[name] = value
    return both


def _shared(one: RoundFolder, row: Row) -> dict[str, Any]:
    """Return what the stops already walked have answered for all: who, when, whom told."""
    found: dict[str, Any] = {}
    for other in one.rows:
        file = journal_path(other.path)
        if other.path == row.path or not file.is_file():
            continue
        raw = fold(read_journal(file.read_bytes())[0]).raw
        names = [name for name in SHARED if name != "cautions" or other.procedure == row.procedure]
        # Whole parts: half of one stop's answer and half of another's is what nobody said.
        found = {**{name: raw[name] for name in names if name in raw}, **found}
    return found


def _run(desk: Desk, one: RoundFolder) -> None:
    from wqverify.show.terminal import summary

    desk.read_plant()
    walked = perform_walk(desk.plant, [one.folder], desk.clock())
    texts = [summary(done.record) for done in walked.performed]
    texts += [f"Skipped: {row.tag} {row.procedure}, {row.skipped}" for row in one.skipped]
    by = str(one.head.get("performed_by", ""))
    texts.append(f'Next: sign it in the terminal, wqverify sign "{one.folder}" --by {by}')
    page = walked.rounds[0].page.relative_to(desk.plant.folder).as_posix()
    desk.show_result("\n\n".join(texts), page)
