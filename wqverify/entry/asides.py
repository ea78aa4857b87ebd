"""Questions of the program itself: why, are you sure, who says so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from wqverify.entry import offered
from wqverify.entry.around import found
from wqverify.entry.journal import JournalLine
from wqverify.entry.screen import Choice, Form
from wqverify.errors import CorrectTheEntry

if TYPE_CHECKING:
    from wqverify.entry.visit import Visit


@dataclass(frozen=True)
class Aside:
    """One such question; ``take`` is given its answer, nothing is stored before."""

    path: str
    label: str
    take: Callable[[str], None]
    choices: tuple[Choice, ...] = ()
    form: Form = "text"
    help: str = ""
    may_be_empty: bool = False


def not_done(visit: Visit) -> None:
    """Say of the part why it was not done."""
    step = visit.step
    if step is None or not step.group:
        raise CorrectTheEntry(
            "This answer cannot be not done: the sheet needs it. Stop with &, or pass it on with ~."
        )
    if step.first and step.spare.startswith(f"{step.group}."):
        visit.write(JournalLine(do="leave out", path=step.spare))  # the inner part, which need not be done
        return
    group, standing = step.group, found(visit.folded.raw, step.group)

    def take(why: str) -> None:
        line = JournalLine(do="not done", path=group, text=why, was=standing)
        visit.write(visit.spoken(line))
        visit.voice, visit.at = None, ""

    label = f"{offered.group_label(visit, step)}: not done, because"
    if standing:
        label = f"{offered.group_label(visit, step)} is begun: what stands in it is struck out. Why?"
    visit.ask(Aside(f"{group}?not done", label, take, offered.reasons(visit, group)))
