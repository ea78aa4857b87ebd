"""What is put into a turbidity budget: bottles, water, volumes, cell and place, with sizes and their sources.

One bottle, one batch of water and one stock have one name wherever they act, so two dilutions of one stock
stay correlated and a low point shares its water with the zero. Each step of a dilution has its own pipetting.
Settling acts once, on what is read: what stands between two steps is used at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import fsum, sqrt
from typing import Any, Literal

from wqverify.calculations.dilution import diluted
from wqverify.procedures.inputs import ROOT3, ROOT12, Inputs, Sizes, stated
from wqverify.procedures.rules import Stability
from wqverify.procedures.turbidity_parts import Step
from wqverify.terms import Assigned, Input, Reading, SizeFrom, Standard

Term = Callable[[Mapping[str, Any]], Any]
Kind = Literal["primary", "secondary", "zero"]

ROOT6 = sqrt(6)
PER_KELVIN = 0.00021  # of a volume of water at 20 °C; the glass takes a tenth of it back

# Half widths (rectangular) in percent or NTU unless said otherwise; each can be set in the register.
SIZES: Sizes = {
    "mixing_percent": ("1", "memory", "settling and age of the dilution, within ±{size} %"),
    "volume_temperature_c": ("4", "common practice", "what is pipetted against the glass, within ±{size} °C"),
    "drift_percent": ("2", "memory", "change of the secondary standard since it was assigned, ±{size} %"),
    "standard_temperature_percent": ("0.5", "memory", "temperature of the secondary standard, ±{size} %"),
    "stray_ntu": ("0.03", "memory", "stray light, no zero water was read, within ±{size} NTU"),
}
# Of other kinds: name, default, source, words
CELL_PERCENT, CELL_FLOOR = ("cell_percent", "1"), ("cell_ntu", "0.01")
WATER = ("water_ntu", "0.01")  # half width where the batch states none
PLACE, PLACE_DOF = ("place_percent", "1"), 20  # standard deviation of putting a secondary standard in once
PLACES_THEN = ("places_when_assigned", "3")
PRIMARY = ("assigned_primary_percent", "0.87")  # standard uncertainty of the gain it was assigned with
PIPETTING = {"class A": ("pipetting_percent", "0.2"), "adjustable": ("pipetting_adjustable_percent", "0.6")}
PIPETTING_DOF = 9
ADJUSTABLE_PERCENT = Decimal(1)  # tolerance of an adjustable pipette, of the volume
UNSTATED_PERCENT = Decimal(2)  # U of a stock or standard that states none, k = 2

# Tolerances of class A glass by nominal volume, mL (from memory, as ASTM E969 and E288 have them)
CLASS_A_PIPETTE = tuple(
    (Decimal(volume), Decimal(within))
    for volume, within in (
        ("2", "0.006"), ("5", "0.01"), ("10", "0.02"), ("25", "0.03"), ("50", "0.05"), ("100", "0.08"),
    )
)  # fmt: skip
CLASS_A_FLASK = tuple(
    (Decimal(volume), Decimal(within))
    for volume, within in (
        ("10", "0.02"), ("25", "0.03"), ("50", "0.05"), ("100", "0.08"), ("250", "0.12"), ("500", "0.20"),
        ("1000", "0.30"), ("2000", "0.50"),
    )
)  # fmt: skip


@dataclass(frozen=True)
class Measured:
    """The analyzer on one standard, or in zero water, at one stage."""

    stage: str
    path: str
    id: str
    kind: Kind
    standard: Standard
    exact: Decimal  # what the standard is worth for this analyzer, NTU
    readings: tuple[Reading, ...]  # those that held still; of those that crept one way the last
    mean: Decimal  # of them, fixed two digits beyond the display
    unrounded: Decimal = Decimal(0)
    insertions: int = 1
    assigned: Assigned | None = None
    steps: tuple[Step, ...] = ()
    water: Standard | None = None
    control_system: Reading | None = None
    frozen: str = ""  # why the control system showed no live value
    unsteady: str = ""  # why the readings are no result
    crept: tuple[Reading, ...] = ()  # the readings that were replaced by the last of them
    still: Stability | None = None  # within what they held still
    information: str = ""  # why it is shown without a pass or fail

    @property
    def error(self) -> Decimal:
        return self.mean - self.exact

    @property
    def counts(self) -> bool:
        return not self.unsteady and not self.information

    @property
    def digit(self) -> Decimal:
        return max(reading.digit for reading in self.readings)


class TurbidityInputs(Inputs):
    """The inputs of a turbidity model; each method enters what it needs and returns the term of the model."""

    def __init__(self, settings: Mapping[str, str]) -> None:
        super().__init__(settings, SIZES)

    def size(self, named: tuple[str, str]) -> Decimal:
        """Return a size of the register or its default."""
        return Decimal(self.settings.get(*named))

    def reading(self, point: Measured) -> Term:
        """The mean of the readings that held still; of those that crept the last, with the rest of it."""
        cause = f"reading:{point.stage}.{point.id}"
        if point.crept:
            creep = self.rest_of_creep(point)
            self.digit(cause, point.readings[-1], "display, the last reading")
            return lambda x: x[cause] + creep(x)
        if point.insertions > 1:  # their scatter is that of putting it in, which has an input of its own
            self.setdefault(cause, _digit_of_mean(point.readings))
        else:
            self.mean(cause, point.readings, "display")
        return lambda x: x[cause]

    def rest_of_creep(self, point: Measured) -> Term:
        """What is still to come of a creep that the last reading ends; nothing where nothing crept."""
        if not point.crept:
            return lambda _x: 0.0
        assert point.still is not None
        cause = self.creep(f"creep:{point.stage}.{point.id}", point.still.limit, point.still.unit)
        return lambda x: x[cause]

    def value(self, point: Measured, settled: bool = True) -> Term:
        """What the standard is worth, as it is diluted."""
        known = point.standard.value
        begins = float(point.exact if known is None else known)
        start = self.bottle(point.standard, begins, point.kind == "zero")
        if not point.steps:
            return start
        assert point.water is not None
        water = self.bottle(point.water, float(point.water.value or 0), water=True)
        here = f"{point.stage}.{point.id}"
        made = self.dilution(start, water, point.steps, here)
        if not settled:
            return made
        mixing = self.percent(f"settling:{here}", "mixing_percent")
        return lambda x: made(x) * (1 + x[mixing])

    def bottle(self, standard: Standard, value: float, water: bool = False) -> Term:
        """A bottle's value with what makes it uncertain, by its causes where it has them."""
        shares = {}
        for part in standard.causes:
            self.setdefault(part.cause, _part(part.u, part.dof, standard))
            shares[part.cause] = float(part.u) / self[part.cause].u
        if not shares:
            cause = bottle_cause(standard)
            if cause not in self:
                self[cause] = stated(standard) or (
                    self._unstated_water(standard) if water else _unstated(standard, value)
                )
            shares[cause] = 1.0
        return lambda x: value + _sum([share * x[cause] for cause, share in shares.items()])

    def dilution(self, start: Term, water: Term, steps: Sequence[Step], here: str) -> Term:
        """A dilution in its steps: own pipetting in each, one stock and one water in all."""
        term = start
        for number, step in enumerate(steps, 1):
            term = self._step(term, water, step, f"{here}, step {number}" if len(steps) > 1 else here)
        return term

    def _step(self, stronger: Term, water: Term, step: Step, here: str) -> Term:
        pipette, flask = f"pipette:{here}", f"flask:{here}"
        pipetting, warm = f"pipetting:{here}", f"volume temperature:{here}"
        marked, from_where = pipette_within(step)
        self[pipette] = _glass(step.pipetted_ml, marked, from_where)
        self[flask] = _glass(step.to_ml, *flask_within(step))
        name = PIPETTING[step.pipette]
        self[pipetting] = Input(
            0.0,
            float(self.size(name)) / 100,
            "t",
            dof=PIPETTING_DOF,
            size_from="memory",
            source=f"repeatability of pipetting, {step.pipette}: {self.size(name)} %",
        )
        self.half_width(warm, "volume_temperature_c")
        return lambda x: diluted(
            stronger(x) * (1 + x[pipetting]) * (1 + PER_KELVIN * x[warm]), x[pipette], x[flask], water(x)
        )

    def percent(self, cause: str, size: str) -> str:
        """Enter a relative input whose half width is a percentage; returns its cause."""
        if cause not in self:
            default, size_from, words = self.sizes[size]
            half = self.settings.get(size, default)
            told = words.format(size=half) + (", set in the register" if size in self.settings else "")
            self[cause] = Input(
                0.0, float(half) / 100 / ROOT3, "rectangular", size_from=size_from, source=told
            )
        return cause

    def cell(self, point: Measured) -> Term:
        """What cell, bubbles and orientation do to a reading on a liquid standard, in NTU."""
        cause = f"cell:{point.stage}.{point.id}"
        share, floor = self.size(CELL_PERCENT), self.size(CELL_FLOOR)
        half = max(share * point.exact / 100, floor)
        words = f"{share} %" if half > floor else f"{floor} NTU"
        self.setdefault(
            cause,
            Input(
                0.0,
                float(half) / ROOT3,
                "rectangular",
                size_from="memory",
                source=f"cell, bubbles and orientation, within ±{words}",
            ),
        )
        return lambda x: x[cause]

    def place(self, cause: str, times: int) -> Term:
        """The relative effect of putting a solid standard in, mean of some times."""
        once = self.size(PLACE)
        self.setdefault(
            cause,
            Input(
                0.0,
                float(once) / 100 / sqrt(times),
                "t",
                dof=PLACE_DOF,
                size_from="memory",
                source=f"putting it in once scatters by {once} %, mean of {times}",
            ),
        )
        return lambda x: x[cause]

    def assigned(self, point: Measured) -> tuple[Term, Term]:
        """Value of a secondary standard as it was displayed, and as it is worth against the primary."""
        assert point.assigned is not None
        row, here = point.assigned, f"{point.standard.id} for {point.assigned.tag}"
        digit = f"reading when assigned:{here}"
        shown = Reading.parse(f"{row.value:f}")
        self.digit(digit, shown, "value assigned")
        then = self.place(f"place when assigned:{here}", int(self.size(PLACES_THEN)))
        primary = f"primary when assigned:{here}"
        share = self.size(PRIMARY) / 100
        if row.expanded is not None and row.k is not None:
            u = float(row.expanded / row.k)
            own = self[digit].u ** 2 + (float(row.value) * self[f"place when assigned:{here}"].u) ** 2
            # what its U holds beside reading and placing is the primary standard and the gain
            u_primary = sqrt(max(u**2 - own, 0.0))
            told: SizeFrom = "certificate"
            source = f"U {row.expanded} NTU, k {row.k}, of the value assigned, after {row.after}"
        else:
            u_primary, told = float(share * row.value), "memory"
            source = f"gain after {row.after}, {self.size(PRIMARY)} % of the value"
        self.setdefault(primary, Input(0.0, u_primary, size_from=told, source=source))
        return lambda x: x[digit] * (1 + then(x)), lambda x: x[primary]

    def since(self, point: Measured) -> Term:
        """The relative change of a secondary standard since it was assigned: age and temperature."""
        drift = self.percent(f"drift:{point.standard.id}", "drift_percent")
        warm = self.percent(f"temperature:{point.stage}.{point.standard.id}", "standard_temperature_percent")
        return lambda x: x[drift] + x[warm]

    def _unstated_water(self, standard: Standard) -> Input:
        half = self.size(WATER)
        return Input(
            0.0,
            float(half) / ROOT3,
            "rectangular",
            size_from="memory",
            source=f"turbidity of {standard.id}, within ±{half} NTU; it states none",
        )


