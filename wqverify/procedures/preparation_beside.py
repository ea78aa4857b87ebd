"""What stands beside the questions of a preparation: the volume to pipette, what the steps so far make."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from wqverify.calculations.dilution import stock_volume
from wqverify.procedures import beside as b
from wqverify.procedures.preparation_budget import prepared
from wqverify.procedures.rules import standard
from wqverify.procedures.turbidity_beside import diluted_so_far, steps_typed
from wqverify.procedures.turbidity_parts import Step
from wqverify.terms import Beside, Given, Raw, Reading

FLASK_ML = Reading.parse("1000")  # planned with where no flask is typed


@b.quiet
def dilution(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the volumes: how much stock one step takes to the target, and what the steps so far make."""
    stock = standard(b.at(raw, "stock"), "stock", given)
    so_far = diluted_so_far(raw, "steps", stock, b.at(raw, "water"), given)
    asked_for = _to_pipette(raw, path, given)
    return Beside(b.told(so_far.lines, asked_for), so_far.reference)


def _to_pipette(raw: Raw, path: str, given: Given) -> str:
    """The volume of stock for the target in one step; nothing where one is beyond stock or water."""
    target = b.number(raw, "target")
    stock, water = (given.standards[b.at(raw, name)].value for name in ("stock", "water"))
    if target is None or stock is None or water is None or path.split(".")[1:2] != ["0"]:
        return ""
    flask = b.number(raw, "steps.0.to_ml") or b.number(raw, "flask_ml") or FLASK_ML
    volume: Decimal = stock_volume(target.value, flask.value, stock, water)
    return (
        f"{target.text} {given.analyzer.unit} in one step: {b.rounded(volume)} mL made up to {flask.text} mL"
    )


@b.quiet
def label(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one label, one path
    """Beside the label: the value it gets, with its uncertainty."""
    made = prepared(_Made(raw), given).quantity
    known = f"the standard is worth {made.text} {made.unit}, U {made.expanded} {made.unit}"
    return Beside(b.told(known, "its id is new: not that of stock or water"), made.decimal)


class _Made:
    """As much of a sheet as its budget looks at: the label is not typed yet."""

    def __init__(self, raw: Raw) -> None:
        self.stock, self.water = str(raw["stock"]), str(raw["water"])
        self.steps: tuple[Step, ...] = tuple(self._whole(raw))
        self.label = str(raw.get("label") or "the new standard")
        self.apart_c = b.number(raw, "apart_c")

    @staticmethod
    def _whole(raw: Raw) -> Any:
        for number, step in enumerate(steps_typed(raw, "steps")):
            typed = raw["steps"][number]
            within = {name: b.number(typed, name) for name in ("pipette_within_ml", "flask_within_ml")}
            yield step.model_copy(update={"pipette": typed.get("pipette") or "class A", **within})


BESIDE = {"dilution": dilution, "label": label}
