"""Published values of budgets, lines and comparisons: how each is computed here."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from wqverify.calculations import comparison, judgement
from wqverify.calculations.line_fit import fit_line, inverse, predict
from wqverify.calculations.uncertainty import coverage_factor, propagate
from wqverify.proofs.water import Computed
from wqverify.terms import Input

_ROOT3 = math.sqrt(3)

# JCGM 100:2008, H.1; lengths in nm, temperatures in C
_END_GAUGE = {
    "standard": Input(50000623.0, 25.0, dof=18),
    "difference observed": Input(215.0, 5.8, dof=24),
    "comparator random": Input(0.0, 3.9, dof=5),
    "comparator systematic": Input(0.0, 6.7, dof=8),
    "expansion": Input(11.5e-6, 2e-6 / _ROOT3),
    "difference of expansion": Input(0.0, 1e-6 / _ROOT3, dof=50),
    "mean temperature": Input(-0.1, 0.2),
    "cycle of temperature": Input(0.0, 0.5 / math.sqrt(2)),
    "difference of temperature": Input(0.0, 0.05 / _ROOT3, dof=2),
}

# EURACHEM/CITAC CG 4 (2012), A1; mg, mL
_CADMIUM = {
    "purity": Input(0.9999, 0.0001 / _ROOT3),
    "mass": Input(100.28, 0.05),
    "flask": Input(100.0, 0.1 / math.sqrt(6)),
    "filling": Input(0.0, 0.02),
    "temperature": Input(0.0, 0.084 / _ROOT3),
}

# JCGM 100:2008, table H.6: reading of a thermometer in C, its correction in C
_THERMOMETER = (
    (21.521, -0.171), (22.012, -0.169), (22.512, -0.166), (23.003, -0.159), (23.507, -0.164),
    (23.999, -0.165), (24.513, -0.156), (25.002, -0.157), (25.503, -0.159), (26.010, -0.161),
    (26.511, -0.160),
)  # fmt: skip

# NIST StRD linear regression, data set Norris (ozone monitors): x, y
_NORRIS = (
    (0.2, 0.1), (337.4, 338.8), (118.2, 118.1), (884.6, 888.0), (10.1, 9.2), (226.5, 228.1),
    (666.3, 668.5), (996.3, 998.5), (448.6, 449.1), (777.0, 778.9), (558.2, 559.2), (0.4, 0.3),
    (0.6, 0.1), (775.5, 778.1), (666.9, 668.8), (338.0, 339.3), (447.5, 448.9), (11.6, 10.8),
    (556.0, 557.7), (228.1, 228.3), (995.8, 998.0), (887.6, 888.8), (120.2, 119.6), (0.3, 0.3),
    (0.3, 0.6), (556.8, 557.6), (339.1, 339.3), (887.2, 888.0), (999.0, 998.5), (779.0, 778.9),
    (11.1, 10.2), (118.3, 117.6), (229.2, 228.9), (669.1, 668.4), (448.9, 449.2), (0.5, 0.2),
)  # fmt: skip

# Bland and Altman, Lancet 1986 i:307-310, table 1, first reading of each meter, L/min
_LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
_MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]

# York 1966: Pearson's data with York's weights: x, weight of x, y, weight of y
_YORK = (
    (0.0, 1000, 5.9, 1), (0.9, 1000, 5.4, 1.8), (1.8, 500, 4.4, 4), (2.6, 800, 4.6, 8), (3.3, 200, 3.5, 20),
    (4.4, 80, 3.7, 20), (5.2, 60, 2.8, 70), (6.1, 20, 2.8, 70), (6.5, 1.8, 2.4, 100), (7.4, 1, 1.5, 500),
)  # fmt: skip


def _gauge(x: Mapping[str, Any]) -> dict[str, Any]:
    difference = x["difference observed"] + x["comparator random"] + x["comparator systematic"]
    theta = x["mean temperature"] + x["cycle of temperature"]
    expansion = x["difference of expansion"] * theta + x["expansion"] * x["difference of temperature"]
    return {"length": x["standard"] + difference - x["standard"] * expansion}


def end_gauge() -> dict[str, Any]:
    found = propagate(_gauge, _END_GAUGE, {"length": "nm"})["length"]
    t99 = coverage_factor(found.dof, 0.99)
    return {
        "length": found.value * 1e-6,
        "u": found.u,
        "u unrounded": found.u,
        "dof": found.dof,
        "t99": t99,
        "U99 unrounded": t99 * (found.u or math.nan),
    }


def _standard(x: Mapping[str, Any]) -> dict[str, Any]:
    volume = x["flask"] + x["filling"] + x["temperature"]
    return {"concentration": 1000 * x["mass"] * x["purity"] / volume}


def cadmium() -> dict[str, Any]:
    found = propagate(_standard, _CADMIUM, {"concentration": "mg/L"})["concentration"]
    return {"concentration": found.value, "u unrounded": found.u}


def thermometer() -> dict[str, Any]:
    line = fit_line([t - 20 for t, _b in _THERMOMETER], [b for _t, b in _THERMOMETER])
    b30, u = predict(line, 10.0)
    return {
        "y1": line.a,
        "u y1": line.u_a,
        "y2": line.b,
        "u y2": line.u_b,
        "r": line.correlation,
        "b30": b30,
        "u b30": u,
    }


def weighted_line() -> dict[str, Any]:
    line = fit_line([1, 2, 3, 4, 5, 6], [3.3, 5.6, 7.1, 9.3, 10.7, 12.1], [0.5] * 6)
    found, u = inverse(line, 10.5, 0.5)
    return {"a": line.a, "b": line.b, "inverse": found, "u inverse": u}


def conformity() -> dict[str, Any]:
    return {"probability": judgement.conformance_probability(0.27, 0.02, high=0.30)}


def guard_band() -> dict[str, Any]:
    guard = judgement.guard_band(0.04)
    risk = judgement.risk_at_acceptance(guard, 0.02)
    return {"acceptance limit": judgement.acceptance_limit(0.10, guard), "risk at w = U": risk}


def scores() -> dict[str, Any]:
    return {"en number": judgement.en_number(10.03, 0.04, 10.00, 0.02)}


def bland_altman() -> dict[str, Any]:
    found = comparison.limits_of_agreement(_MINI, _LARGE)
    return {"bias": found.bias, "sd": found.sd}


def norris() -> dict[str, Any]:
    x, y = zip(*_NORRIS, strict=True)
    line = fit_line(x, y)
    return {"b": line.b, "u b": line.u_b, "a": line.a, "u a": line.u_a, "residual sd": line.residual_sd}


def york() -> dict[str, Any]:
    from wqverify.calculations.errors_in_both import errors_in_both

    x, w_x, y, w_y = zip(*_YORK, strict=True)
    line = errors_in_both(x, y, [w**-0.5 for w in w_x], [w**-0.5 for w in w_y])
    return {"a": line.a, "b": line.b}


STATISTICS: Final[Mapping[str, Computed]] = {
    "A25": end_gauge,
    "A26": thermometer,
    "A27": cadmium,
    "A28": weighted_line,
    "A29": conformity,
    "A30": guard_band,
    "A31": scores,
    "A32": bland_altman,
    "A33": norris,
    "A34": york,
}
