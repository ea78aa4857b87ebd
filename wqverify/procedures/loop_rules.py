"""What a loop check refuses: points out of order, ranges without width, roots of nothing, instruments."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from wqverify.calculations import loop
from wqverify.calculations.loop_mismatch import is_unit, measure_one_thing
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.loop_points import CARD, CURRENTS, input_ohm, own_sweeps, points_of
from wqverify.procedures.loop_sheet import LoopSheet, RangeSet, Reference, Supply, Sweep, runs_of
from wqverify.procedures.rules import refuse_beyond, refuse_overdue, refuse_visit, standard
from wqverify.terms import Analyzer, Given, Reading

POSSIBLE_MA = (0, 25)
READ_MA = (-1, 26)
POSSIBLE_V = (0, 60)
READ_V = (-1, 26)
POSSIBLE_C = (-40, 60)
WAYS = (
    "apply the currents with another source or meter that is in date; or have it calibrated first "
    'and say as_found.not_done = "because ...".'
)


def refuse(sheet: LoopSheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother where the sheet cannot be computed as it stands."""
    refuse_visit(sheet, given)
    _ranges(sheet.ranges, given.analyzer)
    if isinstance(sheet.supply, Supply):
        _supply(sheet.supply)
    for index, state in enumerate(sheet.states):
        refuse_beyond(f"states.{index}.applied_ma", "loop current", state.applied_ma, POSSIBLE_MA, "mA")
    for stage, sweep in own_sweeps(sheet):
        for way, _run, applied in runs_of(sweep):
            _in_order(f"{stage}.{way}.applied_ma", applied, falling=way == "falling")
    for stage, sweep in own_sweeps(sheet):
        _currents(stage, sweep, sheet)
        _sensible(stage, sweep, sheet, given)
    _instruments(sheet, sheet.reference, given)


# ---------------------------------------------------------------- points


def _in_order(path: str, applied: Sequence[Reading], *, falling: bool) -> None:
    """The points rise from low to high and then fall: the way is what shows hysteresis."""
    for index, reading in enumerate(applied):
        refuse_beyond(f"{path}.{index}", "loop current", reading, POSSIBLE_MA, "mA")
    for index, (one, next_one) in enumerate(pairwise(applied), 1):
        right = next_one.value < one.value if falling else next_one.value > one.value
        if not right:
            way = "high to low" if falling else "low to high"
            raise CorrectTheEntry(
                f"{path}: {next_one.text} mA comes after {one.text} mA, and these points go from {way}. Type "
                f"them in the order they were applied; a point set from the other side is taken again.",
                found=f"{one.text}, {next_one.text}",
                expected=way,
                where=f"{path}.{index}",
            )


def _currents(stage: str, sweep: Sweep, sheet: LoopSheet) -> None:
    """What a meter or a card read is a current of a loop, or of a broken one."""
    for way, run, _ in runs_of(sweep):
        for name, reads in (("measured_ma", run.measured_ma), ("card", run.card)):
            volts = name == "card" and sheet.reference.card_in == "V"
            limits, unit = (READ_V, "V") if volts else (READ_MA, "mA")
            for index, reading in enumerate(reads or ()):
                refuse_beyond(f"{stage}.{way}.{name}.{index}", "reading of a loop", reading, limits, unit)


def _sensible(stage: str, sweep: Sweep, sheet: LoopSheet, given: Given) -> None:
    if (
        any(point.volts and CARD in point.read for point in points_of(sweep, sheet))
        and input_ohm(sheet, given.analyzer) is None
    ):
        raise CorrectTheEntry(
            f"{stage} holds volts across the input, and no input resistor is known: neither supply.input_ohm "
            f"nor input_ohm of a hop of {given.analyzer.tag}. Enter it, or the current instead.",
            expected="an input resistor in ohm",
            where=f"{stage}.rising.card",
        )
    if sheet.root != "in the control system":
        return
    for point in points_of(sweep, sheet):
        for place in (place for place in point.read if place in CURRENTS and place != CARD):
            reading = point.read[place]
            if reading.value < loop.ZERO_MA:
                name = "applied_ma" if place == "applied" else "measured_ma"
                raise CorrectTheEntry(
                    f"{stage}.{point.way}.{name} holds {reading.text} mA, below 4 mA, and the control "
                    f"system takes the square root: a negative signal has none. Apply 4 mA or more; what it "
                    f"makes of less is entered under states.",
                    found=reading.text,
                    expected="4 mA or more",
                    where=f"{stage}.{point.way}.{name}",
                )


