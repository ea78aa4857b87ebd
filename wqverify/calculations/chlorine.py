"""Chlorine: hypochlorous acid by pH, and the amperometric cell."""

from __future__ import annotations

from math import log
from typing import Any

from wqverify.calculations.dual import exp
from wqverify.errors import CorrectTheEntry

ZERO_CELSIUS = 273.15
LN_10 = log(10)
ACID_C = (0, 45)  # °C, for which the constant of hypochlorous acid is stated


def acid_constant(temperature_c: Any) -> Any:
    """Return pK of hypochlorous acid at a temperature in C, 0 to 45.

    Equation: pK = 3000/T - 10.0686 + 0.0253 T, T in K. Source: Morris, J. Phys. Chem. 70 (1966) 3798 (from
    memory).

    >>> round(acid_constant(20.0), 3)
    7.582
    """
    T = temperature_c + ZERO_CELSIUS
    return 3000 / T - 10.0686 + 0.0253 * T


def hypochlorous_share(ph: Any, temperature_c: Any) -> Any:
    """Return the share of free chlorine that is hypochlorous acid, 0 to 1.

    Equation: a = 1/(1 + 10^(pH - pK)). Temperature in C, 0 to 45. A cell without pH compensation sees this
    share only. Source: dissociation of hypochlorous acid, law of mass action; pK by ``acid_constant``.

    >>> round(hypochlorous_share(7.2, 20.0), 4)
    0.7066
    """
    return 1 / (1 + exp(LN_10 * (ph - acid_constant(temperature_c))))


def sensitivity(current: Any, zero_current: Any, grab: Any) -> Any:
    """Return the sensitivity of an amperometric cell, uA per mg/L.

    Equation: S = (I - I0)/G. Currents in uA, grab in mg/L above 0. Raises CorrectTheEntry for a grab of 0 or
    less. Source: common practice, no source.

    >>> sensitivity(4.7, 0.0, 2.0)
    2.35
    """
    if not grab > 0:
        raise CorrectTheEntry(
            f"A grab of {grab} mg/L gives no sensitivity; a residual well above 0 is needed.",
            found=str(grab),
            expected="more than 0 mg/L",
        )
    return (current - zero_current) / grab


def residual(current: Any, zero_current: Any, S: Any) -> Any:
    """Return the chlorine residual that a cell current stands for, mg/L.

    Equation: C = (I - I0)/S. Currents in uA, S in uA per mg/L, not 0. Raises CorrectTheEntry for S of 0.
    Source: common practice, no source.

    >>> residual(4.7, 0.0, 2.35)
    2.0
    """
    if not (S > 0) | (S < 0):
        raise CorrectTheEntry("A sensitivity of 0 gives no residual; enter the one the transmitter holds.")
    return (current - zero_current) / S


def error_of_early_zero(taken: Any, settled: Any, S: Any) -> Any:
    """Return the constant error that a zero taken too early leaves at every value, mg/L.

    Equation: e = (I0_settled - I0_taken)/S. Currents in uA, S in uA per mg/L, not 0. Raises CorrectTheEntry
    for S of 0. Source: difference of two residuals by ``residual``; common practice, no source.

    >>> round(error_of_early_zero(0.20, 0.05, 2.35), 3)
    -0.064
    """
    return residual(settled, taken, S)
