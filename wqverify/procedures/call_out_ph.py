"""The fault table for pH: electrode, cable, reference, temperature, the pipe."""

from __future__ import annotations

from wqverify.calculations import ph
from wqverify.procedures.call_out_case import (
    BY_THERMOMETER,
    BY_TRANSMITTER,
    CALIBRATION,
    COMPUTED,
    MEMORY,
    NOT_BACK,
    OWN,
    PH_DEALER,
    PH_MAKER,
    PRACTICE,
    REFERENCE,
    THERMOMETER_K,
    WORDS,
    WRONG,
    Case,
    Finding,
    Measure,
    Row,
    short,
    tells_by_what_follows,
)

ACID = "Acid: gloves, eye protection, acid into water, ventilation, an eye wash in reach; then rinse long."

PH_7 = Measure("pH of buffer 7", "pH", "at its temperature, off the bottle or its table")
MV_7 = Measure("mV in buffer 7", "mV", "once it holds still", NOT_BACK)
MV_2 = Measure("mV in a second buffer", "mV", "pH 4 or 10, once it holds still", NOT_BACK)
PH_2 = Measure("pH of the second buffer", "pH", "at its temperature, off the bottle")
BUFFERS_C = Measure("temperature of the buffers", "°C", "by a thermometer")
SLOW = Measure("slower than usual in the buffers?", "", "a minute is usual for 95 % of the step")
GLASS = Measure("impedance of the glass", "Mohm", "as the transmitter's own test shows it; no multimeter can")
INSULATION = Measure(
    "insulation of cable and plug",
    "Mohm",
    "electrode off, core against screen, by an insulation tester",
    "The tester gives hundreds of volts: electrode and transmitter off before, wait until it is discharged.",
)
REFERENCE_KOHM = Measure("impedance of the reference", "kohm", "as the transmitter's own test shows it")
WASHED_7 = Measure("mV in buffer 7 after washing in acid", "mV", "wash, rinse long, the same buffer", ACID)
WASHED_2 = Measure(
    "mV in the second buffer after washing", "mV", "the same buffer at the same temperature", NOT_BACK
)
BEAKER = Measure("pH in a beaker of process water", OWN, "the electrode out of the pipe, in the beaker")
EARTHED = Measure("pH in the beaker with the water earthed", OWN, "a bare wire from the water to earth")

ELECTRODE, CABLE, INPUT = "the electrode", "its cable and plug", "the input of the transmitter"
AT_25, GOOD, NEAR_END, REPLACE = 25.0, 54, 50, 44  # °C; then mV/pH there, sources in the rows
APART = 2  # pH between two buffers, at least, for a slope
GLASS_LOW, GLASS_HIGH = 50, 200  # Mohm
GLASS_NONE = 1  # Mohm: "near 0" is taken as below it; common practice, no source
OFFSET_GOOD, OFFSET_REPLACE = 15, 30  # mV
JUNCTION_GOOD, JUNCTION_BLOCKED = 20, 140  # kohm
EXPLAINS = 1.5  # mV/pH between a slope found and one computed; common practice, no source
SAME_MV = 20  # mV between two buffers that an electrode does not tell apart; common practice, no source
SAME_PH = 0.1  # between two waters; common practice, no source


def slope_25(case: Case, first: Measure = MV_7, second: Measure = MV_2) -> float:
    """Return the slope in two buffers, as it would be at 25 °C, mV/pH."""
    values = case.size(PH_7), case.size(PH_2)
    slope, _ = ph.two_buffer_line(case.size(first), values[0], case.size(second), values[1])
    return float(ph.efficiency_percent(slope, case.size(BUFFERS_C)) / 100 * ph.nernst_slope(AT_25))


def _slope_known(case: Case) -> bool:
    known = case.knows(MV_7, PH_7, MV_2, PH_2, BUFFERS_C)
    return known and abs(case.number(PH_2) - case.number(PH_7)) >= APART and slope_25(case) > 0


def _slope_low(case: Case) -> bool:
    return _slope_known(case) and slope_25(case) < GOOD


