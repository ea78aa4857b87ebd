"""The fault table for the 4-20 mA loop, whatever it carries."""

from __future__ import annotations

from wqverify.calculations import loop
from wqverify.procedures.call_out_case import (
    ARCHIVE,
    COMPUTED,
    DISPLAY,
    IN,
    LOOP_FORUM,
    MEMORY,
    OHM,
    OPENED,
    OUT,
    OWN,
    ROOT_HERE,
    SHOWN,
    TRANSMITTER,
    VOLTS,
    WRONG,
    Case,
    Finding,
    Measure,
    Row,
    short,
    tells_by_what_follows,
)
from wqverify.procedures.call_out_compare import ohm_of

LIVE = "On volts, leads in the volt sockets; there may be mains in the same panel."
LOCKED = "Lock out and test for dead before wires are lifted in a panel that holds more than the loop."
SUPPLY, TERMINALS, WIRES, CARD = "the supply", "the transmitter", "the wires", "the input card"
DEAD_V = 1  # V: less is none; common practice, no source
SAME_MA = 0.05  # mA: two differences are alike within it; common practice, no source
ENDS_MA = 0.16  # mA between two ends, 1 % of span: more is a difference; common practice, no source
NONE_MA = 0.5  # mA: less is no current at all; common practice, no source
RESISTOR = 0.01  # of a resistor; common practice, no source
FITS = 2.0  # % of span within which a candidate gives what is shown; common practice, no source


