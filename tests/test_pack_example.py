"""The worked example of a pack: which check is chosen, and how its comparison is told at the bounds."""

from __future__ import annotations

from typing import Any

import pytest

from wqverify.pack.example import Example, better, example_blocks, example_in
from wqverify.show.kinds import Statement


def check(value: str, outcome: str = "pass", rule: str = "simple", **more: Any) -> dict[str, Any]:
    quantity = {"text": value, "expanded": "0.02", "unit": "pH"}
    found = {"key": "k", "stage": "as_found", "label": "Error", "place": "analyzer", "counts": True}
    found |= {"observed": "7.05", "reference": "7.00", "quantity": quantity, "outcome": outcome}
    return found | {"low": "-0.10", "high": "0.10", "tolerance": {"rule": rule, "source": "local"}} | more


def working(put_in: str = "7.05 \u2212 7.00", answer: str = "0.05 pH") -> dict[str, str]:
    return {"label": "Error", "formula": "e = R \u2212 B", "put_in": put_in, "answer": answer, "source": ""}


def record(*checks: dict[str, Any], workings: tuple[dict[str, str], ...] = (working(),)) -> dict[str, Any]:
    head = {"number": "L1-2026-0001", "title": "pH", "performed": "2026-05-31T08:05-05:00"}
    return head | {
        "given": {"analyzer": {"tag": "AIT-1"}},
        "result": {"checks": checks, "workings": workings},
    }


def compared(one: dict[str, Any]) -> str:
    """Return the last sentence of an example."""
    found = example_in(record(one))
    assert found is not None
    last = list(example_blocks(found))[-1]
    assert isinstance(last, Statement)
    return last.text


@pytest.mark.parametrize(
    ("value", "outcome", "told"),
    [
        ("0.09", "pass", "inside the upper bound 0.10 by 0.01"),
        ("0.10", "pass", "inside the upper bound 0.10 by 0.00"),  # the bound itself is included
        ("0.11", "fail", "outside the upper bound 0.10 by 0.01"),
        ("-0.09", "pass", "inside the lower bound -0.10 by 0.01"),
        ("-0.10", "pass", "inside the lower bound -0.10 by 0.00"),
        ("-0.11", "fail", "outside the lower bound -0.10 by 0.01"),
    ],
    ids=["just inside", "at", "just outside", "low just inside", "low at", "low just outside"],
)
def test_the_comparison_is_told_at_the_bounds(value: str, outcome: str, told: str) -> None:
    said = compared(check(value, outcome))
    assert told in said
    assert said.endswith(f": {outcome}.")


def test_a_bound_that_is_missing_is_not_compared() -> None:
    said = compared(check("0.05", low=""))
    assert "upper bound" in said
    assert "lower bound" not in said


def test_a_guarded_rule_is_told_with_its_uncertainty() -> None:
    said = compared(check("0.09", "too close to decide", "guarded"))
    assert "inside the upper bound 0.10 by 0.01 (U is 0.02)" in said
    assert "too close to decide in between" in said or "too close to decide between" in said
    assert "U is" not in compared(check("0.05"))


def test_a_check_is_chosen_that_failed_else_the_first() -> None:
    first = example_in(record(check("0.05", label="first"), check("0.06", label="second")))
    failed = example_in(record(check("0.05"), check("0.2", "fail", label="failed")))
    assert first is not None
    assert failed is not None
    assert (first.check["label"], failed.check["label"]) == ("first", "failed")
    assert better(first, failed) is failed
    assert better(failed, first) is failed
    assert better(None, first) is first
    assert better(first, Example("x", "", "", "", check("0.01"), ())) is first


@pytest.mark.parametrize(
    "plain",
    [
        record(),
        record(check("0.05", counts=False)),
        record(check("0.05", observed="")),
        record(check("0.05", reference="")),
        record(check("0.05", low="", high="")),
        record(check("0.05", quantity=None)),
        record(check("0.05"), workings=()),
        record(check("0.05"), workings=(working("7.06 \u2212 7.00"),)),
    ],
    ids=[
        "no check",
        "does not count",
        "not read",
        "no reference",
        "no bounds",
        "no value",
        "not worked",
        "another",
    ],
)
def test_what_cannot_be_followed_is_no_example(plain: dict[str, Any]) -> None:
    assert example_in(plain) is None


def test_how_the_reference_came_about_is_shown_first() -> None:
    buffer = {**working("7.04 + 1 \u00d7 2", "7.00 pH"), "label": "pH of the buffer"}
    found = example_in(record(check("0.05"), workings=(working(), buffer)))
    assert found is not None
    assert [one["label"] for one in found.workings] == ["pH of the buffer", "Error"]
