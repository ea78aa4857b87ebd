"""Primary calibration of an online turbidity analyzer, and the values it gives its secondary standards.

As found on primary standards before anything is touched, adjusted from what to what, as left on the same
points, then the secondary standards read at once. Gain, zero and new values: ``turbidity_gain``; the rest is
that of the standard check. Inside its tolerance the advice is to leave it alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, ClassVar, Self

from pydantic import Field, model_validator

from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.parts import (
    BACK_IN_SERVICE,
    BEFORE_IT_IS_TOUCHED,
    ON_ARRIVAL,
    Cleaned,
    Done,
    DoneOrSame,
    Head,
    Part,
    Tail,
    insist_on_decision,
)
from wqverify.procedures.rules import refuse_expired, refuse_outside, standard, typed
from wqverify.procedures.turbidity_beside import calibration
from wqverify.procedures.turbidity_checks import TOLERANCES, checks_of, keys_of
from wqverify.procedures.turbidity_gain import (
    assigned_values,
    gain_values,
    gain_workings,
    gains,
    new_value_workings,
    new_values,
)
from wqverify.procedures.turbidity_gain_notes import gain_notes
from wqverify.procedures.turbidity_notes import CAUTIONS, notes
from wqverify.procedures.turbidity_parts import (
    Adjusted,
    After,
    Assign,
    Before,
    Constants,
    Decision,
    OnPrimaries,
    same_stage,
)
from wqverify.procedures.turbidity_rules import CALIBRATION, brake, refuse
from wqverify.procedures.turbidity_settings import SETTINGS
from wqverify.procedures.turbidity_shown import REPORTING, charts, values, workings
from wqverify.procedures.turbidity_stages import Stage, stages
from wqverify.terms import Ask, Given, Outcome, Procedure, Result, Slices

ORDER = ("caution", "advice", "statement", "cannot see", "opinion")


class Stored(Before):
    """What the analyzer holds, and what is read while the output still shows the process."""

    stored: Annotated[
        Done[Constants] | None,
        Ask("stored on arrival", help="gain and zero in the menu of the analyzer", when="own visit"),
    ] = None


class Work(Part):
    """From as found to the values of the secondary standards."""

    as_found: Annotated[
        Done[OnPrimaries],
        Ask(
            "as found",
            help="before anything is cleaned or adjusted",
            caution="Nothing watches the filter while a standard is in: agree who does. Clean nothing yet.",
        ),
    ]
    cleaned: Annotated[Done[Cleaned] | None, Ask("cleaned", when="own visit or not passed")] = None
    after_cleaning: Annotated[
        Done[OnPrimaries] | None,
        Ask("after cleaning", help="the same standards, before any adjustment", when="cleaned"),
    ] = None
    decision: Annotated[Decision | None, Ask("decision", when="own visit or not passed")] = None
    adjusted: Annotated[
        Done[Adjusted] | None, Ask("adjusted", help="from what to what", when="decided to change")
    ] = None
    as_left: Annotated[
        DoneOrSame[OnPrimaries], Ask("as left", help="the same standards again where anything was changed")
    ]
    constants_as_left: Annotated[
        Done[Constants] | None,
        Ask("stored as left", help="gain and zero in the menu", when="own visit or changed"),
    ] = None
    assign: Annotated[
        tuple[Assign, ...],
        Field(max_length=12),
        Ask("secondary standard", help="read right after as left: its value for this analyzer"),
    ] = ()


class TurbidityCalibrationSheet(Tail, After, Work, Head, Stored):
    """One visit."""

    SAMPLED: ClassVar[bool] = True
    TOGETHER: ClassVar[tuple[frozenset[str], ...]] = (
        ON_ARRIVAL,
        BEFORE_IT_IS_TOUCHED,
        BACK_IN_SERVICE,
    )

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        action = self.decision.action if self.decision else "leave alone"
        insist_on_decision(action, self.adjusted, without=("leave alone", "replace"))
        same_stage(self, self.changed)
        return self

    @property
    def changed(self) -> bool:
        """Whether the analyzer is another one since: adjusted, or with a new part such as a lamp."""
        replaced = self.decision is not None and self.decision.action == "replace"
        return replaced or isinstance(self.adjusted, Adjusted)


def compute(sheet: TurbidityCalibrationSheet, given: Given, slices: Slices) -> Result:  # noqa: ARG001
    """Return the result of one calibration.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, as the standard check does, and besides
    for a secondary standard among the points, a primary one to be assigned, one number of the menu typed in
    two ways, and an adjustment that is not founded on its readings.
    """
    _refuse(sheet, given)
    new = new_values(sheet.assign, given)
    measured = stages(sheet, given, gains(sheet, new))
    before = measured.get("after_cleaning")
    if before is None or before.not_done:
        before = measured["as_found"]
    brake(sheet, before if before.points else None)
    checks = tuple(checks_of(sheet, given, measured))
    unit = given.analyzer.unit
    why_not = _why_not_assigned(measured["as_left"], Result(checks))
    assigned = tuple(assigned_values(() if why_not else new, measured["as_left"], unit))
    return Result(
        checks=checks,
        values=(*values(sheet, given, measured), *gain_values(sheet, measured), *assigned),
        workings=(
            *workings(measured, checks, unit),
            *gain_workings(sheet, measured, unit),
            *new_value_workings(() if why_not else new, unit),
        ),
        notes=tuple(
            sorted(
                (
                    *notes(sheet, given, measured, checks),
                    *gain_notes(sheet, given, measured, new, assigned, why_not),
                ),
                key=lambda note: ORDER.index(note.kind),
            )
        ),
        charts=tuple(charts(measured, checks, unit)),
        facts=_facts(sheet, measured, {value.key: value.quantity.text for value in assigned}),
    )


def _why_not_assigned(as_left: Stage, result: Result) -> str:
    """Why no value is assigned: it would carry on what is wrong with the analyzer."""
    if as_left.not_done:
        return f"as left was not done: {as_left.not_done}"
    if not as_left.primaries:
        return "as left has no primary standard that counts"
    if result.outcome("as_left") is Outcome.FAIL:
        return "as left is outside its tolerance"
    return ""


def _facts(
    sheet: TurbidityCalibrationSheet, measured: Mapping[str, Stage], assigned: Mapping[str, str]
) -> dict[str, str]:
    gain = measured["as_left"].quantities.get("gain")
    return {
        "adjusted": "yes" if sheet.changed else "no",
        **({"gain": gain.text} if gain is not None else {}),
        **assigned,
    }


def _refuse(sheet: TurbidityCalibrationSheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother where the sheet cannot be computed as it stands."""
    refuse(sheet, given, secondary=False)
    _refuse_assign(sheet, given)
    _refuse_contradictions(sheet)


