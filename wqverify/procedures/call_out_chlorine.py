"""The fault table for chlorine: flow, membrane, zero, pH, reagent, what is taken for chlorine."""

from __future__ import annotations

from wqverify.calculations import chlorine
from wqverify.procedures.call_out_case import (
    BY_THERMOMETER,
    CALIBRATION,
    COMPUTED,
    DISPLAY,
    MEMORY,
    OWN,
    REFERENCE,
    SENSOR_MANUAL,
    WRONG,
    ZERO_SHARE,
    Case,
    Finding,
    Measure,
    Row,
    short,
)
from wqverify.procedures.call_out_sample import CHANGES

REAGENT = "Reagents are caustic or toxic (arsenite is a poison): gloves, eye protection, waste is collected."
SAMPLE, CELL, ELECTRONICS = "the sample line", "the cell", "the electronics"
COLOUR = ("dpd", "colorimetric", "reagent")
SHARE = 0.1  # of a value: less is no cause; common practice, no source


CELL_FLOW = Measure("flow at the cell", "mL/min", "by its meter, or cup and watch at the drain")
LEAST_FLOW = Measure("least flow by the manual", "mL/min", "of this cell")
NO_CHLORINE = Measure(
    "value in water without chlorine", OWN, "until it holds still: a zero taken early is no zero"
)
CELL_PH = Measure("pH at the cell", "pH", "by a meter, in the drain")
PH_THEN = Measure("pH when it was last set to a grab", "pH", "by its last record")
REAGENT_ML = Measure("reagent used in 10 min", "mL", "off the bottle, by a cylinder", REAGENT)
REAGENT_DUE = Measure("reagent it should use in 10 min", "mL", "by the manual")
REAGENT_DAYS = Measure("days since the reagent was opened", "d", "off its label")
REAGENT_LIFE = Measure("days the reagent may be used", "d", "by its label or the manual")
BLANK = Measure(
    "value with the chlorine destroyed first",
    OWN,
    "arsenite or glycine before the reagent, by the method",
    REAGENT,
)
MEMBRANE = Measure(
    "does a new membrane bring it back?",
    "",
    "new membrane and electrolyte, then an hour",
    f"{REAGENT} {CHANGES}",
)


def _cell_flow(case: Case) -> Finding | None:
    flow, least = case.size(CELL_FLOW), case.size(LEAST_FLOW)
    low = flow < least
    return Finding(
        "Below the least flow a cell reads low, and with the flow." if low else "The cell has its flow.",
        "flow against the least one",
        f"{case.text(CELL_FLOW)} against {case.text(LEAST_FLOW)}",
        "too little" if low else "enough",
        (SAMPLE, CELL) if low else None,
        "the flow set: the value rises with it" if low else "",
    )


def _zero(case: Case) -> Finding | None:
    zero = case.size(NO_CHLORINE)
    wrong = abs(zero) > ZERO_SHARE * float(case.width_at("transmitter"))
    own, again = "the cell's current", "once the current has settled"
    if case.is_kind(*COLOUR):
        own, again = "its absorbance", "cell clean, in water without chlorine"
    explains = ""
    if wrong and case.knows(DISPLAY, REFERENCE):
        rest = case.size(DISPLAY) - zero - case.size(REFERENCE)
        explains = f"; less it, {short(rest, 3)} {case.analyzer.unit} is left of the difference to the grab"
    return Finding(
        f"Without chlorine it shows {case.text(NO_CHLORINE)}: "
        + (
            f"off by that much everywhere{explains}."
            if wrong
            else f"its zero is good, unless the display cannot go below 0: then read {own}."
            if zero == 0
            else "its zero is good."
        ),
        "zero against 1 % of the span",
        f"{case.number(NO_CHLORINE)} against {short(ZERO_SHARE * float(case.width_at('transmitter')), 3)}",
        "not zero" if wrong else "zero",
        (CELL, ELECTRONICS) if wrong else None,
        f"zero taken again, {again}: the same difference at two levels goes" if wrong else "",
    )


def _hypochlorous(case: Case) -> Finding | None:
    now, then, at = (case.size(one) for one in (CELL_PH, PH_THEN, BY_THERMOMETER))
    shares = [float(chlorine.hypochlorous_share(value, at)) for value in (now, then)]
    ratio = shares[0] / shares[1]
    matters = abs(ratio - 1) > SHARE
    return Finding(
        f"Hypochlorous acid is {short(100 * shares[0], 1)} % of free chlorine now and was "
        f"{short(100 * shares[1], 1)} %: a cell without pH compensation shows "
        f"{short(100 * ratio, 0)} % of it.",
        "share now/share then, share = 1/(1 + 10^(pH − pK)), pK = 3000/T − 10.0686 + 0.0253 T",
        f"pH {now:g} and {then:g} at {at:g} °C: {shares[0]:.4f}/{shares[1]:.4f}",
        f"{ratio:.3f}",
        ("the water", CELL) if matters else None,
        "buffered sample, or pH compensation: it no longer moves with pH" if matters else "",
    )


