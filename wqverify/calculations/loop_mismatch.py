"""What a mismatch between two ends of a loop looks like: each suspicion as a curve over the signal.

A curve takes the part q of the signal that is applied (0 at 4 mA, 1 at 20 mA) and gives the part of the
right range that is shown. What was read is compared with every curve; what fits is a candidate, never a
verdict.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import isclose, sqrt
from typing import Any

from wqverify.calculations.loop import current, fraction
from wqverify.calculations.temperature import celsius, fahrenheit
from wqverify.calculations.units import convert, quantity_of, units_of

Curve = Callable[[float], float]

CELSIUS, FAHRENHEIT = "°C", "°F"
SPELLED = {"degC": CELSIUS, "degF": FAHRENHEIT, "µS/cm": "uS/cm", "l/s": "L/s", "l/min": "L/min"}

# What stands for 4 and 20 mA where the engineering scaling is missing.
RAW = (
    ("raw counts 0 to 4095", 0.0, 4095.0),
    ("raw counts 819 to 4095", 819.0, 4095.0),
    ("raw counts 0 to 32767", 0.0, 32767.0),
    ("raw counts 6553 to 32767", 6553.0, 32767.0),
    ("raw counts 0 to 27648", 0.0, 27648.0),
    ("raw counts 0 to 65535", 0.0, 65535.0),
    ("percent of span", 0.0, 100.0),
    ("the current in mA", 4.0, 20.0),
    ("the volts across 250 ohm", 1.0, 5.0),
)
RESISTORS = (50.0, 100.0, 125.0, 249.0, 250.0, 500.0)  # ohm, as inputs are built


@dataclass(frozen=True, slots=True)
class Suspicion:
    """One thing that may be set otherwise at the far end: what is shown then, and what would tell."""

    kind: str
    words: str
    shown: Curve
    tells: str

    @property
    def span(self) -> float:
        """How far what is shown moves from 4 to 20 mA, in spans of the right range."""
        return abs(self.shown(1.0) - self.shown(0.0))


def is_unit(unit: str) -> bool:
    """Whether a unit is one whose size is known here.

    Source: the units of the trade, no source.

    >>> is_unit("ft"), is_unit("furlong")
    (True, False)
    """
    return bool(quantity_of(SPELLED.get(unit, unit)))


def measure_one_thing(unit: str, other: str) -> bool:
    """Whether two units measure one quantity, so that one may be shown in place of the other.

    Source: the units of the trade, no source.

    >>> measure_one_thing("ft", "m"), measure_one_thing("ft", "psi")
    (True, False)
    """
    a, b = SPELLED.get(unit, unit), SPELLED.get(other, other)
    return a == b or (quantity_of(a) != "" and quantity_of(a) == quantity_of(b))


def converted(value: float, unit: str, other: str) -> float:
    """Return a value of one unit in another that measures the same.

    Equation: v' = v s/s', degrees Fahrenheit 1.8 t + 32. Raises ValueError for units of two quantities.
    Source: NIST SP 811 (2008), appendix B, as in ``units.convert``.

    >>> round(converted(10.0, "ft", "m"), 4), round(converted(20.0, "°C", "°F"), 1)
    (3.048, 68.0)
    """
    a, b = SPELLED.get(unit, unit), SPELLED.get(other, other)
    if not measure_one_thing(a, b):
        raise ValueError(f"{unit} and {other} do not measure one quantity")
    if a == b:
        return value
    if quantity_of(a) == "temperature":
        return float(fahrenheit(value) if a == CELSIUS else celsius(value))
    return value * float(convert(Decimal(1), a, b))


# ---------------------------------------------------------------- suspicions


def suspicions(
    low: float, high: float, unit: str, *, root: bool, input_ohm: float | None = None
) -> Iterator[Suspicion]:
    """Give what may be set otherwise, for a signal of a range whose root is taken after the current or not.

    Equation: each curve in its own words, y as part of the range ``low`` to ``high`` in ``unit``; the root is
    y = sqrt(q). ``input_ohm`` is the resistor that should be there, 250 where it is not known. Source: common
    practice, no source; figures of the root as in facts on the square-root signal (8 mA: 25, 50, 70.7 %).

    >>> [s.kind for s in suspicions(0.0, 100.0, "%", root=True)][:2]
    ['root', 'root']
    """
    right = _rooted if root else _same
    yield from _roots(root)
    yield from _signals(right, input_ohm or 250.0)
    yield Suspicion(
        "swapped",
        "the range at the far end runs backwards",
        lambda q: 1 - right(q),
        "low and high as set there",
    )
    yield from _units(low, high, unit, right)
    for words, zero, full in RAW:
        span = high - low

        def shown(q: float, zero: float = zero, full: float = full, span: float = span) -> float:
            return (zero + (full - zero) * q - low) / span

        yield Suspicion("raw", f"shown is {words}", shown, "the engineering scaling of the card")


def _same(q: float) -> float:
    return q


def _rooted(q: float) -> float:
    return sqrt(q) if q > 0 else 0.0


def _roots(root: bool) -> Iterator[Suspicion]:
    at_eight = "8 mA: 25 % of span without a root, 50 % with one, 70.7 % with two"
    if root:
        yield Suspicion("root", "no square root is taken", _same, at_eight)
        yield Suspicion("root", "the square root is taken twice", lambda q: _rooted(_rooted(q)), at_eight)
    else:
        yield Suspicion("root", "a square root is taken of a signal that has it already", _rooted, at_eight)
        yield Suspicion("root", "a square is taken, as if a root had to be undone", lambda q: q * q, at_eight)


def _signals(right: Curve, ohm: float) -> Iterator[Suspicion]:
    ends = "what is shown at 4.00 mA: 20 % of span where the input is set to 0-20 mA, 0 % at 4-20 mA"
    yield Suspicion(
        "0-20 mA",
        "the input is set to 0-20 mA and the signal is 4-20 mA",
        lambda q: right(current(q) / 20),
        ends,
    )
    yield Suspicion(
        "0-20 mA",
        "the signal is 0-20 mA and the input is set to 4-20 mA",
        lambda q: right(fraction(20 * q)),
        "the current at 0 %: 0 mA or 4 mA",
    )
    for there in RESISTORS:
        if not isclose(there, ohm):

            def shown(q: float, ratio: float = there / ohm) -> float:
                return right(fraction(ratio * current(q)))

            yield Suspicion(
                "resistor",
                f"the input resistor is {there:g} ohm and not {ohm:g}",
                shown,
                "volts across the input and the current into it, at one point: V by I is the resistor",
            )


def _units(low: float, high: float, unit: str, right: Curve) -> Iterator[Suspicion]:
    plain = SPELLED.get(unit, unit)
    for other in (SPELLED.get(one, one) for one in units_of(quantity_of(plain))):
        if other == plain:
            continue

        def shown(q: float, other: str = other) -> float:
            true = low + (high - low) * right(q)
            return (converted(true, plain, other) - low) / (high - low)

        yield Suspicion("unit", f"shown in {other} and read as {unit}", shown, "the unit set at the far end")


# ---------------------------------------------------------------- which of them fit


def fits(
    curve: Curve, applied: Sequence[float], shown: Sequence[float], within: Sequence[float]
) -> float | None:
    """Return how well a curve fits what was read: the largest distance by what is allowed; None above 1.

    Equation: max |y_i - curve(q_i)|/w_i. ``applied`` parts of the signal, ``shown`` parts of the range,
    ``within`` above 0, in parts too. Raises ValueError for unequal lengths. Source: a fit is no proof; design
    of this project.

    >>> fits(lambda q: q, [0.0, 1.0], [0.0, 1.001], [0.002, 0.002])
    0.5
    """
    off = max(abs(y - curve(q)) / w for q, y, w in zip(applied, shown, within, strict=True))
    return round(off, 3) if round(off, 9) <= 1 else None


def line_through(x: Sequence[Any], y: Sequence[Any]) -> tuple[Any, Any]:
    """Return intercept and slope of the least-squares line, for floats and dual numbers.

    Equation: b = sum (x - mx)(y - my)/sum (x - mx)^2, a = my - b mx; two points or more with different x.
    Uncertainties come by putting every reading through it, not from the residuals. Raises ValueError for
    fewer. Source: least squares, JCGM 100:2008, H.3.3.

    >>> line_through([0.0, 1.0, 2.0], [1.0, 3.0, 5.0])
    (1.0, 2.0)
    """
    n = len(x)
    if n < 2 or len(y) != n:
        raise ValueError("a line needs at least two points, x and y alike")
    mx, my = sum(x) / n, sum(y) / n
    sxx: Any = sum((v - mx) * (v - mx) for v in x)
    if not sxx > 0:
        raise ValueError("all x are equal; a line needs two different ones")
    b: Any = sum((v - mx) * (w - my) for v, w in zip(x, y, strict=True)) / sxx
    return my - b * mx, b