def _slope(case: Case) -> Finding | None:
    if abs(case.number(PH_2) - case.number(PH_7)) < APART:
        return Finding(
            f"Buffers of {case.text(PH_7)} and {case.text(PH_2)} give no slope: they must lie at "
            f"least 2 pH apart."
        )
    found = slope_25(case)
    if found <= 0:
        return Finding(
            "The sign is wrong: above 7 an electrode gives less mV than in buffer 7, below 7 more. "
            "Read the sign "
            "and the bottle again; if it stays, the electrode is wired the wrong way round.",
            between=(ELECTRODE, INPUT),
            confirm="the sign of the mV in pH 4, which is positive",
        )
    words = "is good" if found >= GOOD else "is low"
    if found <= NEAR_END:
        words = "is that of an electrode near its end"
    if found <= REPLACE:
        words = "asks for another electrode, unless cable or coating take it away"
    return Finding(
        f"A slope of {short(found, 1)} mV/pH {words} (54 to 59 good, 47 to 50 near "
        "the end, 43 to 44 replace).",
        "−(E2 − E7)/(pH2 − pH7) × k(25 °C)/k(t)",
        f"−({case.number(MV_2)} − {case.number(MV_7)})/({case.number(PH_2)} − {case.number(PH_7)}) × "
        f"{ph.nernst_slope(AT_25):.4f}/{ph.nernst_slope(case.size(BUFFERS_C)):.4f}",
        f"{short(found, 1)} mV/pH at 25 °C",
        None if found >= GOOD else (ELECTRODE, INPUT),
        ""
        if found >= GOOD
        else "impedance of the glass and insulation of the cable tell electrode from cable",
    )


def _offset(case: Case) -> Finding | None:
    at_7 = _offset_mv(case)
    found = abs(at_7)
    words = "is good (within 15 mV)"
    if found > OFFSET_GOOD:
        words = "is between good (15 mV) and replace (30 mV)"
    if found > OFFSET_REPLACE:
        words = "is beyond 30 mV: replace the reference; 60 mV is the upper end of what is taken"
    wrong = found > OFFSET_GOOD
    return Finding(
        f"An offset of {short(at_7, 1)} mV {words}.",
        "E7 + k(25 °C) (pH7 − 7), which should be near 0 mV",
        f"{case.number(MV_7)} + {ph.nernst_slope(AT_25):.2f} ({case.number(PH_7)} − 7)",
        f"{short(at_7, 1)} mV",
        ("the reference", INPUT) if wrong else None,
        "impedance of the reference, and another reference in its place" if wrong else "",
    )


def _offset_mv(case: Case) -> float:
    """What the electrode gives at pH 7: that in buffer 7, less what the buffer is away from 7."""
    return case.size(MV_7) + float(ph.nernst_slope(AT_25)) * (case.size(PH_7) - 7)


def _leak(case: Case) -> Finding | None:
    """What the insulation takes of the slope, against the slope that was found."""
    glass, insulation = case.size(GLASS), case.size(INSULATION)
    if glass <= 0 or insulation <= 0:
        return Finding("No resistance at all is a short.", between=(ELECTRODE, INPUT))
    left = float(ph.slope_behind_leak(ph.nernst_slope(AT_25), glass, insulation))
    found = slope_25(case)
    explains = abs(left - found) <= EXPLAINS
    return Finding(
        f"Glass and insulation give {short(left, 1)} mV/pH, found was {short(found, 1)}: "
        + (
            "the insulation explains it and imitates an old electrode."
            if explains
            else "the insulation does not explain it; the electrode itself is weak."
        ),
        "59.16 Ri/(Rg + Ri)",
        f"{ph.nernst_slope(AT_25):.2f} × {insulation:g}/({glass:g} + {insulation:g})",
        f"{left:.3f} mV/pH",
        (CABLE, INPUT) if explains else ("the glass of the electrode", CABLE),
        "dry plug and cable, or another cable: the slope rises above 54 mV/pH"
        if explains
        else "another electrode on the same cable: the slope rises above 54 mV/pH",
    )


