"""The fault table for two ends of a loop that do not fit: output, leak, resistor, ranges, archive, lag."""

from __future__ import annotations

from wqverify.calculations import loop
from wqverify.procedures.call_out_case import (
    ARCHIVE,
    COMPUTED,
    DISPLAY,
    IN,
    LOOP_FORUM,
    OHM,
    OPENED,
    OUT,
    OWN,
    ROOT_HERE,
    SHOWN,
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
from wqverify.procedures.call_out_loop import CARD, TERMINALS

SAME_MA = 0.05  # mA: two differences are alike within it; common practice, no source
ENDS_MA = 0.16  # mA between two ends, 1 % of span: more is a difference; common practice, no source
RESISTOR = 0.01  # of a resistor; common practice, no source
FITS = 2.0  # % of span within which a candidate gives what is shown; common practice, no source


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


def _resistor(case: Case) -> Finding | None:
    """The resistor by volts and current, against what it should be."""
    if case.number(IN) <= 0:
        return None
    ohm, counts = 1000 * case.size(VOLTS) / case.size(IN), ohm_of(case)
    assert counts is not None
    off = abs(ohm / float(counts) - 1) > RESISTOR
    as_measured = abs(ohm / case.size(OHM) - 1) <= RESISTOR
    return Finding(
        f"By volts and current it is {short(ohm, 1)} ohm, measured or printed {case.text(OHM)}, by the "
        f"register {counts} ohm: "
        + (
            "the resistor is right."
            if not off and as_measured
            else "another resistor is fitted than the register says; which one the card counts with, its "
            "scaling tells."
            if off and as_measured
            else "a bad terminal, another resistor, or one beside it."
        ),
        "R = 1000 V/I",
        f"1000 × {case.number(VOLTS)}/{case.number(IN)}",
        f"{short(ohm, 1)} ohm",
        ("the current at the far end", "the volts across the input") if off or not as_measured else None,
        "its resistance with the loop dead; the terminals made again" if off or not as_measured else "",
    )


def _rooted_alike(case: Case) -> bool:
    return case.may_be_rooted and case.says(ROOT_HERE) is False


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
            "The same difference at both levels: an earth loop.",
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
        "loop, input resistor",
        (IN, VOLTS, OHM),
        _resistor,
        "the resistor against the card",
        "Ohm's law; 1 to 5 V on 250 ohm, one public source",
        wanted=lambda case: case.knows(IN, VOLTS),
        spans=((IN, VOLTS),),
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
