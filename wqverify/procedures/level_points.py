"""The levels of a check in the analyzer's unit: datum, what was read where, and why it is not judged."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from typing import Literal

from wqverify.calculations.level import level_of_pressure, level_of_scale, level_of_ullage
from wqverify.calculations.units import InUnit, convert, in_unit, units_that_fit
from wqverify.calculations.water_density import water_density
from wqverify.procedures.level_parts import INJECTED, Datum, Levels, MoreLevels, Ranges, Row, range_of
from wqverify.procedures.level_sheet import LevelSheet
from wqverify.procedures.rules import fixed, frozen, overdue, setting, standard
from wqverify.terms import Given, Reading, Standard

STAGES = {"as_found": "As found", "as_left": "As left"}
PARTS = {"as_found": ("as_found", "second"), "as_left": ("as_left",)}  # of the sheet, by stage
NAMED = {"as_found": "level", "second": "second", "as_left": "level"}
RANGES = {"as_found": "ranges", "as_left": "ranges_as_left"}
Where = Literal["display", "current", "remote", "own"]
PLACES: dict[Where, str] = {
    "display": "transmitter",
    "current": "loop current",
    "remote": "remote display",
    "own": "our control system",
}
MEASURING_MA = (Decimal("3.8"), Decimal("20.5"))  # NAMUR NE 43: a measuring value
MOMENT_MIN = "2"
OUTSIDE_NE43 = "is no measuring value (NAMUR NE 43: 3.8 to 20.5 mA)"


@dataclass(frozen=True)
class Elevations:
    """Where the tape, the gauge and the level count from, in the analyzer's unit."""

    mark: Decimal | None
    gauge: Decimal | None
    zero: Decimal
    source: str


@dataclass(frozen=True)
class Point:
    """One level, or one injected current: the reference, what each place showed, why nothing is judged."""

    stage: str
    name: str  # "level_1", "second_2"
    path: str
    unit: str  # of the analyzer
    words: str  # "level 1, by tape TP-1"
    instrument: Standard
    shown: dict[Where, InUnit]
    typed: Row
    readings: tuple[InUnit, ...] = ()  # in the analyzer's unit, of a gauge in kPa
    reference: Decimal | None = None  # exact; None where it is no decimal or not known
    from_mark: Decimal | None = None  # mark (or gauge) less zero
    water: InUnit | None = None
    air: InUnit | None = None
    heard: str = ""  # how the values of the far end were learned
    minutes: Decimal = Decimal(0)  # from the reference to the values of the places
    rise: Reading | None = None
    meter: Standard | None = None
    reason: str = ""
    reasons: dict[Where, str] = field(default_factory=dict)  # of single places

    @property
    def ma(self) -> Reading | None:
        """The loop current, measured or injected."""
        return current_of(self.typed) if self.injected else self.typed.ma

    @property
    def nominal(self) -> Decimal | None:
        """The level by the reference, of a pressure as near as a float is; None where it is not known."""
        if self.reference is not None or self.from_mark is None or not self.by_pressure:
            return self.reference
        if self.water is None:
            return None
        density = water_density(float(self.water.value))
        metres = level_of_pressure(float(mean(self.readings)), density)
        return self.from_mark + convert(Decimal(repr(metres)), "m", self.unit)

    @property
    def by_pressure(self) -> bool:
        return bool(self.readings) and self.readings[0].unit == "kPa"

    @property
    def by_tape(self) -> bool:
        return self.typed.by == "tape"

    @property
    def injected(self) -> bool:
        return is_injected(self.typed)

    def why_not(self, place: Where) -> str:
        """Why a place has no verdict, empty where it has."""
        return "; ".join(filter(None, (self.reason, self.reasons.get(place, ""))))


def mean(values: tuple[InUnit, ...]) -> Decimal:
    """Return the mean of readings, to 28 figures."""
    return sum((one.value for one in values), Decimal(0)) / len(values)


# ---------------------------------------------------------------- datum and ranges


def elevations(sheet: LevelSheet, given: Given) -> Elevations:
    """Return the elevations of the sheet, else those of the register's settings."""
    unit, settings = given.analyzer.unit, given.analyzer.settings
    typed = sheet.datum if isinstance(sheet.datum, Datum) else Datum()
    found: dict[str, Decimal | None] = {}
    for name in ("mark", "gauge", "zero"):
        here: Reading | None = getattr(typed, name)
        held = settings.get(f"{name}_elevation")
        if here is not None:
            found[name] = in_unit(here, unit, f"datum.{name}").value
        else:
            found[name] = Decimal(held) if held is not None else None
    register = any(f"{name}_elevation" in settings for name in ("mark", "gauge"))
    source = typed.source or ("the register" if register else "")
    return Elevations(found["mark"], found["gauge"], found["zero"] or Decimal(0), source)


