"""The measurement model of a pH calibration: one propagation per stage gives all its quantities.

e = R + creep + read - B, B = T(t + thermometer + gradient) + table + bottle + opened, T the table at the
buffer's own temperature. Slope and offset by voltage where the transmitter shows it, otherwise relative to
what it has stored. Inputs, their sizes and sources: ``ph_inputs``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from wqverify.calculations import ph
from wqverify.calculations.interpolation import interpolate
from wqverify.calculations.uncertainty import propagate
from wqverify.procedures.ph_inputs import Measured, PhInputs
from wqverify.terms import Quantity, Reading, Standard


@dataclass(frozen=True, slots=True)
class StageInputs:
    """What one propagation needs to know of a stage."""

    stage: str
    points: Sequence[Measured]
    line: Sequence[Measured]  # the points that slope and offset are taken from, empty for none
    process: Reading | None
    process_control_system: Reading | None
    between: tuple[Measured, Measured] | None  # the two points the process value is interpolated between
    stored_slope: Reading | None
    stored_offset: Reading | None
    thermometer: Standard | None
    stability: Decimal


UNITS = {
    "error": "pH",
    "control_system": "pH",
    "residual": "mV",
    "slope": "%",
    "slope_mv": "mV/pH",
    "gain": "pH per pH",
    "offset": "mV",
}


def stage_quantities(known: StageInputs, settings: Mapping[str, str]) -> dict[str, Quantity]:
    """Return the errors, slope, offset and residuals of a stage with their budgets, in one propagation."""
    inputs = PhInputs(settings)
    names = {point.id: _point_causes(inputs, point, known) for point in known.points}
    shared = _shared_causes(inputs, known)

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        values = {point.id: _point_values(x, names[point.id], point) for point in known.points}
        out = {}
        for point in known.points:
            reading, buffer = values[point.id]
            out[f"{point.id}.error"] = reading - buffer
            if point.control_system is not None:
                there = x[f"control system:{known.stage}.{point.id}"] + x[names[point.id].creep]
                out[f"{point.id}.control_system"] = there - buffer
        if known.between is not None and known.process is not None:
            out |= _at_process(x, known, values, shared)
        if known.line:
            out |= _line(x, known, values, names, shared)
        return out

    return propagate(model, inputs, _Units(), _exact_texts(known))


class _Units(dict[str, str]):
    """The unit of an output by the last word of its key."""

    def __missing__(self, key: str) -> str:
        return UNITS[key.rpartition(".")[2]]


@dataclass(frozen=True, slots=True)
class _Causes:
    buffer: list[str]
    temperature: tuple[str, ...]
    reading: str
    creep: str
    voltage: tuple[str, ...]


def _point_causes(inputs: PhInputs, point: Measured, known: StageInputs) -> _Causes:
    here = f"{known.stage}.{point.id}"
    temperature: tuple[str, ...] = ()
    if point.buffer.follows_temperature:
        temperature = (
            inputs.thermometer(known.thermometer),
            inputs.half_width(f"gradient:{here}", "gradient_c"),
        )
    if point.control_system is not None:
        inputs.digit(f"control system:{here}", point.control_system, "control system")
    voltage: tuple[str, ...] = ()
    if known.line and all(p.mv is not None for p in known.line) and point.mv is not None:
        voltage = (
            inputs.digit(f"voltage:{here}", point.mv, "electrode voltage"),
            inputs.half_width(f"creep of the voltage:{here}", "creep_mv"),
        )
    return _Causes(
        inputs.buffer(point.buffer),
        temperature,
        inputs.digit(f"reading:{here}", point.reading, "display"),
        inputs.creep(f"creep:{here}", known.stability, "pH"),
        voltage,
    )


@dataclass(frozen=True, slots=True)
class _Shared:
    shown: str
    there: str
    junction: str
    electrode: str
    stored_slope: str
    stored_offset: str


def _shared_causes(inputs: PhInputs, known: StageInputs) -> _Shared:
    shown = there = junction = electrode = slope = offset = ""
    if known.between is not None and known.process is not None:
        if known.process_control_system is not None:
            shown = inputs.digit(f"reading:{known.stage}.process", known.process, "display")
            there = inputs.digit(
                f"control system:{known.stage}.process", known.process_control_system, "control system"
            )
        if Decimal(inputs.settings.get("junction_ph", "0")):
            junction = inputs.half_width("junction", "junction_ph")
    if known.line:
        electrode = inputs.half_width(f"electrode temperature:{known.stage}", "electrode_c")
        if not all(point.mv is not None for point in known.line):
            if known.stored_slope is not None:
                slope = inputs.digit("stored slope", known.stored_slope, "stored slope")
            if known.stored_offset is not None:
                offset = inputs.digit("stored offset", known.stored_offset, "stored offset")
    return _Shared(shown, there, junction, electrode, slope, offset)


def _point_values(x: Mapping[str, Any], causes: _Causes, point: Measured) -> tuple[Any, Any]:
    """Reading and buffer value of a point, each with all that makes it uncertain."""
    value: Any
    if causes.temperature:
        assert point.temperature is not None
        t = float(point.temperature.value) + x[causes.temperature[0]] + x[causes.temperature[1]]
        assert point.buffer.table is not None
        value = interpolate(point.buffer.table.floats, t)
    else:
        value = float(point.buffer.exact)
    for cause in causes.buffer:
        value = value + x[cause]
    return x[causes.reading] + x[causes.creep], value


def _at_process(
    x: Mapping[str, Any], known: StageInputs, values: Mapping[str, tuple[Any, Any]], shared: _Shared
) -> dict[str, Any]:
    """Error at the displayed process value, straight between two buffers; its digit is no input."""
    assert known.between is not None
    assert known.process is not None
    (r1, b1), (r2, b2) = (values[point.id] for point in known.between)
    error = ph.error_at_displayed(float(known.process.value), r1, r1 - b1, r2, r2 - b2)
    if shared.junction:
        error = error + x[shared.junction]
    out = {"process.error": error}
    if shared.there:
        out["process.control_system"] = error + (x[shared.there] - x[shared.shown])
    return out


def _line(
    x: Mapping[str, Any],
    known: StageInputs,
    values: Mapping[str, tuple[Any, Any]],
    names: Mapping[str, _Causes],
    shared: _Shared,
) -> dict[str, Any]:
    """Slope and offset: by voltage where it is shown, else relative to what the transmitter has stored."""
    points = known.line
    buffers = [values[point.id][1] for point in points]
    if not all(point.mv is not None for point in points):
        return _by_displays(x, known, [values[point.id][0] for point in points], buffers, shared)
    voltages = [x[names[p.id].voltage[0]] + x[names[p.id].voltage[1]] for p in points]
    temperatures = [_electrode_temperature(x, point, shared) for point in points]
    out: dict[str, Any] = {}
    if len(points) == 2 and one_temperature(points):
        slope, offset = ph.two_buffer_line(voltages[0], buffers[0], voltages[1], buffers[1])
    elif len(points) == 2:
        share, offset = ph.two_temperature_line(
            voltages[0], buffers[0], temperatures[0], voltages[1], buffers[1], temperatures[1]
        )
        return {"slope": share * 100, "offset": offset}
    else:
        if not one_temperature(points):
            # volts against k (B - 7): the line's slope is then the share of the theoretical one
            scaled = [ph.nernst_slope(t) * (b - 7) + 7 for t, b in zip(temperatures, buffers, strict=True)]
            share, offset, residuals = ph.least_squares_line(voltages, scaled)
            out = {"slope": share * -100, "offset": offset}
        else:
            slope, offset, residuals = ph.least_squares_line(voltages, buffers)
        out |= {f"{p.id}.residual": r for p, r in zip(points, residuals, strict=True)}
        if "slope" in out:
            return out
    return {
        "slope": ph.efficiency_percent(slope, temperatures[0]),
        "slope_mv": slope,
        "offset": offset,
        **out,
    }


def _by_displays(
    x: Mapping[str, Any], known: StageInputs, readings: list[Any], buffers: list[Any], shared: _Shared
) -> dict[str, Any]:
    if len(readings) == 2:
        gain = ph.relative_slope(readings[0], buffers[0], readings[1], buffers[1])
        at_seven = readings[0] + gain * (7 - buffers[0])
    else:
        gain, at_seven, _ = ph.least_squares_line(readings, buffers)
    out = {"gain": gain}
    if shared.stored_slope:
        stored = x[shared.stored_slope]
        out["slope"] = ph.efficiency_from_stored(stored, gain)
        if shared.stored_offset and known.line[0].temperature is not None:
            t = _electrode_temperature(x, known.line[0], shared)
            out["offset"] = ph.offset_from_stored(x[shared.stored_offset], at_seven, stored / 100, t)
    return out


def _electrode_temperature(x: Mapping[str, Any], point: Measured, shared: _Shared) -> Any:
    assert point.temperature is not None
    return float(point.temperature.value) + x[shared.electrode]


def one_temperature(points: Sequence[Measured]) -> bool:
    """Whether the buffers had one temperature, so that one slope in mV per pH describes the electrode."""
    return len({p.temperature.value for p in points if p.temperature is not None}) == 1


def _exact_texts(known: StageInputs) -> dict[str, str]:
    """Errors exactly as they follow from what was typed: that is what is shown and judged."""
    texts = {}
    for point in known.points:
        texts[f"{point.id}.error"] = f"{point.error:f}"
        if point.control_system is not None:
            texts[f"{point.id}.control_system"] = f"{point.control_system.value - point.buffer.exact:f}"
    if known.between is not None and known.process is not None:
        # a quotient has no end: what is shown and judged without U is fixed two digits beyond the display
        error = exact_at_process(known.process, *known.between).quantize(known.process.digit.scaleb(-2)) + 0
        texts["process.error"] = f"{error:f}"
        if known.process_control_system is not None:
            there = error + known.process_control_system.value - known.process.value
            texts["process.control_system"] = f"{there:f}"
    return texts


def exact_at_process(shown: Reading, low: Measured, high: Measured) -> Decimal:
    """Return the error at the displayed value, to the 28 digits of decimal arithmetic."""
    error = ph.error_at_displayed(shown.value, low.reading.value, low.error, high.reading.value, high.error)
    return Decimal(error)
