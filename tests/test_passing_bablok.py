"""Passing-Bablok and Theil-Sen against a slow, obvious second implementation of the same written rules.

For quantised data no outside result with its rows was within reach, so the second implementation is the
check; scipy.stats.theilslopes is an outside one for Theil-Sen.
"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from itertools import combinations
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from wqverify.calculations import ranked_slopes
from wqverify.calculations.passing_bablok import RankLine, in_steps, passing_bablok, theil_sen
from wqverify.calculations.ranked_slopes import MOST_STEPS, merged, slopes_at
from wqverify.errors import ChooseAnother, CorrectTheEntry

Z95 = NormalDist().inv_cdf(0.975)
VERTICAL = None  # counts as +infinity

# ---------------------------------------------------------------- the second implementation


def median(values: list[Fraction]) -> Fraction:
    ordered, n = sorted(values), len(values)
    return (ordered[(n - 1) // 2] + ordered[n // 2]) / 2


def slopes_of_1983(x: list[int], y: list[int]) -> list[Fraction | None]:
    """All pairs: equal points dropped, slope -1 dropped, verticals last as +infinity; sorted."""
    finite: list[Fraction] = []
    vertical = 0
    for i, j in combinations(range(len(x)), 2):
        dx, dy = x[j] - x[i], y[j] - y[i]
        if dx == 0 and dy == 0:
            continue
        if dx == 0:
            vertical += 1
        elif Fraction(dy, dx) != -1:
            finite.append(Fraction(dy, dx))
    return [*sorted(finite), *[VERTICAL] * vertical]


def slow_passing_bablok(x: list[int], y: list[int]) -> tuple[Any, ...] | str:
    """Slope with bounds, intercept with bounds, number of slopes; "refused" where there is no line."""
    slopes = slopes_of_1983(x, y)
    n, count = len(x), len(slopes)
    offset = sum(1 for slope in slopes if slope is not VERTICAL and slope < -1)

    def at(rank: int) -> Fraction | None:
        return slopes[rank + offset - 1] if rank + offset <= count else VERTICAL

    if not count:
        return "refused"
    middle = [at((count + 1) // 2), at(count // 2 + 1)]  # the same one where the number is odd
    if middle[0] is None or middle[1] is None:
        return "refused"
    slope = (middle[0] + middle[1]) / 2
    spread = Z95 * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    m1 = round((count - spread) / 2)
    low = at(m1) if m1 >= 1 else None
    high = at(count - m1 + 1) if m1 >= 1 else None

    def intercept(b: Fraction) -> Fraction:
        return median([yi - b * xi for xi, yi in zip(x, y, strict=True)])

    if low is None or high is None:
        bounds: list[Fraction | None] = [None, None]
    else:
        bounds = [*sorted([intercept(low), intercept(high)])]
    return (slope, low, high, intercept(slope), *bounds, count)


def fast(x: list[int], y: list[int]) -> tuple[Any, ...] | str:
    try:
        line = passing_bablok(x, y)
    except ChooseAnother:
        return "refused"
    return parts(line)


def parts(line: RankLine) -> tuple[Any, ...]:
    intercepts = (line.intercept, line.intercept_low, line.intercept_high)
    return (line.slope, line.slope_low, line.slope_high, *intercepts, line.slopes)


def quantised(seed: int) -> tuple[list[int], list[int]]:
    """A record of one of many kinds: few or many levels, steep, flat, falling, offset, with repeats."""
    random = np.random.default_rng(seed)
    n = int(random.integers(3, 45))
    levels = int(random.choice([1, 2, 3, 6, 25, 400]))
    x = random.integers(0, levels + 1, n) + int(random.choice([-700, -3, 0, 50]))
    slope = float(random.choice([1.0, 1.0, 1.0, 0.9, 2.0, 0.2, -1.0, -0.5, 15.0]))
    noise = float(random.choice([0.0, 0.6, 2.0, 30.0]))
    y = np.rint(slope * x + random.normal(0, noise, n)).astype(int) + int(random.choice([0, 7, -40]))
    return x.tolist(), y.tolist()


# ---------------------------------------------------------------- exactly equal


def test_hundreds_of_quantised_records_agree_as_exact_fractions() -> None:
    found = []
    for seed in range(600):
        x, y = quantised(seed)
        expected = slow_passing_bablok(x, y)
        assert fast(x, y) == expected, seed
        found.append(expected)
    # What the records must have met, so that the rules were tried.
    lines = [one for one in found if one != "refused"]
    assert 100 < len(lines) < 600
    assert any(one[1] is not None and one[2] is None for one in lines), "a bound on a vertical"
    assert any(one[1] is None and one[2] is None for one in lines), "too few slopes for an interval"
    assert any(isinstance(one[0], Fraction) and one[0].denominator > 50 for one in lines)


@given(
    st.lists(
        st.tuples(st.integers(-6, 6), st.integers(-6, 6))
        | st.tuples(st.integers(-900, 900), st.integers(-900, 900)),
        min_size=3,
        max_size=25,
    )
)
def test_any_whole_numbers_agree_as_exact_fractions(points: list[tuple[int, int]]) -> None:
    x, y = [p[0] for p in points], [p[1] for p in points]
    assert fast(x, y) == slow_passing_bablok(x, y)


@pytest.mark.parametrize(
    ("x", "y", "slope", "why"),
    [
        ([0, 0, 1, 2, 3], [0, 0, 1, 2, 3], 1, "equal points give no slope"),
        ([0, 1, 2, 3], [1, 0, 3, 5], 2, "the pair of slope -1 is dropped: 1 4/3 2 5/2 3"),
        ([0, 0, 1], [0, 4, 4], 4, "0, 4 and a vertical as +infinity: the middle one is 4"),
        ([0, 1, 2], [0, 1, 3], Fraction(3, 2), "odd: the middle one"),
        ([0, 1, 2, 3], [0, 1, 3, 7], Fraction(13, 6), "even: mean of 2 and 7/3"),
    ],
)
def test_tie_rules_by_hand(x: list[int], y: list[int], slope: Any, why: str) -> None:
    assert passing_bablok(x, y).slope == slope, why


@pytest.mark.parametrize("seed", range(12))
def test_the_search_is_exact_at_every_rank_and_for_every_seed(seed: int, monkeypatch: Any) -> None:
    """With almost nothing listed and tiny samples the counting decides all; each rank is compared."""
    monkeypatch.setattr(ranked_slopes, "_LISTED", 15)
    monkeypatch.setattr(ranked_slopes, "_SAMPLE", 9)
    random = np.random.default_rng(seed)
    n, levels = int(random.integers(2, 40)), int(random.choice([2, 5, 40, 100_000]))
    p, q = random.integers(0, levels, n), random.integers(-levels, levels, n)
    slow = sorted(
        Fraction(int(q[j] - q[i]), int(p[j] - p[i])) for i, j in combinations(range(n), 2) if p[i] != p[j]
    )
    points = merged(p, q)
    assert points.slopes == len(slow)
    assert slopes_at(points, list(range(1, len(slow) + 1)), seed) == slow
    for rank in range(1, len(slow) + 1, max(1, len(slow) // 9)):
        assert slopes_at(points, [rank], seed + 1) == [slow[rank - 1]]


def test_seeds_do_not_change_a_large_one(monkeypatch: Any) -> None:
    random = np.random.default_rng(5)
    x = random.integers(10_000, 60_000, 3000)
    points = merged(x, x + random.integers(-500, 500, 3000))
    ranks = [1, points.slopes // 3, points.slopes // 2, points.slopes]
    once = slopes_at(points, ranks, 1)
    assert once == slopes_at(points, ranks, 2)
    monkeypatch.setattr(ranked_slopes, "_LISTED", 10**7)  # all 4.5 million listed and sorted
    assert once == slopes_at(points, ranks)


@pytest.mark.parametrize("reach", [MOST_STEPS - 1, MOST_STEPS // 2])
def test_slopes_that_differ_by_the_least_are_told_apart(reach: int) -> None:
    """Neighbouring fractions of the largest denominators: their quotients as doubles are in order."""
    p = np.array([0, reach, reach - 1])
    q = np.array([0, reach - 1, reach - 2])
    slow = sorted([Fraction(reach - 1, reach), Fraction(reach - 2, reach - 1), Fraction(1, 1)])
    assert slopes_at(merged(p, q), [1, 2, 3]) == slow


def test_swapping_the_instruments_inverts_the_line() -> None:
    """Passing and Bablok's own demand: the line does not depend on which instrument is called x."""
    random = np.random.default_rng(11)
    x = random.integers(100, 4000, 151)  # an odd number of slopes: the middle one is one slope
    y = np.rint(1.1 * x + random.normal(0, 40, 151)).astype(int)
    one, other = passing_bablok(x.tolist(), y.tolist()), passing_bablok(y.tolist(), x.tolist())
    assert one.slopes % 2 == other.slopes % 2 == 1
    assert one.slope == 1 / other.slope
    assert (one.slope_low, one.slope_high) == (1 / other.slope_high, 1 / other.slope_low)  # type: ignore[operator]