TWO_WIRE = Measure("does the loop feed the transmitter?", "", "two wires: yes; a mains supply of its own: no")
TERMINAL_V = Measure(
    "volts at the transmitter", "V", "at its terminals, loop running, at its highest current", LIVE
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
OUT_2 = Measure("current at the transmitter, another level", "mA", "some mA away from the first", OPENED)
IN_2 = Measure("current at the far end, another level", "mA", "at the same moment", OPENED)
LOW_HERE = Measure("4 mA at the transmitter is", OWN, "off its menu, not off a drawing")
HIGH_HERE = Measure("20 mA at the transmitter is", OWN, "off its menu")
LOW_THERE = Measure("4 mA at the far end is", OWN, "off its scaling, by who can see it")
HIGH_THERE = Measure("20 mA at the far end is", OWN, "off its scaling")
DEADBAND = Measure(
    "deadband of the archive", OWN, "how much a value moves before it is kept; by its settings"
)
DAMPING = tuple(
    Measure(f"damping of the {place}", "s", "off its menu; 0 where there is none")
    for place in ("transmitter", "input card", "display")
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
            "a resistor of 1 kohm with the meter in series, on mA, in place of the transmitter: at "
            "most 24 mA of 24 V"
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
    short_of = volts < least
    return Finding(
        "At this current the transmitter has less volts than it needs: the supply droops, good low "
        "and stuck high."
        if short_of
        else "The transmitter has the volts it needs.",
        "volts at the transmitter against the least",
        f"{case.text(TERMINAL_V)} against {case.text(LEAST_V)}",
        "too little" if short_of else "enough",
        (SUPPLY, TERMINALS) if short_of else None,
        "supply and resistance of the loop: Imax = (V − Vmin)/R" if short_of else "",
    )


def _resistor(case: Case) -> Finding | None:
    """The resistor by volts and current, against what it should be."""
    if case.number(IN) <= 0:
        return None
    ohm, due = 1000 * case.size(VOLTS) / case.size(IN), case.size(OHM)
    off = abs(ohm / due - 1) > RESISTOR
    return Finding(
        f"By volts and current it is {short(ohm, 1)} ohm, measured or printed {case.text(OHM)}: "
        + ("a bad terminal, another resistor, or one beside it." if off else "the resistor is right."),
        "R = 1000 V/I",
        f"1000 × {case.number(VOLTS)}/{case.number(IN)}",
        f"{short(ohm, 1)} ohm",
        ("the current at the far end", "the volts across the input") if off else None,
        "its resistance with the loop dead; the terminals made again" if off else "",
    )


def _rooted_alike(case: Case) -> bool:
    return case.may_be_rooted and case.says(ROOT_HERE) is False


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


def _leak(case: Case) -> Finding | None:
    """Two ends that differ, at two levels: in proportion a leak across the input, constant an earth loop."""
    away = case.size(OUT) - case.size(IN)
    if abs(away) <= ENDS_MA:
        return Finding(
            "The same current at both ends: the wires are good.",
            "at the transmitter − at the far end",
            f"{case.number(OUT)} − {case.number(IN)}",
            f"{short(away, 3)} mA",
        )
    if not case.knows(OUT_2, IN_2):
        return None
    away_2 = case.size(OUT_2) - case.size(IN_2)
    ratios = [
        case.size(far) / case.size(near) for near, far in ((OUT, IN), (OUT_2, IN_2)) if case.size(near) > 0
    ]
    in_proportion = len(ratios) == 2 and abs(ratios[0] - ratios[1]) * 20 <= SAME_MA
    constant = abs(away - away_2) <= SAME_MA
    put_in = f"{case.number(OUT)} − {case.number(IN)}, {case.number(OUT_2)} − {case.number(IN_2)}"
    answer = f"{short(away, 3)} and {short(away_2, 3)} mA"
    ohm = ohm_of(case)
    if in_proportion and not constant and 0 < ratios[0] < 1:
        size = (
            f", about {short(float(loop.leak_of(ratios[0], float(ohm))), 0)} ohm beside {ohm} ohm"
            if ohm
            else ""
        )
        says, confirm = (
            f"The current is lost in proportion: a leak across the input{size}.",
            "insulation between the two wires, both ends off",
        )
    elif in_proportion and not constant:
        says, confirm = (
            "The far end reads more in proportion: the meter, or the resistor it reads across.",
            "the same meter at both ends",
        )
    elif constant and not in_proportion:
        says, confirm = (
            "As much is lost at both levels: an earth loop.",
            "volts from each signal wire to earth; the screen earthed at one end only, or an "
            "isolator: both ends "
            "agree. A protective earth is never lifted",
        )
    else:
        says, confirm = (
            "Neither in proportion nor constant, or both fit: the levels are too near.",
            "a level farther away",
        )
    return Finding(
        says, "at the transmitter − at the far end, at two levels", put_in, answer, (TERMINALS, CARD), confirm
    )


def _ends_differ(case: Case) -> bool:
    return case.knows(OUT, IN) and abs(case.size(OUT) - case.size(IN)) > ENDS_MA


def _ranges(case: Case) -> Finding | None:
    """Two ranges: what the far end makes of the true value, against what it shows."""
    here = case.number(LOW_HERE), case.number(HIGH_HERE)
    there = case.number(LOW_THERE), case.number(HIGH_THERE)
    if here[0] == here[1] or there[0] == there[1]:
        return Finding(
            "A range of zero width: no current stands for a value.", between=(TERMINALS, "the control system")
        )
    unit = case.analyzer.unit
    if here == there:
        return Finding(
            f"Both ends have {here[0]} to {here[1]} {unit}: no mismatch of ranges.",
            "range here, range there",
            f"{here[0]} to {here[1]}, {there[0]} to {there[1]}",
            "the same",
        )
    ratio = (there[1] - there[0]) / (here[1] - here[0])
    fits, would = "", ""
    if case.knows(DISPLAY):
        shown = there[0] + (there[1] - there[0]) * (case.number(DISPLAY) - here[0]) / (here[1] - here[0])
        would = f"; {case.number(DISPLAY)} here becomes {short(shown, 3)} there"
        if case.knows(SHOWN):
            off = abs(100 * float((case.number(SHOWN) - shown) / (there[1] - there[0])))
            fits = (
                " That is what it shows." if off <= FITS else " It shows something else, so this is not all."
            )
    return Finding(
        f"The two ends have different ranges{would}.{fits}",
        "low' + (high' − low')(v − low)/(high − low), ' at the far end",
        f"{there[0]} + ({there[1]} − {there[0]})(v − {here[0]})/({here[1]} − {here[0]})",
        f"ratio of the spans {short(ratio, 4)}",
        (CARD, "the control system"),
        "the range set at one end, the same value read again at both; the plant says which end is right",
    )


def _output(case: Case) -> Finding | None:
    """What the transmitter should make of its own display in its own range."""
    low, high = case.number(LOW_HERE), case.number(HIGH_HERE)
    if low == high:
        return Finding(
            "A range of zero width: no current stands for a value.", between=(DISPLAY.what, OUT.what)
        )
    should = float(loop.current_of(case.number(DISPLAY), low, high, _rooted_alike(case)))
    off = case.size(OUT) - should
    trimmed = abs(off) <= SAME_MA * 2
    same = (low, high) == case.range_at("transmitter")
    if not trimmed:
        says = "The output does not follow its own range: trim, an output that is held, or a failure."
    elif same:
        says = "Range and output are as they should be."
    else:
        says = "The output follows its range, and that range is not the one in the register."
    return Finding(
        says,
        "I = 4 + 16 (v − low)/(high − low), squared where the root is not taken in the transmitter",
        f"4 + 16 (({case.number(DISPLAY)} − {low})/({high} − {low})){'²' if _rooted_alike(case) else ''}",
        f"{short(should, 3)} mA, read {case.text(OUT)}",
        None if trimmed and same else ("the display of the analyzer", "the current at the transmitter"),
        "" if trimmed and same else "a current set by its menu, 4 and 20 mA, with the meter in the loop",
    )


def _deadband(case: Case) -> Finding | None:
    off, band = case.size(ARCHIVE) - case.size(SHOWN), case.size(DEADBAND)
    explains = abs(off) <= band
    return Finding(
        "The deadband explains it: the archive keeps the old value until it moves more."
        if explains
        else "The deadband does not explain it: its range, a clamp, or the interval and time of the "
        "kept value.",
        "|kept − shown| against the deadband",
        f"|{case.number(ARCHIVE)} − {case.number(SHOWN)}| against {case.text(DEADBAND)}",
        f"{short(abs(off), 3)} {case.analyzer.unit}",
        ("the control system", "the archive"),
        "a smaller deadband"
        if explains
        else "range and clamp of the archive, and the time of its newest value",
    )


def _damped(case: Case) -> Finding | None:
    sizes = [case.size(one) for one in DAMPING]
    total = sum(sizes)
    return Finding(
        f"Behind a ramp the value comes {short(total, 0)} s late by damping alone; a step is at 95 % after "
        f"{short(3 * max(sizes), 0)} to {short(3 * total, 0)} s. A moving average adds half its window.",
        "lag on a ramp = sum of the time constants; 95 % of a step after 3 of the largest, at most "
        "3 of the sum",
        " + ".join(f"{size:g}" for size in sizes),
        f"{short(total, 0)} s",
        (TERMINALS, "the control system") if total else None,
        "damping set lower at one place: it follows sooner" if total else "",
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
        "loop, input resistor",
        (IN, VOLTS, OHM),
        _resistor,
        "the resistor against the card",
        "Ohm's law; 1 to 5 V on 250 ohm, one public source",
        wanted=lambda case: case.knows(IN, VOLTS),
        spans=((IN, VOLTS),),
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
    Row(
        "loop, output of the transmitter",
        (DISPLAY, OUT, LOW_HERE, HIGH_HERE),
        _output,
        "its range against its output",
        COMPUTED,
        WRONG,
        spans=((DISPLAY, OUT),),
    ),
    Row(
        "loop, two ends differ",
        (OUT, IN),
        _leak,
        "a leak in proportion, or an earth loop that is constant",
        COMPUTED,
        wanted=_ends_differ,
        spans=((OUT, IN),),
    ),
    Row(
        "loop, two ends differ, second level",
        (OUT_2, IN_2),
        tells_by_what_follows,
        "a leak against an earth loop",
        COMPUTED,
        wanted=_ends_differ,
        spans=((OUT, IN),),
    ),
    Row(
        "loop, ranges at both ends",
        (LOW_HERE, HIGH_HERE, LOW_THERE, HIGH_THERE),
        _ranges,
        "two ranges that do not fit",
        COMPUTED,
        WRONG,
        spans=((DISPLAY, OUT), (IN, ARCHIVE)),
    ),
    Row(
        "archive, deadband",
        (SHOWN, ARCHIVE, DEADBAND),
        _deadband,
        "what is kept against what is shown",
        COMPUTED,
        wanted=lambda case: case.knows(SHOWN, ARCHIVE) and case.number(SHOWN) != case.number(ARCHIVE),
        spans=((SHOWN, ARCHIVE),),
    ),
    Row(
        "loop, damping",
        DAMPING,
        _damped,
        "who makes it late",
        f"{COMPUTED}; first order, {LOOP_FORUM}",
        frozenset({"late"}),
        spans=((DISPLAY, OUT), (IN, ARCHIVE)),
    ),
)
