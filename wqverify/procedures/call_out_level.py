"""The fault table for level: vent and weather, density, air, blanking."""

from __future__ import annotations

from decimal import Decimal

from wqverify.calculations import level
from wqverify.calculations.units import convert, quantity_of
from wqverify.calculations.water_density import water_density
from wqverify.procedures.call_out_case import (
    COMPUTED,
    DISPLAY,
    LEVEL_PAGE,
    OWN,
    THERMOMETER_K,
    WRONG,
    Case,
    Finding,
    Measure,
    Row,
    short,
)

DENSITY_PERCENT = 1  # of the level: less does not matter; common practice, no source
LEAST_SHARE = 0.005  # of the range; common practice, no source
CONFINED = (
    "Vaults and wet wells are confined spaces: permit, air test, attendant; no leaning over open water."
)


VENTED = Measure("level with the vent tube opened", OWN, "at the dry end; wait a minute", CONFINED)
BARO_THEN = Measure("barometer when it was last right", "kPa", "by a weather service, for that day")
BARO_NOW = Measure("barometer now", "kPa", "the same source")
DENSITY_SET = Measure("density set in the transmitter", "kg/m3", "off its menu; 1000 where none is set")
WATER_C = Measure("temperature of the water", "°C", "by a thermometer")
AIR_C = Measure("temperature of the air at the sensor", "°C", "in the shade, beside the sensor", CONFINED)
AIR_SET_C = Measure("temperature the transmitter counts with", "°C", "off its menu")
DISTANCE = Measure("distance from the sensor to the water", "m", "by tape", CONFINED)
ECHO = Measure("distance of the echo", "m", "off its menu")
BLANKING = Measure("blanking distance", "m", "off its menu")


def _vent(case: Case) -> Finding | None:
    """What opening the vent moves, in the pressure it means, against the tolerance of the register."""
    moved = case.number(VENTED) - case.number(DISPLAY)
    metre = float(level.level_of_pressure(1.0, float(water_density(20.0))))
    per_kpa = metre / (float(convert(Decimal(1), case.analyzer.unit, "m")) if _is_length(case) else 1.0)
    blocked = abs(float(moved)) > _allowed(case)
    pressure = f", {short(float(moved) / per_kpa)} kPa" if _is_length(case) else ""
    return Finding(
        "It moves when the vent is opened: the vent was blocked, and the weather was in it."
        if blocked
        else "It does not move by more than is allowed when the vent is opened: the vent is free.",
        "level vented − level before; 1 kPa of weather is 0.102 m of water at 20 °C",
        f"{case.number(VENTED)} − {case.number(DISPLAY)}; 1/(ρ g) = {metre:.4f} m",
        f"{short(moved, 3)} {case.analyzer.unit}{pressure}",
        ("the weather", "the sensor") if blocked else None,
        "the vent dried, the desiccant new: it no longer follows the barometer" if blocked else "",
    )


def _weather(case: Case) -> Finding | None:
    """What a blocked vent makes of the barometer since it was last right."""
    shift = (case.size(BARO_NOW) - case.size(BARO_THEN)) * float(
        level.level_of_pressure(1.0, float(water_density(20.0)))
    )
    own = shift / float(convert(Decimal(1), case.analyzer.unit, "m")) if _is_length(case) else shift
    matters = abs(own) > _allowed(case)
    return Finding(
        f"A blocked vent would make it {short(abs(own), 3)} {case.analyzer.unit} "
        f"{'high' if own > 0 else 'low'} "
        f"since then."
        if matters
        else "The barometer moved too little to matter.",
        "(p now − p then)/(ρ g), 1 kPa is 0.102 m",
        f"{case.number(BARO_NOW)} − {case.number(BARO_THEN)} kPa",
        f"{short(shift, 3)} m",
        ("the weather", "the sensor") if matters else None,
        "the vent tube opened: it moves by as much" if matters else "",
    )


def _is_length(case: Case) -> bool:
    return quantity_of(case.analyzer.unit) == "length"


