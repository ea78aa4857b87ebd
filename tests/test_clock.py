"""Typed wall-clock times: the plant's zone, the spring gap, the repeated hour."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wqverify.errors import CorrectTheEntry
from wqverify.plant.clock import day, resolve

CHICAGO = ZoneInfo("America/Chicago")
# Clocks in the United States, 2026: forward on 8 March at 02:00, back on 1 November at 02:00
# (Energy Policy Act of 2005, second Sunday in March, first Sunday in November).
SPRING, AUTUMN = "2026-03-08", "2026-11-01"


@pytest.mark.parametrize(
    ("date", "typed", "resolved"),
    [
        ("2026-01-15", "08:15", "2026-01-15T08:15-06:00"),
        ("2026-07-15", "08:15", "2026-07-15T08:15-05:00"),
        ("2026-07-15", "08:15 -05:00", "2026-07-15T08:15-05:00"),
        ("2026-07-15", "2026-07-16 00:05", "2026-07-16T00:05-05:00"),
        ("2026-07-15", "2026-11-01 01:30 -06:00", "2026-11-01T01:30-06:00"),
        ("2026-07-15", "00:00", "2026-07-15T00:00-05:00"),
        ("2026-07-15", "23:59", "2026-07-15T23:59-05:00"),
        # the spring gap: the minute before and the minute after exist
        (SPRING, "01:59", "2026-03-08T01:59-06:00"),
        (SPRING, "03:00", "2026-03-08T03:00-05:00"),
        # the repeated hour: the minute before and the minute after are told without an offset
        (AUTUMN, "00:59", "2026-11-01T00:59-05:00"),
        (AUTUMN, "02:00", "2026-11-01T02:00-06:00"),
        (AUTUMN, "01:30 -05:00", "2026-11-01T01:30-05:00"),
        (AUTUMN, "01:30 -06:00", "2026-11-01T01:30-06:00"),
    ],
)
def test_a_time_resolves_to_the_offset_in_force(date: str, typed: str, resolved: str) -> None:
    assert resolve(date, typed, CHICAGO).isoformat(timespec="minutes") == resolved


@pytest.mark.parametrize("typed", ["02:00", "02:59", "02:30 -06:00", "2026-03-08 02:30"])
def test_a_time_in_the_spring_gap_is_refused(typed: str) -> None:
    with pytest.raises(
        CorrectTheEntry,
        match=r"^02:\d\d on 2026-03-08 does not exist in America/Chicago: the clocks were put forward over "
        r"it; type the time the clock showed\.$",
    ):
        resolve(SPRING, typed, CHICAGO)


@pytest.mark.parametrize("typed", ["01:00", "01:59", "2026-11-01 01:30"])
def test_a_time_in_the_repeated_hour_is_refused_with_both_readings(typed: str) -> None:
    with pytest.raises(CorrectTheEntry) as refused:
        resolve(AUTUMN, typed, CHICAGO)
    wall = typed[-5:]
    assert str(refused.value) == (
        f"{wall} on 2026-11-01 happened twice in America/Chicago, before and after the clocks were put back; "
        f"type which: {typed} -05:00 or {typed} -06:00."
    )
    assert refused.value.expected == f"{typed} -05:00 or {typed} -06:00"


def test_an_offset_that_was_not_in_force_is_refused_with_the_one_that_was() -> None:
    with pytest.raises(CorrectTheEntry, match=r"was not at -06:00 in America/Chicago; type 08:15 -05:00\.$"):
        resolve("2026-07-15", "08:15 -06:00", CHICAGO)
    with pytest.raises(CorrectTheEntry, match=r"type 01:30 -05:00 or 01:30 -06:00\.$"):
        resolve(AUTUMN, "01:30 -07:00", CHICAGO)


@pytest.mark.parametrize(
    "typed",
    [
        "24:00",
        "08:60",
        "8:15",
        "08.15",
        "08:15:00",
        "0815",
        "08:15 pm",
        "08:15Z",
        "٠٨:١٥",
        " 08:15",
        "",
        "08:15 -5:00",
    ],
)
def test_what_is_no_time_of_day_is_refused(typed: str) -> None:
    sentence = f"{typed!r} is not a time of day; type it as 08:15, from 00:00 to 23:59."
    with pytest.raises(CorrectTheEntry, match=f"^{re.escape(sentence)}$"):
        resolve("2026-07-15", typed, CHICAGO)


@pytest.mark.parametrize(
    "typed",
    [
        "2026-02-29",
        "2026-13-01",
        "2026-7-15",
        "15.07.2026",
        "20260715",
        "1969-12-31",
        "2200-01-01",
        "",
        "２０２６-07-15",
    ],
)
def test_what_is_no_date_is_refused(typed: str) -> None:
    with pytest.raises(
        CorrectTheEntry, match=r"is not a date; type it as 2026-03-31, year, month and day\.$"
    ):
        resolve(typed, "08:15", CHICAGO)


@pytest.mark.parametrize("typed", ["1970-01-01", "2024-02-29", "2199-12-31"])
def test_the_first_and_last_dates_and_a_leap_day_are_dates(typed: str) -> None:
    assert day(typed).isoformat() == typed


def test_differences_are_true_lengths_of_time() -> None:
    """Python subtracts two times of one zone by the wall clock; a held output must not gain an hour."""
    before, after = resolve(AUTUMN, "00:30", CHICAGO), resolve(AUTUMN, "02:30", CHICAGO)
    assert after - before == timedelta(hours=3)


ZONES = st.sampled_from([CHICAGO, ZoneInfo("Australia/Lord_Howe"), ZoneInfo("UTC")])


@given(st.datetimes(datetime(1971, 1, 1), datetime(2199, 12, 30)), ZONES)
def test_every_instant_can_be_typed_and_comes_back(moment: datetime, zone: ZoneInfo) -> None:
    local = moment.replace(second=0, microsecond=0, tzinfo=UTC).astimezone(zone)
    typed = f"{local:%H:%M} {local.isoformat(timespec='minutes')[-6:]}"
    assert resolve(f"{local:%Y-%m-%d}", typed, zone) == local
