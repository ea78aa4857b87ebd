"""A synthetic month of chlorine checks against grabs: every five days, one fails and is adjusted."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from random import Random

from wqverify.demo.sheet import OPERATOR, Visit, held, later, not_done, opening, part, signal, text, written

SEED = 2301
TAG, SERIAL, BY = "AIT-2301", "EL-0611", "T-11"
DAYS = (2, 7, 11, 16, 21, 26)


def chlorine_visits(month: date) -> Iterator[Visit]:
    """Yield the chlorine checks of a month; the membrane gets tired until it is serviced."""
    random = Random(SEED)
    sensitivity = 1.0  # of the cell, as a share of what the transmitter holds
    for day in DAYS:
        sensitivity -= random.uniform(0.01, 0.025)
        low = day == 16
        if low:
            sensitivity = 0.79
        residual = random.uniform(0.95, 1.15)
        yield _check(random, month.replace(day=day), residual, sensitivity, low)
        if low:
            sensitivity = 1.0


def _check(random: Random, day: date, residual: float, sensitivity: float, low: bool) -> Visit:
    started = "08:05"
    rows = opening("chlorine_check", TAG, SERIAL, day, started, BY, method="EPA 334.0 as in EP-31 rev. 2")
    rows += [text("kind", "free")]
    rows += held(started, BY, "the low alarm stays live") if low else _untouched(started)
    rows += part("stored", sensitivity="2.35", zero_ua="0.05")
    rows += part("cell", ph="7.6", temperature_c="13.0", flow_ml_min="490")
    rows += _pair("as_found", random, residual, sensitivity * residual, later(started, 5), held_later=True)
    if low:
        current = 2.35 * sensitivity * residual + 0.05
        rows += ["", "[zero]", 'currents_ua = ["0.11", "0.07", "0.05", "0.05"]', text("interval_s", "120")]
        rows += [text("how", "sample through a carbon cartridge"), text("at", later(started, 24))]
        rows += part("service", how="membrane and electrolyte changed", at=later(started, 30))
        shown = ", ".join(f'"{current + step:.2f}"' for step in (-0.01, 0.0, 0.01))
        rows += ["", "[cell_current]", f"currents_ua = [{shown}]", text("zero_ua", "0.05")]
        why = "outside the criterion as found; two grabs agree"
        rows += part("decision", action="sensitivity", why=why)
        new = f"{2.35 * 0.99:.2f}"
        rows += part("adjusted", sensitivity_from="2.35", sensitivity_to=new, at=later(started, 50))
        rows += part("output_released", at=later(started, 66), by=BY)
        rows += _pair("as_left", random, residual, residual, later(started, 72))
        shown = f"{residual:.2f}"
        rows += signal(shown, shown, 4 + 16 * residual / 5, later(started, 80))
        rows += part("operations_told_after", who=OPERATOR, how="radio", at=later(started, 82))
        rows += part("cause", opinion="the membrane was old", author=BY)
    rows += part("status", state="in service")
    story = "fails as found, serviced and adjusted" if low else "inside 0.1 mg/L or 15 %"
    return Visit(day, f"chlorine {day.day}", TAG, written(rows), story)


def _untouched(started: str) -> list[str]:
    rows = part("clocks", laptop=later(started, 1), control_system=later(started, 2))
    rows += part("cautions", read="yes")
    rows += part("operations_told", who=OPERATOR, how="radio", at=later(started, 2))
    return rows + not_done("output_held", "nothing is touched for a comparison")


def _pair(
    stage: str, random: Random, residual: float, shown: float, at: str, *, held_later: bool = False
) -> list[str]:
    a, b = (f"{residual + random.gauss(0, 0.012):.2f} mg/L" for _ in range(2))
    there = {"control_system": f"{shown:.2f}"} if held_later or stage == "as_left" else {}
    return part(
        stage,
        shown=f"{shown:.2f}",
        **there,
        at=at,
        collected=at,
        analysed=later(at, 4),
        grab_a=a,
        grab_b=b,
        instrument="P-2",
        method="DPD, free chlorine",
        reagents="DPD lot 4120 (invented)",
    )
