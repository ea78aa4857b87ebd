"""Turbidity by calculation: dilutions, error and change, gain and zero, linearity, reporting increments.

Outside values: A09 and A10 of the project's list of external facts (dilution rule of ISO 7027 and EPA Method
180.1; its reporting increments), the worked values V11 to V14 of its measurement models (computed there with
GTC 1.5.1 and by central differences), and the load cell of NIST/SEMATECH for the lack of fit.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from math import sqrt
from typing import Any

import numpy as np
import pytest
from gtc import same_as_central_difference, same_as_gtc
from hypothesis import given
from hypothesis import strategies as st
from printed import agree
from scipy.special import ndtri
from scipy.stats import qmc

from wqverify.calculations import dilution, turbidity
from wqverify.calculations.linearity import lack_of_fit, why_no_lack_of_fit
from wqverify.calculations.uncertainty import correlation, propagate
from wqverify.errors import CorrectTheEntry
from wqverify.terms import Input

R3, R6 = sqrt(3), sqrt(6)

# ---------------------------------------------------------------- dilution

FLASK_1000 = Input(1000.0, 0.3 / R6, "triangular")
BIG: Mapping[str, Input] = {
    "stock": Input(4000.0, 20.0),
    "pipette": Input(5.0, 0.01 / R6, "triangular"),
    "pipetting": Input(0.0, 0.002, "t", dof=9),
    "flask": FLASK_1000,
    "mixing": Input(0.0, 0.01 / R3, "rectangular"),
    "temperature": Input(0.0, 0.0005, "rectangular"),
    "water": Input(0.02, 0.01 / R3, "rectangular"),
}
SMALL: Mapping[str, Input] = {
    **BIG,
    "pipette": Input(0.5, 0.005 / R6, "triangular"),
    "pipetting": Input(0.0, 0.006, "t", dof=9),
    "flask": Input(100.0, 0.08 / R6, "triangular"),
}


def one_step(x: Mapping[str, Any]) -> dict[str, Any]:
    stock = x["stock"] * (1 + x["pipetting"]) * (1 + x["temperature"])
    return {"C": dilution.diluted(stock, x["pipette"], x["flask"], x["water"]) * (1 + x["mixing"])}


def test_a09_volume_of_stock() -> None:
    """4000 NTU to 100 mL of 20 NTU; 400 NTU to 100 mL of 40 NTU; water of nothing, as the rule is printed."""
    agree("A09", "4000 to 20", dilution.stock_volume(20.0, 100.0, 4000.0))
    agree("A09", "400 to 40", dilution.stock_volume(40.0, 100.0, 400.0))


@pytest.mark.parametrize(("case", "inputs"), [("5 mL to 1000 mL", BIG), ("0.5 mL to 100 mL", SMALL)])
def test_v11_a_dilution_and_its_uncertainty(case: str, inputs: Mapping[str, Input]) -> None:
    found = same_as_gtc(one_step, inputs)
    same_as_central_difference(one_step, inputs, found)
    agree("V11", f"C {case}", found["C"].value)
    assert found["C"].u is not None
    agree("V11", f"u {case}", found["C"].u)
    if found["C"].dof is not None and case.startswith("0.5"):
        agree("V11", f"dof {case}", found["C"].dof)


# The low point: 20.02 NTU diluted 5 to 1000 mL once more, with the same water and the same stock; every step
# has its own pipetting, settling acts on what is read.
LOW: Mapping[str, Input] = {
    **{name: kind for name, kind in BIG.items() if name != "temperature"},
    "pipette 2": Input(5.0, 0.01 / R6, "triangular"),
    "pipetting 2": Input(0.0, 0.002, "t", dof=9),
    "flask 2": FLASK_1000,
    "cell": Input(0.0, 0.01 / R3, "rectangular"),
    "reading": Input(0.131, 0.002, "t", dof=9),
}


def low_point(x: Mapping[str, Any]) -> dict[str, Any]:
    between = dilution.diluted(x["stock"] * (1 + x["pipetting"]), x["pipette"], x["flask"], x["water"])
    low = dilution.diluted(between * (1 + x["pipetting 2"]), x["pipette 2"], x["flask 2"], x["water"])
    C = low * (1 + x["mixing"]) + x["cell"]
    return {"C": C, "e": turbidity.error(x["reading"], C)}


def test_v12_the_low_point_is_made_by_its_water() -> None:
    """0.12 NTU and not 0.1: four fifths of the volumes make 0.1, the water the rest, and its u nearly all."""
    found = same_as_gtc(low_point, LOW)
    same_as_central_difference(low_point, LOW, found)
    C, e = found["C"], found["e"]
    agree("V12", "C", C.value)
    agree("V12", "e", e.value)
    assert C.u is not None
    assert e.u is not None
    assert e.k is not None
    agree("V12", "u(C)", C.u)
    agree("V12", "u(e)", e.u)
    agree("V12", "U(e)", e.k * e.u)
    water = next(line.contribution for line in C.budget if line.cause == "water")
    assert water == pytest.approx(0.00577, abs=1e-5)
    glass = [line.contribution for line in C.budget if line.cause not in ("water", "cell", "mixing")]
    assert sqrt(sum(part**2 for part in glass)) == pytest.approx(0.0006, abs=5e-5)


@pytest.mark.parametrize(
    ("target", "answer"),
    [("0.03", "0.250001"), ("0.02", "water"), ("0.01", "water"), ("4000", "100"), ("4001", "stock")],
)
def test_a_target_between_water_and_stock(target: str, answer: str) -> None:
    if answer == "water":
        with pytest.raises(CorrectTheEntry) as caught:
            dilution.stock_volume(*map(Decimal, (target, "100", "4000", "0.02")))
        assert caught.value.message == (
            f"A standard of {target} NTU cannot be made with water of 0.02 NTU: the target lies at or below "
            f"the water. Choose a higher target, or cleaner water."
        )
    elif answer == "stock":
        with pytest.raises(CorrectTheEntry) as caught:
            dilution.stock_volume(*map(Decimal, (target, "100", "4000", "0.02")))
        assert caught.value.message == (
            "A standard of 4001 NTU cannot be diluted from a stock of 4000 NTU: the stock is weaker. Choose "
            "a lower target, or another stock."
        )
    else:
        volume = dilution.stock_volume(
            *map(Decimal, (target, "100000" if target == "0.03" else "100", "4000", "0.02"))
        )
        assert volume == pytest.approx(Decimal(answer), abs=Decimal("0.00001"))


def test_what_does_not_fit_into_the_flask_is_refused() -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        dilution.diluted(4000.0, 1000.0, 5.0, 0.02)
    assert caught.value.message == (
        "1000.0 mL cannot be made up to 5.0 mL; the flask holds more than the pipette."
    )
    with pytest.raises(CorrectTheEntry):
        dilution.diluted(4000.0, 0.0, 5.0, 0.02)
    assert dilution.diluted(4000.0, 5.0, 5.0, 0.02) == 4000.0


def test_two_steps_make_the_target_with_volumes_that_can_be_pipetted() -> None:
    target, flask, stock, water, smallest = map(Decimal, ("20", "100", "4000", "0.02", "1"))
    steps = dilution.two_steps(target, flask, stock, water, smallest)
    assert steps is not None
    first, between, second = steps
    assert min(first, second) >= smallest
    assert between == dilution.diluted(stock, first, flask, water)
    assert dilution.diluted(between, second, flask, water) == pytest.approx(target)


@pytest.mark.parametrize(("smallest", "there"), [("5", True), ("5.1", False)])
def test_two_steps_exist_as_long_as_both_volumes_are_large_enough(smallest: str, there: bool) -> None:
    steps = dilution.two_steps(*map(Decimal, ("20", "100", "4000", "0", smallest)))
    assert (steps is not None) == there


# ---------------------------------------------------------------- gain, zero, secondary

ZEROED: Mapping[str, Input] = {
    "C": Input(20.02, 0.174),
    "R": Input(20.6, 0.053),
    "Z": Input(0.035, 0.003, "t", dof=9),
    "Cw": Input(0.02, 0.01 / R3, "rectangular"),
}


def with_zero(x: Mapping[str, Any]) -> dict[str, Any]:
    K = turbidity.gain(x["C"], x["Cw"], x["R"], x["Z"])
    return {
        "K": K,
        "N": turbidity.corrected(0.115, K, x["Z"], x["Cw"]),
        "N5": turbidity.corrected(5.0, K, x["Z"], x["Cw"]),
    }


def without_zero(x: Mapping[str, Any]) -> dict[str, Any]:
    K = turbidity.gain_without_zero(x["C"], x["R"])
    return {"K": K, "N": turbidity.corrected_without_zero(0.115, K, x["stray"])}


def test_v13_gain_with_zero_water() -> None:
    found = same_as_gtc(with_zero, ZEROED)
    same_as_central_difference(with_zero, ZEROED, found)
    assert found["K"].u is not None
    assert found["N"].u is not None
    agree("V13", "K", found["K"].value)
    agree("V13", "u(K)", found["K"].u)
    agree("V13", "N", found["N"].value)
    agree("V13", "u(N)", found["N"].u)
    assert found["N5"].u == pytest.approx(0.044, abs=0.0005)
    assert correlation(found["K"], found["N5"]) == pytest.approx(0.99, abs=0.005)
    assert correlation(found["K"], found["N"]) == pytest.approx(0.07, abs=0.005)


def test_v13_without_zero_water_the_stray_light_is_unknown() -> None:
    inputs = {name: kind for name, kind in ZEROED.items() if name in "CR"}
    inputs["stray"] = Input(0.0, 0.03 / R3, "rectangular")
    found = same_as_gtc(without_zero, inputs)
    same_as_central_difference(without_zero, inputs, found)
    assert found["N"].u is not None
    agree("V13", "N without zero", found["N"].value)
    agree("V13", "u(N) without zero", found["N"].u)


SECONDARY: Mapping[str, Input] = {
    "R": Input(0.545, 0.0003, "rectangular"),
    "V": Input(0.520, 0.0003, "rectangular"),
    "place": Input(0.0, 0.01 / R3, "t", dof=20),
    "place then": Input(0.0, 0.01 / R3, "t", dof=20),
    "drift": Input(0.0, 0.02 / R3, "rectangular"),
    "temperature": Input(0.0, 0.005 / R3, "rectangular"),
    "primary": Input(0.0, 0.0087),
}


def secondary(x: Mapping[str, Any]) -> dict[str, Any]:
    c = turbidity.change_since_assigned(
        x["R"], x["V"], x["place"], x["place then"], x["drift"] + x["temperature"]
    )
    return {"c": c, "against the primary": c - x["V"] * x["primary"]}


def test_v14_change_of_a_secondary_standard_leaves_the_primary_out() -> None:
    found = same_as_gtc(secondary, SECONDARY)
    same_as_central_difference(secondary, SECONDARY, found)
    c, primary = found["c"], found["against the primary"]
    assert c.u is not None
    assert primary.u is not None
    agree("V14", "c", c.value)
    agree("V14", "u(c)", c.u)
    # Welch-Satterthwaite by hand: 0.007576^4/((0.0031466^4 + 0.0030022^4)/20)
    assert c.dof == 367
    agree("V14", "u against formazin", primary.u)


@pytest.mark.parametrize(
    ("model", "inputs"),
    [(one_step, BIG), (one_step, SMALL), (low_point, LOW), (with_zero, ZEROED), (secondary, SECONDARY)],
)
def test_first_order_is_enough_for_quotients_of_this_size(model: Any, inputs: Mapping[str, Input]) -> None:
    """By a Sobol sequence of 2^13 points through the model itself, without any derivative."""
    points = qmc.Sobol(len(inputs), scramble=False).random_base2(13) + 0.5**14  # off the edge at 0
    drawn = {}
    for (cause, size), q in zip(inputs.items(), points.T, strict=True):
        drawn[cause] = size.value + size.u * _quantile(size.distribution, q)
    simulated = model(drawn)
    for name, found in propagate(model, inputs, dict.fromkeys(simulated, "NTU")).items():
        assert np.std(simulated[name]) == pytest.approx(found.u, rel=5e-3), name
        assert np.mean(simulated[name]) == pytest.approx(found.value, abs=0.05 * (found.u or 0)), name


def _quantile(distribution: str, q: Any) -> Any:
    """Values of unit standard deviation; those of a sample are drawn as normal."""
    if distribution == "rectangular":
        return (2 * q - 1) * R3
    if distribution == "triangular":
        return np.where(q < 0.5, np.sqrt(2 * q) - 1, 1 - np.sqrt(2 * (1 - q))) * R6
    return ndtri(q)


@given(
    st.decimals("0.1", "4000", places=3),
    st.decimals("10", "2000", places=1),
    st.decimals("0", "0.09", places=3),
)
def test_what_is_pipetted_for_a_target_makes_it(target: Decimal, flask: Decimal, water: Decimal) -> None:
    volume = dilution.stock_volume(target, flask, Decimal(4000), water)
    assert abs(dilution.diluted(Decimal(4000), volume, flask, water) - target) < Decimal("1e-20")


@given(st.decimals("0", "4000", places=3))
def test_a_report_is_within_half_an_increment(shown: Decimal) -> None:
    report = Decimal(turbidity.reported(shown, BANDS))
    increment = turbidity.band(shown, BANDS)[1]
    assert abs(report - shown) <= increment / 2
    assert report % increment == 0


def test_what_gives_no_ratio_is_refused() -> None:
    for call, sentence in (
        (lambda: turbidity.gain(20.0, 0.02, 1.0, 1.0), "two equal readings give no gain"),
        (lambda: turbidity.recovery_percent(20.0, 0.0), "A recovery needs a standard above 0 NTU"),
        (lambda: turbidity.gain_without_zero(20.0, 0.0), "A gain needs a reading above 0 NTU"),
        (lambda: turbidity.error_between(1.0, 2.0, 0.1, 2.0, 0.2), "they give no line between them"),
    ):
        with pytest.raises(CorrectTheEntry, match=sentence):
            call()


# ---------------------------------------------------------------- lack of fit

# NIST StRD Pontius: deflection of a load cell at 150 000 to 3 000 000 units of load, the series read twice.
FIRST = """.11019 .21956 .32949 .43899 .54803 .65694 .76562 .87487 .98292 1.09146 1.20001 1.30822 1.41599
1.52399 1.63194 1.73947 1.84646 1.95392 2.06128 2.16844"""
SECOND = """.11052 .22018 .32939 .43886 .54798 .65739 .76596 .87474 .98300 1.09150 1.20004 1.30818 1.41613
1.52408 1.63159 1.73965 1.84696 1.95445 2.06177 2.16829"""
LOAD = [150000.0 * n for n in range(1, 21)]
DEFLECTION = [[float(a), float(b)] for a, b in zip(FIRST.split(), SECOND.split(), strict=True)]


def test_lack_of_fit_of_the_nist_load_cell() -> None:
    """NIST/SEMATECH e-Handbook, 4.6.1.5: F 214.7464 against 2.15, the line is rejected. Its program worked in
    single precision: B0 0.614969E-02, sd 0.0021712694 there, so six figures are what it can tell."""
    found = lack_of_fit(LOAD, DEFLECTION)
    assert pytest.approx(214.7464, rel=5e-6) == found.F
    assert found.critical == pytest.approx(2.15, abs=0.005)
    assert (found.dof_fit, found.dof_scatter) == (18, 20)
    assert not found.straight
    assert found.line.a == pytest.approx(0.614969e-2, rel=2e-6)
    assert found.line.b == pytest.approx(0.722103e-6, rel=1e-6)
    assert found.line.residual_sd == pytest.approx(0.0021712694, rel=2e-6)


def test_the_load_cell_data_are_those_certified() -> None:
    """NIST StRD Pontius, certified: quadratic with B0 0.673565789473684E-03, sd 0.205177424076185E-03."""
    import numpy as np

    load = np.array(LOAD * 2) / 3e6
    seen = np.array([a for a, _ in DEFLECTION] + [b for _, b in DEFLECTION])
    design = np.vander(load, 3, increasing=True)
    answer, *_ = np.linalg.lstsq(design, seen, rcond=None)
    off = seen - design @ answer
    assert answer[0] == pytest.approx(0.673565789473684e-3, rel=1e-9)
    assert sqrt(off @ off / 37) == pytest.approx(0.205177424076185e-3, rel=1e-9)


@pytest.mark.parametrize(
    ("groups", "why"),
    [
        ([], "no standard gives no line; three are needed"),
        ([[1.0, 1.1]], "one standard gives no line; three are needed"),
        ([[1.0, 1.1], [2.0, 2.1]], "two standards lie on every line; three are needed"),
        (
            [[1.0], [2.0], [3.0]],
            "no standard was read more than once, so there is no scatter to compare with",
        ),
        (
            [[1.0, 1.0], [2.0, 2.0], [3.0, 3.0]],
            "the repeated readings do not differ by a digit, so their scatter is not known",
        ),
        ([[1.0, 1.1], [2.0], [3.0]], ""),
    ],
)
def test_a_lack_of_fit_needs_three_standards_and_scatter(groups: list[list[float]], why: str) -> None:
    assert why_no_lack_of_fit(groups) == why
    if why:
        with pytest.raises(ValueError, match=why.split(",")[0]):
            lack_of_fit([float(n) for n in range(len(groups))], groups)
    else:
        assert lack_of_fit([1.0, 2.0, 3.0], groups).dof_scatter == 1


# ---------------------------------------------------------------- reporting increments

BANDS = [
    (Decimal(low), Decimal(step))
    for low, step in (
        ("0", "0.05"),
        ("1", "0.1"),
        ("10", "1"),
        ("40", "5"),
        ("100", "10"),
        ("400", "50"),
        ("1000", "100"),
    )
]


@pytest.mark.parametrize("shown", ["0.27", "4.44", "23.6", "78"])
def test_a10_reports_of_180_1(shown: str) -> None:
    agree("A10", shown, float(turbidity.reported(Decimal(shown), BANDS)))


@pytest.mark.parametrize(
    ("inside", "at", "outside"),
    [
        (("0.99", "1.00"), ("1.00", "1.00"), ("1.01", "1.0")),
        (("9.94", "9.9"), ("10.00", "10.0"), ("10.01", "10")),
        (("39.4", "39"), ("40", "40"), ("40.1", "40")),
        (("99.9", "100"), ("100", "100"), ("100.1", "100")),
        (("396", "400"), ("400", "400"), ("401", "400")),
        (("976", "1000"), ("1000", "1000"), ("1001", "1000")),
    ],
)
def test_every_edge_of_a_band(inside: tuple[str, str], at: tuple[str, str], outside: tuple[str, str]) -> None:
    """Just inside, exactly at and just outside; the method does not say where an edge belongs, so the finer
    band keeps it: 1.00 is reported 1.00, 1.01 as 1.0."""
    for shown, expected in (inside, at, outside):
        assert turbidity.reported(Decimal(shown), BANDS) == expected


@pytest.mark.parametrize(
    ("edge", "below", "above"),
    [
        ("1", "0.05", "0.1"),
        ("10", "0.1", "1"),
        ("40", "1", "5"),
        ("100", "5", "10"),
        ("400", "10", "50"),
        ("1000", "50", "100"),
    ],
)
def test_an_edge_belongs_to_the_band_below(edge: str, below: str, above: str) -> None:
    tiny = Decimal("0.000001")
    steps = [str(turbidity.band(Decimal(edge) + off, BANDS)[1]) for off in (-tiny, Decimal(0), tiny)]
    assert steps == [below, below, above]


def test_below_the_first_band() -> None:
    assert turbidity.reported(Decimal(0), BANDS) == "0.00"
    assert turbidity.reported(Decimal("0.000001"), BANDS) == "0.00"
    with pytest.raises(CorrectTheEntry) as caught:
        turbidity.reported(Decimal("-0.000001"), BANDS)
    assert caught.value.message == "-0.000001 NTU is below 0 NTU; no reporting increment is stated for it."


def test_a_half_goes_to_the_even_increment() -> None:
    assert [turbidity.reported(Decimal(x), BANDS) for x in ("0.225", "0.275", "10.5", "11.5")] == [
        "0.20",
        "0.30",
        "10",
        "12",
    ]
