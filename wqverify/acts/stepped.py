"""The journal of a sheet that was stepped through: complete, and saying what the sheet says, or refused."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from wqverify.entry.fold import Folded, fold
from wqverify.entry.journal import journal_path, read_journal
from wqverify.entry.told import Differing, differing, label_of
from wqverify.errors import CorrectTheEntry, RepairTheFolder
from wqverify.terms import Procedure, Raw

SHOWN = 5  # differences that are named


@dataclass(frozen=True)
class Stepped:
    """The journal of one sheet: its bytes, and what they come to."""

    data: bytes
    folded: Folded


def journal_of(sheet: Path) -> Stepped | None:
    """Return the journal beside a sheet, None where there is none.

    Raises CorrectTheEntry for one that is not complete, RepairTheFolder for one that is damaged.
    """
    path = journal_path(sheet)
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as problem:
        raise RepairTheFolder(
            f"{path.name} cannot be read ({problem.strerror or problem}); let this user read it.",
            where=path.name,
        ) from problem
    try:
        folded = fold(read_journal(data)[0])
    except RepairTheFolder as problem:
        raise RepairTheFolder(
            f"{path.name}: {problem.message}", found=problem.found, where=f"{path.name}, {problem.where}"
        ) from None
    if folded.state != "complete":
        raise CorrectTheEntry(
            f"{sheet.name}: the visit is not complete: it is {_state(folded)}. Finish it by "
            f"`wqverify step {sheet}`, then run it.",
            found=folded.state,
            expected="complete",
            where=path.name,
        )
    return Stepped(data, folded)


def _state(folded: Folded) -> str:
    if not folded.count:
        return "only half begun"
    to = f" to {folded.state_to}" if folded.state_to else ""
    text = f" ({folded.state_text})" if folded.state_text else ""
    return f"{folded.state}{to}{text}"


def insist_on_journal(stepped: Stepped, procedure: Procedure, sheet: Raw, path: Path) -> None:
    """Raise CorrectTheEntry, naming the answers, where a sheet says otherwise than its journal."""
    found = differing(stepped.folded, sheet)
    if not found:
        return
    told = "; ".join(_told(one, procedure) for one in found[:SHOWN])
    more = f"; and {len(found) - SHOWN} more" if len(found) > SHOWN else ""
    raise CorrectTheEntry(
        f"{path.name} says otherwise than its journal: {told}{more}. Nothing was entered; "
        f"`wqverify step {path}` takes the differences up as corrections, with a reason.",
        found=found[0].sheet,
        expected=found[0].journal,
        where=f"{path.name}, {found[0].path}",
    )


def _told(one: Differing, procedure: Procedure) -> str:
    label = label_of(procedure.Sheet, one.path)
    return f"{label} ({one.path}) is {said(one.journal)} in the journal and {said(one.sheet)} on the sheet"


def said(text: str) -> str:
    """Return an answer for a sentence, shortened."""
    shown = text if len(text) <= 60 else text[:59] + "…"
    return f"'{shown}'" if text else "not answered"
