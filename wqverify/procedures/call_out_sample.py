"""The fault table for what every analyzer of a sample shares: look and flow, then clean, then compare."""

from __future__ import annotations

from wqverify.calculations import sample_line
from wqverify.procedures.call_out_case import (
    ARCHIVE,
    CALIBRATION,
    DISPLAY,
    MEMORY,
    NOT_BACK,
    OWN,
    PRACTICE,
    REFERENCE,
    SENSOR_MANUAL,
    WRONG,
    Case,
    Finding,
    Measure,
    Row,
    public,
    short,
)
from wqverify.procedures.call_out_compare import compared

LIGHT = "Lamps and laser sources: power off before the housing is opened, no look into the beam."
CHANGES = "It changes the instrument: what follows is no longer as found."
LINE, CELL, SENSOR, DISPLAYED = "the sample line", "the cell", "the sensor", "the display"
WET = ("ph", "turbidity", "chlorine", "conductivity", "conductance")
LATE = 1.5  # times the computed time: more is not explained by the line; common practice, no source
ALIKE = (
    0.5  # of a difference: cleaning that takes away more than that explains it; common practice, no source
)

FLOWS = Measure("does sample flow through the cell?", "", "look, and feel the drain line")
SECOND = Measure(
    "value by a second reference", OWN, "another grab or meter, of the same water at the same moment"
)
CLEANED = Measure(
    "value after cleaning",
    OWN,
    "sensor or cell cleaned, nothing adjusted, the same water",
    f"{LIGHT} {CHANGES}",
)
FOLLOWS_MIN = Measure(
    "minutes until it follows a step", "min", "dye, a standard at the tap, or chlorine stopped: to 95 %"
)
CUP = Measure("flow at the drain", "mL/min", "by cup and watch")
BORE = Measure("bore of the sample line", "mm", "inside, off its print")
LENGTH = Measure("length of the sample line", "m", "from the tap to the cell")
CELL_ML = Measure("volume of the cell", "mL", "by the manual; 0 where it is small")
FIXED = Measure(
    "is an output held, fixed or simulated?", "", "in the menu of the transmitter and of the card"
)
NOISY_HERE = Measure("is it as noisy on its own display?", "", "watch both for a minute")
STANDARD = Measure("value in a standard", OWN, "once it holds still", NOT_BACK)
STANDARD_IS = Measure("value of the standard", OWN, "at its temperature, off the bottle or the block")


def is_wet(case: Case) -> bool:
    """Whether a sample flows to the analyzer."""
    return case.is_of(*WET) or case.analyzer.sample_line is not None


def _flows(case: Case) -> Finding | None:
    if case.says(FLOWS):
        return Finding("Sample flows.")
    return Finding(
        "No sample flows: what it shows is old water, or air.",
        between=("the tap", CELL),
        confirm="flow set, some minutes waited, both ends read again",
    )


def _second(case: Case) -> Finding | None:
    """Two references that agree tell whose error it is; two that do not tell nothing."""
    first, second, shown = case.size(REFERENCE), case.size(SECOND), case.size(DISPLAY)
    between, off = abs(second - first), min(abs(shown - first), abs(shown - second))
    if off == 0:
        return Finding("The display agrees with a reference.")
    agree = off > 0 and between <= off / 2
    return Finding(
        "Two references agree with each other better than with the display: the display is off."
        if agree
        else "The two references differ as much as the display does: none of them is known to be right.",
        "|second − first|, and the display to the nearer of them",
        f"|{case.number(SECOND)} − {case.number(REFERENCE)}|, display {case.number(DISPLAY)}",
        f"{short(between, 3)} and {short(off, 3)} {case.analyzer.unit}",
        ("the water", DISPLAYED) if agree else None,
        "the check of its procedure, in standards"
        if agree
        else "a third, by another person with another meter",
    )


def _fouled(case: Case) -> Finding | None:
    """Dirty, clean and the reference: what cleaning took away, and what is left."""
    dirty, clean = case.size(DISPLAY), case.size(CLEANED)
    fell, unit = clean - dirty, case.analyzer.unit
    if not case.knows(REFERENCE):
        return Finding(
            f"Cleaning changed it by {short(fell, 3)} {unit}; without a reference nobody knows which one is "
            "right.",
            "after − before",
            f"{case.number(CLEANED)} − {case.number(DISPLAY)}",
            f"{short(fell, 3)} {unit}",
            ("the water", SENSOR) if fell else None,
            "a reference of the same water" if fell else "",
        )
    before, after = abs(dirty - case.size(REFERENCE)), abs(clean - case.size(REFERENCE))
    explains = after < ALIKE * before
    return Finding(
        f"Cleaning brought it from {short(before, 3)} to {short(after, 3)} of the reference: "
        + ("fouling was most of it." if explains else "fouling was not it; next a standard."),
        "|after − reference|, |before − reference|, and fouling = before − after",
        f"|{case.number(CLEANED)} − {case.number(REFERENCE)}|, "
        f"|{case.number(DISPLAY)} − {case.number(REFERENCE)}|",
        f"{short(after, 3)} and {short(before, 3)} {unit}, fouling {short(-fell, 3)} {unit}",
        ("the water", SENSOR) if explains else (SENSOR, DISPLAYED),
        "a check on a standard, clean"
        if explains
        else "a primary standard, buffers or a zero, by its kind: off there too, it asks for calibration",
    )


