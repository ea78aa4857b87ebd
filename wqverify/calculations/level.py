"""Level: from a tape or a scale, from the pressure of the water above, from an echo, from a loop current.

Levels and elevations are of one unit and of one datum; what is called a level counts from the zero of the
transmitter, what is called an elevation from the datum.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from wqverify.errors import CorrectTheEntry

STANDARD_GRAVITY = 9.80665  # m/s2, conventional
AIR_C = (-40, 60)  # °C, where the straight line for the speed of sound is used


# ---------------------------------------------------------------- tape and scale


def level_of_ullage(mark: Any, zero: Any, ullage: Any) -> Any:
    """Return the level from a tape that hangs from a mark down to the water.

    Equation: L = (mark - zero) - ullage. Elevation of the mark, elevation of the zero of the transmitter and
    length of tape out, in one unit; the level in the same. Source: geometry.

    >>> round(level_of_ullage(41.25, 0.0, 17.62), 9)
    23.63
    """
    return mark - zero - ullage


def level_of_scale(mark: Any, zero: Any, reading: Any) -> Any:
    """Return the level from what stands above a mark: a sight tube with its scale, a gauge with its height.

    Equation: L = (mark - zero) + reading. Elevation of the zero of the scale or of the gauge, elevation of
    the zero of the transmitter, and what it reads, in one unit. Source: geometry.

    >>> level_of_scale(2.0, 0.5, 21.0)
    22.5
    """
    return mark - zero + reading


# ---------------------------------------------------------------- pressure


def pressure_of_level(level_m: Any, density: Any, gravity: Any = STANDARD_GRAVITY) -> Any:
    """Return the pressure of water that stands above a point open to the air, kPa.

    Equation: p = rho g h/1000. Height in m, density in kg/m3, gravity in m/s2. Source: hydrostatics; standard
    gravity of the 3rd CGPM (1901).

    >>> round(pressure_of_level(5.0, 998.2067), 4)
    48.9453
    """
    return density * gravity * level_m / 1000


def level_of_pressure(pressure_kpa: Any, density: Any, gravity: Any = STANDARD_GRAVITY) -> Any:
    """Return the height of water above a point that has a gauge pressure, m.

    Equation: h = 1000 p/(rho g). Pressure in kPa against the air, density in kg/m3 above 0, gravity in m/s2
    above 0. Raises CorrectTheEntry for a density or gravity of 0 or less. Source: hydrostatics; standard
    gravity of the 3rd CGPM (1901).

    >>> round(level_of_pressure(1.0, 998.2067), 4)
    0.1022
    """
    if not (density > 0) & (gravity > 0):
        raise CorrectTheEntry(
            "A density or gravity of 0 or less gives no level; enter the density of the water in kg/m3.",
            expected="more than 0",
        )
    return 1000 * pressure_kpa / (density * gravity)


def excess_by_density(density: Any, set_to: Any) -> Any:
    """Return by how much of the level a hydrostatic transmitter reads high for its density setting.

    Equation: rho/rho_set - 1, as a share of the level above the sensor. Densities in kg/m3 above 0. Raises
    CorrectTheEntry for a setting of 0 or less. Source: hydrostatics.

    >>> round(excess_by_density(1000.0, 1100.0), 4)
    -0.0909
    """
    if not set_to > 0:
        raise CorrectTheEntry(
            f"A density setting of {set_to} kg/m3 gives no level; type it as the menu shows it.",
            found=str(set_to),
            expected="more than 0 kg/m3",
        )
    return density / set_to - 1


# ---------------------------------------------------------------- echo


def speed_of_sound(air_c: Any) -> Any:
    """Return the speed of sound in air, m/s.

    Equation: c = 331.45 + 0.607 t. Temperature of the air in C, -40 to 60; humidity adds up to 0.3 % in warm
    wet air and is left out. Raises CorrectTheEntry outside. Source: straight line through 331.45 m/s at 0 C,
    dry air, as makers of ultrasonic level transmitters print it (one public page; from memory besides).

    >>> round(speed_of_sound(20.0), 2)
    343.59
    """
    low, high = AIR_C
    if not (air_c >= low) & (air_c <= high):
        raise CorrectTheEntry(
            f"The speed of sound is taken from {low} to {high} °C, not at {getattr(air_c, 'v', air_c)} °C; "
            f"look at the temperature of the air again.",
            found=str(getattr(air_c, "v", air_c)),
            expected=f"{low} to {high} °C",
        )
    return 331.45 + 0.607 * air_c


def distance_of_echo(seconds: Any, air_c: Any) -> Any:
    """Return the distance from an ultrasonic sensor to the water, m.

    Equation: d = c t/2, c by the temperature of the air. Time from pulse to echo in s, temperature in C, -40
    to 60. Raises CorrectTheEntry outside. Source: definition; ``speed_of_sound``.

    >>> round(distance_of_echo(0.06, 20.0), 4)
    10.3077
    """
    return speed_of_sound(air_c) * seconds / 2


def error_of_distance(distance: Any, air_c: Any, assumed_c: Any) -> Any:
    """Return by how much an ultrasonic transmitter shows the distance too long, in the unit of the distance.

    Equation: e = d (c(assumed)/c(air) - 1); the level is wrong by as much the other way. True distance,
    temperature of the air, temperature the transmitter counts with, both in C, -40 to 60. Raises
    CorrectTheEntry outside. Source: ``speed_of_sound``.

    >>> round(error_of_distance(10.0, 20.0, 30.0), 3)
    0.177
    """
    return distance * (speed_of_sound(assumed_c) / speed_of_sound(air_c) - 1)


# ---------------------------------------------------------------- current, and ranges at two ends


def level_of_current(ma: Any, low: Any, high: Any) -> Any:
    """Return the level a loop current stands for at one end of the signal, in the unit of the range.

    Equation: L = low + (high - low)(I - 4)/16. Current in mA, range at that end from 4 to 20 mA. Raises
    CorrectTheEntry for a range without width. Source: IEC 60381-1 (from memory).

    >>> level_of_current(12.0, 0.0, 40.0)
    20.0
    """
    if not (high > low) | (high < low):
        raise CorrectTheEntry(
            f"A range from {low} to {high} has no width, so no current stands for a level; enter the range "
            f"set there.",
            found=f"{low} to {high}",
            expected="two different ends",
        )
    return low + (high - low) * (ma - 4) / 16


def straight_line(x: Sequence[Any], y: Sequence[Any]) -> tuple[Any, Any]:
    """Return slope and intercept of the unweighted straight line of y on x, for uncertain numbers too.

    Equation: b = sum (x - mx)(y - my)/sum (x - mx)^2, a = my - b mx. Two points or more, x and y alike. Its
    uncertainty is that of the points put through it (``propagate``), not that of the scatter about it. Raises
    ValueError for fewer points and where all x are equal. Source: JCGM 100:2008, H.3.2.

    >>> straight_line([8.0, 32.0], [7.0, 28.0])
    (0.875, 0.0)
    """
    n = len(x)
    if n < 2 or len(y) != n:
        raise ValueError("a straight line needs two points or more, x and y alike")
    mx, my = sum(x[1:], x[0]) / n, sum(y[1:], y[0]) / n
    apart = [one - mx for one in x]
    below = sum((one * one for one in apart[1:]), apart[0] * apart[0])
    if not below > 0:
        raise ValueError("all x are equal; a straight line needs two different ones")
    above = [one * (value - my) for one, value in zip(apart, y, strict=True)]
    slope = sum(above[1:], above[0]) / below
    return slope, my - slope * mx


def apparent_range(slope: Any, intercept: Any, low: Any, high: Any) -> tuple[Any, Any]:
    """Return the range a display must be scaled to, from its line on what the current stands for.

    Equation: (a + b low, a + b high), low and high the range of the transmitter for 4 and 20 mA; all in one
    unit, the slope without one. Source: IEC 60381-1 (from memory), a linear signal.

    >>> apparent_range(0.875, 0.0, 0.0, 40.0)
    (0.0, 35.0)
    """
    return intercept + slope * low, intercept + slope * high
