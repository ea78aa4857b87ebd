"""Hand calculations that every procedure writes out in the same way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from math import sqrt
from typing import Protocol

from wqverify.calculations.uncertainty import round_to, round_up
from wqverify.terms import Check, Quantity, Reading, Working

GUM = "JCGM 100:2008 (GUM)"
READING_MINUS_REFERENCE = "reading minus reference"
Points = tuple[tuple[str, str, str], ...]  # of a series of a chart: x, y, U


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


class ReadInStandard(Protocol):
    """What was read in one bottle or bath."""

    @property
    def id(self) -> str: ...
    @property
    def readings(self) -> tuple[Reading, ...]: ...
    @property
    def mean(self) -> Decimal: ...
    @property
    def control_system(self) -> Reading | None: ...


@dataclass(frozen=True, slots=True)
class Letters:
    """How the numbers of an error are called."""

    shown: str  # on the display: "R"
    should: str  # of the reference: "E"
    said: str = ""  # behind the formula of the error: ", E what the display should show"
    sensor: str = "sensor"


def error_workings(
    point: ReadInStandard,
    should: Decimal,
    letters: Letters,
    at: tuple[str, str],
    shown: Mapping[str, str],
    unit: str,
) -> Iterator[Working]:
    """Give mean, error and error of the control system in one bottle or bath.

    ``at``: name of the stage and its title; ``shown``: what is judged, by the key of its check.
    """
    (name, title), R, E = at, letters.shown, letters.should
    texts = [reading.text for reading in point.readings]
    if len(set(texts)) > 1:
        yield Working(
            f"Mean of the readings in {point.id} that held still, {title}",
            f"{R} = ({R}1 + {R}2 + …) / n",
            f"({' + '.join(texts)}) / {len(texts)}",
            f"{point.mean:f} {unit}",
            "fixed two digits beyond the display",
        )
    yield Working(
        f"Error in {point.id}, {title}",
        f"e = {R} − {E}{letters.said}",
        f"{signed(point.mean)} − {signed(should)}",
        answer(f"{point.mean - should:f}", unit, shown[f"{name}.{point.id}.error"]),
        READING_MINUS_REFERENCE,
    )
    if point.control_system is not None:
        yield Working(
            f"Error of the control system, {letters.sensor} in {point.id}, {title}",
            f"e = C − {E}, C the control system",
            f"{point.control_system.text} − {signed(should)}",
            answer(
                f"{point.control_system.value - should:f}",
                unit,
                shown[f"{name}.{point.id}.control_system"],
            ),
            READING_MINUS_REFERENCE,
        )


def shares(stage: str, points: Iterable[ReadInStandard], checks: Sequence[Check]) -> Points:
    """Return for a chart the error at each reference as a share of its tolerance, with U, in order."""
    keys = {f"{stage}.{point.id}.error" for point in points}
    rows = []
    for check in checks:
        if check.key in keys and check.quantity is not None and check.high and check.low:
            share = _share(check.quantity, check.high, check.low)
            if share is not None:
                rows.append((check.reference, *share))
    return tuple(sorted(rows, key=lambda row: float(row[0])))


def _share(error: Quantity, high: str, low: str) -> tuple[str, str] | None:
    """Return error and U as shares of a tolerance, None where it has no width on that side."""
    bound = Decimal(high) if error.decimal >= 0 else -Decimal(low)
    if bound <= 0:
        return None
    share = (error.decimal / bound).quantize(Decimal("0.001")) + 0
    sure = (Decimal(error.expanded or "0") / bound).quantize(Decimal("0.001"))
    return f"{share:f}", f"{sure:f}"


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
