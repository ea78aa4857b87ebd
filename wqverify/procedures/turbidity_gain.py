"""Gain and zero of a turbidity analyzer, and the values a calibration assigns to secondary standards.

With zero water K = (C − Cw)/(R − Z) and N(x) = K (x − Z) + Cw; without, K = C/R and N(x) = K x + stray light,
which stays unknown. All in the one propagation of a stage, so that bottle and water act on everything alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from wqverify.calculations import turbidity
from wqverify.procedures.parts import SameAs
from wqverify.procedures.rules import standard
from wqverify.procedures.turbidity_inputs import Measured, Term, TurbidityInputs
from wqverify.procedures.turbidity_parts import Assign, Process, StandardsSheet
from wqverify.procedures.turbidity_shown import plain
from wqverify.procedures.turbidity_stages import Gains, Model, Stage, counted
from wqverify.procedures.workings import signed
from wqverify.terms import Given, Quantity, Reading, Standard, Value, Working

GAIN_UNIT = "NTU per NTU"
LINE = "straight line through zero water and standard"
ORIGIN = "straight line through the origin, stray light unknown"


@dataclass(frozen=True)
class NewValue:
    """A secondary standard as it was read right after the calibration."""

    standard: Standard
    path: str
    measured: Measured

    @property
    def text(self) -> str:
        """The value to enter: what counts, rounded once to what the display shows."""
        return f"{self.measured.unrounded.quantize(self.measured.digit) + 0:f}"

    @property
    def key(self) -> str:
        return f"assigned.{self.standard.id}"


def new_values(read: Sequence[Assign], given: Given) -> tuple[NewValue, ...]:
    """Return the secondary standards that were read to be assigned a value."""
    return tuple(_new_value(index, part, given) for index, part in enumerate(read))


def _new_value(index: int, part: Assign, given: Given) -> NewValue:
    path = f"assign.{index}"
    known = standard(part.standard, f"{path}.standard", given)
    nothing, times = Decimal(0), int(part.insertions.value) if part.insertions else 1
    empty = Measured("assigned", path, known.id, "secondary", known, nothing, (), nothing, insertions=times)
    return NewValue(known, path, counted(empty, part, given))


def last_stage(sheet: StandardsSheet) -> str:
    """Return the stage whose readings stand as left."""
    return sheet.as_left.same_as if isinstance(sheet.as_left, SameAs) else "as_left"


def gains(sheet: StandardsSheet, new: Sequence[NewValue]) -> Gains:
    """Return what adds gain, turbidities by it and new values to the propagation of a stage."""

    def added(stage: Stage, inputs: TurbidityInputs) -> tuple[Model, Mapping[str, str]]:
        if not stage.primaries:
            return lambda _x: {}, {}
        top = stage.primaries[-1]
        corrected, gain, at_standard = _line(stage, top, inputs)
        working = working_value(stage, sheet)
        terms: dict[str, Term] = {"gain": gain, "at_standard": at_standard}
        if working is not None:
            shown = float(working.value)
            terms["at_working"] = lambda x: corrected(x, shown)
        if stage.name == last_stage(sheet):
            for value in new:
                terms[value.key] = _assigned(value, corrected, inputs)
        return lambda x: {name: term(x) for name, term in terms.items()}, {"gain": GAIN_UNIT}

    return added


def _line(stage: Stage, top: Measured, inputs: TurbidityInputs) -> tuple[Any, Term, Term]:
    """What belongs to a display, as a function of the inputs and the display; the gain; the standard itself.

    On the standard the line gives the standard back, so its reading is no part of what it is uncertain by.
    """
    value, cell, reading = inputs.value(top), inputs.cell(top), inputs.reading(top)
    zero = stage.zero
    if zero is None or not zero.counts:
        stray = inputs.half_width("stray light", "stray_ntu")

        def ratio(x: Mapping[str, Any]) -> Any:
            return turbidity.gain_without_zero(value(x) + cell(x), reading(x))

        return (
            lambda x, at: turbidity.corrected_without_zero(at, ratio(x), x[stray]),
            ratio,
            lambda x: value(x) + cell(x) + x[stray],
        )
    Z, Cw = inputs.reading(zero), inputs.value(zero)

    def slope(x: Mapping[str, Any]) -> Any:
        return turbidity.gain(value(x) + cell(x), Cw(x), reading(x), Z(x))

    return (
        lambda x, at: turbidity.corrected(at, slope(x), Z(x), Cw(x)),
        slope,
        lambda x: value(x) + cell(x),
    )


def _assigned(value: NewValue, corrected: Any, inputs: TurbidityInputs) -> Term:
    reading = inputs.reading(value.measured)
    place = inputs.place(f"place:assigned.{value.standard.id}", value.measured.insertions)
    return lambda x: corrected(x, reading(x) * (1 + place(x)))


def working_value(stage: Stage, sheet: StandardsSheet) -> Reading | None:
    """Return the process value a stage is asked about: its own, else that of the visit's beginning."""
    part = stage.process or sheet.process_before
    return part.ntu if isinstance(part, Process) else None


