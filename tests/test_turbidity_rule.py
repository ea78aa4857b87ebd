"""Values every four hours and their share, against 40 CFR 141.73, .74, .173, .551 and real exports.

Outside values: A11 of the project's external facts (180 values, 9 and 10 above), W18 of its practice checks
(3 above as recorded, 11 after correction), and the real station B: values at 00, 04 ... 20 h above 0.3 NTU by
month 35/48, 71/186, 4/180, 29/186.
"""

from __future__ import annotations

import os
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from wqverify.calculations.recordings import Recording, Span, interval_of, marked
from wqverify.calculations.turbidity_pairs import runs_above
from wqverify.calculations.turbidity_rule import (
    ENOUGH,
    By,
    Taken,
    Value4h,
    due_times,
    exceeds,
    first_day,
    month_after,
    percent_text,
    report_due,
    spot_values,
    to_digits_of,
    window_values,
    with_grabs,
)
from wqverify.trends import ExportOptions, read_export
from wqverify.trends.slices import cut, read_slice

NEW_YORK, EAST = ZoneInfo("America/New_York"), ZoneInfo("Etc/GMT+5")
NINETY_FIVE = Decimal(95)
HALF = timedelta(minutes=7.5)
HOUR = timedelta(hours=1)


# ---------------------------------------------------------------- what is due


@pytest.mark.parametrize(
    ("month", "count"),
    [("2026-02", 168), ("2028-02", 174), ("2026-04", 180), ("2026-03", 186), ("2026-11", 180)],
)
def test_six_values_a_day_are_due_also_where_the_clocks_are_changed(month: str, count: int) -> None:
    dues = due_times(month, NEW_YORK)
    assert len(dues) == count
    assert {due.clock.hour for due in dues} == {0, 4, 8, 12, 16, 20}
    assert [dues[0].clock.day, dues[-1].clock.hour] == [1, 20]


def test_the_night_of_the_changed_clocks_is_an_hour_shorter_or_longer() -> None:
    spring = {due.clock: due.end - due.start for due in due_times("2026-03", NEW_YORK)}
    autumn = {due.clock: due.end - due.start for due in due_times("2026-11", NEW_YORK)}
    assert spring[datetime(2026, 3, 8, 0)] == 3 * HOUR
    assert autumn[datetime(2026, 11, 1, 0)] == 5 * HOUR
    assert {size for clock, size in spring.items() if clock != datetime(2026, 3, 8, 0)} == {4 * HOUR}


@pytest.mark.parametrize(
    ("month", "months", "other"),
    [
        ("2026-12", 1, "2027-01"),
        ("2026-01", -1, "2025-12"),
        ("2026-06", 0, "2026-06"),
        ("2026-11", 14, "2028-01"),
    ],
)
def test_months_go_over_the_year(month: str, months: int, other: str) -> None:
    assert month_after(month, months) == other


def test_a_month_is_reported_by_the_tenth() -> None:
    assert report_due("2026-12").isoformat() == "2027-01-10"


# ---------------------------------------------------------------- the value at a moment


def due_and(*rows: tuple[float, str], spans: tuple[Span, ...] = ()) -> Value4h:
    """The value of the first due time, of recordings so many minutes after it."""
    due = due_times("2026-03", EAST)[0]
    found = marked([(due.start + timedelta(minutes=m), Decimal(v) if v else None) for m, v in rows], spans)
    return spot_values(found, [due], spans, HALF)[0]


@pytest.mark.parametrize(("minutes", "state"), [(7.4, "recorded"), (7.5, "recorded"), (7.6, "missing")])
def test_the_nearest_recording_stands_up_to_half_a_step_away(minutes: float, state: str) -> None:
    assert due_and((minutes, "0.06")).state == state
    assert due_and((-minutes, "0.06")).state == state


def test_without_a_recording_or_a_number_it_is_missing() -> None:
    assert due_and().why == "no recording near it"
    assert due_and((0, "")).why == "the recording holds no number"
    assert due_and((0, ""), (7, "0.06")).state == "missing"


@pytest.mark.parametrize(("off_line", "state"), [(True, "off line"), (False, "left out")])
def test_a_span_over_the_moment_takes_the_value_away(off_line: bool, state: str) -> None:
    start = due_times("2026-03", EAST)[0].start
    for begins, ends, expected in (
        (0, 1, state),
        (-30, 0, "recorded"),
        (1, 30, "recorded"),
    ):
        span = Span(start + timedelta(minutes=begins), start + timedelta(minutes=ends), "why", off_line)
        assert due_and((0, "0.06"), spans=(span,)).state == expected


def test_a_recording_that_does_not_count_gives_no_value() -> None:
    due = due_times("2026-03", EAST)[0]
    flagged = [Recording(due.start, Decimal("0.06"), "flagged bad")]
    (found,) = spot_values(flagged, [due], [], HALF)
    assert (found.state, found.why) == ("left out", "flagged bad")


