"""Oxygen that water holds in balance with air, by temperature, pressure and salinity."""

from __future__ import annotations

from typing import Any

from wqverify.calculations.dual import exp
from wqverify.errors import CorrectTheEntry

ZERO_CELSIUS = 273.15
WATER_C = (0, 40)
SALINITY = (0, 40)  # practical salinity, near g/kg
PRESSURE_KPA = (50.0, 110.0)
ATMOSPHERE_KPA = 101.325


def saturation(temperature_c: Any, pressure_kpa: Any = ATMOSPHERE_KPA, salinity: Any = 0.0) -> Any:
    """Return the oxygen in mg/L that water holds in balance with moist air.

    Equation: ln C = -139.34411 + 1.575701e5/T - 6.642308e7/T^2 + 1.243800e10/T^3 - 8.621949e11/T^4
    - S (1.7674e-2 - 10.754/T + 2140.7/T^2), T in K, at 101.325 kPa; at another pressure times
    ``pressure_factor``. Temperature in C, 0 to 40; pressure of the air there, not reduced to sea level, in
    kPa, 50 to 110; practical salinity 0 to 40. Raises CorrectTheEntry outside. Source: Benson and Krause,
    1980 and 1984, as in Standard Methods 4500-O and USGS Office of Water Quality memorandum 2011.03.

    >>> round(saturation(20.0), 3), round(saturation(20.0, 0.95 * 101.325), 3)
    (9.092, 8.627)
    """
    _insist("the temperature", "°C", temperature_c, WATER_C)
    _insist("the salinity", "", salinity, SALINITY)
    T = temperature_c + ZERO_CELSIUS
    fresh = -139.34411 + 1.575701e5 / T - 6.642308e7 / T**2 + 1.243800e10 / T**3 - 8.621949e11 / T**4
    salt = salinity * (1.7674e-2 - 10.754 / T + 2140.7 / T**2)
    return exp(fresh - salt) * pressure_factor(temperature_c, pressure_kpa)


def pressure_factor(temperature_c: Any, pressure_kpa: Any) -> Any:
    """Return the saturation at a pressure of the air as a share of that at 101.325 kPa.

    Equation: f = P (1 - u/P)(1 - theta P)/((1 - u)(1 - theta)), P in atmospheres, u the vapour pressure of
    ``vapour_pressure_atm``, theta = 0.000975 - 1.426e-5 t + 6.436e-8 t^2. Temperature in C, 0 to 40; pressure
    in kPa, 50 to 110. Raises CorrectTheEntry outside. Source: as ``saturation``.

    >>> pressure_factor(20.0, 101.325)
    1.0
    """
    _insist("the temperature", "°C", temperature_c, WATER_C)
    _insist("the pressure of the air", "kPa", pressure_kpa, PRESSURE_KPA)
    P = pressure_kpa / ATMOSPHERE_KPA
    u = vapour_pressure_atm(temperature_c)
    theta = 0.000975 - 1.426e-5 * temperature_c + 6.436e-8 * temperature_c**2
    return P * ((1 - u / P) * (1 - theta * P)) / ((1 - u) * (1 - theta))


def vapour_pressure_atm(temperature_c: Any) -> Any:
    """Return the vapour pressure of water in atmospheres of 101.325 kPa.

    Equation: ln u = 11.8571 - 3840.70/T - 216961/T^2, T in K. Temperature in C, 0 to 40. Raises
    CorrectTheEntry outside. Source: as ``saturation``.

    >>> round(vapour_pressure_atm(20.0), 4)
    0.0231
    """
    _insist("the temperature", "°C", temperature_c, WATER_C)
    T = temperature_c + ZERO_CELSIUS
    return exp(11.8571 - 3840.70 / T - 216961 / T**2)


def _insist(what: str, unit: str, size: Any, limits: tuple[float, float]) -> None:
    value = getattr(size, "v", size)  # a dual number
    low, high = limits
    if not low <= value <= high:
        room = f"{low:g} to {high:g} {unit}".strip()
        raise CorrectTheEntry(
            f"{what[0].upper()}{what[1:]} is {value:g} {unit}".rstrip()
            + f"; the equation holds for {room}, and nothing is extrapolated.",
            found=f"{value:g}",
            expected=room,
        )