# ---------------------------------------------------------------- Theil-Sen


@pytest.mark.parametrize("seed", range(40))
def test_theil_sen_is_what_scipy_finds(seed: int) -> None:
    """scipy.stats.theilslopes, method "joint" (intercept median(y - b x)), interval of the slope included."""
    x, y = quantised(seed)
    if len(set(x)) < 2:
        with pytest.raises(ChooseAnother, match=f"All {len(x)} values of x are equal"):
            theil_sen(x, y)
        return
    with np.errstate(invalid="ignore"):  # where ties leave no variance scipy takes the root of a negative
        ours, theirs = theil_sen(x, y), theilslopes(y, x, 0.95, method="joint")
    assert float(ours.slope) == pytest.approx(theirs.slope, rel=1e-12, abs=1e-12)
    assert float(ours.intercept) == pytest.approx(theirs.intercept, rel=1e-9, abs=1e-9)
    interval = [math.nan if b is None else float(b) for b in (ours.slope_low, ours.slope_high)]
    expected = [theirs.low_slope, theirs.high_slope]
    assert interval == pytest.approx(expected, rel=1e-12, abs=1e-12, nan_ok=True)
    assert (ours.intercept_low, ours.intercept_high) == (None, None)


# ---------------------------------------------------------------- steps, and what is refused


