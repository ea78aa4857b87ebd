"""Uses of recorded values that cannot be, and people told of a doubt before there was one."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from wqverify.errors import ChooseAnother
from wqverify.procedures.doubt_case import Case
from wqverify.procedures.doubt_limits import SHIPPED
from wqverify.procedures.doubt_sheet import DoubtSheet, UsedFor
from wqverify.procedures.grab_sizes import TURBIDITY, measurand_of
from wqverify.terms import Given

OF_LOW_VALUES: tuple[UsedFor, ...] = ("lowest of the day", "too low for 4 h")


def refuse_uses(sheet: DoubtSheet, given: Given) -> None:
    """Raise ChooseAnother for a use that looks for low values where high ones matter, or the other way."""
    turbid = measurand_of(given.analyzer) is TURBIDITY
    for n, used in enumerate(sheet.used):
        what, own = used.what, SHIPPED.get(used.what)
        low = what in OF_LOW_VALUES
        if low and turbid:
            why = f"{given.analyzer.tag} measures turbidity, where high values matter"
        elif own is not None and used.direction is not None and used.direction != own[2].direction:
            why = f"it counts {own[2].direction} a limit, and the sheet says {used.direction}"
        else:
            continue
        ways = "never above, two in a row, alarm" if low else "lowest of the day, too low for 4 h, alarm"
        raise ChooseAnother(
            f"Use {n + 1} is {what!r}, and {why}; name another one ({ways}, or a limit of your own).",
            found=what,
            where=f"used.{n}.what",
        )


def told_early(case: Case) -> Iterator[str]:
    """Say who was informed before the failed check began, when nobody could know of the doubt."""
    began = datetime.fromisoformat(case.failed.performed)
    for n, row in enumerate(case.sheet.informed):
        at = case.given.times.get(f"informed.{n}.at")
        if at is not None and datetime.fromisoformat(at) < began:
            yield (
                f"{row.who} was informed at {_clock(at)}, before the failed check {case.failed.number} began "
                f"at {_clock(case.failed.performed)}: right for work that was announced, else correct the "
                f"time; of what it found nobody could be told then."
            )


def _clock(iso: str) -> str:
    return iso[:16].replace("T", " ")