# ---------------------------------------------------------------- mean and highest of four hours


def hours(*values: str, by: By = "mean", spans: tuple[Span, ...] = (), enough: Decimal = ENOUGH) -> Value4h:
    due = due_times("2026-03", EAST)[0]
    rows = [(due.start + n * HOUR, Decimal(v) if v else None) for n, v in enumerate(values)]
    return window_values(marked(rows, spans), [due], spans, by, HOUR, enough)[0]


def test_mean_and_highest_are_of_the_four_hours_and_not_of_the_next() -> None:
    assert str(hours("0.10", "0.20", "0.30", "0.41", "9").value) == "0.2525"
    found = hours("0.10", "0.41", "0.30", "0.41", "9", by="highest")
    assert str(found.value) == "0.41"
    assert found.at == due_times("2026-03", EAST)[0].start + HOUR


@pytest.mark.parametrize(
    ("count", "state"), [(3, "recorded"), (2, "recorded"), (1, "missing"), (0, "missing")]
)
def test_half_of_the_recordings_must_be_there(count: int, state: str) -> None:
    found = hours(*["0.1"] * count, *[""] * (4 - count))
    assert found.state == state


@pytest.mark.parametrize(("minutes", "state"), [(119, "recorded"), (120, "recorded"), (121, "off line")])
def test_where_more_than_half_of_the_time_is_off_line_no_value_is_due(minutes: int, state: str) -> None:
    start = due_times("2026-03", EAST)[0].start
    off = Span(start, start + timedelta(minutes=minutes), "plant stopped", off_line=True)
    assert hours("0.1", "0.1", "0.1", "0.1", spans=(off,)).state == state


@pytest.mark.parametrize(("minutes", "state"), [(59, "recorded"), (60, "recorded"), (61, "left out")])
def test_where_three_quarters_must_be_there_a_quarter_may_be_left_out(minutes: int, state: str) -> None:
    start = due_times("2026-03", EAST)[0].start
    held = Span(start, start + timedelta(minutes=minutes), "output held")
    found = hours("0.1", "0.1", "0.1", "0.1", spans=(held,), enough=Decimal("0.75"))
    assert found.state == state


@pytest.mark.parametrize(("count", "state"), [(4, "recorded"), (3, "recorded"), (2, "missing")])
def test_where_three_quarters_must_be_there_three_of_four_are_enough(count: int, state: str) -> None:
    found = hours(*["0.1"] * count, *[""] * (4 - count), enough=Decimal("0.75"))
    assert found.state == state


def test_time_that_two_spans_share_is_taken_off_once() -> None:
    start = due_times("2026-03", EAST)[0].start
    held = Span(start, start + 1.5 * HOUR, "output held")
    assert hours("0.1", "0.1", "0.1", "0.1", spans=(held, held)).state == "recorded"
    later = Span(start + 1.5 * HOUR, start + 2.5 * HOUR, "output held")
    assert hours("0.1", "0.1", "0.1", "0.1", spans=(held, later)).state == "left out"


# ---------------------------------------------------------------- grabs in place


def value_at(hour: int, state: str = "missing") -> Value4h:
    due = next(due for due in due_times("2026-03", EAST) if due.clock == datetime(2026, 3, 1, hour))
    return Value4h(due, state, Decimal("0.05") if state == "recorded" else None)  # type: ignore[arg-type]


@pytest.mark.parametrize(("minutes", "state"), [(119, "grab"), (120, "grab"), (121, "missing")])
def test_a_grab_stands_within_two_hours(minutes: int, state: str) -> None:
    one = value_at(8)
    grab = Taken(one.due.start + timedelta(minutes=minutes), Decimal("0.11"), "slip 4")
    assert with_grabs([one], [grab])[0].state == state


def test_a_grab_stands_once_and_never_for_what_was_recorded() -> None:
    values = [value_at(4, "recorded"), value_at(8), value_at(12)]
    grab = Taken(values[0].due.start + timedelta(minutes=5), Decimal("0.11"))
    assert [one.state for one in with_grabs(values, [grab])] == ["recorded", "missing", "missing"]
    near = Taken(values[1].due.start, Decimal("0.12"))
    found = with_grabs(values, [near, near])
    assert [one.state for one in found] == ["recorded", "grab", "missing"]
    assert with_grabs([value_at(8, "off line")], [near])[0].state == "off line"


# ---------------------------------------------------------------- the share


@pytest.mark.parametrize(
    ("above", "count", "text"),
    [
        (9, 180, "95.00"),  # A11
        (10, 180, "94.44"),  # A11
        (3, 180, "98.33"),  # W18
        (11, 180, "93.89"),  # W18
    ],
)
def test_the_share_is_that_of_the_published_examples(above: int, count: int, text: str) -> None:
    assert percent_text(count - above, count, NINETY_FIVE) == text


