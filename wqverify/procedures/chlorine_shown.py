"""What is shown beside the checks of a chlorine check: values, hand calculations and charts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from wqverify.calculations import chlorine
from wqverify.procedures.chlorine_budget import SENSITIVITY, acid, sensitivity
from wqverify.procedures.chlorine_rules import STAGES, Stage
from wqverify.procedures.chlorine_sheet import Adjusted, Cell, CellCurrent, ChlorineSheet, Stored, Zero
from wqverify.procedures.grab_run import Run
from wqverify.procedures.grab_shown import run_charts, run_values, run_workings
from wqverify.procedures.workings import answer, expanded_working
from wqverify.terms import Chart, Check, Given, Line, Outcome, Quantity, Reading, Series, Value, Working

MORRIS = "Morris, J. Phys. Chem. 70 (1966) 3798 (from memory)"
FIVE_DAYS = "40 CFR 141.74(a)(2): with a grab at least every five days, or by a State protocol"
WEEKLY = "EPA Method 334.0 (2009): weekly, where the State has accepted the protocol"
LOCAL = "interval of the register, longer than 40 CFR 141.74(a)(2) and EPA Method 334.0 have it"


@dataclass(frozen=True, slots=True)
class Due:
    """When the next check is due, and by which rule."""

    days: int
    on: str
    source: str


def due(sheet: ChlorineSheet, checks: Sequence[Check], given: Given) -> Due | None:
    """Return when the next check is due: the register's interval, else five days.

    None where no error at the analyzer was evaluated: a visit without one is no check, and moves no date.
    """
    errors = {f"{name}.error" for name in STAGES}
    if all(check.outcome is Outcome.NOT_EVALUATED for check in checks if check.key in errors):
        return None
    days = given.analyzer.intervals_days.get("chlorine_check", 5)
    on = date.fromisoformat(sheet.date) + timedelta(days=days)
    return Due(days, on.isoformat(), FIVE_DAYS if days <= 5 else WEEKLY if days <= 7 else LOCAL)


# ---------------------------------------------------------------- cell


def zero_of(sheet: ChlorineSheet) -> Reading | None:
    """Return the zero current the cell has: entered with the current, else the last one read, else stored."""
    if isinstance(sheet.cell_current, CellCurrent) and sheet.cell_current.zero_ua is not None:
        return sheet.cell_current.zero_ua
    if isinstance(sheet.zero, Zero):
        return sheet.zero.currents_ua[-1]
    return sheet.stored.zero_ua if isinstance(sheet.stored, Stored) else None


def found_sensitivity(sheet: ChlorineSheet, found: Stage | None, given: Given) -> Quantity | None:
    """Return the sensitivity of the cell, None where current, zero or grabs are missing."""
    zero = zero_of(sheet)
    if not isinstance(sheet.cell_current, CellCurrent) or zero is None or found is None or found.reason:
        return None
    if not Decimal(found.reference) > 0:
        return None
    return sensitivity(sheet.cell_current.currents_ua, zero, found.pair.grabs, found.instrument, given)


def held_sensitivity(sheet: ChlorineSheet) -> Reading | None:
    """Return the sensitivity the transmitter worked with as found, uA per mg/L."""
    if isinstance(sheet.adjusted, Adjusted) and sheet.adjusted.sensitivity_from is not None:
        return sheet.adjusted.sensitivity_from
    return sheet.stored.sensitivity if isinstance(sheet.stored, Stored) else None


def held_zero(sheet: ChlorineSheet) -> Reading | None:
    """Return the zero the transmitter worked with as found, uA."""
    if isinstance(sheet.adjusted, Adjusted) and sheet.adjusted.zero_from is not None:
        return sheet.adjusted.zero_from
    return sheet.stored.zero_ua if isinstance(sheet.stored, Stored) else None


@dataclass(frozen=True, slots=True)
class ZeroError:
    """The constant error of a zero that was taken too early."""

    taken: Reading
    settled: Reading
    S: Reading
    mg_l: float


def zero_error(sheet: ChlorineSheet) -> ZeroError | None:
    """Return what the stored zero does to every value, None where it cannot be known."""
    taken, S = held_zero(sheet), held_sensitivity(sheet)
    if not isinstance(sheet.zero, Zero) or taken is None or S is None:
        return None
    settled = sheet.zero.currents_ua[-1]
    sizes = (float(size.value) for size in (taken, settled, S))
    return ZeroError(taken, settled, S, float(chlorine.error_of_early_zero(*sizes)))


def uncompensated(sheet: ChlorineSheet, given: Given) -> tuple[Reading, Reading] | None:
    """Return pH and temperature where the cell sees hypochlorous acid only and its share is known."""
    cell = sheet.cell if isinstance(sheet.cell, Cell) else Cell()
    compensated = given.analyzer.settings.get("ph_compensated", "0") == "1"
    if sheet.kind != "free" or compensated or cell.ph is None or cell.temperature_c is None:
        return None
    low, high = chlorine.ACID_C
    return (cell.ph, cell.temperature_c) if low <= cell.temperature_c.value <= high else None


# ---------------------------------------------------------------- values


def values(
    sheet: ChlorineSheet, stages: Sequence[Stage], runs: Sequence[Run], next_one: Due | None, given: Given
) -> Iterator[Value]:
    """Give the quantities that are shown and not judged."""
    unit = given.analyzer.unit
    water = uncompensated(sheet, given)
    if water is not None:
        seen = acid(*water, given)
        words = f"at pH {water[0].text} and {water[1].text} °C"
        label = f"Share of free chlorine that is hypochlorous acid, {words}"
        yield Value("cell.acid", "cell", label, seen["share"], MORRIS)
        label = "Change of what the cell sees when the pH rises by 0.1, of its value"
        yield Value("cell.per_tenth", "cell", label, seen["per tenth"], MORRIS)
    off = zero_error(sheet)
    if off is not None:
        text = f"{Decimal(repr(off.mg_l)).quantize(Decimal('0.0001')) + 0:f}"
        label = (
            f"Constant error of the zero {off.taken.text} uA it worked with, settled at {off.settled.text} uA"
        )
        yield Value(
            "zero.constant", "zero", label, Quantity(text, unit, off.mg_l), "e = (I0 settled − I0 held) / S"
        )
    S = found_sensitivity(sheet, next((s for s in stages if s.name == "as_found"), None), given)
    if S is not None:
        yield Value("cell.sensitivity", "cell", "Sensitivity of the cell", S, "S = (I − I0) / G")
    yield from run_values(runs, unit)
    if next_one is not None:
        label = f"Days until the next check is due, on {next_one.on}"
        days = Quantity(str(next_one.days), "d", next_one.days)
        yield Value("next.days", "next check", label, days, next_one.source)


# ---------------------------------------------------------------- hand calculations


def workings(
    sheet: ChlorineSheet, stages: Sequence[Stage], checks: Sequence[Check], runs: Sequence[Run], given: Given
) -> Iterator[Working]:
    """Give the calculations a person with a pocket calculator can follow, ending in the numbers shown."""
    unit = given.analyzer.unit
    shown = {check.key: check.quantity for check in checks if check.quantity is not None}
    for stage in stages:
        yield from _stage_workings(stage, shown, unit)
    water = uncompensated(sheet, given)
    if water is not None:
        share = acid(*water, given)["share"]
        yield Working(
            "Share of hypochlorous acid",
            "a = 100 / (1 + 10^(pH − pK)), pK = 3000 / T − 10.0686 + 0.0253 T, T = t + 273.15",
            f"pH {water[0].text}, t {water[1].text} °C",
            f"{share.text} %",
            MORRIS,
        )
    off = zero_error(sheet)
    if off is not None:
        yield Working(
            "Constant error of the zero it worked with",
            "e = (I0 settled − I0 held) / S",
            f"({off.settled.text} − {off.taken.text}) / {off.S.text}",
            f"{Decimal(repr(off.mg_l)).quantize(Decimal('0.0001')) + 0:f} {unit}",
            "the same at every value",
        )
    found = next((s for s in stages if s.name == "as_found"), None)
    S, zero = found_sensitivity(sheet, found, given), zero_of(sheet)
    if S is not None and zero is not None and found is not None:
        assert isinstance(sheet.cell_current, CellCurrent)
        several = [reading.text for reading in sheet.cell_current.currents_ua]
        current = several[0] if len(several) == 1 else f"({' + '.join(several)}) / {len(several)}"
        yield Working(
            "Sensitivity of the cell",
            "S = (I − I0) / G, G the mean of the grabs",
            f"({current} − {zero.text}) / {found.reference}",
            f"{S.text} {SENSITIVITY}",
            "cell current with the grabs, less the current without chlorine",
        )
    yield from run_workings(runs, unit)


def _stage_workings(stage: Stage, shown: dict[str, Quantity], unit: str) -> Iterator[Working]:
    title, grabs = STAGES[stage.name], stage.pair.grabs
    if len(grabs) > 1 and stage.reference:
        yield Working(
            f"{title}: mean of the grabs",
            "G = (A + B) / 2",
            f"({grabs[0].reading.text} + {grabs[1].reading.text}) / 2",
            f"{stage.reference} {unit}",
            "both by one instrument",
        )
    for key, typed, letter in (
        (f"{stage.name}.error", stage.pair.shown, "R"),
        (f"{stage.name}.control_system", stage.pair.control_system, "C"),
    ):
        found = shown.get(key)
        if found is None or typed is None:
            continue
        where = "analyzer" if letter == "R" else "control system"
        yield Working(
            f"{title}: error at the {where}",
            f"e = {letter} − G",
            f"{typed.text} − {stage.reference}",
            answer(f"{typed.value - Decimal(stage.reference):f}", unit, found.text),
            "reading minus reference",
        )
        if letter == "R":
            yield expanded_working(f"{title}: expanded uncertainty of the error at the analyzer", found)
    yield from _limit_working(stage, unit)


def _limit_working(stage: Stage, unit: str) -> Iterator[Working]:
    if stage.apart is None:
        return
    a, b = stage.pair.grabs[:2]
    yield Working(
        f"{STAGES[stage.name]}: do the grabs agree",
        "|A − B| ≤ 2.77 s, s the standard deviation of one grab, rounded down; or the limit of the register",
        f"|{a.reading.text} − {b.reading.text}|",
        f"{stage.apart} {unit}, at most {stage.limit.high} {unit}",
        "ISO 5725-6:1994, 4.1 (from memory)",
    )


# ---------------------------------------------------------------- charts


def charts(
    stages: Sequence[Stage], checks: Sequence[Check], runs: Sequence[Run], given: Given
) -> Iterator[Chart]:
    """Give the errors against their tolerance, and the run of differences."""
    series, lines = [], []
    for stage in stages:
        check = next((c for c in checks if c.key == f"{stage.name}.error" and c.quantity is not None), None)
        if check is None or check.quantity is None:
            continue
        point = (stage.reference, check.quantity.text, check.quantity.expanded)
        series.append(Series(STAGES[stage.name].lower(), (point,)))
        if stage.name == "as_found" and check.low and check.high:
            lines = [Line(f"tolerance at {stage.reference}", check.low), Line("tolerance", check.high)]
    if series:
        unit = given.analyzer.unit
        title = "Error against the grabs, with U; the limits are those at the grab as found"
        yield Chart("errors", title, f"grab, {unit}", f"error, {unit}", tuple(series), tuple(lines))
    newest = next((stage.reference for stage in stages if stage.reference), "")
    yield from run_charts(runs, given, newest)
