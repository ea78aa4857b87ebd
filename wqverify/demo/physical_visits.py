"""Synthetic visits of flow, conductivity and temperature: a root taken twice, and a round that passes.

Nothing here is judged: the numbers come from seeded models, the outcomes from wqverify.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from random import Random

from wqverify import tables
from wqverify.calculations import conductivity, flow, loop
from wqverify.demo.sheet import OPERATOR, Visit, held, later, listed, not_done, opening, part, text, written

SEED = 1101
ROUND = "monthly-raw-water"
METHOD = "Ellodale procedures EP-41 rev. 1 and EP-12 rev. 3"
BY = "T-07"
BOTTLES = {"K500-2207": "500", "K1413-2210": "1413"}


def physical_visits(month: date) -> Iterator[Visit]:
    """Yield the flow check of a month and its round at the raw water."""
    random = Random(SEED)
    yield _flow(random, month.replace(day=8))
    yield _conductivity(random, month.replace(day=23))
    yield _temperature(random, month.replace(day=23))


# ---------------------------------------------------------------- a flow with its root taken twice


@dataclass
class RawFlow:
    """An orifice whose transmitter takes the square root; the control system may take it once more."""

    random: Random
    gpm: float
    roots_after: int  # square roots that the control system takes
    full_scale: float = 3200.0
    tank_ft: float = 39.37
    gain: float = 1.008  # of the meter
    total_kgal: float = 88214.35

    def fall(self, seconds: float) -> float:
        """Return how far the tank falls in a time, ft."""
        area = math.pi * (self.tank_ft * 0.3048) ** 2 / 4
        return float(flow.to_litres_per_second(self.gpm, "gpm")) * seconds / 1000 / area / 0.3048

    def part(self) -> float:
        """Return the meter's output as part of the span, with the noise of a moment."""
        return self.gain * self.gpm / self.full_scale * (1 + self.random.gauss(0, 0.0015))

    def there(self) -> str:
        shown: float = self.part()
        for _ in range(self.roots_after):
            shown = math.sqrt(shown)
        return f"{self.full_scale * shown:.0f}"

    def run(self, stage: str, level: float, at: str) -> list[str]:
        """Return a draw-down of half an hour as typed."""
        seconds = 1800
        end = level - self.fall(seconds) + self.random.uniform(-0.005, 0.005)
        counted = self.gain * self.gpm * seconds / 60 / 1000
        rows = part(
            stage,
            duration_s=str(seconds),
            level_start=f"{level:.2f}",
            level_stop=f"{end:.2f}",
            meter_start=f"{self.total_kgal:.2f}",
            meter_stop=f"{self.total_kgal + counted:.2f}",
        )
        self.total_kgal += counted
        rows += [listed("control_system", [self.there() for _ in range(4)])]
        return [*rows, text("ma", f"{loop.current(self.part()):.2f}"), text("at", at)]


def _flow(random: Random, day: date) -> Visit:
    by, started = "T-11", "08:05"
    rows = opening(
        "flow_check",
        "FIT-1101",
        "EL-0108",
        day,
        started,
        by,
        reason="call-out",
        method="Ellodale procedure EP-41 rev. 1",
        remarks="the flow of the control room does not fit what the tank loses; the alum is paced by it",
    )
    rows += part("clocks", laptop=later(started, 1), control_system=later(started, 2))
    rows += part("cautions", read="yes")
    rows += part("operations_told", who=OPERATOR, how="radio", at=later(started, 3))
    rows += part("condition", as_arrived="vault dry, impulse lines bled", alarms="none")
    rows += part("meter", kind="differential pressure", root="in both", full_scale="3200", cut_off="0")
    rows += part(
        "reference",
        against="tank draw-down, levels in ft",
        standard="TK-1",
        level_by="TAPE-2",
        read_as="totals in kgal",
    )
    meter = RawFlow(random, gpm=random.uniform(1080, 1180), roots_after=1)
    rows += meter.run("as_found", 16.42, later(started, 46))
    rows += part("output_held", at=later(started, 54), by=by)
    rows += part("loop_in_manual", at=later(started, 55), by=OPERATOR)
    rows += not_done("alarm_blocked", "no alarm hangs on the raw flow")
    rows += part("zero", how="FCV-1100 and the hand valve behind it closed, equalizing valve open, pipe full")
    rows += [listed("readings", [f"{random.uniform(2, 7):.0f}" for _ in range(3)])]
    rows += [text("ma", f"{loop.current(5 / meter.full_scale):.2f}"), text("at", later(started, 66))]
    why = "the meter agrees with the tank and the control system does not; both menus take the root"
    rows += part("decision", action="root extraction", why=why)
    rows += part(
        "adjusted",
        what="square root in the control system, input of FIT-1101",
        setting_from="square root",
        setting_to="linear",
        at=later(started, 76),
    )
    rows += part("output_released", at=later(started, 80), by=by)
    meter.roots_after = 0
    meter.total_kgal += 21.86  # what flowed meanwhile; the tank was filled again
    rows += meter.run("as_left", 16.05, later(started, 118))
    rows += part("loop_in_auto", at=later(started, 124), by=OPERATOR)
    rows += part("operations_told_after", who=OPERATOR, how="radio", at=later(started, 126))
    rows += part("status", state="in service")
    opinion = "the input card was exchanged in spring and set to take a square root"
    rows += part("cause", opinion=opinion, author=by)
    story = "the root is taken twice on the way to the control room; corrected"
    return Visit(day, "flow double root", "FIT-1101", written(rows), story)