def _lag(case: Case) -> Finding | None:
    line = case.analyzer.sample_line
    if line is None and not case.knows(BORE, LENGTH, CELL_ML):
        return None
    bore, length, cell = (
        (float(line.bore_mm), float(line.length_m), float(line.cell_ml or 0))
        if line is not None
        else (case.size(BORE), case.size(LENGTH), case.size(CELL_ML))
    )
    flow = case.size(CUP)
    if flow <= 0:
        return Finding(
            "No sample flows at all.", between=("the tap", CELL), confirm="open the line until it flows"
        )
    volume = float(sample_line.line_volume_ml(bore, length))
    wanted = float(sample_line.response_95_s(volume, cell, flow)) / 60
    found = case.size(FOLLOWS_MIN)
    late = found > LATE * wanted
    return Finding(
        f"It follows after {short(found, 1)} min, line and cell alone take {short(wanted, 1)} min: "
        + (
            "something else is late: damping, a cycle, a dead leg."
            if late
            else "that is the line and the cell."
        ),
        "t95 = (V line + ln 20 × V cell)/Q",
        f"({volume:.1f} + 2.996 × {cell:g})/{flow:g}",
        f"{wanted:.2f} min",
        (DISPLAYED, "the archive") if late else ("the tap", CELL),
        "damping at transmitter, card and display"
        if late
        else "more flow, a shorter line: it follows sooner",
    )


def _display_is_off(case: Case) -> bool:
    """Whether the display does not agree with the reference, or nothing says within what it should."""
    return case.knows(REFERENCE, DISPLAY) and not compared(case, "as_found", REFERENCE, DISPLAY).agrees


def _may_be_cleaned(case: Case) -> bool:
    """Of a pH electrode whose calibration was refused the buffers tell more, before anything is washed."""
    return is_wet(case) and not (case.is_of("ph") and case.symptom in CALIBRATION)


def _line_unknown(case: Case) -> bool:
    return is_wet(case) and case.analyzer.sample_line is None


def _fixed(case: Case) -> Finding | None:
    if not case.says(FIXED):
        return Finding("Nothing is held, fixed or simulated.")
    return Finding(
        "An output that is held, fixed or simulated stands still by itself.",
        between=(DISPLAYED, "the control system"),
        confirm="released, with operations told: it moves again",
    )


def _noisy(case: Case) -> Finding | None:
    here = case.says(NOISY_HERE)
    return Finding(
        "Noisy on its own display too: the sensor, its cable, or the water."
        if here
        else "Quiet on its own display: the noise comes in on the way of the signal.",
        between=("the water", DISPLAYED) if here else (DISPLAYED, "the control system"),
        confirm="the sensor in still water or a standard: quiet there, it is the water"
        if here
        else "the screen earthed at one end only; the cable away from motor leads",
    )


def primary(name: str) -> Row:
    """Return the row of one standard, for what is compared with a primary one."""
    return Row(
        name,
        (STANDARD, STANDARD_IS),
        _standard,
        "the instrument against the sample",
        public("a public examination case and a public-domain manual"),
        WRONG | CALIBRATION,
    )


def _standard(case: Case) -> Finding | None:
    ratio = case.size(STANDARD) / case.size(STANDARD_IS)
    off = abs(ratio - 1) > OFF
    return Finding(
        "Off in the standard too: it asks for a primary calibration, clean and in a fresh standard."
        if off
        else "Right in the standard: look at the sample, its line and where the grab was taken.",
        "value/standard",
        f"{case.number(STANDARD)}/{case.number(STANDARD_IS)}",
        short(ratio, 3),
        (SENSOR, DISPLAYED) if off else None,
        "a second, fresh standard: off by the same share" if off else "",
    )


OFF = 0.1  # of a standard: more asks for calibration; common practice, no source
LOOK = (
    Row(
        "look and flow",
        (FLOWS,),
        _flows,
        "the sample against the analyzer; look and flow come first",
        PRACTICE,
        WRONG | CALIBRATION | {"noisy", "stands still", "late"},
        is_wet,
    ),
    Row(
        "stands still",
        (FIXED,),
        _fixed,
        "an output that is held",
        MEMORY,
        frozenset({"stands still"}),
        spans=((REFERENCE, ARCHIVE),),
    ),
    Row(
        "noise",
        (NOISY_HERE,),
        _noisy,
        "the sensor against the signal",
        MEMORY,
        frozenset({"noisy"}),
        spans=((REFERENCE, ARCHIVE),),
    ),
)
THEN = (
    Row(
        "two references",
        (REFERENCE, DISPLAY, SECOND),
        _second,
        "the reference against the analyzer, before anything is touched",
        "two grabs that agree before anything moves, common practice, no source",
        WRONG,
        _display_is_off,
    ),
    Row(
        "cleaning",
        (DISPLAY, CLEANED),
        _fouled,
        "fouling against drift; before any standard",
        public("a public examination case and a public-domain manual"),
        WRONG | CALIBRATION,
        _may_be_cleaned,
    ),
)
LAST = (
    Row(
        "late",
        (CUP, FOLLOWS_MIN),
        _lag,
        "the line against damping",
        public("a page on sample lines"),
        frozenset({"late"}),
        is_wet,
    ),
    Row(
        "late, line not in the register",
        (BORE, LENGTH, CELL_ML),
        lambda _case: None,
        "the volume of the line",
        SENSOR_MANUAL,
        frozenset({"late"}),
        _line_unknown,
    ),
)
