"""How each value of others about intervals, charts, risks and errors in time is computed here."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from statistics import NormalDist
from typing import Any, Final

from wqverify.calculations.drift import LevelModel, Model, Point, Stage, TimeModel, corrected_value
from wqverify.calculations.turbidity_rule import percent_text
from wqverify.proofs.water import Computed

_DAY = 86_400
# NIST/SEMATECH e-Handbook 6.3.2.4, 20 values
_EWMA = (
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
)


def share_of_a_month() -> dict[str, Any]:
    return {
        "9 of 180 above": percent_text(171, 180, Decimal(95)),
        "10 above": percent_text(170, 180, Decimal(95)),
    }


def recount() -> dict[str, Any]:
    least = Decimal(95)
    return {"as recorded": percent_text(177, 180, least), "corrected": percent_text(169, 180, least)}


def exponential() -> dict[str, Any]:
    from wqverify.calculations.interval import reliability_interval

    return {"0.85 at 12": reliability_interval(12, 0.85), "0.90 at 6": reliability_interval(6, 0.90)}


def ewma_chart() -> dict[str, Any]:
    from wqverify.calculations.control_chart import ewma

    found = ewma(_EWMA, 50, 2.0539, weight=0.3, width=3)
    return {
        "z20": found.z[-1],
        "steady high": found.steady_high,
        "high 1": found.high[0],
        "high 2": found.high[1],
    }


def binomial_interval() -> dict[str, Any]:
    from wqverify.calculations.interval import clopper_pearson

    low, high = clopper_pearson(18, 20, 0.95)
    return {"low": low, "high": high}


def _after(days: int, error: str, day: float, reading: str, time_model: TimeModel = "linear") -> float:
    """A reading without the error that had grown from 0 to its whole size by a day."""
    level: LevelModel = "offset"
    model = Model(time_model, 0, days * _DAY, (Stage(level, (Point(Decimal(0), Decimal(error)),)),))
    return float(corrected_value(model, round(day * _DAY), Decimal(reading)))


def additive_drift() -> dict[str, Any]:
    return {"estimate": _after(30, "0.06", 10, "0.31")}


def linear_in_time() -> dict[str, Any]:
    return {"day 5.25": _after(14, "-0.28", 5.25, "7.40")}  # the error is what is added, with the other sign


def chlorine_high() -> dict[str, Any]:
    found = {"day 10": _after(30, "0.10", 10, "0.28"), "day 20": _after(30, "0.10", 20, "0.25")}
    worst = _after(30, "0.10", 20, "0.25", "worst case")
    return {**found, "day 20 at worst": worst}


def interval_method() -> dict[str, Any]:
    from wqverify.calculations.interval import interval_test

    found = interval_test(15, 20, 365, 0.95)
    low, high = found.plausible
    return {"days": found.days, "q": found.q, "plausible low": low, "plausible high": high}


def two_methods() -> dict[str, Any]:
    from wqverify.calculations.interval import reliability_interval

    return {"days": reliability_interval(365, 0.75)}


def false_accepts() -> dict[str, Any]:
    from wqverify.calculations.decision_risk import false_accept

    found = {}
    for history in ("0.6", "0.7", "0.8", "0.9", "0.95", "0.99"):
        z = NormalDist().inv_cdf((1 + float(history)) / 2)  # T in standard deviations of the process
        found[f"history {history}"] = 100 * false_accept(float(history), 2 * z)
    return found


def guard_band() -> dict[str, Any]:
    from wqverify.calculations.decision_risk import guard_band_method_6

    return {"TUR 2": guard_band_method_6(2), "TUR 1.5": guard_band_method_6(1.5)}


DECISIONS: Final[Mapping[str, Computed]] = {
    "A11": share_of_a_month,
    "A35": exponential,
    "A37": ewma_chart,
    "A39": binomial_interval,
    "A40": additive_drift,
    "W04": linear_in_time,
    "W18": recount,
    "W39": chlorine_high,
    "W41": interval_method,
    "W43": two_methods,
    "W47": false_accepts,
    "W49": guard_band,
}
