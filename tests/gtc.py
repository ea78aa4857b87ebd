"""The same model by GTC, the reference library: values, uncertainties, degrees of freedom, correlation."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import GTC
import pytest

from wqverify.calculations.uncertainty import correlation, propagate
from wqverify.terms import Input, Quantity


def by_gtc(
    model: Callable[[Mapping[str, Any]], Mapping[str, Any]], inputs: Mapping[str, Input]
) -> dict[str, Any]:
    return dict(
        model({c: GTC.ureal(i.value, i.u, math.inf if i.dof is None else i.dof) for c, i in inputs.items()})
    )


def same_as_gtc(
    model: Callable[..., Mapping[str, Any]],
    inputs: Mapping[str, Input],
    other: Callable[..., Mapping[str, Any]] | None = None,
) -> dict[str, Quantity]:
    """Assert that propagate gives what GTC gives (1e-9), correlations and contributions too; return it.

    ``other`` is the model as GTC needs it, where it uses functions that know only floats and dual numbers.
    """
    theirs = by_gtc(other or model, inputs)
    ours = propagate(model, inputs, dict.fromkeys(theirs, "1"))
    for name, expected in theirs.items():
        got = ours[name]
        assert got.value == pytest.approx(expected.x, rel=1e-9, abs=1e-12), name
        assert got.u == pytest.approx(expected.u, rel=1e-9), name
        many = math.isinf(expected.df) or expected.df >= 1e6
        assert got.dof == (None if many else math.floor(expected.df + 1e-6)), name
        for another in theirs:
            r = correlation(got, ours[another])
            assert r == pytest.approx(GTC.get_correlation(expected, theirs[another]), rel=1e-9, abs=1e-9)
    return ours


def same_as_central_difference(
    model: Callable[..., Mapping[str, Any]], inputs: Mapping[str, Input], quantities: Mapping[str, Quantity]
) -> None:
    """Assert each sensitivity against one central difference over a hundredth of u."""
    at = {cause: i.value for cause, i in inputs.items()}
    for name, quantity in quantities.items():
        lines = {line.cause: line for line in quantity.budget}
        for cause, i in inputs.items():
            h = i.u / 100 or 1e-6
            up, down = (model({**at, cause: i.value + step})[name] for step in (h, -h))
            got = lines[cause].sensitivity if cause in lines else 0.0
            noise = 1e-13 * (1 + abs(quantity.value)) / h
            assert got == pytest.approx((up - down) / (2 * h), rel=1e-5, abs=1e-9 + noise), (name, cause)
