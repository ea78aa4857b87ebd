"""Check of an online turbidity analyzer on primary or secondary standards: as found, cleaned, as left.

The sheet's own parts: ``turbidity_parts``; readings, values of standards and budgets: ``turbidity_stages``
and ``turbidity_inputs``; what is refused: ``turbidity_rules``. No tolerance is shipped: the register says how
far off is too far, and without one the error is shown and not evaluated.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Self

from pydantic import model_validator

from wqverify.procedures.parts import (
    BACK_IN_SERVICE,
    BEFORE_IT_IS_TOUCHED,
    ON_ARRIVAL,
    Cleaned,
    Done,
    DoneOrSame,
    Head,
    Number,
    Tail,
)
from wqverify.procedures.parts import Part as _Part
from wqverify.procedures.turbidity_beside import CHECK
from wqverify.procedures.turbidity_checks import TOLERANCES, checks_of, keys_of
from wqverify.procedures.turbidity_notes import CAUTIONS, notes, settled
from wqverify.procedures.turbidity_parts import After, Before, OnStandards, same_stage
from wqverify.procedures.turbidity_rules import CALIBRATION, refuse
from wqverify.procedures.turbidity_settings import SETTINGS
from wqverify.procedures.turbidity_shown import REPORTING, charts, values, workings
from wqverify.procedures.turbidity_stages import stages
from wqverify.terms import Ask, Given, Outcome, Procedure, Result, Slices


class Work(_Part):
    """From as found to as left."""

    as_found: Annotated[
        Done[OnStandards],
        Ask(
            "as found",
            help="before anything is cleaned or adjusted",
            caution="Nothing watches the filter while a standard is in: agree who does. Clean nothing yet.",
        ),
    ]
    cleaned: Annotated[Done[Cleaned] | None, Ask("cleaned", when="own visit or not passed")] = None
    after_cleaning: Annotated[
        Done[OnStandards] | None,
        Ask("after cleaning", help="the same standards, before any adjustment", when="cleaned"),
    ] = None
    as_left: Annotated[
        DoneOrSame[OnStandards], Ask("as left", help="the same standards again where anything was changed")
    ]


class AndSettled(After):
    """How long it took to show the process again."""

    settled_min: Annotated[
        Number | None,
        Ask("settled after", "min", help="from sample flow on to a steady process value", when="own visit"),
    ] = None


class TurbidityCheckSheet(Tail, AndSettled, Work, Head, Before):
    """One visit."""

    SAMPLED: ClassVar[bool] = True
    TOGETHER: ClassVar[tuple[frozenset[str], ...]] = (
        ON_ARRIVAL,
        BEFORE_IT_IS_TOUCHED,
        BACK_IN_SERVICE,
    )

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        same_stage(self, changed=False)
        return self


def compute(sheet: TurbidityCheckSheet, given: Given, slices: Slices) -> Result:  # noqa: ARG001
    """Return the result of one visit.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, for what cannot be taken: another serial
    on the plate, times out of order, a standard expired or entered twice, a secondary standard without a
    value for this analyzer or with one that a newer primary calibration has voided, volumes that do not fit,
    readings outside the range.
    """
    _refuse(sheet, given)
    measured = stages(sheet, given)
    checks = tuple(checks_of(sheet, given, measured))
    unit = given.analyzer.unit
    return Result(
        checks=checks,
        values=tuple(values(sheet, given, measured)),
        workings=tuple(workings(measured, checks, unit)),
        notes=tuple(notes(sheet, given, measured, checks)),
        charts=tuple(charts(measured, checks, unit)),
        facts={"adjusted": "no", **settled(sheet)},
    )


def _refuse(sheet: TurbidityCheckSheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother where the sheet cannot be computed as it stands."""
    refuse(sheet, given, secondary=True)


def expects(sheet: TurbidityCheckSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    return keys_of(sheet, given)


def opens(result: Result) -> tuple[tuple[str, str], ...]:
    """Return what the result opens next: a failure that cleaning did not mend asks for a calibration."""
    if result.outcome("as_left") is Outcome.FAIL:
        return ((CALIBRATION, "it is outside its tolerance as left"),)
    return ()


PROCEDURE = Procedure(
    name="turbidity_standard_check",
    title="Turbidity check on a standard",
    revision=1,
    Sheet=TurbidityCheckSheet,
    compute=compute,
    expects=expects,
    refuse=_refuse,
    cautions=CAUTIONS,
    beside=CHECK,
    tables=(REPORTING,),
    opens=opens,
    tolerances=TOLERANCES,
    settings=SETTINGS,
    looks_back={CALIBRATION: 1},
)