# ---------------------------------------------------------------- shown


def gain_values(sheet: StandardsSheet, stages: Mapping[str, Stage]) -> Iterator[Value]:
    """Give gain and turbidities by it, at the standard and at the process value."""
    for stage in stages.values():
        if stage.same_as or "gain" not in stage.quantities:
            continue
        top, source = stage.primaries[-1], LINE if _zeroed(stage) else ORIGIN
        labels = [
            ("gain", "Gain that the readings ask for, as a factor of the present one"),
            ("at_standard", f"Turbidity by this gain on {top.id}, display {top.mean:f}"),
        ]
        working = working_value(stage, sheet)
        if working is not None:
            labels.append(("at_working", f"Turbidity by this gain in the process, display {working.text}"))
        for word, label in labels:
            yield Value(f"{stage.name}.{word}", stage.name, label, stage.quantities[word], source)


def assigned_values(new: Sequence[NewValue], last: Stage, unit: str) -> Iterator[Value]:
    """Give the values assigned, as displayed, uncertain by what the calibration leaves open."""
    for value in new:
        found = last.quantities.get(value.key)
        if found is None or value.measured.unsteady:
            continue
        shown = Quantity(
            value.text,
            unit,
            float(value.measured.unrounded),
            found.u,
            found.dof,
            found.k,
            found.expanded,
            found.budget,
        )
        label = f"Value of {value.standard.name} ({value.standard.id}) for this analyzer"
        yield Value(
            value.key, "as_left", label, shown, "display after the calibration; U against the primary"
        )


def gain_workings(sheet: StandardsSheet, stages: Mapping[str, Stage], unit: str) -> Iterator[Working]:
    """Give gain and turbidity at the process value by hand."""
    for stage in stages.values():
        if stage.same_as or "gain" not in stage.quantities:
            continue
        top, zero = stage.primaries[-1], stage.zero if _zeroed(stage) else None
        gain, working = stage.quantities["gain"], working_value(stage, sheet)
        C, R = f"{top.exact:f}", f"{top.mean:f}"
        if zero is not None:
            Cw, Z = f"{zero.exact:f}", signed(zero.mean)
            formula = "K = (C − Cw) / (R − Z), Z the reading in zero water"
            put_in, at = f"({C} − {Cw}) / ({R} − {Z})", "N(x) = K (x − Z) + Cw"
        else:
            formula, put_in, at = "K = C / R", f"{C} / {R}", "N(x) = K x"
        source = LINE if zero is not None else ORIGIN
        yield Working(f"Gain asked for, {stage.title}", formula, put_in, f"{gain.text} {GAIN_UNIT}", source)
        if working is not None:
            x = working.text
            filled = f"{put_in} × ({x} − {Z}) + {Cw}" if zero is not None else f"{put_in} × {x}"
            answer = f"{stage.quantities['at_working'].text} {unit}"
            yield Working(
                f"Turbidity at the displayed process value, {stage.title}", at, filled, answer, source
            )


def new_value_workings(new: Sequence[NewValue], unit: str) -> Iterator[Working]:
    """Give the mean behind a value assigned."""
    for value in new:
        texts = [reading.text for reading in value.measured.readings]
        crept = value.measured.crept
        yield Working(
            f"Value of {value.standard.id} for this analyzer",
            "V = R, the last reading" if crept else "V = (R1 + R2 + …) / n, rounded to the display",
            texts[-1] if crept else f"({' + '.join(texts)}) / {len(texts)}",
            f"{plain(value.measured.unrounded)} {unit}, entered as {value.text} {unit}",
            "the readings crept one way" if crept else "mean of the readings that held still",
        )


def _zeroed(stage: Stage) -> bool:
    return stage.zero is not None and stage.zero.counts
