"""False accepts and rejects against published values, the table of the trade, and a simulation."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from printed import agree

from wqverify.calculations.decision_risk import false_accept, false_reject, guard_band_method_6
from wqverify.errors import ChooseAnother

# In-tolerance history -> (false accept, false reject) in % at TUR 4, 3, 2, 1; integrated apart.
TABLE = {
    0.70: [(2.21, 2.61), (2.86, 3.57), (4.04, 5.61), (6.75, 12.50)],
    0.80: [(1.97, 2.54), (2.51, 3.52), (3.46, 5.69), (5.42, 13.48)],
    0.90: [(1.37, 2.09), (1.71, 2.98), (2.26, 5.08), (3.25, 13.65)],
    0.95: [(0.86, 1.55), (1.05, 2.29), (1.34, 4.18), (1.80, 12.96)],
}


@pytest.mark.parametrize("history", ["0.6", "0.7", "0.8", "0.9", "0.95", "0.99"])
def test_w47_false_accept_where_u_is_a_quarter_of_the_process(history: str) -> None:
    z = NormalDist().inv_cdf((1 + float(history)) / 2)  # T in standard deviations of the process
    agree("W47", f"history {history}", 100 * false_accept(float(history), tur=2 * z))


@pytest.mark.parametrize("history", TABLE)
def test_risks_by_history_and_tur(history: float) -> None:
    for tur, (accept, reject) in zip((4, 3, 2, 1), TABLE[history], strict=True):
        assert abs(100 * false_accept(history, tur) - accept) <= 0.005
        assert abs(100 * false_reject(history, tur) - reject) <= 0.005


@pytest.mark.parametrize(("tur", "worst"), [(4, 2.238), (3, 2.914), (2, 4.175), (1.5, 5.330), (1, 7.373)])
def test_the_worst_history(tur: float, worst: float) -> None:
    """From a table of risks computed apart."""
    found = max(100 * false_accept(history, tur) for history in np.arange(0.3, 0.9, 0.005))
    assert abs(found - worst) <= 0.0015


def test_w49_method_6() -> None:
    agree("W49", "TUR 2", guard_band_method_6(2))
    agree("W49", "TUR 1.5", guard_band_method_6(1.5))


@pytest.mark.parametrize("tur", [1, 1.5, 2, 3, 4, 4.59])
def test_with_method_6_the_worst_false_accept_is_about_two_percent(tur: float) -> None:
    """1.91 to 1.97 %, computed apart."""
    limit = guard_band_method_6(tur)
    found = max(100 * false_accept(history, tur, limit) for history in np.arange(0.3, 0.95, 0.01))
    assert 1.905 <= found <= 1.975


@pytest.mark.parametrize(("tur", "needed"), [(4.5, True), (4.59, True), (4.6, False), (10.0, False)])
def test_from_tur_4_6_on_no_guard_band_is_needed(tur: float, needed: bool) -> None:
    """M is 0 where ln TUR = (ln 1.04 + 0.54)/0.38: TUR 4.5917."""
    assert (guard_band_method_6(tur) < 1.0) is needed


def test_a_guard_band_trades_false_accepts_for_false_rejects() -> None:
    limit = guard_band_method_6(2)
    assert false_accept(0.8, 2, limit) < 0.02 < false_accept(0.8, 2)
    assert false_reject(0.8, 2, limit) > false_reject(0.8, 2)


def test_risks_are_what_draws_come_to() -> None:
    random = np.random.default_rng(20261127)
    n, history, tur, limit = 400_000, 0.8, 2.0, 0.9
    e = random.normal(0, 1 / NormalDist().inv_cdf((1 + history) / 2), n)
    read = np.abs(e + random.normal(0, 1 / (2 * tur), n))
    accept = float(np.mean((np.abs(e) > 1) & (read <= limit)))
    reject = float(np.mean((np.abs(e) <= 1) & (read > limit)))
    for drawn, ours in (
        (accept, false_accept(history, tur, limit)),
        (reject, false_reject(history, tur, limit)),
    ):
        assert abs(drawn - ours) < 4 * math.sqrt(ours / n)


@pytest.mark.parametrize(("history", "tur", "limit"), [(0, 4, 1), (1, 4, 1), (0.9, 0, 1), (0.9, 4, 0)])
def test_what_gives_no_risk_is_refused(history: float, tur: float, limit: float) -> None:
    with pytest.raises(ChooseAnother, match="give no risk; the history lies between"):
        false_accept(history, tur, limit)
