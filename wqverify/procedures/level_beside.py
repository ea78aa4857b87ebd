"""What stands beside the questions of a level check: level so far, allowed readings, what a current means."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from wqverify.calculations.units import InUnit, in_unit
from wqverify.calculations.water_density import water_density
from wqverify.procedures import beside as b
from wqverify.procedures.level_budget import key_of
from wqverify.procedures.level_parts import Levels, MoreLevels
from wqverify.procedures.level_points import MEASURING_MA, PLACES, Point, elevations, points_of, range_at
from wqverify.procedures.level_rules import Found, found_of, short, why_not_adjust
from wqverify.procedures.level_sheet import LevelSheet
from wqverify.procedures.rules import tolerance
from wqverify.procedures.walk import answered
from wqverify.terms import Beside, Given, Raw, Reading, Tolerance


@b.quiet
def datum(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one datum, one path
    """Beside the elevations: those the register holds, and the tape out at an empty tank."""
    unit = given.analyzer.unit
    known = elevations(b.so_far(LevelSheet, raw), given)
    named = (("mark", known.mark), ("gauge", known.gauge), ("zero", known.zero))
    held = ", ".join(f"{name} {_elevation(value, given)}" for name, value in named if value is not None)
    empty = ""
    if known.mark:
        empty = f"at level 0 the tape would be {_elevation(known.mark - known.zero, given)} {unit}"
    return Beside(b.told(f"elevations so far: {held} {unit}", empty))


@b.quiet
def reference(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the reference readings: the instrument, and the level they give."""
    here = b.group(path)
    instrument = given.standards.get(b.at(raw, f"{here}.instrument") or "")
    line = b.bottle(instrument, str(raw.get("date", ""))) if instrument else ""
    return Beside(b.told(line, _level_words(_level(raw, here, given), raw, here, given)))


def _level(raw: Raw, here: str, given: Given) -> Point | None:
    """The level of a row as far as it is typed; what the places show may still be missing."""
    part, _points, _index = here.split(".")
    row = b.at(raw, here)
    if not row or not row.get("reference") or not row.get("by"):
        return None
    others = {name: one for name, one in answered(b.at(raw, part)).items() if name != "points"}
    model = Levels if part == "as_found" else MoreLevels
    levels = model.model_validate({**others, "points": [answered(row)]})
    alone = b.so_far(LevelSheet, raw).model_copy(update={part: levels})
    times = {path.replace(f"{here}.", f"{part}.points.0."): at for path, at in given.times.items()}
    stage = "as_left" if part == "as_left" else "as_found"
    found = points_of(stage, alone, replace(given, times=times))
    return next((point for point in found if point.path == f"{part}.points.0"), None)


def _level_words(point: Point | None, raw: Raw, here: str, given: Given) -> Iterator[str]:
    unit = given.analyzer.unit
    if point is None:
        known = elevations(b.so_far(LevelSheet, raw), given)
        if b.at(raw, f"{here}.by") == "tape" and known.mark is not None:
            above = _elevation(known.mark - known.zero, given)
            yield f"the mark is {above} {unit} above the zero of the level"
        return
    for one in point.readings:
        if one.words != f"{one.text} {one.unit}":
            yield f"{one.typed.text} = {_converted(one, given)} {one.unit}"
    if point.reference is not None:
        yield f"level by the {getattr(point.typed, 'by', '')}: {_near(point.reference, given):f} {unit}"
    elif point.reason:
        yield point.reason


