"""Look-ups at the bench, without a plant folder: a number with its unit, validity and source.

A look-up is one entry of ``LOOK_UPS``: what it asks for, and a function that answers from the calculations
and tables. It judges nothing and keeps nothing. Adding one is adding one entry.
"""

from __future__ import annotations

from decimal import Context, Decimal

from wqverify import tables
from wqverify.calculations import chlorine, dilution, flow, oxygen, ph, sample_line, units
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.lists.look_up import Answer, Found, LookUp, Typed, Wanted
from wqverify.lists.look_ups_signals import SIGNALS
from wqverify.plant.messages import nearest

SIX = Context(prec=6)

# ---------------------------------------------------------------- answers


def _number(typed: Typed, name: str) -> float:
    return float(typed[name])


def _buffer(typed: Typed) -> Answer:
    """The pH of a buffer by every table that has it: authorities differ and are never mixed."""
    column, t = typed["NAME"], Decimal(typed["TEMPERATURE"])
    every = [tables.load(name, edition) for name, edition in tables.names() if name.startswith("ph_buffers")]
    known = list(dict.fromkeys(name for table in every for name in table.columns))
    if column not in known:
        raise ChooseAnother(
            f"No table here has a buffer {column!r}; {nearest(column, known, otherwise='')} "
            f"There is {', '.join(known)}.".replace("  ", " "),
            found=column,
            expected=", ".join(known),
            where="NAME",
        )
    found, refused = [], []
    for table in every:
        if column not in table.columns:
            continue
        try:
            value = table.at(column, t)
        except CorrectTheEntry as problem:
            refused.append(problem)
            continue
        sure = table.columns[column].expanded
        stated = f", U {sure} as printed" if sure is not None else ""
        what = f"{table.columns[column].label}, {table.name} ({table.edition})"
        found.append(Found(what, f"{value:f}", "pH", f"{table.source}{stated}; {table.verification}"))
    if not found:
        raise refused[0]
    says = ["The table on the bottle or its certificate wins; in one calibration use one table for all."]
    return Answer(tuple(found), tuple(says + [problem.message for problem in refused]))


def _slope(typed: Typed) -> Answer:
    t = _number(typed, "TEMPERATURE")
    found = [
        Found(
            f"slope of an ideal glass electrode at {typed['TEMPERATURE']} °C",
            f"{ph.nernst_slope(t):.3f}",
            "mV/pH",
        )
    ]
    if typed["MEASURED"]:
        share = ph.efficiency_percent(-abs(_number(typed, "MEASURED")), t)
        found.append(Found(f"{typed['MEASURED']} mV/pH of it", f"{share:.2f}", "%"))
    return Answer(
        tuple(found), ("The pH of a glass electrode falls by it for each pH: its sign is negative.",)
    )


def _dilution(typed: Typed) -> Answer:
    target, flask, stock, water = (Decimal(typed[n]) for n in ("TARGET", "FLASK", "STOCK", "WATER"))
    volume = dilution.stock_volume(target, flask, stock, water)
    says = [f"Make up to {typed['FLASK']} mL with the water of {typed['WATER']} NTU, which counts."]
    if stock in (400, 4000):
        says.append("Two stocks are called formazin: 400 and 4000 NTU. Look at the bottle.")
    says.append("Formazin is toxic: gloves and goggles, as its safety data sheet says.")
    return Answer((Found("stock to pipette", f"{volume:.4f}", "mL"),), tuple(says))


def _oxygen(typed: Typed) -> Answer:
    t, kpa, salinity = (_number(typed, name) for name in ("TEMPERATURE", "PRESSURE", "SALINITY"))
    full = oxygen.saturation(t, kpa, salinity)
    found = (
        Found("oxygen at saturation", f"{full:.3f}", "mg/L"),
        Found("of that at 101.325 kPa", f"{100 * oxygen.pressure_factor(t, kpa):.2f}", "%"),
    )
    return Answer(found, ("The pressure is that of the air there, not the one reduced to sea level.",))


def _lag(typed: Typed) -> Answer:
    bore, length, rate, cell = (_number(typed, name) for name in ("BORE", "LENGTH", "FLOW", "CELL"))
    line = sample_line.line_volume_ml(bore, length)
    found = [
        Found("volume of the line", f"{line:.1f}", "mL"),
        Found("passage through the line", f"{sample_line.passage_s(line, rate):.1f}", "s"),
    ]
    if cell:
        found += [
            Found(
                "mean age of the water in the cell", f"{sample_line.mean_age_s(line, cell, rate):.1f}", "s"
            ),
            Found("until 95 % of a step is shown", f"{sample_line.response_95_s(line, cell, rate):.1f}", "s"),
        ]
    return Answer(tuple(found), ("Damping and averaging of the analyzer come on top.",))


def _acid(typed: Typed) -> Answer:
    share = chlorine.hypochlorous_share(_number(typed, "PH"), _number(typed, "TEMPERATURE"))
    return Answer(
        (Found("of free chlorine that is hypochlorous acid", f"{100 * share:.2f}", "%"),),
        ("A cell without pH compensation sees this share only.",),
    )


def _six(size: Decimal) -> str:
    """A number to six figures, without trailing zeros or an exponent."""
    return f"{SIX.plus(size).normalize():f}"


def _flow(typed: Typed) -> Answer:
    own = typed["UNIT"]
    flow.to_litres_per_second(Decimal(typed["FLOW"]), own)  # refuses another unit
    others = (unit for unit in flow.FLOWS if unit != own)
    shown = ((unit, _six(units.convert(Decimal(typed["FLOW"]), own, unit))) for unit in others)
    return Answer(
        tuple(Found(f"{typed['FLOW']} {own} in {unit}", size, unit) for unit, size in shown),
        ("gpm and MGD are US gallons; an imperial gallon is a fifth larger (4.54609 L).",),
    )


