"""The fault table for turbidity, and for the sample on its way to any analyzer."""

from __future__ import annotations

from wqverify.calculations import sample_line
from wqverify.procedures.call_out_case import (
    CALIBRATION,
    DISPLAY,
    MEMORY,
    NOT_BACK,
    OWN,
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

LIGHT = "Lamps and laser sources: power off before the housing is opened, no look into the beam."
SAMPLED, CELL, ELECTRONICS, DISPLAYED = "the sample line", "the cell", "the electronics", "the display"
LATE = 1.5  # times the computed time: more is not explained by the line; common practice, no source

# ---------------------------------------------------------------- the sample

FOLLOWS_MIN = Measure(
    "minutes until it follows a step", "min", "dye, a standard at the tap, or chlorine stopped: to 95 %"
)
CUP = Measure("flow at the drain", "mL/min", "by cup and watch")


def _sampled(case: Case) -> bool:
    return case.analyzer.sample_line is not None


def _lag(case: Case) -> Finding | None:
    line = case.analyzer.sample_line
    assert line is not None
    flow, cell = case.size(CUP), float(line.cell_ml or 0)
    if flow <= 0:
        return Finding(
            "No sample flows at all.", between=("the tap", CELL), confirm="open the line until it flows"
        )
    volume = float(sample_line.line_volume_ml(float(line.bore_mm), float(line.length_m)))
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


# ---------------------------------------------------------------- turbidity

THROTTLED = Measure(
    "spikes gone with the outlet throttled?", "", "close the outlet slightly, wait some minutes"
)
CLEANED = Measure("value after cleaning", OWN, "cell cleaned, nothing adjusted, the same water", LIGHT)
DARK = Measure("does it change with the light path shut?", "", "a card or a standard in the path", LIGHT)
STANDARD = Measure("value in a standard", OWN, "once it holds still", NOT_BACK)
STANDARD_IS = Measure("value of the standard", OWN, "at its temperature, off the bottle or the block")


def _spikes(case: Case) -> Finding | None:
    gone = case.says(THROTTLED)
    return Finding(
        "Spikes that go with more pressure are bubbles."
        if gone
        else "Spikes that stay are particles, or electronics.",
        between=(SAMPLED, CELL) if gone else (CELL, ELECTRONICS),
        confirm="the bubble trap cleaned or fitted, back-pressure kept"
        if gone
        else "a standard in the path: where it is quiet, it is the water",
    )


def _fouled(case: Case) -> Finding | None:
    """Dirty, clean and the grab: what cleaning took away, and what is left."""
    dirty, clean = case.size(DISPLAY), case.size(CLEANED)
    fell = dirty - clean
    if not case.knows(REFERENCE):
        return Finding(
            f"Cleaning changed it by {short(clean - dirty, 3)}; without a grab nobody knows which is right.",
            "after − before",
            f"{case.number(CLEANED)} − {case.number(DISPLAY)}",
            short(clean - dirty, 3),
            ("the water", "the light path") if fell else None,
            "a grab",
        )
    before, after = abs(dirty - case.size(REFERENCE)), abs(clean - case.size(REFERENCE))
    explains = after < before / 2
    return Finding(
        f"Cleaning brought it from {short(before, 3)} to {short(after, 3)} of the grab: "
        + ("fouling was most of it." if explains else "fouling was not it; next a primary standard."),
        "|after − grab|, |before − grab|",
        f"|{case.number(CLEANED)} − {case.number(REFERENCE)}|, "
        f"|{case.number(DISPLAY)} − {case.number(REFERENCE)}|",
        f"{short(after, 3)} and {short(before, 3)} {case.analyzer.unit}",
        ("the water", "the light path") if explains else ("the light path", DISPLAYED),
        "a check on a standard, clean"
        if explains
        else "a primary standard: off there too, it asks for calibration",
    )


def _dark(case: Case) -> Finding | None:
    moves = case.says(DARK)
    return Finding(
        "It answers to the light: it stands still because the water does, or the path is blocked."
        if moves
        else "It does not answer to the light: output held, lamp out, or clamped at the end of a range.",
        between=("the water", CELL) if moves else ("the lamp", "the control system"),
        confirm="a standard in the path"
        if moves
        else "the menu: hold, lamp, range; then the signal, hop by hop",
    )


EXAM = public("a public examination case and a public-domain manual")
ROWS = (
    Row(
        "turbidity, spikes",
        (THROTTLED,),
        _spikes,
        "bubbles against particles",
        SENSOR_MANUAL,
        frozenset({"noisy"}),
    ),
    Row(
        "turbidity, stands still",
        (DARK,),
        _dark,
        "held or dead against still water",
        MEMORY,
        frozenset({"stands still"}),
    ),
    Row(
        "turbidity, fouled",
        (DISPLAY, CLEANED),
        _fouled,
        "fouling against drift; before any standard",
        EXAM,
        WRONG | CALIBRATION,
    ),
)
SAMPLE = (
    Row(
        "late",
        (CUP, FOLLOWS_MIN),
        _lag,
        "the line against damping",
        public("a page on sample lines"),
        frozenset({"late"}),
        _sampled,
    ),
)