# ---------------------------------------------------------------- ranges and supply


def _ranges(ranges: Sequence[RangeSet], analyzer: Analyzer) -> None:
    for index, row in enumerate(ranges):
        path = f"ranges.{index}"
        if row.low.value == row.high.value:
            raise CorrectTheEntry(
                f"The range of the {row.place} ({path}) is {row.low.text} to {row.high.text}: it has no "
                f"width, so no current stands for a value. Read both ends again where they are set.",
                found=f"{row.low.text} to {row.high.text}",
                expected="two different ends",
                where=f"{path}.high",
            )
        if row.unit is None or row.unit == analyzer.unit:
            continue
        if not measure_one_thing(row.unit, analyzer.unit):
            known = "measures something else" if is_unit(row.unit) else "is no unit known here"
            raise CorrectTheEntry(
                f"The unit of the {row.place} ({path}.unit) is {row.unit}, which {known}; {analyzer.tag} "
                f"measures {analyzer.measures} in {analyzer.unit}. Type the unit as it is set there, such as "
                f"{analyzer.unit}.",
                found=row.unit,
                expected=analyzer.unit,
                where=f"{path}.unit",
            )
        if row.place == "transmitter":
            raise CorrectTheEntry(
                f"The transmitter is set in {row.unit} ({path}) and {analyzer.tag} is in {analyzer.unit} in "
                f"the register, so nothing says what a current should show. Type both ends in "
                f"{analyzer.unit}, or correct analyzers.toml and run plant accept.",
                found=row.unit,
                expected=analyzer.unit,
                where=f"{path}.unit",
            )


def _supply(supply: Supply) -> None:
    for name, limits, unit in (
        ("supply_v", POSSIBLE_V, "V"),
        ("least_v", POSSIBLE_V, "V"),
        ("terminal_v", POSSIBLE_V, "V"),
        ("at_ma", POSSIBLE_MA, "mA"),
        ("failure_ma", POSSIBLE_MA, "mA"),
    ):
        reading = getattr(supply, name)
        if reading is not None:
            refuse_beyond(f"supply.{name}", "value of a loop", reading, limits, unit)
    for name in ("loop_ohm", "input_ohm"):
        reading = getattr(supply, name)
        if reading is not None and reading.value <= 0:
            raise CorrectTheEntry(
                f"supply.{name} is {reading.text} ohm; a loop has some resistance. Measure it with the loop "
                f"dead, or leave it out.",
                found=reading.text,
                expected="more than 0 ohm",
                where=f"supply.{name}",
            )
    supply_v, least_v = supply.supply_v, supply.least_v
    if supply_v is not None and least_v is not None and supply_v.value <= least_v.value:
        raise CorrectTheEntry(
            f"supply.supply_v is {supply_v.text} V, and the transmitter needs {least_v.text} "
            f"V: no current flows with that. Measure the supply with the loop open, and look into the manual "
            f"again.",
            found=supply_v.text,
            expected=f"more than {least_v.text} V",
            where="supply.supply_v",
        )


# ---------------------------------------------------------------- instruments


def _instruments(sheet: LoopSheet, reference: Reference, given: Given) -> None:
    if reference.ambient_c is not None:
        refuse_beyond("reference.ambient_c", "temperature", reference.ambient_c, POSSIBLE_C, "°C")
    named = [("reference.instrument", reference.instrument)]
    if reference.meter is not None:
        named.append(("reference.meter", reference.meter))
    for path, name in named:
        instrument = standard(name, path, given)
        if instrument.unit != "mA":
            raise ChooseAnother(
                f"{path} names {instrument.id} ({instrument.name}), which is in {instrument.unit}; a loop is "
                f"checked with a source or meter in mA. Name that one.",
                found=instrument.unit,
                expected="mA",
                where=path,
            )
        refuse_overdue(path, instrument, sheet.date, WAYS)
