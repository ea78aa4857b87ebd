"""The measurement model of a pH calibration: what is put in, and one propagation per stage.

Sizes that no certificate of the plant states are common practice or memory; they carry that word into the
budget and the page prints them as assumed. Names of causes are shared on purpose: one bottle, one
thermometer and one table act on every point they were used for, so what they have in common cancels or
adds up by itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property, lru_cache
from math import sqrt
from typing import Any

from wqverify import tables
from wqverify.calculations import ph
from wqverify.calculations.interpolation import interpolate
from wqverify.calculations.uncertainty import propagate
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.terms import Given, Input, Quantity, Reading, SizeFrom, Standard

ROOT3 = sqrt(3)
ROOT12 = sqrt(12)
ONE_TABLE_DIGIT = 12  # figures kept of an interpolated value that does not end

# Half widths (rectangular) unless said otherwise; each can be set in the register under this name.
SIZES: Mapping[str, tuple[str, SizeFrom, str]] = {
    "opened_ph": ("0.005", "memory", "change of an opened bottle, within ±{size} pH"),
    "opened_alkaline_ph": ("0.02", "memory", "an opened alkaline buffer takes up carbon dioxide, ±{size} pH"),
    "gradient_c": ("1", "common practice", "buffer, glass and sensor not yet equal, within ±{size} °C"),
    "creep_mv": ("0.5", "common practice", "rest of the creep of the voltage, within ±{size} mV"),
    "electrode_c": ("0.5", "common practice", "temperature of the electrode itself, within ±{size} °C"),
    "junction_ph": ("0", "memory", "liquid junction in the water against buffers, within ±{size} pH"),
    "grab_junction_ph": ("0.03", "memory", "liquid junctions of the two sensors, within ±{size} pH"),
    "grab_loss_ph": ("0.03", "memory", "carbon dioxide lost or gained before reading, within ±{size} pH"),
}
ALKALINE = Decimal(9)
TEMPERATURE_OF_WATER = (-0.008, 0.004)  # change of pH per °C in drinking water, half width; memory


@dataclass(frozen=True, slots=True)
class BufferValue:
    """What a bottle is worth at a temperature, exactly, and what its value depends on."""

    standard: Standard
    exact: Decimal
    digit: Decimal
    nodes: tuple[tuple[Decimal, Decimal], ...]  # empty: one value at any temperature
    source: str
    table_cause: str
    family: str  # buffers of different families do not fit one line


@dataclass(frozen=True)
class Measured:
    """The analyzer in one buffer at one stage."""

    stage: str
    path: str
    id: str
    buffer: BufferValue
    temperature: Reading | None
    reading: Reading
    mv: Reading | None
    control_system: Reading | None
    unsteady: str  # why the readings are no result, empty when they held still
    information: str  # why it is shown without a pass or fail

    @cached_property
    def error(self) -> Decimal:
        return self.reading.value - self.buffer.exact

    @property
    def in_line(self) -> bool:
        return not self.unsteady and not self.information


def buffer_value(standard: Standard, temperature: Decimal | None, given: Given) -> BufferValue:
    """Return the value of a bottle at the temperature of the buffer.

    The bottle's own table comes before a published one; nothing is extrapolated. Raises ChooseAnother for
    a standard without a pH value and CorrectTheEntry for a temperature that is missing or outside.
    """
    if standard.unit != "pH" or not (standard.own or standard.table or standard.value is not None):
        raise ChooseAnother(
            f"{standard.id} ({standard.name}) has no pH value in standards_on_hand.toml; name a buffer.",
            found=standard.id,
            expected="a pH buffer",
        )
    if not standard.own and not standard.table:
        assert standard.value is not None
        digit = Decimal(1).scaleb(int(standard.value.as_tuple().exponent))
        return BufferValue(
            standard, standard.value, digit, (), "value entered for the bottle, no temperature table", "", ""
        )
    if temperature is None:
        raise CorrectTheEntry(
            f"{standard.id} has its pH by a table of temperature; enter the temperature of the buffer, "
            f"measured in it with the reference thermometer.",
            expected="temperature_c",
        )
    if standard.own:
        return _by_own_table(standard, temperature)
    use = given.tables.get(f"{standard.table} {standard.edition}")
    table = tables.load(standard.table, standard.edition, use.digest if use else "")
    return BufferValue(
        standard,
        _ended(table.at(standard.column, temperature)),
        table.columns[standard.column].digit,
        table.nodes(standard.column),
        f"table {table.name}, edition {table.edition}, column {standard.column}",
        f"table:{table.name} {table.edition} {standard.column}",
        table.name,
    )


def _by_own_table(standard: Standard, temperature: Decimal) -> BufferValue:
    digit = min(Decimal(1).scaleb(int(value.as_tuple().exponent)) for _, value in standard.own)
    source = f"the bottle's own table, {len(standard.own)} temperatures"
    cause, family = f"table:own of {standard.id}", ""
    if len(standard.own) == 1 and standard.own[0][0] == temperature:
        return BufferValue(standard, standard.own[0][1], digit, (), source, cause, family)
    low, high = standard.own[0][0], standard.own[-1][0]
    if not low <= temperature <= high:
        raise CorrectTheEntry(
            f"{temperature} °C is outside the own table of {standard.id}, which goes from {low} to {high} "
            f"°C; nothing is extrapolated.",
            found=str(temperature),
            expected=f"{low} to {high}",
        )
    value = _ended(interpolate(standard.own, temperature))
    return BufferValue(standard, value, digit, standard.own, source, cause, family)


def _ended(value: Decimal) -> Decimal:
    """An interpolated value between round temperatures ends; one that does not is fixed at six places."""
    return value if -int(value.as_tuple().exponent) < ONE_TABLE_DIGIT else round(value, 6)


# ---------------------------------------------------------------- inputs


class Inputs(dict[str, Input]):
    """Inputs by cause, each entered once, with the sizes of this analyzer."""

    def __init__(self, settings: Mapping[str, str]) -> None:
        super().__init__()
        self._settings = settings

    def half_width(self, cause: str, size: str, value: float = 0.0) -> str:
        """Enter a rectangular input of a named size; returns its cause."""
        if cause not in self:
            self[cause] = _assumed(size, self._settings.get(size, ""), value)
        return cause

    def digit(self, cause: str, reading: Reading, what: str) -> str:
        """Enter what a display shows: its value, uncertain by its last digit."""
        if cause not in self:
            self[cause] = Input(
                float(reading.value),
                float(reading.digit) / ROOT12,
                "rectangular",
                size_from="resolution",
                source=f"{what}, read to {reading.digit}",
            )
        return cause

    def buffer(self, value: BufferValue) -> list[str]:
        """Enter what makes the value of a bottle uncertain."""
        standard = value.standard
        bottle = f"bottle:{standard.id} lot {standard.lot}"
        if bottle not in self:
            self[bottle] = _certificate(value)
        alkaline = "opened_alkaline_ph" if value.exact > ALKALINE else "opened_ph"
        causes = [bottle, self.half_width(f"opened:{standard.id}", alkaline)]
        if value.table_cause:
            if value.table_cause not in self:
                self[value.table_cause] = Input(
                    0.0,
                    float(value.digit) / ROOT12,
                    "rectangular",
                    size_from="resolution",
                    source=f"printed to {value.digit}: {value.source}",
                )
            causes.append(value.table_cause)
        return causes

    def creep(self, cause: str, limit: Decimal) -> str:
        """Enter the rest of the creep that the stability criterion lets through."""
        if cause not in self:
            self[cause] = Input(
                0.0,
                float(limit) / 2 / ROOT3,
                "rectangular",
                size_from="common practice",
                source=f"half of the stability limit of {limit} pH",
            )
        return cause

    def thermometer(self, standard: Standard | None) -> str:
        """Enter the reference thermometer, one cause for every buffer of the visit."""
        cause = f"thermometer:{standard.id if standard else 'not named'}"
        if cause not in self:
            self[cause] = _thermometer(standard)
        return cause


@lru_cache(maxsize=1024)
def _assumed(size: str, set_to: str, value: float) -> Input:
    default, size_from, words = SIZES[size]
    half = set_to or default
    origin = ", set in the register" if set_to else ""
    return Input(
        value,
        float(half) / ROOT3,
        "rectangular",
        size_from=size_from,
        source=words.format(size=half) + origin,
    )


def _certificate(value: BufferValue) -> Input:
    standard = value.standard
    if standard.expanded is not None:
        k = standard.k if standard.k is not None else Decimal(2)
        named = f", certificate {standard.certificate}" if standard.certificate else ""
        return Input(
            0.0, float(standard.expanded / k), source=f"U {standard.expanded} pH, k {k}, of the bottle{named}"
        )
    return Input(
        0.0, 0.01, size_from="memory", source="U 0.02 pH, k 2, usual for bottles; no certificate entered"
    )


def _thermometer(standard: Standard | None) -> Input:
    if standard is not None and standard.expanded is not None:
        k = standard.k if standard.k is not None else Decimal(2)
        return Input(
            0.0, float(standard.expanded / k), source=f"U {standard.expanded} °C, k {k}, of {standard.id}"
        )
    if standard is not None:
        return Input(
            0.0, 0.15, size_from="common practice", source=f"U 0.3 °C, k 2; none entered for {standard.id}"
        )
    return Input(0.0, 0.5, size_from="memory", source="U 1 °C, k 2; the sheet names no thermometer")


# ---------------------------------------------------------------- one stage


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


UNITS = {"error": "pH", "control_system": "pH", "residual": "mV", "slope": "%", "offset": "mV"}


def stage_quantities(known: StageInputs, settings: Mapping[str, str]) -> dict[str, Quantity]:
    """Return the errors, slope, offset and residuals of a stage with their budgets, in one propagation."""
    inputs = Inputs(settings)
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

    units = _Units()
    return propagate(model, inputs, units, _exact_texts(known))


class _Units(dict[str, str]):
    """The unit of an output by the last word of its key."""

    def __missing__(self, key: str) -> str:
        return {**UNITS, "slope_mv": "mV/pH", "gain": "pH per pH"}[key.rpartition(".")[2]]


@dataclass(frozen=True, slots=True)
class _Causes:
    buffer: list[str]
    temperature: tuple[str, ...]
    reading: str
    creep: str
    voltage: tuple[str, ...]


def _point_causes(inputs: Inputs, point: Measured, known: StageInputs) -> _Causes:
    here = f"{known.stage}.{point.id}"
    temperature: tuple[str, ...] = ()
    if point.buffer.nodes:
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
        inputs.creep(f"creep:{here}", known.stability),
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


def _shared_causes(inputs: Inputs, known: StageInputs) -> _Shared:
    shown = there = junction = electrode = slope = offset = ""
    if known.between is not None and known.process is not None:
        if known.process_control_system is not None:
            shown = inputs.digit(f"reading:{known.stage}.process", known.process, "display")
            there = inputs.digit(
                f"control system:{known.stage}.process", known.process_control_system, "control system"
            )
        if Decimal(inputs._settings.get("junction_ph", "0")):
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
        value = interpolate(point.buffer.nodes, t)
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
        error = exact_at_process(known.process, *known.between)
        texts["process.error"] = f"{error:f}"
        if known.process_control_system is not None:
            there = error + known.process_control_system.value - known.process.value
            texts["process.control_system"] = f"{there:f}"
    return texts


def exact_at_process(shown: Reading, low: Measured, high: Measured) -> Decimal:
    """Return the error at the displayed value; a quotient has no end and is fixed two digits beyond it."""
    error = ph.error_at_displayed(shown.value, low.reading.value, low.error, high.reading.value, high.error)
    return Decimal(error).quantize(shown.digit.scaleb(-2))
