"""wqverify triage."""

from __future__ import annotations

import shlex
from dataclasses import asdict, replace
from datetime import datetime
from itertools import groupby
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import click

from wqverify.cli.common import echo, json_option, opened, plant_option, print_json, words
from wqverify.cli.trend_commands import reading_options, told_over
from wqverify.errors import ChooseAnother, CorrectTheEntry, RepairTheFolder

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from wqverify.lists.triage import Triage
    from wqverify.lists.triage_findings import Finding
    from wqverify.lists.triage_windows import Away
    from wqverify.plant.folder import Plant
    from wqverify.trends.options import ExportOptions

WIDTH = 96
MOST = 12  # findings of one kind that are listed; of the gravest kinds all are


@click.command()
@click.argument("exports", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="EXPORT...")
@plant_option
@reading_options
@click.option("--channel", "channels", multiple=True, metavar="NAME", help="Look at this channel only.")
@click.option(
    "--range", "ranges", nargs=3, multiple=True, metavar="CHANNEL LOW HIGH", help="Ends of its range."
)
@click.option(
    "--twin", "twins", nargs=2, multiple=True, metavar="CHANNEL TWIN", help="Two of the same water."
)
@click.option(
    "--window",
    "windows",
    nargs=3,
    multiple=True,
    metavar="TAG START END",
    help='A verification window in plant time, such as AIT-2301 "2026-10-13 08:00" "2026-10-13 09:10".',
)
@click.option("--chart", type=click.Path(path_type=Path), metavar="FILE", help="Draw it as .svg or .png.")
@json_option
def triage(
    exports: tuple[Path, ...],
    plant_folder: Path | None,
    channels: tuple[str, ...],
    ranges: tuple[tuple[str, str, str], ...],
    twins: tuple[tuple[str, str], ...],
    windows: tuple[tuple[str, str, str], ...],
    chart: Path | None,
    as_json: bool,
    **reading: Any,
) -> None:
    """Look over trend exports: flat, clamped, gaps, spikes, noise, twins, gravest first.

    The plant folder gives ranges, verification windows of its records, and trends/exports.toml; without one
    these are not known. What lies in a window is no fault. Whatever is found, the exit code is 0.
    """
    from wqverify.lists.triage import triage as triage_of
    from wqverify.plant.exports import options_of
    from wqverify.trends.options import ExportOptions

    if chart is not None and len(exports) != 1:
        raise ChooseAnother("--chart draws one export; name one.", found=str(len(exports)), expected="1")
    plant = _plant(plant_folder)
    found = []
    for export in exports:
        options = told_over(options_of(plant, export.name) if plant else ExportOptions(), reading)
        options = _with_twins(_with_ranges(options, ranges), twins)
        away = list(_windows(windows, plant, options))
        found.append(triage_of(export, options, plant, away, channels))
    _insist_on_windows(windows, found)
    if chart is not None:
        _draw(found[0], chart)
    if as_json:
        print_json([_document(one, plant is not None) for one in found])
        return
    for one in found:
        for line in triage_lines(one, plant is not None):
            echo(line)


def _plant(folder: Path | None) -> Plant | None:
    """The plant folder named, or the nearest one above; none where there is none."""
    from wqverify.plant.folder import find_plant

    if folder is None:
        try:
            folder = find_plant(Path.cwd())
        except RepairTheFolder:
            return None
    return opened(folder)


def _with_ranges(options: ExportOptions, ranges: Sequence[tuple[str, str, str]]) -> ExportOptions:
    from wqverify.trends.cells import number

    for name, low, high in ranges:
        ends = [number(text, ".") for text in (low, high)]
        if ends[0] is None or ends[1] is None or ends[0] >= ends[1]:
            raise CorrectTheEntry(
                f"--range {name} {low} {high}: two numbers were expected, the lower end first.",
                found=f"{low} {high}",
                expected="two numbers",
                where="--range",
            )
        options = _told(options, name, low=float(ends[0]), high=float(ends[1]))
    return options


def _with_twins(options: ExportOptions, twins: Sequence[tuple[str, str]]) -> ExportOptions:
    for name, twin in twins:
        options = _told(options, name, twin=twin)
    return options


