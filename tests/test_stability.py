"""Readings that hold still: the range of the last ones, inclusive and in decimals."""

from __future__ import annotations

from decimal import Decimal

import pytest

from wqverify.calculations import stability
from wqverify.errors import CorrectTheEntry


def readings(*texts: str) -> list[Decimal]:
    return [Decimal(text) for text in texts]


def test_w51_stability_is_the_range_of_the_last_three() -> None:
    """USGS National Field Manual A6, 6.4: three readings within the limit, here 0.05, 3 minutes apart."""
    assert stability.is_stable(readings("7.20", "7.23", "7.24"), Decimal("0.05"))
    assert not stability.is_stable(readings("7.10", "7.18", "7.24"), Decimal("0.05"))


@pytest.mark.parametrize(
    ("last", "stable"), [("7.23", True), ("7.24", True), ("7.25", True), ("7.26", False), ("7.15", True)]
)
def test_stability_is_inclusive_and_in_decimals(last: str, stable: bool) -> None:
    assert stability.is_stable(readings("9.99", "7.20", "7.20", last), Decimal("0.05")) is stable


def test_stability_of_too_few_readings_is_refused() -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        stability.is_stable(readings("7.20", "7.20"), Decimal("0.05"))
    assert caught.value.message == "2 readings cannot show that it holds still; 3 are needed."
    assert stability.range_of_last(readings("7.20", "7.26"), 2) == Decimal("0.06")
