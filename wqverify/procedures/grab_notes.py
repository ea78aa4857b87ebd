"""The sentences of a comparison with a grab: cautions, advice, statements, and what it cannot see."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from decimal import Decimal

from wqverify.procedures import sentences
from wqverify.procedures.grab_compare import Compare, Comparison, tolerance_of
from wqverify.procedures.grab_pairs import clock_ahead
from wqverify.procedures.grab_rules import grabs, why_not_adjust
from wqverify.procedures.grab_run import LAST, Run
from wqverify.procedures.grab_sheet import Adjusted, Grab, GrabSheet
from wqverify.procedures.grab_sizes import CHLORINE, PH, TURBIDITY, Measurand, reported_step
from wqverify.procedures.parts import Clocks
from wqverify.terms import Caution, Check, Given, Note, Outcome

TELL = Caution(
    "Tell operations before anything is adjusted; hold the output or put the loop in manual, block alarms "
    "and dosing trips only by the site's permit, note each time, and undo all of it in reverse order.",
    "common practice",
)
WASTE = Caution(
    "Let the sample run to waste until it is fresh; nothing goes back into potable water.", "common practice"
)
REAGENTS = Caution(
    "Reagents for chlorine (DPD, potassium iodide, acids) irritate: eye protection, gloves, and the waste "
    "where the site's rule says.",
    "common practice",
)
CHLORINE_GAS = Caution(
    "Areas with chlorine gas need their own permit and a detector; leave at an alarm.",
    "local rules; from memory",
)
CAUTIONS = (
    Caution("Write the online value down before the result of the grab is known.", "common practice"),
    TELL,
    WASTE,
    REAGENTS,
    CHLORINE_GAS,
)
OF_THE_DIFFERENCES = (
    "The interval of the mean is of the differences, not U of the analyzer: what the laboratory instrument "
    "has wrong in every grab does not shrink with their number."
)


def notes(
    sheet: GrabSheet, given: Given, known: Compare, checks: Sequence[Check], runs: Sequence[Run]
) -> Iterator[Note]:
    """Give all sentences of a comparison, the cautions first."""
    for text in (*sentences.person_cautions(sheet, given), *_cautions(sheet, given, known)):
        yield Note("caution", text)
    for text in sentences.undecided(checks):
        yield Note("caution", text)
    yield from advice(checks, isinstance(sheet.adjusted, Adjusted))
    for text in (
        *_statements(runs, isinstance(sheet.adjusted, Adjusted), given),
        *sentences.clocks(sheet, given),
    ):
        yield Note("statement", text)
    if sheet.trend is not None and clock_ahead(given):
        yield Note("statement", "That is taken out before the values of the export are paired.")
    for text in _cannot_see(given, known):
        yield Note("cannot see", text)
    despite = sheet.decision.despite if sheet.decision else None
    if despite:
        reason = why_not_adjust(known, given)
        yield Note("opinion", f"Goes on in spite of a brake ({reason}): {despite}", author=sheet.performed_by)
    yield from sentences.opinion(sheet)


def advice(checks: Sequence[Check], adjusted: bool) -> Iterator[Note]:
    """Say what follows from the verdict as found; where only the control system was compared, from that."""
    found = [c for c in checks if c.stage == "as_found" and c.counts]
    if all(c.place != "analyzer" for c in found):
        found = [replace(c, place="analyzer") for c in found]
    yield from sentences.advice(found, adjusted)
    if Outcome.FAIL in [c.outcome for c in found] and not adjusted:
        text = "Before it is adjusted: look at flow and bubbles, clean, and take a second grab."
        yield Note("advice", text, "common practice")


# ---------------------------------------------------------------- cautions


def _cautions(sheet: GrabSheet, given: Given, known: Compare) -> Iterator[str]:
    if sheet.trend is not None and not isinstance(sheet.clocks, Clocks):
        yield (
            "The clocks of watch and control system were not compared: an offset between them is not taken "
            "out of the pairing."
        )
    for _path, title, grab in grabs(sheet):
        yield from grab_cautions(title, grab, known.measurand, given)
        if grab.taken_at == "process tap" and given.analyzer.sample_line is None:
            yield (
                f"{title} was taken at the process tap, and the register holds no sample line for "
                f"{given.analyzer.tag}: its delay is not known and taken as none."
            )
    for c in known.all:
        yield from _pair_cautions(c)
    yield from moving_limit(given)
    yield from _not_blind(known, given)


def grab_cautions(title: str, grab: Grab, measurand: Measurand, given: Given) -> Iterator[str]:
    """Say what of a grab makes its result weaker."""
    if grab.rounding == "by method 180.1":
        step = reported_step(grab.lab.value, given)
        yield (
            f"{title} is reported by EPA method 180.1 in steps of {step} NTU: that widens U; ask for the "
            f"value as it was read."
        )
    instrument = given.standards.get(grab.instrument)
    if instrument is not None and not instrument.calibration_due:
        yield f"{title}: the list of standards holds no calibration date for {instrument.id}."
    if grab.checked is None:
        yield f"{title}: no check of {grab.instrument} before use was entered."
    if measurand is PH and (grab.temperature_c is None or grab.line_c is None):
        yield f"{title}: the temperatures of grab and line were not both entered, it is taken uncorrected."


def moving_limit(given: Given) -> Iterator[str]:
    """Say that a guarded tolerance in percent has a limit that is itself uncertain."""
    tolerance = tolerance_of(given)
    if tolerance is not None and tolerance.rule == "guarded" and tolerance.percent is not None:
        yield (
            f"The tolerance is guarded and {tolerance.percent} % of the grab: its limit moves with the "
            f"grab, which U of the difference does not hold. Near the upper limit more is uncertain than "
            f"the guard band shows, near the lower one less."
        )


def _pair_cautions(c: Comparison) -> Iterator[str]:
    lost = [f"{c.pair.missing} missing"] if c.pair.missing else []
    lost += [f"{len(c.pair.flags)} flagged {', '.join(sorted(set(c.pair.flags)))}"] if c.pair.flags else []
    if lost:
        yield f"{c.short}: of the online values around it {' and '.join(lost)}; these are left out."
    which = "each counts in the mean" if c.pair.online.by == "window mean" else "the last one entered counts"
    for at, n in c.pair.twins.items():
        yield f"{c.short}: {n} online values are of {at:%H:%M:%S}; {which}."


def _not_blind(known: Compare, given: Given) -> Iterator[str]:
    """An online value read after the result of its grab was there may have been read towards it."""
    several = len({c.path for c in known.all}) > 1
    told = []
    for c in known.all:
        analysed = given.times[f"{c.path}.analysed"]
        late = [] if c.pair.online.archived else [row for row in c.pair.used if row.at > _instant(analysed)]
        which = c.which if several else "the grab"
        told += [
            f"The online value {row.value} was read at {row.at:%H:%M}, after the result of {which} was "
            f"there ({analysed[11:16]})."
            for row in late
        ]
    yield from dict.fromkeys(told)  # display and control system are read at one time


def _instant(iso: str) -> datetime:
    return datetime.fromisoformat(iso)


# ---------------------------------------------------------------- statements


def _statements(runs: Sequence[Run], adjusted: bool, given: Given) -> Iterator[str]:
    yield (
        "In the hand calculations R is the paired online value and G the grab, at the temperature of the "
        "line where both temperatures of a pH grab are known; d is R − G."
    )
    response = given.analyzer.settings.get("response_s")
    if response is not None and any(hop.damping_s for hop in given.analyzer.hops):
        yield (
            f"In the delay of the water the response of {response} s that the register sets counts, in place "
            f"of the damping of the hops."
        )
    if not adjusted:
        yield "Nothing was adjusted: as found = as left."
    yield from run_statements(runs)


def run_statements(runs: Sequence[Run]) -> Iterator[str]:
    """Say how many differences the mean is of, and what cut the run."""
    for run in runs:
        n = len(run.differences)
        at = "" if len(runs) == 1 else f" at the {run.place}"
        if run.cut:
            count = "1 difference remains" if n == 1 else f"{n} differences remain"
            yield f"The run of differences{at} ends there because {run.cut}: {count} of at most {LAST}."
        elif n < LAST:
            yield f"The run of differences{at} holds {n} of at most {LAST}: earlier visits gave no more."
        if run.others:
            several = "1 difference" if run.others == 1 else f"{run.others} differences"
            yield (
                f"The run of differences{at} leaves out {several} of another procedure: one grab may stand "
                f"in the records of both."
            )
        if n < 2:
            yield f"A mean difference{at} needs two; it is not shown."
    if any(len(run.differences) > 1 for run in runs):
        yield OF_THE_DIFFERENCES


# ---------------------------------------------------------------- what it cannot see


def _cannot_see(given: Given, known: Compare) -> Iterator[str]:
    yield from _stuck(given, known)
    numbers = [c for c in known.all if c.pair.value is not None]
    if numbers and all(c.pair.change <= c.pair.online.digit for c in numbers):
        yield (
            "On steady water a wrong delay does not show, nor does an output that stands still: the online "
            "value moved by no more than one digit."
        )
    yield from common_errors(known.measurand)
    yield "Whether a difference is an offset or a slope: all grabs are of one water."


def _stuck(given: Given, known: Compare) -> Iterator[str]:
    here = [c for c in known.all if c.place == known.place()]
    if known.measurand is not PH:
        yield from stuck_at_zero([c.reference for c in here], given)


def stuck_at_zero(references: Sequence[str], given: Given) -> Iterator[str]:
    """Say which grabs lie within the tolerance of 0: they pass an analyzer that shows nothing at all."""
    tolerance, unit = tolerance_of(given), given.analyzer.unit
    for reference in dict.fromkeys(filter(None, references)):
        low = tolerance.at(Decimal(reference))[0] if tolerance is not None else None
        if low is not None and Decimal(reference) + low <= 0:
            yield (
                f"A grab of {reference} {unit} cannot see an analyzer that is stuck at 0: the tolerance "
                f"there goes down to {low:f} {unit}."
            )


def common_errors(measurand: Measurand) -> Iterator[str]:
    """Say what both instruments have wrong alike."""
    if measurand is CHLORINE:
        yield "Manganese, chloramine or colour that reagents read as chlorine, in the grab and online alike."
    elif measurand is TURBIDITY:
        yield (
            "Stray light, bubbles and a standard that both instruments were set with: an error of both alike."
        )
    else:
        yield "What both instruments have wrong alike, such as a standard that both were set with."
