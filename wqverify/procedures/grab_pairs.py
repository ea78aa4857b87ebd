"""Which online value belongs to a grab: the delay of its water, the rows around, why a pair is refused."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from statistics import median

from wqverify.calculations import pairing, sample_line
from wqverify.errors import CorrectTheEntry
from wqverify.procedures.grab_sheet import Grab, PairedBy, Shown
from wqverify.procedures.rules import GOOD_FLAGS, setting
from wqverify.terms import Analyzer, Given, Hop, Place, Slices, TrendUse

WINDOW_MIN = "10"  # the whole window around the moment; common practice
GAP_MIN = "30"  # from a record to the next, or to the moment; so the criteria of Oregon DEQ for a grab audit
VALUES = "2"  # online values that must show that the water stood still
MINUTE = 60


@dataclass(frozen=True, slots=True)
class Row:
    """One online value; ``value`` is None where it is missing."""

    at: datetime
    value: Decimal | None
    flag: str = ""

    @property
    def good(self) -> bool:
        return self.value is not None and not self.flag


@dataclass(frozen=True)
class Online:
    """All online values of one place, by one clock."""

    place: Place
    rows: tuple[Row, ...]
    digit: Decimal
    source: str  # in words: the display, an export
    ahead: timedelta = timedelta(0)  # of its clock against the watch
    by: PairedBy = "interpolation"
    damping_s: float = 0.0
    unit: str = ""  # of an export; empty: that of the analyzer
    archived: bool = False  # from an export


@dataclass(frozen=True, slots=True)
class Delay:
    """How long after a grab was taken its water stood in the online value, s."""

    seconds: int
    known: bool  # False where the sample line is not in the register
    parts: tuple[tuple[str, float], ...] = ()  # in words, s
    flow: str = ""  # mL/min, as typed or as the register holds it


@dataclass(frozen=True)
class Paired:
    """The online value of a grab, or why there is none."""

    online: Online
    delay: Delay
    at: datetime  # the moment, by the clock of the online values
    value: Decimal | None = None  # exact
    used: tuple[Row, ...] = ()
    around: tuple[Row, ...] = ()  # what shows whether the water stood still
    missing: int = 0
    flags: tuple[str, ...] = ()
    reason: str = ""

    @property
    def fixed(self) -> Decimal:
        """The value as shown and judged: exact as it stands there, else two digits beyond the display."""
        assert self.value is not None
        if len(self.used) == 1:
            return self.value
        return self.value.quantize(self.online.digit.scaleb(-2))

    @property
    def twins(self) -> dict[datetime, int]:
        """How many values there are of a moment around the grab, where it is more than one."""
        times = [row.at for row in self.around]
        return {at: times.count(at) for at in dict.fromkeys(times) if times.count(at) > 1}

    @property
    def change(self) -> Decimal:
        return pairing.change([row.value for row in self.around if row.value is not None])


# ---------------------------------------------------------------- delay


def delay_of(grab: Grab, place: Place, flow: Decimal | None, given: Given, archived: bool = False) -> Delay:
    """Return the delay of the water of a grab, by where it was taken and where its value was read."""
    line, settings = given.analyzer.sample_line, given.analyzer.settings
    late = _late(place, given.analyzer, archived)
    plug = cell = drain = 0.0
    through = ""
    if line is not None:
        through = f"{flow if flow is not None else line.flow_ml_min}"
        rate = float(through)
        volume = sample_line.line_volume_ml(float(line.bore_mm), float(line.length_m))
        plug = sample_line.passage_s(volume, rate)
        cell = sample_line.passage_s(float(line.cell_ml or 0), rate)
        drain = sample_line.passage_s(float(settings.get("drain_ml", "0")), rate)
    after = sample_line.late_by_damping_s(size for _, size in late)
    seconds = sample_line.twin_delay_s(grab.taken_at, plug, cell, drain, after)
    parts = {"process tap": (("line", plug), ("cell", cell)), "analyzer inlet": (("cell", cell),)}
    named = parts.get(grab.taken_at, (("cell to drain", -drain),))
    shown = tuple((word, size) for word, size in (*named, *late) if size)
    return Delay(round(seconds), line is not None or grab.taken_at != "process tap", shown, through)


def _late(place: Place, analyzer: Analyzer, archived: bool) -> list[tuple[str, float]]:
    """How late the value itself is, s, by what: the response the register sets, else damping hop by hop."""
    settings = analyzer.settings
    if "response_s" in settings:
        late = [("response, as the register sets it", float(settings["response_s"]))]
    else:
        hops = hops_to(place, analyzer, archived)
        late = [(f"damping of {hop.name}", float(hop.damping_s)) for hop in hops if hop.damping_s]
    average = sample_line.late_by_average_s(float(settings.get("average_s", "0")))
    return [*late, ("half of the averaging", average)]


def hops_to(place: Place, analyzer: Analyzer, archived: bool) -> tuple[Hop, ...]:
    """Return the hops a value has passed at a place, by their names and order in the register.

    A display shows what has passed the transmitter: the first hop so named, else the first of all. A value
    typed from the control system has not passed the archive, one of an export has passed every hop.
    """
    names = [hop.name.casefold() for hop in analyzer.hops]
    if place == "analyzer":
        return analyzer.hops[: next((i for i, name in enumerate(names) if "transmitter" in name), 0) + 1]
    ends = [i for i, name in enumerate(names) if "archive" in name]
    return analyzer.hops[: ends[0]] if ends and not archived else analyzer.hops


# ---------------------------------------------------------------- rows


def typed_rows(path: str, shown: Sequence[Shown], given: Given) -> Iterator[tuple[Place, Row]]:
    """Give the typed online values of display and control system, by the watch."""
    for index, one in enumerate(shown):
        at = datetime.fromisoformat(given.times[f"{path}.{index}.at"])
        yield "analyzer", Row(at, one.shown.value)
        if one.control_system is not None:
            yield "control system", Row(at, one.control_system.value)


def exported_rows(slice_: bytes, given: Given) -> list[Row]:
    """Return the rows of an attached slice, by the clock of the export; a flag that says good is none."""
    good = {*GOOD_FLAGS, given.analyzer.settings.get("good_flag", "")}
    zone = datetime.fromisoformat(given.times["started"]).tzinfo  # a slice holds UTC, people read their clock
    return [
        Row(at.astimezone(zone), value, "" if flag.casefold() in good else flag)
        for at, value, flag in read_rows(slice_)
    ]


def read_rows(slice_: bytes) -> list[tuple[datetime, Decimal | None, str]]:
    """Return (moment, value or None, flag) of each row of a slice."""
    from wqverify.trends.slices import read_slice  # only where an export is attached

    return list(read_slice(slice_))


def online_values(
    path: str,
    shown: Sequence[Shown],
    trend: tuple[TrendUse, bytes] | None,
    by: PairedBy | None,
    given: Given,
) -> dict[Place, Online]:
    """Return the online values of each place, in time; an export stands for the control system."""
    rows: dict[Place, list[Row]] = {}
    for place, row in typed_rows(path, shown, given):
        rows.setdefault(place, []).append(row)
    digit = _digit(shown, given)
    words = {"analyzer": "the display", "control system": "the control system"}
    found = {
        place: Online(
            place,
            _in_time(several),
            digit,
            words[place],
            by=by or "interpolation",
            damping_s=_longest(hops_to(place, given.analyzer, archived=False)),
        )
        for place, several in rows.items()
    }
    if trend is not None:
        use, slice_ = trend
        found["control system"] = Online(
            "control system",
            _in_time(exported_rows(slice_, given)),
            digit,
            f"the export {use.file}",
            clock_ahead(given),
            by or "window mean",
            _longest(given.analyzer.hops),
            use.unit,
            archived=True,
        )
    return found


def _longest(hops: Sequence[Hop]) -> float:
    return max((float(hop.damping_s) for hop in hops if hop.damping_s), default=0.0)


def attached(path: str, given: Given, slices: Slices) -> tuple[TrendUse, bytes] | None:
    """Return the export a sheet names at a path with its slice, None where it names none."""
    use = next((use for use in given.trends if use.path == path), None)
    return None if use is None else (use, slices[use.slice])


def clock_ahead(given: Given) -> timedelta:
    """Return how far the clock of the control system was ahead of the watch."""
    watch, system = given.times.get("clocks.laptop"), given.times.get("clocks.control_system")
    if not watch or not system:
        return timedelta(0)
    return datetime.fromisoformat(system) - datetime.fromisoformat(watch)


def between(online: Online, start: str | None, end: str | None) -> Online:
    """Return the values after one time and before another, both by the watch: an adjustment parts them."""
    first = datetime.fromisoformat(start) + online.ahead if start else None
    last = datetime.fromisoformat(end) + online.ahead if end else None
    kept = [r for r in online.rows if (first is None or r.at >= first) and (last is None or r.at <= last)]
    return replace(online, rows=tuple(kept))


def _in_time(rows: Sequence[Row]) -> tuple[Row, ...]:
    return tuple(sorted(rows, key=lambda row: row.at))


def _digit(shown: Sequence[Shown], given: Given) -> Decimal:
    typed = [one.shown.digit for one in shown]
    if given.analyzer.digit is not None:
        return given.analyzer.digit
    return min(typed, default=Decimal("0.01"))


# ---------------------------------------------------------------- the pair


def paired(collected: str, grab: Grab, online: Online, flow: Decimal | None, given: Given) -> Paired:
    """Return the online value that belongs to a grab; ``collected`` is its time, by the watch."""
    delay = delay_of(grab, online.place, flow, given, online.archived)
    at = datetime.fromisoformat(collected) + timedelta(seconds=delay.seconds) + online.ahead
    half = setting(given, "pairing_window_min", WINDOW_MIN) * MINUTE / 2
    gap = setting(given, "pairing_gap_min", GAP_MIN) * MINUTE
    near = [row for row in online.rows if abs(_seconds(row.at, at)) <= half]
    pair = Paired(
        online,
        delay,
        at,
        missing=sum(row.value is None for row in near),
        flags=tuple(row.flag for row in near if row.value is not None and row.flag),
    )
    good = [row for row in online.rows if row.good]
    if online.by == "window mean":
        return _by_window(pair, good, half)
    return (
        _by_interpolation(pair, good, half, gap)
        if online.by == "interpolation"
        else _by_nearest(pair, good, half, gap)
    )


def _by_window(pair: Paired, good: Sequence[Row], half: Decimal) -> Paired:
    rows = _within(good, pair.at, half)
    if not rows:
        start, end = (pair.at + timedelta(seconds=float(s)) for s in (-half, half))
        return replace(
            pair,
            reason=f"{pair.online.source} holds no good value from {start:%H:%M} to {end:%H:%M}{_lost(pair)}",
        )
    value = pairing.window_mean(_pairs(rows, pair.at), -half, half)
    return replace(pair, value=value, used=rows, around=rows)


def _by_interpolation(pair: Paired, good: Sequence[Row], half: Decimal, gap: Decimal) -> Paired:
    single = _last_of_each_moment(good)
    try:
        before, after = pairing.bracketing(_pairs(single, pair.at), Decimal(0))
    except CorrectTheEntry:
        side = "before" if good and good[0].at > pair.at else "after"
        return replace(
            pair,
            reason=f"{pair.online.source} holds no good value {side if good else 'around'} "
            f"{pair.at:%H:%M:%S}, the moment the water of the grab stood in it; nothing is extrapolated"
            f"{_lost(pair)}",
        )
    if pairing.gap_s(before, after) > gap:
        return replace(
            pair,
            reason=f"the online values around {pair.at:%H:%M:%S} are "
            f"{_minutes(pairing.gap_s(before, after))} min apart, more than {_minutes(gap)} min",
        )
    used = tuple(row for row in single if _seconds(row.at, pair.at) in (before[0], after[0]))
    value = pairing.interpolated(before, after, Decimal(0))
    return replace(pair, value=value, used=used, around=_with(used, _within(good, pair.at, half)))


def _by_nearest(pair: Paired, good: Sequence[Row], half: Decimal, gap: Decimal) -> Paired:
    if not good:
        return replace(pair, reason=f"{pair.online.source} holds no good value{_lost(pair)}")
    single = _last_of_each_moment(good)
    moment, value = pairing.nearest(_pairs(single, pair.at), Decimal(0))
    if abs(moment) > gap:
        return replace(
            pair,
            reason=f"the nearest online value is {_minutes(abs(moment))} min away, more than "
            f"{_minutes(gap)} min",
        )
    used = tuple(row for row in single if _seconds(row.at, pair.at) == moment)[:1]
    return replace(pair, value=value, used=used, around=_with(used, _within(good, pair.at, half)))


def _last_of_each_moment(rows: Sequence[Row]) -> list[Row]:
    """Of several values of one moment the last one entered."""
    return list({row.at: row for row in rows}.values())


def _within(rows: Sequence[Row], at: datetime, half: Decimal) -> tuple[Row, ...]:
    return tuple(row for row in rows if abs(_seconds(row.at, at)) <= half)


def _with(rows: Sequence[Row], others: Sequence[Row]) -> tuple[Row, ...]:
    return _in_time(list(dict.fromkeys([*rows, *others])))


def _pairs(rows: Sequence[Row], at: datetime) -> list[pairing.Row]:
    return [(_seconds(row.at, at), row.value) for row in rows if row.value is not None]


def _seconds(moment: datetime, at: datetime) -> Decimal:
    return Decimal(round((moment - at).total_seconds()))


def _minutes(seconds: Decimal) -> str:
    return f"{(seconds / MINUTE).quantize(Decimal('0.1')).normalize():f}"


def _lost(pair: Paired) -> str:
    lost = [f"{pair.missing} missing"] if pair.missing else []
    lost += [f"{len(pair.flags)} flagged {', '.join(sorted(set(pair.flags)))}"] if pair.flags else []
    return f" ({', '.join(lost)})" if lost else ""


def interval_s(rows: Sequence[Row]) -> float:
    """Return the usual time between rows, s; 0 for fewer than two."""
    steps = [(b.at - a.at).total_seconds() for a, b in pairwise(rows)]
    return float(median(steps)) if steps else 0.0


def why_unsteady(pair: Paired, half_width: Decimal | None, given: Given) -> str:
    """Return why a pair is not in steady water, empty where it is or where no limit above 0 is known."""
    wanted = int(setting(given, "pairing_values", VALUES))
    if len(pair.around) < wanted:
        count = "one online value does" if len(pair.around) == 1 else f"{len(pair.around)} online values do"
        return f"{count} not show that the water stood still; {wanted} around the grab are needed"
    if half_width and not pairing.is_steady(pair.change, half_width):
        return (
            f"the online value moved by {pair.change} {given.analyzer.unit} while it was paired, a third of "
            f"the tolerance ({half_width:f}) or more: the water was not steady"
        )
    return ""


def held_during(pair: Paired, times: Mapping[str, str]) -> str:
    """Return why a control-system value was no live one, empty where the output was not held."""
    held, released = times.get("output_held.at"), times.get("output_released.at")
    if pair.online.place != "control system" or not held or not pair.used:
        return ""
    start, end = (row.at - pair.online.ahead for row in (pair.used[0], pair.used[-1]))
    begun = datetime.fromisoformat(held)
    over = datetime.fromisoformat(released) if released else None
    if end > begun and (over is None or start < over):
        return f"the output was held from {held[11:16]}, so the value of the control system stood still"
    return ""
