"""wqverify due, wqverify done."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import click

from wqverify.cli.common import echo, json_option, now, opened, plant_option, print_json, words

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from wqverify.lists.due import Due, DueList
    from wqverify.lists.plan_kept import Item, PlanKept
    from wqverify.lists.take import Take

WIDTH = 96
SYNTHETIC = "Synthetic data: an invented plant."


@click.command()
@click.option("--until", metavar="DATE", help="Last day of the list; without it a week ahead.")
@plant_option
@json_option
def due(until: str | None, plant_folder: Path | None, as_json: bool) -> None:
    """List what is due and when, in walking order, and what to take along.

    A check is due its interval of the register after the last record that stands, by tag and serial. What was
    skipped since stands there with its reason. What to take along is what the usual answers of the round
    name, else what the last record names.
    """
    from wqverify.lists.due import due as due_of
    from wqverify.plant.clock import day

    plant = opened(plant_folder)
    found = due_of(plant, now(), day(until) if until is not None else None)
    if as_json:
        print_json(_plain({"synthetic": plant.site.synthetic, **asdict(found)}))
        return
    if plant.site.synthetic:
        echo(SYNTHETIC)
    for line in due_lines(found):
        echo(line)


@click.command()
@click.argument("month")
@plant_option
@json_option
def done(month: str, plant_folder: Path | None, as_json: bool) -> None:
    """List how the plan of a month was kept: done, late, skipped, not done.

    MONTH is YYYY-MM. The plan is the register as the book accepted it then; the list says which.
    """
    from wqverify.lists.plan_kept import plan_kept

    plant = opened(plant_folder)
    found = plan_kept(plant, month, now())
    if as_json:
        told = {"synthetic": plant.site.synthetic, **asdict(found), "counts": found.counts}
        print_json(_plain(told))
        return
    if plant.site.synthetic:
        echo(SYNTHETIC)
    for line in done_lines(found):
        echo(line)


# ---------------------------------------------------------------- due


def due_lines(found: DueList) -> Iterator[str]:
    """Give the list as lines of text."""
    never = sum(item.due is None for item in found.items)
    late = sum(item.overdue > 0 for item in found.items)
    yield f"Due up to {found.until}: {words(len(found.items), 'check')}, {late} overdue, {never} never done"
    last = None
    for item in found.items:
        if item.round != last:
            yield f"Round {item.round}" if item.round else "On no round"
            last = item.round
        yield from _due_item(item, found.today)
    if found.take:
        yield "Take along"
        for thing in found.take:
            yield from _wrapped(_taken(thing), "  ")
            for problem in thing.problems:
                yield from _wrapped(f"! {problem}", "      ")
    keys = dict.fromkeys((item.work.tag, item.take) for item in found.items if item.take)
    for tag, things in keys:
        yield from _wrapped(f"for {tag}: {', '.join(things)}", "  ")
    if found.later:
        yield f"Due later: {words(found.later, 'check')}"


def _due_item(item: Due, today: date) -> Iterator[str]:
    work = item.work
    if item.due is None or item.last_on is None:
        when = f"never done on {work.serial}, {item.interval}"
    else:
        when = f"due {item.due}, {_from_today(item, today)}; last {item.last_on} {item.last}"
        when += f", {item.interval}"
    yield from _wrapped(f"{work.tag} {item.title}: {when}", "  ")
    for one in item.skipped:
        yield from _wrapped(f"skipped on {one.day} by {one.by}: {one.why}", "      ")
    if item.needs:
        named = ", ".join(need.id for need in item.needs)
        yield from _wrapped(f"needs {named} ({item.needs_from})", "      ")


def _from_today(item: Due, today: date) -> str:
    if item.due == today:
        return "today"
    if item.overdue:
        return f"{words(item.overdue, 'day')} overdue"
    return f"in {words((item.due - today).days, 'day')}" if item.due is not None else ""


def _taken(thing: Take) -> str:
    said = f"{thing.id} {thing.name}"
    if thing.lot:
        said += f", {thing.lot if ' ' in thing.lot else f'lot {thing.lot}'}"
    if thing.volume_ml:
        said += f": {thing.volume_ml} mL, up to {thing.at_most_ml} mL where it is cleaned and left again"
    if thing.usable_until:
        said += f"; usable until {thing.usable_until}"
    if thing.calibration_due:
        said += f"; calibration due {thing.calibration_due}"
    return said


# ---------------------------------------------------------------- done


def done_lines(found: PlanKept) -> Iterator[str]:
    """Give the list as lines of text."""
    yield f"Plan of {found.month} as of {found.as_of}"
    for told in found.plan:
        yield from _wrapped(f"by the {told}" if told.startswith("register") else f"by {told}", "  ")
    yield ", ".join(f"{count} {state}" for state, count in found.counts.items())
    last = None
    for item in found.items:
        if item.work != last:
            yield f"{item.work.tag} {item.title}, {item.interval}"
            last = item.work
        yield from _wrapped(_kept(item), "  ")
        for one in item.skipped:
            yield from _wrapped(f"skipped on {one.day} by {one.by}: {one.why}", "      ")
    if found.unplanned:
        yield f"Done besides the plan: {words(len(found.unplanned), 'record')}"
        for stands in found.unplanned:
            yield f"  {stands.day} {stands.tag} {stands.procedure} {stands.number}"


def _kept(item: Item) -> str:
    due_on = f"due {item.due}" if item.due is not None else f"never done before on {item.work.serial}"
    if item.done_on is None:
        late = f", {words(item.days_late, 'day')}" if item.days_late and item.state == "not done" else ""
        return f"{due_on}: {item.state}{late}"
    outcome = f"; {_outcome(item)}" if _outcome(item) else f"; {item.blind} evaluated" if item.blind else ""
    late = f" {words(item.days_late, 'day')} late" if item.days_late else ""
    return f"{due_on}: done {item.done_on}{late}, {item.number}{outcome}"


def _outcome(item: Item) -> str:
    found = item.outcomes or {}
    told = {stage: out for stage, out in found.items() if stage.startswith("as_found")} or found
    return ", ".join(f"{stage.replace('_', ' ')} {out}" for stage, out in told.items())


# ---------------------------------------------------------------- both


def _wrapped(text: str, indent: str) -> list[str]:
    return wrap(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=f"{indent}    ",
        break_on_hyphens=False,
        break_long_words=False,
    )


def _plain(value: Any) -> Any:
    """Return plain data for JSON: days and numbers as their texts."""
    if isinstance(value, dict):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return value if value is None or isinstance(value, str | int | float | bool) else str(value)
