"""Recordings in time: what is left out, how far apart they lie, gaps, every 15 minutes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from wqverify.calculations.recordings import (
    Recording,
    Span,
    gaps,
    interval_of,
    marked,
    nearest,
    on_the_quarter,
    summary,
)
from wqverify.errors import CorrectTheEntry

START = datetime(2026, 3, 1, 5, tzinfo=UTC)
QUARTER = timedelta(minutes=15)


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def recorded(*values: str, every: float = 15) -> tuple[Recording, ...]:
    """One recording for each text, an empty one without a number."""
    return tuple(Recording(at(every * n), Decimal(v) if v else None) for n, v in enumerate(values))


@pytest.mark.parametrize(("minutes", "out"), [(14, False), (15, True), (44, True), (45, False)])
def test_a_span_holds_its_beginning_and_not_its_end(minutes: int, out: bool) -> None:
    (one,) = marked([(at(minutes), Decimal("0.1"))], [Span(at(15), at(45), "output held")])
    assert bool(one.left_out) is out
    assert one.counts is not out


def test_being_off_line_comes_before_other_reasons() -> None:
    spans = [Span(at(0), at(60), "backwash", off_line=True), Span(at(0), at(60), "output held")]
    for order in (spans, spans[::-1]):
        (one,) = marked([(at(15), Decimal("0.1"))], order)
        assert (one.left_out, one.off_line) == ("backwash", True)


def test_the_usual_step_is_not_moved_by_a_gap() -> None:
    rows = [Recording(at(n), None) for n in (0, 15, 30, 90, 105)]
    assert interval_of(rows) == QUARTER
    assert [(b - a) for a, b in gaps(rows, QUARTER)] == [timedelta(minutes=60)]


@pytest.mark.parametrize("count", [0, 1])
def test_of_fewer_than_two_recordings_nothing_says_how_far_apart_they_are(count: int) -> None:
    with pytest.raises(CorrectTheEntry, match="fewer than two recordings"):
        interval_of(recorded(*["0.1"] * count))


@pytest.mark.parametrize(("minutes", "found"), [(7.4, True), (7.5, True), (7.6, False)])
def test_a_moment_has_its_recording_within_half_a_step_the_limit_included(
    minutes: float, found: bool
) -> None:
    rows = (Recording(at(0), Decimal("0.1")),)
    assert (nearest(rows, [at(0)], at(minutes), timedelta(minutes=7.5)) is not None) is found
    assert nearest((), [], at(0), QUARTER) is None


def test_of_two_equally_near_the_earlier_counts() -> None:
    rows = recorded("0.1", "0.2", every=10)
    one = nearest(rows, [row.at for row in rows], at(5), QUARTER)
    assert one is not None
    assert one.value == Decimal("0.1")


def test_minutes_become_quarters_and_a_missing_one_stays_missing() -> None:
    rows = [Recording(at(n), Decimal(n)) for n in range(61) if n not in (14, 15, 16)]
    found = on_the_quarter(rows, QUARTER)
    assert [one.at for one in found] == [at(15 * n) for n in range(5)]
    assert [one.value for one in found] == [Decimal(0), None, Decimal(30), Decimal(45), Decimal(60)]


@pytest.mark.parametrize("every", [15, 20, 60])
def test_what_is_recorded_every_15_min_or_farther_apart_stands_as_it_is(every: float) -> None:
    rows = recorded("0.1", "0.2", "0.3", every=every)
    assert on_the_quarter(rows, QUARTER) == rows


def test_quarters_begin_at_whole_quarters_of_the_hour() -> None:
    rows = [Recording(at(n), Decimal(n)) for n in range(7, 40)]
    assert [str(one.value) for one in on_the_quarter(rows, QUARTER)] == ["15", "30"]


def test_a_summary_counts_what_counts() -> None:
    rows = (*recorded("0.05", "0.08", "", "0.08"), Recording(at(75), Decimal(9), "output held"))
    found = summary(rows)
    assert found is not None
    assert (found.count, found.least, found.most, found.most_at) == (
        3,
        Decimal("0.05"),
        Decimal("0.08"),
        at(15),
    )
    assert str(found.mean) == "0.070"
    assert summary(recorded("", "")) is None
