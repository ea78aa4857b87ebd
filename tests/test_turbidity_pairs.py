"""Pairs of recordings above a limit, the first four hours, months in a row: A12, four tests at each edge."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from wqverify.calculations.recordings import Recording, Span, marked
from wqverify.calculations.turbidity_pairs import (
    QUARTER,
    broken,
    first_four_hours,
    months_in_a_row,
    runs_above,
)

ONE = Decimal("1.0")
HALF = Decimal("0.5")
START = datetime(2026, 3, 1, 5, tzinfo=UTC)


def rows(*values: str, out: tuple[int, ...] = ()) -> list[Recording]:
    """A recording every 15 min; "-" is one that is not there at all, "" one without a number."""
    found = []
    for n, value in enumerate(values):
        if value != "-":
            number = Decimal(value) if value else None
            found.append(Recording(START + n * QUARTER, number, "output held" if n in out else ""))
    return found


def pairs(*values: str, **more: tuple[int, ...]) -> int:
    return sum(run.pairs for run in runs_above(rows(*values, **more), ONE, QUARTER))


@pytest.mark.parametrize(
    ("values", "count"),
    [
        (("1.0", "1.0", "1.0"), 0),  # A12
        (("0.8", "1.1", "1.2", "0.9"), 1),  # A12
        (("1.1", "1.0", "1.1"), 0),
        (("1.001", "1.001"), 1),
        (("1.1", "1.1", "1.1"), 2),
        (("1.1", "", "1.1"), 0),
        (("1.1", "-", "1.1"), 0),
        (("1.1", "1.1", "", "1.1", "1.1"), 2),
        (("1.1",), 0),
        ((), 0),
    ],
)
def test_a_pair_is_two_recordings_one_after_the_other_above_the_limit(
    values: tuple[str, ...], count: int
) -> None:
    assert pairs(*values) == count


def test_which_recordings_a_pair_is_of_can_be_told() -> None:
    (run,) = runs_above(rows("0.8", "1.1", "1.2", "0.9"), ONE, QUARTER)
    assert [one.at for one in run.recordings] == [START + QUARTER, START + 2 * QUARTER]
    assert str(run.highest.value) == "1.2"


def test_what_is_left_out_breaks_a_pair_and_is_told() -> None:
    assert pairs("1.1", "1.3", "1.2", out=(1,)) == 0
    told = list(broken(rows("1.1", "1.3", "1.2", out=(1,)), ONE, QUARTER))
    assert {why for _, why in told} == {
        "the recording after it is left out: output held",
        "the recording before it is left out: output held",
    }


@pytest.mark.parametrize(
    ("values", "why"),
    [
        (("1.1", ""), ["the recording after it holds no number"]),
        (("", "1.1"), ["the recording before it holds no number"]),
        (("1.1", "-", "0.9"), ["no recording after it"]),
        (("0.9", "-", "1.1"), ["no recording before it"]),
        (("1.0", ""), []),
        (("1.1", "0.9"), []),
        (("1.1", "1.2"), []),
    ],
)
def test_a_value_above_the_limit_beside_nothing_is_told(values: tuple[str, ...], why: list[str]) -> None:
    assert [text for _, text in broken(rows(*values), ONE, QUARTER)] == why


@pytest.mark.parametrize(("minutes", "count"), [(0, 0), (15, 1), (22.5, 1), (22.6, 0)])
def test_two_recordings_follow_each_other_up_to_one_and_a_half_steps(minutes: float, count: int) -> None:
    late = [Recording(START, Decimal("1.1")), Recording(START + timedelta(minutes=minutes), Decimal("1.1"))]
    assert len(runs_above(late, ONE, QUARTER)) == count


# ---------------------------------------------------------------- the first four hours

WASHED = Span(START, START + 2 * QUARTER, "backwash", off_line=True)  # back at START + 30 min
OVER = 2 + 16  # the recording at the end of the four hours


def started(more: int = 3, spans: tuple[Span, ...] = (WASHED,), **values: str) -> list[str]:
    """What is said of each start: exceeds, or not, or why not known; recordings by number, 0.1 else."""
    texts = {int(name[1:]): value for name, value in values.items()}
    found = [
        (START + n * QUARTER, Decimal(text) if text else None)
        for n in range(OVER + more)
        if (text := texts.get(n, "0.1")) != "-"
    ]
    starts = first_four_hours(marked(found, spans), spans, QUARTER)
    return [one.why or ("exceeds" if one.exceeds(HALF) else "below") for one in starts]


@pytest.mark.parametrize(
    ("first", "second", "said"),
    [
        ("0.501", "0.501", "exceeds"),
        ("0.5", "0.501", "below"),
        ("0.501", "0.5", "below"),
        ("0.499", "0.499", "below"),
        ("", "0.6", "no number at the end of its four hours"),
        ("0.6", "", "no number at the end of its four hours"),
        ("0.6", "-", "no two recordings at the end of its four hours"),
    ],
)
def test_the_last_two_recordings_within_four_hours_decide(first: str, second: str, said: str) -> None:
    assert started(**{f"n{OVER - 1}": first, f"n{OVER}": second}) == [said]


def test_what_comes_after_the_four_hours_or_before_them_is_not_looked_at() -> None:
    assert started(**{f"n{OVER + 1}": "0.9", f"n{OVER}": "0.9", f"n{OVER - 2}": "0.9"}) == ["below"]


def test_a_start_that_is_interrupted_says_so() -> None:
    again = Span(START + 10 * QUARTER, START + 11 * QUARTER, "off line", off_line=True)
    assert started(more=12, spans=(WASHED, again)) == ["off line again before four hours were over", "below"]


def test_a_backwash_that_is_flagged_and_typed_is_one_start() -> None:
    """Spans that overlap or touch are one time off line."""
    alone = started(spans=(WASHED,))
    within = Span(WASHED.start, WASHED.end - timedelta(minutes=1), "typed", off_line=True)
    before = Span(WASHED.start - QUARTER, WASHED.start, "typed", off_line=True)
    for more in ((WASHED, WASHED), (WASHED, within), (before, WASHED)):
        assert started(spans=more) == alone
    assert len(alone) == 1


def test_a_hold_at_the_end_is_told_and_is_no_start() -> None:
    held = Span(START + OVER * QUARTER, START + (OVER + 1) * QUARTER, "output held")
    assert started(spans=(WASHED, held)) == ["left out at the end of its four hours: output held"]


def test_a_start_whose_four_hours_end_after_the_last_recording_is_none_yet() -> None:
    assert started(more=-1) == []


# ---------------------------------------------------------------- months in a row


@pytest.mark.parametrize(
    ("counts", "run"),
    [
        ({"2026-03": 0, "2026-02": 1}, (0, "")),
        ({"2026-03": 1, "2026-02": 0}, (1, "")),
        ({"2026-03": 1, "2026-02": 2, "2026-01": 0}, (2, "")),
        ({"2026-03": 1, "2026-02": 2, "2026-01": 5, "2025-12": 0}, (3, "")),
        ({"2026-03": 1, "2026-02": 2}, (2, "2026-01")),
        ({"2026-03": 1}, (1, "2026-02")),
        ({}, (0, "2026-03")),
    ],
)
def test_months_in_a_row_end_at_one_without_a_pair_or_not_known(
    counts: dict[str, int], run: tuple[int, str]
) -> None:
    assert months_in_a_row(counts, "2026-03") == run
