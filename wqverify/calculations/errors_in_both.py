"""A straight line through points that are uncertain in both co-ordinates: York, and Deming with one ratio.

A line of y on x takes x as known; where both instruments err its slope is too flat. These lines share the
blame by the standard uncertainties. Errors of x and y of a point are taken as uncorrelated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wqverify.calculations.line_fit import FittedLine
from wqverify.calculations.uncertainty import coverage_factor
from wqverify.errors import ChooseAnother

Floats = NDArray[np.float64]
Values = Sequence[float] | Floats

FEWEST = 3
_MOST_ROUNDS = 500
_STILL = 1e-15  # relative change of the slope below which it stands


def deming(x: Values, y: Values, ratio: float = 1.0) -> FittedLine:
    """Return the Deming line of two instruments whose variances have a known ratio.

    Equation: with L = ratio = u_y^2/u_x^2 and d = Syy - L Sxx, b = (d + sqrt(d^2 + 4 L Sxy^2))/(2 Sxy), a =
    my - b mx. Uncertainties and covariance as for ``errors_in_both`` with u_x = 1 and u_y = sqrt(L), scaled
    by the residual standard deviation sqrt(S/(n - 2)), which is then the standard uncertainty of one x.

    x and y in their own units, three points or more; ratio > 0, in the unit of y squared over that of x
    squared (1: both equally uncertain). Returns the line with n - 2 degrees of freedom. Raises ChooseAnother
    for fewer points and where the line would be vertical or has no direction; ValueError for unequal
    lengths and another ratio.

    Source: W. E. Deming, Statistical Adjustment of Data (1943); equation as in K. Linnet, Clin. Chem. 39
    (1993) 424-432 (from memory); uncertainties D. York and others, Am. J. Phys. 72 (2004) 367-375.

    >>> line = deming([1, 2, 3, 4], [1, 3, 5, 7])
    >>> round(line.b, 9), round(line.a, 9)
    (2.0, -1.0)
    """
    if not (ratio > 0 and math.isfinite(ratio)):
        raise ValueError("a ratio of variances is above 0")
    points = _Points(x, y, np.ones(len(x)), np.full(len(x), math.sqrt(ratio)))
    return points.line(points.start(ratio), scaled=True)


def errors_in_both(
    x: Values,
    y: Values,
    u_x: Values,
    u_y: Values,
    *,
    scaled: bool = False,
) -> FittedLine:
    """Return the least-squares line through points with standard uncertainties in x and in y.

    Equation: W = 1/(u_y^2 + b^2 u_x^2), mx = sum W x/sum W, my likewise, U = x - mx, V = y - my, B = W (U
    u_y^2 + b V u_x^2), b = sum W B V/sum W B U, repeated until b stands; a = my - b mx. At the adjusted
    points x' = mx + B: u(b)^2 = 1/sum W (x' - mx')^2, u(a)^2 = 1/sum W + mx'^2 u(b)^2, u(a, b) = -mx'
    u(b)^2. S = sum W (y - a - b x)^2; ``residual_sd`` is sqrt(S/(n - 2)), about 1 where the uncertainties
    are honest. ``scaled`` multiplies the uncertainties by it.

    x and y in their own units with u_x >= 0 and u_y > 0 in the same, one per point, three points or more.
    Returns the line with n - 2 degrees of freedom. Raises ChooseAnother for fewer points, where all x are
    equal, where the line would be vertical and where the slope does not settle; ValueError for unequal
    lengths and other uncertainties.

    Source: D. York, Can. J. Phys. 44 (1966) 1079-1086; D. York, N. M. Evensen, M. Lopez Martinez, J. De
    Basabe Delgado, Am. J. Phys. 72 (2004) 367-375, equation 13, correlation 0.

    >>> line = errors_in_both([1, 2, 3, 4], [1, 3, 5, 7], [0.1] * 4, [0.2] * 4)
    >>> round(line.b, 9), round(line.a, 9), round(line.u_b, 6)
    (2.0, -1.0, 0.126491)
    """
    points = _Points(x, y, np.asarray(u_x, float), np.asarray(u_y, float))
    mean_vx = float(points.vx.mean())
    b = points.start(float(points.vy.mean()) / mean_vx) if mean_vx else points.sxy / points.sxx
    for _ in range(_MOST_ROUNDS):
        before, b = b, points.next(b)
        if not math.isfinite(b):
            break
        if abs(b - before) <= _STILL * max(abs(b), points.ratio_of_spreads):
            return points.line(b, scaled=scaled)
    raise ChooseAnother(
        f"The slope did not settle in {_MOST_ROUNDS} rounds; the uncertainties are larger than what the "
        f"points span. Choose a wider range of levels.",
        found=f"{b}",
        expected="a slope that stands",
    )


def interval(value: float, u: float, dof: float, level: float = 0.95) -> tuple[float, float]:
    """Return the confidence interval of a fitted value.

    Equation: value -+ t((1 + level)/2, dof) u. Value and u in one unit, dof 1 or more, level between 0 and
    1; returns both ends. Raises ValueError for another level or dof. Source: JCGM 100:2008, G.3.2.

    >>> [round(end, 3) for end in interval(1.0, 0.1, 10)]
    [0.777, 1.223]
    """
    half = coverage_factor(float(dof), level) * u
    return value - half, value + half


class _Points:
    """Points about their mean, which costs no digits, with their variances."""

    def __init__(self, x: Values, y: Values, u_x: Floats, u_y: Floats) -> None:
        values: list[Any] = [np.asarray(x, float), np.asarray(y, float)]
        n = len(values[0])
        if any(len(one) != n for one in (values[1], u_x, u_y)):
            raise ValueError("x, y and their uncertainties are of one length")
        if n < FEWEST:
            raise ChooseAnother(
                f"{n} points are too few for a line with errors in both; at least {FEWEST} are needed.",
                found=str(n),
                expected=f"at least {FEWEST}",
            )
        if not all(np.isfinite(one).all() for one in (*values, u_x, u_y)):
            raise ValueError("x, y and their uncertainties are finite")
        if not ((u_x >= 0).all() and (u_y > 0).all()):
            raise ValueError("uncertainties of x are 0 or more, those of y above 0")
        self.n = n
        self.x0, self.y0 = float(values[0].mean()), float(values[1].mean())
        self.x, self.y = values[0] - self.x0, values[1] - self.y0
        self.vx, self.vy = u_x**2, u_y**2
        self.sxx, self.syy = float(self.x @ self.x), float(self.y @ self.y)
        self.sxy = float(self.x @ self.y)
        if not self.sxx > 0:
            raise ChooseAnother(
                "All x are equal; a line needs two different ones.", expected="two different x"
            )
        self.ratio_of_spreads = math.sqrt(self.syy / self.sxx)

    def start(self, ratio: float) -> float:
        """The slope for one ratio of variances."""
        d = self.syy - ratio * self.sxx
        if self.sxy == 0 and d >= 0:
            raise ChooseAnother(
                "The points give no slope: the line through them would be vertical or has no direction.",
                found="no covariance of x and y",
                expected="values that rise or fall together",
            )
        root = math.hypot(d, 2 * math.sqrt(ratio) * self.sxy)
        # Two forms of one equation, each without a difference of near-equal numbers.
        return (d + root) / (2 * self.sxy) if d >= 0 else 2 * ratio * self.sxy / (root - d)

    def _at(self, b: float) -> tuple[Floats, float, float, Floats, Floats, Floats]:
        """Weights, weighted means, distances from them and adjusted distances of x at a slope."""
        w = 1 / (self.vy + b * b * self.vx)
        total = float(w.sum())
        mx, my = float(w @ self.x) / total, float(w @ self.y) / total
        u, v = self.x - mx, self.y - my
        return w, mx, my, u, v, w * (u * self.vy + b * v * self.vx)

    def next(self, b: float) -> float:
        w, _mx, _my, u, v, adjusted = self._at(b)
        weighted = w * adjusted
        below = float(weighted @ u)
        return float(weighted @ v) / below if below else math.nan

    def line(self, b: float, *, scaled: bool) -> FittedLine:
        w, mx, my, u, v, adjusted = self._at(b)
        total = float(w.sum())
        middle = float(w @ adjusted) / total
        apart = adjusted - middle
        chi2 = float(w @ (v - b * u) ** 2)
        scatter = chi2 / (self.n - 2)
        scale = scatter if scaled else 1.0
        variance_b = scale / float(w @ apart**2)
        x_mean = self.x0 + mx + middle
        return FittedLine(
            a=(self.y0 + my) - b * (self.x0 + mx),
            u_a=math.sqrt(scale / total + x_mean**2 * variance_b),
            b=b,
            u_b=math.sqrt(variance_b),
            covariance=-x_mean * variance_b,
            residual_sd=math.sqrt(scatter),
            chi2=chi2,
            dof=self.n - 2,
            n=self.n,
        )