def range_at(place: str, stage: str, sheet: LevelSheet, given: Given) -> tuple[Decimal, Decimal] | None:
    """Return the range set at one end: as read there, for the transmitter else that of the register."""
    unit = given.analyzer.unit
    for name in (stage, "as_found"):
        part = getattr(sheet, RANGES[name])
        typed: str | None = getattr(part, place) if isinstance(part, Ranges) else None
        if typed is not None:
            low, high = (in_unit(end, unit, f"{RANGES[name]}.{place}").value for end in range_of(typed))
            return low, high
    if place != "transmitter" or not given.analyzer.hops:
        return None
    first = given.analyzer.hops[0]
    if first.low is None or first.high is None or first.unit not in ("", unit):
        return None
    return first.low, first.high


# ---------------------------------------------------------------- levels and currents


def points_of(stage: str, sheet: LevelSheet, given: Given) -> list[Point]:
    """Return the levels and the injected currents of a stage, in the order of the sheet."""
    found: list[Point] = []
    for part in PARTS[stage]:
        levels = getattr(sheet, part)
        for index in range(len(levels.points) if isinstance(levels, Levels | MoreLevels) else 0):
            of = _current if is_injected(levels.points[index]) else _level
            found.append(of(stage, part, index, levels, sheet, given))
    return found


def is_injected(typed: Row) -> bool:
    """Whether a row is a current injected in place of the transmitter."""
    return typed.by == INJECTED


def current_of(typed: Row) -> Reading:
    """Return an injected current without its unit, which is mA."""
    text = typed.reference[0].text.partition(" ")[0]
    return Reading(text, typed.reference[0].value)


def _level(
    stage: str, part: str, index: int, levels: Levels | MoreLevels, sheet: LevelSheet, given: Given
) -> Point:
    typed, path, name = levels.points[index], f"{part}.points.{index}", f"{NAMED[part]}_{index + 1}"
    first = sheet.as_found if isinstance(sheet.as_found, Levels) else None  # what holds for the whole visit
    instrument = standard(typed.instrument, f"{path}.instrument", given)
    readings = tuple(_reference(typed, path, given))
    known = elevations(sheet, given)
    above = known.mark if typed.by == "tape" else known.gauge
    water, air = (_temperature(one, first) for one in ("water_c", "air_c"))
    pressure = readings[0].unit == "kPa"
    reference = None
    if above is not None and not pressure:
        of = level_of_ullage if typed.by == "tape" else level_of_scale
        exact = of(above, known.zero, mean(readings))
        reference = _fixed(
            exact, (*readings, *dict(_shown(typed, path, given)).values()), given.analyzer.unit
        )
    minutes = _minutes(path, given)
    meter = standard(first.meter, "as_found.meter", given) if first and first.meter else None
    why = [
        _no_elevation(typed, above),
        _past_due(instrument, f"{path}.at", given),
        "" if water is not None or not pressure else _NO_TEMPERATURE,
        _too_late(minutes, levels.rise, given),
    ]
    point = Point(
        stage=stage,
        name=name,
        path=path,
        unit=given.analyzer.unit,
        words=f"{name.replace('_', ' ')}, {typed.by} {instrument.id}",
        instrument=instrument,
        shown=dict(_shown(typed, path, given)),
        typed=typed,
        readings=readings,
        reference=reference,
        from_mark=above - known.zero if above is not None else None,
        water=water,
        air=air,
        heard=levels.heard_how or "",
        minutes=minutes,
        rise=levels.rise,
        meter=meter,
        reason="; ".join(filter(None, why)),
    )
    stood = frozen(f"{part}.{index}", _read_at(f"{part}.{index}", path, given))
    point.reasons.update({"remote": stood, "own": stood} if stood else {})
    current = _no_current(point, sheet, given) or _past_due(meter, f"{path}.read_at", given)
    point.reasons.update({"current": current} if current else {})
    return point


def _fixed(level: Decimal, read: tuple[InUnit, ...], unit: str) -> Decimal:
    """A level that has no end is fixed two digits beyond the finest that was read in the unit it is in."""
    lengths = [one for one in read if one.unit == unit]
    own = [one for one in lengths if one.typed.unit in (None, unit)] or lengths
    return fixed(level, Decimal(1).scaleb(min(one.digit.adjusted() for one in own)))


