"""Synthetic visits along a signal: a loop out of volts, found by night, and a level scaled wrong at one end.

Nothing here is judged: the numbers come from a seeded model of a loop, the outcomes from wqverify.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from random import Random

from wqverify.calculations import loop
from wqverify.demo.sheet import (
    OPERATOR,
    Visit,
    later,
    listed,
    not_done,
    opening,
    part,
    signal,
    text,
    written,
)

SEED = 3101
SYSTEMS = "Corin Hale, control systems"  # invented
CLERK = "Rhea Tolliver, town clerk of Brackenmoot"  # invented
TOWN = "Ludo Vance, waterworks of Brackenmoot"  # invented
TOLD_CURRENTS = (4.0, 8.0, 12.0, 16.0, 20.0)


def signal_visits(month: date) -> Iterator[Visit]:
    """Yield the call-out, the loop check and the level check of a month."""
    yield _call_out(Random(SEED + 1), month.replace(day=13))
    random = Random(SEED)
    yield _loop(random, month.replace(day=14))
    yield _level(random, month.replace(day=18))


def _told(started: str) -> list[str]:
    """Return what is said and read before anything is touched."""
    rows = part("clocks", laptop=later(started, 1), control_system=later(started, 2))
    rows += part("cautions", read="yes")
    return rows + part("operations_told", who=OPERATOR, how="radio", at=later(started, 3))


# ---------------------------------------------------------------- a loop with too much in it


@dataclass
class Loop:
    """A loop-powered transmitter of 0 to 20 ft: its supply, and what lies in the way of the current."""

    random: Random
    ohm: float
    supply_v: float = 24.0
    least_v: float = 10.5  # that the transmitter needs

    def flowing(self, told: float) -> float:
        """Return the current that flows where the transmitter is told to make one, mA."""
        most = loop.largest_current(self.supply_v, self.least_v, self.ohm)
        return float(min(told + self.random.gauss(0, 0.001), most + self.random.gauss(0, 0.002)))


def _call_out(random: Random, day: date) -> Visit:
    """The night before the loop check: the tank runs over, and the control room sees no high level."""
    by, started = "T-07", "02:31"
    rows = opening("call_out", "LIT-1102", "EL-0112", day, started, by, reason="call-out", meter="LC-4")
    rows += _told(started)
    rows += part(
        "symptom",
        what="at the top",
        told_as="the tank runs over and the screen stands at 16.9 ft",
        called_by=OPERATOR,
        since="01:50, when the guard saw the overflow run",
    )
    found, level = Loop(random, ohm=770), 19.2
    told = loop.current(level / 20)
    flowing = found.flowing(told)
    there = 20 * loop.fraction(flowing)
    rows += part("at_first", display=f"{level:.2f}", control_system=f"{there:.2f}", heard_how="radio")
    rows += [text("at", later(started, 6))]
    rows += part("condition", as_arrived="box dry, vent tube open, new barrier in the panel", alarms="none")
    rows += not_done("output_held", "the current has to move to be followed")
    rows += part("loop_in_manual", at=later(started, 9), by=OPERATOR)
    rows += not_done("alarm_blocked", "the high alarm has to stay")
    for minutes, what, reading in (
        (14, "current at the far end", f"{flowing:.2f}"),
        (20, "current at the transmitter", f"{found.flowing(told):.2f}"),
        (24, "volts at the transmitter", f"{found.supply_v - flowing * found.ohm / 1000:.1f}"),
        (26, "volts the transmitter needs", f"{found.least_v:.1f}"),
        (29, "volts of the supply", f"{found.supply_v:.1f}"),
        (35, "resistance of the loop", f"{found.ohm:.0f}"),
    ):
        rows += ["", "[[measured]]", text("what", what), text("reading", reading)]
        rows += [text("at", later(started, minutes))]
    rows += not_done("repaired", "no barrier of lower resistance at hand by night")
    rows += part("loop_in_auto", at=later(started, 44), by=OPERATOR)
    rows += part("operations_told_after", who=OPERATOR, how="radio", at=later(started, 45))
    rows += part(
        "status",
        state="in service with restriction",
        note="not shown above 16.9 ft; filling stopped at 15 ft by hand until the loop is repaired",
    )
    rows += part(
        "cause", opinion="the barrier put in last month takes more volts than the loop has", author=by
    )
    return Visit(day, "call-out by night", "LIT-1102", written(rows), "the supply is used up, found by night")


def _loop(random: Random, day: date) -> Visit:
    by, started = "T-07", "13:10"
    rows = opening(
        "loop_check",
        "LIT-1102",
        "EL-0112",
        day,
        started,
        by,
        reason="call-out",
        method="Ellodale procedure EP-44 rev. 1",
        remarks="raw-water tank 1 ran over by night: the control room had 16.9 ft and no high alarm",
    )
    rows += [text("root", "nowhere, it is linear"), *_told(started)]
    rows += part("condition", as_arrived="box dry, vent tube open, new barrier in the panel", alarms="none")
    rows += not_done("output_held", "the current has to move to be followed")
    rows += part("loop_in_manual", at=later(started, 8), by=OPERATOR)
    rows += part("alarm_blocked", at=later(started, 8), by=OPERATOR)
    rows += part("far_end", who=OPERATOR, heard_how="radio")
    rows += part("reference", made_by="the transmitter", instrument="LC-4", ambient_c="21")
    for place in ("transmitter", "display"):
        rows += ["", "[[ranges]]", text("place", place), text("low", "0"), text("high", "20")]
    found = Loop(random, ohm=770)
    most = found.flowing(20)
    rows += part(
        "supply",
        supply_v=f"{found.supply_v:.1f}",
        least_v=f"{found.least_v:.1f}",
        loop_ohm=f"{found.ohm:.0f}",
        terminal_v=f"{found.supply_v - most * found.ohm / 1000:.1f}",
        at_ma=f"{most:.2f}",
    )
    rows += _sweep(found, "as_found", later(started, 24))
    for ma in ("0.000", "3.600"):
        rows += ["", "[[states]]", text("applied_ma", ma), text("taken_as", "a failure")]
        rows += [text("shown", "bad, alarm on")]
    why = "the current sticks at the top; the barrier put in last month takes more volts than the loop has"
    rows += part("decision", action="repair", why=why)
    rows += part(
        "adjusted",
        what="barrier in the panel exchanged for one of lower resistance; the whole loop has now",
        setting_from="770 ohm",
        setting_to="430 ohm",
        at=later(started, 62),
    )
    left = Loop(random, ohm=430)
    rows += _sweep(left, "as_left", later(started, 74))
    rows += signal("15.12", "15.12", loop.current(15.12 / 20), later(started, 82))
    rows += part("loop_in_auto", at=later(started, 86), by=OPERATOR)
    rows += part("alarm_restored", at=later(started, 86), by=OPERATOR)
    rows += part("operations_told_after", who=OPERATOR, how="radio", at=later(started, 88))
    rows += part("status", state="in service")
    rows += part("cause", opinion="nobody counted the volts when the barrier was put in", author=by)
    story = "the supply is used up, the current sticks at the top; repaired"
    return Visit(day, "loop droop", "LIT-1102", written(rows), story)


def _sweep(line: Loop, stage: str, at: str) -> list[str]:
    rows = _way(line, f"{stage}.rising", TOLD_CURRENTS, at, applied=True)
    return rows + _way(line, f"{stage}.falling", TOLD_CURRENTS[::-1], later(at, 7))


def _way(line: Loop, table: str, currents: Sequence[float], at: str, *, applied: bool = False) -> list[str]:
    rows = ["", f"[{table}]"]
    rows += [listed("applied_ma", [f"{told:.3f}" for told in currents])] if applied else []
    flowing = [line.flowing(told) for told in currents]
    rows += [listed("measured_ma", [f"{ma:.3f}" for ma in flowing])]
    card = [ma + 0.001 for ma in flowing]
    rows += [listed("card", [f"{ma:.3f}" for ma in card])]
    rows += [listed("display", [f"{20 * loop.fraction(ma):z.2f}" for ma in card])]
    return [*rows, text("at", at)]


# ---------------------------------------------------------------- a level over the wire


@dataclass
class Tank:
    """The Brackenmoot tank, and what the four places show of its level: ft."""

    random: Random
    level: float
    top_here: float  # what the control system of Ellodale takes 20 mA for
    mark: float = 41.25
    top: float = 40.0
    off: float = 0.06  # of the transmitter

    def tape(self) -> str:
        return f"{self.mark - self.level + self.random.uniform(-0.02, 0.02):.2f}"

    def own(self, ma: float) -> str:
        return f"{self.top_here * loop.fraction(ma):.1f}"

    def seen(self) -> dict[str, str]:
        shown = self.level + self.off
        ma = loop.current(shown / self.top)
        return {
            "display": f"{shown:.1f}",
            "ma": f"{ma:.2f}",
            "remote": f"{shown:.1f}",
            "own": self.own(ma),
        }


def _level(random: Random, day: date) -> Visit:
    by, started = "T-11", "09:05"
    rows = opening(
        "level_check",
        "LIT-3101",
        "EL-0731",
        day,
        started,
        by,
        method="Ellodale procedure EP-41 rev. 1",
        confined_space="not entered; hatch opened from the roof, second person at the ladder",
        kind="hydrostatic",
        remarks="the town says that our level of its tank is always lower than its own",
    )
    rows += _told(started)
    rows += part("condition", as_arrived="desiccant blue, vent tube open and dry", alarms="none")
    rows += part("permission", given_by=CLERK, how="phone", at=later(started, 6))
    rows += part(
        "datum", mark="41.25", zero="0.00", source="drawing B-7 of 2011 (invented), rim of the hatch"
    )
    rows += part("stored", density_kg_m3="1000")
    rows += part("ranges", transmitter="0 to 40 ft", remote="0 to 40 ft", read_by="Perrin Vale")
    tank = Tank(random, level=random.uniform(22.5, 24.5), top_here=35.0)
    rows += ["", "[as_found]", text("read_by", f"the town's by {TOWN}; ours by {OPERATOR}")]
    rows += [text("heard_how", "phone"), text("water_c", "11.4")]
    rows += ["", "[[as_found.points]]", *_taped(tank, 3, later(started, 18))]
    rows += not_done("output_held", "the town's display has to follow the injected current")
    rows += part("loop_in_manual", at=later(started, 28), by=TOWN)
    rows += not_done("alarm_blocked", "the overflow alarm has a float of its own")
    rows += ["", "[second]", text("read_by", f"the town's by {TOWN}; ours by {OPERATOR}")]
    rows += [text("heard_how", "phone")]
    for minutes, ma in ((33, 6.0), (36, 18.0)):
        rows += ["", "[[second.points]]", *_injected(tank, ma, later(started, minutes))]
    why = "the town's display goes with the transmitter, ours does not; both currents say so"
    rows += part("decision", action="range at the far end", why=why)
    rows += part(
        "adjusted",
        where="our control system",
        what="range",
        setting_from="0 to 35 ft",
        setting_to="0 to 40 ft",
        by=SYSTEMS,
        at=later(started, 50),
    )
    tank.top_here, tank.level = 40.0, tank.level - 0.03  # the town drew a little meanwhile
    rows += ["", "[as_left]", text("read_by", f"the town's by {TOWN}; ours by {OPERATOR}")]
    rows += [text("heard_how", "phone")]
    for minutes, ma in ((56, 6.0), (59, 18.0)):
        rows += ["", "[[as_left.points]]", *_injected(tank, ma, later(started, minutes))]
    rows += ["", "[[as_left.points]]", *_taped(tank, 3, later(started, 70))]
    rows += part(
        "ranges_as_left",
        transmitter="0 to 40 ft",
        remote="0 to 40 ft",
        own="0 to 40 ft",
        read_by=f"Perrin Vale, our end {SYSTEMS}",
    )
    rows += part("loop_in_auto", at=later(started, 76), by=TOWN)
    rows += part("town_told", who=TOWN, how="phone", at=later(started, 78))
    rows += part("operations_told_after", who=OPERATOR, how="radio", at=later(started, 80))
    rows += part("status", state="in service")
    rows += part("cause", opinion="our range is that of the tank before it was raised in 2011", author=by)
    story = "wrong range at the far end; corrected and read again"
    return Visit(day, "level far end", "LIT-3101", written(rows), story)


def _taped(tank: Tank, readings: int, at: str) -> list[str]:
    rows = [text("by", "tape"), text("instrument", "TP-1")]
    rows += [listed("reference", [tank.tape() for _ in range(readings)]), text("at", at)]
    rows += [text(place, shown) for place, shown in tank.seen().items()]
    return [*rows, text("read_at", later(at, 1))]


def _injected(tank: Tank, ma: float, at: str) -> list[str]:
    rows = [text("by", "injected current"), text("instrument", "LC-4")]
    rows += [listed("reference", [f"{ma:.2f} mA"]), text("at", at)]
    return [*rows, text("remote", f"{tank.top * loop.fraction(ma):.1f}"), text("own", tank.own(ma))]