def _allowed(case: Case) -> float:
    """What matters of a level: the tolerance of the register, else half a percent of the range."""
    held = case.analyzer.tolerances.get("error")
    half = held.half_width(case.number(DISPLAY)) if held is not None and case.knows(DISPLAY) else None
    share = LEAST_SHARE * float(case.width_at("transmitter"))
    return float(half) if half is not None and held is not None and held.unit == case.analyzer.unit else share


def _density(case: Case) -> Finding | None:
    density = float(water_density(case.size(WATER_C)))
    percent = 100 * (density / case.size(DENSITY_SET) - 1)
    matters = abs(percent) > DENSITY_PERCENT
    way = "high" if percent > 0 else "low"
    return Finding(
        f"The density that is set makes the level {short(abs(percent))} % too {way}, the same "
        f"percent at every level."
        if matters
        else "The density that is set fits the water.",
        "100 (ρ water/ρ set − 1)",
        f"100 ({density:.1f}/{case.number(DENSITY_SET)} − 1)",
        f"{short(percent, 2)} %",
        ("the sensor", "the display of the analyzer") if matters else None,
        "density set, tape read again at two levels" if matters else "",
    )


def _echo_air(case: Case) -> Finding | None:
    off = float(level.error_of_distance(case.size(DISTANCE), case.size(AIR_C), case.size(AIR_SET_C)))
    warm = abs(case.size(AIR_C) - case.size(AIR_SET_C)) > THERMOMETER_K
    ways = ("long", "low") if off > 0 else ("short", "high")
    return Finding(
        f"The air has {case.text(AIR_C)}, the transmitter counts with {case.text(AIR_SET_C)}: the "
        f"distance is "
        f"{short(abs(off), 3)} "
        f"m too {ways[0]}, "
        f"the level as much too {ways[1]}."
        if warm
        else "The transmitter has the right temperature of the air.",
        "d (c(taken)/c(air) − 1), c = 331.45 + 0.607 t",
        f"{case.size(DISTANCE):g} ((331.45 + 0.607 × {case.size(AIR_SET_C):g})/(331.45 + 0.607 × "
        f"{case.size(AIR_C):g}) − 1)",
        f"{short(off, 3)} m",
        ("the air", "the sensor") if warm else None,
        "its temperature element in the shade and in the air of the tank" if warm else "",
    )


def _blanked(case: Case) -> Finding | None:
    inside = case.size(ECHO) <= case.size(BLANKING)
    return Finding(
        "The echo lies within the blanking distance: it reads full of a nozzle, or the water is too near."
        if inside
        else "The echo lies beyond the blanking distance.",
        "echo against blanking",
        f"{case.text(ECHO)} against {case.text(BLANKING)}",
        "within" if inside else "beyond",
        ("the water", "the sensor") if inside else None,
        "a plate held under the sensor: the echo moves with it, or does not" if inside else "",
    )


def _hydrostatic(case: Case) -> bool:
    return not case.is_kind("ultrasonic", "radar")


def _ultrasonic(case: Case) -> bool:
    return not case.is_kind("hydrostatic", "pressure")


ROWS = (
    Row(
        "level, vent",
        (DISPLAY, VENTED),
        _vent,
        "the weather against the water",
        COMPUTED,
        WRONG,
        _hydrostatic,
    ),
    Row(
        "level, barometer",
        (BARO_THEN, BARO_NOW),
        _weather,
        "the weather against the water",
        COMPUTED,
        WRONG,
        _hydrostatic,
    ),
    Row(
        "level, density",
        (WATER_C, DENSITY_SET),
        _density,
        "an error in percent of the level",
        LEVEL_PAGE,
        WRONG,
        _hydrostatic,
    ),
    Row(
        "level, air",
        (DISTANCE, AIR_C, AIR_SET_C),
        _echo_air,
        "an error in percent of the distance",
        f"{COMPUTED}; formula, one public source",
        WRONG,
        _ultrasonic,
    ),
    Row(
        "level, blanking",
        (ECHO, BLANKING),
        _blanked,
        "a false echo against the water",
        LEVEL_PAGE,
        frozenset({"at the top", "stands still", "reads wrong"}),
        _ultrasonic,
    ),
)
