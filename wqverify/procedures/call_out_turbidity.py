"""The fault table for turbidity: bubbles, the light path, a primary standard."""

from __future__ import annotations

from wqverify.procedures.call_out_case import MEMORY, SENSOR_MANUAL, Case, Finding, Measure, Row
from wqverify.procedures.call_out_sample import CELL, LIGHT, LINE, primary

ELECTRONICS = "the electronics"
THROTTLED = Measure(
    "spikes gone with the outlet throttled?", "", "close the outlet slightly, wait some minutes"
)
DARK = Measure("does it change with the light path shut?", "", "a card or a standard in the path", LIGHT)


def _spikes(case: Case) -> Finding | None:
    gone = case.says(THROTTLED)
    return Finding(
        "Spikes that go with more pressure are bubbles."
        if gone
        else "Spikes that stay are particles, or electronics.",
        between=(LINE, CELL) if gone else (CELL, ELECTRONICS),
        confirm="the bubble trap cleaned or fitted, back-pressure kept"
        if gone
        else "a standard in the path: where it is quiet, it is the water",
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
    primary("turbidity, primary standard"),
)
