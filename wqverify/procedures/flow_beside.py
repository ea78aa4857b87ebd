"""What stands beside the questions of a flow check: reference and error so far, what roots do, the cut."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from wqverify.calculations import flow
from wqverify.calculations.judgement import judge
from wqverify.procedures import beside as b
from wqverify.procedures.flow_budget import ERRORS, Exact, level_u
from wqverify.procedures.flow_budget import STEPS_OF_DROP as STEPS
from wqverify.procedures.flow_candidates import candidates
from wqverify.procedures.flow_rules import Stage, exact_of, meter_of, stage_of, why_not_adjust
from wqverify.procedures.flow_sheet import TANKS, Decision, FlowSheet, Run
from wqverify.procedures.flow_zero import flow_of, why_no_flow
from wqverify.procedures.rules import tolerance
from wqverify.terms import Beside, Check, Given, Place, Quantity, Raw, Tolerance

ROOTS = (
    "a linear pressure signal needs its root once: 8 mA is 50 % then,",
    "25 % of full scale without a root, 70.7 % where it is taken twice",
)


@b.quiet
def duration(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - the same beside every duration
    """Beside the time: how far the level has to fall for it to count."""
    if b.at(raw, "reference.against") not in TANKS:
        return Beside(("long enough that start and stop, by hand, do not matter",))
    least = STEPS * level_u(given)
    return Beside(
        b.told(
            f"draw down at least {b.plain(least)} m: {STEPS} times the u of a level, {level_u(given)} m",
            "close every other inlet and outlet, look that the overflow is dry",
        )
    )


@b.quiet
def level(raw: Raw, path: str, given: Given) -> Beside:
    """Beside what the reference gave: its flow so far."""
    exact = _so_far(raw, path, given)
    return Beside(b.told(_reference(exact, given)))


def _so_far(raw: Raw, path: str, given: Given) -> Exact:
    """The comparison a question stands in, as far as it is typed."""
    sheet = b.so_far(FlowSheet, raw)
    names = ("duration_s", "level_start", "level_stop", "reference_start", "reference_stop")
    typed = b.at(raw, b.group(path)) or {}
    single = {name: b.number(typed, name) for name in (*names, "meter_start", "meter_stop")}
    many = {name: b.numbers(typed, name) or None for name in ("reference_rates", "rates", "control_system")}
    run = Run.model_construct(None, **single, **many)
    return exact_of(run, sheet, given)


def _reference(exact: Exact, given: Given) -> Iterator[str]:
    real = exact.in_unit(exact.flow)
    yield f"the reference gives {b.rounded(real)} {given.analyzer.unit}"


@b.quiet
def meter(raw: Raw, path: str, given: Given) -> Beside:
    """Beside what the meter or the control system showed: what it should be, and the error so far."""
    exact = _so_far(raw, path, given)
    place: Place = "control system" if path.endswith("control_system") else "analyzer"
    real = exact.in_unit(exact.flow)
    error = exact.error(place)
    held = tolerance(ERRORS[place], given, {})
    lines = [*_reference(exact, given), *_limits(held, real, given)]
    if error is not None:
        lines.append(f"error so far: {b.signed(error.quantize(Decimal('0.01')))} %")
    return Beside(b.told(lines), real if "rates" in path or place != "analyzer" else None)


def _limits(held: Tolerance | None, real: Decimal, given: Given) -> Iterator[str]:
    if held is None or held.low is None or held.high is None or held.unit != "%":
        return
    low, high = (real * (1 + bound / 100) for bound in (held.low, held.high))
    yield f"allowed: {b.rounded(low)} to {b.rounded(high)} {given.analyzer.unit}"


@b.quiet
def current(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - a current is one of 4-20 mA
    """Beside the loop current: what it means with and without a root."""
    typed = b.number(raw, path)
    if typed is None:
        return Beside(ROOTS)
    share = float(flow.share_of_span(typed.value))
    root = flow.root_of_share(share)
    words = f"{typed.text} mA: {100 * share:.1f} % without a root, {100 * root:.1f} % with one"
    return Beside(b.told(words))


@b.quiet
def root(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one root, one path
    """Beside where the root is taken: what each does to 8 mA."""
    return Beside(ROOTS)


@b.quiet
def zero(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the reading at standstill: what is allowed, and what the low-flow cut hides."""
    unit, typed = given.analyzer.unit, b.numbers(raw, path)
    cut = b.number(raw, "meter.cut_off")
    hides = f"the low-flow cut hides what lies below {cut.text} {unit}" if cut and cut.value > 0 else ""
    held = given.analyzer.tolerances.get("zero")
    nought = Decimal(0)
    last = b.off_by(typed[-1] if typed else None, nought, unit)
    return b.around(nought, held, b.allowed(nought, held, unit), hides, last)


@b.quiet
def zero_current(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the loop current at standstill: the flow it stands for, and what is allowed."""
    typed, unit = b.number(raw, path), given.analyzer.unit
    allowed = b.allowed(Decimal(0), given.analyzer.tolerances.get("zero"), unit)
    if typed is None:
        return Beside(b.told(allowed))
    meter = meter_of(b.so_far(FlowSheet, raw))
    reason = why_no_flow(typed, meter)
    stands = reason or f"{typed.text} mA stands for {flow_of('as_found', typed, meter, given)[0].text} {unit}"
    return Beside(b.told(stands, allowed))


@b.quiet
def decision(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one decision, one path
    """Beside the decision: leave it alone, or what would explain the error."""
    sheet = b.so_far(FlowSheet, raw)
    found = stage_of("as_found", sheet, given)
    if found is None:
        return Beside()
    explained = (f"candidate: {one.text}" for one in candidates(found, meter_of(sheet), given)[:2])
    stop = "" if b.at(raw, "decision.despite") else why_not_adjust(_deciding(sheet, raw), found)
    return Beside(b.told(b.verdict(_judged(found, given)), explained, stop))


def _deciding(sheet: FlowSheet, raw: Raw) -> FlowSheet:
    """The sheet with the action alone, while its reason is still being typed."""
    decided = Decision.model_construct(None, action=str(b.at(raw, "decision.action") or "leave alone"))
    return sheet.model_copy(update={"decision": decided})


def _judged(found: Stage, given: Given) -> Iterator[Check]:
    for place, quantity in found.found.errors.items():
        if not found.reason:
            yield _check(place, quantity, given)


def _check(place: Place, quantity: Quantity, given: Given) -> Check:
    held = tolerance(ERRORS[place], given, {})
    return judge(ERRORS[place], "as_found", f"error at the {place}", quantity, held, place=place)


BESIDE = {
    "duration": duration,
    "level": level,
    "meter": meter,
    "current": current,
    "root": root,
    "zero": zero,
    "zero_current": zero_current,
    "decision": decision,
}
