"""The fault table for a loop without a good current: none, too much, a failure signal, too few volts."""

from __future__ import annotations

from wqverify.calculations import loop
from wqverify.procedures.call_out_case import (
    COMPUTED,
    DISPLAY,
    IN,
    MEMORY,
    OPENED,
    OUT,
    TRANSMITTER,
    Case,
    Finding,
    Measure,
    Row,
    short,
    tells_by_what_follows,
)

LIVE = "On volts, leads in the volt sockets; there may be mains in the same panel."
LOCKED = "Lock out and test for dead before wires are lifted in a panel that holds more than the loop."
SUPPLY, TERMINALS, CARD = "the supply", "the transmitter", "the input card"
SPARE = 0.02  # of the least volts: no more than that is none to spare; common practice, no source
DEAD_V = 1  # V: less is none; common practice, no source
NONE_MA = 0.5  # mA: less is no current at all; common practice, no source
TWO_WIRE = Measure("does the loop feed the transmitter?", "", "two wires: yes; a mains supply of its own: no")
TERMINAL_V = Measure(
    "volts at the transmitter", "V", "at its terminals; where a current flows, at its highest", LIVE
)
SUPPLY_V = Measure("volts of the supply", "V", "at its terminals, loop running", LIVE)
LEAST_V = Measure("volts the transmitter needs", "V", "the least, by its manual")
LOAD = Measure(
    "resistance of the loop",
    "ohm",
    "wires, barrier, input; with the loop dead",
    "Resistance is measured dead: the supply off and locked, or the wire lifted.",
)
LIFTED = Measure(
    "current with one wire lifted at the transmitter", "mA", "at the supply", f"{OPENED} {LOCKED}"
)


def _current(case: Case) -> float | None:
    for one in (IN, OUT):
        if case.knows(one):
            return case.size(one)
    return None


def _dead(case: Case) -> bool:
    current = _current(case)
    return current is not None and abs(current) < NONE_MA


def _failure(case: Case) -> bool:
    current = _current(case)
    return current is not None and NONE_MA <= current <= loop.FAILURE_LOW


def _signals_failure(case: Case) -> Finding | None:
    return Finding(
        "The transmitter is alive and signals a failure: read its diagnosis, then look at sensor "
        "and cable; the "
        "loop carries it.",
        "NE 43: at or below 3.6 mA, and some current",
        f"{short(_current(case) or 0.0)} mA",
        "a failure signal",
        ("the sensor", TERMINALS),
        "its own diagnosis; what it names put right, the current is between 3.8 and 20.5 mA again",
    )


def _high(case: Case) -> bool:
    current = _current(case)
    return current is not None and current >= loop.FAILURE_HIGH


def _not_high(case: Case) -> bool:
    return not _high(case)


def _no_current(case: Case) -> Finding | None:
    volts, fed = case.size(TERMINAL_V), case.says(TWO_WIRE)
    there = volts > DEAD_V
    put_in, answer = f"{case.text(TERMINAL_V)} against {DEAD_V} V", "volts are there" if there else "no volts"
    if fed:
        says = (
            "the supply reaches it; the transmitter is dead, or the loop is open beyond it."
            if there
            else "nothing reaches it; the loop is open before it, or there is no supply."
        )
        between = (TERMINALS, CARD) if there else (SUPPLY, TERMINALS)
        confirm = (
            "in manual, alarms blocked, in no classified area: a resistor of 1 kohm, 1 W or more, with the "
            "meter in series, on mA, in place of the transmitter: at most 24 mA of 24 V"
            if there
            else "volts from terminal to terminal, back towards the supply"
        )
    else:
        says = (
            "its output drives volts and no current flows: the loop is open beyond it."
            if there
            else "its output drives nothing: it is dead or switched off, or the loop is shorted."
        )
        between = (TERMINALS, CARD) if there else ("the output of the transmitter", TERMINALS)
        confirm = "its output with both loop wires off and the meter across it, on mA: 4 to 20 mA"
    return Finding(
        f"No current, and {case.text(TERMINAL_V)} at the transmitter: {says}",
        "volts at the transmitter against none",
        put_in,
        answer,
        between,
        confirm,
    )