def _glass(case: Case) -> Finding | None:
    found = case.size(GLASS)
    if found < GLASS_NONE:
        return Finding(
            "Near 0 the glass is cracked or the plug shorted: every buffer reads near 7.",
            "glass, normal 50 to 200 Mohm",
            case.text(GLASS),
            "near 0",
            (ELECTRODE, INPUT),
            "the plug dried, then another electrode: two buffers read apart again",
        )
    inside = GLASS_LOW <= found <= GLASS_HIGH
    words = (
        "is normal"
        if inside
        else "is outside 50 to 200 Mohm, which holds near 25 °C (cold glass is higher): cracked, "
        "coated or aged"
    )
    return Finding(
        f"Glass of {case.text(GLASS)} {words}.",
        "glass, normal 50 to 200 Mohm",
        case.text(GLASS),
        "normal" if inside else "not normal",
        None if inside else (ELECTRODE, CABLE),
        "" if inside else "another electrode",
    )


def _washed(case: Case) -> Finding | None:
    found, before = slope_25(case, WASHED_7, WASHED_2), slope_25(case)
    back = found >= GOOD
    return Finding(
        f"Washed it gives {short(found, 1)} mV/pH after {short(before, 1)}: "
        + ("it was coated." if back else "it has aged, washing does not bring it back."),
        "the slope at 25 °C again, against 54 mV/pH",
        f"−({case.number(WASHED_2)} − {case.number(WASHED_7)})/({case.number(PH_2)} − {case.number(PH_7)}) × "
        f"{ph.nernst_slope(AT_25):.4f}/{ph.nernst_slope(case.size(BUFFERS_C)):.4f} = {short(found, 1)}",
        "recovers" if back else "does not recover",
        ("the water", "the glass of the electrode") if back else ("the glass of the electrode", CABLE),
        "the same two buffers in a week" if back else "another electrode",
    )


def _junction(case: Case) -> Finding | None:
    found = case.size(REFERENCE_KOHM)
    if found < JUNCTION_GOOD:
        words, wrong = "is normal (below 20 kohm)", False
    elif found > JUNCTION_BLOCKED:
        words, wrong = "is above 140 kohm: coated or blocked", True
    else:
        words, wrong = "is between normal (20) and blocked (140 kohm)", True
    return Finding(
        f"A reference of {case.text(REFERENCE_KOHM)} {words}.",
        "impedance of the reference, 20 kohm normal, 140 blocked",
        case.text(REFERENCE_KOHM),
        "not normal" if wrong else "normal",
        ("the junction of the reference", INPUT) if wrong else None,
        "another reference, or the junction cleaned: the offset falls within 15 mV" if wrong else "",
    )


def _pipe(case: Case) -> Finding | None:
    """The electrode in a beaker of the same water against the grab: the pipe, or the water itself."""
    beaker, grab = case.size(BEAKER), case.size(REFERENCE)
    apart = abs(beaker - grab)
    put_in = f"{case.number(BEAKER)} − {case.number(REFERENCE)}"
    if apart <= SAME_PH:
        return Finding(
            "Right in the beaker and wrong in the pipe: a ground loop, or a voltage of the streaming water.",
            "pH in the beaker − grab",
            put_in,
            f"{short(beaker - grab)}",
            ("the pipe", ELECTRODE),
            "earth the water in the beaker: where the error comes back, it is a ground loop",
        )
    return Finding(
        "Wrong in the beaker too: chemistry or temperature of the sample, or the electrode.",
        "pH in the beaker − grab",
        put_in,
        f"{short(beaker - grab)}",
        (WORDS[REFERENCE.what], ELECTRODE),
        "a second grab at once, at the temperature of the line",
    )


def _earthed(case: Case) -> Finding | None:
    moved = case.size(EARTHED) - case.size(BEAKER)
    loop = abs(moved) > SAME_PH
    return Finding(
        "It moves when the water is earthed: a ground loop through the electrode."
        if loop
        else "It does not move when the water is earthed: no ground loop.",
        "pH earthed − pH in the beaker",
        f"{case.number(EARTHED)} − {case.number(BEAKER)}",
        short(moved),
        ("the water", INPUT) if loop else None,
        "volts from the pipe's earth to the transmitter's; an isolator in the output, or an "
        "isolated preamplifier: "
        "the error goes. A protective earth is never lifted"
        if loop
        else "",
    )


