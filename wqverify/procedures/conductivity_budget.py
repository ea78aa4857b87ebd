"""The measurement model of a conductivity check, and the sizes of its causes.

e = R + read - S(K(t)(1 + certificate + opened + table)), t = t_ref + thermometer; S what the transmitter
makes of a conductivity: K/(1 + a (t + settling - 25)) with a its own setting, K f25(t + settling) by ISO
7888, K itself at t + settling without compensation. The standard's own change with temperature is in K(t),
never in a.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from wqverify.calculations import conductivity
from wqverify.calculations.ph import error_at_displayed
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.conductivity_values import Set, Worth
from wqverify.procedures.inputs import Inputs, Sizes
from wqverify.procedures.rules import fixed
from wqverify.terms import Input, Quantity, Reading, Standard

SIZES: Sizes = {
    "opened_percent": (
        "0.5",
        "memory",
        "change of an opened bottle (water lost, carbon dioxide), within ±{size} %",
    ),
    "table_percent": ("0.035", "common practice", "straight between two rows of the table, within ±{size} %"),
    "settling_c": (
        "0.5",
        "common practice",
        "water in the cell against its temperature element, within ±{size} °C",
    ),
    "salt_percent_per_c": ("0.3", "memory", "change of a salt solution per °C, within ±{size} % of it"),
    "zero_film": ("0", "common practice", "water left on the dried cell, within ±{size}"),
}
PERCENT = Decimal("0.01")  # to which an error in percent is shown
ASSUMED = 0.005  # standard uncertainty of a bottle without a certificate, as a share
Term = Callable[[Mapping[str, Any]], Any]


@dataclass(frozen=True)
class Measured:
    """The cell in one standard at one stage."""

    stage: str
    path: str
    id: str
    standard: Standard
    worth: Worth
    temperature: Reading
    readings: tuple[Reading, ...]  # those that count
    mean: Decimal
    expected: Decimal | None  # what the display should show; None with why_none
    why_none: str
    unsteady: str  # why the readings are no result
    information: str  # why it is shown without a pass or fail
    still: Decimal  # the stability limit, in the unit of the analyzer
    unrounded: Decimal | None  # the error before mean and expected value were fixed
    crept: tuple[Reading, ...] = ()
    control_system: Reading | None = None
    stood_still: str = ""  # why the control system showed no live value

    @property
    def reason(self) -> str:
        """Why it is not judged; empty where it is."""
        return self.why_none or self.information or self.unsteady

    @property
    def counts(self) -> bool:
        return not self.reason

    @property
    def error(self) -> Decimal:
        assert self.expected is not None
        return self.mean - self.expected


@dataclass(frozen=True)
class ZeroRead:
    """The cell dry in air."""

    stage: str
    reading: Reading


@dataclass(frozen=True)
class Budgeted:
    """What the quantities of a stage are made of."""

    stage: str
    points: tuple[Measured, ...]
    zero: ZeroRead | None
    set: Set | None
    thermometer: Standard | None
    between: tuple[Measured, Measured] | None
    process: Reading | None
    held: Reading | None  # cell constant the transmitter works with


class ConductivityInputs(Inputs):
    """The inputs of a conductivity check."""

    def __init__(self, settings: Mapping[str, str], unit: str) -> None:
        super().__init__(settings, SIZES)
        self.unit = unit

    def share(self, cause: str, size: str) -> str:
        """Enter a rectangular input of so many percent, as a share."""
        if cause not in self:
            self.half_width(cause, size)
            percent = self[cause]
            self[cause] = _as_share(percent)
        return cause

    def bottle(self, worth: Worth) -> list[str]:
        """Enter what makes the value of a bottle uncertain, as shares of it."""
        known = worth.standard
        cause = f"bottle:{known.id} lot {known.lot}"
        if cause not in self:
            self[cause] = _certificate(worth, self.unit)
        causes = [cause, self.share(f"opened:{known.id}", "opened_percent")]
        if worth.nodes:
            causes.append(self.share(worth.table, "table_percent"))
        return causes

    def reading(self, point: Measured) -> Term:
        """Enter the readings that count: their mean, of creeping ones the last with the rest."""
        name = f"reading:{point.stage}.{point.id}"
        if not point.crept:
            cause = self.mean(name, point.readings, "display")
            return lambda x: x[cause]
        cause = self.digit(name, point.readings[-1], "display")
        rest = self.creep(f"creep:{point.stage}.{point.id}", point.still, self.unit)
        return lambda x: x[cause] + x[rest]

    def expected(self, point: Measured, found: Set, thermometer: Standard | None) -> Term:
        """Return what the display should show, with everything that makes that uncertain."""
        shares, worth = self.bottle(point.worth), point.worth
        warm = self.thermometer(thermometer)
        lag = self.half_width(f"settling:{point.stage}.{point.id}", "settling_c")
        per_c = ""
        if worth.per_c is not None:
            per_c = self.share(f"change per °C of {worth.standard.id}", "salt_percent_per_c")
            self[per_c] = _about(self[per_c], float(worth.per_c))
        t = float(point.temperature.value)
        compensated = found.method != "none"

        def model(x: Mapping[str, Any]) -> Any:
            water = t + x[warm]
            element = water + x[lag]
            kappa = worth.at(water if compensated else element, x[per_c] if per_c else 0.0)
            for cause in shares:
                kappa = kappa * (1 + x[cause])
            return found.shown(kappa, element)

        return model


def _as_share(percent: Input) -> Input:
    return Input(
        percent.value / 100,
        percent.u / 100,
        percent.distribution,
        dof=percent.dof,
        size_from=percent.size_from,
        source=percent.source,
    )


def _about(share: Input, value: float) -> Input:
    return Input(value, share.u, share.distribution, size_from=share.size_from, source=share.source)


def _certificate(worth: Worth, unit: str) -> Input:
    known = worth.standard
    if known.expanded is None or not worth.nominal:
        source = "U 1 %, k 2, usual for bottles; no certificate entered"
        return Input(0.0, ASSUMED, size_from="memory", source=source)
    k = known.k if known.k is not None else Decimal(2)
    nominal = conductivity.converted(worth.nominal, unit, known.unit)
    named = f", certificate {known.certificate}" if known.certificate else ""
    source = f"U {known.expanded} {known.unit} of {nominal.normalize():f}, k {k}, of the bottle{named}"
    return Input(0.0, float(known.expanded / k / nominal), source=source)


# ---------------------------------------------------------------- one stage


def quantities(known: Budgeted, settings: Mapping[str, str], unit: str) -> dict[str, Quantity]:
    """Return the errors of a stage with their budgets, in one propagation: one cause, one name."""
    x = ConductivityInputs(settings, unit)
    read = {p.id: x.reading(p) for p in known.points}
    should: dict[str, Term] = {}
    if known.set is not None:
        should = {
            p.id: x.expected(p, known.set, known.thermometer) for p in known.points if p.expected is not None
        }
    there = {
        p.id: x.digit(f"control system:{p.stage}.{p.id}", p.control_system, "control system")
        for p in known.points
        if p.control_system is not None and p.id in should
    }
    zero = _zero(known.zero, x) if known.zero is not None else None

    def model(v: Mapping[str, Any]) -> dict[str, Any]:
        out: dict[str, Any] = {}
        for name, expected in should.items():
            shown, value = read[name](v), expected(v)
            out[f"{name}.error"] = shown - value
            out[f"{name}.percent"] = 100 * (shown / value - 1)
            if name in there:
                out[f"{name}.control_system"] = v[there[name]] - value
            if shown > 0:
                factor = conductivity.cell_constant(1.0, value, shown)
                out[f"{name}.factor"] = factor
                if known.held is not None:
                    out[f"{name}.cell_constant"] = float(known.held.value) * factor
        if zero is not None:
            out["zero.error"] = zero(v)
        if known.between and known.process is not None:
            low, high = (p.id for p in known.between)
            at = float(known.process.value)
            out["process.error"] = error_at_displayed(
                at, read[low](v), out[f"{low}.error"], read[high](v), out[f"{high}.error"]
            )
        return out

    if not should and zero is None:
        return {}
    return propagate(model, x, _Units(unit), _texts(known))


class _Units(dict[str, str]):
    """The unit of an output by the last word of its key; an error is in that of the analyzer."""

    def __init__(self, own: str) -> None:
        super().__init__()
        self.own = own

    def __missing__(self, key: str) -> str:
        return {"percent": "%", "cell_constant": "1/cm", "factor": ""}.get(key.rpartition(".")[2], self.own)


def _zero(zero: ZeroRead, x: ConductivityInputs) -> Term:
    shown = x.digit(f"reading:{zero.stage}.zero", zero.reading, "display")
    film = x.half_width(f"film:{zero.stage}", "zero_film")
    return lambda v: v[shown] - v[film]


def _texts(known: Budgeted) -> dict[str, str]:
    """Errors exactly as they follow from what was typed: that is what is shown and judged."""
    texts = {}
    for point in known.points:
        if point.expected is None:
            continue
        texts[f"{point.id}.error"] = f"{point.error:f}"
        if point.expected > 0:
            percent = 100 * (point.mean / point.expected - 1)
            texts[f"{point.id}.percent"] = f"{percent.quantize(PERCENT) + 0:f}"
        if known.held is not None and point.mean > 0:
            constant = known.held.value * point.expected / point.mean
            texts[f"{point.id}.cell_constant"] = f"{fixed(constant, known.held.digit):f}"
        if point.control_system is not None:
            texts[f"{point.id}.control_system"] = f"{point.control_system.value - point.expected:f}"
    if known.zero is not None:
        texts["zero.error"] = f"{known.zero.reading.value:f}"
    if known.between and known.process is not None:
        texts["process.error"] = (
            f"{fixed(exact_at_process(known.between, known.process), known.process.digit):f}"
        )
    return texts


def exact_at_process(between: Sequence[Measured], process: Reading) -> Decimal:
    """Return the error at the displayed process value, to the 28 digits of decimal arithmetic."""
    low, high = between
    found = error_at_displayed(process.value, low.mean, low.error, high.mean, high.error)
    return Decimal(found)
