"""The fault table for flow: the square root, the zero, the pipe, the electrodes."""

from __future__ import annotations

from wqverify.calculations import loop
from wqverify.procedures.call_out_case import (
    COMPUTED,
    DISPLAY,
    FLOW_PAGE,
    IN,
    MEMORY,
    OUT,
    OWN,
    ROOT_HERE,
    ROOT_THERE,
    SHOWN,
    WRONG,
    Case,
    Finding,
    Measure,
    Row,
    short,
    tells_by_what_follows,
)
from wqverify.procedures.call_out_ends import FITS
from wqverify.procedures.call_out_loop import CARD, LOCKED, TERMINALS

STANDSTILL = Measure(
    "flow at standstill", OWN, "valves shut, pumps off, by operations", "Only operations stop the flow."
)
STRAIGHT = Measure("5 pipe diameters straight before it, 3 behind?", "", "look at bends, valves and pumps")
FIRST_KOHM = Measure("resistance of one electrode to the water", "kohm", "at its terminals", LOCKED)
OTHER_KOHM = Measure("resistance of the other electrode", "kohm", "at its terminals", LOCKED)
EQUALISED = Measure(
    "flow with the manifold equalised",
    OWN,
    "high and low side joined at the valve manifold",
    "Output held and in manual first: no flow is shown. Valves slowly, in the manifold's order.",
)
FULL = Measure("is the pipe full at standstill?", "", "by its empty-pipe alarm or a tap at the crown")
WATER_US = Measure("conductivity of the water", "uS/cm", "by a hand meter")
ZERO_PERCENT = 1  # of the range at standstill: less is zero; common practice, no source
LEAST_US = 5  # uS/cm that a magnetic meter needs, as FLOW_PAGE has it
LEAST_DP = 0.1  # % of the differential pressure: more is no zero; common practice, no source
TWICE = 2  # between two electrodes; common practice, no source
ROOTS = ("no root at all", "one root", "two roots")


def _standstill(case: Case) -> Finding | None:
    off = 100 * float(case.number(STANDSTILL) / case.width_at("transmitter"))
    if abs(off) <= ZERO_PERCENT:
        return Finding(
            "Zero at standstill, within 1 % of the range; a low-flow cut can hide what is less.",
            "flow at standstill in % of the range",
            f"100 × {case.number(STANDSTILL)}/{case.width_at('transmitter')}",
            f"{short(off)} %",
        )
    if not case.knows(FULL, WATER_US):
        return None
    confirm = "zero read again, the pipe full and still"
    if case.says(FULL) is False:
        says, between = "A part-full pipe reads high.", ("the water", "the electrodes")
        confirm = "the pipe kept full, by a rise behind the meter: " + confirm
    elif case.size(WATER_US) < LEAST_US:
        says, between = "Below 5 uS/cm a magnetic meter does not read.", ("the water", "the electrodes")
        confirm = "another kind of meter in the same water"
    else:
        says, between = (
            "Full, and conducting: earth rings, electrodes, or its zero.",
            ("the electrodes", TERMINALS),
        )
        confirm = "resistance of each electrode to the water, both alike; earth rings; then its zero"
    return Finding(
        says,
        "flow at standstill in % of the range",
        f"100 × {case.number(STANDSTILL)}/{case.width_at('transmitter')}",
        f"{short(off)} %",
        between,
        confirm,
    )


def _electrodes(case: Case) -> Finding | None:
    first, other = case.size(FIRST_KOHM), case.size(OTHER_KOHM)
    unlike = max(first, other) > TWICE * min(first, other)
    return Finding(
        "The electrodes differ: one is coated or not wetted."
        if unlike
        else "Both electrodes see the water alike.",
        "the larger against twice the smaller",
        f"{case.text(FIRST_KOHM)} and {case.text(OTHER_KOHM)}",
        "unlike" if unlike else "alike",
        ("the water", "the electrodes") if unlike else None,
        "cleaned, both alike: the noise or the zero goes" if unlike else "",
    )


def _straight(case: Case) -> Finding | None:
    if case.says(STRAIGHT):
        return Finding("Straight enough before and behind.")
    return Finding(
        "A bend, valve or pump too near: the profile is not even, and it reads off by a percent "
        "that does not move.",
        between=("the water", "the electrodes"),
        confirm="a strap-on meter in a straight length, or a draw-down of a tank",
    )


