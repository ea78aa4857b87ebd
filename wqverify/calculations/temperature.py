"""Temperature: platinum resistance by IEC 60751 both ways, its tolerance classes, Celsius and Fahrenheit."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from math import sqrt as root
from typing import Any

from wqverify.calculations.dual import Dual, sqrt
from wqverify.errors import ChooseAnother, CorrectTheEntry

# Callendar-Van Dusen: IEC 60751:2022 (from memory; the 100 °C value 138.5055 is the printed one).
A, B, C = 3.9083e-3, -5.775e-7, -4.183e-12
LOWEST_C, HIGHEST_C = -200, 850  # °C, for which the equation is stated
# Class: allowed deviation at 0 °C, and per °C away from it.
CLASSES: Mapping[str, tuple[Decimal, Decimal]] = {
    "AA": (Decimal("0.1"), Decimal("0.0017")),
    "A": (Decimal("0.15"), Decimal("0.002")),
    "B": (Decimal("0.3"), Decimal("0.005")),
    "C": (Decimal("0.6"), Decimal("0.01")),
}
# °C for which a class is stated, of film elements: inside that of wire-wound ones.
CLASS_RANGES: Mapping[str, tuple[int, int]] = {
    "AA": (0, 150),
    "A": (-30, 300),
    "B": (-50, 500),
    "C": (-50, 600),
}


def pt_resistance(temperature_c: float, R0: float = 100.0) -> float:
    """Return the resistance of a platinum element at a temperature, ohm.

    Equation: R = R0 (1 + A t + B t^2 + C (t - 100) t^3), the last term only below 0 °C. t in °C, -200 to 850;
    R0 in ohm. Raises CorrectTheEntry outside. Source: IEC 60751:2022, Callendar-Van Dusen equation with A
    3.9083e-3, B -5.775e-7, C -4.183e-12 (from memory; 138.5055 ohm at 100 °C as printed).

    >>> round(pt_resistance(20.0), 4)
    107.7935
    """
    t = temperature_c
    if not LOWEST_C <= t <= HIGHEST_C:
        raise CorrectTheEntry(
            f"{t} °C is outside {LOWEST_C} to {HIGHEST_C} °C, for which IEC 60751 states the resistance of "
            f"platinum; nothing is extrapolated.",
            found=str(t),
            expected=f"{LOWEST_C} to {HIGHEST_C}",
        )
    return R0 * (1 + A * t + B * t * t + (C * (t - 100) * t**3 if t < 0 else 0.0))


def pt_sensitivity(temperature_c: float, R0: float = 100.0) -> float:
    """Return how fast the resistance of a platinum element rises, ohm per °C.

    Equation: dR/dt = R0 (A + 2 B t + C (4 t^3 - 300 t^2)), the last term only below 0 °C. t in °C, -200 to
    850; R0 in ohm. Source: derivative of ``pt_resistance``; IEC 60751:2022.

    >>> round(pt_sensitivity(20.0), 4)
    0.3885
    """
    t = temperature_c
    return R0 * (A + 2 * B * t + (C * (4 * t**3 - 300 * t * t) if t < 0 else 0.0))


def pt_temperature(resistance: Any, R0: float = 100.0) -> Any:
    """Return the temperature of a platinum element from its resistance, °C.

    Equation: t = (-A + sqrt(A^2 - 4 B (1 - R/R0)))/(2 B) from R0 up; below R0 the equation of
    ``pt_resistance`` solved by Newton's steps from there. R and R0 in ohm; a float or a dual number. Raises
    CorrectTheEntry for a resistance outside -200 to 850 °C. Source: IEC 60751:2022.

    >>> round(pt_temperature(108.5), 3), round(pt_temperature(96.0859), 3)
    (21.819, -10.0)
    """
    at = resistance.v if type(resistance) is Dual else resistance
    low, high = pt_resistance(LOWEST_C, R0), pt_resistance(HIGHEST_C, R0)
    if not low - 1e-9 <= at <= high + 1e-9:
        raise CorrectTheEntry(
            f"{at} ohm is no resistance of a platinum element of {R0:g} ohm: it runs from {low:.2f} to "
            f"{high:.2f} ohm. Look at the type of the element, at the leads and at the range of the meter.",
            found=str(at),
            expected=f"{low:.2f} to {high:.2f} ohm",
        )
    if at >= R0:
        return (-A + sqrt(A * A - 4 * B * (1 - resistance / R0))) / (2 * B)
    t = (-A + root(A * A - 4 * B * (1 - at / R0))) / (2 * B)
    for _ in range(20):
        slope = pt_sensitivity(t, R0)
        step = (R0 * (1 + A * t + B * t * t + C * (t - 100) * t**3) - at) / slope
        t -= step
        if abs(step) < 1e-12:
            break
    return resistance.chain(t, 1 / pt_sensitivity(t, R0)) if type(resistance) is Dual else t


def class_tolerance(temperature_c: Decimal, name: str) -> Decimal:
    """Return how far an element of a tolerance class may lie off at a temperature, ± °C, exactly.

    Equation: AA 0.1 + 0.0017 |t|, A 0.15 + 0.002 |t|, B 0.3 + 0.005 |t|, C 0.6 + 0.01 |t|. t in °C within the
    range of the class for film elements (AA 0 to 150, A -30 to 300, B -50 to 500, C -50 to 600). Raises
    ChooseAnother for another class and CorrectTheEntry outside its range. Source: IEC 60751:2022, tolerance
    classes (several public sources; the ranges from memory and one of them).

    >>> str(class_tolerance(Decimal(50), "A")), str(class_tolerance(Decimal(50), "B"))
    ('0.250', '0.550')
    """
    if name not in CLASSES:
        raise ChooseAnother(
            f"{name} is no tolerance class of IEC 60751; there are {', '.join(CLASSES)}.",
            found=name,
            expected=", ".join(CLASSES),
        )
    low, high = CLASS_RANGES[name]
    if not low <= temperature_c <= high:
        raise CorrectTheEntry(
            f"Class {name} of IEC 60751 is stated for {low} to {high} °C; {temperature_c} °C lies outside.",
            found=str(temperature_c),
            expected=f"{low} to {high}",
        )
    at_zero, per_degree = CLASSES[name]
    return at_zero + per_degree * abs(temperature_c)


def fahrenheit(celsius: Any) -> Any:
    """Return a temperature in °F from one in °C.

    Equation: t(°F) = 1.8 t(°C) + 32; of a Decimal it ends. Source: definition of the degree Fahrenheit, NIST
    SP 811 (2008), B.8 and B.9.

    >>> str(fahrenheit(Decimal("18.28")))
    '64.904'
    """
    return celsius * (Decimal("1.8") if isinstance(celsius, Decimal) else 1.8) + 32


def celsius(fahrenheit: Any) -> Any:
    """Return a temperature in °C from one in °F.

    Equation: t(°C) = (t(°F) - 32)/1.8; of a Decimal it need not end, and is not fixed here. Source:
    definition of the degree Fahrenheit, NIST SP 811 (2008), B.8 and B.9.

    >>> celsius(Decimal("68")) == 20
    True
    """
    return (fahrenheit - 32) / (Decimal("1.8") if isinstance(fahrenheit, Decimal) else 1.8)
