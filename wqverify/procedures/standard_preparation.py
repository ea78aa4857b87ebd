"""Preparation of a turbidity standard by dilution: C = (C0 V0 + Cw (V − V0))/V, in one step or several.

Made for the analyzer of its tag. The result is the entry for standards_on_hand.toml with its uncertainty by
cause, so that two standards from one stock, and a standard and the zero water, stay correlated. Nothing is
judged unless the preparer's limit is given. Budget: ``turbidity_inputs``; sentences: ``preparation_notes``.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Annotated, Any, Self

from pydantic import Field, model_validator

from wqverify.calculations.dilution import stock_volume
from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.errors import CorrectTheEntry
from wqverify.plant.fields import Name, Text, said
from wqverify.procedures.parts import (
    Head,
    NothingReturned,
    NothingTouched,
    Number,
    Part,
    Time,
)
from wqverify.procedures.preparation_beside import BESIDE
from wqverify.procedures.preparation_budget import Prepared, prepared
from wqverify.procedures.preparation_notes import CAUTIONS, notes
from wqverify.procedures.rules import refuse_expired, refuse_visit, standard
from wqverify.procedures.turbidity_parts import Step
from wqverify.procedures.turbidity_rules import (
    insist_on_turbidity,
    refuse_other_analyzer,
    refuse_volumes,
    refuse_water,
)
from wqverify.procedures.turbidity_settings import DILUTION
from wqverify.procedures.turbidity_shown import plain, steps_workings
from wqverify.procedures.workings import expanded_working
from wqverify.terms import (
    Ask,
    Check,
    Given,
    Procedure,
    Quantity,
    Result,
    Setting,
    Slices,
    Tolerance,
    Value,
    Working,
)

KEY = "prepared.difference"


class Work(Part):
    """From the stock to the label."""

    stock: Annotated[
        Name,
        Ask(
            "stock",
            refers="standard",
            help="what is diluted first, by its id",
            caution="Formazin is toxic: gloves and goggles, as its safety data sheet says.",
        ),
    ]
    water: Annotated[
        Name, Ask("dilution water", refers="standard", help="its batch, with its own NTU", kinds=("water",))
    ]
    target: Annotated[
        Number | None, Ask("value the standard is to have", "analyzer", help="left out: nothing is compared")
    ] = None
    limit: Annotated[
        Number | None,
        Ask(
            "preparer's limit, ±",
            "analyzer",
            help="left out: that of the register, if any",
            when="on request",
        ),
    ] = None
    flask_ml: Annotated[
        Number | None,
        Ask(
            "flask to plan with",
            "mL",
            help="to plan only; what was done stands under steps",
            when="on request",
        ),
    ] = None
    steps: Annotated[tuple[Step, ...], Field(max_length=4), Ask("dilution")] = ()
    apart_c: Annotated[
        Number | None,
        Ask(
            "temperature of stock and water against the glassware, within ±",
            "°C",
            help="left out: assumed",
            when="on request",
        ),
    ] = None
    mixed: Annotated[Text | None, Ask("how it was mixed", help="the stock before, the dilution after")] = None
    prepared_at: Annotated[Time | None, Ask("made up at", clock=True)] = None
    label: Annotated[Name, Ask("id on the label", help="of the new standard", beside="label")]
    name: Annotated[Text | None, Ask("name on the label")] = None
    life_days: Annotated[Number | None, Ask("usable for", "days", help="left out: one day")] = None


class PreparationSheet(NothingReturned, Work, NothingTouched, Head):
    """One standard prepared; the analyzer it is for is not touched."""

    @model_validator(mode="after")
    def _enough(self) -> Self:
        if not self.steps and (self.target is None or self.flask_ml is None):
            raise said(
                "steps holds no dilution; enter what was pipetted and made up, or to plan only a target and "
                "flask_ml."
            )
        if self.limit is not None and self.target is None:
            raise said("limit stands without target; enter what the standard was to be worth.")
        if self.life_days is not None and not (
            self.life_days.digit == 1 and 1 <= self.life_days.value <= 3650
        ):
            raise said(f"life_days is {self.life_days.text}; type a whole number of days from 1 to 3650.")
        for name in ("target", "limit", "flask_ml"):
            typed = getattr(self, name)
            if typed is not None and typed.value <= 0:
                raise said(f"{name} is {typed.text}; it is more than 0.")
        return self


def compute(sheet: PreparationSheet, given: Given, slices: Slices) -> Result:  # noqa: ARG001
    """Return the result of one preparation.

    Raises CorrectTheEntry or ChooseAnother, with the ways on, for what cannot be taken: stock or water
    expired or without a turbidity, volumes that do not fit, a target at or below the water or above the
    stock, an id that is the stock's or the water's own.
    """
    _refuse(sheet, given)
    made = prepared(sheet, given) if sheet.steps else None
    unit = given.analyzer.unit
    checks = tuple(_checks(sheet, given, made))
    return Result(
        checks=checks,
        values=tuple(_values(sheet, made)),
        workings=tuple(_workings(sheet, given, made, checks, unit)),
        notes=tuple(notes(sheet, given, made, checks, unit)),
        facts={"prepared": made.value, "label": sheet.label} if made else {},
    )


def expects(sheet: PreparationSheet, given: Given) -> tuple[str, ...]:  # noqa: ARG001
    """Return the keys of the checks that a sheet asks for."""
    return (KEY,)


def _refuse(sheet: PreparationSheet, given: Given) -> None:
    refuse_visit(sheet, given)
    refuse_other_analyzer(given)
    stock = standard(sheet.stock, "stock", given)
    insist_on_turbidity("stock", "The stock", stock)
    refuse_expired("stock", "The stock", stock, sheet.date, "take another stock that is in date.")
    refuse_water("water", "The dilution water", sheet.water, sheet.date, given)
    for number, step in enumerate(sheet.steps):
        refuse_volumes(f"steps.{number}", f"Step {number + 1}", step.pipetted_ml, step.to_ml)
    if sheet.label in (sheet.stock, sheet.water):
        raise CorrectTheEntry(
            f"The label is {sheet.label}, which is what it was made from; give the new standard an id of its "
            f"own.",
            found=sheet.label,
            where="label",
        )
    if sheet.target is not None:
        water = given.standards[sheet.water].value
        try:
            stock_volume(sheet.target.value, Decimal(1), stock.value, water)
        except CorrectTheEntry as problem:
            raise CorrectTheEntry(
                problem.message, found=problem.found, expected=problem.expected, where="target"
            ) from problem


# ---------------------------------------------------------------- judged and shown


def _checks(sheet: PreparationSheet, given: Given, made: Prepared | None) -> Iterator[Check]:
    label = f"Value of {sheet.label} minus target"
    if made is None:
        yield not_evaluated(KEY, "prepared", label, "nothing was diluted yet: steps is empty")
        return
    if sheet.target is None:
        reason = "no target was entered"
        yield not_evaluated(KEY, "prepared", label, reason, quantity=made.quantity, information=True)
        return
    tolerance = _limit(sheet, given)
    typed: dict[str, Any] = {"observed": made.value, "reference": sheet.target.text}
    difference = _difference(made, sheet.target.value)
    if tolerance is None:
        reason = "no limit of the preparer is given: nothing is judged"
        yield not_evaluated(KEY, "prepared", label, reason, quantity=difference, information=True, **typed)
        return
    yield judge(KEY, "prepared", label, difference, tolerance, **typed)


def _limit(sheet: PreparationSheet, given: Given) -> Tolerance | None:
    """The limit typed on the sheet, else that of the register."""
    if sheet.limit is None:
        return given.analyzer.tolerances.get("preparation")
    half = sheet.limit.value
    return Tolerance(
        unit=given.analyzer.unit,
        rule="simple",
        basis="local",
        source="limit of the preparer, as typed on the sheet",
        low=-half,
        high=half,
    )


def _difference(made: Prepared, target: Decimal) -> Quantity:
    q = made.quantity
    exact = Decimal(made.value) - target
    return Quantity(f"{exact:f}", q.unit, float(exact), q.u, q.dof, q.k, q.expanded, q.budget)


def _values(sheet: PreparationSheet, made: Prepared | None) -> Iterator[Value]:
    if made is not None:
        yield Value(
            "prepared.value",
            "prepared",
            f"Value of {sheet.label}",
            made.quantity,
            "dilution, volumes as typed",
        )


def _workings(
    sheet: PreparationSheet, given: Given, made: Prepared | None, checks: tuple[Check, ...], unit: str
) -> Iterator[Working]:
    stock, water = given.standards[sheet.stock], given.standards[sheet.water]
    assert stock.value is not None
    assert water.value is not None
    if sheet.target is not None and len(sheet.steps) < 2:
        flask = sheet.steps[0].to_ml if sheet.steps else sheet.flask_ml
        assert flask is not None
        needed = stock_volume(sheet.target.value, flask.value, stock.value, water.value)
        yield Working(
            f"Stock to pipette for {sheet.target.text} {unit} in {flask.text} mL",
            "V0 = V (C − Cw) / (C0 − Cw)",
            f"{flask.text} × ({sheet.target.text} − {water.value}) / ({stock.value} − {water.value})",
            f"{plain(needed)} mL",
            "the water's own turbidity counts",
        )
    if made is None:
        return
    yield from steps_workings(stock.value, water.value, sheet.steps, stock.id, made.value, unit)
    yield expanded_working(f"Expanded uncertainty of {sheet.label}", made.quantity)
    if sheet.target is not None and checks[0].quantity is not None:
        yield Working(
            f"Value of {sheet.label} minus target",
            "C − target",
            f"{made.value} − {sheet.target.text}",
            f"{checks[0].quantity.text} {unit}",
            "",
        )


PROCEDURE = Procedure(
    name="standard_preparation",
    title="Preparation of a turbidity standard",
    revision=1,
    Sheet=PreparationSheet,
    compute=compute,
    expects=expects,
    refuse=_refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    tolerances=("preparation",),
    settings={**DILUTION, "smallest_ml": Setting("0.001", "100")},
)
