"""Judging: four tests around each limit (inside, at, outside, missing) for each rule; what is refused."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from printed import agrees

from wqverify.calculations.judgement import (
    acceptance_limit,
    conformance_probability,
    en_number,
    expected_share,
    guard_band,
    judge,
    not_evaluated,
    risk_at_acceptance,
    zeta,
)
from wqverify.terms import Check, Outcome, Quantity, Rule, Tolerance

PASS, FAIL, CLOSE, NOT = Outcome.PASS, Outcome.FAIL, Outcome.TOO_CLOSE, Outcome.NOT_EVALUATED
COMPARING: tuple[Rule, ...] = ("as the method states", "simple")


def tolerance(
    low: str | None,
    high: str | None,
    rule: Rule = "simple",
    percent: str | None = None,
    larger_of: bool = False,
    unit: str = "pH",
) -> Tolerance:
    def number(text: str | None) -> Decimal | None:
        return None if text is None else Decimal(text)

    return Tolerance(
        unit, rule, "local", "EP-12", number(low), number(high), number(percent), larger_of=larger_of
    )


def judged(
    e: str, limits: Tolerance | None, expanded: str = "", reference: str = "", unit: str = "pH"
) -> Check:
    quantity = Quantity(e, unit, float(e), expanded=expanded)
    return judge("e", "as_found", "Error in 7.00", quantity, limits, reference=reference)


# ---------------------------------------------------------------- pass or fail on the exact difference


@pytest.mark.parametrize("rule", COMPARING)
@pytest.mark.parametrize(
    ("e", "outcome"),
    [
        ("0.0499", PASS),
        ("0.05", PASS),
        ("0.0500", PASS),
        ("0.0501", FAIL),
        ("-0.0499", PASS),
        ("-0.05", PASS),
        ("-0.0501", FAIL),
        ("0", PASS),
    ],
)
def test_a_two_sided_tolerance_is_inclusive(rule: Rule, e: str, outcome: Outcome) -> None:
    found = judged(e, tolerance("-0.05", "0.05", rule), expanded="0.019")
    assert (found.outcome, found.reason) == (outcome, "")
    assert found.quantity is not None
    assert found.quantity.text == e  # exact as typed, not rounded where U is not judged


@pytest.mark.parametrize("rule", COMPARING)
@pytest.mark.parametrize(
    ("low", "high", "e", "outcome"),
    [
        (None, "0.05", "0.0499", PASS),
        (None, "0.05", "0.05", PASS),
        (None, "0.05", "0.0501", FAIL),
        (None, "0.05", "-9", PASS),
        ("95", None, "95.01", PASS),
        ("95", None, "95", PASS),
        ("95", None, "94.99", FAIL),
        ("95", None, "900", PASS),
        ("-0.02", "0.10", "-0.02", PASS),
        ("-0.02", "0.10", "-0.03", FAIL),
        ("-0.02", "0.10", "0.10", PASS),
        ("-0.02", "0.10", "0.11", FAIL),
        ("95", "105", "100.356", PASS),  # an interval that does not hold 0
    ],
)
def test_one_sided_and_lopsided_tolerances(
    rule: Rule, low: str | None, high: str | None, e: str, outcome: Outcome
) -> None:
    found = judged(e, tolerance(low, high, rule))
    assert found.outcome == outcome
    assert (found.low, found.high) == (low or "", high or "")


@pytest.mark.parametrize(
    ("displayed", "reference", "outcome"),
    [("7.05", "7.00", PASS), ("10.05", "10.00", PASS), ("7.06", "7.00", FAIL), ("6.95", "7.00", PASS)],
)
def test_differences_are_decided_in_decimals(displayed: str, reference: str, outcome: Outcome) -> None:
    e = Decimal(displayed) - Decimal(reference)
    assert judged(str(e), tolerance("-0.05", "0.05"), reference=reference).outcome == outcome


@pytest.mark.parametrize(
    ("online", "grab", "outcome"),
    [
        ("1.14", "1.00", PASS),
        ("1.16", "1.00", FAIL),
        ("0.49", "0.40", PASS),
        ("0.92", "0.80", PASS),  # 15 % exactly: binary floats say fail
        ("0.93", "0.80", FAIL),
        ("0.60", "0.71", FAIL),
        ("0.30", "0.20", PASS),  # 0.1 mg/L exactly
        ("0.31", "0.20", FAIL),
        ("0.77", "0.67", PASS),  # around 0.667, where the two limits meet
        ("3.40", "4.00", PASS),
        ("3.39", "4.00", FAIL),
    ],
)
def test_the_larger_of_a_tenth_and_fifteen_percent_of_the_grab(
    online: str, grab: str, outcome: Outcome
) -> None:
    """EPA method 334.0 (September 2009): within 0.1 mg/L or 15 % of the grab, whichever is larger."""
    limits = tolerance("-0.1", "0.1", "as the method states", "15", True, "mg/L")
    e = Decimal(online) - Decimal(grab)
    assert judged(str(e), limits, "0.060", grab, "mg/L").outcome == outcome


def test_a_percent_tolerance_counts_from_its_reference() -> None:
    limits = tolerance(None, None, percent="10", unit="NTU")
    for e, outcome in (("1.99", PASS), ("2.00", PASS), ("2.01", FAIL)):
        found = judged(e, limits, reference="20.0", unit="NTU")
        assert (found.outcome, found.low, found.high) == (outcome, "-2.0", "2.0")


# ---------------------------------------------------------------- guarded


GUARDED = tolerance("-0.05", "0.05", "guarded")


@pytest.mark.parametrize(
    ("e", "text", "outcome"),
    [
        ("0.0314", "0.031", PASS),
        ("0.0315", "0.032", CLOSE),  # half to even
        ("0.0316", "0.032", CLOSE),
        ("0.0694", "0.069", CLOSE),
        ("0.0696", "0.070", FAIL),
        ("-0.0314", "-0.031", PASS),
        ("-0.0316", "-0.032", CLOSE),
        ("-0.0694", "-0.069", CLOSE),
        ("-0.0696", "-0.070", FAIL),
    ],
)
def test_v02_guarded_rounds_once_and_then_compares(e: str, text: str, outcome: Outcome) -> None:
    """T 0.05, U 0.019: pass up to 0.031, fail from above 0.069, too close to decide between."""
    found = judged(e, GUARDED, "0.019")
    assert found.outcome == outcome
    assert found.quantity is not None
    assert found.quantity.text == text  # what is judged is what is shown
    assert found.share == "0.38"
    simple = {"0.0336": PASS, "0.05": PASS, "0.0501": FAIL}
    assert {e: judged(e, tolerance("-0.05", "0.05"), "0.019").outcome for e in simple} == simple


def test_guarded_rounds_the_exact_value_and_not_the_text_that_was_fixed_before() -> None:
    """e 0.08146, fixed at 0.0815 for showing; U 0.019: 0.081, which is T - U; from the text it were 0.082."""
    shown = Quantity("0.0815", "pH", 0.08146, expanded="0.019")
    limits, exact = tolerance("-0.100", "0.100", "guarded"), Decimal("0.08146")
    found = judge("e", "as_found", "Error in 7.00", shown, limits, exact=exact)
    assert found.quantity is not None
    assert (found.quantity.text, found.outcome) == ("0.081", PASS)
    twice = judge("e", "as_found", "Error in 7.00", shown, limits)
    assert twice.quantity is not None
    assert (twice.quantity.text, twice.outcome) == ("0.082", CLOSE)
    simple = judge("e", "as_found", "Error", shown, tolerance("-0.0814", "0.0814"), exact=exact)
    assert simple.quantity == shown  # the other rules judge what is shown
    assert simple.outcome == FAIL


@pytest.mark.parametrize(("e", "text"), [("-0.0004", "0.000"), ("-0.0005", "0.000"), ("-0.0006", "-0.001")])
def test_a_judged_zero_has_no_sign(e: str, text: str) -> None:
    found = judged(e, GUARDED, "0.019").quantity
    assert found is not None
    assert found.text == text


@given(
    above=st.integers(-(10**6), 10**6),
    below=st.integers(1, 10**4),
    places=st.integers(2, 4),
    u=st.integers(10, 99),
    t=st.integers(11, 400),
)
def test_guarded_judges_a_quotient_as_fractions_do(
    above: int, below: int, places: int, u: int, t: int
) -> None:
    """Outside value: rational arithmetic, rounded once half to even by Python's fractions."""
    unit = Fraction(1, 10**places)
    e = Fraction(above, below) * unit
    exact = Decimal(above) / Decimal(below) * Decimal(1).scaleb(-places)
    expanded, half = (f"{Decimal(n).scaleb(-places):f}" for n in (u, t))
    shown = Quantity(f"{round(exact, places + 1):f}", "pH", float(e), expanded=expanded)
    found = judge("e", "s", "Error", shown, tolerance(f"-{half}", half, "guarded"), exact=exact)
    once = round(e, places)
    assert found.quantity is not None
    assert Fraction(found.quantity.text) == once
    wanted = FAIL if abs(once) > (t + u) * unit else PASS if abs(once) <= (t - u) * unit and u < t else CLOSE
    assert found.outcome == wanted


