"""A synthetic month of turbidity work: a primary calibration, weekly rounds, grabs; a window that fouls.

Nothing here is judged: the numbers come from a seeded model of a nephelometer, the outcomes from wqverify.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from random import Random

from wqverify.demo.sheet import (
    OPERATOR,
    Visit,
    held,
    later,
    listed,
    not_done,
    opening,
    part,
    signal,
    text,
    written,
)

SEED = 2201
ROUND = "weekly-turbidity"
METHOD = "EPA 180.1 rev. 2.0 as in Ellodale procedure EP-22 rev. 1"
BY = "T-07"
WATER, LOW, HIGH = 0.02, 0.12, 20.02  # NTU: dilution water, 5 mL of the high standard to 1000 mL, formazin


@dataclass
class Nephelometer:
    """A turbidity analyzer: what it shows of what is there, and the film on its window."""

    tag: str
    serial: str
    random: Random
    gain: float = 1.0
    stray: float = 0.0
    film: float = 0.0  # NTU that a film on the window adds at the secondary standard

    def shown(self, ntu: float, noise: float = 0.0004) -> str:
        film = self.film * (ntu / 0.5) ** 0.5  # a film scatters more where there is more light
        return f"{self.gain * ntu + self.stray + film + self.random.gauss(0, noise):.3f}"

    def readings(self, ntu: float, noise: float = 0.0004) -> list[str]:
        return [self.shown(ntu, noise) for _ in range(3)]


def turbidity_visits(month: date) -> Iterator[Visit]:
    """Yield the turbidity visits of a month, analyzer by analyzer within a day."""
    random = Random(SEED)
    first = Nephelometer("AIT-2201", "EL-0522", random, gain=1.062, stray=0.006)
    second = Nephelometer("AIT-2202", "EL-0523", random, stray=0.002)
    combined = Nephelometer("AIT-2210", "EL-0530", random, gain=1.01, stray=0.001)
    near = {first.tag: 0.520, second.tag: 0.507, combined.tag: 0.498}  # of the secondary standard
    yield _preparation(first, month.replace(day=4))
    yield _calibration(first, near[first.tag], month.replace(day=4))
    for day in (5, 12, 19, 26):
        for turn, meter in enumerate((first, second, combined)):
            fouled = (day, meter.tag) == (12, "AIT-2202")
            meter.film = 0.071 if fouled else random.uniform(0.0, 0.006)
            on = month.replace(day=day)
            if (day, meter.tag) == (19, "AIT-2210"):
                why = "the clearwell gallery was closed for the crane inspection"
                yield Visit(on, f"turbidity {day} {meter.tag}", meter.tag, "", why, ROUND, why)
            else:
                yield _check(meter, near[meter.tag], on, f"{8 + turn:02d}:05", fouled)
    yield _grab(combined, month.replace(day=6), "0.11 NTU", "inside the tolerance")
    yield _grab(combined, month.replace(day=13), "0.12 NTU", "with the export of the control system", 0.1)
    yield _grab(
        combined,
        month.replace(day=20),
        "0.10 NTU",
        "the water changed while it was paired: not evaluated",
        0.1,
        True,
    )
    yield _grab(combined, month.replace(day=25), "<0.05 NTU", "a result below detection decides nothing")
    second.film = 0.002
    yield _after_repair(second, near[second.tag], month.replace(day=13))


# ---------------------------------------------------------------- on standards


def _opening(procedure: str, meter: Nephelometer, day: date, started: str, **more: str) -> list[str]:
    return opening(procedure, meter.tag, meter.serial, day, started, BY, method=METHOD, **more)


def _preparation(meter: Nephelometer, day: date) -> Visit:
    rows = _opening("standard_preparation", meter, day, "07:20")
    rows += [text("stock", "FZ-7712"), text("water", "W-1"), text("target", "20"), text("limit", "0.5")]
    rows += [text("mixed", "stock turned over 20 times, dilution 10 times"), text("prepared_at", "07:35")]
    rows += [text("label", "F20"), text("name", "formazin 20 NTU"), text("life_days", "1")]
    rows += part("cautions", read="yes")
    rows += not_done("operations_told", "bench work, nothing on the analyzer is touched")
    rows += ["", "[[steps]]", text("pipetted_ml", "5"), text("to_ml", "1000"), text("pipette", "class A")]
    rows += [text("pipette_within_ml", "0.01"), text("flask_within_ml", "0.30")]
    rows += part("status", state="in service")
    return Visit(day, "preparation", meter.tag, written(rows), "formazin 20 NTU from the stock of 4000 NTU")


def _standards(meter: Nephelometer, stage: str, at: str) -> list[str]:
    """Return zero water, the low point and the high standard as read."""
    rows = ["", f"[{stage}.zero]", text("water", "W-1"), listed("readings", meter.readings(WATER))]
    rows += [text("interval_s", "30"), text("at", at)]
    rows += ["", f"[[{stage}.points]]", text("standard", "F20"), text("diluted.water", "W-1")]
    rows += ['diluted.steps = [{ pipetted_ml = "5", to_ml = "1000" }]']
    rows += [listed("readings", meter.readings(LOW)), text("interval_s", "30"), text("at", later(at, 8))]
    rows += ["", f"[[{stage}.points]]", text("standard", "F20")]
    rows += [
        listed("readings", meter.readings(HIGH, 0.02)),
        text("interval_s", "30"),
        text("at", later(at, 16)),
    ]
    return rows


def _calibration(meter: Nephelometer, near: float, day: date) -> Visit:
    started = "08:30"
    rows = _opening("turbidity_calibration", meter, day, started) + held(started, BY, "no alarm on it")
    rows += part("stored", gain="1.000", zero="0.000")
    before = meter.shown(0.085)
    rows += part("process_before", ntu=before, control_system=before, at="08:34")
    rows += _standards(meter, "as_found", "08:48")
    rows += part("cleaned", how="body drained and rinsed, window wiped", at="09:12")
    rows += not_done("after_cleaning", "the window was clean, the display did not move")
    why = "6 % high at 20 NTU; the secondary standards need a value on a fresh calibration"
    rows += part(
        "decision", action="gain and zero", why=why, despite="the quarterly primary calibration is due"
    )
    gain = f"{1 / meter.gain:.3f}"
    rows += part("adjusted", gain_from="1.000", gain_to=gain, zero_from="0.000", zero_to="0.006", at="09:20")
    meter.gain, meter.stray = meter.gain * float(gain), 0.0005
    rows += _standards(meter, "as_left", "09:30")
    rows += part("constants_as_left", gain=gain, zero="0.006")
    rows += ["", "[[assign]]", text("standard", "S-05"), listed("readings", meter.readings(near))]
    rows += [text("insertions", "3"), text("interval_s", "30"), text("at", "09:54")]
    rows += part("output_released", at="10:12", by=BY)
    after = meter.shown(0.085)
    rows += part("process_after", ntu=after, control_system=after, at="10:18")
    rows += signal(after, after, 4 + 16 * float(after) / 5, "10:18")
    rows += part("operations_told_after", who=OPERATOR, how="radio", at="10:21")
    rows += part("status", state="in service")
    story = "primary calibration with formazin; the secondary standard gets its value"
    return Visit(day, "calibration", meter.tag, written(rows), story, assigned="S-05")


def _secondary(meter: Nephelometer, stage: str, near: float, at: str) -> list[str]:
    rows = ["", f"[[{stage}.points]]", text("standard", "S-05"), listed("readings", meter.readings(near))]
    return [*rows, text("insertions", "3"), text("interval_s", "30"), text("at", at)]


def _check(meter: Nephelometer, near: float, day: date, started: str, fouled: bool) -> Visit:
    rows = _opening("turbidity_standard_check", meter, day, started, settled_min="6")
    rows += held(started, BY, "no alarm on it")
    before = meter.shown(0.085)
    rows += part("process_before", ntu=before, control_system=before, at=later(started, 5))
    rows += _secondary(meter, "as_found", near, later(started, 12))
    if fouled:
        rows += part("cleaned", how="window and cell with soft paper and water", at=later(started, 18))
        meter.film = 0.002
        rows += _secondary(meter, "after_cleaning", near, later(started, 24))
    rows += part("as_left", same_as="after_cleaning" if fouled else "as_found")
    if fouled:
        rows += _left_out(started)
        story = "fails as found with a film on the window, passes after cleaning; its cell leaks"
    else:
        rows += _back(meter, started)
        story = "weekly check"
    return Visit(day, f"turbidity {day.day} {meter.tag}", meter.tag, written(rows), story, ROUND)


def _left_out(started: str) -> list[str]:
    """Return the end of a visit after which the analyzer waits for a part."""
    leaks = "the flow cell leaks at its gasket since it was opened; the gasket comes tomorrow"
    rows = not_done("output_released", leaks)
    rows += not_done("signal", "the output stays held")
    rows += part("operations_told_after", who=OPERATOR, how="radio", at=later(started, 41))
    rows += part("status", state="out of service", note=leaks)
    return rows + part("cause", opinion="film on the window after the change of coagulant", author=BY)


def _back(meter: Nephelometer, started: str) -> list[str]:
    """Return the way back into service."""
    rows = part("output_released", at=later(started, 32), by=BY)
    after = meter.shown(0.085)
    rows += part("process_after", ntu=after, control_system=after, at=later(started, 38))
    rows += signal(after, after, 4 + 16 * float(after) / 5, later(started, 38))
    rows += part("operations_told_after", who=OPERATOR, how="radio", at=later(started, 41))
    return rows + part("status", state="in service")


def _after_repair(meter: Nephelometer, near: float, day: date) -> Visit:
    """The gasket is in: the check that returns the analyzer to service."""
    started = "10:30"
    rows = _opening("turbidity_standard_check", meter, day, started, settled_min="6", reason="after repair")
    rows += held(started, BY, "no alarm on it")
    before = meter.shown(0.085)
    rows += part("process_before", ntu=before, control_system=before, at=later(started, 5))
    rows += _secondary(meter, "as_found", near, later(started, 12))
    rows += part("as_left", same_as="as_found")
    rows += _back(meter, started)
    story = "the gasket is in: a passing check returns it to service"
    return Visit(day, f"turbidity {day.day} {meter.tag}", meter.tag, written(rows), story)


# ---------------------------------------------------------------- against the laboratory


def _grab(
    meter: Nephelometer, day: date, result: str, story: str, level: float = 0.0, changing: bool = False
) -> Visit:
    rows = opening(
        "grab_comparison", meter.tag, meter.serial, day, "09:55", "T-11", method="Ellodale procedure EP-24"
    )
    exported = f"AIT-2210 {day.isoformat()}.csv" if level else ""
    rows += [text("trend", exported)] if exported else []
    rows += part("clocks", laptop="09:56", control_system="09:58")
    rows += part("cautions", read="yes")
    rows += part("operations_told", who=OPERATOR, how="radio", at="09:57")
    if not exported:
        for at in ("10:00", "10:05", "10:10"):
            shown = meter.shown(0.092)
            rows += ["", "[[online]]", text("shown", shown), text("control_system", shown), text("at", at)]
    rows += ["", "[[grab]]", text("taken_at", "process tap"), text("collected", "10:03")]
    rows += [text("analysed", "10:21"), text("result", result), text("instrument", "L-4")]
    rows += [text("method", "EPA 180.1 rev. 2.0"), text("collected_by", "Perrin Vale")]
    rows += [text("analysed_by", "laboratory, Tamsin Orde")]
    rows += part("status", state="in service")
    shown = _export(meter, day, level, changing) if exported else ""
    return Visit(day, f"grab {day.day}", meter.tag, written(rows), story, trend=exported, shown=shown)


def _export(meter: Nephelometer, day: date, level: float, changing: bool) -> str:
    """Return what the control system exports: a title, units in the header, month first, 12-hour clock."""
    rows = ["Ellodale water plant, synthetic export", "Time,AIT2210.PV (NTU),Quality"]
    start = datetime(day.year, day.month, day.day, 8, 0)
    for minute in range(5 * 60):
        at = start + timedelta(minutes=minute)
        ramp = max(0.0, (minute - 110) * 0.004) if changing else 0.0
        value = meter.shown(level + ramp)
        rows.append(f"{at:%m/%d/%Y %I:%M:%S %p},{value},good")
    return "\r\n".join(rows) + "\r\n"
