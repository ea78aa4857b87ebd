"""Conductivity: compensation to a reference temperature, cell constant, coefficient of temperature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from wqverify.calculations.interpolation import interpolate
from wqverify.errors import ChooseAnother, CorrectTheEntry

REFERENCE_C = Decimal(25)  # °C, to which a compensated value belongs unless said otherwise
# One unit in uS/cm, exactly; both signs for micro that keyboards give.
IN_US_CM: Mapping[str, Decimal] = {
    "uS/cm": Decimal(1),
    "µS/cm": Decimal(1),
    "μS/cm": Decimal(1),
    "mS/cm": Decimal(1000),
    "mS/m": Decimal(10),
    "S/m": Decimal(10000),
}


def converted(value: Decimal, unit: str, to: str) -> Decimal:
    """Return a conductivity in another unit, exactly.

    Equation: 1 S/m = 10 mS/cm = 1000 mS/m = 10000 uS/cm. ``value`` in ``unit``, any sign; the units are those
    of ``IN_US_CM``. Raises ChooseAnother for another unit. Source: definition of the siemens and of decimal
    prefixes, SI Brochure, 9th edition, tables 4 and 7.

    >>> str(converted(Decimal("12880"), "uS/cm", "mS/cm"))
    '12.88'
    """
    for name in (unit, to):
        if name not in IN_US_CM:
            raise ChooseAnother(
                f"{name} is no unit of conductivity known here; known are {', '.join(IN_US_CM)}.",
                found=name,
                expected=", ".join(IN_US_CM),
            )
    if IN_US_CM[unit] == IN_US_CM[to]:
        return value  # with its digits
    return _plain(value * IN_US_CM[unit] / IN_US_CM[to])


def _plain(value: Decimal) -> Decimal:
    """Without needless zeros, and never as 1E+4."""
    short = value.normalize()
    return short.quantize(Decimal(1)) if int(short.as_tuple().exponent) > 0 else short


def linear(kappa: Any, temperature_c: Any, coefficient: Any, reference_c: Any = 25) -> Any:
    """Return the conductivity at a reference temperature by linear compensation, in the unit of ``kappa``.

    Equation: kappa_ref = kappa/(1 + a (t - t_ref)). ``kappa`` at t in any unit, t and t_ref in °C, a per °C
    (0.02 for 2 % per °C). Raises CorrectTheEntry where 1 + a (t - t_ref) is not above 0. Source: linear
    compensation as transmitters have it; common practice (ISO 7888:1985 calls it one for narrow ranges, from
    memory).

    >>> round(linear(300.0, 15.0, 0.02), 1)
    375.0
    """
    below = 1 + coefficient * (temperature_c - reference_c)
    if not _everywhere(below > 0):
        raise CorrectTheEntry(
            f"A coefficient of {coefficient} per °C leaves nothing of a conductivity at {temperature_c} °C; "
            f"type it as the menu shows it, in % per °C.",
            found=str(coefficient),
            expected="1 + a (t - reference) above 0",
        )
    return kappa / below


def by_factor(
    kappa: Any, temperature_c: Any, factors: Sequence[tuple[Any, Any]], at_reference: Any = 1
) -> Any:
    """Return the conductivity of natural water at 25 °C (or 20 °C) by the factors of ISO 7888.

    Equation: kappa_25 = f25(t) kappa; kappa_20 = f25(t) kappa/f25(20), ``at_reference`` the factor at the
    reference temperature (1 at 25 °C). ``factors`` are the printed (t, f25), t 0 to 35 °C, straight between.
    Raises CorrectTheEntry outside them. Source: ISO 7888:1985, table of f25 (one public source).

    >>> by_factor(300.0, 15.0, [(10, 1.428), (15, 1.256), (20, 1.116)])
    376.8
    """
    return interpolate(factors, temperature_c) * kappa / at_reference


def coefficient(kappa1: Any, t1: Any, kappa2: Any, t2: Any, reference_c: Any = 25) -> Any:
    """Return the linear coefficient of temperature of one water from its conductivity at two temperatures.

    Equation: a = (k1 - k2)/(k2 (t1 - t_ref) - k1 (t2 - t_ref)), per °C. Both uncompensated, in one unit; t in
    °C. Raises CorrectTheEntry where they give none. Source: ``linear`` solved for a; common mathematics.

    >>> round(coefficient(241.0, 10.0, 305.0, 20.0), 5)
    0.01899
    """
    below = kappa2 * (t1 - reference_c) - kappa1 * (t2 - reference_c)
    if not _everywhere((below > 0) | (below < 0)):
        raise CorrectTheEntry(
            "Two readings at one temperature give no coefficient; cool or warm the same water and read "
            "again.",
            expected="two temperatures",
        )
    return (kappa1 - kappa2) / below


def cell_constant(held: Any, expected: Any, shown: Any) -> Any:
    """Return the cell constant that would show a standard as it should be, 1/cm.

    Equation: Kc = Kc_held E/R, E what the display should show, R what it showed, in one unit, R above 0; held
    in 1/cm. Without the held one (1 put in) it is the factor to the present one. Raises CorrectTheEntry for a
    display of 0 or less. Source: definition of the cell constant, kappa = Kc G; ISO 7888:1985 (from memory).

    >>> round(cell_constant(0.100, 1413.0, 1431.0), 5)
    0.09874
    """
    if not _everywhere(shown > 0):
        raise CorrectTheEntry(
            f"A display of {shown} in a standard gives no cell constant; something above 0 is needed.",
            found=str(shown),
            expected="above 0",
        )
    return held * expected / shown


def _everywhere(true: Any) -> bool:
    return true if isinstance(true, bool) else bool(true.all())
