"""wqverify today."""

from __future__ import annotations

import shlex
from dataclasses import replace
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import click

from wqverify.cli.common import echo, json_option, now, opened, plant_option, print_json, words
from wqverify.errors import WqverifyError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime, timedelta

    from wqverify.lists.clocks import Running
    from wqverify.lists.due import Due
    from wqverify.lists.opened import Opened
    from wqverify.lists.out_of_use import OutOfUse, Where
    from wqverify.lists.today import Sheet, Today, Unreadable, Walk
    from wqverify.plant.folder import Plant

WIDTH = 96
_HEADINGS = {
    "open": "Open",
    "waiting for the laboratory": "Waiting for the laboratory",
    "passed on": "Passed on",
    "begun by mistake": "Begun by mistake, with something still out of use",
    "complete": "Complete, to be run",
}


@click.command()
@plant_option
@json_option
def today(plant_folder: Path | None, as_json: bool) -> None:
    """List outputs still held, clocks that run, open sheets.

    What is out of use comes first, the oldest on top; then clocks, such as the next grab of an outage or the
    report of a month, until `wqverify follow-up` says that it was done; sheets
    that are open, wait for the laboratory, are passed on or are complete and not run; one begun by mistake
    only while something is out of use by it; rounds that are not run; what a record asks for and no later
    one answered; checks that are due; bottles, calibrations and licences that run out within 30 days; files
    that cannot be read.
    """
    from wqverify.lists.today import today as today_of

    plant, unreadable = _opened(plant_folder)
    found = today_of(plant, now())
    found = replace(found, unreadable=unreadable + found.unreadable)
    if as_json:
        print_json(_document(found))
        return
    for line in today_lines(found):
        echo(line)


def _opened(plant_folder: Path | None) -> tuple[Plant, tuple[Unreadable, ...]]:
    """Open the plant folder; a mistake in one of its files is a line and hides no output still held.

    Without plant.toml nothing is known of the plant, nor of its clock: a mistake there is told alone.
    """
    from wqverify.lists.today import Unreadable
    from wqverify.plant.folder import LEFT_OUT_WITH

    told: list[Unreadable] = []
    without: set[str] = set()
    while True:
        try:
            return opened(plant_folder, without=without), tuple(told)
        except WqverifyError as problem:
            file = next((name for name in LEFT_OUT_WITH if name in str(problem.where or problem.message)), "")
            if not file or file in without:
                raise
            told.append(Unreadable(file, problem.message))
            without |= {*LEFT_OUT_WITH[file]}


def today_lines(found: Today) -> Iterator[str]:
    """Give the list as lines of text."""
    if found.out_of_use:
        yield f"Out of use: {len(found.out_of_use)}"
        for one in found.out_of_use:
            yield from _wrapped(_out_of_use(one, found.now))
    if found.clocks:
        yield f"Clocks running: {len(found.clocks)}"
        for running in found.clocks:
            yield from _wrapped(_running(running, found.now))
            if running.where.number and running.clock.key and not running.clock.only_by:
                yield _next("follow-up", running.where.number, running.clock.key)
    ready = {walk.folder for walk in found.rounds if walk.ready}
    for state, heading in _HEADINGS.items():
        if sheets := found.in_state(state):
            yield f"{heading}: {words(len(sheets), 'sheet')}"
            for sheet in sheets:
                yield from _wrapped(_sheet(sheet, found.now))
                yield _command(sheet, ready)
    if found.rounds:
        yield f"Rounds not run: {len(found.rounds)}"
        for walk in found.rounds:
            yield from _wrapped(_walk(walk))
            yield _next("run", walk.folder) if walk.ready else _next("step", "--round", walk.folder)
    if found.opened:
        yield f"Asked for by a record, not answered: {len(found.opened)}"
        for asked in found.opened:
            yield from _wrapped(_asked(asked))
            yield _next("step", asked.procedure, asked.tag)
    if found.undecided:
        yield f"Decided on two devices, to be sorted out: {len(found.undecided)}"
        for sentence in found.undecided:
            yield from _wrapped(sentence)
    if found.unreadable:
        yield f"Cannot be read: {words(len(found.unreadable), 'file')}"
        for file in found.unreadable:
            named = file.sentence.startswith(file.file)
            yield from _wrapped(file.sentence if named else f"{file.file}: {file.sentence}")
    if found.empty:
        yield "Nothing is open."
    if found.due:
        yield f"Due: {words(len(found.due), 'check')}; wqverify due shows what to take"
        for check in found.due:
            yield from _wrapped(_due(check))
    if found.expiring:
        yield f"Running out: {len(found.expiring)}"
        for dated in found.expiring:
            past = ", which is past" if dated.past(found.now.date()) else ""
            yield from _wrapped(f"{dated.name}: {dated.what} until {dated.until}{past}")


