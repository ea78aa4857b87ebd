"""The fault table for level and flow."""

from __future__ import annotations

from decimal import Decimal

from wqverify.calculations import level, loop
from wqverify.calculations.units import convert, quantity_of
from wqverify.calculations.water_density import water_density
from wqverify.procedures.call_out_case import (
    COMPUTED,
    DISPLAY,
    FLOW_PAGE,
    IN,
    LEVEL_PAGE,
    MEMORY,
    OUT,
    OWN,
    ROOT_HERE,
    ROOT_THERE,
    SHOWN,
    THERMOMETER_K,
    WRONG,
    Case,
    Finding,
    Measure,
    Row,
    short,
    tells_by_what_follows,
)
from wqverify.procedures.call_out_loop import CARD, FITS, LOCKED, TERMINALS

LEAST_SHARE = 0.005  # of the range; common practice, no source
CONFINED = (
    "Vaults and wet wells are confined spaces: permit, air test, attendant; no leaning over open water."
)

# ---------------------------------------------------------------- level

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
        f"{'low' if own > 0 else 'high'} "
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
    matters = abs(percent) > 1
    way = "high" if percent > 0 else "low"
    return Finding(
        f"The density that is set makes the level {short(abs(percent))} % too {way}, the same "
        f"percent at every level."
        if matters
        else "The density that is set fits the water.",
        "100 (ρ water/ρ set − 1)",
        f"100 ({density:.1f}/{case.number(DENSITY_SET)} − 1)",
        f"{short(percent, 2)} %",
        ("the sensor", DISPLAY_WORDS) if matters else None,
        "density set, tape read again at two levels" if matters else "",
    )