def _short(case: Case) -> Finding | None:
    still = case.size(LIFTED) > loop.MEASURING_LOW
    return Finding(
        "The current stays with the wire lifted: a short or moisture in the cable."
        if still
        else "The current goes with the wire lifted: the transmitter makes it, as a failure signal or else.",
        "current with the wire lifted",
        case.text(LIFTED),
        "stays" if still else "goes",
        (SUPPLY, TERMINALS) if still else ("the sensor", TERMINALS),
        "insulation of the cable, both ends off"
        if still
        else "its own diagnosis; then a source in its place",
    )


def _short_of_volts(case: Case) -> Finding | None:
    volts, least = case.size(TERMINAL_V), case.size(LEAST_V)
    short_of = volts <= least * (1 + SPARE)  # where it droops it stands at its least
    return Finding(
        "At this current the transmitter has no volts to spare: the supply droops, good low and stuck high."
        if short_of
        else "The transmitter has the volts it needs.",
        "volts at the transmitter against the least",
        f"{case.text(TERMINAL_V)} against {case.text(LEAST_V)}",
        "too little" if short_of else "enough",
        (SUPPLY, TERMINALS) if short_of else None,
        "supply and resistance of the loop: Imax = (V − Vmin)/R" if short_of else "",
    )


def _droop(case: Case) -> Finding | None:
    volts, least, load = (case.size(one) for one in (SUPPLY_V, LEAST_V, LOAD))
    if volts <= least or load <= 0:
        return Finding(
            "The supply is below what the transmitter needs.",
            "supply against the least",
            f"{case.text(SUPPLY_V)} against {case.text(LEAST_V)}",
            "too little",
            (SUPPLY, TERMINALS),
            "the supply under load",
        )
    top = float(loop.largest_current(volts, least, load))
    droops = top < loop.FULL_MA
    return Finding(
        f"The loop makes at most {short(top)} mA: "
        + (
            f"it sticks at {short(100 * float(loop.fraction(top)), 1)} % of span, good below."
            if droops
            else "the supply is enough."
        ),
        "Imax = (V − Vmin)/R",
        f"1000 ({case.number(SUPPLY_V)} − {case.number(LEAST_V)})/{case.number(LOAD)}",
        f"{short(top)} mA",
        (SUPPLY, TERMINALS) if droops else None,
        "volts at the transmitter at its highest current: below its least" if droops else "",
    )


ROWS = (
    Row(
        "loop, current",
        (IN,),
        tells_by_what_follows,
        "no signal, a failure signal, or a wrong value",
        "NAMUR NE 43 (public summaries)",
        frozenset({"no signal", "at the top"}),
        spans=((DISPLAY, IN),),
    ),
    Row(
        "loop, no current",
        (TWO_WIRE, TERMINAL_V),
        _no_current,
        "supply and wires against the transmitter",
        MEMORY,
        wanted=_dead,
        spans=((DISPLAY, IN),),
    ),
    Row(
        "loop, failure signal",
        (IN,),
        _signals_failure,
        "a failure signal against a dead loop",
        "NAMUR NE 43 (public summaries)",
        wanted=_failure,
        spans=((DISPLAY, IN),),
    ),
    Row(
        "loop, too much current",
        (LIFTED,),
        _short,
        "the cable against the transmitter",
        MEMORY,
        wanted=_high,
        spans=((DISPLAY, IN),),
    ),
    Row(
        "loop, volts at the top",
        (TERMINAL_V, LEAST_V),
        _short_of_volts,
        "the supply against the transmitter",
        f"{MEMORY}; {TRANSMITTER}",
        frozenset({"at the top", "wrong in part of the range"}),
        _not_high,
        ((DISPLAY, OUT),),
    ),
    Row(
        "loop, sticks high",
        (SUPPLY_V, LEAST_V, LOAD),
        _droop,
        "the supply against the transmitter",
        f"{COMPUTED}; {TRANSMITTER}",
        frozenset({"at the top", "wrong in part of the range"}),
        _not_high,
        ((DISPLAY, OUT),),
    ),
)