def _out_of_use(one: OutOfUse, here: datetime) -> str:
    if one.since is None:
        since = f"since when nobody can tell: {one.problem.rstrip('.')}"
    elif one.since > here:
        ahead = _lasted(one.since - here)
        since = f"since {_clock(one.since)}, which this computer's clock reaches only in {ahead}"
    else:
        since = f"since {_clock(one.since)}, {_lasted(here - one.since)}"
    because = f", left so because {one.left_because}" if one.left_because else ""
    return f"{one.where.tag}: {one.what} {since}{because}, {_from(one.where)}"


def _from(where: Where) -> str:
    by = f" by {where.by}" if where.by else ""
    source = f"record {where.number}" if where.number else f"sheet {where.sheet}"
    return f"{where.title}{by}, {source}"


def _running(one: Running, here: datetime) -> str:
    ahead = one.due - here
    when = f"in {_lasted(ahead)}" if ahead.total_seconds() >= 0 else f"overdue by {_lasted(-ahead)}"
    due = f"due {_clock(one.due.astimezone(here.tzinfo))}, {when}"
    return f"{one.where.tag}: {one.clock.what} {due} ({one.clock.source}), {_from(one.where)}"


def _due(one: Due) -> str:
    if one.due is None:
        when = "never done on this instrument"
    else:
        when = f"due {one.due}" + (f", overdue {words(one.overdue, 'day')}" if one.overdue else "")
    skipped = f"; skipped {one.skipped[-1].day}, because {one.skipped[-1].why}" if one.skipped else ""
    return f"{one.work.tag}: {one.title} {when}{skipped}"


def _asked(one: Opened) -> str:
    from wqverify.lists.out_of_use import Where

    title = Where(one.tag, one.procedure).title
    return f"{one.tag}: {title}, because {one.because}, record {one.number} of {one.performed[:10]}"


def _sheet(sheet: Sheet, here: datetime) -> str:
    where = sheet.where
    by = f" by {where.by}" if where.by else ""
    to = f" to {sheet.to}" if sheet.to else ""
    text = f": {sheet.text}" if sheet.text else ""
    said = f"; {sheet.state}{to}{text}" if to or text else ""
    last = f"; last answer {_label(sheet)} {_ago(here - sheet.last_at)}"
    return f"{where.tag}: {where.title}{by}{said}{last}"


def _command(sheet: Sheet, ready: set[str]) -> str:
    """Return what is to be done with a sheet; one of a round is run with it, once the others are complete."""
    if sheet.state != "complete":
        return _next("step", sheet.where.sheet)
    if sheet.folder and sheet.folder not in ready:
        return _next("step", "--round", sheet.folder)
    return _next("run", sheet.folder or sheet.where.sheet)


def _next(*words: str) -> str:
    """Return the command that goes on, whole on a line of its own, so that it can be copied."""
    return "      " + shlex.join(("wqverify", *words))


def _walk(walk: Walk) -> str:
    waits = ", ".join(walk.stops)
    complete = f", {walk.complete} of them complete" if walk.complete and not walk.ready else ""
    return f"{walk.date} {walk.name}: {len(walk.stops)} of {walk.count} not in the book ({waits}){complete}"


