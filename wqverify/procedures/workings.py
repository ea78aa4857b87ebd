"""Hand calculations that every procedure writes out in the same way."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from math import sqrt

from wqverify.calculations.uncertainty import round_to, round_up
from wqverify.terms import Quantity, Working

GUM = "JCGM 100:2008 (GUM)"


def expanded_working(label: str, found: Quantity) -> Working:
    """Return one U written out; every other one goes the same way.

    The contributions are put in with as many figures as it takes to end, rounded up, in the U shown.
    """
    assert found.k is not None
    put_in = by_figures = ""
    for figures in range(3, 16):
        k, *parts = (_figures(size, figures) for size in (found.k, *(x.contribution for x in found.budget)))
        by_hand = float(k) * sqrt(sum(float(part) ** 2 for part in parts))
        by_figures = _figures(by_hand, figures + 1)
        put_in = f"{k} × √({' + '.join(f'{part}²' for part in parts)})"
        if round_up(by_hand) == round_up(float(by_figures)) == found.expanded:
            break
    return Working(
        label,
        "U = k √(c1² + c2² + …), c what each cause contributes in the budget",
        put_in,
        f"{by_figures} {found.unit}, rounded up {found.expanded} {found.unit}",
        f"{GUM}, 5.1.2, 6.2.1",
    )


def _figures(size: float, figures: int) -> str:
    exact = Decimal(repr(size))
    return f"{exact.quantize(Decimal(1).scaleb(exact.adjusted() - figures + 1)):f}" if exact else "0"


def answer(exact: str, unit: str, shown: str) -> str:
    """Return an answer; where the rule rounds before it judges, both."""
    return f"{exact} {unit}" if shown in ("", exact) else f"{exact} {unit}, judged as {shown} {unit}"


def as_sure(found: Quantity) -> Quantity:
    """Return a quantity that is shown and not judged with no more figures than its U supports.

    >>> as_sure(Quantity("0.105382", "1/cm", 0.105382, 0.0008, None, 2.0, "0.0016")).text
    '0.1054'
    """
    if not found.expanded or not Decimal(found.expanded):
        return found
    shorter = round_to(found.decimal, found.expanded)
    return replace(found, text=shorter) if len(shorter) < len(found.text) else found


def answer_shown(found: Quantity) -> str:
    """Return the answer of a calculation whose value is shown as sure as it is."""
    shown = as_sure(found).text
    whole = f"{found.text} {found.unit}"
    return whole if shown == found.text else f"{whole}, shown as {shown} {found.unit}"


def signed(value: Decimal) -> str:
    """Return a number as it is put into a formula: a negative one stands in brackets."""
    return f"{value:f}" if value >= 0 else f"(−{-value:f})"


def plain(value: Decimal) -> str:
    """A number without needless zeros; what has no end is cut to eight figures.

    >>> plain(Decimal("2.00")), plain(Decimal("120"))
    ('2', '120')
    """
    short = value if len(value.as_tuple().digits) <= 8 else Decimal(f"{value:.8g}")
    return f"{short.normalize():f}"
