"""pH calibration of an online analyzer in buffers."""

from __future__ import annotations

from wqverify.procedures.ph_sheet import PhSheet
from wqverify.terms import Given, Procedure, Result, Slices


def compute(sheet: PhSheet, given: Given, slices: Slices) -> Result:
    """Return the result of one visit."""
    return Result(())


def expects(sheet: PhSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that the sheet declares."""
    return ()


PROCEDURE = Procedure(
    name="ph_calibration",
    title="pH calibration in buffers",
    revision=1,
    Sheet=PhSheet,
    compute=compute,
    expects=expects,
)
