"""The sentences of a turbidity month: cautions, what was left out and why, what follows by when."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import groupby

from wqverify.calculations.turbidity_pairs import QUARTER
from wqverify.calculations.turbidity_rule import State, Value4h
from wqverify.procedures import sentences
from wqverify.procedures.left_out import NOT_RELEASED
from wqverify.procedures.month_case import Channel
from wqverify.procedures.month_dates import follow_ups
from wqverify.procedures.month_judged import ONE_A_DAY, Known
from wqverify.procedures.month_records import (
    WITHOUT_RECORD,
    changes_values,
    doubts_of,
    open_doubts,
)
from wqverify.procedures.month_rules import HIGHEST, NTU, ONCE_A_DAY, PAIR, START, is_large, people_served
from wqverify.procedures.month_shown import run_words
from wqverify.terms import Caution, Note

CAUTIONS = (
    Caution(
        "Figures are settings with their source; not legal advice. What the State wrote to the plant counts.",
        "common practice",
    ),
    Caution(
        "Recorded values are never overwritten: what is corrected stands beside what was recorded.",
        "USGS TM 1-D3; ISO/IEC 17025:2017, 7.5.2, as a pattern",
    ),
    Caution(
        "Each time that is left out hides what was recorded then: enter from, until and why, and the number "
        "of its record.",
        "common practice",
    ),
    Caution(
        "Look at the trace before you sign: a flat line, the end of the range or a step may be no water.",
        "common practice",
    ),
)
OWN = "design of this project"
STATES: tuple[State, ...] = ("recorded", "grab", "missing", "left out", "off line")
MOST_TOLD = 12  # of one kind of line; what is beyond is counted


def notes(known: Known) -> Iterator[Note]:
    """Give all sentences of a month, the cautions first."""
    for text in (*sentences.person_cautions(known.sheet, known.given), *_cautions(known)):
        yield Note("caution", text)
    started = datetime.fromisoformat(known.given.times["started"]).astimezone(known.month.zone)
    for one in follow_ups(known):
        yield Note("advice", one.words(started), one.source)
    yield from _how(known)
    for text in (*_missing(known), *_left_out_values(known), *_grabs(known)):
        yield Note("statement", text)
    for channel in _channels(known):
        for text in (*_spans(channel), *_gaps(channel), *_reasons(known, channel)):
            yield Note("statement", text)
    yield from _changed_clocks(known)
    yield from _doubts(known)
    for text in sentences.clocks(known.sheet, known.given):
        yield Note("statement", text)
    for text in _cannot_see(known):
        yield Note("cannot see", text)
    yield from sentences.opinion(known.sheet)


def _channels(known: Known) -> tuple[Channel, ...]:
    version = known.recorded
    return (version.combined, *(one for one in version.filters if one.tag != version.combined.tag))


def told(lines: Sequence[str], what: str) -> Iterator[str]:
    """Give lines, at most so many; of what is beyond the number.

    >>> list(told(["a"] * 13, "gaps"))[-1]
    'And 1 more gaps.'
    """
    yield from lines[:MOST_TOLD]
    if len(lines) > MOST_TOLD:
        yield f"And {len(lines) - MOST_TOLD} more {what}."


# ---------------------------------------------------------------- cautions


def _cautions(known: Known) -> Iterator[str]:
    given, rules = known.given, known.sheet.rules
    people = people_served(given)
    if people is None:
        yield (
            "The register does not say how many people are served; the rules for 10 000 and more were "
            "applied, which ask for more."
        )
    if rules.value_of_4_h == ONE_A_DAY and (people is None or people > ONCE_A_DAY):
        served = f"{people} people are served" if people else "how many are served is not known"
        yield f"One value a day is taken, which a State may allow up to {ONCE_A_DAY} people; {served}."
    for one in open_doubts([channel.tag for channel in _channels(known)], given):
        yield (
            f"Open doubt: {one.tag} failed as found on {one.performed[:10]} (record {one.number}), and no "
            f"record of values in doubt answers it. What it recorded before stands here uncorrected."
        )
    for channel in _channels(known):
        yield from _of_channel(channel)
        combined = channel is known.recorded.combined
        yield from _hidden(channel, known.high(HIGHEST if combined else PAIR, channel.tag))


def _hidden(channel: Channel, limit: Decimal) -> Iterator[str]:
    """Say what is left out and lies above a limit, off line apart: it may have been water."""
    above = [
        one
        for one in channel.of_month
        if one.left_out and not one.off_line and one.value is not None and one.value > limit
    ]
    if above:
        most = max(above, key=lambda one: one.value or Decimal(0))
        yield (
            f"{channel.tag}: {len(above)} recordings that are left out lie above {limit} {NTU}, the highest "
            f"{most.value} {NTU} at {channel.month.clock(most.at)} ({most.left_out}). Look whether it was "
            f"water."
        )


def _of_channel(channel: Channel) -> Iterator[str]:
    minutes = channel.apart.total_seconds() / 60
    if channel.title.startswith("filter") and channel.apart > QUARTER:
        yield (
            f"{channel.tag} is recorded every {minutes:g} min; the rule asks for every 15 min (40 CFR "
            f"141.174(a), 141.560(c)). Pairs are of recordings {minutes:g} min apart."
        )
    flagged = [one for one in channel.of_month if one.left_out.startswith("flagged ")]
    if flagged:
        shown = ", ".join(sorted({one.left_out.removeprefix("flagged ") for one in flagged}))
        yield f"{channel.tag}: {len(flagged)} recordings were flagged {shown} and do not count."
    if channel.never:
        shown = ", ".join(channel.never)
        yield (
            f"{channel.tag}: no recording is flagged {shown}, which was to say that it is off line; if the "
            f"export spells it otherwise, those times count as filtered water."
        )
    still = [one.by for one in channel.left_out if one.span.why.endswith(NOT_RELEASED)]
    if still:
        yield (
            f"{channel.tag}: no record releases the output held in {', '.join(still)}; what follows is "
            f"left out of this month."
        )


# ---------------------------------------------------------------- statements


def _how(known: Known) -> Iterator[Note]:
    version, rules = known.recorded, known.sheet.rules
    counts = ", ".join(
        f"{version.count(state)} {'of grabs' if state == 'grab' else state}"
        for state in STATES
        if version.count(state) or state == "recorded"
    )
    within = version.combined.apart.total_seconds() / 120
    how = {
        "value at 00, 04 ... 20 h": f"the recording nearest to 00, 04, 08, 12, 16 and 20 h by the clock of "
        f"the plant, at most {within:g} min away",
        ONE_A_DAY: f"the recording nearest to 08:00, at most {within:g} min away",
    }.get(rules.value_of_4_h, f"the {rules.value_of_4_h}, where half of its recordings are there")
    compared = (
        "each rounded to the digits of the limit, a half up, for the percentage alone"
        if known.rounded
        else "each as recorded"
    )
    yield Note(
        "statement",
        f"{known.month.words}: {len(version.values)} values due, {counts}. What stands for one is {how}; "
        f"{compared}.",
        f"{rules.source}; the nearest recording is common practice, no source",
    )
    if any(one.apart < QUARTER for one in version.filters):
        yield Note(
            "statement",
            "Where more is recorded than every 15 min, the pair rules look at the recordings nearest to 00, "
            "15, 30 and 45 min of the hour.",
            "common practice, no source",
        )


def _grouped(values: Sequence[Value4h]) -> Iterator[str]:
    """Say which values one after the other have no value, and why."""
    for why, several in groupby(values, key=lambda one: one.why):
        found = [f"{one.due.clock:%Y-%m-%d %H:%M}" for one in several]
        span = found[0] if len(found) == 1 else f"{found[0]} to {found[-1]} ({len(found)} values)"
        yield f"{span}: {why}"


def _missing(known: Known) -> Iterator[str]:
    lines = list(_grouped([one for one in known.recorded.values if one.state == "missing"]))
    for line in told(lines, "times without a value"):
        yield f"Missing, and a sample by hand was due. {line}."


def _left_out_values(known: Known) -> Iterator[str]:
    lines = list(_grouped([one for one in known.recorded.values if one.state == "left out"]))
    for line in told(lines, "times left out"):
        yield f"No value stands, because the time is left out. {line}."


def _grabs(known: Known) -> Iterator[str]:
    lines = [
        f"{one.value:f} {NTU} stands for {one.due.clock:%Y-%m-%d %H:%M}, taken {known.month.clock(one.at)}, "
        f"{one.why}"
        for one in known.recorded.values
        if one.state == "grab" and one.at is not None
    ]
    lines += [
        f"{one.value:f} {NTU} taken {known.month.clock(one.at)} stands for no value that is due, and counts "
        f"for the highest, {one.source or 'no source told'}"
        for one in known.recorded.idle
    ]
    for line in told(lines, "grabs"):
        yield f"Grab: {line}."


def _spans(channel: Channel) -> Iterator[str]:
    """List what is left out, each reason in one line with its times and the records that say so."""
    clock = channel.month.clock
    ordered = sorted(channel.left_out, key=lambda one: (one.span.off_line, one.span.why))
    for (_off, why), group in groupby(ordered, key=lambda one: (one.span.off_line, one.span.why)):
        several = list(group)
        times = [
            f"{clock(one.span.start)[5:]} to {_ends(clock(one.span.start), clock(one.span.end))}"
            f"{'' if one.by in WITHOUT_RECORD else f' ({one.by})'}"
            for one in several
        ]
        count = {1: "once", 2: "twice"}.get(len(times), f"{len(times)} times")
        if len(times) > MOST_TOLD and all(one.by in WITHOUT_RECORD for one in several):
            kept = "flags of the attached slice" if several[0].by == "flag" else "readings as typed"
            times = [*times[:3], f"{len(times) - 4} more in the {kept}", times[-1]]
        yield f"{channel.tag} left out {count}, {why.removesuffix('.')}: {', '.join(times)}."


def _ends(start: str, end: str) -> str:
    """A time as it stands behind another: without the day where it is the same."""
    return end[11:] if end[:10] == start[:10] else end[5:]


def _gaps(channel: Channel) -> Iterator[str]:
    if not channel.gaps:
        return
    clock = channel.month.clock
    longest = max(channel.gaps, key=lambda one: one[1] - one[0])
    yield (
        f"{channel.tag}: recordings are missing at {len(channel.gaps)} places, the longest from "
        f"{clock(longest[0])} to {clock(longest[1])}; a gap breaks a pair."
    )


def _reasons(known: Known, channel: Channel) -> Iterator[str]:
    if channel not in known.recorded.filters:
        return
    limit = known.high(PAIR, channel.tag)
    for run in channel.runs(limit)[:MOST_TOLD]:
        told_of = f"{channel.tag}, above {limit} {NTU} twice running"
        yield f"To be reported: {told_of}, {run_words(run, known)} {NTU}."
    beside = [
        f"{channel.tag} recorded {one.value} {NTU} at {known.month.clock(one.at)} and {why}; whether there "
        f"was a pair is not known"
        for one, why in channel.broken(limit)
    ]
    yield from (f"{line.removesuffix('.')}." for line in told(beside, "such recordings"))
    if channel.obvious_reason:
        yield f"{channel.tag}, obvious reason as entered: {channel.obvious_reason.removesuffix('.')}."
    if is_large(known.given):
        least = known.high(START, channel.tag)
        yield from (
            f"{channel.tag}, back on line {known.month.clock(one.at)}: {one.why}; whether it exceeded "
            f"{least} {NTU} after 4 h is not known."
            for one in channel.starts[:MOST_TOLD]
            if one.pair is None
        )


def _changed_clocks(known: Known) -> Iterator[Note]:
    """Say where the clocks were changed, so that a gap of clock times is not taken for one of recordings."""
    month = known.month
    day = month.begins
    while day < month.ends:
        after = (day + timedelta(days=1)).replace(tzinfo=month.zone)
        before, later = day.utcoffset(), after.utcoffset()
        if before is not None and later is not None and before != later:
            word = "forward" if later > before else "back"
            yield Note(
                "statement",
                f"On {day:%Y-%m-%d} the clocks were put {word}. Recordings follow each other in true time: "
                "the last before and the first after the change are as far apart as any two, so that no "
                f"pair is broken or made by it. As many values are due on that day as on any other.",
                OWN,
            )
        day = after


def _doubts(known: Known) -> Iterator[Note]:
    for channel in _channels(known):
        for one in doubts_of(channel.tag, known.month, known.given):
            since, until = (one.facts[f"doubt.{end}"][:16].replace("T", " ") for end in ("from", "until"))
            decided = one.facts.get("doubt.decision", "")
            what = "as decided there" if decided else "not decided yet, corrected over the whole period"
            how = what if changes_values(one) else "nothing was corrected or invalidated there"
            yield Note(
                "statement",
                f"{channel.tag} is in doubt from {since} to {until} (record {one.number}): {how}. What was "
                f"recorded stands first, what is corrected beside it.",
                OWN,
            )


# ---------------------------------------------------------------- cannot see


def _cannot_see(known: Known) -> Iterator[str]:
    yield (
        "Whether the analyzers were right: this verifies none of them; their checks of the month do, and "
        "only what failed as found shows here."
    )
    if known.recorded.filters and not any(one.left_out for one in known.recorded.filters):
        yield "Filters off line or in backwash: none is entered or flagged, so every recording counts."
    if known.sheet.rules.filters_by == "the combined effluent":
        yield "How many filters there are: the combined effluent stands for two or fewer (40 CFR 141.562)."
    if known.sheet.rules.value_of_4_h != "highest of 4 h":
        yield "What happened between two values: the percentage counts the values that are due only."
