"""What stands beside the questions of a chlorine check: allowed error here, waiting times, sensitivity."""

from __future__ import annotations

from collections.abc import Iterator

from wqverify.calculations import pairing
from wqverify.calculations.judgement import judge
from wqverify.procedures import beside as b
from wqverify.procedures.chlorine_budget import mean_of
from wqverify.procedures.chlorine_notes import SETTLED_UA
from wqverify.procedures.chlorine_rules import WAITS, Stage, stage_of, time_constant_s, why_not_adjust
from wqverify.procedures.chlorine_sheet import Adjusted, ChlorineSheet
from wqverify.procedures.chlorine_shown import found_sensitivity, zero_of
from wqverify.procedures.grab_beside import analyse_by, line_now
from wqverify.procedures.grab_compare import tolerance_of
from wqverify.procedures.grab_sheet import LabResult, lab_result
from wqverify.procedures.rules import Stability, frozen, setting
from wqverify.terms import Beside, Check, Given, Place, Quantity, Raw, Reading


@b.quiet
def flow(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the flow at the cell: how old the water is that it sees, and how soon it follows."""
    typed = b.number(raw, path)
    return Beside(b.told(line_now(given, float(typed.value) if typed else None)))


@b.quiet
def pair(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the value on the display: the error that is allowed there; as left, how long to wait before."""
    shown = b.number(raw, f"{b.group(path)}.shown")
    return Beside(
        b.told(
            _allowed_error(shown, given),
            _wait(raw, given) if path.startswith("as_left.") else "",
            analyse_by(f"{b.group(path)}.collected", given),
        )
    )


def _allowed_error(near: Reading | None, given: Given) -> str:
    """The tolerance of the method at a value; its percent is of the grabs, which are not there yet."""
    tolerance, unit = tolerance_of(given), given.analyzer.unit
    half = tolerance.half_width(near.value) if tolerance is not None and near is not None else None
    return f"allowed error near {near.text} {unit}: ±{b.rounded(half)} {unit}" if half and near else ""


def _wait(raw: Raw, given: Given) -> str:
    """Until when a fresh grab waits: the analyzer has to follow the adjustment first."""
    constant = time_constant_s(b.so_far(ChlorineSheet, raw), given)
    if constant is None:
        return ""
    waits = f"{WAITS} time constants of {b.seconds(constant)}"
    done = given.times.get("adjusted.at")
    if done is None:
        return f"a fresh grab waits {waits} after an adjustment"
    return f"fresh grabs from {b.clock_after(done, seconds=WAITS * round(constant))} on: {waits}"


@b.quiet
def grabs(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the grabs: their mean, how far they lie apart, the allowed error and the error so far."""
    here, unit = b.group(path), given.analyzer.unit
    shown, found = b.number(raw, f"{here}.shown"), _results(raw, here)
    instrument = given.standards.get(b.at(raw, f"{here}.instrument") or "")
    lines = [
        b.bottle(instrument, str(raw.get("date", ""))) if instrument else "",
        analyse_by(f"{here}.collected", given),
    ]
    if not found or any(lab.below for lab in found):
        return Beside(b.told(lines, _allowed_error(shown, given)))
    mean = mean_of(found)
    apart = f", {pairing.change([lab.value for lab in found])} {unit} apart" if len(found) > 1 else ""
    return b.around(
        mean,
        tolerance_of(given),
        lines,
        f"mean of the grabs: {b.plain(mean)} {unit}{apart}" if apart else "",
        b.allowed(mean, tolerance_of(given), unit),
        f"display minus grabs so far: {b.signed(shown.value - mean)} {unit}" if shown else "",
    )


def _results(raw: Raw, here: str) -> tuple[LabResult, ...]:
    typed = (b.at(raw, f"{here}.{name}") for name in ("grab_a", "grab_b"))
    return tuple(lab_result(text) for text in typed if text)


@b.quiet
def zero(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the zero current: whether it has settled."""
    still = Stability(setting(given, "zero_settled_ua", SETTLED_UA), "uA")
    stored = b.at(raw, "stored.zero_ua")
    held = f"the menu holds a zero of {stored} uA" if stored else ""
    apart = b.number(raw, f"{b.group(path)}.interval_s")
    return Beside(b.told(held, b.steady(b.numbers(raw, path), still, apart)))


# ---------------------------------------------------------------- sensitivity and decision


@b.quiet
def cell_current(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one current, one path
    """Beside the cell current: the sensitivity it gives with the grabs, and the one the menu holds."""
    return Beside(b.told(_sensitivity(raw, given)))


def _sensitivity(raw: Raw, given: Given) -> Iterator[str]:
    sheet = b.so_far(ChlorineSheet, raw)
    found: Quantity | None = found_sensitivity(sheet, stage_of("as_found", sheet, given), given)
    stored = b.at(raw, "stored.sensitivity")
    if found is not None:
        yield f"sensitivity so far: {b.amount(found, 2)}"
    if stored:
        yield f"the menu holds {stored} uA per mg/L"


@b.quiet
def decision(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one decision, one path
    """Beside the decision: leave it alone, or how far off it is and why the grabs found no sensitivity."""
    sheet = b.so_far(ChlorineSheet, raw)
    found = stage_of("as_found", sheet, given)
    stop = "" if b.at(raw, "decision.despite") else _stop(raw, sheet, found)
    served = (
        "serviced since the grabs: leave alone, and compare fresh grabs" if b.at(raw, "service.how") else ""
    )
    return Beside(b.told(b.verdict(_judged(found, given)), _sensitivity(raw, given), stop, served))


def _judged(found: Stage | None, given: Given) -> Iterator[Check]:
    words: dict[Place, str] = {"analyzer": "display", "control system": "control system"}
    for place, what in words.items() if found is not None and not found.reason else ():
        assert found is not None
        stood = place == "control system" and frozen("as_found", given)
        if place in found.quantities and not stood:
            yield judge(
                place,
                "as_found",
                f"{what} against grabs",
                found.quantities[place],
                tolerance_of(given),
                place=place,
                reference=found.reference,
            )


def _stop(raw: Raw, sheet: ChlorineSheet, found: Stage | None) -> str:
    if b.at(raw, "decision.action") in ("leave alone", "zero"):
        return ""
    tried = sheet.model_copy(update={"adjusted": Adjusted.model_construct(sensitivity_to=Reading.parse("1"))})
    return why_not_adjust(tried, found)


@b.quiet
def adjusted(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - beside all that is adjusted
    """Beside what was adjusted: the zero that was read, the sensitivity the grabs ask for."""
    settled = zero_of(b.so_far(ChlorineSheet, raw))
    read = f"zero current read: {settled.text} uA" if settled is not None and b.at(raw, "zero") else ""
    return Beside(b.told(read, _sensitivity(raw, given)))


BESIDE = {
    "flow": flow,
    "pair": pair,
    "grabs": grabs,
    "zero": zero,
    "cell current": cell_current,
    "decision": decision,
    "adjusted": adjusted,
}
