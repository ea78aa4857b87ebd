"""Tests of a signal: exact flags of a table, a reference library on regular times, edges, irregular times."""

from __future__ import annotations

import math
import warnings
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wqverify.calculations.signal_quality import (
    attenuated,
    clamped,
    flat_line,
    gap,
    gross_range,
    noise,
    noise_vanishing,
    rate_of_change,
    spike,
    stretches,
    twins_disagree,
)
from wqverify.errors import CorrectTheEntry

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of what the reference library imports itself
    from ioos_qc import qartod

NAN = math.nan
SPIKY = [0.05, 0.05, 0.06, 0.50, 0.05, 0.05, 0.09, 0.05, 0.05]
QUARTERS = [900 * n for n in range(10)]


def library(test: str, *arguments: Any, **named: Any) -> list[int]:
    """The flags of the reference library; what it warns of itself is not of this project."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        flags: list[int] = np.asarray(getattr(qartod, f"{test}_test")(*arguments, **named)).tolist()
    return flags


# ---------------------------------------------------------------- flags as ioos_qc 3.0.0 gave them (A36)


def test_gross_range_of_the_table() -> None:
    values = [0.05, 0.06, 1.2, 0.07, 5.5, NAN, 0.30, -0.1, 0.0]
    assert gross_range(values, (0, 5), (0.01, 1.0)).tolist() == [1, 1, 3, 1, 4, 9, 1, 4, 3]


def test_spikes_of_the_table() -> None:
    assert spike(SPIKY, 0.03, 0.2).tolist() == [2, 1, 4, 4, 4, 1, 3, 1, 2]
    assert spike(SPIKY, 0.03, 0.2, differential=True).tolist() == [2, 1, 1, 4, 1, 1, 3, 1, 2]


def test_flat_line_of_the_table() -> None:
    values = [7.20, 7.21, 7.22, 7.22, 7.22, 7.22, 7.22, 7.22, 7.25, 7.22]
    assert flat_line(values, QUARTERS, 2700, 4500, 0.005).tolist() == [1, 1, 1, 1, 1, 3, 3, 4, 1, 1]


def test_rate_of_change_of_the_table() -> None:
    assert rate_of_change(SPIKY, QUARTERS[:9], 0.0002).tolist() == [1, 1, 1, 3, 3, 1, 1, 1, 1]


# ---------------------------------------------------------------- the library on regular times

# Hundredths, so that differences meet limits exactly; runs, so that lines are flat; gaps of missing values.
steps = st.one_of(st.integers(-40, 40), st.sampled_from([0, 1, 600, -600]), st.none())
runs = st.lists(st.tuples(steps, st.integers(1, 12)), min_size=1, max_size=30)
hundredths = runs.map(lambda found: [NAN if v is None else v / 100 for v, n in found for _ in range(n)])
limits = st.integers(0, 60).map(lambda n: n / 100)
intervals = st.sampled_from([1, 20, 60, 900, 1200])


@settings(deadline=None)  # the first example imports what is heavy
@given(hundredths, limits, limits, limits)
def test_gross_range_is_that_of_the_library(values: list[float], a: float, b: float, wider: float) -> None:
    suspect = (-a, b)
    fail = (-a - wider, b + wider)
    assert gross_range(values, fail, suspect).tolist() == library("gross_range", values, fail, suspect)
    assert gross_range(values, fail).tolist() == library("gross_range", values, fail)


@settings(deadline=None)  # the first example imports what is heavy
@given(hundredths, st.integers(1, 60), st.integers(1, 60), st.booleans())
def test_spikes_are_those_of_the_library(values: list[float], a: int, b: int, differential: bool) -> None:
    method = "differential" if differential else "average"
    found = spike(values, a / 100, b / 100, differential=differential)
    assert found.tolist() == library("spike", values, a / 100, b / 100, method)


@settings(deadline=None)  # the first example imports what is heavy
@given(hundredths, intervals, st.integers(1, 60), st.integers(1, 60))
def test_rates_are_those_of_the_library(values: list[float], every: int, a: int, b: int) -> None:
    times = np.arange(len(values)) * every
    slow, fast = a / 100 / every, b / 100 / every
    assert rate_of_change(values, times, slow, fast).tolist() == library(
        "rate_of_change", values, times, slow, fast
    )


@settings(deadline=None)  # the first example imports what is heavy
@given(hundredths, intervals, st.integers(1, 15), st.integers(1, 15), st.floats(0, 0.999), limits)
def test_flat_lines_are_those_of_the_library(
    values: list[float], every: int, a: int, b: int, part: float, tolerance: float
) -> None:
    values = [0.0 if len(values) < 3 and math.isnan(v) else v for v in values]  # see what differs, below
    times = np.arange(len(values)) * every
    seconds = (int((a + part) * every), int((b + part) * every))  # also between two rows
    assert flat_line(values, times, *seconds, tolerance).tolist() == library(
        "flat_line", values, times, *seconds, tolerance
    )


@settings(deadline=None)  # the first example imports what is heavy
@given(hundredths, intervals, st.integers(1, 15), st.integers(1, 5), limits, limits)
def test_attenuation_is_that_of_the_library(
    values: list[float], every: int, long: int, least: int, a: float, b: float
) -> None:
    times = np.arange(len(values)) * every
    least = min(least, long)
    for kind in ("std", "range"):
        found = attenuated(values, times, long * every, a, b, least=least, of_range=kind == "range")
        assert found.tolist() == library(
            "attenuated_signal", values, times, a, b, test_period=long * every, min_obs=least, check_type=kind
        )


@settings(deadline=None)  # the first example imports what is heavy
@given(st.lists(st.integers(1, 9000), min_size=2, max_size=30))
def test_gaps_are_those_of_the_library_from_the_second_row_on(lengths: list[int]) -> None:
    times = np.cumsum(lengths)
    found = gap(times, 3600, 3600)
    assert found.tolist()[1:] == library("time_gap", times.astype("datetime64[s]"), 1)[1:]
    assert found[0] == 1


@pytest.mark.parametrize("value", [0.0, 7.22, -3.5, NAN])
@pytest.mark.parametrize("rows", [1, 2, 3, 4, 50])
def test_constant_series_are_as_in_the_library(value: float, rows: int) -> None:
    values, times = [value] * rows, np.arange(rows) * 60
    assert gross_range(values, (-1, 8), (0, 7)).tolist() == library("gross_range", values, (-1, 8), (0, 7))
    for method in ("average", "differential"):
        found = spike(values, 0.03, 0.2, differential=method == "differential")
        assert found.tolist() == library("spike", values, 0.03, 0.2, method)
    assert rate_of_change(values, times, 0.1).tolist() == library("rate_of_change", values, times, 0.1)
    if rows > 2 or value == value:
        assert flat_line(values, times, 120, 600, 0.01).tolist() == library(
            "flat_line", values, times, 120, 600, 0.01
        )


def test_where_this_differs_from_the_library_on_purpose() -> None:
    """What is missing is flagged so, also where the library passes two rows unseen or fails infinity."""
    assert flat_line([NAN, 1.0], [0, 60], 60, 120, 0.1).tolist() == [9, 1]
    assert library("flat_line", [NAN, 1.0], [0, 60], 60, 120, 0.1) == [1, 1]
    assert gross_range([math.inf, -math.inf], (0, 5)).tolist() == [9, 9]
    assert library("gross_range", [math.inf, -math.inf], (0, 5)) == [4, 4]


# ---------------------------------------------------------------- edges: inside, at, outside, missing


@pytest.mark.parametrize(
    ("value", "flag"),
    [(4.99, 1), (5.0, 1), (5.01, 4), (NAN, 9), (0.01, 1), (0.0, 1), (-0.01, 4)],
)
def test_ends_of_the_gross_range(value: float, flag: int) -> None:
    assert gross_range([value], (0, 5)).tolist() == [flag]


@pytest.mark.parametrize(
    ("value", "flag"), [(1.24, 1), (1.25, 1), (1.26, 3), (1.5, 3), (1.51, 4), (NAN, 9), (0.74, 3)]
)
@pytest.mark.parametrize("differential", [False, True])
def test_edges_of_a_spike(value: float, flag: int, differential: bool) -> None:
    assert spike([1.0, value, 1.0], 0.25, 0.5, differential=differential)[1] == flag


@pytest.mark.parametrize(
    ("value", "flag"), [(1.24, 1), (1.25, 1), (1.26, 3), (1.5, 3), (1.51, 4), (NAN, 9), (0.74, 3)]
)
def test_edges_of_a_rate(value: float, flag: int) -> None:
    assert rate_of_change([1.0, value], [0, 64], 0.25 / 64, 0.5 / 64)[1] == flag


@pytest.mark.parametrize(("value", "flag"), [(1.24, 4), (1.25, 1), (1.26, 1), (NAN, 9)])
def test_edges_of_the_tolerance_of_a_flat_line(value: float, flag: int) -> None:
    """Below the tolerance is flat, at it is not."""
    assert flat_line([1.0, 1.0, 1.0, value], [0, 60, 120, 180], 120, 120, 0.25)[3] == flag


@pytest.mark.parametrize(("seconds", "flag"), [(239, 3), (240, 3), (299, 3), (300, 1), (301, 1)])
def test_edges_of_the_time_of_a_flat_line(seconds: int, flag: int) -> None:
    """Five rows a minute apart reach back 240 s; a time between two rows is taken down to whole rows."""
    assert flat_line([1.0] * 5, [0, 60, 120, 180, 240], seconds, 600, 0.01)[4] == flag


@pytest.mark.parametrize(("last", "flag"), [(149, 1), (150, 1), (151, 3), (600, 3), (601, 4)])
def test_edges_of_a_gap(last: int, flag: int) -> None:
    assert gap([0, last], 150, 600).tolist() == [1, flag]


@pytest.mark.parametrize(
    ("value", "flag"),
    [(4.98, 1), (4.99, 3), (5.0, 3), (5.2, 3), (NAN, 9), (0.01, 3), (0.02, 1), (-0.3, 3)],
)
def test_ends_of_a_clamp(value: float, flag: int) -> None:
    assert clamped([value], [0], 0.0, 5.0, 600, 0.01).tolist() == [flag]


@pytest.mark.parametrize(("last", "flag"), [(119, 3), (120, 4), (121, 4)])
def test_how_long_a_signal_stands_at_an_end(last: int, flag: int) -> None:
    assert clamped([5.0, 5.0], [0, last], 0.0, 5.0, 120)[1] == flag


def test_a_clamp_at_one_end_only_and_at_the_other_end_after_it() -> None:
    flags = clamped([5.0, 5.0, 0.0, NAN, 0.0, 0.0], [0, 60, 120, 180, 240, 300], -math.inf, 5.0, 60)
    assert flags.tolist() == [3, 4, 1, 9, 1, 1]
    flags = clamped([5.0, 5.0, 0.0, NAN, 0.0, 0.0], [0, 60, 120, 180, 240, 300], 0.0, 5.0, 60)
    assert flags.tolist() == [3, 4, 3, 9, 3, 4]


@pytest.mark.parametrize(
    ("twin", "flag"), [(1.24, 1), (1.25, 1), (1.26, 3), (1.5, 3), (1.51, 4), (NAN, 2), (0.74, 3)]
)
def test_edges_of_twins(twin: float, flag: int) -> None:
    assert twins_disagree([1.0], [twin], 0.25, 0.5).tolist() == [flag]
    assert twins_disagree([NAN], [twin], 0.25, 0.5).tolist() == [9]


def test_twins_that_usually_lie_apart() -> None:
    assert twins_disagree([1.0, 1.0, 1.0], [0.5, 1.0, 0.25], 0.25, None, 0.5).tolist() == [1, 3, 1]


@pytest.mark.parametrize(("share", "flag"), [(0.49, 1), (0.5, 1), (0.51, 3)])
def test_edges_of_vanishing_noise(share: float, flag: int) -> None:
    """Steps of 2 all along, then four of 1: half of the usual restlessness."""
    values = [0, 2, 0, 2, 0, 2, 0, 2, 0, 2, 0, 2, 1, 2, 1, 2]
    flags = noise_vanishing(values, np.arange(16) * 60, 240, share, 0.0)
    assert flags[-1] == flag
    assert flags.tolist()[:4] == [2, 2, 2, 1]


def test_noise_cannot_vanish_where_a_signal_stands_still() -> None:
    assert noise_vanishing([1.0] * 9, np.arange(9) * 60, 240, 0.5, 0.1).tolist() == [2] * 9
    assert noise_vanishing([1.0, NAN], [0, 60], 240, 0.5, 0.1).tolist() == [2, 9]


def test_one_great_spike_leaves_the_noise_of_small_steps_as_it_is() -> None:
    """Sums over the whole record must not drown steps of a thousandth in one of a thousand million."""
    quiet = np.tile([0.001, 0.002], 200)
    spiked = quiet.copy()
    spiked[50] = 1e9
    means, usual = noise(spiked, np.arange(400) * 60, 600)
    assert usual == pytest.approx(0.001, rel=1e-9)
    assert means[-1] == pytest.approx(0.001, rel=1e-6)


# ---------------------------------------------------------------- irregular times


def flat_by_definition(values: list[float], times: list[int], seconds: int, tolerance: float) -> list[bool]:
    """The slow, obvious second way: every window written out."""
    usual = float(np.median(np.diff(times)))
    whole = seconds // usual * usual
    found = []
    for value, at in zip(values, times, strict=True):
        rows = [k for k, t in enumerate(times) if at - whole - usual / 2 <= t <= at and k <= times.index(at)]
        inside = [values[k] for k in rows if not math.isnan(values[k])]
        reaches = at - times[rows[0]] > whole - usual / 2
        found.append(reaches and not math.isnan(value) and max(inside) - min(inside) < tolerance)
    return found


@settings(deadline=None)  # the first example imports what is heavy
@given(hundredths, st.data(), st.integers(60, 2000), limits)
def test_flat_lines_of_irregular_times_are_those_of_the_definition(
    values: list[float], data: st.DataObject, seconds: int, tolerance: float
) -> None:
    lengths = data.draw(st.lists(st.integers(1, 120), min_size=len(values), max_size=len(values)))
    times = np.cumsum(lengths).tolist()
    if len(values) < 3 or seconds < np.median(np.diff(times)):
        return
    found = flat_line(values, times, seconds, seconds, tolerance) == 4
    assert found.tolist() == flat_by_definition(values, times, seconds, tolerance)


def test_a_flat_line_that_jitters_in_time() -> None:
    """Rows 58 to 62 s apart are judged like those of each minute."""
    regular = np.arange(200) * 60
    jitter = regular + np.random.default_rng(7).integers(-2, 3, 200)
    values = np.where((regular > 3000) & (regular < 9000), 7.22, 7.0 + (regular // 60 % 7) / 100)
    assert flat_line(values, jitter, 1800, 3600, 0.005).tolist() == (
        flat_line(values, regular, 1800, 3600, 0.005).tolist()
    )


def test_the_same_step_over_a_longer_time_is_a_smaller_rate() -> None:
    assert rate_of_change([1.0, 2.0, 3.0], [0, 60, 1260], 0.01).tolist() == [1, 3, 1]


# ---------------------------------------------------------------- refusals and runs


def test_what_cannot_be_tested_is_refused_in_a_sentence() -> None:
    with pytest.raises(CorrectTheEntry, match="A flat line of 30 s cannot be seen in rows 60 s apart"):
        flat_line([1, 1, 1, 1], [0, 60, 120, 180], 30, 600, 0.1)
    with pytest.raises(CorrectTheEntry, match="0 to 9, reaches beyond what fails, 0 to 5"):
        gross_range([1], (0, 5), (0, 9))
    with pytest.raises(CorrectTheEntry, match="must rise"):
        rate_of_change([1, 2], [60, 0], 1)


def test_nothing_in_nothing_out() -> None:
    for flags in (
        gross_range([], (0, 1)),
        spike([], 1),
        rate_of_change([], [], 1),
        flat_line([], [], 60, 60, 1),
        attenuated([], [], 60, 1, 1),
        gap([], 60),
        clamped([], [], 0, 1, 60),
        noise_vanishing([], [], 60, 0.5, 0.1),
        twins_disagree([], [], 1),
    ):
        assert flags.tolist() == []


@settings(deadline=None)  # the first example imports what is heavy
@given(st.lists(st.booleans(), max_size=40))
def test_runs_of_rows_put_together_give_the_rows_again(truths: list[bool]) -> None:
    again = [False] * len(truths)
    for first, last in stretches(np.array(truths, bool)):
        again[first : last + 1] = [True] * (last + 1 - first)
        assert not (first and again[first - 1])
    assert again == truths


def test_decimals_of_an_export_are_taken_as_numbers() -> None:
    assert gross_range([Decimal("0.30")], (0, 0.3)).tolist() == [1]
