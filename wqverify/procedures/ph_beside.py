"""What stands beside the questions of a pH calibration: the buffer's pH, limits, slope and error so far."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from wqverify.calculations.judgement import judge
from wqverify.procedures import beside as b
from wqverify.procedures.grab_sizes import PH, holding_minutes
from wqverify.procedures.ph_inputs import BufferValue, buffer_value
from wqverify.procedures.ph_rules import COMMON_PRACTICE, brake
from wqverify.procedures.ph_sheet import Adjusted, Decision, PhSheet
from wqverify.procedures.ph_stages import Stage, stability, stages
from wqverify.procedures.rules import frozen, standard, tolerance
from wqverify.terms import Beside, Check, Given, Raw, Standard


@b.quiet
def buffer(raw: Raw, path: str, given: Given) -> Beside:
    """Beside its temperature: which bottle it is, and its pH once the temperature is typed."""
    here = b.group(path)
    known = standard(b.at(raw, f"{here}.standard"), here, given)
    typed = b.number(raw, f"{here}.temperature_c")
    which = b.bottle(known, str(raw.get("date", "")))
    if typed is None and (known.own or known.table):
        return Beside(b.told(which, "its pH follows the temperature typed here"))
    value = buffer_value(known, typed.value if typed else None, given)
    return Beside(b.told(which, _worth(value, typed.text if typed else "")), value.exact)


@b.quiet
def readings(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the readings: what they should be and may be, whether they hold still, error and slope."""
    here = b.group(path)
    typed, read = b.number(raw, f"{here}.temperature_c"), b.numbers(raw, f"{here}.readings")
    known = standard(b.at(raw, f"{here}.standard"), here, given)
    value = buffer_value(known, typed.value if typed else None, given)
    name = "check_buffer" if here == "check_buffer" else "error"
    limits = tolerance(name, given, COMMON_PRACTICE)
    return b.around(
        value.exact,
        limits,
        _worth(value, typed.text if typed else ""),
        b.allowed(value.exact, limits, "pH"),
        b.steady(read, stability(given), b.number(raw, f"{here}.interval_s")),
        b.off_by(read[-1] if read else None, value.exact, "pH"),
        _line(stages(b.so_far(PhSheet, raw), given).get(here.partition(".")[0]) if read else None),
    )


def _worth(value: BufferValue, temperature: str) -> str:
    return (
        f"{value.standard.id}: pH {value.exact:f} {f'at {temperature} °C' if value.table else 'as entered'}"
    )


def _line(stage: Stage | None) -> Iterator[str]:
    """Slope and offset so far: of the electrode where they can be known, else of the display."""
    if stage is None or not stage.line:
        return
    found = stage.quantities
    if "slope" in found and not stage.no_electrode_slope:
        yield f"slope so far: {b.amount(found['slope'], 1)}"
    elif "gain" in found:
        yield f"between the buffers the display moves {b.amount(found['gain'], 3)}"
    if "offset" in found and not stage.no_offset:
        yield f"offset at pH 7 so far: {b.amount(found['offset'], 1)}"