def _equalised(case: Case) -> Finding | None:
    off = 100 * float(case.number(EQUALISED) / case.width_at("transmitter"))
    share = (off / 100) ** 2 * 100  # of the differential pressure, where a root is taken of it
    wrong = share > LEAST_DP
    return Finding(
        "No difference of pressure and it shows flow: the zero of the transmitter, or its tubing."
        if wrong
        else "Zero with the manifold equalised: the cell is right.",
        "flow in % of the range with both sides joined",
        f"100 × {case.number(EQUALISED)}/{case.width_at('transmitter')}",
        f"{short(off)} %, which is {short(share, 3)} % of the differential pressure behind a root",
        ("the tubing", TERMINALS) if wrong else None,
        "tubing vented or drained, zeroed with the manifold equalised" if wrong else "",
    )


def _roots(case: Case) -> Finding | None:
    """What the far end shows of the current, against none, one and two square roots."""
    current = case.size(IN if case.knows(IN) else OUT)
    part = float(loop.fraction(current))
    low, high = (float(end) for end in case.range_at("display"))
    shown = 100 * (case.size(SHOWN) - low) / (high - low)
    if part < 0:
        return Finding(
            f"{short(current, 3)} mA is below 4 mA: a negative signal has no square root; read it "
            "while water flows."
        )
    would = [100 * part, 100 * part**0.5, 100 * part**0.25]
    fits = [name for name, size in zip(ROOTS, would, strict=True) if abs(size - shown) <= FITS]
    named = " or ".join(fits) or "none of these"
    told = ", ".join(f"{name} {short(size, 1)} %" for name, size in zip(ROOTS, would, strict=True))
    says = f"{short(current, 3)} mA is shown as {short(shown, 1)} %: {named} of the current ({told})."
    if ROOTS[1] in fits and len(fits) == 1:
        says += (
            " Right where the current is linear in differential pressure; where the transmitter takes the "
            "root already, it is taken twice."
        )
    if ROOTS[0] in fits and len(fits) == 1:
        says += " Right where the transmitter takes the root; where it does not, nobody does."
    taken = [case.says(ROOT_HERE), case.says(ROOT_THERE)]
    if taken == [True, True]:
        says += " Both ends take the root."
    elif taken == [False, False]:
        says += " Neither end takes the root."
    wrong = taken[0] is not None and taken[0] == taken[1]
    return Finding(
        says,
        "100 q, 100 √q, 100 ⁴√q, q = (I − 4)/16",
        f"q = ({current:g} − 4)/16 = {part:.4f}; shown "
        f"100 ({case.number(SHOWN)} − {low:g})/({high:g} − {low:g})",
        f"{short(shown, 1)} %",
        (CARD, "the control system") if wrong or not fits else None,
        "the root taken at one end only: right in the middle of the range, as at both ends of it"
        if wrong
        else "two more currents, one near a quarter of the span"
        if not fits
        else "",
    )


def _magnetic(case: Case) -> bool:
    return not case.is_kind("differential", "orifice", "venturi")


def _on_pressure(case: Case) -> bool:
    return case.may_be_rooted


def _by_pressure(case: Case) -> bool:
    return case.may_be_rooted and case.knows(SHOWN)


def _moves_at_standstill(case: Case) -> bool:
    return (
        _magnetic(case)
        and case.knows(STANDSTILL)
        and abs(100 * float(case.number(STANDSTILL) / case.width_at("transmitter"))) > ZERO_PERCENT
    )


ROWS = (
    Row(
        "flow, root",
        (ROOT_HERE, ROOT_THERE, IN),
        _roots,
        "where the square root is taken",
        COMPUTED,
        WRONG,
        _by_pressure,
        ((DISPLAY, OUT), (IN, SHOWN)),
    ),
    Row(
        "flow, manifold equalised",
        (EQUALISED,),
        _equalised,
        "the zero of the cell against the pipe",
        MEMORY,
        WRONG | {"noisy"},
        _on_pressure,
    ),
    Row(
        "flow, standstill",
        (STANDSTILL,),
        _standstill,
        "the zero against the span",
        FLOW_PAGE,
        WRONG | {"noisy"},
        _magnetic,
    ),
    Row(
        "flow, full pipe",
        (FULL, WATER_US),
        tells_by_what_follows,
        "the water against the meter",
        FLOW_PAGE,
        wanted=_moves_at_standstill,
    ),
    Row(
        "flow, electrodes",
        (FIRST_KOHM, OTHER_KOHM),
        _electrodes,
        "the electrodes against the water",
        FLOW_PAGE,
        WRONG | {"noisy"},
        _magnetic,
    ),
    Row(
        "flow, straight lengths",
        (STRAIGHT,),
        _straight,
        "the profile against the meter",
        FLOW_PAGE,
        WRONG,
        _magnetic,
    ),
)
