"""The calendar of an outage: working days, business days, times between grabs, how long a value stayed low.

Outside values: numpy.busday_offset and pandas CustomBusinessDay count working days with the same holidays;
W14 and W16 of the project's worked values (40 CFR 141.72 and 141.74(c)(2)); elapsed hours over changed
clocks by zoneinfo in UTC. 40 CFR 141.174(b) and 141.561 were read: "no more than five working days following
the failure", "14 days to resume".
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import islice
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wqverify.calculations import outage

ZONE = ZoneInfo("America/New_York")
HOLIDAYS = {date(2026, 5, 25), date(2026, 7, 3), date(2026, 11, 26), date(2026, 12, 25), date(2027, 1, 1)}
DAYS = st.dates(date(2026, 1, 1), date(2027, 12, 31))
SOME = st.sets(DAYS, max_size=12)


def at(text: str) -> datetime:
    return datetime.fromisoformat(text)


def clock(text: str, fold: int = 0) -> datetime:
    return datetime.strptime(text, "%Y-%m-%d %H:%M").replace(tzinfo=ZONE, fold=fold)


# ---------------------------------------------------------------- days, against two libraries


@given(DAYS, st.integers(1, 20), SOME)
def test_working_days_are_those_of_numpy(day: date, count: int, off: set[date]) -> None:
    theirs = np.busday_offset(np.datetime64(day), count, roll="backward", holidays=sorted(off))
    assert outage.nth_working_day(day, count, off) == theirs.astype(date)


@given(DAYS, SOME)
def test_the_next_business_day_is_that_of_pandas(day: date, off: set[date]) -> None:
    theirs = pd.Timestamp(day) + pd.offsets.CustomBusinessDay(holidays=sorted(off))
    assert outage.next_business_day(day, off) == theirs.date()


@given(DAYS, SOME)
def test_a_working_day_is_one_of_numpy(day: date, off: set[date]) -> None:
    assert outage.is_working_day(day, off) == bool(np.is_busday(np.datetime64(day), holidays=sorted(off)))


@given(DAYS, st.integers(1, 60))
def test_days_are_counted_as_pandas_counts_them(day: date, count: int) -> None:
    assert outage.nth_day(day, count) == (pd.Timestamp(day) + pd.Timedelta(days=count)).date()


@pytest.mark.parametrize(
    ("failed", "last"),
    [
        ("2026-05-13", "2026-05-20"),  # Wednesday: the weekend is not counted
        ("2026-05-15", "2026-05-22"),  # Friday
        ("2026-05-16", "2026-05-22"),  # Saturday: the first is Monday
        ("2026-05-17", "2026-05-22"),  # Sunday
        ("2026-05-18", "2026-05-26"),  # the 25th is a holiday
        ("2026-12-24", "2027-01-04"),  # over Christmas and the turn of the year
    ],
)
def test_five_working_days_go_past_weekends_holidays_and_the_year(failed: str, last: str) -> None:
    assert outage.nth_working_day(date.fromisoformat(failed), 5, HOLIDAYS) == date.fromisoformat(last)


@pytest.mark.parametrize(
    ("day", "due"),
    [
        ("2026-05-21", "2026-05-22"),
        ("2026-05-22", "2026-05-26"),  # Friday before a holiday on Monday
        ("2026-05-24", "2026-05-26"),
        ("2026-05-25", "2026-05-26"),  # on the holiday itself
        ("2026-12-31", "2027-01-04"),
    ],
)
def test_the_next_business_day_skips_what_is_none(day: str, due: str) -> None:
    assert outage.next_business_day(date.fromisoformat(day), HOLIDAYS) == date.fromisoformat(due)


def test_working_days_follow_one_another_and_the_day_itself_is_not_among_them() -> None:
    found = list(islice(outage.working_days_after(date(2026, 5, 21), HOLIDAYS), 3))
    assert [day.day for day in found] == [22, 26, 27]


@pytest.mark.parametrize("function", [outage.nth_working_day, outage.nth_day])
def test_none_is_no_number_of_days(function: object) -> None:
    with pytest.raises(ValueError, match=r"^0 .*days are none; at least 1 is needed$"):
        function(date(2026, 5, 13), 0)  # type: ignore[operator]


def test_fourteen_days_go_past_the_turn_of_the_year() -> None:
    assert outage.nth_day(date(2026, 12, 24), 14) == date(2027, 1, 7)


@pytest.mark.parametrize(
    ("start", "end", "days"),
    [
        ("2026-05-13 08:00", "2026-05-13 20:00", []),
        ("2026-05-13 08:00", "2026-05-14 08:00", []),
        ("2026-05-13 23:59", "2026-05-15 00:00", [14]),
        ("2026-05-13 00:00", "2026-05-16 23:59", [14, 15]),
    ],
)
def test_whole_days_lie_between_the_first_and_the_last(start: str, end: str, days: list[int]) -> None:
    assert [day.day for day in outage.whole_days(clock(start), clock(end))] == days


# ---------------------------------------------------------------- four hours are elapsed hours


@given(
    st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 31), timezones=st.just(ZONE)),
    st.integers(0, 20000),
)
def test_minutes_are_those_of_universal_time(start: datetime, minutes: int) -> None:
    end = (start.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(ZONE)
    first, last = (at(moment.isoformat()) for moment in (start, end))  # with offsets, as a record keeps them
    assert outage.minutes_between(first, last) == minutes


@pytest.mark.parametrize(
    ("first", "second", "minutes"),
    [
        ("2026-03-08T01:30-05:00", "2026-03-08T05:30-04:00", 180),  # the clock was put forward: 3 h
        ("2026-03-08T01:30-05:00", "2026-03-08T06:30-04:00", 240),  # 5 h by the clock, 4 in truth
        ("2026-11-01T01:30-04:00", "2026-11-01T04:30-05:00", 240),  # 3 h by the clock, 4 in truth
        ("2026-11-01T01:30-04:00", "2026-11-01T01:30-05:00", 60),  # the repeated hour
        ("2026-05-13T22:30-04:00", "2026-05-14T02:30-04:00", 240),  # over midnight
        ("2026-12-31T22:00-05:00", "2027-01-01T02:00-05:00", 240),  # over the turn of the year
    ],
)
def test_a_night_with_changed_clocks_is_shorter_or_longer(first: str, second: str, minutes: int) -> None:
    assert outage.minutes_between(at(first), at(second)) == minutes


@pytest.mark.parametrize(
    ("grabs", "minutes"),
    [
        (["08:00", "11:59"], [0, 239, 121]),
        (["08:00", "12:00"], [0, 240, 120]),
        (["08:00", "12:01"], [0, 241, 119]),
        ([], [360]),
        (["12:00", "10:00"], [120, 120, 120]),  # in any order
        (["12:00", "12:00"], [240, 120]),  # two at one time are one
        (["07:59", "14:01"], [360]),  # before the failure and after the return
        (["14:00"], [360, 0]),
    ],
)
def test_gaps_run_from_the_failure_over_the_grabs_to_the_return(grabs: list[str], minutes: list[int]) -> None:
    times = [clock(f"2026-05-13 {grab}") for grab in grabs]
    found = outage.gaps(clock("2026-05-13 08:00"), times, clock("2026-05-13 14:00"))
    assert [gap.minutes for gap in found] == minutes


@pytest.mark.parametrize(
    ("stopped", "minutes"),
    [
        ([("09:00", "10:00")], 300),
        ([("07:00", "09:00")], 300),  # begun before the failure
        ([("13:00", "15:00")], 300),  # lasts beyond the end
        ([("09:00", "10:00"), ("09:30", "10:30")], 270),  # what two share counts once
        ([("09:00", "12:00"), ("10:00", "11:00")], 180),  # one within the other
        ([("10:30", "11:00"), ("09:00", "10:00")], 270),  # in any order
        ([("07:00", "15:00")], 0),
        ([("15:00", "16:00")], 360),
    ],
)
def test_a_standstill_asks_for_no_grab(stopped: list[tuple[str, str]], minutes: int) -> None:
    stretches = [(clock(f"2026-05-13 {a}"), clock(f"2026-05-13 {b}")) for a, b in stopped]
    start, end = clock("2026-05-13 08:00"), clock("2026-05-13 14:00")
    assert [gap.minutes for gap in outage.gaps(start, [], end, stretches)] == [minutes]


# ---------------------------------------------------------------- W14: how long it stayed low


def spells(*points: tuple[str, bool], end: str = "08:00") -> list[tuple[int, bool]]:
    samples = [(clock(f"2026-05-13 {time}"), beyond) for time, beyond in points]
    found = outage.spells(samples, clock(f"2026-05-13 {end}"))
    return [(spell.minutes, spell.until is not None) for spell in found]


@pytest.mark.parametrize(
    ("restored", "minutes"),
    [("06:05", 235), ("06:09", 239), ("06:10", 240), ("06:11", 241), ("06:15", 245)],
)
def test_a_residual_is_low_from_the_first_value_below_to_the_first_that_is_not(
    restored: str, minutes: int
) -> None:
    """W14: 0.19 from 02:10 to 06:05 and to 06:15; and each minute around four hours."""
    assert spells(("02:10", True), (restored, False)) == [(minutes, True)]


def test_a_residual_that_was_not_restored_is_low_until_the_last_known_moment() -> None:
    assert spells(("02:10", True), ("05:00", True), end="06:40") == [(270, False)]
    assert spells(("02:10", True), ("05:00", True), end="04:00") == [(170, False)]


def test_two_runs_are_two_and_their_times_do_not_add_up() -> None:
    found = spells(("01:00", True), ("02:00", False), ("03:00", True), ("05:30", True), ("06:00", False))
    assert found == [(60, True), (180, True)]


def test_without_a_value_beyond_there_is_no_run() -> None:
    assert spells(("01:00", False), ("05:00", False)) == []
    assert spells() == []


# ---------------------------------------------------------------- W16: small systems


@pytest.mark.parametrize(
    ("people", "grabs"),
    [
        (1, 1),
        (500, 1),
        (501, 2),
        (1000, 2),
        (1001, 3),
        (2500, 3),
        (2501, 4),
        (2800, 4),
        (3300, 4),
    ],
)
def test_a_small_system_takes_so_many_grabs_a_day(people: int, grabs: int) -> None:
    """W16 and the table of 40 CFR 141.74(c)(2), both sides of each of its limits."""
    assert outage.grabs_a_day(people) == grabs


@pytest.mark.parametrize("people", [0, 3301])
def test_beyond_the_table_there_is_no_number(people: int) -> None:
    with pytest.raises(ValueError, match=f"^{people} people served is not within 1 to 3300$"):
        outage.grabs_a_day(people)