def test_recorded_values_become_whole_steps() -> None:
    assert in_steps([7.07, 0.3, -14.2, 8.0], Decimal("0.01")).tolist() == [707, 30, -1420, 800]
    assert in_steps([721.5, 700.0], Decimal("0.5")).tolist() == [1443, 1400]
    assert in_steps([0.29, 1e6 + 0.29], Decimal("0.01")).tolist() == [29, 100000029]


@pytest.mark.parametrize(
    ("off", "taken"), [("0.0099", True), ("0.01", True), ("0.0101", False), ("nan", False)]
)
def test_a_value_between_two_steps_is_refused(off: str, taken: bool) -> None:
    """Inside, at and outside a thousandth of a step (10 here), and a missing value."""
    value = 7000.0 + float(off)
    if taken:
        assert in_steps([value], Decimal(10)).tolist() == [700]
    else:
        with pytest.raises(
            CorrectTheEntry, match=f"The value {value} is no whole number of steps of 10; type"
        ):
            in_steps([value], Decimal(10))


def test_a_resolution_without_steps_is_refused() -> None:
    for wrong in ("0", "-0.01", "NaN"):
        with pytest.raises(CorrectTheEntry, match=f"A resolution of {wrong} has no steps"):
            in_steps([1.0], Decimal(wrong))
    with pytest.raises(CorrectTheEntry, match=r"The value inf is no whole number of steps"):
        in_steps([float("inf")], Decimal(1))


def test_what_gives_no_line_is_refused_in_a_sentence() -> None:
    for x, y, said in (
        ([1, 2], [1, 2], "2 pairs of values are too few for a line by ranks; at least 3 are needed"),
        ([4, 4, 4], [7, 7, 7], "No two of the 3 pairs of values give a slope"),
        ([4, 4, 4], [7, 8, 9], "The middle slope is vertical or falls"),
        ([1, 2, 3, 4], [9, 6, 3, 0], "The middle slope is vertical or falls"),
    ):
        with pytest.raises(ChooseAnother, match=said):
            passing_bablok(x, y)
    for function in (passing_bablok, theil_sen):
        with pytest.raises(ValueError, match="of one length"):
            function([1, 2, 3], [1, 2])
        with pytest.raises(ValueError, match="of one length"):
            function([1, 2, 3], [1, 2, 3], 1.0)
        with pytest.raises(ValueError, match="whole numbers of steps"):
            function([1.5, 2, 3], [1, 2, 3])  # type: ignore[list-item]


@pytest.mark.parametrize(
    ("span", "taken"), [(MOST_STEPS - 2, True), (MOST_STEPS - 1, True), (MOST_STEPS, False)]
)
def test_a_span_of_too_many_steps_is_refused(span: int, taken: bool) -> None:
    x, y = [0, 1, span], [0, 1, 1]
    if taken:
        assert theil_sen(x, y).slope == Fraction(1, span)
        return
    said = (
        f"The values span {span} steps of their resolution; slopes are ranked exactly for fewer than 67108864"
    )
    for function in (theil_sen, passing_bablok):
        with pytest.raises(ChooseAnother, match=said):
            function(x, y)
        with pytest.raises(ChooseAnother, match=said):
            function(y, x)


def test_a_rank_outside_is_refused() -> None:
    points = merged(np.array([0, 1, 2]), np.array([0, 1, 3]))
    assert slopes_at(points, []) == []
    for rank in (0, 4):
        with pytest.raises(ValueError, match="ranks from 1 to 3 only"):
            slopes_at(points, [rank])
