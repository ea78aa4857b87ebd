"""From the sheet to what was measured at a stage: corrected references, readings that held still, errors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from wqverify.calculations.interpolation import interpolate
from wqverify.calculations.temperature import fahrenheit, pt_temperature
from wqverify.errors import CorrectTheEntry
from wqverify.procedures.parts import Moment, NotDone, Read, SameAs
from wqverify.procedures.rules import Stability, fixed, frozen, setting, standard
from wqverify.procedures.temperature_budget import Measured, quantities, widest
from wqverify.procedures.temperature_sheet import Bath, Element, InBaths, Process, TemperatureSheet
from wqverify.procedures.turbidity_stages import held_still, run_one_way
from wqverify.procedures.walk import own_unit
from wqverify.terms import Given, Quantity, Standard

TITLES = {"as_found": "as found", "as_left": "as left"}
PROCESS_AT = {"as_found": "process_before", "as_left": "process_after"}
STABLE_C, LAST, INTERVAL_S = "0.1", "3", "10"  # common practice, no source
ICE_C = "0.2"  # from 0 °C, within which a bath is an ice point; common practice, no source
APART_C = "10"  # between two baths, at least; common practice, no source
ELEMENT_ENDS = Decimal("0.001")  # °C, at which the temperature of a resistance is fixed


@dataclass(frozen=True)
class Stage:
    """What was measured at one stage and what follows from it; empty with ``not_done`` where nothing was."""

    name: str
    not_done: str = ""
    points: tuple[Measured, ...] = ()
    typed: tuple[Bath, ...] = ()
    quantities: Mapping[str, Quantity] = field(default_factory=dict)
    same_as: str = ""

    @property
    def title(self) -> str:
        return TITLES[self.name]

    @property
    def apart(self) -> Decimal | None:
        """How far the baths that count lie apart, °C; None where there are not two."""
        pair = widest(self.points)
        return None if pair is None else pair[1].true_c - pair[0].true_c


def stages(sheet: TemperatureSheet, given: Given) -> dict[str, Stage]:
    """Return the stages of a visit that the sheet has, by name, in the order of work."""
    found: dict[str, Stage] = {}
    for name in TITLES:
        part = getattr(sheet, name)
        if isinstance(part, NotDone):
            found[name] = Stage(name, not_done=part.not_done)
        elif isinstance(part, SameAs):
            found[name] = replace(found[part.same_as], name=name, same_as=part.same_as)
        elif isinstance(part, InBaths):
            points = tuple(_point(name, i, point, sheet, given) for i, point in enumerate(part.points))
            budget = quantities(points, given.analyzer.settings, unit_of(given))
            found[name] = Stage(name, points=points, typed=part.points, quantities=budget)
    return found


def name_of(index: int) -> str:
    """Return how a bath is called in the keys of its checks."""
    return f"bath-{index + 1}"


def _point(stage: str, index: int, point: Bath, sheet: TemperatureSheet, given: Given) -> Measured:
    path = f"{stage}.points.{index}"
    known = standard(point.standard, f"{path}.standard", given) if point.standard else None
    correction = correction_of(known, point.reference.value if point.reference else Decimal(0), path)
    true_c = point.reference.value + correction if point.reference else Decimal("0.00")
    still = stability(point, given)
    held = held_still(point.readings, still)
    crept = held if run_one_way(held) else ()
    counted = held[-1:] if crept else held
    mean = sum((reading.value for reading in counted), Decimal(0)) / len(counted)
    element = nominal_of(sheet)
    ohm = element_c = None
    if point.element_ohm is not None:
        ohm = point.element_ohm.value - (point.lead_ohm.value if point.lead_ohm else Decimal(0))
        try:
            celsius = pt_temperature(float(ohm), float(element))
        except CorrectTheEntry as problem:
            raise CorrectTheEntry(
                f"{TITLES[stage].capitalize()}, bath {index + 1}: {problem.message}",
                found=problem.found,
                expected=problem.expected,
                where=f"{path}.element_ohm",
            ) from problem
        element_c = Decimal(repr(celsius)).quantize(ELEMENT_ENDS)
    true = in_unit(true_c, given)
    return Measured(
        stage=stage,
        path=path,
        id=name_of(index),
        kind=point.kind or "bath",
        thermometer=known,
        reading_r=point.reference,
        correction=correction,
        true_c=true_c,
        true=true,
        readings=counted,
        mean=fixed(mean, max(reading.digit for reading in counted)),
        unsteady=still.broken_by(point),
        information=_information(point, known, given),
        no_ice=no_ice(point.kind, true_c, given),
        still=still.limit,
        unrounded=mean - true,
        crept=crept,
        control_system=point.control_system,
        stood_still=_stood_still(path, point, sheet, given) if point.control_system else "",
        element=ohm,
        ohm=point.element_ohm,
        element_c=element_c,
        nominal=element,
    )


def nominal_of(sheet: TemperatureSheet) -> Decimal:
    """Return the resistance of the element at 0 °C, ohm; Pt100 where nothing is entered."""
    return sheet.element.nominal_ohm.value if isinstance(sheet.element, Element) else Decimal(100)


def correction_of(known: Standard | None, shown: Decimal, path: str) -> Decimal:
    """Return what the certificate of a reference thermometer adds to what it shows, °C.

    Its ``own`` table holds (shown, correction). Raises CorrectTheEntry where it does not reach.
    """
    if known is None or not known.own:
        return Decimal(0)
    if len(known.own) == 1:
        return known.own[0][1]
    low, high = known.own[0][0], known.own[-1][0]
    if not low <= shown <= high:
        raise CorrectTheEntry(
            f"{known.id} shows {shown} °C, and its certificate gives corrections from {low} to {high} °C; "
            f"nothing is extrapolated. Use a reference that reaches there, or another bath.",
            found=str(shown),
            expected=f"{low} to {high}",
            where=f"{path}.reference",
        )
    digit = min(Decimal(1).scaleb(int(row[1].as_tuple().exponent)) for row in known.own)
    found: Decimal = interpolate(known.own, shown)
    return fixed(found, digit.scaleb(1))  # one digit beyond those of the certificate


def _information(point: Bath, known: Standard | None, given: Given) -> str:
    if not point.use:
        return ""
    if known is not None and known.calibration_due and known.calibration_due < given.times["started"][:10]:
        return f"information only: the calibration of {known.id} was due on {known.calibration_due}"
    return "information only, as entered"


def no_ice(kind: str | None, true_c: Decimal, given: Given) -> str:
    """Why a bath entered as an ice point is none; empty where it is, and for other baths."""
    within = setting(given, "ice_point_c", ICE_C)
    if kind != "ice point" or abs(true_c) <= within:
        return ""
    return (
        f"entered as an ice point, and by its reference it was at {true_c:f} °C: more than "
        f"{within.normalize():f} °C from 0 is no ice point; make it anew or name the bath it was"
    )


def stability(read: Read, given: Given) -> Stability:
    """When readings in a bath hold still."""
    unit = unit_of(given)
    limit = setting(given, "stability_c", STABLE_C)
    here = limit * Decimal("1.8") if unit == "°F" else limit
    return Stability(
        max(here, max(reading.digit for reading in read.readings)),
        unit,
        int(setting(given, "stability_readings", LAST)),
        setting(given, "stability_interval_s", INTERVAL_S),
    )


def _stood_still(path: str, point: Bath, sheet: TemperatureSheet, given: Given) -> str:
    """Why the control system showed no live value beside a reading: its output was held."""
    if isinstance(sheet.output_held, Moment) and point.at is None:
        return "the output was held and no time says that the control system was read before or after that"
    return frozen(path, given)


def process_at(stage: str, sheet: TemperatureSheet) -> Process | NotDone | None:
    """Return the process that belongs to a stage."""
    found: Process | NotDone | None = getattr(sheet, PROCESS_AT[stage])
    return found


def apart_wanted(given: Given) -> Decimal:
    """How far two baths have to lie apart for a pass, °C."""
    return setting(given, "baths_apart_c", APART_C)


def no_two(stage: Stage, given: Given) -> str:
    """Why the baths of a stage do not suffice for a pass; empty where they do."""
    needed = f"a pass needs two baths at least {apart_wanted(given)} °C apart"
    if not any(point.counts for point in stage.points):
        return f"no bath that counts was read; {needed}"
    if stage.apart is None:
        return (
            f"one bath that counts was read: an error that grows with the temperature is not seen; {needed}"
        )
    if stage.apart < apart_wanted(given):
        return f"the baths are {stage.apart} °C apart, which is as good as one; {needed}"
    return ""


def built_in(given: Given) -> bool:
    """Whether the temperature is a second value of an analyzer of something else."""
    return given.analyzer.unit not in TemperatureSheet.UNITS


def unit_of(given: Given) -> str:
    """Return the unit of the display: that of the register, of a built-in temperature °C."""
    return own_unit(TemperatureSheet, given.analyzer.unit)


def in_unit(celsius: Decimal, given: Given) -> Decimal:
    """Return a temperature in the unit of the display, exactly."""
    found: Decimal = fahrenheit(celsius) if unit_of(given) == "°F" else celsius
    return found
