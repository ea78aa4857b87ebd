"""Whether readings on several standards lie on one straight line, judged by their own scatter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from wqverify.calculations.line_fit import FittedLine, fit_line

SIGNIFICANCE = 0.05


@dataclass(frozen=True, slots=True)
class LackOfFit:
    """The test of a line against repeated readings; F above ``critical`` speaks against the line."""

    line: FittedLine
    F: float
    critical: float
    dof_fit: int
    dof_scatter: int
    residuals: tuple[float, ...]  # mean reading minus line, one per standard
    scatter_sd: float  # of a single reading, from repeated ones

    @property
    def straight(self) -> bool:
        return self.critical >= self.F


def why_no_lack_of_fit(groups: Sequence[Sequence[float]]) -> str:
    """Return why a lack of fit cannot be tested, empty where it can.

    ``groups`` are the readings in each standard, in any one unit. Three standards are needed (two points lie
    on every line), and scatter that shows: at least one standard read more than once with differing readings.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 4.4.4.6.

    >>> why_no_lack_of_fit([[0.1, 0.1], [20.0, 20.1]])
    'two standards lie on every line; three are needed'
    """
    if len(groups) < 3:
        count = {0: "no standard gives", 1: "one standard gives", 2: "two standards lie on"}[len(groups)]
        return f"{count} {'every' if len(groups) == 2 else 'no'} line; three are needed"
    if not sum(len(group) - 1 for group in groups):
        return "no standard was read more than once, so there is no scatter to compare with"
    if not any(max(group) > min(group) for group in groups):
        return "the repeated readings do not differ by a digit, so their scatter is not known"
    return ""


def lack_of_fit(x: Sequence[float], groups: Sequence[Sequence[float]]) -> LackOfFit:
    """Return the lack-of-fit test of a straight line through repeated readings.

    Equation: F = (SS_lof/(m - 2))/(SS_pe/(N - m)), SS_pe = sum of squares of each reading about the mean of
    its standard (pure error), SS_lof = sum n_i (mean_i - line(x_i))^2, m standards, N readings; critical
    F(0.95; m - 2, N - m). ``x`` the values of the standards and ``groups`` the readings in them, in one unit.
    Raises ValueError where ``why_no_lack_of_fit`` says so. Source: NIST/SEMATECH e-Handbook of Statistical
    Methods, 4.4.4.6 and 4.6.1.5 (load cell, F 214.7464, critical 2.15). The uncertainty of the standards is
    no part of it.

    >>> found = lack_of_fit([0.0, 10.0, 20.0], [[0.0, 0.2], [10.0, 10.2], [20.0, 20.2]])
    >>> round(found.F, 9), found.dof_fit, found.dof_scatter, found.straight
    (0.0, 1, 3, True)
    """
    reason = why_no_lack_of_fit(groups)
    if reason:
        raise ValueError(reason)
    from scipy.special import fdtri

    line = fit_line(
        [a for a, group in zip(x, groups, strict=True) for _ in group], [r for g in groups for r in g]
    )
    means = [math.fsum(group) / len(group) for group in groups]
    residuals = tuple(mean - (line.a + line.b * a) for a, mean in zip(x, means, strict=True))
    scatter = math.fsum((r - mean) ** 2 for group, mean in zip(groups, means, strict=True) for r in group)
    fit = math.fsum(len(group) * off**2 for group, off in zip(groups, residuals, strict=True))
    dof_fit, dof_scatter = len(groups) - 2, line.n - len(groups)
    variance = scatter / dof_scatter
    return LackOfFit(
        line=line,
        F=fit / dof_fit / variance,
        critical=float(fdtri(dof_fit, dof_scatter, 1 - SIGNIFICANCE)),
        dof_fit=dof_fit,
        dof_scatter=dof_scatter,
        residuals=residuals,
        scatter_sd=math.sqrt(variance),
    )