@pytest.mark.parametrize(
    ("low", "high", "e", "outcome"),
    [
        (None, "0.10", "0.079", PASS),
        (None, "0.10", "0.080", PASS),
        (None, "0.10", "0.081", CLOSE),
        (None, "0.10", "0.100", CLOSE),
        (None, "0.10", "0.120", CLOSE),
        (None, "0.10", "0.121", FAIL),
        ("-0.10", None, "-0.080", PASS),
        ("-0.10", None, "-0.081", CLOSE),
        ("-0.10", None, "-0.120", CLOSE),
        ("-0.10", None, "-0.121", FAIL),
        ("-0.10", None, "5", PASS),
        ("-0.05", "0.10", "-0.030", PASS),
        ("-0.05", "0.10", "-0.031", CLOSE),
        ("-0.05", "0.10", "-0.071", FAIL),
        ("-0.05", "0.10", "0.080", PASS),
        ("-0.05", "0.10", "0.081", CLOSE),
        ("-0.05", "0.10", "0.121", FAIL),
    ],
)
def test_guarded_judges_each_side_by_itself(
    low: str | None, high: str | None, e: str, outcome: Outcome
) -> None:
    found = judged(e, tolerance(low, high, "guarded"), "0.020")
    assert found.outcome == outcome
    assert found.share == ("0.27" if low and high else "")


