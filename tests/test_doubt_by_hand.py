"""The hand calculations of a doubt, done again with a pocket calculator from nothing but what is printed."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

import pytest
from doubt_example import check, failed, good, month, run, sheet

from wqverify.terms import Result, Working

WRONG = (
    check("S-05", "0.581", "0.074", expanded="0.016"),
    check("S-05", "0.511", "0.004", "after_cleaning", allowed="0.05"),
)
AT_TWO = (check("B4", "0.400", "0.040", expanded="0.010"), check("B9", "0.090", "0.031", expanded="0.010"))
RIGHT_AT_TWO = (check("B4", "0.365", "0.005"), check("B9", "0.057", "-0.002"))


def pocket(text: str) -> Fraction:
    """Key what is printed into a calculator: numbers, units left out."""
    plain = re.sub(r"[A-Za-z/]*NTU\b", "", text).replace("×", "*").replace("−", "-")
    plain = re.sub(r"\bs\b", "", plain)
    assert re.fullmatch(r"[0-9.+\-*/() ]+", plain), text
    return Fraction(eval(re.sub(r"([0-9.]+)", r"Fraction('\1')", plain), {"Fraction": Fraction}))


def followed(one: Working) -> bool:
    """Whether the printed answer is what the printed figures give, to its last place."""
    put_in = one.put_in.rpartition(" = ")[2]
    shown = re.match(r"\(?([−0-9.]+)", one.answer)
    assert shown is not None
    text = shown[1].replace("−", "-")
    places = len(text.partition(".")[2])
    return abs(pocket(put_in) - Fraction(text)) <= Fraction(51, 100) / 10**places


def of_value(result: Result) -> list[Working]:
    """The lines that lead to one corrected value."""
    lines = [one for one in result.workings if "%" not in one.answer and "came at once" not in one.label]
    return [one for one in lines if "worst case" not in one.put_in and "step" not in one.formula]


def doubt(time: str, level: str, **more: Any) -> Result:
    two = level == "line between points"
    model = {"time": time, "level": level, "why": "to try"}
    model |= {"step_at": "2026-03-12 09:10"} if time == "step" else {}
    used = [{"what": "limit", "limit": "0.30", "direction": "above"}]
    wrong, right = (failed(*AT_TWO), good(*RIGHT_AT_TWO)) if two else (
        failed(*WRONG), good(check("S-05", "0.5127", "0.0057"))
    )  # fmt: skip
    values = {"2026-03-20 04:00": "0.317"}
    return run(sheet(model=model, used=used, **more), wrong, right, slice_=month(values))


@pytest.mark.parametrize("level", ["offset", "gain", "line between points"])
@pytest.mark.parametrize("time", ["linear", "worst case", "step"])
def test_every_line_gives_its_answer_and_the_last_one_the_value_listed(time: str, level: str) -> None:
    result = doubt(time, level)
    lines = of_value(result)
    wrong = [(one.label, one.put_in, one.answer) for one in lines if not followed(one)]
    assert not wrong
    (last,) = [one for one in lines if one.label.endswith("corrected")]
    (value,) = [one for one in result.values if one.stage == "decides_otherwise"]
    assert last.answer == f"{value.quantity.text} NTU"
    (sure,) = [one for one in lines if one.label == "U of this value"]
    assert sure.answer.endswith(f"rounded up {value.quantity.expanded} NTU")


def test_a_gain_names_what_is_divided_by_what_at_each_check() -> None:
    lines = {one.label: one.put_in for one in doubt("linear", "gain").workings}
    assert lines["Fouling at the failed check, where 0.317 NTU is shown"] == (
        "0.070 NTU × 0.317 NTU / 0.581 NTU"
    )
    (then,) = [text for label, text in lines.items() if label.startswith("Drift at the last good check")]
    (now,) = [text for label, text in lines.items() if label.startswith("Drift at the failed check")]
    assert then.startswith("0.0057 NTU × 0.29")
    assert then.endswith("/ 0.5127 NTU")
    assert now.startswith("0.004 NTU × 0.29")
    assert now.endswith("/ 0.511 NTU")
    (part,) = [text for label, text in lines.items() if label.startswith("Part of the error")]
    assert "= 1623600 s / 2588400 s" in part
    assert "2026-03-01 08:00 -06:00" in part  # the clocks were changed in between


def test_outside_the_points_a_line_is_constant_and_says_so() -> None:
    model = {"time": "worst case", "level": "line between points", "why": "to try"}
    result = run(sheet(model=model), failed(*AT_TWO), good(*RIGHT_AT_TWO), slice_=month({}, usual="0.080"))
    (line,) = [one for one in result.workings if one.formula == "constant outside the points"]
    assert (line.put_in, line.answer) == ("found at 0.090 NTU", "0.031000000 NTU")