def _temperature(name: str, levels: Levels | None) -> InUnit | None:
    typed: Reading | None = getattr(levels, name, None)
    return in_unit(typed, "degC", f"as_found.{name}") if typed is not None else None


def _current(stage: str, part: str, index: int, levels: MoreLevels, sheet: LevelSheet, given: Given) -> Point:
    typed, path = levels.points[index], f"{part}.points.{index}"
    source = standard(typed.instrument, f"{path}.instrument", given)
    current = current_of(typed)
    ends = range_at("transmitter", stage, sheet, given)
    why = [
        _NO_RANGE if ends is None else "",
        _past_due(source, f"{path}.at", given),
        _beyond(current),
        frozen(f"{part}.{index}", _read_at(f"{part}.{index}", path, given)),
    ]
    return Point(
        stage=stage,
        name=f"{NAMED[part]}_{index + 1}",
        path=path,
        unit=given.analyzer.unit,
        words=f"{current.text} mA injected by {source.id}",
        instrument=source,
        shown=dict(_shown(typed, path, given)),
        typed=typed,
        reference=ends[0] + (ends[1] - ends[0]) * (current.value - 4) / 16 if ends is not None else None,
        heard=levels.heard_how or "",
        meter=source,
        reason="; ".join(filter(None, why)),
    )


def _reference(typed: Row, path: str, given: Given) -> Iterator[InUnit]:
    for index, reading in enumerate(typed.reference):
        pressure = typed.by == "gauge" and reading.unit in units_that_fit("kPa")
        yield in_unit(reading, "kPa" if pressure else given.analyzer.unit, f"{path}.reference.{index}")


def _shown(typed: Row, path: str, given: Given) -> Iterator[tuple[Where, InUnit]]:
    for place in PLACES:
        reading: Reading | None = getattr(typed, "ma" if place == "current" else place)
        if reading is not None:
            yield (
                place,
                in_unit(reading, "mA" if place == "current" else given.analyzer.unit, f"{path}.{place}"),
            )


# ---------------------------------------------------------------- why nothing is judged

_NO_TEMPERATURE = "the temperature of the water was not taken, so a pressure gives no level"
_NO_RANGE = (
    "the range of the transmitter is known neither from the register (its first hop) nor from the sheet, so "
    "a current stands for no level"
)


def _no_elevation(typed: Row, above: Decimal | None) -> str:
    if above is not None:
        return ""
    what = "mark" if typed.by == "tape" else "gauge or scale"
    return f"the elevation of the {what} stands neither in the register nor under datum"


def _past_due(instrument: Standard | None, path: str, given: Given) -> str:
    if instrument is None or not overdue(instrument, given, path):
        return ""
    return f"the calibration of {instrument.id} was due on {instrument.calibration_due}"


def _too_late(minutes: Decimal, rise: Reading | None, given: Given) -> str:
    most = setting(given, "level_moment_min", MOMENT_MIN)
    if rise is not None or abs(minutes) <= most:
        return ""
    return (
        f"the places were read {abs(minutes):f} min from the reference, more than {most} min, and how fast "
        f"the level moved in a minute is not entered"
    )


def _no_current(point: Point, sheet: LevelSheet, given: Given) -> str:
    if point.ma is None:
        return ""
    known = range_at("transmitter", point.stage, sheet, given)
    return "; ".join(filter(None, ("" if known else _NO_RANGE, _beyond(point.ma))))


def _beyond(ma: Reading) -> str:
    low, high = MEASURING_MA
    return "" if low <= ma.value <= high else f"a current of {ma.text} mA {OUTSIDE_NE43}"


def _minutes(path: str, given: Given) -> Decimal:
    """Minutes from the reference to what the places showed; 0 where one of the times is missing."""
    first, then = (given.times.get(f"{path}.{name}") for name in ("at", "read_at"))
    if not first or not then:
        return Decimal(0)
    apart = datetime.fromisoformat(then) - datetime.fromisoformat(first)
    return Decimal(int(apart.total_seconds())) / 60


def _read_at(part: str, path: str, given: Given) -> Given:
    """The same with the time the places were read under the name a held output is looked up by."""
    moment = given.times.get(f"{path}.read_at") or given.times.get(f"{path}.at")
    return replace(given, times={**given.times, f"{part}.at": moment}) if moment else given
