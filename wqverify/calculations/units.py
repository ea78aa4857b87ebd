"""Units at the edge: what is typed in another unit than the analyzer's becomes the analyzer's, in decimals.

What the units are worth is pint's, in fractions, so that a conversion that ends is exact; pint loads only
where something is in another unit. Which units fit a quantity is said here, because a reading in one that
does not fit is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from fractions import Fraction
from functools import cache
from typing import Any

from wqverify.errors import CorrectTheEntry
from wqverify.terms import Reading

# As the trade writes them -> as pint knows them. Gallons are US gallons. An inch of water is the conventional
# one, 1000 kg/m3 and standard gravity: 249.088 91 Pa, not that of 4 °C or of 60 °F.
UNITS: Mapping[str, Mapping[str, str]] = {
    "length": {"m": "meter", "cm": "centimeter", "mm": "millimeter", "ft": "foot", "in": "inch"},
    "pressure": {
        "kPa": "kilopascal",
        "mbar": "millibar",
        "bar": "bar",
        "psi": "pound_force_per_square_inch",
        "inH2O": "inch * kilogram / liter * standard_gravity",
    },
    "flow": {
        "m3/h": "meter ** 3 / hour",
        "L/s": "liter / second",
        "gpm": "gallon / minute",
        "MGD": "1000000 * gallon / day",
    },
    "volume": {"m3": "meter ** 3", "L": "liter", "gal": "gallon", "MG": "1000000 * gallon"},
    "temperature": {"degC": "degree_Celsius", "degF": "degree_Fahrenheit"},
}
# Known besides, for what an instrument may be set to; nothing is typed in them in place of another unit.
BESIDES: Mapping[str, Mapping[str, str]] = {
    "pressure": {"Pa": "pascal", "ftH2O": "foot * kilogram / liter * standard_gravity"},
    "flow": {"m3/s": "meter ** 3 / second", "L/min": "liter / minute", "m3/d": "meter ** 3 / day"},
    "volume": {"kgal": "1000 * gallon"},
    "conductivity": {"uS/cm": "microsiemens / centimeter", "mS/cm": "millisiemens / centimeter"},
    "concentration": {"ug/L": "microgram / liter", "mg/L": "milligram / liter", "g/L": "gram / liter"},
}
_KNOWN: Mapping[str, Mapping[str, str]] = {
    quantity: {**UNITS.get(quantity, {}), **BESIDES.get(quantity, {})} for quantity in {**UNITS, **BESIDES}
}
# No reading is typed so; the unit of an analyzer or of a standard is.
_SPELLED: Mapping[str, str] = {"°C": "degC", "°F": "degF", "Mgal": "MG"}
_BEYOND = 3  # places beyond the last one typed, where a conversion has no end
_ENDS_WITHIN = 15  # places beyond it, where it has one


@dataclass(frozen=True, slots=True)
class InUnit:
    """A reading in the unit that is asked for, and as it was typed.

    ``value`` and ``digit`` (one unit of the last place typed) are in ``unit``.
    """

    typed: Reading
    value: Decimal
    digit: Decimal
    unit: str

    @property
    def text(self) -> str:
        """The number in ``unit``."""
        return f"{self.value:f}"

    @property
    def words(self) -> str:
        """The value in ``unit``; where it was typed in another one, both."""
        if self.typed.unit is None or _plain(self.typed.unit) == _plain(self.unit):
            return f"{self.text} {self.unit}".strip()
        return f"{self.typed.text} = {self.text} {self.unit}"


def in_unit(typed: Reading, unit: str, where: str = "", fitting: tuple[str, ...] | None = None) -> InUnit:
    """Return a typed reading in another unit, exactly where the conversion ends; keeps what was typed.

    Equation: factor (and zero point, of temperatures) of the two units. A reading without a unit is in
    ``unit`` already. A conversion that does not end is rounded half to even three places beyond the last one
    typed. ``where`` names the answer in the refusal, ``fitting`` the units that are taken, where not those of
    ``units_that_fit``. Raises CorrectTheEntry for any other unit, naming those that fit. Source: NIST SP 811
    (2008), appendix B, by way of pint.

    >>> in_unit(Reading.parse("12.3 ft"), "m").words
    '12.3 ft = 3.74904 m'
    >>> in_unit(Reading.parse("12.30"), "m").words
    '12.30 m'
    """
    if typed.unit is None or typed.unit == unit or _plain(typed.unit) == _plain(unit):
        return InUnit(typed, typed.value, typed.digit, unit)
    fitting = units_that_fit(unit) if fitting is None else fitting
    if typed.unit not in fitting:
        raise CorrectTheEntry(
            f"{f'{where} is ' if where else ''}{typed.text}, and a value in {unit} "
            + (
                f"is typed in {_listed(fitting)}; type it in one of these, or without a unit where it is in "
                f"{unit}."
                if fitting
                else f"is typed without a unit or in {unit} alone; read it in {unit}."
            ),
            found=typed.unit,
            expected=", ".join(fitting) or unit,
            where=where,
        )
    digit = convert(typed.digit, typed.unit, unit, difference=True)
    exact = convert(typed.value, typed.unit, unit)
    return InUnit(typed, _fixed(exact, digit.adjusted()), digit, unit)


def units_that_fit(unit: str) -> tuple[str, ...]:
    """Return the units in which a value in a unit can be typed; none for a unit that is not converted.

    Source: the units of the trade, no source; a volume is no length and a gauge pressure no level.

    >>> units_that_fit("ft"), units_that_fit("NTU")
    (('m', 'cm', 'mm', 'ft', 'in'), ())
    """
    return next((tuple(units) for units in UNITS.values() if _plain(unit) in units), ())


def quantity_of(unit: str) -> str:
    """Return what a unit measures, empty for one that is not known here.

    Source: the units of the trade, no source.

    >>> quantity_of("ft"), quantity_of("°C"), quantity_of("NTU")
    ('length', 'temperature', '')
    """
    return next((quantity for quantity, units in _KNOWN.items() if _plain(unit) in units), "")


def units_of(quantity: str) -> tuple[str, ...]:
    """Return every unit known here of a quantity, also those in which nothing is typed.

    Source: the units of the trade, no source.

    >>> units_of("pressure")
    ('kPa', 'mbar', 'bar', 'psi', 'inH2O', 'Pa', 'ftH2O')
    """
    return tuple(_KNOWN.get(quantity, ()))


def convert(value: Decimal, unit: str, to: str, *, difference: bool = False) -> Decimal:
    """Return a value in another unit, exactly where it ends, to 28 figures where it does not.

    Equation: factor of the two units, and their zero points where ``value`` is a temperature and no
    ``difference``. Raises ValueError for units that do not fit each other. Source: NIST SP 811 (2008),
    appendix B, by way of pint.

    >>> str(convert(Decimal(1), "ft", "in").normalize()), str(convert(Decimal(50), "degF", "°C"))
    ('12', '10')
    """
    if quantity_of(unit) == "temperature" and not difference and _plain(unit) != _plain(to):
        here, there = _pair(unit, to)
        # about absolute zero, as pint has it; a difference of temperatures has no zero point
        return _decimal(_registry().Quantity(Fraction(value), here).to(there).magnitude)
    return Decimal(scaled(value, unit, to))


def scaled(value: Any, unit: str, to: str) -> Any:
    """Return a decimal, a float or a dual number in another unit; of temperatures a difference.

    Equation: value times the factor of the two units; a decimal exactly where that ends. Raises ValueError
    for units that do not fit each other. Source: as ``convert``.

    >>> str(scaled(Decimal(36), "m3/h", "L/s")), round(scaled(100.0, "gpm", "L/s"), 4)
    ('10', 6.309)
    """
    if _plain(unit) == _plain(to):
        return value
    factor = _factor(*_pair(unit, to))
    if isinstance(value, Decimal):
        return value * factor.numerator / factor.denominator
    return value * float(factor)


def _pair(unit: str, to: str) -> tuple[str, str]:
    """Both units as pint knows them."""
    named = _KNOWN.get(quantity_of(unit), {})
    if _plain(to) not in named:
        raise ValueError(f"{unit} is not converted to {to}")
    return named[_plain(unit)], named[_plain(to)]


@cache
def _factor(here: str, there: str) -> Fraction:
    known = _registry()
    if here.startswith("degree_"):
        return Fraction(known.Quantity(Fraction(1), f"delta_{here}").to(f"delta_{there}").magnitude)
    base, other = (known.parse_expression(name).to_base_units().magnitude for name in (here, there))
    return Fraction(base) / Fraction(other)


@cache
def _registry() -> Any:
    """pint's units in fractions; loaded where something is in another unit, never before."""
    import pint

    return pint.UnitRegistry(non_int_type=Fraction, cache_folder=None)


def _decimal(exact: Fraction) -> Decimal:
    return Decimal(exact.numerator) / exact.denominator


def _plain(unit: str) -> str:
    return _SPELLED.get(unit, unit)


def _fixed(exact: Decimal, last_place: int) -> Decimal:
    """Keep a conversion that ends, without the noise of its 28 figures; round one that does not."""
    with localcontext(prec=60):
        ended = exact.quantize(Decimal(1).scaleb(last_place - _ENDS_WITHIN), ROUND_HALF_EVEN).normalize()
        short = exact.quantize(Decimal(1).scaleb(last_place - _BEYOND), ROUND_HALF_EVEN)
        places = -int(ended.as_tuple().exponent)
        found = ended if places <= _ENDS_WITHIN - last_place - 3 else short
        return Decimal(f"{found + 0:f}")  # written out, and a zero has no sign


def _listed(units: tuple[str, ...]) -> str:
    return f"{', '.join(units[:-1])} or {units[-1]}"
