"""The fault table for conductivity, and for a temperature element."""

from __future__ import annotations

from wqverify.calculations.temperature import pt_temperature
from wqverify.errors import CorrectTheEntry
from wqverify.procedures.call_out_case import (
    BY_THERMOMETER,
    BY_TRANSMITTER,
    CALIBRATION,
    COMPUTED,
    MEMORY,
    NOT_BACK,
    OWN,
    SENSOR_MANUAL,
    THERMOMETER_K,
    WRONG,
    ZERO_SHARE,
    Case,
    Finding,
    Measure,
    Row,
    short,
    tells_by_what_follows,
)
from wqverify.procedures.call_out_sample import STANDARD, STANDARD_IS

CELL, DISPLAYED = "the cell", "the display"
RIGHT = 0.03  # of a standard, for a cell that is right in both; common practice, no source
MOST_PT100 = 391.0  # ohm, the end of its table; a Pt1000 begins below it only under -150 °C
SHARE = 0.1  # of a ratio: two are alike within it; common practice, no source


HIGHER = Measure("value in a higher standard", OWN, "once it holds still", NOT_BACK)
HIGHER_IS = Measure("value of the higher standard", OWN, "at its temperature, off the bottle")
COEFFICIENT = Measure("temperature coefficient that is set", "%/°C", "off its menu")
LINEAR = 2.0  # %/°C, the usual linear coefficient
DRY_AIR = Measure("value in dry air", OWN, "cell out, rinsed, dried")
UNPLUGGED = Measure("value with the sensor unplugged", OWN, "at the transmitter")
ELEMENT_OHM = Measure(
    "resistance of the temperature element", "ohm", "at the transmitter, both wires off; Pt100 or Pt1000"
)


def _ratio(case: Case) -> Finding | None:
    first, second = (
        case.size(value) / case.size(true) for value, true in ((STANDARD, STANDARD_IS), (HIGHER, HIGHER_IS))
    )
    alike = abs(second - first) <= SHARE * abs(first)
    right = alike and abs(first - 1) <= RIGHT
    offs = [
        case.size(value) - case.size(true) for value, true in ((STANDARD, STANDARD_IS), (HIGHER, HIGHER_IS))
    ]
    constant = abs(offs[1] - offs[0]) <= SHARE * max(abs(offs[0]), abs(offs[1]))
    between: tuple[str, str] | None = (CELL, DISPLAYED)
    if right:
        says, confirm, between = "Right in both standards: not the cell.", "", None
    elif constant:
        says = "As much off in both: a zero, a wet plug."
        confirm = "value in dry air, then with the sensor unplugged"
    elif alike:
        says, confirm = (
            "A ratio that stays: the cell constant, or a coating.",
            "cleaned, the same two standards",
        )
    elif second < first and second < 1:
        says = "Lower the higher it gets: polarisation of a two-electrode cell."
        confirm, between = "another frequency, or a cell of four electrodes", ("the water", CELL)
    else:
        says = "Off in the low standard and less in the high one: a contaminated low standard, or a zero."
        confirm, between = "a fresh low standard; value in dry air", ("the standard", CELL)
    return Finding(
        says,
        "value/standard, low and high",
        f"{case.number(STANDARD)}/{case.number(STANDARD_IS)}, {case.number(HIGHER)}/{case.number(HIGHER_IS)}",
        f"{short(first, 3)} and {short(second, 3)}",
        between,
        confirm,
    )


def _air(case: Case) -> Finding | None:
    limit = ZERO_SHARE * float(case.width_at("transmitter"))
    if abs(case.size(DRY_AIR)) <= limit:
        return Finding(
            "Zero in dry air; that alone also passes a dead probe.",
            "value in dry air against 1 % of the span",
            f"{case.number(DRY_AIR)} against {short(limit, 3)}",
            "zero",
            confirm="two standards",
        )
    if not case.knows(UNPLUGGED):
        return None
    wet = abs(case.size(UNPLUGGED)) <= limit
    return Finding(
        "Zero once it is unplugged: a wet plug, or a short in cell or cable."
        if wet
        else "Not zero without a sensor: the electronics.",
        "value unplugged against 1 % of the span",
        f"{case.number(UNPLUGGED)} against {short(limit, 3)}",
        "zero" if wet else "not zero",
        (CELL, "the terminals of the transmitter")
        if wet
        else ("the terminals of the transmitter", DISPLAYED),
        "plug dried: zero in dry air" if wet else "another transmitter on the same cell",
    )


