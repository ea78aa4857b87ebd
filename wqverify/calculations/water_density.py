"""Density of water by its temperature."""

from __future__ import annotations

from typing import Any

from wqverify.errors import CorrectTheEntry

VALID_C = (0, 40)  # °C, for which the formula is stated
A = (-3.983035, 301.797, 522528.9, 69.34881, 999.974950)


def water_density(temperature_c: Any) -> Any:
    """Return the density of air-free pure water at 101.325 kPa, kg/m3.

    Equation: rho = a5 (1 - (t + a1)^2 (t + a2)/(a3 (t + a4))), a1 -3.983035, a2 301.797, a3 522528.9, a4
    69.34881, a5 999.974950. Temperature in C, 0 to 40. Dissolved salts add about 0.8 kg/m3 for each g/L.
    Raises CorrectTheEntry outside, with both limits. Source: Tanaka and others, Metrologia 38 (2001) 301-309,
    equation 1 and table 1 (CIPM).

    >>> round(water_density(20.0), 4), round(water_density(5.0), 4)
    (998.2067, 999.9668)
    """
    low, high = VALID_C
    if not (temperature_c >= low) & (temperature_c <= high):
        raise CorrectTheEntry(
            f"The density of water is known from {low} to {high} °C, not at {_plain(temperature_c)} °C; look "
            f"at the temperature again.",
            found=_plain(temperature_c),
            expected=f"{low} to {high} °C",
        )
    a1, a2, a3, a4, a5 = A
    t = temperature_c
    return a5 * (1 - (t + a1) * (t + a1) * (t + a2) / (a3 * (t + a4)))


def _plain(temperature_c: Any) -> str:
    return f"{getattr(temperature_c, 'v', temperature_c)}"
