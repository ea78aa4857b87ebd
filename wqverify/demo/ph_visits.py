"""A synthetic month of pH visits: an electrode that ages, seen by a technician who types what is shown.

Nothing here is judged: the numbers come from a seeded electrode model, the outcomes from wqverify itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from random import Random

from wqverify import tables
from wqverify.calculations.ph import nernst_slope
from wqverify.demo.sheet import OPERATOR, Visit, later, not_done, opening, part, text, written

SEED = 2101
TAG = "AIT-2101"
BUFFERS = {"B4-3307": "4.01", "B7-4471": "7.00", "B7-4502": "7.00", "B10-2188": "10.01", "B10-1990": "10.01"}


@dataclass
class Electrode:
    """A glass electrode, and the slope (share of Nernst) and offset (mV at pH 7) its transmitter holds."""

    random: Random
    slope: float = 0.986
    offset_mv: float = 1.5
    stored_slope: float = 0.984
    stored_offset_mv: float = 0.8

    def millivolt(self, ph: float, temperature_c: float) -> float:
        return float(self.offset_mv + self.slope * nernst_slope(temperature_c) * (7 - ph))

    def shown(self, ph: float, temperature_c: float) -> float:
        """Return the pH the transmitter makes of this electrode with its stored constants."""
        e = self.millivolt(ph, temperature_c) - self.stored_offset_mv
        return float(7 - e / (self.stored_slope * nernst_slope(temperature_c)))

    def readings(self, ph: float, temperature_c: float) -> list[str]:
        """Return readings that creep towards the value and then hold still, as the display shows them."""
        end = self.shown(ph, temperature_c)
        creep = self.random.choice((0.04, -0.04))
        return [f"{end + creep * share:.2f}" for share in (1.0, 0.0, 0.0, 0.0)]

    def adjust(self) -> tuple[str, str, str, str]:
        """Store what the electrode is now; returns slope from, to and offset from, to as the menu shows."""
        was = (f"{100 * self.stored_slope:.1f}", f"{self.stored_offset_mv:.1f}")
        self.stored_slope = float(f"{self.slope:.3f}")
        self.stored_offset_mv = float(f"{self.offset_mv:.1f}")
        return was[0], f"{100 * self.stored_slope:.1f}", was[1], f"{self.stored_offset_mv:.1f}"


# ---------------------------------------------------------------- pieces of a sheet


def point(electrode: Electrode, table: str, standard: str, degrees: str, at: str, use: str = "") -> list[str]:
    """Return one buffer as read: its temperature, readings until stable, the millivolts with the last."""
    values = tables.load("ph_buffers_ready_made", "trade 1")
    value = float(values.at(BUFFERS[standard], Decimal(degrees)))
    shown = ", ".join(f'"{reading}"' for reading in electrode.readings(value, float(degrees)))
    rows = ["", table, text("standard", standard), text("temperature_c", degrees), f"readings = [{shown}]"]
    rows += [text("mv", f"{electrode.millivolt(value, float(degrees)):z.1f}"), text("interval_s", "30")]
    rows += [text("at", at)]
    return rows + ([text("use", use)] if use else [])


def points(electrode: Electrode, stage: str, degrees: str, at: str, *standards: str) -> list[str]:
    rows = ["", f"[{stage}]"]
    for index, standard in enumerate(standards):
        rows += point(electrode, f"[[{stage}.points]]", standard, degrees, later(at, 5 * index))
    return rows


def head(day: date, started: str, by: str, who: str, remarks: str = "", reason: str = "routine") -> list[str]:
    """Return what is said and done before the analyzer is touched."""
    method = "EPA 150.2 as in Ellodale procedure EP-12 rev. 3"
    rows = opening("ph_calibration", TAG, "EL-0417", day, started, by, method=method, reason=reason)
    rows += [text("remarks", remarks)] if remarks else []  # TOML: before the first table
    hour = started[:2]
    rows += part("clocks", laptop=f"{hour}:06", control_system=f"{hour}:07")
    rows += part("cautions", read="yes")
    rows += part("operations_told", who=who, how="radio", at=f"{hour}:10")
    rows += part("output_held", at=f"{hour}:13", by=by)
    rows += not_done("loop_in_manual", "no dosing is controlled from this analyzer")
    rows += part("alarm_blocked", at=f"{hour}:12", by=who)
    rows += part(
        "condition", as_arrived="flow steady, no air in the cell", alarms="none", sample_flow="0.5 L/min"
    )
    return rows


def process(electrode: Electrode, table: str, ph: float, at: str) -> list[str]:
    shown = electrode.shown(ph, 12.0)
    return part(
        table, ph=f"{shown:.2f}", temperature_c="12.0", control_system=f"{shown - 0.01:.2f}", at=at
    )  # fmt: skip


def stored(electrode: Electrode, table: str) -> list[str]:
    slope, offset = 100 * electrode.stored_slope, electrode.stored_offset_mv
    return part(table, slope_percent=f"{slope:.1f}", offset_mv=f"{offset:.1f}")


def tail(electrode: Electrode, ph: float, started: str, by: str, who: str) -> list[str]:
    """Return the way back into service."""
    hour = f"{int(started[:2]) + 1:02d}"
    rows = stored(electrode, "constants_as_left")
    rows += process(electrode, "process_after", ph, f"{hour}:14")
    shown = electrode.shown(ph, 12.0)
    rows += part(
        "signal",
        display=f"{shown:.2f}",
        ma=f"{4 + 16 * shown / 14:.2f}",
        control_system=f"{shown - 0.01:.2f}",
        read_by=who,
        heard_how="radio",
        at=f"{hour}:16",
    )
    rows += part("output_released", at=f"{hour}:12", by=by)
    rows += part("alarm_restored", at=f"{hour}:13", by=who)
    rows += part("operations_told_after", who=who, how="radio", at=f"{hour}:18")
    return rows + part("status", state="in service")


# ---------------------------------------------------------------- the month

PAIR = ("B7-4471", "B10-2188")  # bracket the process of 7.6 to 7.9


def ph_visits(month: date) -> Iterator[Visit]:
    """Yield the visits of a month in the order of their days."""
    electrode = Electrode(Random(SEED))
    yield _passing(electrode, month.replace(day=3))
    electrode.slope, electrode.offset_mv = 0.962, 12.4
    yield _failing(electrode, month.replace(day=10))
    electrode.offset_mv -= 5.4
    yield _close(electrode, month.replace(day=17))
    electrode.offset_mv = electrode.stored_offset_mv + 1.0
    yield _for_information(electrode, month.replace(day=24))
    yield _at_night(electrode, month.replace(day=27))


def _passing(electrode: Electrode, day: date) -> Visit:
    started, by = "08:05", "T-07"
    rows = head(day, started, by, OPERATOR) + stored(electrode, "stored")
    rows += process(electrode, "process_before", 7.62, "08:11")
    shown = f"{electrode.shown(7.62, 12.0):.2f}"
    rows += _grab(shown, "7.60", "08:16", "08:24")
    rows += part("thermometer_check", reference="T-17", reference_c="18.4", shown_c="18.5")
    rows += points(electrode, "as_found", "18.4", "08:30", *PAIR)
    rows += part("cleaned", how="wiped with a soft cloth, rinsed", at="08:45")
    rows += not_done("after_cleaning", "as found was inside the tolerance")
    rows += part("decision", action="leave alone", why="inside the tolerance")
    rows += not_done("adjusted", "inside the tolerance")
    rows += points(electrode, "as_left", "18.6", "08:52", *PAIR)
    rows += point(electrode, "[check_buffer]", "B7-4502", "18.6", "09:03")
    rows += tail(electrode, 7.62, started, by, OPERATOR)
    return Visit(day, "pass", TAG, written(rows), "inside the tolerance, left alone")


def _failing(electrode: Electrode, day: date) -> Visit:
    started, by = "08:05", "T-07"
    rows = head(day, started, by, OPERATOR, "glass showed a brown film") + stored(electrode, "stored")
    rows += process(electrode, "process_before", 7.70, "08:11")
    rows += part("thermometer_check", reference="T-17", reference_c="19.2", shown_c="19.2")
    rows += points(electrode, "as_found", "19.2", "08:28", *PAIR)
    rows += part("cleaned", how="acid dip of one minute, rinsed", at="08:40")
    electrode.offset_mv -= 1.1  # the film was a small part of it
    rows += points(electrode, "after_cleaning", "19.3", "08:45", *PAIR)
    slope_from, slope_to, offset_from, offset_to = electrode.adjust()
    rows += part("decision", action="two-point", why="outside the tolerance also after cleaning")
    rows += part(
        "adjusted",
        slope_from=slope_from,
        slope_to=slope_to,
        offset_from=offset_from,
        offset_to=offset_to,
        at="08:54",
    )
    rows += points(electrode, "as_left", "19.5", "08:58", *PAIR)
    rows += point(electrode, "[check_buffer]", "B7-4502", "19.5", "09:08")
    rows += part("cause", opinion="film of iron on the glass, and the electrode is ageing", author=by)
    rows += tail(electrode, 7.70, started, by, OPERATOR)
    return Visit(day, "fail", TAG, written(rows), "fails as found, adjusted, passes as left")


def _close(electrode: Electrode, day: date) -> Visit:
    started, by = "13:05", "T-11"
    rows = head(day, started, by, OPERATOR) + stored(electrode, "stored")
    rows += process(electrode, "process_before", 7.66, "13:11")
    rows += part("thermometer_check", reference="T-17", reference_c="17.9", shown_c="18.0")
    rows += points(electrode, "as_found", "17.9", "13:30", *PAIR)
    rows += not_done("cleaned", "no film on the glass")
    rows += part("decision", action="leave alone", why="too close to decide; next check in two days")
    rows += not_done("adjusted", "too close to decide, left alone")
    rows += part("as_left", same_as="as_found")
    rows += not_done("check_buffer", "nothing was adjusted")
    rows += tail(electrode, 7.66, started, by, OPERATOR)
    return Visit(
        day, "close", TAG, written(rows), "too close to the tolerance to decide", tolerance_changes=True
    )


def _for_information(electrode: Electrode, day: date) -> Visit:
    started, by = "08:05", "T-07"
    remark = "the new 10.01 is not delivered yet; the old bottle is read for information only"
    rows = head(day, started, by, OPERATOR, remark) + stored(electrode, "stored")
    rows += process(electrode, "process_before", 7.58, "08:11")
    rows += part("thermometer_check", reference="T-17", reference_c="18.8", shown_c="18.8")
    rows += ["", "[as_found]"]
    rows += point(electrode, "[[as_found.points]]", "B7-4471", "18.8", "08:30")
    rows += point(electrode, "[[as_found.points]]", "B10-1990", "18.8", "08:36", use="information only")
    rows += not_done("cleaned", "no film on the glass")
    rows += part("decision", action="leave alone", why="inside the tolerance in the buffer that counts")
    rows += not_done("adjusted", "inside the tolerance")
    rows += part("as_left", same_as="as_found")
    rows += not_done("check_buffer", "one 7.00 lot was read already")
    rows += tail(electrode, 7.58, started, by, OPERATOR)
    return Visit(day, "information", TAG, written(rows), "one bottle expired, read for information only")


def _at_night(electrode: Electrode, day: date) -> Visit:
    started, by = "02:05", "T-11"
    remark = "called out for a reading that seemed high; heavy rain, alone"
    rows = head(day, started, by, OPERATOR, remark, "call-out")
    rows += not_done("stored", "menu locked, code unknown")
    rows += process(electrode, "process_before", 7.71, "02:11")
    rows += not_done("thermometer_check", "the reference thermometer is in the laboratory")
    rows += ["", "[as_found]", *point(electrode, "[[as_found.points]]", "B7-4471", "14.0", "02:30")]
    rows += not_done("cleaned", "no clean water at hand at night")
    rows += part("decision", action="leave alone", why="inside the tolerance in one buffer")
    rows += not_done("adjusted", "inside the tolerance")
    rows += not_done("as_left", "nothing was adjusted; the day shift reads two buffers")
    rows += not_done("check_buffer", "no second lot in the truck")
    rows += tail(electrode, 7.71, started, by, OPERATOR)
    return Visit(day, "night", TAG, written(rows), "call-out at night: one buffer, parts not done")


def _grab(shown: str, ph: str, collected: str, analysed: str) -> list[str]:
    rows = ["", "[[grab]]", text("shown", shown), text("ph", ph), text("shown_c", "12.0")]
    rows += [text("temperature_c", "12.2"), text("meter", "M-3"), text("collected", collected)]
    return [*rows, text("analysed", analysed), text("by", "laboratory, Tamsin Orde")]