def bottle_cause(standard: Standard) -> str:
    """Return the name of a bottle as a cause; what is made from it carries it on."""
    return f"bottle:{standard.id} lot {standard.lot}" if standard.lot else f"bottle:{standard.id}"


def pipette_within(step: Step) -> tuple[Decimal, str]:
    """Return the tolerance of the pipette, mL, and where it is from."""
    if step.pipette_within_ml is not None:
        return step.pipette_within_ml.value, "marked on the pipette"
    volume = step.pipetted_ml.value
    if step.pipette == "adjustable":
        return volume * ADJUSTABLE_PERCENT / 100, f"adjustable pipette, {ADJUSTABLE_PERCENT} %"
    return _class_a(volume, CLASS_A_PIPETTE), "class A pipette"


def flask_within(step: Step) -> tuple[Decimal, str]:
    """Return the tolerance of the flask, mL, and where it is from."""
    if step.flask_within_ml is not None:
        return step.flask_within_ml.value, "marked on the flask"
    return _class_a(step.to_ml.value, CLASS_A_FLASK), "class A flask"


def _class_a(volume: Decimal, sizes: Sequence[tuple[Decimal, Decimal]]) -> Decimal:
    return next(
        (within for nominal, within in sizes if volume <= nominal), volume * sizes[-1][1] / sizes[-1][0]
    )


