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
from wqverify.procedures.call_out_turbidity import STANDARD, STANDARD_IS

CELL, DISPLAYED = "the cell", "the display"
SHARE = 0.1  # of a ratio: two are alike within it; common practice, no source


HIGHER = Measure("value in a higher standard", OWN, "once it holds still", NOT_BACK)
HIGHER_IS = Measure("value of the higher standard", OWN, "at its temperature, off the bottle")
DRY_AIR = Measure("value in dry air", OWN, "cell out, rinsed, dried")
UNPLUGGED = Measure("value with the sensor unplugged", OWN, "at the transmitter")
ELEMENT_OHM = Measure(
    "resistance of the temperature element", "ohm", "at the transmitter, both wires off; a Pt100 is meant"
)


def _ratio(case: Case) -> Finding | None:
    first, second = (
        case.size(value) / case.size(true) for value, true in ((STANDARD, STANDARD_IS), (HIGHER, HIGHER_IS))
    )
    alike = abs(second - first) <= SHARE * abs(first)
    right = alike and abs(first - 1) <= ZERO_SHARE * 3
    if right:
        says, between = "Right in both standards: not the cell.", None
    elif alike:
        says, between = "A ratio that stays: the cell constant, or a coating.", (CELL, DISPLAYED)
    else:
        says, between = (
            "An error that grows with the value: polarisation of a two-electrode cell.",
            ("the water", CELL),
        )
    return Finding(
        says,
        "value/standard, low and high",
        f"{case.number(STANDARD)}/{case.number(STANDARD_IS)}, {case.number(HIGHER)}/{case.number(HIGHER_IS)}",
        f"{short(first, 3)} and {short(second, 3)}",
        between,
        ""
        if right
        else "cleaned, the same two standards"
        if alike
        else "another frequency, or a cell of four electrodes",
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
    try:
        by_ohm = float(pt_temperature(case.size(ELEMENT_OHM)))
    except CorrectTheEntry:
        return Finding(
            f"{case.text(ELEMENT_OHM)} is no resistance of a Pt100: open, shorted, or another element.",
            "resistance of the element",
            case.text(ELEMENT_OHM),
            "none of a Pt100",
            ("the water", "the temperature element"),
            "each pair of its wires; then its type on the plate",
        )
    put_in = f"{case.text(ELEMENT_OHM)} is {short(by_ohm)} °C; thermometer {true:g}, transmitter {taken:g} °C"
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
        "a resistor of 107.79 ohm in its place: 20.0 °C is shown" if between else "",
    )


def _compensation(case: Case) -> Finding | None:
    return Finding(
        "Right in a standard at 25 °C and wrong in cold water is the compensation: a linear 2 % shows "
        "natural water 0.5 % high at 15 °C, right at 10 °C and 4.1 % low at 0 °C against ISO 7888.",
        "the water",
        case.text(BY_THERMOMETER),
        "compare at this temperature",
        None,
        "conductivity_check computes the factor at this temperature",
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
        (BY_THERMOMETER,),
        _compensation,
        "the compensation",
        f"ISO 7888, {COMPUTED}",
        WRONG,
    ),
    *ELEMENT,
)
