"""Published values of water and electrodes: how each is computed here; published.csv has what is printed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, Final

from wqverify import tables
from wqverify.calculations import chlorine, conductivity, dilution, oxygen, ph, temperature, turbidity
from wqverify.calculations.uncertainty import propagate
from wqverify.calculations.water_density import water_density
from wqverify.terms import Input

Computed = Callable[[], Mapping[str, Any]]


def nernst() -> dict[str, Any]:
    return {f"k at {t} C": ph.nernst_slope(float(t)) for t in (0, 25, 50)}


def reference_buffers() -> dict[str, Any]:
    table = tables.load("ph_buffers_reference", "IUPAC 2002")
    columns = ("phthalate", "phosphate 1:1", "borax", "carbonate")
    return {f"{column} at 25 C": table.at(column, Decimal(25)) for column in columns}


def phosphate() -> dict[str, Any]:
    table = tables.load("ph_buffers_reference", "IUPAC 2002")
    return {f"phosphate 1:1 at {t} C": table.at("phosphate 1:1", Decimal(t)) for t in (10, 35)}


def ready_made_buffers() -> dict[str, Any]:
    table = tables.load("ph_buffers_ready_made", "trade 1")
    return {f"{column} at 10 C": table.at(column, Decimal(10)) for column in ("7.00", "10.01")}


def _two_buffers(E1: float, B1: float, E2: float, B2: float) -> dict[str, Any]:
    S, E7 = ph.two_buffer_line(E1, B1, E2, B2)
    return {"slope": S, "efficiency": ph.efficiency_percent(S, 25.0), "offset": E7}


def reference_pair() -> dict[str, Any]:
    return _two_buffers(176.2, 4.005, -1.8, 7.00)


def ready_made_pair() -> dict[str, Any]:
    return _two_buffers(171.0, 4.01, -171.5, 10.01)


def three_buffers() -> dict[str, Any]:
    S, E7, off = ph.least_squares_line([174.9, 3.4, -174.0], [4.01, 7.00, 10.01])
    line = {"slope": S, "efficiency": ph.efficiency_percent(S, 25.0), "offset": E7}
    return line | {f"residual {b}": r for b, r in zip(("4.01", "7.00", "10.01"), off, strict=True)}


def compensated() -> dict[str, Any]:
    S, E7 = ph.two_buffer_line(177.0, 4.005, -120.5, 9.180)
    return {"pH": ph.compensated_ph(-10.0, 12.0, ph.efficiency_percent(S, 25.0) / 100, E7)}


def bracketed() -> dict[str, Any]:
    inputs = {
        "E1": Input(172.4, 0.2),
        "B1": Input(4.005, 0.005),
        "E2": Input(-128.8, 0.2),
        "B2": Input(9.180, 0.005),
        "Ex": Input(-25.0, 0.4),
    }
    found = propagate(lambda x: {"pH": ph.bracketing_ph(*x.values())}, inputs, {"pH": "pH"})["pH"]
    return {"pH": found.value, "u": found.u}


def cable_leak() -> dict[str, Any]:
    S = ph.slope_behind_leak(ph.nernst_slope(25.0), 200.0, 2000.0)
    return {"slope": S, "efficiency": 100 * S / ph.nernst_slope(25.0)}


def stock_to_pipette() -> dict[str, Any]:
    volume = dilution.stock_volume
    return {
        "4000 to 20": volume(Decimal(20), Decimal(100), Decimal(4000)),
        "400 to 40": volume(Decimal(40), Decimal(100), Decimal(400)),
    }


def reporting() -> dict[str, Any]:
    bands = tables.load("turbidity_reporting", "EPA 180.1 rev 2.0").nodes("increment")
    return {value: turbidity.reported(Decimal(value), bands) for value in ("0.27", "4.44", "23.6", "78")}


def potassium_chloride() -> dict[str, Any]:
    table = tables.load("conductivity_kcl", "IUPAC 2001")
    return {"KCl 0.01 m at 20 C": table.at("0.01 m", Decimal(20))}


def compensations() -> dict[str, Any]:
    factors = tables.load("conductivity_f25", "ISO 7888:1985").nodes("f25")
    return {
        "300 at 15 C by ISO 7888": conductivity.by_factor(300.0, 15.0, factors),
        "300 at 15 C linear": conductivity.linear(300.0, 15.0, 0.02),
    }


def oxygen_by_temperature() -> dict[str, Any]:
    return {f"at {t} C": oxygen.saturation(float(t)) for t in (0, 10, 20, 25, 30)}


def oxygen_by_pressure() -> dict[str, Any]:
    return {"at 0.95 atm": oxygen.saturation(20.0, 0.95 * 101.325)}


def density() -> dict[str, Any]:
    return {f"at {t} C": water_density(float(t)) for t in (5, 20)}


def platinum() -> dict[str, Any]:
    ohm = {f"ohm at {t} C": temperature.pt_resistance(float(t)) for t in (-10, 20, 100)}
    return ohm | {"C at 108.5 ohm": temperature.pt_temperature(108.5)}


def platinum_classes() -> dict[str, Any]:
    return {f"class {name} at 50 C": temperature.class_tolerance(Decimal(50), name) for name in "AB"}


def early_zero() -> dict[str, Any]:
    currents = {"low": 2.00, "high": 5.00}
    true = {f"true {word}": chlorine.residual(current, 0.05, 2.35) for word, current in currents.items()}
    shown = {f"shown {word}": chlorine.residual(current, 0.20, 2.35) for word, current in currents.items()}
    return true | shown | {"constant": chlorine.error_of_early_zero(0.20, 0.05, 2.35)}


def hypochlorous() -> dict[str, Any]:
    return {f"share at {p}": chlorine.hypochlorous_share(float(p), 20.0) for p in ("7.2", "8.0")}


WATER: Final[Mapping[str, Computed]] = {
    "A01": nernst,
    "A02": reference_buffers,
    "A03": phosphate,
    "A04": ready_made_buffers,
    "A05": reference_pair,
    "A06": ready_made_pair,
    "A07": three_buffers,
    "A08": compensated,
    "A09": stock_to_pipette,
    "A10": reporting,
    "A14": potassium_chloride,
    "A15": compensations,
    "A16": oxygen_by_temperature,
    "A17": oxygen_by_pressure,
    "A18": density,
    "A19": platinum,
    "A20": platinum_classes,
    "A38": bracketed,
    "W25": early_zero,
    "W27": cable_leak,
    "W28": hypochlorous,
}
