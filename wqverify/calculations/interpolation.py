"""Between the printed values of a table, never beyond them."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from decimal import Decimal
from typing import Any, NoReturn

from wqverify.calculations.dual import Dual
from wqverify.errors import CorrectTheEntry


def interpolate(nodes: Sequence[tuple[Any, Any]], x: Any) -> Any:
    """Return the value of a table at x, on the straight line between its two neighbours.

    Equation: y = y0 + (y1 - y0)(x - x0)/(x1 - x0). ``nodes`` are two or more (x, y) in rising x, as decimals
    or floats; x is a Decimal (the result is then exact where the quotient ends), a float, an array, or a Dual
    of one, whose derivative is the slope of the interval. At a node the upper interval counts, at the last
    node the lower. Raises CorrectTheEntry outside the nodes, with both limits, and ValueError for less than
    two nodes. Source: linear interpolation, common mathematics; in the 5 degree table of reference buffers
    within 0.0013 pH of the 1 degree table.

    >>> interpolate([(Decimal(15), Decimal("7.04")), (Decimal(20), Decimal("7.02"))], Decimal("18.4"))
    Decimal('7.0264')
    """
    if len(nodes) < 2:
        raise ValueError("a straight line between nodes needs two of them")
    at = x.v if type(x) is Dual else x
    if isinstance(at, Decimal):
        return _exact(nodes, at)
    # Nodes as floats too, so that the float 25.1 is the node 25.1 and not a hair beyond it.
    xs = [float(node[0]) for node in nodes]
    if isinstance(at, float | int):
        if not xs[0] <= at <= xs[-1]:
            _refuse(at, nodes)
        index = min(bisect_right(xs, at), len(xs) - 1) - 1
        x0, y0 = xs[index], float(nodes[index][1])
        slope = (float(nodes[index + 1][1]) - y0) / (xs[index + 1] - x0)
        value = y0 + slope * (at - x0)
    else:
        value, slope = _of_array(nodes, xs, at)
    return x.chain(value, slope) if type(x) is Dual else value


def _exact(nodes: Sequence[tuple[Any, Any]], at: Decimal) -> Any:
    if not nodes[0][0] <= at <= nodes[-1][0]:
        _refuse(at, nodes)
    index = min(bisect_right(nodes, at, key=lambda node: node[0]), len(nodes) - 1) - 1
    (x0, y0), (x1, y1) = nodes[index], nodes[index + 1]
    if at in (x0, x1):  # as printed, with its digits
        return y0 if at == x0 else y1
    return y0 + (y1 - y0) * (at - x0) / (x1 - x0)


def _of_array(nodes: Sequence[tuple[Any, Any]], xs: list[float], at: Any) -> tuple[Any, Any]:
    import numpy as np

    inside = (at >= xs[0]) & (at <= xs[-1])
    if not inside.all():
        _refuse(at[~inside][0], nodes)
    grid, ys = np.array(xs), np.array([float(node[1]) for node in nodes])
    index = np.minimum(np.searchsorted(grid, at, side="right"), len(xs) - 1) - 1
    slope = (np.diff(ys) / np.diff(grid))[index]
    return ys[index] + slope * (at - grid[index]), slope


def _refuse(at: Any, nodes: Sequence[tuple[Any, Any]]) -> NoReturn:
    low, high = nodes[0][0], nodes[-1][0]
    raise CorrectTheEntry(
        f"{at} lies outside the table, which runs from {low} to {high}; nothing is extrapolated.",
        found=str(at),
        expected=f"{low} to {high}",
    )
