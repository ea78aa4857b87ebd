"""Bad input of a loop check and a flow check: each kind with the whole sentence a technician reads.

The kinds are those of the list of bad input of the signal procedures: out of order, left in manual, past its
due date, a unit that does not fit, a range of zero width, the root of a negative signal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
import test_flow_check as flow
import test_loop_check as loop

from wqverify.terms import Given, Outcome

MANUAL = {"loop_in_manual": {"at": "13:10", "by": "W. Abernathy"}}
OVERDUE = "2026-03-11"  # the day before the work
TANK = {"against": flow.TANK["against"], "read_as": flow.TANK["read_as"]}
FOUND = "as_found.rising.applied_ma"
WAYS = (
    "Ways on: apply the currents with another source or meter that is in date; or have it calibrated first "
    'and say as_found.not_done = "because ...".'
)
IN_MANUAL = (
    "the field sheet: loop_in_manual has a time and loop_in_auto is missing; enter when it was undone, or "
    'loop_in_auto.not_done = "because ..." where it stays.'
)


def swept(applied: list[str], shown: list[str] | None = None, **more: Any) -> dict[str, Any]:
    return loop.visit(loop.rising(shown or ["0.00"] * len(applied), applied), **more)


def due(of: Any, raw: dict[str, Any], name: str, day: str = OVERDUE) -> Given:
    """What is given where one instrument was due on a day."""
    known = {**of.STANDARDS, name: replace(of.STANDARDS[name], calibration_due=day)}
    given: Given = of.given_for(raw, standards=known)
    return given


def down(applied: list[str]) -> dict[str, Any]:
    raw = loop.visit()
    raw["as_found"]["falling"] = {"applied_ma": applied, "display": ["1"] * len(applied)}
    return raw


def with_meter() -> dict[str, Any]:
    found = loop.rising(loop.LINEAR, measured_ma=loop.FIVE)
    return loop.visit(found, reference={"instrument": "C-3", "meter": "C-4"})


# What is typed, who refuses it, and the sentence.
REFUSED: dict[str, tuple[Callable[[], str], str]] = {
    "loop: the way up out of order": (
        lambda: loop.refused(swept(["4.000", "12.000", "8.000"])),
        f"{FOUND}: 8.000 mA comes after 12.000 mA, and these points go from low to high. Type them in the "
        "order they were applied; a point set from the other side is taken again.",
    ),
    "loop: one current twice": (
        lambda: loop.refused(swept(["4.000", "4.000", "8.000"])),
        f"{FOUND}: 4.000 mA comes after 4.000 mA, and these points go from low to high. Type them in the "
        "order they were applied; a point set from the other side is taken again.",
    ),
    "loop: the way down out of order": (
        lambda: loop.refused(down(["20.000", "4.000", "12.000"])),
        "as_found.falling.applied_ma: 12.000 mA comes after 4.000 mA, and these points go from high to low. "
        "Type them in the order they were applied; a point set from the other side is taken again.",
    ),
    "flow: a level that rose": (
        lambda: flow.refused(flow.visit(flow.drawn(level_stop="4.20"))),
        "As found: The level went from 4.10 to 4.20 m and did not fall, so nothing was drawn down; look "
        "which of both is mistyped.",
    ),
    "flow: a total that counts down": (
        lambda: flow.refused(flow.visit(flow.drawn(meter_stop="999.9"))),
        "as_found.meter_stop is 999.9 and lies before the start, 1000.0; a total counts up. Look which one "
        "is mistyped; where it rolled over in between, compare again.",
    ),
    "loop: left in manual": (lambda: loop.not_taken(loop.visit(**MANUAL)), IN_MANUAL),
    "flow: left in manual": (lambda: flow.not_taken(flow.visit(**MANUAL)), IN_MANUAL),
    "loop: a source past its date": (
        lambda: loop.refused(loop.visit(), due(loop, loop.visit(), "C-3")),
        "The calibration of C-3 (loop source and meter) was due on 2026-03-11, the work was on 2026-03-12. "
        f"{WAYS}",
    ),
    "loop: a meter past its date": (
        lambda: loop.refused(with_meter(), due(loop, with_meter(), "C-4")),
        f"The calibration of C-4 (multimeter) was due on 2026-03-11, the work was on 2026-03-12. {WAYS}",
    ),
    "loop: a range in a unit of something else": (
        lambda: loop.refused(
            loop.visit(ranges=[{"place": "display", "low": "0", "high": "43", "unit": "psi"}])
        ),
        "The unit of the display (ranges.0.unit) is psi, which measures something else; FIT-1101 measures "
        "level in ft. Type the unit as it is set there, such as ft.",
    ),
    "loop: a range in no unit": (
        lambda: loop.refused(
            loop.visit(ranges=[{"place": "display", "low": "0", "high": "43", "unit": "furlong"}])
        ),
        "The unit of the display (ranges.0.unit) is furlong, which is no unit known here; FIT-1101 measures "
        "level in ft. Type the unit as it is set there, such as ft.",
    ),
    "loop: a current with a unit": (
        lambda: loop.not_taken(swept(["4.000 psi", "8.000"])),
        "the field sheet: item 1 of applied_ma: '4.000 psi' carries a unit; type the number alone, the unit "
        "is that of the question.",
    ),
    "flow: a level with a unit": (
        lambda: flow.not_taken(flow.visit(flow.drawn(level_stop="3.30 psi"))),
        "the field sheet: level_stop: '3.30 psi' carries a unit; type the number alone, the unit is that of "
        "the question.",
    ),
    "flow: a meter in another unit": (
        lambda: flow.refused(flow.visit(), flow.given_for(flow.visit(), flow.analyzer(unit="psi"))),
        "FIT-1101 measures raw flow in psi; this procedure is for flow in m3/h, L/s, gpm, MGD, m3/s, L/min, "
        "m3/d. Name a flow meter, or correct measures and unit in analyzers.toml.",
    ),
    "flow: a tank that is none": (
        lambda: flow.refused(flow.visit(reference={**TANK, "standard": "SO"})),
        "SO (strap-on) is in L/s; here stands a tank with its inner diameter as value, in one of m, cm, mm, "
        "ft, in. Name another, or correct standards_on_hand.toml.",
    ),
    "loop: a range of zero width": (
        lambda: loop.refused(loop.visit(ranges=[{"place": "display", "low": "2", "high": "2.0"}])),
        "The range of the display (ranges.0) is 2 to 2.0: it has no width, so no current stands for a value. "
        "Read both ends again where they are set.",
    ),
    "flow: a range of zero width": (
        lambda: flow.refused(flow.visit(meter={"kind": "magnetic", "full_scale": "0"})),
        "The flow at 20 mA is 0 L/s; it is more than 0. Type it as its menu shows it.",
    ),
    "flow: a range of zero width above 0": (
        lambda: flow.refused(
            flow.visit(meter={"kind": "magnetic", "full_scale": "20"}),
            flow.given_for(flow.visit(), flow.analyzer(low=Decimal(20))),
        ),
        "The flow at 20 mA is 20 L/s; it is more than 20. Type it as its menu shows it.",
    ),
    "loop: the root of a negative signal": (
        lambda: loop.refused(swept(["3.800", "8.000"], ["0.00", "50.00"], **loop.ROOT)),
        f"{FOUND} holds 3.800 mA, below 4 mA, and the control system takes the square root: a negative "
        "signal has none. Apply 4 mA or more; what it makes of less is entered under states.",
    ),
    "flow: the root of a negative signal": (
        lambda: flow.refused(
            flow.visit(
                flow.rates(flow.QUARTER, flow.QUARTER, ma="3.95"),
                reference=flow.STRAP_ON,
                meter=flow.pressure(),
            )
        ),
        "as_found.ma is 3.95 mA while water flowed. The signal is -0.3125 % of its span, and a negative "
        "signal has no square root: below 4 mA there is no flow to compute. Zero the differential pressure "
        "first, or enter the current as the meter showed it.",
    ),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_bad_input_is_refused_in_one_sentence(kind: str) -> None:
    refused, sentence = REFUSED[kind]
    assert refused() == sentence


@pytest.mark.parametrize("name", ["SO", "TAPE"])
def test_a_flow_against_an_instrument_past_its_date_is_not_evaluated(name: str) -> None:
    """Its readings are kept and shown; on its last day it is judged."""
    raw = flow.visit(reference={**flow.TANK, "level_by": "TAPE"})
    if name == "SO":
        raw = flow.visit(flow.rates(flow.QUARTER, flow.QUARTER), reference=flow.STRAP_ON)
    found = flow.check(flow.run(raw, due(flow, raw, name)))
    assert (found.outcome, found.reason) == (
        Outcome.NOT_EVALUATED,
        f"the calibration of {name} was due on 2026-03-11",
    )
    in_date = flow.check(flow.run(raw, due(flow, raw, name, "2026-03-12")))
    assert in_date.outcome is Outcome.PASS


@pytest.mark.parametrize("of", [loop, flow], ids=["loop", "flow"])
def test_a_loop_taken_out_of_manual_or_left_there_for_a_reason_is_complete(of: Any) -> None:
    for back in ({"at": "14:00"}, {"not_done": "operations keep it in manual until the filter is back"}):
        assert of.run(of.visit(**MANUAL, loop_in_auto=back)).checks


@pytest.mark.parametrize(
    ("ma", "reason"),
    [
        ("3.97", "3.97 mA lies below 4 mA, and a negative signal has no square root"),
        (
            "3.98",
            "3.98 mA is a pressure signal within 0.025 mA of 4 mA, which a multimeter cannot tell from it, "
            "and its root says nothing there: read the pressure itself",
        ),
    ],
)
def test_a_negative_signal_at_standstill_is_kept_and_has_no_root(ma: str, reason: str) -> None:
    raw = flow.visit(zero=flow.still("0.0", ma=ma), meter=flow.pressure())
    found = flow.check(flow.run(raw), "as_found.zero_ma")
    assert (found.outcome, found.reason) == (Outcome.NOT_EVALUATED, reason)