def _told(options: ExportOptions, name: str, **told: Any) -> ExportOptions:
    """The options with more told of one channel, which may have another name than its column."""
    from wqverify.trends.options import ChannelOptions

    column = next((key for key, one in options.channels.items() if one.name == name), name)
    before = options.channels.get(column, ChannelOptions())
    after = replace(before, triage=replace(before.triage, **told))
    return replace(options, channels={**options.channels, column: after})


def _windows(
    windows: Sequence[tuple[str, str, str]], plant: Plant | None, options: ExportOptions
) -> Iterator[Away]:
    from wqverify.lists.triage_windows import entered
    from wqverify.trends.options import zone_of

    zone = plant.zone if plant else zone_of(options.time_zone or "UTC")
    for tag, start, end in windows:
        yield entered(tag, start, end, zone)


def _insist_on_windows(windows: Sequence[tuple[str, str, str]], found: Sequence[Triage]) -> None:
    """Refuse a window of a name that no export has: what lies in it would be told as a fault."""
    from wqverify.lists.triage_windows import ALL

    names = dict.fromkeys(
        name for one in found for channel in one.channels for name in (channel.name, channel.tag)
    )
    known = [name for name in names if name]
    for tag, start, end in windows:
        if tag != ALL and tag not in known:
            raise ChooseAnother(
                f"--window {tag} {start} {end}: no channel is called {tag[:60]}; there is "
                f"{', '.join(known)[:200]}, and {ALL} is every one.",
                found=tag,
                expected=", ".join(known),
                where="--window",
            )


def _draw(found: Triage, file: Path) -> None:
    from wqverify.durable import write_durably
    from wqverify.lists.triage_chart import chart

    write_durably(file, chart(found, file.suffix.lower().removeprefix(".")))


# ---------------------------------------------------------------- as text


def triage_lines(found: Triage, plant: bool) -> Iterator[str]:
    """Give what was found in an export as lines of text."""
    from wqverify.lists.triage_words import TAKEN, UNSIGNED, clock

    channels = words(len(found.channels), "channel")
    first = min((one.first for one in found.channels if one.rows), default=0)
    last = max((one.last for one in found.channels if one.rows), default=0)
    yield f"{found.file}: {channels}, {clock(first, found.zone)} to {clock(last, found.zone)} {found.zone}"
    yield from _wrapped(UNSIGNED, "  ", "  ")
    tested = any(one.settings for one in found.channels)
    if not found.findings:
        yield "Nothing was found." if tested else "Nothing could be tested, see why below."
    elif any(found.stamps.values()):
        yield "  In brackets: lines of the file, and its own times where its clock is another one."
    yield from _findings(found)
    yield from _windows_told(found, plant)
    yield from _not_tested(found)
    yield "How it was read"
    for sentence in found.told:
        yield from _wrapped(sentence, "  ", "    ")
    yield from _wrapped(TAKEN, "  ", "  ")


def _findings(found: Triage) -> Iterator[str]:
    from wqverify.lists.triage_findings import CLAMPED, DEAD, FLAT
    from wqverify.lists.triage_words import NO_TAG, TOGETHER, WORDS, command, sentence, told_once

    for kind, group in groupby(told_once(found.findings), key=lambda one: one.kind):
        ones = list(group)
        yield f"{kind[0].upper()}{kind[1:]}: {len(ones)}"
        shown = ones if kind in (DEAD, CLAMPED) else ones[:MOST]
        for one in shown:
            yield from _wrapped(sentence(one, found.zone, found.stamps.get(one.channel)), "  ", "      ")
            if run := command(one):
                yield f"      {shlex.join(run)}"
        if len(shown) < len(ones):
            yield f"  and {len(ones) - len(shown)} lesser ones; --json lists all"
        yield from _wrapped(WORDS[kind].means, "    means ", "          ")
        yield from _wrapped(WORDS[kind].look, "    look  ", "          ")
        if kind in (DEAD, FLAT) and any(len(one.others) > 1 for one in ones):
            yield from _wrapped(TOGETHER, "          ", "          ")
        if kind == DEAD and not all(one.tag for one in ones):
            yield from _wrapped(NO_TAG, "          ", "          ")