def expects(sheet: TurbidityCalibrationSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    return keys_of(sheet, given)


# ---------------------------------------------------------------- refused


def _refuse_assign(sheet: TurbidityCalibrationSheet, given: Given) -> None:
    seen: set[str] = set()
    for index, part in enumerate(sheet.assign):
        path = f"assign.{index}"
        known = standard(part.standard, f"{path}.standard", given)
        title = f"Secondary standard {index + 1}"
        if known.value is not None:
            raise ChooseAnother(
                f"{title}: {known.id} ({known.name}) has a value of its own, so it is no secondary standard; "
                f"a value for one analyzer is assigned to a secondary one only.",
                found=known.id,
                expected="a standard without a value of its own",
                where=f"{path}.standard",
            )
        if known.id in seen:
            raise CorrectTheEntry(
                f"{title}: {known.id} is assigned a value twice; keep one with all its readings.",
                found=known.id,
                where=f"{path}.standard",
            )
        seen.add(known.id)
        refuse_expired(f"{path}.standard", title, known, sheet.date, "read another secondary standard.")
        low, high = given.analyzer.low, given.analyzer.high
        for number, reading in enumerate(part.readings):
            where = f"{path}.readings.{number}"
            refuse_outside(where, f"{title}, reading {number + 1}", reading.value, given, low, high)


def _refuse_contradictions(sheet: TurbidityCalibrationSheet) -> None:
    """One number of the menu typed at two places must be one number."""
    for what in ("gain", "zero"):
        for end, part in (("from", "stored"), ("to", "constants_as_left")):
            here, there = typed(sheet.adjusted, f"{what}_{end}"), typed(getattr(sheet, part), what)
            if here is not None and there is not None and here.value != there.value:
                raise CorrectTheEntry(
                    f"adjusted.{what}_{end} is {here.text} and {part}.{what} is {there.text}, and both are "
                    f"the same number of the analyzer; look which one is mistyped.",
                    found=here.text,
                    expected=there.text,
                    where=f"adjusted.{what}_{end}",
                )


PROCEDURE = Procedure(
    name=CALIBRATION,
    title="Turbidity calibration with primary standards",
    revision=1,
    Sheet=TurbidityCalibrationSheet,
    compute=compute,
    expects=expects,
    refuse=_refuse,
    cautions=CAUTIONS,
    beside=calibration(TurbidityCalibrationSheet),
    tables=(REPORTING,),
    tolerances=TOLERANCES,
    settings=SETTINGS,
)
