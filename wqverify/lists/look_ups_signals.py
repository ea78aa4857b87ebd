"""Look-ups of conductivity, temperature, the loop and level; entries of ``LOOK_UPS``."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal

from wqverify import tables
from wqverify.calculations import conductivity, level, loop, temperature, units, water_density
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.lists.look_up import Answer, Found, LookUp, Typed, Wanted
from wqverify.plant.messages import nearest

FACTORS = ("conductivity_f25", "ISO 7888:1985", "f25")
HIGHEST_MA = 25  # nothing beyond is looked up
SOLUTIONS = ("conductivity_kcl", "conductivity_ready_made")


def _kcl(typed: Typed) -> Answer:
    """The conductivity of potassium chloride by molality, or of a bottle of the trade."""
    column, t = typed["NAME"], Decimal(typed["TEMPERATURE"])
    every = [tables.load(name, edition) for name, edition in tables.names() if name in SOLUTIONS]
    known = [name for table in every for name in table.columns]
    if column not in known:
        raise ChooseAnother(
            f"No table here has a standard {column!r}; {nearest(column, known, otherwise='')} "
            f"There is {', '.join(known)}.".replace("  ", " "),
            found=column,
            expected=", ".join(known),
            where="NAME",
        )
    table = next(table for table in every if column in table.columns)
    about = table.columns[column]
    value = table.at(column, t)
    sure = "" if about.expanded_from.startswith("not stated") else f", U {about.expanded_from}"
    source = f"{table.source}{sure}; {table.verification}"
    what = f"{about.label}, {table.name} ({table.edition})"
    return Answer(
        (Found(what, f"{value:f}", about.unit, source),),
        (
            "The table on the bottle or its certificate wins.",
            "0.01 mol/kg (0.01 m) and 0.01 mol/L (1413) are two solutions: 1408.23 and 1413 uS/cm at 25 °C.",
        ),
    )


def _compensated(typed: Typed) -> Answer:
    """A conductivity at the reference temperature, by the factors of ISO 7888 and linear."""
    kappa, t, percent, reference = (
        Decimal(typed[name]) for name in ("CONDUCTIVITY", "TEMPERATURE", "COEFFICIENT", "REFERENCE")
    )
    found, says = [], ["Factors of ISO 7888 are of natural water of 60 to 1000 uS/cm, not of a standard."]
    name, edition, column = FACTORS
    table = tables.load(name, edition)
    try:
        factor = table.at(column, t) / table.at(column, reference)
    except CorrectTheEntry as problem:
        says.append(problem.message)
    else:
        source = f"{table.source}; {table.verification}"
        nodes = table.nodes(column)
        natural = conductivity.by_factor(kappa, t, nodes, table.at(column, reference))
        found += [
            Found(f"at {reference} °C by ISO 7888", f"{natural:.2f}", "uS/cm", source),
            Found(f"the reading: factor of ISO 7888 from {t} to {reference} °C", f"{factor:.4f}", "times"),
        ]
    straight = conductivity.linear(kappa, t, percent / 100, reference)
    factor = conductivity.linear(Decimal(1), t, percent / 100, reference)
    found += [
        Found(
            f"at {reference} °C linear, {percent} % per °C",
            f"{straight:.2f}",
            "uS/cm",
            "linear compensation as transmitters have it; common practice, no source",
        ),
        Found(f"the reading: linear factor from {t} to {reference} °C", f"{factor:.4f}", "times"),
    ]
    return Answer(tuple(found), tuple(says))


def _classes(t: Decimal, ohm_per_c: float) -> Answer:
    """Give what each tolerance class allows at a temperature; a class that is not stated there says so."""
    found, says = [], []
    for name in temperature.CLASSES:
        try:
            allowed = temperature.class_tolerance(t, name)
        except CorrectTheEntry as problem:
            says.append(problem.message)
            continue
        what = f"allowed up or down, class {name}: {float(allowed) * ohm_per_c:.4f} ohm"
        found.append(Found(what, f"{allowed:.4f}", "°C"))
    return Answer(tuple(found), tuple(says))


def _ohm(typed: Typed) -> Answer:
    t, at_zero = Decimal(typed["TEMPERATURE"]), float(typed["R0"])
    steep = temperature.pt_sensitivity(float(t), at_zero)
    classes = _classes(t, steep)
    found = (
        Found(f"platinum element at {t} °C", f"{temperature.pt_resistance(float(t), at_zero):.4f}", "ohm"),
        Found("that it rises by there", f"{steep:.4f}", "ohm/°C"),
    )
    return Answer(found + classes.found, (_LEADS, *classes.says))


def _pt100(typed: Typed) -> Answer:
    ohm, at_zero = float(typed["RESISTANCE"]), float(typed["R0"])
    t = Decimal(f"{temperature.pt_temperature(ohm, at_zero):.3f}")
    classes = _classes(t, temperature.pt_sensitivity(float(t), at_zero))
    found = Found(f"platinum element of {typed['RESISTANCE']} ohm", f"{t:f}", "°C")
    return Answer((found, *classes.found), (_LEADS, *classes.says))


_LEADS = "Resistance of the leads comes on top with two wires: about 0.4 ohm read as 1 °C of a Pt100."


def _range(typed: Typed) -> tuple[Decimal, Decimal, str]:
    unit = typed["UNIT"]
    if not unit or len(unit) > 12 or not unit.isprintable() or " " in unit or unit[0] in "+-.,0123456789":
        raise CorrectTheEntry(
            f"UNIT is {unit[:40]!r}; type the unit of the range as one word, such as ft, mg/L or %.",
            found=unit[:40],
            expected="one word of up to 12 characters",
            where="UNIT",
        )
    return Decimal(typed["LOW"]), Decimal(typed["HIGH"]), unit


def _both(way: Callable[[bool], str], unit: str, words: str) -> tuple[list[Found], list[str]]:
    """Give a number of a linear signal and of one whose root is taken; where there is no root, why."""
    found, says = [Found(f"{words}, linear", way(False), unit)], []
    try:
        found.append(Found(f"{words}, square root taken after the current", way(True), unit))
    except CorrectTheEntry as problem:
        says.append(problem.message)
    return found, says


def _value(typed: Typed) -> Answer:
    low, high, unit = _range(typed)
    ma = Decimal(typed["CURRENT"])
    # Seven figures of the larger end, however wide the range is.
    places = max(0, 6 - max(abs(low), abs(high)).adjusted())

    def way(root: bool) -> str:
        return f"{loop.value(ma, low, high, root):.{places}f}"

    found, says = _both(way, unit, f"{ma} mA on {low} to {high}")
    return Answer(tuple(found), (f"{ma} mA by NAMUR NE 43: {loop.state_of(ma)}.", *says))


def _current(typed: Typed) -> Answer:
    low, high, unit = _range(typed)
    shown = Decimal(typed["VALUE"])
    part = loop.part_of(shown, low, high)
    if not 0 <= loop.current(part) <= HIGHEST_MA:
        raise CorrectTheEntry(
            f"{shown} {unit} is so far outside {low} to {high} {unit} that no loop has a current for it; "
            f"look at the value and at both ends of the range again.",
            found=f"{shown} {unit}",
            expected=f"{low} to {high} {unit}",
            where="VALUE",
        )

    def way(root: bool) -> str:
        return f"{loop.current_of(shown, low, high, root):.4f}"

    found, says = _both(way, "mA", f"{shown} {unit} of {low} to {high}")
    found.append(Found("of the range", f"{100 * part:.4f}", "%"))
    if not 0 <= part <= 1:
        says.append(
            f"{shown} {unit} is outside the range; a transmitter stops at {loop.MEASURING_LOW} and "
            f"{loop.MEASURING_HIGH} mA (NAMUR NE 43)."
        )
    return Answer(tuple(found), tuple(says))


def _dense(typed: Typed) -> tuple[float, float, Found]:
    t, gravity = float(typed["TEMPERATURE"]), float(typed["GRAVITY"])
    density = water_density.water_density(t)
    what = f"density of water at {typed['TEMPERATURE']} °C"
    tanaka = "Tanaka and others, Metrologia 38 (2001) 301-309 (CIPM)"
    return density, gravity, Found(what, f"{density:.4f}", "kg/m3", tanaka)


def _pressure(typed: Typed) -> Answer:
    density, gravity, beside = _dense(typed)
    kpa = level.pressure_of_level(float(typed["LEVEL"]), density, gravity)
    found = Found(f"under {typed['LEVEL']} m of water", f"{kpa:.4f}", "kPa")
    return Answer((found, beside, *_also(kpa, "kPa", "psi", "inH2O")), _SALT)


def _level(typed: Typed) -> Answer:
    density, gravity, beside = _dense(typed)
    metres = level.level_of_pressure(float(typed["PRESSURE"]), density, gravity)
    found = Found(f"of water give {typed['PRESSURE']} kPa", f"{metres:.4f}", "m")
    return Answer((found, beside, *_also(metres, "m", "ft")), _SALT)


def _also(size: float, unit: str, *others: str) -> Iterator[Found]:
    for other in others:
        value = units.scaled(size, unit, other)
        yield Found(f"the same in {other}", f"{value:.4f}", other, "NIST SP 811 (2008), appendix B")


_SALT = (
    "The pressure is that against the air; a blocked vent tube adds what the air has changed by.",
    "Density of pure water: dissolved salts add about 0.8 kg/m3 for each g/L.",
)


# ---------------------------------------------------------------- the list

_R0 = Wanted("R0", "resistance at 0 °C, 1000 for a Pt1000", "ohm", "0", above=True, usual="100")
_PLATINUM = "IEC 60751:2022 (from memory; the 100 °C value as printed); classes from several public sources"
_EQUATION = "R = R0 (1 + A t + B t^2 + C (t - 100) t^3), the last term below 0 °C"
_STATED = ", ".join(f"{name} {low} to {high}" for name, (low, high) in temperature.CLASS_RANGES.items())
_PLATINUM_ROOM = f"{temperature.LOWEST_C} to {temperature.HIGHEST_C} °C; film elements of class {_STATED} °C"
_RANGE = (
    Wanted("LOW", "value at 4 mA"),
    Wanted("HIGH", "value at 20 mA"),
    Wanted("UNIT", "unit of the range: ft, mg/L, %", words=True),
)
_LOOP = "IEC 60381-1 and ISO 5167-1 (from memory); NAMUR NE 43 (three public sources)"
_HYDROSTATIC = "hydrostatics; standard gravity of the 3rd CGPM (1901)"
_WATER = (
    Wanted("TEMPERATURE", "of the water", "°C", "0", "40", usual="20"),
    Wanted("GRAVITY", "gravity there", "m/s2", "9.7", "9.9", usual="9.80665"),
)

SIGNALS: tuple[LookUp, ...] = (
    LookUp(
        "kcl",
        "conductivity of a potassium chloride standard at a temperature",
        (
            Wanted("NAME", 'as printed: "0.01 m" (mol/kg), 1413, 12880', words=True),
            Wanted("TEMPERATURE", "of the standard", "°C"),
        ),
        _kcl,
        "straight between the printed points",
        "only between the first and the last printed temperature",
        "the table beside its value",
    ),
    LookUp(
        "f25",
        "conductivity at 25 °C by ISO 7888 and linear, with both factors",
        (
            Wanted("CONDUCTIVITY", "not compensated", "uS/cm", "0"),
            Wanted("TEMPERATURE", "of the water", "°C", "0", "50"),
            Wanted("COEFFICIENT", "linear coefficient", "%/°C", "0", "10", usual="2"),
            Wanted("REFERENCE", "to which it is brought", "°C", "20", "25", usual="25"),
        ),
        _compensated,
        "k f25(t)/f25(reference); k / (1 + a (t - reference))",
        "ISO 7888 0 to 35 °C, straight between whole degrees; linear over a narrow range",
        "ISO 7888:1985 (EN 27888), factors of temperature for natural waters",
    ),
    LookUp(
        "ohm",
        "resistance of a Pt100 at a temperature, and its tolerance",
        (Wanted("TEMPERATURE", "of the element", "°C", "-200", "850"), _R0),
        _ohm,
        _EQUATION,
        _PLATINUM_ROOM,
        _PLATINUM,
    ),
    LookUp(
        "pt100",
        "temperature of a Pt100 by its resistance, and its tolerance",
        (Wanted("RESISTANCE", "of the element alone", "ohm", "0", above=True), _R0),
        _pt100,
        _EQUATION + ", solved for t",
        _PLATINUM_ROOM,
        _PLATINUM,
    ),
    LookUp(
        "value",
        "value that a current of 4-20 mA stands for, linear and square root",
        (Wanted("CURRENT", "loop current", "mA", "0", f"{HIGHEST_MA}"), *_RANGE),
        _value,
        "v = low + (high - low) q, root: low + (high - low) sqrt(q), q = (I - 4)/16",
        "any current linear; from 4 mA with the root",
        _LOOP,
    ),
    LookUp(
        "current",
        "current of 4-20 mA for a value, linear and square root",
        (Wanted("VALUE", "value shown"), *_RANGE),
        _current,
        "I = 4 + 16 y, root: I = 4 + 16 y |y|, y = (v - low)/(high - low)",
        "a signal that measures is 3.8 to 20.5 mA",
        _LOOP,
    ),
    LookUp(
        "pressure",
        "pressure under a height of water at a temperature",
        (Wanted("LEVEL", "water above the sensor", "m", "0"), *_WATER),
        _pressure,
        "p = rho g h/1000",
        "open to the air, water of 0 to 40 °C",
        _HYDROSTATIC,
    ),
    LookUp(
        "level",
        "height of water that gives a pressure, at a temperature",
        (Wanted("PRESSURE", "against the air", "kPa"), *_WATER),
        _level,
        "h = 1000 p/(rho g)",
        "open to the air, water of 0 to 40 °C",
        _HYDROSTATIC,
    ),
)