def _temperature(case: Case) -> Finding | None:
    true, taken = case.size(BY_THERMOMETER), case.size(BY_TRANSMITTER)
    at = case.size(REFERENCE) if case.knows(REFERENCE) else 4.0
    predicted = float(ph.error_of_temperature(at, true, taken))
    wrong = abs(true - taken) > THERMOMETER_K
    return Finding(
        f"The transmitter counts with {case.text(BY_TRANSMITTER)} where it is {case.text(BY_THERMOMETER)}: "
        + (f"that alone is {short(predicted)} at pH {at:g}, nothing at 7." if wrong else "that is no cause."),
        "(pH − 7)(T/T' − 1), T true, T' taken, in kelvin",
        f"({at:g} − 7)({true + 273.15:.2f}/{taken + 273.15:.2f} − 1)",
        f"{short(predicted, 3)} pH",
        ("the temperature element", INPUT) if wrong else None,
        "its ohms at the transmitter's terminals, by the table of the element" if wrong else "",
    )


def _not_slow(case: Case) -> bool:
    return _slope_low(case) and case.says(SLOW) is False


def _slow(case: Case) -> bool:
    return _slope_low(case) and case.says(SLOW) is True


def _big_offset(case: Case) -> bool:
    return case.knows(MV_7, PH_7) and abs(_offset_mv(case)) > OFFSET_GOOD


def _flat(case: Case) -> bool:
    return case.knows(MV_7, MV_2) and abs(case.size(MV_7) - case.size(MV_2)) < SAME_MV


def _good_in_buffers(case: Case) -> bool:
    good = _slope_known(case) and slope_25(case) >= GOOD and not _big_offset(case)
    return good and case.knows(REFERENCE)


ROWS = (
    Row(
        "pH, slope in two buffers",
        (MV_7, PH_7, BUFFERS_C, MV_2, PH_2),
        _slope,
        "electrode and cable against everything else",
        PH_DEALER,
        WRONG | CALIBRATION | {"stands still", "late"},
    ),
    Row("pH, offset", (MV_7, PH_7), _offset, "reference against glass", PH_MAKER, WRONG | CALIBRATION),
    Row(
        "pH, stuck near 7",
        (GLASS,),
        _glass,
        "a cracked glass or a shorted plug",
        f"{PH_MAKER}; near 0 taken as below 1 Mohm, {PRACTICE}",
        wanted=_flat,
    ),
    Row("pH, slow", (SLOW,), tells_by_what_follows, "a coating against a leak", PH_DEALER, wanted=_slope_low),
    Row(
        "pH, slope low and not slow",
        (GLASS, INSULATION),
        _leak,
        "the cable against the electrode",
        f"{PH_DEALER}; divider {COMPUTED}",
        wanted=_not_slow,
    ),
    Row(
        "pH, slope low and slow",
        (WASHED_7, WASHED_2),
        _washed,
        "coating against age",
        PH_DEALER,
        wanted=_slow,
    ),
    Row(
        "pH, offset large",
        (REFERENCE_KOHM,),
        _junction,
        "the junction of the reference",
        PH_DEALER,
        wanted=_big_offset,
    ),
    Row(
        "pH, temperature",
        (BY_TRANSMITTER, BY_THERMOMETER),
        _temperature,
        "the temperature element: nothing at 7, more at 4 and 10",
        COMPUTED,
        WRONG,
    ),
    Row(
        "pH, good in buffers, wrong in the pipe",
        (BEAKER,),
        _pipe,
        "the pipe against the sample",
        MEMORY,
        WRONG | {"noisy"},
        _good_in_buffers,
    ),
    Row(
        "pH, earthed",
        (EARTHED,),
        _earthed,
        "a ground loop",
        MEMORY,
        wanted=lambda case: (
            case.knows(BEAKER, REFERENCE) and abs(case.size(BEAKER) - case.size(REFERENCE)) <= SAME_PH
        ),
    ),
)