def _glass(volume: Reading, within: Decimal, whose: str) -> Input:
    marked = whose.startswith("marked")
    return Input(
        float(volume.value),
        float(within) / ROOT6,
        "triangular",
        size_from="certificate" if marked else "memory",
        source=f"{volume.text} mL within ±{within.normalize():f} mL, {whose}",
    )


def _digit_of_mean(readings: Sequence[Reading]) -> Input:
    digit = max(reading.digit for reading in readings)
    return Input(
        fsum(float(r.value) for r in readings) / len(readings),
        float(digit) / ROOT12,
        "rectangular",
        size_from="resolution",
        source=f"display, read to {digit}",
    )


def _part(u: Decimal, dof: Decimal | None, standard: Standard) -> Input:
    freedom = float(dof) if dof is not None else None
    kind: Literal["t", "normal"] = "normal" if dof is None else "t"
    return Input(0.0, float(u), kind, dof=freedom, source=f"u {u} NTU, entered for {standard.id}")


def _unstated(standard: Standard, value: float) -> Input:
    u = value * float(UNSTATED_PERCENT) / 100 / 2
    return Input(0.0, u, size_from="memory", source=f"U {UNSTATED_PERCENT} %, k 2; {standard.id} states none")


def _sum(terms: Sequence[Any]) -> Any:
    total = terms[0]
    for term in terms[1:]:
        total = total + term
    return total