def test_rounding_never_makes_a_pass_of_a_fail() -> None:
    """94.999 % is shown with the places it takes: every count of a month, and of one of minutes."""
    for count in (*range(1, 187), 44640):
        for within in {
            0,
            count,
            *(round(0.95 * count) + n for n in (-2, -1, 0, 1) if 0 <= 0.95 * count + n <= count),
        }:
            shown = Decimal(percent_text(within, count, NINETY_FIVE))
            assert (shown >= 95) == (100 * within >= 95 * count)
    assert percent_text(42407, 44640, NINETY_FIVE) == "94.998"
    with pytest.raises(ValueError, match="at least one value"):
        percent_text(0, 0, NINETY_FIVE)


@pytest.mark.parametrize(
    ("text", "above"), [("0.299", False), ("0.3", False), ("0.300", False), ("0.301", True)]
)
def test_exceeds_is_strictly_greater(text: str, above: bool) -> None:
    assert exceeds(Decimal(text), Decimal("0.3")) is above


@pytest.mark.parametrize(
    ("text", "above"), [("0.34", False), ("0.349", False), ("0.35", True), ("0.36", True)]
)
def test_rounded_to_the_digits_of_the_limit_where_the_state_asks_for_it(text: str, above: bool) -> None:
    assert exceeds(Decimal(text), Decimal("0.3"), rounded=True) is above
    assert to_digits_of(Decimal("0.30"), Decimal(text)) == Decimal(text).quantize(Decimal("0.01"))


# ---------------------------------------------------------------- a real station

DATA = Path(os.environ.get("WQVERIFY_DATA", Path(__file__).resolve().parents[2] / "shared" / "data"))


@pytest.mark.parametrize("zone", [NEW_YORK, EAST], ids=str)
def test_station_b_has_as_many_values_above_as_were_counted_by_other_means(zone: ZoneInfo) -> None:
    """Read with clocks that are changed and with clocks that are not, the values are the same."""
    options = ExportOptions(time_zone=str(zone), day_first=False)
    export = read_export(DATA / "utility_station_b_20min.csv", options)
    channel = export.channel_of("B_TURB_VAL")
    found = {}
    for month in ("2006-02", "2006-03", "2006-04", "2006-05"):
        ends = [datetime.combine(first_day(m), time(), zone) for m in (month, month_after(month))]
        rows = [(at, value) for at, value, _ in read_slice(cut(channel, ends[0], ends[1]))]
        recordings = marked(rows, [])
        assert interval_of(recordings) == timedelta(minutes=20)
        values = spot_values(recordings, due_times(month, zone), [], timedelta(minutes=10))
        standing = [one.value for one in values if one.value is not None]
        found[month[5:]] = (sum(exceeds(one, Decimal("0.3")) for one in standing), len(standing))
    assert found == {"02": (35, 48), "03": (71, 186), "04": (4, 180), "05": (29, 186)}


@pytest.mark.parametrize(("zone", "pairs"), [(NEW_YORK, 1), (EAST, 0)], ids=str)
def test_the_spring_gap_breaks_no_pair_where_the_clocks_were_changed(zone: ZoneInfo, pairs: int) -> None:
    """01:40 and 03:00 are 20 min apart; with clocks that do not change an hour is missing, and breaks it."""
    options = ExportOptions(time_zone=str(zone), day_first=False)
    export = read_export(DATA / "utility_station_b_20min.csv", options)
    start = datetime(2006, 4, 2, 1, 40, tzinfo=zone).astimezone(UTC)
    data = cut(export.channel_of("B_TURB_VAL"), start, start + timedelta(minutes=80))
    recordings = marked([(at, value) for at, value, _ in read_slice(data)], [])
    limit = min(one.value for one in recordings if one.value is not None) - Decimal("0.001")
    until = next(n for n, one in enumerate(recordings) if n and one.value is not None)
    runs = runs_above(recordings[: until + 1], limit, timedelta(minutes=20))
    assert sum(run.pairs for run in runs) == pairs
    left_out = any("did not exist" in line for line in export.told)
    assert left_out is (zone is NEW_YORK)


def test_the_closest_grab_stands_and_none_takes_the_place_of_a_closer_one() -> None:
    """04, 08 and 12 h are missing; of 06:05 and 08:10 the second stands for 08 h."""
    values = [value_at(hour) for hour in (4, 8, 12)]
    eight = values[1].due.start
    early = Taken(eight - timedelta(minutes=115), Decimal("0.1"))
    late = Taken(eight + timedelta(minutes=10), Decimal("1.5"))
    shown = [(one.state, one.value) for one in with_grabs(values, [early, late])]
    assert shown == [("missing", None), ("grab", Decimal("1.5")), ("missing", None)]
    wide = [(one.state, one.value) for one in with_grabs(values, [early, late], timedelta(hours=3))]
    assert wide == [("grab", Decimal("0.1")), ("grab", Decimal("1.5")), ("missing", None)]