@pytest.mark.parametrize(
    ("expanded", "e", "outcome"),
    [
        ("0.049", "0.000", PASS),
        ("0.049", "0.001", PASS),
        ("0.049", "0.002", CLOSE),
        ("0.050", "0.000", CLOSE),  # U equal to T can never pass, not even in the middle
        ("0.051", "0.000", CLOSE),
        ("0.051", "0.101", CLOSE),
        ("0.051", "0.102", FAIL),
        ("0.90", "0.00", CLOSE),
    ],
)
def test_u_that_reaches_the_tolerance_never_passes(expanded: str, e: str, outcome: Outcome) -> None:
    assert judged(e, GUARDED, expanded).outcome == outcome


@given(
    e=st.decimals("-0.3", "0.3", places=4),
    u=st.decimals("0.0010", "0.1500", places=4),
    t=st.decimals("0.01", "0.20", places=2),
)
def test_guarded_passes_only_where_simple_passes_and_fails_only_where_it_fails(
    e: Decimal, u: Decimal, t: Decimal
) -> None:
    expanded = f"{u:f}"
    guarded = judged(f"{e:f}", tolerance(f"{-t:f}", f"{t:f}", "guarded"), expanded)
    assert guarded.quantity is not None
    simple = judged(guarded.quantity.text, tolerance(f"{-t:f}", f"{t:f}")).outcome
    assert guarded.outcome in (simple, CLOSE)
    if u >= t:
        assert guarded.outcome != PASS


def test_too_close_says_why_in_words_a_technician_reads() -> None:
    assert judged("0.01", tolerance("-0.030", "0.030", "guarded"), "0.036").reason == (
        "U 0.036 against a tolerance of 0.030: this comparison cannot decide"
    )
    assert judged("0.0316", GUARDED, "0.019").reason == (
        "0.032 is within U 0.019 of the limit 0.05: the true value may lie on either side"
    )
    assert judged("-0.0316", GUARDED, "0.019").reason == (
        "-0.032 is within U 0.019 of the limit -0.05: the true value may lie on either side"
    )
    assert judged("0.0696", GUARDED, "0.019").reason == ""


# ---------------------------------------------------------------- missing