def _echo_air(case: Case) -> Finding | None:
    off = float(level.error_of_distance(case.size(DISTANCE), case.size(AIR_C), case.size(AIR_SET_C)))
    warm = abs(case.size(AIR_C) - case.size(AIR_SET_C)) > THERMOMETER_K
    ways = ("long", "low") if off > 0 else ("short", "high")
    return Finding(
        f"The air is not as warm as the transmitter takes it: the distance is {short(abs(off), 3)} "
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


# ---------------------------------------------------------------- flow

STANDSTILL = Measure(
    "flow at standstill", OWN, "valves shut, pumps off, by operations", "Only operations stop the flow."
)
STRAIGHT = Measure("5 pipe diameters straight before it, 3 behind?", "", "look at bends, valves and pumps")
FIRST_KOHM = Measure("resistance of one electrode to the water", "kohm", "at its terminals", LOCKED)
OTHER_KOHM = Measure("resistance of the other electrode", "kohm", "at its terminals", LOCKED)
EQUALISED = Measure(
    "flow with the manifold equalised",
    OWN,
    "high and low side joined at the valve manifold",
    "Output held and in manual first: no flow is shown. Valves slowly, in the manifold's order.",
)
FULL = Measure("is the pipe full at standstill?", "", "by its empty-pipe alarm or a tap at the crown")
WATER_US = Measure("conductivity of the water", "uS/cm", "by a hand meter")
TWICE = 2  # between two electrodes; common practice, no source
ROOTS = ("no root at all", "one root", "two roots")


def _standstill(case: Case) -> Finding | None:
    off = 100 * float(case.number(STANDSTILL) / case.width_at("transmitter"))
    if abs(off) <= 1:
        return Finding(
            "Zero at standstill, within 1 % of the range; a low-flow cut can hide what is less.",
            "flow at standstill in % of the range",
            f"100 × {case.number(STANDSTILL)}/{case.width_at('transmitter')}",
            f"{short(off)} %",
        )
    if not case.knows(FULL, WATER_US):
        return None
    if case.says(FULL) is False:
        says, between = "A part-full pipe reads high.", ("the water", "the electrodes")
    elif case.size(WATER_US) < 5:
        says, between = "Below 5 uS/cm a magnetic meter does not read.", ("the water", "the electrodes")
    else:
        says, between = (
            "Full, and conducting: earth rings, electrodes, or its zero.",
            ("the electrodes", TERMINALS),
        )
    return Finding(
        says,
        "flow at standstill in % of the range",
        f"100 × {case.number(STANDSTILL)}/{case.width_at('transmitter')}",
        f"{short(off)} %",
        between,
        "resistance of each electrode to the water, both alike; earth rings; then its zero",
    )


def _electrodes(case: Case) -> Finding | None:
    first, other = case.size(FIRST_KOHM), case.size(OTHER_KOHM)
    unlike = max(first, other) > TWICE * min(first, other)
    return Finding(
        "The electrodes differ: one is coated or not wetted."
        if unlike
        else "Both electrodes see the water alike.",
        "the larger against twice the smaller",
        f"{case.text(FIRST_KOHM)} and {case.text(OTHER_KOHM)}",
        "unlike" if unlike else "alike",
        ("the water", "the electrodes") if unlike else None,
        "cleaned, both alike: the noise or the zero goes" if unlike else "",
    )


def _straight(case: Case) -> Finding | None:
    if case.says(STRAIGHT):
        return Finding("Straight enough before and behind.")
    return Finding(
        "A bend, valve or pump too near: the profile is not even, and it reads off by a percent "
        "that does not move.",
        between=("the water", "the electrodes"),
        confirm="a strap-on meter in a straight length, or a draw-down of a tank",
    )


def _equalised(case: Case) -> Finding | None:
    off = 100 * float(case.number(EQUALISED) / case.width_at("transmitter"))
    wrong = abs(off) > 1
    return Finding(
        "No difference of pressure and it shows flow: the zero of the transmitter, or its tubing."
        if wrong
        else "Zero with the manifold equalised: the cell is right.",
        "flow in % of the range with both sides joined",
        f"100 × {case.number(EQUALISED)}/{case.width_at('transmitter')}",
        f"{short(off)} %",
        ("the tubing", TERMINALS) if wrong else None,
        "tubing vented or drained, zeroed with the manifold equalised" if wrong else "",
    )


def _roots(case: Case) -> Finding | None:
    """What the far end shows of the current, against none, one and two square roots."""
    current = case.size(IN if case.knows(IN) else OUT)
    part = float(loop.fraction(current))
    low, high = (float(end) for end in case.range_at("display"))
    shown = 100 * (case.size(SHOWN) - low) / (high - low)
    if part < 0:
        return Finding(
            f"{short(current, 3)} mA is below 4 mA: a negative signal has no square root; read it "
            "while water flows."
        )
    would = [100 * part, 100 * part**0.5, 100 * part**0.25]
    fits = [name for name, size in zip(ROOTS, would, strict=True) if abs(size - shown) <= FITS]
    named = " or ".join(fits) or "none of these"
    told = ", ".join(f"{name} {short(size, 1)} %" for name, size in zip(ROOTS, would, strict=True))
    says = f"{short(current, 3)} mA is shown as {short(shown, 1)} %: {named} of the current ({told})."
    if ROOTS[1] in fits and len(fits) == 1:
        says += (
            " Right where the current is linear in differential pressure; where the transmitter takes the "
            "root already, it is taken twice."
        )
    if ROOTS[0] in fits and len(fits) == 1:
        says += " Right where the transmitter takes the root; where it does not, nobody does."
    taken = [case.says(ROOT_HERE), case.says(ROOT_THERE)]
    if taken == [True, True]:
        says += " Both ends take the root."
    elif taken == [False, False]:
        says += " Neither end takes the root."
    wrong = taken[0] is not None and taken[0] == taken[1]
    return Finding(
        says,
        "100 q, 100 √q, 100 ⁴√q, q = (I − 4)/16",
        f"q = ({current:g} − 4)/16 = {part:.4f}; shown "
        f"100 ({case.number(SHOWN)} − {low:g})/({high:g} − {low:g})",
        f"{short(shown, 1)} %",
        (CARD, "the control system") if wrong or not fits else None,
        "the root taken at one end only: right in the middle of the range, as at both ends of it"
        if wrong
        else "two more currents, one near a quarter of the span"
        if not fits
        else "",
    )


DISPLAY_WORDS = "the display of the analyzer"


def _hydrostatic(case: Case) -> bool:
    return not case.is_kind("ultrasonic", "radar")


def _ultrasonic(case: Case) -> bool:
    return not case.is_kind("hydrostatic", "pressure")


def _magnetic(case: Case) -> bool:
    return not case.is_kind("differential", "orifice", "venturi")


def _on_pressure(case: Case) -> bool:
    return case.may_be_rooted


def _by_pressure(case: Case) -> bool:
    return case.may_be_rooted and case.knows(SHOWN)


def _moves_at_standstill(case: Case) -> bool:
    return (
        _magnetic(case)
        and case.knows(STANDSTILL)
        and abs(100 * float(case.number(STANDSTILL) / case.width_at("transmitter"))) > 1
    )


LEVELS = (
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
FLOWS = (
    Row(
        "flow, root",
        (ROOT_HERE, ROOT_THERE, IN),
        _roots,
        "where the square root is taken",
        COMPUTED,
        WRONG,
        _by_pressure,
        ((DISPLAY, OUT), (IN, SHOWN)),
    ),
    Row(
        "flow, manifold equalised",
        (EQUALISED,),
        _equalised,
        "the zero of the cell against the pipe",
        MEMORY,
        WRONG | {"noisy"},
        _on_pressure,
    ),
    Row(
        "flow, standstill",
        (STANDSTILL,),
        _standstill,
        "the zero against the span",
        FLOW_PAGE,
        WRONG | {"noisy"},
        _magnetic,
    ),
    Row(
        "flow, full pipe",
        (FULL, WATER_US),
        tells_by_what_follows,
        "the water against the meter",
        FLOW_PAGE,
        wanted=_moves_at_standstill,
    ),
    Row(
        "flow, electrodes",
        (FIRST_KOHM, OTHER_KOHM),
        _electrodes,
        "the electrodes against the water",
        FLOW_PAGE,
        WRONG | {"noisy"},
        _magnetic,
    ),
    Row(
        "flow, straight lengths",
        (STRAIGHT,),
        _straight,
        "the profile against the meter",
        FLOW_PAGE,
        WRONG,
        _magnetic,
    ),
)
