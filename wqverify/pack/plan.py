"""Due, done, late and skipped in the month: the list `done` as rows of the pack."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime

from wqverify.lists.plan import title_of
from wqverify.lists.plan_kept import STATES, Item, plan_kept
from wqverify.pack.tables import Head, Sheet
from wqverify.plant.folder import Plant
from wqverify.show.lookup import NONE

HEADS = (
    Head("analyzer", "short"),
    Head("serial", "short"),
    Head("procedure name"),
    Head("how often", "short"),
    Head("due", "short"),
    Head("how it ended"),
    Head("done on", "short"),
    Head("record", "short"),
    Head("days late", "short"),
    Head("round"),
    Head("skipped, because"),
)


def plan_sheet(plant: Plant, month: str, as_of: datetime, newest: date) -> Sheet:
    """Return how the plan of the month was kept, as of a time; ``newest`` is the day of the newest entry."""
    kept = plan_kept(plant, month, as_of)
    counts = Counter(item.ended for item in kept.items)
    counted = "; ".join(f"{counts[state]} {state}" for state in sorted(counts, key=_in_order))
    plan = "; ".join(kept.plan)
    about = (
        f"Due up to {kept.as_of}, as known at the newest entry ({newest}): {counted or 'nothing was due'}. "
        f"A check is due again its interval after the last one that stands, by tag and serial; what is "
        f"about a month counts for it. Days late of what was not done count to its next due date, to the end "
        f"of the month or to that entry, whichever came first. The plan: {plan}."
    )
    outside = [(one.tag, one.serial, one.procedure, one.day, one.number) for one in kept.unplanned]
    rows = [*map(_row, kept.items), *(_unplanned(*one) for one in outside)]
    none = "The register has no interval for any check: nothing was due."
    return Sheet("plan", "Plan", "Due, done, late and skipped", HEADS, rows, about, none)


def _in_order(state: str) -> tuple[int, str]:
    word = state.split(",")[0]
    return next((n for n, known in enumerate(STATES) if known == word), len(STATES)), state


def _row(item: Item) -> tuple[str, ...]:
    work = item.work
    return (
        work.tag,
        work.serial,
        item.title,
        item.interval,
        str(item.due) if item.due is not None else "no such record before",
        item.ended,
        str(item.done_on or NONE),
        item.number or NONE,
        str(item.days_late or NONE),
        item.round or NONE,
        "; ".join(f"{one.day}, {one.by}: {one.why}" for one in item.skipped) or NONE,
    )


def _unplanned(tag: str, serial: str, procedure: str, day: str, number: str) -> tuple[str, ...]:
    title = title_of(procedure)
    return tag, serial, title, NONE, NONE, "done, not in the plan", day, number, NONE, NONE, NONE
