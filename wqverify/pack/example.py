"""One check of the month that a person with a pocket calculator can follow, chosen from its records."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from wqverify.show.kinds import Block, Facts, Formula, Statement
from wqverify.show.lookup import bounds, with_unit

Plain = Mapping[str, Any]
_RULES = {
    "as the method states": "The rule is that of the published method: it passes when the error lies within "
    "the bounds, the bounds themselves included. The uncertainty is shown and not used.",
    "simple": "The rule is simple: it passes when the error lies within the bounds, the bounds themselves "
    "included. The uncertainty is shown and not used.",
    "guarded": "The rule is guarded: it passes when the error lies inside the bounds by at least the "
    "expanded uncertainty U, fails when it lies outside by more than U, and is too close to decide between.",
}


@dataclass(frozen=True, slots=True)
class Example:
    """A check with the workings that lead to it."""

    number: str
    title: str
    tag: str
    performed: str
    check: Plain
    workings: tuple[Plain, ...]

    @property
    def failed(self) -> bool:
        return bool(self.check["outcome"] == "fail")


def example_in(plain: Plain) -> Example | None:
    """Return the check of a record that shows most of how it was judged; None where none is worked out."""
    found = list(_examples(plain))
    return max(found, key=lambda one: one.failed, default=None)  # the first of those that failed


def better(one: Example | None, other: Example | None) -> Example | None:
    """Return the example to print: the first that failed, else the first."""
    if one is None or other is None:
        return one or other
    return other if other.failed and not one.failed else one


def _examples(plain: Plain) -> Iterator[Example]:
    result = plain["result"]
    for check in result["checks"]:
        if not (check["counts"] and check["observed"] and check["reference"] and check["quantity"]):
            continue
        put_in = f"{check['observed']} − {check['reference']}"
        error = [one for one in result["workings"] if one["put_in"] == put_in]
        if error and (check["low"] or check["high"]):
            before = [w for w in result["workings"] if _answers(w, check["reference"])][:1]
            tag = plain["given"]["analyzer"]["tag"]
            yield Example(
                plain["number"], plain["title"], tag, plain["performed"], check, (*before, error[0])
            )


def _answers(working: Plain, reference: str) -> bool:
    return bool(working["answer"].split(" ")[0] == reference)


def example_blocks(one: Example) -> Iterator[Block]:
    """Give the example step by step."""
    check, quantity = one.check, one.check["quantity"]
    tolerance = check["tolerance"] or {}
    unit = quantity["unit"]
    yield Statement(
        f"{one.number}, {one.title}, {one.tag}, {one.performed}. Check: {check['label']} "
        f"({check['stage'].replace('_', ' ')}, at the {check['place']}). The numbers stand in checks.csv and "
        f"on the PDF; the readings behind them, as typed, in readings.csv."
    )
    for working in one.workings:
        yield Formula(*(working[name] for name in ("label", "formula", "put_in", "answer", "source")))
    rows = [
        ("Reading", with_unit(check["observed"], unit)),
        ("Reference", with_unit(check["reference"], unit)),
        ("Judged value", with_unit(quantity["text"], unit)),
        ("Expanded uncertainty U", with_unit(quantity["expanded"], unit) or "not stated"),
        ("Bounds", bounds(check["low"], check["high"], unit)),
        ("Bounds are from", tolerance.get("source", "") or "not stated"),
        ("Outcome on the record", check["outcome"]),
    ]
    yield Facts(tuple(rows))
    yield Statement(f"{_RULES.get(tolerance.get('rule', ''), 'The rule is not stated.')}{_compared(one)}")


def _compared(one: Example) -> str:
    """Say the comparison in numbers, in decimals."""
    check, quantity = one.check, one.check["quantity"]
    error, sure = Decimal(quantity["text"]), Decimal(quantity["expanded"] or 0)
    guarded = (check["tolerance"] or {}).get("rule") == "guarded"
    said = []
    for word, text, sign in (("lower", check["low"], 1), ("upper", check["high"], -1)):
        if not text:
            continue
        bound = Decimal(text)
        inside = sign * (error - bound)
        by = f"{'inside' if inside >= 0 else 'outside'} the {word} bound {bound} by {abs(inside)}"
        said.append(f"{by} (U is {sure})" if guarded else by)
    return f" Here {error} lies {' and '.join(said)}: {check['outcome']}." if said else ""