# ---------------------------------------------------------------- a round at the raw water


def _read(end: float, digits: int, creep: float) -> list[str]:
    """Return readings that creep towards a value and then hold still."""
    return [f"{end - creep * share:z.{digits}f}" for share in (1.0, 0.0, 0.0, 0.0)]


def _conductivity(random: Random, day: date) -> Visit:
    started, degrees = "08:05", "21.4"
    rows = opening("conductivity_check", "AIT-2401", "EL-0724", day, started, BY, method=METHOD)
    rows += held(started, BY, "no alarm on it")
    rows += part("stored", cell_constant="0.1000", zero="0")
    rows += part("compensation", method="linear", coefficient="2.0")
    rows += part("process_before", shown="562", temperature_c="11.6", control_system="562", at="08:09")
    rows += part("condition", as_arrived="cell clean, no air", alarms="none", sample_flow="1.5 L/min")
    rows += part("thermometer_check", reference="T-22", reference_c=degrees, shown_c="21.5")
    rows += ["", "[as_found.zero]", listed("readings", ["0", "0"]), text("at", "08:20")]
    cell = 1 + random.uniform(-0.006, -0.002)  # what is left of the cell by its film
    values = tables.load("conductivity_ready_made", "trade 1")
    for turn, (bottle, column) in enumerate(BOTTLES.items()):
        worth = float(values.at(column, Decimal(degrees)))
        shown = cell * float(conductivity.linear(worth, float(degrees), 0.02))
        rows += ["", "[[as_found.points]]", text("standard", bottle), text("temperature_c", degrees)]
        rows += [listed("readings", _read(shown, 0, 0.03 * shown)), text("interval_s", "20")]
        rows += [text("at", later("08:27", 6 * turn))]
    rows += part("decision", action="leave alone", why="inside the tolerance in both standards")
    rows += part("as_left", same_as="as_found")
    rows += part("output_released", at="08:40", by=BY)
    rows += part("process_after", shown="562", temperature_c="11.6", control_system="562", at="08:46")
    rows += part("operations_told_after", who=OPERATOR, how="radio", at="08:48")
    rows += part("status", state="in service")
    story = "conductivity inside the tolerance in two standards"
    return Visit(day, "conductivity", "AIT-2401", written(rows), story, ROUND)


def _temperature(random: Random, day: date) -> Visit:
    started, off = "09:05", random.uniform(0.06, 0.12)  # °C, of transmitter and element
    rows = opening("temperature_check", "TIT-1201", "EL-0120", day, started, BY, method=METHOD)
    rows += held(started, BY, "no alarm on it")
    rows += part("process_before", shown="11.5", control_system="11.5", at="09:08")
    rows += part("condition", as_arrived="terminal head dry", alarms="none")
    rows += ["", "[[as_found.points]]", text("kind", "ice point")]  # a fixed point: 0.00 °C by itself
    rows += [listed("readings", _read(off, 1, -0.9)), text("interval_s", "30"), text("at", "09:32")]
    bath = 24.36
    rows += ["", "[[as_found.points]]", text("kind", "stirred bath"), text("standard", "T-22")]
    rows += [text("reference", f"{bath:.2f}"), listed("readings", _read(bath + off, 1, 0.8))]
    rows += [text("interval_s", "30"), text("at", "09:52")]
    rows += part("decision", action="leave alone", why="inside the tolerance in both baths")
    rows += part("as_left", same_as="as_found")
    rows += part("output_released", at="10:04", by=BY)
    rows += part("process_after", shown="11.5", control_system="11.5", at="10:10")
    rows += part("operations_told_after", who=OPERATOR, how="radio", at="10:12")
    rows += part("status", state="in service")
    story = "temperature inside the tolerance in two baths"
    return Visit(day, "temperature", "TIT-1201", written(rows), story, ROUND)