@pytest.mark.parametrize(
    ("limits", "expanded", "reason"),
    [
        (None, "0.019", "the register holds no tolerance for this (Error in 7.00)"),
        (GUARDED, "", "the rule is guarded and no uncertainty was found"),
        (GUARDED, "0", "the rule is guarded and no uncertainty was found"),
        (
            tolerance(None, None),
            "0.019",
            "the tolerance in the register has neither a low nor a high limit",
        ),
        (
            tolerance("-0.1", "0.1", percent="15", larger_of=True),
            "0.019",
            "the tolerance is in percent of a reference value, and there is none",
        ),
        (tolerance("-1", "1", unit="mV"), "0.019", "the result is in pH and the tolerance in mV"),
    ],
)
def test_what_cannot_be_judged_is_not_evaluated_and_says_why(
    limits: Tolerance | None, expanded: str, reason: str
) -> None:
    found = judged("0.00", limits, expanded)
    assert (found.outcome, found.reason) == (NOT, reason)
    assert found.tolerance is limits
    assert found.quantity is not None


def test_a_check_carries_all_it_was_judged_by() -> None:
    quantity = Quantity("0.0336", "pH", 0.0336, 0.0094, None, 2.0, "0.019")
    found = judge(
        "as_found.B7.error",
        "as_found",
        "Error in 7.00",
        quantity,
        GUARDED,
        place="control system",
        observed="7.06",
        reference="7.0264",
        counts=False,
    )
    assert (found.key, found.stage, found.place) == ("as_found.B7.error", "as_found", "control system")
    assert (found.observed, found.reference, found.counts) == ("7.06", "7.0264", False)
    assert (found.low, found.high, found.share) == ("-0.05", "0.05", "0.38")
    assert found.quantity is not None
    assert (found.quantity.value, found.quantity.u, found.quantity.expanded) == (0.0336, 0.0094, "0.019")


def test_not_evaluated_needs_its_reason() -> None:
    found = not_evaluated(
        "slope", "as_found", "Slope", "one buffer only", information=True, counts=False, observed="7.06"
    )
    assert (found.outcome, found.reason, found.information, found.counts) == (
        NOT,
        "one buffer only",
        True,
        False,
    )
    for nothing in ("", "  "):
        with pytest.raises(ValueError, match="slope is not evaluated without a reason"):
            not_evaluated("slope", "as_found", "Slope", nothing)


def test_the_share_is_shown_under_every_rule_with_two_decimals() -> None:
    for rule in (*COMPARING, "guarded"):
        assert judged("0.00", tolerance("-0.10", "0.10", rule), "0.053").share == "0.53"
    assert judged("0.00", tolerance("-0.10", "0.10"), "").share == ""
    assert judged("0.00", tolerance(None, "0.10"), "0.053").share == ""


# ---------------------------------------------------------------- probabilities


def test_a29_conformance_probability() -> None:
    agrees("A29", probability=conformance_probability(0.27, 0.02, high=0.30))
    below = conformance_probability(0.27, 0.02, low=0.30)
    assert below == pytest.approx(1 - conformance_probability(0.27, 0.02, high=0.30), abs=1e-12)
    # both limits two u away: 95.45 %, any table of the normal distribution
    assert conformance_probability(0.0, 0.05, -0.1, 0.1) == pytest.approx(0.9545, abs=5e-5)


def test_a_probability_needs_a_limit_and_an_uncertainty() -> None:
    for u, high in ((0.02, None), (0.0, 0.3), (-0.1, 0.3)):
        with pytest.raises(ValueError, match="needs a limit and an uncertainty above 0"):
            conformance_probability(0.27, u, high=high)


def test_a30_guard_band_and_risk() -> None:
    agrees("A30", acceptance_limit=acceptance_limit(0.10, guard_band(0.04)))
    agrees("A30", **{"risk at w = U": risk_at_acceptance(guard_band(0.04), 0.02)})
    agrees("A30", **{"risk at w = 0.83 U": risk_at_acceptance(guard_band(0.04, 0.83), 0.02)})
    assert risk_at_acceptance(0.0, 0.02) == 0.5


def test_a31_comparison_scores() -> None:
    agrees("A31", en_number=en_number(10.03, 0.04, 10.00, 0.02), zeta=zeta(10.03, 0.02, 10.00, 0.01))
    assert en_number(9.97, 0.04, 10.00, 0.02) < 0


@pytest.mark.parametrize(
    ("u", "t", "share"), [("0.019", "0.10", "0.19"), ("0.10", "0.10", "1"), ("0.2", "0.1", "1")]
)
def test_the_share_too_close_to_decide_is_u_over_t_and_at_most_all(u: str, t: str, share: str) -> None:
    assert expected_share(Decimal(u), Decimal(t)) == Decimal(share)