def _reagent(case: Case) -> Finding | None:
    used, due = case.size(REAGENT_ML), case.size(REAGENT_DUE)
    low = used < due * (1 - SHARE)
    return Finding(
        "Too little reagent reads low: tubing, pump or an old reagent." if low else "The reagent comes.",
        "used against what is stated, less 10 %",
        f"{case.text(REAGENT_ML)} against {case.text(REAGENT_DUE)}",
        "too little" if low else "enough",
        ("the reagent", CELL) if low else None,
        "new tubing, fresh reagent: grab and analyzer agree" if low else "",
    )


def _age(case: Case) -> Finding | None:
    old = case.size(REAGENT_DAYS) > case.size(REAGENT_LIFE)
    return Finding(
        "The reagent is past its time: it reads low." if old else "The reagent is within its time.",
        "age against life",
        f"{case.text(REAGENT_DAYS)} against {case.text(REAGENT_LIFE)}",
        "past" if old else "within",
        ("the reagent", CELL) if old else None,
        "fresh reagent: grab and analyzer agree" if old else "",
    )


def _interference(case: Case) -> Finding | None:
    zero = case.size(NO_CHLORINE) if case.knows(NO_CHLORINE) else 0.0
    left = case.size(BLANK) - zero  # less what it shows without chlorine anyway
    wrong = left > ZERO_SHARE * float(case.width_at("transmitter"))
    return Finding(
        f"{short(left, 3)} {case.analyzer.unit} stay without free chlorine: manganese, or something "
        f"else, is read as chlorine."
        if wrong
        else "Nothing stays without chlorine: no manganese; chloramine is destroyed too and is not excluded.",
        "value with the chlorine destroyed − value in water without chlorine",
        f"{case.number(BLANK)} − {zero:g}",
        "something stays" if wrong else "nothing stays",
        ("the water", "the reagent") if wrong else None,
        "the same step with the grab: it reads as much too high" if wrong else "",
    )


def _membrane(case: Case) -> Finding | None:
    back = case.says(MEMBRANE)
    return Finding(
        "It was the membrane." if back else "It was not the membrane; next the zero.",
        between=("the water", "the electrolyte") if back else None,
        confirm="two grabs that agree with it, an hour apart" if back else "",
    )


def _amperometric(case: Case) -> bool:
    return not case.is_kind(*COLOUR)


def _colorimetric(case: Case) -> bool:
    return not case.is_kind("amperometric", "membrane", "electrode")


ROWS = (
    Row(
        "chlorine, flow at the cell",
        (CELL_FLOW, LEAST_FLOW),
        _cell_flow,
        "the sample against the cell",
        SENSOR_MANUAL,
        WRONG | {"noisy"},
        _amperometric,
    ),
    Row(
        "chlorine, pH at the cell",
        (CELL_PH, PH_THEN, BY_THERMOMETER),
        _hypochlorous,
        "what pH takes away",
        f"{COMPUTED}; pK from memory",
        WRONG,
        _amperometric,
    ),
    Row(
        "chlorine, membrane",
        (MEMBRANE,),
        _membrane,
        "the membrane",
        SENSOR_MANUAL,
        WRONG | CALIBRATION,
        _amperometric,
    ),
    Row(
        "chlorine, zero",
        (NO_CHLORINE,),
        _zero,
        "a constant error against one in proportion",
        SENSOR_MANUAL,
        WRONG | CALIBRATION,
        _amperometric,
    ),
    Row(
        "chlorine, reagent",
        (REAGENT_ML, REAGENT_DUE),
        _reagent,
        "the reagent against the optics",
        SENSOR_MANUAL,
        WRONG | CALIBRATION,
        _colorimetric,
    ),
    Row(
        "chlorine, age of the reagent",
        (REAGENT_DAYS, REAGENT_LIFE),
        _age,
        "an old reagent",
        SENSOR_MANUAL,
        WRONG | CALIBRATION,
        _colorimetric,
    ),
    Row(
        "chlorine, blank",
        (NO_CHLORINE,),
        _zero,
        "the blank against the reagent",
        SENSOR_MANUAL,
        WRONG | CALIBRATION,
        _colorimetric,
    ),
    Row(
        "chlorine, high in grab and analyzer",
        (BLANK,),
        _interference,
        "what reads as chlorine and is none",
        MEMORY,
        WRONG,
        _colorimetric,
    ),
)
