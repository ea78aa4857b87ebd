"""pH electrodes and transmitters: slope, offset, temperature compensation, errors between buffers.

Works on floats and dual numbers; what has no logarithm works on decimals too. Sign: a glass electrode falls
by about k(t) mV per pH and reads near 0 mV at pH 7.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from wqverify.errors import CorrectTheEntry

GAS_CONSTANT = 8.314462618  # J/(mol K), exact since the SI of 2019
FARADAY = 96485.33212  # C/mol, exact since the SI of 2019
_LN10 = 2.302585092994046
_MV_PER_KELVIN = 1000 * _LN10 * GAS_CONSTANT / FARADAY


def nernst_slope(temperature_c: Any) -> Any:
    """Return the theoretical electrode slope at a temperature in C, in mV/pH.

    Equation: k(t) = 1000 ln(10) R (t + 273.15)/F. Source: Nernst equation with R and F of the SI 2019
    (CODATA 2018 and 2022 identical).

    >>> round(nernst_slope(25.0), 4)
    59.1593
    """
    return _MV_PER_KELVIN * (temperature_c + 273.15)


def two_buffer_line(E1: Any, B1: Any, E2: Any, B2: Any) -> tuple[Any, Any]:
    """Return (slope mV/pH, voltage at pH 7 mV) from two buffers at one temperature.

    Equation: S = (E2 - E1)/(B2 - B1), E7 = E1 + S(7 - B1). Voltages in mV. Raises CorrectTheEntry for equal
    buffers. Source: EPA method 150.1, two-buffer calibration.

    >>> S, E7 = two_buffer_line(177.0, 4.0, -177.0, 10.0)
    >>> S, E7
    (-59.0, 0.0)
    """
    _refuse_equal(B1, B2)
    S = (E2 - E1) / (B2 - B1)
    return S, E1 + S * (7 - B1)


def two_temperature_line(E1: Any, B1: Any, t1: Any, E2: Any, B2: Any, t2: Any) -> tuple[Any, Any]:
    """Return (slope as share of Nernst, voltage at pH 7 mV) from two buffers at two temperatures in C.

    Equation: E_i = E0 + s k(t_i)(7 - B_i); s = (E1 - E2)/(k1(7 - B1) - k2(7 - B2)), E0 = E1 - s k1(7 - B1).
    Voltages in mV. Raises CorrectTheEntry for equal buffers. Source: Nernst equation, isopotential point at
    pH 7.

    >>> s, E0 = two_temperature_line(177.0, 4.0, 25.0, 0.0, 7.0, 10.0)
    >>> round(s, 4), round(E0, 4)
    (0.9973, 0.0)
    """
    _refuse_equal(B1, B2)
    first, second = nernst_slope(t1) * (7 - B1), nernst_slope(t2) * (7 - B2)
    _refuse_equal(first, second)
    s = (E1 - E2) / (first - second)
    return s, E1 - s * first


def least_squares_line(Es: Sequence[Any], Bs: Sequence[Any]) -> tuple[Any, Any, tuple[Any, ...]]:
    """Return (slope mV/pH, voltage at pH 7 mV, residuals mV) of the unweighted line of E on pH.

    Equation: S = sum((B - mB)(E - mE))/sum((B - mB)^2), E7 = mE + S(7 - mB). Voltages in mV, three buffers or
    more. Raises CorrectTheEntry where all buffers are equal. Source: ordinary least squares, common
    mathematics.

    >>> S, E7, residuals = least_squares_line([174.0, 0.0, -174.0], [4.0, 7.0, 10.0])
    >>> S, E7
    (-58.0, 0.0)
    """
    n = len(Es)
    mean_b, mean_e = sum(Bs[1:], start=Bs[0]) / n, sum(Es[1:], start=Es[0]) / n
    apart = [B - mean_b for B in Bs]
    squares = [a * a for a in apart]
    below = sum(squares[1:], start=squares[0])
    if not _everywhere(below > 0):
        _refuse_equal(Bs[0], Bs[0])
    products = [a * (E - mean_e) for a, E in zip(apart, Es, strict=True)]
    S = sum(products[1:], start=products[0]) / below
    E7 = mean_e + S * (7 - mean_b)
    return S, E7, tuple(E - (E7 + S * (B - 7)) for E, B in zip(Es, Bs, strict=True))


def efficiency_percent(S: Any, temperature_c: Any) -> Any:
    """Return the slope as percent of the theoretical one at a temperature in C.

    Equation: 100 (-S)/k(t), S in mV/pH. Source: common practice, no source.

    >>> round(efficiency_percent(-59.1593, 25.0), 2)
    100.0
    """
    return -100 * S / nernst_slope(temperature_c)


def relative_slope(R1: Any, B1: Any, R2: Any, B2: Any) -> Any:
    """Return the slope relative to the one the transmitter holds, from displayed pH in two buffers.

    Equation: g = (R2 - R1)/(B2 - B1). Raises CorrectTheEntry for equal buffers. Source: common practice, no
    source.

    >>> round(relative_slope(4.0, 4.0, 9.7, 10.0), 9)
    0.95
    """
    _refuse_equal(B1, B2)
    return (R2 - R1) / (B2 - B1)


def efficiency_from_stored(stored_percent: Any, g: Any) -> Any:
    """Return the efficiency of the electrode in percent from the stored one and the relative slope.

    Equation: stored x g. Source: common practice, no source.

    >>> efficiency_from_stored(100.0, 0.95)
    95.0
    """
    return stored_percent * g


def new_stored_slope(stored: Any, R1: Any, B1: Any, R2: Any, B2: Any) -> Any:
    """Return the slope to store so that the display reads right, in the unit of the stored one.

    Equation: stored x (R2 - R1)/(B2 - B1). Raises CorrectTheEntry for equal buffers. Source: common practice,
    no source.

    >>> round(new_stored_slope(100.0, 4.0, 4.0, 9.7, 10.0), 9)
    95.0
    """
    return stored * relative_slope(R1, B1, R2, B2)


def offset_from_stored(stored_offset_mv: Any, R7: Any, stored_share: Any, temperature_c: Any) -> Any:
    """Return the voltage of the electrode at pH 7 in mV, from the display where the buffer is 7.

    Equation: E0 = E0_stored - (R7 - 7) s_stored k(t); s_stored as share (0.972). Source: common practice, no
    source.

    >>> round(offset_from_stored(0.0, 7.1, 1.0, 25.0), 3)
    -5.916
    """
    return stored_offset_mv - (R7 - 7) * stored_share * nernst_slope(temperature_c)


def error_at_displayed(x: Any, R1: Any, e1: Any, R2: Any, e2: Any) -> Any:
    """Return the error at a displayed pH x, on the straight line between two buffers.

    Equation: e(x) = e1 + (e2 - e1)(x - R1)/(R2 - R1), R what was displayed in the buffers. Raises
    CorrectTheEntry where both displays are equal. Source: linear interpolation, common mathematics.

    >>> round(error_at_displayed(8.5, 7.0, 0.02, 10.0, -0.04), 9)
    -0.01
    """
    _refuse_equal(R1, R2)
    return e1 + (e2 - e1) * (x - R1) / (R2 - R1)


def error_at_true(x: Any, B1: Any, e1: Any, B2: Any, e2: Any) -> Any:
    """Return the error at a true pH x, on the straight line between two buffers.

    Equation: e(x) = e1 + (e2 - e1)(x - B1)/(B2 - B1), B the values of the buffers. Raises CorrectTheEntry for
    equal buffers. Source: linear interpolation, common mathematics.

    >>> round(error_at_true(8.5, 7.0, 0.02, 10.0, -0.04), 9)
    -0.01
    """
    return error_at_displayed(x, B1, e1, B2, e2)


def compensated_ph(E: Any, temperature_c: Any, slope_share: Any, E_iso: Any = 0.0, pH_iso: Any = 7.0) -> Any:
    """Return the pH of an electrode voltage with automatic temperature compensation.

    Equation: pH = pH_iso - (E - E_iso)/(s k(t)). E in mV, t in C, s as share of Nernst. Corrects the
    electrode only, not the chemistry of the sample. Source: Nernst equation; isopotential point as set.

    >>> round(compensated_ph(-59.1593, 25.0, 1.0), 3)
    8.0
    """
    return pH_iso - (E - E_iso) / (slope_share * nernst_slope(temperature_c))


def bracketing_ph(E1: Any, B1: Any, E2: Any, B2: Any, Ex: Any) -> Any:
    """Return the pH between two buffers from three voltages in mV at one temperature.

    Equation: pH = B1 + (Ex - E1)(B2 - B1)/(E2 - E1). Raises CorrectTheEntry for equal voltages. Source:
    bracketing procedure of IUPAC Recommendations 2002, Pure Appl. Chem. 74(11).

    >>> bracketing_ph(180.0, 4.0, -180.0, 10.0, 0.0)
    7.0
    """
    _refuse_equal(E1, E2)
    return B1 + (Ex - E1) * (B2 - B1) / (E2 - E1)


def slope_behind_leak(S: Any, glass_mohm: Any, insulation_mohm: Any) -> Any:
    """Return what is left of an electrode's slope in mV/pH where the insulation of its cable leaks.

    Equation: S' = S Ri/(Rg + Ri), the electrode's glass Rg and the insulation Ri beside the input as a
    voltage divider. Both in Mohm, above 0. Raises CorrectTheEntry otherwise. Source: Ohm's law.

    >>> round(slope_behind_leak(59.1593, 200.0, 2000.0), 3)
    53.781
    """
    for size in (glass_mohm, insulation_mohm):
        if not size > 0:
            raise CorrectTheEntry(
                f"A resistance of {size} Mohm divides nothing; measure it again.",
                found=f"{size} Mohm",
                expected="more than 0",
            )
    return S * insulation_mohm / (glass_mohm + insulation_mohm)


def error_of_temperature(true_ph: Any, true_c: Any, taken_c: Any, pH_iso: Any = 7.0) -> Any:
    """Return by how much pH is shown too high where the transmitter counts with another temperature.

    Equation: e = (pH - pH_iso)(T/T' - 1), T the true and T' the taken temperature in kelvin. Temperatures in
    C. Raises nothing. Source: Nernst equation; isopotential point as set.

    >>> round(error_of_temperature(8.0, 30.0, 20.0), 4), error_of_temperature(7.0, 30.0, 20.0)
    (0.0341, 0.0)
    """
    return (true_ph - pH_iso) * (nernst_slope(true_c) / nernst_slope(taken_c) - 1)


def _refuse_equal(a: Any, b: Any) -> None:
    if not _everywhere((a > b) | (a < b)):
        raise CorrectTheEntry("Two equal values give no slope; a second, different one is needed.")


def _everywhere(true: Any) -> bool:
    return true if isinstance(true, bool) else bool(true.all())
