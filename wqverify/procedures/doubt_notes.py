"""The sentences of a doubt: cautions, since when and why, what agrees, what it cannot see."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from wqverify.calculations import drift_criteria as criteria
from wqverify.errors import CorrectTheEntry
from wqverify.procedures import doubt_clears as clears
from wqverify.procedures import sentences
from wqverify.procedures.doubt_agreement import agreement, directions, every_4_h
from wqverify.procedures.doubt_case import Case, moment
from wqverify.procedures.doubt_decisions import Decision, changed
from wqverify.procedures.doubt_errors import corrections_of, outside
from wqverify.procedures.doubt_facts import seconds
from wqverify.procedures.doubt_series import stamp
from wqverify.procedures.doubt_sheet import LastGood, Prevention, UsedFor
from wqverify.procedures.doubt_uses import told_early
from wqverify.procedures.left_out import HELD, NOT_THE_WATER
from wqverify.procedures.parts import NotDone
from wqverify.terms import Caution, Check, Cited, Note

CAUTIONS = (
    Caution(
        "Nothing recorded is overwritten: what was recorded, what it is without the error and why stand side "
        "by side.",
        "ISO/IEC 17025:2017, 7.5.2, as a pattern; USGS TM 1-D3 (2006)",
    ),
    Caution(
        "The period begins at the last check that shows it was right, not at the last one that was done; "
        "what narrows it is evidence, with its author.",
        "ISO/IEC 17025:2017, 7.10, as a pattern",
    ),
    Caution(
        "Limits and notices are settings with their source, no legal advice: a State may ask for more.",
        "common practice",
    ),
)
PATTERN = "ISO/IEC 17025:2017, 7.10, as a pattern"
PARAMETERS: dict[str, criteria.Parameter] = {
    "temperature": "temperature",
    "conductivity": "conductivity",
    "pH": "pH",
    "oxygen": "oxygen",
    "dissolved oxygen": "oxygen",
    "turbidity": "turbidity",
}
SHOWN = 12  # earlier records passed over that are named one by one


def notes(case: Case, found: Sequence[Decision], checks: Sequence[Check]) -> Iterator[Note]:
    """Give all sentences of a doubt, the cautions first."""
    early = told_early(case)
    for text in (*sentences.person_cautions(case.sheet, case.given), *_cautions(case, found), *early):
        yield Note("caution", text)
    for text in (*_period(case), *_over(case), *_read(case)):
        yield Note("statement", text)
    yield from _evidence(case)
    for text in (*_model(case), *_range(case), *directions(case, found)):
        yield Note("statement", text)
    for text in every_4_h(found):
        yield Note("statement", text)
    yield from agreement(case, found, checks)
    yield from _rated(case)
    for text in (*_others(case), *_decided(case), *_informed(case), *_prevention(case)):
        yield Note("statement", text)
    for text in sentences.clocks(case.sheet, case.given):
        yield Note("statement", text)
    for text in _cannot_see(case, found):
        yield Note("cannot see", text)
    yield from sentences.opinion(case.sheet)


def clock(case: Case, second: int) -> str:
    """Return a moment as it is written in a sentence."""
    return stamp(second, case.given)[:16].replace("T", " ")


def day(iso: str) -> str:
    return iso[:16].replace("T", " ")


# ---------------------------------------------------------------- cautions


def _cautions(case: Case, found: Sequence[Decision]) -> Iterator[str]:
    if isinstance(case.sheet.last_good, NotDone):
        yield (
            f"No last good check is known ({case.sheet.last_good.not_done}): the period is open at its "
            f"beginning, and {clock(case, case.start)} stands for it."
        )
        if case.stated == "linear":
            yield "A straight line from there supposes that it was right then, which nobody checked."
    elif isinstance(case.sheet.last_good, LastGood) and case.sheet.last_good.despite:
        why = clears.why_not(case.good, case.failed, case.given, case.places) if case.good else ""
        yield f"The last good check counts in spite of this: {why}. Given: {case.sheet.last_good.despite}."
    newer = [one.number for one in _passed(case) if not one.why]
    if newer:
        yield f"Newer than the last good check that is named, and would count too: {_listed(newer)}."
    if case.taken and not all(one.expanded for one in case.taken):
        yield "U of the error found is not known: nothing is marked as within the uncertainty."
    if case.taken and 0 < sum(one.cleaned is not None for one in case.taken) < len(case.taken):
        yield "Not every error was read after cleaning: fouling and drift are taken together."
    yield from _of_values(case)
    if not case.sheet.decided:
        yield "Nothing is decided yet about the values in doubt."
    if any(row.decision == "correct" for row in case.sheet.decided) and not case.models:
        yield f"It was decided to correct, and nothing can be: {case.why_no_model}."
    if found and not case.sheet.informed and any(changed(case, one) for one in found):
        yield "Decisions change, and nobody is entered as informed."


def _of_values(case: Case) -> Iterator[str]:
    """Say where the export does not tell of the whole period."""
    recorded = case.recorded
    if recorded is None or not len(recorded):
        return
    first, last, gap = int(recorded.times[0]), int(recorded.times[-1]), recorded.gap_s
    if first > case.since + gap:
        yield f"The export begins at {clock(case, first)}: before that nothing is listed."
    if last < case.until - gap:
        yield f"The export ends at {clock(case, last)}: after that nothing is listed."
    for one in case.given.records.values():
        during = case.since <= seconds(one.performed) <= case.until
        known = any(window.what == HELD for window in one.windows) or one.procedure in NOT_THE_WATER
        if one.tag == case.failed.tag and during and not known and one.facts.get("verifies") != "no":
            yield (
                f"Record {one.number} ({day(one.performed)}) holds no time of a held output: what was "
                f"recorded at that visit may be no value of the water."
            )


# ---------------------------------------------------------------- the period


def _period(case: Case) -> Iterator[str]:
    until = clock(case, case.until)
    failed = f"{case.failed.number} ({case.failed.procedure.replace('_', ' ')}, {day(case.failed.performed)})"
    if case.sheet.period.basis == "first failed test":
        yield f"In doubt from {clock(case, case.since)}, the failed check {failed}, to {until}."
        return
    since = clock(case, case.since)
    if case.good is None:
        yield f"In doubt from {since} to {until}; found by {failed}."
        return
    good = f"{case.good.number} ({case.good.procedure.replace('_', ' ')}, {day(case.good.performed)})"
    yield f"In doubt from {since} to {until}: last good check {good}, found by {failed}."


def _passed(case: Case) -> list[clears.PassedOver]:
    return list(clears.passed_over(case.good, case.failed, case.given, case.places))


def _over(case: Case) -> Iterator[str]:
    rows = [one for one in _passed(case) if one.why]
    for one in rows[:SHOWN]:
        what = one.procedure.replace("_", " ")
        yield f"Passed over as last good check: {one.number} ({what}, {day(one.performed)}), {one.why}."
    if len(rows) > SHOWN:
        yield f"{len(rows) - SHOWN} older records are passed over too."


def _evidence(case: Case) -> Iterator[Note]:
    for n, row in enumerate(case.sheet.evidence):
        at = day(case.given.times.get(f"evidence.{n}.at", ""))
        record = f", record {row.record}" if row.record else ""
        yield Note("opinion", f"{row.what}{record}, {at}: {row.tells}. {row.why}.", author=row.author)


# ---------------------------------------------------------------- the values


def _read(case: Case) -> Iterator[str]:
    if case.why_no_values:
        yield f"Values are not listed: {case.why_no_values}."
    recorded = case.recorded
    if recorded is None:
        return
    inside = (recorded.times >= case.since) & (recorded.times <= case.until)
    steps = recorded.times[1:] - recorded.times[:-1]
    gaps = int((steps[inside[1:]] > recorded.gap_s).sum())
    said = [f"{int(inside.sum())} rows of the export lie in that time"]
    said += [f"{recorded.missing} hold no number"] if recorded.missing else []
    said += [f"{count} left out, {why}" for why, count in sorted(recorded.left_out.items())]
    said += [f"{gaps} gaps of more than {recorded.gap_s / 60:g} min"] if gaps else []
    yield "; ".join(said) + ". None of them was changed: what is corrected stands beside."


def _model(case: Case) -> Iterator[str]:
    if case.why_no_model:
        yield f"Nothing is corrected: {case.why_no_model}."
        return
    level = {"offset": "one offset", "gain": "in proportion to the value", "points": "a line between points"}
    taken = _listed([f"{one.error:+f} at {one.level:f}" for one in case.taken])
    unit = case.given.analyzer.unit
    yield (
        f"The error, {taken} {unit}, is taken as {level[case.level_model]} and in time as {case.stated}, "
        f"because {case.sheet.model.why.rstrip('.')}. {_computed(case)}; it is decided on this one."
    )
    if len(case.found) > len(case.taken):
        yield (
            f"Of {len(case.found)} errors found the one nearest to what was recorded is taken: "
            f"{case.taken[0].name}."
        )
    if case.stated != "step" and (first := case.taken[0]).at_start is None:
        yield f"At the beginning no error is counted: none is known there ({first.name})."


def _computed(case: Case) -> str:
    if case.step_at is None:
        return (
            "Linear and worst case are computed; of a step nothing says when it came, and then a value is "
            "either without the error or as in the worst case"
        )
    return "All three models in time are computed"


def _range(case: Case) -> Iterator[str]:
    if case.recorded is None or not case.taken:
        return
    rows = zip(case.recorded.times.tolist(), case.recorded.texts, strict=True)
    inside = [value for at, value in rows if value is not None and case.since <= at <= case.until]
    if inside:
        low, high = min(inside), max(inside)
        said = list(outside(case.taken, low, high))
        yield from said or [
            f"The recorded values lie from {low:f} to {high:f}, the error was found at "
            f"{_listed([f'{one.level:f}' for one in case.taken])}: in the range that was used."
        ]


# ---------------------------------------------------------------- rated, others, what follows


def _rated(case: Case) -> Iterator[Note]:
    """Give the rating by the named set, where it is asked for: sums of absolutes, no cancelling."""
    if case.sheet.model.criteria == "none":
        return
    parameter = PARAMETERS.get(case.given.analyzer.measures)
    if parameter is None:
        text = f"The criteria for natural waters hold none for {case.given.analyzer.measures}."
        yield Note("statement", text, criteria.NATURAL_WATERS)
        return
    for one in case.taken:
        try:
            parts = corrections_of(one)
        except CorrectTheEntry as problem:
            text = f"Not rated at {one.level:f} {case.given.analyzer.unit}: {problem.message}"
            yield Note("statement", text, criteria.NATURAL_WATERS)
            continue
        total, net = criteria.total(*parts), criteria.net(*parts)
        word = criteria.rating(parameter, total, one.level)
        exceeds = criteria.exceeds_criterion(parameter, total, one.level)
        asks = "asks for a correction" if exceeds else "asks for no correction"
        percent = total.percent.quantize(Decimal("0.001"))
        yield Note(
            "statement",
            f"Total of fouling and drift at {one.level:f}: {total.correction:f} {case.given.analyzer.unit}, "
            f"{percent:f} %{_in_part(total, net)}: {asks}; rating {word}.",
            f"{criteria.NATURAL_WATERS}; no criterion for drinking water",
        )


def _in_part(total: criteria.Change, net: criteria.Change) -> str:
    """Say what is left where fouling and drift go opposite ways: the total does not let them cancel."""
    return "" if abs(net.correction) == total.correction else f", {net.correction:+f} of it net"


def others_of(case_failed: Cited, records: Sequence[Cited], since: int) -> list[Cited]:
    """Return the records of other analyzers that used a standard or meter of the failed check since then."""
    used = set(case_failed.standards)
    return [
        one
        for one in records
        if one.tag != case_failed.tag and used & set(one.standards) and seconds(one.performed) >= since
    ]


def _others(case: Case) -> Iterator[str]:
    since = moment(case.given, "period.since", case.start)
    rows = others_of(case.failed, list(case.given.records.values()), since)
    used = set(case.failed.standards)
    tags: dict[str, list[Cited]] = {}
    for one in sorted(rows, key=lambda row: seconds(row.performed)):
        tags.setdefault(one.tag, []).append(one)
    for tag, several in tags.items():
        shared = sorted(used & {name for one in several for name in one.standards})
        numbers = [one.number for one in several]
        said = f"{len(numbers)} records from {numbers[0]} to {numbers[-1]}" if len(numbers) > 4 else ""
        yield (
            f"{tag} was checked with {_listed(shared)} too since the last good check: "
            f"{said or _listed(numbers)}."
        )
    if not tags and used:
        yield f"No other analyzer was checked with {_listed(sorted(used))} in that time."
    if case.sheet.others:
        yield f"Done about other analyzers: {case.sheet.others}."


def _decided(case: Case) -> Iterator[str]:
    for n, row in enumerate(case.sheet.decided):
        since, until = span(case, n)
        report = f" Report corrected: {row.report}." if row.report else ""
        who = case.given.people.get(row.decided_by)
        name = f"{who.name} ({who.id})" if who else row.decided_by
        yield (
            f"From {clock(case, since)} to {clock(case, until)}: {row.decision}, because "
            f"{row.why.rstrip('.')}. Decided by {name}.{report}"
        )


def span(case: Case, n: int) -> tuple[int, int]:
    """Return from when to when a consequence holds: the whole period unless the sheet says otherwise."""
    since = moment(case.given, f"decided.{n}.since", case.since)
    return since, moment(case.given, f"decided.{n}.until", case.until)


def _informed(case: Case) -> Iterator[str]:
    for n, row in enumerate(case.sheet.informed):
        at = day(case.given.times.get(f"informed.{n}.at", ""))
        how, of = f" by {row.how}" if row.how else "", f": {row.of}" if row.of else ""
        yield f"{row.who} was informed{how} on {at}{of}."


def _prevention(case: Case) -> Iterator[str]:
    found = case.sheet.prevention
    if isinstance(found, Prevention):
        shown = f" It will be seen by: {found.shown_by}." if found.shown_by else ""
        yield f"Changed so that it does not happen again: {found.what}.{shown}"


OF_A_MONTH: tuple[UsedFor, ...] = (
    "95 % of the values",
    "never above",
    "two in a row",
    "two in a row after 4 h",
)


def _cannot_see(case: Case, found: Sequence[Decision]) -> Iterator[str]:
    if any(one.recorded is not None and one.used.what in OF_A_MONTH for one in found):
        yield (
            "What only the sheet of a month says: times off line, in backwash or not measured, grabs typed "
            "there, 4-h values by mean or highest, rounding to the digits of the limit. The month counts by "
            "them, and takes off the error of this doubt."
        )
    yield "Excursions that came and went between two checks: only the errors at the two ends are known."
    if case.models and case.stated == "linear":
        yield "Whether the error grew steadily or came at once: the corrected value may lie at either end."
    if any(one.at_start is not None for one in case.taken) and case.sheet.model.start != "taken as none":
        yield "How sure the error at the beginning is: only U of the error found moves the values."
    if len(case.taken) == 1:
        yield "Whether the error was an offset or grew with the value: it was found at one level."


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
