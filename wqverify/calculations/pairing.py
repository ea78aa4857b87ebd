"""Which online value belongs to a grab, and the difference of the two.

Values are decimals: what is judged is decided on what was typed or archived. Moments are numbers of seconds
on any one clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_DOWN, Decimal
from typing import Any

from wqverify.errors import CorrectTheEntry

Row = tuple[Decimal, Decimal]  # moment in s, value

# Range of n results of one method in standard deviations of one, 95 %: for two 1.96 sqrt(2), for more the
# critical range factor f(n) of ISO 5725-6:1994, table 1 (from memory).
AGREE = {2: Decimal("2.77"), 3: Decimal("3.3"), 4: Decimal("3.6"), 5: Decimal("3.9"), 6: Decimal("4.0")}


def window_mean(rows: Sequence[Row], start_s: Decimal, end_s: Decimal) -> Decimal:
    """Return the mean of the values within a window, both ends inclusive, in their unit.

    Equation: mean = sum(x)/n. Raises CorrectTheEntry for a window without a value. Source: common practice,
    no source.

    >>> window_mean([(Decimal(0), Decimal("0.10")), (Decimal(60), Decimal("0.12"))], Decimal(0), Decimal(60))
    Decimal('0.11')
    """
    values = [value for moment, value in rows if start_s <= moment <= end_s]
    if not values:
        raise CorrectTheEntry("There is no online value within the window.", expected="at least one value")
    return sum(values, Decimal(0)) / len(values)


def bracketing(rows: Sequence[Row], at_s: Decimal) -> tuple[Row, Row]:
    """Return the last row at or before a moment and the first at or after it; the same one where it is exact.

    Rows in rising time. Raises CorrectTheEntry where the moment lies before the first row or after the last.
    Source: common practice, no source.

    >>> rows = [(Decimal(0), Decimal("1.10")), (Decimal(900), Decimal("1.22"))]
    >>> [str(moment) for moment, _ in bracketing(rows, Decimal(420))]
    ['0', '900']
    """
    before = [row for row in rows if row[0] <= at_s]
    after = [row for row in rows if row[0] >= at_s]
    if not before or not after:
        side = "before" if not before else "after"
        raise CorrectTheEntry(
            f"There is no online value {side} the moment; nothing is extrapolated.",
            expected="an online value on both sides",
        )
    return before[-1], after[0]


def interpolated(before: Row, after: Row, at_s: Decimal) -> Decimal:
    """Return the value at a moment on the straight line between two rows, in their unit.

    Equation: x = x1 + (x2 - x1)(t - t1)/(t2 - t1); two rows of one moment give the first. Source: linear
    interpolation between bracketing records, common practice, no source.

    >>> interpolated((Decimal(0), Decimal("1.10")), (Decimal(900), Decimal("1.22")), Decimal(660))
    Decimal('1.188')
    """
    (t1, x1), (t2, x2) = before, after
    return x1 if t1 == t2 else x1 + (x2 - x1) * (at_s - t1) / (t2 - t1)


def nearest(rows: Sequence[Row], at_s: Decimal) -> Row:
    """Return the row nearest to a moment; of two equally near ones the earlier.

    Rows in rising time. Raises CorrectTheEntry without a row. Source: common practice, no source.

    >>> nearest([(Decimal(0), Decimal("1.10")), (Decimal(900), Decimal("1.22"))], Decimal(600))[1]
    Decimal('1.22')
    """
    if not rows:
        raise CorrectTheEntry("There is no online value.", expected="at least one value")
    return min(rows, key=lambda row: abs(row[0] - at_s))


def gap_s(before: Row, after: Row) -> Decimal:
    """Return the time in s between two rows.

    Equation: t2 - t1. Source: common practice, no source.

    >>> gap_s((Decimal(0), Decimal("1.10")), (Decimal(900), Decimal("1.22")))
    Decimal('900')
    """
    return after[0] - before[0]


def change(values: Sequence[Decimal]) -> Decimal:
    """Return how far values lie apart, in their unit.

    Equation: max - min. Raises CorrectTheEntry without a value. Source: common practice, no source.

    >>> change([Decimal("0.085"), Decimal("0.087"), Decimal("0.086")])
    Decimal('0.002')
    """
    if not values:
        raise CorrectTheEntry("Without a value there is no change.", expected="at least one value")
    return max(values) - min(values)


def is_steady(moved: Decimal, half_width: Decimal) -> bool:
    """Return whether the water stood still while it was paired: it moved by less than a third of the limit.

    Equation: 3 change < T. Both in one unit; exactly a third is not steady. Source: common practice, no
    source; it adds at most T/(3 sqrt 12) = 0.10 T to the standard uncertainty.

    >>> is_steady(Decimal("0.016"), Decimal("0.05")), is_steady(Decimal("0.05"), Decimal("0.15"))
    (True, False)
    """
    return 3 * moved < half_width


def rate_per_s(rows: Sequence[tuple[float, float]]) -> float:
    """Return the slope of online values over time by least squares, in their unit per s.

    Equation: b = sum((t - mt)(x - mx))/sum((t - mt)^2); 0 for fewer than two moments. Source: ordinary least
    squares, common mathematics.

    >>> round(rate_per_s([(0.0, 0.10), (60.0, 0.12), (120.0, 0.14)]), 6)
    0.000333
    """
    if len({moment for moment, _ in rows}) < 2:
        return 0.0
    mean_t = sum(t for t, _ in rows) / len(rows)
    mean_x = sum(x for _, x in rows) / len(rows)
    above = sum((t - mean_t) * (x - mean_x) for t, x in rows)
    return above / sum((t - mean_t) ** 2 for t, _ in rows)


def agreement_limit(repeatability: Decimal, n: int = 2) -> Decimal:
    """Return how far the results of one method may lie apart, in the unit of the repeatability.

    Equation: CR = f(n) s_r, s_r the standard deviation of one result; f is 2.77 for two results, then 3.3,
    3.6, 3.9 and 4.0. ``n`` from 2 to 6. Raises ValueError for another number. Source: repeatability limit and
    critical range, ISO 5725-6:1994, 4.1 and table 1 (from memory).

    >>> agreement_limit(Decimal("0.02"))
    Decimal('0.0554')
    >>> agreement_limit(Decimal("0.02"), 6)
    Decimal('0.080')
    """
    if n not in AGREE:
        raise ValueError(f"no critical range is known for {n} results")
    return AGREE[n] * repeatability


def fixed_limit(limit: Decimal, digit: Decimal) -> Decimal:
    """Return a limit with two digits beyond a digit, rounded down: what holds to it holds to the exact one.

    Both above 0, in one unit; zeros at the end are left out. Source: common practice, no source.

    >>> fixed_limit(Decimal("0.0589179"), Decimal("0.01"))
    Decimal('0.0589')
    """
    down = limit.quantize(digit.scaleb(-2), rounding=ROUND_DOWN).normalize()
    return Decimal(f"{down:f}")


def at_line_temperature(grab: Any, per_degree: Any, grab_c: Any, line_c: Any) -> Any:
    """Return the value a grab would have at the temperature of the line, in its unit.

    Equation: x = G + a (t_line - t_grab). ``per_degree`` a in the unit per degree, temperatures in C. Source:
    temperature effect of the sample itself, which no compensation of the electrode corrects (EPA 150.1).

    >>> at_line_temperature(Decimal("7.550"), Decimal("-0.008"), Decimal("15.0"), Decimal("18.0"))
    Decimal('7.5260')
    """
    return grab + per_degree * (line_c - grab_c)


def difference(online: Any, rate: Any, lag: Any, grab: Any, gain: Any, zero: Any) -> Any:
    """Return the difference of an online value and a grab, in their unit.

    Equation: d = online + rate lag - (G (1 + gain) + zero). ``lag`` what is left unknown of the delay in s,
    ``rate`` in the unit per s, ``gain`` and ``zero`` errors of the laboratory instrument as a share and in
    the unit. Source: JCGM 100:2008, 4.1, applied to a comparison of two instruments.

    >>> round(difference(0.085, 0.0, 0.0, 0.11, 0.0, 0.0), 3)
    -0.025
    """
    return online + rate * lag - (grab * (1 + gain) + zero)
