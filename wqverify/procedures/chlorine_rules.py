"""What a chlorine check refuses, why grabs found nothing, and what brakes an adjustment."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from wqverify.calculations import pairing, sample_line
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.chlorine_budget import error, mean_of
from wqverify.procedures.chlorine_sheet import Adjusted, Cell, ChlorineSheet, Pair, Stored, pair_of
from wqverify.procedures.grab_compare import (
    agreement_limit,
    other_unit,
    plain_species,
    why_no_limit,
    why_no_result,
)
from wqverify.procedures.grab_rules import refuse_analysed_before, refuse_taken_before
from wqverify.procedures.grab_sizes import CHLORINE, measurand_of
from wqverify.procedures.rules import (
    refuse_beyond,
    refuse_outside,
    refuse_two_numbers,
    refuse_visit,
    standard,
    typed,
)
from wqverify.terms import Given, Place, Quantity, Reading, Standard, Tolerance

STAGES = {"as_found": "As found", "as_left": "As left"}
WAITS = 3  # time constants before a fresh grab
POSSIBLE_WATER = (-5, 60)  # °C
POSSIBLE_PH = (2, 12)
WAYS = (
    "Ways on: take another pair of grabs and enter it; or leave the sensitivity alone and take adjusted out; "
    'or write decision.despite = "..." with your reason to go on.'
)


@dataclass(frozen=True)
class Stage:
    """What was compared at one stage, and what follows from it."""

    name: str
    pair: Pair
    instrument: Standard
    quantities: dict[Place, Quantity]  # by place; empty where the grabs are no number
    reference: str
    apart: Decimal | None  # of grab A and B
    limit: Tolerance  # of what lies apart
    reason: str  # why nothing is judged against the grabs


def refuse(sheet: ChlorineSheet, given: Given) -> None:
    """Raise CorrectTheEntry where the sheet cannot be computed as it stands."""
    refuse_visit(sheet, given)
    _refuse_other_analyzer(given)
    low, high = given.analyzer.low, given.analyzer.high
    for name, title in STAGES.items():
        pair = pair_of(getattr(sheet, name))
        if pair is None:
            continue
        refuse_analysed_before(name, f"{title} the grab", given)
        for path, shown in (("shown", pair.shown), ("control_system", pair.control_system)):
            if shown is not None:
                refuse_outside(f"{name}.{path}", f"{title}, the value", shown.value, given, low, high)
    if pair_of(sheet.as_left) is not None:
        refuse_taken_before("as_left", given)
    cell = sheet.cell if isinstance(sheet.cell, Cell) else Cell()
    if cell.temperature_c is not None:
        refuse_beyond("cell.temperature_c", "temperature", cell.temperature_c, POSSIBLE_WATER, "°C")
    if cell.ph is not None:
        refuse_beyond("cell.ph", "pH at the cell", cell.ph, POSSIBLE_PH, "pH")
    for name, held, unit in (("zero", "zero_ua", "uA"), ("sensitivity", "sensitivity", "uA per mg/L")):
        changed, stored = typed(sheet.adjusted, f"{name}_from"), typed(sheet.stored, held)
        refuse_two_numbers(f"adjusted.{name}_from", changed, f"stored.{held}", stored, unit)
    for path, sensitivity in _sensitivities(sheet):
        if sensitivity.value <= 0:
            raise CorrectTheEntry(
                f"{path} is {sensitivity.text} uA per mg/L; a cell that works gives more current for more "
                f"chlorine. Type it as the menu shows it, without a sign.",
                found=sensitivity.text,
                expected="more than 0",
                where=path,
            )


def _refuse_other_analyzer(given: Given) -> None:
    analyzer = given.analyzer
    if measurand_of(analyzer) is not CHLORINE:
        raise ChooseAnother(
            f"{analyzer.tag} measures {analyzer.measures} in {analyzer.unit}; this procedure is for "
            f"chlorine. Name a chlorine analyzer, or take the procedure of this one.",
            found=analyzer.measures,
            expected="chlorine",
            where="tag",
        )


def _sensitivities(sheet: ChlorineSheet) -> Iterator[tuple[str, Reading]]:
    if isinstance(sheet.stored, Stored) and sheet.stored.sensitivity is not None:
        yield "stored.sensitivity", sheet.stored.sensitivity
    if isinstance(sheet.adjusted, Adjusted):
        for word in ("sensitivity_from", "sensitivity_to"):
            typed = getattr(sheet.adjusted, word)
            if typed is not None:
                yield f"adjusted.{word}", typed


# ---------------------------------------------------------------- stages


def stage_of(name: str, sheet: ChlorineSheet, given: Given) -> Stage | None:
    """Return what was compared at a stage, None where nothing was."""
    pair = pair_of(getattr(sheet, name))
    if pair is None:
        return None
    instrument = standard(pair.instrument, f"{name}.instrument", given)
    reasons = [_other_kind(sheet, given), *(other_unit(lab, given) for lab in pair.grabs)]
    comparable = not any(reasons) and not any(lab.below for lab in pair.grabs)
    for lab in pair.grabs:
        reasons += why_no_result(name, lab, instrument, given)
    quantities = error(name, pair, instrument, given) if comparable else {}
    apart, limit = _agreement(pair, given)
    if not comparable:
        apart = None
    if apart is not None and limit.high is not None and apart > limit.high:
        reasons.append(
            f"grabs A and B lie {apart} {given.analyzer.unit} apart, more than {limit.high}: one of them is "
            f"wrong, take another pair"
        )
    reference = f"{mean_of(pair.grabs):f}" if comparable else ""
    reasons.append(why_no_limit(reference, given))
    if name == "as_left":
        reasons.append(_too_early(sheet, given))
    return Stage(
        name,
        pair,
        instrument,
        quantities,
        reference,
        apart,
        limit,
        "; ".join(dict.fromkeys(filter(None, reasons))),
    )


def _other_kind(sheet: ChlorineSheet, given: Given) -> str:
    analyzer = given.analyzer
    if not analyzer.species:
        return (
            f"the grabs are {sheet.kind} chlorine, and analyzers.toml does not say which species "
            f"{analyzer.tag} measures; enter species there"
        )
    if plain_species(analyzer.species) != sheet.kind:
        return f"the grabs are {sheet.kind} chlorine and {analyzer.tag} measures {analyzer.species}"
    return ""


def _agreement(pair: Pair, given: Given) -> tuple[Decimal | None, Tolerance]:
    """How far A and B lie apart, None for one grab, and how far they may."""
    values = [grab.value for grab in pair.grabs]
    apart = pairing.change(values) if len(values) > 1 else None
    return apart, agreement_limit(pair.grabs, mean_of(pair.grabs), CHLORINE, given)


def time_constant_s(sheet: ChlorineSheet, given: Given) -> float | None:
    """Return the time constant of cell and transmitter, s: as set, or by cell volume, flow and damping."""
    set_to = given.analyzer.settings.get("time_constant_s")
    if set_to is not None:
        return float(set_to)
    line = given.analyzer.sample_line
    if line is None or line.cell_ml is None:
        return None
    flow = sheet.cell.flow_ml_min if isinstance(sheet.cell, Cell) else None
    through = float(flow.value) if flow is not None and flow.value > 0 else float(line.flow_ml_min)
    damping = max((float(hop.damping_s) for hop in given.analyzer.hops if hop.damping_s), default=0.0)
    return float(sample_line.passage_s(float(line.cell_ml), through)) + damping


def _too_early(sheet: ChlorineSheet, given: Given) -> str:
    """Why a fresh grab came before the analyzer had followed the adjustment."""
    constant = time_constant_s(sheet, given)
    taken = given.times.get("as_left.collected")
    adjusted = given.times.get("adjusted.at") if isinstance(sheet.adjusted, Adjusted) else None
    if constant is None or not taken or not adjusted:
        return ""
    waited = (datetime.fromisoformat(taken) - datetime.fromisoformat(adjusted)).total_seconds()
    if waited < WAITS * constant:
        return (
            f"the fresh grab was taken {waited:.0f} s after the adjustment; {WAITS} time constants of "
            f"{constant:.0f} s are needed"
        )
    return ""


# ---------------------------------------------------------------- brake


def brake(sheet: ChlorineSheet, found: Stage | None) -> None:
    """Raise CorrectTheEntry where a new sensitivity is not founded on two grabs that agree."""
    decision = sheet.decision
    if decision is None or decision.despite or not isinstance(sheet.adjusted, Adjusted):
        return
    reason = why_not_adjust(sheet, found)
    if reason:
        raise CorrectTheEntry(
            f"{reason} Nothing is adjusted to that. {WAYS}", expected="two grabs that agree", where="adjusted"
        )


def why_not_adjust(sheet: ChlorineSheet, found: Stage | None) -> str:
    """Return why a sensitivity cannot be set to the grabs, empty where it can or only the zero was set."""
    if isinstance(sheet.adjusted, Adjusted) and sheet.adjusted.sensitivity_to is None:
        return ""
    if found is None:
        return "A new sensitivity needs two grabs that agree; none was compared."
    if found.reason:
        return f"A new sensitivity needs two grabs that agree; {found.reason}."
    if found.apart is None:
        return "A new sensitivity needs two grabs that agree; the sheet has one."
    return ""