@b.quiet
def thermometer(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the analyzer's temperature: what the reference thermometer shows, and what is allowed."""
    reference = b.number(raw, f"{b.group(path)}.reference_c")
    if reference is None:
        return Beside()
    limits, shown = given.analyzer.tolerances.get("thermometer"), b.number(raw, path)
    return b.around(
        reference.value,
        limits,
        f"reference thermometer: {reference.text} °C",
        b.allowed(reference.value, limits, "°C"),
        b.off_by(shown, reference.value, "°C"),
    )


@b.quiet
def grab(raw: Raw, path: str, given: Given) -> Beside:
    """Beside a grab: until when it is measured, the meter's own date, the display against it so far."""
    here = b.group(path)
    shown, measured = (b.number(raw, f"{here}.{name}") for name in ("shown", "ph"))
    limits = given.analyzer.tolerances.get("grab")
    lines = b.told(
        f"display when it was taken: {shown.text} pH" if shown else "",
        _measure_by(f"{here}.collected", given),
        _instrument(b.at(raw, f"{here}.meter"), raw, given),
        f"display minus grab so far: {b.signed(shown.value - measured.value)} pH"
        if shown and measured
        else "",
    )
    return b.around(measured.value, limits, lines) if measured else Beside(lines)


def _measure_by(collected: str, given: Given) -> str:
    minutes, _source = holding_minutes(PH, given.analyzer.settings)
    taken = given.times.get(collected)
    if minutes is None or taken is None:
        return f"measure it within {minutes} min of taking it" if minutes else ""
    return f"measure it by {b.clock_after(taken, minutes=minutes)}: pH keeps {minutes} min"


def _instrument(name: str | None, raw: Raw, given: Given) -> str:
    known: Standard | None = given.standards.get(name or "")
    return b.bottle(known, str(raw.get("date", ""))) if known else ""


# ---------------------------------------------------------------- decided


@b.quiet
def decision(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one decision, one path
    """Beside the decision: leave it alone, or how far off it is and what a rule would refuse."""
    sheet = b.so_far(PhSheet, raw)
    found = stages(sheet, given)
    stage = _before(found)
    judged = (*_judged(stage, given), *_arrives(found["as_found"], given))
    return Beside(b.told(b.verdict(judged), _line(stage), _refused(raw, sheet, stage, given)))


def _before(found: Mapping[str, Stage]) -> Stage:
    """The last stage that was read before an adjustment."""
    after = found.get("after_cleaning")
    return found["as_found"] if after is None or after.not_done else after


def _judged(stage: Stage, given: Given) -> Iterator[Check]:
    limits = tolerance("error", given, COMMON_PRACTICE)
    for point in stage.points:
        if point.in_line:
            error = stage.quantities[f"{point.id}.error"]
            reference = f"{point.buffer.exact:f}"
            yield judge(
                f"{point.id}.error", stage.name, f"error in {point.id}", error, limits, reference=reference
            )


def _arrives(stage: Stage, given: Given) -> Iterator[Check]:
    """What the control system showed of the process value before anything was held."""
    error = stage.quantities.get("process.control_system")
    if error is not None and not frozen("process_before", given):
        limits = tolerance("control_system", given, COMMON_PRACTICE)
        yield judge("there", stage.name, "control system", error, limits, place="control system")


def _refused(raw: Raw, sheet: PhSheet, stage: Stage, given: Given) -> str:
    """What a rule would refuse of the adjustment that is decided, or of one in two buffers."""
    action: Any = b.at(raw, "decision.action") or "two-point"
    if action in ("leave alone", "replace") or b.at(raw, "decision.despite"):
        return ""
    tried = sheet.model_copy(
        update={
            "decision": Decision(action=action, to=b.at(raw, "decision.to") or "buffers", why="tried"),
            "adjusted": Adjusted.model_construct(slope_from=None, slope_to=None),
        }
    )
    return b.refusal(lambda: brake(tried, given, stage.points, stage.quantities))


@b.quiet
def adjusted(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - beside all that is adjusted
    """Beside what was adjusted: slope and offset that the readings before it ask for."""
    found = _before(stages(b.so_far(PhSheet, raw), given))
    lines = []
    for word, label, held, stop in (
        ("slope", "slope", "slope_percent", found.no_electrode_slope),
        ("offset", "offset", "offset_mv", found.no_offset),
    ):
        stored, value = b.at(raw, f"stored.{held}"), found.quantities.get(word)
        if value is not None and not stop:
            now = f", stored now {stored} {value.unit}" if stored else ""
            lines.append(f"the readings ask for {label} {b.amount(value, 1)}{now}")
    return Beside(b.told(lines))


BESIDE = {
    "buffer": buffer,
    "readings": readings,
    "thermometer": thermometer,
    "grab": grab,
    "decision": decision,
    "adjusted": adjusted,
}
