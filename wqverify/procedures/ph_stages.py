"""From the sheet to what was measured at a stage: accepted readings, stability, which points make a line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.parts import NotDone, Points, SameAs
from wqverify.procedures.ph_budget import StageInputs, stage_quantities
from wqverify.procedures.ph_inputs import Measured, buffer_value
from wqverify.procedures.ph_rules import APART_AT_LEAST, TITLES, spread
from wqverify.procedures.ph_sheet import Adjusted, BufferPoint, Constants, PhSheet, Process, ThermometerCheck
from wqverify.procedures.rules import Stability, setting, standard
from wqverify.terms import Given, Quantity, Reading, Standard

STABILITY = "0.02"  # pH, range of the last three readings; common practice
LAST = "3"  # readings that must hold still
INTERVAL_S = "30"  # at least, between them, so that three span a minute; common practice
NO_STORED_SLOPE = "the transmitter shows neither mV nor its stored slope"


@dataclass(frozen=True)
class Stage:
    """What was measured at one stage and what follows from it; empty with ``not_done`` where nothing was."""

    name: str
    not_done: str = ""
    points: tuple[Measured, ...] = ()
    typed: tuple[BufferPoint, ...] = ()
    line: tuple[Measured, ...] = ()
    no_line: str = ""  # why there is no slope
    no_electrode_slope: str = ""  # why the slope cannot be that of the electrode
    no_offset: str = ""
    process: Process | None = None
    between: tuple[Measured, Measured] | None = None
    no_process: str = ""  # why there is no error at the process value
    quantities: Mapping[str, Quantity] = field(default_factory=dict)
    thermometer: Standard | None = None
    same_as: str = ""
    stored_slope: Reading | None = None  # the slope the transmitter worked with

    @property
    def title(self) -> str:
        return TITLES[self.name]


def stages(sheet: PhSheet, given: Given) -> dict[str, Stage]:
    """Return the stages of a visit that the sheet has, by name, in the order of work."""
    found: dict[str, Stage] = {}
    for name in TITLES:
        part = getattr(sheet, name)
        if isinstance(part, NotDone):
            found[name] = Stage(name, not_done=part.not_done)
        elif isinstance(part, SameAs):
            found[name] = _again(found[part.same_as], sheet, given)
        elif part is not None:
            found[name] = _measured(name, part, sheet, given)
    return found


def _measured(name: str, part: Points[BufferPoint], sheet: PhSheet, given: Given) -> Stage:
    points = tuple(
        measured_point(name, f"{name}.points.{index}", point, given)
        for index, point in enumerate(part.points)
    )
    stage = Stage(name, points=points, typed=part.points, thermometer=_thermometer(part, sheet, given))
    return _quantified(stage, sheet, given)


def _again(source: Stage, sheet: PhSheet, given: Given) -> Stage:
    """As left is an earlier stage: the same readings and quantities; only the process was read anew."""
    stage = replace(source, name="as_left", same_as=source.name)
    process = _process(stage.name, sheet)
    if source.not_done or process == source.process:
        return stage
    if process is None:
        return replace(stage, process=None, between=None)
    return _quantified(stage, sheet, given)


def _quantified(stage: Stage, sheet: PhSheet, given: Given) -> Stage:
    line, no_line = _line_of(stage.points)
    stored = _stored(stage.name, sheet)
    by_voltage = bool(line) and all(point.mv is not None for point in line)
    process = _process(stage.name, sheet)
    between, no_process = _between(stage.points, process)
    no_slope = no_offset = no_line
    if line and not by_voltage:
        no_slope = "" if stored and stored.slope_percent else NO_STORED_SLOPE
        no_offset = no_slope or ("" if stored and stored.offset_mv else "the stored offset was not entered")
    if line and any(point.temperature is None for point in line):
        no_offset = no_offset or "the temperature of a buffer was not entered"
        no_slope = no_slope or (no_offset if by_voltage else "")
        line = () if by_voltage else line
    known = StageInputs(
        stage=stage.same_as or stage.name,
        points=stage.points,
        line=line,
        process=process.ph if process else None,
        process_control_system=process.control_system if process else None,
        between=between,
        stored_slope=stored.slope_percent if stored else None,
        stored_offset=stored.offset_mv if stored else None,
        thermometer=stage.thermometer,
        stability=stability(given).limit,
    )
    return replace(
        stage,
        line=line,
        no_line=no_line,
        no_electrode_slope=no_slope,
        no_offset=no_offset,
        stored_slope=stored.slope_percent if stored else None,
        process=process,
        between=between,
        no_process=no_process,
        quantities=stage_quantities(known, given.analyzer.settings),
    )


def measured_point(stage: str, path: str, point: BufferPoint, given: Given) -> Measured:
    """Return one buffer as measured; raises with the place where its value cannot be had."""
    bottle = standard(point.standard, f"{path}.standard", given)
    temperature = point.temperature_c
    try:
        value = buffer_value(bottle, temperature.value if temperature else None, given)
    except (CorrectTheEntry, ChooseAnother) as problem:
        raise type(problem)(
            f"{place(path)}: {problem.message}",
            found=problem.found,
            expected=problem.expected,
            where=f"{path}.temperature_c" if isinstance(problem, CorrectTheEntry) else f"{path}.standard",
        ) from problem
    return Measured(
        stage=stage,
        path=path,
        id=point.standard,
        buffer=value,
        temperature=temperature,
        reading=point.last,
        mv=point.mv,
        control_system=point.control_system,
        unsteady=stability(given).broken_by(point),
        information=_information(point, bottle, given),
        error=point.last.value - value.exact,
    )


def place(path: str) -> str:
    """Return a path of a point in words: "As found, point 2"."""
    stage, *rest = path.split(".")
    number = f", point {int(rest[1]) + 1}" if len(rest) > 1 else ""
    return TITLES.get(stage, stage.replace("_", " ")).capitalize() + number


def stability(given: Given) -> Stability:
    """When the readings in a buffer hold still."""
    return Stability(
        setting(given, "stability_ph", STABILITY),
        "pH",
        int(setting(given, "stability_readings", LAST)),
        setting(given, "stability_interval_s", INTERVAL_S),
    )


def _information(point: BufferPoint, bottle: Standard, given: Given) -> str:
    if not point.use:
        return ""
    started = given.times.get("started", "")[:10]
    if bottle.usable_until and bottle.usable_until < started:
        return f"information only: {bottle.id} was usable until {bottle.usable_until}"
    return "information only, as entered"


def _line_of(points: tuple[Measured, ...]) -> tuple[tuple[Measured, ...], str]:
    line = tuple(point for point in points if point.in_line)
    if len(line) < 2:
        count = {0: "no buffer", 1: "one buffer"}[len(line)]
        which = " that counts" if len(points) > len(line) else ""
        return (), f"{count}{which} was read; a slope needs two"
    if spread(line) < APART_AT_LEAST:
        return (), f"the buffers are {spread(line)} pH apart; a slope needs at least {APART_AT_LEAST} pH"
    return line, ""


def _between(
    points: tuple[Measured, ...], process: Process | None
) -> tuple[tuple[Measured, Measured] | None, str]:
    """The two points around the displayed process value, the outermost two where none is beyond it."""
    if process is None:
        return None, "the process value was not read with it"
    usable = sorted((p for p in points if p.in_line), key=lambda p: p.reading.value)
    if len(usable) < 2:
        count = "one buffer gives" if usable else "no buffer that counts gives"
        return None, f"{count} no error between buffers; two are needed"
    above = next((i for i, p in enumerate(usable) if p.reading.value >= process.ph.value), len(usable) - 1)
    low, high = usable[max(above, 1) - 1], usable[max(above, 1)]
    if low.reading.value == high.reading.value:
        return None, f"the display showed {low.reading.text} in two buffers"
    return (low, high), ""


def _process(stage: str, sheet: PhSheet) -> Process | None:
    """The process value that belongs to a stage; after cleaning nobody was back in the process yet."""
    part = {"as_found": sheet.process_before, "as_left": sheet.process_after}.get(stage)
    return part if isinstance(part, Process) else None


def _stored(stage: str, sheet: PhSheet) -> Constants | None:
    """The constants the transmitter worked with at a stage."""
    before = sheet.stored if isinstance(sheet.stored, Constants) else None
    if stage != "as_left":
        return before
    if isinstance(sheet.constants_as_left, Constants):
        return sheet.constants_as_left
    if not isinstance(sheet.adjusted, Adjusted):
        return before if not (sheet.decision and sheet.decision.action == "replace") else None
    after = sheet.adjusted
    unchanged = before or Constants()
    return Constants.model_construct(
        slope_percent=after.slope_to or unchanged.slope_percent,
        offset_mv=after.offset_to or unchanged.offset_mv,
    )


def _thermometer(part: Points[BufferPoint], sheet: PhSheet, given: Given) -> Standard | None:
    checked = sheet.thermometer_check
    named = part.thermometer or (
        checked.reference if isinstance(checked, ThermometerCheck) and not checked.use else None
    )
    return standard(named, "thermometer", given) if named else None