def _root(typed: Typed) -> Answer:
    ma = _number(typed, "CURRENT")
    share = float(flow.share_of_span(ma))
    of = "of full scale"
    return Answer(
        (
            Found(f"{of} where the root is taken once", f"{flow.flow_of_current(ma):.4f}", "%"),
            Found(f"{of} without a root", f"{100 * share:.4f}", "%"),
            Found(f"{of} with a root too many", f"{100 * flow.root_of_share(share) ** 0.5:.4f}", "%"),
        ),
        ("The current is taken as that of a linear differential pressure.",),
    )


# ---------------------------------------------------------------- the list

_WATER = Wanted("TEMPERATURE", "temperature", "°C", "0", "50")

LOOK_UPS: tuple[LookUp, ...] = (
    LookUp(
        "buffer",
        "pH of a buffer at a temperature",
        (
            Wanted("NAME", 'as printed: 7.00, phthalate, "phosphate 1:1"', words=True),
            Wanted("TEMPERATURE", "of the buffer", "°C"),
        ),
        _buffer,
        "straight between the printed points",
        "only between the first and the last printed temperature",
        "each table beside its value",
    ),
    LookUp(
        "slope",
        "slope of an ideal electrode, and how much of it a measured one is",
        (_WATER, Wanted("MEASURED", "measured slope", "mV/pH", usual="")),
        _slope,
        "k = ln(10) R T / F, T = t + 273.15",
        "any temperature of water; asked for 0 to 50 °C",
        "Nernst equation, constants of the SI of 2019 (CODATA 2018)",
    ),
    LookUp(
        "dilution",
        "stock to pipette for a turbidity standard",
        (
            Wanted("TARGET", "value it is to have", "NTU", "0", above=True),
            Wanted("FLASK", "made up to", "mL", "0", above=True),
            Wanted("STOCK", "value of the stock", "NTU", "0", above=True, usual="4000"),
            Wanted("WATER", "value of the dilution water", "NTU", "0", usual="0.02"),
        ),
        _dilution,
        "V0 = V (C - Cw) / (C0 - Cw)",
        "a target above the water and up to the stock",
        "dilution rule of EPA Method 180.1 rev 2.0 and ISO 7027, the water kept",
    ),
    LookUp(
        "oxygen",
        "oxygen that water holds in balance with air",
        (
            Wanted("TEMPERATURE", "of the water", "°C", "0", "40"),
            Wanted("PRESSURE", "of the air there", "kPa", "50", "110", usual="101.325"),
            Wanted("SALINITY", "practical salinity, near g/kg", "", "0", "40", usual="0"),
        ),
        _oxygen,
        "ln C = a0 + a1/T + a2/T^2 + a3/T^3 + a4/T^4 - S (b0 + b1/T + b2/T^2)",
        "0 to 40 °C, 50 to 110 kPa, salinity 0 to 40",
        "Benson and Krause, 1980 and 1984, as in Standard Methods 4500-O and USGS memorandum 2011.03",
    ),
    LookUp(
        "lag",
        "how late an analyzer sees the water of its sample line",
        (
            Wanted("BORE", "inner diameter of the tube", "mm", "0", above=True),
            Wanted("LENGTH", "of the tube", "m", "0", above=True),
            Wanted("FLOW", "by cup and watch", "mL/min", "0", above=True),
            Wanted("CELL", "volume of the cell", "mL", "0", usual="0"),
        ),
        _lag,
        "t = 60 (V + ln(20) V cell) / Q until 95 %, V = pi d^2 L / 4",
        "plug flow in the line, a mixer in the cell",
        "volume of a cylinder and mean residence time, common mathematics",
    ),
    LookUp(
        "acid",
        "share of free chlorine that is hypochlorous acid",
        (Wanted("PH", "pH", "pH", "2", "12"), Wanted("TEMPERATURE", "of the water", "°C", "0", "45")),
        _acid,
        "a = 1 / (1 + 10^(pH - pK)), pK = 3000/T - 10.0686 + 0.0253 T",
        "0 to 45 °C",
        "Morris, J. Phys. Chem. 70 (1966) 3798 (from memory)",
    ),
    LookUp(
        "flow",
        "a flow in the other units",
        (Wanted("FLOW", "flow"), Wanted("UNIT", f"one of {', '.join(flow.FLOWS)}", words=True)),
        _flow,
        "US gallon 3.785411784 L, day 86400 s",
        "exact by definition; shown to six figures",
        "NIST SP 811 (2008), appendix B.8 (from memory)",
    ),
    LookUp(
        "root",
        "flow by a differential-pressure signal of 4-20 mA",
        (Wanted("CURRENT", "loop current", "mA", "0", "25"),),
        _root,
        "Q = 100 sqrt((I - 4) / 16) % of full scale",
        "from 4 mA: a negative signal has no root",
        "flow through a restriction goes with the root of its pressure, ISO 5167-1 (from memory)",
    ),
    *SIGNALS,
)


def look_up_named(name: str) -> LookUp:
    """Return a look-up; raises ChooseAnother with the nearest name."""
    known = {one.name: one for one in LOOK_UPS}
    if name not in known:
        raise ChooseAnother(
            f"There is no look-up {name[:40]!r}; {nearest(name, known)}",
            found=name,
            expected=", ".join(known),
        )
    return known[name]
