"""From the sheet to what was measured at a stage: values of standards, readings that held still, errors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.conductivity_budget import Budgeted, Measured, ZeroRead, quantities
from wqverify.procedures.conductivity_sheet import (
    Adjusted,
    ConductivityPoint,
    ConductivitySheet,
    Constants,
    OnStandards,
    Process,
    Zero,
)
from wqverify.procedures.conductivity_values import Set, compensation, why_alone, worth
from wqverify.procedures.parts import Moment, NotDone, Read, SameAs
from wqverify.procedures.ph_sheet import ThermometerCheck
from wqverify.procedures.rules import Stability, fixed, frozen, setting, standard
from wqverify.procedures.turbidity_stages import held_still, run_one_way
from wqverify.terms import Given, Quantity, Reading, Standard

TITLES = {"as_found": "as found", "after_cleaning": "after cleaning", "as_left": "as left"}
PROCESS_AT = {"as_found": "process_before", "as_left": "process_after"}
# Range of the last three readings: a third of the 3 % that is usually allowed, and one digit at least.
STABLE_PERCENT, LAST, INTERVAL_S = "1", "3", "10"  # common practice, no source
RATIO = "2"  # between the values of two standards, at least; common practice, no source
NO_COMPENSATION = (
    "neither the sheet nor the register says which compensation is set, so what the display should show is "
    "not known; enter what is set in the menu, or have it put into the register"
)


@dataclass(frozen=True)
class Stage:
    """What was measured at one stage and what follows from it; empty with ``not_done`` where nothing was."""

    name: str
    not_done: str = ""
    zero: ZeroRead | None = None
    points: tuple[Measured, ...] = ()
    typed: tuple[ConductivityPoint, ...] = ()
    set: Set | None = None
    thermometer: Standard | None = None
    process: Process | None = None
    between: tuple[Measured, Measured] | None = None
    no_process: str = ""
    held: Reading | None = None  # the cell constant the transmitter worked with
    quantities: Mapping[str, Quantity] = field(default_factory=dict)
    same_as: str = ""

    @property
    def title(self) -> str:
        return TITLES[self.name]

    @property
    def counted(self) -> tuple[Measured, ...]:
        """The standards that count, the highest last."""
        return tuple(sorted((p for p in self.points if p.counts), key=lambda p: p.worth.exact))

    @property
    def ratio(self) -> Decimal | None:
        """The highest standard that counts over the lowest, two decimals; None where there are not two."""
        counted = self.counted
        if len(counted) < 2 or counted[0].worth.exact <= 0:
            return None
        return (counted[-1].worth.exact / counted[0].worth.exact).quantize(Decimal("0.01"))


def stages(sheet: ConductivitySheet, given: Given) -> dict[str, Stage]:
    """Return the stages of a visit that the sheet has, by name, in the order of work."""
    found: dict[str, Stage] = {}
    for name in TITLES:
        part = getattr(sheet, name)
        if isinstance(part, NotDone):
            found[name] = Stage(name, not_done=part.not_done)
        elif isinstance(part, SameAs):
            source = found[part.same_as]
            found[name] = replace(source, name=name, same_as=part.same_as, process=None, between=None)
        elif isinstance(part, OnStandards):
            found[name] = _measured(name, part, sheet, given)
    return found


def _measured(name: str, part: OnStandards, sheet: ConductivitySheet, given: Given) -> Stage:
    now = compensation(name, sheet, given)
    points = tuple(_point(name, index, point, now, sheet, given) for index, point in enumerate(part.points))
    zero = ZeroRead(name, part.zero.readings[-1]) if isinstance(part.zero, Zero) else None
    at = process_at(name, sheet)
    process = at if isinstance(at, Process) else None
    between, no_process = _between(points, process)
    thermometer = thermometer_of(part, sheet, given)
    held = held_constant(name, sheet)
    known = Budgeted(name, points, zero, now, thermometer, between, process.shown if process else None, held)
    return Stage(
        name,
        zero=zero,
        points=points,
        typed=part.points,
        set=now,
        thermometer=thermometer,
        process=process,
        between=between,
        no_process=no_process,
        held=held,
        quantities=quantities(known, given.analyzer.settings, given.analyzer.unit),
    )


def _point(
    stage: str, index: int, point: ConductivityPoint, now: Set | None, sheet: ConductivitySheet, given: Given
) -> Measured:
    path = f"{stage}.points.{index}"
    known = standard(point.standard, f"{path}.standard", given)
    temperature = point.temperature_c.value
    try:
        value = worth(known, temperature, given)
    except (CorrectTheEntry, ChooseAnother) as problem:
        wrong = "temperature_c" if isinstance(problem, CorrectTheEntry) else "standard"
        raise type(problem)(
            f"{TITLES[stage].capitalize()}, standard {index + 1}: {problem.message}",
            found=problem.found,
            expected=problem.expected,
            where=f"{path}.{wrong}",
        ) from problem
    why = why_alone(value, temperature) or (NO_COMPENSATION if now is None else now.why_not(temperature))
    still = stability(point, given)
    held = held_still(point.readings, still)
    crept = held if run_one_way(held) else ()
    counted = held[-1:] if crept else held
    digit = max(reading.digit for reading in counted)
    mean = sum((reading.value for reading in counted), Decimal(0)) / len(counted)
    should = None if why or now is None else now.shown(value.exact, temperature)
    return Measured(
        stage=stage,
        path=path,
        id=point.standard,
        standard=known,
        worth=value,
        temperature=point.temperature_c,
        readings=counted,
        mean=fixed(mean, digit),
        expected=None if should is None else fixed(should, digit),
        why_none=why,
        unsteady=still.broken_by(point),
        information=_information(point, known, given),
        still=still.limit,
        unrounded=None if should is None else mean - should,
        crept=crept,
        control_system=point.control_system,
        stood_still=_stood_still(path, point, sheet, given) if point.control_system else "",
    )


def _information(point: ConductivityPoint, known: Standard, given: Given) -> str:
    if not point.use:
        return ""
    if known.usable_until and known.usable_until < given.times.get("started", "")[:10]:
        return f"information only: {known.id} was usable until {known.usable_until}"
    return "information only, as entered"


def stability(read: Read, given: Given) -> Stability:
    """When readings in a standard hold still: within a share of the last one, and one digit at least."""
    share = setting(given, "stability_percent", STABLE_PERCENT) * abs(read.last.value) / 100
    limit = max(share, max(reading.digit for reading in read.readings))
    return Stability(
        limit.normalize() if limit < 1 else limit,
        given.analyzer.unit,
        int(setting(given, "stability_readings", LAST)),
        setting(given, "stability_interval_s", INTERVAL_S),
    )


def _stood_still(path: str, point: Read, sheet: ConductivitySheet, given: Given) -> str:
    """Why the control system showed no live value beside a reading: its output was held."""
    if isinstance(sheet.output_held, Moment) and point.at is None:
        return "the output was held and no time says that the control system was read before or after that"
    return frozen(path, given)


def process_at(stage: str, sheet: ConductivitySheet) -> Process | NotDone | None:
    """Return the process that belongs to a stage; after cleaning nobody was back in the process yet."""
    found: Process | NotDone | None = getattr(sheet, PROCESS_AT[stage]) if stage in PROCESS_AT else None
    return found


def _between(
    points: Sequence[Measured], process: Process | None
) -> tuple[tuple[Measured, Measured] | None, str]:
    """The two standards around the displayed process value, the nearest two where none is beyond it."""
    if process is None:
        return None, "the process value was not read with it"
    usable = sorted((p for p in points if p.counts), key=lambda p: p.mean)
    if len(usable) < 2:
        count = "one standard that counts gives" if usable else "no standard that counts gives"
        return None, f"{count} no error between standards; two are needed"
    above = next((i for i, p in enumerate(usable) if p.mean >= process.shown.value), len(usable) - 1)
    low, high = usable[max(above, 1) - 1], usable[max(above, 1)]
    if low.mean == high.mean:
        return None, f"the display showed {low.mean} in two standards"
    return (low, high), ""


def thermometer_of(part: OnStandards, sheet: ConductivitySheet, given: Given) -> Standard | None:
    """Return the reference thermometer: the one named at the stage, else that of the thermometer check."""
    checked = sheet.thermometer_check
    named = part.thermometer or (
        checked.reference if isinstance(checked, ThermometerCheck) and not checked.use else None
    )
    return standard(named, "thermometer", given) if named else None


def held_constant(stage: str, sheet: ConductivitySheet) -> Reading | None:
    """Return the cell constant the transmitter worked with at a stage."""
    changed = sheet.adjusted if isinstance(sheet.adjusted, Adjusted) else None
    if stage == "as_left" and changed is not None and changed.cell_constant_to is not None:
        return changed.cell_constant_to
    if changed is not None and changed.cell_constant_from is not None:
        return changed.cell_constant_from
    if sheet.decision is not None and sheet.decision.action == "replace" and stage == "as_left":
        return None
    return sheet.stored.cell_constant if isinstance(sheet.stored, Constants) else None


def before_adjusting(found: Mapping[str, Stage]) -> Stage:
    """Return the last stage that was read before an adjustment."""
    after = found.get("after_cleaning")
    return found["as_found"] if after is None or after.not_done else after


def ratio_wanted(given: Given) -> Decimal:
    """How many times the highest standard has to be the lowest for a pass."""
    return setting(given, "standards_ratio", RATIO)


def no_two(stage: Stage, given: Given) -> str:
    """Why the standards of a stage do not suffice for a pass; empty where they do."""
    needed = f"a pass needs two standards at least {ratio_wanted(given).normalize():f} times apart"
    if not stage.points:
        return (
            "only the zero was read, and a dead, dry or disconnected cell shows 0 in air too: the zero "
            f"alone passes it; {needed}"
        )
    if not stage.counted:
        return f"no standard that counts was read; {needed}"
    if stage.ratio is None:
        return (
            f"one standard that counts was read: what grows or shrinks with the value is not seen; {needed}"
        )
    if stage.ratio < ratio_wanted(given):
        return f"the standards are {stage.ratio} times apart, which is as good as one; {needed}"
    return ""
