"""What recorded values say against limits: a doubt counts what a month counts, on the same recordings."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest
from doubt_example import judged, month, rows, run, sheet

from wqverify.calculations import recorded_limits as limits
from wqverify.calculations.recordings import Recording, Span, interval_of, on_the_quarter
from wqverify.calculations.turbidity_pairs import QUARTER, first_four_hours, runs_above

LIMIT = Decimal("1.0")
TO_TRY = {"time": "worst case", "level": "offset", "start": "taken as none", "why": "to try"}
Minutes = list[tuple[int, str]]  # minutes after the full hour, value


def every(step: int, until: int, high: tuple[int, ...] = (), usual: str = "1.2") -> Minutes:
    """Values so many minutes apart: all as usual, or 0.9 but 1.2 at some of the minutes."""
    low = "0.9" if high else usual
    return [(minute, "1.2" if minute in high else low) for minute in range(0, until + 1, step)]


PAIRS = [
    ([(5, "1.2"), (20, "1.2"), (35, "1.2"), (50, "1.2")], 3),  # none on a quarter of the clock
    (every(10, 60), 4),
    (every(30, 120), 4),
    (every(1, 40, high=(14, 29)), 0),
    (every(1, 50, high=(0, 15, 30, 45)), 3),
    (every(15, 45), 3),
    (every(15, 45, usual="1.0"), 0),  # at the limit
    ([(0, "1.2"), (15, ""), (30, "1.2")], 0),  # a missing one breaks it
    ([(0, "1.2"), (15, "1.2"), (45, "1.2"), (60, "1.2")], 2),  # and so does a gap
]


def of_the_month(recorded: Minutes) -> int:
    start = datetime(2026, 3, 10, 10, tzinfo=UTC)
    found = [Recording(start + timedelta(minutes=m), Decimal(v) if v else None) for m, v in recorded]
    step = max(interval_of(found), QUARTER)
    return sum(run.pairs for run in runs_above(on_the_quarter(found, QUARTER), LIMIT, step))


@pytest.mark.parametrize(("recorded", "pairs"), PAIRS)
def test_a_doubt_counts_the_pairs_a_month_counts(recorded: Minutes, pairs: int) -> None:
    at = [f"2026-03-10 {5 + m // 60:02d}:{m % 60:02d}" for m, _ in recorded]
    slice_ = rows(zip(at, (value for _, value in recorded), strict=True))
    result = run(sheet(model=TO_TRY, used=[{"what": "two in a row"}]), slice_=slice_)
    said = judged(result, "as_recorded.1")
    assert (of_the_month(recorded), said[0]) == (pairs, str(pairs))
    assert said[1] == ("fail" if pairs else "pass")


def test_the_rows_of_a_pair_are_those_that_stood_for_the_quarters() -> None:
    found = limits.quarters_of(limits.rows_as_recordings(np.arange(7) * 600))  # :00 :10 :20 ... :60
    count, taken = limits.in_pairs(found, np.full(7, 1.2), LIMIT)
    assert (count, taken) == (4, [0, 1, 3, 4, 6])  # of two as near the earlier stands


def test_what_is_left_out_breaks_a_pair() -> None:
    def span(start: int, end: int) -> Span:
        a, b = (datetime.fromtimestamp(at, UTC) for at in (start, end))
        return Span(a, b, "output held")

    for out, count in ((span(900, 901), 0), (span(899, 900), 2), (span(0, 900), 1)):
        found = limits.quarters_of(limits.rows_as_recordings(np.arange(3) * 900, [out]))
        assert limits.in_pairs(found, np.full(3, 1.2), LIMIT)[0] == count


@pytest.mark.parametrize("step", [1, 5, 10, 15, 30])
@pytest.mark.parametrize("on_line", [0, 7, 15])
def test_the_end_of_the_first_4_h_is_that_of_a_month(step: int, on_line: int) -> None:
    """On line at 10:00, 10:07, 10:15, recorded every so many minutes; only the last 40 min are high."""
    begun = 1_773_136_800  # 2026-03-10 10:00 UTC
    times = begun + np.arange(0, 6 * 60, step) * 60
    values = np.where(times >= begun + (on_line + 200) * 60, 0.6, 0.2)
    recordings = [
        Recording(datetime.fromtimestamp(t, UTC), Decimal(repr(v)))
        for t, v in zip(times.tolist(), values.tolist(), strict=True)
    ]
    at = datetime.fromtimestamp(begun + on_line * 60, UTC)
    off = Span(at - timedelta(minutes=30), at, "backwash", off_line=True)
    apart = max(timedelta(minutes=step), QUARTER)
    (start,) = first_four_hours(on_the_quarter(recordings, QUARTER), [off], apart)
    found = limits.quarters_of(limits.rows_as_recordings(times))
    said = limits.end_of_first_hours(found, values, Decimal("0.5"), begun + on_line * 60)
    assert start.pair is not None
    assert not isinstance(said, str)
    assert said[0] is start.exceeds(Decimal("0.5"))
    assert [int(times[row]) // 60 for row in said[1]] == [
        min((abs(int(t) - int(one.at.timestamp())), int(t)) for t in times)[1] // 60 for one in start.pair
    ]


@pytest.mark.parametrize("what", ["two in a row", "two in a row after 4 h"])
def test_of_one_recording_nothing_follows_another(what: str) -> None:
    used = {"what": what} | ({"on_line": "2026-03-10 03:30"} if "4 h" in what else {})
    result = run(sheet(model=TO_TRY, used=[used]), slice_=rows([("2026-03-10 07:30", "1.2")]))
    said = judged(result, "as_recorded.1")
    assert said == ("the export holds fewer than two recordings, so none follow one another", "not evaluated")


def test_values_every_4_h_hold_no_pair_and_say_so() -> None:
    used = {"what": "two in a row", "each": "one every 4 h"}
    result = run(sheet(model=TO_TRY, used=[used]), slice_=month({}, every=15, usual="1.2"))
    shown, outcome = judged(result, "as_recorded.1")
    assert shown.startswith("values every 4 h do not tell of two recordings 15 min apart")
    assert outcome == "not evaluated"