def _element(case: Case) -> Finding | None:
    true, taken = case.size(BY_THERMOMETER), case.size(BY_TRANSMITTER)
    ohm = case.size(ELEMENT_OHM)
    thousand = ohm > MOST_PT100
    try:
        by_ohm = float(pt_temperature(ohm / 10 if thousand else ohm))
    except CorrectTheEntry:
        return Finding(
            f"{case.text(ELEMENT_OHM)} is no resistance of a Pt100 or Pt1000: open, shorted, or "
            f"another element.",
            "resistance of the element",
            case.text(ELEMENT_OHM),
            "none of either",
            ("the water", "the temperature element"),
            "each pair of its wires; then its type on the plate",
        )
    what = "Pt1000" if thousand else "Pt100"
    put_in = f"{case.text(ELEMENT_OHM)} of a {what} is {short(by_ohm)} °C; "
    put_in += f"thermometer {true:g}, transmitter {taken:g} °C"
    if abs(by_ohm - true) > THERMOMETER_K:
        says, between = (
            "The element itself does not fit the thermometer.",
            ("the water", "the temperature element"),
        )
    elif abs(taken - by_ohm) > THERMOMETER_K:
        says, between = (
            "The element is right and the transmitter makes something else of it: type, wires, setting.",
            ("the temperature element", "the transmitter"),
        )
    else:
        says, between = "Element and transmitter are right; next the compensation that is set.", None
    return Finding(
        says,
        "t by IEC 60751 of the ohms, against thermometer and transmitter",
        put_in,
        f"{short(by_ohm)} °C",
        between,
        "a resistor of 138.51 ohm (Pt1000: 1385.1) in its place: 100.0 °C is shown; another value "
        "is a wrong platinum, "
        "which is about 10 °C off at 300 °C"
        if between
        else "",
    )


def _compensation(case: Case) -> Finding | None:
    """What the coefficient that is set makes at this temperature, against the 2 % of a linear one."""
    t, coefficient = case.size(BY_THERMOMETER), case.size(COEFFICIENT)
    factors = [1 + value / 100 * (t - 25) for value in (coefficient, LINEAR)]
    if min(factors) <= 0:
        return Finding(f"A linear coefficient of {coefficient:g} %/°C has no value at {t:g} °C.")
    moved = 100 * (factors[1] / factors[0] - 1)
    return Finding(
        f"With {coefficient:g} %/°C it shows {short(moved, 1)} % more at {t:g} °C than with 2 %/°C. "
        f"A linear 2 % shows "
        f"natural water 0.5 % high at 15 °C, right at 10 °C and 4.1 % low at 0 °C against ISO 7888.",
        "100 ((1 + 0.02 (t − 25))/(1 + a (t − 25)) − 1)",
        f"a {coefficient:g} %/°C, t {t:g} °C: {factors[1]:.4f}/{factors[0]:.4f}",
        f"{short(moved, 1)} %",
        None,
        "conductivity_check, which computes both compensations at the temperature of the standards",
    )


def _air_is_not_zero(case: Case) -> bool:
    limit = ZERO_SHARE * float(case.width_at("transmitter"))
    return case.knows(DRY_AIR) and abs(case.size(DRY_AIR)) > limit


ELEMENT = (
    Row(
        "temperature element",
        (BY_TRANSMITTER, BY_THERMOMETER, ELEMENT_OHM),
        _element,
        "the element against its setting",
        "IEC 60751:2022; wrong platinum, one public source",
        WRONG,
    ),
)
ROWS = (
    Row(
        "conductivity, zero in dry air",
        (DRY_AIR,),
        _air,
        "the cell against the electronics",
        MEMORY,
        WRONG | CALIBRATION,
    ),
    Row(
        "conductivity, unplugged",
        (UNPLUGGED,),
        tells_by_what_follows,
        "plug and cell against electronics",
        MEMORY,
        wanted=_air_is_not_zero,
    ),
    Row(
        "conductivity, two standards",
        (STANDARD, STANDARD_IS, HIGHER, HIGHER_IS),
        _ratio,
        "cell constant or coating against polarisation",
        f"{SENSOR_MANUAL}; ratio {COMPUTED}",
        WRONG | CALIBRATION,
    ),
    Row(
        "conductivity, cold water",
        (BY_THERMOMETER, COEFFICIENT),
        _compensation,
        "the compensation",
        f"ISO 7888, {COMPUTED}",
        WRONG,
    ),
    *ELEMENT,
)
