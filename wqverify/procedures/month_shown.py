"""What a turbidity month shows: counts, a line for each day, pairs, summaries, the sum by hand, charts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from itertools import groupby

from wqverify.calculations.turbidity_pairs import Run
from wqverify.calculations.turbidity_rule import Value4h
from wqverify.procedures.month_case import Channel
from wqverify.procedures.month_judged import CORRECTED, STAGE, Known, Version
from wqverify.procedures.month_rules import EVALUATION, HIGHEST, LIMIT, NTU, PAIR, PERCENT, START, is_large
from wqverify.terms import Chart, Line, Quantity, Series, Value, Working

MOST_RUNS = 60  # of one filter in one list; what is beyond is counted
_STATES = {"missing": "missing", "left out": "left out", "off line": "off"}


def values(known: Known) -> Iterator[Value]:
    """Give what is computed and not judged."""
    yield from _counts(known)
    for version in known.versions:
        for channel in _channels(version):
            yield from _summary(known, version, channel)
        for channel in version.filters:
            yield from _runs(known, version, channel)
            yield from _starts(known, version, channel)
    yield from _days(known)


def _channels(version: Version) -> tuple[Channel, ...]:
    combined = (version.combined,) if version.of_combined else ()
    return (*combined, *(one for one in version.filters if one.tag != version.combined.tag))


def _value(key: str, label: str, text: str, unit: str, version: Version) -> Value:
    return Value(f"{STAGE}.{key}{version.suffix}", version.stage, label, Quantity(text, unit, float(text)))


def _counts(known: Known) -> Iterator[Value]:
    version = known.recorded
    yield _value("due", "Values due in the month", str(len(version.values)), "values", version)
    for word, state in (
        ("recorded", "recorded"),
        ("grab", "of grabs"),
        ("missing", "missing"),
        ("left_out", "left out, with reasons below"),
        ("off_line", "not due, off line"),
    ):
        count = version.count(word.replace("_", " "))  # type: ignore[arg-type]
        yield _value(f"count.{word}", f"Of them {state}", str(count), "values", version)


def _named(label: str, version: Version) -> str:
    return f"{label}, {CORRECTED}" if version.name == CORRECTED else label


def _summary(known: Known, version: Version, channel: Channel) -> Iterator[Value]:
    found = channel.summary
    if found is None:
        return
    at, title = known.month.clock(found.most_at), channel.title[:1].upper() + channel.title[1:]
    for word, label, size in (
        ("least", "lowest", found.least),
        ("mean", f"mean of {found.count} recordings", found.mean),
        ("most", f"highest, {at}", found.most),
    ):
        key = f"{channel.tag}.{word}"
        yield _value(key, f"{title}, {label}", f"{size:f}", NTU, version)


def run_words(run: Run, known: Known) -> str:
    """Return a run of recordings above a limit in words: when, and what was recorded.

    Up to four are told one by one, of more the number.
    """
    first, last = run.recordings[0].at, run.recordings[-1].at
    told = [f"{one.value:f}" for one in run.recordings if one.value is not None]
    shown = ", ".join(told) if len(told) <= 4 else f"{len(told)} recordings"
    end = known.month.clock(last)
    start = known.month.clock(first)
    return f"{start} to {end[11:] if end[:10] == start[:10] else end}: {shown}"


def _runs(known: Known, version: Version, channel: Channel) -> Iterator[Value]:
    for name in (PAIR, EVALUATION):
        limit = known.high(name, channel.tag)
        runs = channel.runs(limit)
        for number, run in enumerate(runs[:MOST_RUNS], 1):
            key = f"{channel.tag}.above_{limit}.{number}"
            label = f"{channel.tag}, above {limit} {NTU}, {run_words(run, known)}; highest"
            yield _value(key, label, f"{run.highest.value:f}", NTU, version)
        if len(runs) > MOST_RUNS:
            key = f"{channel.tag}.above_{limit}.more"
            label = f"{channel.tag}, further times above {limit} {NTU}, in the attached slice"
            yield _value(key, label, str(len(runs) - MOST_RUNS), "times", version)


def _starts(known: Known, version: Version, channel: Channel) -> Iterator[Value]:
    limit = known.high(START, channel.tag)
    if not is_large(known.given):
        return
    for number, start in enumerate(channel.starts, 1):
        if start.pair is not None and start.exceeds(limit):
            shown = " and ".join(f"{one.value:f}" for one in start.pair if one.value is not None)
            key = f"{channel.tag}.start.{number}"
            label = f"{channel.tag}, back on line {known.month.clock(start.at)}, after 4 h {shown}; lower"
            lower = min(one.value for one in start.pair if one.value is not None)
            yield _value(key, label, f"{lower:f}", NTU, version)


def _days(known: Known) -> Iterator[Value]:
    """A line for each day: its values in order, and the highest; as corrected only where it differs."""
    told: dict[date, str] = {}
    for version in known.versions:
        for day, several in groupby(version.values, key=lambda one: one.due.clock.date()):
            found = list(several)
            standing = [one.value for one in found if one.value is not None]
            words = " ".join(map(_shown, found))
            if told.get(day) == words or not standing:
                continue
            told[day] = words
            label = f"{day.isoformat()}: {words}; highest"
            yield _value(f"day.{day.isoformat()}", label, f"{max(standing):f}", NTU, version)


def _shown(one: Value4h) -> str:
    if one.value is None:
        return _STATES[one.state]
    return f"{one.value:f} (grab)" if one.state == "grab" else f"{one.value:f}"


# ---------------------------------------------------------------- by hand


def workings(known: Known) -> Iterator[Working]:
    """Give the sum of the percentage, of each version."""
    share = known.limit(PERCENT)
    assert share is not None
    for version in known.versions:
        count, within = len(version.standing), known.within(version)
        if not count or not version.of_combined:
            continue
        above = count - within
        exact = Decimal(100 * within) / count
        yield Working(
            _named("Share of the values at or below the limit", version),
            f"p = 100 (n - a) / n, a the values above {known.high(LIMIT)} {NTU}",
            f"100 × ({count} − {above}) / {count}",
            f"{exact.quantize(Decimal('0.01'))} %, at least {share.low} %",
            known.sheet.rules.source,
        )


# ---------------------------------------------------------------- charts


def charts(known: Known) -> Iterator[Chart]:
    """Give the trace of the combined effluent, and of each filter the highest of each day."""
    yield Chart(
        "trace",
        f"Combined effluent, values of {known.month.words}",
        "time of the plant",
        f"turbidity, {NTU}",
        tuple(
            Series(version.name, _points(known, version.values))
            for version in known.versions
            if version.standing and version.of_combined
        ),
        (
            Line(f"{known.high(LIMIT)}, in {_percent(known)} % of the values", f"{known.high(LIMIT)}"),
            *_reached(known, known.high(HIGHEST)),
        ),
    )
    if known.recorded.filters:
        yield _of_filters(known)


def _percent(known: Known) -> str:
    share = known.limit(PERCENT)
    return f"{share.low}" if share is not None else ""


def _reached(known: Known, limit: Decimal) -> tuple[Line, ...]:
    """The limit of the highest, where the values come near it: drawn always it would press them flat."""
    found = known.highest(known.recorded)
    near = found is not None and 2 * found[0] > limit
    return (Line(f"{limit}, never above", f"{limit}"),) if near else ()


def _points(known: Known, several: Sequence[Value4h]) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (_local(one.due.start, known), f"{one.value:f}", "") for one in several if one.value is not None
    )


def _local(at: datetime, known: Known) -> str:
    return at.astimezone(known.month.zone).isoformat(timespec="minutes")


def _of_filters(known: Known) -> Chart:
    series = [
        Series(_named(one.tag, version), _daily(known, one))
        for version in known.versions
        for one in version.filters
    ]
    tag = known.recorded.filters[0].tag
    limit = known.high(PAIR, tag)
    return Chart(
        "trace",
        f"Filters, highest recording of each day of {known.month.words}",
        "day",
        f"turbidity, {NTU}",
        tuple(one for one in series if one.points),
        (Line(f"{limit}, twice running", f"{limit}"),),
    )


def _daily(known: Known, channel: Channel) -> tuple[tuple[str, str, str], ...]:
    found: dict[date, Decimal] = {}
    for one in channel.of_month:
        if one.counts and one.value is not None:
            day = one.at.astimezone(known.month.zone).date()
            found[day] = max(found.get(day, one.value), one.value)
    return tuple((f"{day.isoformat()}T00:00", f"{most:f}", "") for day, most in sorted(found.items()))
