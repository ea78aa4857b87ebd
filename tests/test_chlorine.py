"""Chlorine: hypochlorous acid by pH, the amperometric cell, and the error of a zero taken too early."""

from __future__ import annotations

from collections.abc import Mapping
from math import log10, sqrt
from typing import Any

import pytest
from gtc import same_as_central_difference, same_as_gtc
from hypothesis import given
from hypothesis import strategies as st
from printed import agree, agrees

from wqverify.calculations import chlorine
from wqverify.errors import CorrectTheEntry
from wqverify.terms import Input


def test_w28_hypochlorous_acid_by_ph() -> None:
    for ph in ("7.2", "8.0"):
        agree("W28", f"share at {ph}", chlorine.hypochlorous_share(float(ph), 20.0))


@given(ph=st.floats(5, 10), t=st.floats(0, 45))
def test_the_share_is_the_law_of_mass_action(ph: float, t: float) -> None:
    """pK = pH - log10(anion/acid), whatever the pH."""
    share = chlorine.hypochlorous_share(ph, t)
    assert ph - log10((1 - share) / share) == pytest.approx(chlorine.acid_constant(t), abs=1e-6)


def test_the_share_by_central_difference() -> None:
    inputs = {"pH": Input(7.6, 0.05), "t": Input(14.0, 0.3)}

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        return {"share": chlorine.hypochlorous_share(x["pH"], x["t"])}

    def other(x: Mapping[str, Any]) -> dict[str, Any]:
        return {"share": 1 / (1 + 10 ** (x["pH"] - chlorine.acid_constant(x["t"])))}

    same_as_central_difference(model, inputs, same_as_gtc(model, inputs, other))


def test_w25_a_zero_taken_too_early_is_a_constant_error() -> None:
    for word, current in (("low", 2.00), ("high", 5.00)):
        agree("W25", f"true {word}", chlorine.residual(current, 0.05, 2.35))
        agree("W25", f"shown {word}", chlorine.residual(current, 0.20, 2.35))
    agrees("W25", constant=chlorine.error_of_early_zero(0.20, 0.05, 2.35))


def sensitivity_model(x: Mapping[str, Any]) -> dict[str, Any]:
    grab = (x["A"] + x["B"]) / 2 * (1 + x["gain"]) + x["blank"]
    return {"S": chlorine.sensitivity(x["I"] + x["read I"], x["I0"], grab)}


def test_v19_sensitivity_with_its_budget() -> None:
    inputs = {
        "I": Input(4.96, 0.02),
        "read I": Input(0.0, 0.01 / sqrt(12), "rectangular"),
        "I0": Input(0.05, 0.05 / sqrt(3), "rectangular"),
        "A": Input(2.08, 0.034, dof=19),
        "B": Input(2.12, 0.034, dof=19),
        "gain": Input(0.0, 0.015),
        "blank": Input(0.0, 0.02 / sqrt(3), "rectangular"),
    }
    found = same_as_gtc(sensitivity_model, inputs)
    agrees("V19", sensitivity=found["S"].value, u=found["S"].u or 0)
    same_as_central_difference(sensitivity_model, inputs, found)
    largest = max(found["S"].budget, key=lambda line: line.contribution)
    assert largest.cause == "gain"
    assert largest.contribution == pytest.approx(0.035, abs=5e-4)


@pytest.mark.parametrize("grab", [0.0, -0.1])
def test_no_sensitivity_from_no_residual(grab: float) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        chlorine.sensitivity(1.0, 0.0, grab)
    assert caught.value.message == (
        f"A grab of {grab} mg/L gives no sensitivity; a residual well above 0 is needed."
    )


def test_no_residual_from_a_sensitivity_of_zero() -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        chlorine.residual(1.0, 0.0, 0.0)
    assert caught.value.message == (
        "A sensitivity of 0 gives no residual; enter the one the transmitter holds."
    )