def _windows_told(found: Triage, plant: bool) -> Iterator[str]:
    from wqverify.lists.triage_words import BESIDE, clock

    if found.windows:
        yield f"Windows of the book or entered, not counted as faults: {len(found.windows)}"
    for one in found.windows:
        source = f"record {one.number}" if one.number else "by hand"
        start, end = (_local(moment, found) for moment in (one.start, one.end))
        yield from _wrapped(f"{start} to {end}: {_everything(one.tag)} {one.what}, {source}", "  ", "      ")
    if found.flagged:
        yield f"Flagged by the export as no water, not counted as faults: {len(found.flagged)}"
    for flag in found.flagged:
        rows = f"{words(flag.rows, 'row')} in {words(flag.runs, 'run')}"
        first, last = clock(flag.first, found.zone), clock(flag.last, found.zone)
        yield from _wrapped(f"between {first} and {last}: {flag.channel} {flag.flag}, {rows}", "  ", "      ")
    if found.windows or found.flagged:
        yield from _wrapped(BESIDE, "  ", "  ")
    if not plant:
        yield from _wrapped(
            "No plant folder: windows of records and ranges of the register are not known.", "", "  "
        )


def _everything(tag: str) -> str:
    from wqverify.lists.triage_windows import ALL

    return "every channel" if tag == ALL else tag


def _local(moment: datetime, found: Triage) -> str:
    from wqverify.lists.triage_words import clock

    return clock(int(moment.timestamp()), found.zone)


def _not_tested(found: Triage) -> Iterator[str]:
    groups: dict[tuple[str, str], list[str]] = {}
    for one in found.not_tested:
        groups.setdefault((one.test, one.because), []).append(one.channel)
    if groups:
        yield f"Not evaluated: {len(groups)}"
    for (test, because), names in groups.items():
        yield from _wrapped(f"{test}, {', '.join(names)}: {because}", "  ", "      ")


def _wrapped(text: str, first: str, others: str) -> list[str]:
    return wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=others,
        break_on_hyphens=False,
        break_long_words=False,
    )


# ---------------------------------------------------------------- as one document


def _document(found: Triage, plant: bool) -> dict[str, Any]:
    from wqverify.lists.triage_words import UNSIGNED, WORDS, command

    return {
        "file": found.file,
        "sha256": found.digest,
        "time_zone": str(found.zone),
        "plant_folder": plant,
        "says": UNSIGNED,
        "told": list(found.told),
        "findings": [
            {
                "kind": one.kind,
                "channel": one.channel,
                "tag": one.tag,
                "from": _iso(one.first, found),
                "to": _iso(one.last, found),
                "seconds": one.seconds,
                "rows": one.rows,
                "said": one.said,
                "at": [_iso(at, found) for at in one.at],
                "others": list(one.others),
                "runs": one.runs,
                "in_file": _in_file(one, found),
                "means": WORDS[one.kind].means,
                "look": WORDS[one.kind].look,
                "command": list(command(one)),
            }
            for one in found.findings
        ],
        "windows": [
            {
                "tag": one.tag,
                "what": one.what,
                "from": one.start.astimezone(found.zone).isoformat(),
                "to": one.end.astimezone(found.zone).isoformat(),
                "record": one.number,
            }
            for one in found.windows
        ],
        "flagged": [
            {
                "channel": one.channel,
                "flag": one.flag,
                "rows": one.rows,
                "runs": one.runs,
                "from": _iso(one.first, found),
                "to": _iso(one.last, found),
            }
            for one in found.flagged
        ],
        "not_evaluated": [asdict(one) for one in found.not_tested],
        "channels": [
            {
                "name": one.name,
                "tag": one.tag,
                "unit": one.unit,
                "from": _iso(one.first, found),
                "to": _iso(one.last, found),
                "rows": one.rows,
                "numbers": one.numbers,
                "in_windows": one.in_windows,
                "limits": [asdict(setting) for setting in one.settings],
            }
            for one in found.channels
        ],
    }


def _in_file(one: Finding, found: Triage) -> dict[str, Any]:
    """The first row, the last and the gravest, as they stand in the file; line 0 where none is known."""
    stamps = found.stamps.get(one.channel, {})
    named = {"from": [one.first], "to": [one.last], "at": one.at}
    return {
        name: [{"time": stamps[at].text, "line": stamps[at].line} for at in seconds if at in stamps]
        for name, seconds in named.items()
    }


def _iso(seconds: int, found: Triage) -> str:
    return datetime.fromtimestamp(seconds, found.zone).isoformat()
