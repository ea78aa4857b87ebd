"""What stands beside the questions of a comparison with a grab: the delay of its water, how long it keeps."""

from __future__ import annotations

import typing
from collections.abc import Iterator
from dataclasses import replace

from wqverify.calculations import sample_line
from wqverify.calculations.judgement import judge
from wqverify.procedures import beside as b
from wqverify.procedures.grab_compare import PLACES as COMPARED_AT
from wqverify.procedures.grab_compare import Compare, compare, flow_of, tolerance_of
from wqverify.procedures.grab_pairs import delay_of
from wqverify.procedures.grab_rules import why_not_adjust
from wqverify.procedures.grab_sheet import Grab, GrabSheet, Place
from wqverify.procedures.grab_sizes import holding_minutes, measurand_of
from wqverify.terms import Beside, Check, Given, Raw

PLACES: tuple[Place, ...] = typing.get_args(Place)


@b.quiet
def flow(raw: Raw, path: str, given: Given) -> Beside:
    """Beside the sample flow: how old the water is that the analyzer reads, and how soon it follows."""
    typed = b.number(raw, path)
    return Beside(b.told(line_now(given, float(typed.value) if typed else None)))


def line_now(given: Given, flow_ml_min: float | None = None) -> Iterator[str]:
    """Say what the sample line does at a flow, that of the register where none was measured."""
    line = given.analyzer.sample_line
    if line is None:
        yield "no sample line in the register: the delay of the water is not known"
        return
    through = flow_ml_min if flow_ml_min is not None else float(line.flow_ml_min)
    where = "measured" if flow_ml_min is not None else "of the register"
    volume = sample_line.line_volume_ml(float(line.bore_mm), float(line.length_m))
    cell = float(line.cell_ml or 0)
    age = sample_line.mean_age_s(volume, cell, through)
    follows = sample_line.response_95_s(volume, cell, through)
    yield f"at {through:g} mL/min ({where}) the water read is {b.seconds(age)} old"
    yield f"95 % of a step at the tap is shown after {b.seconds(follows)}"


@b.quiet
def online(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - alike for every value
    """Beside an online value: when the water of a grab is on the display, by where it is taken."""
    sheet = b.so_far(GrabSheet, raw)
    each = [(place, _delay(place, sheet, given)) for place in PLACES]
    lines = [f"{place}: {_later(delay)}" for place, delay in each if delay is not None]
    if not lines:
        return Beside()
    return Beside(b.told("read before, at and after the water of the grab is on the display:", lines))


def _delay(place: Place, sheet: GrabSheet, given: Given) -> int | None:
    """How many s after it was taken the water of a grab is on the display, None where it is not known."""
    delay = delay_of(Grab.model_construct(taken_at=place), "analyzer", flow_of(sheet), given)
    return delay.seconds if delay.known else None


def _later(delay: int) -> str:
    if delay < 0:
        return f"on the display {b.seconds(-delay)} before it is taken"
    return f"on the display {b.seconds(delay)} after it is taken"


@b.quiet
def grab(raw: Raw, path: str, given: Given) -> Beside:
    """Beside a grab: when its water is on the display, until when it is analysed, the instrument's date."""
    here = b.group(path)
    place, sheet = b.at(raw, f"{here}.taken_at"), b.so_far(GrabSheet, raw)
    delay = _delay(place, sheet, given) if place else None
    instrument = given.standards.get(b.at(raw, f"{here}.instrument") or "")
    return Beside(
        b.told(
            f"its water is {_later(delay)}" if delay is not None else "",
            _on_display(here, delay, given),
            analyse_by(f"{here}.collected", given),
            b.bottle(instrument, str(raw.get("date", ""))) if instrument else "",
        )
    )


def _on_display(here: str, delay: int | None, given: Given) -> str:
    taken = given.times.get(f"{here}.collected")
    if taken is None or delay is None:
        return ""
    return f"read the display around {b.clock_after(taken, seconds=delay)}"


def analyse_by(collected: str, given: Given) -> str:
    """Say until when a grab is analysed; empty where it is not known how long it keeps."""
    minutes, _source = holding_minutes(measurand_of(given.analyzer), given.analyzer.settings)
    taken = given.times.get(collected)
    if minutes is None:
        return ""
    keeps = f"{minutes} min" if minutes < 600 else f"{minutes / 60:g} h"
    if taken is None or minutes >= 600:
        return f"it keeps {keeps}"
    return f"analyse it by {b.clock_after(taken, minutes=minutes)}: it keeps {keeps}"


# ---------------------------------------------------------------- decided


@b.quiet
def decision(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - one decision, one path
    """Beside the decision: leave it alone, or how far off it is and why the grabs found no adjustment."""
    known = _typed(raw, given)
    found = tuple(_judged(known, given))
    stop = why_not_adjust(known, given)
    return Beside(b.told(b.verdict(found), "" if b.at(raw, "decision.despite") else stop))


def _typed(raw: Raw, given: Given) -> Compare:
    """The comparisons with what was typed; an export is read when the visit is run."""
    return compare(b.so_far(GrabSheet, {**raw, "trend": None}), replace(given, trends=()), {})


def _judged(known: Compare, given: Given) -> Iterator[Check]:
    for place in COMPARED_AT:
        for one in known.sound(place):
            if one.quantity is not None:
                limits, reference = tolerance_of(given), one.reference
                yield judge(
                    one.key, "as_found", one.short, one.quantity, limits, place=place, reference=reference
                )


@b.quiet
def adjusted(raw: Raw, path: str, given: Given) -> Beside:  # noqa: ARG001 - beside all that is adjusted
    """Beside what was adjusted: by how much the display differs from the grabs that agree."""
    known = _typed(raw, given)
    mean = known.means.get(known.place())
    return Beside(b.told(f"mean difference to the grabs: {b.amount(mean)}" if mean is not None else ""))


BESIDE = {"flow": flow, "online": online, "grab": grab, "decision": decision, "adjusted": adjusted}
