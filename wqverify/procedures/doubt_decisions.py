"""What the recorded values decided, as recorded and as corrected, and which of them decide otherwise now."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from wqverify.calculations import recorded_limits as limits
from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.calculations.uncertainty import round_up
from wqverify.procedures import doubt_series as series
from wqverify.procedures.doubt_case import Case, moment
from wqverify.procedures.doubt_limits import Limit, judged_by, limit_of, why_no_limit
from wqverify.procedures.doubt_series import SHIFTS, FourHours, Way
from wqverify.procedures.doubt_sheet import Used, UsedFor
from wqverify.terms import Check, Quantity

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from wqverify.calculations.drift import Floats

AS_RECORDED, CORRECTED = "as_recorded", "corrected"
NO_USE = f"{CORRECTED}.decisions"
TITLES = {
    "95 % of the values": "Values not above {limit}",
    "never above": "Highest value, never above {limit}",
    "two in a row": "Two recordings in a row above {limit}, 15 min apart",
    "two in a row after 4 h": "Two recordings above {limit} at the end of the first 4 h",
    "lowest of the day": "Lowest value of the days, not below {limit}",
    "too low for 4 h": "Longest time below {limit}",
    "alarm": "Alarm {direction} {limit}",
    "limit": "Limit {direction} {limit}",
}
SHARE: UsedFor = "95 % of the values"
HIGHEST: UsedFor = "never above"
FOUR_HOURLY = "one every 4 h"
# What looks at recordings one after the other, in words.
IN_TURN = {
    "two in a row": "two recordings 15 min apart",
    "two in a row after 4 h": "two recordings 15 min apart",
    "too low for 4 h": "how long it was",
}
# What is reported comes first, alarms last.
ORDER: tuple[UsedFor, ...] = (
    SHARE,
    "two in a row",
    "two in a row after 4 h",
    HIGHEST,
    "lowest of the day",
    "too low for 4 h",
    "limit",
    "alarm",
)


@dataclass(frozen=True)
class Said:
    """What values say of one use: the quantity that is judged, and the rows that lie beyond the limit.

    ``bad`` holds them by what decides one by one: the row itself, or its day; a grab below 0.
    """

    quantity: Decimal
    unit: str
    bad: Mapping[int, int]
    counted: int


@dataclass(frozen=True)
class Counts:
    """What counts for a use: rows, grabs in place of the analyzer, and how they were found every 4 h."""

    rows: NDArray[Any]
    grabs: tuple[Decimal, ...] = ()
    four_hours: FourHours | None = None


@dataclass(frozen=True)
class Decision:
    """One use of the values: what it says as recorded and in each of the ways, or why nothing."""

    n: int
    used: Used
    title: str
    limit: Limit | None
    recorded: Said | None
    corrected: Mapping[Way, Said]
    why_not: str = ""
    counts: Counts | None = None

    @property
    def key(self) -> str:
        return f"{self.n}"

    def changed(self, way: Way) -> set[int]:
        """Return what decides otherwise than as recorded, by what decides one by one."""
        if self.recorded is None or way not in self.corrected:
            return set()
        return set(self.recorded.bad) ^ set(self.corrected[way].bad)


def decisions(case: Case) -> tuple[Decision, ...]:
    """Return every use of the sheet with what the values say of it: what is reported first, alarms last."""
    uses = sorted(enumerate(case.sheet.used, 1), key=lambda one: ORDER.index(one[1].what))
    return tuple(_decision(case, n, used) for n, used in uses)


def _decision(case: Case, n: int, used: Used) -> Decision:
    limit = limit_of(used, case.given)
    title = title_of(used, limit, case.given.analyzer.unit)
    if limit is None:
        return Decision(n, used, title, None, None, {}, why_no_limit(used, case.given))
    if case.recorded is None:
        return Decision(n, used, title, limit, None, {}, case.why_no_values)
    counts = _counted(case, n, used)
    found = _says(case, used, n, limit, case.recorded.values, counts)
    if isinstance(found, str):
        return Decision(n, used, title, limit, None, {}, found, counts)
    each: dict[Way, Said] = {}
    for way, values in case.corrected.items():
        said = _says(case, used, n, limit, values, counts)
        if isinstance(said, Said):
            each[way] = said
    return Decision(n, used, title, limit, found, each, counts=counts)


@dataclass(frozen=True, slots=True)
class Changed:
    """A recorded value that decides otherwise once it is corrected."""

    row: int
    sure: bool  # at the error found, and at that less and plus its U
    becomes: str  # "beyond" or "within"


def changed(case: Case, one: Decision) -> list[Changed]:
    """Return the values whose decision changes at the error found, or within its U, in order of time."""
    ways: tuple[Way, ...] = tuple((case.stated, shift) for shift in (*SHIFTS[1:], *SHIFTS[:1]))
    each = {way: one.changed(way) for way in ways}
    sure = set.intersection(*each.values())
    rows = {}
    for way in reversed(ways):  # the error found comes last and has the last word
        found = one.corrected[way].bad if each[way] else {}
        for key in each[way]:
            assert one.recorded is not None
            row = found.get(key, one.recorded.bad.get(key, 0))
            rows[key] = Changed(row, key in sure, "beyond" if key in found else "within")
    return sorted(rows.values(), key=lambda this: this.row)


def title_of(used: Used, limit: Limit | None, unit: str) -> str:
    """Return what a use is called on the page."""
    if limit is None:
        return used.what[:1].upper() + used.what[1:]
    title = TITLES[used.what].format(limit=f"{limit.size:f} {unit}", direction=limit.direction)
    return f"{title}, {used.each}" if used.each == FOUR_HOURLY else title


def _counted(case: Case, n: int, used: Used) -> Counts:
    """Return what counts: of the period, or of the time the sheet gives."""
    import numpy as np

    assert case.recorded is not None
    times = case.recorded.times
    first = moment(case.given, f"used.{n - 1}.counted_from", case.since)
    last = moment(case.given, f"used.{n - 1}.counted_to", case.until)
    grabs = tuple(one.value for one in series.grabs_between(case.given, first, last))
    if used.each == FOUR_HOURLY:
        found = series.every_4_h(case.recorded, case.given, first, last)
        return Counts(found.rows, grabs if used.what == HIGHEST else _of_percent(used, found), found)
    rows = np.flatnonzero((times >= first) & (times <= last))
    return Counts(rows, grabs if used.what == HIGHEST else ())


def _of_percent(used: Used, found: FourHours) -> tuple[Decimal, ...]:
    return found.grabs if used.what == SHARE else ()


def _says(case: Case, used: Used, n: int, limit: Limit, values: Floats, counts: Counts) -> Said | str:
    """Return what values say of a use, or why they say nothing."""
    import numpy as np

    assert case.recorded is not None
    rows = counts.rows
    times, inside = case.recorded.times[rows], values[rows]
    stood = np.array([float(grab) for grab in counts.grabs])
    counted = int(np.count_nonzero(~np.isnan(inside))) + len(stood)
    if not counted:
        return "the export holds no value of the time that counts"
    bad = limits.beyond(inside, limit.size, limit.direction)
    plain = {int(row): int(row) for row in rows[bad]}
    grabs = limits.beyond(stood, limit.size, limit.direction)
    plain |= {-1 - int(n): -1 for n in np.flatnonzero(grabs)}
    unit = case.given.analyzer.unit
    if used.what == SHARE:
        percent, _above, _n = limits.percent_within(np.r_[inside, stood], limit.size)
        return Said(percent.normalize(), "%", plain, counted)
    if used.what in IN_TURN and used.each == FOUR_HOURLY:
        return f"values every 4 h do not tell of {IN_TURN[used.what]}; let every recorded value count"
    if used.what == "two in a row":
        return _in_pairs(case, limit, values, rows, counted)
    if used.what == "two in a row after 4 h":
        return _after_backwash(case, n, limit, values)
    if used.what == "too low for 4 h":
        runs = limits.stretches(times, bad, inside, case.recorded.gap_s)
        longest = Decimal(max((run.seconds for run in runs), default=0)) / 3600
        return Said(longest.quantize(Decimal("0.0001")).normalize(), "h", plain, counted)
    if used.what == "lowest of the day":
        days = series.local_days(case.recorded, case.given)[rows]
        low = limits.lowest_of_days(inside, days)
        plain = {int(days[row]): int(rows[row]) for row in low if bad[row]}
    whole = np.r_[inside, stood]
    extreme = np.nanmax(whole) if limit.direction == "above" else np.nanmin(whole)
    of_grab = bool(len(stood)) and extreme in stood and extreme not in inside
    return Said(_fixed(case, float(extreme), values, of_grab), unit, plain, counted)


def _fixed(case: Case, value: float, values: Floats, of_grab: bool) -> Decimal:
    assert case.recorded is not None
    as_it_is = of_grab or values is case.recorded.values
    return Decimal(repr(value)) if as_it_is else Decimal(case.text(value))


def _in_pairs(case: Case, limit: Limit, values: Floats, rows: NDArray[Any], counted: int) -> Said | str:
    """Return the pairs within the time that counts, found as a month finds them."""
    import numpy as np

    assert case.recorded is not None
    if isinstance(case.recorded.quarters, str):
        return case.recorded.quarters
    of_time = np.full(len(values), np.nan)
    of_time[rows] = values[rows]
    count, bad = limits.in_pairs(case.recorded.quarters, of_time, limit.size)
    return Said(Decimal(count), "pairs", {row: row for row in bad}, counted)


def _after_backwash(case: Case, n: int, limit: Limit, values: Floats) -> Said | str:
    assert case.recorded is not None
    if isinstance(case.recorded.quarters, str):
        return case.recorded.quarters
    on_line = moment(case.given, f"used.{n - 1}.on_line", case.since)
    found = limits.end_of_first_hours(case.recorded.quarters, values, limit.size, on_line)
    if isinstance(found, str):
        return found
    both, rows = found
    return Said(Decimal(int(both)), "pairs", {row: row for row in rows} if both else {}, 2)


# ---------------------------------------------------------------- checks


def checks_of(case: Case, found: tuple[Decision, ...]) -> Iterator[Check]:
    """Give the checks: every use as recorded, then every use as corrected."""
    yield from (_as_recorded(one) for one in found)
    yield from (_as_corrected(case, one) for one in found)
    if not found:
        yield not_evaluated(
            NO_USE, CORRECTED, "Decisions that used the values", "no decision that used them is named"
        )


def expected(n: int) -> tuple[str, ...]:
    """Return the keys of the checks of so many uses."""
    keys = [f"{stage}.{number}" for stage in (AS_RECORDED, CORRECTED) for number in range(1, n + 1)]
    return tuple(keys) or (NO_USE,)


def _as_recorded(one: Decision) -> Check:
    key = f"{AS_RECORDED}.{one.key}"
    if one.recorded is None or one.limit is None:
        return not_evaluated(key, AS_RECORDED, one.title, one.why_not)
    tolerance = judged_by(one.used, one.limit, one.recorded.unit, guarded=False)
    return judge(key, AS_RECORDED, one.title, _quantity(one.recorded), tolerance)


def _as_corrected(case: Case, one: Decision) -> Check:
    key = f"{CORRECTED}.{one.key}"
    said = one.corrected.get((case.stated, 0))
    if said is None or one.limit is None:
        return not_evaluated(key, CORRECTED, one.title, one.why_not or why_not_corrected(case))
    sure = how_sure(case, one)
    tolerance = judged_by(one.used, one.limit, said.unit, guarded=bool(sure))
    quantity = _quantity(said, sure, case.taken[0].k)
    return judge(key, CORRECTED, one.title, quantity, tolerance, exact=said.quantity if sure else None)


def why_not_corrected(case: Case) -> str:
    """Return why nothing is corrected by the stated model."""
    if case.why_no_model:
        return case.why_no_model
    if case.stated == "step" and case.step_at is None:
        return "nothing says when the step came"
    return "with the error found no value is left that counts"


def how_sure(case: Case, one: Decision) -> str:
    """Return how far the quantity moves towards its limit where the error moves by its U; empty for not.

    The error is one for the whole period: every value moves with it. What counts is the side on which the
    limit lies: where all three decide alike, the quantity stays clear of its limit by more than this.
    """
    found = [one.corrected.get((case.stated, shift)) for shift in SHIFTS]
    low, here, high = (said.quantity if said is not None else None for said in found)
    if low is None or here is None or high is None or one.limit is None:
        return ""
    bounds = judged_by(one.used, one.limit, "", guarded=False)
    limit = bounds.low if bounds.low is not None else bounds.high
    assert limit is not None
    up = here < limit or (here == limit and bounds.high is not None)  # at the limit it passes
    moves = [(other - here) if up else (here - other) for other in (low, high)]
    towards = max(moves)
    return round_up(float(towards)) if towards > 0 else ""


def _quantity(said: Said, expanded: str = "", k: float | None = None) -> Quantity:
    text, value = f"{said.quantity:f}", float(said.quantity)
    return Quantity(text, said.unit, value, k=k if expanded else None, expanded=expanded)
