"""What is put into a turbidity budget: a standard of 0 is one of 0, not one without a value."""

from __future__ import annotations

from decimal import Decimal

import pytest

from wqverify.procedures.turbidity_inputs import Measured, TurbidityInputs
from wqverify.procedures.turbidity_parts import Step
from wqverify.terms import Standard


def bottle(name: str, value: str | None) -> Standard:
    worth = None if value is None else Decimal(value)
    return Standard(name, "formazin", name, "1", "NTU", value=worth, expanded=Decimal("0.01"), k=Decimal(2))


@pytest.mark.parametrize(
    ("value", "exact", "made"),
    [("0.00", "0.045", 0.045), ("0", "0.045", 0.045), ("4.00", "0.445", 0.445), (None, "0.045", 0.0495)],
)
def test_a_dilution_begins_with_the_value_of_its_bottle(value: str | None, exact: str, made: float) -> None:
    """10 mL made up to 100 mL with water of 0.05 NTU; without a value what it is worth here begins."""
    step = Step.model_validate({"pipetted_ml": "10", "to_ml": "100"})
    point = Measured(
        "as_found", "as_found.points.0", "S", "primary", bottle("S", value), Decimal(exact), (), Decimal(0),
        steps=(step,), water=bottle("W", "0.05"),
    )  # fmt: skip
    inputs = TurbidityInputs({})
    model = inputs.value(point)
    assert model({cause: one.value for cause, one in inputs.items()}) == pytest.approx(made, abs=1e-12)