@b.quiet
def density(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - no setting is needed
    """Beside density and temperature: what the water weighs at the temperature typed."""
    if path.endswith("density_kg_m3"):
        return Beside(b.told("pure water: 999.7 kg/m3 at 10 °C, 998.2 at 20, 995.6 at 30"))
    typed = b.number(raw, path)
    if typed is None:
        return Beside()
    here = in_unit(typed, "degC", path)
    value = f"{water_density(float(here.value)):.2f}"
    return Beside(b.told(f"water at {short(round(here.value, 2))} °C: {value} kg/m3"))


@b.quiet
def shown(raw: Raw, path: str, given: Given) -> Beside:
    """Beside what a place shows: the level by the reference, what is allowed, the error so far."""
    here, place = path.rpartition(".")[0], path.rpartition(".")[2]
    point, unit = _level(raw, here, given), given.analyzer.unit
    if point is None or point.reference is None:
        return Beside()
    exact, level = _tolerance(place, given), _near(point.reference, given)
    allowed = _inward(exact, point.reference, given) if exact is not None else None
    typed = b.number(raw, path)
    off = ""
    if typed is not None:
        error = in_unit(typed, unit, path).value - point.reference
        off = f"error so far: {b.signed(_error(error, exact, point.reference, given))} {unit}"
    return b.around(
        level,
        allowed,
        f"level by the reference: {level:f} {unit}",
        b.allowed(level, allowed, unit),
        off,
    )


# ---------------------------------------------------------------- not finer than anybody reads


def _place(given: Given) -> Decimal | None:
    """One place beyond the finest of the display and the limits; None where none of them is known."""
    both = (_tolerance(place, given) for place in ("display", "own"))
    limits = [end for one in both if one is not None for end in (one.low, one.high) if end is not None]
    digit = given.analyzer.digit
    places = [int(one.normalize().as_tuple().exponent) for one in (*limits, *([digit] if digit else ()))]
    return Decimal(1).scaleb(min(0, *places) - 1) if places else None


def _near(value: Decimal, given: Given, rounding: str = ROUND_HALF_EVEN) -> Decimal:
    """Return a level as it is shown beside a question."""
    place = _place(given)
    return Decimal(short(value.quantize(place, rounding) if place is not None else value))


def _elevation(value: Decimal, given: Given) -> str:
    """Return an elevation as it is shown: a survey gives three places."""
    place = _place(given)
    return short(value.quantize(min(place, Decimal("0.001"))) if place is not None else value)


def _converted(one: InUnit, given: Given) -> str:
    """Return a reading that was typed in another unit as it is shown: a pressure as fine as it was read."""
    if one.unit == given.analyzer.unit:
        return f"{_near(one.value, given):f}"
    return short(one.value.quantize(Decimal(1).scaleb(one.digit.adjusted() - 1)))


def _inward(allowed: Tolerance, reference: Decimal, given: Given) -> Tolerance:
    """Return the limits around the level shown, rounded so that none is shown wider than it is."""
    (low, high), level = allowed.at(reference), _near(reference, given)
    return replace(
        allowed,
        percent=None,
        low=None if low is None else _near(reference + low, given, ROUND_CEILING) - level,
        high=None if high is None else _near(reference + high, given, ROUND_FLOOR) - level,
    )


def _error(error: Decimal, allowed: Tolerance | None, reference: Decimal, given: Given) -> Decimal:
    """Return an error as it is shown: in full where rounding would carry it over a limit."""
    low, high = allowed.at(reference) if allowed is not None else (None, None)
    near, full = _near(error, given), Decimal(short(error))
    crosses = any(
        end is not None and (near > end) - (near < end) != (full > end) - (full < end) for end in (low, high)
    )
    return full if crosses else near


def _tolerance(place: str, given: Given) -> Tolerance | None:
    return tolerance("error" if place in ("display", "current") else "control_system", given, {})


@b.quiet
def current(raw: Raw, path: str, given: Given) -> Beside:
    """Beside a current: the level it stands for at the transmitter."""
    typed = b.number(raw, path)
    low, high = MEASURING_MA
    if typed is None:
        return Beside(b.told(f"a measuring value lies from {low} to {high} mA"))
    level, unit = _level_of(typed, raw, given), given.analyzer.unit
    return Beside(
        b.told(f"{typed.text} mA stand for {_near(level, given):f} {unit}" if level is not None else "")
    )


def _level_of(ma: Reading, raw: Raw, given: Given) -> Decimal | None:
    ends = range_at("transmitter", "as_found", b.so_far(LevelSheet, raw), given)
    return None if ends is None else ends[0] + (ends[1] - ends[0]) * (ma.value - 4) / 16


@b.quiet
def decision(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one decision, one path
    """Beside the decision: how far off the transmitter is, and why a range cannot be changed yet."""
    found = found_of(b.so_far(LevelSheet, raw), given)
    stop = "" if b.at(raw, "decision.despite") else _stop(raw, found)
    return Beside(b.told(_errors(found, given), stop))


def _errors(found: Found, given: Given) -> Iterator[str]:
    for point in found.of("as_found"):
        for place in found.budget.places(point):
            allowed = _tolerance(place, given)
            half = allowed.half_width(Decimal(0)) if allowed and allowed.percent is None else None
            limit = f", allowed ±{b.plain(half)}" if half is not None else ""
            of = found.quantities[key_of(point, place)]
            error = _error(of.decimal, allowed, point.nominal or Decimal(0), given)
            yield f"{point.name.replace('_', ' ')}, {PLACES[place]}: {error:f} {of.unit}{limit}"


def _stop(raw: Raw, found: Found) -> str:
    return why_not_adjust(b.at(raw, "decision.action") or "", found)


BESIDE = {
    "datum": datum,
    "reference": reference,
    "density": density,
    "shown": shown,
    "current": current,
    "decision": decision,
}
