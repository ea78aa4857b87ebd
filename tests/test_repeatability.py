"""Repeatability of replicates by level, against worked cases, numpy and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from wqverify.calculations.repeatability import Band, repeatability
from wqverify.errors import ChooseAnother, CorrectTheEntry

DUPLICATES = [(0.10, 0.12), (0.20, 0.20), (0.90, 0.98), (1.10, 1.06), (1.50, 1.52)]


def test_duplicates_are_the_root_of_half_the_mean_square() -> None:
    """s_r = sqrt(sum d^2/(2 m)): d 0.02 0 0.08 -0.04 0.02, by hand sqrt(0.0088/10)."""
    found = repeatability(DUPLICATES).pooled
    assert found.s == pytest.approx(math.sqrt(0.0088 / 10), rel=1e-12)
    assert (found.dof, found.groups) == (5, 5)
    assert found.limit == pytest.approx(2.77 * math.sqrt(0.00088), rel=1e-12)
    # chi2 with 5 degrees of freedom, printed tables: 12.833 and 0.831
    ends = (found.s * math.sqrt(5 / 12.833), found.s * math.sqrt(5 / 0.831))
    assert found.interval == pytest.approx(ends, rel=1e-3)


def test_bands_add_up_to_the_pooled_one() -> None:
    found = repeatability(DUPLICATES, [0.5, 1.2])
    assert [(b.low, b.high, b.groups, b.dof) for b in found.bands] == [
        (None, 0.5, 2, 2),
        (0.5, 1.2, 2, 2),
        (1.2, None, 1, 1),
    ]
    squares = sum(b.s**2 * b.dof for b in found.bands if b.s is not None)
    assert found.pooled.s is not None
    assert squares == pytest.approx(found.pooled.s**2 * found.pooled.dof, rel=1e-12)


def test_groups_of_any_number_are_pooled_by_their_degrees_of_freedom() -> None:
    groups = [(1.0, 1.1, 1.3), (2.0, 2.2), (5.0,), (3.0, 3.1, 2.9, 3.3)]
    found = repeatability(groups)
    expected = sum(np.var(g, ddof=1) * (len(g) - 1) for g in groups if len(g) > 1) / 6
    assert found.pooled.s == pytest.approx(math.sqrt(expected), rel=1e-12)
    assert (found.pooled.dof, found.single) == (6, 1)


@pytest.mark.parametrize(
    ("mean", "band"),
    [(0.4999, 0), (0.5, 1), (0.5001, 1)],
)
def test_a_mean_on_an_edge_belongs_to_the_upper_band(mean: float, band: int) -> None:
    """Just inside, at and outside an edge; the band without groups stays and says nothing."""
    found = repeatability([(mean - 0.0625, mean + 0.0625)], [0.5])
    empty = found.bands[1 - band]
    assert found.bands[band].groups == 1
    assert (empty.groups, empty.dof, empty.s, empty.interval, empty.limit) == (0, 0, None, None, None)


def test_the_interval_covers_what_it_says() -> None:
    random = np.random.default_rng(2)
    trials = [repeatability(random.normal(7, 0.02, (8, 2)).tolist()).pooled for _ in range(3000)]
    inside = [t.interval is not None and t.interval[0] <= 0.02 <= t.interval[1] for t in trials]
    assert np.mean(inside) == pytest.approx(0.95, abs=0.015)


def test_equal_readings_have_no_spread() -> None:
    found = repeatability([(7.0, 7.0), (7.1, 7.1)]).pooled
    assert found == Band(None, None, 2, 2, 0.0, (0.0, 0.0), 0.0)


def test_what_gives_no_repeatability_is_refused_in_a_sentence() -> None:
    with pytest.raises(ChooseAnother, match="None of the 2 groups has a second reading; repeatability needs"):
        repeatability([(1.0,), (2.0,)])
    for edges in ([2.0, 1.0], [1.0, 1.0]):
        with pytest.raises(CorrectTheEntry, match=r"The edges [12], 1 do not rise; type them"):
            repeatability(DUPLICATES, edges)
    with pytest.raises(ValueError, match="readings are finite"):
        repeatability([(1.0, math.nan)])
    with pytest.raises(ValueError, match="a level is between 0 and 1"):
        repeatability(DUPLICATES, level=1.0)
