"""A straight line through points, with the uncertainties of what is read off it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FittedLine:
    """y = a + b x with standard uncertainties, their covariance, and the scatter about it."""

    a: float
    u_a: float
    b: float
    u_b: float
    covariance: float
    residual_sd: float
    chi2: float
    dof: int
    n: int

    @property
    def correlation(self) -> float:
        """Correlation of intercept and slope; 0 where one of them is known."""
        below = self.u_a * self.u_b
        return self.covariance / below if below else 0.0


def fit_line(x: Sequence[float], y: Sequence[float], u_y: Sequence[float] | None = None) -> FittedLine:
    """Return the least-squares line of y on x.

    Equation: with weights w = 1/u^2, b = sum w (x - mx)(y - my)/sum w (x - mx)^2, a = my - b mx. With ``u_y``
    (standard uncertainties of y) the uncertainties of a and b come from them, unscaled; without, all weights
    are 1 and they are scaled by the residual standard deviation. With ``u_y`` the residual standard deviation
    is in units of u_y (about 1 where they are honest). x and y in their own units, three points or more.
    Raises ValueError for fewer, for unequal lengths, a u_y of 0 or less, and where all x are equal. Source:
    ISO/TS 28037:2010, clause 6 (weighted); JCGM 100:2008, H.3 (unweighted).

    >>> line = fit_line([1, 2, 3, 4], [2.0, 4.0, 6.0, 8.0])
    >>> line.b, abs(line.a) < 1e-12
    (2.0, True)
    """
    n = len(x)
    if n < 3 or len(y) != n or (u_y is not None and len(u_y) != n):
        raise ValueError("a line with uncertainties needs at least three points, x and y alike")
    if u_y is not None and not min(u_y) > 0:
        raise ValueError("the uncertainties of y must be above 0")
    w = [1.0] * n if u_y is None else [1 / u**2 for u in u_y]
    total = math.fsum(w)
    mx = math.fsum(wi * xi for wi, xi in zip(w, x, strict=True)) / total
    my = math.fsum(wi * yi for wi, yi in zip(w, y, strict=True)) / total
    sxx = math.fsum(wi * (xi - mx) ** 2 for wi, xi in zip(w, x, strict=True))
    if not sxx > 0:
        raise ValueError("all x are equal; a line needs two different ones")
    # About the means, so that a large offset of y costs no digits (NIST Norris to 1e-9).
    b = math.fsum(wi * (xi - mx) * (yi - my) for wi, xi, yi in zip(w, x, y, strict=True)) / sxx
    a = my - b * mx
    chi2 = math.fsum(wi * (yi - my - b * (xi - mx)) ** 2 for wi, xi, yi in zip(w, x, y, strict=True))
    scatter = chi2 / (n - 2)
    scale = scatter if u_y is None else 1.0
    return FittedLine(
        a=a,
        u_a=math.sqrt(scale * (1 / total + mx**2 / sxx)),
        b=b,
        u_b=math.sqrt(scale / sxx),
        covariance=-scale * mx / sxx,
        residual_sd=math.sqrt(scatter),
        chi2=chi2,
        dof=n - 2,
        n=n,
    )


def fit_through_zero(x: Sequence[float], y: Sequence[float]) -> FittedLine:
    """Return the least-squares line of y on x that passes through zero.

    Equation: b = sum x y/sum x^2, s^2 = sum (y - b x)^2/(n - 1), u_b = s/sqrt(sum x^2); a and its uncertainty
    are 0 by decision, so that a true offset hides in b. x and y in their own units, two points or more.
    Raises ValueError for fewer, for unequal lengths and where all x are 0. Source: NIST StRD, linear
    regression, data sets NoInt1 and NoInt2.

    >>> line = fit_through_zero([1, 2], [2.0, 4.0])
    >>> line.a, line.b, line.dof
    (0.0, 2.0, 1)
    """
    n = len(x)
    if n < 2 or len(y) != n:
        raise ValueError("a line through zero with an uncertainty needs at least two points, x and y alike")
    sxx = math.fsum(xi * xi for xi in x)
    if not sxx > 0:
        raise ValueError("all x are 0; a line through zero needs another one")
    b = math.fsum(xi * yi for xi, yi in zip(x, y, strict=True)) / sxx
    chi2 = math.fsum((yi - b * xi) ** 2 for xi, yi in zip(x, y, strict=True))
    scatter = chi2 / (n - 1)
    return FittedLine(
        a=0.0,
        u_a=0.0,
        b=b,
        u_b=math.sqrt(scatter / sxx),
        covariance=0.0,
        residual_sd=math.sqrt(scatter),
        chi2=chi2,
        dof=n - 1,
        n=n,
    )


def predict(line: FittedLine, x: float) -> tuple[float, float]:
    """Return y and its standard uncertainty on a fitted line at x.

    Equation: y = a + b x, u^2 = u_a^2 + x^2 u_b^2 + 2 x u(a, b). x in the unit of the fit, y in that of y.
    Source: JCGM 100:2008, H.3.4.

    >>> y, u = predict(fit_line([1, 2, 3, 4], [2.0, 4.0, 6.0, 8.0]), 5.0)
    >>> round(y, 9)
    10.0
    """
    variance = line.u_a**2 + x * x * line.u_b**2 + 2 * x * line.covariance
    return line.a + line.b * x, math.sqrt(max(variance, 0.0))


def inverse(line: FittedLine, y: float, u_y: float) -> tuple[float, float]:
    """Return x and its standard uncertainty for an observed y on a fitted line.

    Equation: x = (y - a)/b, u^2 = (u_y^2 + u_a^2 + x^2 u_b^2 + 2 x u(a, b))/b^2. y and its standard
    uncertainty in the unit of y. Raises ZeroDivisionError for a line without slope. Source: ISO/TS
    28037:2010, 11.

    >>> x, u = inverse(fit_line([1, 2, 3, 4], [2.0, 4.0, 6.0, 8.0]), 10.0, 0.2)
    >>> round(x, 9), round(u, 9)
    (5.0, 0.1)
    """
    x = (y - line.a) / line.b
    variance = u_y**2 + line.u_a**2 + x * x * line.u_b**2 + 2 * x * line.covariance
    return x, math.sqrt(variance) / abs(line.b)
