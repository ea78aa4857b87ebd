"""Judging: the only maker of outcomes. Decided in decimals on what is shown, rounded once."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal
from statistics import NormalDist

from wqverify.calculations.uncertainty import round_to
from wqverify.terms import Check, Outcome, Place, Quantity, Tolerance

_NORMAL = NormalDist()


def judge(
    key: str,
    stage: str,
    label: str,
    quantity: Quantity,
    tolerance: Tolerance | None,
    *,
    place: Place = "analyzer",
    observed: str = "",
    reference: str = "",
    counts: bool = True,
    exact: Decimal | None = None,
) -> Check:
    """Return the check of a quantity against its tolerance, by the rule that belongs to the tolerance.

    Equation: *as the method states* and *simple*: pass where low <= e <= high, else fail. *guarded*: e is
    rounded half to even at the second figure of U, then pass where low + U <= e <= high - U, fail where e <
    low - U or e > high + U, else too close to decide; where U reaches half the width of the tolerance it
    never passes. Bounds are taken at ``reference`` (as typed, in the unit of the tolerance) and are
    inclusive. ``exact`` is e before its text was fixed (a quotient has no end), in the unit of the quantity:
    guarded rounds that, so that it rounds once; the other rules judge the text. Not evaluated, with the
    reason: no tolerance, one without limits or in another unit, one in percent without a reference, guarded
    without U. Source: rules of this project after JCGM 106:2012, 8.2 and 8.3, and ILAC-G8:09/2019.

    >>> from wqverify.terms import Tolerance
    >>> t = Tolerance(unit="pH", rule="simple", basis="local", source="EP-12", low=Decimal("-0.05"),
    ...               high=Decimal("0.05"))
    >>> judge("e", "as_found", "Error in 7.00", Quantity("0.05", "pH", 0.05), t).outcome.value
    'pass'
    """
    low, high = (None, None) if tolerance is None else _bounds(tolerance, reference)
    reason = _why_not(label, quantity, tolerance, low, high, reference)
    if tolerance is None or reason:
        outcome = Outcome.NOT_EVALUATED
    elif tolerance.rule == "guarded":
        unrounded = quantity.decimal if exact is None else exact
        quantity = replace(quantity, text=round_to(unrounded, quantity.expanded))
        outcome, reason = _guarded(quantity, low, high)
    else:
        outcome = _compared(quantity.decimal, low, high)
    return Check(
        key,
        stage,
        label,
        outcome,
        place=place,
        observed=observed,
        reference=reference,
        quantity=quantity,
        tolerance=tolerance,
        low=_text(low),
        high=_text(high),
        share=_share(quantity, low, high),
        reason=reason,
        counts=counts,
    )


def _bounds(tolerance: Tolerance, reference: str) -> tuple[Decimal | None, Decimal | None]:
    if tolerance.percent is not None and not reference:
        return None, None
    return tolerance.at(Decimal(reference) if reference else Decimal(0))


def _why_not(
    label: str,
    quantity: Quantity,
    tolerance: Tolerance | None,
    low: Decimal | None,
    high: Decimal | None,
    reference: str,
) -> str:
    """Why a quantity cannot be judged; empty where it can."""
    if tolerance is None:
        return f"the register holds no tolerance for this ({label})"
    if tolerance.percent is not None and not reference:
        return "the tolerance is in percent of a reference value, and there is none"
    if low is None and high is None:
        return "the tolerance in the register has neither a low nor a high limit"
    if quantity.unit != tolerance.unit:
        return f"the result is in {quantity.unit} and the tolerance in {tolerance.unit}"
    if tolerance.rule == "guarded" and not (quantity.expanded and Decimal(quantity.expanded)):
        return "the rule is guarded and no uncertainty was found"
    return ""


def _compared(value: Decimal, low: Decimal | None, high: Decimal | None) -> Outcome:
    inside = (low is None or value >= low) and (high is None or value <= high)
    return Outcome.PASS if inside else Outcome.FAIL


def _guarded(quantity: Quantity, low: Decimal | None, high: Decimal | None) -> tuple[Outcome, str]:
    e, guard = quantity.decimal, Decimal(quantity.expanded)
    inside = [(high - e, high)] if high is not None else []
    inside += [(e - low, low)] if low is not None else []
    room, limit = min(inside)  # to the nearer limit; negative beyond it
    half = (high - low) / 2 if low is not None and high is not None else None
    if room < -guard:
        return Outcome.FAIL, ""
    if half is not None and guard >= half:
        return Outcome.TOO_CLOSE, (
            f"U {quantity.expanded} against a tolerance of {half:f}: this comparison cannot decide"
        )
    if room >= guard:
        return Outcome.PASS, ""
    return Outcome.TOO_CLOSE, (
        f"{quantity.text} is within U {quantity.expanded} of the limit {limit:f}: the true value may lie on "
        f"either side"
    )


def _share(quantity: Quantity, low: Decimal | None, high: Decimal | None) -> str:
    if not quantity.expanded or low is None or high is None or high == low:
        return ""
    return f"{Decimal(quantity.expanded) / ((high - low) / 2):.2f}"


def _text(bound: Decimal | None) -> str:
    return "" if bound is None else f"{bound:f}"


def not_evaluated(
    key: str,
    stage: str,
    label: str,
    reason: str,
    *,
    place: Place = "analyzer",
    observed: str = "",
    reference: str = "",
    quantity: Quantity | None = None,
    tolerance: Tolerance | None = None,
    counts: bool = True,
    information: bool = False,
) -> Check:
    """Return a check that could not be judged, with its reason.

    ``information`` marks a quantity that is shown without a statement of conformity. Raises ValueError
    without a reason. Source: design of this project; practice after ISO/IEC 17025:2017, 7.8.6.

    >>> not_evaluated("slope", "as_found", "Slope", "one buffer only").outcome.value
    'not evaluated'
    """
    if not reason.strip():
        raise ValueError(f"{key} is not evaluated without a reason")
    return Check(
        key,
        stage,
        label,
        Outcome.NOT_EVALUATED,
        place=place,
        observed=observed,
        reference=reference,
        quantity=quantity,
        tolerance=tolerance,
        reason=reason,
        counts=counts,
        information=information,
    )


# ---------------------------------------------------------------- probabilities and risks


def conformance_probability(y: float, u: float, low: float | None = None, high: float | None = None) -> float:
    """Return the probability that a value lies within its limits, given a normal measurement result.

    Equation: Phi((T_U - y)/u) - Phi((T_L - y)/u). All in one unit, u > 0. Raises ValueError without a limit
    or with u <= 0. Source: JCGM 106:2012, 7.2 and 7.4.

    >>> round(conformance_probability(0.27, 0.02, high=0.30), 4)
    0.9332
    """
    if u <= 0 or (low is None and high is None):
        raise ValueError("a conformance probability needs a limit and an uncertainty above 0")
    above = 1.0 if high is None else _NORMAL.cdf((high - y) / u)
    below = 0.0 if low is None else _NORMAL.cdf((low - y) / u)
    return above - below


def guard_band(expanded: float, factor: float = 1.0) -> float:
    """Return the width of a guard band.

    Equation: w = r U. U in any unit, factor r from 0. Source: JCGM 106:2012, 8.3.2; ILAC-G8:09/2019.

    >>> guard_band(0.04)
    0.04
    """
    return factor * expanded


def acceptance_limit(limit: float, guard: float) -> float:
    """Return the upper acceptance limit inside an upper tolerance limit.

    Equation: A_U = T_U - w, both in one unit. Source: JCGM 106:2012, 8.3.2.

    >>> round(acceptance_limit(0.10, 0.04), 9)
    0.06
    """
    return limit - guard


def risk_at_acceptance(guard: float, u: float) -> float:
    """Return the risk of a wrong pass for a result exactly at the acceptance limit.

    Equation: 1 - Phi(w/u); 50 % without a guard band. Both in one unit, u > 0. Source: JCGM 106:2012, 8.3.

    >>> round(risk_at_acceptance(2.0, 1.0), 5)
    0.02275
    """
    return 1 - _NORMAL.cdf(guard / u)


def expected_share(expanded: Decimal, half_width: Decimal) -> Decimal:
    """Return the share of a tolerance that is too close to decide under a guarded rule.

    Equation: min(1, U/T). Both in one unit, T > 0. Source: geometry of the guarded rule.

    >>> expected_share(Decimal("0.019"), Decimal("0.10"))
    Decimal('0.19')
    """
    return min(Decimal(1), expanded / half_width)


def en_number(x: float, expanded: float, reference: float, reference_expanded: float) -> float:
    """Return the E_n number of a comparison; |E_n| <= 1 is agreement.

    Equation: E_n = (x - X)/sqrt(U_x^2 + U_X^2), one unit. Source: ISO 13528:2022 and ISO/IEC 17043 (from
    memory).

    >>> round(en_number(10.03, 0.04, 10.00, 0.02), 4)
    0.6708
    """
    return (x - reference) / math.hypot(expanded, reference_expanded)


def zeta(x: float, u: float, reference: float, reference_u: float) -> float:
    """Return the zeta score of a comparison; up to 2 is good, from 3 bad.

    Equation: zeta = (x - X)/sqrt(u_x^2 + u_X^2), one unit. Source: ISO 13528:2022 (from memory).

    >>> round(zeta(10.03, 0.02, 10.00, 0.01), 3)
    1.342
    """
    return (x - reference) / math.hypot(u, reference_u)
