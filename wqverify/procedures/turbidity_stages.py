"""From the sheet to what was measured at a stage: readings that held still, values of standards, budgets."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import pairwise
from typing import Any

from wqverify.calculations import turbidity
from wqverify.calculations.dilution import diluted
from wqverify.calculations.linearity import LackOfFit, lack_of_fit, why_no_lack_of_fit
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.parts import Moment, NotDone, Read, SameAs
from wqverify.procedures.rules import Stability, frozen, setting, standard
from wqverify.procedures.turbidity_inputs import Kind, Measured, Term, TurbidityInputs
from wqverify.procedures.turbidity_parts import (
    OnStandards,
    Process,
    StandardsSheet,
    Step,
    TurbidityPoint,
    Zero,
    part_at,
    process_at,
)
from wqverify.terms import Assigned, Given, Quantity, Reading, Standard

TITLES = {"as_found": "as found", "after_cleaning": "after cleaning", "as_left": "as left"}
# Range of the last three readings, the larger: a third of the 10 % that is usually allowed, so that what
# the readings still move cannot fill the tolerance; common practice, no source
STABLE_PERCENT, STABLE_NTU = "3.3", "0.01"
CREEP_FROM = 3  # readings that run one way; two always do
LAST, INTERVAL_S = "3", "30"
LOW_POINT = Decimal(1)  # NTU; a standard below it tests the zero, above it the offset cannot be seen
ENDS_WITHIN = 2  # digits beyond the display at which a quotient is fixed

Gains = Callable[["Stage", TurbidityInputs], "tuple[Model, Mapping[str, str]]"]
Model = Callable[[Mapping[str, Any]], dict[str, Any]]


@dataclass(frozen=True)
class Stage:
    """What was measured at one stage and what follows from it; empty with ``not_done`` where nothing was."""

    name: str
    not_done: str = ""
    points: tuple[Measured, ...] = ()
    typed: tuple[Read, ...] = ()
    same_as: str = ""
    process: Process | None = None
    between: tuple[Measured, Measured] | None = None
    no_process: str = ""  # why there is no error at the process value
    quantities: Mapping[str, Quantity] = field(default_factory=dict)
    fit: LackOfFit | None = None
    no_fit: str = ""

    @property
    def title(self) -> str:
        return TITLES[self.name]

    @property
    def zero(self) -> Measured | None:
        return next((point for point in self.points if point.kind == "zero"), None)

    @property
    def primaries(self) -> tuple[Measured, ...]:
        """The primary standards that count, the highest last."""
        counted = (point for point in self.points if point.kind == "primary" and point.counts)
        return tuple(sorted(counted, key=lambda point: point.exact))


def stages(sheet: StandardsSheet, given: Given, gains: Gains | None = None) -> dict[str, Stage]:
    """Return the stages of a visit that the sheet has, by name, in the order of work.

    ``gains`` adds the outputs of a calibration to the one propagation of a stage.
    """
    found: dict[str, Stage] = {}
    for name in TITLES:
        part = part_at(name, sheet)
        if isinstance(part, NotDone):
            found[name] = Stage(name, not_done=part.not_done)
        elif isinstance(part, SameAs):
            found[name] = replace(
                found[part.same_as], name=name, same_as=part.same_as, process=None, between=None
            )
        elif part is not None:
            found[name] = _measured(name, part, sheet, given, gains)
    return found


def _measured(
    name: str, part: OnStandards, sheet: StandardsSheet, given: Given, gains: Gains | None
) -> Stage:
    points: list[Measured] = []
    typed: list[Read] = []
    if isinstance(part.zero, Zero):
        points.append(_zero(name, part.zero, sheet, given))
        typed.append(part.zero)
    for index, (id_, point) in enumerate(zip(names_of(part.points), part.points, strict=True)):
        known = standard(point.standard, f"{name}.points.{index}.standard", given)
        points.append(_point(name, index, id_, known, point, sheet, given))
        typed.append(point)
    at = process_at(name, sheet)
    process = at if isinstance(at, Process) else None
    between, no_process = _between(points, process)
    groups = [p for p in points if p.counts and p.kind != "secondary"]
    values = [[float(r.value) for r in p.readings] for p in groups]
    no_fit = why_no_lack_of_fit(values)
    stage = Stage(
        name,
        points=tuple(points),
        typed=tuple(typed),
        process=process,
        between=between,
        no_process=no_process,
        fit=None if no_fit else lack_of_fit([float(p.exact) for p in groups], values),
        no_fit=no_fit,
    )
    return replace(stage, quantities=_quantities(stage, given, gains))


def names_of(points: Sequence[TurbidityPoint]) -> list[str]:
    """Return how the points of a stage are called: by their standard, and whether it was diluted."""
    found: list[str] = []
    for point in points:
        name = f"{point.standard}-diluted" if point.diluted else point.standard
        before = sum(other == name or other.startswith(f"{name}-") for other in found)
        found.append(f"{name}-{before + 1}" if before and point.diluted else name)
    return found


def _point(
    stage: str,
    index: int,
    id_: str,
    known: Standard,
    point: TurbidityPoint,
    sheet: StandardsSheet,
    given: Given,
) -> Measured:
    path = f"{stage}.points.{index}"
    row = known.assigned_to(given.analyzer.tag, given.times["started"][:10])
    water = standard(point.diluted.water, f"{path}.diluted.water", given) if point.diluted else None
    steps = point.diluted.steps if point.diluted else ()
    kind: Kind = "primary" if known.value is not None else "secondary"
    digit = point.last.digit
    exact = worth(known, steps, water, row, digit)
    return _read(
        Measured(
            stage,
            path,
            id_,
            kind,
            known,
            exact,
            readings=(),
            mean=Decimal(0),
            insertions=int(point.insertions.value) if point.insertions else 1,
            assigned=row if kind == "secondary" else None,
            steps=steps,
            water=water,
            information=_information(point, known, given),
        ),
        point,
        sheet,
        given,
    )


def worth(
    known: Standard, steps: Sequence[Step], water: Standard | None, row: Assigned | None, digit: Decimal
) -> Decimal:
    """Return what a standard is worth: its own value, diluted in steps, or the one assigned to it.

    ``digit`` is that of the display; a quotient is fixed two digits beyond it.
    """
    if known.value is None:
        assert row is not None  # refused before
        return row.value
    exact = known.value
    for step in steps:
        assert water is not None
        assert water.value is not None
        exact = diluted(exact, step.pipetted_ml.value, step.to_ml.value, water.value)
    return _fixed(exact, digit) if steps else exact


def _zero(stage: str, zero: Zero, sheet: StandardsSheet, given: Given) -> Measured:
    water = standard(zero.water, f"{stage}.zero.water", given)
    assert water.value is not None  # refused before
    measured = Measured(stage, f"{stage}.zero", "zero", "zero", water, water.value, (), Decimal(0))
    return _read(measured, zero, sheet, given)


def _read(measured: Measured, read: Read, sheet: StandardsSheet, given: Given) -> Measured:
    return replace(
        counted(measured, read, given),
        control_system=read.control_system,
        frozen=_stood_still(measured.path, read, sheet, given) if read.control_system else "",
    )


def counted(measured: Measured, read: Read, given: Given) -> Measured:
    """Return it with the readings that count: those that held still, of creeping ones only the last.

    Readings of several insertions are no course in time, so they do not creep.
    """
    still = stability(read, given)
    held = held_still(read.readings, still)
    crept = held if measured.insertions == 1 and run_one_way(held) else ()
    readings = held[-1:] if crept else held
    mean = sum((r.value for r in readings), Decimal(0)) / len(readings)
    return replace(
        measured,
        readings=readings,
        crept=crept,
        still=still,
        unrounded=mean,
        mean=_fixed(mean, max(r.digit for r in readings)),
        unsteady=still.broken_by(read),
    )


def stability(read: Read, given: Given) -> Stability:
    """When readings hold still: within a share of the last one, at the low end within a turbidity."""
    share = setting(given, "stability_percent", STABLE_PERCENT) * abs(read.last.value) / 100
    limit = max(share, setting(given, "stability_ntu", STABLE_NTU))
    return Stability(
        limit.normalize() if limit < 1 else limit,
        given.analyzer.unit,
        int(setting(given, "stability_readings", LAST)),
        setting(given, "stability_interval_s", INTERVAL_S),
    )


def held_still(readings: Sequence[Reading], still: Stability) -> tuple[Reading, ...]:
    """Return the readings that count: the last ones, and those before them within the same limit."""
    first = max(len(readings) - still.readings, 0)
    while first and _range(readings[first - 1 :]) <= still.limit:
        first -= 1
    return tuple(readings[first:])


def run_one_way(readings: Sequence[Reading]) -> bool:
    """Whether readings creep: each beyond the one before, which is no sample to take a mean of."""
    steps = [later.value - earlier.value for earlier, later in pairwise(readings)]
    return len(readings) >= CREEP_FROM and (min(steps) > 0 or max(steps) < 0)


def _range(readings: Sequence[Reading]) -> Decimal:
    values = [reading.value for reading in readings]
    return max(values) - min(values)


def _fixed(value: Decimal, digit: Decimal) -> Decimal:
    """A quotient has no end: two digits beyond the display it is fixed; what ends before stays as it is."""
    fixed = value.quantize(digit.scaleb(-ENDS_WITHIN))
    places = [-int(number.as_tuple().exponent) for number in (value, fixed)]
    return value if value == fixed and places[0] <= places[1] else fixed


def _stood_still(path: str, read: Read, sheet: StandardsSheet, given: Given) -> str:
    """Why the control system showed no live value beside a reading: its output was held."""
    if isinstance(sheet.output_held, Moment) and read.at is None:
        return "the output was held and no time says that the control system was read before or after that"
    return frozen(path, given)


def _information(point: TurbidityPoint, known: Standard, given: Given) -> str:
    if not point.use:
        return ""
    if known.usable_until and known.usable_until < given.times.get("started", "")[:10]:
        return f"information only: {known.id} was usable until {known.usable_until}"
    return "information only, as entered"


def _between(
    points: Sequence[Measured], process: Process | None
) -> tuple[tuple[Measured, Measured] | None, str]:
    """The two standards around the displayed process value, the nearest two where none is beyond it.

    A secondary standard has no part in it: it shows a change, not an error.
    """
    if process is None:
        return None, "the process value was not read with it"
    usable = sorted((p for p in points if p.counts and p.kind != "secondary"), key=lambda p: p.mean)
    if len(usable) < 2:
        count = "one standard that counts gives" if usable else "no primary standard that counts gives"
        return None, f"{count} no error between standards; two are needed"
    above = next((i for i, p in enumerate(usable) if p.mean >= process.ntu.value), len(usable) - 1)
    low, high = usable[max(above, 1) - 1], usable[max(above, 1)]
    if low.mean == high.mean:
        return None, f"the display showed {low.mean} on two standards"
    return (low, high), ""


# ---------------------------------------------------------------- budgets


def _quantities(stage: Stage, given: Given, gains: Gains | None) -> dict[str, Quantity]:
    """Return the errors of a stage with their budgets, in one propagation."""
    inputs = TurbidityInputs(given.analyzer.settings)
    errors = {point.id: _error(point, inputs) for point in stage.points}
    there = {p.id: _there(p, inputs) for p in stage.points if p.control_system is not None}
    extra, units = gains(stage, inputs) if gains else (None, {})

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        out: dict[str, Any] = {}
        for point in stage.points:
            read, off, primary = errors[point.id]
            reading, error = read(x), off(x)
            key = "change" if point.kind == "secondary" else "error"
            out[f"{point.id}.{key}"] = error
            if primary is not None:
                out[f"{point.id}.against_primary"] = error - primary(x)
            if point.id in there:
                out[f"{point.id}.control_system"] = error - reading + there[point.id](x)
            if point.kind != "zero":
                out[f"{point.id}.recovery"] = turbidity.recovery_percent(reading, reading - error)
        if stage.between and stage.process:
            out["process.error"] = _between_errors(stage, errors, x)
        return out | extra(x) if extra else out

    return propagate(model, inputs, _Units(given.analyzer.unit, units), _exact(stage))


class _Units(dict[str, str]):
    """The unit of an output by the last word of its key; an error is in that of the analyzer."""

    def __init__(self, own: str, others: Mapping[str, str]) -> None:
        super().__init__(others)
        self.own = own

    def __missing__(self, key: str) -> str:
        return "%" if key.endswith(".recovery") else self.own


def _error(point: Measured, inputs: TurbidityInputs) -> tuple[Term, Term, Term | None]:
    """Terms of the reading, its error (of a secondary standard its change) and of the primary behind it."""
    reading = inputs.reading(point)
    if point.kind == "secondary":
        then, primary = inputs.assigned(point)
        here = f"place:{point.stage}.{point.id}"
        place, since = inputs.place(here, point.insertions), inputs.since(point)

        def change(x: Mapping[str, Any]) -> Any:
            return turbidity.change_since_assigned(reading(x), then(x), place(x), 0, since(x))

        return reading, change, primary
    value, cell = inputs.value(point), inputs.cell(point)
    return reading, lambda x: turbidity.error(reading(x), value(x)) - cell(x), None


def _there(point: Measured, inputs: TurbidityInputs) -> Term:
    assert point.control_system is not None
    cause = inputs.digit(f"control system:{point.stage}.{point.id}", point.control_system, "control system")
    creep = inputs.rest_of_creep(point)  # it was read with the last reading
    return lambda x: x[cause] + creep(x)


def _between_errors(
    stage: Stage, errors: Mapping[str, tuple[Term, Term, Term | None]], x: Mapping[str, Any]
) -> Any:
    assert stage.between is not None
    assert stage.process is not None
    (r1, e1), (r2, e2) = ((errors[p.id][0](x), errors[p.id][1](x)) for p in stage.between)
    return turbidity.error_between(float(stage.process.ntu.value), r1, e1, r2, e2)


def _exact(stage: Stage) -> dict[str, str]:
    """Errors exactly as they follow from what was typed: that is what is shown and judged."""
    texts = {}
    for point in stage.points:
        key = "change" if point.kind == "secondary" else "error"
        texts[f"{point.id}.{key}"] = f"{point.error:f}"
        if point.kind == "secondary":
            texts[f"{point.id}.against_primary"] = f"{point.error:f}"
        if point.control_system is not None:
            texts[f"{point.id}.control_system"] = f"{point.control_system.value - point.exact:f}"
    if stage.between and stage.process:
        fixed = exact_at_process(stage).quantize(stage.process.ntu.digit.scaleb(-ENDS_WITHIN)) + 0
        texts["process.error"] = f"{fixed:f}"
    return texts


def exact_at_process(stage: Stage) -> Decimal:
    """Return the error at the displayed process value, to the 28 digits of decimal arithmetic."""
    assert stage.between is not None
    assert stage.process is not None
    low, high = stage.between
    found = turbidity.error_between(stage.process.ntu.value, low.mean, low.error, high.mean, high.error)
    return Decimal(found)
