"""Slices: deterministic bytes, strictly read; a damaged one is refused in a sentence."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wqverify.errors import ChooseAnother, CorrectTheEntry, ResultsDiffer
from wqverify.trends import Channel, ExportOptions, read_export, slices
from wqverify.trends.slices import cut, read_slice

START = datetime(2026, 3, 10, 8, tzinfo=UTC)
CONTENT = (
    "time;AIT-2301;AIT-2301_flag\n2026-03-10 08:00;0,950;good\n2026-03-10 08:10;<0,02;\n"
    '2026-03-10 08:20;;"bad; see ""log"""\n2026-03-10 08:30;1e-3;good\n2026-03-10 08:40;-,5;good\n'
)
SLICE = (
    b'time,value,flag\n2026-03-10T08:00:00Z,0.950,good\n2026-03-10T08:10:00Z,,"<0,02"\n'
    b'2026-03-10T08:20:00Z,,"bad; see ""log"""\n2026-03-10T08:30:00Z,0.001,good\n'
    b"2026-03-10T08:40:00Z,-0.5,good\n"
)


@pytest.fixture
def channel(tmp_path: Path) -> Channel:
    path = tmp_path / "e.csv"
    path.write_text(CONTENT, "utf-8")
    return read_export(path, ExportOptions(time_zone="UTC", decimal=",")).channel_of("AIT-2301")


def minutes(count: int) -> datetime:
    return START + timedelta(minutes=count)


def test_a_slice_holds_the_values_as_exported_with_decimal_point(channel: Channel) -> None:
    data = cut(channel, START, minutes(40))
    assert data == SLICE
    assert data == cut(channel, START, minutes(40))
    rows = list(read_slice(data))
    assert rows[0] == (START, Decimal("0.950"), "good")
    assert str(rows[0][1]) == "0.950"  # trailing zeros state the resolution
    assert rows[1] == (minutes(10), None, "<0,02")
    assert rows[2] == (minutes(20), None, 'bad; see "log"')


@pytest.mark.parametrize(
    ("start", "end", "count"),
    [
        (timedelta(0), timedelta(minutes=10), 2),
        (timedelta(seconds=1), timedelta(minutes=10), 1),
        (timedelta(microseconds=1), timedelta(minutes=10), 1),
        (timedelta(0), timedelta(minutes=10, seconds=-1), 1),
        (timedelta(minutes=-60), timedelta(minutes=600), 5),
    ],
)
def test_both_ends_are_included(channel: Channel, start: timedelta, end: timedelta, count: int) -> None:
    assert len(read_slice(cut(channel, START + start, START + end))) == count


def test_a_time_the_export_does_not_hold_is_refused(channel: Channel) -> None:
    with pytest.raises(ChooseAnother) as caught:
        cut(channel, minutes(50), minutes(60))
    assert caught.value.message == (
        "AIT-2301 has no row from 2026-03-10 08:50+00:00 to 2026-03-10 09:00+00:00; the export holds "
        "2026-03-10 08:00 UTC to 2026-03-10 08:40 UTC. Name an export of that time."
    )


@pytest.mark.parametrize("room", [-1, 0])
def test_a_slice_has_a_greatest_size(channel: Channel, monkeypatch: pytest.MonkeyPatch, room: int) -> None:
    monkeypatch.setattr(slices, "MOST_BYTES", len(SLICE) + room)
    if room == 0:
        assert read_slice(cut(channel, START, minutes(40))).rows
        return
    with pytest.raises(CorrectTheEntry, match=r"The slice of AIT-2301 has 5 rows and 0\.0 MB; at most"):
        cut(channel, START, minutes(40))
    with pytest.raises(ResultsDiffer, match=r"The slice of an export is damaged: it has \d+ bytes, at most"):
        read_slice(SLICE)


@pytest.mark.parametrize(
    ("was", "now", "says"),
    [
        (b"time,value,flag", b"time,value", " in line 1: its first line is not time,value,flag"),
        (b"0.950", b"0.95O", " in line 2: '0.95O' is no number"),
        (b"0.950", b"1_0", " in line 2: '1_0' is no number"),
        (b"0.950", b"+0.950", " in line 2: '+0.950' is no number"),
        (b"0.950", b"NaN", " in line 2: 'NaN' is no number"),
        (b"0.950", b"00.950", ": it is not written as a slice is, byte for byte"),
        (b"08:10:00Z", b"08:10:00", " in line 3: '2026-03-10T08:10:00' is no time in UTC"),
        (b"03-10T08:10", b"02-30T08:10", " in line 3: '2026-02-30T08:10:00Z' is no time in UTC"),
        (b"08:10:00Z", b"07:10:00Z", " in line 3: its time is before the one above"),
        (b",good\n", b"\n", " in line 2: it has 2 fields instead of 3"),
        (b"\n2026-03-10T08:40", b"\r\n2026-03-10T08:40", ": it is not written as a slice is, byte for byte"),
        (b"good", b"\xff", " in line 2: it is not UTF-8 text"),
        (b'log"""', b"log", " in line 4: unexpected end of data"),
    ],
)
def test_a_damaged_slice_is_refused_in_a_sentence(was: bytes, now: bytes, says: str) -> None:
    assert was in SLICE
    with pytest.raises(ResultsDiffer) as caught:
        read_slice(SLICE.replace(was, now, 1))
    assert caught.value.message.startswith(f"The slice of an export is damaged{says}")
    assert caught.value.message.endswith("; take it out of the signed record again.")


@given(
    st.lists(
        st.tuples(
            st.integers(0, 10_000),
            st.decimals(-1000, 1000, places=3) | st.none(),
            st.text(st.characters(exclude_categories=["C", "Z"]), max_size=12),
        ),
        min_size=1,
        max_size=20,
        unique_by=lambda row: row[0],
    )
)
def test_a_written_slice_reads_back(rows: list[tuple[int, Decimal | None, str]]) -> None:
    expected = tuple((minutes(m), value, flag) for m, value, flag in sorted(rows, key=lambda row: row[0]))
    assert read_slice(slices._written(expected)).rows == expected


@given(st.binary(max_size=200))
def test_whatever_bytes_a_slice_holds_it_is_read_or_refused(data: bytes) -> None:
    whole = b"time,value,flag\n" + data
    with suppress(ResultsDiffer):
        assert slices._written(read_slice(whole)) == whole
