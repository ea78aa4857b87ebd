"""Due, done, late and skipped in the month: the list `done` as rows of the pack."""

from __future__ import annotations

from datetime import datetime

from wqverify.lists.plan import title_of
from wqverify.lists.plan_kept import Item, plan_kept
from wqverify.pack.tables import Head, Sheet
from wqverify.plant.folder import Plant
from wqverify.show.lookup import NONE

HEADS = (
    Head("analyzer", "short"),
    Head("serial", "short"),
    Head("procedure"),
    Head("how often", "short"),
    Head("due", "short"),
    Head("how it ended"),
    Head("done on", "short"),
    Head("record", "short"),
    Head("days late", "short"),
    Head("round"),
    Head("skipped, because"),
)


def plan_sheet(plant: Plant, month: str, as_of: datetime) -> Sheet:
    """Return how the plan of the month was kept, as of a time."""
    kept = plan_kept(plant, month, as_of)
    counted = ", ".join(f"{count} {state}" for state, count in kept.counts.items() if count)
    plan = "; ".join(kept.plan)
    about = (
        f"As of {kept.as_of}: {counted or 'nothing was due'}. A check is due again its interval after the "
        f"last one that stands, by tag and serial. The plan: {plan}."
    )
    outside = [(one.tag, one.serial, one.procedure, one.day, one.number) for one in kept.unplanned]
    rows = [*map(_row, kept.items), *(_unplanned(*one) for one in outside)]
    none = "The register has no interval for any check: nothing was due."
    return Sheet("plan", "Plan", "Due, done, late and skipped", HEADS, rows, about, none)


def _row(item: Item) -> tuple[str, ...]:
    work = item.work
    return (
        work.tag,
        work.serial,
        item.title,
        item.interval,
        str(item.due) if item.due is not None else "no such record before",
        item.state,
        str(item.done_on or NONE),
        item.number or NONE,
        str(item.days_late or NONE),
        item.round or NONE,
        "; ".join(f"{one.day}, {one.by}: {one.why}" for one in item.skipped) or NONE,
    )


def _unplanned(tag: str, serial: str, procedure: str, day: str, number: str) -> tuple[str, ...]:
    title = title_of(procedure)
    return tag, serial, title, NONE, NONE, "done, not in the plan", day, number, NONE, NONE, NONE