def _label(sheet: Sheet) -> str:
    """Return what the sheet calls the answer that was given last."""
    from wqverify.entry.told import label_of
    from wqverify.procedures import PROCEDURES

    if not sheet.last:
        return "none yet, begun"
    if sheet.where.procedure not in PROCEDURES:
        return f'"{sheet.last}"'
    return f'"{label_of(PROCEDURES[sheet.where.procedure].Sheet, sheet.last)}"'


def _clock(moment: datetime) -> str:
    """Return a time as a person says it: the clock first."""
    return f"{moment:%H:%M} ({moment:%Y-%m-%d})"


def _ago(span: timedelta) -> str:
    return f"{_lasted(span)} ago" if span.total_seconds() >= 0 else f"{_lasted(-span)} ahead of this clock"


def _lasted(span: timedelta) -> str:
    """Return a length of time.

    >>> from datetime import timedelta
    >>> [_lasted(timedelta(minutes=m)) for m in (45, 125, 3000)]
    ['45 min', '2 h 05 min', '2 d 2 h']
    """
    minutes = int(span.total_seconds() // 60)
    if minutes < 60:
        return f"{minutes} min"
    hours, left = divmod(minutes, 60)
    return f"{hours} h {left:02d} min" if hours < 24 else f"{hours // 24} d {hours % 24} h"


def _wrapped(text: str) -> list[str]:
    return wrap(
        text,
        WIDTH,
        initial_indent="  ",
        subsequent_indent="      ",
        break_on_hyphens=False,
        break_long_words=False,
    )


# ---------------------------------------------------------------- as one document


def _document(found: Today) -> dict[str, Any]:
    return {
        "now": found.now.isoformat(timespec="seconds"),
        "out_of_use": [
            {
                **_where(one.where),
                "what": one.what,
                "since": one.since.isoformat(timespec="minutes") if one.since else None,
                "minutes": int((found.now - one.since).total_seconds() // 60) if one.since else None,
                "left_because": one.left_because or None,
                "problem": one.problem or None,
            }
            for one in found.out_of_use
        ],
        "clocks": [
            {
                **_where(one.where),
                "what": one.clock.what,
                "due": one.clock.due,
                "minutes": int((one.due - found.now).total_seconds() // 60),
                "source": one.clock.source,
                "key": one.clock.key or None,
            }
            for one in found.clocks
        ],
        "sheets": [
            {
                **_where(one.where),
                "state": one.state,
                "began": one.began.isoformat(timespec="seconds"),
                "last_at": one.last_at.isoformat(timespec="seconds"),
                "last": one.last or None,
                "to": one.to or None,
                "text": one.text or None,
                "round": one.folder or None,
            }
            for one in found.sheets
        ],
        "rounds": [
            {
                "folder": one.folder,
                "round": one.name,
                "date": one.date,
                "waiting": list(one.stops),
                "stops": one.count,
                "ready": one.ready,
            }
            for one in found.rounds
        ],
        "opened": [
            {
                "tag": one.tag,
                "procedure": one.procedure,
                "number": one.number,
                "performed": one.performed,
                "because": one.because,
            }
            for one in found.opened
        ],
        "due": [
            {
                "tag": one.work.tag,
                "procedure": one.work.procedure,
                "due": one.due.isoformat() if one.due else None,
                "overdue_days": one.overdue,
                "last": one.last or None,
            }
            for one in found.due
        ],
        "expiring": [
            {"name": one.name, "what": one.what, "until": one.until, "past": one.past(found.now.date())}
            for one in found.expiring
        ],
        "undecided": list(found.undecided),
        "unreadable": [{"file": one.file, "sentence": one.sentence} for one in found.unreadable],
    }


def _where(where: Where) -> dict[str, str | None]:
    return {
        "tag": where.tag,
        "procedure": where.procedure,
        "by": where.by or None,
        "sheet": where.sheet or None,
        "number": where.number or None,
    }
